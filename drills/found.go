package drills

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/claim"
	"plumbline/theory/harmony"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// What a passage gives to ask about, as cards: its sonorities and how they are built, what is in the bass, where its notes
// resolve to, which line moves by semitone, how its sequences go on. The wrong choices are of the passage's own kind.

// A found is a kind of drill with the cards for it.
type found struct {
	kind  Kind
	name  string // of the step
	cards []Card
}

// DeckFromPassage makes a deck of what is in a place of a passage: its own sonorities, constructions, basses, resolutions,
// lines and sequences, each with near misses of its own kind. The deck holds the notes: whoever gets it doesn't need the
// passage. It returns a *SettingsError if nothing is found to ask about.
func DeckFromPassage(p *score.Passage, region score.Region) (*Deck, error) {
	d := &Deck{Title: p.Title, About: "What sounds in the passage itself, with near misses of its own kind."}
	if d.Title == "" {
		d.Title = p.Source
	}
	var steps []found
	for _, f := range []func(*score.Passage, score.Region) found{sonorityCards, constructionCards, inversionCards, resolutionCards, semitoneCards, sequenceCards} {
		steps = append(steps, f(p, region))
	}
	return deckOf(d, steps)
}

// deckOf makes steps of what was found; what can't be asked is left out.
func deckOf(d *Deck, steps []found) (*Deck, error) {
	for _, f := range steps {
		f.cards = distinct(f.cards)
		if len(f.cards) == 0 || len(d.Steps) == maxSteps {
			continue
		}
		st := Step{Name: f.name, Settings: Settings{Kind: f.kind, Choices: passageChoices}, Cards: f.cards, Pass: 9, PassOf: 10}
		if _, err := st.Drill(1); err != nil {
			continue
		}
		d.Steps = append(d.Steps, st)
	}
	if len(d.Steps) == 0 {
		return nil, badSetting("passage", "nothing is found at that place to ask about")
	}
	return d, nil
}

// maxFound bounds the cards of a step.
const maxFound = 200

func distinct(cs []Card) []Card {
	var out []Card
	seen := map[string]bool{}
	for _, c := range cs {
		if k := (Card{Chords: c.Chords, Label: c.Label}).String(); !seen[k] && len(out) < maxFound {
			seen[k] = true
			out = append(out, c)
		}
	}
	return out
}

// itemCards turns the sonorities of a passage, as FromPassage finds them, into cards, each with its nearest misses.
func itemCards(p *score.Passage, region score.Region, k Kind, name string) found {
	f := found{kind: k, name: name}
	d, err := FromPassage(p, region, Settings{Kind: k})
	if err != nil {
		return f
	}
	for _, it := range d.items {
		f.cards = append(f.cards, Card{[][2][]pitch.Pitch{{it.left, it.right}}, it.label, it.wrong})
		q := Question{Left: it.left, Right: it.right, Expected: it.label, Kind: k, Root: it.root, Inversions: true}
		for _, l := range it.foils[:min(len(it.foils), 2)] {
			left, right := d.craft.instead(l, q)
			wrong := []string{it.label}
			for _, w := range it.wrong {
				if w != l {
					wrong = append(wrong, w)
				}
			}
			f.cards = append(f.cards, Card{[][2][]pitch.Pitch{{left, right}}, l, wrong})
		}
	}
	return f
}

func sonorityCards(p *score.Passage, region score.Region) found {
	return itemCards(p, region, Quality, "its chords, and chords a note away from them")
}

func constructionCards(p *score.Passage, region score.Region) found {
	return itemCards(p, region, Construction, "how its chords are built")
}

// inversionCards asks what is in the bass of the chords that can be named.
func inversionCards(p *score.Passage, region score.Region) found {
	f := found{kind: Inversion, name: "which part is in the bass of its chords"}
	for _, it := range itemsOf(p, region, Quality, chord.NameHands) {
		t, ok := typeOf(it.label)
		ns := Question{Left: it.left, Right: it.right}.Notes()
		if !ok || len(t.Intervals) > 4 || t.Family != "triad" && t.Family != "seventh" || t.ID == "aug" || t.ID == "dim7" {
			continue
		}
		i := slices.IndexFunc(t.Intervals, func(iv pitch.Interval) bool { return it.root.Add(iv) == ns[0].Class() })
		if i < 0 || i >= len(inversionRows) {
			continue
		}
		var wrong []string
		for j, r := range inversionRows[:len(t.Intervals)] {
			if j != i {
				wrong = append(wrong, r.label)
			}
		}
		f.cards = append(f.cards, Card{[][2][]pitch.Pitch{{it.left, it.right}}, inversionRows[i].label, wrong})
	}
	return f
}

// resolutionCards sounds a chord of the passage and then one of its tendency notes alone, and asks where that goes.
func resolutionCards(p *score.Passage, region score.Region) found {
	f := found{kind: Tendency, name: "where its tendency notes go"}
	a := harmony.Analyze(p)
	slices0 := score.Slices(p.Sounding(), region.From, region.To)
	first, end := a.Overlapping(region.From, region.To)
	for i := first; i < end; i++ {
		for _, res := range a.Tendencies(i) {
			if res.To == nil || res.Tendency == "" || res.Note.Onset.Less(region.From) || !res.Note.Onset.Less(region.To) {
				continue
			}
			label := ""
			for l, iv := range tendencyMoves {
				if iv.Semitones == res.To.Pitch.MIDI()-res.Note.Pitch.MIDI() {
					label = l
				}
			}
			at := slices.IndexFunc(slices0, func(s score.Slice) bool { return !s.At.Less(res.Note.Onset) })
			if label == "" || at < 0 {
				continue
			}
			for at+1 < len(slices0) && slices0[at+1].At.Less(res.To.Onset) && slices0[at+1].At.Less(res.Note.End()) { // as it sounds last
				at++
			}
			left, right := handOf(slices0[at], score.Left), handOf(slices0[at], score.Right)
			if len(left)+len(right) < 3 {
				continue
			}
			var wrong []string
			for _, r := range tendencyRows {
				if r.label != label && (r.label != upTone || label == upTone) {
					wrong = append(wrong, r.label)
				}
			}
			alone := [2][]pitch.Pitch{nil, {res.Note.Pitch}}
			f.cards = append(f.cards, Card{[][2][]pitch.Pitch{{left, right}, alone}, label, wrong})
		}
	}
	return f
}

// semitoneCards finds two sonorities in a row, of as many notes, between which just one note moves by semitone.
func semitoneCards(p *score.Passage, region score.Region) found {
	f := found{kind: Semitone, name: "which of its lines moves by semitone"}
	ss := score.Slices(region.Select(p.Sounding()), region.From, region.To)
	for i := 1; i < len(ss); i++ {
		var ch [2][2][]pitch.Pitch
		var ns [2][]pitch.Pitch
		for k, s := range ss[i-1 : i+1] {
			ch[k] = [2][]pitch.Pitch{handOf(s, score.Left), handOf(s, score.Right)}
			ns[k] = Question{Left: ch[k][0], Right: ch[k][1]}.Notes()
		}
		if len(ns[0]) != len(ns[1]) || len(ns[0]) < 3 {
			continue
		}
		moved, by, n := -1, 0, 0
		for v := range ns[0] {
			if d := ns[1][v].MIDI() - ns[0][v].MIDI(); d == 1 || d == -1 {
				moved, by = v, d
				n++
			}
		}
		if n != 1 {
			continue
		}
		voice := "inner voice"
		switch moved {
		case 0:
			voice = "bass"
		case len(ns[0]) - 1:
			voice = "top"
		}
		way, other := "up", "down"
		if by < 0 {
			way, other = other, way
		}
		wrong := []string{voice + ", " + other}
		for _, v := range []string{"top", "inner voice", "bass"} {
			if v != voice {
				wrong = append(wrong, v+", "+way, v+", "+other)
			}
		}
		f.cards = append(f.cards, Card{ch[:], voice + ", " + way, wrong})
	}
	return f
}

// moveLabel names the move of a bass from one note to another, octaves aside; "" if it has no name here.
func moveLabel(a, b pitch.Pitch) string {
	switch ((b.Step()-a.Step())%7 + 7) % 7 {
	case 1:
		return moveStepUp
	case 6:
		return moveStepDown
	case 2:
		return moveThirdUp
	case 5:
		return moveThirdDown
	case 3:
		return moveFourthUp
	case 4:
		return moveFourthDown
	}
	return ""
}

// sequenceCards breaks the sequences of the passage off before their last note and asks where their bass goes next.
func sequenceCards(p *score.Passage, region score.Region) found {
	f := found{kind: Next, name: "how its sequences go on"}
	sounding := p.Sounding()
	for _, s := range line.FindSequences(sounding, region, p) {
		if s.Layer == score.TopLine || len(s.Notes) < 4 {
			continue
		}
		n := min(len(s.Notes), 9)
		label := moveLabel(s.Notes[n-2].Pitch, s.Notes[n-1].Pitch)
		if label == "" {
			continue
		}
		var chords [][2][]pitch.Pitch
		for _, note := range s.Notes[:n-1] {
			at := score.Slices(sounding, note.Onset, note.Onset.Add(score.T(1, 64)))
			if len(at) == 0 {
				break
			}
			chords = append(chords, [2][]pitch.Pitch{handOf(at[0], score.Left), handOf(at[0], score.Right)})
		}
		if len(chords) != n-1 {
			continue
		}
		// The moves of the pattern itself first: they are what it could be taken for.
		var wrong []string
		for i := 1; i < n-1; i++ {
			if l := moveLabel(s.Notes[i-1].Pitch, s.Notes[i].Pitch); l != "" && l != label && !slices.Contains(wrong, l) {
				wrong = append(wrong, l)
			}
		}
		for _, r := range nextRows {
			if r.label != label && !slices.Contains(wrong, r.label) {
				wrong = append(wrong, r.label)
			}
		}
		f.cards = append(f.cards, Card{chords, label, wrong})
	}
	return f
}

// claimCards says by what a kind of claim is drilled.
var claimCards = map[string][]func(*score.Passage, score.Region) found{
	"stacked": {constructionCards}, "cluster": {constructionCards}, "sixth for fifth": {constructionCards, sonorityCards}, "set class": {sonorityCards},
	"bass": {inversionCards}, "inversion": {inversionCards}, "chord": {sonorityCards}, "missing": {sonorityCards}, "every chord": {sonorityCards}, "qualities repeat": {sonorityCards},
	"function": {sonorityCards, resolutionCards}, "numeral": {sonorityCards, resolutionCards}, "key": {resolutionCards},
	"resolves": {resolutionCards}, "sounds as": {resolutionCards}, "moves": {semitoneCards, sequenceCards}, "outer intervals": {sequenceCards}, "two lines": {semitoneCards},
}

// DeckFromClaims makes a deck of the places that claims speak of: each claim gives a step of the kind that trains the ear for
// it. Claims whose place doesn't exist, or where nothing is found to ask, give none. It returns a *SettingsError if no claim
// gives a step. Whether a claim is heard is another matter: see package ear.
func DeckFromClaims(p *score.Passage, claims []claim.Claim) (*Deck, error) {
	d := &Deck{Title: strings.TrimSpace(p.Title + ", as claimed"), About: "A step for each claim: what it speaks of, with near misses."}
	var steps []found
	for _, c := range claims {
		region, err := p.Resolve(c.Place)
		if err != nil {
			continue
		}
		fs, ok := claimCards[c.Form().ID]
		if !ok {
			fs = []func(*score.Passage, score.Region) found{sonorityCards}
		}
		for _, f := range fs {
			if got := f(p, region); len(got.cards) > 0 {
				got.name = fmt.Sprintf("%s: %s (%s)", c.PlaceText, c.Statement, got.name)
				steps = append(steps, got)
			}
		}
	}
	return deckOf(d, steps)
}

// fromFound is FromPassage for the kinds that are asked by cards.
func fromFound(p *score.Passage, region score.Region, s Settings) (*Drill, error) {
	if _, _, err := s.filled(); err != nil {
		return nil, err
	}
	find, ok := map[Kind]func(*score.Passage, score.Region) found{Inversion: inversionCards, Tendency: resolutionCards, Semitone: semitoneCards, Next: sequenceCards}[s.Kind]
	if !ok {
		return nil, badSetting("kind", "the drill %q isn't asked about a passage; those that are: %s, %s, %s, %s, %s, %s", s.Kind, Quality, Construction, Inversion, Tendency, Semitone, Next)
	}
	f := find(p, region)
	if f.cards = distinct(f.cards); len(f.cards) == 0 {
		return nil, badSetting("passage", "nothing at that place can be asked about by the drill %q", s.Kind)
	}
	if s.Choices == 0 {
		s.Choices = passageChoices
	}
	return FromCards(f.cards, s)
}
