package drills

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

// invented is a passage of ours: two sevenths, a triad that comes twice, stacked fourths over stacked fifths, a cluster over
// a bass, and an added sixth.
const invented = `title: Three lanterns
meter: 4/4
bars 1-3
right: h E4+B4 C4+G4 | h E4+A4+D5 G#4+A4+A#4 | q E4+A4 h C4+E4+G4 q E4+G4+C5
left:  h C3+G3 A2+E3 | h C2+G2+D3 F2         | q C3+G3 h C3 q C3
`

func read(t testing.TB, text, place string) (*score.Passage, score.Region) {
	t.Helper()
	p, err := typed.Read("invented", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	pl := score.Place{All: true}
	if place != "" {
		if pl, err = score.ParsePlace(place); err != nil {
			t.Fatal(err)
		}
	}
	r, err := p.Resolve(pl)
	if err != nil {
		t.Fatal(err)
	}
	return p, r
}

func TestItems(t *testing.T) {
	for _, tt := range []struct {
		kind  Kind
		place string
		want  []string // "label @ where: notes"
	}{
		{Quality, "bar 1", []string{"major seventh @ bar 1 beat 1: C3 G3 E4 B4", "minor seventh @ bar 1 beat 3: A2 E3 C4 G4"}},
		{Quality, "bar 3", []string{"added sixth @ bar 3 beat 1: C3 G3 E4 A4", "major triad @ bar 3 beat 2: C3 C4 E4 G4", "major triad @ bar 3 beat 4: C3 E4 G4 C5"}},
		{Quality, "bar 1 beat 3", []string{"minor seventh @ bar 1 beat 3: A2 E3 C4 G4"}},
		{Construction, "bar 2", []string{
			"stacked fifths @ bar 2 beat 1, left hand: C2 G2 D3", "stacked fourths @ bar 2 beat 1, right hand: E4 A4 D5",
			"chromatic cluster @ bar 2 beat 3, right hand: G#4 A4 A#4"}},
		{Construction, "bar 2, right hand", []string{"stacked fourths @ bar 2 beat 1, right hand: E4 A4 D5", "chromatic cluster @ bar 2 beat 3, right hand: G#4 A4 A#4"}},
		{Construction, "bar 3 beat 1", []string{"added sixth @ bar 3 beat 1: C3 G3 E4 A4"}},
	} {
		p, r := read(t, invented, tt.place)
		var got []string
		for _, it := range itemsOf(p, r, tt.kind, chord.NameHands) {
			got = append(got, it.label+" @ "+it.where+": "+names(Question{Left: it.left, Right: it.right}.Notes()))
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s at %s:\n got %q\nwant %q", tt.kind, tt.place, got, tt.want)
		}
	}
}

// shape is what stays of a chord when it is transposed: the intervals above its lowest note, by spelling.
func shapeOf(ns []pitch.Pitch) string {
	var b strings.Builder
	for _, p := range ns {
		b.WriteString(p.Sub(ns[0]).String() + " ")
	}
	return b.String()
}

func TestFromPassage(t *testing.T) {
	own := map[string]map[string]string{ // label: shape: place
		"major seventh": {"P1 P5 M10 M14 ": "bar 1 beat 1"}, "minor seventh": {"P1 P5 m10 m14 ": "bar 1 beat 3"},
		"added sixth": {"P1 P5 M10 M13 ": "bar 3 beat 1"}, "major triad": {"P1 P8 M10 P12 ": "bar 3 beat 2", "P1 M10 P12 P15 ": "bar 3 beat 4"},
	}
	p, r := read(t, invented, "")
	for _, s := range []Settings{{Kind: Quality, Seed: 5}, {Kind: Quality, Seed: 5, NoTranspose: true}, {Kind: Quality, Seed: 5, Foils: 0.5}, {Kind: Quality, Seed: 5, Sight: true}} {
		d, err := FromPassage(p, r, s)
		if err != nil {
			t.Fatal(err)
		}
		seen, roots, foils := map[string]int{}, map[int]bool{}, 0
		const n = 600
		for i := 1; i <= n; i++ {
			q := d.Question(i)
			place, isOwn := own[q.Expected][shapeOf(q.Notes())]
			switch {
			case !isOwn && s.Foils == 0:
				t.Fatalf("question %d: %s, %v is not of the passage", i, q.Expected, q.Notes())
			case isOwn && !strings.HasPrefix(q.From, place) && s.Foils == 0:
				t.Fatalf("question %d is from %q; want %q", i, q.From, place)
			case strings.Contains(q.From, "made into"):
				foils++
			}
			if len(q.Choices) != passageChoices || !slices.Contains(q.Choices, q.Expected) || !isA(Quality, q.Expected, q.Left, q.Right) {
				t.Fatalf("question %d: %+v", i, q)
			}
			if len(q.Notes()) != 4 || len(q.Left) < 1 {
				t.Fatalf("question %d sounds %v + %v; want four notes, as the passage has", i, q.Left, q.Right)
			}
			for _, p := range q.Notes() {
				if p.Alter > 2 || p.Alter < -2 {
					t.Fatalf("question %d is spelled %v", i, q.Notes())
				}
			}
			seen[q.Expected]++
			roots[q.Root.PC()] = true
			// By ear no wrong choice may be true as well; Grade would have to take it.
			right := 0
			for _, c := range q.Choices {
				if g, err := Grade(q, c); err == nil && g.Right {
					right++
				}
			}
			if right != 1 && s.Foils == 0 {
				t.Fatalf("question %d: %d of the choices %q are right for %v", i, right, q.Choices, q.Notes())
			}
		}
		if s.NoTranspose != (len(roots) <= 2) || !s.NoTranspose && len(roots) != 12 {
			t.Errorf("%+v: %d roots; want all 12 if transposed, C and A if not", s, len(roots))
		}
		if s.Foils == 0 {
			for l := range own { // four labels, evenly: 150 each, standard deviation 10.6
				if seen[l] < 110 || seen[l] > 190 {
					t.Errorf("%+v: %q was asked %d times of %d; want about a quarter", s, l, seen[l], n)
				}
			}
		} else if foils < 250 || foils > 350 {
			t.Errorf("%+v: %d near misses of %d; want about half", s, foils, n)
		}
	}
}

func TestFromPassageConstruction(t *testing.T) {
	p, r := read(t, invented, "bar 2")
	d, err := FromPassage(p, r, Settings{Kind: Construction, Seed: 2, Foils: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	labels := map[string]bool{}
	for i := 1; i <= 200; i++ {
		q := d.Question(i)
		labels[q.Expected] = true
		if !isA(Construction, q.Expected, q.Left, q.Right) || len(q.Notes()) != 3 || !slices.Contains(q.Choices, q.Expected) {
			t.Fatalf("question %d: %s, %v, %q", i, q.Expected, q.Notes(), q.Choices)
		}
		for _, c := range q.Choices {
			if g, _ := Grade(q, c); !g.Right {
				if e := Explain(q, g); len(e.Left)+len(e.Right) == 0 {
					t.Fatalf("question %d: nothing to compare for %s", i, c)
				}
			}
		}
	}
	for _, l := range []string{stackedFifths, stackedFourths, chromaticCluster} {
		if !labels[l] || !slices.Contains(d.Labels(), l) {
			t.Errorf("%s is never asked (labels %q)", l, d.Labels())
		}
	}
}

func TestFromPassageErrors(t *testing.T) {
	for _, tt := range []struct {
		place string
		s     Settings
		field string
	}{
		{"bar 1", Settings{Kind: Construction, Labels: []string{"quartal"}}, "passage"},
		{"bar 2 beat 3, left hand", Settings{Kind: Quality}, "passage"},
		{"bar 1", Settings{Kind: Quality, Labels: []string{"wibble"}}, "labels"},
		{"bar 1", Settings{Kind: "rhythm"}, "kind"},
	} {
		p, r := read(t, invented, tt.place)
		_, err := FromPassage(p, r, tt.s)
		var se *SettingsError
		if !errors.As(err, &se) || se.Field != tt.field {
			t.Errorf("FromPassage(%s, %+v) = %v; want a SettingsError about %s", tt.place, tt.s, err, tt.field)
		}
	}
	if _, err := FromPassage(&score.Passage{}, score.Region{}, Settings{Kind: Quality}); err == nil {
		t.Error("FromPassage of nothing = nil error")
	}
}

// TestRange: a passage at the edge of the keyboard is transposed only as far as it goes, and not at all beyond.
func TestRange(t *testing.T) {
	for _, tt := range []struct {
		right, left string
		low, high   int
	}{
		{"w E7+G7+B7", "w C7", 96 - 6, 107},     // above the range: down only until it is in it, or never
		{"w E2+G2", "w E1+B1", 28, 28 + 19 + 5}, // at the lower edge: upwards only
	} {
		p, r := read(t, "meter: 4/4\nbar 1\nright: "+tt.right+"\nleft: "+tt.left+"\n", "")
		d, err := FromPassage(p, r, Settings{Kind: Quality, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i <= 100; i++ {
			ns := d.Question(i).Notes()
			if ns[0].MIDI() < tt.low || ns[len(ns)-1].MIDI() > tt.high {
				t.Fatalf("%s %s: question %d sounds %v", tt.left, tt.right, i, ns)
			}
		}
	}
}
