package key

import (
	"fmt"
	"sort"
	"strings"

	"plumbline/theory/pitch"
)

// A Kind tells how a chord belongs to a key.
type Kind int8

// The kinds of numeral.
const (
	Diatonic   Kind = iota // of the scale; in minor the raised sixth and seventh belong to it
	Applied                // a dominant or leading-tone chord of another degree
	Mixture                // borrowed from the parallel key
	Neapolitan             // the major triad on the lowered second degree
	SixthChord             // an augmented sixth
	CommonTone             // a diminished seventh that holds the root of the chord it embellishes
	Chromatic              // none of these
)

var kindNames = [...]string{"diatonic", "applied", "mode mixture", "Neapolitan", "augmented sixth", "common-tone diminished", "chromatic"}

// String returns the kind in words, or %!Kind(n) out of range.
func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindNames) {
		return fmt.Sprintf("%%!Kind(%d)", int(k))
	}
	return kindNames[k]
}

// A Numeral is a chord as a degree of a key.
type Numeral struct {
	Text      string // figures run together: "V65/V", "iiø42", "bVIM7", "Ger+6", "cto7"; "" if the notes make no chord
	Words     string // "dominant seventh of the dominant, first inversion"
	Kind      Kind
	Degree    int // of the root in its key, 1 to 7; of the key it is applied to, for an applied chord
	Alter     int // of the root against the scale, in semitones
	Of        int // the degree it is applied to, 0 if none
	Root      pitch.Class
	Bass      pitch.Class
	Inversion int    // 0 root position … 3; -1 for an augmented sixth, or a bass that is no member
	Why       string // what the name rests on
}

// String returns the numeral.
func (n Numeral) String() string { return n.Text }

// Degree returns the degree of c in k, 1 to 7, by its letter, and its alteration against the scale of k's signature.
func (k Key) Degree(c pitch.Class) (degree, alter int) {
	return (int(c.Letter)-int(k.Tonic.Letter)+7)%7 + 1, int(c.Alter) - int(k.InSignature(c.Letter))
}

// Class returns the class on a degree of k, 1 to 7, altered by alter semitones. Other degrees are taken modulo 7.
func (k Key) Class(degree, alter int) pitch.Class {
	c := k.Scale()[((degree-1)%7+7)%7]
	c.Alter += int8(alter)
	return c
}

var degreeNames = [...]string{"", "tonic", "supertonic", "mediant", "subdominant", "dominant", "submediant", "leading tone"}

// DegreeName returns the trade's word for a degree of k: "dominant". The seventh is the subtonic where it lies a whole tone
// below the tonic.
func (k Key) DegreeName(degree, alter int) string {
	if degree < 1 || degree > 7 {
		return fmt.Sprintf("degree %d", degree)
	}
	if degree == 7 && k.Tonic.Sub(k.Class(7, alter)).Semitones == 2 {
		return "subtonic"
	}
	if degree == 7 {
		return "leading tone"
	}
	return signWord(alter) + degreeNames[degree]
}

func signWord(alter int) string {
	switch {
	case alter > 0:
		return strings.Repeat("raised ", alter)
	case alter < 0:
		return strings.Repeat("lowered ", -alter)
	}
	return ""
}

var romans = [...]string{"", "I", "II", "III", "IV", "V", "VI", "VII"}

// A shape is the build of a chord in thirds: semitones above the root, 0 where there is no seventh. A third or fifth that
// doesn't sound is supplied.
type shape struct{ third, fifth, seventh int }

var shapes = map[shape]struct{ mark, words string }{
	{4, 7, 0}: {"", "major triad"}, {3, 7, 0}: {"", "minor triad"}, {3, 6, 0}: {"o", "diminished triad"}, {4, 8, 0}: {"+", "augmented triad"},
	{4, 7, 10}: {"", "dominant seventh chord"}, {4, 7, 11}: {"M", "major seventh chord"}, {3, 7, 10}: {"", "minor seventh chord"},
	{3, 6, 10}: {"ø", "half-diminished seventh chord"}, {3, 6, 9}: {"o", "diminished seventh chord"}, {3, 7, 11}: {"M", "minor-major seventh chord"},
	{4, 8, 10}: {"+", "augmented seventh chord"}, {4, 8, 11}: {"+M", "augmented major seventh chord"}, {4, 6, 10}: {"(b5)", "seventh chord with lowered fifth"},
}

func (s shape) lower() bool { return s.third == 3 }

var figures = [2][4]string{{"", "6", "64", ""}, {"7", "65", "43", "42"}}

var inversionWords = [...]string{"", ", first inversion", ", second inversion", ", third inversion"}

// Numeral names the chord on root with the given members (any order, the root among them) and bass in k, by itself. The text
// is empty if the members are no triad or seventh chord by spelling and no augmented sixth.
func (k Key) Numeral(root pitch.Class, members []pitch.Class, bass pitch.Class) Numeral {
	if n, ok := k.augmentedSixth(members, bass); ok {
		return n
	}
	s, inversion, ok := shapeOf(root, members, bass)
	if !ok {
		return Numeral{Root: root, Bass: bass, Inversion: -1}
	}
	return k.name(root, s, inversion, bass)
}

// shapeOf measures members against root. inversion is -1 if the bass is no member.
func shapeOf(root pitch.Class, members []pitch.Class, bass pitch.Class) (s shape, inversion int, ok bool) {
	steps := [7]int{0: 0, 2: 1, 4: 2, 6: 3}
	inversion = -1
	for _, m := range append(append([]pitch.Class{}, members...), bass) {
		iv := m.Sub(root)
		if iv.Steps%2 != 0 {
			return s, -1, false
		}
		semis := ((iv.Semitones % 12) + 12) % 12
		dest := [4]*int{nil, &s.third, &s.fifth, &s.seventh}[steps[iv.Steps]]
		if dest == nil {
			if semis != 0 {
				return s, -1, false
			}
		} else {
			if *dest != 0 && *dest != semis {
				return s, -1, false
			}
			*dest = semis
		}
		if m == bass {
			inversion = steps[iv.Steps]
		}
	}
	if s.third == 0 {
		return s, -1, false
	}
	if s.fifth == 0 {
		s.fifth = 7
	}
	_, ok = shapes[s]
	return s, inversion, ok
}

// fits reports whether the chord is one of k's own: its members belong to the scale. In minor, chords that lead to the tonic
// take the raised seventh, and the raised sixth belongs to the rising scale.
func (k Key) fits(root pitch.Class, s shape) bool {
	for i, semis := range []int{0, s.third, s.fifth, s.seventh} {
		if i == 3 && semis == 0 {
			continue
		}
		m := third(root, i, semis)
		d, alter := k.Degree(m)
		if alter == 0 {
			continue
		}
		if k.Mode == Minor && alter == 1 && d == 7 {
			// The leading tone belongs to chords on the dominant and on itself, and to those that hold the tonic's third.
			if rd, ra := k.Degree(root); rd == 5 && ra == 0 && s.third == 4 || rd == 7 && ra == 1 && s.lower() && s.fifth == 6 || rd == 3 && ra == 0 && s.fifth == 8 || rd == 1 && s.seventh == 11 {
				continue
			}
		}
		if k.Mode == Minor && alter == 1 && d == 6 {
			if rd, ra := k.Degree(root); rd == 4 && ra == 0 && s.third == 4 && s.seventh == 0 || rd == 2 && ra == 0 && s.fifth == 7 && s.third == 3 {
				continue
			}
		}
		return false
	}
	return true
}

// third returns the member i thirds above root that lies semis semitones above it.
func third(root pitch.Class, i, semis int) pitch.Class {
	return root.Add(pitch.Interval{Steps: 2 * i, Semitones: semis})
}

// name names a chord by its shape.
func (k Key) name(root pitch.Class, s shape, inversion int, bass pitch.Class) Numeral {
	if !k.fits(root, s) {
		if n, ok := k.applied(root, s, inversion, bass); ok {
			return n
		}
	}
	n := k.plain(root, s, inversion, bass)
	switch d, alter := n.Degree, n.Alter; {
	case k.fits(root, s):
	case d == 2 && k.Class(2, alter) == k.Tonic.Add(pitch.MinorSecond) && s == (shape{4, 7, 0}):
		n.Kind = Neapolitan
		n.Words = "Neapolitan chord, the major triad on the lowered second degree" + inversionWord(inversion)
		n.Why = fmt.Sprintf("%v lies a semitone above the tonic %v and carries a major triad", root, k.Tonic)
	default:
		parallel := Key{k.Tonic, Minor}
		if k.Mode == Minor {
			parallel.Mode = Major
		}
		if parallel.fits(root, s) {
			n.Kind = Mixture
			n.Words += ", borrowed from " + parallel.String()
			n.Why = fmt.Sprintf("its notes belong to %v, not to %v", parallel, k)
		} else {
			n.Kind = Chromatic
			n.Words += ", chromatic in " + k.String()
			n.Why = fmt.Sprintf("its notes belong neither to %v nor to %v", k, parallel)
		}
	}
	return n
}

func inversionWord(i int) string {
	if i < 0 || i >= len(inversionWords) {
		return ""
	}
	return inversionWords[i]
}

// plain writes a chord as a degree, whatever its kind.
func (k Key) plain(root pitch.Class, s shape, inversion int, bass pitch.Class) Numeral {
	d, alter := k.Degree(root)
	sign := strings.Repeat("#", max(alter, 0)) + strings.Repeat("b", max(-alter, 0))
	// In minor the seventh degree is the raised one where it leads (a diminished chord), and carries no sign.
	if k.Mode == Minor && d == 7 && alter == 1 && s.lower() {
		sign = ""
	}
	r := romans[d]
	if s.lower() {
		r = strings.ToLower(r)
	}
	row := 0
	if s.seventh != 0 {
		row = 1
	}
	fig := figures[row][max(inversion, 0)]
	n := Numeral{Text: sign + r + shapes[s].mark + fig, Kind: Diatonic, Degree: d, Alter: alter, Root: root, Bass: bass, Inversion: inversion}
	n.Words = shapes[s].words + " on the " + k.DegreeName(d, alter) + inversionWord(inversion)
	n.Why = fmt.Sprintf("%v is the %s of %v", root, k.DegreeName(d, alter), k)
	return n
}

// applied names a dominant or a leading-tone chord of another degree of k. The degree must be one that can be a tonic: its
// triad is major or minor.
func (k Key) applied(root pitch.Class, s shape, inversion int, bass pitch.Class) (Numeral, bool) {
	var to pitch.Class
	dominant := s == (shape{4, 7, 0}) || s == (shape{4, 7, 10}) || s == (shape{4, 8, 10}) || s == (shape{4, 8, 0})
	switch {
	case dominant:
		to = root.Add(pitch.Interval{Steps: -4, Semitones: -7})
	case s == (shape{3, 6, 0}) || s == (shape{3, 6, 10}) || s == (shape{3, 6, 9}):
		to = root.Add(pitch.MinorSecond)
	default:
		return Numeral{}, false
	}
	d, alter := k.Degree(to)
	if alter != 0 || d == 1 {
		return Numeral{}, false
	}
	major := k.fits(to, shape{4, 7, 0})
	minor := k.fits(to, shape{3, 7, 0})
	if !major && !minor {
		return Numeral{}, false
	}
	if k.Mode == Minor && d == 4 { // the subdominant of a minor key is minor, even if its sixth degree may be raised
		major = false
	}
	// The major triad on the subtonic and the like, borrowed, is no dominant of what lies a fifth below unless it has a seventh.
	parallel := Key{k.Tonic, Minor}
	if k.Mode == Minor {
		parallel.Mode = Major
	}
	if dominant && s.seventh == 0 && k.Mode == Major && parallel.fits(root, s) {
		return Numeral{}, false
	}
	return k.appliedTo(d, major, root, s, inversion, bass), true
}

func (k Key) appliedTo(d int, major bool, root pitch.Class, s shape, inversion int, bass pitch.Class) Numeral {
	local := Key{k.Class(d, 0), Minor}
	if major {
		local.Mode = Major
	}
	n := local.plain(root, s, inversion, bass)
	target := romans[d]
	if !major {
		target = strings.ToLower(target)
	}
	n.Text += "/" + target
	n.Kind, n.Of = Applied, d
	what := shapes[s].words + " on the dominant"
	if n.Degree == 7 {
		what = shapes[s].words + " on the leading tone"
	}
	n.Words = what + " of the " + k.DegreeName(d, 0) + inversionWord(inversion)
	n.Why = fmt.Sprintf("%v is the %s of %v, the %s of %v", root, local.DegreeName(n.Degree, n.Alter), local.Tonic, k.DegreeName(d, 0), k)
	return n
}

var (
	augSixth    = pitch.Interval{Steps: 5, Semitones: 10}
	swissFourth = pitch.Interval{Steps: 3, Semitones: 7} // doubly augmented
)

// augmentedSixth names an Italian, French or German sixth by its spelling: a minor sixth degree (lower note) with the note
// an augmented sixth above it.
func (k Key) augmentedSixth(members []pitch.Class, bass pitch.Class) (Numeral, bool) {
	for _, low := range members {
		var name, why string
		has := map[pitch.Interval]bool{}
		plain := true
		for _, m := range members {
			iv := m.Sub(low)
			iv.Semitones = ((iv.Semitones % 12) + 12) % 12
			has[iv] = true
			plain = plain && (iv == pitch.Unison || iv == augSixth || iv == pitch.MajorThird || iv == pitch.PerfectFifth ||
				iv == pitch.AugmentedFourth || iv == swissFourth)
		}
		if !plain || !has[augSixth] || !has[pitch.MajorThird] {
			continue
		}
		switch {
		case has[pitch.PerfectFifth]:
			name, why = "German", "the fifth"
		case has[swissFourth]:
			name, why = "German", "the doubly augmented fourth (the fifth, spelled to rise)"
		case has[pitch.AugmentedFourth]:
			name, why = "French", "the augmented fourth"
		default:
			name, why = "Italian", "no more than the third"
		}
		high := low.Add(augSixth)
		goal := low.Add(pitch.Interval{Steps: -1, Semitones: -1})
		n := Numeral{Kind: SixthChord, Bass: bass, Inversion: -1}
		// The experts of our corpus root the German and Italian sixths on the upper note, the French one a fourth below the lower.
		n.Root = high
		if name == "French" {
			n.Root = low.Add(pitch.AugmentedFourth)
		}
		n.Degree, n.Alter = k.Degree(n.Root)
		n.Text = map[string]string{"German": "Ger+6", "French": "Fr+6", "Italian": "It+6"}[name]
		n.Words = name + " sixth"
		d, alter := k.Degree(goal)
		switch {
		case d == 5 && alter == 0:
			n.Of = 0
		case alter == 0 && goal == k.Tonic:
			n.Text += "/^1"
			n.Of = 1
			n.Words += " that opens to the tonic"
		default:
			n.Text += "/" + strings.Repeat("#", max(alter, 0)) + strings.Repeat("b", max(-alter, 0)) + romans[d]
			n.Of = d
			n.Words += " of the " + k.DegreeName(d, alter)
		}
		n.Why = fmt.Sprintf("%v and %v make an augmented sixth that opens to %v; above %v lie the third and %s", low, high, goal, low, why)
		return n, true
	}
	return Numeral{}, false
}

// Numerals names chords that follow one another, each given as notes from low to high, by spelling and by what comes next:
//
//   - a diminished seventh that holds the root of the chord it goes to is a common-tone chord, not a leading-tone chord;
//   - a tonic six-four that goes to the subdominant and not to the dominant is the dominant of the subdominant;
//   - notes that make no chord as spelled are read as they sound, the one with the fewest notes respelled;
//   - a chord in thirds with more notes is named by its third and seventh, and the others in brackets: IVM7(#11).
//
// An empty chord gives an empty numeral.
func (k Key) Numerals(chords [][]pitch.Pitch) []Numeral {
	out := make([]Numeral, len(chords))
	for i, notes := range chords {
		if len(notes) == 0 {
			continue
		}
		out[i] = k.numeralOf(notes)
	}
	for i := range out {
		n := &out[i]
		if i+1 >= len(out) || len(chords[i]) == 0 || out[i+1].Text == "" {
			continue
		}
		next := &out[i+1]
		switch {
		case n.dimSeventh(chords[i]) && sounds(chords[i], next.Root) && next.Kind != SixthChord && !next.dimSeventh(chords[i+1]):
			n.Text, n.Kind = "cto7", CommonTone
			n.Words = "common-tone diminished seventh chord"
			n.Why = fmt.Sprintf("it holds %v, the root of the chord it goes to, and the others move by step around it", next.Root)
		case k.Mode == Major && n.Kind == Diatonic && n.Degree == 1 && n.Alter == 0 && n.Inversion == 2 && n.Text == "I64" && next.Degree == 4 && next.Kind == Diatonic && next.Bass != n.Bass:
			bass := n.Bass
			*n = k.appliedTo(4, true, k.Tonic, shape{4, 7, 0}, 2, bass)
			n.Why += "; it goes there and not to the dominant"
		}
	}
	return out
}

func (n Numeral) dimSeventh(notes []pitch.Pitch) bool {
	pcs := map[int]bool{}
	for _, p := range notes {
		pcs[p.PC()] = true
	}
	if len(pcs) != 4 {
		return false
	}
	for pc := range pcs {
		if !pcs[(pc+3)%12] {
			return false
		}
	}
	return true
}

func sounds(notes []pitch.Pitch, c pitch.Class) bool {
	for _, p := range notes {
		if p.PC() == c.PC() {
			return true
		}
	}
	return false
}

// numeralOf finds the chord in notes and names it.
func (k Key) numeralOf(notes []pitch.Pitch) Numeral {
	low := notes[0]
	seen := map[pitch.Class]bool{}
	var classes []pitch.Class
	for _, p := range notes {
		if p.Compare(low) < 0 {
			low = p
		}
		if c := p.Class(); !seen[c] {
			seen[c] = true
			classes = append(classes, c)
		}
	}
	sort.Slice(classes, func(i, j int) bool { return classes[i].Fifths() < classes[j].Fifths() })
	if n, ok := k.augmentedSixth(classes, low.Class()); ok {
		return n
	}
	if n, ok := k.inThirds(classes, low.Class()); ok {
		return n
	}
	// With notes above the seventh.
	for _, root := range classes {
		var inner []pitch.Class
		var extra []string
		for _, c := range classes {
			iv := c.Sub(root)
			if iv.Steps%2 == 0 {
				inner = append(inner, c)
				continue
			}
			plain := map[int]int{1: 2, 3: 5, 5: 9}[iv.Steps]
			sign := ""
			switch iv.Semitones - plain {
			case 1:
				sign = "#"
			case -1:
				sign = "b"
			}
			extra = append(extra, fmt.Sprintf("%s%d", sign, iv.Steps+8))
		}
		s, inversion, ok := shapeOf(root, inner, root)
		if !ok || s.seventh == 0 || len(inner) < 3 {
			continue
		}
		if low.Class() != root {
			if _, inv, ok := shapeOf(root, inner, low.Class()); ok {
				inversion = inv
			} else {
				inversion = -1
			}
		}
		n := k.name(root, s, inversion, low.Class())
		of := ""
		if at := strings.IndexByte(n.Text, '/'); at >= 0 {
			n.Text, of = n.Text[:at], n.Text[at:]
		}
		n.Text += "(" + strings.Join(extra, ",") + ")" + of
		n.Words += ", with " + strings.Join(extra, " and ")
		return n
	}
	// As it sounds: the nearest spelling that makes a chord. One note respelled is tried first, then two.
	respell := func(c pitch.Class) []pitch.Class {
		f := c.Fifths()
		return []pitch.Class{pitch.ClassOfFifths(f - 12), pitch.ClassOfFifths(f + 12)}
	}
	for i, c := range classes {
		for _, r := range respell(c) {
			changed := append([]pitch.Class{}, classes...)
			changed[i] = r
			bass := low.Class()
			if bass == c {
				bass = r
			}
			if n, ok := k.inThirds(changed, bass); ok {
				n.Why += fmt.Sprintf("; %v is written for %v", c, r)
				return n
			}
		}
	}
	return Numeral{Root: low.Class(), Bass: low.Class(), Inversion: -1}
}

// inThirds finds the root on which classes stand in thirds.
func (k Key) inThirds(classes []pitch.Class, bass pitch.Class) (best Numeral, ok bool) {
	bestSize := 9
	for _, root := range classes {
		s, inversion, good := shapeOf(root, classes, bass)
		if !good {
			continue
		}
		size := 3
		if s.seventh != 0 {
			size = 4
		}
		if size < bestSize {
			best, ok, bestSize = k.name(root, s, inversion, bass), true, size
		}
	}
	return best, ok
}

// Mediant compares two triads whose roots lie a third apart: "diatonic" with two common tones, "chromatic" with one, "doubly
// chromatic" with none (Butterfield, Integrated Musicianship: Theory, unit 19b). semitones is the least total motion from one
// to the other in three voices. ok is false if the roots are no third (or sixth) apart by spelling, or a triad isn't three
// classes, root first.
func Mediant(a, b []pitch.Class) (class string, common, semitones int, ok bool) {
	if len(a) != 3 || len(b) != 3 {
		return "", 0, 0, false
	}
	if s := b[0].Sub(a[0]).Steps; s != 2 && s != 5 {
		return "", 0, 0, false
	}
	for _, x := range a {
		for _, y := range b {
			if x.PC() == y.PC() {
				common++
			}
		}
	}
	semitones = 99
	for _, p := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
		sum := 0
		for i, j := range p {
			d := ((a[i].PC()-b[j].PC())%12 + 12) % 12
			sum += min(d, 12-d)
		}
		semitones = min(semitones, sum)
	}
	switch common {
	case 2:
		class = "diatonic mediant"
	case 1:
		class = "chromatic mediant"
	case 0:
		class = "doubly chromatic mediant"
	default:
		return "", common, semitones, false
	}
	return class, common, semitones, true
}
