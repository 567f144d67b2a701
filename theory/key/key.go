// Package key holds keys: a tonic, a mode, the signature they are written with and the scale they give.
//
// Start with [Parse] and [FromSignature] for keys, [Key.Numerals] for chords as Roman numerals and [Rank] for the keys some
// notes may be in. Keys of music in time are found by package harmony.
package key

import (
	"fmt"
	"strings"

	"plumbline/theory/pitch"
)

// A Mode is major, minor or one of the other diatonic modes.
type Mode int8

// The modes. Major is Ionian and Minor is Aeolian by their signatures; the church modes keep their own names.
const (
	Major Mode = iota
	Minor
	Dorian
	Phrygian
	Lydian
	Mixolydian
	Locrian
)

var modeNames = [...]string{"major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"}

// signatureShift is how many fifths the signature of a mode lies from that of the major key on the same tonic.
var signatureShift = [...]int{0, -3, -2, -4, 1, -1, -5}

// String returns the mode in words, or %!Mode(n) out of range.
func (m Mode) String() string {
	if m < Major || int(m) >= len(modeNames) {
		return fmt.Sprintf("%%!Mode(%d)", int(m))
	}
	return modeNames[m]
}

// ParseMode reads a mode by name; ionian and aeolian stand for major and minor. It reports whether the name is known.
func ParseMode(s string) (Mode, bool) {
	switch s = strings.ToLower(s); s {
	case "ionian", "maj", "dur":
		return Major, true
	case "aeolian", "min", "moll":
		return Minor, true
	}
	for i, n := range modeNames {
		if s == n {
			return Mode(i), true
		}
	}
	return 0, false
}

// A Key is a tonic and a mode. The zero value is C major.
type Key struct {
	Tonic pitch.Class
	Mode  Mode
}

// String returns the key in words: "F# minor".
func (k Key) String() string { return k.Tonic.String() + " " + k.Mode.String() }

// Signature returns the key signature of k on the line of fifths: sharps positive, flats negative.
func (k Key) Signature() int {
	shift := 0
	if k.Mode >= 0 && int(k.Mode) < len(signatureShift) {
		shift = signatureShift[k.Mode]
	}
	return k.Tonic.Fifths() + shift
}

// FromSignature returns the key of a mode that is written with the given signature (sharps positive, flats negative).
func FromSignature(fifths int, m Mode) Key {
	shift := 0
	if m >= 0 && int(m) < len(signatureShift) {
		shift = signatureShift[m]
	}
	return Key{pitch.ClassOfFifths(fifths - shift), m}
}

// InSignature reports how the signature of k alters a letter, in semitones.
func (k Key) InSignature(l pitch.Letter) int8 {
	// The seven classes of the signature lie side by side on the line of fifths, from F's place shifted by the signature.
	natural := pitch.Class{Letter: l}.Fifths() // -1 (F) to 5 (B)
	n := k.Signature()
	alter := 0
	for natural+7*alter < n-1 {
		alter++
	}
	for natural+7*alter > n+5 {
		alter--
	}
	return int8(alter)
}

// Scale returns the seven classes of k by its signature, from the tonic up. Minor is the natural minor scale.
func (k Key) Scale() [7]pitch.Class {
	var s [7]pitch.Class
	for i := range s {
		l := pitch.Letter((int(k.Tonic.Letter) + i) % 7)
		s[i] = pitch.Class{Letter: l, Alter: k.InSignature(l)}
	}
	return s
}

// Contains reports whether c belongs to the scale of k by its signature, spelled the same.
func (k Key) Contains(c pitch.Class) bool { return k.InSignature(c.Letter) == c.Alter }

// Parse reads a key in words, as in "A major", "f# minor", "Bb dorian", "E flat major". A note name alone is a major key
// in upper case and a minor key in lower case, as the handbooks print them; Em, em, E min and Bb maj are read too. It returns an error that quotes s if anything
// is missing, unknown or left over.
func Parse(s string) (Key, error) {
	words := strings.Fields(strings.NewReplacer("-", " ", ",", " ").Replace(s))
	if len(words) == 0 {
		return Key{}, fmt.Errorf("key: the key is missing; want a tonic and a mode, as in \"A major\"")
	}
	name := words[0]
	rest := words[1:]
	if len(rest) > 0 {
		switch strings.ToLower(rest[0]) {
		case "sharp":
			name, rest = name+"#", rest[1:]
		case "flat":
			name, rest = name+"b", rest[1:]
		}
	}
	tonic, err := pitch.ParseClass(name)
	if err != nil { // Em, F#min, Bbmaj: as chords are written
		for _, mode := range [...]string{"maj", "min", "M", "m"} {
			stem, ok := strings.CutSuffix(name, mode)
			if c, e := pitch.ParseClass(stem); ok && e == nil && len(rest) == 0 {
				tonic, err, rest = c, nil, []string{mode}
				break
			}
		}
	}
	if err != nil {
		return Key{}, fmt.Errorf("key: %q begins with no tonic (%w)", s, err)
	}
	k := Key{Tonic: tonic}
	switch len(rest) {
	case 0:
		if name[0] >= 'a' {
			k.Mode = Minor
		}
		return k, nil
	case 1:
		m, ok := ParseMode(rest[0])
		if rest[0] == "m" || rest[0] == "M" {
			m, ok = map[bool]Mode{true: Major, false: Minor}[rest[0] == "M"], true
		}
		if ok {
			k.Mode = m
			return k, nil
		}
	}
	return Key{}, fmt.Errorf("key: %q: found %q where the mode belongs; want major, minor or a church mode", s, strings.Join(rest, " "))
}
