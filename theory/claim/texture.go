package claim

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

const reSize = `(?:(?:minor|major|perfect|augmented|diminished) )?(?:unison|second|third|fourth|fifth|sixth|seventh|octave|ninth|tenth|eleventh|twelfth)|half[ -]step|semitone|whole[ -](?:step|tone)|step`

var intervalNumbers = []string{"", "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh", "twelfth"}

// size reads an interval in words: its number, and its size in semitones if it names a quality.
func (m match) size(group string, a *args) *stmtError {
	words := strings.Fields(strings.ReplaceAll(m.get(group), "-", " "))
	a.text = strings.Join(words, " ")
	switch a.text {
	case "step":
		a.number = 2
		return nil
	case "half step", "semitone":
		a.number, a.strict, a.list = 2, true, []pitch.Interval{pitch.MinorSecond}
		return nil
	case "whole step", "whole tone":
		a.number, a.strict, a.list = 2, true, []pitch.Interval{pitch.MajorSecond}
		return nil
	}
	a.number = slices.Index(intervalNumbers, strings.TrimSuffix(words[len(words)-1], "s"))
	if len(words) == 2 {
		i, err := pitch.ParseInterval(map[string]string{"minor": "m", "major": "M", "perfect": "P", "augmented": "A", "diminished": "d"}[words[0]] + fmt.Sprint(a.number))
		if err != nil {
			return m.fail(group, "there is no %s", a.text)
		}
		a.strict, a.list = true, []pitch.Interval{i}
	}
	return nil
}

// sequenceNames are the names of sequences as claims say them, with the row of the reference table in package line.
var sequenceNames = []struct {
	words string
	ids   []string
}{
	{`(?:descending|falling) fifths(?: sequence)?(?: of sevenths?(?: chords?)?)?|sequence of (?:descending|falling) fifths|sequence in (?:descending|falling) fifths|(?:circle|cycle)[ -]of[ -]fifths(?: sequence| progression)?`,
		[]string{"desc5-triads", "real-desc5", "desc5-sevenths", "desc5-65-42", "desc5-7-43", "desc5-7-64", "chrom-desc5", "desc5-pop"}},
	{`chain of dominant sevenths(?: chords)?|chain of dominants|chain of secondary dominants`, []string{"chrom-desc5"}},
	{`ii[ -–]v[ -–]i(?: progression)?`, []string{"desc5-half"}},
	{`pachelbel(?: sequence| progression)?|falling thirds(?: sequence)?|descending thirds(?: sequence)?`, []string{"desc3-pachelbel", "desc3-pachelbel-inv"}},
	{`ascending (?:5-6|five-six)(?: sequence)?|5-6(?: sequence)?`, []string{"asc2-56", "chrom-asc56"}},
	{`ascending fifths(?: sequence)?|rising fifths(?: sequence)?`, []string{"asc5"}},
	{`parallel (?:six-three|6-3|6/3|sixth)(?: chords)?|fauxbourdon`, []string{"parallel-63"}},
	{`7-6(?: suspension)?(?: chain| sequence)?|chain of 7-6(?: suspensions)?`, []string{"desc2-76"}},
	{`prinner`, []string{"prinner", "modulating-prinner"}}, {`romanesca`, []string{"romanesca"}}, {`meyer`, []string{"meyer"}}, {`do-re-mi`, []string{"do-re-mi"}},
	{`fonte`, []string{"fonte"}}, {`monte`, []string{"monte"}}, {`chromatic lament(?: bass)?`, []string{"lament-chrom"}}, {`lament(?: bass)?`, []string{"lament"}},
}

func sequencePattern() string {
	var s []string
	for _, n := range sequenceNames {
		s = append(s, n.words)
	}
	return strings.Join(s, "|")
}

// textureForms are about hands, voices against each other, sequences, rhythm, and chords over chords.
func textureForms() []Form {
	return []Form{
		{
			ID:       "hands apart",
			Example:  "bar 2: hands are a step apart",
			Wordings: []string{"the hands are an octave apart", "the hands lie a tenth apart", "both hands are a whole tone apart", "the hands move in octaves", "the right hand doubles the left hand in octaves"},
			Asserts:  "from the highest note of the left hand to the lowest of the right, upwards, is that interval by letters (a quality narrows it), whenever both hands sound; arguable where it is so by sound only, at most moments but not at all, where the hands cross, or where it is so between the lowest notes of both hands, or the highest",
			patterns: pats(`(?:ART |both |two )?hands (?:are|lie|stand|play|stay|sit|move) (?:only |just )?(?:ART )?(?P<size>`+reSize+`) apart(?: throughout)?`, `(?:ART )?hands (?:are|play|move) in (?P<size>(?:parallel )?octaves)`, `there is ART (?P<size>`+reSize+`) between ART hands`, `doubles (?:ART )?(?:left|right) hand (?:in|at) (?P<size>octaves|the octave)`),
			parse: func(m match, a *args) *stmtError {
				if s := m.get("size"); strings.HasSuffix(s, "octaves") || s == "the octave" {
					a.number, a.text, a.word = 8, "octave", "doubled"
					return nil
				}
				return m.size("size", a)
			},
			check: (*Checker).handsApart,
		},
		{
			ID:       "interval",
			Example:  "bar 3 beat 1: Bb and E form a tritone",
			Wordings: []string{"E to G# is a major third", "left hand is a perfect fifth", "C4 and E5 make a tenth", "is an augmented fourth", "D and Ab are a tritone apart", "contains a tritone", "tritone between B and F"},
			Asserts:  "the two notes sound in the place and are that far apart, octaves taken off unless the claim names them (a tritone is an augmented fourth or a diminished fifth); without notes: the place has two notes, or the same two in octaves; \"contains\": any two notes that sound together; arguable where it is so by sound only, or upside down",
			patterns: pats(`(?:ART )?NOTE (?:and|to|–|-) (?:ART )?NOTE2 (?:form|make|are|is|stand) (?:only )?ART (?P<size>`+reSize+`|tritone)(?: apart)?`,
				`(?:(?:contains|has|holds|there is|is) )?ART (?P<size>(?:(?:minor|major|perfect|augmented|diminished) (?:second|third|fourth|fifth|sixth|seventh|octave|ninth|tenth))|tritone) between ART NOTE and ART NOTE2`,
				`(?:contains|has|holds|includes) ART (?P<within>(?:(?:minor|major|perfect|augmented|diminished) (?:second|third|fourth|fifth|sixth|seventh))|tritone)`, `is ART (?P<size>(?:minor|major|perfect|augmented|diminished) (?:second|third|fourth|fifth|sixth|octave|ninth|tenth)|tritone|octave)(?: interval)?`),
			parse: func(m match, a *args) *stmtError {
				if m.group["note"] != "" {
					if e := m.notes("note", a); e != nil {
						return e
					}
					var e *stmtError
					if a.to, e = m.note("note2"); e != nil {
						return e
					}
				}
				size := "size"
				if m.group["within"] != "" {
					size, a.word = "within", "within"
				}
				if m.get(size) == "tritone" {
					a.text = "tritone"
					return nil
				}
				return m.size(size, a)
			},
			check: (*Checker).intervalThere,
		},
		{
			ID:       "outer in",
			Example:  "bars 5-8: outer voices move in parallel tenths",
			Wordings: []string{"melody and bass move in tenths", "bass and top line go in parallel sixths", "the outer voices are in octaves"},
			Asserts:  "whenever both the lowest and the highest note are struck the interval between them, octaves taken off, has that number; arguable with one exception in six",
			patterns: pats(`ART (?:melody|tune|top line|soprano|bass|outer voices|outer lines|outer parts)(?: and ART (?:bass|melody|tune|top line|soprano))? (?:move|go|run|are|proceed|walk)s? in (?:parallel )?(?P<kind>thirds|tenths|sixths|fifths|octaves|fourths)`),
			parse: func(m match, a *args) *stmtError {
				a.word = m.get("kind")
				a.number = slices.Index(intervalNumbers, strings.TrimSuffix(a.word, "s"))
				return nil
			},
			check: (*Checker).outerIn,
		},
		{
			ID:       "parallels",
			Example:  "bars 1-2: contains parallel fifths",
			Wordings: []string{"has parallel octaves", "there are parallel fifths", "parallel fifths between melody and bass", "consecutive fifths"},
			Asserts:  "two voices move in the same direction from one perfect fifth (octave) to another, both struck anew; arguable where it is between inner voices only and the claim names none, or where doubling in octaves runs through the whole place",
			patterns: pats(`(?:(?:contains|has|makes|moves in|there are) )?(?:some )?(?:parallel|consecutive) (?:perfect )?(?P<kind>fifths|octaves)(?P<outer> between ART (?:melody|outer voices|top line|bass|soprano)(?: and ART (?:bass|melody|top line|soprano))?)?`),
			parse: func(m match, a *args) *stmtError {
				a.word, a.number = m.get("kind"), map[string]int{"fifths": 5, "octaves": 8}[m.get("kind")]
				a.strict = m.get("outer") != ""
				return nil
			},
			check: (*Checker).parallels,
		},
		{
			ID:      "sequence",
			Example: "bars 5-8: is a descending fifths sequence",
			Wordings: []string{"is a sequence", "is a sequence falling by step", "is a sequence rising in thirds", "is a Monte", "has a lament bass", "is a chain of dominant sevenths", "is a Romanesca",
				"is a Pachelbel sequence", "contains a sequence"},
			Asserts: "a model and at least one copy of it, all notes of the bass and the top line (or of the line named) moved by the same interval, in steps of the scale or exactly; or the roots, basses or outer voices of the pattern of that name from the first chord to the last; arguable where it is only part of the place, or breaks at one note",
			patterns: pats(`(?:(?:is|has|contains|makes|forms|uses|there is|moves by|moves in) )?(?:ART )?(?P<name>`+sequencePattern()+`)`,
				`(?:(?:is|has|contains|makes|forms|there is) )?(?:ART )?(?:(?P<dir>falling|descending|rising|ascending) )?sequence(?:(?:,? (?:that )?(?P<dir2>falling|falls|descending|descends|rising|rises|ascending|ascends|up|down|moving up|moving down))?(?:,? (?:by|in|a|an) (?:ART )?(?P<size>`+reSize+`)s?)?)?`),
			parse: func(m match, a *args) *stmtError {
				if name := m.get("name"); name != "" {
					for _, n := range sequenceNames {
						if a.text == "" && regexp.MustCompile(`(?i)^(?:`+n.words+`)$`).MatchString(name) {
							a.words, a.text = n.ids, name
						}
					}
					return nil
				}
				d := m.get("dir") + m.get("dir2")
				switch {
				case strings.Contains(d, "fall"), strings.Contains(d, "descend"), strings.Contains(d, "down"):
					a.dir = -1
				case d != "":
					a.dir = 1
				}
				if m.get("size") != "" {
					return m.size("size", a)
				}
				return nil
			},
			check: (*Checker).sequence,
		},
		{
			ID:       "syncopated",
			Example:  "bars 1-2, top line: is syncopated",
			Wordings: []string{"syncopation", "has syncopations", "contains syncopation", "the rhythm is syncopated", "has a syncopation"},
			Asserts:  "a note is struck on a weaker place of the bar and sounds on over a stronger one (Longuet-Higgins and Lee 1984): in at least half of the bars; arguable where there is one, but in fewer bars, or only a tied or long note over the bar line that no other hand marks",
			patterns: pats(`(?:(?:(?:has|contains|uses|there is|there are) )?(?:ART )?(?:syncopations?|syncopated (?:rhythms?|notes?)))`, `(?:ART )?(?:rhythm )?(?:is|are|moves) syncopated`),
			parse:    func(m match, a *args) *stmtError { return nil },
			check:    (*Checker).syncopated,
		},
		{
			ID:       "heard over",
			Example:  "bar 3 beat 1: is heard as E major over A",
			Wordings: []string{"is G major over a C major triad", "is an F# minor triad over D", "sounds as Bm over E", "is heard as C# minor over a bass A"},
			Asserts:  "the lowest note is the one named and all notes above it are the chord named and nothing else; over a chord: the lower notes are that chord, the upper ones the other, parted by height or by hands; arguable where the chord above lacks its third or fifth, or where the lower note belongs to the chord above as well (then it is an inversion)",
			patterns: pats(`(?:is|are)(?: to be)? (?P<heard>heard|read|understood|felt|taken) as (?P<label>.+?) over (?:ART )?(?:bass(?: note)?,? )?(?P<low>.+?)(?: in ART bass)?`, `(?:is|sounds(?: as| like)?) (?P<label>.+?) over (?:ART )?(?:bass(?: note)? )?(?P<low>.+?)(?: in ART bass)?`),
			parse: func(m match, a *args) *stmtError {
				up, err := chord.ParseLabel(m.group["label"])
				if err != nil {
					e := m.fail("label", "%q is no chord; want, for instance, \"E major\"", m.group["label"])
					e.soft = true
					return e
				}
				a.symbols = []chord.Symbol{up}
				if n, err := parseNote(m.group["low"]); err == nil {
					if m.get("heard") == "" && slices.Contains(up.Spell(), n.class) {
						return &stmtError{soft: true, weak: true} // an inversion
					}
					a.notes = []noteRef{n}
					return nil
				}
				low, err := chord.ParseLabel(m.group["low"])
				if err != nil {
					e := m.fail("low", "%q is neither a note nor a chord; want, for instance, A or \"A major\"", m.group["low"])
					e.soft = true
					return e
				}
				a.symbols = append(a.symbols, low)
				return nil
			},
			check: (*Checker).heardOver,
		},
		{
			ID:       "added",
			Example:  "bar 3 beat 1: has an added sixth",
			Wordings: []string{"has an added F#", "with added ninth", "contains an added fourth", "F# is an added note", "has an added second D", "has an added sixth F#"},
			Asserts:  "the note sounds and is no member of the triad or seventh chord that is the first reading; arguable where it moves on by step to a member within the place (then it is a non-chord tone), where only the second reading has it so, or by sound only",
			patterns: pats(`(?:(?:has|contains|is|with|there is) )?(?:ART )?(?:chord )?(?:with )?(?:ART )?added (?P<part>second|ninth|fourth|eleventh|sixth|thirteenth|seventh)(?:,? NOTE)?`, `(?:(?:has|contains|with|there is) )?(?:ART )?added(?: (?:note|tone))? NOTE`,
				`(?:ART )?NOTE is ART added (?:note|tone|(?P<part>second|ninth|fourth|eleventh|sixth|thirteenth))`),
			parse: func(m match, a *args) *stmtError {
				a.word = m.get("part")
				if m.group["note"] == "" {
					return nil
				}
				return m.notes("note", a)
			},
			check: (*Checker).added,
		},
	}
}

// handsApart checks "hands are a step apart".
func (k *Checker) handsApart(r score.Region, a args) (Result, error) {
	r.Layer = score.Whole
	type gap struct {
		at        score.Time
		low, high score.Note
		i         pitch.Interval
	}
	var gaps, lows, highs []gap
	all := score.Slices(k.sounding, r.From, r.To)
	if r.Moment && len(all) > 0 {
		for i := range all {
			if len(pick(all[i].Notes, score.LeftHand)) > 0 && len(pick(all[i].Notes, score.RightHand)) > 0 {
				all = all[i : i+1]
				break
			}
		}
	}
	for _, s := range all {
		l, h := pick(s.Notes, score.LeftHand), pick(s.Notes, score.RightHand)
		if len(l) == 0 || len(h) == 0 {
			continue
		}
		add := func(to *[]gap, x, y score.Note) { *to = append(*to, gap{s.At, x, y, y.Pitch.Sub(x.Pitch)}) }
		add(&gaps, l[len(l)-1], h[0])
		add(&lows, l[0], h[0])
		add(&highs, l[len(l)-1], h[len(h)-1])
	}
	if len(gaps) == 0 {
		res := nothing(k, r)
		res.Because = "the hands don't sound together there"
		if notes := r.Select(k.sounding); len(notes) > 0 {
			res.Evidence = notes[:min(12, len(notes))]
		}
		return res, nil
	}
	fits := func(i pitch.Interval) (exact, sound bool) {
		if i.Semitones < 0 || i.Descends() {
			return false, false
		}
		if a.strict {
			return i == a.list[0], i.Semitones == a.list[0].Semitones
		}
		size := [...][2]int{{0, 0}, {0, 0}, {1, 2}, {3, 4}, {5, 6}, {6, 7}, {8, 9}, {10, 11}, {12, 12}, {13, 14}, {15, 16}, {17, 18}, {18, 19}}[a.number]
		return i.Number() == a.number, i.Semitones >= size[0] && i.Semitones <= size[1]
	}
	count := func(gs []gap) (exact, sound int) {
		for _, g := range gs {
			e, s := fits(g.i)
			if e {
				exact++
			}
			if e || s {
				sound++
			}
		}
		return
	}
	exact, sound := count(gaps)
	g := gaps[0]
	res := Result{Evidence: []score.Note{g.low, g.high}, Verdict: Fails}
	say := func(g gap) string {
		if g.high.Pitch.Compare(g.low.Pitch) < 0 {
			return fmt.Sprintf("left hand %s above right hand %s at %s: the hands cross", g.low.Pitch, g.high.Pitch, k.passage.Where(g.at))
		}
		return fmt.Sprintf("left hand up to %s, right hand from %s: a %s", g.low.Pitch, g.high.Pitch, g.i.Words())
	}
	res.Because = strings.Replace(say(g), ": a a", ": an a", 1)
	if len(gaps) > 1 {
		res.Because += fmt.Sprintf("; so at %s of %s", counted(exact), plural(len(gaps), "moment"))
	}
	lo, _ := count(lows)
	hi, _ := count(highs)
	is := "the hands are " + strings.Replace("a "+g.i.Words()+" apart", "a a", "an a", 1)
	if g.high.Pitch.Compare(g.low.Pitch) < 0 {
		is = "the hands cross"
	}
	switch {
	case a.word == "doubled" && lo == len(gaps) && hi == len(gaps), a.word != "doubled" && exact == len(gaps):
		res.Verdict = Holds
	case sound == len(gaps):
		res.Verdict, res.Instead = Arguable, is+" by spelling"
	case lo == len(gaps) || hi == len(gaps):
		which := "lowest"
		if lo < len(gaps) {
			which = "highest"
		}
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("the %s notes of both hands are so; between the hands lies a %s", which, g.i.Words())
	case 4*exact >= 3*len(gaps):
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("so at %d of %s", exact, plural(len(gaps), "moment"))
	default:
		res.Instead = is
		for _, x := range gaps {
			if e, _ := fits(x.i); !e {
				if x.at != g.at {
					res.Instead = fmt.Sprintf("at %s a %s apart (%s–%s)", k.passage.Where(x.at), x.i.Words(), x.low.Pitch, x.high.Pitch)
				}
				break
			}
		}
	}
	return res, nil
}

// interval checks "Bb and E form a tritone", "is a perfect fifth".
func (k *Checker) interval(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails, Instead: bestReading(son.notes)}
	var low, high score.Note
	bySound := false
	if len(a.notes) > 0 {
		find := func(w noteRef) (score.Note, bool) {
			for _, n := range son.notes {
				if w.is(n.Pitch) {
					return n, true
				}
			}
			for _, n := range son.notes {
				if w.sounds(n.Pitch) {
					bySound = true
					return n, true
				}
			}
			return score.Note{}, false
		}
		var ok1, ok2 bool
		low, ok1 = find(a.notes[0])
		high, ok2 = find(a.to)
		if !ok1 || !ok2 {
			missing := a.to
			if !ok1 {
				missing = a.notes[0]
			}
			res.Because += fmt.Sprintf("; %s does not sound", missing)
			return res, nil
		}
	} else {
		var classes []pitch.Class
		for _, n := range son.notes {
			if !slices.Contains(classes, n.Pitch.Class()) {
				classes = append(classes, n.Pitch.Class())
			}
		}
		if len(classes) != 2 {
			res.Because += fmt.Sprintf("; %s, so more or less than one interval", plural(len(classes), "note name"))
			return res, nil
		}
		low, high = son.notes[0], son.notes[len(son.notes)-1]
		for _, n := range son.notes[1:] {
			if n.Pitch.Class() != low.Pitch.Class() {
				high = n
				break
			}
		}
	}
	if high.Pitch.Compare(low.Pitch) < 0 {
		low, high = high, low
	}
	i := high.Pitch.Sub(low.Pitch)
	res.Evidence = []score.Note{low, high}
	res.Because = fmt.Sprintf("%s–%s: %s", low.Pitch, high.Pitch, i.Words())
	res.Instead = fmt.Sprintf("%s and %s form a %s", low.Pitch.Class(), high.Pitch.Class(), i.Simple().Words())
	s := i.Simple()
	switch {
	case a.text == "tritone":
		if s.Semitones == 6 {
			res.Verdict = Holds
			if n := s.Number(); n != 4 && n != 5 {
				res.Verdict = Arguable
			}
		}
	case a.strict && (s == a.list[0].Simple() || i == a.list[0]), !a.strict && (i.Number() == a.number || s.Number() == a.number || a.number == 8 && s == pitch.Unison):
		res.Verdict = Holds
		if a.number > 8 && i.Number() != a.number {
			res.Verdict = Arguable
		}
	case a.strict && mod12(s.Semitones) == mod12(a.list[0].Semitones):
		res.Verdict = Arguable
		res.Because += "; by sound only"
	case a.strict && mod12(-s.Semitones) == mod12(a.list[0].Semitones) && (s.Number()+a.list[0].Simple().Number()) == 9:
		res.Verdict = Arguable
		res.Because += "; upside down"
	}
	if res.Verdict == Holds && bySound {
		res.Verdict = Arguable
	}
	if res.Verdict == Holds {
		res.Instead = ""
	}
	return res, nil
}

// outerIn checks "outer voices move in parallel tenths".
func (k *Checker) outerIn(r score.Region, a args) (Result, error) {
	outers := line.Outers(k.sounding, score.Region{From: r.From, To: r.To})
	if len(outers) == 0 {
		return nothing(k, score.Region{From: r.From, To: r.To}), nil
	}
	var res Result
	var off []string
	n := 0
	var words []string
	for i, o := range outers {
		res.Evidence = append(res.Evidence, o.Low, o.High)
		if o.Low.Onset != o.At || o.High.Onset != o.At { // one of them waits
			if i > 0 {
				continue
			}
		}
		n++
		words = append(words, simpleName(o.Interval))
		num := (o.Interval.Simple().Number()-1)%7 + 1
		if num != (a.number-1)%7+1 {
			off = append(off, fmt.Sprintf("%s at %s", simpleName(o.Interval), k.passage.Where(o.At)))
		}
	}
	res.Evidence = res.Evidence[:min(24, len(res.Evidence))]
	res.Because = fmt.Sprintf("bass %s, top %s: %s", outerNames(outers, false), outerNames(outers, true), first(words, 16))
	switch {
	case n < 2:
		res.Verdict, res.Instead = Fails, "they hardly move together"
	case len(off) == 0:
		res.Verdict = Holds
	case 6*len(off) <= n:
		res.Verdict, res.Instead = Arguable, "in "+a.word+" but for "+listed(off)
	default:
		res.Verdict, res.Instead = Fails, "outer intervals "+first(words, 12)
	}
	return res, nil
}

// parallels checks "contains parallel fifths".
func (k *Checker) parallels(r score.Region, a args) (Result, error) {
	region := score.Region{From: r.From, To: r.To}
	outers := line.Outers(k.sounding, region)
	notes := region.Select(k.sounding)
	if len(notes) == 0 {
		return nothing(k, region), nil
	}
	pickKind := func(cs []line.Consecutive) []line.Consecutive {
		return slices.DeleteFunc(slices.Clone(cs), func(c line.Consecutive) bool { return c.Number != a.number })
	}
	outer, all := pickKind(line.ParallelPerfects(outers)), pickKind(append(line.AllParallelPerfects(k.sounding, region), k.inChords(region)...))
	say := func(c line.Consecutive) string {
		return fmt.Sprintf("%s–%s to %s–%s at %s", c.From[0].Pitch, c.From[1].Pitch, c.To[0].Pitch, c.To[1].Pitch, k.where(c.To[0]))
	}
	res := Result{Verdict: Fails, Evidence: notes[:min(24, len(notes))]}
	switch {
	case len(outer) > 0:
		c := outer[0]
		res.Evidence = []score.Note{c.From[0], c.From[1], c.To[0], c.To[1]}
		res.Because = fmt.Sprintf("between bass and top line %s", say(c))
		res.Verdict = Holds
		moves := 0
		for i := 1; i < len(outers); i++ {
			if line.PairOf(outers[i-1], outers[i]) != line.Still {
				moves++
			}
		}
		bare := true
		for _, s := range score.Slices(k.sounding, r.From, r.To) {
			bare = bare && pcCount(s.Notes) <= 1
		}
		if a.number == 8 && len(outer) >= 3 && len(outer) == moves && bare {
			res.Verdict, res.Instead = Arguable, "doubled in octaves throughout, which is a colour and not a fault of voice leading"
		}
	case len(all) > 0 && !a.strict:
		c := all[0]
		res.Evidence = []score.Note{c.From[0], c.From[1], c.To[0], c.To[1]}
		res.Because = "not between bass and top line, but " + say(c)
		res.Verdict = Holds
	case len(all) > 0:
		c := all[0]
		res.Because = fmt.Sprintf("bass %s, top %s: none between them", outerNames(outers, false), outerNames(outers, true))
		res.Instead = "parallel " + a.word + " between other voices: " + say(c)
	default:
		var words []string
		for _, o := range outers {
			words = append(words, simpleName(o.Interval))
		}
		res.Because = "outer intervals " + first(words, 16) + "; no two voices move so"
		res.Instead = "no parallel " + a.word
		if other := append(line.ParallelPerfects(outers), line.AllParallelPerfects(k.sounding, region)...); len(other) > 0 {
			res.Instead = fmt.Sprintf("parallel %s: %s", map[int]string{5: "fifths", 8: "octaves"}[other[0].Number], say(other[0]))
		}
	}
	return res, nil
}

// inChords returns the parallel fifths and octaves between any two notes of chords that have as many notes and are struck whole,
// one after the other: their notes, from low to high, are taken for voices.
func (k *Checker) inChords(r score.Region) []line.Consecutive {
	var out []line.Consecutive
	var before []score.Note
	for _, s := range score.Slices(k.sounding, r.From, r.To) {
		if len(s.Notes) == 0 || slices.Contains(s.Struck, false) {
			before = nil
			continue
		}
		here := distinct(s.Notes)
		if len(here) == len(before) {
			for i := range here {
				for j := i + 1; j < len(here); j++ {
					was, is := before[j].Pitch.Sub(before[i].Pitch), here[j].Pitch.Sub(here[i].Pitch)
					low, high := here[i].Pitch.MIDI()-before[i].Pitch.MIDI(), here[j].Pitch.MIDI()-before[j].Pitch.MIDI()
					n := 0
					switch {
					case was.Simple() == pitch.PerfectFifth && is.Simple() == pitch.PerfectFifth:
						n = 5
					case was.Semitones%12 == 0 && is.Semitones%12 == 0 && was.Steps%7 == 0 && is.Steps%7 == 0:
						n = 8
					}
					if n > 0 && low*high > 0 {
						out = append(out, line.Consecutive{From: [2]score.Note{before[i], before[j]}, To: [2]score.Note{here[i], here[j]}, Number: n})
					}
				}
			}
		}
		before = here
	}
	return out
}

// sequence checks "is a descending fifths sequence", "is a sequence falling by step".
func (k *Checker) sequence(r score.Region, a args) (Result, error) {
	notes := r.Select(k.sounding)
	if len(notes) == 0 {
		return nothing(k, r), nil
	}
	res := Result{Verdict: Fails, Evidence: notes[:min(24, len(notes))]}
	if len(a.words) > 0 {
		return k.namedSequence(r, a, res), nil
	}
	found := line.FindSequences(k.sounding, r, k.passage)
	whole := r.To.Sub(r.From).Float()
	fits := func(s line.Sequence) bool {
		i := s.Interval
		up := 1
		if i.Descends() || i.Semitones < 0 {
			up = -1
		}
		if a.dir != 0 && up != a.dir {
			return false
		}
		return a.number == 0 || i.Number() == a.number && (!a.strict || max(i.Semitones, -i.Semitones) == a.list[0].Semitones)
	}
	var best *line.Sequence
	for i := range found {
		s := &found[i]
		if r.Layer == score.Bass && s.Layer == score.TopLine || r.Layer == score.TopLine && s.Layer == score.Bass {
			continue
		}
		if best == nil || fits(*s) && !fits(*best) || fits(*s) == fits(*best) && best.To.Sub(best.From).Less(s.To.Sub(s.From)) {
			best = s
		}
	}
	if best == nil {
		res.Because = "no model with its copies is found"
		var l line.Line
		if r.Layer == score.TopLine || r.Layer == score.RightHand {
			l = line.Top(k.sounding, r)
		} else {
			l = line.Bass(k.sounding, r)
		}
		res.Because = short(l) + ": " + res.Because
		res.Instead = "no sequence"
		return res, nil
	}
	what := fmt.Sprintf("%s, from %s to %s", best.String(), k.passage.Where(best.From), k.passage.Where(best.To))
	res.Because = what
	res.Evidence = []score.Note(best.Notes[:min(24, len(best.Notes))])
	share := best.To.Min(r.To).Sub(best.From.Max(r.From)).Float() / whole
	switch {
	case !fits(*best):
		res.Instead = best.String()
	case share >= .6:
		res.Verdict = Holds
	default:
		res.Verdict, res.Instead = Arguable, "only a part of the place is: from "+k.passage.Where(best.From)+" to "+k.passage.Where(best.To)
	}
	return res, nil
}

func (k *Checker) namedSequence(r score.Region, a args, res Result) Result {
	if r.Layer == score.Bass && slices.Contains(a.words, "desc5-triads") { // said of the bass: its line, whatever stands over it
		if bass, err := k.moves(r, args{steps: true, motion: line.CircleOfFifths}); err == nil {
			if up, err := k.moves(r, args{steps: true, motion: line.InFifths, dir: 1}); err == nil && up.Verdict == Holds {
				bass.Verdict = Fails
			}
			return bass
		}
	}
	region := score.Region{From: r.From, To: r.To}
	var roots, labels []string
	for _, t := range k.turns(region) {
		labels = append(labels, t.cand.label)
		roots = append(roots, t.cand.root.String())
	}
	res.Because = "chords " + first(labels, 12)
	for _, id := range a.words {
		for _, layer := range []score.Layer{score.Whole, score.Bass} {
			if layer == score.Bass && r.Layer != score.Bass {
				continue
			}
			if s, ok := line.CheckSequence(k.sounding, region, k.passage, line.Pattern{Layer: layer, Name: id}); ok {
				res.Verdict = Holds
				name := a.text
				for _, n := range s.Names {
					if n.ID == id {
						name = n.Name
					}
				}
				res.Because += "; " + name
				return res
			}
		}
	}
	// In the roots that are read, or over a part of the place.
	var cs []pitch.Class
	ts := k.turns(region)
	for _, t := range ts {
		if n := len(cs); n == 0 || cs[n-1] != t.cand.root {
			cs = append(cs, t.cand.root)
		}
	}
	lists := [][]line.Schema{line.Schemata(line.Chords(k.sounding, region, nil)), line.Schemata(line.RootChords(cs))}
	chords := line.Chords(k.sounding, region, nil)
	for n, list := range lists {
		for _, s := range list {
			if !slices.Contains(a.words, s.ID) {
				continue
			}
			size := len(chords)
			if n == 1 {
				size = len(cs)
			}
			res.Because += "; " + s.Name
			if s.To-s.From >= size-1 && size >= 3 {
				res.Verdict = Holds
				return res
			}
			res.Verdict = Arguable
			at, to := "", ""
			if n == 0 {
				at, to = k.passage.Where(chords[s.From].At), k.passage.Where(chords[s.To-1].At)
			} else if s.To-1 < len(ts) {
				at, to = k.passage.Where(ts[s.From].at), k.passage.Where(ts[s.To-1].at)
			}
			res.Instead = fmt.Sprintf("only a part of the place is: from %s to %s", at, to)
			return res
		}
	}
	res.Instead = "roots " + first(roots, 12)
	for _, list := range lists {
		if len(list) > 0 {
			res.Instead = "it shows: " + list[0].Name
			break
		}
	}
	return res
}

// syncopated checks "is syncopated".
func (k *Checker) syncopated(r score.Region, a args) (Result, error) {
	layers := []score.Layer{r.Layer}
	if r.Layer == score.Whole {
		layers = []score.Layer{score.RightHand, score.LeftHand}
	}
	var best Result
	for n, layer := range layers {
		res := k.syncopatedIn(score.Region{From: r.From, To: r.To, Layer: layer})
		if n == 0 || worse(best.Verdict, res.Verdict) {
			best = res
		}
	}
	return best, nil
}

func (k *Checker) syncopatedIn(r score.Region) Result {
	notes := line.PlaceNotes(k.sounding, r)
	if len(notes) == 0 {
		return nothing(k, r)
	}
	res := Result{Verdict: Fails, Evidence: notes[:min(24, len(notes))]}
	bars, with := 0, 0
	var where []string
	var evidence []score.Note
	for _, b := range k.passage.Bars {
		if !b.Start.Less(r.To) || !r.From.Less(b.End()) {
			continue
		}
		bars++
		u := score.Region{From: b.Start.Max(r.From), To: b.End().Min(r.To), Layer: r.Layer}
		in := line.PlaceNotes(k.sounding, u)
		rh := line.RhythmOf(in, u.From, u.To, k.passage)
		next := slices.ContainsFunc(notes, func(n score.Note) bool { return n.Onset == u.To }) || !slices.ContainsFunc(in, func(n score.Note) bool { return u.To.Less(n.End()) })
		here := 0
		for _, s := range rh.Syncopations(next) {
			at := u.From.Add(s.At)
			for _, n := range in {
				if n.Onset == at && u.From.Add(s.Over).Less(n.End()) { // it sounds on, not just silence
					here++
					if here == 1 {
						where = append(where, fmt.Sprintf("%s struck at %s sounds on over %s", n.Pitch, k.where(n), k.passage.Where(u.From.Add(s.Over))))
						evidence = append(evidence, n)
					}
					break
				}
			}
		}
		if here > 0 {
			with++
		}
	}
	who := r.Layer.String()
	if who != "" {
		who += ": "
	}
	switch {
	case with == 0:
		res.Because = who + "no note is struck on a weak place and held over a stronger one"
		res.Instead = "on the beat throughout"
	case 2*with >= bars:
		res.Verdict, res.Evidence = Holds, evidence
		res.Because = who + listed(where[:min(3, len(where))])
	default:
		res.Verdict, res.Evidence = Arguable, evidence
		res.Because = who + listed(where[:min(3, len(where))])
		res.Instead = fmt.Sprintf("syncopated in %d of %s", with, plural(bars, "bar"))
	}
	return res
}

// heardOver checks "is heard as E major over A".
func (k *Checker) heardOver(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	up := a.symbols[0]
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails, Instead: bestReading(son.notes)}
	if len(a.notes) > 0 {
		want := a.notes[0]
		low := son.notes[0]
		above := slices.DeleteFunc(slices.Clone(son.notes), func(n score.Note) bool { return n.Pitch.Class() == low.Pitch.Class() })
		if !want.is(low.Pitch) && !want.sounds(low.Pitch) {
			res.Because += fmt.Sprintf("; the bass is %s, not %s", low.Pitch, want)
			return res, nil
		}
		inChord := slices.Contains(up.Spell(), low.Pitch.Class())
		if inChord {
			above = son.notes
		}
		if len(above) == 0 {
			res.Because += "; nothing sounds over it"
			return res, nil
		}
		m := chord.Agrees(up, pitches(above))
		switch {
		case len(m.Foreign) > 0:
			var f []string
			for _, p := range m.Foreign {
				f = append(f, p.Class().String())
			}
			slices.Sort(f)
			res.Because += fmt.Sprintf("; over %s, %s no part of %s", low.Pitch, isAre(slices.Compact(f)), up.House())
		case len(m.Missing) > 0:
			res.Because += fmt.Sprintf("; over %s: %s, without its %s", low.Pitch, up.House(), listed(m.Missing))
			if len(m.Missing) == 1 && len(m.Present)+len(m.Enharmonic) > 1 {
				res.Verdict = Arguable
			}
		case inChord:
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; %s is the %s of %s itself", low.Pitch.Class(), roleIn(up, low.Pitch.Class()), up.House())
			if low.Pitch.Class() == up.Root {
				res.Instead = "is " + up.House() + " in root position"
			} else {
				res.Instead = "is " + up.House() + " in inversion: " + bestReading(son.notes)
			}
		case len(m.Enharmonic) > 0 || !want.is(low.Pitch):
			res.Verdict = Arguable
			res.Because += "; by sound only"
		default:
			res.Verdict, res.Instead = Holds, ""
			res.Because += fmt.Sprintf("; over %s: %s", low.Pitch, memberText(m.Present))
		}
		return res, nil
	}
	// Chord over chord: parted by height or by hands.
	low := a.symbols[1]
	type part struct{ lower, upper []score.Note }
	var parts []part
	if l, h := pick(son.notes, score.LeftHand), pick(son.notes, score.RightHand); len(l) > 0 && len(h) > 0 {
		parts = append(parts, part{l, h})
	}
	for i := 1; i < len(son.notes); i++ {
		parts = append(parts, part{son.notes[:i], son.notes[i:]})
	}
	good := func(s chord.Symbol, notes []score.Note) int {
		m := chord.Agrees(s, pitches(notes))
		switch {
		case len(m.Foreign) > 0 || len(m.Present)+len(m.Enharmonic) < 2:
			return 0
		case len(m.Missing) > 0 && !m.Usual || len(m.Enharmonic) > 0:
			return 1
		}
		return 2
	}
	best := 0
	for _, p := range parts {
		x, y := good(low, p.lower), good(up, p.upper)
		if v := min(x, y); v > best {
			best = v
			res.Because = fmt.Sprintf("%s; below %s, above %s", son.said(), names(pitches(p.lower)), names(pitches(p.upper)))
		}
	}
	switch best {
	case 2:
		res.Verdict, res.Instead = Holds, ""
	case 1:
		res.Verdict = Arguable
		res.Because += "; one of the two is incomplete, or written otherwise"
	default:
		res.Because += fmt.Sprintf("; no part below is %s with %s above it", low.House(), up.House())
	}
	return res, nil
}
