package key

import (
	"fmt"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

// A NumeralError says where and why a text is no Roman numeral.
type NumeralError struct {
	Text   string
	Offset int // in bytes, in [0, len(Text)]
	Why    string
}

// Error says what was found, what was wanted and where.
func (e *NumeralError) Error() string {
	return fmt.Sprintf("key: numeral %q, offset %d: %s", e.Text, e.Offset, e.Why)
}

// Chord returns the chord that a Roman numeral means in k, as a symbol with its bass: "V7", "ii65", "viio7/V", "bVI", "IVM7",
// "iiø43", "V/ii", "N6", "Ger+6", "It6", "Fr43", "I6/4". Upper case is a major triad, lower case a minor one, o a diminished, + an
// augmented one. A seventh belongs to the key (I7 and IV7 in major are major sevenths) unless M, maj or dom says otherwise, and
// on an applied dominant it makes the dominant seventh; o7 is diminished, ø7 half-diminished. In minor the degrees are those of
// natural minor, but viio is on the leading tone; #viio says the same. Schools differ in this; ours is that of the common
// American handbooks (common practice, no source).
//
// It returns a *NumeralError if the whole of s is not understood.
func (k Key) Chord(s string) (chord.Symbol, error) {
	return k.chord(s, 0, len(s))
}

var numeralNames = [...]string{"VII", "VI", "IV", "V", "III", "II", "I"} // the longer ones first where one begins like another
var numeralDegrees = [...]int{7, 6, 4, 5, 3, 2, 1}

func (k Key) chord(s string, from, to int) (chord.Symbol, error) {
	fail := func(at int, format string, args ...any) (chord.Symbol, error) {
		return chord.Symbol{}, &NumeralError{s, min(at, len(s)), fmt.Sprintf(format, args...)}
	}
	// What stands after a slash is the key it is applied to, unless the slash is that of a figure: 6/4.
	for i := from; i < to; i++ {
		if s[i] != '/' || i+1 < to && s[i+1] >= '2' && s[i+1] <= '9' {
			continue
		}
		of, err := k.chord(s, i+1, to)
		if err != nil {
			return of, err
		}
		switch of.Type.ID {
		case "maj", "min":
		default:
			return fail(i+1, "a chord is applied to a major or minor triad; %s is neither", s[i+1:to])
		}
		home := Key{Tonic: of.Root}
		if of.Type.ID == "min" {
			home.Mode = Minor
		}
		sym, err := home.chord(s, from, i)
		if err == nil && sym.Type.ID == "maj7" && strings.HasPrefix(strings.TrimLeft(s[from:i], " "), "V") {
			sym.Type, _ = chord.TypeByID("dom7")
		}
		return sym, err
	}
	at := from
	skip := func(words ...string) string {
		for _, w := range words {
			if strings.HasPrefix(s[at:to], w) {
				at += len(w)
				return w
			}
		}
		return ""
	}
	for skip(" ") != "" {
	}
	// Chords with names of their own.
	for _, n := range [...]struct{ word, name, figures string }{
		{"German", "German sixth", "65"}, {"Ger", "German sixth", "65"}, {"Italian", "Italian sixth", "6"}, {"It", "Italian sixth", "6"},
		{"French", "French sixth", "43"}, {"Fr", "French sixth", "43"},
	} {
		if skip(n.word) == "" {
			continue
		}
		for skip(" ", "+", "sixth", "6", "5", "4", "3", "/") != "" {
		}
		if at < to {
			return fail(at, "%q is left over after the augmented sixth", s[at:to])
		}
		low := k.Class(6, 0)
		if !k.minorThird() {
			low.Alter--
		}
		return chord.ParseLabel(n.name + " on " + low.String())
	}
	alter := 0
	for {
		switch skip("b", "♭", "#", "♯", "-") {
		case "b", "♭", "-":
			alter--
			continue
		case "#", "♯":
			alter++
			continue
		}
		break
	}
	degree, upper := 0, false
	if skip("Neapolitan", "N") != "" {
		degree, upper = 2, true
		if alter == 0 {
			alter = -1
		}
	}
	for i, r := range numeralNames {
		if degree != 0 {
			break
		}
		if skip(r) != "" {
			degree, upper = numeralDegrees[i], true
		} else if skip(strings.ToLower(r)) != "" {
			degree = numeralDegrees[i]
		}
	}
	if degree == 0 {
		return fail(at, "found %q where a numeral belongs, I to VII or i to vii", s[at:to])
	}
	quality := skip("°", "o", "dim", "ø", "%", "+", "aug")
	seventh := skip("maj", "M", "dom", "Δ")
	if seventh == "" && quality == "" {
		quality = skip("°", "o", "ø", "+")
	}
	for skip("^") != "" {
	}
	figures := ""
	start := at
	for at < to {
		if skip("/", " ", "^") != "" {
			continue
		}
		if c := s[at]; c < '2' || c > '9' {
			return fail(at, "found %q; wanted figures such as 6, 64, 7, 65, 43 or 42, or the end", s[at:to])
		}
		figures += s[at : at+1]
		at++
	}
	inversion, ok := map[string]int{"": 0, "53": 0, "5": 0, "6": 1, "63": 1, "64": 2, "7": 0, "75": 0, "753": 0, "65": 1, "653": 1, "43": 2, "643": 2, "42": 3, "2": 3, "642": 3, "9": 0}[figures]
	if !ok {
		return fail(start, "no chord has the figures %s; wanted 6, 64, 7, 65, 43, 42 or 9", figures)
	}
	seven := strings.ContainsAny(figures, "7") || figures == "65" || figures == "653" || figures == "43" || figures == "643" || figures == "42" || figures == "2" || figures == "642" || figures == "9"
	if seventh != "" && !seven {
		return fail(at, "%s speaks of a seventh; wanted a figure of a seventh chord after it", seventh)
	}

	root := k.Class(degree, 0)
	if k.minorThird() && degree == 7 && !upper && alter >= 0 { // the leading tone
		root = k.Tonic.Add(pitch.MinorSecond.Neg())
	} else {
		root.Alter += int8(alter)
	}
	minorSeventh := true // above the root, in the key
	if b := k.Class(degree+6, 0); alter == 0 && b.Sub(root).Semitones == 11 {
		minorSeventh = false
	}
	switch seventh {
	case "maj", "M", "Δ":
		minorSeventh = false
	case "dom":
		minorSeventh = true
	}
	id := ""
	switch {
	case quality == "°" || quality == "o" || quality == "dim":
		id = pick(seven, "dim7", "dim")
	case quality == "ø" || quality == "%":
		id = pick(seven, "hdim7", "dim")
	case quality == "+" || quality == "aug":
		id = pick(seven, pick(minorSeventh, "aug7", "augmaj7"), "aug")
	case upper && seven:
		id = pick(minorSeventh, "dom7", "maj7")
	case upper:
		id = "maj"
	case seven:
		id = pick(minorSeventh, "min7", "minmaj7")
	default:
		id = "min"
	}
	if figures == "9" {
		id = map[string]string{"dom7": "9", "min7": "m9", "minmaj7": "mMaj9", "maj7": "maj9"}[id]
	}
	t, ok := chord.TypeByID(id)
	if !ok {
		return fail(start, "there is no such ninth chord in the vocabulary")
	}
	sym := chord.Symbol{Root: root, Type: t, Inversion: inversion}
	if members := sym.Spell(); inversion > 0 && inversion < len(members) {
		sym.Bass, sym.HasBass = members[inversion], true
	}
	return sym, nil
}

func pick(is bool, a, b string) string {
	if is {
		return a
	}
	return b
}

// minorThird reports whether the scale of k has a minor third.
func (k Key) minorThird() bool { return k.Class(3, 0).Sub(k.Tonic).Semitones == 3 }
