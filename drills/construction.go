package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

// constructionCraft asks how a chord is built: by the distance of its neighbouring notes or, for the two sixths, by what the
// sixth does.
type constructionCraft struct{}

// The labels of the drill.
const (
	stackedThirds    = "stacked thirds"
	stackedFourths   = "stacked fourths"
	stackedFifths    = "stacked fifths"
	addedSixth       = "added sixth"
	sixthForFifth    = "sixth in place of the fifth"
	chromaticCluster = "chromatic cluster"
	diatonicCluster  = "diatonic cluster"
)

var constructionLabels = []string{stackedThirds, stackedFourths, stackedFifths, addedSixth, sixthForFifth, chromaticCluster, diatonicCluster}

// constructionSaid are further names of the labels, in lower case. "Quartal", "quintal" and "tertian" are those of the
// handbooks (R. Hutchinson, Music Theory for the 21st-Century Classroom, chapter 32, from memory); the rest are shortenings
// of the label.
var constructionSaid = map[string][]string{
	stackedThirds:    {"thirds", "in thirds", "stacked in thirds", "built in thirds", "stack of thirds", "tertian", "tertian chord", "tertian stack"},
	stackedFourths:   {"fourths", "in fourths", "stacked in fourths", "built in fourths", "stack of fourths", "quartal", "quartal chord", "quartal stack"},
	stackedFifths:    {"fifths", "in fifths", "stacked in fifths", "built in fifths", "stack of fifths", "quintal", "quintal chord", "quintal stack"},
	addedSixth:       {"sixth", "sixth chord", "added sixth chord", "added sixth with the fifth", "added sixth with fifth", "sixth with the fifth", "with the fifth"},
	sixthForFifth:    {"sixth for fifth", "sixth for the fifth", "sixth instead of the fifth", "sixth instead of fifth", "sixth in place of fifth", "sixth replaces the fifth", "added sixth without the fifth", "added sixth without fifth", "sixth without the fifth", "sixth without fifth", "without the fifth"},
	chromaticCluster: {"chromatic", "semitone cluster", "cluster in semitones"},
	diatonicCluster:  {"diatonic", "scale cluster"},
}

var constructionLevels = []Level{
	{1, "three stacks", []string{stackedThirds, stackedFourths, stackedFifths}},
	{2, "stacks, added sixth, cluster", []string{stackedThirds, stackedFourths, stackedFifths, addedSixth, chromaticCluster}},
	{3, "all seven", constructionLabels},
}

func (constructionCraft) levels() []Level { return constructionLevels }
func (constructionCraft) prompt() string  { return "How is it built?" }

// A1 up to B5: the frame of a question is up to three octaves wide, and its lowest note has a little more than an octave.
func (constructionCraft) defaultRange() (low, high pitch.Pitch) {
	return pitch.Pitch{Letter: pitch.A, Octave: 1}, pitch.Pitch{Letter: pitch.B, Octave: 5}
}

func (constructionCraft) place(label string) int {
	if i := slices.Index(constructionLabels, label); i >= 0 {
		return i
	}
	return len(constructionLabels)
}

func (constructionCraft) canonical(name string) (string, bool) {
	name = strings.ToLower(strings.Join(strings.Fields(name), " "))
	for _, article := range []string{"a ", "an ", "the "} {
		name = strings.TrimPrefix(name, article)
	}
	for _, l := range constructionLabels {
		if name == l || slices.Contains(constructionSaid[l], name) {
			return l, true
		}
	}
	return "", false
}

func (c constructionCraft) read(text string, q Question) (string, How, error) {
	if l, ok := c.canonical(text); ok {
		if strings.EqualFold(text, l) {
			return l, Exact, nil
		}
		return l, Synonym, nil
	}
	lower := strings.ToLower(strings.Join(strings.Fields(text), " "))
	if strings.HasSuffix(lower, "cluster") && !strings.Contains(lower, " ") || lower == "tone cluster" || lower == "a cluster" {
		in := 0
		var one string
		for _, l := range []string{chromaticCluster, diatonicCluster} {
			if slices.Contains(q.Choices, l) {
				in, one = in+1, l
			}
		}
		if in == 1 {
			return one, Synonym, nil
		}
		return "", "", notUnderstood(q, text, "there are two kinds here: chromatic cluster (semitones only) and diatonic cluster (neighbours of a major scale)")
	}
	t, err := readType(text)
	if err != nil {
		return "", "", notUnderstood(q, text, "it names no construction")
	}
	// A chord label answers too, where it implies a construction.
	label := ""
	switch sixth := slices.ContainsFunc(t.Intervals, func(iv pitch.Interval) bool { return iv.Steps == 5 }); {
	case t.Family == "sixth" && sixth && slices.ContainsFunc(t.Intervals, func(iv pitch.Interval) bool { return iv.Steps == 4 }):
		label = addedSixth
	case t.Family == "sixth" && sixth:
		label = sixthForFifth
	case t.Family == "stacked fourths", t.Family == "stacked fifths":
		label = t.Family
	case t.ID == "cl-chr3", t.ID == "cl-chr4":
		label = chromaticCluster
	case t.ID == "cl-dia3":
		label = diatonicCluster
	case slices.Contains([]string{"triad", "seventh", "ninth", "eleventh", "thirteenth"}, t.Family):
		label = stackedThirds
		// C E A is A minor over C, and yet built otherwise: right about the notes, and not what was asked. And F#m7 said of a
		// B major triad is a stack of thirds, but no right answer to anything.
		if _, _, sounds := fits(t, q.Notes(), true); sounds != (q.Expected == stackedThirds) {
			return "", "", notUnderstood(q, text, "that names notes; asked is how they are built")
		}
	}
	if label == "" {
		return "", "", notUnderstood(q, text, fmt.Sprintf("%s says nothing about how the chord is built", article(t.Name())))
	}
	return label, Synonym, nil
}

func (constructionCraft) alsoTrue(string, Question) (How, string) { return "", "" }

var (
	thirdStacks = map[int][]string{3: {"maj", "min", "dim", "aug"}, 4: {"maj7", "dom7", "min7", "hdim7", "minmaj7", "dim7"}, 5: {"9", "maj9", "m9"}}
	// Neighbours of a major scale with a whole tone among them; three whole tones in a row would be a whole-tone cluster.
	diatonicSteps = map[int][][]int{3: {{2, 2}, {2, 1}, {1, 2}}, 4: {{2, 2, 1}, {2, 1, 2}, {1, 2, 2}}, 5: {{2, 2, 1, 2}, {2, 1, 2, 2}, {1, 2, 2, 2}, {2, 2, 2, 1}}}
)

// build returns a construction of n notes as intervals above its lowest note, low to high; nil if it has none of n notes.
func build(r *rand.Rand, label string, n int) []pitch.Interval {
	stack := func(step pitch.Interval) []pitch.Interval {
		out := make([]pitch.Interval, n)
		for i := 1; i < n; i++ {
			out[i] = out[i-1].Plus(step)
		}
		return out
	}
	up := func(iv pitch.Interval, octaves int) pitch.Interval {
		return pitch.Interval{Steps: iv.Steps + 7*octaves, Semitones: iv.Semitones + 12*octaves}
	}
	switch {
	case n < 3:
		return nil
	case label == stackedFourths && n <= 6:
		return stack(pitch.PerfectFourth)
	case label == stackedFifths && n <= 5:
		return stack(pitch.PerfectFifth)
	case label == stackedThirds && thirdStacks[n] != nil:
		ids := thirdStacks[n]
		t, _ := chord.TypeByID(ids[r.IntN(len(ids))])
		return slices.Clone(t.Intervals)
	case label == addedSixth && n == 4:
		// The sixths are free in their spacing: each upper note in the first or the second octave.
		out := []pitch.Interval{pitch.Unison, up(pitch.MajorThird, r.IntN(2)), up(pitch.PerfectFifth, r.IntN(2)), up(pitch.MajorSixth, r.IntN(2))}
		slices.SortFunc(out, func(a, b pitch.Interval) int { return a.Semitones - b.Semitones })
		return out
	case label == sixthForFifth && (n == 3 || n == 4):
		out := []pitch.Interval{pitch.Unison, up(pitch.MajorThird, r.IntN(2)), up(pitch.MajorSixth, r.IntN(2))}
		if n == 4 {
			out = append(out, pitch.Octave)
		}
		slices.SortFunc(out, func(a, b pitch.Interval) int { return a.Semitones - b.Semitones })
		return out
	case label == chromaticCluster && n <= 6:
		// C Db D Eb E F: each letter natural or lowered, as chromatic clusters are mostly written.
		return []pitch.Interval{pitch.Unison, pitch.MinorSecond, pitch.MajorSecond, pitch.MinorThird, pitch.MajorThird, pitch.PerfectFourth}[:n:n]
	case label == diatonicCluster && diatonicSteps[n] != nil:
		steps := diatonicSteps[n][r.IntN(len(diatonicSteps[n]))]
		out := make([]pitch.Interval, n)
		for i, s := range steps {
			out[i+1] = out[i].Plus(pitch.Interval{Steps: 1, Semitones: s})
		}
		return out
	}
	return nil
}

// constructionPlan sounds four notes and their bass doubled below.
type constructionPlan struct{ low, high int }

const (
	coreNotes = 4
	leastSpan = 24 // of the whole: two octaves …
	needSpan  = 35 // … up to less than three, which every label has a way to keep,
	mostSpan  = 41 // … or three and a half where the range has room
)

func (constructionCraft) planner(s Settings, labels []string) (planner, error) {
	p := &constructionPlan{s.Low.MIDI(), s.High.MIDI()}
	if p.high-p.low < needSpan {
		return nil, badSetting("range", "range %s to %s is too narrow: five notes are spread over up to three octaves here", s.Low, s.High)
	}
	return p, nil
}

func (p *constructionPlan) fill(r *rand.Rand, q *Question) {
	lowest := q.draw(r, p.low, p.high-needSpan) // before the label is looked at
	most := min(mostSpan, p.high-lowest)
	core := build(r, q.Expected, coreNotes)
	own := core[len(core)-1].Semitones
	// A doubling of the bass, in whole octaves below, that brings the whole between the two spans: narrow constructions lie now
	// below wide ones, now above.
	below := (most - own) / 12 * 12
	if below-12 >= 12 && below-12+own >= leastSpan && r.IntN(2) == 0 {
		below -= 12
	}
	q.Root = plainly(r, lowest%12, core)
	ns := []pitch.Pitch{at(q.Root, lowest)}
	for _, iv := range core {
		ns = append(ns, at(q.Root, lowest+below).Add(iv))
	}
	q.Left, q.Right = split(ns)
}

// instead builds label on the same lowest notes, in as many notes.
func (constructionCraft) instead(label string, q Question) (left, right []pitch.Pitch) {
	r := rand.New(rand.NewPCG(1, uint64(q.Number))) // the same comparison each time it is asked for
	ns := q.Notes()
	if len(ns) == 0 {
		return nil, nil
	}
	doubled := 0 // notes that only double the lowest below the rest
	for doubled+1 < len(ns) && ns[doubled+1].Class() == ns[0].Class() && len(ns)-doubled > coreNotes {
		doubled++
	}
	core := ns[doubled:]
	above := build(r, label, len(core))
	if above == nil {
		if above = build(r, label, 4); above == nil {
			above = build(r, label, 3)
		}
	}
	if above == nil {
		return nil, nil
	}
	root := plainly(r, core[0].PC(), above)
	if ivs := above; !slices.ContainsFunc(ivs, func(iv pitch.Interval) bool { a := core[0].Class().Add(iv).Alter; return a > 2 || a < -2 }) {
		root = core[0].Class()
	}
	out := slices.Clone(ns[:doubled])
	for _, iv := range above {
		out = append(out, at(root, core[0].MIDI()).Add(iv))
	}
	if len(q.Left) == 0 {
		return nil, out
	}
	if len(q.Right) == 0 {
		return out, nil
	}
	return split(out)
}

// builtHow says how a label is built, for the ear.
var builtHow = map[string]string{
	stackedThirds:    "each note a third above the last, close and full, with a third and a fifth over the bass",
	stackedFourths:   "each note a fourth above the last, with no fifth over the bass to rest on",
	stackedFifths:    "each note a fifth above the last, the widest of the stacks, at rest on its lowest fifth",
	addedSixth:       "a triad with its fifth, and a sixth that rubs a whole tone against it",
	sixthForFifth:    "root, third and sixth: the fifth is not there, so nothing rubs against the sixth",
	chromaticCluster: "neighbouring semitones",
	diatonicCluster:  "neighbours of a major scale, whole tones and a semitone",
}

func (c constructionCraft) explain(q Question, g Graded) string {
	ns := q.Notes()
	was := fmt.Sprintf("%s on %s, %s: %s", q.Expected, ns[0].Class(), classNames(ns), builtHow[q.Expected])
	if g.Right {
		return "Right: " + was + "."
	}
	if g.Given == "" {
		return "It was " + was + "."
	}
	said := ""
	if l, r := c.instead(g.Given, q); len(l)+len(r) > 0 {
		said = fmt.Sprintf(" %s on the same note would be %s: %s.", upper(g.Given), classNames(Question{Left: l, Right: r}.Notes()), builtHow[g.Given])
	}
	return fmt.Sprintf("You said %s; this was %s.%s", g.Given, was, said)
}
