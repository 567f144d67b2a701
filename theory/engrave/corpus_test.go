package engrave_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/engrave"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
)

// shared returns the path of a folder that is not part of the project, or skips the test if it isn't there. PLUMBLINE_SHARED says
// where to look; PLUMBLINE_REQUIRE=all makes its absence a failure.
func shared(t testing.TB, parts ...string) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared") // beside the repository
	}
	dir := filepath.Join(append([]string{root}, parts...)...)
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the scores are required: %v", err)
		}
		t.Skipf("no scores to read (set PLUMBLINE_SHARED): %v", err)
	}
	return dir
}

func exact(s string) score.Time {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return score.Time{}
	}
	if r.Denom().IsInt64() && r.Denom().Int64() <= 1<<12 {
		return score.T(r.Num().Int64(), r.Denom().Int64())
	}
	x, _ := r.Float64() // a decimal in disguise
	for den := int64(1); den <= 1000; den++ {
		if num := math.Round(x * float64(den)); math.Abs(x-num/float64(den)) < 1e-9 {
			return score.T(int64(num), den)
		}
	}
	return score.Time{}
}

// table reads a piece of the corpus of annotated piano music (see ../shared/README.md for its format). Bars lie where the
// table says; the signature is that of the first label's key.
func table(t testing.TB, file string) *score.Passage {
	t.Helper()
	rows := func(file string) (out []map[string]string) {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(data)), "\n")
		head := strings.Split(lines[0], "\t")
		for _, l := range lines[1:] {
			m := map[string]string{}
			for i, c := range strings.Split(strings.TrimRight(l, "\r"), "\t") {
				m[head[i]] = c
			}
			out = append(out, m)
		}
		return out
	}
	p := &score.Passage{Title: filepath.Base(file)}
	list := rows(file)
	slices.SortStableFunc(list, func(a, b map[string]string) int { return exact(a["onset"]).Compare(exact(b["onset"])) })
	for _, r := range list {
		n := score.Note{Onset: exact(r["onset"]), Duration: exact(r["duration"]), Hand: score.Right, Voice: 1}
		var err error
		if n.Pitch, err = pitch.Parse(r["pitch"]); err != nil {
			t.Fatal(err)
		}
		if r["staff"] != "1" {
			n.Hand = score.Left
		}
		if v, _ := strconv.Atoi(r["voice"]); v > 0 {
			n.Voice = v
		}
		n.TieTo, n.TieFrom = r["tie"] == "start" || r["tie"] == "both", r["tie"] == "stop" || r["tie"] == "both"
		within := exact(r["bar_onset"]).Mul(4, 1)
		zero := n.Onset.Sub(within)
		k := len(p.Bars) - 1
		if k < 0 || p.Bars[k].Number != r["bar"] || p.Bars[k].Start.Sub(p.Bars[k].Offset) != zero {
			num, den, _ := strings.Cut(r["meter"], "/")
			b := score.Bar{Number: r["bar"], Start: zero}
			b.Meter.Beats, _ = strconv.Atoi(num)
			b.Meter.Unit, _ = strconv.Atoi(den)
			if k >= 0 {
				last := &p.Bars[k]
				full := last.Start.Add(last.Meter.Length().Sub(last.Offset))
				if zero.Less(full) { // the rest of a bar cut in two
					b.Start = n.Onset.Min(full)
					b.Offset = b.Start.Sub(zero)
				}
				last.Length = b.Start.Sub(last.Start)
			} else if within.Sign() > 0 {
				b.Start, b.Offset = n.Onset, within
			}
			p.Bars = append(p.Bars, b)
			k++
		}
		n.Bar = k
		p.Notes = append(p.Notes, n)
	}
	end := score.Time{}
	for _, n := range p.Notes {
		end = end.Max(n.End())
	}
	last := &p.Bars[len(p.Bars)-1]
	last.Length = end.Sub(last.Start)
	if labels := rows(strings.Replace(file, ".notes.", ".truth.", 1)); len(labels) > 0 {
		if k, err := key.Parse(labels[0]["key"]); err == nil {
			p.Keys = []score.KeyChange{{Key: k, Declared: true}}
		}
	}
	p.Sort()
	return p
}

func whole(p *score.Passage) score.Region {
	return score.Region{From: p.Bars[0].Start, To: p.End()}
}

// readPieces keeps what was read, for all tests.
var readPieces = map[string][]*score.Passage{}

// pieces returns all tables of the corpus and all songs; under the race detector every eighth of them.
func pieces(t testing.TB) []*score.Passage {
	t.Helper()
	if len(readPieces["all"]) > 0 {
		return readPieces["all"]
	}
	tables, _ := filepath.Glob(filepath.Join(shared(t, "corpus"), "*", "*.notes.tsv"))
	songs, _ := filepath.Glob(filepath.Join(shared(t, "scores", "lieder"), "*.mxl"))
	if len(tables) < 100 || len(songs) != 120 {
		t.Fatalf("%d tables and %d songs; want 100 and more, and 120", len(tables), len(songs))
	}
	var out []*score.Passage
	for i, f := range append(tables, songs...) {
		if raceDetector && i%8 > 0 {
			continue
		}
		if strings.HasSuffix(f, ".tsv") {
			out = append(out, table(t, f))
			continue
		}
		p, err := musicxml.ReadFile(f, musicxml.Options{})
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, p)
	}
	readPieces["all"] = out
	return out
}

// wellFormed parses a picture and checks that no id occurs twice and that every shape used is there.
func wellFormed(t testing.TB, name string, data []byte) {
	t.Helper()
	dec := xml.NewDecoder(bytes.NewReader(data))
	ids := map[string]bool{}
	var used []string
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if e, ok := tok.(xml.StartElement); ok {
			for _, a := range e.Attr {
				switch a.Name.Local {
				case "id":
					if ids[a.Value] {
						t.Errorf("%s: the id %q occurs twice", name, a.Value)
					}
					ids[a.Value] = true
				case "href":
					used = append(used, strings.TrimPrefix(a.Value, "#"))
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("%s: <%s %s=%q>", name, e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
	for _, u := range used {
		if !ids[u] {
			t.Errorf("%s: the shape %q is missing", name, u)
		}
	}
}

// solid are the kinds of which no two may overlap, one another included.
var solid = map[engrave.Kind]bool{engrave.KindHead: true, engrave.KindAccidental: true, engrave.KindLabel: true, engrave.KindDot: true,
	engrave.KindRest: true, engrave.KindClef: true, engrave.KindKey: true, engrave.KindTime: true, engrave.KindDynamic: true, engrave.KindSign: true}

// overlaps returns the pairs of boxes that overlap by more than a fiftieth of a staff space.
func overlaps(l engrave.Layout) []string {
	const slack = 2
	var list []engrave.Box
	for _, b := range l.Boxes {
		if solid[b.Kind] {
			list = append(list, b)
		}
	}
	slices.SortStableFunc(list, func(a, b engrave.Box) int {
		switch {
		case a.X < b.X:
			return -1
		case a.X > b.X:
			return 1
		}
		return 0
	})
	var out []string
	for i, a := range list {
		for _, b := range list[i+1:] {
			if b.X >= a.X+a.W {
				break
			}
			if a.X+a.W-b.X <= slack || min(a.Y+a.H, b.Y+b.H)-max(a.Y, b.Y) <= slack {
				continue
			}
			if (a.Shared || b.Shared) && a.X == b.X && a.Y == b.Y && a.W == b.W {
				continue
			}
			hairpin := func(s string) bool { return s == "louder" || s == "softer" }
			if hairpin(a.Text) && hairpin(b.Text) {
				continue // two hairpins at one time are the source's own
			}
			out = append(out, fmt.Sprintf("%s %s %q and %s %s %q", a.Kind, a.ID, a.Text, b.Kind, b.ID, b.Text))
		}
	}
	return out
}

// Two thousand stretches of real music, chosen at random, with labels, texts and brackets at random: nothing overlaps.
func TestNothingOverlaps(t *testing.T) {
	all := pieces(t)
	rng := rand.New(rand.NewPCG(10, 2024))
	n := 2000
	if testing.Short() || raceDetector {
		n = 150
	}
	bars, faults := 0, 0
	kinds := map[string]int{}
	for trial := range n {
		p := all[rng.IntN(len(all))]
		i := rng.IntN(len(p.Bars))
		j := min(i+1+rng.IntN(3), len(p.Bars))
		r := score.Region{From: p.Bars[i].Start, To: p.Bars[j-1].End()}
		o := engrave.Options{Width: []float64{0, 360, 700, 1100}[rng.IntN(4)]}
		words := []string{"root", "third", "added sixth", "9", "passing note", "F♯m7(♭5)/C", "V65/V", "viiø7", "It+6"}
		for _, n := range p.Notes {
			if n.Bar < i || n.Bar >= j {
				continue
			}
			if rng.IntN(6) == 0 {
				o.Marks = append(o.Marks, engrave.Mark{Notes: []score.Note{n}, Shape: engrave.Shape(rng.IntN(6)), Label: words[rng.IntN(len(words))]})
			}
			if rng.IntN(5) == 0 {
				o.Texts = append(o.Texts, engrave.Text{At: n.Onset, Text: words[rng.IntN(len(words))], Kind: engrave.TextKind(rng.IntN(3)), Above: rng.IntN(2) == 0, Row: rng.IntN(2)})
			}
			if rng.IntN(12) == 0 {
				o.Spans = append(o.Spans, engrave.Span{From: n.Onset, To: n.Onset.Add(score.T(int64(1+rng.IntN(12)), 2)), Text: words[rng.IntN(len(words))], Above: rng.IntN(2) == 0})
			}
		}
		svg, l, err := engrave.Staff(p, r, o)
		if err != nil {
			if p.Bars[i].Length.Sign() == 0 {
				continue
			}
			t.Fatalf("%s, bars %d to %d: %v", p.Title, i, j, err)
		}
		bars += j - i
		if trial%50 == 0 {
			wellFormed(t, p.Title, svg)
		}
		for _, s := range overlaps(l) {
			faults++
			a := strings.Fields(s)[0]
			_, b, _ := strings.Cut(s, " and ")
			kinds[a+"/"+strings.Fields(b)[0]]++
			if faults <= 12 {
				t.Errorf("%s (%s), bars %d to %d, width %v: %s", p.Title, p.Source, i, j, o.Width, s)
			}
		}
	}
	if bars < n || faults > 0 {
		t.Errorf("%d bars in %d pictures, %d overlaps: %v", bars, n, faults, kinds)
	}
	t.Logf("%d bars in %d pictures, %d overlaps", bars, n, faults)
}

// Every song and every piece of the corpus as a whole: drawn, well formed, every note there.
func TestAllPieces(t *testing.T) {
	for _, p := range pieces(t) {
		svg, l, err := engrave.Staff(p, whole(p), engrave.Options{Width: 1000})
		if err != nil {
			t.Errorf("%s: %v", p.Title, err)
			continue
		}
		wellFormed(t, p.Title, svg)
		seen := map[int]bool{}
		for _, b := range l.Boxes {
			if b.Kind == engrave.KindHead {
				seen[b.Note] = true
			}
			if b.X < -200 || b.X+b.W > l.W+10 || b.Y < -10 || b.Y+b.H > l.H+10 {
				t.Errorf("%s: %s %q at %v, %v is out of the picture", p.Title, b.Kind, b.Text, b.X, b.Y)
			}
		}
		if len(seen) != len(p.Notes) {
			t.Errorf("%s: %d notes drawn of %d", p.Title, len(seen), len(p.Notes))
		}
		for _, s := range overlaps(l) {
			t.Errorf("%s: %s", p.Title, s)
		}
		if len(l.Bars) != len(p.Bars) {
			t.Errorf("%s: %d bars drawn of %d", p.Title, len(l.Bars), len(p.Bars))
		}
	}
}

// The files of the MusicXML test suite, whatever they hold.
func TestConformanceFiles(t *testing.T) {
	dir := shared(t, "scores", "conformance")
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	seen := 0
	if len(files) < 149 {
		t.Fatalf("%d files; want 149 and more", len(files))
	}
	for _, f := range files {
		p, err := musicxml.ReadFile(f, musicxml.Options{})
		if err != nil || len(p.Bars) == 0 {
			continue
		}
		seen++
		svg, l, err := engrave.Staff(p, whole(p), engrave.Options{Width: 900})
		if err != nil && p.End().Sign() > 0 {
			t.Errorf("%s: %v", filepath.Base(f), err)
			continue
		}
		if err == nil {
			wellFormed(t, filepath.Base(f), svg)
			for _, s := range overlaps(l) {
				t.Errorf("%s: %s", filepath.Base(f), s)
			}
		}
	}
	if seen < 120 {
		t.Errorf("%d files of the suite read; want 120 and more", seen)
	}
}
