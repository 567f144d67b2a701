package harmony

import "sort"

// A profile is one way to weigh the classes in and around a span. Each is held against every candidate chord.
const (
	pDuration     = iota // share of time
	pWeighted            // share of time, weighed by the metric place of the onset, notes struck at the start more
	pPresent             // sounds at all
	pStart               // sounds as the span begins
	pStruck              // is struck as the span begins
	pMetric              // the best metric place it is struck at
	pLasting             // part of the span it sounds through
	pStill               // share of time of notes that don't move on by step
	pLeft                // share of time in the left hand
	pBass                // share of time as the lowest note
	pLowest              // is the lowest note of all
	pLowestFirst         // is the lowest note as the span begins
	pTop                 // share of time as the highest note
	pEnd                 // sounds as the span ends
	pNew                 // sounds here and not in the span before
	pHeld                // was struck before and sounds on
	pCount               // share of strokes
	pOctaves             // sounds in more than one octave
	pPrevious            // share of time in the span before
	pNext                // share of time in the span after
	pPrevious2           // share of time two spans before
	pNext2               // share of time two spans after
	pPreviousBass        // share of time as the lowest note in the span before
	pNextBass            // the same in the span after
	pNear                // share of time from four quarters before to four after
	pWide                // the same with twelve
	pPiece               // share of time in all
	pJustBefore          // is the lowest note struck in the quarter before the span
	pNextStart           // sounds as the span after begins
	pPreviousHere        // sounds in the span before, if it sounds here too
	pLeaps               // share of time of notes neither reached nor left by step
	pBarBass             // is the lowest note struck in the bar before the span begins
	pBarBefore           // share of time in the bar before the span begins
	pBarAfter            // share of time in the bar after the span ends
	profiles
)

// Profiles of the bass, held against the bass of a candidate.
const (
	bFirst    = iota // is the lowest note as the span begins
	bShare           // share of time as the lowest note
	bLowest          // is the lowest note of all
	bPresent         // share of time at all
	bStruck          // is struck as the span begins, in the left hand
	bBefore          // is the lowest note just before
	bPrev            // share of time as the lowest note in the span before
	bNext            // the same in the span after
	bMetric          // the best metric place at which it is the lowest note
	bLeftLow         // is the lowest note struck in the left hand
	bEver            // is the lowest note at some time
	bAbsent          // doesn't sound
	bBar             // is the lowest note struck in the bar before the span begins
	bBarLeft         // the same in the left hand, on a beat
	bBarAfter        // is the lowest note struck in the bar after the span ends
	bassProfiles
)

// A motion is time spent on one class that moves on by step to another.
type motion struct {
	from, to int // on the line of fifths; to is noMotion if it doesn't move by step
	v        float64
	weak     bool // not accented
	held     bool // was struck before the span
}

const noMotion = 1 << 20

// evidence is what a span shows, weighed.
type evidence struct {
	a, b    float64
	prof    [profiles][]weight
	bass    [bassProfiles][]weight
	motions []motion
	classes int     // number of different classes
	notes   int     // number of notes
	first   bool    // no span before
	down    float64 // metric place of the start
	ever    map[int]bool
}

// profileSpan gathers the time, bass and presence of [a, b).
type spanTally struct {
	dur, bass, top tally
	lowest         int // index of the lowest note, -1
	lowFirst       int
}

func (m *Music) tallySpan(a, b float64) *spanTally {
	t := &spanTally{lowest: -1, lowFirst: -1}
	lo, hi := m.within(a, b)
	type ev struct {
		i        int
		from, to float64
	}
	var live []ev
	cuts := []float64{a, b}
	for i := lo; i < hi; i++ {
		n := &m.notes[i]
		if n.off <= a+eps {
			continue
		}
		f, u := max(n.on, a), min(n.off, b)
		live = append(live, ev{i, f, u})
		t.dur.add(n.lof, u-f)
		if t.lowest < 0 || n.midi < m.notes[t.lowest].midi {
			t.lowest = i
		}
		if n.on <= a+eps && (t.lowFirst < 0 || n.midi < m.notes[t.lowFirst].midi) {
			t.lowFirst = i
		}
		if f > a+eps {
			cuts = append(cuts, f)
		}
	}
	// cuts beyond the first two are in order of onset, since notes are.
	cuts = append(append([]float64{a}, cuts[2:]...), b)
	for c := 0; c+1 < len(cuts); c++ {
		x, y := cuts[c], cuts[c+1]
		if y-x < eps {
			continue
		}
		low, high := -1, -1
		for _, e := range live {
			if e.from <= x+eps && e.to > x+eps {
				if low < 0 || m.notes[e.i].midi < m.notes[low].midi {
					low = e.i
				}
				if high < 0 || m.notes[e.i].midi > m.notes[high].midi {
					high = e.i
				}
			}
		}
		if low >= 0 {
			t.bass.add(m.notes[low].lof, y-x)
			t.top.add(m.notes[high].lof, y-x)
		}
	}
	return t
}

// gather weighs the span [a, b) between its neighbours; each neighbour is nil if there is none.
func (m *Music) gather(a, b float64, prev2, prev, next, next2 *spanTally, nextA float64) *evidence {
	e := &evidence{a: a, b: b, first: prev == nil}
	here := m.tallySpan(a, b)
	var weighted, present, start, struck, metric, lasting, still, left, end, fresh, held, count, octaves, leaps tally
	var bStruckT, bMetricT, bEverT tally
	lo, hi := m.within(a, b)
	length := b - a
	type run struct{ until, sum float64 }
	runs := map[int]*run{}
	regs := map[int]int{}
	leftLow := -1
	mot := map[motion]float64{}
	for i := lo; i < hi; i++ {
		n := &m.notes[i]
		if n.off <= a+eps {
			continue
		}
		e.notes++
		f, u := max(n.on, a), min(n.off, b)
		d := u - f
		w := n.metric
		if n.on < a-eps {
			w = .4
		}
		if n.on <= a+eps {
			start.max(n.lof, 1)
			e.down = max(e.down, w)
		}
		bonus := 1.0
		if abs64(n.on-a) < eps {
			struck.max(n.lof, 1)
			bonus = 1.5
			if n.left {
				bStruckT.max(n.lof, 1)
			}
		}
		if n.on < a-eps {
			held.max(n.lof, 1)
		}
		weighted.add(n.lof, d*(.5+w)*bonus)
		present.max(n.lof, 1)
		metric.max(n.lof, w)
		if n.to < 0 {
			still.add(n.lof, d)
		}
		if n.to < 0 && n.from < 0 {
			leaps.add(n.lof, d)
		}
		if n.left {
			left.add(n.lof, d)
			if n.on >= a-eps && (leftLow < 0 || n.midi < m.notes[leftLow].midi) {
				leftLow = i
			}
		}
		if n.off >= b-eps {
			end.max(n.lof, 1)
		}
		if n.on >= a-eps {
			count.add(n.lof, 1)
		}
		r := runs[n.lof]
		if r == nil {
			r = &run{until: a}
			runs[n.lof] = r
		}
		if u > r.until {
			r.sum += u - max(f, r.until)
			r.until = u
		}
		bit := 1 << uint(min(max(n.midi/12, 0), 20))
		if regs[n.lof] != 0 && regs[n.lof]&bit == 0 {
			octaves.max(n.lof, 1)
		}
		regs[n.lof] |= bit
		mo := motion{from: n.lof, to: noMotion, weak: w < .5, held: n.on < a-eps}
		if n.to >= 0 {
			mo.to = m.notes[n.to].lof
		}
		mot[mo] += d
	}
	for lof, r := range runs {
		lasting.max(lof, r.sum/length)
	}
	total := here.dur.sum
	e.classes = len(present.seen)
	set := func(k int, w []weight) { e.prof[k] = w }
	set(pDuration, here.dur.shares())
	set(pWeighted, weighted.shares())
	set(pPresent, present.raw())
	set(pStart, start.raw())
	set(pStruck, struck.raw())
	set(pMetric, metric.raw())
	set(pLasting, lasting.raw())
	set(pStill, still.shares())
	set(pLeft, left.shares())
	set(pBass, here.bass.shares())
	set(pTop, here.top.shares())
	set(pEnd, end.raw())
	set(pHeld, held.raw())
	set(pCount, count.shares())
	set(pOctaves, octaves.raw())
	set(pLeaps, leaps.shares())
	one := func(i int) []weight {
		if i < 0 {
			return nil
		}
		return []weight{{m.notes[i].lof, 1}}
	}
	set(pLowest, one(here.lowest))
	set(pLowestFirst, one(here.lowFirst))
	if prev != nil {
		var both tally
		for _, w := range present.raw() {
			if prev.dur.v[place(w.lof)] == 0 {
				fresh.max(w.lof, 1)
			} else {
				both.max(w.lof, 1)
			}
		}
		set(pNew, fresh.raw())
		set(pPreviousHere, both.raw())
		set(pPrevious, prev.dur.shares())
		set(pPreviousBass, prev.bass.shares())
	}
	if next != nil {
		set(pNext, next.dur.shares())
		set(pNextBass, next.bass.shares())
		var ns tally
		l2, h2 := m.within(nextA, nextA+2*eps)
		for i := l2; i < h2; i++ {
			if n := &m.notes[i]; n.off > nextA+eps {
				ns.max(n.lof, 1)
			}
		}
		set(pNextStart, ns.raw())
	}
	if prev2 != nil {
		set(pPrevious2, prev2.dur.shares())
	}
	if next2 != nil {
		set(pNext2, next2.dur.shares())
	}
	set(pNear, m.around((a+b)/2, 4))
	set(pWide, m.around((a+b)/2, 12))
	set(pPiece, m.piece)
	before := -1
	l3, h3 := m.within(a-1, a)
	for i := l3; i < h3; i++ {
		if n := &m.notes[i]; n.on >= a-1-eps && n.off > a-1+eps && (before < 0 || n.midi < m.notes[before].midi) {
			before = i
		}
	}
	set(pJustBefore, one(before))
	from, to := m.barOf(a)
	if from < a-eps {
		all, low, lowLeft := m.stretch(from, a)
		set(pBarBefore, all)
		set(pBarBass, one(low))
		e.bass[bBar], e.bass[bBarLeft] = one(low), one(lowLeft)
	}
	if _, end := m.barOf(b - 2*eps); end > b+eps && to > a {
		all, low, _ := m.stretch(b, end)
		set(pBarAfter, all)
		e.bass[bBarAfter] = one(low)
	}

	for _, w := range here.bass.raw() {
		bEverT.max(w.lof, 1)
	}
	// The metric place at which a class is the lowest note struck.
	for i := lo; i < hi; i++ {
		n := &m.notes[i]
		if n.off <= a+eps || n.on < a-eps || here.bass.v[place(n.lof)] == 0 {
			continue
		}
		lowest := true
		for j := lo; j < hi && lowest; j++ {
			o := &m.notes[j]
			lowest = !(o.midi < n.midi && o.on <= n.on+eps && o.off > n.on+eps)
		}
		if lowest {
			bMetricT.max(n.lof, n.metric)
		}
	}
	e.bass[bFirst] = one(here.lowFirst)
	e.bass[bShare] = here.bass.shares()
	e.bass[bLowest] = one(here.lowest)
	e.bass[bPresent] = e.prof[pDuration]
	e.bass[bStruck] = bStruckT.raw()
	e.bass[bBefore] = one(before)
	e.bass[bPrev] = e.prof[pPreviousBass]
	e.bass[bNext] = e.prof[pNextBass]
	e.bass[bMetric] = bMetricT.raw()
	e.bass[bLeftLow] = one(leftLow)
	e.bass[bEver] = bEverT.raw()
	for mo, v := range mot {
		mo.v = v / max(total, eps)
		e.motions = append(e.motions, mo)
	}
	sortMotions(e.motions)
	return e
}

func abs64(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}

// around returns the share of time of each class within reach quarters of the moment at, notes farther away counting less.
func (m *Music) around(at, reach float64) []weight {
	var t tally
	lo, hi := m.within(at-reach, at+reach)
	for i := lo; i < hi; i++ {
		n := &m.notes[i]
		f, u := max(n.on, at-reach), min(n.off, at+reach)
		if u > f {
			t.add(n.lof, u-f)
		}
	}
	return t.shares()
}

// barOf returns the bounds of the bar that holds the moment at.
func (m *Music) barOf(at float64) (from, to float64) {
	i := sort.SearchFloat64s(m.bars, at+eps) - 1
	if i < 0 || i+1 >= len(m.bars) {
		return at, at
	}
	return m.bars[i], m.bars[i+1]
}

// stretch returns the share of time of each class in [a, b), the lowest note struck in it and the lowest that the left hand strikes
// on a beat, -1 for none.
func (m *Music) stretch(a, b float64) (all []weight, low, left int) {
	var t tally
	low, left = -1, -1
	lo, hi := m.within(a, b)
	for i := lo; i < hi; i++ {
		n := &m.notes[i]
		if n.off <= a+eps {
			continue
		}
		t.add(n.lof, min(n.off, b)-max(n.on, a))
		if n.on < a-eps {
			continue
		}
		if low < 0 || n.midi < m.notes[low].midi {
			low = i
		}
		if n.left && n.metric >= .5 && (left < 0 || n.midi < m.notes[left].midi) {
			left = i
		}
	}
	return t.shares(), low, left
}

// Evidence weighs each span in turn. Spans must be in order; they may overlap or leave gaps.
func (m *Music) evidence(spans []Span) []*evidence {
	tallies := make([]*spanTally, len(spans))
	for i, s := range spans {
		tallies[i] = m.tallySpan(s.From.Float(), s.To.Float())
	}
	at := func(i int) *spanTally {
		if i < 0 || i >= len(spans) {
			return nil
		}
		return tallies[i]
	}
	out := make([]*evidence, len(spans))
	for i, s := range spans {
		nextA := s.To.Float()
		if i+1 < len(spans) {
			nextA = spans[i+1].From.Float()
		}
		out[i] = m.gather(s.From.Float(), s.To.Float(), at(i-2), at(i-1), at(i+1), at(i+2), nextA)
	}
	return out
}
