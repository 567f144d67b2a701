package harmony

// Tables are what the recognizer has learned.
type Tables struct {
	w *weights
}

// A Reading is one chord that a span may be, with its probability.
type Reading struct {
	Chord       Chord
	Probability float64
}

// most is how many readings of a span are kept.
const most = 12

// Read returns the readings of each span, the likeliest first, at most twelve. Spans must be in order of time; each is read
// between its neighbours.
func (t *Tables) Read(m *Music, spans []Span) [][]Reading {
	out := make([][]Reading, len(spans))
	for i, e := range m.evidence(spans) {
		cs := candidates(e)
		for j := range cs {
			features(e, &cs[j])
			t.w.score(e, &cs[j])
		}
		posterior(cs)
		rank(cs)
		for _, c := range cs[:min(len(cs), most)] {
			best := 0
			for j := 1; j < c.n; j++ {
				if c.by[j] > c.by[best] {
					best = j
				}
			}
			out[i] = append(out[i], Reading{Chord{classOf(c.root), c.q, classOf(c.root + intervalsOf[c.q][best])}, c.base})
		}
	}
	return out
}
