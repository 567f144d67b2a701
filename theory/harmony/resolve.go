package harmony

import (
	"fmt"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Resolution tells where a note goes.
type Resolution struct {
	Note     score.Note
	Tendency string      // "leading tone", "seventh", "raised fourth" …; "" if it has none
	Expects  int         // 1 up by step, -1 down by step, 0 nothing
	To       *score.Note // the next note of its voice, nil if there is none within two quarters, or a rest comes first
	Manner   string      // "step up", "leap down", "same note"; "" if To is nil
	Resolves bool        // as it tends to; without tendency: by step
	Instead  *score.Note // the note it tends to, when another voice takes it as the chord changes
	Words    string      // "G#4, the leading tone, goes up to A4 at bar 2 beat 1"
}

// Tendencies returns the notes of span i that tend somewhere, in order of onset and from low to high: sevenths, leading tones, notes
// of augmented sixths, raised and lowered degrees that are members of the chord. Foreign notes are in [Analysis.ForeignNotes].
func (a *Analysis) Tendencies(i int) []Resolution {
	c, ok := a.Chord(i)
	if !ok {
		return nil
	}
	var out []Resolution
	m := a.Music
	lo, hi := m.within(a.ev[i].a, a.ev[i].b)
	for j := lo; j < hi; j++ {
		n := &m.notes[j]
		if n.off <= a.ev[i].a+eps || n.on < a.ev[i].a-eps || c.Role(classOf(n.lof)) == "" {
			continue
		}
		if r := a.resolution(j, i); r.Tendency != "" {
			out = append(out, r)
		}
	}
	return out
}

// Resolution returns where n goes: the note of a.Music.Sounding with its onset, pitch and hand. A note that isn't there goes
// nowhere.
func (a *Analysis) Resolution(n score.Note) Resolution {
	for j := range a.Music.notes {
		s := a.Music.Sounding[a.Music.notes[j].source]
		if s.Onset == n.Onset && s.Pitch == n.Pitch && s.Hand == n.Hand {
			return a.resolution(j, a.At(n.Onset))
		}
	}
	return Resolution{Note: n, Words: n.Pitch.String() + " doesn't sound there"}
}

// tendency says what class x tends to in the chord and key of span i.
func (a *Analysis) tendency(i int, x pitch.Class) (string, int) {
	c, ok := a.Chord(i)
	if !ok {
		return "", 0
	}
	k := a.Spans[i].Key
	member := c.Role(x)
	d, alter := k.Degree(x)
	local := k.Tonic
	if r := a.Role(i); r.Numeral.Of > 0 && r.Numeral.Kind.String() == "applied" {
		local = k.Class(r.Numeral.Of, 0)
	}
	leads := x == local.Add(pitch.Interval{Steps: 6, Semitones: 11})
	switch {
	case member == "lower note of the augmented sixth":
		return "lower note of the augmented sixth", -1
	case member == "root" && (c.Quality == GermanSixth || c.Quality == ItalianSixth), member == "major third" && c.Quality == FrenchSixth:
		return "upper note of the augmented sixth", 1
	case leads && member != "" && a.Role(i).Function == Dominant, leads && member != "" && local != k.Tonic:
		if local != k.Tonic {
			return fmt.Sprintf("leading tone to %v", local), 1
		}
		return "leading tone", 1
	case member == "minor seventh", member == "diminished seventh":
		return "seventh", -1
	case member == "major seventh":
		return "major seventh", -1
	case member == "diminished fifth":
		return "diminished fifth", -1
	case member == "augmented fifth":
		return "augmented fifth", 1
	case member == "" && leads:
		return "leading tone", 1
	case alter > 0 && d == 4:
		return "raised fourth", 1
	case alter > 0 && (d == 1 || d == 2 || d == 5):
		return "raised " + ordinal(d), 1
	case alter < 0 && (d == 2 || d == 6 || d == 3):
		return "lowered " + ordinal(d), -1
	}
	return "", 0
}

// resolution follows note j, which belongs to span i.
func (a *Analysis) resolution(j, i int) Resolution {
	m := a.Music
	n := &m.notes[j]
	r := Resolution{Note: m.Sounding[n.source]}
	r.Tendency, r.Expects = a.tendency(i, classOf(n.lof))
	name := r.Note.Pitch.String()
	if r.Tendency != "" {
		name += ", the " + r.Tendency + ","
	}
	next := m.neighbour(j, true)
	if next >= 0 && m.restsBetween(j, m.notes[next].on) {
		next = -1
	}
	if next < 0 {
		r.Words = name + " isn't followed up in its voice"
	} else {
		to := m.Sounding[m.notes[next].source]
		r.To = &to
		how := manner(r.Note.Pitch, to.Pitch)
		r.Manner = mannerWords[how]
		r.Resolves = r.Expects != 0 && how == r.Expects || r.Expects == 0 && abs(how) == 1
		where := m.Passage.Where(to.Onset)
		switch how {
		case 0:
			r.Words = fmt.Sprintf("%s is struck again at %s", name, where)
		default:
			r.Words = fmt.Sprintf("%s goes %s to %v at %s", name, strings.TrimPrefix(map[int]string{1: "up", -1: "down", 2: "leaps up", -2: "leaps down"}[how], "leaps "), to.Pitch, where)
			if abs(how) == 2 {
				r.Words = fmt.Sprintf("%s leaps %s to %v at %s", name, map[int]string{2: "up", -2: "down"}[how], to.Pitch, where)
			}
		}
	}
	if r.Expects != 0 && !r.Resolves {
		if x := a.taken(j, i, r.Expects); x != nil {
			r.Instead = x
			r.Words += fmt.Sprintf("; %v in the %s takes over its resolution at %s", x.Pitch, x.Hand, m.Passage.Where(x.Onset))
		}
	}
	return r
}

// taken returns the note, struck as the next chord begins, that is the step note j tends to in any octave.
func (a *Analysis) taken(j, i, direction int) *score.Note {
	m := a.Music
	n := &m.notes[j]
	if i < 0 || i+1 >= len(a.Spans) {
		return nil
	}
	at := a.ev[i+1].a
	bar := 4.
	if b := m.Passage.BarAt(m.Sounding[n.source].Onset); b >= 0 {
		bar = m.Passage.Bars[b].Length.Float()
	}
	if at > n.off+bar+eps || m.restsBetween(j, at) {
		return nil
	}
	lo, hi := m.within(at, at+2*eps)
	for x := lo; x < hi; x++ {
		o := &m.notes[x]
		if abs64(o.on-at) > eps {
			continue
		}
		d := ((o.midi-n.midi)*direction%12 + 12) % 12
		steps := ((o.step-n.step)*direction%7 + 7) % 7
		if steps == 1 && (d == 1 || d == 2) {
			s := m.Sounding[o.source]
			return &s
		}
	}
	return nil
}
