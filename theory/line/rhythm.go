package line

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Rhythm is what is struck in a stretch of time, without its pitches.
type Rhythm struct {
	Onsets []score.Time // from the start of the stretch, ascending, each once
	Long   []score.Time // for each onset the longest note struck then
	Length score.Time   // of the stretch
	Meter  score.Meter
	Offset score.Time // how much of the printed bar has passed at the start
}

// RhythmOf returns the rhythm of notes struck in [from, to). Meter and offset are those of the bar there; p may be nil, then
// the meter is free. Notes must be in order of onset.
func RhythmOf(notes []score.Note, from, to score.Time, p *score.Passage) Rhythm {
	r := Rhythm{Length: to.Sub(from)}
	if p != nil {
		if i := p.BarAt(from); i >= 0 {
			r.Meter, r.Offset = p.Bars[i].Meter, from.Sub(p.Bars[i].Start).Add(p.Bars[i].Offset)
		}
	}
	for _, n := range notes {
		if n.Onset.Less(from) || !n.Onset.Less(to) || n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		at := n.Onset.Sub(from)
		if k := len(r.Onsets) - 1; k >= 0 && r.Onsets[k] == at {
			r.Long[k] = r.Long[k].Max(n.Duration)
			continue
		}
		r.Onsets, r.Long = append(r.Onsets, at), append(r.Long, n.Duration)
	}
	return r
}

// Same reports whether two rhythms strike at the same moments from their starts, in stretches of the same length.
func (r Rhythm) Same(o Rhythm) bool { return r.Length == o.Length && slices.Equal(r.Onsets, o.Onsets) }

// String writes the rhythm as the lengths from onset to onset, in quarter notes: "1 3/2 1/2 1"; a rest at the start stands in
// brackets.
func (r Rhythm) String() string {
	text := func(t score.Time) string {
		if t.Den() == 1 {
			return t.String()
		}
		return fmt.Sprintf("%d/%d", t.Num(), t.Den())
	}
	if len(r.Onsets) == 0 {
		return "(" + text(r.Length) + ")"
	}
	var s []string
	if r.Onsets[0].Sign() > 0 {
		s = append(s, "("+text(r.Onsets[0])+")")
	}
	for i, t := range r.Onsets {
		next := r.Length
		if i+1 < len(r.Onsets) {
			next = r.Onsets[i+1]
		}
		s = append(s, text(next.Sub(t)))
	}
	return strings.Join(s, " ")
}

// valueNames are the names of note values by their length in quarter notes.
var valueNames = map[score.Time]string{
	score.Quarters(8): "breve", score.Quarters(6): "dotted whole", score.Quarters(4): "whole", score.Quarters(3): "dotted half", score.Quarters(2): "half",
	score.T(3, 2): "dotted quarter", score.Quarters(1): "quarter", score.T(3, 4): "dotted eighth", score.T(1, 2): "eighth",
	score.T(3, 8): "dotted sixteenth", score.T(1, 4): "sixteenth", score.T(1, 8): "thirty-second",
	score.T(4, 3): "triplet half", score.T(2, 3): "triplet quarter", score.T(1, 3): "triplet eighth", score.T(1, 6): "triplet sixteenth",
}

// Values says the rhythm in note values from onset to onset: "dotted quarter, eighth, 2 quarters"; a rest at the start stands
// in brackets. It returns "" if a length has no name of its own.
func (r Rhythm) Values() string {
	type run struct {
		name string
		n    int
	}
	var runs []run
	all := true
	add := func(t score.Time, rest bool) {
		name := valueNames[t]
		all = all && name != ""
		if rest {
			name = "(" + name + " rest)"
		}
		if k := len(runs) - 1; k >= 0 && runs[k].name == name {
			runs[k].n++
			return
		}
		runs = append(runs, run{name, 1})
	}
	if len(r.Onsets) == 0 {
		return "silence"
	}
	if r.Onsets[0].Sign() > 0 {
		add(r.Onsets[0], true)
	}
	for i, t := range r.Onsets {
		next := r.Length
		if i+1 < len(r.Onsets) {
			next = r.Onsets[i+1]
		}
		add(next.Sub(t), false)
	}
	if !all {
		return ""
	}
	var s []string
	for _, x := range runs {
		switch {
		case x.n == 1:
			s = append(s, x.name)
		case x.name == "half":
			s = append(s, fmt.Sprintf("%d halves", x.n))
		case x.name == "triplet half", x.name == "dotted half":
			s = append(s, fmt.Sprintf("%d %s halves", x.n, strings.Fields(x.name)[0]))
		default:
			s = append(s, fmt.Sprintf("%d %ss", x.n, x.name))
		}
	}
	return strings.Join(s, ", ")
}

// grid returns the coarsest pulse on which all the times lie.
func grid(times ...score.Time) score.Time {
	den := int64(1)
	for _, t := range times {
		den = den / gcd64(den, t.Den()) * t.Den()
	}
	num := int64(0)
	for _, t := range times {
		num = gcd64(num, t.Num()*(den/t.Den()))
	}
	return score.T(max(num, 1), den)
}

func gcd64(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}

// SwapDistance returns the directed swap distance of two rhythms, in pulses of the coarsest grid on which both lie: how many
// swaps of neighbouring pulses turn the rhythm with more onsets into the other one, if each of its onsets moves to one of
// the other's and each of those receives at least one. For as many onsets in both it is the swap distance.
//
// J. M. Díaz-Báñez, G. Farigu, F. Gómez, D. Rappaport and G. T. Toussaint, "El compás flamenco: a phylogenetic analysis"
// (Bridges 2004); the assignment that keeps the order is the least, found by dynamic programming. If one of them has no
// onset the distance is -1: nothing can move there.
func SwapDistance(a, b Rhythm) int {
	if len(a.Onsets) == 0 && len(b.Onsets) == 0 {
		return 0
	}
	if len(a.Onsets) == 0 || len(b.Onsets) == 0 {
		return -1
	}
	x, y := a.Onsets, b.Onsets
	if len(x) < len(y) {
		x, y = y, x
	}
	pulse := grid(append(append([]score.Time{a.Length, b.Length}, x...), y...)...)
	at := func(t score.Time) int { return int(t.Div(pulse).Num()) }
	const far = 1 << 40
	// row[j]: least cost of the x so far with the last one on y[j], and y[0:j+1] all received.
	row := make([]int, len(y))
	for j := range row {
		row[j] = far
	}
	for i, t := range x {
		for j := len(y) - 1; j >= 0; j-- {
			d := at(t) - at(y[j])
			d = max(d, -d)
			c := far
			switch {
			case i == 0 && j == 0:
				c = 0
			case i > 0:
				c = row[j]
				if j > 0 {
					c = min(c, row[j-1])
				}
			}
			row[j] = min(c+d, far)
		}
	}
	return row[len(y)-1]
}

// RhythmLikeness returns how alike two rhythms are, from 0 to 1: 1 less the directed swap distance (see [SwapDistance]) in
// parts of what it would be if every onset moved by a quarter of the stretch, which is as good as at random. The measure is
// theirs, the scale is ours. Rhythms of stretches of unlike length are laid on each other from the start.
func RhythmLikeness(a, b Rhythm) float64 {
	d := SwapDistance(a, b)
	switch {
	case d < 0:
		return 0
	case d == 0:
		if len(a.Onsets) != len(b.Onsets) || a.Length != b.Length {
			return 0.9
		}
		return 1
	}
	length := a.Length.Max(b.Length)
	pulse := grid(append(append([]score.Time{a.Length, b.Length}, a.Onsets...), b.Onsets...)...)
	worst := float64(max(len(a.Onsets), len(b.Onsets))) * length.Float() / 4
	return max(0, 1-float64(d)*pulse.Float()/worst)
}

// LikenessWords says a likeness of rhythms in words.
func LikenessWords(x float64) string {
	switch {
	case x >= 1:
		return "the same rhythm"
	case x >= 0.85:
		return "nearly the same rhythm"
	case x >= 0.6:
		return "a similar rhythm"
	}
	return "another rhythm"
}

// MetricWeight returns the weight of a position in a bar of a meter, after Longuet-Higgins & Lee: 0 for the downbeat, 1 less
// at each level below it (half bar where the beats are even in number and no group is said, beat, half or third of it, and
// then halves). A position on none of the levels down to sixty-fourths is below all of them.
func MetricWeight(m score.Meter, at score.Time) int {
	if at.Sign() == 0 {
		return 0
	}
	w := 0
	on := func(unit score.Time) bool { return at.Div(unit).Den() == 1 }
	beat := m.Beat()
	switch {
	case len(m.Groups) > 0:
		w--
		sum := 0
		for _, g := range m.Groups {
			if at == score.T(4*int64(sum), int64(m.Unit)) {
				return w
			}
			sum += g
		}
	case m.Beats > 0 && m.Unit > 0:
		beats := m.Length().Div(beat)
		for n := beats.Num(); beats.Den() == 1 && n > 2 && n%2 == 0; n /= 2 {
			w--
			if on(m.Length().Mul(n/2, beats.Num())) && n/2 > 1 {
				// a level of more than one beat
				return w
			}
		}
	}
	w--
	if on(beat) {
		return w
	}
	unit := beat
	if m.Compound() {
		unit = beat.Mul(1, 3)
		if w--; on(unit) {
			return w
		}
	}
	for range 5 {
		unit = unit.Mul(1, 2)
		if w--; on(unit) {
			return w
		}
	}
	return w - 1
}

// offGrid is the weight of a position on no level of a meter.
func offGrid(m score.Meter) int { return MetricWeight(m, score.T(1, 10007)) }

// A Syncope is a note that sounds on over, or is followed by silence at, a moment of more weight than its own.
type Syncope struct {
	At       score.Time // of the note, from the start of the rhythm
	Over     score.Time // the heavier moment without an onset
	Strength int        // by how many levels it is heavier
	Held     bool       // the note sounds on over it; else it is silent there
}

// Syncopations returns the syncopes of a rhythm, by the measure of H. C. Longuet-Higgins and C. S. Lee ("The rhythmic
// interpretation of monophonic music", Music Perception 1, 1984): a note at weight n, before the next onset a moment without
// onset at weight r above n, makes a syncope of r - n; of several such moments the heaviest counts. The end of the stretch
// counts as a moment if nothing is known to be struck there: next tells whether something is. The measure has no level for the
// notes of tuplets between the beats; they are passed over.
func (r Rhythm) Syncopations(next bool) []Syncope {
	if r.Meter.Beats == 0 || r.Length.Sign() <= 0 {
		return nil
	}
	bar := r.Meter.Length()
	weight := func(t score.Time) int {
		x := t.Add(r.Offset)
		for !x.Less(bar) {
			x = x.Sub(bar)
		}
		return MetricWeight(r.Meter, x)
	}
	// Only moments on the eighth-beat grid can be heavier than a note; finer ones are passed over.
	step := r.Meter.Beat().Mul(1, 2)
	if r.Meter.Compound() {
		step = r.Meter.Beat().Mul(1, 3)
	}
	off := offGrid(r.Meter)
	var out []Syncope
	for i, t := range r.Onsets {
		until := r.Length
		last := i+1 == len(r.Onsets)
		if !last {
			until = r.Onsets[i+1]
		}
		n := weight(t)
		if n <= off {
			continue
		}
		s := Syncope{At: t}
		k := t.Add(r.Offset).Div(step) // the first moment of the grid after t
		first := step.Mul(k.Num()/k.Den()+1, 1).Sub(r.Offset)
		for x := first; x.Less(until) || last && x == until && !next; x = x.Add(step) {
			if d := weight(x) - n; d > s.Strength {
				s.Strength, s.Over = d, x
			}
		}
		if s.Strength > 0 {
			s.Held = i < len(r.Long) && s.Over.Less(t.Add(r.Long[i]))
			out = append(out, s)
		}
	}
	return out
}

// Syncopation returns the sum of the strengths of r's syncopes, the end of the stretch taken for struck.
func (r Rhythm) Syncopation() (sum int) {
	for _, s := range r.Syncopations(true) {
		sum += s.Strength
	}
	return sum
}

// A Density is how much is struck, for each beat.
type Density struct{ Onsets, Notes float64 }

// DensityOf returns the density of notes struck in a region, by the beat of its first bar.
func DensityOf(sounding []score.Note, r score.Region, p *score.Passage) Density {
	notes := plainNotes(sounding, r)
	beat := score.Quarters(1)
	if i := p.BarAt(r.From); i >= 0 {
		beat = p.Bars[i].Meter.Beat()
	}
	beats := r.To.Sub(r.From).Div(beat).Float()
	if beats <= 0 {
		return Density{}
	}
	return Density{float64(len(onsets(notes, r.From))) / beats, float64(len(notes)) / beats}
}

// HarmonicRhythm returns how long each harmony lasts, in quarter notes: chords that follow each other are one harmony as long as
// all their notes together, as pitch classes, lie within one triad or seventh chord; a broken chord and its root alone are one.
// Chords come from [Chords] or, by what sounds on the beats, from [ChordOf]; one without notes prolongs the harmony before it.
func HarmonicRhythm(chords []Chord) []score.Time {
	var out []score.Time
	var all uint16
	for i, c := range chords {
		if i > 0 && (c.members == 0 || withinChord[all|c.members] || all|c.members == all) {
			out[len(out)-1] = out[len(out)-1].Add(c.Until.Sub(c.At))
			all |= c.members
			continue
		}
		out = append(out, c.Until.Sub(c.At))
		all = c.members
	}
	return out
}

// withinChord tells of every set of pitch classes whether it lies within a triad or a seventh chord.
var withinChord = func() (in [1 << 12]bool) {
	for q := range qualities {
		for root := range 12 {
			m := uint16(1 << root)
			for _, s := range q {
				m |= 1 << ((root + s) % 12)
			}
			for sub := m; ; sub = (sub - 1) & m {
				in[sub] = true
				if sub == 0 {
					break
				}
			}
		}
	}
	return in
}()

// An Accent is a moment that is stressed.
type Accent struct {
	At      score.Time
	By      []string // "length", "density", "register", "dynamics"
	OffBeat bool     // it lies between the beats
	Weight  int      // of meter, see MetricWeight
}

// Accents returns the moments of a region that are stressed by something else than the meter: a note half as long again as
// the ones before and after it (length), at least two notes more than before and after (density), a leap of a fifth or more
// up to the highest note within a bar either way (register), a mark such as sf (dynamics).
func Accents(sounding []score.Note, r score.Region, p *score.Passage) []Accent {
	notes := plainNotes(sounding, r)
	type moment struct {
		at     score.Time
		count  int
		long   score.Time
		high   pitch.Pitch
		marked bool
	}
	var ms []moment
	for _, n := range notes {
		if k := len(ms) - 1; k >= 0 && ms[k].at == n.Onset {
			ms[k].count++
			ms[k].long = ms[k].long.Max(n.Duration)
			if n.Pitch.Compare(ms[k].high) > 0 {
				ms[k].high = n.Pitch
			}
			continue
		}
		ms = append(ms, moment{n.Onset, 1, n.Duration, n.Pitch, false})
	}
	for _, d := range p.Dynamics {
		if !isStress(d.Text) {
			continue
		}
		if i, ok := slices.BinarySearchFunc(ms, d.At, func(m moment, t score.Time) int { return m.at.Compare(t) }); ok {
			ms[i].marked = true
		}
	}
	var out []Accent
	for i, m := range ms {
		a := Accent{At: m.at}
		inner := i > 0 && i+1 < len(ms)
		if inner && ms[i-1].long.Mul(3, 2).Compare(m.long) <= 0 && ms[i+1].long.Mul(3, 2).Compare(m.long) <= 0 {
			a.By = append(a.By, "length")
		}
		if inner && m.count >= ms[i-1].count+2 && m.count >= ms[i+1].count+2 {
			a.By = append(a.By, "density")
		}
		if i > 0 && m.high.MIDI()-ms[i-1].high.MIDI() >= 7 {
			top := true
			for j := i - 1; j >= 0 && m.at.Sub(ms[j].at).Less(score.Quarters(4)) && top; j-- {
				top = ms[j].high.Compare(m.high) < 0
			}
			for j := i + 1; j < len(ms) && ms[j].at.Sub(m.at).Less(score.Quarters(4)) && top; j++ {
				top = ms[j].high.Compare(m.high) < 0
			}
			if top {
				a.By = append(a.By, "register")
			}
		}
		if m.marked {
			a.By = append(a.By, "dynamics")
		}
		if len(a.By) == 0 {
			continue
		}
		if k := p.BarAt(m.at); k >= 0 {
			b := p.Bars[k]
			a.Weight = MetricWeight(b.Meter, m.at.Sub(b.Start).Add(b.Offset))
			a.OffBeat = m.at.Sub(b.Start).Add(b.Offset).Div(b.Meter.Beat()).Den() != 1
		}
		out = append(out, a)
	}
	return out
}

// isStress reports whether a dynamic mark stresses a single moment.
func isStress(text string) bool {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "sf", "sfz", "sffz", "fz", "ffz", "rf", "rfz", "fp", "sfp", "sfpp":
		return true
	}
	return false
}

// A BarRhythm is the rhythm of one bar and where it stood before.
type BarRhythm struct {
	Bar   int // index
	First int // the first bar with the same rhythm, itself if it is new
	Near  int // if new: the bar before it whose rhythm is the likest, -1 if none is
	Like  float64
	Rhythm
}

// BarRhythms returns the rhythm of every bar that begins in a region, of the region's hand, and where it was first: the
// rhythmic figures of the passage and their variants. A bar in which nothing is struck is left out. A new rhythm is held
// against the sixteen different ones before it.
func BarRhythms(sounding []score.Note, r score.Region, p *score.Passage) []BarRhythm {
	notes := plainNotes(sounding, r)
	first := map[string]int{}
	var out []BarRhythm
	var kinds []int // indices in out of new rhythms
	k := 0
	for i, b := range p.Bars {
		if b.Start.Less(r.From) || !b.Start.Less(r.To) {
			continue
		}
		for k < len(notes) && notes[k].Onset.Less(b.Start) {
			k++
		}
		end := k
		for end < len(notes) && notes[end].Onset.Less(b.End()) {
			end++
		}
		br := BarRhythm{Bar: i, First: i, Near: -1, Rhythm: RhythmOf(notes[k:end], b.Start, b.End(), nil)}
		br.Meter, br.Offset = b.Meter, b.Offset
		k = end
		if len(br.Onsets) == 0 {
			continue
		}
		id := br.String() + "|" + b.Length.String()
		if f, ok := first[id]; ok {
			br.First, br.Like = f, 1
		} else {
			first[id] = i
			for _, x := range kinds[max(0, len(kinds)-16):] {
				if like := RhythmLikeness(br.Rhythm, out[x].Rhythm); like > br.Like {
					br.Near, br.Like = out[x].Bar, like
				}
			}
			kinds = append(kinds, len(out))
		}
		out = append(out, br)
	}
	return out
}

// Figure returns the rhythm that comes back most in a list of bars: its first bar and how many have it.
func Figure(list []BarRhythm) (first, count int) {
	n := map[int]int{}
	first = -1
	for _, b := range list {
		n[b.First]++
	}
	for _, b := range list {
		if c := n[b.First]; c > count {
			first, count = b.First, c
		}
	}
	return first, count
}

// loudness has the marks of dynamics from softest to loudest.
var loudness = map[string]int{"pppp": 1, "ppp": 2, "pp": 3, "p": 4, "mp": 5, "mf": 6, "f": 7, "ff": 8, "fff": 9, "ffff": 10}

// swelling returns 1 for a hairpin or word that asks for more, -1 for less, 0 for another mark.
func swelling(text string) int {
	text = strings.ToLower(strings.TrimSpace(text))
	switch {
	case text == "louder" || strings.HasPrefix(text, "cresc"):
		return 1
	case text == "softer" || strings.HasPrefix(text, "dim") || strings.HasPrefix(text, "decresc"):
		return -1
	}
	return 0
}

// A Swell is what is written about loudness in a stretch, in order of time.
type Swell struct {
	Direction int // 1 gets louder, -1 softer, 0 neither or both
	Marks     []score.Dynamic
	Why       string // the marks in words, with their places
}

// SwellOf returns what is written about loudness in a region: hairpins and words that reach into it, and the marks from
// loudest to softest that stand in it, with the one in force before. It gets louder if everything written says so.
func SwellOf(p *score.Passage, r score.Region) Swell {
	var s Swell
	up, down := false, false
	last := 0
	var why []string
	for _, d := range p.Dynamics {
		if r.Layer == score.LeftHand && d.Hand == score.Right || r.Layer == score.RightHand && d.Hand == score.Left {
			continue
		}
		if way := swelling(d.Text); way != 0 {
			until := d.Until
			if !d.At.Less(until) {
				until = d.At
			}
			if !d.At.Less(r.To) || until.Less(r.From) || until == r.From && d.At.Less(r.From) {
				continue
			}
			up, down = up || way > 0, down || way < 0
			s.Marks = append(s.Marks, d)
			text := d.Text + " at " + p.Where(d.At)
			if d.At.Less(d.Until) {
				text = d.Text + " from " + p.Where(d.At)
			}
			why = append(why, text)
			continue
		}
		level, ok := loudness[strings.ToLower(strings.TrimSpace(d.Text))]
		if !ok || !d.At.Less(r.To) {
			continue
		}
		if !d.At.Less(r.From) {
			if last != 0 && r.From.Less(d.At) {
				up, down = up || level > last, down || level < last
			}
			s.Marks = append(s.Marks, d)
			why = append(why, d.Text+" at "+p.Where(d.At))
		}
		last = level
	}
	if up != down {
		s.Direction = 1
		if down {
			s.Direction = -1
		}
	}
	s.Why = strings.Join(why, ", ")
	if s.Why == "" {
		s.Why = "nothing is written there about loudness"
	}
	return s
}

// A Growth is how the texture changes through a region: for each bar how many notes are struck a beat and how many sound
// together at most.
type Growth struct {
	Direction    int // 1 grows, -1 thins out, 0 neither
	First, Last  float64
	Bars         []float64 // notes struck a beat, bar by bar
	From, To     int       // indices of the bars
	Significance float64   // Spearman's rank correlation of density with time, in [-1, 1]
}

// GrowthOf tells whether the texture of a region grows or thins out: notes struck a beat, bar by bar. It does if the rank
// correlation with time (C. Spearman 1904) is 0.8 or more over at least three bars, and the last bar has half as many notes
// again as the first, or two thirds of them.
func GrowthOf(sounding []score.Note, r score.Region, p *score.Passage) Growth {
	g := Growth{From: -1}
	notes := plainNotes(sounding, r)
	k := 0
	for i := max(p.BarAt(r.From), 0); i < len(p.Bars) && p.Bars[i].Start.Less(r.To); i++ {
		b := p.Bars[i]
		if !r.From.Less(b.End()) || b.Length.Sign() <= 0 {
			continue
		}
		for k < len(notes) && notes[k].Onset.Less(b.Start) {
			k++
		}
		n := 0
		for ; k < len(notes) && notes[k].Onset.Less(b.End()); k++ {
			n++
		}
		if g.From < 0 {
			g.From = i
		}
		g.To = i
		g.Bars = append(g.Bars, float64(n)/b.Length.Div(b.Meter.Beat()).Float())
	}
	n := len(g.Bars)
	if n < 3 {
		return g
	}
	g.First, g.Last = g.Bars[0], g.Bars[n-1]
	g.Significance = spearman(g.Bars)
	switch {
	case g.Significance >= 0.8 && g.Last >= 1.5*g.First && g.Last > 0:
		g.Direction = 1
	case g.Significance <= -0.8 && g.First >= 1.5*g.Last:
		g.Direction = -1
	}
	return g
}

// spearman returns the rank correlation of list with its own order; ties get the mean of their ranks.
func spearman(list []float64) float64 {
	n := len(list)
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(list[a], list[b]) })
	rank := make([]float64, n)
	for i := 0; i < n; {
		j := i
		for j < n && list[order[j]] == list[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			rank[order[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	mean := float64(n-1) / 2
	var xy, xx, yy float64
	for i := range list {
		x, y := float64(i)-mean, rank[i]-mean
		xy, xx, yy = xy+x*y, xx+x*x, yy+y*y
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// Words says what the rhythm of one place has to do with another's: "has the rhythm of bar 1" where it is the same, else how
// like it is with the number.
func (r Rhythm) Words(o Rhythm, that string) string {
	if r.Same(o) {
		return "has the rhythm of " + that
	}
	x := RhythmLikeness(r, o)
	return fmt.Sprintf("has %s beside %s (likeness %.2f)", LikenessWords(x), that, x)
}
