package drills

import (
	"fmt"
	"math"
	"testing"

	"plumbline/theory/pitch"
)

// features are what can be measured of a sound without hearing its harmony, each rounded to a whole number.
var features = []struct {
	name string
	of   func(ns []pitch.Pitch) int
}{
	{"count", func(ns []pitch.Pitch) int { return len(ns) }},
	{"lowest", func(ns []pitch.Pitch) int { return ns[0].MIDI() }},
	{"highest", func(ns []pitch.Pitch) int { return ns[len(ns)-1].MIDI() }},
	{"span", func(ns []pitch.Pitch) int { return ns[len(ns)-1].MIDI() - ns[0].MIDI() }},
	{"mean pitch", func(ns []pitch.Pitch) int {
		sum := 0
		for _, p := range ns {
			sum += p.MIDI()
		}
		return int(math.Round(float64(sum) / float64(len(ns))))
	}},
}

// listeners each know one feature and nothing else: they count on n questions how often each value went with each label, and
// then always say the label most frequent with a value. The result is each one's share of right answers on n further
// questions.
func listeners(d *Drill, n int) []float64 {
	seen := make([]map[int]map[string]int, len(features))
	right := make([]int, len(features))
	for i := 1; i <= 2*n; i++ {
		q := d.Question(i)
		ns := q.Notes()
		for k, f := range features {
			if seen[k] == nil {
				seen[k] = map[int]map[string]int{}
			}
			v := f.of(ns)
			if i <= n {
				if seen[k][v] == nil {
					seen[k][v] = map[string]int{}
				}
				seen[k][v][q.Expected]++
				continue
			}
			best, most := "", -1
			for _, l := range q.Choices { // in the order of choices, so that the result doesn't hang on map order
				if c := seen[k][v][l]; c > most {
					best, most = l, c
				}
			}
			if best == q.Expected {
				right[k]++
			}
		}
	}
	out := make([]float64, len(features))
	for k := range out {
		out[k] = float64(right[k]) / float64(n)
	}
	return out
}

// TestNoSideClues: a listener with one simple feature is at chance, within 3.5 points over 4,000 questions, in every level of
// the quality drill. That is 4.4 standard errors of a coin tossed 4,000 times; a listener that has learned chance
// fluctuations is no better than that.
func TestNoSideClues(t *testing.T) {
	if testing.Short() {
		t.Skip("many questions: not with -short")
	}
	const n, margin = 4000, 0.035
	for _, l := range Levels(Quality) {
		for _, inv := range []bool{false, true} {
			d, err := New(Settings{Kind: Quality, Level: l.Number, Seed: 20, Inversions: inv})
			if err != nil {
				t.Fatal(err)
			}
			chance := 1 / float64(d.Settings().Choices)
			for k, got := range listeners(d, n) {
				f := features[k]
				t.Logf("level %d, inversions %v: %-10s %.3f (chance %.3f)", l.Number, inv, f.name, got, chance)
				if got > chance+margin {
					t.Errorf("level %d, inversions %v: a listener with nothing but %s is right in %.3f; want at most chance %.3f + %.3f", l.Number, inv, f.name, got, chance, margin)
				}
			}
		}
	}
}

// TestConstructionClues: count and lowest note say nothing. Whoever measures the span to the semitone has measured how far the
// steps of the stack add up, octaves aside: that is the label itself. Highest note and mean pitch follow from it where the lowest
// has little room. The bounds of these three hold what was measured, so that it doesn't get worse unnoticed; what a listener
// without a sense of interval makes of the whole is in TestClues.
func TestConstructionClues(t *testing.T) {
	if testing.Short() {
		t.Skip("many questions: not with -short")
	}
	const n = 4000
	bound := map[string]float64{"count": 0.035, "lowest": 0.035, "highest": 0.15, "span": 0.65, "mean pitch": 0.15}
	for _, l := range Levels(Construction) {
		d, err := New(Settings{Kind: Construction, Level: l.Number, Seed: 20})
		if err != nil {
			t.Fatal(err)
		}
		chance := 1 / float64(len(l.Labels))
		for k, got := range listeners(d, n) {
			f := features[k]
			t.Logf("level %d: %-10s %.3f (chance %.3f)", l.Number, f.name, got, chance)
			if got > chance+bound[f.name] {
				t.Errorf("level %d: a listener with nothing but %s is right in %.3f; want at most chance %.3f + %.3f", l.Number, f.name, got, chance, bound[f.name])
			}
		}
	}
}

// TestEvenly: every label is asked equally often, and the right answer stands at each place equally often (chi-squared at the
// 0.1 % level: 26.1 for 8 degrees of freedom, from the printed tables, from memory).
func TestEvenly(t *testing.T) {
	d, err := New(Settings{Kind: Quality, Level: 5, Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	const n = 9000
	label, place := map[string]int{}, map[int]int{}
	for i := 1; i <= n; i++ {
		q := d.Question(i)
		label[q.Expected]++
		for j, l := range q.Choices {
			if l == q.Expected {
				place[j]++
			}
		}
	}
	chi := func(counts []int) (x float64) {
		want := float64(n) / 9
		for _, c := range counts {
			x += (float64(c) - want) * (float64(c) - want) / want
		}
		return x
	}
	var ls, ps []int
	for _, l := range d.Labels() {
		ls = append(ls, label[l])
	}
	for j := range 9 {
		ps = append(ps, place[j])
	}
	for name, counts := range map[string][]int{"labels": ls, "places": ps} {
		if x := chi(counts); x > 26.1 || len(counts) != 9 {
			t.Errorf("%s are asked %v times: chi-squared %.1f; want 9 counts and at most 26.1", name, fmt.Sprint(counts), x)
		}
	}
}
