package musicxml

import (
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"plumbline/theory/score"
)

// say writes a direction with its types and what follows them.
func say(types, rest string) string {
	return "<direction><direction-type>" + types + "</direction-type>" + rest + "</direction>"
}

func signTexts(p *score.Passage) []string {
	out := []string{}
	for _, s := range p.Signs {
		text := fmt.Sprintf("%d %s: %s", s.Bar, s.At, s)
		if s.Open {
			text += " open"
		}
		if s.AfterJump {
			text += " after a jump"
		}
		out = append(out, text)
	}
	return out
}

// Each by the annotations of repeat, ending, sound and barline in musicxml.xsd.
func TestSigns(t *testing.T) {
	w := n("C4", 16)
	for _, c := range []struct {
		name     string
		measures []string
		want     []string
	}{
		{"repeat", []string{w, `<barline location="left"><repeat direction="forward"/></barline>` + w + `<barline location="right"><repeat direction="backward" times="3"/></barline>`},
			[]string{"1 4: start of repeat", "1 8: repeat, 3 times"}},
		{"endings", []string{`<barline location="left"><ending number="1, 2" type="start">1.-2.</ending></barline>` + w + `<barline><ending number="1, 2" type="stop"/><repeat direction="backward" after-jump="yes"/></barline>`,
			`<barline location="left"><ending number="3" type="start"/></barline>` + w + `<barline><ending number="3" type="discontinue"/></barline>`},
			[]string{`0 0: "1.-2." 1, 2`, "0 4: repeat after a jump", "0 4: end of ending", "1 4: ending 3", "1 8: end of ending open"}},
		{"within a bar", []string{n("C4", 8) + `<barline location="middle"><repeat direction="backward"/></barline>` + n("C4", 8)}, []string{"0 2: repeat"}},
		{"da capo in words and sound", []string{w + say(`<words>D.C. al</words><words>Fine</words>`, `<sound dacapo="yes"/>`)}, []string{`0 4: "D.C. al Fine"`}},
		{"in words only", []string{w + say(`<words>Da Capo</words>`, "") + say(`<words>Fine</words>`, ""), w + say(`<words>dal segno</words>`, ""), w + say(`<words>To Coda</words>`, ""),
			w + say(`<words>allarg. al fine</words>`, "") + say(`<words>D.S. al Coda</words>`, "")},
			[]string{`0 4: Fine`, `0 4: "Da Capo"`, `1 8: "dal segno"`, `2 12: To Coda`, `3 16: "D.S. al Coda"`}},
		{"in sound only", []string{`<sound segno="segno"/>` + w + `<sound fine="yes"/>`, `<sound coda="x"/>` + w + `<sound dalsegno="segno"/>`},
			[]string{"0 0: segno", "0 4: Fine", "1 4: coda", "1 8: D.S."}},
		{"drawn", []string{say("<segno/>", "") + w + say("<coda/>", ""), `<barline location="left"><coda/></barline>` + say("<coda/>", `<sound coda="c"/>`) + w},
			[]string{"0 0: segno", "0 4: coda", "1 4: coda", `1 4: coda "c"`}},
		{"a coda sign that sounds as to coda", []string{say("<segno/>", `<sound segno="s"/>`) + w + say("<coda/>", `<sound tocoda="c"/>`)}, []string{"0 0: segno", "0 4: To Coda"}},
		{"labels tell segnos apart", []string{say("<segno/>", `<sound segno="a"/>`) + w, say("<segno/>", `<sound segno="segno"/>`) + w + say("<words>D.S.</words>", `<sound dalsegno="a"/>`)},
			[]string{`0 0: segno "a"`, `1 8: D.S. "a"`, `1 4: segno`}},
		{"an implied start", []string{w, `<sound forward-repeat="yes"/>` + w}, []string{"1 4: start of repeat"}},
	} {
		p := mustRead(t, one(common, c.measures...), Options{})
		got := signTexts(p)
		if c.name == "labels tell segnos apart" {
			got[1], got[2] = got[2], got[1]
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", c.name, got, c.want)
		}
	}
	// Jumps stand over the top part; repeats in every part.
	voice := n("C5", 16) + say("<words>Fine</words>", "") + `<barline><repeat direction="backward"/></barline>`
	two := strings.Replace(one(common+"<staves>2</staves>", w+`<barline><repeat direction="backward"/></barline>`), `<part-list>`, `<part-list><score-part id="V"><part-name>Voice</part-name></score-part>`, 1)
	two = strings.Replace(two, `<part id="P1">`, `<part id="V"><measure number="1"><attributes>`+common+`</attributes>`+voice+`</measure></part><part id="P1">`, 1)
	if got, want := signTexts(mustRead(t, two, Options{})), []string{"0 4: repeat", `0 4: Fine`}; !reflect.DeepEqual(got, want) {
		t.Errorf("two parts: %q; want %q", got, want)
	}
	for _, c := range []struct{ measure, want string }{
		{`<barline><repeat direction="backward" times="-1"/></barline>`, `a repeat of "-1" times; want a whole number up to 1000`},
		{`<barline><repeat direction="backward" times="2000"/></barline>`, `a repeat of "2000" times`},
		{`<harmony><root><root-step>H</root-step></root><kind>major</kind></harmony>`, `root-step "H"; letters are A to G`},
		{`<harmony><root><root-step>C</root-step><root-alter>9</root-alter></root><kind>major</kind></harmony>`, `root-alter "9"; want a number of semitones from -3 to 3`},
		{`<harmony><root><root-step>C</root-step></root><kind>major</kind><degree><degree-value>9</degree-value><degree-type>more</degree-type></degree></harmony>`, `degree-type "more"`},
	} {
		if _, err := Read(strings.NewReader(one(common, c.measure+w)), Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q", c.measure, err, c.want)
		}
	}
}

func TestPedalAndHarmony(t *testing.T) {
	p := mustRead(t, one(common+"<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>",
		say(`<pedal type="start"/>`, "")+`<harmony><root><root-step>G</root-step><root-alter>1</root-alter></root><kind text="m7">minor-seventh</kind><bass><bass-step>C</bass-step></bass>`+
			`<degree><degree-value>5</degree-value><degree-alter>-1</degree-alter><degree-type>alter</degree-type></degree><degree><degree-value>9</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree></harmony>`+
			n("C4", 8)+say(`<pedal type="change"/>`, "<offset>4</offset>")+
			`<harmony><numeral><numeral-root text="V">5</numeral-root></numeral><kind>dominant</kind><inversion>1</inversion><offset>2</offset></harmony><harmony><root><root-step>C</root-step></root><kind>none</kind></harmony>`+n("C4", 8)+
			say(`<pedal type="start"/>`, "")+say(`<pedal type="discontinue"/>`, "")+say(`<pedal type="stop"/>`, ""),
		`<harmony><root><root-step>C</root-step></root><kind>spicy</kind><root><root-step>D</root-step></root><kind>minor</kind></harmony><harmony><function>ii</function><kind>minor</kind></harmony>`+n("C4", 16)+say(`<pedal type="sostenuto"/>`, "")), Options{})
	var got []string
	for _, e := range p.Pedals {
		got = append(got, e.At.String()+" "+e.Act.String())
	}
	if want := []string{"0 down", "3 change", "4 up", "4 down", "8 sostenuto"}; !reflect.DeepEqual(got, want) {
		t.Errorf("pedal %q; want %q", got, want)
	}
	got = nil
	for _, h := range p.Harmonies {
		got = append(got, fmt.Sprintf("%s %s %s %d", h.At, h, h.Kind, h.Inverted))
	}
	if want := []string{"0 F#m7(alter b5, add 9)/Bb minor-seventh 0", "2 N.C. none 0", "2 1/2 V7 dominant 1", "4 Bbspicy other 0", "4 Cm minor 0", "4 iim minor 0"}; !reflect.DeepEqual(got, want) {
		t.Errorf("harmonies %q; want %q", got, want)
	}
	if len(p.Warnings) != 1 || !strings.Contains(p.Warnings[0], "spicy") {
		t.Errorf("warnings %q", p.Warnings)
	}
}

// Grace notes: chords of them, and those that end a note. In 24d of the suite steal-time-previous means that, as the
// description says ("After-graces"); in 24c a bar ends with two.
func TestGraceKinds(t *testing.T) {
	p := mustRead(t, one(common, n("C4", -1, "grace")+n("E4", -1, "grace", "chord")+n("D4", -1, "grace")+n("C5", 8)+
		`<note><grace steal-time-previous="20"/><pitch><step>B</step><octave>4</octave></pitch></note>`+n("C5", 8)+n("D5", -1, "grace")+n("E5", -1, "slash")), Options{})
	var got []string
	for _, n := range p.Notes {
		if n.Grace != score.NoGrace {
			got = append(got, fmt.Sprintf("%s %s after %t together %t", n.Onset, n.Pitch, n.After, n.Together))
		}
	}
	want := []string{"0 C4 after false together false", "0 E4 after false together true", "0 D4 after false together false",
		"2 B4 after true together false", "4 D5 after true together false", "4 E5 after true together false"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	for name, want := range map[string]int{"24c-GraceNote-MeasureEnd.xml": 2, "24d-AfterGrace.xml": 3} {
		p, err := ReadFile(filepath.Join(corpus(t, "conformance"), name), Options{})
		if err != nil {
			t.Fatal(err)
		}
		after := 0
		for _, n := range p.Notes {
			if n.After {
				after++
			}
		}
		if after != want {
			t.Errorf("%s: %d after-graces; want %d", name, after, want)
		}
	}
}

// The orders of bars by the descriptions of the suite: "A simple, repeated measure (repeated 5 times)"; "A simple repeat
// with two alternative endings (volta brackets)"; "A forward-repeating bar line without an ending repeat bar".
func TestUnfoldConformance(t *testing.T) {
	for name, want := range map[string]string{
		"45a-SimpleRepeat.xml": "1 1 1 1 1 2", "45b-RepeatWithAlternatives.xml": "1 2 1 3 4", "45g-Repeats-NotEnded.xml": "1 2",
	} {
		p, err := ReadFile(filepath.Join(corpus(t, "conformance"), name), Options{})
		if err != nil {
			t.Fatal(err)
		}
		q, err := p.Unfold()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var got []string
		for _, b := range q.Bars {
			got = append(got, b.Number)
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s is played %s; want %s", name, s, want)
		}
	}
}
