package musicxml

import (
	"math"
	"strconv"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// noteTypes are the written note values by name, in quarter notes.
var noteTypes = map[string]Time{
	"1024th": score.T(1, 256), "512th": score.T(1, 128), "256th": score.T(1, 64), "128th": score.T(1, 32),
	"64th": score.T(1, 16), "32nd": score.T(1, 8), "16th": score.T(1, 4), "eighth": score.T(1, 2), "quarter": score.Quarters(1),
	"half": score.Quarters(2), "whole": score.Quarters(4), "breve": score.Quarters(8), "long": score.Quarters(16), "maxima": score.Quarters(32),
}

// A noteElement is what a <note> says.
type noteElement struct {
	chord, rest, cue, unpitched, pitched bool
	grace                                score.Grace
	step                                 pitch.Letter
	alter                                float64
	octave                               int
	duration                             decimal
	timed                                bool // it has a duration
	after, before                        bool // a grace note that takes its time from the note before it, or after
	value                                Time // its <type>, 0 if there is none
	dots, actual, normal                 int  // actual notes in the time of normal ones, 0 if there is no tuplet
	voice                                int
	staff                                int
	ties, tieStart, tieStop              bool // by <tie>
	tiedStart, tiedStop                  bool // by <tied>
	dynamics                             []string
}

// readNote reads <note>.
func (r *reader) readNote(p *part) error {
	if r.notes++; r.notes > MaxNotes {
		return r.fail("more than %d notes", MaxNotes)
	}
	line, col := r.line, r.col
	hidden := r.attr("print-object") == "no"
	e := noteElement{staff: 1, voice: -1}
	if err := r.each(func(name string) error { return r.noteChild(p, &e, name) }); err != nil {
		return err
	}
	r.line, r.col = line, col
	if e.voice < 0 {
		e.voice = p.voice([]byte("1"))
	}
	p.staves = max(p.staves, e.staff)

	c := &p.cursor
	length, nominal, err := r.length(p, &e)
	if err != nil {
		return err
	}
	onset := c.exact
	if e.chord {
		if !c.hasLast {
			return r.fail("a chord note with no note before it")
		}
		onset = c.last
	}
	c.last, c.hasLast = onset, true
	switch {
	case e.unpitched:
		p.unpitched++
	case !e.pitched && !e.rest:
		return r.fail("a note with neither <pitch> nor <rest>")
	case e.pitched:
		n := score.Note{Onset: onset, Duration: length, Hand: score.Hand(e.staff), Voice: e.voice, Bar: len(p.bars) - 1,
			Grace: e.grace, Cue: e.cue, TieTo: e.tieStart, TieFrom: e.tieStop}
		if e.grace != score.NoGrace {
			n.After, n.Together = e.after && onset.Sign() > 0, e.chord
			if !n.After && !e.before {
				v := &p.voices[e.voice]
				v.graces = append(v.graces, p.count)
				p.decorated = append(p.decorated, e.voice)
			}
		}
		if !e.ties { // <tie> is the sound and <tied> the picture; some exporters write only the picture
			n.TieTo, n.TieFrom = e.tiedStart, e.tiedStop
		}
		if length.Sign() == 0 && e.grace == score.NoGrace {
			return r.fail("a note without a duration")
		}
		n.Pitch = r.pitch(p, &e)
		if hidden && !e.cue {
			p.hidden++
		}
		p.keep(n)
		v := &p.voices[e.voice]
		if v.home == 0 {
			v.home = handOf(e.staff)
		}
		v.notes[handOf(e.staff)]++
	}
	for _, text := range e.dynamics {
		if err := r.countMark(); err != nil {
			return err
		}
		p.swells = append(p.swells, swell{bar: len(p.bars) - 1, at: onset, text: text, hand: handOf(e.staff)})
	}
	if e.grace != score.NoGrace {
		return nil
	}
	p.voices[e.voice].graces = p.voices[e.voice].graces[:0]
	if end := onset.Add(length); e.chord {
		if !end.InRange() {
			return r.fail("a time too long or too finely divided")
		}
		c.furthest = c.furthest.Max(end)
		return nil
	}
	if length != nominal {
		c.rounded++
	}
	c.visit()
	c.exact, c.nominal = c.exact.Add(length), c.nominal.Add(nominal)
	c.visit()
	return r.reach(p)
}

// noteChild reads one child of <note>.
func (r *reader) noteChild(p *part, e *noteElement, name string) (err error) {
	switch name {
	case "chord":
		e.chord = true
	case "cue":
		e.cue = true
	case "rest":
		e.rest = true
	case "unpitched":
		e.unpitched = true
	case "grace":
		e.grace = score.Appoggiatura
		if r.attr("slash") == "yes" {
			e.grace = score.Acciaccatura
		}
		e.before = r.attr("steal-time-following") != ""
		e.after = r.attr("steal-time-previous") != "" && !e.before
	case "pitch":
		return r.readPitch(e)
	case "duration":
		e.timed = true
		e.duration, err = r.duration(p)
	case "voice":
		b, err := r.text()
		if err != nil {
			return err
		}
		e.voice = p.voice(b)
		if e.voice > 1000 {
			return r.fail("more than 1000 voices in a part")
		}
	case "staff":
		e.staff, err = r.integer(1, 100)
	case "type":
		b, err := r.text()
		if err != nil {
			return err
		}
		v, ok := noteTypes[string(b)]
		if !ok {
			return r.fail("note type %q; types go from 1024th to maxima", clip(b))
		}
		e.value = v
	case "dot":
		e.dots++
	case "time-modification":
		return r.each(func(name string) (err error) {
			switch name {
			case "actual-notes":
				e.actual, err = r.integer(1, 1000)
			case "normal-notes":
				e.normal, err = r.integer(1, 1000)
			}
			return err
		})
	case "tie":
		switch r.attr("type") {
		case "start":
			e.ties, e.tieStart = true, true
		case "stop":
			e.ties, e.tieStop = true, true
		}
	case "notations":
		return r.each(func(name string) error {
			switch name {
			case "tied":
				switch r.attr("type") {
				case "start":
					e.tiedStart = true
				case "stop":
					e.tiedStop = true
				case "continue":
					e.tiedStart, e.tiedStop = true, true
				}
			case "dynamics":
				s, err := r.readDynamics()
				if s != "" {
					e.dynamics = append(e.dynamics, s)
				}
				return err
			}
			return nil
		})
	}
	return err
}

// voice returns the index of the voice with a label.
func (p *part) voice(label []byte) int {
	if i, ok := p.voiceIndex[string(label)]; ok {
		return i
	}
	p.voices = append(p.voices, voice{label: string(label)})
	p.voiceIndex[string(label)] = len(p.voices) - 1
	return len(p.voices) - 1
}

// handOf returns the hand of a staff: the first is the right hand's, all others the left hand's.
func handOf(staff int) score.Hand {
	if staff <= 1 {
		return score.Right
	}
	return score.Left
}

func (r *reader) readPitch(e *noteElement) error {
	e.pitched = true
	step, octave := false, false
	err := r.each(func(name string) (err error) {
		switch name {
		case "step":
			b, err := r.text()
			if err != nil {
				return err
			}
			if e.step, step = letterOf(b); !step {
				return r.fail("step %q; letters are A to G", clip(b))
			}
		case "alter":
			b, err := r.text()
			if err != nil {
				return err
			}
			f, err := strconv.ParseFloat(string(b), 64)
			if err != nil || !(math.Abs(f) <= pitch.MaxAlter) {
				return r.fail("alter %q; want a number of semitones from -%d to %d", clip(b), pitch.MaxAlter, pitch.MaxAlter)
			}
			e.alter = f
		case "octave":
			e.octave, err = r.integer(0, 9)
			octave = true
		}
		return err
	})
	if err == nil && !(step && octave) {
		return r.fail("a pitch without <step> or without <octave>")
	}
	return err
}

// pitch returns the sounding pitch of a note. Octave shifts change nothing: the notes under an 8va line are "shifted up or
// down from their true pitched values because of printing difficulty", and the pitch data are the true values; the
// octave-shift tells how far away from "the pitch data indicated in the notes" they are printed (annotation of
// octave-shift). The same goes for clefs with an octave sign.
//
// Microtones are rounded to the nearest semitone, a half towards the natural, with a warning.
func (r *reader) pitch(p *part, e *noteElement) pitch.Pitch {
	alter := math.Round(e.alter)
	if math.Abs(e.alter-math.Trunc(e.alter)) == 0.5 {
		alter = math.Trunc(e.alter)
	}
	q := pitch.Pitch{Letter: e.step, Alter: int8(alter), Octave: int8(e.octave)}
	if alter != e.alter {
		r.warn(p, "%s%d altered by %v semitones is taken as %s", e.step, e.octave, e.alter, q)
	}
	if i := p.shift(e.staff); i != pitch.Unison {
		q = q.Add(i)
	}
	return q
}

// length returns how long a note is as written, and how long its duration says it is. They differ where divisions are too
// coarse for the written length (a septuplet in 480 parts) and the exporter has rounded: then the written length, by
// <type>, <dot> and <time-modification>, is no whole number of divisions and the duration lies less than one division from
// it. Otherwise the duration holds.
func (r *reader) length(p *part, e *noteElement) (length, nominal Time, err error) {
	if e.grace != score.NoGrace {
		return Time{}, Time{}, nil
	}
	written, ok := e.written()
	if !e.timed {
		if !ok {
			return Time{}, Time{}, r.fail("a note with neither <duration> nor <type>")
		}
		return written, written, nil
	}
	nominal = e.duration.times(p.unit)
	length = nominal
	if p.assumed && ok && written != nominal {
		return Time{}, Time{}, r.fail("a duration of %d divisions before any <divisions>, for a note of %s quarter notes", e.duration.num, written)
	}
	if step := p.unit.Mul(1, tens[e.duration.places]); ok && step.Den() < 1<<31 {
		n := written.Div(step)
		if n.Den() != 1 && math.Abs(n.Float()-float64(e.duration.num)) < 1 {
			length = written
		}
	}
	if !length.InRange() || !nominal.InRange() {
		return Time{}, Time{}, r.fail("a duration of %s quarter notes, too long or too finely divided", nominal)
	}
	return length, nominal, nil
}

// maxDots is the most dots that are taken at their word.
const maxDots = 4

// dotted returns a note value with dots; each dot adds half of what the one before added.
//
//	value * (2^(dots+1) - 1) / 2^dots
func dotted(value Time, dots int) Time { return value.Mul(1<<(dots+1)-1, 1<<dots) }

// written returns the length that type, dots and tuplet give, if there is a type.
func (e *noteElement) written() (Time, bool) {
	if e.value.Sign() == 0 || e.dots > maxDots {
		return Time{}, false
	}
	t := dotted(e.value, e.dots)
	if e.actual > 0 && e.normal > 0 {
		t = t.Mul(int64(e.normal), int64(e.actual))
	}
	return t, t.InRange()
}
