package drills

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"plumbline/theory/score"
)

const (
	same      = "same"
	different = "different"
)

var sameRows = []row{{same, []string{"s", "equal", "alike", "no", "nothing"}}, {different, []string{"d", "not same", "changed", "yes", "other"}}}

// sameLevels are the notes sounding together and how far one of them is moved, in cents.
var sameLevels = [...]struct {
	name   string
	voices int
	size   float64
}{{"two notes, a whole tone", 2, 200}, {"three notes, a semitone", 3, 100}, {"four notes, a semitone", 4, 100}, {"five notes, a semitone", 5, 100}, {"three notes, a quarter tone", 3, 50}, {"six notes, a quarter tone", 6, 50}}

// MaxVoices is the largest number of notes sounding together where a smallest difference is looked for.
const MaxVoices = 6

// Positions are where the moved note may lie.
var Positions = []string{"top", "inner", "bass"}

// sameTypes are the chords by the number of notes.
var sameTypes = [MaxVoices + 1]string{3: "maj min dim aug sus4", 4: "maj7 min7 dom7 hdim7 6 m6", 5: "9 maj9 m9 maj7 min7 dom7", 6: "9 maj9 m9 7b9"}

// sameCraft sounds a chord twice, the second time perhaps with one note moved.
var sameCraft = &named{
	asks: "Twice the same, or is one note moved?", rows: sameRows, low: "C3", high: "C6", ear: true,
	steps: func() (out []Level) {
		for i, l := range sameLevels {
			out = append(out, step(i+1, l.name, all(sameRows)...))
		}
		return out
	}(),
	plan: func(s Settings, labels []string) (planner, error) {
		if err := tooNarrow(s, 30); err != nil {
			return nil, err
		}
		voices, size := sameLevels[s.Level-1].voices, sameLevels[s.Level-1].size
		if s.Voices != 0 {
			voices = s.Voices
		}
		if s.Size != 0 {
			size = s.Size
		}
		switch {
		case voices < 2 || voices > MaxVoices:
			return nil, badSetting("voices", "%d notes sounding together; want 2 to %d", s.Voices, MaxVoices)
		case !(size >= 1 && size <= 1200):
			return nil, badSetting("size", "a note moved by %g cents; want 1 to 1200", s.Size)
		case s.Position != "" && !slices.Contains(Positions, s.Position):
			return nil, badSetting("position", "position %q; want top, inner or bass", s.Position)
		case s.Position == "inner" && voices < 3:
			return nil, badSetting("position", "of two notes none is an inner one")
		}
		return filler(func(r *rand.Rand, q *Question) {
			lowest := q.draw(r, s.Low.MIDI(), s.High.MIDI()-28)
			distance := 12 + r.IntN(10)
			at, up := r.IntN(voices), r.IntN(2) == 0
			switch s.Position {
			case "bass":
				at = 0
			case "top":
				at = voices - 1
			case "inner":
				at = 1 + r.IntN(voices-2)
			}
			if voices == 2 {
				q.Left, q.Right = spelledPair(r, lowest, 3+r.IntN(13))
			} else {
				t := pick(r, types(sameTypes[voices]))
				bass, _, places, ok := withMembers(r, t, 0, -1, distance, voices, func(int) int { return lowest })
				if !ok {
					return // TestKinds sees to it that this doesn't happen
				}
				q.Left, q.Right, _ = voiced(r, t, bass, lowest, places)
			}
			two := score.Quarters(2)
			first := chordNotes(score.Time{}, two, q.Left, q.Right)
			second := moved(first, two.Add(score.T(1, 2)))
			cents := size
			if !up {
				cents = -size
			}
			if q.Expected == different {
				second[at].Cents = cents
				q.about = fmt.Sprintf("%s, the %s of %d notes, moved by %s", second[at].Pitch, placeWord(at, voices), voices, centsWord(cents))
			}
			q.Music, q.Tempo = append(first, second...), 75
		}), nil
	},
}

func placeWord(i, n int) string {
	switch {
	case i == 0:
		return "lowest"
	case i == n-1:
		return "highest"
	case n == 3:
		return "middle one"
	}
	return fmt.Sprintf("%s from below", [...]string{"", "second", "third", "fourth", "fifth"}[i])
}

// centsWord says a small distance: "a semitone up", "35 cents down".
func centsWord(cents float64) string {
	way := " up"
	if cents < 0 {
		cents, way = -cents, " down"
	}
	switch cents {
	case 50:
		return "a quarter tone" + way
	case 100:
		return "a semitone" + way
	case 200:
		return "a whole tone" + way
	}
	return fmt.Sprintf("%.0f cents%s", cents, way)
}

// A Staircase looks for the size at which a given share of answers is right, by the weighted up-down method: a right answer
// makes the next item smaller by a step, a wrong one larger by Target/(1-Target) steps, so that it settles where the two
// balance, at Target (C. Kaernbach, Simple adaptive testing with the weighted up-down method, Perception & Psychophysics 49,
// 1991). Sizes are stepped in equal ratios. The zero value is not ready; see NewStaircase.
type Staircase struct {
	Target   float64 // the share of right answers it settles at, between 0.5 and 1
	Step     float64 // downwards, in octaves of size: 0.25 is a factor of 2^0.25
	Low, Top float64 // the smallest and the largest size

	x        float64 // log2 of the size now
	last     int     // +1 after a step up, -1 after one down
	turns    []float64
	answered int
}

// The staircase of the drill: 75 % right, halfway between guessing and certainty where there are two answers; from two
// semitones down to 2 cents.
const (
	stairTarget = .75
	stairStep   = .25
	stairLow    = 2
	stairTop    = 400
)

// NewStaircase returns a staircase for two answers that begins at a size in cents.
func NewStaircase(start float64) *Staircase {
	s := &Staircase{Target: stairTarget, Step: stairStep, Low: stairLow, Top: stairTop}
	s.x = math.Log2(min(max(start, s.Low), s.Top))
	return s
}

// Size returns the size of the next item.
func (s *Staircase) Size() float64 { return math.Exp2(s.x) }

// Answer takes an answer to an item of that size.
func (s *Staircase) Answer(right bool) {
	dir, by := -1, -s.Step
	if !right {
		dir, by = 1, s.Step*s.Target/(1-s.Target)
	}
	if s.last != 0 && dir != s.last {
		s.turns = append(s.turns, s.x)
	}
	s.last = dir
	s.answered++
	s.x = min(max(s.x+by, math.Log2(s.Low)), math.Log2(s.Top))
}

// firstTurns are left out of the estimate: on the way to where it settles.
const firstTurns = 4

// Threshold returns the size heard with the target's share of right answers: the mean, in equal ratios, of the middles between
// each turn at the top and the next at the bottom (H. Levitt 1971, mid-run estimates). low and high hold the true size in about
// 95 of 100 cases: three and a half standard errors of that mean, since middles that follow each other are alike; the figure is found by
// simulation (TestStaircase). ok is false before twelve turns, which are too few to say.
func (s *Staircase) Threshold() (size, low, high float64, ok bool) {
	if len(s.turns) < firstTurns+8 {
		return 0, 0, 0, false
	}
	var xs []float64
	for i := firstTurns; i+1 < len(s.turns); i += 2 {
		xs = append(xs, (s.turns[i]+s.turns[i+1])/2)
	}
	mean, ss := 0.0, 0.0
	for _, x := range xs {
		mean += x / float64(len(xs))
	}
	for _, x := range xs {
		ss += (x - mean) * (x - mean)
	}
	se := math.Sqrt(ss / float64(len(xs)-1) / float64(len(xs)))
	return math.Exp2(mean), math.Exp2(mean - bounds*se), math.Exp2(mean + bounds*se), true
}

// bounds is how many standard errors the bounds are away.
const bounds = 3.5

// A Search looks for the smallest difference heard under several conditions at once, each by its own staircase, taken in turn.
type Search struct {
	conditions []Condition
	stairs     []*Staircase
	set        Settings
}

// A Condition is how many notes sound and where the moved one lies.
type Condition struct {
	Voices   int
	Position string
}

// String says a condition: "4 notes, top".
func (c Condition) String() string { return fmt.Sprintf("%d notes, %s", c.Voices, c.Position) }

// A Found is what a search found under one condition: the smallest size heard in 75 of 100, in cents, between Low and High
// with about 95 % certainty. If not OK there were too few answers.
type Found struct {
	Condition
	Cents, Low, High float64
	Answers          int
	OK               bool
}

// NewSearch returns a search with the settings of a drill of kind Same: of its number of notes, at all positions unless one
// is set. It returns a *SettingsError if s can't be done.
func NewSearch(s Settings) (*Search, error) {
	d, err := New(s)
	if err != nil {
		return nil, err
	}
	if s.Kind != Same {
		return nil, badSetting("kind", "the smallest difference is looked for by the drill %q only", Same)
	}
	set := d.Settings()
	voices, size := set.Voices, set.Size
	level := sameLevels[max(set.Level, 1)-1]
	if voices == 0 {
		voices = level.voices
	}
	if size == 0 {
		size = level.size
	}
	out := &Search{set: set}
	for _, p := range Positions {
		if s.Position != "" && p != s.Position || p == "inner" && voices < 3 {
			continue
		}
		out.conditions = append(out.conditions, Condition{voices, p})
		out.stairs = append(out.stairs, NewStaircase(size))
	}
	return out, nil
}

// Settings returns those of question n as it stands now, by which the drill New gives the same question.
func (s *Search) Settings(n int) Settings {
	i := (n - 1) % len(s.stairs)
	set := s.set
	set.Voices, set.Position, set.Size = s.conditions[i].Voices, s.conditions[i].Position, s.stairs[i].Size()
	return set
}

// Question returns question n, at the size that the answers up to now lead to. The same answers give the same questions.
func (s *Search) Question(n int) Question {
	d, err := New(s.Settings(n))
	if err != nil {
		return Question{} // NewSearch has tried it, and sizes stay within their bounds
	}
	return d.Question(n)
}

// Answer takes the answer to question n.
func (s *Search) Answer(n int, right bool) { s.stairs[(n-1)%len(s.stairs)].Answer(right) }

// Found returns what is known up to now.
func (s *Search) Found() []Found {
	out := make([]Found, len(s.stairs))
	for i, st := range s.stairs {
		f := Found{Condition: s.conditions[i], Answers: st.answered}
		f.Cents, f.Low, f.High, f.OK = st.Threshold()
		out[i] = f
	}
	return out
}
