package ear

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// published is the table of reference/psychophysics.md, part 8, worked out there by dynamic programming over all rows of answers.
var published = []struct{ p, heard, not, undecided, mean float64 }{
	{.50, .0396, .9467, .0137, 9.27},
	{.60, .1616, .7653, .0731, 12.89},
	{.70, .4651, .4033, .1317, 15.16},
	{.75, .6650, .2247, .1103, 14.67},
	{.80, .8403, .0988, .0609, 13.05},
	{.85, .9490, .0324, .0186, 10.85},
	{.90, .9909, .0070, .0021, 8.75},
	{.95, .9993, .0006, .0000, 7.13},
}

func TestExactAgreesWithTheTable(t *testing.T) {
	for _, row := range published {
		got := Wald.Exact(row.p)
		// All printed digits: four after the point, two of the mean.
		for _, c := range []struct {
			what           string
			got, want, tol float64
		}{{"heard", got.Heard, row.heard, 5.1e-5}, {"not heard", got.NotHeard, row.not, 5.1e-5}, {"undecided", got.Undecided, row.undecided, 5.1e-5},
			{"mean", got.Mean, row.mean, 5.1e-3}, {"sum", got.Heard + got.NotHeard + got.Undecided, 1, 1e-12}} {
			if !(math.Abs(c.got-c.want) <= c.tol) {
				t.Errorf("p = %.2f: %s %.5f; want %.4f", row.p, c.what, c.got, c.want)
			}
		}
	}
	// Wald 1945: never more than alpha/(1 - beta) and beta/(1 - alpha), and here far below since a test that is cut off errs less.
	if g, h := Wald.Exact(Wald.Guess), Wald.Exact(Wald.Hear); g.Heard > .05/.95 || h.NotHeard > .05/.95 {
		t.Errorf("errors %.4f and %.4f are above Wald's bounds", g.Heard, h.NotHeard)
	}
}

// The same table read from the reference itself, where it is at hand.
func TestExactAgreesWithTheReference(t *testing.T) {
	shared := os.Getenv("PLUMBLINE_SHARED")
	if shared == "" {
		shared = filepath.Join("..", "..", "..", "shared")
	}
	f, err := os.Open(filepath.Join(shared, "reference", "psychophysics.md"))
	if err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatal(err)
		}
		t.Skipf("the reference is not at hand: %v", err)
	}
	defer f.Close()
	rows, part := 0, false
	for sc := bufio.NewScanner(f); sc.Scan(); {
		part = part && !strings.HasPrefix(sc.Text(), "## ") || strings.HasPrefix(sc.Text(), "## 8.")
		var v [5]float64
		cells := strings.Split(strings.Trim(sc.Text(), "| "), "|")
		ok := part && len(cells) == 5
		for i := 0; ok && i < 5; i++ {
			v[i], err = strconv.ParseFloat(strings.TrimSpace(cells[i]), 64)
			ok = err == nil
		}
		if !ok {
			continue
		}
		rows++
		if c := Wald.Exact(v[0]); math.Abs(c.Heard-v[1]) > 5.1e-5 || math.Abs(c.NotHeard-v[2]) > 5.1e-5 || math.Abs(c.Undecided-v[3]) > 5.1e-5 || math.Abs(c.Mean-v[4]) > 5.1e-3 {
			t.Errorf("%s: got %+v", sc.Text(), c)
		}
	}
	if rows != len(published) {
		t.Errorf("%d rows found in part 8; want %d", rows, len(published))
	}
}

// "Six right answers in a row are the shortest way", same part.
func TestShortestWays(t *testing.T) {
	for _, c := range []struct {
		right, wrong int
		want         Verdict
	}{{5, 0, Open}, {6, 0, Heard}, {0, 2, Open}, {0, 3, NotHeard}, {21, 9, Undecided}} {
		if got := Wald.Decide(c.right, c.wrong); got != c.want {
			t.Errorf("Decide(%d, %d) = %v; want %v", c.right, c.wrong, got, c.want)
		}
	}
	// Over all tries the first one weighs half: 1/2 LR + 1/2 >= 20 needs LR >= 39, and .85/.5 to the seventh is 41.03.
	var s State
	for i := range 7 {
		if s.Verdict() != Open {
			t.Errorf("decided after %d answers: %v", i, s.Verdict())
		}
		s = s.Answer(true)
	}
	if s.Verdict() != Heard || s.HeardAt != 1 || s.Answers() != 7 {
		t.Errorf("after seven right answers %+v; want heard", s)
	}
}

// The first try has exact figures too; part 8 simulated 98.9 % and 10.7 answers for a learner at 90 %.
func TestFirstTryExactly(t *testing.T) {
	c := State{}.Exact(.9)
	if math.Abs(c.Heard-.989) > .0015 || math.Abs(c.Mean-10.7) > .1 { // 20,000 lives simulated
		t.Errorf("a learner at 90 %%: %+v; part 8 has heard .989, 10.7 answers", c)
	}
	if g := (State{}).Exact(.5); g.Heard > .05/2 { // 1/2 LR + 1/2 >= 20 is LR >= 39: at most 1 in 39
		t.Errorf("a guesser is heard at the first try with chance %.4f; want at most 1/39", g.Heard)
	}
}

// Once heard, a claim stays heard; a try after that is the plain test.
func TestOnceHeard(t *testing.T) {
	var s State
	for range 7 {
		s = s.Answer(true)
	}
	for i, want := range []Verdict{Open, Open, NotHeard} {
		if s = s.Answer(false); s.Last != want || s.Verdict() != Heard || s.HeardAt != 1 || s.Try != 2 {
			t.Errorf("wrong answer %d after it was heard: %+v; want %v of this try, and heard at the first", i+1, s, want)
		}
	}
}

// The sum kept step by step is the sum of the definition.
func TestEvidenceByDefinition(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 8))
	for range 300 {
		var s State
		var tries [][]bool
		for range 1 + r.IntN(60) {
			if s.Try == 0 || s.Last != Open || r.IntN(12) == 0 { // a try may be broken off
				s = s.Begin()
				tries = append(tries, nil)
			}
			right := r.IntN(3) > 0
			tries[len(tries)-1] = append(tries[len(tries)-1], right)
			s = s.Answer(right)
			want := 0.0
			for k := 1; k <= len(tries)+2000; k++ {
				lr := 1.0
				for i := k; i <= len(tries); i++ {
					for _, ok := range tries[i-1] {
						if ok {
							lr *= .85 / .5
						} else {
							lr *= .15 / .5
						}
					}
				}
				want += lr / (float64(k) * float64(k+1))
			}
			if got := s.Evidence(); math.Abs(got-want) > 1e-3+1e-9*want { // the definition was summed over 2000 tries to come only
				t.Fatalf("evidence %v; want %v after %v", got, want, tries)
			}
		}
	}
}

// A state that was stored and taken up again goes on as if nothing had happened; so does one made anew from counts.
func TestStateIsResumed(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 8))
	for range 200 {
		var s, stored State
		var counts []Count
		for range 80 {
			right := r.IntN(10) < 7
			if s.Try == 0 || s.Last != Open {
				counts = append(counts, Count{})
			}
			s = s.Answer(right)
			c := &counts[len(counts)-1]
			if right {
				c.Right++
			} else {
				c.Wrong++
			}
			c.Verdict = s.Last
			text, err := json.Marshal(stored)
			if err != nil {
				t.Fatal(err)
			}
			var back State
			if err := json.Unmarshal(text, &back); err != nil {
				t.Fatal(err)
			}
			stored = back.Answer(right)
			again := Replay(counts)
			if stored != s || again != s {
				t.Fatalf("stored %+v, replayed %+v; want %+v", stored, again, s)
			}
		}
	}
}

func TestVerdictWords(t *testing.T) {
	for v, want := range map[Verdict]string{Open: "", Heard: "heard", NotHeard: "not heard", Undecided: "undecided", 9: "%!Verdict(9)", -1: "%!Verdict(-1)"} {
		if got := v.String(); got != want {
			t.Errorf("Verdict(%d).String() = %q; want %q", int(v), got, want)
		}
		if back, ok := ParseVerdict(want); ok != (v >= Open && v <= Undecided) || ok && back != v {
			t.Errorf("ParseVerdict(%q) = %v, %v", want, back, ok)
		}
	}
}

// life runs tries of a learner until the claim is heard or there are no more, and returns the try at which it was heard, 0 if
// never, and the number of answers. hears says how often he is right in a try, from 1.
func life(r *rand.Rand, tries int, hears func(try int) float64) (heardAt, answers int) {
	var s State
	for try := 1; try <= tries; try++ {
		p := hears(try)
		s = s.Begin()
		for s.Last == Open {
			s = s.Answer(r.Float64() < p)
		}
		if s.EverHeard {
			break
		}
	}
	return s.HeardAt, s.Answers()
}

// What the rule over all tries must do, simulated with a fixed seed.
func TestLives(t *testing.T) {
	const lives = 100_000
	run := func(seed uint64, n, tries int, hears func(int) float64, before int) (heard, mean float64) {
		r := rand.New(rand.NewPCG(seed, 8))
		count, answers := 0, 0
		for range n {
			at, a := life(r, tries, hears)
			if at > before {
				count++
			}
			answers += a
		}
		return float64(count) / float64(n), float64(answers) / float64(n)
	}
	guesser, mean := run(1, lives, 20, func(int) float64 { return .5 }, 0)
	t.Logf("guessers called heard in 20 tries: %.3f %%, %.1f answers a life", 100*guesser, mean)
	if guesser > .05 {
		t.Errorf("%.2f %% of guessers are called heard in 20 tries; want at most 5", 100*guesser)
	}
	if guesser < .02 { // part 8 has 3.8 %: a rule that never says "heard" would pass the line above
		t.Errorf("%.2f %% of guessers; part 8 simulates 3.8", 100*guesser)
	}
	hearer, mean := run(2, lives, 1, func(int) float64 { return .9 }, 0)
	t.Logf("learners at 90 %% heard at the first try: %.2f %%, %.2f answers", 100*hearer, mean)
	if hearer < .98 || math.Abs(hearer-(State{}).Exact(.9).Heard) > .002 {
		t.Errorf("%.2f %% of learners at 90 %% are heard at the first try; want at least 98, exactly %.2f", 100*hearer, 100*(State{}).Exact(.9).Heard)
	}
	// Three tries of guessing, then 90 %. A guess that came through in the first three is no learning: those lives are left out.
	r := rand.New(rand.NewPCG(3, 8))
	late, lives3, after := 0, 0, 0
	for range lives {
		var s State
		for try := 1; try <= 6 && !s.EverHeard; try++ {
			p, start := .5, s.Answers()
			if try > 3 {
				p = .9
			}
			s = s.Begin()
			for s.Last == Open {
				s = s.Answer(r.Float64() < p)
			}
			if try > 3 {
				after += s.Answers() - start
			}
		}
		if s.EverHeard && s.HeardAt <= 3 {
			continue
		}
		lives3++
		if s.EverHeard {
			late++
		}
	}
	share := float64(late) / float64(lives3)
	t.Logf("three tries of guessing, then 90 %%: heard within the next three %.2f %%, %.2f answers from then on", 100*share, float64(after)/float64(lives3))
	if share < .99 {
		t.Errorf("%.2f %% of late learners are heard within three tries; want at least 99", 100*share)
	}
}

// BenchmarkLives gives the figures of the rule over all tries.
func BenchmarkLives(b *testing.B) {
	for _, c := range []struct {
		name  string
		tries int
		hears func(int) float64
	}{
		{"guesser", 20, func(int) float64 { return .5 }},
		{"hears 85 %", 20, func(int) float64 { return .85 }},
		{"hears 90 %", 20, func(int) float64 { return .9 }},
		{"three tries late", 6, func(try int) float64 {
			if try > 3 {
				return .9
			}
			return .5
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			r := rand.New(rand.NewPCG(4, 8))
			heard, first, answers, n := 0, 0, 0, 0
			b.ReportAllocs()
			for b.Loop() {
				at, a := life(r, c.tries, c.hears)
				n++
				answers += a
				if at > 0 {
					heard++
				}
				if at == 1 {
					first++
				}
			}
			b.ReportMetric(100*float64(heard)/float64(n), "%heard")
			b.ReportMetric(100*float64(first)/float64(n), "%first")
			b.ReportMetric(float64(answers)/float64(n), "answers/life")
		})
	}
}

func ExampleTest_Exact() {
	c := Wald.Exact(.85)
	fmt.Printf("heard %.4f, not heard %.4f, undecided %.4f, %.2f answers\n", c.Heard, c.NotHeard, c.Undecided, c.Mean)
	// Output: heard 0.9490, not heard 0.0324, undecided 0.0186, 10.85 answers
}
