package harmony

import (
	"fmt"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// Analyze divides p into spans of one chord each and reads them with the tables that ship. p must not be changed while the
// result is in use. A passage without notes gives an analysis without spans.
func Analyze(p *score.Passage) *Analysis { return New(p).Analyze() }

// Read reads the given spans of p with the tables that ship. They must be in order of time.
func Read(p *score.Passage, spans []Span) *Analysis { return Shipped().Read(New(p), spans) }

// Analyze divides the music into spans and reads them with the tables that ship.
func (m *Music) Analyze() *Analysis { return Shipped().Analyze(m) }

// Analyze divides the music into spans and reads them.
func (t *Tables) Analyze(m *Music) *Analysis { return t.Read(m, t.Segment(m)) }

// With reads the stretch from <= t < to as one span, between the other spans of a, which are cut where they overlap it. It
// returns the new analysis and the index of the span in it: a itself if that has such a span, and -1 if the stretch is empty.
func (a *Analysis) With(from, to score.Time) (*Analysis, int) {
	if !from.Less(to) {
		return a, -1
	}
	var spans []Span
	at := -1
	put := func() {
		if at < 0 {
			at = len(spans)
			spans = append(spans, Span{from, to})
		}
	}
	for i, h := range a.Spans {
		s := h.Span
		if s.From == from && s.To == to {
			return a, i
		}
		if s.From.Less(from) {
			spans = append(spans, Span{s.From, s.To.Min(from)})
		}
		if from.Less(s.To) {
			put()
		}
		if to.Less(s.To) {
			spans = append(spans, Span{s.From.Max(to), s.To})
		}
	}
	put()
	return a.tables.Read(a.Music, spans), at
}

// Chord returns the first reading of span i. It is false if there is none: nothing sounds, or i is out of range.
func (a *Analysis) Chord(i int) (Chord, bool) {
	if i < 0 || i >= len(a.Spans) || len(a.Spans[i].Readings) == 0 {
		return Chord{}, false
	}
	return a.Spans[i].Readings[0].Chord, true
}

// At returns the index of the span that holds the moment at, -1 if none does.
func (a *Analysis) At(at score.Time) int {
	for i, s := range a.Spans {
		if !at.Less(s.Span.From) && at.Less(s.Span.To) {
			return i
		}
	}
	return -1
}

// Overlapping returns the indices of the spans that have a part in from <= t < to, as first <= i < end.
func (a *Analysis) Overlapping(from, to score.Time) (first, end int) {
	first = len(a.Spans)
	for i, s := range a.Spans {
		if s.Span.From.Less(to) && from.Less(s.Span.To) {
			first, end = min(first, i), i+1
		}
	}
	return min(first, end), end
}

// An Area is a run of spans in one key: From to To, both included.
type Area struct {
	From, To int
	Key      key.Key
}

// Areas returns the keys of a passage one after the other.
func (a *Analysis) Areas() []Area {
	var out []Area
	for i, s := range a.Spans {
		if n := len(out); n > 0 && out[n-1].Key == s.Key {
			out[n-1].To = i
			continue
		}
		out = append(out, Area{i, i, s.Key})
	}
	return out
}

// Home returns the main key: the one that most of the time is in, the last area counting twice. It is false for a passage
// without spans.
func (a *Analysis) Home() (key.Key, bool) {
	time := map[key.Key]float64{}
	var best key.Key
	areas := a.Areas()
	for n, r := range areas {
		for i := r.From; i <= r.To; i++ {
			d := a.ev[i].b - a.ev[i].a
			if n == len(areas)-1 {
				d *= 2
			}
			time[r.Key] += d
		}
		if n == 0 || time[r.Key] > time[best]+eps {
			best = r.Key
		}
	}
	return best, len(areas) > 0
}

// A Tonicization is a degree that is a tonic in passing: spans From to To are chords applied to it, and the chord on the degree
// follows if Arrives.
type Tonicization struct {
	From, To int
	Key      key.Key // that of the spans
	Degree   int
	Tonic    pitch.Class
	Arrives  bool
}

// Tonicizations returns the degrees that applied chords point to, inside the keys of the passage.
func (a *Analysis) Tonicizations() []Tonicization {
	var out []Tonicization
	for i := range a.Spans {
		r := a.Role(i)
		if r.Numeral.Kind != key.Applied {
			continue
		}
		k, d := a.Spans[i].Key, r.Numeral.Of
		if n := len(out); n > 0 && out[n-1].To == i-1 && out[n-1].Key == k && out[n-1].Degree == d {
			out[n-1].To = i
		} else {
			out = append(out, Tonicization{From: i, To: i, Key: k, Degree: d, Tonic: k.Class(d, 0)})
		}
		t := &out[len(out)-1]
		t.Arrives = false
		if j := a.nextDifferent(i); j >= 0 {
			t.Arrives = a.Spans[j].Readings[0].Chord.Root == t.Tonic
		}
	}
	return out
}

// A Doubt says that the notes speak for another main key than the one that is declared.
type Doubt struct {
	Declared, Rather key.Key
	Why              string
}

// Doubt compares the key that the source or the analyst declares with the one that the notes alone speak for. It is false if none is
// declared, or the notes agree. Signatures alone declare nothing.
func (a *Analysis) Doubt() (Doubt, bool) {
	if len(a.Spans) == 0 {
		return Doubt{}, false
	}
	d := Doubt{}
	declared := false
	for _, h := range a.Music.hints {
		if len(h.states) == 1 && h.weight > signatureHint && h.at <= a.ev[0].a+eps {
			d.Declared, declared = keyOf(h.states[0]), true
		}
	}
	if !declared {
		return Doubt{}, false
	}
	free := *a
	free.Spans = append([]Harmony(nil), a.Spans...)
	n := 0
	for i, s := range a.tables.path(nil, a.ev, a.read) {
		free.Spans[i].Key = keyOf(s)
		if free.Spans[i].Key == d.Declared {
			n++
		}
	}
	d.Rather, _ = free.Home()
	if d.Rather == d.Declared || 3*n >= len(a.Spans) {
		return Doubt{}, false
	}
	// A passage that comes home to the declared tonic is in its key, wherever it was.
	if c, ok := a.Chord(len(a.Spans) - 1); ok && c.Root == d.Declared.Tonic && c.Bass == c.Root {
		return Doubt{}, false
	}
	d.Why = fmt.Sprintf("%v is declared, but by its notes and chords most of the passage is in %v", d.Declared, d.Rather)
	if n == 0 {
		d.Why += fmt.Sprintf(", and none of it in %v", d.Declared)
	}
	return d, true
}
