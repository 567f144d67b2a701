package key

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// TestWorkedExamples holds numerals against those that textbooks print (testdata/worked-examples.tsv, which names each source).
func TestWorkedExamples(t *testing.T) {
	data, err := os.ReadFile("../../testdata/worked-examples.tsv")
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]int{}
	for _, line := range strings.Split(string(data), "\n") {
		cells := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || len(cells) < 6 {
			continue
		}
		id, kind, input, in, want := cells[0], cells[1], cells[2], cells[3], cells[5]
		switch {
		case strings.HasPrefix(kind, "rn"), strings.HasPrefix(kind, "secondary-"), kind == "mode-mixture", kind == "neapolitan",
			kind == "augmented-sixth", kind == "common-tone-diminished":
		case kind == "mediant":
			kinds[kind]++
			testMediant(t, id, input, want)
			continue
		default:
			continue
		}
		kinds[kind]++
		k := mustParse(t, in)
		if in[0] >= 'a' && in[0] <= 'g' {
			k.Mode = Minor
		}
		var chords [][]pitch.Pitch
		for _, c := range strings.Split(input, " | ") {
			var notes []pitch.Pitch
			for _, w := range strings.Fields(c) {
				p, err := pitch.Parse(w)
				if err != nil {
					t.Fatalf("%s: %v", id, err)
				}
				notes = append(notes, p)
			}
			chords = append(chords, notes)
		}
		var got []string
		for _, n := range k.Numerals(chords) {
			got = append(got, n.Text)
			if n.Words == "" || n.Why == "" {
				t.Errorf("%s: %s has no words (%q) or no reason (%q)", id, n.Text, n.Words, n.Why)
			}
		}
		want, _, _ = strings.Cut(want, " (")
		if strings.HasPrefix(want, "doubly augmented fourth") {
			want = "Ger+6" // the same row says so
		}
		if g := strings.Join(got, " "); g != want {
			t.Errorf("%s (%s) in %v: %s = %s; want %s", id, kind, k, input, g, want)
		}
	}
	for kind, n := range map[string]int{"rn": 43, "rn-inversion": 6, "secondary-dominant": 6, "augmented-sixth": 15, "neapolitan": 5, "mediant": 6} {
		if kinds[kind] < n {
			t.Errorf("%d examples of the kind %s; want %d", kinds[kind], kind, n)
		}
	}
}

func testMediant(t *testing.T, id, input, want string) {
	var triads [][]pitch.Class
	for _, c := range strings.Split(input, " | ") {
		var cs []pitch.Class
		for _, w := range strings.Fields(c) {
			x, err := pitch.ParseClass(w)
			if err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			cs = append(cs, x)
		}
		triads = append(triads, cs)
	}
	class, common, semis, ok := Mediant(triads[0], triads[1])
	if got := fmt.Sprintf("%s, common tones %d, semitones %d", class, common, semis); !ok || got != want {
		t.Errorf("%s: Mediant(%s) = %s, %v; want %s", id, input, got, ok, want)
	}
}

func TestKindString(t *testing.T) {
	if got := Kind(99).String(); got != "%!Kind(99)" {
		t.Errorf("Kind(99) = %q", got)
	}
}

func TestNumeralOfNothing(t *testing.T) {
	k := mustParse(t, "C major")
	for _, notes := range []string{"", "C4 Db4 D4", "C4 F#4 B4"} {
		var ps []pitch.Pitch
		for _, w := range strings.Fields(notes) {
			p, _ := pitch.Parse(w)
			ps = append(ps, p)
		}
		if n := k.Numerals([][]pitch.Pitch{ps})[0]; n.Text != "" {
			t.Errorf("%q is read as %s", notes, n.Text)
		}
	}
}
