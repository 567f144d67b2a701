package chord

import (
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"unsafe"
)

func TestFirstByPCs(t *testing.T) {
	for _, c := range []struct {
		pcs   []int
		bass  int
		label string
	}{
		// HUT = Hutchinson 31.1 and 31.2, Butterfield 3c; the rest common practice, no source.
		{[]int{0, 4, 7}, -1, "C"}, {[]int{0, 4, 7}, 4, "C/E"}, {[]int{0, 3, 7}, 0, "Cm"}, {[]int{10, 2, 5}, 10, "Bb"},
		{[]int{0, 4, 7, 9}, 0, "C6"}, {[]int{0, 4, 7, 9}, 9, "Am7"}, {[]int{0, 4, 7, 9}, 7, "Am7/G"}, {[]int{0, 4, 7, 9}, -1, "Am7"},
		{[]int{8, 0, 3, 6}, 8, "Ab7"}, {[]int{5, 11, 3, 8}, 5, "Fm7(b5)"}, {[]int{0, 3, 6, 9}, 0, "Cdim7"}, {[]int{6, 10, 1}, 6, "F#"},
		{[]int{0, 5, 10}, 0, "stacked fourths on C3"}, {[]int{0, 1, 2}, 0, "chromatic cluster C-Db-D"}, {[]int{0, 1, 6, 7}, 0, "set class 4-9 (0167)"},
		{[]int{3}, -1, "Eb3"}, {[]int{0, 7}, 0, "perfect fifth C3-G3"}, {nil, 0, ""},
	} {
		m := pcsetOf(c.pcs)
		if got := FirstByPCs(uint16(m), c.bass).Label(); got != c.label {
			t.Errorf("FirstByPCs(%v over %d) = %s, want %s", c.pcs, c.bass, got, c.label)
		}
	}
}

// Every set over every bass has a first reading; a second look, and one from several goroutines at once, gives the same.
func TestFirstByPCsEvery(t *testing.T) {
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for m := range uint16(1 << 12) {
				for bass := -1; bass < 12; bass++ {
					FirstByPCs(m, bass)
				}
			}
		})
	}
	wg.Wait()
	for m := pcset(1); m < 1<<12; m++ {
		for bass := -1; bass < 12; bass++ {
			f := FirstByPCs(uint16(m), bass)
			if bass >= 0 && m.has(bass) {
				if fresh, _ := firstOver(m, bass); fresh != f || f.Bass() != bass {
					t.Fatalf("%v over %d: %+v, afresh %+v", m.list(), bass, f, fresh)
				}
			}
			if f.Kind() == "" || f.pcs != m || !m.has(f.Bass()) {
				t.Fatalf("%v over %d: %+v", m.list(), bass, f)
			}
			if typ, ok := f.Type(); ok != (f.form != 0) || ok && typ.ID == "" {
				t.Fatalf("%v over %d: type %v", m.list(), bass, typ)
			}
		}
		if l := FirstByPCs(uint16(m), -1).Label(); l == "" || strings.Contains(l, "###") {
			t.Fatalf("%v: label %q", m.list(), l)
		}
	}
	if size := unsafe.Sizeof(firsts); size > 1<<20 {
		t.Errorf("the table takes %d bytes", size)
	}
}

// The baseline is that of BenchmarkNameRandom.
func BenchmarkFirstByPCs(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 4))
	var ms [4096]uint16
	for i := range ms {
		ms[i] = uint16(1 + rng.IntN(4095))
		FirstByPCs(ms[i], -1)
	}
	b.ReportAllocs()
	i, sum := 0, 0
	for b.Loop() {
		sum += FirstByPCs(ms[i%4096], -1).Root()
		i++
	}
	perSecond := float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(perSecond/1e6, "Msets/s")
	b.ReportMetric(perSecond/baseline, "x-baseline")
}
