package harmony

import (
	"math"

	"plumbline/theory/key"
)

// The keys that are weighed: major and minor on each tonic from firstTonic fifths on.
const (
	firstTonic = -11
	tonics     = 25
	keyStates  = 2 * tonics
)

func stateOf(k key.Key) (int, bool) {
	i := k.Tonic.Fifths() - firstTonic
	if i < 0 || i >= tonics || k.Mode != key.Major && k.Mode != key.Minor {
		return 0, false
	}
	return 2*i + int(k.Mode), true
}

func keyOf(state int) key.Key {
	return key.Key{Tonic: classOf(state/2 + firstTonic), Mode: key.Mode(state % 2)}
}

func tonicOf(state int) int { return state/2 + firstTonic }

// keyTables say how likely a chord and a note are in a key.
type keyTables struct {
	chord   [2][qualities][rels]float64 // log of the share of roots among the chords of a quality, by mode
	class   [2][rels]float64            // log of the share of time of each class, by mode
	chordW  float64
	classW  float64
	change  float64 // log odds of leaving a key
	far     float64 // cost of each fifth between the signatures of two keys
	home    float64 // cost of each fifth from the signature of the passage as a whole
	quality [2][qualities]float64
}

// learnKeys counts the roots and classes of lessons relative to their keys. Each count is helped by the sum over qualities of
// its root, so that a rare chord is judged by its root alone.
func learnKeys(lessons []Lesson) keyTables {
	var t keyTables
	var chord [2][qualities][rels]float64
	var class [2][rels]float64
	for _, l := range lessons {
		for i, s := range l.Spans {
			k := l.Keys[i]
			if k == nil || k.Mode != key.Major && k.Mode != key.Minor {
				continue
			}
			c := l.Chords[i]
			if c.Quality >= 0 && int(c.Quality) < qualities {
				chord[k.Mode][c.Quality][bin(c.Root.Fifths()-k.Tonic.Fifths())]++
			}
			for _, w := range l.Music.tallySpan(s.From.Float(), s.To.Float()).dur.shares() {
				class[k.Mode][bin(w.lof-k.Tonic.Fifths())] += w.v
			}
		}
	}
	for m := range chord {
		var root [rels]float64
		sum := 0.0
		for q := range chord[m] {
			for i, n := range chord[m][q] {
				root[i] += n
				sum += n
			}
		}
		for q := range chord[m] {
			of := 0.0
			for _, n := range chord[m][q] {
				of += n
			}
			t.quality[m][q] = math.Log((of + .5) / (sum + .5*float64(qualities)))
			const help = 10
			for i, n := range chord[m][q] {
				t.chord[m][q][i] = math.Log((n + help*(root[i]+.5)/(sum+.5*rels)) / (of + help))
			}
		}
		sum = 0
		for _, n := range class[m] {
			sum += n
		}
		for i, n := range class[m] {
			t.class[m][i] = math.Log((n + 1) / (sum + rels))
		}
	}
	t.chordW, t.classW, t.change, t.far, t.home = .5, .1, 7, .1, .08
	return t
}

// emissions gives the log likelihood of each key in each span.
func (t *keyTables) emissions(ev []*evidence, read [][]candidate) [][keyStates]float64 {
	out := make([][keyStates]float64, len(ev))
	for i, e := range ev {
		for s := range out[i] {
			tonic, mode := tonicOf(s), s%2
			sum := 1e-4
			for _, c := range read[i] {
				sum += c.base * math.Exp(t.chord[mode][c.q][bin(c.root-tonic)])
			}
			v := t.chordW * math.Log(sum)
			p := 0.0
			for _, w := range e.prof[pDuration] {
				p += w.v * t.class[mode][bin(w.lof-tonic)]
			}
			out[i][s] = v + t.classW*p
		}
	}
	return out
}

func signature(state int) int {
	if state%2 == 1 {
		return tonicOf(state) - 3
	}
	return tonicOf(state)
}

// moves returns the log of the cost of going from one key to another.
func (t *keyTables) moves() *[keyStates][keyStates]float64 {
	var out [keyStates][keyStates]float64
	for a := range out {
		for b := range out[a] {
			if a != b {
				d := float64(abs(signature(a) - signature(b)))
				if tonicOf(a) == tonicOf(b) { // the parallel key is near although its signature isn't
					d = min(d, 1)
				}
				out[a][b] = -t.change - t.far*d
			}
		}
	}
	return &out
}

// prior returns the charge on each key by its distance from the home key, the one that does best for the whole passage.
func (t *keyTables) prior(em [][keyStates]float64) (prior [keyStates]float64) {
	var total [keyStates]float64
	for i := range em {
		for s := range total {
			total[s] += em[i][s]
		}
	}
	home := 0
	for s := range total {
		if total[s] > total[home] {
			home = s
		}
	}
	for s := range prior {
		d := abs(signature(s) - signature(home))
		if tonicOf(s) == tonicOf(home) {
			d = min(d, 1)
		}
		prior[s] = -t.home * float64(d)
	}
	return prior
}

// keyPath returns the likeliest course of keys.
func (t *keyTables) keyPath(em [][keyStates]float64) []int {
	n := len(em)
	if n == 0 {
		return nil
	}
	mv, prior := t.moves(), t.prior(em)
	best := make([][keyStates]float64, n)
	from := make([][keyStates]int, n)
	for i := range em {
		for s := range best[i] {
			v := 0.0
			if i > 0 {
				v = math.Inf(-1)
				for r := range best[i-1] {
					if x := best[i-1][r] + mv[r][s]; x > v {
						v, from[i][s] = x, r
					}
				}
			}
			best[i][s] = v + em[i][s] + prior[s]
		}
	}
	path := make([]int, n)
	for s := range best[n-1] {
		if best[n-1][s] > best[n-1][path[n-1]] {
			path[n-1] = s
		}
	}
	for i := n - 1; i > 0; i-- {
		path[i-1] = from[i][path[i]]
	}
	return path
}

// keyPosterior returns the probability of each key in each span, forwards and backwards.
func (t *keyTables) keyPosterior(em [][keyStates]float64) [][keyStates]float64 {
	n := len(em)
	mv, prior := t.moves(), t.prior(em)
	var trans [keyStates][keyStates]float64
	for a := range trans {
		for b := range trans[a] {
			trans[a][b] = math.Exp(mv[a][b])
		}
	}
	lik := make([][keyStates]float64, n)
	for i := range em {
		top := math.Inf(-1)
		for s := range em[i] {
			top = max(top, em[i][s]+prior[s])
		}
		for s := range em[i] {
			lik[i][s] = math.Exp(em[i][s] + prior[s] - top)
		}
	}
	norm := func(v *[keyStates]float64) {
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		for s := range v {
			v[s] /= sum
		}
	}
	fw := make([][keyStates]float64, n)
	for i := range fw {
		for s := range fw[i] {
			v := 1.0
			if i > 0 {
				v = 0
				for r := range fw[i-1] {
					v += fw[i-1][r] * trans[r][s]
				}
			}
			fw[i][s] = v * lik[i][s]
		}
		norm(&fw[i])
	}
	post := make([][keyStates]float64, n)
	var bw [keyStates]float64
	for s := range bw {
		bw[s] = 1
	}
	for i := n - 1; i >= 0; i-- {
		for s := range bw {
			post[i][s] = fw[i][s] * bw[s]
		}
		norm(&post[i])
		var next [keyStates]float64
		for r := range next {
			for s := range bw {
				next[r] += trans[r][s] * lik[i][s] * bw[s]
			}
		}
		norm(&next)
		bw = next
	}
	return post
}
