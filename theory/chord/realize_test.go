package chord

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

func spell(ns []pitch.Pitch) string {
	var b strings.Builder
	for i, p := range ns {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(p.String())
	}
	return b.String()
}

func TestRealize(t *testing.T) {
	for _, c := range []struct{ spec, left, right string }{
		{"F#m7(b5) first inversion, close", "", "A3 C4 E4 F#4"},
		{"F#m7(b5) first inversion, open", "A3 E4", "C5 F#5"},
		{"five-note quartal on D3", "D3 G3", "C4 F4 Bb4"},
		{"stacked fourths of 4 on E3", "", "E3 A3 D4 G4"},
		{"stacked fifths of 3 on A2", "A2 E3 B3", ""},
		{"stacked fourths of 3 on C4, augmented on top", "", "C4 F4 B4"},
		{"stacked thirds of 4 on C4", "", "C4 E4 G4 B4"},
		{"stacked minor thirds of 4 on B3", "", "B3 D4 F4 Ab4"},
		{"quintal left hand on G2 with quartal right hand on B3", "G2 D3 A3", "B3 E4 A4"},
		{"quartal right hand on B3, quintal left hand on G2", "G2 D3 A3", "B3 E4 A4"},
		{"C major, added sixth instead of the fifth", "C3 E3 A3", ""},
		{"chromatic cluster of 4 on E4", "", "E4 F4 F#4 G4"},
		{"chromatic cluster of four notes on Bb3", "", "Bb3 B3 C4 Db4"},
		{"diatonic cluster on C4", "", "C4 D4 E4"},
		{"black-key cluster of 5 on C#4", "", "C#4 D#4 F#4 G#4 A#4"},
		{"C13", "C3 E3 G3 Bb3", "D4 F4 A4"},
		{"Cmaj7 on C4", "", "C4 E4 G4 B4"},
		{"C/D", "D3", "C4 E4 G4"},
		{"Eb7 over Fb major", "Fb2 Ab2 Cb3", "Eb4 G4 Bb4 Db5"},
		{"E major over A major", "A2 C#3 E3", "E4 G#4 B4"},
		{"German sixth on Ab3", "", "Ab3 C4 Eb4 F#4"},
		{"mystic chord on C3", "C3 F#3 Bb3", "E4 A4 D5"},
		{"Dm9 from D3, open", "D3 A3", "E4 F4 C5"},
	} {
		v, err := Realize(c.spec)
		if err != nil {
			t.Errorf("Realize(%q): %v", c.spec, err)
			continue
		}
		if spell(v.Left) != c.left || spell(v.Right) != c.right {
			t.Errorf("Realize(%q) = %s | %s; want %s | %s", c.spec, spell(v.Left), spell(v.Right), c.left, c.right)
		}
		if v.Text == "" {
			t.Errorf("Realize(%q) has no text", c.spec)
		}
	}
}

func TestRealizeErrors(t *testing.T) {
	for _, c := range []struct {
		spec   string
		offset int
		why    string
	}{
		{"", 0, "empty"},
		{"stacked fourths of 40 on E3", 18, "number of notes"},
		{"stacked fourths of 4 on H3", 24, "pitch"},
		{"stacked fourths of 4", 20, "lowest pitch"},
		{"stacked fifths of 12 on C7", 26, "leave the keyboard"},
		{"circle of fifths from A2, sevenths, 6 chords", 0, "a sequence of chords"},
		{"Cmaj7 on E3", 5, "bass of Cmaj7 is C"},
		{"Cmaj7 on C9", 0, "off the keyboard"},
		{"white-key cluster of 3 on F#4", 29, "not one of the white keys"},
		{"C7garbage", 2, "left over"},
		{"quartal left hand on G2 with quintal left hand on C4", 37, "given twice"},
	} {
		_, err := Realize(c.spec)
		var se *SpecError
		if !errors.As(err, &se) || se.Offset != c.offset || !strings.Contains(se.Why, c.why) {
			t.Errorf("Realize(%q): %v; want offset %d, %q", c.spec, err, c.offset, c.why)
		}
	}
}

// handbookSynonyms are rows that are realized as one row and named as another, which the handbooks call the same thing.
var handbookSynonyms = map[string]string{
	"N6":    "maj", // a major triad by its place in a key
	"ct-o7": "dim7",
	"power": "", // two notes are an interval first; the power chord is the second reading
}

// Every row on every root with at most one accidental, and with two where no note needs more than three: realized, then
// named, the first reading is the row.
func TestRealizeThenName(t *testing.T) {
	tried := 0
	for _, f := range forms() {
		for l := pitch.C; l <= pitch.B; l++ {
			for a := int8(-2); a <= 2; a++ {
				root := pitch.Class{Letter: l, Alter: a}
				sym := Symbol{Root: root, Type: f.Type, Inversion: -1}
				far := false
				for _, c := range sym.Spell() {
					far = far || c.Alter > 3 || c.Alter < -3
				}
				if far {
					if a >= -1 && a <= 1 && f.ID != "Sw6" && f.Family != famSpecial {
						t.Logf("%s on %v needs more than three signs", f.ID, root)
					}
					continue
				}
				tried++
				label := labelOf(root, f.Type)
				ns := sym.voice(root.In(3), false)
				if f.Family != famPredominant && f.Family != famChromatic {
					spec := label
					if f.ID == "13-no11" {
						spec = sym.House()
					}
					if f.ID == "IVover5" {
						spec = root.Add(pitch.MajorSecond.Neg()).String() + "/" + root.String()
						if c, err := pitch.ParseClass(root.Add(pitch.MajorSecond.Neg()).String()); err != nil || c != root.Add(pitch.MajorSecond.Neg()) {
							continue
						}
					}
					v, err := Realize(spec)
					if err != nil {
						t.Errorf("Realize(%q): %v", spec, err)
						continue
					}
					ns = v.All()
				}
				r := Name(ns)[0]
				want := f.ID
				if f.Family == famCluster && BlackOnly(ns) {
					want = "" // named by its keys: a black-key cluster
				}
				if s, ok := handbookSynonyms[f.ID]; ok {
					want = s
				}
				if f.ID == "7sus2" { // G A D F is D minor over G: a triad complete over a foreign bass (common practice, no source)
					if r.Type != "min" || r.Root != root.Add(pitch.PerfectFifth) || r.Bass != root {
						t.Errorf("%s on %v (%s) is named %s (%s)", f.ID, root, spell(ns), r.Label, r.Type)
					}
					continue
				}
				if r.Type != want || r.Root != root && want != "" && f.Family != famCluster || want != "" && f.tertian && r.Bass != root {
					t.Errorf("%s on %v (%s) is named %s (%s)", f.ID, root, spell(ns), r.Label, r.Type)
				}
				if f.ID == "power" && Name(ns)[1].Type != "power" {
					t.Errorf("%s is not offered as a power chord", spell(ns))
				}
			}
		}
	}
	if tried < 2500 {
		t.Errorf("only %d chords tried", tried)
	}
}

// Inversions of what has them: realized, named, the inversion comes back, or the sixth chord the handbooks prefer.
func TestInversions(t *testing.T) {
	for _, id := range []string{"maj", "min", "dim", "aug", "dom7", "maj7", "min7", "hdim7", "dim7", "minmaj7", "aug7", "augmaj7", "dom7b5"} {
		f := formByID(id)
		for _, root := range []string{"C", "F#", "Bb", "Eb", "G#"} {
			c, _ := pitch.ParseClass(root)
			for inv := 1; inv < len(f.degrees); inv++ {
				sym := Symbol{Root: c, Type: f.Type, Inversion: inv}
				bass, _ := sym.BassClass()
				r := Name(sym.voice(bass.In(3), false))[0]
				want := sym.House()
				switch { // over its third a seventh chord is an added sixth (Hutchinson 31.2); D7(b5) over Ab is a French sixth
				case id == "min7" && inv == 1:
					want = bass.String() + "6"
				case id == "hdim7" && inv == 1:
					want = bass.String() + "m6"
				case id == "augmaj7" && inv == 1: // a major triad with added minor sixth (Hutchinson 31.1)
					want = bass.String() + "(addb6)"
				case id == "dom7b5" && inv == 2:
					want = "French sixth on " + bass.String()
				case id == "dom7b5" && inv == 1:
					want = "French sixth on " + c.Add(pitch.DiminishedFifth).String()
				}
				if r.Label != want || want == sym.House() && r.Inversion != inv {
					t.Errorf("%s: first reading %s, inversion %d; want %s", sym.House(), r.Label, r.Inversion, want)
				}
			}
		}
	}
}

// All 4,095 sets, each note in turn as bass: a first reading, the same twice, members for every note, rank sentences.
func TestEverySet(t *testing.T) {
	noName := 0
	for m := pcset(1); m < 1<<12; m++ {
		for n := range 12 {
			if !m.has(n) {
				continue
			}
			var ns []pitch.Pitch
			for _, pc := range m.list() {
				k := 48 + pc
				if pc < n {
					k += 12
				}
				ns = append(ns, pitch.FromMIDI(k, m%2 == 0))
			}
			rs := Name(ns)
			if len(rs) == 0 || len(rs) > maxReadings {
				t.Fatalf("%s: %d readings", spell(ns), len(rs))
			}
			slices.SortFunc(ns, func(p, q pitch.Pitch) int { return q.Compare(p) })
			if n == lowest(m) && fmt.Sprint(Name(ns)) != fmt.Sprint(rs) {
				t.Fatalf("%s: the readings depend on the order of notes", spell(ns))
			}
			if rs[0].Kind == SetClass {
				noName++
			}
			seen := map[string]bool{}
			for i, r := range rs {
				if r.Label == "" || r.Words == "" || r.Kind == "" || r.Quality == "" || len(r.Members) != len(ns) || seen[r.Label] {
					t.Fatalf("%s: reading %d is %+v", spell(ns), i, r)
				}
				seen[r.Label] = true
				if !strings.HasSuffix(r.Why, ".") || i > 0 && !strings.Contains(r.Why, rs[i-1].Label) {
					t.Fatalf("%s: reading %d: why %q", spell(ns), i, r.Why)
				}
				if r.Bass != ns[len(ns)-1].Class() || r.Inversion < -1 {
					t.Fatalf("%s: reading %d: bass %v, inversion %d", spell(ns), i, r.Bass, r.Inversion)
				}
			}
		}
	}
	t.Logf("%d of 24576 sonorities have a set class as their first reading", noName)
}

// A label of a reading, read back and held against the notes it came from, is spelled by them.
func TestLabelsReadBack(t *testing.T) {
	tried := 0
	for k := range pcset(3 << 12) {
		m := k % (1 << 12)
		var ns []pitch.Pitch
		for i, pc := range m.list() {
			up := 0
			if i < int(k>>12) && m.len() > i { // another bass
				up = 12
			}
			ns = append(ns, pitch.FromMIDI(48+pc+up, m%2 == 0))
		}
		for _, r := range Name(ns) {
			if !r.Rooted || r.Kind == StackedFourths || r.Kind == StackedFifths || r.Kind == ChordOverChord || strings.HasPrefix(r.Label, "stacked") ||
				strings.HasPrefix(r.Label, "rootless") || r.Kind == MixedStack || r.Kind == NoteKind ||
				r.Kind == ClusterKind {
				continue
			}
			sym, err := ParseLabel(r.Label)
			if err != nil {
				t.Fatalf("%s: label %q is not read back: %v", spell(ns), r.Label, err)
			}
			tried++
			got := Agrees(sym, ns)
			if len(got.Foreign) > 0 || (len(r.Respelled) == 0) != (len(got.Enharmonic) == 0) || !got.BassSounds && r.Kind != AugmentedSixth {
				t.Errorf("%s: label %q means %v: foreign %v, enharmonic %v, bass %v", spell(ns), r.Label, sym.Spell(), got.Foreign, got.Enharmonic, got.BassWant)
			}
			if len(got.Missing) != len(r.Missing) && r.Type != "IVover5" && sym.Type.ID != "13-full" && len(r.Added) == 0 && len(r.Altered) == 0 && !strings.Contains(r.Label, "no") {
				t.Errorf("%s: label %q: missing %v, reading %v", spell(ns), r.Label, got.Missing, r.Missing)
			}
		}
	}
	if tried < 1000 {
		t.Errorf("only %d labels tried", tried)
	}
}

func FuzzRealize(f *testing.F) {
	seeds := []string{"F#m7(b5) first inversion, close", "five-note quartal on D3", "stacked fourths of 4 on E3", "stacked fifths of 3 on A2, augmented on top",
		"quintal left hand on G2 with quartal right hand on B3", "C major, added sixth instead of the fifth", "chromatic cluster of 4 on E4",
		"Eb7 over Fb major", "Dm9 on D2, open", "mystic chord on C3", "left hand right hand", "circle of fifths from A2"}
	if len(seeds) != 12 {
		f.Fatal("seeds are missing")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := Realize(s)
		if err != nil {
			var se *SpecError
			if !errors.As(err, &se) || se.Offset < 0 || se.Offset > len(s) || len(v.All()) > 0 {
				t.Fatalf("Realize(%q) = %v, %v", s, v, err)
			}
			return
		}
		all := v.All()
		if len(all) == 0 || len(all) != len(v.Left)+len(v.Right) && !strings.Contains(strings.ToLower(s), "hand") && !strings.Contains(strings.ToLower(s), "over") {
			t.Fatalf("Realize(%q) = %v", s, v)
		}
		if rs := NameHands(v.Left, v.Right); len(rs) == 0 {
			t.Fatalf("Realize(%q) = %s has no name", s, spell(all))
		}
	})
}

func BenchmarkName(b *testing.B) {
	for _, s := range []string{"C4 E4 G4", "F#3 A3 C4 E4", "A2 G3 Bb3 C#4 E4", "Eb3 G3 Bb3 Db4 Gb4 A4", "C4 Db4 E4 F#4 Ab4", "C3 E3 G3 Bb3 D4 F4 A4"} {
		ns := notes(b, s)
		b.Run(strings.ReplaceAll(s, " ", ""), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Name(ns)
			}
		})
	}
}

// A word that begins like a note name is no note.
func TestRealizeWord(t *testing.T) {
	for _, spec := range []string{"descending thirds from C3", "ascending fourths from C3"} {
		_, err := Realize(spec)
		var se *SpecError
		if !errors.As(err, &se) || se.Offset != 0 || !strings.Contains(se.Why, spec[:10]) || se.Hint == "" {
			t.Errorf("%s: %v, want it told from the first letter on, with a hint", spec, err)
		}
	}
}
