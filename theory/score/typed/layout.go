package typed

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/score"
)

// An item is what stands at one moment of a line: grace notes, then a chord. A length of 0 means that there is no chord.
type item struct {
	at, length Time  // at from the start of the bar
	graces     []int // indices of notes
	chord      []int
}

// A layer is one line of one bar.
type layer struct {
	items []item
	end   Time
}

// A placedMark is the text of a mark in brackets and its place in the bar.
type placedMark struct {
	at   Time
	text string
}

type barMarks struct {
	head   []string // for the bar line
	inside []placedMark
}

// marks distributes marks of all sorts over the bars.
func (w *writer) marks() ([]barMarks, error) {
	p := w.p
	out := make([]barMarks, len(p.Bars))
	end := p.End()
	add := func(at Time, text string, head bool) error {
		if at.Sign() < 0 || end.Less(at) || !at.InRange() {
			return fmt.Errorf("%s: %q is not within the passage", p.Where(at), text)
		}
		i := p.BarAt(at)
		at = at.Sub(p.Bars[i].Start)
		if head && at.Sign() == 0 {
			out[i].head = append(out[i].head, text)
			return nil
		}
		out[i].inside = append(out[i].inside, placedMark{at, "[" + text + "]"})
		return nil
	}
	for _, k := range inOrder(p.Keys, func(a, b score.KeyChange) int { return a.At.Compare(b.At) }) {
		s, ok := keyText(k)
		if !ok {
			return nil, fmt.Errorf("%s: a key that cannot be written", p.Where(k.At))
		}
		if err := add(k.At, "key "+s, true); err != nil {
			return nil, err
		}
	}
	for _, t := range inOrder(p.Tempos, func(a, b score.Tempo) int { return a.At.Compare(b.At) }) {
		s, ok := tempoText(t.Quarters)
		if !ok {
			return nil, fmt.Errorf("%s: a tempo of %v quarter notes a minute cannot be written", p.Where(t.At), t.Quarters)
		}
		if err := add(t.At, "tempo "+s, true); err != nil {
			return nil, err
		}
	}
	for _, d := range inOrder(p.Dynamics, func(a, b score.Dynamic) int { return a.At.Compare(b.At) }) {
		s := d.Text
		if !isDynamic(s) {
			s = quoted(s)
		}
		switch d.Hand {
		case score.Left:
			s = "left " + s
		case score.Right:
			s = "right " + s
		}
		if d.At.Less(d.Until) {
			s += " for " + lengthText(d.Until.Sub(d.At))
		}
		if err := add(d.At, s, false); err != nil {
			return nil, err
		}
	}
	for _, e := range inOrder(p.Pedals, func(a, b score.Pedal) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Act, b.Act)) }) {
		s, ok := pedalWords[e.Act]
		if !ok {
			return nil, fmt.Errorf("%s: a pedal mark of an unknown kind", p.Where(e.At))
		}
		if err := add(e.At, s, false); err != nil {
			return nil, err
		}
	}
	for _, h := range inOrder(p.Harmonies, func(a, b score.Harmony) int { return a.At.Compare(b.At) }) {
		s, ok := harmonyText(h)
		if !ok {
			return nil, fmt.Errorf("%s: the chord symbol %q of kind %q cannot be written", p.Where(h.At), h, h.Kind)
		}
		if err := add(h.At, "chord "+s, false); err != nil {
			return nil, err
		}
	}
	for _, g := range inOrder(p.Signs, func(a, b score.Sign) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), strings.Compare(a.Label, b.Label), strings.Compare(a.Text, b.Text))
	}) {
		s, ok := signText(g)
		if !ok {
			return nil, fmt.Errorf("bar %s: the sign %q (%s) cannot be written", p.Bars[g.Bar].Number, g, g.Kind)
		}
		out[g.Bar].inside = append(out[g.Bar].inside, placedMark{g.At.Sub(p.Bars[g.Bar].Start), "[" + s + "]"})
	}
	for _, b := range out {
		slices.SortStableFunc(b.inside, func(a, b placedMark) int { return a.at.Compare(b.at) })
	}
	return out, nil
}

func inOrder[M any](marks []M, compare func(a, b M) int) []M {
	marks = slices.Clone(marks)
	slices.SortStableFunc(marks, compare)
	return marks
}

// layout puts the notes of one voice in one bar into as few lines as it easily can. Line 0 is never missing; it is empty
// if its notes wouldn't let it be filled.
func layout(notes []score.Note, voice []int, b score.Bar) ([]layer, error) {
	// Notes come in order of onset, grace notes first; chords of one onset are parted by their length.
	var items []item
	var graces []int
	for _, i := range voice {
		n := notes[i]
		at := n.Onset.Sub(b.Start)
		if len(graces) > 0 && notes[graces[0]].Onset != n.Onset {
			items = append(items, item{at: notes[graces[0]].Onset.Sub(b.Start), graces: graces})
			graces = nil
		}
		if n.Grace != score.NoGrace {
			graces = append(graces, i)
			continue
		}
		found := false
		for k := len(items) - 1; k >= 0 && items[k].at == at && items[k].length.Sign() > 0; k-- {
			if it := &items[k]; it.length == n.Duration && !slices.ContainsFunc(it.chord, func(j int) bool { return notes[j].Pitch == n.Pitch }) {
				it.chord = append(it.chord, i)
				found = true
				break
			}
		}
		if !found {
			items = append(items, item{at: at, length: n.Duration, graces: graces, chord: []int{i}})
			graces = nil
		}
		if len(items) > 4*maxFurther && items[len(items)-4*maxFurther].at == at {
			return nil, errTooMany
		}
	}
	if len(graces) > 0 {
		items = append(items, item{at: notes[graces[0]].Onset.Sub(b.Start), graces: graces})
	}
	layers := make([]layer, 1)
	for _, it := range items {
		end := it.at.Add(it.length)
		fits := func(n int) bool {
			l := layers[n]
			return !it.at.Less(l.end) && it.at.Sub(l.end).InRange() && (n > 0 || b.Length.Sub(end).InRange())
		}
		n := 0
		for n < len(layers) && !fits(n) {
			n++
		}
		if n == len(layers) {
			if n > maxFurther {
				return nil, errTooMany
			}
			layers = append(layers, layer{})
			if !fits(n) {
				return nil, fmt.Errorf("a note at too small a part of a beat (%s)", it.at)
			}
		}
		layers[n].items = append(layers[n].items, it)
		layers[n].end = end
	}
	return layers, nil
}

var errTooMany = errors.New("too many notes of different length at once in one voice")

// meets reports whether every mark stands where something begins or ends in l, filled to the end of its bar. An empty line
// meets none.
func (l layer) meets(marks []placedMark, end Time) bool {
	if len(l.items) == 0 {
		return false
	}
	i := 0
	for _, m := range marks {
		for i < len(l.items) && l.items[i].at.Add(l.items[i].length).Less(m.at) {
			i++
		}
		if m.at.Sign() == 0 || m.at == end {
			continue
		}
		if i == len(l.items) || l.items[i].at != m.at && l.items[i].at.Add(l.items[i].length) != m.at {
			return false
		}
	}
	return true
}

// markLayer returns a line of rests with the given stops.
func markLayer(marks []placedMark) (layer, error) {
	var l layer
	for _, m := range marks {
		if !m.at.Sub(l.end).InRange() {
			return l, fmt.Errorf("a mark at too small a part of a beat (%s)", m.at)
		}
		l.items = append(l.items, item{at: m.at})
		l.end = m.at
	}
	return l, nil
}

// line prints a layer with marks. If fill is true, rests fill it to the end of the bar.
func (w *writer) line(l layer, marks []placedMark, fill bool, b score.Bar) (string, error) {
	if len(l.items) == 0 {
		return ".", nil
	}
	s := setter{scale: score.Quarters(1)}
	mark := func(upTo Time) {
		for len(marks) > 0 && !upTo.Less(marks[0].at) {
			s.put(marks[0].text)
			marks = marks[1:]
		}
	}
	mark(Time{})
	for k, it := range l.items {
		if err := s.rest(it.at); err != nil {
			return "", err
		}
		n := 0
		for n < len(it.graces) && w.notes[it.graces[n]].After {
			n++
		}
		w.graces(&s, it.graces[:n])
		mark(it.at)
		w.graces(&s, it.graces[n:])
		if it.length.Sign() == 0 {
			continue
		}
		texts := make([]string, len(it.chord))
		for k, i := range it.chord {
			texts[k] = w.noteText(i)
		}
		if err := s.value(it.length, w.chordText(it.chord, texts)); err != nil {
			return "", err
		}
		if end := it.at.Add(it.length); k+1 == len(l.items) || l.items[k+1].at != end {
			mark(end)
		}
	}
	if fill {
		if err := s.rest(b.Length); err != nil {
			return "", err
		}
		mark(b.Length)
	}
	s.closeTuplet()
	return s.b.String(), nil
}

// graces writes grace notes, those struck together as a chord.
func (w *writer) graces(s *setter, list []int) {
	for k := 0; k < len(list); {
		first := w.notes[list[k]]
		text := "*"
		if first.After {
			text += ">"
		}
		if first.Grace == score.Acciaccatura {
			text += "/"
		}
		if first.Together {
			text += "+"
		}
		text += w.noteText(list[k])
		from := k
		for k++; k < len(list); k++ {
			n := w.notes[list[k]]
			if !n.Together || n.Grace != first.Grace || slices.ContainsFunc(list[from:k], func(i int) bool { return w.notes[i].Pitch == n.Pitch }) {
				break
			}
			text += "+" + w.noteText(list[k])
		}
		s.put(text)
	}
}

// chordText joins the notes of a chord. If all are tied alike, one sign stands for all.
func (w *writer) chordText(chord []int, texts []string) string {
	tie := w.tie[chord[0]]
	if len(chord) == 1 || tie == "" || slices.ContainsFunc(chord, func(i int) bool { return w.tie[i] != tie }) {
		return strings.Join(texts, "+")
	}
	for i := range texts {
		texts[i] = strings.TrimSuffix(texts[i], tie)
	}
	return strings.Join(texts, "+") + "=" + tie
}

// A setter writes values and what they are for, with the tuplets they need.
type setter struct {
	b     strings.Builder
	at    Time
	scale Time   // inside the tuplet that is open, else 1
	begun Time   // where it began
	fresh bool   // nothing stands in it yet
	force string // the value in force
}

func (s *setter) put(text string) {
	if s.b.Len() > 0 && !s.fresh {
		s.b.WriteByte(' ')
	}
	s.fresh = false
	s.b.WriteString(text)
}

func (s *setter) closeTuplet() {
	if s.scale != score.Quarters(1) {
		s.b.WriteByte(')')
		s.scale = score.Quarters(1)
	}
}

func (s *setter) openTuplet(n, m int64) {
	s.put(fmt.Sprintf("%din%d(", n, m))
	s.scale, s.begun, s.fresh = score.T(m, n), s.at, true
}

// rest writes rests up to the moment to, cut at whole quarters where they pass any.
func (s *setter) rest(to Time) error {
	for s.at.Less(to) {
		next := to
		up := score.T(s.at.Num()/s.at.Den(), 1) // the quarter at or before s.at
		if s.at.Den() > 1 {
			up = up.Add(score.Quarters(1))
		}
		down := score.T(to.Num()/to.Den(), 1)
		switch {
		case s.at.Less(up) && up.Less(to):
			next = up
		case s.at.Less(down) && down.Less(to):
			next = down
		}
		if err := s.restPiece(next); err != nil {
			return err
		}
	}
	return nil
}

func (s *setter) restPiece(to Time) error {
	for s.at.Less(to) {
		left := to.Sub(s.at)
		done := false
		if odd(left.Den()) == 1 || s.scale != score.Quarters(1) {
			written := left.Div(s.scale)
			if n := left.Num() / left.Den() / 8; n > 64 && s.scale == score.Quarters(1) {
				left, done, written = score.Quarters(int(8*n)), true, Time{} // in one piece
			}
			for _, v := range values { // the longest value that leaves a rest of plain values
				if !written.Less(v.length) && odd(written.Sub(v.length).Den()) == 1 && written.Sub(v.length).Den() <= 64 {
					left, done = v.length.Mul(s.scale.Num(), s.scale.Den()), true
					break
				}
			}
		}
		if !done && !left.InRange() {
			return fmt.Errorf("a rest of %s cannot be written", inQuarters(left))
		}
		if err := s.value(left, "r"); err != nil {
			return err
		}
	}
	return nil
}

// value writes something of a length: in the tuplet that is open, plainly, in a tuplet of the usual kind, or else in one
// made for it.
func (s *setter) value(length Time, text string) error {
	plain := score.Quarters(1)
	name, ok := "", false
	if s.scale != plain {
		if name, ok = valueName(length.Div(s.scale)); !ok {
			s.closeTuplet()
		}
	}
	if !ok {
		name, ok = valueName(length)
	}
	if k := odd(length.Den()); !ok && k > 1 && k <= maxTuplet {
		m := int64(1)
		for 2*m < k {
			m *= 2
		}
		if name, ok = valueName(length.Mul(k, m)); ok {
			s.openTuplet(k, m)
		}
	}
	single := false
	if !ok {
		// One note in the time of a value stretched: n in m of the value, with the smallest figures.
		best := int64(0)
		var n, m int64
		for _, v := range values {
			r := length.Div(v.length)
			if size := max(r.Num(), r.Den()); size <= maxTuplet && r.InRange() && (best == 0 || size < best) {
				best, n, m, name = size, r.Den(), r.Num(), v.name
			}
		}
		if best == 0 {
			return fmt.Errorf("a length of %s cannot be written", inQuarters(length))
		}
		s.openTuplet(n, m)
		single = true
	}
	if name != s.force {
		s.put(name)
		s.force = name
	}
	s.put(text)
	s.at = s.at.Add(length)
	if s.scale != plain && (single || odd(s.at.Sub(s.begun).Den()) == 1) {
		s.closeTuplet()
	}
	return nil
}

// odd returns n without its factors of 2.
func odd(n int64) int64 {
	for n > 0 && n%2 == 0 {
		n /= 2
	}
	return n
}
