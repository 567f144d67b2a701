package synth

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// piece invents music of so many bars of 2 s: chords in the left hand, a line in the right.
func piece(bars int) []Note {
	r := rand.New(rand.NewPCG(21, 3))
	var notes []Note
	for b := range bars {
		at := time.Duration(b) * 2 * time.Second
		root := 36 + r.IntN(12)
		for i, up := range []int{0, 7, 12, 16} {
			notes = append(notes, Note{Freq: key(root + up), Start: at, Length: 1900 * time.Millisecond, Strength: .4 + .05*float64(i), Pan: -.3})
		}
		for k := range 8 {
			for _, up := range []int{24, 28 + r.IntN(8)} {
				notes = append(notes, Note{Freq: key(root + up), Start: at + time.Duration(k)*250*time.Millisecond, Length: 240 * time.Millisecond, Strength: .5 + .3*r.Float64(), Pan: .3})
			}
		}
	}
	return notes
}

func stream(t testing.TB, notes []Note, o Options) *Stream {
	t.Helper()
	s, err := NewStream(notes, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func drain(t testing.TB, s *Stream, size func() int) []float32 {
	t.Helper()
	var out []float32
	for {
		buf := make([]float32, size())
		n, err := s.Read(buf)
		out = append(out, buf[:n]...)
		if err == io.EOF {
			return out
		}
		if err != nil || n%2 != 0 || n == 0 {
			t.Fatalf("Read = %d, %v", n, err)
		}
	}
}

// TestStream: a stream is what Render gives but for the gain, in whatever pieces it is taken; reading it allocates nothing.
func TestStream(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	notes := chordOf(r, 6, 40, 700*time.Millisecond)
	for i := range notes {
		notes[i].Start = time.Duration(i) * 77 * time.Millisecond
	}
	o := Options{Tail: 123 * time.Millisecond}
	want := drain(t, stream(t, notes, o), func() int { return 1 << 20 })
	if got := drain(t, stream(t, notes, o), func() int { return 2 + r.IntN(3000) }); !slices.Equal(got, want) {
		t.Error("taken in pieces it differs")
	}
	c := render(t, o, notes...)
	if len(want) != len(c.Samples) || stream(t, notes, o).Frames() != c.Frames() {
		t.Fatalf("%d samples; Render gives %d", len(want), len(c.Samples))
	}
	ratio := 0.0
	for i, x := range c.Samples {
		if math.Abs(float64(x)) > .05 {
			ratio = float64(want[i]) / float64(x)
			break
		}
	}
	for i, x := range c.Samples {
		if d := math.Abs(float64(want[i]) - ratio*float64(x)); d > 1e-6 {
			t.Fatalf("sample %d is %g; want %g times Render's %g", i, want[i], ratio, x)
		}
	}
	s, buf := stream(t, piece(20), Options{}), make([]float32, 1024)
	if n := testing.AllocsPerRun(1000, func() {
		if _, err := s.Read(buf); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("reading allocates %g times; want none", n)
	}
	if _, err := s.Read(buf[:1]); err != io.ErrShortBuffer {
		t.Errorf("Read of half a frame: %v; want io.ErrShortBuffer", err)
	}
	var clip Clip
	clip.Samples = want
	pcm, err := io.ReadAll(stream(t, notes, o).PCM())
	if err != nil || string(pcm) != string(clip.AppendPCM16(nil)) {
		t.Errorf("PCM gives %d bytes, %v; want those of the samples", len(pcm), err)
	}
}

// TestStreamLoudness: the loudness worked out is near the one measured.
func TestStreamLoudness(t *testing.T) {
	worst := 0.0
	check := func(name string, notes []Note, o Options) {
		s := stream(t, notes, o)
		x := drain(t, s, func() int { return 1 << 16 })
		got := (&Clip{Rate: DefaultRate, Samples: x}).Loudness() + LUFS(s.Held())
		worst = max(worst, math.Abs(float64(got-DefaultLevel)))
		if math.Abs(float64(got-DefaultLevel)) > 1 {
			t.Errorf("%s: %.2f LUFS; want %g, give or take 1", name, got, DefaultLevel)
		}
	}
	check("a piece", piece(20), Options{})
	check("a long piece", piece(40), Options{})
	r := rand.New(rand.NewPCG(2, 9))
	for _, v := range Voices() {
		for range 4 {
			notes := chordOf(r, 3+r.IntN(5), 36+r.IntN(30), time.Duration(500+r.IntN(3000))*time.Millisecond)
			check(fmt.Sprintf("%s, %d notes of %v", v.Name, len(notes), notes[0].Length), notes, Options{Voice: v})
		}
	}
	t.Logf("off by %.2f LU at most", worst)
}

// TestStreamCeiling: no sample of a stream passes the ceiling, and its gain never jumps.
func TestStreamCeiling(t *testing.T) {
	notes := piece(2)
	for range 40 { // a blow in the middle: many equal notes, all peaks together
		notes = append(notes, Note{Freq: 55, Start: 1700 * time.Millisecond, Length: time.Second, Strength: 1, Pan: -.3})
	}
	s := stream(t, notes, Options{Level: MaxLevel})
	x := drain(t, s, func() int { return 4096 })
	for i, v := range x {
		if math.Abs(float64(v)) > Ceiling {
			t.Fatalf("sample %d is %g", i, v)
		}
	}
	if tp := (&Clip{Rate: DefaultRate, Samples: x}).TruePeak(); tp > TruePeakCeiling {
		t.Errorf("true peak %.2f dBTP; want at most -3", 20*math.Log10(tp))
	}
	if !(s.Held() > 1) {
		t.Errorf("held by %.2f LU; want the blow to lower the gain", s.Held())
	}
	e, err := newEngine(notes, Options{Rate: DefaultRate, Voice: Struck})
	if err != nil {
		t.Fatal(err)
	}
	raw := make([]float32, 2*e.frames)
	if _, err := e.fill(raw); err != nil {
		t.Fatal(err)
	}
	before, at := 0.0, 0
	for i, v := range raw {
		if math.Abs(float64(v)) < .2 {
			continue
		}
		gain := float64(x[i]) / float64(v)
		if before != 0 && (gain > before*1.00001 || gain < before*math.Pow(.98, float64(i-at))) {
			t.Fatalf("the gain goes from %g at sample %d to %g at sample %d", before, at, gain, i)
		}
		before, at = gain, i
	}
}

// TestStartSoftly: a soft start rises to the level without a jump and leaves the rest alone, of a clip and of a stream.
func TestStartSoftly(t *testing.T) {
	flat := &Clip{Rate: DefaultRate, Samples: make([]float32, 2*48000*4)}
	for i := range flat.Samples {
		flat.Samples[i] = .25
	}
	flat.StartSoftly(12, 1500*time.Millisecond)
	if first := 20 * math.Log10(float64(flat.Samples[0])/.25); math.Abs(first+12) > .01 {
		t.Errorf("begins %.2f dB below; want 12", -first)
	}
	for i := 2; i < len(flat.Samples); i++ {
		if flat.Samples[i] < flat.Samples[i-2] || flat.Samples[i] > flat.Samples[i-2]*1.0001 {
			t.Fatalf("jumps from %g to %g at sample %d", flat.Samples[i-2], flat.Samples[i], i)
		}
	}
	if at := 2 * 72000; flat.Samples[at] != .25 {
		t.Errorf("%g after 1.5 s; want 0.25", flat.Samples[at])
	}
	want := &Clip{Rate: DefaultRate, Samples: drain(t, stream(t, piece(3), Options{}), func() int { return 1 << 16 })}
	want.StartSoftly(12, time.Second)
	s := stream(t, piece(3), Options{})
	s.StartSoftly(12, time.Second)
	if got := drain(t, s, func() int { return 999 }); !slices.Equal(got, want.Samples) {
		t.Error("a stream's soft start isn't that of a clip")
	}
}

// TestStreamError: a voice that fails while it sounds ends the stream with its error, after what came before.
func TestStreamError(t *testing.T) {
	late := Voice{"late", Attack, Release, func(dst []Partial, f Hz, s float64) []Partial {
		if f > 1000 {
			return append(dst, Partial{Freq: f, Amp: -1})
		}
		return append(dst, Partial{Freq: f, Amp: s})
	}}
	notes := []Note{{Freq: 440, Length: time.Second, Strength: .5}, {Freq: 1440, Start: 500 * time.Millisecond, Length: time.Second, Strength: .5}}
	s, err := NewStream(notes, Options{Voice: late})
	if err != nil {
		t.Fatal(err)
	}
	n, buf := 0, make([]float32, 1000)
	for err == nil {
		var k int
		k, err = s.Read(buf)
		n += k
	}
	if errors.Is(err, io.EOF) || n < 40000 || n > 48000 {
		t.Errorf("%d samples, then %v; want some 48000 and the voice's error", n, err)
	}
	if _, err := NewStream(nil, Options{}); err == nil {
		t.Error("no notes: no error")
	}
}

// BenchmarkStream: the first block of sound, however long the music; a block after it, which allocates nothing; all of it.
func BenchmarkStream(b *testing.B) {
	buf := make([]float32, 2*blockFrames)
	for _, bars := range []int{4, 100, 800} { // the last one is nearly as long as can be, 27 min
		notes := piece(bars)
		b.Run(fmt.Sprintf("first-block/%d-bars", bars), func(b *testing.B) {
			measured(b, 0, func() {
				s, err := NewStream(notes, Options{})
				if err == nil {
					_, err = s.Read(buf)
				}
				if err != nil {
					b.Fatal(err)
				}
			})
		})
	}
	notes := piece(100)
	for _, o := range []Options{{}, {Room: true}} {
		name := "dry"
		if o.Room {
			name = "room"
		}
		b.Run("block/"+name, func(b *testing.B) {
			s := stream(b, notes, o)
			measured(b, DefaultRate.D(blockFrames), func() {
				if _, err := s.Read(buf); err == io.EOF {
					b.StopTimer()
					s = stream(b, notes, o)
					b.StartTimer()
				} else if err != nil {
					b.Fatal(err)
				}
			})
		})
		b.Run("whole/100-bars/"+name, func(b *testing.B) {
			measured(b, 200*time.Second, func() {
				s, err := NewStream(notes, o)
				for err == nil {
					_, err = s.Read(buf)
				}
				if err != io.EOF {
					b.Fatal(err)
				}
			})
		})
		b.Run("Render/100-bars/"+name, func(b *testing.B) {
			measured(b, 200*time.Second, func() {
				if _, err := Render(notes, o); err != nil {
					b.Fatal(err)
				}
			})
		})
	}
}
