package synth

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Temperament is a way of tuning the twelve keys of an octave.
type Temperament uint8

// The temperaments.
const (
	Equal        Temperament = iota // twelve equal semitones
	Just                            // pure thirds and fifths about a tonic
	Pythagorean                     // pure fifths from three below the tonic to eight above, Eb to G# of C
	Werckmeister                    // a well temperament: every key can be played, the near ones purer
)

// Temperaments returns all of them.
func Temperaments() []Temperament { return []Temperament{Equal, Just, Pythagorean, Werckmeister} }

var temperamentNames = []string{"equal", "just", "pythagorean", "werckmeister"}

// String names the temperament as a user would; %!Temperament(n) if it is none.
func (t Temperament) String() string {
	if int(t) < len(temperamentNames) {
		return temperamentNames[t]
	}
	return "%!Temperament(" + strconv.Itoa(int(t)) + ")"
}

// ParseTemperament returns the temperament of that name, in any case. The error lists the names.
func ParseTemperament(name string) (Temperament, error) {
	for i, n := range temperamentNames {
		if strings.EqualFold(name, n) {
			return Temperament(i), nil
		}
	}
	return 0, fmt.Errorf("synth: tuning %q; want one of %s", name, strings.Join(temperamentNames, ", "))
}

// Cents returns how many cents the twelve keys from the tonic upwards lie above it; all zero if t is no temperament.
//
//   - Just is the chromatic scale of 5-limit ratios 1, 16/15, 9/8, 6/5, 5/4, 4/3, 45/32, 3/2, 8/5, 5/3, 9/5, 15/8 (so in
//     Helmholtz, On the Sensations of Tone, and Ellis's notes to it, where other choices for the second, the tritone and the
//     minor seventh stand beside these; from memory).
//   - Pythagorean is a chain of fifths of 3/2 from the minor third to the augmented fifth.
//   - Werckmeister is his third (Musicalische Temperatur, 1691): the fifths C-G, G-D, D-A and B-F# are a quarter of the
//     Pythagorean comma narrow, all others pure. It is made for the tonic C; another one moves it as a whole.
func (t Temperament) Cents() (c [12]float64) {
	switch t {
	case Equal:
		for i := range c {
			c[i] = 100 * float64(i)
		}
	case Just:
		for i, r := range [12]float64{1, 16. / 15, 9. / 8, 6. / 5, 5. / 4, 4. / 3, 45. / 32, 3. / 2, 8. / 5, 5. / 3, 9. / 5, 15. / 8} {
			c[i] = 1200 * math.Log2(r)
		}
	case Pythagorean:
		for n := -3; n <= 8; n++ {
			c[(7*n+84)%12] = fifthsUp(n, func(int) float64 { return 0 })
		}
	case Werckmeister:
		comma := 12*pureFifth - 7*1200
		for n := -3; n <= 8; n++ { // from Eb; n counts fifths above C
			c[(7*n+84)%12] = fifthsUp(n, func(k int) float64 { // the fifth from k to k+1
				if k == 0 || k == 1 || k == 2 || k == 5 { // C-G, G-D, D-A, B-F#
					return comma / 4
				}
				return 0
			})
		}
	}
	return c
}

var pureFifth = 1200 * math.Log2(1.5)

// fifthsUp returns the cents, within an octave, of n pure fifths up (or down), each narrowed by what narrow says.
func fifthsUp(n int, narrow func(k int) float64) float64 {
	sum := 0.0
	for k := 0; k < n; k++ {
		sum += pureFifth - narrow(k)
	}
	for k := -1; k >= n; k-- {
		sum -= pureFifth - narrow(k)
	}
	sum = math.Mod(sum, 1200)
	if sum < -1e-9 {
		sum += 1200
	}
	return sum
}

// A Tuning gives each key its frequency. The zero value is equal temperament with A4 = 440 Hz.
type Tuning struct {
	temperament Temperament
	tonic       int
	a4          Hz
	cents       [12]float64 // of the pitch classes from C, against A of the same octave
}

// MinA4 and MaxA4 bound the frequency of A4: a whole tone either way of 440 Hz, near enough.
const (
	MinA4 Hz = 392
	MaxA4 Hz = 494
)

// NewTuning tunes in temperament t on a tonic given as a pitch class, 0 for C to 11 for B, so that A4 (MIDI number 69) has
// the frequency a4; 0 means 440 Hz. The tonic of an equal temperament makes no difference. It returns an error if one of
// the three is out of range.
func NewTuning(t Temperament, tonic int, a4 Hz) (Tuning, error) {
	if a4 == 0 {
		a4 = 440
	}
	switch {
	case int(t) >= len(temperamentNames):
		return Tuning{}, fmt.Errorf("synth: unknown temperament %v", t)
	case tonic < 0 || tonic > 11:
		return Tuning{}, fmt.Errorf("synth: tonic %d; want a pitch class from 0 to 11", tonic)
	case !(a4 >= MinA4 && a4 <= MaxA4):
		return Tuning{}, fmt.Errorf("synth: A4 at %g Hz; want %g to %g", float64(a4), float64(MinA4), float64(MaxA4))
	}
	u := Tuning{temperament: t, tonic: tonic, a4: a4}
	up := t.Cents()
	height := func(pc int) float64 { // of a pitch class in the octave from C, against the C tonic's own zero
		d := pc - tonic
		if d < 0 {
			return up[d+12] - 1200
		}
		return up[d]
	}
	for pc := range 12 {
		u.cents[pc] = height(pc) - height(9)
	}
	return u, nil
}

// Freq returns the frequency of a key by its MIDI number, C4 = 60. It isn't limited to the MIDI range.
func (u Tuning) Freq(key int) Hz {
	if u.a4 == 0 {
		return Hz(440 * math.Exp2(float64(key-69)/12))
	}
	if u.temperament == Equal {
		return u.a4 * Hz(math.Exp2(float64(key-69)/12))
	}
	pc := (key%12 + 12) % 12
	octave := (key - pc) / 12 // C4 = 60 begins octave 5 of this count, as A4 = 69 does
	return u.a4 * Hz(math.Exp2(u.cents[pc]/1200+float64(octave-5)))
}

// String describes u: "just on A, A4 = 440 Hz"; the tonic is named with a sharp where it is a black key.
func (u Tuning) String() string {
	a4 := u.a4
	if a4 == 0 {
		a4 = 440
	}
	s := u.temperament.String()
	if u.temperament != Equal {
		s += " on " + [12]string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}[u.tonic]
	}
	return fmt.Sprintf("%s, A4 = %g Hz", s, float64(a4))
}
