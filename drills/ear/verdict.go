// Package ear decides whether a claim about a passage is heard: it makes the questions, and it weighs the answers.
//
// [Find] gives a claim's [Subject]: what is played, and twins of it in which just that claim is false and everything else is
// as like as can be. [Subject.Trial] draws one question from it: which of the two has it? The answers go into a [State],
// which says when enough has been heard. The package is pure: it reads no clock, touches no terminal, no database, no sound.
//
// # The verdict
//
// Within one try the answers are weighed by Wald's sequential test of guessing against hearing ([Wald], [Test]). Taken again
// and again, that test would let a guesser through in the end. So "heard" is decided by evidence over all tries of a claim: a
// weighted sum of likelihood ratios, one for each try with which the learner may have begun to hear. Under guessing this sum
// is a martingale that begins at 1, so the chance that it ever reaches 20 is at most 1 in 20 (Ville 1939); and one who has
// learned to hear it isn't held back for long by early failures. See [State].
//
// # No side clues
//
// A listener who follows loudness, register, length or brightness alone must stay a guesser, even one who is told after each
// answer what was right, and learns. Original and twin have the same length, number of notes and dynamics, and whoever plays
// them brings them to one loudness. Where a twin differs in register, there is one that differs as much the other way, and
// either is as likely; both are moved to another pitch at random; and each is struck a little harder or softer, and is a
// trace louder or softer, at random: more than what else might be left to tell them apart.
package ear

import (
	"fmt"
	"math"
)

// A Test is a sequential test of two shares of right answers against each other.
type Test struct {
	Guess, Hear float64 // shares of right answers, 0 < Guess < Hear < 1
	Alpha, Beta float64 // the chances of calling a guesser a hearer and the other way round, about
	Most        int     // answers, then it stops undecided
}

// Wald is the test of the ear verdict: guessing, half of the answers right, against hearing, 85 of 100; error rates of 5 % each;
// at most 30 answers.
var Wald = Test{Guess: .5, Hear: .85, Alpha: .05, Beta: .05, Most: 30}

// Bounds returns the likelihood ratios at which t is decided: for hearing at upper or above, for guessing at lower or below.
// A. Wald, Sequential Tests of Statistical Hypotheses, Annals of Mathematical Statistics 16 (1945):
//
//	upper = (1 - beta)/alpha, lower = beta/(1 - alpha)
func (t Test) Bounds() (upper, lower float64) { return (1 - t.Beta) / t.Alpha, t.Beta / (1 - t.Alpha) }

// Ratio returns the likelihood ratio of hearing to guessing after so many right and wrong answers.
func (t Test) Ratio(right, wrong int) float64 {
	return math.Exp(float64(right)*math.Log(t.Hear/t.Guess) + float64(wrong)*math.Log((1-t.Hear)/(1-t.Guess)))
}

// Decide returns what t says of so many right and wrong answers.
func (t Test) Decide(right, wrong int) Verdict {
	upper, lower := t.Bounds()
	switch ratio := t.Ratio(right, wrong); {
	case ratio >= upper:
		return Heard
	case ratio <= lower:
		return NotHeard
	case right+wrong >= t.Most:
		return Undecided
	}
	return Open
}

// A Verdict says whether a claim is heard.
type Verdict int8

// The verdicts. Open means that more answers are wanted.
const (
	Open Verdict = iota
	Heard
	NotHeard
	Undecided
)

var verdictWords = [...]string{"", "heard", "not heard", "undecided"}

// String returns "heard", "not heard" or "undecided", "" for Open, or %!Verdict(n) out of range.
func (v Verdict) String() string {
	if v < Open || int(v) >= len(verdictWords) {
		return fmt.Sprintf("%%!Verdict(%d)", int(v))
	}
	return verdictWords[v]
}

// Characteristics are the chances of each end of a test, and how long it takes.
type Characteristics struct {
	Heard, NotHeard, Undecided float64 // they add up to 1
	Mean                       float64 // answers
}

// Exact returns the characteristics of t for a learner who is right with chance p each time, 0 <= p <= 1, by summing over all
// rows of answers.
func (t Test) Exact(p float64) Characteristics { return exact(p, t.Most, t.Decide) }

// exact sums over all rows of answers up to most of them, as decide ends them.
func exact(p float64, most int, decide func(right, wrong int) Verdict) Characteristics {
	var c Characteristics
	at := []float64{1} // at[r] is the chance of r right answers so far, not decided
	for n := 1; n <= most; n++ {
		next := make([]float64, n+1)
		for r, q := range at {
			next[r] += q * (1 - p)
			next[r+1] += q * p
		}
		for r, q := range next {
			v := decide(r, n-r)
			if v == Open {
				if n == most {
					v = Undecided
				} else {
					continue
				}
			}
			switch v {
			case Heard:
				c.Heard += q
			case NotHeard:
				c.NotHeard += q
			default:
				c.Undecided += q
			}
			c.Mean += q * float64(n)
			next[r] = 0
		}
		at = next
	}
	return c
}

// A State is all that the answers about one claim have shown, over all tries. The zero value is a claim never asked about. It
// is small and comparable, and may be stored and taken up again; [Replay] makes it anew from counts.
//
// With w(k) = 1/(k(k+1)), which add up to 1, and LR(k) the likelihood ratio of all answers from try k on, the evidence is
//
//	M = sum over k >= 1 of w(k) LR(k)
//
// where LR of a try still to come is 1. "Heard" is M >= 20: that is 1 in 20 for a guesser, however often he tries (J. Ville,
// Étude critique de la notion de collectif, 1939; the use of such sums is that of e-values: G. Shafer, Testing by betting,
// 2021; both from memory). A try ends so, or at Wald's lower bound, or after 30 answers. What was heard once stays heard; tries
// after that are plain ones, and tell whether it still is.
type State struct {
	Try          int     `json:"try"`             // begun so far
	Past         float64 `json:"past"`            // sum over k <= Try of w(k) LR(k), with the answers before this try
	Right        int     `json:"right"`           // in this try
	Wrong        int     `json:"wrong"`           //
	Last         Verdict `json:"last"`            // of this try; Open while it goes on
	EverHeard    bool    `json:"ever_heard"`      // once heard, it stays so
	HeardAt      int     `json:"heard_at"`        // the try at which it was first heard, 0 if never
	AnswersAfore int     `json:"answers_earlier"` // in the tries before this one
}

// heardAt is the evidence at which a claim counts as heard: 1/Alpha.
func heardAt() float64 { return 1 / Wald.Alpha }

// Begin returns s at the beginning of another try. A try that is still open is given up as it stands: its answers count.
func (s State) Begin() State {
	if s.Try > 0 {
		s.Past *= Wald.Ratio(s.Right, s.Wrong)
		s.AnswersAfore += s.Right + s.Wrong
	}
	s.Try++
	s.Past += 1 / (float64(s.Try) * float64(s.Try+1))
	s.Right, s.Wrong, s.Last = 0, 0, Open
	return s
}

// Evidence returns M, from 0 on; 1 is no evidence either way.
func (s State) Evidence() float64 {
	if s.Try == 0 {
		return 1
	}
	// The weights of the tries to come add up to 1/(Try+1).
	return s.Past*Wald.Ratio(s.Right, s.Wrong) + 1/float64(s.Try+1)
}

// Answer returns s after one more answer; it begins a try if none is open.
func (s State) Answer(right bool) State {
	if s.Try == 0 || s.Last != Open {
		s = s.Begin()
	}
	if right {
		s.Right++
	} else {
		s.Wrong++
	}
	s.Last = s.decide(s.Right, s.Wrong)
	if s.Last == Heard && !s.EverHeard {
		s.EverHeard, s.HeardAt = true, s.Try
	}
	return s
}

// decide says how a try of s stands after so many right and wrong answers.
func (s State) decide(right, wrong int) Verdict {
	if s.EverHeard && s.HeardAt < s.Try {
		return Wald.Decide(right, wrong)
	}
	s.Right, s.Wrong = right, wrong
	_, lower := Wald.Bounds()
	switch {
	case s.Evidence() >= heardAt():
		return Heard
	case Wald.Ratio(right, wrong) <= lower:
		return NotHeard
	case right+wrong >= Wald.Most:
		return Undecided
	}
	return Open
}

// Verdict returns what can be said of the claim: Heard if it ever was, else what the last try that ended brought; Open if none has.
func (s State) Verdict() Verdict {
	if s.EverHeard {
		return Heard
	}
	return s.Last
}

// Answers returns how many answers have been given in all tries.
func (s State) Answers() int { return s.AnswersAfore + s.Right + s.Wrong }

// Exact returns the characteristics of the next try of s, or of the one that is open from its beginning on, for a learner who
// is right with chance p each time, 0 <= p <= 1.
func (s State) Exact(p float64) Characteristics {
	if s.Try == 0 || s.Last != Open {
		s = s.Begin()
	}
	return exact(p, Wald.Most, s.decide)
}

// A Count is how many answers of one try were right and wrong, and how it ended.
type Count struct {
	Right, Wrong int
	Verdict      Verdict
}

// Replay returns the state after tries whose answers were so many right and wrong, the oldest first. The order of answers
// within a try doesn't matter, since each ended when it was first decided. A last try that is Open stays open.
func Replay(tries []Count) State {
	var s State
	for _, t := range tries {
		s = s.Begin()
		s.Right, s.Wrong, s.Last = t.Right, t.Wrong, t.Verdict
		if t.Verdict == Heard && !s.EverHeard {
			s.EverHeard, s.HeardAt = true, s.Try
		}
	}
	return s
}

// ParseVerdict reads the words of [Verdict.String]; ok is false for others.
func ParseVerdict(text string) (v Verdict, ok bool) {
	for i, w := range verdictWords {
		if w == text {
			return Verdict(i), true
		}
	}
	return Open, false
}
