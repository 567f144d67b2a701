package spell

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
)

var trainFlag = flag.Bool("train", false, "learn the weights of the second look from the songs and write weights.go")

// lay puts each region where most of its notes are right.
func (s *speller) lay(p *piece) {
	for k := range s.regions {
		r := &s.regions[k]
		most := -1
		for _, v := range s.variants(nil, r) {
			n := 0
			for i := r.from; i < r.to; i++ {
				if int8(v.tonic)+degree[r.mode][(s.pc[i]+12-uint8(r.pc))%12] == p.fifths[i] {
					n++
				}
			}
			if n > most {
				most, r.tonic = n, int8(v.tonic)
			}
		}
	}
	s.nameKeys()
}

// learn fits the weights to the pieces by stochastic gradient ascent on the likelihood of each note's spelling, given the
// right spelling of all the others (pseudo-likelihood: J. Besag, "Statistical analysis of non-lattice data", The
// Statistician 24, 1975), with AdaGrad steps.
func learn(pieces []piece, epochs int, logf func(string, ...any)) []int16 {
	r := rand.New(rand.NewPCG(7, 7))
	w, g2 := make([]float64, nWeights), make([]float64, nWeights)
	type prepared struct {
		s    *speller
		base []int8
	}
	var ps []prepared
	for i := range pieces {
		s := newSpeller(pieces[i].notes)
		s.keys(pieces[i].sigs)
		s.lay(&pieces[i])
		base := s.fifths
		s.fifths = pieces[i].fifths
		ps = append(ps, prepared{s, base})
	}
	var v view
	for epoch := range epochs {
		loss, n := 0.0, 0
		for _, x := range r.Perm(len(ps)) {
			s, base := ps[x].s, ps[x].base
			for i := range base {
				right := -1
				s.sees(i, &v)
				var p [3]float64
				for c := range p {
					f := int(base[i]) + 12*(c-1)
					if f == int(s.fifths[i]) {
						right = c
					}
					v.features(c, f, func(k int, x float32) { p[c] += w[k] * float64(x) })
				}
				if right < 0 {
					continue
				}
				top, z := max(p[0], p[1], p[2]), 0.0
				for c := range p {
					p[c] = math.Exp(p[c] - top)
					z += p[c]
				}
				loss -= math.Log(p[right] / z)
				n++
				for c := range p {
					e := -p[c] / z
					if c == right {
						e++
					}
					if math.Abs(e) < 1e-4 {
						continue
					}
					v.features(c, int(base[i])+12*(c-1), func(k int, x float32) {
						g := e*float64(x) - 1e-5*w[k]
						g2[k] += g * g
						w[k] += 0.1 * g / math.Sqrt(g2[k]+0.1)
					})
				}
			}
		}
		logf("epoch %d: loss %.5f a note", epoch, loss/float64(n))
	}
	out := make([]int16, nWeights)
	for i := range w {
		out[i] = int16(math.Round(min(max(w[i]*unit, -32000), 32000)))
	}
	return out
}

func writeWeights(w []int16) error {
	f, err := os.Create("weights.go")
	if err != nil {
		return err
	}
	defer f.Close()
	fmt.Fprint(f, "package spell\n\n// Learned by go test -run TestLearn -train: don't edit.\nvar weights = [nWeights]int16{")
	for i, x := range w {
		if i%24 == 0 {
			fmt.Fprint(f, "\n\t")
		} else {
			fmt.Fprint(f, " ")
		}
		fmt.Fprintf(f, "%d,", x)
	}
	_, err = fmt.Fprint(f, "\n}\n")
	return err
}

// rate is how many of 100 notes f spells right.
func rate(ps []piece, f func(p *piece) []int8) float64 {
	var wg sync.WaitGroup
	var right, all atomic.Int64
	next := make(chan *piece)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for p := range next {
				for j, x := range f(p) {
					all.Add(1)
					if x == p.fifths[j] {
						right.Add(1)
					}
				}
			}
		})
	}
	for i := range ps {
		next <- &ps[i]
	}
	close(next)
	wg.Wait()
	return 100 * float64(right.Load()) / float64(all.Load())
}

func TestLearn(t *testing.T) {
	if !*trainFlag {
		t.Skip("not asked to learn (-train)")
	}
	l, g, c := songs(t, false), tables(t, "grieg_lyric_pieces"), tables(t, "chopin_mazurkas")
	la := songs(t, true)
	show := func(name string, w []int16) {
		for _, m := range []string{"none", "given", "laid"} {
			f := func(p *piece) []int8 {
				s := newSpeller(p.notes)
				if m == "given" {
					s.keys(p.sigs)
				} else {
					s.keys(nil)
				}
				if m == "laid" {
					s.lay(p)
				}
				s.local(w)
				return s.fifths
			}
			t.Logf("%s, signature %s: grieg %.3f chopin %.3f songs %.3f", name, m, rate(g, f), rate(c, f), rate(l, f))
		}
	}
	show("keys only", nil)
	w := learn(l, 6, t.Logf)
	show("piano", w)
	w = learn(la, 6, t.Logf)
	show("all parts", w)
	if err := writeWeights(w); err != nil {
		t.Fatal(err)
	}
}
