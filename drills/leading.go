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

// A keyChord is a chord of a key, to be led in four voices.
type keyChord struct {
	name    string           // "V7"
	root    pitch.Interval   // above the tonic
	members []pitch.Interval // above the root, the root among them
	bass    int              // index of the member in the bass
}

// harm makes a keyChord from words: its name, its root above the tonic and its members above the root, the bass marked by *.
func harm(name, root, members string) keyChord {
	iv := func(s string) pitch.Interval {
		v, err := pitch.ParseInterval(s)
		if err != nil {
			panic(fmt.Sprintf("drills: chord %s: %v", name, err)) // our own table, made when the program starts
		}
		return v
	}
	h := keyChord{name: name, root: iv(root)}
	for i, m := range strings.Fields(members) {
		if strings.HasSuffix(m, "*") {
			h.bass = i
		}
		h.members = append(h.members, iv(strings.TrimSuffix(m, "*")))
	}
	return h
}

// in returns the classes of h in the key of a tonic.
func (h keyChord) in(tonic pitch.Class) (root pitch.Class, members []pitch.Class, bass pitch.Class) {
	root = tonic.Add(h.root)
	for _, iv := range h.members {
		members = append(members, root.Add(iv))
	}
	return root, members, members[h.bass]
}

// symbol names h in a key: "V7 (G7)", where a chord symbol is known.
func (h keyChord) symbol(tonic pitch.Class) string {
	root, members, bass := h.in(tonic)
	for _, t := range chord.Types() {
		if len(t.Intervals) != len(h.members) || !askable(t) || slices.ContainsFunc(t.Intervals, func(iv pitch.Interval) bool { return !slices.Contains(members, root.Add(iv)) }) {
			continue
		}
		return h.name + ", " + chord.Symbol{Root: root, Type: t, Inversion: -1, Bass: bass, HasBass: bass != root}.House()
	}
	var names []string
	for _, m := range members {
		names = append(names, m.String())
	}
	return h.name + ", " + strings.Join(names, " ")
}

// A layout is four voices: bass, tenor, alto, soprano.
type layout [4]pitch.Pitch

// layouts returns the ways of h in which a player would hold it: the bass within an octave from lowBass, three notes above it
// for the right hand, within a tenth; every member sounds, but the fifth of a root-position seventh chord need not.
func (h keyChord) layouts(tonic pitch.Class, lowBass int) []layout {
	key := laidKey{h.name, h.bass, len(h.members), h.members[1], h.members[len(h.members)-1], tonic, lowBass}
	if known, ok := laid.Load(key); ok {
		return known.([]layout)
	}
	out := h.layOut(tonic, lowBass)
	laid.Store(key, out)
	return out
}

// laid keeps layouts, which are asked for again and again.
var laid sync.Map

type laidKey struct {
	name          string
	bass, members int
	second, last  pitch.Interval
	tonic         pitch.Class
	low           int
}

func (h keyChord) layOut(tonic pitch.Class, lowBass int) []layout {
	_, members, bassClass := h.in(tonic)
	bass := at(bassClass, lowBass+((bassClass.PC()-lowBass)%12+12)%12)
	var upper []pitch.Pitch
	for _, m := range members {
		for n := lowBass + 11 + ((m.PC()-lowBass-11)%12+12)%12; n <= lowBass+41; n += 12 {
			upper = append(upper, at(m, n))
		}
	}
	slices.SortFunc(upper, pitch.Pitch.Compare)
	var out []layout
	for i := range upper {
		for j := i + 1; j < len(upper); j++ {
			for k := j + 1; k < len(upper); k++ {
				l := layout{bass, upper[i], upper[j], upper[k]}
				if upper[i].MIDI() <= bass.MIDI()+2 || upper[k].MIDI()-upper[i].MIDI() > 16 || !h.complete(l, members) {
					continue
				}
				out = append(out, l)
			}
		}
	}
	return out
}

// complete reports whether every member sounds in l, and nothing is doubled but the root or fifth of a triad or the root.
func (h keyChord) complete(l layout, members []pitch.Class) bool {
	for i, m := range members {
		n := 0
		for _, p := range l {
			if p.Class() == m {
				n++
			}
		}
		fifth := h.members[i] == pitch.PerfectFifth
		if len(members) == 3 && h.members[2] == pitch.DiminishedFifth { // of a diminished triad only the third
			if n == 0 || n == 2 && i != 1 || n > 2 {
				return false
			}
			continue
		}
		switch {
		case n == 0 && !(fifth && len(members) == 4 && h.bass == 0):
			return false
		case n > 2, n == 2 && i != 0 && !(fifth && len(members) == 3):
			return false
		}
	}
	return true
}

// A demand fixes the top note of a chord.
type demand struct {
	chord int
	top   pitch.Pitch
}

// led leads chords in four voices so that they move least, without parallel fifths and octaves and with tendency notes
// resolved where that can be; the top begins near a MIDI number. It is exact, over all layouts (dynamic programming). ok is
// false if a demand can't be met.
func led(tonic pitch.Class, chords []keyChord, lowBass, top int, demands ...demand) (out []layout, ok bool) {
	type cell struct {
		l    layout
		cost float64
		from int
	}
	rows := make([][]cell, len(chords))
	for i, h := range chords {
		for _, l := range h.layouts(tonic, lowBass) {
			if slices.ContainsFunc(demands, func(d demand) bool { return d.chord == i && d.top != l[3] }) {
				continue
			}
			c := cell{l: l, from: -1}
			if i == 0 {
				c.cost = float64(max(l[3].MIDI()-top, top-l[3].MIDI())) * 2
			} else {
				if len(rows[i-1]) == 0 {
					return nil, false
				}
				c.cost = 1e9
				for k, p := range rows[i-1] {
					if cost := p.cost + motion(tonic, chords[i-1], h, p.l, l); cost < c.cost {
						c.cost, c.from = cost, k
					}
				}
			}
			rows[i] = append(rows[i], c)
		}
	}
	last := rows[len(rows)-1]
	if len(last) == 0 {
		return nil, false
	}
	best := 0
	for k := range last {
		if last[k].cost < last[best].cost {
			best = k
		}
	}
	out = make([]layout, len(chords))
	for i := len(chords) - 1; i >= 0; i-- {
		out[i] = rows[i][best].l
		best = rows[i][best].from
	}
	return out, true
}

// motion is what it costs to go from one layout to the next.
func motion(tonic pitch.Class, a, b keyChord, from, to layout) (cost float64) {
	root := tonic.Add(a.root)
	for v := 1; v < 4; v++ {
		d := to[v].MIDI() - from[v].MIDI()
		cost += float64(max(d, -d))
		if d > 7 || d < -7 {
			cost += 10
		}
		switch iv := from[v].Class().Sub(root); {
		case iv.Steps == 6 && a.root != b.root && (d > 0 || d < -2): // a seventh goes down, or stays
			cost += 15
		case from[v].Class().Sub(tonic) == pitch.MajorSeventh && a.root == pitch.PerfectFifth && b.root == pitch.Unison && d != 1:
			if v == 3 {
				cost += 15
			}
			cost += 4
		}
		for w := range v {
			ia, ib := from[v].MIDI()-from[w].MIDI(), to[v].MIDI()-to[w].MIDI()
			if d != 0 && to[w] != from[w] && (ia%12 == 7 && ib%12 == 7 || ia%12 == 0 && ib%12 == 0) {
				cost += 40
			}
		}
	}
	return cost
}

// voices gives the bass to the left hand and the rest to the right.
func (l layout) hands() (left, right []pitch.Pitch) { return l[:1:1], l[1:] }

// A mode's cadence sets a key up.
var (
	cadenceMajor = []keyChord{harm("I", "P1", "P1* M3 P5"), harm("IV", "P4", "P1* M3 P5"), harm("V7", "P5", "P1* M3 P5 m7"), harm("I", "P1", "P1* M3 P5")}
	cadenceMinor = []keyChord{harm("i", "P1", "P1* m3 P5"), harm("iv", "P4", "P1* m3 P5"), harm("V7", "P5", "P1* M3 P5 m7"), harm("i", "P1", "P1* m3 P5")}
)

func cadence(minor bool) []keyChord {
	if minor {
		return cadenceMinor
	}
	return cadenceMajor
}

// setUp is when the chords of a cadence sound and when what follows it begins, in quarter notes.
var setUp = [...][2]int{{0, 1}, {1, 1}, {2, 1}, {3, 2}}

const setUpEnd = 6

// cadenceMusic sounds a cadence.
func cadenceMusic(ls []layout) []Note {
	var out []Note
	for i, s := range setUp {
		left, right := ls[i].hands()
		out = append(out, chordNotes(score.Quarters(s[0]), score.Quarters(s[1]), left, right)...)
	}
	return out
}

// tonicFor spells a tonic of pitch class pc, so that its scale has the fewest signs.
func tonicFor(r *rand.Rand, pc int, minor bool) pitch.Class {
	third, sixth, seventh := pitch.MajorThird, pitch.MajorSixth, pitch.MajorSeventh
	if minor {
		third, sixth, seventh = pitch.MinorThird, pitch.MinorSixth, pitch.MinorSeventh
	}
	return plainly(r, (pc%12+12)%12, []pitch.Interval{pitch.Unison, pitch.MajorSecond, third, pitch.PerfectFourth, pitch.PerfectFifth, sixth, seventh})
}

func keyName(tonic pitch.Class, minor bool) string {
	if minor {
		return tonic.String() + " minor"
	}
	return tonic.String() + " major"
}
