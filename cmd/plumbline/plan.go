package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"plumbline/synth"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A listening says how places of a passage are heard. The zero value is as written, in equal temperament, but for slower,
// which must be above 0.
type listening struct {
	slower  float64 // 1 as written, 2 half as fast
	tuning  synth.Tuning
	shape   shape
	without []noteName // left out
	stress  []noteName // brought out, the others held back
	compare []noteName // heard with these and then without them
	loop    int        // how many times; 0 is once
	countIn bool
	dry     bool // the pedal is not used
}

// A shape is what becomes of a place's chords.
type shape int

const (
	asWritten shape = iota
	blockChords
	brokenChords // each from the bottom up, note by note
	builtChords  // each from the bass up, with one note more each time
)

// A noteName names notes to be treated apart: of one pitch, or of a class in any octave.
type noteName struct {
	pitch pitch.Pitch
	class pitch.Class
	any   bool
}

func (n noteName) String() string {
	if n.any {
		return n.class.String()
	}
	return n.pitch.String()
}

// parseNoteNames reads the values of a flag: "D#5", or "D#" for any octave.
func parseNoteNames(flag string, texts []string) ([]noteName, error) {
	var out []noteName
	for _, w := range texts {
		if c, err := pitch.ParseClass(w); err == nil {
			out = append(out, noteName{class: c, any: true})
			continue
		}
		p, err := pitch.Parse(w)
		if err != nil {
			return nil, fmt.Errorf("--%s: %w", flag, err)
		}
		out = append(out, noteName{pitch: p})
	}
	return out, nil
}

func named(names []noteName, p pitch.Pitch) bool {
	return slices.ContainsFunc(names, func(n noteName) bool { return n.any && n.class == p.Class() || !n.any && n.pitch == p })
}

// A silentError says that notes asked for don't sound where they were looked for.
type silentError struct {
	flag  string
	names []noteName
}

func (e *silentError) Error() string {
	var names []string
	for _, n := range e.names {
		names = append(names, n.String())
	}
	return fmt.Sprintf("--%s %s: no such note sounds there", e.flag, strings.Join(names, ", "))
}

// A plan is what sounds when.
type plan struct {
	notes  []synth.Note
	parts  []planPart // in order of time
	length time.Duration
}

// A planPart is a stretch of a plan that is heard as one thing.
type planPart struct {
	what string // "count-in", "place 1", "place 1, without D#5", "place 2"
	at   time.Duration
}

// countInPart is the name of the count-in among the parts.
const countInPart = "count-in"

// compares reports whether p holds different things, to be heard against each other.
func (p *plan) compares() bool {
	first := ""
	for _, q := range p.parts {
		switch {
		case q.what == countInPart || q.what == first:
		case first == "":
			first = q.what
		default:
			return true
		}
	}
	return false
}

const (
	partGap   = 700 * time.Millisecond // between things heard one after the other
	brokenGap = 250 * time.Millisecond // between the notes of a broken chord
	blockEach = 1500 * time.Millisecond
	buildStep = 750 * time.Millisecond
)

// newPlan lays out the places one after another, as l says. All of it is to be rendered at one gain, so that what is heard
// without a note isn't made louder for it. It returns errSilent if nothing sounds, and a *silentError if a note that l names
// sounds in none of the places.
func newPlan(p *score.Passage, places []score.Region, l listening) (*plan, error) {
	sounding := p.Sounding()
	out := &plan{}
	chosen := make([][]score.Note, len(places))
	for i, r := range places {
		chosen[i] = layerNotes(sounding, r)
	}
	for _, f := range []struct {
		flag  string
		names []noteName
	}{{"without", l.without}, {"stress", l.stress}, {"compare-without", l.compare}} {
		if len(f.names) > 0 && !slices.ContainsFunc(chosen, func(ns []score.Note) bool {
			return slices.ContainsFunc(ns, func(n score.Note) bool { return named(f.names, n.Pitch) })
		}) {
			return nil, &silentError{f.flag, f.names}
		}
	}
	if l.countIn {
		out.countIn(p, places[0].From, l.slower)
	}
	single := len(places) == 1 && len(l.compare) == 0
	for round := range max(l.loop, 1) {
		for i, r := range places {
			notes := slices.DeleteFunc(slices.Clone(chosen[i]), func(n score.Note) bool { return named(l.without, n.Pitch) })
			what := fmt.Sprintf("place %d", i+1)
			out.place(what, p, notes, r, l, single || round == 0 && i == 0)
			if slices.ContainsFunc(notes, func(n score.Note) bool { return named(l.compare, n.Pitch) }) {
				rest := slices.DeleteFunc(slices.Clone(notes), func(n score.Note) bool { return named(l.compare, n.Pitch) })
				out.place(what+", without "+joinNames(l.compare), p, rest, r, l, false)
			}
		}
	}
	if len(out.notes) == 0 || !slices.ContainsFunc(out.parts, func(p planPart) bool { return p.what != countInPart }) {
		return nil, errSilent
	}
	slices.SortStableFunc(out.notes, func(a, b synth.Note) int { return cmp.Compare(a.Start, b.Start) })
	return out, nil
}

func joinNames(names []noteName) string {
	var s []string
	for _, n := range names {
		s = append(s, n.String())
	}
	return strings.Join(s, ", ")
}

// place adds notes of a region, after a gap unless they follow in time. Nothing is added for no notes.
func (out *plan) place(what string, p *score.Passage, notes []score.Note, r score.Region, l listening, follow bool) {
	if len(notes) == 0 {
		return
	}
	at := out.length
	if !follow {
		at += partGap
	}
	weight := func(n score.Note) float64 {
		switch {
		case len(l.stress) == 0:
			return 1
		case named(l.stress, n.Pitch):
			return stressed
		}
		return unstressed
	}
	var add []synth.Note
	var lead, length time.Duration
	if l.shape == asWritten {
		add, lead, length = passageNotes(p, notes, r.From, r.To, l)
	} else {
		add, length = shapedNotes(notes, r, l, weight)
	}
	if len(add) == 0 {
		return
	}
	at -= min(lead, at) // grace notes take their time from what is before, so that the beat comes in time
	for i := range add {
		add[i].Start += at
	}
	out.parts = append(out.parts, planPart{what, at})
	out.notes = append(out.notes, add...)
	out.length = at + length
}

// A note stressed is about 9 dB above the others, by the squares of these.
const stressed, unstressed = 1.6, .55

// countIn adds ticks on the beats of a full bar before from and, if from is within a bar, of what comes before it there.
func (out *plan) countIn(p *score.Passage, from score.Time, slower float64) {
	meter, gone := score.Meter{Beats: 4, Unit: 4}, score.Time{}
	if i := p.BarAt(from); i >= 0 {
		b := p.Bars[i]
		if b.Meter.Beats > 0 {
			meter = b.Meter
		}
		gone = b.Offset.Add(from.Sub(b.Start))
	}
	// The tempo is the one in force where the music begins.
	quarter := (p.Seconds(from.Add(score.Quarters(1))) - p.Seconds(from)) * slower
	at := func(t score.Time) time.Duration { return time.Duration(t.Float() * quarter * float64(time.Second)) }
	end := meter.Length().Add(gone)
	out.parts = append(out.parts, planPart{countInPart, out.length})
	for t, n := (score.Time{}), 0; t.Less(end); t, n = t.Add(meter.Beat()), n+1 {
		tick := synth.Note{Freq: 1320, Start: out.length + at(t), Length: 40 * time.Millisecond, Strength: .18, Voice: &synth.Tick}
		if inBar := t; inBar == (score.Time{}) || inBar == meter.Length() {
			tick.Freq, tick.Strength = 1760, .25
		}
		out.notes = append(out.notes, tick)
	}
	out.length += at(end)
}

// passageNotes turns notes into notes for the synthesizer as the passage has them between two moments: in time, slowed down,
// by the dynamics, the first beat of a bar a little stronger, held by the pedal. Grace notes are played just before what they
// decorate: at the very start they have lead before the first moment. The whole lasts length, with the lead.
func passageNotes(p *score.Passage, notes []score.Note, from, to score.Time, l listening) (out []synth.Note, lead, length time.Duration) {
	const grace = 90 * time.Millisecond
	seconds := func(t score.Time) time.Duration {
		return time.Duration((p.Seconds(t) - p.Seconds(from)) * l.slower * float64(time.Second))
	}
	before := map[score.Time]int{} // grace notes at an onset, for their order
	for _, n := range notes {
		if n.Grace != score.NoGrace {
			before[n.Onset]++
		}
	}
	lead = time.Duration(before[from]) * grace
	for _, n := range notes {
		s := synth.Note{Freq: l.tuning.Freq(n.Pitch.MIDI()), Strength: strengthAt(p, n.Onset, n.Hand), Pan: pan(n.Hand)}
		if i := p.BarAt(n.Onset); i >= 0 && p.Bars[i].Start == n.Onset && p.Bars[i].Offset == (score.Time{}) && p.Bars[i].Meter.Beats > 0 {
			s.Strength *= downbeat
		}
		if len(l.stress) > 0 {
			if named(l.stress, n.Pitch) {
				s.Strength *= stressed
			} else {
				s.Strength *= unstressed
			}
		}
		s.Strength = min(s.Strength, 1)
		if n.Grace != score.NoGrace {
			s.Start = max(lead+seconds(n.Onset)-time.Duration(before[n.Onset])*grace, 0)
			s.Length = grace
			before[n.Onset]--
		} else {
			end := n.End()
			if !l.dry {
				end = pedalled(p, end)
			}
			start, end := n.Onset.Max(from), end.Min(to)
			if !start.Less(end) {
				continue
			}
			s.Start = lead + seconds(start)
			s.Length = max(seconds(end)-seconds(start)-10*time.Millisecond, 20*time.Millisecond)
		}
		out = append(out, s)
	}
	return out, lead, lead + seconds(to)
}

// downbeat is how much more strongly the first beat of a bar is played (common practice, no source): half a decibel, felt
// rather than heard.
const downbeat = 1.06

// pedalled returns when a note that is let go at end stops sounding: then, or when the damper pedal that is down is next lifted.
func pedalled(p *score.Passage, end score.Time) score.Time {
	down := false
	for _, m := range p.Pedals {
		if m.Act == score.Sostenuto { // holds only some notes; which ones isn't asked
			continue
		}
		if m.At.Less(end) {
			down = m.Act != score.PedalUp
			continue
		}
		if !down {
			return end
		}
		if m.Act != score.PedalDown {
			return m.At
		}
	}
	if down {
		return p.End().Max(end)
	}
	return end
}

// shapedNotes plays each sonority of a region as l.shape has it, and returns how long that takes.
func shapedNotes(notes []score.Note, r score.Region, l listening, weight func(score.Note) float64) ([]synth.Note, time.Duration) {
	scale := func(d time.Duration) time.Duration { return time.Duration(float64(d) * l.slower) }
	var out []synth.Note
	at := time.Duration(0)
	add := func(ps []handPitch, length, apart time.Duration) {
		for _, n := range chordNotes(ps, length, apart, l.tuning) {
			n.Start += at
			out = append(out, n)
		}
		at += length + time.Duration(len(ps)-1)*apart
	}
	for _, s := range score.Slices(notes, r.From, r.To) {
		var ps []handPitch
		for _, n := range s.Notes {
			ps = append(ps, handPitch{n.Pitch, n.Hand, weight(n)})
		}
		switch l.shape {
		case brokenChords:
			add(ps, scale(blockEach), scale(brokenGap))
		case builtChords:
			for k := 1; k < len(ps); k++ {
				add(ps[:k], scale(buildStep), 0)
			}
			add(ps, scale(blockEach), 0)
		default:
			add(ps, scale(blockEach), 0)
		}
		at += scale(200 * time.Millisecond)
	}
	return out, at
}

// handPitch is a pitch in a hand, and how strongly it is struck against the usual; 0 means as usual.
type handPitch struct {
	pitch  pitch.Pitch
	hand   score.Hand
	weight float64
}

// chordNotes lets pitches sound together for length, or one after the other from the bottom if apart is above 0.
func chordNotes(ps []handPitch, length, apart time.Duration, tuning synth.Tuning) []synth.Note {
	var out []synth.Note
	for i, p := range ps {
		start := time.Duration(i) * apart
		weight := p.weight
		if weight == 0 {
			weight = 1
		}
		out = append(out, synth.Note{Freq: tuning.Freq(p.pitch.MIDI()), Start: start, Length: length + time.Duration(len(ps)-1)*apart - start,
			Strength: math.Min(plainStrength*weight, 1), Pan: pan(p.hand)})
	}
	return out
}

// layerNotes returns the notes of a region, those of its bass, top line or inner lines if it names one.
func layerNotes(sounding []score.Note, r score.Region) []score.Note {
	switch r.Layer {
	case score.Bass:
		return line.Bass(sounding, r)
	case score.TopLine:
		return line.Top(sounding, r)
	}
	notes := r.Select(sounding)
	if r.Layer == score.InnerLines {
		low, high := line.Bass(sounding, r), line.Top(sounding, r)
		notes = slices.DeleteFunc(notes, func(n score.Note) bool { return slices.Contains(low, n) || slices.Contains(high, n) })
	}
	return notes
}
