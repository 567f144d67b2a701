package engrave

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/score"
)

// Zones of rows: over the system, between its staves, under it.
const (
	zoneAbove = iota
	zoneBetween
	zoneBelow
)

// A row is a line of texts or brackets along the system, with a lane of its own.
type row struct {
	zone, order int
	lane        int
	rise, fall  float64 // how far its texts reach over and under the base line
	last        Time
	any         bool
}

// An item is a text or sign at a column.
type item struct {
	row    *row
	col    *column
	kind   Kind
	text   string
	style  textStyle
	glyphs []string // instead of text: letters of a dynamic mark, or a sign
	dx     float64  // from the column to the left edge
	width  float64
	tempo  bool
	note   string // what it says, for the layout
}

// A placedSpan is a bracket, a hairpin, an ending or a stretch of pedal.
type placedSpan struct {
	row                *row
	from, to           Time
	a, b               *column // where it begins and ends
	ai, bi             int     // their bars, from the first of the region
	kind               spanKind
	text               string
	style              textStyle
	width              float64
	openEnd            bool
	startMark, endMark score.PedalAct
}

type spanKind int8

const (
	spanBracket spanKind = iota
	spanLouder
	spanSofter
	spanEnding
	spanPedal
)

// clip returns the columns between which a span lies within a row of bars, nil if it doesn't.
func (s *placedSpan) clip(g *grid, first, last int) (a, b *column) {
	if s.bi < first || s.ai > last {
		return nil, nil
	}
	a, b = s.a, s.b
	if s.ai < first {
		a = g.bars[first][0]
	}
	if s.bi > last {
		b = g.bars[last][len(g.bars[last])-1]
	}
	return a, b
}

func (s *placedSpan) startsIn(g *grid, first, last int) bool { return s.ai >= first && s.ai <= last }

// A textStyle is how a text is set: its size in staff spaces, and whether it is slanted or heavy.
type textStyle struct {
	size          float64
	slanted, bold bool
	figures       bool
}

var (
	readingStyle = textStyle{size: 1.9}
	numeralStyle = textStyle{size: 2.0, figures: true}
	commentStyle = textStyle{size: 1.55, slanted: true}
	labelStyle   = textStyle{size: labelSize}
	spanStyle    = textStyle{size: 1.55}
	numberStyle  = textStyle{size: 1.35}
	wordStyle    = textStyle{size: 1.75, slanted: true}
	tempoStyle   = textStyle{size: 1.7, bold: true}
)

func (t textStyle) width(s string) float64 {
	if !t.figures {
		return textWidth(s) * t.size * map[bool]float64{true: 1.1, false: 1}[t.bold]
	}
	head, figs, rest := figures(s)
	w := textWidth(head) * t.size
	if figs != "" {
		w += .64*t.size*.62 + .1
	}
	return w + textWidth(rest)*t.size
}

// rows keeps the rows by name.
type rowKey struct {
	zone, order, sub int
}

// find returns the column of a moment, and its bar counted from the first of the region. The end of a bar is its barline if end
// is set. It returns nil out of the region.
func (g *grid) find(t Time, end bool) (*column, int) {
	i, ok := slices.BinarySearchFunc(g.bars, t, func(cols []*column, t Time) int {
		e := cols[len(cols)-1].at
		if c := e.Compare(t); c != 0 {
			return c
		}
		if end {
			return 0
		}
		return -1
	})
	if i >= len(g.bars) || !ok && t.Less(g.m.p.Bars[g.m.first+i].Start) {
		return nil, 0
	}
	for _, c := range g.bars[i] {
		if !c.at.Less(t) && (!c.barline || end || c.at != t) {
			return c, i
		}
	}
	return nil, 0
}

// annotate makes the rows of everything that stands over, between and under the staves.
func (g *grid) annotate() {
	m := g.m
	rows := map[rowKey]*row{}
	get := func(zone, order, sub int, rise, fall float64) *row {
		k := rowKey{zone, order, sub}
		r := rows[k]
		if r == nil {
			r = &row{zone: zone, order: order*100 + sub, lane: g.lanes}
			g.lanes++
			rows[k] = r
		}
		r.rise, r.fall = math.Max(r.rise, rise), math.Max(r.fall, fall)
		return r
	}
	put := func(it item, left float64) {
		it.dx = -left
		g.items = append(g.items, it)
		c := it.col
		for len(c.left) < g.lanes {
			c.left, c.right, c.used = append(c.left, 0), append(c.right, 0), append(c.used, false)
		}
		l := it.row.lane
		c.left[l], c.right[l], c.used[l] = math.Max(c.left[l], left), math.Max(c.right[l], it.width-left), true
	}
	text := func(r *row, c *column, s string, st textStyle, k Kind) {
		put(item{row: r, col: c, kind: k, text: s, style: st, width: st.width(s), note: s}, 0)
	}
	start, end := m.p.Bars[m.first].Start, m.p.Bars[m.last-1].End()
	inside := func(t Time) bool { return !t.Less(start) && t.Less(end) }
	between := zoneBetween
	if m.staves == 1 {
		between = zoneBelow
	}

	// Dynamics and hairpins.
	dyns := slices.Clone(m.p.Dynamics)
	slices.SortStableFunc(dyns, func(a, b score.Dynamic) int { return a.At.Compare(b.At) })
	seen := map[string]bool{}
	dynRow := func(h score.Hand) *row {
		if h == score.Left && m.staves == 2 {
			return get(zoneBelow, 0, 0, 1.7, .75)
		}
		return get(between, 0, 0, 1.7, .75)
	}
	for _, d := range dyns {
		hairpin := d.At.Less(d.Until) && (d.Text == "louder" || d.Text == "softer")
		if hairpin || !inside(d.At) {
			continue
		}
		r := dynRow(d.Hand)
		c, _ := g.find(d.At, false)
		key := d.Text + "@" + d.At.String() + strconv.Itoa(r.lane)
		if c == nil || seen[key] || strings.TrimSpace(d.Text) == "" {
			continue
		}
		seen[key] = true
		at := 0.0
		if r.lane < len(c.used) && c.used[r.lane] {
			at = c.right[r.lane] + .5 // behind the first
		}
		if w, letters := dynamicLetters(d.Text); letters != nil {
			put(item{row: r, col: c, kind: KindDynamic, glyphs: letters, width: w, note: d.Text}, map[bool]float64{true: -at, false: w/2 - .6}[at > 0])
		} else {
			w := wordStyle.width(d.Text)
			put(item{row: r, col: c, kind: KindDynamic, text: d.Text, style: wordStyle, width: w, note: d.Text}, -at)
		}
		if it := &g.items[len(g.items)-1]; at > 0 {
			c.right[r.lane] = math.Max(c.right[r.lane], at+it.width)
		}
	}
	for _, d := range dyns {
		if !(d.At.Less(d.Until) && (d.Text == "louder" || d.Text == "softer")) {
			continue
		}
		k := spanLouder
		if d.Text == "softer" {
			k = spanSofter
		}
		g.span(placedSpan{row: dynRow(d.Hand), from: d.At, to: d.Until, kind: k, width: 2.4})
	}

	// Pedal.
	var down *score.Pedal
	for i := range m.p.Pedals {
		e := &m.p.Pedals[i]
		if down != nil {
			s := placedSpan{row: get(zoneBelow, 1, 0, 1.2, .3), from: down.At, to: e.At, kind: spanPedal, startMark: down.Act, endMark: e.Act, width: 1.5}
			if down.Act == score.PedalDown || down.Act == score.Sostenuto {
				s.text, s.style = "Ped.", textStyle{size: 1.6, slanted: true}
				if down.Act == score.Sostenuto {
					s.text = "Sost."
				}
				s.width = s.style.width(s.text) + .8
			}
			g.span(s)
		}
		down = e
		if e.Act == score.PedalUp {
			down = nil
		}
	}
	if down != nil && down.At.Less(end) {
		g.span(placedSpan{row: get(zoneBelow, 1, 0, 1.2, .3), from: down.At, to: end, kind: spanPedal, startMark: down.Act, text: "Ped.", style: textStyle{size: 1.6, slanted: true}, width: 3})
	}

	// Chord symbols, tempo, signs.
	for _, h := range m.p.Harmonies {
		if inside(h.At) {
			if c, _ := g.find(h.At, false); c != nil {
				r := get(zoneAbove, 1, 0, 1.5, .5)
				if r.lane < len(c.used) && c.used[r.lane] {
					continue
				}
				text(r, c, pretty(h.String()), readingStyle, KindLabel)
			}
		}
	}
	inForce := 0.0
	for _, t := range m.p.Tempos {
		same := math.Round(t.Quarters) == math.Round(inForce)
		inForce = t.Quarters
		if !inside(t.At) || t.Quarters <= 0 || same {
			continue
		}
		c, i := g.find(t.At, false)
		if c == nil || c.at != m.p.Bars[m.first+i].Start || c.at.Sign() > 0 && i == 0 && m.first > 0 && t.At != c.at {
			continue
		}
		r := get(zoneAbove, 2, 0, 1.6, .4)
		if r.lane < len(c.used) && c.used[r.lane] {
			continue
		}
		b := m.p.Bars[m.first+i].Meter
		n := t.Quarters
		s := "= "
		switch {
		case b.Compound() && b.Unit == 8:
			n, s = n/1.5, ".= "
		case b.Unit == 2 && b.Beats > 0:
			n, s = n/2, "h= "
		}
		s += strconv.Itoa(int(math.Round(n)))
		w := tempoStyle.width(s) + 1.6
		put(item{row: r, col: c, kind: KindSign, text: s, style: tempoStyle, width: w, tempo: true, note: s}, 0)
	}
	for _, s := range m.p.Signs {
		i := s.Bar - m.first
		if s.Bar < 0 || s.Bar >= len(m.p.Bars) {
			continue
		}
		if s.Kind == score.EndingStart {
			name := s.Text
			if name == "" {
				name = strings.ReplaceAll(s.Numbers, " ", "")
				if name != "" {
					name = strings.ReplaceAll(name, ",", "., ") + "."
				}
			}
			last := s.Bar
			openEnd := true
			for _, e := range m.p.Signs {
				if e.Kind == score.EndingEnd && e.Bar >= s.Bar && e.Bar < len(m.p.Bars) {
					last, openEnd = e.Bar, e.Open
					break
				}
			}
			from, to := m.p.Bars[s.Bar].Start, m.p.Bars[last].End()
			r := get(zoneAbove, 4, 0, 1.9, 0)
			for sub := 1; r.any && from.Less(r.last); sub++ {
				r = get(zoneAbove, 4, sub, 1.9, 0)
			}
			r.any, r.last = true, to
			g.span(placedSpan{row: r, from: from, to: to, kind: spanEnding, text: name, style: textStyle{size: 1.5}, openEnd: openEnd, width: textWidth(name)*1.5 + 1})
			continue
		}
		if i < 0 || i >= len(g.bars) {
			continue
		}
		bar := g.bars[i]
		words := func(c *column, s string, right bool) {
			r := get(zoneAbove, 3, 0, 1.5, .45)
			w := wordStyle.width(s)
			at := 0.0
			if right {
				at = w
			}
			if r.lane < len(c.used) && c.used[r.lane] {
				r = get(zoneAbove, 3, 1, 1.5, .45)
			}
			put(item{row: r, col: c, kind: KindSign, text: s, style: wordStyle, width: w, note: s}, at)
		}
		switch s.Kind {
		case score.Segno, score.Coda:
			name := gSegno
			if s.Kind == score.Coda {
				name = gCoda
			}
			r, left := get(zoneAbove, 3, 0, 2.9, .3), 1.2
			if r.lane < len(bar[0].used) && bar[0].used[r.lane] { // a segno and a coda
				left = -bar[0].right[r.lane] - .5
			}
			put(item{row: r, col: bar[0], kind: KindSign, glyphs: []string{name}, width: 2, note: s.String()}, left)
		case score.Fine, score.ToCoda, score.DaCapo, score.DalSegno:
			t := s.Text
			if t == "" {
				t = s.Kind.String()
			}
			words(bar[len(bar)-1], t, true)
		case score.RepeatEnd:
			if s.Times > 2 {
				words(bar[len(bar)-1], "× "+strconv.Itoa(s.Times), true)
			}
		}
	}

	// What the caller asks for.
	texts := slices.Clone(m.o.Texts)
	slices.SortStableFunc(texts, func(a, b Text) int { return a.At.Compare(b.At) })
	for _, t := range texts {
		if !inside(t.At) || strings.TrimSpace(t.Text) == "" {
			continue
		}
		c, _ := g.find(t.At, false)
		if c == nil {
			continue
		}
		zone := zoneBelow
		if t.Above {
			zone = zoneAbove
		}
		st, kind := readingStyle, t.Kind
		switch kind {
		case Numeral:
			st = numeralStyle
		case Comment:
			st = commentStyle
		}
		for sub := 0; ; sub++ {
			r := get(zone, 10+clampRow(t.Row), sub, st.size*.8, st.size*.3)
			if r.lane < len(c.used) && c.used[r.lane] {
				continue
			}
			text(r, c, pretty(t.Text), st, KindLabel)
			break
		}
	}
	spans := slices.Clone(m.o.Spans)
	slices.SortStableFunc(spans, func(a, b Span) int { return cmp.Or(a.From.Compare(b.From), b.To.Compare(a.To)) })
	for _, s := range spans {
		if !s.From.Less(s.To) || !s.From.Less(end) || !start.Less(s.To) {
			continue
		}
		zone := zoneBelow
		if s.Above {
			zone = zoneAbove
		}
		for sub := 50; ; sub++ {
			r := get(zone, 10+clampRow(s.Row), sub, spanStyle.size*.8+.5, spanStyle.size*.3+.3)
			if r.any && s.From.Less(r.last) {
				continue
			}
			r.any, r.last = true, s.To
			t := pretty(s.Text)
			g.span(placedSpan{row: r, from: s.From, to: s.To, kind: spanBracket, text: t, style: spanStyle, width: spanStyle.width(t) + 1.4})
			break
		}
	}
}

func clampRow(n int) int { return max(0, min(n, 40)) }

// pretty sets the signs of note names as musicians print them, where a text uses # and b for them.
func pretty(s string) string {
	rs := []rune(s)
	var b strings.Builder
	for i, r := range rs {
		prev, next := ' ', ' '
		if i > 0 {
			prev = rs[i-1]
		}
		if i+1 < len(rs) {
			next = rs[i+1]
		}
		switch {
		case r == '#':
			b.WriteRune('♯')
		case r == 'o' && (prev == 'i' || prev == 'v') && !(next >= 'a' && next <= 'z'):
			b.WriteRune('°')
		case r == 'b' && (prev >= 'A' && prev <= 'G' || prev == 'b' && i > 1 && rs[i-2] >= 'A' && rs[i-2] <= 'G') && !(next >= 'a' && next <= 'z' && next != 'b' && next != 'm' && next != 's' && next != 'd'):
			b.WriteRune('♭')
		case r == 'b' && (next >= '1' && next <= '9' || next == 'I' || next == 'V' || next == 'i' || next == 'v') && !(prev >= 'a' && prev <= 'z'):
			b.WriteRune('♭')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// span adds a span if it lies in the region, cut to it.
func (g *grid) span(s placedSpan) {
	start, end := g.m.p.Bars[g.m.first].Start, g.m.p.Bars[g.m.last-1].End()
	if !s.from.Less(end) || !start.Less(s.to) || !s.from.Less(s.to) {
		return
	}
	if s.from.Less(start) {
		s.from, s.text, s.width, s.startMark = start, "", 0, 0
	}
	if end.Less(s.to) {
		s.to, s.openEnd, s.endMark = end, true, 0
	}
	s.a, s.ai = g.find(s.from, false)
	s.b, s.bi = g.find(s.to, true)
	if s.a == nil || s.b == nil {
		return
	}
	g.spans = append(g.spans, s)
}

// dynamicLetters returns the glyphs of a dynamic mark such as "mf" and their width; nil if it is something else.
func dynamicLetters(s string) (float64, []string) {
	if s == "" || len(s) > 6 || strings.Trim(s, "pmfszrn") != "" {
		return 0, nil
	}
	var out []string
	w := 0.0
	for _, r := range s {
		out = append(out, "l"+string(r))
		w += letterAdvance(r)
	}
	return w + .2, out
}

func letterAdvance(r rune) float64 {
	switch r {
	case 'm':
		return 1.36
	case 'f':
		return .98
	case 'p':
		return 1.14
	case 's':
		return .78
	case 'z':
		return .86
	case 'r':
		return .80
	}
	return .98
}
