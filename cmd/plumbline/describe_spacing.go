package main

import (
	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

type spacingJSON struct {
	Text      string   `json:"text"`
	Span      string   `json:"span"`       // "M10"
	WidestGap string   `json:"widest_gap"` // "P5"
	Doubled   []string `json:"doubled"`    // note names that sound in several octaves
	Register  string   `json:"register"`
	Position  string   `json:"position"` // "close", "open" or ""
	Density   float64  `json:"density"`  // keys an octave
	Symmetric bool     `json:"symmetric"`
}

// describeSpacing tells how notes are laid out, whatever chord they are.
func describeSpacing(notes []pitch.Pitch) spacingJSON {
	s := chord.SpacingOf(notes)
	out := spacingJSON{Text: s.Text, Doubled: []string{}, Register: s.Register, Position: s.Position, Density: float64(int(s.Density*10+0.5)) / 10, Symmetric: s.Symmetric}
	if s.Notes > 1 {
		out.Span, out.WidestGap = s.Span.String(), s.Widest.Interval.String()
	}
	for _, d := range s.Doublings {
		out.Doubled = append(out.Doubled, d.Class.String())
	}
	return out
}
