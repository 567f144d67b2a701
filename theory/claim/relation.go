package claim

import (
	"fmt"
	"strings"

	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// relation checks "is bar 1 moved down a step", "repeats bar 1 an octave higher", "has the rhythm of bar 1".
func (k *Checker) relation(r score.Region, a args) (Result, error) {
	model, err := k.passage.Resolve(*a.at)
	if err != nil {
		return Result{}, err
	}
	if model.Layer == score.Whole {
		model.Layer = r.Layer
	}
	that := a.at.Text
	from, here := line.PlaceNotes(k.sounding, model), line.PlaceNotes(k.sounding, r)
	if len(here) == 0 {
		return nothing(k, r), nil
	}
	if len(from) == 0 {
		return nothing(k, model), nil
	}
	rel := line.Relate(from, here, model.From, r.From)
	res := Result{Verdict: Fails, Evidence: here, Because: fmt.Sprintf("%s here, %s in %s", noteNames(here), noteNames(from), that)}
	words := rel.Words(that)
	var except []string
	for i, n := range rel.Except {
		if i == 3 {
			except = append(except, fmt.Sprintf("%d more", len(rel.Except)-3))
			break
		}
		except = append(except, fmt.Sprintf("%s at %s", n.Pitch, k.where(n)))
	}
	if rel.Likeness != line.Unlike {
		res.Because += fmt.Sprintf("; %d of %s", rel.Matched, plural(rel.Notes, "note"))
		if rel.Likeness != line.SameRhythm {
			res.Because += ": " + words
		} else {
			res.Because = fmt.Sprintf("%s here, %s in %s; only the rhythm is the same", noteNames(here), noteNames(from), that)
		}
	}
	switch {
	case words == "":
		res.Instead = "neither its notes nor its rhythm come from " + that
	case len(except) > 0:
		res.Instead = words + ", but for " + listed(except)
	default:
		res.Instead = words
	}
	if a.word == "rhythm" {
		if rel.Rhythm {
			res.Verdict, res.Instead = Holds, ""
			res.Because = fmt.Sprintf("%s: the same onsets and as many, as in %s", plural(len(here), "note"), that)
		} else {
			res.Because += "; the onsets differ"
			if res.Instead == "" || strings.Contains(res.Instead, "rhythm of") {
				res.Instead = "the rhythms differ"
			}
		}
		return res, nil
	}
	// What was claimed, against what was found.
	i := rel.Interval
	dir := 1
	if i.Descends() || i.Semitones < 0 {
		dir = -1
	}
	fits, loose := false, ""
	switch {
	case a.word == "repeats":
		fits = rel.Likeness == line.Repeated
	case a.word == "octave":
		fits = rel.Likeness == line.Displaced && i.Abs() == pitch.Octave && dir == a.dir
		if rel.Likeness == line.Displaced && dir == a.dir && !fits {
			loose = "by more than one octave"
		}
	default: // moved by an interval, or by a number of steps of any quality
		number := i.Number() == a.number && dir == a.dir
		switch rel.Likeness {
		case line.Transposed:
			fits = number && (!a.strict || i.Abs().Quality() == a.list[0].Quality())
		case line.Diatonic:
			fits = number && !a.strict
			if number && a.strict {
				loose = "by steps of the scale, whose sizes vary (a tonal copy)"
			}
		case line.BySemitone:
			if size := max(i.Semitones, -i.Semitones); dir == a.dir && (a.strict && size == a.list[0].Semitones || !a.strict && number) {
				loose = "by sound only; the spelling says otherwise"
			}
		case line.Displaced:
			fits = number && a.number%7 == 1
		}
	}
	switch {
	case fits && rel.Holds():
		res.Verdict, res.Instead = Holds, ""
		if rel.Likeness == line.Diatonic {
			res.Because += " (by steps of the scale)"
		}
	case fits || loose != "" && rel.Holds():
		res.Verdict = Arguable
		if fits && 8*len(rel.Except) > rel.Notes {
			res.Verdict = Fails
		}
		if loose != "" {
			res.Because += "; " + loose
		}
	}
	return res, nil
}

// noteNames tells the notes of a place, the first dozen of them.
func noteNames(notes []score.Note) string {
	const most = 12
	if len(notes) > most {
		return names(pitches(notes[:most])) + "…"
	}
	return names(pitches(notes))
}
