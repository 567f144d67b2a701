package harmony

import (
	"fmt"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
)

// A Function is what a chord does in its key.
type Function string

// The functions. A chord that only embellishes another, or belongs to no key, has none.
const (
	Tonic       Function = "tonic"
	Predominant Function = "predominant"
	Dominant    Function = "dominant"
	NoFunction  Function = ""
)

// A Role is what the chord of a span does: its numeral, its function and why.
type Role struct {
	Numeral  key.Numeral
	Function Function
	Colour   string // what colours it: "borrowed from C minor", "over a pedal on C", "both thirds sound"; "" if nothing
	SixFour  bool   // a cadential six-four: the dominant, with its fourth and sixth sounding before the third and fifth
	Why      string
}

// Role tells what the chord of span i does. Its zero value stands for a span that isn't read.
func (a *Analysis) Role(i int) Role {
	if i < 0 || i >= len(a.Spans) || len(a.Spans[i].Readings) == 0 {
		return Role{}
	}
	r := a.roleIn(i, a.Spans[i].Readings[0].Chord, a.Spans[i].Key)
	if r.Numeral.Kind == key.SixthChord && r.Numeral.Of != 0 { // named by the key it belongs to, not by what it opens to
		name, _, _ := strings.Cut(r.Numeral.Text, "/")
		kind, _, _ := strings.Cut(r.Numeral.Words, " sixth")
		if of, ok := sixthTonic(a.Spans[i].Readings[0].Chord); ok {
			r.Numeral.Text = name
			r.Colour = strings.TrimPrefix(r.Colour+fmt.Sprintf(", %s sixth of %v minor", kind, of), ", ")
		}
	}
	return r
}

// sixthTonic returns the tonic of the key in which an augmented sixth opens to the dominant.
func sixthTonic(c Chord) (pitch.Class, bool) {
	for _, low := range c.Members() {
		if c.Role(low) == "lower note of the augmented sixth" {
			return low.Add(pitch.MajorThird), true
		}
	}
	return pitch.Class{}, false
}

// numeralIn names c in k; the augmented sixths by their own names whatever their bass.
func numeralIn(k key.Key, c Chord) key.Numeral {
	members := c.Members()
	return k.Numeral(c.Root, members, c.Bass)
}

func (a *Analysis) roleIn(i int, c Chord, k key.Key) Role {
	r := Role{Numeral: numeralIn(k, c)}
	n := r.Numeral
	e := a.ev[i]
	root := c.Root.Fifths()
	// The dominant with fourth and sixth in place of third and fifth, over its root.
	if c.Quality == Major && c.Bass == c.Root && !has(e.prof[pPresent], root+4) && has(e.prof[pPresent], root-1) && (has(e.prof[pPresent], root+3) || has(e.prof[pPresent], root-4)) {
		r.SixFour = n.Degree == 5 && n.Of == 0
	}
	next := a.nextDifferent(i)
	var follows key.Numeral
	if next >= 0 {
		follows = numeralIn(k, a.Spans[next].Readings[0].Chord)
	}
	leads := func(to ...int) bool {
		for _, d := range to {
			if follows.Of == 0 && follows.Degree == d && follows.Alter == 0 {
				return true
			}
		}
		return false
	}
	bass, _ := k.Degree(c.Bass)
	leading := k.Tonic.Add(pitch.Interval{Steps: 6, Semitones: 11})
	var why []string
	switch {
	case n.Text == "":
		r.Function, r.Colour = NoFunction, "no chord of "+k.String()
	case n.Kind == key.Applied && n.Of == 5:
		r.Function = Predominant
		why = append(why, fmt.Sprintf("it is the dominant of the dominant of %v", k))
	case n.Kind == key.Applied:
		r.Function = Dominant
		r.Colour = "of the " + k.DegreeName(n.Of, 0)
		why = append(why, n.Why)
	case n.Kind == key.SixthChord:
		r.Function = Predominant
		why = append(why, n.Why)
	case n.Kind == key.Neapolitan:
		r.Function = Predominant
		why = append(why, n.Why)
	case r.SixFour:
		r.Function = Dominant
		why = append(why, fmt.Sprintf("the bass stands on %v, the dominant, and the fourth and sixth above it wait to resolve", c.Bass))
	case n.Degree == 1 && n.Alter == 0 && c.Quality == Major && c.Role(c.Bass) == "fifth" && leads(5):
		r.Function = Dominant
		why = append(why, "a tonic six-four over the dominant, which follows")
	case n.Degree == 1 && n.Alter == 0:
		r.Function = Tonic
		why = append(why, fmt.Sprintf("its root is the tonic %v", k.Tonic))
	case n.Degree == 5 && n.Alter == 0 || n.Degree == 7 && c.Quality != Major && c.Quality != DominantSeventh:
		r.Function = Dominant
		why = append(why, fmt.Sprintf("its root is the %s of %v", k.DegreeName(n.Degree, n.Alter), k))
		if c.Role(leading) != "" {
			why = append(why, fmt.Sprintf("it holds the leading tone %v", leading))
		} else if c.Quality == Minor || c.Quality == MinorSeventh {
			why = append(why, fmt.Sprintf("it lacks the leading tone %v, so it leads weakly", leading))
		}
	case n.Degree == 2 || n.Degree == 4:
		r.Function = Predominant
		if n.Degree == 4 && leads(1) {
			why = append(why, "it goes back to the tonic (plagal)")
		} else {
			why = append(why, fmt.Sprintf("its root is the %s", k.DegreeName(n.Degree, n.Alter)))
		}
	case n.Degree == 6:
		r.Function = Tonic
		if leads(2, 4, 5) {
			r.Function = Predominant
			why = append(why, "a chord on the submediant that leads on towards the dominant")
		} else {
			why = append(why, "the submediant stands for the tonic, with which it shares two notes")
		}
	case n.Degree == 3:
		r.Function = Tonic
		why = append(why, "the mediant shares two notes with the tonic")
		if bass == 5 || leads(1) && c.Role(leading) != "" {
			r.Function = Dominant
			why = []string{fmt.Sprintf("the mediant with the leading tone %v goes to the tonic", leading)}
		}
	case n.Degree == 7:
		r.Function = Dominant
		r.Colour = "subtonic"
		why = append(why, "the subtonic takes the place of the dominant and lacks the leading tone")
	default:
		why = append(why, n.Why)
	}
	if leads(1) && r.Function == Dominant && n.Of == 0 {
		why = append(why, "the tonic follows")
	} else if leads(5) && r.Function == Predominant {
		why = append(why, "the dominant follows")
	}
	// What isn't heard colours nothing.
	thirdless := n.Text != "" && !r.SixFour
	low := e.bass[bLowest]
	for _, rel := range []int{4, -3, -10} {
		if hasInterval(c.Quality, rel) && (has(e.prof[pPresent], root+rel) || len(low) > 0 && low[0].lof == root+rel) {
			thirdless = false
		}
	}
	if thirdless {
		r.Colour = strings.TrimPrefix(r.Colour+", without third", ", ")
	}
	if n.Kind == key.Mixture && r.Colour == "" {
		r.Colour = "borrowed from the parallel key"
		why = append(why, n.Why)
	}
	if hasInterval(c.Quality, 4) && has(e.prof[pPresent], root-3) || hasInterval(c.Quality, -3) && has(e.prof[pPresent], root+4) {
		r.Colour = strings.TrimPrefix(r.Colour+", both thirds sound", ", ")
	}
	if len(low) > 0 && c.Role(classOf(low[0].lof)) == "" {
		bass := classOf(low[0].lof)
		over := fmt.Sprintf("over %v in the bass, which is no member", bass)
		switch third := low[0].lof - root; {
		case third == 4 || third == -3: // the other third
			over = fmt.Sprintf("over its other third %v in the bass", bass)
		case bass == k.Tonic && n.Of == 0 && r.Function != Tonic:
			over = "over a tonic pedal"
		}
		r.Colour = strings.TrimPrefix(r.Colour+", "+over, ", ")
	}
	r.Why = strings.Join(why, "; ")
	return r
}

// nextDifferent returns the next span with another root or quality, -1 if none follows.
func (a *Analysis) nextDifferent(i int) int {
	here := a.Spans[i].Readings[0].Chord
	for j := i + 1; j < len(a.Spans); j++ {
		if len(a.Spans[j].Readings) == 0 {
			continue
		}
		if c := a.Spans[j].Readings[0].Chord; c.Root != here.Root || c.Quality != here.Quality {
			return j
		}
	}
	return -1
}

// A Cadence is a close: Span is the chord it arrives at.
type Cadence struct {
	Span    int
	Kind    string // "perfect authentic", "imperfect authentic", "authentic" (no note over the bass tells which), "half", "plagal", "deceptive"
	Key     key.Key
	Why     string
	Certain bool // the music rests on the chord: it lasts longer than those before it, or silence or the end follows
}

// Cadences returns the closes of a passage: a dominant that goes to the tonic (authentic) or to the submediant (deceptive), a
// subdominant that goes to the tonic (plagal), a rest on the dominant triad (half). Only places where the music may come to rest count: the
// chord of arrival is on a strong beat and lasts at least as long as the one before it. The definitions are common practice (no
// source); a perfect authentic cadence has both chords in root position and the tonic on top.
func (a *Analysis) Cadences() []Cadence {
	var out []Cadence
	for i := 1; i < len(a.Spans); i++ {
		if len(a.Spans[i].Readings) == 0 || len(a.Spans[i-1].Readings) == 0 || a.ev[i].down < .5 {
			continue
		}
		k := a.Spans[i].Key
		here, before := a.roleIn(i, a.Spans[i].Readings[0].Chord, k), a.roleIn(i-1, a.Spans[i-1].Readings[0].Chord, k)
		hl, bl := a.ev[i].b-a.ev[i].a, a.ev[i-1].b-a.ev[i-1].a
		last := i == len(a.Spans)-1
		rest := last || a.Spans[i].Span.To.Less(a.Spans[i+1].Span.From) || len(a.ev[i].prof[pEnd]) == 0 || hl >= 2*bl && hl >= 2
		if hl < bl && !rest {
			continue
		}
		hn, bn := here.Numeral, before.Numeral
		chordHere := a.Spans[i].Readings[0].Chord
		c := Cadence{Span: i, Key: k, Certain: rest}
		// A dominant over a bass that is none of its notes, such as a tonic pedal, closes nothing.
		held := a.foreignBass(i-1) || a.foreignBass(i)
		fromDominant := !held && bn.Of == 0 && bn.Kind != key.SixthChord && before.Function == Dominant && (bn.Degree == 5 || bn.Degree == 7)
		tonic := hn.Of == 0 && hn.Degree == 1 && hn.Alter == 0 && hn.Kind != key.SixthChord
		switch {
		case fromDominant && bn.Degree == 5 && tonic && hn.Inversion == 0:
			c.Kind = "imperfect authentic"
			switch top, over := a.arrival(i); {
			case !over: // a bass alone, or in octaves: no top note tells which
				c.Kind = "authentic"
			case bn.Inversion == 0 && top == k.Tonic:
				c.Kind = "perfect authentic"
			}
		case fromDominant && hn.Of == 0 && hn.Degree == 6 && bn.Degree == 5:
			c.Kind = "deceptive"
		case bn.Of == 0 && bn.Degree == 4 && tonic && hn.Inversion == 0 && rest:
			c.Kind = "plagal"
		case hn.Of == 0 && hn.Degree == 5 && hn.Alter == 0 && hn.Inversion == 0 && hn.Kind == key.Diatonic && len(chordHere.Members()) == 3 && !here.SixFour &&
			before.Function != Dominant && rest:
			c.Kind = "half"
		default:
			continue
		}
		c.Why = fmt.Sprintf("%s goes to %s in %v", bn.Text, hn.Text, k)
		switch {
		case rest && a.rests(i):
			c.Why += ", and the music rests there"
		case rest:
			c.Why += ", and the chord lasts"
		}
		out = append(out, c)
	}
	return out
}

// foreignBass reports whether the lowest note of span i is no member of its chord.
func (a *Analysis) foreignBass(i int) bool {
	low := a.ev[i].bass[bLowest]
	return len(low) > 0 && a.Spans[i].Readings[0].Chord.Role(classOf(low[0].lof)) == ""
}

// arrival returns the top note of what sounds as span i begins. over is false if that is the bass alone: one class, and nothing of it
// in the right hand.
func (a *Analysis) arrival(i int) (top pitch.Class, over bool) {
	m := a.Music
	lo, hi := m.within(a.ev[i].a, a.ev[i].a+2*eps)
	best, low := -1, -1
	for j := lo; j < hi; j++ {
		if m.notes[j].off <= a.ev[i].a+eps {
			continue
		}
		if best < 0 || m.notes[j].midi > m.notes[best].midi {
			best = j
		}
		if low < 0 || m.notes[j].midi < m.notes[low].midi {
			low = j
		}
	}
	if best < 0 {
		return pitch.Class{}, false
	}
	for j := lo; j < hi; j++ {
		over = over || m.notes[j].off > a.ev[i].a+eps && (m.notes[j].lof != m.notes[low].lof || !m.notes[j].left && j != low)
	}
	return classOf(m.notes[best].lof), over
}

// rests reports whether nothing is struck for a quarter after the chord of span i begins.
func (a *Analysis) rests(i int) bool {
	m := a.Music
	lo, hi := m.within(a.ev[i].a, a.ev[i].a+1-eps)
	for j := lo; j < hi; j++ {
		if on := m.notes[j].on; on > a.ev[i].a+eps && on < a.ev[i].a+1-eps {
			return false
		}
	}
	return true
}

// A Pedal is a bass note that stays while the chords above it change: spans From to To, both included.
type Pedal struct {
	From, To int
	Note     pitch.Class
	Foreign  []int // spans in whose chord it is no member
}

// Pedals returns the pedal points in the bass: at least three spans, at least two roots, and at least one chord that the note
// doesn't belong to (reference table: "held or repeated through changing chords; begins and ends as a chord tone").
func (a *Analysis) Pedals() []Pedal {
	var out []Pedal
	for i := 0; i < len(a.Spans); {
		low := a.ev[i].bass[bLowest]
		if len(low) == 0 || len(a.Spans[i].Readings) == 0 {
			i++
			continue
		}
		p := Pedal{From: i, To: i, Note: classOf(low[0].lof)}
		rootsSeen := map[pitch.Class]bool{}
		j := i
		for ; j < len(a.Spans); j++ {
			w := a.ev[j].bass[bLowest]
			if len(w) == 0 || w[0].lof != low[0].lof || len(a.Spans[j].Readings) == 0 {
				break
			}
			c := a.Spans[j].Readings[0].Chord
			rootsSeen[c.Root] = true
			if c.Role(p.Note) == "" {
				p.Foreign = append(p.Foreign, j)
			}
		}
		p.To = j - 1
		if p.To-p.From >= 2 && len(rootsSeen) >= 2 && len(p.Foreign) > 0 {
			out = append(out, p)
		}
		i = max(j, i+1)
	}
	return out
}

// FunctionOf tells what a numeral of k does by itself, whatever is around it, and why in a few words. A numeral without a degree, or
// chromatic in k, has no function. Degrees that may be two things are given what they are more often: the submediant the tonic,
// the mediant the tonic (common practice, no source).
func FunctionOf(k key.Key, n key.Numeral) (Function, string) {
	name := k.DegreeName(n.Degree, n.Alter)
	switch {
	case n.Text == "" || n.Degree < 1:
		return NoFunction, ""
	case n.Kind == key.Applied && n.Of == 5:
		return Predominant, "it leads to the dominant"
	case n.Kind == key.Applied:
		return Dominant, "of the " + k.DegreeName(n.Of, 0)
	case n.Kind == key.SixthChord, n.Kind == key.Neapolitan:
		return Predominant, "it leads to the dominant"
	case n.Kind == key.CommonTone:
		return NoFunction, ""
	case n.Degree == 1 && n.Alter == 0:
		return Tonic, fmt.Sprintf("its root is the tonic %v", k.Tonic)
	case n.Degree == 5 && n.Alter == 0:
		return Dominant, "its root is the dominant"
	case n.Degree == 7:
		return Dominant, "its root is the " + name
	case n.Degree == 2 && n.Alter == 0, n.Degree == 4 && n.Alter == 0:
		return Predominant, "its root is the " + name
	case n.Degree == 6, n.Degree == 3:
		return Tonic, "the " + name + " shares two notes with the tonic"
	}
	return NoFunction, ""
}
