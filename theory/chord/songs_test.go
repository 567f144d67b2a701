package chord_test

import (
	"os"
	"path/filepath"
	"testing"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
)

// songSonorities returns what sounds at every moment of the songs in which something begins, two notes or more.
func songSonorities(tb testing.TB) [][]pitch.Pitch {
	tb.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	files, _ := filepath.Glob(filepath.Join(root, "scores", "lieder", "*.mxl"))
	if len(files) == 0 {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			tb.Fatalf("no songs in %s; PLUMBLINE_REQUIRE=all asks for them", root)
		}
		tb.Skip("no songs; PLUMBLINE_SHARED names the folder with scores/lieder")
	}
	var out [][]pitch.Pitch
	for _, f := range files {
		file, err := os.Open(f)
		if err != nil {
			tb.Fatal(err)
		}
		p, err := musicxml.Read(file, musicxml.Options{})
		file.Close()
		if err != nil {
			tb.Fatal(err)
		}
		for _, s := range score.Slices(p.Sounding(), score.Time{}, p.End()) {
			if len(s.Notes) < 2 {
				continue
			}
			ps := make([]pitch.Pitch, len(s.Notes))
			for i, n := range s.Notes {
				ps[i] = n.Pitch
			}
			out = append(out, ps)
		}
	}
	return out
}

// BenchmarkNameSongs names what sounds in the songs, with all readings, members and reasons.
func BenchmarkNameSongs(b *testing.B) {
	cs := songSonorities(b)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		chord.Name(cs[i%len(cs)])
		i++
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "chords/s")
}
