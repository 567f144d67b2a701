package progress

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// ErrNoLearner: nobody of that name is in this database.
var ErrNoLearner = errors.New("no such learner")

// maxName is the length of the longest name of a learner, in bytes.
const maxName = 100

// As returns a view of the same database that writes and reads the answers of the learner of that name; "" is whoever sits
// at this machine. With add, a learner who isn't there yet is written down; without, As returns an error wrapping
// [ErrNoLearner]. Closing the view closes the database.
func (s *Store) As(ctx context.Context, name string, add bool) (*Store, error) {
	name = strings.Join(strings.Fields(clean(name)), " ")
	if len(name) > maxName {
		return nil, fmt.Errorf("progress: a learner's name of %d bytes; want at most %d", len(name), maxName)
	}
	var id int64
	err := s.db.QueryRowContext(ctx, "SELECT id FROM learner WHERE name = ?", name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		if !add {
			return nil, fmt.Errorf("progress: %w: %q", ErrNoLearner, name)
		}
		err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, "INSERT INTO learner (name) VALUES (?) ON CONFLICT DO NOTHING", name); err != nil {
				return err
			}
			return tx.QueryRowContext(ctx, "SELECT id FROM learner WHERE name = ?", name).Scan(&id)
		})
	}
	if err != nil {
		return nil, explain(s.path, "looking for a learner in", err)
	}
	return &Store{path: s.path, db: s.db, learner: id, writing: s.writing, end: s.end}, nil
}

// A Learner is somebody who has answered, or has been named.
type Learner struct {
	Name        string    `json:"name"` // "" is whoever sits at this machine
	Score       Score     `json:"score"`
	Skills      int       `json:"skills"` // things asked at least once
	Sittings    int       `json:"sittings"`
	LastSitting time.Time `json:"last_sitting,omitzero"`
}

// Learners returns everybody in the database, by name; the nameless one only if there are answers.
func (s *Store) Learners(ctx context.Context) ([]Learner, error) {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return nil, explain(s.path, "reading", err)
	}
	defer conn.Close()
	out := []Learner{}
	err = each(ctx, conn, `SELECT name, coalesce((SELECT sum(asked) FROM session AS s WHERE s.learner_id = l.id), 0),
			coalesce((SELECT sum(right) FROM session AS s WHERE s.learner_id = l.id), 0),
			(SELECT count(*) FROM session AS s WHERE s.learner_id = l.id AND asked > 0),
			coalesce((SELECT max(started_at) FROM session AS s WHERE s.learner_id = l.id AND asked > 0), 0),
			(SELECT count(*) FROM (SELECT DISTINCT label_id, mode FROM day AS d WHERE d.learner_id = l.id))
		FROM learner AS l ORDER BY name`, nil, func(rows *sql.Rows) error {
		var l Learner
		var asked, right int
		var last int64
		if err := rows.Scan(&l.Name, &asked, &right, &l.Sittings, &last, &l.Skills); err != nil {
			return err
		}
		l.Score = score(asked, right)
		if l.Sittings > 0 {
			l.LastSitting = time.UnixMilli(last).UTC()
		}
		if l.Name != "" || asked > 0 {
			out = append(out, l)
		}
		return nil
	})
	if err != nil {
		return nil, explain(s.path, "reading", err)
	}
	return out, nil
}

// A Sitting is one session as it went.
type Sitting struct {
	ID       SessionID `json:"id"`
	Kind     string    `json:"kind"`
	Mode     Mode      `json:"mode"`
	Seed     uint64    `json:"seed"`
	Source   string    `json:"source,omitempty"`
	Settings string    `json:"settings,omitempty"` // a JSON value
	Started  time.Time `json:"started"`
	Ended    time.Time `json:"ended,omitzero"` // zero: still going, or cut off
	Score    Score     `json:"score"`
}

// Sittings returns the last n sessions in which something was answered, the newest first.
func (s *Store) Sittings(ctx context.Context, n int) ([]Sitting, error) {
	var out []Sitting
	err := s.reading(ctx, func(r reader) (err error) {
		out, err = r.sittings(ctx, n)
		return err
	})
	return out, err
}

func (r reader) sittings(ctx context.Context, n int) ([]Sitting, error) {
	out := []Sitting{}
	err := each(ctx, r.conn, `SELECT uid, kind, mode, seed, source, settings, started_at, ended_at, asked, right FROM session
		WHERE learner_id = ? AND asked > 0 ORDER BY started_at DESC, id DESC LIMIT ?`, []any{r.s.learner, n}, func(rows *sql.Rows) error {
		var t Sitting
		var seed, started int64
		var ended sql.NullInt64
		var asked, right int
		if err := rows.Scan(&t.ID, &t.Kind, &t.Mode, &seed, &t.Source, &t.Settings, &started, &ended, &asked, &right); err != nil {
			return err
		}
		t.Seed, t.Started, t.Score = uint64(seed), time.UnixMilli(started).UTC(), score(asked, right)
		if ended.Valid {
			t.Ended = time.UnixMilli(ended.Int64).UTC()
		}
		out = append(out, t)
		return nil
	})
	return out, err
}

// A Cell counts the answers that are alike in everything that is counted.
type Cell struct {
	Kind      string `json:"kind"`
	Mode      Mode   `json:"mode"`
	Label     string `json:"label"` // what was right
	Given     string `json:"given"` // "": gave up
	Correct   bool   `json:"correct"`
	Condition string `json:"condition,omitempty"` // "": not told
	Asked     int    `json:"asked"`
}

// Cells returns the counts of all answers of a kind and mode, "" being any; by kind, mode, label, and so on.
func (s *Store) Cells(ctx context.Context, kind string, mode Mode) ([]Cell, error) {
	var out []Cell
	err := s.reading(ctx, func(r reader) (err error) {
		out, err = r.cells(ctx, Filter{Kind: kind, Mode: mode})
		return err
	})
	return out, err
}

// cells reads the counts of each label as one text, see recentQuery: the condition, twice what was given plus 1 if it was
// right, and how many.
func (r reader) cells(ctx context.Context, f Filter) ([]Cell, error) {
	pairs, args := r.s.pairs(f)
	var out []Cell
	err := each(ctx, r.conn, `SELECT p.label_id, p.mode, (SELECT group_concat(condition_id || ',' || (given_id * 2 + correct) || ',' || asked) FROM tally AS t
			WHERE t.learner_id = ? AND t.label_id = p.label_id AND t.mode = p.mode)
		FROM `+pairs+" AS p", append([]any{r.s.learner}, args...), func(rows *sql.Rows) error {
		var label int64
		var mode Mode
		var text sql.RawBytes
		if err := rows.Scan(&label, &mode, &text); err != nil {
			return err
		}
		name := r.labels[label]
		return triples(text, func(condition, given, asked int) {
			out = append(out, Cell{name.kind, mode, name.text, r.labels[int64(given>>1)].text, given&1 == 1, r.conditions[int64(condition)], asked})
		})
	})
	slices.SortStableFunc(out, func(a, b Cell) int { // within a label they come in the order of the key
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Mode, b.Mode), cmp.Compare(a.Label, b.Label))
	})
	return out, err
}

// A reader reads at one moment.
type reader struct {
	s          *Store
	conn       *sql.Conn
	labels     map[int64]labelName
	conditions map[int64]string
}

// reading runs f at one moment of the database, with the names read already; there are hundreds of them where there are a
// million answers.
func (s *Store) reading(ctx context.Context, f func(reader) error) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return explain(s.path, "reading", err)
	}
	defer conn.Close()
	// A plain BEGIN, because the one of database/sql takes the write lock here; it makes the queries see the same moment.
	if _, err := conn.ExecContext(ctx, "BEGIN"); err != nil {
		return explain(s.path, "reading", err)
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK")
	r := reader{s: s, conn: conn}
	if r.labels, err = labelNames(ctx, conn); err == nil {
		r.conditions, err = conditionTexts(ctx, conn)
	}
	if err == nil {
		err = f(r)
	}
	if err != nil {
		return explain(s.path, "reading", err)
	}
	return nil
}

func conditionTexts(ctx context.Context, conn *sql.Conn) (map[int64]string, error) {
	texts := map[int64]string{}
	return texts, each(ctx, conn, "SELECT id, text FROM condition", nil, func(rows *sql.Rows) error {
		var id int64
		var text string
		err := rows.Scan(&id, &text)
		texts[id] = text
		return err
	})
}

// A History is what is known of one thing asked in one mode, for whoever chooses what to ask next.
type History struct {
	Kind  string
	Mode  Mode
	Label string
	Days  []Day  // the last ones on which it was asked, the oldest first
	Last  []Past // the last answers, the oldest first
}

// A Day counts the answers asked on a day of UTC.
type Day struct {
	Day          int // since 1 January 1970
	Asked, Right int
}

// Start returns the first moment of the day.
func (d Day) Start() time.Time { return time.Unix(int64(d.Day)*86400, 0).UTC() }

// A Past is an answer given before.
type Past struct {
	Correct   bool
	Condition string
	Given     string    // "": gave up
	Asked     time.Time // to the second
}

// Histories returns what is known of each thing asked so far: the last days on which it was asked, and the last answers, at
// most so many of each. It reads counts and an index, a bounded number of rows for each thing, however many answers there
// are. They come by kind, mode and label.
func (s *Store) Histories(ctx context.Context, days, last int) ([]History, error) {
	var out []History
	err := s.reading(ctx, func(r reader) (err error) {
		out, err = r.histories(ctx, days, last)
		return err
	})
	return out, err
}

func (r reader) histories(ctx context.Context, days, last int) ([]History, error) {
	pairs, args := r.s.pairs(Filter{})
	// As texts, see recentQuery: of a day its number, asked and right; of an answer 2 times its condition plus 1 if it was
	// right, what was given, and when, in seconds.
	query := `SELECT p.label_id, p.mode,
			(SELECT coalesce(group_concat(day || ',' || asked || ',' || right), '') FROM (
				SELECT day, asked, right FROM day AS d WHERE d.learner_id = ? AND d.label_id = p.label_id AND d.mode = p.mode
				ORDER BY day DESC LIMIT ?)),
			(SELECT coalesce(group_concat((coalesce(condition_id, 0) * 2 + correct) || ',' || coalesce(given_id, 0) || ',' || (asked_at / 1000)), '') FROM (
				SELECT condition_id, correct, given_id, asked_at FROM answer AS r WHERE r.learner_id = ? AND r.label_id = p.label_id AND r.mode = p.mode
				ORDER BY asked_at DESC, id DESC LIMIT ?))
		FROM ` + pairs + " AS p"
	var out []History
	err := each(ctx, r.conn, query, append([]any{r.s.learner, days, r.s.learner, last}, args...), func(rows *sql.Rows) error {
		var label int64
		var h History
		var dayText, lastText sql.RawBytes
		if err := rows.Scan(&label, &h.Mode, &dayText, &lastText); err != nil {
			return err
		}
		h.Kind, h.Label = r.labels[label].kind, r.labels[label].text
		h.Days, h.Last = make([]Day, 0, days), make([]Past, 0, last)
		err := triples(dayText, func(day, asked, right int) { h.Days = append(h.Days, Day{day, asked, right}) })
		if err != nil {
			return err
		}
		err = triples(lastText, func(how, given, at int) {
			h.Last = append(h.Last, Past{Correct: how&1 == 1, Condition: r.conditions[int64(how>>1)], Given: r.labels[int64(given)].text, Asked: time.Unix(int64(at), 0).UTC()})
		})
		slices.Reverse(h.Days)
		slices.Reverse(h.Last)
		out = append(out, h)
		return err
	})
	slices.SortFunc(out, func(a, b History) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Mode, b.Mode), cmp.Compare(a.Label, b.Label))
	})
	return out, err
}

// triples reads the numbers of a group_concat three by three.
func triples(text []byte, take func(a, b, c int)) error {
	var v [3]int
	n := 0
	for len(text) > 0 {
		part, rest, _ := bytes.Cut(text, []byte(","))
		x, err := strconv.Atoi(string(part))
		if err != nil {
			return err
		}
		v[n], text = x, rest
		if n++; n == 3 {
			take(v[0], v[1], v[2])
			n = 0
		}
	}
	if n != 0 {
		return fmt.Errorf("a list of %d numbers too many", n)
	}
	return nil
}

// A DayCount is a day's answers of one kind and mode.
type DayCount struct {
	Kind string
	Mode Mode
	Day
}

// dayCounts returns how many answers there were on each day from a day on, by kind and mode, the oldest first.
func (r reader) dayCounts(ctx context.Context, from int) ([]DayCount, error) {
	out := []DayCount{}
	err := each(ctx, r.conn, `SELECT kind, mode, day, asked, right FROM day_kind WHERE learner_id = ? AND day >= ?`, []any{r.s.learner, from}, func(rows *sql.Rows) error {
		var d DayCount
		err := rows.Scan(&d.Kind, &d.Mode, &d.Day.Day, &d.Asked, &d.Right)
		out = append(out, d)
		return err
	})
	slices.SortFunc(out, func(a, b DayCount) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Mode, b.Mode), a.Day.Day-b.Day.Day)
	})
	return out, err
}

// A Page is all that a page about a learner's progress is made of, as it stood at one moment.
type Page struct {
	Summary   Summary
	Histories []History
	Cells     []Cell
	Days      []DayCount // of the last PageDays days
	Sittings  []Sitting  // the last ones, the newest first
}

// How far back a Page looks.
const (
	PageDays     = 365
	pageSittings = 10
)

// Page reads a Page. days and last are as for Histories; now gives the day up to which it looks back.
func (s *Store) Page(ctx context.Context, days, last int, now time.Time) (Page, error) {
	var p Page
	err := s.reading(ctx, func(r reader) (err error) {
		if p.Cells, err = r.cells(ctx, Filter{}); err != nil {
			return err
		}
		if p.Summary, err = r.summarize(ctx, Filter{}, p.Cells); err != nil {
			return err
		}
		if p.Histories, err = r.histories(ctx, days, last); err != nil {
			return err
		}
		if p.Days, err = r.dayCounts(ctx, int(now.Unix()/86400)-PageDays); err != nil {
			return err
		}
		p.Sittings, err = r.sittings(ctx, pageSittings)
		return err
	})
	return p, err
}

// Asked is a question put in a session, for asking it again.
type Asked struct {
	Number   int
	Question string
	Kind     string
	Mode     Mode
	Detail   string // a JSON value
}

// Questions returns what was asked in a session, in the order of the numbers. It returns an error wrapping [ErrNoSession] if
// the learner has no session of that name.
func (s *Store) Questions(ctx context.Context, id SessionID) ([]Asked, error) {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return nil, explain(s.path, "reading", err)
	}
	defer conn.Close()
	var session int64
	err = conn.QueryRowContext(ctx, "SELECT id FROM session WHERE uid = ? AND learner_id = ?", string(id), s.learner).Scan(&session)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("progress: %w: %q", ErrNoSession, string(id))
	}
	var out []Asked
	if err == nil {
		err = each(ctx, conn, `SELECT number, question, l.kind, mode, detail FROM answer AS a JOIN label AS l ON l.id = a.label_id
			WHERE session_id = ? ORDER BY number, a.id`, []any{session}, func(rows *sql.Rows) error {
			var a Asked
			err := rows.Scan(&a.Number, &a.Question, &a.Kind, &a.Mode, &a.Detail)
			out = append(out, a)
			return err
		})
	}
	if err != nil {
		return nil, explain(s.path, "reading", err)
	}
	return out, nil
}

// An Offered is an answer with the choices that were offered.
type Offered struct {
	Label, Given string // Given is "" for giving up
	Condition    string
	Choices      []string
}

// Offers returns, of each label of a kind and mode, the last answers whose detail tells the choices ("choices", a list of
// labels), at most so many; by label.
func (s *Store) Offers(ctx context.Context, kind string, mode Mode, labels []string, last int) ([]Offered, error) {
	var out []Offered
	err := s.reading(ctx, func(r reader) error {
		for _, label := range labels {
			err := each(ctx, r.conn, `SELECT coalesce(a.given_id, 0), coalesce(a.condition_id, 0), a.detail ->> '$.choices'
				FROM (SELECT id FROM answer AS r WHERE r.learner_id = ? AND r.label_id = (SELECT id FROM label WHERE kind = ? AND text = ?) AND r.mode = ?
					ORDER BY asked_at DESC, id DESC LIMIT ?) AS x JOIN answer AS a ON a.id = x.id WHERE a.detail <> '{}'`,
				[]any{s.learner, kind, label, string(mode), last}, func(rows *sql.Rows) error {
					var given, condition int64
					var choices sql.RawBytes
					if err := rows.Scan(&given, &condition, &choices); err != nil {
						return err
					}
					o := Offered{Label: label, Given: r.labels[given].text, Condition: r.conditions[condition]}
					if json.Unmarshal(choices, &o.Choices) == nil && len(o.Choices) > 1 {
						out = append(out, o)
					}
					return nil
				})
			if err != nil {
				return err
			}
		}
		return nil
	})
	return out, err
}
