package chord

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// added returns the degrees of the notes beside the members of c, and those of the members that don't sound.
func (c *candidate) offs(s *sonority) (added, missing []degree) {
	var heard pcset
	for i, cl := range s.classes {
		pc := (cl.PC() - c.root.PC() + 12) % 12
		heard |= 1 << pc
		if c.form.byPC[pc] < 0 && !(c.slash && i == 0) {
			if d := addedDegree(c.form, c.root, cl); !slices.Contains(added, d) {
				added = append(added, d)
			}
		}
	}
	for _, d := range c.form.degrees {
		if !heard.has(d.pc()) {
			missing = append(missing, d)
		}
	}
	return added, missing
}

// unsaid drops from missing what the label doesn't say.
func (c *candidate) unsaid(missing []degree) (said []degree) {
	for _, d := range missing {
		if !c.form.omitPCs.has(d.pc()) && d.num != 1 {
			said = append(said, d)
		}
	}
	return said
}

// label returns the label of a candidate with form.
func (c *candidate) label(s *sonority) string {
	f := c.form
	added, missing := c.offs(s)
	label := ""
	switch {
	case c.bare:
		return "rootless " + c.root.String() + f.Symbols[0]
	case f.ID == "IVover5":
		return c.root.Add(pitch.MajorSecond.Neg()).String() + "/" + c.root.String()
	case f.ID == "petrushka":
		return c.root.Add(pitch.AugmentedFourth).String() + " major over " + c.root.String() + " major"
	case len(f.Symbols) == 0 || f.Family == famAugSixth:
		label = f.Names[0] + " on " + c.root.String()
	default:
		label = c.root.String() + f.suffix(added, c.unsaid(missing))
	}
	if b, ok := c.bass(s); ok {
		label += "/" + b.String()
	}
	return label
}

// bass returns the bass as c reads it, ok is false if the label doesn't name it.
func (c *candidate) bass(s *sonority) (b pitch.Class, ok bool) {
	if c.bare || s.bass == c.root || c.form.ID == "petrushka" {
		return s.bass, false
	}
	if c.slash {
		return s.bass, true
	}
	m := c.form.byPC[(s.bass.PC()-c.root.PC()+12)%12]
	if m < 0 {
		return s.bass, true
	}
	if m == 0 || c.form.Family == famAugSixth && c.form.degrees[m] == (degree{6, 1}) {
		return s.bass, false
	}
	return c.root.Add(c.form.Intervals[m]), true
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

// reading puts a candidate with form into words.
func (s *sonority) reading(c *candidate, label string) Reading {
	f := c.form
	added, missing := c.offs(s)
	said := c.unsaid(missing)
	r := Reading{Label: label, Kind: c.kind(), Root: c.root, Rooted: true, Inversion: -1}
	if len(added) == 0 {
		r.Type = f.ID
	}
	r.Members = make([]Member, len(s.notes))
	bassMember := int8(-1)
	for i, p := range s.notes {
		cl := p.Class()
		pc := (cl.PC() - c.root.PC() + 12) % 12
		m := f.byPC[pc]
		role := ""
		switch {
		case c.slash && cl == s.bass:
			role = "bass"
		case m >= 0:
			role = f.Roles[m]
			if as := c.root.Add(f.Intervals[m]); as != cl {
				text := cl.String() + " read as " + as.String()
				if !slices.Contains(r.Respelled, text) {
					r.Respelled = append(r.Respelled, text)
				}
			}
			if i == 0 {
				bassMember = m
			}
			if (strings.HasPrefix(role, "lowered") || strings.HasPrefix(role, "raised")) && !slices.Contains(r.Altered, role+" "+cl.String()) {
				r.Altered = append(r.Altered, role+" "+cl.String())
			}
			if strings.HasPrefix(role, "added") && !slices.Contains(r.Added, role+" "+cl.String()) {
				r.Added = append(r.Added, role+" "+cl.String())
			}
		default:
			role = addedRole(f, addedDegree(f, c.root, cl))
			text := role + " " + cl.String()
			if list := &r.Added; !slices.Contains(*list, text) && !slices.Contains(r.Altered, text) {
				if !strings.HasPrefix(role, "added") {
					list = &r.Altered
				}
				*list = append(*list, text)
			}
		}
		r.Members[i] = Member{p, role}
	}
	for _, d := range missing {
		r.Missing = append(r.Missing, f.Roles[slices.Index(f.degrees, d)])
	}
	if bassMember >= 0 && !c.bare {
		if n := f.degrees[bassMember].num; n%2 == 1 && (f.Family != famSpecial || n == 1) {
			r.Inversion = int(n-1) / 2
		}
	}
	r.Quality = f.quality(added, said)
	r.Words = c.inWords(s, &r, added, said)
	r.Why = c.fact(s, &r, added, missing)
	return r
}

// withChord puts "chord" behind a name that doesn't have such a word yet.
func withChord(name string) string {
	for _, w := range [...]string{"triad", "chord", "trichord", "fifth", "dominant note"} {
		if strings.HasSuffix(name, w) {
			return name
		}
	}
	return name + " chord"
}

func (c *candidate) inWords(s *sonority, r *Reading, added, said []degree) string {
	f := c.form
	root := c.root.String()
	switch {
	case c.bare:
		return root + " " + withChord(f.Names[0]) + " without its root"
	case f.ID == "IVover5":
		return c.root.Add(pitch.MajorSecond.Neg()).String() + " major triad over " + root
	case f.ID == "petrushka":
		return c.root.Add(pitch.AugmentedFourth).String() + " major triad over " + root + " major triad, a tritone apart"
	}
	var words string
	if len(f.Symbols) == 0 || f.Family == famAugSixth {
		words = withChord(f.Names[0]) + " on " + root
	} else {
		words = root + " " + withChord(f.Names[0]) + strings.TrimPrefix(r.Quality, f.Names[0])
		if !strings.HasPrefix(r.Quality, f.Names[0]) { // the sixth in place of the fifth
			words = root + " " + r.Quality
		}
	}
	b, slash := c.bass(s)
	switch {
	case c.slash:
		words += " over " + b.String()
	case slash && r.Inversion > 0 && r.Inversion <= 4:
		words += " in " + ordinal(r.Inversion) + " inversion"
	case slash:
		words += " with " + b.String() + " in the bass"
	}
	return words
}

// an puts the indefinite article before words.
func an(words string) string {
	if strings.ContainsRune("aeioAEIO", rune(words[0])) {
		return "an " + words
	}
	return "a " + words
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

// fact says, in one clause, how the notes make the chord.
func (c *candidate) fact(s *sonority, r *Reading, added, missing []degree) string {
	f := c.form
	name := func(num int8) string { // the note that plays degree num
		for i, d := range f.degrees {
			if d.num == num {
				return c.root.Add(f.Intervals[i]).String()
			}
		}
		return ""
	}
	root := c.root.String()
	var lack []string
	for _, d := range missing {
		lack = append(lack, "the "+f.Roles[slices.Index(f.degrees, d)]+" "+c.root.Add(d.interval()).String())
	}
	// What is there.
	var b strings.Builder
	switch {
	case c.bare:
		fmt.Fprintf(&b, "All notes belong to %s on %s, whose root does not sound", an(withChord(f.Names[0])), root)
		return b.String()
	case c.price[partSpelling] >= priceRespelled && len(lack) == 0:
		fmt.Fprintf(&b, "It sounds as %s on %s, but the spelling says otherwise: %s", an(withChord(f.Names[0])), root, strings.ReplaceAll(andList(r.Respelled), "read as", "would have to be"))
		return b.String()
	case c.slash:
		fmt.Fprintf(&b, "The notes above the bass are a complete %s on %s, and the bass %s is foreign to it", withChord(f.Names[0]), root, s.bass)
		return b.String()
	case f.Family == famAugSixth:
		fmt.Fprintf(&b, "%s and %s are spelled as an augmented sixth, which opens outwards to an octave; spelled %s, the upper one would be a seventh",
			root, name(6), c.root.Add(pitch.MinorSeventh))
		return b.String()
	case f.Family == famSpecial:
		fmt.Fprintf(&b, "The notes are spelled and laid out as the %s on %s", f.Names[0], root)
		return b.String()
	case (f.ID == "6" || f.ID == "m6") && len(lack) > 0:
		fmt.Fprintf(&b, "Root %s and third %s sound with the sixth %s where the fifth %s would be", root, name(3), name(6), name(5))
		return b.String()
	case f.Family == "sixth" && s.bass == c.root && len(added) == 0:
		fmt.Fprintf(&b, "The root %s is in the bass with its triad complete, and the sixth %s is added to it", root, name(6))
	case f.ID == "IVover5":
		fmt.Fprintf(&b, "The bass %s carries the major triad of the note a whole step lower, as a dominant with its fourth suspended and no fifth", root)
	case f.Family == "suspended" && s.bass == c.root:
		n := int8(4)
		if name(4) == "" {
			n = 2
		}
		fmt.Fprintf(&b, "The %s %s stands in the place of the third above the bass %s", pitch.NumberWord(int(n)), name(n), root)
	default:
		all := countWord(len(s.classes) - len(added))
		fmt.Fprintf(&b, "%s%s notes are spelled as %s on %s", strings.ToUpper(all[:1]), all[1:], an(withChord(f.Names[0])), root)
		switch {
		case s.bass == c.root:
			b.WriteString(", with the root in the bass")
		case r.Inversion > 0:
			fmt.Fprintf(&b, ", with the %s %s in the bass", pitch.NumberWord(2*r.Inversion+1), s.bass)
		default:
			fmt.Fprintf(&b, ", with %s in the bass", s.bass)
		}
	}
	if len(added) > 0 {
		var beside []string
		for i, cl := range s.classes {
			if c.form.byPC[(cl.PC()-c.root.PC()+12)%12] < 0 && !(c.slash && i == 0) {
				beside = append(beside, addedRole(f, addedDegree(f, c.root, cl))+" "+cl.String())
			}
		}
		fmt.Fprintf(&b, ", and %s beside them", andList(beside))
	}
	switch third := slices.ContainsFunc(missing, func(d degree) bool { return d.num == 3 }); {
	case third:
		fmt.Fprintf(&b, "; but %s is missing, and nothing else tells major from minor", andList(lack))
	case len(lack) == 1 && len(c.unsaid(missing)) == 0:
		fmt.Fprintf(&b, "; only %s is missing, which players often leave out", lack[0])
	case len(lack) > 0 && len(c.unsaid(missing)) == 0:
		fmt.Fprintf(&b, "; %s are missing, which players often leave out", andList(lack))
	case len(lack) > 0:
		fmt.Fprintf(&b, "; %s is missing", andList(lack))
	}
	if len(r.Respelled) > 0 {
		fmt.Fprintf(&b, "; %s", andList(r.Respelled))
	}
	return b.String()
}

// behind says why c comes after p, whose label is given: by the part of the price that makes the difference.
func behind(c, p *candidate, label string) string {
	worst, most := -1, float32(0.01)
	for i := range c.price {
		if d := c.price[i] - p.price[i]; d > most {
			worst, most = i, d
		}
	}
	follows := "it follows " + label + " because "
	spaced := p.other == spacedKind || p.other == clusterAllKind
	switch {
	case c.other == setKind:
		return "it follows " + label + " because a name says more than a class"
	case c.other == mixedKind:
		return "it follows " + label + " because no one interval builds it"
	case c.other == restackedKind && !spaced:
		return follows + "the notes are not spaced in fourths here"
	case c.other == clusterWithinKind:
		return follows + "it leaves the other notes unnamed"
	case c.other == overKind && worst != partBass:
		return follows + "one name for all the notes is preferred to two"
	case worst == partSpelling:
		return follows + "that reading needs fewer notes respelled"
	case worst == partMissing:
		return follows + "less is missing there"
	case worst == partAdded:
		return follows + "fewer notes stand beside the chord there"
	case spaced:
		return follows + "that is exactly how the notes are spaced"
	case worst == partBass && p.price[partBass] == 0 && p.form != nil:
		return follows + "there the bass is the root"
	case worst == partBass:
		return follows + "the bass is better explained there"
	case worst == partRarity && p.form != nil:
		return follows + "that is the more usual chord"
	case worst == partRarity, worst == partShape:
		return follows + "that names the notes more simply"
	}
	return "it is as good as " + label + ", whose root lies lower"
}

// single returns the reading of one note, perhaps in several octaves.
func (s *sonority) single() candidate {
	c := candidate{other: intervalKind, root: s.bass}
	c.words = func() Reading {
		p := s.notes[0]
		r := Reading{Label: p.String(), Words: "the note " + p.String(), Kind: NoteKind, Root: s.bass, Rooted: true, Quality: "single note", Why: "Only one note sounds"}
		switch {
		case len(s.notes) == 2:
			iv := s.notes[1].Sub(p)
			r.Kind, r.Quality = IntervalKind, iv.Words()
			r.Label = iv.Words() + " " + p.String() + "-" + s.notes[1].String()
			r.Words, r.Why = r.Label, "One note sounds in two octaves"
			if len(s.classes) > 1 {
				r.Why = "Two names stand for the same key"
				if iv.Semitones > 0 {
					r.Why = "Two names stand for the same key, octaves apart"
				}
			}
		case len(s.notes) > 2:
			r.Label, r.Words = s.bass.String()+" in octaves", "the note "+s.bass.String()+" in octaves"
			r.Quality, r.Why = "octaves", "One key sounds in several octaves"
		}
		r.Members = s.plainMembers()
		return r
	}
	return c
}

// plainMembers gives each note its distance above the bass as its role.
func (s *sonority) plainMembers() []Member {
	ms := make([]Member, len(s.notes))
	for i, p := range s.notes {
		role := "bottom"
		if i > 0 {
			role = p.Sub(s.notes[0]).Words()
		}
		ms[i] = Member{p, role}
	}
	return ms
}

// interval returns the reading of two note names.
func (s *sonority) interval() candidate {
	c := candidate{other: intervalKind}
	if len(s.notes) > 2 {
		c.price[partShape] = 3.5 // C3 G3 C4 is an open fifth before it is an interval
	}
	c.sum()
	c.words = func() Reading {
		lo, hi := s.notes[0], s.notes[slices.IndexFunc(s.notes, func(p pitch.Pitch) bool { return p.PC() != s.notes[0].PC() })]
		iv := hi.Sub(lo)
		r := Reading{Kind: IntervalKind, Quality: iv.Words(), Why: "Two notes make an interval, not yet a chord", Inversion: 0}
		if len(s.notes) == 2 {
			r.Label = iv.Words() + " " + lo.String() + "-" + hi.String()
		} else {
			r.Label = iv.Simple().Words() + " " + lo.Class().String() + "-" + hi.Class().String()
			r.Why = "Only two notes sound, doubled"
		}
		r.Words = r.Label
		r.Members = s.plainMembers()
		return r
	}
	return c
}

// stackRow returns the vocabulary id of a stack built of is.
func stackRow(kind string, is []pitch.Interval) string {
	for _, f := range forms() {
		if (f.Family == famStackedFourths || f.Family == famStackedFifths || f.ID == "viennese" || f.ID == "mystic") && len(f.Intervals) == len(is)+1 {
			sum, all := pitch.Unison, true
			for i, iv := range is {
				sum = sum.Plus(iv)
				all = all && f.Intervals[i+1] == sum
			}
			if all {
				return f.ID
			}
		}
	}
	return ""
}

// stacks adds the readings by spacing: stacks of one interval, the same notes restacked, clusters, mixed stacks.
func (s *sonority) stacks(add func(candidate)) {
	if s.pcs.len() < 3 {
		return
	}
	kind, kept := s.stackKind()
	doubled := len(kept) < len(s.notes)
	if (kind == "fourths" || kind == "fifths") && pcsOf(kept).len() >= 3 {
		c := candidate{other: spacedKind, root: s.bass}
		altered := 0
		for i := 1; i < len(kept); i++ {
			if kept[i].Sub(kept[i-1]).Quality() != pitch.Perfect {
				altered++
			}
		}
		c.price[partShape] = 1
		switch {
		case altered == 1:
			c.price[partShape] = 4.5
		case altered > 1:
			c.price[partShape] = 5 + 2*float32(altered)
		}
		if doubled {
			c.price[partShape] += 0.5
		}
		c.sum()
		c.words = func() Reading { return s.stackReading(kind, kept) }
		add(c)
	} else if c, ok := s.restacked(); ok {
		add(c)
	}
	for _, f := range forms() { // three fourths and a third on top
		if f.ID == "sowhat" && len(s.notes) == 5 && s.onIntervals(f) {
			c := candidate{other: spacedKind, root: s.bass}
			c.price[partShape] = 1.2
			c.sum()
			c.words = func() Reading {
				r := Reading{Label: f.Names[0] + " on " + s.bass.String(), Words: f.Names[0] + " stacked on " + s.notes[0].String(), Kind: MixedStack,
					Type: f.ID, Root: s.bass, Rooted: true, Quality: f.Names[0], Why: "Three perfect fourths are stacked from the bass and a major third lies on top"}
				for i, p := range s.notes {
					r.Members = append(r.Members, Member{p, f.Roles[i]})
				}
				return r
			}
			add(c)
		}
	}
	whole := false
	for _, cl := range Clusters(s.notes) {
		c := candidate{other: clusterAllKind, root: cl.Notes[0].Class()}
		if whole = len(cl.Notes) == len(s.notes) || len(cl.Notes) == len(slices.CompactFunc(slices.Clone(s.notes), pitch.Pitch.Enharmonic)); whole {
			c.price[partShape] = 1.2
			switch {
			case cl.Kind == "chromatic":
				c.price[partShape] = 0.5
			case cl.Kind == "black-key" && len(cl.Notes) == 4 && slices.ContainsFunc(intervalsOf(cl.Notes), func(iv pitch.Interval) bool { return iv.Semitones == 3 }):
				c.price[partShape] = 4.8 // as likely an inverted seventh chord that happens to lie on black keys
			}
		} else if cl.Kind == "chromatic" {
			c.other = clusterWithinKind
			c.price[partShape] = priceWithin
		} else {
			continue
		}
		c.sum()
		all := whole
		c.words = func() Reading { return s.clusterReading(cl, all) }
		add(c)
	}
}

// stackKind returns the interval all of s is stacked in, octave doublings left out, and the notes of the stack; kind is "" and
// kept all notes if there is none.
func (s *sonority) stackKind() (kind string, kept []pitch.Pitch) {
	if kind = pureKind(s.notes); kind == "" {
		if k, notes := withoutDoublings(s.notes); k != "" {
			return k, notes
		}
	}
	return kind, s.notes
}

// thirds reads a stack of thirds that has no simpler name.
func (s *sonority) thirds(kept []pitch.Pitch) candidate {
	c := candidate{other: spacedKind, root: s.bass}
	c.price[partShape] = priceThirds
	c.sum()
	c.words = func() Reading {
		return Reading{Label: "stacked thirds on " + kept[0].String(), Words: countWord(len(kept)) + " notes stacked in thirds from " + kept[0].String(),
			Kind: Tertian, Root: s.bass, Rooted: true, Quality: "stacked thirds", Members: s.stackMembers("third", kept),
			Why: "Every note is a third above the one below (" + stackText("thirds", intervalsOf(kept)) + ")"}
	}
	return c
}

// mixed reads the notes by their distances alone.
func (s *sonority) mixed() candidate {
	c := candidate{other: mixedKind, root: s.bass}
	c.price[partShape] = priceMixed
	c.sum()
	c.words = func() Reading {
		names := make([]string, 0, 12)
		for _, iv := range intervalsOf(s.notes) {
			names = append(names, iv.String())
		}
		return Reading{Label: "mixed stack " + strings.Join(names, "-") + " on " + s.notes[0].String(), Words: "a stack of unlike intervals on " + s.notes[0].String(),
			Kind: MixedStack, Quality: "mixed stack", Inversion: -1, Members: s.plainMembers(), Why: "Low to high the notes lie " + strings.Join(names, ", ") + " apart"}
	}
	return c
}

// onIntervals reports whether the notes of s are the intervals of f above the lowest, octaves included.
func (s *sonority) onIntervals(f *form) bool {
	for i, iv := range f.Intervals {
		if s.notes[0].Add(iv) != s.notes[i] {
			return false
		}
	}
	return true
}

// stackMembers gives each note its place in the stack as its role: "bottom", "first fourth"; doublings have the role of the
// note they double.
func (s *sonority) stackMembers(step string, kept []pitch.Pitch) []Member {
	ms := make([]Member, len(s.notes))
	for i, p := range s.notes {
		k := slices.IndexFunc(kept, func(q pitch.Pitch) bool { return q.Class() == p.Class() })
		if at := slices.Index(kept, p); at >= 0 {
			k = at
		}
		role := "bottom"
		if k > 0 {
			role = ordinal(k) + " " + step
		}
		ms[i] = Member{p, role}
	}
	return ms
}

func (s *sonority) stackReading(kind string, kept []pitch.Pitch) Reading {
	is := intervalsOf(kept)
	text := stackText(kind, is)
	step := strings.TrimSuffix(kind, "s")
	r := Reading{Label: "stacked " + kind + " on " + kept[0].String(), Kind: StackedFourths, Type: stackRow(kind, is), Root: s.bass, Rooted: true,
		Quality: "stacked " + kind, Members: s.stackMembers(step, kept)}
	if kind == "fifths" {
		r.Kind = StackedFifths
	}
	r.Words = countWord(len(kept)) + " notes stacked in " + kind + " from " + kept[0].String()
	if strings.HasPrefix(text, "perfect") {
		r.Words = countWord(len(kept)) + " notes stacked in perfect " + kind + " from " + kept[0].String()
		r.Why = "Every note is a perfect " + step + " above the one below"
	} else {
		r.Words += " (" + text + ")"
		r.Label += " (" + strings.TrimPrefix(text, kind+", ") + ")"
		r.Why = "Every note is a " + step + " above the one below (" + text + ")"
		for i, iv := range is {
			if iv.Quality() != pitch.Perfect {
				r.Altered = append(r.Altered, iv.Words()+" "+kept[i].Class().String()+"-"+kept[i+1].Class().String())
			}
		}
	}
	if len(kept) < len(s.notes) {
		r.Why += doublings(s.notes, kept)
	}
	return r
}

// restacked reads notes that would be a stack of perfect fourths in another order, by spelling.
func (s *sonority) restacked() (candidate, bool) {
	n := len(s.line)
	if n < 3 || n > 7 {
		return candidate{}, false
	}
	lo, hi := slices.Min(s.line), slices.Max(s.line)
	if hi-lo != n-1 {
		return candidate{}, false
	}
	c := candidate{other: restackedKind, root: pitch.ClassOfFifths(hi)}
	c.price[partShape] = priceRestacked
	c.sum()
	c.words = func() Reading {
		names := make([]string, 0, 7)
		for k := hi; k >= lo; k-- {
			names = append(names, pitch.ClassOfFifths(k).String())
		}
		r := Reading{Label: "fourths " + strings.Join(names, "-") + ", in another order", Kind: StackedFourths, Quality: "stacked fourths", Inversion: -1,
			Words: "the notes of a stack of fourths from " + names[0] + ", in another order", Root: pitch.ClassOfFifths(hi), Rooted: true,
			Why: "In the order " + strings.Join(names, " ") + " the notes would be perfect fourths apart"}
		for _, p := range s.notes {
			role := "bottom"
			if k := hi - p.Class().Fifths(); k > 0 {
				role = ordinal(k) + " fourth"
			}
			r.Members = append(r.Members, Member{p, role})
		}
		return r
	}
	return c, true
}

func (s *sonority) clusterReading(cl Cluster, whole bool) Reading {
	r := Reading{Label: cl.Kind + " cluster " + dashed(cl.Notes), Words: cl.Kind + " cluster of " + countWord(len(cl.Notes)) + " notes", Kind: ClusterKind,
		Quality: cl.Kind + " cluster", Inversion: -1}
	for _, f := range forms() {
		if whole && f.Family == famCluster && len(f.Intervals) == len(cl.Notes) && strings.HasPrefix(f.Names[0], cl.Kind) && f.pcs == pcsOf(cl.Notes).down(cl.Notes[0].PC()) {
			r.Type = f.ID
		}
	}
	for _, p := range s.notes {
		role := "cluster"
		if !slices.ContainsFunc(cl.Notes, p.Enharmonic) {
			role = "outside the cluster"
		}
		r.Members = append(r.Members, Member{p, role})
	}
	switch {
	case cl.Kind == "chromatic":
		r.Why = "Every key is a semitone from the next"
	case cl.Kind == "pentatonic" || cl.Kind == "black-key" && len(cl.Notes) > 3:
		r.Why = "The notes are neighbours in a pentatonic scale"
	case cl.Kind == "whole-tone":
		r.Why = "Every note is a whole tone from the next"
	default:
		r.Why = "Every note is a semitone or a whole tone from the next"
	}
	if !whole {
		r.Label += " within"
		r.Words += " within a larger chord"
		r.Why = countWord(len(cl.Notes)) + " of the notes lie a semitone apart"
		r.Why = strings.ToUpper(r.Why[:1]) + r.Why[1:]
	}
	return r
}

// A part is a hand or a register that makes sense by itself.
type part struct {
	label, words string
	chord        *candidate // nil for stacks and clusters
	stack        string     // "fourths" or "fifths"
	cluster      string
	price        float32
}

// partOf reads notes as a complete triad or seventh chord, a stack of fourths or fifths, or a cluster; ok is false if they are
// none of these.
func (s *sonority) partOf(chordsOnly bool) (p part, ok bool) {
	if s.pcs.len() < 3 {
		return p, false
	}
	if !chordsOnly {
		if k := pureKind(s.notes); k == "fourths" || k == "fifths" {
			r := s.stackReading(k, s.notes)
			p = part{label: r.Label, words: r.Words, stack: k}
			if len(r.Altered) > 0 {
				p.price = 1.5 * float32(len(r.Altered))
			}
			return p, true
		}
		if cl := Clusters(s.notes); len(cl) == 1 && len(cl[0].Notes) == len(s.notes) {
			return part{label: cl[0].Kind + " cluster " + dashed(cl[0].Notes), words: "a " + cl[0].Kind + " cluster", cluster: cl[0].Kind}, true
		}
	}
	var best candidate
	best.total = -1
	for _, root := range s.classes {
		rel := s.pcs.down(root.PC())
		for _, f := range forms() {
			if f.pcs != rel || f.Family != "triad" && f.Family != "seventh" {
				continue
			}
			if c, ok := s.match(f, root, false); ok && c.price[partSpelling] == 0 && (best.total < 0 || c.total < best.total) {
				best = c
			}
		}
	}
	if best.total < 0 {
		return p, false
	}
	p = part{label: spokenTriad(&best, best.label(s)), chord: &best, price: 0.3 * (best.price[partRarity] + best.price[partBass])}
	r := s.reading(&best, p.label)
	p.words = r.Words
	return p, true
}

// spokenTriad says "E major" for E: beside "over", a bare E would be taken for a bass note.
func spokenTriad(c *candidate, label string) string {
	name, bass, _ := strings.Cut(label, "/")
	switch c.form.ID {
	case "maj":
		name = c.root.String() + " major"
	case "min":
		name = c.root.String() + " minor"
	}
	if bass != "" {
		name += "/" + bass
	}
	return name
}

// over adds readings as one chord over another where the notes split into two registers, and for two triads however they lie.
func (s *sonority) over(add func(candidate)) {
	if s.pcs.len() < 5 || len(s.notes) < 6 || len(s.notes) > 12 {
		return
	}
	for i := 3; i <= len(s.notes)-3; i++ {
		lo, hi := sonorityOf(s.notes[:i]), sonorityOf(s.notes[i:])
		lower, ok := lo.partOf(true)
		if !ok {
			continue
		}
		if upper, ok := hi.partOf(true); ok {
			if c, ok := s.layered(lo, hi, lower, upper); ok {
				add(c)
			}
		}
	}
}

// layered prices upper over lower.
func (s *sonority) layered(lo, hi *sonority, lower, upper part) (candidate, bool) {
	if lower.chord != nil && upper.chord != nil && lower.chord.root == upper.chord.root {
		return candidate{}, false
	}
	c := candidate{other: overKind, root: lo.bass}
	c.price[partShape] = priceOver + lower.price + upper.price
	switch {
	case lower.stack != "" && upper.stack != "":
		c.price[partShape] = 0.8 + lower.price + upper.price
	case upper.cluster != "" || lower.cluster != "":
		c.price[partShape] = 2.5 + lower.price + upper.price
	case lo.pcs&hi.pcs != 0 && s.pcs.len() >= 5 && lower.chord != nil && upper.chord != nil:
		// Two chords that share a note would leave the doubling out if they were one (Hutchinson 32.4, on A2 C#3 E3 E4 G#4 B4).
		c.price[partShape] -= 3
	}
	c.sum()
	c.words = func() Reading {
		r := Reading{Label: upper.label + " over " + lower.label, Words: upper.words + " over " + lower.words, Kind: ChordOverChord,
			Quality: "one chord over another", Root: lo.bass, Rooted: true, Inversion: -1}
		what := func(p part) string {
			if p.chord != nil {
				return "a complete " + p.words
			}
			return p.words
		}
		if lower.chord != nil {
			r.Root = lower.chord.root
		}
		if lower.stack != "" && upper.stack != "" {
			r.Quality = "stacked " + upper.stack + " over stacked " + lower.stack
		}
		for _, p := range s.notes {
			layer := "lower chord"
			if !slices.Contains(lo.notes, p) {
				layer = "upper chord"
			}
			r.Members = append(r.Members, Member{p, layer})
		}
		r.Why = "The lower notes are " + what(lower) + ", the upper ones " + what(upper)
		return r
	}
	return c, true
}

// handOver reads the upper hand over the lower one.
func (s *sonority) handOver(lo, hi *sonority) (candidate, bool) {
	lower, ok := lo.partOf(false)
	if !ok {
		return candidate{}, false
	}
	upper, ok := hi.partOf(false)
	if !ok {
		return candidate{}, false
	}
	return s.layered(lo, hi, lower, upper)
}

// setReading is the reading of last resort: the set class, with the nearest chord that has a name.
func (s *sonority) setReading() Reading {
	c := s.pcs.class()
	r := Reading{Label: "set class " + c.forte + " (" + c.prime + ")", Kind: SetClass, Quality: "set class " + c.forte, Inversion: -1, Members: s.plainMembers()}
	r.Words = "set class " + c.forte + ", prime form " + c.prime
	name, distance, text := s.nearest()
	switch {
	case distance == 0:
		r.Why = "By its pitch classes alone it is " + c.forte + ", with interval vector " + c.vector
	default:
		r.Why = fmt.Sprintf("The pitch classes form %s, with interval vector %s; the nearest chord with a name is %s, %s", c.forte, c.vector, name, text)
	}
	return r
}

// nearest returns the named chord, by sound, that takes the fewest notes to add or leave out, and what they are.
func (s *sonority) nearest() (label string, distance int, text string) {
	var best *form
	var bestRoot pitch.Class
	distance = 99
	for _, root := range s.classes {
		rel := s.pcs.down(root.PC())
		for _, f := range forms() {
			if !f.tertian || len(f.Symbols) == 0 || f.Family == famAugSixth || f.ID == "power" {
				continue
			}
			d := (rel ^ f.pcs).len()
			if d < distance || d == distance && f.cost < best.cost {
				best, bestRoot, distance = f, root, d
			}
		}
	}
	if best == nil {
		return "", 0, ""
	}
	rel := s.pcs.down(bestRoot.PC())
	var without, with []string
	for _, cl := range s.classes {
		if best.byPC[(cl.PC()-bestRoot.PC()+12)%12] < 0 {
			without = append(without, cl.String())
		}
	}
	for i, d := range best.degrees {
		if !rel.has(d.pc()) {
			with = append(with, bestRoot.Add(best.Intervals[i]).String())
		}
	}
	switch {
	case len(without) > 0 && len(with) > 0:
		text = "without " + andList(without) + " and with " + andList(with)
	case len(without) > 0:
		text = "without " + andList(without)
	default:
		text = "with " + andList(with)
	}
	return labelOf(bestRoot, best.Type), distance, text
}
