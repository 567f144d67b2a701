package claim

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/key"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// topForm is about the highest note.
func topForm() Form {
	return Form{
		ID:       "top",
		Example:  "bar 1 beat 1: the highest note is A4",
		Wordings: []string{"the top note is E5", "the melody note is E", "E5 is on top", "has E5 on top", "C# is the highest note"},
		Asserts:  "the highest sounding note is that one (in a longer place: the highest of all); arguable if it is so by sound only, or at another moment of the place",
		patterns: pats(`(?:ART )?(?:highest|top|topmost|uppermost|melody|soprano|peak) (?:sounding )?(?:note|tone|pitch) is (?:ART )?NOTE`, `(?:ART )?(?:top|melody|soprano|peak|high point|climax) is (?:ART )?NOTE`,
			`NOTE is (?:ART )?(?:highest|top|topmost|uppermost|melody|soprano|peak) (?:note|tone|pitch)`, `NOTE (?:is|lies|sounds) on top`, `has (?:ART )?NOTE (?:on top|in the melody|in the top line|in the soprano)`),
		parse: func(m match, a *args) *stmtError { return m.notes("note", a) },
		check: (*Checker).topIs,
	}
}

// topIs checks "the highest note is B5".
func (k *Checker) topIs(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	want := a.notes[0]
	top := son.notes[len(son.notes)-1]
	res := Result{Evidence: []score.Note{top}, Verdict: Fails, Because: fmt.Sprintf("the highest note is %s %s at %s", top.Hand, top.Pitch, k.where(top)),
		Instead: "the highest note is " + top.Pitch.String()}
	switch {
	case want.is(top.Pitch):
		res.Verdict, res.Instead = Holds, ""
		return res, nil
	case want.sounds(top.Pitch):
		res.Verdict = Arguable
		res.Because += fmt.Sprintf(", which sounds as %s but is written otherwise", want)
		return res, nil
	}
	for _, s := range son.slices {
		if n := len(s.Notes); n > 0 && !son.moment && want.is(s.Notes[n-1].Pitch) {
			res.Verdict = Arguable
			res.Evidence = append(res.Evidence, s.Notes[n-1])
			res.Because += fmt.Sprintf("; %s lies on top at %s", want, k.passage.Where(s.At))
			return res, nil
		}
	}
	if i := slices.IndexFunc(son.notes, func(n score.Note) bool { return want.is(n.Pitch) }); i >= 0 {
		res.Because += fmt.Sprintf("; %s sounds below it", son.notes[i].Pitch)
	} else {
		res.Because += fmt.Sprintf("; %s does not sound", want)
	}
	return res, nil
}

// scaleForm is about the notes of a key or a mode, whatever its chords do.
func scaleForm() Form {
	const modes = `dorian|phrygian|lydian|mixolydian|locrian|ionian|aeolian`
	return Form{
		ID:       "scale",
		Example:  "bars 1-2: is diatonic in A major",
		Wordings: []string{"is diatonic", "all notes belong to the key", "is Dorian", "is in the Dorian mode", "is Phrygian on E", "is in A Dorian mode"},
		Asserts: "every note of the place belongs to the scale of the key that is named, else of the one read or written there; arguable if what is foreign is the raised sixth or seventh of minor. A mode without its final: the place is in that mode on its last bass note, its first, or the tonic written; " +
			"arguable where the notes are there and the final isn't in the bass at the end",
		patterns: pats(`(?:(?:is|are|stays|remains|sounds) )?(?:(?:purely|strictly|all|wholly|entirely) )?(?P<all>diatonic)(?: (?:in|to) (?:ART )?(?:key(?: of KEY)?|KEY2))?(?: throughout)?`,
			`(?:all|every|each)(?: (?:of )?ART)? ?notes? (?:belongs? to|are in|is in|lies? in|are (?:of|from)) (?:ART )?(?P<all>key|scale)(?: of KEY)?`, `(?:is|are|stays|remains) in (?P<final>[A-G](?:[#b]{0,2}|[ -](?:sharp|flat))) (?P<mode>`+modes+`) mode`,
			`(?:(?:is|are|sounds|stays|remains) )?(?:in )?ART (?P<mode>`+modes+`)(?: mode| scale)?(?: on (?P<final>[A-G](?:[#b]{0,2}|[ -](?:sharp|flat))))?`),
		parse: func(m match, a *args) *stmtError {
			a.text = m.get("mode")
			for _, group := range []string{"key", "key2"} {
				if m.group[group] != "" {
					if e := m.key(group, a); e != nil {
						return e
					}
				}
			}
			if final := m.group["final"]; final != "" && final != "a" { // "in a Dorian mode"
				n, err := parseNote(final)
				if err != nil {
					return m.fail("final", "%s", strings.TrimPrefix(err.Error(), "pitch: "))
				}
				a.notes = []noteRef{n}
			}
			return nil
		},
		check: (*Checker).inScaleOf,
	}
}

// inScaleOf checks "is diatonic in A major", "is in the Dorian mode".
func (k *Checker) inScaleOf(r score.Region, a args) (Result, error) {
	notes := r.Select(k.sounding)
	if r.Layer != score.Whole && r.Layer != score.LeftHand && r.Layer != score.RightHand {
		notes = line.PlaceNotes(k.sounding, r)
	}
	if len(notes) == 0 {
		return nothing(k, r), nil
	}
	declared, written := k.passage.KeyAt(r.From)
	if a.text != "" {
		var finals []pitch.Class
		if len(a.notes) > 0 {
			finals = []pitch.Class{a.notes[0].class}
		} else {
			bass := line.Bass(k.sounding, score.Region{From: r.From, To: r.To})
			if len(bass) > 0 {
				finals = append(finals, bass[len(bass)-1].Pitch.Class(), bass[0].Pitch.Class())
			}
			if written && declared.Mode.String() == a.text {
				finals = append(finals, declared.Tonic)
			}
		}
		var best Result
		for i, f := range finals {
			mode, err := key.Parse(f.String() + " " + a.text)
			if err != nil {
				continue
			}
			res, err := k.keyIs(score.Region{From: r.From, To: r.To}, args{keys: []key.Key{mode}})
			if err != nil {
				return res, err
			}
			if i == 0 || worse(best.Verdict, res.Verdict) {
				best = res
			}
		}
		if best.Because == "" {
			return nothing(k, r), nil
		}
		return best, nil
	}
	var homes []key.Key
	if len(a.keys) > 0 {
		homes = a.keys
	} else {
		if home, ok := k.keyAt(r, a); ok {
			homes = append(homes, home)
		}
		if written && !slices.Contains(homes, declared) {
			homes = append(homes, declared)
		}
	}
	if len(homes) == 0 {
		return Result{Verdict: Fails, Evidence: notes[:min(24, len(notes))], Because: "no key is to be found there", Instead: "name the key"}, nil
	}
	var best Result
	for i, home := range homes {
		var off, raised []string
		var evidence []score.Note
		for _, n := range notes {
			c := n.Pitch.Class()
			deg, alter := home.Degree(c)
			switch {
			case home.Contains(c):
			case home.Mode == key.Minor && alter == 1 && (deg == 6 || deg == 7):
				if !slices.Contains(raised, c.String()) {
					raised = append(raised, c.String())
				}
			default:
				evidence = append(evidence, n)
				if text := fmt.Sprintf("%s at %s", n.Pitch, k.where(n)); len(evidence) <= 4 {
					off = append(off, text)
				}
			}
		}
		res := Result{Evidence: notes[:min(24, len(notes))], Verdict: Holds}
		count := plural(len(notes), "note")
		switch {
		case len(evidence) > 0:
			res.Verdict, res.Evidence = Fails, evidence[:min(24, len(evidence))]
			res.Because = fmt.Sprintf("%d of %s foreign to %s: %s", len(evidence), count+map[bool]string{true: " is", false: " are"}[len(evidence) == 1], home, listed(off))
			res.Instead = "chromatic against " + home.String()
		case len(raised) > 0:
			res.Verdict = Arguable
			res.Because = fmt.Sprintf("%s, all of %s, with %s raised", count, home, listed(raised))
			res.Instead = home.String() + " with its raised degrees; strictly, only the natural minor scale is diatonic"
		default:
			res.Because = fmt.Sprintf("%s, all of %s", count, home)
		}
		if i == 0 || worse(best.Verdict, res.Verdict) {
			best = res
		}
	}
	return best, nil
}

// doubledForm is about a member of a chord that sounds more than once.
func doubledForm() Form {
	return Form{
		ID:       "doubled",
		Example:  "bar 2 beat 1: the root is doubled",
		Wordings: []string{"doubles the third", "has a doubled fifth", "with doubled root", "E is doubled"},
		Asserts:  "that member of the first reading, or that note, sounds at two different heights or in both hands at the same moment; arguable if only a lower reading has it so",
		patterns: pats(`ART (?P<part>root|third|fifth|seventh) (?:is|appears|sounds) (?:doubled|twice)`, `(?:(?:is|has|with|contains) )?ART doubled (?P<part>root|third|fifth|seventh)`, `doubles ART (?P<part>root|third|fifth|seventh)`, `NOTE is doubled`),
		parse: func(m match, a *args) *stmtError {
			if a.word = m.get("part"); a.word != "" {
				return nil
			}
			return m.notes("note", a)
		},
		check: (*Checker).doubled,
	}
}

// doubled checks "the root is doubled".
func (k *Checker) doubled(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	moments := son.slices
	if son.moment {
		moments = []score.Slice{{At: r.From, Notes: son.notes}}
	}
	twice := func(is func(pitch.Pitch) bool) []score.Note {
		var most []score.Note
		for _, s := range moments {
			var found []score.Note
			for _, n := range distinct(s.Notes) {
				if is(n.Pitch) {
					found = append(found, n)
				}
			}
			if len(found) > len(most) {
				most = found
			}
		}
		return most
	}
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails}
	tell := func(what string, found []score.Note) bool {
		switch len(found) {
		case 0:
			res.Because += fmt.Sprintf("; %s does not sound", what)
			res.Instead = bestReading(son.notes)
		case 1:
			res.Because += fmt.Sprintf("; %s sounds once, %s", what, found[0].Pitch)
			res.Instead = what + " sounds once"
		default:
			res.Because += fmt.Sprintf("; %s sounds %s: %s", what, map[bool]string{true: "twice", false: fmt.Sprintf("%d times", len(found))}[len(found) == 2], listed(heights(found)))
			res.Evidence = found
			return true
		}
		return false
	}
	if a.word == "" {
		if tell(a.notes[0].class.String(), twice(func(p pitch.Pitch) bool { return p.Class() == a.notes[0].class })) {
			res.Verdict = Holds
		}
		return res, nil
	}
	steps := slices.Index(intervalWords[:], a.word)
	for i, c := range k.candidates(r) {
		if i > 1 {
			break
		}
		found := twice(func(p pitch.Pitch) bool { return p.Class().Sub(c.root).Steps == steps })
		if i == 0 {
			if tell(fmt.Sprintf("the %s of %s", a.word, c.label), found) {
				res.Verdict, res.Instead = Holds, ""
				return res, nil
			}
		} else if len(found) > 1 {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; read as %s it would be doubled", c.label)
		}
	}
	if res.Instead == "" {
		res.Because += ": no chord with a root"
		res.Instead = bestReading(son.notes)
	}
	return res, nil
}

func heights(notes []score.Note) []string {
	var out []string
	for _, n := range notes {
		out = append(out, fmt.Sprintf("%s in the %s", n.Pitch, n.Hand))
	}
	return out
}

// joined is the result of several statements that must all hold: the worst verdict, and what is told of each.
func joined(all ...Result) Result {
	var out Result
	var because, instead []string
	for i, res := range all {
		if i == 0 || worse(res.Verdict, out.Verdict) {
			out.Verdict = res.Verdict
		}
		text := res.Because
		if i > 0 { // the notes are told once
			for _, end := range []string{": ", "; "} {
				if notes, rest, ok := strings.Cut(text, end); ok && strings.HasPrefix(all[0].Because, notes) && strings.Contains(notes, "hand ") {
					text = rest
					break
				}
			}
		}
		because = append(because, text)
		if res.Instead != "" && !slices.Contains(instead, res.Instead) {
			instead = append(instead, res.Instead)
		}
		for _, n := range res.Evidence {
			if !slices.Contains(out.Evidence, n) {
				out.Evidence = append(out.Evidence, n)
			}
		}
	}
	out.Because = strings.Join(because, "; ")
	if out.Verdict != Holds {
		out.Instead = strings.Join(instead, "; ")
	}
	return out
}

var (
	risesWord = regexp.MustCompile(`(?i) rises? `)
	fallsWord = regexp.MustCompile(`(?i) falls? `)
	bareChord = regexp.MustCompile(`^[A-G][#b]?7$`)
)

// saidOfNote reads what a claim about a resolution says of its first note: "the seventh A", "the raised fourth D#". A letter
// with 7 may be a note or a chord.
func (m match) saidOfNote(a *args) *stmtError {
	switch what := m.get("what"); {
	case what == "":
		if note := m.group["note"]; bareChord.MatchString(note) {
			if s, err := chord.ParseLabel(note); err == nil && m.group["place"] == "" {
				a.symbols = []chord.Symbol{s}
			}
		}
	case slices.Contains(intervalWords[:], what) || what == "ninth":
		a.word = what
	default:
		f, b, _ := understand(plain(a.notes[0].String()+" is the "+what), 2)
		if f == nil {
			return m.fail("what", "%q is not understood", what)
		}
		a.subs = []sub{{f, b, what}}
	}
	return nil
}

// resolution checks a statement of the form "resolves": of a note, of a note and what it is called, or of chords.
func (k *Checker) resolution(r score.Region, a args) (Result, error) {
	if len(a.symbols) == 2 {
		return k.chordLeads(r, a)
	}
	if len(a.symbols) == 1 && !slices.ContainsFunc(r.Select(k.sounding), func(n score.Note) bool { return a.notes[0].sounds(n.Pitch) }) {
		return k.chordLeads(r, a)
	}
	res, err := k.resolves(r, a)
	if err != nil || len(a.subs) == 0 && a.word == "" || res.Verdict == Fails && res.Instead == notThere {
		return res, err
	}
	if len(a.subs) > 0 {
		also, err := k.checkSub(r, a.subs[0])
		return joined(res, also), err
	}
	also := Result{Verdict: Fails, Evidence: res.Evidence}
	steps := (degreeNumbers[a.word] - 1) % 7
	for i, c := range k.candidates(r) {
		if i > 1 {
			break
		}
		is := a.notes[0].class.Sub(c.root)
		switch {
		case is.Steps == steps && i == 0:
			also.Verdict, also.Because = Holds, fmt.Sprintf("%s is the %s of %s", a.notes[0].class, a.word, c.label)
			return joined(res, also), nil
		case i == 0:
			also.Because = fmt.Sprintf("%s is not the %s of %s", a.notes[0].class, a.word, c.label)
			also.Instead = fmt.Sprintf("%s is the %s of %s", a.notes[0].class, ordinalOf(is), c.label)
		case is.Steps == steps:
			also.Verdict = Arguable
			also.Because += fmt.Sprintf("; read as %s it is", c.label)
		}
	}
	if also.Because == "" {
		also.Because, also.Instead = "no chord is read there", "name a place with a chord"
	}
	return joined(res, also), nil
}

// chordLeads checks "D7 resolves to G": the chord is there, and the next one has that root.
func (k *Checker) chordLeads(r score.Region, a args) (Result, error) {
	from := a.symbols[0]
	root, to := a.to.class, (*chord.Symbol)(nil)
	if len(a.symbols) == 2 {
		to, root = &a.symbols[1], a.symbols[1].Root
	}
	here := r.Select(k.sounding)
	if len(here) == 0 {
		return nothing(k, r), nil
	}
	const ahead = 8 // quarters after the place that the next chord may begin in
	ts := k.turns(score.Region{From: r.From, To: r.To.Add(score.Quarters(ahead)).Min(k.passage.End()), Layer: r.Layer})
	var labels []string
	for _, t := range ts {
		labels = append(labels, t.cand.label)
	}
	res := Result{Verdict: Fails, Evidence: here[:min(24, len(here))], Because: "chords " + first(labels, 6), Instead: "the chords are " + first(labels, 6)}
	if len(ts) == 0 {
		res.Because, res.Instead = "no chord is read there", "name a longer place"
		return res, nil
	}
	region := func(t turn) score.Region { return score.Region{From: t.at, To: t.until, Layer: r.Layer} }
	start := -1
	var is Result
	for i, t := range ts {
		if !t.at.Less(r.To) {
			break
		}
		one, err := k.isChord(region(t), args{symbol: from})
		if err != nil {
			return one, err
		}
		if one.Verdict == Fails || t.cand.root != from.Root && one.Verdict != Holds {
			continue
		}
		if start < 0 || worse(is.Verdict, one.Verdict) {
			start, is = i, one
		}
	}
	if start < 0 {
		res.Because += fmt.Sprintf("; %s is not there", from.House())
		return res, nil
	}
	next := start + 1
	for next < len(ts) && ts[next].cand.root == from.Root {
		next++
	}
	if next == len(ts) {
		res.Because += fmt.Sprintf("; nothing follows %s", from.House())
		return res, nil
	}
	res.Evidence = append(slices.Clone(ts[start].notes), ts[next].notes...)
	if len(res.Evidence) == 0 {
		res.Evidence = here[:min(24, len(here))]
	}
	res.Because = fmt.Sprintf("%s at %s, then %s at %s", ts[start].cand.label, k.passage.Where(ts[start].at), ts[next].cand.label, k.passage.Where(ts[next].at))
	res.Instead = fmt.Sprintf("%s goes to %s", from.House(), ts[next].cand.label)
	reached := func(t turn) (Verdict, string) {
		if t.cand.root != root {
			return Fails, ""
		}
		if to == nil {
			return Holds, ""
		}
		one, err := k.isChord(region(t), args{symbol: *to})
		if err != nil {
			return Fails, ""
		}
		return one.Verdict, one.Because
	}
	v, why := reached(ts[next])
	if v != Fails {
		res.Verdict = v
		if v == Arguable {
			res.Because += "; " + why
		}
		if worse(is.Verdict, v) {
			res.Verdict = is.Verdict
			res.Because += "; " + is.Because
			if is.Instead != "" {
				res.Instead = is.Instead
			}
		}
	} else if next+1 < len(ts) {
		if v, _ := reached(ts[next+1]); v != Fails {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; %s only after it", ts[next+1].cand.label)
		}
	}
	if res.Verdict == Holds {
		res.Instead = ""
	}
	return res, nil
}

// sixthInstead checks a statement of the form "sixth for fifth", also one that doesn't name the sixth.
func (k *Checker) sixthInstead(r score.Region, a args) (Result, error) {
	if len(a.notes) == 0 {
		son := k.sonority(r)
		if len(son.notes) == 0 {
			return nothing(k, r), nil
		}
		best := Result{Evidence: son.notes, Because: son.said() + "; no note is the sixth above a root with its third and without its fifth", Verdict: Fails, Instead: bestReading(son.notes)}
		var tried []pitch.Class
		for _, n := range son.notes { // the lowest note comes first as the root
			c := n.Pitch.Class()
			if slices.Contains(tried, c) {
				continue
			}
			tried = append(tried, c)
			if res, err := k.sixthForFifth(r, args{notes: []noteRef{{class: c.Add(pitch.MajorSixth)}}}); err == nil && worse(best.Verdict, res.Verdict) {
				best = res
			}
		}
		return best, nil
	}
	res, err := k.sixthForFifth(r, a)
	if err != nil || res.Verdict == Fails {
		return res, err
	}
	root := a.notes[0].class.Add(pitch.MajorSixth.Neg())
	if a.strict {
		if fifth := root.Add(pitch.PerfectFifth); fifth != a.to.class {
			res.Verdict = Fails
			res.Because += fmt.Sprintf("; %s is not that fifth", a.to)
			res.Instead = fmt.Sprintf("%s stands in for %s", a.notes[0], fifth)
		}
	}
	if a.text != "" {
		third := map[string]pitch.Interval{"major": pitch.MajorThird, "minor": pitch.MinorThird}[a.text]
		if son := k.sonority(r); !slices.ContainsFunc(son.notes, func(n score.Note) bool { return n.Pitch.Class() == root.Add(third) }) {
			res.Verdict, res.Instead = Fails, bestReading(son.notes)
			res.Because += "; its third is not " + a.text
		}
	}
	return res, nil
}

// movesBetween checks "descends chromatically from B to E": some line of the place has the two notes, and goes so between them.
func (k *Checker) movesBetween(r score.Region, a args) Result {
	layers := []score.Layer{r.Layer}
	if r.Layer == score.Whole {
		layers = []score.Layer{score.TopLine, score.Bass, score.RightHand, score.LeftHand, score.InnerLines}
	}
	notes := r.Select(k.sounding)
	if len(notes) == 0 {
		return nothing(k, r)
	}
	best := Result{Verdict: Fails, Evidence: notes[:min(24, len(notes))], Because: fmt.Sprintf("no line goes from %s to %s there", a.notes[0], a.to)}
	found, instead := false, "name the line"
	judge := a
	judge.notes = nil
	for _, layer := range layers {
		in := r
		in.Layer = layer
		tries, err := k.lines(in)
		if err != nil {
			continue
		}
		for _, t := range tries {
			if instead == "name the line" && len(t.line) > 0 {
				instead = "the " + layer.String() + " is " + short(t.line)
			}
			for i := range t.line {
				if !a.notes[0].is(t.line[i].Pitch) {
					continue
				}
				j := i + 1
				for j < len(t.line) && !a.to.is(t.line[j].Pitch) {
					j++
				}
				if j == len(t.line) {
					break
				}
				res := judgeMoves(t.line[i:j+1], judge, k)
				if r.Layer == score.Whole {
					res.Because += fmt.Sprintf(" (in the %s)", layer)
				}
				if !found || worse(best.Verdict, res.Verdict) {
					best, found = res, true
				}
			}
		}
	}
	if best.Instead == "" && best.Verdict != Holds {
		best.Instead = instead
	}
	return best
}

// twoLinesOf checks a statement of the form "two lines"; lines with a direction may be any two of the texture.
func (k *Checker) twoLinesOf(r score.Region, a args) (Result, error) {
	if a.dir == 0 {
		return k.twoLines(r, a)
	}
	notes := r.Select(k.sounding)
	if len(notes) == 0 {
		return nothing(k, r), nil
	}
	motion, word := line.ByStep, "stepwise"
	if a.strict {
		motion, word = line.Chromatic, "chromatically"
	}
	var all []line.Line
	add := func(l line.Line) {
		if len(l.Moves()) < 2 {
			return
		}
		for _, o := range all {
			if slices.Equal(o, l) {
				return
			}
		}
		all = append(all, l)
	}
	whole := score.Region{From: r.From, To: r.To}
	if r.Layer == score.Whole {
		add(line.Top(k.sounding, whole))
		add(line.Bass(k.sounding, whole))
		for _, l := range line.Inner(k.sounding, whole) {
			add(l)
		}
	}
	for _, h := range []score.Layer{score.RightHand, score.LeftHand} {
		if r.Layer != score.Whole && r.Layer != h {
			continue
		}
		in := pick(notes, h)
		add(line.Top(in, whole))
		add(line.Bass(in, whole))
	}
	if r.Layer == score.TopLine || r.Layer == score.Bass || len(all) == 0 || len(all) == 1 {
		single := r
		if single.Layer == score.Whole {
			single.Layer = score.TopLine
		}
		if tries, err := k.lines(single); err == nil {
			if s, ok := line.SplitInTwo(tries[0].line); ok {
				add(s.High)
				add(s.Low)
			}
		}
	}
	var good, bad []string
	res := Result{Verdict: Fails, Evidence: notes[:min(24, len(notes))]}
	var evidence []score.Note
	for _, l := range all {
		if j := judgeMoves(l, args{steps: true, motion: motion, dir: a.dir}, k); j.Verdict == Holds {
			good = append(good, short(l))
			evidence = append(evidence, l...)
		} else {
			bad = append(bad, short(l))
		}
	}
	dir := map[int]string{1: "up", -1: "down"}[a.dir]
	switch len(good) {
	case 0:
		res.Because = fmt.Sprintf("no line goes %s %s throughout", word, dir)
		if len(bad) > 0 {
			res.Because += ": " + listed(bad[:min(3, len(bad))])
		}
		res.Instead = "no such line"
	case 1:
		res.Because = fmt.Sprintf("only one line goes %s %s throughout: %s", word, dir, good[0])
		res.Evidence, res.Instead = evidence, "one line goes "+word+" "+dir
	default:
		res.Because = fmt.Sprintf("%s go %s %s", listed(good), word, dir)
		res.Evidence, res.Verdict = evidence, Holds
	}
	return res, nil
}

// outersAre holds the outer intervals of chords against a list: once through, or again and again.
func (k *Checker) outersAre(outers []line.Outer, list []pitch.Interval) Result {
	res := Result{Verdict: Holds}
	var words []string
	sound := false
	off := ""
	for i, o := range outers {
		words = append(words, simpleName(o.Interval))
		res.Evidence = append(res.Evidence, o.Low, o.High)
		got, want := o.Interval.Simple(), list[i%len(list)].Simple()
		switch {
		case got == want:
		case mod12(got.Semitones) == mod12(want.Semitones):
			sound = true
		case off == "":
			off = fmt.Sprintf("%s at %s", words[i], k.passage.Where(o.At))
		}
	}
	res.Because = fmt.Sprintf("bass %s, top %s: %s", outerNames(outers, false), outerNames(outers, true), first(words, 24))
	switch {
	case off != "":
		res.Verdict = Fails
		res.Because += "; not so: " + off
	case len(outers) < len(list):
		res.Verdict = Fails
		res.Because += fmt.Sprintf("; there are only %s", plural(len(outers), "chord"))
	case sound, len(outers)%len(list) != 0:
		res.Verdict = Arguable
		res.Because += map[bool]string{true: "; by sound only", false: "; it breaks off within the list"}[sound]
	}
	if res.Verdict != Holds {
		res.Instead = "outer intervals are " + first(words, 12)
	}
	return res
}

// intervalThere checks a statement of the form "interval": of two notes, or of any two that sound together.
func (k *Checker) intervalThere(r score.Region, a args) (Result, error) {
	if a.word != "within" {
		return k.interval(r, a)
	}
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	moments := son.slices
	if son.moment {
		moments = []score.Slice{{At: r.From, Notes: son.notes}}
	}
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails}
	pair := func(notes []score.Note) (low, high score.Note, exact, sound bool) {
		for i, x := range notes {
			for _, y := range notes[i+1:] {
				s := y.Pitch.Sub(x.Pitch).Simple()
				switch {
				case a.text == "tritone" && mod12(s.Semitones) == 6, a.text != "tritone" && s == a.list[0].Simple():
					return x, y, true, false
				case a.text != "tritone" && mod12(s.Semitones) == mod12(a.list[0].Semitones) && !sound:
					low, high, sound = x, y, true
				}
			}
		}
		return low, high, false, sound
	}
	for _, s := range moments {
		low, high, exact, sound := pair(distinct(s.Notes))
		if exact {
			res.Verdict, res.Instead, res.Evidence = Holds, "", []score.Note{low, high}
			res.Because = fmt.Sprintf("%s–%s at %s: %s", low.Pitch, high.Pitch, k.passage.Where(s.At), high.Pitch.Sub(low.Pitch).Words())
			return res, nil
		}
		if sound && res.Verdict == Fails {
			res.Verdict, res.Evidence = Arguable, []score.Note{low, high}
			res.Because = fmt.Sprintf("%s–%s at %s, by sound only", low.Pitch, high.Pitch, k.passage.Where(s.At))
			res.Instead = fmt.Sprintf("%s and %s form a %s", low.Pitch.Class(), high.Pitch.Class(), high.Pitch.Sub(low.Pitch).Simple().Words())
		}
	}
	if res.Verdict == Fails {
		if low, high, exact, _ := pair(son.notes); exact && len(moments) > 1 {
			res.Verdict, res.Evidence = Arguable, []score.Note{low, high}
			res.Because += fmt.Sprintf("; %s and %s sound, but not together", low.Pitch, high.Pitch)
			res.Instead = "only between notes that don't sound together"
		} else {
			res.Because += fmt.Sprintf("; no two notes are %s apart", withArticle(a.text))
			res.Instead = bestReading(son.notes)
		}
	}
	return res, nil
}

// clusterOfSize asks a cluster that was found for a number of notes.
func clusterOfSize(res Result, n int) Result {
	if n == 0 || res.Verdict == Fails {
		return res
	}
	keys := pcsOf(pitches(res.Evidence))
	slices.Sort(keys)
	switch has := len(slices.Compact(keys)); {
	case has < n:
		res.Verdict, res.Instead = Fails, fmt.Sprintf("a cluster of %d notes", has)
	case has > n:
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("a cluster of %d notes, so many of them beside others", has)
	}
	return res
}

var (
	inversionFirst = regexp.MustCompile(`(?i)^(?:an? |the )?(root|first|second|third|fourth)[ -](position|inversion)(?: of)?(?: an?| the)? (.+)$`)
	inInversion    = regexp.MustCompile(`(?i)^(.+?),? in (?:its |the )?(root|first|second|third|fourth) (?:position|inversion)$`)
)

// inversionLast puts the inversion of a label behind it: "first inversion of E7" is "E7 in first inversion".
func inversionLast(label string) string {
	return inversionFirst.ReplaceAllString(label, "$3 in $1 $2")
}

// kindInInversion checks a statement of the form "kind", with its inversion if it names one.
func (k *Checker) kindInInversion(r score.Region, a args) (Result, error) {
	res, err := k.kindIs(r, a)
	if err != nil || a.word != "inversion" || len(res.Evidence) == 0 {
		return res, err
	}
	in, err := k.inversion(r, args{number: a.number})
	return joined(res, in), err
}

// leadingTone checks "G# is the leading tone".
func (k *Checker) leadingTone(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	want := a.notes[0]
	res := Result{Evidence: son.notes, Verdict: Fails, Because: son.said(), Instead: bestReading(son.notes)}
	i := slices.IndexFunc(son.notes, func(n score.Note) bool { return want.is(n.Pitch) })
	if i < 0 {
		res.Because += fmt.Sprintf("; %s does not sound", want)
		return res, nil
	}
	note := son.notes[i]
	res.Evidence = []score.Note{note}
	home, ok := k.keyAt(r, a)
	if !ok {
		res.Because += "; no key is to be found there"
		res.Instead = "name the key"
		return res, nil
	}
	goal := note.Pitch.Class().Add(pitch.MinorSecond)
	res.Because = fmt.Sprintf("%s in the %s at %s; the leading tone of %s is %s", note.Pitch, note.Hand, k.where(note), home, home.Tonic.Add(pitch.MinorSecond.Neg()))
	deg, _ := home.Degree(note.Pitch.Class())
	res.Instead = fmt.Sprintf("%s is a note on degree %d of %s", want, deg, home)
	if goal == home.Tonic {
		res.Verdict, res.Instead = Holds, ""
		return res, nil
	}
	if len(a.keys) > 0 {
		return res, nil
	}
	for _, t := range k.turns(score.Region{From: r.From, To: r.To.Add(score.Quarters(8)).Min(k.passage.End())}) {
		if r.From.Less(t.at) && t.cand.root == goal {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; it leads so to %s at %s", t.cand.label, k.passage.Where(t.at))
			res.Instead = fmt.Sprintf("%s is a leading tone to %s, not of %s", want, goal, home)
			break
		}
	}
	return res, nil
}
