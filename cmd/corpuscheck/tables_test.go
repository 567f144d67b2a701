package main

import (
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/theory/score"
)

// shared returns the folder of the expert-labelled corpus, or skips the test if it isn't there.
func shared(t *testing.T) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	dir := filepath.Join(root, "corpus")
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the corpus is required: %v", err)
		}
		t.Skipf("no corpus to read (set PLUMBLINE_SHARED): %v", err)
	}
	return dir
}

// near reports whether an exact time is what a cell of the tables means: decimals there are rounded in the 16th place.
func near(t score.Time, cell string) bool {
	want, ok := new(big.Rat).SetString(cell)
	if !ok {
		return false
	}
	d, _ := new(big.Rat).Sub(want, big.NewRat(t.Num(), t.Den())).Float64()
	return d < 1e-9 && d > -1e-9
}

// TestTables reads the whole corpus and holds each passage against its table, row by row, and against what any passage promises.
func TestTables(t *testing.T) {
	dir := shared(t)
	pieces, err := readSets([]string{dir})
	if err != nil {
		t.Fatal(err)
	}
	if len(pieces) != 121 { // by the README beside the corpus
		t.Errorf("%d pieces; want 121", len(pieces))
	}
	notes, bars, long, labels, planted := 0, 0, 0, 0, 0
	for _, p := range pieces {
		name := p.Set + "/" + p.Name
		data, err := os.ReadFile(filepath.Join(dir, p.Set, p.Name+".notes.tsv"))
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(data)), "\n")[1:]
		if len(lines) != len(p.Passage.Notes) {
			t.Errorf("%s: %d notes of %d rows", name, len(p.Passage.Notes), len(lines))
			continue
		}
		// Every row is there, with its bar and place in it.
		type key struct {
			pitch, bar, tie string
			hand            score.Hand
			voice           int
		}
		have := map[key][]score.Note{}
		for _, n := range p.Passage.Notes {
			b := p.Passage.Bars[n.Bar]
			tie := map[[2]bool]string{{true, false}: "start", {true, true}: "both", {false, true}: "stop"}[[2]bool{n.TieTo, n.TieFrom}]
			k := key{n.Pitch.String(), b.Number, tie, n.Hand, n.Voice}
			have[k] = append(have[k], n)
		}
		for _, l := range lines {
			c := strings.Split(l, "\t")
			found := false
			for _, n := range have[key{c[4], c[6], c[5], min(score.Hand(c[1][0]-'0'), score.Left), int(c[2][0] - '0')}] {
				b := p.Passage.Bars[n.Bar]
				within, _ := new(big.Rat).SetString(c[7])
				within.Mul(within, big.NewRat(4, 1))
				found = found || near(n.Onset, c[0]) && near(n.Duration, c[3]) && near(n.Onset.Sub(b.Start).Add(b.Offset), within.String()) && b.Meter.String() == c[8]
			}
			if !found {
				t.Errorf("%s: no note for the row %q", name, l)
				break
			}
		}
		at := score.Time{}
		for i, b := range p.Passage.Bars {
			if i > 0 && b.Start != at || b.Length.Sign() < 0 || b.Offset.Sign() < 0 {
				t.Errorf("%s: bar %s is %+v; the one before ends at %s", name, b.Number, b, at)
			}
			if at = b.End(); b.Meter.Length().Less(b.Offset.Add(b.Length)) && i+1 < len(p.Passage.Bars) {
				long++
				t.Errorf("%s: bar %s of %s from %s on is %s long after %s", name, b.Number, b.Meter, b.Start, b.Length, b.Offset)
			}
		}
		for _, n := range p.Passage.Notes {
			b := p.Passage.Bars[n.Bar]
			if n.Onset.Less(b.Start) || b.End().Less(n.End()) {
				t.Errorf("%s: %s from %s on, %s long, is outside of bar %s", name, n.Pitch, n.Onset, n.Duration, b.Number)
				break
			}
		}
		for _, l := range p.Planted {
			switch l.Slip {
			case "quality", "third", "fifth", "seventh", "bass":
			default:
				t.Errorf("%s: the slip %q", name, l.Slip)
			}
		}
		notes, bars, labels, planted = notes+len(lines), bars+len(p.Passage.Bars), labels+len(p.Truth), planted+len(p.Planted)
	}
	sets := summarize(pieces)
	if s := sets[len(sets)-1]; len(sets) != 3 || s.Pieces != 121 || s.Notes != notes || s.Bars != bars || s.Labels != labels || s.Planted != planted {
		t.Errorf("the summary says %+v; counted %d notes, %d bars, %d labels, %d planted", s, notes, bars, labels, planted)
	} else {
		t.Logf("%d notes, %d bars, %d labels, %d planted, %d span problems: %q", notes, bars, labels, planted, len(s.Problems), s.Problems)
		if len(s.Problems) > 20 {
			t.Errorf("%d labels with a span that can't be", len(s.Problems))
		}
	}
}

// A small corpus of our own: an upbeat, bars of rests, a bar cut by a repeat sign, tuplets as decimals, and spans that can't be.
func TestRun(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, lines ...string) {
		t.Helper()
		text := strings.ReplaceAll(strings.Join(lines, "\n")+"\n", ",", "\t")
		if err := os.MkdirAll(filepath.Join(dir, "set"), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "set", name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	const head = "onset,staff,voice,duration,pitch,tie,bar,bar_onset,meter"
	write("a.notes.tsv", head, "0,1,1,1,E4,,0,1/2,3/4", "1,1,1,2,F##4,start,1,0,3/4", "1,3,2,3333333333333333/10000000000000000,Bb2,,1,0,3/4",
		"10,2,1,2,C3,,4,0,3/4", "12,1,1,1,D4,,5,1/2,3/4", "13,1,1,3,D4,,6,0,3/4")
	write("a.truth.tsv", "onset,duration,bar,bar_onset,key,root,quality,bass,chord_tones,added_tones",
		"0,4,0,1/2,B minor,B,minor,B,B D F#,", "3,2,1,0,B minor,B,minor,B,B D F#,", "5,20,1,0,B minor,B,minor,B,B D F#,")
	pieces, err := readSets([]string{dir})
	if err != nil {
		t.Fatal(err)
	}
	var bars []string
	for _, b := range pieces[0].Passage.Bars {
		bars = append(bars, fmt.Sprintf("%s: %s for %s after %s", b.Number, b.Start, b.Length, b.Offset))
	}
	want := "0: 0 for 1 after 2, 1: 1 for 3 after 0, 2: 4 for 3 after 0, 3: 7 for 3 after 0, 4: 10 for 2 after 0, 5: 12 for 1 after 2, 6: 13 for 3 after 0"
	if got := strings.Join(bars, ", "); got != want {
		t.Errorf("bars\n%s; want\n%s", got, want)
	}
	if n := pieces[0].Passage.Notes[1]; n.Duration != score.T(1, 3) || n.Hand != score.Left || n.Bar != 1 {
		t.Errorf("the triplet of the third staff is %+v", n)
	}
	for _, c := range []struct {
		args     []string
		code     int
		out, err string
	}{
		{[]string{dir}, 0, "2 span problems", ""},
		{[]string{"-json", dir}, 0, "begins before the one before it ends, at 4", ""},
		{nil, 2, "", "a folder is missing"},
		{[]string{filepath.Join(dir, "none")}, 2, "", "is no folder"},
		{[]string{"-x"}, 2, "", "flag provided but not defined"},
	} {
		var out, errs strings.Builder
		code := run(c.args, &out, &errs)
		if code != c.code || !strings.Contains(out.String(), c.out) || !strings.Contains(errs.String(), c.err) || c.err == "" && errs.Len() > 0 {
			t.Errorf("%q: %d\n%s%s", c.args, code, out.String(), errs.String())
		}
	}
	write("b.notes.tsv", head, "0,1,1,1,H4,,1,0,3/4")
	if _, err := readSets([]string{dir}); err == nil || !strings.Contains(err.Error(), "b.notes.tsv:2: ") {
		t.Errorf("a wrong pitch: %v", err)
	}
	for _, s := range []string{"", "x", "1/0", "3141592653589793/1000000000000000"} {
		if x, err := parseTime(s); err == nil {
			t.Errorf("parseTime(%q) = %s; want an error", s, x)
		}
	}
}
