package main

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// rasterize makes a PNG of a picture that this program drew. It knows the part of SVG 1.1 that package engrave and sheet.go write:
// svg (nested, with viewBox), g, defs, path, rect, use, text, tspan; fill, stroke, stroke-width; translate and scale. Anything else
// is an error, so that a picture is never silently wrong. Text is set in the Go fonts, which ship in a module; a browser sets the
// SVG in a serif of its own.
func rasterize(svg []byte) ([]byte, error) {
	r := &raster{defs: map[string]string{}}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		t, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("the picture can't be read: %w", err)
		}
		switch t := t.(type) {
		case xml.StartElement:
			if err := r.begin(t); err != nil {
				return nil, err
			}
		case xml.EndElement:
			r.end(t.Name.Local)
		case xml.CharData:
			r.words(string(t))
		}
	}
	if r.img == nil {
		return nil, fmt.Errorf("the picture has no size")
	}
	var b bytes.Buffer
	if err := png.Encode(&b, r.img); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// look is what an element inherits.
type look struct {
	at          affine
	fill        string
	stroke      string
	width       float64
	size        float64
	bold        bool
	italic      bool
	current     string // what currentColor is
	inDefs      bool
	silent      bool // title and desc
	name        string
	anchor      string
	paintStroke bool // the stroke of a text lies under it: a halo
}

// affine maps x, y to a*x + e, d*y + f; nothing here is turned.
type affine struct{ a, d, e, f float64 }

func (m affine) then(x, y, sx, sy float64) affine {
	return affine{m.a * sx, m.d * sy, m.e + m.a*x, m.f + m.d*y}
}

type raster struct {
	img   *image.RGBA
	stack []look
	defs  map[string]string // path data by id
	penX  float64           // of the text that is being set, in its own units
	penY  float64
	z     vector.Rasterizer
	lines [][]spot // to be painted next
}

func (r *raster) begin(e xml.StartElement) error {
	l := look{at: affine{1, 1, 0, 0}, fill: "#000000", stroke: "none", width: 1, size: 16, current: "#000000"}
	if n := len(r.stack); n > 0 {
		l = r.stack[n-1]
	}
	l.name = e.Name.Local
	attr := map[string]string{}
	for _, a := range e.Attr {
		attr[a.Name.Local] = a.Value
	}
	num := func(name string, or float64) float64 {
		v, ok := attr[name]
		if !ok {
			return or
		}
		x, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSuffix(v, "px"), "em"), 64)
		if err != nil {
			return or
		}
		if strings.HasSuffix(v, "em") {
			x *= l.size
		}
		return x
	}
	if v, ok := attr["color"]; ok {
		l.current = v
	}
	if v, ok := attr["fill"]; ok {
		l.fill = v
	}
	if v, ok := attr["stroke"]; ok {
		l.stroke = v
	}
	l.width = num("stroke-width", l.width)
	l.size = num("font-size", l.size)
	if v, ok := attr["text-anchor"]; ok {
		l.anchor = v
	}
	l.paintStroke = strings.HasPrefix(attr["paint-order"], "stroke")
	switch attr["font-weight"] {
	case "bold":
		l.bold = true
	case "normal":
		l.bold = false
	}
	switch attr["font-style"] {
	case "italic":
		l.italic = true
	case "normal":
		l.italic = false
	}
	if v, ok := attr["transform"]; ok {
		m, err := parseTransform(v, l.at)
		if err != nil {
			return err
		}
		l.at = m
	}
	switch l.name {
	case "svg":
		w, h := num("width", 0), num("height", 0)
		var box [4]float64
		if f := strings.Fields(attr["viewBox"]); len(f) == 4 {
			for i, s := range f {
				box[i], _ = strconv.ParseFloat(s, 64)
			}
		} else {
			box = [4]float64{0, 0, w, h}
		}
		if !(w > 0 && h > 0 && box[2] > 0 && box[3] > 0 && w*h < 64<<20) {
			return fmt.Errorf("the picture is %g by %g; want a size", w, h)
		}
		if r.img == nil {
			r.img = image.NewRGBA(image.Rect(0, 0, int(math.Round(w)), int(math.Round(h))))
		} else {
			l.at = l.at.then(num("x", 0), num("y", 0), 1, 1)
		}
		k := math.Min(w/box[2], h/box[3])
		l.at = l.at.then((w-k*box[2])/2, (h-k*box[3])/2, k, k).then(-box[0], -box[1], 1, 1)
	case "title", "desc":
		l.silent = true
	case "defs":
		l.inDefs = true
	case "g":
	case "path":
		if l.inDefs {
			r.defs[attr["id"]] = attr["d"]
			break
		}
		if err := r.path(attr["d"], l); err != nil {
			return err
		}
	case "use":
		d, ok := r.defs[strings.TrimPrefix(attr["href"], "#")]
		if !ok {
			return fmt.Errorf("the picture uses %q, which is not in it", attr["href"])
		}
		m := l
		m.at = l.at.then(num("x", 0), num("y", 0), 1, 1)
		if err := r.path(d, m); err != nil {
			return err
		}
	case "rect":
		x, y, w, h := num("x", 0), num("y", 0), num("width", 0), num("height", 0)
		if err := r.path(fmt.Sprintf("M%g %gh%gv%gh%gz", x, y, w, h, -w), l); err != nil {
			return err
		}
	case "text":
		r.penX, r.penY = num("x", 0), num("y", 0)
	case "tspan":
		r.penX, r.penY = num("x", r.penX)+num("dx", 0), num("y", r.penY)+num("dy", 0)
	default:
		return fmt.Errorf("the picture has an element %q, which can't be drawn here", l.name)
	}
	r.stack = append(r.stack, l)
	return nil
}

func (r *raster) end(string) { r.stack = r.stack[:len(r.stack)-1] }

func parseTransform(s string, m affine) (affine, error) {
	for s = strings.TrimSpace(s); s != ""; s = strings.TrimLeft(s, " ,") {
		name, rest, ok := strings.Cut(s, "(")
		args, after, ok2 := strings.Cut(rest, ")")
		var x [2]float64
		f := strings.FieldsFunc(args, func(r rune) bool { return r == ' ' || r == ',' })
		if !ok || !ok2 || len(f) == 0 || len(f) > 2 {
			return m, fmt.Errorf("the picture has a transform %q, which can't be drawn here", s)
		}
		for i := range f {
			v, err := strconv.ParseFloat(f[i], 64)
			if err != nil {
				return m, fmt.Errorf("the picture has a transform %q: %w", s, err)
			}
			x[i] = v
		}
		switch strings.TrimSpace(name) {
		case "translate":
			m = m.then(x[0], x[1], 1, 1)
		case "scale":
			if len(f) == 1 {
				x[1] = x[0]
			}
			m = m.then(0, 0, x[0], x[1])
		default:
			return m, fmt.Errorf("the picture has a transform %q, which can't be drawn here", name)
		}
		s = after
	}
	return m, nil
}

// ink returns a colour in the notation #rgb or #rrggbb; ok is false for none.
func (l look) ink(name string) (c color.RGBA, ok bool, err error) {
	if name == "currentColor" {
		name = l.current
	}
	switch {
	case name == "none" || name == "":
		return c, false, nil
	case len(name) == 4 && name[0] == '#':
		name = "#" + strings.Repeat(name[1:2], 2) + strings.Repeat(name[2:3], 2) + strings.Repeat(name[3:4], 2)
	}
	v, perr := strconv.ParseUint(strings.TrimPrefix(name, "#"), 16, 32)
	if perr != nil || len(name) != 7 {
		return c, false, fmt.Errorf("the picture has a colour %q; want #rrggbb", name)
	}
	return color.RGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 255}, true, nil
}

type spot struct{ x, y float64 }

// path fills and strokes path data.
func (r *raster) path(d string, l look) error {
	lines, closed, err := flatten(d)
	if err != nil {
		return err
	}
	for i := range lines {
		for k, p := range lines[i] {
			lines[i][k] = spot{l.at.a*p.x + l.at.e, l.at.d*p.y + l.at.f}
		}
	}
	if c, ok, err := l.ink(l.fill); err != nil {
		return err
	} else if ok {
		for _, line := range lines {
			r.polygon(line)
		}
		r.paint(c)
	}
	if c, ok, err := l.ink(l.stroke); err != nil {
		return err
	} else if ok {
		r.stroke(lines, closed, l.width*math.Abs(l.at.a)/2, c)
	}
	return nil
}

func (r *raster) polygon(line []spot) { r.lines = append(r.lines, append([]spot(nil), line...)) }

// paint fills what polygon has collected. Only the part of the picture that it touches is worked on: most shapes are small.
func (r *raster) paint(c color.RGBA) {
	box := image.Rectangle{}
	for i, line := range r.lines {
		for k, p := range line {
			q := image.Rect(int(math.Floor(p.x))-1, int(math.Floor(p.y))-1, int(math.Ceil(p.x))+1, int(math.Ceil(p.y))+1)
			if i == 0 && k == 0 {
				box = q
			} else {
				box = box.Union(q)
			}
		}
	}
	box = box.Intersect(r.img.Bounds())
	if !box.Empty() {
		r.z.Reset(box.Dx(), box.Dy())
		x, y := float64(box.Min.X), float64(box.Min.Y)
		for _, line := range r.lines {
			for i, p := range line {
				if i == 0 {
					r.z.MoveTo(float32(p.x-x), float32(p.y-y))
				} else {
					r.z.LineTo(float32(p.x-x), float32(p.y-y))
				}
			}
			r.z.ClosePath()
		}
		r.z.Draw(r.img, box, image.NewUniform(c), image.Point{})
	}
	r.lines = r.lines[:0]
}

// stroke draws lines half wide to either side, with round ends and joins. All pieces turn the same way, so that where they lie over
// each other they add up.
func (r *raster) stroke(lines [][]spot, closed []bool, half float64, c color.RGBA) {
	half = math.Max(half, 0.35)
	const corners = 16
	for i, line := range lines {
		if closed[i] && len(line) > 1 {
			line = append(line[:len(line):len(line)], line[0])
		}
		for k, p := range line {
			var disc [corners]spot
			for n := range disc {
				a := 2 * math.Pi * float64(n) / corners
				disc[n] = spot{p.x + half*math.Cos(a), p.y + half*math.Sin(a)}
			}
			r.polygon(disc[:])
			if k == 0 {
				continue
			}
			q := line[k-1]
			dx, dy := p.x-q.x, p.y-q.y
			far := math.Hypot(dx, dy)
			if far == 0 {
				continue
			}
			nx, ny := -dy/far*half, dx/far*half
			r.polygon([]spot{{q.x - nx, q.y - ny}, {p.x - nx, p.y - ny}, {p.x + nx, p.y + ny}, {q.x + nx, q.y + ny}})
		}
	}
	r.paint(c)
}

// flatten turns path data into lines; a curve becomes 12 of them.
func flatten(d string) (lines [][]spot, closed []bool, err error) {
	s := &pathScanner{s: d}
	var at, start spot
	var cmd byte
	add := func(p spot) { at = p; lines[len(lines)-1] = append(lines[len(lines)-1], p) }
	for {
		c, more := s.command(cmd)
		if !more {
			break
		}
		cmd = c
		base := spot{}
		if c >= 'a' {
			base = at
		}
		if len(lines) == 0 && c != 'M' && c != 'm' {
			return nil, nil, fmt.Errorf("path data begins with %q; want M", c)
		}
		switch c {
		case 'M', 'm':
			x, y := s.number(), s.number()
			start = spot{base.x + x, base.y + y}
			lines, closed = append(lines, nil), append(closed, false)
			add(start)
			cmd = c - 'M' + 'L' // further pairs are lines
		case 'L', 'l':
			x, y := s.number(), s.number()
			add(spot{base.x + x, base.y + y})
		case 'H', 'h':
			add(spot{base.x + s.number(), at.y})
		case 'V', 'v':
			add(spot{at.x, base.y + s.number()})
		case 'C', 'c', 'Q', 'q':
			var p [4]spot
			p[0] = at
			n := 3
			if c == 'Q' || c == 'q' {
				n = 2
			}
			for i := 1; i <= n; i++ {
				x, y := s.number(), s.number()
				p[i] = spot{base.x + x, base.y + y}
			}
			if n == 2 { // as a cubic
				q := p[1]
				p[3] = p[2]
				p[1] = spot{p[0].x + 2*(q.x-p[0].x)/3, p[0].y + 2*(q.y-p[0].y)/3}
				p[2] = spot{p[3].x + 2*(q.x-p[3].x)/3, p[3].y + 2*(q.y-p[3].y)/3}
			}
			const pieces = 12
			for i := 1; i <= pieces; i++ {
				t := float64(i) / pieces
				u := 1 - t
				a, b, cc, dd := u*u*u, 3*u*u*t, 3*u*t*t, t*t*t
				add(spot{a*p[0].x + b*p[1].x + cc*p[2].x + dd*p[3].x, a*p[0].y + b*p[1].y + cc*p[2].y + dd*p[3].y})
			}
		case 'Z', 'z':
			closed[len(closed)-1] = true
			at = start
			// What follows without a move begins here.
			if next, more := s.peek(); more && next != 'M' && next != 'm' {
				lines, closed = append(lines, []spot{start}), append(closed, false)
			}
		default:
			return nil, nil, fmt.Errorf("path data has a command %q, which can't be drawn here", c)
		}
		if s.bad {
			return nil, nil, fmt.Errorf("path data %q can't be read", d)
		}
	}
	return lines, closed, nil
}

type pathScanner struct {
	s   string
	bad bool
}

func (p *pathScanner) space() { p.s = strings.TrimLeft(p.s, " ,\n\t") }

func (p *pathScanner) peek() (byte, bool) {
	p.space()
	if p.s == "" {
		return 0, false
	}
	return p.s[0], true
}

// command reads a letter; where there is a number instead the command before is meant again.
func (p *pathScanner) command(before byte) (byte, bool) {
	c, more := p.peek()
	if !more {
		return 0, false
	}
	if c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' {
		p.s = p.s[1:]
		return c, true
	}
	if before == 0 || before == 'Z' || before == 'z' {
		p.bad = true
		return 'M', true
	}
	return before, true
}

func (p *pathScanner) number() float64 {
	p.space()
	i := 0
	dot := false
	for i < len(p.s) {
		c := p.s[i]
		if c >= '0' && c <= '9' || (c == '-' || c == '+') && i == 0 || c == '.' && !dot {
			dot = dot || c == '.'
			i++
			continue
		}
		break
	}
	x, err := strconv.ParseFloat(p.s[:i], 64)
	if err != nil {
		p.bad = true
	}
	p.s = p.s[i:]
	return x
}

// typeface is one of the Go fonts.
func typeface(bold, italic bool) *sfnt.Font {
	f := fonts()
	switch {
	case bold:
		return f[1]
	case italic:
		return f[2]
	}
	return f[0]
}

var fonts = sync.OnceValue(func() (out [3]*sfnt.Font) {
	for i, data := range [][]byte{goregular.TTF, gobold.TTF, goitalic.TTF} {
		f, err := opentype.Parse(data)
		if err != nil {
			panic("a font of the module can't be read: " + err.Error()) // it can: a test does
		}
		out[i] = f
	}
	return out
})

// signs writes what the fonts don't have in letters that they do.
var signs = strings.NewReplacer("♯", "#", "♭", "b", "♮", "nat.", "𝄪", "x", "𝄫", "bb")

// words sets text at the pen.
func (r *raster) words(s string) {
	if len(r.stack) == 0 {
		return
	}
	l := r.stack[len(r.stack)-1]
	if l.silent || l.name != "text" && l.name != "tspan" || strings.TrimSpace(s) == "" {
		return
	}
	c, ok, err := l.ink(l.fill)
	if err != nil || !ok {
		return
	}
	f := typeface(l.bold, l.italic)
	var buf sfnt.Buffer
	ppem := fixed.Int26_6(l.size * math.Abs(l.at.a) * 64)
	x, y := l.at.a*r.penX+l.at.e, l.at.d*r.penY+l.at.f
	switch w := inkWidth(s, l.size, l.bold) * l.at.a; l.anchor {
	case "middle":
		x -= w / 2
	case "end":
		x -= w
	}
	from := x
	type placed struct {
		line []spot
	}
	var outlines []placed
	for _, ch := range signs.Replace(s) {
		g, err := f.GlyphIndex(&buf, ch)
		if err != nil {
			continue
		}
		segs, err := f.LoadGlyph(&buf, g, ppem, nil)
		if err == nil {
			var line []spot
			at := func(p fixed.Point26_6) spot { return spot{x + float64(p.X)/64, y + float64(p.Y)/64} }
			for _, sg := range segs {
				switch sg.Op {
				case sfnt.SegmentOpMoveTo:
					if line != nil {
						outlines = append(outlines, placed{line})
					}
					line = []spot{at(sg.Args[0])}
				case sfnt.SegmentOpLineTo:
					line = append(line, at(sg.Args[0]))
				case sfnt.SegmentOpQuadTo, sfnt.SegmentOpCubeTo:
					p0, p1 := line[len(line)-1], at(sg.Args[0])
					p2 := at(sg.Args[1])
					for i := 1; i <= 8; i++ {
						t := float64(i) / 8
						u := 1 - t
						if sg.Op == sfnt.SegmentOpQuadTo {
							line = append(line, spot{u*u*p0.x + 2*u*t*p1.x + t*t*p2.x, u*u*p0.y + 2*u*t*p1.y + t*t*p2.y})
						} else {
							p3 := at(sg.Args[2])
							line = append(line, spot{u*u*u*p0.x + 3*u*u*t*p1.x + 3*u*t*t*p2.x + t*t*t*p3.x, u*u*u*p0.y + 3*u*u*t*p1.y + 3*u*t*t*p2.y + t*t*t*p3.y})
						}
					}
				}
			}
			if line != nil {
				outlines = append(outlines, placed{line})
			}
		}
		if w, err := f.GlyphAdvance(&buf, g, ppem, font.HintingNone); err == nil {
			x += float64(w) / 64
		}
	}
	if l.paintStroke { // a halo, so that what lies under the text doesn't disturb it
		if h, ok, err := l.ink(l.stroke); err == nil && ok {
			var lines [][]spot
			for _, o := range outlines {
				lines = append(lines, o.line)
			}
			all := make([]bool, len(lines))
			for i := range all {
				all[i] = true
			}
			r.stroke(lines, all, l.width*math.Abs(l.at.a)/2, h)
		}
	}
	for _, o := range outlines {
		r.polygon(o.line)
	}
	r.paint(c)
	r.penX += (x - from) / l.at.a
}

// inkWidth is how wide a text is in the fonts of the pictures, in the unit of size.
func inkWidth(s string, size float64, bold bool) float64 {
	f := typeface(bold, false)
	var buf sfnt.Buffer
	w := 0.
	for _, ch := range signs.Replace(s) {
		if g, err := f.GlyphIndex(&buf, ch); err == nil {
			if a, err := f.GlyphAdvance(&buf, g, fixed.I(100), font.HintingNone); err == nil {
				w += float64(a) / 6400
			}
		}
	}
	return w * size
}

// textLines breaks a text into lines no wider than width.
func textLines(s string, size, width int, bold bool) []string {
	var out []string
	line := ""
	for _, w := range strings.Fields(s) {
		longer := strings.TrimSpace(line + " " + w)
		if line != "" && inkWidth(longer, float64(size), bold) > float64(width) {
			out, longer = append(out, line), w
		}
		line = longer
	}
	return append(out, line)
}
