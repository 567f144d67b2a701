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
	repeats bool // repeats, endings and jumps within a place are played
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
	stretches := make([]stretch, len(places))
	for i, r := range places {
		stretches[i] = stretch{what: fmt.Sprintf("place %d", i+1), p: p, r: r}
	}
	return planOf(stretches, l)
}

// A stretch is a place of a passage, and what it is called among the parts of a plan.
type stretch struct {
	what  string
	p     *score.Passage
	r     score.Region
	notes []score.Note
}

// planOf is newPlan for places of several passages.
func planOf(stretches []stretch, l listening) (*plan, error) {
	out := &plan{}
	first := stretches[0]
	sounding := map[*score.Passage][]score.Note{}
	for i := range stretches {
		s := &stretches[i]
		if l.repeats {
			p, err := s.p.Excerpt(s.r.From, s.r.To).Unfold()
			if err != nil {
				return nil, fmt.Errorf("--repeats: %w", err)
			}
			s.p, s.r = p, score.Region{To: p.End(), Layer: s.r.Layer}
		}
		if sounding[s.p] == nil {
			sounding[s.p] = s.p.Sounding()
		}
		s.notes = playedNotes(sounding[s.p], s.r)
	}
	for _, f := range []struct {
		flag  string
		names []noteName
	}{{"without", l.without}, {"stress", l.stress}, {"compare-without", l.compare}} {
		if len(f.names) > 0 && !slices.ContainsFunc(stretches, func(s stretch) bool {
			return slices.ContainsFunc(s.notes, func(n score.Note) bool { return named(f.names, n.Pitch) })
		}) {
			return nil, &silentError{f.flag, f.names}
		}
	}
	if l.countIn {
		out.countIn(first.p, first.r.From, l.slower)
	}
	single := len(stretches) == 1 && len(l.compare) == 0
	for round := range max(l.loop, 1) {
		for i, s := range stretches {
			notes := s.notes
			if len(l.without) > 0 {
				notes = slices.DeleteFunc(slices.Clone(notes), func(n score.Note) bool { return named(l.without, n.Pitch) })
			}
			out.place(s.what, s.p, notes, s.r, l, single || round == 0 && i == 0)
			if len(l.compare) > 0 && slices.ContainsFunc(notes, func(n score.Note) bool { return named(l.compare, n.Pitch) }) {
				rest := slices.DeleteFunc(slices.Clone(notes), func(n score.Note) bool { return named(l.compare, n.Pitch) })
				out.place(s.what+", without "+joinNames(l.compare), s.p, rest, s.r, l, false)
			}
		}
	}
	if len(out.notes) == 0 || !slices.ContainsFunc(out.parts, func(p planPart) bool { return p.what != countInPart }) {
		return nil, errSilent
	}
	if sooner := func(a, b synth.Note) int { return cmp.Compare(a.Start, b.Start) }; !slices.IsSortedFunc(out.notes, sooner) {
		slices.SortStableFunc(out.notes, sooner)
	}
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
	if len(out.notes) == 0 {
		out.notes = add
	} else {
		out.notes = append(out.notes, add...)
	}
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

// playedNotes is layerNotes for playing: a grace note that ends a note belongs to the place of that note.
func playedNotes(sounding []score.Note, r score.Region) []score.Note {
	if n := len(sounding); n > 0 && r.Layer == score.Whole && !sounding[0].Onset.Less(r.From) && sounding[n-1].Onset.Less(r.To) && !sounding[0].After {
		return sounding // all of it
	}
	notes := slices.DeleteFunc(slices.Clone(layerNotes(sounding, r)), func(n score.Note) bool { return n.After && n.Onset == r.From })
	if r.Layer == score.Whole || r.Layer == score.LeftHand || r.Layer == score.RightHand {
		for _, n := range sounding {
			if n.After && n.Onset == r.To && (r.Layer == score.Whole || (r.Layer == score.LeftHand) == (n.Hand == score.Left)) {
				notes = append(notes, n)
			}
		}
	}
	return notes
}
