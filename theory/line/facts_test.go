package line_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/theory/claim"
	"plumbline/theory/line"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
	"plumbline/theory/score/typed"
)

const piece = `title: Six bars for a test
key: C major
meter: 4/4

bars 1-2
right: [p] e C5 D5 E5 C5 D5 E5 F5 D5 | e E5 F5 G5 E5 F5 G5 A5 F5
left:  w C3+G3                       | w C3+A3

bars 3-4
right: [louder] e E5 A4 D#5 G#4 D5 G4 C#5 F#4 | [end] e C5 F4 B4 E4 Bb4 Eb4 A4 D4
left:  q A2 D3 G2 C3                          | q F2 B2 E2 A2

bars 5-6
right: q E5 F5 F#5 G5 | q Ab5 A5 Bb5 Cb6
left:  q A2 D3 G2 C3  | q F2 Bb2 Eb2 Ab2
`

func readPiece(t testing.TB, text string) *score.Passage {
	t.Helper()
	p, err := typed.Read("piece", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestFacts has a piece with one thing of each kind, and what must be said of it.
func TestFacts(t *testing.T) {
	p := readPiece(t, piece)
	facts := line.Facts(p, score.Region{To: p.End()})
	var all []string
	for _, f := range facts {
		all = append(all, f.Kind.String()+" | "+f.Place+": "+f.Claim+" | "+f.Text)
	}
	text := strings.Join(all, "\n")
	for _, want := range []string{
		"cycle | bars 5-6: outer intervals repeat every 3 chords: P5 m3 M7",
		"motion | bars 5-6, top line: rises chromatically",
		"two lines in one | bars 3-4, top line: splits into two stepwise lines",
		"relation | bar 2, right hand: is bar 1 moved up a third",
		"loudness | bar 3: gets louder",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("Facts don't say %q; they say\n%s", want, text)
		}
	}
	for i := 1; i < len(facts); i++ { // the first few are weighed against each other, the first of all by itself
		if facts[i].Rank() > facts[0].Rank() || i > 24 && facts[i].Rank() > facts[i-1].Rank() {
			t.Errorf("fact %d ranks above one before it", i)
		}
	}
	again := line.Facts(p, score.Region{To: p.End()})
	for i := range facts {
		if again[i].Text != facts[i].Text || len(again) != len(facts) {
			t.Fatalf("facts differ from one call to the next: %q, %q", again[i].Text, facts[i].Text)
		}
	}
}

// What comes back bar by bar is told as one chain, with a line of a claims file for each bar; a verse that comes back is told once;
// a pedal, syncopation by held notes and the octaves of the hands are told, and the figures of hands that take turns are not.
func TestFactsTogether(t *testing.T) {
	p := readPiece(t, `title: Eight bars for a test
key: C major
meter: 4/4

bars 1-4
right: e C5 E5 G5 E5 C5 D5 E5 C5 | e D5 F5 A5 F5 D5 E5 F5 D5 | e E5 G5 B5 G5 E5 F5 G5 E5 | e F5 A5 C6 A5 F5 G5 A5 F5
left:  w C3+G3                   | w C3+A3                   | w C3+B3                   | w C3+A3

bars 5-8
right: e C5 q E5 q G5 q A5 e F5 | e D5 q F5 q A5 q B5 e G5 | e C5 q E5 q G5 q A5 e F5 | e D5 q F5 q A5 q B5 e G5
left:  h A2 D3                  | h G2 C3                  | h F2 B2                  | h E2 A2
`)
	facts := line.Facts(p, score.Region{To: p.End()})
	var all []string
	for _, f := range facts {
		all = append(all, f.Kind.String()+" | "+f.Text+" | "+strings.Join(f.Lines, "; ")+" | "+strings.Join(f.Again, ", "))
	}
	text := strings.Join(all, "\n")
	for _, want := range []string{
		"relation | bars 2-4, right hand: each bar is the one before moved up a step | bar 2, right hand: is bar 1 moved up a step; bar 3, right hand: is bar 2 moved up a step; bar 4",
		"pedal | bars 1-4: pedal on C",
		"syncopation | right hand: strongly syncopated in 4 of 8 bars, most of all in bar 5: 3 notes held over a stronger beat",
		"motion | bar 5 beat 1 to bar 8 beat 3, bass: moves by the circle of fifths",
		"relation | bar 6, right hand: is bar 5 moved up a step |  | bar 8",
		"sequence | bars 5-6: a phrase of 6 chords, then the same, the bass down a step and the top line up a step (tonal)",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("Facts don't say %q; they say\n%s", want, text)
		}
	}
	if strings.Contains(text, "two lines in one | bars 5-8, left hand") {
		t.Errorf("a circle of fifths is told as two lines:\n%s", text)
	}
	if n := verdicts(t, p, facts, func(f line.Fact, v, because string) { t.Errorf("%s: %s: %s: %s", f.Place, f.Claim, v, because) })[claim.Holds]; n < 6 {
		t.Errorf("%d statements hold; want 6 at least", n)
	}
}

// verdicts counts how the statements among facts check.
func verdicts(t testing.TB, p *score.Passage, facts []line.Fact, show func(f line.Fact, v, because string)) map[claim.Verdict]int {
	k := claim.NewChecker(p)
	count := map[claim.Verdict]int{}
	var said []line.Fact // one for each line of a claims file
	for _, f := range facts {
		if f.Claim != "" {
			said = append(said, f)
		}
		for _, l := range f.Lines {
			x := f
			x.Place, x.Claim, _ = strings.Cut(l, ": ")
			said = append(said, x)
		}
	}
	for _, f := range said {
		c, ok, e := claim.ParseLine(f.Place + ": " + f.Claim)
		if e != nil || !ok {
			count["unread"]++
			show(f, "unread", e.Error())
			continue
		}
		res, err := k.Check(c)
		if err != nil {
			count["unread"]++
			show(f, "no place", err.Error())
			continue
		}
		count[res.Verdict]++
		if res.Verdict != claim.Holds {
			show(f, string(res.Verdict), res.Because)
		}
	}
	return count
}

// The statements must check as they are said, by the rules of package claim, which were written apart from this package.
func TestFactsHold(t *testing.T) {
	p := readPiece(t, piece)
	count := verdicts(t, p, line.Facts(p, score.Region{To: p.End()}), func(f line.Fact, v, because string) {
		t.Errorf("%s: %s: %s: %s", f.Place, f.Claim, v, because)
	})
	if count[claim.Holds] < 5 {
		t.Errorf("%v; want at least 5 that hold", count)
	}
}

func songs(t testing.TB) []string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	files, _ := filepath.Glob(filepath.Join(root, "scores", "lieder", "*.mxl"))
	if len(files) < 100 {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the songs are required; found %d", len(files))
		}
		t.Skipf("no songs to measure on (set PLUMBLINE_SHARED)")
	}
	return files
}

// TestFactsOfSongs says every statement about 120 songs with piano (OpenScore Lieder corpus, CC0) to the checker.
func TestFactsOfSongs(t *testing.T) {
	files := songs(t)
	if testing.Short() {
		files = files[:20]
	}
	all := map[claim.Verdict]int{}
	facts, shown := 0, map[line.FactKind]int{}
	for _, name := range files {
		p, err := musicxml.ReadFile(name, musicxml.Options{})
		if err != nil {
			t.Fatal(err)
		}
		list := line.Facts(p, score.Region{To: p.End()})
		facts += len(list)
		if os.Getenv("PLUMBLINE_FACTS") != "" { // the three most salient facts of each, to read beside the score
			for _, f := range list[:min(3, len(list))] {
				again := ""
				if len(f.Again) > 0 {
					again = "; again in " + strings.Join(f.Again, ", ")
				}
				t.Logf("%s %q: %s%s", filepath.Base(name), p.Title, f.Text, again)
			}
		}
		for v, n := range verdicts(t, p, list, func(f line.Fact, v, because string) {
			if shown[f.Kind]++; shown[f.Kind] < 4 {
				t.Logf("%s: %s: %s: %s: %.200s", filepath.Base(name), f.Place, f.Claim, v, because)
			}
		}) {
			all[v] += n
		}
	}
	said := all[claim.Holds] + all[claim.Arguable] + all[claim.Fails] + all["unread"]
	t.Logf("%d songs, %d facts, %d of them statements: %v", len(files), facts, said, all)
	if 1000*all[claim.Holds] < 995*said {
		t.Errorf("%d of %d statements hold; want 995 in 1000", all[claim.Holds], said)
	}
}
