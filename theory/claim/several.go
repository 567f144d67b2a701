package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

const reKinds = `(?:is|are) `

// severalForms are about several chords, bars or places at once, and statements made of statements.
func severalForms() []Form {
	quantity := func(m match, a *args) {
		q := m.get("q")
		a.number, a.of = numberWord(m.get("n")), numberWord(m.get("m"))
		switch {
		case q == "every" || q == "each" || q == "all" || q == "all of":
			a.word = "every"
		case q == "some" || q == "at least one" || q == "one or more":
			a.word = "some"
		case q == "no" || q == "none of" || q == "not one":
			a.word = "no"
		case q == "first" || q == "last":
			a.word = q
			if a.number == 0 {
				a.number = 1
			}
		case q == "most" || q == "most of":
			a.word = "most"
		case q == "at least" || q == "at most":
			a.word = q
		default:
			a.word = "count"
		}
	}
	// Named groups may stand once in a pattern, so the two halves of the quantifier make two patterns.
	halves := func(rest string) []string {
		return []string{`ART (?P<q>every|each|all of|all|none of|no|not one|at least one|one or more|some|most of|most|first|last)(?: of)? ART (?:(?P<n>NUMBER) )?` + rest,
			`(?:exactly |only |just )?(?:(?P<q>at least|at most) )?(?P<n>NUMBER)(?: (?:out )?of ART (?:(?P<m>NUMBER) )?)? ?` + rest}
	}
	return []Form{
		{
			ID:      "several chords",
			Example: "bars 5-8: every chord is a seventh chord",
			Wordings: []string{"three of the four chords are minor sevenths", "all chords are triads", "no chord is a triad", "the first chord is a dominant seventh",
				"at least two chords are major triads", "most chords are seventh chords", "the last two chords are triads"},
			Asserts:  "the chords of the place (struck together: sonorities of three pitch classes or more, one that only revoices the one before counted with it; in broken textures the chords that are read) are, by their first readings, of that family or quality: every, no, some, most, the first, the last, or so many of them; arguable where a lower reading decides",
			patterns: pats(halves(`chords? (?:is|are) (?P<sort>.+)`)...),
			parse: func(m match, a *args) *stmtError {
				quantity(m, a)
				s, ok := parseSort(m.group["sort"])
				if !ok {
					e := m.fail("sort", "%q is no kind of chord; want, for instance, \"seventh chord\", \"triad\" or \"minor seventh\"", m.group["sort"])
					e.soft = true
					return e
				}
				a.sort = s
				return nil
			},
			check: (*Checker).quantified,
		},
		{
			ID:      "several places",
			Example: "bars 1-4: every bar is in A major",
			Wordings: []string{"every chord has no fifth", "no bar mixes A major and A minor", "the first chord is F#m7", "the last bar is tonic in A major", "two of the four bars contain a suspension",
				"some chord is in first inversion", "each beat is stacked in fourths", "at least three chords are stacked in thirds", "the last chord is a dominant in E minor", "ends on the dominant", "begins with an A minor chord"},
			Asserts:  "the statement, any of those listed here, holds of every, no, some, most, the first, the last, or so many of the chords, bars or beats of the place; arguable where those that are arguable would decide",
			patterns: pats(append(halves(`(?P<unit>chords?|sonorit(?:y|ies)|harmon(?:y|ies)|bars?|measures?|beats?) (?P<rest>(?:is|are|has|have|contains?|uses?|mixes|mix|forms?|moves?|rises?|falls?|repeats?|ends?|cadences?|gets?|goes|go|makes?|lacks?|does|do|spells?) .+|rises?|falls?)`), `(?P<edge>begins|starts|opens|ends|closes|stops|finishes) (?:on|with|in) (?P<rest>.+)`)...),
			parse: func(m match, a *args) *stmtError {
				if m.get("edge") != "" {
					a.word, a.number, a.text = "last", 1, "chord"
					if strings.HasPrefix(m.get("edge"), "b") || strings.HasPrefix(m.get("edge"), "st") && m.get("edge") != "stops" || m.get("edge") == "opens" {
						a.word = "first"
					}
					e := m.sub("rest", "is ", a)
					if e != nil {
						e.soft = true
					}
					return e
				}
				quantity(m, a)
				a.text = strings.TrimSuffix(m.get("unit"), "s")
				switch a.text {
				case "sonority", "sonoritie", "harmony", "harmonie":
					a.text = "chord"
				case "measure":
					a.text = "bar"
				}
				e := m.sub("rest", "", a)
				if e != nil {
					// "have", "contain", "are": the statements are written of one thing.
					verb, _, _ := strings.Cut(m.group["rest"], " ")
					if one := singular[strings.ToLower(verb)]; one != "" {
						m2 := m
						at := m.at["rest"] + len(verb)
						m2.at = map[string]int{"rest": min(at, len(m.text))}
						if e2 := m2.sub("rest", one, a); e2 == nil {
							return nil
						}
					}
				}
				return e
			},
			check: (*Checker).severalPlaces,
		},
		{
			ID:       "qualities",
			Example:  "bars 5-8: qualities repeat every 3 chords: dominant seventh, minor seventh, major seventh",
			Wordings: []string{"the chord qualities repeat after two chords", "the qualities repeat every 2 chords: dominant seventh and minor seventh"},
			Asserts:  "the qualities of the chords of the place, by their first readings, come back after that number of chords and no sooner; they may be listed; arguable if they repeat sooner or a lower reading decides",
			patterns: pats(`ART (?:chord )?qualities repeat (?:every|after(?: every)?) (?P<n>\d{1,2}|two|three|four|five|six) chords(?: ?[:,] ?(?P<list>.+))?`),
			parse: func(m match, a *args) *stmtError {
				if a.number = numberWord(m.get("n")); a.number < 1 {
					return m.fail("n", "want a number of chords from 1")
				}
				if m.group["list"] == "" {
					return nil
				}
				at := m.at["list"]
				for _, part := range strings.Split(strings.ReplaceAll(m.group["list"], " and ", ",    "), ",") {
					if strings.TrimSpace(part) != "" {
						s, ok := parseSort(part)
						if !ok {
							return &stmtError{offset: at + len(part) - len(strings.TrimLeft(part, " ")), msg: fmt.Sprintf("%q is no quality of a chord; want, for instance, \"dominant seventh\"", strings.TrimSpace(part))}
						}
						a.sorts = append(a.sorts, s)
					}
					at += len(part) + 1
				}
				if len(a.sorts) != a.number {
					return m.fail("list", "%d qualities are listed for %d chords", len(a.sorts), a.number)
				}
				return nil
			},
			check: (*Checker).qualitiesRepeat,
		},
		{
			ID:      "comparison",
			Example: "bar 2: has the same harmony as bar 1",
			Wordings: []string{"has the same bass as bar 1", "has the same chord as bar 1 beat 3", "is higher than bar 1", "is louder than bar 1", "is lower than bars 1-2", "is fuller than bar 1",
				"has more notes than bar 1", "has the same top line as bar 3", "is the same as bar 1", "differs from bar 1", "bar 1 again", "exactly like bar 1"},
			Asserts: "held against the other place: the same harmony (roots and qualities in order), the same bass or top line (pitch classes in order), higher or lower (both its lowest and its highest note), louder or softer (the marks in force), fuller or thinner (notes struck), the same or different (note for note). Arguable: only the roots, only one of the two outer notes, or all but one note agree",
			patterns: pats(`(?:has|keeps|repeats|uses) (?:ART )?(?:same |identical )(?P<what>harmon(?:y|ies)|chords?|bass(?: line| note)?|top line|melody|top note|roots?)(?: as| like) (?P<place>.+)`,
				`(?:is|lies|sounds) (?P<what>higher|lower|louder|softer|quieter|fuller|denser|thinner) than (?P<place>.+)`, `has (?P<what>more|fewer|less) notes than (?P<place>.+)`,
				`(?:is )?(?:exactly |just )?(?P<what>like) (?P<place>bars? .+)`, `(?:is )?(?P<place>bars? [^ ]+) (?P<what>again)`, `(?:is )?(?:ART )?(?P<what>same|identical|different)(?: (?:as|to|from|with))? (?P<place>bars? .+)`, `(?P<what>differs) from (?P<place>.+)`, `(?P<what>equals) (?P<place>.+)`),
			parse: func(m match, a *args) *stmtError {
				switch w := m.get("what"); {
				case strings.HasPrefix(w, "harmon"), strings.HasPrefix(w, "chord"):
					a.word = "harmony"
				case strings.HasPrefix(w, "root"):
					a.word = "roots"
				case strings.HasPrefix(w, "bass"):
					a.word = "bass"
				case strings.HasPrefix(w, "top"), w == "melody":
					a.word = "top line"
				case w == "quieter":
					a.word = "softer"
				case w == "fuller", w == "denser", w == "more":
					a.word = "more"
				case w == "thinner", w == "fewer", w == "less":
					a.word = "fewer"
				case w == "same", w == "identical", w == "equals", w == "like", w == "again":
					a.word = "same"
				case w == "different", w == "differs":
					a.word = "different"
				default:
					a.word = w
				}
				return m.place(a)
			},
			check: (*Checker).comparison,
		},
		{
			ID:       "not",
			Example:  "bar 2 beat 1: is not a triad",
			Wordings: []string{"isn't in first inversion", "does not contain a chromatic cluster", "no parallel fifths", "has no cluster"},
			Asserts:  "the statement without its \"not\" or \"no\", any of those listed here, fails; arguable where that is arguable",
			patterns: pats(`(?:(?:has|contains|makes|uses|shows) )?no (?P<rest>.+)`),
			parse: func(m match, a *args) *stmtError {
				e := m.sub("rest", "contains ", a)
				if e != nil {
					e.soft, e.weak = true, true
				}
				return e
			},
			check: (*Checker).denied,
		},
		{
			ID:       "either",
			Example:  "bar 2 beat 1: is F#m7 or A6",
			Wordings: []string{"is either Am7 or C6", "key is A minor or C major", "is tonic or dominant in C major", "is V7 in A major or V7/IV in E major"},
			Asserts:  "each of the two (or three) can be said of the notes: one of them holds and the others hold or are arguable; arguable where only one of them can; fails where none can",
			check:    (*Checker).eitherOr,
		},
		{
			ID:       "kind",
			Example:  "bar 2 beat 1: is a seventh chord",
			Wordings: []string{"is a triad", "is a minor triad", "is a dominant seventh", "is a half-diminished seventh chord", "is a major seventh", "dominant seventh in first inversion", "is an augmented sixth chord"},
			Asserts:  "the first reading of the notes is of that family or quality, whatever its root, and in the inversion that is said; arguable where only a lower reading is",
			patterns: pats(reKinds + `(?P<sort>(?:an? |the )?[a-z].*)`),
			parse: func(m match, a *args) *stmtError {
				sort := inversionLast(m.group["sort"])
				if in := inInversion.FindStringSubmatch(sort); in != nil {
					a.word, sort = "inversion", in[1]
					a.number = max(slices.Index([]string{"root", "first", "second", "third", "fourth"}, strings.ToLower(in[2])), 0)
				}
				s, ok := parseSort(sort)
				if !ok || strings.HasPrefix(m.group["sort"], "A ") { // "A minor seventh" is a chord on A
					return &stmtError{soft: true, weak: true}
				}
				a.sort = s
				return nil
			},
			check: (*Checker).kindInInversion,
		},
	}
}

// kindIs checks "is a seventh chord".
func (k *Checker) kindIs(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	s := stop{r.From, son.notes, ""}
	if rs := k.readInContext(r, son); rs != nil {
		s.label = rs[0].Chord.String()
	}
	first, lower, got := a.sort.fits(s)
	res := Result{Evidence: son.notes, Because: fmt.Sprintf("%s: %s", son.said(), got.Label), Verdict: Fails, Instead: "the first reading is " + got.Label}
	if got.Words != "" && got.Words != got.Label {
		res.Instead += " (" + got.Words + ")"
	}
	switch {
	case first:
		res.Verdict, res.Instead = Holds, ""
	case lower:
		res.Verdict = Arguable
		res.Because += "; a " + a.sort.text + " only by a lower reading"
	}
	return res, nil
}

// checkSub checks a statement within a statement.
func (k *Checker) checkSub(r score.Region, s sub) (Result, error) {
	if s.args.layer != score.Whole {
		r.Layer = s.args.layer
	}
	return s.form.check(k, r, s.args)
}

// denied checks "is not a triad".
func (k *Checker) denied(r score.Region, a args) (Result, error) {
	res, err := k.checkSub(r, a.subs[0])
	if err != nil {
		return res, err
	}
	switch res.Verdict {
	case Holds:
		res.Verdict, res.Instead = Fails, a.subs[0].text
	case Fails:
		res.Verdict, res.Instead = Holds, ""
	}
	return res, nil
}

// eitherOr checks "is Am7 or C6".
func (k *Checker) eitherOr(r score.Region, a args) (Result, error) {
	var all []Result
	var can, cannot, because []string
	holds := 0
	for _, s := range a.subs {
		res, err := k.checkSub(r, s)
		if err != nil {
			return res, err
		}
		all = append(all, res)
		why := res.Because
		if notes, rest, ok := strings.Cut(why, "; "); ok && strings.HasPrefix(all[0].Because, notes+"; ") { // told once
			if len(all) == 1 {
				because = append(because, notes)
			}
			why = rest
		}
		because = append(because, fmt.Sprintf("%s: %s, %s", s.text, res.Verdict, why))
		switch res.Verdict {
		case Fails:
			cannot = append(cannot, s.text)
		default:
			can = append(can, s.text)
			if res.Verdict == Holds {
				holds++
			}
		}
	}
	res := Result{Evidence: all[0].Evidence, Because: strings.Join(because, ". ")}
	for _, o := range all[1:] {
		for _, n := range o.Evidence {
			if !slices.Contains(res.Evidence, n) {
				res.Evidence = append(slices.Clone(res.Evidence), n)
			}
		}
	}
	switch {
	case len(cannot) == 0 && holds > 0:
		res.Verdict = Holds
	case len(cannot) == 0:
		res.Verdict, res.Instead = Arguable, "each of them is arguable: "+all[0].Instead
	case len(can) > 0:
		res.Verdict, res.Instead = Arguable, listed(can)+", but not: "+listed(cannot)
	default:
		res.Verdict, res.Instead = Fails, all[0].Instead
	}
	return res, nil
}

// units divides a place into its chords, bars or beats.
func (k *Checker) units(r score.Region, unit string) []score.Region {
	var out []score.Region
	switch unit {
	case "chord":
		block := k.blocks(r) != nil
		stops := k.chords(r)
		for i, s := range stops {
			to := r.To
			if i+1 < len(stops) {
				to = stops[i+1].at
			}
			out = append(out, score.Region{From: s.at, To: to, Layer: r.Layer, Moment: block})
		}
	case "bar":
		for _, b := range k.passage.Bars {
			if b.Start.Less(r.To) && r.From.Less(b.End()) {
				out = append(out, score.Region{From: b.Start.Max(r.From), To: b.End().Min(r.To), Layer: r.Layer})
			}
		}
	case "beat":
		for _, b := range k.passage.Bars {
			for t := b.Start.Sub(b.Offset); t.Less(b.End()) && len(out) < 1000; t = t.Add(b.Meter.Beat()) {
				if !t.Less(r.From) && t.Less(r.To) && !t.Less(b.Start) {
					out = append(out, score.Region{From: t, To: t.Add(b.Meter.Beat()).Min(b.End()), Layer: r.Layer, Moment: true})
				}
			}
		}
	}
	return out
}

// severalPlaces checks "every bar is in A major", "two of the four chords have no fifth".
func (k *Checker) severalPlaces(r score.Region, a args) (Result, error) {
	regions := k.units(r, a.text)
	total := len(regions)
	if total == 0 {
		return nothing(k, r), nil
	}
	word, number := a.word, a.number
	if word == "first" || word == "last" {
		n := min(number, total)
		if word == "first" {
			regions = regions[:n]
		} else {
			regions = regions[total-n:]
		}
	}
	var res Result
	var not, maybe []string
	sure, low := 0, 0
	var firstBecause, firstInstead string
	for _, u := range regions {
		one, err := k.checkSub(u, a.subs[0])
		if err != nil {
			return one, err
		}
		at := k.passage.Where(u.From)
		if a.text == "bar" {
			at, _, _ = strings.Cut(at, " beat")
		}
		switch one.Verdict {
		case Holds:
			sure++
			if word == "some" || word == "no" || len(regions) == 1 {
				firstBecause = one.Because
			}
		case Arguable:
			low++
			maybe = append(maybe, at)
			if firstInstead == "" {
				firstInstead = one.Instead
			}
		default:
			not = append(not, at)
			if word == "every" || word == "first" || word == "last" || firstInstead == "" {
				if firstInstead == "" || len(not) == 1 {
					firstInstead = one.Instead
				}
				if firstBecause == "" {
					firstBecause = one.Because
				}
			}
		}
		res.Evidence = append(res.Evidence, one.Evidence...)
	}
	res.Evidence = res.Evidence[:min(len(res.Evidence), 36)]
	res.Because = fmt.Sprintf("%s of the %s so", counted(sure), plural(len(regions), a.text))
	if len(not) > 0 {
		res.Because += "; not: " + listed(not[:min(4, len(not))])
		if len(not) > 4 {
			res.Because += fmt.Sprintf(" and %d more", len(not)-4)
		}
	}
	if low > 0 {
		res.Because += "; arguable: " + listed(maybe[:min(4, len(maybe))])
	}
	if firstBecause != "" && (len(not) > 0 || len(regions) == 1 || word == "some") {
		res.Because += "; " + firstBecause
	}
	res.Verdict, res.Because = quantify(word, number, a.of, sure, low, len(regions), total, a.text, res.Because)
	if res.Verdict != Holds {
		res.Instead = fmt.Sprintf("%s of the %s so", counted(sure), plural(len(regions), a.text))
		if len(regions) == 1 && firstInstead != "" {
			res.Instead = firstInstead
		} else if firstInstead != "" && len(not) > 0 {
			res.Instead += "; " + not[0] + ": " + firstInstead
		}
	}
	return res, nil
}

func counted(n int) string {
	if n == 0 {
		return "none"
	}
	return fmt.Sprint(n)
}

// quantify decides on a number of cases: sure ones, and low that may count.
func quantify(word string, number, of, sure, low, n, total int, unit, because string) (Verdict, string) {
	most := sure + low
	var holds, fails bool
	switch word {
	case "every", "first", "last":
		holds, fails = sure == n, most < n
		if word == "every" && number > 0 && number != n {
			holds, fails = false, true
			because += fmt.Sprintf("; the place has %s, not %d", plural(n, unit), number)
		}
	case "no":
		holds, fails = most == 0, sure > 0
	case "some":
		holds, fails = sure > 0, most == 0
	case "most":
		holds, fails = 2*sure > n, 2*most <= n
	case "at least":
		holds, fails = sure >= number, most < number
	case "at most":
		holds, fails = most <= number, sure > number
	default:
		holds, fails = sure == number && most == number, number < sure || number > most
		if of > 0 && of != n {
			holds, fails = false, true
			because += fmt.Sprintf("; the place has %s, not %d", plural(n, unit), of)
		}
	}
	if word == "first" || word == "last" {
		if number > total {
			return Fails, because + fmt.Sprintf("; the place has only %s", plural(total, unit))
		}
	}
	switch {
	case holds:
		return Holds, because
	case fails:
		return Fails, because
	}
	return Arguable, because
}

// comparison checks "has the same harmony as bar 1", "is higher than bar 1".
func (k *Checker) comparison(r score.Region, a args) (Result, error) {
	that, err := k.passage.Resolve(*a.at)
	if err != nil {
		return Result{}, err
	}
	if that.Layer == score.Whole {
		that.Layer = r.Layer
	}
	here, there := line.PlaceNotes(k.sounding, r), line.PlaceNotes(k.sounding, that)
	if len(here) == 0 {
		return nothing(k, r), nil
	}
	if len(there) == 0 {
		return nothing(k, that), nil
	}
	res := Result{Evidence: slices.Concat(here[:min(12, len(here))], there[:min(12, len(there))]), Verdict: Fails}
	name := a.at.Text
	low := func(ns []score.Note) (score.Note, score.Note) {
		d := distinct(ns)
		return d[0], d[len(d)-1]
	}
	switch a.word {
	case "harmony", "roots":
		x, y := k.turns(r), k.turns(that)
		say := func(ts []turn) string {
			var s []string
			for _, t := range ts {
				s = append(s, t.cand.label)
			}
			return first(s, 8)
		}
		res.Because = fmt.Sprintf("%s here, %s in %s", say(x), say(y), name)
		roots := func(ts []turn, third bool) []string {
			var s []string
			for _, t := range ts {
				w := t.cand.root.String()
				if third {
					w += fmt.Sprint(t.cand.third, len(t.cand.members))
				}
				if len(s) == 0 || s[len(s)-1] != w {
					s = append(s, w)
				}
			}
			return s
		}
		switch {
		case slices.Equal(roots(x, a.word == "harmony"), roots(y, a.word == "harmony")):
			res.Verdict = Holds
		case slices.Equal(roots(x, false), roots(y, false)):
			res.Verdict, res.Instead = Arguable, "the same roots, but other qualities or added sevenths: "+say(x)
		default:
			res.Instead = "its chords are " + say(x)
			if len(x) > 0 && len(y) > 0 && x[len(x)-1].cand.root == y[len(y)-1].cand.root {
				res.Instead += "; only the last is the same"
			}
		}
	case "bass", "top line":
		layer := score.Bass
		if a.word == "top line" {
			layer = score.TopLine
		}
		get := func(r score.Region) line.Line {
			r.Layer = layer
			if layer == score.Bass {
				return line.Bass(k.sounding, r)
			}
			return line.Top(k.sounding, r)
		}
		x, y := get(r), get(that)
		classes := func(l line.Line, octave bool) []string {
			var s []string
			for _, n := range l {
				w := n.Pitch.Class().String()
				if octave {
					w = n.Pitch.String()
				}
				if len(s) == 0 || s[len(s)-1] != w {
					s = append(s, w)
				}
			}
			return s
		}
		res.Because = fmt.Sprintf("%s here, %s in %s", short(x), short(y), name)
		res.Evidence = slices.Concat([]score.Note(x[:min(12, len(x))]), []score.Note(y[:min(12, len(y))]))
		switch {
		case slices.Equal(classes(x, true), classes(y, true)):
			res.Verdict = Holds
		case slices.Equal(classes(x, false), classes(y, false)):
			res.Verdict, res.Instead = Arguable, "the same notes in another octave"
		case len(x) > 0 && len(y) > 0 && x[0].Pitch.Class() == y[0].Pitch.Class():
			res.Instead = "only the first note is the same: " + short(x)
		default:
			res.Instead = "its " + a.word + " is " + short(x)
		}
	case "higher", "lower":
		l1, h1 := low(here)
		l2, h2 := low(there)
		res.Evidence = []score.Note{l1, h1, l2, h2}
		res.Because = fmt.Sprintf("%s to %s here, %s to %s in %s", l1.Pitch, h1.Pitch, l2.Pitch, h2.Pitch, name)
		dl, dh := l1.Pitch.MIDI()-l2.Pitch.MIDI(), h1.Pitch.MIDI()-h2.Pitch.MIDI()
		if a.word == "lower" {
			dl, dh = -dl, -dh
		}
		single := r.Layer == score.Bass || r.Layer == score.TopLine
		switch {
		case dl > 0 && dh > 0 || single && dl >= 0 && dh >= 0 && dl+dh > 0:
			res.Verdict = Holds
		case dl > 0 || dh > 0:
			res.Verdict = Arguable
			part := "its highest note"
			if dl > 0 {
				part = "its lowest note"
			}
			res.Instead = "only " + part + " is " + a.word
		case dl == 0 && dh == 0:
			res.Instead = "in the same register"
		default:
			res.Instead = map[string]string{"higher": "lower", "lower": "higher"}[a.word] + " than " + name
		}
	case "louder", "softer":
		x, y := k.levelAt(r), k.levelAt(that)
		if x < 0 || y < 0 {
			res.Because = "no dynamic is written for one of the two places"
			res.Instead = "nothing written tells which is louder"
			return res, nil
		}
		res.Because = fmt.Sprintf("%s here, %s in %s", marks[x], marks[y], name)
		switch {
		case a.word == "louder" && x > y || a.word == "softer" && x < y:
			res.Verdict = Holds
		case x == y:
			res.Instead = "as loud as " + name
			res.Verdict = Fails
		default:
			res.Instead = map[string]string{"louder": "softer", "softer": "louder"}[a.word] + " than " + name
		}
	case "more", "fewer":
		res.Because = fmt.Sprintf("%s struck here, %s in %s", plural(len(here), "note"), plural(len(there), "note"), name)
		d1, d2 := len(distinctAtMost(k, r)), len(distinctAtMost(k, that))
		res.Because += fmt.Sprintf("; at most %d and %d at once", d1, d2)
		up := len(here) > len(there)
		if a.word == "fewer" {
			up, d1, d2 = len(here) < len(there), -d1, -d2
		}
		switch {
		case up && d1 >= d2:
			res.Verdict = Holds
		case up || d1 > d2:
			res.Verdict, res.Instead = Arguable, "the number of notes struck and of notes at once say different things"
		default:
			res.Instead = map[string]string{"more": "not more notes than ", "fewer": "not fewer notes than "}[a.word] + name
		}
	case "same", "different":
		rel := line.Relate(there, here, that.From, r.From)
		words := rel.Words(name)
		same := rel.Likeness == line.Repeated && rel.Holds()
		near := rel.Likeness == line.Repeated && !rel.Holds()
		res.Because = fmt.Sprintf("%s here, %s in %s", noteNames(here), noteNames(there), name)
		if same {
			res.Because = fmt.Sprintf("%s: note for note as in %s", noteNames(here), name)
		}
		var except []string
		for _, n := range rel.Except {
			except = append(except, fmt.Sprintf("%s at %s", n.Pitch, k.where(n)))
		}
		if near {
			res.Because += "; but for " + listed(except[:min(3, len(except))])
		}
		if words == "" {
			words = "neither its notes nor its rhythm come from " + name
		}
		switch {
		case a.word == "same" && same, a.word == "different" && !same && !near:
			res.Verdict = Holds
		case near && (a.word == "different" || 8*len(rel.Except) <= rel.Notes):
			res.Verdict, res.Instead = Arguable, "the same but for "+listed(except[:min(3, len(except))])
		case a.word == "same":
			res.Instead = words
			if near {
				res.Instead = "the same but for " + listed(except[:min(3, len(except))])
			}
		default:
			res.Instead = "the same as " + name
		}
	}
	return res, nil
}

func short(l line.Line) string {
	var ps []pitch.Pitch
	for _, n := range l {
		ps = append(ps, n.Pitch)
	}
	if len(ps) > 12 {
		return names(ps[:12]) + "…"
	}
	return names(ps)
}

// levelAt returns the dynamic mark in force at the start of a place as an index of marks, -1 if none is.
func (k *Checker) levelAt(r score.Region) int {
	level := -1
	for _, d := range k.passage.Dynamics {
		if r.From.Less(d.At) || d.At.Less(d.Until) {
			continue
		}
		if i := slices.Index(marks, d.Text); i >= 0 {
			level = i
		}
	}
	return level
}

// distinctAtMost returns the largest sonority of a place.
func distinctAtMost(k *Checker, r score.Region) []score.Note {
	var best []score.Note
	for _, s := range score.Slices(k.sounding, r.From, r.To) {
		if d := distinct(pick(s.Notes, r.Layer)); len(d) > len(best) {
			best = d
		}
	}
	return best
}
