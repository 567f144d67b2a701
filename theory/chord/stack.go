package chord

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A Stack is the build of a chord by the intervals between adjacent notes.
type Stack struct {
	// Kind is "fifths", "fourths", "thirds", "seconds" or "mixed". Two notes have the kind of their interval if it is one
	// of these, else "", as have fewer than two.
	Kind      string
	Intervals []pitch.Interval // low to high, without octave doublings that were passed over
	Text      string           // "perfect fifths, all", "fourths, one augmented", "mixed: P5, M3"
}

// distinct returns notes from low to high without repetitions. Two spellings of the same key stay two notes.
func distinct(notes []pitch.Pitch) []pitch.Pitch {
	ns := slices.Clone(notes)
	slices.SortFunc(ns, pitch.Pitch.Compare)
	return slices.Compact(ns)
}

// stackWord returns the kind of stack an interval belongs to. A chromatic semitone (augmented unison) counts among the
// seconds, since chromatic clusters are written with it.
func stackWord(i pitch.Interval) string {
	switch {
	case i == pitch.Interval{Steps: 0, Semitones: 1}:
		return "seconds"
	case i.Semitones <= 0: // two names of one key, or names that cross
		return ""
	}
	switch i.Steps {
	case 1:
		return "seconds"
	case 2:
		return "thirds"
	case 3:
		return "fourths"
	case 4:
		return "fifths"
	}
	return ""
}

// pureKind returns the common kind of all adjacent intervals of ns (low to high), "" if there is none or only one note.
func pureKind(ns []pitch.Pitch) string {
	kind := ""
	for i := 1; i < len(ns); i++ {
		switch k := stackWord(ns[i].Sub(ns[i-1])); {
		case k == "" || i > 1 && k != kind:
			return ""
		default:
			kind = k
		}
	}
	return kind
}

// withoutDoublings looks for a choice of one octave for every note name of ns that gives a pure stack of at least three notes
// on the same bass name, and returns its kind and notes; kind is "" if there is none.
func withoutDoublings(ns []pitch.Pitch) (kind string, kept []pitch.Pitch) {
	classes := make([]pitch.Class, 0, 12)
	for _, p := range ns {
		if !slices.Contains(classes, p.Class()) {
			classes = append(classes, p.Class())
		}
	}
	if len(classes) < 3 || len(classes) == len(ns) || len(classes) > 12 {
		return "", nil
	}
	kept = make([]pitch.Pitch, 0, len(ns))
	tries := 256 // enough for four doublings in five octaves; beyond that nobody hears a stack
	var pick func(i int) string
	pick = func(i int) string {
		if i == len(ns) {
			tries--
			sorted := len(kept) == len(classes) && kept[0].Class() == ns[0].Class()
			if !sorted {
				return ""
			}
			return pureKind(kept)
		}
		p := ns[i]
		taken := slices.ContainsFunc(kept, func(q pitch.Pitch) bool { return q.Class() == p.Class() })
		if !taken {
			kept = append(kept, p)
			if k := pick(i + 1); k != "" {
				return k
			}
			kept = kept[:len(kept)-1]
		}
		later := taken || slices.ContainsFunc(ns[i+1:], func(q pitch.Pitch) bool { return q.Class() == p.Class() })
		if later && tries > 0 {
			return pick(i + 1)
		}
		return ""
	}
	if k := pick(0); k != "" {
		return k, kept
	}
	return "", nil
}

func intervalsOf(ns []pitch.Pitch) []pitch.Interval {
	if len(ns) < 2 {
		return nil
	}
	is := make([]pitch.Interval, len(ns)-1)
	for i := range is {
		is[i] = ns[i+1].Sub(ns[i])
	}
	return is
}

// StackOf describes the distances between adjacent distinct notes, low to high, by spelling. If the notes as they stand are
// mixed but leaving octave doublings out gives a pure stack on the same bass, it is that stack, and Text says so.
func StackOf(notes []pitch.Pitch) Stack {
	ns := distinct(notes)
	switch len(ns) {
	case 0:
		return Stack{Text: "no notes"}
	case 1:
		return Stack{Text: "one note"}
	}
	kind := pureKind(ns)
	doubled := ""
	if kind == "" && len(ns) > 2 {
		if k, kept := withoutDoublings(ns); k != "" {
			kind, doubled = k, doublings(ns, kept)
			ns = kept
		}
	}
	st := Stack{Kind: kind, Intervals: intervalsOf(ns)}
	if len(st.Intervals) == 1 {
		name, wider := spoken(st.Intervals[0])
		st.Text = name + wider
		return st
	}
	if kind == "" {
		st.Kind = "mixed"
		if !slices.ContainsFunc(st.Intervals, func(iv pitch.Interval) bool { return iv != pitch.Octave }) {
			st.Text = "octaves"
			return st
		}
		names := make([]string, len(st.Intervals))
		for i, iv := range st.Intervals {
			names[i] = brief(iv)
		}
		st.Text = "mixed: " + strings.Join(names, ", ")
		return st
	}
	st.Text = stackText(kind, st.Intervals) + doubled
	return st
}

// doublings says which names of all are doubled beside kept: ", C doubled at the octave".
func doublings(all, kept []pitch.Pitch) string {
	var names []string
	for _, p := range all {
		if !slices.Contains(kept, p) && !slices.Contains(names, p.Class().String()) {
			names = append(names, p.Class().String())
		}
	}
	return ", " + strings.Join(names, " and ") + " doubled at the octave"
}

var counts = [...]string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

func countWord(n int) string {
	if n >= 0 && n < len(counts) {
		return counts[n]
	}
	return fmt.Sprint(n)
}

// stackText says how a pure stack is built. Fourths and fifths name the members that are not perfect; thirds and seconds are
// listed, low to high.
func stackText(kind string, is []pitch.Interval) string {
	if kind == "thirds" || kind == "seconds" {
		words := make([]string, len(is))
		for i, iv := range is {
			words[i] = iv.Quality().String()
			if iv.Steps == 0 {
				words[i] = "chromatic semitone"
			}
		}
		if w := words[0]; !slices.ContainsFunc(words, func(s string) bool { return s != w }) && w != "chromatic semitone" {
			return w + " " + kind + ", all"
		}
		return kind + ": " + strings.Join(words, ", ")
	}
	var order []string
	count := map[string]int{}
	for _, iv := range is {
		q := iv.Quality().String()
		if count[q]++; count[q] == 1 && q != "perfect" {
			order = append(order, q)
		}
	}
	if len(order) == 0 {
		return "perfect " + kind + ", all"
	}
	if len(order) == 1 && count["perfect"] == 0 {
		return order[0] + " " + kind + ", all"
	}
	text := kind
	for _, q := range order {
		text += ", " + countWord(count[q]) + " " + q
	}
	return text
}

// A Cluster is a run of at least three neighbouring notes.
type Cluster struct {
	Notes []pitch.Pitch // low to high, one for each key struck
	// Kind is "chromatic" (semitones only), "black-key" (neighbouring black keys), "whole-tone" (at least four notes, whole
	// tones only), "pentatonic" (five or more neighbours of one pentatonic scale), "white-key" (at least seven neighbouring
	// white keys), "diatonic" (neighbours in some major scale) or "mixed" (other semitones and whole tones).
	Kind string
	Text string // "chromatic cluster G#-A-A#", "mixed cluster C-C#-D#, whole tone C#-D#"
}

// Clusters returns the clusters in notes, low to high: the maximal runs of at least three keys a semitone or a whole tone
// apart in the spacing as it is, and runs of at least four neighbouring black keys or five neighbours of a pentatonic scale,
// in which minor thirds occur too.
func Clusters(notes []pitch.Pitch) []Cluster {
	cs := clustersIn(distinct(notes))
	for i := range cs {
		cs[i].Text = cs[i].text()
	}
	return cs
}

// clustersIn returns the clusters of ns, which ascend, without their texts. Their notes may be parts of ns.
func clustersIn(ns []pitch.Pitch) []Cluster {
	for i := 1; i < len(ns); i++ {
		if ns[i].Enharmonic(ns[i-1]) {
			ns = keysOf(ns)
			break
		}
	}
	var out []Cluster
	runs(ns, 3, func(wide []pitch.Pitch) {
		if kind := pentatonicKind(wide); kind != "" {
			out = append(out, Cluster{Notes: wide, Kind: kind})
			return
		}
		runs(wide, 2, func(run []pitch.Pitch) { out = append(out, clusterOf(run)) })
	})
	return out
}

// runs calls f with each maximal run of at least three notes of ns no more than gap semitones apart.
func runs(ns []pitch.Pitch, gap int, f func([]pitch.Pitch)) {
	from := 0
	for i := 1; i <= len(ns); i++ {
		if i == len(ns) || ns[i].MIDI()-ns[i-1].MIDI() > gap {
			if i-from >= 3 {
				f(ns[from:i:i])
			}
			from = i
		}
	}
}

// pentatonicKind returns "black-key" or "pentatonic" for a run with gaps of at most a minor third that is one, else "".
func pentatonicKind(run []pitch.Pitch) string {
	switch {
	case len(run) >= 4 && BlackOnly(run):
		return "black-key"
	case len(run) >= 5 && pcsOf(run).class().forte == "5-35":
		return "pentatonic"
	}
	return ""
}

// majorScale is the C major scale, set class 7-35; its transpositions are the diatonic collections.
const majorScale pcset = 1<<0 | 1<<2 | 1<<4 | 1<<5 | 1<<7 | 1<<9 | 1<<11

// clusterOf describes a run of semitones and whole tones.
func clusterOf(run []pitch.Pitch) Cluster {
	whole := 0
	for i := 1; i < len(run); i++ {
		if run[i].MIDI()-run[i-1].MIDI() == 2 {
			whole++
		}
	}
	pcs := pcsOf(run)
	diatonic := false
	for n := 0; n < 12 && !diatonic; n++ {
		diatonic = pcs&^majorScale.down(n) == 0
	}
	kind := "mixed"
	switch {
	case whole == 0:
		kind = "chromatic"
	case BlackOnly(run):
		kind = "black-key"
	case whole == len(run)-1 && len(run) > 3:
		kind = "whole-tone"
	case len(run) >= 7 && WhiteOnly(run):
		kind = "white-key"
	case diatonic:
		kind = "diatonic"
	}
	return Cluster{Notes: run, Kind: kind}
}

func (c *Cluster) text() string {
	run := c.Notes
	text := c.Kind + " cluster " + dashed(run)
	if c.Kind == "mixed" {
		var whole []string
		for i := 1; i < len(run); i++ {
			if run[i].MIDI()-run[i-1].MIDI() == 2 {
				whole = append(whole, run[i-1].Class().String()+"-"+run[i].Class().String())
			}
		}
		text += ", whole tone"
		if len(whole) > 1 {
			text += "s"
		}
		text += " " + strings.Join(whole, ", ")
	}
	return text
}

// dashed lists the names of ns without octaves: "G#-A-A#".
func dashed(ns []pitch.Pitch) string {
	b := make([]byte, 0, 4*len(ns))
	for i, p := range ns {
		if i > 0 {
			b = append(b, '-')
		}
		b = append(b, p.Class().String()...)
	}
	return string(b)
}

// IsChromaticCluster reports whether the pitch classes (taken modulo 12) are at least three and can be laid out in semitones
// only.
func IsChromaticCluster(pcs []int) bool {
	s := pcsetOf(pcs)
	return s.len() >= 3 && primeMask(s) == 1<<s.len()-1
}

// ChromaticBreak returns the first two neighbours of notes, low to high, that are not a semitone apart; broken is false if
// there are none.
func ChromaticBreak(notes []pitch.Pitch) (below, above pitch.Pitch, broken bool) {
	ns := slices.CompactFunc(distinct(notes), pitch.Pitch.Enharmonic)
	for i := 1; i < len(ns); i++ {
		if ns[i].MIDI()-ns[i-1].MIDI() != 1 {
			return ns[i-1], ns[i], true
		}
	}
	return pitch.Pitch{}, pitch.Pitch{}, false
}

// WhiteOnly reports whether notes are played on white keys only. It is false for no notes.
func WhiteOnly(notes []pitch.Pitch) bool {
	return len(notes) > 0 && !slices.ContainsFunc(notes, func(p pitch.Pitch) bool { return !p.IsWhite() })
}

// BlackOnly reports whether notes are played on black keys only. It is false for no notes.
func BlackOnly(notes []pitch.Pitch) bool {
	return len(notes) > 0 && !slices.ContainsFunc(notes, pitch.Pitch.IsWhite)
}
