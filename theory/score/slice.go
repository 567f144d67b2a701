package score

import (
	"slices"
)

// A Slice is what sounds from one onset until the next: At <= t < Until. Notes go from low to high; a note that another
// note doubles at the same pitch in the other hand is kept twice. Struck tells for each note whether it begins at At.
type Slice struct {
	At, Until Time
	Notes     []Note
	Struck    []bool
}

// Hand returns the notes of one hand, from low to high.
func (s Slice) Hand(h Hand) []Note {
	var out []Note
	for _, n := range s.Notes {
		if n.Hand == h {
			out = append(out, n)
		}
	}
	return out
}

// Slices returns what sounds at each onset in [from, to), grace notes left out. Notes that began before and still sound
// belong to the slice. A moment when nothing sounds gives no slice. If notes already sound at from, the first slice starts
// there.
func Slices(sounding []Note, from, to Time) []Slice {
	var times []Time
	for _, n := range sounding {
		if n.Grace != NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		switch {
		case !n.Onset.Less(from) && n.Onset.Less(to):
			times = append(times, n.Onset)
		case n.Onset.Less(from) && from.Less(n.End()):
			times = append(times, from)
		}
	}
	slices.SortFunc(times, Time.Compare)
	times = slices.Compact(times)

	// Notes come in order of onset; those that may still sound are kept in play.
	var out []Slice
	var playing []Note
	next := 0
	for i, t := range times {
		for next < len(sounding) && !t.Less(sounding[next].Onset) {
			if n := sounding[next]; n.Grace == NoGrace && n.Duration.Sign() > 0 {
				playing = append(playing, n)
			}
			next++
		}
		playing = slices.DeleteFunc(playing, func(n Note) bool { return !t.Less(n.End()) })
		s := Slice{At: t, Notes: slices.Clone(playing)}
		slices.SortStableFunc(s.Notes, lowToHigh)
		s.Until = to
		if i+1 < len(times) {
			s.Until = times[i+1]
		}
		last := t
		for _, n := range s.Notes {
			s.Struck = append(s.Struck, n.Onset == t)
			last = last.Max(n.End())
		}
		s.Until = s.Until.Min(last)
		out = append(out, s)
	}
	return out
}

func lowToHigh(a, b Note) int {
	if c := a.Pitch.Compare(b.Pitch); c != 0 {
		return c
	}
	return int(b.Hand) - int(a.Hand)
}
