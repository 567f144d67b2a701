package drills

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
)

// pairing says which member of one chord stands where which of another does: to[i] is the index in b for member i of a, -1 if
// there is none, and extra are the members of b that stand for none of a.
func pairing(a, b chord.Type) (to, extra []int) {
	to = make([]int, len(a.Intervals))
	taken := make([]bool, len(b.Intervals))
	pair := func(fit func(x, y pitch.Interval) bool) {
		for i, x := range a.Intervals {
			for j, y := range b.Intervals {
				if to[i] < 0 && !taken[j] && fit(x, y) {
					to[i], taken[j] = j, true
				}
			}
		}
	}
	for i := range to {
		to[i] = -1
	}
	pair(func(x, y pitch.Interval) bool { return x == y })
	pair(func(x, y pitch.Interval) bool { return x.Steps == y.Steps })
	// What is left: the second or fourth of a suspension for the third, a sixth for a seventh, and whatever is near.
	for far := 1; far <= 3; far++ {
		pair(func(x, y pitch.Interval) bool {
			d := x.Semitones - y.Semitones
			return (x.Semitones > 12) == (y.Semitones > 12) && d <= far && d >= -far
		})
	}
	for j := range taken {
		if !taken[j] {
			extra = append(extra, j)
		}
	}
	return to, extra
}

// remap puts the chord b in the place of a, both on root, keeping every note as near to where it was as can be. A note without
// a counterpart goes to the nearest member of b; a member of b without a counterpart takes a doubled note, else it is added on
// top of the chord or below its top.
func remap(ns []pitch.Pitch, root pitch.Class, a, b chord.Type) []pitch.Pitch {
	to, extra := pairing(a, b)
	out := make([]pitch.Pitch, 0, len(ns)+len(extra))
	role := make([]int, 0, len(ns)) // index of the member of b each note has become, -1 for a foreign note left as it is
	for _, p := range ns {
		i := slices.IndexFunc(a.Intervals, func(iv pitch.Interval) bool { return root.Add(iv) == p.Class() })
		if i < 0 {
			i = slices.IndexFunc(a.Intervals, func(iv pitch.Interval) bool { return root.Add(iv).Enharmonic(p.Class()) })
		}
		if i < 0 {
			out, role = append(out, p), append(role, -1)
			continue
		}
		j := to[i]
		if j < 0 {
			best := 13
			for k, iv := range b.Intervals {
				q := near(root.Add(iv), p)
				if d := max(q.MIDI()-p.MIDI(), p.MIDI()-q.MIDI()); d < best && !slices.Contains(out, q) {
					best, j = d, k
				}
			}
			if j < 0 {
				continue
			}
		}
		out, role = append(out, near(root.Add(b.Intervals[j]), p)), append(role, j)
	}
	for _, j := range extra {
		c := root.Add(b.Intervals[j])
		// The highest doubled note gives way, but never the lowest note of all.
		at := -1
		for i := len(out) - 1; i > 0; i-- {
			if role[i] >= 0 && slices.Index(role, role[i]) != i || role[i] >= 0 && slices.Contains(role[i+1:], role[i]) {
				at = i
				break
			}
		}
		if at >= 0 {
			out[at], role[at] = near(c, out[at]), j
			continue
		}
		p := near(c, slices.MaxFunc(out, pitch.Pitch.Compare))
		if slices.ContainsFunc(out, p.Enharmonic) {
			p.Octave++
		}
		out, role = append(out, p), append(role, j)
	}
	slices.SortFunc(out, pitch.Pitch.Compare)
	return slices.Compact(out)
}

func (qualityCraft) instead(label string, q Question) (left, right []pitch.Pitch) {
	a, ok := typeOf(q.Expected)
	b, ok2 := typeOf(label)
	if !ok || !ok2 {
		return nil, nil
	}
	return resplit(remap(q.Notes(), q.Root, a, b), q)
}

// resplit shares ns between the hands as q does, as far as the numbers agree.
func resplit(ns []pitch.Pitch, q Question) (left, right []pitch.Pitch) {
	n := min(len(q.Left), len(ns))
	if len(q.Right) == 0 {
		n = len(ns)
	}
	return slices.Clone(ns[:n]), slices.Clone(ns[n:])
}

func (c qualityCraft) explain(q Question, g Graded) string {
	ns := q.Notes()
	want, ok := typeOf(q.Expected)
	if !ok {
		return "It was " + article(q.Expected) + "."
	}
	was := fmt.Sprintf("%s, %s (%s)", article(q.Expected), symbolOf(q.Root, want, ns), spellOut(q.Root, want))
	switch {
	case g.Right && (g.How == Enharmonic || g.How == OtherReading):
		return fmt.Sprintf("Right: %s.", g.Why)
	case g.Right:
		return "Right: " + was + "."
	case g.Given == "":
		return "It was " + was + "."
	}
	got, ok := typeOf(g.Given)
	if !ok {
		return fmt.Sprintf("You said %s; this was %s.", g.Given, was)
	}
	s := fmt.Sprintf("You said %s; this was %s: %s.", g.Given, was, strings.Join(differences(q.Root, want, got), "; "))
	if g.Why != "" {
		s += " " + upper(g.Why) + "."
	}
	return s
}

// spellOut lists a chord's members: "C E G Bb".
func spellOut(root pitch.Class, t chord.Type) string {
	out := make([]string, len(t.Intervals))
	for i, iv := range t.Intervals {
		out[i] = root.Add(iv).String()
	}
	return strings.Join(out, " ")
}

// differences says note by note how the chord want differs from got, both on root, at most three times.
func differences(root pitch.Class, want, got chord.Type) []string {
	other := chord.Symbol{Root: root, Type: got, Inversion: -1}.House()
	to, extra := pairing(want, got)
	var out []string
	for i, j := range to {
		w := root.Add(want.Intervals[i])
		if j < 0 {
			out = append(out, fmt.Sprintf("%s, the %s, is more than %s has", w, want.Roles[i], other))
			continue
		}
		if g := root.Add(got.Intervals[j]); g != w {
			d := want.Intervals[i].Semitones - got.Intervals[j].Semitones
			if d == 0 {
				out = append(out, fmt.Sprintf("%s, where %s has %s: the same key, spelled otherwise", w, other, g))
				continue
			}
			out = append(out, fmt.Sprintf("%s where %s has %s, %s: %s", w, other, g, distance(d), partOf(want, i)))
		}
	}
	for _, j := range extra {
		out = append(out, fmt.Sprintf("it lacks %s, the %s of %s", root.Add(got.Intervals[j]), got.Roles[j], other))
	}
	if len(out) == 0 {
		return []string{"the same notes above another bass"}
	}
	if len(out) > 3 {
		out = append(out[:3], "and more")
	}
	return out
}

// distance puts a distance from one note to another in words: "a semitone higher".
func distance(semitones int) string {
	n, way := semitones, "higher"
	if n < 0 {
		n, way = -n, "lower"
	}
	switch n {
	case 1:
		return "a semitone " + way
	case 2:
		return "a whole tone " + way
	}
	return fmt.Sprintf("%d semitones %s", n, way)
}

// partOf says what member i of t is: "the seventh is major", "that is the suspended fourth".
func partOf(t chord.Type, i int) string {
	switch role := t.Roles[i]; role {
	case "third", "fifth", "seventh", "ninth":
		return fmt.Sprintf("the %s is %s", role, t.Intervals[i].Quality())
	default:
		return "that is the " + role
	}
}

// parts compares the members of two chords: the third or what is suspended for it, the fifth, the seventh or sixth, and what
// lies above.
func (qualityCraft) parts(label string, q Question) []Part {
	want, ok := typeOf(q.Expected)
	got, ok2 := typeOf(label)
	if !ok || !ok2 {
		return nil
	}
	return typeParts(want, got)
}

func typeParts(want, got chord.Type) []Part {
	var out []Part
	for _, name := range []string{"third", "fifth", "seventh or sixth", "extension"} {
		w, g := membersOf(want, name), membersOf(got, name)
		if w == "" && g == "" {
			continue
		}
		p := Part{Name: name, Want: w, Got: g}
		if w == g {
			p.Credit = 1
		}
		out = append(out, p)
	}
	return out
}

// membersOf lists the members of t that belong to a part.
func membersOf(t chord.Type, part string) string {
	var out []string
	for i, iv := range t.Intervals[1:] {
		of := "extension"
		switch role := t.Roles[i+1]; {
		case iv.Semitones > 12:
		case iv.Steps == 2, strings.HasPrefix(role, "suspended"):
			of = "third"
		case iv.Steps == 4:
			of = "fifth"
		case iv.Steps == 5, iv.Steps == 6:
			of = "seventh or sixth"
		}
		if of == part {
			out = append(out, iv.Words())
		}
	}
	return strings.Join(out, " and ")
}
