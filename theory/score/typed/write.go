package typed

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"plumbline/theory/score"
)

// Write prints p as a typed passage. What Read makes of it is equal to p in title, bars, notes and marks of all sorts;
// notes and marks that stand at the same moment may change places where score.Passage leaves their order free. Source, parts
// and warnings are not written. p stays as it is.
//
// Write returns an error, and writes nothing, if p says something that the format cannot: bars that don't follow one another
// from 0, a note that lasts beyond its bar or has no length, pitches and numbers out of range, more than Read accepts.
func Write(w io.Writer, p *score.Passage) error {
	wr := &writer{p: p, notes: slices.Clone(p.Notes)}
	err := wr.write()
	if err == nil && wr.out.Len() > maxBytes {
		err = errors.New("the text would be larger than 4 MiB")
	}
	if err != nil {
		return fmt.Errorf("typed: %w", err)
	}
	_, err = io.WriteString(w, wr.out.String())
	return err
}

type writer struct {
	p     *score.Passage
	out   strings.Builder
	notes []score.Note // in canonical order
	tie   []string     // what stands after each note
	from  []bool       // whether = stands before it
	bars  []*barText

	header []string // the first key and tempo
}

// A barText is one bar, ready to be set out: the attributes of its bar line and its lines.
type barText struct {
	attrs []string
	lines map[lineKey]string
	alone bool // its attributes hold for a single bar
}

// A lineKey names a line: layer 0 is the voice's own line, the others are lines of further notes. Hand 0 is between.
type lineKey struct {
	hand  score.Hand
	voice int
	layer int
}

func (w *writer) write() error {
	p := w.p
	if len(p.Bars) == 0 {
		return errors.New("the passage has no bars")
	}
	if len(p.Notes) > maxNotes {
		return fmt.Errorf("more than %d notes", maxNotes)
	}
	if len(p.Keys)+len(p.Tempos)+len(p.Dynamics)+len(p.Pedals)+len(p.Harmonies)+len(p.Signs) > maxMarks {
		return fmt.Errorf("more than %d marks", maxMarks)
	}
	if err := w.check(); err != nil {
		return err
	}
	slices.SortStableFunc(w.notes, canonical)
	w.ties()
	if err := w.setBars(); err != nil {
		return err
	}
	if p.Title != "" {
		title := p.Title
		if !plainTitle(title) {
			title = quoted(title)
		}
		fmt.Fprintf(&w.out, "title: %s\n", title)
	}
	fmt.Fprintf(&w.out, "meter: %s\n", p.Bars[0].Meter)
	for _, s := range w.header {
		word, rest, _ := strings.Cut(s, " ")
		fmt.Fprintf(&w.out, "%s: %s\n", word, rest)
	}
	for i := 0; i < len(w.bars); {
		n := w.blockLength(i)
		w.writeBlock(i, n)
		i += n
		if w.out.Len() > maxBytes {
			break
		}
	}
	return nil
}

// check looks at what Read would refuse.
func (w *writer) check() error {
	p := w.p
	at := Time{}
	for i, b := range p.Bars {
		m := b.Meter
		back, msg := parseMeter(m.String())
		switch {
		case b.Number == "":
			return fmt.Errorf("bar %d of the passage has no number", i+1)
		case msg != "" || !back.Equal(m):
			return fmt.Errorf("bar %s: the meter %s (%d over %d, groups %v) cannot be written", b.Number, m, m.Beats, m.Unit, m.Groups)
		case b.Start != at:
			return fmt.Errorf("bar %s begins at %s; the bar before it ends at %s", b.Number, b.Start, at)
		case !b.Length.InRange() || b.Length.Sign() < 0 || !b.Offset.InRange() || b.Offset.Sign() < 0:
			return fmt.Errorf("bar %s: its length or offset is out of range", b.Number)
		}
		if at = b.End(); !at.InRange() {
			return fmt.Errorf("bar %s ends out of range", b.Number)
		}
	}
	for _, n := range p.Notes {
		if n.Bar < 0 || n.Bar >= len(p.Bars) {
			return fmt.Errorf("%s is in bar %d of %d", n.Pitch, n.Bar, len(p.Bars))
		}
		b := p.Bars[n.Bar]
		fail := func(why string) error { return fmt.Errorf("bar %s, %s: a note %s", b.Number, n.Hand, why) }
		switch {
		case !writable(n.Pitch):
			return fail("with a pitch out of range")
		case n.Hand != score.Right && n.Hand != score.Left:
			return fail("of no hand")
		case n.Voice < 1 || n.Voice > maxVoice:
			return fail(fmt.Sprintf("of voice %d; voices are 1 to %d", n.Voice, maxVoice))
		case n.Grace < score.NoGrace || n.Grace > score.Acciaccatura:
			return fail("of an unknown kind")
		case n.Grace != score.NoGrace && n.Duration.Sign() != 0:
			return fail(n.Pitch.String() + " is a grace note with a length")
		case n.Grace == score.NoGrace && n.Duration.Sign() <= 0:
			return fail(n.Pitch.String() + " without a length")
		case n.Grace == score.NoGrace && (n.After || n.Together):
			return fail(n.Pitch.String() + " that isn't a grace note but is said to follow or to join one")
		case !n.Onset.InRange() || !n.Duration.InRange() || !n.End().InRange():
			return fail(n.Pitch.String() + " at a time out of range")
		case n.Onset.Less(b.Start) || b.End().Less(n.End()):
			return fail(n.Pitch.String() + " that reaches beyond its bar")
		}
	}
	for _, g := range p.Signs {
		if g.Bar < 0 || g.Bar >= len(p.Bars) {
			return fmt.Errorf("the sign %s is in bar %d of %d", g.Kind, g.Bar, len(p.Bars))
		}
		if b := p.Bars[g.Bar]; !g.At.InRange() || g.At.Less(b.Start) || b.End().Less(g.At) {
			return fmt.Errorf("bar %s: the sign %s is not within its bar", b.Number, g.Kind)
		}
	}
	for _, d := range p.Dynamics {
		long := d.At.Less(d.Until)
		switch {
		case d.Text == "" || d.Hand < 0 || d.Hand > score.Left || (d.Text == louder || d.Text == softer) && !long:
			return fmt.Errorf("%s: the dynamic %q cannot be written", p.Where(d.At), d.Text)
		case !d.At.InRange() || d.At.Sign() < 0 || at.Less(d.At) || long && (!d.Until.InRange() || at.Less(d.Until) || !d.Until.Sub(d.At).InRange()):
			return fmt.Errorf("%s: the dynamic %q is not within the passage", p.Where(d.At), d.Text)
		}
	}
	return nil
}

// ties decides how each tie is written, just as Read will understand it.
func (w *writer) ties() {
	w.tie, w.from = make([]string, len(w.notes)), make([]bool, len(w.notes))
	for i, n := range w.notes {
		w.from[i] = n.TieFrom
	}
	j := newJoints(w.notes)
	for i, n := range w.notes {
		if !n.TieTo {
			continue
		}
		w.tie[i] = "=?"
		if k := j.target(i); k >= 0 && w.notes[k].TieFrom {
			j.taken[k] = true
			w.tie[i], w.from[k] = "=", false
		}
	}
}

// noteText returns note i as it is written in a chord.
func (w *writer) noteText(i int) string {
	n := w.notes[i]
	s := n.Pitch.String() + w.tie[i]
	if w.from[i] {
		s = "=" + s
	}
	if n.Cue {
		s = "~" + s
	}
	return s
}

// setBars prints every bar into w.bars.
func (w *writer) setBars() error {
	p := w.p
	byBar := make([][]int, len(p.Bars))
	for i, n := range w.notes {
		byBar[n.Bar] = append(byBar[n.Bar], i)
	}
	marks, err := w.marks()
	if err != nil {
		return err
	}
	said := map[string]bool{}
	marks[0].head = slices.DeleteFunc(marks[0].head, func(s string) bool {
		word, _, _ := strings.Cut(s, " ")
		if said[word] {
			return false
		}
		said[word] = true
		w.header = append(w.header, s)
		return true
	})
	for i, b := range p.Bars {
		bt := &barText{lines: map[lineKey]string{}}
		voices := map[lineKey][]int{}
		for _, k := range byBar[i] {
			v := lineKey{w.notes[k].Hand, w.notes[k].Voice, 0}
			voices[v] = append(voices[v], k)
		}
		keys := make([]lineKey, 0, len(voices))
		for v := range voices {
			keys = append(keys, v)
		}
		slices.SortFunc(keys, compareLines)
		filled, placed := false, len(marks[i].inside) == 0
		for _, v := range keys {
			layers, err := layout(w.notes, voices[v], b)
			if err != nil {
				return fmt.Errorf("bar %s, %s: %w", b.Number, handVoice(v.hand, v.voice), err)
			}
			for n, l := range layers {
				key := lineKey{v.hand, v.voice, n}
				var inside []placedMark
				if !placed && n == 0 && l.meets(marks[i].inside, b.Length) {
					inside, placed = marks[i].inside, true
				}
				if bt.lines[key], err = w.line(l, inside, n == 0, b); err != nil {
					return fmt.Errorf("bar %s, %s: %w", b.Number, handVoice(v.hand, v.voice), err)
				}
				filled = filled || n == 0 && bt.lines[key] != "."
			}
		}
		if !placed {
			l, err := markLayer(marks[i].inside)
			if err == nil {
				bt.lines[lineKey{}], err = w.line(l, marks[i].inside, false, b)
			}
			if err != nil {
				return fmt.Errorf("bar %s, marks: %w", b.Number, err)
			}
		}
		if len(bt.lines) == 0 {
			bt.lines[lineKey{score.Right, 1, 0}] = "."
		}
		if err := w.attributes(bt, i, filled, marks[i].head); err != nil {
			return err
		}
		w.bars = append(w.bars, bt)
	}
	return nil
}

func compareLines(a, b lineKey) int {
	rank := func(k lineKey) int { return []int{1, 0, 2}[k.hand] } // right, between, left
	if c := rank(a) - rank(b); c != 0 {
		return c
	}
	if c := a.voice - b.voice; c != 0 {
		return c
	}
	return a.layer - b.layer
}

// attributes words what the bar line of bar i says.
func (w *writer) attributes(bt *barText, i int, filled bool, head []string) error {
	b := w.p.Bars[i]
	if i > 0 && !b.Meter.Equal(w.p.Bars[i-1].Meter) {
		bt.attrs = append(bt.attrs, "meter "+b.Meter.String())
	}
	bt.attrs = append(bt.attrs, head...)
	n := len(bt.attrs)
	full, free := b.Meter.Length(), b.Meter.Beats == 0
	total := b.Offset.Add(b.Length)
	switch short := b.Length.Less(full) && filled; {
	case b.Offset.Sign() == 0 && (b.Length == full && !free || free && filled):
	case b.Offset.Sign() == 0 && short:
		bt.attrs = append(bt.attrs, "short")
	case b.Offset.Sign() == 0:
		bt.attrs = append(bt.attrs, "length "+lengthText(b.Length))
	case total == full && short && i == 0:
		bt.attrs = append(bt.attrs, "upbeat")
	default:
		beat := b.Offset.Div(b.Meter.Beat()).Add(score.Quarters(1))
		if _, ok := score.ParseTime(beat.String()); !ok {
			return fmt.Errorf("bar %s: its offset of %s can't be written in beats", b.Number, inQuarters(b.Offset))
		}
		bt.attrs = append(bt.attrs, "from beat "+beat.String())
		if !free && (total != full || b.Length.Sign() == 0) || free && !filled {
			bt.attrs = append(bt.attrs, "length "+lengthText(b.Length))
		}
	}
	bt.alone = len(bt.attrs) > n
	return nil
}

// blockLength returns how many bars from index i on are set under one bar line: up to four that go on by one and say
// nothing of their own.
func (w *writer) blockLength(i int) int {
	first, ok := parseInt(w.p.Bars[i].Number, 900_000)
	n := 1
	if !ok || w.bars[i].alone {
		return n
	}
	for ; n < 4 && i+n < len(w.bars); n++ {
		if b := w.bars[i+n]; len(b.attrs) > 0 || w.p.Bars[i+n].Number != fmt.Sprint(first+int64(n)) {
			break
		}
	}
	if fmt.Sprint(first) != w.p.Bars[i].Number {
		return 1
	}
	return n
}

const lineWidth = 100

// writeBlock writes the bar line and the hands of n bars from index i on.
func (w *writer) writeBlock(i, n int) {
	number := w.p.Bars[i].Number
	if !plainNumber(number) {
		number = quoted(number)
	}
	if n > 1 {
		fmt.Fprintf(&w.out, "\nbars %s-%s", number, w.p.Bars[i+n-1].Number)
	} else {
		fmt.Fprintf(&w.out, "\nbar %s", number)
	}
	if attrs := w.bars[i].attrs; len(attrs) > 0 {
		w.out.WriteString(": " + strings.Join(attrs, ", "))
	}
	w.out.WriteByte('\n')
	var keys []lineKey
	seen := map[lineKey]bool{}
	for _, b := range w.bars[i : i+n] {
		for k := range b.lines {
			if !seen[k] {
				seen[k] = true
				keys = append(keys, k)
			}
		}
	}
	slices.SortFunc(keys, compareLines)
	names := make([]string, len(keys))
	wide := 0
	for j, k := range keys {
		names[j] = k.String()
		wide = max(wide, len(names[j]))
	}
	widths := make([]int, n) // bars of one block stand under one another
	for b := range widths {
		for _, k := range keys {
			widths[b] = max(widths[b], utf8.RuneCountInString(w.bars[i+b].text(k)))
		}
	}
	total := wide + 3*n - 2
	for _, n := range widths {
		total += n
	}
	for j, k := range keys {
		line := fmt.Sprintf("%-*s", wide, names[j])
		for b := range n {
			text := w.bars[i+b].text(k)
			switch {
			case b == 0:
			case total > lineWidth:
				line += " |\n" + strings.Repeat(" ", wide)
			default:
				line += " |"
			}
			line += " " + text
			if total <= lineWidth && b+1 < n {
				line += strings.Repeat(" ", widths[b]-utf8.RuneCountInString(text))
			}
		}
		w.out.WriteString(line + "\n")
	}
}

func (b *barText) text(k lineKey) string {
	if s, ok := b.lines[k]; ok {
		return s
	}
	return "."
}

func (k lineKey) String() string {
	name := map[score.Hand]string{0: "between", score.Right: "right", score.Left: "left"}[k.hand]
	if k.voice > 1 {
		name += fmt.Sprintf(" %d", k.voice)
	}
	if k.layer > 0 {
		name += "+"
	}
	return name + ":"
}
