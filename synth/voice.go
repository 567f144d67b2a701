package synth

import (
	"fmt"
	"math"
)

// A Partial is one decaying sine of a note:
//
//	x(t) = Amp * 10^(-Decay t / 20) * sin(2 pi Freq t + Phase), t in seconds from the start of the note
type Partial struct {
	Freq  Hz
	Amp   float64 // at the start of the note, not negative
	Decay float64 // dB a second, not negative
	Phase float64 // radians, at the start of the note
}

// A Voice gives the partials of a note of fundamental f struck with a strength in (0, 1], appended to dst. Partials too
// high for the sample rate are left out by [Render], so a voice needn't know the rate. A voice must be pure: the same note
// gives the same partials.
type Voice func(dst []Partial, f Hz, strength float64) []Partial

// StruckPartials is the number of partials of [Struck], as far as they lie within the band.
const StruckPartials = 12

// Struck is a string struck near one end by a felt hammer, with harmonic partials n = 1 to [StruckPartials].
//
// The amplitude of partial n is sin(n pi 0.12) / n, that of an ideal string given a narrow blow at 0.12 of its length
// (textbook acoustics: Fletcher and Rossing, The Physics of Musical Instruments, chapter on the piano; from memory), times
// 1/sqrt(1 + (n f/c)^2), the felt's softness, whose corner c moves from 800 Hz for the softest to 3200 Hz for the
// strongest blow (common practice, no source). All notes of one strength start with the same power.
//
// Partial 1 decays by 4 dB a second at 55 Hz and by (f/55 Hz)^0.65 times that elsewhere, which makes 2.5 at the lowest and
// 67 dB a second at the highest key of a piano (order of magnitude after Martin, JASA 19, 1947; from memory); partial n
// decays 1 + (n-1)/4 times as fast, so that a note grows darker as it dies (common practice, no source).
//
// The phases are pi n (n-1) / 12 (Schroeder 1970, IEEE Trans. Information Theory 16, for a flat spectrum; from memory):
// they keep the peaks of a low note down, which leaves room below the ceiling.
func Struck(dst []Partial, f Hz, strength float64) []Partial {
	const (
		blow       = 0.12
		slowest    = 4.0
		slowestAt  = 55.0
		decaySlope = 0.65
	)
	corner := 800 + 2400*strength
	decay := slowest * math.Pow(float64(f)/slowestAt, decaySlope)
	from, power := len(dst), 0.0
	for n := 1.0; n <= StruckPartials; n++ {
		over := n * float64(f) / corner
		a := math.Sin(n*math.Pi*blow) / n / math.Sqrt(1+over*over)
		power += a * a / 2
		dst = append(dst, Partial{
			Freq:  Hz(n) * f,
			Amp:   a,
			Decay: decay * (1 + (n-1)/4),
			Phase: math.Mod(math.Pi*n*(n-1)/StruckPartials, 2*math.Pi),
		})
	}
	g := strength / math.Sqrt(power)
	for i := range dst[from:] {
		p := &dst[from+i]
		p.Amp *= g
		if p.Amp < 0 { // sin(n pi 0.12) turns negative from n = 9 on
			p.Amp, p.Phase = -p.Amp, p.Phase+math.Pi
		}
	}
	return dst
}

func (p Partial) check() error {
	switch {
	case !(p.Freq > 0) || math.IsInf(float64(p.Freq), 1):
		return fmt.Errorf("partial of %g Hz; want more than 0", float64(p.Freq))
	case !(p.Amp >= 0 && p.Amp <= maxAmp):
		return fmt.Errorf("partial of amplitude %g; want 0 to %g", p.Amp, float64(maxAmp))
	case !(p.Decay >= 0) || math.IsInf(p.Decay, 1):
		return fmt.Errorf("partial decaying by %g dB a second; want 0 or more", p.Decay)
	case math.IsNaN(p.Phase) || math.IsInf(p.Phase, 0):
		return fmt.Errorf("partial of phase %g; want a finite angle", p.Phase)
	}
	return nil
}

// maxAmp keeps a voice of one's own from leaving what a float32 can hold.
const maxAmp = 1e6
