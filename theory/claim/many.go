package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A stop is one chord of a longer place: what sounds from At on until its pitch classes or its bass change.
type stop struct {
	at    score.Time
	notes []score.Note
	label string // as read in context; "" for a chord struck together
}

// chords returns the chords of a region. Where it goes in chords they are its sonorities of three pitch classes or more, one that
// only repeats or revoices the one before counted with it; else the spans that the harmony is read in. A place where nothing is
// read is taken beat by beat, broken chords together.
func (k *Checker) chords(r score.Region) []stop {
	if out := k.blocks(r); out != nil {
		return out
	}
	if r.Layer == score.Whole || r.Layer == score.LeftHand || r.Layer == score.RightHand {
		h := k.harmony(r.Layer)
		first, end := h.Overlapping(r.From, r.To)
		var out []stop
		for i := first; i < end; i++ {
			c, ok := h.Chord(i)
			if !ok || len(out) > 0 && out[len(out)-1].label == c.String() {
				continue
			}
			s := h.Spans[i].Span
			var notes []score.Note
			for _, x := range score.Slices(h.Music.Sounding, s.From.Max(r.From), s.To.Min(r.To)) {
				notes = append(notes, x.Notes...)
			}
			if pcCount(notes) >= 3 {
				out = append(out, stop{s.From.Max(r.From), distinct(notes), c.String()})
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return k.sonorities(r)
}

func (k *Checker) sonorities(r score.Region) []stop {
	var out []stop
	add := func(at score.Time, notes []score.Note) {
		notes = distinct(notes)
		if pcCount(notes) < 3 {
			return
		}
		if n := len(out); n > 0 && sameContent(out[n-1].notes, notes) {
			return
		}
		out = append(out, stop{at, notes, ""})
	}
	all := score.Slices(k.sounding, r.From, r.To)
	for _, s := range all {
		add(s.At, pick(s.Notes, r.Layer))
	}
	if len(out) > 0 {
		return out
	}
	for _, b := range k.passage.Bars {
		for t := b.Start.Sub(b.Offset); t.Less(b.End()); t = t.Add(b.Meter.Beat()) {
			if t.Less(r.From) || !t.Less(r.To) {
				continue
			}
			var notes []score.Note
			for _, s := range score.Slices(k.sounding, t, t.Add(b.Meter.Beat()).Min(r.To)) {
				notes = append(notes, pick(s.Notes, r.Layer)...)
			}
			add(t, notes)
		}
	}
	return out
}

func pcCount(notes []score.Note) int {
	pcs := pcsOf(pitches(notes))
	slices.Sort(pcs)
	return len(slices.Compact(pcs))
}

// sameContent reports whether two sonorities have the same spelled classes over the same bass.
func sameContent(a, b []score.Note) bool {
	classes := func(notes []score.Note) []int {
		var f []int
		for _, n := range notes {
			f = append(f, n.Pitch.Class().Fifths())
		}
		slices.Sort(f)
		return slices.Compact(f)
	}
	return a[0].Pitch.Class() == b[0].Pitch.Class() && slices.Equal(classes(a), classes(b))
}

// A sort is a kind of chord as claims about several chords name it: a family ("seventh chord", "triad") or one quality.
type chordSort struct {
	text   string
	family string
	typ    chord.Type
}

var families = map[string]string{"seventh": "seventh", "sevenths": "seventh", "seventh chord": "seventh", "seventh chords": "seventh",
	"triad": "triad", "triads": "triad", "ninth": "ninth", "ninths": "ninth", "ninth chord": "ninth", "ninth chords": "ninth", "augmented sixth": "augmented sixth", "augmented-sixth": "augmented sixth", "augmented sixth chord": "augmented sixth",
	"augmented-sixth chord": "augmented sixth", "augmented sixths": "augmented sixth", "augmented sixth chords": "augmented sixth"}

// parseSort reads a sort without its article: "seventh chord", "minor seventh", "major triads".
func parseSort(s string) (chordSort, bool) {
	s = strings.Join(strings.Fields(strings.ToLower(s)), " ")
	for _, article := range []string{"a ", "an ", "the "} {
		s = strings.TrimPrefix(s, article)
	}
	if f, ok := families[s]; ok {
		return chordSort{text: f + map[bool]string{true: "", false: " chord"}[f == "triad"], family: f}, true
	}
	for _, form := range []string{s, strings.TrimSuffix(s, "s"), strings.TrimSuffix(strings.TrimSuffix(s, "s"), " chord"), s + " triad", s + " seventh"} {
		if t, ok := chord.TypeByName(form); ok && t.ID != "" {
			return chordSort{text: t.Names[0], typ: t}, true
		}
	}
	return chordSort{}, false
}

// readings returns what a chord may be, the best first: of one read in context that reading, then what its notes say.
func (s stop) readings() []chord.Reading {
	rs := chord.Name(pitches(s.notes))
	if s.label == "" {
		return rs
	}
	sym, err := chord.ParseLabel(s.label)
	if err != nil {
		return rs
	}
	q := sym.Type.Name()
	if sym.Type.Family == "triad" && !strings.HasSuffix(q, "triad") {
		q += " triad"
	}
	return append([]chord.Reading{{Label: s.label, Type: sym.Type.ID, Rooted: true, Root: sym.Root, Quality: q}}, rs...)
}

// fits reports how a chord is of a sort: by its first reading, or by a lower one.
func (c chordSort) fits(s stop) (first, lower bool, got chord.Reading) {
	for i, r := range s.readings() {
		if i == 0 {
			got = r
		}
		if i > 0 && (len(r.Added) > 0 || len(r.Missing) > 0 || r.Kind == chord.ChordOverChord) {
			continue // a name for a part of the notes says nothing of the chord
		}
		ok := c.typ.ID != "" && r.Type == c.typ.ID
		if c.family != "" && r.Type != "" {
			t, known := chord.TypeByID(r.Type)
			ok = known && t.Family == c.family && len(t.Intervals) > 2 && (i == 0 || len(t.Intervals) >= pcCount(s.notes))
		}
		if ok && i == 0 {
			return true, true, got
		}
		lower = lower || ok
	}
	return false, lower, got
}

// quantified checks "every chord is a seventh chord", "three of the four chords are triads".
func (k *Checker) quantified(r score.Region, a args) (Result, error) {
	stops := k.chords(r)
	if len(stops) == 0 {
		return nothing(k, r), nil
	}
	total := len(stops)
	switch n := min(a.number, total); a.word {
	case "first":
		stops = stops[:n]
	case "last":
		stops = stops[total-n:]
	}
	var res Result
	var labels, off, maybe []string
	fit, low := 0, 0
	for _, s := range stops {
		first, lower, got := a.sort.fits(s)
		labels = append(labels, got.Label)
		res.Evidence = append(res.Evidence, s.notes...)
		switch {
		case first:
			fit++
		case lower:
			low++
			maybe = append(maybe, fmt.Sprintf("%s at %s", got.Label, k.passage.Where(s.at)))
		default:
			off = append(off, fmt.Sprintf("%s at %s", got.Label, k.passage.Where(s.at)))
		}
	}
	res.Because = fmt.Sprintf("%s: %s", plural(len(stops), "chord"), first(labels, 12))
	if len(off) > 0 && a.word != "no" && a.word != "some" {
		res.Because += "; not so: " + listed(off[:min(len(off), 3)])
		if len(off) > 3 {
			res.Because += fmt.Sprintf(" and %d more", len(off)-3)
		}
	}
	if len(maybe) > 0 {
		res.Because += "; only by a lower reading: " + listed(maybe[:min(len(maybe), 3)])
	}
	res.Verdict, res.Because = quantify(a.word, a.number, a.of, fit, low, len(stops), total, "chord", res.Because)
	if res.Verdict != Holds {
		res.Instead = fmt.Sprintf("%s of the %s so: %s", counted(fit), plural(len(stops), "chord"), a.sort.text)
		if low > 0 {
			res.Instead += fmt.Sprintf(" (%d more by a lower reading)", low)
		}
	}
	return res, nil
}

// qualitiesRepeat checks "qualities repeat every 3 chords: dominant seventh, minor seventh, major seventh".
func (k *Checker) qualitiesRepeat(r score.Region, a args) (Result, error) {
	stops := k.chords(r)
	if len(stops) == 0 {
		return nothing(k, r), nil
	}
	var res Result
	var got []chord.Reading
	var labels, words []string
	for _, s := range stops {
		rd := s.readings()[0]
		got = append(got, rd)
		labels = append(labels, rd.Label)
		words = append(words, rd.Quality)
		res.Evidence = append(res.Evidence, s.notes...)
	}
	res.Because = first(labels, 12)
	n := a.number
	if len(stops) <= n {
		res.Verdict, res.Instead = Fails, "name a longer place"
		res.Because += fmt.Sprintf("; with %s nothing can come back after %d", plural(len(stops), "chord"), n)
		return res, nil
	}
	same := func(i, j int) bool { return got[i].Quality == got[j].Quality }
	broken, lower := -1, -1
	for i := range got {
		if len(a.sorts) > 0 {
			first, low, _ := a.sorts[i%n].fits(stops[i])
			if !first && low && lower < 0 {
				lower = i
			}
			if !first && !low && broken < 0 {
				broken = i
			}
			continue
		}
		if i >= n && !same(i, i-n) && broken < 0 {
			broken = i
		}
	}
	sooner := 0
	for p := 1; p < n && sooner == 0; p++ {
		ok := true
		for i := p; i < len(got) && ok; i++ {
			ok = same(i, i-p)
		}
		if ok {
			sooner = p
		}
	}
	switch {
	case broken >= 0:
		res.Verdict = Fails
		res.Because += fmt.Sprintf("; the cycle breaks at %s with %s", k.passage.Where(stops[broken].at), labels[broken])
		res.Instead = "qualities: " + strings.Join(words[:min(len(words), 8)], ", ")
	case sooner > 0:
		res.Verdict = Arguable
		res.Because += "; they come back sooner than that"
		res.Instead = fmt.Sprintf("qualities repeat every %s: %s", plural(sooner, "chord"), strings.Join(words[:sooner], ", "))
	case lower >= 0:
		res.Verdict = Arguable
		res.Because += fmt.Sprintf("; %s at %s is so only by a lower reading", labels[lower], k.passage.Where(stops[lower].at))
		res.Instead = "qualities: " + strings.Join(words[:min(len(words), 8)], ", ")
	default:
		res.Verdict = Holds
	}
	return res, nil
}

// missing checks "has no third", "the fifth is missing".
func (k *Checker) missing(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	steps := map[string]int{"root": 0, "third": 2, "fifth": 4, "seventh": 6, "ninth": 1}[a.word]
	if res, ok := k.missingInContext(r, son, steps, a.word); ok {
		return res, nil
	}
	res := Result{Evidence: son.notes}
	has := func(root pitch.Class) (score.Note, bool) {
		for _, n := range son.notes {
			if n.Pitch.Class().Sub(root).Steps == steps {
				return n, true
			}
		}
		return score.Note{}, false
	}
	var rooted []chord.Reading
	for _, rd := range chord.Name(pitches(son.notes)) {
		if rd.Rooted {
			rooted = append(rooted, rd)
		}
	}
	bass := son.notes[0].Pitch.Class()
	if len(rooted) == 0 {
		n, ok := has(bass)
		res.Because = fmt.Sprintf("%s: no chord with a root; counted from the bass %s", son.said(), bass)
		if ok {
			res.Verdict, res.Instead = Fails, fmt.Sprintf("%s is the %s above the bass", n.Pitch, a.word)
		} else {
			res.Verdict = Holds
		}
		return res, nil
	}
	n, ok := has(rooted[0].Root)
	if !r.Moment { // what stands there may stand for another chord
		if res, ok := k.missingInContext(r, sonority{notes: son.notes, slices: son.slices}, steps, a.word); ok {
			return res, nil
		}
	}
	res.Because = fmt.Sprintf("%s: %s, root %s", son.said(), rooted[0].Label, rooted[0].Root)
	if !ok {
		res.Verdict = Holds
		return res, nil
	}
	res.Because += fmt.Sprintf("; its %s is %s", a.word, n.Pitch)
	res.Verdict, res.Instead = Fails, fmt.Sprintf("the %s sounds: %s", a.word, n.Pitch)
	for _, rd := range rooted[1:] {
		if _, there := has(rd.Root); !there {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; read as %s it has none", rd.Label)
			break
		}
	}
	return res, nil
}

// soundsAs checks "B# sounds as the seventh of D7".
func (k *Checker) soundsAs(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	want := a.notes[0]
	i := slices.IndexFunc(son.notes, func(n score.Note) bool { return want.is(n.Pitch) })
	res := Result{Evidence: son.notes, Verdict: Fails, Because: son.said(), Instead: bestReading(son.notes)}
	if i < 0 {
		res.Because += fmt.Sprintf("; %s does not sound", want)
		return res, nil
	}
	spell := a.symbol.Spell()
	role := -1
	for j, rl := range a.symbol.Type.Roles {
		if j < len(spell) && rl == a.word {
			role = j
		}
	}
	if role < 0 {
		res.Because += fmt.Sprintf("; %s has no %s", a.symbol.House(), a.word)
		return res, nil
	}
	member := spell[role]
	if !member.Enharmonic(want.class) {
		res.Because += fmt.Sprintf("; the %s of %s is %s, and %s doesn't sound like it", a.word, a.symbol.House(), member, want)
		for j, c := range spell {
			if c.Enharmonic(want.class) {
				res.Instead = fmt.Sprintf("%s sounds as its %s %s", want, a.symbol.Type.Roles[j], c)
			}
		}
		return res, nil
	}
	var absent []string
	for j, c := range spell {
		if !slices.ContainsFunc(son.notes, func(n score.Note) bool { return n.Pitch.Class().Enharmonic(c) }) &&
			!slices.Contains(a.symbol.Type.Omittable, a.symbol.Type.Roles[j]) {
			absent = append(absent, fmt.Sprintf("%s %s", a.symbol.Type.Roles[j], c))
		}
	}
	res.Because += fmt.Sprintf("; the %s of %s is %s", a.word, a.symbol.House(), member)
	if member != want.class {
		res.Because += fmt.Sprintf(", the same key as %s", want.class)
	}
	switch {
	case len(absent) == 0:
		res.Verdict, res.Instead = Holds, ""
	case len(absent) == 1 && len(spell) > 3:
		res.Verdict = Arguable
		res.Because += "; its " + absent[0] + " does not sound"
	default:
		res.Because += "; of that chord " + listed(absent) + " do not sound"
		if len(absent) == 1 {
			res.Because = strings.Replace(res.Because, " do not sound", " does not sound", 1)
		}
	}
	return res, nil
}

// contrary checks "melody and bass in contrary motion".
func (k *Checker) contrary(r score.Region, a args) (Result, error) {
	outers := line.Outers(k.sounding, score.Region{From: r.From, To: r.To})
	res := Result{}
	var same, opposite, oblique []line.Outer
	moves := 0
	for i, o := range outers {
		res.Evidence = append(res.Evidence, o.Low, o.High)
		if i == 0 {
			continue
		}
		low, high := sign(o.Low.Pitch.MIDI()-outers[i-1].Low.Pitch.MIDI()), sign(o.High.Pitch.MIDI()-outers[i-1].High.Pitch.MIDI())
		switch {
		case low == 0 && high == 0:
			continue
		case low*high < 0:
			opposite = append(opposite, o)
		case low*high > 0:
			same = append(same, o)
		default:
			oblique = append(oblique, o)
		}
		moves++
	}
	if moves == 0 {
		return nothing(k, r), nil
	}
	res.Because = fmt.Sprintf("bass %s, top %s: %d contrary, %d in the same direction, %d oblique", outerNames(outers, false), outerNames(outers, true),
		len(opposite), len(same), len(oblique))
	want, against := opposite, same
	if a.word != "contrary" {
		want, against = same, opposite
	}
	if a.word == "parallel" {
		for i := 1; i < len(outers); i++ {
			if outers[i].Interval.Number() != outers[i-1].Interval.Number() && !slices.Contains(against, outers[i]) {
				against = append(slices.Clone(against), outers[i])
			}
		}
	}
	switch {
	case len(against) == 0 && len(want) > 0 && len(oblique) == 0:
		res.Verdict = Holds
	case len(against) == 0 && len(want) >= len(oblique):
		res.Verdict = Arguable
		res.Because += "; one of them waits now and then"
		res.Instead = fmt.Sprintf("in %s and oblique motion", a.word)
	default:
		res.Verdict = Fails
		res.Instead = "outer voices move otherwise"
		if len(against) > 0 {
			res.Instead += ", first at " + k.passage.Where(against[0].At)
		} else {
			res.Instead = "in oblique motion"
		}
	}
	return res, nil
}

func sign(n int) int {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}

// marks orders the dynamic marks (common practice, no source).
var marks = []string{"pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff"}

// dynamics checks "gets louder".
func (k *Checker) dynamics(r score.Region, a args) (Result, error) {
	var grow, shrink, levels []string
	first, last := -1, -1
	for _, d := range k.passage.Dynamics {
		if d.At.Less(d.Until) {
			if !d.At.Less(r.To) || !r.From.Less(d.Until) {
				continue
			}
		} else if d.At.Less(r.From) || !d.At.Less(r.To) {
			if i := slices.Index(marks, d.Text); i >= 0 && d.At.Less(r.From) {
				first = i // in force when the place begins
			}
			continue
		}
		at := k.passage.Where(d.At)
		switch {
		case d.Text == "louder" || strings.HasPrefix(d.Text, "cresc"):
			grow = append(grow, "a crescendo at "+at)
		case d.Text == "softer" || strings.HasPrefix(d.Text, "dim") || strings.HasPrefix(d.Text, "decresc"):
			shrink = append(shrink, "a diminuendo at "+at)
		default:
			if i := slices.Index(marks, d.Text); i >= 0 {
				if first < 0 || d.At == r.From {
					first = i
				}
				last = i
				levels = append(levels, d.Text+" at "+at)
			}
		}
	}
	res := Result{Evidence: r.Select(k.sounding)}
	if len(res.Evidence) == 0 {
		return nothing(k, r), nil
	}
	up, down := len(grow) > 0 || first >= 0 && last > first, len(shrink) > 0 || first >= 0 && last >= 0 && last < first
	word, other := "louder", "softer"
	if a.dir < 0 {
		up, down, word, other = down, up, other, word
	}
	all := append(append(append([]string{}, levels...), grow...), shrink...)
	res.Because = "written: " + listed(all)
	if len(all) == 0 {
		res.Because = "no dynamic is written there"
	}
	switch {
	case up && !down:
		res.Verdict = Holds
	case up:
		res.Verdict, res.Instead = Arguable, "gets both louder and softer"
	case down:
		res.Verdict, res.Instead = Fails, "gets "+other
	default:
		from, to := k.density(r)
		res.Because += fmt.Sprintf("; the texture goes from %d to %d notes at once", from, to)
		res.Verdict, res.Instead = Fails, "nothing written makes it "+word
		if a.dir > 0 && to > from || a.dir < 0 && to < from {
			res.Verdict = Arguable
			res.Instead = map[bool]string{true: "the texture grows", false: "the texture thins"}[a.dir > 0] + ", no dynamic says so"
		}
	}
	return res, nil
}

// density returns how many notes sound together in the first and in the last quarter of a region, at most.
func (k *Checker) density(r score.Region) (from, to int) {
	quarter := r.To.Sub(r.From).Mul(1, 4)
	for _, s := range score.Slices(k.sounding, r.From, r.To) {
		n := len(pick(s.Notes, r.Layer))
		if s.At.Less(r.From.Add(quarter)) {
			from = max(from, n)
		}
		if !s.At.Less(r.To.Sub(quarter)) {
			to = max(to, n)
		}
	}
	return from, to
}

// pedal checks "pedal on E".
func (k *Checker) pedal(r score.Region, a args) (Result, error) {
	all := score.Slices(k.sounding, r.From, r.To)
	if len(all) == 0 {
		return nothing(k, r), nil
	}
	var want noteRef
	if len(a.notes) > 0 {
		want = a.notes[0]
	} else {
		home, ok := k.keyAt(r, a)
		if !ok {
			return Result{Verdict: Fails, Evidence: all[0].Notes, Because: "no key is to be found there", Instead: "name the note of the pedal"}, nil
		}
		want.class = home.Class(map[string]int{"tonic": 1, "dominant": 5}[a.word], 0)
	}
	var off []string
	var res Result
	classes := map[int]bool{}
	low := 0
	for _, s := range all {
		i := slices.IndexFunc(s.Notes, func(n score.Note) bool { return want.is(n.Pitch) })
		if i < 0 {
			off = append(off, k.passage.Where(s.At))
			continue
		}
		if i == 0 {
			low++
		}
		if !slices.Contains(res.Evidence, s.Notes[i]) {
			res.Evidence = append(res.Evidence, s.Notes[i])
		}
		for _, n := range s.Notes {
			classes[n.Pitch.PC()] = true
		}
	}
	res.Because = fmt.Sprintf("%s sounds in %d of %d sonorities", want, len(all)-len(off), len(all))
	switch {
	case 4*len(off) > len(all):
		res.Verdict, res.Instead = Fails, fmt.Sprintf("%s is absent first at %s", want, off[0])
		res.Evidence = append(res.Evidence, all[0].Notes...)
	case len(classes) < 4:
		res.Verdict, res.Instead = Arguable, "hardly anything moves against it: a held chord more than a pedal"
	case 2*low < len(all):
		res.Verdict, res.Instead = Arguable, "held in another part than the bass (an inverted pedal)"
	case len(off) > 0:
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("but for %s", listed(off[:min(3, len(off))]))
	default:
		res.Verdict = Holds
	}
	return res, nil
}
