package drills

import (
	"cmp"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Note is one note of what sounds.
type Note struct {
	Pitch      pitch.Pitch
	Hand       score.Hand
	At, Length score.Time // in quarter notes, from the start of the question
	Cents      float64    // off the tuning; 0 but where the size of a difference is what is asked
	Soft       bool       // a pulse beneath what is asked, to be played softly
	Touch      float64    // how strongly it is struck against the usual strength; above 0, about 0.5 to 1.4
}

// chordTempo makes a quarter note a second, so that a chord by itself sounds for chordLength seconds.
const chordTempo = 60

var chordLength = score.T(11, 5)

// Sound returns what sounds in q, in order of time and then of height, with its tempo in quarter notes a minute. A question
// about one chord sounds for 2.2 seconds.
func (q Question) Sound() (notes []Note, tempo float64) {
	if len(q.Music) == 0 {
		return q.touched(chordNotes(score.Time{}, chordLength, q.Left, q.Right)), chordTempo
	}
	return q.touched(slices.Clone(q.Music)), q.tempo()
}

// touched gives notes the touch of q's hands.
func (q Question) touched(ns []Note) []Note {
	for i, n := range ns {
		ns[i].Touch = 1
		if t := q.touch[n.Hand&1]; t > 0 {
			ns[i].Touch = t
		}
	}
	return ns
}

func (q Question) tempo() float64 {
	if q.Tempo == 0 {
		return chordTempo
	}
	return q.Tempo
}

// chordNotes lets the notes of two hands sound together.
func chordNotes(at, length score.Time, left, right []pitch.Pitch) []Note {
	var out []Note
	for _, p := range left {
		out = append(out, Note{Pitch: p, Hand: score.Left, At: at, Length: length})
	}
	for _, p := range right {
		out = append(out, Note{Pitch: p, Hand: score.Right, At: at, Length: length})
	}
	return out
}

// inTime brings notes into the order of time, then of height.
func inTime(ns []Note) []Note {
	slices.SortStableFunc(ns, func(a, b Note) int { return cmp.Or(a.At.Compare(b.At), a.Pitch.Compare(b.Pitch)) })
	return ns
}

// moved returns ns so much later.
func moved(ns []Note, by score.Time) []Note {
	out := slices.Clone(ns)
	for i := range out {
		out[i].At = out[i].At.Add(by)
	}
	return out
}

func endOf(ns []Note) (end score.Time) {
	for _, n := range ns {
		end = end.Max(n.At.Add(n.Length))
	}
	return end
}

// Shown writes notes for the eye: a melody as names in a row, chords with / between the hands and | between one another. A
// pulse is left out.
func Shown(ns []Note) string {
	ns = inTime(slices.DeleteFunc(slices.Clone(ns), func(n Note) bool { return n.Soft }))
	var groups [][]Note
	single := true
	for i, n := range ns {
		if i == 0 || n.At != ns[i-1].At {
			groups = append(groups, nil)
		}
		g := &groups[len(groups)-1]
		*g = append(*g, n)
		single = single && len(*g) == 1
	}
	var b strings.Builder
	for i, g := range groups {
		switch {
		case i > 0 && single:
			b.WriteByte(' ')
		case i > 0:
			b.WriteString(" | ")
		}
		for j, n := range g {
			switch {
			case j > 0 && g[j-1].Hand != n.Hand:
				b.WriteString(" / ")
			case j > 0:
				b.WriteByte(' ')
			}
			b.WriteString(n.Pitch.String())
		}
	}
	return b.String()
}

// unlike returns the notes of a that b hasn't at the same moment and pitch.
func unlike(a, b []Note) []Note {
	var out []Note
	for _, n := range a {
		if !slices.ContainsFunc(b, func(m Note) bool {
			return m.At == n.At && m.Cents == n.Cents && m.Length == n.Length && m.Pitch.Enharmonic(n.Pitch)
		}) {
			out = append(out, n)
		}
	}
	return out
}

// alone puts what two sounds have each for itself one after the other: first what only was has, then what only said has, each
// from its first moment on.
func alone(was, said []Note) []Note {
	fromStart := func(ns []Note) []Note {
		if len(ns) == 0 {
			return nil
		}
		return moved(ns, score.Time{}.Sub(inTime(ns)[0].At))
	}
	a, b := fromStart(unlike(was, said)), fromStart(unlike(said, was))
	if len(a)+len(b) == 0 {
		return nil
	}
	return append(a, moved(b, endOf(a))...)
}
