package harmony

import (
	"math"

	"plumbline/theory/score"
)

// Costs of segmenting, in natural logarithms: of a change of chord on a downbeat, on another strong beat, on a weak beat. Set by
// eye on the corpus.
const (
	changeDown   = 1.2
	changeStrong = 2.2
	changeWeak   = 3.0
)

// Segment divides the passage into spans of one chord each: a chord may change at any beat, if the notes of the beats on both
// sides, alone and within their bars, say so more strongly than a change costs.
//
// Each beat is read by itself and each bar is read by itself; the likeliest course of chords over the beats is found exactly
// (Viterbi). Stretches in which nothing sounds belong to the span before them. The spans cover the passage without gaps; a
// passage without bars or notes gives none.
func (t *Tables) Segment(m *Music) []Span {
	units, bars := beats(m.Passage)
	if len(units) == 0 || len(m.notes) == 0 {
		return nil
	}
	type rq struct{ root, q int }
	soft := func(spans []Span) []map[rq]float64 {
		ev := m.evidence(spans)
		read := t.w.first(ev)
		read = t.again(soften(read, t.keys.keyPosterior(t.keys.emissions(ev, read))), ev)
		out := make([]map[rq]float64, len(spans))
		for i, cs := range read {
			if len(ev[i].prof[pPresent]) == 0 {
				continue
			}
			out[i] = map[rq]float64{}
			for _, c := range cs {
				out[i][rq{c.root, int(c.q)}] += c.base
			}
		}
		return out
	}
	byBeat := soft(units)
	var barSpans []Span
	barOf := make([]int, len(units))
	for i, b := range bars {
		if i == 0 || b != bars[i-1] {
			barSpans = append(barSpans, Span{units[i].From, units[i].To})
		}
		barOf[i] = len(barSpans) - 1
		barSpans[barOf[i]].To = units[i].To
	}
	byBar := soft(barSpans)
	// The states are the chords that are likely somewhere; at each beat those of its neighbourhood count.
	index := map[rq]int{}
	var states []rq
	em := make([][]float64, len(units))
	likely := make([][]int, len(units))
	for i := range units {
		for _, src := range []map[rq]float64{byBeat[i], byBar[barOf[i]]} {
			for s, p := range src {
				if p > .03 {
					if _, ok := index[s]; !ok {
						index[s] = 0
						states = append(states, s)
					}
				}
			}
		}
	}
	if len(states) == 0 {
		return []Span{{units[0].From, units[len(units)-1].To}}
	}
	sortStates(states, func(s rq) (int, int) { return s.root, s.q })
	for i, s := range states {
		index[s] = i
	}
	for i := range units {
		em[i] = make([]float64, len(states))
		if byBeat[i] == nil {
			continue // silence says nothing
		}
		for k, s := range states {
			p := .55*byBeat[i][s] + .45*byBar[barOf[i]][s]
			em[i][k] = math.Log(p + 2e-3)
			if p > .03 {
				likely[i] = append(likely[i], k)
			}
		}
	}
	best := append([]float64(nil), em[0]...)
	from := make([][]int32, len(units))
	for i := 1; i < len(units); i++ {
		top := 0
		for k := range best {
			if best[k] > best[top] {
				top = k
			}
		}
		cost := changeWeak
		switch w := weightOf(m.Passage, units[i].From); {
		case byBeat[i] == nil:
			cost = 50
		case w >= 1:
			cost = changeDown
		case w >= .7:
			cost = changeStrong
		}
		next := make([]float64, len(best))
		from[i] = make([]int32, len(best))
		for k := range best {
			next[k], from[i][k] = best[k], int32(k)
			if v := best[top] - cost; v > next[k] {
				next[k], from[i][k] = v, int32(top)
			}
			next[k] += em[i][k]
		}
		best = next
	}
	k := 0
	for j := range best {
		if best[j] > best[k] {
			k = j
		}
	}
	path := make([]int, len(units))
	for i := len(units) - 1; i >= 0; i-- {
		path[i] = k
		if i > 0 {
			k = int(from[i][k])
		}
	}
	var out []Span
	for i, u := range units {
		if i > 0 && path[i] == path[i-1] {
			out[len(out)-1].To = u.To
			continue
		}
		out = append(out, u)
	}
	return out
}

func sortStates[T any](s []T, key func(T) (int, int)) {
	for i := 1; i < len(s); i++ {
		for j := i; j > 0; j-- {
			a, b := key(s[j-1])
			c, d := key(s[j])
			if a < c || a == c && b <= d {
				break
			}
			s[j-1], s[j] = s[j], s[j-1]
		}
	}
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
