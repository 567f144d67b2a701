package engrave

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/written"
)

// A head is one note head.
type head struct {
	note           int // index into Passage.Notes
	piece          int // 0 for the first head of a note, 1 for the second part of one that is split
	step           int // of the pitch
	pos            int // half spaces above the middle line
	dx             float64
	sign           string // the glyph of its accidental, "" for none
	paren          bool   // the accidental is a courtesy
	signX          float64
	dots           []point
	label          string
	labelX         float64
	marks          []Shape
	tieTo, tieFrom bool
}

func (h head) y() float64 { return -float64(h.pos) / 2 }

// A chord is what stands at one moment in one row: heads on a stem, or a rest.
type chord struct {
	staff, bar               int
	layer                    int // order of its row on the staff, from the top
	voice                    int
	at, length               Time   // at from the start of the passage
	typ, dots                int    // as in package written
	heads                    []head // from low to high
	grace, after, slash, cue bool
	rest, fill, hidden       bool
	pos                      int // of a rest
	dir                      int // of the stem: 1 up, -1 down
	forced                   bool
	shift                    float64 // of the whole chord, because of another voice
	off                      float64 // from its column, for grace notes
	x                        float64 // of the chord: column, off and shift
	beam                     *beam
	tip                      float64 // y of the stem's end
	ottava                   int     // steps that it is written lower than it sounds
	tuplet                   int
	col                      *column
	size                     float64
}

func (c *chord) end() Time { return c.at.Add(c.length) }

func (c *chord) flags() int {
	if c.rest || c.typ >= written.Quarter {
		return 0
	}
	return min(written.Quarter-c.typ, 6)
}

func (c *chord) stemmed() bool { return !c.rest && c.typ < written.Quarter+2 }

func (c *chord) glyph() string {
	switch {
	case c.typ >= written.Quarter+3:
		return gBreve
	case c.typ == written.Quarter+2:
		return gWhole
	case c.typ == written.Quarter+1:
		return gHalf
	}
	return gBlack
}

func (c *chord) headWidth() float64 { return glyphs()[c.glyph()].box.x1 * c.size }

func (c *chord) restGlyph() string {
	switch {
	case c.fill || c.typ == written.Quarter+2:
		return gRestWhole
	case c.typ >= written.Quarter+4:
		return gRestLong
	case c.typ == written.Quarter+3:
		return gRestBreve
	case c.typ == written.Quarter+1:
		return gRestHalf
	case c.typ == written.Quarter:
		return gRestQuart
	}
	return restName(min(written.Quarter-c.typ, 6))
}

func (c *chord) top() int    { return c.heads[len(c.heads)-1].pos }
func (c *chord) bottom() int { return c.heads[0].pos }

// outer returns the place of the head at the stem's end, inner of the one at its other end.
func (c *chord) outer() int {
	if c.dir > 0 {
		return c.top()
	}
	return c.bottom()
}

func (c *chord) inner() int {
	if c.dir > 0 {
		return c.bottom()
	}
	return c.top()
}

const stemWidth = .12

// stemX returns the middle of the stem, from the chord's own x.
func (c *chord) stemX() float64 {
	if c.dir > 0 {
		return c.headWidth() - stemWidth/2
	}
	return stemWidth / 2
}

// A beam joins chords.
type beam struct {
	chords []*chord
	dir    int
	y0, y1 float64 // at the stems of the first and the last
}

func (b *beam) at(x float64) float64 {
	f, l := b.chords[0], b.chords[len(b.chords)-1]
	x0, x1 := f.x+f.stemX(), l.x+l.stemX()
	if x1-x0 < .01 {
		return b.y0
	}
	return b.y0 + (b.y1-b.y0)*(x-x0)/(x1-x0)
}

// A tuplet is a stretch of chords of one row.
type tuplet struct {
	chords []*chord
	figure int
	depth  int // 0 for the outermost
	inner  int // how many levels it has within
	ratio  [2]int
}

// A tie leads from a head to another; from or to may be missing.
type tie struct {
	from, to         *chord
	fromHead, toHead int
}

// A music is the bars of a region, ready to be spaced.
type music struct {
	p           *score.Passage
	o           *Options
	first, last int // bars: first <= i < last
	staves      int
	hand        [2]score.Hand
	ids         []string
	chords      []*chord // in order of time
	byBar       [][2][]*chord
	beams       []*beam
	tuplets     []*tuplet
	ties        []tie
	clefs       [2][]clefAt
	ottavas     [2][]ottava
	keys        []keyAt
}

type keyAt struct {
	at   Time
	bar  int
	from key.Key
	to   key.Key
}

// prepare reads the bars of a region out of a passage.
func prepare(p *score.Passage, r score.Region, o *Options) (*music, error) {
	m := &music{p: p, o: o, ids: noteIDs(p)}
	if len(p.Bars) == 0 || !r.From.Less(r.To) && !r.Moment {
		return nil, ErrNothing
	}
	m.first, m.last = -1, -1
	for i, b := range p.Bars {
		if b.Start.Less(r.To) && r.From.Less(b.End()) || b.Length.Sign() == 0 && !b.Start.Less(r.From) && b.Start.Less(r.To) {
			if m.first < 0 {
				m.first = i
			}
			m.last = i + 1
		}
	}
	if m.first < 0 {
		return nil, ErrNothing
	}
	m.staffs()
	byBar := make([][]int, m.last-m.first)
	for i, n := range p.Notes {
		if n.Bar >= m.first && n.Bar < m.last && (n.Hand == score.Right || n.Hand == score.Left) {
			byBar[n.Bar-m.first] = append(byBar[n.Bar-m.first], i)
		}
	}
	m.byBar = make([][2][]*chord, m.last-m.first)
	for i := range byBar {
		for s := range m.staves {
			if err := m.bar(m.first+i, s, byBar[i]); err != nil {
				return nil, err
			}
		}
	}
	slices.SortStableFunc(m.chords, func(a, b *chord) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.bar, b.bar), -cmp.Compare(graceRank(a), graceRank(b)))
	})
	m.readKeys()
	m.pair()
	for s := range m.staves {
		m.chooseClefs(s)
		m.chooseOttava(s)
	}
	m.place()
	for s := range m.staves {
		m.signs(s)
	}
	for i := range m.byBar {
		for s := range m.staves {
			m.directions(m.byBar[i][s])
		}
	}
	m.marks()
	// Inner ones first, so that outer ones find their room; from here on nothing looks them up by number.
	slices.SortStableFunc(m.tuplets, func(a, b *tuplet) int { return cmp.Compare(a.inner, b.inner) })
	return m, nil
}

func graceRank(c *chord) int {
	switch {
	case !c.grace:
		return 0
	case c.after:
		return 2
	}
	return 1
}

// staffs decides which staves there are.
func (m *music) staffs() {
	right, left := false, false
	for _, n := range m.p.Notes {
		in := !m.o.OneStaff || n.Bar >= m.first && n.Bar < m.last
		right, left = right || in && n.Hand == score.Right, left || in && n.Hand == score.Left
	}
	two := false
	for _, part := range m.p.Parts {
		two = two || part.Chosen && part.Staves > 1
	}
	switch {
	case left && !right && (m.o.OneStaff || !two):
		m.staves, m.hand = 1, [2]score.Hand{score.Left}
	case left || two && !m.o.OneStaff:
		m.staves, m.hand = 2, [2]score.Hand{score.Right, score.Left}
	default:
		m.staves, m.hand = 1, [2]score.Hand{score.Right}
	}
}

// bar lays out one hand in one bar.
func (m *music) bar(i, staff int, notes []int) error {
	b := m.p.Bars[i]
	var voices []int
	byVoice := map[int][]int{}
	for _, k := range notes {
		if n := m.p.Notes[k]; n.Hand == m.hand[staff] {
			if byVoice[n.Voice] == nil {
				voices = append(voices, n.Voice)
			}
			byVoice[n.Voice] = append(byVoice[n.Voice], k)
		}
	}
	slices.Sort(voices)
	if len(voices) == 0 {
		if b.Length.Sign() > 0 {
			c := &chord{staff: staff, bar: i, at: b.Start, length: b.Length, rest: true, fill: true, typ: written.Quarter + 2, tuplet: -1, size: 1}
			m.chords = append(m.chords, c)
			m.byBar[i-m.first][staff] = []*chord{c}
		}
		return nil
	}
	type row struct {
		chords  []*chord
		mean    float64
		voice   int
		primary bool
	}
	var rows []row
	for vi, v := range voices {
		given := make([]score.Note, len(byVoice[v]))
		for k, j := range byVoice[v] {
			given[k] = m.p.Notes[j]
		}
		layers := written.Layers(given, b, m.hand[staff], v)
		if layers == nil {
			return fmt.Errorf("engrave: bar %s: more than %d notes of one voice overlap", b.Number, written.MaxLayers)
		}
		for li, l := range layers {
			r := row{voice: v, primary: vi == 0 && li == 0}
			sum, count := 0, 0
			for e := range l.Events {
				c := m.chord(&l.Events[e], i, staff, v, byVoice[v])
				r.chords = append(r.chords, c)
				for _, h := range c.heads {
					sum, count = sum+h.step, count+1
				}
			}
			if count == 0 {
				continue
			}
			r.mean = float64(sum) / float64(count)
			m.tupletRow(l.Events, r.chords, b)
			m.beamRow(r.chords, b)
			rows = append(rows, r)
		}
	}
	slices.SortStableFunc(rows, func(x, y row) int { return -cmp.Compare(x.mean, y.mean) })
	var all []*chord
	for k, r := range rows {
		for _, c := range r.chords {
			c.layer = k
		}
		all = append(all, r.chords...)
	}
	// Rests at the edges of a row that plays for less than half the bar are left out where another row fills the time.
	if len(rows) > 1 {
		for k, r := range rows {
			firstNote, lastNote := -1, -1
			plays := Time{}
			for j, c := range r.chords {
				if !c.rest {
					plays = plays.Add(c.length)
					if firstNote < 0 {
						firstNote = j
					}
					lastNote = j
				}
			}
			for j, c := range r.chords {
				if !c.rest {
					continue
				}
				var cover [][2]Time
				for k2, r2 := range rows {
					for _, d := range r2.chords {
						if k2 != k && !d.grace && (!d.rest || r2.primary) {
							cover = append(cover, [2]Time{d.at, d.end()})
						}
					}
				}
				edge := j < firstNote || j > lastNote
				if edge && c.tuplet < 0 && plays.Mul(2, 1).Less(b.Length) && covered(cover, c.at, c.end()) {
					c.hidden = true
				}
			}
		}
		// One rest stands for two of the same length.
		for x, c := range all {
			for _, d := range all[:x] {
				if c.rest && d.rest && !c.hidden && !d.hidden && c.at == d.at && c.length == d.length && c.typ == d.typ && c.tuplet < 0 && d.tuplet < 0 {
					c.hidden = true
				}
			}
		}
	}
	m.chords = append(m.chords, all...)
	m.byBar[i-m.first][staff] = all
	return nil
}

// covered reports whether spans fill the time from a to b.
func covered(spans [][2]Time, a, b Time) bool {
	slices.SortFunc(spans, func(x, y [2]Time) int { return x[0].Compare(y[0]) })
	for _, s := range spans {
		if a.Less(s[0]) {
			break
		}
		a = a.Max(s[1])
	}
	return !a.Less(b)
}

// chord makes a chord of an event; index tells which note of the passage each of its notes is.
func (m *music) chord(e *written.Event, bar, staff, voice int, index []int) *chord {
	b := m.p.Bars[bar]
	c := &chord{staff: staff, bar: bar, voice: voice, at: b.Start.Add(e.At), length: e.Length, typ: e.Value.Type, dots: e.Value.Dots,
		grace: e.Grace, rest: len(e.Notes) == 0, fill: e.Fill, tuplet: -1, size: 1}
	if c.typ == 0 { // no value says it: the next smaller one
		c.typ = written.Quarter + max(-6, min(4, int(math.Floor(math.Log2(math.Max(e.Length.Float(), 1e-6))))))
	}
	if c.fill {
		c.typ, c.dots = written.Quarter+2, 0
	}
	for k, n := range e.Notes {
		j := index[e.Index[k]]
		piece := 0
		if e.TieFrom {
			piece = 1 + bits.Len(uint(len(m.p.Bars))) // made exact by number below
		}
		c.heads = append(c.heads, head{note: j, piece: piece, step: n.Pitch.Step(),
			tieTo:   e.TieTo || n.TieTo && !e.TieTo && c.end() == n.End() || n.TieTo && e.Grace,
			tieFrom: e.TieFrom || n.TieFrom && c.at == n.Onset})
		c.after = n.After
		c.slash = n.Grace == score.Acciaccatura
		c.cue = c.cue || n.Cue
	}
	if c.grace || c.cue {
		c.size = .65
	}
	slices.SortStableFunc(c.heads, func(x, y head) int {
		return cmp.Or(cmp.Compare(x.step, y.step), cmp.Compare(m.p.Notes[x.note].Pitch.Alter, m.p.Notes[y.note].Pitch.Alter))
	})
	return c
}

// beamRow joins the flagged notes of a row, beat by beat; plain eighths are joined over two beats where the meter allows it
// (Gould, Behind Bars, from memory: never over the middle of 4/4).
func (m *music) beamRow(row []*chord, b score.Bar) {
	var runs [][]*chord
	for i := 0; i < len(row); {
		c := row[i]
		j := i + 1
		if c.grace {
			for j < len(row) && row[j].grace && row[j].after == c.after && row[j].at == c.at {
				j++
			}
			if j-i > 1 {
				for _, g := range row[i:j] {
					g.typ = written.Quarter - 2
				}
				m.join(row[i:j])
			}
			i = j
			continue
		}
		if c.flags() > 0 {
			g := beamGroup(c.at.Sub(b.Start), b)
			last := c
			for j < len(row) {
				d := row[j]
				if d.grace && !d.after {
					j++
					continue
				}
				if d.flags() == 0 || d.rest || d.grace || last.end() != d.at || d.cue != c.cue || beamGroup(d.at.Sub(b.Start), b) != g && !(d.tuplet >= 0 && d.tuplet == last.tuplet && m.tuplets[d.tuplet].depth > 0) {
					break
				}
				last = d
				j++
			}
			var run []*chord
			for _, d := range row[i:j] {
				if !d.grace {
					run = append(run, d)
				}
			}
			runs = append(runs, run)
		}
		i = j
	}
	plain := func(run []*chord) bool {
		for _, c := range run {
			if c.flags() != 1 || c.dots > 0 || c.length != score.T(1, 2) {
				return false
			}
		}
		return true
	}
	for i := 0; i < len(runs); {
		run := runs[i]
		j := i + 1
		for j < len(runs) && plain(run) && plain(runs[j]) && run[len(run)-1].end() == runs[j][0].at && wide(run[0].at.Sub(b.Start), runs[j][0].at.Sub(b.Start), b) {
			run = append(slices.Clone(run), runs[j]...)
			j++
		}
		if len(run) > 1 {
			m.join(run)
		}
		i = j
	}
}

// wide reports whether plain eighths at two moments of a bar share a beam although they belong to different beats.
func wide(a, z Time, b score.Bar) bool {
	m := b.Meter
	if m.Unit == 2 && len(m.Groups) == 0 && m.Beats%3 != 0 {
		return floor(a.Add(b.Offset).Div(score.Quarters(2))) == floor(z.Add(b.Offset).Div(score.Quarters(2)))
	}
	if m.Unit != 4 || len(m.Groups) > 0 {
		return false
	}
	half := func(t Time) int64 { return floor(t.Add(b.Offset).Div(score.Quarters(2))) }
	switch m.Beats {
	case 2, 3:
		return true
	case 4:
		return half(a) == half(z)
	}
	return false
}

func (m *music) join(run []*chord) {
	bm := &beam{chords: slices.Clone(run)}
	for _, c := range run {
		c.beam = bm
	}
	m.beams = append(m.beams, bm)
}

func floor(t Time) int64 {
	n := t.Num() / t.Den()
	if t.Num()%t.Den() < 0 {
		n--
	}
	return n
}

// beamGroup returns which group of the meter a moment of a bar belongs to: the parts of an additive one; the dotted beats of a
// compound one; threes before twos in 5/8, 7/8 and so on; the whole bar in 3/8; else quarter notes (common practice, no source).
func beamGroup(at Time, b score.Bar) int64 {
	at = at.Add(b.Offset)
	mt := b.Meter
	groups := mt.Groups
	if len(groups) == 0 && mt.Unit >= 8 && mt.Beats >= 5 && mt.Beats%2 == 1 && mt.Beats%3 != 0 {
		groups = []int{3}
		for left := mt.Beats - 3; left > 0; left -= 2 {
			groups = append(groups, 2)
		}
	}
	if len(groups) > 0 {
		end := Time{}
		for i, g := range groups {
			if end = end.Add(score.T(4*int64(g), int64(mt.Unit))); at.Less(end) {
				return int64(i)
			}
		}
		return int64(len(groups))
	}
	unit := score.Quarters(1)
	if mt.Compound() {
		unit = mt.Beat()
	}
	if full := mt.Length(); full.Sign() > 0 && !score.T(3, 2).Less(full) {
		unit = full
	}
	if unit.Sign() <= 0 {
		return 0
	}
	return floor(at.Div(unit))
}

// tupletRow finds the tuplets of a row. Two that share a beat, as an eighth and a sixteenth and the same again in a triplet
// do, are one.
func (m *music) tupletRow(events []written.Event, row []*chord, b score.Bar) {
	type open struct {
		from int
		mark written.TupletMark
	}
	var stack []open
	var found []*tuplet
	for i, e := range events {
		for _, t := range e.Tuplets {
			if t.Start {
				stack = append(stack, open{i, t})
				continue
			}
			if len(stack) == 0 {
				continue
			}
			s := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			t := &tuplet{figure: s.mark.Actual, depth: len(stack), ratio: [2]int{s.mark.Actual, s.mark.Normal}}
			for _, c := range row[s.from : i+1] {
				if !c.grace {
					t.chords = append(t.chords, c)
				}
			}
			if len(t.chords) > 0 {
				found = append(found, t)
			}
		}
	}
	slices.SortStableFunc(found, func(x, y *tuplet) int {
		return cmp.Or(x.chords[0].at.Compare(y.chords[0].at), cmp.Compare(x.depth, y.depth))
	})
	beat := b.Meter.Beat()
	onBeat := func(t Time) bool { return t.Sub(b.Start).Add(b.Offset).Div(beat).Den() == 1 }
	for i := 0; i+1 < len(found); {
		t, u := found[i], found[i+1]
		end := t.chords[len(t.chords)-1].end()
		uEnd := u.chords[len(u.chords)-1].end()
		even := true
		for _, c := range t.chords {
			even = even && c.typ == t.chords[0].typ && c.dots == 0
		}
		if t.depth == 0 && u.depth == 0 && t.ratio == u.ratio && end == u.chords[0].at && !onBeat(end) && !even && !beat.Less(uEnd.Sub(t.chords[0].at)) {
			t.chords = append(t.chords, u.chords...)
			found = slices.Delete(found, i+1, i+2)
			continue
		}
		i++
	}
	for _, t := range found {
		for _, u := range found {
			if u.depth > t.depth && !u.chords[0].at.Less(t.chords[0].at) && u.chords[0].at.Less(t.chords[len(t.chords)-1].end()) {
				t.inner = max(t.inner, u.depth-t.depth)
			}
		}
		for _, c := range t.chords {
			c.tuplet = len(m.tuplets)
		}
		m.tuplets = append(m.tuplets, t)
	}
}

// readKeys finds the changes of signature within the region.
func (m *music) readKeys() {
	now, _ := m.p.KeyAt(m.p.Bars[m.first].Start)
	for _, k := range m.p.Keys {
		if !m.p.Bars[m.first].Start.Less(k.At) || k.Key.Signature() == now.Signature() {
			continue
		}
		bar := m.p.BarAt(k.At)
		if bar >= m.last {
			if bar == m.last && k.At == m.p.Bars[bar].Start {
				break
			}
			break
		}
		m.keys = append(m.keys, keyAt{k.At, bar, now, k.Key})
		now = k.Key
	}
}

// signatureAt returns the key signature in force.
func (m *music) signatureAt(t Time) key.Key {
	k, _ := m.p.KeyAt(t)
	return k
}

// pair finds which head each tie leads to.
func (m *music) pair() {
	type place struct {
		midi int
		at   Time
	}
	type end struct {
		c *chord
		k int
	}
	waiting := map[place][]end{}
	taken := map[end]bool{}
	for _, c := range m.chords {
		for k := range c.heads {
			h := &c.heads[k]
			if h.tieFrom && !c.grace {
				pl := place{m.p.Notes[h.note].Pitch.MIDI(), c.at}
				best, rank := -1, -1
				for i, w := range waiting[pl] {
					if taken[w] {
						continue
					}
					r := 0
					if w.c.staff == c.staff {
						r += 2
					}
					if w.c.voice == c.voice {
						r++
					}
					if w.c.heads[w.k].note == h.note {
						r += 4
					}
					if r > rank {
						best, rank = i, r
					}
				}
				if best >= 0 {
					w := waiting[pl][best]
					taken[w] = true
					m.ties = append(m.ties, tie{w.c, c, w.k, k})
				} else {
					m.ties = append(m.ties, tie{to: c, toHead: k})
				}
			}
			if h.tieTo {
				at := c.end()
				pl := place{m.p.Notes[h.note].Pitch.MIDI(), at}
				waiting[pl] = append(waiting[pl], end{c, k})
			}
		}
	}
	for _, c := range m.chords {
		for k := range c.heads {
			if c.heads[k].tieTo && !taken[end{c, k}] {
				m.ties = append(m.ties, tie{from: c, fromHead: k})
			}
		}
	}
	// Number the pieces of split notes.
	next := map[int]int{}
	for _, c := range m.chords {
		for k := range c.heads {
			c.heads[k].piece = next[c.heads[k].note]
			next[c.heads[k].note]++
		}
	}
}

// place gives heads their height on the staff.
func (m *music) place() {
	for _, c := range m.chords {
		mid := middle(m.clefAt(c.staff, c.at, c.bar))
		for k := range c.heads {
			c.heads[k].pos = c.heads[k].step - c.ottava - mid
		}
	}
}

var signGlyphs = map[int8]string{-3: gTriFlat, -2: gDblFlat, -1: gFlat, 0: gNatural, 1: gSharp, 2: gDblSharp, 3: gTriSharp}

// signs gives heads the accidentals that key and bar ask for, and courtesy ones where the bar before, or another octave in
// this bar, had the step altered otherwise.
func (m *music) signs(staff int) {
	from := map[[2]int]*chord{}
	for i := range m.ties {
		if t := &m.ties[i]; t.from != nil && t.to != nil {
			from[[2]int{t.to.heads[t.toHead].note, t.to.heads[t.toHead].piece}] = t.from
		}
	}
	source := func(h head) (pitch.Pitch, bool) {
		c, ok := from[[2]int{h.note, h.piece}]
		if !ok {
			return m.p.Notes[h.note].Pitch, true // from before the region
		}
		for _, g := range c.heads {
			if m.p.Notes[g.note].Pitch.MIDI() == m.p.Notes[h.note].Pitch.MIDI() {
				return m.p.Notes[g.note].Pitch, true
			}
		}
		return pitch.Pitch{}, false
	}
	before := map[pitch.Letter]int8{} // how letters were altered last, in the bar before
	for bar := m.first; bar < m.last; bar++ {
		now := map[int]int8{}
		letters := map[pitch.Letter]int8{}
		reminded := map[int]bool{}
		sig := m.signatureAt(m.p.Bars[bar].Start)
		list := slices.Clone(m.byBar[bar-m.first][staff])
		slices.SortStableFunc(list, func(a, b *chord) int {
			return cmp.Or(a.at.Compare(b.at), -cmp.Compare(graceRank(a), graceRank(b)))
		})
		for _, c := range list {
			if s := m.signatureAt(c.at); s.Signature() != sig.Signature() && c.at.Less(m.p.Bars[bar].End()) {
				sig, now, letters = s, map[int]int8{}, map[pitch.Letter]int8{}
			}
			for k := range c.heads {
				h := &c.heads[k]
				q := m.p.Notes[h.note].Pitch
				if h.tieFrom {
					if s, ok := source(*h); ok && s == q {
						letters[q.Letter] = q.Alter
						continue
					}
				}
				inForce, written := now[h.step]
				if !written {
					inForce = sig.InSignature(q.Letter)
				}
				glyph := signGlyphs[max(-3, min(3, q.Alter))]
				switch l, seen := letters[q.Letter]; {
				case inForce != q.Alter:
					h.sign = glyph
				case m.o.NoCourtesy || written || reminded[h.step] || c.grace:
				case seen && l != q.Alter:
					h.sign, h.paren = glyph, true
				case !seen:
					if l, ok := before[q.Letter]; ok && l != q.Alter {
						h.sign, h.paren = glyph, true
					}
				}
				reminded[h.step] = true
				now[h.step] = q.Alter
				if _, seen := letters[q.Letter]; !seen || h.sign != "" {
					letters[q.Letter] = q.Alter
				}
			}
			// The same step twice in one chord, altered in two ways: both are signed.
			for k := 1; k < len(c.heads); k++ {
				a, b := &c.heads[k-1], &c.heads[k]
				if a.step == b.step && m.p.Notes[a.note].Pitch != m.p.Notes[b.note].Pitch {
					for _, h := range []*head{a, b} {
						h.sign, h.paren = signGlyphs[max(-3, min(3, m.p.Notes[h.note].Pitch.Alter))], false
					}
				}
			}
		}
		before = map[pitch.Letter]int8{}
		end := m.signatureAt(m.p.Bars[bar].Start)
		for l, a := range letters {
			if a != end.InSignature(l) {
				before[l] = a
			}
		}
	}
}

// directions decides stems: outward where rows sound together, else by the head farthest from the middle line.
func (m *music) directions(chords []*chord) {
	rows := 0
	for _, c := range chords {
		rows = max(rows, c.layer+1)
	}
	for _, c := range chords {
		if rows < 2 || c.hidden {
			continue
		}
		above, below := false, false
		for _, d := range chords {
			if d.layer == c.layer || d.hidden || d.grace {
				continue
			}
			meet := d.at.Less(c.end()) && c.at.Less(d.end())
			if c.grace {
				meet = !c.at.Less(d.at) && c.at.Less(d.end())
			}
			if meet {
				above, below = above || d.layer < c.layer, below || d.layer > c.layer
			}
		}
		switch {
		case above && below:
			c.forced, c.dir = true, 1
			if 2*c.layer >= rows {
				c.dir = -1
			}
		case below:
			c.forced, c.dir = true, 1
		case above:
			c.forced, c.dir = true, -1
		}
	}
	for _, c := range chords {
		switch {
		case c.rest:
			if c.forced {
				c.pos = 4 * c.dir
			}
		case c.grace && !c.forced:
			c.dir = 1
		case !c.forced:
			c.dir = byMiddle(c.top(), c.bottom())
		}
	}
	done := map[*beam]bool{}
	for _, c := range chords {
		if c.beam == nil || done[c.beam] {
			continue
		}
		done[c.beam] = true
		votes, top, bottom := 0, -1000, 1000
		for _, d := range c.beam.chords {
			if d.forced {
				votes += d.dir
			}
			top, bottom = max(top, d.top()), min(bottom, d.bottom())
		}
		switch {
		case c.grace && votes == 0:
			c.beam.dir = 1
		case votes > 0:
			c.beam.dir = 1
		case votes < 0:
			c.beam.dir = -1
		default:
			c.beam.dir = byMiddle(top, bottom)
		}
		for _, d := range c.beam.chords {
			d.dir = c.beam.dir
		}
	}
	// Whole notes have no stem, but lie as if they had.
}

func byMiddle(top, bottom int) int {
	if top+bottom >= 0 {
		return -1
	}
	return 1
}

// marks hangs marks and labels on heads.
func (m *music) marks() {
	if len(m.o.Marks) == 0 && len(m.o.Strands) == 0 && len(m.o.Stacks) == 0 {
		return
	}
	heads := map[int][]*head{}
	for _, c := range m.chords {
		for k := range c.heads {
			heads[c.heads[k].note] = append(heads[c.heads[k].note], &c.heads[k])
		}
	}
	for _, mk := range m.o.Marks {
		for _, n := range mk.Notes {
			labelled := false
			for _, i := range Heads(m.p, n) {
				for _, h := range heads[i] {
					if !slices.Contains(h.marks, mk.Shape) {
						h.marks = append(h.marks, mk.Shape)
					}
					if mk.Label != "" && !labelled {
						if h.label != "" && h.label != mk.Label {
							h.label += ", " + mk.Label
						} else {
							h.label = mk.Label
						}
						labelled = true
					}
				}
			}
		}
	}
	label := func(h *head, s string) {
		switch {
		case s == "":
		case h.label == "":
			h.label = s
		default:
			h.label += ", " + s
		}
	}
	for _, st := range m.o.Strands {
		for _, n := range st.Notes {
			if list := Heads(m.p, n); len(list) > 0 && len(heads[list[0]]) > 0 {
				label(heads[list[0]][0], st.Label)
				break
			}
		}
	}
	// The text of a stack stands beside its topmost note.
	for _, st := range m.o.Stacks {
		var top *head
		for _, c := range m.chords {
			if c.at == st.At && !c.grace && !c.rest && (st.Hand == 0 || m.hand[c.staff] == st.Hand) {
				if h := &c.heads[len(c.heads)-1]; top == nil || h.step > top.step {
					top = h
				}
			}
		}
		if top != nil {
			label(top, st.Label)
		}
	}
}
