// Package drills asks questions for the ear and the eye, grades the answers, and says in a sentence what was heard against
// what was said.
//
// [New] makes a drill out of [Settings], [FromPassage] one about the sonorities of a passage; [Drill.Question] gives its
// n-th question, [Grade] judges an answer, [Explain] puts the difference in words and notes. The package is pure: it reads
// no clock, touches no terminal, no database and no sound.
//
// # Same seed, same questions
//
// Question n depends on the settings and n alone, not on what was asked before: a drill can be taken up anywhere, and asked
// again note for note.
//
// # No side clues for the ear
//
// Within a drill every label is equally likely, and what can be measured about a sound without hearing its harmony is drawn
// before the label is looked at, from one distribution for all labels. In a drill of chord qualities that is the number of
// sounding notes (doublings at the octave make it the same), the lowest note, and the distance from it to the highest (only
// distances that every label of the drill allows are used; an octave or two always are). What is left is the chord itself:
// the inner notes. In a drill of constructions the number of notes and the lowest note are treated so, and a doubling of the
// bass below, one octave or two or three, lets the heights of all labels overlap; how far the steps add up, octaves aside, is what
// is asked, and stays audible. Of an outer interval each end is drawn from an octave of its own, so that one end alone tells
// nothing. The path of a bass is the answer where a sequence is asked about, and stays audible too. The number of notes in each
// hand is always the same. Loudness is the business of the synthesizer, and length of whoever plays.
//
// What is left is the colour of the sound, and that is matched: a question is made several times over, and the one is asked
// whose colour, outer keys and weight of hands come nearest to a question about a label drawn by lot.
//
// A passage's own sonorities keep their own spacing, which is what is to be learned; there, half of the questions sound a
// near miss on the same notes instead (see [Settings.Foils]), so that the spacing doesn't tell the label.
//
// A key is set up, where one is asked about, by the same chords for all labels. Every question is drawn so that its register
// differs from that of the question before: the two can't be held against each other.
//
// # Choices
//
// Choices stand in a fixed order, easy to hard, and are not shuffled: a label then keeps its key, and the hand learns it.
// The order tells nothing, since the answer is drawn evenly.
package drills

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

// A Kind is a kind of drill.
type Kind string

// The kinds of drill.
const (
	Quality      Kind = "quality"      // which chord: minor seventh, dominant ninth …
	Construction Kind = "construction" // how it is built: stacked fourths, added sixth, cluster …
	Inversion    Kind = "inversion"    // which part is in the bass
	Top          Kind = "top"          // which part is on top
	Outer        Kind = "outer"        // the interval between the outer notes
	Changed      Kind = "changed"      // which note is added, missing or altered
	Function     Kind = "function"     // tonic, predominant or dominant in a key that is set up
	Tendency     Kind = "tendency"     // where a note wants to go
	Sequence     Kind = "sequence"     // the pattern of a bass
	Next         Kind = "next"         // what comes next in a sequence
	Cycle        Kind = "cycle"        // the period of outer intervals
	Semitone     Kind = "semitone"     // which line moves by semitone, and which way
	Lines        Kind = "lines"        // one line or two
	Rhythm       Kind = "rhythm"       // which rhythmic figure
	Same         Kind = "same"         // the same, or one note moved
	Chord        Kind = "chord"        // the whole chord, written
	Dictation    Kind = "dictation"    // the notes, written
)

// A trade is a kind of drill with what is known about it.
type trade struct {
	kind  Kind
	title string // "Chord quality"
	about string // for a list of kinds: "which chord it is: minor seventh, dominant ninth …"
	craft craft
}

// trades are the kinds of drill, in the order in which they are listed.
var trades = []trade{
	{Quality, "Chord quality", "which chord it is: minor seventh, dominant ninth …", qualityCraft{}},
	{Construction, "Construction", "how it is built: stacked fourths, added sixth, cluster …", constructionCraft{}},
	{Inversion, "Bass and inversion", "which part of the chord is in the bass", inversionCraft},
	{Top, "The top note", "which part of the chord is on top", topCraft},
	{Outer, "Outer interval", "the interval between the lowest and the highest note", outerCraft},
	{Changed, "What has changed", "which note is added, missing or altered", changedCraft},
	{Function, "Function", "tonic or dominant, after a key is set up", functionCraft},
	{Tendency, "Tendency notes", "where a note of a chord wants to go", tendencyCraft},
	{Sequence, "Bass pattern", "which pattern the bass of a sequence follows", sequenceCraft},
	{Next, "What comes next", "where a sequence that breaks off would go on", nextCraft},
	{Cycle, "Cycle of outer intervals", "after how many chords the outer intervals come back", cycleCraft},
	{Semitone, "The line that moves by semitone", "which line moves by semitone, and which way", semitoneCraft},
	{Lines, "One line or two", "whether a melody is one line or two lines in one", linesCraft},
	{Rhythm, "Rhythm", "which rhythmic figure was played", rhythmCraft},
	{Same, "Same or different", "whether one note has moved, and how small a move is heard", sameCraft},
	{Chord, "The whole chord", "the chord in full, typed: Am7/C", chordCraft},
	{Dictation, "Dictation", "the notes, typed or from a MIDI file", dictationCraft},
}

// Kinds returns the kinds of drill there are.
func Kinds() []Kind {
	out := make([]Kind, len(trades))
	for i, t := range trades {
		out[i] = t.kind
	}
	return out
}

// Title returns the name of a kind at the head of a drill, "Chord quality", and About what it asks, for a list of kinds. Both
// are empty if there is no such kind.
func (k Kind) Title() string { return k.trade().title }

// About: see Title.
func (k Kind) About() string { return k.trade().about }

// Sight reports whether a kind can be asked by the written notes too.
func (k Kind) Sight() bool {
	e, ok := k.trade().craft.(interface{ earOnly() bool })
	return k.trade().craft != nil && !(ok && e.earOnly())
}

func (k Kind) trade() trade {
	for _, t := range trades {
		if t.kind == k {
			return t
		}
	}
	if k == Cards {
		return trade{Cards, "Cards", "the cards of a deck", cardsCraft}
	}
	return trade{}
}

func craftOf(k Kind) (craft, bool) {
	c := k.trade().craft
	return c, c != nil
}

// A craft is what a kind of drill knows how to do. A new kind is a new craft.
type craft interface {
	levels() []Level
	// read understands a typed answer that is neither a number nor one of the choices.
	read(text string, q Question) (label string, how How, err error)
	// alsoTrue reports whether label, which is not the expected one, is true of q's notes all the same, and why.
	alsoTrue(label string, q Question) (how How, why string)
	// canonical returns the label meant by a name given in settings.
	canonical(name string) (string, bool)
	// place returns the place of a label in the order of choices.
	place(label string) int
	prompt() string
	// planner prepares the asking of labels.
	planner(s Settings, labels []string) (planner, error)
	// instead realizes label where q sounds another, in as many notes as can be.
	instead(label string, q Question) (left, right []pitch.Pitch)
	// explain says what was heard against what was said; given is "" if nothing was said.
	explain(q Question, g Graded) string
	defaultRange() (low, high pitch.Pitch)
}

// A planner puts what sounds into q, whose Number, Expected and Choices are set: all that can be measured without hearing
// the harmony is drawn before the label is looked at.
type planner interface {
	fill(r *rand.Rand, q *Question)
}

// MaxChoices is the largest number of choices: one for each digit key from 1 to 9.
const MaxChoices = 9

// passageChoices is how many choices a question about a passage has unless told otherwise.
const passageChoices = 4

// Settings say what is asked. The zero value with a Kind asks level 1 by ear.
type Settings struct {
	Kind       Kind        `json:"kind"`
	Seed       uint64      `json:"seed"`
	Level      int         `json:"level,omitempty"`   // 1 up to len(Levels(Kind)); 0 means 1, unless Labels says what is asked
	Labels     []string    `json:"labels,omitempty"`  // what is asked, by any of its names; takes the place of Level
	Choices    int         `json:"choices,omitempty"` // 2 to MaxChoices; 0 means all labels, or MaxChoices if there are more; 4 for a passage
	Sight      bool        `json:"sight,omitempty"`   // the notes are shown; spelling then counts
	Inversions bool        `json:"inversions,omitempty"`
	Low        pitch.Pitch `json:"-"` // no note lies below; Low and High both zero means the kind's own range
	High       pitch.Pitch `json:"-"` // no note lies above
	// Of chord qualities only:
	MinSpan int `json:"min_span,omitempty"` // semitones from the lowest note to the highest, at least; 12 to 24, 0 means 12
	MaxSpan int `json:"max_span,omitempty"` // at most; 0 means 24
	Doubled int `json:"doubled,omitempty"`  // notes more than usual, 0 to 3, all of them doublings
	// Of a passage only:
	NoTranspose bool    `json:"no_transpose,omitempty"`
	Foils       float64 `json:"foils,omitempty"` // the share of questions, 0 to 1, that sound a near miss of the passage's sonority
	// Where a smallest difference is looked for (see Staircase):
	Voices   int     `json:"voices,omitempty"`   // notes sounding together, 2 to 6; 0 means those of the level
	Position string  `json:"position,omitempty"` // where the moved note lies: "top", "bass", "inner"; "" means any
	Size     float64 `json:"size,omitempty"`     // how far it is moved, in cents; 0 means that of the level
}

// A Level is a stated set of labels; levels go from easy to hard.
type Level struct {
	Number int
	Name   string
	Labels []string
}

// Levels returns the levels of a kind, nil if there is no such kind.
func Levels(k Kind) []Level {
	c, ok := craftOf(k)
	if !ok {
		return nil
	}
	return c.levels()
}

// A SettingsError says which setting is wrong, what was found and what is wanted.
type SettingsError struct {
	Field string // "kind", "level", "labels", "choices", "range", "span", "doubled", "foils", "sight", "voices", "position", "size", "passage"
	Msg   string
}

func (e *SettingsError) Error() string { return "drills: " + e.Msg }

func badSetting(field, format string, a ...any) error {
	return &SettingsError{field, fmt.Sprintf(format, a...)}
}

// A Question is one thing to be heard or read, and named.
type Question struct {
	ID       string // of kind, seed and number: the same for the same question asked again
	Number   int    // from 1
	Kind     Kind
	Sight    bool
	Prompt   string   // with Shown at its end if Sight
	Shown    string   // by sight: the notes, as they are shown
	Choices  []string // labels; choice n is Choices[n-1]
	Expected string   // what is right: a label, one of Choices; where there are no choices, the answer in full
	Skill    string   // where there are no choices: the label that the question belongs to
	// What sounds, each hand low to high. The split is for listening to the low and the high notes apart.
	Left, Right []pitch.Pitch
	// What sounds in time, where it is more than one chord; Left and Right are then the chord asked about, if there is one.
	Music []Note
	Tempo float64 // of Music, in quarter notes a minute; 0 means 60
	From  string  // of a passage: where, and how it was changed: "bar 3 beat 2, a minor third lower"

	Root       pitch.Class // the root of a chord, the lowest note of a stack or cluster
	Inversions bool        // any member may be the lowest note, so labels that differ by it alone can't be told apart

	seed  uint64
	touch [2]float64                  // of the left and the right hand, by score.Hand&1
	about string                      // what the craft remembers of it, for the explanation
	again func(label string) Question // the same question with another label
	told  []Note                      // what is played to explain it, where that is more, or less, than the question
	like  *likeness                   // the chord it is about; on a question made again, that of the question before
}

// A likeness is a chord to be kept where only its layout is to differ.
type likeness struct {
	root   pitch.Class
	t      chord.Type
	lowest int // MIDI number
	minor  bool
	chord  []Note
	note   pitch.Pitch
}

// Notes returns the notes of the chord that q is about, low to high; if it is about none, all of its notes in order of time.
func (q Question) Notes() []pitch.Pitch {
	if len(q.Left)+len(q.Right) == 0 {
		var ns []pitch.Pitch
		for _, n := range q.Music {
			if !n.Soft {
				ns = append(ns, n.Pitch)
			}
		}
		return ns
	}
	ns := append(slices.Clone(q.Left), q.Right...)
	slices.SortFunc(ns, pitch.Pitch.Compare)
	return ns
}

// A Drill is an endless row of questions. It is not changed by asking and may be shared.
type Drill struct {
	set    Settings
	craft  craft
	labels []string // asked, in the order of choices
	plan   planner  // nil for a passage
	items  []item   // of a passage
	byName [][]int  // of a passage: the items of each label
}

// New returns the drill that s describes. It returns a *SettingsError if s can't be done.
func New(s Settings) (*Drill, error) {
	c, s, err := s.filled()
	if err != nil {
		return nil, err
	}
	d := &Drill{set: s, craft: c}
	if d.labels, err = s.labels(c); err != nil {
		return nil, err
	}
	if len(d.labels) == 0 {
		levels := c.levels()
		if s.Level < 0 || s.Level > len(levels) {
			return nil, badSetting("level", "level %d; %s has levels 1 to %d", s.Level, s.Kind, len(levels))
		}
		d.set.Level = max(s.Level, 1)
		d.labels = levels[d.set.Level-1].Labels
	}
	if _, open := c.(grader); len(d.labels) < 2 && !open {
		return nil, badSetting("labels", "%q alone leaves nothing to tell apart; name at least two labels", d.labels[0])
	}
	if d.set.Choices == 0 {
		d.set.Choices = min(len(d.labels), MaxChoices)
	}
	if _, open := c.(grader); open {
		if s.Choices != 0 {
			return nil, badSetting("choices", "%d choices; the drill %q has none: answers are written", s.Choices, s.Kind)
		}
		d.set.Choices = 0
	}
	if d.set.Choices > len(d.labels) {
		return nil, badSetting("choices", "%d choices out of %d labels; want 2 to %d", s.Choices, len(d.labels), len(d.labels))
	}
	d.plan, err = c.planner(d.set, d.labels)
	if err != nil {
		return nil, err
	}
	return d, nil
}

// filled checks what can be checked without a passage and fills in the range.
func (s Settings) filled() (craft, Settings, error) {
	c, ok := craftOf(s.Kind)
	if !ok {
		var names []string
		for _, k := range Kinds() {
			names = append(names, fmt.Sprintf("%q", k))
		}
		return nil, s, badSetting("kind", "kind %q; want %s or %s", string(s.Kind), strings.Join(names[:len(names)-1], ", "), names[len(names)-1])
	}
	if s.Sight && !s.Kind.Sight() {
		return nil, s, badSetting("sight", "%q is for the ear only: written down, the answer would be there to read", s.Kind)
	}
	if s.Choices < 0 || s.Choices == 1 || s.Choices > MaxChoices {
		return nil, s, badSetting("choices", "%d choices; want 2 to %d", s.Choices, MaxChoices)
	}
	if !(s.Foils >= 0 && s.Foils <= 1) {
		return nil, s, badSetting("foils", "a share of %g near misses; want 0 to 1", s.Foils)
	}
	if (s.Low == pitch.Pitch{}) && (s.High == pitch.Pitch{}) {
		s.Low, s.High = c.defaultRange()
	}
	if s.Low.MIDI() < 21 || s.High.MIDI() > 108 || s.High.MIDI() <= s.Low.MIDI() {
		return nil, s, badSetting("range", "range %s to %s; want a range on the keyboard, A0 to C8, low note first", s.Low, s.High)
	}
	return c, s, nil
}

// labels returns the labels that s names, in the order of choices, each once.
func (s Settings) labels(c craft) ([]string, error) {
	var out []string
	for _, name := range s.Labels {
		label, ok := c.canonical(name)
		if !ok {
			return nil, badSetting("labels", "%q is no label of the drill %q; labels are, for instance, %s", name, s.Kind, quoted(c.levels()[len(c.levels())-1].Labels, 6))
		}
		if !slices.Contains(out, label) {
			out = append(out, label)
		}
	}
	inOrder(c, out)
	return out, nil
}

func inOrder(c craft, labels []string) {
	slices.SortFunc(labels, func(a, b string) int { return cmp.Or(cmp.Compare(c.place(a), c.place(b)), cmp.Compare(a, b)) })
}

// quoted lists up to n labels for a message.
func quoted(labels []string, n int) string {
	var qs []string
	for _, l := range labels[:min(n, len(labels))] {
		qs = append(qs, fmt.Sprintf("%q", l))
	}
	return strings.Join(qs, ", ")
}

// Settings returns what d asks, with defaults filled in.
func (d *Drill) Settings() Settings { return d.set }

// Labels returns the labels that may be right, in the order of choices.
func (d *Drill) Labels() []string {
	out := slices.Clone(d.labels)
	if d.set.Foils > 0 {
		for _, it := range d.items {
			for _, l := range it.foils {
				if !slices.Contains(out, l) {
					out = append(out, l)
				}
			}
		}
	}
	inOrder(d.craft, out)
	return out
}

// Question returns the n-th question of d, n from 1 on.
func (d *Drill) Question(n int) Question {
	r := d.random(n)
	if d.plan == nil {
		q := d.blank(n)
		d.askItem(r, &q)
		return d.finish(q)
	}
	return d.ask(n, r, r.IntN(len(d.labels)))
}

// QuestionOf returns question n with a given label, for whoever chooses what is asked next; what is drawn before the label is
// looked at is as in any question n. ok is false if label, by its own name, isn't asked here, or d is about a passage.
func (d *Drill) QuestionOf(n int, label string) (q Question, ok bool) {
	at := slices.Index(d.labels, label)
	if at < 0 || d.plan == nil {
		return Question{}, false
	}
	r := d.random(n)
	r.IntN(len(d.labels)) // the draw that Question makes
	return d.ask(n, r, at), true
}

// ask puts question n with the label at a place. The label first, then wrong choices evenly from the rest: each of the choices
// shown is equally likely to be right.
func (d *Drill) ask(n int, r *rand.Rand, at int) Question {
	q := d.blank(n)
	q.Expected = d.labels[at]
	_, open := d.craft.(grader)
	for _, i := range r.Perm(len(d.labels)) {
		if !open && i != at && len(q.Choices) < d.set.Choices-1 {
			q.Choices = append(q.Choices, d.labels[i])
		}
	}
	if !open {
		q.Choices = append(q.Choices, q.Expected)
	}
	inOrder(d.craft, q.Choices)
	from := q
	make := func(seed uint64, touch [2]float64, label string) Question {
		q := from
		q.Expected, q.touch = label, touch
		d.plan.fill(rand.New(rand.NewPCG(seed, uint64(n))), &q)
		return q
	}
	seed, touch := d.matched(r, make, q.Expected)
	fill := func(label string) Question { return make(seed, touch, label) }
	if q = d.finish(fill(q.Expected)); open {
		return q
	}
	q.again = func(label string) Question {
		if !slices.Contains(d.labels, label) {
			return Question{}
		}
		from.like = q.like
		return fill(label)
	}
	return q
}

// blank is question n before anything is asked. How strongly each hand strikes is drawn here, before any label is looked at:
// the balance of low and high notes and the brightness that comes with strength then tell nothing.
func (d *Drill) blank(n int) Question {
	r := d.random(-n)
	return Question{touch: [2]float64{randomTouch(r), randomTouch(r)}, ID: fmt.Sprintf("%s-%d-%d", d.set.Kind, d.set.Seed, n), Number: n, Kind: d.set.Kind, Sight: d.set.Sight, Inversions: d.set.Inversions, seed: d.set.Seed}
}

// finish writes the prompt.
func (d *Drill) finish(q Question) Question {
	inOrder(d.craft, q.Choices)
	if q.Prompt == "" {
		q.Prompt = d.craft.prompt()
	}
	if q.Sight {
		if q.Shown == "" {
			if q.Shown = Hands(q.Left, q.Right); len(q.Music) > 0 {
				q.Shown = Shown(q.Music)
			}
		}
		q.Prompt += " " + q.Shown
	}
	return q
}

// draw returns a whole number from low to high, both included, whose parity goes with the question's number: of two questions
// that follow each other, what is drawn so is never the same, nor an octave apart.
func (q *Question) draw(r *rand.Rand, low, high int) int {
	if low >= high {
		return low
	}
	want := (q.Number + int(q.seed&1)) & 1
	if low&1 != want {
		low++
	}
	return low + 2*r.IntN((high-low)/2+1)
}

// random returns the source of question n. Seed and number are mixed first (SplitMix64; G. Steele, D. Lea & C. Flood, Fast
// Splittable Pseudorandom Number Generators, OOPSLA 2014; constants from memory), since neighbouring numbers must not give
// neighbouring states.
func (d *Drill) random(n int) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(d.set.Kind))
	mix := func(z uint64) uint64 {
		z += 0x9e3779b97f4a7c15
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		return z ^ z>>31
	}
	a := mix(d.set.Seed ^ h.Sum64())
	return rand.New(rand.NewPCG(a, mix(a^uint64(n))))
}

// Hands writes the notes of two hands: "left hand C3 G3, right hand E4 B4".
func Hands(left, right []pitch.Pitch) string {
	var parts []string
	for _, h := range []struct {
		name  string
		notes []pitch.Pitch
	}{{"left hand ", left}, {"right hand ", right}} {
		if len(h.notes) > 0 {
			parts = append(parts, h.name+names(h.notes))
		}
	}
	return strings.Join(parts, ", ")
}

func names(ns []pitch.Pitch) string {
	var b strings.Builder
	for i, n := range ns {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(n.String())
	}
	return b.String()
}

// plainly returns the class with pitch-class number pc for which the intervals above it are spelled with the fewest signs;
// r decides between equals, such as F# and Gb.
func plainly(r *rand.Rand, pc int, above []pitch.Interval) pitch.Class {
	var best []pitch.Class
	least := 1 << 30
	for n := -10; n <= 12; n++ { // from Ebb to B#
		c := pitch.ClassOfFifths(n)
		if c.PC() != pc {
			continue
		}
		signs := 0
		for _, iv := range above {
			a := int(c.Add(iv).Alter)
			signs += a * a // a double sign is worse than two signs
		}
		switch {
		case signs < least:
			best, least = []pitch.Class{c}, signs
		case signs == least:
			best = append(best, c)
		}
	}
	return best[r.IntN(len(best))]
}

// at returns the pitch of class c that sounds as MIDI number n, which must be of its pitch class.
func at(c pitch.Class, n int) pitch.Pitch { return c.In(4 + (n-c.In(4).MIDI())/12) }

// near returns the pitch of class c nearest to p, the lower one of two.
func near(c pitch.Class, p pitch.Pitch) pitch.Pitch {
	up := ((c.PC()-p.PC())%12 + 12) % 12
	if up >= 6 {
		up -= 12
	}
	return at(c, p.MIDI()+up)
}

// split gives the lower half of ns (low to high) to the left hand; of an odd number the right hand has one more.
func split(ns []pitch.Pitch) (left, right []pitch.Pitch) {
	slices.SortFunc(ns, pitch.Pitch.Compare)
	h := len(ns) / 2
	return slices.Clone(ns[:h]), slices.Clone(ns[h:])
}
