package progress

import (
	"context"
	"database/sql"
	"fmt"
)

// A Health tells what a check of the file found.
type Health struct {
	Version  int // of the schema
	Learners int
	Sessions int
	Answers  int
	Ear      int // answers about claims
	// Faults are what is wrong, in plain words; none if all is well.
	Faults []string
}

// Check reads the whole file: SQLite's own check of its pages and indexes, that everything that is pointed to is there, and
// that the counts kept with the answers are what counting them again gives. Nothing is changed.
func (s *Store) Check(ctx context.Context) (Health, error) {
	var h Health
	err := s.reading(ctx, func(r reader) error {
		err := each(ctx, r.conn, "PRAGMA integrity_check(20)", nil, func(rows *sql.Rows) error {
			var word string
			err := rows.Scan(&word)
			if word != "ok" {
				h.Faults = append(h.Faults, "the file is damaged: "+word)
			}
			return err
		})
		if err != nil {
			return err
		}
		for _, c := range []struct {
			into  *int
			query string
		}{
			{&h.Version, "SELECT user_version FROM pragma_user_version"}, {&h.Learners, "SELECT count(*) FROM learner"}, {&h.Sessions, "SELECT count(*) FROM session"},
			{&h.Answers, "SELECT count(*) FROM answer"}, {&h.Ear, "SELECT count(*) FROM ear_answer"},
		} {
			if err := r.conn.QueryRowContext(ctx, c.query).Scan(c.into); err != nil {
				return err
			}
		}
		const same = `SELECT count(*) FROM (SELECT * FROM (%[1]s EXCEPT %[2]s) UNION ALL SELECT * FROM (%[2]s EXCEPT %[1]s))`
		counted := func(kept, again string) string { return fmt.Sprintf(same, kept, again) }
		for _, c := range []struct{ fault, query string }{
			{"%d rows point to rows that are not there", "SELECT count(*) FROM pragma_foreign_key_check"},
			{"%d counts by label are not what counting the answers gives", counted("SELECT learner_id, label_id, mode, condition_id, given_id, correct, asked FROM tally",
				"SELECT learner_id, label_id, mode, coalesce(condition_id, 0), coalesce(given_id, 0), correct, count(*) FROM answer GROUP BY 1, 2, 3, 4, 5, 6")},
			{"%d counts by day are not what counting the answers gives", counted("SELECT learner_id, label_id, mode, day, asked, right FROM day",
				"SELECT learner_id, label_id, mode, asked_at / 86400000, count(*), sum(correct) FROM answer GROUP BY 1, 2, 3, 4")},
			{"%d counts by day and kind are not what counting the answers gives", counted("SELECT learner_id, kind, mode, day, asked, right FROM day_kind",
				"SELECT a.learner_id, l.kind, a.mode, a.asked_at / 86400000, count(*), sum(a.correct) FROM answer AS a JOIN label AS l ON l.id = a.label_id GROUP BY 1, 2, 3, 4")},
			{"%d counts of sittings are not what counting the answers gives", counted("SELECT id, asked, right FROM session",
				"SELECT s.id, count(a.id), coalesce(sum(a.correct), 0) FROM session AS s LEFT JOIN answer AS a ON a.session_id = s.id GROUP BY 1")},
			{"%d answers belong to another learner than their sitting", "SELECT count(*) FROM answer AS a JOIN session AS s ON s.id = a.session_id WHERE a.learner_id <> s.learner_id"},
			{"%d answers are of a kind of drill other than what was given", "SELECT count(*) FROM answer AS a JOIN label AS l ON l.id = a.label_id JOIN label AS g ON g.id = a.given_id WHERE l.kind <> g.kind"},
		} {
			var n int
			if err := r.conn.QueryRowContext(ctx, c.query).Scan(&n); err != nil {
				return err
			}
			if n > 0 {
				h.Faults = append(h.Faults, fmt.Sprintf(c.fault, n))
			}
		}
		return nil
	})
	return h, err
}
