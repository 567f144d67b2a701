package claim_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/claim"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
	"plumbline/theory/score/typed"
)

const suiteDir = "../../testdata/claims"

// suiteFile checks a claims file whose remarks tell the verdict by hand, and counts.
func suiteFile(t *testing.T, p *score.Passage, file string, seen map[string]int, verdicts map[claim.Verdict]int) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	claims, bad, err := claim.Parse(filepath.Base(file), f)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range bad {
		t.Errorf("%v\n%s", b, b.Detail())
	}
	k := claim.NewChecker(p)
	for _, c := range claims {
		want, why, ok := strings.Cut(c.Remark, ":")
		if !ok || want != "holds" && want != "fails" && want != "arguable" || strings.TrimSpace(why) == "" {
			t.Errorf("%s:%d: the remark %q doesn't begin with a verdict and its reason", file, c.Line, c.Remark)
			continue
		}
		res, err := k.Check(c)
		if err != nil {
			t.Errorf("%s:%d: %v", filepath.Base(file), c.Line, err)
			continue
		}
		seen[c.Form().ID]++
		verdicts[res.Verdict]++
		if string(res.Verdict) != want {
			t.Errorf("%s:%d: %s: %s (%s)\n\tverdict %s; want %s, since%s\n\tbecause %s\n\tinstead %s", filepath.Base(file), c.Line, c.PlaceText, c.Statement, c.Form().ID, res.Verdict, want, why, res.Because, res.Instead)
		}
		if len(res.Evidence) == 0 || res.Because == "" || (res.Verdict == claim.Holds) != (res.Instead == "") {
			t.Errorf("%s:%d: %s: verdict %s with %d notes, because %q, instead %q", filepath.Base(file), c.Line, c.Statement, res.Verdict, len(res.Evidence), res.Because, res.Instead)
		}
	}
}

// TestSuite checks claims about invented passages against verdicts found by hand, from the notes; each remark tells the reason.
// What a term means is common practice where no source is named in the form's documentation.
func TestSuite(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(suiteDir, "*.passage"))
	if err != nil || len(files) < 12 {
		t.Fatalf("%d passages in %s; want 12 at least", len(files), suiteDir)
	}
	seen, verdicts := map[string]int{}, map[claim.Verdict]int{}
	for _, file := range files {
		f, err := os.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		p, err := typed.Read(filepath.Base(file), f)
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		suiteFile(t, p, strings.TrimSuffix(file, ".passage")+".claims", seen, verdicts)
	}
	all := verdicts[claim.Holds] + verdicts[claim.Fails] + verdicts[claim.Arguable]
	if all < 150 || 2*verdicts[claim.Holds] > all {
		t.Errorf("%d claims, %d hold; want 150 at least and half of them false or arguable", all, verdicts[claim.Holds])
	}
	for _, f := range claim.Forms() {
		if seen[f.ID] == 0 {
			t.Errorf("no claim of the form %q", f.ID)
		}
	}
	t.Logf("%d claims: %v", all, verdicts)
}

// sharedDir is where scores and corpus lie that are not ours; see ../../README.md on PLUMBLINE_SHARED.
func sharedDir(t *testing.T) string {
	dir := os.Getenv("PLUMBLINE_SHARED")
	if dir == "" {
		dir = "../../../shared"
	}
	if _, err := os.Stat(filepath.Join(dir, "scores")); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("no shared scores: %v", err)
		}
		t.Skipf("no shared scores; set PLUMBLINE_SHARED to where they are: %v", err)
	}
	return dir
}

// TestSharedSuite checks claims about songs (OpenScore Lieder, CC0 1.0) and piano pieces (corpus of Hentschel et al. 2024) in the same
// way. Each file names its passage in the first line; verdicts and reasons are by hand, from the notes.
func TestSharedSuite(t *testing.T) {
	dir := sharedDir(t)
	files, err := filepath.Glob(filepath.Join(suiteDir, "shared", "*.claims"))
	if err != nil || len(files) < 6 {
		t.Fatalf("%d files of claims; want 6 at least", len(files))
	}
	seen, verdicts := map[string]int{}, map[claim.Verdict]int{}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		line, _, _ := strings.Cut(string(data), "\n")
		name, ok := strings.CutPrefix(line, "# passage: ")
		if !ok {
			t.Fatalf("%s doesn't name its passage", file)
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		var p *score.Passage
		if strings.HasSuffix(name, ".tsv") {
			p, err = readTable(path)
		} else {
			p, err = musicxml.ReadFile(path, musicxml.Options{})
		}
		if err != nil {
			t.Fatal(err)
		}
		suiteFile(t, p, file, seen, verdicts)
	}
	t.Logf("%d claims: %v", verdicts[claim.Holds]+verdicts[claim.Fails]+verdicts[claim.Arguable], verdicts)
}

// readTable reads the notes of a piece of the corpus.
func readTable(path string) (*score.Passage, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	fraction := func(s string) score.Time {
		r, _ := new(big.Rat).SetString(s)
		if r == nil {
			return score.Time{}
		}
		if r.Denom().Cmp(big.NewInt(1000)) > 0 { // a third, written as a decimal
			x, _ := r.Float64()
			return score.T(int64(math.Round(x*12)), 12)
		}
		return score.T(r.Num().Int64(), r.Denom().Int64())
	}
	p := &score.Passage{Source: path}
	column := map[string]int{}
	for i, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		cells := strings.Split(line, "\t")
		if i == 0 {
			for n, c := range cells {
				column[c] = n
			}
			continue
		}
		get := func(name string) string { return cells[column[name]] }
		n := score.Note{Onset: fraction(get("onset")), Duration: fraction(get("duration")), Hand: score.Right, Voice: 1}
		if get("staff") != "1" {
			n.Hand = score.Left
		}
		if v, err := strconv.Atoi(get("voice")); err == nil {
			n.Voice = v
		}
		if n.Pitch, err = pitch.Parse(get("pitch")); err != nil {
			return nil, err
		}
		tie := get("tie")
		n.TieTo, n.TieFrom = tie == "start" || tie == "both", tie == "stop" || tie == "both"
		last := len(p.Bars) - 1
		if last < 0 || p.Bars[last].Number != get("bar") {
			var m score.Meter
			if _, err := fmt.Sscanf(get("meter"), "%d/%d", &m.Beats, &m.Unit); err != nil {
				return nil, err
			}
			within := fraction(get("bar_onset")).Mul(4, 1)
			b := score.Bar{Number: get("bar"), Start: n.Onset.Sub(within), Meter: m, Length: m.Length()}
			if last < 0 && within.Sign() > 0 { // an upbeat
				b.Start, b.Offset, b.Length = n.Onset, within, m.Length().Sub(within)
			}
			p.Bars = append(p.Bars, b)
			last++
		}
		n.Bar = last
		p.Notes = append(p.Notes, n)
	}
	p.Sort()
	return p, nil
}

// TestBrokenFile checks a file in which every line is broken in a way of its own: each is answered with a column inside it and with
// what to write instead, and nothing panics.
func TestBrokenFile(t *testing.T) {
	file := filepath.Join(suiteDir, "broken", "broken.txt")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	if len(lines) < 60 {
		t.Fatalf("%d broken lines; want 60 at least", len(lines))
	}
	claims, bad, err := claim.Parse("broken.txt", strings.NewReader(string(data)))
	if err != nil {
		t.Fatal(err)
	}
	k := claim.NewChecker(passage(t, lamp))
	for _, c := range claims {
		res, err := k.Check(c)
		var e *claim.Error
		if !errors.As(err, &e) {
			t.Errorf("%d: %q is understood as %q: %s", c.Line, lines[c.Line-1], c.Form().ID, res.Verdict)
			continue
		}
		bad = append(bad, e)
	}
	if len(bad) != len(lines) {
		t.Errorf("%d lines of %d are answered", len(bad), len(lines))
	}
	for _, e := range bad {
		line := lines[e.Line-1]
		if e.Col < 1 || e.Col > len([]rune(line))+1 {
			t.Errorf("%d: column %d is not in %q", e.Line, e.Col, line)
		}
		// A suggestion: a form that comes near, or in the message what would do.
		hints := []string{"want", "near", "as in", "write", "has ", "there is no", "name the", "belongs", "never", "listed", "names", "before", "counted from", "letters", "A to G"}
		if len(e.Nearest) == 0 && !slices.ContainsFunc(hints, func(h string) bool { return strings.Contains(e.Msg, h) }) {
			t.Errorf("%d: %q is answered without a suggestion: %s", e.Line, line, e.Msg)
		}
		t.Logf("%d:%d: %s\n\t%s | %s", e.Line, e.Col, line, e.Msg, strings.Join(e.Nearest, " | "))
	}
}
