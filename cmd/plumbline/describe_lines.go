package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The JSON of describe's lines, sequences, rhythm and loudness.
type (
	lineJSON struct {
		Name          string   `json:"name"` // bass, top line, bass by the bar, inner line, chromatic line, upper line, lower line
		Notes         []string `json:"notes"`
		Motion        string   `json:"motion"`
		Place         string   `json:"place"`
		Low           string   `json:"low"`
		High          string   `json:"high"`
		TurningPoints []string `json:"turning_points"` // at most 64
		Moves         int      `json:"moves"`
		Steps         int      `json:"steps"`     // moves of a second or less
		Semitones     int      `json:"semitones"` // moves of a semitone
		Certainty     float64  `json:"certainty,omitempty"`
		Guessed       bool     `json:"guessed,omitempty"` // a voice told apart here, not by the score
	}
	sequenceJSON struct {
		Kind      string      `json:"kind"`
		From      string      `json:"from"`
		To        string      `json:"to"`
		Notes     []string    `json:"notes"`
		Text      string      `json:"text"`
		Layer     string      `json:"layer"` // chords, bass, top line
		Top       []string    `json:"top,omitempty"`
		Size      int         `json:"size"`     // of the model, in notes or chords
		Copies    int         `json:"copies"`   // after the model
		Likeness  string      `json:"likeness"` // exact, tonal, exact by sound
		Starts    []string    `json:"starts"`   // of the model and each copy
		Interval  string      `json:"interval"`
		Names     []string    `json:"names"`
		Pattern   []string    `json:"pattern"`               // the moves of the line within a model and into its copy; of chords, of the bass
		TopMoves  []string    `json:"top_pattern,omitempty"` // of chords: the same of the top line
		Outer     []string    `json:"outer,omitempty"`
		Period    int         `json:"period,omitempty"`
		Why       string      `json:"why,omitempty"`
		Qualities []string    `json:"qualities,omitempty"`
		Breaks    []breakJSON `json:"breaks"`
		Next      []string    `json:"next"`
		NextTop   []string    `json:"next_top,omitempty"`
		Again     []string    `json:"again,omitempty"`
	}
	breakJSON struct {
		At   string `json:"at"`
		Note string `json:"note"`
		Want string `json:"want"`

		Within bool `json:"within"` // it goes on after it
	}
	outerJSON struct {
		Intervals []string          `json:"intervals"` // octaves taken off; where neither voice moves nothing is told again
		Real      []string          `json:"real"`
		Motion    map[string]int    `json:"motion"`
		Mostly    string            `json:"mostly"`
		Perfects  []consecutiveJSON `json:"parallel_perfects"`
	}
	consecutiveJSON struct {
		Number int      `json:"number"` // 5 or 8
		Place  string   `json:"place"`
		Notes  []string `json:"notes"` // lower, upper; lower, upper
		Run    int      `json:"run"`   // how many follow each other; many octaves are a doubling
	}
	rhythmJSON struct {
		Hand       string     `json:"hand"`
		Figure     string     `json:"figure"` // in note values, "" if they have no names
		Bar        string     `json:"bar"`    // where the figure stands first
		Bars       int        `json:"bars"`   // that have it
		Of         int        `json:"of"`
		Varied     []likeJSON `json:"varied"` // bars with another rhythm, the likest first
		Onsets     float64    `json:"onsets"` // a beat
		Notes      float64    `json:"notes"`  // a beat
		Syncopated []string   `json:"syncopated"`
		Stressed   []string   `json:"stressed"`
	}
	likeJSON struct {
		Bar      string  `json:"bar"`
		Likeness float64 `json:"likeness"` // by swap distance, see theory/line
	}
	loudnessJSON struct {
		Bar  string `json:"bar"`
		Beat string `json:"beat"`
		Mark string `json:"mark"`
		Till string `json:"till,omitempty"`
	}
)

// linesOf is a place whose lines are told.
type linesOf struct {
	p        *score.Passage
	region   score.Region
	sounding []score.Note // what the place speaks of
	bars     int
}

// A place of up to so many bars is told line by line in full.
const shortBars = 16

// describeLines fills in the lines, the outer voices, the sequences, the rhythm and the loudness of a place.
func describeLines(d *descriptionJSON, p *score.Passage, notes []score.Note, region score.Region, facts []line.Fact) {
	if region.To.Compare(p.End()) > 0 {
		region.To = p.End()
	}
	if len(p.Bars) == 0 || !region.From.Less(region.To) || len(notes) == 0 {
		return
	}
	x := linesOf{p, region, notes, 1 + p.BarAt(region.To.Sub(score.T(1, 1<<20))) - p.BarAt(region.From)}
	whole := region.Layer == score.Whole
	bass, top := line.Bass(notes, region), line.Top(notes, region)
	switch {
	case region.Layer == score.Bass, region.Layer == score.TopLine:
		d.add(x.line(region.Layer.String(), notes))
	case sameNotes(bass, top):
		d.add(x.line("the line", bass))
	default:
		d.add(x.line("bass", bass))
		if low := line.Lowest(notes, region, x.barBounds()); x.bars >= 3 && len(low) >= 3 && 2*line.LeapsOf(bass) > len(bass.Moves()) && len(bass) > len(low) {
			d.add(x.line("bass by the bar", low))
		}
		d.add(x.line("top line", top))
	}
	if region.Layer == score.Whole || region.Layer == score.LeftHand || region.Layer == score.RightHand {
		if x.bars <= shortBars {
			for i, l := range line.Inner(notes, region) {
				if i < 4 {
					d.add(x.line("inner line", l))
				}
			}
			for _, v := range line.Voices(notes, region) {
				l := v.Line()
				if len(l) < 4 || sameNotes(l, bass) || sameNotes(l, top) {
					continue
				}
				j := x.line(fmt.Sprintf("%s, voice %d", v.Hand, v.Number), l)
				j.Guessed = v.Guessed
				d.add(j)
			}
		}
		x.compounds(d, facts, top)
		for _, f := range facts {
			if f.Kind == line.ThreadFact {
				j := x.line("chromatic line", f.Notes)
				j.Place = f.Place
				d.add(j)
			}
		}
		d.Outer = x.outer()
	}
	d.Sequences = append(d.Sequences, x.sequences()...)
	for _, h := range []score.Layer{score.RightHand, score.LeftHand} {
		if region.Layer == score.Whole || region.Layer == h {
			d.Rhythm = append(d.Rhythm, x.rhythm(h)...)
		}
	}
	if whole {
		d.HarmonicRhythm = x.harmonicRhythm()
	}
	for _, m := range p.Dynamics {
		if m.At.Less(region.From) && !region.From.Less(m.Until) || !m.At.Less(region.To) {
			continue
		}
		bar, beat := p.BeatAt(m.At)
		l := loudnessJSON{Bar: bar, Beat: beat.String(), Mark: m.Text}
		if m.At.Less(m.Until) {
			l.Till = p.Where(m.Until)
		}
		d.Dynamics = append(d.Dynamics, l)
	}
}

func (d *descriptionJSON) add(l lineJSON) {
	if len(l.Notes) > 0 && (l.Moves > 0 || len(d.Lines) == 0) {
		d.Lines = append(d.Lines, l)
	}
}

func sameNotes(a, b line.Line) bool {
	return slices.EqualFunc(a, b, func(x, y score.Note) bool { return x.Onset == y.Onset && x.Pitch == y.Pitch })
}

func (x linesOf) barBounds() []score.Time {
	var out []score.Time
	for _, b := range x.p.Bars {
		if x.region.From.Less(b.End()) && b.Start.Less(x.region.To) {
			out = append(out, b.Start.Max(x.region.From))
		}
	}
	return append(out, x.region.To)
}

// line tells a line.
func (x linesOf) line(name string, l line.Line) lineJSON {
	j := lineJSON{Name: name, Notes: pitchNames(pitchesOf(l)), TurningPoints: []string{}}
	if len(l) == 0 {
		return j
	}
	j.Motion = line.ContourWords(l, x.p.Where)
	j.Place = x.p.Where(l[0].Onset)
	if w := x.p.Where(l[len(l)-1].Onset); w != j.Place {
		j.Place += " to " + w
	}
	low, high := l.Span()
	j.Low, j.High = low.String(), high.String()
	for _, n := range line.TurningPoints(l) {
		if len(j.TurningPoints) == 64 {
			break
		}
		j.TurningPoints = append(j.TurningPoints, n.Pitch.String()+" at "+x.p.Where(n.Onset))
	}
	for _, m := range l.Moves() {
		j.Moves++
		switch s := m.Interval.Semitones; {
		case s == 1 || s == -1:
			j.Semitones++
			j.Steps++
		case s >= -2 && s <= 2:
			j.Steps++
		}
	}
	return j
}

// compounds tells two lines in one: those found, and of a short place that lies in one hand also that it is one line.
func (x linesOf) compounds(d *descriptionJSON, facts []line.Fact, top line.Line) {
	tell := func(place string, c line.Compound) {
		for _, s := range []struct {
			name string
			l    line.Line
		}{{"upper line", c.High}, {"lower line", c.Low}} {
			j := x.line(s.name, s.l)
			j.Place, j.Certainty = place, c.Certainty
			d.Lines = append(d.Lines, j)
		}
		d.Compounds = append(d.Compounds, compoundJSON{place, true, c.Certainty, c.Why})
	}
	found := false
	for _, f := range facts {
		if f.Kind != line.CompoundFact {
			continue
		}
		l, ok := line.Single(f.Notes)
		if c := line.TwoLines(l); ok && c.Two {
			tell(f.Place, c)
			found = true
		}
	}
	if l, ok := line.Single(x.sounding); !found && ok && x.bars <= shortBars && len(l) >= 8 {
		c := line.TwoLines(l)
		if c.Two {
			tell(x.line("", l).Place, c)
			return
		}
		d.Compounds = append(d.Compounds, compoundJSON{x.line("", l).Place, false, c.Certainty, c.Why})
	}
}

type compoundJSON struct {
	Place     string  `json:"place"`
	Two       bool    `json:"two"`
	Certainty float64 `json:"certainty"`
	Why       string  `json:"why"`
}

// outer tells the outer voices; nil if there are no two.
func (x linesOf) outer() *outerJSON {
	list := line.Outers(x.sounding, x.region)
	if len(list) < 2 {
		return nil
	}
	o := &outerJSON{Motion: map[string]int{}, Perfects: []consecutiveJSON{}}
	for k, i := range list {
		if k > 0 && line.PairOf(list[k-1], i) == line.Still {
			continue
		}
		o.Intervals = append(o.Intervals, simpleName(i.Interval))
		o.Real = append(o.Real, i.Interval.String())
	}
	n, main, ok := line.OuterMotion(list)
	for m := line.Oblique; m <= line.Contrary; m++ {
		o.Motion[m.String()] = n[m]
	}
	if ok {
		o.Mostly = main.String()
	}
	var last *line.Consecutive
	for _, c := range line.ParallelPerfects(list) {
		if c.Number == 8 && c.From[0].Hand == c.From[1].Hand {
			continue // one hand's octaves double a line
		}
		if k := len(o.Perfects) - 1; last != nil && c.From == last.To && c.Number == last.Number {
			o.Perfects[k].Run++
			o.Perfects[k].Place = strings.Split(o.Perfects[k].Place, " to ")[0] + " to " + x.p.Where(later(c.To))
		} else {
			o.Perfects = append(o.Perfects, consecutiveJSON{c.Number, x.p.Where(later(c.From)) + " to " + x.p.Where(later(c.To)),
				pitchNamesOf(c.From[0], c.From[1], c.To[0], c.To[1]), 1})
		}
		last = &c
	}
	return o
}

func later(n [2]score.Note) score.Time { return n[0].Onset.Max(n[1].Onset) }

func pitchNamesOf(notes ...score.Note) []string {
	var out []string
	for _, n := range notes {
		out = append(out, n.Pitch.String())
	}
	return out
}

// simpleName is the name of an interval, octaves taken off but for a plain octave.
func simpleName(i pitch.Interval) string {
	if s := i.Simple(); s != pitch.Unison {
		return s.String()
	}
	return pitch.Octave.String()
}

// sequences tells the sequences of the place, the surest first. A single copy is told only where it is of a phrase or the pattern
// has a name of its own: broken chords copy each other all the time.
func (x linesOf) sequences() []sequenceJSON {
	var out []sequenceJSON
	first := map[string]int{}
	for _, s := range line.FindSequences(x.sounding, x.region, x.p) {
		if s.Copies < 2 && len(s.Names) == 0 && (s.Size < 6 || s.Chance > 1e-4) || s.MereMotion() {
			continue
		}
		j := x.sequence(s)
		id := j.Layer + "|" + s.String() + "|" + strings.Join(j.Notes, " ") + "|" + strings.Join(j.Top, " ")
		if k, ok := first[id]; ok {
			out[k].Again = append(out[k].Again, j.From)
			continue
		}
		first[id] = len(out)
		out = append(out, j)
	}
	return out
}

func (x linesOf) sequence(s line.Sequence) sequenceJSON {
	j := sequenceJSON{Kind: "sequence", From: x.p.Where(s.From), To: x.p.Where(s.Notes[len(s.Notes)-1].Onset), Notes: pitchNames(pitchesOf(s.Notes)),
		Text: s.String(), Layer: s.Layer.String(), Size: s.Size, Copies: s.Copies, Interval: s.Interval.String(), Names: []string{}, Qualities: s.Qualities,
		Breaks: []breakJSON{}, Next: []string{}, Pattern: movesOf(s.Notes, s.Size),
		Likeness: map[line.Likeness]string{line.Transposed: "exact", line.Diatonic: "tonal", line.BySemitone: "exact by sound"}[s.Likeness]}
	if s.Layer == score.Whole {
		j.Layer, j.To = "chords", x.p.Where(s.Chords[len(s.Chords)-1].At)
		j.Top, j.TopMoves = pitchNames(pitchesOf(s.TopNotes)), movesOf(s.TopNotes, s.Size)
	}
	for _, n := range s.Names {
		if !slices.Contains(j.Names, n.Name) {
			j.Names = append(j.Names, n.Name)
		}
	}
	if len(j.Names) > 0 {
		j.Kind = j.Names[0]
	}
	for _, t := range s.Starts() {
		j.Starts = append(j.Starts, x.p.Where(t))
	}
	if s.Cycle() {
		j.Period, j.Why = s.Period, s.Why
		for _, i := range s.Outer {
			j.Outer = append(j.Outer, simpleName(i))
		}
	}
	for _, b := range s.Breaks {
		j.Breaks = append(j.Breaks, breakJSON{x.p.Where(b.Note.Onset), b.Note.Pitch.String(), b.Want.String(), b.Note.Onset.Less(s.To)})
	}
	if s.Copies > 0 {
		j.Next = everyName(s.Next(min(s.Size, 16)))
		if s.Layer == score.Whole && s.Period > 0 {
			j.NextTop = everyName(s.NextTop(min(s.Size, 16)))
		}
	}
	return j
}

func everyName(ps []pitch.Pitch) []string {
	out := []string{}
	for _, p := range ps {
		out = append(out, p.String())
	}
	return out
}

// movesOf names the moves of one model of a sequence and the one that leads into its copy; a note that holds on, or comes again,
// is told once.
func movesOf(l line.Line, size int) []string {
	out := []string{}
	for i := 1; i <= size && i < len(l); i++ {
		d := l[i].Pitch.Sub(l[i-1].Pitch)
		name := "holds"
		switch {
		case d.Descends():
			name = "down " + d.Neg().String()
		case d != pitch.Unison:
			name = "up " + d.String()
		case len(out) > 0 && out[len(out)-1] == name:
			continue
		}
		out = append(out, name)
	}
	return out
}

// rhythm tells the rhythm of a hand, if it plays.
func (x linesOf) rhythm(h score.Layer) []rhythmJSON {
	r := score.Region{From: x.region.From, To: x.region.To, Layer: h}
	list := line.BarRhythms(x.sounding, r, x.p)
	if len(list) == 0 {
		return nil
	}
	j := rhythmJSON{Hand: h.String(), Varied: []likeJSON{}, Syncopated: []string{}, Stressed: []string{}, Of: len(list)}
	first, n := line.Figure(list)
	j.Bar, j.Bars = x.p.Bars[first].Number, n
	var figure line.Rhythm
	for _, b := range list {
		if b.Bar == first {
			figure, j.Figure = b.Rhythm, b.Values()
		}
	}
	for _, b := range list {
		if b.First == b.Bar && b.Bar != first {
			if like := line.RhythmLikeness(b.Rhythm, figure); like >= 0.6 {
				j.Varied = append(j.Varied, likeJSON{x.p.Bars[b.Bar].Number, float64(int(100*like+0.5)) / 100})
			}
		}
		held := 0
		for _, y := range b.Syncopations(true) {
			if y.Held {
				held++
			}
		}
		if held >= 2 {
			j.Syncopated = append(j.Syncopated, x.p.Bars[b.Bar].Number)
		}
	}
	slices.SortStableFunc(j.Varied, func(a, b likeJSON) int { return cmp.Compare(b.Likeness, a.Likeness) })
	d := line.DensityOf(x.sounding, r, x.p)
	j.Onsets, j.Notes = float64(int(100*d.Onsets+0.5))/100, float64(int(100*d.Notes+0.5))/100
	j.Stressed = x.stressed(r)
	return []rhythmJSON{j}
}

// stressed tells which beats of the bar are stressed by something else than the meter, and by what, the most often stressed
// first; of a place of fewer than three bars, which moments.
func (x linesOf) stressed(r score.Region) []string {
	type stress struct{ beat, by string }
	by := map[string]string{"length": "length", "density": "a fuller chord", "register": "height", "dynamics": "a written accent"}
	count := map[stress]int{}
	var order []stress
	for _, a := range line.Accents(x.sounding, r, x.p) {
		bar, beat := x.p.BeatAt(a.At)
		for _, b := range a.By {
			s := stress{"beat " + beat.String(), by[b]}
			if x.bars < 3 {
				s.beat = "bar " + bar + " " + s.beat
			}
			if count[s] == 0 {
				order = append(order, s)
			}
			count[s]++
		}
	}
	slices.SortStableFunc(order, func(a, b stress) int { return count[b] - count[a] })
	out := []string{}
	for _, s := range order {
		if n := count[s]; n >= 2 {
			out = append(out, fmt.Sprintf("%s by %s (%d times)", s.beat, s.by, n))
		} else if x.bars < 4 {
			out = append(out, s.beat+" by "+s.by)
		}
	}
	return out
}

// harmonicRhythm says how long the harmonies last, by what sounds on the beats.
func (x linesOf) harmonicRhythm() string {
	list := score.Slices(x.sounding, x.region.From, x.region.To)
	var chords []line.Chord
	k := 0
	for _, b := range x.p.Bars {
		if !x.region.From.Less(b.End()) || !b.Start.Less(x.region.To) || b.Meter.Beat().Sign() <= 0 || b.Length.Sign() <= 0 {
			continue
		}
		for t := b.Start.Sub(b.Offset); t.Less(b.End()); t = t.Add(b.Meter.Beat()) {
			if t.Less(b.Start) || t.Less(x.region.From) || !t.Less(x.region.To) {
				continue
			}
			for k+1 < len(list) && !t.Less(list[k+1].At) {
				k++
			}
			var c line.Chord
			if k < len(list) && !t.Less(list[k].At) {
				c = line.ChordOf(pitchesOf(list[k].Notes))
			}
			c.At, c.Until = t, t.Add(b.Meter.Beat()).Min(b.End()).Min(x.region.To)
			chords = append(chords, c)
		}
	}
	long := line.HarmonicRhythm(chords)
	if len(chords) < 4 || len(long) < 2 {
		return ""
	}
	return harmonicRhythmWords(long, x.p.Bars[x.p.BarAt(x.region.From)].Meter.Beat())
}

// harmonicRhythmWords tells how long harmonies last, in beats.
func harmonicRhythmWords(long []score.Time, beat score.Time) string {
	if len(long) < 2 || beat.Sign() <= 0 {
		return ""
	}
	count := map[score.Time]int{}
	most, least, longest := long[0], long[0], long[0]
	for _, t := range long {
		if count[t]++; count[t] > count[most] || count[t] == count[most] && t.Less(most) {
			most = t
		}
		if t.Less(least) {
			least = t
		}
		longest = longest.Max(t)
	}
	in := func(t score.Time) string {
		n := t.Div(beat)
		if n == score.Quarters(1) {
			return "1 beat"
		}
		return n.String() + " beats"
	}
	switch {
	case least == longest:
		return fmt.Sprintf("a harmony lasts %s", in(most))
	case count[most] < 2 || 3*count[most] < len(long):
		return fmt.Sprintf("a harmony lasts from %s to %s", in(least), in(longest))
	}
	return fmt.Sprintf("a harmony lasts mostly %s (%d of %d), at least %s, at most %s", in(most), count[most], len(long), in(least), in(longest))
}

// How many things of a kind are told unless all are asked for.
const (
	someLines     = 6
	someSequences = 5
	someMarks     = 8
	someIntervals = 24
)

// writeLines tells the lines, the outer voices, the sequences, the rhythm and the loudness of a place.
func writeLines(w io.Writer, d descriptionJSON, all bool) {
	left := 0 // what was left out
	take := func(n, some int) int {
		if all || n <= some {
			return n
		}
		left += n - some
		return some
	}
	head := func(title string) { fmt.Fprintf(w, "%s:\n", title) }
	item := func(text string) {
		fmt.Fprintln(w, "  - "+strings.TrimPrefix(wrap(text, 78, "    "), "    "))
	}
	more := func(text string) { fmt.Fprintln(w, wrap(text, 78, "    ")) }
	some := func(list []string, n int) string {
		if all || len(list) <= n {
			return strings.Join(list, ", ")
		}
		return fmt.Sprintf("%s and %d more", strings.Join(list[:n], ", "), len(list)-n)
	}

	// A section is told only if it has something.
	if len(d.Lines) > 0 {
		head("lines")
		told, n := 0, take(len(d.Lines), 3+someLines)
		notes := 24
		if all {
			notes = 1 << 30
		}
		for _, l := range d.Lines {
			if told++; told > n {
				break
			}
			name := l.Name
			outer := name == "bass" || name == "top line" || name == "bass by the bar" || name == "the line"
			if !outer {
				name += ", " + l.Place
			}
			text := name + ": " + l.Motion
			if l.Moves > 1 && l.Low != l.High && !strings.Contains(l.Motion, "between") {
				text += fmt.Sprintf(", between %s and %s", l.Low, l.High)
			}
			if l.Semitones > 0 && l.Semitones < l.Moves && !outer {
				text += fmt.Sprintf("; %d of %d moves by semitone", l.Semitones, l.Moves)
			}
			if l.Guessed {
				text += " (told apart here, the score doesn't say)"
			}
			item(text)
			more(shorten(l.Notes, notes))
			if k := len(l.TurningPoints); outer && k > 0 && k <= 6 {
				more("turns at " + strings.Join(l.TurningPoints, ", "))
			}
		}
		fmt.Fprintln(w)
	}
	if len(d.Compounds) > 0 {
		head("two lines in one")
		for _, c := range d.Compounds[:take(len(d.Compounds), someLines)] {
			what := "one line: "
			if c.Two {
				what = "two lines: "
			}
			item(fmt.Sprintf("%s: %s%s (how sure, from 0 to 1: %.2f)", c.Place, what, c.Why, c.Certainty))
		}
		fmt.Fprintln(w)
	}
	if o := d.Outer; o != nil {
		head("outer voices")
		n := len(o.Intervals)
		if !all {
			n = min(n, someIntervals)
		}
		rest := ""
		if n < len(o.Intervals) {
			rest = fmt.Sprintf(" … and %d more", len(o.Intervals)-n)
			left++
		}
		item("intervals, octaves off: " + strings.Join(o.Intervals[:n], " ") + rest)
		if k := min(n, 12); !all && len(o.Real) > k {
			item("as they sound: " + strings.Join(o.Real[:k], " ") + " …")
		} else {
			item("as they sound: " + strings.Join(o.Real[:n], " "))
		}
		var kinds []string
		for _, m := range []line.Pair{line.Contrary, line.Similar, line.Parallel, line.Oblique} {
			if k := o.Motion[m.String()]; k > 0 {
				kinds = append(kinds, fmt.Sprintf("%d %s", k, m))
			}
		}
		if len(kinds) > 0 {
			text := "motion: " + strings.Join(kinds, ", ")
			if o.Mostly != "" && len(kinds) > 1 {
				text += "; mostly " + o.Mostly
			}
			item(text)
		}
		for _, c := range o.Perfects[:take(len(o.Perfects), someLines)] {
			name := map[int]string{5: "fifths", 8: "octaves"}[c.Number]
			text := fmt.Sprintf("parallel %s, %s: %s–%s to %s–%s", name, c.Place, c.Notes[0], c.Notes[1], c.Notes[2], c.Notes[3])
			if c.Run > 1 {
				text = fmt.Sprintf("parallel %s, %d times running, %s", name, c.Run, c.Place)
				if c.Number == 8 && c.Run > 3 {
					text += " (a doubling)"
				}
			}
			item(text)
		}
		fmt.Fprintln(w)
	}
	if len(d.Sequences) > 0 {
		head("sequences")
		for _, s := range d.Sequences[:take(len(d.Sequences), someSequences)] {
			place := s.From
			if s.To != s.From {
				place += " to " + s.To
			}
			item(place + ", " + s.Layer + ": " + sequenceText(s))
			for _, text := range sequenceDetails(s, some) {
				more(text)
			}
		}
		fmt.Fprintln(w)
	}
	if len(d.Rhythm) > 0 || d.HarmonicRhythm != "" {
		head("rhythm")
		for _, r := range d.Rhythm {
			text := r.Hand + ": "
			if r.Bars > 1 {
				text += fmt.Sprintf("the figure of bar %s in %d of %d bars", r.Bar, r.Bars, r.Of)
			} else {
				text += "no bar has the rhythm of another"
				if r.Of == 1 {
					text = r.Hand + ": bar " + r.Bar
				}
			}
			if r.Figure != "" && (r.Bars > 1 || r.Of == 1) {
				text += ": " + r.Figure
			}
			item(text)
			if len(r.Varied) > 0 && r.Bars > 1 {
				var v []string
				for _, b := range r.Varied {
					v = append(v, fmt.Sprintf("bar %s (%.2f)", b.Bar, b.Likeness))
				}
				more("varied in " + some(v, 4) + "; 1 is the same rhythm (by swap distance)")
			}
			text = fmt.Sprintf("%.3g attacks and %.3g notes a beat", r.Onsets, r.Notes)
			if r.Onsets == r.Notes {
				text = fmt.Sprintf("%.3g notes a beat", r.Notes)
			}
			more(text)
			if len(r.Syncopated) > 0 {
				more("syncopated: " + count(len(r.Syncopated), "bar", "bars") + ": " + some(r.Syncopated, 12))
			}
			if len(r.Stressed) > 0 {
				more("stressed: " + some(r.Stressed, 4))
			}
		}
		if d.HarmonicRhythm != "" {
			item("harmonic rhythm: " + d.HarmonicRhythm)
		}
		fmt.Fprintln(w)
	}
	var texture []string
	for _, f := range d.Facts {
		if f.Kind == line.TextureFact.String() {
			texture = append(texture, f.Text)
		}
	}
	if len(d.Dynamics)+len(texture) > 0 {
		head("loudness and texture")
		var marks []string
		for _, m := range d.Dynamics {
			text := fmt.Sprintf("%s at bar %s beat %s", m.Mark, m.Bar, m.Beat)
			if m.Till != "" {
				text = fmt.Sprintf("%s from bar %s beat %s to %s", m.Mark, m.Bar, m.Beat, m.Till)
			}
			marks = append(marks, text)
		}
		if len(marks) > 0 {
			item(strings.Join(marks[:take(len(marks), someMarks)], "; "))
		}
		for _, t := range texture[:take(len(texture), someLines)] {
			item(t)
		}
		fmt.Fprintln(w)
	}
	if left > 0 {
		fmt.Fprintf(w, "Not all is told here (%s left out); --all tells everything.\n", count(left, "item", "items"))
	}
}

// sequenceText is what a sequence is; the cycle of its outer intervals is told apart.
func sequenceText(s sequenceJSON) string {
	text, _, _ := strings.Cut(s.Text, "; outer intervals repeat")
	return text
}

// sequenceDetails tells the notes of a sequence, where its copies begin, its pattern, cycles, breaks, and how it would go on.
func sequenceDetails(s sequenceJSON, some func([]string, int) string) []string {
	var out []string
	if s.Layer == "chords" {
		out = append(out, "bass "+shorten(s.Notes, 20)+"; top "+shorten(s.Top, 20))
	} else {
		out = append(out, shorten(s.Notes, 30))
	}
	if s.Size > 1 && len(s.Starts) > 1 {
		out = append(out, "copies begin at "+some(s.Starts[1:], 4))
	}
	if s.Size > 1 && s.Size <= 8 && len(s.Pattern) > 0 {
		what := "pattern: "
		if s.Layer == "chords" {
			what = "bass pattern: "
		}
		text := what + strings.Join(s.Pattern, ", ")
		if len(s.TopMoves) > 0 {
			text += "; melody pattern: " + strings.Join(s.TopMoves, ", ")
		}
		out = append(out, text)
	}
	if s.Period > 0 {
		out = append(out, fmt.Sprintf("outer intervals repeat every %s: %s", count(s.Period, "chord", "chords"), strings.Join(s.Outer, " ")), s.Why)
	}
	if len(s.Qualities) > 1 {
		out = append(out, fmt.Sprintf("qualities repeat every %d chords: %s", len(s.Qualities), strings.Join(s.Qualities, ", ")))
	}
	if len(s.Names) > 1 {
		out = append(out, "also "+some(s.Names[1:], 2))
	}
	for i, b := range s.Breaks {
		if i > 0 && b == s.Breaks[i-1] {
			continue
		}
		if b.Within {
			out = append(out, fmt.Sprintf("broken at %s by %s, where it would have %s", b.At, b.Note, b.Want))
		} else {
			out = append(out, fmt.Sprintf("left at %s: %s, where it would have %s", b.At, b.Note, b.Want))
		}
	}
	if len(s.Next) > 0 {
		text := "would go on with " + strings.Join(slices.Compact(slices.Clone(s.Next)), " ")
		if s.Layer == "chords" {
			text = "would go on with bass " + strings.Join(slices.Compact(slices.Clone(s.Next)), " ")
		}
		if len(s.NextTop) > 0 {
			text += ", top " + strings.Join(slices.Compact(slices.Clone(s.NextTop)), " ")
		}
		out = append(out, text)
	}
	if len(s.Again) > 0 {
		out = append(out, "again from "+some(s.Again, 4))
	}
	return out
}
