package line

import (
	"testing"

	"plumbline/theory/score"
)

func TestRelate(t *testing.T) {
	for _, c := range []struct {
		a, b, want     string
		exact          Likeness
		matched, notes int
	}{
		{"C4 E4 G4 E4", "B3 D4 F4 D4", "is bar 1 moved down a step", Diatonic, 4, 4}, // m2, M2, M2
		{"C4 E4 G4 E4", "D4 F#4 A4 F#4", "is bar 1 moved up a major second", Transposed, 4, 4},
		{"C4 E4 G4 E4", "C5 E5 G5 E5", "repeats bar 1 an octave higher", Displaced, 4, 4},
		{"C4 E4 G4 E4", "C2 E2 G2 E2", "repeats bar 1 2 octaves lower", Displaced, 4, 4},
		{"C4 E4 G4 E4", "C4 E4 G4 E4", "repeats bar 1", Repeated, 4, 4},
		{"C4 E4 G4 E4", "C4 E4 G4 Eb4", "repeats bar 1", Repeated, 3, 4},
		{"C4 E4 G4 E4", "E4 G4 B4 G4", "is bar 1 moved up a third", Diatonic, 4, 4},
		{"C4 E4 G4 E4", "C#4 E#4 G#4 E#4", "is bar 1 moved up an augmented unison", Transposed, 4, 4},
		{"C4 E4 G4 E4", "Db4 E#4 Ab4 F4", "is bar 1 moved up a minor second", BySemitone, 4, 4},
		{"C4 E4 G4 E4", "G4 C4 A4 F5", "has the rhythm of bar 1", SameRhythm, 0, 4},
		{"C4 E4 G4 E4", "G4 C4 A4", "", Unlike, 0, 3},
	} {
		a, b := melody(t, c.a), melody(t, c.b)
		got := Relate(a, b, score.Time{}, score.Time{})
		if got.Words("bar 1") != c.want || got.Likeness != c.exact || got.Matched != c.matched || got.Notes != c.notes || len(got.Except) != c.notes-c.matched && c.matched > 0 {
			t.Errorf("Relate(%s, %s) = %+v, %q; want %v, %q, %d of %d", c.a, c.b, got, got.Words("bar 1"), c.exact, c.want, c.matched, c.notes)
		}
	}
}
