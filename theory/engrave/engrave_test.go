package engrave_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/engrave"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
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

func BenchmarkKeyboard(b *testing.B) {
	keys := []engrave.Key{{Pitch: note(b, "A2"), Hand: score.Left}, {Pitch: note(b, "F#4"), Hand: score.Right}}
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := engrave.Keyboard(keys, engrave.KeyOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

func note(t testing.TB, s string) pitch.Pitch {
	t.Helper()
	p, err := pitch.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// typedPassage reads a passage in the typed format.
func typedPassage(t testing.TB, text string) *score.Passage {
	t.Helper()
	p, err := typed.Read("test", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func draw(t testing.TB, p *score.Passage, o engrave.Options) (string, engrave.Layout) {
	t.Helper()
	svg, l, err := engrave.Staff(p, whole(p), o)
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, p.Title, svg)
	return string(svg), l
}

func boxes(l engrave.Layout, k engrave.Kind) []engrave.Box {
	var out []engrave.Box
	for _, b := range l.Boxes {
		if b.Kind == k {
			out = append(out, b)
		}
	}
	return out
}

// half returns how many half spaces the middle of a box lies above the middle line of the upper staff.
func half(l engrave.Layout, b engrave.Box) int {
	return int(math.Round((l.Systems[0].Y + 200 - b.Y - b.H/2) / 50))
}

// The ten passages, easy to hard: everything drawn, nothing overlaps, at four widths, and the same bytes twice.
func TestPassages(t *testing.T) {
	for _, p := range passages(t) {
		for _, w := range []float64{0, 360, 900, 1600} {
			svg, l := draw(t, p, engrave.Options{Width: w})
			for _, s := range overlaps(l) {
				t.Errorf("%s, width %v: %s", p.Title, w, s)
			}
			seen := map[int]bool{}
			for _, b := range boxes(l, engrave.KindHead) {
				seen[b.Note] = true
				if want := engrave.NoteID(p, b.Note); b.ID != want && !strings.HasPrefix(b.ID, want+"-") || !strings.Contains(svg, `id="`+b.ID+`"`) {
					t.Errorf("%s: note %d has the id %q; want %q", p.Title, b.Note, b.ID, want)
				}
			}
			if len(seen) != len(p.Notes) || len(l.Bars) != len(p.Bars) {
				t.Errorf("%s: %d of %d notes, %d of %d bars", p.Title, len(seen), len(p.Notes), len(l.Bars), len(p.Bars))
			}
			if again, _ := draw(t, p, engrave.Options{Width: w}); again != svg {
				t.Errorf("%s: two drawings differ", p.Title)
			}
			if w > 0 && math.Abs(l.W*l.Scale-w) > 1 && w > 500 {
				t.Errorf("%s: %.0f pixels wide; want %v", p.Title, l.W*l.Scale, w)
			}
		}
	}
}

// A planted overlap is found, so that the tests above can fail.
func TestOverlapsAreFound(t *testing.T) {
	_, l := draw(t, passages(t)[0], engrave.Options{})
	for _, k := range []engrave.Kind{engrave.KindHead, engrave.KindTime, engrave.KindRest} {
		b := boxes(l, k)[0]
		b.X, b.Y, b.Kind = b.X+b.W/2, b.Y+b.H/3, engrave.KindLabel
		if m := l; len(overlaps(l)) > 0 || true {
			m.Boxes = append(slices.Clone(l.Boxes), b)
			if len(overlaps(m)) == 0 {
				t.Errorf("a label over a %s is not found", k)
			}
		}
	}
}

// Signatures on the treble staff: the order and the heights of sharps and flats (common practice, no source), in half spaces
// above the middle line.
func TestSignatures(t *testing.T) {
	sharps, flats := []int{4, 1, 5, 2, -1, 3, 0}, []int{0, 3, -1, 2, -2, 1, -3}
	for n := -7; n <= 7; n++ {
		p := passages(t)[0]
		p.Keys = []score.KeyChange{{Key: key.FromSignature(n, key.Major)}}
		_, l := draw(t, p, engrave.Options{NoCourtesy: true})
		var got []int
		for _, b := range boxes(l, engrave.KindKey) {
			h := half(l, b)
			if n < 0 {
				h-- // the bowl of a flat lies below the middle of its box
			}
			got = append(got, h)
		}
		want := sharps[:max(n, 0)]
		if n < 0 {
			want = flats[:-n]
		}
		if !slices.Equal(got, want) && len(got)+len(want) > 0 {
			t.Errorf("%d fifths: signs at %v; want %v", n, got, want)
		}
	}
}

// A change of key cancels what the new one doesn't have (common practice, no source): signs before, after, and how many.
func TestKeyChanges(t *testing.T) {
	for _, c := range []struct {
		from, to string
		want     int // naturals and signs at the change
	}{{"A major", "D major", 1 + 2}, {"A major", "C major", 3}, {"A major", "Eb major", 3 + 3}, {"C major", "E major", 4}, {"D major", "A major", 3}, {"F major", "Bb major", 2}} {
		p := typedPassage(t, "key: "+c.from+"\nmeter: 4/4\nbar 1\nright: w A4\nbar 2: key "+c.to+"\nright: w A4\n")
		first, _ := key.Parse(c.from)
		_, l := draw(t, p, engrave.Options{})
		got := len(boxes(l, engrave.KindKey)) - max(first.Signature(), -first.Signature())
		if got != c.want {
			t.Errorf("%s to %s: %d signs; want %d", c.from, c.to, got, c.want)
		}
	}
}

// Accidentals by key and bar: which notes carry one (common practice, so in the handbooks on notation: a sign holds for its
// step to the end of the bar, a note tied over the barline needs none).
func TestAccidentals(t *testing.T) {
	for _, c := range []struct {
		name, bars, want string
	}{
		{"in the bar", "q C5 C#5 C#5 C5", "- # - n"},
		{"gone at the barline", "q C#5 C5 D5 E5 | q C#5 D5 E5 F5", "# n - - # - - -"},
		{"each octave for itself", "q C#5 C#4 C#5 C#4", "# # - -"},
		{"tied over the barline", "q D5 D5 D5 C#5= | q C#5 C#5 D5 C5", "- - - # - # - n"},
		{"doubled", "q Fx4 F#4 F4 Fb4", "x # n b"},
		{"all five", "q Gbb4 Gb4 G4 Gx4", "bb b n x"},
	} {
		head := "bar 1"
		if strings.Contains(c.bars, "|") {
			head = "bars 1-2"
		}
		p := typedPassage(t, "key: C major\nmeter: 4/4\n"+head+"\nright: "+c.bars+"\n")
		_, l := draw(t, p, engrave.Options{NoCourtesy: true})
		signs := map[int]float64{}
		for _, b := range boxes(l, engrave.KindAccidental) {
			signs[b.Note] = b.H
		}
		for i, w := range strings.Fields(c.want) {
			if _, ok := signs[i]; ok != (w != "-") {
				t.Errorf("%s: note %d (%s) has a sign: %t", c.name, i, p.Notes[i].Pitch, ok)
			}
		}
	}
	p := typedPassage(t, "key: C major\nmeter: 4/4\nbars 1-2\nright: w C#5 | w C5\n")
	if _, l := draw(t, p, engrave.Options{}); len(boxes(l, engrave.KindAccidental)) != 2 {
		t.Errorf("no courtesy accidental in the bar after a sharp")
	}
}

// Stems: down from the middle line up, up below it (common practice, so in every handbook); outward where two voices meet.
func TestStems(t *testing.T) {
	for _, c := range []struct {
		text string
		up   []bool
	}{
		{"right: q A4 B4 C5 G4\n", []bool{true, false, false, true}},
		{"right: q A4+D5 G4+E5 F4+C5 E4+F5\n", []bool{false, false, true, false}},
		{"right: h D5 D5\nright 2: h F4 F4\n", []bool{true, true, false, false}},
	} {
		p := typedPassage(t, "key: C major\nmeter: 4/4\nbar 1\n"+c.text)
		_, l := draw(t, p, engrave.Options{})
		var got []bool
		heads := boxes(l, engrave.KindHead)
		for _, s := range boxes(l, engrave.KindStem) {
			// It stands out farther beyond the heads it touches at its own end.
			low, high := math.Inf(-1), math.Inf(1)
			for _, h := range heads {
				if h.X < s.X+s.W && s.X < h.X+h.W+1 && h.Y < s.Y+s.H+10 && s.Y-10 < h.Y+h.H {
					low, high = max(low, h.Y+h.H/2), min(high, h.Y+h.H/2)
				}
			}
			got = append(got, high-s.Y > s.Y+s.H-low)
		}
		if !slices.Equal(got, c.up) {
			t.Errorf("%q: stems up %v; want %v", c.text, got, c.up)
		}
	}
}

// Two notes a second apart stand on both sides of the stem, the lower one to the left (common practice, so in every handbook).
func TestSeconds(t *testing.T) {
	for _, s := range []string{"E4+F4", "F4+G4+A4", "D5+E5", "C5+D5+E5+F5", "B4+C#5+D5", "Eb4+E4"} {
		p := typedPassage(t, "key: C major\nmeter: 4/4\nbar 1\nright: w "+s+"\n")
		for _, v := range []string{"w ", "h ", "q "} {
			rest := map[string]string{"w ": "", "h ": " r", "q ": " r h r"}[v]
			p = typedPassage(t, "key: C major\nmeter: 4/4\nbar 1\nright: "+v+s+rest+"\n")
			_, l := draw(t, p, engrave.Options{})
			heads := boxes(l, engrave.KindHead)
			for i := 1; i < len(heads); i++ {
				a, b := heads[i-1], heads[i]
				if half(l, b)-half(l, a) == 1 && a.X == b.X {
					t.Errorf("%s: two heads a second apart at one side", s)
				}
			}
			if s == "E4+F4" && heads[0].X >= heads[1].X {
				t.Errorf("%s%s: the lower note stands at the right", v, s)
			}
			for _, o := range overlaps(l) {
				t.Error(o)
			}
		}
	}
}

// Beams by the beat (Gould, Behind Bars, from memory: four eighths in half a bar of 4/4, never over its middle; six in 3/4; threes in
// 6/8), told by how many flags and beams there are.
func TestBeams(t *testing.T) {
	for _, c := range []struct {
		meter, notes string
		beams, flags int
	}{
		{"4/4", "e C5 C5 C5 C5 C5 C5 C5 C5", 2, 0},
		{"3/4", "e C5 C5 C5 C5 C5 C5", 1, 0},
		{"6/8", "e C5 C5 C5 C5 C5 C5", 2, 0},
		{"2/2", "e C5 C5 C5 C5 C5 C5 C5 C5", 2, 0},
		{"4/4", "q C5 e C5 q C5 C5 e C5", 0, 2},
		{"4/4", "s C5 C5 C5 C5 e. C5 s C5 h C5", 2 + 2, 0},
		{"3+2/8", "e C5 C5 C5 C5 C5", 2, 0},
		{"3/8", "e C5 C5 C5", 1, 0},
		{"4/4", "3(e C5 C5 C5) e C5 C5 h C5", 2, 0},
	} {
		p := typedPassage(t, "key: C major\nmeter: "+c.meter+"\nbar 1\nright: "+c.notes+"\n")
		_, l := draw(t, p, engrave.Options{})
		if b, f := len(boxes(l, engrave.KindBeam)), len(boxes(l, engrave.KindFlag)); b != c.beams || f != c.flags {
			t.Errorf("%s %q: %d beams and %d flags; want %d and %d", c.meter, c.notes, b, f, c.beams, c.flags)
		}
	}
}

// Longer notes take more room, but less than twice as much for twice the length (Gourlay 1987; so on any printed page).
func TestSpacing(t *testing.T) {
	p := typedPassage(t, "key: C major\nmeter: 4/4\nbars 1-3\nright: w C5 | h C5 q C5 C5 | e C5 C5 C5 C5 q C5 C5\n")
	_, l := draw(t, p, engrave.Options{})
	heads := boxes(l, engrave.KindHead)
	gap := func(i int) float64 { return heads[i+1].X - heads[i].X }
	h, q, e := gap(1), gap(2), gap(4)
	if !(h > q*1.2 && q > e*1.2 && h < 2*q && q < 2*e) {
		t.Errorf("half %.0f, quarter %.0f, eighth %.0f", h, q, e)
	}
}

// Lines are broken at the width asked for and filled to it.
func TestLines(t *testing.T) {
	p := hundred(t)
	_, l := draw(t, p, engrave.Options{Width: 900})
	if len(l.Systems) < 15 {
		t.Fatalf("%d systems", len(l.Systems))
	}
	next := 0
	for i, s := range l.Systems {
		if s.First != next || s.Last < s.First {
			t.Errorf("system %d has bars %d to %d; the one before ended at %d", i, s.First, s.Last, next-1)
		}
		next = s.Last + 1
		if i > 0 && s.Y < l.Systems[i-1].Y+l.Systems[i-1].H {
			t.Errorf("system %d lies over the one before", i)
		}
	}
	if next != len(p.Bars) {
		t.Errorf("the systems end at bar %d of %d", next, len(p.Bars))
	}
	for i, b := range l.Bars {
		if last := i+1 == len(l.Bars) || l.Bars[i+1].System != b.System; last && b.System < len(l.Systems)-1 {
			if end := (b.X + b.W) * l.Scale; end < 840 || end > 900 {
				t.Errorf("system %d ends at %.0f of 900 pixels", b.System, end)
			}
		}
	}
}

// What is asked for is there: marks, labels, texts, spans; and a place in the picture leads back to its note.
func TestAnnotations(t *testing.T) {
	p := passages(t)[1]
	first := p.Sounding()[0]
	o := engrave.Options{Width: 900, Prefix: "x-", Interactive: true,
		Marks:   []engrave.Mark{{Notes: []score.Note{first}, Shape: engrave.Diamond, Label: "root"}},
		Texts:   []engrave.Text{{At: first.Onset, Text: "V65/V", Kind: engrave.Numeral}, {At: first.Onset, Text: "Ebmaj7", Above: true}},
		Spans:   []engrave.Span{{From: first.Onset, To: score.Quarters(6), Text: "cycle of two bars"}},
		Strands: []engrave.Strand{{Notes: p.Notes[:6], Label: "a"}},
		Stacks:  []engrave.Stack{{At: score.Quarters(3), Hand: score.Right, Label: "m3"}},
	}
	svg, l := draw(t, p, o)
	for _, want := range []string{"root", "V65/V", "E♭maj7", "cycle of two bars", "m3"} {
		if !slices.ContainsFunc(l.Boxes, func(b engrave.Box) bool { return b.Kind == engrave.KindLabel && strings.Contains(b.Text, want) }) {
			t.Errorf("%q isn't there", want)
		}
	}
	for _, want := range []string{"mark-diamond", `id="x-n-0-0"`, "strand-0", `aria-labelledby="x-title x-desc"`, "marked root", "left hand, bar 1 beat 1", `role="group"`} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	for _, b := range boxes(l, engrave.KindHead) {
		if b.Shared {
			continue
		}
		bar, n := l.At(b.X+b.W/2, b.Y+b.H/2)
		if n != b.Note || bar != p.Notes[n].Bar {
			t.Errorf("at %s there are bar %d and note %d", b.ID, bar, n)
		}
	}
	if bar, n := l.At(-5, -5); bar != -1 || n != -1 {
		t.Errorf("out of the picture there are bar %d and note %d", bar, n)
	}
}

// Heads finds all heads of a sounding note, and no other.
func TestHeads(t *testing.T) {
	p := typedPassage(t, "key: C major\nmeter: 4/4\nbars 1-2\nright: h C5 C5= | h C5 C5\nleft: w C3= | w C3\n")
	s := p.Sounding()
	for _, c := range []struct{ sounding, want int }{{0, 2}, {1, 1}, {2, 2}, {3, 1}} {
		if got := engrave.Heads(p, s[c.sounding]); len(got) != c.want {
			t.Errorf("%v at %v: heads %v; want %d", s[c.sounding].Pitch, s[c.sounding].Onset, got, c.want)
		}
	}
	if got := engrave.NoteID(p, 2); got != "n-0-2" {
		t.Errorf("NoteID(2) = %q; want n-0-2", got)
	}
	if engrave.NoteID(p, -1)+engrave.NoteID(p, 99) != "" {
		t.Error("ids out of range")
	}
}

func TestErrors(t *testing.T) {
	p := passages(t)[0]
	for name, f := range map[string]func() error{
		"no passage": func() error { _, _, err := engrave.Staff(nil, score.Region{}, engrave.Options{}); return err },
		"no bars": func() error {
			_, _, err := engrave.Staff(&score.Passage{}, score.Region{To: score.Quarters(4)}, engrave.Options{})
			return err
		},
		"an empty region": func() error {
			_, _, err := engrave.Staff(p, score.Region{From: score.Quarters(4), To: score.Quarters(4)}, engrave.Options{})
			return err
		},
		"behind the end": func() error {
			_, _, err := engrave.Staff(p, score.Region{From: score.Quarters(400), To: score.Quarters(404)}, engrave.Options{})
			return err
		},
		"no keys": func() error { _, _, err := engrave.Keyboard(nil, engrave.KeyOptions{}); return err },
	} {
		if err := f(); !errors.Is(err, engrave.ErrNothing) {
			t.Errorf("%s: %v; want ErrNothing", name, err)
		}
	}
	for _, s := range []string{engrave.Clef(9).String(), engrave.Shape(9).String()} {
		if !strings.HasPrefix(s, "%!") {
			t.Errorf("out of range: %q", s)
		}
	}
}

// A framed picture has the size asked for and fills it.
func TestFrame(t *testing.T) {
	for _, p := range passages(t) {
		svg, l := draw(t, p, engrave.Options{Frame: [2]float64{1920, 1080}, Paper: "#fff", Ink: "#000"})
		if !strings.Contains(svg, `width="1920" height="1080"`) || l.W*l.Scale > 1920 || l.H*l.Scale > 1080 {
			t.Errorf("%s: %.0f by %.0f pixels", p.Title, l.W*l.Scale, l.H*l.Scale)
		}
		if l.W*l.Scale < 1920*.5 {
			t.Errorf("%s: only %.0f pixels wide", p.Title, l.W*l.Scale)
		}
	}
}

func TestKeyboard(t *testing.T) {
	keys := []engrave.Key{{Pitch: note(t, "A2"), Hand: score.Left}, {Pitch: note(t, "C#4"), Hand: score.Right, Label: "third"}, {Pitch: note(t, "Db4"), Hand: score.Right},
		{Pitch: note(t, "E4"), Hand: score.Right}, {Pitch: note(t, "E4"), Hand: score.Left}, {Pitch: note(t, "F4")}, {Pitch: note(t, "B#4")}}
	svg, l, err := engrave.Keyboard(keys, engrave.KeyOptions{Interactive: true})
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, "keyboard", svg)
	for _, s := range overlaps(l) {
		t.Error(s)
	}
	if n := len(boxes(l, engrave.KindHead)); n != 5 {
		t.Errorf("%d keys down; want 5", n) // C# and D flat are one key, E is played by both hands
	}
	// From A2 to B#4 the octaves are filled to F2 and E5: 36 keys, as many as there are semitones (any keyboard has 7 white and 5
	// black keys an octave).
	if w, b := bytes.Count(svg, []byte(`class="key-white"`)), bytes.Count(svg, []byte(`class="key-black"`)); b != 15 || w != 21 {
		t.Errorf("%d white and %d black keys; want 21 and 15", w, b)
	}
	for _, want := range []string{"C sharp 4, right hand, third / D♭", "E 4, both hands"} {
		if !bytes.Contains(svg, []byte(want)) {
			t.Errorf("the keyboard lacks %q", want)
		}
	}
}

// random returns a passage of any shape: odd lengths, far pitches, many voices, wrong ties, marks everywhere.
func random(rng *rand.Rand) *score.Passage {
	p := &score.Passage{Title: "x<&\"> \x01"}
	meters := []score.Meter{{Beats: 4, Unit: 4}, {Beats: 3, Unit: 4}, {Beats: 6, Unit: 8}, {Beats: 5, Unit: 8, Groups: []int{3, 2}}, {Beats: 2, Unit: 2}, {Beats: 7, Unit: 16}, {}, {Beats: 13, Unit: 8}}
	at := score.Time{}
	hands := 1 + rng.IntN(2)
	for i := range 1 + rng.IntN(6) {
		m := meters[rng.IntN(len(meters))]
		b := score.Bar{Number: fmt.Sprint(i), Start: at, Meter: m, Length: m.Length()}
		if rng.IntN(4) == 0 || b.Length.Sign() == 0 {
			b.Length = score.T(int64(rng.IntN(9)), 2)
		}
		if rng.IntN(6) == 0 {
			b.Offset = score.T(1, 2)
		}
		for range rng.IntN(30) {
			on := score.T(int64(rng.IntN(64)), []int64{1, 2, 4, 8, 3, 6, 5, 7, 12}[rng.IntN(9)])
			if !on.Less(b.Length) {
				continue
			}
			long := []score.Time{score.T(1, 4), score.T(1, 2), score.T(1, 1), score.T(3, 2), score.T(2, 1), score.T(1, 3), score.T(1, 5), score.T(1, 64), score.T(7, 13), score.T(5, 8), score.T(1, 8), score.T(3, 16)}[rng.IntN(12)]
			n := score.Note{Onset: at.Add(on), Duration: long.Min(b.Length.Sub(on)), Bar: i, Hand: score.Hand(1 + rng.IntN(hands)), Voice: 1 + rng.IntN(3),
				Pitch: pitch.Class{Letter: pitch.Letter(rng.IntN(7)), Alter: int8(rng.IntN(9) - 4)}.In(2 + rng.IntN(5)),
				TieTo: rng.IntN(5) == 0, TieFrom: rng.IntN(5) == 0, Cue: rng.IntN(20) == 0}
			if rng.IntN(30) == 0 {
				n.Pitch.Octave = int8(rng.IntN(14) - 1)
			}
			if rng.IntN(8) == 0 {
				n.Grace, n.Duration, n.After, n.Together = score.Grace(1+rng.IntN(2)), score.Time{}, rng.IntN(3) == 0 && on.Sign() > 0, rng.IntN(4) == 0
			}
			p.Notes = append(p.Notes, n)
			any := func() score.Time { return at.Add(score.T(int64(rng.IntN(20)), 4)) }
			switch rng.IntN(12) {
			case 0:
				p.Dynamics = append(p.Dynamics, score.Dynamic{At: any(), Text: []string{"p", "sffz", "poco", "", "mf"}[rng.IntN(5)], Hand: score.Hand(rng.IntN(3))})
			case 1:
				p.Dynamics = append(p.Dynamics, score.Dynamic{At: any(), Until: any(), Text: []string{"louder", "softer"}[rng.IntN(2)]})
			case 2:
				p.Pedals = append(p.Pedals, score.Pedal{At: any(), Act: score.PedalAct(1 + rng.IntN(4))})
			case 3:
				p.Keys = append(p.Keys, score.KeyChange{At: any(), Key: key.FromSignature(rng.IntN(19)-9, key.Mode(rng.IntN(7)))})
			case 4:
				p.Signs = append(p.Signs, score.Sign{At: at, Bar: rng.IntN(i+3) - 1, Kind: score.SignKind(1 + rng.IntN(10)), Times: rng.IntN(4), Numbers: "1, 2"})
			case 5:
				p.Harmonies = append(p.Harmonies, score.Harmony{At: any(), Root: pitch.Class{Letter: pitch.F, Alter: 1}, Kind: "half-diminished"})
			case 6:
				p.Tempos = append(p.Tempos, score.Tempo{At: any(), Quarters: float64(rng.IntN(200))})
			}
		}
		at = at.Add(b.Length)
		p.Bars = append(p.Bars, b)
	}
	slices.SortStableFunc(p.Keys, func(a, b score.KeyChange) int { return a.At.Compare(b.At) })
	p.Sort()
	return p
}

// checkAny draws any passage and holds the picture to what must be true of all.
func checkAny(t *testing.T, name string, p *score.Passage, rng *rand.Rand) {
	t.Helper()
	from, to := rng.IntN(len(p.Bars)), 0
	to = from + rng.IntN(len(p.Bars)-from)
	r := score.Region{From: p.Bars[from].Start, To: p.Bars[to].End()}
	o := engrave.Options{Width: float64(rng.IntN(1500)) - 100, Space: float64(rng.IntN(12)), Interactive: rng.IntN(2) == 0, Numbers: engrave.BarNumbers(rng.IntN(3)),
		Clefs: [2]engrave.Clef{engrave.Clef(rng.IntN(5)), engrave.Clef(rng.IntN(5))}, OneStaff: rng.IntN(3) == 0, Prefix: "<\"q"}
	for _, n := range p.Notes {
		if rng.IntN(4) == 0 {
			o.Marks = append(o.Marks, engrave.Mark{Notes: []score.Note{n}, Shape: engrave.Shape(rng.IntN(7)), Label: "a<b"})
			o.Texts = append(o.Texts, engrave.Text{At: n.Onset, Text: "V65", Kind: engrave.TextKind(rng.IntN(4)), Above: rng.IntN(2) == 0, Row: rng.IntN(5) - 2})
			o.Spans = append(o.Spans, engrave.Span{From: n.Onset, To: n.Onset.Add(score.Quarters(rng.IntN(5))), Text: "x"})
			o.Stacks = append(o.Stacks, engrave.Stack{At: n.Onset, Hand: score.Hand(rng.IntN(3)), Label: "P5"})
		}
	}
	o.Strands = []engrave.Strand{{Notes: p.Notes, Label: "s"}}
	svg, l, err := engrave.Staff(p, r, o)
	if errors.Is(err, engrave.ErrNothing) {
		return
	}
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	wellFormed(t, name, svg)
	seen := map[int]bool{}
	heads, signs := 0, 0
	for _, b := range l.Boxes {
		switch b.Kind {
		case engrave.KindHead:
			seen[b.Note] = true
			heads++
		case engrave.KindAccidental:
			signs++
		}
		if math.IsNaN(b.X+b.Y+b.W+b.H) || b.W < 0 || b.H < 0 {
			t.Errorf("%s: a box of %v", name, b)
		}
	}
	for i, n := range p.Notes {
		if n.Bar >= l.Systems[0].First && n.Bar <= l.Systems[len(l.Systems)-1].Last && !seen[i] && (n.Hand == score.Right || n.Hand == score.Left) {
			t.Errorf("%s: note %d (%v in bar %d) is missing", name, i, n.Pitch, n.Bar)
		}
	}
	for _, s := range overlaps(l) {
		if strings.HasPrefix(s, "head") || strings.HasPrefix(s, "accidental") || strings.HasPrefix(s, "label") {
			t.Errorf("%s: %s", name, s)
		}
	}
}

func TestRandomPassages(t *testing.T) {
	n := 1500
	if testing.Short() || raceDetector {
		n = 200
	}
	for seed := range uint64(n) {
		rng := rand.New(rand.NewPCG(seed, 77))
		checkAny(t, fmt.Sprint("seed ", seed), random(rng), rng)
		if t.Failed() {
			return
		}
	}
}

func FuzzStaff(f *testing.F) {
	for i := range uint64(8) {
		f.Add(i, "key: D major\nmeter: 3/4\nbars 1-2\nright: q C4 D#4+E4 3(e F4 G4 A4) | h. */B4\nleft: e C3 D3 q E3 F3= | h. F3\n")
	}
	f.Fuzz(func(t *testing.T, seed uint64, text string) {
		rng := rand.New(rand.NewPCG(seed, 1))
		p, err := typed.Read("fuzz", strings.NewReader(text))
		if err != nil || len(p.Bars) == 0 || len(p.Bars) > 200 || len(p.Notes) > 2000 {
			p = random(rng)
		}
		checkAny(t, "fuzz", p, rng)
	})
}
