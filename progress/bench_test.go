package progress

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// BenchmarkRecord measures one durable answer beside one raw write and fsync on the same disk, turn by turn, since a
// disk's mood changes from second to second. The write is as long as what an answer adds to the log (4 pages or so).
func BenchmarkRecord(b *testing.B) {
	s := mustOpen(b, newPath(b))
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
		mustRecord(b, s, answer(session, i, "minor seventh", "half-diminished seventh"))
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

func BenchmarkSummary100k(b *testing.B) {
	s := mustOpen(b, newPath(b))
	fill(b, s, 100_000, 30, 3)
	b.ReportAllocs()
	for b.Loop() {
		if sum := mustSummary(b, s, Filter{}); sum.Total.Asked != 100_000 {
			b.Fatalf("asked %d", sum.Total.Asked)
		}
	}
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
