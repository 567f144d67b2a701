package midi

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"plumbline/theory/key"
	"plumbline/theory/score"
)

const (
	usualResolution = 480
	maxResolution   = 32767
	plainVelocity   = 64 // what the standard gives a note that was played on an instrument without velocities
)

// Write writes p as a file of format 1 with three tracks: the title, tempos and signatures; the right hand; the left hand.
// Tied notes are joined, cue notes left out. What comes back by [Read] has the same onsets, durations, keys, hands, bars,
// meters, key signatures and tempos, as far as a MIDI file can hold them:
//
//   - a grace note lasts a 32nd note, just before the note it decorates, or with it at the start of the piece;
//   - a key signature of no declared mode becomes a major key;
//   - a church mode becomes the major key of its signature, and a signature of more than seven signs the one that sounds alike;
//   - an additive meter becomes a plain one; a free bar, or one longer than its meter, takes the meter of its length;
//   - a bar is cut short by the time signature of the next, and its number and offset aren't kept but for an upbeat;
//   - a tempo is kept to the microsecond a quarter note;
//   - dynamic marks and hairpins become velocities, and the damper pedal its controller (64), which [Read] doesn't read back;
//   - all other marks are left out.
//
// One hand's notes of the same key that overlap go to different channels. It returns an *Error if a note has no key on a MIDI
// keyboard, if times don't fit in ticks and o.Resolution is 0, and what w returns.
func Write(w io.Writer, p *score.Passage, o Options) error {
	fail := func(format string, args ...any) error {
		return &Error{File: o.File, Offset: -1, Msg: fmt.Sprintf(format, args...)}
	}
	if o.Resolution < 0 || o.Resolution > maxResolution {
		return fail("a resolution of %d ticks a quarter note; want 1 to %d, or 0", o.Resolution, maxResolution)
	}
	res := int64(o.Resolution)
	if res == 0 {
		var at score.Time
		if res, at = resolution(p); res == 0 {
			return fail("%s: the times up to here have no common part of a quarter note above 1/%d; set a resolution to round them", p.Where(at), maxResolution)
		}
	}
	ticks := func(t score.Time) int64 { return round(t, res) }

	var conductor events
	end := max(0, ticks(p.End()))
	if p.Title != "" {
		conductor.meta(0, metaName, []byte(p.Title))
	}
	conductor.meters(p, ticks)
	for _, t := range p.Tempos {
		if !(t.Quarters > 0) || math.IsInf(t.Quarters, 0) {
			continue // no tempo
		}
		m := microseconds(t.Quarters)
		if m < 1 || m > 0xffffff {
			return fail("%s: %v quarter notes a minute can't be written; want 3.58 to 60000000", p.Where(t.At), t.Quarters)
		}
		conductor.meta(ticks(t.At), metaTempo, []byte{byte(m >> 16), byte(m >> 8), byte(m)})
	}
	for _, k := range p.Keys {
		sig, minor := k.Key.Signature(), byte(0)
		for sig > 7 {
			sig -= 12
		}
		for sig < -7 {
			sig += 12
		}
		if k.Key.Mode == key.Minor {
			minor = 1
		}
		conductor.meta(ticks(k.At), metaKey, []byte{byte(int8(sig)), minor})
	}

	var hands [2]events
	loud := [2]loudness{loudnessOf(p, score.Right), loudnessOf(p, score.Left)}
	for i, name := range []string{"right hand", "left hand"} {
		hands[i].meta(0, metaName, []byte(name))
	}
	for _, n := range timed(p.Sounding(), ticks, max(1, res/8)) {
		if n.key < 0 || n.key > 127 {
			return fail("%s: %v has no key on a MIDI keyboard", p.Where(n.Onset), n.Pitch)
		}
		h := 0
		if n.Hand == score.Left {
			h = 1
		}
		hands[h].note(n, channels[h], loud[h].at(n.Onset))
		end = max(end, n.off)
	}
	for h := range hands {
		hands[h].pedals(p.Pedals, ticks, channels[h])
	}
	for _, e := range []*events{&conductor, &hands[0], &hands[1]} {
		for _, x := range e.list {
			end = max(end, x.at)
		}
	}
	bw := bufio.NewWriter(w)
	bw.Write([]byte{'M', 'T', 'h', 'd', 0, 0, 0, 6, 0, 1, 0, 3, byte(res >> 8), byte(res)})
	for _, e := range []*events{&conductor, &hands[0], &hands[1]} {
		data, err := e.encode(end)
		if err != nil {
			return fail("%v", err)
		}
		n := len(data)
		bw.Write([]byte{'M', 'T', 'r', 'k', byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)})
		bw.Write(data)
	}
	return bw.Flush() // the first error of all
}

// Rounding returns the farthest that any onset or end of p moves when it is written with a resolution, in quarter notes.
func Rounding(p *score.Passage, resolution int) score.Time {
	far, res := score.Time{}, int64(max(resolution, 1))
	for _, n := range p.Sounding() {
		for _, t := range []score.Time{n.Onset, n.End()} {
			d := t.Sub(score.T(round(t, res), res))
			if d.Sign() < 0 {
				d = score.Time{}.Sub(d)
			}
			far = far.Max(d)
		}
	}
	return far
}

// round returns t in ticks, the nearest.
func round(t score.Time, res int64) int64 {
	whole, rest := t.Num()/t.Den(), t.Num()%t.Den()
	if rest < 0 {
		whole, rest = whole-1, rest+t.Den()
	}
	return whole*res + (2*rest*res+t.Den())/(2*t.Den())
}

// resolution returns the ticks a quarter note that keep all times of p exact, or 0 and the time at which there are too many.
func resolution(p *score.Passage) (int64, score.Time) {
	parts := int64(1)
	var where score.Time
	fits := func(t score.Time) bool {
		if parts = lcm(parts, t.Den()); parts > maxResolution {
			where = t
			return false
		}
		return true
	}
	for _, n := range p.Notes {
		if n.Grace == score.NoGrace && !n.Cue && (!fits(n.Onset) || !fits(n.End())) {
			return 0, where
		}
	}
	for _, b := range p.Bars {
		if !fits(b.Start) || !fits(b.End()) {
			return 0, where
		}
	}
	for _, k := range p.Keys {
		if !fits(k.At) {
			return 0, where
		}
	}
	for _, t := range p.Tempos {
		if !fits(t.At) {
			return 0, where
		}
	}
	if usualResolution%parts == 0 {
		return usualResolution, where
	}
	n := parts
	for n < usualResolution {
		n += parts
	}
	return n, where
}

// A timedNote is a note with its ticks.
type timedNote struct {
	score.Note
	on, off int64
	key     int
}

// timed gives notes their ticks; grace notes take short ones before the note they decorate. They come in order of onset.
func timed(notes []score.Note, ticks func(score.Time) int64, short int64) []timedNote {
	out := make([]timedNote, 0, len(notes))
	for i, n := range notes {
		t := timedNote{Note: n, on: max(0, ticks(n.Onset)), key: n.Pitch.MIDI()}
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			after := int64(0) // grace notes of the same hand, or chords of them, that come after it
			for _, m := range notes[i+1:] {
				if m.Onset != n.Onset || m.Grace == score.NoGrace {
					break
				}
				if m.Hand == n.Hand && !m.Together {
					after++
				}
			}
			t.on = max(0, t.on-(after+1)*short)
			t.off = t.on + short
		} else {
			t.off = max(t.on+1, ticks(n.End()))
		}
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(a, b timedNote) int { return cmp.Compare(a.on, b.on) })
	return out
}

// channels are those of each hand, from 0, without the drums' (9).
var channels = [2][]uint8{{0, 2, 4, 6, 8, 10, 12, 14}, {1, 3, 5, 7, 11, 13, 15}}

// An event is one event of a track. At one tick releases come first, then meta events, then presses.
type event struct {
	at    int64
	rank  int8
	bytes []byte // all but the delta time
}

const (
	rankRelease = iota
	rankMeta
	rankPress
)

type events struct {
	list  []event
	until map[int]int64 // by channel and key: when it is free
	room  []byte
}

func (e *events) meta(at int64, kind byte, data []byte) {
	b := append([]byte{0xff, kind}, quantity(int64(len(data)))...)
	e.list = append(e.list, event{max(at, 0), rankMeta, append(b, data...)})
}

func (e *events) note(n timedNote, channels []uint8, velocity byte) {
	if e.until == nil {
		e.until = map[int]int64{}
	}
	c := channels[0]
	for _, d := range channels {
		if e.until[int(d)<<7|n.key] <= n.on {
			c = d
			break
		}
	}
	e.until[int(c)<<7|n.key] = n.off
	from := len(e.room)
	e.room = append(e.room, 0x90|c, byte(n.key), velocity, 0x90|c, byte(n.key), 0)
	e.list = append(e.list, event{n.on, rankPress, e.room[from : from+3]}, event{n.off, rankRelease, e.room[from+3 : from+6]})
}

// pedals writes the damper pedal on every channel that has notes. A change lifts it and puts it down again a tick later.
func (e *events) pedals(list []score.Pedal, ticks func(score.Time) int64, channels []uint8) {
	for _, c := range channels {
		if !slices.ContainsFunc(e.list, func(x event) bool { return x.bytes[0] == 0x90|c }) {
			continue
		}
		put := func(at int64, value byte) {
			e.list = append(e.list, event{max(at, 0), rankMeta, []byte{0xb0 | c, 64, value}})
		}
		for _, p := range list {
			switch at := ticks(p.At); p.Act {
			case score.PedalDown:
				put(at, 127)
			case score.PedalUp:
				put(at, 0)
			case score.PedalChange:
				put(at, 0)
				put(at+1, 127)
			}
		}
	}
}

// velocities of the dynamic marks (common practice, no source: editors differ by a few units).
var velocities = map[string]int{"pppp": 10, "ppp": 16, "pp": 33, "p": 49, "mp": 64, "mf": 80, "f": 96, "ff": 112, "fff": 122, "ffff": 127}

// hairpinStep is how far a hairpin leads that ends at no mark.
const hairpinStep = 16

// A loudness is the velocity of a hand in time: each point holds until the next, or leads to its goal.
type loudness []struct {
	from, until score.Time
	at, goal    int
}

func loudnessOf(p *score.Passage, h score.Hand) loudness {
	var out loudness
	now := plainVelocity
	var marks []score.Dynamic
	for _, d := range p.Dynamics {
		if d.Hand == 0 || d.Hand == h {
			marks = append(marks, d)
		}
	}
	slices.SortStableFunc(marks, func(a, b score.Dynamic) int { return a.At.Compare(b.At) })
	for i, d := range marks {
		x := struct {
			from, until score.Time
			at, goal    int
		}{from: d.At, until: d.At}
		switch v, known := velocities[d.Text]; {
		case known:
			now = v
			x.at, x.goal = v, v
		case d.Text == "louder" || d.Text == "softer":
			goal := now + hairpinStep
			if d.Text == "softer" {
				goal = now - hairpinStep
			}
			for _, m := range marks[i+1:] {
				if v, known := velocities[m.Text]; known {
					if !d.Until.Add(score.T(1, 1)).Less(m.At) && (v > now) == (d.Text == "louder") {
						goal = v
					}
					break
				}
			}
			goal = min(max(goal, 8), 127)
			x.until, x.at, x.goal = d.Until, now, goal
			now = goal
		default:
			continue
		}
		out = append(out, x)
	}
	return out
}

func (l loudness) at(t score.Time) byte {
	v := float64(plainVelocity)
	for _, x := range l {
		if t.Less(x.from) {
			break
		}
		v = float64(x.goal)
		if t.Less(x.until) {
			v = float64(x.at) + float64(x.goal-x.at)*t.Sub(x.from).Float()/x.until.Sub(x.from).Float()
		}
	}
	return byte(v + 0.5)
}

// meters writes a time signature wherever a reader would not expect the bar that comes.
func (e *events) meters(p *score.Passage, ticks func(score.Time) int64) {
	var beats, unit int
	var expected score.Time
	for _, b := range p.Bars {
		if b.Length.Sign() <= 0 {
			continue
		}
		n, u := b.Meter.Beats, b.Meter.Unit
		if !writable(n, u) || b.Meter.Length().Less(b.Length) {
			if m, v, ok := signature(b.Length); ok {
				n, u = m, v
			} else if !writable(n, u) {
				n, u = 4, 4
			}
		}
		if n != beats || u != unit || b.Start != expected {
			log := byte(0)
			for 1<<log < u {
				log++
			}
			e.meta(ticks(b.Start), metaMeter, []byte{byte(n), log, 24, 8})
			beats, unit, expected = n, u, b.Start
		}
		full := score.T(4*int64(n), int64(u))
		for expected = expected.Add(full); expected.Less(b.End()); {
			expected = expected.Add(full)
		}
	}
}

func writable(beats, unit int) bool {
	return beats > 0 && beats < 256 && unit > 0 && unit <= 64 && unit&(unit-1) == 0
}

// signature returns the meter of a length: in quarters if it can be, else the next shorter unit.
func signature(length score.Time) (beats, unit int, ok bool) {
	for unit = 4; unit <= 64; unit *= 2 {
		if n := length.Mul(int64(unit), 4); n.Den() == 1 && writable(int(n.Num()), unit) {
			return int(n.Num()), unit, true
		}
	}
	return 0, 0, false
}

// quantity returns n as a variable-length quantity, n < 1<<28.
func quantity(n int64) []byte {
	b := []byte{byte(n & 0x7f)}
	for n >>= 7; n > 0; n >>= 7 {
		b = append(b, byte(n&0x7f|0x80))
	}
	slices.Reverse(b)
	return b
}

// encode returns the events as the data of a track that ends at end, with running status.
func (e *events) encode(end int64) ([]byte, error) {
	slices.SortStableFunc(e.list, func(a, b event) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.rank, b.rank)) })
	out := make([]byte, 0, 5*len(e.list)+64)
	at, status := int64(0), byte(0)
	delta := func(to int64) error {
		if to-at > 0x0fffffff {
			return fmt.Errorf("a silence of %d ticks is longer than a MIDI file can tell; want a coarser resolution", to-at)
		}
		out = append(out, quantity(to-at)...)
		at = to
		return nil
	}
	for _, x := range e.list {
		if err := delta(x.at); err != nil {
			return nil, err
		}
		switch b := x.bytes; {
		case b[0] == 0xff:
			status = 0
			out = append(out, b...)
		case b[0] == status:
			out = append(out, b[1:]...)
		default:
			status = b[0]
			out = append(out, b...)
		}
	}
	if err := delta(end); err != nil {
		return nil, err
	}
	return append(out, 0xff, metaEnd, 0), nil
}
