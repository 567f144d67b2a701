package drills_test

import (
	"math"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"plumbline/drills"
	"plumbline/synth"
	"plumbline/theory/score"
)

// clueKinds are the drills by ear whose answer is a label of harmony, each at a level; written answers have no choices to
// guess among.
//
// Four are not within 3 points yet; over says by how much more they may miss, which holds what was measured, so that it doesn't
// get worse unnoticed. In constructions, outer intervals of two notes and lines through several chords, where the notes lie is
// much of the answer.
var clueKinds = []struct {
	kind  drills.Kind
	level int
	over  float64
}{
	{drills.Quality, 1, 0}, {drills.Quality, 4, 0}, {drills.Quality, 9, 0}, {drills.Construction, 3, .15}, {drills.Inversion, 1, 0}, {drills.Inversion, 3, 0},
	{drills.Top, 1, 0}, {drills.Top, 2, 0}, {drills.Outer, 1, .06}, {drills.Outer, 5, 0}, {drills.Changed, 3, 0}, {drills.Changed, 4, 0},
	{drills.Function, 2, 0}, {drills.Function, 3, 0}, {drills.Tendency, 2, 0}, {drills.Tendency, 3, 0}, {drills.Sequence, 2, .06}, {drills.Next, 3, 0},
	{drills.Cycle, 3, 0}, {drills.Semitone, 2, 0}, {drills.Semitone, 3, .06}, {drills.Semitone, 4, 0},
}

// clues are what the artificial listener knows of a sound: loudness, length, register (the share of the power below 250 Hz
// and below 700 Hz) and brightness (the square root of the mean squared frequency, from the differences of samples).
const clueCount = 5

func cluesOf(c *synth.Clip) (f [clueCount]float64) {
	f[0], f[1] = math.Round(float64(c.Loudness())*100)/100, float64(c.Frames())
	lp := func(hz float64) float64 { return 1 - math.Exp(-2*math.Pi*hz/float64(c.Rate)) }
	a, b := lp(250), lp(700)
	var low, mid, last, all, under, below, steps float64
	for i := 0; i < len(c.Samples); i += 2 {
		x := float64(c.Samples[i]) + float64(c.Samples[i+1])
		low += a * (x - low)
		mid += b * (x - mid)
		all += x * x
		under += low * low
		below += mid * mid
		steps += (x - last) * (x - last)
		last = x
	}
	f[2], f[3], f[4] = math.Log(under/all), math.Log(below/all), math.Log(steps/all)
	return f
}

// haste is how many times as fast a question is rendered as it is played, the dying away of its notes with it, so that it is
// done soon: what a listener measures of it stays.
const haste = 20

var hastened = synth.Voice{Name: "hastened", Attack: time.Millisecond, Release: 3 * time.Millisecond,
	Partials: func(dst []synth.Partial, f synth.Hz, strength float64) []synth.Partial {
		n := len(dst)
		dst = synth.Struck.Partials(dst, f, strength)
		for i := range dst[n:] {
			p := &dst[n+i]
			p.Decay, p.After, p.Knee = p.Decay*haste, p.After*haste, p.Knee/haste
		}
		return dst
	}}

// shortened is the sound of a question, hastened. Left hand and right sound from the same place.
func shortened(q drills.Question) []synth.Note {
	notes, tempo := q.Sound()
	out := make([]synth.Note, len(notes))
	at := func(t score.Time) time.Duration {
		return time.Duration(t.Float() * 60 / haste / tempo * float64(time.Second))
	}
	for i, n := range notes {
		out[i] = synth.Note{Freq: synth.Tuning{}.Freq(n.Pitch.MIDI()), Start: at(n.At), Length: at(n.Length), Strength: min(.6*n.Touch, 1)}
	}
	return out
}

// A clueListener has learned how often each value of each clue, in twelve steps of equal count, goes with each label, and says
// the likeliest label of the choices, taking the clues for independent (a naive Bayes classifier).
type clueListener struct {
	edges  [clueCount][]float64
	counts map[string]*[clueCount][bins]float64
	asked  map[string]float64
}

const bins = 12

func (l *clueListener) bin(k int, x float64) int {
	i, _ := slices.BinarySearch(l.edges[k], x)
	return min(i, bins-1)
}

func (l *clueListener) learn(clues [][clueCount]float64, labels []string) {
	for k := range clueCount {
		xs := make([]float64, len(clues))
		for i := range clues {
			xs[i] = clues[i][k]
		}
		slices.Sort(xs)
		for b := 1; b < bins; b++ {
			l.edges[k] = append(l.edges[k], xs[b*len(xs)/bins])
		}
	}
	l.counts, l.asked = map[string]*[clueCount][bins]float64{}, map[string]float64{}
	for i, label := range labels {
		if l.counts[label] == nil {
			l.counts[label] = &[clueCount][bins]float64{}
		}
		l.asked[label]++
		for k := range clueCount {
			l.counts[label][k][l.bin(k, clues[i][k])]++
		}
	}
}

func (l *clueListener) guess(clues [clueCount]float64, choices []string) string {
	best, most := choices[0], math.Inf(-1)
	for _, c := range choices {
		n := l.counts[c]
		if n == nil {
			continue
		}
		p := 0.0
		for k := range clueCount {
			p += math.Log((n[k][l.bin(k, clues[k])] + 1) / (l.asked[c] + bins))
		}
		if p > most {
			best, most = c, p
		}
	}
	return best
}

// TestClues: one who hears only loudness, length, register and brightness of the sound as it is played, and has been told what
// was right 2,000 times, is right no more than 3 points more often than a guesser over 2,000 further questions.
func TestClues(t *testing.T) {
	const learned, tested, margin = 2000, 2000, .03
	all := os.Getenv("PLUMBLINE_REQUIRE") == "all"
	for i, k := range clueKinds {
		if !all && i%6 != 0 { // a few of them; all where nothing may be left out, since that takes a minute
			continue
		}
		d, err := drills.New(drills.Settings{Kind: k.kind, Level: k.level, Seed: 90})
		if err != nil {
			t.Fatal(err)
		}
		clues := make([][clueCount]float64, learned+tested)
		qs := make([]drills.Question, len(clues))
		var wg sync.WaitGroup
		for half := range 2 {
			wg.Go(func() {
				for i := half; i < len(qs); i += 2 {
					qs[i] = d.Question(i + 1)
					c, err := synth.Render(shortened(qs[i]), synth.Options{Rate: synth.MinRate, Voice: hastened})
					if err != nil {
						t.Error(err)
						return
					}
					clues[i] = cluesOf(c)
				}
			})
		}
		wg.Wait()
		var l clueListener
		labels := make([]string, learned)
		for i := range labels {
			labels[i] = qs[i].Expected
		}
		l.learn(clues[:learned], labels)
		right, chance := 0, 0.0
		for i := learned; i < len(qs); i++ {
			chance += 1 / float64(len(qs[i].Choices)) / tested
			if l.guess(clues[i], qs[i].Choices) == qs[i].Expected {
				right++
			}
		}
		got := float64(right) / tested
		t.Logf("%s, level %d: right in %.3f, chance %.3f", k.kind, k.level, got, chance)
		if got > chance+margin+k.over {
			t.Errorf("%s, level %d: a listener without an ear for harmony is right in %.3f; want at most chance %.3f + %.2f", k.kind, k.level, got, chance, margin+k.over)
		}
	}
}
