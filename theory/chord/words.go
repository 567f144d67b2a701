package chord

import (
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// Naming is on the way of everything that is described, checked or asked, so its words are written into one buffer a call, in
// s.text, and cut out of one string a reading.

// classNames holds the usual names of note classes, four flats to four sharps.
var classNames = func() (t [7][9]string) {
	for l := range t {
		for a := range t[l] {
			t[l][a] = pitch.Class{Letter: pitch.Letter(l), Alter: int8(a - 4)}.String()
		}
	}
	return t
}()

func className(c pitch.Class) string {
	if c.Alter >= -4 && c.Alter <= 4 && c.Letter >= 0 && c.Letter <= 6 {
		return classNames[c.Letter][c.Alter+4]
	}
	return c.String()
}

// put appends words to the text.
func (s *sonority) put(words ...string) {
	for _, w := range words {
		s.text = append(s.text, w...)
	}
}

// and puts what belongs between item i of n and the one before.
func (s *sonority) and(i, n int) {
	switch {
	case i == 0:
	case i == n-1:
		s.put(" and ")
	default:
		s.put(", ")
	}
}

// putDashed lists the names of ns without octaves: "G#-A-A#".
func (s *sonority) putDashed(ns []pitch.Pitch) {
	for i, p := range ns {
		if i > 0 {
			s.put("-")
		}
		s.put(className(p.Class()))
	}
}

// above returns the note at place n of the line of fifths above the root of c.
func (c *candidate) above(n int8) pitch.Class { return pitch.ClassOfFifths(int(c.line) + int(n)) }

// relPC returns the pitch class of name i of s above the root of c.
func (s *sonority) relPC(c *candidate, i int) int {
	pc := int(s.pc[i]) - int(c.rootPC)
	if pc < 0 {
		pc += 12
	}
	return pc
}

// offs sorts out the notes beside the members of c and the members that don't sound, and which of these the label says.
type offs struct {
	addedBuf, missingBuf, saidBuf [12]degree
	added, missing, said          []degree
}

func (o *offs) of(c *candidate, s *sonority) {
	o.added, o.missing, o.said = o.addedBuf[:0], o.missingBuf[:0], o.saidBuf[:0]
	var heard pcset
	for i := range s.classes {
		pc := s.relPC(c, i)
		heard |= 1 << pc
		if c.form.byPC[pc] < 0 && !(c.slash && i == 0) {
			if d := c.form.addedAt(s.line[i] - int(c.line)); !slices.Contains(o.added, d) {
				o.added = append(o.added, d)
			}
		}
	}
	if c.form.pcs&^heard == 0 {
		return
	}
	for i, d := range c.form.degrees {
		if pc := int(c.form.degPC[i]); !heard.has(pc) {
			o.missing = append(o.missing, d)
			if !c.form.omitPCs.has(pc) && d.num != 1 {
				o.said = append(o.said, d)
			}
		}
	}
}

// label returns the label of a candidate with form.
func (c *candidate) label(s *sonority) string {
	var o offs
	o.of(c, s)
	from := len(s.text)
	c.putLabel(s, &o)
	label := string(s.text[from:])
	s.text = s.text[:from]
	return label
}

func (c *candidate) putLabel(s *sonority, o *offs) {
	f, root := c.form, className(c.root)
	switch {
	case c.bare:
		s.put("rootless ", root, f.Symbols[0])
		return
	case f.is == isPower && len(o.added) == 0:
		s.put("open fifth ", root, "-", className(c.above(1)))
	case f.is == isIVover5:
		s.put(className(c.above(-2)), "/", root)
		return
	case f.is == isPetrushka:
		s.put(className(c.above(6)), " major over ", root, " major")
		return
	case f.worded:
		s.put(f.Names[0], " on ", root)
	default:
		s.put(root)
		s.text = f.appendSuffix(s.text, o.added, o.said)
	}
	if b, ok := c.bass(s); ok {
		if f.is == isPower && len(o.added) == 0 {
			s.put(" over ", className(b))
		} else {
			s.put("/", className(b))
		}
	}
}

// bass returns the bass as c reads it, ok is false if the label doesn't name it.
func (c *candidate) bass(s *sonority) (b pitch.Class, ok bool) {
	if c.bare || s.bass == c.root || c.form.is == isPetrushka {
		return s.bass, false
	}
	if c.slash {
		return s.bass, true
	}
	m := c.form.byPC[s.relPC(c, 0)]
	if m < 0 {
		return s.bass, true
	}
	if m == 0 || c.form.Family == famAugSixth && c.form.degrees[m] == (degree{6, 1}) {
		return s.bass, false
	}
	return c.above(c.form.degLine[m]), true
}

func (c *candidate) kind() Kind {
	switch c.form.Family {
	case "suspended":
		return Suspended
	case "sixth":
		return AddedSixth
	case famAugSixth:
		return AugmentedSixth
	case famSpecial:
		switch c.form.ID {
		case "petrushka":
			return ChordOverChord
		case "viennese":
			return StackedFourths
		case "mystic":
			return MixedStack
		}
	}
	return Tertian
}

// A cut is a piece of the text, to be made a string when the text is complete.
type cut struct{ from, to int }

// reading puts a candidate with form, whose label is the text so far, into words; after, if not nil, is the candidate of the
// reading before it, which has the label afterLabel.
func (s *sonority) reading(r *Reading, c *candidate, o *offs, after *candidate, afterLabel string) {
	f := c.form
	label := cut{0, len(s.text)}
	r.Kind, r.Root, r.Rooted, r.Inversion, r.Bass = c.kind(), c.root, true, -1, s.bass
	if len(o.added) == 0 {
		r.Type = f.ID
	}
	r.Members = make([]Member, len(s.notes))
	var addedBuf, alteredBuf, respelledBuf [8]cut
	added, altered, respelled := addedBuf[:0], alteredBuf[:0], respelledBuf[:0]
	for i, cl := range s.classes {
		pc := s.relPC(c, i)
		m := f.byPC[pc]
		role := ""
		switch {
		case c.slash && i == 0:
			role = "bass"
		case m >= 0:
			role = f.Roles[m]
			if int(c.line)+int(f.degLine[m]) != s.line[i] {
				from := len(s.text)
				s.put(className(cl), " read as ", className(c.above(f.degLine[m])))
				respelled = append(respelled, cut{from, len(s.text)})
			}
			if i == 0 && !c.bare {
				if n := f.degrees[m].num; n%2 == 1 && (f.Family != famSpecial || n == 1) {
					r.Inversion = int(n-1) / 2
				}
			}
			if f.rolesAltered.has(int(m)) || f.rolesAdded.has(int(m)) {
				from := len(s.text)
				s.put(role, " ", className(cl))
				if f.rolesAltered.has(int(m)) {
					altered = append(altered, cut{from, len(s.text)})
				} else {
					added = append(added, cut{from, len(s.text)})
				}
			}
		default:
			d := f.addedAt(s.line[i] - int(c.line))
			role = addedRole(f, d)
			from := len(s.text)
			s.put(role, " ", className(cl))
			if strings.HasPrefix(role, "added") {
				added = append(added, cut{from, len(s.text)})
			} else {
				altered = append(altered, cut{from, len(s.text)})
			}
		}
		for j, p := range s.notes {
			if p.Letter == cl.Letter && p.Alter == cl.Alter {
				r.Members[j] = Member{p, role}
			}
		}
	}
	if len(o.missing) > 0 {
		r.Missing = make([]string, 0, len(o.missing))
	}
	for _, d := range o.missing {
		r.Missing = append(r.Missing, f.Roles[slices.Index(f.degrees, d)])
	}
	confirm := cut{len(s.text), len(s.text)}
	if len(respelled) > 0 {
		r.Leads = c.leads(s)
		s.put(confirmed(r.Leads))
		confirm.to = len(s.text)
	}
	quality := cut{len(s.text), len(s.text)}
	r.Quality = f.Names[0]
	if len(o.added) > 0 || len(o.said) > 0 {
		s.text = f.appendQuality(s.text, o.added, o.said)
		quality.to = len(s.text)
	}
	words := cut{len(s.text), 0}
	c.putWords(s, r, quality)
	words.to = len(s.text)
	why := cut{len(s.text), 0}
	c.putFact(s, r, o)
	s.putRank(c, after, afterLabel)
	why.to = len(s.text)

	all := string(s.text)
	r.Label, r.Words, r.Why, r.Confirm = all[label.from:label.to], all[words.from:words.to], all[why.from:why.to], all[confirm.from:confirm.to]
	if quality.to > quality.from {
		r.Quality = all[quality.from:quality.to]
	}
	if n := len(added) + len(altered) + len(respelled); n > 0 {
		list := make([]string, 0, n)
		take := func(cs []cut) []string {
			if len(cs) == 0 {
				return nil
			}
			from := len(list)
			for _, c := range cs {
				list = append(list, all[c.from:c.to])
			}
			return list[from:len(list):len(list)]
		}
		r.Added, r.Altered, r.Respelled = take(added), take(altered), take(respelled)
	}
}

// putRank ends the sentence of a reading with what put the reading before it there.
func (s *sonority) putRank(c, after *candidate, afterLabel string) {
	if after != nil {
		s.put("; ", afterLabel, " comes before it because ", because(c, after))
	}
	s.put(".")
}

// A tail is what ends the sentence of a reading: see putRank.
type tail struct {
	c, after   *candidate
	afterLabel string
}

// putTail puts the end of the sentence that stands in the text, if it is wanted and not put yet. What builds a whole reading in
// the text calls it before it cuts the text up; rank does it for the others.
func (s *sonority) putTail() {
	if t := s.tail; t != nil {
		s.tail = nil
		s.putRank(t.c, t.after, t.afterLabel)
	}
}

// withChord puts "chord" behind a name that doesn't have such a word yet.
func withChord(name string) string {
	if needsChord(name) {
		return name + " chord"
	}
	return name
}

func needsChord(name string) bool {
	for _, w := range [...]string{"triad", "chord", "trichord", "fifth", "dominant note"} {
		if strings.HasSuffix(name, w) {
			return false
		}
	}
	return true
}

// putWords says the label in words. The quality stands in the text already, unless it is the plain name.
func (c *candidate) putWords(s *sonority, r *Reading, quality cut) {
	f := c.form
	root, name := className(c.root), f.Names[0]
	switch {
	case c.bare:
		s.put(root, " ", f.chordName, " without its root")
		return
	case f.is == isIVover5:
		s.put(className(c.above(-2)), " major triad over ", root)
		return
	case f.is == isPetrushka:
		s.put(className(c.above(6)), " major triad over ", root, " major triad, a tritone apart")
		return
	}
	more := "" // what the quality says beyond the name
	if quality.to > quality.from {
		more = string(s.text[quality.from:quality.to])
	}
	tail, isName := strings.CutPrefix(more, name)
	switch {
	case f.is == isPower:
		s.put("open fifth ", root, "-", className(c.above(1)), tail)
	case f.Family == "added note":
		s.put(root, " ", f.chordName, strings.Replace(tail, " with ", " and ", 1))
	case f.worded:
		s.put(f.chordName, " on ", root)
	case more != "" && !isName: // the sixth in place of the fifth
		s.put(root, " ", more)
	default:
		s.put(root, " ", f.chordName, tail)
	}
	b, slash := c.bass(s)
	switch {
	case c.slash:
		s.put(" over ", className(b))
	case slash && r.Inversion > 0 && r.Inversion <= 4:
		s.put(" in ", ordinal(r.Inversion), " inversion")
	case slash:
		s.put(" with ", className(b), " in the bass")
	}
}

// an puts the indefinite article before words, but before "two octaves" and other plurals of octave none.
func an(words string) string {
	if strings.HasSuffix(words, " octaves") {
		return words
	}
	return article(words) + words
}

func article(words string) string {
	switch words[0] {
	case 'a', 'e', 'i', 'o', 'A', 'E', 'F', 'I': // an F# minor seventh
		return "an "
	}
	return "a "
}

// andList joins words: "A", "A and B", "A, B and C".
func andList(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// member returns the note that plays degree num in c, "" if there is none.
func (c *candidate) member(num int8) string {
	for i, d := range c.form.degrees {
		if d.num == num {
			return className(c.above(c.form.degLine[i]))
		}
	}
	return ""
}

// putCalled puts the chord in words, without bass, after its article: "a D dominant seventh chord", "a German sixth chord on Ab".
func (c *candidate) putCalled(s *sonority) {
	if c.form.worded {
		s.put(article(c.form.chordName), c.form.chordName, " on ", className(c.root))
		return
	}
	root := className(c.root)
	s.put(article(root), root, " ", c.form.chordName)
}

// putFact says, in one clause, how the notes make the chord.
func (c *candidate) putFact(s *sonority, r *Reading, o *offs) {
	f := c.form
	root := className(c.root)
	switch {
	case c.bare:
		s.put("With ", root, " imagined below, ")
		for i, cl := range s.classes {
			s.and(i, len(s.classes))
			s.put(className(cl))
		}
		s.put(" are ", article(f.chordName), f.chordName, "; the root does not sound")
		return
	case c.price[partSpelling] >= priceRespelled && len(o.missing) == 0:
		s.put("To the ear it is ")
		c.putCalled(s)
		s.put(", but ", written(r.Leads))
		return
	case c.slash:
		for i, cl := range s.classes[1:] {
			s.and(i, len(s.classes)-1)
			s.put(className(cl))
		}
		s.put(" are a complete ", root, " ", f.chordName, ", and the bass ", className(s.bass), " does not belong to it")
		return
	case f.Family == famAugSixth:
		s.put(root, " and ", c.member(6), " make an augmented sixth, which wants to open to an octave; written ",
			className(c.above(-2)), ", the upper note would be a seventh")
		return
	case f.Family == famSpecial:
		s.put("Spelling and spacing are those of the ", f.Names[0], " on ", root)
		return
	case f.is == isIVover5:
		s.put("The bass ", root, " carries the major triad of the note a whole step lower: a dominant with its fourth suspended and no fifth")
		return
	}
	third, noFifth := false, false
	for _, d := range o.missing {
		third, noFifth = third || d.num == 3, noFifth || d.num == 5
	}
	lacks := len(o.missing) > 0
	switch {
	case f.Family == "sixth" && noFifth:
		lacks = false
		s.put("Root ", root, " and third ", c.member(3), " sound with the sixth ", c.member(6), " where the fifth ", c.member(5), " would be")
		if n := c.member(9); n != "" {
			s.put(", and with the ninth ", n)
		}
	case (f.Family == "sixth" || f.Family == "added note") && s.bass == c.root && !lacks:
		s.put("The triad on ", root, " is complete with its root in the bass, and ")
		sixth, ninth := c.member(6), c.member(9)
		switch {
		case sixth != "":
			s.put("the sixth ", sixth, " is added to it")
			if ninth != "" {
				s.put(" with the ninth ", ninth)
			}
		case ninth != "":
			s.put("the ninth ", ninth, " is added to it")
		default:
			s.put("the fourth ", c.member(4), " is added to it")
		}
	case f.Family == "suspended" && s.bass == c.root:
		n, what := c.member(4), "fourth "
		if n == "" {
			n, what = c.member(2), "second "
		}
		s.put("Above the bass ", root, " stands the ", what, n, " in the place of the third")
	default:
		s.putInside(c)
		if f.is == isPower {
			s.put(" make an open fifth")
			break
		}
		s.put(" make ")
		c.putCalled(s)
		with := " with its "
		if f.Family == "added note" { // a triad with added ninth
			with = ", its "
		}
		switch {
		case s.bass == c.root:
			s.put(with, "root in the bass")
		case r.Inversion > 0:
			s.put(with, pitch.NumberWord(2*r.Inversion+1), " ", className(s.bass), " in the bass")
		default:
			s.put(", over ", className(s.bass))
		}
	}
	if lacks {
		if third {
			s.put(", but without the ")
		} else {
			s.put(", without the ")
		}
		for i, d := range o.missing {
			s.and(i, len(o.missing))
			s.put(f.Roles[slices.Index(f.degrees, d)], " ", className(c.above(int8(d.fifths()))))
		}
		switch {
		case third:
			s.put(", so that nothing tells major from minor")
		case len(o.said) == 0:
			s.put(", as is usual")
		}
	}
	s.putBeside(c)
	sep := "; "
	for i, l := range r.Leads {
		s.put(sep, className(l.Note), " is heard as ", className(l.As))
		if sep = ", "; i == len(r.Leads)-2 {
			sep = " and "
		}
	}
}

// putInside lists the sounding members of c in their own order.
func (s *sonority) putInside(c *candidate) {
	var buf [16]int8
	idx := buf[:0]
	for _, pc := range c.form.degPC {
		for i := range s.classes {
			if s.relPC(c, i) == int(pc) {
				idx = append(idx, int8(i))
				break
			}
		}
	}
	for i, at := range idx {
		s.and(i, len(idx))
		s.put(className(s.classes[at]))
	}
}

// putBeside says which notes stand beside the members of c, and as what.
func (s *sonority) putBeside(c *candidate) {
	n := 0
	for i := range s.classes {
		if c.form.byPC[s.relPC(c, i)] < 0 && !(c.slash && i == 0) {
			n++
		}
	}
	at := 0
	for i, cl := range s.classes {
		if c.form.byPC[s.relPC(c, i)] >= 0 || c.slash && i == 0 {
			continue
		}
		if at == 0 {
			s.put("; ")
		}
		s.and(at, n)
		at++
		if d := c.form.addedAt(s.line[i] - int(c.line)); d.num == 3 {
			s.put(className(cl), " beside ", c.member(3), " splits the third")
		} else {
			s.put(className(cl), " is the ", addedRole(c.form, d))
		}
	}
}

// because says why p comes before c: by the part of the price that makes the difference.
func because(c, p *candidate) string {
	worst, most := -1, float32(0.01)
	for i := range c.price {
		if d := c.price[i] - p.price[i]; d > most {
			worst, most = i, d
		}
	}
	spaced := p.other == spacedKind || p.other == clusterAllKind
	switch {
	case c.other == setKind:
		return "a name says more than a class"
	case c.other == mixedKind:
		return "distances alone say less than a class"
	case c.other == restackedKind && !spaced:
		return "the notes are not spaced in fourths"
	case c.other == overKind && worst != partBass, c.other == clusterOverKind && worst != partBass && p.form != nil:
		return "one name for all the notes is simpler than two"
	case p.other == clusterOverKind:
		return "the cluster is what the ear catches first"
	case p.other == overKind:
		return "the two layers lie clearly apart"
	case worst == partSpelling && p.price[partSpelling] == 0:
		return "it takes the notes as they are spelled"
	case worst == partSpelling:
		return "it needs fewer notes respelled"
	case worst == partMissing && p.price[partMissing] == 0:
		return "nothing is missing from it"
	case worst == partMissing:
		return "less is missing from it"
	case worst == partAdded && p.added == 0:
		return "it needs no added notes"
	case worst == partAdded:
		return "it needs fewer added notes"
	case spaced:
		return "the notes are spaced exactly so"
	case worst == partBass && p.price[partBass] == 0 && p.form != nil:
		return "its root is in the bass"
	case worst == partBass && p.slash:
		return "its upper notes are a plain chord"
	case worst == partBass:
		return "its bass is the more usual one"
	case worst == partRarity && p.form != nil:
		return "it is the more usual chord"
	case worst == partRarity, worst == partShape:
		return "it names the notes more simply"
	}
	return "its root lies lower, and nothing else tells them apart"
}
