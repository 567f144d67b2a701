package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/chord"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// Labels of the line that moves by semitone.
const (
	topUp     = "top, up"
	topDown   = "top, down"
	innerUp   = "inner voice, up"
	innerDown = "inner voice, down"
	bassUp    = "bass, up"
	bassDown  = "bass, down"
)

var semitoneRows = []row{
	{topUp, []string{"top up", "soprano up", "upper line up", "highest up"}}, {topDown, []string{"top down", "soprano down", "highest down"}},
	{innerUp, []string{"inner up", "middle up", "inside up"}}, {innerDown, []string{"inner down", "middle down", "inside down"}},
	{bassUp, []string{"bass up", "lowest up", "low up"}}, {bassDown, []string{"bass down", "lowest down", "low down"}},
}

// A step between two chords in which one member moves by a semitone and the others stay.
type semitoneStep struct {
	from   chord.Type
	member int
	up     bool
	to     chord.Type
	root   int // of to above that of from, in semitones
}

// semitoneSteps are all such steps among the common triads and sevenths.
var semitoneSteps = sync.OnceValue(func() []semitoneStep {
	pool := types("maj min aug dim dom7 maj7 min7 hdim7 dim7 minmaj7")
	set := func(t chord.Type, root, moved, by int) (pcs int) {
		for i, iv := range t.Intervals {
			n := root + iv.Semitones
			if i == moved {
				n += by
			}
			pcs |= 1 << ((n%12 + 12) % 12)
		}
		return pcs
	}
	var out []semitoneStep
	for _, a := range pool {
		for i := range a.Intervals {
			for _, by := range []int{1, -1} {
				for _, b := range pool {
					for root := range 12 {
						if len(a.Intervals) == len(b.Intervals) && set(a, 0, i, by) == set(b, root, -1, 0) {
							out = append(out, semitoneStep{a, i, by > 0, b, root})
						}
					}
				}
			}
		}
	}
	return out
})

// semitoneCraft sounds chords in which one line moves by semitone.
var semitoneCraft = &named{
	asks: "One line moves by semitone. Which, and which way?", rows: semitoneRows, low: "C2", high: "C6",
	steps: []Level{
		step(1, "two chords, top or bass, all else stays", topUp, topDown, bassUp, bassDown),
		step(2, "two chords, any voice, all else stays", all(semitoneRows)...),
		step(3, "a line of four chords, all else stays", all(semitoneRows)...),
		step(4, "two chords, the other lines move otherwise", all(semitoneRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		if err := tooNarrow(s, 40); err != nil {
			return nil, err
		}
		return filler(func(r *rand.Rand, q *Question) {
			voice, way, _ := strings.Cut(q.Expected, ", ")
			up := way == "up"
			q.Tempo = 66
			if s.Level == 3 {
				semitoneLine(r, q, voice, up)
				return
			}
			lowest := q.draw(r, 43, 54)
			distance := 16 + r.IntN(8)
			for try := range 800 {
				if try >= 400 && semitonePair(r, q, lowest, distance, voice, up) { // where nothing of the hard kind is found
					return
				}
				if s.Level < 4 && semitonePair(r, q, lowest, distance, voice, up) || s.Level == 4 && semitoneAmong(r, q, lowest, distance, voice, up) {
					return
				}
			}
		}), nil
	},
	apart: func(label string, q Question) []Part {
		wv, ww, _ := strings.Cut(q.Expected, ", ")
		gv, gw, _ := strings.Cut(label, ", ")
		return []Part{judged("line", wv, gv), judged("direction", ww, gw)}
	},
}

// inVoice reports whether voice v of n is the one named.
func inVoice(voice string, v, n int) bool {
	switch voice {
	case "top":
		return v == n-1
	case "bass":
		return v == 0
	}
	return v > 0 && v < n-1
}

// semitonePair sounds a chord and then the same with one member a semitone away.
func semitonePair(r *rand.Rand, q *Question, lowest, distance int, voice string, up bool) bool {
	st := pick(r, semitoneSteps())
	if st.up != up {
		return false
	}
	bass, top := -1, -1
	switch voice {
	case "bass":
		bass = st.member
	case "top":
		top = st.member
	}
	b, _, places, ok := withMembers(r, st.from, bass, top, distance, 4, func(int) int { return lowest })
	if !ok {
		return false
	}
	moved := -1
	for i, x := range places {
		if (x+st.from.Intervals[b].Semitones-st.from.Intervals[st.member].Semitones)%12 == 0 {
			if moved >= 0 {
				return false // it is doubled
			}
			moved = i
		}
	}
	if moved < 0 || !inVoice(voice, moved, len(places)) {
		return false
	}
	var n1, n2 []int
	for i, x := range places {
		n1 = append(n1, lowest+x)
		n2 = append(n2, lowest+x)
		if i == moved {
			n2[i] += map[bool]int{true: 1, false: -1}[up]
		}
	}
	for i := 1; i < len(n2); i++ {
		if n2[i] <= n2[i-1] {
			return false
		}
	}
	left, right, root := voiced(r, st.from, b, lowest, places)
	first := append(slices.Clone(left), right...)
	second, root2 := spelledLike(r, n2, st.to, root.PC()+st.root, first)
	twoChords(q, first, second)
	q.about = fmt.Sprintf("%s to %s: %s to %s", chordName(root, st.from), chordName(root2, st.to), first[moved], second[moved])
	return true
}

// twoChords sounds two chords of four voices.
func twoChords(q *Question, first, second []pitch.Pitch) {
	two := score.Quarters(2)
	q.Music = append(chordNotes(score.Time{}, two, first[:2], first[2:]), chordNotes(two, two, second[:2], second[2:])...)
}

func chordName(root pitch.Class, t chord.Type) string {
	return chord.Symbol{Root: root, Type: t, Inversion: -1}.House()
}

// spelledLike spells keys as a chord on a root of pitch class pc, keeping as many names as can be of the chord before.
func spelledLike(r *rand.Rand, keys []int, t chord.Type, pc int, before []pitch.Pitch) ([]pitch.Pitch, pitch.Class) {
	var best []pitch.Pitch
	var on pitch.Class
	most := -1 << 30
	for n := -10; n <= 12; n++ {
		root := pitch.ClassOfFifths(n)
		if root.PC() != (pc%12+12)%12 {
			continue
		}
		var out []pitch.Pitch
		worth := 0
		for i, k := range keys {
			j := slices.IndexFunc(t.Intervals, func(iv pitch.Interval) bool { return root.Add(iv).PC() == k%12 })
			if j < 0 {
				return nil, root
			}
			p := at(root.Add(t.Intervals[j]), k)
			out = append(out, p)
			if p == before[i] {
				worth += 3
			}
			worth -= int(p.Alter) * int(p.Alter)
		}
		if worth > most {
			most, best, on = worth, out, root
		}
	}
	return best, on
}

// A cliche is a line by semitone over a chord that stays (in jazz handbooks a line cliché; common practice, no source):
// intervals above the root through which the line leads, upwards, and the notes that stay.
type cliche struct {
	line  [4]string
	stay  string
	names [4]string
}

var cliches = []cliche{
	{[4]string{"M6", "m7", "M7", "P8"}, "P1 m3 P5", [4]string{"m6", "m7", "m(maj7)", "m"}},
	{[4]string{"M6", "m7", "M7", "P8"}, "P1 M3 P5", [4]string{"6", "7", "maj7", ""}},
	{[4]string{"P5", "A5", "M6", "m7"}, "P1 M3 P8", [4]string{"", "+", "6", "7"}},
	{[4]string{"P5", "m6", "M6", "m7"}, "P1 m3 P8", [4]string{"m", "m(b6)", "m6", "m7"}},
}

// semitoneLine sounds four chords with a line by semitone in one of four voices. The lowest and the highest key of the whole are
// each drawn from an octave of their own before the voice is looked at; the rest lies between them.
func semitoneLine(r *rand.Rand, q *Question, voice string, up bool) {
	low := 38 + r.IntN(6)
	lowest := q.draw(r, low, low+11)
	high := low + 25 + r.IntN(5) // the octave of the highest key begins here
	var lc lineChords
	for try := 0; ; try++ {
		lc = pick(r, lineCliches())
		if !up {
			lc = lc.backwards()
		}
		if lc.lay(r, voice, lowest, high, try < 200) || try == 400 {
			break
		}
	}
	pc := lc.root
	root := plainly(r, pc, append(slices.Clone(lc.line), lc.stay...))
	spell := func(iv pitch.Interval, key int) pitch.Pitch { return at(root.Add(iv), key) }
	line := make([]pitch.Pitch, len(lc.line))
	var held []pitch.Pitch
	for i, k := range lc.held {
		held = append(held, spell(lc.stay[i], k))
	}
	var symbols []string
	for i, iv := range lc.line {
		line[i] = spell(iv, lc.first+iv.Semitones-lc.line[0].Semitones)
		left, right := split(append(slices.Clone(held), line[i]))
		q.Music = append(q.Music, chordNotes(score.Quarters(i), score.Quarters(1), left, right)...)
		symbols = append(symbols, root.String()+lc.names[i])
	}
	q.about = fmt.Sprintf("%s: %s", strings.Join(symbols, " "), names2(line))
}

// lineChords are a cliche, read, and where it lies.
type lineChords struct {
	line, stay []pitch.Interval
	names      []string
	root       int   // its pitch class
	first      int   // the key on which the line begins
	held       []int // the keys of what stays
}

var lineCliches = sync.OnceValue(func() (out []lineChords) {
	iv := func(s string) pitch.Interval { v, _ := pitch.ParseInterval(s); return v } // our own table, see TestKinds
	for _, c := range cliches {
		lc := lineChords{names: c.names[:]}
		for _, s := range c.line {
			lc.line = append(lc.line, iv(s))
		}
		for s := range strings.FieldsSeq(c.stay) {
			lc.stay = append(lc.stay, iv(s))
		}
		out = append(out, lc)
	}
	return out
})

func (lc lineChords) backwards() lineChords {
	lc.line, lc.names = slices.Clone(lc.line), slices.Clone(lc.names)
	slices.Reverse(lc.line)
	slices.Reverse(lc.names)
	return lc
}

// lay finds keys for lc with its line in a voice, the lowest key of all being lowest and the highest in the octave from high on.
// It is false if the draw gives none: voices may not meet or cross, and with spaced set no two may lie closer than is clear.
func (lc *lineChords) lay(r *rand.Rand, voice string, lowest, high int, spaced bool) bool {
	bottom := slices.MinFunc(lc.line, func(a, b pitch.Interval) int { return a.Semitones - b.Semitones }).Semitones
	within := func(semitones, from int) int { return from + ((lc.root+semitones-from)%12+12)%12 } // the lowest such key from one on
	lc.held = make([]int, len(lc.stay))
	lc.root = lowest % 12 // what stays stands on its root
	bass, top := 0, -1
	if voice == "bass" {
		lc.root, bass = ((lowest-bottom)%12+12)%12, -1
	}
	var under int // the lowest key of the line
	switch voice {
	case "bass":
		under = lowest
	case "top": // its highest note is what lies in the octave
		under = within(bottom+3, high) - 3
	default:
		under = within(bottom, lowest+4+r.IntN(max(1, high-lowest-12)))
	}
	if voice != "top" {
		top = r.IntN(len(lc.stay))
		if top == bass {
			return false
		}
	}
	for i, iv := range lc.stay {
		switch i {
		case bass:
			lc.held[i] = lowest
		case top:
			lc.held[i] = within(iv.Semitones, high)
		default:
			lc.held[i] = within(iv.Semitones, lowest+3+r.IntN(high-lowest-6))
		}
	}
	lc.first = under + lc.line[0].Semitones - bottom
	keys := append(slices.Clone(lc.held), under, under+3)
	slices.Sort(keys)
	if keys[0] != lowest || keys[len(keys)-1] < high || keys[len(keys)-1] > high+11 {
		return false
	}
	at := slices.Index(keys, under)
	if keys[at+1] != under+3 || !inVoice(voice, at, len(keys)-1) {
		return false
	}
	for by := range 4 {
		var places []int
		for i, k := range keys {
			switch {
			case i == at:
				k += by
			case i == at+1:
				continue
			}
			places = append(places, k-lowest)
		}
		for i := 1; i < len(places); i++ {
			if places[i] <= places[i-1] {
				return false
			}
		}
		if spaced && !clear(lowest, places) {
			return false
		}
	}
	return true
}

func names2(ns []pitch.Pitch) string { return strings.ReplaceAll(names(ns), " ", "–") }

// semitoneAmong sounds two chords in which one voice moves by semitone, and the others by more or not at all.
func semitoneAmong(r *rand.Rand, q *Question, lowest, distance int, voice string, up bool) bool {
	pool := types("maj min dom7 min7 maj7 hdim7")
	a, b := pick(r, pool), pick(r, pool)
	bass, _, places, ok := withMembers(r, a, -1, -1, distance, 4, func(int) int { return lowest })
	if !ok {
		return false
	}
	root2 := r.IntN(12)
	if root2 == ((lowest-a.Intervals[bass].Semitones)%12+12)%12 {
		return false
	}
	var keys []int
	moved, semitones := -1, 0
	used := 0
	for v, x := range places {
		near, best := 99, -1
		for _, iv := range b.Intervals {
			pc := (root2 + iv.Semitones) % 12
			d := ((pc-lowest-x)%12 + 12) % 12
			if d > 6 {
				d -= 12
			}
			if v == 0 && iv.Semitones != 0 && iv.Semitones != 3 && iv.Semitones != 4 {
				continue // root or third in the bass
			}
			if w := max(d, -d); w < max(near, -near) || w == max(near, -near) && used>>pc&1 == 0 {
				near, best = d, pc
			}
		}
		if best < 0 {
			return false
		}
		used |= 1 << best
		keys = append(keys, lowest+x+near)
		if near == 1 || near == -1 {
			semitones++
			if inVoice(voice, v, 4) && (near > 0) == up {
				moved = v
			}
		}
	}
	for _, iv := range b.Intervals {
		if used>>((root2+iv.Semitones)%12)&1 == 0 && iv != pitch.PerfectFifth {
			return false
		}
	}
	still := 0
	for i, k := range keys {
		if i > 0 && k <= keys[i-1] {
			return false
		}
		if k == lowest+places[i] {
			still++
		}
	}
	if moved < 0 || semitones != 1 || still > 1 {
		return false
	}
	left, right, root := voiced(r, a, bass, lowest, places)
	first := append(slices.Clone(left), right...)
	second, on := spelledLike(r, keys, b, root2, first)
	if second == nil {
		return false
	}
	twoChords(q, first, second)
	q.about = fmt.Sprintf("%s to %s: %s to %s, while the others move by more or stay", symbolOf(root, a, first), symbolOf(on, b, second), first[moved], second[moved])
	return true
}

const (
	oneLine  = "one line"
	twoLines = "two lines"
)

var linesRows = []row{{oneLine, []string{"one", "1", "single", "single line"}}, {twoLines, []string{"two", "2", "compound", "two in one", "two lines in one", "compound melody"}}}

const linesNotes = 12

// linesCraft sounds a melody that is one line or two lines in one.
var linesCraft = &named{
	asks: "One melody: is it one line, or two lines in one?", rows: linesRows, low: "C3", high: "E6",
	steps: []Level{
		step(1, "a stepwise line or two", all(linesRows)...), step(2, "broken chords or two lines", all(linesRows)...), step(3, "either", all(linesRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		return filler(func(r *rand.Rand, q *Question) {
			middle := q.draw(r, 62, 73)
			minor := r.IntN(2) == 0
			tonic := tonicFor(r, r.IntN(12), minor)
			gap := 4 + r.IntN(3)
			broken := s.Level == 2 || s.Level == 3 && r.IntN(2) == 0
			scale := scaleOf(tonic, minor)
			for range 200 {
				var degrees []int
				switch {
				case q.Expected == twoLines:
					degrees = compound(r, gap)
				case broken:
					degrees = arpeggios(r, gap)
				default:
					degrees = stepwise(r, gap)
				}
				ps := onScale(scale, degrees, middle)
				music := melody(ps)
				c := line.TwoLines(asLine(ps))
				if c.Two != (q.Expected == twoLines) || q.Expected == twoLines && c.Certainty < .9 {
					continue
				}
				q.Music, q.Tempo = music, 132
				_, q.about, _ = strings.Cut(c.String(), ": ")
				return
			}
		}), nil
	},
}

// scaleOf returns the classes of a scale from its tonic; minor is natural.
func scaleOf(tonic pitch.Class, minor bool) []pitch.Class {
	ivs := []pitch.Interval{pitch.Unison, pitch.MajorSecond, pitch.MajorThird, pitch.PerfectFourth, pitch.PerfectFifth, pitch.MajorSixth, pitch.MajorSeventh}
	if minor {
		ivs[2], ivs[5], ivs[6] = pitch.MinorThird, pitch.MinorSixth, pitch.MinorSeventh
	}
	out := make([]pitch.Class, 7)
	for i, iv := range ivs {
		out[i] = tonic.Add(iv)
	}
	return out
}

// onScale turns scale steps, 0 in the middle of them, into pitches about a MIDI number.
func onScale(scale []pitch.Class, steps []int, middle int) []pitch.Pitch {
	low, high := slices.Min(steps), slices.Max(steps)
	// The scale note that is nearest to where step low has to be.
	want := middle - (high-low)*12/14
	best, far := scale[0].In(4), 99
	at0 := 0
	for i, c := range scale {
		p := near(c, pitch.FromMIDI(want, false))
		if d := max(p.MIDI()-want, want-p.MIDI()); d < far {
			best, far, at0 = p, d, i
		}
	}
	out := make([]pitch.Pitch, len(steps))
	for i, s := range steps {
		up := s - low
		c := scale[(at0+up)%7]
		p := pitch.Pitch{Letter: c.Letter, Alter: c.Alter}
		p.Octave = int8((best.Step() + up - int(c.Letter)) / 7)
		out[i] = p
	}
	return out
}

func melody(ps []pitch.Pitch) []Note {
	var out []Note
	for i, p := range ps {
		length := score.T(1, 2)
		if i == len(ps)-1 {
			length = score.Quarters(2)
		}
		out = append(out, Note{Pitch: p, Hand: score.Right, At: score.T(int64(i), 2), Length: length})
	}
	return out
}

func asLine(ps []pitch.Pitch) line.Line {
	var out line.Line
	for i, p := range ps {
		out = append(out, score.Note{Pitch: p, Onset: score.T(int64(i), 2), Duration: score.T(1, 2), Hand: score.Right, Voice: 1})
	}
	return out
}

// compound interleaves two stepwise lines, gap steps and more apart.
func compound(r *rand.Rand, gap int) []int {
	walk := func() []int {
		w := []int{0}
		dir := 1 - 2*r.IntN(2)
		for len(w) < linesNotes/2 {
			if r.IntN(4) == 0 {
				dir = -dir
			}
			w = append(w, w[len(w)-1]+dir)
		}
		return w
	}
	a, b := walk(), walk()
	var out []int
	for i := range a {
		out = append(out, a[i]+gap, b[i])
	}
	if r.IntN(2) == 0 {
		for i := 0; i+1 < len(out); i += 2 {
			out[i], out[i+1] = out[i+1], out[i]
		}
	}
	return out
}

// stepwise is a line that moves by step, with a third here and there, through as wide a range.
func stepwise(r *rand.Rand, gap int) []int {
	out := []int{0}
	dir := 1 - 2*r.IntN(2)
	for len(out) < linesNotes {
		x := out[len(out)-1]
		if x >= gap+2 {
			dir = -1
		} else if x <= -gap {
			dir = 1
		} else if r.IntN(7) == 0 {
			dir = -dir
		}
		by := 1
		if r.IntN(4) == 0 {
			by = 2
		}
		out = append(out, x+dir*by)
	}
	return out
}

// arpeggios breaks chords upwards and downwards.
func arpeggios(r *rand.Rand, gap int) []int {
	var out []int
	up := r.IntN(2) == 0
	base := 0
	for len(out) < linesNotes {
		c := []int{base, base + 2, base + 4, base + 7}[:3+r.IntN(2)]
		if !up {
			c = slices.Clone(c)
			slices.Reverse(c)
		}
		out = append(out, c...)
		base += pick(r, []int{-3, 3, 1, -2})
		if base > 3 || base < -3 {
			base = 0
		}
		if r.IntN(3) == 0 {
			up = !up
		}
	}
	return out[:linesNotes]
}
