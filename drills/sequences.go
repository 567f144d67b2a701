package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A bassPattern is a pattern of bass moves, as chord.ParsePattern reads it.
type bassPattern struct {
	label  string
	spec   string // "down a third"
	degree int    // of the key, on which the bass begins
	chords string // "triads in first inversion"
	drift  int    // how far, in semitones, the middle of six notes lies above the first, about
	next   string // the move after the fifth note
	whole  bool   // outside a key
}

// Labels of patterns.
const (
	circle       = "circle of fifths"
	stepDown     = "down by step"
	stepUp       = "up by step"
	fallThirds   = "falling thirds"
	fourthStep   = "down a fourth, up a step"
	fourthThird  = "up a fourth, down a third"
	semitoneDown = "down by semitone"
)

// Labels of moves.
const (
	moveStepUp     = "up a step"
	moveStepDown   = "down a step"
	moveThirdUp    = "up a third"
	moveThirdDown  = "down a third"
	moveFourthUp   = "up a fourth or down a fifth"
	moveFourthDown = "down a fourth or up a fifth"
)

// bassPatterns are the commonest sequences of the handbooks (R. Hutchinson, chapter 18 "Sequences", and Open Music Theory,
// "Diatonic sequences", from memory).
var bassPatterns = []bassPattern{
	{circle, "circle of fifths", 1, "triads", 0, moveFourthUp, false},
	{circle, "circle of fifths", 1, "sevenths", 0, moveFourthUp, false},
	{stepDown, "bass down by step", 3, "triads in first inversion", -4, moveStepDown, false},
	{stepDown, "bass down by step", 1, "triads", -4, moveStepDown, false},
	{stepUp, "bass up by step", 3, "triads in first inversion", 4, moveStepUp, false},
	{fallThirds, "bass down a third", 1, "triads", -9, moveThirdDown, false},
	{fourthStep, "bass down a fourth then up a second", 1, "triads", -5, moveFourthDown, false},
	{fourthThird, "bass up a fourth then down a third", 1, "triads", 4, moveFourthUp, false},
	{semitoneDown, "bass down by semitone", 1, "dominant sevenths", -3, "", true},
	// Only for what comes next: the same patterns from their second move, and two more.
	{"", "bass up a second then down a fourth", 5, "triads", -3, moveStepUp, false},
	{"", "bass down a third then up a fourth", 1, "triads", 1, moveThirdDown, false},
	{"", "bass up a third then down a second", 1, "triads", 4, moveThirdUp, false},
	{"", "bass down a second then up a third", 3, "triads in first inversion", 2, moveStepDown, false},
	{"", "bass up a fifth then down a fourth", 1, "triads", 6, moveFourthDown, false},
}

var sequenceRows = []row{
	{circle, []string{"fifths", "falling fifths", "descending fifths", "circle of fifths sequence", "circle"}}, {stepDown, []string{"step down", "stepwise down", "falling by step", "fauxbourdon"}},
	{stepUp, []string{"step up", "stepwise up", "rising by step"}}, {fallThirds, []string{"thirds", "down by thirds", "down by third", "thirds down", "descending thirds"}},
	{fourthStep, []string{"fourth down step up", "fourth down second up", "down a fourth up a second"}}, {fourthThird, []string{"fourth up third down", "up fourth down third"}},
	{semitoneDown, []string{"chromatic", "chromatically down", "chromatic descent", "semitones down", "lament"}},
}

var nextRows = []row{
	{moveStepUp, []string{"step up", "up a second", "up second", "up step"}}, {moveStepDown, []string{"step down", "down a second", "down second", "down step"}},
	{moveThirdUp, []string{"third up", "up third"}}, {moveThirdDown, []string{"third down", "down third"}},
	{moveFourthUp, []string{"fourth up", "up a fourth", "up fourth", "down a fifth", "down fifth", "fifth down"}}, {moveFourthDown, []string{"fourth down", "down a fourth", "down fourth", "up a fifth", "up fifth", "fifth up"}},
}

const sequenceChords = 6

// sequenceIn realizes a pattern, its bass in the middle of six notes near a MIDI number. ok is false if it can't be played
// there.
func sequenceIn(r *rand.Rand, p bassPattern, middle int, minor bool) (s chord.Sequence, in string, ok bool) {
	mode := map[bool]string{false: "major", true: "minor"}[minor]
	steps := [...]int{0, 2, 4, 5, 7, 9, 11}
	if minor {
		steps = [...]int{0, 2, 3, 5, 7, 8, 10}
	}
	start := middle - p.drift
	tonic := tonicFor(r, start-steps[p.degree-1], minor)
	first := tonic
	if p.degree != 1 {
		iv := map[int]pitch.Interval{3: pitch.MajorThird, 5: pitch.PerfectFifth}[p.degree]
		if minor && p.degree == 3 {
			iv = pitch.MinorThird
		}
		first = tonic.Add(iv)
	}
	spec := fmt.Sprintf("%s from %s, %s, %d chords", p.spec, at(first, start), p.chords, sequenceChords)
	if !p.whole {
		in = fmt.Sprintf(" in %s %s", tonic, mode)
		spec += "," + in
	}
	if known, ok := realized.Load(spec); ok {
		r := known.(sequenceOrNot)
		return r.s, in, r.ok
	}
	pat, err := chord.ParsePattern(spec)
	if err == nil {
		s, err = chord.RealizePattern(pat)
	}
	realized.Store(spec, sequenceOrNot{s, err == nil})
	return s, in, err == nil
}

// realized keeps sequences that were realized, by their specification: there are some hundred, and each takes milliseconds.
var realized sync.Map

type sequenceOrNot struct {
	s  chord.Sequence
	ok bool
}

// sequenceMusic sounds n chords of a sequence, one each beat.
func sequenceMusic(s chord.Sequence, n int) []Note {
	var out []Note
	for i, v := range s.Chords[:n] {
		length := 1
		if i == n-1 {
			length = 2
		}
		out = append(out, chordNotes(score.Quarters(i), score.Quarters(length), v.Left, v.Right)...)
	}
	return out
}

const sequenceTempo = 72

// sequencePlan fills questions from the patterns that wanted chooses, sounding n chords.
func sequencePlan(s Settings, n int, wanted func(p bassPattern, label string) bool) filler {
	return func(r *rand.Rand, q *Question) {
		middle := q.draw(r, 41, 54)
		minor := s.Level > 1 && r.IntN(3) == 0
		if q.like != nil { // another sequence near the same bass
			middle, minor = q.like.lowest, q.like.minor
		}
		q.like = &likeness{lowest: middle, minor: minor}
		var ps []bassPattern
		for _, p := range bassPatterns {
			if wanted(p, q.Expected) {
				ps = append(ps, p)
			}
		}
		r.Shuffle(len(ps), func(i, j int) { ps[i], ps[j] = ps[j], ps[i] })
		for _, by := range []int{0, 2, -2, 4} { // a pattern that leaves the reach of a hand is tried a little higher or lower
			for _, p := range ps {
				sq, in, ok := sequenceIn(r, p, middle+by, minor)
				if !ok {
					continue
				}
				q.Music, q.Tempo = sequenceMusic(sq, n), sequenceTempo
				if n < sequenceChords {
					q.told = sequenceMusic(sq, sequenceChords)
				}
				var symbols, bass []string
				for _, v := range sq.Chords {
					symbols = append(symbols, v.Text)
					bass = append(bass, v.All()[0].String())
				}
				q.about = fmt.Sprintf("%s%s, over the bass %s", strings.Join(symbols, " "), in, strings.Join(bass, " "))
				return
			}
		}
	}
}

var sequenceCraft = &named{
	asks: "Which pattern does the bass follow?", rows: sequenceRows, low: "E1", high: "C6",
	steps: []Level{
		step(1, "fifths, steps or thirds", circle, stepDown, fallThirds),
		step(2, "five patterns, major and minor", circle, stepDown, stepUp, fallThirds, fourthStep),
		step(3, "seven patterns", all(sequenceRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		return sequencePlan(s, sequenceChords, func(p bassPattern, label string) bool { return p.label == label }), nil
	},
}

// nextCraft breaks a sequence off after five chords, two turns of its pattern, and asks where its bass goes on to.
var nextCraft = &named{
	asks: "The sequence breaks off. Where does its bass go next?", rows: nextRows, low: "E1", high: "C6",
	steps: []Level{
		step(1, "steps or fifths", moveStepDown, moveStepUp, moveFourthUp),
		step(2, "with thirds, major and minor", moveStepDown, moveStepUp, moveThirdDown, moveFourthUp, moveFourthDown),
		step(3, "six moves", all(nextRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		return sequencePlan(s, sequenceChords-1, func(p bassPattern, label string) bool { return p.next == label }), nil
	},
	apart: func(label string, q Question) []Part {
		ww, wf, _ := strings.Cut(q.Expected, " a ")
		gw, gf, _ := strings.Cut(label, " a ")
		return []Part{judged("direction", ww, gw), judged("distance", strings.Fields(wf)[0], strings.Fields(gf)[0])}
	},
}

const (
	sameThroughout = "the same throughout"
	every2         = "every 2 chords"
	every3         = "every 3 chords"
	every4         = "every 4 chords"
)

var cycleRows = []row{
	{sameThroughout, []string{"same", "1", "every chord", "every 1 chord", "period 1", "constant", "parallel"}}, {every2, []string{"2", "two", "period 2", "every two chords", "2 chords"}},
	{every3, []string{"3", "three", "period 3", "every three chords", "3 chords"}}, {every4, []string{"4", "four", "period 4", "every four chords", "4 chords"}},
}

// cycleBass holds, for a label and a move of the top, the moves of the bass that give the outer intervals its period: with
// each chord the interval grows by their difference, so that the period is 12 / gcd(12, difference). Up is positive, in
// semitones, octaves aside.
var cycleBass = map[string]map[int][]int{
	sameThroughout: {1: {1}, -1: {-1}, 2: {2}, -2: {-2}},
	every2:         {1: {7}, -1: {5}, 2: {-4}, -2: {4}},
	every3:         {1: {5, -3}, -1: {-5, 3}, 2: {-2}, -2: {2}},
	every4:         {1: {-2, 4}, -1: {2, -4}, 2: {5, -1}, -2: {-5, 1}},
}

const cycleChords = 8

// cycleTypes are the chords over a bass, by how far the top lies above it in semitones, octaves aside.
var cycleTypes = [12]struct {
	id   string
	bass int // index of the member in the bass
}{{id: "dom7"}, {id: "7b9"}, {id: "9"}, {id: "min7"}, {id: "dom7"}, {id: "7sus4"}, {id: "hdim7"}, {id: "dom7"}, {"dom7", 1}, {id: "6"}, {id: "dom7"}, {id: "maj7"}}

// cycleCraft sounds eight chords whose outer intervals come back with a period.
var cycleCraft = &named{
	asks: "After how many chords do the outer intervals come back?", rows: cycleRows, low: "E2", high: "C6",
	steps: []Level{
		step(1, "two or three", every2, every3), step(2, "two, three or four", every2, every3, every4), step(3, "or not at all", all(cycleRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		return filler(func(r *rand.Rand, q *Question) {
			top := pick(r, []int{1, -1, 2, -2})
			low := q.draw(r, 40, 51)
			middle := 72 + r.IntN(5)
			b := pick(r, cycleBass[q.Expected][top])
			x := middle - top*(cycleChords-1)/2
			var intervals []string
			var inner []int
			for i := range cycleChords {
				bass := 40 + ((low+i*b-40)%12+12)%12
				high := x + i*top
				over := cycleTypes[((high-bass)%12+12)%12]
				t, ok := chord.TypeByID(over.id)
				if !ok {
					return // TestKinds sees to it that all are there
				}
				low := bass - t.Intervals[over.bass].Semitones // the root, an octave or none below
				root := plainly(r, (low+12)%12, t.Intervals)
				inner = innerNotes(t, low, bass, high, inner)
				var ns []pitch.Pitch
				for _, n := range append(append([]int{bass}, inner...), high) {
					k := slices.IndexFunc(t.Intervals, func(iv pitch.Interval) bool { return (iv.Semitones-(n-low))%12 == 0 })
					ns = append(ns, at(root.Add(t.Intervals[k]), n))
				}
				q.Music = append(q.Music, chordNotes(score.Quarters(i), score.Quarters(1), ns[:1:1], ns[1:])...)
				iv := ns[len(ns)-1].Sub(ns[0]).Simple()
				if iv == pitch.Unison {
					iv = pitch.Octave
				}
				intervals = append(intervals, iv.String())
			}
			q.Tempo = 66
			q.about = fmt.Sprintf("%s, while the bass moves by %s and the top by %s", strings.Join(intervals, " "), keysWord(b), keysWord(top))
		}), nil
	},
}

// keysWord says a move in semitones.
func keysWord(n int) string {
	way := " up"
	if n < 0 {
		n, way = -n, " down"
	}
	return [...]string{"", "a semitone", "a whole tone", "a minor third", "a major third", "a fourth", "a tritone", "a fifth"}[n] + way
}

// innerNotes chooses two notes of a chord between its outer ones: what tells it from others, its third (or the fourth for it)
// and its seventh, sixth or fifth, as near to the inner notes before as can be.
func innerNotes(t chord.Type, root, bass, high int, before []int) []int {
	var free []int
	for n := max(bass+3, 52); n < high-1; n++ {
		i := slices.IndexFunc(t.Intervals, func(iv pitch.Interval) bool { return (iv.Semitones-(n-root))%12 == 0 })
		if (i > 0 || i == 0 && root != bass) && t.Intervals[i].Semitones < 12 {
			free = append(free, n)
		}
	}
	var best []int
	least := 1 << 30
	for i, a := range free {
		for _, b := range free[i+1:] {
			cost := 0
			if (a-b)%12 == 0 {
				cost += 50
			}
			if (a-high)%12 == 0 || (b-high)%12 == 0 {
				cost += 8
			}
			third := func(n int) bool { d := (n - root) % 12; return d == 3 || d == 4 || d == 5 }
			if !third(a) && !third(b) && !third(high) && root == bass {
				cost += 12
			}
			if before != nil {
				cost += max(a-before[0], before[0]-a) + max(b-before[1], before[1]-b)
			} else {
				cost += max(a-60, 60-a) + max(b-65, 65-b)
			}
			if cost < least {
				least, best = cost, []int{a, b}
			}
		}
	}
	return best
}
