package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"plumbline/drills/planner"
	"plumbline/progress"
)

// How many labels of a kind are compared with one another, over how many of their last answers, and how many sentences come of
// it at most.
const (
	comparedLabels  = 6
	comparedAnswers = 60
	claimSentences  = 6
)

// When a pair counts as told apart: by so many answers at least, when even the low end of the 95 % interval lies above
// threshold, 75 %, the usual threshold of two choices (Macmillan & Creelman, Detection Theory, from memory). It counts as not
// yet told apart when the share itself lies below that.
const (
	leastPair = 8
	threshold = 0.75
)

// A pairScore counts the answers about one of two labels in which both were offered and one of them was given.
type pairScore struct {
	asked, right [2]int
}

func (p pairScore) n() int { return p.asked[0] + p.asked[1] }

// share is the mean of both labels' shares, so that one who always says the same has no more than a half.
func (p pairScore) share() float64 {
	if p.asked[0] == 0 || p.asked[1] == 0 {
		return 0
	}
	return (float64(p.right[0])/float64(p.asked[0]) + float64(p.right[1])/float64(p.asked[1])) / 2
}

func (p pairScore) verdict() int {
	if p.n() < leastPair || p.asked[0] < 3 || p.asked[1] < 3 {
		return 0
	}
	low, _ := progress.Wilson(int(p.share()*float64(p.n())+0.5), p.n())
	switch {
	case low >= threshold:
		return 1
	case p.share() < threshold:
		return -1
	}
	return 0
}

// A hearing is what can be said about a pair of labels.
type hearing struct {
	a, b  string
	tells []string // where they are told apart
	nots  []string // where not yet
	n     int
	share float64
}

func (h hearing) sentence() string {
	join := func(list []string) string {
		if len(list) > 1 {
			return strings.Join(list[:len(list)-1], ", ") + " and " + list[len(list)-1]
		}
		return strings.Join(list, "")
	}
	switch {
	case len(h.nots) == 0:
		return fmt.Sprintf("You tell %s from %s%s.", h.a, h.b, join(h.tells))
	case len(h.tells) == 0:
		return fmt.Sprintf("You don't yet tell %s from %s%s.", h.a, h.b, join(h.nots))
	}
	return fmt.Sprintf("You tell %s from %s%s; not yet%s.", h.a, h.b, join(h.tells), join(h.nots))
}

// place says in words where a question lies: spacing and register, as far as its condition tells.
func place(condition string) string {
	s, ok := planner.ParseSetting(condition)
	if !ok || !strings.Contains(condition, "spacing=") {
		return ""
	}
	where := " in close position"
	if s.Open {
		where = " in open position"
	}
	switch s.Register {
	case planner.Low:
		where += " below C3"
	case planner.High:
		where += " from C4 upwards"
	}
	return where
}

// hearings says what can be claimed about the pairs of a group of labels, what is not yet told apart first.
func hearings(ctx context.Context, store *progress.Store, g progress.Group) ([]hearing, error) {
	labels := slices.Clone(g.Labels)
	slices.SortStableFunc(labels, func(a, b progress.Label) int { return cmp.Compare(b.Recent.Asked, a.Recent.Asked) })
	var names []string
	for _, l := range labels[:min(len(labels), comparedLabels)] {
		names = append(names, l.Label)
	}
	offers, err := store.Offers(ctx, g.Kind, g.Mode, names, comparedAnswers)
	if err != nil {
		return nil, err
	}
	type pair struct{ a, b string }
	scores := map[pair]map[string]*pairScore{}
	for _, o := range offers {
		for _, other := range names {
			if other == o.Label || !slices.Contains(o.Choices, other) || o.Given != o.Label && o.Given != other {
				continue
			}
			k, i := pair{o.Label, other}, 0
			if k.b < k.a {
				k, i = pair{other, o.Label}, 1
			}
			if scores[k] == nil {
				scores[k] = map[string]*pairScore{}
			}
			for _, where := range []string{"", place(o.Condition)} {
				p := scores[k][where]
				if p == nil {
					p = &pairScore{}
					scores[k][where] = p
				}
				p.asked[i]++
				if o.Given == o.Label {
					p.right[i]++
				}
				if where == "" && place(o.Condition) == "" {
					break
				}
			}
		}
	}
	var out []hearing
	for k, places := range scores {
		all := places[""]
		h := hearing{a: k.a, b: k.b, n: all.n(), share: all.share()}
		// "Close position" alone stands for the middle register.
		for _, where := range []string{" in close position", " in close position from C4 upwards", " in close position below C3", " in open position", " in open position from C4 upwards", " in open position below C3"} {
			if p := places[where]; p != nil {
				text := fmt.Sprintf("%s (%d of %d)", where, p.right[0]+p.right[1], p.n())
				switch p.verdict() {
				case 1:
					h.tells = append(h.tells, text)
				case -1:
					h.nots = append(h.nots, text)
				}
			}
		}
		if len(h.tells)+len(h.nots) == 0 {
			text := fmt.Sprintf(" (%d of %d)", all.right[0]+all.right[1], all.n())
			switch all.verdict() {
			case 1:
				h.tells = []string{text}
			case -1:
				h.nots = []string{text}
			}
		}
		if len(h.tells)+len(h.nots) > 0 {
			out = append(out, h)
		}
	}
	slices.SortFunc(out, func(a, b hearing) int {
		return cmp.Or(cmp.Compare(len(b.nots), len(a.nots)), cmp.Compare(a.share, b.share), cmp.Compare(b.n, a.n), cmp.Compare(a.a, b.a), cmp.Compare(a.b, b.b))
	})
	// Half of what is said may be what is not yet heard; the rest is what is.
	var nots, tells []hearing
	for _, h := range out {
		if len(h.nots) > 0 {
			nots = append(nots, h)
		} else {
			tells = append(tells, h)
		}
	}
	nots = nots[:min(len(nots), claimSentences/2)]
	slices.SortStableFunc(tells, func(a, b hearing) int { return cmp.Compare(b.n, a.n) })
	return append(nots, tells[:min(len(tells), claimSentences-len(nots))]...), nil
}
