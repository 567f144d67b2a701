package engrave

import (
	"bytes"
	"encoding/xml"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A prim is one thing to draw. Coordinates are staff spaces from the middle line of its staff until it is shifted.
type prim struct {
	glyph string // a shape used by name, at x and y, scaled
	shape outline
	pts   []point // a stroke through points
	text  string
	style textStyle
	x, y  float64
	scale float64
	width float64 // of the stroke
	dash  string
	class string
	ink   string // colour in place of the ink
	end   bool   // the text ends at x
	mid   bool   // or has its middle there
	round bool
	id    string // the note whose group it belongs to
	under bool   // drawn before everything else

	kind   Kind // for the layout; "" for none
	box    rect
	note   int
	bar    int
	words  string
	shared bool
}

// A drawing is a list of prims.
type drawing struct{ prims []*prim }

func (d *drawing) add(p prim) { d.prims = append(d.prims, &p) }

func (d *drawing) shift(dx, dy float64) {
	for i := range d.prims {
		p := d.prims[i]
		p.x, p.y = p.x+dx, p.y+dy
		p.box = p.box.moved(dx, dy)
		for _, c := range p.shape {
			for k := range c {
				c[k] = c[k].add(point{dx, dy})
			}
		}
		for k := range p.pts {
			p.pts[k].x, p.pts[k].y = p.pts[k].x+dx, p.pts[k].y+dy
		}
	}
}

// use adds a glyph.
func (d *drawing) use(name string, x, y, scale float64, p prim) {
	g := glyphs()[name]
	p.glyph, p.x, p.y, p.scale = name, x, y, scale
	p.box = rect{x + g.box.x0*scale, y + g.box.y0*scale, x + g.box.x1*scale, y + g.box.y1*scale}
	d.add(p)
}

// stroke adds a line through points.
func (d *drawing) stroke(width float64, p prim, pts ...point) {
	r := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, q := range pts {
		r = rect{math.Min(r.x0, q.x), math.Min(r.y0, q.y), math.Max(r.x1, q.x), math.Max(r.y1, q.y)}
	}
	p.box = rect{r.x0 - width/2, r.y0 - width/2, r.x1 + width/2, r.y1 + width/2}
	p.pts, p.width = pts, width
	d.add(p)
}

// fill adds a shape.
func (d *drawing) fill(o outline, p prim) {
	p.shape, p.box = o, o.bounds()
	d.add(p)
}

// write adds a text whose left (or right, if end) edge and base line are given.
func (d *drawing) write(s string, x, y float64, st textStyle, end bool, p prim) {
	w := st.width(s)
	p.text, p.x, p.y, p.style, p.end = s, x, y, st, end
	p.words = s
	switch {
	case end:
		x -= w
	case p.mid:
		x -= w / 2
	}
	p.box = rect{x, y - st.size*.78, x + w, y + st.size*.24}
	d.add(p)
}

// markInk are the colours of marks by shape, for pages that set none. They differ in lightness as well as in hue.
var markInk = map[Shape]string{Ring: "#0b62b0", Square: "#b3470b", Diamond: "#0a7d5a", Caret: "#8a3ea8", Bars: "#a11a4a", Brackets: "#767676"}

// svg writes a picture.
type svg struct {
	b      bytes.Buffer
	prefix string
	halo   string // the colour of the paper, which parts labels from lines behind them
}

func (s *svg) str(parts ...string) {
	for _, p := range parts {
		s.b.WriteString(p)
	}
}

func (s *svg) num(n int) { s.b.WriteString(strconv.Itoa(n)) }

func esc(s string) string {
	if !strings.ContainsAny(s, "<>&\"'") && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0xfffd || r == 0xfffe || r == 0xffff }) {
		return s
	}
	var b strings.Builder
	xml.EscapeText(&b, []byte(s))
	return b.String()
}

func cleanPrefix(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return -1
	}, s)
}

// picture writes the whole file: w and h are the viewBox in staff spaces.
func picture(d *drawing, w, h float64, o *Options, scale float64, title, desc string, labels map[string]string) []byte {
	s := &svg{prefix: cleanPrefix(o.Prefix), halo: o.Paper}
	s.b.Grow(48*len(d.prims) + 4096)
	W, H := whole(w), whole(h)
	px := func(f float64) string { return strconv.FormatFloat(math.Round(f*100)/100, 'f', -1, 64) }
	pw, ph := px(float64(W)*scale), px(float64(H)*scale)
	x, y := 0, 0
	if o.Frame[0] > 0 && o.Frame[1] > 0 { // centred in the frame
		pw, ph = px(o.Frame[0]), px(o.Frame[1])
		fw, fh := int(math.Round(o.Frame[0]/scale)), int(math.Round(o.Frame[1]/scale))
		x, y = -(fw-W)/2, -(fh-H)/2
		W, H = fw, fh
	}
	role := `role="img"`
	if o.Interactive {
		role = `role="group"`
	}
	s.str(`<svg xmlns="http://www.w3.org/2000/svg" class="engraved" width="`, pw, `" height="`, ph, `" viewBox="`, strconv.Itoa(x), " ", strconv.Itoa(y), " ", strconv.Itoa(W), " ", strconv.Itoa(H), `" `, role,
		` aria-labelledby="`, s.prefix, `title `, s.prefix, `desc" fill="currentColor" stroke="none" font-family="serif"`)
	if o.Ink != "" {
		s.str(` color="`, esc(o.Ink), `"`)
	}
	s.str(">\n<title id=\"", s.prefix, "title\">", esc(title), "</title>\n<desc id=\"", s.prefix, "desc\">", esc(desc), "</desc>\n")
	if o.Paper != "" {
		s.str(`<rect class="paper" x="`, strconv.Itoa(x), `" y="`, strconv.Itoa(y), `" width="`, strconv.Itoa(W), `" height="`, strconv.Itoa(H), `" fill="`, esc(o.Paper), "\"/>\n")
	}
	var names []string
	for i := range d.prims {
		if g := d.prims[i].glyph; g != "" && !slices.Contains(names, g) {
			names = append(names, g)
		}
	}
	slices.Sort(names)
	s.str("<defs>")
	for _, n := range names {
		s.str(`<path id="`, s.prefix, "g-", n, `" d="`, glyphs()[n].data, `"/>`)
	}
	s.str("</defs>\n")
	// What lies under, then what belongs to no note, then the notes.
	s.loose(d, true)
	s.loose(d, false)
	open := ""
	order := map[string]int{}
	var groups [][]int
	for i := range d.prims {
		p := d.prims[i]
		if p.id == "" {
			continue
		}
		k, ok := order[p.id]
		if !ok {
			k = len(groups)
			order[p.id] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], i)
	}
	for _, list := range groups {
		open = d.prims[list[0]].id
		s.str(`<g id="`, s.prefix, open, `" class="note"`)
		if l := labels[open]; l != "" && o.Interactive {
			s.str(` role="img" aria-label="`, esc(l), `"`)
		}
		s.str(">")
		for _, i := range list {
			s.prim(d.prims[i])
		}
		s.str("</g>\n")
	}
	s.str("</svg>\n")
	return s.b.Bytes()
}

// loose writes what belongs to no note; strokes and shapes of one kind become one path.
func (s *svg) loose(d *drawing, under bool) {
	type style struct {
		width int
		dash  string
		class string
		ink   string
		round bool
		fill  bool
	}
	index := map[style]int{}
	var styles []style
	var lists [][]int
	for i := range d.prims {
		p := d.prims[i]
		if p.id != "" || p.under != under || p.glyph != "" || p.text != "" {
			continue
		}
		k := style{whole(p.width), p.dash, p.class, p.ink, p.round, p.shape != nil}
		n, ok := index[k]
		if !ok {
			n = len(styles)
			index[k] = n
			styles = append(styles, k)
			lists = append(lists, nil)
		}
		lists[n] = append(lists[n], i)
	}
	for n, st := range styles {
		s.str("<path")
		s.attrs(st.class, st.ink, st.fill, st.width, st.dash, st.round)
		s.str(` d="`)
		for _, i := range lists[n] {
			p := d.prims[i]
			if p.shape != nil {
				s.str(p.shape.data())
			} else {
				s.points(p.pts)
			}
		}
		s.str("\"/>\n")
	}
	for i := range d.prims {
		p := d.prims[i]
		if p.id == "" && p.under == under && (p.glyph != "" || p.text != "") {
			s.prim(p)
			s.str("\n")
		}
	}
}

func (s *svg) attrs(class, ink string, fill bool, width int, dash string, round bool) {
	if class != "" {
		s.str(` class="`, class, `"`)
	}
	if ink == "" {
		ink = "currentColor"
	}
	if fill {
		if ink != "currentColor" {
			s.str(` fill="`, ink, `"`)
		}
		return
	}
	s.str(` fill="none" stroke="`, ink, `" stroke-width="`)
	s.num(width)
	s.str(`"`)
	if dash != "" {
		s.str(` stroke-dasharray="`, dash, `"`)
	}
	if round {
		s.str(` stroke-linecap="round" stroke-linejoin="round"`)
	}
}

func (s *svg) points(pts []point) {
	for i, q := range pts {
		if i == 0 {
			s.str("M")
		} else {
			s.str("L")
		}
		s.num(whole(q.x))
		s.str(" ")
		s.num(whole(q.y))
	}
}

func (s *svg) prim(p *prim) {
	switch {
	case p.glyph != "":
		s.str(`<use href="#`, s.prefix, "g-", p.glyph, `"`)
		if p.class != "" {
			s.str(` class="`, p.class, `"`)
		}
		if p.ink != "" {
			s.str(` fill="`, p.ink, `"`)
		}
		if p.scale == 1 {
			s.str(` x="`, strconv.Itoa(whole(p.x)), `" y="`, strconv.Itoa(whole(p.y)), `"/>`)
			return
		}
		s.str(` transform="translate(`, strconv.Itoa(whole(p.x)), " ", strconv.Itoa(whole(p.y)), ")scale(", strconv.FormatFloat(math.Round(p.scale*1000)/1000, 'f', -1, 64), `)"/>`)
	case p.text != "":
		s.text(p)
	case p.shape != nil:
		s.str("<path")
		s.attrs(p.class, p.ink, true, 0, "", false)
		s.str(` d="`, p.shape.data(), `"/>`)
	default:
		s.str("<path")
		s.attrs(p.class, p.ink, false, whole(p.width), p.dash, p.round)
		s.str(` d="`)
		s.points(p.pts)
		s.str(`"/>`)
	}
}

func (s *svg) text(p *prim) {
	size := whole(p.style.size)
	s.str(`<text x="`, strconv.Itoa(whole(p.x)), `" y="`, strconv.Itoa(whole(p.y)), `" font-size="`, strconv.Itoa(size), `"`)
	if p.class != "" {
		s.str(` class="`, p.class, `"`)
	}
	if p.ink != "" {
		s.str(` fill="`, p.ink, `"`)
	}
	if p.class == "label" && s.halo != "" {
		s.str(` paint-order="stroke" stroke="`, esc(s.halo), `" stroke-width="45" stroke-linejoin="round"`)
	}
	if p.end {
		s.str(` text-anchor="end"`)
	}
	if p.mid {
		s.str(` text-anchor="middle"`)
	}
	if p.style.slanted {
		s.str(` font-style="italic"`)
	}
	if p.style.bold {
		s.str(` font-weight="bold"`)
	}
	s.str(">")
	head, figs, rest := p.text, "", ""
	if p.style.figures {
		head, figs, rest = figures(p.text)
	}
	s.str(esc(head))
	if figs != "" {
		// Figures over one another: each goes back by the width of the one before.
		small := whole(p.style.size * .6)
		n := len(figs)
		up := p.style.size * (.16 + .25*float64(n-1))
		if n == 1 {
			up = p.style.size * .36
		}
		last := 0.0
		for i, r := range figs {
			dy := whole(.5 * p.style.size)
			if i == 0 {
				dy = -whole(up)
			}
			s.str(`<tspan font-size="`, strconv.Itoa(small), `" dy="`, strconv.Itoa(dy), `"`)
			if i > 0 {
				s.str(` dx="-.636em"`)
			}
			s.str(`>`, string(r), `</tspan>`)
			last = -up + .5*p.style.size*float64(i)
		}
		if rest != "" {
			s.str(`<tspan dy="`, strconv.Itoa(-whole(last)), `" dx="10">`, esc(rest), `</tspan>`)
		}
	}
	s.str("</text>")
}
