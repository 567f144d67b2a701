package harmony

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

var common = score.Meter{Beats: 4, Unit: 4}

// A plain progression, as any harmony book has it (invented): I IV V7 I in C.
const (
	plainRight = "right: E4+G4+C5:4 F4+A4+C5:4 F4+G4+B4:4 E4+G4+C5:4"
	plainLeft  = "left: C3:4 F3:4 G3:4 C3:4"
)

func numerals(a *Analysis) string {
	var out []string
	for i := range a.Spans {
		out = append(out, a.Role(i).Numeral.Text)
	}
	return strings.Join(out, " ")
}

func bars(n int) (out []Span) {
	for i := 0; i < n; i++ {
		out = append(out, Span{score.Quarters(4 * i), score.Quarters(4*i + 4)})
	}
	return out
}

func TestPlainProgression(t *testing.T) {
	p := passage(t, common, plainRight, plainLeft)
	for name, a := range map[string]*Analysis{"spans given": Read(p, bars(4)), "divided": Analyze(p)} {
		if got, want := numerals(a), "I IV V7 I"; got != want {
			t.Errorf("%s: read as %s; want %s", name, got, want)
			continue
		}
		if k, ok := a.Home(); !ok || k != (key.Key{}) {
			t.Errorf("%s: Home() = %v, %v; want C major", name, k, ok)
		}
		var fs []Function
		for i := range a.Spans {
			r := a.Role(i)
			if r.Why == "" {
				t.Errorf("%s: the function of span %d has no reason", name, i)
			}
			fs = append(fs, r.Function)
		}
		if want := []Function{Tonic, Predominant, Dominant, Tonic}; !reflect.DeepEqual(fs, want) {
			t.Errorf("%s: functions %v; want %v", name, fs, want)
		}
		cs := a.Cadences()
		if len(cs) != 1 || cs[0].Kind != "perfect authentic" || cs[0].Span != 3 {
			t.Errorf("%s: Cadences() = %+v; want a perfect authentic one in bar 4", name, cs)
		}
		// The leading tone rises and the seventh falls (every handbook).
		got := map[string]bool{}
		for _, r := range a.Tendencies(2) {
			got[fmt.Sprintf("%v %s %v", r.Note.Pitch, r.Tendency, r.Resolves)] = true
		}
		for _, want := range []string{"B4 leading tone true", "F4 seventh true"} {
			if !got[want] {
				t.Errorf("%s: Tendencies(2) = %v; want %q among them", name, got, want)
			}
		}
		w := a.Why(2)
		if w.Chord != (Chord{mustClass("G"), DominantSeventh, mustClass("G")}) || len(w.For) == 0 || w.Text == "" {
			t.Errorf("%s: Why(2) = %+v; want G7 with grounds", name, w)
		}
	}
}

func TestCadenceKinds(t *testing.T) {
	tests := []struct{ right, left, want string }{
		{"right: E4+G4+C5:4 D4+G4+B4:4 C4+E4+A4:4", "left: C3:4 G2:4 A2:4", "deceptive"},
		{"right: E4+G4+C5:4 F4+A4+C5:4 E4+G4+C5:4", "left: C3:4 F2:4 C3:4", "plagal"},
		{"right: E4+G4+C5:4 F4+A4+D5:4 D4+G4+B4:4", "left: C3:4 F3:4 G3:4", "half"},
		{"right: C4+G4+E5:4 F4+G4+B4:4 G4+C5+E5:4", "left: C3:4 G3:4 C3:4", "imperfect authentic"},
	}
	for _, x := range tests {
		a := Read(passage(t, common, x.right, x.left), bars(3))
		cs := a.Cadences()
		if len(cs) == 0 || cs[len(cs)-1].Kind != x.want {
			t.Errorf("%s over %s (%s): Cadences() = %+v; want %s at the end", x.right, x.left, numerals(a), cs, x.want)
		}
	}
}

func TestJudgeSaysWhy(t *testing.T) {
	a := Read(passage(t, common, plainRight, plainLeft), bars(4))
	c := func(root string, q Quality, bass string) Chord { return Chord{mustClass(root), q, mustClass(bass)} }
	tests := []struct {
		span  int
		said  Said
		fails bool
	}{
		{0, Said{Chord: c("C", Major, "C"), HasChord: true, HasBass: true}, false},
		{0, Said{Chord: c("C", Minor, "C"), HasChord: true, HasBass: true}, true},
		{0, Said{Chord: c("C", Major, "C"), HasChord: true}, false},
		{0, Said{Chord: c("A", Minor, "A"), HasChord: true}, true},
		{0, Said{Chord: c("F", Major, "F"), HasChord: true}, true},
		{2, Said{Chord: c("G", DominantSeventh, "G"), HasChord: true}, false},
		{2, Said{Chord: c("G", MajorSeventh, "G"), HasChord: true}, true},
		{2, Said{Chord: c("G", Major, "B"), HasBass: true}, true},
		{2, Said{Chord: c("G", Major, "G"), HasBass: true}, false},
		{1, Said{Chord: c("F", Major, "A"), HasChord: true, HasBass: true}, true},
	}
	for _, x := range tests {
		j := a.Judge(x.span, x.said)
		if j.Fails != x.fails {
			t.Errorf("Judge(%d, %+v) = %+v; want fails %v", x.span, x.said, j, x.fails)
		}
		if j.Because == "" || j.Fails && j.Instead == "" {
			t.Errorf("Judge(%d, %+v): because %q, instead %q", x.span, x.said, j.Because, j.Instead)
		}
	}
}

// TestPlainClaimsHold: a claim whose members all sound, over its bass, never fails, whatever else sounds.
func TestPlainClaimsHold(t *testing.T) {
	p := passage(t, common, "right: C4+E4+G4+A4:4 D4+F4+Ab4+B4:4", "left: A2:2 C3:2 B2:4")
	a := Read(p, bars(2))
	for _, x := range []struct {
		span int
		c    Chord
	}{{0, Chord{mustClass("A"), MinorSeventh, mustClass("A")}}, {0, Chord{mustClass("C"), Major, mustClass("C")}}, {1, Chord{mustClass("B"), DiminishedSeventh, mustClass("B")}},
		{1, Chord{mustClass("B"), Diminished, mustClass("B")}}} {
		if j := a.Judge(x.span, Said{Chord: x.c, HasChord: true, HasBass: true}); j.Fails || !j.Plain {
			t.Errorf("Judge(%d, %v) = %+v; all of it sounds", x.span, x.c, j)
		}
	}
}

func TestMixtureOfModes(t *testing.T) {
	a := Analyze(passage(t, common, "right: E4+A4+C#5:4 D4+F4+A4:4 C4+E4+A4:4 E4+A4+C#5:4", "left: A2:4 D3:4 A2:4 A2:4"))
	x := a.Mixture(score.Time{}, score.Quarters(16), mustClass("A"))
	if !x.Mixed() || !x.BothThirds {
		t.Errorf("Mixture of A = %+v; want both thirds", x)
	}
	// A chromatic passing note is no mixture (testdata/worked-examples.tsv, ex081).
	a = Read(passage(t, common, "right: G4:1 A4:1 A4:1/2 Ab4:1/2 G4:1", "left: C3+E4:1 C3+F4:2 C3+E4:1"),
		[]Span{{score.Time{}, score.Quarters(1)}, {score.Quarters(1), score.Quarters(3)}, {score.Quarters(3), score.Quarters(4)}})
	if x := a.Mixture(score.Time{}, score.Quarters(4), mustClass("C")); x.Mixed() || len(x.Passing) != 1 {
		t.Errorf("Mixture of C = %+v; want the Ab told as passing", x)
	}
}

func TestAlternates(t *testing.T) {
	a := Read(passage(t, common, "right: E4+G4+C5:4 F4+G4+B4:4 E4+G4+C5:4 F4+G4+B4:4", "left: C3:4 G2:4 C3:4 G2:4"), bars(4))
	if x := a.Alternation(score.Time{}, score.Quarters(16)); !x.Alternates() || x.Changes != 3 {
		t.Errorf("Alternation() = %+v; want three changes", x)
	}
	a = Read(passage(t, common, plainRight, plainLeft), bars(4))
	if x := a.Alternation(score.Time{}, score.Quarters(16)); x.Alternates() {
		t.Errorf("Alternation() of I IV V7 I = %+v", x)
	}
}

func TestPedalPoint(t *testing.T) {
	a := Read(passage(t, common, "right: E4+G4+C5:4 F4+A4+C5:4 F4+G4+B4:4 E4+G4+C5:4", "left: C3:16"), bars(4))
	ps := a.Pedals()
	if len(ps) != 1 || ps[0].Note != mustClass("C") || ps[0].From != 0 || ps[0].To != 3 {
		t.Errorf("Pedals() = %+v (%s); want C in all four bars", ps, numerals(a))
	}
}

func TestWithSpan(t *testing.T) {
	a := Analyze(passage(t, common, plainRight, plainLeft))
	b, i := a.With(score.Quarters(4), score.Quarters(8))
	if c, ok := b.Chord(i); !ok || c != (Chord{mustClass("F"), Major, mustClass("F")}) {
		t.Errorf("With(bar 2) = %v, %v", c, ok)
	}
	b, i = a.With(score.Quarters(2), score.Quarters(4))
	if i < 0 || b.Spans[i].Span != (Span{score.Quarters(2), score.Quarters(4)}) {
		t.Fatalf("With(the second half of bar 1) has no such span: %d", i)
	}
	last := score.Time{}
	for _, s := range b.Spans {
		if s.Span.From != last {
			t.Errorf("With leaves a gap or an overlap at %v: %v", last, s.Span)
		}
		last = s.Span.To
	}
	if _, i := a.With(score.Quarters(4), score.Quarters(4)); i != -1 {
		t.Errorf("With(nothing) = %d", i)
	}
}

// TestTransposed: music moved by an interval is read as the same chords moved.
func TestTransposed(t *testing.T) {
	p := passage(t, common, plainRight, plainLeft)
	want := Read(p, bars(4))
	for fifths := -5; fifths <= 6; fifths++ {
		q := passage(t, common, plainRight, plainLeft)
		iv := classOf(fifths).Sub(pitch.Class{})
		for i := range q.Notes {
			q.Notes[i].Pitch = q.Notes[i].Pitch.Add(iv)
		}
		got := Read(q, bars(4))
		for i := range got.Spans {
			c, _ := got.Chord(i)
			w, _ := want.Chord(i)
			if c.Root != w.Root.Add(iv) || c.Quality != w.Quality || c.Bass != w.Bass.Add(iv) {
				t.Errorf("moved by %v: span %d is %v; want %v moved", iv, i, c, w)
			}
		}
		if g, w := numerals(got), numerals(want); g != w {
			t.Errorf("moved by %v: %s; want %s", iv, g, w)
		}
	}
}

// TestSameAgain: the same input gives the same output.
func TestSameAgain(t *testing.T) {
	p := passage(t, common, "right: E4+G4+C5:1 F4:1/2 D#4:1/2 G4+B4:2 C5+Eb5:4 Ab4:1 G4:1 F#4:2 G4+C5:4", "left: C3:2 G2:1 B2:1 C3:1 G3:3 F2+C3:4 C3+E3:4")
	a, b := Analyze(p), Analyze(p)
	if !reflect.DeepEqual(a.Spans, b.Spans) {
		t.Errorf("two readings differ: %v and %v", a.Spans, b.Spans)
	}
	for i := range a.Spans {
		if x, y := a.Why(i), b.Why(i); !reflect.DeepEqual(x, y) {
			t.Errorf("two explanations differ: %v and %v", x, y)
		}
		sum := 0.0
		for _, r := range a.Spans[i].Readings {
			if r.Probability < 0 || math.IsNaN(r.Probability) {
				t.Errorf("span %d: probability %v of %v", i, r.Probability, r.Chord)
			}
			sum += r.Probability
		}
		if len(a.Spans[i].Readings) > 0 && (sum > 1.0001 || sum < .98) {
			t.Errorf("span %d: probabilities sum to %v", i, sum)
		}
	}
}

// TestTables: the tables that ship are read, written and read again without a change, and what is no table is refused.
func TestTables(t *testing.T) {
	var once, twice bytes.Buffer
	if _, err := Shipped().WriteTo(&once); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(once.Bytes(), shipped) {
		t.Error("the tables that ship aren't as they would be written")
	}
	again, err := ReadTables(bytes.NewReader(once.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	again.WriteTo(&twice)
	if !bytes.Equal(once.Bytes(), twice.Bytes()) {
		t.Error("tables change when they are written and read")
	}
	if len(shipped) > 400_000 {
		t.Errorf("the tables are %d bytes; want them small", len(shipped))
	}
	for _, bad := range []string{"nonsense\t0\t1", "threshold\t1\t0", "threshold\t0\t1 2", "threshold\t0\tx", "threshold\t0\tNaN", "threshold"} {
		if _, err := ReadTables(strings.NewReader(bad)); err == nil || !strings.HasPrefix(err.Error(), "harmony: tables, line 1: ") {
			t.Errorf("ReadTables(%q) = %v; want an error of line 1", bad, err)
		}
	}
}

func TestQualities(t *testing.T) {
	if got := Quality(99).String(); got != "%!Quality(99)" {
		t.Errorf("Quality(99) = %q", got)
	}
	for q := Quality(0); int(q) < qualities; q++ {
		if got, ok := ParseQuality(q.String()); !ok || got != q {
			t.Errorf("ParseQuality(%q) = %v, %v", q.String(), got, ok)
		}
		c := Chord{mustClass("D"), q, mustClass("D")}
		seen := map[pitch.Class]bool{}
		for _, m := range c.Members() {
			if seen[m] || c.Role(m) == "" {
				t.Errorf("%v: member %v twice or without a role", c, m)
			}
			seen[m] = true
		}
	}
}

// BenchmarkRead reads an hour-glass of plain music: 64 bars with figuration. Spans a second are what counts.
func BenchmarkRead(b *testing.B) {
	var right, left strings.Builder
	right.WriteString("right: ")
	left.WriteString("left: ")
	for i := 0; i < 16; i++ {
		right.WriteString("E4:1 G4:1/2 F4:1/2 C5:2 F4:1 A4:1 C5:1 B4:1 F4:1/2 G4:1/2 B4:1 D5:1 C#5:1/2 D5:1/2 E4:1 G4:1 C5:2 ")
		left.WriteString("C3:1 E3+G3:1 E3+G3:2 F3:1 A3+C4:3 G3:1 B3+F4:3 C3:4 ")
	}
	p := passage(b, common, right.String(), left.String())
	m := New(p)
	spans := bars(64)
	Shipped()
	b.Run("spans given", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			Shipped().Read(m, spans)
		}
		b.ReportMetric(float64(len(spans))*float64(b.N)/b.Elapsed().Seconds(), "spans/s")
	})
	b.Run("divided", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			m.Analyze()
		}
	})
}
