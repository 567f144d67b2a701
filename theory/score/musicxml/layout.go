package musicxml

import (
	"cmp"
	"math/bits"
	"slices"

	"plumbline/theory/score"
)

// An event is a chord, a rest or a chord of grace notes as Write prints it.
type event struct {
	at, length Time // from the start of the bar
	notes      []score.Note
	signs      []string // the accidental of each note, "" for none
	grace      bool
	loose      bool // a grace note that no note follows, and that doesn't end the one before
	fill       bool // a rest for a whole bar

	tieFrom, tieTo bool // a part of a note that no single value can say: tied to the other parts
	value          value
	actual, normal int // 0 if in no tuplet
	tuplets        []tupletMark
	group          int // which tuplet, 0 for none
	beams          []string
}

func (e event) end() Time { return e.at.Add(e.length) }

// A tupletMark begins or ends the bracket of a tuplet.
type tupletMark struct {
	start          bool
	number         int
	actual, normal int
	bracket        bool
}

// A layer is a row of events that don't overlap. The first layer of a voice is filled with rests; the others hold what
// begins before the first has ended.
type layer struct {
	hand   score.Hand
	voice  int
	first  bool
	events []event
}

// maxLayers is how many notes of one voice may overlap.
const maxLayers = 100

// layers lays out the notes of one voice in a bar, with times from its start; nil if more than maxLayers overlap.
func layers(notes []score.Note, b score.Bar, hand score.Hand, voice int) []*layer {
	type shape struct {
		at, length Time
		cue        bool
	}
	var chords, graces []event
	index := map[shape]int{}
	for _, n := range notes {
		at := n.Onset.Sub(b.Start)
		if n.Grace != score.NoGrace {
			if k := len(graces) - 1; n.Together && k >= 0 && graces[k].at == at && graces[k].notes[0].After == n.After {
				graces[k].notes = append(graces[k].notes, n)
			} else {
				graces = append(graces, event{at: at, notes: []score.Note{n}, grace: true})
			}
			continue
		}
		s := shape{at, n.Duration, n.Cue}
		k, ok := index[s]
		if !ok {
			k = len(chords)
			index[s] = k
			chords = append(chords, event{at: at, length: n.Duration})
		}
		chords[k].notes = append(chords[k].notes, n)
	}
	slices.SortStableFunc(chords, func(a, b event) int { return cmp.Or(a.at.Compare(b.at), b.length.Compare(a.length)) })
	out := []*layer{{hand: hand, voice: voice, first: true}}
	starts, ends := map[Time]int{}, map[Time]int{} // the first layer where an event does
	for _, e := range chords {
		k := slices.IndexFunc(out, func(l *layer) bool { return len(l.events) == 0 || !e.at.Less(l.events[len(l.events)-1].end()) })
		if k < 0 {
			k = len(out)
			out = append(out, &layer{hand: hand, voice: voice})
			if k == maxLayers {
				return nil
			}
		}
		out[k].events = append(out[k].events, e)
		if l, ok := starts[e.at]; !ok || k < l {
			starts[e.at] = k
		}
		if l, ok := ends[e.end()]; !ok || k < l {
			ends[e.end()] = k
		}
	}
	// Grace notes go into one layer for each moment: beside their note if it is there, else where nothing sounds on, else
	// into one of their own.
	ornaments := make([][]event, len(out), len(out)+1)
	for i := 0; i < len(graces); {
		j := i
		at, after := graces[i].at, graces[i].notes[0].After
		for j < len(graces) && graces[j].at == at && graces[j].notes[0].After == after {
			j++
		}
		beside := starts
		if after {
			beside = ends
		}
		k, ok := beside[at]
		if !ok {
			k = slices.IndexFunc(out, func(l *layer) bool {
				n, _ := slices.BinarySearchFunc(l.events, at, func(e event, t Time) int { return e.at.Compare(t) })
				return n == 0 || !at.Less(l.events[n-1].end())
			})
			if k < 0 {
				k = len(out)
				out = append(out, &layer{hand: hand, voice: voice})
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
		l.events = append(ornaments[k], l.events...)
		slices.SortStableFunc(l.events, func(a, b event) int { return cmp.Or(a.at.Compare(b.at), -cmp.Compare(graceRank(&a), graceRank(&b))) })
	}
	for _, l := range out {
		if l.first {
			l.rests(b)
		}
		l.values(b)
		lastNote := len(l.events) - 1
		for lastNote >= 0 && l.events[lastNote].grace {
			lastNote--
		}
		for i := range l.events {
			e := &l.events[i]
			e.loose = e.grace && !e.notes[0].After && i > lastNote
		}
		l.beam(b)
	}
	return out
}

// rests fills the layer.
func (l *layer) rests(b score.Bar) {
	if len(l.events) == 0 {
		if b.Length.Sign() > 0 {
			l.events = []event{{length: b.Length, fill: true}}
		}
		return
	}
	var out []event
	at := Time{}
	for _, e := range l.events {
		out = appendRests(out, at, e.at, b)
		out = append(out, e)
		at = e.end()
	}
	l.events = appendRests(out, at, b.Length, b)
}

// maxBeats is how many beats of rest are written one by one.
const maxBeats = 10_000

// appendRests appends rests from one moment to another: up to the next beat, then by groups of beats that begin where such
// a group does, then what is left.
func appendRests(out []event, from, to Time, b score.Bar) []event {
	beat := b.Meter.Beat()
	if to.Sub(from).Div(beat).Float() > maxBeats {
		return append(out, event{at: from, length: to.Sub(from)})
	}
	for from.Less(to) {
		n := from.Add(b.Offset).Div(beat)
		next := beat.Mul(floor(n)+1, 1).Sub(b.Offset).Min(to)
		if n.Den() == 1 {
			for _, m := range []int64{4, 2} {
				far := from.Add(beat.Mul(m, 1))
				if _, ok := valueOf(far.Sub(from)); ok && n.Num()%m == 0 && !to.Less(far) {
					next = far
					break
				}
			}
		}
		out = append(out, event{at: from, length: next.Sub(from)})
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

// A value is a written note value: an index into typeNames, and dots. The zero value is none.
type value struct{ typ, dots int }

// typeNames are the names of note values from the shortest; the i-th lasts 2^i/512 quarter notes.
var typeNames = [...]string{"", "1024th", "512th", "256th", "128th", "64th", "32nd", "16th", "eighth", "quarter", "half", "whole", "breve", "long", "maxima"}

const quarterType = 9

// valueOf returns the value of a length with up to three dots, if there is one.
//
//	2^k (2^(dots+1) - 1) / 2^dots
func valueOf(t Time) (value, bool) {
	if t.Sign() <= 0 || t.Den()&(t.Den()-1) != 0 {
		return value{}, false
	}
	odd := t.Num() >> bits.TrailingZeros64(uint64(t.Num()))
	dots := bits.Len64(uint64(odd)) - 1
	if odd&(odd+1) != 0 || dots > 3 {
		return value{}, false
	}
	// The undotted value is the greatest power of two within.
	k := bits.Len64(uint64(t.Num())) - bits.Len64(uint64(t.Den())) // its logarithm
	v := value{quarterType + k, dots}
	if v.typ-dots < 1 || v.typ >= len(typeNames) { // its last dot is no longer than the shortest type
		return value{}, false
	}
	return v, true
}

func dyadic(t Time) bool { return t.Den()&(t.Den()-1) == 0 }

// values gives each event its written value, finds the tuplets, and splits what no single value can say.
func (l *layer) values(b score.Bar) {
	// Stretches without a gap are laid out by themselves.
	var out []event
	group := 0
	flush := func(run []event) {
		var lengths []Time
		for _, e := range run {
			if !e.grace {
				lengths = append(lengths, e.length)
			}
		}
		plan, _ := tuplets(lengths, 0)
		depth := 0
		k := 0
		id := 0
		for _, e := range run {
			if e.grace || e.fill {
				if e.grace {
					e.value = value{quarterType - 1, 0}
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
					p.group = id
				}
				if i == 0 {
					for _, t := range a.opens {
						depth++
						p.tuplets = append(p.tuplets, tupletMark{start: true, number: depth, actual: t.actual, normal: t.normal, bracket: true})
					}
				}
				if i == len(pieces)-1 {
					for range a.closes {
						p.tuplets = append(p.tuplets, tupletMark{number: depth})
						depth--
					}
				}
			}
			out = append(out, pieces...)
		}
	}
	start := 0
	for i := 1; i <= len(l.events); i++ {
		if i == len(l.events) || l.events[i].at != l.events[i-1].end() {
			flush(l.events[start:i])
			start = i
		}
	}
	l.events = out
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
	if _, ok := valueOf(lengths[0]); ok || !dyadic(lengths[0]) || odd(lengths[0].Num())%3 != 0 {
		return 0
	}
	sum := Time{}
	for i, l := range lengths {
		written := l.Mul(2, 3)
		if _, ok := valueOf(written); !ok {
			if i == 0 {
				return 0
			}
			return 1
		}
		sum = sum.Add(written)
		if v, ok := valueOf(sum); ok && v.dots == 0 {
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
	v, ok := valueOf(t)
	if !ok {
		return 20
	}
	return []int{0, 1, 3, 6}[v.dots]
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
func split(e event, a assignment, b score.Bar) []event {
	whole := e
	actual, normal := 0, 0
	if a.num != a.den {
		g := gcd(a.num, a.den)
		actual, normal = int(a.num/g), int(a.den/g)
	}
	var out []event
	ok := true
	add := func(at, length Time, v value) {
		p := e
		p.at, p.length, p.value, p.actual, p.normal = at, length, v, actual, normal
		p.tieFrom, p.tieTo = len(out) > 0, true
		out = append(out, p)
	}
	at, left := e.at, e.length
	for left.Sign() > 0 && ok {
		if v, fits := valueOf(left.Mul(a.num, a.den)); fits {
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
			v, fits := valueOf(written)
			part := piece
			if !fits { // the greatest plain value within it
				if !dyadic(written) || !written.InRange() {
					ok = false
					break
				}
				k := bits.Len64(uint64(written.Num())) - bits.Len64(uint64(written.Den()))
				v = value{typ: quarterType + min(k, 5)}
				if v.typ < 1 {
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
		whole.value, whole.actual, whole.normal = value{}, 0, 0
		return []event{whole}
	}
	out[len(out)-1].tieTo = false
	return out
}

func pow2(k int) Time {
	if k < 0 {
		return score.T(1, 1<<-k)
	}
	return score.T(1<<k, 1)
}

// beam joins flagged notes within one group of the meter, level by level, and brackets the tuplets that beams don't show.
func (l *layer) beam(b score.Bar) {
	for i := 0; i < len(l.events); {
		j := i + 1
		if l.events[i].flags() > 0 {
			for j < len(l.events) && l.events[j].flags() > 0 && l.events[i].beamsWith(l.events[j], b) && l.events[j-1].end() == l.events[j].at {
				j++
			}
			if j-i > 1 {
				beams(l.events[i:j])
			}
		}
		i = j
	}
	// Runs of grace notes have beams of their own.
	for i := 0; i < len(l.events); {
		j := i
		for j < len(l.events) && l.events[j].grace && l.events[j].notes[0].After == l.events[i].notes[0].After {
			j++
		}
		if j-i > 1 {
			for k := i; k < j; k++ {
				l.events[k].value = value{quarterType - 2, 0}
			}
			beams(l.events[i:j])
		}
		i = max(j, i+1)
	}
	open := []*tupletMark{}
	beamed := true
	for i := range l.events {
		e := &l.events[i]
		for k := range e.tuplets {
			if t := &e.tuplets[k]; t.start {
				if len(open) == 0 {
					beamed = true
				}
				open = append(open, t)
			}
		}
		if len(open) > 0 && !e.grace {
			first, last := false, false
			for _, t := range e.tuplets {
				first, last = first || t.start && t.number == 1, last || !t.start && t.number == 1
			}
			beamed = beamed && len(e.beams) > 0 && (e.beams[0] == "continue" || first && e.beams[0] == "begin" || last && e.beams[0] == "end")
		}
		for _, t := range e.tuplets {
			if !t.start && len(open) > 0 {
				n := len(open) - 1
				open[n].bracket = !beamed || n > 0
				open = open[:n]
			}
		}
	}
}

// flags returns how many flags or beams a chord has.
func (e event) flags() int {
	if e.grace || len(e.notes) == 0 || e.value.typ == 0 {
		return 0
	}
	return max(quarterType-e.value.typ, 0)
}

func (e event) beamsWith(f event, b score.Bar) bool {
	return e.group == f.group && e.notes[0].Cue == f.notes[0].Cue && beamGroup(e.at, b) == beamGroup(f.at, b)
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
func beams(run []event) {
	flags := func(i int) int {
		if i < 0 || i >= len(run) {
			return 0
		}
		return quarterType - run[i].value.typ
	}
	for i := range run {
		run[i].beams = nil
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
			run[i].beams = append(run[i].beams, s)
		}
	}
}
