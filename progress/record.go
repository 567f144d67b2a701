package progress

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/mattn/go-sqlite3"
)

// Mode is how a question is put: by ear or by the written notes.
type Mode string

const (
	Ear   Mode = "ear"
	Sight Mode = "sight"
)

// maxID is the length of the longest ID of an answer or session, in bytes.
const maxID = 100

// SessionID names a session, on every machine.
type SessionID string

// SessionInfo is what is known when a session begins.
type SessionInfo struct {
	ID       SessionID       // optional; made by Begin if empty
	Kind     string          // of drill, or any other word for a mixture; each answer says its own
	Mode     Mode            //
	Seed     uint64          // gives the same questions again
	Source   string          // the passage asked about and where in it; empty if none
	Settings json.RawMessage // optional: a JSON value
	Started  time.Time
}

// Answer is one question and what came of it.
type Answer struct {
	ID       string        // optional; unique across machines. Give one (see NewID) to be able to try again safely
	Session  SessionID     //
	Number   int           // of the question within the session, from 1
	Question string        // optional: the drill's own name for the question
	Kind     string        // of drill
	Mode     Mode          //
	Expected string        // the label that is right
	Given    string        // the label that was said; empty: gave up
	Correct  bool          // the grader's word; Given may differ from Expected and be right, as a synonym is
	Took     time.Duration // thinking time, kept to the millisecond; 0 or more
	Replays  int           // 0 or more
	Asked    time.Time     // when the question was put
	Answered time.Time     //
	// Condition tells under what circumstances it was asked, as text that means something to the caller; optional. Answers
	// are counted by it, so it should take few values (hundreds).
	Condition string
	Detail    json.RawMessage // optional: a JSON value, e.g. the notes that sounded
}

// NewID returns a new name for an answer or session, unique across machines: a version 7 UUID (RFC 9562, section 5.7),
// 48 bits of Unix milliseconds of at, then 74 random bits. Names made later sort later, which keeps their index compact.
func NewID(at time.Time) string {
	var b [16]byte
	rand.Read(b[6:]) // never fails: crypto/rand documents that it crashes the program instead
	ms := at.UnixMilli()
	for i := range 6 {
		b[i] = byte(ms >> (40 - 8*i))
	}
	b[6] = b[6]&0x0f | 0x70 // version 7
	b[8] = b[8]&0x3f | 0x80 // variant 10
	h := hex.EncodeToString(b[:])
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

// Begin writes down that a session has begun and returns its name. It returns an error if a field that is not optional
// is missing, or if a session of that ID exists.
func (s *Store) Begin(ctx context.Context, in SessionInfo) (SessionID, error) {
	settings, err := jsonText(in.Settings)
	switch {
	case err != nil:
		return "", fmt.Errorf("progress: session: settings: %w", err)
	case len(in.ID) > maxID:
		return "", fmt.Errorf("progress: session: an ID of %d bytes; want at most %d", len(in.ID), maxID)
	case in.Kind == "":
		return "", errors.New("progress: session: no kind of drill")
	case in.Mode != Ear && in.Mode != Sight:
		return "", fmt.Errorf("progress: session: mode %q; want %q or %q", in.Mode, Ear, Sight)
	case in.Started.IsZero():
		return "", errors.New("progress: session: no time at which it started")
	}
	if in.ID == "" {
		in.ID = SessionID(NewID(in.Started))
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO session (uid, learner_id, kind, mode, seed, source, settings, started_at)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
			string(in.ID), s.learner, in.Kind, string(in.Mode), int64(in.Seed), in.Source, settings, in.Started.UnixMilli())
		return err
	})
	if err != nil {
		return "", explain(s.path, "beginning a session in", err)
	}
	return in.ID, nil
}

// End writes down when a session ended. One that has ended already keeps its time. It returns an error wrapping
// [ErrNoSession] if there is none of that name. Like Record it is not stopped by ctx.
func (s *Store) End(ctx context.Context, id SessionID, at time.Time) error {
	if at.IsZero() {
		return errors.New("progress: session: no time at which it ended")
	}
	err := s.write(context.WithoutCancel(ctx), func(ctx context.Context, tx *sql.Tx) error {
		res, err := tx.ExecContext(ctx, "UPDATE session SET ended_at = coalesce(ended_at, ?) WHERE uid = ?", at.UnixMilli(), string(id))
		return needRow(res, err, id)
	})
	if err != nil {
		return explain(s.path, "ending a session in", err)
	}
	return nil
}

// Record writes an answer down. When it returns nil, the answer is on disk.
//
// Once called it is not stopped by ctx: whoever presses Ctrl-C after answering has still answered. It may wait for
// another program, at most 5 s. It returns an error wrapping [ErrNoSession], or [ErrRecorded] if an answer of that ID is
// there already, or saying which field is missing or out of range; then nothing has been written.
func (s *Store) Record(ctx context.Context, a Answer) error {
	detail, err := jsonText(a.Detail)
	switch {
	case err != nil:
		return fmt.Errorf("progress: answer: detail: %w", err)
	case len(a.ID) > maxID:
		return fmt.Errorf("progress: answer: an ID of %d bytes; want at most %d", len(a.ID), maxID)
	case a.Kind == "":
		return errors.New("progress: answer: no kind of drill")
	case a.Mode != Ear && a.Mode != Sight:
		return fmt.Errorf("progress: answer: mode %q; want %q or %q", a.Mode, Ear, Sight)
	case a.Expected == "":
		return errors.New("progress: answer: no expected label")
	case a.Correct && a.Given == "":
		return errors.New("progress: answer: marked right, but nothing was given")
	case a.Number < 1:
		return fmt.Errorf("progress: answer: question number %d; want 1 or more", a.Number)
	case a.Took < 0:
		return fmt.Errorf("progress: answer: took %v; want 0 or more", a.Took)
	case a.Replays < 0:
		return fmt.Errorf("progress: answer: %d replays; want 0 or more", a.Replays)
	case a.Asked.IsZero() || a.Answered.IsZero():
		return errors.New("progress: answer: no time at which it was asked or answered")
	}
	if a.ID == "" {
		a.ID = NewID(a.Answered)
	}
	given := sql.NullString{String: strings.ToValidUTF8(a.Given, "\uFFFD"), Valid: a.Given != ""} // may be typed
	err = s.write(context.WithoutCancel(ctx), func(ctx context.Context, tx *sql.Tx) error {
		for _, text := range []sql.NullString{{String: a.Expected, Valid: true}, given} {
			if !text.Valid {
				continue
			}
			if _, err := tx.ExecContext(ctx, "INSERT INTO label (kind, text) VALUES (?, ?) ON CONFLICT DO NOTHING", a.Kind, text.String); err != nil {
				return err
			}
		}
		if a.Condition != "" {
			if _, err := tx.ExecContext(ctx, "INSERT INTO condition (text) VALUES (?) ON CONFLICT DO NOTHING", a.Condition); err != nil {
				return err
			}
		}
		res, err := tx.ExecContext(ctx, `INSERT INTO answer (uid, session_id, learner_id, number, question, mode, label_id, given_id,
				correct, answer_ms, replays, asked_at, answered_at, detail, condition_id)
			SELECT ?, id, learner_id, ?, ?, ?, (SELECT id FROM label WHERE kind = ? AND text = ?), (SELECT id FROM label WHERE kind = ? AND text = ?),
				?, ?, ?, ?, ?, ?, (SELECT id FROM condition WHERE text = ?) FROM session WHERE uid = ?`,
			a.ID, a.Number, a.Question, string(a.Mode), a.Kind, a.Expected, a.Kind, given,
			a.Correct, a.Took.Round(time.Millisecond).Milliseconds(), a.Replays, a.Asked.UnixMilli(), a.Answered.UnixMilli(), detail,
			a.Condition, string(a.Session))
		var se sqlite3.Error
		if errors.As(err, &se) && se.ExtendedCode == sqlite3.ErrConstraintUnique { // uid is the only thing unique about an answer
			return fmt.Errorf("answer %q: %w", a.ID, ErrRecorded)
		}
		return needRow(res, err, a.Session)
	})
	if err != nil {
		return explain(s.path, "recording an answer in", err)
	}
	return nil
}

// write runs f in one immediate transaction.
func (s *Store) write(ctx context.Context, f func(context.Context, *sql.Tx) error) error {
	select {
	case s.writing <- struct{}{}:
		defer func() { <-s.writing }()
	case <-ctx.Done():
		return ctx.Err()
	}
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := f(ctx, tx); err != nil {
		return err
	}
	return tx.Commit()
}

// needRow turns a statement that found no session into ErrNoSession.
func needRow(res sql.Result, err error, id SessionID) error {
	if err != nil {
		return err
	}
	if n, err := res.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return fmt.Errorf("%w: %q", ErrNoSession, string(id))
}

// jsonText returns v as text for a column that must hold JSON; nothing becomes an empty object.
func jsonText(v json.RawMessage) (string, error) {
	if len(v) == 0 {
		return "{}", nil
	}
	if !json.Valid(v) {
		return "", fmt.Errorf("%.60q is not JSON", v)
	}
	return string(v), nil
}
