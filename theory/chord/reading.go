package chord

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/pitch"
)

// single returns the reading of one note, perhaps in several octaves.
func (s *sonority) single() candidate {
	c := candidate{other: intervalKind, root: s.bass}
	c.words = func() Reading {
		p := s.notes[0]
		r := Reading{Label: p.String(), Words: "the note " + p.String(), Kind: NoteKind, Root: s.bass, Rooted: true, Quality: "single note", Why: "Only one note sounds"}
		switch {
		case len(s.notes) == 2:
			iv := s.notes[1].Sub(p)
			name, wider := spoken(iv)
			r.Kind, r.Quality = IntervalKind, name
			r.Label = name + " " + p.String() + "-" + s.notes[1].String()
			r.Words, r.Why = r.Label+wider, "One note sounds in two octaves"
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
			iv := p.Sub(s.notes[0])
			if iv.Steps > 14 { // nobody counts beyond two octaves
				iv = iv.Simple()
			}
			if role = intervalWords(iv); iv.Steps%7 == 0 && iv.Simple() == pitch.Unison {
				role = "octave"
			}
		}
		ms[i] = Member{p, role}
	}
	return ms
}

// intervalWords is iv.Words, from a table for the usual sizes.
func intervalWords(iv pitch.Interval) string {
	if t := intervalTable(); iv.Steps >= 0 && iv.Steps < len(t) && iv.Semitones >= 0 && iv.Semitones < len(t[0]) {
		return t[iv.Steps][iv.Semitones]
	}
	return iv.Words()
}

var intervalTable = sync.OnceValue(func() *[15][26]string {
	t := new([15][26]string)
	for steps := range t {
		for n := range t[steps] {
			t[steps][n] = pitch.Interval{Steps: steps, Semitones: n}.Words()
		}
	}
	return t
})

var shortTable = sync.OnceValue(func() *[15][26]string {
	t := new([15][26]string)
	for steps := range t {
		for n := range t[steps] {
			t[steps][n] = pitch.Interval{Steps: steps, Semitones: n}.String()
		}
	}
	return t
})

// spoken returns an interval as one says it: beyond two octaves as the simple interval, with the octaves apart:
// "perfect fifth", ", three octaves wider".
func spoken(iv pitch.Interval) (name, wider string) {
	if iv.Number() <= 14 || iv.Number() == 15 && iv.Quality() != pitch.Perfect {
		return iv.Words(), ""
	}
	simple := iv.Simple()
	n := (iv.Abs().Steps - simple.Steps) / 7
	switch {
	case simple == pitch.Unison:
		return countWord(n) + " octaves", ""
	case n == 1:
		return simple.Words(), ", an octave wider"
	}
	return simple.Words(), ", " + countWord(n) + " octaves wider"
}

// brief is spoken in short: "P5", "m3 + 2 octaves".
func brief(iv pitch.Interval) string {
	if t := shortTable(); iv.Steps >= 0 && iv.Steps < len(t) && iv.Semitones >= 0 && iv.Semitones < len(t[0]) {
		return t[iv.Steps][iv.Semitones]
	}
	if iv.Number() <= 15 {
		return iv.String()
	}
	simple := iv.Simple()
	return fmt.Sprintf("%s + %d octaves", simple, (iv.Abs().Steps-simple.Steps)/7)
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
		name, wider := spoken(iv)
		r := Reading{Kind: IntervalKind, Quality: name, Why: "Two notes make an interval, not yet a chord", Inversion: 0}
		if len(s.notes) == 2 {
			r.Label = name + " " + lo.String() + "-" + hi.String()
		} else {
			r.Label, wider = iv.Simple().Words()+" "+lo.Class().String()+"-"+hi.Class().String(), ""
			r.Why = "Only two notes sound, doubled at the octave"
		}
		r.Words = r.Label + wider
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
func (s *sonority) stacks() {
	add := s.add
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
	} else if priceRestacked <= s.least+maxBehind {
		if c, ok := s.restacked(); ok {
			add(c)
		}
	}
	if len(s.notes) == 5 { // three fourths and a third on top
		if f := soWhat(); s.onIntervals(f) {
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
	if !s.crowded() {
		return
	}
	for _, cl := range clustersIn(s.notes) {
		c := candidate{other: clusterAllKind, root: cl.Notes[0].Class()}
		if whole := len(cl.Notes) == len(s.notes) || len(cl.Notes) == len(slices.CompactFunc(slices.Clone(s.notes), pitch.Pitch.Enharmonic)); whole {
			c.price[partShape] = 1.2
			switch {
			case cl.Kind == "chromatic":
				c.price[partShape] = 0.5
			case cl.Kind == "diatonic" && len(cl.Notes) == 3:
				c.price[partShape] = 3.5
			case cl.Kind == "black-key" && len(cl.Notes) == 4 && slices.ContainsFunc(intervalsOf(cl.Notes), func(iv pitch.Interval) bool { return iv.Semitones == 3 }):
				c.price[partShape] = 4.8 // as likely an inverted seventh chord that happens to lie on black keys
			}
		} else {
			price := float32(priceOtherCluster)
			if cl.Kind == "chromatic" {
				price = priceChromatic
			}
			if price <= s.least+maxBehind {
				if c, ok := s.clusterOver(cl, price); ok {
					add(c)
				}
			}
			continue
		}
		c.sum()
		c.words = func() Reading { return s.clusterReading(cl) }
		add(c)
	}
}

var soWhat = sync.OnceValue(func() *form { return formByID("sowhat") })

// crowded reports whether three notes, or four black keys or pentatonic neighbours, lie so close that there may be a cluster.
func (s *sonority) crowded() bool {
	close, wide := 1, 1
	for i := 1; i < len(s.midi); i++ {
		switch gap := s.midi[i] - s.midi[i-1]; {
		case gap == 0:
		case gap <= 2:
			close, wide = close+1, wide+1
		case gap == 3:
			close, wide = 1, wide+1
		default:
			close, wide = 1, 1
		}
		if close >= 3 || wide >= 4 {
			return true
		}
	}
	return false
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
		bottom := s.notes[0].String()
		s.text = s.text[:0]
		s.put("mixed stack on ", bottom, ":")
		for i := range s.notes[1:] {
			if i > 0 {
				s.put(",")
			}
			s.put(" ", brief(s.notes[i+1].Sub(s.notes[i])))
		}
		label := len(s.text)
		s.put("a stack of unlike intervals on ", bottom)
		words := len(s.text)
		s.put("Counted from the bottom, the distances are ")
		for i := range s.notes[1:] {
			s.and(i, len(s.notes)-1)
			s.put(brief(s.notes[i+1].Sub(s.notes[i])))
		}
		s.putTail()
		all := string(s.text)
		return Reading{Label: all[:label], Words: all[label:words], Kind: MixedStack, Quality: "mixed stack", Inversion: -1, Members: s.plainMembers(), Why: all[words:]}
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

func (s *sonority) clusterReading(cl Cluster) Reading {
	r := Reading{Label: cl.Kind + " cluster " + dashed(cl.Notes), Words: cl.Kind + " cluster of " + countWord(len(cl.Notes)) + " notes", Kind: ClusterKind,
		Quality: cl.Kind + " cluster", Inversion: -1}
	for _, f := range forms() {
		if f.Family == famCluster && len(f.Intervals) == len(cl.Notes) && strings.HasPrefix(f.Names[0], cl.Kind) && f.pcs == pcsOf(cl.Notes).down(cl.Notes[0].PC()) {
			r.Type = f.ID
		}
	}
	for _, p := range s.notes {
		r.Members = append(r.Members, Member{p, "cluster"})
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
	return r
}

// clusterOver reads cl as a layer of its own beside the other notes; ok is false if there are none.
func (s *sonority) clusterOver(cl Cluster, price float32) (c candidate, ok bool) {
	from, to := cl.Notes[0].MIDI(), cl.Notes[len(cl.Notes)-1].MIDI()
	outside := func(i int) bool { return s.midi[i] < from || s.midi[i] > to }
	var rest pcset
	below, above := false, false
	for i, n := range s.midi {
		if outside(i) {
			rest |= 1 << pcOf(n)
			below, above = below || n < from, above || n > to
		}
	}
	switch n := rest.len(); {
	case n == 0:
		return c, false
	case n == 1:
		price++
	case n == 2 && rest == 1<<pcOf(s.midi[0])|1<<pcOf(s.midi[0]+7): // an open fifth
		price += 0.5
	case n == 2:
		price += 0.8
	case chordal().has(rest) || incomplete().has(rest):
		price += 0.4
	default:
		price += 3
	}
	c = candidate{other: clusterOverKind, root: s.bass}
	c.price[partShape] = price
	c.sum()
	where, side, place := "within", "inside", " around the cluster"
	switch {
	case !above:
		where, side, place = "over", "above", " below the cluster"
	case !below:
		where, side, place = "under", "below", " above the cluster"
	}
	c.words = func() Reading {
		others := make([]pitch.Pitch, 0, 16)
		for i, p := range s.notes {
			if outside(i) {
				others = append(others, p)
			}
		}
		rest := pool.Get().(*sonority)
		defer pool.Put(rest)
		rest.set(others, nil)
		other := rest.layer()
		r := Reading{Kind: ClusterKind, Root: s.bass, Rooted: other.chord != nil, Inversion: -1, Members: make([]Member, len(s.notes))}
		if other.chord != nil {
			r.Root = other.chord.root
		}
		s.text = s.text[:0]
		s.put(cl.Kind, " cluster ")
		s.putDashed(cl.Notes)
		s.put(" ", where, " ", other.label)
		label := len(s.text)
		s.put(article(cl.Kind), cl.Kind, " cluster of ", countWord(len(cl.Notes)), " notes ", where, " ", other.words)
		words := len(s.text)
		s.put(cl.Kind, " cluster ", where, " ", other.quality)
		quality := len(s.text)
		s.putDashed(cl.Notes)
		s.put(" lie next to each other and are heard as one cluster ", side, " ", other.words)
		s.putTail()
		why := len(s.text)
		for i, p := range s.notes {
			if outside(i) {
				s.put(other.place(p), place)
			}
		}
		all := string(s.text)
		r.Label, r.Words, r.Quality, r.Why = all[:label], all[label:words], all[words:quality], all[quality:why]
		for i, p := range s.notes {
			role := "cluster"
			if outside(i) {
				from := why
				why += len(other.place(p)) + len(place)
				role = all[from:why]
			}
			r.Members[i] = Member{p, role}
		}
		return r
	}
	return c, true
}

// layer reads the notes beside a cluster: as a chord if they make one, else as an interval, a note or a list of names.
func (s *sonority) layer() part {
	switch s.pcs.len() {
	case 1:
		return part{label: s.bass.String(), words: "the note " + s.bass.String(), quality: "a single note", s: s}
	case 2:
		names, iv := dashedClasses(s.classes), s.classes[1].Sub(s.classes[0])
		p := part{label: names, words: "the " + iv.Words() + " " + names, quality: an(iv.Words()), s: s}
		if iv == pitch.PerfectFifth {
			p.words, p.quality, p.fifth = "the open fifth "+names, "an open fifth", true
		}
		return p
	default:
		if p, ok := s.partOf(true, true); ok {
			p.say()
			p.words = an(p.words)
			return p
		}
		names := dashedClasses(s.classes)
		return part{label: names, words: "the notes " + names, quality: "other notes", s: s}
	}
}

func dashedClasses(cs []pitch.Class) string {
	b := make([]byte, 0, 16)
	for i, c := range cs {
		if i > 0 {
			b = append(b, '-')
		}
		b = append(b, c.String()...)
	}
	return string(b)
}

// A part is a hand or a register that makes sense by itself.
type part struct {
	label, words, quality string
	chord                 *candidate // nil for stacks and loose notes
	fifth                 bool       // an open fifth
	stack                 string     // "fourths" or "fifths"
	price                 float32
	s                     *sonority
}

// say puts a part that is a chord into words; others have theirs from the beginning.
func (p *part) say() {
	if p.chord == nil || p.label != "" {
		return
	}
	s := p.s
	p.label = spokenTriad(p.chord, p.chord.label(s))
	var o offs
	o.of(p.chord, s)
	s.text = s.text[:0]
	p.chord.putLabel(s, &o)
	var r Reading
	s.reading(&r, p.chord, &o, nil, "")
	p.words, p.quality = r.Words, an(withChord(r.Quality))
}

// layer says what p is in the role of a note.
func (p *part) layer() string {
	if p.stack != "" {
		return "stack, "
	}
	return "chord, "
}

// whole begins a clause about p: a chord is complete, a stack speaks for itself.
func (p *part) whole() string {
	if p.chord != nil {
		return "a complete "
	}
	return ""
}

// place tells the part that note n of p plays in it.
func (p *part) place(n pitch.Pitch) string {
	switch {
	case p.chord != nil:
		f := p.chord.form
		if m := f.byPC[(n.PC()-p.chord.root.PC()+12)%12]; m >= 0 {
			return f.Roles[m]
		}
	case p.fifth && n.Class() == p.s.bass:
		return "root"
	case p.fifth:
		return "fifth"
	case p.stack != "":
		if i := slices.Index(p.s.notes, n); i > 0 {
			return ordinal(i) + " " + strings.TrimSuffix(p.stack, "s")
		}
		return "bottom"
	}
	return "note"
}

// partOf reads notes as a complete triad or seventh chord or a stack of fourths or fifths; ok is false if they are none of
// these.
func (s *sonority) partOf(chordsOnly, incomplete bool) (p part, ok bool) {
	if s.pcs.len() < 3 {
		return p, false
	}
	if !chordsOnly {
		if k := pureKind(s.notes); k == "fourths" || k == "fifths" {
			r := s.stackReading(k, s.notes)
			p = part{label: r.Label, words: r.Words, quality: r.Quality, stack: k, s: s}
			if len(r.Altered) > 0 {
				p.price = 1.5 * float32(len(r.Altered))
			}
			return p, true
		}
	}
	var best, c candidate
	best.total = -1
	for _, root := range s.classes {
		rel := s.pcs.down(root.PC())
		for _, f := range plainForms() {
			if f.pcs != rel && !(incomplete && f.pcs == rel|1<<7 && f.omitPCs.has(7)) {
				continue
			}
			if s.match(&c, f, root, false) && c.price[partSpelling] == 0 && (best.total < 0 || c.total < best.total) {
				best = c
			}
		}
	}
	if best.total < 0 {
		return p, false
	}
	p = part{chord: &best, price: 0.3 * (best.price[partRarity] + best.price[partBass]), s: s}
	return p, true
}

// plainForms are the triads and seventh chords.
var plainForms = sync.OnceValue(func() []*form {
	return slices.DeleteFunc(slices.Clone(forms()), func(f *form) bool { return f.Family != "triad" && f.Family != "seventh" })
})

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
func (s *sonority) over() {
	if s.pcs.len() < 5 || len(s.notes) < 6 || len(s.notes) > 12 {
		return
	}
	for i := 3; i <= len(s.notes)-3; i++ {
		if !chordal().has(pcsOf(s.notes[:i])) || !chordal().has(pcsOf(s.notes[i:])) {
			continue
		}
		lo, hi := sonorityOf(s.notes[:i]), sonorityOf(s.notes[i:])
		lower, ok := lo.partOf(true, false)
		if !ok {
			continue
		}
		if upper, ok := hi.partOf(true, false); ok {
			if c, ok := s.layered(lo, hi, lower, upper); ok {
				s.add(c)
			}
		}
	}
}

// A pcsets is a collection of pitch-class sets.
type pcsets [1 << 12 / 64]uint64

func (t *pcsets) has(m pcset) bool { return t[m/64]>>(m%64)&1 != 0 }

// chordal holds the sets that are a complete triad or seventh chord.
var chordal = sync.OnceValue(func() *pcsets {
	t := new(pcsets)
	for _, f := range forms() {
		if f.Family == "triad" || f.Family == "seventh" {
			t.put(f.pcs)
		}
	}
	return t
})

// incomplete holds those that are a seventh chord without its fifth.
var incomplete = sync.OnceValue(func() *pcsets {
	t := new(pcsets)
	for _, f := range forms() {
		if f.Family == "seventh" && f.omitPCs.has(7) {
			t.put(f.pcs &^ (1 << 7))
		}
	}
	return t
})

// put adds m in all transpositions.
func (t *pcsets) put(m pcset) {
	for n := range 12 {
		k := m.up(n)
		t[k/64] |= 1 << (k % 64)
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
	case lower.stack != "" || upper.stack != "":
		c.price[partShape] = priceMixedOver + lower.price + upper.price
	case lo.pcs&hi.pcs != 0 && s.pcs.len() >= 5 && lower.chord != nil && upper.chord != nil:
		// Two chords that share a note would leave the doubling out if they were one (Hutchinson 32.4, on A2 C#3 E3 E4 G#4 B4).
		c.price[partShape] -= 3
	}
	c.sum()
	c.words = func() Reading {
		lower.say()
		upper.say()
		r := Reading{Kind: ChordOverChord, Quality: "one chord over another", Root: lo.bass, Rooted: true, Inversion: -1, Members: make([]Member, len(s.notes))}
		if lower.chord != nil {
			r.Root = lower.chord.root
		}
		if lower.stack != "" && upper.stack != "" {
			r.Quality = "stacked " + upper.stack + " over stacked " + lower.stack
		}
		s.text = s.text[:0]
		s.put(upper.label, " over ", lower.label)
		label := len(s.text)
		s.put(upper.words, " over ", lower.words)
		words := len(s.text)
		s.put("Below ")
		if lower.chord != nil {
			s.put("lies ")
		} else {
			s.put("lie ")
		}
		s.put(lower.whole(), lower.words, ", above ", upper.whole(), upper.words)
		s.putTail()
		why := len(s.text)
		var buf [24]int
		ends := buf[:0]
		for _, p := range s.notes {
			from := len(s.text)
			if slices.Contains(lo.notes, p) {
				s.put("lower ", lower.layer(), lower.place(p))
			}
			if slices.Contains(hi.notes, p) {
				if len(s.text) > from {
					s.put("; ")
				}
				s.put("upper ", upper.layer(), upper.place(p))
			}
			ends = append(ends, len(s.text))
		}
		all := string(s.text)
		r.Label, r.Words, r.Why = all[:label], all[label:words], all[words:why]
		for i, p := range s.notes {
			r.Members[i] = Member{p, all[why:ends[i]]}
			why = ends[i]
		}
		return r
	}
	return c, true
}

// handOver reads the upper hand over the lower one.
func (s *sonority) handOver(lo, hi *sonority) (candidate, bool) {
	for _, h := range [...]*sonority{hi, lo} { // a hand that is a cluster
		if cl := clustersIn(h.notes); h.crowded() && len(cl) == 1 && len(cl[0].Notes) == len(h.notes) {
			price := float32(4)
			if cl[0].Kind == "chromatic" {
				price = 2.5
			}
			if c, ok := s.clusterOver(cl[0], price); ok {
				return c, ok
			}
		}
	}
	lower, ok := lo.partOf(false, false)
	if !ok {
		return candidate{}, false
	}
	upper, ok := hi.partOf(false, false)
	if !ok {
		return candidate{}, false
	}
	return s.layered(lo, hi, lower, upper)
}

// setReading is the reading of last resort: the set class, with the nearest chord that has a name.
func (s *sonority) setReading() Reading {
	c := s.pcs.class()
	r := Reading{Kind: SetClass, Inversion: -1, Members: s.plainMembers()}
	s.text = s.text[:0]
	s.put("set class ", c.forte)
	quality := len(s.text)
	s.put(" (", c.prime, ")")
	label := len(s.text)
	s.put("set class ", c.forte, ", prime form ", c.prime)
	words := len(s.text)
	s.putNearest(c)
	s.putTail()
	all := string(s.text)
	r.Label, r.Quality, r.Words, r.Why = all[:label], all[:quality], all[label:words], all[words:]
	return r
}

// A rival is a chord that a sonority without name is compared with.
type rival struct {
	pcs  pcset
	cost float32
	form *form
}

var rivals = sync.OnceValue(func() []rival {
	var rs []rival
	for _, f := range forms() {
		if f.tertian && len(f.Symbols) > 0 && f.Family != famAugSixth && f.is != isPower {
			rs = append(rs, rival{f.pcs, f.cost, f})
		}
	}
	return rs
})

// nearest gives for each set of pitch classes above a root the rival on that root that takes the fewest notes to add or leave
// out, the more usual one of several.
var nearest = sync.OnceValue(func() *[4096]uint8 {
	t := new([4096]uint8)
	rs := rivals()
	for set := range t {
		distance, best := 99, 0
		for j := range rs {
			if d := (pcset(set) ^ rs[j].pcs).len(); d < distance || d == distance && rs[j].cost < rs[best].cost {
				distance, best = d, j
			}
		}
		t[set] = uint8(best)
	}
	return t
})

// putNearest says what class c is and which named chord, by sound, takes the fewest notes to add or leave out, and which.
func (s *sonority) putNearest(c *setClass) {
	var best *rival
	at, distance := 0, 99
	rs, near := rivals(), nearest()
	for i := range s.classes {
		rel := s.pcs.down(int(s.pc[i]))
		r := &rs[near[rel]]
		if d := (rel ^ r.pcs).len(); d < distance || d == distance && r.cost < best.cost {
			best, at, distance = r, i, d
		}
	}
	if best == nil || distance == 0 {
		s.put("By its pitch classes alone it is ", c.forte, ", with interval vector ", c.vector)
		return
	}
	s.put("The pitch classes form ", c.forte, ", with interval vector ", c.vector, "; the nearest chord with a name is ",
		className(s.classes[at]), best.form.Symbols[0], ", ", countWord(distance))
	if distance == 1 {
		s.put(" note away:")
	} else {
		s.put(" notes away:")
	}
	rel := s.pcs.down(int(s.pc[at]))
	n := (rel &^ best.pcs).len()
	for i, k := 0, 0; i < len(s.classes); i++ {
		if best.form.byPC[(int(s.pc[i])-int(s.pc[at])+12)%12] < 0 && !slices.Contains(s.pc[:i], s.pc[i]) {
			if k == 0 {
				s.put(" without ")
			}
			s.and(k, n)
			s.put(className(s.classes[i]))
			k++
		}
	}
	missing := best.pcs &^ rel
	for i, k := 0, 0; i < len(best.form.degrees); i++ {
		if missing.has(int(best.form.degPC[i])) {
			switch {
			case k > 0:
			case n > 0:
				s.put(" and with ")
			default:
				s.put(" with ")
			}
			s.and(k, missing.len())
			s.put(className(pitch.ClassOfFifths(s.line[at] + int(best.form.degLine[i]))))
			k++
		}
	}
}
