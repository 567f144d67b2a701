package main

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"plumbline/drills/ear"
	"plumbline/synth"
	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// measured is what an artificial listener knows of a sound: nothing but these.
type measured struct {
	loudness   float64 // LUFS
	length     float64 // seconds until it stays 40 dB below its peak
	register   float64 // crossings of zero a second
	brightness float64 // Hz, root mean square of the spectrum: the power of the slope over the power
	low        float64 // Hz, the same below 300 Hz or so
}

var measures = []struct {
	name string
	of   func(measured) float64
}{
	{"loudness", func(m measured) float64 { return m.loudness }},
	{"length", func(m measured) float64 { return m.length }},
	{"register", func(m measured) float64 { return m.register }},
	{"brightness", func(m measured) float64 { return m.brightness }},
	{"low register", func(m measured) float64 { return m.low }},
}

func measure(c *synth.Clip) measured {
	m := measured{loudness: float64(c.Loudness())}
	rate, peak := float64(c.Rate), 2*c.Peak()
	var power, slope, lowPower, lowSlope, last, low, lastLow float64
	crossings, end := 0, 0
	k := 1 - math.Exp(-2*math.Pi*300/rate) // one pole
	for i := 0; i+1 < len(c.Samples); i += 2 {
		x := float64(c.Samples[i] + c.Samples[i+1])
		power += x * x
		slope += (x - last) * (x - last)
		if x > 0 != (last > 0) {
			crossings++
		}
		last = x
		low += k * (x - low)
		lowPower += low * low
		lowSlope += (low - lastLow) * (low - lastLow)
		lastLow = low
		if math.Abs(x) > .01*peak {
			end = i / 2
		}
	}
	m.length = math.Round(20*float64(end)/rate) / 20 // a twentieth of a second at the end of a decay
	m.register = float64(crossings) / c.Duration().Seconds()
	m.brightness = math.Sqrt(slope/power) * rate / (2 * math.Pi)
	m.low = math.Sqrt(lowSlope/lowPower) * rate / (2 * math.Pi)
	return m
}

// asSounded is a subject with what its playings measure: at each pitch the original and each twin, struck softest and hardest.
type asSounded struct {
	name     string
	original [][2]measured
	twins    [][][2][2]measured // by pitch, pair and side
}

// pitches are how far all is moved: two of the twelve ways that trials draw from.
var pitches = []int{-4, 3}

func sounded(t *testing.T, s *ear.Subject, name string) asSounded {
	t.Helper()
	out := asSounded{name: name}
	play := func(p *score.Passage, transpose int) (ms [2]measured) {
		for i, touch := range []float64{1 - ear.TouchRange, 1 + ear.TouchRange} {
			c, err := interval(s, ear.Playing{Passage: p, Touch: touch}, transpose, synth.Options{Rate: synth.MinRate})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			ms[i] = measure(c)
		}
		return ms
	}
	for _, tr := range pitches {
		out.original = append(out.original, play(s.Original, tr))
		var twins [][2][2]measured
		for _, p := range s.Pairs {
			twins = append(twins, [2][2]measured{play(p[0].Passage, tr), play(p[1].Passage, tr)})
		}
		out.twins = append(out.twins, twins)
	}
	return out
}

// A listener decides which of two has it by one measure alone.
type listener struct {
	of    func(measured) float64
	learn bool // after each answer he is told, and goes by what was right more often; else the higher measure has it
	seen  int  // times that the higher one had it, less those that it hadn't
}

// answer listens to a question about a subject, drawn as Trial draws it, and reports whether the answer is right.
func (l *listener) answer(r *rand.Rand, s asSounded) bool {
	at := r.IntN(len(pitches))
	p := s.twins[at][r.IntN(len(s.twins[at]))][r.IntN(2)]
	hear := func(ms [2]measured) float64 {
		touch, level := r.Float64(), .2*(2*r.Float64()-1) // as a trial draws them; a measure between the extremes lies between theirs
		ms[0].loudness += level
		ms[1].loudness += level
		return l.of(ms[0])*(1-touch) + l.of(ms[1])*touch
	}
	d := hear(s.original[at]) - hear(p)
	if d == 0 {
		return r.IntN(2) == 0
	}
	says := 1 // the higher
	if l.learn {
		switch {
		case l.seen == 0:
			says = 1 - 2*r.IntN(2)
		case l.seen < 0:
			says = -1
		}
	}
	if d > 0 {
		l.seen++
	} else {
		l.seen--
	}
	return (d > 0) == (says > 0)
}

// sounds prepares the first claim of each form that has twins, places of more than seven seconds left out for the time it takes to
// render them.
func sounds(t *testing.T) (all []asSounded) {
	const dir = "../../drills/ear/testdata"
	done := map[string]bool{}
	for _, name := range []string{"desk", "chair"} {
		read := func(ext string) []byte {
			data, err := os.ReadFile(filepath.Join(dir, name+ext))
			if err != nil {
				t.Fatal(err)
			}
			return data
		}
		p, err := readPassage(name, read(".passage"), "")
		if err != nil {
			t.Fatal(err)
		}
		claims, bad, err := claim.Parse(name, bytes.NewReader(read(".claims")))
		if err != nil || len(bad) > 0 {
			t.Fatal(bad, err)
		}
		for _, c := range claims {
			r, err := p.Resolve(c.Place)
			if err != nil {
				t.Fatal(err)
			}
			if done[c.Form().ID] || p.Seconds(r.To)-p.Seconds(r.From) > 7 {
				continue
			}
			s, err := ear.Find(p, c, nil)
			var no *ear.NoTwinError
			if errors.As(err, &no) {
				continue
			}
			if err == nil {
				err = balance(s)
			}
			if err != nil {
				t.Fatal(err)
			}
			done[c.Form().ID] = true
			all = append(all, sounded(t, s, c.PlaceText+": "+c.Statement))
		}
	}
	return all
}

// A listener who goes by loudness, register, length or brightness alone stays a guesser over all forms of claim: the share of right
// answers is half, within three standard errors (the claims being the sample), and a listener who is told after each answer what
// was right, and goes by that, with a memory and a measuring device that no ear has, gains little.
func TestNoSideClues(t *testing.T) {
	all := sounds(t)
	if len(all) < 35 {
		t.Fatalf("%d forms; want at least 35", len(all))
	}
	for _, s := range all {
		for i, is := range s.original {
			for _, p := range s.twins[i] {
				for _, side := range p {
					for j := range is {
						if d := is[j].loudness - side[j].loudness; d < -.1 || d > .1 { // with .2 either way of the trial's own: 0.5 as EBU R 128 has it
							t.Errorf("%s: loudness %.2f and %.2f LUFS", s.name, is[j].loudness, side[j].loudness)
						}
					}
				}
			}
		}
	}
	const each, lives = 400, 20
	for _, m := range measures {
		for _, learn := range []bool{false, true} {
			r := rand.New(rand.NewPCG(11, 8))
			var sum, squares float64
			heard := 0
			for _, s := range all {
				l := listener{of: m.of, learn: learn}
				right := 0
				for range each {
					if l.answer(r, s) {
						right++
					}
				}
				share := float64(right) / each
				sum += share
				squares += share * share
				for range lives { // the verdict itself, at the first try
					l := listener{of: m.of, learn: learn}
					st := ear.State{}.Begin()
					for st.Last == ear.Open {
						st = st.Answer(l.answer(r, s))
					}
					if st.EverHeard {
						heard++
					}
				}
			}
			n := float64(len(all))
			mean := sum / n
			se := math.Sqrt((squares/n - mean*mean) / n)
			called := float64(heard) / (lives * n)
			t.Logf("%-12s learning %-5v: right %.4f (standard error %.4f), called heard %.4f", m.name, learn, mean, se, called)
			switch {
			case !learn && math.Abs(mean-.5) > 3*se+.01: // a hundredth for the draws themselves
				t.Errorf("%s: right %.4f; want .5 within 3 x %.4f", m.name, mean, se)
			case called > .05+3*math.Sqrt(.05*.95/(lives*n)), mean > .55: // 1 in 20 is what the rule allows a guesser in a lifetime
				t.Errorf("%s, learning %v: right %.4f, called heard %.4f", m.name, learn, mean, called)
			}
		}
	}
}
