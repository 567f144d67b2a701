package drills

import (
	"math"
	"math/rand/v2"
	"sync"
)

// What is left of side clues when length, number of notes and register are drawn before the label is the colour of the sound:
// a dominant seventh is a little darker than a major triad in the same frame. So a question is made several times over, each
// time with hands of several weights, and the one is taken that comes nearest, in colour and in its outer keys, to a question
// about a label drawn by lot: whatever is asked, the colours and registers asked are those of all labels together.

// candidates is how often a question is made for one to be chosen, manyCandidates that of kinds in which where the notes lie
// is much of the answer, and weights how many touches of the hands each is tried with.
const (
	candidates     = 8
	manyCandidates = 40
	weights        = 16
)

// colour is what a listener without an ear for harmony could go by, worked out from the notes: how much of the power lies
// below 250 Hz and below 700 Hz, and how high it lies on the whole, in logarithms; and the lowest and the highest key, in
// octaves.
type colour [5]float64

// touches are the strengths in which a hand strikes, against the usual one.
var touches = func() (out [15]float64) {
	for i := range out {
		out[i] = math.Exp2(.1*float64(i) - .9)
	}
	return out
}()

func randomTouch(r *rand.Rand) float64 { return touches[r.IntN(len(touches))] }

// A sounding is the energy of a question's notes, so that its colour can be said for any touch of its hands.
type sounding struct {
	notes [2][]*[len(touches)]power // of each hand, by touch
	both  [3]power                  // what notes have together: of the left hand, the right, and across
	outer [2]float64                // the lowest and the highest key, in octaves
}

func soundingOf(q Question) (s sounding) {
	notes, tempo := q.Sound()
	lowest, highest := 1000, 0
	for i, n := range notes {
		if n.Soft {
			continue
		}
		k, seconds, hand := n.Pitch.MIDI(), n.Length.Float()*60/tempo, n.Hand&1
		lowest, highest = min(lowest, k), max(highest, k)
		s.notes[hand] = append(s.notes[hand], powersOf(struck{k, seconds}))
		for j := i - 1; j >= 0; j-- { // struck together
			m := notes[j]
			if m.At != n.At || m.Length != n.Length || m.Soft {
				continue
			}
			of := &s.both[2]
			if m.Hand&1 == hand {
				of = &s.both[hand]
			}
			of.add(crossOf(pair{m.Pitch.MIDI(), k, seconds}), 1)
		}
	}
	s.outer = [2]float64{float64(lowest) / 12, float64(highest) / 12}
	return s
}

// colour is that of two hands with touches by their places in touches.
func (s *sounding) colour(hands [2]int) colour {
	var sum power
	for h, ns := range s.notes {
		for _, n := range ns {
			sum.add(n[hands[h]], 1)
		}
	}
	a, b := touches[hands[0]], touches[hands[1]]
	sum.add(s.both[0], a*a)
	sum.add(s.both[1], b*b)
	sum.add(s.both[2], a*b)
	if sum[0] <= 0 || sum[1] <= 0 || sum[2] <= 0 {
		return colour{}
	}
	return colour{math.Log(sum[1] / sum[0]), math.Log(sum[2] / sum[0]), math.Log(sum[3] / sum[0]), s.outer[0], s.outer[1]}
}

// spread is about how far the parts of a colour lie from their means, over the questions of a drill; outer keys count less.
var spread = colour{.2, .1, .5, .35, .8}

func (c colour) distance(d colour) (sum float64) {
	for i := range c {
		x := (c[i] - d[i]) / spread[i]
		sum += x * x
	}
	return sum
}

// power is an energy: all of it, below 250 Hz, below 700 Hz, and times the square of the frequency.
type power [4]float64

func (p *power) add(q power, times float64) {
	for i := range p {
		p[i] += q[i] * times
	}
}

// at puts an energy at a frequency.
func (p *power) at(energy, hz float64) {
	p.add(power{1, 1 / (1 + (hz/250)*(hz/250)), 1 / (1 + (hz/700)*(hz/700)), hz * hz}, energy)
}

// struck is a note, and pair two of one length struck together with the usual touch, by their keys.
type (
	struck struct {
		key     int
		seconds float64
	}
	pair struct {
		a, b    int
		seconds float64
	}
)

// powers and crosses keep what powersOf and crossOf have worked out.
var powers, crosses sync.Map

// powersOf returns the energy of a note for each touch.
func powersOf(n struck) *[len(touches)]power {
	if p, ok := powers.Load(n); ok {
		return p.(*[len(touches)]power)
	}
	var out [len(touches)]power
	for i, touch := range touches {
		for _, t := range tonesOf(n.key, touch) {
			out[i].at(together(t, t, n.seconds), t.freq)
		}
	}
	powers.Store(n, &out)
	return &out
}

// crossOf is what two notes have more, or less, than the sum of their energies: partials that meet, as those of an octave do,
// add up or cancel.
func crossOf(n pair) power {
	if p, ok := crosses.Load(n); ok {
		return p.(power)
	}
	var p power
	ts := tonesOf(n.b, 1)
	for _, a := range tonesOf(n.a, 1) {
		for _, b := range ts {
			if math.Abs(a.freq-b.freq) < 12 {
				p.at(2*together(a, b, n.seconds), math.Sqrt(a.freq*b.freq))
			}
		}
	}
	crosses.Store(n, p)
	return p
}

// A tone is a partial of a note. Its amplitude falls by rate nepers a second until knee, then slower by slower.
type tone struct{ amp, freq, phase, rate, knee float64 }

const slower = 3.5

// tonesOf returns the partials of a struck string as the synthesizer has it (see synth.Struck, whose numbers these are):
// hammered at 0.12 of its length, a little stiff, dull above a corner that rises with the touch, weak below 80 Hz, dying away
// in two stages, faster the higher it is, and as loud as its touch says by the weighting of ITU-R BS.1770, drawn roughly.
func tonesOf(key int, touch float64) []tone {
	m := float64(key)
	f := 440 * math.Exp2((m-69)/12)
	stiff := math.Exp(-0.0847*m-5.82) + math.Exp(0.0926*m-13.64)
	strength := min(.6*touch, 1)
	corner := 4000 * math.Pow(strength, 1.5) * math.Pow(f/262, .2)
	count := min(max(math.Floor(5000/f), 8), 48)
	var out []tone
	weighted := 0.0
	for k := 1.0; k <= count; k++ {
		x := k * f * math.Sqrt((1+stiff*k*k)/(1+stiff))
		t := tone{freq: x, phase: math.Pi * k * (k - 1) / count, rate: 2.5 * math.Pow(f/55, .65) * (1 + (k-1)/4) * math.Ln10 / 20}
		t.amp = math.Sin(k*math.Pi*.12) / k / (1 + (x/corner)*(x/corner)) * x * x / (x*x + 80*80)
		t.knee = .6 * math.Ln10 / t.rate // 12 dB down
		high := x * x / (1500 * 1500)
		weighted += t.amp * t.amp * (1 + 1.51*high*high/(1+high*high)) / (1 + math.Pow(38/x, 4))
		out = append(out, t)
	}
	for i := range out {
		out[i].amp *= strength / math.Sqrt(weighted)
	}
	return out
}

// together integrates the product of two partials over a time from their beginning, leaving out what lies at the sum of their
// frequencies and averages out: between their knees it is an exponential times a cosine.
func together(a, b tone, seconds float64) (sum float64) {
	w := 2 * math.Pi * (a.freq - b.freq)
	amp, angle, from := a.amp*b.amp, a.phase-b.phase, 0.0
	for _, to := range []float64{min(a.knee, b.knee, seconds), min(max(a.knee, b.knee), seconds), seconds} {
		rate := a.rate + b.rate
		if from >= a.knee {
			rate -= a.rate * (1 - 1/slower)
		}
		if from >= b.knee {
			rate -= b.rate * (1 - 1/slower)
		}
		s0, c0 := math.Sincos(angle)
		s1, c1 := math.Sincos(angle + w*(to-from))
		left := math.Exp(-rate * (to - from))
		sum += amp * (left*(w*s1-rate*c1) - (w*s0 - rate*c0)) / (rate*rate + w*w)
		amp, angle, from = amp*left, angle+w*(to-from), to
	}
	return sum
}

// matched makes a question about a label with several sources of chance and returns the source and the touch that come nearest
// in colour to a question about another label, which is drawn by lot.
func (d *Drill) matched(r *rand.Rand, fill func(seed uint64, touch [2]float64, label string) Question, label string) (seed uint64, touch [2]float64) {
	hands := func() [2]int { return [2]int{r.IntN(len(touches)), r.IntN(len(touches))} }
	lot := func() colour {
		s := soundingOf(fill(r.Uint64(), touch, d.labels[r.IntN(len(d.labels))]))
		return s.colour(hands())
	}
	want := lot()
	n := candidates
	if d.set.Kind == Construction || d.set.Kind == Sequence || d.set.Kind == Next || d.set.Kind == Semitone && d.set.Level == 3 {
		// The darkest and the brightest are out of reach for some labels. So the colour wanted is the mean of three.
		n = manyCandidates
		a, b := lot(), lot()
		for i := range 3 {
			want[i] = (want[i] + a[i] + b[i]) / 3
		}
	}
	best := math.Inf(1)
	for range n {
		from := r.Uint64()
		s := soundingOf(fill(from, touch, label))
		for range weights {
			h := hands()
			if x := s.colour(h).distance(want); x < best {
				best, seed, touch = x, from, [2]float64{touches[h[0]], touches[h[1]]}
			}
		}
	}
	return seed, touch
}
