// Package planner chooses what a drill asks next, so that little time goes by on what is known and none of it is forgotten.
//
// [New] takes the skills that may be asked, what is recorded of each, and a seed; [Planner.Next] gives one [Step] after the
// other, [Planner.Learn] takes in what came of it. A step names the labels that are offered and how hard the question is made;
// which of the labels sounds is drawn evenly by package drills, so that neither the choice of the step nor its difficulty
// tells the answer. The package is pure: it is told the time. The same skills, histories, seed, times and answers give the
// same steps.
//
// # When: spaced repetition
//
// Each skill (a label of one kind of drill, by ear or by sight) is one card of FSRS (version 5, its published default
// weights; package go-fsrs; J. Ye, J. Su & Y. Cao, A Stochastic Shortest Path Algorithm for Optimizing Spaced Repetition
// Scheduling, KDD 2022). A day on which the skill was asked is one review, rated by the share that was right, because FSRS
// models forgetting over days, not the minutes of a sitting. A skill is due when its chance of being remembered has fallen to
// 90 %. The weights come from vocabulary cards; nothing shows that the ear forgets at the same rate.
//
// # How hard: a Bayesian adaptive method
//
// The ability in each skill is a probability distribution on a grid, brought up to date by every answer (see [Ability]), and
// the next question is placed where the chance of a right answer, by that distribution, is nearest to [Target]: the method
// of QUEST (A. B. Watson & D. G. Pelli, QUEST: A Bayesian adaptive psychometric method, Perception & Psychophysics 33 (1983)
// 113-120), with the mean in place of the mode as in ZEST (P. E. King-Smith et al., Vision Research 34 (1994) 885-912);
// references from memory. Between answers the distribution is widened a little, since abilities grow.
//
// # What beside what
//
// What was named in place of a skill is offered beside it, and a pair that is often confused is asked twice in a row, by
// itself. Otherwise a label is not aimed at again within the next two questions, and no two questions in a row are hard in
// the same way.
package planner

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/open-spaced-repetition/go-fsrs/v3"

	"plumbline/drills"
)

// Target is the chance of a right answer that a question is aimed at: near the 70.7 % at which the commonest staircase, two
// right down and one wrong up, settles (H. Levitt, Transformed up-down methods in psychoacoustics, JASA 49 (1971) 467-477).
// There is enough left to be learned from, and still more right than wrong. The learners of the tests come to 90 % about as
// fast with any target from 65 to 75 %, and more slowly above.
const Target = 0.7

// Known is the accuracy on a standard question from which on a skill counts as known: it is then asked only when it is due.
const Known = 0.9

// standardChoices is the number of choices of the standard question.
const standardChoices = 4

// A Skill is one label of a kind of drill, by ear or by sight.
type Skill struct {
	Kind  drills.Kind
	Sight bool
	Label string
}

// An Item is a skill that may be asked. Items of one deck are offered beside each other; they stand in the order in which
// they are to be met.
type Item struct {
	Skill
	Deck int
}

// A Day counts the answers of one day. A Past is an answer.
type (
	Day struct {
		Start        time.Time
		Asked, Right int
	}
	Past struct {
		Correct bool
		Given   string // "": gave up
		Setting string // see Setting.String; "" if not known
		At      time.Time
	}
)

// A History is what is recorded of a skill: the last days on which it was asked and the last answers, the oldest first.
type History struct {
	Skill
	Days []Day
	Last []Past
}

// A Step is what to ask next.
type Step struct {
	Number  int // from 1
	Kind    drills.Kind
	Sight   bool
	Labels  []string // offered, each as likely to be right as the other
	Setting Setting
	Aim     Skill   // for whose sake it is asked
	Chance  float64 // of a right answer, as far as is known
	Pair    bool    // a pair that is confused, by itself
	Why     []string
}

// state is what is known of a skill.
type state struct {
	item    Item
	index   int
	ability Ability
	seen    int // answers ever taken in
	card    fsrs.Card
	before  fsrs.Card // without today
	today   Day
	given   map[string]float64 // what was said in its place, older ones counting less
	said    float64            // the sum of those, and of the right ones
	last    time.Time
	aimed   int // number of the step that last aimed at it, 0: none
	offered int // of the last step that offered it
	// Of the ability, kept until it changes: the accuracy on the standard question, and the low end of its interval.
	accuracy, low float64
}

// Planner chooses what to ask next. It is not safe for use by several goroutines at once.
type Planner struct {
	seed   uint64
	fsrs   *fsrs.FSRS
	states []*state
	byName map[Skill]*state
	number int
	last   Step
	repeat bool // the last step is to be put once more
}

// New returns a planner for the items. Histories of other skills are passed over.
func New(items []Item, histories []History, seed uint64) *Planner {
	params := fsrs.DefaultParam()
	params.EnableShortTerm = false
	params.MaximumInterval = 365
	p := &Planner{seed: seed, fsrs: fsrs.NewFSRS(params), byName: map[Skill]*state{}}
	for _, it := range items {
		if p.byName[it.Skill] != nil {
			continue
		}
		s := &state{item: it, index: len(p.states), ability: newAbility(), card: fsrs.NewCard(), before: fsrs.NewCard(), given: map[string]float64{}}
		s.summarize()
		p.states = append(p.states, s)
		p.byName[it.Skill] = s
	}
	for _, h := range histories {
		s := p.byName[h.Skill]
		if s == nil {
			continue
		}
		for _, d := range h.Days {
			p.review(s, d)
		}
		for _, a := range h.Last {
			set, ok := ParseSetting(a.Setting)
			if !ok {
				set = Setting{Choices: standardChoices}
			}
			s.take(a.Correct, a.Given, set, a.At)
		}
		s.summarize()
	}
	return p
}

// review takes in a day; one that is told again replaces what was told of it.
func (p *Planner) review(s *state, d Day) {
	if d.Asked == 0 {
		return
	}
	if !d.Start.Equal(s.today.Start) {
		s.before = s.card
	}
	s.today = d
	s.card = p.fsrs.Next(s.before, d.Start, rating(d)).Card
}

// rating rates a day's answers as FSRS wants it. The bounds are ours, no source: the standard question with 4 choices is
// guessed right once in 4 times.
func rating(d Day) fsrs.Rating {
	switch share := float64(d.Right) / float64(d.Asked); {
	case share < 0.55:
		return fsrs.Again
	case share < 0.75:
		return fsrs.Hard
	case share == 1 && d.Asked >= 4:
		return fsrs.Easy
	}
	return fsrs.Good
}

// fading is by what older confusions count less with each answer: half as much after 17.
const fading = 0.96

func (s *state) take(correct bool, given string, set Setting, at time.Time) {
	if !s.last.IsZero() {
		s.ability.rest(at.Sub(s.last))
	}
	s.ability.learn(correct, set.Cost(), set.Choices)
	s.seen++
	s.last = at
	s.said *= fading
	for g := range s.given {
		s.given[g] *= fading
	}
	s.said++
	if !correct && given != "" && given != s.item.Label {
		s.given[given]++
	}
}

// Learn takes in what came of a step: the label that was right, what was given, "" for giving up.
func (p *Planner) Learn(step Step, expected, given string, correct bool, at time.Time) {
	s := p.byName[Skill{step.Kind, step.Sight, expected}]
	if s == nil {
		return
	}
	day := at.UTC().Truncate(24 * time.Hour)
	d := Day{Start: day, Asked: 1}
	if s.today.Start.Equal(day) {
		d.Asked, d.Right = s.today.Asked+1, s.today.Right
	}
	if correct {
		d.Right++
	}
	p.review(s, d)
	s.take(correct, given, step.Setting, at)
	s.summarize()
}

func (s *state) summarize() {
	s.accuracy = s.ability.Accuracy(0, standardChoices)
	low, _ := s.ability.Interval(0.9)
	s.low = chance(low, 0, standardChoices)
}

// An Estimate is what is known of a skill, for whoever shows it.
type Estimate struct {
	Skill
	Seen      int       // answers that it rests on
	Accuracy  float64   // expected on a standard question, in [0, 1]
	Low, High float64   // a 90 % credible interval for it
	Due       time.Time // zero if it was never asked
	Recall    float64   // the chance that it is remembered, by FSRS; 0 if it was never asked
}

// Estimates returns what is known of each item at a time, in their order.
func (p *Planner) Estimates(now time.Time) []Estimate {
	out := make([]Estimate, len(p.states))
	for i, s := range p.states {
		low, high := s.ability.Interval(0.9)
		out[i] = Estimate{Skill: s.item.Skill, Seen: s.seen, Accuracy: s.accuracy,
			Low: chance(low, 0, standardChoices), High: chance(high, 0, standardChoices)}
		if s.seen > 0 || s.today.Asked > 0 {
			out[i].Due, out[i].Recall = s.card.Due, p.recall(s, now)
		}
	}
	return out
}

func (p *Planner) recall(s *state, now time.Time) float64 {
	if s.card.State == fsrs.New || s.card.Stability <= 0 {
		return 0
	}
	if now.Before(s.card.LastReview) {
		return 1
	}
	return p.fsrs.GetRetrievability(s.card, now)
}

// random returns the source of step n: of the seed and the number alone.
func (p *Planner) random(n int) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprintf(h, "planner %d %d", p.seed, n)
	return rand.New(rand.NewPCG(p.seed, h.Sum64()))
}

// maxLearning is how many skills are worked on at once before a new one is met.
const maxLearning = 20

// minChoices and maxChoices bound the choices of a question that is not about a pair; pairEvery is how often a pair that is
// confused is asked by itself when one of it is aimed at.
const (
	minChoices = 3
	maxChoices = 6
	pairEvery  = 0.25
)

// Next returns the next step. It returns false if there are no two labels to tell apart.
func (p *Planner) Next(now time.Time) (Step, bool) {
	n := p.number + 1
	r := p.random(n)
	if p.repeat && p.last.Pair {
		p.number, p.repeat = n, false
		step := p.last
		step.Number = n
		step.Setting = p.setting(r, p.statesOf(step), step.Setting)
		step.Chance = p.chance(step)
		step.Why = []string{fmt.Sprintf("The same two once more: %s and %s are put side by side until they are told apart.", step.Labels[0], step.Labels[1])}
		p.mark(step)
		return step, true
	}
	s, why := p.aim(r, n, now)
	if s == nil {
		return Step{}, false
	}
	set, pair, beside := p.beside(r, s)
	if len(set) < 2 {
		return Step{}, false
	}
	step := Step{Number: n, Kind: s.item.Kind, Sight: s.item.Sight, Aim: s.item.Skill, Pair: pair}
	for _, m := range set {
		step.Labels = append(step.Labels, m.item.Label)
	}
	before := p.last.Setting
	if p.number == 0 {
		before = Setting{}
	}
	step.Setting = p.setting(r, set, before)
	step.Chance = p.chance(step)
	step.Why = append(why, beside...)
	step.Why = append(step.Why, howHard(step))
	p.number = n
	p.repeat = pair && !p.last.Pair
	p.mark(step)
	return step, true
}

func (p *Planner) mark(step Step) {
	p.last = step
	for _, m := range p.statesOf(step) {
		m.offered = step.Number
	}
	p.byName[step.Aim].aimed = step.Number
}

func (p *Planner) statesOf(step Step) []*state {
	out := make([]*state, len(step.Labels))
	for i, l := range step.Labels {
		out[i] = p.byName[Skill{step.Kind, step.Sight, l}]
	}
	return out
}

// aim chooses the skill for whose sake the next question is asked, and says why.
func (p *Planner) aim(r *rand.Rand, n int, now time.Time) (*state, []string) {
	learning := 0
	for _, s := range p.states {
		if s.seen > 0 && s.accuracy < Known {
			learning++
		}
	}
	var best *state
	top := math.Inf(-1)
	next := true // the next new skill in order hasn't been passed yet
	for _, s := range p.states {
		noise := 0.08 * r.Float64()
		value := noise
		switch {
		case s.seen == 0:
			if !next {
				continue
			}
			next = false
			// Something new is met when few things are being worked on, or nothing else is left.
			value += 0.25 * float64(maxLearning-learning) / maxLearning
		default:
			value += s.gain()
			if due := now.Sub(s.card.Due); due >= 0 && s.today.Asked == 0 || due >= 24*time.Hour {
				value += 0.15 + (1 - p.recall(s, now))
			}
		}
		if s.aimed > 0 && n-s.aimed <= 2 {
			value -= 2 // interleaving: not again at once, unless nothing else is there
		}
		if value > top {
			best, top = s, value
		}
	}
	if best == nil {
		return nil, nil
	}
	return best, p.reasons(best, now)
}

// gain is how much is to be won by asking a skill: what is missing to certainty, and what is not known about it.
func (s *state) gain() float64 { return (1 - s.accuracy) + 0.25*(s.accuracy-s.low) }

// confused is how often, lately, a was taken for b or b for a, in parts of 1, and out of how much.
func confused(a, b *state) (share, weight float64) {
	if total := a.said + b.said; total > 0 {
		return (a.given[b.item.Label] + b.given[a.item.Label]) / total, a.given[b.item.Label] + b.given[a.item.Label]
	}
	return 0, 0
}

// pairWeight and pairShare are from when on two labels count as a confused pair.
const (
	pairWeight = 1.8
	pairShare  = 0.12
)

// beside chooses what is offered beside s: what it is confused with, then what needs work itself. The labels come in the
// order of the deck.
func (p *Planner) beside(r *rand.Rand, s *state) (set []*state, pair bool, why []string) {
	type rival struct {
		s             *state
		value, weight float64
	}
	var rivals []rival
	var friend *rival
	for _, o := range p.states {
		if o == s || o.item.Kind != s.item.Kind || o.item.Sight != s.item.Sight || o.item.Deck != s.item.Deck {
			continue
		}
		share, weight := confused(s, o)
		v := 3*share + 0.3*r.Float64() - 0.001*math.Abs(float64(o.index-s.index))
		if o.seen == 0 {
			v += 0.1 // something new may be met on the way
		} else {
			v += 1.2 * o.gain()
		}
		if o.offered > 0 && o.offered == p.number {
			v -= 0.1
		}
		rivals = append(rivals, rival{o, v, weight})
		if weight >= pairWeight && share >= pairShare && (friend == nil || weight > friend.weight) {
			friend = &rival{o, v, weight}
		}
	}
	if len(rivals) == 0 {
		return []*state{s}, false, nil
	}
	slices.SortStableFunc(rivals, func(a, b rival) int { return cmp.Compare(b.value, a.value) })
	set = []*state{s}
	if friend != nil && !p.last.Pair && r.Float64() < pairEvery {
		set, pair = append(set, friend.s), true
		why = append(why, fmt.Sprintf("You took one for the other lately, %s and %s, so the two are asked by themselves.", s.item.Label, friend.s.item.Label))
	} else {
		for _, v := range rivals[:min(len(rivals), p.choices(s)-1)] {
			set = append(set, v.s)
			if v.weight >= 0.9 {
				why = append(why, fmt.Sprintf("You took it for %s lately, or that for it, so that is among the choices.", v.s.item.Label))
			}
		}
	}
	slices.SortFunc(set, func(a, b *state) int { return a.index - b.index })
	return set, pair, why
}

// choices is the largest number of choices, up to maxChoices, with which the chance of a right answer is still at the target
// without anything else made hard.
func (p *Planner) choices(s *state) int {
	m := 2
	for m < maxChoices && s.ability.Accuracy(0, m+1) >= Target-0.02 {
		m++
	}
	return max(m, minChoices)
}

// chance is that of a right answer to a step: any of its labels may be the one.
func (p *Planner) chance(step Step) float64 {
	sum := 0.0
	for _, s := range p.statesOf(step) {
		sum += s.ability.Accuracy(step.Setting.Cost(), len(step.Labels))
	}
	return sum / float64(len(step.Labels))
}

// setting chooses how hard the question is made: of all settings those whose chance is nearest to the target, one of them at
// random, but not the one before. It looks at all labels alike, so that it tells nothing about which one sounds.
func (p *Planner) setting(r *rand.Rand, set []*state, before Setting) Setting {
	all := settings(set[0].item.Kind, set[0].item.Sight)
	byCost := map[float64]float64{}
	type rated struct {
		s   Setting
		off float64
	}
	var list []rated
	for _, c := range all {
		c.Choices = len(set)
		if len(all) > 1 && c.like(before) {
			continue
		}
		cost := c.Cost()
		ch, ok := byCost[cost]
		if !ok {
			for _, s := range set {
				ch += s.ability.Accuracy(cost, len(set)) / float64(len(set))
			}
			byCost[cost] = ch
		}
		list = append(list, rated{c, math.Abs(ch - Target)})
	}
	least := math.Inf(1)
	for _, c := range list {
		least = min(least, c.off)
	}
	near := list[:0]
	for _, c := range list {
		if c.off <= least+0.03 {
			near = append(near, c)
		}
	}
	return near[r.IntN(len(near))].s
}
