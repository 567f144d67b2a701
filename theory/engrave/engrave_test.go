package engrave_test

import (
	"os"
	"path/filepath"
	"testing"

	"plumbline/theory/engrave"
	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

// passages returns the ten passages of our own, from easy to hard.
func passages(t testing.TB) []*score.Passage {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join("testdata", "*.txt"))
	if len(files) != 10 {
		t.Fatalf("%d passages; want 10", len(files))
	}
	var out []*score.Passage
	for _, f := range files {
		r, err := os.Open(f)
		if err != nil {
			t.Fatal(err)
		}
		p, err := typed.Read(f, r)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, p)
	}
	return out
}

// hundred returns a passage of about a hundred bars: the ten passages' bars of two hands, over and over.
func hundred(t testing.TB) *score.Passage {
	out := &score.Passage{Title: "A hundred bars"}
	ps := passages(t)
	for k := 1; len(out.Bars) < 100; k++ {
		p := ps[1+k%9]
		at, bar := out.End(), len(out.Bars)
		for _, b := range p.Bars {
			b.Start = b.Start.Add(at)
			out.Bars = append(out.Bars, b)
		}
		for _, n := range p.Notes {
			n.Onset, n.Bar = n.Onset.Add(at), n.Bar+bar
			out.Notes = append(out.Notes, n)
		}
	}
	out.Sort()
	return out
}

func BenchmarkStaff(b *testing.B) {
	p := hundred(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := engrave.Staff(p, whole(p), engrave.Options{Width: 900}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(p.Bars)), "bars")
	b.ReportMetric(float64(len(p.Notes)), "notes")
}

func BenchmarkSong(b *testing.B) {
	p := pieces(b, true, false)[6]
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := engrave.Staff(p, whole(p), engrave.Options{Width: 900}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(p.Bars)), "bars")
	b.ReportMetric(float64(len(p.Notes)), "notes")
}
