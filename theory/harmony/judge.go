package harmony

import (
	"math"
	"math/rand"
)

// What a claim about a span is judged by. Shares and probabilities are parts of 1.
const (
	jChordLog      = iota          // log probability of the chord claimed
	jBassLog                       // log probability of its bass in it
	jRootLog                       // log probability of its root, whatever the quality
	jBassAll                       // log probability of the bass, whatever the chord
	jBest                          // log probability of the likeliest chord
	jRival                         // log odds of the likeliest chord other than the one claimed against it
	jRank                          // place of the chord among the readings
	jKey                           // log share of the chord in the key
	jMissing                       // members that don't sound
	jFound                         // members that do
	jForeign                       // classes that are no members
	jForeignTime                   // share of time of foreign notes
	jForeignStill                  // the same without notes that move on by step
	jForeignLast                   // the longest a foreign note lasts, as a part of the span
	jForeignBass                   // share of the bass that is foreign
	jForeignMetric                 // the best metric place of a foreign note
	jForeignLeft                   // share of foreign notes in the left hand
	jClasses                       // different classes
	jLength                        // length of the span
	jNotes                         // notes
	jQuality                       // quality
	jSize                          // members in all
	jBassRole                      // member in the bass; its interval if it is none
	jBassMember                    // is the bass a member
	jBassFirst                     // is it the lowest note at the start
	jBassShare                     // share of time as the lowest note
	jBassLowest                    // is it the lowest of all
	jBassSounds                    // does it sound
	jBassBefore                    // is it the lowest just before
	jBassPrev                      // share of the bass before
	jBassNext                      // share of the bass after
	jBassMetric                    // metric place as the lowest note
	jBassLeft                      // the lowest note the left hand strikes
	jLowRole                       // what the lowest note is in the chord claimed
	jLowRoleLog                    // log probability of the lowest note as the bass
	jEnharmonic                    // members that sound under another spelling
	jRootPrev                      // log probability of the same chord before
	jRootNext                      // and after
	jMembers                       // four for each of root, third, fifth, seventh: lasts, metric place, sounds at start, sounds near by
	jPlace         = jMembers + 16 // share of time of each interval from the root, in twelve semitones
	jPlaceLast     = jPlace + 12   // the same, lasting
	jContext       = jPlaceLast + 12
)

// More of it: what is around.
const (
	jRootBefore    = jContext + iota // fifths from the root to that of the likeliest chord before, -5 to 6; 9 for none
	jRootAfter                       // and to the one after
	jRootBefore2                     // two before
	jRootAfter2                      // two after
	jQualityBefore                   // quality of the likeliest chord before
	jQualityAfter                    // and after
	jSureBefore                      // probability of that chord
	jSureAfter
	jBassFrom       // fifths from the bass to the likeliest bass before
	jBassTo         // and after
	jDegree         // fifths from the tonic to the root
	jBassDegree     // and to the bass
	jMode           // 0 major, 1 minor
	jKeySure        // probability of the key
	jDown           // metric place of the start
	jSameRootBefore // log probability of the same root before
	jSameRootAfter  // and after
	jPassage        // log share of the chord in the passage
	jResolveIn      // share of time of foreign notes that move by step to a member
	jResolveOut     // of those that move by step elsewhere
	jLeave          // of members that move by step to a foreign note
	jArrive         // of members that move by step to a member
	jForeignStart   // foreign classes that sound at the start
	jForeignNew     // foreign classes that are new here
	jForeignHeld    // foreign classes that are held over
	jMembersAtEnd   // members that sound at the end
	jForeignAtEnd   // foreign classes that do
	jNextMembers    // members among what sounds as the next span begins, as a part of it
	jFirstLog       // log probability in the first reading
	jMissingBefore  // missing members that sound in the span before
	jMissingAfter   // and after
	jTopMember      // share of the top line that is foreign
	jLengthBefore   // length of the span before, against this one
	jLengthAfter
	jRunnerLog // log probability of the second reading
	jWidth
)

// claimFeatures fills in what a claim about span i is judged by.
func (a *Analysis) claimFeatures(i int, c Chord, x []float32) {
	clear(x)
	e := a.ev[i]
	root, bass, q := c.Root.Fifths(), c.Bass.Fifths(), int(c.Quality)
	lg := func(p float64) float32 { return float32(math.Log(p + 1e-4)) }
	chordP, bassP, rootP, bassAll, rival, rank := 0.0, 0.0, 0.0, 0.0, 0.0, most
	lowP := 0.0
	low := math.MaxInt
	if w := e.bass[bLowest]; len(w) > 0 {
		low = w[0].lof
	}
	for k, o := range a.read[i] {
		same := pcOf(o.root) == pcOf(root)
		if same {
			rootP += o.base
		}
		if same && int(o.q) == q {
			chordP += o.base
			rank = min(rank, k)
		} else {
			rival = max(rival, o.base)
		}
		for j, rel := range intervalsOf[o.q] {
			if pcOf(o.root+rel) == pcOf(bass) {
				bassAll += o.by[j]
				if same && int(o.q) == q {
					bassP += o.by[j]
				}
			}
			if o.root+rel == low {
				lowP += o.by[j]
			}
		}
	}
	x[jChordLog], x[jRootLog], x[jBassAll] = lg(chordP), lg(rootP), lg(bassAll)
	x[jBassLog] = lg(bassP / (chordP + 1e-6))
	if len(a.read[i]) > 0 {
		x[jBest] = lg(a.read[i][0].base)
	}
	x[jRival] = lg(rival) - lg(chordP)
	x[jRank] = float32(rank)
	x[jLowRoleLog] = lg(lowP)
	mode, tonic := a.path[i]%2, tonicOf(a.path[i])
	x[jKey] = float32(a.tables.keys.chord[mode][q][bin(root-tonic)])
	at := func(w []weight, lof int) float32 {
		for _, y := range w {
			if y.lof == lof {
				return float32(y.v)
			}
		}
		return 0
	}
	for m, rel := range intervalsOf[q] {
		lof := root + rel
		if has(e.prof[pPresent], lof) {
			x[jFound]++
		} else {
			x[jMissing]++
			for _, w := range e.prof[pPresent] {
				if pcOf(w.lof) == pcOf(lof) {
					x[jEnharmonic]++
					break
				}
			}
		}
		slot := [4]int{0, 1, 2, 3}[m]
		if q < 9 && m > 0 { // by size: thirds, fifths, sevenths
			switch rel {
			case 4, -3:
				slot = 1
			case 1, -6, 8:
				slot = 2
			default:
				slot = 3
			}
		}
		y := x[jMembers+4*slot:]
		y[0], y[1], y[2] = at(e.prof[pLasting], lof), at(e.prof[pMetric], lof), at(e.prof[pStart], lof)
		if has(e.prof[pPrevious], lof) {
			y[3]++
		}
		if has(e.prof[pNext], lof) {
			y[3] += 2
		}
	}
	foreign := func(lof int) bool { return role(q, lof-root) >= memberRoles }
	for _, w := range e.prof[pPresent] {
		if foreign(w.lof) {
			x[jForeign]++
			x[jForeignTime] += at(e.prof[pDuration], w.lof)
			x[jForeignStill] += at(e.prof[pStill], w.lof)
			x[jForeignLast] = max(x[jForeignLast], at(e.prof[pLasting], w.lof))
			x[jForeignBass] += at(e.prof[pBass], w.lof)
			x[jForeignMetric] = max(x[jForeignMetric], at(e.prof[pMetric], w.lof))
			x[jForeignLeft] += at(e.prof[pLeft], w.lof)
		}
		s := mod12(pcOf(w.lof) - pcOf(root))
		x[jPlace+s] += at(e.prof[pDuration], w.lof)
		x[jPlaceLast+s] = max(x[jPlaceLast+s], at(e.prof[pLasting], w.lof))
	}
	x[jClasses], x[jNotes] = float32(e.classes), float32(e.notes)
	x[jLength] = float32(e.b - e.a)
	x[jQuality], x[jSize] = float32(q), float32(len(intervalsOf[q]))
	x[jBassRole] = float32(role(q, bass-root))
	if !foreign(bass) {
		x[jBassMember] = 1
	}
	x[jBassFirst], x[jBassShare], x[jBassLowest] = at(e.bass[bFirst], bass), at(e.bass[bShare], bass), at(e.bass[bLowest], bass)
	x[jBassSounds], x[jBassBefore], x[jBassPrev] = at(e.prof[pPresent], bass), at(e.bass[bBefore], bass), at(e.bass[bPrev], bass)
	x[jBassNext], x[jBassMetric], x[jBassLeft] = at(e.bass[bNext], bass), at(e.bass[bMetric], bass), at(e.bass[bLeftLow], bass)
	x[jLowRole] = -1
	if low != math.MaxInt {
		x[jLowRole] = float32(role(q, low-root))
	}
	same := func(j int) float64 {
		p := 0.0
		if j >= 0 && j < len(a.read) {
			for _, o := range a.read[j] {
				if o.root == root && int(o.q) == q {
					p += o.base
				}
			}
		}
		return p
	}
	x[jRootPrev], x[jRootNext] = lg(same(i-1)), lg(same(i+1))
	a.contextFeatures(i, c, x)
}

// fifths returns the way from a to b on the circle of fifths, -5 to 6.
func fifths(a, b int) float32 { return float32(mod12(b-a+5) - 5) }

// contextFeatures fills in the features from jContext on.
func (a *Analysis) contextFeatures(i int, c Chord, x []float32) {
	e := a.ev[i]
	root, bass, q := c.Root.Fifths(), c.Bass.Fifths(), int(c.Quality)
	lg := func(p float64) float32 { return float32(math.Log(p + 1e-4)) }
	for k, j := range [4]int{i - 1, i + 1, i - 2, i + 2} {
		x[jRootBefore+k] = 9
		if j < 0 || j >= len(a.read) || len(a.read[j]) == 0 {
			if k < 2 {
				x[jQualityBefore+k], x[jBassFrom+k] = -1, 9
			}
			continue
		}
		o := &a.read[j][0]
		x[jRootBefore+k] = fifths(root, o.root)
		if k >= 2 {
			continue
		}
		x[jQualityBefore+k], x[jSureBefore+k] = float32(o.q), float32(o.base)
		low := 0
		for m := 1; m < o.n; m++ {
			if o.by[m] > o.by[low] {
				low = m
			}
		}
		x[jBassFrom+k] = fifths(bass, o.root+intervalsOf[o.q][low])
		p := 0.0
		for n := range a.read[j] {
			if a.read[j][n].root == root {
				p += a.read[j][n].base
			}
		}
		x[jSameRootBefore+k] = lg(p)
		d := a.ev[j].b - a.ev[j].a
		x[jLengthBefore+k] = float32(math.Log((d + .1) / (e.b - e.a + .1)))
	}
	tonic := tonicOf(a.path[i])
	x[jDegree], x[jBassDegree], x[jMode] = float32(bin(root-tonic)), float32(bin(bass-tonic)), float32(a.path[i]%2)
	x[jKeySure] = float32(a.soft.keys[i][a.path[i]])
	x[jDown] = float32(e.down)
	x[jPassage] = lg(a.soft.chord[[2]int{root, q}] / float64(len(a.read)))
	for n := range a.soft.read[i] {
		if o := &a.soft.read[i][n]; o.root == root && int(o.q) == q {
			x[jFirstLog] = lg(o.base)
			break
		}
		x[jFirstLog] = lg(0)
	}
	if len(a.read[i]) > 1 {
		x[jRunnerLog] = lg(a.read[i][1].base)
	}
	member := func(lof int) bool { return role(q, lof-root) < memberRoles }
	for _, m := range e.motions {
		switch from := member(m.from); {
		case m.to == noMotion:
		case !from && member(m.to):
			x[jResolveIn] += float32(m.v)
		case !from:
			x[jResolveOut] += float32(m.v)
		case member(m.to):
			x[jArrive] += float32(m.v)
		default:
			x[jLeave] += float32(m.v)
		}
	}
	out := func(w []weight) (n float32) {
		for _, y := range w {
			if !member(y.lof) {
				n++
			}
		}
		return n
	}
	x[jForeignStart], x[jForeignNew], x[jForeignHeld], x[jForeignAtEnd] = out(e.prof[pStart]), out(e.prof[pNew]), out(e.prof[pHeld]), out(e.prof[pEnd])
	x[jMembersAtEnd] = float32(len(e.prof[pEnd])) - x[jForeignAtEnd]
	if n := len(e.prof[pNextStart]); n > 0 {
		x[jNextMembers] = 1 - out(e.prof[pNextStart])/float32(n)
	}
	for _, rel := range intervalsOf[q] {
		if has(e.prof[pPresent], root+rel) {
			continue
		}
		if has(e.prof[pPrevious], root+rel) {
			x[jMissingBefore]++
		}
		if has(e.prof[pNext], root+rel) {
			x[jMissingAfter]++
		}
	}
	for _, w := range e.prof[pTop] {
		if !member(w.lof) {
			x[jTopMember] += float32(w.v)
		}
	}
}

// plain reports whether all members of c sound in span i, spelled so, and its bass is the lowest note at some time. Such a
// claim holds outright.
func (a *Analysis) plain(i int, c Chord) bool {
	e := a.ev[i]
	for _, rel := range intervalsOf[c.Quality] {
		if !has(e.prof[pPresent], c.Root.Fifths()+rel) {
			return false
		}
	}
	return has(e.bass[bEver], c.Bass.Fifths())
}

// slip returns a wrong claim as an analyst might make it: another quality, the root off by a third or a fifth, a seventh
// that isn't there, or a member as the bass that never is the lowest note. It is false if the kind doesn't apply to c.
func (a *Analysis) slip(i int, c Chord, kind int, rng *rand.Rand) (Chord, bool) {
	e := a.ev[i]
	pick := func(of ...int) int { return of[rng.Intn(len(of))] }
	out := c
	root := c.Root.Fifths()
	switch kind {
	case 0:
		var others []int
		switch c.Quality {
		case Major:
			others = []int{int(Minor), int(Augmented)}
		case Minor:
			others = []int{int(Major), int(Diminished)}
		case Diminished:
			others = []int{int(Minor)}
		case Augmented:
			others = []int{int(Major)}
		case DominantSeventh:
			others = []int{int(MinorSeventh), int(MajorSeventh)}
		case MinorSeventh:
			others = []int{int(DominantSeventh), int(HalfDiminished), int(MajorSeventh)}
		case MajorSeventh:
			others = []int{int(DominantSeventh), int(MinorMajorSeventh)}
		case HalfDiminished:
			others = []int{int(MinorSeventh), int(DiminishedSeventh)}
		case DiminishedSeventh:
			others = []int{int(HalfDiminished)}
		default:
			return c, false
		}
		out.Quality = Quality(pick(others...))
	case 1:
		out.Root = classOf(root + pick(3, -3, 4, -4))
	case 2:
		out.Root = classOf(root + pick(1, -1, 2, -2))
	case 3:
		switch c.Quality {
		case Major:
			out.Quality = Quality(pick(int(DominantSeventh), int(MajorSeventh)))
		case Minor:
			out.Quality = MinorSeventh
		case Diminished:
			out.Quality = Quality(pick(int(HalfDiminished), int(DiminishedSeventh)))
		default:
			return c, false
		}
	case 4:
		var others []int
		for _, rel := range intervalsOf[c.Quality] {
			if !has(e.bass[bEver], root+rel) && root+rel != c.Bass.Fifths() {
				others = append(others, root+rel)
			}
		}
		if len(others) == 0 {
			return c, false
		}
		out.Bass = classOf(pick(others...))
		return out, true
	}
	for _, rel := range intervalsOf[out.Quality] {
		if !has(e.prof[pPresent], out.Root.Fifths()+rel) {
			return out, true
		}
	}
	return c, false
}

const slipKinds = 5

// learnJudge grows the forest from what the experts say and from slips of our own making.
func learnJudge(as []*Analysis, lessons []Lesson, trees int, seed int64) *forest {
	rng := rand.New(rand.NewSource(seed))
	var x [][]float32
	var right []bool
	var weigh []float64
	put := func(a *Analysis, i int, c Chord, ok bool, w float64) {
		f := make([]float32, jWidth)
		a.claimFeatures(i, c, f)
		x, right, weigh = append(x, f), append(right, ok), append(weigh, w)
	}
	for k, a := range as {
		for i, c := range lessons[k].Chords {
			if c.Quality < 0 || int(c.Quality) >= qualities {
				continue
			}
			if !a.plain(i, c) {
				put(a, i, c, true, 2)
			}
			for kind := 0; kind < slipKinds; kind++ {
				n := 1
				if kind != 3 {
					n = 2
				}
				for ; n > 0; n-- {
					if s, ok := a.slip(i, c, kind, rng); ok && !a.plain(i, s) {
						put(a, i, s, false, .5)
					}
				}
			}
		}
	}
	g := growth{trees: trees, rate: .1, l2: 5, least: 3, part: .5, seed: seed}
	return g.grow(&examples{x: x, right: right, weigh: weigh})
}

// learnThird grows the forest of the third reading: of the contenders of each span, which does the expert mean?
func learnThird(as []*Analysis, lessons []Lesson, trees int) *forest {
	ex := &examples{}
	for k, a := range as {
		for i, want := range lessons[k].Chords {
			con := a.contenders(i)
			any := false
			for _, y := range con {
				any = any || meant(&a.read[i][y.c], y.member, want)
			}
			if !any || len(con) < 2 {
				continue
			}
			ex.groups = append(ex.groups, len(ex.x))
			for _, y := range con {
				f := make([]float32, jWidth)
				a.claimFeatures(i, a.chordOf(i, y), f)
				ex.x = append(ex.x, f)
				ex.right = append(ex.right, meant(&a.read[i][y.c], y.member, want))
				ex.start = append(ex.start, math.Log(y.p+1e-9))
				ex.weigh = append(ex.weigh, 1)
			}
		}
	}
	g := growth{trees: trees, rate: .08, l2: 10, least: 5, part: .5, seed: 5}
	return g.grow(ex)
}
