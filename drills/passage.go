package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// An item is a sonority of a passage, with what else it could be taken for.
type item struct {
	label       string
	left, right []pitch.Pitch
	root        pitch.Class
	where       string   // "bar 3 beat 2, left hand"
	wrong       []string // near misses, the nearest first
	foils       []string // those of them that can sound in its place, on as many notes
}

// FromPassage returns a drill about the sonorities of a place in p: those whose first reading can be named, for quality; for
// constructions, what either hand or both together hold if that is a stack, a cluster, or a chord with its sixth. Each label
// that occurs is equally likely, however often it does, and then each place where it occurs. Level is not looked at; Labels,
// if given, says which labels are asked. Every question is transposed by -6 to +5 semitones, as far as the range lets it,
// unless NoTranspose is set.
//
// The wrong choices are near misses: other labels of the passage, and chords that differ by few notes. In the share of
// questions given by Foils one of the near misses sounds, made by moving the passage's own notes.
//
// It returns a *SettingsError if s can't be done, or if nothing at the place can be named.
//
// Of other kinds a passage can be asked about its basses, its tendency notes, the line that moves by semitone and how its
// sequences go on; the questions are then the cards of DeckFromPassage.
func FromPassage(p *score.Passage, region score.Region, s Settings) (*Drill, error) {
	if s.Kind != Quality && s.Kind != Construction {
		return fromFound(p, region, s)
	}
	return fromPassage(p, region, s, chord.NameHands)
}

// namer names the notes of two hands; a test stands in for chord.NameHands to fix the readings.
type namer func(left, right []pitch.Pitch) []chord.Reading

func fromPassage(p *score.Passage, region score.Region, s Settings, name namer) (*Drill, error) {
	if (s.Low == pitch.Pitch{}) && (s.High == pitch.Pitch{}) {
		s.Low, s.High = pitch.Pitch{Letter: pitch.E, Octave: 1}, pitch.Pitch{Letter: pitch.E, Octave: 7}
	}
	c, s, err := s.filled()
	if err != nil {
		return nil, err
	}
	wanted, err := s.labels(c)
	if err != nil {
		return nil, err
	}
	s.Inversions = true // what is in the bass is the passage's business
	if s.Choices == 0 {
		s.Choices = passageChoices
	}
	d := &Drill{set: s, craft: c}
	for _, it := range itemsOf(p, region, s.Kind, name) {
		if len(wanted) > 0 && !slices.Contains(wanted, it.label) {
			continue
		}
		at := slices.Index(d.labels, it.label)
		if at < 0 {
			at = len(d.labels)
			d.labels, d.byName = append(d.labels, it.label), append(d.byName, nil)
		}
		d.byName[at] = append(d.byName[at], len(d.items))
		d.items = append(d.items, it)
	}
	if len(d.items) == 0 {
		what := "chord that can be named by its quality"
		if s.Kind == Construction {
			what = "stack, cluster or chord with a sixth"
		}
		if len(wanted) > 0 {
			what = strings.ReplaceAll(quoted(wanted, len(wanted)), ", ", " or ")
		}
		return nil, badSetting("passage", "there is no %s at that place, so nothing to ask about", what)
	}
	for i := range d.items {
		d.nearMisses(&d.items[i])
	}
	return d, nil
}

// itemsOf finds what can be asked about, in the order of the passage.
func itemsOf(p *score.Passage, region score.Region, k Kind, name namer) []item {
	var out []item
	for i, sl := range score.Slices(region.Select(p.Sounding()), region.From, region.To) {
		if region.Moment && i > 0 {
			break
		}
		left, right := handOf(sl, score.Left), handOf(sl, score.Right)
		where := p.Where(sl.At)
		if k == Quality {
			if it, ok := qualityItem(left, right, name); ok {
				it.where = where
				out = append(out, it)
			}
			continue
		}
		for _, h := range []struct {
			left, right []pitch.Pitch
			word        string
		}{{left, nil, ", left hand"}, {nil, right, ", right hand"}, {left, right, ""}} {
			if h.word == "" && (len(left) == 0 || len(right) == 0) {
				continue // one hand alone has had its turn
			}
			if it, ok := constructionItem(h.left, h.right, name); ok {
				it.where = where + h.word
				out = append(out, it)
			}
		}
	}
	return out
}

func handOf(sl score.Slice, h score.Hand) []pitch.Pitch {
	var out []pitch.Pitch
	for _, n := range sl.Hand(h) {
		out = append(out, n.Pitch)
	}
	return slices.Compact(out) // low to high already
}

func qualityItem(left, right []pitch.Pitch, name namer) (item, bool) {
	rs := name(left, right)
	if len(rs) == 0 || !rs[0].Rooted {
		return item{}, false
	}
	t, ok := chord.TypeByID(rs[0].Type)
	if !ok || !askable(t) {
		return item{}, false
	}
	q := Question{Left: left, Right: right}
	// What the reading passes over (a pedal bass, a passing note) would make the label unfair.
	if _, spelled, _ := fits(t, q.Notes(), true); !spelled {
		return item{}, false
	}
	return item{label: t.Name(), left: left, right: right, root: rs[0].Root}, true
}

func constructionItem(left, right []pitch.Pitch, name namer) (item, bool) {
	ns := Question{Left: left, Right: right}.Notes()
	label := construction(ns, left, right, name)
	if label == "" {
		return item{}, false
	}
	return item{label: label, left: left, right: right, root: ns[0].Class()}, true
}

// construction returns how ns are built, "" if they are built in no way that is asked.
func construction(ns, left, right []pitch.Pitch, name namer) string {
	classes := map[pitch.Class]bool{}
	for _, p := range ns {
		classes[p.Class()] = true
	}
	if len(classes) < 3 {
		return ""
	}
	switch chord.StackOf(ns).Kind {
	case "thirds":
		return stackedThirds
	case "fourths":
		return stackedFourths
	case "fifths":
		return stackedFifths
	}
	if cs := chord.Clusters(ns); len(cs) == 1 && len(cs[0].Notes) == len(ns) {
		switch cs[0].Kind {
		case "chromatic":
			return chromaticCluster
		case "diatonic":
			return diatonicCluster
		}
		return ""
	}
	rs := name(left, right)
	if len(rs) == 0 || !rs[0].Rooted || rs[0].Root != ns[0].Class() {
		return ""
	}
	r := rs[0]
	if r.Kind != chord.AddedSixth && r.Type != "6" && r.Type != "m6" {
		return ""
	}
	sixth := slices.ContainsFunc(ns, func(p pitch.Pitch) bool { return p.Class().Sub(r.Root).Steps == 5 })
	fifth := slices.ContainsFunc(ns, func(p pitch.Pitch) bool { return p.Class().Sub(r.Root) == pitch.PerfectFifth })
	switch {
	case sixth && fifth && len(classes) == 4:
		return addedSixth
	case sixth && !fifth && len(classes) == 3:
		return sixthForFifth
	}
	return ""
}

// nearMisses fills in what it could be taken for.
func (d *Drill) nearMisses(it *item) {
	q := Question{Left: it.left, Right: it.right, Expected: it.label, Kind: d.set.Kind, Root: it.root, Inversions: true, Sight: d.set.Sight}
	ns := q.Notes()
	type candidate struct {
		label string
		far   float64
	}
	var cs []candidate
	if d.set.Kind == Construction {
		for i, l := range constructionLabels {
			if l != it.label {
				cs = append(cs, candidate{l, float64(i)})
			}
		}
	} else {
		a := labelTypes()[it.label]
		levels := qualityLevels()
		for _, l := range append(slices.Clone(levels[len(levels)-1].Labels), d.labels...) {
			b := labelTypes()[l]
			_, spelled, sounds := fits(b, ns, true)
			if l == it.label || spelled || sounds && !d.set.Sight || slices.ContainsFunc(cs, func(c candidate) bool { return c.label == l }) {
				continue
			}
			cs = append(cs, candidate{l, farness(a, b)})
		}
	}
	for i, c := range cs {
		if slices.Contains(d.labels, c.label) {
			cs[i].far -= 1.5 // of the passage itself
		}
	}
	slices.SortStableFunc(cs, func(a, b candidate) int {
		switch {
		case a.far < b.far:
			return -1
		case a.far > b.far:
			return 1
		}
		return d.craft.place(a.label) - d.craft.place(b.label)
	})
	for _, c := range cs[:min(len(cs), d.set.Choices-1)] {
		it.wrong = append(it.wrong, c.label)
		l, r := d.craft.instead(c.label, q)
		if len(l) != len(it.left) || len(r) != len(it.right) || !isA(d.set.Kind, c.label, l, r) {
			continue
		}
		it.foils = append(it.foils, c.label)
	}
}

// isA reports whether the notes are what label says.
func isA(k Kind, label string, left, right []pitch.Pitch) bool {
	ns := Question{Left: left, Right: right}.Notes()
	if k == Quality {
		_, spelled, _ := fits(labelTypes()[label], ns, true)
		return spelled
	}
	switch label {
	case addedSixth, sixthForFifth:
		return chord.StackOf(ns).Kind == "mixed"
	case chromaticCluster, diatonicCluster:
		return len(chord.Clusters(ns)) == 1
	}
	return strings.HasSuffix(label, chord.StackOf(ns).Kind)
}

// farness counts by how many members two chords on one root differ, and a little by how far these are moved.
func farness(a, b chord.Type) float64 {
	to, extra := pairing(a, b)
	far := 1.5 * float64(len(extra))
	for i, j := range to {
		switch {
		case j < 0:
			far += 1.5
		case a.Intervals[i] != b.Intervals[j]:
			d := a.Intervals[i].Semitones - b.Intervals[j].Semitones
			far += 1 + 0.1*float64(max(d, -d))
		}
	}
	return far
}

// askItem fills in a question about one of the passage's sonorities.
func (d *Drill) askItem(r *rand.Rand, q *Question) {
	of := d.byName[r.IntN(len(d.byName))]
	it := d.items[of[r.IntN(len(of))]]
	q.Expected, q.Left, q.Right, q.Root, q.From = it.label, it.left, it.right, it.root, it.where
	q.Choices = append(slices.Clone(it.wrong), it.label)
	if foil := r.Float64() < d.set.Foils; foil && len(it.foils) > 0 {
		label := it.foils[r.IntN(len(it.foils))]
		q.Left, q.Right = d.craft.instead(label, *q)
		q.From += fmt.Sprintf(", its %s made into %s", it.label, article(label))
		q.Expected = label
		if d.set.Kind == Construction {
			q.Root = q.Notes()[0].Class()
			q.From = it.where + ", rebuilt on its lowest note"
		}
	}
	if d.set.NoTranspose {
		return
	}
	ns := q.Notes()
	low, high := ns[0].MIDI(), ns[len(ns)-1].MIDI()
	var shifts []int
	for k := -6; k <= 5; k++ {
		if low+k >= d.set.Low.MIDI() && high+k <= d.set.High.MIDI() {
			shifts = append(shifts, k)
		}
	}
	if len(shifts) == 0 {
		return // it fills or leaves the range as it is
	}
	// Of two questions that follow each other the lowest notes are never the same, see Question.draw.
	if turn := slices.DeleteFunc(slices.Clone(shifts), func(k int) bool { return (low+k)&1 != (q.Number+int(q.seed&1))&1 }); len(turn) > 0 {
		shifts = turn
	}
	k := shifts[r.IntN(len(shifts))]
	if k == 0 {
		return
	}
	above := make([]pitch.Interval, len(ns))
	for i, p := range ns {
		above[i] = p.Class().Sub(q.Root)
	}
	home := q.Root.In(4)
	by := at(plainly(r, ((home.PC()+k)%12+12)%12, above), home.MIDI()+k).Sub(home)
	move := func(ns []pitch.Pitch) []pitch.Pitch {
		out := make([]pitch.Pitch, len(ns))
		for i, p := range ns {
			out[i] = p.Add(by)
		}
		return out
	}
	q.Left, q.Right, q.Root = move(q.Left), move(q.Right), q.Root.Add(by)
	way := " higher"
	if k < 0 {
		way = " lower"
	}
	// The interval is spelled from the roots, which may be a diminished third apart: the words count keys, not letters.
	q.From += ", " + intervalWords[max(k, -k)] + way
}

var intervalWords = [...]string{"", "a semitone", "a whole tone", "a minor third", "a major third", "a fourth", "a tritone"}
