package drills

import (
	"errors"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

func ps(t testing.TB, s string) []pitch.Pitch {
	t.Helper()
	var out []pitch.Pitch
	for f := range strings.FieldsSeq(s) {
		p, err := pitch.Parse(f)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, p)
	}
	return out
}

// ask makes a question by hand; flags are "sight" and "inversions".
func ask(t testing.TB, kind Kind, expected, notes, flags string) Question {
	ns := ps(t, notes)
	q := Question{ID: "x", Number: 1, Kind: kind, Expected: expected, Sight: strings.Contains(flags, "sight"), Inversions: strings.Contains(flags, "inversions"), Root: ns[0].Class()}
	q.Left, q.Right = split(ns)
	if kind == Quality {
		q.Choices = []string{"dominant seventh", "major seventh", "minor seventh", expected}
	} else {
		q.Choices = constructionLabels
	}
	return q
}

// TestGrade: the equivalences are those of the handbooks: C6 = Am7 and Am7(b5) = Cm6 (testdata/chords.tsv, notes on rows 6 and
// m6, after Hutchinson 31.2), Csus4 = Fsus2 (row sus4), C7(b5) = the French sixth on C (row dom7b5), and a German sixth sounds
// as a dominant seventh (common practice, in every handbook).
func TestGrade(t *testing.T) {
	const ear, sight, inv = "", "sight", "inversions"
	for _, tt := range []struct {
		kind            Kind
		expected, notes string
		flags           string
		given           string
		right           bool
		how             How
		label           string
	}{
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "3", true, Exact, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, " minor  seventh ", true, Exact, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "Minor Seventh", true, Exact, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "m7", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "a minor seventh chord", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "-7", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "min7", true, Synonym, "minor seventh"},
		// The root is not asked.
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "C#m7", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C#3 E3 G#3 B3", ear, "Dbm7", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", sight, "am7", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "Am7/E", true, Synonym, "minor seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "C7", false, "", "dominant seventh"},
		{Quality, "minor seventh", "C3 Eb3 G3 Bb3", ear, "1", false, "", "dominant seventh"},
		{Quality, "half-diminished seventh", "C3 Eb3 Gb3 Bb3", ear, "half-diminished", true, Synonym, "half-diminished seventh"},
		{Quality, "half-diminished seventh", "C3 Eb3 Gb3 Bb3", ear, "ø7", true, Synonym, "half-diminished seventh"},
		{Quality, "half-diminished seventh", "C3 Eb3 Gb3 Bb3", ear, "m7b5", true, Synonym, "half-diminished seventh"},
		{Quality, "diminished seventh", "B2 D3 F3 Ab3", ear, "fully diminished", true, Synonym, "diminished seventh"},
		// By ear a German sixth is a dominant seventh; by sight it is not.
		{Quality, "dominant seventh", "Ab2 C3 Eb3 Gb3", ear, "German sixth", true, Enharmonic, "German sixth"},
		{Quality, "dominant seventh", "Ab2 C3 Eb3 Gb3", sight, "German sixth", false, "", "German sixth"},
		{Quality, "German sixth", "Ab2 C3 Eb3 F#3", ear, "dominant seventh", true, Enharmonic, "dominant seventh"},
		{Quality, "German sixth", "Ab2 C3 Eb3 F#3", sight, "dominant seventh", false, "", "dominant seventh"},
		{Quality, "seven flat five", "C3 E3 Gb3 Bb3", ear, "French sixth", true, Enharmonic, "French sixth"},
		// Am7 over C is C6, if any member may be the bass; else the bass tells them apart.
		{Quality, "minor seventh", "C3 E3 G3 A3", inv, "added sixth", true, OtherReading, "added sixth"},
		{Quality, "minor seventh", "C3 E3 G3 A3", inv + sight, "C6", true, OtherReading, "added sixth"},
		{Quality, "minor seventh", "A2 C3 E3 G3", ear, "added sixth", false, "", "added sixth"},
		{Quality, "half-diminished seventh", "A2 C3 Eb3 G3", inv, "minor added sixth", true, OtherReading, "minor added sixth"},
		{Quality, "suspended fourth", "C3 F3 G3", inv, "sus2", true, OtherReading, "suspended second"},
		{Quality, "suspended fourth", "C3 F3 G3", ear, "sus2", false, "", "suspended second"},
		{Quality, "augmented triad", "E3 G#3 C4", inv, "+", true, Synonym, "augmented triad"},
		{Quality, "dominant seventh", "C3 E3 G3 Bb3", ear, "7(b9#11)", false, "", "seven flat nine with raised eleventh"},
		// A chord that the vocabulary has to put together is understood, and wrong.
		{Quality, "dominant seventh", "C3 E3 G3 Bb3", ear, "C7(b9#11)", false, "", "seven flat nine with raised eleventh"},

		{Construction, stackedFourths, "C2 C3 F3 Bb3 Eb4", ear, "quartal", true, Synonym, stackedFourths},
		{Construction, stackedFourths, "C2 C3 F3 Bb3 Eb4", ear, "Stacked Fourths", true, Exact, stackedFourths},
		{Construction, stackedFourths, "C2 C3 F3 Bb3 Eb4", ear, "2", true, Exact, stackedFourths},
		{Construction, stackedFourths, "C2 C3 F3 Bb3 Eb4", ear, "in fifths", false, "", stackedFifths},
		{Construction, addedSixth, "C2 C3 E3 G3 A3", ear, "C6", true, Synonym, addedSixth},
		{Construction, addedSixth, "C2 C3 E3 G3 A3", ear, "added sixth with the fifth", true, Synonym, addedSixth},
		{Construction, sixthForFifth, "C2 C3 E3 A3 C4", ear, "C6(no5)", true, Synonym, sixthForFifth},
		{Construction, sixthForFifth, "C2 C3 E3 A3 C4", ear, "a sixth instead of the fifth", true, Synonym, sixthForFifth},
		{Construction, sixthForFifth, "C2 C3 E3 A3 C4", ear, "C6", false, "", addedSixth},
		{Construction, stackedThirds, "C2 C3 E3 G3 B3", ear, "Cmaj7", true, Synonym, stackedThirds},
		{Construction, stackedThirds, "C2 C3 E3 G3 B3", ear, "tertian", true, Synonym, stackedThirds},
		{Construction, diatonicCluster, "C2 C4 D4 E4 F4", ear, "chromatic cluster", false, "", chromaticCluster},
	} {
		q := ask(t, tt.kind, tt.expected, tt.notes, tt.flags)
		switch tt.expected { // where the root is not the lowest note
		case "minor seventh":
			if tt.notes == "C3 E3 G3 A3" {
				q.Root = pitch.Class{Letter: pitch.A}
			}
		case "augmented triad":
			q.Root = pitch.Class{}
		}
		g, err := Grade(q, tt.given)
		if err != nil || g.Right != tt.right || g.How != tt.how || g.Given != tt.label {
			t.Errorf("%s %v %s: Grade(%q) = %+v, %v; want right %v, how %q, label %q", tt.expected, tt.notes, tt.flags, tt.given, g, err, tt.right, tt.how, tt.label)
		}
		if g.Right && g.How != Exact && g.Why == "" {
			t.Errorf("%s: Grade(%q) = %+v; want a reason", tt.expected, tt.given, g)
		}
	}
}

// TestAskedAgain: what is not understood is no wrong answer.
func TestAskedAgain(t *testing.T) {
	for _, tt := range []struct {
		kind        Kind
		given, says string
	}{
		{Quality, "", "empty"},
		{Quality, "   ", "empty"},
		{Quality, "0", "numbered 1 to 4"},
		{Quality, "5", "numbered 1 to 4"},
		{Quality, "99999999999999999999", "numbered 1 to 4"},
		{Quality, "wibble", "neither"},
		{Quality, "minor sevnth", "minor seventh"},
		{Quality, "Neapolitan", "key"},
		{Quality, strings.Repeat("x", 5000), "…"},
		{Construction, "cluster", "two kinds"},
		{Construction, "tone cluster", "two kinds"},
		{Construction, "sus4", "says nothing about"},
		{Construction, "banana", "names no construction"},
		{Construction, "Am/C", "asked is how they are built"},
	} {
		q := ask(t, tt.kind, "minor seventh", "C3 Eb3 G3 Bb3", "")
		if tt.kind == Construction {
			q = ask(t, tt.kind, sixthForFifth, "C2 C3 E3 A3 C4", "")
		}
		g, err := Grade(q, tt.given)
		var ae *AnswerError
		if !errors.As(err, &ae) || !strings.Contains(err.Error(), tt.says) || len(ae.Examples) == 0 || !reflect.DeepEqual(g, Graded{}) || len(err.Error()) > 400 {
			t.Errorf("Grade(%.20q) = %+v, %v; want an AnswerError with examples that says %q", tt.given, g, err, tt.says)
		}
	}
	// One cluster among the choices is meant by "cluster".
	q := ask(t, Construction, chromaticCluster, "C2 C4 Db4 D4 Eb4", "")
	q.Choices = []string{stackedThirds, chromaticCluster}
	if g, err := Grade(q, "cluster"); err != nil || !g.Right || g.How != Synonym {
		t.Errorf("Grade(cluster) = %+v, %v; want right, a synonym", g, err)
	}
	if _, err := Grade(Question{Kind: "rhythm"}, "1"); err == nil {
		t.Error("Grade of an unknown kind = nil error")
	}
}

func TestExplain(t *testing.T) {
	for _, tt := range []struct {
		kind            Kind
		expected, notes string
		flags, given    string
		text            string
		instead         string
	}{
		{Quality, "major seventh", "C3 E3 G3 B3 C4", "", "C7",
			"You said dominant seventh; this was a major seventh, Cmaj7 (C E G B): B where C7 has Bb, a semitone higher: the seventh is major.", "C3 E3 G3 Bb3 C4"},
		{Quality, "major seventh", "C3 E3 G3 B3 C4", "", "major seventh", "Right: a major seventh, Cmaj7 (C E G B).", ""},
		{Quality, "major seventh", "C3 E3 G3 B3 C4", "", "", "It was a major seventh, Cmaj7 (C E G B).", ""},
		{Quality, "half-diminished seventh", "C3 Eb3 Gb3 Bb3", "", "m7",
			"You said minor seventh; this was a half-diminished seventh, Cm7(b5) (C Eb Gb Bb): Gb where Cm7 has G, a semitone lower: the fifth is diminished.", "C3 Eb3 G3 Bb3"},
		{Quality, "suspended fourth", "C3 F3 G3 C4", "", "maj",
			"You said major triad; this was a suspended fourth, Csus4 (C F G): F where C has E, a semitone higher: that is the suspended fourth.", "C3 E3 G3 C4"},
		{Quality, "major triad", "C3 E3 G3 C4", "", "C7",
			"You said dominant seventh; this was a major triad, C (C E G): it lacks Bb, the seventh of C7.", "C3 E3 G3 Bb3"},
		{Quality, "dominant seventh", "C3 E3 G3 Bb3", "", "major triad",
			"You said major triad; this was a dominant seventh, C7 (C E G Bb): Bb, the seventh, is more than C has.", "C3 E3 G3 C4"},
		{Quality, "dominant seventh", "Ab2 C3 Eb3 Gb3", "sight", "German sixth",
			"You said German sixth; this was a dominant seventh, Ab7 (Ab C Eb Gb): Gb, where German sixth on Ab has F#: the same key, spelled otherwise. By ear it would be right, but spelled Ab C Eb Gb it is a dominant seventh.", "Ab2 C3 Eb3 F#3"},
		{Quality, "dominant seventh", "Ab2 C3 Eb3 Gb3", "", "German sixth",
			"Right: by ear the same keys: Ab7 sounds as German sixth on Ab.", ""},
		{Construction, stackedFourths, "C2 C3 F3 Bb3 Eb4", "", stackedFifths,
			"You said stacked fifths; this was stacked fourths on C, C F Bb Eb: each note a fourth above the last, with no fifth over the bass to rest on. Stacked fifths on the same note would be C G D A: each note a fifth above the last, the widest of the stacks, at rest on its lowest fifth.", "C2 C3 G3 D4 A4"},
	} {
		q := ask(t, tt.kind, tt.expected, tt.notes, tt.flags)
		g := GiveUp(q)
		if tt.given != "" {
			var err error
			if g, err = Grade(q, tt.given); err != nil {
				t.Fatal(err)
			}
		}
		e := Explain(q, g)
		if e.Text != tt.text {
			t.Errorf("%s, said %q:\n got %s\nwant %s", tt.expected, tt.given, e.Text, tt.text)
		}
		if got := names(Question{Left: e.Left, Right: e.Right}.Notes()); got != tt.instead {
			t.Errorf("%s, said %q: to compare %q; want %q", tt.expected, tt.given, got, tt.instead)
		}
	}
}

// TestInstead: whatever is said, what is played to compare is that chord.
func TestInstead(t *testing.T) {
	everyDrill(t, func(t *testing.T, d *Drill) {
		if k := d.Settings().Kind; k != Quality && k != Construction {
			return // made again as a question, see TestKinds
		}
		for n := 1; n <= 60; n++ {
			q := d.Question(n)
			for _, l := range q.Choices {
				g, _ := Grade(q, l)
				if g.Right {
					continue
				}
				e := Explain(q, g)
				if !isA(q.Kind, l, e.Left, e.Right) && !(q.Kind == Construction && isA(q.Kind, l, nil, Question{Left: e.Left, Right: e.Right}.Notes()[1:])) {
					t.Fatalf("%s on %s (%v), said %s: to compare %v %v, which is not that", q.Expected, q.Root, q.Notes(), l, e.Left, e.Right)
				}
			}
		}
	})
}

func FuzzGrade(f *testing.F) {
	for _, s := range []string{"1", "9", "m7", "C#m7(b5)/E", "a minor seventh", "cluster", "sixth", "", "\x00", "♭", "Ger6", "German sixth on Ab", "C7(b9#11no5)"} {
		f.Add(s)
	}
	quality, _ := New(Settings{Kind: Quality, Level: 5, Inversions: true})
	construction, _ := New(Settings{Kind: Construction, Level: 3})
	f.Fuzz(func(t *testing.T, s string) {
		for i, d := range []*Drill{quality, construction} {
			q := d.Question(len(s) + 1)
			g, err := Grade(q, s)
			if err != nil {
				var ae *AnswerError
				if !errors.As(err, &ae) || !reflect.DeepEqual(g, Graded{}) {
					t.Errorf("Grade(%q) = %+v, %v", s, g, err)
				}
				continue
			}
			if g.Given == "" || g.Right != (g.How != "") {
				t.Errorf("drill %d: Grade(%q) = %+v", i, s, g)
			}
			if e := Explain(q, g); e.Text == "" {
				t.Errorf("Explain(%q) is empty", s)
			}
			// The label that was understood is understood again.
			if again, err := Grade(q, g.Given); err != nil || again.Given != g.Given || again.Right != g.Right {
				t.Errorf("Grade(%q) = %q; Grade of that = %+v, %v", s, g.Given, again, err)
			}
		}
	})
}

func BenchmarkGrade(b *testing.B) {
	d, _ := New(Settings{Kind: Quality, Level: 4})
	q := d.Question(1)
	for _, given := range []string{"1", "minor seventh", "C#m7"} {
		b.Run(strconv.Quote(given), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Grade(q, given); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A chord label says how a chord is built only where it names its notes: F#m7 is a stack of thirds, and no right answer to
// C E G B.
func TestLabelOfOtherNotes(t *testing.T) {
	var ae *AnswerError
	if g, err := Grade(ask(t, Construction, stackedThirds, "C2 C3 E3 G3 B3", ""), "F#m7"); !errors.As(err, &ae) {
		t.Errorf("Grade(%q) = %+v, %v; want an AnswerError", "F#m7", g, err)
	}
}
