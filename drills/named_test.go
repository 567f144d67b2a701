package drills

import (
	"strings"
	"testing"
)

// Counts are as taught, one e and a, what isn't struck in brackets (common practice, no source), and no two figures share one.
func TestCounted(t *testing.T) {
	want := map[string]string{"two quarters": "one two", "dotted quarter, eighth": "one (two) and", "eighth, dotted quarter": "one and (two)",
		"dotted eighth, sixteenth, quarter": "one (e and) a two", "quarter, triplet": "one two tri plet", "sixteenth, eighth, sixteenth, quarter": "one e (and) a two",
		"eighth, quarter, eighth": "one and (two) and", "eighth, dotted eighth, sixteenth, eighth": "one and (two) e and (a)"}
	seen := map[string]string{}
	for _, f := range figures {
		got := strings.TrimPrefix(f.counted(), "counted ")
		if w, ok := want[f.label]; ok && got != w {
			t.Errorf("%s is counted %q, want %q", f.label, got, w)
		}
		if other, taken := seen[got]; taken {
			t.Errorf("%s and %s are both counted %q", f.label, other, got)
		}
		seen[got] = f.label
	}
}

// What is told about moves and functions reads as a sentence and names what pulls.
func TestNamedSentences(t *testing.T) {
	q := Question{Kind: Tendency, Expected: stays, about: "G4, the fifth degree, stays on G4"}
	for _, c := range []struct {
		g    Graded
		want string
	}{
		{Graded{Given: upSemitone}, "You said up a semitone; it stays: G4, the fifth degree, stays on G4."},
		{Graded{}, "It stays: G4, the fifth degree, stays on G4."},
	} {
		if got := tendencyCraft.explain(q, c.g); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	q.Expected, q.about = upTone, ""
	if got := tendencyCraft.explain(q, Graded{Given: stays}); got != "You said stays; it goes up a whole tone." {
		t.Errorf("%q", got)
	}
	want := map[string]string{"V": "the leading tone pulls back to the tonic", "V7": "the leading tone and the seventh of the dominant pull back to the tonic",
		"V7 with suspended fourth": "the seventh of the dominant pulls back to the tonic"}
	for _, minor := range []bool{false, true} {
		for _, hs := range functionChords["dominant"][minor] {
			for _, h := range hs {
				got := h.why("dominant")
				if w, ok := want[h.name]; ok && got != w {
					t.Errorf("%s: %q, want %q", h.name, got, w)
				}
				if !strings.Contains(got, "the ") {
					t.Errorf("%s: nothing in it pulls: %q", h.name, got)
				}
			}
		}
	}
	if strings.Contains(chordTypes["triad"], "sus") {
		t.Error("a suspended chord is asked among the triads")
	}
}
