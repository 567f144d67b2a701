package planner

import (
	"math"
	"sync"
	"time"
)

// An Ability is a probability distribution of the ability in a skill, in logits: the log odds of a right answer with two
// choices on a standard question, lapses apart.
//
//	P(right) = lapse/m + (1 - lapse) * 1/(1 + exp(-(ability - cost - ln(m-1)))),   m choices, cost of the setting in logits
//
// With ability = cost that is 1/m, the chance of guessing; the form is that of a choice among m by strengths (R. D. Luce,
// Individual Choice Behavior, 1959) of which one is exp(ability - cost) and the others are 1.
type Ability struct{ p [gridSize]float64 }

// The grid: from worse than guessing to 99.9 % of many choices.
const (
	gridSize = 49
	gridLow  = -3.0
	gridStep = 0.25
)

func gridAt(i int) float64 { return gridLow + gridStep*float64(i) }

// lapse is the share of answers that come of something else than hearing: a slip of the finger, a thought elsewhere. 4 % is
// ours, no source.
const lapse = 0.04

// The prior: a normal distribution about a chance of 70 % with two choices (ours, no source), wide enough for a beginner and
// for one who knows it all.
const (
	priorMean = 0.9
	priorSD   = 1.9
)

// What an answer brings: ability grows a little with each, on average, and by how much nobody knows.
const (
	growth   = 0.06
	growthSD = 0.28
)

// restVariance is by how much a day of rest widens the distribution, up to restMost.
const (
	restVariance = 0.02
	restMost     = 0.6
)

func newAbility() Ability {
	var a Ability
	for i := range a.p {
		d := (gridAt(i) - priorMean) / priorSD
		a.p[i] = math.Exp(-d * d / 2)
	}
	a.normalize()
	return a
}

func (a *Ability) normalize() {
	sum := 0.0
	for _, p := range a.p {
		sum += p
	}
	for i := range a.p {
		a.p[i] /= sum
	}
}

// chance is P(right), see Ability.
func chance(ability, cost float64, m int) float64 {
	if m < 2 {
		return 1
	}
	return lapse/float64(m) + (1-lapse)/(1+float64(m-1)*math.Exp(cost-ability))
}

// curves are chances along the grid, kept since the same costs come again and again.
var curves sync.Map // curveKey to *[gridSize]float64

type curveKey struct {
	cost float64
	m    int
}

func curve(cost float64, m int) *[gridSize]float64 {
	k := curveKey{cost, m}
	if c, ok := curves.Load(k); ok {
		return c.(*[gridSize]float64)
	}
	var c [gridSize]float64
	for i := range c {
		c[i] = chance(gridAt(i), cost, m)
	}
	curves.Store(k, &c)
	return &c
}

// learn takes in an answer, by Bayes' rule, and then lets the ability have grown by it.
func (a *Ability) learn(correct bool, cost float64, m int) {
	c := curve(cost, m)
	for i, p := range c {
		if !correct {
			p = 1 - p
		}
		a.p[i] *= p
	}
	a.spread(growth, growthSD*growthSD)
	a.normalize()
}

// rest widens the distribution by the time that has passed.
func (a *Ability) rest(d time.Duration) {
	if days := d.Hours() / 24; days >= 0.25 {
		a.spread(0, min(restVariance*days, restMost))
		a.normalize()
	}
}

// spread moves the distribution by a mean and widens it by a variance, as steps to neighbours on the grid: of three weights
// that have this mean and variance, as often as it takes to keep them positive. At the ends what would leave stays.
func (a *Ability) spread(mean, variance float64) {
	times := 1 + int(variance/(0.9*gridStep*gridStep))
	m, v := mean/float64(times)/gridStep, variance/float64(times)/(gridStep*gridStep)
	up, down := (v+m*m+m)/2, (v+m*m-m)/2
	down = max(down, 0)
	for range times {
		var to [gridSize]float64
		for i, p := range a.p {
			to[min(i+1, gridSize-1)] += up * p
			to[max(i-1, 0)] += down * p
			to[i] += (1 - up - down) * p
		}
		a.p = to
	}
}

// Accuracy is the expected chance of a right answer at a cost with m choices.
func (a *Ability) Accuracy(cost float64, m int) float64 {
	sum := 0.0
	for i, c := range curve(cost, m) {
		sum += c * a.p[i]
	}
	return sum
}

// Interval returns the ends of the central interval that holds the ability with a probability, between the points of the
// grid.
func (a *Ability) Interval(probability float64) (low, high float64) {
	tail := (1 - probability) / 2
	at := func(q float64) float64 {
		sum := 0.0
		for i, p := range a.p {
			if sum+p >= q {
				return gridAt(i) + gridStep*((q-sum)/p-0.5) // the weight of a point is spread evenly about it
			}
			sum += p
		}
		return gridAt(gridSize - 1)
	}
	return at(tail), at(1 - tail)
}
