package harmony

import (
	"math"
	"math/rand"

	"plumbline/theory/key"
)

// A key is weighed, span by span, by chords, notes, basses and steps of the roots in narrow and wide surroundings, all measured
// from its tonic; the weights are learned (log-linear). Blocks of parameters, each for major and for minor:
const (
	kChord     = 0                           // quality x root, here
	kChordNear = kChord + qualities*rels     // the mean of seven spans
	kNotes     = kChordNear + qualities*rels // share of time: here, within 4 quarters, within 12
	kBass      = kNotes + 3*rels             // share of the bass
	kStep      = kBass + rels                // way of the roots in fifths x root arrived at: here to the next, and in thirteen spans
	kMode      = kStep + 2*12*rels           // the mode by itself
	kSize      = kMode + 1
	kParams    = 2 * kSize
)

// keyFeature is a feature of a span: at + place - tonic, in bins, is its parameter.
type keyFeature struct {
	at    int32
	place int16 // on the line of fifths
	v     float32
}

// keyFeatures gathers the features of all spans.
func keyFeatures(ev []*evidence, read [][]candidate) [][]keyFeature {
	n := len(ev)
	own := make([][]keyFeature, n)   // chords
	steps := make([][]keyFeature, n) // steps of roots
	for i := range read {
		for _, c := range read[i] {
			if c.base < .05 {
				continue
			}
			own[i] = append(own[i], keyFeature{int32(int(c.q) * rels), int16(c.root), float32(c.base)})
			if i+1 == n {
				continue
			}
			for _, o := range read[i+1] {
				if p := c.base * o.base; p > .05 {
					steps[i] = append(steps[i], keyFeature{int32(mod12(o.root-c.root) * rels), int16(o.root), float32(p)})
				}
			}
		}
	}
	out := make([][]keyFeature, n)
	mean := func(i, reach, at int, of [][]keyFeature) {
		lo, hi := max(i-reach, 0), min(i+reach+1, n)
		sum := map[[2]int]float32{}
		var order [][2]int
		for j := lo; j < hi; j++ {
			for _, f := range of[j] {
				k := [2]int{int(f.at), int(f.place)}
				if _, ok := sum[k]; !ok {
					order = append(order, k)
				}
				sum[k] += f.v
			}
		}
		for _, k := range order {
			if v := sum[k] / float32(hi-lo); v > .01 {
				out[i] = append(out[i], keyFeature{int32(at + k[0]), int16(k[1]), v})
			}
		}
	}
	bass := make([][]keyFeature, n)
	for i, e := range ev {
		for _, w := range e.prof[pBass] {
			bass[i] = append(bass[i], keyFeature{0, int16(w.lof), float32(w.v)})
		}
	}
	for i, e := range ev {
		mean(i, 0, kChord, own)
		mean(i, 3, kChordNear, own)
		for k, p := range [3]int{pDuration, pNear, pWide} {
			for _, w := range e.prof[p] {
				out[i] = append(out[i], keyFeature{int32(kNotes + k*rels), int16(w.lof), float32(w.v)})
			}
		}
		mean(i, 0, kBass, bass)
		mean(i, 0, kStep, steps)
		mean(i, 6, kStep+12*rels, steps)
	}
	return out
}

// keyScores gives the log probability of each key for a span.
func keyScores(p []float64, fs []keyFeature, out *[keyStates]float64) {
	top := math.Inf(-1)
	for s := range out {
		base, tonic := s%2*kSize, tonicOf(s)
		v := p[base+kMode]
		for _, f := range fs {
			v += p[base+int(f.at)+bin(int(f.place)-tonic)] * float64(f.v)
		}
		out[s] = v
		top = max(top, v)
	}
	sum := 0.0
	for s := range out {
		sum += math.Exp(out[s] - top)
	}
	sum = top + math.Log(sum)
	for s := range out {
		out[s] -= sum
	}
}

// fitKeys learns the weights of keys from the experts' keys.
func fitKeys(fs [][][]keyFeature, lessons []Lesson, which func(i int) bool, epochs int, l2 float64) []float64 {
	type question struct {
		fs   []keyFeature
		want int
	}
	var qs []question
	for i, l := range lessons {
		if !which(i) {
			continue
		}
		for j, k := range l.Keys {
			if k == nil {
				continue
			}
			if s, ok := stateOf(key.Key{Tonic: k.Tonic, Mode: k.Mode}); ok {
				qs = append(qs, question{fs[i][j], s})
			}
		}
	}
	p, acc, mean, g := make([]float64, kParams), make([]float64, kParams), make([]float64, kParams), make([]float64, kParams)
	means := 0
	rng := rand.New(rand.NewSource(4))
	order := rng.Perm(len(qs))
	const batch = 64
	var score [keyStates]float64
	for epoch := 0; epoch < epochs; epoch++ {
		rng.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		for at := 0; at < len(order); at += batch {
			n := min(batch, len(order)-at)
			clear(g)
			for _, qi := range order[at : at+n] {
				q := &qs[qi]
				keyScores(p, q.fs, &score)
				for s := range score {
					d := -math.Exp(score[s])
					if s == q.want {
						d++
					}
					if math.Abs(d) < 1e-3 {
						continue
					}
					base, tonic := s%2*kSize, tonicOf(s)
					g[base+kMode] += d
					for _, f := range q.fs {
						g[base+int(f.at)+bin(int(f.place)-tonic)] += d * float64(f.v)
					}
				}
			}
			for i := range p {
				d := g[i]/float64(n) - l2*p[i]
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
