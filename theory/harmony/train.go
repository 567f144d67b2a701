package harmony

import (
	"math"
	"math/rand"
	"sort"

	"plumbline/theory/key"
)

// A Lesson is a passage with what an expert says of it, span by span. Of a chord whose Quality is out of range nothing is
// learned.
type Lesson struct {
	Music  *Music
	Spans  []Span
	Chords []Chord
	Keys   []*key.Key // nil where nothing is said
}

// Settings of learning, found by trying a few on one set with the other kept aside.
const (
	folds       = 4
	epochs      = 12
	l2          = 2e-3 // penalty on the squares of the first reading's parameters
	l2Second    = 3e-2
	l2Keys      = 1e-3
	epochsKeys  = 8
	judgeTrees  = 150
	thirdTrees  = 60
	changeTrees = 80
	alarms      = .03 // part of the experts' labels that may fail
)

// Learn makes the tables anew from lessons. The same lessons give the same tables. Every reading learns from the readings below it
// of pieces that those were not learned from, four folds of them, since it has to know how much to trust them.
func Learn(lessons []Lesson) *Tables {
	ev := make([][]*evidence, len(lessons))
	each := make([][]lesson, len(lessons))
	for i, l := range lessons {
		ev[i] = l.Music.evidence(l.Spans)
		for j, e := range ev[i] {
			if x, ok := newLesson(e, l.Chords[j]); ok {
				each[i] = append(each[i], x)
			}
		}
	}
	read := make([][][]candidate, len(lessons))
	var all []lesson
	for f := 0; f < folds; f++ {
		var some []lesson
		for i := range lessons {
			if i%folds != f {
				some = append(some, each[i]...)
			}
		}
		w := newWeights(fit(some, epochs, l2, 1))
		for i := range lessons {
			if i%folds == f {
				read[i] = w.first(ev[i])
				all = append(all, each[i]...)
			}
		}
	}
	return learnRest(lessons, ev, read, newWeights(fit(all, epochs, l2, 1)))
}

// learnRest learns all but the first reading, w, from first readings of pieces that these were not learned from.
func learnRest(lessons []Lesson, ev [][]*evidence, read [][][]candidate, w *weights) *Tables {
	t := &Tables{keys: learnKeys(lessons), w: w}
	t.second = fit2(lessons, &t.keys, ev, read, epochs, l2Second)
	fs := make([][][]keyFeature, len(lessons))
	for i := range lessons {
		fs[i] = keyFeatures(ev[i], t.again(soften(read[i], t.keys.keyPosterior(t.keys.emissions(ev[i], read[i]))), ev[i]))
	}
	as := make([]*Analysis, len(lessons))
	for f := 0; f < folds; f++ {
		t.keyW = fitKeys(fs, lessons, func(i int) bool { return i%folds != f }, epochsKeys, l2Keys)
		for i, l := range lessons {
			if i%folds == f {
				as[i] = t.finish(l.Music, l.Spans, ev[i], read[i])
			}
		}
	}
	t.keyW = fitKeys(fs, lessons, func(int) bool { return true }, epochsKeys, l2Keys)
	// The judge's threshold is set, on pieces that it doesn't know, where the experts' labels that would fail are the part wanted.
	var odds []float64
	labels := 0
	for f := 0; f < folds; f++ {
		var some, rest []*Analysis
		var someL, restL []Lesson
		for i := range lessons {
			if i%folds != f {
				some, someL = append(some, as[i]), append(someL, lessons[i])
			} else {
				rest, restL = append(rest, as[i]), append(restL, lessons[i])
			}
		}
		t.judge = learnJudge(some, someL, judgeTrees, 3)
		for k, a := range rest {
			for i, c := range restL[k].Chords {
				labels++
				if c.Quality < 0 || int(c.Quality) >= qualities {
					continue
				}
				if o, plain := a.verdict(i, c); !plain {
					odds = append(odds, o)
				}
			}
		}
	}
	sort.Float64s(odds)
	if n := int(alarms * float64(labels)); n < len(odds) {
		t.threshold = odds[n]
	}
	t.judge = learnJudge(as, lessons, judgeTrees, 3)
	t.third = learnThird(as, lessons, thirdTrees)
	t.change = t.learnChange(lessons, changeTrees)
	return t
}

// fit2 learns the parameters of the second reading, as fit does those of the first.
func fit2(lessons []Lesson, keys *keyTables, ev [][]*evidence, read [][][]candidate, epochs int, l2 float64) []float64 {
	type question struct {
		xs   []contextual
		good []bool
	}
	var qs []question
	for i, l := range lessons {
		s := soften(read[i], keys.keyPosterior(keys.emissions(ev[i], read[i])))
		for j := range l.Spans {
			q := question{xs: s.contexts(keys, ev[i], j)}
			any := false
			for _, x := range q.xs {
				ok := meant(&read[i][j][x.c], x.member, l.Chords[j])
				q.good = append(q.good, ok)
				any = any || ok
			}
			if any {
				qs = append(qs, q)
			}
		}
	}
	p := make([]float64, c2Params)
	p[c2First], p[c2First+1] = 1, 1
	const sharedPenalty = 1e-3 // on parameters that many labels share
	start := append([]float64(nil), p...)
	acc := make([]float64, c2Params)
	mean := make([]float64, c2Params)
	g := make([]float64, c2Params)
	means := 0
	order := make([]int, len(qs))
	for i := range order {
		order[i] = i
	}
	rng := rand.New(rand.NewSource(2))
	const batch = 32
	for epoch := 0; epoch < epochs; epoch++ {
		rng.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		for at := 0; at < len(order); at += batch {
			n := min(batch, len(order)-at)
			clear(g)
			for _, qi := range order[at : at+n] {
				q := &qs[qi]
				score2(p, q.xs)
				good := 1e-12
				for i, x := range q.xs {
					if q.good[i] {
						good += x.score
					}
				}
				for i, x := range q.xs {
					d := -x.score
					if q.good[i] {
						d += x.score / good
					}
					if math.Abs(d) < 1e-4 {
						continue
					}
					for _, f := range x.feat {
						g[f.id] += d * float64(f.v)
					}
				}
			}
			for i := range p {
				pen := l2
				switch {
				case i < c2Numeral, i >= c2Piece && i < c2Bass, i >= c2SixFour && i < c2Degree4:
					pen = sharedPenalty
				case i >= c2Distance && i < c2Piece:
					pen = math.Sqrt(l2 * sharedPenalty)
				}
				d := g[i]/float64(n) - pen*(p[i]-start[i])
				if d == 0 {
					continue
				}
				acc[i] += d * d
				p[i] += .1 * d / (math.Sqrt(acc[i]) + 1e-3)
			}
			if epoch >= epochs/2 {
				for i := range mean {
					mean[i] += p[i]
				}
				means++
			}
		}
	}
	for i := range mean {
		mean[i] /= float64(max(means, 1))
	}
	return mean
}

// lesson is one span with what the expert says of it.
type lesson struct {
	e    *evidence
	cs   []candidate
	want Chord
}

func pcOf(lof int) int { return ((lof*7)%12 + 12) % 12 }

// meant reports whether c, with its member i as the bass, is the chord the expert means, as it sounds.
func meant(c *candidate, i int, want Chord) bool {
	return c.q == want.Quality && pcOf(c.root) == want.Root.PC() && pcOf(c.root+intervalsOf[c.q][i]) == want.Bass.PC()
}

func newLesson(e *evidence, want Chord) (lesson, bool) {
	l := lesson{e: e, cs: candidates(e), want: want}
	ok := false
	for i := range l.cs {
		features(e, &l.cs[i])
		for j := 0; j < l.cs[i].n; j++ {
			ok = ok || meant(&l.cs[i], j, want)
		}
	}
	return l, ok
}

// likely returns the n likeliest candidates and those that may be meant.
func (l *lesson) likely(n int) []candidate {
	byBase := make([]int, len(l.cs))
	for i := range byBase {
		byBase[i] = i
	}
	sort.SliceStable(byBase, func(x, y int) bool { return l.cs[byBase[x]].base > l.cs[byBase[y]].base })
	var out []candidate
	for k, i := range byBase {
		c := l.cs[i]
		if k < n || c.q == l.want.Quality && pcOf(c.root) == l.want.Root.PC() {
			out = append(out, c)
		}
	}
	return out
}

// fit learns the recognizer's parameters: it climbs the log-likelihood of what the experts say, less a penalty on the squares
// of the parameters, by adaptive steps (Duchi, Hazan, Singer 2011) over small batches, and returns the mean of the last half
// of the way.
func fit(lessons []lesson, epochs int, l2 float64, seed int64) []float64 {
	p := make([]float64, params)
	acc := make([]float64, params)
	mean := make([]float64, params)
	means := 0
	g := make([]float64, params)
	rng := rand.New(rand.NewSource(seed))
	order := rng.Perm(len(lessons))
	w := newWeights(p)
	const batch = 32
	rate := .1
	var gEff [profiles][qualities][rels]float64
	var gBass [bassProfiles][qualities][4]float64
	// After two rounds the unlikely candidates are left out: they take most of the time and move nothing.
	const allRounds, kept = 2, 24
	likely := make([][]candidate, len(lessons))
	for epoch := 0; epoch < epochs; epoch++ {
		rng.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		for at := 0; at < len(order); at += batch {
			n := min(batch, len(order)-at)
			clear(g)
			gEff = [profiles][qualities][rels]float64{}
			gBass = [bassProfiles][qualities][4]float64{}
			for _, li := range order[at : at+n] {
				l := &lessons[li]
				cs := l.cs
				if likely[li] != nil {
					cs = likely[li]
				}
				for i := range cs {
					w.score(l.e, &cs[i])
				}
				posterior(cs)
				if epoch == allRounds-1 {
					likely[li] = l.likely(kept)
				}
				good := 0.0
				for i := range cs {
					for j := 0; j < cs[i].n; j++ {
						if meant(&cs[i], j, l.want) {
							good += cs[i].by[j]
						}
					}
				}
				if good < 1e-12 {
					continue
				}
				for i := range cs {
					c := &cs[i]
					q := int(c.q)
					total := 0.0
					for j := 0; j < c.n; j++ {
						d := -c.by[j]
						if meant(c, j, l.want) {
							d += c.by[j] / good
						}
						total += d
						if math.Abs(d) < 1e-4 {
							continue
						}
						g[atInversion+q*4+j] += d
						lof := c.root + intervalsOf[q][j]
						for k := range l.e.bass {
							for _, x := range l.e.bass[k] {
								if x.lof == lof {
									gBass[k][q][j] += d * x.v
								}
							}
						}
					}
					if math.Abs(total) < 1e-4 {
						continue
					}
					for k := range l.e.prof {
						row := &gEff[k][q]
						for _, x := range l.e.prof[k] {
							row[bin(x.lof-c.root)] += total * x.v
						}
					}
					for _, f := range c.feat {
						g[f.id] += total * float64(f.v)
					}
				}
			}
			for k := range gEff {
				for q := range gEff[k] {
					for i, v := range gEff[k][q] {
						g[atTied+k*roles+int(roleTable[q][i])] += v
						g[atFree+(k*qualities+q)*rels+i] += v
					}
				}
			}
			for k := range gBass {
				for q := range gBass[k] {
					for i, rel := range intervalsOf[q] {
						g[atBassTied+k*memberRoles+int(roleTable[q][rel+reach])] += gBass[k][q][i]
						g[atBassFree+(k*qualities+q)*4+i] += gBass[k][q][i]
					}
				}
			}
			for i := range p {
				pen := l2
				if i >= atFree && i < atBassTied || i >= atBassFree && i < atInversion {
					pen *= 8
				}
				if i >= atInversion {
					pen *= .3
				}
				if i >= atFound {
					pen *= .3
				}
				d := g[i]/float64(n) - pen*p[i]
				if d == 0 {
					continue
				}
				acc[i] += d * d
				p[i] += rate * d / (math.Sqrt(acc[i]) + 1e-3)
			}
			w.settle()
			if epoch >= epochs/2 {
				for i := range mean {
					mean[i] += p[i]
				}
				means++
			}
		}
	}
	for i := range mean {
		mean[i] /= float64(max(means, 1))
	}
	return mean
}
