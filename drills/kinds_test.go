package drills

import (
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// onset is what begins at one moment, keys low to high.
type onset struct {
	at   score.Time
	keys []int
	ns   []pitch.Pitch
}

func onsets(q Question) (out []onset) {
	ns := slices.Clone(q.Music)
	slices.SortStableFunc(ns, func(a, b Note) int {
		if a.At != b.At {
			return a.At.Compare(b.At)
		}
		return a.Pitch.MIDI() - b.Pitch.MIDI()
	})
	for _, n := range ns {
		if n.Soft {
			continue
		}
		if len(out) == 0 || out[len(out)-1].at != n.At {
			out = append(out, onset{at: n.At})
		}
		o := &out[len(out)-1]
		o.keys, o.ns = append(o.keys, n.Pitch.MIDI()), append(o.ns, n.Pitch)
	}
	return out
}

func outer(o onset) (bass, top int) { return o.keys[0], o.keys[len(o.keys)-1] }

// mod12 is n octaves aside, 0 to 11.
func mod12(n int) int { return (n%12 + 12) % 12 }

// degreeWords are parts of a chord by the number of letters above the root.
var degreeWords = map[int]string{0: "root", 2: "third", 4: "fifth", 6: "seventh", 1: "ninth"}

func letters(p pitch.Pitch, root pitch.Class) int {
	return ((int(p.Letter)-int(root.Letter))%7 + 7) % 7
}

// simpleWords are the simple intervals by semitones (common practice, no source).
var simpleWords = [...]string{"octave", "minor second", "major second", "minor third", "major third", "perfect fourth", "tritone", "perfect fifth", "minor sixth", "major sixth", "minor seventh", "major seventh"}

// labelOf works the label out again from the notes of a question: "" if they show none, or more than one thing.
var labelOf = map[Kind]func(q Question) string{
	// The part in the bass, counted in letters above the root (root position, first, second and third inversion; common practice,
	// no source).
	Inversion: func(q Question) string {
		return map[int]string{0: "root position", 2: "first inversion", 4: "second inversion", 6: "third inversion"}[letters(q.Notes()[0], q.Root)]
	},
	Top: func(q Question) string {
		ns := q.Notes()
		return degreeWords[letters(ns[len(ns)-1], q.Root)]
	},
	Outer: func(q Question) string {
		ns := q.Notes()
		return simpleWords[mod12(ns[len(ns)-1].MIDI()-ns[0].MIDI())]
	},
	// Two chords on one root: pitch classes that went, and that came.
	Changed: func(q Question) string {
		os := onsets(q)
		if len(os) != 2 {
			return ""
		}
		root := os[0].keys[0]
		has := func(o onset, pc int) bool {
			return slices.ContainsFunc(o.keys, func(k int) bool { return mod12(k-root) == pc })
		}
		var gone, come []int
		for pc := range 12 {
			switch {
			case has(os[0], pc) && !has(os[1], pc):
				gone = append(gone, pc)
			case has(os[1], pc) && !has(os[0], pc):
				come = append(come, pc)
			}
		}
		part := func(pc int) string {
			return [...]string{"", "", "ninth", "third", "third", "", "fifth", "fifth", "fifth", "sixth", "seventh", "seventh"}[pc]
		}
		switch {
		case len(gone) == 1 && len(come) == 0:
			return part(gone[0]) + " missing"
		case len(gone) == 0 && len(come) == 1:
			return part(come[0]) + " added"
		case len(gone) == 1 && len(come) == 1 && come[0] == gone[0]+1:
			return part(gone[0]) + " raised"
		case len(gone) == 1 && len(come) == 1 && come[0] == gone[0]-1:
			return part(gone[0]) + " lowered"
		}
		return ""
	},
	// Against the tonic, which ends the cadence: with the leading tone, or the fourth over the fifth degree in the bass, dominant; with
	// the fourth or sixth degree and no leading tone predominant, if the first degree is not in the bass or the third is missing; else tonic
	// (common practice; the three functions after Riemann, from memory).
	Function: func(q Question) string {
		os := onsets(q)
		tonic := os[3].keys[0]
		last := os[4]
		has := func(pc int) bool {
			return slices.ContainsFunc(last.keys, func(k int) bool { return mod12(k-tonic) == pc })
		}
		bass := mod12(last.keys[0] - tonic)
		third := has(3) || has(4)
		switch {
		case (bass == 7 || bass == 11 || bass == 2) && has(11), bass == 7 && has(5):
			return "dominant"
		case (bass == 5 || bass == 2) && !has(11), bass == 5 && !has(7):
			return "predominant"
		case (bass == 0 || bass == 3 || bass == 4) && third:
			return "tonic"
		}
		return ""
	},
	// The resolution, where it sounds: the last top note against the note alone before it.
	Tendency: func(q Question) string {
		os := onsets(q)
		if len(os) != 7 {
			return ""
		}
		_, top := outer(os[4])
		_, to := outer(os[6])
		if len(os[5].keys) != 1 || os[5].keys[0] != top {
			return ""
		}
		return map[int]string{0: "stays", 1: "up a semitone", -1: "down a semitone", -2: "down a whole tone", 2: "up a whole tone"}[to-top]
	},
	// Moves of the bass in letters, octaves aside, up; semitones throughout for the one outside a key.
	Sequence: func(q Question) string {
		moves, chromatic := bassMoves(q)
		if chromatic {
			return "down by semitone"
		}
		for label, p := range map[string][2]int{"circle of fifths": {3, 3}, "down by step": {6, 6}, "up by step": {1, 1}, "falling thirds": {5, 5}, "down a fourth, up a step": {4, 1}, "up a fourth, down a third": {3, 5}} {
			ok := len(moves) == 5
			for i, m := range moves {
				ok = ok && m == p[i%2]
			}
			if ok {
				return label
			}
		}
		return ""
	},
	// A pattern of one move or two goes on as it did two chords before.
	Next: func(q Question) string {
		moves, _ := bassMoves(q)
		if len(moves) != 4 || moves[0] != moves[2] || moves[1] != moves[3] {
			return ""
		}
		return map[int]string{1: "up a step", 6: "down a step", 2: "up a third", 5: "down a third", 3: "up a fourth or down a fifth", 4: "down a fourth or up a fifth"}[moves[0]]
	},
	// The least period of the outer intervals, octaves aside.
	Cycle: func(q Question) string {
		var ivs []int
		for _, o := range onsets(q) {
			bass, top := outer(o)
			ivs = append(ivs, mod12(top-bass))
		}
		for p, label := range []string{"", "the same throughout", "every 2 chords", "every 3 chords", "every 4 chords"} {
			if p > 0 && len(ivs) == 8 && slices.Equal(ivs[p:], ivs[:len(ivs)-p]) {
				return label
			}
		}
		return ""
	},
	// The one voice of four that moves by a semitone each time.
	Semitone: func(q Question) string {
		os := onsets(q)
		var found []string
		for v := range 4 {
			way := 0
			for i := 1; i < len(os); i++ {
				if len(os[i].keys) != 4 || len(os[i-1].keys) != 4 {
					return ""
				}
				d := os[i].keys[v] - os[i-1].keys[v]
				if d != 1 && d != -1 || i > 1 && d != way {
					way = 0
					break
				}
				way = d
			}
			if way != 0 {
				found = append(found, []string{"bass", "inner voice", "inner voice", "top"}[v]+map[int]string{1: ", up", -1: ", down"}[way])
			}
		}
		if len(found) != 1 {
			return ""
		}
		return found[0]
	},
	// Two lines in one: the notes by turns make two lines that keep apart and move by smaller steps each than the whole does; the
	// bounds are those of the ear's grouping by nearness (Bregman, Auditory Scene Analysis, 1990, from memory; numbers ours).
	Lines: func(q Question) string {
		keys := []int{}
		for _, o := range onsets(q) {
			keys = append(keys, o.keys[0])
		}
		far := func(step int) (most int) {
			for i := step; i < len(keys); i++ {
				most = max(most, keys[i]-keys[i-step], keys[i-step]-keys[i])
			}
			return most
		}
		if far(2) <= 2 && far(1) > 2 {
			return "two lines"
		}
		return "one line"
	},
	// Lengths from onset to onset, in twelfths of a beat, after the pulse of four.
	Rhythm: func(q Question) string {
		var b strings.Builder
		os := onsets(q)
		for i := 1; i < len(os); i++ {
			b.WriteString(map[score.Time]string{score.Quarters(1): "quarter", score.T(3, 2): "dotted quarter", score.T(1, 2): "eighth", score.T(3, 4): "dotted eighth", score.T(1, 4): "sixteenth", score.T(1, 3): "third"}[os[i].at.Sub(os[i-1].at)] + " ")
		}
		return strings.TrimSpace(b.String())
	},
}

// bassMoves are the moves of the bass in letters, octaves aside, up, and whether each is a semitone down.
func bassMoves(q Question) (moves []int, chromatic bool) {
	os := onsets(q)
	chromatic = true
	for i := 1; i < len(os); i++ {
		a, b := os[i-1].ns[0], os[i].ns[0]
		moves = append(moves, ((int(b.Letter)-int(a.Letter))%7+7)%7)
		chromatic = chromatic && b.MIDI()-a.MIDI() == -1
	}
	return moves, chromatic
}

// spelledRhythm writes a rhythm's label out: "two eighths, quarter" is "eighth eighth quarter".
func spelledRhythm(label string) string {
	var out []string
	for part := range strings.SplitSeq(label, ", ") {
		w := strings.Fields(part)
		n := map[string]int{"two": 2, "four": 4}[w[0]]
		if n > 0 {
			part = strings.TrimSuffix(strings.Join(w[1:], " "), "s")
		} else if n = 1; part == "triplet" {
			n, part = 3, "third"
		}
		for range n {
			out = append(out, part)
		}
	}
	return strings.Join(out, " ")
}

// TestKinds: every label is worked out again from the notes alone, in every level of every kind that has a rule for it, and each
// label is asked.
func TestKinds(t *testing.T) {
	for k, label := range labelOf {
		for _, l := range Levels(k) {
			if k == Tendency && l.Number%2 == 0 {
				continue // what is withheld isn't there to be worked out
			}
			d, err := New(Settings{Kind: k, Level: l.Number, Seed: 4})
			if err != nil {
				t.Fatal(err)
			}
			asked := map[string]bool{}
			wrong := 0
			for n := 1; n <= 150; n++ {
				q := d.Question(n)
				want := q.Expected
				if k == Rhythm {
					want = spelledRhythm(want)
				}
				if got := label(q); got != want {
					if wrong++; wrong <= 3 {
						t.Errorf("%s, level %d, question %d: %s %s sounds like %q; asked as %q (%s)", k, l.Number, n, Hands(q.Left, q.Right), Shown(q.Music), got, want, q.about)
					}
				}
				asked[q.Expected] = true
			}
			if len(asked) != len(d.Labels()) {
				t.Errorf("%s, level %d asks %d labels of %d", k, l.Number, len(asked), len(d.Labels()))
			}
		}
	}
}

// TestTables: the tables that are read when a question is made can be read, all of them.
func TestTables(t *testing.T) {
	for _, c := range cliches {
		for _, s := range append(c.line[:], strings.Fields(c.stay)...) {
			if _, err := pitch.ParseInterval(s); err != nil {
				t.Errorf("cliche %v: %v", c, err)
			}
		}
		if len(strings.Fields(c.stay)) != 3 {
			t.Errorf("cliche %v: %q stays; want three notes", c, c.stay)
		}
	}
	for _, ids := range append(append(inversionTypes[:], topTypes[:]...), "maj min dom7 maj7 min7 hdim7 9 maj9 m9 7b9 aug dim dim7 minmaj7") {
		if got, want := len(types(ids)), len(strings.Fields(ids)); got != want {
			t.Errorf("types(%q) has %d; want %d", ids, got, want)
		}
	}
}
