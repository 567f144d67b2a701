package musicxml

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/score"
)

// passage makes the passage of what has been read.
func (r *reader) passage(o Options) (*score.Passage, error) {
	p, err := r.choose(o.Part)
	if err != nil {
		err.(*Error).File = o.File
		return nil, err
	}
	out := &score.Passage{Title: r.title(), Source: o.File}
	for i, q := range r.parts {
		out.Parts = append(out.Parts, score.Part{ID: q.id, Name: q.name, Staves: max(q.staves, 1), Notes: q.count, Chosen: q == p})
		if q != p && len(q.bars) > 0 && len(q.bars) != len(p.bars) {
			r.add(fmt.Sprintf("part %s has %d bars, part %s has %d", p.label(slices.Index(r.parts, p)), len(p.bars), q.label(i), len(q.bars)))
		}
	}
	if p.staves > 2 {
		p.add(fmt.Sprintf("the part has %d staves; all but the first are read as the left hand", p.staves))
	}
	if p.unpitched > 0 {
		p.add(fmt.Sprintf("%s without pitch left out", count(p.unpitched, "note")))
	}
	if p.hidden > 0 {
		p.add(fmt.Sprintf("%s not printed, but sounding: kept", count(p.hidden, "note")))
	}
	if p.count == 0 {
		p.add("the part has no notes")
	}

	if out.Bars, err = r.bars(p); err != nil {
		err.(*Error).File = o.File
		return nil, err
	}
	fits := true
	when := func(bar int, at Time) Time {
		t := out.Bars[bar].Start.Add(at)
		fits = fits && t.InRange()
		return t
	}
	p.place(out, when)
	for _, k := range p.signatures() {
		out.Keys = append(out.Keys, score.KeyChange{At: when(k.bar, k.at), Key: k.val.key, Declared: k.val.declared})
	}
	out.Tempos = r.tempos(when)
	out.Dynamics = p.dynamics(when)
	out.Harmonies = r.harmonies(p, when)
	out.Signs = r.signs(p, out)
	for _, m := range p.pedals {
		out.Pedals = append(out.Pedals, score.Pedal{At: when(m.bar, m.at), Act: m.val})
	}
	for _, n := range out.Notes {
		fits = fits && n.End().InRange()
	}
	if !fits {
		return nil, &Error{File: o.File, Msg: "the passage is too long, or its notes begin at too small parts of a quarter note"}
	}
	out.Sort()
	p.looseTies(out)
	out.Warnings = append(r.warnings.all(), p.warnings.all()...)
	return out, nil
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// title returns the title of the work and that of the movement, or the words printed on the first page.
func (r *reader) title() string {
	switch {
	case r.work == "" && r.movement == "":
		return r.credit
	case r.work == "" || r.work == r.movement:
		return r.movement
	case r.movement == "":
		return r.work
	}
	return r.work + ": " + r.movement
}

// label names the i-th part for messages.
func (p *part) label(i int) string {
	s := strconv.Itoa(i + 1)
	if p.name != "" {
		s += " " + strconv.Quote(p.name)
	}
	if p.id != "" {
		s += " (" + p.id + ")"
	}
	return s
}

// choose returns the part that name means, or the piano.
func (r *reader) choose(name string) (*part, error) {
	if !slices.ContainsFunc(r.parts, func(p *part) bool { return p.body }) {
		return nil, &Error{Msg: "the score has no <part> with music in it"}
	}
	name = strings.Join(strings.Fields(name), " ")
	if name == "" {
		return r.piano(), nil
	}
	for _, match := range []func(*part) bool{
		func(p *part) bool { return p.id == name },
		func(p *part) bool { return strings.EqualFold(p.id, name) },
		func(p *part) bool { return strings.EqualFold(p.name, name) },
	} {
		var found []*part
		for _, p := range r.parts {
			if match(p) {
				found = append(found, p)
			}
		}
		if len(found) == 1 {
			return found[0], nil
		}
		if len(found) > 1 {
			return nil, &Error{Msg: fmt.Sprintf("%d parts are called %q; choose by number or id among %s", len(found), name, r.list())}
		}
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= len(r.parts) {
		return r.parts[n-1], nil
	}
	return nil, &Error{Msg: fmt.Sprintf("no part %q; the parts are %s", name, r.list())}
}

// list names the parts, at most eight of them.
func (r *reader) list() string {
	var s []string
	for i, p := range r.parts {
		if i == 8 {
			s = append(s, fmt.Sprintf("and %d more", len(r.parts)-i))
			break
		}
		s = append(s, p.label(i))
	}
	return strings.Join(s, ", ")
}

// piano returns the part with two staves, as Options.Part says, else the first one with notes.
func (r *reader) piano() *part {
	rank := func(p *part) int {
		switch {
		case p.count == 0:
			return 0
		case p.staves < 2:
			return 1
		case !p.isKeyboard():
			return 2
		}
		return 3
	}
	best := r.parts[0]
	for _, p := range r.parts[1:] {
		if a, b := rank(p), rank(best); a > b || a == b && a > 1 && p.count > best.count {
			best = p
		}
	}
	if best.staves < 2 && len(r.parts) > 1 {
		r.add(fmt.Sprintf("no part has two staves; part %s is read, all right hand, of %s", best.label(slices.Index(r.parts, best)), r.list()))
	}
	return best
}

// isKeyboard reports whether the part says that it is for a keyboard, by its sound or its name.
func (p *part) isKeyboard() bool {
	if p.keyboard {
		return true
	}
	name := strings.ToLower(p.name)
	for _, word := range []string{"piano", "klavier", "clavier", "keyboard", "harpsichord", "cembalo", "clavecin", "organ", "orgel"} {
		if strings.Contains(name, word) {
			return true
		}
	}
	return false
}

// bars returns the bars: as long as the fullest part makes them, with the numbers and meters of the chosen part (of the
// first one that has any, where it has none).
func (r *reader) bars(chosen *part) ([]score.Bar, error) {
	heads := slices.Clone(chosen.bars)
	meters := chosen.meters
	for _, p := range r.parts {
		for i, b := range p.bars {
			if i == len(heads) {
				heads = append(heads, b)
			}
			heads[i].length = heads[i].length.Max(b.length)
		}
		if len(meters) == 0 {
			meters = p.meters
		}
	}
	out := make([]score.Bar, len(heads))
	at, meter := Time{}, score.Meter{}
	for i, h := range heads {
		for len(meters) > 0 && meters[0].bar <= i {
			meter, meters = meters[0].val, meters[1:]
		}
		length := h.length
		if length.Sign() == 0 {
			length = meter.Length()
		}
		out[i] = score.Bar{Number: h.number, Start: at, Length: length, Meter: meter}
		if at = at.Add(length); !at.InRange() {
			return nil, &Error{Measure: h.number, Msg: "the passage is too long, or its bars begin at too small parts of a quarter note"}
		}
		if h.number == "" {
			out[i].Number = strconv.Itoa(i + 1)
		}
	}
	number(out, heads)
	for i, t := range r.offsets {
		if i >= 0 && i < len(out) {
			out[i].Offset = t
		}
	}
	for _, b := range out {
		if !b.Offset.InRange() {
			return nil, &Error{Measure: b.Number, Msg: fmt.Sprintf("a bar of %s quarter notes, too small a part of %s", b.Length, b.Meter)}
		}
	}
	return out, nil
}

// number finds the upbeats and the bars cut in two, and gives them their offsets and printed numbers. A bar shorter than
// its meter is
//   - at the beginning: an upbeat, unless it is the only bar and says nothing else;
//   - after a bar that is short by just so much: the second part of it, with its number if it has none of its own (its
//     measure is implicit: "measures where the measure number should never appear, such as pickup measures and the last
//     half of mid-measure repeats"); also if it is implicit and a third part follows;
//   - implicit, with a bar after it that it is no part of: an upbeat;
//   - else a bar that isn't filled.
func number(bars []score.Bar, heads []bar) {
	for i := range bars {
		b, implicit := &bars[i], heads[i].implicit
		if i == 0 && implicit {
			b.Number = "0"
		}
		full := b.Meter.Length()
		if !b.Length.Less(full) {
			continue
		}
		sum := b.Length // of the printed bar, up to the end of b
		if i > 0 && bars[i-1].Meter.Equal(b.Meter) {
			if before := bars[i-1].Offset.Add(bars[i-1].Length); before.InRange() && before.Add(sum).InRange() {
				sum = before.Add(sum)
			}
		}
		goesOn, next := false, Time{}
		if i+1 < len(bars) && heads[i+1].implicit && bars[i+1].Meter.Equal(b.Meter) {
			next = bars[i+1].Length
			goesOn = sum.Add(next).InRange()
		}
		switch {
		case i == 0 && (len(bars) > 1 || implicit || b.Number == "0"):
			b.Offset = full.Sub(b.Length)
		case b.Length.Less(sum) && (sum == full || implicit && goesOn && !full.Less(sum.Add(next))):
			b.Offset = sum.Sub(b.Length)
			if implicit {
				b.Number = bars[i-1].Number
			}
		case implicit && i+1 < len(bars) && !(goesOn && b.Length.Add(next) == full):
			b.Offset = full.Sub(b.Length)
		}
	}
}

// place puts the notes into the passage: with times from the start, hands for staves and voices counted within the hand.
func (p *part) place(out *score.Passage, when func(int, Time) Time) {
	// Voices of a hand are counted from 1: first those at home there, by the order of their labels, then visitors from the
	// other staff.
	number := make([][3]int, len(p.voices))
	for h := score.Right; h <= score.Left; h++ {
		var order []int
		for i, v := range p.voices {
			if v.notes[h] > 0 {
				order = append(order, i)
			}
		}
		away := func(i int) int {
			v := p.voices[i]
			if c := cmp.Compare(v.notes[h], v.notes[3-h]); c < 0 || c == 0 && v.home != h {
				return 1
			}
			return 0
		}
		slices.SortStableFunc(order, func(i, j int) int {
			a, b := p.voices[i].label, p.voices[j].label
			return cmp.Or(cmp.Compare(away(i), away(j)), cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) // 2 before 10
		})
		for n, i := range order {
			number[i][h] = n + 1
		}
	}
	out.Notes, p.notes = slices.Concat(p.notes...), nil
	for i := range out.Notes {
		n := &out.Notes[i]
		n.Onset = when(n.Bar, n.Onset)
		n.Hand = handOf(int(n.Hand))
		n.Voice = number[n.Voice][n.Hand]
	}
}

// signatures returns the key changes in order of time: those for all staves, and of those for one staff the first staff's.
func (p *part) signatures() []mark[keyMark] {
	var out []mark[keyMark]
	keys := slices.Clone(p.keys)
	slices.SortStableFunc(keys, func(a, b mark[keyMark]) int {
		return cmp.Or(cmp.Compare(a.bar, b.bar), a.at.Compare(b.at), cmp.Compare(a.val.staff, b.val.staff))
	})
	warned := false
	for _, k := range keys {
		if k.val.staff <= 1 {
			if n := len(out); n > 0 && out[n-1].bar == k.bar && out[n-1].at == k.at {
				out = out[:n-1] // given twice: the staff's own one holds
			}
			out = append(out, k)
		} else if n := len(out); !warned && (n == 0 || out[n-1].val.key != k.val.key) {
			warned = true
			p.add(fmt.Sprintf("measure %s: the staves have different key signatures; the upper one's is taken", p.bars[k.bar].number))
		}
	}
	return out
}

// tempos returns the tempos of all parts in order of time, since a score prints them over the top part only; of several at
// one moment the first part's.
func (r *reader) tempos(when func(int, Time) Time) []score.Tempo {
	type moment struct {
		at Time
		tempo
	}
	var all []moment
	for _, p := range r.parts {
		for _, t := range p.tempos {
			all = append(all, moment{when(t.bar, t.at), t.val})
		}
	}
	slices.SortStableFunc(all, func(a, b moment) int { return a.at.Compare(b.at) })
	var out []score.Tempo
	for _, m := range all {
		n := len(out)
		if n > 0 && out[n-1].At == m.at {
			continue
		}
		q := m.quarters
		if q == 0 && n > 0 { // as fast in its own note value as before in another
			q = out[n-1].Quarters * m.ratio
		}
		if q > 0 && q <= maxTempo {
			out = append(out, score.Tempo{At: m.at, Quarters: q})
		}
	}
	return out
}

// dynamics returns the marks and hairpins in order of time.
func (p *part) dynamics(when func(int, Time) Time) []score.Dynamic {
	var out []score.Dynamic
	for _, s := range p.swells {
		d := score.Dynamic{At: when(s.bar, s.at), Text: s.text, Hand: s.hand}
		if p.staves < 2 {
			d.Hand = 0
		}
		if s.long && s.closed {
			if d.Until = when(s.endBar, s.end); !d.At.Less(d.Until) {
				d.Until = Time{}
			}
		}
		if s.hairpin {
			if s.closed {
				d.Until = when(s.endBar, s.end)
			}
			if !d.At.Less(d.Until) {
				p.add(fmt.Sprintf("measure %s: a hairpin (%s) that doesn't end is left out", p.bars[s.bar].number, s.text))
				continue
			}
		}
		out = append(out, d)
	}
	slices.SortStableFunc(out, func(a, b score.Dynamic) int { return a.At.Compare(b.At) })
	return out
}

// looseTies warns of ties that lead nowhere or come from nowhere; the notes keep their ties. Two ends of the same pitch, a
// bar apart at most, are one tie over a gap, as in a chord that is built up note by note and then held. A grace note tied
// to its main note is no loose end.
func (p *part) looseTies(out *score.Passage) {
	type joint struct {
		midi int
		hand score.Hand
		at   Time
	}
	leave, arrive := map[joint]bool{}, map[joint]bool{}
	for _, n := range out.Notes {
		if n.TieTo && !n.Cue {
			leave[joint{n.Pitch.MIDI(), n.Hand, n.End()}] = true
		}
		if n.TieFrom && !n.Cue {
			arrive[joint{n.Pitch.MIDI(), n.Hand, n.Onset}] = true
		}
	}
	from := map[int][]score.Note{} // that lead nowhere, by MIDI number
	for _, n := range out.Notes {
		m := n.Pitch.MIDI()
		if n.TieFrom && !n.Cue && !leave[joint{m, n.Hand, n.Onset}] {
			// Over a gap it comes from the nearest one that leads nowhere; Passage.Sounding joins them.
			if i := len(from[m]) - 1; i >= 0 && !n.Onset.Less(from[m][i].End()) && n.Bar-from[m][i].Bar <= 1 {
				from[m] = from[m][:i]
			} else {
				p.add(fmt.Sprintf("%s: a tie of %s comes from no note", out.Where(n.Onset), n.Pitch))
			}
		}
		if n.TieTo && !n.Cue && !arrive[joint{m, n.Hand, n.End()}] {
			from[m] = append(from[m], n)
		}
	}
	for _, m := range slices.Sorted(maps.Keys(from)) {
		for _, n := range from[m] {
			p.add(fmt.Sprintf("%s: a tie of %s leads to no note", out.Where(n.Onset), n.Pitch))
		}
	}
}
