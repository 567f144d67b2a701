package typed

import (
	"bytes"
	"fmt"
	"go/parser"
	gotoken "go/token"
	"reflect"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// All passages of these tests are invented for them.

// lamp is the example of the description.
func lamp(t testing.TB) string {
	t.Helper()
	from := strings.Index(Help, "    title:")
	to := strings.Index(Help, "Header lines")
	if from < 0 || to < from {
		t.Fatal("format.txt has no example")
	}
	return strings.ReplaceAll(Help[from:to], "\n    ", "\n")[4:]
}

func mustRead(t testing.TB, text string) *score.Passage {
	t.Helper()
	p, err := Read("test.txt", strings.NewReader(text))
	if err != nil {
		t.Fatalf("Read: %v\n%s", err, text)
	}
	return p
}

// content is what of a passage a text must keep, in one order. (Equal grace notes and marks keep theirs.)
func content(p *score.Passage) *score.Passage {
	q := &score.Passage{Title: p.Title, Bars: slices.Clone(p.Bars), Notes: slices.Clone(p.Notes), Keys: slices.Clone(p.Keys),
		Tempos: slices.Clone(p.Tempos), Dynamics: slices.Clone(p.Dynamics),
		Pedals: slices.Clone(p.Pedals), Harmonies: slices.Clone(p.Harmonies), Signs: slices.Clone(p.Signs)}
	q.Sort()
	slices.SortStableFunc(q.Notes, canonical)
	slices.SortStableFunc(q.Keys, func(a, b score.KeyChange) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(q.Tempos, func(a, b score.Tempo) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(q.Dynamics, func(a, b score.Dynamic) int { return a.At.Compare(b.At) })
	for i := range q.Dynamics {
		if d := &q.Dynamics[i]; !d.At.Less(d.Until) {
			d.Until = Time{}
		}
	}
	return q
}

// difference names the first thing that two passages don't share, "" if there is none.
func difference(a, b *score.Passage) string {
	a, b = content(a), content(b)
	va, vb := reflect.ValueOf(*a), reflect.ValueOf(*b)
	for f := range va.NumField() {
		name, fa, fb := va.Type().Field(f).Name, va.Field(f), vb.Field(f)
		if fa.Kind() != reflect.Slice {
			if fa.Interface() != fb.Interface() {
				return fmt.Sprintf("%s: %q, %q", name, fa, fb)
			}
			continue
		}
		for i := range min(fa.Len(), fb.Len()) {
			if !reflect.DeepEqual(fa.Index(i).Interface(), fb.Index(i).Interface()) {
				return fmt.Sprintf("%s[%d]: %+v, %+v", name, i, fa.Index(i), fb.Index(i))
			}
		}
		if fa.Len() != fb.Len() {
			return fmt.Sprintf("%s: %d, %d", name, fa.Len(), fb.Len())
		}
	}
	return ""
}

// checkRoundTrip writes p, reads it, and writes it again.
func checkRoundTrip(t testing.TB, p *score.Passage) {
	t.Helper()
	var text, again bytes.Buffer
	if err := Write(&text, p); err != nil {
		t.Fatalf("Write: %v", err)
	}
	q, err := Read(p.Source, bytes.NewReader(text.Bytes()))
	if err != nil {
		t.Fatalf("Read(Write(p)): %v\n%s", err, clipText(text.String()))
	}
	if d := difference(p, q); d != "" {
		t.Fatalf("Read(Write(p)) differs: %s\n%s", d, clipText(text.String()))
	}
	if err := Write(&again, q); err != nil || again.String() != text.String() {
		t.Fatalf("Write(Read(Write(p))): %v, or another text\n%s\n%s", err, clipText(text.String()), clipText(again.String()))
	}
}

func clipText(s string) string { return s[:min(len(s), 4000)] }

// notesText prints notes for comparison, one a word: hand and voice, onset, length, pitch, flags.
func notesText(p *score.Passage) string {
	var out []string
	for _, n := range p.Notes {
		s := fmt.Sprintf("%c%d@%s:%s", n.Hand.String()[0], n.Voice, strings.ReplaceAll(n.Onset.String(), " ", "+"), n.Pitch)
		switch n.Grace {
		case score.Appoggiatura:
			s += "*"
		case score.Acciaccatura:
			s += "*/"
		default:
			s += "/" + strings.ReplaceAll(n.Duration.String(), " ", "+")
		}
		if n.After {
			s += ">>"
		}
		if n.Together {
			s += "+"
		}
		if n.TieFrom {
			s += "<"
		}
		if n.TieTo {
			s += ">"
		}
		if n.Cue {
			s += "~"
		}
		out = append(out, s)
	}
	return strings.Join(out, " ")
}

func TestHelpIsDocumentation(t *testing.T) {
	f, err := parser.ParseFile(gotoken.NewFileSet(), "doc.go", nil, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	doc := strings.ReplaceAll(f.Doc.Text(), "\t", "    ")
	if _, page, _ := strings.Cut(doc, "[Help].\n\n"); page != Help || page == "" {
		t.Errorf("the package documentation and format.txt differ:\n%s", page)
	}
	if lines := strings.Count(Help, "\n"); lines > 66 {
		t.Errorf("format.txt has %d lines; a page has 66", lines)
	}
}

func TestExample(t *testing.T) {
	p := mustRead(t, lamp(t))
	want := "r1@0:E4/1 l1@1:A2/4 l1@1:E3/4 l1@1:B3/4 r1@1:B3/2 r1@1:E4/2 r1@1:A4/2 r1@3:A4/1 r1@4:B#4/1 " +
		"l1@5:F#2/4 l1@5:C#3/4 r1@5:C#5/2> l2@7:A3/2 r1@7:C#5/1/3< r1@7+1/3:D5/1/3 r1@7+2/3:E5/1/3 r1@8:D5* r1@8:C#5/1 " +
		"r1@9:D5/1/2 r1@9+1/2:E5/1/2 r1@10:F5/1/2 r1@10+1/2:A5/1+1/2"
	if got := notesText(p); got != want {
		t.Errorf("notes\n%s; want\n%s", got, want)
	}
	four, three := score.Meter{Beats: 4, Unit: 4}, score.Meter{Beats: 3, Unit: 4}
	q := score.Quarters
	wantP := &score.Passage{Title: "A lamp by the window", Notes: p.Notes,
		Bars: []score.Bar{aBar("0", q(0), q(1), q(3), four), aBar("1", q(1), q(4), Time{}, four), aBar("2", q(5), q(4), Time{}, four), aBar("3", q(9), q(3), Time{}, three)},
		Keys: []score.KeyChange{{Key: key.Key{Tonic: pitch.Class{Letter: pitch.A}}, Declared: true},
			{At: q(9), Key: key.Key{Tonic: pitch.Class{Letter: pitch.D}, Mode: key.Minor}, Declared: true}},
		Tempos:   []score.Tempo{{Quarters: 66}},
		Dynamics: []score.Dynamic{{At: q(5), Text: "mf"}, {At: q(5), Until: q(9), Text: "louder"}, {At: q(9), Text: "p"}},
	}
	if d := difference(p, wantP); d != "" {
		t.Error(d)
	}
	checkRoundTrip(t, p)
}

// passages are texts that use everything the format has, with the notes they give.
var passages = []struct{ name, text, notes string }{
	{"small letters, signs, octaves", "meter: 4/4\nbar 1\nright: q c4 eb4 f♯5 bbb-1 | ",
		"r1@0:C4/1 r1@1:Eb4/1 r1@2:F#5/1 r1@3:Bbb-1/1"},
	{"a value holds over bar lines", "meter: 2/4\nbars 1-2\nright: q C4 D4 | E4 e F4 G4\nleft: h c3 | .",
		"l1@0:C3/2 r1@0:C4/1 r1@1:D4/1 r1@2:E4/1 r1@3:F4/1/2 r1@3+1/2:G4/1/2"},
	{"dots, doubled values", "meter: 8/2\nbar 1\nright: ww.. r h C4\n",
		"r1@14:C4/2"},
	{"smallest values", "meter: 1/4\nbar 1\nright: e C4 s C4 t C4 x C4 y C4 z C4 z C4",
		"r1@0:C4/1/2 r1@1/2:C4/1/4 r1@3/4:C4/1/8 r1@7/8:C4/1/16 r1@15/16:C4/1/32 r1@31/32:C4/1/64 r1@63/64:C4/1/64"},
	{"carried on", "meter: 2/4\nbars 1-3\n  right: h C4 |\n   D4 | # here\n\n   E4\n  left: h C3 | r | r",
		"l1@0:C3/2 r1@0:C4/2 r1@2:D4/2 r1@4:E4/2"},
	{"tuplet", "meter: 2/4\nbar 1\nright: 3(e C4 D4 E4) q F4", "r1@0:C4/1/3 r1@1/3:D4/1/3 r1@2/3:E4/1/3 r1@1:F4/1"},
	{"tuplet of two values", "meter: 2/4\nbar 1\nright: 3in2( q C4 e D4 ) q E4",
		"r1@0:C4/2/3 r1@2/3:D4/1/3 r1@1:E4/1"},
	{"tuplet in a tuplet", "meter: 1/4\nbar 1\nright: 3(e C4 3(s D4 E4 F4) e G4)",
		"r1@0:C4/1/3 r1@1/3:D4/1/9 r1@4/9:E4/1/9 r1@5/9:F4/1/9 r1@2/3:G4/1/3"},
	{"duplet", "meter: 6/8\nbar 1\nright: 2(e C4 D4) 4(e C4 D4 E4 F4)",
		"r1@0:C4/3/4 r1@3/4:D4/3/4 r1@1+1/2:C4/3/8 r1@1+7/8:D4/3/8 r1@2+1/4:E4/3/8 r1@2+5/8:F4/3/8"},
	{"unusual tuplet", "meter: 2/4\nbar 1\nright: 11in8(s C4 r r r r r r r r r D4)", "r1@0:C4/2/11 r1@1+9/11:D4/2/11"},
	{"tie over the bar", "meter: 2/4\nbars 1-2\nright: h C4= | C4", "r1@0:C4/2> r1@2:C4/2<"},
	{"tie over two blocks", "meter: 2/4\nbar 1\nright: h C4=\nbar 2\nright: h C4", "r1@0:C4/2> r1@2:C4/2<"},
	{"chord tied in part", "meter: 2/4\nbar 1\nright: q C4=+E4+G4= C4+F4+G4", "r1@0:C4/1> r1@0:E4/1 r1@0:G4/1> r1@1:C4/1< r1@1:F4/1 r1@1:G4/1<"},
	{"whole chord tied", "meter: 2/4\nbar 1\nright: q C4+E4== C4+E4", "r1@0:C4/1> r1@0:E4/1> r1@1:C4/1< r1@1:E4/1<"},
	{"tie to another spelling", "meter: 2/4\nbar 1\nright: q C#4= Db4", "r1@0:C#4/1> r1@1:Db4/1<"},
	{"tie by spelling first", "meter: 2/4\nbar 1\nright: q C#4= Db4+C#4", "r1@0:C#4/1> r1@1:C#4/1< r1@1:Db4/1"},
	{"tie from before and to after", "meter: 2/4\nbar 1\nright: q =C4 C4=", "r1@0:C4/1< r1@1:C4/1>"},
	{"tie to another hand", "meter: 2/4\nbar 1\nright: q C4= r\nleft: q r =C4", "r1@0:C4/1> l1@1:C4/1<"},
	{"open tie", "meter: 2/4\nbar 1\nright: q C4=? D4", "r1@0:C4/1> r1@1:D4/1"},
	{"open tie beside its own pitch", "meter: 2/4\nbar 1\nright: q C4=? C4", "r1@0:C4/1> r1@1:C4/1"},
	{"open tie of a chord", "meter: 2/4\nbar 1\nright: q C4+E4==? D4", "r1@0:C4/1> r1@0:E4/1> r1@1:D4/1"},
	{"grace notes", "meter: 1/4\nbar 1\nright: *D4 */e4 q C4+G4 *B3", "r1@0:D4* r1@0:E4*/ r1@0:C4/1 r1@0:G4/1 r1@1:B3*"},
	{"grace notes of two bars at one moment", "meter: 1/4\nbars 1-2\nright: q C4 *B3 | *D4 q C4\nleft: q r *B2 | *D3 r",
		"r1@0:C4/1 r1@1:B3* l1@1:B2* r1@1:D4* l1@1:D3* r1@1:C4/1"},
	{"grace chord", "meter: 1/4\nbar 1\nright: *G4+C4 q E4", "r1@0:G4* r1@0:C4*+ r1@0:E4/1"},
	{"grace note tied to its own", "meter: 1/4\nbar 1\nright: *C4=  q C4", "r1@0:C4*> r1@0:C4/1<"},
	{"cue notes", "meter: 2/4\nbar 1\nright: q ~C4+E4 ~=C4=?", "r1@0:C4/1~ r1@0:E4/1 r1@1:C4/1<>~"},
	{"voices", "meter: 2/4\nbar 1\nright: h C5\nright 2: q E4 F4\nleft 3: h C3\nrh+: q G4 r", "l3@0:C3/2 r2@0:E4/1 r1@0:G4/1 r1@0:C5/2 r2@1:F4/1"},
	{"further notes at rest", "meter: 2/4\nbar 1\nright+: e G4", "r1@0:G4/1/2"},
	{"twice the same note in a voice", "meter: 2/4\nbar 1\nright: h G4\nright+: h G4", "r1@0:G4/2 r1@0:G4/2"},
	{"long rests", "meter: free\nbar 1\nright: 1in120000(ww r) q C4\nright 2: e D4 1in120000(ww r) e r", "r2@0:D4/1/2 r1@960000:C4/1"},
	{"a rest that no value has", "meter: 4/4\nbar 1\nright+: 1021in3(q C4) 1021in1009(s r) 1031in3(q r) q D4", "r1@0:C4/3/1021 r1@1043/4124:D4/1"},
	{"free meter", "meter: free\nbar 1\nright: q C4 D4 E4 F4 G4\nleft: .\nbar 2\nright: q C4", "r1@0:C4/1 r1@1:D4/1 r1@2:E4/1 r1@3:F4/1 r1@4:G4/1 r1@5:C4/1"},
	{"silent bars of unusual length", "meter: free\nbar 1: length 5/8\nright: .\nbar 2: meter 3/4, length 0/1\nright: .\nbar 3: length 5/4\nleft: .", ""},
	{"a bar cut in two", "meter: 4/4\nbar 4: length 1/2\nright: h C4\nbar 4: from beat 3\nright: h D4\nbar 4: from beat 2 1/2, length 1/8\nright: e D4",
		"r1@0:C4/2 r1@2:D4/2 r1@4:D4/1/2"},
	{"upbeat in the middle, short end", "meter: 3/8\nbar 1: upbeat\nright: e C4\nbar 2\nright: q. C4\nbar 3: upbeat\nright: s C4\nbar 4: short\nright: q C4",
		"r1@0:C4/1/2 r1@1/2:C4/1+1/2 r1@2:C4/1/4 r1@2+1/4:C4/1"},
	{"silent upbeat", "meter: 3/4\nbar 0: upbeat, length 1/4\nright: .\nbar 1\nright: .", ""},
	{"bar numbers", "meter: 1/4\nbar \"12 \\\"a\\\" #|é\"\nright: q C4\nbar X1\nright: q C4\nbar 007\nright: q C4\nbars 9–11\nright: . | . | .", "r1@0:C4/1 r1@1:C4/1 r1@2:C4/1"},
	{"title in quotes", "title: \"A \\\"lamp\\\" # \\n\\xff\" # a word \"on it\"\nmeter: 1/4\nbar 1\nright: .", ""},
	{"title not quite in quotes", "title: \"A lamp\" lit\nmeter: 1/4\nbar 1\nright: .", ""},
	{"meters", "meter: 3+2/8\nbar 1\nright: .\nbar 2: meter 12/16\nright: .\nbar 3: meter free, length 1/1\nright: .", ""},
	{"keys", "key: 3 sharps\nmeter: 1/4\nbar 1\nright: .\nbar 2: key 1 flat\nright: .\nbar 3: key Bb dorian, key e\nright: q [key 0 sharps] r [key c# minor]", ""},
	{"tempos", "tempo: q. = 80\nmeter: 2/4\nbar 1: tempo h=33.3\nright: q r [tempo e = 100.25] r", ""},
	{"marks", "meter: 4/4\nbars 1-2\nright: [p] q C4 [louder] D4 [f] E4 [softer] F4 | w [end] C4\nleft: [left mf][right \"poco f\"] w C3 | h r [both sfz for 1/4] r\nbetween: s r [\"x\"] | .",
		"l1@0:C3/4 r1@0:C4/1 r1@1:D4/1 r1@2:E4/1 r1@3:F4/1 r1@4:C4/4"},
	{"hairpins of each hand", "meter: 4/4\nbar 1\nright: [right louder] [louder] h C4 [right end] C4\nleft: [left softer] w C3 [left end] [end]", "l1@0:C3/4 r1@0:C4/2 r1@2:C4/2"},
	{"mark where no note begins", "meter: 4/4\nbar 1\nright: w C4\nbetween: 3(q r r [cresc.] r) 5(s r [dim. for 1/4] r r r r)", "r1@0:C4/4"},
	{"a mark ends a hairpin, then its end", "meter: 2/4\nbar 1\nright: [louder] q C4 [f] [end] D4", "r1@0:C4/1 r1@1:D4/1"},
	{"byte order mark, line ends of another system", "\ufeffmeter: 1/4\r\nbar 1\r\nright: q C4\r\n", "r1@0:C4/1"},
	{"grace notes after and before", "meter: 2/4\nbar 1\nright: q C4 *>D4 *>/E4+F4 *+G4 *A4 [p] */+B4 B4 *>C5",
		"r1@0:C4/1 r1@1:D4*>> r1@1:E4*/>> r1@1:F4*/>>+ r1@1:G4*+ r1@1:A4* r1@1:B4*/+ r1@1:B4/1 r1@2:C5*>>"},
	{"pedals", "meter: 2/4\nbar 1\nright: h C4\nbetween: [ped] e r [ped change] r [Ped  Up] [sostenuto] r [ped down] r [ped up]", "r1@0:C4/2"},
	{"signs", "meter: 2/4\nbars 1-4\nright: [repeat from here] h C4 | [ending 1-3] C4 [ending end] [repeat 4 times, also after a jump] | " +
		"[ending 4. \"last\"] [segno] C4 [ending left open] [dal segno called B al coda] [repeat] | [Segno called \"B\"] [coda] r [to coda] [da capo \"D.C. senza rep.\"] [fine]",
		"r1@0:C4/2 r1@2:C4/2 r1@4:C4/2"},
	{"chord symbols", "meter: 4/4\nbar 1\nright: [chord F#m7/C] q C4 [chord Bb] C4 [chord \"V\" dominant \"7\" with \"add b9\" inversion 1 over C] C4 " +
		"[chord N.C.] [chord Am7b5] [chord C7alt] e C4 [chord Ebmaj7 with \"add #11\"] [chord D minor] C4",
		"r1@0:C4/1 r1@1:C4/1 r1@2:C4/1 r1@3:C4/1/2 r1@3+1/2:C4/1/2"},
	{"everything in capitals", "METER: 1/4\nBARS 1-2\nRIGHT HAND: q C4 | R\nLH 1 : q C3 | .", "l1@0:C3/1 r1@0:C4/1"},
}

func TestReadNotes(t *testing.T) {
	for _, c := range passages {
		t.Run(c.name, func(t *testing.T) {
			p := mustRead(t, c.text)
			if got := notesText(p); got != c.notes {
				t.Errorf("notes\n%s; want\n%s", got, c.notes)
			}
			checkRoundTrip(t, p)
		})
	}
}

// text returns the passage of a name.
func text(t *testing.T, name string) string {
	t.Helper()
	for _, c := range passages {
		if c.name == name {
			return c.text
		}
	}
	t.Fatalf("no passage %q", name)
	return ""
}

func TestReadBars(t *testing.T) {
	q, f := score.Quarters, score.T
	four, three, eights := score.Meter{Beats: 4, Unit: 4}, score.Meter{Beats: 3, Unit: 4}, score.Meter{Beats: 3, Unit: 8}
	quarter := score.Meter{Beats: 1, Unit: 4}
	z := Time{}
	for _, c := range []struct {
		name string
		want []score.Bar
	}{
		{"free meter", []score.Bar{aBar("1", z, q(5), z, score.Meter{}), aBar("2", q(5), q(1), z, score.Meter{})}},
		{"silent bars of unusual length", []score.Bar{aBar("1", z, f(5, 2), z, score.Meter{}), aBar("2", f(5, 2), z, z, three), aBar("3", f(5, 2), q(5), z, three)}},
		{"a bar cut in two", []score.Bar{aBar("4", z, q(2), z, four), aBar("4", q(2), q(2), q(2), four), aBar("4", q(4), f(1, 2), f(3, 2), four)}},
		{"upbeat in the middle, short end", []score.Bar{aBar("1", z, f(1, 2), q(1), eights), aBar("2", f(1, 2), f(3, 2), z, eights),
			aBar("3", q(2), f(1, 4), f(5, 4), eights), aBar("4", f(9, 4), q(1), z, eights)}},
		{"silent upbeat", []score.Bar{aBar("0", z, q(1), q(2), three), aBar("1", q(1), q(3), z, three)}},
		{"bar numbers", []score.Bar{aBar(`12 "a" #|é`, z, q(1), z, quarter), aBar("X1", q(1), q(1), z, quarter), aBar("007", q(2), q(1), z, quarter),
			aBar("9", q(3), q(1), z, quarter), aBar("10", q(4), q(1), z, quarter), aBar("11", q(5), q(1), z, quarter)}},
		{"meters", []score.Bar{aBar("1", z, f(5, 2), z, score.Meter{Beats: 5, Unit: 8, Groups: []int{3, 2}}),
			aBar("2", f(5, 2), q(3), z, score.Meter{Beats: 12, Unit: 16}), aBar("3", f(11, 2), q(4), z, score.Meter{})}},
	} {
		if got := mustRead(t, text(t, c.name)).Bars; !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: bars %v; want %v", c.name, got, c.want)
		}
	}
	p := mustRead(t, text(t, "bar numbers"))
	if want := []string{"bar 9 comes after bar 007"}; !slices.Equal(p.Warnings, want) {
		t.Errorf("warnings %q; want %q", p.Warnings, want)
	}
}

func TestReadMarks(t *testing.T) {
	q, f := score.Quarters, score.T
	z := Time{}
	for _, c := range []struct {
		name string
		want []score.Dynamic
	}{
		{"marks", []score.Dynamic{aDynamic(z, z, "p", 0), aDynamic(z, z, "mf", score.Left), aDynamic(z, z, "poco f", score.Right), aDynamic(f(1, 4), z, "x", 0), aDynamic(q(1), q(2), "louder", 0),
			aDynamic(q(2), z, "f", 0), aDynamic(q(3), q(4), "softer", 0), aDynamic(q(6), q(7), "sfz", 0)}},
		{"hairpins of each hand", []score.Dynamic{aDynamic(z, q(2), "louder", score.Right), aDynamic(z, q(4), "louder", 0), aDynamic(z, q(4), "softer", score.Left)}},
		{"mark where no note begins", []score.Dynamic{aDynamic(f(4, 3), z, "cresc.", 0), aDynamic(f(11, 5), f(16, 5), "dim.", 0)}},
		{"a mark ends a hairpin, then its end", []score.Dynamic{aDynamic(z, q(1), "louder", 0), aDynamic(q(1), z, "f", 0)}},
	} {
		if got := mustRead(t, text(t, c.name)).Dynamics; !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: dynamics %v; want %v", c.name, got, c.want)
		}
	}
	class := func(s string) pitch.Class {
		c, err := pitch.ParseClass(s)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	wantKeys := []score.KeyChange{aKey(z, key.Key{Tonic: class("A")}, false), aKey(q(1), key.Key{Tonic: class("F")}, false),
		aKey(q(2), key.Key{Tonic: class("Bb"), Mode: key.Dorian}, true), aKey(q(2), key.Key{Tonic: class("E"), Mode: key.Minor}, true),
		aKey(q(2), key.Key{Tonic: class("C")}, false), aKey(q(3), key.Key{Tonic: class("C#"), Mode: key.Minor}, true)}
	if got := mustRead(t, text(t, "keys")).Keys; !reflect.DeepEqual(got, wantKeys) {
		t.Errorf("keys %v; want %v", got, wantKeys)
	}
	wantTempos := []score.Tempo{aTempo(z, 120), aTempo(z, 66.6), aTempo(q(1), 50.125)}
	if got := mustRead(t, text(t, "tempos")).Tempos; !reflect.DeepEqual(got, wantTempos) {
		t.Errorf("tempos %v; want %v", got, wantTempos)
	}
	for name, want := range map[string]string{"title in quotes": "A \"lamp\" # \n\xff", "title not quite in quotes": `"A lamp" lit`} {
		if got := mustRead(t, text(t, name)).Title; got != want {
			t.Errorf("%s: title %q; want %q", name, got, want)
		}
	}
}

func TestReadPedals(t *testing.T) {
	want := []score.Pedal{{Act: score.PedalDown}, {At: score.T(1, 2), Act: score.PedalChange}, {At: score.Quarters(1), Act: score.PedalUp},
		{At: score.Quarters(1), Act: score.Sostenuto}, {At: score.T(3, 2), Act: score.PedalDown}, {At: score.Quarters(2), Act: score.PedalUp}}
	if got := mustRead(t, text(t, "pedals")).Pedals; !reflect.DeepEqual(got, want) {
		t.Errorf("pedals %v; want %v", got, want)
	}
}

func TestReadSigns(t *testing.T) {
	q := score.Quarters
	want := []score.Sign{
		{Kind: score.RepeatStart},
		{At: q(2), Bar: 1, Kind: score.EndingStart, Numbers: "1, 2, 3"},
		{At: q(4), Bar: 1, Kind: score.RepeatEnd, Times: 4, AfterJump: true},
		{At: q(4), Bar: 1, Kind: score.EndingEnd},
		{At: q(4), Bar: 2, Kind: score.Segno},
		{At: q(4), Bar: 2, Kind: score.EndingStart, Numbers: "4", Text: "last"},
		{At: q(6), Bar: 2, Kind: score.RepeatEnd},
		{At: q(6), Bar: 2, Kind: score.EndingEnd, Open: true},
		{At: q(6), Bar: 2, Kind: score.DalSegno, Label: "B", Text: "D.S. al Coda"},
		{At: q(6), Bar: 3, Kind: score.Segno, Label: "B"},
		{At: q(6), Bar: 3, Kind: score.Coda},
		{At: q(8), Bar: 3, Kind: score.Fine},
		{At: q(8), Bar: 3, Kind: score.ToCoda},
		{At: q(8), Bar: 3, Kind: score.DaCapo, Text: "D.C. senza rep."},
	}
	if got := mustRead(t, text(t, "signs")).Signs; !reflect.DeepEqual(got, want) {
		t.Errorf("signs\n%+v; want\n%+v", got, want)
	}
	// Played: the repeat with its endings, told by hand from what stands there.
	p := mustRead(t, "meter: 1/4\nbars 1-4\nright: [repeat from here] q C4 | [ending 1] D4 [repeat] [ending end] | [ending 2] E4 [ending end] | F4 [da capo]")
	u, err := p.Unfold()
	if err != nil {
		t.Fatal(err)
	}
	var played []string
	for _, b := range u.Bars {
		played = append(played, b.Number)
	}
	if got, want := strings.Join(played, " "), "1 2 1 3 4 1 3 4"; got != want {
		t.Errorf("played are bars %s; want %s", got, want)
	}
}

func TestReadChordSymbols(t *testing.T) {
	class := func(l pitch.Letter, alter int8) pitch.Class { return pitch.Class{Letter: l, Alter: alter} }
	q, half := score.Quarters, score.T(7, 2)
	want := []score.Harmony{
		{Root: class(pitch.F, 1), Kind: "minor-seventh", Bass: class(pitch.C, 0), HasBass: true},
		{At: q(1), Root: class(pitch.B, -1), Kind: "major"},
		{At: q(2), Numeral: "V", Kind: "dominant", Printed: "7", Degrees: "add b9", Inverted: 1, HasBass: true},
		{At: q(3), Kind: "none"},
		{At: q(3), Root: class(pitch.A, 0), Kind: "half-diminished", Printed: "m7b5"},
		{At: q(3), Root: class(pitch.C, 0), Kind: "other", Printed: "7alt"},
		{At: half, Root: class(pitch.E, -1), Kind: "major-seventh", Degrees: "add #11"},
		{At: half, Root: class(pitch.D, 0), Kind: "minor"},
	}
	if got := mustRead(t, text(t, "chord symbols")).Harmonies; !reflect.DeepEqual(got, want) {
		t.Errorf("chord symbols\n%+v; want\n%+v", got, want)
	}
}

// What is written is what a typist would write.
func TestWriteSigns(t *testing.T) {
	const want = `meter: 2/4

bars 1-3
right: [ped] [repeat from here] h D5 *>C5 *>D5 |
       [ending 1] *B4+D5 q C5 r [repeat] [ending end] |
       [chord F#m7/C] h C5 [ped up] [da capo al fine]
`
	var out strings.Builder
	if err := Write(&out, mustRead(t, want)); err != nil || out.String() != want {
		t.Errorf("Write: %v\n%s; want\n%s", err, out.String(), want)
	}
}

func aBar(number string, start, length, offset Time, m score.Meter) score.Bar {
	return score.Bar{Number: number, Start: start, Length: length, Offset: offset, Meter: m}
}

func aDynamic(at, until Time, text string, h score.Hand) score.Dynamic {
	return score.Dynamic{At: at, Until: until, Text: text, Hand: h}
}

func aKey(at Time, k key.Key, declared bool) score.KeyChange {
	return score.KeyChange{At: at, Key: k, Declared: declared}
}

func aTempo(at Time, quarters float64) score.Tempo { return score.Tempo{At: at, Quarters: quarters} }
