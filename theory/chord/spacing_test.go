package chord

import (
	"math"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// The expected values are counted by hand; names of registers and positions are common practice, no source.
func TestSpacingOf(t *testing.T) {
	for _, c := range []struct {
		notes                    string
		span, widest             string
		doublings                int
		register, position       string
		density                  float64
		white, black, keys, axis int
		symmetric                bool
		text                     string
	}{
		{"C4 E4 G4", "P5", "C4-E4", 0, "middle", "close", 4.5, 3, 0, 3, 0, false,
			"C4 to G4: a perfect fifth; the widest gap a major third, C4-E4; middle register; close position; white keys only"},
		{"C3 G3 E4", "M10", "G3-E4", 0, "middle", "open", 12. * 3 / 17, 3, 0, 3, 0, false,
			"C3 to E4: a major tenth; the widest gap a major sixth, G3-E4; middle register; open position; white keys only"},
		{"A2 E3 B3 C#4 A4 D#5", "A18", "C#4-A4", 1, "low to high", "open", 12. * 6 / 31, 4, 2, 6, 0, false,
			"A2 to D#5: an augmented fourth, two octaves wider; the widest gap a minor sixth, C#4-A4; A doubled; low to high register; open position"},
		{"G3 D4 A4", "M9", "G3-D4", 0, "middle", "open", 12. * 3 / 15, 3, 0, 3, 124, true, // G4 would fit below A4
			"G3 to A4: a major ninth; the widest gap a perfect fifth, G3-D4; middle register; open position; white keys only; symmetric about D4"},
		{"C4 C#4", "A1", "C4-C#4", 0, "middle", "", 12, 1, 1, 2, 0, false, "C4 to C#4: an augmented unison; middle register"},
		{"C4 C#4 D4 D#4", "A2", "C4-C#4", 0, "middle", "close", 12, 2, 2, 4, 123, true,
			"C4 to D#4: an augmented second; the widest gap an augmented unison, C4-C#4; middle register; close position; symmetric about the gap between C#4 and D4"},
		{"C#4 Db4", "d2", "C#4-Db4", 0, "middle", "", 12, 0, 1, 1, 0, false, "C#4 to Db4: a diminished second; middle register; black keys only"},
		{"E2 E3 E4 G#4 B4", "P19", "E2-E3", 1, "low to middle", "open", 12. * 5 / 32, 4, 1, 5, 0, false,
			"E2 to B4: a perfect fifth, two octaves wider; the widest gap a perfect octave, E2-E3; E in three octaves; low to middle register; open position"},
		{"C6", "P1", "", 0, "high", "", 12, 1, 0, 1, 0, false, "one note, C6, in the high register"},
	} {
		s := SpacingOf(notes(t, c.notes))
		widest := ""
		if s.Notes > 1 {
			widest = s.Widest.Below.String() + "-" + s.Widest.Above.String()
		}
		if s.Span.String() != c.span || widest != c.widest || len(s.Doublings) != c.doublings || s.Register != c.register || s.Position != c.position ||
			math.Abs(s.Density-c.density) > 1e-9 || s.White != c.white || s.Black != c.black || s.Keys != c.keys || s.Axis != c.axis || s.Symmetric != c.symmetric || s.Text != c.text {
			t.Errorf("SpacingOf(%s) = %+v\nwant %+v", c.notes, s, c)
		}
	}
	if s := SpacingOf(nil); s.Notes != 0 || s.Text != "no notes" {
		t.Errorf("SpacingOf(nil) = %+v", s)
	}
	s := SpacingOf(notes(t, "E2 E3 E4 G#4 B4"))
	if d := s.Doublings[0]; d.Class != (pitch.Class{Letter: pitch.E}) || spell(d.Pitches) != "E2 E3 E4" {
		t.Errorf("doubling %v %s", d.Class, spell(d.Pitches))
	}
}

// Octaves are counted as octaves, however many.
func TestOctaveWords(t *testing.T) {
	for _, c := range []struct{ notes, spacing, stack string }{
		{"A2 E3 A4", "A2 to A4: two octaves;", "mixed: P5, P11"},
		{"A2 A4", "A2 to A4: two octaves;", "two octaves"},
		{"C2 E3 C5", "C2 to C5: three octaves;", "mixed: M10, m13"},
		{"C3 C4 C5", "C3 to C5: two octaves; the widest gap a perfect octave", "octaves"},
		{"C3 C4", "C3 to C4: a perfect octave", "perfect octave"},
		{"C3 F4", "C3 to F4: a perfect fourth, an octave wider", "perfect eleventh"},
	} {
		ns := notes(t, c.notes)
		if got := SpacingOf(ns).Text; !strings.HasPrefix(got, c.spacing) {
			t.Errorf("%s: %q, want it to begin %q", c.notes, got, c.spacing)
		}
		if got := StackOf(ns).Text; got != c.stack {
			t.Errorf("%s: stack %q, want %q", c.notes, got, c.stack)
		}
	}
	if got := moveText(pitch.Interval{Steps: -14, Semitones: -24}); got != "down two octaves" {
		t.Errorf("two octaves down: %q", got)
	}
	for _, r := range Name(notes(t, "C4 D4 E4")) { // without is no with
		if strings.Contains(r.Words, "andout") {
			t.Errorf("C4 D4 E4: %q", r.Words)
		}
	}
}
