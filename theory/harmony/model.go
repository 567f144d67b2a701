package harmony

import (
	"math"
	"sort"
)

// The parameters of the recognizer lie in one vector, in blocks.
const (
	atTied      = 0
	atFree      = atTied + profiles*roles
	atBassTied  = atFree + profiles*qualities*rels
	atBassFree  = atBassTied + bassProfiles*memberRoles
	atInversion = atBassFree + bassProfiles*qualities*4
	atQuality   = atInversion + qualities*4
	atAbsent    = atQuality + qualities*4      // quality x number of classes: 1, 2, 3, more
	atAbsentIn  = atAbsent + qualities*4       // member that doesn't sound
	atInstead   = atAbsentIn + 4*memberRoles   // the same, by whether it sounds before or after
	atFound     = atInstead + memberRoles*rels // member that doesn't sound x foreign note that does
	atForeign   = atFound + 2*5                // members that sound, of three and of four
	atComplete  = atForeign + 2*8              // foreign classes, by completeness
	atMotion    = atComplete + qualities*2     // complete, and complete without foreign notes
	params      = atMotion + motionKinds*5
)

// motionKinds counts the ways a note moves on: a member or a foreign note, by step up or down into a member or a foreign
// note or not by step, by accent, held over or not.
const motionKinds = 2 * 5 * 2 * 2

// Weights are the recognizer's parameters, with the sums that scoring uses worked out.
type weights struct {
	p    []float64
	eff  [profiles][qualities][rels]float64
	bass [bassProfiles][qualities][4]float64
}

func newWeights(p []float64) *weights {
	w := &weights{p: p}
	w.settle()
	return w
}

func (w *weights) settle() {
	for k := 0; k < profiles; k++ {
		for q := 0; q < qualities; q++ {
			for i := 0; i < rels; i++ {
				w.eff[k][q][i] = w.p[atTied+k*roles+int(roleTable[q][i])] + w.p[atFree+(k*qualities+q)*rels+i]
			}
		}
	}
	for k := 0; k < bassProfiles; k++ {
		for q := 0; q < qualities; q++ {
			for i, rel := range intervalsOf[q] {
				w.bass[k][q][i] = w.p[atBassTied+k*memberRoles+int(roleTable[q][rel+reach])] + w.p[atBassFree+(k*qualities+q)*4+i]
			}
		}
	}
}

// A candidate is a chord that may be meant: root on the line of fifths, quality, and which member is the bass.
type candidate struct {
	root int
	q    Quality
	base float64 // score without the bass
	feat []feature
	by   [4]float64 // the score of each member as the bass, added to base
	n    int        // members
}

// A feature is a parameter's index with the value it is multiplied by.
type feature struct {
	id int32
	v  float32
}

// candidates lists the chords that may be meant by e.
func candidates(e *evidence) []candidate {
	present := map[int]bool{}
	for _, w := range e.prof[pPresent] {
		present[w.lof] = true
	}
	src := e.prof[pPresent]
	if len(src) == 0 { // silence: what was and what comes
		src = append(append([]weight{}, e.prof[pPrevious]...), e.prof[pNext]...)
		for _, w := range src {
			present[w.lof] = true
		}
	}
	need := 2
	if len(present) <= 2 {
		need = 1
	}
	seen := map[[2]int]bool{}
	var out []candidate
	for _, w := range src {
		for q := 0; q < qualities; q++ {
			for _, rel := range intervalsOf[q] {
				root := w.lof - rel
				if seen[[2]int{root, q}] {
					continue
				}
				seen[[2]int{root, q}] = true
				n := 0
				for _, r := range intervalsOf[q] {
					if present[root+r] {
						n++
					}
				}
				if n >= need {
					out = append(out, candidate{root: root, q: Quality(q), n: len(intervalsOf[q])})
				}
			}
		}
	}
	// Over its root in the bass a chord may be suspended altogether: a fourth and sixth, a ninth, stand for its third and fifth.
	for _, w := range e.bass[bEver] {
		for _, q := range []Quality{Major, Minor, DominantSeventh} {
			if !found(out, w.lof, q) {
				out = append(out, candidate{root: w.lof, q: q, n: len(intervalsOf[q])})
			}
		}
	}
	return out
}

func found(cs []candidate, root int, q Quality) bool {
	for i := range cs {
		if cs[i].root == root && cs[i].q == q {
			return true
		}
	}
	return false
}

func sizeIndex(q Quality) int {
	if len(intervalsOf[q]) > 3 {
		return 1
	}
	return 0
}

// features fills in the sparse features of c: those that aren't sums over profiles.
func features(e *evidence, c *candidate) {
	q := int(c.q)
	f := c.feat[:0]
	add := func(id int, v float64) { f = append(f, feature{int32(id), float32(v)}) }
	add(atQuality+q*4+min(max(e.classes, 1), 4)-1, 1)
	missing, found := 0, 0
	var absent [4]int
	for i, rel := range intervalsOf[q] {
		if has(e.prof[pPresent], c.root+rel) {
			found++
			continue
		}
		absent[missing] = i
		missing++
		add(atAbsent+q*4+i, 1)
		around := 0
		if has(e.prof[pPrevious], c.root+rel) {
			around++
		}
		if has(e.prof[pNext], c.root+rel) {
			around += 2
		}
		add(atAbsentIn+around*memberRoles+int(roleTable[q][rel+reach]), 1)
	}
	foreign := 0
	for _, w := range e.prof[pPresent] {
		rel := w.lof - c.root
		if role(q, rel) < memberRoles {
			continue
		}
		foreign++
		for _, i := range absent[:missing] {
			add(atInstead+int(roleTable[q][intervalsOf[q][i]+reach])*rels+bin(rel), 1)
		}
	}
	size := sizeIndex(c.q)
	add(atFound+size*5+found, 1)
	complete := 0
	if missing == 0 {
		complete = 1
		add(atComplete+q*2, 1)
		if foreign == 0 {
			add(atComplete+q*2+1, 1)
		}
	}
	add(atForeign+complete*8+min(foreign, 7), 1)
	for _, m := range e.motions {
		r := role(q, m.from-c.root)
		kind := 0
		if m.to != noMotion {
			kind = 1
			if role(q, m.to-c.root) < memberRoles {
				kind = 3
			}
			// Down by step is two fifths back (a whole tone) or five on (a semitone).
			if d := m.to - m.from; d == -2 || d == 5 {
				kind++
			}
		}
		k := kind
		if r >= memberRoles {
			k += 5
		}
		k *= 4
		if m.weak {
			k += 2
		}
		if m.held {
			k++
		}
		// Which foreign note it is matters as well: the fourth above a major third, the second above the root, the sixth, others.
		sort := 0
		if r >= memberRoles {
			switch rel := m.from - c.root; rel {
			case -1:
				sort = 1
			case 2:
				sort = 2
			case 3, -4:
				sort = 3
			default:
				sort = 4
			}
		}
		add(atMotion+k*5+sort, m.v)
	}
	c.feat = f
}

// role returns the part of an interval in a quality. Beyond the reach of the table nothing is a member, as at its ends.
func role(q, rel int) int { return int(roleTable[q][bin(rel)]) }

func has(w []weight, lof int) bool {
	for _, x := range w {
		if x.lof == lof {
			return true
		}
	}
	return false
}

// score works out c's scores with w.
func (w *weights) score(e *evidence, c *candidate) {
	q := int(c.q)
	s := 0.0
	for k := range e.prof {
		row := &w.eff[k][q]
		for _, x := range e.prof[k] {
			s += row[bin(x.lof-c.root)] * x.v
		}
	}
	for _, f := range c.feat {
		s += w.p[f.id] * float64(f.v)
	}
	c.base = s
	for i, rel := range intervalsOf[q] {
		b := w.p[atInversion+q*4+i]
		lof := c.root + rel
		for k := range e.bass {
			for _, x := range e.bass[k] {
				if x.lof == lof {
					b += w.bass[k][q][i] * x.v
				}
			}
		}
		c.by[i] = b
	}
}

// posterior turns scores into probabilities: of (candidate, bass), in place of by; base becomes their sum.
func posterior(cs []candidate) {
	top := math.Inf(-1)
	for i := range cs {
		for j := 0; j < cs[i].n; j++ {
			top = max(top, cs[i].base+cs[i].by[j])
		}
	}
	sum := 0.0
	for i := range cs {
		c := &cs[i]
		t := 0.0
		for j := 0; j < c.n; j++ {
			c.by[j] = math.Exp(c.base + c.by[j] - top)
			t += c.by[j]
		}
		c.base = t
		sum += t
	}
	for i := range cs {
		cs[i].base /= sum
		for j := 0; j < cs[i].n; j++ {
			cs[i].by[j] /= sum
		}
	}
}

// rank sorts candidates, the likeliest first; ties by root and quality.
func rank(cs []candidate) {
	sort.Slice(cs, func(i, j int) bool {
		a, b := &cs[i], &cs[j]
		switch {
		case a.base != b.base:
			return a.base > b.base
		case a.root != b.root:
			return a.root < b.root
		}
		return a.q < b.q
	})
}
