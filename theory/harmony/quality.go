package harmony

import (
	"fmt"
	"strings"

	"plumbline/theory/pitch"
)

// A Quality is the kind of a chord: what is built on its root.
type Quality int8

// The qualities that are recognized. The augmented sixths are qualities of their own: the German and the Italian sixth are
// rooted on the raised fourth degree, the French sixth on the supertonic, as the experts of our corpus do.
const (
	Major Quality = iota
	Minor
	Diminished
	Augmented
	DominantSeventh
	MinorSeventh
	MajorSeventh
	HalfDiminished
	DiminishedSeventh
	GermanSixth
	FrenchSixth
	ItalianSixth
	AugmentedSeventh
	MinorMajorSeventh
	qualities int = iota
)

var qualityNames = [...]string{"major", "minor", "diminished", "augmented", "dominant seventh", "minor seventh", "major seventh",
	"half-diminished seventh", "diminished seventh", "German sixth", "French sixth", "Italian sixth", "augmented seventh", "minor-major seventh"}

// String returns the quality in words, or %!Quality(n) out of range.
func (q Quality) String() string {
	if q < 0 || int(q) >= qualities {
		return fmt.Sprintf("%%!Quality(%d)", int(q))
	}
	return qualityNames[q]
}

// ParseQuality reads a quality by the name that [Quality.String] prints, whatever its case; the ids and house names of
// package chord are understood too. It reports whether the name is known.
func ParseQuality(s string) (Quality, bool) {
	s = strings.ToLower(strings.TrimSpace(s))
	for _, cut := range []string{" chord", " triad"} {
		s = strings.TrimSuffix(s, cut)
	}
	for q, n := range qualityNames {
		if strings.EqualFold(n, s) {
			return Quality(q), true
		}
	}
	q, ok := map[string]Quality{"maj": Major, "min": Minor, "dim": Diminished, "aug": Augmented, "7": DominantSeventh, "dom7": DominantSeventh,
		"min7": MinorSeventh, "maj7": MajorSeventh, "half-diminished": HalfDiminished, "hdim7": HalfDiminished, "m7b5": HalfDiminished,
		"minor seventh flat five": HalfDiminished, "dim7": DiminishedSeventh, "ger6": GermanSixth, "fr6": FrenchSixth, "it6": ItalianSixth,
		"aug7": AugmentedSeventh, "minmaj7": MinorMajorSeventh, "minor major seventh": MinorMajorSeventh}[s]
	return q, ok
}

// intervalsOf lists the members of each quality above its root, on the line of fifths: 1 is a perfect fifth, 4 a major third,
// -3 a minor third, -2 a minor seventh.
var intervalsOf = [qualities][]int{
	{0, 4, 1}, {0, -3, 1}, {0, -3, -6}, {0, 4, 8}, {0, 4, 1, -2}, {0, -3, 1, -2}, {0, 4, 1, 5}, {0, -3, -6, -2}, {0, -3, -6, -9},
	{0, -10, -6, -9}, {0, 4, -6, -2}, {0, -10, -6}, {0, 4, 8, -2}, {0, -3, 1, 5},
}

// A role is the part a class plays in a chord: a member's, or a foreign note's by its interval above the root.
const (
	roleRoot = iota
	roleMajorThird
	roleMinorThird
	roleFifth
	roleDimFifth
	roleAugFifth
	roleMinorSeventh
	roleMajorSeventh
	roleDimSeventh
	roleSixthBass  // the lower note of an augmented sixth
	roleSixthTonic // the tonic inside a German or Italian sixth
	roleSixthFifth // the fifth above the bass in a German sixth
	roleFrenchFifth
	memberRoles
	reach = 12                   // intervals beyond reach fifths share a bin
	rels  = 2*reach + 1          // bins of intervals on the line of fifths
	roles = memberRoles + 4*rels // foreign notes stand apart for major and minor thirds, triads and sevenths
)

var roleNames = [memberRoles]string{"root", "major third", "minor third", "fifth", "diminished fifth", "augmented fifth", "minor seventh",
	"major seventh", "diminished seventh", "lower note of the augmented sixth", "tonic in the augmented sixth", "fifth above the augmented sixth's bass", "lowered fifth"}

// roleTable[q][rel+reach] is the role of an interval in a quality.
var roleTable = func() (t [qualities][rels]uint8) {
	for q := range t {
		group := 0
		if len(intervalsOf[q]) > 3 {
			group = 1
		}
		if !hasInterval(Quality(q), 4) {
			group += 2
		}
		for i := range t[q] {
			t[q][i] = uint8(memberRoles + group*rels + i)
		}
		for _, rel := range intervalsOf[q] {
			var r int
			switch rel {
			case 0:
				r = roleRoot
			case 4:
				r = roleMajorThird
			case -3:
				r = roleMinorThird
			case 1:
				r = roleFifth
			case -6:
				r = roleDimFifth
			case 8:
				r = roleAugFifth
			case -2:
				r = roleMinorSeventh
			case 5:
				r = roleMajorSeventh
			case -9:
				r = roleDimSeventh
			case -10:
				r = roleSixthBass
			}
			switch {
			case (Quality(q) == GermanSixth || Quality(q) == ItalianSixth) && rel == -6:
				r = roleSixthTonic
			case Quality(q) == GermanSixth && rel == -9:
				r = roleSixthFifth
			case Quality(q) == FrenchSixth && rel == -6:
				r = roleFrenchFifth
			}
			t[q][rel+reach] = uint8(r)
		}
	}
	return t
}()

func hasInterval(q Quality, rel int) bool {
	for _, r := range intervalsOf[q] {
		if r == rel {
			return true
		}
	}
	return false
}

// bin returns the place of interval rel in a table of rels bins.
func bin(rel int) int { return min(max(rel, -reach), reach) + reach }

// A Chord is a root, a quality and a bass. The bass is a member as a rule.
type Chord struct {
	Root    pitch.Class
	Quality Quality
	Bass    pitch.Class
}

// Members returns the members of c, root first.
func (c Chord) Members() []pitch.Class {
	if c.Quality < 0 || int(c.Quality) >= qualities {
		return nil
	}
	out := make([]pitch.Class, 0, 4)
	for _, rel := range intervalsOf[c.Quality] {
		out = append(out, pitch.ClassOfFifths(c.Root.Fifths()+rel))
	}
	return out
}

// Role returns the part x plays in c in words, "" if it is no member as spelled.
func (c Chord) Role(x pitch.Class) string {
	if c.Quality < 0 || int(c.Quality) >= qualities {
		return ""
	}
	rel := x.Fifths() - c.Root.Fifths()
	if rel < -reach || rel > reach || !hasInterval(c.Quality, rel) {
		return ""
	}
	return roleNames[roleTable[c.Quality][rel+reach]]
}

var suffixes = [qualities]string{"", "m", "dim", "aug", "7", "m7", "maj7", "m7(b5)", "dim7", "", "", "", "7(#5)", "mMaj7"}

// String returns the label of c as package chord reads it: "F#m7/A", "German sixth on Ab".
func (c Chord) String() string {
	switch c.Quality {
	case GermanSixth, ItalianSixth:
		return fmt.Sprintf("%v on %v", c.Quality, pitch.ClassOfFifths(c.Root.Fifths()-10))
	case FrenchSixth:
		return fmt.Sprintf("%v on %v", c.Quality, pitch.ClassOfFifths(c.Root.Fifths()-6))
	}
	if c.Quality < 0 || int(c.Quality) >= qualities {
		return c.Root.String() + " " + c.Quality.String()
	}
	s := c.Root.String() + suffixes[c.Quality]
	if c.Bass != c.Root {
		s += "/" + c.Bass.String()
	}
	return s
}
