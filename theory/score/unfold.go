package score

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// The limits of [Passage.Unfold].
const (
	maxTimes    = 1000 // a passage played over and over
	maxUnfolded = 100_000
)

// A cell is a bar, or part of one that a repeat sign within it cuts, with what the signs say about it.
type cell struct {
	bar         int
	from, to    Time
	repeatStart bool
	repeat      *Sign // RepeatEnd at its end
	jump        *Sign // DaCapo or DalSegno at its end
	toCoda      *Sign
	fine        bool

	ending      bool  // an ending begins here
	numbers     []int // the times it is for
	endingClose bool
	endingTo    int // of a cell where an ending begins: the index of its last cell
	last        int // of every cell of an ending: how often the endings beside it are played in all; else 0
}

// Unfold returns the passage as it is played: repeats, endings and jumps written out. Bars keep their printed numbers.
// p stays as it is.
//
// The rules, where not said otherwise of common practice (no source), are these:
//   - A repeat goes back to the last start of a repeat, or else to where the last repeat or ending was left, or else to the
//     beginning, and is played twice, or as often as it says.
//   - An ending is played on the times it is for; one that gives no number is for the time after those before it. A
//     repeat at the end of an ending leads back as long as endings for later times follow; after a first ending alone, the
//     second time goes on behind it.
//   - A da capo or dal segno is taken once, when its bar has been played for the last time. "By default, a dalsegno or
//     dacapo attribute indicates that the jump should occur the first time through, while a tocoda attribute indicates the
//     jump should occur the second time through" (MusicXML 4.0, sound). It acts at the end of the bar in which it stands, as
//     do Fine and To Coda; segno and coda act from the start of theirs.
//   - After a jump, repeats aren't taken and only the last of several endings is played, unless the repeat says that it is
//     taken after a jump (after-jump), or the words of the jump say so ("with repeats", "con ripetizione", "mit
//     Wiederholung", "avec reprises").
//   - Fine and To Coda count only after a jump; of both, the one that the words of the jump name ("al Fine", "al Coda").
//
// Ties across a place where the music goes back or on lead to no note and are dropped. Keys and tempos in force are given
// again where it goes on with others.
//
// Unfold returns an error if a dal segno has no segno, a To Coda that is reached has no coda, or if there would be more
// than 100,000 bars.
func (p *Passage) Unfold() (*Passage, error) {
	if len(p.Bars) == 0 {
		return p.assemble(nil, false), nil
	}
	cells := p.cells()
	var spans []span
	var (
		start, pass int // of the repeat under way
		jump        *Sign
		taken       = map[*Sign]bool{}
		again       bool // repeats are taken after the jump
		noFine      bool
		noCoda      bool
		coda        bool // in the coda
	)
	pass = 1
	for pos, steps := 0, 0; pos < len(cells); {
		if steps++; steps > maxUnfolded {
			return nil, fmt.Errorf("score: unfolded, the passage would have more than %d bars", maxUnfolded)
		}
		c := &cells[pos]
		if c.repeatStart && pos != start {
			start, pass = pos, 1
		}
		if c.ending {
			skip := !slices.Contains(c.numbers, pass)
			if jump != nil && !again {
				skip = cells[c.endingTo].repeat != nil && !cells[c.endingTo].repeat.AfterJump && c.endingTo+1 < len(cells) && cells[c.endingTo+1].ending
			}
			if skip {
				pos = c.endingTo + 1
				continue
			}
		}
		if n := len(spans); n > 0 && spans[n-1].to == c.from {
			spans[n-1].to = c.to
		} else {
			spans = append(spans, span{c.from, c.to})
		}
		total := 0
		if r := c.repeat; r != nil && (jump == nil || again || r.AfterJump) {
			total = 2
			switch {
			case c.last > 0:
				total = c.last
			case r.Times > 0:
				total = r.Times
			}
		}
		if pass < total {
			pos, pass = start, pass+1
			continue
		}
		if jump != nil && c.fine && !noFine && !coda {
			break
		}
		if jump != nil && c.toCoda != nil && !noCoda && !coda {
			to := p.target(cells, c.toCoda, Coda)
			if to < 0 {
				return nil, fmt.Errorf("score: bar %s: To Coda, but there is no coda", p.Bars[c.bar].Number)
			}
			pos, start, pass, coda = to, to, 1, true
			continue
		}
		if c.repeat != nil || c.endingClose && pass >= c.last {
			start, pass = pos+1, 1
		}
		if j := c.jump; j != nil && !taken[j] {
			taken[j] = true
			to := 0
			if j.Kind == DalSegno {
				if to = p.target(cells, j, Segno); to < 0 {
					return nil, fmt.Errorf("score: bar %s: a dal segno, but there is no segno", p.Bars[c.bar].Number)
				}
			}
			words := strings.ToLower(j.Text)
			jump, again, coda = j, false, false
			for _, w := range []string{"with repeat", "con ripetizion", "con repetizion", "mit wiederholung", "avec reprise"} {
				again = again || strings.Contains(words, w)
			}
			saysFine, saysCoda := strings.Contains(words, "fine"), strings.Contains(words, "coda")
			noFine, noCoda = saysCoda && !saysFine, saysFine && !saysCoda
			pos, start, pass = to, to, 1
			continue
		}
		pos++
	}
	return p.assemble(spans, false), nil
}

// target returns the cell where the sign of a kind stands that a jump leads to: the one with its label, else of a segno the
// last before it, of a coda the first after it, else any; -1 if there is none.
func (p *Passage) target(cells []cell, from *Sign, kind SignKind) int {
	best := (*Sign)(nil)
	for i := range p.Signs {
		s := &p.Signs[i]
		if s.Kind != kind || from.Label != "" && s.Label != "" && s.Label != from.Label {
			continue
		}
		before := s.Bar < from.Bar || s.Bar == from.Bar && !from.At.Less(s.At)
		switch {
		case best == nil, kind == Segno && before, kind == Coda && !before && best.Bar <= from.Bar:
			best = s
		}
	}
	if best == nil {
		return -1
	}
	for i, c := range cells {
		if best.At.Less(c.to) && c.bar >= best.Bar || c.bar > best.Bar {
			return i
		}
	}
	return -1
}

// cells cuts the passage into cells. A sign on a bar that doesn't exist is passed over.
func (p *Passage) cells() []cell {
	byBar := make([][]*Sign, len(p.Bars))
	for i := range p.Signs {
		if s := &p.Signs[i]; s.Bar >= 0 && s.Bar < len(p.Bars) {
			byBar[s.Bar] = append(byBar[s.Bar], s)
		}
	}
	var cells []cell
	for i, b := range p.Bars {
		cuts := []Time{b.Start, b.End()}
		for _, s := range byBar[i] {
			switch s.Kind {
			case RepeatStart, RepeatEnd, EndingStart, EndingEnd:
				if b.Start.Less(s.At) && s.At.Less(b.End()) {
					cuts = append(cuts, s.At)
				}
			}
		}
		slices.SortFunc(cuts, Time.Compare)
		cuts = slices.Compact(cuts)
		if len(cuts) == 1 { // a bar without length
			cuts = append(cuts, cuts[0])
		}
		first := len(cells)
		for k := 1; k < len(cuts); k++ {
			cells = append(cells, cell{bar: i, from: cuts[k-1], to: cuts[k]})
		}
		// starts returns the cell that begins where s stands, and ends the one that ends there; what stands within the bar
		// at no cut belongs to its first or last cell.
		starts := func(s *Sign) *cell {
			for k := first; k < len(cells); k++ {
				if cells[k].from == s.At {
					return &cells[k]
				}
			}
			return nil
		}
		ends := func(s *Sign) *cell {
			for k := first; k < len(cells); k++ {
				if cells[k].to == s.At && cells[k].from != s.At {
					return &cells[k]
				}
			}
			return &cells[len(cells)-1]
		}
		for _, s := range byBar[i] {
			switch s.Kind {
			case RepeatStart:
				if c := starts(s); c != nil {
					c.repeatStart = true
				}
			case EndingStart:
				if c := starts(s); c != nil {
					c.ending, c.numbers = true, endings(cmp.Or(s.Numbers, s.Text))
				}
			case RepeatEnd:
				ends(s).repeat = s
			case EndingEnd:
				ends(s).endingClose = true
			case DaCapo, DalSegno:
				cells[len(cells)-1].jump = s
			case ToCoda:
				cells[len(cells)-1].toCoda = s
			case Fine:
				cells[len(cells)-1].fine = true
			}
		}
	}
	for i := 0; i < len(cells); i++ {
		if !cells[i].ending {
			continue
		}
		// Endings beside one another make a group.
		first, last, next, alone := i, 0, 1, true
		for i < len(cells) && cells[i].ending {
			end := i
			for !cells[end].endingClose && end+1 < len(cells) && !cells[end+1].ending && !cells[end].isEnd() {
				end++
			}
			if len(cells[i].numbers) == 0 {
				cells[i].numbers = []int{next}
			}
			last = max(last, slices.Max(cells[i].numbers))
			next = last + 1
			cells[i].endingTo = end
			cells[end].endingClose = true
			alone = i == first
			i = end + 1
		}
		if alone && cells[i-1].repeat != nil {
			last++ // the time that goes on behind it
		}
		for k := first; k < i; k++ {
			cells[k].last = last
		}
		i--
	}
	return cells
}

// isEnd reports whether an ending that is never closed ends here: at its repeat.
func (c *cell) isEnd() bool { return c.repeat != nil }

// Excerpt returns the stretch from <= t < to of p as a passage of its own: bars keep their printed numbers, and a bar cut
// by the stretch keeps the beats of what is left, as does a note. The key, the tempo and the pedal in force are given at its start. Ties
// that lead out of it are dropped. p stays as it is.
func (p *Passage) Excerpt(from, to Time) *Passage {
	from, to = from.Max(Time{}), to.Min(p.End())
	if !from.Less(to) {
		return p.assemble(nil, true)
	}
	return p.assemble([]span{{from, to}}, true)
}

// A span is a stretch from <= t < to of the passage as written.
type span struct{ from, to Time }

// assemble puts stretches of p one after the other.
func (p *Passage) assemble(spans []span, signs bool) *Passage {
	q := &Passage{Title: p.Title, Source: p.Source, Parts: slices.Clone(p.Parts), Warnings: slices.Clone(p.Warnings)}
	byBar := make([][]int, len(p.Bars))
	for i, n := range p.Notes {
		if n.Bar >= 0 && n.Bar < len(p.Bars) {
			byBar[n.Bar] = append(byBar[n.Bar], i)
		}
	}
	at := Time{}
	pedal := false
	var seams []Time
	for k, s := range spans {
		shift := at.Sub(s.from)
		inside := func(t Time) bool { return !t.Less(s.from) && (t.Less(s.to) || t == s.to && s.to == p.End()) }
		for i := range p.Bars {
			b := p.Bars[i]
			empty := b.Length.Sign() == 0 && inside(b.Start)
			if !b.Start.Less(s.to) && !empty {
				break
			}
			if !s.from.Less(b.End()) && !empty {
				continue
			}
			start, end := b.Start.Max(s.from), b.End().Min(s.to)
			index := len(q.Bars)
			for _, j := range byBar[i] {
				n := p.Notes[j]
				switch {
				case n.After && (n.Onset.Less(s.from) || n.Onset == s.from && b.Start.Less(s.from) || s.to.Less(n.Onset)):
					continue
				case !n.After && (n.Onset.Less(start) && !start.Less(n.End()) || !n.Onset.Less(end) && (n.Grace == NoGrace || end.Less(b.End()))):
					continue
				}
				if n.Onset.Less(start) && !n.After { // the cut goes through it
					n.Onset, n.Duration, n.TieFrom = start, n.End().Sub(start), true
				}
				if end.Less(n.End()) && end.Less(b.End()) {
					n.Duration, n.TieTo = end.Sub(n.Onset), true
				}
				n.Onset, n.Bar = n.Onset.Add(shift), index
				q.Notes = append(q.Notes, n)
			}
			for _, g := range p.Signs {
				if signs && g.Bar == i && !g.At.Less(start) && !end.Less(g.At) {
					g.At, g.Bar = g.At.Add(shift), index
					q.Signs = append(q.Signs, g)
				}
			}
			b.Offset = b.Offset.Add(start.Sub(b.Start))
			b.Start, b.Length = start.Add(shift), end.Sub(start)
			q.Bars = append(q.Bars, b)
		}
		// What is in force at the start, unless it is there already or changes just then.
		var inForce *KeyChange
		for i := range p.Keys {
			c := p.Keys[i]
			if c.At.Less(s.from) {
				inForce = &p.Keys[i]
				continue
			}
			if c.At == s.from {
				inForce = nil
			}
			if !inside(c.At) {
				break
			}
			q.addKey(inForce, at)
			inForce = nil
			c.At = c.At.Add(shift)
			q.Keys = append(q.Keys, c)
		}
		q.addKey(inForce, at)
		var tempo *Tempo
		for i := range p.Tempos {
			c := p.Tempos[i]
			if c.At.Less(s.from) {
				tempo = &p.Tempos[i]
				continue
			}
			if c.At == s.from {
				tempo = nil
			}
			if !inside(c.At) {
				break
			}
			q.addTempo(tempo, at)
			tempo = nil
			c.At = c.At.Add(shift)
			q.Tempos = append(q.Tempos, c)
		}
		q.addTempo(tempo, at)
		for _, d := range p.Dynamics {
			if long := d.At.Less(d.Until); long && d.At.Less(s.to) && s.from.Less(d.Until) {
				d.At, d.Until = d.At.Max(s.from).Add(shift), d.Until.Min(s.to).Add(shift)
			} else if !long && inside(d.At) {
				d.At = d.At.Add(shift)
			} else {
				continue
			}
			q.Dynamics = append(q.Dynamics, d)
		}
		down := false
		for _, e := range p.Pedals {
			if e.At.Less(s.from) {
				down = e.Act == PedalDown || e.Act == PedalChange
			}
		}
		if down != pedal && (k > 0 || down) && !slices.ContainsFunc(p.Pedals, func(e Pedal) bool { return e.At == s.from }) {
			q.Pedals = append(q.Pedals, Pedal{at, map[bool]PedalAct{true: PedalDown, false: PedalUp}[down]})
		}
		pedal = down
		for _, e := range p.Pedals {
			if inside(e.At) {
				pedal = e.Act == PedalDown || e.Act == PedalChange
				e.At = e.At.Add(shift)
				q.Pedals = append(q.Pedals, e)
			}
		}
		for _, h := range p.Harmonies {
			if inside(h.At) {
				h.At = h.At.Add(shift)
				q.Harmonies = append(q.Harmonies, h)
			}
		}
		at = at.Add(s.to.Sub(s.from))
		seams = append(seams, at)
		if s.from.Sign() > 0 && k == 0 {
			seams = append(seams, Time{})
		}
	}
	if len(spans) > 0 && spans[len(spans)-1].to == p.End() {
		seams = slices.DeleteFunc(seams, func(t Time) bool { return t == at }) // as the source ends, so does this
	}
	q.Sort()
	q.cutTies(seams)
	return q
}

func (p *Passage) addKey(k *KeyChange, at Time) {
	if k == nil {
		return
	}
	if n := len(p.Keys); n == 0 || p.Keys[n-1].Key != k.Key || p.Keys[n-1].Declared != k.Declared {
		p.Keys = append(p.Keys, KeyChange{at, k.Key, k.Declared})
	}
}

func (p *Passage) addTempo(t *Tempo, at Time) {
	if t == nil {
		return
	}
	if n := len(p.Tempos); n == 0 || p.Tempos[n-1].Quarters != t.Quarters {
		p.Tempos = append(p.Tempos, Tempo{at, t.Quarters})
	}
}

// cutTies drops the ties over a seam whose other end isn't there.
func (p *Passage) cutTies(seams []Time) {
	type end struct {
		midi int
		at   Time
	}
	seam := map[Time]bool{}
	for _, t := range seams {
		seam[t] = true
	}
	leave, arrive := map[end]int{}, map[end]int{}
	for i := range p.Notes {
		n := &p.Notes[i]
		if n.TieTo && seam[n.End()] {
			leave[end{n.Pitch.MIDI(), n.End()}]++
		}
		if n.TieFrom && seam[n.Onset] {
			arrive[end{n.Pitch.MIDI(), n.Onset}]++
		}
	}
	for i := range p.Notes {
		n := &p.Notes[i]
		if e := (end{n.Pitch.MIDI(), n.End()}); n.TieTo && seam[e.at] && arrive[e] == 0 {
			n.TieTo = false
		}
		if e := (end{n.Pitch.MIDI(), n.Onset}); n.TieFrom && seam[e.at] && leave[e] == 0 {
			n.TieFrom = false
		}
	}
}
