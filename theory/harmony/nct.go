package harmony

import (
	"fmt"
	"math"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Figure is a note with those before and after it in its voice, and where the harmony changes. Notes that aren't there are nil.
type Figure struct {
	Before2, Before, After, After2 *pitch.Pitch // Before2 comes before Before, After2 after After
	Note                           pitch.Pitch
	Accented                       bool // on a beat as strong as that of its resolution or stronger
	Change                         bool // the harmony changes as the note sounds on or is struck: it belonged to the chord before
	Next                           bool // the harmony changes as the note after it is struck, and the note belongs to that harmony
	Through                        bool // it is held or repeated through a change of harmony and belongs to the chords on both sides
	Key                            key.Key
}

// An NCT is a note that is foreign to its chord: which kind, how it is reached and left, and what it decorates. The kinds and
// their rules are those of the decision table of Hutchinson (Music Theory for the 21st-Century Classroom, ch. 10), Open Music Theory
// (Embellishing tones) and Butterfield (Integrated Musicianship: Theory, units 9a, 9b). Where they differ: a leap up and a step down
// is an appoggiatura accented or not; a leap down and a step up is one only if it is accented, else an incomplete neighbour.
type NCT struct {
	Kind      string // "passing tone", "neighbour tone", "suspension" …; "" if no rule fits
	Qualifier string // "chromatic", "upper", "lower", "accented"; several joined by blanks
	Approach  string // "step up", "leap down", "same note", "" for nothing before
	Departure string
	Why       string
}

// String returns the kind with its qualifiers: "accented chromatic passing tone".
func (n NCT) String() string {
	if n.Qualifier == "" {
		return n.Kind
	}
	return n.Qualifier + " " + n.Kind
}

// manner says how one goes from p to q: 0 same, ±1 step, ±2 leap. A chromatic semitone is a step.
func manner(p, q pitch.Pitch) int {
	d := q.MIDI() - p.MIDI()
	steps := q.Step() - p.Step()
	sign := 1
	if d < 0 || d == 0 && steps < 0 {
		sign = -1
	}
	switch {
	case d == 0:
		return 0
	case abs(steps) <= 1 && abs(d) <= 2, steps == 0 && abs(d) == 1, abs(d) == 1, abs(steps) == 1 && abs(d) == 3:
		return sign
	}
	return 2 * sign
}

var mannerWords = map[int]string{0: "same note", 1: "step up", -1: "step down", 2: "leap up", -2: "leap down"}

// Classify names the foreign note of f. A note struck again on a weak beat, with no change of harmony, is what it was at first: between
// C and C, both of B B are neighbours (common practice, no source).
func Classify(f Figure) NCT {
	same := func(p *pitch.Pitch) bool { return p != nil && p.MIDI() == f.Note.MIDI() }
	plain := !f.Through && !f.Change && !f.Next
	switch {
	case plain && !f.Accented && same(f.Before) && !same(f.After) && f.Before2 != nil && f.After != nil && f.Before2.MIDI() == f.After.MIDI():
		f.Before, f.Before2 = f.Before2, nil
	case plain && same(f.After) && !same(f.Before) && f.After2 != nil && f.Before != nil && f.After2.MIDI() == f.Before.MIDI():
		f.After, f.After2 = f.After2, nil
	}
	var n NCT
	const none = 9
	a, d := none, none
	if f.Before != nil {
		a = manner(*f.Before, f.Note)
		n.Approach = mannerWords[a]
	}
	if f.After != nil {
		d = manner(f.Note, *f.After)
		n.Departure = mannerWords[d]
	}
	stepA, stepD := abs(a) == 1, abs(d) == 1
	leapA, leapD := abs(a) == 2, abs(d) == 2
	add := func(q string) {
		if n.Qualifier != "" {
			n.Qualifier += " "
		}
		n.Qualifier += q
	}
	thirdTo := func(p, q *pitch.Pitch) bool {
		return p != nil && q != nil && abs(q.Step()-p.Step()) == 2 && abs(q.MIDI()-p.MIDI()) <= 4
	}
	switch {
	case f.Through && a == 0 && (d == 0 || f.After == nil):
		n.Kind, n.Why = "pedal point", "it stays while the chords change"
	case a == 0 && d == -1 && (f.Accented || f.Change):
		n.Kind, n.Why = "suspension", "it is held over from the chord before and falls by step"
	case a == 0 && d == 1 && (f.Accented || f.Change):
		n.Kind, n.Why = "retardation", "it is held over from the chord before and rises by step"
	case f.Before != nil && f.After != nil && f.Before.PC() == f.Note.PC() && f.After.PC() == f.Note.PC():
		n.Kind, n.Why = "pedal point", "it is held or repeated on both sides"
	case d == 0 && f.Next:
		n.Kind, n.Why = "anticipation", "it belongs to the chord that follows and is struck again there"
	case stepA && thirdTo(&f.Note, f.After) && f.After2 != nil && f.Before != nil && f.After2.MIDI() == f.Before.MIDI() && abs(manner(*f.After, *f.After2)) == 1:
		n.Kind, n.Why = "double neighbour", fmt.Sprintf("with %v it stands on both sides of %v", *f.After, *f.Before)
	case stepD && thirdTo(f.Before, &f.Note) && f.Before2 != nil && f.After != nil && f.Before2.MIDI() == f.After.MIDI() && abs(manner(*f.Before2, *f.Before)) == 1:
		n.Kind, n.Why = "double neighbour", fmt.Sprintf("with %v it stands on both sides of %v", *f.Before, *f.After)
	case (leapA || stepA && a > 0 == (d > 0)) && thirdTo(&f.Note, f.After) && f.After2 != nil && f.Before.MIDI() != f.After2.MIDI() && between(f.Note, *f.After2, *f.After):
		n.Kind, n.Why = "incomplete neighbour group", fmt.Sprintf("with %v it encloses %v", *f.After, *f.After2)
	case stepD && thirdTo(f.Before, &f.Note) && f.After != nil && between(*f.Before, *f.After, f.Note):
		n.Kind, n.Why = "incomplete neighbour group", fmt.Sprintf("with %v it encloses %v", *f.Before, *f.After)
	case stepA && stepD && a == d:
		n.Kind, n.Why = "passing tone", fmt.Sprintf("it fills the way from %v to %v", *f.Before, *f.After)
	case stepA && stepD && f.After.MIDI() == f.Before.MIDI():
		n.Kind, n.Why = "neighbour tone", fmt.Sprintf("it leaves %v by step and comes back", *f.Before)
		if a > 0 {
			add("upper")
		} else {
			add("lower")
		}
	case leapA && stepD:
		n.Kind, n.Why = "appoggiatura", "it is reached by leap and resolves by step"
		if a > 0 == (d > 0) || a < 0 && !f.Accented {
			n.Kind = "incomplete neighbour"
		}
	case stepA && stepD:
		n.Kind, n.Why = "neighbour tone", "it is reached and left by step in opposite directions"
	case stepA && leapD:
		n.Kind, n.Why = "escape tone", "it is reached by step and left by leap"
	case a == none && stepD:
		n.Kind, n.Why = "appoggiatura", "nothing prepares it and it resolves by step"
	default:
		n.Why = "no rule fits how it is reached and left"
		return n
	}
	if f.Accented && (n.Kind == "passing tone" || n.Kind == "neighbour tone") {
		add("accented")
	}
	if !f.Key.Contains(f.Note.Class()) && f.Key != (key.Key{}) || f.Key == (key.Key{}) && !f.Key.Contains(f.Note.Class()) {
		if n.Kind == "passing tone" || n.Kind == "neighbour tone" || n.Kind == "appoggiatura" {
			add("chromatic")
		}
	}
	return n
}

// between reports whether goal lies by step between a and b.
func between(a, goal, b pitch.Pitch) bool {
	x, y := manner(a, goal), manner(b, goal)
	return abs(x) == 1 && abs(y) == 1 && x != y
}

// A ForeignNote is a note of a span that is foreign to its chord.
type ForeignNote struct {
	Note       score.Note
	NCT        NCT
	Figure     Figure      // what NCT was found from
	Before     *score.Note // the notes of Figure, nil if there is none; a note held into the span comes before itself
	After      *score.Note
	Decorates  *score.Note // the member it moves to, nil if it moves to none
	Resolution string      // in words: "resolves to C#6 at bar 1 beat 3", "doesn't move on by step"
}

// ForeignNotes returns the notes struck in or held into span i that are foreign to its first reading, in order of onset and from
// low to high.
func (a *Analysis) ForeignNotes(i int) []ForeignNote {
	if i < 0 || i >= len(a.Spans) || len(a.Spans[i].Readings) == 0 {
		return nil
	}
	c := a.Spans[i].Readings[0].Chord
	m := a.Music
	lo, hi := m.within(a.ev[i].a, a.ev[i].b)
	var out []ForeignNote
	for j := lo; j < hi; j++ {
		n := &m.notes[j]
		if n.off <= a.ev[i].a+eps || c.Role(classOf(n.lof)) != "" {
			continue
		}
		src := m.Sounding[n.source]
		before, after := m.neighbour(j, false), m.neighbour(j, true)
		// Two lines in one: the note two on continues the line if the one between leaps away by a fourth or more.
		after, before = m.over(j, after, true), m.over(j, before, false)
		if after >= 0 && m.restsBetween(j, m.notes[after].on) {
			after = -1
		}
		f := Figure{Note: src.Pitch, Key: a.Spans[i].Key}
		var prior *score.Note
		if before >= 0 {
			x := m.Sounding[m.notes[before].source]
			p := x.Pitch
			f.Before, prior = &p, &x
			if b2 := m.neighbour(before, false); b2 >= 0 {
				q := m.Sounding[m.notes[b2].source].Pitch
				f.Before2 = &q
			}
		}
		if n.on < a.ev[i].a-eps { // held into the span
			p := src.Pitch
			x := src
			f.Before2, f.Before, prior = f.Before, &p, &x
			f.Change = true
		}
		f.Accented = n.metric >= .5 || f.Change
		fn := ForeignNote{Note: src, Resolution: "doesn't move on"}
		if after >= 0 {
			an := &m.notes[after]
			x := m.Sounding[an.source]
			p := x.Pitch
			f.After, fn.After = &p, &x
			if a2 := m.neighbour(after, true); a2 >= 0 {
				q := m.Sounding[m.notes[a2].source].Pitch
				f.After2 = &q
			}
			f.Accented = f.Change || n.metric >= an.metric && n.metric >= .5
			target := i
			for target+1 < len(a.Spans) && an.on >= a.ev[target].b-eps {
				target++
			}
			if rs := a.Spans[target].Readings; len(rs) > 0 {
				f.Next = target != i && rs[0].Chord.Role(classOf(n.lof)) != ""
				if rs[0].Chord.Role(classOf(an.lof)) != "" {
					x := m.Sounding[an.source]
					fn.Decorates = &x
				}
			}
			how := mannerWords[manner(src.Pitch, p)]
			fn.Resolution = fmt.Sprintf("goes on to %v by %s at %s", p, how, m.Passage.Where(m.Sounding[an.source].Onset))
			if abs(manner(src.Pitch, p)) == 1 && fn.Decorates != nil {
				fn.Resolution = fmt.Sprintf("resolves to %v at %s", p, m.Passage.Where(m.Sounding[an.source].Onset))
			}
			if how == "same note" {
				fn.Resolution = fmt.Sprintf("is struck again at %s", m.Passage.Where(m.Sounding[an.source].Onset))
			}
		}
		if n.off > a.ev[i].b+eps && i+1 < len(a.Spans) && len(a.Spans[i+1].Readings) > 0 && f.Change {
			f.Through = a.Spans[i+1].Readings[0].Chord.Role(classOf(n.lof)) != ""
			if f.Through {
				f.After = nil
			}
		}
		fn.NCT, fn.Figure, fn.Before = Classify(f), f, prior
		if a.onPedal(i, n.lof) && n.left {
			fn.NCT = NCT{Kind: "pedal point", Approach: fn.NCT.Approach, Departure: fn.NCT.Departure, Why: "it is the bass that stays while the chords change"}
		} else if name := a.sixFour(i, j); name != "" && fn.NCT.Kind == "" {
			fn.NCT.Kind, fn.NCT.Why = name+" of the six-four", fmt.Sprintf("over %v, the dominant, sixth and fourth stand before the fifth and third", c.Root)
		}
		if rel := n.lof - c.Root.Fifths(); fn.NCT.Kind == "" && min(n.off, a.ev[i].b)-max(n.on, a.ev[i].a) >= .5*(a.ev[i].b-a.ev[i].a) && added[rel] != "" {
			fn.NCT.Kind, fn.NCT.Why = added[rel], fmt.Sprintf("it lasts with the chord on %v and doesn't move by step: it colours the chord", c.Root)
		}
		out = append(out, fn)
	}
	return out
}

// onPedal reports whether the lowest note of span i is of class lof and stays as a pedal point.
func (a *Analysis) onPedal(i, lof int) bool {
	low := a.ev[i].bass[bLowest]
	if len(low) == 0 || low[0].lof != lof {
		return false
	}
	for _, p := range a.Pedals() {
		if p.From <= i && i <= p.To && p.Note == classOf(lof) {
			return true
		}
	}
	return false
}

// sixFour says which note of a six-four on the dominant note j of span i is, "sixth" or "fourth"; "" if none: only the root, its
// fourth and its sixth may sound as j is struck, both of them, over the root.
func (a *Analysis) sixFour(i, j int) string {
	m := a.Music
	c := a.Spans[i].Readings[0].Chord
	d, alter := a.Spans[i].Key.Degree(c.Root)
	if d != 5 || alter != 0 || c.Bass != c.Root || c.Quality != Major && c.Quality != DominantSeventh {
		return ""
	}
	at, name, low := max(m.notes[j].on, a.ev[i].a), "", -1
	heard := map[string]bool{}
	lo, hi := m.within(at, at+2*eps)
	for x := lo; x < hi; x++ {
		o := &m.notes[x]
		if o.off <= at+eps {
			continue
		}
		if low < 0 || o.midi < m.notes[low].midi {
			low = x
		}
		part := map[int]string{0: "root", -1: "fourth", 3: "sixth", -4: "sixth"}[o.lof-c.Root.Fifths()]
		if part == "" {
			return ""
		}
		heard[part] = true
		if x == j {
			name = part
		}
	}
	if low < 0 || classOf(m.notes[low].lof) != c.Root || !heard["fourth"] || !heard["sixth"] || name == "root" {
		return ""
	}
	return name
}

// restsBetween reports whether the hand of note j is silent for more than a third of a quarter between its end and a moment: what comes then
// resolves nothing.
func (m *Music) restsBetween(j int, to float64) bool {
	const breath = 1. / 3 // a staccato or a breath is no rest
	n := &m.notes[j]
	at := n.off
	lo, hi := m.within(at, to)
	for x := lo; x < hi; x++ {
		o := &m.notes[x]
		if o.left != n.left || o.off <= at+eps {
			continue
		}
		if o.on > at+breath+eps {
			return true
		}
		at = o.off
	}
	return to > at+breath+eps
}

// added names the notes that colour a chord without being its members, by their place on the line of fifths above the root.
var added = map[int]string{2: "added ninth", -5: "added minor ninth", 9: "added sharp ninth", -1: "added fourth", 6: "added sharp eleventh", 3: "added sixth",
	-4: "added minor sixth", -2: "added minor seventh", 5: "added major seventh"}

// over returns next, or the note beyond it in its voice if next is a leap of a fourth or more from j and the one beyond a step.
func (m *Music) over(j, next int, after bool) int {
	if next < 0 {
		return next
	}
	from := m.Sounding[m.notes[j].source].Pitch
	step := func(x int) int { return manner(from, m.Sounding[m.notes[x].source].Pitch) }
	if abs(m.notes[next].step-m.notes[j].step) < 3 || abs(step(next)) < 2 {
		return next
	}
	beyond := m.neighbour(next, after)
	if beyond < 0 || abs(step(beyond)) != 1 || abs64(m.notes[beyond].on-m.notes[j].on) > 2 {
		return next
	}
	return beyond
}

// neighbour returns the note that comes before or after j in its voice: of its hand (and of its voice, if the hand has several at
// that moment) the nearest in time, of those the nearest in pitch; a second away wins over a repeated note only in time. -1 if there is
// none within two quarters.
func (m *Music) neighbour(j int, after bool) int {
	n := &m.notes[j]
	best, bestCost := -1, math.Inf(1)
	from, to := j, j
	if after {
		for to < len(m.notes) && m.notes[to].on <= n.off+2+eps {
			to++
		}
	} else {
		for from > 0 && m.notes[from].on >= n.on-m.longest-2-eps {
			from--
		}
	}
	src := m.Sounding[n.source]
	for x := from; x < to; x++ {
		o := &m.notes[x]
		if x == j || o.left != n.left {
			continue
		}
		gap := o.on - n.off
		if !after {
			gap = n.on - o.off
		}
		if gap < -.13 || gap > 2+eps || !after && o.on >= n.on-eps || after && o.on <= n.on+eps {
			continue
		}
		cost := 3*max(gap, 0) + .25*float64(abs(o.midi-n.midi))
		if m.Sounding[o.source].Voice != src.Voice {
			cost += 1.5
		}
		if cost < bestCost {
			best, bestCost = x, cost
		}
	}
	return best
}
