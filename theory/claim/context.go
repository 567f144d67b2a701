package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/harmony"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// harmony returns the reading of the passage, or of one hand, made when it is first needed.
func (k *Checker) harmony(l score.Layer) *harmony.Analysis {
	k.mu.Lock()
	defer k.mu.Unlock()
	if a, ok := k.read[l]; ok {
		return a
	}
	notes := k.sounding
	if l == score.LeftHand || l == score.RightHand {
		notes = pick(k.sounding, l)
	}
	m := harmony.NewOf(k.passage, notes)
	t := harmony.Shipped()
	spans := k.spans
	if spans == nil || l != score.Whole {
		spans = t.Segment(m)
		if l == score.Whole {
			spans = k.withBlocks(spans)
		}
	}
	a := t.Read(m, spans)
	k.read[l] = a
	return a
}

// Divide tells the checker where the chords change, one span after the other; without it, it finds out by itself.
func (k *Checker) Divide(spans []harmony.Span) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.spans = slices.Clone(spans)
	k.read = map[score.Layer]*harmony.Analysis{}
	k.with = map[spanKey]spanRead{}
}

type spanKey struct {
	layer    score.Layer
	from, to score.Time
}

type spanRead struct {
	a *harmony.Analysis
	i int
}

// span returns the reading of a region as one span between the others; the index is -1 if nothing is read there.
func (k *Checker) span(r score.Region) (*harmony.Analysis, int) {
	l := r.Layer
	switch l {
	case score.Bass, score.TopLine, score.InnerLines:
		l = score.Whole
	}
	base := k.harmony(l)
	key := spanKey{l, r.From, r.To}
	k.mu.Lock()
	got, ok := k.with[key]
	k.mu.Unlock()
	if !ok {
		got.a, got.i = base.With(r.From, r.To)
		k.mu.Lock()
		k.with[key] = got
		k.mu.Unlock()
	}
	if got.i < 0 || len(got.a.Spans[got.i].Readings) == 0 {
		return got.a, -1
	}
	return got.a, got.i
}

// block reports whether a sonority is one chord struck or held together: there is nothing to read in context.
func (s sonority) block() bool { return s.moment || len(s.slices) <= 1 }

// What a claim about the bass of a longer place is judged by where the notes don't say it outright, set on the corpus
// (cmd/corpuscheck -claims).
const (
	bassOdds  = .25 // log odds below which a bass that is never the lowest note fails
	bassShare = .2  // probability below which one fails that is the lowest only in between
)

// bassCase judges a claim that a class is the bass of a longer place. plain tells that it is the lowest note at the start or the
// lowest of all; ever that it is at some moment. Where it isn't plain, odds and own are what the readings make of it.
func (k *Checker) bassCase(r score.Region, son sonority, c pitch.Class, in *harmony.Chord) (fails, plain, ever bool) {
	var lows []pitch.Pitch
	for _, s := range son.slices {
		if len(s.Notes) > 0 {
			lows = append(lows, s.Notes[0].Pitch)
		}
	}
	turns := false // it is lower than what comes before and after: a bass note among others, not the second note of a figure
	for i, p := range lows {
		if p.Class() != c {
			continue
		}
		ever = true
		plain = plain || i == 0
		turns = turns || i > 0 && i+1 < len(lows) && p.Compare(lows[i-1]) < 0 && p.Compare(lows[i+1]) <= 0
	}
	plain = plain || len(son.notes) > 0 && son.notes[0].Pitch.Class() == c
	h, i := k.span(r)
	if plain || i < 0 {
		return false, plain, ever
	}
	if turns {
		return false, false, true
	}
	if ever {
		own := 0.0
		for _, rd := range h.Spans[i].Readings {
			if rd.Chord.Bass == c {
				own += rd.Probability
			}
		}
		return own < bassShare, false, true
	}
	said := harmony.Said{Chord: harmony.Chord{Bass: c}, HasBass: true}
	if in != nil {
		said = harmony.Said{Chord: harmony.Chord{Root: in.Root, Quality: in.Quality, Bass: c}, HasChord: true, HasBass: true}
		j := h.Judge(i, said)
		return j.Fails, false, false
	}
	return h.Judge(i, said).Odds < bassOdds, false, false
}

// blocks returns the chords of a region if it goes in chords: at least three different notes are struck together in four of five
// of its sonorities; else nil.
func (k *Checker) blocks(r score.Region) []stop {
	all := score.Slices(k.sounding, r.From, r.To)
	n, whole := 0, 0
	for i, s := range all {
		notes := pick(s.Notes, r.Layer)
		if len(notes) == 0 || i > 0 && !slices.Contains(s.Struck, true) {
			continue
		}
		n++
		struck := 0
		for j, x := range s.Notes {
			if (s.Struck[j] || i == 0) && slices.Contains(notes, x) {
				struck++
			}
		}
		if struck >= 3 && pcCount(notes) >= 3 || struck >= 2 && len(notes) > 2 && pcCount(notes) >= 3 && len(notes)-struck <= 2 {
			whole++
		}
	}
	if n == 0 || 5*whole < 4*n {
		return nil
	}
	return k.sonorities(r)
}

// withBlocks cuts spans at the chords of those bars that go in chords a beat long or longer.
func (k *Checker) withBlocks(spans []harmony.Span) []harmony.Span {
	var out []harmony.Span
	next := 0
	keep := func(from, to score.Time) { // the given spans, as far as they lie there
		for next < len(spans) && !from.Less(spans[next].To) {
			next++
		}
		for i := next; i < len(spans) && spans[i].From.Less(to); i++ {
			s := harmony.Span{From: spans[i].From.Max(from), To: spans[i].To.Min(to)}
			if n := len(out); n > 0 && i > 0 && out[n-1].To == s.From && spans[i].From.Less(s.From) && spans[i].From.Less(from) && out[n-1].From.Compare(spans[i].From) >= 0 {
				out[n-1].To = s.To
				continue
			}
			if s.From.Less(s.To) {
				out = append(out, s)
			}
		}
	}
	for _, b := range k.passage.Bars {
		r := score.Region{From: b.Start, To: b.End()}
		stops := k.blocks(r)
		long := len(stops) > 0 && !b.Length.Less(b.Meter.Beat().Mul(int64(len(stops)), 1)) && stops[0].at == b.Start
		for i := range stops {
			to := r.To
			if i+1 < len(stops) {
				to = stops[i+1].at
			}
			long = long && !to.Sub(stops[i].at).Less(b.Meter.Beat())
		}
		if !long {
			keep(r.From, r.To)
			continue
		}
		for i, s := range stops {
			to := r.To
			if i+1 < len(stops) {
				to = stops[i+1].at
			}
			out = append(out, harmony.Span{From: s.at, To: to})
		}
	}
	return out
}

// qualityOf returns the quality of a chord label among those that are read in context.
func qualityOf(s chord.Symbol) (harmony.Quality, bool) {
	if s.Type.ID == "" {
		return 0, false
	}
	return harmony.ParseQuality(s.Type.ID)
}

// judgeChord checks "is CHORD" of a longer or broken place: by the judge that has learned what experts say of such notes.
// ok is false if the chord is not among those it knows.
func (k *Checker) judgeChord(r score.Region, son sonority, sym chord.Symbol) (res Result, ok bool) {
	q, known := qualityOf(sym)
	if !known || r.Layer == score.Bass || r.Layer == score.TopLine || r.Layer == score.InnerLines {
		return res, false
	}
	h, i := k.span(r)
	if i < 0 {
		return res, false
	}
	said := harmony.Said{Chord: harmony.Chord{Root: sym.Root, Quality: q, Bass: sym.Root}, HasChord: true}
	if q == harmony.GermanSixth || q == harmony.FrenchSixth || q == harmony.ItalianSixth {
		if said.Chord, known = sixthChord(sym, q); !known {
			return res, false
		}
	}
	if b, has := sym.BassClass(); has {
		said.Chord.Bass, said.HasBass = b, true
	}
	j := h.Judge(i, said)
	if !said.HasBass && !j.Plain { // what the bass is, the notes tell
		with := said
		with.Chord.Bass, with.HasBass = h.Spans[i].Readings[0].Chord.Bass, true
		j.Fails = h.Judge(i, with).Fails || clearlyElse(h, i, said.Chord, j)
	}
	res = Result{Evidence: son.notes, Because: son.said() + "; " + j.Because, Verdict: Holds}
	lead := h.Spans[i].Readings[0].Chord
	foreign, passing := 0.0, 0.0
	for _, f := range j.Foreign {
		if f.Member {
			passing += f.Share
		} else {
			foreign += f.Share
		}
	}
	same := lead.Root == said.Chord.Root && lead.Quality == said.Chord.Quality
	bassPlain := true
	if said.HasBass && !j.Fails {
		j.Fails, bassPlain, _ = k.bassCase(r, son, said.Chord.Bass, &said.Chord)
	}
	byEar := lead.Root.PC() == said.Chord.Root.PC() && lead.Quality == said.Chord.Quality && lead.Root != said.Chord.Root
	switch {
	case byEar && (j.Fails || j.Arguable):
		res.Verdict, res.Instead = Arguable, "is "+lead.String()+", which sounds the same"
		res.Because += fmt.Sprintf("; by sound only: written as %s", lead)
	case j.Fails:
		res.Verdict = Fails
	case !bassPlain, j.Arguable && !alsoSeventh(lead, said.Chord, j):
		res.Verdict = Arguable
	case len(j.Absent) > 0 && lacksThird(j):
		res.Verdict = Arguable
		res.Because += "; without its third it is neither major nor minor"
	case foreign > foreignArgues && !same, foreign+passing > foreignMost:
		res.Verdict = Arguable
	}
	if res.Verdict != Holds && res.Instead == "" {
		res.Instead = strings.Replace(j.Instead, "is ", "the first reading is ", 1)
		if res.Instead == "" || same && said.HasBass {
			res.Instead = "the first reading is " + lead.String()
		}
		if same && !said.HasBass {
			res.Instead = fmt.Sprintf("%s with %s besides", lead, listed(foreignNames(j)))
		}
	}
	return res, true
}

// clearlyElse reports whether all notes of a span are those of another chord, which is as good as certain, and the one claimed
// lacks a member.
func clearlyElse(h *harmony.Analysis, i int, c harmony.Chord, j harmony.Judgement) bool {
	lead := h.Spans[i].Readings[0]
	own := 0.0
	for _, rd := range h.Spans[i].Readings {
		if rd.Chord.Root == c.Root && rd.Chord.Quality == c.Quality {
			own += rd.Probability
		}
	}
	if len(j.Absent) == 0 || lead.Probability < .9 || own > .03 || c.Root == lead.Chord.Bass && inversionOf(lead.Chord) == 2 {
		return false // the last: a six-four may stand for the chord on its bass
	}
	l := h.Judge(i, harmony.Said{Chord: lead.Chord, HasChord: true, HasBass: true})
	return l.Plain && !slices.ContainsFunc(l.Foreign, func(f harmony.Foreign) bool { return !f.Member })
}

// alsoSeventh reports whether the chord read is the one claimed with a seventh that hardly sounds.
func alsoSeventh(lead, c harmony.Chord, j harmony.Judgement) bool {
	if lead.Root != c.Root || len(lead.Members()) != 4 || len(c.Members()) != 3 || len(j.Absent) > 0 {
		return false
	}
	for _, m := range c.Members() {
		if lead.Role(m) == "" {
			return false
		}
	}
	for _, f := range j.Foreign {
		if lead.Role(f.Class) != "" && f.Share > .1 {
			return false
		}
	}
	return true
}

// lacksThird reports whether a chord's third is absent and no other third sounds in its place.
func lacksThird(j harmony.Judgement) bool {
	for i, r := range j.Roles {
		if strings.HasSuffix(r, "third") {
			return !slices.ContainsFunc(j.Foreign, func(f harmony.Foreign) bool { return f.Class.Letter == j.Absent[i].Letter })
		}
	}
	return false
}

func foreignNames(j harmony.Judgement) []string {
	var out []string
	for _, f := range j.Foreign {
		out = append(out, f.Class.String())
	}
	return out[:min(3, len(out))]
}

// sixthChord gives an augmented sixth the root that package harmony gives it.
func sixthChord(s chord.Symbol, q harmony.Quality) (harmony.Chord, bool) {
	low := s.Root
	c := harmony.Chord{Root: low.Add(pitch.Interval{Steps: 5, Semitones: 10}), Quality: q, Bass: low}
	if q == harmony.FrenchSixth {
		c.Root = low.Add(pitch.AugmentedFourth)
	}
	return c, true
}

// bassInContext checks "bass is F#" of a longer or broken place.
func (k *Checker) bassInContext(r score.Region, son sonority, want noteRef) (fails, ok bool, because string) {
	if r.Layer != score.Whole || want.octave {
		return
	}
	h, i := k.span(r)
	if i < 0 {
		return
	}
	j := h.Judge(i, harmony.Said{Chord: harmony.Chord{Bass: want.class}, HasBass: true})
	fails, _, _ = k.bassCase(r, son, want.class, nil)
	return fails, true, j.Because
}

// readInContext returns the chords that a longer or broken place is read as, with their probabilities; nil for a block.
func (k *Checker) readInContext(r score.Region, son sonority) []harmony.Reading {
	if son.block() && r.Moment || r.Layer == score.Bass || r.Layer == score.TopLine || r.Layer == score.InnerLines {
		return nil
	}
	h, i := k.span(r)
	if i < 0 {
		return nil
	}
	return h.Spans[i].Readings
}

// inversionOf returns which member is the bass: 0 the root, 1 the third …; -1 none.
func inversionOf(c harmony.Chord) int {
	if s := c.Bass.Sub(c.Root).Steps; s%2 == 0 && s <= 6 {
		return s / 2
	}
	return -1
}

// inversionInContext checks "in first inversion" of a longer or broken place.
func (k *Checker) inversionInContext(r score.Region, son sonority, a args) (Result, bool) {
	rs := k.readInContext(r, son)
	if rs == nil {
		return Result{}, false
	}
	lead := rs[0].Chord
	res := Result{Evidence: son.notes, Verdict: Fails}
	res.Because = fmt.Sprintf("%s: %s, its lowest note %s", son.said(), lead, son.notes[0].Pitch)
	res.Instead = "in " + inversionName(max(inversionOf(lead), 0))
	if inv := inversionOf(lead); inv == a.number || a.number < 0 && inv > 0 {
		res.Verdict, res.Instead = Holds, ""
		return res, true
	}
	for n, rd := range rs {
		if n > 3 || n > 0 && rd.Probability < .1 {
			break
		}
		for m, bass := range rd.Chord.Members() {
			if m != a.number && (a.number >= 0 || m == 0) {
				continue
			}
			c := rd.Chord
			c.Bass = bass
			if fails, _, _ := k.bassCase(r, son, bass, nil); !fails {
				res.Verdict = Arguable
				res.Because += fmt.Sprintf("; %s can be said of it too", c)
				return res, true
			}
		}
	}
	return res, true
}

// missingInContext checks "no third" of a longer or broken place.
func (k *Checker) missingInContext(r score.Region, son sonority, steps int, word string) (Result, bool) {
	rs := k.readInContext(r, son)
	if rs == nil {
		return Result{}, false
	}
	has := func(root pitch.Class) (score.Note, bool) {
		for _, n := range son.notes {
			if n.Pitch.Class().Sub(root).Steps == steps {
				return n, true
			}
		}
		return score.Note{}, false
	}
	lead := rs[0].Chord
	res := Result{Evidence: son.notes, Because: fmt.Sprintf("%s: %s, root %s", son.said(), lead, lead.Root), Verdict: Holds}
	n, there := has(lead.Root)
	if !there {
		return res, true
	}
	res.Because += fmt.Sprintf("; its %s is %s at %s", word, n.Pitch, k.where(n))
	res.Verdict, res.Instead = Fails, fmt.Sprintf("the %s sounds: %s", word, n.Pitch)
	for _, rd := range rs[1:] {
		if rd.Probability < .03 || rd.Chord.Root == lead.Root {
			continue
		}
		if _, there := has(rd.Chord.Root); !there {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; read as %s it has none", rd.Chord)
			break
		}
	}
	return res, true
}

// added checks "has an added sixth", "with an added F#".
func (k *Checker) added(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	cands := k.candidates(r)
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails}
	if len(cands) == 0 {
		res.Instead = bestReading(son.notes)
		return res, nil
	}
	steps := map[string]int{"second": 1, "ninth": 1, "fourth": 3, "eleventh": 3, "sixth": 5, "thirteenth": 5, "seventh": 6}
	for n, c := range cands {
		if n > 1 {
			break
		}
		want := noteRef{}
		if len(a.notes) > 0 {
			want = a.notes[0]
		}
		var note *score.Note
		bySound := false
		for i := range son.notes {
			x := &son.notes[i]
			switch {
			case len(a.notes) > 0 && want.is(x.Pitch):
				note = x
			case len(a.notes) > 0 && note == nil && want.sounds(x.Pitch):
				note, bySound = x, true
			case len(a.notes) == 0 && x.Pitch.Class().Sub(c.root).Steps == steps[a.word]:
				note = x
			}
		}
		if n == 0 {
			res.Because += fmt.Sprintf(": %s on the root %s", c.label, c.root)
		}
		if note == nil {
			if n == 0 {
				what := "no " + a.word + " above " + c.root.String()
				if len(a.notes) > 0 {
					what = want.String()
				}
				res.Because += fmt.Sprintf("; %s doesn't sound", what)
				res.Because = strings.Replace(res.Because, "no "+a.word+" above "+c.root.String()+" doesn't sound", "no "+a.word+" above "+c.root.String()+" sounds", 1)
				res.Instead = bestReading(son.notes)
			}
			continue
		}
		cl := note.Pitch.Class()
		part := cl.Sub(c.root)
		triad := part.Steps == 0 || part.Steps == 2 || part.Steps == 4 && len(c.members) > 2 && slices.Contains(c.members, cl)
		seventh := part.Steps == 6 && slices.Contains(c.members, cl) && a.word != "seventh"
		switch {
		case n > 0:
			if !triad && !seventh {
				res.Verdict = Arguable
				res.Because += fmt.Sprintf("; read as %s it would have it added", c.label)
			}
			return res, nil
		case triad || seventh:
			res.Because += fmt.Sprintf("; %s belongs to the chord, it is its %s", note.Pitch, ordinalOf(part))
			res.Instead = fmt.Sprintf("%s is the %s of %s", note.Pitch.Class(), ordinalOf(part), c.label)
			continue
		case a.word != "" && part.Steps != steps[a.word]:
			res.Because += fmt.Sprintf("; %s is the %s above it", note.Pitch, ordinalOf(part))
			res.Instead = "an added " + ordinalOf(part)
			return res, nil
		}
		res.Because += fmt.Sprintf("; %s is the %s above it and no member", note.Pitch, ordinalOf(part))
		res.Verdict, res.Instead = Holds, ""
		if bySound {
			res.Verdict, res.Instead = Arguable, "an added "+cl.String()+", which sounds the same"
		} else if to := k.stepsTo(*note, c, r); to != "" {
			res.Verdict = Arguable
			res.Because += "; it moves on to " + to
			res.Instead = "a non-chord tone: it moves on by step to a member of the chord, " + to
		}
		return res, nil
	}
	return res, nil
}

var intervalWords = [...]string{"root", "second", "third", "fourth", "fifth", "sixth", "seventh"}

func ordinalOf(i pitch.Interval) string { return intervalWords[((i.Steps%7)+7)%7] }

// stepsTo says where a note goes by step within a place, if it goes to a member of the chord: "E4 at bar 3 beat 2".
func (k *Checker) stepsTo(n score.Note, c candidate, r score.Region) string {
	res := k.harmony(score.Whole).Resolution(n)
	if res.To == nil || !strings.HasPrefix(res.Manner, "step") || !res.To.Onset.Less(r.To) || !slices.Contains(c.members, res.To.Pitch.Class()) {
		return ""
	}
	return fmt.Sprintf("%s at %s", res.To.Pitch, k.where(*res.To))
}
