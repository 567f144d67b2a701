package typed

import (
	"cmp"
	"slices"

	"plumbline/theory/score"
)

// finish brings notes and marks of the whole passage into order and joins hairpins and ties.
func (r *reader) finish() {
	r.finishMarks()
	slices.SortStableFunc(r.notes, func(a, b rawNote) int { return canonical(a.Note, b.Note) })
	notes := make([]score.Note, len(r.notes))
	for i, n := range r.notes {
		notes[i] = n.Note
	}
	r.p.Notes = notes
	r.finishTies()
	r.p.Sort()
}

func (r *reader) finishTies() {
	// A tie may also lead to another voice, if the note there says that it is held on.
	type arrival struct {
		midi int
		at   Time
	}
	arrivals := map[arrival]bool{}
	for _, n := range r.p.Notes {
		if n.TieFrom {
			arrivals[arrival{n.Pitch.MIDI(), n.Onset}] = true
		}
	}
	end := r.p.End()
	j := newJoints(r.p.Notes)
	for i, n := range r.notes {
		if n.tie != tied {
			continue
		}
		if k := j.target(i); k >= 0 {
			j.taken[k] = true
			r.p.Notes[k].TieFrom = true
			continue
		}
		if n.End() != end && !arrivals[arrival{n.Pitch.MIDI(), n.End()}] {
			h := &handLine{hand: n.Hand, voice: n.Voice}
			r.fail(n.pos, r.p.Bars[n.Bar].Number, h, "the tie of %s leads nowhere: no %s begins in this voice where it ends (%s); "+
				"if it goes on in another voice, write =%s there", n.Pitch, n.Pitch, r.p.Where(n.End()), n.Pitch)
		}
	}
}

func (r *reader) finishMarks() {
	slices.SortStableFunc(r.marks, func(a, b rawMark) int {
		return cmp.Or(a.at.Compare(b.at), a.line-b.line, a.pos.at-b.pos.at)
	})
	end := r.p.End()
	var hairpins [3]int // index in Dynamics of the open hairpin of each scope, counted from 1
	var from [3]rawMark
	var ended [3]Time // where the last one ended
	fail := func(m rawMark, format string, args ...any) {
		r.fail(m.pos, r.p.Bars[m.bar].Number, &handLine{hand: m.in, voice: m.voice}, format, args...)
	}
	for _, m := range r.marks {
		switch m.what {
		case keyMark:
			m.key.At = m.at
			r.p.Keys = append(r.p.Keys, m.key)
			continue
		case tempoMark:
			r.p.Tempos = append(r.p.Tempos, score.Tempo{At: m.at, Quarters: m.tempo})
			continue
		case pedalMark:
			r.p.Pedals = append(r.p.Pedals, score.Pedal{At: m.at, Act: m.pedal})
			continue
		case signMark:
			m.sign.At, m.sign.Bar = m.at, m.bar
			r.p.Signs = append(r.p.Signs, m.sign)
			continue
		case chordMark:
			m.chord.At = m.at
			r.p.Harmonies = append(r.p.Harmonies, m.chord)
			continue
		}
		if i := hairpins[m.hand]; i > 0 {
			switch d := &r.p.Dynamics[i-1]; {
			case d.At.Less(m.at):
				d.Until, hairpins[m.hand], ended[m.hand] = m.at, 0, m.at
				if m.what == hairpinEnd {
					continue
				}
			case m.what == hairpinEnd:
				fail(m, "the hairpin ends where it begins")
				return
			case m.what == hairpin:
				fail(m, "two hairpins begin at once")
				return
			}
		}
		if m.what == hairpinEnd && m.at.Sign() > 0 && ended[m.hand] == m.at {
			continue // "[f] [end]": the mark has ended it already
		}
		if m.what == hairpinEnd {
			fail(m, "no hairpin is there to end")
			return
		}
		d := score.Dynamic{At: m.at, Text: m.text, Hand: m.hand}
		if m.long.Sign() > 0 {
			if d.Until = m.at.Add(m.long); end.Less(d.Until) || !d.Until.InRange() {
				fail(m, "the mark lasts beyond the end of the passage")
				return
			}
		}
		r.p.Dynamics = append(r.p.Dynamics, d)
		if m.what == hairpin {
			hairpins[m.hand], from[m.hand] = len(r.p.Dynamics), m
		}
	}
	for h, i := range hairpins {
		if i > 0 {
			fail(from[h], "the hairpin doesn't end; write [end] where it does, or its length, as in [%s for 3/4]", from[h].text)
			return
		}
	}
}
