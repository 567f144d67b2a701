package harmony

import "plumbline/theory/key"

// Tables are what the recognizer has learned.
type Tables struct {
	w    *weights
	keys keyTables
}

// A Reading is one chord that a span may be, with its probability.
type Reading struct {
	Chord       Chord
	Probability float64
}

// most is how many readings of a span are kept.
const most = 12

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

// Read reads spans. They must be in order of time; each is read between its neighbours.
func (t *Tables) Read(m *Music, spans []Span) []Harmony {
	ev := m.evidence(spans)
	read := t.w.first(ev)
	path := t.keys.keyPath(t.keys.emissions(ev, read))
	out := make([]Harmony, len(spans))
	for i, cs := range read {
		out[i].Span = spans[i]
		out[i].Key = keyOf(path[i])
		for _, c := range cs {
			best := 0
			for j := 1; j < c.n; j++ {
				if c.by[j] > c.by[best] {
					best = j
				}
			}
			out[i].Readings = append(out[i].Readings, Reading{Chord{classOf(c.root), c.q, classOf(c.root + intervalsOf[c.q][best])}, c.base})
		}
	}
	return out
}
