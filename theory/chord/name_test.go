package chord

import (
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

func labels(rs []Reading) []string {
	ls := make([]string, len(rs))
	for i, r := range rs {
		ls[i] = r.Label
	}
	return ls
}

// What one would say in front of a class. Sources: HUT = Hutchinson, Music Theory for the 21st-Century Classroom; BUT =
// Butterfield, Integrated Musicianship: Theory; OMT = Open Music Theory 1; CP = common practice, no source.
func TestName(t *testing.T) {
	for _, c := range []struct {
		notes, want, source string // the readings that must lead, in this order
	}{
		{"C4 E4 G4 A4", "C6, Am7/C", "HUT 31.2"},
		{"A3 C4 E4 G4", "Am7", "HUT 31.2"},
		{"E3 G3 A3 C4", "Am7/E, C6/E", "CP"},
		{"F2 A3 C4 D4", "F6, Dm7/F", "HUT 31.2"},
		{"D3 F3 A3 B3", "Dm6, Bm7(b5)/D", "HUT 31.1"},
		{"C4 E4 A4", "Am/C, C6(no5)", "HUT 6.3 for the first"},
		{"C4 Eb4 A4", "Adim/C, Cm6(no5)", "CP"},
		{"C4 F4 Bb4", "stacked fourths on C4", "Wikipedia, Quartal and quintal harmony"},
		{"D4 G4 A4", "Dsus4", "HUT 6.7"},
		{"C4 D4 G4", "Csus2", "HUT 6.5"},
		{"G3 C4 D4", "Gsus4", "HUT 6.5"},
		{"C4 G4 D5", "stacked fifths on C4, Csus2", "Wikipedia, Quartal and quintal harmony"},
		{"D3 A3 E4 B4 F#5", "stacked fifths on D3, D6/9", "HUT 32.3"},
		{"E3 A3 D4 G4 B4", "three fourths and a major third on E, Em7(add11)", "chords.tsv sowhat"},
		{"Ab2 C4 Eb4 F#4", "German sixth on Ab, Ab7", "BUT 18a"},
		{"Ab2 C4 Eb4 Gb4", "Ab7", "BUT 18a"},
		{"F#2 C4 Ab4 D5", "French sixth on Ab", "BUT 18a: no figure for #4 in the bass"},
		{"D3 F#3 Ab3 C4", "D7(b5)", "HUT 31.3"},
		{"G3 B3 Db4 F4", "G7(b5)", "HUT 31.3"},
		{"B3 D4 F4 Ab4", "Bdim7", "BUT 3b: root by spelling"},
		{"C3 Eb3 Gb3 A3", "Adim7/C, Cdim7", "BUT 3b: root by spelling"},
		{"G#3 C4 E4", "Caug/G#", "HUT 6.3"},
		{"C4 D#4 G4", "Cm", "CP: a misspelled triad is still the nearest name"},
		{"D3 F#3 C4", "D7", "BUT 3c: the fifth may be missing"},
		{"C4 E4 B4", "Cmaj7", "BUT 3c"},
		{"C4 G4 Bb4", "C7(no3)", "CP"},
		{"C3 G3 C4", "open fifth C-G, perfect fifth C-G", "W3C MusicXML kind power"},
		{"C4 G4", "perfect fifth C4-G4, open fifth C-G", "CP"},
		{"C4", "C4", "CP"},
		{"C4 C5", "perfect octave C4-C5", "CP"},
		{"C3 G3 D4 E4", "Cadd9", "HUT 31.1"},
		{"G2 F3 A3 C4", "F/G, G9sus4", "HUT 8.2"},
		{"Bb2 Ab3 C4 Eb4 G4", "Bb13sus4", "DOB by way of chords.tsv"},
		{"D3 C4 E4 G4", "C/D", "HUT 8.2"},
		{"F3 C4 E4 G4", "C/F", "CP"},
		{"C3 E4 Bb4 D5 A5", "C13", "chords.tsv 13-no11"},
		{"C3 E3 G3 Bb3 Db4 F#4 A4", "C13(b9#11)", "HUT 31.3 by rule"},
		{"C3 E3 Bb3 Eb4 F#4 A4", "C13(#9#11)", "common practice, no source"},
		{"C3 E3 Bb3 Eb4", "C7(#9)", "HUT 31.3: #9 often respelled b10"},
		{"C3 E3 Bb3 Ab4", "C7(#5)", "HUT 31.3: b13 keeps the fifth, #5 replaces it"},
		{"C3 E3 G3 Bb3 Ab4", "C7(b13)", "HUT 31.3"},
		{"B2 F3 E4 A4", "Fmaj7(#11)/B", "BUT 16c, worked example ex079"},
		{"C4 Eb4 E4 G4", "C(addb3)", "CP: split third"},
		{"E3 B3 C#4 F4 G#4", "Elektra chord on E", "Wikipedia, Elektra chord"},
		{"G4 G#4 A4 A#4", "chromatic cluster G-G#-A-A#", "Fitton Music"},
		{"C4 D4 E4", "diatonic cluster C-D-E, Cadd9(no5)", "Fitton Music"},
		{"C4 F4 B4", "stacked fourths on C4 (one augmented)", "HUT 32.3"},
		{"A2 C#3 E3 E4 G#4 B4", "E major over A major, Amaj9", "HUT 32.4"},
		{"A2 C#3 E3 G#3 B3", "Amaj9", "HUT 31.1"},
		{"C4 E4 G#4 B#4", "Caug", "CP: B# doubles C under another name"},
		{"C4 Db4 F#4 G4", "set class 4-9 (0167)", "CP: no name"},
		// A whole triad on the bass with coloured notes goes before an extended chord inverted and incomplete.
		{"A2 E3 B3 C#4 A4 D#5", "Aadd9(#11)", "CP: a triad with its root in the bass; not B11/A"},
		{"C3 E3 G3 A3 D4 F#4", "C6/9(#11)", "CP"},
		{"C3 E3 G3 F#4", "C(add#11)", "CP"},
		{"A2 F#3 C#4 A4 B4", "A6/9(no5), F#m(add11)/A", "CP: root and third below, the sixth where the fifth would be"},
		{"A2 E3 D#5", "A5(add#11)", "CP: the bare fifth with one coloured note"},
		{"C3 G3 Db5", "C5(addb9)", "CP"},
		{"D2 A2 C5", "D7(no3)", "CP"},
		{"A2 E3 G#4", "Amaj7(no3)", "CP"},
		{"C3 G3 F4 B4", "Csus4(addmaj7)", "CP"},
		{"Eb2 Bb5", "perfect fifth Eb2-Bb5, open fifth Eb-Bb", "CP: nobody says perfect 26th"},
		{"A2 D5", "perfect fourth A2-D5", "CP"},
		{"A1 A4", "three octaves A1-A4", "CP"},
		{"E2 F3 A3 D4", "Dm/E", "CP: a triad complete over a foreign, passing bass"},
		{"G2 F3 A3 D4", "Dm/G, G7sus2", "CP: ii over the dominant's root"},
		{"G2 F3 A3 C4 D4", "G9sus4, Dm7/G", "DOB and the symbols of chords.tsv 9sus4"},
		{"B2 A3 C4 E4", "Am/B", "CP"},
		{"F#3 C4 E4 G4", "C/F#", "CP"},
		{"G3 A3 C4 E4", "Am7/G, C6/G", "BUT 3b: a seventh chord in third inversion"},
		{"E2 B2 B3 C#4 D4", "diatonic cluster B-C#-D over E-B", "CP"},
		{"D2 A2 G#4 A4 A#4", "chromatic cluster G#-A-A# over D-A", "CP"},
		{"D2 G#4 A4 A#4", "chromatic cluster G#-A-A# over D", "CP"},
		{"C3 G3 D4 Eb4 E4", "chromatic cluster D-Eb-E over C-G", "CP"},
		{"D4 F4 B4", "Bdim/D, Dm6(no5), rootless G7", "CP: the leading-tone sixth chord stands for the dominant seventh"},
	} {
		rs := Name(notes(t, c.notes))
		want := strings.Split(c.want, ", ")
		if got := labels(rs); len(got) < len(want) || !slices.Equal(got[:len(want)], want) {
			t.Errorf("Name(%s) = %q; want %q first (%s)", c.notes, got, want, c.source)
		}
	}
	if rs := Name(nil); rs != nil {
		t.Errorf("Name(nil) = %v", rs)
	}
}

func TestNameHands(t *testing.T) {
	for _, c := range []struct{ left, right, want string }{
		{"G2 D3 A3", "B3 E4 A4", "stacked fourths on B3 over stacked fifths on G2"},
		{"E2 B2 D3 G#3", "G#4 A4 A#4", "chromatic cluster G#-A-A# over E7"},
		{"Fb3 Ab3 Cb4", "Eb4 G4 Bb4 Db5", "Eb7 over Fb major"}, // HUT 32.4
		{"C3 G3", "E4 Bb4", "C7"},
		{"C3 E3 G3", "E4 G4 B4", "Cmaj7"},
		{"", "C4 E4 G4", "C"},
		{"C4 E4 G4", "", "C"},
		{"E4 G#4 B4", "A2 C#3 E3", "E major over A major"}, // crossed
		// Common practice, no source.
		{"A2 E3 B3", "C#4 A4 D#5", "Aadd9(#11)"},
		{"A2 E3 B3", "C#4 A4 E5", "Aadd9"},
		{"A2 F#3", "C#4 A4 B4", "A6/9(no5)"},
		{"E2 B2", "B3 C#4 D4", "diatonic cluster B-C#-D over E-B"},
		{"D2 F#2 C3", "G#4 A4 A#4", "chromatic cluster G#-A-A# over D7"},
		{"D2 A2", "G#4 A4 A#4", "chromatic cluster G#-A-A# over D-A"},
		{"C2 C#2 D2", "E4 G4 C5", "chromatic cluster C-C#-D under C major/E"},
	} {
		rs := NameHands(notes(t, c.left), notes(t, c.right))
		if rs[0].Label != c.want {
			t.Errorf("NameHands(%s, %s) = %q; want %q first", c.left, c.right, labels(rs), c.want)
		}
	}
	got := NameHands(notes(t, "A2 E3 B3"), notes(t, "B3 E4 A4"))[0].Members
	want := []string{"lower stack, bottom", "lower stack, first fifth", "lower stack, second fifth; upper stack, bottom", "upper stack, first fourth", "upper stack, second fourth"}
	for i, m := range got {
		if m.Role != want[i] {
			t.Errorf("%v is %q in its stack, want %q", m.Pitch, m.Role, want[i])
		}
	}
	if rs := NameHands(nil, nil); rs != nil {
		t.Errorf("NameHands(nil, nil) = %v", rs)
	}
}

// The parts of a reading.
func TestReading(t *testing.T) {
	find := func(ns, label string) Reading {
		t.Helper()
		for _, r := range Name(notes(t, ns)) {
			if r.Label == label {
				return r
			}
		}
		t.Fatalf("%s has no reading %s", ns, label)
		return Reading{}
	}
	roles := func(r Reading) string {
		var s []string
		for _, m := range r.Members {
			s = append(s, m.Pitch.String()+" "+m.Role)
		}
		return strings.Join(s, ", ")
	}
	for _, c := range []struct {
		notes, label, words, roles string
		inversion                  int
		missing, respelled, why    string
	}{
		{"A3 C#4 E4 F#4", "F#m7/A", "F# minor seventh chord in first inversion", "A3 third, C#4 fifth, E4 seventh, F#4 root", 1, "", "",
			"F#, A, C# and E make an F# minor seventh chord with its third A in the bass; A6 comes before it because its root is in the bass."},
		{"C4 E4 A4", "C6(no5)", "C major with the sixth in place of the fifth", "C4 root, E4 third, A4 added sixth", 0, "fifth", "",
			"Root C and third E sound with the sixth A where the fifth G would be; Am/C comes before it because nothing is missing from it."},
		{"D3 F#3 C4", "D7", "D dominant seventh chord", "D3 root, F#3 third, C4 seventh", 0, "fifth", "",
			"D, F# and C make a D dominant seventh chord with its root in the bass, without the fifth A, as is usual."},
		{"Ab2 C4 Eb4 F#4", "Ab7", "Ab dominant seventh chord", "Ab2 root, C4 third, Eb4 fifth, F#4 seventh", 0, "", "F# read as Gb",
			"To the ear it is an Ab dominant seventh chord, but F# stands where Gb would, and wants to rise to G; German sixth on Ab comes before it because it takes the notes as they are spelled."},
		{"D3 C4 E4 G4", "C/D", "C major triad over D", "D3 root, C4 seventh, E4 ninth, G4 suspended fourth", 0, "", "",
			"The bass D carries the major triad of the note a whole step lower: a dominant with its fourth suspended and no fifth."},
		{"F3 C4 E4 G4", "C/F", "C major triad over F", "F3 bass, C4 root, E4 third, G4 fifth", -1, "", "",
			"C, E and G are a complete C major triad, and the bass F does not belong to it."},
		{"A2 F#3 C#4 A4 B4", "A6/9(no5)", "A major with added ninth and the sixth in place of the fifth", "A2 root, F#3 added sixth, C#4 third, A4 root, B4 added ninth", 0, "fifth", "",
			"Root A and third C# sound with the sixth F# where the fifth E would be, and with the ninth B."},
		{"A2 E3 B3 C#4 A4 D#5", "Aadd9(#11)", "A major triad with added ninth and raised eleventh", "A2 root, E3 fifth, B3 added ninth, C#4 third, A4 root, D#5 raised eleventh", 0, "", "",
			"The triad on A is complete with its root in the bass, and the ninth B is added to it; D# is the raised eleventh."},
		{"C#3 A3 B3 E4", "Aadd9/C#", "A major triad with added ninth in first inversion", "C#3 third, A3 root, B3 added ninth, E4 fifth", 1, "", "",
			"A, C#, E and B make an A major triad with added ninth, its third C# in the bass."},
		{"D2 A2 G#4 A4 A#4", "chromatic cluster G#-A-A# over D-A", "a chromatic cluster of three notes over the open fifth D-A",
			"D2 root below the cluster, A2 fifth below the cluster, G#4 cluster, A4 cluster, A#4 cluster", -1, "", "",
			"G#-A-A# lie next to each other and are heard as one cluster above the open fifth D-A."},
		{"Eb2 Bb5", "perfect fifth Eb2-Bb5", "perfect fifth Eb2-Bb5, three octaves wider", "Eb2 bottom, Bb5 perfect fifth", 0, "", "",
			"Two notes make an interval, not yet a chord."},
		{"C3 Eb4 E4 G4", "C(addb3)", "C major triad with split third", "C3 root, Eb4 added minor third, E4 third, G4 fifth", 0, "", "",
			"C, E and G make a C major triad with its root in the bass; Eb beside E splits the third."},
		{"F3 B3 D#4 G#4", "Fm7(b5)", "F half-diminished seventh chord", "F3 root, B3 fifth, D#4 seventh, G#4 third", 0, "", "B read as Cb,D# read as Eb,G# read as Ab",
			"To the ear it is an F half-diminished seventh chord, but B, D# and G# stand where Cb, Eb and Ab would, and go to G#, D and A as Wagner resolves it; Tristan chord on F comes before it because it takes the notes as they are spelled."},
		{"C4 F4 B4", "stacked fourths on C4 (one augmented)", "three notes stacked in fourths from C4 (fourths, one augmented)", "C4 bottom, F4 first fourth, B4 second fourth", 0, "", "",
			"Every note is a fourth above the one below (fourths, one augmented)."},
		{"C4 Db4 F#4 G4", "set class 4-9 (0167)", "set class 4-9, prime form 0167", "C4 bottom, Db4 minor second, F#4 augmented fourth, G4 perfect fifth", -1, "", "",
			"The pitch classes form 4-9, with interval vector 200022; the nearest chord with a name is DbdimMaj7, two notes away: without F# and with Fb."},
		{"C3 E3 G3 Bb3 Db4 F#4", "C7(b9#11)", "C seven flat nine chord with raised eleventh", "C3 root, E3 third, G3 fifth, Bb3 seventh, Db4 lowered ninth, F#4 raised eleventh", 0, "", "",
			"C, E, G, Bb and Db make a C seven flat nine chord with its root in the bass; F# is the raised eleventh."},
	} {
		r := find(c.notes, c.label)
		if r.Words != c.words || roles(r) != c.roles || r.Inversion != c.inversion || strings.Join(r.Missing, ",") != c.missing || strings.Join(r.Respelled, ",") != c.respelled {
			t.Errorf("%s of %s: %q; %s; inversion %d, missing %v, respelled %v", c.label, c.notes, r.Words, roles(r), r.Inversion, r.Missing, r.Respelled)
		}
		if r.Why != c.why {
			t.Errorf("%s of %s: why\n%s\nwant\n%s", c.label, c.notes, r.Why, c.why)
		}
	}
}

// A missing third never gives a plain triad's name.
func TestNoThirdNoTriad(t *testing.T) {
	for _, s := range []string{"C4 G4", "C3 G3 C4 G4", "C3 G3 Bb3", "C3 G3 B3", "C3 G3 F4", "C3 G3 D4"} {
		for _, r := range Name(notes(t, s)) {
			if (r.Type == "maj" || r.Type == "min") && slices.Contains(r.Missing, "third") {
				t.Errorf("%s is called %s", s, r.Label)
			}
		}
	}
}

// Transposed by any interval on the line of fifths a sonority keeps its readings, transposed with it.
func TestNameTransposes(t *testing.T) {
	for _, s := range []string{"C4 E4 G4 A4", "Ab3 C4 Eb4 F#4", "F3 B3 D#4 G#4", "C4 F4 Bb4", "C4 E4 Bb4", "G3 B3 Db4 F4"} {
		ns := notes(t, s)
		want := Name(ns)
		for _, up := range []int{-3, -2, -1, 1, 2, 3} { // fifths
			step := pitch.PerfectFifth
			if up < 0 {
				step = step.Neg()
			}
			moved := slices.Clone(ns)
			for i := range moved {
				for range max(up, -up) {
					moved[i] = moved[i].Add(step)
				}
			}
			got := Name(moved)
			if got[0].Type != want[0].Type || got[0].Kind != want[0].Kind || got[0].Inversion != want[0].Inversion {
				t.Errorf("%s is %s, but %s is %s", s, want[0].Label, spell(moved), got[0].Label)
			}
		}
	}
}

// The tables are built at first use; this is what the first call pays, and the memory they take (some garbage included).
func BenchmarkTables(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		fs := buildForms()
		buildPlans(slices.DeleteFunc(fs, func(f *form) bool { return !f.tertian }))
		buildSets()
	}
}
