package spell

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
)

// A piece is notes whose spelling is known.
type piece struct {
	name   string
	notes  []Note
	fifths []int8 // the right spelling
	sigs   []Signature
}

// shared returns the path of a folder that is not part of the project, or skips the test if it isn't there.
func shared(t testing.TB, folder ...string) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "..", "shared") // beside the repository
	}
	dir := filepath.Join(append([]string{root}, folder...)...)
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the corpus is required: %v", err)
		}
		t.Skipf("no corpus to measure on (set PLUMBLINE_SHARED): %v", err)
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

// tables reads a set of the annotated corpus, tied notes joined. The signature is that of the key in which the expert says
// that the piece begins; later signatures aren't in the tables.
func tables(t testing.TB, set string) []piece {
	files, err := filepath.Glob(filepath.Join(shared(t, "corpus", set), "*.notes.tsv"))
	if err != nil || len(files) < 50 {
		t.Fatalf("%d pieces in %s, %v", len(files), set, err)
	}
	var out []piece
	for _, name := range files {
		p := piece{name: filepath.Base(name)}
		held := map[string]int{}
		for _, c := range rows(t, name) {
			x, err := pitch.Parse(c[4])
			if err != nil {
				t.Fatal(err)
			}
			on, dur := value(t, c[0]), value(t, c[3])
			if i, ok := held[c[4]]; ok && (c[5] == "stop" || c[5] == "both") {
				p.notes[i].Duration = on.Add(dur).Sub(p.notes[i].Onset)
				continue
			}
			if c[5] == "start" || c[5] == "both" {
				held[c[4]] = len(p.notes)
			}
			p.notes = append(p.notes, Note{on, dur, x.MIDI()})
			p.fifths = append(p.fifths, int8(x.Class().Fifths()))
		}
		for _, c := range rows(t, strings.Replace(name, ".notes.", ".truth.", 1)) {
			if k, err := key.Parse(c[4]); err == nil {
				p.sigs = []Signature{{Fifths: k.Signature()}}
				break
			}
		}
		p.sort()
		out = append(out, p)
	}
	return out
}

func rows(t testing.TB, name string) [][]string {
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out [][]string
	for sc := bufio.NewScanner(f); sc.Scan(); {
		out = append(out, strings.Split(sc.Text(), "\t"))
	}
	return out[1:]
}

func (p *piece) sort() {
	at := make([]int, len(p.notes))
	for i := range at {
		at[i] = i
	}
	sort.SliceStable(at, func(i, j int) bool {
		a, b := p.notes[at[i]], p.notes[at[j]]
		if a.Onset != b.Onset {
			return a.Onset.Less(b.Onset)
		}
		return a.MIDI < b.MIDI
	})
	notes, fifths := make([]Note, len(at)), make([]int8, len(at))
	for i, j := range at {
		notes[i], fifths[i] = p.notes[j], p.fifths[j]
	}
	p.notes, p.fifths = notes, fifths
}

// songs reads the OpenScore Lieder corpus (CC0) with its printed signatures: the piano, and with it, if all is true, the
// voice.
func songs(t testing.TB, all bool) []piece {
	files, err := filepath.Glob(filepath.Join(shared(t, "scores", "lieder"), "*.mxl"))
	if err != nil || len(files) != 120 {
		t.Fatalf("%d songs, %v; want 120", len(files), err)
	}
	var out []piece
	for _, name := range files {
		s, err := musicxml.ReadFile(name, musicxml.Options{})
		if err != nil {
			t.Fatal(err)
		}
		p := piece{name: filepath.Base(name)}
		for _, k := range s.Keys {
			p.sigs = append(p.sigs, Signature{k.At, k.Key.Signature()})
		}
		p.add(s)
		for _, part := range s.Parts {
			if o, err := musicxml.ReadFile(name, musicxml.Options{Part: part.ID}); all && !part.Chosen && err == nil {
				p.add(o)
			}
		}
		if len(p.notes) == 0 {
			continue
		}
		p.sort()
		out = append(out, p)
	}
	return out
}

func (p *piece) add(s *score.Passage) {
	for _, n := range s.Sounding() {
		if n.Duration.Sign() > 0 {
			p.notes = append(p.notes, Note{n.Onset, n.Duration, n.Pitch.MIDI()})
			p.fifths = append(p.fifths, int8(n.Pitch.Class().Fifths()))
		}
	}
}
