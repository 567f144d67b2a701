package main

import (
	"math"
	"testing"

	"plumbline/drills"
	"plumbline/synth"
)

// TestDrillLoudness: 500 random questions of every kind and level are equally loud within 0.5 LU, and none has a true peak above
// -3 dBTP.
func TestDrillLoudness(t *testing.T) {
	low, high, peak, held := math.Inf(1), math.Inf(-1), 0.0, 0
	d := &drillSound{}
	n := 0
	for round := 0; n < 500; round++ {
		for _, k := range drills.Kinds() {
			for _, l := range drills.Levels(k) {
				drill, err := drills.New(drills.Settings{Kind: k, Level: l.Number, Seed: uint64(round), Inversions: k == drills.Quality && round%2 == 1})
				if err != nil {
					t.Fatal(err)
				}
				q := drill.Question(100 + round)
				c, err := d.clip(q.Number, q.Left, q.Right, 0)
				if err != nil {
					t.Fatal(err)
				}
				got := float64(c.Loudness())
				if c.Held > 0 {
					held++
				}
				low, high, peak = min(low, got), max(high, got), max(peak, c.TruePeak())
				n++
			}
		}
	}
	db := 20 * math.Log10(peak)
	t.Logf("%d questions: %.3f to %.3f LUFS, %d held down, true peak at most %.2f dBTP", n, low, high, held, db)
	if high-low > 0.5 {
		t.Errorf("%d questions from %.3f to %.3f LUFS; want within 0.5 LU", n, low, high)
	}
	if db > -3 {
		t.Errorf("true peak %.2f dBTP; want at most -3", db)
	}
	_ = synth.DefaultLevel
}
