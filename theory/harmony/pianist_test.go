package harmony

import (
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// What the trade says of these is common practice, no source; the passages are invented.

func TestRepeatedNotes(t *testing.T) {
	p := func(s string) *pitch.Pitch {
		x, err := pitch.Parse(s)
		if err != nil {
			t.Fatal(err)
		}
		return &x
	}
	for _, x := range []struct {
		name string
		f    Figure
		want string
	}{
		{"C B B C, the second B", Figure{Before2: p("C5"), Before: p("B4"), Note: *p("B4"), After: p("C5")}, "neighbour tone"},
		{"C B B C, the first B", Figure{Before: p("C5"), Note: *p("B4"), After: p("B4"), After2: p("C5")}, "neighbour tone"},
		{"B held over", Figure{Before: p("B4"), Note: *p("B4"), After: p("C5"), Accented: true, Change: true}, "retardation"},
		{"C held over", Figure{Before: p("C5"), Note: *p("C5"), After: p("B4"), Change: true}, "suspension"},
		{"C struck over and over", Figure{Before: p("C3"), Note: *p("C3"), After: p("C3"), Next: true}, "pedal point"},
		{"C in octaves", Figure{Before: p("C2"), Note: *p("C3"), After: p("C2"), Next: true}, "pedal point"},
		{"C anticipated", Figure{Before: p("D5"), Note: *p("C5"), After: p("C5"), Next: true}, "anticipation"},
	} {
		if got := Classify(x.f); got.Kind != x.want {
			t.Errorf("%s: Classify = %v (%s); want %s", x.name, got, got.Why, x.want)
		}
	}
}

// A V over the tonic held in the bass closes nothing, and its bass is a pedal each time it is struck.
func TestTonicPedal(t *testing.T) {
	a := Read(passage(t, common, "right: E4+G4+C5:4 F4+G4+B4:4 E4+G4+C5:4 D4+G4+B4+F5:4 E4+G4+C5:4", "left: C3:4 C3:4 C3:4 C3:4 C3:4"), bars(5))
	for _, i := range []int{1, 3} {
		if c, _ := a.Chord(i); c.Root != mustClass("G") {
			t.Fatalf("span %d is read as %v; want a chord on G", i, c)
		}
		if got := a.Role(i).Colour; got != "over a tonic pedal" {
			t.Errorf("Role(%d).Colour = %q", i, got)
		}
		for _, f := range a.ForeignNotes(i) {
			if f.Note.Hand == score.Left && f.NCT.Kind != "pedal point" {
				t.Errorf("%v at span %d is called %v; want a pedal point", f.Note.Pitch, i, f.NCT)
			}
		}
	}
	if cs := a.Cadences(); len(cs) > 0 {
		t.Errorf("Cadences() = %+v; want none over the pedal", cs)
	}
}

func TestArrivals(t *testing.T) {
	for _, x := range []struct{ right, left, kind, why string }{
		{"right: E4+G4+C5:4 F4+G4+B4:4 E4+G4+C5:4", "left: C3:4 G2:4 C3:4", "perfect authentic", "and the music rests there"},
		{"right: E4+G4+C5:4 F4+G4+B4:4 r:4", "left: C3:4 G2:4 C2+C3:4", "authentic", ""},
		{"right: E4+G4+C5:4 F4+G4+B4:4 G4+C5+E5:1 G4+C5:3", "left: C3:4 G2:4 C3:4", "imperfect authentic", ""},
		{"right: E4+G4+C5:4 F4+G4+B4:4 C5:1/2 G4:1/2 E4:1/2 G4:1/2 C5:2", "left: C3:4 G2:4 C3:4", "perfect authentic", "and the chord lasts"},
	} {
		a := Read(passage(t, common, x.right, x.left), bars(3))
		cs := a.Cadences()
		if len(cs) != 1 || cs[0].Kind != x.kind || !strings.HasSuffix(cs[0].Why, x.why) {
			t.Errorf("%s over %s (%s): Cadences() = %+v; want one %s, %q", x.right, x.left, numerals(a), cs, x.kind, x.why)
		}
	}
}

// A rest ends what a note tends to: nothing resolves across it.
func TestNoResolutionPastARest(t *testing.T) {
	a := Read(passage(t, common, "right: F4+G4+B4:2 r:2 E4+G4+C5:4", "left: G2:2 r:2 C3:4"), bars(2))
	for _, r := range a.Tendencies(0) {
		if r.To != nil || r.Instead != nil || r.Resolves {
			t.Errorf("%v resolves past the rest: %s", r.Note.Pitch, r.Words)
		}
	}
	if len(a.Tendencies(0)) == 0 {
		t.Error("no tendencies in G7")
	}
	a = Read(passage(t, common, "right: F4+G4+B4:4 E4+G4+C5:4", "left: G2:4 C3:4"), bars(2))
	for _, r := range a.Tendencies(0) {
		if !r.Resolves {
			t.Errorf("%v: %s; want it resolved", r.Note.Pitch, r.Words)
		}
	}
}

// The upper notes of a six-four before the dominant have their own name where nothing prepares them.
func TestSixFourNamed(t *testing.T) {
	a := Read(passage(t, common, "right: E4+G4+C5:4 F4+A4+D5:4 E5+G5+C6:2 D4+G4+B4:2 E4+G4+C5:4", "left: C3:4 F2:4 G2:2 G2:2 C3:4"), bars(4))
	if c, _ := a.Chord(2); c.Root != mustClass("G") {
		t.Fatalf("bar 3 is read as %v; want G", c)
	}
	got := map[string]string{}
	for _, f := range a.ForeignNotes(2) {
		got[f.Note.Pitch.String()] = f.NCT.Kind
		if f.NCT.Kind == "" {
			t.Errorf("%v has no name: %s", f.Note.Pitch, f.NCT.Why)
		}
	}
	if got["C6"] != "fourth of the six-four" && got["E5"] != "sixth of the six-four" {
		t.Errorf("foreign notes of bar 3: %v", got)
	}
}

// An augmented sixth away from the dominant is named by the key it belongs to.
func TestSixthOfAnotherKey(t *testing.T) {
	a := Read(passage(t, common, "right: E4+G4+C5:4 F4+A4+C5:4 F4+Ab4+B4:4 E4+G4+C5:4", "left: C3:4 F2:4 Db3:4 C3:4"), bars(4))
	a.Spans[2].Key = key.Key{Tonic: mustClass("C")} // read alone it may as well be F minor
	r := a.Role(2)
	if strings.ContainsAny(r.Numeral.Text, "^/") {
		t.Errorf("Role(2).Numeral = %q", r.Numeral.Text)
	}
	if !strings.Contains(r.Colour, "German sixth of F minor") { // Db and B open to C, the dominant of F
		t.Errorf("Role(2) = %+v; want a German sixth of F minor", r)
	}
}

// A third that sounds is not missing, and a bass that is the other third is not called foreign.
func TestColoursAgree(t *testing.T) {
	for _, x := range []struct{ right, left string }{
		{"right: G4+C5+E5:4 G4+B4+D5:4 G4+C5+E5:4", "left: C3:4 G2:4 Eb3:4"},
		{"right: G4+C5:4 G4+D5:4 G4+C5:4", "left: C3:4 B2:4 C3:4"},
		{"right: E4+G4+C5:4 F4+G4+B4:4 C4+G4+C5:4", "left: C3:4 G2:4 E3:4"},
	} {
		a := Read(passage(t, common, x.right, x.left), bars(3))
		for i := range a.Spans {
			c, _ := a.Chord(i)
			s := a.Role(i).Colour
			if strings.Contains(s, "without third") && strings.HasSuffix(c.Role(c.Bass), "third") || strings.Contains(s, "both thirds") && strings.Contains(s, "no member") {
				t.Errorf("%s over %s: %v is %q", x.right, x.left, c, s)
			}
		}
	}
}
