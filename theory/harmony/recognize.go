package harmony

import (
	"math"
	"sort"

	"plumbline/theory/key"
)

// Tables are what the recognizer has learned.
type Tables struct {
	w         *weights
	keys      keyTables
	keyW      []float64
	second    []float64
	third     *forest
	judge     *forest
	change    *forest
	threshold float64 // log odds below which a claim fails
}

// A Reading is one chord that a span may be, with its probability.
type Reading struct {
	Chord       Chord
	Probability float64
}

// most is how many readings of a span are kept.
const most = 14

// first reads each span by itself and its neighbours' notes: the candidates, the likeliest first.
func (w *weights) first(ev []*evidence) [][]candidate {
	out := make([][]candidate, len(ev))
	for i, e := range ev {
		cs := candidates(e)
		for j := range cs {
			features(e, &cs[j])
			w.score(e, &cs[j])
			cs[j].feat = nil
		}
		posterior(cs)
		rank(cs)
		out[i] = cs[:min(len(cs), most)]
	}
	return out
}

// A Harmony is what a span is read as.
type Harmony struct {
	Span     Span
	Readings []Reading // the likeliest first, at most twelve; none if nothing sounds in or around the span
	Key      key.Key
}

// An Analysis is the reading of the spans of a passage, one between the others.
type Analysis struct {
	Music *Music
	Spans []Harmony

	tables *Tables
	ev     []*evidence
	read   [][]candidate
	path   []int
	soft   *soft // the first readings, as the second saw them
}

// Read reads spans. They must be in order of time; each is read between its neighbours.
func (t *Tables) Read(m *Music, spans []Span) *Analysis {
	ev := m.evidence(spans)
	return t.finish(m, spans, ev, t.w.first(ev))
}

// finish goes on from first readings.
func (t *Tables) finish(m *Music, spans []Span, ev []*evidence, read [][]candidate) *Analysis {
	first := soften(read, t.keys.keyPosterior(t.keys.emissions(ev, read)))
	read = t.again(first, ev)
	a := &Analysis{Music: m, Spans: make([]Harmony, len(spans)), tables: t, ev: ev, read: read, path: t.path(m, ev, read), soft: first}
	final := read
	if t.third != nil {
		final = a.weigh(t.third)
	}
	for i, cs := range final {
		a.Spans[i].Span = spans[i]
		a.Spans[i].Key = keyOf(a.path[i])
		for _, c := range cs {
			best := 0
			for j := 1; j < c.n; j++ {
				if c.by[j] > c.by[best] {
					best = j
				}
			}
			a.Spans[i].Readings = append(a.Spans[i].Readings, Reading{Chord{classOf(c.root), c.q, classOf(c.root + intervalsOf[c.q][best])}, c.base})
		}
	}
	return a
}

// A contender is one of the likeliest chords with their basses.
type contender struct {
	c, member int
	p         float64
}

// contenders are those of span i that the third reading decides between: the likeliest eight, none below a hundredth of the first.
func (a *Analysis) contenders(i int) []contender {
	var out []contender
	for ci := range a.read[i] {
		for m := 0; m < a.read[i][ci].n; m++ {
			out = append(out, contender{ci, m, a.read[i][ci].by[m]})
		}
	}
	sort.SliceStable(out, func(x, y int) bool { return out[x].p > out[y].p })
	n := 0
	for n < len(out) && n < 8 && out[n].p > .01*out[0].p {
		n++
	}
	return out[:n]
}

func (a *Analysis) chordOf(i int, x contender) Chord {
	c := &a.read[i][x.c]
	return Chord{classOf(c.root), c.q, classOf(c.root + intervalsOf[c.q][x.member])}
}

// weigh is the third reading: the contenders of the second are held against the notes as claims are.
func (a *Analysis) weigh(f *forest) [][]candidate {
	out := make([][]candidate, len(a.read))
	var x [jWidth]float32
	for i := range a.read {
		cs := append([]candidate(nil), a.read[i]...)
		con := a.contenders(i)
		mass, sum := 0.0, 0.0
		odds := make([]float64, len(con))
		for k, y := range con {
			a.claimFeatures(i, a.chordOf(i, y), x[:])
			odds[k] = y.p * math.Exp(f.score(x[:]))
			sum += odds[k]
			mass += y.p
		}
		for k, y := range con {
			cs[y.c].by[y.member] = mass * odds[k] / sum
		}
		for k := range cs {
			cs[k].base = 0
			for m := 0; m < cs[k].n; m++ {
				cs[k].base += cs[k].by[m]
			}
		}
		rank(cs)
		out[i] = cs
	}
	return out
}

// lost reports whether c has neither its root nor its third in span i, by sound, while another chord is there complete and without
// foreign notes and is the reading of the span beyond doubt.
func (a *Analysis) lost(i int, c Chord) bool {
	e := a.ev[i]
	for _, m := range intervalsOf[c.Quality][:2] {
		for _, w := range e.prof[pPresent] {
			if pcOf(w.lof) == pcOf(c.Root.Fifths()+m) {
				return false
			}
		}
	}
	rs := a.Spans[i].Readings
	if len(rs) == 0 || rs[0].Probability < .9 {
		return false
	}
	best := rs[0].Chord
	if len(e.prof[pPresent]) != len(best.Members()) {
		return false
	}
	for _, m := range best.Members() {
		if !has(e.prof[pPresent], m.Fifths()) {
			return false
		}
	}
	return true
}

// lostOdds are the log odds of such a claim.
const lostOdds = -8

// verdict returns the log odds that c is right of span i, and whether it holds outright.
func (a *Analysis) verdict(i int, c Chord) (odds float64, plain bool) {
	if c.Quality < 0 || int(c.Quality) >= qualities {
		return 0, false
	}
	if a.lost(i, c) {
		return lostOdds, false
	}
	var x [jWidth]float32
	a.claimFeatures(i, c, x[:])
	return a.tables.judge.score(x[:]), a.plain(i, c)
}

// Fails reports whether the claim that span i is c is wrong, by the threshold that the tables carry.
func (a *Analysis) Fails(i int, c Chord) bool {
	odds, plain := a.verdict(i, c)
	return !plain && odds < a.tables.threshold
}

// keyTrust is how much the learned key of a span counts against the tables of chords and notes. Spans side by side say much the same,
// and the experts' keys are long.
const keyTrust = .1

const closeTrust = 1.5

// path returns the course of keys that the readings, and what the source says, speak for. Of m only the hints are used; it may be nil.
// In a short passage an analyst names keys that would pass by in a whole piece, so that leaving one costs less.
func (t *Tables) path(m *Music, ev []*evidence, read [][]candidate) []int {
	em := t.keys.emissions(ev, read)
	if t.keyW != nil && len(ev) > 0 {
		var x [keyStates]float64
		for i, fs := range keyFeatures(ev, read) {
			keyScores(t.keyW, fs, &x)
			for s := range em[i] {
				em[i][s] += keyTrust * x[s]
			}
		}
	}
	if m != nil {
		m.hinted(ev, em)
	}
	// A close on a dominant seventh and the chord a fifth below says where the music has arrived.
	if n := len(read); n > 1 && len(read[n-1]) > 0 && len(read[n-2]) > 0 {
		v, i := &read[n-2][0], &read[n-1][0]
		if v.q == DominantSeventh && v.root == i.root+1 && (i.q == Major || i.q == Minor) {
			if s := 2*(i.root-firstTonic) + int(i.q); s >= 0 && s < keyStates {
				em[n-1][s] += closeTrust * v.base * i.base
			}
		}
	}
	k := t.keys
	k.change *= min(1, .25+float64(len(ev))/60)
	return k.keyPath(em)
}
