// Package pitch holds spelled pitches and spelled intervals and the arithmetic between them.
//
// A [Pitch] is a letter, an alteration and an octave; an [Interval] is a number of steps and a number of semitones. Both
// are small comparable values. Spelling is data here: E sharp is not F until somebody asks how it sounds, with
// [Pitch.Enharmonic] or by comparing [Pitch.MIDI]. Start with [Parse] and [Pitch.Sub].
//
// # Conventions
//
// Octaves are those of scientific pitch notation (Acoustical Society of America): C4 is middle C and has MIDI number 60,
// A4 is tuned to 440 Hz unless said otherwise (ISO 16:1975). The octave number belongs to the letter: B#3 sounds as C4,
// Cb4 sounds as B3.
//
// Names are printed with # and b, doubled and tripled by repetition (F##4, Bbb3, Cbbb5). On input x stands for ##, and the
// real signs ♯ ♭ ♮ 𝄪 𝄫 are understood.
//
// The package knows nothing of keys, chords or time.
package pitch

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Letter is one of the seven note letters, C = 0 up to B = 6.
type Letter int8

// The seven letters, in the order of the octave.
const (
	C Letter = iota
	D
	E
	F
	G
	A
	B
)

// letterSemitones are the semitones of the natural letters above C.
var letterSemitones = [7]int{0, 2, 4, 5, 7, 9, 11}

// letterFifths are the places of the natural letters on the line of fifths, C = 0.
var letterFifths = [7]int{0, 2, 4, -1, 1, 3, 5}

// String returns the letter, or %!Letter(n) for a value out of range.
func (l Letter) String() string {
	if l < C || l > B {
		return "%!Letter(" + strconv.Itoa(int(l)) + ")"
	}
	return "CDEFGAB"[l : l+1]
}

// MaxAlter is the largest alteration, in semitones either way, that [Parse] and [ParseClass] accept: a triple sharp or
// flat. Arithmetic may lead beyond it; such a pitch prints all its signs.
const MaxAlter = 3

// A Class is a pitch without its octave: a letter and its alteration in semitones (+1 a sharp, -1 a flat). The zero value
// is C natural.
type Class struct {
	Letter Letter
	Alter  int8
}

// A Pitch is a spelled pitch: letter, alteration in semitones, and octave in scientific pitch notation. The zero value is
// C0. Pitches compare by spelling with ==.
type Pitch struct {
	Letter Letter
	Alter  int8
	Octave int8
}

// Class returns p without its octave.
func (p Pitch) Class() Class { return Class{p.Letter, p.Alter} }

// In returns the pitch with class c in the given octave.
func (c Class) In(octave int) Pitch { return Pitch{c.Letter, c.Alter, int8(octave)} }

// signs prints an alteration with # and b, one sign a semitone.
func signs(alter int8) string {
	if alter >= 0 {
		return strings.Repeat("#", int(alter))
	}
	return strings.Repeat("b", -int(alter))
}

// String returns the class in plain letters: "F#", "Bbb".
func (c Class) String() string { return c.Letter.String() + signs(c.Alter) }

// String returns p in scientific pitch notation: "F#4", "Bbb-1".
func (p Pitch) String() string { return p.Class().String() + strconv.Itoa(int(p.Octave)) }

// Pretty returns the class with real signs: "F♯", "B𝄫".
func (c Class) Pretty() string {
	a := int(c.Alter)
	sharp, double := "♯", "𝄪"
	if a < 0 {
		a, sharp, double = -a, "♭", "𝄫"
	}
	return c.Letter.String() + strings.Repeat(sharp, a%2) + strings.Repeat(double, a/2)
}

// Pretty returns p with real signs: "F♯4".
func (p Pitch) Pretty() string { return p.Class().Pretty() + strconv.Itoa(int(p.Octave)) }

// AlterWord returns the alteration in words: "natural", "sharp", "double flat". Beyond triple it counts the signs.
func (c Class) AlterWord() string {
	n, word := int(c.Alter), "sharp"
	if n < 0 {
		n, word = -n, "flat"
	}
	switch n {
	case 0:
		return "natural"
	case 1:
		return word
	case 2:
		return "double " + word
	case 3:
		return "triple " + word
	}
	return fmt.Sprintf("%d-fold %s", n, word)
}

// PC returns the pitch-class number of c as it sounds, C = 0, in [0, 12).
func (c Class) PC() int {
	if c.Letter < C || c.Letter > B {
		return 0
	}
	return mod(letterSemitones[c.Letter]+int(c.Alter), 12)
}

// PC returns the pitch-class number of p as it sounds, in [0, 12).
func (p Pitch) PC() int { return p.Class().PC() }

// Fifths returns the place of c on the line of fifths: C = 0, G = 1, F = -1, F# = 6, Bb = -2. Two classes have the same
// place exactly if they are spelled the same.
func (c Class) Fifths() int { return letterFifths[c.Letter] + 7*int(c.Alter) }

// ClassOfFifths returns the class at place n of the line of fifths; it undoes [Class.Fifths].
func ClassOfFifths(n int) Class {
	// F is place -1; seven places on is the same letter a sharp higher.
	k := n + 1
	return Class{[7]Letter{F, C, G, D, A, E, B}[mod(k, 7)], int8(floorDiv(k, 7))}
}

// MIDI returns the MIDI note number of p as it sounds, C4 = 60. It is not limited to 0 to 127.
func (p Pitch) MIDI() int {
	return 12*(int(p.Octave)+1) + letterSemitones[p.Letter] + int(p.Alter)
}

// Step returns the diatonic height of p: seven for each octave, C0 = 0, without regard to alterations.
func (p Pitch) Step() int { return 7*int(p.Octave) + int(p.Letter) }

// Enharmonic reports whether p and q sound the same in equal temperament.
func (p Pitch) Enharmonic(q Pitch) bool { return p.MIDI() == q.MIDI() }

// Enharmonic reports whether c and d sound the same in equal temperament, in some octave.
func (c Class) Enharmonic(d Class) bool { return c.PC() == d.PC() }

// IsWhite reports whether p is played on a white key of the keyboard, whatever its spelling: E# and B# are white.
func (c Class) IsWhite() bool {
	switch c.PC() {
	case 1, 3, 6, 8, 10:
		return false
	}
	return true
}

// IsWhite reports whether p is played on a white key of the keyboard, whatever its spelling.
func (p Pitch) IsWhite() bool { return p.Class().IsWhite() }

// Compare orders pitches by sound, then by letter (so that B#3 comes before C4), for sorting from low to high. It returns
// -1, 0 or 1.
func (p Pitch) Compare(q Pitch) int {
	if c := cmp(p.MIDI(), q.MIDI()); c != 0 {
		return c
	}
	return cmp(p.Step(), q.Step())
}

func cmp(a, b int) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// Hz is a frequency in hertz.
type Hz float64

// A440 is the standard tuning frequency of A4 (ISO 16:1975).
const A440 Hz = 440

// Freq returns the equal-tempered frequency of p, given a4, the frequency of A4 (usually [A440]). Any octave is accepted;
// the result is not limited to the MIDI range.
//
//	f = a4 * 2^((n-69)/12), n = MIDI number of p
func (p Pitch) Freq(a4 Hz) Hz {
	return a4 * Hz(math.Exp2(float64(p.MIDI()-69)/12)) // n-69: semitones above A4
}

// FromMIDI returns a pitch that sounds as MIDI number n, spelled with at most one sharp (C, C#, D, D# …) or, if flats is
// true, with at most one flat. It knows no key: readers of MIDI files choose spellings elsewhere.
func FromMIDI(n int, flats bool) Pitch {
	pc, oct := mod(n, 12), floorDiv(n, 12)-1
	for l := C; l <= B; l++ {
		if letterSemitones[l] == pc {
			return Pitch{l, 0, int8(oct)}
		}
	}
	for l := C; l <= B; l++ {
		if flats && letterSemitones[l] == pc+1 {
			return Pitch{l, -1, int8(oct)}
		}
		if !flats && letterSemitones[l] == pc-1 {
			return Pitch{l, 1, int8(oct)}
		}
	}
	return Pitch{} // not reached: every pitch class is a natural or beside one
}

// A ParseError says what text could not be read as a pitch, class or interval, and why.
type ParseError struct {
	Kind string // "pitch", "note name" or "interval"
	Text string // the whole text
	Why  string // what was found and wanted
}

func (e *ParseError) Error() string {
	return fmt.Sprintf("pitch: %q is no %s: %s", e.Text, e.Kind, e.Why)
}

// Parse reads a pitch in scientific pitch notation, as in "F#4", "Bb-1", "Ex3" or "G♭5". The letter may be lower case.
// The octave runs from -2 to 12. It returns a *ParseError if anything is missing or left over.
func Parse(s string) (Pitch, error) {
	c, rest, err := scanClass(s, "pitch")
	if err != nil {
		return Pitch{}, err
	}
	if rest == "" {
		return Pitch{}, &ParseError{"pitch", s, "the octave is missing (middle C is C4)"}
	}
	digits := strings.TrimPrefix(rest, "-")
	oct, err := strconv.Atoi(rest)
	if err != nil || digits == "" || digits[0] < '0' || digits[0] > '9' || len(digits) > 1 && digits[0] == '0' {
		return Pitch{}, &ParseError{"pitch", s, fmt.Sprintf("found %q where the octave number belongs", rest)}
	}
	if oct < -2 || oct > 12 {
		return Pitch{}, &ParseError{"pitch", s, fmt.Sprintf("octave %d is outside -2 to 12", oct)}
	}
	return c.In(oct), nil
}

// ParseClass reads a note name without octave, as in "F#", "bb" or "C𝄪". It returns a *ParseError if anything is left over.
func ParseClass(s string) (Class, error) {
	c, rest, err := scanClass(s, "note name")
	if err != nil {
		return Class{}, err
	}
	if rest != "" {
		return Class{}, &ParseError{"note name", s, fmt.Sprintf("%q is left over", rest)}
	}
	return c, nil
}

// ScanClass reads a note name from the start of s and returns it with the rest of s. It takes as many signs as there are,
// up to three; sharps and flats don't mix. It returns a *ParseError if s doesn't begin with a note letter. A letter in
// upper case only is accepted, since the rest of a chord symbol may begin with b or d.
func ScanClass(s string) (c Class, rest string, err error) {
	if s != "" && s[0] >= 'a' && s[0] <= 'g' {
		return Class{}, s, &ParseError{"note name", s, "a chord root is written with a capital letter, A to G"}
	}
	return scanClass(s, "note name")
}

func scanClass(s, kind string) (Class, string, error) {
	if s == "" {
		return Class{}, "", &ParseError{kind, s, "it is empty; letters are A to G"}
	}
	i := strings.IndexByte("CDEFGAB", s[0]&^0x20)
	if i < 0 || s[0] < 'A' {
		first := []rune(s)[0]
		return Class{}, s, &ParseError{kind, s, fmt.Sprintf("it begins with %q; letters are A to G", first)}
	}
	c, rest := Class{Letter: Letter(i)}, s[1:]
	natural := false
	for {
		n, width := sign(rest)
		if width == 0 {
			break
		}
		if n == 0 && c.Alter != 0 || natural || n*int(c.Alter) < 0 {
			return Class{}, s, &ParseError{kind, s, "its signs contradict each other"}
		}
		natural = n == 0
		c.Alter += int8(n)
		if c.Alter > MaxAlter || c.Alter < -MaxAlter {
			return Class{}, s, &ParseError{kind, s, "more than three sharps or flats"}
		}
		rest = rest[width:]
	}
	return c, rest, nil
}

// sign reads one accidental sign at the start of s: its semitones and its width in bytes, 0 if there is none.
func sign(s string) (semitones, width int) {
	for _, t := range [...]struct {
		text string
		n    int
	}{{"#", 1}, {"b", -1}, {"x", 2}, {"♯", 1}, {"♭", -1}, {"𝄪", 2}, {"𝄫", -2}, {"♮", 0}} {
		if strings.HasPrefix(s, t.text) {
			return t.n, len(t.text)
		}
	}
	return 0, 0
}

func mod(a, n int) int { return ((a % n) + n) % n }

func floorDiv(a, n int) int { return (a - mod(a, n)) / n }
