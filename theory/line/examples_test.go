package line

import (
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// TestWorkedExamples checks the worked examples of the kinds sequence, bass-pattern, melodic-sequence and compound-melody;
// sources in testdata/worked-examples.tsv. There are none of a kind voice-leading there. What an example must give is
// written here from its expected answer: the schema and how many of its chords it covers, or the model and its copies.
func TestWorkedExamples(t *testing.T) {
	rows := exampleRows(t, "sequence", "bass-pattern", "melodic-sequence", "compound-melody", "voice-leading")
	want := map[string]struct {
		schema string
		chords int
		found  bool // found in the notes by FindSequences as well, where they have octaves
	}{
		"ex165": {"desc5-triads", 8, true},
		"ex166": {"desc5-triads", 8, true},
		"ex168": {"desc2-76", 8, true},
		"ex170": {"desc3-pachelbel-inv", 6, true},
		"ex171": {"parallel-63", 6, true},
		"ex172": {"desc5-triads", 5, true},
		"ex173": {"desc5-triads", 8, false},
		"ex175": {"asc2-56", 6, false},
		"ex176": {"desc5-triads", 6, false},
		"ex177": {"real-desc5", 7, false},
		"ex179": {"prinner", 4, false},
		"ex180": {"romanesca", 4, false},
		"ex182": {"monte", 4, true},
		"ex183": {"meyer", 4, false},
		"ex184": {"lament-chrom", 6, false},
		"ex186": {"lament", 4, false},
	}
	melodic := map[string]struct {
		size, copies int
		likeness     Likeness
	}{"ex187": {3, 3, Diatonic}, "ex188": {4, 2, Diatonic}, "ex189": {2, 2, Transposed}} // so far as written, the fifths are all perfect
	for id, row := range rows {
		input, kind := row[2], row[1]
		switch {
		case kind == "melodic-sequence":
			var l Line
			p := &score.Passage{}
			at := 0
			for i, bar := range strings.Split(input, "|") {
				start := at
				for _, n := range melody(t, bar) {
					n.Onset, n.Bar = score.Quarters(at), i
					at++
					l = append(l, n)
				}
				p.Bars = append(p.Bars, score.Bar{Number: "1", Start: score.Quarters(start), Length: score.Quarters(at - start), Meter: score.Meter{Beats: at - start, Unit: 4}})
			}
			p.Notes = l
			got := FindSequences(p.Sounding(), whole(p), p)
			m := melodic[id]
			if !slices.ContainsFunc(got, func(s Sequence) bool {
				return s.Layer == score.TopLine && s.Size == m.size && s.Copies == m.copies && s.Likeness == m.likeness && s.Interval.Steps == 1
			}) {
				t.Errorf("%s: FindSequences(%s) = %v; want a model of %d notes and %d copies, each a step higher, %v", id, input, got, m.size, m.copies, m.likeness)
			}
		case id == "ex310": // the implied voices of broken chords; the figure is ours, the example gives bar chords
			var notes []score.Note
			var bounds []score.Time
			list := strings.Split(strings.TrimPrefix(input, "bar chords (low, middle, top): "), "|")
			for i, bar := range list {
				ps := melody(t, bar)
				for k, j := range []int{0, 1, 2, 1, 2, 1, 2, 1} {
					n := ps[j]
					n.Onset, n.Duration, n.Bar = score.T(int64(8*i+k), 2), score.T(1, 2), i
					notes = append(notes, n)
				}
				bounds = append(bounds, score.Quarters(4*i))
			}
			bounds = append(bounds, score.Quarters(4*len(list)))
			got := Implied(notes, bounds)
			var texts []string
			for _, l := range got {
				texts = append(texts, names(l))
			}
			if want := "G2 G2 G2 G2; D3 E3 F#3 G3; B3 C4 C4 B3"; strings.Join(texts, "; ") != want {
				t.Errorf("%s: Implied = %q; want %q", id, strings.Join(texts, "; "), want)
			}
		default:
			w, ok := want[id]
			if !ok {
				t.Errorf("%s: a new example of the kind %s: say what it must give", id, kind)
				continue
			}
			var chords []Chord
			input, _, _ = strings.Cut(input, " (")
			switch {
			case strings.HasPrefix(input, "bass "):
				b, s, _ := strings.Cut(strings.TrimPrefix(input, "bass "), " / soprano ")
				var ps [2][]pitch.Pitch
				for i, part := range []string{b, s} {
					for _, n := range melody(t, part) {
						ps[i] = append(ps[i], n.Pitch)
					}
				}
				for i := range ps[0] {
					c := Chord{Bass: ps[0][i].Class(), Bassed: true}
					if i < len(ps[1]) {
						c.Top, c.Topped = ps[1][i].Class(), true
					}
					chords = append(chords, c)
				}
			case strings.Contains(input, "|"):
				chords = voicings(t, input)
			case strings.ContainsAny(input, "0123456789"):
				chords = OuterChords(classes(t, input), nil)
			default:
				chords = RootChords(classes(t, input))
			}
			if got := Schemata(chords); !has(got, w.schema, w.chords) {
				t.Errorf("%s: Schemata(%s) = %+v; want %s over %d chords", id, input, got, w.schema, w.chords)
			}
			if !w.found {
				continue
			}
			var p *score.Passage
			if strings.Contains(input, "|") {
				p = passageOf(t, input)
			} else {
				b, s, _ := strings.Cut(strings.TrimPrefix(input, "bass "), " / soprano ")
				bs, ss := strings.Fields(b), strings.Fields(s)
				var list []string
				for i := range min(len(bs), len(ss)) {
					list = append(list, bs[i]+" / "+ss[i])
				}
				p = passageOf(t, strings.Join(list, "|"))
			}
			got := FindSequences(p.Sounding(), whole(p), p)
			if !slices.ContainsFunc(got, func(s Sequence) bool {
				return slices.ContainsFunc(s.Names, func(m Schema) bool { return m.ID == w.schema && m.To-m.From >= w.chords })
			}) {
				t.Errorf("%s: FindSequences(%s) = %v; want %s over %d chords", id, input, got, w.schema, w.chords)
			}
		}
	}
	if len(rows) != len(want)+len(melodic)+1 {
		t.Errorf("%d examples; want %d", len(rows), len(want)+len(melodic)+1)
	}
}
