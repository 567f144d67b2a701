package drills

import (
	"bufio"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

var update = flag.Bool("update", false, "write the golden files anew")

// everyDrill calls f with each level of each kind, with and without inversions.
func everyDrill(t *testing.T, f func(t *testing.T, d *Drill)) {
	for _, k := range Kinds() {
		for _, l := range Levels(k) {
			for _, inv := range []bool{false, true} {
				if inv && k != Quality && k != Construction {
					continue
				}
				s := Settings{Kind: k, Level: l.Number, Inversions: inv, Seed: 11}
				d, err := New(s)
				if err != nil {
					t.Fatalf("New(%+v) = %v; want a drill", s, err)
				}
				t.Run(string(k)+strconv.Itoa(l.Number)+strconv.FormatBool(inv), func(t *testing.T) { f(t, d) })
			}
		}
	}
}

// handbook reads the members of each chord from testdata/chords.tsv, whose rows name their handbooks: pitch classes above the
// root and spelled names on C, by id.
func handbook(t *testing.T) (pcs map[string][]int, spelled map[string][]string, names map[string]string) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "chords.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	pcs, spelled, names = map[string][]int{}, map[string][]string{}, map[string]string{}
	for sc := bufio.NewScanner(f); sc.Scan(); {
		col := strings.Split(sc.Text(), "\t")
		if strings.HasPrefix(sc.Text(), "#") || col[0] == "id" || len(col) < 7 {
			continue
		}
		for _, n := range strings.Fields(col[6]) {
			v, err := strconv.Atoi(n)
			if err != nil {
				t.Fatalf("%s: semitones %q", col[0], col[6])
			}
			pcs[col[0]] = append(pcs[col[0]], v%12)
		}
		slices.Sort(pcs[col[0]])
		spelled[col[0]], names[col[0]] = strings.Fields(col[5]), col[2]
	}
	if len(pcs) < 80 {
		t.Fatalf("%d rows in chords.tsv; want at least 80", len(pcs))
	}
	return pcs, spelled, names
}

// TestLevels: every label is a row of the vocabulary under its own name, no two labels of a drill sound alike above one bass,
// and no level but the last has more labels than digit keys.
func TestLevels(t *testing.T) {
	pcs, _, _ := handbook(t)
	for i, l := range Levels(Quality) {
		ids := strings.Fields(qualityDecks[i].ids)
		if len(l.Labels) != len(ids) || l.Number != i+1 {
			t.Fatalf("level %d: %d labels for %d ids", l.Number, len(l.Labels), len(ids))
		}
		if len(ids) > MaxChoices && i < len(Levels(Quality))-1 {
			t.Errorf("level %d has %d labels; want at most %d", l.Number, len(ids), MaxChoices)
		}
		sounds := map[string]string{}
		for j, id := range ids {
			if ty, ok := chord.TypeByName(l.Labels[j]); !ok || ty.ID != id {
				t.Errorf("level %d: TypeByName(%q) = %q; want %q", l.Number, l.Labels[j], ty.ID, id)
			}
			key := strings.Trim(strings.Join(strings.Fields(strings.Trim(jsonOf(pcs[id]), "[]")), ""), " ")
			if other, taken := sounds[key]; taken || pcs[id] == nil {
				t.Errorf("level %d: %s sounds like %q (%s)", l.Number, id, other, key)
			}
			sounds[key] = id
		}
	}
	for _, l := range Levels(Construction) {
		if len(l.Labels) > MaxChoices || len(l.Labels) < 2 {
			t.Errorf("construction level %d has %d labels", l.Number, len(l.Labels))
		}
	}
	if Levels("nothing") != nil {
		t.Errorf("Levels of an unknown kind = %v; want nil", Levels("nothing"))
	}
}

func jsonOf(v any) string {
	b, _ := json.Marshal(v)
	return string(b)
}

// TestQuestions checks what a question promises, for all levels.
func TestQuestions(t *testing.T) {
	pcs, spelled, _ := handbook(t)
	everyDrill(t, func(t *testing.T, d *Drill) {
		s := d.Settings()
		count, leftCount := -1, -1
		most := 250
		if s.Kind != Quality && s.Kind != Construction {
			most = 40
		}
		for n := 1; n <= most; n++ {
			q := d.Question(n)
			ns := q.Notes()
			if count < 0 {
				count, leftCount = len(ns), len(q.Left)
			}
			if q.Music == nil && q.Skill == "" && (len(ns) != count || len(q.Left) != leftCount) {
				t.Fatalf("question %d has %d+%d notes, the first %d in all; want the same number", n, len(q.Left), len(q.Right), count)
			}
			if q.Skill == "" && !slices.Contains(q.Choices, q.Expected) || q.Skill != "" && !slices.Contains(d.Labels(), q.Skill) || len(q.Choices) != s.Choices || len(slices.Compact(slices.Clone(q.Choices))) != len(q.Choices) {
				t.Fatalf("question %d: choices %q for %q; want %d different ones with it", n, q.Choices, q.Expected, s.Choices)
			}
			if len(ns) == 0 {
				t.Fatalf("question %d is silent: %+v", n, q)
			}
			if len(q.Left)+len(q.Right) == 0 {
				slices.SortFunc(ns, pitch.Pitch.Compare)
				ns = slices.CompactFunc(ns, pitch.Pitch.Enharmonic)
			}
			for i := 1; i < len(ns); i++ {
				if ns[i-1].MIDI() >= ns[i].MIDI() {
					t.Fatalf("question %d: notes %v; want each key once", n, ns)
				}
			}
			if ns[0].MIDI() < s.Low.MIDI() || ns[len(ns)-1].MIDI() > s.High.MIDI() {
				t.Fatalf("question %d: notes %v outside %s to %s", n, ns, s.Low, s.High)
			}
			for _, p := range ns {
				if p.Alter > 2 || p.Alter < -2 {
					t.Fatalf("question %d: %v; want at most double signs", n, ns)
				}
			}
			if g, err := Grade(q, q.Expected); err != nil || !g.Right || g.How != Exact {
				t.Fatalf("question %d: Grade(%q) = %+v, %v; want right, exact", n, q.Expected, g, err)
			}
			switch s.Kind {
			case Quality:
				checkQuality(t, q, pcs, spelled)
			case Construction:
				checkConstruction(t, q)
			}
			for i, c := range q.Choices {
				g, err := Grade(q, strconv.Itoa(i+1))
				if err != nil || g.Given != c || (c == q.Expected) != (g.Right && g.How == Exact) {
					t.Fatalf("question %d (%s): Grade(%d) = %+v, %v", n, q.Expected, i+1, g, err)
				}
				e := Explain(q, g)
				if e.Text == "" || strings.Contains(e.Text, "%!") || (len(e.Said) > 0) == g.Right || (len(e.Difference) > 0) == g.Right {
					t.Fatalf("question %d: Explain(%+v) = %+v", n, g, e)
				}
			}
		}
	})
}

// checkQuality holds the notes against the handbook's row.
func checkQuality(t *testing.T, q Question, pcs map[string][]int, spelled map[string][]string) {
	t.Helper()
	ty, _ := chord.TypeByName(q.Expected)
	var got, want []int
	for _, p := range q.Notes() {
		got = append(got, ((p.PC()-q.Root.PC())%12+12)%12)
	}
	slices.Sort(got)
	if got, want = slices.Compact(got), pcs[ty.ID]; !slices.Equal(got, want) {
		t.Fatalf("%s on %s sounds %v above its root; handbook %v", q.Expected, q.Root, got, want)
	}
	// Spelled as on C, moved along the line of fifths.
	for _, p := range q.Notes() {
		on := pitch.ClassOfFifths(p.Class().Fifths() - q.Root.Fifths())
		if !slices.Contains(spelled[ty.ID], on.String()) {
			t.Fatalf("%s on %s has %s, on C it would be %s; handbook %v", q.Expected, q.Root, p, on, spelled[ty.ID])
		}
	}
	if low := q.Notes()[0].Class(); !q.Inversions && low != q.Root {
		t.Fatalf("%s on %s has %s in the bass without inversions", q.Expected, q.Root, low)
	}
}

// checkConstruction holds the notes against the worded definitions: "chords built in fourths … fifths" by Hutchinson 32.3, the
// added sixth by 31.2; a cluster is of adjacent notes.
func checkConstruction(t *testing.T, q Question) {
	t.Helper()
	ns := q.Notes()
	if ns[0].Class() != ns[1].Class() || ns[1].MIDI()-ns[0].MIDI() < 12 {
		t.Fatalf("%s: %v; want the bass doubled below", q.Expected, ns)
	}
	if span := ns[len(ns)-1].MIDI() - ns[0].MIDI(); span < 24 || span > 41 {
		t.Fatalf("%s: %v has a span of %d; want 24 to 41", q.Expected, ns, span)
	}
	var steps, semis []int
	for i := 2; i < len(ns); i++ {
		iv := ns[i].Sub(ns[i-1])
		steps, semis = append(steps, iv.Steps+1), append(semis, iv.Semitones)
	}
	all := func(v []int, ok ...int) bool {
		return !slices.ContainsFunc(v, func(x int) bool { return !slices.Contains(ok, x) })
	}
	pcs := map[int]bool{}
	for _, p := range ns {
		pcs[((p.PC()-ns[0].PC())%12+12)%12] = true
	}
	has := func(want ...int) bool {
		for _, x := range want {
			if !pcs[x] {
				return false
			}
		}
		return len(pcs) == len(want)
	}
	ok := map[string]bool{
		stackedThirds:    all(steps, 3) && all(semis, 3, 4),
		stackedFourths:   all(steps, 4) && all(semis, 5),
		stackedFifths:    all(steps, 5) && all(semis, 7),
		addedSixth:       has(0, 4, 7, 9) && !all(steps, 3),
		sixthForFifth:    has(0, 4, 9),
		chromaticCluster: all(semis, 1),
		diatonicCluster:  all(steps, 2) && all(semis, 1, 2) && slices.Contains(semis, 2) && slices.Contains(semis, 1),
	}[q.Expected]
	if !ok {
		t.Fatalf("%v is asked as %s; steps %v, semitones %v", ns, q.Expected, steps, semis)
	}
}

// TestGolden: the same seed gives the same questions byte for byte, on every machine and from version to version.
func TestGolden(t *testing.T) {
	for _, s := range []Settings{
		{Kind: Quality, Seed: 1, Level: 2},
		{Kind: Quality, Seed: 2, Level: 9, Inversions: true, Sight: true},
		{Kind: Construction, Seed: 3, Level: 3},
	} {
		d, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for n := 1; n <= 6; n++ {
			q := d.Question(n)
			b.WriteString(strings.Join([]string{q.ID, q.Prompt, strings.Join(q.Choices, "|"), q.Expected, Hands(q.Left, q.Right)}, "\n") + "\n\n")
		}
		path := filepath.Join("testdata", string(s.Kind)+strconv.Itoa(s.Level)+".golden")
		if *update {
			if err := os.WriteFile(path, []byte(b.String()), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if b.String() != string(want) {
			t.Errorf("%+v asks\n%s\nwant (testdata)\n%s", s, b.String(), want)
		}
		// And in any order.
		if got, want := jsonOf(d.Question(5)), jsonOf(d.Question(5)); got != want {
			t.Errorf("question 5 asked twice differs: %s, %s", got, want)
		}
	}
}

func TestSettings(t *testing.T) {
	for _, tt := range []struct {
		s     Settings
		field string // "" for none
	}{
		{Settings{Kind: Quality}, ""},
		{Settings{Kind: Quality, Labels: []string{"m7", "maj7", "half-diminished", "M7"}}, ""},
		{Settings{Kind: Construction, Labels: []string{"quartal", "fifths"}}, ""},
		{Settings{Kind: Quality, Level: 9, Choices: 4}, ""},
		{Settings{Kind: "wibble"}, "kind"},
		{Settings{Kind: Rhythm, Sight: true}, "sight"},
		{Settings{Kind: Chord, Choices: 3}, "choices"},
		{Settings{Kind: Same, Voices: 7}, "voices"},
		{Settings{Kind: Same, Size: 5000}, "size"},
		{Settings{Kind: Same, Voices: 2, Position: "inner"}, "position"},
		{Settings{Kind: Quality, Level: 10}, "level"},
		{Settings{Kind: Quality, Level: -1}, "level"},
		{Settings{Kind: Quality, Labels: []string{"m7"}}, "labels"},
		{Settings{Kind: Quality, Labels: []string{"m7", "min7"}}, "labels"},
		{Settings{Kind: Quality, Labels: []string{"m7", "wibble"}}, "labels"},
		{Settings{Kind: Quality, Labels: []string{"m7", "stacked fourths"}}, "labels"},
		{Settings{Kind: Quality, Choices: 1}, "choices"},
		{Settings{Kind: Quality, Choices: 10}, "choices"},
		{Settings{Kind: Quality, Level: 1, Choices: 3}, "choices"},
		{Settings{Kind: Quality, Foils: 2}, "foils"},
		{Settings{Kind: Quality, Low: pitch.Pitch{Octave: 4}, High: pitch.Pitch{Letter: pitch.E, Octave: 4}}, "range"},
		{Settings{Kind: Construction, Low: pitch.Pitch{Octave: 4}, High: pitch.Pitch{Octave: 6}}, "range"},
		{Settings{Kind: Quality, Low: pitch.Pitch{Octave: 4}, High: pitch.Pitch{Octave: 3}}, "range"},
	} {
		d, err := New(tt.s)
		var se *SettingsError
		switch {
		case tt.field == "" && err != nil:
			t.Errorf("New(%+v) = %v; want a drill", tt.s, err)
		case tt.field == "" && len(d.Labels()) < 2:
			t.Errorf("New(%+v) asks %q", tt.s, d.Labels())
		case tt.field != "" && (!errors.As(err, &se) || se.Field != tt.field || !strings.HasPrefix(err.Error(), "drills: ")):
			t.Errorf("New(%+v) = %v; want a SettingsError about %s", tt.s, err, tt.field)
		}
	}
	d, _ := New(Settings{Kind: Quality, Labels: []string{"maj7", "m7", "Cm7"}})
	if got, want := d.Labels(), []string{"major seventh", "minor seventh"}; !slices.Equal(got, want) {
		t.Errorf("labels %q; want %q", got, want)
	}
}

func BenchmarkQuestion(b *testing.B) {
	for _, s := range []Settings{{Kind: Quality, Level: 4, Inversions: true}, {Kind: Quality, Level: 9}, {Kind: Construction, Level: 3}} {
		d, err := New(s)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(string(s.Kind)+strconv.Itoa(s.Level), func(b *testing.B) {
			b.ReportAllocs()
			for n := 1; b.Loop(); n++ {
				d.Question(n)
			}
		})
	}
}
