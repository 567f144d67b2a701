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
const RecentAnswers = 200

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
	MedianMS float64 `json:"median_ms,omitzero"` // thinking time of the answered ones; 0 and left out if there is none
}

// Summary counts the answers that f chooses, as they stood at one moment.
func (s *Store) Summary(ctx context.Context, f Filter) (Summary, error) {
	if f.Mode != "" && f.Mode != Ear && f.Mode != Sight {
		return Summary{}, fmt.Errorf("progress: mode %q; want %q, %q or nothing", f.Mode, Ear, Sight)
	}
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return Summary{}, explain(s.path, "reading", err)
	}
	defer conn.Close()
	// A plain BEGIN, because the one of database/sql takes the write lock here; it makes the queries see the same moment.
	if _, err := conn.ExecContext(ctx, "BEGIN"); err != nil {
		return Summary{}, explain(s.path, "reading", err)
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK")
	sum, err := summarize(ctx, conn, f)
	if err != nil {
		return Summary{}, explain(s.path, "reading", err)
	}
	return sum, nil
}

func summarize(ctx context.Context, conn *sql.Conn, f Filter) (Summary, error) {
	names, err := labelNames(ctx, conn)
	if err != nil {
		return Summary{}, err
	}
	where, args := f.where()
	rows, err := conn.QueryContext(ctx, tallyQuery(where), append([]any{defaultLearner, args[1], RecentAnswers}, args...)...)
	if err != nil {
		return Summary{}, err
	}
	defer rows.Close()
	type groupKey struct {
		kind string
		mode Mode
	}
	type labelTimes struct {
		Label
		times []int
	}
	groups := map[groupKey][]labelTimes{}
	for rows.Next() {
		var (
			label                             int64
			mode                              Mode
			asked, right, answered, lastRight int
			took, confused                    sql.RawBytes
		)
		if err := rows.Scan(&label, &mode, &asked, &right, &answered, &took, &confused, &lastRight); err != nil {
			return Summary{}, err
		}
		times, err := integers(took, answered)
		if err != nil {
			return Summary{}, err
		}
		given, err := integers(confused, asked-right)
		if err != nil {
			return Summary{}, err
		}
		name := names[label]
		l := labelTimes{times: times, Label: Label{
			Label:      name.text,
			Total:      tally(asked, right, times),
			Recent:     score(min(asked, RecentAnswers), lastRight),
			Confusions: confusions(given, names),
		}}
		g := groupKey{name.kind, mode}
		groups[g] = append(groups[g], l)
	}
	if err := rows.Err(); err != nil {
		return Summary{}, err
	}

	sum := Summary{Groups: []Group{}}
	var all [][]int
	for g, labels := range groups {
		slices.SortFunc(labels, func(a, b labelTimes) int { return cmp.Compare(a.Label.Label, b.Label.Label) })
		out := Group{Kind: g.kind, Mode: g.mode}
		var asked, right int
		var lists [][]int
		for _, l := range labels {
			asked, right, lists = asked+l.Total.Asked, right+l.Total.Right, append(lists, l.times)
			out.Labels = append(out.Labels, l.Label)
		}
		times := slices.Concat(lists...)
		out.Total = tally(asked, right, times)
		sum.Total.Asked, sum.Total.Right, all = sum.Total.Asked+asked, sum.Total.Right+right, append(all, times)
		sum.Groups = append(sum.Groups, out)
	}
	slices.SortFunc(sum.Groups, func(a, b Group) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Mode, b.Mode)) })
	sum.Total = tally(sum.Total.Asked, sum.Total.Right, slices.Concat(all...))
	return sum, nil
}

// tallyQuery is one pass over the index answer_summary. The times come as one text for each label, which costs a fraction
// of fetching them row by row or of sorting them in SQLite, and so does what was said wrongly. An answer that names the
// right label and is still marked wrong (for a part of it that the label does not tell) is no confusion. The inner query
// stops after so many entries of the index. The arguments are the learner, the time and the number of recent answers, then
// those of where.
func tallyQuery(where string) string {
	return `SELECT label_id, mode, count(*), sum(correct), count(given_id),
			coalesce(group_concat(CASE WHEN given_id IS NOT NULL THEN answer_ms END), ''),
			coalesce(group_concat(CASE WHEN correct = 0 AND given_id <> label_id THEN given_id END), ''),
			(SELECT sum(correct) FROM (SELECT correct FROM answer AS r
				WHERE r.learner_id = ? AND r.label_id = a.label_id AND r.mode = a.mode AND r.asked_at >= ?
				ORDER BY asked_at DESC, id DESC LIMIT ?))
		FROM answer AS a WHERE ` + where + ` GROUP BY label_id, mode`
}

// where returns the condition on table answer for f, and its arguments: the learner, the time in Unix milliseconds, then
// what else is asked for.
func (f Filter) where() (string, []any) {
	since := int64(math.MinInt64)
	if !f.Since.IsZero() {
		since = f.Since.UnixMilli()
		if f.Since.Nanosecond()%int(time.Millisecond) != 0 {
			since++ // what was asked in the millisecond before is not "at or after"
		}
	}
	where, args := "learner_id = ? AND asked_at >= ?", []any{defaultLearner, since}
	if f.Mode != "" {
		where, args = where+" AND mode = ?", append(args, string(f.Mode))
	}
	if f.Kind != "" {
		where, args = where+" AND label_id IN (SELECT id FROM label WHERE kind = ?)", append(args, f.Kind)
	}
	return where, args
}

type labelName struct{ kind, text string }

// labelNames returns all labels; there are hundreds of them where there are a million answers.
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

// confusions returns what was most often said in place of a label, given what was said each time it was wrong.
func confusions(given []int, names map[int64]labelName) []Confusion {
	count := map[int]int{}
	for _, id := range given {
		count[id]++
	}
	list := make([]Confusion, 0, len(count)) // not nil: an empty list in JSON
	for id, n := range count {
		list = append(list, Confusion{Given: names[int64(id)].text, Count: n})
	}
	slices.SortFunc(list, func(a, b Confusion) int { return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Given, b.Given)) })
	return slices.Clip(list[:min(len(list), worstConfusions)])
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

// tally takes the thinking times of the answered ones and may reorder them.
func tally(asked, right int, times []int) Tally {
	t := Tally{Score: score(asked, right), GaveUp: asked - len(times), Answered: len(times)}
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
