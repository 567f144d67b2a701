package line

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"sort"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Break is a note that a sequence would have otherwise.
type Break struct {
	Note score.Note
	Want pitch.Pitch // in the octave of the note, where the sequence is one of classes
	Top  bool        // of a sequence of chords: it is the top line that breaks it, not the bass
}

// A Sequence is a model and its copies, each moved by the same interval.
type Sequence struct {
	Layer    score.Layer // Whole for chords: bass and top line go together; else Bass or TopLine
	From, To score.Time
	Size     int            // notes, or chords, in the model
	Copies   int            // whole copies after the model
	Rest     int            // notes of a copy begun
	Likeness Likeness       // Transposed (exact), Diatonic (tonal) or BySemitone
	Interval pitch.Interval // from model to copy; of chords, of the bass, which counts a fifth down as a fourth up
	TopMoves pitch.Interval // of chords: the same of the top line
	Notes    Line           // of the line; of chords, the bass
	TopNotes Line           // of chords: the top line
	Chords   []Chord        // of chords
	Names    []Schema       // trade names, the best first; From and To count chords from the start of the sequence
	Outer    []pitch.Interval
	Period   int    // after so many chords the outer intervals come back, as they sound; 0 if not a sequence of chords
	Why      string // why they do
	// Qualities are those of the chords until they come back; nil if they don't or aren't known.
	Qualities []string
	// Breaks are the notes that don't fit: within the sequence, and the one with which it ends where it could have gone on.
	Breaks []Break
	Chance float64 // how many such sequences chance would make here, about; the smaller, the surer
}

// Prices of coincidence: how likely it is that the interval from one note to the next is by chance what the model has there.
const (
	chanceStep   = 0.33 // of a tune: tunes move by step mostly
	chanceClass  = 0.25 // of a bass, octaves aside
	chanceSecond = 0.4  // of the top line over a bass: chords bind them
	chanceRoot   = 0.2  // of a root or a bass, to move as a standard pattern asks
	chanceMost   = 0.02 // a sequence must be less likely than that anywhere in the line
	chanceWhole  = 0.12 // … and less than that if it is the whole of the place
)

// A track is a line as a sequence finder sees it.
type track struct {
	notes   Line
	classes bool // octaves don't matter
}

// apart fills out with the intervals from each note of t to the one size notes on.
func (t *track) apart(size int, height []pitch.Interval, out []pitch.Interval) []pitch.Interval {
	out = out[:0]
	for i := 0; i+size < len(height); i++ {
		a, b := height[i], height[i+size]
		d := pitch.Interval{Steps: b.Steps - a.Steps, Semitones: b.Semitones - a.Semitones}
		if t.classes {
			d = upward(d)
		}
		out = append(out, d)
	}
	return out
}

// between returns the interval from note i to note j of t.
func (t *track) between(i, j int) pitch.Interval {
	d := t.notes[j].Pitch.Sub(t.notes[i].Pitch)
	if t.classes {
		d = upward(d)
	}
	return d
}

// upward returns i within the octave above, octaves aside: a fifth down is a fourth up.
func upward(i pitch.Interval) pitch.Interval {
	n := floorDiv(i.Steps, 7)
	return pitch.Interval{Steps: i.Steps - 7*n, Semitones: i.Semitones - 12*n}
}

func floorDiv(a, n int) int { return (a - mod(a, n)) / n }

// signed returns a class interval in the shorter direction: a fifth up stays, a sixth up becomes a third down.
func signed(i pitch.Interval) pitch.Interval {
	if i.Steps > 4 {
		return i.Plus(pitch.Octave.Neg())
	}
	return i
}

// agree reports whether two intervals are the same for a likeness.
func agree(l Likeness, a, b pitch.Interval, classes bool) bool {
	switch l {
	case Transposed:
		return a == b
	case Diatonic:
		d := a.Semitones - b.Semitones
		return a.Steps == b.Steps && d >= -1 && d <= 1 && inScale(a)
	}
	if classes {
		return mod(a.Semitones-b.Semitones, 12) == 0
	}
	return a.Semitones == b.Semitones
}

// A found is a stretch of tracks that repeats with a size: notes from:to.
type found struct {
	from, to, size int
	likeness       Likeness
	by             []pitch.Interval
	chance         float64
	broken         int // the note in which one of the tracks breaks the sequence, -1 if none does
}

// search finds the stretches of parallel tracks, all of the same length, in which a model of 1 to most notes goes on in
// copies. Time is that of the first track; starts tells for each note whether a bar begins there. A model of one note is
// taken only if single is set; level counts the readings of the same notes before this one.
func search(tracks []track, most int, single bool, p *score.Passage, level int) []found {
	n := len(tracks[0].notes)
	// length of each note until the next one: the rhythm must come back too
	gap := make([]score.Time, n)
	for i := range gap {
		if i+1 < n {
			gap[i] = tracks[0].notes[i+1].Onset.Sub(tracks[0].notes[i].Onset)
		}
	}
	starts := make([]bool, n)
	bars := 1
	for i, x := range tracks[0].notes {
		starts[i] = p != nil && x.Bar >= 0 && x.Bar < len(p.Bars) && p.Bars[x.Bar].Start == x.Onset
		if starts[i] {
			bars++
		}
	}
	heights := make([][]pitch.Interval, len(tracks))
	for t := range tracks {
		heights[t] = make([]pitch.Interval, 0, n)
		for _, x := range tracks[t].notes {
			heights[t] = append(heights[t], pitch.Interval{Steps: x.Pitch.Step(), Semitones: x.Pitch.MIDI()})
		}
	}
	once := make([][]pitch.Interval, len(tracks)) // the intervals over one model, and over two for what lies behind a break
	rhythm := make([]bool, n)                     // note k follows the one before it as note k-size did
	by := make([]pitch.Interval, len(tracks))
	var out []found
	for size := 1; size <= most && 2*size <= n; size++ {
		if size == 1 && !single {
			continue
		}
		for t := range tracks {
			once[t] = tracks[t].apart(size, heights[t], once[t])
		}
		for k := size + 1; k < n; k++ {
			rhythm[k] = gap[k-1] == gap[k-1-size]
		}
		for _, like := range [...]Likeness{Transposed, Diatonic, BySemitone} {
			for i := 0; i+2*size <= n; {
				// note j is the copy of note j-size
				j := i + size
				for t := range tracks {
					by[t] = once[t][i]
				}
				broken := -1
				fits := func(k int) bool { // note k is as the note before it in the model wants
					for t := range tracks {
						if k-size != broken {
							if !agree(like, once[t][k-size], by[t], tracks[t].classes) {
								return false
							}
							continue
						}
						a, want := k-2*size, by[t].Plus(by[t]) // measured against the copy before
						if a < i {
							continue
						}
						if tracks[t].classes {
							want = upward(want)
						}
						if !agree(like, tracks[t].between(a, k), want, tracks[t].classes) {
							return false
						}
					}
					return rhythm[k]
				}
				for j++; j < n; j++ {
					if fits(j) {
						continue
					}
					if broken >= 0 || j-i < 2*size+1 || j+2 >= n || !rhythm[j] {
						break
					}
					broken = j // one note may be wrong if two more go on as they should
					if !fits(j+1) || !fits(j+2) {
						broken = -1
						break
					}
				}
				if j-i >= 2*size {
					if f := (found{i, j, size, like, slices.Clone(by), 0, broken}); weigh(&f, tracks, starts, bars, level) {
						f.reachBack(tracks, gap)
						out = append(out, f)
					}
				}
				// The next stretch begins where this one broke.
				i = max(i+1, j-size)
			}
		}
	}
	return out
}

// reachBack lets f, unbroken so far, begin earlier over one wrong note, if the notes before that one are as f wants them: one
// at least of several tracks, two of a line, or a whole model.
func (f *found) reachBack(tracks []track, gap []score.Time) {
	bad := f.from - 1
	if f.broken >= 0 || bad < 1 || gap[bad] != gap[bad+f.size] {
		return
	}
	fits := func(k int) bool {
		to, want := k+f.size, f.by
		if to == bad { // measured against the copy after
			to += f.size
			want = nil
		}
		if to >= f.to || gap[k] != gap[k+f.size] {
			return false
		}
		for t := range tracks {
			by := f.by[t]
			if want == nil {
				if by = by.Plus(by); tracks[t].classes {
					by = upward(by)
				}
			}
			if !agree(f.likeness, tracks[t].between(k, to), by, tracks[t].classes) {
				return false
			}
		}
		return true
	}
	k := bad
	for k > 0 && fits(k-1) {
		k--
	}
	least := f.size
	if f.size == 1 && len(tracks) == 1 {
		least = 2
	}
	if bad-k >= least {
		f.from, f.broken = k, bad
	}
}

// weigh sets the chance of f and reports whether it is a sequence at all.
func weigh(f *found, tracks []track, starts []bool, bars, level int) bool {
	n := len(tracks[0].notes)
	stays := true
	for t := range tracks {
		stays = stays && (f.by[t].Semitones == 0 || f.likeness == Diatonic && f.by[t].Steps == 0)
	}
	if stays {
		return false // a repetition
	}
	for t := range tracks { // a line over a bass that comes back is a sequence of the line alone
		if f.size > 1 && f.by[t].Semitones == 0 {
			return false
		}
	}
	matched := f.to - f.from - f.size - 1 // melodic intervals that came back
	if f.broken >= 0 {
		matched -= 2
	}
	if matched < 1 {
		return false
	}
	// A figure that goes round within the model, as broken chords do, says once what it says.
	if q := turns(tracks, f); q < f.size {
		if matched = matched * q / f.size; matched < 1 {
			return false
		}
	}
	likely := 1.0
	for t := range tracks {
		p := chanceStep
		if tracks[t].classes {
			p = chanceClass
		}
		if t > 0 {
			p = chanceSecond
		}
		if f.likeness == Transposed {
			p *= 0.8
		}
		// A track that stands still or runs evenly says little: it is the same for every size.
		even := f.size > 1
		for i := f.from; even && i+2 < f.to; i++ {
			even = tracks[t].between(i, i+1) == tracks[t].between(i+1, i+2)
		}
		if even {
			if len(tracks) == 1 {
				return false
			}
			p = 0.7
		}
		likely *= math.Pow(p, float64(matched))
	}
	places := float64(n) * float64(min(n/2, 8))
	if starts[f.from] && f.from+f.size < n && starts[f.from+f.size] {
		places = float64(bars)
	}
	limit := chanceMost
	if level > 0 {
		places *= 3 // read in other ways, too
	} else if f.to-f.from == n {
		places, limit = float64(max(n/4, 1)), chanceWhole
		if starts[f.from] && starts[f.from+f.size] {
			places = 1
		}
	}
	f.chance = likely * places
	return f.chance < limit
}

// turns returns after how many notes the model of f comes back to its own pitches, its size if it doesn't.
func turns(tracks []track, f *found) int {
	for q := 1; 2*q <= f.size; q++ {
		same := true
		for t := range tracks {
			for i := f.from + q; same && i < f.from+f.size; i++ {
				same = tracks[t].notes[i].Pitch == tracks[t].notes[i-q].Pitch
			}
		}
		if same {
			return q
		}
	}
	return f.size
}

// FindSequences finds the sequences of a region by themselves: of its chords (bass and top line together), of the bass with
// the standard patterns named, and of the top line. What is found must be less likely by chance than two times in a hundred
// in a line of that length, taking the notes for drawn one by one; a repetition on the same pitch, a scale and a note that
// stays are no sequences. The surest come first; of those that overlap only the surest is kept for each layer. p gives bars;
// it may be nil.
//
// A sequence counts from the first copy on (Hutchinson, section 9.1.11); whether a single copy is enough to be told depends on
// how long it is.
func FindSequences(sounding []score.Note, r score.Region, p *score.Passage) []Sequence {
	return findSequences(sounding, score.Slices(sounding, r.From, r.To), r, p)
}

// findSequences has the slices of the region ready.
func findSequences(sounding []score.Note, all []score.Slice, r score.Region, p *score.Passage) []Sequence {
	var out []Sequence
	if r.Layer == score.Whole || r.Layer == score.LeftHand || r.Layer == score.RightHand {
		list := all
		if r.Layer != score.Whole {
			list = score.Slices(plainNotes(sounding, r), r.From, r.To)
		}
		for i, bounds := range levels(r, p) {
			chords := chordsOf(list, bounds)
			if len(chords) < 3 || i > 0 && len(chords) < 4 {
				continue
			}
			single := 0
			for _, c := range chords {
				if c.low.Pitch == c.high.Pitch {
					single++
				}
			}
			if 2*single > len(chords) {
				continue // a line, no chords
			}
			out = append(out, chordSequences(chords, p, i)...)
			if r.Layer == score.Whole {
				out = append(out, named(chords, i)...)
			}
		}
	}
	low, high := r.Layer != score.TopLine && r.Layer != score.RightHand, r.Layer != score.Bass && r.Layer != score.LeftHand
	if low && high && len(all) > 0 && !slices.ContainsFunc(all, func(s score.Slice) bool { return len(s.Notes) > 1 }) { // a melody alone has no bass
		low = all[0].Notes[0].Hand == score.Left
		high = !low
	}
	if low {
		out = append(out, lineSequences(simplify(outerOf(all, false)), score.Bass, p)...)
	}
	if high {
		out = append(out, lineSequences(outerOf(all, true), score.TopLine, p)...)
	}
	return sift(out)
}

// handRegion is r for the whole texture.
func handRegion(r score.Region) score.Region { return score.Region{From: r.From, To: r.To} }

// simplify drops repeated notes of a line.
func simplify(l Line) Line {
	var out Line
	for i, n := range l {
		if i == 0 || n.Pitch != l[i-1].Pitch {
			out = append(out, n)
		}
	}
	return out
}

// levels returns the bounds at which chords are read: every onset, every beat, every bar.
func levels(r score.Region, p *score.Passage) [][]score.Time {
	out := [][]score.Time{nil}
	if p == nil {
		return out
	}
	var beats, bars []score.Time
	for _, b := range p.Bars {
		if !r.From.Less(b.End()) || !b.Start.Less(r.To) {
			continue
		}
		bars = append(bars, b.Start.Max(r.From))
		if b.Meter.Beat().Sign() <= 0 || b.Length.Sign() <= 0 {
			continue
		}
		for t := b.Start.Sub(b.Offset); t.Less(b.End()); t = t.Add(b.Meter.Beat()) {
			if !t.Less(b.Start.Max(r.From)) && t.Less(r.To) {
				beats = append(beats, t)
			}
		}
	}
	if len(beats) > 2 {
		out = append(out, append(beats, r.To))
	}
	if len(bars) > 2 {
		out = append(out, append(bars, r.To))
	}
	return out
}

// sift keeps the surest of the sequences that overlap in a layer.
func sift(list []Sequence) []Sequence {
	// A named pattern within a sequence of chords that tells more has given it its name already.
	var chords []Sequence // by their start
	for _, s := range list {
		if s.Layer == score.Whole && s.Period > 0 {
			chords = append(chords, s)
		}
	}
	slices.SortStableFunc(chords, func(a, b Sequence) int { return a.From.Compare(b.From) })
	reach := make([]score.Time, len(chords)) // how far those that begin till then go
	for i, s := range chords {
		if reach[i] = s.To; i > 0 {
			reach[i] = reach[i].Max(reach[i-1])
		}
	}
	list = slices.DeleteFunc(list, func(s Sequence) bool {
		if s.Layer != score.Whole || s.Period != 0 {
			return false
		}
		i := sort.Search(len(chords), func(i int) bool { return s.From.Less(chords[i].From) })
		return i > 0 && !reach[i-1].Less(s.To)
	})
	slices.SortStableFunc(list, func(a, b Sequence) int {
		return cmp.Or(cmp.Compare(a.Chance, b.Chance), a.Size-b.Size, a.From.Compare(b.From))
	})
	type span struct{ from, to score.Time }
	taken := map[score.Layer][]span{} // disjoint, by their start
	var out []Sequence
	for _, s := range list {
		t := taken[s.Layer]
		i := sort.Search(len(t), func(i int) bool { return s.From.Less(t[i].to) }) // the first that ends after s begins
		if i < len(t) && t[i].from.Less(s.To) {
			continue
		}
		taken[s.Layer] = slices.Insert(t, i, span{s.From, s.To})
		out = append(out, s)
	}
	return out
}

func lineSequences(l Line, layer score.Layer, p *score.Passage) []Sequence {
	var out []Sequence
	if len(l) < 4 {
		return nil
	}
	tracks := []track{{notes: l}}
	for _, f := range search(tracks, 16, false, p, 0) {
		out = append(out, lineSequence(l, f, layer))
	}
	if layer == score.Bass {
		tracks[0].classes = true
		for _, f := range search(tracks, 8, true, p, 0) {
			if f.size == 1 && f.by[0].Steps != 3 && f.by[0].Steps != 4 {
				continue // a scale or a chain of thirds is motion, no sequence
			}
			s := lineSequence(l, f, layer)
			s.Interval = signed(s.Interval)
			var cs []pitch.Class
			for _, n := range s.Notes {
				cs = append(cs, n.Pitch.Class())
			}
			s.Names = Schemata(RootChords(cs)) // a bass in root position
			if f.size == 1 && f.by[0].Steps == 4 && len(s.Names) == 0 {
				continue
			}
			out = append(out, s)
		}
	}
	return out
}

func lineSequence(l Line, f found, layer score.Layer) Sequence {
	s := Sequence{Layer: layer, Size: f.size, Copies: (f.to - f.from - f.size) / f.size, Rest: (f.to - f.from) % f.size, Likeness: f.likeness,
		Interval: f.by[0], Notes: l[f.from:f.to], Chance: f.chance}
	s.From, s.To = s.Notes[0].Onset, s.Notes[len(s.Notes)-1].End()
	s.Breaks = broke(l, f, 0, false)
	return s
}

// broke names what breaks a sequence in one of its tracks: a note within it, or the note with which it ends.
func broke(l Line, f found, t int, classes bool) []Break {
	var out []Break
	for _, k := range [...]int{f.broken, f.to} {
		if k < f.from || k >= len(l) {
			continue
		}
		a, by := k-f.size, f.by[t]
		if a == f.broken {
			a, by = a-f.size, by.Plus(by)
		}
		if a < f.from { // in the model: against its copy
			if a, by = k+f.size, f.by[t].Neg(); a >= f.to {
				continue
			}
		}
		want, got := l[a].Pitch.Add(by), l[k].Pitch
		if classes {
			for want.Step()-got.Step() > 3 {
				want.Octave--
			}
			for got.Step()-want.Step() > 3 {
				want.Octave++
			}
		}
		if d := got.Sub(want); !agree(f.likeness, d, pitch.Unison, classes) {
			out = append(out, Break{Note: l[k], Want: want})
		}
	}
	return out
}

func chordSequences(chords []Chord, p *score.Passage, level int) []Sequence {
	low, high := make(Line, len(chords)), make(Line, len(chords))
	for i, c := range chords {
		low[i], high[i] = c.low, c.high
		low[i].Onset, high[i].Onset = c.At, c.At // as read: a held note counts from where the chord changes
		if p != nil {
			low[i].Bar = p.BarAt(c.At)
		}
	}
	var out []Sequence
	// Chord by chord both lines may change their octave; the tune of a longer model keeps its shape.
	one, more := []track{{low, true}, {high, true}}, []track{{low, true}, {high, false}}
	for _, f := range append(search(one, 1, true, p, level), search(more, 8, false, p, level)...) {
		out = append(out, chordSequence(chords, low, high, f))
	}
	return out
}

func chordSequence(chords []Chord, low, high Line, f found) Sequence {
	s := Sequence{Layer: score.Whole, Size: f.size, Copies: (f.to - f.from - f.size) / f.size, Rest: (f.to - f.from) % f.size, Likeness: f.likeness,
		Interval: signed(f.by[0]), TopMoves: signed(f.by[1]), Notes: low[f.from:f.to], TopNotes: high[f.from:f.to], Chords: chords[f.from:f.to], Chance: f.chance}
	s.From, s.To = s.Chords[0].At, s.Chords[len(s.Chords)-1].Until
	s.Names = Schemata(s.Chords)
	if !slices.ContainsFunc(s.Chords, func(c Chord) bool { return bits.OnesCount16(c.members) > 2 }) { // two voices: the bass stands for the roots
		var cs []pitch.Class
		for _, c := range s.Chords {
			cs = append(cs, c.Bass)
		}
		s.Names = append(s.Names, Schemata(RootChords(cs))...)
	}
	s.Names = slices.DeleteFunc(s.Names, func(m Schema) bool { return 4*(m.To-m.From) < 3*len(s.Chords) }) // a name is for the whole
	s.Breaks = broke(low, f, 0, true)
	for _, b := range broke(high, f, 1, true) {
		b.Top = true
		s.Breaks = append(s.Breaks, b)
	}
	s.cycle()
	return s
}

// cycle sets the cycle of outer intervals and of qualities.
func (s *Sequence) cycle() {
	for _, c := range s.Chords {
		s.Outer = append(s.Outer, c.high.Pitch.Sub(c.low.Pitch).Simple())
	}
	s.Period, s.Why = OuterPeriod(s.Size, s.Interval, s.TopMoves)
	if s.Likeness == Diatonic {
		s.Period, s.Why = tonalPeriod(s.Size, s.Interval, s.TopMoves)
	}
	if len(s.Outer) > s.Period {
		s.Outer = s.Outer[:s.Period]
	}
	var q []string
	for _, c := range s.Chords {
		if c.Quality == "" {
			return
		}
		q = append(q, c.Quality)
	}
	if n := cyclic(q); n > 0 {
		s.Qualities = q[:n]
	}
}

// cyclic returns the shortest period with which list comes back at least once in full, 0 if there is none.
func cyclic(list []string) int {
	for n := 1; 2*n <= len(list); n++ {
		if slices.Equal(list[n:], list[:len(list)-n]) {
			return n
		}
	}
	return 0
}

// OuterPeriod returns after how many chords the outer intervals of a sequence come back as they sound, octaves aside, and
// why: with each copy of a model of size chords the bass moves by one interval and the top by another, and the difference
// adds up to whole octaves after 12 / gcd(12, difference) copies (common practice, no source; the arithmetic is its own
// proof).
func OuterPeriod(size int, bass, top pitch.Interval) (int, string) {
	d := mod(top.Semitones-bass.Semitones, 12)
	n := 12 / gcd(12, d)
	each := "with each chord"
	if size > 1 {
		each = fmt.Sprintf("with each copy of %d chords", size)
	}
	moves := fmt.Sprintf("%s the bass moves %s and the top %s, so the outer interval", each, moved(bass), moved(top))
	if d == 0 {
		return size, moves + " stays the same, octaves aside"
	}
	if d > 6 {
		d -= 12
	}
	way := "grows"
	if d < 0 {
		way = "shrinks"
	}
	chordsText := ""
	if size > 1 {
		chordsText = fmt.Sprintf(", %d chords", n*size)
	}
	return n * size, fmt.Sprintf("%s %s by %s, octaves aside, and %d times that is a whole number of octaves: it closes after %d%s", moves, way,
		plural(max(d, -d), "semitone"), n, n, chordsText)
}

// tonalPeriod is [OuterPeriod] for a sequence that follows the scale: there the numbers of the intervals come back, and as a scale
// has seven steps they do so at once or after seven copies.
func tonalPeriod(size int, bass, top pitch.Interval) (int, string) {
	d := signedStep(top.Steps - bass.Steps)
	each := "with each chord"
	if size > 1 {
		each = fmt.Sprintf("with each copy of %d chords", size)
	}
	s := Sequence{Likeness: Diatonic}
	moves := fmt.Sprintf("%s the bass moves %s and the top %s within the scale, so the outer interval", each, s.moved(bass), s.moved(top))
	if d == 0 {
		return size, moves + " keeps its number, octaves aside"
	}
	way := "grows"
	if d < 0 {
		way = "shrinks"
	}
	chords := ""
	if size > 1 {
		chords = fmt.Sprintf(", %d chords", 7*size)
	}
	return 7 * size, fmt.Sprintf("%s %s by %s of the scale, octaves aside, and its number closes after 7%s", moves, way, plural(max(d, -d), "step"), chords)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// moved says a signed interval as a motion: "up a perfect fourth", "down a minor second", "not at all".
func moved(i pitch.Interval) string {
	switch {
	case i == pitch.Unison:
		return "not at all"
	case i == pitch.Octave.Neg():
		return "down an octave"
	case i.Descends():
		return "down " + aInterval(i)
	case i == pitch.Octave:
		return "up an octave"
	}
	return "up " + aInterval(i)
}

// named makes sequences of the standard patterns that chords show, where bass and top don't go along.
func named(chords []Chord, level int) []Sequence {
	var out []Sequence
	for _, m := range Schemata(chords) {
		n := m.To - m.From
		// Two qualities of evidence: how many roots or basses go as asked, and how much else is asked of them.
		chance := math.Pow(chanceRoot, float64(n-1)) * math.Pow(0.6, float64(m.specific*n)/4) * float64(len(chords))
		if level > 0 {
			chance *= 3
		}
		if limit := chanceMost; chance >= limit && !(level == 0 && n == len(chords) && chance < chanceWhole) {
			continue
		}
		cs := chords[m.From:m.To]
		s := Sequence{Layer: score.Whole, Size: m.Unit, Copies: n/m.Unit - 1, Rest: n % m.Unit, Likeness: Diatonic, Chords: cs, Chance: chance,
			From: cs[0].At, To: cs[n-1].Until}
		s.Notes, s.TopNotes = make(Line, 0, n), make(Line, 0, n)
		for _, c := range cs {
			s.Notes = append(s.Notes, c.low)
			s.TopNotes = append(s.TopNotes, c.high)
		}
		if m.Unit < n {
			a, b := cs[0], cs[m.Unit]
			if a.Rooted && b.Rooted {
				s.Interval = signed(b.Root.Sub(a.Root))
			} else {
				s.Interval = signed(b.Bass.Sub(a.Bass))
			}
			s.Likeness = Transposed
			for i := m.Unit; i < n; i++ {
				x, y := cs[i-m.Unit], cs[i]
				if x.Rooted && y.Rooted && signed(y.Root.Sub(x.Root)) != s.Interval {
					s.Likeness = Diatonic
				}
			}
		}
		m.From, m.To = 0, n
		s.Names = []Schema{m}
		out = append(out, s)
	}
	return out
}

// Next returns the notes with which the sequence would go on: of a line the n notes that follow, of chords the bass notes
// (the top notes: [Sequence.NextTop]). A tonal sequence keeps its steps and takes the alterations of the model.
func (s Sequence) Next(n int) []pitch.Pitch { return s.goOn(s.Notes, s.Interval, n) }

// NextTop returns the top notes with which a sequence of chords would go on.
func (s Sequence) NextTop(n int) []pitch.Pitch { return s.goOn(s.TopNotes, s.TopMoves, n) }

func (s Sequence) goOn(l Line, by pitch.Interval, n int) []pitch.Pitch {
	if len(l) < s.Size || s.Size < 1 {
		return nil
	}
	// In which alteration a letter sounds within the sequence: a tonal one goes on in the scale it has shown.
	var alter [7]int8
	var known [7]bool
	for _, x := range l {
		alter[x.Pitch.Letter], known[x.Pitch.Letter] = x.Pitch.Alter, true
	}
	var all []pitch.Pitch
	for _, x := range l {
		all = append(all, x.Pitch)
	}
	for range n {
		p := all[len(all)-s.Size].Add(by)
		if s.Likeness == Diatonic && known[p.Letter] {
			p.Alter = alter[p.Letter]
		}
		if s.Likeness == BySemitone && (p.Alter > 1 || p.Alter < -1) { // no one would write it so
			p = pitch.FromMIDI(p.MIDI(), p.Alter < 0)
		}
		for prev := all[len(all)-1]; s.Layer != score.TopLine && p.Step()-prev.Step() > 4; { // a bass keeps to its register
			p.Octave--
		}
		for prev := all[len(all)-1]; s.Layer != score.TopLine && prev.Step()-p.Step() > 4; {
			p.Octave++
		}
		all = append(all, p)
	}
	return all[len(all)-n:]
}

// Starts returns when the model and each whole copy begin.
func (s Sequence) Starts() []score.Time {
	var out []score.Time
	for k := 0; k <= s.Copies && k*s.Size < len(s.Notes); k++ {
		if s.Layer == score.Whole && k*s.Size < len(s.Chords) {
			out = append(out, s.Chords[k*s.Size].At)
			continue
		}
		out = append(out, s.Notes[k*s.Size].Onset)
	}
	return out
}

// MereMotion reports whether s, chord by chord, is only a scale: over a note that stays, or in both voices the same way. That
// is better told as motion.
func (s Sequence) MereMotion() bool {
	if s.Layer != score.Whole || s.Size != 1 || len(s.Names) > 0 || s.Period == 0 {
		return false
	}
	step := func(i pitch.Interval) int { return signedStep(i.Steps) }
	b, t := step(s.Interval), step(s.TopMoves)
	return b == 0 || t == 0 || b == t && (b == 1 || b == -1)
}

// signedStep takes octaves off a number of steps, to -3 to 3.
func signedStep(n int) int {
	if n = mod(n, 7); n > 3 {
		n -= 7
	}
	return n
}

// moved says the interval from copy to copy: of a tonal sequence by its number alone.
func (s Sequence) moved(i pitch.Interval) string {
	if s.Likeness != Diatonic || i.Steps == 0 {
		return moved(i)
	}
	if i.Descends() {
		return "down " + aStep(i.Number())
	}
	return "up " + aStep(i.Number())
}

// Cycle reports whether the outer intervals change from copy to copy, so that the period of their cycle is worth telling, and
// come back within the sequence.
func (s Sequence) Cycle() bool {
	d := mod(s.TopMoves.Semitones-s.Interval.Semitones, 12)
	if s.Likeness == Diatonic {
		d = mod(s.TopMoves.Steps-s.Interval.Steps, 7)
	}
	return s.Layer == score.Whole && d != 0 && s.Period > 1 && len(s.Outer) == s.Period && len(s.Chords) > s.Period
}

// String says the sequence in words, without its place: "descending fifths: a model of 2 chords and 3 copies, each down a
// step (tonal)". A tonal sequence moves by the number of an interval alone.
func (s Sequence) String() string {
	unit := "note"
	if s.Layer == score.Whole {
		unit = "chord"
	}
	how := map[Likeness]string{Transposed: "exact", Diatonic: "tonal", BySemitone: "exact by sound"}[s.Likeness]
	var b strings.Builder
	if len(s.Names) > 0 {
		fmt.Fprintf(&b, "%s: ", s.Names[0].Name)
		if roots := s.roots(); roots != "" {
			fmt.Fprintf(&b, "%s; ", roots)
		}
	}
	two := s.Layer == score.Whole && s.Period > 0 // bass and top line are both known
	switch {
	case s.Copies == 0:
		fmt.Fprintf(&b, "%s", plural(len(s.Notes), unit))
	case s.Size == 1 && two && s.Interval == pitch.Unison:
		fmt.Fprintf(&b, "%s over a bass that stays, the top line each time %s (%s)", plural(len(s.Notes), unit), s.moved(s.TopMoves), how)
	case s.Size == 1 && two && s.TopMoves == pitch.Unison:
		fmt.Fprintf(&b, "%s under a top note that stays, the bass each time %s (%s)", plural(len(s.Notes), unit), s.moved(s.Interval), how)
	case s.Size == 1:
		fmt.Fprintf(&b, "%s, each %s from the one before", plural(len(s.Notes), unit), s.moved(s.Interval))
		if two {
			fmt.Fprintf(&b, " in the bass and %s in the top line", s.moved(s.TopMoves))
		}
		fmt.Fprintf(&b, " (%s)", how)
	case s.Copies == 1 && s.Size >= phraseNotes && len(s.Names) == 0:
		fmt.Fprintf(&b, "a phrase of %s, then the same%s (%s)", plural(s.Size, unit), s.bothMoved(two, " ", ", "), how)
	default:
		fmt.Fprintf(&b, "a model of %s and %s, each%s (%s)", plural(s.Size, unit), copies(s.Copies), s.bothMoved(two, " ", " with "), how)
	}
	if s.Cycle() {
		var names []string
		for _, i := range s.Outer {
			names = append(names, outerName(i))
		}
		fmt.Fprintf(&b, "; outer intervals repeat every %s: %s", plural(s.Period, "chord"), strings.Join(names, " "))
	}
	return b.String()
}

// bothMoved says how a copy lies to its model: once, after one, if bass and top line go the same way, else for each, after apart.
func (s Sequence) bothMoved(two bool, one, apart string) string {
	bass, top := upward(s.Interval), upward(s.TopMoves)
	if !two || bass == top || s.Likeness == Diatonic && bass.Steps == top.Steps {
		return one + s.moved(s.Interval)
	}
	if bass.Semitones == top.Semitones { // by sound
		return one + s.moved(s.Interval)
	}
	return apart + "the bass " + s.moved(s.Interval) + " and the top line " + s.moved(s.TopMoves)
}

// roots names the roots of a sequence of chords as far as its trade name is of them: "roots D# G# C# F#"; or "bass …" where
// all stand in root position; "" if not all are known.
func (s Sequence) roots() string {
	var names []string
	root := true
	for _, c := range s.Chords {
		if !c.Rooted {
			return ""
		}
		root = root && c.Inversion == 0
		names = append(names, c.Root.String())
	}
	if len(names) == 0 || len(names) > 12 {
		return ""
	}
	if root {
		return "bass " + strings.Join(names, " ")
	}
	return "roots " + strings.Join(names, " ")
}

// phraseNotes is from how many notes on a model is called a phrase.
const phraseNotes = 6

func copies(n int) string {
	if n == 1 {
		return "1 copy"
	}
	return fmt.Sprintf("%d copies", n)
}

// A Pattern is a sequence as it is claimed. The zero value of a field asks nothing.
type Pattern struct {
	Layer score.Layer // Bass or TopLine for a line; Whole for chords
	Size  int         // notes or chords in the model; 1 if 0
	Bass  *pitch.Interval
	Top   *pitch.Interval
	Steps bool // the intervals are meant by their number alone, as a scale bends them
	Name  string
}

// CheckSequence holds a pattern against a region: every note must be its model's note moved by the interval claimed, as many
// times as there are copies. It returns the sequence with its breaks, each with the note that would be right; ok is false
// if the region has no copy to check or, where a name is claimed, doesn't show it from its first chord to its last. A break is
// told against the model and copies taken together, so that one wrong note in the model is found as well. Notes are held against
// it by their sound, where a spelling differs the likeness is [BySemitone]; chords by the beat or the bar as spelled.
func CheckSequence(sounding []score.Note, r score.Region, p *score.Passage, want Pattern) (s Sequence, ok bool) {
	size := max(want.Size, 1)
	s = Sequence{Layer: want.Layer, Size: size, Likeness: Transposed}
	if want.Steps {
		s.Likeness = Diatonic
	}
	switch want.Layer {
	case score.TopLine:
		s.Notes = Top(sounding, handRegion(r))
	case score.Bass:
		s.Notes = simplify(Bass(sounding, handRegion(r)))
	default:
		return checkChords(sounding, r, p, want, s)
	}
	n := len(s.Notes)
	if n < 2*size {
		return s, false
	}
	s.From, s.To = s.Notes[0].Onset, s.Notes[n-1].End()
	s.Copies, s.Rest = n/size-1, n%size
	by := want.Bass
	if want.Layer == score.TopLine {
		by = want.Top
	}
	t := track{s.Notes, want.Layer == score.Bass}
	s.Interval, s.Breaks = t.breaks(size, by, want.Steps, true)
	if !want.Steps && !t.spelled(size, s.Interval, s.Breaks) {
		s.Likeness = BySemitone
	}
	ok = len(s.Breaks) == 0
	if want.Name != "" {
		var cs []pitch.Class
		for _, n := range s.Notes {
			cs = append(cs, n.Pitch.Class())
		}
		s.Names = Schemata(append(RootChords(cs), nil...))
		ok = ok && slices.ContainsFunc(s.Names, func(m Schema) bool { return m.ID == want.Name || m.Name == want.Name })
	}
	return s, ok
}

func checkChords(sounding []score.Note, r score.Region, p *score.Passage, want Pattern, s Sequence) (Sequence, bool) {
	best, bestOK := s, false
	for i, bounds := range levels(r, p) {
		chords := Chords(sounding, r, bounds)
		n := len(chords)
		if n < 2*s.Size {
			continue
		}
		c := s
		c.Chords = chords
		for _, x := range chords {
			c.Notes, c.TopNotes = append(c.Notes, x.low), append(c.TopNotes, x.high)
		}
		c.From, c.To, c.Copies, c.Rest = chords[0].At, chords[n-1].Until, n/s.Size-1, n%s.Size
		ok := true
		if want.Name != "" {
			c.Names = Schemata(chords)
			ok = slices.ContainsFunc(c.Names, func(m Schema) bool {
				return (m.ID == want.Name || m.Name == want.Name) && m.From == 0 && m.To == n
			})
		}
		if want.Name == "" || want.Bass != nil || want.Top != nil {
			low, high := track{c.Notes, true}, track{c.TopNotes, true}
			var b, t []Break
			c.Interval, b = low.breaks(s.Size, want.Bass, want.Steps, i == 0)
			c.TopMoves, t = high.breaks(s.Size, want.Top, want.Steps, i == 0)
			if !want.Steps && !(low.spelled(s.Size, c.Interval, b) && high.spelled(s.Size, c.TopMoves, t)) {
				c.Likeness = BySemitone
			}
			for k := range t {
				t[k].Top = true
			}
			c.Interval, c.TopMoves = signed(c.Interval), signed(c.TopMoves)
			c.Breaks = append(b, t...)
			ok = ok && len(c.Breaks) == 0
			c.cycle()
		}
		if i == 0 || ok && !bestOK || len(c.Breaks) < len(best.Breaks) && ok == bestOK {
			best, bestOK = c, ok
		}
		if bestOK {
			break
		}
	}
	return best, bestOK
}

// spelled reports whether every note of t but the breaks is its model's moved by d in spelling, too.
func (t *track) spelled(size int, d pitch.Interval, breaks []Break) bool {
	for k := size; k < len(t.notes); k++ {
		i := t.between(k-size, k)
		if i != d && !slices.ContainsFunc(breaks, func(b Break) bool { return b.Note == t.notes[k] || b.Note == t.notes[k-size] }) {
			return false
		}
	}
	return true
}

// breaks returns the interval of transposition, as claimed or as most notes have it, and the notes that don't fit: by their letters
// alone if steps is set, by their sound if sound is, else as spelled. Notes at one place of the model, each taken back to the first copy, must agree; the majority is right, the earlier one where there
// is none.
func (t *track) breaks(size int, by *pitch.Interval, steps, sound bool) (pitch.Interval, []Break) {
	n := len(t.notes)
	back := func(i pitch.Interval) pitch.Interval {
		if t.classes {
			return upward(i)
		}
		return i
	}
	place := func(k int, d pitch.Interval) pitch.Interval { // note k, taken back to the model
		i := t.notes[k].Pitch.Sub(t.notes[0].Pitch)
		c := k / size
		i = i.Plus(pitch.Interval{Steps: -c * d.Steps, Semitones: -c * d.Semitones})
		return back(i)
	}
	same := func(a, b pitch.Interval) bool {
		switch {
		case steps:
			return a.Steps == b.Steps
		case !sound:
			return a == b
		case t.classes:
			return mod(a.Semitones-b.Semitones, 12) == 0
		}
		return a.Semitones == b.Semitones
	}
	judge := func(d pitch.Interval) (wrong []int, right []pitch.Interval) {
		for phase := range size {
			best, votes := pitch.Interval{}, 0
			for k := phase; k < n; k += size {
				x, v := place(k, d), 0
				for m := phase; m < n; m += size {
					if same(place(m, d), x) {
						v++
					}
				}
				if v > votes {
					best, votes = x, v
				}
			}
			for k := phase; k < n; k += size {
				if !same(place(k, d), best) {
					wrong = append(wrong, k)
					right = append(right, best)
				}
			}
		}
		return wrong, right
	}
	var d pitch.Interval
	if by != nil {
		d = back(*by)
	} else {
		seen := map[pitch.Interval]bool{}
		least := n + 1
		for k := size; k < n; k++ {
			x := t.between(k-size, k)
			if seen[x] {
				continue
			}
			seen[x] = true
			if len(seen) > 8 {
				break // no sequence at all
			}
			if w, _ := judge(x); len(w) < least {
				d, least = x, len(w)
			}
		}
	}
	wrong, right := judge(d)
	var out []Break
	for i, k := range wrong {
		c := k / size
		want := t.notes[0].Pitch.Add(right[i].Plus(pitch.Interval{Steps: c * d.Steps, Semitones: c * d.Semitones}))
		if t.classes {
			for o := t.notes[k].Pitch; want.Step()-o.Step() > 3; {
				want.Octave--
			}
			for o := t.notes[k].Pitch; o.Step()-want.Step() > 3; {
				want.Octave++
			}
		}
		out = append(out, Break{Note: t.notes[k], Want: want})
	}
	slices.SortStableFunc(out, func(a, b Break) int { return a.Note.Onset.Compare(b.Note.Onset) })
	return d, out
}
