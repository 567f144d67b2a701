package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

func readTyped(t testing.TB, text string) *score.Passage {
	t.Helper()
	p, err := typed.Read("text", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func planText(t testing.TB, p *score.Passage, at string, l listening) *plan {
	t.Helper()
	pl, err := newPlan(p, []score.Region{placeOf(t, p, at)}, l)
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

// TestPlanGraces: grace notes come before the beat, one after the other or together as written, each voice's own; they take
// their time from the note before, at most half of it, and before the first beat they have a lead.
func TestPlanGraces(t *testing.T) {
	p := readTyped(t, `meter: 2/4
tempo: q = 60
bars 1-3
right: q C5 */B4 C5 | *G4+B4 *D5 *F5 q E5 e D5 *>E5 *>F5 e G5 | *C5 *+E5 h D5
left:  h C3 | *C3+E3+G3 h C3 | h C3
`)
	for _, tt := range []struct {
		at   string
		l    listening
		want string
	}{
		{"bar 1, right hand", listening{slower: 1}, "0 C5 | 0.91 B4 | 1 C5"},
		// Both hands' grace notes end at the beat; a chord of them is struck at once.
		{"bars 1-2", listening{slower: 1}, "0 C3+C5 | 0.91 B4 | 1 C5 | 1.73 B4+G4 | 1.82 D5 | 1.91 C3+E3+F5+G3 | 2 C3+E5 | 3 D5 | 3.32 E5 | 3.41 F5 | 3.5 G5"},
		// At the beginning they come first, and the beat after them.
		{"bar 3, right hand", listening{slower: 1}, "0 C5+E5 | 0.09 D5"},
		{"bar 2, right hand", listening{slower: 1}, "0 B4+G4 | 0.09 D5 | 0.18 F5 | 0.27 E5 | 1.27 D5 | 1.59 E5 | 1.68 F5 | 1.77 G5"},
		// Slower, they are slower too.
		{"bar 1, right hand", listening{slower: 2}, "0 C5 | 1.82 B4 | 2 C5"},
		// And faster.
		{"bar 1, right hand", listening{slower: .25}, "0 C5 | 0.2275 B4 | 0.25 C5"},
	} {
		got := sketch(planText(t, p, tt.at, tt.l))
		if got != tt.want {
			t.Errorf("%s %+v:\n got %s\nwant %s", tt.at, tt.l, got, tt.want)
		}
	}
	// Where there is little room, they take half of the note before.
	fast := readTyped(t, "meter: 2/4\ntempo: q = 240\nbar 1\nright: e C5 *D5 *E5 e F5 q r\nleft: .\n")
	if got, want := sketch(planText(t, fast, "bar 1", listening{slower: 1})), "0 C5 | 0.0625 D5 | 0.09375 E5 | 0.125 F5"; got != want {
		t.Errorf("little room:\n got %s\nwant %s", got, want)
	}
	// The note before a grace note is let go for it, and a key struck again begins anew.
	pl := planText(t, p, "bar 1, right hand", listening{slower: 1})
	if first := pl.notes[0]; first.Start+first.Length > 910*time.Millisecond {
		t.Errorf("the note before the grace note lasts to %v", first.Start+first.Length)
	}
	q := readTyped(t, "meter: 4/4\ntempo: q = 60\nbar 1\nright: [ped] q C5 C5 D5 C5\nleft: .\n")
	pl = planText(t, q, "bar 1", listening{slower: 1})
	want := []float64{1, 2, 1.99, .99} // each C5 until the next one, D5 and the last to the end
	for i, n := range pl.notes {
		if math.Abs(n.Length.Seconds()-want[i]) > .011 {
			t.Errorf("note %d under the pedal lasts %v; want %g s", i, n.Length, want[i])
		}
	}
	// One key written in both hands is struck once, for the longer time.
	u := readTyped(t, "meter: 4/4\ntempo: q = 60\nbar 1\nright: q C4 q r h r\nleft: h C4 h r\n")
	if pl := planText(t, u, "bar 1", listening{slower: 1}); len(pl.notes) != 1 || math.Abs(pl.notes[0].Length.Seconds()-1.99) > 1e-6 {
		t.Errorf("a unison of both hands: %+v; want one note of 2 s", pl.notes)
	}
}

// TestPlanDynamics: hairpins lead to the mark at their end and hold there, accents are for one stroke, and the meter is felt.
func TestPlanDynamics(t *testing.T) {
	p := readTyped(t, `meter: 4/4
tempo: q = 60
bars 1-4
right: [p] [louder] q C5 D5 e E5 F5 q G5 | [f] q A5 B5 C6 D6 | [fp] q C5 [sf] D5 [softer] E5 F5 | [end] w G5
left:  w C3 | w C3 | w C3 | w C3
`)
	strength := map[string]float64{}
	for _, n := range planText(t, p, "bars 1-4, right hand", listening{slower: 1}).notes {
		strength[fmt.Sprint(n.Start.Seconds())] = n.Strength
	}
	near := func(at string, want float64) {
		t.Helper()
		if got := strength[at]; math.Abs(got-want) > 1e-6 {
			t.Errorf("strength %.4f at %s s; want %.4f", got, at, want)
		}
	}
	soft, loud := strengths["p"], strengths["f"]
	near("0", soft*downbeat)
	near("1", soft+(loud-soft)/4)
	near("2", (soft+(loud-soft)/2)*middleBeat)
	near("2.5", (soft+(loud-soft)*2.5/4)*offBeat)
	near("3", soft+(loud-soft)*3/4)
	near("4", loud*downbeat)
	near("7", loud)
	near("8", soft*accent*downbeat) // fp: one accent, then p
	near("9", soft*accent)
	near("10", soft*middleBeat)
	near("11", soft*7/8) // on the way to a quarter less
	near("12", soft*3/4*downbeat)
	// A hairpin in vain, towards a mark on the other side, still swells.
	q := readTyped(t, "meter: 4/4\ntempo: q = 60\nbars 1-2\nright: [mf] [louder] q C5 D5 E5 F5 | [p] w C5\nleft: . | .\n")
	notes := planText(t, q, "bars 1-2", listening{slower: 1}).notes
	if got, want := notes[3].Strength, strengths["mf"]*(1+.75/3); math.Abs(got-want) > 1e-6 {
		t.Errorf("before a sudden p: %.4f; want %.4f", got, want)
	}
	if got := notes[4].Strength; math.Abs(got-soft*downbeat) > 1e-6 {
		t.Errorf("a sudden p: %.4f", got)
	}
	// Metric stress by meter: which beats are stronger.
	for meter, want := range map[string]string{"4/4": "> . + .", "3/4": "> . .", "6/8": "> - - . - -", "12/8": "> - - . - - + - - . - -", "3+2/8": "> . . + .", "2/2": "> - . -"} {
		head := fmt.Sprintf("meter: %s\nbar 1\nright: ", meter)
		value, n := "e", len(strings.Fields(want))
		if strings.HasSuffix(meter, "/4") || meter == "2/2" {
			value = "q"
		}
		p := readTyped(t, head+value+strings.Repeat(" C5", n)+"\nleft: .\n")
		var got []string
		for _, n := range planText(t, p, "bar 1", listening{slower: 1}).notes {
			got = append(got, map[float64]string{downbeat: ">", middleBeat: "+", 1: ".", offBeat: "-"}[math.Round(n.Strength/plainStrength*100)/100])
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s: %s; want %s", meter, s, want)
		}
	}
}

// TestPlanRepeats: on request the signs of a place are obeyed, those of the whole passage and of an excerpt.
func TestPlanRepeats(t *testing.T) {
	p := readTyped(t, `meter: 2/4
tempo: q = 60
bars 1-4
right: h C5 | [repeat from here] h D5 | [ending 1] h E5 [repeat] [ending end] | [ending 2] h F5 [ending end]
left: . | . | . | .
`)
	for _, tt := range []struct {
		at      string
		repeats bool
		want    string
	}{
		{"whole passage", false, "0 C5 | 2 D5 | 4 E5 | 6 F5"},
		{"whole passage", true, "0 C5 | 2 D5 | 4 E5 | 6 D5 | 8 F5"},
		{"bars 2-4", true, "0 D5 | 2 E5 | 4 D5 | 6 F5"},
		{"bar 1, right hand", true, "0 C5"},
	} {
		if got := sketch(planText(t, p, tt.at, listening{slower: 1, repeats: tt.repeats})); got != tt.want {
			t.Errorf("%s, repeats %v:\n got %s\nwant %s", tt.at, tt.repeats, got, tt.want)
		}
	}
}

// TestPlaying: what is looked up agrees with what is worked out plainly, on random marks.
func TestPlaying(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	for range 100 {
		p := &score.Passage{Bars: []score.Bar{{Length: score.Quarters(40), Meter: score.Meter{Beats: 4, Unit: 4}}}}
		at := func() score.Time { return score.T(int64(r.IntN(160)), 4) }
		for range r.IntN(6) {
			p.Tempos = append(p.Tempos, score.Tempo{At: at(), Quarters: 30 + 200*r.Float64()})
		}
		slices.SortStableFunc(p.Tempos, func(a, b score.Tempo) int { return a.At.Compare(b.At) })
		for range r.IntN(8) {
			p.Pedals = append(p.Pedals, score.Pedal{At: at(), Act: score.PedalAct(1 + r.IntN(4))})
		}
		p.Sort()
		y := newPlaying(p)
		for range 50 {
			x := at()
			if got, want := y.seconds(x), p.Seconds(x); math.Abs(got-want) > 1e-9 {
				t.Fatalf("%v: %v is at %g s; want %g", p.Tempos, x, got, want)
			}
			if got, want := y.held(x), heldPlainly(p, x); got != want {
				t.Fatalf("%v: let go at %v it sounds until %v; want %v", p.Pedals, x, got, want)
			}
		}
	}
}

// heldPlainly walks through all pedal marks.
func heldPlainly(p *score.Passage, end score.Time) score.Time {
	down := false
	for _, m := range p.Pedals {
		switch {
		case m.Act == score.Sostenuto:
		case m.At.Less(end):
			down = m.Act != score.PedalUp
		case !down:
			return end
		case m.Act != score.PedalDown:
			return m.At
		}
	}
	if down {
		return p.End().Max(end)
	}
	return end
}
