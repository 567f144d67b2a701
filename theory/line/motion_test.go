package line

import (
	"testing"

	"plumbline/theory/score"
)

func TestContourWords(t *testing.T) {
	where := func(t score.Time) string { return "beat " + t.Add(score.Quarters(1)).String() }
	for _, c := range []struct{ notes, want string }{
		{"G4 F4 E4 D4 E4", "falls by step, then turns back up"},
		{"E5 F5 F#5 G5 Ab5", "rises chromatically"},
		{"C4 D4 E4 F#4 G#4", "rises by whole tones"},
		{"C3 F3 B3 E4 A4", "rises in fourths but for one tritone, beat 3"},
		{"A2 D3 G2 C3 F2 Bb2", "moves by the circle of fifths"},
		{"C4 E4 G4 B4", "rises in thirds"},
		{"C4 D4 E4 F4 G4 A4 C5 B4 A4 G4 F4 E4 D4 C4", "rises by step, then turns back down but for one minor third, beat 7"},
		{"C4 C4 C4", "stays on C4"},
		{"C4 G4", "rises a perfect fifth"},
		{"C4 A4 D4 B4 F4 C5 C4", "moves between C4 and C5, 0 of 6 moves by step"},
		{"C4 D4 C4 B3 C4", "rises by step, falls, rises to C4"},
		{"", "silent"},
	} {
		if got := ContourWords(melody(t, c.notes), where); got != c.want {
			t.Errorf("ContourWords(%s) = %q; want %q", c.notes, got, c.want)
		}
	}
	var turns []string
	for _, n := range TurningPoints(melody(t, "C4 E4 D4 D4 G4 F4")) {
		turns = append(turns, n.Pitch.String())
	}
	if len(turns) != 3 || turns[0] != "E4" || turns[1] != "D4" || turns[2] != "G4" {
		t.Errorf("TurningPoints = %v; want E4 D4 G4", turns)
	}
}

func TestOuterMotion(t *testing.T) {
	for _, c := range []struct {
		chords string
		want   [5]int // still, oblique, parallel, similar, contrary
		main   Pair
		ok     bool
		faults int
	}{
		{"C3 E4 | D3 F4 | E3 G4 | F3 A4 | G3 B4", [5]int{0, 0, 4, 0, 0}, Parallel, true, 0}, // tenths
		{"C3 G4 | D3 A4 | E3 B4", [5]int{0, 0, 2, 0, 0}, Still, false, 2},                   // fifths
		{"C3 C5 | D3 D5 | C3 E5 | C3 F5 | C3 F5", [5]int{1, 1, 1, 0, 1}, Still, false, 1},
		{"C3 E5 | F3 G5 | G3 E5 | E3 C5 | D3 G4", [5]int{0, 0, 1, 2, 1}, Still, false, 0},
		{"C3 G4 | C3 G4 | C4 G5", [5]int{1, 0, 1, 0, 0}, Still, false, 1},
		{"F3 C5 | E3 Bb4", [5]int{0, 0, 1, 0, 0}, Still, false, 0}, // perfect to diminished
	} {
		p := passageOf(t, c.chords)
		o := Outers(p.Sounding(), whole(p))
		count, main, ok := OuterMotion(o)
		if count != c.want || main != c.main || ok != c.ok {
			t.Errorf("OuterMotion(%s) = %v, %v, %v; want %v, %v, %v", c.chords, count, main, ok, c.want, c.main, c.ok)
		}
		if got := ParallelPerfects(o); len(got) != c.faults {
			t.Errorf("ParallelPerfects(%s) = %v; want %d", c.chords, got, c.faults)
		}
		if got := AllParallelPerfects(p.Sounding(), whole(p)); len(got) != c.faults {
			t.Errorf("AllParallelPerfects(%s) = %v; want %d", c.chords, got, c.faults)
		}
	}
}

func TestNames(t *testing.T) {
	for got, want := range map[string]string{Pair(9).String(): "%!Pair(9)", Likeness(-1).String(): "%!Likeness(-1)", Motion(99).String(): "%!Motion(99)",
		Contrary.String(): "contrary", Diatonic.String(): "moved within the scale", FactKind(77).String(): "%!FactKind(77)"} {
		if got != want {
			t.Errorf("%q; want %q", got, want)
		}
	}
}
