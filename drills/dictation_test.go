package drills

import (
	"errors"
	"math"
	"strings"
	"testing"

	"plumbline/theory/score"
)

func TestDictation(t *testing.T) {
	melody := func(notes string) Question {
		q := Question{Kind: Dictation, Expected: notes, Skill: "melody of four notes", Number: 1}
		for i, p := range ps(t, notes) {
			q.Music = append(q.Music, Note{Pitch: p, Hand: score.Right, At: score.Quarters(i), Length: score.Quarters(1)})
		}
		return q
	}
	chord := func(notes string) Question {
		q := Question{Kind: Dictation, Expected: notes, Skill: "triad", Number: 1}
		q.Left, q.Right = split(ps(t, notes))
		return q
	}
	for _, tt := range []struct {
		q      Question
		given  string
		credit float64 // by hand: a note is 1, in another octave a half, a note too many counts as one wrong
		says   string
	}{
		{chord("C4 E4 G4"), "C4 E4 G4", 1, "Right"},
		{chord("C4 E4 G4"), "g4 c4, e4", 1, "Right"},  // a chord has no order
		{chord("C4 E4 G4"), "C E G", 1, "Right"},      // any octave
		{chord("C4 E4 G4"), "e c g", 1, "Right"},      //
		{chord("C4 E4 G#4"), "C4 E4 Ab4", 1, "Right"}, // by ear the same key
		{chord("C4 E4 G4"), "C4 Eb4 G4", 2. / 3, "E4 where you wrote Eb4, a semitone higher"},
		{chord("C4 E4 G4"), "C4 G4", 2. / 3, "E4 is missing"},
		{chord("C4 E4 G4"), "C4 E4 G4 B4", .75, "B4 doesn't sound"},
		{chord("C4 E4 G4"), "C4 E4 G5", 2.5 / 3, "another octave"},
		{chord("C4 E4 G4"), "C E A", 2. / 3, "G4 where you wrote A"},
		{chord("C4 E4 G4"), "C#4 F4 Ab4", 0, "C4 where you wrote C#4"},
		{melody("C4 E4 G4 C5"), "C4 E4 G4 C5", 1, "Right"},
		{melody("C4 E4 G4 C5"), "C4 E4 C5", .75, "G4 is missing"},
		{melody("C4 E4 G4 C5"), "C4 G4 E4 C5", .6, ""}, // in the wrong order: three of five stand
		{melody("C4 E4 G4 C5"), "C4 D4 E4 G4 C5", .8, "D4 doesn't sound"},
		{melody("C4 E4 G4 C5"), "C4 E4 F4 C5", .75, "G4 where you wrote F4, a whole tone higher"},
	} {
		g, err := Grade(tt.q, tt.given)
		if err != nil || math.Abs(g.Credit-tt.credit) > 1e-9 || g.Right != (tt.credit == 1) {
			t.Errorf("Grade(%s, %q) = %+v, %v; want credit %.3f", tt.q.Expected, tt.given, g, err, tt.credit)
			continue
		}
		e := Explain(tt.q, g)
		if !strings.Contains(e.Text, tt.says) || g.Right != (len(e.Said) == 0) && strings.ContainsAny(tt.given, "0123456789") {
			t.Errorf("Explain(%s, %q) = %q, said %v; want %q", tt.q.Expected, tt.given, e.Text, e.Said, tt.says)
		}
	}
	for _, bad := range []string{"H4", "", "C4 E4 x", strings.Repeat("C4 ", 200), "C99"} {
		var ae *AnswerError
		if g, err := Grade(chord("C4 E4 G4"), bad); !errors.As(err, &ae) {
			t.Errorf("Grade(%.20q) = %+v, %v; want an AnswerError", bad, g, err)
		}
	}
}

// TestChordInFull: names of one chord are those of the handbooks (see TestGrade); credit is the share of root, third, fifth,
// seventh and bass that is right, counted by hand.
func TestChordInFull(t *testing.T) {
	ask := func(id, root, notes string, sight bool) Question {
		ns := ps(t, notes)
		ty := types(id)[0]
		q := Question{Kind: Chord, Skill: "seventh chord", Sight: sight, Number: 1, Root: ps(t, root+"4")[0].Class()}
		q.Left, q.Right = split(ns)
		q.like = &likeness{root: q.Root, t: ty}
		q.Expected = symbolOf(q.Root, ty, ns)
		return q
	}
	for _, tt := range []struct {
		q      Question
		given  string
		credit float64
		how    How
	}{
		{ask("min7", "A", "A2 E3 C4 G4", false), "Am7", 1, Exact},
		{ask("min7", "A", "A2 E3 C4 G4", false), "am7", 1, Exact},
		{ask("min7", "A", "A2 E3 C4 G4", false), "A minor seventh", 1, Exact},
		{ask("min7", "A", "C3 E3 A3 G4", false), "Am7/C", 1, Exact},
		{ask("min7", "A", "C3 E3 A3 G4", false), "C6", 1, OtherReading},
		{ask("min7", "A", "C3 E3 A3 G4", true), "C6", 1, OtherReading},
		{ask("dom7", "C", "C3 G3 E4 Bb4", false), "C7", 1, Exact},
		{ask("dom7", "C", "C3 E4 Bb4", false), "C7", 1, Exact}, // the fifth may be left out
		{ask("min", "Bb", "Bb2 F3 Db4", false), "A#m", 1, Enharmonic},
		{ask("min", "Bb", "Bb2 F3 Db4", true), "A#m", .5, ""},     // third and fifth of four parts
		{ask("min7", "A", "A2 E3 C4 G4", false), "A7", .8, ""},    // the third is wrong
		{ask("min7", "A", "C3 E3 A3 G4", false), "Am7", .8, ""},   // the bass
		{ask("min7", "A", "A2 E3 C4 G4", false), "Am", .8, ""},    // the seventh
		{ask("min7", "A", "A2 E3 C4 G4", false), "Bm7", .6, ""},   // root and bass
		{ask("maj7", "A", "A2 E3 C#4 G#4", false), "Bdim", 0, ""}, // nothing
	} {
		g, err := Grade(tt.q, tt.given)
		if err != nil || math.Abs(g.Credit-tt.credit) > 1e-9 || g.How != tt.how {
			t.Errorf("Grade(%s, %q) = %+v, %v; want credit %.2f, %q", tt.q.Expected, tt.given, g, err, tt.credit, tt.how)
		}
		if e := Explain(tt.q, g); e.Text == "" || g.Right != (len(e.Said) == 0) {
			t.Errorf("Explain(%s, %q) = %+v", tt.q.Expected, tt.given, e)
		}
	}
}

func FuzzWritten(f *testing.F) {
	for _, s := range []string{"C4 E4 G4", "c e g", "Am7/C", "C#-1 Bb9", "A", "|||", "♯"} {
		f.Add(s)
	}
	var qs []Question
	for _, k := range []Kind{Dictation, Chord} {
		for _, l := range Levels(k) {
			d, err := New(Settings{Kind: k, Level: l.Number, Seed: 4})
			if err != nil {
				f.Fatal(err)
			}
			qs = append(qs, d.Question(1), d.Question(2))
		}
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, q := range qs {
			g, err := Grade(q, s)
			var ae *AnswerError
			if err != nil && !errors.As(err, &ae) || g.Credit < 0 || g.Credit > 1 || g.Right != (g.Credit == 1) {
				t.Errorf("Grade(%s, %q) = %+v, %v", q.Expected, s, g, err)
			}
			if err == nil {
				Explain(q, g)
			}
		}
	})
}
