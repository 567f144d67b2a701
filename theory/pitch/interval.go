package pitch

import (
	"fmt"
	"strconv"
	"strings"
)

// An Interval is a spelled distance between two pitches: Steps diatonic steps and Semitones semitones, both positive
// upwards and negative downwards. A major third is {2, 4}, a diminished fourth {3, 4}, a minor tenth up {9, 15}, a perfect
// fifth down {-4, -7}. The zero value is the perfect unison.
type Interval struct {
	Steps     int
	Semitones int
}

// Common intervals, upwards.
var (
	Unison          = Interval{0, 0}
	MinorSecond     = Interval{1, 1}
	MajorSecond     = Interval{1, 2}
	MinorThird      = Interval{2, 3}
	MajorThird      = Interval{2, 4}
	PerfectFourth   = Interval{3, 5}
	AugmentedFourth = Interval{3, 6}
	DiminishedFifth = Interval{4, 6}
	PerfectFifth    = Interval{4, 7}
	MinorSixth      = Interval{5, 8}
	MajorSixth      = Interval{5, 9}
	MinorSeventh    = Interval{6, 10}
	MajorSeventh    = Interval{6, 11}
	Octave          = Interval{7, 12}
)

// Sub returns the interval from q up (or down) to p, so that q.Add(p.Sub(q)) == p.
func (p Pitch) Sub(q Pitch) Interval {
	return Interval{p.Step() - q.Step(), p.MIDI() - q.MIDI()}
}

// Add returns the pitch at interval i from p, spelled as the interval says. The alteration may pass triple sharps or flats
// where the interval demands it.
func (p Pitch) Add(i Interval) Pitch {
	step := p.Step() + i.Steps
	q := Pitch{Letter(mod(step, 7)), 0, int8(floorDiv(step, 7))}
	q.Alter = int8(p.MIDI() + i.Semitones - q.MIDI())
	return q
}

// Add returns the class at interval i above c; octaves don't matter.
func (c Class) Add(i Interval) Class { return c.In(4).Add(i).Class() }

// Sub returns the ascending interval, less than an octave in steps (0 to 6), from d up to c.
func (c Class) Sub(d Class) Interval {
	i := c.In(4).Sub(d.In(4))
	if i.Steps < 0 {
		i = i.Plus(Octave)
	}
	return i
}

// Plus returns i and then j.
func (i Interval) Plus(j Interval) Interval {
	return Interval{i.Steps + j.Steps, i.Semitones + j.Semitones}
}

// Neg returns i in the other direction.
func (i Interval) Neg() Interval { return Interval{-i.Steps, -i.Semitones} }

// Descends reports whether i leads downwards by spelling: by steps or, on the same step, by semitones.
func (i Interval) Descends() bool { return i.Steps < 0 || i.Steps == 0 && i.Semitones < 0 }

// Abs returns i upwards.
func (i Interval) Abs() Interval {
	if i.Descends() {
		return i.Neg()
	}
	return i
}

// Simple returns i upwards and without whole octaves: a tenth becomes a third, an octave a unison. A diminished octave
// holds no whole octave and stays what it is.
func (i Interval) Simple() Interval {
	i = i.Abs()
	n := i.Steps / 7
	if i = (Interval{i.Steps - 7*n, i.Semitones - 12*n}); i.Descends() {
		i = i.Plus(Octave) // no unison is diminished
	}
	return i
}

// Invert returns the inversion of a simple interval at the octave: thirds become sixths, major becomes minor, the unison
// becomes the octave and the octave the unison. A compound interval is made simple first.
func (i Interval) Invert() Interval {
	if i.Abs() == Octave {
		return Unison
	}
	i = i.Simple()
	return Interval{7 - i.Steps, 12 - i.Semitones}
}

// Number returns the number of the interval by letters, without its direction: 1 for a unison, 3 for a third, 10 for a
// tenth.
func (i Interval) Number() int { return i.Abs().Steps + 1 }

// Class returns the interval class of set theory as it sounds, in [0, 6]: the shorter way round the octave.
func (i Interval) Class() int {
	n := mod(i.Semitones, 12)
	return min(n, 12-n)
}

// Enharmonic reports whether i and j have the same size in semitones.
func (i Interval) Enharmonic(j Interval) bool { return i.Semitones == j.Semitones }

// A Quality is the quality of an interval as a signed count: 0 perfect, ±1 major and minor, beyond that augmented and
// diminished. See [Interval.Quality].
type Quality int8

// The qualities that have a name of their own. Doubly augmented is Augmented+1, doubly diminished Diminished-1.
const (
	Diminished Quality = -2
	Minor      Quality = -1
	Perfect    Quality = 0
	Major      Quality = 1
	Augmented  Quality = 2
)

// String returns the quality in words: "perfect", "doubly augmented", "triply diminished". Further ones are counted.
func (q Quality) String() string {
	switch q {
	case Minor:
		return "minor"
	case Perfect:
		return "perfect"
	case Major:
		return "major"
	}
	n, word := int(q)-1, "augmented"
	if q < 0 {
		n, word = -int(q)-1, "diminished"
	}
	switch n {
	case 1:
		return word
	case 2:
		return "doubly " + word
	case 3:
		return "triply " + word
	}
	return fmt.Sprintf("%d-fold %s", n, word)
}

// short returns the quality as in P, M, m, A, AA, d, dd.
func (q Quality) short() string {
	switch {
	case q == Minor:
		return "m"
	case q == Perfect:
		return "P"
	case q == Major:
		return "M"
	case q > 0:
		return strings.Repeat("A", int(q)-1)
	}
	return strings.Repeat("d", -int(q)-1)
}

// isPerfectKind reports whether a simple number of steps is that of a unison, fourth or fifth, which are perfect, not
// major or minor.
func isPerfectKind(steps int) bool { return steps == 0 || steps == 3 || steps == 4 }

// Quality returns the quality of i, taken upwards.
func (i Interval) Quality() Quality {
	i = i.Abs()
	steps := mod(i.Steps, 7)
	excess := i.Semitones - 12*(i.Steps/7) - letterSemitones[steps] // against the perfect or major interval
	switch {
	case isPerfectKind(steps) && excess == 0:
		return Perfect
	case isPerfectKind(steps) && excess > 0:
		return Augmented + Quality(excess-1)
	case isPerfectKind(steps):
		return Diminished + Quality(excess+1)
	case excess == 0:
		return Major
	case excess == -1:
		return Minor
	case excess > 0:
		return Augmented + Quality(excess-1)
	}
	return Diminished + Quality(excess+2)
}

// String returns i in short: quality and number, with a minus sign when it descends: "P5", "m10", "-M2", "AA4".
func (i Interval) String() string {
	s := i.Quality().short() + strconv.Itoa(i.Number())
	if i.Descends() {
		return "-" + s
	}
	return s
}

var numberWords = [...]string{"", "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth",
	"tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth"}

// NumberWord returns the interval number in words: "third", "twelfth", "19th".
func NumberWord(n int) string {
	if n > 0 && n < len(numberWords) {
		return numberWords[n]
	}
	suffix := "th"
	if n/10%10 != 1 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return strconv.Itoa(n) + suffix
}

// article returns the article that NumberWord(n) takes, with a space: "an octave", "an eleventh", "an 18th", "an 80th".
func article(n int) string {
	if n == 8 || n == 11 || n == 18 || n/10 == 8 {
		return "an "
	}
	return "a "
}

// Words returns i in words, without direction: "perfect fifth", "minor tenth".
func (i Interval) Words() string {
	return i.Quality().String() + " " + NumberWord(i.Number())
}

// ParseInterval reads an interval in short: quality (P, M, m, A or d, repeated for doubly and triply) and number (1 to
// 99), with a leading minus for a descending one: "P5", "-m3", "AA4". It returns a *ParseError for anything else, as for a
// minor fifth or a descending unison, which don't exist.
func ParseInterval(s string) (Interval, error) {
	fail := func(why string) (Interval, error) { return Interval{}, &ParseError{"interval", s, why} }
	rest, down := strings.CutPrefix(s, "-")
	digits := strings.TrimLeft(rest, "PMmAd")
	q := rest[:len(rest)-len(digits)]
	if q == "" {
		return fail("the quality is missing: P, M, m, A or d")
	}
	if strings.Trim(q, q[:1]) != "" || len(q) > 3 || len(q) > 1 && (q[0] == 'P' || q[0] == 'M' || q[0] == 'm') {
		return fail(fmt.Sprintf("%q is no quality; qualities are P, M, m, A, AA, AAA, d, dd, ddd", q))
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || n > 99 || digits[0] == '0' || digits[0] == '+' {
		return fail(fmt.Sprintf("found %q where the number (1 to 99) belongs", digits))
	}
	i := Interval{Steps: n - 1, Semitones: letterSemitones[(n-1)%7] + 12*((n-1)/7)}
	perfect := isPerfectKind((n - 1) % 7)
	switch q[0] {
	case 'P':
		if !perfect {
			return fail(article(n) + NumberWord(n) + " is major or minor, never perfect")
		}
	case 'M', 'm':
		if perfect {
			return fail(article(n) + NumberWord(n) + " is perfect, never major or minor")
		}
		if q == "m" {
			i.Semitones--
		}
	case 'A':
		i.Semitones += len(q)
	case 'd':
		i.Semitones -= len(q)
		if !perfect {
			i.Semitones--
		}
	}
	if i.Descends() { // d1
		return fail("a diminished unison would descend; write -A1")
	}
	if down {
		if i == Unison {
			return fail("a perfect unison has no direction")
		}
		i = i.Neg()
	}
	return i, nil
}
