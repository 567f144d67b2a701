package engrave

import (
	"math"
	"slices"

	"plumbline/theory/key"
	"plumbline/theory/score"
)

// Lanes are rows of things that must not meet: the staves, then what stands between, over and under them.
const (
	laneUpper = iota
	laneLower
	laneDynamics
	laneAbove // chord symbols, tempo and the like
	laneFree  // the first of the rows of texts
)

// A column is a moment of a bar, or the barline at its end.
type column struct {
	at      Time
	bar     int // for a barline, the one it ends
	barline bool
	chords  [2][]*chord
	graces  [2][]*chord
	clef    [2]Clef // changed here
	repeat  bool    // a barline that ends a repeat
	key     *keyAt  // changed within the bar
	left    []float64
	right   []float64
	used    []bool
	gap     float64 // to the next column, where nothing else counts
	x       float64
	clefX   [2]float64
	keyX    float64
	stackX  [2]float64
	stacks  []int // indices into Options.Stacks
}

// A rod keeps two columns apart.
type rod struct {
	from, to int
	length   float64
}

// A grid is all columns of the region.
type grid struct {
	m      *music
	bars   [][]*column // the columns of each bar, the last one its barline
	lanes  int
	leads  []lead // what stands at the start of each bar
	items  []item
	headAt map[string]strandPoint
	spans  []placedSpan
}

// A lead is what stands at the start of a bar behind the barline.
type lead struct {
	keyFrom, keyTo key.Key
	key, meter     bool
	repeat         bool
}

const (
	clefScale = .78 // of a clef that changes
	base      = 2.35
	squeeze   = .55 // the least part of its natural gap that a column keeps
)

// columns builds the grid.
func (m *music) columns() *grid {
	g := &grid{m: m, headAt: map[string]strandPoint{}, lanes: laneFree, bars: make([][]*column, m.last-m.first), leads: make([]lead, m.last-m.first)}
	extra := m.moments()
	for i := range g.bars {
		bar := m.first + i
		b := m.p.Bars[bar]
		index := map[Time]*column{}
		var list []*column
		at := func(t Time) *column {
			if c := index[t]; c != nil {
				return c
			}
			c := &column{at: t, bar: bar}
			index[t] = c
			list = append(list, c)
			return c
		}
		end := &column{at: b.End(), bar: bar, barline: true}
		for s := range m.staves {
			for _, c := range m.byBar[i][s] {
				switch {
				case c.hidden || c.fill:
					continue
				case c.grace:
					col := end
					if c.at.Less(b.End()) {
						col = at(c.at)
					}
					col.graces[s] = append(col.graces[s], c)
					c.col = col
				default:
					col := at(c.at)
					col.chords[s] = append(col.chords[s], c)
					c.col = col
				}
			}
		}
		for len(extra) > 0 && extra[0].Less(b.End()) {
			if !extra[0].Less(b.Start) {
				at(extra[0])
			}
			extra = extra[1:]
		}
		if len(list) == 0 {
			at(b.Start)
		}
		slices.SortFunc(list, func(a, b *column) int { return a.at.Compare(b.at) })
		g.bars[i] = append(list, end)
	}
	for s := range m.staves {
		for _, k := range m.clefs[s][1:] {
			i := k.bar - m.first
			if k.at == m.p.Bars[k.bar].Start {
				if i > 0 {
					prev := g.bars[i-1]
					prev[len(prev)-1].clef[s] = k.clef
				}
				continue
			}
			for _, c := range g.bars[i] {
				if c.at == k.at && !c.barline {
					c.clef[s] = k.clef
				}
			}
		}
	}
	for n := range m.keys {
		k := &m.keys[n]
		i := k.bar - m.first
		if i < 0 || i >= len(g.bars) {
			continue
		}
		if k.at == m.p.Bars[k.bar].Start {
			g.leads[i].key, g.leads[i].keyFrom, g.leads[i].keyTo = true, k.from, k.to
			continue
		}
		for _, c := range g.bars[i] {
			if !c.barline && !c.at.Less(k.at) {
				c.key = k
				break
			}
		}
	}
	for i := 1; i < len(g.bars); i++ {
		a, b := m.p.Bars[m.first+i-1].Meter, m.p.Bars[m.first+i].Meter
		g.leads[i].meter = !a.Equal(b) && b.Beats > 0
	}
	for _, s := range m.p.Signs {
		if i := s.Bar - m.first; i >= 0 && i < len(g.leads) {
			switch s.Kind {
			case score.RepeatStart:
				g.leads[i].repeat = true
			case score.RepeatEnd:
				g.bars[i][len(g.bars[i])-1].repeat = true
			}
		}
	}
	for si, st := range m.o.Stacks {
		if c, _ := g.find(st.At, false); c != nil && !c.barline && c.at == st.At {
			c.stacks = append(c.stacks, si)
		}
	}
	g.annotate()
	for i := range g.bars {
		for _, c := range g.bars[i] {
			g.extent(c)
		}
	}
	g.gaps()
	return g
}

// moments returns all times at which something must stand although no note may begin there, in order.
func (m *music) moments() []Time {
	var out []Time
	for _, t := range m.o.Texts {
		out = append(out, t.At)
	}
	for _, s := range m.o.Spans {
		out = append(out, s.From, s.To)
	}
	for _, d := range m.p.Dynamics {
		out = append(out, d.At)
		if d.At.Less(d.Until) {
			out = append(out, d.Until)
		}
	}
	for _, d := range m.p.Pedals {
		out = append(out, d.At)
	}
	for _, h := range m.p.Harmonies {
		out = append(out, h.At)
	}
	for _, k := range m.keys {
		out = append(out, k.at)
	}
	for _, t := range m.p.Tempos {
		out = append(out, t.At)
	}
	slices.SortFunc(out, Time.Compare)
	return slices.Compact(out)
}

// extent finds how far a column reaches on each staff.
func (g *grid) extent(c *column) {
	for len(c.left) < g.lanes {
		c.left, c.right, c.used = append(c.left, 0), append(c.right, 0), append(c.used, false)
	}
	for s := range g.m.staves {
		c.used[s] = c.used[s] || c.barline || len(c.chords[s]) > 0 || len(c.graces[s]) > 0
		cl := arrange(c.chords[s])
		left := cl.left
		if c.repeat {
			left += 1.1
		}
		for _, si := range c.stacks {
			if h := g.m.o.Stacks[si].Hand; (h == 0 || h == g.m.hand[s]) && c.stacked(s) {
				left += .75
				c.stackX[s] = -left + .2
			}
		}
		// Grace notes from right to left: those before the note, then those after the one before.
		if n := len(c.graces[s]); n > 0 {
			left += .35
			for k := n - 1; k >= 0; k-- {
				gr := c.graces[s][k]
				gl := arrange([]*chord{gr})
				gr.off = -left - gl.right - .1
				left = -gr.off + gl.left + .25
				if k > 0 && c.graces[s][k-1].after && !gr.after {
					left += .5
				}
			}
		}
		if c.clef[s] != AutoClef {
			w := clefWidth(c.clef[s]) * clefScale
			c.clefX[s] = -left - .45 - w
			left += .45 + w
			c.used[s] = true
		}
		c.left[s], c.right[s] = left, cl.right
	}
	if c.key != nil {
		w := keyWidth(c.key.from, c.key.to)
		left := .5
		for s := range g.m.staves {
			left = math.Max(left, c.left[s]+.5)
		}
		c.keyX = -left - w
		for s := range g.m.staves {
			c.left[s], c.used[s] = left+w, true
		}
	}
}

// stacked reports whether two notes or more begin here on a staff.
func (c *column) stacked(s int) bool {
	n := 0
	for _, ch := range c.chords[s] {
		n += len(ch.heads)
	}
	return n > 1
}

// gaps gives each column its natural distance to the next (Gourlay 1987, from memory): a note of length d asks for
//
//	base * (1 + 0.6 log2(d / ref))
//
// and a gap in which only part of the shortest sounding note passes gets that part of it.
func (g *grid) gaps() {
	ref := score.T(1, 2)
	for _, c := range g.m.chords {
		if !c.rest && !c.grace && c.length.Sign() > 0 {
			ref = ref.Min(c.length)
		}
	}
	r := math.Max(ref.Float(), .125)
	psi := func(d float64) float64 { return base * math.Max(.6, 1+.6*math.Log2(d/r)) }
	for i, cols := range g.bars {
		for k := 0; k+1 < len(cols); k++ {
			span := cols[k+1].at.Sub(cols[k].at).Float()
			d := math.Inf(1)
			for s := range g.m.staves {
				for _, c := range g.m.byBar[i][s] {
					if !c.grace && !c.hidden && !c.fill && !cols[k].at.Less(c.at) && cols[k].at.Less(c.end()) {
						d = math.Min(d, c.length.Float())
					}
				}
			}
			switch {
			case span <= 0:
				cols[k].gap = .5
			case math.IsInf(d, 1):
				cols[k].gap = math.Max(psi(math.Min(span, 4)), base)
			case span > d:
				cols[k].gap = psi(span)
			default:
				cols[k].gap = psi(d) * span / d
			}
			cols[k].gap = math.Min(cols[k].gap, 14)
		}
		if len(cols) == 2 && cols[0].chords[0] == nil && cols[0].chords[1] == nil {
			cols[0].gap = math.Max(cols[0].gap, 6)
		}
	}
}

// leadWidth is how much room a lead needs after the barline.
func (g *grid) leadWidth(i int) float64 {
	l := g.leads[i]
	w := 0.0
	if l.key {
		w += .6 + keyWidth(l.keyFrom, l.keyTo)
	}
	if l.meter {
		w += .6 + meterWidth(g.m.p.Bars[g.m.first+i].Meter)
	}
	if l.repeat {
		w += 1.2
	}
	return w
}

// prefix is how much room a line needs before its first note: clef, signature and, where it is new, the meter.
func (g *grid) prefix(i int) float64 {
	w := .7 + 2.75 + .55
	if k := g.keyOf(i); k.Signature() != 0 {
		w += keyWidth(key.Key{}, k) + .5
	}
	if g.showsMeter(i) {
		w += meterWidth(g.m.p.Bars[g.m.first+i].Meter) + .6
	}
	if g.leads[i].repeat {
		w += 1.2
	}
	return w
}

func (g *grid) keyOf(i int) key.Key { return g.m.signatureAt(g.m.p.Bars[g.m.first+i].Start) }

func (g *grid) showsMeter(i int) bool {
	return (i == 0 || g.leads[i].meter) && g.m.p.Bars[g.m.first+i].Meter.Beats > 0
}

// suffix is how much room a line needs behind its last barline, to tell what changes on the next.
func (g *grid) suffix(last int) float64 {
	if last+1 >= len(g.bars) {
		return 0
	}
	l := g.leads[last+1]
	w := 0.0
	if l.key {
		w += .6 + keyWidth(l.keyFrom, l.keyTo)
	}
	if l.meter {
		w += .9 + meterWidth(g.m.p.Bars[g.m.first+last+1].Meter)
	}
	return w
}

const afterBarline = 1.15 // from a barline, or what stands behind it, to the first note

// nodes lays a row of bars out as one chain: a node for its start, then all columns. It returns the columns (nil for the
// start), the natural gap before each, and the rods.
func (g *grid) nodes(first, last int, start float64) (cols []*column, gaps []float64, rods []rod) {
	cols, gaps = append(cols, nil), append(gaps, 0)
	prevGap := 0.0
	right := start // of the start or the barline
	lastIn := make([]int, g.lanes)
	for l := range lastIn {
		lastIn[l] = -1
		if l < 2 {
			lastIn[l] = 0
		}
	}
	reach := make([]float64, g.lanes)
	reach[0], reach[1] = right, right
	for i := first; i <= last; i++ {
		for k, c := range g.bars[i] {
			n := len(cols)
			cols = append(cols, c)
			gaps = append(gaps, prevGap)
			prevGap = c.gap
			if k == 0 { // from the barline
				rods = append(rods, rod{n - 1, n, right + .9})
			} else {
				rods = append(rods, rod{n - 1, n, .45})
			}
			for l := range g.lanes {
				if l < len(c.used) && c.used[l] {
					if lastIn[l] >= 0 {
						pad := .42
						switch {
						case l >= laneDynamics:
							pad = .7
						case k == 0:
							pad = .62
							if c.left[l] == 0 {
								pad = afterBarline
							}
						case c.barline:
							pad = .65
						}
						rods = append(rods, rod{lastIn[l], n, reach[l] + c.left[l] + pad})
					}
					lastIn[l], reach[l] = n, c.right[l]
				}
			}
			if c.barline {
				w := .2
				if i+1 <= last {
					w += g.leadWidth(i + 1)
				}
				right = w
				reach[0], reach[1] = w, w
				prevGap = 0
			}
		}
	}
	// Texts end where the line does.
	for l := laneDynamics; l < g.lanes; l++ {
		if lastIn[l] >= 0 && lastIn[l] < len(cols)-1 {
			rods = append(rods, rod{lastIn[l], len(cols) - 1, reach[l]})
		}
	}
	index := map[*column]int{}
	for n, c := range cols {
		if c != nil {
			index[c] = n
		}
	}
	for _, s := range g.spans {
		a, b := s.clip(g, first, last)
		if a == nil || b == nil {
			continue
		}
		from, to := index[a], index[b]
		if from < to && s.width > 0 && s.startsIn(g, first, last) {
			w := s.width
			if s.kind == spanLouder || s.kind == spanSofter { // between the marks at its ends
				if l := s.row.lane; l < len(a.right) {
					w += a.right[l]
				}
				if l := s.row.lane; l < len(b.left) {
					w += b.left[l]
				}
			}
			rods = append(rods, rod{from, to, w})
		}
	}
	slices.SortStableFunc(rods, func(a, b rod) int { return a.to - b.to })
	return cols, gaps, rods
}

// solve places nodes with all gaps stretched by s, and returns the place of the last.
func solve(gaps []float64, rods []rod, s float64, x []float64) float64 {
	r := 0
	for n := range gaps {
		if n > 0 {
			x[n] = x[n-1] + gaps[n]*s
		} else {
			x[n] = 0
		}
		for r < len(rods) && rods[r].to == n {
			x[n] = math.Max(x[n], x[rods[r].from]+rods[r].length)
			r++
		}
	}
	return x[len(x)-1]
}

// A line is the bars of one system.
type line struct {
	first, last int // indices into grid.bars
	start       float64
	width       float64
	cols        []*column
}

// lines breaks the bars into lines of the given width in staff spaces, 0 for one line. All ways to break are weighed (dynamic
// programming): what counts is how far each line must be stretched or squeezed.
func (g *grid) lines(width float64) []line {
	n := len(g.bars)
	natural, least := make([]float64, n), make([]float64, n)
	for i := range n {
		_, gaps, rods := g.nodes(i, i, 0)
		x := make([]float64, len(gaps))
		natural[i] = solve(gaps, rods, 1, x) + g.leadWidth(i)
		least[i] = solve(gaps, rods, squeeze, x) + g.leadWidth(i)
	}
	var out []line
	if width <= 0 {
		out = []line{{first: 0, last: n - 1}}
	} else {
		best := make([]float64, n+1)
		from := make([]int, n+1)
		for j := 1; j <= n; j++ {
			best[j] = math.Inf(1)
			want, low := 0.0, 0.0
			for i := j - 1; i >= 0; i-- {
				want, low = want+natural[i], low+least[i]
				room := width - g.prefix(i) - g.suffix(j-1) - .2
				if low > room && i < j-1 {
					break
				}
				r := want / room
				cost := 0.0
				switch {
				case low > room:
					cost = 1000 * (low/room - 1)
				case r > 1:
					cost = 6*(r-1)*(r-1) + 8*(r-1)*(r-1)*(r-1)
				case j == n:
					cost = .3 * (1 - r) * (1 - r)
				default:
					cost = 3 * (1 - r) * (1 - r)
				}
				if c := best[i] + cost + .02; c < best[j] {
					best[j], from[j] = c, i
				}
			}
		}
		for j := n; j > 0; j = from[j] {
			out = append(out, line{first: from[j], last: j - 1})
		}
		slices.Reverse(out)
	}
	for k := range out {
		l := &out[k]
		l.start = g.prefix(l.first)
		tail := g.suffix(l.last)
		cols, gaps, rods := g.nodes(l.first, l.last, 0)
		x := make([]float64, len(cols))
		plain := solve(gaps, rods, 1, x)
		s := 1.0
		if width > 0 {
			room := width - l.start - tail - .2
			if k < len(out)-1 || plain > room || plain > .72*room {
				lo, hi := squeeze*.8, 12.0
				if solve(gaps, rods, lo, x) > room {
					hi = lo
				}
				for range 40 {
					s = (lo + hi) / 2
					if solve(gaps, rods, s, x) > room {
						hi = s
					} else {
						lo = s
					}
				}
				s = lo
			}
		}
		end := solve(gaps, rods, s, x)
		for n, c := range cols {
			if c != nil {
				c.x = l.start + x[n]
			}
		}
		l.cols = cols[1:]
		l.width = l.start + end + .2 + tail // the barline reaches .2 beyond its place
	}
	return out
}
