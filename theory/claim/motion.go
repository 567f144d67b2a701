package claim

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

const notThere = "name a note that sounds at the place"

// resolves checks "B#5 resolves to C#6 at bar 1 beat 3".
func (k *Checker) resolves(r score.Region, a args) (Result, error) {
	from := a.notes[0]
	if a.at != nil {
		if _, err := k.passage.Resolve(*a.at); err != nil {
			return Result{}, err
		}
	}
	here := r.Select(k.sounding)
	if r.Moment { // the beat's first instant, else anything struck within the beat
		here = slices.DeleteFunc(slices.Clone(here), func(n score.Note) bool { return n.Grace != score.NoGrace })
	}
	if len(here) == 0 {
		return nothing(k, r), nil
	}
	var sources []score.Note
	bySound := false
	for _, n := range here {
		if from.is(n.Pitch) {
			sources = append(sources, n)
		}
	}
	if len(sources) == 0 {
		for _, n := range here {
			if from.sounds(n.Pitch) {
				sources, bySound = append(sources, n), true
			}
		}
	}
	if len(sources) == 0 {
		return Result{Verdict: Fails, Evidence: here, Because: fmt.Sprintf("%s does not sound there: %s", from, spoken(here)),
			Instead: notThere}, nil
	}

	var targetRegion score.Region
	if a.at != nil {
		var err error
		if targetRegion, err = k.passage.Resolve(*a.at); err != nil {
			return Result{}, err
		}
		if targetRegion.Layer == score.Whole {
			targetRegion.Layer = r.Layer
		}
	}
	type pair struct {
		from, to score.Note
		bySound  bool
		cost     int
	}
	var best *pair
	for _, s := range sources {
		for _, t := range k.sounding {
			if t.Grace != score.NoGrace || t.Duration.Sign() <= 0 || !s.Onset.Less(t.Onset) {
				continue
			}
			exact := a.to.is(t.Pitch)
			if !exact && !a.to.sounds(t.Pitch) {
				continue
			}
			cost := 0
			if a.at != nil {
				if t.Onset.Less(targetRegion.From) || !t.Onset.Less(targetRegion.To) {
					continue
				}
				if t.Onset != targetRegion.From {
					cost++ // within the beat named, but not on it
				}
			} else if t.Onset.Less(s.End()) || s.End().Add(score.Quarters(8)).Less(t.Onset) {
				continue
			}
			size := t.Pitch.MIDI() - s.Pitch.MIDI()
			cost += 10 * max(size, -size)
			if !exact {
				cost += 15
			}
			if t.Hand != s.Hand {
				cost += 12
			}
			if a.at == nil {
				cost += int(4 * t.Onset.Sub(s.End()).Float())
			}
			if best == nil || cost < best.cost {
				best = &pair{s, t, !exact, cost}
			}
		}
	}
	if best == nil {
		s := sources[0]
		where := ""
		if a.at != nil {
			where = " at " + a.at.Text
			if targetRegion.Moment && len(score.Slices(k.sounding, targetRegion.From, targetRegion.To)) > 0 {
				where = " at " + k.passage.Where(targetRegion.From)
			}
		}
		return Result{Verdict: Fails, Evidence: []score.Note{s}, Because: fmt.Sprintf("%s %s sounds at %s, but no %s is struck%s", s.Hand, s.Pitch, k.where(s), a.to, where),
			Instead: k.goesTo(s)}, nil
	}
	s, t := best.from, best.to
	i := t.Pitch.Sub(s.Pitch)
	size := max(i.Semitones, -i.Semitones)
	dir := "up"
	if i.Descends() || i.Semitones < 0 {
		dir = "down"
	}
	res := Result{Evidence: []score.Note{s, t}, Verdict: Holds,
		Because: fmt.Sprintf("%s %s at %s goes %s a %s to %s at %s", s.Hand, s.Pitch, k.where(s), dir, i.Words(), t.Pitch, k.where(t))}
	if t.Hand != s.Hand {
		res.Because += " in the " + t.Hand.String()
	}
	argue := func(why, instead string) {
		if res.Verdict == Holds {
			res.Verdict = Arguable
		}
		res.Because += "; " + why
		if res.Instead == "" {
			res.Instead = instead
		}
	}
	fail := func(why, instead string) {
		res.Verdict, res.Instead = Fails, instead
		res.Because += "; " + why
	}
	simple := i.Simple()
	switch {
	case i.Number() == 2 && (i.Quality() == pitch.Minor || i.Quality() == pitch.Major):
	case size == 0:
		fail("it stays where it is", k.goesTo(s))
	case size == 1 && i.Number() == 1:
		argue("a chromatic semitone on one letter, a change of colour more than a resolution", fmt.Sprintf("%s moves chromatically to %s", s.Pitch, t.Pitch))
	case size <= 2:
		argue("a step by sound only", fmt.Sprintf("%s moves a %s to %s", s.Pitch, i.Words(), t.Pitch))
	case size > 2 && (simple.Number() == 2 || simple.Number() == 7) && (mod12(i.Semitones) <= 2 || mod12(i.Semitones) >= 10):
		argue("a step in another octave", fmt.Sprintf("%s resolves to %s in another octave (%s)", s.Pitch, a.to.class, t.Pitch))
	default:
		fail("a leap, and a resolution goes by step", k.goesTo(s))
	}
	if a.dir != 0 && res.Verdict != Fails && (a.dir > 0) != (dir == "up") {
		fail("the claim has it the other way", fmt.Sprintf("resolves %s to %s", dir, t.Pitch))
	}
	if res.Verdict != Fails {
		if bySound {
			argue(fmt.Sprintf("%s is written %s", from, s.Pitch), fmt.Sprintf("%s resolves to %s", s.Pitch, t.Pitch))
		}
		if best.bySound {
			argue(fmt.Sprintf("%s is written %s", a.to, t.Pitch), fmt.Sprintf("%s resolves to %s", s.Pitch, t.Pitch))
		}
		switch gap := t.Onset.Sub(s.End()); {
		case gap.Sign() < 0:
			argue(fmt.Sprintf("%s is still held when %s is struck", s.Pitch, t.Pitch), fmt.Sprintf("%s is held against its resolution %s", s.Pitch, t.Pitch))
		case gap.Sign() > 0:
			if between := k.between(s, t); len(between) > 0 {
				res.Because += "; in between comes " + between.String()
			} else {
				res.Because += "; after a rest"
			}
		}
	}
	return res, nil
}

func mod12(n int) int { return ((n % 12) + 12) % 12 }

// between returns what the top line of the hand of s plays after s and before t, if it is a line.
func (k *Checker) between(s, t score.Note) line.Line {
	var l line.Line
	for _, n := range k.sounding {
		if n.Hand == s.Hand && n.Grace == score.NoGrace && n.Duration.Sign() > 0 && !n.Onset.Less(s.End()) && n.Onset.Less(t.Onset) {
			if len(l) > 0 && l[len(l)-1].Onset == n.Onset {
				l[len(l)-1] = n
				continue
			}
			l = append(l, n)
		}
	}
	return l
}

// goesTo says where a note goes by step, or what follows it.
func (k *Checker) goesTo(s score.Note) string {
	var next []score.Note
	for _, n := range k.sounding {
		if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 || n.Onset.Less(s.End()) {
			continue
		}
		if s.End().Add(score.Quarters(8)).Less(n.Onset) {
			break
		}
		size := n.Pitch.MIDI() - s.Pitch.MIDI()
		if n.Hand == s.Hand && size >= -2 && size <= 2 && size != 0 {
			return fmt.Sprintf("%s goes to %s at %s", s.Pitch, n.Pitch, k.where(n))
		}
		if n.Hand == s.Hand && (len(next) == 0 || next[0].Onset == n.Onset) {
			next = append(next, n)
		}
	}
	if len(next) == 0 {
		return fmt.Sprintf("nothing follows %s in the %s", s.Pitch, s.Hand)
	}
	return fmt.Sprintf("%s does not move by step; the %s goes on with %s at %s", s.Pitch, s.Hand, names(pitches(distinct(next))), k.where(next[0]))
}

// errNoLine is the answer to a claim about a line at a place that names none.
var errNoLine = errors.New("name the line that moves: add \", bass\", \", top line\", \", left hand\" or \", right hand\" to the place")

// A tryLine is a line that a claim may mean, and how it was taken.
type tryLine struct {
	line line.Line
	how  string // "" for the notes as they are
}

// lines returns the lines that a region may mean, the plainest first.
func (k *Checker) lines(r score.Region) ([]tryLine, error) {
	var out []tryLine
	notes := k.sounding
	low, high := true, true
	switch r.Layer {
	case score.Bass:
		high = false
	case score.TopLine:
		low = false
	case score.LeftHand, score.RightHand:
		notes = r.Select(k.sounding)
		notes = slices.DeleteFunc(notes, func(n score.Note) bool { return n.Onset.Less(r.From) })
		if l, ok := line.Single(notes); ok {
			out = append(out, tryLine{line: l})
		}
		low, high = r.Layer == score.LeftHand, r.Layer == score.RightHand
	case score.InnerLines:
		for _, l := range line.Inner(k.sounding, r) {
			out = append(out, tryLine{l, "an inner line"})
		}
		if len(out) == 0 {
			return nil, errors.New("there is no inner line to follow there; name the bass, the top line or a hand")
		}
		return out, nil
	default:
		l, ok := line.Single(r.Select(k.sounding))
		if !ok {
			return nil, errNoLine
		}
		return []tryLine{{line: l}}, nil
	}
	who := ""
	if r.Layer == score.LeftHand {
		who = "taking the lowest notes of the left hand"
	} else if r.Layer == score.RightHand {
		who = "taking the highest notes of the right hand"
	}
	if high {
		if len(out) == 0 {
			out = append(out, tryLine{line.Top(notes, r), who})
		}
		return out, nil
	}
	if low && len(out) == 0 {
		out = append(out, tryLine{line.Bass(notes, r), who})
	}
	// A bass may be broken into figures: its line is then the lowest note of each beat or bar.
	var beats, bars []score.Time
	for _, b := range k.passage.Bars {
		if !r.From.Less(b.End()) || !b.Start.Less(r.To) {
			continue
		}
		bars = append(bars, b.Start)
		first := b.Start.Sub(b.Offset)
		for t := first; t.Less(b.End()); t = t.Add(b.Meter.Beat()) {
			if !t.Less(b.Start) {
				beats = append(beats, t)
			}
		}
	}
	beats, bars = append(beats, r.To), append(bars, r.To)
	out = append(out, tryLine{line.Lowest(notes, r, beats), "taking the lowest note of each beat"},
		tryLine{line.Lowest(notes, r, bars), "taking the lowest note of each bar"})
	return out, nil
}

// moves checks "moves by step", "rises chromatically", "falls".
func (k *Checker) moves(r score.Region, a args) (Result, error) {
	if len(a.notes) > 0 {
		return k.movesBetween(r, a), nil
	}
	res, err := k.movesThroughout(r, a)
	if err != nil || res.Verdict == Holds || a.motion != line.InFifths || !a.steps || r.Layer != score.Bass && r.Layer != score.LeftHand {
		return res, err
	}
	// Of a bass line fifths are said of what its notes are to each other, whatever the octave.
	b := a
	b.motion, b.dir = line.CircleOfFifths, 0
	if round, err := k.movesThroughout(r, b); err == nil && (round.Verdict == Holds && a.dir <= 0 || round.Verdict == Arguable && a.dir > 0) {
		round.Verdict, round.Instead = Holds, ""
		round.Because += map[bool]string{true: "; a fourth up counts as a fifth down in a bass", false: "; a fourth down counts as a fifth up in a bass"}[a.dir <= 0]
		return round, nil
	}
	return res, nil
}

// movesThroughout checks a motion from the first note of the place to the last.
func (k *Checker) movesThroughout(r score.Region, a args) (Result, error) {
	tries, err := k.lines(r)
	if err != nil {
		return Result{}, err
	}
	if len(tries[0].line) == 0 {
		return nothing(k, r), nil
	}
	var res Result
	for i, t := range tries {
		// A reduction that keeps next to nothing proves nothing: it must leave at least two moves.
		if i > 0 && len(t.line.Moves()) < 2 {
			continue
		}
		one := judgeMoves(t.line, a, k)
		if t.how != "" {
			one.Because += " (" + t.how + ")"
		}
		if i == 0 || worse(res.Verdict, one.Verdict) {
			res = one
		}
		if res.Verdict == Holds {
			break
		}
	}
	return res, nil
}

// moveText says a move: "D3–G#3, an augmented fourth up, at bar 6 beat 1".
func (k *Checker) moveText(m line.Move) string {
	dir := " up"
	if m.Interval.Descends() {
		dir = " down"
	}
	return fmt.Sprintf("%s–%s, %s%s, at %s", m.From.Pitch, m.To.Pitch, m.Interval.Words(), dir, k.where(m.To))
}

func (k *Checker) moveTexts(ms []line.Move) string {
	var s []string
	for i, m := range ms {
		if i == 2 && len(ms) > 3 {
			s = append(s, fmt.Sprintf("and %d more", len(ms)-2))
			break
		}
		s = append(s, k.moveText(m))
	}
	return strings.Join(s, "; ")
}

func judgeMoves(l line.Line, a args, k *Checker) Result {
	res := Result{Evidence: l, Because: l.String(), Verdict: Holds}
	m := a.motion
	if !a.steps {
		m = line.ByStep
	}
	j := line.Judge(l, m)
	if len(j.Moves) == 0 {
		res.Verdict, res.Instead = Fails, "stays on "+l[0].Pitch.String()
		res.Because += ": it does not move"
		return res
	}
	if a.steps {
		misfits := j.Misfits
		if a.strict {
			misfits = append(slices.Clone(misfits), j.Altered...)
		}
		back := 0
		if m == line.CircleOfFifths {
			for _, mv := range j.Moves {
				if mod12(mv.Interval.Semitones) == 7 {
					back++
				}
			}
		}
		switch {
		case back == len(j.Moves):
			res.Verdict = Arguable
			res.Because += ": every move is a fifth up or a fourth down, the other way round the circle"
			res.Instead = "moves by rising fifths; the circle of fifths of the handbooks descends"
		case len(misfits) > 0:
			res.Verdict = Fails
			res.Because += fmt.Sprintf(": %d of %s %s: %s", len(misfits), plural(len(j.Moves), "move"), map[bool]string{true: "is not so", false: "are not so"}[len(misfits) == 1], k.moveTexts(misfits))
			res.Instead = insteadMoves(l, j)
			if run := fittingRun(j, misfits); len(run) >= 3 {
				last := run[len(run)-1].To
				res.Instead += fmt.Sprintf("; it does so from %s to %s", k.where(run[0].From), k.where(last))
			}
		case len(j.BySound) > 0:
			res.Verdict = Arguable
			res.Because += ": by sound only at " + k.moveTexts(j.BySound)
			res.Instead = insteadMoves(l, j)
		case 2*len(j.Altered) > len(j.Moves) && m != line.ByStep:
			res.Verdict = Arguable
			res.Because += ": more than half of them altered: " + k.moveTexts(j.Altered)
			res.Instead = insteadMoves(l, j)
		default:
			res.Because += fmt.Sprintf(": %s, each %s", plural(len(j.Moves), "move"), oneMove(m))
			if len(j.Altered) > 0 {
				word := "altered: "
				if m == line.ByStep {
					word = "a chromatic semitone on one letter: "
				}
				res.Because += "; " + word + k.moveTexts(j.Altered)
			}
		}
	}
	if a.dir != 0 {
		with, against, word := j.Rising, j.Falling, "rises"
		if a.dir < 0 {
			with, against, word = j.Falling, j.Rising, "falls"
		}
		if against > 0 {
			if res.Verdict != Fails {
				res.Instead = ""
			}
			res.Verdict = Fails
			res.Because += fmt.Sprintf("; %d of %s the other way", against, plural(len(j.Moves), "move")+map[bool]string{true: " goes", false: " go"}[against == 1])
			if res.Instead == "" {
				res.Instead = insteadMoves(l, j)
			}
		} else if !a.steps {
			res.Because += fmt.Sprintf(": it %s, %s", word, plural(with, "move"))
		}
	}
	return res
}

// fittingRun returns the longest stretch of moves without a misfit.
func fittingRun(j line.Judgement, misfits []line.Move) []line.Move {
	var best, cur []line.Move
	for i, m := range j.Moves {
		if slices.Contains(misfits, m) {
			cur = nil
			continue
		}
		cur = append(cur, j.Moves[i])
		if len(cur) > len(best) {
			best = cur
		}
	}
	return best
}

// oneMove describes the single move of a motion.
func oneMove(m line.Motion) string {
	switch m {
	case line.Chromatic:
		return "a semitone"
	case line.ByWholeTones:
		return "a whole tone"
	case line.ByStep:
		return "a second"
	case line.InThirds:
		return "a third"
	case line.InFourths:
		return "a fourth"
	case line.InFifths:
		return "a fifth"
	case line.CircleOfFifths:
		return "a fifth down or a fourth up"
	}
	return m.String()
}

// insteadMoves says how a line moves in fact.
func insteadMoves(l line.Line, j line.Judgement) string {
	verb := "moves"
	switch {
	case j.Falling == 0:
		verb = "rises"
	case j.Rising == 0:
		verb = "falls"
	}
	if m, ok := line.Best(l); ok {
		return verb + " " + m.String()
	}
	var iv []string
	for i, m := range j.Moves {
		if i == 8 {
			iv = append(iv, "…")
			break
		}
		switch d := m.Interval; {
		case d == pitch.Unison:
			iv = append(iv, "stays")
		case d.Descends():
			iv = append(iv, "down "+d.Neg().String())
		default:
			iv = append(iv, "up "+d.String())
		}
	}
	return verb + ": " + strings.Join(iv, ", ")
}

// twoLines checks "splits into two stepwise lines".
func (k *Checker) twoLines(r score.Region, a args) (Result, error) {
	if r.Layer == score.Whole {
		r.Layer = score.TopLine
	}
	tries, err := k.lines(r)
	if err != nil {
		return Result{}, err
	}
	l := tries[0].line
	if len(l) == 0 {
		return nothing(k, r), nil
	}
	res := Result{Evidence: l, Because: l.String(), Verdict: Fails, Instead: "one line"}
	if j := line.Judge(l, line.ByStep); len(j.Moves) > 0 {
		res.Instead = "one line; it " + insteadMoves(l, j)
	}
	split, ok := line.SplitInTwo(l)
	if !ok {
		res.Because += ": too few notes for two lines"
		return res, nil
	}
	moves := len(l.Moves())
	if leaps := line.LeapsOf(l); 2*leaps < moves {
		res.Because += fmt.Sprintf(": only %d of %s leaps", leaps, plural(moves, "move"))
		return res, nil
	}
	res.Because += fmt.Sprintf(": upper line %s, lower line %s", split.High, split.Low)
	limit := line.ByStep
	if a.strict {
		limit = line.Chromatic
	}
	var off []line.Move
	for _, s := range []line.Line{split.High, split.Low} {
		for _, m := range s.Moves() {
			if d := max(m.Interval.Semitones, -m.Interval.Semitones); d > 2 || limit == line.Chromatic && d != 1 {
				off = append(off, m)
			}
		}
	}
	all := split.Steps + split.Leaps
	switch {
	case all < 2:
		res.Because += "; they hardly move"
	case len(off) == 0:
		res.Verdict, res.Instead = Holds, ""
	case 6*len(off) <= all:
		res.Verdict = Arguable
		res.Because += "; but for " + k.moveTexts(off)
		res.Instead = "splits into two lines, not wholly " + map[bool]string{true: "chromatic", false: "stepwise"}[a.strict]
	default:
		res.Because += "; within them " + k.moveTexts(off)
		res.Instead = "the best division into two lines is not " + map[bool]string{true: "chromatic", false: "stepwise"}[a.strict]
		if a.strict && split.Leaps == 0 {
			res.Instead = "splits into two stepwise lines"
		}
	}
	// Would the same notes in another order split as well?
	if c := line.TwoLines(l); !c.Two && res.Verdict != Fails {
		res.Because += "; " + c.Why
		if len(l) < 8 && res.Verdict == Holds {
			res.Verdict, res.Instead = Arguable, "too short a line to tell two lines from chance"
		} else {
			res.Verdict, res.Instead = Fails, "one line"
		}
	}
	return res, nil
}

// outerIntervals checks "outer intervals repeat every 3 chords: P5 m3 M7".
func (k *Checker) outerIntervals(r score.Region, a args) (Result, error) {
	outers := line.Outers(k.sounding, score.Region{From: r.From, To: r.To})
	if len(outers) == 0 {
		return nothing(k, score.Region{From: r.From, To: r.To}), nil
	}
	if a.word == "are" {
		return k.outersAre(outers, a.list), nil
	}
	var words []string
	var res Result
	for _, o := range outers {
		words = append(words, simpleName(o.Interval))
		res.Evidence = append(res.Evidence, o.Low, o.High)
	}
	res.Because = fmt.Sprintf("bass %s, top %s: %s", outerNames(outers, false), outerNames(outers, true), first(words, 24))
	res.Verdict = Fails
	n := a.number
	if len(outers) <= n {
		res.Because += fmt.Sprintf("; with %s nothing can come back after %d", plural(len(outers), "chord"), n)
		res.Instead = "name a longer place"
		return res, nil
	}
	exact, sound := -1, -1 // the first place where the cycle breaks, by spelling and by sound
	for i, o := range outers {
		want := outers[i%n].Interval.Simple()
		if len(a.list) > 0 {
			want = a.list[i%n]
		}
		got := o.Interval.Simple()
		if got != want && exact < 0 {
			exact = i
		}
		if mod12(got.Semitones) != mod12(want.Semitones) && sound < 0 {
			sound = i
		}
	}
	period, repeats := line.Period(outers, false)
	cycle := func(p int) string { return strings.Join(words[:p], " ") }
	switch {
	case exact < 0 && repeats && period < n:
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("outer intervals repeat every %s: %s", plural(period, "chord"), cycle(period))
		res.Because += "; they come back sooner than that"
	case exact < 0:
		res.Verdict = Holds
	case sound < 0:
		res.Verdict = Arguable
		res.Because += fmt.Sprintf("; by sound only: the %s at %s is spelled otherwise", words[exact], k.passage.Where(outers[exact].At))
		res.Instead = "outer intervals " + strings.Join(words, " ")
	default:
		res.Because += fmt.Sprintf("; the cycle breaks at %s with %s", k.passage.Where(outers[sound].At), words[sound])
		res.Instead = "outer intervals " + first(words, 12)
		if repeats {
			res.Instead = fmt.Sprintf("outer intervals repeat every %s: %s", plural(period, "chord"), cycle(period))
		} else if from, to, ok := cyclicRun(outers, n); ok {
			res.Instead = fmt.Sprintf("they do so from %s to %s: %s", k.passage.Where(outers[from].At), k.passage.Where(outers[to-1].At), strings.Join(words[from:from+n], " "))
		}
	}
	return res, nil
}

// simpleName names an interval with its octaves taken off; of a whole number of octaves one is left.
func simpleName(i pitch.Interval) string {
	if s := i.Simple(); s != pitch.Unison || i == pitch.Unison {
		return s.String()
	}
	return pitch.Octave.String()
}

// first joins the first n words.
func first(words []string, n int) string {
	if len(words) > n {
		return strings.Join(words[:n], " ") + " …"
	}
	return strings.Join(words, " ")
}

// cyclicRun finds the longest stretch of outer intervals that repeats after n of them, twice at least.
func cyclicRun(outers []line.Outer, n int) (from, to int, ok bool) {
	start := 0
	for i := range outers {
		if i >= n && outers[i].Interval.Simple() != outers[i-n].Interval.Simple() {
			start = i - n + 1
		}
		if i+1-start >= 2*n && i+1-start > to-from {
			from, to = start, i+1
		}
	}
	return from, to, to-from >= 2*n
}

func outerNames(outers []line.Outer, high bool) string {
	var ps []pitch.Pitch
	for _, o := range outers {
		if high {
			ps = append(ps, o.High.Pitch)
		} else {
			ps = append(ps, o.Low.Pitch)
		}
	}
	if len(ps) > 24 {
		return names(ps[:24]) + " …"
	}
	return names(ps)
}
