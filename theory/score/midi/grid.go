package midi

import "plumbline/theory/score"

// levels are the points of the default grid by their part of a quarter note, with what each costs beside the distance, in 1/96
// of a quarter note.
var levels = [...]struct{ part, cost int64 }{{1, 0}, {2, 1}, {3, 2}, {4, 2}, {6, 3}, {8, 3}, {12, 4}}

// shortest is the part of a quarter note that a note gets that has no length, and that none falls below by moving.
const shortest = 12

// quantise moves times onto the grid, says how far, and sorts the notes.
func (b *builder) quantise() {
	step, least := b.per/shortest, int64(1)
	switch g := int64(b.o.Grid); {
	case g > 0:
		step = b.per / g
		least = step
		to := func(t int64) int64 { return (t + step/2) / step * step }
		b.move(true, to)
		b.move(false, to)
	case g == 0 && b.f.division > 48:
		if !b.written(true) {
			b.move(true, b.snap)
			least = step
		}
		if !b.written(false) {
			b.move(false, b.snap)
			least = step
		}
	}
	short := 0
	for i := range b.notes {
		if n := &b.notes[i]; n.off-n.on < least {
			n.off = n.on + step
			short++
		}
	}
	if short > 0 {
		b.f.warnings.addf("%d notes of no length are given %v of a quarter note", short, b.time(step))
	}
	b.order()
}

// written reports whether onsets (or ends) look as if they came from notation: three in four have a plain denominator.
func (b *builder) written(onsets bool) bool {
	plain := 0
	for _, n := range b.notes {
		t := n.off
		if onsets {
			t = n.on
		}
		if d := b.per / gcd(t%b.per, b.per); d <= 24 || d == 32 {
			plain++
		}
	}
	return 4*plain >= 3*len(b.notes)
}

// snap returns the point of the default grid that t goes to.
func (b *builder) snap(t int64) int64 {
	best, cost := int64(0), int64(-1)
	for _, l := range levels {
		step := b.per / l.part
		p := (t + step/2) / step * step
		if c := max(p-t, t-p) + l.cost*b.per/96; cost < 0 || c < cost {
			best, cost = p, c
		}
	}
	return best
}

// move moves all onsets (or ends) and says how far at most.
func (b *builder) move(onsets bool, to func(int64) int64) {
	what, far, where := "ends of notes", int64(0), int64(0)
	if onsets {
		what = "onsets of notes"
	}
	for i := range b.notes {
		t := &b.notes[i].off
		if onsets {
			t = &b.notes[i].on
		}
		was := *t
		*t = to(was)
		if d := max(*t-was, was-*t); d > far {
			far, where = d, was
		}
	}
	if far > 0 {
		b.f.warnings.addf("the %s are rounded by up to %v of a quarter note (at quarter note %.3f)", what, score.T(far, b.per), float64(where)/float64(b.per))
	}
}
