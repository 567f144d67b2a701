package ear

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/claim"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The keys that anything played may use: those of the piano less a few at the ends, where pitch is hard to hear.
const lowestKey, highestKey = 24, 103 // C1 to G7

// A tone is a note as it sounds, with the written notes that make it up, tied together.
type tone struct {
	score.Note
	written []int // indices into Passage.Notes
	torn    bool  // a tie leads out of it or into it that isn't taken up: not to be changed
}

func toneKey(n score.Note) string {
	return fmt.Sprintf("%s %d/%d %d", n.Pitch, n.Onset.Num(), n.Onset.Den(), n.Hand)
}

// tonesOf joins the tied notes of a passage. Grace and cue notes are left out: they are neither counted nor changed.
func tonesOf(p *score.Passage) []tone {
	var out []tone
	open := map[int][]int{} // by key: tones that wait for their continuation
	for i, n := range p.Notes {
		if n.Cue || n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
			continue
		}
		if n.TieFrom {
			best := -1
			for at, j := range open[n.Pitch.MIDI()] {
				if out[j].End() == n.Onset && (best < 0 || out[j].Hand == n.Hand && out[j].Voice == n.Voice) {
					best = at
				}
			}
			if best >= 0 {
				j := open[n.Pitch.MIDI()][best]
				out[j].Duration = n.End().Sub(out[j].Onset)
				out[j].written = append(out[j].written, i)
				if !n.TieTo {
					out[j].torn = false
					open[n.Pitch.MIDI()] = slices.Delete(open[n.Pitch.MIDI()], best, best+1)
				}
				continue
			}
		}
		t := tone{Note: n, written: []int{i}, torn: n.TieFrom || n.TieTo}
		t.TieFrom, t.TieTo = false, false
		out = append(out, t)
		if n.TieTo {
			open[n.Pitch.MIDI()] = append(open[n.Pitch.MIDI()], len(out)-1)
		}
	}
	return out
}

// A move takes a tone so many semitones up or down.
type move struct{ tone, by int }

// An edit is a small change of the passage.
type edit struct {
	moves    []move
	retimed  map[int][2]score.Time // of a tone: the new onset and duration
	keys     []score.KeyChange     // in place of the old ones, if not nil
	dynamics []score.Dynamic       // in place of the old ones, if set
	soft     bool                  // dynamics is set
	words    string                // of a change that is not of pitch
	bonus    float64               // taken off the cost, for a change that fits the form
	cost     float64
	feature  [3]float64
}

func (s *Subject) survey() {
	s.tones = tonesOf(s.Original)
	s.evidence = map[string]bool{}
	for _, n := range s.Result.Evidence {
		s.evidence[toneKey(n)] = true
	}
	for i, t := range s.tones {
		if slices.ContainsFunc(s.Places, func(r score.Region) bool { return t.Onset.Less(r.To) && r.From.Less(t.End()) }) {
			s.scope = append(s.scope, i)
		}
	}
}

// search looks for twins: candidates by their cost, the most like the original first, each tried on the claim itself.
func (s *Subject) search(others []claim.Claim) {
	list := s.candidates()
	base := s.sonorities(nil)
	kept := list[:0]
	for _, e := range list {
		if s.weigh(&e, base) {
			kept = append(kept, e)
		}
	}
	slices.SortStableFunc(kept, func(a, b edit) int { return cmp.Compare(a.cost, b.cost) })
	beside, before := []claim.Claim{}, map[int]claim.Verdict{}
	k := claim.NewChecker(s.Original)
	for _, c := range others {
		if c.Line == s.Claim.Line {
			continue
		}
		res, err := k.Check(c)
		if err == nil && slices.ContainsFunc(s.Places, func(r score.Region) bool { return res.Region.From.Less(r.To) && r.From.Less(res.Region.To) }) {
			beside = append(beside, c)
			before[c.Line] = res.Verdict
		}
	}
	var found []Twin
	most := maxChecked
	if s.Tonic != nil {
		most = max(maxInKey/max(len(s.Original.Bars), 2), fewest)
	}
	for _, e := range kept {
		if s.checked >= most || enough(found) {
			break
		}
		s.checked++
		t, k, ok := s.try(e)
		if !ok {
			continue
		}
		for _, c := range beside {
			if res, err := k.Check(c); err != nil || res.Verdict != before[c.Line] {
				t.Also = append(t.Also, c.Line)
			}
		}
		t.cost += alsoCost * math.Min(float64(len(t.Also)), 3)
		found = append(found, t)
	}
	for s.Pairs = pairs(found); s.full != nil; s.Pairs = pairs(found) {
		bad := slices.IndexFunc(found, func(t Twin) bool { return s.chosen(t) && !s.confirmed(t) })
		if bad < 0 {
			break
		}
		found = slices.Delete(found, bad, bad+1)
	}
	s.found = found
}

// chosen reports whether t is in one of the pairs.
func (s *Subject) chosen(t Twin) bool {
	return slices.ContainsFunc(s.Pairs, func(p [2]Twin) bool { return p[0].Passage == t.Passage || p[1].Passage == t.Passage })
}

// confirmed reports whether the claim fails of the whole passage with t's change, as it does of the excerpt.
func (s *Subject) confirmed(t Twin) bool {
	q := *s.full
	q.Notes = slices.Clone(q.Notes)
	moved := s.apply(t.edit, t.spelled, false)
	shift := s.full.Bars[s.full.BarAt(s.fullStart())].Start
	for j, n := range moved.Notes {
		o := s.Original.Notes[j]
		if n == o {
			continue
		}
		i := s.toFull[j]
		if i < 0 {
			return false
		}
		q.Notes[i].Pitch, q.Notes[i].Onset, q.Notes[i].Duration = n.Pitch, n.Onset.Add(shift), n.Duration
		q.Notes[i].Bar = max(q.BarAt(q.Notes[i].Onset), 0)
	}
	if t.edit.soft {
		return true // marks are where they are
	}
	q.Sort()
	res, err := claim.NewChecker(&q).Check(s.Claim)
	return err == nil && res.Verdict == claim.Fails
}

// fullStart is where the excerpt begins in the whole passage.
func (s *Subject) fullStart() score.Time {
	for j, i := range s.toFull {
		if i >= 0 {
			return s.full.Notes[i].Onset.Sub(s.Original.Notes[j].Onset)
		}
	}
	return score.Time{}
}

// Bounds of the search: changes tried on the claim, and what the verdict of another claim costs.
const (
	maxChecked = 300
	maxInKey   = 600 // of a claim that names a key, divided by the bars to be read: harmony takes longer to judge
	fewest     = 120 // but so many at least
	plenty     = 16  // twins found, enough to choose from
	alsoCost   = .75 // up to three
)

// try makes the change and reports whether the claim then fails, however the new notes are spelled.
func (s *Subject) try(e edit) (Twin, *claim.Checker, bool) {
	t := Twin{cost: e.cost, feature: e.feature, edit: e}
	var first *claim.Checker
	spellings := [][]pitch.Pitch{nil}
	if len(e.moves) > 0 {
		spellings = s.spellings(e)
		if len(e.keys) > 0 {
			spellings = spellings[:1] // the signature spells them
		}
	}
	for i, sp := range spellings {
		q := s.apply(e, sp, true)
		k := claim.NewChecker(q)
		res, err := k.Check(s.Claim)
		if err != nil || res.Verdict != claim.Fails {
			return t, nil, false
		}
		if i == 0 {
			first = k
			t.Passage, t.Change, t.spelled = q, s.words(e, sp), sp
			t.cost += nameCost * float64(s.odd(q))
		}
	}
	return t, first, true
}

// odd reports, as 0 or 1, whether chords that had a plain name have none in q. More than a few are not looked at.
func (s *Subject) odd(q *score.Passage) int {
	plain := func(p *score.Passage, at score.Time) bool {
		for _, sl := range score.Slices(p.Sounding(), at, at.Add(score.T(1, 64))) {
			var ps []pitch.Pitch
			for _, n := range sl.Notes {
				ps = append(ps, n.Pitch)
			}
			rs := chord.Name(ps)
			return len(rs) > 0 && rs[0].Rooted && rs[0].Type != "" && len(rs[0].Missing)+len(rs[0].Added)+len(rs[0].Respelled) == 0
		}
		return true
	}
	if len(s.scope) > 12 {
		return 0
	}
	for _, r := range s.Places {
		if plain(s.Original, r.From) && !plain(q, r.From) {
			return 1
		}
	}
	return 0
}

// spellings returns ways to spell the new notes of an edit: first all as the key has them, then each class of them otherwise.
func (s *Subject) spellings(e edit) [][]pitch.Pitch {
	plain := make([]pitch.Pitch, len(e.moves))
	ways := map[int][]pitch.Class{} // by pitch class: the others
	for i, m := range e.moves {
		t := s.tones[m.tone]
		n := t.Pitch.MIDI() + m.by
		if m.by%12 == 0 { // moved by octaves a note keeps its name
			plain[i] = atKey(t.Pitch.Class(), n)
			continue
		}
		center := s.center(t.Onset)
		if len(e.keys) > 0 {
			center = e.keys[0].Key.Signature() + 2
		}
		cs := enharmonics(n, center)
		plain[i] = atKey(cs[0], n)
		ways[plain[i].PC()] = slices.DeleteFunc(cs[1:], func(c pitch.Class) bool { return abs(c.Fifths()-center) > usualFifths })
	}
	out := [][]pitch.Pitch{plain}
	for pc := range 12 {
		for _, c := range ways[pc] {
			sp := slices.Clone(plain)
			for j, m := range e.moves {
				if sp[j].PC() == pc && m.by%12 != 0 {
					sp[j] = atKey(c, sp[j].MIDI())
				}
			}
			out = append(out, sp)
		}
		if len(out) > 6 {
			break
		}
	}
	return out
}

// atKey returns the pitch of class c that is the key with that number, which must be of its pitch class.
func atKey(c pitch.Class, n int) pitch.Pitch { return c.In(4 + (n-c.In(4).MIDI())/12) }

// enharmonics returns the spellings of a key with one sign at most, the nearest to center on the line of fifths first.
func enharmonics(n, center int) []pitch.Class {
	var out []pitch.Class
	for f := -8; f <= 12; f++ { // Fb to E#, F double sharp left out below
		c := pitch.ClassOfFifths(f)
		if c.PC() == mod12(n) && c.Alter >= -1 && c.Alter <= 1 {
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b pitch.Class) int { return cmp.Compare(abs(a.Fifths()-center), abs(b.Fifths()-center)) })
	return out
}

// center is the middle of the key's notes on the line of fifths: D in C major.
func (s *Subject) center(at score.Time) int {
	k, _ := s.Original.KeyAt(at)
	return k.Signature() + 2
}

func mod12(n int) int { return ((n % 12) + 12) % 12 }

func abs(n int) int { return max(n, -n) }

// usualFifths is how far from the middle of a key the usual chromatic notes lie on the line of fifths: in C major (middle D)
// from Ab to G#. Beyond it a spelling is no more what a musician would write.
const usualFifths = 6

// apply returns the passage with an edit made, its new notes spelled so, in the order that a passage promises or that of the
// original. It shares what is not changed.
func (s *Subject) apply(e edit, spelled []pitch.Pitch, sorted bool) *score.Passage {
	q := *s.Original
	q.Notes = slices.Clone(q.Notes)
	for i, m := range e.moves {
		for _, j := range s.tones[m.tone].written {
			q.Notes[j].Pitch = spelled[i]
		}
	}
	for i, r := range e.retimed {
		for _, j := range s.tones[i].written {
			q.Notes[j].Onset, q.Notes[j].Duration = r[0], r[1]
			q.Notes[j].Bar = max(q.BarAt(r[0]), 0)
		}
	}
	if e.soft {
		q.Dynamics = e.dynamics
	}
	if e.keys != nil {
		q.Keys = e.keys
	}
	if sorted {
		q.Pedals, q.Harmonies, q.Signs = slices.Clone(q.Pedals), slices.Clone(q.Harmonies), slices.Clone(q.Signs)
		q.Sort()
	}
	return &q
}

// words says what an edit changes.
func (s *Subject) words(e edit, spelled []pitch.Pitch) string {
	if len(e.moves) == 0 {
		return e.words
	}
	var parts []string
	for i, m := range e.moves {
		if i == 2 && len(e.moves) > 3 {
			parts = append(parts, fmt.Sprintf("%d more notes are moved", len(e.moves)-2))
			break
		}
		t := s.tones[m.tone]
		parts = append(parts, fmt.Sprintf("%s %s at %s becomes %s", t.Hand, t.Pitch, s.Original.Where(t.Onset), spelled[i]))
	}
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// Words of a claim that tell what it is about, whatever its form.
var (
	aboutOuter  = regexp.MustCompile(`(?i)\b(?:bass|outer|melody|soprano|top|highest|lowest|inversion|position|pedal|tune|upper voice|over|on top|hands?)\b`)
	aboutRhythm = regexp.MustCompile(`(?i)\b(?:rhythms?|rhythmic|syncopat\w*|dotted|off the beat|off-?beats?|onsets?|hemiola|together|triplets?|duration|longer|shorter|faster|slower)\b`)
	aboutLoud   = regexp.MustCompile(`(?i)\b(?:loud\w*|soft\w*|quiet\w*|crescendo|diminuendo|decrescendo|dynamics?|fades?|swells?)\b`)
)

func (s *Subject) about(re *regexp.Regexp) bool {
	return re.MatchString(s.Claim.Statement) || re.MatchString(s.Claim.Form().ID)
}

// outer reports whether the claim is about the lowest or the highest notes, which may then change.
func (s *Subject) outer() bool {
	switch s.Claim.Place.Layer {
	case score.Bass, score.TopLine:
		return true
	}
	return s.about(aboutOuter) || len(s.evidence) > 0 && len(s.evidence) <= 2 // a single note or two, wherever they lie
}

// candidates returns the changes to be tried, in no order.
func (s *Subject) candidates() []edit {
	if s.about(aboutLoud) {
		if list := s.louder(); len(list) > 0 {
			return list
		}
	}
	scope := s.scope
	if l := s.Claim.Place.Layer; l == score.LeftHand || l == score.RightHand { // only what the claim speaks of
		hand := score.Left
		if l == score.RightHand {
			hand = score.Right
		}
		scope = slices.DeleteFunc(slices.Clone(scope), func(i int) bool { return s.tones[i].Hand != hand })
	}
	if s.about(aboutRhythm) {
		if list := s.rhythms(scope); len(list) > 0 {
			return list
		}
	}
	var out []edit
	for _, i := range scope {
		for d := -12; d <= 12; d++ {
			if d != 0 {
				out = append(out, edit{moves: []move{{i, d}}, bonus: s.bonus(i, d)})
			}
		}
	}
	out = append(out, s.modulated()...)
	out = append(out, s.exchanges(scope)...)
	out = append(out, s.classes(scope)...)
	out = append(out, s.tails(scope)...)
	seen := map[string]bool{}
	return slices.DeleteFunc(out, func(e edit) bool {
		slices.SortFunc(e.moves, func(a, b move) int { return cmp.Compare(a.tone, b.tone) })
		key := fmt.Sprint(e.moves)
		again := seen[key]
		seen[key] = true
		return again
	})
}

// bonus favours what a musician would change: the sixth put back to the fifth, the resolution withheld, a whole tone for a
// semitone.
func (s *Subject) bonus(i, by int) float64 {
	t := s.tones[i]
	to := mod12(t.Pitch.MIDI() + by)
	named := func(n int) bool { return n < len(s.Named) && t.Pitch.PC() == s.Named[n].PC() }
	switch s.Claim.Form().ID {
	case "sixth for fifth":
		if named(0) && to == mod12(s.Named[0].PC()-2) {
			return 2
		}
	case "resolves":
		switch {
		case named(1) && to == s.Named[0].PC():
			return 2
		case named(1):
			return 1
		}
	case "cluster":
		if s.evidence[toneKey(t.Note)] && abs(by) == 1 {
			return .7
		}
	}
	return 0
}

// exchangeBonus favours that the notes of a chord stay the same where only their order is claimed.
func (s *Subject) exchangeBonus() float64 {
	switch s.Claim.Form().ID {
	case "bass", "inversion":
		return 3
	}
	return .5
}

// classes moves all notes of a pitch class together: those that sound at one moment, and those of the whole place, one class
// or two.
func (s *Subject) classes(scope []int) []edit {
	var out []edit
	groups := func(tones []int) (byPC [12][]int) {
		for _, i := range tones {
			byPC[s.tones[i].Pitch.PC()] = append(byPC[s.tones[i].Pitch.PC()], i)
		}
		return byPC
	}
	shift := func(tones []int, by int) []move {
		var ms []move
		for _, i := range tones {
			ms = append(ms, move{i, by})
		}
		return ms
	}
	add := func(ms []move) {
		if len(ms) > 1 {
			out = append(out, edit{moves: ms})
		}
	}
	for _, at := range s.onsets(scope) {
		var now []int
		for _, i := range scope {
			if t := s.tones[i]; !at.Less(t.Onset) && at.Less(t.End()) {
				now = append(now, i)
			}
		}
		for _, g := range groups(now) {
			for d := -4; d <= 4; d++ {
				if d != 0 {
					add(shift(g, d))
				}
			}
		}
	}
	all := groups(scope)
	for pc, g := range all {
		for _, d := range []int{-2, -1, 1, 2} {
			add(shift(g, d))
		}
		for _, other := range all[pc+1:] {
			if len(g) == 0 || len(other) == 0 {
				continue
			}
			for _, d := range [][2]int{{-1, -1}, {-1, 1}, {1, -1}, {1, 1}} {
				add(append(shift(g, d[0]), shift(other, d[1])...))
			}
		}
	}
	return out
}

// A modulation is what leads from a key to another one: degrees of the scale raised or lowered together, and what becomes of
// the signature.
type modulation struct {
	degrees [][2]int // degree and semitones
	fifths  int
	mode    bool // it is the parallel key, on the same tonic
}

// modulations are those of a major and of a minor key, to the parallel one and to neighbours on both sides.
var modulations = map[key.Mode][]modulation{
	key.Major: {{[][2]int{{3, -1}}, -3, true}, {[][2]int{{3, -1}, {6, -1}}, -3, true}, {[][2]int{{3, -1}, {6, -1}, {7, -1}}, -3, true},
		{[][2]int{{7, -1}}, -1, false}, {[][2]int{{7, -1}, {3, -1}}, -2, false},
		{[][2]int{{4, 1}}, 1, false}},
	key.Minor: {{[][2]int{{3, 1}}, 3, true}, {[][2]int{{3, 1}, {6, 1}}, 3, true}, {[][2]int{{3, 1}, {6, 1}, {7, 1}}, 3, true},
		{[][2]int{{6, 1}}, 1, false}, {[][2]int{{6, 1}, {3, 1}}, 2, false},
		{[][2]int{{2, -1}}, -1, false}},
}

// modulated takes the whole place into another key, signature and all, if the claim names one.
func (s *Subject) modulated() []edit {
	var out []edit
	for _, k := range s.inKeys {
		out = append(out, s.modulatedFrom(k)...)
	}
	return out
}

func (s *Subject) modulatedFrom(from key.Key) []edit {
	var out []edit
	scale := from.Scale()
	for _, m := range modulations[from.Mode] {
		e := edit{bonus: 2.5}
		for _, d := range m.degrees {
			for _, i := range s.scope {
				if s.tones[i].Pitch.PC() == scale[d[0]-1].PC() {
					e.moves = append(e.moves, move{i, d[1]})
				}
			}
		}
		to := key.FromSignature(from.Signature()+m.fifths, from.Mode)
		if m.mode {
			to = key.Key{Tonic: from.Tonic, Mode: key.Major + key.Minor - from.Mode}
		}
		for _, k := range s.Original.Keys {
			k.Key = to
			e.keys = append(e.keys, k)
		}
		if len(e.moves) > 0 {
			out = append(out, e)
		}
	}
	return out
}

// onsets returns the moments at which tones begin within the places, and the places' own beginnings.
func (s *Subject) onsets(scope []int) []score.Time {
	var out []score.Time
	for _, r := range s.Places {
		out = append(out, r.From)
		for _, i := range scope {
			if t := s.tones[i].Onset; r.From.Less(t) && t.Less(r.To) {
				out = append(out, t)
			}
		}
	}
	slices.SortFunc(out, score.Time.Compare)
	return slices.Compact(out)
}

// exchanges lets the bass and another note of a chord change places, octaves aside, and two notes that follow each other in a
// voice.
func (s *Subject) exchanges(scope []int) []edit {
	var out []edit
	inScope := map[int]bool{}
	for _, i := range scope {
		inScope[i] = true
	}
	for _, at := range s.onsets(scope) {
		low := -1
		var now []int
		for _, i := range s.scope {
			if t := s.tones[i]; !at.Less(t.Onset) && at.Less(t.End()) {
				now = append(now, i)
				if low < 0 || t.Pitch.MIDI() < s.tones[low].Pitch.MIDI() {
					low = i
				}
			}
		}
		if low < 0 || !inScope[low] {
			continue
		}
		l := s.tones[low].Pitch.MIDI()
		for _, i := range now {
			h := s.tones[i].Pitch.MIDI()
			if mod12(h) == mod12(l) || !inScope[i] || s.Result.Region.Moment && s.tones[i].Onset != s.tones[low].Onset {
				continue
			}
			up, down := mod12(h-l), mod12(h-l)-12
			for _, d := range []int{up, down} {
				for _, e := range []int{-up, -down} {
					out = append(out, edit{moves: []move{{low, d}, {i, e}}, bonus: s.exchangeBonus()})
				}
			}
		}
	}
	last := map[voice]int{} // the tone before
	for _, i := range scope {
		t := s.tones[i]
		v := voice{t.Hand, t.Voice}
		if j, ok := last[v]; ok && s.tones[j].End() == t.Onset {
			if d := t.Pitch.MIDI() - s.tones[j].Pitch.MIDI(); d != 0 {
				out = append(out, edit{moves: []move{{j, d}, {i, -d}}})
			}
		}
		last[v] = i
	}
	return out
}

// tails moves what follows from a moment on, in one hand, in both, or in the outer lines, and all of the place: a sequence is broken there,
// a copy is at another step.
func (s *Subject) tails(scope []int) []edit {
	var out []edit
	for _, r := range s.Places {
		for _, at := range s.onsets(scope) {
			if at.Less(r.From) || !at.Less(r.To) {
				continue
			}
			for _, hand := range []score.Hand{0, score.Right, score.Left} {
				var tail, here []int
				for _, i := range scope {
					t := s.tones[i]
					if hand != 0 && t.Hand != hand || t.Onset.Less(at) || !t.Onset.Less(r.To) {
						continue
					}
					tail = append(tail, i)
					if t.Onset == at {
						here = append(here, i)
					}
				}
				for _, d := range []int{-4, -3, -2, -1, 1, 2, 3, 4} {
					for _, g := range [][]int{tail, here} {
						if len(g) < 2 {
							continue
						}
						e := edit{}
						for _, i := range g {
							e.moves = append(e.moves, move{i, d})
						}
						out = append(out, e)
					}
				}
			}
		}
	}
	return out
}

// A voice is one of a hand's.
type voice struct {
	hand   score.Hand
	number int
}

func (v voice) name() string { return v.hand.String() }

// rhythms changes where one note or chord of a voice ends and the next begins.
func (s *Subject) rhythms(scope []int) []edit {
	type group struct {
		tones []int
		ok    bool // one written note each, all of one length
	}
	voices := map[voice][]group{}
	var order []voice
	for _, i := range scope {
		t := s.tones[i]
		v := voice{t.Hand, t.Voice}
		if _, seen := voices[v]; !seen {
			order = append(order, v)
		}
		gs := voices[v]
		if n := len(gs); n > 0 && s.tones[gs[n-1].tones[0]].Onset == t.Onset {
			gs[n-1].tones = append(gs[n-1].tones, i)
			gs[n-1].ok = gs[n-1].ok && len(t.written) == 1 && !t.torn && t.Duration == s.tones[gs[n-1].tones[0]].Duration
			continue
		}
		voices[v] = append(gs, group{[]int{i}, len(t.written) == 1 && !t.torn})
	}
	out := []edit{}
	for _, v := range order {
		gs := voices[v]
		// The lengths within each bar the long ones first, and the short ones first.
		for _, sign := range []int{-1, 1} {
			all := edit{retimed: map[int][2]score.Time{}, words: v.name() + ": the long notes come first in the bar"}
			if sign > 0 {
				all.words = v.name() + ": the short notes come first in the bar"
			}
			for from := 0; from < len(gs); {
				to := from + 1
				x := s.tones[gs[from].tones[0]]
				for to < len(gs) && s.tones[gs[to].tones[0]].Bar == x.Bar && s.tones[gs[to-1].tones[0]].End() == s.tones[gs[to].tones[0]].Onset {
					to++
				}
				bar := gs[from:to]
				from = to
				if slices.ContainsFunc(bar, func(g group) bool { return !g.ok }) {
					continue
				}
				var lengths []score.Time
				for _, g := range bar {
					lengths = append(lengths, s.tones[g.tones[0]].Duration)
				}
				slices.SortStableFunc(lengths, func(a, b score.Time) int { return sign * a.Compare(b) })
				at := x.Onset
				for k, g := range bar {
					for _, i := range g.tones {
						all.retimed[i] = [2]score.Time{at, lengths[k]}
					}
					at = at.Add(lengths[k])
				}
			}
			if slices.ContainsFunc(scope, func(i int) bool {
				r, ok := all.retimed[i]
				return ok && r[0] != s.tones[i].Onset
			}) {
				out = append(out, all)
			}
		}
		for k := 0; k+1 < len(gs); k++ {
			a, b := gs[k], gs[k+1]
			x, y := s.tones[a.tones[0]], s.tones[b.tones[0]]
			if !a.ok || !b.ok || x.End() != y.Onset {
				continue
			}
			whole := x.Duration.Add(y.Duration)
			cuts := []score.Time{y.Duration}
			if x.Duration == y.Duration {
				cuts = []score.Time{whole.Mul(3, 4), whole.Mul(1, 4)}
			}
			for _, first := range cuts {
				e := edit{retimed: map[int][2]score.Time{}}
				for _, i := range a.tones {
					e.retimed[i] = [2]score.Time{x.Onset, first}
				}
				for _, i := range b.tones {
					e.retimed[i] = [2]score.Time{x.Onset.Add(first), whole.Sub(first)}
				}
				e.words = fmt.Sprintf("%s: what begins at %s begins at %s", y.Hand, s.Original.Where(y.Onset), s.Original.Where(x.Onset.Add(first)))
				out = append(out, e)
			}
		}
	}
	return out
}

// louder flattens the dynamics of the places, and turns them round.
func (s *Subject) louder() []edit {
	inside := func(d score.Dynamic) bool {
		return slices.ContainsFunc(s.Places, func(r score.Region) bool {
			if d.At.Less(d.Until) {
				return d.At.Less(r.To) && r.From.Less(d.Until)
			}
			return !d.At.Less(r.From) && d.At.Less(r.To)
		})
	}
	var flat, turned []score.Dynamic
	var levels []string
	for _, d := range s.Original.Dynamics {
		if inside(d) && !d.At.Less(d.Until) {
			levels = append(levels, d.Text)
		}
	}
	opposite := map[string]string{"louder": "softer", "softer": "louder", "cresc.": "dim.", "dim.": "cresc.", "crescendo": "diminuendo", "diminuendo": "crescendo"}
	first, changed, n := true, false, len(levels)
	for _, d := range s.Original.Dynamics {
		if !inside(d) {
			flat, turned = append(flat, d), append(turned, d)
			continue
		}
		t := d
		if o, ok := opposite[d.Text]; ok {
			t.Text, changed = o, true
		} else if n--; n >= 0 {
			changed = changed || t.Text != levels[n]
			t.Text = levels[n]
		}
		turned = append(turned, t)
		if _, hairpin := opposite[d.Text]; !hairpin && first {
			flat = append(flat, d)
			first = false
		}
	}
	if !changed {
		return nil
	}
	return []edit{{dynamics: flat, soft: true, words: "the loudness stays as it is"}, {dynamics: turned, soft: true, words: "loud and soft change places", cost: turnedCost}}
}

// A sonority is what sounds for a while, for comparing: keys from low to high.
type sonority struct {
	at, until score.Time
	keys      []int
}

// sonorities returns what sounds in the places, with an edit made.
func (s *Subject) sonorities(e *edit) []sonority {
	notes := make([]score.Note, len(s.scope))
	index := make(map[int]int, len(s.scope))
	for k, i := range s.scope {
		notes[k] = s.tones[i].Note
		index[i] = k
	}
	keys := func(n score.Note) int { return n.Pitch.MIDI() }
	if e != nil {
		for _, m := range e.moves {
			n := &notes[index[m.tone]]
			n.Pitch = pitch.FromMIDI(n.Pitch.MIDI()+m.by, false)
		}
		for i, r := range e.retimed {
			n := &notes[index[i]]
			n.Onset, n.Duration = r[0], r[1]
		}
		slices.SortStableFunc(notes, func(a, b score.Note) int { return a.Onset.Compare(b.Onset) })
	}
	var out []sonority
	for _, r := range s.Places {
		for _, sl := range score.Slices(notes, r.From, r.To) {
			so := sonority{at: sl.At, until: sl.Until}
			for _, n := range sl.Notes {
				so.keys = append(so.keys, keys(n))
			}
			out = append(out, so)
		}
	}
	return out
}

// What a difference to the original costs (our own weights: what a listener would notice first costs most).
const (
	outerCost     = 4   // the lowest or the highest note changes though the claim is not about it
	outerPart     = .15 // it changes, and the claim is about it
	elsewhereCost = 1   // none of the notes that the verdict rests on is changed
	sizeCost      = .06 // each semitone of a move
	moreCost      = .35 // each note moved beside the first
	foreignCost   = .5  // a note that is not in the key and doesn't sound there stands in place of one that is
	roughCost     = .7  // each more or less of sharp dissonances, on average over what is changed
	thinnerCost   = .5  // each pitch class more or less
	heldCost      = .4  // the note begins before the place
	edgeCost      = .25 // it is the first or the last of several
	turnedCost    = 3   // loud and soft change places where it would do to leave them level
	nameCost      = .6  // a chord with a plain name becomes one without
	wideCost      = .8  // a hand must stretch beyond a tenth where it didn't
)

// weigh works out what an edit costs and how it shifts the register; false if it can't be made: a key struck twice, a note out
// of range, a tie torn.
func (s *Subject) weigh(e *edit, base []sonority) bool {
	moved := map[int]int{}
	touched := false
	add := func(i int) {
		t := s.tones[i]
		touched = touched || s.evidence[toneKey(t.Note)]
		if t.Onset.Less(s.Places[0].From) {
			e.cost += heldCost
		}
	}
	for _, m := range e.moves {
		t := s.tones[m.tone]
		to := t.Pitch.MIDI() + m.by
		if t.torn || to < lowestKey || to > highestKey || m.by == 0 {
			return false
		}
		moved[m.tone] = m.by
		add(m.tone)
		e.cost += sizeCost * float64(min(abs(m.by), 12)) / math.Sqrt(float64(len(e.moves)))
		k, _ := s.Original.KeyAt(t.Onset)
		if k.Contains(t.Pitch.Class()) && !slices.ContainsFunc(enharmonics(to, 0), k.Contains) {
			e.cost += foreignCost / math.Sqrt(float64(len(e.moves)))
		}
	}
	for i := range e.retimed {
		add(i)
	}
	e.cost += moreCost * math.Sqrt(float64(max(len(e.moves)-1, 0)))
	if len(s.evidence) > 0 && !touched && !e.soft {
		e.cost += elsewhereCost
	}
	e.cost -= e.bonus
	if e.soft {
		return true
	}
	// A key that is held can't be struck.
	for _, m := range e.moves {
		t := s.tones[m.tone]
		to := t.Pitch.MIDI() + m.by
		for j, o := range s.tones {
			if j == m.tone || !o.Onset.Less(t.End()) || !t.Onset.Less(o.End()) {
				continue
			}
			if o.Pitch.MIDI()+moved[j] == to {
				return false
			}
		}
	}
	now := s.sonorities(e)
	if len(now) == 0 {
		return false
	}
	if len(e.retimed) == 0 {
		if len(now) != len(base) {
			return false
		}
		var rough, thin, changed float64
		low, high := false, false
		for i := range now {
			a, b := base[i].keys, now[i].keys
			if slices.Equal(a, b) {
				continue
			}
			changed++
			low, high = low || a[0] != b[0], high || a[len(a)-1] != b[len(b)-1]
			rough += math.Abs(roughness(b) - roughness(a))
			thin += math.Abs(float64(classCount(b) - classCount(a)))
			if len(now) > 1 && (i == 0 || i == len(now)-1) {
				e.cost += edgeCost / 2
			}
		}
		if changed == 0 {
			return false
		}
		e.cost += (roughCost*rough + thinnerCost*thin) / changed
		each := float64(outerCost)
		if s.outer() {
			each = outerPart
		}
		if low {
			e.cost += each
		}
		if high {
			e.cost += each
		}
		e.cost += s.stretch(moved)
	}
	was, is := features(base), features(now)
	for i := range was {
		if e.feature[i] = is[i] - was[i]; math.Abs(e.feature[i]) < 1e-9 {
			e.feature[i] = 0
		}
	}
	return true
}

// stretch is the cost of hands that must reach further than a tenth for the moved notes, and further than before.
func (s *Subject) stretch(moved map[int]int) (cost float64) {
	reach := func(i int, with bool) int {
		t := s.tones[i]
		lo, hi := 200, 0
		for j, o := range s.tones {
			if o.Hand == t.Hand && !t.Onset.Less(o.Onset) && t.Onset.Less(o.End()) {
				k := o.Pitch.MIDI()
				if with {
					k += moved[j]
				}
				lo, hi = min(lo, k), max(hi, k)
			}
		}
		return hi - lo
	}
	for i := range moved {
		if r := reach(i, true); r > 16 && r > reach(i, false) {
			return wideCost
		}
	}
	return 0
}

// features returns the mean, the lowest and the highest key, over time.
func features(list []sonority) (f [3]float64) {
	var weight, time float64
	for _, so := range list {
		d := so.until.Sub(so.at).Float()
		for _, k := range so.keys {
			f[0] += d * float64(k)
			weight += d
		}
		f[1] += d * float64(so.keys[0])
		f[2] += d * float64(so.keys[len(so.keys)-1])
		time += d
	}
	if weight > 0 {
		f[0], f[1], f[2] = f[0]/weight, f[1]/time, f[2]/time
	}
	return f
}

// roughness counts the sharp dissonances: seconds of a semitone and their turns within two octaves; a tritone is a third of one.
func roughness(keys []int) (r float64) {
	for i, a := range keys {
		for _, b := range keys[i+1:] {
			switch d := b - a; {
			case d > 14:
			case d%12 == 1 || d == 11:
				r++
			case d == 6:
				r += 1. / 3
			}
		}
	}
	return r
}

func classCount(keys []int) int {
	var set [12]bool
	n := 0
	for _, k := range keys {
		if !set[mod12(k)] {
			set[mod12(k)] = true
			n++
		}
	}
	return n
}

func side(x float64) int { return cmp.Compare(x, 0) }

// mismatch counts the ways in which a and b don't lie on opposite sides of the original.
func mismatch(a, b Twin) (n int) {
	for i := range a.feature {
		if side(a.feature[i]) != -side(b.feature[i]) {
			n++
		}
	}
	return n
}

// pairs returns the best pairs of twins that lie on opposite sides of the original: their mean register always, the lowest and
// the highest notes if it can be had.
func pairs(found []Twin) [][2]Twin {
	type pair struct {
		a, b int
		cost float64
	}
	var all []pair
	for i, a := range found {
		for j := i; j < len(found); j++ {
			b := found[j]
			if side(a.feature[0]) != -side(b.feature[0]) {
				continue
			}
			if i == j && (mismatch(a, b) > 0 || len(a.edit.moves) > 0) { // notes that change places sound brighter or darker all the same
				continue
			}
			uneven := math.Abs(math.Abs(a.feature[0]) - math.Abs(b.feature[0]))
			all = append(all, pair{i, j, a.cost + b.cost + mismatchCost*float64(mismatch(a, b)) + unevenCost*uneven})
		}
	}
	slices.SortStableFunc(all, func(x, y pair) int { return cmp.Compare(x.cost, y.cost) })
	var out [][2]Twin
	used := map[int]int{}
	for _, p := range all {
		if len(out) == maxPairs || p.cost > all[0].cost+worseBy {
			break
		}
		if used[p.a] > 0 || used[p.b] > 0 {
			continue
		}
		used[p.a]++
		used[p.b]++
		out = append(out, [2]Twin{found[p.a], found[p.b]})
	}
	return out
}

// Balance chooses the pairs anew by what is measured of the sound of the places in a passage: numbers whose differences a listener
// might follow, such as brightness, in units of the standard deviation that chance (touch and level, drawn anew for each playing)
// gives to such a difference. Pairs are taken in which a listener who follows one of them would be right half of the time, as far
// as it can be had. It returns the error of measure, if there is one; the pairs are then as they were.
func (s *Subject) Balance(measure func(*score.Passage) ([]float64, error)) error {
	is, err := measure(s.Original)
	if err != nil {
		return err
	}
	slices.SortStableFunc(s.found, func(a, b Twin) int { return cmp.Compare(a.cost, b.cost) })
	list := s.found[:min(len(s.found), maxMeasured)]
	off := make([][]float64, len(list))
	for i, t := range list {
		if off[i], err = measure(t.Passage); err != nil {
			return err
		}
		for j := range off[i] {
			// How often the twin measures higher than the original: the normal distribution.
			off[i][j] = .5 * (1 + math.Erf((off[i][j]-is[j])/math.Sqrt2))
		}
	}
	type pair struct {
		a, b int
		cost float64
	}
	var all []pair
	for i := range list {
		for j := i; j < len(list); j++ {
			if i == j && len(list[i].edit.moves) > 0 {
				continue
			}
			cost := list[i].cost + list[j].cost
			for k := range is {
				cost += followCost * math.Abs((off[i][k]+off[j][k])/2-.5)
			}
			all = append(all, pair{i, j, cost})
		}
	}
	slices.SortStableFunc(all, func(x, y pair) int { return cmp.Compare(x.cost, y.cost) })
	var out [][2]Twin
	used := map[int]bool{}
	for _, p := range all {
		if len(out) == maxPairs || p.cost > all[0].cost+worseBy {
			break
		}
		if used[p.a] || used[p.b] || s.full != nil && !(s.confirmed(list[p.a]) && s.confirmed(list[p.b])) {
			continue
		}
		used[p.a], used[p.b] = true, true
		out = append(out, [2]Twin{list[p.a], list[p.b]})
	}
	if len(out) > 0 {
		s.Pairs = out
		s.measure()
	}
	return nil
}

const (
	maxMeasured  = 20  // twins that are measured
	followCost   = 12  // a listener who follows something is right always; in proportion, if he is right above half of the time
	unevenCost   = .3  // a semitone by which the mean register differs more on one side
	mismatchCost = 3   // a side of the lowest or the highest notes that is not balanced
	worseBy      = 2.5 // by how much another pair may be worse than the best
)

// enough reports whether the search may stop: pairs are at hand that balance in everything.
func enough(found []Twin) bool {
	if len(found) < plenty {
		return false
	}
	n := 0
	for _, p := range pairs(found) {
		if mismatch(p[0], p[1]) == 0 {
			n++
		}
	}
	return n == maxPairs
}
