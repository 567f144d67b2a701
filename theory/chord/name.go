package chord

import (
	"math/bits"
	"slices"
	"sync"

	"plumbline/theory/pitch"
)

// Ranking. Each candidate reading has a price made of a few parts; the cheapest comes first, and Reading.Why names the part
// that put it behind the one before it. The prices are common practice put in numbers (no source); what they must achieve is
// in the tests, with sources. A price of 1 is about the step from a triad to a seventh chord.
const (
	partSpelling = iota // notes that must be read enharmonically
	partMissing         // members that don't sound
	partAdded           // notes beside the chord
	partBass            // a bass other than the root
	partRarity          // how unusual the chord is
	partShape           // what a description by spacing or by pitch classes costs, against a name
	parts
)

const (
	priceRespelled     = 7.0 // the first note that must be read enharmonically
	priceRespelledMore = 2.0
	priceRespelledSoft = 1.5 // altered ninth, fifth, eleventh: often respelled (Hutchinson 31.3, 31.5)
	priceRoot          = 3.0 // the root itself must be read enharmonically
	priceOddRoot       = 2.0 // … and becomes E#, Cb or the like
	priceTwice         = 2.5 // a member that sounds under a second name as well
	priceFifth         = 1.0 // fifth missing where that is usual
	priceFifthTriad    = 5.0
	priceThird         = 7.4
	priceSlash         = 4.6 // a triad over a bass foreign to it
	priceSlashFifth    = 4.0 // … over the fourth above its root, as in Dm/G, which stands for a suspended dominant
	priceSlashSeventh  = 4.6 // a seventh chord over a foreign bass
	priceBoth          = 1.5 // an added note in an inverted or incomplete chord
	priceLoose         = 2.0 // an extended chord inverted and incomplete
	priceRootless      = 5.6
	priceRestacked     = 8.0 // fourths that are not spaced as fourths
	priceOver          = 4.2 // one chord over another
	priceMixedOver     = 7.0 // a chord over a stack or a stack over a chord
	priceChromatic     = 5.5 // a chromatic cluster over a chord
	priceOtherCluster  = 8.5 // another cluster over a chord
	priceSetClass      = 12.0
	priceThirds        = 9.0 // a stack of thirds without a name of its own
	priceMixed         = 12.5
	maxReadings        = 5
	maxBehind          = 3.5  // readings that cost so much more than the first are left out
	maxBehindSpelling  = 12.5 // the same for the names that the notes would have under another spelling
)

// A sonority is what sounds, sorted out once for all candidates.
type sonority struct {
	notes   []pitch.Pitch // distinct, low to high
	classes []pitch.Class // distinct names, in the order of their lowest notes
	line    []int         // their places on the line of fifths
	pc      []int8        // and how they sound
	pcs     pcset
	bass    pitch.Class
	midi    []int // of notes
	cs      []candidate
	try     candidate // scratch
	least   float32   // price of the cheapest candidate so far
	text    []byte    // see words.go
	tail    *tail     // what [sonority.putTail] has to say yet

	noteBuf  [16]pitch.Pitch
	classBuf [16]pitch.Class
	lineBuf  [16]int
	midiBuf  [16]int
	pcBuf    [16]int8
}

func sonorityOf(notes []pitch.Pitch) *sonority {
	s := new(sonority)
	s.set(notes, nil)
	return s
}

// pool keeps sonorities for their buffers.
var pool = sync.Pool{New: func() any {
	return &sonority{cs: make([]candidate, 0, 64), text: make([]byte, 0, 1024)}
}}

// set makes s the sonority of the notes of both lists.
func (s *sonority) set(left, right []pitch.Pitch) {
	s.notes = append(append(s.noteBuf[:0], left...), right...)
	sortPitches(s.notes)
	s.notes = slices.Compact(s.notes)
	s.classes, s.line, s.pc, s.pcs = s.classBuf[:0], s.lineBuf[:0], s.pcBuf[:0], 0
	s.bass = pitch.Class{}
	s.midi = s.midiBuf[:0]
	for _, p := range s.notes {
		s.midi = append(s.midi, p.MIDI())
		if c := p.Class(); !slices.Contains(s.classes, c) {
			pc := c.PC()
			s.classes, s.line, s.pc = append(s.classes, c), append(s.line, c.Fifths()), append(s.pc, int8(pc))
			s.pcs |= 1 << pc
		}
	}
	if len(s.classes) > 0 {
		s.bass = s.classes[0]
	}
}

// sortPitches sorts low to high; most chords are short and sorted already.
func sortPitches(ns []pitch.Pitch) {
	if len(ns) > 24 {
		slices.SortFunc(ns, pitch.Pitch.Compare)
		return
	}
	for i := 1; i < len(ns); i++ {
		for j := i; j > 0 && ns[j].Compare(ns[j-1]) < 0; j-- {
			ns[j], ns[j-1] = ns[j-1], ns[j]
		}
	}
}

// A candidate is a reading before it is put into words.
type candidate struct {
	form   *form // nil if the reading is no row
	root   pitch.Class
	rootPC int8
	other  otherKind
	slash  bool // the bass is foreign and follows a slash
	bare   bool // the root doesn't sound
	added  int8 // notes beside the members
	line   int  // place of the root on the line of fifths
	price  [parts]float32
	total  float32
	order  int            // of creation, to break ties
	words  func() Reading // for readings without form
}

// otherKind tells the candidates without form apart, for the sentence that ranks them.
type otherKind uint8

const (
	chordKind otherKind = iota
	spacedKind
	restackedKind
	clusterAllKind
	clusterOverKind
	overKind
	intervalKind
	setKind
	mixedKind
)

func (c *candidate) sum() {
	c.total = 0
	for _, p := range c.price {
		c.total += p
	}
}

// match prices f on root against s; ok is false if the notes cannot be read so.
func (s *sonority) match(c *candidate, f *form, root pitch.Class, slash bool) (ok bool) {
	*c = candidate{form: f, root: root, slash: slash}
	rootPC, rootLine := root.PC(), root.Fifths()
	c.rootPC, c.line = int8(rootPC), rootLine
	hard, soft, twice, added := 0, 0, 0, 0
	rootSounds := false
	var exact, heard, foreign pcset // members heard as spelled, members heard at all, above the root; names that are no members as spelled
	for i, l := range s.line {
		pc := int(s.pc[i]) - rootPC
		if pc < 0 {
			pc += 12
		}
		heard |= 1 << pc
		if f.member(l-rootLine) >= 0 {
			exact |= 1 << pc
		} else {
			foreign |= 1 << i
		}
		rootSounds = rootSounds || l == rootLine
	}
	if slash {
		foreign &^= 1
	}
	for ; foreign != 0; foreign &= foreign - 1 {
		i := lowest(foreign)
		pc := int(s.pc[i]) - rootPC
		if pc < 0 {
			pc += 12
		}
		m := f.byPC[pc]
		switch {
		case m >= 0 && exact.has(pc):
			twice++
		case m >= 0 && f.softens(f.degrees[m], s.line[i]-rootLine):
			soft++
		case m >= 0:
			hard++
		default:
			price := f.addPriceAt(s.line[i] - rootLine)
			if price < 0 {
				return false
			}
			if added++; added > 1 {
				if f.is == isPower {
					return false // a fifth with two coloured notes is no fifth any more
				}
				price++
			}
			c.price[partAdded] += price
		}
	}
	if hard > 0 {
		if f.Family == famSpecial && f.ID != "elektra" && f.ID != "mystic" || f.ID == "Sw6" || added > 0 {
			return false
		}
		c.price[partSpelling] = priceRespelled + priceRespelledMore*float32(hard-1)
	}
	c.price[partSpelling] += priceRespelledSoft*float32(soft) + priceTwice*float32(twice)
	if !rootSounds { // respelled itself; rather a usual name
		c.price[partSpelling] += priceRoot
	}
	if !rootSounds || hard > 0 {
		if root.Alter != 0 && (root.IsWhite() || root.Alter > 1 || root.Alter < -1) {
			c.price[partSpelling] += priceOddRoot
		}
	}
	c.added = int8(added)
	inBass := 0
	if s.bass == root {
		inBass = 1
	}
	for missing := f.pcs &^ heard; missing != 0; missing &= missing - 1 {
		p := f.lackPrice[inBass][lowest(missing)]
		if p < 0 || added > 0 && p > priceFifth || slash {
			return false
		}
		c.price[partMissing] += p
	}
	if hard > 0 && len(s.classes) > 2 && c.price[partMissing] >= priceFifthTriad {
		return false
	}
	switch relBass := (int(s.pc[0]) - rootPC + 12) % 12; {
	case slash && f.Family == "seventh":
		c.price[partBass] = priceSlashSeventh
	case slash:
		c.price[partBass] = priceSlash
		if relBass == 5 {
			c.price[partBass] = priceSlashFifth
		}
	case relBass != 0:
		p := f.bassPrice[relBass]
		if p < 0 || f.is == isPower && s.pcs.len() > 2 {
			return false
		}
		c.price[partBass] = p
		if c.price[partMissing] > 0 && f.beyond {
			c.price[partBass] += priceLoose
		}
		if added > 0 { // notes beside the chord and the bass elsewhere: two liberties at once
			c.price[partAdded] += priceBoth
		}
	}
	if added > 0 && c.price[partMissing] > 0 {
		c.price[partAdded] += priceBoth
	}
	c.price[partRarity] = f.cost
	c.sum()
	return true
}

func lowest(s pcset) int { return bits.TrailingZeros16(uint16(s)) }

// priceTables fills the tables of prices from the rules.
func (f *form) priceTables() {
	for i := range f.addPrice {
		f.addPrice[i] = -1
		if p, ok := f.priceAdded(f.addedAt(i + lineLow)); ok {
			f.addPrice[i] = p
		}
	}
	for pc := range 12 {
		f.lackPrice[0][pc], f.lackPrice[1][pc], f.bassPrice[pc] = -1, -1, -1
		if m := f.byPC[pc]; m >= 0 {
			f.lackPrice[0][pc], f.lackPrice[1][pc] = f.priceMissing(f.degrees[m], false), f.priceMissing(f.degrees[m], true)
		}
		if p, ok := f.priceBass(pc); ok {
			f.bassPrice[pc] = p
		}
	}
}

// addPriceAt returns what the note n places on the line of fifths above the root costs beside the members of f.
func (f *form) addPriceAt(n int) float32 {
	if n < lineLow || n >= lineLow+lineLen {
		return -1
	}
	return f.addPrice[n-lineLow]
}

// floor returns what f costs at least for the pitch classes rel above its root, however they are spelled; negative if nobody
// says so.
func (f *form) floor(rel pcset, relBass int) float32 {
	const leastAdded = 1.8
	n := (rel &^ f.pcs).len()
	price, inBass := f.cost+leastAdded*float32(n), 1
	if relBass != 0 {
		if f.bassPrice[relBass] < 0 {
			return -1
		}
		price, inBass = price+f.bassPrice[relBass], 0
		if n > 0 {
			price += priceBoth
		}
	}
	if missing := f.pcs &^ rel; missing != 0 {
		if n > 0 {
			price += priceBoth
		}
		for ; missing != 0; missing &= missing - 1 {
			p := f.lackPrice[inBass][lowest(missing)]
			if p < 0 {
				return -1
			}
			price += p
		}
	}
	return price
}

// stepsAt returns the steps, in [0, 7), and the alteration against the major scale of the note n places on the line of fifths
// above a root.
func stepsAt(n int) (steps, alter int) {
	steps = ((4*n)%7 + 7) % 7
	return steps, (n - [7]int{0, 2, 4, -1, 1, 3, 5}[steps]) / 7
}

// softens reports whether member d may be written as the note n places on the line of fifths above the root without much ado:
// a raised ninth as a minor third, a raised fifth as a minor sixth, a raised eleventh as a diminished fifth, and the other way
// round.
func (f *form) softens(d degree, n int) bool {
	if !f.domin {
		return false
	}
	steps, _ := stepsAt(n)
	switch d {
	case degree{9, 1}:
		return steps == 2
	case degree{9, -1}:
		return steps == 0
	case degree{5, 1}:
		return steps == 5
	case degree{13, -1}, degree{11, 1}:
		return steps == 4
	case degree{5, -1}:
		return steps == 3
	}
	return false
}

// addedAt returns the degree of the note n places on the line of fifths above the root of f, under the number it is called by
// when it is added to f.
func (f *form) addedAt(n int) degree {
	steps, alter := stepsAt(n)
	d := degree{[7]int8{1, 9, 3, 11, 5, 6, 7}[steps], int8(alter)}
	if d.num == 6 && f.seventh {
		d.num = 13
	}
	return d
}

// priceAdded returns what it costs to have d beside the members of f; ok is false if nobody would speak of it so.
func (f *form) priceAdded(d degree) (price float32, ok bool) {
	if !f.takes {
		return 0, false
	}
	switch d.num {
	case 7:
		// Both sevenths, or the major seventh over a fourth: rare, but so written.
		return 5.5, d.alter == 0 && (f.ID == "dom7" || f.ID == "sus4")
	case 1, 5:
		return 0, false
	case 3:
		switch {
		case d.alter == -1 && (f.ID == "maj7" || f.ID == "6"):
			return 3.5, true
		case f.Family == "suspended":
			return 5, f.seventh && d.alter == 0 // a third after all
		case f.ID == "maj" && d.alter == -1, f.ID == "min" && d.alter == 0:
			return 3.5, true // split third
		}
		return 0, false
	}
	if d.alter > 1 || d.alter < -1 || d == (degree{11, -1}) || d == (degree{13, 1}) || d == (degree{6, 1}) {
		return 0, false
	}
	major := f.member(4) >= 0
	switch {
	case f.ID == "dim" || f.ID == "aug":
		return 6.5, true
	case d == degree{9, 1} && !f.domin:
		return 0, false
	case d == degree{11, 1} && !f.seventh && (major || f.is == isPower):
		return 2.5, true // the Lydian colour
	case f.domin && d != degree{11, 0}:
		return 1.8, true
	case f.seventh && major && (d == degree{9, 0} || d == degree{11, 1} || d == degree{13, 0}):
		return 1.8, true
	case f.seventh && !major && d.alter == 0:
		return 1.8, true
	case f.domin:
		return 3, true
	case f.seventh:
		return 4.5, true
	case d.alter == 0:
		return 4, true
	}
	return 5.5, true
}

// priceMissing returns what it costs that member d doesn't sound, negative if the name doesn't allow it.
func (f *form) priceMissing(d degree, rootInBass bool) float32 {
	switch {
	case d.num == 11:
		if f.omitPCs.has(d.pc()) {
			return 0.4
		}
	case d == degree{5, 0} && f.ID == "7sus4b9":
		return 2.5 // then the minor triad over the bass is the name: Dm/E
	case d == degree{5, 0} && f.omitPCs.has(7):
		return priceFifth
	case d == degree{5, 0} && (f.ID == "maj" || f.ID == "min" || f.ID == "add9" || f.ID == "madd9"):
		return priceFifthTriad
	case d == degree{5, 0} && (f.Family == "sixth" && f.ID != "addb6") && rootInBass:
		return 4 // the sixth in its place
	case d == degree{3, 0} && (f.Family == "seventh" || f.Family == "ninth") && !f.omitPCs.has(4) && len(f.alts) == 0:
		return priceThird
	}
	return -1
}

// priceBass returns what it costs that the bass, a member or an added note, is relBass semitones above the root.
func (f *form) priceBass(relBass int) (price float32, ok bool) {
	m := f.byPC[relBass]
	var d degree
	if m >= 0 {
		d = f.degrees[m]
	}
	switch f.Family {
	case famAugSixth:
		if d == (degree{6, 1}) {
			return 0.5, true // the raised fourth degree in the bass: same label, no figure (Butterfield 18a)
		}
		return 6.5, true
	case famSpecial:
		return 3, f.ID == "petrushka"
	case "suspended": // an inverted suspension is another chord to the ear
		if f.is == isIVover5 {
			return 0, false
		}
		return 8, true
	}
	price = 5.5
	switch d.num {
	case 3:
		price = 3
	case 5:
		price = 3.4
	case 7:
		if price = 4; f.beyond {
			price = 5.5
		}
	}
	if f.Family == "sixth" {
		price += 3 // with another bass the seventh chord a third lower is the name (Hutchinson 31.2)
	}
	return price, true
}

// add takes a candidate in.
func (s *sonority) add(c candidate) {
	s.cs = append(s.cs, c)
	s.added(&s.cs[len(s.cs)-1])
}

func (s *sonority) added(c *candidate) {
	c.order = len(s.cs) - 1
	s.least = min(s.least, c.total)
}

// candidates collects the readings of s in s.cs, unsorted.
func (s *sonority) candidates() {
	s.cs, s.least = s.cs[:0], 1000
	add := s.add
	switch s.pcs.len() {
	case 0:
		return
	case 1:
		add(s.single())
		return
	case 2:
		add(s.interval())
	}
	fits := plans()
	// From the bass upwards: what stands on the bass is mostly cheapest, and much above it need not be looked at.
	bassPC := int(s.pc[0])
	for up := s.pcs.down(bassPC); up != 0; up &= up - 1 {
		rootPC := bassPC + lowest(up)
		if rootPC >= 12 {
			rootPC -= 12
		}
		rel := s.pcs.down(rootPC)
		relBass := (bassPC - rootPC + 12) % 12
		for _, f := range fits[rel] {
			foreign := rel &^ f.pcs
			slash := foreign == 1<<relBass && relBass != 0 && f.pcs&^rel == 0 && s.slashes(f)
			floor := f.floor(rel, relBass)
			if floor < 0 && !slash || foreign != 0 && !slash && floor > s.least+maxBehind+2 || relBass != 0 && !slash && floor > s.least+maxBehindSpelling {
				continue
			}
			// The place of the next candidate is where it is tried out.
			s.cs = append(s.cs, candidate{})
			best, found := &s.cs[len(s.cs)-1], false
			for i, pc := range s.pc {
				if int(pc) == rootPC {
					found = s.better(best, found, f, s.classes[i], slash)
				}
			}
			if foreign == 0 && (!found || best.price[partSpelling] >= priceRespelled) && (relBass == 0 || floor+priceRespelled <= s.least+maxBehind+2) {
				for _, cl := range simpleNames[rootPC] {
					if !slices.Contains(s.classes, cl) {
						found = s.better(best, found, f, cl, slash)
					}
				}
			}
			if found && s.spaced(f, best.root) {
				s.added(best)
			} else {
				s.cs = s.cs[:len(s.cs)-1]
			}
		}
	}
	s.rootless(add)
	s.sift()
	s.stacks()
	s.over()
	if s.pcs.len() < 3 {
		return
	}
	if s.least < priceThirds {
		return
	}
	c := candidate{other: setKind, words: s.setReading}
	c.price[partShape] = priceSetClass
	c.sum()
	add(c)
	if kind, kept := s.stackKind(); kind == "thirds" && !slices.ContainsFunc(intervalsOf(kept), func(iv pitch.Interval) bool { return iv.Semitones < 3 || iv.Semitones > 4 }) {
		add(s.thirds(kept))
	} else if kind == "" {
		add(s.mixed())
	}
}

// better replaces best with f on root, with the bass after a slash if it may be, where that is cheaper or nothing was found.
func (s *sonority) better(best *candidate, found bool, f *form, root pitch.Class, slash bool) bool {
	if !found {
		found = s.match(best, f, root, false)
	} else if c := &s.try; s.match(c, f, root, false) && c.total < best.total {
		*best = *c
	}
	if slash {
		if c := &s.try; s.match(c, f, root, true) && (!found || c.total < best.total) {
			*best, found = *c, true
		}
	}
	return found
}

// sift drops what nobody would say beside a better reading of the same build.
func (s *sonority) sift() {
	cs := s.cs
	var grounded, plain bool // the bass carries a whole chord; one without suspension
	var sevenths pcset       // roots of complete seventh chords
	for i := range cs {
		c := &cs[i]
		if c.form == nil || c.price[partSpelling] > 0 || c.bare || c.slash {
			continue
		}
		if c.root == s.bass && c.price[partMissing] == 0 && c.form.triad {
			grounded = true
		}
		if c.root == s.bass && c.added == 0 && c.price[partMissing] <= priceFifth+0.5 && c.form.Family != "suspended" {
			plain = true
		}
		if c.whole() && c.form.Family == "seventh" {
			sevenths |= 1 << c.rootPC
		}
	}
	if !grounded && !plain && sevenths == 0 {
		return
	}
	kept := cs[:0]
	for i := range cs {
		switch c := &cs[i]; {
		case c.slash && (plain || sevenths.has(int(c.rootPC))): // says nothing where the bass is a root, or makes a seventh chord of the triad
		case !c.slash && c.root != s.bass && grounded && !c.bare && c.price[partMissing] > 0 && c.form != nil && c.form.beyond:
		default:
			kept = append(kept, *c)
		}
	}
	s.cs, s.least = kept, 1000
	for i := range kept {
		s.least = min(s.least, kept[i].total)
	}
}

// whole reports whether c is a chord as spelled with nothing beside it and nothing unusual missing.
func (c *candidate) whole() bool {
	return c.added == 0 && !c.slash && !c.bare && c.price[partSpelling] == 0 && c.price[partMissing] <= priceFifth+0.5
}

// simpleNames are the names of each pitch class with at most one sign.
var simpleNames = func() (t [12][]pitch.Class) {
	for l := pitch.C; l <= pitch.B; l++ {
		for a := int8(-1); a <= 1; a++ {
			c := pitch.Class{Letter: l, Alter: a}
			t[c.PC()] = append(t[c.PC()], c)
		}
	}
	return t
}()

// slashes reports whether f may stand over a foreign bass: plain triads and sevenths do.
func (s *sonority) slashes(f *form) bool {
	return s.pcs.len() >= 4 && (f.Family == "triad" && f.ID != "power" || f.Family == "seventh")
}

// spaced reports whether s has the spacing that f on root is defined by; most rows have any. The mystic chord and the
// Viennese trichord are stacks, the Elektra and Tristan chords have their root in the bass (which priceBass sees to).
func (s *sonority) spaced(f *form, root pitch.Class) bool {
	if f.ID != "mystic" && f.ID != "viennese" {
		return true
	}
	if len(s.notes) != len(f.Intervals) || s.bass != root {
		return false
	}
	for i, iv := range f.Intervals {
		if s.notes[0].Add(iv) != s.notes[i] {
			return false
		}
	}
	return true
}

// rootless adds dominants whose root doesn't sound: a diminished triad as a seventh, a half-diminished seventh as a ninth, a
// diminished seventh as a seven flat nine (chords.tsv, 7b9).
func (s *sonority) rootless(add func(candidate)) {
	if n := len(s.classes); n < 3 || n > 4 {
		return
	}
	for _, f := range rootlessForms() {
		if len(s.classes) != len(f.degrees)-1 {
			continue
		}
		for _, third := range s.line {
			all := true
			for _, l := range s.line {
				all = all && f.member(l-third+4) > 0
			}
			if all {
				root := pitch.ClassOfFifths(third - 4)
				c := candidate{form: f, root: root, rootPC: int8(root.PC()), line: root.Fifths(), bare: true}
				c.price[partMissing], c.price[partRarity] = priceRootless, f.cost
				c.sum()
				add(c)
			}
		}
	}
}

var rootlessForms = sync.OnceValue(func() []*form {
	return []*form{formByID("dom7"), formByID("9"), formByID("7b9")}
})

// Name returns the readings of notes, best first, at most five. Order and duplicates don't matter; spelling, octaves and the
// lowest note do. The result is nil for no notes and has at least one reading otherwise; the same notes always give the same
// readings.
func Name(notes []pitch.Pitch) []Reading {
	s := pool.Get().(*sonority)
	defer pool.Put(s)
	s.set(notes, nil)
	s.candidates()
	return s.rank()
}

// NameHands names left and right together, like [Name], and adds the readings that rest on the hands: one stack over another,
// one chord over another, a cluster over a chord. Either hand may be empty.
func NameHands(left, right []pitch.Pitch) []Reading {
	s := pool.Get().(*sonority)
	defer pool.Put(s)
	s.set(left, right)
	s.candidates()
	if len(left) > 0 && len(right) > 0 {
		lo, hi := pool.Get().(*sonority), pool.Get().(*sonority)
		defer pool.Put(lo)
		defer pool.Put(hi)
		lo.set(left, nil)
		hi.set(right, nil)
		if lo.midi[0] > hi.midi[0] { // crossed hands
			lo, hi = hi, lo
		}
		if c, ok := s.handOver(lo, hi); ok {
			s.add(c)
		}
	}
	return s.rank()
}

// before reports whether a ranks before b.
func (s *sonority) before(a, b *candidate) bool {
	switch {
	case a.total != b.total:
		return a.total < b.total
	case a.root != b.root:
		if x, y := s.height(a.root), s.height(b.root); x != y {
			return x < y
		}
	}
	return a.order < b.order
}

// rank sorts the candidates, drops repetitions and puts the best into words.
func (s *sonority) rank() []Reading {
	cs := s.cs
	if len(cs) == 0 {
		return nil
	}
	var roots pcset // that have a reading, or will have one without added notes
	least, sixths := cs[0].total, false
	for i := range cs {
		c := &cs[i]
		if c.form != nil && c.added == 0 && !c.slash && !c.bare {
			roots |= 1 << c.rootPC
		}
		if c.total < least {
			least = c.total
		}
		// A dominant seventh is nobody's augmented sixth unless it is spelled as some augmented sixth.
		sixths = sixths || c.form != nil && c.form.Family == famAugSixth && c.price[partSpelling] == 0
	}
	// Those near enough, in order.
	var buf [24]*candidate
	near := buf[:0]
	for i := range cs {
		c := &cs[i]
		if behind := c.total - least; behind > maxBehind && (behind > maxBehindSpelling || !s.impostor(c) || c.form.Family == famAugSixth && !sixths) {
			continue
		}
		near = append(near, c)
		for j := len(near) - 1; j > 0 && s.before(near[j], near[j-1]); j-- {
			near[j], near[j-1] = near[j-1], near[j]
		}
	}
	var outBuf [maxReadings]Reading
	out := outBuf[:0]
	var said [maxReadings]*candidate
	k := 0
	var o offs
	for _, c := range near {
		if k == maxReadings {
			break
		}
		if (c.other == setKind || c.other == mixedKind) && k > 0 && out[0].Kind != SetClass {
			continue // a name says more
		}
		var after *candidate
		afterLabel := ""
		if k > 0 {
			after, afterLabel = said[k-1], out[k-1].Label
		}
		if c.form == nil {
			t := tail{c, after, afterLabel}
			s.tail = &t
			r := c.words()
			if slices.ContainsFunc(out, func(o Reading) bool { return o.Label == r.Label }) {
				s.tail = nil
				continue
			}
			r.Bass = s.bass
			if s.tail != nil {
				s.text = append(s.text[:0], r.Why...)
				s.putTail()
				r.Why = string(s.text)
			}
			said[k] = c
			out = append(out, r)
			k++
			continue
		}
		// One reading with added notes is enough for a root, and none beside a plain one.
		if c.added > 0 && (roots.has(int(c.rootPC)) || c.total > priceSetClass && k > 0) {
			continue
		}
		o.of(c, s)
		s.text = s.text[:0]
		c.putLabel(s, &o)
		again := false
		for i, p := range said[:k] {
			// A chord over a foreign bass and the same chord with that note added are one reading, told twice.
			again = again || out[i].Label == string(s.text) || p.form != nil && p.root == c.root && p.slash != c.slash
		}
		if again {
			continue
		}
		said[k] = c
		out = append(out, Reading{})
		s.reading(&out[k], c, &o, after, afterLabel)
		roots |= 1 << c.rootPC
		k++
	}
	return slices.Clone(out)
}

// impostor reports whether c is a chord on the bass that only another spelling would make of the notes.
func (s *sonority) impostor(c *candidate) bool {
	return c.form != nil && c.root == s.bass && c.price[partSpelling] >= priceRespelled && c.added == 0 && !c.slash && c.price[partMissing] == 0
}

// height returns the place of c among the names of s from the bass up; names that don't sound come last.
func (s *sonority) height(c pitch.Class) int {
	if i := slices.Index(s.classes, c); i >= 0 {
		return i
	}
	return len(s.classes)
}
