package engrave

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Key is a key of the keyboard to be shown as played. Hand 0 stands for either.
type Key struct {
	Pitch pitch.Pitch
	Hand  score.Hand
	Label string // over or under the keyboard; if it is empty, the name of the note
}

// KeyOptions tell how to draw a keyboard. The zero value shows the octaves that the keys need.
type KeyOptions struct {
	From, To    pitch.Pitch // the range to show at least; equal if the keys decide
	Width       float64     // in CSS pixels; 0 for its natural width
	Prefix      string      // put before every id
	Interactive bool        // all keys of the range carry ids and labels, to be pressed
	Ink, Paper  string
	Title       string
}

// The sizes of a keyboard, in staff spaces: real keys are 23.5 mm wide and 150 mm long, the black ones 13.7 and 95 mm (common
// sizes, no source); here they are shorter.
const (
	whiteWide = 2.6
	whiteLong = 11.0
	blackWide = 1.55
	blackLong = 6.8
	keyText   = 1.5
)

// Keyboard draws the part of a keyboard that holds the given keys. The right hand's keys carry a disc, the left hand's a
// square, a key of both or neither a diamond, with the letters R and L; labels of black keys stand over the keyboard, those
// of white keys under it. In the Layout, Note is the index into keys, and boxes of kind KindHead are the keys played. It
// returns ErrNothing if there are neither keys nor a range.
func Keyboard(keys []Key, o KeyOptions) ([]byte, Layout, error) {
	lo, hi := math.MaxInt, math.MinInt
	if o.From != o.To {
		lo, hi = min(o.From.MIDI(), o.To.MIDI()), max(o.From.MIDI(), o.To.MIDI())
	}
	for _, k := range keys {
		lo, hi = min(lo, k.Pitch.MIDI()), max(hi, k.Pitch.MIDI())
	}
	if lo > hi {
		return nil, Layout{}, ErrNothing
	}
	lo, hi = max(lo, -24), min(hi, 159)
	if lo > hi {
		lo, hi = 60, 71
	}
	// From C or F below to E or B above.
	for pc := mod12(lo); pc != 0 && pc != 5; pc = mod12(lo) {
		lo--
	}
	for pc := mod12(hi); pc != 4 && pc != 11; pc = mod12(hi) {
		hi++
	}
	d := &drawing{}
	left := make(map[int]float64)
	x := margin
	for n := lo; n <= hi; n++ {
		if white(n) {
			left[n] = x
			x += whiteWide
		} else {
			left[n] = x - blackWide/2 + blackShift(n)
		}
	}
	right := x

	// Which keys are down, and what is said about each.
	type down struct {
		n      int
		hands  [3]bool
		labels []string
		first  int
	}
	var downs []*down
	for i, k := range keys {
		n := k.Pitch.MIDI()
		if n < lo || n > hi {
			continue
		}
		at := slices.IndexFunc(downs, func(d *down) bool { return d.n == n })
		if at < 0 {
			at = len(downs)
			downs = append(downs, &down{n: n, first: i})
		}
		e := downs[at]
		h := int(k.Hand)
		if h < 0 || h > 2 {
			h = 0
		}
		e.hands[h] = true
		l := k.Label
		if l == "" {
			l = k.Pitch.Class().Pretty()
		}
		if !slices.Contains(e.labels, l) {
			e.labels = append(e.labels, l)
		}
	}
	slices.SortFunc(downs, func(a, b *down) int { return a.n - b.n })

	// Labels take as many rows as they need.
	type placed struct{ x0, x1 float64 }
	rows := func(isWhite bool) ([]int, int) {
		var ends []float64
		out := make([]int, len(downs))
		for i, e := range downs {
			if white(e.n) != isWhite {
				continue
			}
			w := textWidth(strings.Join(e.labels, " / ")) * keyText
			c := left[e.n] + keyWide(e.n)/2
			r := 0
			for r < len(ends) && ends[r] > c-w/2 {
				r++
			}
			if r == len(ends) {
				ends = append(ends, 0)
			}
			ends[r] = c + w/2 + .5
			out[i] = r
		}
		return out, len(ends)
	}
	overRow, over := rows(false)
	underRow, under := rows(true)
	top := margin + float64(over)*1.9
	bottom := top + whiteLong

	key := func(n int, fill string) prim {
		p := prim{ink: fill, bar: -1, note: -1, class: "key-white"}
		if !white(n) {
			p.class = "key-black"
		}
		if o.Interactive {
			p.id = "k-" + strconv.Itoa(n)
		}
		return p
	}
	box := func(n int) rect {
		if white(n) {
			return rect{left[n], top, left[n] + whiteWide, bottom}
		}
		return rect{left[n], top, left[n] + blackWide, top + blackLong}
	}
	for pass := range 2 {
		for n := lo; n <= hi; n++ {
			if white(n) != (pass == 0) {
				continue
			}
			b := box(n)
			if white(n) {
				p := key(n, "")
				if o.Interactive {
					q := p
					q.ink, q.class = "none", "key-area"
					d.fill(outline{lines(point{b.x0, b.y0}, point{b.x1, b.y0}, point{b.x1, b.y1}, point{b.x0, b.y1})}, q)
				}
				d.stroke(.12, p, point{b.x0, b.y0}, point{b.x1, b.y0}, point{b.x1, b.y1}, point{b.x0, b.y1}, point{b.x0, b.y0})
				continue
			}
			d.fill(outline{lines(point{b.x0, b.y0}, point{b.x1, b.y0}, point{b.x1, b.y1}, point{b.x0, b.y1})}, key(n, ""))
		}
	}
	labels := map[string]string{}
	if o.Interactive {
		for n := lo; n <= hi; n++ {
			labels["k-"+strconv.Itoa(n)] = spoken(pitch.FromMIDI(n, false))
		}
	}
	var told []string
	for i, e := range downs {
		b := box(e.n)
		c := point{(b.x0 + b.x1) / 2, b.y1 - 1.5}
		id := "key-" + strconv.Itoa(e.n)
		hand, shape := "", Diamond
		switch {
		case e.hands[1] && !e.hands[2]:
			hand, shape = "R", Ring
		case e.hands[2] && !e.hands[1]:
			hand, shape = "L", Square
		case e.hands[1] && e.hands[2]:
			hand = "L R"
		}
		r := .68
		var o1 contour
		switch shape {
		case Ring:
			o1 = oval(c, r, r, 0)
		case Square:
			o1 = lines(point{c.x - r*.9, c.y - r*.9}, point{c.x + r*.9, c.y - r*.9}, point{c.x + r*.9, c.y + r*.9}, point{c.x - r*.9, c.y + r*.9})
		default:
			o1 = lines(point{c.x, c.y - r*1.15}, point{c.x + r*1.15, c.y}, point{c.x, c.y + r*1.15}, point{c.x - r*1.15, c.y})
		}
		p := prim{id: id, note: e.first, kind: KindHead, bar: -1, class: "key-down key-" + shape.String(), ink: keyInk[shape]}
		if !white(e.n) { // a light rim on the black key
			rim := p
			rim.kind, rim.class, rim.ink = "", "key-rim", "#fff"
			d.fill(outline{o1}.grown(c, 1.28), rim)
		}
		d.fill(outline{o1}, p)
		if hand != "" {
			st := textStyle{size: 1.25, bold: true}
			y := c.y - 1.15
			q := prim{id: id, note: e.first, bar: -1, class: "key-hand"}
			if !white(e.n) {
				q.ink = "#fff"
			}
			q.mid = true
			d.write(hand, c.x, y, st, false, q)
		}
		s := strings.Join(e.labels, " / ")
		y := bottom + 1.6 + 1.9*float64(underRow[i])
		if !white(e.n) {
			y = top - .6 - 1.9*float64(overRow[i])
		}
		if row := underRow[i] + overRow[i]; row > 0 {
			if white(e.n) {
				d.stroke(.07, prim{bar: -1, class: "leader"}, point{c.x, bottom + .2}, point{c.x, y - 1.3})
			} else {
				d.stroke(.07, prim{bar: -1, class: "leader"}, point{c.x, top - .2}, point{c.x, y + .3})
			}
		}
		d.write(s, c.x, y, textStyle{size: keyText}, false, prim{id: id, note: e.first, bar: -1, kind: KindLabel, class: "label", mid: true})
		words := map[string]string{"R": "right hand", "L": "left hand", "L R": "both hands", "": ""}[hand]
		t := spoken(keys[e.first].Pitch)
		if words != "" {
			t += ", " + words
		}
		if s != keys[e.first].Pitch.Class().Pretty() {
			t += ", " + s
		}
		labels[id] = t
		told = append(told, t)
	}
	l := Layout{W: right + margin, H: bottom + margin + 1.9*float64(under)}
	for i := range d.prims {
		l.W = math.Max(l.W, d.prims[i].box.x1+.5)
	}
	so := Options{Prefix: o.Prefix, Interactive: o.Interactive, Ink: o.Ink, Paper: o.Paper}
	scale := 7.0 / unit
	if o.Width > 0 {
		scale = o.Width / (l.W * unit)
	}
	title := o.Title
	if title == "" {
		title = "Keyboard"
	}
	desc := "No key is marked."
	if len(told) > 0 {
		desc = strings.Join(told, "; ") + "."
	}
	prefix := cleanPrefix(o.Prefix)
	for i := range d.prims {
		p := d.prims[i]
		if p.kind == "" {
			continue
		}
		l.Boxes = append(l.Boxes, Box{X: p.box.x0 * unit, Y: p.box.y0 * unit, W: (p.box.x1 - p.box.x0) * unit, H: (p.box.y1 - p.box.y0) * unit, Kind: p.kind, ID: prefix + p.id, Note: p.note, Bar: -1, Text: p.words})
	}
	out := picture(d, l.W, l.H, &so, scale, title, desc, labels)
	l.W, l.H, l.Scale = float64(whole(l.W)), float64(whole(l.H)), scale
	return out, l, nil
}

var keyInk = map[Shape]string{Ring: "#0b62b0", Square: "#b3470b", Diamond: "#0a7d5a"}

// grown returns o scaled about a point.
func (o outline) grown(c point, k float64) outline {
	return o.moved(-c.x, -c.y, 1, 0).moved(0, 0, k, 0).moved(c.x, c.y, 1, 0)
}

func mod12(n int) int { return ((n % 12) + 12) % 12 }

func white(n int) bool {
	switch mod12(n) {
	case 1, 3, 6, 8, 10:
		return false
	}
	return true
}

func keyWide(n int) float64 {
	if white(n) {
		return whiteWide
	}
	return blackWide
}

// blackShift is how far a black key lies from the crack between its neighbours: C# and F# to the left, D# and A# to the right.
func blackShift(n int) float64 {
	switch mod12(n) {
	case 1, 6:
		return -.28
	case 3, 10:
		return .28
	}
	return 0
}
