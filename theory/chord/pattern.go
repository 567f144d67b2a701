package chord

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A Move is one step of a line.
type Move struct {
	By pitch.Interval // by spelling; meaningful if neither Degrees nor Keys is set
	// Degrees counts steps of the pattern's scale: 1 up a step, -4 down a fifth.
	Degrees int
	// Keys counts semitones, the spelling left to the chords: -1 down by semitone.
	Keys int
}

// A Plan is what one chord of a pattern is to be.
type Plan struct {
	// Family is "triad", "seventh" or "ninth" where the pattern may choose: by the scale if there is one, else the usual one
	// that has the melody note. It is "" where Type says it.
	Family    string
	Type      Type
	Inversion int // which member is in the bass: 0 the root, 1 the third …
}

// A Pattern is a sequence to be realized: a bass that moves by a cycle of intervals, chords by a cycle of plans, and, if
// wanted, a melody by a cycle of its own.
type Pattern struct {
	Start       pitch.Pitch // first note of the bass
	Bass        []Move      // in turn, again from the first when they are used up
	Fold        bool        // the bass keeps within a fifth below Start and a third above
	HasMelody   bool
	Melody      pitch.Pitch // first note of the melody
	MelodyMoves []Move      // in turn; none: it holds its note
	Plan        []Plan      // in turn
	Number      int         // of chords, in [2, 64]
	Reach       int         // of a hand, in semitones
	Tonic       pitch.Class // meaningful only if Mode is not ""
	Mode        string      // "major", "minor" (natural, with the leading note in the chord on the fifth degree) or ""
	Text        string      // as it was written
}

// A Sequence is a pattern realized.
type Sequence struct {
	Chords []Voicing // their Text is the label: "A7"
	Text   string    // what it is, in words
}

// maxChords bounds a pattern.
const maxChords = 64

// IsPattern reports whether spec is meant for [ParsePattern] rather than [Realize]: it speaks of a circle, a bass or a melody.
func IsPattern(spec string) bool {
	return indexAny(spec, "circle of fifths", "circle of fourths", "melody ", "bass up", "bass down", "bass ris", "bass fall") >= 0
}

// ParsePattern reads a pattern, its parts separated by commas:
//
//   - the bass: "circle of fifths from A2", "bass down by step from C3", "bass down a fourth then up a second from C3";
//   - the melody: "melody up by semitone from E5", "melody held on G5"; without it the top voice is led like the others;
//   - the chords: "triads", "sevenths", "ninths", or rows of the vocabulary in turn, "dominant sevenths, minor sevenths", each
//     perhaps "in first inversion"; triads if nothing is said;
//   - their number: "6 chords"; 8 if nothing is said;
//   - a key: "in C major" makes moves and chords those of the scale, and allows "by step" and "a third" without a quality;
//   - the reach: "a ninth a hand"; a major tenth if nothing is said.
//
// It returns a *SpecError if the whole of spec is not understood.
func ParsePattern(spec string) (Pattern, error) {
	if len(spec) > maxLabel {
		return Pattern{}, &SpecError{Text: spec[:24] + "…", Why: fmt.Sprintf("it is %d bytes long; specifications have at most %d", len(spec), maxLabel)}
	}
	p := patternParser{Pattern: Pattern{Number: 8, Reach: tenth, Text: spec}}
	// The key first: the moves depend on it.
	for pass := range 2 {
		for from := 0; from <= len(spec); {
			to := from + strings.IndexAny(spec[from:]+",", ",;")
			if err := p.piece(spec, from, to, pass == 0); err != nil {
				err.Text = spec
				return Pattern{}, err
			}
			from = to + 1
		}
	}
	if len(p.Bass) == 0 {
		return Pattern{}, &SpecError{Text: spec, Offset: len(spec), Why: "the bass is missing", Hint: "as in \"circle of fifths from A2\" or \"bass down by step from C3\""}
	}
	if len(p.Plan) == 0 {
		p.Plan = []Plan{{Family: "triad"}}
	}
	return p.Pattern, nil
}

type patternParser struct {
	Pattern
	keySaid, numberSaid, reachSaid bool
}

// piece reads spec[from:to], one part of a pattern; in the first pass only its key.
func (p *patternParser) piece(spec string, from, to int, keyOnly bool) *SpecError {
	text := strings.TrimRight(spec[:to], " \t")
	q := &labelParser{text: text, pos: from}
	fail := func(at int, format string, args ...any) *SpecError {
		return &SpecError{Offset: min(at, len(spec)), Why: fmt.Sprintf(format, args...)}
	}
	if q.blanks(); q.rest() == "" {
		if strings.TrimSpace(spec) == "" {
			return fail(0, "it is empty; wanted a bass, as in circle of fifths from A2")
		}
		return nil
	}
	// A key may end any part: "in C major".
	if i := strings.LastIndex(fold(text[from:]), "in "); i >= 0 && (i == 0 || text[from+i-1] == ' ') {
		k := &labelParser{text: text, pos: from + i + len("in ")}
		if tonic, err := k.class(false); err == nil {
			if mode := map[bool]string{k.phrase("major"): "major"}[true]; mode != "" || k.phrase("minor") {
				if mode == "" {
					mode = "minor"
				}
				if k.blanks(); k.rest() == "" {
					if keyOnly && p.keySaid {
						return fail(from+i, "the key is given twice")
					}
					p.Tonic, p.Mode, p.keySaid = tonic, mode, true
					q.text = strings.TrimRight(text[:from+i], " \t")
					if len(q.text) <= q.pos {
						return nil
					}
				}
			}
		}
	}
	if keyOnly {
		return nil
	}
	start := q.pos
	q.phrase("the", "a")
	switch {
	case q.phrase("descending circle of fifths", "circle of fifths", "circle of fourths"):
		return p.bass(q, start, []Move{p.generic(-4, pitch.PerfectFifth.Neg())}, true)
	case q.phrase("ascending circle of fifths", "rising circle of fifths"):
		return p.bass(q, start, []Move{p.generic(4, pitch.PerfectFifth)}, true)
	case q.phrase("bass line", "bass"):
		moves, err := p.moves(q)
		if err != nil {
			return err
		}
		return p.bass(q, start, moves, false)
	case q.phrase("melody", "top line", "top voice", "soprano"):
		if p.HasMelody {
			return fail(start, "the melody is given twice")
		}
		if q.phrase("held", "holds", "stays", "holding") {
			q.phrase("the note")
		} else {
			moves, err := p.moves(q)
			if err != nil {
				return err
			}
			p.MelodyMoves = moves
		}
		if !q.phrase("from", "on", "at") {
			return fail(q.pos, "found %s; wanted \"from\" and the first note of the melody", q.found())
		}
		first, e := q.pitch()
		if e != nil {
			return fail(q.pos, "%s", e.(*LabelError).Why)
		}
		p.Melody, p.HasMelody = first, true
		return p.end(q)
	}
	q.pos = start
	if n, ok := q.number3(); ok && q.phrase("chords", "chord", "sonorities") {
		if p.numberSaid {
			return fail(start, "the number of chords is given twice")
		}
		if n < 2 || n > maxChords {
			return fail(start, "a pattern has from 2 to %d chords, not %d", maxChords, n)
		}
		p.Number, p.numberSaid = n, true
		return p.end(q)
	}
	q.pos = start
	if q.phrase("at most", "hands within", "within") || true {
		q.phrase("a", "an", "the")
		q.phrase("major", "perfect")
		for n := 5; n <= 12; n++ {
			if at := q.pos; q.phrase(pitch.NumberWord(n)) {
				if q.phrase("a hand", "each hand", "per hand", "in each hand") {
					if p.reachSaid {
						return fail(start, "the reach is given twice")
					}
					p.Reach, p.reachSaid = degree{num: int8(n)}.interval().Semitones, true
					return p.end(q)
				}
				q.pos = at
			}
		}
	}
	q.pos = start
	return p.plan(q, text)
}

func (p *patternParser) end(q *labelParser) *SpecError {
	if q.blanks(); q.rest() != "" {
		return &SpecError{Offset: q.pos, Why: q.found() + " is left over; wanted a comma or the end"}
	}
	return nil
}

// number3 reads a number in digits or, to twelve, in words.
func (p *labelParser) number3() (int, bool) {
	if n, ok := p.count(); ok {
		return n, true
	}
	p.blanks()
	n, at := 0, p.pos
	for p.pos < len(p.text) && p.text[p.pos] >= '0' && p.text[p.pos] <= '9' && n < 1000 {
		n = 10*n + int(p.text[p.pos]-'0')
		p.pos++
	}
	return n, p.pos > at
}

// generic is a move by scale steps if there is a scale, else by iv.
func (p *patternParser) generic(degrees int, iv pitch.Interval) Move {
	if p.Mode != "" {
		return Move{Degrees: degrees}
	}
	return Move{By: iv}
}

func (p *patternParser) bass(q *labelParser, start int, moves []Move, folds bool) *SpecError {
	if len(p.Bass) > 0 {
		return &SpecError{Offset: start, Why: "the bass is given twice"}
	}
	if !q.phrase("from", "on") {
		return &SpecError{Offset: q.pos, Why: fmt.Sprintf("found %s; wanted \"from\" and the first note of the bass", q.found())}
	}
	first, err := q.pitch()
	if err != nil {
		return &SpecError{Offset: q.pos, Why: err.(*LabelError).Why}
	}
	p.Start, p.Bass, p.Fold = first, moves, folds
	return p.end(q)
}

// moves reads "up by semitone", "down a fourth then up a second".
func (p *patternParser) moves(q *labelParser) ([]Move, *SpecError) {
	var ms []Move
	for {
		m, err := p.move(q)
		if err != nil {
			return nil, err
		}
		if ms = append(ms, m); len(ms) > 12 {
			return nil, &SpecError{Offset: q.pos, Why: "a cycle has at most 12 moves"}
		}
		q.lit(" ")
		if !q.phrase("and then", "then", "and") {
			return ms, nil
		}
	}
}

func (p *patternParser) move(q *labelParser) (Move, *SpecError) {
	q.phrase("moves", "moving", "goes", "going")
	sign := 1
	q.blanks()
	switch {
	case q.phrase("up", "rises", "rising", "ascending", "ascends"):
	case q.phrase("down", "falls", "falling", "descending", "descends"):
		sign = -1
	case q.phrase("chromatically up"):
		return Move{Keys: 1}, nil
	case q.phrase("chromatically down"):
		return Move{Keys: -1}, nil
	default:
		return Move{}, &SpecError{Offset: q.pos, Why: fmt.Sprintf("found %s; wanted \"up\" or \"down\" and an interval", q.found())}
	}
	q.phrase("by", "in")
	q.phrase("a", "an", "the", "one")
	switch {
	case q.phrase("semitones", "semitone", "half steps", "half step", "chromatically"):
		return Move{Keys: sign}, nil
	case q.phrase("whole tones", "whole tone", "whole steps", "whole step"):
		return Move{By: signed(pitch.MajorSecond, sign)}, nil
	case q.phrase("tritones", "tritone"):
		return Move{Keys: 6 * sign}, nil
	}
	q.blanks()
	start := q.pos
	d, alter := degree{}, ""
	for _, w := range [...]string{"perfect", "major", "minor", "augmented", "diminished"} {
		if q.phrase(w) {
			alter = w
			break
		}
	}
	switch {
	case q.phrase("steps", "step"):
		d.num = 2
	default:
		for n := int8(2); n <= 10; n++ {
			if w := pitch.NumberWord(int(n)); q.phrase(w+"s", w) {
				d.num = n
			}
		}
	}
	if d.num == 0 {
		return Move{}, &SpecError{Offset: start, Why: fmt.Sprintf("found %s; wanted an interval, as in a fifth or a minor third", q.found())}
	}
	perfect := d.interval().Quality() == pitch.Perfect
	switch alter {
	case "":
		if p.Mode != "" {
			return Move{Degrees: sign * int(d.num-1)}, nil
		}
		if !perfect {
			return Move{}, &SpecError{Offset: start, Why: "without a key it is open which " + pitch.NumberWord(int(d.num)) + " is meant; say major or minor, or a key, as in C major"}
		}
	case "perfect", "major":
		if perfect != (alter == "perfect") {
			return Move{}, &SpecError{Offset: start, Why: fmt.Sprintf("there is no %s %s", alter, pitch.NumberWord(int(d.num)))}
		}
	case "minor":
		if perfect {
			return Move{}, &SpecError{Offset: start, Why: fmt.Sprintf("there is no minor %s", pitch.NumberWord(int(d.num)))}
		}
		d.alter = -1
	case "augmented":
		d.alter = 1
	case "diminished":
		if d.alter = -1; !perfect {
			d.alter = -2
		}
	}
	return Move{By: signed(d.interval(), sign)}, nil
}

func signed(iv pitch.Interval, sign int) pitch.Interval {
	if sign < 0 {
		return iv.Neg()
	}
	return iv
}

// plan reads what the chords are to be.
func (p *patternParser) plan(q *labelParser, text string) *SpecError {
	start := q.pos
	q.phrase("every chord a", "every chord an", "every chord is a", "all")
	plan := Plan{}
	name := q.rest()
	for i, w := range [...]string{"first", "second", "third"} {
		if n := indexAny(name, " in "+w+" inversion"); n >= 0 && strings.TrimSpace(name[n+len(" in "+w+" inversion"):]) == "" {
			plan.Inversion, name = i+1, name[:n]
		}
	}
	name = strings.TrimSpace(name)
	switch fold(name) {
	case "triads", "triad":
		plan.Family = "triad"
	case "sevenths", "seventh chords", "seventh", "seventh chord", "7ths":
		plan.Family = "seventh"
	case "ninths", "ninth chords", "ninth", "ninth chord", "9ths":
		plan.Family = "ninth"
	default:
		t, ok := TypeByName(strings.TrimSuffix(strings.TrimSuffix(name, "s"), " chord"))
		if !ok {
			t, ok = TypeByName(name)
		}
		if !ok || len(t.Intervals) < 3 || len(t.Intervals) > 6 {
			return &SpecError{Offset: start, Why: fmt.Sprintf("%q is understood neither as bass, melody, number, key or reach, nor as a kind of chord", name), Hint: "as in sevenths, or dominant sevenths"}
		}
		plan.Type = t
	}
	if plan.Inversion > 0 && plan.Family == "triad" && plan.Inversion > 2 || plan.Type.ID != "" && plan.Inversion >= len(plan.Type.Intervals) {
		return &SpecError{Offset: start, Why: fmt.Sprintf("%s have no %s inversion", name, ordinal(plan.Inversion))}
	}
	if len(p.Plan) == 24 {
		return &SpecError{Offset: start, Why: "a cycle has at most 24 kinds of chord"}
	}
	p.Plan = append(p.Plan, plan)
	return nil
}

// families lists what a pattern may choose from where only the family is said, the usual ones first.
var families = map[string][]string{
	"triad":   {"maj", "min", "dim", "aug"},
	"seventh": {"dom7", "min7", "maj7", "hdim7", "minmaj7", "dim7", "aug7", "augmaj7"},
	"ninth":   {"9", "m9", "maj9", "7b9", "hdim9", "mMaj9"},
}

// scaleSteps are the semitones of the scales a pattern may be in.
var scaleSteps = map[string][7]int{"major": {0, 2, 4, 5, 7, 9, 11}, "minor": {0, 2, 3, 5, 7, 8, 10}}

// scaleNote returns the note of the scale on the letter of step (as of [pitch.Pitch.Step]).
func (p *Pattern) scaleNote(step int) pitch.Pitch {
	d := ((step-int(p.Tonic.Letter))%7 + 7) % 7
	tonic := p.Tonic.In((step - d) / 7)
	return tonic.Add(pitch.Interval{Steps: d, Semitones: scaleSteps[p.Mode][d]})
}

// line returns n notes from start by the moves in turn.
func (p *Pattern) line(start pitch.Pitch, moves []Move, n int, folds bool) []pitch.Pitch {
	ns := []pitch.Pitch{start}
	for i := 1; i < n; i++ {
		q := ns[i-1]
		if len(moves) > 0 {
			switch m := moves[(i-1)%len(moves)]; {
			case m.Degrees != 0:
				q = p.scaleNote(q.Step() + m.Degrees)
			case m.Keys != 0:
				q = pitch.FromMIDI(q.MIDI()+m.Keys, m.Keys < 0)
			default:
				q = usual(q.Add(m.By))
			}
		}
		for folds && q.MIDI() < start.MIDI()-7 {
			q.Octave++
		}
		for folds && q.MIDI() > start.MIDI()+4 {
			q.Octave--
		}
		ns = append(ns, q)
	}
	return ns
}

// usual respells what has left the names people write.
func usual(p pitch.Pitch) pitch.Pitch {
	if p.Alter > 1 || p.Alter < -1 {
		return pitch.FromMIDI(p.MIDI(), p.Alter < 0)
	}
	return p
}

// symbol chooses the chord over bass: by the plan, in the scale if there is one, with the melody note in it.
func (p *Pattern) symbol(plan Plan, bass pitch.Pitch, melody *pitch.Pitch) (Symbol, string) {
	has := func(sym Symbol) bool {
		return melody == nil || slices.ContainsFunc(sym.Spell(), melody.Class().Enharmonic)
	}
	on := func(t Type) Symbol {
		sym := Symbol{Type: t, Inversion: plan.Inversion}
		sym.Root = bass.Class().Add(t.Intervals[plan.Inversion].Neg())
		return sym
	}
	var tries []Symbol
	switch {
	case plan.Family == "":
		tries = []Symbol{on(plan.Type)}
	case p.Mode != "":
		n := map[string]int{"triad": 3, "seventh": 4, "ninth": 5}[plan.Family]
		rootStep := bass.Step() - 2*plan.Inversion
		root := p.scaleNote(rootStep).Class()
		if plan.Inversion == 0 {
			root = bass.Class()
		}
		degs := []degree{{1, 0}}
		for i := 1; i < n; i++ {
			c := p.scaleNote(rootStep + 2*i).Class()
			if i == 1 && p.Mode == "minor" && root == p.Tonic.Add(pitch.PerfectFifth) {
				c.Alter++ // the leading note
			}
			d := degree{num: int8(2*i + 1)}
			d.alter = int8(c.Sub(root).Semitones - degree{num: int8((2*i)%7 + 1)}.interval().Semitones)
			degs = append(degs, d)
		}
		tries = []Symbol{{Root: root, Type: typeOf(degs), Inversion: plan.Inversion}}
	default:
		for _, id := range families[plan.Family] {
			if t, _ := TypeByID(id); plan.Inversion < len(t.Intervals) {
				tries = append(tries, on(t))
			}
		}
	}
	for _, sym := range tries {
		if has(sym) {
			return sym, ""
		}
	}
	what := "a " + plan.Family
	if plan.Family == "seventh" || plan.Family == "ninth" {
		what += " chord"
	}
	if len(tries) == 1 {
		what = tries[0].House()
	} else if plan.Family != "" {
		what += " over " + bass.Class().String()
	}
	return Symbol{}, fmt.Sprintf("the melody note %s is no member of %s", melody, what)
}

// A texture is one way to lay out a chord of a pattern.
type texture struct {
	upper []int // MIDI numbers of the voices above the bass, low to high
	names []pitch.Class
	low   int    // which of them has the seventh of the chord, -1 if none
	pulls []pull // of each of them; by is 0 for one that is free
	mild  bool   // fifths with the bass may follow it: a German sixth
	split int    // how many of them the left hand takes
	cost  float64
}

// A pull is a note of a chord that wants to go on in one way: a leading tone, or an outer note of an augmented sixth.
type pull struct {
	class     pitch.Class
	by        int     // semitones, upwards positive; 0 if nothing in the next chord is wanted
	inner     float64 // what it costs an inner voice to go elsewhere
	top       float64 // what it costs the top voice
	isDoubled float64 // what it costs to have it twice
}

// pulls lists the notes of sym that pull, given the chord that follows; next is nil after the last. A leading tone is the third
// of a major triad or dominant seventh, or the root of a diminished chord, where the note a semitone above it comes next and
// neither it nor the note a chromatic semitone below: then it stays, or falls as in a row of dominant sevenths. The outer notes
// of an augmented sixth move apart to the octave (Butterfield 18a). In an inner voice a leading tone may fall to the fifth.
func pulls(sym Symbol, next *Symbol) (out []pull) {
	members := sym.Spell()
	var then []pitch.Class
	if next != nil {
		then = next.Spell()
	}
	has := func(i pitch.Interval) bool { return slices.Contains(sym.Type.Intervals, i) }
	if sym.Type.Family == famAugSixth {
		sixth := slices.Index(sym.Type.Intervals, pitch.Interval{Steps: 5, Semitones: 10})
		for m, by := range map[int]int{0: -1, sixth: 1} {
			if m < 0 || m >= len(members) {
				continue
			}
			p := pull{members[m], 0, 20, 20, 40}
			to := pitch.MinorSecond
			if by < 0 {
				to = to.Neg()
			}
			if slices.Contains(then, members[m].Add(to)) {
				p.by = by
			}
			out = append(out, p)
		}
		slices.SortFunc(out, func(a, b pull) int { return a.by - b.by })
		return out
	}
	p := pull{inner: 4, top: 16, isDoubled: 40}
	minorSeventh := has(pitch.Interval{Steps: 6, Semitones: 10})
	switch {
	case has(pitch.Interval{Steps: 4, Semitones: 6}) && has(pitch.Interval{Steps: 2, Semitones: 3}):
		p.class = members[0]
	case has(pitch.Interval{Steps: 2, Semitones: 4}) && (minorSeventh || sym.Type.Family == "triad"):
		p.class = sym.Root.Add(pitch.Interval{Steps: 2, Semitones: 4})
		if !minorSeventh {
			p.top = 10 // perhaps the tonic before the subdominant
		}
	default:
		return nil
	}
	if !slices.Contains(members, p.class) || !slices.Contains(then, p.class.Add(pitch.MinorSecond)) || slices.Contains(then, p.class) ||
		slices.Contains(then, p.class.Add(pitch.Interval{Semitones: -1})) {
		return nil
	}
	p.by = 1
	return append(out, p)
}

// doublings prices the members of a triad to be doubled, in their order: as a rule the root first, the third of a major triad
// last; the fifth of a six-four, the third of a diminished triad, of an Italian sixth (its other notes both pull) and of a
// Neapolitan sixth, which is known by the dominant or the six-four after it (common practice, no source).
func (sym *Symbol) doublings(members []pitch.Class, low pitch.Class, next *Symbol) [3]float64 {
	major := slices.Contains(sym.Type.Intervals, pitch.Interval{Steps: 2, Semitones: 4})
	switch {
	case sym.Type.ID == "dim":
		return [3]float64{20, 0, 3}
	case sym.Type.Family == famAugSixth:
		return [3]float64{40, 0, 40}
	case sym.Type.Family != "triad":
		return [3]float64{0, 3, 1}
	case low == members[2]:
		return [3]float64{3, 4, 0}
	case major && low == members[1] && next != nil:
		switch next.Root.Sub(members[0]).Simple() {
		case pitch.Interval{Steps: 3, Semitones: 6}, pitch.Interval{Steps: 6, Semitones: 11}, pitch.Interval{Steps: 2, Semitones: 5}:
			return [3]float64{8, 0, 8}
		}
	}
	if major {
		return [3]float64{0, 5, 1}
	}
	return [3]float64{0, 3, 1}
}

// RealizePattern writes a pattern as chords for two hands: the bass and the melody as the pattern says, in between the other
// members of each chord, led so that the whole sequence moves least (found exactly, over all layouts of all chords) without
// parallel fifths and octaves where they can be avoided, and within the reach of each hand. Seventh chords have four voices;
// the fifth makes room where the root is doubled, as in the handbooks' circle of fifths. Outside a key a bass is respelled where
// its chord is easier to read so (Ab, not G#, two major thirds above C); the melody is spelled as the chord has it.
//
// It returns an error that names the chord if a melody note doesn't belong to its chord, a note leaves the keyboard, or no
// layout lies within reach.
func RealizePattern(p Pattern) (Sequence, error) {
	if p.Number < 2 || p.Number > maxChords || len(p.Plan) == 0 || len(p.Bass) == 0 {
		return Sequence{}, fmt.Errorf("chord: pattern: %d chords, %d moves of the bass, %d plans; wanted 2 to %d chords and at least one of the others", p.Number, len(p.Bass), len(p.Plan), maxChords)
	}
	basses := p.line(p.Start, p.Bass, p.Number, p.Fold)
	var melody []pitch.Pitch
	if p.HasMelody {
		melody = p.line(p.Melody, p.MelodyMoves, p.Number, false)
	}
	syms := make([]Symbol, p.Number)
	for i, bass := range basses {
		fail := func(why string) (Sequence, error) { return Sequence{}, p.failure(i, why) }
		var top *pitch.Pitch
		if melody != nil {
			top = &melody[i]
		}
		for _, q := range [...]*pitch.Pitch{&basses[i], top} {
			if q != nil && (q.MIDI() < lowestKey || q.MIDI() > highestKey) {
				return fail(fmt.Sprintf("it reaches %s, which is off the keyboard (A0 to C8)", q))
			}
		}
		if top != nil && top.MIDI() <= bass.MIDI() {
			return fail(fmt.Sprintf("the melody %s is not above the bass %s", top, bass))
		}
		plan := p.Plan[i%len(p.Plan)]
		sym, why := p.symbol(plan, bass, top)
		if why != "" {
			return fail(why)
		}
		if p.Mode == "" { // perhaps easier to read under its other name
			if other := pitch.FromMIDI(bass.MIDI(), bass.Alter > 0); other.Class() != bass.Class() {
				if s, why := p.symbol(plan, other, top); why == "" && clumsy(sym) && !clumsy(s) {
					basses[i], sym, bass = other, s, other
				}
			}
		}
		syms[i] = sym
	}
	return p.lead(basses, melody, syms)
}

// RealizeChords writes a row of chords for two hands, 2 to 64 of them, with the voices led as [RealizePattern] leads them: each
// bass lies near the one before it, between E2 and D4, the first between A2 and G#3.
//
// It returns an error that names the chord if there are too few or too many, or one can't be laid out within a tenth a hand.
func RealizeChords(syms []Symbol) (Sequence, error) {
	const lowest, highest = 40, 62
	p := Pattern{Number: len(syms), Reach: tenth}
	if p.Number < 2 || p.Number > maxChords {
		return Sequence{}, fmt.Errorf("chord: a row of %d chords; wanted 2 to %d", p.Number, maxChords)
	}
	var labels []string
	var basses []pitch.Pitch
	at := 51
	for i, s := range syms {
		labels = append(labels, s.House())
		c, _ := s.BassClass()
		if i == 0 {
			c0 := c.In(2)
			for c0.MIDI() < 45 {
				c0.Octave++
			}
			at = c0.MIDI()
		}
		best, cost := pitch.Pitch{}, -1
		for o := 1; o <= 5; o++ {
			q := c.In(o)
			n := 5*abs(q.MIDI()-at) + 2*abs(q.MIDI()-48) // near the one before, and drawn to C3, so that it doesn't climb away
			if q.MIDI() >= lowest && q.MIDI() <= highest && (cost < 0 || n < cost) {
				best, cost = q, n
			}
		}
		basses, at = append(basses, best), best.MIDI()
	}
	p.Text = strings.Join(labels, " ")
	return p.lead(basses, nil, syms)
}

func (p *Pattern) failure(i int, why string) error {
	return fmt.Errorf("chord: pattern %q, chord %d of %d: %s", p.Text, i+1, p.Number, why)
}

// lead lays syms out over basses and under melody, nil if the top is free, so that the whole moves least.
func (p *Pattern) lead(basses, melody []pitch.Pitch, syms []Symbol) (Sequence, error) {
	seq := Sequence{Chords: make([]Voicing, p.Number)}
	layouts := make([][]texture, p.Number)
	for i, bass := range basses {
		var top *pitch.Pitch
		if melody != nil {
			top = &melody[i]
		}
		var next *Symbol
		if i+1 < len(syms) {
			next = &syms[i+1]
		}
		if layouts[i] = p.layouts(syms[i], next, bass, top); len(layouts[i]) == 0 {
			return Sequence{}, p.failure(i, fmt.Sprintf("no layout of %s over %s lies within %s a hand", syms[i].House(), bass, reachWords(p.Reach)))
		}
	}
	// The cheapest way through the layouts, chord by chord.
	type node struct {
		cost float64
		from int
	}
	ways := make([][]node, p.Number)
	for i := range layouts {
		ways[i] = make([]node, len(layouts[i]))
		for k := range layouts[i] {
			l := &layouts[i][k]
			if i == 0 {
				ways[i][k].cost = l.cost
				if melody == nil { // a top voice about C5
					ways[i][k].cost += 0.3 * float64(abs(l.upper[len(l.upper)-1]-72))
				}
				continue
			}
			best, at := -1.0, 0
			for j := range layouts[i-1] {
				if c := ways[i-1][j].cost + motion(&layouts[i-1][j], l, basses[i-1].MIDI(), basses[i].MIDI(), melody != nil); best < 0 || c < best {
					best, at = c, j
				}
			}
			ways[i][k] = node{best + l.cost, at}
		}
	}
	at := 0
	last := ways[p.Number-1]
	for k := range last {
		if last[k].cost < last[at].cost {
			at = k
		}
	}
	for i := p.Number - 1; i >= 0; i-- {
		l := layouts[i][at]
		v := Voicing{Left: []pitch.Pitch{basses[i]}, Text: syms[i].House()}
		for k, n := range l.upper {
			q := l.names[k].In(n/12 - 1)
			for q.MIDI() < n {
				q.Octave++
			}
			for q.MIDI() > n {
				q.Octave--
			}
			if k < l.split {
				v.Left = append(v.Left, q)
			} else {
				v.Right = append(v.Right, q)
			}
		}
		seq.Chords[i] = v
		at = ways[i][at].from
	}
	labels := make([]string, p.Number)
	for i, s := range syms {
		labels[i] = s.House()
	}
	seq.Text = countWord(p.Number) + " chords: " + strings.Join(labels, " ")
	return seq, nil
}

// clumsy reports whether spelling s takes double accidentals or names like E# and Cb.
func clumsy(s Symbol) bool {
	return slices.ContainsFunc(s.Spell(), func(c pitch.Class) bool {
		return c.Alter > 1 || c.Alter < -1 || c.Alter != 0 && c.IsWhite()
	})
}

func abs(n int) int { return max(n, -n) }

func reachWords(semitones int) string {
	for n := 2; n <= 15; n++ {
		if (degree{num: int8(n)}).interval().Semitones == semitones {
			return an(pitch.NumberWord(n))
		}
	}
	return countWord(semitones) + " semitones"
}

// layouts lists the ways to write sym, with next after it, between bass and top, or up to A5 if top is nil, within reach.
func (p *Pattern) layouts(sym Symbol, next *Symbol, bass pitch.Pitch, top *pitch.Pitch) []texture {
	members := sym.Spell()
	low := members[max(sym.Inversion, 0)%len(members)]
	if sym.Inversion <= 0 && sym.HasBass {
		low = sym.Bass
	}
	// What the upper voices have to sound: everything but the bass note; and the same with the root doubled instead of the
	// fifth. A triad has the root doubled anyway.
	var need [][]pitch.Class
	var extra []float64
	rest := slices.DeleteFunc(slices.Clone(members), func(c pitch.Class) bool { return c == low })
	fifth := slices.IndexFunc(sym.Type.Roles, func(r string) bool { return r == "fifth" })
	switch {
	case len(members) == 3:
		prices := sym.doublings(members, low, next)
		for i, c := range members { // any member doubled
			need, extra = append(need, append(slices.Clone(rest), c)), append(extra, prices[i])
		}
		need, extra = append(need, rest), append(extra, 12) // or none
	default:
		need, extra = append(need, rest), append(extra, 0)
		if fifth > 0 && members[fifth] != low && slices.Contains(sym.Type.Omittable, "fifth") {
			short := slices.DeleteFunc(slices.Clone(rest), func(c pitch.Class) bool { return c == members[fifth] })
			need, extra = append(need, append(short, members[0])), append(extra, 1)
		}
	}
	pulling := pulls(sym, next)
	for w, classes := range need {
		for _, pl := range pulling {
			n := 0
			for _, c := range append(slices.Clone(classes), low) {
				if c == pl.class {
					n++
				}
			}
			if n > 1 {
				extra[w] += pl.isDoubled
			}
		}
	}
	var out []texture
	ceiling := max(81, bass.MIDI()+24) // A5, or two octaves above a high bass
	if top != nil {
		ceiling = top.MIDI()
	}
	for w, classes := range need {
		if top != nil {
			at := slices.IndexFunc(classes, top.Class().Enharmonic)
			if at < 0 {
				continue
			}
		}
		places := make([]int, 0, 6)
		names := make([]pitch.Class, 0, 6)
		var lay func(i int)
		lay = func(i int) {
			if len(out) >= 5000 {
				return
			}
			if i == len(classes) {
				if t, ok := p.texture(bass.MIDI(), places, names, top); ok {
					t.cost += extra[w]
					t.low = -1
					t.mild = sym.Type.ID == "Ger6"
					t.pulls = make([]pull, len(t.names))
					for k, c := range t.names {
						if at := slices.IndexFunc(pulling, func(pl pull) bool { return pl.class == c }); at >= 0 {
							t.pulls[k] = pulling[at]
						}
					}
					if seventh := slices.Index(sym.Type.Roles, "seventh"); seventh > 0 {
						t.low = slices.Index(t.names, members[seventh])
					}
					out = append(out, t)
				}
				return
			}
			for n := bass.MIDI() + 1; n <= ceiling; n++ {
				if n%12 == classes[i].PC() && !slices.Contains(places, n) {
					places, names = append(places, n), append(names, classes[i])
					lay(i + 1)
					places, names = places[:len(places)-1], names[:len(names)-1]
				}
			}
		}
		lay(0)
	}
	// The plainest are enough to choose from.
	slices.SortStableFunc(out, func(a, b texture) int { return cmp.Compare(a.cost, b.cost) })
	return out[:min(len(out), 160)]
}

// texture puts upper voices in order and gives them to the hands; ok is false if they are out of reach or leave the melody.
func (p *Pattern) texture(bass int, places []int, names []pitch.Class, top *pitch.Pitch) (t texture, ok bool) {
	order := make([]int, len(places))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return places[a] - places[b] })
	for _, i := range order {
		t.upper, t.names = append(t.upper, places[i]), append(t.names, names[i])
	}
	n := len(t.upper)
	if top != nil && t.upper[n-1] != top.MIDI() {
		return t, false
	}
	for t.split = 0; t.split < n && t.upper[n-1]-t.upper[t.split] > p.Reach; t.split++ {
	}
	if t.split > 0 && t.upper[t.split-1]-bass > p.Reach {
		return t, false
	}
	for i, u := range t.upper {
		below := bass
		if i > 0 {
			below = t.upper[i-1]
		}
		gap := u - below
		switch {
		case i > 0 && gap > 12, i == 0 && gap > 24: // a hole among the upper voices
			t.cost += 4 + 0.5*float64(gap-12)
		case below < middleFrom && gap < 7: // muddy
			t.cost += float64(7-gap) * 1.5
		case i > 0 && gap < 2:
			t.cost++
		}
	}
	return t, true
}

// motion prices the way from a to b: the semitones the voices move, notes that don't go where they pull, augmented seconds, and
// parallel fifths and octaves; the fifths from a German sixth to the dominant are let pass, as Mozart let them.
func motion(a, b *texture, bassA, bassB int, melody bool) float64 {
	n := min(len(a.upper), len(b.upper))
	cost := 60 * float64(abs(len(a.upper)-len(b.upper)))
	for i := range n {
		if melody && i == n-1 {
			break // the pattern says so
		}
		d := abs(b.upper[i] - a.upper[i])
		cost += float64(d)
		if d > 4 { // a leap
			cost += float64(d - 4)
		}
		if down := a.upper[i] - b.upper[i]; i == a.low && (down < 0 || down > 2) {
			cost += 8 // a seventh stays or falls
		}
		if to := a.pulls[i]; to.by != 0 && b.upper[i]-a.upper[i] != to.by {
			if i == n-1 {
				cost += to.top
			} else {
				cost += to.inner
			}
		}
		if step := abs(int(a.names[i].Letter) - int(b.names[i].Letter)); d == 3 && (step == 1 || step == 6) {
			cost += 10
		}
	}
	voice := func(t *texture, bass, i int) int {
		if i < 0 {
			return bass
		}
		return t.upper[i]
	}
	for i := -1; i < n; i++ {
		for j := i + 1; j < n; j++ {
			x, y := voice(a, bassA, i), voice(a, bassA, j)
			x2, y2 := voice(b, bassB, i), voice(b, bassB, j)
			if g := (y - x) % 12; (g == 0 || g == 7) && (y2-x2)%12 == g && x2 != x && (x2-x)*(y2-y) > 0 {
				if a.mild && i < 0 && g == 7 {
					cost += 1
				} else {
					cost += 40
				}
			}
		}
	}
	return cost
}
