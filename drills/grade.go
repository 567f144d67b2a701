package drills

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// How is the way in which an answer is right.
type How string

// The ways of being right.
const (
	Exact        How = "exact"
	Synonym      How = "synonym"       // another of the trade's names for it
	Enharmonic   How = "enharmonic"    // another chord, which by ear can't be told from it
	OtherReading How = "other reading" // another name for the same notes as spelled
)

// A Graded answer.
type Graded struct {
	Right  bool
	How    How     // "" if wrong
	Given  string  // the label that was meant; "" if nothing was said
	Why    string  // in a few words: why it counts, or why it doesn't though it nearly does; may be empty
	Credit float64 // 0 to 1: 1 if Right, else the share of Parts that is right
	Parts  []Part  // what the answer was taken apart into; may be nil

	said []Note // what was said, as notes, where the answer was notes
}

// A Part is one thing that an answer says, judged for itself.
type Part struct {
	Name      string // "root", "third", "bass", "note 2"
	Want, Got string // "" for nothing
	Credit    float64
}

// String says a part: "bass: E, not C".
func (p Part) String() string {
	switch {
	case p.Credit == 1:
		return p.Name + ": " + cmp.Or(p.Want, "none") + ", right"
	case p.Want == "":
		return p.Name + ": none, not " + p.Got
	case p.Got == "":
		return p.Name + ": " + p.Want + ", not said"
	}
	return p.Name + ": " + p.Want + ", not " + p.Got
}

// share is the credit of parts together.
func share(parts []Part) (c float64) {
	for _, p := range parts {
		c += p.Credit / float64(len(parts))
	}
	return c
}

// A parter takes an answer that is wrong as a whole apart.
type parter interface {
	parts(label string, q Question) []Part
}

// A grader judges answers that are no labels.
type grader interface {
	grade(text string, q Question) (Graded, error)
}

// An AnswerError says that an answer was not understood. It is then not wrong: it is asked again.
type AnswerError struct {
	Text     string
	Why      string
	Examples []string // answers that would be understood
}

func (e *AnswerError) Error() string {
	s := fmt.Sprintf("drills: %q is no answer here: %s", e.Text, e.Why)
	if len(e.Examples) > 0 {
		s += "; answer, for instance, " + strings.Join(e.Examples, " or ")
	}
	return s
}

func notUnderstood(q Question, text, why string) error {
	e := &AnswerError{Text: short(text), Why: why}
	if len(q.Choices) > 0 {
		// Always the first choice, whatever is right.
		e.Examples = []string{"1", fmt.Sprintf("%q", q.Choices[0])}
		if t, ok := labelTypes()[q.Choices[0]]; ok && len(t.Symbols) > 0 && t.Symbols[0] != "" {
			e.Examples = append(e.Examples, fmt.Sprintf("%q", "C"+t.Symbols[0]))
		}
	}
	return e
}

// short cuts a text that is too long to be quoted.
func short(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// Grade judges an answer: the number of a choice, a label in any of the trade's names, or a whole chord label, whose root and
// bass are not asked and not judged. Case and articles don't matter where the trade doesn't mind them.
//
// By ear, what can't be heard is not held against anybody: a German sixth is a dominant seventh, and where any member may be
// in the bass, a minor seventh is the added sixth of its third. By sight spelling counts. Grade returns an *AnswerError if
// given isn't understood.
func Grade(q Question, given string) (Graded, error) {
	c, ok := craftOf(q.Kind)
	if !ok {
		return Graded{}, badSetting("kind", "question of the unknown kind %q", string(q.Kind))
	}
	text := strings.Join(strings.Fields(given), " ")
	text = strings.TrimRight(text, ".!")
	if text == "" {
		return Graded{}, notUnderstood(q, given, "it is empty")
	}
	if o, ok := c.(grader); ok {
		return o.grade(text, q)
	}
	label, how := "", Exact
	if strings.Trim(text, "0123456789") == "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > len(q.Choices) {
			return Graded{}, notUnderstood(q, text, fmt.Sprintf("choices are numbered 1 to %d", len(q.Choices)))
		}
		label = q.Choices[n-1]
	}
	for _, l := range q.Choices {
		if strings.EqualFold(text, l) {
			label = l
		}
	}
	if label == "" {
		var err error
		if label, how, err = c.read(text, q); err != nil {
			return Graded{}, err
		}
	}
	g := Graded{Given: label}
	if label == q.Expected {
		g.Right, g.How, g.Credit = true, how, 1
		if how == Synonym {
			g.Why = fmt.Sprintf("%s is another name for it", text)
		}
		return g, nil
	}
	g.How, g.Why = c.alsoTrue(label, q)
	g.Right = g.How != ""
	if g.Right {
		g.Credit = 1
	} else if p, ok := c.(parter); ok {
		g.Parts = p.parts(label, q)
		g.Credit = share(g.Parts)
	}
	return g, nil
}

// GiveUp is the answer of one who gives up.
func GiveUp(Question) Graded { return Graded{} }

// An Explanation says what was heard against what was said.
type Explanation struct {
	Text string // a sentence or two
	// What was said, in the place of what sounded: on the same root, or the same lowest note for a construction. Both are
	// nil if nothing was said, or it was right, or it is more than one chord.
	Left, Right []pitch.Pitch
	// To be played one after the other at Tempo: what it was, and what was said; then what differs alone, first as it was and
	// then as it was said. Said and Difference are nil if nothing was said, or it was right.
	Was, Said, Difference []Note
	Tempo                 float64 // in quarter notes a minute
}

// Explain says what q was, against what was said if that was something else, and puts the latter into notes, so that both can
// be heard one after the other.
func Explain(q Question, g Graded) Explanation {
	c, ok := craftOf(q.Kind)
	if !ok || len(q.Left)+len(q.Right)+len(q.Music) == 0 {
		return Explanation{Text: fmt.Sprintf("It was %s.", q.Expected)}
	}
	e := Explanation{Text: c.explain(q, g)}
	if q.From != "" {
		e.Text += fmt.Sprintf(" From %s.", q.From)
	}
	if e.Was, e.Tempo = q.Sound(); len(q.told) > 0 {
		e.Was = q.touched(slices.Clone(q.told))
	}
	if g.Right || g.Given == "" {
		return e
	}
	switch e.Left, e.Right = c.instead(g.Given, q); {
	case len(e.Left)+len(e.Right) > 0:
		e.Said = chordNotes(score.Time{}, chordLength, e.Left, e.Right)
	case len(g.said) > 0:
		e.Said = g.said
	case q.again != nil:
		other := q.again(g.Given)
		if len(other.Left)+len(other.Right)+len(other.Music) > 0 {
			e.Said, _ = other.Sound()
			if len(q.Music) == 0 {
				e.Left, e.Right = other.Left, other.Right
			}
		}
	}
	if len(e.Said) > 0 {
		e.Said = q.touched(slices.Clone(e.Said))
		e.Difference = alone(e.Was, e.Said)
	}
	return e
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// article puts a or an before a word, by its letter.
func article(word string) string {
	if word != "" && strings.ContainsRune("aeiouAEIO", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}
