package main

import (
	"context"
	"math"
	"time"

	"plumbline/drills/ear"
	"plumbline/synth"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// How a claim sounds.
const (
	claimShortest = 1800 * time.Millisecond // a shorter place is slowed down until it lasts so long, four times slower at most
	betweenTwo    = 800 * time.Millisecond
	namedNote     = 550 * time.Millisecond // each note that the claim names
	namedChord    = 1100 * time.Millisecond
	afterNamed    = 600 * time.Millisecond
)

// interval renders one playing of a subject's places, all at one pace.
func interval(s *ear.Subject, pl ear.Playing, transpose int, opts synth.Options) (*synth.Clip, error) {
	seconds := 0.0
	for _, r := range s.Places {
		seconds += s.Original.Seconds(r.To) - s.Original.Seconds(r.From)
	}
	made, err := newPlan(pl.Passage, s.Places, listening{slower: min(max(claimShortest.Seconds()/seconds, 1), 4)})
	if err != nil {
		return nil, err
	}
	for i := range made.notes {
		n := &made.notes[i]
		n.Freq *= synth.Hz(math.Exp2(float64(transpose) / 12))
		n.Strength = min(max(n.Strength*pl.Touch, .05), 1)
	}
	if opts.Level == 0 {
		opts.Level = synth.DefaultLevel
	}
	opts.Level += synth.LUFS(pl.Level)
	return synth.Render(made.notes, opts)
}

// timbre is what of a sound could be followed without hearing what it is made of, as logarithms, so that differences are ratios.
type timbre struct {
	register   float64 // crossings of zero a second
	brightness float64 // root mean square of the spectrum: the power of the slope over the power
	low        float64 // the same of what is below 300 Hz or so
}

// clipTimbre measures a clip.
func clipTimbre(c *synth.Clip) timbre {
	var power, slope, lowPower, lowSlope, last, low, lastLow float64
	crossings := 1
	k := 1 - math.Exp(-2*math.Pi*300/float64(c.Rate)) // one pole
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
	}
	return timbre{math.Log(float64(crossings)), math.Log(slope/power) / 2, math.Log(lowSlope/lowPower) / 2}
}

// balance chooses among a subject's twins those whose sound, too, lies on both sides of the original: higher and lower, brighter and
// darker, against what the touch makes of it by chance.
func balance(s *ear.Subject) error {
	measure := func(p *score.Passage, touch float64) ([]float64, error) {
		c, err := interval(s, ear.Playing{Passage: p, Touch: touch}, 0, synth.Options{Rate: synth.MinRate})
		if err != nil {
			return nil, err
		}
		t := clipTimbre(c)
		return []float64{t.register, t.brightness, t.low}, nil
	}
	low, err := measure(s.Original, 1-ear.TouchRange)
	if err != nil {
		return err
	}
	high, err := measure(s.Original, 1+ear.TouchRange)
	if err != nil {
		return err
	}
	return s.Balance(func(p *score.Passage) ([]float64, error) {
		m, err := measure(p, 1)
		for i := range m { // by their touch two playings differ with a standard deviation of sqrt(2/3) times its reach
			m[i] /= max(math.Abs(high[i]-low[i])/2*math.Sqrt(2./3), 1e-4)
		}
		return m, err
	})
}

// given renders what a learner is given first: the tonic chord of the claim's key, else the notes that it names; nil if nothing.
func given(s *ear.Subject, transpose int, opts synth.Options) (*synth.Clip, error) {
	var notes []synth.Note
	add := func(p pitch.Pitch, at, length time.Duration) {
		notes = append(notes, synth.Note{Freq: synth.Tuning{}.Freq(p.MIDI() + transpose), Start: at, Length: length, Strength: plainStrength})
	}
	switch {
	case s.Tonic != nil:
		for _, p := range tonicChord(*s.Tonic) {
			add(p, 0, namedChord)
		}
	default:
		for i, p := range s.Named {
			add(p, time.Duration(i)*namedNote, namedNote)
		}
	}
	if len(notes) == 0 {
		return nil, nil
	}
	return synth.Render(notes, opts)
}

// tonicChord returns the tonic triad of a key around middle C, its root doubled below.
func tonicChord(k key.Key) []pitch.Pitch {
	root := k.Tonic.In(3)
	third := pitch.MajorThird
	if k.Contains(k.Tonic.Add(pitch.MinorThird)) {
		third = pitch.MinorThird
	}
	top := root.Add(pitch.Octave)
	return []pitch.Pitch{root, top, top.Add(third), top.Add(pitch.PerfectFifth)}
}

// trialClips renders what a trial plays, each at the same loudness and of the same length.
func trialClips(s *ear.Subject, t ear.Trial, opts synth.Options) ([]*synth.Clip, error) {
	var clips []*synth.Clip
	held, frames := false, 0
	for _, pl := range t.Play {
		c, err := interval(s, pl, t.Transpose, opts)
		if err != nil {
			return nil, err
		}
		clips, held, frames = append(clips, c), held || c.Held > 0, max(frames, len(c.Samples))
	}
	for _, c := range clips {
		c.Samples = append(c.Samples, make([]float32, frames-len(c.Samples))...)
	}
	if held { // the ceiling keeps one down: the other goes with it
		if _, err := synth.MatchLoudness(clips...); err != nil {
			return nil, err
		}
	}
	return clips, nil
}

// trialClip renders a whole trial: what is given, and then one or two to be judged.
func (s *claimSitting) trialClip(a *asking, t ear.Trial, what string) (*synth.Clip, error) {
	opts := synth.Options{Level: synth.DefaultLevel - synth.LUFS(quieter(t.Number)), Voice: s.sound.voice}
	if what == "compare" { // as it is, then changed
		t.Play = []ear.Playing{{Passage: a.subject.Original, Touch: 1, True: true}, {Passage: t.Twin.Passage, Touch: 1}}
	}
	clips, err := trialClips(a.subject, t, opts)
	if err != nil {
		return nil, err
	}
	all, err := synth.Concat(betweenTwo, clips...)
	if err != nil || what != "" {
		return all, err
	}
	first, err := given(a.subject, t.Transpose, opts)
	if err != nil || first == nil {
		return all, err
	}
	return synth.Concat(afterNamed, first, all)
}

// A nextTrial is the sound of a question while it is rendered.
type nextTrial struct {
	of   *asking
	n    int
	done chan struct{} // closed when clip and err are there
	clip *synth.Clip
	err  error
}

// play plays a trial, or writes it into a file and returns its path.
func (s *claimSitting) play(ctx context.Context, a *asking, t ear.Trial) (string, error) {
	next := s.next
	s.next = nil
	if next == nil || next.n != t.Number || next.of != a {
		return s.replay(ctx, a, t, "")
	}
	<-next.done
	if next.err != nil {
		return "", next.err
	}
	return s.sound.present(ctx, t.Number, "", next.clip)
}

// replay plays a trial again, or compares: as it is, then changed.
func (s *claimSitting) replay(ctx context.Context, a *asking, t ear.Trial, what string) (string, error) {
	if s.sound.silent {
		return "", nil
	}
	c, err := s.trialClip(a, t, what)
	if err != nil {
		return "", err
	}
	return s.sound.present(ctx, t.Number, what, c)
}

// ahead renders the question that follows while this one sounds.
func (s *claimSitting) ahead(a *asking, t ear.Trial) {
	if s.sound.silent {
		return
	}
	next := &nextTrial{of: a, n: t.Number, done: make(chan struct{})}
	s.next = next
	go func() {
		defer close(next.done)
		next.clip, next.err = s.trialClip(a, t, "")
	}()
}
