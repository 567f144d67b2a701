package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"plumbline/drills"
	"plumbline/drills/planner"
	"plumbline/progress"
)

// A skillRow is one label with all that is told about it.
type skillRow struct {
	progress.Label
	Trend string    `json:"trend"`        // "rising", "falling", "steady", "" if too little is known
	Due   time.Time `json:"due,omitzero"` // when it should be asked again
	Able  *ability  `json:"ability,omitempty"`
}

// An ability is what a learner would get on a standard question, four choices in the middle register, as the planner has it.
type ability struct {
	Accuracy float64 `json:"accuracy"`
	Low      float64 `json:"low"` // a 90 % interval
	High     float64 `json:"high"`
}

// A groupPage is one kind of drill in one mode, for showing.
type groupPage struct {
	Kind  string         `json:"kind"`
	Mode  progress.Mode  `json:"mode"`
	Total progress.Tally `json:"total"`
	Rows  []skillRow     `json:"labels"`
	Words []string       `json:"words"` // what can and can't be claimed to be heard

	cells []progress.Cell
	days  []progress.DayCount
}

// A progressPage is everything told about a learner.
type progressPage struct {
	Total    progress.Tally     `json:"total"`
	Groups   []groupPage        `json:"groups"`
	Sittings []progress.Sitting `json:"sittings"`
	now      time.Time
}

// page reads and works out a page, without a choice of time or kind.
func page(ctx context.Context, store *progress.Store, now time.Time) (progressPage, error) {
	p, err := store.Page(ctx, planDays, planAnswers, now)
	if err != nil {
		return progressPage{}, err
	}
	hs := plannerHistories(p.Histories)
	var items []planner.Item
	for _, h := range hs {
		items = append(items, planner.Item{Skill: h.Skill})
	}
	estimates := map[planner.Skill]planner.Estimate{}
	for _, e := range planner.New(items, hs, 0).Estimates(now) {
		estimates[e.Skill] = e
	}
	past := map[planner.Skill][]planner.Past{}
	for _, h := range hs {
		past[h.Skill] = h.Last
	}
	out := progressPage{Total: p.Summary.Total, Sittings: p.Sittings, now: now, Groups: []groupPage{}}
	for _, g := range p.Summary.Groups {
		gp := groupPage{Kind: g.Kind, Mode: g.Mode, Total: g.Total, Words: []string{}}
		for _, l := range g.Labels {
			k := planner.Skill{Kind: drills.Kind(g.Kind), Sight: g.Mode == progress.Sight, Label: l.Label}
			e := estimates[k]
			row := skillRow{Label: l, Trend: trend(past[k]), Due: e.Due}
			if e.Seen > 0 {
				row.Able = &ability{e.Accuracy, e.Low, e.High}
			}
			gp.Rows = append(gp.Rows, row)
		}
		slices.SortStableFunc(gp.Rows, func(a, b skillRow) int { return cmp.Compare(a.Total.Accuracy, b.Total.Accuracy) })
		for _, c := range p.Cells {
			if c.Kind == g.Kind && c.Mode == g.Mode {
				gp.cells = append(gp.cells, c)
			}
		}
		for _, d := range p.Days {
			if d.Kind == g.Kind && d.Mode == g.Mode {
				gp.days = append(gp.days, d)
			}
		}
		heard, err := hearings(ctx, store, g)
		if err != nil {
			return progressPage{}, err
		}
		for _, h := range heard {
			gp.Words = append(gp.Words, h.sentence())
		}
		out.Groups = append(out.Groups, gp)
	}
	return out, nil
}

// trend compares the newer half of the last answers with the older one: a difference is told when it is 1.64 standard errors or
// more, which chance alone brings about once in ten times.
func trend(past []planner.Past) string {
	if len(past) < 16 {
		return ""
	}
	half := len(past) / 2
	share := func(ps []planner.Past) (p, n float64) {
		for _, a := range ps {
			if a.Correct {
				p++
			}
		}
		return p / float64(len(ps)), float64(len(ps))
	}
	p, n := share(past[:half])
	q, m := share(past[half:])
	all := (p*n + q*m) / (n + m)
	if se := math.Sqrt(all * (1 - all) * (1/n + 1/m)); se > 0 && math.Abs(q-p) >= 1.64*se {
		if q > p {
			return "rising"
		}
		return "falling"
	}
	return "steady"
}

// dueWords says when something is due, in at most 8 characters.
func dueWords(due, now time.Time) string {
	if due.IsZero() {
		return "-"
	}
	switch days := int(math.Ceil(due.Sub(now).Hours() / 24)); {
	case days <= 0:
		return "now"
	case days < 100:
		return fmt.Sprintf("in %d d", days)
	default:
		return fmt.Sprintf("in %d w", days/7)
	}
}

// heading names a group: "Chord quality, by ear".
func heading(kind string, mode progress.Mode) string {
	what := drills.Kind(kind).Title()
	if what == "" {
		what = upperFirst(kind)
	}
	if mode == progress.Sight {
		return what + ", by sight"
	}
	return what + ", by ear"
}

// axis is how many characters the line of a plot has, for 0 to 100 %.
const axis = 41

// whiskers draws a share and its interval on a line: "|        ----o--      |".
func whiskers(share, low, high float64) string {
	line := []byte(strings.Repeat(" ", axis))
	at := func(x float64) int { return min(max(int(math.Round(x*(axis-1))), 0), axis-1) }
	for i := at(low); i <= at(high); i++ {
		line[i] = '-'
	}
	line[at(share)] = 'o'
	return "|" + string(line) + "|"
}

// plot draws a group's shares with their intervals, and what was right week by week.
func (g groupPage) plot(w io.Writer, now time.Time) {
	fmt.Fprintf(w, "%s: share right, with the range it probably lies in\n\n", heading(g.Kind, g.Mode))
	fmt.Fprintf(w, "  %-30s 0 %%%s50 %%%s100 %%\n", "", strings.Repeat(" ", 15), strings.Repeat(" ", 14))
	for _, r := range g.Rows {
		fmt.Fprintf(w, "  %s %s\n", padded(r.Label.Label, 30), whiskers(r.Total.Accuracy, r.Total.Low, r.Total.High))
	}
	weeks := g.weeks(now)
	if len(weeks) > 1 {
		fmt.Fprintf(w, "\n  Week by week, the newest last\n")
		for _, k := range weeks {
			low, high := progress.Wilson(k.Right, k.Asked)
			fmt.Fprintf(w, "  %s %s\n", padded(fmt.Sprintf("from %s  %d/%d", k.Start().Format("2 Jan"), k.Right, k.Asked), 30), whiskers(float64(k.Right)/float64(k.Asked), low, high))
		}
	}
}

// weeks sums the days of a group by weeks back from now, those with answers, at most twelve.
func (g groupPage) weeks(now time.Time) []progress.Day {
	today := int(now.Unix() / 86400)
	sums := map[int]*progress.Day{}
	for _, d := range g.days {
		n := (today - d.Day.Day) / 7
		if n < 0 {
			n = 0
		}
		if sums[n] == nil {
			sums[n] = &progress.Day{Day: today - 7*n - 6}
		}
		sums[n].Asked += d.Asked
		sums[n].Right += d.Right
	}
	var out []progress.Day
	for _, s := range sums {
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b progress.Day) int { return a.Day - b.Day })
	return out[max(0, len(out)-12):]
}

// A matrix counts what was said for what.
type matrix struct {
	labels []string // both ways
	count  [][]int
	gaveUp []int
	other  []int // said something that isn't among the labels
}

// confusionMatrix gathers a group's counts, for the labels asked and said, in the order of the drill's own choices where there
// is one, the most asked ones if there are too many.
func (g groupPage) confusionMatrix(most int) matrix {
	asked := map[string]int{}
	for _, c := range g.cells {
		asked[c.Label] += c.Asked
	}
	var m matrix
	for l := range asked {
		m.labels = append(m.labels, l)
	}
	slices.SortFunc(m.labels, func(a, b string) int { return cmp.Or(cmp.Compare(asked[b], asked[a]), cmp.Compare(a, b)) })
	m.labels = m.labels[:min(len(m.labels), most)]
	order := map[string]int{}
	for _, l := range drills.Levels(drills.Kind(g.Kind)) {
		for _, name := range l.Labels {
			if _, ok := order[name]; !ok {
				order[name] = len(order) + 1
			}
		}
	}
	slices.SortFunc(m.labels, func(a, b string) int { return cmp.Or(cmp.Compare(order[a], order[b]), cmp.Compare(a, b)) })
	m.count = make([][]int, len(m.labels))
	m.gaveUp, m.other = make([]int, len(m.labels)), make([]int, len(m.labels))
	for i := range m.count {
		m.count[i] = make([]int, len(m.labels))
	}
	for _, c := range g.cells {
		i := slices.Index(m.labels, c.Label)
		if i < 0 {
			continue
		}
		given := c.Given
		if c.Correct {
			given = c.Label // a synonym is the same
		}
		switch j := slices.Index(m.labels, given); {
		case given == "":
			m.gaveUp[i] += c.Asked
		case j < 0:
			m.other[i] += c.Asked
		default:
			m.count[i][j] += c.Asked
		}
	}
	return m
}

// matrixLabels is how many labels fit beside each other in 80 columns.
const matrixLabels = 8

// write draws the matrix: a row for what it was, a column for what was said.
func (m matrix) write(w io.Writer, title string) {
	fmt.Fprintf(w, "%s: what it was (rows) and what you said (columns)\n\n", title)
	fmt.Fprintf(w, "  %-30s", "")
	for i := range m.labels {
		fmt.Fprintf(w, "%5s", string(rune('a'+i)))
	}
	fmt.Fprintf(w, "%6s\n", "none")
	for i, l := range m.labels {
		fmt.Fprintf(w, "  %s", padded(fmt.Sprintf("%c  %s", 'a'+i, l), 30))
		for j, n := range m.count[i] {
			switch {
			case n == 0:
				fmt.Fprintf(w, "%5s", ".")
			case i == j:
				fmt.Fprintf(w, "%5s", fmt.Sprintf("(%d)", n))
			default:
				fmt.Fprintf(w, "%5d", n)
			}
		}
		fmt.Fprintf(w, "%6d\n", m.gaveUp[i])
	}
	fmt.Fprintln(w, "\n  In brackets: right. \"none\": gave up.")
	for i, n := range m.other {
		if n > 0 {
			fmt.Fprintf(w, "  %s was taken %s for something not in this table.\n", upperFirst(m.labels[i]), times(n))
		}
	}
}

// sittings lists the last ones.
func (p progressPage) sittings(w io.Writer) {
	fmt.Fprintf(w, "The last sittings\n\n")
	for _, s := range p.Sittings {
		how := "by ear"
		if s.Mode == progress.Sight {
			how = "by sight"
		}
		what := drills.Kind(s.Kind).Title()
		if what == "" {
			what = upperFirst(s.Kind)
		}
		long := "not ended"
		if !s.Ended.IsZero() {
			long = fmt.Sprintf("%d min", int(math.Ceil(s.Ended.Sub(s.Started).Minutes())))
		}
		fmt.Fprintf(w, "  %s  %s %7s  %9s  seed %d\n", s.Started.In(p.now.Location()).Format("2006-01-02 15:04"), padded(what+" "+how, 28),
			fmt.Sprintf("%d/%d", s.Score.Right, s.Score.Asked), long, s.Seed)
		if s.Source != "" {
			fmt.Fprintf(w, "      about %s\n", s.Source)
		}
	}
}
