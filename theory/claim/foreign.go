package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/harmony"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The names of non-chord tones in claims and in package harmony.
var nctWords = []struct{ words, kind string }{
	{`passing`, "passing tone"}, {`neighbou?r(?:ing)?|auxiliary`, "neighbour tone"}, {`double neighbou?r|changing|neighbou?r group`, "double neighbour"},
	{`appoggiatura`, "appoggiatura"}, {`escape|[eé]chapp[eé]e`, "escape tone"}, {`suspension|suspended`, "suspension"}, {`retardation`, "retardation"},
	{`anticipation|anticipatory`, "anticipation"}, {`incomplete neighbou?r`, "incomplete neighbour"},
	{`enclosure|incomplete neighbou?r group`, "incomplete neighbour group"},
	{`non-?chord|non-?harmonic|foreign|unessential|non-?chordal`, ""},
}

func nctPattern() string {
	var s []string
	for _, w := range nctWords {
		s = append(s, w.words)
	}
	slices.Reverse(s) // the longer ones first
	return strings.Join(s, "|")
}

func nctKind(word string) string {
	for _, w := range nctWords {
		if re := pats(w.words)[0]; re.MatchString(word) {
			return w.kind
		}
	}
	return ""
}

func foreignForms() []Form {
	return []Form{
		{
			ID:      "non-chord tone",
			Example: "bar 3 beat 2: F natural is a chromatic passing note",
			Wordings: []string{"D#5 is a chromatic lower neighbour", "the A is an accented passing tone", "G is a suspension", "the B is an appoggiatura", "C is an escape tone",
				"F is an anticipation", "E is a neighbor note", "D is a diatonic passing note", "F# is a non-chord tone", "C passes between D and B", "contains a suspension", "there is a 4-3 suspension", "D5 is a suspension resolving to C5"},
			Asserts: "the note sounds at the place, is foreign to the chord read there, and is reached and left as its name asks (passing: by step, by step on in the same direction; neighbour: by step and back; appoggiatura: by leap, then by step; escape tone: by step, then by leap; suspension: held over, then a step down; retardation: a step up; anticipation: struck again as a member of the next chord); chromatic: outside the scale of the key read there or one semitone on each side, diatonic: inside it; accented: on a beat at least as strong as what follows. Arguable: the note belongs to the chord read but moves so, or a name on which the handbooks differ (a leap down and a step up; a leap and a step the same way), or the note is written otherwise",
			patterns: pats(`(?:ART )?NOTE (?:is|acts as|functions as|serves as|stands as|works as|looks like) ART (?P<qual>(?:(?:chromatic|diatonic|accented|unaccented|upper|lower|complete) ?(?:and )?)*)(?P<kind>`+nctPattern()+`)(?:[ -](?:note|tone))?(?:,? (?:resolving|which resolves|that resolves|falling|rising|leading|going) (?:up |down )?to (?:ART )?NOTE2| (?:to|of|between|on|before) .+)?`,
				`(?:ART )?NOTE (?P<verb>passes) (?P<qual>chromatically|diatonically)?(?: ?between .+| ?to .+)?`,
				`(?:contains|has|there is|is) ART (?P<fig>\d{1,2}[-–]\d{1,2} )?(?P<qual>(?:(?:chromatic|diatonic|accented|unaccented|upper|lower) ?)*)(?P<kind>`+nctPattern()+`)(?:[ -](?:note|tone))?(?: (?:on|in) ART NOTE)?`),
			parse: func(m match, a *args) *stmtError {
				a.word = nctKind(m.get("kind"))
				if m.get("verb") != "" {
					a.word = "passing tone"
				}
				a.text = strings.TrimSpace(m.get("qual"))
				if n, err := fmt.Sscanf(strings.ReplaceAll(m.get("fig"), "–", "-"), "%d-%d", &a.number, &a.of); n == 2 && err == nil && a.word != "suspension" && a.word != "retardation" && a.word != "appoggiatura" {
					return m.fail("fig", "figures belong to a suspension, a retardation or an appoggiatura, as in \"4-3 suspension\"")
				}
				if m.group["note2"] != "" {
					n, e := m.note("note2")
					if e != nil {
						return e
					}
					a.to, a.steps = n, true
				}
				if m.group["note"] == "" {
					return nil
				}
				return m.notes("note", a)
			},
			check: (*Checker).nonChord,
		},
	}
}

// figureAt gathers what comes before and after a note in its voice.
func (k *Checker) figureAt(n score.Note, h *harmony.Analysis) (harmony.Figure, *score.Note, *score.Note) {
	bar := k.passage.BarAt(n.Onset)
	r := score.Region{From: k.passage.Bars[max(bar-1, 0)].Start, To: k.passage.Bars[min(bar+1, len(k.passage.Bars)-1)].End()}
	var voice line.Line
	for _, v := range line.Voices(k.sounding, r) {
		l := v.Line()
		if slices.Contains([]score.Note(l), n) {
			voice = l
		}
	}
	f := harmony.Figure{Note: n.Pitch}
	if i := h.At(n.Onset); i >= 0 {
		f.Key = h.Spans[i].Key
	}
	at := slices.Index([]score.Note(voice), n)
	var before, after *score.Note
	get := func(i int) (*pitch.Pitch, *score.Note) {
		if at < 0 || i < 0 || i >= len(voice) {
			return nil, nil
		}
		return &voice[i].Pitch, &voice[i]
	}
	f.Before, before = get(at - 1)
	f.Before2, _ = get(at - 2)
	f.After, after = get(at + 1)
	f.After2, _ = get(at + 2)
	weight := func(t score.Time) int {
		b := k.passage.BarAt(t)
		if b < 0 {
			return 0
		}
		bar := k.passage.Bars[b]
		return line.MetricWeight(bar.Meter, t.Sub(bar.Start).Add(bar.Offset))
	}
	f.Accented = after != nil && weight(n.Onset) >= weight(after.Onset) && weight(n.Onset) >= -1
	if i := h.At(n.Onset); i >= 0 && after != nil {
		if j := h.At(after.Onset); j > i {
			c, ok := h.Chord(j)
			f.Next = ok && c.Role(n.Pitch.Class()) != ""
		}
	}
	return f, before, after
}

// nonChord checks "F natural is a chromatic passing note".
func (k *Checker) nonChord(r score.Region, a args) (Result, error) {
	here := r.Select(k.sounding)
	here = slices.DeleteFunc(slices.Clone(here), func(n score.Note) bool { return n.Grace != score.NoGrace })
	if len(here) == 0 {
		return nothing(k, r), nil
	}
	h := k.harmony(score.Whole)
	if len(a.notes) == 0 {
		return k.anyNonChord(r, a, h)
	}
	want := a.notes[0]
	var notes []score.Note
	bySound := false
	for _, n := range here {
		if want.is(n.Pitch) && !n.Onset.Less(r.From) {
			notes = append(notes, n)
		}
	}
	for _, n := range here { // held into the place
		if want.is(n.Pitch) && n.Onset.Less(r.From) {
			notes = append(notes, n)
		}
	}
	if len(notes) == 0 {
		for _, n := range here {
			if want.sounds(n.Pitch) {
				notes, bySound = append(notes, n), true
			}
		}
	}
	if len(notes) == 0 {
		return Result{Verdict: Fails, Evidence: here, Because: fmt.Sprintf("%s does not sound there: %s", want, spoken(here)), Instead: "name a note that sounds at the place"}, nil
	}
	var best Result
	for i, n := range notes {
		res := k.oneNonChord(n, r, a, h)
		if bySound {
			if res.Verdict == Holds {
				res.Verdict = Arguable
				res.Instead = strings.Replace(fmt.Sprintf("%s is %s", n.Pitch.Class(), withArticle(a.text+" "+kindWord(a.word))), "  ", " ", -1)
			}
			res.Because += fmt.Sprintf("; %s is written %s", want, n.Pitch)
		}
		if i == 0 || worse(best.Verdict, res.Verdict) {
			best = res
		}
	}
	return best, nil
}

func kindWord(kind string) string {
	if kind == "" {
		return "non-chord tone"
	}
	return kind
}

func withArticle(s string) string {
	s = strings.TrimSpace(s)
	if s != "" && strings.ContainsRune("aeiouAEIOU", rune(s[0])) {
		return "an " + s
	}
	return "a " + s
}

// oneNonChord judges one note.
func (k *Checker) oneNonChord(n score.Note, r score.Region, a args, h *harmony.Analysis) Result {
	res := Result{Evidence: []score.Note{n}, Verdict: Fails}
	at := n.Onset.Max(r.From)
	i := h.At(at)
	var foreign *harmony.ForeignNote
	for j := i; j >= 0 && j >= i-1 && foreign == nil; j-- {
		for _, f := range h.ForeignNotes(j) {
			if f.Note.Onset == n.Onset && f.Note.Pitch == n.Pitch && f.Note.Hand == n.Hand {
				x := f
				foreign = &x
				i = j
			}
		}
	}
	f, before, after := k.figureAt(n, h)
	nct := harmony.Classify(f)
	chordName, role := "no chord", ""
	if c, ok := h.Chord(i); ok {
		chordName, role = c.String(), c.Role(n.Pitch.Class())
	}
	if foreign != nil && (nct.Kind == "" || nct.Kind != a.word) && foreign.NCT.Kind != "" {
		nct, f, before, after = foreign.NCT, foreign.Figure, foreign.Before, foreign.After // all from one
	}
	way := "nothing before it"
	if before != nil {
		way = fmt.Sprintf("from %s", before.Pitch)
		res.Evidence = append([]score.Note{*before}, res.Evidence...)
	}
	if after != nil {
		way += fmt.Sprintf(" to %s at %s", after.Pitch, k.where(*after))
		res.Evidence = append(res.Evidence, *after)
	} else {
		way += ", nothing after it"
	}
	res.Because = fmt.Sprintf("%s %s at %s, %s", n.Hand, n.Pitch, k.where(n), way)
	member := foreign == nil && role != ""
	if member {
		res.Because += fmt.Sprintf("; it is the %s of %s", role, chordName)
	} else {
		res.Because += fmt.Sprintf("; foreign to %s", chordName)
	}
	name := nct.Kind
	if nct.Why != "" {
		res.Because += "; " + nct.Why
	}
	if a.word == "" { // any non-chord tone
		if member {
			res.Instead = fmt.Sprintf("%s is the %s of %s", n.Pitch.Class(), role, chordName)
			if k.otherReadingLacks(n, i, h) {
				res.Verdict = Arguable
			}
			return res
		}
		res.Verdict = Holds
		if nct.Kind == "" {
			res.Verdict, res.Instead = Arguable, "foreign to the chord, but no name fits how it is reached and left"
		}
		return res
	}
	fits := name == a.word
	loose := ""
	if !fits {
		switch {
		case a.word == "appoggiatura" && name == "incomplete neighbour", a.word == "incomplete neighbour" && (name == "appoggiatura" || name == "escape tone"):
			loose = "the handbooks differ on a leap and a step like these"
		case a.word == "neighbour tone" && before == nil && after != nil && semis0(after.Pitch, n.Pitch) <= 2:
			loose = "nothing comes before it: an incomplete neighbour at most"
		case a.word == "neighbour tone" && name == "double neighbour":
			loose = "one of two neighbours"
		case a.word == "suspension" && name == "appoggiatura" && before != nil && before.Pitch == n.Pitch:
			loose = "struck again, not held"
		case a.word == "suspension" && name == "retardation", a.word == "retardation" && name == "suspension":
			loose = ""
		}
	}
	// Chromatic, diatonic, accented, upper, lower.
	chromatic := !f.Key.Contains(n.Pitch.Class())
	semis := func(p, q pitch.Pitch) int { d := p.MIDI() - q.MIDI(); return max(d, -d) }
	between := before != nil && after != nil && semis(before.Pitch, n.Pitch) == 1 && semis(after.Pitch, n.Pitch) == 1
	wrong := ""
	switch {
	case strings.Contains(a.text, "chromatic") && !chromatic && !between:
		wrong = fmt.Sprintf("%s belongs to %s: a diatonic %s", n.Pitch.Class(), f.Key, kindWord(name))
	case strings.Contains(a.text, "diatonic") && chromatic:
		wrong = fmt.Sprintf("%s is outside %s: a chromatic %s", n.Pitch.Class(), f.Key, kindWord(name))
	case strings.Contains(a.text, "unaccented") && f.Accented:
		wrong = "it is accented"
	case strings.Contains(a.text, "accented") && !strings.Contains(a.text, "unaccented") && !f.Accented:
		wrong = "it is unaccented"
	case strings.Contains(a.text, "upper") && before != nil && n.Pitch.Compare(before.Pitch) < 0:
		wrong = "it is a lower " + kindWord(name)
	case strings.Contains(a.text, "lower") && before != nil && n.Pitch.Compare(before.Pitch) > 0:
		wrong = "it is an upper " + kindWord(name)
	}
	qual := ""
	if chromatic || between && strings.Contains(a.text, "chromatic") {
		qual = "chromatic "
	}
	if wrong == "" && a.steps && (after == nil || !a.to.is(after.Pitch)) {
		wrong = fmt.Sprintf("it doesn't go to %s", a.to)
		if after != nil {
			wrong += fmt.Sprintf(" but to %s", after.Pitch)
		}
	}
	if wrong == "" && a.number > 0 && after != nil { // 4-3: above the bass
		if got := k.figures(n, *after, r); got != fmt.Sprintf("%d-%d", a.number, a.of) {
			wrong = "counted from the bass it is " + got
		}
	}
	is := fmt.Sprintf("%s is %s", n.Pitch.Class(), withArticle(qual+kindWord(name)))
	if name == "" {
		is = fmt.Sprintf("%s fits no name: %s", n.Pitch.Class(), way)
	}
	switch {
	case member && (fits || loose != "") && wrong == "" && (a.word == "passing tone" || a.word == "neighbour tone" || k.otherReadingLacks(n, i, h)):
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("%s is the %s of %s; it moves like %s", n.Pitch.Class(), role, chordName, withArticle(kindWord(a.word)))
		if !k.otherReadingLacks(n, i, h) {
			res.Verdict = Fails
		}
	case member:
		res.Instead = fmt.Sprintf("%s is the %s of %s", n.Pitch.Class(), role, chordName)
	case fits && wrong == "":
		res.Verdict = Holds
	case fits:
		res.Because += "; " + wrong
		res.Instead = wrong
	case loose != "" && wrong == "":
		res.Verdict, res.Instead = Arguable, is
		res.Because += "; " + loose
	default:
		res.Instead = is
	}
	return res
}

func semis0(p, q pitch.Pitch) int { d := p.MIDI() - q.MIDI(); return max(d, -d) }

// figures returns the intervals of a note and its resolution above the bass as the handbooks write them: "4-3", "9-8", "7-6".
func (k *Checker) figures(n, after score.Note, r score.Region) string {
	over := func(p pitch.Pitch, at score.Time) int {
		for _, s := range score.Slices(k.sounding, at, at.Add(score.T(1, 64))) {
			if len(s.Notes) > 0 {
				return p.Sub(s.Notes[0].Pitch).Simple().Number()
			}
		}
		return 0
	}
	x, y := over(n.Pitch, n.Onset.Max(r.From)), over(after.Pitch, after.Onset)
	switch {
	case x == 2 && y == 1:
		return "9-8"
	case y == 1:
		y = 8
	}
	return fmt.Sprintf("%d-%d", x, y)
}

// otherReadingLacks reports whether a likely other reading of a span doesn't hold a note.
func (k *Checker) otherReadingLacks(n score.Note, i int, h *harmony.Analysis) bool {
	if i < 0 || i >= len(h.Spans) {
		return false
	}
	for _, rd := range h.Spans[i].Readings[min(1, len(h.Spans[i].Readings)):] {
		if rd.Probability > .1 && rd.Chord.Role(n.Pitch.Class()) == "" {
			return true
		}
	}
	return false
}

// anyNonChord checks "contains a suspension".
func (k *Checker) anyNonChord(r score.Region, a args, h *harmony.Analysis) (Result, error) {
	first, end := h.Overlapping(r.From, r.To)
	var there []string
	res := Result{Verdict: Fails}
	for i := first; i < end; i++ {
		for _, f := range h.ForeignNotes(i) {
			if f.Note.Onset.Less(r.From) && !r.From.Less(f.Note.End()) || !f.Note.Onset.Less(r.To) {
				continue
			}
			if l := r.Layer; l == score.LeftHand && f.Note.Hand != score.Left || l == score.RightHand && f.Note.Hand != score.Right {
				continue
			}
			if a.word == "" && f.NCT.Kind != "" || f.NCT.Kind == a.word {
				one := k.oneNonChord(f.Note, score.Region{From: f.Note.Onset.Max(r.From), To: r.To}, a, h)
				if one.Verdict != Fails {
					return one, nil
				}
			}
			if f.NCT.Kind != "" {
				there = append(there, fmt.Sprintf("%s at %s (%s)", f.Note.Pitch, k.where(f.Note), f.NCT))
			}
		}
	}
	notes := r.Select(k.sounding)
	res.Evidence = notes[:min(len(notes), 24)]
	res.Because = "chords: " + k.chordWords(first, end, 6)
	if len(there) == 0 {
		res.Because += "; every note belongs to its chord"
		res.Instead = "no non-chord tone there"
		return res, nil
	}
	res.Because += "; foreign: " + listed(there[:min(4, len(there))])
	res.Instead = "contains " + listed(there[:min(2, len(there))])
	return res, nil
}
