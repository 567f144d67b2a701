package progress

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"
)

// RecentAnswers is how many of the last answers to a label count as recent.
const RecentAnswers = 100

// worstConfusions is how many confusions a summary lists for a label.
const worstConfusions = 3

// Filter chooses answers. The zero value chooses all.
type Filter struct {
	Kind  string    // of drill; empty: all
	Mode  Mode      // empty: both
	Since time.Time // asked at or after; zero: from the beginning
}

// Summary tells how well things are heard.
type Summary struct {
	Total  Tally   `json:"total"`
	Groups []Group `json:"groups"` // by kind, then mode
}

// Group is one kind of drill in one mode.
type Group struct {
	Kind   string  `json:"kind"`
	Mode   Mode    `json:"mode"`
	Total  Tally   `json:"total"`
	Labels []Label `json:"labels"` // by their text
}

// Label is one expected label within a group.
type Label struct {
	Label      string      `json:"label"`
	Total      Tally       `json:"total"`
	Recent     Score       `json:"recent"`     // of the last RecentAnswers, by the time asked
	Confusions []Confusion `json:"confusions"` // at most three, most frequent first, equals by their text
}

// Confusion is a label given in place of the expected one, and how often.
type Confusion struct {
	Given string `json:"given"`
	Count int    `json:"count"`
}

// Score is a count of right answers with what can be concluded from it.
type Score struct {
	Asked    int     `json:"asked"`
	Right    int     `json:"right"`
	Accuracy float64 `json:"accuracy"` // Right/Asked, in [0, 1]; 0 if nothing was asked
	Low      float64 `json:"low"`      // 95 % interval for the accuracy, see Wilson
	High     float64 `json:"high"`
}

// Tally is a Score with give-ups and speed. A give-up counts in Asked and is not right.
type Tally struct {
	Score
	GaveUp   int     `json:"gave_up"`
	Answered int     `json:"answered"`           // Asked - GaveUp
	MedianMS float64 `json:"median_ms,omitzero"` // thinking time of the answered ones among each label's last RecentAnswers; 0 and left out if there is none
}

// Summary counts the answers that f chooses, as they stood at one moment.
func (s *Store) Summary(ctx context.Context, f Filter) (Summary, error) {
	if f.Mode != "" && f.Mode != Ear && f.Mode != Sight {
		return Summary{}, fmt.Errorf("progress: mode %q; want %q, %q or nothing", f.Mode, Ear, Sight)
	}
	var sum Summary
	err := s.reading(ctx, func(r reader) (err error) {
		var cells []Cell
		if f.Since.IsZero() {
			cells, err = r.cells(ctx, f)
		} else {
			cells, err = r.cellsSince(ctx, f)
		}
		if err == nil {
			sum, err = r.summarize(ctx, f, cells)
		}
		return err
	})
	return sum, err
}

// summarize makes a summary of cells, which f has chosen.
func (r reader) summarize(ctx context.Context, f Filter, cells []Cell) (Summary, error) {
	type labelKey struct {
		name labelName
		mode Mode
	}
	type counts struct {
		asked, right, gaveUp int
		wrong                map[string]int
	}
	byLabel := map[labelKey]*counts{}
	for i, cell := range cells {
		k := labelKey{labelName{cell.Kind, cell.Label}, cell.Mode}
		c := byLabel[k]
		if i == 0 || c == nil {
			c = &counts{wrong: map[string]int{}}
			byLabel[k] = c
		}
		c.asked += cell.Asked
		switch {
		case cell.Correct:
			c.right += cell.Asked
		case cell.Given == "":
			c.gaveUp += cell.Asked
		case cell.Given != cell.Label: // one that names the right label and is still wrong, in a part that the label does not tell, is no confusion
			c.wrong[cell.Given] += cell.Asked
		}
	}

	type groupKey struct {
		kind string
		mode Mode
	}
	type labelTimes struct {
		Label
		times []int
	}
	groups := map[groupKey][]labelTimes{}
	query, args := r.s.recentQuery(f)
	err := each(ctx, r.conn, query, args, func(rows *sql.Rows) error {
		var id int64
		var k labelKey
		var text sql.RawBytes
		if err := rows.Scan(&id, &k.mode, &text); err != nil {
			return err
		}
		k.name = r.labels[id]
		c := byLabel[k]
		if c == nil {
			return nil // none since then
		}
		last, err := integers(text, RecentAnswers)
		if err != nil {
			return err
		}
		right, times := 0, make([]int, 0, len(last))
		for _, v := range last { // see recentQuery
			right += v >> 1 & 1
			if v&1 == 1 {
				times = append(times, v>>2)
			}
		}
		wrong := make([]Confusion, 0, len(c.wrong)) // not nil: an empty list in JSON
		for given, n := range c.wrong {
			wrong = append(wrong, Confusion{given, n})
		}
		slices.SortFunc(wrong, func(a, b Confusion) int { return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Given, b.Given)) })
		g := groupKey{k.name.kind, k.mode}
		groups[g] = append(groups[g], labelTimes{times: times, Label: Label{
			Label:      k.name.text,
			Total:      tally(c.asked, c.right, c.gaveUp, times),
			Recent:     score(len(last), right),
			Confusions: slices.Clip(wrong[:min(len(wrong), worstConfusions)]),
		}})
		return nil
	})
	if err != nil {
		return Summary{}, err
	}

	sum := Summary{Groups: []Group{}}
	var all [][]int
	gaveUp := 0
	for g, labels := range groups {
		slices.SortFunc(labels, func(a, b labelTimes) int { return cmp.Compare(a.Label.Label, b.Label.Label) })
		out := Group{Kind: g.kind, Mode: g.mode}
		var asked, right, gave int
		var lists [][]int
		for _, l := range labels {
			asked, right, gave, lists = asked+l.Total.Asked, right+l.Total.Right, gave+l.Total.GaveUp, append(lists, l.times)
			out.Labels = append(out.Labels, l.Label)
		}
		times := slices.Concat(lists...)
		out.Total = tally(asked, right, gave, times)
		sum.Total.Asked, sum.Total.Right, gaveUp, all = sum.Total.Asked+asked, sum.Total.Right+right, gaveUp+gave, append(all, times)
		sum.Groups = append(sum.Groups, out)
	}
	slices.SortFunc(sum.Groups, func(a, b Group) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Mode, b.Mode)) })
	sum.Total = tally(sum.Total.Asked, sum.Total.Right, gaveUp, slices.Concat(all...))
	return sum, nil
}

// each runs a query and hands over its rows.
func each(ctx context.Context, conn *sql.Conn, query string, args []any, row func(*sql.Rows) error) error {
	rows, err := conn.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// pairs are the labels and modes that the learner was ever asked; a subquery of one row each, read from table day by jumps
// of its key. Its arguments are those that come with it.
func (s *Store) pairs(f Filter) (string, []any) {
	where, args := "d.label_id = l.id AND d.learner_id = ? AND d.mode = m.mode", []any{s.learner}
	outer := ""
	if f.Mode != "" {
		outer, args = outer+" AND m.mode = ?", append(args, string(f.Mode))
	}
	if f.Kind != "" {
		outer, args = outer+" AND l.kind = ?", append(args, f.Kind)
	}
	return "(SELECT l.id AS label_id, m.mode AS mode FROM label AS l, (SELECT 'ear' AS mode UNION ALL SELECT 'sight') AS m WHERE EXISTS (SELECT 1 FROM day AS d WHERE " + where + ")" + outer + ")", args
}

// cellsSince counts the answers since a time, off the index answer_recent.
func (r reader) cellsSince(ctx context.Context, f Filter) ([]Cell, error) {
	query, args := r.s.sinceQuery(f)
	var out []Cell
	err := each(ctx, r.conn, query, args, func(rows *sql.Rows) error {
		var c Cell
		var label, given int64
		if err := rows.Scan(&label, &c.Mode, &given, &c.Correct, &c.Asked); err != nil {
			return err
		}
		c.Kind, c.Label, c.Given = r.labels[label].kind, r.labels[label].text, r.labels[given].text
		out = append(out, c)
		return nil
	})
	return out, err
}

// sinceQuery gives label, mode, what was given (0: gave up), whether it was right, how often.
func (s *Store) sinceQuery(f Filter) (string, []any) {
	pairs, args := s.pairs(f)
	return `SELECT a.label_id, a.mode, coalesce(a.given_id, 0), a.correct, count(*) FROM ` + pairs + ` AS p CROSS JOIN answer AS a
		ON a.learner_id = ? AND a.label_id = p.label_id AND a.mode = p.mode AND a.asked_at >= ? GROUP BY 1, 2, 3, 4`,
		append(args, s.learner, f.since())
}

// recentQuery gives label, mode and the last answers as one text, which costs a fraction of fetching them row by row: for
// each 4 times the thinking time, plus 2 if it was right, plus 1 if there was an answer. The inner query stops after so many
// entries of the index.
func (s *Store) recentQuery(f Filter) (string, []any) {
	pairs, args := s.pairs(f)
	return `SELECT p.label_id, p.mode, (SELECT coalesce(group_concat(answer_ms * 4 + correct * 2 + (given_id IS NOT NULL)), '') FROM (
			SELECT answer_ms, correct, given_id FROM answer AS r
			WHERE r.learner_id = ? AND r.label_id = p.label_id AND r.mode = p.mode AND r.asked_at >= ?
			ORDER BY asked_at DESC, id DESC LIMIT ?))
		FROM ` + pairs + " AS p", append([]any{s.learner, f.since(), RecentAnswers}, args...)
}

// since returns the time from which on answers count, in Unix milliseconds.
func (f Filter) since() int64 {
	if f.Since.IsZero() {
		return math.MinInt64
	}
	since := f.Since.UnixMilli()
	if f.Since.Nanosecond()%int(time.Millisecond) != 0 {
		since++ // what was asked in the millisecond before is not "at or after"
	}
	return since
}

type labelName struct{ kind, text string }

// labelNames returns all labels.
func labelNames(ctx context.Context, conn *sql.Conn) (map[int64]labelName, error) {
	rows, err := conn.QueryContext(ctx, "SELECT id, kind, text FROM label")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	names := map[int64]labelName{}
	for rows.Next() {
		var id int64
		var n labelName
		if err := rows.Scan(&id, &n.kind, &n.text); err != nil {
			return nil, err
		}
		names[id] = n
	}
	return names, rows.Err()
}

// integers reads the numbers of a group_concat, n of them or fewer.
func integers(text []byte, n int) ([]int, error) {
	list := make([]int, 0, n)
	if len(text) == 0 {
		return list, nil
	}
	for part := range bytes.SplitSeq(text, []byte(",")) {
		v, err := strconv.Atoi(string(part))
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
	return list, nil
}

func score(asked, right int) Score {
	s := Score{Asked: asked, Right: right}
	if asked > 0 {
		s.Accuracy = float64(right) / float64(asked)
	}
	s.Low, s.High = Wilson(right, asked)
	return s
}

// tally takes the thinking times of the last answered ones and may reorder them.
func tally(asked, right, gaveUp int, times []int) Tally {
	t := Tally{Score: score(asked, right), GaveUp: gaveUp, Answered: asked - gaveUp}
	t.MedianMS, _ = median(times)
	return t
}

// z95 is the 0.975 quantile of the normal distribution, for a two-sided 95 % interval.
const z95 = 1.959963984540054

// Wilson returns the 95 % score interval for a proportion of which right out of asked were seen, 0 <= low <= high <= 1.
// Nothing asked tells nothing: (0, 1). It returns NaN, NaN unless 0 <= right <= asked.
//
//	(p + z²/2n ± z √(p(1-p)/n + z²/4n²)) / (1 + z²/n),   p = right/asked, n = asked
//
// E. B. Wilson, Probable Inference, the Law of Succession, and Statistical Inference, J. Am. Stat. Assoc. 22 (1927)
// 209-212; without continuity correction.
func Wilson(right, asked int) (low, high float64) {
	switch {
	case right < 0 || right > asked:
		return math.NaN(), math.NaN()
	case asked == 0:
		return 0, 1
	}
	n := float64(asked)
	p, zz := float64(right)/n, z95*z95/n
	middle, half := p+zz/2, z95*math.Sqrt((p*(1-p)+zz/4)/n)
	low, high = (middle-half)/(1+zz), (middle+half)/(1+zz)
	if right == 0 {
		low = 0 // exactly, by the formula; the floating-point result is off by an ulp
	}
	if right == asked {
		high = 1
	}
	return low, high
}

// median returns the middle value of v, or the mean of the two middle ones, and reports whether there is any. It
// reorders v.
func median(v []int) (float64, bool) {
	if len(v) == 0 {
		return 0, false
	}
	m := len(v) / 2
	partition(v, m)
	if len(v)%2 == 1 {
		return float64(v[m]), true
	}
	return (float64(slices.Max(v[:m])) + float64(v[m])) / 2, true
}

// partition reorders v so that v[m] is what it would be if v were sorted, with nothing greater before it and nothing less
// after it. C. A. R. Hoare, Algorithm 65: Find, Comm. ACM 4 (1961) 321-322; linear time on the average.
func partition(v []int, m int) {
	for lo, hi := 0, len(v)-1; lo < hi; {
		pivot := max(min(v[lo], v[hi]), min(max(v[lo], v[hi]), v[lo+(hi-lo)/2])) // the middle one of three
		i, j := lo, hi
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch { // now [lo, j] <= pivot, [i, hi] >= pivot, what is between equals it
		case m <= j:
			hi = j
		case m >= i:
			lo = i
		default:
			return
		}
	}
}
