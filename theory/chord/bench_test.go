package chord

import (
	"math/rand/v2"
	"testing"

	"plumbline/theory/pitch"
)

// randomChords returns chords of 4 to 7 different pitch classes within two octaves, as the baseline was measured on.
func randomChords(n int) [][]pitch.Pitch {
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([][]pitch.Pitch, n)
	for i := range out {
		k := 4 + rng.IntN(4)
		for _, pc := range rng.Perm(12)[:k] {
			out[i] = append(out[i], pitch.FromMIDI(48+pc+12*rng.IntN(2), i%2 == 0))
		}
	}
	return out
}

// The baseline: a general music-theory library in JavaScript names 38,000 chords a second (measured beside this project) and
// gives no members, reasons or rank.
const baseline = 38_000.

func BenchmarkNameRandom(b *testing.B) {
	cs := randomChords(5000)
	Name(cs[0])
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		Name(cs[i%len(cs)])
		i++
	}
	perSecond := float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(perSecond, "chords/s")
	b.ReportMetric(perSecond/baseline, "x-baseline")
}
