package line

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// manyNotes makes a passage of about n notes in 4/4: a tune of eighths in scales and leaps, chords and a broken bass, in
// phrases of four bars of which every fourth comes back a step higher.
func manyNotes(n int) *score.Passage {
	rng := rand.New(rand.NewPCG(9, 6))
	p := &score.Passage{Keys: []score.KeyChange{{}}}
	m := score.Meter{Beats: 4, Unit: 4}
	var phrase [][3]int // onset in eighths, step, hand
	for bar := 0; len(p.Notes) < n; bar++ {
		p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(bar + 1), Start: score.Quarters(4 * bar), Length: m.Length(), Meter: m})
		if bar%4 == 0 && bar/4%4 != 3 {
			phrase = nil
			at := 35
			for k := range 32 {
				if at += rng.IntN(5) - 2; rng.IntN(6) == 0 {
					at += rng.IntN(9) - 4
				}
				at = min(max(at, 30), 44)
				phrase = append(phrase, [3]int{k, at, int(score.Right)})
				if k%2 == 0 {
					root := 14 + rng.IntN(7)
					phrase = append(phrase, [3]int{k, root, int(score.Left)}, [3]int{k, root + 4, int(score.Left)}, [3]int{k, root + 9, int(score.Left)})
				}
			}
		}
		up := 0
		if bar/4%4 == 3 {
			up = 1
		}
		for _, x := range phrase {
			if x[0]/8 != bar%4 {
				continue
			}
			s := x[1] + up
			p.Notes = append(p.Notes, score.Note{Pitch: pitch.Pitch{Letter: pitch.Letter(s % 7), Octave: int8(s / 7)}, Onset: score.Quarters(4 * bar).Add(score.T(int64(x[0]%8), 2)),
				Duration: score.T(1, 2), Hand: score.Hand(x[2]), Voice: 1, Bar: bar})
		}
	}
	p.Sort()
	return p
}

// BenchmarkFacts looks at whole pieces of four sizes: everything the package finds.
func BenchmarkFacts(b *testing.B) {
	for _, n := range []int{200, 2000, 20000, 200000} {
		p := manyNotes(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Facts(p, score.Region{To: p.End()})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(p.Notes)), "ns/note")
		})
	}
}

func BenchmarkSequences(b *testing.B) {
	for _, n := range []int{200, 2000, 20000, 200000} {
		p := manyNotes(n)
		s := p.Sounding()
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				FindSequences(s, score.Region{To: p.End()}, p)
			}
		})
	}
}

func BenchmarkSeparate(b *testing.B) {
	for _, n := range []int{200, 2000, 20000, 200000} {
		notes := manyNotes(n).Notes
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Separate(notes)
			}
		})
	}
}
