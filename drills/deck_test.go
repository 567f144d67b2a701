package drills

import (
	"bytes"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/claim"
)

// TestReadyDecks: all are there, each step can be asked, and each says when to go on.
func TestReadyDecks(t *testing.T) {
	if got := len(ReadyDecks()); got != len(readyNames) {
		t.Errorf("%d ready-made decks; want %d", got, len(readyNames))
	}
	kinds := map[Kind]bool{}
	for _, n := range readyNames {
		b, err := deckFiles.ReadFile("decks/" + n + ".deck")
		if err != nil {
			t.Fatal(err)
		}
		d, err := ReadDeck(n, bytes.NewReader(b))
		if err != nil {
			t.Error(err)
			continue
		}
		if d.Title == "" || d.About == "" {
			t.Errorf("%s has no title or says nothing about itself", n)
		}
		for _, st := range d.Steps {
			kinds[st.Settings.Kind] = true
			if st.PassOf == 0 {
				t.Errorf("%s, step %q doesn't say when to go on", n, st.Name)
			}
		}
		checkRoundTrip(t, d)
		if got, ok := ReadyDeck(strings.ToUpper(n)); !ok || got.Name != n {
			t.Errorf("ReadyDeck(%q) = %v, %v", n, got, ok)
		}
	}
	for _, k := range Kinds() {
		if !kinds[k] {
			t.Errorf("no ready-made deck has the kind %q", k)
		}
	}
}

// checkRoundTrip writes a deck and reads it again.
func checkRoundTrip(t *testing.T, d *Deck) {
	t.Helper()
	var b bytes.Buffer
	if err := WriteDeck(&b, d); err != nil {
		t.Fatal(err)
	}
	again, err := ReadDeck("again", bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatalf("what is written isn't read: %v\n%s", err, b.String())
	}
	again.Name = d.Name
	if !reflect.DeepEqual(again, d) {
		t.Fatalf("read again:\n%+v\nwant\n%+v\n%s", again, d, b.String())
	}
}

const ownDeck = `deck: Mine    # and a comment
about: Two lines
about: of it.

step: cards
card: C2 G2 D3 / E4 A4 D5 = fourths over fifths
card: C2 G2 D3 / E4 G4 B4 = a triad over fifths
card: E3 / G#4 B4 D5 | A2 / A4 C5 E5 = home -- not away, elsewhere
near misses: 0

step: labels
ask: m7, half-diminished
by: sight
inversions: yes
range: C3 to F#6
questions: 12
pass: 9 of 10

step: a passage
kind: construction
passage: my song.mxl
at: bars 1-8, left hand
near misses: 25
transpose: no
`

func TestReadDeck(t *testing.T) {
	d, err := ReadDeck("mine", strings.NewReader(ownDeck))
	if err != nil {
		t.Fatal(err)
	}
	if d.Title != "Mine" || d.About != "Two lines of it." || len(d.Steps) != 3 || len(d.Steps[0].Cards) != 3 || d.Steps[0].Settings.Kind != Cards ||
		d.Steps[1].Questions != 12 || !d.Steps[1].Settings.Sight || d.Steps[1].Pass != 9 || d.Steps[2].Passage != "my song.mxl" || d.Steps[2].Settings.Foils != .25 || !d.Steps[2].Settings.NoTranspose {
		t.Errorf("read %+v", d)
	}
	checkRoundTrip(t, d)
	for _, tt := range []struct {
		text      string
		line, col int
		says      string
	}{
		{"", 1, 1, "no step"},
		{"deck: x\n", 1, 1, "no step"},
		{"step: a\nwibble: 3\n", 2, 1, `"wibble" is no key`},
		{"step: a\n  nothing here\n", 2, 3, "no colon"},
		{"kind: quality\n", 1, 1, "before the first step"},
		{"step: a\nkind: wibble\n", 2, 7, `no kind of drill "wibble"`},
		{"step: a\nlevel: two\n", 2, 8, "whole number"},
		{"step: a\nlevel: 77\n", 1, 1, "levels 1 to 9"},
		{"step: a\nask: m7, wibble\n", 1, 1, `"wibble" is no label`},
		{"step: a\nby: touch\n", 2, 5, "ear or sight"},
		{"step: a\nrange: C3 to H9\n", 2, 14, `"H9" is no note`},
		{"step: a\nrange: C3\n", 2, 8, "two notes"},
		{"step: a\npass: 20 of 18\n", 2, 7, "how many of how many"},
		{"step: a\nat: bar x\n", 2, 9, ""},
		{"step: a\ncard: C4 E4 G4\n", 2, 15, "= is missing"},
		{"step: a\ncard: C4 E4 Q4 = x\n", 2, 13, `"Q4" is no note`},
		{"step: a\ncard: C4 E4 | = x\n", 2, 14, "without notes"},
		{"step: a\ncard: C4 / E4 / G4 = x\n", 2, 7, "more than two hands"},
		{"step: a\ncard: C4 = x -- or y\n", 2, 16, "-- not LABEL"},
		{"step: a\ncard: C4 E4 = x\n", 1, 1, "nothing to tell apart"},
		{"step: a\nkind: rhythm\nby: sight\n", 1, 1, "for the ear only"},
		{"step: a\nkind: dictation\ncard: C4 E4 = x\n", 1, 1, "answers are written"},
		{"step: a\ninversions: maybe\n", 2, 13, "yes or no"},
		{"step:\n", 1, 5, "says nothing"},
		{"step: a\nsize: 0\n", 2, 7, "1 to 1200"},
		{"deck: a\ndeck: b\n", 2, 1, "title already"},
	} {
		_, err := ReadDeck("f", strings.NewReader(tt.text))
		var de *DeckError
		if !errors.As(err, &de) || de.Line != tt.line || de.Column != tt.col || !strings.Contains(de.Msg, tt.says) || !strings.HasPrefix(err.Error(), "drills: f:") {
			t.Errorf("ReadDeck(%q) = %v; want %d:%d and %q", tt.text, err, tt.line, tt.col, tt.says)
		}
	}
}

func TestCards(t *testing.T) {
	d, err := ReadDeck("mine", strings.NewReader(ownDeck))
	if err != nil {
		t.Fatal(err)
	}
	dr, err := d.Steps[0].Drill(7)
	if err != nil {
		t.Fatal(err)
	}
	seen, last := map[string]int{}, 0
	for n := 1; n <= 300; n++ {
		q := dr.Question(n)
		seen[q.Expected]++
		ns := q.Notes()
		if !slices.Contains(q.Choices, q.Expected) || q.Expected == "home" != (len(q.Music) > 0) {
			t.Fatalf("question %d: %+v", n, q)
		}
		if q.Expected == "home" && (!slices.Contains(q.Choices, "away") || !slices.Contains(q.Choices, "elsewhere")) {
			t.Fatalf("question %d: choices %q; want the card's own", n, q.Choices)
		}
		low := ns[0].MIDI()
		if len(q.Music) > 0 {
			for _, m := range q.Music {
				low = min(low, m.Pitch.MIDI())
			}
		}
		if low == last {
			t.Fatalf("question %d begins on the same lowest note as the one before, %v", n, ns)
		}
		last = low
		for _, c := range q.Choices {
			if g, err := Grade(q, c); err != nil || g.Right != (c == q.Expected) || Explain(q, g).Text == "" {
				t.Fatalf("question %d: Grade(%q) = %+v, %v", n, c, g, err)
			}
		}
		again, _ := d.Steps[0].Drill(7)
		if n < 20 && jsonOf(again.Question(n)) != jsonOf(q) {
			t.Fatalf("question %d isn't the same again", n)
		}
	}
	for _, l := range []string{"home", "a triad over fifths", "fourths over fifths"} {
		if seen[l] < 70 || seen[l] > 130 {
			t.Errorf("%q is asked %d times of 300; want about 100", l, seen[l])
		}
	}
}

func TestDeckFromConfusions(t *testing.T) {
	d, err := DeckFromConfusions([]Confused{
		{Quality, false, "minor seventh", "half-diminished seventh", 3}, {Quality, false, "half-diminished seventh", "minor seventh", 4},
		{Quality, false, "major triad", "minor triad", 5}, {Tendency, false, upSemitone, stays, 2}, {Quality, false, "wibble", "minor triad", 50}, {Quality, false, "major triad", "", 50},
	})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, st := range d.Steps {
		names = append(names, st.Name)
		if _, err := st.Drill(1); err != nil {
			t.Error(err)
		}
	}
	want := []string{"half-diminished seventh or minor seventh", "major triad or minor triad", "stays or up a semitone", "all of them, Chord quality"}
	if !slices.Equal(names, want) {
		t.Errorf("steps %q; want %q", names, want)
	}
	checkRoundTrip(t, d)
	if _, err := DeckFromConfusions(nil); err == nil {
		t.Error("DeckFromConfusions of nothing = nil error")
	}
}

// cadential is a passage of ours with what the found decks look for: resolutions, a chromatic line, a sequence.
const cadential = `title: A gate in the hedge
key: C major
meter: 4/4
bars 1-6
right: h G4+C5+E5 F4+B4+D5 | h E4+G4+C5 E4+G#4+C5 | q E4+A4+C5 F4+A4+D5 D4+G4+B4 E4+G4+C5 | q C4+F4+A4 D4+F4+B4 B3+E4+G4 C4+E4+A4 | h D4+F4+A4 D4+F4+B4 | w E4+G4+C5
left:  h C3 G2           | h C3 C3             | q A2 D3 G2 C3                          | q F2 B2 E3 A2                           | h D3 G2           | w C3
`

func TestDeckFromPassage(t *testing.T) {
	p, r := read(t, cadential, "")
	d, err := DeckFromPassage(p, r)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[Kind]*Step{}
	for i, st := range d.Steps {
		kinds[st.Settings.Kind] = &d.Steps[i]
		dr, err := st.Drill(3)
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 30; n++ {
			q := dr.Question(n)
			if len(q.Choices) < 2 || !slices.Contains(q.Choices, q.Expected) {
				t.Fatalf("%s, question %d: choices %q for %q", st.Name, n, q.Choices, q.Expected)
			}
			for _, c := range q.Choices {
				g, err := Grade(q, c)
				if err != nil || c == q.Expected && !g.Right {
					t.Fatalf("%s, question %d: Grade(%q) = %+v, %v", st.Name, n, c, g, err)
				}
				Explain(q, g)
			}
		}
	}
	for _, k := range []Kind{Quality, Inversion, Tendency, Semitone, Next} {
		if kinds[k] == nil {
			t.Errorf("no step of kind %q in %s", k, d.Path())
		}
	}
	checkRoundTrip(t, d)
	// By hand: B4 of G7 (bar 1) goes up to C5; in bar 2 the inner voice goes from G4 up to G#4; the bass goes round the circle.
	has := func(k Kind, text string) {
		t.Helper()
		if kinds[k] == nil || !slices.ContainsFunc(kinds[k].Cards, func(c Card) bool { return strings.Contains(c.String(), text) }) {
			t.Errorf("no card of kind %q has %q: %v", k, text, kinds[k])
		}
	}
	has(Semitone, "C3 / E4 G4 C5 | C3 / E4 G#4 C5 = inner voice, up")
	has(Tendency, "| / B4 = up a semitone")
	has(Next, "= up a fourth or down a fifth")
	has(Quality, "C3 / G4 C5 E5 = major triad")

	claims, bad, err := claim.Parse("c", strings.NewReader("bar 1 beat 1: is C\nbars 3-4, bass: moves by the circle of fifths\nbar 99: is C\n"))
	if err != nil || len(bad) > 0 {
		t.Fatal(err, bad)
	}
	cd, err := DeckFromClaims(p, claims)
	if err != nil {
		t.Fatal(err)
	}
	if len(cd.Steps) != 3 && len(cd.Steps) != 2 || !strings.HasPrefix(cd.Steps[0].Name, "bar 1 beat 1: is C") {
		t.Errorf("from claims: %s", cd.Path())
	}
	checkRoundTrip(t, cd)
	empty, er := read(t, "meter: 4/4\nbar 1\nright: w r\nleft: w r\n", "")
	var se *SettingsError
	if _, err := DeckFromPassage(empty, er); !errors.As(err, &se) {
		t.Errorf("DeckFromPassage of silence = %v; want a SettingsError", err)
	}
}

func FuzzReadDeck(f *testing.F) {
	f.Add(ownDeck)
	for _, d := range ReadyDecks() {
		var b bytes.Buffer
		if err := WriteDeck(&b, d); err != nil {
			f.Fatal(err)
		}
		f.Add(b.String())
	}
	f.Add("step: a\ncard: C4 | E4 = x -- not y\n")
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ReadDeck("f", strings.NewReader(s))
		if err != nil {
			var de *DeckError
			if !errors.As(err, &de) || de.Line < 1 || de.Column < 1 || d != nil {
				t.Errorf("ReadDeck(%q) = %v, %v; want a DeckError", s, d, err)
			} else {
				de.Detail()
			}
			return
		}
		var b bytes.Buffer
		if err := WriteDeck(&b, d); err != nil {
			t.Fatal(err)
		}
		again, err := ReadDeck("g", bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatalf("what is written isn't read: %v\n%s", err, b.String())
		}
		var c bytes.Buffer
		if err := WriteDeck(&c, again); err != nil || !bytes.Equal(b.Bytes(), c.Bytes()) {
			t.Errorf("written twice:\n%s\nand\n%s", b.String(), c.String())
		}
		for _, st := range d.Steps {
			if st.Passage == "" {
				if dr, err := st.Drill(1); err != nil {
					t.Error(err)
				} else {
					dr.Question(1)
				}
			}
		}
	})
}
