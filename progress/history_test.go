package progress

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"
)

// told records n answers of two kinds with conditions, over some weeks, by learner view s, and returns them.
func told(t testing.TB, s *Store, n int, seed uint64) []Answer {
	t.Helper()
	rnd := rand.New(rand.NewPCG(seed, 1))
	session := mustBegin(t, s)
	var all []Answer
	for i := 1; i <= n; i++ {
		expected, given := fmt.Sprintf("label %d", rnd.IntN(4)), fmt.Sprintf("label %d", rnd.IntN(4))
		if rnd.IntN(8) == 0 {
			given = ""
		}
		a := answer(session, i, expected, given)
		a.Kind, a.Mode = []string{"chord quality", "construction"}[rnd.IntN(2)], []Mode{Ear, Sight}[rnd.IntN(2)]
		a.Condition = []string{"", "spacing=close", "spacing=open"}[rnd.IntN(3)]
		a.Asked = t0.Add(time.Duration(rnd.IntN(40*86400)) * time.Second)
		a.Answered = a.Asked.Add(a.Took)
		mustRecord(t, s, a)
		all = append(all, a)
	}
	return all
}

// Everything that is read from kept counts, against counting a slice.
func TestHistoriesAgainstPlain(t *testing.T) {
	s := mustOpen(t, newPath(t))
	other, err := s.As(t.Context(), "  Wren   Ashdown ", true)
	if err != nil {
		t.Fatal(err)
	}
	told(t, other, 30, 8)
	all := told(t, s, 600, 9)

	const days, last = 5, 20
	got, err := s.Histories(t.Context(), days, last)
	if err != nil {
		t.Fatal(err)
	}
	var want []History
	for _, kind := range []string{"chord quality", "construction"} {
		for _, mode := range []Mode{Ear, Sight} {
			for l := range 4 {
				h := History{Kind: kind, Mode: mode, Label: fmt.Sprintf("label %d", l), Days: []Day{}, Last: []Past{}}
				byDay := map[int]*Day{}
				mine := slices.DeleteFunc(slices.Clone(all), func(a Answer) bool { return a.Kind != kind || a.Mode != mode || a.Expected != h.Label })
				slices.SortStableFunc(mine, func(a, b Answer) int { return cmp.Or(a.Asked.Compare(b.Asked), a.Number-b.Number) })
				for _, a := range mine {
					n := int(a.Asked.Unix() / 86400)
					if byDay[n] == nil {
						byDay[n] = &Day{Day: n}
					}
					byDay[n].Asked++
					if a.Correct {
						byDay[n].Right++
					}
					h.Last = append(h.Last, Past{a.Correct, a.Condition, a.Given, a.Asked})
				}
				for _, d := range byDay {
					h.Days = append(h.Days, *d)
				}
				slices.SortFunc(h.Days, func(a, b Day) int { return a.Day - b.Day })
				h.Days, h.Last = h.Days[len(h.Days)-days:], h.Last[len(h.Last)-last:]
				want = append(want, h)
			}
		}
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("Histories =\n%+v\nwant\n%+v", got, want)
	}

	cells, err := s.Cells(t.Context(), "construction", Ear)
	if err != nil {
		t.Fatal(err)
	}
	count := map[Cell]int{}
	for _, a := range all {
		if a.Kind == "construction" && a.Mode == Ear {
			count[Cell{a.Kind, a.Mode, a.Expected, a.Given, a.Correct, a.Condition, 0}]++
		}
	}
	for _, c := range cells {
		n := c.Asked
		if c.Asked = 0; count[c] != n || n == 0 {
			t.Errorf("%+v: %d; want %d", c, n, count[c])
		}
		delete(count, c)
	}
	if len(count) > 0 {
		t.Errorf("missing: %v", count)
	}

	page, err := s.Page(t.Context(), days, last, t0.AddDate(0, 2, 0))
	if err != nil {
		t.Fatal(err)
	}
	asked, right := 0, 0
	for _, d := range page.Days {
		asked, right = asked+d.Asked, right+d.Right
	}
	sum := mustSummary(t, s, Filter{})
	if !reflect.DeepEqual(page.Histories, want) || !reflect.DeepEqual(page.Summary, sum) || len(page.Sittings) != 1 {
		t.Errorf("Page = %+v", page)
	}
	if asked != 600 || asked != sum.Total.Asked || right != sum.Total.Right {
		t.Errorf("DayCounts: %d, %d right; want %d, %d", asked, right, sum.Total.Asked, sum.Total.Right)
	}
}

// Nobody sees another's answers.
func TestLearnersApart(t *testing.T) {
	s := mustOpen(t, newPath(t))
	if _, err := s.As(t.Context(), "Wren", false); !errors.Is(err, ErrNoLearner) {
		t.Errorf("As(unknown) = %v; want ErrNoLearner", err)
	}
	wren, err := s.As(t.Context(), "Wren", true)
	if err != nil {
		t.Fatal(err)
	}
	mine, hers := told(t, s, 40, 1), told(t, wren, 25, 2)
	for _, tt := range []struct {
		who  *Store
		name string
		all  []Answer
	}{{s, "", mine}, {wren, "Wren", hers}} {
		if got, want := mustSummary(t, tt.who, Filter{}), plainSummary(tt.all, Filter{}); !reflect.DeepEqual(got, want) {
			t.Errorf("%q: Summary = %+v; want %+v", tt.name, got, want)
		}
		sittings, err := tt.who.Sittings(t.Context(), 10)
		if err != nil || len(sittings) != 1 || sittings[0].Score.Asked != len(tt.all) {
			t.Errorf("%q: Sittings = %+v, %v; want one of %d", tt.name, sittings, err, len(tt.all))
		}
		for _, other := range []*Store{s, wren} {
			asked, err := other.Questions(t.Context(), sittings[0].ID)
			if other == tt.who && (err != nil || len(asked) != len(tt.all) || asked[3].Number != 4) || other != tt.who && !errors.Is(err, ErrNoSession) {
				t.Errorf("%q: Questions = %d, %v", tt.name, len(asked), err)
			}
		}
	}
	all, err := s.Learners(t.Context())
	if err != nil || len(all) != 2 || all[0].Name != "" || all[1].Name != "Wren" || all[1].Score.Asked != 25 || all[1].Sittings != 1 {
		t.Errorf("Learners = %+v, %v", all, err)
	}
	again, err := s.As(t.Context(), "Wren", false)
	if err != nil || again.learner != wren.learner {
		t.Errorf("As again: %v", err)
	}
}

// An answer is never changed or taken away, since the counts would then lie.
func TestAnswersStay(t *testing.T) {
	s := mustOpen(t, newPath(t))
	told(t, s, 3, 1)
	for _, bad := range []string{"UPDATE answer SET correct = 1", "DELETE FROM answer"} {
		if _, err := s.db.ExecContext(t.Context(), bad); err == nil {
			t.Errorf("%s: no error", bad)
		}
	}
}
