package line

import (
	"cmp"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Chord is as much of a sonority as a sequence is judged by. Root and quality are known only where the notes, as spelled,
// stack in thirds to a triad or a seventh chord; package chord names the rest.
type Chord struct {
	At, Until score.Time
	Root      pitch.Class
	Rooted    bool
	Quality   string // as package chord says it: "major triad", "dominant seventh"; "" if unknown
	Inversion int    // 0 root, 1 third, 2 fifth, 3 seventh in the bass; meaningful only if Rooted and Bassed
	Bass, Top pitch.Class
	Bassed    bool // Bass is known
	Topped    bool // Top is known
	low, high score.Note
	members   uint16 // pitch classes
}

// Qualities of triads by third and fifth, and of sevenths by third, fifth and seventh, in semitones.
var qualities = map[[3]int]string{
	{4, 7, 0}: "major triad", {3, 7, 0}: "minor triad", {3, 6, 0}: "diminished triad", {4, 8, 0}: "augmented triad",
	{4, 0, 0}: "major triad", {3, 0, 0}: "minor triad", // without fifth
	{4, 7, 10}: "dominant seventh", {4, 7, 11}: "major seventh", {3, 7, 10}: "minor seventh", {3, 7, 11}: "minor-major seventh",
	{3, 6, 10}: "half-diminished seventh", {3, 6, 9}: "diminished seventh", {4, 8, 10}: "augmented dominant seventh", {4, 8, 11}: "augmented major seventh",
	{4, 0, 10}: "dominant seventh", {4, 0, 11}: "major seventh", {3, 0, 10}: "minor seventh", {3, 0, 11}: "minor-major seventh", {3, 0, 9}: "diminished seventh",
}

// ChordOf finds root, quality and inversion of notes that are, as spelled, a triad or a seventh chord, the fifth present or
// not. Notes need no order.
func ChordOf(notes []pitch.Pitch) Chord {
	var c Chord
	if len(notes) == 0 {
		return c
	}
	low, high := notes[0], notes[0]
	var classes [8]pitch.Class
	n := 0
	for _, p := range notes {
		if p.Compare(low) < 0 {
			low = p
		}
		if p.Compare(high) > 0 {
			high = p
		}
		c.members |= 1 << p.PC()
		if k := p.Class(); !slices.Contains(classes[:n], k) {
			if n == 4 { // more than a seventh chord
				n = 5
				break
			}
			classes[n] = k
			n++
		}
	}
	for _, p := range notes {
		if p.Compare(low) < 0 {
			low = p
		}
		if p.Compare(high) > 0 {
			high = p
		}
	}
	c.Bass, c.Top, c.Bassed, c.Topped = low.Class(), high.Class(), true, true
	if n < 2 || n > 4 {
		return c
	}
	for _, root := range classes[:n] {
		var size [3]int
		ok := true
		for _, k := range classes[:n] {
			if k == root {
				continue
			}
			i := k.Sub(root)
			if i.Steps == 0 || i.Steps%2 != 0 {
				ok = false
				break
			}
			size[i.Steps/2-1] = i.Semitones
		}
		if q := qualities[size]; ok && q != "" {
			c.Root, c.Rooted, c.Quality = root, true, q
			c.Inversion = c.Bass.Sub(root).Steps / 2
			return c
		}
	}
	return c
}

// RootChords makes chords of which only the roots are known.
func RootChords(roots []pitch.Class) []Chord {
	out := make([]Chord, len(roots))
	for i, r := range roots {
		out[i] = Chord{Root: r, Rooted: true, At: score.Quarters(i), Until: score.Quarters(i + 1)}
	}
	return out
}

// OuterChords makes chords of which only bass and soprano are known; top may be nil. It uses as many as both have.
func OuterChords(bass, top []pitch.Class) []Chord {
	var out []Chord
	for i, b := range bass {
		if top != nil && i >= len(top) {
			break
		}
		c := Chord{Bass: b, Bassed: true, At: score.Quarters(i), Until: score.Quarters(i + 1)}
		if top != nil {
			c.Top, c.Topped = top[i], true
		}
		out = append(out, c)
	}
	return out
}

// An asked is a move of a schema, octaves aside: by steps of the letters and by semitones; semitones -1 allows every size of a
// scale, steps -1 asks for the sound alone.
type asked struct{ steps, semitones int }

// scaleSizes are the sizes in semitones that a number of steps has within a scale, as major or perfect and as minor,
// augmented or diminished.
var scaleSizes = [7][2]int{{0, 0}, {1, 2}, {3, 4}, {5, 6}, {6, 7}, {8, 9}, {10, 11}}

func (a asked) fits(from, to pitch.Class) bool {
	i := to.Sub(from)
	size := mod(i.Semitones, 12)
	if a.steps >= 0 && i.Steps != a.steps {
		return false
	}
	if a.semitones < 0 {
		return size == scaleSizes[a.steps][0] || size == scaleSizes[a.steps][1]
	}
	return size == a.semitones
}

func mod(a, n int) int { return ((a % n) + n) % n }

// ask reads the moves of a schema: "+4" up a fourth of any quality, "-P4" down a perfect fourth, "=" holds, "-s" down a
// semitone however spelled.
func ask(text string) []asked {
	var out []asked
	for _, f := range strings.Fields(text) {
		switch {
		case f == "=":
			out = append(out, asked{0, 0})
		case f == "-s":
			out = append(out, asked{-1, 11})
		case f == "+s":
			out = append(out, asked{-1, 1})
		case len(f) == 2: // sign and number
			n := int(f[1] - '1')
			if f[0] == '-' {
				n = -n
			}
			out = append(out, asked{mod(n, 7), -1})
		default:
			i, err := pitch.ParseInterval(strings.TrimPrefix(f, "+"))
			if err != nil {
				panic(err) // a slip in the table below, which the tests read whole
			}
			out = append(out, asked{mod(i.Steps, 7), mod(i.Semitones, 12)})
		}
	}
	return out
}

// A schema is a standard sequence or bass pattern. Moves are cycles unless once is set.
type schema struct {
	id, name         string
	root, bass, top  []asked
	figures          string // inversions in turn, "" any
	quality          string // one letter a chord in turn, see fitsQuality; "" any
	outer            string // generic intervals between bass and soprano in turn, "" any
	least            int    // chords
	once             bool
	unit             int // chords in a repetition
	transposed       string
	specific         int // how much it asks; decides which name comes first
	rooted, needsTop bool
}

// schemata are those of the reference table of sequences (sources there, row by row): Cser & Wanner, Harmony and Musicianship
// with Solfege; Hutchinson, Music Theory for the 21st-Century Classroom; Butterfield, Integrated Musicianship: Theory; Open
// Music Theory; K. Kothman's course notes. Classification is by roots, not by bass (Butterfield, unit 17b).
var schemata = []schema{
	{id: "desc5-triads", name: "descending fifths", root: ask("+4"), least: 4, unit: 2, transposed: "down a second"},
	{id: "real-desc5", name: "strict descending fifths", root: ask("+P4"), least: 6, unit: 2, transposed: "down a major second", specific: 1},
	{id: "desc5-sevenths", name: "descending fifths of seventh chords", root: ask("+4"), quality: "s", least: 3, unit: 2, transposed: "down a second", specific: 2},
	{id: "desc5-65-42", name: "descending fifths with six-five and four-two chords", root: ask("+4"), quality: "s", figures: "13", least: 4, unit: 2, transposed: "down a second", specific: 4},
	{id: "desc5-65-42", name: "descending fifths with six-five and four-two chords", root: ask("+4"), quality: "s", figures: "31", least: 4, unit: 2, transposed: "down a second", specific: 4},
	{id: "desc5-7-43", name: "descending fifths with seventh and four-three chords", root: ask("+4"), quality: "s", figures: "02", least: 4, unit: 2, transposed: "down a second", specific: 4},
	{id: "desc5-7-43", name: "descending fifths with seventh and four-three chords", root: ask("+4"), quality: "s", figures: "20", least: 4, unit: 2, transposed: "down a second", specific: 4},
	{id: "desc5-7-64", name: "descending fifths, sevenths resolving to six-four chords over the same bass", root: ask("+4"), quality: "st", figures: "02", least: 4, unit: 2, transposed: "down a second", specific: 5},
	{id: "desc5-pop", name: "circle-of-fifths loop", root: ask("+P4 +P4 +P4 -m3"), quality: "nnDM", least: 4, unit: 4, specific: 3},
	{id: "desc5-half", name: "ii V I", root: ask("+P4 +P4"), quality: "nDf", least: 3, once: true, unit: 3, specific: 4},
	{id: "desc3-pachelbel", name: "Pachelbel sequence (falling fourths)", root: ask("-4 +2"), figures: "00", least: 4, unit: 2, transposed: "down a third", specific: 2},
	{id: "desc3-pachelbel-inv", name: "Pachelbel sequence with first inversions, the bass falling by step", root: ask("-4 +2"), figures: "01", least: 4, unit: 2, transposed: "down a third", specific: 3},
	{id: "asc2-56", name: "ascending 5-6", root: ask("-3 +4"), bass: ask("= +2"), least: 4, unit: 2, transposed: "up a second", specific: 3},
	{id: "asc2-56", name: "falling thirds, each pair a step higher (ascending 5-6 in root position)", root: ask("-3 +4"), figures: "00", least: 4, unit: 2, transposed: "up a second", specific: 2},
	{id: "asc2-43", name: "up a fourth and down a third", root: ask("+4 -3"), figures: "00", least: 4, unit: 2, transposed: "up a second", specific: 2},
	{id: "asc5", name: "ascending fifths", root: ask("+5"), least: 4, unit: 2, transposed: "up a second"},
	{id: "parallel-63", name: "parallel six-three chords", root: ask("-2"), quality: "t", figures: "1", least: 3, unit: 1, transposed: "down a second", specific: 2},
	{id: "parallel-63", name: "parallel six-three chords", root: ask("+2"), quality: "t", figures: "1", least: 3, unit: 1, transposed: "up a second", specific: 2},
	{id: "desc2-76", name: "7-6 suspension chain", bass: ask("= -2"), outer: "76", least: 4, unit: 2, transposed: "down a second", specific: 3},
	{id: "prinner", name: "Prinner", bass: ask("-m2 -M2 -M2"), top: ask("-M2 -M2 -m2"), least: 4, once: true, unit: 4, specific: 4},
	{id: "modulating-prinner", name: "modulating Prinner", bass: ask("-m2 -M2 -M2"), top: ask("-M2 -M2 -m2"), least: 4, once: true, unit: 4, specific: 4},
	{id: "romanesca", name: "Romanesca", bass: ask("-m2 -M2 -P4"), figures: "0101", least: 4, once: true, unit: 4, specific: 3},
	{id: "meyer", name: "Meyer", bass: ask("+M2 -m3 +m2"), top: ask("-m2 -A4 -m2"), least: 4, once: true, unit: 4, specific: 4},
	{id: "do-re-mi", name: "Do-re-mi", bass: ask("-m2 = +m2"), top: ask("+M2 = +M2"), least: 4, once: true, unit: 4, specific: 4},
	{id: "do-re-mi", name: "Do-re-mi", bass: ask("-m2 +m2"), top: ask("+M2 +M2"), least: 3, once: true, unit: 3, specific: 3},
	{id: "fonte", name: "Fonte", root: ask("+P4"), quality: "DmDM", least: 4, once: true, unit: 2, transposed: "down a major second", specific: 4},
	{id: "monte", name: "Monte", root: ask("+P4 -m3"), quality: "7f", least: 4, unit: 2, transposed: "up a major second", specific: 4},
	{id: "chrom-desc5", name: "chain of dominant sevenths", root: ask("+P4"), quality: "7", least: 3, unit: 2, transposed: "down a major second", specific: 4},
	{id: "chrom-asc56", name: "chromatic ascending 5-6", root: ask("-m3 +P4"), bass: ask("+s"), quality: "fD", figures: "01", least: 4, unit: 2, transposed: "up a major second", specific: 6},
	{id: "chrom-desc56", name: "chromatic descending 5-6", bass: ask("-s"), quality: "f*7*", figures: "0131", least: 4, unit: 2, transposed: "down a major second", specific: 4, rooted: true},
	{id: "lament", name: "lament bass", bass: ask("-M2 -M2 -m2"), quality: "l???", least: 4, once: true, unit: 4, specific: 2},
	{id: "lament-chrom", name: "chromatic lament bass", bass: ask("-s -s -s -s -s"), quality: "l?????", least: 6, once: true, unit: 6, specific: 3},
}

// fitsQuality reports whether a chord is of the quality that a letter asks for: M major and m minor triad, t any triad, s any
// seventh chord, 7 a dominant seventh, D a dominant (major triad or dominant seventh), n minor or diminished with seventh or
// without, f a triad that a dominant falls to (major or minor, also with a major or minor seventh), l minor or unknown,
// ? and * anything.
func fitsQuality(letter byte, q string) bool {
	triad := strings.HasSuffix(q, "triad")
	seventh := strings.HasSuffix(q, "seventh")
	switch letter {
	case 'M':
		return q == "major triad"
	case 'm':
		return q == "minor triad"
	case 't':
		return triad || q == ""
	case 's':
		return seventh
	case '7':
		return q == "dominant seventh"
	case 'D':
		return q == "major triad" || q == "dominant seventh"
	case 'n':
		return q == "minor triad" || q == "diminished triad" || q == "minor seventh" || q == "half-diminished seventh"
	case 'f':
		return q == "major triad" || q == "minor triad" || q == "major seventh" || q == "minor seventh"
	case 'l':
		return q == "" || strings.HasPrefix(q, "minor")
	}
	return true
}

// A Schema is a standard sequence or bass pattern found in a row of chords: chords[From:To].
type Schema struct {
	ID, Name   string // of the reference table
	From, To   int
	Unit       int    // chords in a repetition
	Transposed string // how each repetition lies to the one before it, "" if the pattern is not repeated
	specific   int
}

// chordFits reports whether chord k of a match may stand there; last tells that it may be the chord to which a chain of
// sevenths resolves.
func (s *schema) chordFits(chords []Chord, from, k int) (ok, last bool) {
	c := chords[from+k]
	if (s.root != nil || s.rooted) && !c.Rooted || (s.bass != nil) && !c.Bassed || s.top != nil && !c.Topped {
		return false, false
	}
	if s.figures != "" && c.Rooted && !c.Bassed && strings.Trim(s.figures, "0") != "" {
		return false, false
	}
	if s.figures != "" && c.Rooted && c.Bassed && c.Inversion != int(s.figures[k%len(s.figures)]-'0') {
		return false, false
	}
	if s.outer != "" {
		if !c.Bassed || !c.Topped || c.Top.Sub(c.Bass).Steps+1 != int(s.outer[k%len(s.outer)]-'0') {
			return false, false
		}
	}
	if k > 0 {
		b := chords[from+k-1]
		for _, m := range [...]struct {
			moves    []asked
			from, to pitch.Class
		}{{s.root, b.Root, c.Root}, {s.bass, b.Bass, c.Bass}, {s.top, b.Top, c.Top}} {
			if len(m.moves) == 0 {
				continue
			}
			if s.once && k > len(m.moves) && len(m.moves) > 1 || !m.moves[(k-1)%len(m.moves)].fits(m.from, m.to) {
				return false, false
			}
		}
	}
	if s.quality != "" && !fitsQuality(s.quality[k%len(s.quality)], c.Quality) {
		chain := s.quality == "s" || s.quality == "7"
		return chain && k > 0 && strings.HasSuffix(c.Quality, "triad"), true
	}
	return true, false
}

// Schemata returns the standard sequences and bass patterns that occur in a row of chords, each as long as it goes on. Of
// those that lie within a longer one of the same family only the more specific ones are kept: first come those that cover
// most chords, and of equal ones those that say most. Chords may know their roots only, or their basses and sopranos only
// (see [RootChords] and [OuterChords]); what a schema asks of the unknown must not be what makes it.
func Schemata(chords []Chord) []Schema {
	var out []Schema
	for i := range schemata {
		s := &schemata[i]
		for from := 0; from+s.least <= len(chords); {
			n := 0
			for from+n < len(chords) && !(s.once && n == s.least) {
				ok, last := s.chordFits(chords, from, n)
				if !ok {
					break
				}
				n++
				if last {
					break
				}
			}
			if n < s.least {
				from++
				continue
			}
			out = append(out, Schema{s.id, s.name, from, from + n, s.unit, s.transposed, s.specific})
			from += max(n-1, 1)
		}
	}
	slices.SortStableFunc(out, func(a, b Schema) int {
		return cmp.Or((b.To-b.From)-(a.To-a.From), b.specific-a.specific, a.From-b.From)
	})
	// A match that lies within a longer one and says no more is dropped.
	kept := out[:0:0]
	for _, m := range out {
		if !slices.ContainsFunc(kept, func(k Schema) bool {
			return k.From <= m.From && m.To <= k.To && (k.specific > m.specific || k.specific == m.specific && k.To-k.From > m.To-m.From)
		}) {
			kept = append(kept, m)
		}
	}
	return kept
}

// Chords reduces a region to its chords: what is struck or held from one bound to the next, in a row; a chord that equals the
// one before it in bass, top and notes is not told again. Nil bounds stand for every onset.
func Chords(sounding []score.Note, r score.Region, bounds []score.Time) []Chord {
	return chordsOf(score.Slices(sounding, r.From, r.To), bounds)
}

func chordsOf(list []score.Slice, bounds []score.Time) []Chord {
	n := len(list)
	if bounds != nil {
		n = min(n, len(bounds))
	}
	out := make([]Chord, 0, n)
	add := func(c Chord) {
		if k := len(out) - 1; k >= 0 && out[k].members == c.members && out[k].low.Pitch == c.low.Pitch && out[k].high.Pitch == c.high.Pitch {
			out[k].Until = c.Until
			return
		}
		out = append(out, c)
	}
	var ps []pitch.Pitch
	if bounds == nil {
		for _, s := range list {
			struck := false
			ps = ps[:0]
			for i, n := range s.Notes {
				ps = append(ps, n.Pitch)
				struck = struck || s.Struck[i]
			}
			if !struck || len(ps) == 0 {
				continue
			}
			c := ChordOf(ps)
			c.At, c.Until, c.low, c.high = s.At, s.Until, s.Notes[0], s.Notes[len(s.Notes)-1]
			add(c)
		}
		return out
	}
	k := 0
	for i := 0; i+1 < len(bounds); i++ {
		var low, high score.Note
		ps = ps[:0]
		for ; k < len(list) && list[k].At.Less(bounds[i+1]); k++ {
			s := list[k]
			if s.At.Less(bounds[i]) {
				continue
			}
			for j, n := range s.Notes {
				if !s.Struck[j] && !(len(ps) == 0 || s.At == bounds[i]) {
					continue
				}
				if len(ps) == 0 || n.Pitch.Compare(low.Pitch) < 0 {
					low = n
				}
				if len(ps) == 0 || n.Pitch.Compare(high.Pitch) > 0 {
					high = n
				}
				ps = append(ps, n.Pitch)
			}
		}
		if len(ps) == 0 {
			continue
		}
		c := ChordOf(ps)
		c.At, c.Until, c.low, c.high = bounds[i], bounds[i+1], low, high
		add(c)
	}
	return out
}
