package chord

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A HandMove is what one hand does between two sonorities.
type HandMove struct {
	// Kind is "none" (the hand is silent in both), "held" (the same notes), "moved" (the same shape elsewhere, by spelling),
	// "respelled" (the same keys under other names), "enters", "leaves" or "changed".
	Kind string
	By   pitch.Interval // meaningful only if Kind is "moved"
}

// A Step is one voice between two sonorities.
type Step struct {
	From, To  pitch.Pitch
	Semitones int // upwards positive
}

// A Displacement is a note that sounds on in another octave.
type Displacement struct {
	From, To pitch.Pitch
}

// A Relation tells what leads from one sonority to another.
type Relation struct {
	Same       bool           // the same pitches
	Respelled  bool           // the same keys, some under other names
	Transposed bool           // every note moved by By, by spelling; not if By is a unison
	By         pitch.Interval // meaningful only if Transposed
	Left       HandMove
	Right      HandMove
	Common     []pitch.Pitch  // pitches that stay, low to high
	Classes    []pitch.Class  // note names that stay, in any octave, by the lowest note of the first sonority
	Displaced  []Displacement // names that stay but leave their octave
	Octaves    bool           // both have the same note names, and some are displaced
	Tn         []int          // transpositions that take the first pitch-class set to the second, in [0, 12)
	TnI        []int          // inversions (about 0, then up by n) that do, in [0, 12)
	Smoothest  []Step         // the smoothest voice leading, by the first sonority from low to high
	Size       int            // its sum of semitones
	Largest    int            // its largest step, in semitones
	ClassSize  int            // the sum for the smoothest voice leading if octaves are free
	Text       string         // the telling facts, "; " between them
}

// Relate compares a with b, hand by hand and as wholes. Every note of the one leads to some note of the other; where they have
// different numbers of notes, voices split or join.
//
// The smoothest voice leading is exact: of all ways to connect every note of a and of b it has the smallest sum of semitones
// (an assignment problem; on a line a solution without crossing voices is among the best, so it is found by dynamic
// programming, and the tests compare it with trying everything).
func Relate(a, b Voicing) Relation {
	as, bs := a.All(), b.All()
	r := Relation{Left: handMove(a.Left, b.Left), Right: handMove(a.Right, b.Right)}
	r.Same = slices.Equal(as, bs)
	if by, ok := shift(as, bs); ok && !r.Same {
		r.Respelled = by.Semitones == 0
		r.Transposed, r.By = !r.Respelled, by
	}
	if !r.Same && slices.EqualFunc(keysOf(as), keysOf(bs), pitch.Pitch.Enharmonic) {
		r.Respelled, r.Transposed, r.By = true, false, pitch.Unison
	}
	for _, p := range as {
		if slices.Contains(bs, p) {
			r.Common = append(r.Common, p)
		}
	}
	sa, sb := sonorityOf(as), sonorityOf(bs)
	for _, c := range sa.classes {
		if slices.Contains(sb.classes, c) {
			r.Classes = append(r.Classes, c)
		}
	}
	for _, c := range r.Classes {
		var from, to []pitch.Pitch
		for _, p := range as {
			if p.Class() == c && !slices.Contains(bs, p) {
				from = append(from, p)
			}
		}
		for _, p := range bs {
			if p.Class() == c && !slices.Contains(as, p) {
				to = append(to, p)
			}
		}
		for i := range min(len(from), len(to)) {
			r.Displaced = append(r.Displaced, Displacement{from[i], to[i]})
		}
	}
	r.Octaves = len(r.Displaced) > 0 && len(r.Classes) == len(sa.classes) && len(r.Classes) == len(sb.classes)
	if sa.pcs.len() == sb.pcs.len() && sa.pcs != 0 {
		for n := range 12 {
			if sa.pcs.up(n) == sb.pcs {
				r.Tn = append(r.Tn, n)
			}
			if sa.pcs.invert().up(n) == sb.pcs {
				r.TnI = append(r.TnI, n)
			}
		}
	}
	r.Smoothest, r.Size = leading(as, bs)
	for _, s := range r.Smoothest {
		r.Largest = max(r.Largest, s.Semitones, -s.Semitones)
	}
	r.ClassSize = classDistance(sa.pcs.list(), sb.pcs.list())
	r.Text = r.text(len(as), len(bs))
	return r
}

// keysOf leaves out second names of a key; ns ascends.
func keysOf(ns []pitch.Pitch) []pitch.Pitch {
	return slices.CompactFunc(slices.Clone(ns), pitch.Pitch.Enharmonic)
}

// shift returns the interval that takes every note of as to the note of bs in its place.
func shift(as, bs []pitch.Pitch) (by pitch.Interval, ok bool) {
	if len(as) == 0 || len(as) != len(bs) {
		return by, false
	}
	by = bs[0].Sub(as[0])
	for i := range as {
		if bs[i].Sub(as[i]) != by {
			return by, false
		}
	}
	return by, true
}

func handMove(a, b []pitch.Pitch) HandMove {
	as, bs := distinct(a), distinct(b)
	by, ok := shift(as, bs)
	switch {
	case len(as)+len(bs) == 0:
		return HandMove{Kind: "none"}
	case len(as) == 0:
		return HandMove{Kind: "enters"}
	case len(bs) == 0:
		return HandMove{Kind: "leaves"}
	case slices.Equal(as, bs):
		return HandMove{Kind: "held"}
	case slices.EqualFunc(keysOf(as), keysOf(bs), pitch.Pitch.Enharmonic):
		return HandMove{Kind: "respelled"}
	case ok:
		return HandMove{Kind: "moved", By: by}
	}
	return HandMove{Kind: "changed"}
}

// leading connects every note of as with a note of bs and the other way round, with the smallest sum of semitones. Both
// ascend. Of equally good ways it takes the one with more voices moving together.
func leading(as, bs []pitch.Pitch) (steps []Step, size int) {
	n, m := len(as), len(bs)
	if n == 0 || m == 0 {
		return nil, 0
	}
	// cost[i][j]: the first i+1 notes of as and j+1 of bs, the last of each connected.
	cost := make([]int, n*m)
	at := func(i, j int) int {
		if i < 0 || j < 0 {
			return 1 << 30
		}
		return cost[i*m+j]
	}
	for i := range n {
		for j := range m {
			d := bs[j].MIDI() - as[i].MIDI()
			best := min(at(i-1, j-1), at(i-1, j), at(i, j-1))
			if i+j == 0 {
				best = 0
			}
			cost[i*m+j] = best + max(d, -d)
		}
	}
	for i, j := n-1, m-1; ; {
		steps = append(steps, Step{as[i], bs[j], bs[j].MIDI() - as[i].MIDI()})
		if i+j == 0 {
			break
		}
		switch best := min(at(i-1, j-1), at(i-1, j), at(i, j-1)); best {
		case at(i-1, j-1):
			i, j = i-1, j-1
		case at(i-1, j):
			i--
		default:
			j--
		}
	}
	slices.Reverse(steps)
	return steps, cost[n*m-1]
}

// classDistance returns the smallest sum of semitones, each way round the octave, that connects every pitch class of as with
// one of bs and the other way round; 0 if either is empty. It tries every mapping of as, by which members of bs they reach.
func classDistance(as, bs []int) int {
	if len(as) == 0 || len(bs) == 0 {
		return 0
	}
	dist := func(a, b int) int {
		d := (a - b + 12) % 12
		return min(d, 12-d)
	}
	const far = 1 << 20
	best := make([]int, 1<<len(bs)) // by the set of bs reached so far
	for i := range best {
		best[i] = far
	}
	best[0] = 0
	for _, a := range as {
		next := make([]int, len(best))
		for i := range next {
			next[i] = far
		}
		for set, c := range best {
			if c == far {
				continue
			}
			for j, b := range bs {
				to := set | 1<<j
				next[to] = min(next[to], c+dist(a, b))
			}
		}
		best = next
	}
	least := far
	for set, c := range best {
		for j, b := range bs {
			if set>>j&1 == 0 { // nobody went there: it comes from the nearest
				near := far
				for _, a := range as {
					near = min(near, dist(a, b))
				}
				c += near
			}
		}
		least = min(least, c)
	}
	return least
}

// ClassDistance returns the number of semitones that the smoothest voice leading from a to b moves if octaves are free; 0 if
// either is empty.
func ClassDistance(a, b []pitch.Class) int {
	var sa, sb pcset
	for _, c := range a {
		sa |= 1 << c.PC()
	}
	for _, c := range b {
		sb |= 1 << c.PC()
	}
	return classDistance(sa.list(), sb.list())
}

// moveText says a movement by interval: "up a minor third", "down an octave", "down a step (major second)".
func moveText(by pitch.Interval) string {
	dir := "up "
	if by.Descends() {
		dir = "down "
	}
	name, wider := spoken(by.Abs())
	switch by.Abs() {
	case pitch.MinorSecond, pitch.MajorSecond:
		return dir + "a step (" + name + ")"
	case pitch.Octave:
		return dir + "an octave"
	}
	return dir + an(name) + wider
}

func (h HandMove) text(hand string) string {
	switch h.Kind {
	case "none", "":
		return ""
	case "moved":
		return hand + " moves " + moveText(h.By)
	case "held":
		return hand + " stays"
	case "respelled":
		return hand + " stays under other names"
	}
	return hand + " " + strings.Replace(h.Kind, "changed", "changes", 1)
}

func (r *Relation) text(n, m int) string {
	var parts []string
	add := func(s string) {
		if s != "" {
			parts = append(parts, s)
		}
	}
	switch {
	case n == 0 || m == 0:
		return "nothing to compare"
	case r.Same:
		return "the same notes"
	case r.Respelled:
		return "the same keys under other names"
	case r.Transposed:
		add("all of it moves " + moveText(r.By))
	default:
		if r.Octaves {
			add("the same notes in other octaves")
		}
		if news := func(h HandMove) bool { return h.Kind != "changed" && h.Kind != "none" }; news(r.Left) || news(r.Right) {
			add(r.Left.text("the left hand"))
			add(r.Right.text("the right hand"))
		}
	}
	switch len(r.Common) {
	case 0:
		if len(r.Classes) == 0 {
			add("no common tone")
		}
	default:
		names := make([]string, len(r.Common))
		for i, p := range r.Common {
			names[i] = p.String()
		}
		add(andList(names) + " " + map[bool]string{true: "stays", false: "stay"}[len(names) == 1])
	}
	if len(r.Displaced) > 0 && !r.Octaves && !r.Transposed {
		names := make([]string, len(r.Displaced))
		for i, d := range r.Displaced {
			names[i] = d.From.String() + " as " + d.To.String()
		}
		add("in another octave: " + strings.Join(names, ", "))
	}
	if !r.Transposed {
		add(fmt.Sprintf("smoothest voice leading %s, no voice by more than %s", semitones(r.Size), countWord(r.Largest)))
	}
	return strings.Join(parts, "; ")
}

func semitones(n int) string {
	if n == 1 {
		return "one semitone"
	}
	return countWord(n) + " semitones"
}
