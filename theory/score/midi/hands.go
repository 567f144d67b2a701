package midi

import (
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

// The costs of dividing, in tenths of a semitone that the point moves.
const (
	tenth      = 16 // semitones that a hand reaches: a major tenth
	costReach  = 60 // for each semitone beyond it
	costFinger = 150
	costMiddle = 1 // for each semitone between the point and middle C
	costMove   = 2
	costClose  = 60 // divided by the semitones between the hands
)

// divide gives a hand to each note that has none yet. At each onset the notes from a point on go to the right hand, those
// below to the left. The points are the cheapest sequence (Viterbi) under these costs: reach of a hand beyond a tenth, more
// than five fingers, the distance of the point from middle C, how far it moves from one onset to the next, and a narrow gap
// between the hands. Notes that still sound take part in reach and fingers.
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
		var keys [128]int32 // how many sound at each key
		for _, i := range held {
			keys[b.notes[i].key]++
		}
		for i := g.from; i < g.to; i++ {
			if b.notes[i].hand == 0 {
				keys[b.notes[i].key]++
				held = append(held, i)
			}
		}
		if len(held) > 64 {
			held = held[len(held)-64:] // no hand holds as many: what was never released
		}
		if k > 0 { // how the point comes here: a distance transform, up and down
			for p := range next {
				next[p], back[k][p] = cost[p], uint8(p)
			}
			for p := 1; p < points; p++ {
				if v := next[p-1] + costMove; v < next[p] {
					next[p], back[k][p] = v, back[k][p-1]
				}
			}
			for p := points - 2; p >= 0; p-- {
				if v := next[p+1] + costMove; v < next[p] {
					next[p], back[k][p] = v, back[k][p+1]
				}
			}
			cost = next
		}
		var below [129]int32 // how many sound below each key
		var under, over [129]int
		under[0], over[128] = -1, 128 // the nearest that sounds below each key, and from it up
		for p, n := range keys {
			below[p+1], under[p+1] = below[p]+n, under[p]
			if n > 0 {
				under[p+1] = p
			}
		}
		for p := 127; p >= 0; p-- {
			if over[p] = over[p+1]; keys[p] > 0 {
				over[p] = p
			}
		}
		low, high := over[0], under[128]
		for p := range cost {
			at := p + lowest
			left, right := below[at], below[128]-below[at]
			c := int32(costMiddle * abs(at-60))
			if left > 0 {
				c += costReach*int32(max(0, under[at]-low-tenth)) + costFinger*max(0, left-5)
			}
			if right > 0 {
				c += costReach*int32(max(0, high-over[at]-tenth)) + costFinger*max(0, right-5)
			}
			if left > 0 && right > 0 {
				c += costClose / int32(over[at]-under[at])
			}
			cost[p] += c
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

func abs(a int) int { return max(a, -a) }
