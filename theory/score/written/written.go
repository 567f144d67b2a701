// Package written finds how the notes of a bar are written: in which rows, with which note values and dots, as which
// tuplets, tied from which parts, under which beams, and where rests are needed. What prints notes shares it: the writer of
// MusicXML and the engraver.
//
// Start with [Layers]. It decides nothing about staves, stems or accidentals.
package written

import (
	"cmp"
	"math/bits"
	"slices"

	"plumbline/theory/score"
)

// Time is an exact number of quarter notes.
type Time = score.Time

// An Event is a chord, a rest or a chord of grace notes as it is printed.
type Event struct {
	At, Length Time // from the start of the bar
	Notes      []score.Note
	Index      []int    // of each note, in what Layers was given
	Signs      []string // the accidental of each note, "" for none
	Grace      bool
	Loose      bool // a grace note that no note follows, and that doesn't end the one before
	Fill       bool // a rest for a whole bar

	TieFrom, TieTo bool  // a part of a note that no single value can say: tied to the other parts
	Value          Value // none if no value says its length
	Actual, Normal int   // 0 if in no tuplet
	Tuplets        []TupletMark
	Group          int      // which tuplet, 0 for none
	Beams          []string // by level: "begin", "continue", "end", "forward hook", "backward hook"
}

// End returns the moment e ends, from the start of the bar.
func (e Event) End() Time { return e.At.Add(e.Length) }

// A TupletMark begins or ends the bracket of a tuplet.
type TupletMark struct {
	Start          bool
	Number         int
	Actual, Normal int
	Bracket        bool
}

// A Layer is a row of events that don't overlap. The first layer of a voice is filled with rests; the others hold what
// begins before the first has ended.
type Layer struct {
	Hand   score.Hand
	Voice  int
	First  bool
	Events []Event
}

// MaxLayers is how many notes of one voice may overlap.
const MaxLayers = 100

// Layers lays out the notes of one voice in a bar, with times from its start; nil if more than MaxLayers overlap.
func Layers(notes []score.Note, b score.Bar, hand score.Hand, voice int) []*Layer {
	type shape struct {
		at, length Time
		cue        bool
	}
	var chords, graces []Event
	index := map[shape]int{}
	for i, n := range notes {
		at := n.Onset.Sub(b.Start)
		if n.Grace != score.NoGrace {
			if k := len(graces) - 1; n.Together && k >= 0 && graces[k].At == at && graces[k].Notes[0].After == n.After {
				graces[k].Notes, graces[k].Index = append(graces[k].Notes, n), append(graces[k].Index, i)
			} else {
				graces = append(graces, Event{At: at, Notes: []score.Note{n}, Index: []int{i}, Grace: true})
			}
			continue
		}
		s := shape{at, n.Duration, n.Cue}
		k, ok := index[s]
		if !ok {
			k = len(chords)
			index[s] = k
			chords = append(chords, Event{At: at, Length: n.Duration})
		}
		chords[k].Notes, chords[k].Index = append(chords[k].Notes, n), append(chords[k].Index, i)
	}
	slices.SortStableFunc(chords, func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), b.Length.Compare(a.Length)) })
	out := []*Layer{{Hand: hand, Voice: voice, First: true}}
	starts, ends := map[Time]int{}, map[Time]int{} // the first layer where an event does
	for _, e := range chords {
		k := slices.IndexFunc(out, func(l *Layer) bool { return len(l.Events) == 0 || !e.At.Less(l.Events[len(l.Events)-1].End()) })
		if k < 0 {
			k = len(out)
			out = append(out, &Layer{Hand: hand, Voice: voice})
			if k == MaxLayers {
				return nil
			}
		}
		out[k].Events = append(out[k].Events, e)
		if l, ok := starts[e.At]; !ok || k < l {
			starts[e.At] = k
		}
		if l, ok := ends[e.End()]; !ok || k < l {
			ends[e.End()] = k
		}
	}
	// Grace notes go into one layer for each moment: beside their note if it is there, else where nothing sounds on, else
	// into one of their own.
	ornaments := make([][]Event, len(out), len(out)+1)
	for i := 0; i < len(graces); {
		j := i
		at, after := graces[i].At, graces[i].Notes[0].After
		for j < len(graces) && graces[j].At == at && graces[j].Notes[0].After == after {
			j++
		}
		beside := starts
		if after {
			beside = ends
		}
		k, ok := beside[at]
		if !ok {
			k = slices.IndexFunc(out, func(l *Layer) bool {
				n, _ := slices.BinarySearchFunc(l.Events, at, func(e Event, t Time) int { return e.At.Compare(t) })
				return n == 0 || !at.Less(l.Events[n-1].End())
			})
			if k < 0 {
				k = len(out)
				out = append(out, &Layer{Hand: hand, Voice: voice})
				ornaments = append(ornaments, nil)
			}
		}
		ornaments[k] = append(ornaments[k], graces[i:j]...)
		i = j
	}
	for k, l := range out {
		if len(ornaments[k]) == 0 {
			continue
		}
		// At one moment: those that end a note, those that decorate the next, the next.
		l.Events = append(ornaments[k], l.Events...)
		slices.SortStableFunc(l.Events, func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), -cmp.Compare(GraceRank(&a), GraceRank(&b))) })
	}
	for _, l := range out {
		if l.First {
			l.rests(b)
		}
		l.values(b)
		lastNote := len(l.Events) - 1
		for lastNote >= 0 && l.Events[lastNote].Grace {
			lastNote--
		}
		for i := range l.Events {
			e := &l.Events[i]
			e.Loose = e.Grace && !e.Notes[0].After && i > lastNote
		}
		l.beam(b)
	}
	return out
}

// rests fills the layer.
func (l *Layer) rests(b score.Bar) {
	if len(l.Events) == 0 {
		if b.Length.Sign() > 0 {
			l.Events = []Event{{Length: b.Length, Fill: true}}
		}
		return
	}
	var out []Event
	at := Time{}
	for _, e := range l.Events {
		out = appendRests(out, at, e.At, b)
		out = append(out, e)
		at = e.End()
	}
	l.Events = appendRests(out, at, b.Length, b)
}

// maxBeats is how many beats of rest are written one by one.
const maxBeats = 10_000

// appendRests appends rests from one moment to another: up to the next beat, then by groups of beats that begin where such
// a group does, then what is left.
func appendRests(out []Event, from, to Time, b score.Bar) []Event {
	beat := b.Meter.Beat()
	if to.Sub(from).Div(beat).Float() > maxBeats {
		return append(out, Event{At: from, Length: to.Sub(from)})
	}
	for from.Less(to) {
		n := from.Add(b.Offset).Div(beat)
		next := beat.Mul(floor(n)+1, 1).Sub(b.Offset).Min(to)
		if n.Den() == 1 {
			for _, m := range []int64{4, 2} {
				far := from.Add(beat.Mul(m, 1))
				if _, ok := ValueOf(far.Sub(from)); ok && n.Num()%m == 0 && !to.Less(far) {
					next = far
					break
				}
			}
		}
		out = append(out, Event{At: from, Length: next.Sub(from)})
		from = next
	}
	return out
}

func floor(t Time) int64 {
	n := t.Num() / t.Den()
	if t.Num()%t.Den() < 0 {
		n--
	}
	return n
}

// A Value is a written note value: an index into TypeNames, and dots. The zero value is none.
type Value struct{ Type, Dots int }

// TypeNames are the names of note values from the shortest; the i-th lasts 2^i/512 quarter notes.
var TypeNames = [...]string{"", "1024th", "512th", "256th", "128th", "64th", "32nd", "16th", "eighth", "quarter", "half", "whole", "breve", "long", "maxima"}

// Quarter is the index of the quarter note in TypeNames.
const Quarter = 9

// ValueOf returns the value of a length with up to three dots, if there is one.
//
//	2^k (2^(dots+1) - 1) / 2^dots
func ValueOf(t Time) (Value, bool) {
	if t.Sign() <= 0 || t.Den()&(t.Den()-1) != 0 {
		return Value{}, false
	}
	odd := t.Num() >> bits.TrailingZeros64(uint64(t.Num()))
	dots := bits.Len64(uint64(odd)) - 1
	if odd&(odd+1) != 0 || dots > 3 {
		return Value{}, false
	}
	// The undotted value is the greatest power of two within.
	k := bits.Len64(uint64(t.Num())) - bits.Len64(uint64(t.Den())) // its logarithm
	v := Value{Quarter + k, dots}
	if v.Type-dots < 1 || v.Type >= len(TypeNames) { // its last dot is no longer than the shortest type
		return Value{}, false
	}
	return v, true
}

func dyadic(t Time) bool { return t.Den()&(t.Den()-1) == 0 }

// values gives each event its written value, finds the tuplets, and splits what no single value can say.
func (l *Layer) values(b score.Bar) {
	// Stretches without a gap are laid out by themselves.
	var out []Event
	group := 0
	flush := func(run []Event) {
		var lengths []Time
		for _, e := range run {
			if !e.Grace {
				lengths = append(lengths, e.Length)
			}
		}
		plan, _ := tuplets(lengths, 0)
		depth := 0
		k := 0
		id := 0
		for _, e := range run {
			if e.Grace || e.Fill {
				if e.Grace {
					e.Value = Value{Quarter - 1, 0}
				} else {
					k++
				}
				out = append(out, e)
				continue
			}
			a := plan[k]
			k++
			if depth == 0 && len(a.opens) > 0 {
				group++
				id = group
			}
			pieces := split(e, a, b)
			for i := range pieces {
				p := &pieces[i]
				if depth > 0 || len(a.opens) > 0 {
					p.Group = id
				}
				if i == 0 {
					for _, t := range a.opens {
						depth++
						p.Tuplets = append(p.Tuplets, TupletMark{Start: true, Number: depth, Actual: t.actual, Normal: t.normal, Bracket: true})
					}
				}
				if i == len(pieces)-1 {
					for range a.closes {
						p.Tuplets = append(p.Tuplets, TupletMark{Number: depth})
						depth--
					}
				}
			}
			out = append(out, pieces...)
		}
	}
	start := 0
	for i := 1; i <= len(l.Events); i++ {
		if i == len(l.Events) || l.Events[i].At != l.Events[i-1].End() {
			flush(l.Events[start:i])
			start = i
		}
	}
	l.Events = out
}

// A ratio is a tuplet: actual notes in the time of normal ones.
type ratio struct{ actual, normal int }

// An assignment is what tuplets finds for one event: the tuplets that begin with it, the number of those that end with it,
// and all ratios in force multiplied.
type assignment struct {
	opens  []ratio
	closes int
	num    int64 // written length = length * num / den
	den    int64
}

const (
	maxNesting = 3
	maxRatio   = 99 // the most notes in the time of others
	maxTuplet  = 512
)

// tuplets plans how a row of lengths is written. A tuplet begins with a length that is no binary fraction of a quarter
// note and goes on until the lengths add up to one. The cost tells how awkward the result is: dots, splits, nesting.
func tuplets(lengths []Time, depth int) ([]assignment, int) {
	out := make([]assignment, len(lengths))
	cost := 0
	for i := 0; i < len(lengths); {
		if n := duplet(lengths[i:]); n > 0 {
			for k := i; k < i+n; k++ {
				out[k] = assignment{num: 2, den: 3}
				cost += 3 + awkward(lengths[k].Mul(2, 3))
			}
			out[i].opens = []ratio{{2, 3}}
			out[i+n-1].closes = 1
			i += n
			continue
		}
		if dyadic(lengths[i]) {
			out[i] = assignment{num: 1, den: 1}
			cost += awkward(lengths[i])
			i++
			continue
		}
		j, sum := i, Time{}
		for j < len(lengths) {
			sum = sum.Add(lengths[j])
			j++
			if dyadic(sum) || !sum.InRange() || j-i == maxTuplet {
				break
			}
		}
		if !dyadic(sum) { // it never closes: a tuplet of which only a part is there
			for j = i; j < len(lengths) && !dyadic(lengths[j]); j++ {
			}
		}
		plan, c := oneTuplet(lengths[i:j], depth)
		copy(out[i:j], plan)
		cost += c
		i = j
	}
	return out, cost
}

// duplet returns how many of the first lengths are written as two in the time of three, 0 if that helps none: a first one of
// 9/4 is a dotted quarter then, and has no value else. It closes where a plain value is full.
func duplet(lengths []Time) int {
	if _, ok := ValueOf(lengths[0]); ok || !dyadic(lengths[0]) || odd(lengths[0].Num())%3 != 0 {
		return 0
	}
	sum := Time{}
	for i, l := range lengths {
		written := l.Mul(2, 3)
		if _, ok := ValueOf(written); !ok {
			if i == 0 {
				return 0
			}
			return 1
		}
		sum = sum.Add(written)
		if v, ok := ValueOf(sum); ok && v.Dots == 0 {
			return i + 1
		}
	}
	return 1
}

// oneTuplet plans one tuplet: all in one, or others within it.
func oneTuplet(lengths []Time, depth int) ([]assignment, int) {
	d, g := int64(1), int64(0)
	for _, l := range lengths {
		d = lcm(d, odd(l.Den()))
		g = gcd(g, odd(l.Num()))
		if d > maxRatio {
			break
		}
	}
	best, bestCost := make([]assignment, len(lengths)), 1000*len(lengths)
	for i := range best {
		best[i] = assignment{num: 1, den: 1}
	}
	if d > maxRatio {
		return best, bestCost
	}
	try := func(r ratio, inner []assignment, cost int) {
		if cost >= bestCost {
			return
		}
		bestCost = cost
		best = inner
		for i := range best {
			best[i].num, best[i].den = best[i].num*int64(r.actual), best[i].den*int64(r.normal)
		}
		best[0].opens = append([]ratio{r}, best[0].opens...)
		best[len(best)-1].closes++
	}
	// The normal number is the greatest below the actual one that is 2^k times what all lengths share: 3 in 2, 5 in 4, 7 in
	// 4; 5 in 3 where they fill a dotted note.
	if g < maxRatio {
		normal := g
		for 2*normal < d {
			normal *= 2
		}
		flat, cost := make([]assignment, len(lengths)), 0
		for i, l := range lengths {
			flat[i] = assignment{num: 1, den: 1}
			cost += awkward(l.Mul(d, normal))
		}
		if normal > d {
			cost += 6
		}
		if d > 16 {
			cost += 4
		}
		try(ratio{int(d), int(normal)}, flat, cost)
	}
	if depth+1 < maxNesting && bestCost > 0 {
		for p := int64(3); p <= d/3; p += 2 {
			if d%p != 0 {
				continue
			}
			normal := int64(2)
			for 2*normal < p {
				normal *= 2
			}
			scaled := make([]Time, len(lengths))
			for i, l := range lengths {
				scaled[i] = l.Mul(p, normal)
			}
			inner, cost := tuplets(scaled, depth+1)
			try(ratio{int(p), int(normal)}, inner, cost+1)
		}
	}
	return best, bestCost
}

// awkward tells how ill a written length can be read.
func awkward(t Time) int {
	v, ok := ValueOf(t)
	if !ok {
		return 20
	}
	return []int{0, 1, 3, 6}[v.Dots]
}

func odd(n int64) int64 { return n >> bits.TrailingZeros64(uint64(n)) }

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func lcm(a, b int64) int64 { return a / gcd(a, b) * b }

// split gives an event its value. One that no single value can say becomes several, tied: cut at the beats, then into what
// values there are. What is too small for any value stays whole and without one.
func split(e Event, a assignment, b score.Bar) []Event {
	whole := e
	actual, normal := 0, 0
	if a.num != a.den {
		g := gcd(a.num, a.den)
		actual, normal = int(a.num/g), int(a.den/g)
	}
	var out []Event
	ok := true
	add := func(at, length Time, v Value) {
		p := e
		p.At, p.Length, p.Value, p.Actual, p.Normal = at, length, v, actual, normal
		p.TieFrom, p.TieTo = len(out) > 0, true
		out = append(out, p)
	}
	at, left := e.At, e.Length
	for left.Sign() > 0 && ok {
		if v, fits := ValueOf(left.Mul(a.num, a.den)); fits {
			add(at, left, v)
			break
		}
		piece := left
		if actual == 0 {
			beat := b.Meter.Beat()
			n := at.Add(b.Offset).Div(beat)
			if next := beat.Mul(floor(n)+1, 1).Sub(b.Offset).Sub(at); next.Less(left) {
				if n.Den() == 1 { // from a beat on: as many whole beats as there are
					next = beat.Mul(floor(left.Div(beat)), 1)
				}
				if next.Less(left) && next.Sign() > 0 {
					piece = next
				}
			}
		}
		for piece.Sign() > 0 {
			written := piece.Mul(a.num, a.den)
			v, fits := ValueOf(written)
			part := piece
			if !fits { // the greatest plain value within it
				if !dyadic(written) || !written.InRange() {
					ok = false
					break
				}
				k := bits.Len64(uint64(written.Num())) - bits.Len64(uint64(written.Den()))
				v = Value{Type: Quarter + min(k, 5)}
				if v.Type < 1 {
					ok = false
					break
				}
				part = pow2(min(k, 5)).Mul(a.den, a.num)
			}
			add(at, part, v)
			at, left, piece = at.Add(part), left.Sub(part), piece.Sub(part)
		}
	}
	if !ok || len(out) > 64 || actual > 1000 || normal > 1000 {
		whole.Value, whole.Actual, whole.Normal = Value{}, 0, 0
		return []Event{whole}
	}
	out[len(out)-1].TieTo = false
	return out
}

func pow2(k int) Time {
	if k < 0 {
		return score.T(1, 1<<-k)
	}
	return score.T(1<<k, 1)
}

// beam joins flagged notes within one group of the meter, level by level, and brackets the tuplets that beams don't show.
func (l *Layer) beam(b score.Bar) {
	for i := 0; i < len(l.Events); {
		j := i + 1
		if l.Events[i].flags() > 0 {
			for j < len(l.Events) && l.Events[j].flags() > 0 && l.Events[i].beamsWith(l.Events[j], b) && l.Events[j-1].End() == l.Events[j].At {
				j++
			}
			if j-i > 1 {
				beams(l.Events[i:j])
			}
		}
		i = j
	}
	// Runs of grace notes have beams of their own.
	for i := 0; i < len(l.Events); {
		j := i
		for j < len(l.Events) && l.Events[j].Grace && l.Events[j].Notes[0].After == l.Events[i].Notes[0].After {
			j++
		}
		if j-i > 1 {
			for k := i; k < j; k++ {
				l.Events[k].Value = Value{Quarter - 2, 0}
			}
			beams(l.Events[i:j])
		}
		i = max(j, i+1)
	}
	open := []*TupletMark{}
	beamed := true
	for i := range l.Events {
		e := &l.Events[i]
		for k := range e.Tuplets {
			if t := &e.Tuplets[k]; t.Start {
				if len(open) == 0 {
					beamed = true
				}
				open = append(open, t)
			}
		}
		if len(open) > 0 && !e.Grace {
			first, last := false, false
			for _, t := range e.Tuplets {
				first, last = first || t.Start && t.Number == 1, last || !t.Start && t.Number == 1
			}
			beamed = beamed && len(e.Beams) > 0 && (e.Beams[0] == "continue" || first && e.Beams[0] == "begin" || last && e.Beams[0] == "end")
		}
		for _, t := range e.Tuplets {
			if !t.Start && len(open) > 0 {
				n := len(open) - 1
				open[n].Bracket = !beamed || n > 0
				open = open[:n]
			}
		}
	}
}

// flags returns how many flags or beams a chord has.
func (e Event) flags() int {
	if e.Grace || len(e.Notes) == 0 || e.Value.Type == 0 {
		return 0
	}
	return max(Quarter-e.Value.Type, 0)
}

func (e Event) beamsWith(f Event, b score.Bar) bool {
	return e.Group == f.Group && e.Notes[0].Cue == f.Notes[0].Cue && beamGroup(e.At, b) == beamGroup(f.At, b)
}

// beamGroup returns which group of the meter a moment of the bar belongs to: the parts of an additive one; the dotted
// beats of a compound one; else quarter notes, or the beats if they are longer; the whole bar in 3/8 and smaller (common
// practice, no source).
func beamGroup(at Time, b score.Bar) int64 {
	at = at.Add(b.Offset)
	m := b.Meter
	if len(m.Groups) > 0 {
		end := Time{}
		for i, g := range m.Groups {
			if end = end.Add(score.T(4*int64(g), int64(m.Unit))); at.Less(end) {
				return int64(i)
			}
		}
		return int64(len(m.Groups))
	}
	unit := m.Beat().Max(score.Quarters(1))
	if full := m.Length(); full.Sign() > 0 && !score.T(3, 2).Less(full) {
		unit = full
	}
	return floor(at.Div(unit))
}

// beams writes the beams of a run of events of which each has a flag. A level that only one note of its neighbours has is a
// hook towards the note it belongs to.
func beams(run []Event) {
	flags := func(i int) int {
		if i < 0 || i >= len(run) {
			return 0
		}
		return Quarter - run[i].Value.Type
	}
	for i := range run {
		run[i].Beams = nil
		for level := 1; level <= min(flags(i), 8); level++ {
			before, after := flags(i-1) >= level, flags(i+1) >= level
			s := "backward hook"
			switch {
			case before && after:
				s = "continue"
			case before:
				s = "end"
			case after:
				s = "begin"
			case i == 0:
				s = "forward hook"
			}
			run[i].Beams = append(run[i].Beams, s)
		}
	}
}

// GraceRank orders what stands at one moment: grace notes after a note, those before one, the note.
func GraceRank(e *Event) int {
	switch {
	case !e.Grace:
		return 0
	case e.Notes[0].After:
		return 2
	}
	return 1
}
