package line

import (
	"cmp"
	"slices"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// threadReach is how far a thread moves at most from one chord to the next, in semitones: a major third. What leaps further
// is taken for another thread.
const threadReach = 4

// Inner returns the lines inside a texture: threads through the notes that are neither the lowest nor the highest when they
// sound. Every thread leads from note to note by least motion, at most a major third, without crossing another; a note that
// is held through a change of chord stays in its thread, one that is struck again appears again. Threads that move less than
// twice are left out; the longest come first, by number of moves.
//
// The least motion between chords is common practice as a picture of voice leading (no source); threads never cross, so the
// assignment is found exactly, by dynamic programming over two sonorities at a time.
func Inner(sounding []score.Note, r score.Region) []Line {
	inner := func(s score.Slice) []score.Note {
		notes := distinctNotes(s.Notes)
		if len(notes) < 3 {
			return nil
		}
		return notes[1 : len(notes)-1]
	}
	var steps [][]score.Note
	for _, s := range score.Slices(r.Select(sounding), r.From, r.To) {
		if in := inner(s); len(in) > 0 {
			steps = append(steps, in)
		}
	}
	return longest(threads(steps, threadReach), 2)
}

// distinctNotes returns notes, low to high, without those that double another one.
func distinctNotes(notes []score.Note) []score.Note {
	out := make([]score.Note, 0, len(notes))
	for _, n := range notes {
		if k := len(out) - 1; k >= 0 && out[k].Pitch == n.Pitch {
			if out[k].Onset.Less(n.Onset) {
				out[k] = n // the one struck last speaks
			}
			continue
		}
		out = append(out, n)
	}
	return out
}

// threads follows lines through steps, each a number of notes from low to high.
func threads(steps [][]score.Note, reach int) []Line {
	var all []Line
	var open []int // the threads that end in the last step, low to high
	var last []score.Note
	for _, now := range steps {
		link := match(last, now, reach)
		next := make([]int, len(now))
		for i, n := range now {
			if link[i] < 0 {
				next[i] = len(all)
				all = append(all, Line{n})
				continue
			}
			t := open[link[i]]
			next[i] = t
			if l := all[t]; l[len(l)-1] != n {
				all[t] = append(l, n)
			}
		}
		open, last = next, now
	}
	return all
}

// match joins the notes of two sonorities, each from low to high, by least motion without crossing: as many as can be joined
// within reach, and of those the nearest. It returns for each note of b the index in a, or -1.
func match(a, b []score.Note, reach int) []int {
	// A note left alone costs more than any move within reach, so that pairs are made where they can be.
	alone := reach + 1
	type cell struct {
		cost int
		move int8 // 0 join, 1 leave a, 2 leave b
	}
	w := len(b) + 1
	grid := make([]cell, (len(a)+1)*w)
	for i := 0; i <= len(a); i++ {
		for j := 0; j <= len(b); j++ {
			if i == 0 && j == 0 {
				continue
			}
			c := cell{1 << 30, 0}
			if i > 0 {
				c = cell{grid[(i-1)*w+j].cost + alone, 1}
			}
			if j > 0 {
				if x := grid[i*w+j-1].cost + alone; x < c.cost {
					c = cell{x, 2}
				}
			}
			if i > 0 && j > 0 {
				d := a[i-1].Pitch.MIDI() - b[j-1].Pitch.MIDI()
				if d = max(d, -d); d <= reach {
					if x := grid[(i-1)*w+j-1].cost + d; x <= c.cost {
						c = cell{x, 0}
					}
				}
			}
			grid[i*w+j] = c
		}
	}
	link := make([]int, len(b))
	for i, j := len(a), len(b); i > 0 || j > 0; {
		switch grid[i*w+j].move {
		case 0:
			link[j-1] = i - 1
			i, j = i-1, j-1
		case 1:
			i--
		default:
			link[j-1] = -1
			j--
		}
	}
	return link
}

// longest returns the lines of at least the given number of moves, those with the most moves first.
func longest(lines []Line, moves int) []Line {
	type counted struct {
		l Line
		n int
	}
	var list []counted
	for _, l := range lines {
		if n := len(l.Moves()); n >= moves {
			list = append(list, counted{l, n})
		}
	}
	slices.SortStableFunc(list, func(a, b counted) int {
		return cmp.Or(b.n-a.n, a.l[0].Onset.Compare(b.l[0].Onset), a.l[0].Pitch.Compare(b.l[0].Pitch))
	})
	var out []Line
	for _, c := range list {
		out = append(out, c.l)
	}
	return out
}

// ChromaticThreads returns the lines of at least least moves, all by semitone in one direction, that lead through the
// texture of a region, in any voice and across the hands: each note sounds until the next one is struck or was struck at
// most two quarter notes before it ends. A note struck again on the way stays one note. Lines that lie within a longer one
// are left out; the longest come first.
func ChromaticThreads(sounding []score.Note, r score.Region, least int) []Line {
	type state struct {
		moves int
		from  int // index of the note before, -1
	}
	notes := plainNotes(sounding, r)
	best := [2][]state{make([]state, len(notes)), make([]state, len(notes))} // falling, rising
	recent := make([]int, 512)                                               // by MIDI number, from -128 on: the last note struck, -1 none
	for i := range recent {
		recent[i] = -1
	}
	at := func(midi int) *int { return &recent[mod(midi+128, len(recent))] }
	var pending []int // struck at this onset, not yet in recent
	flush := func() {
		for _, i := range pending {
			*at(notes[i].Pitch.MIDI()) = i
		}
		pending = pending[:0]
	}
	for i, n := range notes {
		if i > 0 && notes[i-1].Onset != n.Onset {
			flush()
		}
		midi := n.Pitch.MIDI()
		for d, by := range [2]int{-1, 1} {
			s := state{0, -1}
			near := func(j int) bool { return !notes[j].End().Add(score.Quarters(2)).Less(n.Onset) }
			if j := *at(midi - by); j >= 0 && near(j) {
				// The note left must not sound on under its successor, else it is a clash and no line.
				if !n.Onset.Less(notes[j].End()) {
					s = state{best[d][j].moves + 1, j}
				}
			}
			if j := *at(midi); j >= 0 && near(j) && best[d][j].moves > s.moves {
				s = state{best[d][j].moves, j}
			}
			best[d][i] = s
		}
		pending = append(pending, i)
	}
	type end struct{ d, i int }
	var ends []end
	for d := range best {
		for i := range notes {
			if best[d][i].moves >= least {
				ends = append(ends, end{d, i})
			}
		}
	}
	slices.SortStableFunc(ends, func(a, b end) int { return best[b.d][b.i].moves - best[a.d][a.i].moves })
	used := [2][]bool{make([]bool, len(notes)), make([]bool, len(notes))}
	var out []Line
	for _, e := range ends {
		var l Line
		fresh := true
		for i := e.i; i >= 0 && fresh; i = best[e.d][i].from {
			fresh = !used[e.d][i]
			if k := len(l) - 1; k >= 0 && l[k].Pitch.MIDI() == notes[i].Pitch.MIDI() {
				l[k] = notes[i] // the first of the notes struck again
			} else {
				l = append(l, notes[i])
			}
		}
		if !fresh {
			continue
		}
		for i := e.i; i >= 0; i = best[e.d][i].from {
			used[e.d][i] = true
		}
		slices.Reverse(l)
		out = append(out, l)
	}
	return out
}

// Implied returns the voices that broken chords imply: in each unit of time between two bounds the different pitches struck
// by the notes stand for a chord, and threads lead through those chords by least motion, at most a fifth, without crossing.
// A pitch struck only once in a unit where others come back is passed over as a neighbour note. The result has the lowest
// voice first; a voice that doesn't run through all units is left out.
func Implied(notes []score.Note, bounds []score.Time) []Line {
	var steps [][]score.Note
	for i := 0; i+1 < len(bounds); i++ {
		var unit []score.Note
		times := map[pitch.Pitch]int{}
		most := 0
		for _, n := range notes {
			if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 || n.Onset.Less(bounds[i]) || !n.Onset.Less(bounds[i+1]) {
				continue
			}
			if times[n.Pitch] == 0 {
				unit = append(unit, n)
			}
			times[n.Pitch]++
			most = max(most, times[n.Pitch])
		}
		if len(unit) == 0 {
			continue
		}
		if most > 1 {
			low, high := Line(unit).span()
			unit = slices.DeleteFunc(unit, func(n score.Note) bool {
				return times[n.Pitch] == 1 && n.Pitch != low && n.Pitch != high
			})
		}
		slices.SortStableFunc(unit, func(a, b score.Note) int { return a.Pitch.Compare(b.Pitch) })
		steps = append(steps, unit)
	}
	if len(steps) < 2 {
		return nil
	}
	var out []Line
	for _, l := range threads(steps, pitch.PerfectFifth.Semitones) {
		if len(l) == len(steps) {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, func(a, b Line) int { return a[0].Pitch.Compare(b[0].Pitch) })
	return out
}
