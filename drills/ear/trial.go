package ear

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"

	"plumbline/theory/score"
)

// A Task is how the ear is asked.
type Task int8

// The tasks. Guessing is right half of the time in both, so the same test decides.
const (
	WhichOfTwo Task = iota // two are played; which of them has it?
	YesOrNo                // one is played; does it have it?
)

// String returns "which of two" or "yes or no", or %!Task(n) out of range.
func (t Task) String() string {
	switch t {
	case WhichOfTwo:
		return "which of two"
	case YesOrNo:
		return "yes or no"
	}
	return fmt.Sprintf("%%!Task(%d)", int(t))
}

// Choices returns the answers to choose from.
func (t Task) Choices() []string {
	if t == YesOrNo {
		return []string{"yes", "no"}
	}
	return []string{"first", "second"}
}

// A Playing is one thing to be played: the subject's places of a passage.
type Playing struct {
	Passage *score.Passage
	Touch   float64 // how hard the keys are struck against what is written, about 1
	Level   float64 // how much louder or softer than usual the whole is, in LU, about 0
	True    bool    // the claim is true of it
}

// A Trial is one question about a subject.
type Trial struct {
	Number    int // from 1
	Task      Task
	Transpose int       // semitones up, the same for all that is played
	Play      []Playing // in this order: two, or one
	Expected  string    // one of Task.Choices
	Twin      Twin      // what is or could be heard against the original
}

// TouchRange and levelRange are by how much, either way, touch and level of each playing differ from the usual, at random: more than what is left between the
// original and its twin when all is matched, so that neither brightness nor loudness can be followed. Two playings are never more
// than 0.5 LU apart.
const TouchRange, levelRange = .25, .2

// Trial draws question n, n from 1 on, of a task: pair, side and order by chance, and the pitch. The same seed and number give
// the same question.
func (s *Subject) Trial(seed uint64, n int, task Task) Trial {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s: %s", s.Claim.PlaceText, s.Claim.Statement)
	r := rand.New(rand.NewPCG(seed^h.Sum64(), uint64(n)*0x9e3779b97f4a7c15+uint64(task)))
	t := Trial{Number: n, Task: task}
	t.Twin = s.Pairs[r.IntN(len(s.Pairs))][r.IntN(2)]
	low, high := s.room()
	t.Transpose = low + r.IntN(high-low+1)
	about := func(mean, reach float64) float64 { return mean + reach*(2*r.Float64()-1) }
	is := Playing{s.Original, about(1, TouchRange), about(0, levelRange), true}
	isnt := Playing{t.Twin.Passage, about(1, TouchRange), about(0, levelRange), false}
	first := r.IntN(2) == 0
	switch {
	case task == YesOrNo && first:
		t.Play, t.Expected = []Playing{is}, "yes"
	case task == YesOrNo:
		t.Play, t.Expected = []Playing{isnt}, "no"
	case first:
		t.Play, t.Expected = []Playing{is, isnt}, "first"
	default:
		t.Play, t.Expected = []Playing{isnt, is}, "second"
	}
	return t
}

// room returns how far all that is played may be moved: up to a tritone down and a fourth up, within the safe keys.
func (s *Subject) room() (low, high int) {
	low = min(max(-6, lowestKey-s.keys[0]), 0)
	high = max(min(5, highestKey-s.keys[1]), 0)
	return low, high
}

// measure finds the lowest and the highest key of what is played.
func (s *Subject) measure() {
	s.keys = [2]int{127, 0}
	look := func(p *score.Passage) {
		for _, n := range p.Sounding() {
			for _, r := range s.Places {
				if n.Onset.Less(r.To) && r.From.Less(n.End()) {
					s.keys[0], s.keys[1] = min(s.keys[0], n.Pitch.MIDI()), max(s.keys[1], n.Pitch.MIDI())
				}
			}
		}
	}
	look(s.Original)
	for _, p := range s.Pairs {
		look(p[0].Passage)
		look(p[1].Passage)
	}
	for _, p := range s.Named {
		s.keys[0], s.keys[1] = min(s.keys[0], p.MIDI()), max(s.keys[1], p.MIDI())
	}
}
