package harmony

import (
	"os"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
)

// A foreign note of a worked example: what the row's context says of it beside the notes of its voice.
type contextOf struct {
	accented, change, next, through bool
}

// The non-chord tones of testdata/worked-examples.tsv (sources there), by row: for each marked note, in order, the name wanted and what
// the row's context column and chords say of it.
var workedNCT = map[string][]struct {
	want string
	in   contextOf
}{
	"ex081": {{"chromatic passing tone", contextOf{}}},
	"ex190": {{"passing tone", contextOf{}}, {"passing tone", contextOf{}}},
	"ex191": {{"upper neighbour tone", contextOf{}}},
	"ex194": {{"suspension", contextOf{accented: true, change: true}}},
	"ex196": {{"retardation", contextOf{accented: true, change: true}}},
	"ex197": {{"double neighbour", contextOf{}}, {"double neighbour", contextOf{}}},
	"ex198": {{"double neighbour", contextOf{}}, {"double neighbour", contextOf{}}},
	"ex199": {{"appoggiatura", contextOf{}}},
	"ex205": {{"anticipation", contextOf{next: true}}},
	"ex206": {{"anticipation", contextOf{next: true}}},
	"ex207": {{"anticipation", contextOf{next: true}}},
	"ex208": {{"pedal point", contextOf{accented: true, through: true}}},
	"ex210": {{"incomplete neighbour", contextOf{}}},
	"ex211": {{"incomplete neighbour group", contextOf{}}, {"incomplete neighbour group", contextOf{}}},
	"ex215": {{"double neighbour", contextOf{}}, {"double neighbour", contextOf{}}},
	"ex216": {{"incomplete neighbour", contextOf{}}},
	"ex217": {{"appoggiatura", contextOf{accented: true}}, {"appoggiatura", contextOf{accented: true}}},
	"ex219": {{"anticipation", contextOf{next: true}}},
	"ex220": {{"suspension", contextOf{accented: true, change: true}}},
	"ex221": {{"retardation", contextOf{accented: true, change: true}}, {"suspension", contextOf{accented: true, change: true}}},
	"ex222": {{"escape tone", contextOf{}}},
}

// Rows whose answer is that every note is a member: the chord that each note of the voice sounds over.
var workedMembers = map[string][]Chord{
	"ex202": {{mustClass("C"), DominantSeventh, mustClass("C")}, {mustClass("C"), DominantSeventh, mustClass("C")}, {mustClass("F"), Major, mustClass("F")}},
	"ex204": {{mustClass("C"), DominantSeventh, mustClass("C")}, {mustClass("C"), DominantSeventh, mustClass("C")}, {mustClass("F"), Major, mustClass("F")}},
}

// Rows that can't be checked, with the reason.
var workedNot = map[string]string{
	"ex223": "the row names a bass note and bars of a piece, and no notes",
}

func mustClass(s string) pitch.Class {
	c, err := pitch.ParseClass(s)
	if err != nil {
		panic(err)
	}
	return c
}

// TestWorkedNonChordTones holds [Classify] against the non-chord tones that the handbooks print.
func TestWorkedNonChordTones(t *testing.T) {
	data, err := os.ReadFile("../../testdata/worked-examples.tsv")
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for _, line := range strings.Split(string(data), "\n") {
		cells := strings.Split(line, "\t")
		if strings.HasPrefix(line, "#") || len(cells) < 6 || cells[1] != "nct" {
			continue
		}
		rows++
		id, k := cells[0], key.Key{}
		if k, err = key.Parse(cells[3]); err != nil {
			t.Fatal(err)
		}
		type marked struct {
			p    pitch.Pitch
			star bool
		}
		var voices [][]marked
		for _, part := range strings.FieldsFunc(cells[2], func(r rune) bool { return r == '|' || r == '/' }) {
			name, body, ok := strings.Cut(strings.TrimSpace(part), ": ")
			if !ok || len(name) != 1 {
				continue
			}
			var v []marked
			for _, w := range strings.Fields(body) {
				w, _, _ = strings.Cut(w, ":")
				p, err := pitch.Parse(strings.TrimSuffix(w, "*"))
				if err != nil {
					t.Fatalf("%s: %v", id, err)
				}
				v = append(v, marked{p, strings.HasSuffix(w, "*")})
			}
			voices = append(voices, v)
		}
		if chords, ok := workedMembers[id]; ok {
			for i, n := range voices[0] {
				if chords[i].Role(n.p.Class()) == "" {
					t.Errorf("%s: %v is foreign to %v; want a member (%s)", id, n.p, chords[i], cells[5])
				}
			}
			continue
		}
		want, ok := workedNCT[id]
		if reason := workedNot[id]; reason != "" {
			if len(voices) > 0 {
				t.Errorf("%s is listed as %q, but has notes", id, reason)
			}
			continue
		}
		if !ok {
			t.Errorf("%s is in none of the tables of this test", id)
			continue
		}
		n := 0
		for _, v := range voices {
			for i, x := range v {
				if !x.star {
					continue
				}
				at := func(j int) *pitch.Pitch {
					if j < 0 || j >= len(v) {
						return nil
					}
					return &v[j].p
				}
				in := want[n].in
				f := Figure{Before2: at(i - 2), Before: at(i - 1), Note: x.p, After: at(i + 1), After2: at(i + 2), Accented: in.accented, Change: in.change,
					Next: in.next, Through: in.through, Key: k}
				got := Classify(f)
				if got.String() != want[n].want {
					t.Errorf("%s: %v in %s is called %q (%s, %s); want %q (%s)", id, x.p, cells[2], got, got.Approach, got.Departure, want[n].want, cells[5])
				}
				if got.Why == "" {
					t.Errorf("%s: no reason is given", id)
				}
				n++
			}
		}
		if n != len(want) {
			t.Errorf("%s: %d marked notes; want %d", id, n, len(want))
		}
	}
	if want := 24; rows != want {
		t.Errorf("%d rows of non-chord tones; want %d", rows, want)
	}
}
