package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A named craft asks for one of a short list of labels. Most kinds are one: what is their own is how a label is sounded.
type named struct {
	asks      string // the prompt, unless the question has its own
	rows      []row  // all labels, in the order of choices
	steps     []Level
	low, high string // the range, as pitches
	ear       bool   // it can't be asked by sight
	plan      func(s Settings, labels []string) (planner, error)
	// What may be nil: further names of labels, what is also true, credit by parts.
	reads func(text string, q Question) (label string, ok bool)
	also  func(label string, q Question) (How, string)
	apart func(label string, q Question) []Part
}

// A row is a label with its other names, in lower case.
type row struct {
	label string
	names []string
}

// filler is a planner in one function.
type filler func(r *rand.Rand, q *Question)

func (f filler) fill(r *rand.Rand, q *Question) { f(r, q) }

func (c *named) levels() []Level { return c.steps }
func (c *named) prompt() string  { return c.asks }
func (c *named) earOnly() bool   { return c.ear }

func (c *named) place(label string) int {
	if i := slices.IndexFunc(c.rows, func(r row) bool { return r.label == label }); i >= 0 {
		return i
	}
	return len(c.rows)
}

func (c *named) canonical(name string) (string, bool) {
	name = plain(name)
	for _, r := range c.rows {
		if name == r.label || slices.Contains(r.names, name) || name == plain(r.label) {
			return r.label, true
		}
	}
	return "", false
}

// plain is a name in lower case, without articles and with single spaces.
func plain(name string) string {
	fs := strings.Fields(strings.ToLower(strings.NewReplacer("half step", "semitone", "half-step", "semitone", "whole step", "whole tone",
		"whole-step", "whole tone", "half tone", "semitone", "-", " ", ",", " ").Replace(strings.ToLower(name))))
	fs = slices.DeleteFunc(fs, func(f string) bool {
		return f == "a" && len(fs) > 1 || f == "an" || f == "the" || f == "is" || f == "it"
	})
	return strings.Join(fs, " ")
}

func (c *named) read(text string, q Question) (string, How, error) {
	if l, ok := c.canonical(text); ok {
		return l, Synonym, nil
	}
	if c.reads != nil {
		if l, ok := c.reads(text, q); ok {
			return l, Synonym, nil
		}
	}
	return "", "", notUnderstood(q, text, "it is none of the answers")
}

func (c *named) alsoTrue(label string, q Question) (How, string) {
	if c.also == nil {
		return "", ""
	}
	return c.also(label, q)
}

func (c *named) parts(label string, q Question) []Part {
	if c.apart == nil {
		return nil
	}
	return c.apart(label, q)
}

func (c *named) planner(s Settings, labels []string) (planner, error) {
	if s.Level == 0 {
		s.Level = len(c.steps)
		for _, l := range c.steps {
			if !slices.ContainsFunc(labels, func(x string) bool { return !slices.Contains(l.Labels, x) }) {
				s.Level = l.Number
				break
			}
		}
	}
	return c.plan(s, labels)
}

func (c *named) instead(string, Question) (left, right []pitch.Pitch) { return nil, nil }

func (c *named) defaultRange() (low, high pitch.Pitch) {
	low, err := pitch.Parse(c.low)
	high, err2 := pitch.Parse(c.high)
	if err != nil || err2 != nil { // the test of the kinds fails then
		return pitch.Pitch{Octave: 3}, pitch.Pitch{Octave: 6}
	}
	return low, high
}

// explain says what it was in the words that were kept when it was made, and what the other would have been.
func (c *named) explain(q Question, g Graded) string {
	was := q.Expected
	it := "it was " + was
	if _, moves := tendencyMoves[was]; moves {
		it = "it goes " + was
		if was == stays {
			it = "it stays"
		}
	}
	if q.about != "" {
		was += ": " + q.about
		it += ": " + q.about
	}
	switch {
	case g.Right && g.How != Exact && g.How != Synonym && g.Why != "":
		return "Right: " + g.Why + "."
	case g.Right:
		return "Right, " + was + "."
	case g.Given == "":
		return upper(it) + "."
	}
	s := fmt.Sprintf("You said %s; %s.", g.Given, it)
	if g.Why != "" {
		s += " " + upper(g.Why) + "."
	}
	if q.again != nil {
		if other := q.again(g.Given); other.about != "" && other.about != q.about {
			s += fmt.Sprintf(" %s would be %s.", upper(g.Given), other.about)
		}
	}
	return s
}

// step makes a level.
func step(n int, name string, labels ...string) Level { return Level{n, name, labels} }

// all returns the labels of rows.
func all(rows []row) []string {
	out := make([]string, len(rows))
	for i, r := range rows {
		out[i] = r.label
	}
	return out
}

// tooNarrow is the error for a range less than so many semitones wide.
func tooNarrow(s Settings, need int) error {
	if s.High.MIDI()-s.Low.MIDI() < need {
		return badSetting("range", "range %s to %s is too narrow; want at least %d semitones", s.Low, s.High, need)
	}
	return nil
}

// pick returns one of xs.
func pick[T any](r *rand.Rand, xs []T) T { return xs[r.IntN(len(xs))] }
