// Package score holds the passage: what is written for two hands, in bars and beats, with exact time.
//
// A [Passage] is read by the packages below this one (musicxml, typed) and looked at here: [Passage.Sounding] joins tied
// notes, [Passage.Slices] gives what sounds at each onset, [ParsePlace] and [Passage.Resolve] turn words such as
// "bars 3-4, left hand" into a stretch of it.
//
// # Conventions
//
// Times are exact quarter notes from the start of the passage, as written, with repeats not unfolded. Bars carry the
// number that is printed. Beats are counted from 1 in the meter's own beat: in 6/8, 9/8 and 12/8 (compound meters) that is
// the dotted quarter, as the handbooks count it; "eighth 4" counts eighths instead. An upbeat bar counts from the end: a
// single quarter before a bar of 4/4 is beat 4.
//
// The package hears nothing and names no chords.
package score

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strconv"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
)

// A Hand is the hand that plays a note: in piano music the upper staff is the right hand, the lower the left.
type Hand int8

// The hands, numbered as their staves are.
const (
	Right Hand = 1
	Left  Hand = 2
)

// String returns "right hand" or "left hand", or %!Hand(n) out of range.
func (h Hand) String() string {
	switch h {
	case Right:
		return "right hand"
	case Left:
		return "left hand"
	}
	return fmt.Sprintf("%%!Hand(%d)", int(h))
}

// Grace tells whether a note is a grace note, and of which kind.
type Grace int8

// The kinds of grace note. A grace note has no duration of its own; its onset is that of the note it decorates. One that
// ends the note before it has Note.After set.
const (
	NoGrace Grace = iota
	Appoggiatura
	Acciaccatura // written with a slash
)

// A Note is one written note. A tied note is several notes; [Passage.Sounding] joins them.
type Note struct {
	Pitch    pitch.Pitch // as it sounds
	Onset    Time        // from the start of the passage
	Duration Time        // as written; 0 for a grace note
	Hand     Hand
	Voice    int  // within its hand, from 1
	Bar      int  // index into Passage.Bars
	TieFrom  bool // continues a note before it
	TieTo    bool // is continued by a note after it
	Grace    Grace
	After    bool // a grace note that ends the note before it (a nachschlag); its onset is where that note ends
	Together bool // a grace note struck together with the one before it in its voice
	Cue      bool // printed small for orientation, not played
}

// End returns the moment n ends.
func (n Note) End() Time { return n.Onset.Add(n.Duration) }

// A Meter is a time signature. Groups holds the parts of an additive one (3+2 over 8: {3, 2}), else it is nil. A zero
// Beats means that none is given (senza misura).
type Meter struct {
	Beats  int // the upper figure, all groups together
	Unit   int // the lower figure
	Groups []int
}

// String returns the meter as printed: "4/4", "3+2/8", "free".
func (m Meter) String() string {
	if m.Beats == 0 || m.Unit == 0 {
		return "free"
	}
	top := strconv.Itoa(m.Beats)
	for i, g := range m.Groups {
		if i == 0 {
			top = strconv.Itoa(g)
		} else {
			top += "+" + strconv.Itoa(g)
		}
	}
	return top + "/" + strconv.Itoa(m.Unit)
}

// Equal reports whether m and o are the same signature.
func (m Meter) Equal(o Meter) bool {
	return m.Beats == o.Beats && m.Unit == o.Unit && slices.Equal(m.Groups, o.Groups)
}

// Compound reports whether the beat of m is dotted: an upper figure of 6, 9, 12 and so on, not additive (common practice,
// so in every handbook; some conductors count a slow 6/8 in six).
func (m Meter) Compound() bool { return m.Beats > 3 && m.Beats%3 == 0 && len(m.Groups) == 0 }

// Beat returns the length of one beat of m; a quarter note if m is free.
func (m Meter) Beat() Time {
	switch {
	case m.Beats == 0 || m.Unit == 0:
		return Quarters(1)
	case m.Compound():
		return T(12, int64(m.Unit))
	}
	return T(4, int64(m.Unit))
}

// Length returns the length of a full bar of m; 0 if m is free.
func (m Meter) Length() Time {
	if m.Unit == 0 {
		return Time{}
	}
	return T(4*int64(m.Beats), int64(m.Unit))
}

// A Bar is one written bar. Offset is how much of the printed bar has passed before it begins: above 0 for an upbeat, and
// for the second half of a bar that a repeat sign cuts in two.
type Bar struct {
	Number string // as printed; "0" for an upbeat that the source doesn't number
	Start  Time
	Length Time // as filled, not as the meter wants
	Offset Time
	Meter  Meter
}

// End returns the moment b ends.
func (b Bar) End() Time { return b.Start.Add(b.Length) }

// A KeyChange is a key signature and, where the source says so, its mode. Mode is Major if the source is silent; Declared
// tells whether it was said.
type KeyChange struct {
	At       Time
	Key      key.Key
	Declared bool
}

// A Tempo is a metronome mark in quarter notes a minute.
type Tempo struct {
	At       Time
	Quarters float64
}

// A Dynamic is a mark such as "p", or a hairpin when Until is after At: Text is then "louder" or "softer".
type Dynamic struct {
	At, Until Time
	Text      string
	Hand      Hand // 0 if it is for both
}

// A Part is one part of the source, for choosing among them.
type Part struct {
	ID     string
	Name   string
	Staves int
	Notes  int
	Chosen bool
}

// A Passage is a piece or part of one, for two hands. Bars, notes and marks are in order of time; notes at one onset go
// from low to high, after the grace notes, which keep the order they are played in.
type Passage struct {
	Title     string
	Source    string // file name, for messages
	Bars      []Bar
	Notes     []Note
	Keys      []KeyChange
	Tempos    []Tempo
	Dynamics  []Dynamic
	Pedals    []Pedal
	Harmonies []Harmony
	Signs     []Sign // repeats and jumps, as written; Unfold plays them
	Parts     []Part
	Warnings  []string // what was read with a reservation, with its place
}

// Sort brings notes, pedals, harmonies and signs into the order that Passage promises. Readers call it last.
func (p *Passage) Sort() {
	slices.SortStableFunc(p.Pedals, func(a, b Pedal) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Act, b.Act)) })
	slices.SortStableFunc(p.Harmonies, func(a, b Harmony) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(p.Signs, compareSigns)
	slices.SortStableFunc(p.Notes, func(a, b Note) int {
		if c := a.Onset.Compare(b.Onset); c != 0 {
			return c
		}
		if (a.Grace != NoGrace) != (b.Grace != NoGrace) {
			if a.Grace != NoGrace {
				return -1
			}
			return 1
		}
		if a.Grace != NoGrace {
			return afterFirst(a, b) // else they keep the order they are played in
		}
		if c := a.Pitch.Compare(b.Pitch); c != 0 {
			return c
		}
		if a.Hand != b.Hand {
			return int(b.Hand) - int(a.Hand) // the left hand is the lower one
		}
		return a.Voice - b.Voice
	})
}

// End returns the moment the passage ends.
func (p *Passage) End() Time {
	if len(p.Bars) == 0 {
		return Time{}
	}
	return p.Bars[len(p.Bars)-1].End()
}

// BarAt returns the index of the bar that holds t; the last bar for its end and beyond, -1 if there are no bars.
func (p *Passage) BarAt(t Time) int {
	i := sort.Search(len(p.Bars), func(i int) bool { return t.Less(p.Bars[i].Start) })
	return min(max(i-1, 0), len(p.Bars)-1)
}

// BeatAt returns the printed bar number and the beat of t, counted from 1 in the meter's own beat.
func (p *Passage) BeatAt(t Time) (bar string, beat Time) {
	i := p.BarAt(t)
	if i < 0 {
		return "", Quarters(1)
	}
	b := p.Bars[i]
	return b.Number, t.Sub(b.Start).Add(b.Offset).Div(b.Meter.Beat()).Add(Quarters(1))
}

// Where returns t in words: "bar 3 beat 2 1/2".
func (p *Passage) Where(t Time) string {
	bar, beat := p.BeatAt(t)
	return "bar " + bar + " beat " + beat.String()
}

// KeyAt returns the key in force at t, and whether the passage declares it (mode and all).
func (p *Passage) KeyAt(t Time) (k key.Key, declared bool) {
	for _, c := range p.Keys {
		if t.Less(c.At) {
			break
		}
		k, declared = c.Key, c.Declared
	}
	return k, declared
}

// DefaultTempo is taken where a passage gives no tempo, in quarter notes a minute.
const DefaultTempo = 72.0

// Seconds returns the moment t in seconds from the start, by the tempos of the passage.
func (p *Passage) Seconds(t Time) float64 {
	at, tempo, sum := Time{}, DefaultTempo, 0.0
	for _, c := range p.Tempos {
		if !c.At.Less(t) {
			break
		}
		if c.Quarters > 0 {
			sum += c.At.Sub(at).Float() * 60 / tempo
			at, tempo = c.At, c.Quarters
		}
	}
	return sum + t.Sub(at).Float()*60/tempo
}

// Sounding returns the notes as they sound: tied notes joined into one (from the first, with the whole duration and the
// first one's hand, voice and bar), cue notes left out, grace notes left in. A tie leads to the note of the same sound that
// begins where the first one ends, in the same voice if there is one, else in the same hand, else in the other. If none
// begins there it may lead over a gap, a bar long at most, as it is written when a chord is built up note by note and then
// held.
func (p *Passage) Sounding() []Note {
	out := make([]Note, 0, len(p.Notes))
	waiting := map[int][]int{} // by MIDI number: indices in out of notes that wait for their continuation
	for _, n := range p.Notes {
		if n.Cue {
			continue
		}
		if n.TieFrom && n.Grace == NoGrace {
			best, score := -1, 0
			for at, i := range waiting[n.Pitch.MIDI()] {
				o := out[i]
				s := 1
				switch gap := n.Onset.Sub(o.End()); {
				case gap.Sign() < 0 || p.barLength(n.Bar).Less(gap):
					continue
				case gap.Sign() == 0:
					s += 8
				}
				if o.Hand == n.Hand {
					s += 2
				}
				if o.Hand == n.Hand && o.Voice == n.Voice {
					s += 4
				}
				if s > score || s == score && out[waiting[n.Pitch.MIDI()][best]].End().Less(o.End()) { // over a gap, from the nearest
					best, score = at, s
				}
			}
			if best >= 0 {
				list := waiting[n.Pitch.MIDI()]
				i := list[best]
				out[i].Duration = n.End().Sub(out[i].Onset)
				if !n.TieTo {
					waiting[n.Pitch.MIDI()] = slices.Delete(list, best, best+1)
					out[i].TieTo = false
				}
				continue
			}
		}
		m := n
		m.TieFrom, m.TieTo = false, false
		out = append(out, m)
		if n.TieTo && n.Grace == NoGrace {
			waiting[n.Pitch.MIDI()] = append(waiting[n.Pitch.MIDI()], len(out)-1)
		}
	}
	return out
}

// barLength returns the length of the bar with index i, 0 if there is none.
func (p *Passage) barLength(i int) Time {
	if i < 0 || i >= len(p.Bars) {
		return Time{}
	}
	return p.Bars[i].Length
}
