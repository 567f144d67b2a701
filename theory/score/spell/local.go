package spell

import (
	"math"
	"math/bits"
)

// The second look is a log-linear choice among the three spellings of a note. Its features, and where each family begins in
// the table of weights:
const (
	span     = 49                  // intervals on the line of fifths, -24 to 24
	degreeAt = 0                   // degree in the key, by mode
	sigAt    = degreeAt + 2*span   // place under the signature
	leadAt   = sigAt + span        // pitch class in the key, by mode, approach, departure and choice
	withAt   = leadAt + 2*12*6*6*3 // interval to a note that sounds at the same time, below and above
	stepAt   = withAt + 2*span     // interval to the note before and after, by their distance in semitones
	nearAt   = stepAt + 2*5*span   // interval to the notes around
	besideAt = nearAt + span       // degree in the key before and after, by mode
	signsAt  = besideAt + 2*2*span // the place itself
	nWeights = signsAt + span
)

// Weights are kept in units of 1/unit.
const unit = 256

// How far the second look goes, in notes.
const (
	reach  = 16
	around = 12
)

// A view is what a note is judged by, all but its own spelling: pointers into the table of weights, which a choice of place
// on the line of fifths turns into a sum.
type view struct {
	tables []look      // each a table of span weights centred at a place
	near   [64]float32 // how much of the place p-24 sounds around
	places uint64      // which of them do
	lead   int         // index of the lead weights for choice 0; -1 if the table isn't asked
}

type look struct {
	at     int // start of the table
	place  int // the place of the line of fifths that it is centred at
	weight float32
}

// sees fills v with the view of note i.
func (s *speller) sees(i int, v *view) {
	k := s.region[i]
	r := &s.regions[k]
	m := int(r.mode)
	v.tables = append(v.tables[:0],
		look{degreeAt + m*span, int(r.tonic), 1},
		look{sigAt, int(r.sig), 1},
		look{signsAt, 2, 1})
	if k > 0 {
		if p := &s.regions[k-1]; s.on[i]-s.on[r.from] < 8 {
			v.tables = append(v.tables, look{besideAt + int(p.mode)*span, int(p.tonic), fade(s.on[i] - s.on[r.from])})
		}
	}
	if int(k)+1 < len(s.regions) {
		if p := &s.regions[k+1]; s.on[p.from]-s.on[i] < 8 {
			v.tables = append(v.tables, look{besideAt + (2+int(p.mode))*span, int(p.tonic), fade(s.on[p.from] - s.on[i])})
		}
	}
	v.near, v.places = [64]float32{}, 0
	var approach, departure int
	var seen uint
	total := float32(0)
	for j := i - 1; j >= 0 && j >= i-reach; j-- {
		gap := s.on[i] - s.on[j]
		if j >= i-around {
			w := fade(gap)
			total += w
			v.near[(s.fifths[j]+24)&63] += w
			v.places |= 1 << ((s.fifths[j] + 24) & 63)
		}
		if s.end[j] > s.on[i]+0.001 || s.moment[j] == s.moment[i] {
			v.tables = append(v.tables, look{withAt, int(s.fifths[j]), 0.5})
		}
		d := int(s.midi[j] - s.midi[i])
		if d < -2 || d > 2 || s.moment[j] == s.moment[i] || s.on[i] > max(s.end[j], s.on[j]+0.5)+1.01 || seen&(1<<(d+2)) != 0 {
			continue
		}
		seen |= 1 << (d + 2)
		if approach == 0 || approach == 3 && d != 0 {
			approach = d + 3
		}
		v.tables = append(v.tables, look{stepAt + (d+2)*span, int(s.fifths[j]), fade(gap)})
	}
	seen = 0
	for j := i + 1; j < len(s.on) && j <= i+reach; j++ {
		gap := s.on[j] - s.on[i]
		if j <= i+around {
			w := fade(gap)
			total += w
			v.near[(s.fifths[j]+24)&63] += w
			v.places |= 1 << ((s.fifths[j] + 24) & 63)
		}
		if s.on[j] < s.end[i]-0.001 || s.moment[j] == s.moment[i] {
			v.tables = append(v.tables, look{withAt + span, int(s.fifths[j]), 0.5})
		}
		d := int(s.midi[j] - s.midi[i])
		if d < -2 || d > 2 || s.moment[j] == s.moment[i] || s.on[j] > max(s.end[i], s.on[i]+0.5)+1.01 || seen&(1<<(d+2)) != 0 {
			continue
		}
		seen |= 1 << (d + 2)
		if departure == 0 || departure == 3 && d != 0 {
			departure = d + 3
		}
		v.tables = append(v.tables, look{stepAt + (5+d+2)*span, int(s.fifths[j]), fade(gap)})
	}
	for m := v.places; m != 0; m &= m - 1 {
		v.near[bits.TrailingZeros64(m)] *= 3 / total
	}
	rel := (int(s.pc[i]) + 12 - int(r.pc)) % 12
	v.lead = leadAt + (((m*12+rel)*6+approach)*6+departure)*3
}

// fades is exp(-t/3) in steps of 1/16 quarter.
var fades [16 * 16]float32

func init() {
	for i := range fades {
		fades[i] = float32(math.Exp(-float64(i) / 16 / 3))
	}
}

func fade(t float32) float32 {
	return fades[min(max(int(t*16), 0), len(fades)-1)]
}

// at is the index of the weight for place f in a table.
func (l look) index(f int) int { return l.at + min(max(f-l.place+span/2, 0), span-1) }

// features calls add for each weight that bears on choice c, place f, and how much it counts.
func (v *view) features(c, f int, add func(weight int, x float32)) {
	add(v.lead+c, 1)
	for _, l := range v.tables {
		add(l.index(f), l.weight)
	}
	for m := v.places; m != 0; m &= m - 1 {
		p := bits.TrailingZeros64(m)
		add(look{at: nearAt, place: p - 24}.index(f), v.near[p])
	}
}

// sums gives the worth of the three choices, of which f is the one in the middle.
func (v *view) sums(w []int16, f int) (worth [3]float32) {
	for c := range worth {
		worth[c] = float32(w[v.lead+c])
	}
	add := func(at, place int, x float32) {
		k := f - place + span/2
		worth[0] += x * float32(w[at+min(max(k-12, 0), span-1)])
		worth[1] += x * float32(w[at+min(max(k, 0), span-1)])
		worth[2] += x * float32(w[at+min(max(k+12, 0), span-1)])
	}
	for _, l := range v.tables {
		add(l.at, l.place, l.weight)
	}
	for m := v.places; m != 0; m &= m - 1 {
		p := bits.TrailingZeros64(m)
		add(nearAt, p-24, v.near[p])
	}
	return worth
}

// choice returns place c (0 flatter, 1 as it is, 2 sharper) beside the spelling by key, or false if it needs three signs.
func choice(base int8, c int) (int, bool) {
	f := int(base) + 12*(c-1)
	return f, f >= -15 && f <= 19
}

const sweeps = 3

// local takes the second look at each note in doubt, several times over, since each choice is evidence for its neighbours.
// Degrees of the scale are not in doubt while their key lasts: looking at them too changes the measure by two notes in 10,000.
func (s *speller) local(w []int16) {
	if len(w) < nWeights {
		return
	}
	base := append([]int8(nil), s.fifths...)
	var doubt []int32
	for i := range base {
		if s.doubtful(i) {
			doubt = append(doubt, int32(i))
		}
	}
	var v view
	stale := make([]uint8, len(base)/reach+1) // by block of notes: the last sweep that changed one
	for sweep := uint8(2); sweep < 2+sweeps; sweep++ {
		changed := false
		for _, i := range doubt {
			if b := int(i / reach); sweep > 2 && max(stale[max(b-1, 0)], stale[b], stale[min(b+1, len(stale)-1)]) < sweep-1 {
				continue // nothing that it depends on is new
			}
			s.sees(int(i), &v)
			best, to := float32(math.Inf(-1)), s.fifths[i]
			for c, t := range v.sums(w, int(base[i])) {
				if f, ok := choice(base[i], c); ok && t > best {
					best, to = t, int8(f)
				}
			}
			if to != s.fifths[i] {
				s.fifths[i], changed, stale[i/reach] = to, true, sweep
			}
		}
		if !changed {
			break
		}
	}
}

// edge is how near to another key, in quarter notes, each degree is in doubt.
const edge = 1

func (s *speller) doubtful(i int) bool {
	f := s.fifths[i]
	if f < -15 || f > 19 {
		return true
	}
	k := s.region[i]
	r := &s.regions[k]
	d := f - r.tonic
	if r.mode == 0 && (d < -1 || d > 5) || r.mode == 1 && (d < -4 || d > 2) {
		return true
	}
	return k > 0 && s.on[i]-s.on[r.from] < edge || int(k)+1 < len(s.regions) && s.on[s.regions[k+1].from]-s.on[i] < edge
}
