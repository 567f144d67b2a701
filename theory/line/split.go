package line

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"plumbline/theory/score"
)

// A Split is one melody taken as two strands.
type Split struct {
	High, Low Line
	Steps     int // moves within the strands of a second or less
	Leaps     int // moves within the strands of more
	Cost      int // what SplitInTwo found least
}

// The prices of a split, in quarters of a semitone.
const (
	priceMotion = 4  // a semitone within a strand, doubled beyond a whole tone
	priceSilent = 3  // a note during which a strand is silent
	priceSwap   = 16 // the strands change places
)

// maxSilent is how many notes of the other strand a strand may let pass.
const maxSilent = 48

func semitones(a, b score.Note) int {
	d := b.Pitch.MIDI() - a.Pitch.MIDI()
	return max(d, -d)
}

// strandCost is the price of a strand's move from note i of l to note j.
func strandCost(l Line, i, j int) int {
	d := semitones(l[i], l[j])
	if d > 2 {
		d *= 2
	}
	return priceMotion*d + priceSilent*(j-i-1)
}

// swaps reports whether two strands change places in height when one of them, whose other strand stands at b, goes from a
// to c.
func swaps(a, b, c score.Note) bool {
	x, y := a.Pitch.MIDI()-b.Pitch.MIDI(), c.Pitch.MIDI()-b.Pitch.MIDI()
	return x < 0 && y > 0 || x > 0 && y < 0
}

// SplitInTwo divides a melody into two strands so that the total distance moved within them is the least, by exact search:
// each note goes to one strand; a strand moves from its last note to the new one at the cost of the semitones between, more
// than a whole tone counting double; strands that change places cost a major third; leaving a strand silent for long costs
// a little, so that both keep in play, and it may not be silent for more than 48 notes. It returns false for fewer than four
// notes or if one strand would get fewer than two. It takes time in proportion to the number of notes.
//
// The idea, a compound melody as several voices each of which moves by step, is common practice; the weights are ours.
func SplitInTwo(l Line) (Split, bool) {
	n := len(l)
	if n < 4 {
		return Split{}, false
	}
	// State: note i is the last one, in one strand, and note i-k the last of the other; k = 0 stands for an other strand that
	// has not begun. best[i][k] is the least cost, from the k before.
	const far = int(^uint(0) >> 2)
	type cell struct {
		cost int
		from int8
	}
	best := make([][maxSilent + 1]cell, n)
	for i := range best {
		for k := range best[i] {
			best[i][k] = cell{far, -1}
		}
	}
	best[0][0].cost = 0
	for i := 0; i+1 < n; i++ {
		for k := range best[i] {
			b := best[i][k].cost
			if b == far {
				continue
			}
			// The same strand goes on.
			c, to := b+strandCost(l, i, i+1), k+1
			if k == 0 {
				to = 0
			} else if swaps(l[i], l[i-k], l[i+1]) {
				c += priceSwap
			}
			if to <= maxSilent && c < best[i+1][to].cost {
				best[i+1][to] = cell{c, int8(k)}
			}
			// The other strand takes the note.
			c = b
			if k > 0 {
				c += strandCost(l, i-k, i+1)
				if swaps(l[i-k], l[i], l[i+1]) {
					c += priceSwap
				}
			} else {
				c += priceSilent * i // begun late, it was silent till now
			}
			if c < best[i+1][1].cost || c == best[i+1][1].cost && k > 0 && best[i+1][1].from == 0 {
				best[i+1][1] = cell{c, int8(k)}
			}
		}
	}
	k, least := -1, far
	for j := 1; j <= maxSilent; j++ { // both strands must have begun
		if c := best[n-1][j].cost; c < far && c+priceSilent*(j-1) < least {
			k, least = j, c+priceSilent*(j-1)
		}
	}
	if k < 0 {
		return Split{}, false
	}
	strand := make([]int8, n)
	for i, cur := n-1, int8(0); i > 0; i-- {
		strand[i] = cur
		from := int(best[i][k].from)
		if k == 1 { // the note before is the last of the other strand
			cur = 1 - cur
		}
		k = from
		strand[i-1] = cur
	}
	var a, b Line
	for i, s := range strand {
		if s == 0 {
			a = append(a, l[i])
		} else {
			b = append(b, l[i])
		}
	}
	if len(a) < 2 || len(b) < 2 {
		return Split{}, false
	}
	if a.height()*len(b) < b.height()*len(a) {
		a, b = b, a
	}
	sp := Split{High: a, Low: b, Cost: least}
	for _, s := range []Line{a, b} {
		for _, m := range s.Moves() {
			if d := m.Interval.Semitones; d >= -2 && d <= 2 {
				sp.Steps++
			} else {
				sp.Leaps++
			}
		}
	}
	return sp, true
}

// height returns the sum of the MIDI numbers of l.
func (l Line) height() (s int) {
	for _, n := range l {
		s += n.Pitch.MIDI()
	}
	return s
}

// A Compound is the answer to the question whether a melody is two lines in one.
type Compound struct {
	Split
	Two       bool
	Certainty float64 // that it is as said, in [0, 1]
	Why       string  // what decided, in words
}

// compoundNotes is how many notes a melody has at least that can be told to be two lines.
const compoundNotes = 8

// shuffles is how many rearrangements a split is held against.
const shuffles = 99

// TwoLines tells whether l is two lines in one. It is if the best split (see [SplitInTwo]) leads both strands by step, all
// but one move in six, if the melody itself mostly leaps, changes strand at least at every third note, starves neither
// strand of a quarter of the notes nor of a third of the time, and keeps the strands apart; if it is no line in broken octaves; and if at most one in three rearrangements of the same
// notes splits as well. The certainty of "two lines" is the part of the rearrangements that split worse, taken down by the
// moves that are no steps; that of "one line" grows with what is missing. For fewer than eight notes the answer is one line.
//
// Rearranging the material to see what chance would do is a permutation test (E. Pitman 1937, of statistics); the limits
// are ours. The rearrangements are drawn from a fixed seed, so that the answer is always the same.
func TwoLines(l Line) Compound {
	one := func(certainty float64, format string, args ...any) Compound {
		return Compound{Certainty: certainty, Why: fmt.Sprintf(format, args...)}
	}
	moves := l.Moves()
	if len(moves)+1 < compoundNotes {
		return one(0.5, "%d notes are too few for two lines", len(moves)+1)
	}
	leaps := LeapsOf(l)
	if 2*leaps < len(moves) {
		return one(1-float64(leaps)/float64(len(moves)), "only %d of %d moves leap", leaps, len(moves))
	}
	sp, ok := SplitInTwo(l)
	if !ok {
		return one(0.7, "no second line gets more than one note")
	}
	c := Compound{Split: sp}
	no := func(certainty float64, format string, args ...any) Compound {
		c.Certainty, c.Why = certainty, fmt.Sprintf(format, args...)
		return c
	}
	all := sp.Steps + sp.Leaps
	switch few := min(len(sp.High), len(sp.Low)); {
	case 4*few < len(l):
		return no(0.8, "the second line would have %d of %d notes", few, len(l))
	case all < 3:
		return no(0.7, "the two lines would hardly move")
	case 6*sp.Leaps > all:
		return no(0.6+0.4*float64(sp.Leaps)/float64(all), "at best %d of %d moves within two lines leap", sp.Leaps, all)
	}
	if octaves := brokenOctaves(l); 4*octaves >= 3*min(len(sp.High), len(sp.Low)) {
		return no(0.9, "%d times it leaps an octave: one line in broken octaves", octaves)
	}
	high := map[score.Note]bool{}
	for _, n := range sp.High {
		high[n] = true
	}
	changes := 0
	for i := 1; i < len(l); i++ {
		if high[l[i]] != high[l[i-1]] {
			changes++
		}
	}
	if 3*changes < len(l) {
		return no(0.7, "it changes between the lines only %d times: one line after the other", changes)
	}
	for _, s := range []Line{sp.High, sp.Low} {
		if reach := s[len(s)-1].Onset.Sub(s[0].Onset); reach.Mul(3, 2).Less(l[len(l)-1].Onset.Sub(l[0].Onset)) {
			return no(0.7, "one of the two lines would sound in a part of it only")
		}
	}
	low, _ := sp.High.span()
	_, top := sp.Low.span()
	if gap := sp.High.height()*len(sp.Low) - sp.Low.height()*len(sp.High); gap < 4*len(sp.High)*len(sp.Low) {
		return no(0.6, "the two lines would lie in the same register")
	}
	if top.Compare(low) > 0 && priceSwap*swapsOf(l, high) > 2*priceSwap {
		return no(0.6, "the two lines would cross again and again")
	}
	rng := rand.New(rand.NewPCG(0x706c756d62, uint64(len(l))))
	perm := append(Line{}, l...)
	better := 0
	for range shuffles {
		rng.Shuffle(len(perm), func(i, j int) { perm[i].Pitch, perm[j].Pitch = perm[j].Pitch, perm[i].Pitch })
		if s, ok := SplitInTwo(perm); ok && s.Cost <= sp.Cost {
			better++
		}
	}
	c.Certainty = float64(shuffles-better) / float64(shuffles+1) * (1 - float64(sp.Leaps)/float64(2*all))
	if better > shuffles/3 {
		return no(0.5+float64(better)/float64(2*shuffles), "the same notes in another order split as well %d times in %d", better, shuffles)
	}
	c.Two = true
	c.Why = fmt.Sprintf("upper line %s, lower line %s", strandText(sp.High), strandText(sp.Low))
	return c
}

// brokenOctaves counts the pairs of neighbouring notes an octave apart; no note is in two of them.
func brokenOctaves(l Line) (n int) {
	for i := 1; i < len(l); i++ {
		if d := semitones(l[i-1], l[i]); d > 0 && d%12 == 0 {
			n++
			i++
		}
	}
	return n
}

func swapsOf(l Line, high map[score.Note]bool) (n int) {
	var last [2]*score.Note
	for i := range l {
		me := 0
		if high[l[i]] {
			me = 1
		}
		if last[0] != nil && last[1] != nil && swaps(*last[me], *last[1-me], l[i]) {
			n++
		}
		last[me] = &l[i]
	}
	return n
}

// strandText says a strand and how much of it moves by semitone: "E5–D#5–D5 (both moves by semitone)".
func strandText(l Line) string {
	moves := l.Moves()
	semi := 0
	for _, m := range moves {
		if d := m.Interval.Semitones; d == 1 || d == -1 {
			semi++
		}
	}
	text := l.String()
	switch {
	case len(moves) == 0:
		text += " (stays)"
	case semi == len(moves):
		text += " (all by semitone)"
	case semi > 0:
		text += fmt.Sprintf(" (%d of %d moves by semitone)", semi, len(moves))
	}
	return text
}

// String says the answer: "two lines: upper line …", "one line: only 2 of 9 moves leap".
func (c Compound) String() string {
	var b strings.Builder
	if c.Two {
		b.WriteString("two lines: ")
	} else {
		b.WriteString("one line: ")
	}
	b.WriteString(c.Why)
	return b.String()
}
