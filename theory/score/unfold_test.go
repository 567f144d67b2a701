package score

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
)

// signed makes a passage of bars of 4/4 with one whole note each, from a text such as "1 |: 2 3 :|x3 [1] 4 ] DC". What stands before
// the first bar or after a number belongs to the bar before it if it ends something, else to the bar after it.
func signed(t *testing.T, text string) *Passage {
	t.Helper()
	p := &Passage{}
	var waiting []Sign
	for _, f := range strings.Fields(text) {
		before := func(s Sign) {
			s.Bar = len(p.Bars) - 1
			s.At = p.End()
			p.Signs = append(p.Signs, s)
		}
		word, label, _ := strings.Cut(f, "=")
		switch {
		case f == "|:":
			waiting = append(waiting, Sign{Kind: RepeatStart})
		case strings.HasPrefix(f, ":|"):
			s := Sign{Kind: RepeatEnd}
			fmt.Sscanf(f, ":|x%d", &s.Times)
			s.AfterJump = strings.HasSuffix(f, "!")
			before(s)
		case f == "]" || f == "]-":
			before(Sign{Kind: EndingEnd, Open: f == "]-"})
		case strings.HasPrefix(f, "["):
			waiting = append(waiting, Sign{Kind: EndingStart, Numbers: strings.Trim(f, "[]")})
		case word == "segno":
			waiting = append(waiting, Sign{Kind: Segno, Label: label})
		case word == "coda":
			waiting = append(waiting, Sign{Kind: Coda, Label: label})
		case word == "DC":
			before(Sign{Kind: DaCapo, Text: strings.ReplaceAll(label, "_", " ")})
		case word == "DS":
			before(Sign{Kind: DalSegno, Label: label})
		case word == "DSalCoda":
			before(Sign{Kind: DalSegno, Label: label, Text: "D.S. al Coda"})
		case word == "tocoda":
			before(Sign{Kind: ToCoda, Label: label})
		case f == "fine":
			before(Sign{Kind: Fine})
		default:
			i := len(p.Bars)
			p.Bars = append(p.Bars, Bar{Number: f, Start: Quarters(4 * i), Length: Quarters(4), Meter: Meter{Beats: 4, Unit: 4}})
			p.Notes = append(p.Notes, Note{Pitch: pitch.FromMIDI(40+i, false), Onset: Quarters(4 * i), Duration: Quarters(4), Hand: Right, Voice: 1, Bar: i})
			for _, s := range waiting {
				s.Bar, s.At = i, Quarters(4*i)
				p.Signs = append(p.Signs, s)
			}
			waiting = nil
		}
	}
	p.Sort()
	return p
}

// The order of bars as played; common practice, no source, but for the two of the MusicXML test suite (45a and 45b), whose
// descriptions say "A simple, repeated measure (repeated 5 times)" and "A simple repeat with two alternative endings", and
// for what the annotation of <sound> in musicxml.xsd says of dacapo, dalsegno, tocoda and fine.
func TestUnfold(t *testing.T) {
	for _, c := range []struct{ written, played string }{
		{"1 2 3", "1 2 3"},
		{"1 :|x5 2", "1 1 1 1 1 2"},
		{"1 [1] 2 :| ] [2] 3 ]- 4", "1 2 1 3 4"},
		{"1 |: 2 3 :| 4", "1 2 3 2 3 4"},
		{"1 2 :| 3 4 :| 5", "1 2 1 2 3 4 3 4 5"},
		{"|: 1 2 :| |: 3 4 :|", "1 2 1 2 3 4 3 4"},
		{"|: 1 :|x1 2", "1 2"},
		{"1 |: 2", "1 2"},
		{"|: 1 [1,2] 2 ] :| [3] 3 ] 4", "1 2 1 2 1 3 4"},
		{"|: 1 [1-3] 2 ] :| [4] 3 ]", "1 2 1 2 1 2 1 3"},
		{"|: 1 [1.] 2 ] :| 3", "1 2 1 3"},
		{"|: 1 [1,2] 2 ] :| 3", "1 2 1 2 1 3"},
		{"|: 1 [] 2 ] :| [] 3 ] 4", "1 2 1 3 4"},
		{"|: 1 [1] 2 :| [2] 3 ]- 4 5 :| 6", "1 2 1 3 4 5 4 5 6"}, // the first bracket is never closed
		{"1 [1] 2 ] :| [2] 3 4 5 ] :| [3] 6 ] :| [4] 7 ] :| [5] 8 ]- 9", "1 2 1 3 4 5 1 6 1 7 1 8 9"},
		{"1 2 DC", "1 2 1 2"},
		{"1 fine 2 DC", "1 2 1"},
		{"|: 1 2 :| fine |: 3 4 :| DC", "1 2 1 2 3 4 3 4 1 2"},
		{"|: 1 2 :| fine 3 DC=da_capo_con_ripetizione", "1 2 1 2 3 1 2 1 2"},
		{"|: 1 2 :|x3! fine 3 DC", "1 2 1 2 1 2 3 1 2 1 2 1 2"},
		{"|: 1 [1] 2 ] :| [2] 3 ] fine 4 DC", "1 2 1 3 4 1 3"},
		{"1 segno 2 3 fine 4 DS 5", "1 2 3 4 2 3"},
		{"1 segno 2 3 DS 4", "1 2 3 2 3 4"},
		{"1 segno 2 tocoda 3 DSalCoda coda 4", "1 2 3 2 4"},
		{"1 fine 2 tocoda 3 DC=D.C._al_Coda coda 4", "1 2 3 1 2 4"},
		{"1 tocoda 2 fine 3 DC=D.C._al_Fine coda 4", "1 2 3 1 2"},
		{"segno=a 1 segno=b 2 3 DS=a 4 DS=b 5", "1 2 3 1 2 3 4 2 3 4 5"},
		{"segno 1 2 DS segno 3 4 DS 5", "1 2 1 2 3 4 3 4 5"},
		{"1 |: 2 :| DC", "1 2 2 1 2"},
		{"[2] 1 ] 2", "2"}, // nonsense ends
	} {
		q, err := signed(t, c.written).Unfold()
		if err != nil {
			t.Errorf("%s: %v", c.written, err)
			continue
		}
		var got []string
		for i, b := range q.Bars {
			got = append(got, b.Number)
			if b.Start != Quarters(4*i) || q.Notes[i].Bar != i || q.Notes[i].Onset != b.Start || len(q.Notes) != len(q.Bars) {
				t.Errorf("%s: bar %d is %+v with %+v", c.written, i, b, q.Notes[i])
			}
		}
		if s := strings.Join(got, " "); s != c.played {
			t.Errorf("%s: played %s; want %s", c.written, s, c.played)
		}
		if len(q.Signs) > 0 {
			t.Errorf("%s: signs %v are left", c.written, q.Signs)
		}
	}
	for _, c := range []struct{ written, want string }{
		{"1 DS", "score: bar 1: a dal segno, but there is no segno"},
		{"1 tocoda 2 DC", "score: bar 1: To Coda, but there is no coda"},
		{"1 :|x1000 2 :|x1000 3 4 5 6 7 8 9 10 :|x1000", ""},
		{strings.Repeat("1 :|x1000 ", 101), "score: unfolded, the passage would have more than 100000 bars"},
	} {
		_, err := signed(t, c.written).Unfold()
		if got := fmt.Sprint(err); c.want != "" && got != c.want || c.want == "" && err != nil {
			t.Errorf("%.20s: %v; want %q", c.written, err, c.want)
		}
	}
}

// Marks go along, what is in force is said again, ties over a seam are cut, and a repeat sign may cut a bar.
func TestUnfoldMarks(t *testing.T) {
	p := someNotes(t, "r1 C4 0 4 >", "r1 C4 4 2 <", "r1 D4 6 2 >", "r1 D4 8 4 <", "r1 E4 8 0 *")
	for i := range 3 {
		p.Bars = append(p.Bars, Bar{Number: fmt.Sprint(i + 1), Start: Quarters(4 * i), Length: Quarters(4), Meter: Meter{Beats: 4, Unit: 4}})
	}
	for i := range p.Notes {
		p.Notes[i].Bar = int(p.Notes[i].Onset.Num()) / 4
	}
	a := key.Key{Tonic: pitch.Class{Letter: pitch.A}}
	p.Keys = []KeyChange{{Key: key.Key{}, Declared: true}, {At: Quarters(7), Key: a}}
	p.Tempos = []Tempo{{Quarters: 60}, {At: Quarters(6), Quarters: 90}}
	p.Dynamics = []Dynamic{{At: Quarters(0), Text: "p"}, {At: Quarters(6), Until: Quarters(10), Text: "louder"}}
	p.Pedals = []Pedal{{Quarters(5), PedalDown}, {Quarters(9), PedalUp}}
	p.Harmonies = []Harmony{{At: Quarters(6), Kind: "minor", Root: pitch.Class{Letter: pitch.D}}}
	p.Signs = []Sign{{At: Quarters(4), Bar: 1, Kind: RepeatStart}, {At: Quarters(6), Bar: 1, Kind: RepeatEnd}}
	before := fmt.Sprintf("%+v", p)
	q, err := p.Unfold()
	if err != nil {
		t.Fatal(err)
	}
	if after := fmt.Sprintf("%+v", p); after != before {
		t.Errorf("Unfold changed its passage")
	}
	var bars []string
	for _, b := range q.Bars {
		bars = append(bars, fmt.Sprintf("%s: %s +%s after %s", b.Number, b.Start, b.Length, b.Offset))
	}
	same := func(what string, got, want any) {
		t.Helper()
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s:\ngot  %v\nwant %v", what, got, want)
		}
	}
	same("bars", bars, []string{"1: 0 +4 after 0", "2: 4 +2 after 0", "2: 6 +4 after 0", "3: 10 +4 after 0"})
	same("notes", noteTexts(q.Notes), []string{"r1 C4 0 4 tied", "r1 C4 4 2 tied", "r1 C4 6 2", "r1 D4 8 2 tied", "r1 E4 10 0 *", "r1 D4 10 4 tied"})
	same("tempos", q.Tempos, []Tempo{{Quarters: 60}, {At: Quarters(8), Quarters: 90}})
	same("keys", q.Keys, []KeyChange{{Key: key.Key{}, Declared: true}, {At: Quarters(9), Key: a}})
	same("dynamics", q.Dynamics, []Dynamic{{Text: "p"}, {At: Quarters(8), Until: Quarters(12), Text: "louder"}})
	same("pedals", q.Pedals, []Pedal{{Quarters(5), PedalDown}, {Quarters(6), PedalUp}, {Quarters(7), PedalDown}, {Quarters(11), PedalUp}})
	same("harmonies", len(q.Harmonies), 1)

	x := p.Excerpt(Quarters(7), Quarters(10))
	bars = nil
	for _, b := range x.Bars {
		bars = append(bars, fmt.Sprintf("%s: %s +%s after %s", b.Number, b.Start, b.Length, b.Offset))
	}
	same("excerpt", bars, []string{"2: 0 +1 after 3", "3: 1 +2 after 0"})
	same("excerpt", noteTexts(x.Notes), []string{"r1 D4 0 1 tied", "r1 E4 1 0 *", "r1 D4 1 2 tied"})
	same("excerpt", x.Keys, []KeyChange{{Key: a}})
	same("excerpt", x.Tempos, []Tempo{{Quarters: 90}})
	same("excerpt", x.Dynamics, []Dynamic{{At: Time{}, Until: Quarters(3), Text: "louder"}})
	same("excerpt", x.Pedals, []Pedal{{Time{}, PedalDown}, {Quarters(2), PedalUp}})

	whole := signed(t, "1 |: 2 :| 3")
	if d := Diff(whole, whole.Excerpt(Time{}, whole.End())); d != "" {
		t.Errorf("all of it isn't the same: %s", d)
	}
	if y := whole.Excerpt(Quarters(4), Quarters(8)); len(y.Bars) != 1 || y.Bars[0].Number != "2" || len(y.Signs) != 2 || y.Signs[1].At != Quarters(4) || y.Signs[1].Bar != 0 {
		t.Errorf("bar 2 of three: %+v", y)
	}
	if y := whole.Excerpt(Quarters(4), Quarters(4)); len(y.Bars) != 0 {
		t.Errorf("nothing of it: %+v", y)
	}
	if y, err := (&Passage{}).Unfold(); err != nil || len(y.Bars) != 0 {
		t.Errorf("no bars: %+v, %v", y, err)
	}
}

// Each field of the model is seen by Diff, and only order that is free is not.
func TestDiff(t *testing.T) {
	make := func() *Passage {
		p := signed(t, "1 |: 2 :| 3")
		p.Notes = append(p.Notes, Note{Pitch: pitch.FromMIDI(60, false), Onset: Quarters(4), Hand: Left, Voice: 1, Bar: 1, Grace: Appoggiatura},
			Note{Pitch: pitch.FromMIDI(62, false), Onset: Quarters(4), Hand: Right, Voice: 1, Bar: 1, Grace: Appoggiatura})
		p.Keys = []KeyChange{{}}
		p.Tempos = []Tempo{{Quarters: 60}}
		p.Dynamics = []Dynamic{{Text: "p"}, {Text: "cresc."}}
		p.Pedals = []Pedal{{Act: PedalDown}}
		p.Harmonies = []Harmony{{Kind: "major"}}
		return p
	}
	for i, change := range []func(p *Passage){
		func(p *Passage) { p.Title = "x" },
		func(p *Passage) { p.Bars[1].Number = "x" },
		func(p *Passage) { p.Bars[1].Offset = T(1, 2) },
		func(p *Passage) { p.Bars[2].Length = T(1, 2) },
		func(p *Passage) { p.Bars[2].Meter.Groups = []int{2, 2} },
		func(p *Passage) { p.Bars = p.Bars[:2] },
		func(p *Passage) { p.Notes = p.Notes[1:] },
		func(p *Passage) { p.Notes[0].Pitch.Letter++ },
		func(p *Passage) { p.Notes[0].Duration = T(1, 2) },
		func(p *Passage) { p.Notes[0].Hand = Left },
		func(p *Passage) { p.Notes[0].Voice = 2 },
		func(p *Passage) { p.Notes[0].Bar = 1 },
		func(p *Passage) { p.Notes[0].TieTo = true },
		func(p *Passage) { p.Notes[0].TieFrom = true },
		func(p *Passage) { p.Notes[0].Cue = true },
		func(p *Passage) { p.Notes[3].Grace = Acciaccatura },
		func(p *Passage) { p.Notes[3].After = true },
		func(p *Passage) { p.Notes[3].Together = true },
		func(p *Passage) { p.Keys[0].Declared = true },
		func(p *Passage) { p.Keys[0].Key.Mode = key.Minor },
		func(p *Passage) { p.Tempos[0].Quarters = 61 },
		func(p *Passage) { p.Dynamics[0].Hand = Left },
		func(p *Passage) { p.Dynamics[0].Until = T(1, 2) },
		func(p *Passage) { p.Pedals[0].Act = PedalUp },
		func(p *Passage) { p.Harmonies[0].Printed = "maj" },
		func(p *Passage) { p.Signs[0].Times = 3 },
		func(p *Passage) { p.Signs = p.Signs[1:] },
	} {
		a, b := make(), make()
		if d := Diff(a, b); d != "" {
			t.Fatalf("the same passage twice: %s", d)
		}
		change(b)
		if Diff(a, b) == "" || Diff(b, a) == "" {
			t.Errorf("change %d isn't seen", i)
		}
	}
	a, b := make(), make()
	slices.Reverse(b.Dynamics)
	b.Notes[3], b.Notes[4] = b.Notes[4], b.Notes[3]
	b.Source, b.Parts, b.Warnings = "x", []Part{{}}, []string{"x"}
	if d := Diff(a, b); d != "" {
		t.Errorf("only the order is another: %s", d)
	}
}

func TestMarkNames(t *testing.T) {
	for _, c := range []struct {
		got  fmt.Stringer
		want string
	}{
		{PedalDown, "down"}, {Sostenuto, "sostenuto"}, {PedalAct(9), "%!PedalAct(9)"}, {PedalAct(0), "%!PedalAct(0)"},
		{DaCapo, "D.C."}, {SignKind(99), "%!SignKind(99)"}, {SignKind(-1), "%!SignKind(-1)"},
		{Sign{Kind: RepeatEnd, Times: 3}, "repeat, 3 times"}, {Sign{Kind: DalSegno, Text: "D.S. al Fine"}, `"D.S. al Fine"`},
		{Sign{Kind: EndingStart, Numbers: "1, 2"}, "ending 1, 2"},
		{Harmony{Kind: "minor-seventh", Root: pitch.Class{Letter: pitch.F, Alter: 1}}, "F#m7"},
		{Harmony{Kind: "dominant", Root: pitch.Class{Letter: pitch.G}, HasBass: true, Bass: pitch.Class{Letter: pitch.B}}, "G7/B"},
		{Harmony{Kind: "dominant", Numeral: "V"}, "V7"}, {Harmony{Kind: "none"}, "N.C."},
		{Harmony{Kind: "major", Printed: "Δ", Degrees: "add b9"}, "CΔ(add b9)"}, {Harmony{Kind: "odd"}, "C odd"},
	} {
		if got := c.got.String(); got != c.want {
			t.Errorf("%#v is %q; want %q", c.got, got, c.want)
		}
	}
}
