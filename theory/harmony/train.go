package harmony

import (
	"fmt"
	"math"
	"math/rand"
	"os"

	"plumbline/theory/key"
)

// A Lesson is a passage with what an expert says of it, span by span. Of a chord whose Quality is out of range nothing is
// learned.
type Lesson struct {
	Music  *Music
	Spans  []Span
	Chords []Chord
	Keys   []key.Key
}

// Learn makes the tables anew from lessons. The same lessons give the same tables.
func Learn(lessons []Lesson) *Tables {
	var all []lesson
	for _, l := range lessons {
		for i, e := range l.Music.evidence(l.Spans) {
			if x, ok := newLesson(e, l.Chords[i]); ok {
				all = append(all, x)
			}
		}
	}
	xp := func(name string, d float64) float64 {
		if s := os.Getenv(name); s != "" {
			fmt.Sscan(s, &d)
		}
		return d
	}
	freePenalty = xp("FREE", 8)
	t := &Tables{w: newWeights(fit(all, int(xp("EPOCHS", 12)), xp("L2", 2e-3), 1)), keys: learnKeys(lessons)}
	var ev [][]*evidence
	var read [][][]candidate
	for _, l := range lessons {
		e := l.Music.evidence(l.Spans)
		ev = append(ev, e)
		read = append(read, t.w.first(e))
	}
	best := t.keys.tune(lessons, ev, read)
	if xp("DIAG", 0) > 0 {
		fmt.Println("keys", best, t.keys.change, t.keys.home, t.keys.classW, t.keys.far, t.keys.chordW)
	}
	return t
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
	for epoch := 0; epoch < epochs; epoch++ {
		rng.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		for at := 0; at < len(order); at += batch {
			n := min(batch, len(order)-at)
			clear(g)
			gEff = [profiles][qualities][rels]float64{}
			gBass = [bassProfiles][qualities][4]float64{}
			for _, li := range order[at : at+n] {
				l := &lessons[li]
				for i := range l.cs {
					w.score(l.e, &l.cs[i])
				}
				posterior(l.cs)
				good := 0.0
				for i := range l.cs {
					for j := 0; j < l.cs[i].n; j++ {
						if meant(&l.cs[i], j, l.want) {
							good += l.cs[i].by[j]
						}
					}
				}
				if good < 1e-12 {
					continue
				}
				for i := range l.cs {
					c := &l.cs[i]
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
					pen *= freePenalty
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

var freePenalty = 4.0
