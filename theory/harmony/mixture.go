package harmony

import (
	"fmt"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Mixture tells how a stretch of music mixes major and minor on one tonic.
type Mixture struct {
	Tonic        pitch.Class
	Major, Minor []score.Note // belong to only one of the keys: their thirds and sixths, and the seventh of natural minor
	Passing      []score.Note // would, but only pass or neighbour by step
	BothThirds   bool
	Borrowed     []int  // spans whose chord is borrowed from the parallel key
	Why          string // what the notes say, in words
}

// Mixed reports whether notes of both keys are there.
func (x Mixture) Mixed() bool { return len(x.Major) > 0 && len(x.Minor) > 0 }

// Mixture looks for notes of the major and of the minor key on tonic in from <= t < to. The raised sixth and seventh of minor are
// no notes of the major key when a minor third is the only third: they belong to melodic minor.
func (a *Analysis) Mixture(from, to score.Time, tonic pitch.Class) Mixture {
	x := Mixture{Tonic: tonic}
	first, end := a.Overlapping(from, to)
	passing := map[score.Note]bool{}
	for i := first; i < end; i++ {
		if r := a.Role(i); r.Numeral.Kind == key.Mixture && a.Spans[i].Key.Tonic == tonic {
			x.Borrowed = append(x.Borrowed, i)
		}
		for _, f := range a.ForeignNotes(i) {
			switch f.NCT.Kind {
			case "passing tone", "neighbour tone", "double neighbour":
				passing[f.Note] = true
			}
		}
	}
	major, minor := key.Key{Tonic: tonic}, key.Key{Tonic: tonic, Mode: key.Minor}
	thirds := [2]bool{}
	for _, n := range a.Music.Sounding {
		if !n.Onset.Less(to) || !from.Less(n.End()) || n.Grace != score.NoGrace {
			continue
		}
		c := n.Pitch.Class()
		inMajor, inMinor := major.Contains(c), minor.Contains(c)
		if d, _ := major.Degree(c); d == 7 && inMajor || inMajor == inMinor {
			continue // the leading tone belongs to both
		}
		if passing[n] {
			x.Passing = append(x.Passing, n)
			continue
		}
		if d, _ := major.Degree(c); d == 3 {
			thirds[map[bool]int{true: 0, false: 1}[inMajor]] = true
		}
		if inMajor {
			x.Major = append(x.Major, n)
		} else {
			x.Minor = append(x.Minor, n)
		}
	}
	x.BothThirds = thirds[0] && thirds[1]
	if thirds[1] && !thirds[0] { // melodic minor
		x.Major = nil
	}
	say := func(ns []score.Note, k key.Key) string {
		if len(ns) == 0 {
			return "no note is of " + k.String() + " only"
		}
		var parts []string
		seen := map[pitch.Class]bool{}
		for _, n := range ns {
			if c := n.Pitch.Class(); !seen[c] {
				seen[c] = true
				d, _ := k.Degree(c)
				parts = append(parts, fmt.Sprintf("%v at %s (the %s)", n.Pitch, a.Music.Passage.Where(n.Onset), ordinal(d)))
			}
		}
		return "of " + k.String() + " only: " + strings.Join(parts, ", ")
	}
	x.Why = say(x.Major, major) + "; " + say(x.Minor, minor)
	if len(x.Passing) > 0 {
		n := x.Passing[0]
		x.Why += fmt.Sprintf("; %v at %s only moves by step", n.Pitch, a.Music.Passage.Where(n.Onset))
	}
	return x
}

var ordinals = [...]string{"", "first", "second", "third", "fourth", "fifth", "sixth", "seventh"}

func ordinal(degree int) string {
	if degree < 1 || degree > 7 {
		return fmt.Sprintf("degree %d", degree)
	}
	return ordinals[degree]
}

// A Turn is a run of spans of one function: From to To, both included.
type Turn struct {
	From, To int
	Function Function
}

// An Alternation tells how functions follow one another in a stretch.
type Alternation struct {
	Turns   []Turn // one after the other; no two neighbours have the same function
	Changes int    // from tonic to dominant or back, with nothing between
	Others  int    // turns that are neither
	Why     string
}

// Alternates reports whether tonic and dominant take turns: at least two changes and no other function.
func (x Alternation) Alternates() bool { return x.Changes >= 2 && x.Others == 0 }

// Alternation returns the functions of the spans in from <= t < to, spans without function left out.
func (a *Analysis) Alternation(from, to score.Time) Alternation {
	var x Alternation
	first, end := a.Overlapping(from, to)
	var words []string
	for i := first; i < end; i++ {
		r := a.Role(i)
		if r.Function == NoFunction {
			continue
		}
		if n := len(x.Turns); n > 0 && x.Turns[n-1].Function == r.Function {
			x.Turns[n-1].To = i
			continue
		}
		x.Turns = append(x.Turns, Turn{i, i, r.Function})
		words = append(words, fmt.Sprintf("%s (%s at %s)", r.Function, r.Numeral.Text, a.Music.Passage.Where(a.Spans[i].Span.From)))
	}
	for n, t := range x.Turns {
		if t.Function != Tonic && t.Function != Dominant {
			x.Others++
		}
		if n > 0 && t.Function != Predominant && x.Turns[n-1].Function != Predominant {
			x.Changes++
		}
	}
	x.Why = strings.Join(words, ", then ")
	if x.Why == "" {
		x.Why = "no chord there has a function"
	}
	return x
}
