package drills

import (
	"math"
	"math/rand/v2"
)

// What is left of side clues when length, number of notes and register are drawn before the label is the colour of the sound:
// a dominant seventh is a little darker than a major triad in the same frame. So a question is made several times over, and
// the one is taken whose colour comes nearest to that of a question about a label drawn by lot: whatever is asked, the colours
// asked are those of all labels together.

// candidates is how often a question is made for one to be chosen.
const candidates = 12

// colour is what a listener without an ear for harmony could go by, worked out from the notes: how much of the power lies
// below 250 Hz and below 700 Hz, and how high it lies on the whole, in logarithms.
type colour [3]float64

func colourOf(q Question) (c colour) {
	notes, tempo := q.Sound()
	var all, low, middle, high float64
	for _, n := range notes {
		if n.Soft {
			continue
		}
		// A struck string as the synthesizer has it: hammered at 0.12 of its length, dull above a corner, dying away faster the
		// higher it is.
		f := 440 * math.Exp2(float64(n.Pitch.MIDI()-69)/12)
		corner := 1400 * math.Pow(f/262, .2)
		seconds := n.Length.Float() * 60 / tempo
		var own [10]float64
		sum := 0.0
		for i := range own {
			k := float64(i + 1)
			x := f * k
			amp := math.Sin(k*math.Pi*.12) / k / (1 + (x/corner)*(x/corner)) * x * x / (x*x + 80*80)
			own[i] = amp * amp
			sum += own[i]
		}
		for i, p := range own {
			k := float64(i + 1)
			x := f * k
			rate := 2.5 * math.Pow(f/55, .65) * (1 + (k-1)/4) * math.Ln10 / 10
			p *= (1 - math.Exp(-rate*seconds)) / rate / sum
			all += p
			low += p / (1 + (x/250)*(x/250))
			middle += p / (1 + (x/700)*(x/700))
			high += p * x * x
		}
	}
	if all == 0 {
		return c
	}
	return colour{math.Log(low / all), math.Log(middle / all), math.Log(high / all)}
}

func (c colour) distance(d colour) (sum float64) {
	for i := range c {
		sum += (c[i] - d[i]) * (c[i] - d[i])
	}
	return sum
}

// matched makes a question about a label with several sources of chance and returns the source that comes nearest in colour to
// a question about another label, which is drawn by lot.
func (d *Drill) matched(r *rand.Rand, fill func(seed uint64, label string) Question, label string) (seed uint64) {
	if d.set.Kind == Construction { // there the frame is what tells labels apart, and matching would tell it by the lowest note
		return r.Uint64()
	}
	lot := d.labels[r.IntN(len(d.labels))]
	want := colourOf(fill(r.Uint64(), lot))
	best := math.Inf(1)
	for range candidates {
		s := r.Uint64()
		if x := colourOf(fill(s, label)).distance(want); x < best {
			best, seed = x, s
		}
	}
	return seed
}
