package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

// qualityCraft asks for the quality of a chord. A label is the house name of a row of the chord vocabulary.
type qualityCraft struct{}

// qualityDecks are the levels, by ids of the vocabulary. What comes when is common practice, no source; no level has more
// labels than there are digit keys, but the last, of which each question shows some.
var qualityDecks = [...]struct{ name, ids string }{
	{"major and minor triads", "maj min"},
	{"triads", "maj min dim aug"},
	{"triads and suspensions", "maj min dim aug sus4 sus2"},
	{"common sevenths", "dom7 maj7 min7 hdim7"},
	{"sevenths", "dom7 maj7 min7 hdim7 dim7 minmaj7 aug7 augmaj7 dom7b5"},
	{"sixths beside sevenths", "6 m6 addb6 dom7 maj7 min7 hdim7 7sus4"},
	{"added notes and ninths", "add9 madd9 69 m69 9 maj9 m9 mMaj9"},
	{"altered dominants", "9 7b9 7#9 9#5 9b5 7#5#9 7b5b9 7#11 9sus4"},
	{"all of them", "maj min dim aug sus4 sus2 dom7 maj7 min7 hdim7 dim7 minmaj7 aug7 augmaj7 dom7b5 7sus4 6 m6 addb6 69 m69 add9 madd9 9 maj9 m9 mMaj9 7b9 7#9 9#5 9b5 7#5#9 7b5b9 7#11 9sus4"},
}

var qualityLevels = sync.OnceValue(func() []Level {
	var out []Level
	for i, d := range qualityDecks {
		l := Level{Number: i + 1, Name: d.name}
		for id := range strings.FieldsSeq(d.ids) {
			t, ok := chord.TypeByID(id)
			if !ok {
				continue // the test of the levels fails if that happens
			}
			l.Labels = append(l.Labels, t.Name())
		}
		out = append(out, l)
	}
	return out
})

func (qualityCraft) levels() []Level { return qualityLevels() }
func (qualityCraft) prompt() string  { return "Which chord quality?" }

func (qualityCraft) defaultRange() (low, high pitch.Pitch) {
	return pitch.Pitch{Octave: 3}, pitch.Pitch{Octave: 6}
}

// askable reports whether t can be asked by its quality alone: not a stack or cluster, which are told by their spacing, and
// not a chord that needs a key.
func askable(t chord.Type) bool {
	if t.ID == "" || len(t.Intervals) < 3 {
		return false
	}
	switch t.Family {
	case "stacked fourths", "stacked fifths", "cluster", "special", "chromatic predominant", "chromatic":
		return false
	}
	return true
}

// labelTypes are the types that can be asked, by label. Of two rows of one name the first counts.
var labelTypes = sync.OnceValue(func() map[string]chord.Type {
	m := map[string]chord.Type{}
	for _, t := range chord.Types() {
		if _, taken := m[t.Name()]; !taken && askable(t) {
			m[t.Name()] = t
		}
	}
	return m
})

var qualityPlaces = sync.OnceValue(func() map[string]int {
	m := map[string]int{}
	for _, l := range qualityLevels()[len(qualityDecks)-1].Labels {
		m[l] = len(m)
	}
	for _, t := range chord.Types() {
		if _, ok := m[t.Name()]; !ok {
			m[t.Name()] = len(m)
		}
	}
	return m
})

func (qualityCraft) place(label string) int {
	if n, ok := qualityPlaces()[label]; ok {
		return n
	}
	return len(qualityPlaces())
}

func (qualityCraft) canonical(name string) (string, bool) {
	t, err := readType(name)
	if err != nil || !askable(t) {
		return "", false
	}
	return t.Name(), true
}

// readType reads a quality, or a whole chord label whose root and bass are then of no account.
func readType(text string) (chord.Type, error) {
	if t, ok := chord.TypeByName(text); ok {
		return t, nil
	}
	sym, err := chord.ParseLabel(text)
	if err == nil {
		return sym.Type, nil
	}
	// "am7": nobody reaches for the shift key in a drill.
	if text != "" && text[0] >= 'a' && text[0] <= 'g' {
		if sym, err := chord.ParseLabel(strings.ToUpper(text[:1]) + text[1:]); err == nil {
			return sym.Type, nil
		}
	}
	// "7(b9#11)" or "minor sevnth": on some root it is read, or something near it is known.
	if text == "" || strings.ContainsRune("b#x/", rune(text[0])) {
		return chord.Type{}, err
	}
	for _, root := range []string{"C", "C "} {
		on, e := chord.ParseLabel(root + text)
		if e == nil {
			return on.Type, nil
		}
		if le, ok := e.(*chord.LabelError); ok && le.Nearest != "" {
			if near := strings.TrimPrefix(le.Nearest, "C "); near != le.Nearest {
				err = &chord.LabelError{Text: text, Why: le.Why, Nearest: near}
			}
		}
	}
	return chord.Type{}, err
}

func (qualityCraft) read(text string, q Question) (string, How, error) {
	t, err := readType(text)
	if err != nil {
		why := "it is neither a chord label nor the name of a quality"
		if le, ok := err.(*chord.LabelError); ok && le.Nearest != "" {
			why += fmt.Sprintf("; did you mean %q?", le.Nearest)
		}
		return "", "", notUnderstood(q, text, why)
	}
	if t.Family == "chromatic predominant" || t.Family == "chromatic" {
		return "", "", notUnderstood(q, text, fmt.Sprintf("a %s is told by its key, and none is set up here; name the chord itself", t.Name()))
	}
	how := Synonym
	if strings.EqualFold(text, t.Name()) {
		how = Exact
	}
	return t.Name(), how, nil
}

// typeOf returns the type a label stands for. A typed answer may be a chord that the vocabulary puts together, such as
// "seven flat nine with added fourth"; then its name is read again.
func typeOf(label string) (chord.Type, bool) {
	if t, ok := labelTypes()[label]; ok {
		return t, true
	}
	if t, ok := chord.TypeByName(label); ok {
		return t, true
	}
	if sym, err := chord.ParseLabel("C " + label); err == nil {
		return sym.Type, true
	}
	return chord.Type{}, false
}

// alsoTrue compares by sound for the ear and by spelling for the eye.
func (qualityCraft) alsoTrue(label string, q Question) (How, string) {
	t, ok := typeOf(label)
	if !ok {
		return "", ""
	}
	ns := q.Notes()
	root, spelled, sounds := fits(t, ns, q.Inversions)
	want, _ := typeOf(q.Expected)
	switch {
	case spelled:
		return OtherReading, fmt.Sprintf("the same notes: %s is also %s", symbolOf(q.Root, want, ns), symbolOf(root, t, ns))
	case sounds && !q.Sight:
		return Enharmonic, fmt.Sprintf("by ear the same keys: %s sounds as %s", symbolOf(q.Root, want, ns), symbolOf(root, t, ns))
	case sounds:
		return "", fmt.Sprintf("by ear it would be right, but spelled %s it is %s", classNames(ns), article(q.Expected))
	}
	return "", ""
}

// fits looks for a root on which t has the notes as they are spelled or, failing that, as they sound. Unless inversions is
// set the root must be the lowest note. Players may have left out what they usually do.
func fits(t chord.Type, ns []pitch.Pitch, inversions bool) (root pitch.Class, spelled, sounds bool) {
	if len(ns) == 0 {
		return root, false, false
	}
	member := func(c pitch.Class) bool {
		return slices.ContainsFunc(ns, func(p pitch.Pitch) bool { return p.Class() == c })
	}
	heard := func(c pitch.Class) bool {
		return slices.ContainsFunc(ns, func(p pitch.Pitch) bool { return p.Class().Enharmonic(c) })
	}
	try := func(c pitch.Class, has func(pitch.Class) bool, same func(a, b pitch.Class) bool) bool {
		var spell []pitch.Class
		for i, iv := range t.Intervals {
			m := c.Add(iv)
			if has(m) {
				spell = append(spell, m)
			} else if !slices.Contains(t.Omittable, t.Roles[i]) {
				return false
			}
		}
		for _, p := range ns {
			if !slices.ContainsFunc(spell, func(m pitch.Class) bool { return same(m, p.Class()) }) {
				return false
			}
		}
		return true
	}
	roots := []pitch.Class{ns[0].Class()}
	if inversions {
		for _, p := range ns[1:] {
			roots = append(roots, p.Class())
		}
	}
	for _, c := range roots {
		if try(c, member, func(a, b pitch.Class) bool { return a == b }) {
			return c, true, true
		}
	}
	for _, c := range roots {
		if try(c, heard, pitch.Class.Enharmonic) {
			return c, false, true
		}
	}
	return root, false, false
}

// symbolOf writes a chord with its bass: "C7/E".
func symbolOf(root pitch.Class, t chord.Type, ns []pitch.Pitch) string {
	sym := chord.Symbol{Root: root, Type: t, Inversion: -1}
	if len(ns) > 0 && ns[0].Class() != root {
		sym.Bass, sym.HasBass = ns[0].Class(), true
	}
	return sym.House()
}

// classNames lists the names in ns once each, low to high: "C E G Bb".
func classNames(ns []pitch.Pitch) string {
	var out []string
	for _, p := range ns {
		if s := p.Class().String(); !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return strings.Join(out, " ")
}

// qualityPlan knows which shapes the labels of a drill have in common.
type qualityPlan struct {
	types     map[string]chord.Type
	low, high int // MIDI numbers that all notes lie between
	count     int // sounding notes
	spans     []shape
}

// A shape is a distance from the lowest to the highest note, with the members that may then be the bass, by label.
type shape struct {
	span   int
	basses map[string][]int
}

// minSpan and maxSpan bound the distance of the outer notes: an octave, into which every label fits, to two, so that a chord
// stays a chord.
const (
	minSpan = 12
	maxSpan = 24
)

// maxDoubled bounds the doublings that are asked for.
const maxDoubled = 3

func (qualityCraft) planner(s Settings, labels []string) (planner, error) {
	if s.MinSpan == 0 {
		s.MinSpan = minSpan
	}
	if s.MaxSpan == 0 {
		s.MaxSpan = maxSpan
	}
	if s.MinSpan < minSpan || s.MaxSpan > maxSpan || s.MinSpan > s.MaxSpan {
		return nil, badSetting("span", "outer notes %d to %d semitones apart; want %d to %d, the smaller first", s.MinSpan, s.MaxSpan, minSpan, maxSpan)
	}
	if s.Doubled < 0 || s.Doubled > maxDoubled {
		return nil, badSetting("doubled", "%d notes more; want 0 to %d", s.Doubled, maxDoubled)
	}
	p := &qualityPlan{types: map[string]chord.Type{}, low: s.Low.MIDI(), high: s.High.MIDI()}
	for _, l := range labels {
		t := labelTypes()[l]
		p.types[l] = t
		p.count = max(p.count, len(t.Intervals)+1+s.Doubled)
	}
	for span := s.MinSpan; span <= min(s.MaxSpan, p.high-p.low); span++ {
		sh := shape{span, map[string][]int{}}
		for _, l := range labels {
			for i, iv := range p.types[l].Intervals {
				if i > 0 && (!s.Inversions || iv.Semitones > 12) {
					continue
				}
				if _, ok := layOut(nil, p.types[l], i, span, p.count); ok {
					sh.basses[l] = append(sh.basses[l], i)
				}
			}
			if sh.basses[l] == nil {
				break
			}
		}
		if len(sh.basses) == len(labels) && !slices.ContainsFunc(labels, func(l string) bool { return sh.basses[l] == nil }) {
			p.spans = append(p.spans, sh)
		}
	}
	if len(p.spans) == 0 {
		return nil, badSetting("range", "range %s to %s is too narrow for %d notes without side clues; want at least two octaves", s.Low, s.High, p.count)
	}
	return p, nil
}

// layOut chooses count places in semitones above the bass, 0 and span among them, such that every member of t sounds; bass is
// the index of the member in the bass. ok is false if that can't be. Without r it only tells whether it can be.
func layOut(r *rand.Rand, t chord.Type, bass, span, count int) (places []int, ok bool) {
	member := func(place int) int {
		pc := (place + t.Intervals[bass].Semitones) % 12
		return slices.IndexFunc(t.Intervals, func(iv pitch.Interval) bool { return iv.Semitones%12 == pc })
	}
	top := member(span)
	if top < 0 {
		return nil, false
	}
	var inner []int
	for x := 1; x < span; x++ {
		if member(x) >= 0 {
			inner = append(inner, x)
		}
	}
	if len(inner)+2 < count {
		return nil, false
	}
	if r != nil {
		r.Shuffle(len(inner), func(i, j int) { inner[i], inner[j] = inner[j], inner[i] })
	}
	heard := make([]bool, len(t.Intervals))
	heard[bass], heard[top] = true, true
	places = []int{0, span}
	var doubles []int
	for _, x := range inner {
		if m := member(x); !heard[m] {
			heard[m] = true
			places = append(places, x)
		} else {
			doubles = append(doubles, x)
		}
	}
	if len(places) > count || slices.Contains(heard, false) {
		return nil, false
	}
	places = append(places, doubles[:count-len(places)]...)
	slices.Sort(places)
	return places, true
}

func (p *qualityPlan) fill(r *rand.Rand, q *Question) {
	// Span and lowest note are drawn before the label is looked at.
	sh := p.spans[r.IntN(len(p.spans))]
	lowest := q.draw(r, p.low, p.high-sh.span)
	t := p.types[q.Expected]
	bass := sh.basses[q.Expected][r.IntN(len(sh.basses[q.Expected]))]
	places, _ := layOut(r, t, bass, sh.span, p.count)
	q.Left, q.Right, q.Root = voiced(r, t, bass, lowest, places)
}

// voiced spells a chord whose member bass sounds as MIDI number lowest, with the other notes at places above it.
func voiced(r *rand.Rand, t chord.Type, bass, lowest int, places []int) (left, right []pitch.Pitch, root pitch.Class) {
	rootPC := ((lowest-t.Intervals[bass].Semitones)%12 + 12) % 12
	root = plainly(r, rootPC, t.Intervals)
	left, right = voicedOn(root, t, lowest, places)
	return left, right, root
}

// voicedOn does the same for a root that is known.
func voicedOn(root pitch.Class, t chord.Type, lowest int, places []int) (left, right []pitch.Pitch) {
	ns := make([]pitch.Pitch, len(places))
	for i, x := range places {
		for _, iv := range t.Intervals {
			if c := root.Add(iv); c.PC() == (lowest+x)%12 {
				ns[i] = at(c, lowest+x)
				break
			}
		}
	}
	return split(ns)
}
