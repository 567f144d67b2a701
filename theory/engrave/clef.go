package engrave

import (
	"math"

	"plumbline/theory/score"
)

// middle returns the diatonic height (see pitch.Pitch.Step) of a clef's middle line.
func middle(c Clef) int {
	switch c {
	case Bass:
		return 22 // D3
	case Alto:
		return 28 // C4
	case Tenor:
		return 26 // A3
	}
	return 34 // B4
}

// A clefAt is a clef in force from a moment on. Bar is the one that begins there, if one does.
type clefAt struct {
	at   Time
	bar  int
	clef Clef
}

// clefAt returns the clef in force for what stands at t in a bar.
func (m *music) clefAt(staff int, t Time, bar int) Clef {
	c := m.clefs[staff][0].clef
	for _, k := range m.clefs[staff][1:] {
		if t.Less(k.at) || t == k.at && bar < k.bar { // a grace note at the end of the bar before
			break
		}
		c = k.clef
	}
	return c
}

// chooseClefs finds the clefs of a staff that need the fewest ledger lines, where every change costs as much as a few of
// them: most within a bar, less at a barline. It weighs all ways at once (dynamic programming).
func (m *music) chooseClefs(staff int) {
	start := m.p.Bars[m.first].Start
	if c := m.o.Clefs[staff]; c > AutoClef && c <= Tenor {
		m.clefs[staff] = []clefAt{{start, m.first, c}}
		return
	}
	home := 0
	if m.hand[staff] == score.Left {
		home = 1
	}
	clefs := [2]Clef{Treble, Bass}
	type moment struct {
		at, until Time
		bar       int
		cost      [2]float64
		turn      float64 // the price of a change before it
	}
	var ms []moment
	sounding := Time{}
	for _, c := range m.chords {
		if c.staff != staff || c.rest {
			continue
		}
		if n := len(ms); n == 0 || ms[n-1].at != c.at || ms[n-1].bar != c.bar {
			mo := moment{at: c.at, bar: c.bar, turn: 14}
			b := m.p.Bars[c.bar]
			switch {
			case n == 0 || ms[n-1].bar != c.bar:
				mo.turn = 6
			case c.at.Less(sounding):
				mo.turn = math.Inf(1) // something is held on
			case c.at.Sub(b.Start).Add(b.Offset).Div(b.Meter.Beat()).Den() == 1:
				mo.turn = 9
			}
			if c.grace && c.after || c.beam != nil && c.beam.chords[0] != c || c.tuplet >= 0 && m.tuplets[c.tuplet].chords[0] != c {
				mo.turn = math.Inf(1)
			}
			ms = append(ms, mo)
		}
		mo := &ms[len(ms)-1]
		for k, clef := range clefs {
			worst := 0.0
			for _, h := range c.heads {
				if p := abs(h.step - middle(clef)); p > 5 {
					worst = math.Max(worst, ledgerCost((p-4)/2))
				}
			}
			// A long note is looked at longer; repeated short ones don't count each for itself.
			w := math.Max(.3, math.Min(1.4, math.Sqrt(c.length.Float())))
			if c.grace {
				w = .2
			}
			mo.cost[k] += worst * w
			if k != home {
				mo.cost[k] += .04
			}
		}
		sounding = sounding.Max(c.end())
	}
	var best [2]float64
	best[1-home] = 3
	from := make([][2]int, len(ms))
	for i, mo := range ms {
		var next [2]float64
		for k := range 2 {
			from[i][k] = k
			next[k] = best[k]
			if other := best[1-k] + mo.turn; i > 0 && other < next[k] {
				next[k], from[i][k] = other, 1-k
			}
			next[k] += mo.cost[k]
		}
		best = next
	}
	k := home
	if best[1-home] < best[home] {
		k = 1 - home
	}
	var changes []clefAt
	for i := len(ms) - 1; i >= 0; i-- {
		prev := from[i][k]
		if prev != k {
			at := ms[i].at
			// At the barline rather than behind a rest.
			if b := m.p.Bars[ms[i].bar]; i > 0 && ms[i-1].bar != ms[i].bar {
				at = b.Start
			}
			changes = append(changes, clefAt{at, ms[i].bar, clefs[k]})
		}
		k = prev
	}
	m.clefs[staff] = []clefAt{{start, m.first, clefs[k]}}
	for i := len(changes) - 1; i >= 0; i-- {
		m.clefs[staff] = append(m.clefs[staff], changes[i])
	}
}

// ledgerCost tells how ill n ledger lines can be read: two are nothing unusual, five are hard.
func ledgerCost(n int) float64 {
	return [...]float64{0, .05, .4, 1.5, 4, 8}[min(n, 5)] + 4*float64(max(n-5, 0))
}

// An ottava is a stretch of a staff written octaves lower (shift above 0) or higher than it sounds.
type ottava struct {
	shift    int // in steps
	from, to *chord
}

// chooseOttava puts notes under an 8va that would need five ledger lines or more, with their neighbours that lie high, too; below
// the bass clef it is 8vb, from six on (Gould, Behind Bars: to spare ledger lines; how many is our choice).
func (m *music) chooseOttava(staff int) {
	type moment struct {
		chords  []*chord
		lo, hi  int
		at, end Time
	}
	var ms []moment
	for _, c := range m.chords {
		if c.staff != staff || c.rest {
			continue
		}
		mid := middle(m.clefAt(staff, c.at, c.bar))
		lo, hi := c.heads[0].step-mid, c.heads[len(c.heads)-1].step-mid
		if n := len(ms); n > 0 && (ms[n-1].at == c.at || c.at.Less(ms[n-1].end)) {
			mo := &ms[n-1]
			mo.chords = append(mo.chords, c)
			mo.lo, mo.hi, mo.end = min(mo.lo, lo), max(mo.hi, hi), mo.end.Max(c.end())
			continue
		}
		ms = append(ms, moment{[]*chord{c}, lo, hi, c.at, c.end()})
	}
	for side := range 2 {
		sign := 1 - 2*side
		far := func(mo moment) (near, far int) {
			if sign > 0 {
				return mo.lo, mo.hi
			}
			return -mo.hi, -mo.lo
		}
		// joins reports whether a moment goes under the line of its neighbour: it lies high, or high enough and in the same bar,
		// or hangs on the same beam.
		joins := func(mo, next moment) bool {
			n, f := far(mo)
			a, b := mo.chords[0], next.chords[0]
			return n >= 4 && (f >= 11 || f >= 8 && a.bar == b.bar) || n >= 0 && a.beam != nil && a.beam == b.beam
		}
		for i := 0; i < len(ms); {
			// From one that needs it over those between, none of them low, to the last that does before a whole note's time without.
			if n, f := far(ms[i]); f < 15 || n < 4 {
				i++
				continue
			}
			j, high := i+1, 0
			for k := i; k < len(ms); k++ {
				n, f := far(ms[k])
				if n < 4 || score.Quarters(4).Less(ms[k].at.Sub(ms[j-1].at)) {
					break
				}
				if f >= 15 {
					j, high = k+1, max(high, f)
				}
			}
			// Those beside them that lie high, too.
			for ; i > 0 && (len(m.ottavas[staff]) == 0 || ms[i-1].chords[0].ottava == 0); i-- {
				if !joins(ms[i-1], ms[i]) {
					break
				}
			}
			for ; j < len(ms); j++ {
				if !joins(ms[j], ms[j-1]) {
					break
				}
			}
			if high < 17 && (sign < 0 || j-i < 4) { // three notes alone aren't worth the sign
				i = j
				continue
			}
			octaves := min(3, max(1, (high-14+6)/7))
			if high < 22 {
				octaves = 1
			}
			o := ottava{shift: sign * 7 * octaves, from: ms[i].chords[0]}
			for _, mo := range ms[i:j] {
				for _, c := range mo.chords {
					c.ottava = o.shift
					o.to = c
				}
			}
			m.ottavas[staff] = append(m.ottavas[staff], o)
			i = j
		}
	}
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
