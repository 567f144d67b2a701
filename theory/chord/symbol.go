package chord

import (
	"fmt"

	"plumbline/theory/pitch"
)

// A Type is a row of the vocabulary: a chord without its root.
type Type struct {
	ID        string           // "min7"; "" for a chord put together by modifiers, as in C7(b9#11)
	Family    string           // "triad", "seventh", "sixth", "ninth", "added note", "suspended", "stacked fourths" …
	Names     []string         // house name first: "minor seventh", …
	Symbols   []string         // suffixes, house symbol first: "m7", "min7", "-7"
	Intervals []pitch.Interval // above the root, in stacking order, the unison first
	Roles     []string         // the role of each interval
	Omittable []string         // roles players usually feel free to leave out
}

// Types returns the vocabulary. The slice is the caller's, the rows' own slices are shared and not to be changed.
func Types() []Type { return nil }

// TypeByID returns the row with the given id.
func TypeByID(id string) (Type, bool) { return Type{}, false }

// TypeByName returns the row that a name without root means: "dominant seventh", "minor seventh chord", "half-diminished
// seventh", "m7".
func TypeByName(name string) (Type, bool) { return Type{}, false }

// A Symbol is a chord label taken apart.
type Symbol struct {
	Root      pitch.Class
	Type      Type
	Bass      pitch.Class // meaningful only if HasBass
	HasBass   bool        // the label names its bass
	Inversion int         // as said in words: 0 root position, 1 first inversion …; -1 not said
	Text      string      // the label as it was written
}

// A LabelError says where and why a label could not be read.
type LabelError struct {
	Text    string
	Offset  int    // in bytes, where reading stopped, in [0, len(Text)]
	Why     string // what was found and what was wanted
	Nearest string // a label that is understood, "" if none is near
}

func (e *LabelError) Error() string {
	s := fmt.Sprintf("chord: label %q, offset %d: %s", e.Text, e.Offset, e.Why)
	if e.Nearest != "" {
		s += fmt.Sprintf("; nearest is %q", e.Nearest)
	}
	return s
}

// ParseLabel reads a chord label, as a symbol or in words: "F#m7(b5)/C", "an F# minor seventh", "C major", "Am7 in first
// inversion". It returns a *LabelError if the whole of s is not understood.
func ParseLabel(s string) (Symbol, error) { return Symbol{}, &LabelError{Text: s} }

// House returns s in house spelling: "F#m7(b5)/C".
func (s Symbol) House() string { return s.Text }

// Spell returns the members of the chord in stacking order, root first; a bass that is no member is not among them.
func (s Symbol) Spell() []pitch.Class { return nil }

// BassClass returns the bass the label asks for: the one it names, the one its inversion in words gives; ok is false if the label
// says neither (then the root is the plain understanding).
func (s Symbol) BassClass() (c pitch.Class, ok bool) { return s.Root, false }

// A Respelling is a note that fits only when read under another name.
type Respelling struct {
	Pitch pitch.Pitch
	As    pitch.Class
	Role  string
}

// A Match is a label held against notes.
type Match struct {
	Present    []Member      // notes that are members as spelled, low to high
	Enharmonic []Respelling  // notes that are members by sound only
	Foreign    []pitch.Pitch // notes that are no members, low to high
	Missing    []string      // roles that don't sound, in stacking order
	Bass       pitch.Pitch   // the lowest note
	BassWant   pitch.Class   // what the label asks for in the bass: its slash, its inversion, else its root
	BassSaid   bool          // the label says it with a slash or an inversion
	BassOK     bool          // the lowest note is spelled BassWant
	BassSounds bool          // the lowest note sounds as BassWant
	Usual      bool          // everything missing is usually left out
}

// Holds reports whether the notes are the chord by spelling: nothing foreign, nothing enharmonic, nothing missing but what is
// usually left out, and the bass right if the label says it.
func (m Match) Holds() bool {
	return len(m.Present) > 0 && len(m.Foreign) == 0 && len(m.Enharmonic) == 0 && m.Usual && (m.BassOK || !m.BassSaid)
}

// Agrees holds sym against notes.
func Agrees(sym Symbol, notes []pitch.Pitch) Match { return Match{} }
