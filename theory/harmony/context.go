package harmony

import "math"

// The second reading weighs the candidates of the first again, knowing what their neighbours, the key and the whole passage
// are likely to be. Its parameters, in blocks:
const (
	c2First    = 0                                 // log probability in the first reading, of the chord and of its bass
	c2Key      = c2First + 2                       // log share of the chord in the keys it may be in, by root and by root and quality
	c2Numeral  = c2Key + 2                         // mode x quality x degree, by the probability of the key
	c2Degree   = c2Numeral + 2*qualities*rels      // mode x degree
	c2Pair     = c2Degree + 2*rels                 // before and after: quality here x quality there x distance of the roots in fifths, modulo 12
	c2Distance = c2Pair + 2*qualities*qualities*12 // before and after, one and two away: distance of the roots
	c2Piece    = c2Distance + 4*12                 // log share of the chord and of its root in the rest of the passage
	c2Bass     = c2Piece + 2                       // before and after: member in the bass x step of the bass
	c2SixFour  = c2Bass + 2*memberRoles*12         // the six-four patterns, by what follows and by metre
	c2Short    = c2SixFour + 24                    // by length of the span: same chord as before, as after
	c2Degree4  = c2Short + 8
	c2Params   = c2Degree4 + 2*memberRoles*rels // mode x degree of the bass x member
)

// contextual is a candidate of the second reading: a chord with its bass.
type contextual struct {
	c, member int
	feat      []feature
	score     float64
}

func mod12(x int) int { return (x%12 + 12) % 12 }

// soft is what the first reading (or the reading before) says of the spans of a passage, in the form the second asks for.
type soft struct {
	read  [][]candidate
	keys  [][keyStates]float64
	chord map[[2]int]float64 // root, quality: expected number of spans
	root  map[int]float64
	bass  [][12]float64 // by pitch class
}

func soften(read [][]candidate, keys [][keyStates]float64) *soft {
	s := &soft{read: read, keys: keys, chord: map[[2]int]float64{}, root: map[int]float64{}, bass: make([][12]float64, len(read))}
	for i := range read {
		for _, c := range read[i] {
			s.chord[[2]int{c.root, int(c.q)}] += c.base
			s.root[c.root] += c.base
			for j, rel := range intervalsOf[c.q] {
				s.bass[i][pcOf(c.root+rel)] += c.by[j]
			}
		}
	}
	return s
}

// contexts lists the chords with basses that the second reading of span i decides between, with their features.
func (s *soft) contexts(t *keyTables, ev []*evidence, i int) []contextual {
	const narrow = 6 // neighbours' candidates that are looked at
	e := ev[i]
	var out []contextual
	n := float64(len(s.read))
	// Keys that count for anything here.
	type keyP struct {
		s int
		p float64
	}
	var keys []keyP
	for k, p := range s.keys[i] {
		if p > .02 {
			keys = append(keys, keyP{k, p})
		}
	}
	var base []feature
	for ci := range s.read[i] {
		c := &s.read[i][ci]
		q := int(c.q)
		base = base[:0]
		add := func(id int, v float64) { base = append(base, feature{int32(id), float32(v)}) }
		add(c2First, math.Log(c.base+1e-5))
		byRoot, byBoth := 1e-4, 1e-4
		for _, k := range keys {
			mode, rel := k.s%2, bin(c.root-tonicOf(k.s))
			x := math.Exp(t.chord[mode][q][rel])
			byRoot += k.p * x
			byBoth += k.p * x * math.Exp(t.quality[mode][q])
			add(c2Numeral+(mode*qualities+q)*rels+rel, k.p)
			add(c2Degree+mode*rels+rel, k.p)
		}
		add(c2Key, math.Log(byRoot))
		add(c2Key+1, math.Log(byBoth))
		add(c2Piece, math.Log((s.chord[[2]int{c.root, q}]-c.base+.05)/n))
		add(c2Piece+1, math.Log((s.root[c.root]-c.base+.05)/n))
		length := 0
		switch d := e.b - e.a; {
		case d > 2.01:
			length = 3
		case d > 1.01:
			length = 2
		case d > .51:
			length = 1
		}
		for side, j := range []int{i - 1, i + 1} {
			if j < 0 || j >= len(s.read) {
				continue
			}
			for _, o := range s.read[j][:min(len(s.read[j]), narrow)] {
				if o.base < .02 {
					break
				}
				d := mod12(o.root - c.root)
				add(c2Pair+((side*qualities+q)*qualities+int(o.q))*12+d, o.base)
				add(c2Distance+side*12+d, o.base)
				if d == 0 && int(o.q) == q {
					add(c2Short+side*4+length, o.base)
				}
			}
		}
		for side, j := range []int{i - 2, i + 2} {
			if j < 0 || j >= len(s.read) {
				continue
			}
			for _, o := range s.read[j][:min(len(s.read[j]), narrow)] {
				if o.base < .02 {
					break
				}
				add(c2Distance+(2+side)*12+mod12(o.root-c.root), o.base)
			}
		}
		// A six-four over the bass X sounds as X with its fourth and sixth. As a cadence it is X, and X or its seventh follows.
		if has(e.bass[bEver], c.root) && has(e.prof[pPresent], c.root-1) && (has(e.prof[pPresent], c.root+3) || has(e.prof[pPresent], c.root-4)) && !has(e.prof[pPresent], c.root+4) {
			s.sixFour(add, i, e, c.root, 0)
		}
		if has(e.bass[bEver], c.root+1) && (q == int(Major) || q == int(Minor)) {
			s.sixFour(add, i, e, c.root+1, 12)
		}
		for m, rel := range intervalsOf[q] {
			x := contextual{c: ci, member: m}
			x.feat = append(x.feat, base...)
			r := int(roleTable[q][rel+reach])
			x.feat = append(x.feat, feature{c2First + 1, float32(math.Log(c.by[m]/(c.base+1e-12) + 1e-5))})
			pc := pcOf(c.root + rel)
			for side, j := range []int{i - 1, i + 1} {
				if j < 0 || j >= len(s.read) {
					continue
				}
				for there, p := range s.bass[j] {
					if p > .02 {
						x.feat = append(x.feat, feature{int32(c2Bass + (side*memberRoles+r)*12 + mod12(there-pc)), float32(p)})
					}
				}
			}
			for _, k := range keys {
				x.feat = append(x.feat, feature{int32(c2Degree4 + ((k.s%2)*memberRoles+r)*rels + bin(c.root+rel-tonicOf(k.s))), float32(k.p)})
			}
			out = append(out, x)
		}
	}
	return out
}

// sixFour adds the features of a six-four over the bass: whether its bass is the root of what follows, and of what is before.
func (s *soft) sixFour(add func(int, float64), i int, e *evidence, bass, at int) {
	strong := 0
	if e.down >= .5 {
		strong = 1
	}
	add(c2SixFour+at+strong, 1)
	prob := func(j int, dominant bool) float64 {
		p := 0.0
		if j >= 0 && j < len(s.read) {
			for _, o := range s.read[j] {
				if mod12(o.root-bass) == 0 && (!dominant || o.q == DominantSeventh || o.q == Major) {
					p += o.base
				}
			}
		}
		return p
	}
	add(c2SixFour+at+2+strong, prob(i+1, true))
	add(c2SixFour+at+4+strong, prob(i-1, true))
	add(c2SixFour+at+6, prob(i+2, true))
	// The bass is the fifth degree of the key, or its first (a pedal).
	dom, ton := 0.0, 0.0
	for k, p := range s.keys[i] {
		switch bass - tonicOf(k) {
		case 1:
			dom += p
		case 0:
			ton += p
		}
	}
	add(c2SixFour+at+7, dom)
	add(c2SixFour+at+8, dom*prob(i+1, true))
	add(c2SixFour+at+9, ton)
	if i+1 < len(s.read) {
		add(c2SixFour+at+10, s.bass[i+1][pcOf(bass)])
	}
	if i > 0 {
		add(c2SixFour+at+11, s.bass[i-1][pcOf(bass)])
	}
}

// again reads the spans a second time and returns the candidates with the new probabilities, the likeliest first.
func (t *Tables) again(s *soft, ev []*evidence) [][]candidate {
	out := make([][]candidate, len(s.read))
	for i := range s.read {
		xs := s.contexts(&t.keys, ev, i)
		score2(t.second, xs)
		cs := make([]candidate, len(s.read[i]))
		for j := range cs {
			cs[j] = candidate{root: s.read[i][j].root, q: s.read[i][j].q, n: s.read[i][j].n}
		}
		for _, x := range xs {
			cs[x.c].by[x.member] = x.score
			cs[x.c].base += x.score
		}
		rank(cs)
		out[i] = cs
	}
	return out
}

// score2 turns the features of xs into probabilities.
func score2(p []float64, xs []contextual) {
	top := math.Inf(-1)
	for i := range xs {
		v := 0.0
		for _, f := range xs[i].feat {
			v += p[f.id] * float64(f.v)
		}
		xs[i].score = v
		top = max(top, v)
	}
	sum := 0.0
	for i := range xs {
		xs[i].score = math.Exp(xs[i].score - top)
		sum += xs[i].score
	}
	for i := range xs {
		xs[i].score /= sum
	}
}
