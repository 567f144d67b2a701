package score

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Diff says in words the first thing in which a and b differ, with its place: "bar 3 beat 2: a note right hand 1 C4 …, not
// …". It returns "" if they are the same in title, bars, notes and marks. Source, parts and warnings don't count, nor does
// the order of what stands at one moment where Passage leaves it free; grace notes are compared in the order in which each
// voice plays them.
func Diff(a, b *Passage) string {
	if a.Title != b.Title {
		return fmt.Sprintf("the title is %q, not %q", b.Title, a.Title)
	}
	for i := range min(len(a.Bars), len(b.Bars)) {
		x, y := a.Bars[i], b.Bars[i]
		if x.Number != y.Number || x.Start != y.Start || x.Length != y.Length || x.Offset != y.Offset || !x.Meter.Equal(y.Meter) {
			return fmt.Sprintf("bar %d of the passage is %s, not %s", i+1, barText(y), barText(x))
		}
	}
	if len(a.Bars) != len(b.Bars) {
		return fmt.Sprintf("there are %d bars, not %d", len(b.Bars), len(a.Bars))
	}
	return cmp.Or(
		first(a, canonicalNotes(a.Notes), canonicalNotes(b.Notes), "note", noteText, func(n Note) Time { return n.Onset }),
		marks(a, a.Keys, b.Keys, "key", keyText, func(k KeyChange) Time { return k.At }),
		marks(a, a.Tempos, b.Tempos, "tempo", tempoText, func(t Tempo) Time { return t.At }),
		marks(a, a.Dynamics, b.Dynamics, "dynamic", dynamicText, func(d Dynamic) Time { return d.At }),
		marks(a, a.Pedals, b.Pedals, "pedal mark", pedalText, func(e Pedal) Time { return e.At }),
		marks(a, a.Harmonies, b.Harmonies, "chord symbol", harmonyText, func(h Harmony) Time { return h.At }),
		marks(a, a.Signs, b.Signs, "sign", signText, func(s Sign) Time { return s.At }),
	)
}

// first words the first difference of two lists.
func first[T comparable](p *Passage, a, b []T, noun string, text func(T) string, at func(T) Time) string {
	for i := range max(len(a), len(b)) {
		switch {
		case i == len(a):
			return fmt.Sprintf("%s: the %s %s is too much", p.Where(at(b[i])), noun, text(b[i]))
		case i == len(b):
			return fmt.Sprintf("%s: the %s %s is missing", p.Where(at(a[i])), noun, text(a[i]))
		case a[i] != b[i]:
			return fmt.Sprintf("%s: the %s %s, not %s", p.Where(at(a[i])), noun, text(b[i]), text(a[i]))
		}
	}
	return ""
}

// marks is first for lists of marks, in order of time and, at one moment, of their texts.
func marks[T comparable](p *Passage, a, b []T, noun string, text func(T) string, at func(T) Time) string {
	sorted := func(list []T) []T {
		list = slices.Clone(list)
		slices.SortStableFunc(list, func(x, y T) int { return cmp.Or(at(x).Compare(at(y)), strings.Compare(text(x), text(y))) })
		return list
	}
	return first(p, sorted(a), sorted(b), noun, text, at)
}

// canonicalNotes returns notes in an order that leaves nothing free.
func canonicalNotes(notes []Note) []Note {
	notes = slices.Clone(notes)
	slices.SortStableFunc(notes, func(a, b Note) int {
		grace := cmp.Compare(b2i(b.Grace != NoGrace), b2i(a.Grace != NoGrace))
		if c := cmp.Or(a.Onset.Compare(b.Onset), grace, cmp.Compare(a.Bar, b.Bar)); c != 0 {
			return c
		}
		if a.Grace != NoGrace {
			return cmp.Or(cmp.Compare(a.Hand, b.Hand), cmp.Compare(a.Voice, b.Voice))
		}
		return cmp.Or(a.Pitch.Compare(b.Pitch), cmp.Compare(a.Hand, b.Hand), cmp.Compare(a.Voice, b.Voice), a.Duration.Compare(b.Duration),
			cmp.Compare(b2i(a.TieFrom), b2i(b.TieFrom)), cmp.Compare(b2i(a.TieTo), b2i(b.TieTo)), cmp.Compare(b2i(a.Cue), b2i(b.Cue)))
	})
	return notes
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func barText(b Bar) string {
	return fmt.Sprintf("%q of %s, from %s on, %s long after %s", b.Number, b.Meter, b.Start, b.Length, b.Offset)
}

func noteText(n Note) string {
	s := fmt.Sprintf("%s of %s %d, %s long", n.Pitch, n.Hand, n.Voice, n.Duration)
	for _, f := range []struct {
		on   bool
		text string
	}{{n.TieFrom, "tied from before"}, {n.TieTo, "tied on"}, {n.Grace == Appoggiatura, "grace"}, {n.Grace == Acciaccatura, "grace with a slash"},
		{n.After, "after its note"}, {n.Together, "together with the one before"}, {n.Cue, "cue"}} {
		if f.on {
			s += ", " + f.text
		}
	}
	return fmt.Sprintf("%s (at %s in bar %d of the passage)", s, n.Onset, n.Bar+1)
}

func keyText(k KeyChange) string {
	if !k.Declared {
		return k.Key.String() + " by its signature"
	}
	return k.Key.String()
}

func tempoText(t Tempo) string { return fmt.Sprintf("of %v quarter notes a minute", t.Quarters) }

func dynamicText(d Dynamic) string {
	s := fmt.Sprintf("%q", d.Text)
	if d.Hand != 0 {
		s += " of the " + d.Hand.String()
	}
	if d.At.Less(d.Until) {
		s += fmt.Sprintf(", from %s to %s", d.At, d.Until)
	}
	return s
}

func pedalText(e Pedal) string { return e.Act.String() }

func harmonyText(h Harmony) string {
	return fmt.Sprintf("%q of kind %q, printed %q, inversion %d", h, h.Kind, h.Printed, h.Inverted)
}

func signText(s Sign) string {
	text := fmt.Sprintf("%q (%s, in bar %d of the passage at %s)", s, s.Kind, s.Bar+1, s.At)
	if s.Open {
		text += ", open"
	}
	if s.AfterJump {
		text += ", after a jump too"
	}
	return text
}
