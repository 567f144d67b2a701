package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"plumbline/drills"
	"plumbline/drills/planner"
	"plumbline/progress"
	"plumbline/synth"
	"plumbline/theory/pitch"
)

// How much of the record the planner looks at, for each thing asked: days, and answers.
const (
	planDays    = 20
	planAnswers = 40
)

// A plannedDrill chooses questions by the record.
type plannedDrill struct {
	p     *planner.Planner
	base  drills.Settings // what all questions have in common
	kinds []drills.Kind
	step  planner.Step // of the question asked last
	now   func() time.Time
}

// keptQuestion is a question as it is kept, so that it can be asked again note for note.
type keptQuestion struct {
	Settings drills.Settings `json:"settings"`
	Low      string          `json:"low,omitempty"`
	High     string          `json:"high,omitempty"`
	Number   int             `json:"number"`
	How      string          `json:"how,omitempty"` // see planner.Setting.String
}

// planned makes a planner for a drill, nil if there is no record yet to go by.
func (e *env) planned(ctx context.Context, store *progress.Store, f drillFlags, levelSet, kindSet bool) (*plannedDrill, error) {
	hs, err := store.Histories(ctx, planDays, planAnswers)
	if err != nil {
		return nil, err
	}
	mode := progress.Ear
	if f.sight {
		mode = progress.Sight
	}
	known := plannerHistories(hs)
	var kinds []drills.Kind
	for _, k := range drills.Kinds() {
		asked := slices.ContainsFunc(hs, func(h progress.History) bool { return h.Kind == string(k) && h.Mode == mode })
		if k == drills.Same || k == drills.Dictation { // these have a staircase of their own, or no choices
			continue
		}
		if asked && (!kindSet || string(k) == f.kind) && (!f.sight || k.Sight()) {
			kinds = append(kinds, k)
		}
	}
	if len(kinds) == 0 {
		return nil, nil
	}
	if levelSet || len(f.labels) > 0 {
		if kinds = []drills.Kind{drills.Kind(f.kind)}; f.kind == string(drills.Same) || f.kind == string(drills.Dictation) {
			return nil, nil
		}
	}
	var items []planner.Item
	for i, k := range kinds {
		s := drills.Settings{Kind: k, Sight: f.sight, Inversions: f.inversions, Labels: f.labels}
		var labels []string
		switch {
		case len(f.labels) > 0 || levelSet:
			if len(f.labels) == 0 {
				s.Level = f.level
			}
			d, err := drills.New(s)
			if err != nil {
				return nil, err
			}
			labels = d.Labels()
		default:
			labels = path(k, f.sight, known, e.now())
		}
		// A kind whose labels can't be asked some at a time is not planned.
		if _, err := drills.New(drills.Settings{Kind: k, Sight: f.sight, Inversions: f.inversions, Labels: labels[:min(2, len(labels))]}); err != nil {
			continue
		}
		for _, l := range labels {
			items = append(items, planner.Item{Skill: planner.Skill{Kind: k, Sight: f.sight, Label: l}, Deck: i})
		}
	}
	if len(items) < 2 {
		return nil, nil
	}
	base := drills.Settings{Seed: f.seed, Sight: f.sight, Inversions: f.inversions}
	return &plannedDrill{p: planner.New(items, known, f.seed), base: base, kinds: kinds, now: e.now}, nil
}

// plannerHistories puts the record into the planner's words.
func plannerHistories(hs []progress.History) []planner.History {
	out := make([]planner.History, len(hs))
	for i, h := range hs {
		o := planner.History{Skill: planner.Skill{Kind: drills.Kind(h.Kind), Sight: h.Mode == progress.Sight, Label: h.Label}}
		for _, d := range h.Days {
			o.Days = append(o.Days, planner.Day{Start: d.Start(), Asked: d.Asked, Right: d.Right})
		}
		for _, a := range h.Last {
			o.Last = append(o.Last, planner.Past{Correct: a.Correct, Given: a.Given, Setting: a.Condition, At: a.Asked})
		}
		out[i] = o
	}
	return out
}

// levelKnown is the share of a level's labels that must be known before the next level is opened (common practice, no source).
const levelKnown = 0.8

// path returns the labels that are open: those of all levels up to the first that is not known well enough.
func path(k drills.Kind, sight bool, known []planner.History, now time.Time) []string {
	var labels []string
	for _, l := range drills.Levels(k) {
		var items []planner.Item
		for _, label := range l.Labels {
			items = append(items, planner.Item{Skill: planner.Skill{Kind: k, Sight: sight, Label: label}})
			if !slices.Contains(labels, label) {
				labels = append(labels, label)
			}
		}
		good := 0
		for _, e := range planner.New(items, known, 0).Estimates(now) {
			if e.Seen >= 5 && e.Accuracy >= planner.Known {
				good++
			}
		}
		if float64(good) < levelKnown*float64(len(items)) {
			break
		}
	}
	return labels
}

// question returns question n as the planner wants it.
func (p *plannedDrill) question(n int) (drills.Question, keptQuestion, error) {
	step, ok := p.p.Next(p.now())
	if !ok {
		return drills.Question{}, keptQuestion{}, errors.New("nothing to tell apart")
	}
	p.step = step
	s := p.base
	s.Kind, s.Labels = step.Kind, step.Labels
	// What can't be had together gives way, the last first.
	for _, s := range []drills.Settings{laid(s, step.Setting, true, true), laid(s, step.Setting, false, true), laid(s, step.Setting, false, false)} {
		d, err := drills.New(s)
		var se *drills.SettingsError
		if errors.As(err, &se) && se.Field != "labels" && se.Field != "kind" {
			continue
		}
		if err != nil {
			return drills.Question{}, keptQuestion{}, err
		}
		return d.Question(n), kept(s, n, step.Setting), nil
	}
	return drills.Question{}, keptQuestion{}, fmt.Errorf("no way to ask %s", strings.Join(step.Labels, " or "))
}

// laid puts a setting into the settings of a drill of chords: spacing and doublings, and the register.
func laid(s drills.Settings, how planner.Setting, spacing, register bool) drills.Settings {
	if s.Kind != drills.Quality && s.Kind != drills.Construction || s.Sight {
		return s
	}
	least := 12
	if spacing && s.Kind == drills.Quality {
		s.MinSpan, s.MaxSpan, s.Doubled = 12, closeSpan, how.Doubled
		if how.Open {
			s.MinSpan, s.MaxSpan, least = closeSpan+1, 24, closeSpan+1
		}
	}
	if register && s.Kind == drills.Quality {
		low := map[planner.Register]int{planner.Low: 36, planner.Middle: 48, planner.High: 60}[how.Register]
		// The lowest note is drawn from Low up to High less the span.
		s.Low, s.High = pitch.FromMIDI(low, false), pitch.FromMIDI(low+11+least, false)
	}
	return s
}

// closeSpan is the widest distance of the outer notes, in semitones, that counts as close position: a tenth.
const closeSpan = 16

func kept(s drills.Settings, n int, how planner.Setting) keptQuestion {
	k := keptQuestion{Settings: s, Number: n}
	if (s.Low != pitch.Pitch{}) || (s.High != pitch.Pitch{}) {
		k.Low, k.High = s.Low.String(), s.High.String()
	}
	if how.Choices > 0 {
		k.How = how.String()
	}
	return k
}

// condition tells the circumstances of a question as they are counted: register and spacing by its notes, the rest as it was
// played. Of what is not one chord only the number of choices counts.
func condition(q drills.Question, how planner.Setting) string {
	c := how
	c.Choices = min(max(len(q.Choices), 2), drills.MaxChoices)
	ns := q.Notes()
	if q.Kind != drills.Quality && q.Kind != drills.Construction || len(ns) == 0 || len(q.Music) > 0 {
		return fmt.Sprintf("choices=%d", c.Choices)
	}
	low, high := ns[0].MIDI(), ns[len(ns)-1].MIDI()
	switch {
	case low < 48:
		c.Register = planner.Low
	case low < 60:
		c.Register = planner.Middle
	default:
		c.Register = planner.High
	}
	c.Open = high-low > closeSpan
	return c.String()
}

// why says why the question asked last was asked.
func (p *plannedDrill) why() string { return "Why this one: " + strings.Join(p.step.Why, " ") }

// heading says what a planned sitting is about.
func (p *plannedDrill) heading() string {
	var titles []string
	for _, k := range p.kinds {
		titles = append(titles, k.Title())
	}
	if len(titles) > 3 {
		return fmt.Sprintf("%d kinds of drill", len(titles))
	}
	return strings.Join(titles, ", ")
}

// sounding puts how a question is to sound into the drill's sound.
func (d *drillSound) sounding(how planner.Setting) {
	d.voice, d.length = synth.Voice{}, 0
	if how.Other {
		d.voice = otherVoice()
	}
	if how.Dry {
		d.voice = dry(d.voice)
	}
	if how.Short {
		d.length = shortLength
	}
}

// shortLength is how long a chord sounds when it is to be told quickly.
const shortLength = 700 * time.Millisecond

// otherVoice is a timbre that is not the usual one.
func otherVoice() synth.Voice {
	for _, v := range synth.Voices() {
		if v.Name != synth.Struck.Name {
			return v
		}
	}
	return synth.Struck
}

// dryness is by what the decay of a voice is hastened: it dies away this many times as fast, and by so many dB a second more.
const (
	dryness = 3
	dryMore = 18
)

// dry returns a voice that dies away fast; the zero value stands for the usual one.
func dry(v synth.Voice) synth.Voice {
	if v.Partials == nil {
		v = synth.Struck
	}
	own := v.Partials
	v.Partials = func(dst []synth.Partial, f synth.Hz, strength float64) []synth.Partial {
		n := len(dst)
		dst = own(dst, f, strength)
		for i := range dst[n:] {
			p := &dst[n+i]
			p.Decay, p.After = dryness*p.Decay+dryMore, dryness*p.After+dryMore
		}
		return dst
	}
	return v
}

// cut shortens notes that last longer.
func cut(notes []synth.Note, length time.Duration) []synth.Note {
	if length > 0 {
		notes = slices.Clone(notes)
		for i := range notes {
			notes[i].Length = min(notes[i].Length, length)
		}
	}
	return notes
}

// repeated returns the questions of the learner's last sitting, as they were kept.
func repeated(ctx context.Context, store *progress.Store) ([]keptQuestion, error) {
	last, err := store.Sittings(ctx, 1)
	if err != nil {
		return nil, err
	}
	if len(last) == 0 {
		return nil, &hintError{errors.New("no sitting yet whose questions could be asked once more"), "plumbline drill begins one"}
	}
	asked, err := store.Questions(ctx, last[0].ID)
	if err != nil {
		return nil, err
	}
	var out []keptQuestion
	for _, a := range asked {
		var d struct {
			Ask *keptQuestion `json:"ask"`
		}
		if err := json.Unmarshal([]byte(a.Detail), &d); err == nil && d.Ask != nil {
			out = append(out, *d.Ask)
		}
	}
	if len(out) == 0 {
		return nil, &hintError{errors.New("the last sitting was about a passage, or its questions were not kept"), "ask about the passage again: drill --from PASSAGE --seed " + fmt.Sprint(last[0].Seed)}
	}
	return out, nil
}

// question makes a kept question again.
func (k keptQuestion) question(n int) (drills.Question, planner.Setting, error) {
	s := k.Settings
	how, _ := planner.ParseSetting(k.How)
	if k.Low != "" {
		low, err := pitch.Parse(k.Low)
		if err != nil {
			return drills.Question{}, how, err
		}
		high, err := pitch.Parse(k.High)
		if err != nil {
			return drills.Question{}, how, err
		}
		s.Low, s.High = low, high
	}
	d, err := drills.New(s)
	if err != nil {
		return drills.Question{}, how, err
	}
	q := d.Question(k.Number)
	q.Number = n
	return q, how, nil
}
