package harmony

import (
	"math"
	"sort"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Span is a stretch of time for which one chord is said: From <= t < To.
type Span struct{ From, To score.Time }

// note is a sounding note prepared for weighing. Times are quarter notes.
type note struct {
	on, off float64
	lof     int // place on the line of fifths
	midi    int
	step    int
	left    bool
	metric  float64 // weight of its onset in the bar, in (0, 1]
	from    int     // index of the note it comes from by step, -1 if none
	to      int     // index of the note it moves to by step, -1 if none
	held    int     // index of the note struck again at the same pitch after it, -1 if none
	source  int     // index into Music.Sounding
}

// Music is a passage prepared for reading its harmony.
type Music struct {
	Passage  *score.Passage
	Sounding []score.Note // in order of onset, ties joined
	notes    []note       // without grace notes, in order of onset
	longest  float64      // the longest note, for searching
	piece    []weight     // share of time of each class in all
	bars     []float64    // where each bar begins, and where the last ends
	hints    []hint
}

// A weight is a value at a place on the line of fifths.
type weight struct {
	lof int
	v   float64
}

const eps = 1e-6

// New prepares p. The passage must not be changed while the result is in use.
func New(p *score.Passage) *Music { return NewOf(p, p.Sounding()) }

// NewOf prepares some of the notes of p, as [score.Passage.Sounding] returns them, say those of one hand.
func NewOf(p *score.Passage, sounding []score.Note) *Music {
	m := &Music{Passage: p, Sounding: sounding}
	for i, n := range m.Sounding {
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		on := n.Onset.Float()
		m.notes = append(m.notes, note{on: on, off: on + n.Duration.Float(), lof: n.Pitch.Class().Fifths(), midi: n.Pitch.MIDI(), step: n.Pitch.Step(),
			left: n.Hand == score.Left, metric: metric(p, n), from: -1, to: -1, held: -1, source: i})
		m.longest = max(m.longest, n.Duration.Float())
	}
	sort.SliceStable(m.notes, func(i, j int) bool { return m.notes[i].on < m.notes[j].on })
	for i, b := range p.Bars {
		// The halves of a bar that a repeat sign cuts in two count as one.
		if i > 0 && b.Offset.Sign() > 0 && b.Number == p.Bars[i-1].Number {
			continue
		}
		m.bars = append(m.bars, b.Start.Float())
	}
	if n := len(p.Bars); n > 0 {
		m.bars = append(m.bars, p.Bars[n-1].End().Float())
	}
	m.keysSaid()
	m.link()
	var all tally
	for _, n := range m.notes {
		all.add(n.lof, n.off-n.on)
	}
	m.piece = all.shares()
	return m
}

// A hint is what the source says of the key from a moment on.
type hint struct {
	at     float64
	states []int
	weight float64 // in logarithms of odds, for each span
}

// How much is given, span by span, to what the source says of the key: to the major and minor keys of a signature, to a declared key,
// and to a key that the analyst names.
const (
	signatureHint = .2
	declaredHint  = .5
	namedHint     = 5
	opening       = 6 // spans after which a signature or declared key counts for little: music leaves its key
)

func (m *Music) keysSaid() {
	for _, k := range m.Passage.Keys {
		h := hint{at: k.At.Float(), weight: signatureHint}
		if k.Declared {
			h.weight = declaredHint
			if s, ok := stateOf(k.Key); ok {
				h.states = []int{s}
			}
		}
		if h.states == nil { // a church mode counts by its signature
			for _, mode := range []key.Mode{key.Major, key.Minor} {
				if s, ok := stateOf(key.FromSignature(k.Key.Signature(), mode)); ok {
					h.states = append(h.states, s)
				}
			}
		}
		m.hints = append(m.hints, h)
	}
}

// Declare says that the passage is in k, whatever its signatures. It has to be called before the passage is read.
func (m *Music) Declare(k key.Key) {
	m.hints = nil
	if s, ok := stateOf(k); ok {
		m.hints = []hint{{at: math.Inf(-1), states: []int{s}, weight: namedHint}}
	}
}

// hinted adds to the weights of keys what the source says of them.
func (m *Music) hinted(ev []*evidence, em [][keyStates]float64) {
	since, from := -1, 0
	for i, e := range ev {
		last := -1
		for j := range m.hints {
			if m.hints[j].at <= e.a+eps {
				last = j
			}
		}
		if last < 0 {
			continue
		}
		if last != since {
			since, from = last, i
		}
		w := m.hints[last].weight
		if i-from >= opening && w < namedHint {
			w *= .1
		}
		for _, s := range m.hints[last].states {
			em[i][s] += w
		}
	}
}

// metric weighs an onset: 1 on the downbeat, .7 in the middle of a bar of two halves, .5 on other beats, less between.
func metric(p *score.Passage, n score.Note) float64 {
	if n.Bar < 0 || n.Bar >= len(p.Bars) {
		return .5
	}
	b := p.Bars[n.Bar]
	at := n.Onset.Sub(b.Start).Add(b.Offset).Float()
	beat := b.Meter.Beat().Float()
	if beat <= 0 {
		beat = 1
	}
	whole := func(x float64) bool { return math.Abs(x-math.Round(x)) < 1e-4 }
	beats := at / beat
	switch {
	case math.Abs(at) < 1e-4:
		return 1
	case whole(beats) && b.Meter.Length().Float()/beat == 4 && whole(beats/2):
		return .7
	case whole(beats):
		return .5
	case whole(2*beats) || b.Meter.Compound() && whole(3*beats):
		return .25
	}
	return .12
}

// link finds for each note the one it moves to by step and the one that comes back at its pitch: the first notes of the
// same hand struck when it ends, or up to a quarter later.
func (m *Music) link() {
	for i := range m.notes {
		n := &m.notes[i]
		first := sort.Search(len(m.notes), func(j int) bool { return m.notes[j].on > n.on+eps })
		at := -1.0
		for j := first; j < len(m.notes); j++ {
			o := &m.notes[j]
			if o.on > n.off+1+eps || at >= 0 && o.on > at+eps {
				break
			}
			if o.left != n.left || o.on < n.off-.13 {
				continue
			}
			// The first onset of this hand after the note ends is where it can lead.
			if at < 0 && o.on >= n.off-eps {
				at = o.on
			}
			switch d := o.midi - n.midi; {
			case o.step == n.step && d == 0:
				n.held = j
			case abs(o.step-n.step) == 1 && abs(d) >= 1 && abs(d) <= 2:
				if n.to < 0 || abs(d) < abs(m.notes[n.to].midi-n.midi) {
					n.to = j
				}
			}
		}
	}
	for i := range m.notes {
		if to := m.notes[i].to; to >= 0 && m.notes[to].from < 0 {
			m.notes[to].from = i
		}
	}
}

func abs(x int) int {
	if x < 0 {
		return -x
	}
	return x
}

// within returns the notes that sound in [a, b), as a range of indices and a test: indices in [lo, hi) whose off is beyond a.
func (m *Music) within(a, b float64) (lo, hi int) {
	lo = sort.Search(len(m.notes), func(i int) bool { return m.notes[i].on >= a-m.longest-eps })
	hi = sort.Search(len(m.notes), func(i int) bool { return m.notes[i].on >= b-eps })
	return lo, hi
}

// tally adds up values by class.
type tally struct {
	v        [lofRange]float64
	seen     []int
	sum, top float64
}

// The line of fifths as far as it is counted: from seven flats doubled and more to as many sharps.
const (
	lofRange = 81
	lofZero  = 40
)

func place(lof int) int { return min(max(lof+lofZero, 0), lofRange-1) }

func (t *tally) add(lof int, v float64) {
	if v == 0 {
		return
	}
	i := place(lof)
	if t.v[i] == 0 {
		t.seen = append(t.seen, i)
	}
	t.v[i] += v
	t.sum += v
}

func (t *tally) max(lof int, v float64) {
	i := place(lof)
	if t.v[i] == 0 && v != 0 {
		t.seen = append(t.seen, i)
	}
	t.v[i] = max(t.v[i], v)
}

// shares returns the values as parts of their sum, in order of class; raw as they are.
func (t *tally) shares() []weight {
	w := t.raw()
	if t.sum > 0 {
		for i := range w {
			w[i].v /= t.sum
		}
	}
	return w
}

func (t *tally) raw() []weight {
	sort.Ints(t.seen)
	w := make([]weight, 0, len(t.seen))
	for _, i := range t.seen {
		w = append(w, weight{i - lofZero, t.v[i]})
	}
	return w
}

func classOf(lof int) pitch.Class { return pitch.ClassOfFifths(lof) }

func sortMotions(m []motion) {
	sort.Slice(m, func(i, j int) bool {
		x, y := m[i], m[j]
		switch {
		case x.from != y.from:
			return x.from < y.from
		case x.to != y.to:
			return x.to < y.to
		case x.weak != y.weak:
			return y.weak
		}
		return !x.held && y.held
	})
}
