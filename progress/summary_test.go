package progress

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestWilson(t *testing.T) {
	for _, tt := range []struct {
		right, asked int
		low, high    float64
		places       int
	}{
		// R. G. Newcombe, Two-sided confidence intervals for the single proportion, Stat. Med. 17 (1998) 857-872, table I,
		// method 3 (score, no continuity correction); from memory, and recomputed by bisection of |p - p̂| = z √(p(1-p)/n).
		{81, 263, 0.2553, 0.3662, 4},
		{15, 148, 0.0624, 0.1605, 4},
		{0, 20, 0, 0.1611, 4},
		{1, 29, 0.0061, 0.1718, 4},
		// R's prop.test(correct = FALSE): 0 and 32 of 32 from the test snapshots of the R package cards
		// (tests/testthat/_snaps/proportion_ci.md), 6 of 32 from a printed R session (RPubs 1367507).
		{0, 32, 0, 0.1071792, 7},
		{32, 32, 0.8928208, 1, 7},
		{6, 32, 0.08889545, 0.35309155, 8},
		// By definition: nothing asked, nothing known.
		{0, 0, 0, 1, 15},
	} {
		low, high := Wilson(tt.right, tt.asked)
		tol := 0.5001 * math.Pow10(-tt.places)
		if !(math.Abs(low-tt.low) <= tol && math.Abs(high-tt.high) <= tol) {
			t.Errorf("Wilson(%d, %d) = %v, %v; want %v, %v to %d places", tt.right, tt.asked, low, high, tt.low, tt.high, tt.places)
		}
	}
	for _, bad := range [][2]int{{-1, 5}, {6, 5}, {0, -1}} {
		if low, high := Wilson(bad[0], bad[1]); !math.IsNaN(low) || !math.IsNaN(high) {
			t.Errorf("Wilson(%d, %d) = %v, %v; want NaN", bad[0], bad[1], low, high)
		}
	}
}

// The interval's ends are where the score test just rejects (Wilson's definition): |p̂ - p| = z √(p(1-p)/n). It mirrors
// when right and wrong change places, contains the proportion, and grows with it.
func TestWilsonLaws(t *testing.T) {
	for _, n := range []int{1, 2, 3, 7, 50, 200, 1_000_000} {
		before := -1.0
		for i := range 101 {
			k := i * n / 100
			low, high := Wilson(k, n)
			p := float64(k) / float64(n)
			if !(0 <= low && low <= p && p <= high && high <= 1 && low < high && low >= before) {
				t.Fatalf("Wilson(%d, %d) = %v, %v", k, n, low, high)
			}
			before = low
			for _, end := range []float64{low, high} {
				d, z := math.Abs(p-end), z95*math.Sqrt(end*(1-end)/float64(n))
				if !(math.Abs(d-z) <= 1e-9) {
					t.Errorf("Wilson(%d, %d): end %v is %v from %v; want %v", k, n, end, d, p, z)
				}
			}
			if l, h := Wilson(n-k, n); !(math.Abs(l-(1-high)) <= 1e-12 && math.Abs(h-(1-low)) <= 1e-12) {
				t.Errorf("Wilson(%d, %d) = %v, %v; not the mirror of %v, %v", n-k, n, l, h, low, high)
			}
		}
	}
}

func TestMedian(t *testing.T) {
	for _, tt := range []struct {
		v    []int
		want float64
		ok   bool
	}{
		{nil, 0, false},
		{[]int{7}, 7, true},
		{[]int{0}, 0, true},
		{[]int{4, 1}, 2.5, true},
		{[]int{9, 1, 5}, 5, true},
		{[]int{9, 1, 5, 1}, 3, true},
		{[]int{2, 2, 2, 100}, 2, true},
		{[]int{math.MaxInt, math.MaxInt}, math.MaxInt, true},
	} {
		if got, ok := median(slices.Clone(tt.v)); got != tt.want || ok != tt.ok {
			t.Errorf("median(%v) = %v, %v; want %v, %v", tt.v, got, ok, tt.want, tt.ok)
		}
	}
}

// Every list of up to 7 values out of 3, and long ones with few and many different values, against sorting.
func TestMedianAgainstSorting(t *testing.T) {
	check := func(v []int) {
		t.Helper()
		sorted := slices.Sorted(slices.Values(v))
		n := len(v)
		want := (float64(sorted[(n-1)/2]) + float64(sorted[n/2])) / 2
		if got, _ := median(slices.Clone(v)); got != want {
			t.Fatalf("median(%v) = %v; want %v", v[:min(n, 20)], got, want)
		}
	}
	for n := 1; n <= 7; n++ {
		for code := range int(math.Pow(3, float64(n))) {
			v := make([]int, n)
			for i := range v {
				v[i], code = code%3, code/3
			}
			check(v)
		}
	}
	rnd := rand.New(rand.NewPCG(5, 0))
	for range 300 {
		v := make([]int, 1+rnd.IntN(2000))
		for i, values := 0, 1+rnd.IntN(3000); i < len(v); i++ {
			v[i] = rnd.IntN(values)
		}
		check(v)
		slices.Sort(v)
		check(v)
		slices.Reverse(v)
		check(v)
	}
}

func mustSummary(t testing.TB, s *Store, f Filter) Summary {
	t.Helper()
	sum, err := s.Summary(t.Context(), f)
	if err != nil {
		t.Fatal(err)
	}
	return sum
}

// Worked by hand: 8 answers to "major", counted on paper.
func TestSummaryByHand(t *testing.T) {
	s := mustOpen(t, newPath(t))
	session := mustBegin(t, s)
	for i, given := range []string{"major", "minor", "", "augmented", "minor", "diminished", "sus4", "major"} { // answered in 1 to 8 ms
		mustRecord(t, s, answer(session, i+1, "major", given))
	}
	wrongInPart := answer(session, 9, "minor", "minor") // the label right, something else about it not
	wrongInPart.Correct = false
	synonym := answer(session, 10, "minor", "minor triad")
	synonym.Correct = true
	mustRecord(t, s, wrongInPart, synonym)

	got, err := json.Marshal(mustSummary(t, s, Filter{}))
	if err != nil {
		t.Fatal(err)
	}
	sc := func(right, asked int) string {
		low, high := Wilson(right, asked)
		b, _ := json.Marshal(Score{asked, right, float64(right) / float64(asked), low, high})
		return strings.Trim(string(b), "{}")
	}
	want := fmt.Sprintf(`{"total":{%[1]s,"gave_up":1,"answered":9,"median_ms":6},"groups":[{"kind":"chord quality","mode":"ear",`+
		`"total":{%[1]s,"gave_up":1,"answered":9,"median_ms":6},"labels":[`+
		`{"label":"major","total":{%[2]s,"gave_up":1,"answered":7,"median_ms":5},"recent":{%[2]s},`+
		`"confusions":[{"given":"minor","count":2},{"given":"augmented","count":1},{"given":"diminished","count":1}]},`+
		`{"label":"minor","total":{%[3]s,"gave_up":0,"answered":2,"median_ms":9.5},"recent":{%[3]s},"confusions":[]}]}]}`,
		sc(3, 10), sc(2, 8), sc(1, 2))
	if string(got) != want {
		t.Errorf("Summary:\n%s\nwant\n%s", got, want)
	}
}

func TestSummaryOfNothing(t *testing.T) {
	s := mustOpen(t, newPath(t))
	got, err := json.Marshal(mustSummary(t, s, Filter{}))
	if want := `{"total":{"asked":0,"right":0,"accuracy":0,"low":0,"high":1,"gave_up":0,"answered":0},"groups":[]}`; err != nil || string(got) != want {
		t.Errorf("Summary of nothing: %s, %v; want %s", got, err, want)
	}
	mustRecord(t, s, answer(mustBegin(t, s), 1, "major", "")) // only a give-up
	if sum := mustSummary(t, s, Filter{}); sum.Total.Asked != 1 || sum.Total.GaveUp != 1 || sum.Total.Answered != 0 || sum.Total.MedianMS != 0 {
		t.Errorf("Summary of a give-up: %+v", sum.Total)
	}
	if _, err := s.Summary(t.Context(), Filter{Mode: "nose"}); err == nil {
		t.Error(`Summary with mode "nose": no error`)
	}
}

// fill puts answers into the database by a plain loop in one transaction, and returns them.
func fill(t testing.TB, s *Store, n, labels int, seed uint64) []Answer {
	t.Helper()
	session := mustBegin(t, s)
	rnd := rand.New(rand.NewPCG(seed, 0))
	tx, err := s.db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	kinds := []string{"chord quality", "construction"}
	for k := range kinds {
		for l := range labels {
			if _, err := tx.Exec("INSERT INTO label (id, kind, text) VALUES (?, ?, ?)", 1+k*labels+l, kinds[k], fmt.Sprintf("label %02d", l)); err != nil {
				t.Fatal(err)
			}
		}
	}
	insert, err := tx.Prepare(`INSERT INTO answer (uid, session_id, learner_id, number, question, mode, label_id, given_id, correct, answer_ms, replays, asked_at, answered_at, detail)
		VALUES (?, 1, 1, ?, '', ?, ?, ?, ?, ?, 0, ?, ?, '{}')`)
	if err != nil {
		t.Fatal(err)
	}
	defer insert.Close()
	var all []Answer
	for i := 1; i <= n; i++ {
		k, right, given := rnd.IntN(len(kinds)), rnd.IntN(labels), 0
		if given = right; rnd.IntN(10) < 3 {
			given = rnd.IntN(labels)
		}
		a := Answer{ID: fmt.Sprint(i), Session: session, Number: i, Kind: kinds[k], Mode: []Mode{Ear, Sight}[rnd.IntN(2)], Expected: fmt.Sprintf("label %02d", right),
			Given: fmt.Sprintf("label %02d", given), Correct: right == given, Took: time.Duration(rnd.IntN(9000)) * time.Millisecond,
			Asked: t0.Add(time.Duration(rnd.IntN(10*n)) * time.Second)} // in no order, now and then at the same time
		givenID := any(1 + k*labels + given)
		if rnd.IntN(20) == 0 {
			a.Given, a.Correct, givenID = "", false, nil
		}
		a.Answered = a.Asked.Add(a.Took)
		if _, err := insert.Exec(a.ID, a.Number, string(a.Mode), 1+k*labels+right, givenID, a.Correct, a.Took.Milliseconds(), a.Asked.UnixMilli(), a.Answered.UnixMilli()); err != nil {
			t.Fatal(err)
		}
		all = append(all, a)
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	return all
}

// plainSummary computes the same from a slice, with nothing clever and no SQL.
func plainSummary(all []Answer, f Filter) Summary {
	type key struct {
		kind  string
		mode  Mode
		label string
	}
	byLabel := map[key][]Answer{}
	for _, a := range all {
		if (f.Kind == "" || a.Kind == f.Kind) && (f.Mode == "" || a.Mode == f.Mode) && !a.Asked.Before(f.Since) {
			for _, k := range []key{{a.Kind, a.Mode, a.Expected}, {a.Kind, a.Mode, ""}, {}} {
				byLabel[k] = append(byLabel[k], a)
			}
		}
	}
	newest := func(a, b Answer) int { return cmp.Or(b.Asked.Compare(a.Asked), b.Number-a.Number) }
	count := func(list []Answer) (t Tally) {
		right := 0
		var times []float64
		seen := map[key]int{}
		slices.SortFunc(list, newest)
		for _, a := range list {
			if a.Correct {
				right++
			}
			k := key{a.Kind, a.Mode, a.Expected}
			if seen[k]++; a.Given != "" {
				t.Answered++
				if seen[k] <= 100 {
					times = append(times, float64(a.Took.Milliseconds()))
				}
			}
		}
		t.Score = score(len(list), right)
		t.GaveUp = len(list) - t.Answered
		if slices.Sort(times); len(times) > 0 {
			t.MedianMS = (times[(len(times)-1)/2] + times[len(times)/2]) / 2
		}
		return t
	}
	sum := Summary{Total: count(byLabel[key{}]), Groups: []Group{}}
	for k, list := range byLabel {
		if k.label != "" || k.kind == "" {
			continue
		}
		g := Group{Kind: k.kind, Mode: k.mode, Total: count(list)}
		for lk, list := range byLabel {
			if lk.kind != k.kind || lk.mode != k.mode || lk.label == "" {
				continue
			}
			l := Label{Label: lk.label, Total: count(list), Confusions: []Confusion{}}
			said := map[string]int{}
			for _, a := range list {
				if a.Given != "" && a.Given != a.Expected && !a.Correct {
					said[a.Given]++
				}
			}
			for given, n := range said {
				l.Confusions = append(l.Confusions, Confusion{given, n})
			}
			slices.SortFunc(l.Confusions, func(a, b Confusion) int { return cmp.Or(b.Count-a.Count, strings.Compare(a.Given, b.Given)) })
			l.Confusions = l.Confusions[:min(3, len(l.Confusions))]
			slices.SortFunc(list, newest)
			l.Recent = count(list[:min(100, len(list))]).Score
			g.Labels = append(g.Labels, l)
		}
		slices.SortFunc(g.Labels, func(a, b Label) int { return strings.Compare(a.Label, b.Label) })
		sum.Groups = append(sum.Groups, g)
	}
	slices.SortFunc(sum.Groups, func(a, b Group) int {
		return cmp.Or(strings.Compare(a.Kind, b.Kind), strings.Compare(string(a.Mode), string(b.Mode)))
	})
	return sum
}

// The queries against the plain computation, with every filter. 5 labels, so that each has more than 100 answers.
func TestSummaryAgainstPlain(t *testing.T) {
	s := mustOpen(t, newPath(t))
	all := fill(t, s, 8000, 5, 11)
	middle := all[17].Asked
	n := 0
	for _, kind := range []string{"", "construction", "no such kind"} {
		for _, mode := range []Mode{"", Ear, Sight} {
			for _, since := range []time.Time{{}, middle, middle.Add(time.Nanosecond), middle.Add(time.Millisecond), t0.AddDate(9, 0, 0)} {
				f := Filter{Kind: kind, Mode: mode, Since: since}
				got, want := mustSummary(t, s, f), plainSummary(all, f)
				if !reflect.DeepEqual(got, want) {
					t.Errorf("Summary(%+v) =\n%+v\nwant\n%+v", f, got, want)
				}
				n += got.Total.Asked
			}
		}
	}
	if n == 0 {
		t.Error("the filters chose nothing at all")
	}
	sum := mustSummary(t, s, Filter{})
	if l := sum.Groups[0].Labels[0]; l.Recent.Asked != RecentAnswers || l.Total.Asked <= RecentAnswers || len(l.Confusions) != 3 {
		t.Errorf("the data does not reach the limits: %+v", l)
	}
}

// The summary reads the kept counts or the index alone, and never a whole table but that of the labels.
func TestSummaryUsesTheIndex(t *testing.T) {
	s := mustOpen(t, newPath(t))
	for _, f := range []Filter{{}, {Kind: "construction"}, {Mode: Ear}, {Since: t0}, {Kind: "construction", Mode: Ear, Since: t0}} {
		for name, want := range map[string]string{"since": " a USING COVERING INDEX answer_recent (learner_id=? AND label_id=? AND mode=? AND asked_at>?)",
			"recent": " r USING COVERING INDEX answer_recent (learner_id=? AND label_id=? AND mode=? AND asked_at>?)"} {
			query, args := s.recentQuery(f)
			if name == "since" {
				query, args = s.sinceQuery(f)
			}
			rows, err := s.db.QueryContext(t.Context(), "EXPLAIN QUERY PLAN "+query, args...)
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for rows.Next() {
				var id, parent, unused int
				var step string
				if err := rows.Scan(&id, &parent, &unused, &step); err != nil {
					t.Fatal(err)
				}
				found = found || strings.Contains(step, want)
				if strings.HasPrefix(step, "SCAN t") || strings.HasPrefix(step, "SCAN a") || strings.HasPrefix(step, "SCAN r") || strings.HasPrefix(step, "SCAN d") || strings.Contains(step, "ORDER BY") {
					t.Errorf("%s, %+v: %s", name, f, step)
				}
			}
			rows.Close()
			if !found {
				t.Errorf("%s, %+v: no step%s", name, f, want)
			}
		}
	}
}
