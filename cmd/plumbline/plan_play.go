package main

import (
	"cmp"
	"slices"
	"sort"
	"time"

	"plumbline/synth"
	"plumbline/theory/score"
)

// strengths are how hard a key is struck under a dynamic mark, in (0, 1] (common practice, no source). Clips are brought to
// one loudness as a whole, so that marks tell within a passage only; from pp to ff they differ by 9 dB, less than on a piano,
// so that soft places stay audible beside loud ones.
var strengths = map[string]float64{"n": .2, "pppp": .2, "ppp": .25, "pp": .32, "p": .42, "mp": .52, "mf": .62, "f": .75, "ff": .87, "fff": 1,
	"ffff": 1, "pf": .68}

const plainStrength = .55

// accentMarks are the marks for one stroke: it is a third stronger, and what follows has the level named, if one is (common
// practice, no source; after "sfpp" the level is pp).
var accentMarks = map[string]string{"sf": "", "sfz": "", "sffz": "", "fz": "", "rf": "", "rfz": "", "sfp": "p", "sfzp": "p", "sfpp": "pp", "fp": "p"}

const accent = 4. / 3

// How strongly notes are struck by their place in the bar, against one on any other beat (that players give metrically strong
// notes more: Drake and Palmer, Accent structures in music performance, Music Perception 10, 1993, from memory; the amounts, half a
// decibel at most, are ours: felt rather than heard).
const (
	downbeat   = 1.06 // the first beat of a bar
	middleBeat = 1.03 // half a bar in two equal halves of several beats, and the first beat of each group of an additive meter
	offBeat    = .97  // between beats
)

// playing knows how a passage is played: what its marks make of a moment. It is made once, so that each note of long music
// is looked up and not searched for.
type playing struct {
	p      *score.Passage
	tempos []tempoPoint
	left   []levelPoint
	right  []levelPoint
	hits   []score.Dynamic // of accentMarks, by time
	feet   []score.Pedal   // of the damper pedal
	lifts  []score.Time    // for each of feet: when it or the next after it lifts the pedal

	lastAt   score.Time // of the strengths below, for chords
	last     [2]float64 // by hand; 0 if not known
	lastWhen score.Time
	lastSecs float64 // of lastWhen
}

type tempoPoint struct {
	at      score.Time
	seconds float64 // until then
	quarter float64 // seconds of a quarter note from then on
}

// A levelPoint says how strongly is played from a moment on: evenly, or towards another level until a later one.
type levelPoint struct {
	at, until score.Time
	from, to  float64
}

func newPlaying(p *score.Passage) *playing {
	y := &playing{p: p}
	last := tempoPoint{quarter: 60 / score.DefaultTempo}
	y.tempos = append(y.tempos, last)
	for _, t := range p.Tempos {
		if t.Quarters > 0 {
			last = tempoPoint{t.At, last.seconds + t.At.Sub(last.at).Float()*last.quarter, 60 / t.Quarters}
			y.tempos = append(y.tempos, last)
		}
	}
	y.left, y.right = levels(p, score.Left), levels(p, score.Right)
	for _, d := range p.Dynamics {
		if _, ok := accentMarks[d.Text]; ok {
			y.hits = append(y.hits, d)
		}
	}
	for _, f := range p.Pedals {
		if f.Act != score.Sostenuto { // it holds only some notes; which ones isn't asked
			y.feet = append(y.feet, f)
		}
	}
	y.lifts = make([]score.Time, len(y.feet))
	next := p.End()
	for i := len(y.feet) - 1; i >= 0; i-- {
		if y.feet[i].Act != score.PedalDown {
			next = y.feet[i].At
		}
		y.lifts[i] = next
	}
	return y
}

// seconds is the time from the start of the passage, as [score.Passage.Seconds] has it.
func (y *playing) seconds(t score.Time) float64 {
	if t == y.lastWhen {
		return y.lastSecs
	}
	i := sort.Search(len(y.tempos), func(i int) bool { return i > 0 && !y.tempos[i].at.Less(t) }) - 1
	c := y.tempos[max(i, 0)]
	y.lastWhen, y.lastSecs = t, c.seconds+t.Sub(c.at).Float()*c.quarter
	return y.lastSecs
}

// levels works out the course of a hand's dynamics. A mark holds until the next one. A hairpin, or a cresc. or dim. whose end
// is given, leads to the mark at its end, if one stands there (within a bar) and it is on that side; else to a third more, or
// a quarter less, which then holds; where another mark comes before its end, it ends there.
func levels(p *score.Passage, h score.Hand) []levelPoint {
	var marks []score.Dynamic
	for _, d := range p.Dynamics {
		if d.Hand == 0 || d.Hand == h {
			marks = append(marks, d)
		}
	}
	level := func(d score.Dynamic) (float64, bool) {
		v, ok := strengths[cmp.Or(accentMarks[d.Text], d.Text)]
		return v, ok
	}
	var out []levelPoint
	now := plainStrength
	for i, d := range marks {
		if n := len(out); n > 0 && d.At.Less(out[n-1].until) { // it cuts a swell short
			now = out[n-1].strength(d.At)
			out[n-1].until, out[n-1].to = d.At, now
		}
		if v, ok := level(d); ok {
			now = v
			out = append(out, levelPoint{d.At, d.At, v, v})
			continue
		}
		more := d.Text == "louder" || d.Text == "cresc."
		if !d.At.Less(d.Until) || !more && d.Text != "softer" && d.Text != "dim." {
			continue
		}
		to := now * 3 / 4
		if more {
			to = now * 4 / 3
		}
		for _, m := range marks[i+1:] {
			if d.Until.Add(score.Quarters(4)).Less(m.At) {
				break
			}
			if v, ok := level(m); ok && !m.At.Less(d.Until) {
				if more == (v > now) {
					to = v
				}
				break
			}
		}
		to = min(max(to, .2), 1)
		out = append(out, levelPoint{d.At, d.Until, now, to})
		now = to
	}
	return out
}

func (l levelPoint) strength(t score.Time) float64 {
	if !t.Less(l.until) {
		return l.to
	}
	return l.from + (l.to-l.from)*t.Sub(l.at).Float()/l.until.Sub(l.at).Float()
}

// strength returns how strongly a hand strikes at t: by the dynamics, an accent there, and the place in the bar.
func (y *playing) strength(t score.Time, h score.Hand) float64 {
	side, ls := 0, y.left
	if h == score.Right {
		side, ls = 1, y.right
	}
	if t != y.lastAt {
		y.lastAt, y.last = t, [2]float64{}
	}
	if s := y.last[side]; s > 0 {
		return s
	}
	s := plainStrength
	if i := sort.Search(len(ls), func(i int) bool { return t.Less(ls[i].at) }); i > 0 {
		s = ls[i-1].strength(t)
	}
	for i := sort.Search(len(y.hits), func(i int) bool { return !y.hits[i].At.Less(t) }); i < len(y.hits) && y.hits[i].At == t; i++ {
		if y.hits[i].Hand == 0 || y.hits[i].Hand == h {
			s *= accent
			break
		}
	}
	y.last[side] = min(s*y.stress(t), 1)
	return y.last[side]
}

// stress returns the part of the strength that comes from the place in the bar.
func (y *playing) stress(t score.Time) float64 {
	i := y.p.BarAt(t)
	if i < 0 {
		return 1
	}
	b := y.p.Bars[i]
	m := b.Meter
	if m.Beats == 0 || m.Unit == 0 {
		return 1
	}
	in := t.Sub(b.Start).Add(b.Offset)
	if in.Sign() == 0 {
		return downbeat
	}
	at := score.Time{}
	for _, g := range m.Groups {
		if at = at.Add(score.T(4*int64(g), int64(m.Unit))); at == in {
			return middleBeat
		}
	}
	beats := in.Div(m.Beat())
	if !whole(beats) {
		return offBeat
	}
	if half := m.Length().Div(m.Beat()); len(m.Groups) == 0 && half == beats.Add(beats) && whole(half.Div(score.Quarters(4))) {
		return middleBeat
	}
	return 1
}

func whole(t score.Time) bool { return t.Den() == 1 }

// held returns when a note that is let go at end stops sounding: then, or when the damper pedal that is down is next lifted.
func (y *playing) held(end score.Time) score.Time {
	i := sort.Search(len(y.feet), func(i int) bool { return !y.feet[i].At.Less(end) })
	switch {
	case i == 0 || y.feet[i-1].Act == score.PedalUp:
		return end
	case i == len(y.feet):
		return y.p.End().Max(end)
	}
	return y.lifts[i].Max(end)
}

const (
	graceEach = 90 * time.Millisecond
	// letGo is how much sooner than written a key is let go, so that the next note begins anew.
	letGo = 10 * time.Millisecond
	// shortest is the shortest time a key is held.
	shortest = 20 * time.Millisecond
)

// passageNotes turns notes into notes for the synthesizer as the passage has them between two moments: in time, slowed down,
// by the dynamics and the meter, held by the pedal; a key struck again while it still sounds begins anew. The whole lasts
// length, with the lead.
//
// Grace notes of each voice are played one after the other just before the beat, those struck together as a chord, and take
// their time, at most half of it, from the note before; at the very start they have lead before the first moment. (Whether a
// grace note comes before the beat or on it is a matter of school and of time; before is what editions since about 1850 mean
// most often; common practice, no source.)
func passageNotes(p *score.Passage, notes []score.Note, from, to score.Time, l listening) (out []synth.Note, lead, length time.Duration) {
	y := newPlaying(p)
	began := y.seconds(from)
	when := func(t score.Time) time.Duration {
		return time.Duration((y.seconds(t) - began) * l.slower * float64(time.Second))
	}
	graces, lead := gracesOf(notes, from, when, l)
	out = make([]synth.Note, 0, len(notes))
	var keys [128]int // by MIDI number: 1 + the index in out of the last note on it
	press := func(n *score.Note, start, end time.Duration) {
		s := synth.Note{Freq: l.tuning.Freq(n.Pitch.MIDI()), Start: lead + start, Length: max(end-start, shortest),
			Strength: y.strength(n.Onset, n.Hand), Pan: pan(n.Hand)}
		if len(l.stress) > 0 {
			if named(l.stress, n.Pitch) {
				s.Strength *= stressed
			} else {
				s.Strength *= unstressed
			}
		}
		s.Strength = min(s.Strength, 1)
		k := n.Pitch.MIDI()
		if k < 0 || k >= len(keys) { // on no keyboard
			out = append(out, s)
			return
		}
		if i := keys[k]; i > 0 {
			before := &out[i-1]
			if before.Start == s.Start { // one key, struck once
				before.Length, before.Strength = max(before.Length, s.Length), max(before.Strength, s.Strength)
				return
			}
			if before.Start < s.Start && s.Start < before.Start+before.Length {
				before.Length = max(s.Start-before.Start, time.Millisecond)
			}
		}
		out = append(out, s)
		keys[k] = len(out)
	}
	// Notes and grace notes in the order they sound, so that a key finds what it was struck for before.
	type event struct {
		n          *score.Note
		start, end time.Duration
	}
	events := make([]event, 0, len(notes))
	for i := range notes {
		n := &notes[i]
		if n.Grace != score.NoGrace {
			g := graces.at[i]
			events = append(events, event{n, g.start, g.end})
			continue
		}
		end := n.End()
		if !l.dry {
			end = y.held(end)
		}
		start := n.Onset.Max(from)
		if end = end.Min(to); !start.Less(end) {
			continue
		}
		s, e := when(start), when(end)-letGo
		if len(graces.before) > 0 && end == n.End() { // not held by the pedal: grace notes after it take their time from it
			if room, ok := graces.before[voiceAt{n.Hand, n.Voice, end}]; ok {
				e = min(e, when(end)-room)
			}
		}
		events = append(events, event{n, s, e})
	}
	if sooner := func(a, b event) int { return cmp.Compare(a.start, b.start) }; !slices.IsSortedFunc(events, sooner) {
		slices.SortStableFunc(events, sooner)
	}
	for _, e := range events {
		press(e.n, e.start, e.end)
	}
	return out, lead, lead + when(to)
}

type voiceAt struct {
	hand  score.Hand
	voice int
	at    score.Time
}

type graceTimes struct {
	at     map[int]struct{ start, end time.Duration } // by the index of the note
	before map[voiceAt]time.Duration                  // how long before a moment the grace notes of a voice begin
}

// gracesOf sets the times of the grace notes among notes, against the moment from, and returns how long before it the first
// one begins.
func gracesOf(notes []score.Note, from score.Time, when func(score.Time) time.Duration, l listening) (g graceTimes, lead time.Duration) {
	g = graceTimes{map[int]struct{ start, end time.Duration }{}, map[voiceAt]time.Duration{}}
	if !slices.ContainsFunc(notes, func(n score.Note) bool { return n.Grace != score.NoGrace }) {
		return g, 0
	}
	groups := map[voiceAt][]int{}
	onsets := map[voiceAt][]score.Time{} // of the notes of a voice, at being zero
	for i, n := range notes {
		v := voiceAt{n.Hand, n.Voice, n.Onset}
		if n.Grace != score.NoGrace {
			groups[v] = append(groups[v], i)
			continue
		}
		v.at = score.Time{}
		onsets[v] = append(onsets[v], n.Onset.Max(from))
	}
	for v, of := range groups {
		steps := 0
		for k, i := range of {
			if k == 0 || !notes[i].Together {
				steps++
			}
		}
		each := time.Duration(float64(graceEach) * min(l.slower, 4))
		at := when(v.at)
		// Half of what the voice has before, if it has something there.
		past := onsets[voiceAt{v.hand, v.voice, score.Time{}}]
		if k := sort.Search(len(past), func(k int) bool { return !past[k].Less(v.at) }); k > 0 {
			each = min(each, (at-when(past[k-1]))/2/time.Duration(steps))
		}
		room := each * time.Duration(steps)
		g.before[v] = room
		lead = max(lead, room-at)
		start := at - room - each
		for k, i := range of {
			if k == 0 || !notes[i].Together {
				start += each
			}
			g.at[i] = struct{ start, end time.Duration }{start, start + each}
		}
	}
	return g, lead
}
