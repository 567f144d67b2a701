package chord

import (
	"fmt"

	"plumbline/theory/pitch"
)

// A Voicing is a chord as notes for two hands, each low to high.
type Voicing struct {
	Left, Right []pitch.Pitch
	Text        string // what it is, in words
}

// All returns the notes of both hands, low to high.
func (v Voicing) All() []pitch.Pitch { return nil }

// A SpecError says where and why a specification could not be realized.
type SpecError struct {
	Text   string
	Offset int // in bytes, in [0, len(Text)]
	Why    string
	Hint   string
}

func (e *SpecError) Error() string {
	s := fmt.Sprintf("chord: %q, offset %d: %s", e.Text, e.Offset, e.Why)
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// Realize writes a chord label, a stack or a cluster as notes.
func Realize(spec string) (Voicing, error) { return Voicing{}, &SpecError{Text: spec} }
