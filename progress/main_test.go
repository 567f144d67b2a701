package progress

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The test binary is also the program that is killed, or that runs as a user who may not write.
const childEnv = "PLUMBLINE_PROGRESS_CHILD" // "record PATH PREFIX" or "open PATH"

func TestMain(m *testing.M) {
	if job := strings.Split(os.Getenv(childEnv), "\t"); len(job) > 1 {
		os.Exit(child(job))
	}
	code := m.Run()
	if millionDir != "" {
		os.RemoveAll(millionDir)
	}
	os.Exit(code)
}

// child opens a database. For "record" it then records answers for ever, each acknowledged by a line with its ID after
// Record has returned.
func child(job []string) int {
	ctx := context.Background()
	s, err := Open(ctx, job[1])
	if err != nil {
		fmt.Println("error:", err)
		for _, e := range []error{ErrNotWritable, ErrNotDatabase, ErrDamaged} {
			if errors.Is(err, e) {
				fmt.Println("is:", e)
			}
		}
		return 1
	}
	if job[0] == "open" {
		fmt.Println("opened")
		return 0
	}
	session, err := s.Begin(ctx, SessionInfo{Kind: "chord quality", Mode: Ear, Started: t0})
	if err != nil {
		fmt.Println("error:", err)
		return 1
	}
	out := bufio.NewWriterSize(os.Stdout, 1<<10)
	for i := 1; ; i++ {
		a := answer(session, i, "minor seventh", "minor seventh")
		a.ID = fmt.Sprintf("%s-%06d", job[2], i)
		if err := s.Record(ctx, a); err != nil {
			fmt.Println("error:", err)
			return 1
		}
		fmt.Fprintf(out, "%s\n", a.ID)
		out.Flush()
	}
}

// t0 is when every test session begins.
var t0 = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)

// answer returns the i-th answer of a session, asked i seconds after t0 and answered in i ms.
func answer(session SessionID, i int, expected, given string) Answer {
	asked := t0.Add(time.Duration(i) * time.Second)
	took := time.Duration(i) * time.Millisecond
	return Answer{Session: session, Number: i, Kind: "chord quality", Mode: Ear, Expected: expected, Given: given,
		Correct: expected == given, Took: took, Asked: asked, Answered: asked.Add(took)}
}

func mustOpen(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path)
	if err != nil {
		t.Fatalf("Open(%q): %v", path, err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func mustBegin(t testing.TB, s *Store) SessionID {
	t.Helper()
	id, err := s.Begin(t.Context(), SessionInfo{Kind: "chord quality", Mode: Ear, Started: t0})
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func mustRecord(t testing.TB, s *Store, answers ...Answer) {
	t.Helper()
	for _, a := range answers {
		if err := s.Record(t.Context(), a); err != nil {
			t.Fatalf("Record(%+v): %v", a, err)
		}
	}
}

// number returns the one number that a query gives.
func number(t testing.TB, s *Store, query string, args ...any) int {
	t.Helper()
	var n int
	if err := s.db.QueryRowContext(t.Context(), query, args...).Scan(&n); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}

// mustBeSound fails the test unless SQLite's own check finds nothing wrong.
func mustBeSound(t testing.TB, s *Store) {
	t.Helper()
	var verdict string
	if err := s.db.QueryRowContext(t.Context(), "PRAGMA integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		t.Fatalf("integrity_check: %q, %v; want ok", verdict, err)
	}
	if n := number(t, s, "SELECT count(*) FROM pragma_foreign_key_check"); n != 0 {
		t.Fatalf("foreign_key_check: %d rows; want 0", n)
	}
}

func newPath(t testing.TB) string { return filepath.Join(t.TempDir(), "progress.db") }
