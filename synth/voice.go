package synth

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// A Partial is one sine of a note, dying away in one or two stages:
//
//	x(t) = Amp * 10^(-L(t)/20) * sin(2 pi Freq t + Phase), t in seconds from the start of the note
//	L(t) = Decay t until Knee, and Decay Knee + After (t - Knee) from then on
//
// The second stage begins with the block of 512 frames that follows Knee, at most 11 ms late.
type Partial struct {
	Freq  Hz
	Amp   float64 // at the start of the note, not negative
	Decay float64 // dB a second, not negative
	Knee  float64 // seconds from the start of the note, not negative; 0 means that there is one stage only
	After float64 // dB a second, not negative
	Phase float64 // radians, at the start of the note
}

// A Voice is a way of sounding a note. The zero value stands for [Struck].
type Voice struct {
	Name string
	// Attack and Release are the lengths of the two raised-cosine edges of a note, 1 ms to 1 s: the first begins with the
	// note, the second when the key is let go.
	Attack, Release time.Duration
	// Partials appends the partials of a note of fundamental f, sounded with a strength in (0, 1], to dst: at most
	// [MaxPartials]. Those too high for the sample rate are left out by the renderer, so that a voice needn't know the rate.
	// It must be pure, the same note giving the same partials, and mustn't keep dst.
	Partials func(dst []Partial, f Hz, strength float64) []Partial
}

// MaxPartials is the largest number of partials of a note.
const MaxPartials = 48

// The voices. A note of any pitch and strength has the K-weighted power strength^2 at its start in each of them (amplitudes
// squared and halved, weighted as for loudness by ITU-R BS.1770, and added), so that only the course of a note and its colour
// differ, and a high note isn't shrill beside a low one.
var (
	Struck   = Voice{"struck", Attack, Release, struckPartials}
	Flexible = Voice{"flexible", Attack, Release, flexiblePartials}
	Bowed    = Voice{"bowed", 60 * time.Millisecond, 120 * time.Millisecond, bowedPartials}
	Organ    = Voice{"organ", 25 * time.Millisecond, 70 * time.Millisecond, organPartials}
	Sine     = Voice{"sine", 15 * time.Millisecond, Release, sinePartials}
	// Tick counts beats: a knock, no note.
	Tick = Voice{"tick", 2 * time.Millisecond, 20 * time.Millisecond, tickPartials}
)

// Voices returns the voices a listener may choose, the usual one first.
func Voices() []Voice { return []Voice{Struck, Flexible, Bowed, Organ, Sine} }

// ParseVoice returns the voice of that name, in any case. The error lists the names.
func ParseVoice(name string) (Voice, error) {
	var names []string
	for _, v := range Voices() {
		if strings.EqualFold(name, v.Name) {
			return v, nil
		}
		names = append(names, v.Name)
	}
	return Voice{}, fmt.Errorf("synth: voice %q; want one of %s", name, strings.Join(names, ", "))
}

func (v Voice) check() error {
	for _, e := range []time.Duration{v.Attack, v.Release} {
		if e < time.Millisecond || e > time.Second {
			return fmt.Errorf("voice %q has an edge of %v; want 1 ms to 1 s", v.Name, e)
		}
	}
	if v.Partials == nil {
		return fmt.Errorf("voice %q has no partials", v.Name)
	}
	return nil
}

// Inharmonicity returns the coefficient B of a piano string of fundamental f, in
//
//	f_n = n f_1 sqrt((1 + B n^2) / (1 + B))
//
// which is the stiff string of Fletcher (Normal vibration frequencies of a stiff piano string, JASA 36, 1964:
// f_n = n f_0 sqrt(1 + B n^2)) with the first partial taken for the name of the note. B follows the two straight lines, in
// the logarithm, of Rigaud, David and Daudet (A parametric model and estimation techniques for the inharmonicity and tuning
// of the piano, JASA 133, 2013; figures from memory): one for the wrapped strings of the bass, one for the plain ones,
//
//	B = exp(-0.0847 m - 5.82) + exp(0.0926 m - 13.64), m the MIDI number of f
//
// that is 0.0005 at A0, 0.0002 about C3 where it is least, 0.0007 at A4 and 0.026 at C8.
func Inharmonicity(f Hz) float64 {
	m := 69 + 12*math.Log2(float64(f)/440)
	return math.Exp(-0.0847*m-5.82) + math.Exp(0.0926*m-13.64)
}

// struckPartials is a stiff string struck near one end by a felt hammer and heard from a soundboard. Partials lie where
// [Inharmonicity] says: as many as fit below 5 kHz, but no fewer than 8 and no more than 48.
//
// The amplitude of partial n is that of an ideal string given a narrow blow at 0.12 of its length (textbook acoustics:
// Fletcher and Rossing, The Physics of Musical Instruments, chapter on the piano; from memory), times what the hammer and
// the soundboard let through:
//
//	sin(n pi 0.12) / n  *  1/(1 + (f_n/c)^2)  *  f_n^2/(f_n^2 + b^2)
//
// The hammer's blow lasts from 4 ms in the bass to less than 1 ms in the treble and is shorter the harder it is, so that the
// spectrum falls by 12 dB an octave above a corner c that rises with strength and, slowly, with pitch (Askenfelt and
// Jansson, From touch to string vibrations, III, JASA 93, 1993; Hall and Askenfelt, Piano string excitation V, JASA 83, 1988; from
// memory). Here c = 4000 strength^1.5 (f/262 Hz)^0.2 Hz (the numbers are ours, chosen so that the spectral centre of C4
// rises by half from pp to ff, that the lowest notes have their strength where small loudspeakers and ears have theirs, and
// that the second partial of the highest stays 10 dB under the first). The soundboard radiates badly below its lowest
// resonances, b = 80 Hz, so that the first partial of A0 is 19 dB weaker than a higher one would be: what is heard as its
// pitch are the partials above (Fletcher, Blackham and Stratton, Quality of piano tones, JASA 34, 1962, found it 25 dB and more below
// the strongest; from memory).
//
// A note dies in two stages, fast while the strings of a choir push the bridge together and slow once they push against
// each other (Martin, Decay rates of piano tones, JASA 19, 1947; Weinreich, Coupled piano strings, JASA 62, 1977; the course
// of the level is drawn there as two straight lines). Partial 1 begins with 2.5 dB a second at 55 Hz and (f/55 Hz)^0.65 times
// that elsewhere, 1.6 at the lowest and 42 at the highest key, and goes on with two sevenths of it once it has fallen by 12 dB:
// 7.7 and then 2.2 dB a second for Eb4, where Weinreich has about 8 and 2 (from memory). Partial n decays 1 + (n-1)/4 times as
// fast, so that a note grows darker as it dies (common practice, no source). Rates of single partials from 1 to 100 dB a second
// were measured on a spinet (abstract seen, quoted without its name); the rate doesn't depend on the strength (Cheng, Dixon and
// Mauch, Modelling the decay of piano sounds, 2015, abstract).
//
// The phases are pi n (n-1) / N for N partials (Schroeder, Synthesis of low-peak-factor signals, IEEE Trans. Information
// Theory 16, 1970, for a flat spectrum; from memory): they keep the peaks of a low note down, which leaves room below the
// ceiling.
func struckPartials(dst []Partial, f Hz, strength float64) []Partial {
	return stringPartials(dst, f, strength, Inharmonicity(f))
}

// flexiblePartials is the same string without stiffness: its partials are harmonic, so that pure intervals don't beat.
func flexiblePartials(dst []Partial, f Hz, strength float64) []Partial {
	return stringPartials(dst, f, strength, 0)
}

func stringPartials(dst []Partial, f Hz, strength, b float64) []Partial {
	const (
		blow       = 0.12
		fastest    = 2.5 // dB a second
		fastestAt  = 55.0
		decaySlope = 0.65
		slower     = 3.5
		kneeDepth  = 12 // dB
		top        = 5000
		board      = 80.0
	)
	corner := 4000 * math.Pow(strength, 1.5) * math.Pow(float64(f)/261.6, 0.2)
	decay := fastest * math.Pow(float64(f)/fastestAt, decaySlope)
	count := min(max(math.Floor(top/float64(f)), 8), MaxPartials)
	from := len(dst)
	for n := 1.0; n <= count; n++ {
		fn := n * float64(f) * math.Sqrt((1+b*n*n)/(1+b))
		over := fn / corner
		a := math.Sin(n*math.Pi*blow) / n / (1 + over*over) * fn * fn / (fn*fn + board*board)
		phase := math.Pi * n * (n - 1) / count
		if a < 0 { // from n = 9 on
			a, phase = -a, phase+math.Pi
		}
		d := decay * (1 + (n-1)/4)
		dst = append(dst, Partial{Freq: Hz(fn), Amp: a, Decay: d, Knee: kneeDepth / d, After: d / slower, Phase: math.Mod(phase, 2*math.Pi)})
	}
	power(dst[from:], strength)
	return dst
}

// bowedPartials is a bowed string, which also does for a reed or a lip: under the bow a string moves in a sawtooth
// (Helmholtz, On the Sensations of Tone, 1863), whose partial n has the amplitude 1/n; the body of the instrument takes the
// brightness off above a corner of 1200 Hz at the softest and 3600 Hz at the strongest, at 6 dB an octave (common practice,
// no source). It lasts as long as the key, and its partials are harmonic, since the bow locks them.
func bowedPartials(dst []Partial, f Hz, strength float64) []Partial {
	corner := 1200 + 2400*strength
	count := min(max(math.Floor(8000/float64(f)), 6), 24)
	from := len(dst)
	for n := 1.0; n <= count; n++ {
		over := n * float64(f) / corner
		dst = append(dst, Partial{Freq: Hz(n) * f, Amp: 1 / n / math.Sqrt(1+over*over), Phase: math.Mod(math.Pi*n*(n-1)/count, 2*math.Pi)})
	}
	power(dst[from:], strength)
	return dst
}

// organRanks are the ranks of a principal chorus by the number of the partial they sound, 8', 4', 2 2/3', 2' and 1', each
// quieter than the one below (common practice of organ builders, no source); a pipe itself adds a third partial.
var organRanks = []struct{ n, amp float64 }{{1, 1}, {2, .7}, {3, .45}, {4, .5}, {6, .2}, {8, .25}}

// organPartials sounds like a row of organ pipes: steady and harmonic. Strength doesn't change its colour, as with an organ's
// key.
func organPartials(dst []Partial, f Hz, strength float64) []Partial {
	from := len(dst)
	for i, r := range organRanks {
		dst = append(dst, Partial{Freq: Hz(r.n) * f, Amp: r.amp, Phase: math.Mod(2.4*float64(i*i), 2*math.Pi)})
	}
	power(dst[from:], strength)
	return dst
}

func sinePartials(dst []Partial, f Hz, strength float64) []Partial {
	dst = append(dst, Partial{Freq: f, Amp: 1})
	power(dst[len(dst)-1:], strength)
	return dst
}

// tickPartials are those of a struck bar of wood held at its ends' nodes: a free bar's modes lie at 1, 2.756 and 5.404 times
// the first (textbook acoustics: Fletcher and Rossing, chapter on bars; from memory). They die in a few hundredths of a second.
func tickPartials(dst []Partial, f Hz, strength float64) []Partial {
	from := len(dst)
	for i, r := range []float64{1, 2.756, 5.404} {
		dst = append(dst, Partial{Freq: Hz(r) * f, Amp: 1 / float64(1+i*i), Decay: 500 * float64(i+1)})
	}
	power(dst[from:], strength)
	return dst
}

// power gives parts the K-weighted power strength^2.
func power(parts []Partial, strength float64) {
	sum := 0.0
	for _, p := range parts {
		cos := math.Cos(2 * math.Pi * min(float64(p.Freq)/float64(DefaultRate), topShare))
		sum += p.Amp * p.Amp / 2 * kShelf.power(cos) * kHighPass.power(cos)
	}
	g := strength / math.Sqrt(sum)
	for i := range parts {
		parts[i].Amp *= g
	}
}

func (p Partial) check() error {
	switch {
	case !(p.Freq > 0) || math.IsInf(float64(p.Freq), 1):
		return fmt.Errorf("partial of %g Hz; want more than 0", float64(p.Freq))
	case !(p.Amp >= 0 && p.Amp <= maxAmp):
		return fmt.Errorf("partial of amplitude %g; want 0 to %g", p.Amp, float64(maxAmp))
	case !(p.Decay >= 0) || math.IsInf(p.Decay, 1):
		return fmt.Errorf("partial decaying by %g dB a second; want 0 or more", p.Decay)
	case !(p.Knee >= 0) || math.IsInf(p.Knee, 1) || !(p.After >= 0) || math.IsInf(p.After, 1):
		return fmt.Errorf("partial decaying by %g dB a second from %g s on; want 0 or more", p.After, p.Knee)
	case math.IsNaN(p.Phase) || math.IsInf(p.Phase, 0):
		return fmt.Errorf("partial of phase %g; want a finite angle", p.Phase)
	}
	return nil
}

// maxAmp keeps a voice of one's own from leaving what a float32 can hold.
const maxAmp = 1e6

// errTooManyPartials is returned for a voice of one's own with more than MaxPartials.
var errTooManyPartials = fmt.Errorf("more partials than %d", MaxPartials)
