package progress

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// What is written comes back column by column.
func TestRecordWritesEverything(t *testing.T) {
	s := mustOpen(t, newPath(t))
	started := time.Date(2026, 3, 1, 10, 0, 0, 123_999_999, time.FixedZone("", 3600)) // another zone, and more than milliseconds
	session, err := s.Begin(t.Context(), SessionInfo{ID: "one", Kind: "mixture", Mode: Sight, Seed: 1<<64 - 1, Source: "étude.txt, bars 3-4",
		Settings: []byte(`{"count":20}`), Started: started})
	if err != nil || session != "one" {
		t.Fatalf("Begin = %q, %v; want one", session, err)
	}
	a := Answer{ID: "a1", Session: session, Number: 7, Question: "q7", Kind: "construction", Mode: Ear, Expected: "stacked fourths", Given: "stacked fifths",
		Took: 1499*time.Millisecond + 600*time.Microsecond, Replays: 3, Asked: started.Add(time.Minute), Answered: started.Add(62 * time.Second), Detail: []byte(`{"notes":["E3","A3","D4"]}`)}
	gaveUp := a
	gaveUp.ID, gaveUp.Number, gaveUp.Given, gaveUp.Detail = "a2", 8, "", nil
	typed := a
	typed.ID, typed.Number, typed.Given = "a3", 9, "four\xffths"
	mustRecord(t, s, a, gaveUp, typed)
	if err := s.End(t.Context(), session, started.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.End(t.Context(), session, started.Add(2*time.Hour)); err != nil {
		t.Errorf("End again: %v; want nil", err)
	}
	rows := func(query string) string {
		t.Helper()
		var out string
		if err := s.db.QueryRowContext(t.Context(), query).Scan(&out); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
		return out
	}
	ms := started.UnixMilli()
	if ms != 1772355600123 { // date -u -d '2026-03-01 09:00:00.123' +%s%3N, GNU coreutils
		t.Fatalf("the test's time is %d", ms)
	}
	for query, want := range map[string]string{
		"SELECT concat_ws('|', uid, learner_id, kind, mode, seed, source, settings, started_at, ended_at) FROM session": fmt.Sprintf(
			`one|1|mixture|sight|-1|étude.txt, bars 3-4|{"count":20}|%d|%d`, ms, ms+3600_000),
		`SELECT group_concat(concat_ws('|', a.uid, s.uid, a.learner_id, number, question, a.mode, e.kind, e.text, g.kind, coalesce(g.text, 'NULL'), correct, answer_ms,
			replays, asked_at, answered_at, detail), char(10) ORDER BY number) FROM answer a JOIN session s ON s.id = session_id
			JOIN label e ON e.id = label_id LEFT JOIN label g ON g.id = given_id`: fmt.Sprintf(`a1|one|1|7|q7|ear|construction|stacked fourths|construction|stacked fifths|0|1500|3|%[1]d|%[2]d|{"notes":["E3","A3","D4"]}
a2|one|1|8|q7|ear|construction|stacked fourths|NULL|0|1500|3|%[1]d|%[2]d|{}
a3|one|1|9|q7|ear|construction|stacked fourths|construction|four`+"\uFFFD"+`ths|0|1500|3|%[1]d|%[2]d|{"notes":["E3","A3","D4"]}`, ms+60_000, ms+62_000),
	} {
		if got := rows(query); got != want {
			t.Errorf("%s:\n%s\nwant\n%s", query, got, want)
		}
	}
}

func TestRecordRefuses(t *testing.T) {
	s := mustOpen(t, newPath(t))
	session := mustBegin(t, s)
	good := answer(session, 1, "major", "minor")
	good.ID = "first"
	mustRecord(t, s, good)
	for _, tt := range []struct {
		words  string
		is     error
		change func(*Answer)
	}{
		{"already recorded", ErrRecorded, func(a *Answer) { a.ID = "first" }},
		{`no such session: "nowhere"`, ErrNoSession, func(a *Answer) { a.Session = "nowhere" }},
		{"no kind", nil, func(a *Answer) { a.Kind = "" }},
		{`mode ""`, nil, func(a *Answer) { a.Mode = "" }},
		{`mode "nose"`, nil, func(a *Answer) { a.Mode = "nose" }},
		{"no expected label", nil, func(a *Answer) { a.Expected = "" }},
		{"nothing was given", nil, func(a *Answer) { a.Correct, a.Given = true, "" }},
		{"question number 0", nil, func(a *Answer) { a.Number = 0 }},
		{"took -1ms", nil, func(a *Answer) { a.Took = -time.Millisecond }},
		{"-1 replays", nil, func(a *Answer) { a.Replays = -1 }},
		{"no time", nil, func(a *Answer) { a.Asked = time.Time{} }},
		{"no time", nil, func(a *Answer) { a.Answered = time.Time{} }},
		{"is not JSON", nil, func(a *Answer) { a.Detail = []byte("{") }},
		{"ID of 101 bytes", nil, func(a *Answer) { a.ID = strings.Repeat("x", 101) }},
	} {
		a := good
		a.ID, a.Expected = "", "a new label"
		tt.change(&a)
		if err := s.Record(t.Context(), a); err == nil || tt.is != nil && !errors.Is(err, tt.is) || !strings.Contains(err.Error(), tt.words) {
			t.Errorf("Record: %v; want words %q", err, tt.words)
		}
	}
	for _, tt := range []struct {
		words string
		in    SessionInfo
	}{
		{"no kind", SessionInfo{Mode: Ear, Started: t0}},
		{`mode ""`, SessionInfo{Kind: "k", Started: t0}},
		{"no time", SessionInfo{Kind: "k", Mode: Ear}},
		{"not JSON", SessionInfo{Kind: "k", Mode: Ear, Started: t0, Settings: []byte("no")}},
		{"ID of 200 bytes", SessionInfo{Kind: "k", Mode: Ear, Started: t0, ID: SessionID(strings.Repeat("x", 200))}},
		{"UNIQUE", SessionInfo{Kind: "k", Mode: Ear, Started: t0, ID: session}},
	} {
		if id, err := s.Begin(t.Context(), tt.in); err == nil || id != "" || !strings.Contains(err.Error(), tt.words) {
			t.Errorf("Begin(%+v) = %q, %v; want words %q", tt.in, id, err, tt.words)
		}
	}
	if err := s.End(t.Context(), "nowhere", t0); !errors.Is(err, ErrNoSession) {
		t.Errorf("End: %v; want ErrNoSession", err)
	}
	if err := s.End(t.Context(), session, time.Time{}); err == nil {
		t.Error("End without a time: nil")
	}
	if a, l := number(t, s, "SELECT count(*) FROM answer"), number(t, s, "SELECT count(*) FROM label"); a != 1 || l != 2 {
		t.Errorf("%d answers, %d labels; want 1, 2: a refused answer leaves nothing", a, l)
	}
}

// An answer that was given is kept, though the program is being interrupted.
func TestRecordAfterInterrupt(t *testing.T) {
	s := mustOpen(t, newPath(t))
	session := mustBegin(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Record(ctx, answer(session, 1, "major", "minor")); err != nil {
		t.Error(err)
	}
	if err := s.End(ctx, session, t0); err != nil {
		t.Error(err)
	}
	if n := number(t, s, "SELECT count(*) FROM answer"); n != 1 {
		t.Errorf("%d answers; want 1", n)
	}
	if _, err := s.Begin(ctx, SessionInfo{Kind: "k", Mode: Ear, Started: t0}); !errors.Is(err, context.Canceled) {
		t.Errorf("Begin: %v; want context.Canceled", err)
	}
	if _, err := s.Summary(ctx, Filter{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Summary: %v; want context.Canceled", err)
	}
	if _, err := s.Summary(t.Context(), Filter{}); err != nil {
		t.Errorf("Summary after an interrupted one: %v", err)
	}
}

// What Record acknowledged is in the files, not in this program's memory: a copy of them made at that moment has it.
func TestRecordIsInTheFiles(t *testing.T) {
	path := newPath(t)
	s := mustOpen(t, path)
	session := mustBegin(t, s)
	for i := 1; i <= 20; i++ {
		mustRecord(t, s, answer(session, i, "major", "minor"))
		to := newPath(t)
		for _, part := range []string{"", "-wal"} {
			data, err := os.ReadFile(path + part)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(to+part, data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		backup := mustOpen(t, to)
		if n := number(t, backup, "SELECT count(*) FROM answer"); n != i {
			t.Fatalf("after %d answers the files hold %d", i, n)
		}
		backup.Close()
	}
}

// No "database is locked", whatever reads and writes at once; a transaction of another program that reads before it
// writes is the case that a deferred BEGIN loses at once.
func TestTwoStoresAtOnce(t *testing.T) {
	path := newPath(t)
	stores := []*Store{mustOpen(t, path), mustOpen(t, path)}
	const workers, each = 3, 40
	var wg sync.WaitGroup
	errs := make(chan error, 1000)
	for _, s := range stores {
		session := mustBegin(t, s)
		for w := range workers {
			wg.Go(func() {
				for i := 1; i <= each; i++ {
					errs <- s.Record(context.Background(), answer(session, w*each+i, fmt.Sprint("label ", i), "minor"))
				}
			})
		}
		wg.Go(func() {
			for range each / 4 {
				_, err := s.Summary(context.Background(), Filter{})
				errs <- err
			}
		})
		wg.Go(func() {
			for range each {
				tx, err := s.db.BeginTx(context.Background(), nil)
				if err != nil {
					errs <- err
					return
				}
				var n int
				errs <- errors.Join(tx.QueryRow("SELECT count(*) FROM learner WHERE name <> ''").Scan(&n), func() error {
					_, err := tx.Exec("UPDATE learner SET name = ? WHERE id = 1", fmt.Sprint("name ", n))
					return err
				}(), tx.Commit())
			}
		})
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		if err != nil {
			t.Error(err)
		}
	}
	if n, want := number(t, stores[0], "SELECT count(*) FROM answer"), len(stores)*workers*each; n != want {
		t.Errorf("%d answers; want %d", n, want)
	}
	mustBeSound(t, stores[1])
}

// Another program that never lets go is reported as such, after the waiting time.
func TestBusy(t *testing.T) {
	if testing.Short() {
		t.Skip("waits 5 s")
	}
	path := newPath(t)
	s := mustOpen(t, path)
	session := mustBegin(t, s)
	other := raw(t, path)
	other.SetMaxOpenConns(1)
	mustExec(t, other, "BEGIN IMMEDIATE")
	if err := s.Record(t.Context(), answer(session, 1, "major", "minor")); !errors.Is(err, ErrBusy) || !strings.Contains(err.Error(), path) {
		t.Errorf("Record: %v; want ErrBusy with the path", err)
	}
	if _, err := s.Summary(t.Context(), Filter{}); err != nil {
		t.Errorf("Summary beside a writer: %v; want no wait and no error", err)
	}
	mustExec(t, other, "ROLLBACK")
	mustRecord(t, s, answer(session, 1, "major", "minor"))
}

// A full disk, played by SQLite's own limit: the error says so, what was acknowledged stays, and it goes on afterwards.
func TestDiskFull(t *testing.T) {
	s := mustOpen(t, newPath(t))
	s.db.SetMaxOpenConns(1) // the limit is a connection's
	session := mustBegin(t, s)
	limit := number(t, s, fmt.Sprintf("PRAGMA max_page_count = %d", number(t, s, "PRAGMA page_count")+6))
	kept := 0
	for i := 1; ; i++ {
		a := answer(session, i, "major", "minor")
		a.Detail = []byte(`"` + strings.Repeat("C4 ", 500) + `"`)
		err := s.Record(t.Context(), a)
		if err == nil {
			kept++
			if kept > 1000 {
				t.Fatal("1000 answers of 1.5 KB in 6 pages")
			}
			continue
		}
		if !errors.Is(err, ErrDiskFull) {
			t.Fatalf("Record: %v; want ErrDiskFull", err)
		}
		break
	}
	number(t, s, fmt.Sprintf("PRAGMA max_page_count = %d", limit+1000))
	mustRecord(t, s, answer(session, 999, "major", "minor"))
	if n := number(t, s, "SELECT count(*) FROM answer"); n != kept+1 || kept == 0 {
		t.Errorf("%d answers; want %d", n, kept+1)
	}
	mustBeSound(t, s)
}

// SIGKILL in the middle of recording, again and again on the same file, with one writer and with two: every answer that
// was acknowledged is there afterwards, and the file is sound. (A power cut is another matter: that Record has the disk
// sync rests on synchronous = FULL, which TestSettingsOnEveryConnection checks.)
func TestKilled(t *testing.T) {
	const seed = 7
	rnd := rand.New(rand.NewPCG(seed, 0))
	path := newPath(t)
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	acknowledged := map[string]bool{}
	rounds := 12
	if testing.Short() {
		rounds = 4
	}
	for round := range rounds {
		var wg sync.WaitGroup
		var mu sync.Mutex
		for writer := range 1 + round%2 {
			cmd := exec.CommandContext(t.Context(), self)
			cmd.Env = append(os.Environ(), fmt.Sprintf("%s=record\t%s\tr%d-w%d", childEnv, path, round, writer))
			cmd.Stderr = os.Stderr
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			wait, then := 5+rnd.IntN(60), time.Duration(rnd.IntN(3000))*time.Microsecond
			wg.Go(func() {
				lines := bufio.NewReader(out)
				for n := 0; ; n++ {
					line, err := lines.ReadString('\n')
					if err != nil { // a line cut off by the kill is no acknowledgement
						if err != io.EOF {
							t.Errorf("round %d: %v", round, err)
						}
						if n < wait {
							t.Errorf("round %d, writer %d: stopped by itself after %d answers", round, writer, n)
						}
						break
					}
					id := strings.TrimSuffix(line, "\n")
					if strings.HasPrefix(id, "error") || strings.HasPrefix(id, "is:") {
						t.Errorf("round %d, writer %d: %s", round, writer, id)
						continue
					}
					mu.Lock()
					acknowledged[id] = true
					mu.Unlock()
					if n == wait {
						time.AfterFunc(then, func() { cmd.Process.Kill() })
					}
				}
				cmd.Wait() // "signal: killed"
			})
		}
		wg.Wait()
		if t.Failed() {
			return
		}

		s := mustOpen(t, path)
		found := map[string]bool{}
		rows, err := s.db.QueryContext(t.Context(), "SELECT uid FROM answer")
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			var id string
			if err := rows.Scan(&id); err != nil {
				t.Fatal(err)
			}
			found[id] = true
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		rows.Close()
		for id := range maps.Keys(acknowledged) {
			if !found[id] {
				t.Errorf("seed %d, round %d: %s was acknowledged and is not there", seed, round, id)
			}
		}
		// At most one a writer and round can be there without its line having come through.
		if extra := len(found) - len(acknowledged); extra < 0 || extra > (round+1)*3/2+1 {
			t.Errorf("round %d: %d answers, %d acknowledged", round, len(found), len(acknowledged))
		}
		mustBeSound(t, s)
		if sum, err := s.Summary(t.Context(), Filter{}); err != nil || sum.Total.Asked != len(found) {
			t.Errorf("round %d: Summary counts %d, %v; want %d", round, sum.Total.Asked, err, len(found))
		}
		s.Close()
	}
	t.Logf("%d rounds, %d answers acknowledged", rounds, len(acknowledged))
}

// The layout is that of RFC 9562, section 5.7; its appendix A.6 gives an example with the time 2022-02-22 14:22:22 -05:00
// and the first 48 bits 017F22E2-79B0.
func TestNewID(t *testing.T) {
	at := time.Date(2022, 2, 22, 14, 22, 22, 0, time.FixedZone("", -5*3600))
	layout := regexp.MustCompile(`^017f22e2-79b0-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)
	seen := map[string]bool{}
	for range 10_000 {
		id := NewID(at)
		if !layout.MatchString(id) {
			t.Fatalf("NewID = %q; want %v", id, layout)
		}
		if seen[id] {
			t.Fatalf("NewID gives %q twice", id)
		}
		seen[id] = true
	}
	if a, b := NewID(at), NewID(at.Add(time.Millisecond)); a >= b {
		t.Errorf("%q, a millisecond later %q: want them in order", a, b)
	}
}

// Two machines' answers merged by ID: nothing twice, nothing lost, and what was asked last counts as recent although it
// was not merged last. Merging itself comes later; this keeps the schema fit for it.
func TestSchemaCanMerge(t *testing.T) {
	a, b := mustOpen(t, newPath(t)), mustOpen(t, newPath(t))
	for i, s := range []*Store{a, b} {
		session, err := s.Begin(t.Context(), SessionInfo{ID: SessionID(fmt.Sprint("s", i)), Kind: "chord quality", Mode: Ear, Started: t0})
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 150; n++ {
			given := "major" // machine a: right, and later
			if i == 1 {
				given = "minor"
			}
			x := answer(session, n+(1-i)*1000, "major", given)
			x.ID = fmt.Sprintf("%s-%d", session, n)
			mustRecord(t, s, x)
		}
	}
	path := b.path
	b.Close()
	conn, err := a.db.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.ExecContext(t.Context(), "ATTACH ? AS other", path); err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second time changes nothing
		if _, err := conn.ExecContext(t.Context(), `
			INSERT INTO label (kind, text) SELECT kind, text FROM other.label WHERE true ON CONFLICT DO NOTHING;
			INSERT INTO session (uid, learner_id, kind, mode, seed, source, settings, started_at, ended_at)
				SELECT uid, 1, kind, mode, seed, source, settings, started_at, ended_at FROM other.session WHERE true ON CONFLICT DO NOTHING;
			INSERT INTO answer (uid, session_id, learner_id, number, question, mode, label_id, given_id, correct, answer_ms, replays, asked_at, answered_at, detail)
				SELECT x.uid, s.id, 1, x.number, x.question, x.mode,
					(SELECT m.id FROM label m JOIN other.label o USING (kind, text) WHERE o.id = x.label_id),
					(SELECT m.id FROM label m JOIN other.label o USING (kind, text) WHERE o.id = x.given_id),
					x.correct, x.answer_ms, x.replays, x.asked_at, x.answered_at, x.detail
				FROM other.answer x JOIN other.session os ON os.id = x.session_id JOIN session s ON s.uid = os.uid
				WHERE true ON CONFLICT (uid) DO NOTHING`); err != nil {
			t.Fatal(err)
		}
	}
	conn.ExecContext(t.Context(), "DETACH other")
	conn.Close()
	sum, err := a.Summary(t.Context(), Filter{})
	if err != nil || len(sum.Groups) != 1 || len(sum.Groups[0].Labels) != 1 {
		t.Fatalf("Summary = %+v, %v", sum, err)
	}
	l := sum.Groups[0].Labels[0]
	if l.Total.Asked != 300 || l.Total.Right != 150 || l.Recent.Asked != 100 || l.Recent.Right != 100 {
		t.Errorf("asked %d, right %d, of the last %d %d; want 300, 150, 100, 100", l.Total.Asked, l.Total.Right, l.Recent.Asked, l.Recent.Right)
	}
	mustBeSound(t, a)
}

// SIGKILL while the file is being made or a log is being taken up: it opens afterwards.
func TestKilledWhileOpening(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 0))
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for round := range 20 {
		path := newPath(t)
		for again := range 2 {
			cmd := exec.CommandContext(t.Context(), self)
			cmd.Env = append(os.Environ(), fmt.Sprintf("%s=record\t%s\tr%d-%d", childEnv, path, round, again))
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Duration(rnd.IntN(20_000)) * time.Microsecond)
			cmd.Process.Kill()
			cmd.Wait()
		}
		s := mustOpen(t, path)
		mustRecord(t, s, answer(mustBegin(t, s), 1, "major", "minor"))
		mustBeSound(t, s)
		s.Close()
	}
}
