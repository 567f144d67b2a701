package drills

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestStaircase: the weighted up-down method settles at its target. Kaernbach 1991 gives the rule (up / down = p/(1-p), 75 %
// wants 3 to 1; reference/psychophysics.md, section 2); whether it holds is found by simulation: 10,000 runs of a listener
// whose share of right answers rises from a half to 1 (a cumulative logistic function of the size in octaves), at three
// steepnesses. The share right over the second half of the runs has to lie within 2 points of 75 %, as has the share at the
// estimated thresholds' mean.
func TestStaircase(t *testing.T) {
	const runs, answers = 10000, 160
	r := rand.New(rand.NewPCG(1, 1))
	for _, slope := range []float64{.4, .7, 1} { // octaves of size
		const middle = 5.2 // log2 of 37 cents, where 75 % are right
		p := func(x float64) float64 { return .5 + .5/(1+math.Exp(-(x-middle)/slope*2)) }
		right, asked, estimate, covered, known := 0, 0, 0.0, 0, 0
		for range runs {
			s := NewStaircase(200)
			for i := range answers {
				ok := r.Float64() < p(math.Log2(s.Size()))
				if i >= answers/2 {
					asked++
					if ok {
						right++
					}
				}
				s.Answer(ok)
			}
			if size, low, high, ok := s.Threshold(); ok {
				known++
				estimate += math.Log2(size)
				if low <= math.Exp2(middle) && math.Exp2(middle) <= high {
					covered++
				}
			}
		}
		share, at := float64(right)/float64(asked), p(estimate/float64(known))
		t.Logf("slope %.1f: %.4f right where it has settled; %.4f at the mean of %d thresholds; bounds hold in %.3f", slope, share, at, known, float64(covered)/float64(known))
		if in := float64(covered) / float64(known); in < .92 {
			t.Errorf("slope %.1f: the bounds hold in %.3f; want 0.95 or nearly so", slope, in)
		}
		if math.Abs(share-.75) > .02 {
			t.Errorf("slope %.1f: %.4f right where it has settled; want 0.75 within 0.02", slope, share)
		}
		if math.Abs(at-.75) > .02 || known != runs {
			t.Errorf("slope %.1f: %.4f right at the mean of %d thresholds; want 0.75 within 0.02, of %d", slope, at, known, runs)
		}
	}
}

// TestSearch: one who hears a move of 30 cents on top, of 60 inside and of 120 in the bass is found out as that.
func TestSearch(t *testing.T) {
	hears := map[string]float64{"top": 30, "inner": 60, "bass": 120}
	s, err := NewSearch(Settings{Kind: Same, Voices: 4, Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(2, 2))
	for n := 1; n <= 900; n++ {
		q := s.Question(n)
		at := map[int]string{0: "top", 1: "inner", 2: "bass"}[(n-1)%3]
		size := math.Exp2(s.stairs[(n-1)%3].x)
		if q.Expected == different {
			for i, m := range q.Music {
				if m.Cents != 0 {
					if math.Abs(math.Abs(m.Cents)-size) > 1e-9 || at == "top" && i != len(q.Music)-1 || at == "bass" && i != 4 || at == "inner" && (i == 4 || i == 7) {
						t.Fatalf("question %d moves note %d by %g; want the %s one by %g", n, i, m.Cents, at, size)
					}
				}
			}
		}
		right := r.Float64() < .5+.5/(1+math.Exp(-3*(math.Log2(size)-math.Log2(hears[at]))))
		s.Answer(n, right)
	}
	for _, f := range s.Found() {
		want := hears[f.Position]
		if !f.OK || f.Answers != 300 || f.Cents < want*.75 || f.Cents > want/.75 || f.Low > want || f.High < want*.9 {
			t.Errorf("found %+v; want about %g cents", f, want)
		}
	}
}
