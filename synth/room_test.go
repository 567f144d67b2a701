package synth

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"
)

// answer is what the room alone gives back, on both sides, for one sample on a side.
func answer(rate SampleRate, side int, frames int) (l, r []float64) {
	m := newRoom(rate)
	for len(l) < frames {
		var a, b [blockFrames]float64
		if len(l) == 0 {
			if side == 0 {
				a[0] = 1
			} else {
				b[0] = 1
			}
		}
		m.add(&a, &b)
		if len(l) == 0 {
			a[0], b[0] = 0, 0 // the sound itself
		}
		l, r = append(l, a[:]...), append(r, b[:]...)
	}
	return l, r
}

// TestRoom measures the room's answer: its energy, its decay (by Schroeder's backward integration, New method of measuring
// reverberation time, JASA 37, 1965; from memory), that no frequency stands out, and that the sides differ.
func TestRoom(t *testing.T) {
	for _, rate := range []SampleRate{32000, 44100, 48000, 96000} {
		for side := range 2 {
			l, r := answer(rate, side, int(rate))
			energy := func(x []float64) (sum float64) {
				for _, v := range x {
					sum += v * v
				}
				return sum
			}
			total := energy(l) + energy(r)
			if off := 10 * math.Log10(total/roomEnergy); math.Abs(off) > .4 {
				t.Errorf("%d Hz, side %d: the energy that comes back is %.4f; want %g", rate, side, total, roomEnergy)
			}
			if d := 10 * math.Log10(energy(l)/energy(r)); math.Abs(d) > 1 {
				t.Errorf("%d Hz, side %d: %.2f dB more on the left", rate, side, d)
			}
			dot := 0.0
			for i := range l {
				dot += l[i] * r[i]
			}
			if c := dot / math.Sqrt(energy(l)*energy(r)); math.Abs(c) > .2 {
				t.Errorf("%d Hz, side %d: the sides correlate by %.2f; want hardly", rate, side, c)
			}
			// The time to fall by 60 dB, from the slope between -5 and -35 dB of what is still to come.
			rest := make([]float64, len(l))
			sum := 0.0
			for i := len(l) - 1; i >= 0; i-- {
				sum += l[i]*l[i] + r[i]*r[i]
				rest[i] = 10 * math.Log10(sum/total)
			}
			at := func(db float64) float64 {
				i := 0
				for rest[i] > -db {
					i++
				}
				return float64(i) / float64(rate)
			}
			if got := 2 * (at(35) - at(5)); got < .25 || got > .45 {
				t.Errorf("%d Hz, side %d: falls by 60 dB in %.3f s; want 0.4 s in the bass and half of it in the treble", rate, side, got)
			}
			if late := rest[rate.N(roomTail-roomFade)]; late > -50 {
				t.Errorf("%d Hz: %.1f dB are still to come when the end is faded; want less than -50", rate, late)
			}
			// No resonance: smoothed over 50 Hz or a third of an octave, the answer lies within 8 dB of its mean below 5 kHz.
			fft := fourier.NewFFT(len(l))
			z := fft.Coefficients(nil, l)
			hz := float64(rate) / float64(len(l))
			var bands []float64
			for f := 60.0; f < 5000; f *= math.Exp2(1. / 3) {
				p, n := 0.0, 0.0
				for k := int(f * math.Exp2(-1./6) / hz); float64(k)*hz < f*math.Exp2(1./6); k++ {
					p += real(z[k])*real(z[k]) + imag(z[k])*imag(z[k])
					n++
				}
				bands = append(bands, 10*math.Log10(p/n))
			}
			mean := 0.0
			for _, b := range bands {
				mean += b / float64(len(bands))
			}
			if low, high := slices.Min(bands)-mean, slices.Max(bands)-mean; low < -8 || high > 8 {
				t.Errorf("%d Hz, side %d: thirds of an octave from %.1f to %.1f dB about their mean", rate, side, low, high)
			}
		}
	}
}

// TestRoomBounded: whatever goes in, no frequency is lifted by more than the lines can hold, and after the sound the room
// empties and rests.
func TestRoomBounded(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	m := newRoom(DefaultRate)
	most := 0.0
	for range 200 { // 2 s of noise of magnitude 1
		var a, b [blockFrames]float64
		for i := range a {
			a[i], b[i] = 2*r.Float64()-1, 2*r.Float64()-1
		}
		x, y := a, b
		m.add(&a, &b)
		for i := range a {
			most = max(most, math.Abs(a[i]-x[i]), math.Abs(b[i]-y[i]))
		}
	}
	if most > 1.5 {
		t.Errorf("noise of magnitude 1 comes back as large as %.2f", most)
	}
	blocks, tail := 0, 0.0
	for m.silent < m.rest {
		var a, b [blockFrames]float64
		m.add(&a, &b)
		blocks++
		tail = slices.Max(append(a[:], b[:]...))
		for i, l := range m.lines {
			for _, x := range l.buf {
				if x != 0 && math.Abs(x) < 1e-200 {
					t.Fatalf("line %d holds %g", i, x)
				}
			}
		}
	}
	if tail > 1e-8 || blocks > 120 {
		t.Errorf("emptied after %d blocks of silence with %g still sounding", blocks, tail)
	}
	for i, l := range m.lines {
		if slices.ContainsFunc(l.buf, func(x float64) bool { return x != 0 }) || l.y != 0 {
			t.Errorf("line %d isn't empty at rest", i)
		}
	}
}

// TestRoomRendered: with a room, a clip is as loud as without one, ends in silence, lasts half a second longer, and is the
// stream's; the default has none.
func TestRoomRendered(t *testing.T) {
	notes := chordOf(rand.New(rand.NewPCG(1, 1)), 5, 45, 700*time.Millisecond)
	dry := render(t, Options{}, notes...)
	wet := render(t, Options{Room: true, Tail: 100 * time.Millisecond}, notes...)
	if got, want := wet.Frames(), dry.Frames()+DefaultRate.N(600*time.Millisecond); got != want {
		t.Errorf("%d frames; want %d", got, want)
	}
	if got := wet.Loudness(); math.Abs(float64(got-DefaultLevel)) > .01 {
		t.Errorf("%.3f LUFS; want %g", got, DefaultLevel)
	}
	end := wet.Samples[2*(wet.Frames()-DefaultRate.N(100*time.Millisecond))-2:]
	if wet.Samples[0] != 0 || wet.Samples[1] != 0 || slices.ContainsFunc(end, func(x float32) bool { return x != 0 }) {
		t.Error("a clip in a room doesn't begin and end at 0")
	}
	x := drain(t, stream(t, notes, Options{Room: true, Tail: 100 * time.Millisecond}), func() int { return 3000 })
	if len(x) != len(wet.Samples) {
		t.Fatalf("a stream has %d samples, the clip %d", len(x), len(wet.Samples))
	}
	k := slices.IndexFunc(wet.Samples, func(v float32) bool { return math.Abs(float64(v)) > .05 })
	for i, v := range wet.Samples {
		if d := math.Abs(float64(x[i]) - float64(v)*float64(x[k])/float64(wet.Samples[k])); d > 1e-6 {
			t.Fatalf("sample %d of the stream is %g, of the clip %g", i, x[i], v)
		}
	}
	if got := (&Clip{Rate: DefaultRate, Samples: x}).Loudness(); math.Abs(float64(got-DefaultLevel)) > 1 {
		t.Errorf("the stream has %.2f LUFS", got)
	}
}
