package engrave

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/written"
)

const (
	lineWidth    = .11
	barlineWidth = .15
	heavyWidth   = .5
	beamDepth    = .5
	beamPitch    = .76 // from one beam to the next
	margin       = 1.2
	staffGap     = 10.5 // between the middle lines of the two staves, at least
	braceRoom    = 1.6
)

// Staff draws the bars of p that r touches. It returns ErrNothing if there are none, and an error if a bar has too many notes at
// once to be laid out. Layout tells where everything stands.
func Staff(p *score.Passage, r score.Region, o Options) ([]byte, Layout, error) {
	if p == nil {
		return nil, Layout{}, ErrNothing
	}
	if o.Frame[0] > 0 && o.Frame[1] > 0 {
		return framed(p, r, o)
	}
	if !(o.Space > 0) {
		o.Space = 7
	}
	d, l, m, err := staff(p, r, &o)
	if err != nil {
		return nil, Layout{}, err
	}
	return m.finish(d, l, &o)
}

// framed finds the largest size at which the picture fits its frame.
func framed(p *score.Passage, r score.Region, o Options) ([]byte, Layout, error) {
	fw, fh := o.Frame[0], o.Frame[1]
	// From large to small; the first that fits is taken. A single system isn't blown up beyond a twentieth of the height.
	for space := fh / 22; ; space *= .93 {
		o.Space, o.Width = space, fw*.94
		d, l, m, err := staff(p, r, &o)
		if err != nil {
			return nil, Layout{}, err
		}
		if space < 2 || l.H*space <= fh*.94 && l.W*space <= fw*.98 {
			return m.finish(d, l, &o)
		}
	}
}

func (m *music) finish(d *drawing, l Layout, o *Options) ([]byte, Layout, error) {
	labels := map[string]string{}
	if o.Interactive {
		for _, c := range m.chords {
			for _, h := range c.heads {
				labels[m.headID(h)] = m.describe(c, h)
			}
		}
	}
	scale := o.Space / unit
	out := picture(d, l.W, l.H, o, scale, m.title(), m.desc(), labels)
	l.W, l.H, l.Scale = float64(whole(l.W)), float64(whole(l.H)), scale
	return out, l, nil
}

// staff draws in staff spaces.
func staff(p *score.Passage, r score.Region, o *Options) (*drawing, Layout, *music, error) {
	m, err := prepare(p, r, o)
	if err != nil {
		return nil, Layout{}, nil, err
	}
	g := m.columns()
	left := margin
	if m.staves == 2 {
		left += braceRoom
	}
	width := 0.0
	if o.Width > 0 {
		width = math.Max(o.Width/o.Space-left-margin, 12)
	}
	lines := g.lines(width)
	out := &drawing{}
	var l Layout
	y := margin
	for k := range lines {
		sys := g.system(&lines[k], k == 0)
		sys.d.shift(left, y-sys.top)
		top := y - sys.top
		for i := range sys.bars {
			b := sys.bars[i]
			b.X, b.Y, b.System = b.X+left, b.Y+top, k
			l.Bars = append(l.Bars, b)
		}
		l.Systems = append(l.Systems, System{Y: top - 2, H: sys.low + 4, First: m.first + lines[k].first, Last: m.first + lines[k].last})
		for id, q := range sys.heads {
			g.headAt[id] = strandPoint{q.add(point{left, top}), k}
		}
		out.prims = append(out.prims, sys.d.prims...)
		y = top + sys.bottom + 2.6
		l.W = math.Max(l.W, left+lines[k].width+margin)
		for _, pr := range sys.d.prims {
			l.W = math.Max(l.W, pr.box.x1+margin*.5)
		}
	}
	l.H = y - 2.6 + margin
	if o.Width > 0 {
		l.W = math.Max(l.W, o.Width/o.Space)
	}
	g.strands(out, l.Systems)
	prefix := cleanPrefix(o.Prefix)
	for i := range out.prims {
		pr := out.prims[i]
		if pr.kind == "" {
			continue
		}
		b := Box{X: pr.box.x0 * unit, Y: pr.box.y0 * unit, W: (pr.box.x1 - pr.box.x0) * unit, H: (pr.box.y1 - pr.box.y0) * unit, Kind: pr.kind, Note: -1, Bar: pr.bar, Text: pr.words, Shared: pr.shared}
		if pr.id != "" {
			b.ID, b.Note = prefix+pr.id, pr.note
		}
		l.Boxes = append(l.Boxes, b)
	}
	for i := range l.Bars {
		b := &l.Bars[i]
		b.X, b.Y, b.W, b.H = b.X*unit, b.Y*unit, b.W*unit, b.H*unit
	}
	for i := range l.Systems {
		l.Systems[i].Y, l.Systems[i].H = l.Systems[i].Y*unit, l.Systems[i].H*unit
	}
	return out, l, m, nil
}

func (m *music) headID(h head) string {
	id := m.ids[h.note]
	if h.piece > 0 {
		id += "-" + strconv.Itoa(h.piece+1)
	}
	return id
}

// A drawnSystem is one line, with y = 0 at the middle line of its upper staff.
type drawnSystem struct {
	d           *drawing
	top, bottom float64 // what it takes up
	low         float64 // the middle line of the lowest staff
	bars        []BarBox
	heads       map[string]point
}

// A skyline tells for each half space along a staff how far things reach up and down from its middle line.
type skyline struct{ up, down []float64 }

func newSkyline(width float64) *skyline {
	n := int(width*2) + 4
	s := &skyline{make([]float64, n), make([]float64, n)}
	for i := range n {
		s.up[i], s.down[i] = -2.1, 2.1
	}
	return s
}

func (s *skyline) span(x0, x1 float64) (int, int) {
	a, b := int(math.Floor(x0*2)), int(math.Ceil(x1*2))
	return min(max(a, 0), len(s.up)-1), min(max(b, 1), len(s.up))
}

func (s *skyline) put(r rect) {
	a, b := s.span(r.x0, r.x1)
	for i := a; i < b; i++ {
		s.up[i], s.down[i] = math.Min(s.up[i], r.y0), math.Max(s.down[i], r.y1)
	}
}

func (s *skyline) top(x0, x1 float64) float64 {
	a, b := s.span(x0, x1)
	y := math.Inf(1)
	for i := a; i < b; i++ {
		y = math.Min(y, s.up[i])
	}
	return math.Min(y, s.up[a])
}

func (s *skyline) bottom(x0, x1 float64) float64 {
	a, b := s.span(x0, x1)
	y := math.Inf(-1)
	for i := a; i < b; i++ {
		y = math.Max(y, s.down[i])
	}
	return math.Max(y, s.down[a])
}

// system draws one line.
func (g *grid) system(l *line, firstLine bool) *drawnSystem {
	m := g.m
	sys := &drawnSystem{heads: map[string]point{}}
	var ds [2]*drawing
	var sky [2]*skyline
	for s := range m.staves {
		ds[s] = &drawing{}
		g.staffLine(ds[s], l, s)
		sky[s] = newSkyline(l.width + 40)
		for i := range ds[s].prims {
			if p := ds[s].prims[i]; !p.under {
				sky[s].put(p.box)
			}
		}
		// Tuplets and ottava lines stand outside everything else.
		n := len(ds[s].prims)
		g.outside(ds[s], sky[s], l, s)
		for _, p := range ds[s].prims[n:] {
			sky[s].put(p.box)
		}
	}
	low := 0.0
	rows := &drawing{}
	if m.staves == 2 {
		low = g.between(rows, sky, l)
	}
	last := m.staves - 1
	sys.low = low
	lower := sky[last]
	if low > 0 {
		for i := range lower.up {
			lower.up[i] += low
			lower.down[i] += low
		}
		ds[1].shift(0, low)
	}
	g.outer(rows, sky[0], l, zoneAbove, 0)
	g.outer(rows, lower, l, zoneBelow, low)
	d := &drawing{}
	for s := range m.staves {
		d.prims = append(d.prims, ds[s].prims...)
	}
	d.prims = append(d.prims, rows.prims...)
	g.barlines(d, l, low, sys)
	g.numbers(d, sky[0], l, firstLine)
	sys.top, sys.bottom = -3.2, low+3.2
	for i := range d.prims {
		b := d.prims[i].box
		sys.top, sys.bottom = math.Min(sys.top, b.y0), math.Max(sys.bottom, b.y1)
	}
	sys.d = d
	for s := range m.staves {
		dy := float64(s) * low
		for i := l.first; i <= l.last; i++ {
			for _, c := range m.byBar[i][s] {
				for _, h := range c.heads {
					sys.heads[m.headID(h)] = point{c.x + h.dx + c.headWidth()/2, h.y() + dy}
				}
			}
		}
	}
	return sys
}

// staffLine draws what stands on one staff, but not tuplets and what lies outside.
func (g *grid) staffLine(d *drawing, l *line, s int) {
	m := g.m
	for y := -2; y <= 2; y++ {
		d.stroke(lineWidth, prim{class: "staff", under: true, bar: -1}, point{0, float64(y)}, point{l.width, float64(y)})
	}
	// The start: clef, signature, meter.
	first := m.first + l.first
	clef := m.clefAtStart(s, first)
	x := .7
	drawClef(d, clef, x, 1, first)
	x += 2.75 + .55
	if k := g.keyOf(l.first); k.Signature() != 0 {
		x = drawKey(d, key.Key{}, k, clef, x, first) + .5
	}
	if g.showsMeter(l.first) {
		drawMeter(d, m.p.Bars[first].Meter, x, first)
	}
	for i := l.first; i <= l.last; i++ {
		cols := g.bars[i]
		bar := m.first + i
		endCol := cols[len(cols)-1]
		if i+1 < len(g.bars) {
			x := endCol.x + .2
			clef := m.clefAtStart(s, bar+1)
			if g.leads[i+1].key {
				x = drawKey(d, g.leads[i+1].keyFrom, g.leads[i+1].keyTo, clef, x+.6, bar+1)
			}
			if g.leads[i+1].meter {
				drawMeter(d, m.p.Bars[bar+1].Meter, x+.6, bar+1)
			}
		}
		for _, c := range cols {
			if c.clef[s] != AutoClef {
				drawClef(d, c.clef[s], c.x+c.clefX[s], clefScale, bar)
			}
			if c.key != nil {
				drawKey(d, c.key.from, c.key.to, m.clefAt(s, c.at, bar), c.x+c.keyX, bar)
			}
			for _, ch := range c.chords[s] {
				ch.x = c.x + ch.shift
			}
			for _, ch := range c.graces[s] {
				ch.x = c.x + ch.off + ch.shift
			}
			for _, si := range c.stacks {
				if h := m.o.Stacks[si].Hand; (h == 0 || h == m.hand[s]) && c.stacked(s) {
					g.stack(d, c, s, bar)
				}
			}
		}
	}
	for i := l.first; i <= l.last; i++ {
		list := m.byBar[i][s]
		done := map[*beam]bool{}
		for _, c := range list {
			if c.rest || c.beam == nil || done[c.beam] {
				continue
			}
			done[c.beam] = true
			c.beam.slant()
		}
		for j, c := range list {
			switch {
			case c.hidden:
			case c.fill:
				cols := g.bars[i]
				from := l.start
				if i > l.first {
					prev := g.bars[i-1]
					from = prev[len(prev)-1].x + g.leadWidth(i)
				}
				d.use(gRestWhole, (from+cols[len(cols)-1].x)/2-.575, 0, 1, prim{kind: KindRest, bar: c.bar})
			case c.rest:
				g.rest(d, c)
			default:
				g.chord(d, c, list[:j])
			}
		}
		done = map[*beam]bool{}
		for _, c := range list {
			if c.beam != nil && !done[c.beam] {
				done[c.beam] = true
				g.beam(d, c.beam)
			}
		}
	}
	g.drawTies(d, l, s)
}

func (m *music) clefAtStart(s, bar int) Clef { return m.clefAt(s, m.p.Bars[bar].Start, bar) }

func (g *grid) rest(d *drawing, c *chord) {
	y := -float64(c.pos) / 2
	name := c.restGlyph()
	d.use(name, c.x, y, 1, prim{kind: KindRest, bar: c.bar})
	b := glyphs()[name].box
	if (name == gRestWhole || name == gRestHalf) && (c.pos >= 6 || c.pos <= -6 || name == gRestWhole && c.pos == 4 && false) {
		d.stroke(lineWidth, prim{bar: c.bar}, point{c.x - .3, y - map[bool]float64{true: 1, false: 0}[name == gRestWhole]}, point{c.x + b.x1 + .3, y - map[bool]float64{true: 1, false: 0}[name == gRestWhole]})
	}
	for k := range c.dots {
		d.use(gDot, c.x+b.x1+dotGap+.55*float64(k), y-.5, 1, prim{kind: KindDot, bar: c.bar})
	}
}

// chord draws heads, accidentals, dots, ledger lines, stem, flag and marks. Others are the chords of the bar drawn before.
func (g *grid) chord(d *drawing, c *chord, others []*chord) {
	m := g.m
	w := c.headWidth()
	ledgers := map[int][2]float64{}
	for k := range c.heads {
		h := &c.heads[k]
		id := m.headID(*h)
		x := c.x + h.dx
		shared := false
		for _, o := range others {
			if o.rest || o.col != c.col || o.staff != c.staff || o.grace != c.grace {
				continue
			}
			for j := range o.heads {
				shared = shared || o.shift == c.shift && shares(o, c, j, k)
			}
		}
		class := ""
		if c.cue {
			class = "cue"
		}
		d.use(c.glyph(), x, h.y(), c.size, prim{id: id, note: h.note, kind: KindHead, bar: c.bar, shared: shared, class: class})
		if h.sign != "" {
			g.sign(d, c, h, id)
		}
		for _, q := range h.dots {
			d.use(gDot, c.x-c.shift+q.x, q.y, 1, prim{id: id, note: h.note, kind: KindDot, bar: c.bar})
		}
		for p := 6; p <= abs(h.pos); p += 2 {
			q := p
			if h.pos < 0 {
				q = -p
			}
			r, ok := ledgers[q]
			if !ok {
				r = [2]float64{x, x + w}
			}
			ledgers[q] = [2]float64{math.Min(r[0], x), math.Max(r[1], x+w)}
		}
		g.mark(d, c, h, id)
	}
	var at []int
	for q := range ledgers {
		at = append(at, q)
	}
	slices.Sort(at)
	for _, q := range at {
		r := ledgers[q]
		out := .34 * c.size
		d.stroke(.13, prim{bar: c.bar, under: true}, point{r[0] - out, -float64(q) / 2}, point{r[1] + out, -float64(q) / 2})
	}
	if !c.stemmed() {
		return
	}
	x := c.x + c.stemX()
	from := -float64(c.inner()) / 2
	from += -.14 * float64(c.dir) * c.size
	if c.beam == nil {
		c.tip = c.freeTip()
	} else {
		c.tip = c.beam.at(x)
	}
	d.stroke(stemWidth, prim{class: "stem", kind: KindStem, bar: c.bar}, point{x, from}, point{x, c.tip})
	if c.beam == nil && c.flags() > 0 {
		d.use(flagName(c.flags(), c.dir > 0), x-stemWidth/2+.02, c.tip, c.size, prim{kind: KindFlag, bar: c.bar})
	}
	if c.slash && c.grace && (c.beam == nil || c.beam.chords[0] == c) {
		y := c.tip + float64(c.dir)*.9*c.size*1.2
		up := float64(c.dir)
		d.stroke(.1, prim{bar: c.bar}, point{x - .55, y + .35*up}, point{x + .75, y - .55*up})
	}
}

// freeTip returns where the stem of an unbeamed chord ends: an octave out, farther for many flags, and never short of the
// middle line.
func (c *chord) freeTip() float64 {
	long := 3.5
	if f := c.flags(); f > 2 {
		long += .74 * float64(f-2)
	}
	y := -float64(c.outer())/2 - float64(c.dir)*long*c.size
	if !c.grace && (c.dir > 0 && y > 0 || c.dir < 0 && y < 0) {
		y = 0
	}
	return y
}

func (g *grid) sign(d *drawing, c *chord, h *head, id string) {
	x := c.x - c.shift + h.signX
	p := prim{id: id, note: h.note, bar: c.bar}
	if !h.paren {
		p.kind = KindAccidental
		d.use(h.sign, x, h.y(), c.size, p)
		return
	}
	s := c.size * .82
	b := signBox(h, c.size).moved(x, h.y())
	w := glyphs()[h.sign].box.x1
	d.use(gParenLeft, x, h.y(), s, p)
	d.use(gParenRight, x+(w+parenWidth)*s, h.y(), s, p)
	p.kind = KindAccidental
	d.use(h.sign, x+parenWidth*s, h.y(), s, p)
	d.prims[len(d.prims)-1].box = b
}

// mark draws the marks of a head, and its label.
func (g *grid) mark(d *drawing, c *chord, h *head, id string) {
	w := c.headWidth()
	q := point{c.x + h.dx + w/2, h.y()}
	for i, sh := range h.marks {
		r := .92 + .22*float64(i) // half its width
		v := r - .2               // half its height: little enough for a chord in thirds to be read
		p := prim{id: id, note: h.note, bar: c.bar, kind: KindMark, class: "mark mark-" + sh.String(), ink: markInk[sh], words: sh.String(), round: true}
		switch sh {
		case Ring:
			var pts []point
			for k := 0; k <= 24; k++ {
				sin, cos := math.Sincos(float64(k) * math.Pi / 12)
				pts = append(pts, point{q.x + r*cos, q.y + (r-.18)*sin})
			}
			d.stroke(.16, p, pts...)
		case Square:
			d.stroke(.16, p, point{q.x - r, q.y - v}, point{q.x + r, q.y - v}, point{q.x + r, q.y + v}, point{q.x - r, q.y + v}, point{q.x - r, q.y - v})
		case Diamond:
			r *= 1.28
			d.stroke(.16, p, point{q.x - r, q.y}, point{q.x, q.y - r*.78}, point{q.x + r, q.y}, point{q.x, q.y + r*.78}, point{q.x - r, q.y})
		case Caret:
			d.stroke(.18, p, point{q.x - r - .45, q.y - .5}, point{q.x - r + .15, q.y}, point{q.x - r - .45, q.y + .5})
		case Bars:
			d.stroke(.24, p, point{q.x - r, q.y - .6}, point{q.x - r, q.y + .6})
			d.stroke(.24, p, point{q.x + r, q.y - .6}, point{q.x + r, q.y + .6})
		default:
			p.dash = "28 22"
			p.round = false
			d.stroke(.14, p, point{q.x - r, q.y - v}, point{q.x + r, q.y - v}, point{q.x + r, q.y + v}, point{q.x - r, q.y + v}, point{q.x - r, q.y - v})
		}
	}
}

// labels writes the labels beside the notes of a column, one over the other.
func (g *grid) labels(d *drawing, c *column, s int) {
	type lab struct {
		c *chord
		h *head
		y float64
	}
	var list []lab
	for _, ch := range c.chords[s] {
		for k := range ch.heads {
			if h := &ch.heads[k]; h.label != "" {
				list = append(list, lab{ch, h, h.y()})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b lab) int { return cmp.Compare(a.y, b.y) })
	const high = labelSize * 1.05
	// Push apart, then centre each run on the notes it belongs to.
	for round := 0; round < 8; round++ {
		for i := 1; i < len(list); i++ {
			if gap := list[i].y - list[i-1].y; gap < high {
				list[i-1].y -= (high - gap) / 2
				list[i].y += (high - gap) / 2
			}
		}
	}
	for i := 1; i < len(list); i++ {
		list[i].y = math.Max(list[i].y, list[i-1].y+high)
	}
	for _, n := range list {
		x := c.x + n.h.labelX
		d.write(n.h.label, x, n.y+labelSize*.32, labelStyle, false, prim{id: g.m.headID(*n.h), note: n.h.note, bar: c.bar, kind: KindLabel, class: "label"})
		d.prims[len(d.prims)-1].box = rect{x, n.y - high/2 + .01, x + labelStyle.width(n.h.label), n.y + high/2 - .01}
		if math.Abs(n.y-n.h.y()) > .4 {
			right := n.c.x + n.h.dx + n.c.headWidth() + .15
			d.stroke(.07, prim{bar: c.bar, class: "leader"}, point{right, n.h.y()}, point{x - .08, n.y})
		}
	}
}

func (g *grid) stack(d *drawing, c *column, s, bar int) {
	lo, hi := 1000, -1000
	for _, ch := range c.chords[s] {
		for _, h := range ch.heads {
			lo, hi = min(lo, h.pos), max(hi, h.pos)
		}
	}
	if lo > hi {
		return
	}
	x := c.x + c.stackX[s]
	y0, y1 := -float64(hi)/2-.4, -float64(lo)/2+.4
	d.stroke(.16, prim{bar: bar, class: "stack", kind: KindMark, words: "stack"}, point{x + .4, y0}, point{x, y0}, point{x, y1}, point{x + .4, y1})
}

// slant finds the line of a beam: it follows the outer heads of its ends, gently, lies flat where inner heads stand out, and
// leaves every stem long enough.
func (b *beam) slant() {
	f, l := b.chords[0], b.chords[len(b.chords)-1]
	dir := float64(b.dir)
	size := f.size
	x0, x1 := f.x+f.stemX(), l.x+l.stemX()
	y := func(c *chord) float64 { return -float64(c.outer()) / 2 }
	dy := y(l) - y(f)
	most := math.Min(1.25, math.Abs(x1-x0)*.16)
	if len(b.chords) == 2 {
		most = math.Min(1.0, math.Abs(x1-x0)*.2)
	}
	slope := math.Max(-most, math.Min(most, dy*.5))
	for _, c := range b.chords[1 : len(b.chords)-1] {
		if (y(c)-y(f))*dir <= 0 && (y(c)-y(l))*dir <= 0 && math.Abs(dy) < 3 && (y(c) != y(f) && y(c) != y(l)) {
			slope = 0
		}
	}
	if dy == 0 {
		slope = 0
	}
	levels := 1
	for _, c := range b.chords {
		levels = max(levels, c.flags())
	}
	need := (3.1 + .35*float64(levels-1)) * size
	if levels > 2 {
		need += .3 * float64(levels-2) * size
	}
	// The least shift that gives every stem its length.
	at := math.Inf(-1)
	for _, c := range b.chords {
		k := 0.0
		if x1-x0 > .01 {
			k = (c.x + c.stemX() - x0) / (x1 - x0)
		}
		n := need
		if c != f && c != l {
			n -= .45 * size
		}
		// the beam's height above the head, measured in the stem's direction
		at = math.Max(at, -dir*y(c)+n+dir*slope*k)
	}
	b.y0 = -dir * at
	if size == 1 { // not short of the middle line
		if b.dir > 0 {
			b.y0 = math.Min(b.y0, math.Min(0, -slope)+.0)
		} else {
			b.y0 = math.Max(b.y0, math.Max(0, -slope))
		}
	}
	b.y1 = b.y0 + slope
}

// breaks reports whether only one beam joins the i-th chord to the next: between eighths, where there are notes shorter than a
// sixteenth.
func (b *beam) breaks(i int, m *music) bool {
	if b.chords[0].grace {
		return false
	}
	short := false
	for _, c := range b.chords {
		if c.tuplet >= 0 {
			return false
		}
		short = short || c.flags() > 2
	}
	bar := m.p.Bars[b.chords[i].bar]
	eighth := func(c *chord) int64 { return floor(c.at.Sub(bar.Start).Add(bar.Offset).Div(score.T(1, 2))) }
	return short && eighth(b.chords[i]) != eighth(b.chords[i+1])
}

// beam draws the beams of a group.
func (g *grid) beam(d *drawing, b *beam) {
	n := len(b.chords)
	size := b.chords[0].size
	depth, pitch := beamDepth*size, beamPitch*size
	x := func(i int) float64 { return b.chords[i].x + b.chords[i].stemX() }
	flags := func(i int) int {
		if i < 0 || i >= n {
			return 0
		}
		return b.chords[i].flags()
	}
	segment := func(x0, x1 float64, level int) {
		off := float64(level) * pitch * float64(b.dir)
		far := depth * float64(b.dir)
		o := outline{lines(point{x0, b.at(x0) + off}, point{x1, b.at(x1) + off}, point{x1, b.at(x1) + off + far}, point{x0, b.at(x0) + off + far})}
		d.fill(o, prim{kind: KindBeam, bar: b.chords[0].bar})
	}
	half := stemWidth / 2
	for level := range 6 {
		for i := 0; i < n; {
			if flags(i) <= level {
				i++
				continue
			}
			j := i
			for j+1 < n && flags(j+1) > level && !(level > 0 && b.breaks(j, g.m)) {
				j++
			}
			if j > i {
				segment(x(i)-half, x(j)+half, level)
			} else {
				const hook = 1.15
				c := b.chords[i]
				right := i == 0 || level > 0 && b.breaks(i-1, g.m)
				if !right && i < n-1 && !(level > 0 && b.breaks(i, g.m)) {
					// towards the note it shares a beat with: the dotted one
					right = b.chords[i-1].dots == 0 && b.chords[i+1].dots > 0
				}
				if right {
					segment(x(i)-half, x(i)+hook*c.size, level)
				} else {
					segment(x(i)-hook*c.size, x(i)+half, level)
				}
			}
			i = j + 1
		}
	}
}

// drawTies draws the ties that begin, end or pass in a line.
func (g *grid) drawTies(d *drawing, l *line, s int) {
	m := g.m
	in := func(c *chord) bool { return c != nil && c.bar-m.first >= l.first && c.bar-m.first <= l.last }
	for _, t := range m.ties {
		ref, k := t.from, t.fromHead
		if ref == nil {
			ref, k = t.to, t.toHead
		}
		if !in(t.from) && !in(t.to) {
			continue
		}
		// Cut at the end of a line: both parts are drawn, each with its own staff.
		if in(t.from) && t.from.staff == s {
			x0 := t.from.x + t.from.heads[t.fromHead].dx + t.from.headWidth() + .12
			if ds := t.from.heads[t.fromHead].dots; len(ds) > 0 {
				x0 = t.from.x - t.from.shift + ds[len(ds)-1].x + .5
			}
			x1 := 0.0
			y := t.from.heads[t.fromHead].y()
			switch {
			case in(t.to) && t.to.staff == s:
				x1 = t.to.x + t.to.heads[t.toHead].dx - .12
				if t.to.grace {
					break
				}
			case t.to == nil || in(t.to):
				x1 = x0 + 2
				if c := t.from.col; c != nil {
					cols := g.bars[t.from.bar-m.first]
					x1 = math.Min(x1, math.Max(x0+1, cols[len(cols)-1].x-.1))
				}
			default:
				x1 = l.cols[len(l.cols)-1].x + .2
			}
			g.drawTie(d, ref, k, x0, x1, y, t.from.bar)
		}
		if in(t.to) && t.to.staff == s && (t.from == nil || !in(t.from)) {
			h := t.to.heads[t.toHead]
			x1 := t.to.x + h.dx - .12
			x0 := math.Max(x1-2, math.Min(l.start-.1, x1-.7))
			if t.from != nil {
				x0 = math.Min(l.start-.2, x1-1.2)
			}
			if h.sign != "" {
				x1 = t.to.x + h.dx - .12
			}
			g.drawTie(d, t.to, t.toHead, x0, x1, h.y(), t.to.bar)
		}
	}
}

// tieSide returns on which side of its head a tie curves: away from the stem; in chords the upper ones up, the lower ones
// down.
func tieSide(c *chord, k int) float64 {
	n := len(c.heads)
	switch {
	case c.forced:
		return -float64(c.dir)
	case n == 1:
		return float64(c.dir)
	case 2*k+1 == n:
		if c.heads[k].pos >= 0 {
			return -1
		}
		return 1
	case 2*k >= n:
		return -1
	}
	return 1
}

func (g *grid) drawTie(d *drawing, c *chord, k int, x0, x1, y float64, bar int) {
	if x1-x0 < .7 {
		mid := (x0 + x1) / 2
		x0, x1 = mid-.4, mid+.4
	}
	side := tieSide(c, k)
	outer := k == 0 && side > 0 || k == len(c.heads)-1 && side < 0
	y += .22 * side
	if outer && (c.dir > 0) == (side > 0) || outer && !c.stemmed() {
		y += .22 * side
		x0, x1 = x0-.3, x1+.3
	}
	w := x1 - x0
	bow := math.Min(1.1, .32+.055*w) * side * 4 / 3
	thick := .2 * side
	a, b := point{x0, y}, point{x1, y}
	p1, p2 := point{x0 + w*.22, y + bow}, point{x1 - w*.22, y + bow}
	q1, q2 := point{x1 - w*.22, y + bow - thick}, point{x0 + w*.22, y + bow - thick}
	d.fill(outline{contour{a, p1, p2, b, q1, q2, a}.solid()}, prim{kind: KindTie, bar: bar})
}

// outside draws tuplets and ottava lines, which stand outside heads, stems and beams.
func (g *grid) outside(d *drawing, sky *skyline, l *line, s int) {
	m := g.m
	from := len(d.prims)
	for _, t := range m.tuplets {
		first, last := t.chords[0], t.chords[len(t.chords)-1]
		if first.staff != s || first.bar-m.first < l.first || first.bar-m.first > l.last {
			continue
		}
		g.tuplet(d, sky, t, first, last)
		for ; from < len(d.prims); from++ {
			sky.put(d.prims[from].box)
		}
	}
	for _, o := range m.ottavas[s] {
		a, b := o.from.bar-m.first, o.to.bar-m.first
		if b < l.first || a > l.last {
			continue
		}
		x0, x1 := o.from.x-.2, o.to.x+o.to.headWidth()+.6
		if a < l.first {
			x0 = l.start
		}
		if b > l.last {
			x1 = l.cols[len(l.cols)-1].x
		}
		name := map[int]string{7: "8va", 14: "15ma", 21: "22ma", -7: "8vb", -14: "15mb", -21: "22mb"}[o.shift]
		st := textStyle{size: 1.6, slanted: true}
		if a < l.first {
			name = "(" + name + ")"
		}
		w := st.width(name)
		x1 = math.Max(x1, x0+w+1)
		if o.shift > 0 {
			y := math.Min(sky.top(x0, x1), -2.6) - .5
			d.write(name, x0, y, st, false, prim{kind: KindSign, bar: o.from.bar})
			y -= .9
			pts := []point{{x0 + w + .2, y}, {x1, y}}
			d.stroke(.12, prim{dash: "50 40", bar: o.from.bar}, pts...)
			if b <= l.last {
				d.stroke(.12, prim{bar: o.from.bar}, point{x1, y}, point{x1, y + .8})
			}
		} else {
			y := math.Max(sky.bottom(x0, x1), 2.6) + 1.6
			d.write(name, x0, y, st, false, prim{kind: KindSign, bar: o.from.bar})
			d.stroke(.12, prim{dash: "50 40", bar: o.from.bar}, point{x0 + w + .2, y}, point{x1, y})
			if b <= l.last {
				d.stroke(.12, prim{bar: o.from.bar}, point{x1, y}, point{x1, y - .8})
			}
		}
		for ; from < len(d.prims); from++ {
			sky.put(d.prims[from].box)
		}
	}
	for i := l.first; i <= l.last; i++ {
		for _, c := range g.bars[i] {
			g.labels(d, c, s)
		}
	}
}

// tuplet draws the figure of a tuplet, with a bracket unless one beam shows what belongs to it.
func (g *grid) tuplet(d *drawing, sky *skyline, t *tuplet, first, last *chord) {
	dir, votes := 0, 0
	one := first.beam != nil
	for _, c := range t.chords {
		if !c.rest {
			votes += c.dir
			if c.forced {
				dir = c.dir
			}
		}
		one = one && c.beam == first.beam && !c.rest
	}
	if dir == 0 {
		dir = 1
		if votes < 0 {
			dir = -1
		}
	}
	if one {
		one = first.beam.chords[0] == first && first.beam.chords[len(first.beam.chords)-1] == last && t.inner == 0
	}
	x0, x1 := first.x-.1, last.x+last.headWidth()+.1
	if last.rest {
		x1 = last.x + glyphs()[last.restGlyph()].box.x1 + .1
	}
	text := strconv.Itoa(t.figure)
	const scale = .62
	w := figureWidth(text) * scale
	mid := (x0 + x1) / 2
	if one {
		dir = first.beam.dir
		a, b := first.x+first.stemX(), last.x+last.stemX()
		mid = (a + b) / 2
		y := 0.0
		if dir > 0 {
			y = math.Min(first.beam.at(mid), sky.top(mid-w/2-.1, mid+w/2+.1)) - .85
		} else {
			y = math.Max(first.beam.at(mid), sky.bottom(mid-w/2-.1, mid+w/2+.1)) + .85
		}
		drawFigure(d, text, mid-w/2, y, scale, prim{kind: KindTuplet, bar: first.bar})
		return
	}
	y := 0.0
	hook := .7
	if dir > 0 {
		y = math.Min(sky.top(x0, x1), -2) - 1 - .3*float64(min(t.inner, 1))
	} else {
		y = math.Max(sky.bottom(x0, x1), 2) + 1 + .3*float64(min(t.inner, 1))
		hook = -hook
	}
	p := prim{bar: first.bar, kind: KindTuplet}
	if x1-x0 < w+1.2 {
		drawFigure(d, text, mid-w/2, y, scale, prim{kind: KindTuplet, bar: first.bar})
		return
	}
	d.stroke(.12, p, point{x0, y + hook}, point{x0, y}, point{mid - w/2 - .3, y})
	d.stroke(.12, p, point{mid + w/2 + .3, y}, point{x1, y}, point{x1, y + hook})
	drawFigure(d, text, mid-w/2, y, scale, prim{kind: KindTuplet, bar: first.bar})
}

// figureWidth returns the width of a number set in figures two spaces high.
func figureWidth(s string) float64 {
	w := 0.0
	for _, r := range s {
		if g := glyphs()["d"+string(r)]; g != nil {
			w += g.box.x1 + .12
		}
	}
	return math.Max(w-.12, 0)
}

func drawFigure(d *drawing, s string, x, y, scale float64, p prim) {
	for _, r := range s {
		if g := glyphs()["d"+string(r)]; g != nil {
			d.use("d"+string(r), x, y, scale, p)
			x += (g.box.x1 + .12) * scale
		}
	}
}

// meterText returns the upper and the lower figure of a meter.
func meterText(m score.Meter) (up, down string) {
	up = strconv.Itoa(m.Beats)
	if len(m.Groups) > 0 {
		var parts []string
		for _, g := range m.Groups {
			parts = append(parts, strconv.Itoa(g))
		}
		up = strings.Join(parts, "+")
	}
	return up, strconv.Itoa(m.Unit)
}

func meterWidth(m score.Meter) float64 {
	up, down := meterText(m)
	return math.Max(figureWidth(up), figureWidth(down))
}

func drawMeter(d *drawing, m score.Meter, x float64, bar int) {
	up, down := meterText(m)
	w := meterWidth(m)
	const scale = .95 // so that the two don't touch on the middle line
	drawFigure(d, up, x+(w-figureWidth(up)*scale)/2, -1, scale, prim{kind: KindTime, bar: bar})
	drawFigure(d, down, x+(w-figureWidth(down)*scale)/2, 1, scale, prim{kind: KindTime, bar: bar})
}

func clefWidth(c Clef) float64 {
	switch c {
	case Bass:
		return glyphs()[gBass].box.x1
	case Alto, Tenor:
		return glyphs()[gAlto].box.x1
	}
	return glyphs()[gTreble].box.x1
}

func drawClef(d *drawing, c Clef, x, scale float64, bar int) {
	p := prim{kind: KindClef, bar: bar, words: c.String()}
	switch c {
	case Bass:
		d.use(gBass, x, -1, scale, p)
	case Alto:
		d.use(gAlto, x, 0, scale, p)
	case Tenor:
		d.use(gAlto, x, -1, scale, p)
	default:
		d.use(gTreble, x, 1, scale, p)
	}
}

// Places of the signs of a signature on the treble staff, in half spaces above the middle line, in their order.
var (
	sharpPlaces = [7]int{4, 1, 5, 2, -1, 3, 0} // F C G D A E B
	flatPlaces  = [7]int{0, 3, -1, 2, -2, 1, -3}
	sharpOrder  = [7]pitch.Letter{pitch.F, pitch.C, pitch.G, pitch.D, pitch.A, pitch.E, pitch.B}
)

const (
	keyStep        = 1.02
	keyNaturalStep = .82
)

// keySigns lists the signs of a change of signature: what is cancelled, then what holds (Gould, from memory: naturals only for
// what isn't replaced).
func keySigns(from, to key.Key) (naturals, signs []int, glyph []string) {
	a, b := max(-14, min(14, from.Signature())), max(-14, min(14, to.Signature()))
	for i := 0; i < min(abs(a), 7); i++ {
		if a*b > 0 && i < abs(b) {
			continue
		}
		if a > 0 {
			naturals = append(naturals, sharpPlaces[i])
		} else if a < 0 {
			naturals = append(naturals, flatPlaces[i])
		}
	}
	if a*b > 0 && abs(b) > abs(a) {
		naturals = nil
	}
	for i := 0; i < min(abs(b), 7); i++ {
		g := gSharp
		p := sharpPlaces[i]
		l := sharpOrder[i]
		if b < 0 {
			g, p, l = gFlat, flatPlaces[i], sharpOrder[6-i]
		}
		if al := to.InSignature(l); al > 1 || al < -1 {
			g = signGlyphs[max(-3, min(3, al))]
		}
		signs, glyph = append(signs, p), append(glyph, g)
	}
	return naturals, signs, glyph
}

func keyWidth(from, to key.Key) float64 {
	n, s, glyph := keySigns(from, to)
	w := keyNaturalStep * float64(len(n))
	if len(n) > 0 && len(s) > 0 {
		w += .3
	}
	for _, g := range glyph {
		w += signStep(g)
	}
	return w
}

func signStep(g string) float64 {
	switch g {
	case gSharp, gDblSharp:
		return keyStep
	case gFlat:
		return .92
	}
	return glyphs()[g].box.x1 + .1
}

// drawKey draws a signature and returns where it ends.
func drawKey(d *drawing, from, to key.Key, c Clef, x float64, bar int) float64 {
	naturals, signs, glyph := keySigns(from, to)
	y := func(pos int, flat bool) float64 {
		switch c {
		case Bass:
			pos -= 2
		case Alto:
			pos--
		case Tenor:
			pos++
			if !flat && pos > 4 {
				pos -= 7
			}
		}
		return -float64(pos) / 2
	}
	p := prim{kind: KindKey, bar: bar}
	for _, pos := range naturals {
		d.use(gNatural, x, y(pos, from.Signature() < 0), 1, p)
		x += keyNaturalStep
	}
	if len(naturals) > 0 && len(signs) > 0 {
		x += .3
	}
	for i, pos := range signs {
		d.use(glyph[i], x, y(pos, to.Signature() < 0), 1, p)
		x += signStep(glyph[i])
	}
	return x
}

// barlines draws the barlines of a line, the brace, and tells where the bars are.
func (g *grid) barlines(d *drawing, l *line, low float64, sys *drawnSystem) {
	m := g.m
	vertical := func(x, w float64) {
		d.stroke(w, prim{kind: KindBarline, bar: -1}, point{x, -2 - lineWidth/2}, point{x, low + 2 + lineWidth/2})
	}
	if m.staves == 2 {
		vertical(barlineWidth/2, barlineWidth)
		d.fill(brace(low+4).moved(-braceRoom+.05, -2, 1, 0), prim{bar: -1})
	}
	dots := func(x float64) {
		for s := range m.staves {
			for _, y := range []float64{-.5, .5} {
				d.use(gDot, x-.2, y+float64(s)*low, 1, prim{kind: KindSign, bar: -1})
			}
		}
	}
	from := 0.0
	for i := l.first; i <= l.last; i++ {
		cols := g.bars[i]
		end := cols[len(cols)-1].x
		start := g.leads[i].repeat
		if start && i == l.first {
			x := l.start - 1.1
			vertical(x+heavyWidth/2, heavyWidth)
			vertical(x+heavyWidth+.35, barlineWidth)
			dots(x + heavyWidth + .95)
		}
		next := i+1 <= l.last && g.leads[i+1].repeat
		lead := 0.0
		if next {
			lead = g.leadWidth(i+1) - 1.2
		}
		switch {
		case cols[len(cols)-1].repeat:
			dots(end - .95)
			vertical(end-.4, barlineWidth)
			vertical(end+.2-heavyWidth/2, heavyWidth)
			if next {
				vertical(end+.2+.35, barlineWidth)
				dots(end + .2 + .35 + .55)
			}
		case next && lead == 0:
			vertical(end+heavyWidth/2, heavyWidth)
			vertical(end+heavyWidth+.35, barlineWidth)
			dots(end + heavyWidth + .95)
		case next:
			vertical(end+.1, barlineWidth)
			x := end + .2 + lead + .2
			vertical(x+heavyWidth/2, heavyWidth)
			vertical(x+heavyWidth+.35, barlineWidth)
			dots(x + heavyWidth + .95)
		case m.first+i == len(m.p.Bars)-1:
			vertical(end-.55, barlineWidth)
			vertical(end+.2-heavyWidth/2, heavyWidth)
		case i+1 < len(g.bars) && g.leads[i+1].key:
			vertical(end-.25, barlineWidth)
			vertical(end+.12, barlineWidth)
		default:
			vertical(end+.2-barlineWidth/2, barlineWidth)
		}
		sys.bars = append(sys.bars, BarBox{X: from, Y: -2, W: end + .2 - from, H: low + 4, Bar: m.first + i})
		from = end + .2
	}
}

// numbers writes bar numbers over the staff.
func (g *grid) numbers(d *drawing, sky *skyline, l *line, firstLine bool) {
	m := g.m
	if m.o.Numbers == NumberNone {
		return
	}
	for i := l.first; i <= l.last; i++ {
		bar := m.first + i
		s := m.p.Bars[bar].Number
		if i > l.first && m.o.Numbers != NumberAll || bar == 0 && m.o.Numbers != NumberAll || s == "" || s == "0" {
			continue
		}
		x := .1
		if i > l.first {
			prev := g.bars[i-1]
			x = prev[len(prev)-1].x + .1
		}
		w := numberStyle.width(s)
		y := math.Min(sky.top(x-.2, x+w+.2), -2.3) - .45
		d.write(s, x, y, numberStyle, false, prim{kind: KindLabel, bar: bar, class: "bar-number"})
		sky.put(d.prims[len(d.prims)-1].box)
	}
}

// A strandPoint is where a head lies in the picture, and in which system.
type strandPoint struct {
	point
	system int
}

// strands draws the lines of strands from head to head; at the end of a system they run on into the margin.
func (g *grid) strands(d *drawing, systems []System) {
	m := g.m
	dashes := []string{"", "60 40", "14 34", "90 30 14 30"}
	for i, st := range m.o.Strands {
		var pts []strandPoint
		for _, n := range st.Notes {
			list := Heads(m.p, n)
			if len(list) == 0 {
				continue
			}
			if q, ok := g.headAt[m.ids[list[0]]]; ok {
				pts = append(pts, q)
			}
		}
		p := prim{under: true, class: "strand strand-" + strconv.Itoa(i%4), dash: dashes[i%4], bar: -1, ink: strandInk[i%4], round: true}
		for a := 0; a < len(pts); {
			b := a
			var run []point
			for b < len(pts) && pts[b].system == pts[a].system {
				run = append(run, pts[b].point)
				b++
			}
			if len(run) > 1 {
				d.stroke(.3, p, run...)
			}
			a = b
		}
	}
}

var strandInk = [4]string{"#0b62b0", "#b3470b", "#0a7d5a", "#8a3ea8"}

// describe says what a head is, for screen readers.
func (m *music) describe(c *chord, h head) string {
	n := m.p.Notes[h.note]
	s := spoken(n.Pitch)
	if c.grace {
		s += " grace note"
	} else if c.typ > 0 && c.typ < len(written.TypeNames) {
		s += " " + written.TypeNames[c.typ]
		if c.dots > 0 {
			s += ", dotted"
		}
	}
	s += ", " + n.Hand.String() + ", " + m.p.Where(n.Onset)
	if h.tieFrom {
		s += ", held on"
	}
	if h.label != "" {
		s += ", marked " + h.label
	}
	return s
}

// spoken returns a pitch in words: "F sharp 4".
func spoken(p pitch.Pitch) string {
	s := p.Letter.String()
	if p.Alter != 0 {
		s += " " + p.Class().AlterWord()
	}
	return s + " " + strconv.Itoa(int(p.Octave))
}

func (m *music) title() string {
	if m.o.Title != "" {
		return m.o.Title
	}
	a, b := m.p.Bars[m.first].Number, m.p.Bars[m.last-1].Number
	s := "bar " + a
	if m.last-m.first > 1 {
		s = "bars " + a + " to " + b
	}
	if m.p.Title != "" {
		return m.p.Title + ", " + s
	}
	return "Staff, " + s
}

// desc tells in words what the picture shows: key, meter, and the notes of short passages hand by hand; then the texts.
func (m *music) desc() string {
	var s strings.Builder
	k, declared := m.p.KeyAt(m.p.Bars[m.first].Start)
	switch n := k.Signature(); {
	case declared:
		fmt.Fprintf(&s, "%s. ", k)
	case n == 0:
		s.WriteString("No sharps or flats. ")
	case n > 0:
		fmt.Fprintf(&s, "%d %s. ", n, map[bool]string{true: "sharp", false: "sharps"}[n == 1])
	default:
		fmt.Fprintf(&s, "%d %s. ", -n, map[bool]string{true: "flat", false: "flats"}[n == -1])
	}
	fmt.Fprintf(&s, "Meter %s. ", m.p.Bars[m.first].Meter)
	const most = 60 // notes told one by one
	count := 0
	for _, c := range m.chords {
		count += len(c.heads)
	}
	if count > most {
		fmt.Fprintf(&s, "%d notes in %d bars. ", count, m.last-m.first)
	} else {
		for i := range m.byBar {
			for st := range m.staves {
				list := slices.Clone(m.byBar[i][st])
				slices.SortStableFunc(list, func(a, b *chord) int { return cmp.Or(a.at.Compare(b.at), -cmp.Compare(graceRank(a), graceRank(b))) })
				var parts []string
				for _, c := range list {
					var names []string
					for _, h := range c.heads {
						n := spoken(m.p.Notes[h.note].Pitch)
						if h.label != "" {
							n += " (" + h.label + ")"
						}
						names = append(names, n)
					}
					if len(names) > 0 {
						parts = append(parts, strings.Join(names, " with "))
					}
				}
				if len(parts) > 0 {
					fmt.Fprintf(&s, "Bar %s, %s: %s. ", m.p.Bars[m.first+i].Number, m.hand[st], strings.Join(parts, "; "))
				}
			}
		}
	}
	for _, t := range m.o.Texts {
		if t.Text != "" && !t.At.Less(m.p.Bars[m.first].Start) && t.At.Less(m.p.Bars[m.last-1].End()) {
			fmt.Fprintf(&s, "At %s: %s. ", m.p.Where(t.At), t.Text)
		}
	}
	for _, t := range m.o.Spans {
		if t.Text != "" && t.From.Less(m.p.Bars[m.last-1].End()) && m.p.Bars[m.first].Start.Less(t.To) {
			fmt.Fprintf(&s, "From %s: %s. ", m.p.Where(t.From), t.Text)
		}
	}
	return strings.TrimSpace(s.String())
}
