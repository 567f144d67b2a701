package harmony

import (
	"fmt"
	"math/rand"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// passage builds a passage in a meter from voices such as "right: C5:1 D5:1/2 r:1/2" (pitch or chord C4+E4, length in quarters).
func passage(t testing.TB, meter score.Meter, voices ...string) *score.Passage {
	t.Helper()
	p := &score.Passage{Title: "test"}
	var end score.Time
	for v, line := range voices {
		name, body, _ := strings.Cut(line, ":")
		hand := score.Right
		if strings.TrimSpace(name) == "left" {
			hand = score.Left
		}
		var at score.Time
		for _, w := range strings.Fields(body) {
			what, length, _ := strings.Cut(w, ":")
			d, ok := score.ParseTime(length)
			if !ok {
				t.Fatalf("%q has no length", w)
			}
			if what != "r" {
				for _, n := range strings.Split(what, "+") {
					x, err := pitch.Parse(n)
					if err != nil {
						t.Fatal(err)
					}
					p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: at, Duration: d, Hand: hand, Voice: v + 1})
				}
			}
			at = at.Add(d)
		}
		end = end.Max(at)
	}
	bar := meter.Length()
	for s := (score.Time{}); s.Less(end); s = s.Add(bar) {
		p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(len(p.Bars) + 1), Start: s, Length: bar, Meter: meter})
	}
	for i := range p.Notes {
		p.Notes[i].Bar = p.BarAt(p.Notes[i].Onset)
	}
	p.Sort()
	return p
}

// every calls each method of an analysis on every span, and some that don't exist.
func every(a *Analysis) {
	for i := -1; i <= len(a.Spans); i++ {
		a.Chord(i)
		a.Role(i)
		a.Why(i)
		a.ForeignNotes(i)
		a.Tendencies(i)
		for q := Quality(-1); int(q) <= qualities; q += 3 {
			c := Chord{pitch.Class{Letter: pitch.Letter((i + 14) % 7)}, q, pitch.Class{Letter: pitch.Letter((i + 16) % 7)}}
			a.Judge(i, Said{Chord: c, HasChord: true, HasBass: true})
			a.Judge(i, Said{Chord: c, HasChord: true})
			a.Judge(i, Said{Chord: c, HasBass: true})
		}
	}
	a.Home()
	a.Areas()
	a.Tonicizations()
	a.Cadences()
	a.Pedals()
	end := a.Music.Passage.End()
	a.Mixture(score.Time{}, end, pitch.Class{})
	a.Alternation(score.Time{}, end)
	for _, n := range a.Music.Sounding {
		a.Resolution(n)
	}
	a.Resolution(score.Note{})
	a.With(score.T(1, 2), score.T(7, 3))
	a.With(end, end.Add(score.Quarters(3)))
}

// TestAnything reads passages that no one would write, and none of them may cause a panic.
func TestAnything(t *testing.T) {
	meters := []score.Meter{{Beats: 4, Unit: 4}, {Beats: 6, Unit: 8}, {Beats: 5, Unit: 16}, {}, {Beats: 3, Unit: 2, Groups: []int{2, 1}}}
	rng := rand.New(rand.NewSource(7))
	for round := 0; round < 120; round++ {
		p := &score.Passage{}
		m := meters[rng.Intn(len(meters))]
		bars := rng.Intn(6)
		at := score.Time{}
		for b := 0; b < bars; b++ {
			length := m.Length()
			if length.Sign() <= 0 || rng.Intn(4) == 0 {
				length = score.T(int64(rng.Intn(9)), 2)
			}
			p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(b), Start: at, Length: length, Meter: m})
			at = at.Add(length)
		}
		n := rng.Intn(40)
		if round%5 == 0 {
			n = rng.Intn(2)
		}
		for ; n > 0 && bars > 0; n-- {
			on := score.T(int64(rng.Intn(1+int(4*at.Float()))), 4)
			x := pitch.Pitch{Letter: pitch.Letter(rng.Intn(7)), Alter: int8(rng.Intn(7) - 3), Octave: int8(rng.Intn(9))}
			p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: on, Duration: score.T(int64(rng.Intn(9)), 3), Hand: score.Hand(rng.Intn(3)), Voice: rng.Intn(4), Bar: p.BarAt(on)})
		}
		p.Sort()
		every(Analyze(p))
		var spans []Span
		for s := (score.Time{}); s.Less(at); {
			e := s.Add(score.T(int64(1+rng.Intn(8)), 3))
			spans = append(spans, Span{s, e})
			s = e
		}
		every(Read(p, spans))
	}
	every(Analyze(&score.Passage{}))
	every(Read(&score.Passage{}, []Span{{}, {score.Quarters(1), score.Quarters(1)}, {score.Quarters(9), score.Quarters(3)}}))
}
