package written_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/written"
)

// aBar lays out one voice from texts such as "C4 0 1/2": pitch, onset and length, and shows the events: value and dots, ratio,
// brackets, beams.
func aBar(t *testing.T, m score.Meter, texts ...string) []string {
	t.Helper()
	b := score.Bar{Number: "1", Length: m.Length(), Meter: m}
	var notes []score.Note
	for _, s := range texts {
		f := strings.Fields(s)
		p, err := pitch.Parse(f[0])
		on, ok := score.ParseTime(f[1])
		long, ok2 := score.ParseTime(f[2])
		if err != nil || !ok || !ok2 {
			t.Fatalf("%q: %v", s, err)
		}
		notes = append(notes, score.Note{Pitch: p, Onset: on, Duration: long, Hand: score.Right, Voice: 1})
	}
	var out []string
	for k, l := range written.Layers(notes, b, score.Right, 1) {
		for _, e := range l.Events {
			s := written.TypeNames[e.Value.Type] + strings.Repeat(".", e.Value.Dots)
			if len(e.Notes) == 0 {
				s = "r " + s
			}
			if e.Actual > 0 {
				s += fmt.Sprintf(" %d:%d", e.Actual, e.Normal)
			}
			for _, m := range e.Tuplets {
				if m.Start {
					s += fmt.Sprintf(" (%d %d:%d", m.Number, m.Actual, m.Normal)
					if m.Bracket {
						s += " bracket"
					}
				} else {
					s += fmt.Sprintf(" %d)", m.Number)
				}
			}
			if e.TieTo {
				s += " ~"
			}
			for _, b := range e.Beams {
				s += " " + map[string]string{"begin": "[", "continue": "=", "end": "]", "forward hook": ">", "backward hook": "<"}[b]
			}
			out = append(out, fmt.Sprint(strings.Repeat("+", k), e.At, " ", s))
		}
	}
	return out
}

// Values, tuplets and beams as an engraver sets them (common practice; the names of tuplets and beams are those of the
// schema's types time-modification, tuplet and beam).
func TestLayout(t *testing.T) {
	four, six, three := score.Meter{Beats: 4, Unit: 4}, score.Meter{Beats: 6, Unit: 8}, score.Meter{Beats: 3, Unit: 8}
	five := score.Meter{Beats: 5, Unit: 8, Groups: []int{3, 2}}
	for _, c := range []struct {
		name  string
		meter score.Meter
		notes []string
		want  []string
	}{
		{"nothing", four, nil, []string{"0 r "}},
		{"rests go by the beat", four, []string{"C4 1/2 1/2"}, []string{"0 r eighth", "1/2 eighth", "1 r quarter", "2 r half"}},
		{"in six eight by the dotted one", six, []string{"C4 1/2 1/2"}, []string{"0 r eighth", "1/2 eighth", "1 r eighth", "1 1/2 r quarter."}},
		{"dots", four, []string{"C4 0 3/2", "C4 3/2 1/2", "C4 2 7/4", "C4 15/4 1/4"}, []string{"0 quarter.", "1 1/2 eighth", "2 quarter..", "3 3/4 16th"}},
		{"a triplet", four, []string{"C4 0 1/3", "C4 1/3 1/3", "C4 2/3 1/3", "C4 1 3"},
			[]string{"0 eighth 3:2 (1 3:2 [", "1/3 eighth 3:2 =", "2/3 eighth 3:2 1) ]", "1 half."}},
		{"a triplet of a quarter and an eighth", four, []string{"C4 0 2/3", "C4 2/3 1/3", "C4 1 3"},
			[]string{"0 quarter 3:2 (1 3:2 bracket", "2/3 eighth 3:2 1)", "1 half."}},
		{"a triplet with a rest", four, []string{"C4 0 1/3", "C4 2/3 1/3", "C4 1 3"},
			[]string{"0 eighth 3:2 (1 3:2 bracket", "1/3 r eighth 3:2", "2/3 eighth 3:2 1)", "1 half."}},
		{"a triplet across two beats", four, []string{"C4 0 2/3", "C4 2/3 2/3", "C4 4/3 2/3", "C4 2 2"},
			[]string{"0 quarter 3:2 (1 3:2 bracket", "2/3 quarter 3:2", "1 1/3 quarter 3:2 1)", "2 half"}},
		{"five in three eighths", six, []string{"C4 0 3/10", "C4 3/10 3/10", "C4 3/5 3/10", "C4 9/10 3/10", "C4 6/5 3/10", "C4 3/2 3/2"},
			[]string{"0 eighth 5:3 (1 5:3 [", "3/10 eighth 5:3 =", "3/5 eighth 5:3 =", "9/10 eighth 5:3 =", "1 1/5 eighth 5:3 1) ]", "1 1/2 quarter."}},
		{"seven in a quarter", four, []string{"C4 0 1/7", "C4 1/7 1/7", "C4 2/7 1/7", "C4 3/7 1/7", "C4 4/7 1/7", "C4 5/7 1/7", "C4 6/7 1/7", "C4 1 3"},
			[]string{"0 16th 7:4 (1 7:4 [ [", "1/7 16th 7:4 = =", "2/7 16th 7:4 = =", "3/7 16th 7:4 = =", "4/7 16th 7:4 = =", "5/7 16th 7:4 = =", "6/7 16th 7:4 1) ] ]", "1 half."}},
		{"three in a third", four, []string{"C4 0 1/3", "C4 1/3 1/9", "C4 4/9 1/9", "C4 5/9 1/9", "C4 2/3 1/3", "C4 1 3"},
			[]string{"0 eighth 3:2 (1 3:2 [", "1/3 16th 9:4 (2 3:2 bracket = [", "4/9 16th 9:4 = =", "5/9 16th 9:4 2) = ]", "2/3 eighth 3:2 1) ]", "1 half."}},
		{"four in six eighths", six, []string{"C4 0 9/4", "C4 9/4 3/4"}, []string{"0 quarter. 2:3 (1 2:3 bracket", "2 1/4 eighth 2:3 1)"}},
		{"what no value can say is cut at the beat", four, []string{"C4 1/2 5/4"}, []string{"0 r eighth", "1/2 eighth ~", "1 eighth.", "1 3/4 r 16th", "2 r half"}},
		{"five quarters", score.Meter{Beats: 5, Unit: 4}, []string{"C4 0 5"}, []string{"0 whole ~", "4 quarter"}},
		{"beams by the beat", four, []string{"C4 0 1/2", "C4 1/2 1/2", "C4 1 1/2", "C4 3/2 1/2", "C4 2 2"},
			[]string{"0 eighth [", "1/2 eighth ]", "1 eighth [", "1 1/2 eighth ]", "2 half"}},
		{"hooks", four, []string{"C4 0 3/4", "C4 3/4 1/4", "C4 1 1/4", "C4 5/4 3/4", "C4 2 2"},
			[]string{"0 eighth. [", "3/4 16th ] <", "1 16th [ >", "1 1/4 eighth. ]", "2 half"}},
		{"three eight as a whole", three, []string{"C4 0 1/2", "C4 1/2 1/2", "C4 1 1/2"}, []string{"0 eighth [", "1/2 eighth =", "1 eighth ]"}},
		{"three and two", five, []string{"C4 0 1/2", "C4 1/2 1/2", "C4 1 1/2", "C4 3/2 1/2", "C4 2 1/2"}, []string{"0 eighth [", "1/2 eighth =", "1 eighth ]", "1 1/2 eighth [", "2 eighth ]"}},
		{"a chord", four, []string{"C4 0 4", "E4 0 4"}, []string{"0 whole"}},
		{"notes of different length need a second row", four, []string{"C4 0 4", "E4 0 1", "F4 1 1"}, []string{"0 whole", "+0 quarter", "+1 quarter"}},
	} {
		if got := aBar(t, c.meter, c.notes...); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", c.name, got, c.want)
		}
	}
}
