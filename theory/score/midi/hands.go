package midi

import (
	"slices"
	"strings"

	"plumbline/theory/score"
)

// handNamed returns the hand that the name of a track says, or 0.
func handNamed(name string) score.Hand {
	words := strings.FieldsFunc(strings.ToLower(strings.ReplaceAll(name, ".", "")), func(r rune) bool {
		return !(r >= 'a' && r <= 'z')
	})
	var h score.Hand
	for _, w := range words {
		g := map[string]score.Hand{"right": score.Right, "upper": score.Right, "treble": score.Right, "rh": score.Right,
			"left": score.Left, "lower": score.Left, "bass": score.Left, "lh": score.Left}[w]
		if g != 0 && h != 0 && g != h {
			return 0 // "right and left"
		}
		if g != 0 {
			h = g
		}
	}
	return h
}

// hands gives each note that has none yet its hand, by the rule of the package comment.
func (b *builder) hands() {
	var count, sum [1 << 13]int // by stream: there are no more than MaxTracks
	var streams []int32
	unnamed := 0
	for _, n := range b.notes {
		if count[n.stream] == 0 {
			streams = append(streams, n.stream)
		}
		count[n.stream]++
		sum[n.stream] += int(n.key)
		if n.hand == 0 {
			unnamed++
		}
	}
	switch {
	case unnamed == 0:
	case unnamed == len(b.notes) && len(streams) == 2:
		high, low := min(streams[0], streams[1]), max(streams[0], streams[1]) // as staves stand, the upper one first
		if sum[low]*count[high] > sum[high]*count[low] {
			high, low = low, high
		}
		for i := range b.notes {
			b.notes[i].hand = score.Left
			if b.notes[i].stream == high {
				b.notes[i].hand = score.Right
			}
		}
		b.f.warnings.addf("no track is named for a hand: the higher of two is taken for the right hand")
	default:
		b.divide()
		b.f.warnings.addf("the hands aren't told apart in the file: notes are divided between them by pitch and reach")
	}
}

// What a hand reaches, in semitones, with ease and at all.
const octave, tenth = 12, 16

// The costs of dividing. They were tuned by random search on one set of the annotated corpus (see the test TestHands), where
// 90 notes of 100 then go to the hand of their staff; on the other one 93 do.
const (
	costStretch = 120  // for each semitone of a hand beyond an octave
	costReach   = 250  // and for each beyond a tenth
	costFinger  = 2000 // for each note of a hand beyond five
	costEmpty   = 60   // for a hand without notes while the other has two or more
	costMiddle  = 1    // for each semitone between the point and middle
	costMove    = 20   // for each semitone that the point moves
	costHeld    = 120  // for each note that still sounds and that it moves past
	costRecent  = 25   // for each key struck in the last quarter notes that it moves past
	middle      = 65   // F4
	recent      = 5    // quarter notes
)

// divide gives a hand to each note that has none yet. At each onset the notes from a point on, between C2 and C6, go to the right
// hand, those below to the left. The points are the cheapest sequence (Viterbi) under the costs above. Notes that still
// sound take part.
func (b *builder) divide() {
	const lowest, points = 36, 49 // the point lies between C2 and C6
	type group struct{ from, to int }
	var groups []group
	for i, n := range b.notes {
		if n.hand != 0 {
			continue
		}
		if len(groups) == 0 || b.notes[groups[len(groups)-1].from].on != n.on {
			groups = append(groups, group{i, i + 1})
		}
		groups[len(groups)-1].to = i + 1
	}
	back := make([][points]uint8, len(groups))
	var cost, next [points]int32
	var struck [128]int64 // when each key was struck last, plus 1
	var keys []int
	var held []int // notes that may still sound, with no hand yet
	for k, g := range groups {
		on := b.notes[g.from].on
		live := held[:0]
		for _, i := range held {
			if b.notes[i].off > on {
				live = append(live, i)
			}
		}
		held = live
		if k > 0 { // how the point comes here: a distance transform, up and down
			var step [points]int32 // what it costs to pass from p to p+1: key lowest+p changes hands
			for p := range step {
				step[p] = costMove
				if at := struck[p+lowest]; at > on-recent*b.per && at > 0 {
					step[p] += costRecent
				}
			}
			for _, i := range held {
				if p := int(b.notes[i].key) - lowest; p >= 0 && p < points {
					step[p] += costHeld
				}
			}
			for p := range next {
				next[p], back[k][p] = cost[p], uint8(p)
			}
			for p := 1; p < points; p++ {
				if v := next[p-1] + step[p-1]; v < next[p] {
					next[p], back[k][p] = v, back[k][p-1]
				}
			}
			for p := points - 2; p >= 0; p-- {
				if v := next[p+1] + step[p]; v < next[p] {
					next[p], back[k][p] = v, back[k][p+1]
				}
			}
			cost = next
		}
		for i := g.from; i < g.to; i++ {
			if b.notes[i].hand == 0 {
				held = append(held, i)
			}
			struck[b.notes[i].key] = on + 1
		}
		if len(held) > 64 {
			held = held[len(held)-64:] // no hand holds as many: what was never released
		}
		keys = keys[:0]
		for _, i := range held {
			keys = append(keys, int(b.notes[i].key))
		}
		slices.Sort(keys)
		left, c := 0, costOf(keys, 0)
		for p := range cost {
			if at := p + lowest; left < len(keys) && keys[left] < at {
				for left < len(keys) && keys[left] < at {
					left++
				}
				c = costOf(keys, left)
			}
			cost[p] += c + int32(costMiddle*abs(p+lowest-middle))
		}
		least := cost[0]
		for _, v := range cost {
			least = min(least, v)
		}
		for p := range cost {
			cost[p] -= least
		}
	}
	p := uint8(0)
	for q := range cost {
		if cost[q] < cost[p] {
			p = uint8(q)
		}
	}
	for k := len(groups) - 1; k >= 0; k-- {
		for i := groups[k].from; i < groups[k].to; i++ {
			if n := &b.notes[i]; n.hand == 0 {
				n.hand = score.Left
				if int(n.key) >= int(p)+lowest {
					n.hand = score.Right
				}
			}
		}
		p = back[k][p]
	}
}

// costOf is the cost of keys, from low to high, of which so many are in the left hand and the others in the right.
func costOf(keys []int, left int) int32 {
	strain := func(hand []int) (c int) {
		if len(hand) > 0 {
			span := hand[len(hand)-1] - hand[0]
			c = costStretch*max(0, span-octave) + costReach*max(0, span-tenth) + costFinger*max(0, len(hand)-5)
		}
		return c
	}
	c := strain(keys[:left]) + strain(keys[left:])
	if len(keys) > 1 && (left == 0 || left == len(keys)) {
		c += costEmpty
	}
	return int32(c)
}

func abs(a int) int { return max(a, -a) }
