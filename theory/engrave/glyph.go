package engrave

import "sync"

// The shapes below are our own drawing: strokes of a broad pen, ovals and curves, made for this program. Lengths are staff
// spaces. Their proportions follow what any printed page shows: a head is a space high, a stem three and a half long, a clef
// reaches from below the staff to above it.

// A glyph is one shape. Its origin is at the left edge, at the height of the note, line or rest it stands for.
type glyph struct {
	shape outline
	box   rect
	data  string
}

// Names of glyphs. They are the ids of the shapes in the picture, after a prefix.
const (
	gTreble     = "treble"
	gBass       = "bass"
	gAlto       = "cclef"
	gBlack      = "black"
	gHalf       = "half"
	gWhole      = "whole"
	gBreve      = "breve"
	gRestLong   = "rest-long"
	gRestBreve  = "rest-breve"
	gRestWhole  = "rest-whole"
	gRestHalf   = "rest-half"
	gRestQuart  = "rest-quarter"
	gSharp      = "sharp"
	gFlat       = "flat"
	gNatural    = "natural"
	gDblSharp   = "double-sharp"
	gDblFlat    = "double-flat"
	gTriSharp   = "triple-sharp"
	gTriFlat    = "triple-flat"
	gParenLeft  = "paren-left"
	gParenRight = "paren-right"
	gDot        = "dot"
	gSegno      = "segno"
	gCoda       = "coda"
)

var glyphs = sync.OnceValue(func() map[string]*glyph {
	m := map[string]*glyph{}
	add := func(name string, o ...contour) {
		shape := outline(o)
		m[name] = &glyph{shape: shape, box: shape.bounds(), data: shape.data()}
	}
	add(gTreble, treble()...)
	add(gBass, bass()...)
	add(gAlto, alto()...)
	heads(add)
	rests(add)
	accidentals(add)
	flags(add)
	digits(add)
	letters(add)
	add(gDot, oval(point{0.2, 0}, 0.2, 0.2, 0))
	add(gSegno, segno()...)
	add(gCoda, coda()...)
	return m
})

// treble is drawn in one stroke, as by hand: from the curl round the G line outward, up, over the top and down to the hook.
func treble() outline {
	return outline{
		pen(nib{1.30, 0.42, .05}, nib{1.02, 0.22, .11}, nib{0.98, -0.22, .20}, nib{1.30, -0.60, .27}, nib{1.78, -0.58, .34}, nib{2.16, -0.16, .38},
			nib{2.15, 0.42, .33}, nib{1.78, 0.88, .22}, nib{1.20, 1.00, .15}, nib{0.60, 0.74, .26}, nib{0.25, 0.14, .37},
			nib{0.32, -0.66, .36}, nib{0.75, -1.42, .33}, nib{1.28, -2.10, .33}, nib{1.66, -2.85, .31}, nib{1.74, -3.60, .25},
			nib{1.58, -4.12, .13}, nib{1.28, -3.98, .10}, nib{1.07, -3.40, .14}, nib{1.06, -2.70, .16}, nib{1.18, -1.80, .155},
			nib{1.36, -0.80, .15}, nib{1.54, 0.20, .15}, nib{1.70, 1.20, .15}, nib{1.72, 1.84, .14}, nib{1.50, 2.34, .12}, nib{1.10, 2.50, .11},
			nib{0.78, 2.32, .10}, nib{0.66, 2.02, .08}),
		oval(point{0.90, 1.98}, .32, .32, 0),
	}
}

func bass() outline {
	return outline{
		oval(point{0.40, -0.02}, .36, .36, 0),
		pen(nib{0.10, 0.06, .10}, nib{0.10, -0.36, .12}, nib{0.38, -0.80, .13}, nib{0.92, -1.00, .15}, nib{1.46, -0.82, .32}, nib{1.74, -0.24, .46},
			nib{1.64, 0.48, .42}, nib{1.20, 1.24, .28}, nib{0.56, 1.90, .15}, nib{-0.05, 2.32, .05}),
		oval(point{2.42, -0.5}, .20, .20, 0),
		oval(point{2.42, 0.5}, .20, .20, 0),
	}
}

func alto() outline {
	arm := outline{
		oval(point{1.36, -1.50}, .27, .27, 0),
		pen(nib{1.18, -1.50, .08}, nib{1.26, -1.82, .10}, nib{1.66, -1.97, .12}, nib{2.06, -1.78, .30}, nib{2.24, -1.28, .42}, nib{2.10, -0.76, .30},
			nib{1.74, -0.52, .13}, nib{1.40, -0.60, .08}),
		pen(nib{1.00, 0.05, .16}, nib{1.24, -0.20, .13}, nib{1.38, -0.72, .05}),
	}
	out := outline{
		lines(point{0, -2}, point{.5, -2}, point{.5, 2}, point{0, 2}),
		lines(point{.74, -2}, point{.87, -2}, point{.87, 2}, point{.74, 2}),
		lines(point{.87, -.06}, point{1.06, -.1}, point{1.06, .1}, point{.87, .06}),
	}
	return append(append(out, arm...), arm.flipped()...)
}

func heads(add func(string, ...contour)) {
	add(gBlack, oval(point{0.60, 0}, .62, .435, -24).fit(0, 1.20, .49))
	add(gHalf, oval(point{0.62, 0}, .62, .44, -24).fit(0, 1.22, .49), oval(point{0.61, 0}, .53, .235, -33).hole())
	add(gWhole, oval(point{0.85, 0}, .85, .49, 0), oval(point{0.85, 0}, .44, .33, 62).hole())
	add(gBreve, oval(point{1.10, 0}, .85, .49, 0), oval(point{1.10, 0}, .44, .33, 62).hole(),
		lines(point{0, -.49}, point{.11, -.49}, point{.11, .49}, point{0, .49}), lines(point{2.09, -.49}, point{2.2, -.49}, point{2.2, .49}, point{2.09, .49}))
}

// fit scales c so that it spans x from x0 to x1 and y from -h to h.
func (c contour) fit(x0, x1, h float64) contour {
	b := outline{c}.bounds()
	out := make(contour, len(c))
	for i, p := range c {
		out[i] = point{x0 + (p.x-b.x0)/(b.x1-b.x0)*(x1-x0), -h + (p.y-b.y0)/(b.y1-b.y0)*2*h}
	}
	return out
}

func rests(add func(string, ...contour)) {
	block := func(x, y, w, h float64) contour {
		return lines(point{x, y}, point{x + w, y}, point{x + w, y + h}, point{x, y + h})
	}
	// The origin is the middle line.
	add(gRestLong, block(0, -1, .5, 2))
	add(gRestBreve, block(0, -1, .5, 1))
	add(gRestWhole, block(0, -1, 1.15, .52))
	add(gRestHalf, block(0, -.52, 1.15, .52))
	add(gRestQuart, curves(point{.30, -1.48},
		point{.50, -1.20}, point{.72, -.96}, point{.96, -.70},
		point{.72, -.46}, point{.60, -.28}, point{.62, -.08},
		point{.64, .14}, point{.84, .44}, point{1.06, .66},
		point{1.05, .70}, point{1.03, .73}, point{.99, .73},
		point{.72, .58}, point{.46, .68}, point{.46, .94},
		point{.46, 1.14}, point{.58, 1.30}, point{.74, 1.44},
		point{.74, 1.48}, point{.71, 1.50}, point{.67, 1.49},
		point{.28, 1.28}, point{.06, 1.02}, point{.10, .74},
		point{.14, .48}, point{.38, .36}, point{.66, .42},
		point{.46, .22}, point{.22, -.04}, point{.10, -.22},
		point{.38, -.44}, point{.54, -.58}, point{.52, -.78},
		point{.50, -.98}, point{.36, -1.20}, point{.22, -1.38},
		point{.22, -1.45}, point{.26, -1.50}, point{.30, -1.48}))
	for n := 1; n <= 6; n++ { // eighth to 256th
		up := float64((n - 1) / 2) // the first ball goes up a space for every second one
		down := 1 + float64(n/2)   // and the foot goes down
		const lean = 0.28          // how far the stem leans for a space
		top := point{0.94, -.62 - up}
		foot := point{top.x - lean*(down-top.y), down}
		var o outline
		for i := range n {
			y := -.42 - up + float64(i)
			shift := -lean * float64(i)
			o = append(o, oval(point{.25 + shift, y - .02}, .25, .25, 0),
				pen(nib{.10 + shift, y + .10, .10}, nib{.36 + shift, y + .24, .12}, nib{.64 + shift, y + .10, .10}, nib{.92 + shift, y - .20, .07}))
		}
		o = append(o, lines(point{top.x - .07, top.y}, point{top.x + .06, top.y - .02}, point{foot.x + .15, foot.y}, point{foot.x, foot.y}))
		add(restName(n), o.moved(lean*float64(n-1), 0, 1, 0)...)
	}
}

// restName and flagName name what has n flags.
func restName(n int) string { return "rest-" + string(rune('0'+n)) }

func flagName(n int, up bool) string {
	if up {
		return "flag-up-" + string(rune('0'+n))
	}
	return "flag-down-" + string(rune('0'+n))
}

func accidentals(add func(string, ...contour)) {
	bar := func(x0, y0, x1, y1, h float64) contour {
		return lines(point{x0, y0 - h/2}, point{x1, y1 - h/2}, point{x1, y1 + h/2}, point{x0, y0 + h/2})
	}
	stick := func(x, y0, y1, w float64) contour {
		return lines(point{x, y0}, point{x + w, y0}, point{x + w, y1}, point{x, y1})
	}
	sharp := outline{stick(.25, -1.30, 1.42, .10), stick(.64, -1.42, 1.30, .10), bar(0, -.36, .99, -.62, .27), bar(0, .62, .99, .36, .27)}
	add(gSharp, sharp...)
	add(gNatural, stick(0, -1.40, .66, .10), stick(.58, -.66, 1.40, .10), bar(0, -.34, .68, -.52, .25), bar(0, .52, .68, .34, .25))
	flat := outline{
		stick(0, -1.75, .70, .11),
		curves(point{.05, -.18}, point{.32, -.54}, point{.90, -.58}, point{.90, -.10}, point{.90, .28}, point{.42, .50}, point{.02, .76},
			point{.02, .70}, point{.02, .66}, point{.06, .60}, point{.30, .36}, point{.56, .16}, point{.56, -.12},
			point{.56, -.38}, point{.26, -.28}, point{.05, -.02}, point{.05, -.06}, point{.05, -.1}, point{.05, -.18}),
	}
	add(gFlat, flat...)
	add(gDblFlat, append(flat.moved(0, 0, 1, 0), flat.moved(.70, 0, 1, 0)...)...)
	add(gTriFlat, append(append(flat.moved(0, 0, 1, 0), flat.moved(.70, 0, 1, 0)...), flat.moved(1.40, 0, 1, 0)...)...)
	cross := func(dx float64) outline {
		o := outline{lines(point{.18, -.30}, point{.30, -.18}, point{.82, .30}, point{.70, .18}, point{.82, .30}, point{.70, .40}),
			lines(point{.20, -.32}, point{.32, -.20}, point{.80, .32}, point{.68, .20})}
		o = outline{
			lines(point{.16, -.38}, point{.28, -.42}, point{.92, .38}, point{.80, .42}),
			lines(point{.92, -.38}, point{.80, -.42}, point{.16, .38}, point{.28, .42}),
		}
		for _, x := range []float64{.04, .70} {
			for _, y := range []float64{-.50, .16} {
				o = append(o, lines(point{x, y}, point{x + .34, y}, point{x + .34, y + .34}, point{x, y + .34}))
			}
		}
		return o.moved(dx, 0, 1, 0)
	}
	add(gDblSharp, cross(-.04)...)
	add(gTriSharp, append(sharp.moved(0, 0, 1, 0), cross(1.06)...)...)
	add(gParenLeft, pen(nib{.40, -1.0, .03}, nib{.16, -.5, .12}, nib{.08, 0, .15}, nib{.16, .5, .12}, nib{.40, 1.0, .03}))
	add(gParenRight, pen(nib{0, -1.0, .03}, nib{.24, -.5, .12}, nib{.32, 0, .15}, nib{.24, .5, .12}, nib{0, 1.0, .03}))
}

// flags hang from the end of the stem, whose right edge is x = 0.
func flags(add func(string, ...contour)) {
	for n := 1; n <= 6; n++ {
		var o outline
		for i := range n {
			y := .74 * float64(i)
			at := func(x, dy float64) point { return point{x, y + dy} }
			if n == 1 {
				o = append(o, curves(at(0, 0), at(.08, .66), at(.44, .98), at(.74, 1.42), at(1.02, 1.86), at(1.02, 2.50), at(.72, 3.08),
					at(.68, 3.06), at(.66, 3.06), at(.66, 3.02), at(.88, 2.46), at(.80, 2.00), at(.54, 1.66), at(.32, 1.38), at(.12, 1.20), at(0, 1.04), at(0, .7), at(0, .35), at(0, 0)))
				continue
			}
			long := 0.0
			if i == n-1 {
				long = .5
			}
			o = append(o, curves(at(0, 0), at(.06, .46), at(.46, .72), at(.74, 1.06), at(.98, 1.36+long*.5), at(.96, 1.74+long), at(.80, 2.08+long),
				at(.77, 2.08+long), at(.75, 2.07+long), at(.74, 2.04+long), at(.84, 1.72+long), at(.80, 1.48+long*.5), at(.54, 1.24), at(.32, 1.02), at(.12, .92), at(0, .78), at(0, .5), at(0, .25), at(0, 0)))
		}
		add(flagName(n, true), o...)
		add(flagName(n, false), o.flipped()...)
	}
}

// digits are two spaces high, as in a time signature; the origin is their middle. "d" and the figure name them.
func digits(add func(string, ...contour)) {
	ball := func(x, y, r float64) contour { return oval(point{x, y}, r, r, 0) }
	add("d0", oval(point{.70, 0}, .70, .98, 0), oval(point{.70, 0}, .28, .84, 0).hole())
	add("d1", lines(point{.38, -.96}, point{.78, -.98}, point{.78, .84}, point{.98, .90}, point{.98, .98}, point{.16, .98}, point{.16, .90}, point{.38, .84}),
		lines(point{.40, -.98}, point{.40, -.66}, point{.06, -.36}, point{0, -.44}))
	add("d2", ball(.30, -.46, .27), pen(nib{.12, -.44, .08}, nib{.22, -.78, .12}, nib{.60, -.93, .14}, nib{.98, -.74, .34}, nib{1.04, -.38, .38}, nib{.72, .06, .28}, nib{.30, .44, .18}, nib{.10, .86, .08}),
		pen(nib{.08, .90, .10}, nib{.34, .66, .22}, nib{.70, .76, .36}, nib{1.02, .84, .26}, nib{1.22, .50, .07}))
	add("d3", ball(.30, -.52, .25), ball(.28, .52, .27),
		pen(nib{.14, -.54, .08}, nib{.26, -.82, .11}, nib{.60, -.93, .13}, nib{.92, -.74, .32}, nib{.94, -.38, .32}, nib{.66, -.08, .14}, nib{.42, -.02, .12}),
		pen(nib{.42, -.03, .12}, nib{.76, .02, .16}, nib{1.04, .30, .36}, nib{.98, .70, .34}, nib{.60, .92, .13}, nib{.26, .84, .11}, nib{.10, .54, .08}))
	add("d4", lines(point{.44, -.98}, point{.94, -.98}, point{.28, .36}, point{1.34, .36}, point{1.34, .54}, point{0, .54}, point{0, .40}),
		lines(point{.62, -.16}, point{1.02, -.50}, point{1.02, .84}, point{1.20, .90}, point{1.20, .98}, point{.44, .98}, point{.44, .90}, point{.62, .84}))
	add("d5", ball(.28, .50, .27), lines(point{.16, -.98}, point{.30, -.96}, point{.24, -.02}, point{.12, -.02}),
		pen(nib{.16, -.84, .24}, nib{.56, -.74, .32}, nib{.92, -.84, .20}, nib{1.08, -1.00, .05}),
		pen(nib{.16, -.04, .07}, nib{.50, -.26, .16}, nib{.90, -.10, .34}, nib{1.00, .34, .40}, nib{.84, .74, .28}, nib{.50, .93, .12}, nib{.22, .82, .10}, nib{.08, .54, .07}))
	six := outline{ball(.92, -.52, .24),
		pen(nib{1.10, -.50, .07}, nib{1.02, -.80, .10}, nib{.70, -.94, .11}, nib{.34, -.66, .30}, nib{.20, -.06, .40}, nib{.28, .56, .34}, nib{.66, .92, .12}, nib{.98, .72, .28}, nib{1.02, .34, .34}, nib{.80, -.02, .16}, nib{.44, .06, .08}, nib{.30, .30, .06})}
	add("d6", six...)
	nine := make(outline, 0, 2)
	for _, c := range six {
		var d contour
		for _, p := range c {
			d = append(d, point{1.20 - p.x, -p.y})
		}
		nine = append(nine, d.solid())
	}
	add("d9", nine...)
	add("d7", lines(point{0, -.98}, point{.12, -.98}, point{.12, -.30}, point{0, -.30}),
		pen(nib{.08, -.62, .08}, nib{.32, -.86, .30}, nib{.66, -.72, .30}, nib{.98, -.82, .16}, nib{1.12, -.98, .06}),
		pen(nib{1.12, -.94, .05}, nib{.94, -.52, .14}, nib{.64, -.06, .26}, nib{.52, .40, .40}, nib{.54, .96, .42}))
	add("d8", pen(nib{.66, -.93, .12}, nib{.34, -.80, .22}, nib{.30, -.46, .34}, nib{.66, -.06, .40}, nib{1.02, .34, .36}, nib{1.00, .74, .24}, nib{.66, .92, .12}, nib{.28, .74, .22}, nib{.24, .40, .22}, nib{.60, .00, .12},
		nib{.92, -.36, .16}, nib{.94, -.72, .20}, nib{.66, -.93, .12}))
	add("d+", lines(point{0, -.09}, point{.8, -.09}, point{.8, .09}, point{0, .09}), lines(point{.31, -.4}, point{.49, -.4}, point{.49, .4}, point{.31, .4}))
}

// letters are those of dynamic marks; the origin is the base line. "l" and the letter name them. They lean.
func letters(add func(string, ...contour)) {
	slant := func(o ...contour) outline { return outline(o).moved(0, 0, 1, .24) }
	foot := func(x, y, w float64) contour {
		return lines(point{x, y - .05}, point{x + w, y - .05}, point{x + w, y + .05}, point{x, y + .05})
	}
	add("lp", slant(
		pen(nib{-.10, -.70, .05}, nib{.10, -.98, .12}, nib{.28, -.94, .22}, nib{.30, -.60, .30}, nib{.26, .10, .28}, nib{.24, .62, .26}),
		foot(-.06, .64, .62),
		pen(nib{.34, -.62, .06}, nib{.58, -.94, .14}, nib{.86, -.96, .24}, nib{1.00, -.60, .34}, nib{.90, -.16, .26}, nib{.62, .00, .12}, nib{.36, -.14, .08}))...)
	add("lm", slant(
		pen(nib{-.10, -.72, .05}, nib{.06, -.96, .12}, nib{.20, -.88, .22}, nib{.20, -.50, .24}, nib{.18, .02, .24}),
		pen(nib{.24, -.60, .05}, nib{.44, -.94, .12}, nib{.62, -.90, .22}, nib{.64, -.50, .24}, nib{.62, .02, .24}),
		pen(nib{.68, -.60, .05}, nib{.88, -.94, .12}, nib{1.06, -.90, .22}, nib{1.08, -.46, .24}, nib{1.06, -.12, .20}, nib{1.20, -.02, .10}, nib{1.34, -.22, .04}))...)
	add("lf", slant(
		oval(point{1.02, -1.42}, .15, .15, 0),
		pen(nib{1.14, -1.44, .06}, nib{1.00, -1.68, .09}, nib{.80, -1.66, .14}, nib{.64, -1.28, .24}, nib{.56, -.70, .28}, nib{.48, -.04, .26}, nib{.36, .46, .18}, nib{.16, .70, .10}, nib{-.04, .66, .08}, nib{-.12, .46, .05}),
		oval(point{0.02, .44}, .15, .15, 0),
		foot(.20, -.94, .74))...)
	add("ls", slant(
		oval(point{.62, -.72}, .12, .12, 0), oval(point{.14, -.20}, .12, .12, 0),
		pen(nib{.72, -.72, .05}, nib{.62, -.94, .08}, nib{.40, -.97, .12}, nib{.20, -.80, .20}, nib{.30, -.56, .26}, nib{.52, -.38, .26}, nib{.58, -.16, .18}, nib{.38, .02, .10}, nib{.14, -.02, .08}, nib{.04, -.20, .05}))...)
	add("lz", slant(
		pen(nib{.08, -.66, .06}, nib{.22, -.90, .20}, nib{.48, -.84, .20}, nib{.74, -.98, .06}),
		pen(nib{.74, -.96, .06}, nib{.40, -.46, .09}, nib{.04, .02, .06}),
		pen(nib{.04, .00, .06}, nib{.26, -.14, .18}, nib{.52, -.04, .22}, nib{.74, -.30, .05}))...)
	add("lr", slant(
		pen(nib{-.10, -.72, .05}, nib{.06, -.96, .12}, nib{.22, -.88, .24}, nib{.22, -.50, .26}, nib{.20, .02, .26}),
		pen(nib{.28, -.56, .05}, nib{.46, -.92, .10}, nib{.66, -.94, .14}),
		oval(point{.66, -.84}, .14, .14, 0))...)
	add("ln", slant(
		pen(nib{-.10, -.72, .05}, nib{.06, -.96, .12}, nib{.20, -.88, .22}, nib{.20, -.50, .24}, nib{.18, .02, .24}),
		pen(nib{.24, -.60, .05}, nib{.46, -.94, .12}, nib{.64, -.90, .22}, nib{.66, -.46, .24}, nib{.64, -.12, .20}, nib{.78, -.02, .10}, nib{.92, -.22, .04}))...)
}

func segno() outline {
	o := outline{
		pen(nib{1.42, -2.16, .06}, nib{1.30, -2.52, .12}, nib{.86, -2.66, .16}, nib{.42, -2.40, .30}, nib{.46, -1.98, .38}, nib{.98, -1.56, .40}, nib{1.44, -1.10, .40}, nib{1.46, -.66, .30}, nib{1.00, -.42, .16}, nib{.56, -.56, .12}, nib{.46, -.90, .06}),
		oval(point{1.34, -2.12}, .16, .16, 0), oval(point{.56, -.96}, .16, .16, 0),
		lines(point{1.66, -2.62}, point{1.80, -2.54}, point{.24, -.38}, point{.10, -.46}),
		oval(point{.16, -1.40}, .16, .16, 0), oval(point{1.76, -1.68}, .16, .16, 0),
	}
	return o
}

func coda() outline {
	return outline{
		oval(point{.95, -1.5}, .72, .98, 0), oval(point{.95, -1.5}, .44, .86, 0).hole(),
		lines(point{.89, -2.80}, point{1.01, -2.80}, point{1.01, -.20}, point{.89, -.20}),
		lines(point{-.05, -1.56}, point{1.95, -1.56}, point{1.95, -1.44}, point{-.05, -1.44}),
	}
}

// brace returns a brace from y = 0 down to h, its point at x = 0.
func brace(h float64) outline {
	w := 1.25
	at := func(x, y, n float64) nib { return nib{x * w, y * h, n} }
	return outline{penFine(2, at(1, 0, .04), at(.62, .07, .22), at(.46, .16, .36), at(.50, .27, .34), at(.56, .36, .24), at(.46, .44, .14), at(.02, .5, .03)),
		penFine(2, at(.02, .5, .03), at(.46, .56, .14), at(.56, .64, .24), at(.50, .73, .34), at(.46, .84, .36), at(.62, .93, .22), at(1, 1, .04))}
}
