package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/term"

	"plumbline/drills"
	"plumbline/progress"
)

// textWidth is the width of what is shown, one less than the narrowest usual terminal.
const textWidth = 79

// textFace shows a drill as lines that are appended, one after the other: nothing is drawn over, so that a screen reader
// reads all of it, once.
type textFace struct {
	out  io.Writer
	sit  *sitting
	keys bool // single keys, not lines
}

// narrowest is the narrowest terminal that text is wrapped for.
const narrowest = 30

// width is how wide text may be now: the terminal may have been made narrower since.
func (f *textFace) width() int {
	if w, ok := f.out.(*rawWriter); ok {
		if n, _, err := term.GetSize(w.t.fd); err == nil && n > 0 {
			return min(max(n-1, narrowest), textWidth)
		}
	}
	return textWidth
}

// say writes paragraphs, wrapped.
func (f *textFace) say(paragraphs ...string) error {
	for _, p := range paragraphs {
		if _, err := fmt.Fprintln(f.out, wrap(p, f.width(), "")); err != nil {
			return err
		}
	}
	return nil
}

const keyLines = `Keys: 1 to 9 choose   space again   l low notes   h high notes   a one by one
      t type a label   g give up   ? help   q quit
After an answer: c compare   w why this one   Enter goes on`

const lineHelp = "Answer with a number or a label, or write play, low, high, slow, compare, give up or quit."

func (f *textFace) begin() error {
	s := f.sit.d.Settings()
	what := s.Kind.Title()
	how := " by ear"
	if s.Sight {
		how = " by sight"
	}
	which := ""
	if p := f.sit.plan; p != nil {
		what, which = p.heading(), ", by your record"
	} else if f.sit.again != nil {
		which = ", the last sitting once more"
	} else if s.Level > 0 {
		which = fmt.Sprintf(", level %d (%s)", s.Level, drills.Levels(s.Kind)[s.Level-1].Name)
	}
	if f.sit.source != "" {
		which = ", from " + f.sit.source
	}
	head := fmt.Sprintf("%s%s%s: %s", what, how, which, counted(f.sit.count, "question"))
	if f.sit.plan == nil && f.sit.again == nil {
		head += fmt.Sprintf(", seed %d", s.Seed)
	}
	if f.sit.learner != "" {
		head = fmt.Sprintf("%s. %s", strings.Join(strings.Fields(f.sit.learner), " "), head)
	}
	if err := f.say(head + "."); err != nil {
		return err
	}
	if !s.Sight {
		if err := f.say("It starts quiet: set your volume low first; stop if it is unpleasant."); err != nil {
			return err
		}
		if s.Kind == drills.Construction && s.Level > 0 {
			if err := f.say("The lowest note is doubled below, to keep the outer distance alike."); err != nil {
				return err
			}
		}
	}
	if !f.keys {
		return f.say(lineHelp)
	}
	_, err := fmt.Fprintln(f.out, keyLines)
	return err
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (f *textFace) question(q drills.Question, sound string) error {
	fmt.Fprintln(f.out)
	prompt := q.Prompt
	if q.Sight { // the notes have a line of their own
		prompt = strings.TrimSuffix(prompt, " "+q.Shown)
	}
	if err := f.say(fmt.Sprintf("Question %d of %d. %s", q.Number, f.sit.count, prompt)); err != nil {
		return err
	}
	if q.Sight {
		fmt.Fprintln(f.out, wrap(q.Shown, textWidth, "     "))
	}
	for i, c := range q.Choices {
		fmt.Fprintf(f.out, "  %d  %s\n", i+1, c)
	}
	if sound != "" {
		fmt.Fprintf(f.out, "Sound: %s\n", sound)
	}
	return nil
}

func (f *textFace) sounded(q drills.Question, what, sound string) error {
	if sound != "" {
		_, err := fmt.Fprintf(f.out, "Sound: %s\n", sound)
		return err
	}
	if what == "compare" {
		return f.say("First what it was, then what you said; then only what differs, in the same order.")
	}
	return nil
}

func (f *textFace) refused(q drills.Question, err error) error {
	msg := message(err)
	var ae *drills.AnswerError
	if errors.As(err, &ae) {
		msg = fmt.Sprintf("%q is no answer here: %s", ae.Text, ae.Why)
		if !strings.HasSuffix(msg, "?") {
			msg += "."
		}
		return f.say(fmt.Sprintf("%s Say it again, for instance %s.", msg, strings.Join(ae.Examples, " or ")))
	}
	return f.say(upperFirst(msg) + ".")
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func (f *textFace) answered(q drills.Question, g drills.Graded, x drills.Explanation) error {
	if err := f.say(x.Text); err != nil {
		return err
	}
	if f.sit.why && f.sit.plan != nil {
		if err := f.reason(f.sit.plan.why()); err != nil {
			return err
		}
	}
	if g.Right || !f.keys {
		return nil
	}
	if len(x.Said) > 0 {
		return f.say("c compares by ear what it was with what you said; Enter goes on.")
	}
	return f.say("space plays it again; Enter goes on.")
}

func (f *textFace) reason(text string) error { return f.say(text) }

func (f *textFace) help(q drills.Question) error {
	if !f.keys {
		return f.say(lineHelp, "Labels may be written in any of the trade's names; the root is not asked.")
	}
	fmt.Fprintln(f.out, keyLines)
	return f.say("A typed label may be any of the trade's names, such as m7, Cm7 or minor seventh; the root is not asked. Enter goes on after a wrong answer. Every answer is saved at once.")
}

func (f *textFace) end(interrupted bool) error {
	fmt.Fprintln(f.out)
	text := f.sit.result()
	if f.sit.asked > 0 && (interrupted || f.sit.asked < f.sit.count) {
		text += " Every answer given is saved."
	}
	if err := f.say(text); err != nil {
		return err
	}
	if f.sit.asked == 0 {
		return nil
	}
	if d := f.sit.deck; d != nil {
		if next := d.next(f.sit.asked, f.sit.right); next != "" {
			if err := f.say(next); err != nil {
				return err
			}
		}
	}
	if err := f.say(heardLines(f.sit.search)...); err != nil {
		return err
	}
	cmd := "plumbline progress"
	if f.sit.learner != "" {
		cmd += fmt.Sprintf(" --learner %q", f.sit.learner)
	}
	if f.sit.db != "" {
		cmd += " --db " + f.sit.db
	}
	_, err := fmt.Fprintf(f.out, "To see what you hear and what you confuse: %s\n", cmd)
	return err
}

func (f *textFace) waits() bool { return f.keys }

// jsonFace writes one JSON object a line.
type jsonFace struct {
	out io.Writer
	sit *sitting
}

func (f *jsonFace) write(v any) error {
	enc := json.NewEncoder(f.out)
	enc.SetEscapeHTML(false)
	return enc.Encode(v) // one write, one line
}

func (f *jsonFace) begin() error {
	if !f.sit.sound.silent && !f.sit.sound.files {
		f.sit.e.hint("it starts quiet: set your volume low first; stop if it is unpleasant")
	}
	return nil
}

type questionEvent struct {
	Event   string   `json:"event"`
	ID      string   `json:"id"`
	Number  int      `json:"number"`
	Of      int      `json:"of"`
	Kind    string   `json:"kind"`
	Mode    string   `json:"mode"`
	Prompt  string   `json:"prompt"`
	Choices []string `json:"choices"`
	Sound   string   `json:"sound"`           // path of the WAV file, "" if there is none
	Notes   []string `json:"notes,omitempty"` // low to high; by sight only
}

func (f *jsonFace) question(q drills.Question, sound string) error {
	ev := questionEvent{Event: "question", ID: q.ID, Number: q.Number, Of: f.sit.count, Kind: string(q.Kind), Mode: string(f.sit.mode), Prompt: q.Prompt, Choices: q.Choices, Sound: sound}
	if f.sit.mode == progress.Sight {
		for _, p := range q.Notes() {
			ev.Notes = append(ev.Notes, p.String())
		}
	}
	return f.write(ev)
}

func (f *jsonFace) sounded(q drills.Question, what, sound string) error {
	if what == "" {
		what = "whole"
	}
	return f.write(struct {
		Event string `json:"event"`
		ID    string `json:"id"`
		What  string `json:"what"`
		Sound string `json:"sound"`
	}{"sound", q.ID, what, sound})
}

func (f *jsonFace) refused(q drills.Question, err error) error {
	return f.write(struct {
		Event   string `json:"event"`
		ID      string `json:"id"`
		Message string `json:"message"`
	}{"error", q.ID, message(err)})
}

type answerEvent struct {
	Event    string     `json:"event"`
	ID       string     `json:"id"`
	Given    string     `json:"given"` // the label that was meant, "" for giving up
	Right    bool       `json:"right"`
	Expected string     `json:"expected"`
	How      drills.How `json:"how"` // "exact", "synonym", "enharmonic", "other reading", "" if wrong
	Notes    []string   `json:"notes"`
	Feedback string     `json:"feedback"`
	Why      string     `json:"why,omitempty"` // with --why: why it was asked
}

func (f *jsonFace) answered(q drills.Question, g drills.Graded, x drills.Explanation) error {
	ev := answerEvent{Event: "answer", ID: q.ID, Given: g.Given, Right: g.Right, Expected: q.Expected, How: g.How, Feedback: x.Text}
	for _, p := range q.Notes() {
		ev.Notes = append(ev.Notes, p.String())
	}
	if f.sit.why && f.sit.plan != nil {
		ev.Why = strings.TrimPrefix(f.sit.plan.why(), "Why this one: ")
	}
	return f.write(ev)
}

func (f *jsonFace) reason(string) error { return nil }

func (f *jsonFace) help(q drills.Question) error {
	return f.refused(q, &badInput{"answer with a number, a label, one of play, low, high, slow, compare, give up, quit, or an object {\"id\", \"given\"}"})
}

func (f *jsonFace) end(bool) error {
	return f.write(struct {
		Event string `json:"event"`
		Asked int    `json:"asked"`
		Right int    `json:"right"`
		Seed  uint64 `json:"seed"`
	}{"end", f.sit.asked, f.sit.right, f.sit.d.Settings().Seed})
}

func (f *jsonFace) waits() bool { return false }
