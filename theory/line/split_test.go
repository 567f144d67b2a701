package line

import (
	"math/rand/v2"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

func TestTwoLines(t *testing.T) {
	for _, c := range []struct {
		notes     string
		two       bool
		high, low string
	}{
		{"E5 A4 D#5 G#4 D5 G4 C#5 F#4 C5 F4", true, "E5–D#5–D5–C#5–C5", "A4–G#4–G4–F#4–F4"},
		{"C5 E4 D5 F4 E5 G4 F5 A4 E5 G4", true, "C5–D5–E5–F5–E5", "E4–F4–G4–A4–G4"},
		{"G4 B4 G4 C5 G4 D5 G4 C5 G4 B4 G4 A4", true, "B4–C5–D5–C5–B4–A4", "G4"}, // over a pedal
		{"C4 D4 E4 F4 G4 A4 B4 C5 D5", false, "", ""},                            // a scale
		{"C4 E4 G4 C5 G4 E4 C4 E4 G4 C5", false, "", ""},                         // an arpeggio
		{"C4 D4 C4 B3 C4 D4 C5 D5 C5 B4 C5 D5", false, "", ""},                   // one line in two registers, one after the other
		{"F#2 F#3 E2 E3 D2 D3 C#2 C#3 D2 D3", false, "", ""},                     // broken octaves
		{"D4 B3 D4 B3 D4 B3 G4 F#4 G4 F#4 G4 F#4", false, "", ""},                // a tremolo, then a trill
		{"E5 A4 D#5 G#4", false, "", ""},                                         // too short to tell
	} {
		got := TwoLines(melody(t, c.notes))
		if got.Two != c.two || c.two && (got.High.String() != c.high || got.Low.String() != c.low) {
			t.Errorf("TwoLines(%s) = %v (%.2f); want two lines %v: %s / %s", c.notes, got, got.Certainty, c.two, c.high, c.low)
		}
		if got.Certainty < 0 || got.Certainty > 1 || c.two && got.Certainty < 0.7 {
			t.Errorf("TwoLines(%s): certainty %.2f", c.notes, got.Certainty)
		}
	}
}

// randomTunes draws tunes of 8 to 32 quarter notes in four ways: any note of a twelfth; a walk by up to a whole tone with
// now and then a leap; notes of a scale within an octave and a half; and a walk through the notes of chords.
func randomTunes(rng *rand.Rand, n int) (out []Line, how []string) {
	scale := []int{0, 2, 4, 5, 7, 9, 11, 12, 14, 16, 17, 19}
	for k := range n {
		var l Line
		size := 8 + rng.IntN(25)
		at := 60 + rng.IntN(12)
		deg := rng.IntN(len(scale))
		root := rng.IntN(5)
		for i := range size {
			switch k % 4 {
			case 0:
				at = 60 + rng.IntN(20)
			case 1:
				d := rng.IntN(5) - 2
				if rng.IntN(5) == 0 {
					d = rng.IntN(19) - 9
				}
				at = min(max(at+d, 55), 84)
			case 2:
				at = 60 + scale[rng.IntN(len(scale))]
			case 3:
				if i%4 == 0 {
					root = rng.IntN(6)
				}
				deg = root + 2*rng.IntN(4)
				at = 60 + scale[deg%len(scale)]
			}
			l = append(l, score.Note{Pitch: pitch.FromMIDI(at, false), Onset: score.Quarters(i), Duration: score.Quarters(1), Hand: score.Right, Voice: 1, Bar: i / 4})
		}
		out = append(out, l)
		how = append(how, [...]string{"uniform", "walk", "scale", "chords"}[k%4])
	}
	return out, how
}

// At most 2 in 100 random tunes may be told to be two lines, whichever way they are drawn.
func TestTwoLinesRandom(t *testing.T) {
	tunes, how := randomTunes(rand.New(rand.NewPCG(3, 14)), 4000)
	count, all := map[string]int{}, map[string]int{}
	for i, l := range tunes {
		all[how[i]]++
		if c := TwoLines(l); c.Two {
			count[how[i]]++
		}
	}
	for h, n := range all {
		t.Logf("%s: %d of %d", h, count[h], n)
		if 50*count[h] > n {
			t.Errorf("%s: %d of %d random tunes are told to be two lines; want at most 2 in 100", h, count[h], n)
		}
	}
}

// Two lines drawn by walks of steps, in two registers and in alternation, must be found, with every note in its strand.
func TestTwoLinesGenerated(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 71))
	found, right, all, notes := 0, 0, 300, 0
	for range all {
		at := [2]int{72 + rng.IntN(5), 60 + rng.IntN(5)}
		var l Line
		var truth []int
		size := 10 + 2*rng.IntN(8)
		for i := range size {
			s := i % 2
			if rng.IntN(8) == 0 {
				s = 1 - s // not always in turn
			}
			at[s] += [...]int{-2, -1, -1, 1, 1, 2}[rng.IntN(6)]
			truth = append(truth, s)
			l = append(l, score.Note{Pitch: pitch.FromMIDI(at[s], false), Onset: score.Quarters(i), Duration: score.Quarters(1)})
		}
		c := TwoLines(l)
		if !c.Two {
			continue
		}
		found++
		high := map[score.Note]bool{}
		for _, n := range c.High {
			high[n] = true
		}
		for i, n := range l {
			notes++
			if high[n] == (truth[i] == 0) {
				right++
			}
		}
	}
	t.Logf("found %d of %d; %d of %d notes in the right strand", found, all, right, notes)
	if 10*found < 8*all || 100*right < 97*notes {
		t.Errorf("found %d of %d, %d of %d notes in the right strand; want 80 and 97 in 100", found, all, right, notes)
	}
}
