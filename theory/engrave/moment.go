package engrave

import (
	"cmp"
	"math"
	"slices"
)

// headBox returns where a head of c lies, from the origin of its column.
func (c *chord) headBox(k int) rect {
	h := c.heads[k]
	x := c.shift + h.dx
	return rect{x, h.y() - .49*c.size, x + c.headWidth(), h.y() + .49*c.size}
}

// stemBox returns where the stem of c is likely to be, before beams are known.
func (c *chord) stemBox() rect {
	if !c.stemmed() {
		return rect{}
	}
	x := c.shift + c.stemX()
	from, to := -float64(c.inner())/2, -float64(c.outer())/2-3.5*float64(c.dir)*c.size
	return rect{x - stemWidth/2, math.Min(from, to), x + stemWidth/2, math.Max(from, to)}
}

// spread sets heads a second apart on both sides of the stem.
func (c *chord) spread() {
	n := len(c.heads)
	w := c.headWidth()
	for i := range n {
		k := i
		if c.dir < 0 {
			k = n - 1 - i
		}
		h := &c.heads[k]
		for try := 0; ; try++ {
			h.dx = float64(c.dir) * w * float64((try+1)/2) * float64(1-2*((try+1)%2)) // 0, away from the stem's side, the other side
			if try == 0 {
				h.dx = 0
			} else if try == 1 {
				h.dx = float64(c.dir) * w
			}
			free := true
			for j := range i {
				o := c.heads[j]
				if c.dir < 0 {
					o = c.heads[n-1-j]
				}
				if abs(o.pos-h.pos) < 2 && math.Abs(o.dx-h.dx) < w-.01 {
					free = false
				}
			}
			if free || try > 12 {
				break
			}
		}
	}
}

// shares reports whether two heads of different rows can be one: the same note, value and dots.
func shares(a, b *chord, i, j int) bool {
	return a.heads[i].pos == b.heads[j].pos && a.heads[i].step == b.heads[j].step && a.glyph() == b.glyph() && a.dots == b.dots && a.size == b.size &&
		a.dir != b.dir && a.heads[i].dx == 0 && b.heads[j].dx == 0 && (a.heads[i].sign == b.heads[j].sign || b.heads[j].sign == "" || a.heads[i].sign == "")
}

// clash reports whether two chords of a moment can't stand where they are.
func clash(a, b *chord) bool {
	for i := range a.heads {
		for j := range b.heads {
			if a.shift == b.shift && shares(a, b, i, j) {
				continue
			}
			if a.headBox(i).meets(b.headBox(j), -.005) {
				return true
			}
		}
	}
	as, bs := a.stemBox(), b.stemBox()
	for j := range b.heads {
		if !as.empty() && as.meets(b.headBox(j), -.06) && !(a.shift == b.shift && anyShared(a, b, j)) {
			return true
		}
	}
	for i := range a.heads {
		if !bs.empty() && bs.meets(a.headBox(i), -.06) && !(a.shift == b.shift && anyShared(b, a, i)) {
			return true
		}
	}
	return !as.empty() && !bs.empty() && as.meets(bs, .02)
}

func anyShared(a, b *chord, j int) bool {
	for i := range a.heads {
		if shares(a, b, i, j) {
			return true
		}
	}
	return false
}

// A cluster is what stands at one moment on one staff, from the origin of its column: how far it reaches and where its parts
// are.
type cluster struct{ left, right float64 }

const (
	signGap   = .16 // between accidentals, and to the heads
	dotGap    = .32
	labelSize = 1.3 // of labels beside notes
)

// arrange places the chords and rests that begin at one moment on one staff: heads, accidentals, dots, labels.
func arrange(chords []*chord) cluster {
	var notes, rests []*chord
	for _, c := range chords {
		switch {
		case c.rest && !c.hidden && !c.fill:
			rests = append(rests, c)
		case !c.rest:
			notes = append(notes, c)
		}
	}
	slices.SortStableFunc(notes, func(a, b *chord) int { return cmp.Or(-cmp.Compare(a.dir, b.dir), cmp.Compare(a.layer, b.layer)) })
	for i, c := range notes {
		c.spread()
		c.shift = 0
		if i == 0 {
			continue
		}
		w := math.Max(c.headWidth(), notes[0].headWidth())
		tries := []float64{0, w, -w, w + .3, -w - .3}
		if o := notes[0]; o.dir != c.dir && c.top() > o.bottom() { // they cross: the lower stem to the left
			tries = []float64{0, -c.headWidth(), w + .3, -w - .3}
		}
		for k := 2; k < 12; k++ {
			tries = append(tries, float64(k)*w+.3, -float64(k)*w-.3)
		}
		for _, s := range tries {
			c.shift = s
			if !slices.ContainsFunc(notes[:i], func(o *chord) bool { return clash(o, c) }) {
				break
			}
		}
	}
	cl := cluster{0, 0}
	var solid []rect
	for _, c := range notes {
		for k := range c.heads {
			b := c.headBox(k)
			solid = append(solid, b)
			cl.left, cl.right = math.Max(cl.left, -b.x0), math.Max(cl.right, b.x1)
			if abs(c.heads[k].pos) >= 6 {
				cl.left, cl.right = math.Max(cl.left, .36-b.x0), math.Max(cl.right, b.x1+.36)
			}
		}
	}
	heads := cluster{-slackLeft(solid), cl.right}
	// Rests give way to heads, stems and one another.
	var taken []rect
	for _, c := range notes {
		if s := c.stemBox(); !s.empty() {
			taken = append(taken, s)
		}
	}
	for _, c := range rests {
		g := glyphs()[c.restGlyph()].box
		dir := c.dir
		if dir == 0 {
			dir = 1
		}
		for range 24 {
			b := g.moved(0, -float64(c.pos)/2)
			if !slices.ContainsFunc(solid, func(r rect) bool { return r.meets(b, .1) }) && !slices.ContainsFunc(taken, func(r rect) bool { return r.meets(b, .05) }) {
				break
			}
			c.pos += 2 * dir
		}
		b := g.moved(0, -float64(c.pos)/2)
		solid = append(solid, b)
		cl.left, cl.right = math.Max(cl.left, -b.x0), math.Max(cl.right, b.x1)
	}
	markLeft, markRight := 0.0, 0.0
	for _, c := range notes {
		for k := range c.heads {
			l, r := markReach(c.heads[k].marks)
			if l > 0 {
				b := c.headBox(k)
				markLeft, markRight = math.Max(markLeft, l-b.x0), math.Max(markRight, b.x1+r)
			}
		}
	}
	cl.left, cl.right = math.Max(cl.left, markLeft), math.Max(cl.right, markRight)
	cl.left = math.Max(cl.left, placeSigns(notes, math.Max(heads.left, markLeft-.1)))
	// Flags and dots.
	x := math.Max(heads.right, markRight-.1)
	edge := 0.0
	for _, c := range notes {
		if f := c.flags(); f > 0 && c.beam == nil {
			edge = math.Max(edge, c.shift+c.stemX()+.95*c.size)
			if c.dir > 0 && c.dots > 0 {
				x = math.Max(x, c.shift+c.stemX()+.62)
			}
		}
	}
	for _, c := range rests {
		x = math.Max(x, glyphs()[c.restGlyph()].box.x1)
	}
	if len(notes) == 0 {
		x = 0
		for _, c := range rests {
			x = math.Max(x, glyphs()[c.restGlyph()].box.x1)
		}
	}
	used := map[int]bool{}
	for _, c := range notes {
		if c.dots == 0 {
			continue
		}
		for i := range c.heads {
			k := len(c.heads) - 1 - i
			h := &c.heads[k]
			h.dots = nil
			if sharedDots(notes, c, k) {
				continue
			}
			at := h.pos
			if at%2 == 0 {
				at++
				if c.forced && c.dir < 0 {
					at -= 2
				}
			}
			for _, d := range []int{0, -2, 2, -4, 4, -6, 6, -8, 8} {
				if !used[at+d] {
					at += d
					break
				}
			}
			used[at] = true
			for d := range c.dots {
				h.dots = append(h.dots, point{x + dotGap + .55*float64(d), -float64(at) / 2})
			}
			cl.right = math.Max(cl.right, x+dotGap+.55*float64(c.dots-1)+.4)
		}
	}
	for _, c := range rests {
		if c.dots > 0 {
			cl.right = math.Max(cl.right, x+dotGap+.55*float64(c.dots-1)+.4)
		}
	}
	cl.right = math.Max(cl.right, edge)
	// Marks and their labels.
	wide := 0.0
	for _, c := range notes {
		for k := range c.heads {
			if h := &c.heads[k]; h.label != "" {
				wide = math.Max(wide, textWidth(h.label)*labelSize)
			}
		}
	}
	for _, c := range notes {
		for k := range c.heads {
			c.heads[k].labelX = cl.right + .25
		}
	}
	if wide > 0 {
		cl.right += .25 + wide
	}
	return cl
}

// markReach returns how far marks stand out to the left and the right of a head.
func markReach(marks []Shape) (left, right float64) {
	for i, s := range marks {
		l, r := .40, .40
		switch s {
		case Diamond:
			l, r = .68, .68
		case Caret:
			l, r = .95, 0
		case Bars:
			l, r = .48, .48
		}
		out := .22 * float64(i)
		left, right = math.Max(left, l+out), math.Max(right, r+out)
	}
	return left, right
}

func slackLeft(solid []rect) float64 {
	x := 0.0
	for _, r := range solid {
		x = math.Min(x, r.x0)
	}
	return x
}

// sharedDots reports whether the head is drawn once with one of a chord before, dots and all.
func sharedDots(notes []*chord, c *chord, k int) bool {
	for _, o := range notes {
		if o == c {
			return false
		}
		for j := range o.heads {
			if o.shift == c.shift && shares(o, c, j, k) {
				return true
			}
		}
	}
	return false
}

// signBox returns the box of a head's accidental with its left edge at 0.
func signBox(h *head, size float64) rect {
	g := glyphs()[h.sign].box
	if h.paren {
		s := size * .82
		return rect{0, math.Min(g.y0, -1) * s, (g.x1 + 2*parenWidth) * s, math.Max(g.y1, 1) * s}
	}
	return rect{0, g.y0 * size, g.x1 * size, g.y1 * size}
}

const parenWidth = .46

// placeSigns puts accidentals to the left of the heads in as few columns as they need: from both ends inward, each as far to the
// right as those before it let it be. It returns how far they reach to the left.
func placeSigns(notes []*chord, left float64) float64 {
	type item struct {
		h    *head
		size float64
	}
	var items []item
	for _, c := range notes {
		for k := range c.heads {
			h := &c.heads[k]
			if h.sign == "" {
				continue
			}
			if slices.ContainsFunc(items, func(o item) bool { return o.h.pos == h.pos && o.h.sign == h.sign && o.h.paren == h.paren }) {
				h.sign = "" // one sign for both
				continue
			}
			items = append(items, item{h, c.size})
		}
	}
	slices.SortStableFunc(items, func(a, b item) int { return cmp.Compare(b.h.pos, a.h.pos) })
	var placed []rect
	reach := 0.0
	for n := 0; n < len(items); n++ {
		i := n / 2
		if n%2 == 1 {
			i = len(items) - 1 - n/2
		}
		it := items[i]
		b := signBox(it.h, it.size)
		x := -left - .22 - b.x1
		for moved := true; moved; {
			moved = false
			for _, p := range placed {
				if q := b.moved(x, it.h.y()); q.meets(p, .08) {
					x, moved = p.x0-signGap-b.x1, true
				}
			}
		}
		it.h.signX = x
		placed = append(placed, b.moved(x, it.h.y()))
		reach = math.Max(reach, -x)
	}
	return reach
}
