package drills_test

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"plumbline/drills"
	"plumbline/synth"
)

// clueKinds are the drills by ear whose answer is a label of harmony, each at a level; written answers have no choices to
// guess among. ends says that the listener is given the lowest and the highest key too. It is not where these are the label: two
// ends to the semitone are the outer interval and the span of a construction, and how low and how high a bass goes on its way
// through a sequence is its pattern. Its lowest key alone, heard against the pitches it knows, then tells a little of both.
var clueKinds = []struct {
	kind  drills.Kind
	level int
	ends  bool
}{
	{drills.Quality, 1, true}, {drills.Quality, 4, true}, {drills.Quality, 9, true}, {drills.Construction, 3, false}, {drills.Inversion, 1, true}, {drills.Inversion, 3, true},
	{drills.Top, 1, true}, {drills.Top, 2, true}, {drills.Outer, 1, false}, {drills.Outer, 5, false}, {drills.Changed, 3, true}, {drills.Changed, 4, true},
	{drills.Function, 2, true}, {drills.Function, 3, true}, {drills.Tendency, 2, true}, {drills.Tendency, 3, true}, {drills.Sequence, 2, false}, {drills.Next, 3, false},
	{drills.Cycle, 3, false}, {drills.Semitone, 2, true}, {drills.Semitone, 3, true}, {drills.Semitone, 4, true},
}

// clues are what the artificial listener knows of a sound: its length, the share of its power below 250 Hz and below 700 Hz,
// its brightness (the root of the mean squared frequency), and its lowest and its highest key. All are worked out from the
// partials that the synthesizer sounds, over the whole length of the question; TestCluesOfSound measures the same on the sound
// itself. Loudness is not among them: every clip is brought to one loudness, which is looked after there.
const clueCount = 6

var clueNames = [clueCount]string{"length", "below 250 Hz", "below 700 Hz", "brightness", "lowest key", "highest key"}

// A ringing is a partial of a note of the sound, with its slopes in nepers of power a second.
type ringing struct {
	amp, freq, phase         float64
	from, knee, to           float64 // seconds
	first, second, kneeLevel float64
}

// level is the amplitude at a time.
func (p *ringing) level(t float64) float64 {
	if t < p.knee {
		return p.amp * math.Exp(-p.first*(t-p.from))
	}
	return p.kneeLevel * math.Exp(-p.second*(t-p.knee))
}

const decibel = math.Ln10 / 20

// product integrates what two partials, which may be one, give together to the power of the sound: of 2 x y only the part at
// the difference of their frequencies doesn't average out. Between the knees of the two it is an exponential times a cosine.
func product(a, b *ringing) (sum float64) {
	from, to := max(a.from, b.from), min(a.to, b.to)
	for from < to {
		end := to
		ra, rb := a.first, b.first
		if from >= a.knee {
			ra = a.second
		} else {
			end = min(end, a.knee)
		}
		if from >= b.knee {
			rb = b.second
		} else {
			end = min(end, b.knee)
		}
		rate, w := ra+rb, 2*math.Pi*(a.freq-b.freq)
		amp := a.level(from) * b.level(from) / 2
		angle := 2*math.Pi*(a.freq*(from-a.from)-b.freq*(from-b.from)) + a.phase - b.phase
		// The integral of exp(-rate t) cos(angle + w t).
		f := func(t float64) float64 {
			s, c := math.Sincos(angle + w*t)
			return math.Exp(-rate*t) * (w*s - rate*c) / (rate*rate + w*w)
		}
		sum += amp * (f(end-from) - f(0))
		from = end
	}
	return sum
}

// near is how far partials lie apart, in Hz, that are taken to add to each other's power independently.
const near = 12.

func cluesOf(q drills.Question) (f [clueCount]float64) {
	notes, tempo := q.Sound()
	beat := 60 / tempo
	var parts []ringing
	var buf [synth.MaxPartials]synth.Partial
	lowest, highest, end := 1000, 0, 0.
	for _, n := range notes {
		k := n.Pitch.MIDI()
		lowest, highest = min(lowest, k), max(highest, k)
		from := n.At.Float() * beat
		to := from + n.Length.Float()*beat
		end = max(end, to)
		for _, p := range synth.Struck.Partials(buf[:0], synth.Tuning{}.Freq(k), strength(n)) {
			parts = append(parts, ringing{p.Amp, float64(p.Freq), p.Phase, from, from + p.Knee, to, p.Decay * decibel, p.After * decibel, p.Amp * math.Exp(-p.Decay*p.Knee*decibel)})
		}
	}
	slices.SortFunc(parts, func(a, b ringing) int { return cmp.Compare(a.freq, b.freq) })
	var all, low, mid, bright float64
	for i := range parts {
		for j := i; j < len(parts) && parts[j].freq-parts[i].freq < near; j++ {
			a, b := &parts[i], &parts[j]
			p := product(a, b)
			if j > i {
				p *= 2
			}
			x := a.freq * b.freq
			all += p
			low += p / (1 + x/(250*250))
			mid += p / (1 + x/(700*700))
			bright += p * x
		}
	}
	return [clueCount]float64{end, math.Log(low / all), math.Log(mid / all), math.Log(bright / all), float64(lowest), float64(highest)}
}

// strength is how strongly the program strikes a note of a drill.
func strength(n drills.Note) float64 { return min(.6*n.Touch, 1) }

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

// guess goes by the clues named.
func (l *clueListener) guess(clues [clueCount]float64, choices []string, by ...int) string {
	best, most := choices[0], math.Inf(-1)
	for _, c := range choices {
		n := l.counts[c]
		if n == nil {
			continue
		}
		p := 0.0
		for _, k := range by {
			p += math.Log((n[k][l.bin(k, clues[k])] + 1) / (l.asked[c] + bins))
		}
		if p > most {
			best, most = c, p
		}
	}
	return best
}

// TestClues: one who hears only loudness, length, register and brightness of the sound as it is played, and has been told what
// was right 2,000 times, is right no more than 3 points more often than a guesser over 2,000 further questions; 3 points are
// about three standard errors. Without PLUMBLINE_REQUIRE=all a few of the drills are tried, with -short one.
func TestClues(t *testing.T) {
	const learned, tested, margin = 2000, 2000, .03
	all := os.Getenv("PLUMBLINE_REQUIRE") == "all"
	sample := []drills.Kind{drills.Quality, drills.Construction, drills.Outer, drills.Semitone}
	if testing.Short() {
		sample = []drills.Kind{drills.Outer}
	}
	for _, k := range clueKinds {
		if !all && (!slices.Contains(sample, k.kind) || k.level == 4 || k.level == 5) {
			continue
		}
		t.Run(fmt.Sprintf("%s%d", k.kind, k.level), func(t *testing.T) {
			t.Parallel()
			d, err := drills.New(drills.Settings{Kind: k.kind, Level: k.level, Seed: 90})
			if err != nil {
				t.Fatal(err)
			}
			clues := make([][clueCount]float64, learned+tested)
			labels := make([]string, len(clues))
			choices := make([][]string, len(clues))
			for i := range clues {
				q := d.Question(i + 1)
				clues[i], labels[i], choices[i] = cluesOf(q), q.Expected, q.Choices
			}
			var l clueListener
			l.learn(clues[:learned], labels[:learned])
			score := func(by ...int) (share float64) {
				for i := learned; i < len(clues); i++ {
					if l.guess(clues[i], choices[i], by...) == labels[i] {
						share += 1. / tested
					}
				}
				return share
			}
			chance := 0.0
			for _, c := range choices[learned:] {
				chance += 1 / float64(len(c)) / tested
			}
			sound, ends := score(0, 1, 2, 3), score(0, 1, 2, 3, 4, 5)
			t.Logf("right in %.3f, knowing the outer keys in %.3f; chance %.3f", sound, ends, chance)
			if sound > chance+margin {
				t.Errorf("a listener without an ear for harmony is right in %.3f; want at most chance %.3f + %.2f", sound, chance, margin)
			}
			// Who also knows the outer keys is told more than such a listener hears: a standard error of 2,000 answers is added.
			if most := chance + margin + .01; k.ends && ends > most {
				t.Errorf("a listener without an ear for harmony who knows the outer keys is right in %.3f; want at most %.3f", ends, most)
			}
		})
	}
}

// TestCluesOfSound: the clues are those of the sound that is rendered. Its loudness is the same for all questions (ITU-R BS.1770, by
// the synthesizer's own meter), and the ceiling holds none of it down; the shares and the brightness, filtered out of the samples
// by first-order filters and taken from their differences, are those worked out from the partials.
func TestCluesOfSound(t *testing.T) {
	for _, k := range []drills.Kind{drills.Quality, drills.Construction, drills.Outer, drills.Semitone, drills.Sequence} {
		d, err := drills.New(drills.Settings{Kind: k, Level: 3, Seed: 90})
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 3; n++ {
			q := d.Question(n)
			want := cluesOf(q)
			notes, tempo := q.Sound()
			var sound []synth.Note
			at := func(x float64) time.Duration { return time.Duration(x * 60 / tempo * float64(time.Second)) }
			for _, n := range notes {
				sound = append(sound, synth.Note{Freq: synth.Tuning{}.Freq(n.Pitch.MIDI()), Start: at(n.At.Float()), Length: at(n.Length.Float()), Strength: strength(n)})
			}
			c, err := synth.Render(sound, synth.Options{Rate: synth.MinRate})
			if err != nil {
				t.Fatal(err)
			}
			if got := c.Loudness(); math.Abs(float64(got-synth.DefaultLevel)) > .05 || c.Held != 0 {
				t.Errorf("%s: loudness %v, held down by %v; want %v and 0", q.ID, got, c.Held, synth.DefaultLevel)
			}
			got := heard(c)
			for i, x := range got {
				if w := want[i+1]; math.Abs(x-w) > .12 {
					t.Errorf("%s: %s %.3f in the sound; by its partials %.3f", q.ID, clueNames[i+1], x, w)
				}
			}
		}
	}
}

// heard measures the shares below 250 and 700 Hz and the brightness on samples.
func heard(c *synth.Clip) [3]float64 {
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
	hz := float64(c.Rate) / (2 * math.Pi) // a difference of neighbours is 2 pi f over the rate
	return [3]float64{math.Log(under / all), math.Log(below / all), math.Log(steps / all * hz * hz)}
}
