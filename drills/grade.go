package drills

import (
	"fmt"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
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
	Right bool
	How   How    // "" if wrong
	Given string // the label that was meant; "" if nothing was said
	Why   string // in a few words: why it counts, or why it doesn't though it nearly does; may be empty
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
	c, ok := crafts[q.Kind]
	if !ok {
		return Graded{}, badSetting("kind", "question of the unknown kind %q", string(q.Kind))
	}
	text := strings.Join(strings.Fields(given), " ")
	text = strings.TrimRight(text, ".!")
	if text == "" {
		return Graded{}, notUnderstood(q, given, "it is empty")
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
		g.Right, g.How = true, how
		if how == Synonym {
			g.Why = fmt.Sprintf("%s is another name for it", text)
		}
		return g, nil
	}
	g.How, g.Why = c.alsoTrue(label, q)
	g.Right = g.How != ""
	return g, nil
}

// GiveUp is the answer of one who gives up.
func GiveUp(Question) Graded { return Graded{} }

// An Explanation says what was heard against what was said.
type Explanation struct {
	Text string // a sentence or two
	// What was said, in the place of what sounded: on the same root, or the same lowest note for a construction. Both are
	// nil if nothing was said, or it was right.
	Left, Right []pitch.Pitch
}

// Explain says what q was, against what was said if that was something else, and puts the latter into notes, so that both can
// be heard one after the other.
func Explain(q Question, g Graded) Explanation {
	c, ok := crafts[q.Kind]
	if !ok || len(q.Left)+len(q.Right) == 0 {
		return Explanation{Text: fmt.Sprintf("It was %s.", q.Expected)}
	}
	e := Explanation{Text: c.explain(q, g)}
	if q.From != "" {
		e.Text += fmt.Sprintf(" From %s.", q.From)
	}
	if !g.Right && g.Given != "" {
		e.Left, e.Right = c.instead(g.Given, q)
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
