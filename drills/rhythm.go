package drills

import (
	"math/rand/v2"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A figure is a rhythm of two beats, in the letters of a typed passage (q quarter, e eighth, s sixteenth, a dot, 3( for a
// triplet).
type figure struct {
	label, letters string
	lengths        []score.Time
}

func fig(label, letters string) figure {
	f := figure{label: label, letters: letters}
	times := map[string]score.Time{"q": score.Quarters(1), "q.": score.T(3, 2), "e": score.T(1, 2), "e.": score.T(3, 4), "s": score.T(1, 4), "t": score.T(1, 3), "h": score.Quarters(2)}
	for w := range strings.FieldsSeq(letters) {
		f.lengths = append(f.lengths, times[w])
	}
	return f
}

var figures = []figure{
	fig("two quarters", "q q"), fig("four eighths", "e e e e"), fig("quarter, two eighths", "q e e"), fig("two eighths, quarter", "e e q"),
	fig("dotted quarter, eighth", "q. e"), fig("eighth, dotted quarter", "e q."), fig("eighth, quarter, eighth", "e q e"),
	fig("dotted eighth, sixteenth, quarter", "e. s q"), fig("sixteenth, dotted eighth, quarter", "s e. q"), fig("four sixteenths, quarter", "s s s s q"),
	fig("eighth, two sixteenths, quarter", "e s s q"), fig("two sixteenths, eighth, quarter", "s s e q"), fig("triplet, quarter", "t t t q"),
	fig("sixteenth, eighth, sixteenth, quarter", "s e s q"), fig("quarter, triplet", "q t t t"), fig("eighth, dotted eighth, sixteenth, eighth", "e e. s e"),
}

// The pulse beats four times, then on beneath the figure and the note after it.
const countIn = 4

var rhythmCraft = &named{
	asks: "Four beats, then a figure of two beats and a last note. Which figure?", low: "C4", high: "A5", ear: true,
	rows: func() (out []row) {
		for _, f := range figures {
			out = append(out, row{f.label, []string{strings.ReplaceAll(f.letters, "t t t", "3(e e e)"), strings.ReplaceAll(f.letters, " ", "")}})
		}
		return out
	}(),
	steps: func() []Level {
		labels := func(from, to int) (out []string) {
			for _, f := range figures[from:to] {
				out = append(out, f.label)
			}
			return out
		}
		return []Level{step(1, "quarters and eighths", labels(0, 4)...), step(2, "dotted and syncopated", labels(0, 7)...),
			step(3, "sixteenths and triplets", labels(7, 15)...), step(4, "all of them", labels(0, len(figures))...)}
	}(),
	plan: func(s Settings, labels []string) (planner, error) {
		return filler(func(r *rand.Rand, q *Question) {
			q.Tempo = float64(63 + 3*r.IntN(10))
			first := q.draw(r, max(64, s.Low.MIDI()), min(74, s.High.MIDI()))
			p := pitch.FromMIDI(first, true)
			var f figure
			for _, x := range figures {
				if x.label == q.Expected {
					f = x
				}
			}
			for i := range countIn + 3 {
				q.Music = append(q.Music, Note{Pitch: pitch.Pitch{Octave: 3}, Hand: score.Left, At: score.Quarters(i), Length: score.T(1, 4), Soft: true})
			}
			at := score.Quarters(countIn)
			for _, l := range f.lengths {
				q.Music = append(q.Music, Note{Pitch: p, Hand: score.Right, At: at, Length: l})
				at = at.Add(l)
			}
			q.Music = inTime(append(q.Music, Note{Pitch: p, Hand: score.Right, At: at, Length: score.Quarters(1)}))
			q.about = f.counted()
		}), nil
	},
	apart: func(label string, q Question) []Part {
		// Beat by beat: what is struck within each of the two.
		want, got := strikes(q.Expected), strikes(label)
		return []Part{judged("first beat", want[0], got[0]), judged("second beat", want[1], got[1])}
	},
}

// strikes says where in each of its two beats a figure is struck: "1 1 1/2".
func strikes(label string) (out [2]string) {
	for _, f := range figures {
		if f.label != label {
			continue
		}
		at := score.Time{}
		for _, l := range f.lengths {
			i := 0
			in := at
			if !at.Less(score.Quarters(1)) {
				i, in = 1, at.Sub(score.Quarters(1))
			}
			out[i] = strings.TrimPrefix(out[i]+", "+score.Quarters(1).Add(in).String(), ", ")
			at = at.Add(l)
		}
	}
	for i := range out {
		if out[i] == "" {
			out[i] = "nothing struck"
		}
	}
	return out
}

// counted says how one counts a figure aloud, with what isn't struck in brackets: "one (two) and". A beat is counted as finely as
// its notes ask: one e and a, one and, one tri plet, or one.
func (f figure) counted() string {
	struck := map[score.Time]bool{}
	at := score.Time{}
	for _, l := range f.lengths {
		struck[at] = true
		at = at.Add(l)
	}
	var out []string
	for beat, word := range [...]string{"one", "two"} {
		on := score.Quarters(beat)
		grids := [...]struct {
			step  score.Time
			words []string
		}{{score.Quarters(1), []string{word}}, {score.T(1, 2), []string{word, "and"}}, {score.T(1, 4), []string{word, "e", "and", "a"}}, {score.T(1, 3), []string{word, "tri", "plet"}}}
		for _, g := range grids {
			left := 0 // strikes of this beat that the grid doesn't hold
			for t := range struck {
				if !t.Less(on) && t.Less(score.Quarters(beat+1)) {
					left++
				}
			}
			counts := make([]string, len(g.words))
			t := on
			for i, w := range g.words {
				if counts[i] = "(" + w + ")"; struck[t] {
					counts[i], left = w, left-1
				}
				t = t.Add(g.step)
			}
			if left == 0 {
				out = append(out, counts...)
				break
			}
		}
	}
	return "counted " + strings.ReplaceAll(strings.Join(out, " "), ") (", " ")
}
