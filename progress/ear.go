package progress

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/mattn/go-sqlite3"
)

// A ClaimID says which claim was asked about by ear. Key tells claims apart, on every machine; the rest is for reading.
type ClaimID struct {
	Key       string
	Passage   string // the title, or the file
	Place     string
	Statement string
	Form      string
}

// TryID names a try, on every machine.
type TryID string

// An EarTry is one row of answers about a claim, with what came of it. Verdict is "" while it is open, else "heard",
// "not heard" or "undecided".
type EarTry struct {
	ID           TryID
	Seed         uint64
	Began        time.Time
	Right, Wrong int // a give-up is wrong
	Verdict      string
	Decided      time.Time // zero while it is open
}

// An EarAnswer is one answer within a try. Verdict is what the answer brought, "" if the try goes on.
type EarAnswer struct {
	ID       string // optional; unique across machines
	Try      TryID
	Number   int    // within the try, from 1
	Task     string // "which of two" or "yes or no"
	Expected string
	Given    string // "" is giving up
	Correct  bool
	Took     time.Duration // 0 or more, kept to the millisecond
	Replays  int
	Asked    time.Time
	Answered time.Time
	Detail   json.RawMessage // optional: a JSON value
	Verdict  string
}

// An EarClaim is a claim with all its tries, the oldest first.
type EarClaim struct {
	ClaimID
	Tries []EarTry
}

// ErrNoTry: no try of that name has begun in this database, or it is decided already.
var ErrNoTry = errors.New("no such try, or one that is decided already")

// BeginTry writes down that a try of a claim has begun. It returns an error if a field is missing.
func (s *Store) BeginTry(ctx context.Context, c ClaimID, seed uint64, at time.Time) (TryID, error) {
	switch {
	case c.Key == "" || len(c.Key) > maxID:
		return "", fmt.Errorf("progress: claim: a key of %d bytes; want 1 to %d", len(c.Key), maxID)
	case c.Statement == "":
		return "", errors.New("progress: claim: no statement")
	case at.IsZero():
		return "", errors.New("progress: claim: no time at which the try began")
	}
	id := NewID(at)
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO ear_claim (key, passage, place, statement, form) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT (key) DO UPDATE SET passage = excluded.passage`, c.Key, clean(c.Passage), clean(c.Place), clean(c.Statement), c.Form); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO ear_try (uid, claim_id, learner_id, seed, began_at, verdict)
			SELECT ?, id, ?, ?, ?, '' FROM ear_claim WHERE key = ?`, id, s.learner, int64(seed), at.UnixMilli(), c.Key)
		return err
	})
	if err != nil {
		return "", explain(s.path, "beginning a try in", err)
	}
	return TryID(id), nil
}

// clean makes text that a user wrote fit for the database.
func clean(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// RecordEar writes an answer and the verdict it brought down, both or neither. When it returns nil, they are on disk; like
// Record it is not stopped by ctx. It returns an error wrapping [ErrNoTry], or [ErrRecorded] if the try has an answer of that
// number or ID already, or saying which field is missing or out of range.
func (s *Store) RecordEar(ctx context.Context, a EarAnswer) error {
	detail, err := jsonText(a.Detail)
	switch {
	case err != nil:
		return fmt.Errorf("progress: answer: detail: %w", err)
	case len(a.ID) > maxID:
		return fmt.Errorf("progress: answer: an ID of %d bytes; want at most %d", len(a.ID), maxID)
	case a.Number < 1:
		return fmt.Errorf("progress: answer: number %d; want 1 or more", a.Number)
	case a.Expected == "":
		return errors.New("progress: answer: no expected answer")
	case a.Correct && a.Given == "":
		return errors.New("progress: answer: marked right, but nothing was given")
	case a.Took < 0 || a.Replays < 0:
		return fmt.Errorf("progress: answer: took %v, %d replays; want 0 or more", a.Took, a.Replays)
	case a.Asked.IsZero() || a.Answered.IsZero():
		return errors.New("progress: answer: no time at which it was asked or answered")
	}
	if a.ID == "" {
		a.ID = NewID(a.Answered)
	}
	err = s.write(context.WithoutCancel(ctx), func(ctx context.Context, tx *sql.Tx) error {
		res, err := tx.ExecContext(ctx, `INSERT INTO ear_answer (uid, try_id, number, task, expected, given, correct, answer_ms, replays,
				asked_at, answered_at, detail)
			SELECT ?, id, ?, ?, ?, ?, ?, ?, ?, ?, ?, ? FROM ear_try WHERE uid = ? AND verdict = ''`,
			a.ID, a.Number, a.Task, a.Expected, clean(a.Given), a.Correct, a.Took.Round(time.Millisecond).Milliseconds(), a.Replays,
			a.Asked.UnixMilli(), a.Answered.UnixMilli(), detail, string(a.Try))
		var se sqlite3.Error
		if errors.As(err, &se) && se.ExtendedCode == sqlite3.ErrConstraintUnique {
			return fmt.Errorf("answer %d: %w", a.Number, ErrRecorded)
		}
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err != nil {
			return err
		} else if n != 1 {
			return fmt.Errorf("%w: %q", ErrNoTry, string(a.Try))
		}
		if a.Verdict == "" {
			return nil
		}
		_, err = tx.ExecContext(ctx, "UPDATE ear_try SET verdict = ?, decided_at = ? WHERE uid = ?", a.Verdict, a.Answered.UnixMilli(), string(a.Try))
		return err
	})
	if err != nil {
		return explain(s.path, "recording an answer in", err)
	}
	return nil
}

// EarClaims returns the claims that were asked about by ear, in the order in which they were first met, each with its tries,
// the oldest first. If keys are given, only claims with these. A try without an answer is left out.
func (s *Store) EarClaims(ctx context.Context, keys ...string) ([]EarClaim, error) {
	want, err := json.Marshal(keys)
	if err != nil {
		return nil, fmt.Errorf("progress: %w", err)
	}
	rows, err := s.db.QueryContext(ctx, `SELECT c.key, c.passage, c.place, c.statement, c.form, t.uid, t.seed, t.began_at, t.verdict, t.decided_at,
			sum(a.correct), count(*) - sum(a.correct)
		FROM ear_try t JOIN ear_claim c ON c.id = t.claim_id JOIN ear_answer a ON a.try_id = t.id
		WHERE t.learner_id = ? AND (? = 0 OR c.key IN (SELECT value FROM json_each(?)))
		GROUP BY t.id ORDER BY c.id, t.began_at, t.id`, s.learner, len(keys), string(want))
	if err != nil {
		return nil, explain(s.path, "reading", err)
	}
	defer rows.Close()
	var out []EarClaim
	for rows.Next() {
		var c ClaimID
		var t EarTry
		var seed, began int64
		var decided sql.NullInt64
		if err := rows.Scan(&c.Key, &c.Passage, &c.Place, &c.Statement, &c.Form, &t.ID, &seed, &began, &t.Verdict, &decided, &t.Right, &t.Wrong); err != nil {
			return nil, explain(s.path, "reading", err)
		}
		t.Seed, t.Began = uint64(seed), time.UnixMilli(began).UTC()
		if decided.Valid {
			t.Decided = time.UnixMilli(decided.Int64).UTC()
		}
		if n := len(out); n == 0 || out[n-1].Key != c.Key {
			out = append(out, EarClaim{ClaimID: c})
		}
		last := &out[len(out)-1]
		last.Tries = append(last.Tries, t)
	}
	if err := rows.Err(); err != nil {
		return nil, explain(s.path, "reading", err)
	}
	return out, nil
}
