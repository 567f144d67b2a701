package engrave

import (
	"math"
	"strconv"
)

// unit is how many units of the picture one staff space has: coordinates are whole numbers of hundredths of a space.
const unit = 100

// A point is a place in staff spaces, x to the right and y down.
type point struct{ x, y float64 }

func (p point) add(q point) point             { return point{p.x + q.x, p.y + q.y} }
func (p point) sub(q point) point             { return point{p.x - q.x, p.y - q.y} }
func (p point) mul(k float64) point           { return point{p.x * k, p.y * k} }
func mix(p, q point, k float64) point         { return point{p.x + (q.x-p.x)*k, p.y + (q.y-p.y)*k} }
func (p point) turned(sin, cos float64) point { return point{p.x*cos - p.y*sin, p.x*sin + p.y*cos} }

// A contour is a closed line of cubic curves: a start and three points for each curve.
type contour []point

// An outline is a filled shape by the nonzero rule: all contours run the same way round, holes the other way.
type outline []contour

// area returns the signed area of the polygon of the curves' ends.
func (c contour) area() float64 {
	sum := 0.0
	for i := 0; i+3 < len(c); i += 3 {
		sum += c[i].x*c[i+3].y - c[i+3].x*c[i].y
	}
	n := len(c) - 1
	return (sum + c[n].x*c[0].y - c[0].x*c[n].y) / 2
}

// reversed returns c run backwards.
func (c contour) reversed() contour {
	out := make(contour, len(c))
	for i, p := range c {
		out[len(c)-1-i] = p
	}
	return out
}

func (c contour) solid() contour {
	if c.area() < 0 {
		return c.reversed()
	}
	return c
}

func (c contour) hole() contour { return c.solid().reversed() }

// lines returns a polygon.
func lines(ps ...point) contour {
	c := contour{ps[0]}
	for i := range ps {
		p, q := ps[i], ps[(i+1)%len(ps)]
		c = append(c, mix(p, q, 1.0/3), mix(p, q, 2.0/3), q)
	}
	return c.solid()
}

// oval returns an ellipse round c with the half axes a and b, turned by an angle in degrees (up at the right if it is negative).
func oval(c point, a, b, degrees float64) contour {
	const k = 0.5522847498 // the handle of a quarter circle: 4/3 (sqrt 2 - 1)
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	var out contour
	for _, p := range []point{{a, 0}, {a, b * k}, {a * k, b}, {0, b}, {-a * k, b}, {-a, b * k}, {-a, 0}, {-a, -b * k}, {-a * k, -b}, {0, -b}, {a * k, -b}, {a, -b * k}, {a, 0}} {
		out = append(out, c.add(p.turned(sin, cos)))
	}
	return out.solid()
}

// A nib is a point of a pen stroke and how broad the pen is there.
type nib struct{ x, y, w float64 }

// pen draws a stroke of changing breadth through the nibs, smoothly (a Catmull-Rom spline), and returns its outline.
func pen(nibs ...nib) contour { return penFine(2, nibs...) }

func penFine(steps int, nibs ...nib) contour {
	at := func(i int) nib { return nibs[min(max(i, 0), len(nibs)-1)] }
	var mid []nib
	for i := 0; i+1 < len(nibs); i++ {
		a, b, c, d := at(i-1), at(i), at(i+1), at(i+2)
		for s := range steps {
			t := float64(s) / float64(steps)
			f := func(a, b, c, d float64) float64 {
				return 0.5 * (2*b + (c-a)*t + (2*a-5*b+4*c-d)*t*t + (3*b-a-3*c+d)*t*t*t)
			}
			mid = append(mid, nib{f(a.x, b.x, c.x, d.x), f(a.y, b.y, c.y, d.y), math.Max(0.02, f(a.w, b.w, c.w, d.w))})
		}
	}
	mid = append(mid, nibs[len(nibs)-1])
	n := len(mid)
	left, right := make([]point, n), make([]point, n)
	for i, m := range mid {
		a, b := mid[max(i-1, 0)], mid[min(i+1, n-1)]
		dx, dy := b.x-a.x, b.y-a.y
		l := math.Hypot(dx, dy)
		nx, ny := -dy/l*m.w/2, dx/l*m.w/2
		left[i], right[n-1-i] = point{m.x + nx, m.y + ny}, point{m.x - nx, m.y - ny}
	}
	out := contour{left[0]}
	out = append(out, smooth(left)...)
	out = append(out, straight(left[n-1], right[0])...)
	out = append(out, smooth(right)...)
	out = append(out, straight(right[n-1], left[0])...)
	return out.solid()
}

func straight(p, q point) []point { return []point{mix(p, q, 1.0/3), mix(p, q, 2.0/3), q} }

// smooth returns curves from the first of ps through all others.
func smooth(ps []point) []point {
	var out []point
	at := func(i int) point { return ps[min(max(i, 0), len(ps)-1)] }
	for i := 0; i+1 < len(ps); i++ {
		a, b, c, d := at(i-1), at(i), at(i+1), at(i+2)
		out = append(out, b.add(c.sub(a).mul(1.0/6)), c.sub(d.sub(b).mul(1.0/6)), c)
	}
	return out
}

// curves returns a contour of cubic curves that begins at p: three points each.
func curves(p point, rest ...point) contour { return append(contour{p}, rest...).solid() }

// moved returns o shifted, scaled and slanted: x += slant*(-y).
func (o outline) moved(dx, dy, scale, slant float64) outline {
	out := make(outline, len(o))
	for i, c := range o {
		for _, p := range c {
			out[i] = append(out[i], point{dx + scale*(p.x-slant*p.y), dy + scale*p.y})
		}
	}
	return out
}

// flipped returns o upside down.
func (o outline) flipped() outline {
	out := make(outline, len(o))
	for i, c := range o {
		for _, p := range c.reversed() {
			out[i] = append(out[i], point{p.x, -p.y})
		}
	}
	return out
}

// A rect is a box in staff spaces.
type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) moved(dx, dy float64) rect { return rect{r.x0 + dx, r.y0 + dy, r.x1 + dx, r.y1 + dy} }

func (r rect) empty() bool { return r.x1 <= r.x0 }

func (r rect) union(s rect) rect {
	if r.empty() {
		return s
	}
	if s.empty() {
		return r
	}
	return rect{math.Min(r.x0, s.x0), math.Min(r.y0, s.y0), math.Max(r.x1, s.x1), math.Max(r.y1, s.y1)}
}

// meets reports whether r and s come nearer than gap.
func (r rect) meets(s rect, gap float64) bool {
	return r.x0 < s.x1+gap && s.x0 < r.x1+gap && r.y0 < s.y1+gap && s.y0 < r.y1+gap
}

// bounds returns the box of o, found at eight points of each curve.
func (o outline) bounds() rect {
	r := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, c := range o {
		for i := 0; i+3 < len(c); i += 3 {
			for s := 0; s <= 8; s++ {
				t := float64(s) / 8
				u := 1 - t
				x := u*u*u*c[i].x + 3*u*u*t*c[i+1].x + 3*u*t*t*c[i+2].x + t*t*t*c[i+3].x
				y := u*u*u*c[i].y + 3*u*u*t*c[i+1].y + 3*u*t*t*c[i+2].y + t*t*t*c[i+3].y
				r = rect{math.Min(r.x0, x), math.Min(r.y0, y), math.Max(r.x1, x), math.Max(r.y1, y)}
			}
		}
	}
	return r
}

// whole rounds staff spaces to units of the picture.
func whole(x float64) int { return int(math.Round(x * unit)) }

// data returns o as the d attribute of a path, in whole units.
func (o outline) data() string {
	var b []byte
	num := func(n int, first bool) {
		if !first && n >= 0 {
			b = append(b, ' ')
		}
		b = strconv.AppendInt(b, int64(n), 10)
	}
	for _, c := range o {
		x, y := whole(c[0].x), whole(c[0].y)
		b = append(b, 'M')
		num(x, true)
		num(y, false)
		last := byte('M')
		for i := 1; i+2 < len(c); i += 3 {
			ex, ey := whole(c[i+2].x), whole(c[i+2].y)
			if ex == x && ey == y {
				continue
			}
			isLine := near(c[i-1], c[i], c[i+2], 1.0/3) && near(c[i-1], c[i+1], c[i+2], 2.0/3)
			cmd := byte('c')
			if isLine {
				cmd = 'l'
			}
			if cmd != last {
				b = append(b, cmd)
			}
			first := cmd != last
			if !isLine {
				num(whole(c[i].x)-x, first)
				num(whole(c[i].y)-y, false)
				num(whole(c[i+1].x)-x, false)
				num(whole(c[i+1].y)-y, false)
				first = false
			}
			num(ex-x, first)
			num(ey-y, false)
			x, y, last = ex, ey, cmd
		}
		b = append(b, 'z')
	}
	return string(b)
}

func near(p, q, r point, k float64) bool {
	m := mix(p, r, k)
	return math.Abs(m.x-q.x)+math.Abs(m.y-q.y) < 1e-9
}
