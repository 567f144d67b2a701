package line

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A FactKind is the kind of a fact.
type FactKind int8

// The kinds of facts.
const (
	SequenceFact FactKind = iota
	CycleFact             // of outer intervals
	CompoundFact
	MotionFact
	ThreadFact // an inner or chromatic line
	RelationFact
	RhythmFact
	LoudnessFact
	TextureFact
	OuterFact
	SyncopationFact
	PedalFact
)

var factNames = [...]string{"sequence", "cycle", "two lines in one", "motion", "thread", "relation", "rhythm", "loudness", "texture", "outer voices", "syncopation", "pedal"}

// String returns the kind in words, or %!FactKind(n) out of range.
func (k FactKind) String() string {
	if k < 0 || int(k) >= len(factNames) {
		return fmt.Sprintf("%%!FactKind(%d)", int(k))
	}
	return factNames[k]
}

// A Fact is something worth saying about a passage.
type Fact struct {
	Kind     FactKind
	Place    string  // as a claims file writes it: "bars 5-8, bass"
	Claim    string  // a statement in the words of a claims file; "" if there is no such form
	Text     string  // the same in a sentence of its own
	Unusual  float64 // how rare such a thing is, in [0, 1]; common practice in numbers, no source
	Support  float64 // how much of the place bears it out and how much there is of it, in [0, 1]
	From, To score.Time
	Notes    []score.Note // the evidence, in order; of long ones the first
	Lines    []string     // whole lines of a claims file that say it together, where one statement does not
	Again    []string     // places where the same thing comes back
	words    string       // Text without its place and what else changes from one occurrence to the next
}

// Rank is what facts are ordered by: how unusual a fact is times how well it is supported.
func (f Fact) Rank() float64 { return f.Unusual * f.Support }

// support grows with how many notes or chords bear a fact out: 4 give 0.5, 12 give 0.75.
func support(n int) float64 { return float64(n) / float64(n+4) }

// factBars is about how many bars one fact of motion spans at most; longer lines are looked at in stretches.
const factBars = 4

// Facts returns what is worth saying about the lines, sequences, rhythms and loudness of a region, the most unusual and best
// supported first. Each has a place and, where a claims file has a form for it, a statement in its words. Of facts of one kind that
// overlap in place only the first is kept. What comes back elsewhere with the same notes, as verses do, is told once with its
// places; so that the first few facts speak of different things, one that repeats the kind or lies in the place of one before it
// counts for less there.
//
// What stands as a claim is found by the same rules by which it is checked in this package; whether it holds in every detail
// of the claim's form is for package claim to say.
func Facts(p *score.Passage, r score.Region) []Fact {
	sounding := p.Sounding()
	if !r.To.Less(p.End()) {
		r.To = p.End()
	}
	if len(p.Bars) == 0 || !r.From.Less(r.To) {
		return nil
	}
	f := &finder{p: p, sounding: sounding, slices: score.Slices(sounding, r.From, r.To), r: r}
	f.bass, f.top = outerOf(f.slices, false), outerOf(f.slices, true)
	f.sequences()
	f.motions()
	f.compounds()
	f.chromatic()
	f.relations()
	f.rhythms()
	f.loudness()
	f.outers()
	f.pedals()
	slices.SortStableFunc(f.list, byRank)
	// Of each kind the first fact at a place is kept; taken holds the kept ones by the bars they touch.
	type place struct {
		what string
		bar  int
	}
	type span struct{ from, to score.Time }
	taken := map[place][]span{}
	var out []Fact
	for _, x := range f.list {
		what := x.Kind.String() + layerOf(x.Place)
		if x.Kind == SequenceFact { // that of the chords and that of a line are one thing
			what = x.Kind.String()
		}
		free := true
		a, b := p.BarAt(x.From), p.BarAt(x.To)
		for i := a; i <= b && free; i++ {
			for _, s := range taken[place{what, i}] {
				free = free && !(s.from.Less(x.To) && x.From.Less(s.to))
			}
		}
		if !free {
			continue
		}
		for i := a; i <= b; i++ {
			k := place{what, i}
			taken[k] = append(taken[k], span{x.From, x.To})
		}
		out = append(out, x)
	}
	return foremost(recurring(out))
}

func byRank(a, b Fact) int {
	return cmp.Or(cmp.Compare(b.Rank(), a.Rank()), a.From.Compare(b.From), cmp.Compare(a.Kind, b.Kind), strings.Compare(a.Place, b.Place))
}

// recurring gives the earliest of the facts that say the same of the same pitches the places of the others, which lose half their
// weight, then three quarters, and so on; list is in order of rank and so is what it returns.
func recurring(list []Fact) []Fact {
	first := map[string]int{}
	var id strings.Builder
	for i := range list {
		x := &list[i]
		if len(x.Notes) == 0 || x.Kind == LoudnessFact {
			continue
		}
		id.Reset()
		fmt.Fprintf(&id, "%d|%s|%s", x.Kind, layerOf(x.Place), x.words)
		for _, n := range x.Notes {
			id.WriteByte(byte(n.Pitch.Step()))
			id.WriteByte(byte(n.Pitch.MIDI()))
		}
		k, ok := first[id.String()]
		switch {
		case !ok:
			first[id.String()] = i
		case list[i].From.Less(list[k].From): // told where it is first
			x.Again = append([]string{barsOf(list[k].Place)}, list[k].Again...)
			x.Unusual, list[k].Unusual, list[k].Again = list[k].Unusual, x.Unusual/4, nil
			first[id.String()] = i
		default:
			list[k].Again = append(list[k].Again, barsOf(x.Place))
			x.Unusual /= 4
		}
	}
	return list
}

// barsOf is a place without its layer.
func barsOf(place string) string {
	s, _, _ := strings.Cut(place, ", ")
	return s
}

// first facts that are weighed against each other, and among how many
const (
	foremostFacts = 24
	foremostAmong = 240
)

// foremost puts first the facts that are worth saying first, each with regard to those before it.
func foremost(list []Fact) []Fact {
	slices.SortStableFunc(list, byRank)
	head := list[:min(foremostAmong, len(list))]
	weight := make([]float64, len(head))
	for i, x := range head {
		weight[i] = x.Rank()
	}
	for at := range min(foremostFacts, len(head)) {
		best := at
		for i := at + 1; i < len(head); i++ {
			if weight[i] > weight[best] {
				best = i
			}
		}
		x, w := head[best], weight[best]
		copy(head[at+1:best+1], head[at:best])
		copy(weight[at+1:best+1], weight[at:best])
		head[at], weight[at] = x, w
		for i := at + 1; i < len(head); i++ {
			y := head[i]
			if family(x.Kind) == family(y.Kind) {
				weight[i] *= 0.6
			}
			if y.From.Less(x.To) && x.From.Less(y.To) {
				weight[i] *= map[bool]float64{true: 0.4, false: 0.8}[family(x.Kind) == family(y.Kind)]
			}
		}
	}
	return list
}

// family joins the kinds of facts that say the same sort of thing.
func family(k FactKind) FactKind {
	switch k {
	case RelationFact:
		return SequenceFact
	case ThreadFact:
		return MotionFact
	case SyncopationFact:
		return RhythmFact
	}
	return k
}

func layerOf(place string) string {
	_, l, _ := strings.Cut(place, ", ")
	return l
}

type finder struct {
	p        *score.Passage
	sounding []score.Note
	slices   []score.Slice // of the region
	bass     Line
	top      Line
	numbers  map[string]int // how many bars have a number
	r        score.Region
	list     []Fact
}

func (f *finder) add(x Fact) {
	if len(x.Notes) > 32 {
		x.Notes = x.Notes[:32]
	}
	if x.Text == "" {
		x.Text = x.Place + ": " + x.Claim
	}
	if x.words == "" {
		x.words = strings.TrimPrefix(x.Text, x.Place)
	}
	f.list = append(f.list, x)
}

// place names a stretch of time with its layer: by bars where it fills them, else by beats; to is the onset of the last note
// or chord in it.
func (f *finder) place(from, last score.Time, layer score.Layer) string {
	a, b := f.p.BarAt(from), f.p.BarAt(last)
	var s string
	whole := from == f.p.Bars[a].Start
	if whole { // nothing of the layer may come after the last note in its bar
		i, _ := slices.BinarySearchFunc(f.sounding, last, func(n score.Note, t score.Time) int { return n.Onset.Compare(t) })
		for end := f.p.Bars[b].End(); i < len(f.sounding) && f.sounding[i].Onset.Less(end); i++ {
			n := f.sounding[i]
			whole = whole && (n.Onset == last || n.Grace != score.NoGrace)
		}
	}
	switch {
	case whole && a == b:
		s = "bar " + f.p.Bars[a].Number
	case whole:
		s = "bars " + f.p.Bars[a].Number + "-" + f.p.Bars[b].Number
	case from == last || f.p.Where(from) == f.p.Where(last):
		s = f.p.Where(from)
	default:
		s = f.p.Where(from) + " to " + f.p.Where(last)
	}
	if l := layer.String(); l != "" {
		s += ", " + l
	}
	return s
}

// found reports whether a place in words is found again as the stretch from one moment until the next.
func (f *finder) found(place string, from, until score.Time) bool {
	pl, err := score.ParsePlace(place)
	if err != nil {
		return false
	}
	r, err := f.resolve(pl, from)
	return err == nil && r.From == from && r.To == until
}

// resolve finds a place that begins at a moment, as anyone who reads it would.
func (f *finder) resolve(pl score.Place, from score.Time) (score.Region, error) {
	if i := f.p.BarAt(from); i >= 0 {
		if _, once := f.bar(i); once {
			return f.p.ResolveFrom(pl, i)
		}
	}
	return f.p.Resolve(pl)
}

// bar returns the name of bar i, and whether it leads back to it: some prints have a number twice.
func (f *finder) bar(i int) (string, bool) {
	if f.numbers == nil {
		f.numbers = map[string]int{}
		for _, b := range f.p.Bars {
			f.numbers[b.Number]++
		}
	}
	number := f.p.Bars[i].Number
	return "bar " + number, f.numbers[number] == 1
}

// bars names the bars from index a to b, and says whether the name leads back to them.
func (f *finder) bars(a, b int) (string, bool) {
	place, ok := f.bar(a)
	if a == b {
		return place, ok
	}
	_, ok2 := f.bar(b)
	return "bars " + f.p.Bars[a].Number + "-" + f.p.Bars[b].Number, ok && ok2
}

// settle names the place of a stretch of a line and drops notes from its end until the place, read again, has exactly its
// notes; ok is false if fewer than least would be left.
func (f *finder) settle(run []score.Note, line Line, layer score.Layer, least int) (place string, notes []score.Note, ok bool) {
	for n := len(run); n >= least && n > len(run)-6; n-- {
		place = f.place(run[0].Onset, run[n-1].Onset, layer)
		pl, err := score.ParsePlace(place)
		if err != nil {
			return "", nil, false
		}
		r, err := f.resolve(pl, run[0].Onset)
		if err != nil || r.From != run[0].Onset {
			return "", nil, false
		}
		i, _ := slices.BinarySearchFunc(line, r.From, func(n score.Note, t score.Time) int { return n.Onset.Compare(t) })
		last := score.Note{}
		for ; i < len(line) && line[i].Onset.Less(r.To); i++ {
			if line[i].Pitch != last.Pitch || last.Duration.Sign() == 0 { // a note struck again is no move
				last = line[i]
			}
		}
		if last.Onset == run[n-1].Onset {
			return place, run[:n], true
		}
	}
	return "", nil, false
}

func (f *finder) sequences() {
	for _, s := range findSequences(f.sounding, f.slices, handRegion(f.r), f.p) {
		last := s.Notes[len(s.Notes)-1].Onset
		n := len(s.Notes)
		if s.Layer == score.Whole {
			last = s.Chords[len(s.Chords)-1].At
		}
		if s.MereMotion() {
			continue
		}
		x := Fact{Kind: SequenceFact, Place: f.place(s.From, last, s.Layer), From: s.From, To: s.To, Notes: s.Notes,
			Unusual: 0.8, Support: support(n)}
		x.words = s.String()
		x.Text = x.Place + ": " + x.words
		if t := s.Starts(); s.Size >= 4 && len(t) == 2 {
			x.Text += "; the copy begins at " + f.p.Where(t[1])
		}
		switch {
		case s.Layer == score.Whole && s.Size == 1 && len(s.Names) == 0:
			x.Unusual = 0.9
		case s.Copies >= 2 || len(s.Names) > 0:
			x.Unusual = 0.85
		case s.Layer == score.Bass: // under the same tune a third higher it says little of its own
			x.Unusual = 0.65
		}
		f.add(x)
		if s.Cycle() && s.Period <= 6 && f.cycles(f.place(s.From, last, score.Whole), s) {
			var names []string
			for _, i := range s.Outer {
				names = append(names, outerName(i))
			}
			list := strings.Join(names, " ")
			f.add(Fact{Kind: CycleFact, Place: f.place(s.From, last, score.Whole), From: s.From, To: s.To, Notes: s.Notes, Unusual: 0.95, Support: support(n),
				Claim: fmt.Sprintf("outer intervals repeat every %s: %s", plural(s.Period, "chord"), list),
				Text:  f.place(s.From, last, score.Whole) + ": the outer intervals repeat every " + plural(s.Period, "chord") + ", " + list + ": " + s.Why})
		}
	}
}

// cycles reports whether the outer intervals at a place, read onset by onset, come back with the period of s and no sooner.
func (f *finder) cycles(place string, s Sequence) bool {
	pl, err := score.ParsePlace(place)
	if err != nil {
		return false
	}
	r, err := f.resolve(pl, s.From)
	if err != nil {
		return false
	}
	at := func(s score.Slice, t score.Time) int { return s.At.Compare(t) }
	a, _ := slices.BinarySearchFunc(f.slices, r.From, at)
	b, _ := slices.BinarySearchFunc(f.slices, r.To, at)
	outers := outersOf(f.slices[a:max(a, b)])
	n, ok := Period(outers, false)
	if !ok || n != s.Period {
		return false
	}
	for i := range n {
		if outers[i].Interval.Simple() != s.Outer[i] {
			return false
		}
	}
	return true
}

func outerName(i pitch.Interval) string {
	if i == pitch.Unison {
		return pitch.Octave.String()
	}
	return i.String()
}

// motionWeight is how unusual a motion is.
var motionWeight = map[Motion]float64{Chromatic: 0.85, ByWholeTones: 0.9, InFourths: 0.85, InFifths: 0.85, CircleOfFifths: 0.8, InThirds: 0.5, ByStep: 0.3}

// motions finds stretches of bass and top line that move in one manner.
func (f *finder) motions() {
	for _, c := range []struct {
		layer score.Layer
		line  Line
	}{{score.Bass, f.bass}, {score.TopLine, f.top}} {
		moves := c.line.Moves()
		for _, m := range []Motion{Chromatic, ByWholeTones, CircleOfFifths, InFourths, InFifths, InThirds, ByStep} {
			for i := 0; i < len(moves); {
				j, dir, altered := i, 0, 0
				for ; j < len(moves); j++ {
					fit := m.fit(moves[j].Interval)
					if fit == Altered && (m == InFourths || m == InFifths || m == CircleOfFifths) {
						altered++
					}
					d := 1
					if moves[j].Interval.Semitones < 0 {
						d = -1
					}
					oneWay := m == Chromatic || m == ByWholeTones || m == ByStep || m == InThirds
					if fit > Altered || fit == Altered && (m == InThirds || m == ByStep) || 3*altered > j-i+1 && altered > 1 || oneWay && dir != 0 && d != dir ||
						j > i && moves[j].From != moves[j-1].To && moves[j].From.Pitch != moves[j-1].To.Pitch {
						break
					}
					if dir == 0 {
						dir = d
					}
				}
				least := 4
				if m == ByStep {
					least = 6
				}
				if j-i >= least && variety(moves[i:j]) >= 4 { // to and fro between two notes is no motion worth telling
					run := moves[i:j]
					claim := "moves " + m.String()
					if m != CircleOfFifths && m != InFourths && m != InFifths {
						claim = verb(dir) + " " + m.String()
					}
					notes := []score.Note{run[0].From}
					for _, x := range run {
						notes = append(notes, x.To)
					}
					if place, notes, ok := f.settle(notes, c.line, c.layer, least+1); ok {
						last := notes[len(notes)-1]
						f.add(Fact{Kind: MotionFact, Place: place, Claim: claim, From: notes[0].Onset, To: last.End(), Notes: notes,
							Unusual: motionWeight[m], Support: support(len(notes) - 1)})
					}
				}
				i = max(i+1, j)
			}
		}
	}
}

// variety counts the different pitches that moves lead to, up to 4.
func variety(moves []Move) int {
	seen := []pitch.Pitch{moves[0].From.Pitch}
	for _, m := range moves {
		if len(seen) < 4 && !slices.Contains(seen, m.To.Pitch) {
			seen = append(seen, m.To.Pitch)
		}
	}
	return len(seen)
}

// compounds looks for two lines in one, in stretches of bars that lie in one hand as a melody.
func (f *finder) compounds() {
	for _, h := range []score.Layer{score.RightHand, score.LeftHand} {
		notes := plainNotes(f.sounding, score.Region{From: f.r.From, To: f.r.To, Layer: h})
		k := 0
		var run Line
		flush := func() {
			if len(run) >= compoundNotes && len(run) <= 64 && 2*LeapsOf(run) >= len(run)-1 {
				// A circle of fifths always makes two lines by step; it is told as what it is.
				if c := TwoLines(run); c.Two && !circles(run) {
					last := run[len(run)-1]
					layer := score.TopLine
					if h == score.LeftHand {
						layer = score.LeftHand
					}
					place := f.place(run[0].Onset, last.Onset, layer)
					claim := ""
					if c.Leaps == 0 {
						claim = "splits into two stepwise lines"
					}
					f.add(Fact{Kind: CompoundFact, Place: place, Claim: claim, Text: place + ": " + c.String(), From: run[0].Onset, To: last.End(),
						Notes: run, Unusual: 0.9, Support: support(len(run)) * c.Certainty})
				}
			}
			run = nil
		}
		bars := 0
		for _, b := range f.p.Bars {
			var bar Line
			for k < len(notes) && notes[k].Onset.Less(b.Start) {
				k++
			}
			single := true
			for ; k < len(notes) && notes[k].Onset.Less(b.End()); k++ {
				if n := len(bar); n > 0 && (bar[n-1].Onset == notes[k].Onset || notes[k].Onset.Less(bar[n-1].End())) {
					single = false
				}
				bar = append(bar, notes[k])
			}
			leaps := len(bar) >= 3 && 2*LeapsOf(bar) >= len(bar)-1
			if !single || !leaps || bars >= factBars {
				flush()
				bars = 0
			}
			if single && leaps {
				run = append(run, bar...)
				bars++
			}
		}
		flush()
	}
}

// circles reports whether most moves of a line are plainly those of the circle of fifths.
func circles(l Line) bool {
	j := Judge(l, CircleOfFifths)
	return 4*(len(j.Misfits)+len(j.BySound)+len(j.Altered)) <= len(j.Moves)
}

// chromatic tells the chromatic lines that an ear could follow (see leads) for at least four moves.
func (f *finder) chromatic() {
	struck := map[int][]score.Note{} // by MIDI number, in order of time
	for _, n := range plainNotes(f.sounding, handRegion(f.r)) {
		struck[n.Pitch.MIDI()] = append(struck[n.Pitch.MIDI()], n)
	}
	for _, l := range ChromaticThreads(f.sounding, handRegion(f.r), 4) {
		for len(l) > 0 {
			n := 1
			for n < len(l) && f.leads(struck, l[n-1], l[n]) {
				n++
			}
			if n > 4 {
				f.thread(l[:n])
			}
			l = l[n:]
		}
	}
}

// leads reports whether b is heard to follow a: in the same hand, within two bars of it, right after a has sounded for the last
// time for a while, and not struck itself since a was.
func (f *finder) leads(struck map[int][]score.Note, a, b score.Note) bool {
	bar := f.p.Bars[f.p.BarAt(a.Onset)].Length
	if a.Hand != b.Hand || bar.Mul(2, 1).Less(b.Onset.Sub(a.Onset)) {
		return false
	}
	at := func(midi int, t score.Time) (before, from score.Note, hasBefore, hasFrom bool) {
		list := struck[midi]
		i, _ := slices.BinarySearchFunc(list, t, func(n score.Note, t score.Time) int { return n.Onset.Compare(t) })
		if i > 0 {
			before, hasBefore = list[i-1], true
		}
		if i < len(list) {
			from, hasFrom = list[i], true
		}
		return before, from, hasBefore, hasFrom
	}
	last, next, ok, again := at(a.Pitch.MIDI(), b.Onset)
	if !ok || last.End().Add(score.T(1, 2)).Less(b.Onset) || again && !b.Onset.Add(score.Quarters(1)).Less(next.Onset) {
		return false
	}
	prev, _, had, _ := at(b.Pitch.MIDI(), b.Onset)
	return !had || prev.Onset.Less(a.Onset) && !a.Onset.Add(score.T(1, 2)).Less(prev.End())
}

func (f *finder) thread(l Line) {
	last := l[len(l)-1]
	layer := score.Whole
	where := "through the texture"
	if l[0].Hand == score.Left {
		where = "in the left hand"
	} else if l[0].Hand == score.Right {
		where = "in the right hand"
	}
	place := f.place(l[0].Onset, last.Onset, layer)
	dir := verb(last.Pitch.MIDI() - l[0].Pitch.MIDI())
	f.add(Fact{Kind: ThreadFact, Place: place, From: l[0].Onset, To: last.End(), Notes: l, Unusual: 0.75, Support: support(len(l) - 1),
		Text: fmt.Sprintf("%s: a chromatic line %s %s: %s", place, dir, where, l)})
}

// evenly reports whether all notes of b lie as many steps, or as many semitones, from those of a, in the same rhythm, as any
// relation worth telling asks.
func evenly(a, b []score.Note, aFrom, bFrom score.Time) bool {
	steps, semis := true, true
	d, e := b[0].Pitch.Step()-a[0].Pitch.Step(), b[0].Pitch.MIDI()-a[0].Pitch.MIDI()
	for i := range a {
		steps = steps && b[i].Pitch.Step()-a[i].Pitch.Step() == d
		semis = semis && b[i].Pitch.MIDI()-a[i].Pitch.MIDI() == e
		if !steps && !semis || b[i].Onset.Sub(bFrom) != a[i].Onset.Sub(aFrom) {
			return false
		}
	}
	return true
}

// backs are how many bars back a bar is held against.
var backs = [...]int{1, 2, 4, 8}

// relations holds each bar, whole and by hand, against those one, two, four and eight before, and joins neighbours that come
// back in the same way.
func (f *finder) relations() {
	bars := f.p.Bars
	all := plainNotes(f.sounding, handRegion(f.r))
	var notes [3][]score.Note // whole, left, right
	notes[0] = all
	notes[1], notes[2] = make([]score.Note, 0, len(all)), make([]score.Note, 0, len(all))
	for _, n := range all {
		h := 1
		if n.Hand == score.Right {
			h = 2
		}
		notes[h] = append(notes[h], n)
	}
	var start [3][]int // by bar: where its notes begin; one more at the end
	for h := range notes {
		k := 0
		for i, b := range bars {
			for k < len(notes[h]) && notes[h][k].Onset.Less(b.Start) {
				k++
			}
			start[h] = append(start[h], k)
			if i+1 == len(bars) {
				start[h] = append(start[h], len(notes[h]))
			}
		}
	}
	of := func(h, a, b int) []score.Note { return notes[h][start[h][a]:start[h][b]] } // the notes of bars a to b-1
	layers := [3]score.Layer{score.Whole, score.LeftHand, score.RightHand}
	type back struct {
		by  int // how many bars back; 0 for a bar that doesn't come back
		rel Relation
	}
	var found [3][]back
	for h := range layers {
		found[h] = make([]back, len(bars))
		for i, b := range bars {
			now := of(h, i, i+1)
			if b.Start.Less(f.r.From) || !b.Start.Less(f.r.To) || len(now) < 4 {
				continue
			}
			for _, by := range backs {
				j := i - by
				if j < 0 || bars[j].Start.Less(f.r.From) || start[h][j+1]-start[h][j] != len(now) || b.Length != bars[j].Length ||
					!evenly(of(h, j, j+1), now, bars[j].Start, b.Start) {
					continue
				}
				rel := Relate(of(h, j, j+1), now, bars[j].Start, b.Start)
				if !rel.Holds() || rel.Likeness == SameRhythm {
					continue
				}
				found[h][i] = back{by, rel}
				break
			}
		}
	}
	same := func(a, b back) bool {
		moved := func(l Likeness) bool { return l == Transposed || l == Diatonic }
		return a.by == b.by && (a.rel.Likeness == b.rel.Likeness && a.rel.Interval == b.rel.Interval ||
			moved(a.rel.Likeness) && moved(b.rel.Likeness) && a.rel.Interval.Steps == b.rel.Interval.Steps)
	}
	for h, layer := range layers {
		for i := 0; i < len(bars); {
			x := found[h][i]
			// What both hands do is not told again of one of them.
			if x.by == 0 || h > 0 && found[0][i].by != 0 && same(found[0][i], x) {
				i++
				continue
			}
			j := i + 1
			for j < len(bars) && same(found[h][j], x) && (h == 0 || found[0][j].by == 0) {
				j++
			}
			if x.by == 1 && j > i+1 {
				rels := make([]Relation, 0, j-i)
				for _, y := range found[h][i:j] {
					rels = append(rels, y.rel)
				}
				f.chain(layer, i, of(h, i, j), rels)
			} else {
				for a := i; a < j; a += x.by {
					b := min(a+x.by, j)
					from := bars[a-x.by].Start
					rel := Relate(of(h, a-x.by, b-x.by), of(h, a, b), from, bars[a].Start)
					if !rel.Holds() || rel.Likeness == SameRhythm {
						continue
					}
					f.comesBack(layer, a, b, x.by, of(h, a, b), rel)
				}
			}
			i = j
		}
	}
}

// relationWeight is how unusual it is that a bar comes back.
var relationWeight = map[Likeness]float64{Repeated: 0.25, Displaced: 0.6, Transposed: 0.75, Diatonic: 0.7, BySemitone: 0.7}

// comesBack tells that bars a to b-1 are those by bars before.
func (f *finder) comesBack(layer score.Layer, a, b, by int, notes []score.Note, rel Relation) {
	place, ok := f.bars(a, b-1)
	that, ok2 := f.bars(a-by, b-1-by)
	if !ok || !ok2 {
		return
	}
	unusual := relationWeight[rel.Likeness]
	if layer == score.Whole {
		unusual += 0.1
	} else {
		place += ", " + layer.String()
	}
	words := rel.Words(that)
	claim := words
	if n := rel.Interval.Number(); rel.Likeness != Repeated && (n == 1 || n > 8) {
		claim = "" // no form says so
	}
	if rel.Likeness == BySemitone { // as a claim it would be arguable
		claim = ""
		words += ", by sound"
	}
	last := notes[len(notes)-1]
	f.add(Fact{Kind: RelationFact, Place: place, Claim: claim, Text: place + ": " + words, words: rel.Words("it"), From: f.p.Bars[a].Start,
		To: last.End().Min(f.p.Bars[b-1].End()), Notes: notes, Unusual: unusual, Support: support(len(notes))})
}

// chain tells that each bar from index a on is the one before it, moved or not; rels has the relation of each.
func (f *finder) chain(layer score.Layer, a int, notes []score.Note, rels []Relation) {
	b := a + len(rels)
	place, ok := f.bars(a, b-1)
	if !ok {
		return
	}
	tail := ""
	rel := rels[0]
	for _, r := range rels {
		if rel.Likeness != BySemitone && (r.Interval != rel.Interval || r.Likeness == Diatonic) { // by steps of a scale
			rel.Likeness = Diatonic
		}
	}
	unusual := relationWeight[rel.Likeness] + 0.1
	if layer == score.Whole {
		unusual += 0.05
	} else {
		tail = ", " + layer.String()
	}
	x := Fact{Kind: RelationFact, Place: place + tail, From: f.p.Bars[a].Start, To: notes[len(notes)-1].End().Min(f.p.Bars[b-1].End()),
		Notes: notes, Unusual: unusual, Support: support(len(notes))}
	for i, r := range rels {
		p, ok := f.bars(a+i, a+i)
		that, ok2 := f.bars(a+i-1, a+i-1)
		if n := r.Interval.Number(); ok && ok2 && (r.Likeness == Repeated || n > 1 && n <= 8) {
			x.Lines = append(x.Lines, p+tail+": "+r.Words(that))
		}
	}
	x.words = "each bar " + rel.Words("the one before")
	x.Text = x.Place + ": " + x.words
	f.add(x)
}

func (f *finder) rhythms() {
	for _, h := range []score.Layer{score.RightHand, score.LeftHand} {
		r := score.Region{From: f.r.From, To: f.r.To, Layer: h}
		list := BarRhythms(f.sounding, r, f.p)
		first, n := Figure(list)
		if first < 0 || n < 3 || len(list) < 4 {
			continue
		}
		for i, b := range list {
			if b.Bar == first && len(b.Onsets) >= 3 {
				// The figure is said once, at the first bar that repeats it.
				for _, c := range list[i+1:] {
					if c.First == first {
						bar := f.p.Bars[c.Bar]
						place, ok := f.bar(c.Bar)
						that, ok2 := f.bar(first)
						if !ok || !ok2 {
							continue
						}
						share := float64(n) / float64(len(list))
						values := ""
						if v := b.Values(); v != "" {
							values = ": " + v
						}
						f.add(Fact{Kind: RhythmFact, Place: place + ", " + h.String(), Claim: "has the rhythm of " + that,
							Text: fmt.Sprintf("%s: %d of %d bars have the rhythm of bar %s%s", h, n, len(list), f.p.Bars[first].Number, values),
							From: bar.Start, To: bar.End(), Unusual: 0.45, Support: share * support(n)})
						break
					}
				}
				break
			}
		}
		f.syncopated(h, list)
	}
}

// syncopated tells in which bars of a hand notes are held over stronger beats. A rest there is none where the other hand
// fills it, as it mostly does.
func (f *finder) syncopated(h score.Layer, list []BarRhythm) {
	held := func(b BarRhythm) (n, strength int) {
		for _, s := range b.Syncopations(true) {
			if s.Held {
				n, strength = n+1, strength+s.Strength
			}
		}
		return n, strength
	}
	var bars []BarRhythm
	most, top, topNotes := 0, 0, 0
	for _, b := range list {
		n, s := held(b)
		if n < 2 || s < 4 {
			continue
		}
		if bars = append(bars, b); s > top {
			most, top, topNotes = len(bars)-1, s, n
		}
	}
	if len(bars) == 0 {
		return
	}
	bar := f.p.Bars[bars[most].Bar]
	place := "bar " + bar.Number + ", " + h.String()
	said := fmt.Sprintf("%d notes held over a stronger beat", topNotes)
	x := Fact{Kind: SyncopationFact, Place: place, From: bar.Start, To: bar.End(), Unusual: 0.55, Support: support(top), Text: place + ": syncopated, " + said}
	if len(bars) > 1 {
		share := 0.5 + 0.5*float64(len(bars))/float64(len(list))
		x.Support = share * support(2*len(bars)+top)
		x.Text = fmt.Sprintf("%s: strongly syncopated in %d of %d bars, most of all in bar %s: %s", h, len(bars), len(list), bar.Number, said)
	} else if x.Support *= 0.6; top < 5 {
		return
	}
	f.add(x)
}

// loudness tells the hairpins and the growth of the texture.
func (f *finder) loudness() {
	for _, d := range f.p.Dynamics {
		if d.Text != "louder" && d.Text != "softer" || !d.At.Less(d.Until) || d.At.Less(f.r.From) || !d.At.Less(f.r.To) {
			continue
		}
		a, b := f.p.BarAt(d.At), f.p.BarAt(d.Until)
		if d.Until == f.p.Bars[b].Start && b > a {
			b--
		}
		r := score.Region{From: f.p.Bars[a].Start, To: f.p.Bars[b].End()}
		s := SwellOf(f.p, r)
		claim := map[int]string{1: "gets louder", -1: "gets softer"}[s.Direction]
		if claim == "" {
			continue
		}
		place := "bar " + f.p.Bars[a].Number
		if a != b {
			place = "bars " + f.p.Bars[a].Number + "-" + f.p.Bars[b].Number
		}
		if !f.found(place, r.From, r.To) {
			continue
		}
		f.add(Fact{Kind: LoudnessFact, Place: place, Claim: claim, From: r.From, To: r.To, Unusual: 0.3, Support: support(2 * (b - a + 1))})
	}
	for i := 0; i+1 < len(f.p.Bars); i += factBars {
		j := min(i+2*factBars, len(f.p.Bars)) - 1
		r := score.Region{From: f.p.Bars[i].Start, To: f.p.Bars[j].End()}
		if r.From.Less(f.r.From) || f.r.To.Less(r.To) {
			continue
		}
		g := GrowthOf(f.sounding, r, f.p)
		if g.Direction == 0 || len(g.Bars) < factBars || slices.Contains(g.Bars, 0) || max(g.First, g.Last) < 4 || max(g.First, g.Last) < 2*min(g.First, g.Last) {
			continue
		}
		word := "more and more notes are struck"
		if g.Direction < 0 {
			word = "fewer and fewer notes are struck"
		}
		place := "bars " + f.p.Bars[i].Number + "-" + f.p.Bars[j].Number
		f.add(Fact{Kind: TextureFact, Place: place, From: r.From, To: r.To, Unusual: 0.4, Support: support(len(g.Bars)),
			Text: fmt.Sprintf("%s: %s, from %.3g to %.3g a beat", place, word, g.First, g.Last)})
	}
}

// outers tells stretches in which bass and top line move in parallel, or all contrary, each in its hand.
func (f *finder) outers() {
	list := outersOf(f.slices)
	pair := func(i int) Pair {
		a, b := list[i], list[i+1]
		if a.Low.Hand != b.Low.Hand || a.High.Hand != b.High.Hand || f.both() && a.Low.Hand == a.High.Hand {
			return Still
		}
		return PairOf(a, b)
	}
	for i := 0; i+1 < len(list); {
		p := pair(i)
		j := i + 1
		for j+1 < len(list) && pair(j) == p && (p != Parallel || list[j+1].Interval.Steps == list[j].Interval.Steps) {
			j++
		}
		if (p == Parallel || p == Contrary) && j-i >= 4 && !list[j].At.Sub(list[i].At).Less(f.p.Bars[f.p.BarAt(list[i].At)].Length) {
			place := f.place(list[i].At, list[j].At, score.Whole)
			text := fmt.Sprintf("%s: bass and top line move in %s motion", place, p)
			if p == Parallel {
				text = fmt.Sprintf("%s: bass and top line move in parallel %ss", place, pitch.NumberWord(simpleNumber(list[i].Interval)))
			}
			var notes []score.Note
			for _, o := range list[i : j+1] {
				notes = append(notes, o.Low, o.High)
			}
			f.add(Fact{Kind: OuterFact, Place: place, Text: text, From: list[i].At, To: list[j].At, Notes: notes, Unusual: 0.55, Support: support(j - i)})
		}
		i = j
	}
}

// both reports whether both hands play in the region.
func (f *finder) both() bool {
	return len(f.bass) > 0 && len(f.top) > 0 && f.bass[0].Hand != f.top[0].Hand
}

// pedals tells the notes that stay in the bass for two bars or more, under more than one chord.
func (f *finder) pedals() {
	type bar struct {
		low     pitch.Class
		held    bool
		classes uint16
		moments int
		notes   []score.Note
	}
	bars := make([]bar, len(f.p.Bars))
	for _, s := range f.slices {
		b := &bars[f.p.BarAt(s.At)]
		if len(s.Notes) == 0 {
			continue
		}
		low := s.Notes[0].Pitch.Class()
		if b.moments++; b.moments == 1 {
			b.low, b.held = low, true
		}
		b.held = b.held && b.low == low
		for _, n := range s.Notes {
			b.classes |= 1 << n.Pitch.PC()
		}
		if k := len(b.notes) - 1; k < 0 || b.notes[k] != s.Notes[0] {
			b.notes = append(b.notes, s.Notes[0])
		}
	}
	for i := 0; i < len(bars); {
		j := i
		var classes uint16
		var notes []score.Note
		moments := 0
		for ; j < len(bars) && bars[j].held && bars[j].low == bars[i].low; j++ {
			classes |= bars[j].classes
			moments += bars[j].moments
			notes = append(notes, bars[j].notes...)
		}
		if j-i >= 2 && !withinChord[classes] && moments >= 6 {
			b := f.p.Bars[j-1]
			if place, ok := f.bars(i, j-1); ok && !f.p.Bars[i].Start.Less(f.r.From) && !f.r.To.Less(b.End()) {
				f.add(Fact{Kind: PedalFact, Place: place, Claim: "pedal on " + bars[i].low.String(), From: f.p.Bars[i].Start, To: b.End(), Notes: notes,
					Unusual: 0.7, Support: support(3 * (j - i))})
			}
		}
		i = max(j, i+1)
	}
}

// simpleNumber is the number of an interval, octaves taken off beyond the tenth.
func simpleNumber(i pitch.Interval) int {
	n := i.Number()
	for n > 10 {
		n -= 7
	}
	return n
}
