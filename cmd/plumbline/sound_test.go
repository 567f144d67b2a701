package main

import (
	"context"
	"math"
	"testing"
	"time"

	"plumbline/drills"
	"plumbline/synth"
	"plumbline/theory/score"
)

// TestDrillLoudness: 500 random questions of every kind and level, and of a passage, are equally loud within 0.5 LU in each
// voice, and none has a true peak above -3 dBTP or a sample above -6 dBFS.
func TestDrillLoudness(t *testing.T) {
	p := readPlanPassage(t)
	type drill struct {
		q func(n int) drills.Question
	}
	var of []drill
	for _, k := range drills.Kinds() {
		for i, l := range drills.Levels(k) {
			d, err := drills.New(drills.Settings{Kind: k, Level: l.Number, Seed: uint64(i), Inversions: k == drills.Quality && i%2 == 1})
			if err != nil {
				t.Fatal(err)
			}
			of = append(of, drill{d.Question})
		}
	}
	whole, err := p.Resolve(score.Place{All: true})
	if err != nil {
		t.Fatal(err)
	}
	d, err := drills.FromPassage(p, whole, drills.Settings{Kind: drills.Quality, Seed: 3, Foils: .5})
	if err != nil {
		t.Fatal(err)
	}
	of = append(of, drill{d.Question})
	for i, v := range synth.Voices() {
		count := 30
		if i == 0 {
			count = 500
		}
		ds := &drillSound{voice: v}
		low, high, peak, sample, held := math.Inf(1), math.Inf(-1), 0.0, 0.0, 0
		for n := range count {
			q := of[n%len(of)].q(100 + n)
			c, err := ds.clip(q.Number, q.Left, q.Right, 0)
			if err != nil {
				t.Fatal(err)
			}
			got := float64(c.Loudness())
			if c.Held > 0 {
				held++
			}
			low, high, peak, sample = min(low, got), max(high, got), max(peak, c.TruePeak()), max(sample, c.Peak())
		}
		db := 20 * math.Log10(peak)
		t.Logf("%s, %d questions: %.3f to %.3f LUFS, %d held down, true peak at most %.2f dBTP", v.Name, count, low, high, held, db)
		if high-low > 0.5 || db > -3 || sample > synth.Ceiling {
			t.Errorf("%s: from %.3f to %.3f LUFS, true peak %.2f dBTP, samples to %.4f; want within 0.5 LU, at most -3 and 0.5", v.Name, low, high, db, sample)
		}
	}
}

// TestStartSoftly: the first sound out of a device rises to its level without a jump, and ends as it was.
func TestStartSoftly(t *testing.T) {
	flat := &synth.Clip{Rate: synth.DefaultRate, Samples: make([]float32, 2*48000*4)}
	for i := range flat.Samples {
		flat.Samples[i] = .25
	}
	startSoftly(flat)
	if first := 20 * math.Log10(float64(flat.Samples[0])/.25); math.Abs(first+float64(startBelow)) > .01 {
		t.Errorf("begins %.2f dB below; want %g", -first, float64(startBelow))
	}
	for i := 2; i < len(flat.Samples); i++ {
		if flat.Samples[i] < flat.Samples[i-2] || flat.Samples[i] > flat.Samples[i-2]*1.001 {
			t.Fatalf("jumps from %g to %g at sample %d", flat.Samples[i-2], flat.Samples[i], i)
		}
	}
	if at := 2 * synth.DefaultRate.N(startRise); flat.Samples[at] != .25 {
		t.Errorf("%g after %v; want 0.25", flat.Samples[at], startRise)
	}
}

// TestHearPlays: what hear plays on a device has the loudness asked for but for its soft start, and a comparison one level.
func TestHearPlays(t *testing.T) {
	pl, err := newPlan(readPlanPassage(t), []score.Region{placeOf(t, readPlanPassage(t), "bars 1-2")}, listening{slower: 1, loop: 3})
	if err != nil {
		t.Fatal(err)
	}
	w := newWorld(t, "")
	if err := w.sound(context.Background(), pl, synth.Options{}, soundFlags{}, "x"); err != nil {
		t.Fatal(err)
	}
	clips := w.fake.Clips()
	if len(clips) != 1 || clips[0].Duration() < 17*time.Second || w.out.Len() != 0 {
		t.Fatalf("%d clips, stdout %q", len(clips), w.out.String())
	}
}
