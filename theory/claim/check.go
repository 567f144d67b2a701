package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// stacked checks "stacked in fifths". In a place with several chords each one counts.
func (k *Checker) stacked(r score.Region, a args) (Result, error) {
	if len(a.words) == 2 { // "fourths over fifths"
		up, low := r, r
		up.Layer, low.Layer = score.RightHand, score.LeftHand
		upper, _ := k.stacked(up, args{word: a.words[0]})
		lower, _ := k.stacked(low, args{word: a.words[1]})
		return joined(upper, lower), nil
	}
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	chords := [][]score.Note{son.notes}
	if !son.moment && son.how == "" {
		var each [][]score.Note
		for _, s := range son.slices {
			if d := distinct(s.Notes); len(d) >= 3 && slices.Contains(s.Struck, true) {
				each = append(each, d)
			}
		}
		if len(each) > 0 {
			chords = each
		}
	}
	var res Result
	for i, notes := range chords {
		one := judgeStack(notes, a)
		one.Evidence = notes
		if len(chords) > 1 && one.Verdict != Holds {
			one.Because = fmt.Sprintf("chord %d of %d: %s", i+1, len(chords), one.Because)
		}
		if i == 0 || worse(one.Verdict, res.Verdict) {
			res = one
		}
	}
	if len(chords) > 1 && res.Verdict == Holds {
		res.Because = fmt.Sprintf("all %d chords; the first: %s", len(chords), res.Because)
	}
	if son.how != "" {
		res.Because += " (" + son.how + ")"
	}
	return res, nil
}

// worse reports whether verdict a is worse than b: fails before arguable before holds.
func worse(a, b Verdict) bool {
	rank := map[Verdict]int{Holds: 0, Arguable: 1, Fails: 2}
	return rank[a] > rank[b]
}

// stackSizes are the sizes in semitones that sound like the plain members of a stack.
var stackSizes = map[string][]int{"fifths": {7}, "fourths": {5}, "thirds": {3, 4}, "seconds": {1, 2}}

func judgeStack(notes []score.Note, a args) Result {
	ps := pitches(notes)
	st := chord.StackOf(ps)
	said := spoken(notes) + ": " + st.Text
	if len(notes) < 2 {
		return Result{Verdict: Fails, Because: spoken(notes) + " alone is no stack", Instead: "at least two notes must sound"}
	}
	if st.Kind == a.word {
		if a.strict {
			for _, i := range st.Intervals {
				if i.Quality() != pitch.Perfect {
					return Result{Verdict: Fails, Because: said, Instead: "stacked in " + a.word + ", not all of them perfect"}
				}
			}
		}
		return Result{Verdict: Holds, Because: said}
	}
	bySound := true
	for i := 1; i < len(ps); i++ {
		if !slices.Contains(stackSizes[a.word], ps[i].MIDI()-ps[i-1].MIDI()) {
			bySound = false
		}
	}
	if bySound {
		return Result{Verdict: Arguable, Because: said + "; by sound alone every distance is one of the " + a.word,
			Instead: "stacked in " + a.word + " by sound; as spelled: " + st.Text}
	}
	res := Result{Verdict: Fails, Because: said}
	switch {
	case st.Kind != "" && st.Kind != "mixed":
		res.Instead = "stacked in " + st.Kind
	default:
		res.Instead = st.Text
	}
	if len(ps) > 3 { // the analyst may have one note too many in view
		for _, part := range []struct {
			ps  []pitch.Pitch
			out pitch.Pitch
		}{{ps[:len(ps)-1], ps[len(ps)-1]}, {ps[1:], ps[0]}} {
			if s := chord.StackOf(part.ps); s.Kind == a.word {
				res.Instead += fmt.Sprintf("; without %s it is stacked in %s (%s)", part.out, a.word, s.Text)
				break
			}
		}
	}
	return res
}

// bassIs checks "bass is F#".
func (k *Checker) bassIs(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	want := a.notes[0]
	first := son.slices[0].Notes
	if len(first) == 0 {
		first = son.notes
	}
	at, low := first[0], son.notes[0]
	res := Result{Evidence: []score.Note{at}}
	fails, inContext, because := false, false, ""
	if (!son.block() || !r.Moment) && !want.is(at.Pitch) {
		fails, inContext, because = k.bassInContext(r, son, want)
	}
	says := func(n score.Note) string { return fmt.Sprintf("%s %s at %s", n.Hand, n.Pitch, k.where(n)) }
	switch {
	case want.is(at.Pitch):
		res.Verdict, res.Because = Holds, "the lowest note is "+says(at)
		if low.Pitch.Compare(at.Pitch) < 0 {
			res.Because += fmt.Sprintf(" (later in the place the bass goes down to %s)", low.Pitch)
		}
	case want.is(low.Pitch):
		res.Verdict, res.Because, res.Evidence = Holds, "the lowest note of the place is "+says(low), []score.Note{low}
	case want.sounds(at.Pitch):
		res.Verdict, res.Because = Arguable, fmt.Sprintf("the lowest note is %s, which sounds as %s but is written otherwise", says(at), want)
		res.Instead = "bass is " + at.Pitch.Class().String()
	case inContext && !fails:
		res.Verdict, res.Because = Arguable, fmt.Sprintf("the lowest note at the start is %s; %s", says(at), because)
		res.Instead = "bass is " + at.Pitch.Class().String()
		for _, s := range son.slices {
			if len(s.Notes) > 0 && want.is(s.Notes[0].Pitch) {
				res.Evidence = append(res.Evidence, s.Notes[0])
				res.Because = fmt.Sprintf("the place begins over %s; %s is the lowest note only at %s; %s", says(at), want, k.passage.Where(s.At), because)
				res.Instead = fmt.Sprintf("bass is %s at the start, %s only at %s", at.Pitch.Class(), want, k.passage.Where(s.At))
				break
			}
		}
	default:
		for _, s := range son.slices {
			if len(s.Notes) > 0 && want.is(s.Notes[0].Pitch) && !inContext {
				n := s.Notes[0]
				return Result{Verdict: Arguable, Evidence: []score.Note{at, n},
					Because: fmt.Sprintf("the place begins over %s; %s is the lowest note only at %s", says(at), want, k.passage.Where(s.At)),
					Instead: "bass is " + at.Pitch.Class().String()}, nil
			}
		}
		res.Verdict, res.Because, res.Instead = Fails, "the lowest note is "+says(at), "bass is "+at.Pitch.Class().String()
		for _, n := range son.notes {
			if want.is(n.Pitch) {
				res.Because += fmt.Sprintf("; %s sounds above it", n.Pitch)
				break
			}
		}
		if want.octave && want.class == at.Pitch.Class() {
			res.Because += fmt.Sprintf(", not %s", want)
		}
	}
	return res, nil
}

// keys checks "uses only white keys".
func (k *Checker) keys(r score.Region, a args) (Result, error) {
	notes := distinct(r.Select(k.sounding))
	if r.Moment {
		notes = k.sonority(r).notes
	} else if r.Layer == score.Bass || r.Layer == score.TopLine || r.Layer == score.InnerLines {
		notes = k.sonority(score.Region{From: r.From, To: r.To, Layer: r.Layer}).notes
	}
	if len(notes) == 0 {
		return nothing(k, r), nil
	}
	white := a.word == "white"
	var off, odd []string
	var evidence []score.Note
	for _, n := range notes {
		if n.Pitch.IsWhite() != white {
			off = append(off, n.Pitch.String())
			evidence = append(evidence, n)
		} else if white != (n.Pitch.Alter == 0) && white {
			odd = append(odd, n.Pitch.String())
		}
	}
	if len(off) == 0 {
		res := Result{Verdict: Holds, Because: fmt.Sprintf("%s: all on %s keys", spoken(notes), a.word), Evidence: notes}
		if len(odd) > 0 {
			res.Because += fmt.Sprintf(" (%s too, for all its sign)", listed(odd))
		}
		return res, nil
	}
	other := map[bool]string{true: "black", false: "white"}[white]
	res := Result{Verdict: Fails, Evidence: evidence, Because: fmt.Sprintf("%s: %s on %s keys", spoken(notes), onKeys(off), other)}
	switch {
	case len(off) == len(notes):
		res.Instead = "uses only " + other + " keys"
	default:
		res.Instead = fmt.Sprintf("only %s keys but for %s", a.word, listed(off))
	}
	return res, nil
}

func onKeys(names []string) string {
	if len(names) == 1 {
		return names[0] + " is"
	}
	return listed(names) + " are"
}

// setClass checks "forms set class 4-20".
func (k *Checker) setClass(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	set := chord.SetOf(pitches(son.notes))
	res := Result{Evidence: son.notes, Because: fmt.Sprintf("%s: %s", son.said(), setText(set))}
	if isSet(set, a.setName) {
		res.Verdict = Holds
		return res, nil
	}
	if len(son.slices) > 1 {
		every := true
		for _, s := range son.slices {
			every = every && isSet(chord.SetOf(pitches(s.Notes)), a.setName)
		}
		if every {
			res.Verdict, res.Because = Holds, fmt.Sprintf("each of the %d sonorities forms it; all together they are %s", len(son.slices), setText(set))
			return res, nil
		}
	}
	res.Verdict, res.Instead = Fails, "forms set class "+setText(set)
	return res, nil
}

func setText(s chord.Set) string {
	text := fmt.Sprintf("%s, prime form (%s)", s.Forte, s.Prime)
	if s.PrimeForte != s.Prime {
		text += fmt.Sprintf(" by Rahn, (%s) by Forte", s.PrimeForte)
	}
	return text + ", interval vector <" + s.Vector + ">"
}

// cluster checks "contains the chromatic cluster G# A A#".
func (k *Checker) cluster(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	var there []string
	for _, c := range chord.Clusters(pitches(son.notes)) {
		there = append(there, c.Text)
	}
	instead := "no cluster: no three neighbouring notes lie in seconds"
	if len(there) > 0 {
		instead = "contains " + listed(there)
	}
	if len(a.notes) == 0 {
		return clusterOfSize(clusterOfKind(son, a.word, instead), a.number), nil
	}

	// The notes named, as they sound in the place.
	var members []score.Note
	var absent, respelled []string
	for _, want := range a.notes {
		i := slices.IndexFunc(son.notes, func(n score.Note) bool { return want.is(n.Pitch) })
		if i < 0 {
			if i = slices.IndexFunc(son.notes, func(n score.Note) bool { return want.sounds(n.Pitch) }); i >= 0 {
				respelled = append(respelled, fmt.Sprintf("%s is written %s", want, son.notes[i].Pitch.Class()))
			}
		}
		if i < 0 {
			absent = append(absent, want.String())
			continue
		}
		members = append(members, son.notes[i])
	}
	res := Result{Evidence: members, Because: son.said()}
	if len(absent) > 0 {
		verb := "does"
		if len(absent) > 1 {
			verb = "do"
		}
		res.Verdict, res.Because = Fails, fmt.Sprintf("%s; %s %s not sound", res.Because, listed(absent), verb)
		res.Instead = instead
		return res, nil
	}
	var pcs []int
	for _, n := range members {
		pcs = append(pcs, n.Pitch.PC())
	}
	slices.Sort(pcs)
	pcs = slices.Compact(pcs)
	if len(pcs) < 3 {
		res.Verdict, res.Instead = Fails, instead
		res.Because += "; a cluster has three notes or more"
		return res, nil
	}
	kind, gaps := clusterKind(pcs, members)
	if kind == "" {
		res.Verdict, res.Instead = Fails, instead
		res.Because += "; " + gaps + ": no cluster"
		return res, nil
	}
	if !clusterIs(kind, a.word, members) {
		res.Verdict = Fails
		res.Because += fmt.Sprintf("; %s", gaps)
		res.Instead = "the " + kind + " cluster " + classNames(members)
		if a.word == "chromatic" {
			if note := fillers(pcs); note != "" {
				res.Instead += "; " + note
			}
		}
		return res, nil
	}
	// A cluster is struck in one place of the keyboard.
	spread := spreadNotes(son.notes, members)
	switch {
	case spread != "":
		res.Verdict, res.Because = Arguable, res.Because+"; "+gaps+", but "+spread
		res.Instead = "the " + kind + " notes " + classNames(members) + " sound, spread out; a cluster lies together"
	case len(respelled) > 0:
		res.Verdict, res.Because = Arguable, res.Because+"; "+listed(respelled)
		res.Instead = "the " + kind + " cluster " + classNames(members)
	default:
		res.Verdict, res.Because = Holds, res.Because+"; "+gaps
	}
	return res, nil
}

// clusterKind lays pitch classes out in their closest order and names the cluster they make, "" if none; gaps says the
// steps between them in words.
func clusterKind(pcs []int, members []score.Note) (kind, gaps string) {
	// Begin after the widest gap of the octave.
	n := len(pcs)
	start, widest := 0, 0
	for i := range pcs {
		if g := (pcs[(i+1)%n]-pcs[i]+12)%12 + 0; g > widest {
			widest, start = g, (i+1)%n
		}
	}
	name := func(pc int) string {
		for _, m := range members {
			if m.Pitch.PC() == pc {
				return m.Pitch.Class().String()
			}
		}
		return ""
	}
	semis, tones := 0, 0
	var words []string
	for i := 0; i+1 < n; i++ {
		a, b := pcs[(start+i)%n], pcs[(start+i+1)%n]
		switch g := (b - a + 12) % 12; g {
		case 1:
			semis++
			words = append(words, fmt.Sprintf("%s–%s is a semitone", name(a), name(b)))
		case 2:
			tones++
			words = append(words, fmt.Sprintf("%s–%s is a whole tone", name(a), name(b)))
		default:
			return "", fmt.Sprintf("%s–%s is %d semitones", name(a), name(b), g)
		}
	}
	switch {
	case tones == 0:
		return "chromatic", "all by semitone"
	case semis == 0:
		kind = "whole-tone"
	default:
		kind = "diatonic"
	}
	if !inOneScale(pcs) && kind == "diatonic" {
		kind = "mixed"
	}
	return kind, listed(words)
}

// inOneScale reports whether pitch classes lie in one major scale.
func inOneScale(pcs []int) bool {
	for t := 0; t < 12; t++ {
		all := true
		for _, pc := range pcs {
			all = all && slices.Contains([]int{0, 2, 4, 5, 7, 9, 11}, (pc-t+12)%12)
		}
		if all {
			return true
		}
	}
	return false
}

// clusterIs reports whether a cluster of a kind may be called by the word claimed; no word fits all.
func clusterIs(kind, word string, members []score.Note) bool {
	ps := pitches(members)
	switch word {
	case "", kind:
		return true
	case "diatonic": // three whole tones in a row are in every major scale, too
		return kind == "whole-tone" && inOneScale(pcsOf(ps))
	case "white-key":
		return chord.WhiteOnly(ps)
	case "black-key", "pentatonic":
		return chord.BlackOnly(ps)
	}
	return false
}

func pcsOf(ps []pitch.Pitch) []int {
	var pcs []int
	for _, p := range ps {
		pcs = append(pcs, p.PC())
	}
	return pcs
}

// fillers says which note would close the whole tones of a cluster.
func fillers(pcs []int) string {
	var add []string
	for _, pc := range pcs {
		if !slices.Contains(pcs, (pc+1)%12) && slices.Contains(pcs, (pc+2)%12) {
			p := pitch.FromMIDI(60+(pc+1)%12, false)
			name := p.Class().String()
			if q := pitch.FromMIDI(p.MIDI(), true); q != p {
				name += " (or " + q.Class().String() + ")"
			}
			add = append(add, name)
		}
	}
	if len(add) == 0 {
		return ""
	}
	return "chromatic only with " + listed(add) + " in it"
}

func classNames(notes []score.Note) string {
	var s []string
	for _, n := range notes {
		if c := n.Pitch.Class().String(); !slices.Contains(s, c) {
			s = append(s, c)
		}
	}
	return strings.Join(s, "–")
}

// spreadNotes says why members don't lie together among all notes, "" if they do.
func spreadNotes(all, members []score.Note) string {
	var keys []int
	for _, n := range members {
		keys = append(keys, n.Pitch.MIDI())
	}
	slices.Sort(keys)
	keys = slices.Compact(keys)
	if keys[len(keys)-1]-keys[0] > 2*(len(keys)-1) {
		// Another octave of the same notes may lie together.
		for _, c := range chord.Clusters(pitches(all)) {
			have := pcsOf(c.Notes)
			every := true
			for _, n := range members {
				every = every && slices.Contains(have, n.Pitch.PC())
			}
			if every {
				return ""
			}
		}
		return "they are spread from " + members[0].Pitch.String() + " to " + members[len(members)-1].Pitch.String()
	}
	return ""
}

// clusterOfKind checks a claim that names no notes.
func clusterOfKind(son sonority, word, instead string) Result {
	res := Result{Because: son.said()}
	for _, c := range chord.Clusters(pitches(son.notes)) {
		ok := word == "" || c.Kind == word
		run := c.Notes
		if !ok { // part of a longer run may be of the kind
			for i := 0; i < len(c.Notes) && !ok; i++ {
				for j := len(c.Notes); j >= i+3 && !ok; j-- {
					part := chord.Clusters(c.Notes[i:j])
					if len(part) == 1 && part[0].Kind == word {
						ok, run = true, part[0].Notes
					}
				}
			}
		}
		if ok {
			for _, n := range son.notes {
				if slices.Contains(run, n.Pitch) {
					res.Evidence = append(res.Evidence, n)
				}
			}
			res.Verdict = Holds
			res.Because += fmt.Sprintf("; %s lie together", names(run))
			return res
		}
	}
	res.Verdict, res.Instead, res.Evidence = Fails, instead, son.notes
	return res
}

// sixthForFifth checks "added sixth F# replaces the fifth".
func (k *Checker) sixthForFifth(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	sixth := a.notes[0]
	root := sixth.class.Add(pitch.MajorSixth.Neg())
	find := func(c pitch.Class) (score.Note, bool) {
		for _, n := range son.notes {
			if n.Pitch.Class() == c {
				return n, true
			}
		}
		return score.Note{}, false
	}
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails, Instead: bestReading(son.notes)}
	has := func(c pitch.Class) bool { _, ok := find(c); return ok }
	switch {
	case !slices.ContainsFunc(son.notes, func(n score.Note) bool { return sixth.is(n.Pitch) }):
		res.Because += fmt.Sprintf("; %s does not sound", sixth)
		return res, nil
	case !has(root):
		res.Because += fmt.Sprintf("; %s would be the sixth above %s, which does not sound", sixth.class, root)
		return res, nil
	}
	major, minor := root.Add(pitch.MajorThird), root.Add(pitch.MinorThird)
	third := major
	if !has(major) {
		third = minor
	}
	if !has(third) {
		res.Because += fmt.Sprintf("; over the root %s there is no third (%s or %s)", root, major, minor)
		return res, nil
	}
	for _, f := range []pitch.Interval{pitch.PerfectFifth, pitch.DiminishedFifth, {Steps: 4, Semitones: 8}} {
		if n, ok := find(root.Add(f)); ok {
			res.Because += fmt.Sprintf("; the fifth above %s sounds too: %s", root, n.Pitch)
			res.Instead = fmt.Sprintf("the sixth %s is added beside the fifth; %s", sixth.class, bestReading(son.notes))
			return res, nil
		}
	}
	res.Verdict, res.Instead = Holds, ""
	res.Because += fmt.Sprintf("; root %s, third %s, sixth %s, and no fifth (%s)", root, third, sixth.class, root.Add(pitch.PerfectFifth))
	others := 0
	for _, n := range son.notes {
		if c := n.Pitch.Class(); c != root && c != third && c != sixth.class {
			others++
		}
	}
	switch bass := son.notes[0].Pitch.Class(); {
	case bass != root:
		res.Verdict = Arguable
		res.Because += fmt.Sprintf("; the bass is %s, not the root", bass)
		res.Instead = bestReading(son.notes)
	case others == 0:
		res.Verdict = Arguable
		res.Instead = fmt.Sprintf("the handbooks call these three notes %s; heard from the bass they are %s with its sixth in place of the fifth", chord.Name(pitches(son.notes))[0].Label, root)
	}
	return res, nil
}

// inversion checks "in first inversion".
func (k *Checker) inversion(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	if res, ok := k.inversionInContext(r, son, a); ok {
		return res, nil
	}
	res := Result{Evidence: son.notes, Verdict: Fails}
	n := 0
	for _, rd := range chord.Name(pitches(son.notes)) {
		if !rd.Rooted || rd.Inversion < 0 || rd.Kind == chord.StackedFourths || rd.Kind == chord.StackedFifths {
			continue
		}
		n++
		switch {
		case rd.Inversion == a.number && n == 1, a.number < 0 && rd.Inversion > 0 && n == 1:
			res.Verdict, res.Because, res.Instead = Holds, fmt.Sprintf("%s: %s, %s", son.said(), rd.Label, bassPart(rd)), ""
			return res, nil
		case rd.Inversion == a.number && len(rd.Missing) == 0:
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; only the reading %s has it so", rd.Label)
			return res, nil
		case n == 1:
			res.Because = fmt.Sprintf("%s: %s, %s", son.said(), rd.Label, bassPart(rd))
			res.Instead = "in " + inversionName(rd.Inversion)
		}
	}
	if n == 0 {
		res.Because = son.said() + ": no chord in thirds, so it has no inversion"
		res.Instead = bestReading(son.notes)
	}
	return res, nil
}

func bassPart(r chord.Reading) string {
	for _, m := range r.Members {
		if m.Pitch.Class() == r.Bass {
			return fmt.Sprintf("with its %s %s in the bass", m.Role, r.Bass)
		}
	}
	return fmt.Sprintf("with %s in the bass", r.Bass)
}

func inversionName(n int) string {
	return [...]string{"root position", "first inversion", "second inversion", "third inversion", "fourth inversion"}[min(max(n, 0), 4)]
}

// Parts of the sound of a longer place that foreign notes may take before "is CHORD" becomes arguable, and fails.
const (
	foreignPasses  = 0.25
	foreignArgues  = 0.40
	foreignMost    = 0.50 // the same of all foreign notes, those that move on to a member among them
	maxForeignBeat = 1    // classes that may be foreign in one instant for the claim to be arguable still
)

// isChord checks "is an F# minor seventh chord".
func (k *Checker) isChord(r score.Region, a args) (Result, error) {
	res, err := k.isChordThere(r, a)
	if son := k.sonority(r); err == nil && len(son.notes) > 0 && len(son.slices) == 1 {
		res = k.sixthStandsIn(son, a.symbol, res)
	}
	return res, err
}

func (k *Checker) isChordThere(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	if !son.block() {
		if res, ok := k.judgeChord(r, son, a.symbol); ok {
			return res, nil
		}
	} else if !r.Moment { // one sonority, but the place is a stretch of music: what stands there may stand for a chord
		res, err := k.isChordPlainly(r, son, a)
		if err != nil || res.Verdict == Holds {
			return res, err
		}
		if j, ok := k.judgeChord(r, son, a.symbol); ok {
			switch {
			case res.Verdict == Fails && j.Verdict != Fails:
				j.Verdict = Arguable
				if j.Instead == "" {
					j.Instead = res.Instead
				}
				return j, nil
			case res.Verdict == Arguable && j.Verdict == Fails:
				return j, nil
			}
		}
		return res, nil
	}
	return k.isChordPlainly(r, son, a)
}

// sixthStandsIn makes a chord that fails arguable where the notes are first read as that chord with the sixth in place of the
// fifth: analysts speak of it by the plain name, too.
func (k *Checker) sixthStandsIn(son sonority, sym chord.Symbol, res Result) Result {
	if res.Verdict != Fails || sym.Inversion > 0 || sym.HasBass && sym.Bass != sym.Root {
		return res
	}
	first := chord.Name(pitches(son.notes))[0]
	if first.Kind != chord.AddedSixth || !first.Rooted || first.Root != sym.Root || !slices.Contains(first.Missing, "fifth") {
		return res
	}
	third := func(ivs []pitch.Interval) int {
		for _, iv := range ivs {
			if iv.Steps == 2 {
				return iv.Semitones
			}
		}
		return -1
	}
	has := -1
	for _, m := range first.Members {
		if m.Role == "third" {
			has = m.Pitch.Class().Sub(first.Root).Semitones
		}
	}
	if f := sym.Type.Family; has != third(sym.Type.Intervals) || f != "triad" && f != "sixth" {
		return res
	}
	res.Verdict = Arguable
	res.Because += fmt.Sprintf("; root and third are there, and the sixth stands in for the fifth (%s)", first.Label)
	return res
}

// isChordPlainly holds a chord against the notes alone.
func (k *Checker) isChordPlainly(r score.Region, son sonority, a args) (Result, error) {
	m := chord.Agrees(a.symbol, pitches(son.notes))
	readings := chord.Name(pitches(son.notes))
	first := readings[0]
	label := a.symbol.House()
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails, Instead: bestReading(son.notes)}
	span := len(son.slices) > 1

	// What players leave out and what a chord can't be without.
	lacking := m.Missing
	if m.Usual {
		lacking = nil
	}
	bassOK, bassSound := m.BassOK, m.BassSounds
	if span && m.BassSaid {
		for _, s := range son.slices {
			if len(s.Notes) > 0 {
				bassOK = bassOK || s.Notes[0].Pitch.Class() == m.BassWant
				bassSound = bassSound || s.Notes[0].Pitch.Class().Enharmonic(m.BassWant)
			}
		}
	}
	var foreign []string
	for _, p := range m.Foreign {
		if c := p.Class().String(); !slices.Contains(foreign, c) {
			foreign = append(foreign, c)
		}
	}
	parts := memberText(m.Present)
	if len(m.Missing) > 0 && lacking == nil {
		parts += fmt.Sprintf("; the %s is left out, as players do", listed(m.Missing))
	}
	switch {
	case len(lacking) > 0:
		res.Because += fmt.Sprintf("; of %s the %s %s", label, listed(lacking), doesnt(len(lacking)))
		if len(foreign) > 0 {
			res.Because += fmt.Sprintf(", and %s no part of it", isAre(foreign))
		} else if len(lacking) == 1 && lacking[0] == "third" && len(m.Present) > 1 {
			res.Verdict = Arguable
			res.Because += ": it is neither major nor minor, and nothing speaks against either"
		}
		return res, nil
	case m.BassSaid && !bassOK && !bassSound:
		res.Because += fmt.Sprintf("; the notes are those of the chord, but the bass is %s, not %s", m.Bass.Class(), m.BassWant)
		return res, nil
	case len(foreign) > 0:
		share := foreignShare(son, m.Foreign)
		switch {
		case span && share <= foreignPasses:
			res.Verdict, res.Instead = Holds, ""
			res.Because += fmt.Sprintf("; %s; foreign and passing: %s (%.0f %% of the sound)", parts, listed(foreign), 100*share)
		case !span && r.Layer == score.Whole && m.Bass == m.Foreign[0] && first.Rooted && first.Root == m.Bass.Class() && first.Root != a.symbol.Root:
			res.Because += fmt.Sprintf("; %s sounds, but over %s, the root of %s", label, m.Bass, first.Label)
			return res, nil
		case span && share <= foreignArgues, !span && len(foreign) <= maxForeignBeat:
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; %s is all there (%s), but %s besides", label, parts, soundsToo(foreign))
			return res, nil
		default:
			res.Because += fmt.Sprintf("; %s no part of %s", isAre(foreign), label)
			return res, nil
		}
	default:
		res.Verdict, res.Instead = Holds, ""
		res.Because += "; " + parts
	}
	if len(m.Enharmonic) > 0 || m.BassSaid && !bassOK {
		var words []string
		for _, e := range m.Enharmonic {
			words = append(words, fmt.Sprintf("%s stands where %s has %s", e.Pitch.Class(), label, e.As))
		}
		res.Verdict, res.Instead = Arguable, bestReading(son.notes)
		res.Because += "; by sound only: " + listed(words)
		return res, nil
	}
	// All is there. It is still arguable if musicians would first say another name, unless the root is in the bass.
	if !(first.Rooted && first.Root == a.symbol.Root && first.Type == a.symbol.Type.ID) && m.Bass.Class() != a.symbol.Root && len(foreign) == 0 && !sameNotes(first, a.symbol) {
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("with %s in the bass %s", m.Bass.Class(), bestReading(son.notes))
	}
	return res, nil
}

// sameNotes reports whether a reading is the claimed chord under another row of the vocabulary with the same root.
func sameNotes(r chord.Reading, s chord.Symbol) bool { return r.Rooted && r.Root == s.Root }

// foreignShare returns the part of the sounding time, over all notes of a sonority, that foreign notes take.
func foreignShare(son sonority, foreign []pitch.Pitch) float64 {
	var all, out score.Time
	for _, s := range son.slices {
		d := s.Until.Sub(s.At)
		for _, n := range s.Notes {
			all = all.Add(d)
			if slices.Contains(foreign, n.Pitch) {
				out = out.Add(d)
			}
		}
	}
	return out.Div(all).Float()
}

func memberText(ms []chord.Member) string {
	var roles []string
	seen := map[string]bool{}
	for _, m := range ms {
		key := m.Role + m.Pitch.Class().String()
		if !seen[key] {
			seen[key] = true
			roles = append(roles, m.Role+" "+m.Pitch.Class().String())
		}
	}
	return strings.Join(roles, ", ")
}

func doesnt(n int) string {
	if n == 1 {
		return "does not sound"
	}
	return "do not sound"
}

func isAre(names []string) string {
	if len(names) == 1 {
		return names[0] + " is"
	}
	return listed(names) + " are"
}

func soundsToo(names []string) string {
	if len(names) == 1 {
		return names[0] + " sounds"
	}
	return listed(names) + " sound"
}
