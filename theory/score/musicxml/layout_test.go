package musicxml

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/written"
)

func TestValueOf(t *testing.T) {
	// Every value from the 1024th to the maxima, with up to three dots, comes back; by the table that reading uses.
	seen := 0
	for name, length := range noteTypes {
		for dots := range 4 {
			v, ok := written.ValueOf(dotted(length, dots))
			if small := dotted(length, dots).Den() > 256; small {
				if ok {
					t.Errorf("%s with %d dots: %v; its last dot is too short", name, dots, v)
				}
				continue
			}
			seen++
			if !ok || written.TypeNames[v.Type] != name || v.Dots != dots {
				t.Errorf("%s with %d dots is written as %v, %t", name, dots, v, ok)
			}
		}
	}
	if seen != 14*4-6 {
		t.Errorf("%d values; want %d", seen, 14*4-6)
	}
	for _, l := range []Time{{}, score.T(5, 4), score.T(1, 3), score.T(-1, 2), score.Quarters(64), score.T(1, 512), score.T(31, 16)} {
		if v, ok := written.ValueOf(l); ok {
			t.Errorf("%s is written as %v", l, v)
		}
	}
}

// aPassage makes a passage of one note a quarter, from texts such as "C#4 Bb4 | C4".
func aPassage(t *testing.T, k string, text string) *score.Passage {
	t.Helper()
	p := &score.Passage{}
	if k != "" {
		x, err := key.Parse(k)
		if err != nil {
			t.Fatal(err)
		}
		p.Keys = []score.KeyChange{{Key: x, Declared: true}}
	}
	for i, bar := range strings.Split(text, "|") {
		p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(i + 1), Start: score.Quarters(4 * i), Length: score.Quarters(4), Meter: score.Meter{Beats: 4, Unit: 4}})
		for j, f := range strings.Fields(bar) {
			x, err := pitch.Parse(strings.Trim(f, "<>l"))
			if err != nil {
				t.Fatal(err)
			}
			n := score.Note{Pitch: x, Onset: score.Quarters(4*i + j), Duration: score.Quarters(1), Hand: score.Right, Voice: 1, Bar: i,
				TieFrom: strings.Contains(f, "<"), TieTo: strings.Contains(f, ">")}
			if strings.Contains(f, "l") {
				n.Hand = score.Left
			}
			p.Notes = append(p.Notes, n)
		}
	}
	p.Sort()
	return p
}

// Accidentals by key and bar, "in effect for the rest of the bar", an octave and a staff each for itself (common practice; so in the
// handbooks on notation).
func TestAccidentals(t *testing.T) {
	for _, c := range []struct{ key, notes, want string }{
		{"C major", "C4 C#4 C#4 C4", "- sharp - natural"},
		{"C major", "C#4 C#5 C5 C4", "sharp sharp natural natural"},
		{"C major", "F#4 F#4 | F#4 F4", "sharp - sharp natural"},
		{"D major", "F#4 C#4 F4 F#4", "- - natural sharp"},
		{"Eb major", "Bb4 Eb4 E4 Ab4", "- - natural -"},
		{"C major", "C4 D4 E4 F#4> | F#4< F#4", "- - - sharp - sharp"}, // tied over the bar line, and struck again
		{"C major", "C4 D4 E4 C#4> | C#4< C4", "- - - sharp - -"},      // the tied one changes nothing in the new bar
		{"C major", "F##4 F#4 Bbb4 Bb4", "double-sharp sharp flat-flat flat"},
		{"C major", "C#4 C#4l C4 C4l", "sharp sharp natural natural"},
		{"Gb major", "Cb4 C4", "- natural"},
		{"", "F#4", "sharp"},
	} {
		var b bytes.Buffer
		if err := Write(&b, aPassage(t, c.key, c.notes), WriteOptions{}); err != nil {
			t.Fatal(err)
		}
		signs := map[string][]string{}
		for _, s := range strings.Split(b.String(), "<note>")[1:] {
			if strings.Contains(s, "<pitch>") {
				sign := "-"
				if _, after, ok := strings.Cut(s, "<accidental>"); ok {
					sign, _, _ = strings.Cut(after, "<")
				}
				_, staff, _ := strings.Cut(s, "<staff>")
				signs[staff[:1]] = append(signs[staff[:1]], sign)
			}
		}
		got := strings.Join(signs["1"], " ")
		if l := signs["2"]; l != nil { // written after the other hand, told in turns
			var turns []string
			for i := range l {
				turns = append(turns, signs["1"][i], l[i])
			}
			got = strings.Join(turns, " ")
		}
		if got != c.want {
			t.Errorf("%s, %s: signs %s; want %s", c.key, c.notes, got, c.want)
		}
	}
}

func TestWriteTexts(t *testing.T) {
	p := aPassage(t, "A major", "A4 C#5 E5 A5 | A4> A4< A4 A3l")
	p.Title = "Lamps & <windows>"
	p.Dynamics = []score.Dynamic{{Text: "mf"}, {At: score.Quarters(1), Until: score.Quarters(6), Text: "louder"}, {At: score.Quarters(2), Text: "poco f", Hand: score.Left}}
	p.Signs = []score.Sign{{Kind: score.RepeatStart, At: score.Quarters(4), Bar: 1}, {Kind: score.RepeatEnd, At: score.Quarters(8), Bar: 1, Times: 3}}
	p.Tempos = []score.Tempo{{Quarters: 72.5}}
	p.Pedals = []score.Pedal{{At: score.T(1, 2), Act: score.PedalDown}}
	p.Harmonies = []score.Harmony{{Kind: "major", Root: pitch.Class{Letter: pitch.A}}}
	var b bytes.Buffer
	if err := Write(&b, p, WriteOptions{Readings: []Reading{{At: score.Quarters(1), Text: "F#m/C# <first>"}}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"<work-title>Lamps &amp; &lt;windows&gt;</work-title>",
		"<key><fifths>3</fifths><mode>major</mode></key><time><beats>4</beats><beat-type>4</beat-type></time><staves>2</staves>",
		`<metronome><beat-unit>quarter</beat-unit><per-minute>72.5</per-minute></metronome></direction-type><staff>1</staff><sound tempo="72.5"/>`,
		`<dynamics><mf/></dynamics>`, `<other-dynamics>poco f</other-dynamics></dynamics></direction-type><staff>2</staff>`,
		`<wedge type="crescendo" number="1"/>`, `<wedge type="stop" number="1"/>`,
		`<direction placement="below"><direction-type><words>F#m/C# &lt;first&gt;</words></direction-type><staff>2</staff></direction>`,
		`<barline location="left"><bar-style>heavy-light</bar-style><repeat direction="forward"/></barline>`,
		`<barline location="right"><bar-style>light-heavy</bar-style><repeat direction="backward" times="3"/></barline>`,
		`<harmony placement="above"><root><root-step>A</root-step></root><kind>major</kind></harmony>`,
		`<tie type="start"/>`, `<notations><tied type="stop"/></notations>`, `<rest measure="yes"/>`,
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%s isn't in\n%s", want, b.String())
		}
	}
	// A note over the bar line, as from a MIDI file, comes back as one sound.
	p = aPassage(t, "", "C4 | C5")
	p.Notes[0].Duration = score.T(9, 2)
	p.Bars = append(p.Bars, score.Bar{Number: "3", Start: score.Quarters(8), Meter: score.Meter{}})
	q, _ := again(t, p)
	got := q.Sounding()
	if len(q.Notes) != 3 || len(got) != 2 || got[0].Duration != score.T(9, 2) || len(q.Bars) != 3 {
		t.Errorf("a note of 4 1/2 quarters: %+v", q.Notes)
	}
}

func TestWriteErrors(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(p *score.Passage)
		want   string
	}{
		{"no bars", func(p *score.Passage) { p.Bars = nil }, "musicxml: the passage has no bars"},
		{"a gap", func(p *score.Passage) { p.Bars[1].Start = score.Quarters(5) }, "bar 2 begins at 5; the bar before it ends at 4"},
		{"no number", func(p *score.Passage) { p.Bars[1].Number = "" }, `bar 2 of the passage has the number ""`},
		{"a meter", func(p *score.Passage) { p.Bars[0].Meter = score.Meter{Beats: 3, Unit: 5} }, "bar 1: the meter 3/5 (3 over 5, groups []) cannot be written"},
		{"no length", func(p *score.Passage) { p.Bars = p.Bars[:1]; p.Notes = nil; p.Bars[0].Length = Time{} }, "bar 1 of 4/4 has no length"},
		{"no hand", func(p *score.Passage) { p.Notes[0].Hand = 0 }, "bar 1: C4, a note of no hand"},
		{"no such bar", func(p *score.Passage) { p.Notes[0].Bar = 9 }, "C4 is in bar 9 of 2"},
		{"the wrong bar", func(p *score.Passage) { p.Notes[0].Bar = 1 }, "bar 2: C4, a note that begins at 0, outside of the bar"},
		{"no voice", func(p *score.Passage) { p.Notes[0].Voice = 0 }, "of voice 0"},
		{"no duration", func(p *score.Passage) { p.Notes[0].Duration = Time{} }, "with a length of 0"},
		{"too long", func(p *score.Passage) { p.Notes[0].Duration = score.Quarters(99) }, "beyond the end"},
		{"octave", func(p *score.Passage) { p.Notes[0].Pitch.Octave = -2 }, "out of range; octaves are 0 to 9"},
		{"alteration", func(p *score.Passage) { p.Notes[0].Pitch.Alter = 4 }, "out of range"},
		{"letter", func(p *score.Passage) { p.Notes[0].Pitch.Letter = 9 }, "out of range"},
		{"grace", func(p *score.Passage) { p.Notes[0].Grace = 7 }, "of an unknown kind"},
		{"divisions", func(p *score.Passage) {
			for i, d := range []int64{1009, 1013, 1019} {
				p.Notes[i].Onset = p.Notes[i].Onset.Add(score.T(1, d))
				p.Notes[i].Duration = score.T(1, 2)
			}
		}, "divide the quarter note into more than 10000000 equal parts"},
		{"tempo", func(p *score.Passage) { p.Tempos = []score.Tempo{{}} }, "a tempo of 0; want"},
		{"key", func(p *score.Passage) { p.Keys = []score.KeyChange{{At: score.Quarters(-1)}} }, "a key at -1 is outside of the passage"},
		{"dynamic", func(p *score.Passage) { p.Dynamics = []score.Dynamic{{}} }, `the dynamic "" cannot be written`},
		{"pedal", func(p *score.Passage) { p.Pedals = []score.Pedal{{Act: 9}} }, "the pedal mark %!PedalAct(9) cannot be written"},
		{"kind of chord", func(p *score.Passage) { p.Harmonies = []score.Harmony{{Kind: "odd"}} }, `of the unknown kind "odd"`},
		{"degree", func(p *score.Passage) { p.Harmonies = []score.Harmony{{Kind: "major", Degrees: "plus 9"}} }, `a chord symbol with "plus 9"`},
		{"sign", func(p *score.Passage) { p.Signs = []score.Sign{{Kind: score.Fine, At: score.Quarters(6)}} }, "the sign Fine at 6 is outside of its bar"},
		{"hairpins", func(p *score.Passage) {
			for range 17 {
				p.Dynamics = append(p.Dynamics, score.Dynamic{Text: "louder", Until: score.Quarters(2)})
			}
		}, "more than 16 hairpins at once"},
	} {
		p := aPassage(t, "", "C4 D4 E4 F4 | G4")
		c.change(p)
		var b bytes.Buffer
		err := Write(&b, p, WriteOptions{})
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "musicxml: ") || b.Len() > 0 {
			t.Errorf("%s: %v; want %q", c.name, err, c.want)
		}
	}
}

func BenchmarkWrite(b *testing.B) {
	p, err := Read(bytes.NewReader(largest(b)), Options{})
	if err != nil {
		b.Fatal(err)
	}
	var out bytes.Buffer
	b.ReportAllocs()
	for b.Loop() {
		out.Reset()
		if err := Write(&out, p, WriteOptions{}); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(out.Len()))
}

// Passages that no score holds are written or refused, in little time and memory.
func TestWriteHuge(t *testing.T) {
	if raceDetector {
		t.Skip("slow under the race detector, and nothing runs at once")
	}
	for _, c := range []struct {
		name string
		make func(p *score.Passage)
		want string
	}{
		{"all notes overlap", func(p *score.Passage) {
			for i := range 20_000 {
				p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(60, false), Duration: score.T(int64(i+1), 1000), Hand: score.Right, Voice: 1})
			}
		}, "more than 100 notes of one voice overlap"},
		{"a bar of many notes", func(p *score.Passage) {
			for i := range 20_000 {
				p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(60, false), Onset: score.T(int64(i), 5), Duration: score.T(1, 5), Hand: score.Right, Voice: 1})
			}
		}, ""},
		{"a bar of many grace notes", func(p *score.Passage) {
			for i := range 20_000 {
				p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(60, false), Onset: score.T(int64(i), 5), Grace: score.Acciaccatura, Hand: score.Right, Voice: 1})
			}
		}, ""},
		{"tuplets that never close", func(p *score.Passage) {
			for i := range 20_000 {
				p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(60, false), Onset: score.T(int64(i), 1).Add(score.T(1, 3)), Duration: score.T(int64(1+i%2), int64(1+i%3)), Hand: score.Right, Voice: 1 + i%2})
			}
		}, ""},
		{"a long bar of short beats", func(p *score.Passage) { p.Bars[0].Meter = score.Meter{Beats: 4, Unit: 1024} }, ""},
	} {
		p := &score.Passage{Bars: []score.Bar{{Number: "1", Length: score.Quarters(200_000), Meter: score.Meter{}}}}
		c.make(p)
		var b bytes.Buffer
		switch err := Write(&b, p, WriteOptions{}); {
		case c.want == "" && err != nil, c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v; want %q", c.name, err, c.want)
		case err == nil:
			if _, err := Read(&b, Options{}); err != nil {
				t.Errorf("%s, read again: %v", c.name, err)
			}
		}
	}
}
