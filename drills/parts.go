package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// Kinds about which part of a chord lies where: in the bass, on top, between the outer notes.

// types returns the types of ids, a space between them; the slice is shared and not to be changed.
func types(ids string) []chord.Type {
	if ts, ok := typesKnown.Load(ids); ok {
		return ts.([]chord.Type)
	}
	var out []chord.Type
	for id := range strings.FieldsSeq(ids) {
		if t, ok := chord.TypeByID(id); ok { // TestKinds sees to it that all are there
			out = append(out, t)
		}
	}
	typesKnown.Store(ids, out)
	return out
}

var typesKnown sync.Map

// withMembers lays a chord out in count notes between a bass and a top member, -1 for any, as near as can be to a distance
// from the lowest to the highest note; lowest gives the lowest note as a MIDI number. Equally near layouts are equally likely. ok is false if there is none.
func withMembers(r *rand.Rand, t chord.Type, bass, top, distance, count int, lowest func(span int) int) (b, span int, places []int, ok bool) {
	ways := waysOf(t, bass, top, distance, count)
	if len(ways) == 0 {
		return 0, 0, nil, false
	}
	w := pick(r, ways)
	return w.bass, w.span, laidClear(r, t, w.bass, w.span, count, lowest(w.span)), true
}

// A laidWay is a member in the bass and the distance to the highest note.
type laidWay struct{ bass, span int }

type wayKey struct {
	id                         string
	bass, top, distance, count int
}

// known keeps what waysOf has worked out.
var known sync.Map

func waysOf(t chord.Type, bass, top, distance, count int) []laidWay {
	key := wayKey{t.ID, bass, top, distance, count}
	if ways, ok := known.Load(key); ok {
		return ways.([]laidWay)
	}
	var ways []laidWay
	least := 1 << 30
	for i, iv := range t.Intervals {
		if bass >= 0 && i != bass || bass < 0 && iv.Semitones > 12 {
			continue
		}
		for span := 10; span <= 28; span++ {
			if top >= 0 && (span+iv.Semitones)%12 != t.Intervals[top].Semitones%12 {
				continue
			}
			if _, ok := layOut(nil, t, i, span, count); !ok {
				continue
			}
			switch far := max(span-distance, distance-span); {
			case far < least:
				least, ways = far, []laidWay{{i, span}}
			case far == least:
				ways = append(ways, laidWay{i, span})
			}
		}
	}
	known.Store(key, ways)
	return ways
}

// laidClear lays a chord out so that no close interval lies in the low register, if a few tries find such a layout.
func laidClear(r *rand.Rand, t chord.Type, bass, span, count, lowest int) (places []int) {
	for range 12 {
		if places, _ = layOut(r, t, bass, span, count); clear(lowest, places) {
			break
		}
	}
	return places
}

// clear reports whether chord tones lie far enough apart to be told apart in their register: below C3 no closer than a fourth,
// below G3 than a third (common practice, after the low interval limits of orchestration; figures from memory).
func clear(lowest int, places []int) bool {
	for i := 1; i < len(places); i++ {
		low, gap := lowest+places[i-1], places[i]-places[i-1]
		if low < 48 && gap < 5 || low < 55 && gap < 3 {
			return false
		}
	}
	return true
}

// chordWord is a type's name as the name of a chord: "major ninth" alone might be an interval.
func chordWord(t chord.Type) string {
	if t.Family == "triad" || strings.HasSuffix(t.Name(), "chord") {
		return t.Name()
	}
	return t.Name() + " chord"
}

const (
	rootPosition    = "root position"
	firstInversion  = "first inversion"
	secondInversion = "second inversion"
	thirdInversion  = "third inversion"
)

var inversionRows = []row{
	{rootPosition, []string{"root", "root in bass", "0", "root position 5 3", "5/3", "53"}},
	{firstInversion, []string{"third", "third in bass", "6", "65", "6/5", "6/3", "63", "first", "1st inversion"}},
	{secondInversion, []string{"fifth", "fifth in bass", "64", "6/4", "43", "4/3", "second", "2nd inversion"}},
	{thirdInversion, []string{"seventh", "seventh in bass", "42", "4/2", "2", "3rd inversion"}},
}

var partWords = []string{"root", "third", "fifth", "seventh", "ninth"}

// inversionTypes are the chords of the levels. Of those that aren't told, none is an inversion of another: no sixths, no
// augmented triad, no diminished seventh.
var inversionTypes = [...]string{"maj min", "dom7 maj7 min7 hdim7", "maj min dom7"}

var inversionCraft = &named{
	asks: "Which part is in the bass?", rows: inversionRows, low: "C2", high: "C6",
	steps: []Level{step(1, "triads, told which", all(inversionRows)[:3]...), step(2, "seventh chords, told which", all(inversionRows)...),
		step(3, "triads and dominant sevenths, not told which", all(inversionRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		if err := tooNarrow(s, 36); err != nil {
			return nil, err
		}
		ts := types(inversionTypes[s.Level-1])
		if slices.Contains(labels, thirdInversion) && s.Level == 1 {
			ts = types(inversionTypes[1])
		}
		return filler(func(r *rand.Rand, q *Question) {
			distance := 14 + r.IntN(10)
			lowest := q.draw(r, s.Low.MIDI(), min(s.Low.MIDI()+20, s.High.MIDI()-28))
			bass := slices.Index(all(inversionRows), q.Expected)
			t := pick(r, ts)
			for bass >= len(t.Intervals) {
				t = pick(r, ts)
			}
			if q.like != nil && bass < len(q.like.t.Intervals) {
				t = q.like.t
				low := q.like.root.Add(t.Intervals[bass])
				lowest = near(low, at(pitch.ClassOfFifths(lowest*7%12), lowest)).MIDI()
			}
			_, _, places, _ := withMembers(r, t, bass, -1, distance, 5, func(int) int { return lowest })
			q.Left, q.Right, q.Root = voiced(r, t, bass, lowest, places)
			if q.like != nil {
				q.Root = q.like.root
				q.Left, q.Right = voicedOn(q.Root, t, lowest, places)
			}
			q.like = &likeness{root: q.Root, t: t}
			if s.Level < 3 {
				q.Prompt = fmt.Sprintf("%s. Which part is in the bass?", upper(article(chordWord(t))))
			}
			low := q.Left[0]
			q.about = fmt.Sprintf("%s (%s), %s, the %s, in the bass", symbolOf(q.Root, t, q.Notes()), spellOut(q.Root, t), low, partWords[bass])
		}), nil
	},
}

var topRows = []row{
	{"root", []string{"1", "tonic", "octave", "prime"}}, {"third", []string{"3", "3rd"}}, {"fifth", []string{"5", "5th"}}, {"seventh", []string{"7", "7th"}}, {"ninth", []string{"9", "9th"}},
}

var topTypes = [...]string{"maj min", "dom7 maj7 min7 hdim7", "9 maj9 m9"}

var topCraft = &named{
	asks: "Which part of the chord is on top?", rows: topRows, low: "C2", high: "C6",
	steps: []Level{step(1, "triads", all(topRows)[:3]...), step(2, "seventh chords", all(topRows)[:4]...), step(3, "ninth chords", all(topRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		if err := tooNarrow(s, 40); err != nil {
			return nil, err
		}
		ts := types(topTypes[s.Level-1])
		return filler(func(r *rand.Rand, q *Question) {
			distance := 15 + r.IntN(10)
			highest := q.draw(r, max(s.High.MIDI()-18, s.Low.MIDI()+28), s.High.MIDI())
			top := slices.Index(all(topRows), q.Expected)
			t := pick(r, ts)
			bass := -1
			if s.Level == 3 {
				bass = 0 // a ninth above its root
			}
			if q.like != nil {
				t = q.like.t
				highest = near(q.like.root.Add(t.Intervals[top]), at(pitch.ClassOfFifths(highest*7%12), highest)).MIDI()
			}
			b, span, places, _ := withMembers(r, t, bass, top, distance, len(t.Intervals)+1, func(span int) int { return highest - span })
			q.Left, q.Right, q.Root = voiced(r, t, b, highest-span, places)
			if q.like != nil {
				q.Root = q.like.root
				q.Left, q.Right = voicedOn(q.Root, t, highest-span, places)
			}
			q.like = &likeness{root: q.Root, t: t}
			q.Prompt = fmt.Sprintf("%s. Which part is on top?", upper(article(chordWord(t))))
			ns := q.Notes()
			q.about = fmt.Sprintf("%s (%s) with %s on top", symbolOf(q.Root, t, ns), spellOut(q.Root, t), ns[len(ns)-1])
		}), nil
	},
}

// outerRows are the intervals by their size in semitones, octaves aside; the octave comes last.
var outerRows = func() []row {
	ivs := []pitch.Interval{pitch.MinorSecond, pitch.MajorSecond, pitch.MinorThird, pitch.MajorThird, pitch.PerfectFourth, pitch.AugmentedFourth,
		pitch.PerfectFifth, pitch.MinorSixth, pitch.MajorSixth, pitch.MinorSeventh, pitch.MajorSeventh, pitch.Octave}
	var out []row
	for _, iv := range ivs {
		up := iv.Plus(pitch.Octave)
		rw := row{iv.Words(), []string{up.Words()}}
		if iv == pitch.AugmentedFourth {
			rw = row{"tritone", []string{"augmented fourth", "diminished fifth", "augmented eleventh", "diminished twelfth"}}
		}
		if iv == pitch.Octave {
			rw = row{"octave", []string{"perfect octave", "double octave", "unison", "perfect unison", "perfect fifteenth"}}
		}
		if strings.HasPrefix(iv.Words(), "perfect") {
			rw.names = append(rw.names, strings.TrimPrefix(iv.Words(), "perfect "), strings.TrimPrefix(up.Words(), "perfect "))
		}
		out = append(out, rw)
	}
	return out
}()

// outerCraft asks for the interval between the lowest and the highest note, octaves aside.
var outerCraft = &named{
	asks: "Which interval lies between the outer notes, octaves aside?", rows: outerRows, low: "C2", high: "C6",
	steps: []Level{
		step(1, "octave, fifth and thirds, two notes", "minor third", "major third", "perfect fifth", "octave"),
		step(2, "without seconds, two notes", "minor third", "major third", "perfect fourth", "tritone", "perfect fifth", "minor sixth", "major sixth", "minor seventh", "octave"),
		step(3, "all, two notes", all(outerRows)...),
		step(4, "thirds, fifth, sixths around a chord", "minor third", "major third", "perfect fifth", "minor sixth", "major sixth", "octave"),
		step(5, "all, around a chord", all(outerRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		if err := tooNarrow(s, 42); err != nil {
			return nil, err
		}
		inner := s.Level >= 4
		return filler(func(r *rand.Rand, q *Question) {
			// Each of the two notes is drawn from an octave of its own. As the lowest note is any of the twelve, so is the
			// highest, whatever the interval: one end tells nothing about it, only the two together.
			apart := 14 + r.IntN(11)
			if inner {
				apart = 23
			}
			low := s.Low.MIDI() + r.IntN(max(1, s.High.MIDI()-s.Low.MIDI()-apart-10))
			lowest := q.draw(r, low, low+11)
			size := slices.Index(all(outerRows), q.Expected) + 1
			span := (lowest + size - low - apart) % 12
			span = low + apart + (span+12)%12 - lowest
			if q.like != nil {
				lowest = q.like.lowest // two intervals are compared on one note
			}
			q.like = &likeness{lowest: lowest}
			if !inner {
				q.Left, q.Right = spelledPair(r, lowest, span)
				q.Root = q.Left[0].Class()
			} else {
				q.Left, q.Right, q.Root = around(r, lowest, span)
			}
			ns := q.Notes()
			iv := ns[len(ns)-1].Sub(ns[0])
			q.about = fmt.Sprintf("%s up to %s, %s", ns[0], ns[len(ns)-1], article(iv.Words()))
		}), nil
	},
	reads: func(text string, q Question) (string, bool) {
		iv, err := pitch.ParseInterval(strings.TrimSpace(text))
		if err != nil || iv.Semitones <= 0 && iv != pitch.Unison {
			return "", false
		}
		// By ear a name stands for its size; by sight only those names count that are read off the letters.
		l := outerRows[(iv.Semitones+11)%12].label
		if q.Sight && iv.Simple() != pitch.DiminishedFifth && !slices.ContainsFunc(outerRows, func(r row) bool {
			return r.label == iv.Simple().Words() || r.label == "octave" && iv.Simple() == pitch.Unison
		}) && iv.Simple() != pitch.AugmentedFourth {
			return iv.Words(), true
		}
		return l, true
	},
}

// spelledPair spells two notes so many semitones apart by the plainest names.
func spelledPair(r *rand.Rand, lowest, span int) (left, right []pitch.Pitch) {
	plainest := [...]pitch.Interval{pitch.Unison, pitch.MinorSecond, pitch.MajorSecond, pitch.MinorThird, pitch.MajorThird, pitch.PerfectFourth, pitch.AugmentedFourth,
		pitch.PerfectFifth, pitch.MinorSixth, pitch.MajorSixth, pitch.MinorSeventh, pitch.MajorSeventh}
	iv := plainest[span%12]
	if span%12 == 6 && r.IntN(2) == 0 {
		iv = pitch.DiminishedFifth
	}
	low := at(plainly(r, lowest%12, []pitch.Interval{pitch.Unison, iv}), lowest)
	high := at(low.Class().Add(iv), lowest+span)
	return []pitch.Pitch{low}, []pitch.Pitch{high}
}

// around puts a chord between two notes so many semitones apart: one of the common chords that has both, in four notes.
func around(r *rand.Rand, lowest, span int) (left, right []pitch.Pitch, root pitch.Class) {
	type way struct {
		t    chord.Type
		bass int
	}
	var ways []way
	for _, ids := range []string{"maj min dom7 maj7 min7 hdim7", "9 maj9 m9 7b9"} {
		for _, t := range types(ids) {
			for i, iv := range t.Intervals {
				if iv.Semitones > 12 {
					continue
				}
				if _, ok := layOut(nil, t, i, span, 5); ok {
					ways = append(ways, way{t, i})
				}
			}
		}
		if len(ways) > 0 {
			break
		}
	}
	w := pick(r, ways)
	return voiced(r, w.t, w.bass, lowest, laidClear(r, w.t, w.bass, span, 5, lowest))
}

const (
	thirdMissing   = "third missing"
	fifthMissing   = "fifth missing"
	seventhMissing = "seventh missing"
	sixthAdded     = "sixth added"
	seventhAdded   = "seventh added"
	ninthAdded     = "ninth added"
	thirdLowered   = "third lowered"
	thirdRaised    = "third raised"
	fifthLowered   = "fifth lowered"
	fifthRaised    = "fifth raised"
)

var changedRows = []row{
	{thirdMissing, []string{"missing third", "no third", "without third", "no3"}}, {fifthMissing, []string{"missing fifth", "no fifth", "without fifth", "no5"}},
	{seventhMissing, []string{"missing seventh", "no seventh", "without seventh", "no7"}},
	{sixthAdded, []string{"added sixth", "add6", "sixth"}}, {seventhAdded, []string{"added seventh", "add7", "seventh"}}, {ninthAdded, []string{"added ninth", "add9", "ninth", "second added", "added second"}},
	{thirdLowered, []string{"lowered third", "b3", "flat third", "third down"}}, {thirdRaised, []string{"raised third", "#3", "sharp third", "third up", "fourth for third"}},
	{fifthLowered, []string{"lowered fifth", "b5", "flat fifth", "fifth down"}}, {fifthRaised, []string{"raised fifth", "#5", "sharp fifth", "fifth up"}},
}

// ofTriads are the changes that are made to triads only.
var ofTriads = []string{sixthAdded, seventhAdded, thirdLowered, thirdRaised}

// changedCraft sounds a chord and then the same with one note added, missing or altered. Both chords have the same outer notes,
// the root, and as many notes: a missing one is replaced by a doubling, an added one replaces one.
var changedCraft = &named{
	asks: "A chord, and then the same with one thing changed. What?", rows: changedRows, low: "C2", high: "C6",
	steps: []Level{
		step(1, "a triad loses or gains a note", thirdMissing, fifthMissing, sixthAdded, seventhAdded),
		step(2, "a note of a triad is altered", thirdLowered, thirdRaised, fifthLowered, fifthRaised),
		step(3, "triads, anything", thirdMissing, fifthMissing, sixthAdded, seventhAdded, ninthAdded, thirdLowered, thirdRaised, fifthLowered, fifthRaised),
		step(4, "seventh chords", thirdMissing, fifthMissing, seventhMissing, ninthAdded, fifthLowered, fifthRaised)},
	plan: func(s Settings, labels []string) (planner, error) {
		if err := tooNarrow(s, 26); err != nil {
			return nil, err
		}
		triads, sevenths := types("maj min"), types("dom7 maj7 min7")
		count, mixed := 5, false
		if s.Level == 4 || slices.Contains(labels, seventhMissing) {
			count = 6
			mixed = slices.ContainsFunc(labels, func(l string) bool { return slices.Contains(ofTriads, l) })
		}
		return filler(func(r *rand.Rand, q *Question) {
			lowest := q.draw(r, s.Low.MIDI(), s.High.MIDI()-24)
			ts := triads
			if count == 6 && !mixed || mixed && (q.Expected == seventhMissing || !slices.Contains(ofTriads, q.Expected) && r.IntN(2) == 0) {
				ts = sevenths
			}
			t := pick(r, ts)
			root := plainly(r, lowest%12, t.Intervals)
			fill := func(want []pitch.Interval, like []int) []int { return inOctaves(r, want, count, lowest, like) }
			first := fill(t.Intervals, nil)
			changed, what := change(r, t, root, q.Expected)
			second := fill(changed, first)
			spell := func(ivs []pitch.Interval, places []int) (left, right []pitch.Pitch) {
				var ns []pitch.Pitch
				for _, x := range places {
					i := slices.IndexFunc(ivs, func(iv pitch.Interval) bool { return iv.Semitones%12 == x%12 })
					ns = append(ns, at(root.Add(ivs[i]), lowest+x))
				}
				return split(ns)
			}
			l1, r1 := spell(t.Intervals, first)
			q.Left, q.Right = spell(changed, second)
			q.Root = root
			two := score.Quarters(2)
			q.Music = append(chordNotes(score.Time{}, two, l1, r1), chordNotes(two, two, q.Left, q.Right)...)
			q.Tempo = 66
			q.about = fmt.Sprintf("%s (%s) %s", symbolOf(root, t, nil), spellOut(root, t), what)
		}), nil
	},
	apart: func(label string, q Question) []Part {
		wp, wd, _ := strings.Cut(q.Expected, " ")
		gp, gd, _ := strings.Cut(label, " ")
		return []Part{judged("part", wp, gp), judged("change", wd, gd)}
	},
}

func judged(name, want, got string) Part {
	p := Part{Name: name, Want: want, Got: got}
	if want == got {
		p.Credit = 1
	}
	return p
}

// change changes one thing about a chord, and says what in notes.
func change(r *rand.Rand, t chord.Type, root pitch.Class, label string) (ivs []pitch.Interval, what string) {
	part, how, _ := strings.Cut(label, " ")
	steps := map[string]int{"third": 2, "fifth": 4, "sixth": 5, "seventh": 6, "ninth": 8}[part]
	ivs = slices.Clone(t.Intervals)
	i := slices.IndexFunc(ivs, func(iv pitch.Interval) bool { return iv.Steps == steps })
	switch how {
	case "missing":
		what = fmt.Sprintf("without its %s, %s", part, root.Add(ivs[i]))
		ivs = slices.Delete(ivs, i, i+1)
	case "added":
		iv := map[string]pitch.Interval{"sixth": pitch.MajorSixth, "seventh": pitch.MinorSeventh, "ninth": {Steps: 8, Semitones: 14}}[part]
		if part == "seventh" && t.ID == "maj" && r.IntN(2) == 0 {
			iv = pitch.MajorSeventh
		}
		ivs = append(ivs, iv)
		what = fmt.Sprintf("with %s, %s", root.Add(iv), article(iv.Words()))
	default:
		was := root.Add(ivs[i])
		by := 1
		if how == "lowered" {
			by = -1
		}
		ivs[i].Semitones += by
		// A third that has become a fourth or a second is written as one.
		if ivs[i].Steps == 2 && ivs[i].Semitones == 5 {
			ivs[i].Steps = 3
		}
		if ivs[i].Steps == 2 && ivs[i].Semitones == 2 {
			ivs[i].Steps = 1
		}
		what = fmt.Sprintf("with %s in place of its %s, %s", root.Add(ivs[i]), part, was)
	}
	return ivs, what
}

// inOctaves lays members out in count places within two octaves above the root, the root at both ends: every member sounds,
// and of all such layouts one as near as can be to another is taken, if there is one to be like; otherwise one in which no
// member but the root is doubled, where that can be.
func inOctaves(r *rand.Rand, members []pitch.Interval, count, lowest int, like []int) []int {
	var free []int
	for x := 1; x < 24; x++ {
		if slices.ContainsFunc(members, func(iv pitch.Interval) bool { return iv.Semitones%12 == x%12 }) {
			free = append(free, x)
		}
	}
	var best [][]int
	least := 1 << 30
	for set := range 1 << len(free) {
		places := []int{0, 24}
		for i, x := range free {
			if set>>i&1 == 1 {
				places = append(places, x)
			}
		}
		if len(places) != count {
			continue
		}
		slices.Sort(places)
		heard, cost := [12]int{}, 0
		if !clear(lowest, places) {
			cost = 5
		}
		for _, x := range places {
			heard[x%12]++
		}
		ok := true
		for _, iv := range members {
			n := heard[iv.Semitones%12]
			ok = ok && n > 0
			if iv.Semitones > 0 && n > 1 && like == nil {
				cost += 10
			}
		}
		if !ok {
			continue
		}
		for i := range like {
			cost += max(places[i]-like[i], like[i]-places[i])
		}
		switch {
		case cost < least:
			least, best = cost, [][]int{places}
		case cost == least:
			best = append(best, places)
		}
	}
	return pick(r, best)
}
