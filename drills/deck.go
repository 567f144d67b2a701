package drills

import (
	"bufio"
	"cmp"
	_ "embed"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Deck is a row of steps, easy to hard, to be shared as a small text file (see DeckHelp).
type Deck struct {
	Name  string // of a ready-made one: "first-chords"
	Title string
	About string
	Steps []Step
}

// A Step is one drill of a deck.
type Step struct {
	Name      string
	Settings  Settings // the Seed is whoever asks'
	Questions int      // how many make a sitting; 0 leaves it to whoever asks
	Pass      int      // how many of PassOf have to be right before the next step
	PassOf    int      // 0 means that nothing is said
	Passage   string   // a file with a passage that is asked about, as the deck names it
	At        string   // the place in it, as a claims file names one
	Cards     []Card   // what is asked, if it is neither made up nor looked for in a passage
}

// A Card is something to be heard and the label that is right. Music may be one chord or several, one after the other.
type Card struct {
	Chords [][2][]pitch.Pitch // left and right hand
	Label  string
	Wrong  []string // what else it could be taken for, the nearest first; empty means any other label of the step
}

// DeckHelp is the page about the format of a deck.
//
//go:embed deck.txt
var DeckHelp string

// A DeckError says where in a deck what can't be understood. Line and Column count from 1.
type DeckError struct {
	File         string
	Line, Column int
	Msg          string
	Text         string // the line
}

func (e *DeckError) Error() string {
	return fmt.Sprintf("drills: %s:%d:%d: %s", e.File, e.Line, e.Column, e.Msg)
}

// Detail shows the line and points to the column.
func (e *DeckError) Detail() string {
	pad := strings.Map(func(c rune) rune {
		if c == '\t' {
			return c
		}
		return ' '
	}, e.Text[:min(max(e.Column-1, 0), len(e.Text))])
	return e.Text + "\n" + pad + "^"
}

// Bounds of a deck, so that no file can eat the memory.
const (
	maxDeckBytes = 1 << 20
	maxSteps     = 200
	maxCards     = 5000
	maxChords    = 64
)

// deckKeys are the keys of a deck and of its steps.
var deckKeys = []string{"deck", "about", "step", "kind", "level", "ask", "by", "choices", "range", "inversions", "questions", "pass", "voices", "position", "size", "passage", "at", "transpose", "near misses", "card"}

// ReadDeck reads a deck; name stands in messages. Every step is tried, so that a deck that is read can be asked, but for
// passages that aren't looked into. It returns a *DeckError, or an error of r.
func ReadDeck(name string, r io.Reader) (*Deck, error) {
	sc := bufio.NewScanner(io.LimitReader(r, maxDeckBytes+1))
	sc.Buffer(make([]byte, 0, 4096), maxDeckBytes+2)
	d := &Deck{}
	cards, read, last := 0, 0, 0
	stepAt := []int{}
	for n := 1; sc.Scan(); n++ {
		text := strings.TrimSuffix(sc.Text(), "\r")
		read, last = read+len(text)+1, n
		fail := func(col int, format string, a ...any) error {
			return &DeckError{name, n, col + 1, fmt.Sprintf(format, a...), text}
		}
		if n == 1 {
			text = strings.TrimPrefix(text, "\uFEFF")
		}
		if read > maxDeckBytes {
			return nil, fail(0, "a deck of more than %d bytes", maxDeckBytes)
		}
		line := text
		if i := commentAt(line); i >= 0 {
			line = line[:i]
		}
		if strings.TrimSpace(line) == "" {
			continue
		}
		start := len(line) - len(strings.TrimLeft(line, " \t"))
		word, value, ok := strings.Cut(line, ":")
		key := strings.ToLower(strings.Join(strings.Fields(word), " "))
		if !ok {
			return nil, fail(start, "%q has no colon; want KEY: VALUE, such as \"kind: quality\"", short(strings.TrimSpace(line)))
		}
		if !slices.Contains(deckKeys, key) {
			return nil, fail(start, "%q is no key of a deck; keys are %s", short(key), strings.Join(deckKeys, ", "))
		}
		col := len(word) + 1 + len(value) - len(strings.TrimLeft(value, " \t"))
		value = strings.TrimSpace(value)
		if value == "" {
			return nil, fail(len(word), "%s says nothing", key)
		}
		switch key {
		case "deck":
			if d.Title != "" {
				return nil, fail(start, "the deck has its title already, %q", short(d.Title))
			}
			d.Title = value
			continue
		case "about":
			d.About = strings.TrimSpace(d.About + " " + value)
			continue
		case "step":
			if len(d.Steps) == maxSteps {
				return nil, fail(start, "more than %d steps", maxSteps)
			}
			d.Steps = append(d.Steps, Step{Name: value})
			stepAt = append(stepAt, n)
			continue
		}
		if len(d.Steps) == 0 {
			return nil, fail(start, "%s stands before the first step; \"step: NAME\" begins one", key)
		}
		st := &d.Steps[len(d.Steps)-1]
		if key == "card" {
			if cards++; cards > maxCards {
				return nil, fail(start, "more than %d cards", maxCards)
			}
			c, at, err := readCard(value)
			if err != "" {
				return nil, fail(col+at, "%s", err)
			}
			st.Cards = append(st.Cards, c)
			continue
		}
		if at, err := st.set(key, value); err != "" {
			return nil, fail(col+at, "%s", err)
		}
	}
	if err := sc.Err(); err != nil {
		if err == bufio.ErrTooLong {
			return nil, &DeckError{name, last + 1, 1, fmt.Sprintf("a line of more than %d bytes", maxDeckBytes), ""}
		}
		return nil, err
	}
	if len(d.Steps) == 0 {
		return nil, &DeckError{name, max(last, 1), 1, "the deck has no step; \"step: NAME\" begins one", ""}
	}
	for i := range d.Steps {
		st := &d.Steps[i]
		if st.Settings.Kind == "" {
			if st.Settings.Kind = Quality; len(st.Cards) > 0 {
				st.Settings.Kind = Cards
			}
		}
		if st.Passage != "" {
			if _, _, err := st.Settings.filled(); err != nil {
				return nil, &DeckError{name, stepAt[i], 1, strings.TrimPrefix(err.Error(), "drills: "), ""}
			}
			continue
		}
		if _, err := st.Drill(1); err != nil {
			return nil, &DeckError{name, stepAt[i], 1, fmt.Sprintf("step %q: %s", short(st.Name), strings.TrimPrefix(err.Error(), "drills: ")), ""}
		}
	}
	return d, nil
}

// commentAt returns where a comment begins, -1 if there is none: a # at the start of the line or between blanks, as in a typed
// passage, since # is a sharp too.
func commentAt(line string) int {
	for i, c := range line {
		if c == '#' && (i == 0 || line[i-1] == ' ' || line[i-1] == '\t') && (i+1 == len(line) || line[i+1] == ' ' || line[i+1] == '\t') || c == '#' && strings.TrimSpace(line[:i]) == "" {
			return i
		}
	}
	return -1
}

// set sets one value of a step. A message that isn't empty says what is wrong, at a byte of value.
func (st *Step) set(key, value string) (at int, msg string) {
	s := &st.Settings
	number := func(low, high int) (int, string) {
		n, err := strconv.Atoi(value)
		if err != nil || n < low || n > high {
			return 0, fmt.Sprintf("%s: %q; want a whole number from %d to %d", key, short(value), low, high)
		}
		return n, ""
	}
	yes := func() (bool, string) {
		switch strings.ToLower(value) {
		case "yes":
			return true, ""
		case "no":
			return false, ""
		}
		return false, fmt.Sprintf("%s: %q; want yes or no", key, short(value))
	}
	switch key {
	case "kind":
		if _, ok := craftOf(Kind(value)); !ok {
			var names []string
			for _, k := range Kinds() {
				names = append(names, string(k))
			}
			return 0, fmt.Sprintf("there is no kind of drill %q; kinds are %s", short(value), strings.Join(names, ", "))
		}
		s.Kind = Kind(value)
	case "level":
		s.Level, msg = number(1, 99)
	case "ask":
		s.Labels = append(s.Labels, listed(value)...)
	case "by":
		switch strings.ToLower(value) {
		case "ear":
			s.Sight = false
		case "sight":
			s.Sight = true
		default:
			return 0, fmt.Sprintf("by: %q; want ear or sight", short(value))
		}
	case "choices":
		s.Choices, msg = number(2, MaxChoices)
	case "questions":
		st.Questions, msg = number(1, 10000)
	case "voices":
		s.Voices, msg = number(2, MaxVoices)
	case "position":
		if s.Position = strings.ToLower(value); !slices.Contains(Positions, s.Position) {
			return 0, fmt.Sprintf("position: %q; want top, inner or bass", short(value))
		}
	case "size":
		n, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(value, "cents")), 64)
		if err != nil || !(n >= 1 && n <= 1200) {
			return 0, fmt.Sprintf("size: %q; want 1 to 1200 cents", short(value))
		}
		s.Size = n
	case "inversions":
		s.Inversions, msg = yes()
	case "transpose":
		var t bool
		t, msg = yes()
		s.NoTranspose = !t
	case "near misses":
		n, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(value, "%")))
		if err != nil || n < 0 || n > 100 {
			return 0, fmt.Sprintf("near misses: %q; want the share of them in percent, 0 to 100", short(value))
		}
		s.Foils = float64(n) / 100
	case "range":
		low, high, ok := strings.Cut(value, " to ")
		var err error
		if s.Low, err = pitch.Parse(strings.TrimSpace(low)); err != nil || !ok {
			return 0, fmt.Sprintf("range: %q; want two notes, such as C3 to C6", short(value))
		}
		if s.High, err = pitch.Parse(strings.TrimSpace(high)); err != nil {
			return len(low) + 4, fmt.Sprintf("range: %q is no note; want two, such as C3 to C6", short(strings.TrimSpace(high)))
		}
	case "pass":
		if n, err := fmt.Sscanf(value, "%d of %d", &st.Pass, &st.PassOf); n != 2 || err != nil || st.Pass < 1 || st.PassOf < st.Pass || st.PassOf > 1000 || value != fmt.Sprintf("%d of %d", st.Pass, st.PassOf) {
			return 0, fmt.Sprintf("pass: %q; want how many of how many are right, such as 18 of 20", short(value))
		}
	case "passage":
		st.Passage = value
	case "at":
		if _, err := score.ParsePlace(value); err != nil {
			if pe, ok := err.(*score.PlaceError); ok {
				return min(pe.Offset, len(value)), strings.TrimPrefix(pe.Error(), "score: ")
			}
			return 0, err.Error()
		}
		st.At = value
	}
	return 0, msg
}

// readCard reads "C3 G3 / E4 B4 | F2 / A4 C5 = LABEL -- not LABEL, LABEL".
func readCard(value string) (c Card, at int, msg string) {
	notes, label, ok := strings.Cut(value, "=")
	if !ok {
		return c, len(value), "a card is NOTES = LABEL; the = is missing"
	}
	label, not, has := strings.Cut(label, "--")
	if c.Label = strings.Join(strings.Fields(label), " "); c.Label == "" || len(c.Label) > 200 {
		return c, len(notes) + 1, "the card has no label after its =, or one too long"
	}
	if has {
		rest, ok := strings.CutPrefix(strings.TrimSpace(not), "not ")
		if !ok {
			return c, len(notes) + 1 + len(label) + 2, "after -- a card says what it could be taken for: -- not LABEL, LABEL"
		}
		for _, l := range listed(rest) {
			if l != c.Label && !slices.Contains(c.Wrong, l) {
				c.Wrong = append(c.Wrong, l)
			}
		}
	}
	from := 0
	for ch := range strings.SplitSeq(notes, "|") {
		if len(c.Chords) == maxChords {
			return c, from, fmt.Sprintf("more than %d chords on a card", maxChords)
		}
		hands := [2][]pitch.Pitch{}
		parts := strings.Split(ch, "/")
		if len(parts) > 2 {
			return c, from, "more than two hands in a chord; / parts the left hand from the right, | one chord from the next"
		}
		at := from
		for i, p := range parts {
			for w := range strings.FieldsSeq(p) {
				n, err := pitch.Parse(w)
				if err != nil || n.MIDI() < 21 || n.MIDI() > 108 {
					return c, at + max(strings.Index(p, w), 0), fmt.Sprintf("%q is no note of the keyboard; want notes such as C4 or F#3", short(w))
				}
				hands[i] = append(hands[i], n)
				if len(hands[i]) > 20 {
					return c, at, "more than 20 notes in a hand"
				}
			}
			at += len(p) + 1
		}
		if len(parts) == 1 { // without hands: the lower half for the left
			hands[0], hands[1] = split(hands[0])
		}
		if len(hands[0])+len(hands[1]) == 0 {
			return c, from, "a chord without notes"
		}
		slices.SortFunc(hands[0], pitch.Pitch.Compare)
		slices.SortFunc(hands[1], pitch.Pitch.Compare)
		c.Chords = append(c.Chords, hands)
		from += len(ch) + 1
	}
	return c, 0, ""
}

// listed takes a list of labels apart: at semicolons if there is one, else at commas.
func listed(text string) (out []string) {
	sep := ","
	if strings.Contains(text, ";") {
		sep = ";"
	}
	for l := range strings.SplitSeq(text, sep) {
		if l = strings.Join(strings.Fields(l), " "); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// list puts it together again.
func list(labels []string) string {
	if !slices.ContainsFunc(labels, func(l string) bool { return strings.Contains(l, ",") }) {
		return strings.Join(labels, ", ")
	}
	if len(labels) == 1 {
		return labels[0] + ";"
	}
	return strings.Join(labels, "; ")
}

// String writes a card as a deck has it.
func (c Card) String() string {
	var b strings.Builder
	for i, ch := range c.Chords {
		if i > 0 {
			b.WriteString(" | ")
		}
		b.WriteString(strings.TrimSpace(names(ch[0]) + " / " + names(ch[1])))
	}
	b.WriteString(" = " + c.Label)
	if len(c.Wrong) > 0 {
		b.WriteString(" -- not " + list(c.Wrong))
	}
	return b.String()
}

// WriteDeck writes a deck as a file that ReadDeck reads as the same deck.
func WriteDeck(w io.Writer, d *Deck) error {
	var b strings.Builder
	put := func(key, value string) {
		if value = strings.Join(strings.Fields(value), " "); value != "" {
			fmt.Fprintf(&b, "%s: %s\n", key, value)
		}
	}
	number := func(key string, n int) {
		if n != 0 {
			put(key, strconv.Itoa(n))
		}
	}
	put("deck", d.Title)
	put("about", d.About)
	for _, st := range d.Steps {
		b.WriteByte('\n')
		s := st.Settings
		put("step", st.Name)
		put("kind", string(s.Kind))
		number("level", s.Level)
		put("ask", list(s.Labels))
		if s.Sight {
			put("by", "sight")
		}
		number("choices", s.Choices)
		if (s.Low != pitch.Pitch{}) || (s.High != pitch.Pitch{}) {
			put("range", s.Low.String()+" to "+s.High.String())
		}
		if s.Inversions && st.Passage == "" && len(st.Cards) == 0 {
			put("inversions", "yes")
		}
		number("questions", st.Questions)
		if st.PassOf > 0 {
			put("pass", fmt.Sprintf("%d of %d", st.Pass, st.PassOf))
		}
		number("voices", s.Voices)
		put("position", s.Position)
		if s.Size > 0 {
			put("size", strconv.FormatFloat(s.Size, 'g', -1, 64))
		}
		put("passage", st.Passage)
		put("at", st.At)
		if s.NoTranspose {
			put("transpose", "no")
		}
		if s.Foils > 0 {
			put("near misses", strconv.Itoa(int(s.Foils*100+.5)))
		}
		for _, c := range st.Cards {
			put("card", c.String())
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// Drill returns the drill of a step that asks about no passage; a passage is the caller's to read, and FromPassage makes the
// drill. It returns a *SettingsError if the step can't be asked.
func (st Step) Drill(seed uint64) (*Drill, error) {
	s := st.Settings
	s.Seed = seed
	if st.Passage != "" {
		return nil, badSetting("passage", "the step asks about the passage %s, which has to be read first", st.Passage)
	}
	if len(st.Cards) > 0 {
		return FromCards(st.Cards, s)
	}
	return New(s)
}

// Cards is the kind of a deck's own cards, with labels of the writer's own. There is no drill of this kind without a deck.
const Cards Kind = "card"

// cardsCraft knows no labels: the choices are all there are.
var cardsCraft = &named{asks: "Which of these is it?", low: "A0", high: "C8"}

// FromCards returns a drill of cards. Each label is equally likely, however many cards it has, and then each of its cards; a
// question is transposed at random as far as the range lets it, unless NoTranspose is set. The kind says how answers are read;
// labels are then those of the kind. It returns a *SettingsError if that can't be done.
func FromCards(cards []Card, s Settings) (*Drill, error) {
	if (s.Low == pitch.Pitch{}) && (s.High == pitch.Pitch{}) {
		s.Low, s.High = pitch.Pitch{Letter: pitch.A}, pitch.Pitch{Octave: 8}
	}
	if s.Kind == "" {
		s.Kind = Cards
	}
	c, s, err := s.filled()
	if err != nil {
		return nil, err
	}
	if _, open := c.(grader); open {
		return nil, badSetting("kind", "cards can't be of the kind %q: its answers are written", s.Kind)
	}
	d := &Drill{set: s, craft: c}
	p := &cardPlan{set: s, of: map[string][]Card{}}
	own := func(l string) (string, bool) {
		if s.Kind == Cards {
			return l, true
		}
		return c.canonical(l)
	}
	for _, card := range cards {
		l, ok := own(card.Label)
		if !ok {
			return nil, badSetting("labels", "%q, on a card, is no label of the drill %q; without a kind, labels are free", card.Label, s.Kind)
		}
		if len(s.Labels) > 0 && !slices.ContainsFunc(s.Labels, func(x string) bool { y, _ := own(x); return y == l }) {
			continue
		}
		card.Label = l
		var wrong []string
		for _, w := range card.Wrong {
			if x, ok := own(w); ok && x != l && !slices.Contains(wrong, x) {
				wrong = append(wrong, x)
			}
		}
		card.Wrong = wrong
		if p.of[l] == nil {
			d.labels = append(d.labels, l)
		}
		p.of[l] = append(p.of[l], card)
	}
	inOrder(c, d.labels)
	for _, l := range d.labels {
		for _, card := range p.of[l] {
			p.free = p.free || len(card.Wrong) == 0
		}
	}
	if len(d.labels) == 0 {
		return nil, badSetting("labels", "no card has one of the labels asked for")
	}
	if len(d.labels) < 2 && p.free {
		return nil, badSetting("labels", "all cards are %q, which leaves nothing to tell apart; say what else a card could be: -- not LABEL", d.labels[0])
	}
	if d.set.Choices == 0 {
		d.set.Choices = min(max(len(d.labels), 2), MaxChoices)
	}
	p.labels = d.labels
	p.choices = d.set.Choices
	d.plan = p
	d.set.Choices = min(d.set.Choices, len(d.labels))
	return d, nil
}

// cardPlan asks cards.
type cardPlan struct {
	set     Settings
	labels  []string
	choices int
	of      map[string][]Card
	free    bool // some card has no wrong labels of its own
}

func (p *cardPlan) fill(r *rand.Rand, q *Question) {
	turn := r.Uint64()
	card := pick(r, p.of[q.Expected])
	if len(card.Wrong) > 0 { // its own near misses before others
		rest := slices.DeleteFunc(slices.Clone(q.Choices), func(l string) bool { return l == card.Label || slices.Contains(card.Wrong, l) })
		q.Choices = append([]string{card.Label}, card.Wrong[:min(len(card.Wrong), p.choices-1)]...)
		for _, l := range rest {
			if len(q.Choices) < p.choices {
				q.Choices = append(q.Choices, l)
			}
		}
	}
	low, high := 127, 0
	for _, ch := range card.Chords {
		for _, n := range append(slices.Clone(ch[0]), ch[1]...) {
			low, high = min(low, n.MIDI()), max(high, n.MIDI())
		}
	}
	by := pitch.Unison
	if !p.set.NoTranspose {
		var shifts []pitch.Interval
		want := (q.Number + int(q.seed&1)) & 1
		for _, even := range []bool{true, false} {
			for k := -6; k <= 5; k++ {
				if low+k < p.set.Low.MIDI() || high+k > p.set.High.MIDI() || even && (low+k)&1 != want {
					continue
				}
				shifts = append(shifts, plainShift(card, k))
			}
			if len(shifts) > 0 {
				break
			}
		}
		if len(shifts) > 0 {
			by = shifts[turn%uint64(len(shifts))]
		}
	}
	move := func(ns []pitch.Pitch) []pitch.Pitch {
		out := make([]pitch.Pitch, len(ns))
		for i, n := range ns {
			out[i] = n.Add(by)
		}
		return out
	}
	last := len(card.Chords) - 1
	q.Left, q.Right = move(card.Chords[last][0]), move(card.Chords[last][1])
	if last > 0 {
		for i, ch := range card.Chords {
			length := 1
			if i == last {
				length = 2
			}
			q.Music = append(q.Music, chordNotes(score.Quarters(i), score.Quarters(length), move(ch[0]), move(ch[1]))...)
		}
		q.Tempo = 66
	}
	q.Inversions = true
	q.Root = q.Notes()[0].Class()
	if p.set.Kind == Quality {
		if t, ok := typeOf(q.Expected); ok {
			if root, _, sounds := fits(t, q.Notes(), true); sounds {
				q.Root = root
			}
		}
	}
	shown := chordNotes(score.Time{}, chordLength, q.Left, q.Right)
	if len(q.Music) > 0 {
		shown = q.Music
	}
	q.about = Shown(shown)
}

// plainShift spells a transposition by keys so that the notes have the fewest signs.
func plainShift(card Card, semitones int) pitch.Interval {
	best, least := pitch.Interval{}, 1<<30
	for steps := -5; steps <= 5; steps++ {
		iv := pitch.Interval{Steps: steps, Semitones: semitones}
		signs := 0
		for _, ch := range card.Chords {
			for _, n := range append(slices.Clone(ch[0]), ch[1]...) {
				a := int(n.Add(iv).Alter)
				signs += a * a
			}
		}
		if signs < least {
			best, least = iv, signs
		}
	}
	return best
}

// A Confused is a label that was heard as another, and how often.
type Confused struct {
	Kind            Kind
	Sight           bool
	Expected, Given string
	Count           int
}

// DeckFromConfusions makes a deck of what is confused: a step for each pair, side by side, the most frequent first, and at the
// end one for each kind with all of its labels together. Pairs that can't be asked, since their labels are of no kind that is
// known, are left out. It returns a *SettingsError if none is left.
func DeckFromConfusions(cs []Confused) (*Deck, error) {
	type pair struct {
		kind  Kind
		sight bool
		a, b  string
	}
	counts := map[pair]int{}
	var order []pair
	for _, c := range cs {
		p := pair{c.Kind, c.Sight, min(c.Expected, c.Given), max(c.Expected, c.Given)}
		if p.a == "" || p.a == p.b {
			continue
		}
		if counts[p] == 0 {
			order = append(order, p)
		}
		counts[p] += max(c.Count, 1)
	}
	slices.SortStableFunc(order, func(a, b pair) int {
		return cmp.Or(counts[b]-counts[a], cmp.Compare(a.kind, b.kind), cmp.Compare(a.a, b.a), cmp.Compare(a.b, b.b))
	})
	d := &Deck{Title: "What you confuse", About: "Each step puts two labels side by side that were taken for each other, the most frequent first; the last ones mix them."}
	type group struct {
		kind  Kind
		sight bool
	}
	all := map[group][]string{}
	var groups []group
	for _, p := range order {
		s := Settings{Kind: p.kind, Sight: p.sight, Labels: []string{p.a, p.b}}
		if _, err := New(s); err != nil || len(d.Steps) == maxSteps-20 {
			continue
		}
		d.Steps = append(d.Steps, Step{Name: p.a + " or " + p.b, Settings: s, Pass: 9, PassOf: 10})
		g := group{p.kind, p.sight}
		if all[g] == nil {
			groups = append(groups, g)
		}
		for _, l := range s.Labels {
			if !slices.Contains(all[g], l) && len(all[g]) < MaxChoices {
				all[g] = append(all[g], l)
			}
		}
	}
	if len(d.Steps) == 0 {
		return nil, badSetting("labels", "nothing that was confused can be asked")
	}
	for _, g := range groups {
		s := Settings{Kind: g.kind, Sight: g.sight, Labels: all[g]}
		if _, err := New(s); err == nil && len(all[g]) > 2 && len(d.Steps) < maxSteps {
			d.Steps = append(d.Steps, Step{Name: "all of them, " + g.kind.Title(), Settings: s, Pass: 18, PassOf: 20})
		}
	}
	return d, nil
}
