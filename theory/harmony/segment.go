package harmony

import (
	"cmp"
	"math"
	"slices"

	"plumbline/theory/score"
)

// What a change of chord between two beats is judged by.
const (
	gSame       = iota // probability that both beats are the same chord, each read by itself
	gSameRoot          // that both have the same root
	gMetric            // metric weight of the second beat
	gBassMoves         // fifths from the lowest note at the end of the first beat to that of the second; 9 if it stays
	gOld               // share of time in the second beat of classes that sound in the first
	gGone              // share of time in the first beat of classes that don't sound in the second
	gMember            // share of time in the second beat of members of the first beat's chord
	gMemberBack        // the other way round
	gSure              // probability of the first beat's chord
	gSureNext          // of the second beat's
	gStruck            // the left hand strikes the second beat
	gNotes             // notes struck in the second beat
	gSameAfter         // as gSame, of the second beat and the one after it
	gSameAround        // of the first beat and the one after the second
	gBar               // probability of the first beat's chord in its bar
	gBarNext           // of the second beat's chord in its bar
	gBarSame           // as gSame, of the bars; 1 within a bar
	gLength            // quarters of a beat
	gFit               // how well the chord of both beats as one span is known, against each alone
	gFitSame           // probability of the first beat's chord in both beats as one span
	gFitNext           // of the second beat's
	gWidth
)

// A chord of a beat: root and quality.
type rootQuality struct{ root, q int }

// beatChords are the chords of a beat with their probabilities, the likeliest first; nil for silence.
type beatChords []struct {
	rootQuality
	p float64
}

func (b beatChords) of(c rootQuality) float64 {
	for _, x := range b {
		if x.rootQuality == c {
			return x.p
		}
	}
	return 0
}

func (b beatChords) top() (rootQuality, float64) {
	if len(b) == 0 {
		return rootQuality{}, 0
	}
	return b[0].rootQuality, b[0].p
}

// alike returns the probability that both are the same chord, and the same root.
func alike(a, b beatChords) (chord, root float64) {
	for _, x := range a {
		for _, y := range b {
			if x.root == y.root {
				root += x.p * y.p
				if x.q == y.q {
					chord += x.p * y.p
				}
			}
		}
	}
	return chord, root
}

// grid is a passage cut into beats, each with its chords read by itself, with the next beat and within its bar.
type grid struct {
	units  []Span
	ev     []*evidence
	beat   []beatChords
	pair   []beatChords // with the beat before; nil for the first
	bar    []beatChords
	weight []float64 // metric
}

func (t *Tables) newGrid(m *Music) *grid {
	units, bars := beats(m.Passage)
	if len(units) == 0 || len(m.notes) == 0 {
		return nil
	}
	g := &grid{units: units}
	chords := func(spans []Span) ([]beatChords, []*evidence) {
		ev := m.evidence(spans)
		read := t.w.first(ev)
		read = t.again(soften(read, t.keys.keyPosterior(t.keys.emissions(ev, read))), ev)
		out := make([]beatChords, len(spans))
		for i, cs := range read {
			if len(ev[i].prof[pPresent]) == 0 {
				continue
			}
			for _, c := range cs {
				out[i] = append(out[i], struct {
					rootQuality
					p float64
				}{rootQuality{c.root, int(c.q)}, c.base})
			}
		}
		return out, ev
	}
	g.beat, g.ev = chords(units)
	var whole []Span
	of := make([]int, len(units))
	for i, b := range bars {
		if i == 0 || b != bars[i-1] {
			whole = append(whole, units[i])
		}
		of[i] = len(whole) - 1
		whole[of[i]].To = units[i].To
	}
	byBar, _ := chords(whole)
	// Pairs that overlap would be each other's neighbours, so they are read in two runs.
	g.pair = make([]beatChords, len(units))
	for start := 1; start <= 2; start++ {
		var spans []Span
		for i := start; i < len(units); i += 2 {
			spans = append(spans, Span{units[i-1].From, units[i].To})
		}
		read, _ := chords(spans)
		for k, r := range read {
			g.pair[start+2*k] = r
		}
	}
	for i, u := range units {
		g.bar = append(g.bar, byBar[of[i]])
		g.weight = append(g.weight, weightOf(m.Passage, u.From))
	}
	return g
}

// features fills in what speaks for a change of chord as beat i begins, i > 0.
func (g *grid) features(i int, x []float32) {
	clear(x)
	a, b := g.beat[i-1], g.beat[i]
	ea, eb := g.ev[i-1], g.ev[i]
	same, root := alike(a, b)
	x[gSame], x[gSameRoot] = float32(same), float32(root)
	x[gMetric] = float32(g.weight[i])
	x[gBassMoves] = 9
	if la, lb := ea.bass[bLowest], eb.bass[bLowest]; len(la) > 0 && len(lb) > 0 && la[0].lof != lb[0].lof {
		x[gBassMoves] = fifths(la[0].lof, lb[0].lof)
	}
	ca, pa := a.top()
	cb, pb := b.top()
	member := func(c rootQuality, lof int) bool { return role(c.q, lof-c.root) < memberRoles }
	for _, w := range eb.prof[pDuration] {
		if has(ea.prof[pPresent], w.lof) {
			x[gOld] += float32(w.v)
		}
		if pa > 0 && member(ca, w.lof) {
			x[gMember] += float32(w.v)
		}
	}
	for _, w := range ea.prof[pDuration] {
		if !has(eb.prof[pPresent], w.lof) {
			x[gGone] += float32(w.v)
		}
		if pb > 0 && member(cb, w.lof) {
			x[gMemberBack] += float32(w.v)
		}
	}
	x[gSure], x[gSureNext] = float32(pa), float32(pb)
	x[gStruck] = float32(len(eb.bass[bStruck]))
	x[gNotes] = float32(eb.notes)
	if i+1 < len(g.beat) {
		after, _ := alike(b, g.beat[i+1])
		around, _ := alike(a, g.beat[i+1])
		x[gSameAfter], x[gSameAround] = float32(after), float32(around)
	}
	x[gBar], x[gBarNext] = float32(g.bar[i-1].of(ca)), float32(g.bar[i].of(cb))
	x[gBarSame] = 1
	if g.weight[i] >= 1 {
		same, _ := alike(g.bar[i-1], g.bar[i])
		x[gBarSame] = float32(same)
	}
	x[gLength] = float32(g.units[i].To.Sub(g.units[i].From).Float())
	_, pp := g.pair[i].top()
	x[gFit] = float32(pp - max(pa, pb))
	x[gFitSame], x[gFitNext] = float32(g.pair[i].of(ca)), float32(g.pair[i].of(cb))
}

// Segment divides the passage into spans of one chord each: a chord may change at any beat. Each beat is read by itself, together
// with its neighbours and within its bar; a forest of small trees says how likely a change is between two beats, and the likeliest
// course of chords over the beats is found exactly (Viterbi). Stretches in which nothing sounds belong to the span before them. The
// spans cover the passage without gaps; a passage without bars or notes gives none.
func (t *Tables) Segment(m *Music) []Span {
	g := t.newGrid(m)
	if g == nil {
		return nil
	}
	return g.divide(t.change)
}

func (g *grid) divide(change *forest) []Span {
	// The states are the chords that are likely somewhere.
	seen := map[rootQuality]bool{}
	var states []rootQuality
	for i := range g.units {
		for _, src := range []beatChords{g.beat[i], g.bar[i], g.pair[i]} {
			for _, c := range src {
				if c.p > .03 && !seen[c.rootQuality] {
					seen[c.rootQuality] = true
					states = append(states, c.rootQuality)
				}
			}
		}
	}
	n := len(g.units)
	if len(states) == 0 {
		return []Span{{g.units[0].From, g.units[n-1].To}}
	}
	slices.SortFunc(states, func(a, b rootQuality) int { return cmp.Or(a.root-b.root, a.q-b.q) })
	best := make([]float64, len(states))
	next := make([]float64, len(states))
	from := make([][]int32, n)
	var x [gWidth]float32
	for i := range g.units {
		stay, move := 0.0, 0.0
		if i > 0 {
			stay, move = 0, -50 // no chord begins in silence, or where nothing is struck
			if g.beat[i] != nil && (len(g.ev[i].prof[pCount]) > 0 || g.beat[i-1] == nil) {
				g.features(i, x[:])
				odds := change.score(x[:])
				stay, move = -softplus(odds), -softplus(-odds)
			}
		}
		high := 0
		for k := range best {
			if best[k] > best[high] {
				high = k
			}
		}
		from[i] = make([]int32, len(states))
		for k, s := range states {
			next[k], from[i][k] = best[k]+stay, int32(k)
			// The chord that a change leads to is another one; a change to itself is no change.
			if v := best[high] + move; high != k && v > next[k] {
				next[k], from[i][k] = v, int32(high)
			}
			if g.beat[i] != nil {
				p := .4*g.beat[i].of(s) + .3*g.bar[i].of(s) + .15*g.pair[i].of(s)
				if i+1 < n {
					p += .15 * g.pair[i+1].of(s)
				}
				next[k] += chordTrust * math.Log(p+1e-3)
			}
		}
		best, next = next, best
	}
	k := 0
	for j := range best {
		if best[j] > best[k] {
			k = j
		}
	}
	path := make([]int, n)
	for i := n - 1; i >= 0; i-- {
		path[i] = k
		k = int(from[i][k])
	}
	var out []Span
	for i, u := range g.units {
		if i > 0 && path[i] == path[i-1] {
			out[len(out)-1].To = u.To
			continue
		}
		out = append(out, u)
	}
	return out
}

// chordTrust is how much the chord of a beat counts against the odds of a change. Neighbouring beats share their evidence, so it is
// less than 1.
const chordTrust = .7

// softplus returns log(1+e^x).
func softplus(x float64) float64 {
	if x > 30 {
		return x
	}
	return math.Log1p(math.Exp(x))
}

// learnChange grows the forest that says where chords change, from lessons whose spans follow one another.
func (t *Tables) learnChange(lessons []Lesson, trees int) *forest {
	ex := &examples{}
	for _, l := range lessons {
		g := t.newGrid(l.Music)
		if g == nil {
			continue
		}
		said := l.chordsAt(g.units)
		for i := 1; i < len(g.units); i++ {
			a, b := said[i-1], said[i]
			if a < 0 || b < 0 || g.beat[i] == nil {
				continue
			}
			x := make([]float32, gWidth)
			g.features(i, x)
			ex.x = append(ex.x, x)
			ca, cb := l.Chords[a], l.Chords[b]
			ex.right = append(ex.right, ca.Root != cb.Root || ca.Quality != cb.Quality)
			ex.weigh = append(ex.weigh, 1)
		}
	}
	return growth{trees: trees, rate: .1, l2: 5, least: 5, part: .5, seed: 6}.grow(ex)
}

// chordsAt returns the index of the span that holds the middle of each unit, -1 for none.
func (l Lesson) chordsAt(units []Span) []int {
	out := make([]int, len(units))
	j := 0
	for i, u := range units {
		mid := u.From.Add(u.To.Sub(u.From).Mul(1, 2))
		for j < len(l.Spans) && !mid.Less(l.Spans[j].To) {
			j++
		}
		out[i] = -1
		if j < len(l.Spans) && !mid.Less(l.Spans[j].From) {
			out[i] = j
		}
	}
	return out
}

// beats returns the beats of p as spans, with the index of the bar of each. What remains of a bar after its last whole beat is a
// beat too.
func beats(p *score.Passage) (units []Span, bars []int) {
	for i, b := range p.Bars {
		beat := b.Meter.Beat()
		if beat.Sign() <= 0 || b.Length.Sign() <= 0 {
			continue
		}
		at := b.Start
		if b.Offset.Sign() > 0 { // an upbeat: up to the next beat of the printed bar
			whole := b.Offset.Div(beat)
			if n := whole.Num() / whole.Den(); whole.Den() != 1 {
				first := b.Start.Add(beat.Mul(n+1, 1)).Sub(b.Offset)
				if first.Less(b.End()) {
					units, bars = append(units, Span{at, first}), append(bars, i)
					at = first
				}
			}
		}
		for at.Less(b.End()) && len(units) < 1<<20 {
			to := at.Add(beat).Min(b.End())
			units, bars = append(units, Span{at, to}), append(bars, i)
			at = to
		}
	}
	return units, bars
}

func weightOf(p *score.Passage, at score.Time) float64 {
	return metric(p, score.Note{Onset: at, Bar: p.BarAt(at)})
}
