package line

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// shared returns the path of a folder that is not part of the project, or skips the test if it isn't there.
func shared(t testing.TB, folder ...string) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared") // beside the repository
	}
	dir := filepath.Join(append([]string{root}, folder...)...)
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the reference material is required: %v", err)
		}
		t.Skipf("no reference material (set PLUMBLINE_SHARED): %v", err)
	}
	return dir
}

// value reads a time of the tables: a fraction, where that of a tuplet may be rounded in its sixteenth place.
func value(t testing.TB, s string) score.Time {
	a, b, _ := strings.Cut(s, "/")
	x, err := strconv.ParseFloat(a, 64)
	y := 1.0
	if b != "" && err == nil {
		y, err = strconv.ParseFloat(b, 64)
	}
	if err != nil {
		t.Fatalf("no time: %q: %v", s, err)
	}
	return score.T(int64(math.Round(x/y*10080)), 10080)
}

// corpusPiece reads a piece of the annotated corpus as written: staff 1 right, 2 and 3 left, tied notes apart.
func corpusPiece(t testing.TB, name string) *score.Passage {
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	p := &score.Passage{Source: filepath.Base(name)}
	bars := map[string]int{}
	for i, row := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		c := strings.Split(row, "\t")
		if i == 0 || len(c) < 9 {
			continue
		}
		x, err := pitch.Parse(c[4])
		if err != nil {
			t.Fatal(err)
		}
		on := value(t, c[0])
		if _, ok := bars[c[6]]; !ok {
			m := score.Meter{Beats: 4, Unit: 4}
			if a, b, ok := strings.Cut(c[8], "/"); ok {
				m.Beats, _ = strconv.Atoi(a)
				m.Unit, _ = strconv.Atoi(b)
			}
			bars[c[6]] = len(p.Bars)
			whole := value(t, c[7])
			off := whole.Mul(4, 1)
			start := on
			if len(p.Bars) > 0 {
				start, off = on.Sub(off), score.Time{}
				p.Bars[len(p.Bars)-1].Length = start.Sub(p.Bars[len(p.Bars)-1].Start)
			}
			p.Bars = append(p.Bars, score.Bar{Number: c[6], Start: start, Offset: off, Meter: m, Length: m.Length().Sub(off)})
		}
		v, _ := strconv.Atoi(c[2])
		h := score.Right
		if c[1] != "1" {
			h = score.Left
		}
		if c[1] == "3" {
			v += 10 // a third staff has its own voices
		}
		p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: on, Duration: value(t, c[3]), Hand: h, Voice: v, Bar: bars[c[6]],
			TieFrom: c[5] == "stop" || c[5] == "both", TieTo: c[5] == "start" || c[5] == "both"})
	}
	p.Sort()
	return p
}

// corpusSet reads a set of the corpus.
func corpusSet(t testing.TB, set string) []*score.Passage {
	files, err := filepath.Glob(filepath.Join(shared(t, "corpus", set), "*.notes.tsv"))
	if err != nil || len(files) < 50 {
		t.Fatalf("%d pieces in %s, %v", len(files), set, err)
	}
	var out []*score.Passage
	for _, name := range files {
		out = append(out, corpusPiece(t, name))
	}
	return out
}
