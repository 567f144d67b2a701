package musicxml

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
	"time"
	"unicode/utf16"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// one wraps measures, a string each, into a score of one part, with the attributes given in the first.
func one(attributes string, measures ...string) string {
	var b strings.Builder
	b.WriteString(`<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list><part id="P1">`)
	for i, m := range measures {
		if !strings.HasPrefix(m, "<measure") {
			m = fmt.Sprintf(`<measure number="%d">`, i+1) + m
		}
		if i == 0 {
			head, rest, _ := strings.Cut(m, ">")
			m = head + "><attributes>" + attributes + "</attributes>" + rest
		}
		b.WriteString(m + "</measure>")
	}
	return b.String() + "</part></score-partwise>"
}

// The attributes most tests begin with: four divisions a quarter note, four quarters a bar.
const common = `<divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>`

// n writes a note: a pitch or "r", a duration (-1 for none) and more elements. "chord", "grace", "slash" and "cue" come first.
func n(p string, duration int, more ...string) string {
	var head, tail string
	for _, m := range more {
		switch m {
		case "chord", "grace", "cue":
			head += "<" + m + "/>"
		case "slash":
			head += `<grace slash="yes"/>`
		default:
			tail += m
		}
	}
	sound := "<rest/>"
	if p != "r" {
		q, err := pitch.Parse(p)
		if err != nil {
			panic(err)
		}
		sound = fmt.Sprintf("<pitch><step>%s</step><alter>%d</alter><octave>%d</octave></pitch>", q.Letter, q.Alter, q.Octave)
	}
	if duration >= 0 {
		sound += fmt.Sprintf("<duration>%d</duration>", duration)
	}
	return "<note>" + head + sound + tail + "</note>"
}

func back(d int) string { return fmt.Sprintf("<backup><duration>%d</duration></backup>", d) }
func ahead(d int) string {
	return fmt.Sprintf("<forward><duration>%d</duration></forward>", d)
}
func staff(i int) string { return fmt.Sprintf("<staff>%d</staff>", i) }
func voiced(i int) string {
	return fmt.Sprintf("<voice>%d</voice>", i)
}
func tuplet(actual, normal int) string {
	return fmt.Sprintf("<time-modification><actual-notes>%d</actual-notes><normal-notes>%d</normal-notes></time-modification>", actual, normal)
}

// list writes the notes of p one by one: onset, pitch, duration, hand and voice, ties and the like.
func list(p *score.Passage) []string {
	var out []string
	for _, n := range p.Notes {
		s := fmt.Sprintf("%s: %s %s", n.Onset, n.Pitch, n.Duration)
		s += fmt.Sprintf(" %s%d", map[score.Hand]string{score.Right: "R", score.Left: "L"}[n.Hand], n.Voice)
		if n.TieFrom {
			s += " )"
		}
		if n.TieTo {
			s += " ("
		}
		switch n.Grace {
		case score.Appoggiatura:
			s += " grace"
		case score.Acciaccatura:
			s += " slash"
		}
		if n.Cue {
			s += " cue"
		}
		out = append(out, s)
	}
	return out
}

func mustRead(t *testing.T, xml string, o Options) *score.Passage {
	t.Helper()
	p, err := Read(strings.NewReader(xml), o)
	if err != nil {
		t.Fatalf("Read(%s) = %v", xml, err)
	}
	check(t, p)
	return p
}

// check tests what the passage promises whatever was read.
func check(t *testing.T, p *score.Passage) {
	t.Helper()
	at := score.Time{}
	for i, b := range p.Bars {
		if b.Start != at || b.Length.Sign() < 0 || b.Offset.Sign() < 0 || !b.End().InRange() || b.Number == "" {
			t.Fatalf("bar %d is %+v; want it to start at %s", i, b, at)
		}
		at = b.End()
	}
	for i, n := range p.Notes {
		if n.Bar < 0 || n.Bar >= len(p.Bars) {
			t.Fatalf("note %d is in bar %d of %d", i, n.Bar, len(p.Bars))
		}
		b := p.Bars[n.Bar]
		if n.Onset.Less(b.Start) || b.End().Less(n.Onset) || b.End().Less(n.End()) || !n.End().InRange() {
			t.Fatalf("note %+v leaves its bar %+v", n, b)
		}
		if (n.Grace != score.NoGrace) != (n.Duration.Sign() == 0) || n.Duration.Sign() < 0 {
			t.Fatalf("note %+v: its duration", n)
		}
		if n.Hand != score.Right && n.Hand != score.Left || n.Voice < 1 {
			t.Fatalf("note %+v: its hand or voice", n)
		}
		if i > 0 && n.Onset.Less(p.Notes[i-1].Onset) {
			t.Fatalf("note %d comes before the one before it", i)
		}
	}
	chosen := 0
	for _, q := range p.Parts {
		if q.Chosen {
			chosen++
			if q.Notes != len(p.Notes) {
				t.Fatalf("the chosen part has %d notes, the passage %d", q.Notes, len(p.Notes))
			}
		}
	}
	if chosen != 1 {
		t.Fatalf("%d parts chosen; want 1", chosen)
	}
	for i, k := range p.Keys {
		if i > 0 && k.At.Less(p.Keys[i-1].At) || !k.At.InRange() {
			t.Fatalf("keys out of order or range: %v", p.Keys)
		}
	}
	for i, q := range p.Tempos {
		if i > 0 && !p.Tempos[i-1].At.Less(q.At) || !(q.Quarters > 0 && q.Quarters <= maxTempo) {
			t.Fatalf("tempos out of order or range: %v", p.Tempos)
		}
	}
	for i, d := range p.Dynamics {
		if i > 0 && d.At.Less(p.Dynamics[i-1].At) || d.Text == "" || d.Until != (score.Time{}) && !d.At.Less(d.Until) {
			t.Fatalf("dynamics out of order: %v", p.Dynamics)
		}
	}
	if len(p.Warnings) > 2*MaxWarnings+2 {
		t.Fatalf("%d warnings", len(p.Warnings))
	}
	p.Sounding() // has to come to an end
}

// What is read of the notes, by the wording of the MusicXML 4.0 schema (musicxml.xsd), unless a case names other grounds.
func TestNotes(t *testing.T) {
	const two = `<staves>2</staves>`
	tests := []struct {
		name string
		xml  string
		want []string
	}{
		{"octaves and alterations", one(common, n("C4", 4)+n("Bb2", 4)+n("F##6", 4)+n("Cb5", 4)),
			[]string{"0: C4 1 R1", "1: Bb2 1 R1", "2: F##6 1 R1", "3: Cb5 1 R1"}},
		{"chords have the onset of the note before them", one(common, n("C4", 8)+n("E4", 8, "chord")+n("G4", 4, "chord")+n("D4", 8)),
			[]string{"0: C4 2 R1", "0: E4 2 R1", "0: G4 1 R1", "2: D4 2 R1"}},
		{"a direction inside a chord", one(common, n("C4", 16)+`<direction><direction-type><words>dolce</words></direction-type></direction>`+n("E4", 16, "chord")),
			[]string{"0: C4 4 R1", "0: E4 4 R1"}},
		{"backup and forward", one(common, n("E5", 16)+back(12)+n("C4", 4, voiced(2))+ahead(4)+n("D4", 4, voiced(2))),
			[]string{"0: E5 4 R1", "1: C4 1 R2", "3: D4 1 R2"}},
		{"divisions change in the middle of a bar", one(common, n("C4", 8)+`<attributes><divisions>480</divisions></attributes>`+n("D4", 480)+n("E4", 480), n("F4", 1920)),
			[]string{"0: C4 2 R1", "2: D4 1 R1", "3: E4 1 R1", "4: F4 4 R1"}},
		{"decimal divisions and durations", one(`<divisions>0.5</divisions>`, `<note><pitch><step>A</step><octave>4</octave></pitch><duration>0.25</duration></note>`+n("B4", 1)),
			[]string{"0: A4 1/2 R1", "1/2: B4 2 R1"}},
		{"rests", one(common, n("r", 6)+n("C4", 2)+n("r", 8), n("r", 16, ""), n("D4", 16)),
			[]string{"1 1/2: C4 1/2 R1", "8: D4 4 R1"}},
		{"two hands, a voice that crosses", one(common+two,
			n("G4", 8, voiced(1), staff(1))+n("B3", 8, voiced(1), staff(2))+back(16)+n("C3", 16, voiced(5), staff(2))),
			[]string{"0: C3 4 L1", "0: G4 2 R1", "2: B3 2 L2"}},
		{"voices are counted within the hand", one(common+two,
			n("G5", 16, voiced(2), staff(1))+back(16)+n("C5", 16, voiced(1), staff(1))+back(16)+n("E3", 16, voiced(10), staff(2))+back(16)+n("C3", 16, voiced(6), staff(2))),
			[]string{"0: C3 4 L1", "0: E3 4 L2", "0: C5 4 R1", "0: G5 4 R2"}},
		{"a note without a staff is on the first", one(common+two, n("G4", 16)+back(16)+n("C3", 16, staff(2))),
			[]string{"0: C3 4 L1", "0: G4 4 R1"}},
		{"three staves", one(common+`<staves>3</staves>`, n("G4", 16, staff(1))+back(16)+n("C3", 16, staff(2), voiced(2))+back(16)+n("C2", 16, staff(3), voiced(3))),
			[]string{"0: C2 4 L2", "0: C3 4 L1", "0: G4 4 R1"}},
		{"ties over the bar, of one chord note only", one(common,
			n("C4", 16, `<tie type="start"/>`, `<notations><slur type="start"/></notations>`)+n("E4", 16, "chord"), n("C4", 8, `<tie type="stop"/>`)+n("E4", 8, "chord")),
			[]string{"0: C4 4 R1 (", "0: E4 4 R1", "4: C4 2 R1 )", "4: E4 2 R1"}},
		{"the picture of a tie where its sound is missing", one(common, n("C4", 8, `<notations><tied type="start"/></notations>`)+
			n("C4", 4, `<notations><tied type="stop"/></notations><notations><tied type="start"/></notations>`)+n("C4", 4, `<notations><tied type="stop"/></notations>`)),
			[]string{"0: C4 2 R1 (", "2: C4 1 R1 ) (", "3: C4 1 R1 )"}},
		{"the sound of a tie holds against the picture", one(common, n("C4", 8, `<tie type="start"/>`, `<notations><tied type="stop"/></notations>`)+n("C4", 8, `<tie type="stop"/>`)),
			[]string{"0: C4 2 R1 (", "2: C4 2 R1 )"}},
		{"left to ring is no tie", one(common, n("C4", 16, `<notations><tied type="let-ring"/></notations>`)), []string{"0: C4 4 R1"}},
		{"grace notes and a grace chord", one(common, n("D5", -1, "grace")+n("B4", -1, "slash")+n("E5", -1, "slash", "chord")+n("C5", 8)+n("A4", 8)+n("G4", -1, "grace")),
			[]string{"0: D5 0 R1 grace", "0: B4 0 R1 slash", "0: E5 0 R1 slash", "0: C5 2 R1", "2: A4 2 R1", "4: G4 0 R1 grace"}},
		{"cue notes", one(common, n("C4", 8, "cue")+n("D4", 8)), []string{"0: C4 2 R1 cue", "2: D4 2 R1"}},
		{"a triplet", one(`<divisions>3</divisions>`, n("C4", 1, "<type>eighth</type>", tuplet(3, 2))+n("D4", 1, "<type>eighth</type>", tuplet(3, 2))+n("E4", 1, "<type>eighth</type>", tuplet(3, 2))),
			[]string{"0: C4 1/3 R1", "1/3: D4 1/3 R1", "2/3: E4 1/3 R1"}},
		{"a quintuplet in a triplet", one(`<divisions>30</divisions>`, n("C4", 10, "<type>eighth</type>", tuplet(3, 2))+n("D4", 4, "<type>eighth</type>", tuplet(15, 4))),
			[]string{"0: C4 1/3 R1", "1/3: D4 2/15 R1"}},
		// 480 has no seventh part: 68.57 is written 69, 68, 69 and so on. The written values hold, and the backup over the
		// rounded ones leads back to the exact start.
		{"rounded septuplets", one(`<divisions>480</divisions>`,
			n("C4", 69, "<type>16th</type>", tuplet(7, 4))+n("D4", 68, "<type>16th</type>", tuplet(7, 4))+n("E4", 69, "<type>16th</type>", tuplet(7, 4))+
				n("F4", 68, "<type>16th</type>", tuplet(7, 4))+n("G4", 69, "<type>16th</type>", tuplet(7, 4))+n("A4", 68, "<type>16th</type>", tuplet(7, 4))+
				n("B4", 69, "<type>16th</type>", tuplet(7, 4))+n("C5", 480, "<type>quarter</type>")+back(960)+n("C3", 960, "<type>half</type>", voiced(2))),
			[]string{"0: C3 2 R2", "0: C4 1/7 R1", "1/7: D4 1/7 R1", "2/7: E4 1/7 R1", "3/7: F4 1/7 R1", "4/7: G4 1/7 R1", "5/7: A4 1/7 R1", "6/7: B4 1/7 R1", "1: C5 1 R1"}},
		{"a rounded triplet and a backup into it", one(`<divisions>4</divisions>`,
			n("C4", 1, "<type>eighth</type>", tuplet(3, 2))+n("D4", 1, "<type>eighth</type>", tuplet(3, 2))+n("E4", 2, "<type>eighth</type>", tuplet(3, 2))+back(3)+n("A3", 1, voiced(2), "<type>eighth</type>", tuplet(3, 2))),
			[]string{"0: C4 1/3 R1", "1/3: A3 1/3 R2", "1/3: D4 1/3 R1", "2/3: E4 1/3 R1"}},
		{"a type that is another length than the duration is only a picture", one(common, n("C4", 6, "<type>quarter</type>")+n("D4", 10, "<type>eighth</type>")),
			[]string{"0: C4 1 1/2 R1", "1 1/2: D4 2 1/2 R1"}},
		{"a cue note without a duration has that of its type", one(common, n("C4", -1, "cue", "<type>quarter</type><dot/><dot/>")+n("D4", 9)),
			[]string{"0: C4 1 3/4 R1 cue", "1 3/4: D4 2 1/4 R1"}},
		// "a treble clef line noted with 8va will be indicated with an octave-shift down from the pitch data indicated in the
		// notes" (annotation of octave-shift): the pitch data are the sound.
		{"octave shifts change nothing", one(common, `<direction><direction-type><octave-shift type="down" size="8"/></direction-type></direction>`+n("C7", 16)+
			`<direction><direction-type><octave-shift type="stop" size="8"/></direction-type></direction>`), []string{"0: C7 4 R1"}},
		// "what must be added to a written pitch to get a correct sounding pitch" (annotation of transpose)
		{"transposed by a step and an octave", one(common+`<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic><octave-change>-1</octave-change></transpose>`, n("D5", 8)+n("C#5", 8)),
			[]string{"0: C4 2 R1", "2: B3 2 R1"}},
		{"transposed, the steps not given", one(common+`<transpose><chromatic>-3</chromatic></transpose>`, n("C5", 16)), []string{"0: A4 4 R1"}},
		{"transposed on one staff", one(common+two+`<transpose number="2"><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>`, n("C5", 16)+back(16)+n("C3", 16, staff(2), voiced(2))),
			[]string{"0: C2 4 L1", "0: C5 4 R1"}},
		{"transposition changes in the middle", one(common+`<transpose><diatonic>2</diatonic><chromatic>3</chromatic></transpose>`, n("A4", 16),
			`<attributes><transpose><diatonic>0</diatonic><chromatic>0</chromatic></transpose></attributes>`+n("C5", 16)), []string{"0: C5 4 R1", "4: C5 4 R1"}},
		{"microtones, to the nearest, a half towards the natural", one(common, strings.NewReplacer("<alter>1<", "<alter>0.5<").Replace(n("F#4", 4))+
			strings.NewReplacer("<alter>-1<", "<alter>-1.5<").Replace(n("Bb4", 4))+strings.NewReplacer("<alter>1<", "<alter>0.75<").Replace(n("C#4", 8))),
			[]string{"0: F4 1 R1", "1: Bb4 1 R1", "2: C#4 2 R1"}},
		{"unpitched notes only take their time", one(common, `<note><unpitched/><duration>8</duration></note>`+n("C4", 8)), []string{"2: C4 2 R1"}},
		{"namespace prefixes are not the standard's", one(common, n("C4", 16)+`<x:note><pitch><step>D</step><octave>4</octave></pitch><duration>16</duration></x:note>`), []string{"0: C4 4 R1"}},
		{"unknown elements are passed over", one(common, `<future><note>no</note></future>`+n("C4", 16, `<future a="1">x<y/></future>`)), []string{"0: C4 4 R1"}},
		{"numbers with white space and comments around", one(common, `<note><pitch><step> C </step><octave> <!-- four --> 4 </octave></pitch><duration>
			1<!-- -->6 </duration></note>`), []string{"0: C4 4 R1"}},
	}
	for _, tt := range tests {
		p := mustRead(t, tt.xml, Options{})
		if got := list(p); !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

func bars(p *score.Passage) []string {
	var out []string
	for _, b := range p.Bars {
		s := fmt.Sprintf("%s: %s of %s", b.Number, b.Length, b.Meter)
		if b.Offset.Sign() > 0 {
			s += " after " + b.Offset.String()
		}
		out = append(out, s)
	}
	return out
}

// Upbeats and halved bars by score.Bar's own description and the annotation of the attribute implicit.
func TestBars(t *testing.T) {
	half := n("C4", 8)
	meter := func(s string) string { return `<divisions>4</divisions><time>` + s + `</time>` }
	beats := func(b, u string) string {
		return "<beats>" + b + "</beats><beat-type>" + u + "</beat-type>"
	}
	tests := []struct {
		name string
		xml  string
		want []string
	}{
		{"an upbeat", one(common, `<measure number="0" implicit="yes">`+n("C4", 4), n("C4", 16)), []string{"0: 1 of 4/4 after 3", "2: 4 of 4/4"}},
		{"an upbeat that the source numbers 1", one(common, n("C4", 4), n("C4", 16)), []string{"1: 1 of 4/4 after 3", "2: 4 of 4/4"}},
		{"an upbeat without a number", one(common, `<measure implicit="yes">`+n("C4", 4), n("C4", 16)), []string{"0: 1 of 4/4 after 3", "2: 4 of 4/4"}},
		{"a single short bar is no upbeat", one(common, half), []string{"1: 2 of 4/4"}},
		{"a bar cut in two", one(common, n("C4", 16), half, `<measure number="X1" implicit="yes">`+half, `<measure number="3">`+n("C4", 16)),
			[]string{"1: 4 of 4/4", "2: 2 of 4/4", "2: 2 of 4/4 after 2", "3: 4 of 4/4"}},
		{"a bar cut in two whose halves have numbers", one(common, n("C4", 16), n("C4", 12), n("C4", 4), n("C4", 16)),
			[]string{"1: 4 of 4/4", "2: 3 of 4/4", "3: 1 of 4/4 after 3", "4: 4 of 4/4"}},
		{"a bar cut in three", one(common, n("C4", 16), n("C4", 4), `<measure number="X1" implicit="yes">`+n("C4", 4), `<measure number="X2" implicit="yes">`+half),
			[]string{"1: 4 of 4/4", "2: 1 of 4/4", "2: 1 of 4/4 after 1", "2: 2 of 4/4 after 2"}},
		{"an upbeat in the middle", one(common, n("C4", 16), `<measure number="X1" implicit="yes">`+n("C4", 4), `<measure number="2">`+n("C4", 16)),
			[]string{"1: 4 of 4/4", "X1: 1 of 4/4 after 3", "2: 4 of 4/4"}},
		{"a last bar that completes the upbeat", one(common, `<measure number="0" implicit="yes">`+n("C4", 4), n("C4", 16), n("C4", 12)),
			[]string{"0: 1 of 4/4 after 3", "2: 4 of 4/4", "3: 3 of 4/4"}},
		{"a bar not filled", one(common, n("C4", 16), half, n("C4", 16)), []string{"1: 4 of 4/4", "2: 2 of 4/4", "3: 4 of 4/4"}},
		{"empty bars have the length of their meter", one(common, "", n("r", 16), ""), []string{"1: 4 of 4/4", "2: 4 of 4/4", "3: 4 of 4/4"}},
		{"the text attribute is what is printed", one(common, `<measure number="8" text="8a">`+n("C4", 16)), []string{"8a: 4 of 4/4"}},
		{"measures without numbers", one(common, `<measure>`, `<measure>`), []string{"1: 4 of 4/4", "2: 4 of 4/4"}},
		{"compound", one(meter(beats("6", "8")), n("C4", 12)), []string{"1: 3 of 6/8"}},
		{"additive", one(meter(beats("3+2", "8")), n("C4", 10)), []string{"1: 2 1/2 of 3+2/8"}},
		{"several fractions", one(meter(beats("3", "8")+beats("1", "4")), n("C4", 10)), []string{"1: 2 1/2 of 3+2/8"}},
		{"interchangeable", one(meter(beats("3", "4")+`<interchangeable>`+beats("6", "8")+`</interchangeable>`), n("C4", 12)), []string{"1: 3 of 3/4"}},
		{"senza misura", one(meter("<senza-misura/>"), n("C4", 13)), []string{"1: 3 1/4 of free"}},
		{"no meter", one(`<divisions>4</divisions>`, n("C4", 13)), []string{"1: 3 1/4 of free"}},
		{"a change of meter", one(common, n("C4", 16), `<attributes><time>`+beats("2", "2")+`</time></attributes>`+n("C4", 16)), []string{"1: 4 of 4/4", "2: 4 of 2/2"}},
		{"multi-bar rests are ordinary bars", one(common+`<measure-style><multiple-rest>2</multiple-rest></measure-style>`, n("r", 16), n("r", 16)), []string{"1: 4 of 4/4", "2: 4 of 4/4"}},
	}
	for _, tt := range tests {
		p := mustRead(t, tt.xml, Options{})
		if got := bars(p); !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
	// Another part may be the only one that fills a bar.
	xml := `<score-partwise><part-list><score-part id="V"/><score-part id="K"><part-name>Klavier</part-name></score-part></part-list>
		<part id="V"><measure number="1"><attributes><divisions>1</divisions>` + `</attributes>` + n("C5", 3) + `</measure><measure number="2">` + n("C5", 3) + `</measure></part>
		<part id="K"><measure number="1"><attributes><divisions>2</divisions><staves>2</staves></attributes>` + n("C4", 2) + `</measure><measure number="2">` + n("C4", 2) + `</measure></part></score-partwise>`
	p := mustRead(t, xml, Options{})
	if got, want := list(p), []string{"0: C4 1 R1", "3: C4 1 R1"}; !reflect.DeepEqual(got, want) {
		t.Errorf("a bar filled by another part: got %q, want %q", got, want)
	}
}

func TestKeys(t *testing.T) {
	k := func(s string) string { return "<key>" + s + "</key>" }
	alters := func(pairs ...string) string {
		var b strings.Builder
		for _, p := range pairs {
			fmt.Fprintf(&b, "<key-step>%s</key-step><key-alter>%s</key-alter>", p[:1], p[1:])
		}
		return k(b.String())
	}
	tests := []struct {
		attributes string
		want       string // of the first key, "" for none
		declared   bool
	}{
		{k("<fifths>3</fifths><mode>minor</mode>"), "F# minor", true},
		{k("<fifths>-5</fifths><mode>major</mode>"), "Db major", true},
		{k("<cancel>2</cancel><fifths>0</fifths>"), "C major", false},
		{k("<fifths>2</fifths><mode>dorian</mode>"), "E dorian", true},
		{k("<fifths>2</fifths><mode>none</mode>"), "D major", false},
		{k("<fifths>-11</fifths>"), "Abb major", false},
		{k(`<fifths>2</fifths>`) + `<staves>2</staves>`, "D major", false},
		{alters("F1", "C1"), "D major", false},
		{alters("B-1", "E-1", "A-1"), "Eb major", false},
		{alters("F1", "A-1"), "", false},
		{alters("F0.5"), "", false},
		{`<key number="2"><fifths>1</fifths></key><key number="1"><fifths>-1</fifths></key>`, "F major", false},
		// the written key of a part in B flat, moved to the key that sounds
		{k("<fifths>2</fifths>") + `<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>`, "C major", false},
	}
	for _, tt := range tests {
		p := mustRead(t, one(`<divisions>1</divisions>`+tt.attributes, n("C4", 4)), Options{})
		got, declared := "", false
		if len(p.Keys) > 0 {
			got, declared = p.Keys[0].Key.String(), p.Keys[0].Declared
		}
		if got != tt.want || declared != tt.declared || len(p.Keys) > 1 {
			t.Errorf("%s: keys %v, declared %t; want %q, %t", tt.attributes, p.Keys, declared, tt.want, tt.declared)
		}
	}
	p := mustRead(t, one(common, n("C4", 8)+`<attributes>`+k("<fifths>-3</fifths><mode>minor</mode>")+`</attributes>`+n("C4", 8)), Options{})
	if want := []score.KeyChange{{At: score.Quarters(2), Key: key.Key{Tonic: pitch.Class{Letter: pitch.C}, Mode: key.Minor}, Declared: true}}; !reflect.DeepEqual(p.Keys, want) {
		t.Errorf("a key in the middle of a bar: %v, want %v", p.Keys, want)
	}
}

func TestTempos(t *testing.T) {
	mark := func(s string) string {
		return "<direction><direction-type><metronome>" + s + "</metronome></direction-type></direction>"
	}
	tests := []struct {
		xml  string
		want string
	}{
		{mark("<beat-unit>quarter</beat-unit><per-minute>92.5</per-minute>"), "[0 92.5]"},
		{mark("<beat-unit>half</beat-unit><per-minute>60</per-minute>"), "[0 120]"},
		{mark("<beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>c. 60-66</per-minute>"), "[0 90]"},
		{mark("<beat-unit>eighth</beat-unit><beat-unit-dot/><beat-unit-dot/><per-minute>80</per-minute>"), "[0 70]"},
		{mark("<beat-unit>quarter</beat-unit><per-minute>quick</per-minute>"), ""},
		// sound: "expressed in quarter notes per minute", whatever the picture says
		{`<direction><direction-type><metronome><beat-unit>half</beat-unit><per-minute>60</per-minute></metronome></direction-type><sound tempo="118"/></direction>`, "[0 118]"},
		{`<sound tempo="54"/>`, "[0 54]"},
		{`<sound tempo="0"/>`, ""},
		// the dotted quarter is as long as the quarter was: three eighths in the time of two
		{`<sound tempo="60"/>` + n("C4", 4) + mark("<beat-unit>quarter</beat-unit><beat-unit>quarter</beat-unit><beat-unit-dot/>"), "[0 60][1 90]"},
		{n("C4", 4) + `<direction><direction-type><words>quick</words></direction-type><offset sound="yes">-2</offset><sound tempo="100"/></direction>`, "[1/2 100]"},
		{n("C4", 4) + `<direction><direction-type><words>quick</words></direction-type><offset>-2</offset><sound tempo="100"/></direction>`, "[1 100]"},
	}
	for _, tt := range tests {
		p := mustRead(t, one(common, tt.xml+n("C4", 4)), Options{})
		got := ""
		for _, q := range p.Tempos {
			got += fmt.Sprintf("[%s %v]", q.At, q.Quarters)
		}
		if got != tt.want {
			t.Errorf("%s: tempos %s, want %s", tt.xml, got, tt.want)
		}
	}
}

func TestDynamics(t *testing.T) {
	d := func(placement string, staff int, what string, more ...string) string {
		s := fmt.Sprintf(`<direction placement=%q>`, placement)
		for _, w := range strings.Split(what, ";") {
			s += "<direction-type>" + w + "</direction-type>"
		}
		return s + strings.Join(more, "") + fmt.Sprintf("<staff>%d</staff></direction>", staff)
	}
	p := func(s string) string { return "<dynamics>" + s + "</dynamics>" }
	const start, stop = `<wedge type="crescendo"/>`, `<wedge type="stop"/>`
	tests := []struct {
		xml  string
		want string // at, until, text, hand (0 both)
	}{
		{d("below", 1, p("<pp/>")) + n("C4", 16), "[0 0 pp 0]"},
		{d("above", 1, p("<f/>")) + n("C4", 16), "[0 0 f 1]"},
		{d("above", 2, p("<f/>")) + n("C4", 16), "[0 0 f 0]"},
		{d("below", 2, p("<f/>")) + n("C4", 16), "[0 0 f 2]"},
		{d("below", 1, p("<sf/><p/>")+";"+p("<other-dynamics>sub. p</other-dynamics>")) + n("C4", 16), "[0 0 sfp 0][0 0 sub. p 0]"},
		{n("C4", 8) + n("C4", 8, "<notations>"+p("<sfz/>")+"</notations>"), "[2 0 sfz 1]"},
		{d("below", 1, start) + n("C4", 8) + d("below", 1, stop) + n("C4", 8), "[0 2 louder 0]"},
		{d("below", 1, `<wedge type="diminuendo" number="2"/>`, "<offset>2</offset>") + n("C4", 16) + d("below", 1, `<wedge type="stop" number="2"/>`, "<offset>-2</offset>"), "[1/2 3 1/2 softer 0]"},
		{d("below", 1, start) + n("C4", 8) + d("below", 1, `<wedge type="diminuendo"/>`) + n("C4", 8) + d("below", 1, stop), "[0 2 louder 0][2 4 softer 0]"},
		{d("below", 1, start) + n("C4", 16), ""}, // never closed
		{d("below", 1, `<words>cresc. poco a poco</words>;<dashes type="start" number="1"/>`) + n("C4", 12) + d("below", 1, `<dashes type="stop" number="1"/>`) + n("C4", 4), "[0 3 louder 0]"},
		{d("below", 1, `<words>Diminuendo</words>`) + n("C4", 16), "[0 0 dim. 0]"},
		{d("below", 1, `<words>rall.</words>;<dashes type="start"/>`) + n("C4", 16) + d("below", 1, `<dashes type="stop"/>`), ""},
	}
	for _, tt := range tests {
		q := mustRead(t, one(common+"<staves>2</staves>", tt.xml), Options{})
		got := ""
		for _, d := range q.Dynamics {
			got += fmt.Sprintf("[%s %s %s %d]", d.At, d.Until, d.Text, d.Hand)
		}
		if got != tt.want {
			t.Errorf("%s: dynamics %s, want %s", tt.xml, got, tt.want)
		}
	}
}

func TestTitle(t *testing.T) {
	tests := []struct{ head, want string }{
		{`<work><work-title>Two Rivers</work-title></work><movement-title>The Weir</movement-title>`, "Two Rivers: The Weir"},
		{`<work><work-title>Two Rivers</work-title></work><movement-title> Two
			Rivers </movement-title>`, "Two Rivers"},
		{`<work><work-title/></work><movement-title>The &lt;Weir&#x3E; &amp; more</movement-title>`, "The <Weir> & more"},
		{`<credit><credit-type>composer</credit-type><credit-words>nobody</credit-words></credit><credit><credit-type>title</credit-type><credit-words>On Paper</credit-words></credit>`, "On Paper"},
		{`<credit><credit-words>On Paper</credit-words></credit><credit><credit-words>for four hands</credit-words></credit>`, "On Paper"},
		{``, ""},
	}
	for _, tt := range tests {
		p := mustRead(t, strings.Replace(one(common, n("C4", 16)), "<part-list>", tt.head+"<part-list>", 1), Options{})
		if p.Title != tt.want {
			t.Errorf("%s: title %q, want %q", tt.head, p.Title, tt.want)
		}
	}
}

// parts makes a score of parts, each given as id, name, staves and the number of its quarter notes.
func parts(list ...string) string {
	head, body := "", ""
	for _, s := range list {
		f := strings.Split(s, "|")
		head += `<score-part id="` + f[0] + `"><part-name>` + f[1] + `</part-name></score-part>`
		var count int
		fmt.Sscan(f[3], &count)
		body += `<part id="` + f[0] + `"><measure number="1"><attributes><divisions>1</divisions><staves>` + f[2] + `</staves></attributes>` + strings.Repeat(n("C4", 1), count) + `</measure></part>`
	}
	return `<score-partwise><part-list>` + head + `</part-list>` + body + `</score-partwise>`
}

func TestParts(t *testing.T) {
	song := parts("P1|Voice|1|3", "P2|Piano|2|4")
	tests := []struct {
		name, xml, part string
		want            string // the chosen id, or a piece of the error
	}{
		{"the two staves", song, "", "P2"},
		{"by id", song, "P1", "P1"},
		{"by id, in lower case", song, "p1", "P1"},
		{"by name", song, "VOICE", "P1"},
		{"by number", song, "1", "P1"},
		{"an id goes before a number", parts("2|Voice|1|3", "1|Piano|2|4"), "2", "2"},
		{"a keyboard among several with two staves", parts("P1|Harp|2|9", "P2|Pianoforte|2|4"), "", "P2"},
		{"most notes among equals", parts("P1|Piano I|2|4", "P2|Piano II|2|9"), "", "P2"},
		{"no two staves", parts("P1|Bells|1|0", "P2|Horn|1|4", "P3|Oboe|1|9"), "", "P2"},
		{"a piano that is silent", parts("P1|Voice|1|3", "P2|Piano|2|0"), "", "P1"},
		{"no such part", song, "Flute", `no part "Flute"; the parts are 1 "Voice" (P1), 2 "Piano" (P2)`},
		{"number too high", song, "3", `no part "3"`},
		{"a name twice", parts("P1|Piano|1|3", "P2|Piano|1|4"), "piano", `2 parts are called "piano"`},
	}
	for _, tt := range tests {
		p, err := Read(strings.NewReader(tt.xml), Options{Part: tt.part})
		got := ""
		if err != nil {
			got = err.Error()
			var e *Error
			if !errors.As(err, &e) {
				t.Errorf("%s: error of type %T", tt.name, err)
			}
		} else {
			check(t, p)
			for _, q := range p.Parts {
				if q.Chosen {
					got = q.ID
				}
			}
		}
		if got != tt.want && !(err != nil && strings.Contains(got, tt.want)) {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
	}
	p := mustRead(t, song, Options{})
	want := []score.Part{{ID: "P1", Name: "Voice", Staves: 1, Notes: 3}, {ID: "P2", Name: "Piano", Staves: 2, Notes: 4, Chosen: true}}
	if !reflect.DeepEqual(p.Parts, want) {
		t.Errorf("parts %+v, want %+v", p.Parts, want)
	}
}

func TestWarnings(t *testing.T) {
	tests := []struct {
		xml  string
		want string // a piece of the only warning
	}{
		{one(common, strings.Replace(n("F#4", 16), "<alter>1<", "<alter>0.5<", 1)), "measure 1, line 1:"},
		{one(common, `<note><unpitched/><duration>16</duration></note>`+back(16)+n("C4", 16)), "1 note without pitch left out"},
		{one(common, strings.Replace(n("C4", 16), "<note>", `<note print-object="no">`, 1)), "1 note not printed, but sounding"},
		{one(common, n("C4", 16, `<tie type="start"/>`)), "bar 1 beat 1: a tie of C4 leads to no note"},
		{one(common, n("C4", 16, `<tie type="stop"/>`)), "bar 1 beat 1: a tie of C4 comes from no note"},
		{one(common, `<direction><direction-type><wedge type="crescendo"/></direction-type></direction>`+n("C4", 16)), "hairpin"},
		{one(common+`<key><key-step>A</key-step><key-alter>1</key-alter></key>`, n("C4", 16)), "a key signature of no key"},
		{one(common+`<key><fifths>0</fifths><mode>plagal</mode></key>`, n("C4", 16)), `mode "plagal"`},
		{one(common+`<staves>2</staves><key number="1"><fifths>0</fifths></key><key number="2"><fifths>1</fifths></key>`, n("C4", 16)), "different key signatures"},
		{one(common+`<staves>3</staves>`, n("C4", 16)), "3 staves"},
		{one(common, n("r", 16)), "no notes"},
		{one(common, n("C4", 16)+back(17)+n("C5", 16, voiced(2))), "a backup of 4 1/4 quarter notes where only 4 have passed"},
		{one("", n("C4", 4, "<type>whole</type>")), "before any <divisions>"},
		{parts("P1|Flute|1|2", "P2|Oboe|1|2"), `no part has two staves; part 1 "Flute" (P1) is read`},
		{strings.Replace(parts("P1|Flute|1|2", "P2|Piano|2|2"), `</measure></part></score`, `</measure><measure number="2"/></part></score`, 1), `part 2 "Piano" (P2) has 2 bars`},
	}
	for _, tt := range tests {
		p := mustRead(t, tt.xml, Options{})
		if len(p.Warnings) != 1 || !strings.Contains(p.Warnings[0], tt.want) {
			t.Errorf("%s: warnings %q, want one with %q", tt.xml, p.Warnings, tt.want)
		}
	}
	p := mustRead(t, one(common, strings.Repeat(strings.Replace(n("F#4", 1), "<alter>1<", "<alter>0.5<", 1), 500)), Options{})
	if got := p.Warnings[len(p.Warnings)-1]; len(p.Warnings) != MaxWarnings+1 || got != "and 400 more like these" {
		t.Errorf("500 microtones give %d warnings, the last %q", len(p.Warnings), got)
	}
}

func TestErrors(t *testing.T) {
	bar := func(s string) string { return one(common, s) }
	note := func(s string) string { return bar("<note>" + s + "</note>") }
	whole := bar(n("C4", 16))
	deep := strings.Repeat("<a>", MaxDepth+1)
	tests := []struct {
		name, xml, want string
	}{
		{"nothing", "", "line 1:1: the file ends before the score begins"},
		{"no XML", "what", "text before the score"},
		{"a wrong root", "<html/>", "the outermost element is <html>"},
		{"an opus", "<opus/>", "opus"},
		{"no part", "<score-partwise/>", "no <part>"},
		{"two roots", one(common, "") + "<again/>", "goes on after the end"},
		{"text after the end", one(common, "") + "more", "text after the end"},
		{"a part twice", strings.Replace(one(common, ""), "</score-partwise", `<part id="P1"/></score-partwise`, 1), "a second <part>"},
		{"truncated", whole[:strings.Index(whole, "<duration")+5], "the file ends inside <note>"},
		{"truncated between tags", whole[:strings.Index(whole, "<duration")], "the file ends inside <note>"},
		{"mis-nested", note("<pitch></note></pitch>"), "</note> where </pitch> is due"},
		{"mismatched", note("<rest></x>"), "</x> where </rest> is due"},
		{"deep", bar(deep), "nested more than 64 deep"},
		{"an unknown entity", note("<rest/><voice>&lol;</voice>"), "&lol;"},
		{"an entity of the file's own", `<!DOCTYPE score-partwise [<!ENTITY d "16">]>` + note("<rest/><duration>&d;</duration>"), "&d;"},
		{"an external entity", `<!DOCTYPE score-partwise [<!ENTITY d SYSTEM "file:///etc/hostname">]>` + note("<rest/><duration>&d;</duration>"), "&d;"},
		{"step", note("<pitch><step>H</step><octave>4</octave></pitch><duration>1</duration>"), `step "H"; letters are A to G`},
		{"octave", note("<pitch><step>C</step><octave>10</octave></pitch><duration>1</duration>"), `<octave> is "10"; want a whole number from 0 to 9`},
		{"no octave", note("<pitch><step>C</step></pitch><duration>1</duration>"), "without <octave>"},
		{"alter", note("<pitch><step>C</step><alter>4</alter><octave>4</octave></pitch><duration>1</duration>"), `alter "4"`},
		{"alter NaN", note("<pitch><step>C</step><alter>NaN</alter><octave>4</octave></pitch><duration>1</duration>"), `alter "NaN"`},
		{"neither pitch nor rest", note("<duration>1</duration>"), "neither <pitch> nor <rest>"},
		{"a negative duration", note("<rest/><duration>-1</duration>"), `duration "-1"`},
		{"a huge duration", note("<rest/><duration>99999999999</duration>"), `duration "99999999999"`},
		{"a duration of more than a million quarters", note("<rest/><duration>9999999999</duration>"), "too long"},
		{"durations that add up", bar(strings.Repeat("<forward><duration>4000000</duration></forward>", 3)), "too long"},
		{"bars that add up", one(common, ahead(4000000), ahead(4000000), n("C4", 1)), "too long"},
		{"no duration", note("<rest/>"), "neither <duration> nor <type>"},
		{"a duration of nothing", bar(n("C4", 0)), "a note without a duration"},
		{"a billion divisions", one("<divisions>1000000000</divisions>", n("C4", 1)), "too finely divided"},
		{"divisions that don't agree", one("<divisions>1048573</divisions>", n("C4", 1)+"<attributes><divisions>1048571</divisions></attributes>"+n("C4", 1)), "too finely divided"},
		{"no divisions", one("<divisions>0</divisions>", n("C4", 1)), `divisions "0"`},
		{"a duration that contradicts the lack of divisions", one("", n("C4", 8, "<type>quarter</type>")), "before any <divisions>"},
		{"a chord of nothing", bar(n("C4", 4, "chord")), "no note before it"},
		{"a chord after a backup", bar(n("C4", 4) + back(4) + n("C4", 4, "chord")), "no note before it"},
		{"a type", note("<rest/><duration>1</duration><type>crotchet</type>"), `note type "crotchet"`},
		{"a meter of thirds", one("<time><beats>4</beats><beat-type>3</beat-type></time>", ""), "power of two"},
		{"a meter of words", one("<time><beats>four</beats><beat-type>4</beat-type></time>", ""), `"four" beats`},
		{"half a meter", one("<time><beats>4</beats></time>", ""), "<beats> without <beat-type>"},
		{"a key", one("<key><fifths>99</fifths></key>", ""), `<fifths> is "99"`},
		{"a tempo", bar(`<sound tempo="NaN"/>`), `tempo "NaN"`},
		{"a staff", note("<rest/><duration>1</duration><staff>0</staff>"), `<staff> is "0"`},
		{"an encoding", `<?xml version="1.0" encoding="KOI8-R"?>` + bar(""), `"KOI8-R": want UTF-8, UTF-16 or ISO-8859-1`},
		{"an encoding that it hasn't got", `<?xml version="1.0" encoding="UTF-16"?>` + bar(""), "its bytes are not"},
		{"a long text", bar("<x>" + strings.Repeat("a", MaxToken+100000) + "</x>"), "more than 256 KiB"},
		{"half a character", "\xff\xfe<\x00a", "broken UTF-16"},
		{"a lone surrogate", "\xff\xfe<\x00?\x00\x00\xd8a\x00", "broken UTF-16"},
		{"bad UTF-8", bar("<x>\xff</x>"), "invalid UTF-8"},
	}
	for _, tt := range tests {
		p, err := Read(strings.NewReader(tt.xml), Options{File: "f.xml"})
		var e *Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) || p != nil {
			t.Errorf("%s: %v, %v; want an *Error with %q", tt.name, p, err, tt.want)
			continue
		}
		if !strings.HasPrefix(err.Error(), "musicxml: f.xml: ") || strings.Count(err.Error(), "musicxml: ") != 1 || e.File != "f.xml" {
			t.Errorf("%s: error %q", tt.name, err)
		}
	}
}

func TestErrorPlace(t *testing.T) {
	xml := "<score-partwise>\n<part id=\"P1\">\n<measure number=\"12\">\n<attributes><divisions>1</divisions></attributes>\n" +
		"  <note><pitch><step>C</step>\n    <octave>x</octave></pitch><duration>1</duration></note></measure></part></score-partwise>"
	_, err := Read(strings.NewReader(xml), Options{File: "file.mxl"})
	if want := `musicxml: file.mxl: measure 12, line 6:5: <octave> is "x"; want a whole number from 0 to 9`; err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
	for _, tt := range []struct {
		e    Error
		want string
	}{
		{Error{Msg: "m"}, "musicxml: m"},
		{Error{File: "f", Measure: "2", Msg: "m"}, "musicxml: f: measure 2: m"},
		{Error{Line: 3, Col: 4, Msg: "m"}, "musicxml: line 3:4: m"},
	} {
		if got := tt.e.Error(); got != tt.want {
			t.Errorf("%#v.Error() = %q, want %q", tt.e, got, tt.want)
		}
	}
	if _, err := ReadFile(filepath.Join(t.TempDir(), "none.xml"), Options{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a file that isn't there: %v", err)
	}
}

// TestFiles reads the small files of our own in testdata: one song in each form.
func TestFiles(t *testing.T) {
	read := func(name string) *score.Passage {
		t.Helper()
		p, err := ReadFile(filepath.Join("testdata", name), Options{})
		if err != nil {
			t.Fatal(err)
		}
		check(t, p)
		if p.Source != filepath.Join("testdata", name) {
			t.Errorf("%s: source %q", name, p.Source)
		}
		p.Source = ""
		return p
	}
	song := read("song.musicxml")
	if got, want := bars(song), []string{"0: 1 of 3/4 after 2", "1: 3 of 3/4", "2: 1 of 3/4", "2: 2 of 3/4 after 1", "3: 3 of 3/4"}; !reflect.DeepEqual(got, want) {
		t.Errorf("bars %q, want %q", got, want)
	}
	want := []string{
		"1: D3 1 L1", "1: D4 1/3 R1", "1 1/3: F4 1/3 R1", "1 2/3: A4 1/3 R1", "2: A3 1 R2", "2: C#5 2 R1 (", "2: E5 2 R1 (", "3: F3 1 L1",
		"4: Bb2 1 L1", "4: C#5 1/2 R1 )", "4: E5 1/2 R1 )", "5: G#4 0 R1 slash", "5: A2 1 L1", "5: A4 2 R1", "6: A1 1 L1",
		"7: D2 3 L1", "7: D4 3 R1", "7: F#4 3 R1", "7: A4 3 R1",
	}
	if got := list(song); !reflect.DeepEqual(got, want) {
		t.Errorf("notes\n%q, want\n%q", got, want)
	}
	if song.Title != "Evening Boat" || song.Where(score.Quarters(6)) != "bar 2 beat 3" || len(song.Warnings) != 0 {
		t.Errorf("title %q, the last quarter of bar 2 at %q, warnings %q", song.Title, song.Where(score.Quarters(6)), song.Warnings)
	}
	if want := []score.KeyChange{{Key: key.Key{Tonic: pitch.Class{Letter: pitch.D}, Mode: key.Minor}, Declared: true}}; !reflect.DeepEqual(song.Keys, want) {
		t.Errorf("keys %v, want %v", song.Keys, want)
	}
	if want := []score.Tempo{{Quarters: 96}}; !reflect.DeepEqual(song.Tempos, want) { // it stands over the voice
		t.Errorf("tempos %v, want %v", song.Tempos, want)
	}
	if want := []score.Dynamic{{At: score.Quarters(1), Text: "p"}, {At: score.Quarters(1), Until: score.Quarters(5), Text: "louder"}}; !reflect.DeepEqual(song.Dynamics, want) {
		t.Errorf("dynamics %v, want %v", song.Dynamics, want)
	}
	for name, title := range map[string]string{"timewise.xml": "", "song.mxl": "", "utf16.xml": "Abendkähne 𝄞", "latin1.xml": "Abendkähne"} {
		p := read(name)
		if title != "" {
			if p.Title != title {
				t.Errorf("%s: title %q, want %q", name, p.Title, title)
			}
			p.Title = song.Title
		}
		if !reflect.DeepEqual(p, song) {
			t.Errorf("%s:\n%+v, want what song.musicxml gives:\n%+v", name, p, song)
		}
	}
	for name, want := range map[string]string{
		"truncated.xml": "the file ends inside",
		"misnested.xml": "</note> where </pitch> is due",
		"entities.xml":  "&b;",
	} {
		if _, err := ReadFile(filepath.Join("testdata", name), Options{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want an error with %q", name, err, want)
		}
	}
}

// TestReaders reads through readers that give little at a time and those that fail.
func TestReaders(t *testing.T) {
	for _, name := range []string{"song.musicxml", "song.mxl", "utf16.xml", "latin1.xml"} {
		data, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		want, err := Read(bytes.NewReader(data), Options{})
		if err != nil {
			t.Fatal(err)
		}
		for how, r := range map[string]io.Reader{
			"one byte": iotest.OneByteReader(bytes.NewReader(data)), "half": iotest.HalfReader(bytes.NewReader(data)), "data and error": iotest.DataErrReader(bytes.NewReader(data)),
		} {
			if got, err := Read(r, Options{}); err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("%s by %s: %v, %v", name, how, got, err)
			}
		}
		broken := errors.New("the line is dead")
		if _, err := Read(io.MultiReader(bytes.NewReader(data[:len(data)/2]), iotest.ErrReader(broken)), Options{}); !errors.Is(err, broken) {
			t.Errorf("%s by a broken reader: %v", name, err)
		}
	}
	if err := iotest.TestReader(&wideReader{r: wide("aé𝄞b")}, []byte("aé𝄞b")); err != nil {
		t.Error(err)
	}
	if err := iotest.TestReader(&latinReader{r: strings.NewReader("a\xe9b\xff")}, []byte("aébÿ")); err != nil {
		t.Error(err)
	}
}

// wide gives s in little-endian UTF-16.
func wide(s string) *bufio.Reader {
	var b bytes.Buffer
	for _, u := range utf16.Encode([]rune(s)) {
		b.Write([]byte{byte(u), byte(u >> 8)})
	}
	return bufio.NewReader(&b)
}

// archive makes a compressed file of names and contents, in turn.
func archive(t testing.TB, pairs ...string) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(pairs); i += 2 {
		w, err := z.Create(pairs[i])
		if err == nil {
			_, err = io.WriteString(w, pairs[i+1])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func container(files ...string) string {
	s := "<container><rootfiles>"
	for _, f := range files {
		name, media, ok := strings.Cut(f, "|")
		s += `<rootfile full-path="` + name + `"`
		if ok {
			s += ` media-type="` + media + `"`
		}
		s += "/>"
	}
	return s + "</rootfiles></container>"
}

func TestArchives(t *testing.T) {
	a, b := one(common, n("A4", 16)), one(common, n("B4", 16))
	many := []string{containerName, container("a.xml"), "a.xml", a}
	for i := range MaxEntries {
		many = append(many, fmt.Sprint("x", i), "")
	}
	good := archive(t, containerName, container("a.xml"), "a.xml", a)
	tests := []struct {
		name, data string
		want       string // the only note, or a piece of the error
	}{
		{"plain", good, "A4"},
		{"the first of several", archive(t, containerName, container("b.xml", "a.xml|"+scoreType), "a.xml", a, "b.xml", b), "B4"},
		{"the first that is a score", archive(t, containerName, container("p.pdf|application/pdf", "a.xml|"+scoreType), "p.pdf", "", "a.xml", a), "A4"},
		{"a path out of the archive is only a name", archive(t, containerName, container("../../a.xml"), "../../a.xml", a), "A4"},
		{"no container", archive(t, "a.musicxml", a), "A4"},
		{"no container, two scores", archive(t, "a.xml", a, "b.xml", b), "more than one file"},
		{"no container, no score", archive(t, "a.txt", a), "neither"},
		{"a container of nothing", archive(t, containerName, container(), "a.xml", a), "names no root file"},
		{"a container of no score", archive(t, containerName, container("p.pdf|application/pdf"), "p.pdf", ""), `no score, only "p.pdf"`},
		{"a name that isn't there", archive(t, containerName, container("c.xml"), "a.xml", a), `names "c.xml", which is not in the archive`},
		{"a broken container", archive(t, containerName, "<container><rootfiles>", "a.xml", a), "META-INF/container.xml: line 1:23: the file ends inside <rootfiles>"},
		{"too many files", archive(t, many...), "an archive of 1002 files"},
		{"truncated", good[:len(good)-30], "no readable archive"},
		{"corrupt", strings.Replace(good, "PK\x03\x04", "PK\x03\x05", 2), ""},
	}
	if !raceDetector {
		bomb := archive(t, containerName, container("a.xml"), "a.xml", "<score-partwise>"+strings.Repeat(strings.Repeat(" ", 1000)+"<a/>", MaxBytes/1000))
		tests = append(tests, struct{ name, data, want string }{"a bomb", bomb, "more than 64 MiB of XML"})
		// What a file claims of its size is not believed: the bytes that come are counted. The size stands in the directory as
		// four bytes, here those of a little over 64 MiB.
		size := binary.LittleEndian.AppendUint32(nil, uint32(16+MaxBytes/1000*1004))
		if !strings.Contains(bomb, string(size)) {
			t.Fatal("the size of the bomb is not where it was")
		}
		tests = append(tests, struct{ name, data, want string }{"a bomb that lies", strings.ReplaceAll(bomb, string(size), "\x10\x00\x00\x00"), ""})
	}
	for _, tt := range tests {
		p, err := Read(strings.NewReader(tt.data), Options{File: "f.mxl"})
		if err != nil {
			if len(tt.want) == 2 || !strings.Contains(err.Error(), tt.want) || strings.Count(err.Error(), "musicxml: ") != 1 {
				t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
			}
			continue
		}
		if len(p.Notes) != 1 || p.Notes[0].Pitch.String() != tt.want {
			t.Errorf("%s: %v, want %q", tt.name, list(p), tt.want)
		}
		if (len(p.Warnings) > 0) != (tt.name == "no container") {
			t.Errorf("%s: warnings %q", tt.name, p.Warnings)
		}
	}
}

func TestLimits(t *testing.T) {
	if testing.Short() || raceDetector {
		t.Skip("reads tens of megabytes")
	}
	repeat := func(before, s string, n int, after string) io.Reader {
		return io.MultiReader(strings.NewReader(before), strings.NewReader(strings.Repeat(s, n)), strings.NewReader(after))
	}
	head := `<score-partwise><part id="P1">`
	bar := head + `<measure number="1"><attributes><divisions>1024</divisions></attributes>`
	tests := []struct {
		name string
		r    io.Reader
		want string
	}{
		{"notes", repeat(bar, `<note><grace/><rest/></note>`, MaxNotes+1, ""), "more than 500000 notes"},
		{"elements", repeat(head, `<a/>`, MaxElements, ""), "more than 2500000 elements and attributes"},
		{"measures", repeat(head, `<measure/>`, MaxMeasures+1, ""), "more than 250000 measures"},
		{"marks", repeat(bar, `<sound tempo="60"/>`, MaxMarks+1, ""), "more than 100000"},
		{"bytes", repeat(head, `<a/>`+strings.Repeat(" ", 1000), MaxBytes/1000, ""), "more than 64 MiB"},
		{"hairpins", repeat(bar, `<direction><direction-type><wedge type="crescendo" number="1"/></direction-type></direction>`, MaxMarks+1, ""), "more than 100000"},
	}
	for _, tt := range tests {
		start := time.Now()
		_, err := Read(tt.r, Options{})
		t.Logf("%s: refused after %v", tt.name, time.Since(start).Round(time.Millisecond))
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
	var many strings.Builder
	for i := range MaxParts + 1 {
		fmt.Fprintf(&many, `<score-part id="P%d"/>`, i)
	}
	if _, err := Read(strings.NewReader("<score-partwise><part-list>"+many.String()), Options{}); err == nil || !strings.Contains(err.Error(), "more than 1000 parts") {
		t.Errorf("parts: %v", err)
	}
}

// TestRandomScores reads scores made at random, with a fixed seed: well-formed, but with whatever durations, tuplets, moves
// and divisions. They are refused with an *Error or keep what a passage promises; and partwise and timewise are the same.
func TestRandomScores(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	pick := func(list ...string) string { return list[rnd.IntN(len(list))] }
	measure := func() string {
		var b strings.Builder
		for range rnd.IntN(12) {
			d := rnd.IntN(9) + 1
			if rnd.IntN(40) == 0 {
				d = rnd.IntN(1 << 30)
			}
			switch rnd.IntN(14) {
			case 0:
				b.WriteString(back(d))
			case 1:
				b.WriteString(ahead(d))
			case 2:
				b.WriteString("<attributes><divisions>" + pick("1", "2", "3", "4", "7", "12", "480", "0.25", "1048573", "999999937") + "</divisions></attributes>")
			case 3:
				b.WriteString("<attributes><time><beats>" + pick("1", "2", "3", "4", "6", "3+2") + "</beats><beat-type>" + pick("2", "4", "8", "16") + "</beat-type></time></attributes>")
			case 4:
				b.WriteString(`<direction placement="below"><direction-type><wedge type="` + pick("crescendo", "diminuendo", "stop") + `"/></direction-type><offset sound="yes">` + pick("-3", "1", "7.5") + `</offset><staff>2</staff><sound tempo="60"/></direction>`)
			case 5:
				b.WriteString("<attributes><key><fifths>" + pick("-7", "0", "3") + "</fifths></key><transpose><chromatic>" + pick("-2", "0", "9") + "</chromatic></transpose></attributes>")
			default:
				more := []string{voiced(1 + rnd.IntN(4)), "<type>" + pick("whole", "quarter", "eighth", "16th", "64th") + "</type>", staff(1 + rnd.IntN(2))}
				if rnd.IntN(3) == 0 {
					more = append(more, tuplet(rnd.IntN(12)+1, rnd.IntN(8)+1))
				}
				if rnd.IntN(4) == 0 {
					more = append(more, pick("chord", "cue", "grace", "slash", "<dot/>", `<tie type="start"/>`, `<tie type="stop"/>`))
					if last := more[len(more)-1]; last == "grace" || last == "slash" {
						d = -1
					}
				}
				b.WriteString(n(pick("C4", "F#4", "Bb3", "E5", "r"), d, more...))
			}
		}
		return b.String()
	}
	read, refused := 0, 0
	for range 2000 {
		var body [2][]string
		var head []string
		for i := range 1 + rnd.IntN(5) {
			head = append(head, fmt.Sprintf(`<measure number="%d"%s>`, i, pick("", "", ` implicit="yes"`)))
			for p := range body {
				m := measure()
				if i == 0 {
					m = "<attributes>" + common + "</attributes>" + m
				}
				body[p] = append(body[p], m)
			}
		}
		var partwise, timewise strings.Builder
		partwise.WriteString("<score-partwise>")
		for p := range body {
			fmt.Fprintf(&partwise, `<part id="P%d">`, p)
			for i := range head {
				partwise.WriteString(head[i] + body[p][i] + "</measure>")
			}
			partwise.WriteString("</part>")
		}
		partwise.WriteString("</score-partwise>")
		timewise.WriteString("<score-timewise>")
		for i := range head {
			timewise.WriteString(head[i])
			for p := range body {
				fmt.Fprintf(&timewise, `<part id="P%d">%s</part>`, p, body[p][i])
			}
			timewise.WriteString("</measure>")
		}
		timewise.WriteString("</score-timewise>")

		a, errA := Read(strings.NewReader(partwise.String()), Options{Part: "P1"})
		b, errB := Read(strings.NewReader(timewise.String()), Options{Part: "P1"})
		if (errA == nil) != (errB == nil) {
			t.Fatalf("%s\npartwise: %v\ntimewise: %v", partwise.String(), errA, errB)
		}
		if errA != nil {
			refused++
			var e *Error
			if !errors.As(errA, &e) {
				t.Fatalf("%s: %v", partwise.String(), errA)
			}
			continue
		}
		read++
		check(t, a)
		a.Warnings, b.Warnings = nil, nil // they give lines and columns
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("%s\npartwise %+v\ntimewise %+v", partwise.String(), a, b)
		}
	}
	if read < 300 || refused < 300 {
		t.Errorf("%d read, %d refused; want at least 300 of each", read, refused)
	}
}
