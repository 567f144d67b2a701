package line

import (
	"cmp"
	"fmt"
	"slices"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Likeness tells how one place comes back in another.
type Likeness int8

// The likenesses, the closest first.
const (
	Unlike     Likeness = iota
	Repeated            // the same notes
	Displaced           // the same notes whole octaves away
	Transposed          // every note by the same interval
	Diatonic            // every note by the same number of steps; the sizes follow the scale
	BySemitone          // every note by the same number of semitones, under other spellings
	SameRhythm          // the rhythm alone
)

var likenessNames = [...]string{"unlike", "repeated", "displaced by octaves", "transposed", "moved within the scale", "transposed by sound", "in the same rhythm"}

// String returns the likeness in words, or %!Likeness(n) out of range.
func (l Likeness) String() string {
	if l < 0 || int(l) >= len(likenessNames) {
		return fmt.Sprintf("%%!Likeness(%d)", int(l))
	}
	return likenessNames[l]
}

// A Relation is how a place b comes back from a place a.
type Relation struct {
	Likeness Likeness
	Interval pitch.Interval // from a to b, signed; of a diatonic one the commonest
	Matched  int            // notes of b that are as the relation says
	Notes    int            // of b
	Except   []score.Note   // the notes of b that are not, in order
	Rhythm   bool           // the onsets are the same, note for note
}

// Holds reports whether every note is as the relation says.
func (r Relation) Holds() bool {
	return r.Likeness != Unlike && (r.Matched == r.Notes || r.Likeness == SameRhythm)
}

// plainNotes returns the notes struck in [from, to) of a layer's hand, grace notes left out.
func plainNotes(sounding []score.Note, r score.Region) []score.Note {
	byOnset := func(n score.Note, t score.Time) int { return n.Onset.Compare(t) }
	first, _ := slices.BinarySearchFunc(sounding, r.From, byOnset)
	end, _ := slices.BinarySearchFunc(sounding, r.To, byOnset)
	out := make([]score.Note, 0, max(end-first, 0))
	for _, n := range sounding[first:max(first, end)] {
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 ||
			r.Layer == score.LeftHand && n.Hand != score.Left || r.Layer == score.RightHand && n.Hand != score.Right {
			continue
		}
		out = append(out, n)
	}
	return out
}

// PlaceNotes returns what a region speaks of, struck in it: the notes of its hand, of the whole texture, or its bass or top
// line. Grace notes are left out. Sounding must be in order of time.
func PlaceNotes(sounding []score.Note, r score.Region) []score.Note {
	switch r.Layer {
	case score.Bass:
		return Bass(sounding, r)
	case score.TopLine:
		return Top(sounding, r)
	case score.InnerLines:
		var out []score.Note
		for _, l := range Inner(sounding, r) {
			out = append(out, l...)
		}
		slices.SortStableFunc(out, func(a, b score.Note) int { return cmp.Or(a.Onset.Compare(b.Onset), a.Pitch.Compare(b.Pitch)) })
		return out
	}
	return plainNotes(sounding, r)
}

// Relate tells how the notes of b, a place that begins at bFrom, come back from those of a. Where the rhythm of the two is
// the same and three notes in four follow one relation, that relation is given with the exceptions; where only the rhythm is
// the same, that; else they are unlike. Notes are held against each other in order of onset and, in a chord, of height.
func Relate(a, b []score.Note, aFrom, bFrom score.Time) Relation {
	r := Relation{Notes: len(b)}
	if len(a) == 0 || len(b) == 0 {
		return r
	}
	r.Rhythm = sameOnsets(a, b, aFrom, bFrom)
	if len(a) != len(b) || !r.Rhythm {
		if r.Rhythm {
			r.Likeness = SameRhythm
		}
		return r
	}
	for i := range a { // chords must have as many notes
		if a[i].Onset.Sub(aFrom) != b[i].Onset.Sub(bFrom) {
			r.Likeness = SameRhythm
			return r
		}
	}
	var exact, steps, semis tally
	for i := range a {
		d := b[i].Pitch.Sub(a[i].Pitch)
		exact.add(d)
		steps.add(pitch.Interval{Steps: d.Steps})
		semis.add(pitch.Interval{Semitones: d.Semitones})
	}
	main := exact.most(func(d pitch.Interval) int { return exact.of(d) })
	diatonic := exact.most(func(d pitch.Interval) int {
		return steps.of(pitch.Interval{Steps: d.Steps})*len(a) + exact.of(d)
	})
	except := func(ok func(pitch.Interval) bool) (out []score.Note) {
		for i := range a {
			if !ok(b[i].Pitch.Sub(a[i].Pitch)) {
				out = append(out, b[i])
			}
		}
		return out
	}
	set := func(l Likeness, i pitch.Interval, n int, ok func(pitch.Interval) bool) {
		if 4*n >= 3*len(b) && n > r.Matched {
			r.Likeness, r.Interval, r.Matched, r.Except = l, i, n, except(ok)
		}
	}
	kind := Transposed
	switch {
	case main == pitch.Unison:
		kind = Repeated
	case main.Steps%7 == 0 && main.Semitones == main.Steps/7*12:
		kind = Displaced
	}
	set(kind, main, exact.of(main), func(d pitch.Interval) bool { return d == main })
	// A diatonic one may bend each interval by a semitone, as a scale does.
	near := func(d pitch.Interval) bool {
		return d.Steps == diatonic.Steps && max(d.Semitones-diatonic.Semitones, diatonic.Semitones-d.Semitones) <= 1 && inScale(d)
	}
	n := 0
	for i := range a {
		if near(b[i].Pitch.Sub(a[i].Pitch)) {
			n++
		}
	}
	if diatonic.Steps%7 != 0 {
		set(Diatonic, diatonic, n, near)
	}
	set(BySemitone, main, semis.of(pitch.Interval{Semitones: main.Semitones}), func(d pitch.Interval) bool { return d.Semitones == main.Semitones })
	if r.Likeness == Unlike {
		r.Likeness = SameRhythm
	}
	return r
}

// inScale reports whether an interval is one of the two sizes that its number has within a scale: Eb to D# is no step of one.
func inScale(i pitch.Interval) bool {
	if i.Steps < 0 {
		i = i.Neg()
	}
	size := mod(i.Semitones, 12)
	s := scaleSizes[mod(i.Steps, 7)]
	return size == s[0] || size == s[1]
}

// A tally counts intervals, in the order in which they first come.
type tally struct {
	list  []pitch.Interval
	count []int
}

func (t *tally) add(i pitch.Interval) {
	if k := slices.Index(t.list, i); k >= 0 {
		t.count[k]++
		return
	}
	t.list, t.count = append(t.list, i), append(t.count, 1)
}

func (t *tally) of(i pitch.Interval) int {
	if k := slices.Index(t.list, i); k >= 0 {
		return t.count[k]
	}
	return 0
}

// most returns the interval with the highest score, the first of equal ones.
func (t *tally) most(score func(pitch.Interval) int) (best pitch.Interval) {
	top := -1
	for _, i := range t.list {
		if s := score(i); s > top {
			best, top = i, s
		}
	}
	return best
}

// sameOnsets reports whether two lists strike at the same moments from their starts.
func sameOnsets(a, b []score.Note, aFrom, bFrom score.Time) bool {
	x, y := onsets(a, aFrom), onsets(b, bFrom)
	return len(x) > 0 && slices.Equal(x, y)
}

// onsets returns the different onsets of notes, in order of time, counted from a moment.
func onsets(notes []score.Note, from score.Time) []score.Time {
	var out []score.Time
	for _, n := range notes {
		if t := n.Onset.Sub(from); len(out) == 0 || out[len(out)-1] != t {
			out = append(out, t)
		}
	}
	return out
}

// Words says the relation as a claim would, of a place called that: "is bar 1 moved down a step", "repeats bar 1 an octave
// higher", "has the rhythm of bar 1"; "" if they are unlike. Exceptions are not said.
func (r Relation) Words(that string) string {
	updown := func(up, down string) string {
		if r.Interval.Descends() {
			return down
		}
		return up
	}
	switch r.Likeness {
	case Repeated:
		return "repeats " + that
	case Displaced:
		n := max(r.Interval.Steps/7, -r.Interval.Steps/7)
		size := "an octave"
		if n > 1 {
			size = fmt.Sprintf("%d octaves", n)
		}
		return fmt.Sprintf("repeats %s %s %s", that, size, updown("higher", "lower"))
	case Transposed, BySemitone:
		return fmt.Sprintf("is %s moved %s %s", that, updown("up", "down"), aInterval(r.Interval))
	case Diatonic:
		return fmt.Sprintf("is %s moved %s %s", that, updown("up", "down"), aStep(r.Interval.Number()))
	case SameRhythm:
		return "has the rhythm of " + that
	}
	return ""
}

// aInterval returns an interval with its article: "a minor third", "an octave".
func aInterval(i pitch.Interval) string { return withArticle(i.Words()) }

func withArticle(s string) string {
	switch s[0] {
	case 'a', 'e', 'i', 'o': // augmented, eleventh, octave; none of the interval words begins with another vowel
		return "an " + s
	}
	return "a " + s
}

// aStep returns a number by steps of a scale with its article: "a step", "a third".
func aStep(number int) string {
	if number == 2 {
		return "a step"
	}
	return withArticle(pitch.NumberWord(number))
}
