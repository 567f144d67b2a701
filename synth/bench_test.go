package synth

import (
	"io"
	"math"
	"testing"
	"time"
)

// benchNotes are 8 notes of 4 s, four in each hand, the left one panned a little left.
func benchNotes() []Note {
	var notes []Note
	for i, n := range []float64{40, 47, 52, 56, 61, 66, 71, 76} { // MIDI numbers
		pan := -0.3
		if i >= 4 {
			pan = 0.3
		}
		notes = append(notes, Note{Freq: Hz(440 * math.Pow(2, (n-69)/12)), Length: 4*time.Second - Release, Strength: 0.6, Pan: pan})
	}
	return notes
}

// slow is a voice of 12 partials that all last to the end, so that nothing is saved by leaving out what has died.
var slow = Voice{"slow", Attack, Release, func(dst []Partial, f Hz, strength float64) []Partial {
	for n := 1.0; n <= 12; n++ {
		dst = append(dst, Partial{Freq: Hz(n) * f, Amp: strength / n, Decay: 2 + n/2, Phase: n})
	}
	return dst
}}

// naive renders as one would at first: math.Sin and math.Exp's running product for every frame and partial.
func naive(notes []Note, rate SampleRate, v Voice) []float32 {
	frames := 0
	release, attack := rate.N(v.Release), rate.N(v.Attack)
	for _, n := range notes {
		frames = max(frames, rate.N(n.Start+n.Length)+release)
	}
	out := make([]float32, 2*frames)
	for _, n := range notes {
		start, held := rate.N(n.Start), rate.N(n.Start+n.Length)
		turn := (n.Pan + 1) * math.Pi / 4
		l, r := math.Cos(turn), math.Sin(turn)
		for _, p := range v.Partials(nil, n.Freq, n.Strength) {
			if p.Freq > Hz(topShare*float64(rate)) {
				continue
			}
			w := 2 * math.Pi * float64(p.Freq) / float64(rate)
			fall := math.Pow(10, -p.Decay/20/float64(rate))
			amp := p.Amp
			knee := math.MaxInt
			if p.Knee > 0 { // at the next block's start
				knee = (start + int(math.Ceil(p.Knee*float64(rate))) + blockFrames - 1) / blockFrames * blockFrames
			}
			for i := start; i < held+release; i++ {
				x := amp * math.Sin(w*float64(i-start)+p.Phase)
				if i == knee {
					fall = math.Pow(10, -p.After/20/float64(rate))
				}
				amp *= fall
				if k := i - start; k < attack {
					x *= 0.5 * (1 - math.Cos(math.Pi*float64(k)/float64(attack)))
				}
				if i >= held {
					x *= 0.5 * (1 - math.Cos(math.Pi*float64(held+release-1-i)/float64(release)))
				}
				out[2*i] += float32(x * l)
				out[2*i+1] += float32(x * r)
			}
		}
	}
	return out
}

// measured runs f in b's loop and reports the processor time of one run, and how much faster than real time that makes sound
// of length d, if it isn't 0.
func measured(b *testing.B, d time.Duration, f func()) {
	b.ReportAllocs()
	began := cpuTime()
	for b.Loop() {
		f()
	}
	each := (cpuTime() - began).Seconds() / float64(b.N)
	b.ReportMetric(each*1e3, "cpu-ms/op")
	if d > 0 {
		b.ReportMetric(d.Seconds()/each, "x-realtime")
	}
}

func BenchmarkRender(b *testing.B) {
	notes := benchNotes()
	for _, v := range []struct {
		name  string
		voice Voice
	}{{"slow", slow}, {"struck", Struck}} {
		b.Run("naive/"+v.name, func(b *testing.B) {
			measured(b, 4*time.Second, func() { naive(notes, DefaultRate, v.voice) })
		})
		b.Run("engine/"+v.name, func(b *testing.B) {
			buf := make([]float32, 2*DefaultRate.N(4*time.Second))
			measured(b, 4*time.Second, func() {
				e, err := newEngine(notes, Options{Rate: DefaultRate, Voice: v.voice})
				if err != nil {
					b.Fatal(err)
				}
				e.fill(buf)
			})
		})
		b.Run("Render/"+v.name, func(b *testing.B) { // with the loudness measured and set
			measured(b, 4*time.Second, func() {
				if _, err := Render(notes, Options{Voice: v.voice}); err != nil {
					b.Fatal(err)
				}
			})
		})
	}
}

// BenchmarkAgainstNaive reports how many times faster a finished clip, loudness set, comes out of Render than samples come
// out of the naive way, the two in turn in one process, by processor time.
func BenchmarkAgainstNaive(b *testing.B) {
	notes := benchNotes()
	for _, v := range []Voice{slow, Struck} {
		b.Run(v.Name, func(b *testing.B) {
			b.ReportAllocs()
			var plain, ours time.Duration
			const each = 10
			for b.Loop() {
				began := cpuTime()
				naive(notes, DefaultRate, v)
				plain += cpuTime() - began
				began = cpuTime()
				for range each {
					if _, err := Render(notes, Options{Voice: v}); err != nil {
						b.Fatal(err)
					}
				}
				ours += cpuTime() - began
			}
			b.ReportMetric(each*plain.Seconds()/ours.Seconds(), "x-naive")
		})
	}
}

func BenchmarkLoudness(b *testing.B) {
	c, err := Render(benchNotes(), Options{})
	if err != nil {
		b.Fatal(err)
	}
	measured(b, c.Duration(), func() { c.Loudness() })
}

func BenchmarkWriteWAV(b *testing.B) {
	c, err := Render(benchNotes(), Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, f := range []Format{PCM16, PCM24, Float32} {
		b.Run(f.String(), func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(len(c.Samples) * f.bytes()))
			for b.Loop() {
				if err := WriteWAV(io.Discard, c, f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
