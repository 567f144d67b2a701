package main

import (
	"fmt"
	"strings"

	"plumbline/drills"
	"plumbline/drills/ear"
	"plumbline/theory/claim"
)

// textClaimFace tells what happens in lines that are appended.
type textClaimFace struct {
	*textFace
	s *claimSitting
}

const (
	claimKeyLines = `Keys: 1 the first   2 the second   space again   g give up
      c compare, after a wrong answer   ? help   q quit`
	claimLineHelp = "Answer 1 or 2, or write play, give up or quit."
)

func (f *textClaimFace) begin() error {
	s := f.s
	what := "Which of the two has it?"
	if s.task == ear.YesOrNo {
		what = "Does it have it?"
	}
	if err := f.say(fmt.Sprintf("Claims by ear: %s of %s, seed %d. %s", count(len(s.results), "claim", "claims"), s.claims.file, s.flags.seed, what),
		"You hear the place as it is, and with a small change that makes just the claim false, each time at another pitch and in any order. Each claim goes on until your answers decide: five in a row say little, seven decide.",
		"It starts quiet: set your volume low first; stop if it is unpleasant."); err != nil {
		return err
	}
	return f.showKeys()
}

func (f *textClaimFace) showKeys() error {
	if !f.keys {
		return f.say(claimLineHelp)
	}
	lines := claimKeyLines
	if f.s.task == ear.YesOrNo {
		lines = strings.NewReplacer("1 the first", "1 yes", "2 the second", "2 no").Replace(lines)
	}
	_, err := fmt.Fprintln(f.out, lines)
	return err
}

// heading says which claim it is.
func (f *textClaimFace) heading(n int, c claim.Claim) string {
	return fmt.Sprintf("Claim %d of %d, line %d. %s: %s", n, len(f.s.results), c.Line, upperFirst(c.PlaceText), c.Statement)
}

func (f *textClaimFace) leftOut(n int, c claim.Claim, why string) error {
	fmt.Fprintln(f.out)
	return f.say(f.heading(n, c), "Not asked: "+why+".")
}

func (f *textClaimFace) claim(n int, a *asking) error {
	fmt.Fprintln(f.out)
	if err := f.say(f.heading(n, a.claim())); err != nil {
		return err
	}
	var more []string
	switch done := a.state.Right + a.state.Wrong; {
	case done > 0:
		more = append(more, fmt.Sprintf("Taken up where you left it, after %s.", counted(done, "answer")))
	case a.state.Try > 1:
		more = append(more, fmt.Sprintf("You have tried this %s before; the evidence adds up.", times(a.state.Try-1)))
	}
	switch s := a.subject; {
	case s.Tonic != nil:
		more = append(more, fmt.Sprintf("First the tonic chord of %s sounds, moved like the rest.", s.Tonic))
	case len(s.Named) == 1:
		more = append(more, fmt.Sprintf("First %s sounds, moved like the rest.", s.Named[0].Class()))
	case len(s.Named) > 1:
		var names []string
		for _, p := range s.Named {
			names = append(names, p.Class().String())
		}
		more = append(more, fmt.Sprintf("First %s sound, one after the other, moved like the rest.", strings.Join(names, ", ")))
	}
	if len(more) == 0 {
		return nil
	}
	return f.say(strings.Join(more, " "))
}

func (f *textClaimFace) trial(a *asking, t ear.Trial, sound string) error {
	ask := "the first (1) or the second (2)?"
	if t.Task == ear.YesOrNo {
		ask = "yes (1) or no (2)?"
	}
	if err := f.say(fmt.Sprintf("Question %d: %s", t.Number, ask)); err != nil {
		return err
	}
	if sound != "" {
		fmt.Fprintf(f.out, "Sound: %s\n", sound)
	}
	return nil
}

func (f *textClaimFace) sounded(t ear.Trial, what, sound string) error {
	if sound != "" {
		_, err := fmt.Fprintf(f.out, "Sound: %s\n", sound)
		return err
	}
	if what == "compare" {
		return f.say("First as it is, then changed.")
	}
	return nil
}

func (f *textClaimFace) refused(t ear.Trial, err error) error {
	return f.textFace.refused(drills.Question{}, err)
}

// verdictOf says what was right, and what was changed.
func verdictOf(t ear.Trial, right bool) string {
	switch {
	case right:
		return "Right."
	case t.Task == ear.WhichOfTwo:
		return fmt.Sprintf("It was the %s. In the other one: %s.", t.Expected, t.Twin.Change)
	case t.Expected == "yes":
		return "Yes, it has it: this was the place as it is."
	}
	return "No, it hasn't: " + t.Twin.Change + "."
}

func (f *textClaimFace) answered(a *asking, t ear.Trial, given string, right bool) error {
	if err := f.say(verdictOf(t, right)); err != nil || right || !f.keys {
		return err
	}
	return f.say("c compares by ear: as it is, then changed; Enter goes on.")
}

// decidedText says what a try brought.
func decidedText(a *asking) string {
	n := fmt.Sprintf("%d of %d right in this try", a.state.Right, a.state.Right+a.state.Wrong)
	switch a.state.Last {
	case ear.Heard:
		return "Heard: " + n + "."
	case ear.NotHeard:
		return "Not heard yet: " + n + ". Hear it taken apart with plumbline hear, and try again another day."
	case ear.Undecided:
		return "Undecided: " + n + ". Try again another day; what you answered counts."
	}
	return ""
}

func (f *textClaimFace) decided(a *asking) error { return f.say(decidedText(a)) }

func (f *textClaimFace) help(ear.Trial) error {
	if err := f.showKeys(); err != nil {
		return err
	}
	return f.say("In one of the two the claim is true; in the other something small is changed so that it is false. Loudness and pitch say nothing. If you can't tell, guess: guesses can't make you a hearer. Every answer is saved at once.")
}

func (f *textClaimFace) end(interrupted bool) error {
	fmt.Fprintln(f.out)
	s := f.s
	if s.asked == 0 {
		return f.say("Nothing answered.")
	}
	var parts []string
	for _, v := range []ear.Verdict{ear.Heard, ear.NotHeard, ear.Undecided} {
		if n := s.tally[v]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, v))
		}
	}
	text := fmt.Sprintf("%d of %d answers right.", s.right, s.asked)
	if len(parts) > 0 {
		text = "Claims decided: " + strings.Join(parts, ", ") + "; " + text
	}
	if err := f.say(text + " Every answer is saved; a claim that is not decided goes on the next time."); err != nil {
		return err
	}
	cmd := "plumbline progress"
	if s.flags.db != "" {
		cmd += " --db " + s.flags.db
	}
	if s.flags.learner != "" {
		cmd += fmt.Sprintf(" --learner %q", s.flags.learner)
	}
	_, err := fmt.Fprintf(f.out, "To see what you hear: %s\n", cmd)
	return err
}

// jsonClaimFace writes one JSON object a line.
type jsonClaimFace struct {
	*jsonFace
	s *claimSitting
}

// claimEvent is what the events about a claim have in common.
type claimEvent struct {
	Event     string `json:"event"`
	Line      int    `json:"line"`
	Place     string `json:"place"`
	Statement string `json:"statement"`
	Form      string `json:"form"`
}

func (f *jsonClaimFace) about(event string, c claim.Claim) claimEvent {
	return claimEvent{event, c.Line, c.PlaceText, c.Statement, c.Form().ID}
}

func (f *jsonClaimFace) begin() error {
	if !f.s.sound.silent && !f.s.sound.files {
		f.s.e.hint("it starts quiet: set your volume low first; stop if it is unpleasant")
	}
	return nil
}

func (f *jsonClaimFace) leftOut(n int, c claim.Claim, why string) error {
	return f.write(struct {
		claimEvent
		Why string `json:"why"`
	}{f.about("left out", c), why})
}

func (f *jsonClaimFace) claim(n int, a *asking) error {
	names := []string{}
	for _, p := range a.subject.Named {
		names = append(names, p.Class().String())
	}
	tonic := ""
	if a.subject.Tonic != nil {
		tonic = a.subject.Tonic.String()
	}
	return f.write(struct {
		claimEvent
		Try      int      `json:"try"`
		Answered int      `json:"answered"` // in this try, earlier
		Tonic    string   `json:"tonic"`    // whose chord sounds first, "" if none does
		Given    []string `json:"given"`    // notes that sound first
	}{f.about("claim", a.claim()), a.state.Try, a.state.Right + a.state.Wrong, tonic, names})
}

func (f *jsonClaimFace) trial(a *asking, t ear.Trial, sound string) error {
	prompt := "Which of the two has it?"
	if t.Task == ear.YesOrNo {
		prompt = "Does it have it?"
	}
	return f.write(struct {
		Event   string   `json:"event"`
		ID      string   `json:"id"`
		Number  int      `json:"number"`
		Kind    string   `json:"kind"`
		Mode    string   `json:"mode"`
		Line    int      `json:"line"`
		Prompt  string   `json:"prompt"`
		Choices []string `json:"choices"`
		Sound   string   `json:"sound"`
	}{"question", f.s.trialID(a, t), t.Number, "claim", "ear", a.claim().Line, prompt, t.Task.Choices(), sound})
}

func (f *jsonClaimFace) sounded(t ear.Trial, what, sound string) error {
	return f.jsonFace.sounded(drills.Question{ID: f.s.lastID}, what, sound)
}

func (f *jsonClaimFace) refused(t ear.Trial, err error) error {
	return f.jsonFace.refused(drills.Question{ID: f.s.lastID}, err)
}

func (f *jsonClaimFace) help(t ear.Trial) error {
	return f.refused(t, &badInput{"answer with 1 or 2, one of play, give up, quit, or an object {\"id\", \"given\"}"})
}

func (f *jsonClaimFace) answered(a *asking, t ear.Trial, given string, right bool) error {
	return f.write(struct {
		Event    string `json:"event"`
		ID       string `json:"id"`
		Given    string `json:"given"` // "" for giving up
		Right    bool   `json:"right"`
		Expected string `json:"expected"`
		Changed  string `json:"changed"` // what is otherwise where the claim is false
		Feedback string `json:"feedback"`
	}{"answer", f.s.lastID, given, right, t.Expected, t.Twin.Change, verdictOf(t, right)})
}

func (f *jsonClaimFace) decided(a *asking) error {
	return f.write(struct {
		claimEvent
		Ear      string  `json:"ear"`
		Try      int     `json:"try"`
		Right    int     `json:"right"`    // in this try
		Answers  int     `json:"answers"`  // in this try
		Evidence float64 `json:"evidence"` // for hearing against guessing, over all tries
	}{f.about("verdict", a.claim()), a.state.Last.String(), a.state.Try, a.state.Right, a.state.Right + a.state.Wrong, a.state.Evidence()})
}

func (f *jsonClaimFace) end(bool) error {
	return f.write(struct {
		Event string `json:"event"`
		Asked int    `json:"asked"`
		Right int    `json:"right"`
		Seed  uint64 `json:"seed"`
	}{"end", f.s.asked, f.s.right, f.s.flags.seed})
}
