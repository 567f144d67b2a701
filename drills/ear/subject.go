package ear

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"plumbline/theory/claim"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Subject is a claim made ready to be asked about by ear.
type Subject struct {
	Claim    claim.Claim
	Result   claim.Result   // of the passage as it is
	Places   []score.Region // what is played, in this order; all of the texture, the claim's layer notwithstanding
	Original *score.Passage //
	Pairs    [][2]Twin      // twins that differ from the original to opposite sides; 1 to maxPairs
	Tonic    *key.Key       // the key that the statement names: its tonic chord is to be played first
	Named    []pitch.Pitch  // else the notes that it names, to be played first one after the other

	inKeys   []key.Key       // that the statement names
	full     *score.Passage  // the passage, if Original is an excerpt of it
	toFull   []int           // for each written note of Original its place in full, -1 if it is cut
	keys     [2]int          // the lowest and the highest key of what is played, in any twin too
	checked  int             // changes tried
	found    []Twin          // all twins, for Balance
	tones    []tone          // of the original
	scope    []int           // those that sound in the places
	evidence map[string]bool // those that the verdict rests on
}

// A Twin is the passage with a change in it that makes the claim false.
type Twin struct {
	Passage *score.Passage
	Change  string // "right hand C#4 at bar 2 beat 1 becomes C4"
	Also    []int  // lines of other claims of the file that are no longer what they were
	edit    edit
	spelled []pitch.Pitch
	cost    float64
	feature [3]float64 // mean, lowest, highest: the difference to the original in semitones
}

// A NoTwinError says in plain words why a claim can't be asked about fairly.
type NoTwinError struct{ Why string }

func (e *NoTwinError) Error() string { return "ear: " + e.Why }

// maxPairs is how many pairs of twins a subject has at most: a learner is to hear the claim, not to know one twin by heart.
const maxPairs = 3

// MaxSeconds is the longest stretch that is played for one claim, as written; two of that length must still be compared.
const MaxSeconds = 20.0

// Find prepares the asking about a claim that holds in p, or is arguable. others are the other claims of the file: a twin is
// taken that leaves them as they are, if there is one.
//
// It returns a *NoTwinError if there is no fair twin, or what is to be heard is too long or too short, or the claim fails; and
// the *claim.Error of a claim that speaks of a place that isn't there.
func Find(p *score.Passage, c claim.Claim, others []claim.Claim) (*Subject, error) {
	res, err := claim.NewChecker(p).Check(c)
	if err != nil {
		return nil, err
	}
	if res.Verdict == claim.Fails {
		return nil, &NoTwinError{"the claim fails: there is nothing to hear"}
	}
	s := &Subject{Claim: c, Result: res, Original: p}
	if s.Places, err = stretches(p, res.Region, c.Statement); err != nil {
		return nil, err
	}
	seconds := 0.0
	for _, r := range s.Places {
		seconds += p.Seconds(r.To) - p.Seconds(r.From)
	}
	if seconds > MaxSeconds {
		return nil, &NoTwinError{fmt.Sprintf("the place lasts %.0f s; two of at most %.0f s can be compared by ear: name a shorter place", seconds, MaxSeconds)}
	}
	s.inKeys, s.Named = reference(c.Statement, c.Form().ID)
	if len(s.inKeys) > 0 {
		s.Tonic = &s.inKeys[0]
	}
	s.cut()
	s.survey()
	if len(s.scope) == 0 {
		return nil, &NoTwinError{"nothing sounds there"}
	}
	if s.Tonic == nil && len(s.Named) == 0 && !s.movable() {
		return nil, &NoTwinError{"it is about where the notes lie on the keyboard or how they are written: moved to another pitch it sounds the same and is no longer true, so the ear can't decide it"}
	}
	s.search(others)
	if len(s.Pairs) == 0 {
		return nil, &NoTwinError{s.whyNone()}
	}
	s.measure()
	return s, nil
}

// contextBars is how many bars before and after the places a claim is searched with: what comes before and after counts for
// harmony, but a whole piece read anew for each change would take long.
const contextBars = 3

// cut goes over to an excerpt if the passage is long and the verdict the same. A claim that names a key is judged by what is
// played alone, if it can be: what comes before and after would hold the key against any change, and it isn't heard.
func (s *Subject) cut() {
	if s.Tonic != nil && len(s.Places) == 1 && s.excerpt(0) {
		s.full = nil
		return
	}
	s.excerpt(contextBars)
}

// excerpt goes over to the bars of the places with so many around, if the claim stands there too, and reports whether it did.
func (s *Subject) excerpt(around int) bool {
	p := s.Original
	first, last := p.BarAt(s.Places[0].From), p.BarAt(s.Places[len(s.Places)-1].To)
	if last > first && p.Bars[last].Start == s.Places[len(s.Places)-1].To {
		last--
	}
	first, last = max(first-around, 0), min(last+around, len(p.Bars)-1)
	if last-first+1 > len(p.Bars)-around {
		return false
	}
	from := p.Bars[first].Start
	q := p.Excerpt(from, p.Bars[last].End())
	res, err := claim.NewChecker(q).Check(s.Claim)
	if err != nil || res.Verdict == claim.Fails || around > 0 && res.Verdict != s.Result.Verdict {
		return false
	}
	places, err := stretches(q, res.Region, s.Claim.Statement)
	if err != nil || len(places) != len(s.Places) {
		return false
	}
	for i, r := range places {
		if r.From.Add(from) != s.Places[i].From || r.To.Add(from) != s.Places[i].To {
			return false
		}
	}
	type name struct {
		n     score.Note
		count int
	}
	key := func(n score.Note, shift score.Time, seen map[score.Note]int) name {
		k := score.Note{Pitch: n.Pitch, Onset: n.Onset.Add(shift), Duration: n.Duration, Hand: n.Hand, Voice: n.Voice, Grace: n.Grace}
		seen[k]++
		return name{k, seen[k]}
	}
	at, seen := map[name]int{}, map[score.Note]int{}
	for i, n := range p.Notes {
		at[key(n, score.Time{}, seen)] = i
	}
	seen = map[score.Note]int{}
	s.toFull = nil
	for _, n := range q.Notes {
		i, ok := at[key(n, from, seen)]
		if !ok {
			i = -1
		}
		s.toFull = append(s.toFull, i)
	}
	s.full, s.Original, s.Result, s.Places = p, q, res, places
	return true
}

var placeInText = regexp.MustCompile(`(?i)\bbars? x?\d`)

// PlacesIn returns the places that a statement names, in the order of its words.
func PlacesIn(statement string) []score.Place {
	var out []score.Place
	for at := 0; at < len(statement); {
		loc := placeInText.FindStringIndex(statement[at:])
		if loc == nil {
			break
		}
		words := strings.Fields(statement[at+loc[0]:])
		n := len(words)
		for ; n > 1; n-- {
			if pl, err := score.ParsePlace(strings.TrimRight(strings.Join(words[:n], " "), ".,;")); err == nil {
				out = append(out, pl)
				break
			}
		}
		at += loc[1]
	}
	return out
}

// stretches returns what is played: the place, and with it the other places that the statement names, in the order of time, as
// one if hardly anything lies between.
func stretches(p *score.Passage, r score.Region, statement string) ([]score.Region, error) {
	all := []score.Region{{From: r.From, To: r.To}}
	for _, pl := range PlacesIn(statement) {
		q, err := p.Resolve(pl)
		if err != nil {
			return nil, &NoTwinError{err.Error()}
		}
		all = append(all, score.Region{From: q.From, To: q.To})
	}
	slices.SortStableFunc(all, func(a, b score.Region) int { return a.From.Compare(b.From) })
	out := all[:1]
	for _, q := range all[1:] {
		last := &out[len(out)-1]
		bar := score.Quarters(4)
		if i := p.BarAt(last.To); i >= 0 {
			bar = p.Bars[i].Length
		}
		if !last.To.Add(bar).Less(q.From) {
			last.To = last.To.Max(q.To)
			continue
		}
		out = append(out, q)
	}
	return out, nil
}

// A name of a note, or of the root of a chord, in a statement: a capital letter with its signs, not the beginning of a word.
var (
	nameInText  = regexp.MustCompile(`(?:^|[\s(/,–-])([A-G](?:##|bb|[#bx♯♭])?)(-?\d)?`)
	keyInText   = regexp.MustCompile(`(?:^|\s)([A-G](?:##|bb|[#b♯♭])?(?:[ -](?:sharp|flat))?) (major|minor)(?:$|[\s,.;)])`)
	aWordGoes   = regexp.MustCompile(`^[a-z]{2}`)
	suffix      = regexp.MustCompile(`^(?:maj|min|dim|aug|sus|add|alt|m\d|mM|m/|m\()`)
	chordAfter  = regexp.MustCompile(`^\s+(?:major|minor|augmented|diminished|dominant|half|seventh|triad|chord|suspended|ninth|sixth)`)
	labelBefore = regexp.MustCompile(`(?i)(?:\b(?:of|as|over|an?)|/)\s*$`) // a label such as D7 may follow
	inKey       = regexp.MustCompile(`(?i)\b(?:in|from|key (?:is|of)|keys? are|mixes|tonic of|dominant of|and|to)\s*$`)
)

// octaves are the forms that name notes with their octave; elsewhere a figure belongs to a chord label.
var octaves = map[string]bool{"bass": true, "resolves": true, "pedal": true, "non-chord tone": true, "added": true, "cluster": true, "sixth for fifth": true, "sounds as": true}

// reference returns what a learner must be given to make sense of a statement at another pitch: the keys it names, else the
// notes, those without an octave in the middle of the keyboard.
func reference(statement, form string) (keys []key.Key, named []pitch.Pitch) {
	text := strings.NewReplacer("♯", "#", "♭", "b", " sharp", "#", " flat", "b", " natural", "").Replace(statement)
	for _, loc := range keyInText.FindAllStringSubmatchIndex(text, -1) {
		if !inKey.MatchString(text[:loc[2]]) {
			continue // "is an A major chord"
		}
		if chordAfter.MatchString(text[loc[5]:]) {
			continue // "is in A minor seventh"
		}
		if k, err := key.Parse(text[loc[2]:loc[5]]); err == nil {
			keys = append(keys, k)
		}
	}
	if len(keys) > 0 {
		return keys, nil
	}
	var out []pitch.Pitch
	for _, loc := range nameInText.FindAllStringSubmatchIndex(text, -1) {
		rest := text[loc[1]:]
		if aWordGoes.MatchString(rest) && !suffix.MatchString(rest) {
			continue
		}
		if loc[4] < 0 && loc[1] == loc[3] && strings.HasPrefix(rest, " ") && loc[2] == 0 && text[loc[2]:loc[3]] == "A" {
			continue // "A pedal on E"
		}
		c, err := pitch.ParseClass(text[loc[2]:loc[3]])
		if err != nil {
			continue
		}
		n := c.In(4)
		if loc[4] >= 0 && octaves[form] && !labelBefore.MatchString(text[:loc[2]]) {
			if q, err := pitch.Parse(text[loc[2]:loc[5]]); err == nil && q.MIDI() >= lowestKey && q.MIDI() <= highestKey {
				n = q
			}
		}
		if len(out) == 0 || out[len(out)-1] != n {
			out = append(out, n)
		}
	}
	if len(out) > maxNamed {
		out = out[:maxNamed]
	}
	return nil, out
}

// maxNamed is how many of the notes named are played first.
const maxNamed = 6

// movable reports whether the claim is true of the same music at other pitches.
func (s *Subject) movable() bool {
	for _, i := range []pitch.Interval{{Steps: 1, Semitones: 1}, {Steps: -1, Semitones: -2}, {Steps: 2, Semitones: 4}} {
		q := *s.Original
		q.Notes = slices.Clone(q.Notes)
		for j := range q.Notes {
			q.Notes[j].Pitch = q.Notes[j].Pitch.Add(i)
		}
		q.Keys = slices.Clone(q.Keys)
		for j := range q.Keys {
			q.Keys[j].Key.Tonic = q.Keys[j].Key.Tonic.Add(i)
		}
		q.Sort()
		if res, err := claim.NewChecker(&q).Check(s.Claim); err == nil && res.Verdict == claim.Fails {
			return false
		}
	}
	return true
}

// whyNone says why there is no twin.
func (s *Subject) whyNone() string {
	if s.checked == 0 {
		return "no note of it can be changed without another one being struck twice or lost"
	}
	if len(s.found) > 0 {
		way := "higher"
		if s.found[0].feature[0] < 0 {
			way = "lower"
		}
		return fmt.Sprintf("every small change that makes it false (the best: %s) makes the whole sound %s, so that register alone would tell", s.found[0].Change, way)
	}
	return fmt.Sprintf("none of %d small changes makes just this claim false and leaves register, length and number of notes as they are", s.checked)
}
