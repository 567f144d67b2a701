// Package line looks at lines and what repeats: the voices of a hand, the bass and the top line, inner lines, two lines in one,
// how a line moves, what the outer voices do, sequences, rhythm, loudness, and how one place comes back in another.
//
// Start with [Facts] for what is worth saying about a passage; with [Bass], [Top], [Single], [Voices] or [Inner] for a line and
// [ContourWords] or [Judge] for its motion; with [FindSequences] and [CheckSequence] for sequences; with [Relate] and
// [RhythmOf] for two places. What is found by itself must be unlikely by chance; each function says by what rule.
//
// # Conventions
//
// Notes are sounding ones, as [score.Passage.Sounding] returns them, in order of time, and keep that order. Grace notes
// belong to no line. A melody's intervals are signed and compound; those of a bass in a sequence are taken octaves aside, so
// that a fifth down and a fourth up are one.
//
// The package names no chords but triads and seventh chords, as far as a sequence needs their roots (see [ChordOf]).
package line

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Line is a succession of notes in order of time, one at a time.
type Line []score.Note

// Bass returns the bass line of a region: the lowest sounding note at each onset, where it is struck. Sounding must be in
// order of time, as [score.Passage.Sounding] returns it.
func Bass(sounding []score.Note, r score.Region) Line { return outer(sounding, r, false) }

// Top returns the top line of a region: the highest sounding note at each onset, where it is struck.
func Top(sounding []score.Note, r score.Region) Line { return outer(sounding, r, true) }

// outer walks through the slices of a region. A note that becomes the outermost only because another one ends is not part
// of the line: nobody plays it then. A note that is doubled at the unison counts once. Where both hands play in the region,
// the top line rests when the right hand does and the bass when the left hand does: a bass note alone is no tune.
func outer(sounding []score.Note, r score.Region, top bool) Line {
	return outerOf(score.Slices(sounding, r.From, r.To), top)
}

func outerOf(list []score.Slice, top bool) Line {
	both, own := 0, score.Left
	if top {
		own = score.Right
	}
	for _, s := range list {
		for _, n := range s.Notes {
			both |= 1 << n.Hand
		}
	}
	l := make(Line, 0, len(list))
	for _, s := range list {
		if both == 1<<score.Left|1<<score.Right && !slices.ContainsFunc(s.Notes, func(n score.Note) bool { return n.Hand == own }) {
			continue
		}
		i := 0
		if top {
			i = len(s.Notes) - 1
			for i > 0 && s.Notes[i-1].Pitch == s.Notes[i].Pitch && s.Struck[i-1] { // doubled: the struck one speaks
				i--
			}
		} else {
			for i+1 < len(s.Notes) && s.Notes[i+1].Pitch == s.Notes[i].Pitch && s.Struck[i+1] {
				i++
			}
		}
		if s.Struck[i] {
			l = append(l, s.Notes[i])
		}
	}
	return l
}

// Single returns the notes as a line if never two of them start together; grace notes are left out.
func Single(notes []score.Note) (Line, bool) {
	var l Line
	for _, n := range notes {
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		if len(l) > 0 && l[len(l)-1].Onset == n.Onset {
			return nil, false
		}
		l = append(l, n)
	}
	return l, true
}

// Lowest returns the lowest note struck in each unit of time from the start of the region on, in order: the bass reduced to
// one note a beat or a bar. A unit in which nothing is struck gives none. Notes and bounds must be in order of time.
func Lowest(sounding []score.Note, r score.Region, bounds []score.Time) Line {
	var l Line
	k := 0
	for i := 0; i+1 < len(bounds); i++ {
		best := -1
		for ; k < len(sounding) && sounding[k].Onset.Less(bounds[i+1]); k++ {
			n := sounding[k]
			if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 || n.Onset.Less(bounds[i]) || n.Onset.Less(r.From) || !n.Onset.Less(r.To) {
				continue
			}
			if best < 0 || n.Pitch.Compare(sounding[best].Pitch) < 0 {
				best = k
			}
		}
		if best >= 0 {
			l = append(l, sounding[best])
		}
	}
	return l
}

// A Move is one step of a line from a note to the next different one.
type Move struct {
	From, To score.Note
	Interval pitch.Interval // signed
}

// Moves returns the moves of l. Repeated notes of the same spelling are no move and are passed over.
func (l Line) Moves() []Move {
	if len(l) < 2 {
		return nil
	}
	m := make([]Move, 0, len(l)-1)
	for i := 1; i < len(l); i++ {
		if l[i].Pitch != l[i-1].Pitch {
			m = append(m, Move{l[i-1], l[i], l[i].Pitch.Sub(l[i-1].Pitch)})
		}
	}
	return m
}

// String returns the notes of l joined by dashes: "A2–D3–G2".
func (l Line) String() string {
	var names []string
	for i, n := range l {
		if i == 0 || n.Pitch != l[i-1].Pitch {
			names = append(names, n.Pitch.String())
		}
	}
	return strings.Join(names, "–")
}

// A Motion is a manner of moving.
type Motion int8

// The manners of moving that [Judge] knows.
const (
	ByStep         Motion = iota // minor and major seconds
	Chromatic                    // semitones only
	ByWholeTones                 // major seconds only
	InThirds                     // thirds of any quality
	InFourths                    // fourths of any quality
	InFifths                     // fifths of any quality
	CircleOfFifths               // each note a fifth below or a fourth above the one before, octaves aside
)

var motionNames = [...]string{"by step", "chromatically", "by whole tones", "in thirds", "in fourths", "in fifths", "by the circle of fifths"}

// String returns the motion as in "moves …", or %!Motion(n) out of range.
func (m Motion) String() string {
	if m < 0 || int(m) >= len(motionNames) {
		return fmt.Sprintf("%%!Motion(%d)", int(m))
	}
	return motionNames[m]
}

// A Fit tells how a move fits a motion.
type Fit int8

// The fits: plainly; with an altered size that the trade still allows (an augmented fourth among fourths); only by sound,
// under another spelling; not at all.
const (
	Fits Fit = iota
	Altered
	BySound
	Misfits
)

// fit judges one interval.
func (m Motion) fit(i pitch.Interval) Fit {
	size := i.Semitones
	if size < 0 {
		size = -size
	}
	number, quality := i.Number(), i.Quality()
	switch m {
	case ByStep:
		switch {
		case number == 2 && (quality == pitch.Minor || quality == pitch.Major):
			return Fits
		case size == 1 && number == 1: // a chromatic semitone is a step in a chromatic line only
			return Altered
		case number == 2:
			return Misfits // an augmented second is heard and taught as a leap
		case size == 1 || size == 2:
			return BySound
		}
	case Chromatic:
		switch {
		case size == 1 && number <= 2:
			return Fits
		case size == 1:
			return BySound
		}
	case ByWholeTones:
		switch {
		case number == 2 && quality == pitch.Major:
			return Fits
		case size == 2:
			return BySound
		}
	case InThirds, InFourths, InFifths:
		want := 3 + int(m-InThirds) // the number of the interval
		plain := quality == pitch.Perfect || quality == pitch.Minor || quality == pitch.Major
		switch {
		case number == want && plain:
			return Fits
		case number == want && (quality == pitch.Augmented || quality == pitch.Diminished):
			return Altered
		case m == InThirds && (size == 3 || size == 4), m == InFourths && size == 5, m == InFifths && size == 7:
			return BySound
		}
	case CircleOfFifths:
		up := ((i.Semitones % 12) + 12) % 12
		steps := ((i.Steps % 7) + 7) % 7
		switch {
		case up == 5 && steps == 3:
			return Fits
		case up == 6 && steps == 3: // the one tritone in a circle that stays in a key
			return Altered
		case up == 5:
			return BySound
		}
	}
	return Misfits
}

// A Judgement is what [Judge] found.
type Judgement struct {
	Moves    []Move
	Altered  []Move // fit with an altered size
	BySound  []Move // fit only under another spelling
	Misfits  []Move // don't fit
	Rising   int    // number of moves that rise, by sound; by spelling if they sound alike
	Falling  int
	Repeated bool // some notes are repeated
}

// Judge holds the moves of l against a motion.
func Judge(l Line, m Motion) Judgement {
	j := Judgement{Moves: l.Moves()}
	j.Repeated = len(j.Moves) < len(l)-1
	for _, mv := range j.Moves {
		switch m.fit(mv.Interval) {
		case Altered:
			j.Altered = append(j.Altered, mv)
		case BySound:
			j.BySound = append(j.BySound, mv)
		case Misfits:
			j.Misfits = append(j.Misfits, mv)
		}
		switch {
		case mv.Interval.Semitones > 0 || mv.Interval.Semitones == 0 && mv.Interval.Steps > 0:
			j.Rising++
		default:
			j.Falling++
		}
	}
	return j
}

// Best returns the motion that all moves of l fit plainly or altered, the strictest first; ok is false if none does or l
// moves less than twice.
func Best(l Line) (m Motion, ok bool) {
	if len(l.Moves()) < 2 {
		return 0, false
	}
	for _, m := range []Motion{Chromatic, ByWholeTones, ByStep, CircleOfFifths, InFourths, InFifths, InThirds} {
		j := Judge(l, m)
		if len(j.Misfits) == 0 && len(j.BySound) == 0 && len(j.Altered)*3 <= len(j.Moves) {
			return m, true
		}
	}
	return 0, false
}

// LeapsOf returns how many moves of l are larger than a whole tone.
func LeapsOf(l Line) (n int) {
	for i := 1; i < len(l); i++ {
		if d := l[i].Pitch.MIDI() - l[i-1].Pitch.MIDI(); d < -2 || d > 2 {
			n++
		}
	}
	return n
}

// An Outer is the interval between bass and top line at one moment, compound or not.
type Outer struct {
	At        score.Time
	Low, High score.Note
	Interval  pitch.Interval
}

// Outers returns the interval between the lowest and the highest sounding note whenever either of them is struck. Moments
// at which less than two different notes sound give none.
func Outers(sounding []score.Note, r score.Region) []Outer {
	return outersOf(score.Slices(sounding, r.From, r.To))
}

func outersOf(list []score.Slice) []Outer {
	out := make([]Outer, 0, len(list))
	for _, s := range list {
		n := len(s.Notes)
		if n < 2 || s.Notes[0].Pitch == s.Notes[n-1].Pitch {
			continue
		}
		struck := false
		for i, m := range s.Notes {
			struck = struck || s.Struck[i] && (m.Pitch == s.Notes[0].Pitch || m.Pitch == s.Notes[n-1].Pitch)
		}
		if struck {
			out = append(out, Outer{s.At, s.Notes[0], s.Notes[n-1], s.Notes[n-1].Pitch.Sub(s.Notes[0].Pitch)})
		}
	}
	return out
}

// Period returns the smallest period with which the simple intervals of outers repeat, and whether they do so at least
// once in full; sound tells to compare sizes and not spellings.
func Period(outers []Outer, sound bool) (int, bool) {
	same := func(a, b Outer) bool {
		x, y := a.Interval.Simple(), b.Interval.Simple()
		if sound {
			return x.Semitones%12 == y.Semitones%12
		}
		return x == y
	}
	for p := 1; 2*p <= len(outers); p++ {
		ok := true
		for i := p; i < len(outers) && ok; i++ {
			ok = same(outers[i], outers[i-p])
		}
		if ok {
			return p, true
		}
	}
	return 0, false
}
