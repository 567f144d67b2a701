package chord

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A Gap is the distance between two neighbouring notes.
type Gap struct {
	Below, Above pitch.Pitch
	Interval     pitch.Interval
}

// A Doubling is a note that sounds in more than one octave.
type Doubling struct {
	Class   pitch.Class
	Pitches []pitch.Pitch // low to high, at least two
}

// A Spacing tells how a sonority is laid out, whatever chord it is.
type Spacing struct {
	Notes     int            // distinct pitches by spelling
	Keys      int            // distinct keys
	Low, High pitch.Pitch    // meaningful only if Notes > 0
	Span      pitch.Interval // from Low up to High
	Widest    Gap            // the lowest one, if several are equally wide; meaningful only if Notes > 1
	Doublings []Doubling     // by the lowest note of each
	Register  string         // "low", "middle", "high", "low to middle", "middle to high", "low to high"; "" for no notes
	// Density is the number of keys struck an octave, over the span widened by a semitone: a cluster of semitones has 12, a
	// close major triad 4.5, a single note 12.
	Density      float64
	White, Black int  // keys of each colour
	Symmetric    bool // the distances read the same upwards and downwards; at least three keys
	// Axis is the middle of a symmetric sonority, as a MIDI number doubled: 121 lies between C4 and C#4.
	Axis int
	// Position is "close" if no chord note fits between neighbouring upper notes, "open" if one does (the bass apart; common
	// practice, no source); "" for fewer than three note names.
	Position string
	Text     string // the facts in one line: "two octaves and a major third, widest gap a perfect fifth A2-E3 …"
}

// The bounds of the middle register: C3 to B4, the two octaves about middle C (common practice, no source).
const (
	middleFrom = 48
	middleTo   = 71
)

// SpacingOf describes the layout of notes. Order and duplicates don't matter.
func SpacingOf(notes []pitch.Pitch) Spacing {
	ns := distinct(notes)
	if len(ns) == 0 {
		return Spacing{Text: "no notes"}
	}
	keys := slices.CompactFunc(slices.Clone(ns), pitch.Pitch.Enharmonic)
	s := Spacing{Notes: len(ns), Keys: len(keys), Low: ns[0], High: ns[len(ns)-1]}
	s.Span = s.High.Sub(s.Low)
	s.Density = 12 * float64(len(keys)) / float64(keys[len(keys)-1].MIDI()-keys[0].MIDI()+1)
	for i := 1; i < len(ns); i++ {
		if iv := ns[i].Sub(ns[i-1]); i == 1 || iv.Semitones > s.Widest.Interval.Semitones {
			s.Widest = Gap{ns[i-1], ns[i], iv}
		}
	}
	for i, p := range ns {
		d := Doubling{Class: p.Class(), Pitches: []pitch.Pitch{p}}
		for j, q := range ns {
			switch {
			case j == i || q.Class() != p.Class():
			case j < i: // counted already
				d.Pitches = nil
			case d.Pitches != nil:
				d.Pitches = append(d.Pitches, q)
			}
		}
		if len(d.Pitches) > 1 {
			s.Doublings = append(s.Doublings, d)
		}
	}
	for _, p := range keys {
		if p.IsWhite() {
			s.White++
		} else {
			s.Black++
		}
	}
	s.Register = registerOf(s.Low)
	if high := registerOf(s.High); high != s.Register {
		s.Register += " to " + high
	}
	if len(keys) >= 3 {
		s.Axis = keys[0].MIDI() + keys[len(keys)-1].MIDI()
		s.Symmetric = true
		for i, p := range keys {
			s.Symmetric = s.Symmetric && p.MIDI()+keys[len(keys)-1-i].MIDI() == s.Axis
		}
		if !s.Symmetric {
			s.Axis = 0
		}
	}
	s.Position = positionOf(ns)
	s.Text = s.text()
	return s
}

func registerOf(p pitch.Pitch) string {
	switch n := p.MIDI(); {
	case n < middleFrom:
		return "low"
	case n <= middleTo:
		return "middle"
	}
	return "high"
}

// positionOf tells close from open position.
func positionOf(ns []pitch.Pitch) string {
	s := sonorityOf(ns)
	if s.pcs.len() < 3 {
		return ""
	}
	for i := 2; i < len(ns); i++ {
		for n := ns[i-1].MIDI() + 1; n < ns[i].MIDI(); n++ {
			if s.pcs.has(pcOf(n)) {
				return "open"
			}
		}
	}
	return "close"
}

func (s *Spacing) text() string {
	if s.Notes == 1 {
		return "one note, " + s.Low.String() + ", in the " + s.Register + " register"
	}
	name, wider := spoken(s.Span)
	if s.Span.Semitones > 12 && s.Span.Number() < 15 && s.Span.Number() > 10 { // an eleventh is an octave and a fourth
		name, wider = s.Span.Simple().Words(), ", an octave wider"
	}
	parts := []string{fmt.Sprintf("%s to %s: %s%s", s.Low, s.High, an(name), wider)}
	if s.Notes > 2 {
		gap, wider := spoken(s.Widest.Interval)
		parts = append(parts, fmt.Sprintf("the widest gap %s%s, %s-%s", an(gap), wider, s.Widest.Below, s.Widest.Above))
	}
	for _, d := range s.Doublings {
		how := "doubled"
		if n := len(d.Pitches); n > 2 {
			how = "in " + countWord(n) + " octaves"
		}
		parts = append(parts, d.Class.String()+" "+how)
	}
	parts = append(parts, s.Register+" register")
	if s.Position != "" {
		parts = append(parts, s.Position+" position")
	}
	switch {
	case s.Black == 0:
		parts = append(parts, "white keys only")
	case s.White == 0:
		parts = append(parts, "black keys only")
	}
	if s.Symmetric {
		parts = append(parts, "symmetric about "+axisText(s.Axis))
	}
	return strings.Join(parts, "; ")
}

// axisText names the middle: "D4", "the gap between C4 and C#4".
func axisText(axis int) string {
	p := pitch.FromMIDI(axis/2, false)
	if axis%2 == 0 {
		return p.String()
	}
	return "the gap between " + p.String() + " and " + pitch.FromMIDI(axis/2+1, false).String()
}
