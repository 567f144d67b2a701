package line

import (
	"bufio"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

func classes(t testing.TB, text string) []pitch.Class {
	t.Helper()
	var out []pitch.Class
	for _, f := range strings.Fields(text) {
		c, err := pitch.ParseClass(strings.TrimRight(f, "0123456789"))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, c)
	}
	return out
}

// voicing makes a chord from note names with or without octave; without, the first is the bass.
func voicing(t testing.TB, text string) Chord {
	t.Helper()
	var ps []pitch.Pitch
	low := 0
	for _, f := range strings.Fields(text) {
		if p, err := pitch.Parse(f); err == nil {
			ps = append(ps, p)
			continue
		}
		c, err := pitch.ParseClass(f)
		if err != nil {
			t.Fatal(err)
		}
		p := c.In(3)
		for p.MIDI() <= low {
			p = p.Add(pitch.Octave)
		}
		low = p.MIDI()
		ps = append(ps, p)
	}
	return ChordOf(ps)
}

func voicings(t testing.TB, text string) []Chord {
	var out []Chord
	for _, c := range strings.Split(text, "|") {
		out = append(out, voicing(t, c))
	}
	return out
}

func has(list []Schema, id string, least int) bool {
	return slices.ContainsFunc(list, func(s Schema) bool { return s.ID == id && s.To-s.From >= least })
}

// TestSchemata has the rows of the reference table of sequences (its sources are named there), each by what it gives: roots,
// chords worked out from its symbols or numerals, or bass and soprano.
func TestSchemata(t *testing.T) {
	for _, c := range []struct {
		id, roots, chords, bass, top string
		least                        int
	}{
		{id: "desc5-triads", roots: "C F B E A D G C", least: 8},
		{id: "desc5-sevenths", chords: "C E G B | F A C E | B D F A | E G B D | A C E G | D F A C | G B D F | C E G", least: 8},
		{id: "desc5-65-42", chords: "E3 C4 G4 B4 | E3 F3 A4 C5 | D3 B3 F4 A4 | D3 E3 G4 B4 | C3 A3 E4 G4", least: 5},
		{id: "desc5-7-43", chords: "C3 E4 G4 B4 | C3 F4 A4 E4 | B2 D4 F4 A4 | B2 E4 G4 D4 | A2 C4 E4 G4", least: 5},
		{id: "desc5-7-64", chords: "G3 B3 D4 F4 | G3 C4 E4 | F3 A3 C4 E4 | F3 B3 D4 | E3 G3 B3 D4 | E3 A3 C4 | D3 F3 A3 C4", least: 7},
		{id: "desc5-pop", chords: "A C E | D F A | G B D | C E G", least: 4},
		{id: "desc5-half", chords: "A C E | D F A | G B D | C E G", least: 3},
		{id: "desc3-pachelbel", roots: "C G A E F C", least: 6},
		{id: "desc3-pachelbel-inv", chords: "C E G | B D G | A C E | G B E | F A C | E G C", least: 6},
		{id: "asc2-56", chords: "C3 E4 G4 | C3 E4 A4 | D3 F4 A4 | D3 F4 B4 | E3 G4 B4 | E3 G4 C5", least: 6},
		{id: "asc2-43", roots: "C F D G E A", least: 6},
		{id: "asc5", roots: "C G D A E", least: 5},
		{id: "parallel-63", chords: "C E G | B D G | A C F | G B E | F A D | E G C | D F B | C E G", least: 6},
		{id: "desc2-76", bass: "G G F F E E", top: "F E E D D C", least: 6},
		{id: "prinner", bass: "F E D C", top: "A G F E", least: 4},
		{id: "modulating-prinner", bass: "C B A G", top: "E D C B", least: 4},
		{id: "romanesca", chords: "C4 E4 G4 | B3 D4 G4 | A3 C4 E4 | E3 C4 G4", least: 4},
		{id: "meyer", bass: "C D B C", top: "C B F E", least: 4},
		{id: "do-re-mi", bass: "C B B C", top: "C D D E", least: 4},
		{id: "fonte", chords: "A C# E G | D F A | G B D F | C E G", least: 4},
		{id: "fonte", chords: "C#3 E4 G4 A4 | D3 F4 A4 | B2 D4 F4 G4 | C3 E4 G4", least: 4},
		{id: "monte", chords: "C E G Bb | F A C | D F# A C | G B D", least: 4},
		{id: "monte", chords: "E3 G4 Bb4 C5 | F3 A4 C5 | F#3 A4 C5 D5 | G3 B4 D5", least: 4},
		{id: "chrom-desc5", chords: "E G# B D | A C# E G | D F# A C | G B D F | C E G", least: 5},
		{id: "chrom-asc56", chords: "C E G | C# E G A | D F A | D# F# A B | E G B", least: 5},
		{id: "chrom-desc56", chords: "C Eb G | B D G | Bb C E G | A C F", least: 4},
		{id: "lament", chords: "A3 C4 E4 | G3 B3 D4 | F3 A3 C4 | E3 G#3 B3", least: 4},
		{id: "lament", bass: "A G F E", least: 4},
		{id: "lament-chrom", chords: "C4 Eb4 G4 | B3 D4 G4 | Bb3 C4 E4 G4 | A3 C4 F4 | Ab3 C4 F4 | G3 B3 D4", least: 6},
		{id: "lament-chrom", bass: "C B Bb A Ab G", least: 6},
		{id: "real-desc5", roots: "G C F Bb Eb Ab Db", least: 7},
	} {
		var chords []Chord
		switch {
		case c.roots != "":
			chords = RootChords(classes(t, c.roots))
		case c.chords != "":
			chords = voicings(t, c.chords)
		case c.top != "":
			chords = OuterChords(classes(t, c.bass), classes(t, c.top))
		default:
			chords = OuterChords(classes(t, c.bass), nil)
		}
		got := Schemata(chords)
		if !has(got, c.id, c.least) {
			t.Errorf("Schemata(%s%s%s / %s) = %+v; want %s over %d chords", c.roots, c.chords, c.bass, c.top, got, c.id, c.least)
		}
	}
}

// What is no sequence gets no name.
func TestSchemataNone(t *testing.T) {
	for _, roots := range []string{"C D C D", "C F C F", "C A E B", "C C C C"} {
		if got := Schemata(RootChords(classes(t, roots))); len(got) > 0 {
			t.Errorf("Schemata(%s) = %+v; want none", roots, got)
		}
	}
	// A spoiled chain is told up to the spoiled place and from there on.
	got := Schemata(RootChords(classes(t, "C F B E Ab D G C F")))
	if !has(got, "desc5-triads", 4) || has(got, "desc5-triads", 6) {
		t.Errorf("a spoiled chain: %+v", got)
	}
}

// exampleRows reads the worked examples of some kinds: id to fields.
func exampleRows(t *testing.T, kinds ...string) map[string][]string {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "worked-examples.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out := map[string][]string{}
	sc := bufio.NewScanner(f)
	for sc.Scan() {
		if c := strings.Split(sc.Text(), "\t"); len(c) > 5 && slices.Contains(kinds, c[1]) {
			out[c[0]] = c
		}
	}
	return out
}
