package chord

import (
	"slices"
	"strings"

	"plumbline/theory/pitch"
)

// A Lead is a note that would be written otherwise if the sonority were what it sounds like, and where its spelling says it
// wants to go.
type Lead struct {
	Note pitch.Class // as written: F#
	As   pitch.Class // as heard: Gb
	Role string      // its part in the chord that is heard: "seventh"
	To   pitch.Class // a diatonic semitone on, upwards for a note raised from below, downwards for one lowered from above: G
	// In a Tristan chord To is where Wagner takes the note: B to G#, D# to D, G# to A over F (bars 2 and 3, as Wikipedia has them
	// under Tristan chord; from memory), which the spelling doesn't tell.
}

// resolved reports whether ls are the notes of a Tristan chord: one of them then goes to another note of its own letter.
func resolved(ls []Lead) bool {
	return slices.ContainsFunc(ls, func(l Lead) bool { return l.To.Letter == l.Note.Letter })
}

// wagner sends the notes of a Tristan chord where they go, and does nothing to others.
func wagner(ls []Lead, classes []pitch.Class) {
	for _, bass := range classes {
		goes := map[pitch.Class]pitch.Interval{ // the augmented fourth, sixth and ninth
			bass.Add(pitch.Interval{Steps: 3, Semitones: 6}):  {Steps: -2, Semitones: -3},
			bass.Add(pitch.Interval{Steps: 5, Semitones: 10}): {Semitones: -1},
			bass.Add(pitch.Interval{Steps: 1, Semitones: 3}):  pitch.MinorSecond,
		}
		if len(ls) != 3 || slices.ContainsFunc(ls, func(l Lead) bool { _, ok := goes[l.Note]; return !ok }) {
			continue
		}
		for i := range ls {
			ls[i].To = ls[i].Note.Add(goes[ls[i].Note])
		}
		return
	}
}

// lead follows the spelling: of two names for a key the one on the lower letter is raised and rises, the one on the higher
// letter is lowered and falls (Butterfield 18a of augmented sixths; 22a of A4 and d5).
func lead(note, as pitch.Class, role string) Lead {
	to := note.Add(pitch.MinorSecond.Neg())
	if as.Sub(note).Steps <= 3 {
		to = note.Add(pitch.MinorSecond)
	}
	return Lead{note, as, role, to}
}

// Up reports whether the note wants to rise.
func (l Lead) Up() bool { return l.To == l.Note.Add(pitch.MinorSecond) }

// String returns "F# wants to rise to G".
func (l Lead) String() string {
	if l.Up() {
		return l.Note.String() + " wants to rise to " + l.To.String()
	}
	return l.Note.String() + " wants to fall to " + l.To.String()
}

// An Impostor is a sonority that sounds as an everyday chord and is spelled as something else.
type Impostor struct {
	Sounds  string // the chord the ear takes it for: "D7"
	Spelled string // what the spelling says: "German sixth on D"; "" if it makes no chord
	Leads   []Lead // the notes responsible, in the order of the first reading
	Text    string // one sentence: "It sounds as D7, but is spelled as a German sixth on D: B# (for C) wants to rise to C#"
}

// ImpostorOf tells whether notes sound as a triad or seventh chord they are not spelled as, which, and by which notes. It is
// false for chords that are spelled as they sound, for those whose other names sound alike (augmented triads, diminished
// sevenths), and for what is no plain chord at all.
func ImpostorOf(notes []pitch.Pitch) (im Impostor, ok bool) {
	s := sonorityOf(notes)
	var heard, spelled *candidate
	s.candidates()
	cs := s.cs
	for i := range cs {
		c := &cs[i]
		if c.form == nil || c.added > 0 || c.slash || c.bare || c.price[partMissing] > 0 {
			continue
		}
		if everyday := c.form.Family == "triad" && c.form.is != isPower || c.form.Family == "seventh" || c.form.Family == "sixth"; everyday && c.price[partSpelling] == 0 {
			return im, false
		} else if everyday && c.form.Family != "sixth" && c.price[partSpelling] >= priceRespelled && (heard == nil || c.total < heard.total) {
			heard = c
		}
		if c.price[partSpelling] == 0 && (spelled == nil || c.total < spelled.total) {
			spelled = c
		}
	}
	if heard == nil {
		return im, false
	}
	im.Sounds = heard.label(s)
	im.Leads = heard.leads(s)
	says := make([]string, len(im.Leads))
	for i, l := range im.Leads {
		says[i] = strings.Replace(l.String(), " wants", " (for "+l.As.String()+") wants", 1)
		if resolved(im.Leads) {
			says[i] = strings.NewReplacer("wants to fall", "falls", "wants to rise", "rises").Replace(says[i])
		}
	}
	im.Text = "It sounds as " + im.Sounds + ", but is "
	if spelled != nil {
		im.Spelled = spelled.label(s)
		name := im.Spelled
		if len(spelled.form.Symbols) == 0 || spelled.form.Family == famAugSixth {
			name = an(name)
		}
		im.Text += "spelled as " + strings.Replace(name, "a Tristan", "the Tristan", 1) + ": "
	} else {
		im.Text += "not spelled so: "
	}
	im.Text += andList(says)
	if resolved(im.Leads) {
		im.Text += ", as Wagner resolves it"
	}
	return im, true
}

// leads returns the notes that c reads under another name.
func (c *candidate) leads(s *sonority) (ls []Lead) {
	for _, cl := range s.classes {
		if m := c.form.byPC[(cl.PC()-c.root.PC()+12)%12]; m >= 0 {
			if as := c.root.Add(c.form.Intervals[m]); as != cl && !slices.ContainsFunc(ls, func(l Lead) bool { return l.Note == cl }) {
				ls = append(ls, lead(cl, as, c.form.Roles[m]))
			}
		}
	}
	wagner(ls, s.classes)
	return ls
}

// written says how the notes of ls are written instead, and where that leads: "F# stands where Gb would, and wants to rise
// to G".
func written(ls []Lead) string {
	var note, as, to []string
	up, down := 0, 0
	for _, l := range ls {
		note, as, to = append(note, l.Note.String()), append(as, l.As.String()), append(to, l.To.String())
		if l.Up() {
			up++
		} else {
			down++
		}
	}
	how, verb, want := "move", "stand", "want"
	if down == 0 {
		how = "rise"
	} else if up == 0 {
		how = "fall"
	}
	if len(ls) == 1 {
		verb, want = "stands", "wants"
	}
	if resolved(ls) {
		return andList(note) + " " + verb + " where " + andList(as) + " would, and go to " + andList(to) + " as Wagner resolves it"
	}
	return andList(note) + " " + verb + " where " + andList(as) + " would, and " + want + " to " + how + " to " + andList(to)
}

// confirmed says which spelling would make of ls what they are heard as: "Gb instead of F#".
func confirmed(ls []Lead) string {
	words := make([]string, len(ls))
	for i, l := range ls {
		words[i] = l.As.String() + " instead of " + l.Note.String()
	}
	return andList(words)
}
