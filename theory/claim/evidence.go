package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// pitches returns the pitches of notes, in their order.
func pitches(notes []score.Note) []pitch.Pitch {
	out := make([]pitch.Pitch, len(notes))
	for i, n := range notes {
		out[i] = n.Pitch
	}
	return out
}

// distinct returns notes low to high, each spelled pitch of each hand once.
func distinct(notes []score.Note) []score.Note {
	out := slices.Clone(notes)
	slices.SortStableFunc(out, func(a, b score.Note) int {
		if c := a.Pitch.Compare(b.Pitch); c != 0 {
			return c
		}
		return int(b.Hand) - int(a.Hand)
	})
	return slices.CompactFunc(out, func(a, b score.Note) bool { return a.Pitch == b.Pitch && a.Hand == b.Hand })
}

// names joins pitches with dashes: "A2–E3–B3".
func names(ps []pitch.Pitch) string {
	var s []string
	for i, p := range ps {
		if i == 0 || p != ps[i-1] {
			s = append(s, p.String())
		}
	}
	return strings.Join(s, "–")
}

// spoken lists notes by hand, the lower one first: "left hand A2–E3–B3, right hand E4–A4–D5".
func spoken(notes []score.Note) string {
	var parts []string
	for _, h := range []score.Hand{score.Left, score.Right} {
		var ps []pitch.Pitch
		for _, n := range distinct(notes) {
			if n.Hand == h {
				ps = append(ps, n.Pitch)
			}
		}
		if len(ps) > 0 {
			parts = append(parts, h.String()+" "+names(ps))
		}
	}
	return strings.Join(parts, ", ")
}

// listed joins words: "A", "A and B", "A, B and C".
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// pick takes the notes of a layer out of a sonority, low to high.
func pick(notes []score.Note, l score.Layer) []score.Note {
	switch l {
	case score.LeftHand, score.RightHand:
		want := score.Left
		if l == score.RightHand {
			want = score.Right
		}
		return slices.DeleteFunc(slices.Clone(notes), func(n score.Note) bool { return n.Hand != want })
	}
	if len(notes) == 0 {
		return nil
	}
	low, high := notes[0].Pitch, notes[len(notes)-1].Pitch
	switch l {
	case score.Bass:
		return notes[:1]
	case score.TopLine:
		return notes[len(notes)-1:]
	case score.InnerLines:
		return slices.DeleteFunc(slices.Clone(notes), func(n score.Note) bool { return n.Pitch == low || n.Pitch == high })
	}
	return notes
}

// A sonority is what a claim about a chord looks at.
type sonority struct {
	notes  []score.Note // distinct, low to high
	slices []score.Slice
	moment bool   // one instant: everything sounds together
	how    string // what was taken, when that isn't plain: "over the whole beat"
}

// sonority takes the notes of a region. A beat is its first instant; but if that is a single note or a bare interval and
// more follows within the beat (a broken chord), the whole beat is meant, as a musician would read it.
func (k *Checker) sonority(r score.Region) sonority {
	all := score.Slices(k.sounding, r.From, r.To)
	for i := range all {
		all[i].Notes = pick(all[i].Notes, r.Layer)
	}
	collect := func(list []score.Slice) []score.Note {
		var notes []score.Note
		for _, s := range list {
			notes = append(notes, s.Notes...)
		}
		return distinct(notes)
	}
	whole := sonority{notes: collect(all), slices: all, moment: len(all) == 1}
	if !r.Moment {
		return whole
	}
	var first []score.Slice
	if len(all) > 0 && all[0].At == r.From {
		first = all[:1]
	}
	at := sonority{notes: collect(first), slices: first, moment: true}
	classes := func(notes []score.Note) int {
		var pcs []int
		for _, n := range notes {
			pcs = append(pcs, n.Pitch.PC())
		}
		slices.Sort(pcs)
		return len(slices.Compact(pcs))
	}
	single := r.Layer == score.Bass || r.Layer == score.TopLine
	if !single && classes(at.notes) < 3 && classes(whole.notes) > classes(at.notes) {
		whole.how = "over the whole beat"
		return whole
	}
	if len(first) == 0 && len(all) > 0 {
		whole.how = "after a rest on the beat"
		return whole
	}
	return at
}

// said puts the notes of a sonority and how they were taken into words.
func (s sonority) said() string {
	if s.how != "" {
		return spoken(s.notes) + " (" + s.how + ")"
	}
	return spoken(s.notes)
}

// nothing is the result for a place where nothing sounds.
func nothing(k *Checker, r score.Region) Result {
	who := "nothing sounds"
	if l := r.Layer.String(); l != "" {
		who = "the " + l + " is silent"
	}
	return Result{Verdict: Fails, Because: who + " there", Instead: "name a place with notes; " + k.firstSound(r)}
}

func (k *Checker) firstSound(r score.Region) string {
	for _, s := range score.Slices(k.sounding, r.From, k.passage.End()) {
		if notes := pick(s.Notes, r.Layer); len(notes) > 0 {
			return "the next ones sound at " + k.passage.Where(s.At)
		}
	}
	return "none follow"
}

// bestReading says the first reading of notes, for what would hold instead: "the first reading is F#m7/A (…)".
func bestReading(notes []score.Note) string {
	rs := chord.Name(pitches(notes))
	if len(rs) == 0 {
		return ""
	}
	s := "the first reading is " + rs[0].Label
	if w := rs[0].Words; w != "" && w != rs[0].Label {
		s += " (" + w + ")"
	}
	return s
}

// where says when a note is struck: "bar 3 beat 2".
func (k *Checker) where(n score.Note) string { return k.passage.Where(n.Onset) }

// plural returns "1 chord", "3 chords".
func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
