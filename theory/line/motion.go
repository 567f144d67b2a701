package line

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Stretch is a part of a line that goes one way.
type Stretch struct {
	Line
	Direction int // 1 rises, -1 falls
}

// Contour returns the stretches of a line that go one way, each from a turning point to the next, which both have it.
// Repeated notes belong to the stretch they stand in; a line that doesn't move has none.
func Contour(l Line) []Stretch {
	var out []Stretch
	for i := 1; i < len(l); i++ {
		if l[i].Pitch == l[i-1].Pitch {
			if k := len(out) - 1; k >= 0 {
				out[k].Line = append(out[k].Line, l[i])
			}
			continue
		}
		d := l[i].Pitch.Sub(l[i-1].Pitch)
		dir := 1
		if d.Semitones < 0 || d.Semitones == 0 && d.Steps < 0 {
			dir = -1
		}
		if k := len(out) - 1; k >= 0 && out[k].Direction == dir {
			out[k].Line = append(out[k].Line, l[i])
			continue
		}
		out = append(out, Stretch{Line{l[i-1], l[i]}, dir})
	}
	return out
}

// TurningPoints returns the notes at which a line turns.
func TurningPoints(l Line) []score.Note {
	c := Contour(l)
	var out []score.Note
	for i := 1; i < len(c); i++ {
		out = append(out, c[i].Line[0])
	}
	return out
}

// Span returns the lowest and the highest pitch of l; zero values if it is empty.
func (l Line) Span() (low, high pitch.Pitch) { return l.span() }

// Mostly returns the motion that all but a few moves of l fit, one in six at most, with those that don't; ok is false if no
// motion does, or l moves less than four times. Where a motion fits wholly it is the one of [Best].
func Mostly(l Line) (m Motion, except []Move, ok bool) {
	if m, ok := Best(l); ok {
		j := Judge(l, m)
		if len(j.Altered)*3 <= len(j.Moves) {
			return m, nil, true
		}
	}
	least := -1
	for _, c := range []Motion{Chromatic, ByWholeTones, ByStep, CircleOfFifths, InFourths, InFifths, InThirds} {
		j := Judge(l, c)
		n := len(j.Misfits) + len(j.BySound)
		if len(j.Moves) < 4 || 6*n > len(j.Moves) || least >= 0 && n >= least {
			continue
		}
		m, least = c, n
		except = append(slices.Clone(j.Misfits), j.BySound...)
	}
	slices.SortStableFunc(except, func(a, b Move) int { return a.To.Onset.Compare(b.To.Onset) })
	return m, except, least >= 0
}

// ContourWords says how a line moves: "falls by step, then turns back up", "rises chromatically", "moves in fourths but for
// one tritone, bar 3 beat 2". where says a moment in words and may be nil. A line with more than three turns is told by its
// motion and span.
func ContourWords(l Line, where func(score.Time) string) string {
	moves := l.Moves()
	if len(l) == 0 {
		return "silent"
	}
	if len(moves) == 0 {
		return "stays on " + l[0].Pitch.String()
	}
	c := Contour(l)
	m, except, fits := Mostly(l)
	if fits && m == CircleOfFifths && len(c) == 1 { // all the way up or down it is heard as its interval
		for _, o := range []Motion{InFourths, InFifths} {
			if len(Judge(l, o).Misfits) == 0 {
				m = o
			}
		}
	}
	if len(moves) == 1 { // one move is its interval
		return verb(c[0].Direction) + " " + aInterval(moves[0].Interval)
	}
	var altered []Move
	if fits {
		if j := Judge(l, m); m == InFourths || m == InFifths || m == CircleOfFifths || m == InThirds {
			altered = j.Altered
		}
	}
	tail := exceptions(append(slices.Clone(except), altered...), where)
	manner := ""
	if fits {
		manner = " " + m.String()
	}
	switch {
	case m == CircleOfFifths && fits:
		return "moves by the circle of fifths" + tail
	case len(c) == 1:
		return verb(c[0].Direction) + manner + tail
	case len(c) == 2:
		return fmt.Sprintf("%s%s, then turns back %s%s", verb(c[0].Direction), part(c[0].Line, manner), updown(c[1].Direction), part2(c[0].Line, c[1].Line, manner)) + tail
	case len(c) <= 4:
		s := verb(c[0].Direction) + part(c[0].Line, manner)
		for _, x := range c[1:] {
			s += ", " + verb(x.Direction)
		}
		return s + " to " + l[len(l)-1].Pitch.String() + tail
	}
	low, high := l.span()
	if fits {
		return fmt.Sprintf("moves%s between %s and %s%s", manner, low, high, tail)
	}
	steps := len(moves) - LeapsOf(l)
	drift := ""
	if d := l[len(l)-1].Pitch.Sub(l[0].Pitch); d.Number() > 5 {
		drift = fmt.Sprintf(", in all %s %s", map[bool]string{true: "down", false: "up"}[d.Descends()], aInterval(d))
	}
	return fmt.Sprintf("moves between %s and %s, %d of %d moves by step%s", low, high, steps, len(moves), drift)
}

// part names the manner of one stretch: that of the whole line or its own.
func part(l Line, manner string) string {
	if manner != "" {
		return manner
	}
	if m, ok := Best(l); ok {
		return " " + m.String()
	}
	if mv := l.Moves(); len(mv) == 1 {
		return " " + aInterval(mv[0].Interval)
	}
	return ""
}

// part2 names the manner of a second stretch if it is another than the first one's.
func part2(first, l Line, manner string) string {
	if manner != "" {
		return ""
	}
	if a, b := part(first, ""), part(l, ""); a != b {
		return b
	}
	return ""
}

func verb(direction int) string {
	if direction < 0 {
		return "falls"
	}
	return "rises"
}

func updown(direction int) string {
	if direction < 0 {
		return "down"
	}
	return "up"
}

// exceptions says the moves that don't fit: " but for one tritone, bar 3 beat 2".
func exceptions(ms []Move, where func(score.Time) string) string {
	if len(ms) == 0 {
		return ""
	}
	var s []string
	for i, m := range ms {
		if i == 2 && len(ms) > 3 {
			s = append(s, fmt.Sprintf("%d more", len(ms)-2))
			break
		}
		name := m.Interval.Words()
		if d := m.Interval.Simple().Semitones; d == 6 {
			name = "tritone"
		}
		text := "one " + name
		if where != nil {
			text += ", " + where(m.To.Onset)
		}
		s = append(s, text)
	}
	return " but for " + strings.Join(s, " and ")
}

// A Pair is how two voices move from one moment to the next.
type Pair int8

// The motions of two voices.
const (
	Still    Pair = iota // neither moves
	Oblique              // one moves
	Parallel             // both in one direction, the interval keeping its number
	Similar              // both in one direction
	Contrary             // apart or together
)

var pairNames = [...]string{"still", "oblique", "parallel", "similar", "contrary"}

// String returns the motion in a word, or %!Pair(n) out of range.
func (p Pair) String() string {
	if p < Still || int(p) >= len(pairNames) {
		return fmt.Sprintf("%%!Pair(%d)", int(p))
	}
	return pairNames[p]
}

// PairOf tells how two voices move from one outer interval to the next.
func PairOf(a, b Outer) Pair {
	low, high := direction(a.Low.Pitch, b.Low.Pitch), direction(a.High.Pitch, b.High.Pitch)
	switch {
	case low == 0 && high == 0:
		return Still
	case low == 0 || high == 0:
		return Oblique
	case low != high:
		return Contrary
	case a.Interval.Steps == b.Interval.Steps:
		return Parallel
	}
	return Similar
}

func direction(a, b pitch.Pitch) int { return b.Compare(a) }

// OuterMotion counts how bass and top line move together through a region, by [Pair], still moments left out, and returns the
// motion that at least three moves in four have; ok is false if none has or there are less than four moves.
func OuterMotion(outers []Outer) (count [5]int, main Pair, ok bool) {
	all := 0
	for i := 1; i < len(outers); i++ {
		p := PairOf(outers[i-1], outers[i])
		count[p]++
		if p != Still {
			all++
		}
	}
	for p := Oblique; p <= Contrary; p++ {
		if all >= 4 && 4*count[p] >= 3*all {
			return count, p, true
		}
	}
	return count, Still, false
}

// A Consecutive is two voices that move in parallel fifths or octaves.
type Consecutive struct {
	From, To [2]score.Note // lower and upper voice
	Number   int           // 5 or 8
}

// ParallelPerfects returns the parallel fifths and octaves between bass and top line: both move in one direction from one
// perfect fifth, octave or unison, octaves aside, to another of the same number, and each stays in its hand: where a hand falls
// silent, what is left is another voice. Doubling in octaves, in one hand or through a whole stretch, is no fault and is told as
// such by its hands and its length; the caller judges. Both notes must be struck anew together, and no rest may lie between.
func ParallelPerfects(outers []Outer) []Consecutive {
	var out []Consecutive
	for i := 1; i < len(outers); i++ {
		a, b := outers[i-1], outers[i]
		if c, ok := consecutive([2]score.Note{a.Low, a.High}, [2]score.Note{b.Low, b.High}); ok {
			out = append(out, c)
		}
	}
	return out
}

func consecutive(a, b [2]score.Note) (Consecutive, bool) {
	x, y := a[1].Pitch.Sub(a[0].Pitch).Simple(), b[1].Pitch.Sub(b[0].Pitch).Simple()
	if x != y || x != pitch.PerfectFifth && x != pitch.Unison {
		return Consecutive{}, false
	}
	low, high := direction(a[0].Pitch, b[0].Pitch), direction(a[1].Pitch, b[1].Pitch)
	if low == 0 || low != high || a[0].Hand != b[0].Hand || a[1].Hand != b[1].Hand {
		return Consecutive{}, false
	}
	for i := range a {
		if b[i].Onset != b[0].Onset || score.Quarters(1).Less(b[i].Onset.Sub(a[i].End())) || a[i].Duration.Less(b[i].Onset.Sub(a[i].End())) {
			return Consecutive{}, false // one is held, or a rest lies between
		}
	}
	n := 5
	if x == pitch.Unison {
		n = 8
	}
	return Consecutive{a, b, n}, true
}

// AllParallelPerfects returns the parallel fifths and octaves between any two voices, as [Voices] has them, where both are
// struck together twice running.
func AllParallelPerfects(sounding []score.Note, r score.Region) []Consecutive {
	var lines []Line
	for _, v := range Voices(sounding, r) {
		lines = append(lines, v.Line())
	}
	var out []Consecutive
	for i := range lines {
		for j := i + 1; j < len(lines); j++ {
			a, b := lines[j], lines[i] // the later voice is the lower one
			x, y := 0, 0
			var last *[2]score.Note
			for x < len(a) && y < len(b) {
				switch c := a[x].Onset.Compare(b[y].Onset); {
				case c == 0:
					now := [2]score.Note{a[x], b[y]}
					if now[0].Pitch.Compare(now[1].Pitch) > 0 {
						now[0], now[1] = now[1], now[0]
					}
					if last != nil {
						if q, ok := consecutive(*last, now); ok {
							out = append(out, q)
						}
					}
					last = &now
					x, y = x+1, y+1
				case c < 0:
					last, x = nil, x+1
				default:
					last, y = nil, y+1
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Consecutive) int { return a.From[0].Onset.Compare(b.From[0].Onset) })
	return out
}
