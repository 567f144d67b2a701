package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"plumbline/synth"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

const planPassage = `meter: 3/4
tempo: q = 60
bars 1-3
right: h. E4+G4 | q C5 D5 E5 | h. E4+G#4+D#5
left:  h. C3 | h. G2 | h. E2+B2
`

func readPlanPassage(t testing.TB) *score.Passage {
	t.Helper()
	p, err := typed.Read("plan", strings.NewReader(planPassage))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func placeOf(t testing.TB, p *score.Passage, text string) score.Region {
	t.Helper()
	r, err := (&env{}).placeIn(p, text)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// sketch writes a plan's notes as "start names", by equal temperament; ticks as "tick".
func sketch(pl *plan) string {
	type chord struct {
		at    time.Duration
		names []string
	}
	var cs []chord
	for _, n := range pl.notes {
		name := "tick"
		if n.Voice == nil {
			name = pitch.FromMIDI(int(math.Round(69+12*math.Log2(float64(n.Freq)/440))), false).String()
		}
		if len(cs) == 0 || cs[len(cs)-1].at != n.Start {
			cs = append(cs, chord{at: n.Start})
		}
		cs[len(cs)-1].names = append(cs[len(cs)-1].names, name)
	}
	var out []string
	for _, c := range cs {
		slices.Sort(c.names)
		out = append(out, fmt.Sprintf("%.7g %s", c.at.Seconds(), strings.Join(c.names, "+")))
	}
	return strings.Join(out, " | ")
}

func TestPlan(t *testing.T) {
	p := readPlanPassage(t)
	ds := []noteName{{pitch: pitch.Pitch{Letter: pitch.D, Alter: 1, Octave: 5}}}
	g := []noteName{{class: pitch.Class{Letter: pitch.G}, any: true}}
	for _, tt := range []struct {
		at   []string
		l    listening
		want string
	}{
		{[]string{"bar 1"}, listening{slower: 1}, "0 C3+E4+G4"},
		{[]string{"bar 2, right hand"}, listening{slower: 2}, "0 C5 | 2 D5 | 4 E5"},
		{[]string{"bar 1, bass"}, listening{slower: 1}, "0 C3"},
		{[]string{"bar 3"}, listening{slower: 1, without: ds}, "0 B2+E2+E4+G#4"},
		{[]string{"bar 3"}, listening{slower: 1, compare: ds}, "0 B2+D#5+E2+E4+G#4 | 3.7 B2+E2+E4+G#4"},
		{[]string{"bar 3"}, listening{slower: 1, shape: builtChords}, "0 E2 | 0.75 B2+E2 | 1.5 B2+E2+E4 | 2.25 B2+E2+E4+G#4 | 3 B2+D#5+E2+E4+G#4"},
		{[]string{"bar 1"}, listening{slower: 2, shape: brokenChords}, "0 C3 | 0.5 E4 | 1 G4"},
		{[]string{"bar 1", "bar 3, left hand"}, listening{slower: 1}, "0 C3+E4+G4 | 3.7 B2+E2"},
		// In time: three beats, three beats, three beats.
		{[]string{"bar 1, left hand"}, listening{slower: 1, loop: 3}, "0 C3 | 3 C3 | 6 C3"},
		{[]string{"bar 1, left hand"}, listening{slower: 1, loop: 2, countIn: true}, "0 tick | 1 tick | 2 tick | 3 C3 | 6 C3"},
		// From the second beat on: a full bar and one beat are counted.
		{[]string{"bar 2 beat 2, right hand"}, listening{slower: 1, countIn: true}, "0 tick | 1 tick | 2 tick | 3 tick | 4 D5"},
		{[]string{"bar 1", "bar 3"}, listening{slower: 1, compare: g}, "0 C3+E4+G4 | 3.7 C3+E4 | 7.4 B2+D#5+E2+E4+G#4"},
	} {
		var places []score.Region
		for _, a := range tt.at {
			places = append(places, placeOf(t, p, a))
		}
		pl, err := newPlan(p, places, tt.l)
		if err != nil {
			t.Errorf("%v: %v", tt.at, err)
			continue
		}
		if got := sketch(pl); got != tt.want {
			t.Errorf("%v %+v:\n got %s\nwant %s", tt.at, tt.l, got, tt.want)
		}
		for i, n := range pl.notes {
			if n.Start+n.Length > pl.length {
				t.Errorf("%v: note %d ends at %v, the plan at %v", tt.at, i, n.Start+n.Length, pl.length)
			}
		}
	}
	bar3 := []score.Region{placeOf(t, p, "bar 3")}
	pl, err := newPlan(p, bar3, listening{slower: 1, stress: ds})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range pl.notes { // as a share of what it would be
		want := plainStrength * downbeat * unstressed
		if math.Abs(float64(n.Freq)-622.25) < .01 {
			want = plainStrength * downbeat * stressed
		}
		if math.Abs(n.Strength-want) > 1e-9 {
			t.Errorf("%.2f Hz has the strength %g; want %g", n.Freq, n.Strength, want)
		}
	}
	tuned, err := synth.NewTuning(synth.Just, 4, 440)
	if err != nil {
		t.Fatal(err)
	}
	pl, err = newPlan(p, []score.Region{placeOf(t, p, "bar 3, left hand")}, listening{slower: 1, tuning: tuned})
	if err != nil || math.Abs(float64(pl.notes[1].Freq/pl.notes[0].Freq)-1.5) > 1e-12 {
		t.Errorf("B2 over E2, just on E: %v, %v; want a pure fifth", pl.notes, err)
	}
	var se *silentError
	if _, err := newPlan(p, bar3, listening{slower: 1, stress: g}); !errors.As(err, &se) || err.Error() != "--stress G: no such note sounds there" {
		t.Errorf("stressing what isn't there: %v", err)
	}
	if _, err := newPlan(p, []score.Region{placeOf(t, p, "bar 1, left hand")}, listening{slower: 1, countIn: true, without: []noteName{{class: pitch.Class{}, any: true}}}); !errors.Is(err, errSilent) {
		t.Errorf("leaving out the only note: %v; want errSilent", err)
	}
	pl, _ = newPlan(p, bar3, listening{slower: 1, compare: ds, countIn: true})
	want := []planPart{{"count-in", 0}, {"place 1", 3 * time.Second}, {"place 1, without D#5", 6700 * time.Millisecond}}
	if !slices.Equal(pl.parts, want) {
		t.Errorf("parts %v; want %v", pl.parts, want)
	}
}

// TestPlanMarks: dynamics, the pedal and tempo are obeyed.
func TestPlanMarks(t *testing.T) {
	p := readPlanPassage(t)
	q := score.Quarters
	p.Dynamics = []score.Dynamic{{At: q(0), Text: "p"}, {At: q(3), Text: "f"}}
	p.Pedals = []score.Pedal{{At: q(3), Act: score.PedalDown}, {At: q(5), Act: score.PedalChange}, {At: q(6), Act: score.PedalUp}}
	p.Tempos = []score.Tempo{{Quarters: 60}, {At: q(6), Quarters: 120}}
	all := []score.Region{placeOf(t, p, "bars 1-3")}
	pl, err := newPlan(p, all, listening{slower: 1})
	if err != nil {
		t.Fatal(err)
	}
	find := func(key int, from float64) synth.Note {
		t.Helper()
		for _, n := range pl.notes {
			if math.Abs(float64(n.Freq)-440*math.Pow(2, float64(key-69)/12)) < 1e-6 && n.Start.Seconds() >= from-1e-9 {
				return n
			}
		}
		t.Fatalf("no key %d from %g s on", key, from)
		return synth.Note{}
	}
	soft, loud := find(48, 0), find(43, 3) // C3 under p, G2 under f, both on a first beat
	if soft.Strength != strengths["p"]*downbeat || loud.Strength != strengths["f"]*downbeat {
		t.Errorf("strengths %g and %g; want those of p and f", soft.Strength, loud.Strength)
	}
	// C5 and D5 last until the pedal changes at 5 s, E5 until its end, bar 3 half as long as at the tempo of bar 1.
	for _, tt := range []struct {
		key     int
		at, end float64
	}{{72, 3, 5}, {74, 4, 5}, {76, 5, 6}, {75, 6, 7.5}} {
		n := find(tt.key, tt.at)
		if math.Abs(n.Start.Seconds()-tt.at) > 1e-6 || math.Abs((n.Start+n.Length).Seconds()-(tt.end-.01)) > 1e-6 {
			t.Errorf("key %d from %v for %v; want %g to %g s", tt.key, n.Start, n.Length, tt.at, tt.end)
		}
	}
	pl, err = newPlan(p, all, listening{slower: 1, dry: true})
	if err != nil {
		t.Fatal(err)
	}
	if n := find(72, 3); math.Abs(n.Length.Seconds()-.99) > 1e-6 {
		t.Errorf("without the pedal C5 lasts %v; want 0.99 s", n.Length)
	}
}
