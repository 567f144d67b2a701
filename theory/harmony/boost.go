package harmony

import (
	"math"
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
		t := &f.trees[i]
		n := 1
		for n < 1<<treeDepth {
			n *= 2
			if x[t.feature[n/2]] >= t.cut[n/2] {
				n++
			}
		}
		s += float64(t.leaf[n-1<<treeDepth])
	}
	return s
}

// grow learns a forest: x[i] is an example, right[i] whether its claim is right, weigh[i] what it counts.
func grow(x [][]float32, right []bool, weigh []float64, trees int, rate, l2 float64) *forest {
	const bins = 48
	n := len(x)
	if n == 0 {
		return &forest{}
	}
	width := len(x[0])
	cuts := make([][]float32, width)
	binned := make([][]uint8, width)
	vals := make([]float32, n)
	for f := range cuts {
		for i := range x {
			vals[i] = x[i][f]
		}
		sorted := append([]float32(nil), vals...)
		sort.Slice(sorted, func(i, j int) bool { return sorted[i] < sorted[j] })
		for b := 1; b < bins; b++ {
			v := sorted[b*n/bins]
			if v > sorted[0] && (len(cuts[f]) == 0 || v > cuts[f][len(cuts[f])-1]) {
				cuts[f] = append(cuts[f], v)
			}
		}
		binned[f] = make([]uint8, n)
		for i, v := range vals {
			binned[f][i] = uint8(sort.Search(len(cuts[f]), func(k int) bool { return cuts[f][k] > v }))
		}
	}
	pos, all := 0.0, 0.0
	for i, r := range right {
		all += weigh[i]
		if r {
			pos += weigh[i]
		}
	}
	out := &forest{bias: math.Log(pos / (all - pos))}
	score := make([]float64, n)
	g, h := make([]float64, n), make([]float64, n)
	at := make([]int, n)
	for i := range score {
		score[i] = out.bias
	}
	for k := 0; k < trees; k++ {
		for i := range score {
			p := 1 / (1 + math.Exp(-score[i]))
			y := 0.0
			if right[i] {
				y = 1
			}
			g[i], h[i] = weigh[i]*(y-p), weigh[i]*p*(1-p)
			at[i] = 1
		}
		var t tree
		for level := 0; level < treeDepth; level++ {
			nodes := 1 << level
			type split struct {
				gain    float64
				feature int
				bin     int
			}
			best := make([]split, nodes)
			hist := make([][2]float64, nodes*(bins+1))
			var sums [1 << treeDepth][2]float64
			for i := range at {
				s := &sums[at[i]-nodes]
				s[0] += g[i]
				s[1] += h[i]
			}
			for f := 0; f < width; f++ {
				if len(cuts[f]) == 0 {
					continue
				}
				clear(hist)
				bf := binned[f]
				for i := range at {
					e := &hist[(at[i]-nodes)*(bins+1)+int(bf[i])]
					e[0] += g[i]
					e[1] += h[i]
				}
				for node := 0; node < nodes; node++ {
					gl, hl := 0.0, 0.0
					G, H := sums[node][0], sums[node][1]
					for b := 0; b < len(cuts[f]); b++ {
						e := hist[node*(bins+1)+b]
						gl, hl = gl+e[0], hl+e[1]
						if hl < 3 || H-hl < 3 {
							continue
						}
						if gain := gl*gl/(hl+l2) + (G-gl)*(G-gl)/(H-hl+l2) - G*G/(H+l2); gain > best[node].gain+1e-9 {
							best[node] = split{gain, f, b}
						}
					}
				}
			}
			for node := range best {
				m := nodes + node
				if best[node].gain <= 0 {
					t.cut[m] = float32(math.Inf(1)) // nothing to ask: all go left
					continue
				}
				t.feature[m], t.cut[m] = int16(best[node].feature), cuts[best[node].feature][best[node].bin]
			}
			for i := range at {
				m := at[i]
				at[i] = 2 * m
				if x[i][t.feature[m]] >= t.cut[m] {
					at[i]++
				}
			}
		}
		var sums [1 << treeDepth][2]float64
		for i := range at {
			s := &sums[at[i]-1<<treeDepth]
			s[0] += g[i]
			s[1] += h[i]
		}
		for l, s := range sums {
			t.leaf[l] = float32(rate * s[0] / (s[1] + l2))
		}
		for i := range at {
			score[i] += float64(t.leaf[at[i]-1<<treeDepth])
		}
		out.trees = append(out.trees, t)
	}
	return out
}
