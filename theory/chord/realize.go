package chord

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A Voicing is a chord as notes for two hands, each low to high.
type Voicing struct {
	Left, Right []pitch.Pitch
	Text        string // what it is, in words
}

// All returns the notes of both hands, low to high.
func (v Voicing) All() []pitch.Pitch { return distinct(slices.Concat(v.Left, v.Right)) }

// A SpecError says where and why a specification could not be realized.
type SpecError struct {
	Text   string
	Offset int // in bytes, in [0, len(Text)]
	Why    string
	Hint   string // something to try, "" if nothing comes to mind
}

func (e *SpecError) Error() string {
	s := fmt.Sprintf("chord: specification %q, offset %d: %s", e.Text, e.Offset, e.Why)
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// The keyboard, in MIDI numbers: A0 to C8.
const (
	lowestKey  = 21
	highestKey = 108
)

// tenth is as far as one hand is asked to reach, in semitones: a major tenth.
const tenth = 16

// Realize writes a specification as notes. It reads
//
//   - any label of [ParseLabel], with "close" (the rule) or "open", and "on" or "from" the pitch of the lowest note:
//     "F#m7(b5) first inversion, close", "C major, added sixth instead of the fifth", "Dm9 on D2, open";
//   - stacks: "five-note quartal on D3", "stacked fourths of 4 on E3", "stacked fifths of 3 on A2, augmented on top",
//     "stacked thirds of 4 on C3" (major and minor in turn), "stacked minor thirds of 4 on B3";
//   - clusters: "chromatic cluster of 4 on E4", also diatonic, white-key, black-key, whole-tone, pentatonic;
//   - two chords: "Eb7 over Fb major", "quintal left hand on G2 with quartal right hand on B3".
//
// A chord wider than a tenth is divided between the hands. It returns a *SpecError if the whole of spec is not understood, or
// if the notes leave the keyboard of 88 keys. Sequence patterns, as [IsPattern] tells them, are refused: [ParsePattern] reads them.
func Realize(spec string) (Voicing, error) {
	if len(spec) > maxLabel {
		return Voicing{}, &SpecError{Text: spec[:24] + "…", Why: fmt.Sprintf("it is %d bytes long; specifications have at most %d", len(spec), maxLabel)}
	}
	v, err := realize(spec, 0, len(spec))
	if err != nil {
		err.Text = spec
		if w := fold(strings.TrimSpace(spec)); strings.HasPrefix(w, "descending ") || strings.HasPrefix(w, "ascending ") {
			err.Hint = "a sequence of chords is written \"bass down a major third from C3\" or \"bass up by step from C3, in C major\""
		}
		return Voicing{}, err
	}
	for _, p := range v.All() {
		if n := p.MIDI(); n < lowestKey || n > highestKey {
			return Voicing{}, &SpecError{Text: spec, Why: fmt.Sprintf("it reaches %s, which is off the keyboard (A0 to C8)", p), Hint: "begin elsewhere or take fewer notes"}
		}
	}
	return v, nil
}

// realize reads spec[from:to].
func realize(spec string, from, to int) (Voicing, *SpecError) {
	if IsPattern(spec[from:to]) {
		return Voicing{}, &SpecError{Offset: from, Why: "it is a sequence of chords; wanted a single chord, stack or cluster"}
	}
	if l, r := indexAny(spec[from:to], "left hand"), indexAny(spec[from:to], "right hand"); l >= 0 || r >= 0 {
		return hands(spec, from, to)
	}
	if v, err, is := spacing(spec, from, to); is {
		return v, err
	}
	v, err := label(spec, from, to)
	if err == nil {
		return v, nil
	}
	if i := indexAny(spec[from:to], " over "); i >= 0 {
		if lower, err1 := place(spec, from+i+len(" over "), to, 36); err1 == nil {
			upper, err2 := place(spec, from, from+i, 60)
			if err2 != nil {
				return Voicing{}, err2
			}
			return Voicing{lower.notes, upper.notes, upper.text + " over " + lower.text}, nil
		}
	}
	return Voicing{}, err
}

// fold lowers the ASCII letters of s and leaves its length alone, so that offsets stay true.
func fold(s string) string {
	b := []byte(s)
	for i := range b {
		b[i] = lower(b[i])
	}
	return string(b)
}

// indexAny returns the offset of the first of words that occurs in s, in any case, -1 if none does.
func indexAny(s string, words ...string) int {
	low := fold(s)
	for _, w := range words {
		if i := strings.Index(low, w); i >= 0 {
			return i
		}
	}
	return -1
}

// hands reads two specifications, one for each hand.
func hands(spec string, from, to int) (Voicing, *SpecError) {
	type side struct {
		spec  string
		start int
	}
	var got [2]*side // left, right
	for at := from; at < to; {
		which, word := 0, "left hand"
		i := indexAny(spec[at:to], word)
		if r := indexAny(spec[at:to], "right hand"); r >= 0 && (i < 0 || r < i) {
			which, word, i = 1, "right hand", r
		}
		if i < 0 {
			return Voicing{}, &SpecError{Offset: at, Why: fmt.Sprintf("%q belongs to no hand; wanted \"left hand\" or \"right hand\"", spec[at:to])}
		}
		if got[which] != nil {
			return Voicing{}, &SpecError{Offset: at + i, Why: "the " + word + " is given twice"}
		}
		end := to
		for _, sep := range [...]string{" with ", " and ", ", ", "; "} {
			if j := indexAny(spec[at+i:to], sep); j >= 0 && at+i+j < end {
				end = at + i + j
			}
		}
		// The specification without the words "left hand", which stand between the chord and its place.
		got[which] = &side{strings.TrimSpace(spec[at:at+i]) + " " + strings.TrimSpace(spec[at+i+len(word):end]), at}
		at = end
		for _, sep := range [...]string{" with ", " and ", ", ", "; "} {
			if strings.HasPrefix(fold(spec[at:to]), sep) {
				at += len(sep)
			}
		}
		if strings.TrimSpace(spec[at:to]) == "" {
			break
		}
	}
	var v Voicing
	var texts []string
	for i, s := range got {
		if s == nil {
			continue
		}
		part, err := realize(s.spec, 0, len(s.spec))
		if err != nil {
			err.Offset = min(s.start+err.Offset, to)
			return Voicing{}, err
		}
		if i == 0 {
			v.Left = part.All()
			texts = append(texts, "left hand: "+part.Text)
		} else {
			v.Right = part.All()
			texts = append(texts, "right hand: "+part.Text)
		}
	}
	v.Text = strings.Join(texts, "; ")
	return v, nil
}

// count reads a number from 2 to 12, in digits or words.
func (p *labelParser) count() (n int, ok bool) {
	for n := 12; n >= 2; n-- {
		if p.phrase(fmt.Sprint(n), counts[n]) {
			return n, true
		}
	}
	return 0, false
}

// spacings are the words for what is defined by spacing.
var spacings = [...]struct {
	words string
	build func(bottom pitch.Pitch, n int) ([]pitch.Pitch, string)
}{
	{"quartal", pile("perfect fourths", pitch.PerfectFourth)},
	{"stacked fourths", pile("perfect fourths", pitch.PerfectFourth)},
	{"stacked perfect fourths", pile("perfect fourths", pitch.PerfectFourth)},
	{"quintal", pile("perfect fifths", pitch.PerfectFifth)},
	{"stacked fifths", pile("perfect fifths", pitch.PerfectFifth)},
	{"stacked perfect fifths", pile("perfect fifths", pitch.PerfectFifth)},
	{"stacked thirds", pile("thirds, major and minor in turn", pitch.MajorThird, pitch.MinorThird)},
	{"stacked major thirds", pile("major thirds", pitch.MajorThird)},
	{"stacked minor thirds", pile("minor thirds", pitch.MinorThird)},
	{"stacked seconds", pile("major seconds", pitch.MajorSecond)},
	{"chromatic cluster", chromatic},
	{"cluster", chromatic},
	{"whole-tone cluster", pile("whole tones", pitch.MajorSecond)},
	{"diatonic cluster", diatonic},
	{"white-key cluster", keys("white keys", pitch.Pitch.IsWhite)},
	{"black-key cluster", keys("black keys", func(p pitch.Pitch) bool { return !p.IsWhite() })},
	{"pentatonic cluster", pentatonic},
}

// pile returns a builder that stacks the intervals in turn.
func pile(words string, is ...pitch.Interval) func(pitch.Pitch, int) ([]pitch.Pitch, string) {
	return func(bottom pitch.Pitch, n int) ([]pitch.Pitch, string) {
		ns := []pitch.Pitch{bottom}
		for i := range n - 1 {
			ns = append(ns, ns[i].Add(is[i%len(is)]))
		}
		return ns, countWord(n) + " notes stacked in " + words + " from " + bottom.String()
	}
}

func chromatic(bottom pitch.Pitch, n int) ([]pitch.Pitch, string) {
	ns := []pitch.Pitch{bottom}
	for i := 1; i < n; i++ {
		ns = append(ns, pitch.FromMIDI(bottom.MIDI()+i, bottom.Alter < 0))
	}
	return ns, "chromatic cluster of " + countWord(n) + " notes on " + bottom.String()
}

// diatonic takes neighbours of the C major scale on a natural, of the major scale on the note itself otherwise.
func diatonic(bottom pitch.Pitch, n int) ([]pitch.Pitch, string) {
	ns := []pitch.Pitch{bottom}
	for i := 1; i < n; i++ {
		if bottom.Alter == 0 {
			step := bottom.Step() + i
			ns = append(ns, pitch.Pitch{Letter: pitch.Letter(step % 7), Octave: int8(step / 7)})
		} else {
			ns = append(ns, bottom.Add(degree{num: int8(i + 1)}.interval()))
		}
	}
	return ns, "diatonic cluster of " + countWord(n) + " notes on " + bottom.String()
}

// pentatonic takes neighbours of the scale 1 2 4 5 6 on the bottom note (cl-pent of chords.tsv).
func pentatonic(bottom pitch.Pitch, n int) ([]pitch.Pitch, string) {
	var ns []pitch.Pitch
	for i := range n {
		ns = append(ns, bottom.Add(degree{num: [5]int8{1, 2, 4, 5, 6}[i%5] + 7*int8(i/5)}.interval()))
	}
	return ns, "pentatonic cluster of " + countWord(n) + " notes on " + bottom.String()
}

// keys takes neighbouring keys of one colour; no notes if the bottom one has the other.
func keys(words string, is func(pitch.Pitch) bool) func(pitch.Pitch, int) ([]pitch.Pitch, string) {
	return func(bottom pitch.Pitch, n int) ([]pitch.Pitch, string) {
		if !is(bottom) {
			return nil, words
		}
		ns := []pitch.Pitch{bottom}
		for m := bottom.MIDI() + 1; len(ns) < n; m++ {
			if p := pitch.FromMIDI(m, bottom.Alter < 0); is(p) {
				ns = append(ns, p)
			}
		}
		return ns, countWord(n) + " neighbouring " + words + " from " + bottom.String()
	}
}

// pitch reads a pitch with its octave.
func (p *labelParser) pitch() (pitch.Pitch, error) {
	p.blanks()
	end := p.pos
	for end < len(p.text) && p.text[end] != ' ' && p.text[end] != ',' && p.text[end] != ';' {
		end++
	}
	q, err := pitch.Parse(p.text[p.pos:end])
	if err != nil {
		var pe *pitch.ParseError
		errors.As(err, &pe)
		return q, p.fail("found %s where a pitch belongs, as in E3: %s", p.found(), pe.Why)
	}
	p.pos = end
	return q, nil
}

// spacing reads a stack or cluster; is tells whether spec begins like one.
func spacing(spec string, from, to int) (v Voicing, err *SpecError, is bool) {
	text := spec[:to]
	fail := func(p *labelParser, format string, args ...any) (Voicing, *SpecError, bool) {
		return Voicing{}, &SpecError{Offset: p.pos, Why: fmt.Sprintf(format, args...), Hint: "as in \"stacked fourths of 4 on E3\""}, true
	}
	for _, start := range starts(text[from:]) {
		p := labelParser{text: text, pos: from + start}
		n, counted := 3, false
		if k, ok := p.count(); ok {
			n, counted = k, true
			p.lit("-")
			p.phrase("note", "notes", "part")
		}
		for _, sp := range spacings {
			if !p.phrase(sp.words) {
				continue
			}
			p.phrase("stack", "chord", "cluster")
			if !counted && strings.HasPrefix(sp.words, "pentatonic") {
				n = 5
			}
			if p.phrase("of") {
				k, ok := p.count()
				if !ok {
					return fail(&p, "found %s; wanted a number of notes from 2 to 12", p.found())
				}
				if counted && k != n {
					return fail(&p, "two numbers of notes: %d and %d", n, k)
				}
				n = k
				p.phrase("notes", "note")
			}
			if !p.phrase("on", "from", "above") {
				if p.blanks(); !counted && p.rest() != "" && !strings.Contains(p.rest(), " on ") {
					break // a name that begins like a stack
				}
				if strings.HasPrefix(p.rest(), "with") {
					break
				}
				return fail(&p, "found %s; wanted \"on\" and the lowest pitch", p.found())
			}
			bottom, e := p.pitch()
			if e != nil {
				if c, e2 := p.class(false); e2 == nil && strings.TrimSpace(p.rest()) == "" { // no octave: the one about middle C
					bottom = nearMiddle(c)
				} else {
					return fail(&p, "%s", e.(*LabelError).Why)
				}
			}
			ns, words := sp.build(bottom, n)
			if ns == nil {
				return fail(&p, "%s is not one of the %s", bottom, words)
			}
			for p.lit(",", " ") {
			}
			if p.rest() != "" {
				i, alter := 0, 0
				p.phrase("with")
				p.phrase("a", "an", "the")
				switch {
				case p.phrase("augmented"):
					alter = 1
				case p.phrase("diminished"):
					alter = -1
				}
				p.phrase("fourth", "fifth", "one")
				switch {
				case p.phrase("on top", "at the top"):
					i = n - 1
				case p.phrase("at the bottom", "below"):
					i = 1
				}
				if k, ok := p.count(); ok && i == 0 && alter == 0 && !counted { // "on C2, 5 notes"
					if p.phrase("notes", "note", "parts"); strings.TrimSpace(p.rest()) == "" {
						if ns, words = sp.build(bottom, k); ns == nil {
							return fail(&p, "%s is not one of the %s", bottom, words)
						}
						return divide(ns, words), nil, true
					}
				}
				if p.blanks(); p.rest() != "" || i == 0 || alter == 0 || strings.Contains(sp.words, "cluster") {
					return fail(&p, "found %s; wanted the end, or a change such as \"augmented on top\"", p.found())
				}
				for ; i < n; i++ {
					ns[i].Alter += int8(alter)
				}
				words += " (" + strings.SplitN(StackOf(ns).Text, ", ", 2)[1] + ")"
			}
			for i := 1; i < len(ns); i++ {
				if ns[i].Alter > 12 || ns[i].Alter < -12 || ns[i].MIDI() > highestKey {
					return fail(&p, "%d notes from %s leave the keyboard", n, bottom)
				}
			}
			return divide(ns, words), nil, true
		}
	}
	return Voicing{}, nil, false
}

// nearMiddle returns c in the octave from C3 to B3.
func nearMiddle(c pitch.Class) pitch.Pitch { return c.In(3) }

// divide gives notes, low to high, to the hands: to one if it reaches them, else the split that leaves both hands the smaller
// reach.
func divide(ns []pitch.Pitch, text string) Voicing {
	if len(ns) == 0 {
		return Voicing{Text: text}
	}
	span := func(ns []pitch.Pitch) int { return ns[len(ns)-1].MIDI() - ns[0].MIDI() }
	if span(ns) <= tenth {
		if ns[0].MIDI()+ns[len(ns)-1].MIDI() >= 2*59 {
			return Voicing{Right: ns, Text: text}
		}
		return Voicing{Left: ns, Text: text}
	}
	best := 1
	for i := 1; i < len(ns); i++ {
		if max(span(ns[:i]), span(ns[i:])) < max(span(ns[:best]), span(ns[best:])) {
			best = i
		}
	}
	return Voicing{Left: slices.Clone(ns[:best]), Right: slices.Clone(ns[best:]), Text: text}
}

// A placed chord is a label as notes before the hands share it.
type placed struct {
	notes []pitch.Pitch
	text  string
}

func label(spec string, from, to int) (Voicing, *SpecError) {
	c, err := place(spec, from, to, 48)
	if err != nil {
		return Voicing{}, err
	}
	return divide(c.notes, c.text), nil
}

// place reads a label with its position and puts its bass in the octave from the MIDI number low upwards, unless it says where.
func place(spec string, from, to, low int) (placed, *SpecError) {
	end, open := to, false
	var bottom *pitch.Pitch
	position := ""
	for again := true; again; {
		again = false
		end = from + len(strings.TrimRight(spec[from:end], " ,\t"))
		for _, o := range [...]string{"in close position", "close position", "close", "in open position", "open position", "open", "spread"} {
			if cut, ok := cutSuffixFold(spec[from:end], o); ok && position == "" {
				end, again = from+len(cut), true
				open = strings.Contains(o, "open") || o == "spread"
				position = ", close position"
				if open {
					position = ", open position"
				}
				break
			}
		}
		for _, w := range [...]string{" on ", " from "} {
			if i := strings.LastIndex(fold(spec[from:end]), w); i >= 0 && bottom == nil {
				if p, err := pitch.Parse(strings.TrimSpace(spec[from+i+len(w) : end])); err == nil {
					bottom, end, again = &p, from+i, true
					break
				}
			}
		}
	}
	text := spec[from:end]
	sym, err := ParseLabel(text)
	if err != nil && bottom != nil {
		// A name without root, as in "mystic chord on C3".
		if s, err2 := ParseLabel(text + " on " + bottom.Class().String()); err2 == nil {
			sym, err = s, nil
		}
	}
	if err != nil {
		var le *LabelError
		errors.As(err, &le)
		se := &SpecError{Offset: from + le.Offset, Why: le.Why}
		if le.Nearest != "" {
			se.Hint = fmt.Sprintf("nearest is %q", le.Nearest)
		}
		return placed{}, se
	}
	bass, _ := sym.BassClass()
	if bottom != nil && bottom.Class() != bass {
		return placed{}, &SpecError{Offset: end, Why: fmt.Sprintf("the lowest note is to be %s, but the bass of %s is %s", bottom, sym.House(), bass), Hint: "name the inversion, or another lowest note"}
	}
	if bottom == nil {
		p := bass.In(0)
		for p.MIDI() < low {
			p.Octave++
		}
		bottom = &p
	}
	return placed{sym.voice(*bottom, open), sym.inWords() + position}, nil
}

func cutSuffixFold(s, suffix string) (string, bool) {
	n := len(s) - len(suffix)
	if n > 0 && strings.EqualFold(s[n:], suffix) && (s[n-1] == ' ' || s[n-1] == ',') {
		return strings.TrimRight(s[:n], " ,"), true
	}
	return s, false
}

// inWords returns the label in words, as far as the vocabulary has them.
func (s Symbol) inWords() string {
	if bass, said := s.BassClass(); said && bass != s.Root {
		for _, iv := range s.Type.Intervals {
			if n := iv.Steps / 2; s.Root.Add(iv) == bass && iv.Steps%2 == 0 && n >= 1 && n <= 4 {
				return s.rootInWords() + " in " + ordinal(n) + " inversion"
			}
		}
		return s.rootInWords() + " over " + bass.String()
	}
	return s.rootInWords()
}

func (s Symbol) rootInWords() string {
	if len(s.Type.Symbols) == 0 || s.Type.Family == famAugSixth {
		return withChord(s.Type.Name()) + " on " + s.Root.String()
	}
	return s.Root.String() + " " + withChord(s.Type.Name())
}

// voice writes the chord upwards from bottom, the bass: in root position as its row is stacked, else each further member as
// close above the one before as it can be. Open position raises every second note from the bass by an octave.
func (s Symbol) voice(bottom pitch.Pitch, open bool) []pitch.Pitch {
	members := s.Spell()
	at := slices.Index(members, bottom.Class())
	ns := []pitch.Pitch{bottom}
	stack := at == 0
	if at < 0 { // a foreign bass
		at = 0
	} else {
		members = slices.Concat(members[at+1:], members[:at])
		at = 1
	}
	for i, c := range members {
		p := c.In(int(bottom.Octave))
		if stack {
			p = bottom.Add(s.Type.Intervals[i+at])
		}
		for p.Compare(ns[len(ns)-1]) <= 0 || p.MIDI() == ns[len(ns)-1].MIDI() {
			p.Octave++
		}
		ns = append(ns, p)
	}
	if open {
		for i := 1; i < len(ns); i += 2 {
			ns[i].Octave++
		}
		ns = distinct(ns)
	}
	return ns
}
