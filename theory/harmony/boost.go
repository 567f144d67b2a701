package harmony

import (
	"math"
	"math/rand"
	"slices"
	"sort"
)

// forest is a sum of small decision trees on numbers, the log odds of a claim being right. It is learned by gradient boosting
// (Friedman 2001) on the logistic loss with second-order leaves.
type forest struct {
	bias  float64
	trees []tree
}

// A tree has inner nodes 1 to 2^depth-1 in heap order and 2^depth leaves. A value below the cut goes to node 2n, else 2n+1.
type tree struct {
	feature [1 << treeDepth]int16
	cut     [1 << treeDepth]float32
	leaf    [1 << treeDepth]float32
}

const treeDepth = 3

func (f *forest) score(x []float32) float64 {
	s := f.bias
	for i := range f.trees {
		s += f.trees[i].score(x)
	}
	return s
}

func (t *tree) score(x []float32) float64 {
	n := 1
	for n < 1<<treeDepth {
		m := n
		n *= 2
		if x[t.feature[m]] >= t.cut[m] {
			n++
		}
	}
	return float64(t.leaf[n-1<<treeDepth])
}

// A growth says how a forest is grown.
type growth struct {
	trees int
	rate  float64 // part of each tree's answer that counts
	l2    float64 // penalty on the squares of the leaves
	least float64 // weight that each side of a cut must have
	part  float64 // part of the examples, or of their groups, that each tree sees
	seed  int64
}

// examples are what a forest is grown from. Without groups each is judged by itself (logistic loss); groups are runs of examples of
// which one kind is right, told by where each begins, and the scores within a group compete (softmax). Start, if there, is the score
// that each example begins with; a forest of groups has no bias.
type examples struct {
	x      [][]float32
	right  []bool
	weigh  []float64
	start  []float64
	groups []int
}

// grow learns a forest by histograms of at most 48 bins a feature; each tree sees a random part of the examples (Friedman 2002).
func (g growth) grow(ex *examples) *forest {
	const bins = 48
	n := len(ex.x)
	if n == 0 {
		return &forest{}
	}
	width := len(ex.x[0])
	cuts := make([][]float32, width)
	binned := make([]uint8, n*width)
	sorted := make([]float32, n)
	for f := range cuts {
		for i := range ex.x {
			sorted[i] = ex.x[i][f]
		}
		slices.Sort(sorted)
		for b := 1; b < bins; b++ {
			v := sorted[b*n/bins]
			if v > sorted[0] && (len(cuts[f]) == 0 || v > cuts[f][len(cuts[f])-1]) {
				cuts[f] = append(cuts[f], v)
			}
		}
		for i := range ex.x {
			v := ex.x[i][f]
			binned[i*width+f] = uint8(sort.Search(len(cuts[f]), func(k int) bool { return cuts[f][k] > v }))
		}
	}
	out := &forest{}
	if ex.groups == nil {
		pos, all := 0.0, 0.0
		for i, r := range ex.right {
			all += ex.weigh[i]
			if r {
				pos += ex.weigh[i]
			}
		}
		out.bias = math.Log((pos + .5) / (all - pos + .5))
	}
	score := make([]float64, n)
	for i := range score {
		score[i] = out.bias
		if ex.start != nil {
			score[i] += ex.start[i]
		}
	}
	grad, hess := make([]float64, n), make([]float64, n)
	rng := rand.New(rand.NewSource(g.seed))
	rows := make([]int32, 0, n)
	rest := make([]int32, n)
	type sums = [2]float64
	size := width * bins
	hists := make([][]sums, 2<<treeDepth)
	for i := range hists {
		hists[i] = make([]sums, size)
	}
	fill := func(h []sums, rows []int32) {
		clear(h)
		for _, i := range rows {
			gi, hi := grad[i], hess[i]
			row := binned[int(i)*width : int(i)*width+width]
			for f, b := range row {
				e := &h[f*bins+int(b)]
				e[0] += gi
				e[1] += hi
			}
		}
	}
	for k := 0; k < g.trees; k++ {
		ex.slopes(score, grad, hess)
		rows = rows[:0]
		if ex.groups == nil {
			for i := 0; i < n; i++ {
				if g.part >= 1 || rng.Float64() < g.part {
					rows = append(rows, int32(i))
				}
			}
		} else {
			for j, from := range ex.groups {
				to := n
				if j+1 < len(ex.groups) {
					to = ex.groups[j+1]
				}
				if g.part >= 1 || rng.Float64() < g.part {
					for i := from; i < to; i++ {
						rows = append(rows, int32(i))
					}
				}
			}
		}
		var t tree
		var at [2 << treeDepth][2]int // the rows of each node, as a part of rows
		at[1] = [2]int{0, len(rows)}
		fill(hists[1], rows)
		for m := 1; m < 1<<treeDepth; m++ {
			here := rows[at[m][0]:at[m][1]]
			h := hists[m]
			var all sums
			for b := 0; b < bins; b++ { // any feature has them all
				all[0] += h[b][0]
				all[1] += h[b][1]
			}
			best, bestF, bestB := 1e-9, -1, 0
			for f := range cuts {
				var left sums
				for b := range cuts[f] {
					left[0] += h[f*bins+b][0]
					left[1] += h[f*bins+b][1]
					gr, hr := all[0]-left[0], all[1]-left[1]
					if left[1] < g.least || hr < g.least {
						continue
					}
					if gain := left[0]*left[0]/(left[1]+g.l2) + gr*gr/(hr+g.l2) - all[0]*all[0]/(all[1]+g.l2); gain > best {
						best, bestF, bestB = gain, f, b
					}
				}
			}
			split := len(here) // nothing to ask: all go left
			t.cut[m] = float32(math.Inf(1))
			if bestF >= 0 {
				t.feature[m], t.cut[m] = int16(bestF), cuts[bestF][bestB]
				a, b := 0, 0
				for _, i := range here {
					if int(binned[int(i)*width+bestF]) <= bestB {
						here[a] = i
						a++
					} else {
						rest[b] = i
						b++
					}
				}
				copy(here[a:], rest[:b])
				split = a
			}
			l, r := 2*m, 2*m+1
			at[l] = [2]int{at[m][0], at[m][0] + split}
			at[r] = [2]int{at[m][0] + split, at[m][1]}
			if l >= 1<<treeDepth {
				continue
			}
			small, large := l, r
			if at[r][1]-at[r][0] < at[l][1]-at[l][0] {
				small, large = r, l
			}
			fill(hists[small], rows[at[small][0]:at[small][1]])
			for i := range h {
				hists[large][i] = sums{h[i][0] - hists[small][i][0], h[i][1] - hists[small][i][1]}
			}
		}
		for m := 1 << treeDepth; m < 2<<treeDepth; m++ {
			var s sums
			for _, i := range rows[at[m][0]:at[m][1]] {
				s[0] += grad[i]
				s[1] += hess[i]
			}
			t.leaf[m-1<<treeDepth] = float32(g.rate * s[0] / (s[1] + g.l2))
		}
		for i := range score {
			score[i] += t.score(ex.x[i])
		}
		out.trees = append(out.trees, t)
	}
	return out
}

// slopes works out the first and second derivatives of the loss at scores.
func (ex *examples) slopes(score, grad, hess []float64) {
	if ex.groups == nil {
		for i := range score {
			p := 1 / (1 + math.Exp(-score[i]))
			y := 0.0
			if ex.right[i] {
				y = 1
			}
			grad[i], hess[i] = ex.weigh[i]*(y-p), ex.weigh[i]*p*(1-p)
		}
		return
	}
	for j, from := range ex.groups {
		to := len(score)
		if j+1 < len(ex.groups) {
			to = ex.groups[j+1]
		}
		top := math.Inf(-1)
		for i := from; i < to; i++ {
			top = max(top, score[i])
		}
		sum, good := 0.0, 1e-9
		for i := from; i < to; i++ {
			grad[i] = math.Exp(score[i] - top)
			sum += grad[i]
			if ex.right[i] {
				good += grad[i]
			}
		}
		for i := from; i < to; i++ {
			p, y := grad[i]/sum, 0.0
			if ex.right[i] {
				y = grad[i] / good
			}
			grad[i], hess[i] = ex.weigh[i]*(y-p), ex.weigh[i]*p*(1-p)+1e-6
		}
	}
}
