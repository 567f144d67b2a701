package chord

import (
	"slices"
	"strings"
	"sync"

	"plumbline/theory/pitch"
)

// A row is a line of the vocabulary as it is written down. The facts are those of testdata/chords.tsv, which names the
// handbook for each row; the test compares them.
type row struct {
	id, family string
	names      string  // separated by "; ", house name first
	symbols    string  // suffixes separated by "; ", house symbol first; "~" is the empty suffix, "" no symbols
	formula    string  // degrees of the major scale above the root, altered with b and #, in stacking order
	omit       string  // degrees players often leave out
	cost       float32 // how far from the everyday chord it is, for ranking: 0 for a plain triad
}

// Families by the way they are matched against notes.
const (
	famStackedFourths = "stacked fourths"
	famStackedFifths  = "stacked fifths"
	famCluster        = "cluster"
	famSpecial        = "special"
	famAugSixth       = "augmented sixth"
	famPredominant    = "chromatic predominant"
	famChromatic      = "chromatic"
)

// vocabulary is the chord table. Costs are common practice, no source: they order readings that fit the notes equally well.
var vocabulary = [...]row{
	{"maj", "triad", "major triad; major", "~; M; maj", "1 3 5", "", 0},
	{"min", "triad", "minor triad; minor", "m; min; -", "1 b3 5", "", 0},
	{"dim", "triad", "diminished triad; diminished", "dim; o", "1 b3 b5", "", 0.5},
	{"aug", "triad", "augmented triad; augmented", "aug; +", "1 3 #5", "", 0.5},
	{"power", "triad", "open fifth; power chord", "5", "1 5", "", 3},
	{"sus4", "suspended", "suspended fourth", "sus4; sus", "1 4 5", "", 2},
	{"sus2", "suspended", "suspended second", "sus2; sus9", "1 2 5", "", 2.2},
	{"dom7", "seventh", "dominant seventh; major-minor seventh; seventh", "7", "1 3 5 b7", "5", 1},
	{"maj7", "seventh", "major seventh; major-major seventh", "maj7; M7; Δ7; Δ", "1 3 5 7", "5", 1},
	{"min7", "seventh", "minor seventh; minor-minor seventh", "m7; min7; -7", "1 b3 5 b7", "5", 1},
	{"hdim7", "seventh", "half-diminished seventh; half-diminished; minor seventh flat five", "m7(b5); ø7; ø; m7b5", "1 b3 b5 b7", "", 1},
	{"dim7", "seventh", "diminished seventh; fully diminished seventh; fully diminished", "dim7; o7", "1 b3 b5 bb7", "", 1},
	{"minmaj7", "seventh", "minor-major seventh", "mMaj7; mΔ7; m/M7; -maj7", "1 b3 5 7", "", 1.8},
	{"aug7", "seventh", "augmented seventh; seven sharp five", "7(#5); +7; aug7; 7#5", "1 3 #5 b7", "", 1.8},
	{"augmaj7", "seventh", "augmented major seventh; augmented-major seventh", "maj7(#5); +maj7; maj7#5", "1 3 #5 7", "", 2.2},
	{"dom7b5", "seventh", "seven flat five; dominant seventh flat five", "7(b5); 7b5", "1 3 b5 b7", "", 2},
	{"dimmaj7", "seventh", "diminished major seventh; diminished-major seventh", "dimMaj7; o(maj7)", "1 b3 b5 7", "", 2.8},
	{"7sus4", "suspended", "dominant seventh suspended fourth; seven suspended fourth", "7sus4; 7sus", "1 4 5 b7", "", 2},
	{"6", "sixth", "added sixth; major sixth", "6; M6", "1 3 5 6", "", 1.6},
	{"m6", "sixth", "minor added sixth; minor sixth", "m6; -6", "1 b3 5 6", "", 1.7},
	{"addb6", "sixth", "added minor sixth; major triad with added minor sixth", "(addb6)", "1 3 5 b6", "", 3.5},
	{"69", "sixth", "six-nine", "6/9; 69", "1 3 5 6 9", "", 2},
	{"m69", "sixth", "minor six-nine", "m6/9; m69", "1 b3 5 6 9", "", 2.4},
	{"add9", "added note", "added ninth; added second", "add9; add2; 2", "1 3 5 9", "", 2},
	{"madd9", "added note", "minor added ninth; minor added second", "madd9", "1 b3 5 9", "", 2.2},
	{"add4", "added note", "added fourth; added eleventh", "add11; add4", "1 3 4 5", "", 3.5},
	{"9", "ninth", "dominant ninth; ninth", "9; 7(add9)", "1 3 5 b7 9", "5", 1.8},
	{"maj9", "ninth", "major ninth", "maj9; M9; Δ9", "1 3 5 7 9", "5", 1.8},
	{"m9", "ninth", "minor ninth chord; minor ninth", "m9; -9", "1 b3 5 b7 9", "5", 1.8},
	{"mMaj9", "ninth", "minor-major ninth", "mMaj9; mΔ9", "1 b3 5 7 9", "", 2.6},
	{"hdim9", "ninth", "half-diminished ninth", "m9(b5); ø9; m9b5", "1 b3 b5 b7 9", "", 2.4},
	{"o9", "ninth", "diminished ninth", "dim9; o9", "1 b3 b5 bb7 9", "", 2.8},
	{"7b9", "altered dominant", "seven flat nine; dominant seventh flat nine", "7(b9); 7b9", "1 3 5 b7 b9", "5", 2},
	{"7#9", "altered dominant", "seven sharp nine; dominant seventh sharp nine", "7(#9); 7#9; 7+9", "1 3 5 b7 #9", "5", 2.2},
	{"9#5", "altered dominant", "nine sharp five; augmented ninth", "9(#5); 9#5; +9", "1 3 #5 b7 9", "", 2.8},
	{"9b5", "altered dominant", "nine flat five", "9(b5); 9b5", "1 3 b5 b7 9", "", 2.8},
	{"7b5b9", "altered dominant", "seven flat five flat nine", "7(b5b9); 7b5b9", "1 3 b5 b7 b9", "", 3},
	{"7b5#9", "altered dominant", "seven flat five sharp nine", "7(b5#9); 7b5#9", "1 3 b5 b7 #9", "", 3},
	{"7#5b9", "altered dominant", "seven sharp five flat nine", "7(#5b9); 7#5b9", "1 3 #5 b7 b9", "", 3},
	{"7#5#9", "altered dominant", "seven sharp five sharp nine", "7(#5#9); 7#5#9", "1 3 #5 b7 #9", "", 3},
	{"7b13", "altered dominant", "seven flat thirteen", "7(b13); 7b13", "1 3 5 b7 b13", "", 2.8},
	{"9sus4", "suspended", "nine suspended fourth; dominant ninth suspended fourth", "9sus4; 9sus", "1 4 5 b7 9", "", 2.3},
	{"7sus4b9", "suspended", "seven suspended fourth flat nine", "7sus4(b9); 7sus4b9; 7sus(b9)", "1 4 5 b7 b9", "", 2.8},
	{"13sus", "suspended", "thirteen suspended fourth", "13sus4; 13sus", "1 4 5 b7 9 13", "5", 2.6},
	{"13susb9", "suspended", "thirteen suspended fourth flat nine", "13sus4(b9); 13sus(b9)", "1 4 5 b7 b9 13", "5", 3},
	{"IVover5", "suspended", "subdominant triad over the dominant note", "", "1 4 b7 9", "", 2.4},
	{"11", "eleventh", "dominant eleventh; eleventh", "11", "1 3 5 b7 9 11", "3 5", 2.4},
	{"maj11", "eleventh", "major eleventh", "maj11; Δ11; M11", "1 3 5 7 9 11", "", 2.6},
	{"m11", "eleventh", "minor eleventh", "m11; -11", "1 b3 5 b7 9 11", "5", 2.2},
	{"mMaj11", "eleventh", "minor-major eleventh", "mMaj11; mΔ11", "1 b3 5 7 9 11", "", 3.2},
	{"7#11", "eleventh", "seven sharp eleven", "7(#11); 7#11", "1 3 5 b7 #11", "5", 2.4},
	{"9#11", "eleventh", "nine sharp eleven; Lydian dominant", "9(#11); 9#11", "1 3 5 b7 9 #11", "5", 2.5},
	{"maj7#11", "eleventh", "major seven sharp eleven; major seventh sharp eleven", "maj7(#11); maj7#11; Δ7#11; M7#11", "1 3 5 7 #11", "", 2.3},
	{"maj9#11", "eleventh", "major nine sharp eleven; major ninth sharp eleven", "maj9(#11); maj9#11; Δ9#11", "1 3 5 7 9 #11", "", 2.5},
	{"13-full", "thirteenth", "dominant thirteenth; dominant thirteenth, all thirds; thirteenth", "13", "1 3 5 b7 9 11 13", "5 11", 2.6},
	{"13-no11", "thirteenth", "dominant thirteenth; dominant thirteenth as played", "13; 9(13)", "1 3 5 b7 9 13", "5", 2.2},
	{"maj13", "thirteenth", "major thirteenth; major thirteenth, all thirds", "maj13; M13; Δ13", "1 3 5 7 9 11 13", "5 11", 2.8},
	{"m13", "thirteenth", "minor thirteenth; minor thirteenth, all thirds", "m13; -13", "1 b3 5 b7 9 11 13", "5 11", 2.8},
	{"13b9", "thirteenth", "thirteen flat nine", "13(b9); 13b9", "1 3 5 b7 b9 13", "5", 2.8},
	{"13#11", "thirteenth", "thirteen sharp eleven", "13(#11); 13#11", "1 3 5 b7 9 #11 13", "5", 2.7},
	{"7#9#11", "altered dominant", "seven sharp nine sharp eleven", "7(#9#11)", "1 3 5 b7 #9 #11", "", 2.8},
	{"7#5#9#11", "altered dominant", "seven with sharp five, nine and eleven", "7(#5#9#11)", "1 3 #5 b7 #9 #11", "", 3.2},
	{"It6", famAugSixth, "Italian sixth; Italian augmented sixth", "It+6; It6", "1 3 #6", "", 1},
	{"Fr6", famAugSixth, "French sixth; French augmented sixth", "Fr+6; Fr4/3", "1 3 #4 #6", "", 1},
	{"Ger6", famAugSixth, "German sixth; German augmented sixth", "Ger+6; Ger6/5", "1 3 5 #6", "", 1},
	{"Sw6", famAugSixth, "doubly augmented fourth; Swiss sixth; Alsatian sixth", "Sw+6", "1 3 ##4 #6", "", 1},
	{"N6", famPredominant, "Neapolitan", "", "1 3 5", "", 0},
	{"ct-o7", famChromatic, "common-tone diminished seventh", "", "1 b3 b5 bb7", "", 0},
	{"q3", famStackedFourths, "three-note quartal chord", "", "1 4 b7", "", 1},
	{"q4", famStackedFourths, "four-note quartal chord", "", "1 4 b7 b10", "", 1},
	{"q5", famStackedFourths, "five-note quartal chord", "", "1 4 b7 b10 b13", "", 1},
	{"q6", famStackedFourths, "six-note quartal chord", "", "1 4 b7 b10 b13 b16", "", 1},
	{"q3aug", famStackedFourths, "quartal with an augmented fourth on top", "", "1 4 7", "", 1},
	{"qu3", famStackedFifths, "three-note quintal chord", "", "1 5 9", "", 1},
	{"qu4", famStackedFifths, "four-note quintal chord", "", "1 5 9 13", "", 1},
	{"qu5", famStackedFifths, "five-note quintal chord", "", "1 5 9 13 17", "", 1},
	{"sowhat", famStackedFourths, "three fourths and a major third", "", "1 4 b7 b10 12", "", 1},
	{"cl-dia3", famCluster, "diatonic three-note cluster", "", "1 2 3", "", 1},
	{"cl-chr3", famCluster, "chromatic three-note cluster", "", "1 b2 2", "", 1},
	{"cl-chr4", famCluster, "chromatic four-note cluster", "", "1 b2 2 b3", "", 1},
	{"cl-pent", famCluster, "pentatonic cluster", "", "1 2 4 5 6", "", 1},
	{"mystic", famSpecial, "mystic chord", "", "1 #4 b7 10 13 16", "", 1},
	{"tristan", famSpecial, "Tristan chord", "", "1 #4 #6 #9", "", 1},
	{"viennese", famSpecial, "Viennese trichord", "", "1 #4 7", "", 1},
	{"petrushka", famSpecial, "Petrushka chord", "", "1 3 5 #1 #4 #6", "", 1},
	// Beyond chords.tsv. Seven suspended second: common practice, no source.
	{"7sus2", "suspended", "dominant seventh suspended second; seven suspended second", "7sus2", "1 2 5 b7", "", 5},
	// Thirteen sharp nine sharp eleven: common practice, no source.
	{"13#9#11", "thirteenth", "thirteen sharp nine sharp eleven", "13(#9#11); 13#9#11", "1 3 5 b7 #9 #11 13", "5", 2.9},
	// Elektra chord: E B C# F G#, Wikipedia, Elektra chord (worked example ex246).
	{"elektra", famSpecial, "Elektra chord", "", "1 b2 3 5 6", "", 1},
}

// A degree is a member of a chord above its root: the number of the scale step and its alteration against the major scale.
type degree struct {
	num, alter int8
}

// parseDegree reads "b3" or "#11" from the start of s and returns the rest; ok is false if there is no number from 1 to 19.
func parseDegree(s string) (d degree, rest string, ok bool) {
	rest = s
	for rest != "" && (rest[0] == 'b' || rest[0] == '#') {
		if d.alter++; rest[0] == 'b' {
			d.alter -= 2
		}
		rest = rest[1:]
	}
	for rest != "" && rest[0] >= '0' && rest[0] <= '9' && d.num < 10 {
		d.num = d.num*10 + int8(rest[0]-'0')
		rest = rest[1:]
	}
	return d, rest, d.num >= 1 && d.num <= 19 && s != rest
}

// interval returns the interval from the root up to d.
func (d degree) interval() pitch.Interval {
	steps := int(d.num) - 1
	return pitch.Interval{Steps: steps, Semitones: [7]int{0, 2, 4, 5, 7, 9, 11}[steps%7] + 12*(steps/7) + int(d.alter)}
}

// fifths returns the distance of d from the root on the line of fifths.
func (d degree) fifths() int {
	return [7]int{0, 2, 4, -1, 1, 3, 5}[(d.num-1)%7] + 7*int(d.alter)
}

// pc returns the pitch class of d above a root C.
func (d degree) pc() int { return ((d.interval().Semitones % 12) + 12) % 12 }

// String returns d as in "b9".
func (d degree) String() string { return string(d.append(nil)) }

func (d degree) append(b []byte) []byte {
	for a := d.alter; a < 0; a++ {
		b = append(b, 'b')
	}
	for a := d.alter; a > 0; a-- {
		b = append(b, '#')
	}
	if d.num >= 10 {
		return append(b, '1', byte('0'+d.num-10))
	}
	return append(b, byte('0'+d.num))
}

// lineLow is the lowest place on the line of fifths, relative to the root, that a form's table of members reaches.
const lineLow, lineLen = -24, 64

type special uint8

const (
	isPlain special = iota
	isPower
	isIVover5
	isPetrushka
)

// A form is a row made ready for matching.
type form struct {
	row
	Type
	index   int // in the vocabulary
	degrees []degree
	pcs     pcset         // members above a root C
	omitPCs pcset         // members that players often leave out
	mayMiss pcset         // members that may be missing at all in a reading under this name
	takes   bool          // added notes
	onLine  [lineLen]int8 // member index by place on the line of fifths, from lineLow; -1 none
	byPC    [12]int8      // member index by pitch class above the root; -1 none
	tertian bool          // matched against notes by its members, in any spacing
	stem    string        // house symbol without its bracket
	alts    []degree      // what the bracket holds
	// Prices by place: of a note beside the members on the line of fifths from lineLow, of a missing member by pitch class
	// above the root (with the root in the bass, and without), of the bass by pitch class; negative where nobody says so.
	addPrice     [lineLen]float32
	lackPrice    [2][12]float32
	bassPrice    [12]float32
	seventh      bool
	degLine      []int8  // of each member, its place on the line of fifths above the root
	degPC        []int8  // … and its pitch class above it
	is           special // the few rows that have words of their own
	worded       bool    // named in words: "German sixth on Ab"
	beyond       bool    // beyond a triad, a seventh chord or an added sixth
	rolesAltered pcset   // members that are altered, bit by index
	rolesAdded   pcset   // members that are added, bit by index
	chordName    string  // house name with "chord": "minor seventh chord"
	triad        bool    // has a third and a fifth
	domin        bool    // major third (or fourth in its place) with minor seventh
}

// member returns the index of the member at place n of the line of fifths above the root, -1 if there is none.
func (f *form) member(n int) int8 {
	if n < lineLow || n >= lineLow+lineLen {
		return -1
	}
	return f.onLine[n-lineLow]
}

// plainFifth lists rows whose altered fifth is simply their fifth.
var plainFifth = map[string]bool{"dim": true, "aug": true, "hdim7": true, "dim7": true, "dimmaj7": true, "hdim9": true, "o9": true, "ct-o7": true}

// role names the part d plays in a chord of the given row.
func (r *row) role(d degree) string {
	altered := func(word string) string {
		switch {
		case d.alter < 0:
			return strings.Repeat("doubly ", int(-d.alter)-1) + "lowered " + word
		case d.alter > 0:
			return strings.Repeat("doubly ", int(d.alter)-1) + "raised " + word
		}
		return word
	}
	if d.num == 1 && d.alter == 0 {
		return "root"
	}
	switch r.family {
	case famStackedFourths:
		if r.id == "sowhat" && d.num == 12 {
			return "third on top"
		}
		return ordinal(int(d.num-1)/3) + " fourth"
	case famStackedFifths:
		return ordinal(int(d.num-1)/4) + " fifth"
	case famSpecial, famAugSixth, famCluster:
		if r.family == famAugSixth && (d.num == 3 || d.num == 5) {
			return pitch.NumberWord(int(d.num))
		}
		return d.interval().Words()
	}
	switch d.num {
	case 2:
		return "suspended second"
	case 3, 7:
		return pitch.NumberWord(int(d.num))
	case 4:
		if r.family == "suspended" {
			return "suspended fourth"
		}
		return "added fourth"
	case 5:
		if plainFifth[r.id] {
			return "fifth"
		}
	case 6:
		if d.alter < 0 {
			return "added minor sixth"
		}
		return "added sixth"
	case 9:
		if r.family == "added note" || r.family == "sixth" {
			return "added ninth"
		}
	}
	return altered(pitch.NumberWord(int(d.num)))
}

var ordinals = [...]string{"zeroth", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh", "twelfth"}

func ordinal(n int) string {
	if n > 0 && n < len(ordinals) {
		return ordinals[n]
	}
	return countWord(n) + "th"
}

func (r *row) form() *form {
	f := &form{row: *r}
	f.Type = Type{ID: r.id, Family: r.family, Names: strings.Split(r.names, "; ")}
	if r.symbols != "" {
		f.Symbols = strings.Split(strings.Replace(r.symbols, "~", "", 1), "; ")
		stem, bracket, _ := strings.Cut(f.Symbols[0], "(")
		f.stem = stem
		for s := strings.TrimSuffix(bracket, ")"); s != ""; {
			d, rest, ok := parseDegree(strings.TrimPrefix(s, "add"))
			if !ok {
				break
			}
			f.alts, s = append(f.alts, d), rest
		}
	}
	for i := range f.onLine {
		f.onLine[i] = -1
	}
	for i := range f.byPC {
		f.byPC[i] = -1
	}
	for i, word := range strings.Fields(r.formula) {
		d, _, _ := parseDegree(word)
		f.degrees = append(f.degrees, d)
		f.Intervals = append(f.Intervals, d.interval())
		f.Roles = append(f.Roles, r.role(d))
		f.degLine = append(f.degLine, int8(d.fifths()))
		f.degPC = append(f.degPC, int8(d.pc()))
		switch role := f.Roles[i]; {
		case strings.HasPrefix(role, "lowered"), strings.HasPrefix(role, "raised"):
			f.rolesAltered |= 1 << i
		case strings.HasPrefix(role, "added"):
			f.rolesAdded |= 1 << i
		}
		f.onLine[d.fifths()-lineLow] = int8(i)
		f.byPC[d.pc()] = int8(i)
		f.pcs |= 1 << d.pc()
	}
	f.chordName = withChord(f.Names[0])
	if r.family == "added note" { // nobody says "added ninth chord"
		f.chordName = triadOf(f) + " triad with " + strings.TrimPrefix(f.Names[0], "minor ")
	}
	f.worded = len(f.Symbols) == 0 || r.family == famAugSixth
	switch r.family {
	case "triad", "seventh", "sixth", famAugSixth, famSpecial:
		f.beyond = r.id == "69" || r.id == "m69"
	default:
		f.beyond = true
	}
	f.is = map[string]special{"power": isPower, "IVover5": isIVover5, "petrushka": isPetrushka}[r.id]
	third := slices.Contains(f.degrees, degree{3, 0})
	sus := slices.Contains(f.degrees, degree{4, 0}) && r.family == "suspended"
	low7 := slices.Contains(f.degrees, degree{7, -1})
	f.seventh = low7 || slices.Contains(f.degrees, degree{7, 0}) || slices.Contains(f.degrees, degree{7, -2})
	f.triad = slices.ContainsFunc(f.degrees, func(d degree) bool { return d.num == 3 }) && slices.ContainsFunc(f.degrees, func(d degree) bool { return d.num == 5 })
	f.domin = low7 && (third || sus)
	switch r.family {
	case famStackedFourths, famStackedFifths, famCluster, famPredominant, famChromatic:
	default:
		f.tertian = true
	}
	// A perfect fifth is free to go wherever there is a seventh: Hutchinson 31.1 says so of ninths and thirteenths,
	// Butterfield 3c of sevenths. With b13 it can't, or b13 would be heard as #5.
	if f.tertian && f.seventh && slices.Contains(f.degrees, degree{5, 0}) && r.id != "7b13" {
		f.omitPCs |= 1 << 7
	}
	for word := range strings.FieldsSeq(r.omit) {
		d, _, _ := parseDegree(word)
		for _, m := range f.degrees {
			if m.num == d.num {
				f.omitPCs |= 1 << m.pc()
			}
		}
	}
	for i, d := range f.degrees {
		if f.omitPCs.has(d.pc()) {
			f.Omittable = append(f.Omittable, f.Roles[i])
		}
		if f.priceMissing(d, true) >= 0 {
			f.mayMiss |= 1 << d.pc()
		}
	}
	f.takes = f.Symbols != nil && f.takesAdded() && f.family != famAugSixth && f.family != famSpecial
	f.priceTables()
	return f
}

// forms builds the vocabulary at first use.
var forms = sync.OnceValue(buildForms)

func buildForms() []*form {
	fs := make([]*form, len(vocabulary))
	for i := range vocabulary {
		fs[i] = vocabulary[i].form()
		fs[i].index = i
	}
	return fs
}

// plans lists, for the pitch classes above a root, the forms that could be read so: at most two notes beside the members, and
// nothing missing that must not be.
var plans = sync.OnceValue(func() *[1 << 12][]*form { return buildPlans(tertians()) })

func buildPlans(tertians []*form) *[1 << 12][]*form {
	t := new([1 << 12][]*form)
	var all []*form
	for rel := 1; rel < 1<<12; rel += 2 {
		from := len(all)
		for _, f := range tertians {
			n := (pcset(rel) &^ f.pcs).len()
			if n <= 2 && (n == 0 || f.takes) && f.pcs&^pcset(rel)&^f.mayMiss == 0 {
				all = append(all, f)
			}
		}
		t[rel] = all[from:len(all):len(all)]
	}
	return t
}

// tertians are the forms that are matched by their members.
var tertians = sync.OnceValue(func() []*form {
	return slices.DeleteFunc(slices.Clone(forms()), func(f *form) bool { return !f.tertian })
})

func formByID(id string) *form {
	for _, f := range forms() {
		if f.ID == id {
			return f
		}
	}
	return nil
}

// Types returns the vocabulary, in its order. The slice is the caller's; the slices inside the rows are shared and must not
// be changed.
func Types() []Type {
	ts := make([]Type, len(vocabulary))
	for i, f := range forms() {
		ts[i] = f.Type
	}
	return ts
}

// TypeByID returns the row with the given id.
func TypeByID(id string) (Type, bool) {
	if f := formByID(id); f != nil {
		return f.Type, true
	}
	return Type{}, false
}
