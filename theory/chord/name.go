package chord

import (
	"cmp"
	"math/bits"
	"slices"

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
	priceThird         = 8.0
	priceSlash         = 4.6 // a triad over a bass foreign to it
	priceSlashFifth    = 4.0 // … over the fourth above its root, as in Dm/G, which stands for a suspended dominant
	priceSlashSeventh  = 4.6 // a seventh chord over a foreign bass
	priceBoth          = 1.5 // an added note in an inverted or incomplete chord
	priceLoose         = 2.0 // an extended chord inverted and incomplete
	priceRootless      = 5.6
	priceRestacked     = 6.5 // fourths that are not spaced as fourths
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
	pcs     pcset
	bass    pitch.Class
}

func sonorityOf(notes []pitch.Pitch) *sonority {
	s := &sonority{notes: distinct(notes)}
	s.classes = make([]pitch.Class, 0, len(s.notes))
	for _, p := range s.notes {
		if c := p.Class(); !slices.Contains(s.classes, c) {
			s.classes = append(s.classes, c)
			s.pcs |= 1 << c.PC()
		}
	}
	s.line = make([]int, len(s.classes))
	for i, c := range s.classes {
		s.line[i] = c.Fifths()
	}
	if len(s.classes) > 0 {
		s.bass = s.classes[0]
	}
	return s
}

// A candidate is a reading before it is put into words.
type candidate struct {
	form  *form // nil if the reading is no row
	root  pitch.Class
	slash bool // the bass is foreign and follows a slash
	bare  bool // the root doesn't sound
	added int  // notes beside the members
	price [parts]float32
	total float32
	words func() Reading // for readings without form
	order int            // of creation, to break ties
	other otherKind
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
func (s *sonority) match(f *form, root pitch.Class, slash bool) (c candidate, ok bool) {
	c = candidate{form: f, root: root, slash: slash}
	rootPC, rootLine := root.PC(), root.Fifths()
	hard, soft, twice, added := 0, 0, 0, 0
	rootSounds := false
	var exact, heard pcset // members heard as spelled, and at all, above the root
	for i, cl := range s.classes {
		if m := f.member(s.line[i] - rootLine); m >= 0 {
			exact |= 1 << f.degrees[m].pc()
		}
		heard |= 1 << ((cl.PC() - rootPC + 12) % 12)
		rootSounds = rootSounds || cl == root
	}
	for i, cl := range s.classes {
		if slash && i == 0 {
			continue
		}
		if f.member(s.line[i]-rootLine) >= 0 {
			continue
		}
		pc := (cl.PC() - rootPC + 12) % 12
		m := f.byPC[pc]
		switch {
		case m >= 0 && exact.has(pc):
			twice++
		case m >= 0 && f.softens(f.degrees[m], cl.Sub(root)):
			soft++
		case m >= 0:
			hard++
		default:
			price, ok := f.priceAdded(addedDegree(f, root, cl))
			if !ok {
				return c, false
			}
			if added++; added > 1 {
				if f.ID == "power" {
					return c, false // a fifth with two coloured notes is no fifth any more
				}
				price++
			}
			c.price[partAdded] += price
		}
	}
	if hard > 0 {
		c.price[partSpelling] = priceRespelled + priceRespelledMore*float32(hard-1)
	}
	c.price[partSpelling] += priceRespelledSoft*float32(soft) + priceTwice*float32(twice)
	if hard > 0 && (f.Family == famSpecial || f.ID == "Sw6" || added > 0) {
		return c, false
	}
	if !rootSounds { // respelled itself; rather a usual name
		c.price[partSpelling] += priceRoot
	}
	if !rootSounds || hard > 0 {
		if root.Alter != 0 && (root.IsWhite() || root.Alter > 1 || root.Alter < -1) {
			c.price[partSpelling] += priceOddRoot
		}
	}
	c.added = added
	for missing := f.pcs &^ heard; missing != 0; missing &= missing - 1 {
		pc := lowest(missing)
		p := f.priceMissing(f.degrees[f.byPC[pc]], s.bass == root)
		if p < 0 || added > 0 && p > priceFifth || slash {
			return c, false
		}
		c.price[partMissing] += p
	}
	if f.pcs&^heard != 0 && len(s.classes) > 2 && c.price[partMissing] >= priceFifthTriad && hard > 0 {
		return c, false
	}
	switch {
	case slash && f.Family == "seventh":
		c.price[partBass] = priceSlashSeventh
	case slash:
		c.price[partBass] = priceSlash
		if (s.bass.PC()-rootPC+12)%12 == 5 {
			c.price[partBass] = priceSlashFifth
		}
	case s.bass != root && s.bass.PC() != rootPC:
		p, ok := f.priceBass(s, s.bass, root)
		if !ok {
			return c, false
		}
		c.price[partBass] = p
		if c.price[partMissing] > 0 && f.extended() {
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
	return c, true
}

func lowest(s pcset) int { return bits.TrailingZeros16(uint16(s)) }

// extended reports whether f goes beyond a triad, a seventh chord or an added sixth.
func (f *form) extended() bool {
	switch f.Family {
	case "triad", "seventh", "sixth", famAugSixth, famSpecial:
		return f.ID == "69" || f.ID == "m69"
	}
	return true
}

// softens reports whether member d may be written as iv above the root without much ado: a raised ninth as a minor third, a
// raised fifth as a minor sixth, a raised eleventh as a diminished fifth, and the other way round.
func (f *form) softens(d degree, iv pitch.Interval) bool {
	if !f.domin {
		return false
	}
	switch d {
	case degree{9, 1}:
		return iv.Steps == 2
	case degree{9, -1}:
		return iv.Steps == 0
	case degree{5, 1}:
		return iv.Steps == 5
	case degree{13, -1}:
		return iv.Steps == 4
	case degree{11, 1}:
		return iv.Steps == 4
	case degree{5, -1}:
		return iv.Steps == 3
	}
	return false
}

// addedDegree returns the degree that cl is above root, under the number it is called by when it is added to f.
func addedDegree(f *form, root, cl pitch.Class) degree {
	iv := cl.Sub(root)
	num := [7]int8{1, 9, 3, 11, 5, 6, 7}[iv.Steps]
	if num == 6 && f.seventh {
		num = 13
	}
	d := degree{num: num}
	d.alter = int8(iv.Semitones - degree{num: int8(iv.Steps + 1)}.interval().Semitones)
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
	major := slices.Contains(f.degrees, degree{3, 0})
	switch {
	case f.ID == "dim" || f.ID == "aug":
		return 6.5, true
	case d == degree{9, 1} && !f.domin:
		return 0, false
	case d == degree{11, 1} && !f.seventh && (major || f.ID == "power"):
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

// priceBass returns what it costs that bass, a member or an added note, is below root.
func (f *form) priceBass(s *sonority, bass, root pitch.Class) (price float32, ok bool) {
	m := f.byPC[(bass.PC()-root.PC()+12)%12]
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
		if f.ID == "IVover5" {
			return 0, false
		}
		return 8, true
	}
	if f.ID == "power" && s != nil && s.pcs.len() > 2 {
		return 0, false
	}
	price = 5.5
	switch d.num {
	case 3:
		price = 3
	case 5:
		price = 3.4
	case 7:
		if price = 4; f.extended() {
			price = 5.5
		}
	}
	if f.Family == "sixth" {
		price += 3 // with another bass the seventh chord a third lower is the name (Hutchinson 31.2)
	}
	return price, true
}

// candidates collects the readings of s, unsorted.
func (s *sonority) candidates() []candidate {
	cs := make([]candidate, 0, 64)
	add := func(c candidate) {
		c.order = len(cs)
		cs = append(cs, c)
	}
	switch s.pcs.len() {
	case 0:
		return nil
	case 1:
		add(s.single())
		return cs
	case 2:
		add(s.interval())
	}
	for pcsLeft := s.pcs; pcsLeft != 0; pcsLeft &= pcsLeft - 1 {
		rootPC := lowest(pcsLeft)
		rel := s.pcs.down(rootPC)
		relBass := (s.bass.PC() - rootPC + 12) % 12
		for _, f := range tertians() {
			foreign := rel &^ f.pcs
			n := foreign.len()
			if n > 2 || n > 0 && !f.takes || f.pcs&^rel&^f.mayMiss != 0 {
				continue
			}
			slash := n == 1 && foreign.has(relBass) && relBass != 0 && f.pcs&^rel == 0 && s.slashes(f)
			best := candidate{total: -1}
			try := func(root pitch.Class) {
				if c, ok := s.match(f, root, false); ok && (best.total < 0 || c.total < best.total) {
					best = c
				}
				if slash {
					if c, ok := s.match(f, root, true); ok && (best.total < 0 || c.total < best.total) {
						best = c
					}
				}
			}
			for _, cl := range s.classes {
				if cl.PC() == rootPC {
					try(cl)
				}
			}
			if n == 0 && (best.total < 0 || best.price[partSpelling] >= priceRespelled) {
				for _, cl := range simpleNames[rootPC] {
					if !slices.Contains(s.classes, cl) {
						try(cl)
					}
				}
			}
			if best.total >= 0 && s.spaced(f, best.root) {
				add(best)
			}
		}
	}
	s.rootless(add)
	cs = s.sift(cs)
	s.stacks(add)
	s.over(add)
	if s.pcs.len() < 3 {
		return cs
	}
	for i := range cs {
		if cs[i].total < priceThirds {
			return cs
		}
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
	return cs
}

// sift drops what nobody would say beside a better reading of the same build.
func (s *sonority) sift(cs []candidate) []candidate {
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
			sevenths |= 1 << c.root.PC()
		}
	}
	return slices.DeleteFunc(cs, func(c candidate) bool {
		switch {
		case c.slash: // says nothing where the bass is a root, or makes a seventh chord of the triad
			return plain || sevenths.has(c.root.PC())
		case c.root != s.bass && grounded && !c.bare:
			return c.price[partMissing] > 0 && c.form.extended()
		}
		return false
	})
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
	for _, id := range [...]string{"dom7", "9", "7b9"} {
		f := formByID(id)
		if len(s.classes) != len(f.degrees)-1 {
			continue
		}
		for _, third := range s.classes {
			root := third.Add(pitch.MajorThird.Neg())
			all := true
			for _, l := range s.line {
				all = all && f.member(l-root.Fifths()) > 0
			}
			if all {
				c := candidate{form: f, root: root, bare: true}
				c.price[partMissing], c.price[partRarity] = priceRootless, f.cost
				c.sum()
				add(c)
			}
		}
	}
}

// Name returns the readings of notes, best first, at most five. Order and duplicates don't matter; spelling, octaves and the
// lowest note do. The result is nil for no notes and has at least one reading otherwise; the same notes always give the same
// readings.
func Name(notes []pitch.Pitch) []Reading {
	s := sonorityOf(notes)
	return s.rank(s.candidates())
}

// NameHands names left and right together, like [Name], and adds the readings that rest on the hands: one stack over another,
// one chord over another, a cluster over a chord. Either hand may be empty.
func NameHands(left, right []pitch.Pitch) []Reading {
	s := sonorityOf(slices.Concat(left, right))
	cs := s.candidates()
	if len(left) > 0 && len(right) > 0 {
		lo, hi := sonorityOf(left), sonorityOf(right)
		if lo.notes[0].MIDI() > hi.notes[0].MIDI() { // crossed hands
			lo, hi = hi, lo
		}
		if c, ok := s.handOver(lo, hi); ok {
			c.order = len(cs)
			cs = append(cs, c)
		}
	}
	return s.rank(cs)
}

// rank sorts candidates, drops repetitions and puts the best into words.
func (s *sonority) rank(cs []candidate) []Reading {
	if len(cs) == 0 {
		return nil
	}
	slices.SortFunc(cs, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.total, b.total), cmp.Compare(s.height(a.root), s.height(b.root)), cmp.Compare(a.order, b.order))
	})
	rs := make([]Reading, 0, maxReadings)
	var prev *candidate
	said := make([]*candidate, 0, maxReadings) // chords among rs
	var roots pcset                            // that have a reading, or will have one without added notes
	for i := range cs {
		if c := &cs[i]; c.form != nil && c.added == 0 && !c.slash && !c.bare {
			roots |= 1 << c.root.PC()
		}
	}
	for i := range cs {
		c := &cs[i]
		if len(rs) == maxReadings {
			break
		}
		if behind := c.total - cs[0].total; behind > maxBehind && (behind > maxBehindSpelling || !s.impostor(c)) {
			continue
		}
		if (c.other == setKind || c.other == mixedKind) && len(rs) > 0 && rs[0].Kind != SetClass {
			continue // a name says more
		}
		var r Reading
		if c.form != nil {
			// One reading with added notes is enough for a root, and none beside a plain one.
			if c.added > 0 && (roots.has(c.root.PC()) || c.total > priceSetClass && len(rs) > 0) {
				continue
			}
			// A chord over a foreign bass and the same chord with that note added are one reading, told twice.
			if slices.ContainsFunc(said, func(o *candidate) bool { return o.root == c.root && o.slash != c.slash }) {
				continue
			}
			label := c.label(s)
			if slices.ContainsFunc(rs, func(o Reading) bool { return o.Label == label }) {
				continue
			}
			r = s.reading(c, label)
			roots |= 1 << c.root.PC()
			said = append(said, c)
		} else {
			r = c.words()
			if slices.ContainsFunc(rs, func(o Reading) bool { return o.Label == r.Label }) {
				continue
			}
		}
		r.Bass = s.bass
		if prev != nil {
			r.Why += "; " + behind(c, prev, rs[len(rs)-1].Label)
		}
		r.Why += "."
		rs = append(rs, r)
		prev = c
	}
	return rs
}

// impostor reports whether c is a chord on the bass that only another spelling would make of the notes.
func (s *sonority) impostor(c *candidate) bool {
	return c.form != nil && (c.root == s.bass || c.form.Family == famAugSixth && c.price[partBass] < 1) && c.price[partSpelling] >= priceRespelled && c.added == 0 && !c.slash && c.price[partMissing] == 0
}

// height returns the place of c among the names of s from the bass up; names that don't sound come last.
func (s *sonority) height(c pitch.Class) int {
	if i := slices.Index(s.classes, c); i >= 0 {
		return i
	}
	return len(s.classes)
}
