package main

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"plumbline/drills"
	"plumbline/progress"
)

// millionAnswers makes a record of 1,000,000 answers: every label of chord quality and construction, by ear and by sight, under
// 24 conditions, over three years, about one in four of them wrong. It is written by plain SQL through the driver that package
// progress brings along.
func millionAnswers(b *testing.B) string {
	path := filepath.Join(b.TempDir(), "progress.db")
	ctx := context.Background()
	store, err := progress.Open(ctx, path)
	if err != nil {
		b.Fatal(err)
	}
	start := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	if _, err := store.Begin(ctx, progress.SessionInfo{Kind: "mixed", Mode: progress.Ear, Started: start}); err != nil {
		b.Fatal(err)
	}
	store.Close()
	db, err := sql.Open("sqlite3", (&url.URL{Scheme: "file", Path: path}).String())
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	n := 0
	for _, k := range []drills.Kind{drills.Quality, drills.Construction} {
		levels := drills.Levels(k)
		for _, l := range levels[len(levels)-1].Labels {
			n++
			if _, err := db.Exec("INSERT INTO label VALUES (?, ?, ?)", n, string(k), l); err != nil {
				b.Fatal(err)
			}
		}
	}
	for i := range 24 {
		text := fmt.Sprintf("register=%s spacing=%s choices=%d", []string{"low", "middle", "high"}[i%3], []string{"close", "open"}[i/3%2], 3+i/6)
		if _, err := db.Exec("INSERT INTO condition VALUES (?, ?)", i+1, text); err != nil {
			b.Fatal(err)
		}
	}
	// A multiplicative generator (S. K. Park & K. W. Miller, Comm. ACM 31 (1988) 1192-1201, multiplier 48271).
	_, err = db.Exec(`WITH RECURSIVE n(i, x) AS (SELECT 1, 1 UNION ALL SELECT i + 1, x * 48271 % 2147483647 FROM n WHERE i < 1000000),
		l(i, x, label, wrong) AS (SELECT i, x, 1 + x / 64 % ?1, 1 + (x / 64 + 1 + x / 8192 % 3) % ?1 FROM n)
		INSERT INTO answer (uid, session_id, learner_id, number, question, mode, label_id, given_id, correct, answer_ms, replays, asked_at, answered_at, detail, condition_id)
		SELECT printf('%08x-%d', x, i), 1, 1, i, 'quality-7-' || i, CASE WHEN x % 11 < 6 THEN 'ear' ELSE 'sight' END, label,
			CASE WHEN x / 4096 % 50 = 0 THEN NULL WHEN x / 4096 % 4 = 1 THEN wrong ELSE label END,
			CASE WHEN x / 4096 % 50 = 0 OR x / 4096 % 4 = 1 THEN 0 ELSE 1 END,
			x / 128 % 9000, 0, ?2 + i * 94608, ?2 + i * 94608 + 2000,
			json_object('choices', json_array((SELECT text FROM label WHERE id = label), (SELECT text FROM label WHERE id = wrong))), 1 + x / 16384 % 24 FROM l`,
		n, start.UnixMilli())
	if err != nil {
		b.Fatal(err)
	}
	return path
}

// BenchmarkMillion measures what a learner waits for, with 1,000,000 answers on record: the choice of the next question, within
// a sitting and at its beginning, and the page of progress as the command writes it, from opening the file to the last line.
func BenchmarkMillion(b *testing.B) {
	path := millionAnswers(b)
	ctx := context.Background()
	now := time.Date(2029, 3, 1, 9, 0, 0, 0, time.UTC)
	e := &env{stdout: io.Discard, stderr: io.Discard, getenv: func(string) string { return "" }, now: func() time.Time { return now }}
	store, err := progress.Open(ctx, path)
	if err != nil {
		b.Fatal(err)
	}
	defer store.Close()
	b.Run("next", func(b *testing.B) {
		plan, err := e.planned(ctx, store, drillFlags{kind: string(drills.Quality), level: 9, seed: 1}, true, true)
		if err != nil || plan == nil {
			b.Fatal(plan, err)
		}
		b.ReportAllocs()
		for i := 1; b.Loop(); i++ {
			q, _, err := plan.question(i)
			if err != nil {
				b.Fatal(err)
			}
			plan.p.Learn(plan.step, q.Expected, q.Choices[i%len(q.Choices)], q.Choices[i%len(q.Choices)] == q.Expected, now)
		}
	})
	b.Run("begin", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			plan, err := e.planned(ctx, store, drillFlags{kind: string(drills.Quality), level: 9, seed: 1}, true, true)
			if err != nil || plan == nil {
				b.Fatal(plan, err)
			}
			if _, _, err := plan.question(1); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("page", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			var out bytes.Buffer
			e.stdout = &out
			if code := run(ctx, []string{"progress", "--db", path}, e); code != exitDone || out.Len() < 2000 {
				b.Fatal(code, out.String())
			}
		}
	})
}
