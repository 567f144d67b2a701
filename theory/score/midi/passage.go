package midi

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/spell"
)

// A note is a press on its way into the passage. Times are in units of the builder.
type note struct {
	on, off int64
	stream  int32 // what hands are told by: a track, or a channel of the only track
	voice   int16
	key     uint8
	hand    score.Hand
}

// A builder makes a passage of a file. All times are whole numbers of units, per of them a quarter note, so that ticks, the
// grid and the bar lines are all exact.
type builder struct {
	f     *file
	o     Options
	per   int64
	tick  int64 // units a tick
	notes []note
	timed []spell.Note // the same
	p     *score.Passage
	terms []score.Time // by the rest of a time within its quarter note, for speed

	meters []stretch
	end    int64   // of everything
	starts []int64 // of the bars, and where the last one ends
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func lcm(a, b int64) int64 { return a / gcd(a, b) * b }

func (f *file) passage(o Options) (*score.Passage, error) {
	f.marksInOrder()
	b := &builder{f: f, o: o, p: &score.Passage{Source: o.File}}
	b.per = lcm(f.division, 96) // 24 for the grid, 16 for the shortest unit of a meter: 1/64
	if o.Grid > 0 {
		b.per = lcm(b.per, int64(o.Grid))
	}
	b.tick = b.per / f.division
	if err := b.stretches(); err != nil {
		return nil, err
	}
	if err := b.choose(); err != nil {
		return nil, err
	}
	b.quantise()
	b.bars()
	b.marks()
	names := b.spell() // goes on beside the two that follow
	b.hands()
	b.voices()
	b.write(<-names)
	b.p.Warnings = f.warnings.all()
	return b.p, nil
}

// time returns t units as a time in lowest terms.
func (b *builder) time(t int64) score.Time {
	if b.per <= 1<<16 {
		if b.terms == nil {
			b.terms = make([]score.Time, b.per)
		}
		r := t % b.per
		if b.terms[r] == (score.Time{}) && r != 0 {
			b.terms[r] = score.T(r, b.per)
		}
		den := b.terms[r].Den()
		return score.T(t/b.per*den+b.terms[r].Num(), den)
	}
	return score.T(t, b.per)
}

// choose takes the notes of the tracks that are asked for, leaves out the drums, and of a file that names both hands all
// other tracks.
func (b *builder) choose() error {
	f := b.f
	want := make([]bool, len(f.tracks))
	for _, n := range b.o.Tracks {
		if n < 1 || n > len(f.tracks) {
			return &Error{File: b.o.File, Offset: -1, Msg: fmt.Sprintf("there is no track %d; the file has %d", n, len(f.tracks))}
		}
		want[n-1] = true
	}
	if len(b.o.Tracks) == 0 {
		var named [3]int // tracks with notes, by hand
		for i, t := range f.tracks {
			want[i] = true
			if t.notes > 0 {
				named[handNamed(t.name)]++
			}
		}
		if named[score.Right] > 0 && named[score.Left] > 0 && named[0] > 0 {
			for i, t := range f.tracks {
				if t.notes > 0 && handNamed(t.name) == 0 {
					want[i] = false
					f.warnings.addf("track %d %q is left out, since others are named for the hands", i+1, t.name)
				}
			}
		}
	}
	const drums = 9 // channel 10 (General MIDI System Level 1)
	drumming, playing := 0, 0
	for p := range f.presses.all {
		if want[p.track] && p.channel == drums {
			drumming++
		} else if want[p.track] {
			playing++
		}
	}
	if playing > 0 && drumming > 0 {
		f.warnings.addf("%d notes on channel 10, for drums, are left out", drumming)
	}
	taken := func(p *press) bool { return want[p.track] && (p.channel != drums || playing == 0) }
	counts := make([]int, len(f.tracks))
	for p := range f.presses.all {
		if taken(p) {
			counts[p.track]++
		}
	}
	bearing := 0
	for i, t := range f.tracks {
		if counts[i] > 0 {
			bearing++
		}
		b.p.Parts = append(b.p.Parts, score.Part{ID: strconv.Itoa(i + 1), Name: t.name, Staves: 1, Notes: t.notes, Chosen: counts[i] > 0})
	}
	named := make([]score.Hand, len(f.tracks))
	for i, t := range f.tracks {
		named[i] = handNamed(t.name)
	}
	b.notes = make([]note, 0, max(playing, drumming))
	for p := range f.presses.all {
		if !taken(p) {
			continue
		}
		n := note{on: p.on * b.tick, off: p.off * b.tick, key: p.key, stream: p.track, hand: named[p.track]}
		if bearing == 1 {
			n.stream = int32(p.channel)
		}
		b.notes = append(b.notes, n)
	}
	f.presses = presses{}
	if len(f.tracks) > 0 && handNamed(f.tracks[0].name) == 0 && (counts[0] == 0 || f.format == 0) {
		b.p.Title = f.tracks[0].name // the first track's name is that of the piece, by the standard
	}
	return nil
}

// order sorts notes by onset, then from low to high. Each track is in order of onset already, or nearly so after rounding.
func (b *builder) order() {
	full := func(x, y note) int {
		return cmp.Or(cmp.Compare(x.on, y.on), cmp.Compare(x.key, y.key), cmp.Compare(x.off, y.off), cmp.Compare(x.stream, y.stream))
	}
	var runs []int // where each stretch in order begins
	for i := range b.notes {
		if i == 0 || b.notes[i].on < b.notes[i-1].on {
			runs = append(runs, i)
		}
	}
	if len(runs) > 32 {
		slices.SortFunc(b.notes, full)
		return
	}
	var merged []note
	for len(runs) > 1 { // merge neighbours
		if merged == nil {
			merged = make([]note, len(b.notes))
		}
		runs = append(runs, len(b.notes))
		out, k := merged[:0], runs[:0]
		for r := 0; r+1 < len(runs); r += 2 {
			k = append(k, runs[r])
			x := b.notes[runs[r]:runs[r+1]]
			var y []note
			if r+2 < len(runs) {
				y = b.notes[runs[r+1]:runs[r+2]]
			}
			for len(x) > 0 && len(y) > 0 {
				if y[0].on < x[0].on {
					out, y = append(out, y[0]), y[1:]
				} else {
					out, x = append(out, x[0]), x[1:]
				}
			}
			out = append(append(out, x...), y...)
		}
		b.notes, merged, runs = out, b.notes, k
	}
	eachGroup(b.notes, func(x, y note) bool { return x.on == y.on }, full)
}

// eachGroup sorts s by order wherever neighbours are the same.
func eachGroup[T any](s []T, same func(x, y T) bool, order func(x, y T) int) {
	for i := 0; i < len(s); {
		j, sorted := i+1, true
		for ; j < len(s) && same(s[j-1], s[j]); j++ {
			sorted = sorted && order(s[j-1], s[j]) <= 0
		}
		if !sorted {
			slices.SortStableFunc(s[i:j], order)
		}
		i = j
	}
}

// A stretch is what one time signature rules, in units.
type stretch struct {
	meterMark
	start, full int64 // full is the length of a bar
	bars        int64 // before it
}

// stretches gives the time signatures their places, the first one at 0, and checks that neither bars nor notes, when they are
// cut at the bar lines, become too many. It does so before there is memory for them.
func (b *builder) stretches() error {
	f := b.f
	meters := f.meters
	if len(meters) == 0 || meters[0].at > 0 {
		if len(meters) > 0 {
			f.warnings.addf("no time signature before quarter note %v: taken as 4/4", b.time(meters[0].at*b.tick))
		}
		meters = append([]meterMark{{0, 4, 4}}, meters...)
	}
	for i, m := range meters {
		s := stretch{m, m.at * b.tick, 4 * int64(m.beats) * b.per / int64(m.unit), 0}
		if i > 0 {
			p := b.meters[i-1]
			s.bars = p.bars + (s.start-p.start+p.full-1)/p.full
		}
		b.meters = append(b.meters, s)
	}
	for _, t := range f.tracks {
		b.end = max(b.end, t.end*b.tick)
	}
	barsBefore := func(t int64) int64 { // bar lines before t
		i, _ := slices.BinarySearchFunc(b.meters, t, func(s stretch, t int64) int { return cmp.Compare(s.start, t) })
		s := b.meters[max(i-1, 0)]
		return s.bars + (t-s.start+s.full-1)/s.full
	}
	if n := barsBefore(b.end); n > MaxBars {
		return &Error{File: b.o.File, Offset: -1, Msg: fmt.Sprintf("%d bars; want no more than %d", n, MaxBars)}
	}
	pieces := int64(0)
	for p := range f.presses.all {
		pieces += max(0, barsBefore(p.off*b.tick)-barsBefore(p.on*b.tick+1))
		if pieces > maxCuts {
			return &Error{File: b.o.File, Offset: -1, Msg: fmt.Sprintf("notes last for so many bars that they are cut at more than %d bar lines", maxCuts)}
		}
	}
	return nil
}

// bars lays bars from the time signatures until everything has ended.
func (b *builder) bars() {
	first := int64(math.MaxInt64) // the first end of a track
	for _, t := range b.f.tracks {
		first = min(first, t.end*b.tick)
	}
	last := b.end
	for _, n := range b.notes {
		b.end = max(b.end, n.off)
	}
	end, meters := b.end, b.meters
	upbeat := false
	at := int64(0)
	number := 1
	for i, m := range meters {
		stop := end
		if i+1 < len(meters) {
			stop = meters[i+1].start
		}
		meter, full := score.Meter{Beats: m.beats, Unit: m.unit}, m.full
		for at < stop || i+1 == len(meters) && len(b.p.Bars) == 0 {
			bar := score.Bar{Number: strconv.Itoa(number), Start: b.time(at), Length: b.time(full), Meter: meter}
			number++
			if i+1 < len(meters) && at+full > stop {
				bar.Length = b.time(stop - at)
				if len(b.p.Bars) == 0 {
					upbeat = true
					bar.Number, bar.Offset = "0", meter.Length().Sub(bar.Length)
					number = 1
				} else {
					b.f.warnings.addf("bar %s is cut short by a time signature", bar.Number)
				}
				b.p.Bars = append(b.p.Bars, bar)
				at = stop
				break
			}
			at += full
			if upbeat && i+1 == len(meters) && at > end && first == last && last == end {
				bar.Length = b.time(end - (at - full))
			}
			b.p.Bars = append(b.p.Bars, bar)
		}
	}
	b.starts = make([]int64, len(b.p.Bars)+1)
	for i, bar := range b.p.Bars {
		b.starts[i+1] = b.starts[i] + bar.Length.Num()*(b.per/bar.Length.Den())
	}
}

// marks keeps tempos and keys.
func (b *builder) marks() {
	for _, m := range b.f.tempos {
		b.p.Tempos = append(b.p.Tempos, score.Tempo{At: b.time(m.at * b.tick), Quarters: quarters(m.micros)})
	}
	for _, m := range b.f.keys {
		mode := key.Major
		if m.minor {
			mode = key.Minor
		}
		b.p.Keys = append(b.p.Keys, score.KeyChange{At: b.time(m.at * b.tick), Key: key.FromSignature(m.sig, mode), Declared: true})
	}
}

// quarters returns a tempo in quarter notes a minute: the roundest of two decimals that the file can have meant.
func quarters(micros int64) float64 {
	q := 60e6 / float64(micros)
	for _, parts := range []float64{1, 10, 100} {
		if r := math.Round(q*parts) / parts; r > 0 && microseconds(r) == micros {
			return r
		}
	}
	return q
}

// microseconds returns the length of a quarter note at a tempo.
func microseconds(quarters float64) int64 { return int64(math.Round(60e6 / quarters)) }

// spell begins to name the notes and gives the names when they are there.
func (b *builder) spell() <-chan []pitch.Pitch {
	b.timed = make([]spell.Note, len(b.notes))
	for i, n := range b.notes {
		b.timed[i] = spell.Note{Onset: b.time(n.on), Duration: b.time(n.off - n.on), MIDI: int(n.key)}
	}
	var o spell.Options
	for _, k := range b.p.Keys {
		o.Signatures = append(o.Signatures, spell.Signature{At: k.At, Fifths: k.Key.Signature()})
	}
	names := make(chan []pitch.Pitch, 1)
	go func() { names <- spell.Spell(b.timed, o) }()
	return names
}

// write puts the notes into the passage, cut at the bar lines and tied.
func (b *builder) write(names []pitch.Pitch) {
	total := 0
	k := 0
	for _, n := range b.notes {
		for k+1 < len(b.p.Bars) && b.starts[k+1] <= n.on {
			k++
		}
		total++
		for j := k + 1; j < len(b.p.Bars) && b.starts[j] < n.off; j++ {
			total++
		}
	}
	out := make([]score.Note, 0, total)
	var lasting []int // notes that go on into the bar
	i := 0
	for k := range b.p.Bars {
		start, stop := b.starts[k], b.starts[k+1]
		going := lasting[:0] // never ahead of the loop that reads lasting
		add := func(i int) {
			n, t := &b.notes[i], &b.timed[i]
			s := score.Note{Pitch: names[i], Onset: t.Onset, Duration: t.Duration, Hand: n.hand, Voice: int(n.voice), Bar: k}
			on, off := n.on, n.off
			if on < start {
				on, s.TieFrom = start, true
				s.Onset = b.time(on)
			}
			if off > stop && k+1 < len(b.p.Bars) {
				off, s.TieTo = stop, true
				going = append(going, i)
			}
			if s.TieFrom || s.TieTo {
				s.Duration = b.time(off - on)
			}
			out = append(out, s)
		}
		for _, i := range lasting {
			add(i)
		}
		for ; i < len(b.notes) && (b.notes[i].on < stop || k+1 == len(b.p.Bars)); i++ {
			add(i)
		}
		lasting = going
	}
	eachGroup(out, func(x, y score.Note) bool { return x.Onset == y.Onset }, func(x, y score.Note) int {
		return cmp.Or(x.Pitch.Compare(y.Pitch), cmp.Compare(y.Hand, x.Hand), cmp.Compare(x.Voice, y.Voice)) // as Passage.Sort does
	})
	b.p.Notes = out
}
