package spell

import "math"

// A region is a stretch of notes in one key: a tonic as a pitch class and then, once that is settled, on the line of fifths.
type region struct {
	from, to int32 // notes, half open
	mode, pc int8
	tonic    int8 // place on the line of fifths
	sig      int8 // the printed signature it stands under, given or guessed
}

// Degrees on the line of fifths, from the tonic, that the profile covers.
const lowDegree, highDegree = -9, 14

// profile is how often each degree sounds in major and in minor, of 10,000 notes, from lowDegree up. Counted in the piano
// parts of the OpenScore Lieder corpus (CC0), where the keys were found by a search like the one below, on the spelled notes.
var profile = [2][highDegree - lowDegree + 1]float64{
	{0.3, 0.3, 0.3, 0.6, 0.5, 23, 11, 26, 877, 2296, 2901, 696, 551, 1824, 720, 39, 8, 7, 12, 5, 0.3, 0.3, 0.3, 0.3},
	{1, 3, 7, 19, 25, 809, 1316, 64, 1348, 1658, 2105, 1270, 118, 36, 1080, 95, 30, 5, 1, 6, 2, 0.3, 0.3, 0.3},
}

var (
	degree  [2][12]int8   // the likeliest degree for each pitch class above the tonic
	classes [12][24]int32 // by pitch class and key (mode*12 + tonic): the cost of hearing it there, in 1/1000 nat
)

func init() {
	for m := range profile {
		for rel := range 12 {
			sum, best := 0.0, 0.0
			for i, v := range profile[m] {
				d := lowDegree + i
				if mod(7*d, 12) != rel {
					continue
				}
				sum += v
				if v > best {
					best, degree[m][rel] = v, int8(d)
				}
			}
			for t := range 12 {
				classes[(t+rel)%12][12*m+t] = int32(math.Round(-1000 * math.Log(sum/10000)))
			}
		}
	}
}

// The costs of a change of key, in 1/1000 nat: as such, and for each fifth between the signatures.
const change, changeFifth = 3000, 500

// findRegions finds the keys, spelling aside, by a Viterbi search over the 24 of them, quarter by quarter.
func (s *speller) findRegions() []region {
	var starts []int32
	for i, on := range s.on {
		if i == 0 || math.Floor(float64(on)) != math.Floor(float64(s.on[i-1])) {
			starts = append(starts, int32(i))
		}
	}
	back := make([][24]int8, len(starts))
	var cost, next [24]int32
	for k, from := range starts {
		to := int32(len(s.on))
		if k+1 < len(starts) {
			to = starts[k+1]
		}
		if k > 0 {
			// The cheaper mode of each signature stands for both: a change of mode under one signature costs no fifths.
			var sig [12]int32
			var who [12]int8
			for q := range 12 {
				maj, min := 7*q%12, 7*(q+3)%12+12
				sig[q], who[q] = cost[maj], int8(maj)
				if cost[min] < sig[q] {
					sig[q], who[q] = cost[min], int8(min)
				}
			}
			// Twice round the circle of fifths and back, a fifth at a time, finds the cheapest way to each.
			for q := range 24 {
				if a, b := q%12, (q+1)%12; sig[a]+changeFifth < sig[b] {
					sig[b], who[b] = sig[a]+changeFifth, who[a]
				}
			}
			for q := 24; q > 0; q-- {
				if a, b := q%12, (q+11)%12; sig[a]+changeFifth < sig[b] {
					sig[b], who[b] = sig[a]+changeFifth, who[a]
				}
			}
			for q := range 12 {
				for _, st := range [2]int{7 * q % 12, 7*(q+3)%12 + 12} {
					next[st], back[k][st] = sig[q]+change, who[q]
					if cost[st] <= next[st] {
						next[st], back[k][st] = cost[st], int8(st)
					}
				}
			}
			cost = next
		}
		for i := from; i < to; i++ {
			row := &classes[s.pc[i]]
			for st := range cost {
				cost[st] += row[st]
			}
		}
		low := cost[0]
		for _, v := range cost {
			low = min(low, v)
		}
		for st := range cost {
			cost[st] -= low // keeps sums small
		}
	}
	st := 0
	for q := range cost {
		if cost[q] < cost[st] {
			st = q
		}
	}
	path := make([]int8, len(starts))
	for k := len(starts) - 1; k >= 0; k-- {
		path[k] = int8(st)
		st = int(back[k][st])
	}
	var out []region
	for k, q := range path {
		if k == 0 || q != path[k-1] {
			out = append(out, region{from: starts[k], mode: q / 12, pc: q % 12})
		}
	}
	for k := range out {
		out[k].to = int32(len(s.on))
		if k+1 < len(out) {
			out[k].to = out[k+1].from
		}
	}
	return out
}

// maxKeySig is the farthest signature a passing key is given; maxSig the farthest that is printed.
const maxKeySig, maxSig = 11, 7

// A lattice weighs where on the line of fifths each region lies, and under which signature: sharps against flats.
type lattice struct {
	sig, six, seven float64 // the first signature: for each sign, and for the sixth and the seventh
	resign, resigns float64 // a new signature: as such, and for each fifth up to six
	accidental      float64 // for each note outside the signature
	double          float64 // for each double sharp or flat
	away            float64 // for each fifth between key and signature
	step, far       float64 // for each fifth between one key and the next, and for more than six
	beyond          float64 // for each note and each fifth of its key beyond six
}

// enharmonics was tuned by random search on the songs and the annotated corpus together, the number of notes right deciding.
var enharmonics = lattice{sig: 2.2, six: 0.2, seven: 0.6, resign: 43.7, resigns: 2.4, accidental: 0.15, double: 0.34, away: 0.23, step: 0.076, far: 1.4, beyond: 0.05}

// A variant is a place of the line of fifths where a region can lie.
type variant struct {
	tonic      int
	accidental [2*maxSig + 1]int32 // notes outside each signature
	double     int32
}

// variants appends to out the two places (one, for a tritone from C) where r can lie.
func (s *speller) variants(out []variant, r *region) []variant {
	var count [12]int32 // by pitch class above the tonic
	for _, pc := range s.pc[r.from:r.to] {
		count[(int(pc)+12-int(r.pc))%12]++
	}
	for t := -maxKeySig + 3*int(r.mode); t <= maxKeySig+3*int(r.mode); t++ {
		if mod(7*t, 12) != int(r.pc) {
			continue
		}
		v := variant{tonic: t}
		for rel, n := range count {
			f := t + int(degree[r.mode][rel])
			if f < -8 || f > 12 {
				v.double += n
			}
			for i := range v.accidental {
				if g := i - maxSig; f < g-1 || f > g+5 {
					v.accidental[i] += n
				}
			}
		}
		out = append(out, v)
	}
	return out
}

// settle puts the regions on the line of fifths: the cheapest way through all places and signatures (Viterbi). given tells
// the signature that a region stands under, or reports false.
func (s *speller) settle(l *lattice, given func(r *region) (int, bool)) {
	rs := s.regions
	const nS = 2*maxSig + 1
	var resign [nS]float64
	for d := 1; d < nS; d++ {
		resign[d] = l.resign + l.resigns*float64(min(d, 6))
	}
	type cell struct {
		cost [2][nS]float64
		back [2][nS]int8
	}
	cells := make([]cell, len(rs))
	var vs, before []variant
	tonics := make([][2]int8, len(rs))
	for k := range rs {
		r := &rs[k]
		before, vs = vs, s.variants(before[:0], r)
		notes := float64(r.to - r.from)
		fixed, isGiven := given(r)
		var via [2][nS]float64 // the cheapest way to a signature, from each place of the region before
		var from [2][nS]int8
		for pe := range before {
			for g := range nS {
				via[pe][g] = math.Inf(1)
				for pg := range nS {
					if v := cells[k-1].cost[pe][pg] + resign[abs(pg-g)]; v < via[pe][g] {
						via[pe][g], from[pe][g] = v, int8(pe*nS+pg)
					}
				}
			}
		}
		for e, v := range vs {
			tonics[k][e] = int8(v.tonic)
			ks := v.tonic - 3*int(r.mode)
			own := l.double*float64(v.double) + l.beyond*notes*float64(max(0, abs(ks)-6))
			for g := range nS {
				sig := g - maxSig
				cost := own + l.accidental*float64(v.accidental[g]) + l.away*float64(abs(ks-sig))*min(1, notes/20)
				if isGiven && sig != fixed {
					cost = math.Inf(1)
				}
				if k == 0 {
					cost += l.sig * float64(abs(sig))
					if abs(sig) > 5 {
						cost += l.six
					}
					if abs(sig) > 6 {
						cost += l.seven
					}
					cells[0].cost[e][g] = cost
					continue
				}
				best, b := math.Inf(1), int8(0)
				for pe, pv := range before {
					d := abs(pv.tonic - 3*int(rs[k-1].mode) - ks)
					c := via[pe][g] + l.step*float64(d)
					if d > 6 {
						c += l.far
					}
					if c < best {
						best, b = c, from[pe][g]
					}
				}
				cells[k].cost[e][g], cells[k].back[e][g] = best+cost, b
			}
		}
	}
	last := &cells[len(rs)-1]
	best, b := math.Inf(1), 0
	for e := range vs {
		for g, v := range last.cost[e] {
			if v < best {
				best, b = v, e*nS+g
			}
		}
	}
	for k := len(rs) - 1; k >= 0; k-- {
		rs[k].tonic, rs[k].sig = tonics[k][b/nS], int8(b%nS-maxSig)
		b = int(cells[k].back[b/nS][b%nS])
	}
}

// givenBy tells the signature that a region stands under.
func givenBy(s *speller, sigs []Signature) func(r *region) (int, bool) {
	return func(r *region) (sig int, ok bool) {
		for _, g := range sigs {
			if abs(g.Fifths) > maxSig {
				continue
			}
			if ok && float32(g.At.Float()) > s.on[r.from]+0.5 {
				break
			}
			sig, ok = g.Fifths, true
		}
		return sig, ok
	}
}

// keys finds the keys and spells each note as the degree it most often is.
func (s *speller) keys(sigs []Signature) {
	s.regions = s.findRegions()
	s.settle(&enharmonics, givenBy(s, sigs))
	s.nameKeys()
}

// nameKeys spells each note as the degree that it most often is in its region.
func (s *speller) nameKeys() {
	for k := range s.regions {
		r := &s.regions[k]
		for i := r.from; i < r.to; i++ {
			s.fifths[i] = r.tonic + degree[r.mode][(s.pc[i]+12-uint8(r.pc))%12]
			s.region[i] = int32(k)
		}
	}
}
