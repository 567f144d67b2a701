package progress

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"
)

// BenchmarkRecord measures one durable answer beside one raw write and fsync on the same disk, turn by turn, since a
// disk's mood changes from second to second. The write is as long as what an answer adds to the log (4 pages or so).
func BenchmarkRecord(b *testing.B) { benchmarkRecord(b, mustOpen(b, newPath(b))) }

func benchmarkRecord(b *testing.B, s *Store) {
	session := mustBegin(b, s)
	f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	block := make([]byte, 4*4096)
	var durable, raw []time.Duration
	b.ReportAllocs() // of both; the raw write allocates nothing
	for i := 1; b.Loop(); i++ {
		start := time.Now()
		a := answer(session, i, "minor seventh", "half-diminished seventh")
		a.Condition = fmt.Sprint("register=", i%3, " choices=4")
		mustRecord(b, s, a)
		durable = append(durable, time.Since(start))
		start = time.Now()
		if _, err := f.Write(block); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		raw = append(raw, time.Since(start))
	}
	slices.Sort(durable)
	slices.Sort(raw)
	d, r := durable[len(durable)/2], raw[len(raw)/2]
	b.ReportMetric(float64(d.Microseconds()), "median-µs/answer")
	b.ReportMetric(float64(r.Microseconds()), "median-µs/fsync")
	b.ReportMetric(float64(d)/float64(r), "answer/fsync")
}

// million is a database of 1,000,000 answers: 60 labels in two modes under 24 conditions, over three years of days. It is
// made once; TestMain takes it away.
var million = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "plumbline-million-")
	if err != nil {
		return "", err
	}
	millionDir = dir
	path := filepath.Join(dir, "progress.db")
	s, err := Open(context.Background(), path)
	if err != nil {
		return "", err
	}
	defer s.Close()
	if _, err := s.Begin(context.Background(), SessionInfo{Kind: "mixed", Mode: Ear, Started: t0}); err != nil {
		return "", err
	}
	_, err = s.db.Exec(`WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 60)
			INSERT INTO label SELECT i, CASE WHEN i <= 40 THEN 'quality' ELSE 'construction' END, 'label ' || i FROM n;
		WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 24)
			INSERT INTO condition SELECT i, 'register=' || (i % 3) || ' spacing=' || (i % 2) || ' choices=' || (i / 6) FROM n;`)
	if err != nil {
		return "", err
	}
	// A multiplicative generator, so that the data are the same each time; about one in four answers is wrong.
	_, err = s.db.Exec(`WITH RECURSIVE n(i, x) AS (SELECT 1, 1 UNION ALL SELECT i + 1, x * 48271 % 2147483647 FROM n WHERE i < 1000000)
		INSERT INTO answer (uid, session_id, learner_id, number, question, mode, label_id, given_id, correct, answer_ms, replays, asked_at, answered_at, detail, condition_id)
		SELECT printf('%08x-%d', x, i), 1, 1, i, 'quality-7-' || i, CASE WHEN x % 11 < 6 THEN 'ear' ELSE 'sight' END, 1 + x / 64 % 60,
			CASE WHEN x / 4096 % 50 = 0 THEN NULL WHEN x / 4096 % 4 = 1 THEN 1 + (x / 64 + 1 + x / 8192 % 4) % 60 ELSE 1 + x / 64 % 60 END,
			CASE WHEN x / 4096 % 50 = 0 OR x / 4096 % 4 = 1 THEN 0 ELSE 1 END,
			x / 128 % 9000, 0, 1772355600000 + i * 94608, 1772355600000 + i * 94608 + 2000, '{}', 1 + x / 16384 % 24 FROM n`)
	return path, err
})

var millionDir string

func openMillion(b *testing.B) *Store {
	path, err := million()
	if err != nil {
		b.Fatal(err)
	}
	s := mustOpen(b, path)
	if n := number(b, s, "SELECT sum(asked) FROM tally"); n < 1_000_000 {
		b.Fatalf("%d answers", n)
	}
	b.ReportAllocs()
	return s
}

// BenchmarkPage1M reads everything that the page of progress shows, out of 1,000,000 answers.
func BenchmarkPage1M(b *testing.B) {
	s := openMillion(b)
	at := cpuTime(b)
	n := 0
	for b.Loop() {
		n++
		if p, err := s.Page(b.Context(), 40, 60, t0.AddDate(3, 0, 0)); err != nil || p.Summary.Total.Asked < 1_000_000 {
			b.Fatalf("asked %d, %v", p.Summary.Total.Asked, err)
		}
	}
	b.ReportMetric(float64((cpuTime(b)-at).Microseconds())/float64(n), "cpu-µs/op")
}

func BenchmarkSummary1M(b *testing.B) {
	s := openMillion(b)
	for name, f := range map[string]Filter{"all": {}, "month": {Since: t0.AddDate(0, 34, 0)}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				mustSummary(b, s, f)
			}
		})
	}
}

func BenchmarkHistories1M(b *testing.B) {
	s := openMillion(b)
	for b.Loop() {
		if h, err := s.Histories(b.Context(), 40, 60); err != nil || len(h) != 120 {
			b.Fatal(len(h), err)
		}
	}
}

func BenchmarkCells1M(b *testing.B) {
	s := openMillion(b)
	for b.Loop() {
		if c, err := s.Cells(b.Context(), "", ""); err != nil || len(c) < 120 {
			b.Fatal(len(c), err)
		}
	}
}

// BenchmarkRecord1M is BenchmarkRecord in a database that holds 1,000,000 answers already.
func BenchmarkRecord1M(b *testing.B) {
	s := openMillion(b)
	benchmarkRecord(b, s)
}

// BenchmarkOpenNew makes a new file, closes and removes it; opening alone is reported beside it.
func BenchmarkOpenNew(b *testing.B) {
	dir := b.TempDir()
	var opening []time.Duration
	b.ReportAllocs()
	for b.Loop() {
		path := filepath.Join(dir, "progress.db")
		start := time.Now()
		s, err := Open(b.Context(), path)
		if err != nil {
			b.Fatal(err)
		}
		opening = append(opening, time.Since(start))
		s.Close()
		os.Remove(path)
	}
	slices.Sort(opening)
	b.ReportMetric(float64(opening[len(opening)/2].Microseconds()), "median-µs/Open")
}

func BenchmarkOpenExisting(b *testing.B) {
	path := newPath(b)
	fill(b, mustOpen(b, path), 10_000, 30, 3)
	b.ReportAllocs()
	for b.Loop() {
		s, err := Open(b.Context(), path)
		if err != nil {
			b.Fatal(err)
		}
		s.Close()
	}
}
