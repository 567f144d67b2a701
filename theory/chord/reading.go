package chord

import (
	"fmt"
	"slices"
	"strings"

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
			if role, _ = spoken(iv); iv.Simple() == pitch.Unison {
				role = "octave"
			}
		}
		ms[i] = Member{p, role}
	}
	return ms
}

// spoken returns an interval as one says it: beyond two octaves as the simple interval, with the octaves apart:
// "perfect fifth", ", three octaves wider".
func spoken(iv pitch.Interval) (name, wider string) {
	if iv.Number() <= 15 {
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
			if c, ok := s.clusterOver(cl, price); ok {
				add(c)
			}
			continue
		}
		c.sum()
		c.words = func() Reading { return s.clusterReading(cl) }
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
			names = append(names, brief(iv))
		}
		return Reading{Label: "mixed stack on " + s.notes[0].String() + ": " + strings.Join(names, ", "), Words: "a stack of unlike intervals on " + s.notes[0].String(),
			Kind: MixedStack, Quality: "mixed stack", Inversion: -1, Members: s.plainMembers(), Why: "Counted from the bottom, the distances are " + andList(names)}
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
	rest := make([]pitch.Pitch, 0, len(s.notes))
	for _, p := range s.notes {
		if !slices.ContainsFunc(cl.Notes, p.Enharmonic) {
			rest = append(rest, p)
		}
	}
	if len(rest) == 0 {
		return c, false
	}
	other := sonorityOf(rest).layer()
	where := "around"
	switch {
	case rest[len(rest)-1].MIDI() < cl.Notes[0].MIDI():
		where = "over"
	case rest[0].MIDI() > cl.Notes[len(cl.Notes)-1].MIDI():
		where = "under"
	}
	c = candidate{other: clusterOverKind, root: s.bass}
	c.price[partShape] = price + other.price
	if where == "around" {
		where = "within"
	}
	c.sum()
	c.words = func() Reading {
		r := Reading{Label: cl.Kind + " cluster " + dashed(cl.Notes) + " " + where + " " + other.label,
			Words: an(cl.Kind) + " cluster of " + countWord(len(cl.Notes)) + " notes " + where + " " + other.words, Kind: ClusterKind,
			Quality: cl.Kind + " cluster " + where + " " + other.quality, Root: s.bass, Rooted: other.chord != nil, Inversion: -1}
		if other.chord != nil {
			r.Root = other.chord.root
		}
		for _, p := range s.notes {
			role := "cluster"
			if !slices.ContainsFunc(cl.Notes, p.Enharmonic) {
				role = other.place(p) + " " + map[string]string{"over": "below the cluster", "under": "above the cluster", "within": "around the cluster"}[where]
			}
			r.Members = append(r.Members, Member{p, role})
		}
		r.Why = dashed(cl.Notes) + " lie next to each other and are heard as one cluster " + map[string]string{"over": "above", "under": "below", "within": "inside"}[where] + " " + other.words
		return r
	}
	return c, true
}

// layer reads the notes beside a cluster: as a chord if they make one, else as an interval, a note or a list of names.
func (s *sonority) layer() part {
	switch names := dashedClasses(s.classes); s.pcs.len() {
	case 1:
		return part{label: s.bass.String(), words: "the note " + s.bass.String(), quality: "a single note", price: 1, s: s}
	case 2:
		iv := s.classes[1].Sub(s.classes[0])
		p := part{label: names, words: "the " + iv.Words() + " " + names, quality: an(iv.Words()), price: 0.8, s: s}
		if iv == pitch.PerfectFifth {
			p.words, p.quality, p.price = "the open fifth "+names, "an open fifth", 0.5
		}
		return p
	default:
		if p, ok := s.partOf(true, true); ok {
			p.words = an(p.words)
			return p
		}
		return part{label: names, words: "the notes " + names, quality: "other notes", price: 2.5, s: s}
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
	chord                 *candidate // nil for stacks and clusters
	stack                 string     // "fourths" or "fifths"
	cluster               string
	price                 float32
	s                     *sonority
}

// place tells the part that note n of p plays in it.
func (p *part) place(n pitch.Pitch) string {
	switch {
	case p.chord != nil:
		f := p.chord.form
		if m := f.byPC[(n.PC()-p.chord.root.PC()+12)%12]; m >= 0 {
			return f.Roles[m]
		}
	case p.stack != "":
		if i := slices.Index(p.s.notes, n); i > 0 {
			return ordinal(i) + " " + strings.TrimSuffix(p.stack, "s")
		}
		return "bottom"
	case p.cluster != "":
		return "note " + fmt.Sprint(slices.Index(p.s.notes, n)+1) + " of the cluster"
	}
	return "note"
}

// partOf reads notes as a complete triad or seventh chord, a stack of fourths or fifths, or a cluster; ok is false if they are
// none of these.
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
		if cl := Clusters(s.notes); len(cl) == 1 && len(cl[0].Notes) == len(s.notes) {
			return part{label: cl[0].Kind + " cluster " + dashed(cl[0].Notes), words: an(cl[0].Kind) + " cluster", quality: cl[0].Kind + " cluster", cluster: cl[0].Kind, s: s}, true
		}
	}
	var best candidate
	best.total = -1
	for _, root := range s.classes {
		rel := s.pcs.down(root.PC())
		for _, f := range forms() {
			if f.pcs != rel && !(incomplete && f.pcs == rel|1<<7 && f.omitPCs.has(7)) || f.Family != "triad" && f.Family != "seventh" {
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
	p = part{label: spokenTriad(&best, best.label(s)), chord: &best, price: 0.3 * (best.price[partRarity] + best.price[partBass]), s: s}
	var o offs
	o.of(&best, s)
	s.text = s.text[:0]
	best.putLabel(s, &o)
	r := s.reading(&best, &o, nil, "")
	p.words, p.quality = r.Words, an(withChord(r.Quality))
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
		lower, ok := lo.partOf(true, false)
		if !ok {
			continue
		}
		if upper, ok := hi.partOf(true, false); ok {
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
	case lower.stack != "" || upper.stack != "":
		c.price[partShape] = priceMixedOver + lower.price + upper.price
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
		layer := func(p part) string {
			if p.stack != "" {
				return "stack, "
			}
			return "chord, "
		}
		for _, p := range s.notes {
			role := ""
			if slices.Contains(lo.notes, p) {
				role = "lower " + layer(lower) + lower.place(p)
			}
			if slices.Contains(hi.notes, p) {
				if role != "" {
					role += "; "
				}
				role += "upper " + layer(upper) + upper.place(p)
			}
			r.Members = append(r.Members, Member{p, role})
		}
		r.Why = "Below lie " + what(lower) + ", above " + what(upper)
		if lower.chord != nil {
			r.Why = "Below lies " + what(lower) + ", above " + what(upper)
		}
		return r
	}
	return c, true
}

// handOver reads the upper hand over the lower one.
func (s *sonority) handOver(lo, hi *sonority) (candidate, bool) {
	for _, h := range [...]*sonority{hi, lo} { // a hand that is a cluster
		if cl := Clusters(h.notes); len(cl) == 1 && len(cl[0].Notes) == len(h.notes) {
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
