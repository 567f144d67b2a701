package engrave

import (
	"cmp"
	"math"
	"slices"

	"plumbline/theory/score"
)

// piece is the part of a span within a line: from x0 to x1.
type piece struct {
	s      *placedSpan
	x0, x1 float64
	starts bool
	ends   bool
}

// pieces returns the spans of a row within a line.
func (g *grid) pieces(r *row, l *line) []piece {
	var out []piece
	for i := range g.spans {
		s := &g.spans[i]
		if s.row != r {
			continue
		}
		a, b := s.clip(g, l.first, l.last)
		if a == nil || b == nil {
			continue
		}
		p := piece{s: s, x0: a.x, x1: b.x, starts: s.ai >= l.first, ends: s.bi <= l.last}
		if !p.starts {
			p.x0 = l.start - .3
		}
		if s.kind == spanEnding && p.starts {
			p.x0 = g.barLeft(s.ai, l)
		}
		switch {
		case !b.barline && p.ends:
			p.x1 = b.x - .35
		case s.kind == spanLouder || s.kind == spanSofter:
			p.x1 = b.x - .3
		}
		out = append(out, p)
	}
	return out
}

// rowsOf returns the rows of a zone that have something in the region, from the staff outward.
func (g *grid) rowsOf(zone int) []*row {
	var out []*row
	add := func(r *row) {
		if r.zone == zone && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	for i := range g.items {
		add(g.items[i].row)
	}
	for i := range g.spans {
		add(g.spans[i].row)
	}
	slices.SortStableFunc(out, func(a, b *row) int { return cmp.Compare(a.order, b.order) })
	return out
}

func (g *grid) inLine(it *item, l *line) bool {
	i := it.col.bar - g.m.first
	return i >= l.first && i <= l.last
}

// between places dynamics between the staves and returns how far apart the staves are.
func (g *grid) between(d *drawing, sky [2]*skyline, l *line) float64 {
	need := staffGap
	up, down := sky[0], sky[1]
	for i := range up.down {
		// What stands face to face keeps a space and a half apart; things that only come near from the side don't count.
		need = math.Max(need, up.down[i]-down.up[i]+1.4)
	}
	rows := g.rowsOf(zoneBetween)
	if len(rows) == 0 {
		return need
	}
	r := rows[0]
	high, low := -math.MaxFloat64, math.MaxFloat64 // the base line lies between, the second counted from the lower staff
	any := false
	look := func(x0, x1 float64) {
		high = math.Max(high, up.bottom(x0, x1)+.35+r.rise)
		low = math.Min(low, down.top(x0, x1)-.35-r.fall)
		any = true
	}
	for i := range g.items {
		if it := &g.items[i]; it.row == r && g.inLine(it, l) {
			look(it.col.x+it.dx, it.col.x+it.dx+it.width)
		}
	}
	ps := g.pieces(r, l)
	for _, p := range ps {
		look(p.x0, p.x1)
	}
	if !any {
		return need
	}
	need = math.Max(need, high-low)
	base := (high + need + low) / 2
	g.drawRow(d, r, l, base, nil)
	return need
}

// outer places the rows over or under the system, each as near as what lies under it lets it come. The skyline counts from
// the same zero as d.
func (g *grid) outer(d *drawing, sky *skyline, l *line, zone int, low float64) {
	for _, r := range g.rowsOf(zone) {
		base, any := 0.0, false
		look := func(x0, x1 float64) {
			y := 0.0
			if zone == zoneAbove {
				y = math.Min(sky.top(x0, x1), -2.5) - .5 - r.fall
				if !any || y < base {
					base = y
				}
			} else {
				y = math.Max(sky.bottom(x0, x1), low+2.5) + .55 + r.rise
				if !any || y > base {
					base = y
				}
			}
			any = true
		}
		for i := range g.items {
			if it := &g.items[i]; it.row == r && g.inLine(it, l) {
				look(it.col.x+it.dx, it.col.x+it.dx+it.width)
			}
		}
		for _, p := range g.pieces(r, l) {
			look(p.x0, math.Max(p.x1, p.x0+1))
		}
		if !any {
			continue
		}
		g.drawRow(d, r, l, base, sky)
	}
}

// drawRow draws the items and spans of a row on its base line.
func (g *grid) drawRow(d *drawing, r *row, l *line, y float64, sky *skyline) {
	from := len(d.prims)
	for i := range g.items {
		it := &g.items[i]
		if it.row != r || !g.inLine(it, l) {
			continue
		}
		x := it.col.x + it.dx
		p := prim{kind: it.kind, bar: it.col.bar, words: it.note}
		switch {
		case it.tempo:
			s := it.text
			name, dx := gBlack, 1.2
			if s[0] == 'h' {
				name, s = gHalf, s[1:]
			}
			d.use(name, x, y-.4, .66, prim{bar: it.col.bar})
			d.stroke(.1, prim{bar: it.col.bar}, point{x + .75, y - .45}, point{x + .75, y - 2.5})
			if s[0] == '.' {
				d.use(gDot, x+1, y-.4, .7, prim{bar: it.col.bar})
				s, dx = s[1:], 1.65
			}
			d.write(s, x+dx, y, it.style, false, p)
		case it.glyphs != nil && it.kind == KindDynamic:
			for k, name := range it.glyphs {
				q := p
				if k > 0 {
					q.kind = ""
				}
				d.use(name, x+.1, y, 1, q)
				if k == 0 {
					d.prims[len(d.prims)-1].box = rect{x, y - 1.6, x + it.width, y + .7}
				}
				x += letterAdvance(rune(name[1]))
			}
		case it.glyphs != nil:
			d.use(it.glyphs[0], x, y, 1, p)
		default:
			class := "text"
			if it.style.figures {
				class = "numeral"
			}
			p.class = class
			d.write(it.text, x, y, it.style, false, p)
		}
	}
	for _, p := range g.pieces(r, l) {
		g.drawSpan(d, p, r, l, y)
	}
	if sky != nil {
		for ; from < len(d.prims); from++ {
			b := d.prims[from].box
			b.x0, b.x1 = b.x0-.2, b.x1+.2
			sky.put(b)
		}
	}
}

func (g *grid) drawSpan(d *drawing, p piece, r *row, l *line, y float64) {
	s := p.s
	bar := g.m.first + s.ai
	switch s.kind {
	case spanLouder, spanSofter:
		x0, x1 := p.x0, p.x1
		// Marks stand in the way: at the ends the hairpin is shorter for them, within it is broken.
		type gap struct{ a, b float64 }
		var gaps []gap
		for i := range g.items {
			it := &g.items[i]
			if it.row != r || !g.inLine(it, l) {
				continue
			}
			at := gap{it.col.x + it.dx - .35, it.col.x + it.dx + it.width + .35}
			switch {
			case at.b <= x0 || at.a >= x1:
			case at.a <= x0 && at.b < x1:
				x0 = at.b
			case at.b >= x1 && at.a > x0:
				x1 = at.a
			default:
				gaps = append(gaps, at)
			}
		}
		if x1-x0 < .5 {
			return // no room: the marks say enough
		}
		slices.SortFunc(gaps, func(a, b gap) int { return cmp.Compare(a.a, b.a) })
		open, shut := .62, 0.0
		if !p.starts && s.kind == spanLouder || !p.ends && s.kind == spanSofter {
			shut = .22
		}
		yc := y - .45
		a, b := shut, open
		if s.kind == spanSofter {
			a, b = open, shut
		}
		high := func(x float64) float64 { return a + (b-a)*(x-x0)/(x1-x0) }
		q := prim{kind: KindDynamic, bar: bar, words: map[spanKind]string{spanLouder: "louder", spanSofter: "softer"}[s.kind], round: true}
		from := x0
		for _, w := range append(gaps, gap{x1, x1}) {
			to := math.Min(w.a, x1)
			if to-from > .3 {
				f, t := high(from), high(to)
				switch {
				case f < .01:
					d.stroke(.13, q, point{to, yc - t}, point{from, yc}, point{to, yc + t})
				case t < .01:
					d.stroke(.13, q, point{from, yc - f}, point{to, yc}, point{from, yc + f})
				default:
					d.stroke(.13, q, point{from, yc - f}, point{to, yc - t})
					d.stroke(.13, q, point{from, yc + f}, point{to, yc + t})
				}
			}
			from = math.Max(from, w.b)
		}
	case spanEnding:
		x0, x1 := p.x0, p.x1
		top := y - 1.9
		pts := []point{{x0 + .15, top}, {x1, top}}
		if p.starts {
			pts = append([]point{{x0 + .15, y}}, pts...)
		}
		if p.ends && !s.openEnd {
			pts = append(pts, point{x1, y})
		}
		d.stroke(.13, prim{bar: bar}, pts...)
		if s.text != "" && p.starts {
			d.write(s.text, x0+.5, y-.35, s.style, false, prim{bar: bar, kind: KindLabel})
		}
	case spanPedal:
		x0, x1 := p.x0, p.x1+.1
		if s.text != "" && p.starts {
			d.write(s.text, x0-.3, y, s.style, false, prim{bar: bar, kind: KindSign})
			x0 += s.style.width(s.text) - .1
		}
		yl := y - .1
		q := prim{bar: bar, class: "pedal"}
		if p.starts && s.startMark == score.PedalChange {
			d.stroke(.12, q, point{p.x0 + .1, yl - .8}, point{p.x0 + .45, yl})
			x0 = p.x0 + .45
		}
		x1 = math.Max(x1, x0+.4)
		if p.ends && s.endMark == score.PedalChange {
			d.stroke(.12, q, point{x0, yl}, point{x1 - .35, yl}, point{x1, yl - .8})
		} else if p.ends && s.endMark != 0 {
			d.stroke(.12, q, point{x0, yl}, point{x1, yl}, point{x1, yl - .8})
		} else {
			d.stroke(.12, q, point{x0, yl}, point{x1, yl})
		}
	default:
		x0, x1 := p.x0-.1, p.x1-.1
		if r.zone == zoneAbove {
			top := y - s.style.size*.3
			hook := .7
			g.bracket(d, p, x0, x1, top, hook, bar, y)
			return
		}
		g.bracket(d, p, x0, x1, y-s.style.size*.3, -.7, bar, y)
	}
}

// bracket draws a square bracket with its text in the middle of the line.
func (g *grid) bracket(d *drawing, p piece, x0, x1, y, hook float64, bar int, base float64) {
	s := p.s
	q := prim{bar: bar, class: "span"}
	if s.text == "" || !p.starts {
		pts := []point{{x0, y}, {x1, y}}
		if p.starts {
			pts = append([]point{{x0, y + hook}}, pts...)
		}
		if p.ends {
			pts = append(pts, point{x1, y + hook})
		}
		d.stroke(.13, q, pts...)
		return
	}
	w := s.style.width(s.text)
	mid := (x0 + x1) / 2
	a, b := mid-w/2, mid+w/2
	d.write(s.text, mid, base, s.style, false, prim{bar: bar, kind: KindLabel, class: "span-text", mid: true})
	if a-.25 > x0 {
		d.stroke(.13, q, point{x0, y + hook}, point{x0, y}, point{a - .25, y})
	}
	if b+.25 < x1 {
		pts := []point{{b + .25, y}, {x1, y}}
		if p.ends {
			pts = append(pts, point{x1, y + hook})
		}
		d.stroke(.13, q, pts...)
	}
}

// barLeft returns where the bar i of the region begins within a line.
func (g *grid) barLeft(i int, l *line) float64 {
	if i <= l.first {
		return l.start - .3
	}
	prev := g.bars[i-1]
	return prev[len(prev)-1].x + .2
}
