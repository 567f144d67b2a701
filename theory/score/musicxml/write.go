package musicxml

import (
	"archive/zip"
	"bytes"
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/written"
)

// WriteOptions tell how to write.
type WriteOptions struct {
	Compressed bool // an archive (.mxl)
	Readings   []Reading
}

// A Reading is a text that is set under the staves at a moment: what somebody makes of the chord there.
type Reading struct {
	At   Time
	Text string
}

// maxDivisions bounds the parts that a quarter note is cut into.
const maxDivisions = 10_000_000

// Write writes p as MusicXML 4.0, partwise, one part of two staves. What Read makes of it is equal to p in title, bars, notes
// and marks (score.Diff finds nothing), but for these: a note that no single value can say, or that lasts beyond its bar, is
// written as several notes tied; voice numbers that a hand leaves out are closed up; white space in texts is made plain;
// Source, Parts and Warnings are those of the written file. The same passage gives the same bytes.
//
// Write returns an error, and writes nothing, if p says something that the format cannot: no bars at all, bars that don't
// follow one another from 0, a bar without length under a meter, notes of no hand or outside of their bar, pitches out of
// range, times that need more than 10,000,000 divisions of a quarter note. The error names the place.
func Write(w io.Writer, p *score.Passage, o WriteOptions) error {
	wr := &writer{p: p}
	if err := wr.write(o); err != nil {
		return fmt.Errorf("musicxml: %w", err)
	}
	data := wr.out.Bytes()
	if len(data) > MaxBytes {
		return fmt.Errorf("musicxml: the file would be larger than %d MiB", MaxBytes>>20)
	}
	if o.Compressed {
		var err error
		if data, err = pack(data); err != nil {
			return fmt.Errorf("musicxml: %w", err)
		}
	}
	_, err := w.Write(data)
	return err
}

// pack makes an archive: the media type first and uncompressed, the container that names the score, the score (MusicXML
// 4.0, "Compressed .MXL files"). It has no times, so that it is always the same.
func pack(data []byte) ([]byte, error) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range []struct {
		name, text string
		method     uint16
	}{
		{"mimetype", "application/vnd.recordare.musicxml", zip.Store},
		{"META-INF/container.xml", `<?xml version="1.0" encoding="UTF-8"?>
<container>
  <rootfiles>
    <rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>
  </rootfiles>
</container>
`, zip.Deflate},
		{"score.musicxml", string(data), zip.Deflate},
	} {
		w, err := z.CreateHeader(&zip.FileHeader{Name: f.name, Method: f.method})
		if err == nil {
			_, err = io.WriteString(w, f.text)
		}
		if err != nil {
			return nil, err
		}
	}
	err := z.Close()
	return b.Bytes(), err
}

type writer struct {
	p         *score.Passage
	out       bytes.Buffer
	notes     [][]score.Note // by bar, cut at the bar lines
	marks     [][]placed     // by bar
	signs     [][]score.Sign // by bar
	divisions int64
	clefs     [3]string // by hand
	rights    int       // voices of the right hand
	ending    string    // the ending that is open
}

// A placed mark is XML that goes where a moment of the bar is. Of marks at one moment the lower rank goes first.
type placed struct {
	at   Time
	rank int
	text string
	key  *key.Key // of a change of key
}

// esc returns text as it may stand in XML.
func esc(s string) string {
	var b strings.Builder
	xml.EscapeText(&b, []byte(s)) // a Builder never fails
	return b.String()
}

func (w *writer) line(depth int, format string, args ...any) {
	for range depth {
		w.out.WriteString("  ")
	}
	fmt.Fprintf(&w.out, format, args...)
	w.out.WriteByte('\n')
}

func (w *writer) write(o WriteOptions) error {
	if err := w.check(); err != nil {
		return err
	}
	w.cut()
	if err := w.place(o); err != nil {
		return err
	}
	implicit, offsets := w.shapes()

	w.out.WriteString(xml.Header)
	w.line(0, `<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">`)
	w.line(0, `<score-partwise version="4.0">`)
	if w.p.Title != "" {
		w.line(1, "<work>")
		w.line(2, "<work-title>%s</work-title>", esc(w.p.Title))
		w.line(1, "</work>")
	}
	w.line(1, "<identification>")
	w.line(2, "<encoding>")
	w.line(3, "<software>plumbline</software>")
	w.line(3, `<supports element="accidental" type="yes"/>`)
	w.line(3, `<supports element="beam" type="yes"/>`)
	w.line(2, "</encoding>")
	if offsets != "" {
		w.line(2, "<miscellaneous>")
		w.line(3, `<miscellaneous-field name="%s">%s</miscellaneous-field>`, offsetsField, offsets)
		w.line(2, "</miscellaneous>")
	}
	w.line(1, "</identification>")
	w.line(1, "<part-list>")
	w.line(2, `<score-part id="P1">`)
	w.line(3, "<part-name>Piano</part-name>")
	w.line(3, `<score-instrument id="P1-I1">`)
	w.line(4, "<instrument-name>Piano</instrument-name>")
	w.line(4, "<instrument-sound>keyboard.piano</instrument-sound>")
	w.line(3, "</score-instrument>")
	w.line(2, "</score-part>")
	w.line(1, "</part-list>")
	w.line(1, `<part id="P1">`)
	if err := w.bars(implicit); err != nil {
		return err
	}
	w.line(1, "</part>")
	w.line(0, "</score-partwise>")
	return nil
}

// check looks at what can't be written.
func (w *writer) check() error {
	p := w.p
	if len(p.Bars) == 0 {
		return fmt.Errorf("the passage has no bars")
	}
	at := Time{}
	for i, b := range p.Bars {
		m := b.Meter
		switch {
		case b.Number == "" || len(b.Number) > 32 || strings.TrimSpace(b.Number) != b.Number || esc(b.Number) != escAttr(b.Number):
			return fmt.Errorf("bar %d of the passage has the number %q; want 1 to 32 bytes of plain text", i+1, b.Number)
		case b.Start != at:
			return fmt.Errorf("bar %s begins at %s; the bar before it ends at %s", b.Number, b.Start, at)
		case !b.Length.InRange() || b.Length.Sign() < 0 || !b.Offset.InRange() || b.Offset.Sign() < 0:
			return fmt.Errorf("bar %s: its length or offset is out of range", b.Number)
		case !writableMeter(m):
			return fmt.Errorf("bar %s: the meter %s (%d over %d, groups %v) cannot be written", b.Number, m, m.Beats, m.Unit, m.Groups)
		case b.Length.Sign() == 0 && m.Length().Sign() > 0:
			return fmt.Errorf("bar %s of %s has no length", b.Number, m)
		}
		if at = b.End(); !at.InRange() {
			return fmt.Errorf("bar %s ends out of range", b.Number)
		}
	}
	if len(p.Bars) > MaxMeasures || len(p.Notes) > MaxNotes || len(p.Keys)+len(p.Tempos)+len(p.Dynamics)+len(p.Pedals)+len(p.Harmonies)+len(p.Signs) > MaxMarks {
		return fmt.Errorf("more than %d bars, %d notes or %d marks", MaxMeasures, MaxNotes, MaxMarks)
	}
	for _, n := range p.Notes {
		if n.Bar < 0 || n.Bar >= len(p.Bars) {
			return fmt.Errorf("%s is in bar %d of %d", n.Pitch, n.Bar, len(p.Bars))
		}
		b := p.Bars[n.Bar]
		fail := func(why string) error { return fmt.Errorf("bar %s: %s, a note %s", b.Number, n.Pitch, why) }
		switch {
		case n.Pitch.Octave < 0 || n.Pitch.Octave > 9 || n.Pitch.Alter < -pitch.MaxAlter || n.Pitch.Alter > pitch.MaxAlter || n.Pitch.Letter < 0 || n.Pitch.Letter > 6:
			return fail("out of range; octaves are 0 to 9")
		case n.Hand != score.Right && n.Hand != score.Left:
			return fail("of no hand")
		case n.Voice < 1 || n.Voice > 1000:
			return fail(fmt.Sprintf("of voice %d; voices are 1 to 1000", n.Voice))
		case n.Grace < score.NoGrace || n.Grace > score.Acciaccatura:
			return fail("of an unknown kind")
		case (n.Grace == score.NoGrace) != (n.Duration.Sign() > 0):
			return fail(fmt.Sprintf("with a length of %s", n.Duration))
		case !n.Onset.InRange() || !n.Duration.InRange() || !n.End().InRange() || p.End().Less(n.End()):
			return fail("at a time out of range, or beyond the end")
		case n.Onset.Less(b.Start) || b.End().Less(n.Onset) || n.Grace == score.NoGrace && n.Onset == b.End():
			return fail(fmt.Sprintf("that begins at %s, outside of the bar", n.Onset))
		}
	}
	return nil
}

// escAttr is esc for what an attribute keeps as it is.
func escAttr(s string) string { return strings.Join(strings.Fields(esc(s)), " ") }

// writableMeter reports whether Read gives m back.
func writableMeter(m score.Meter) bool {
	if m.Beats == 0 && m.Unit == 0 {
		return len(m.Groups) == 0
	}
	sum := 0
	for _, g := range m.Groups {
		if g < 1 || g > 1000 {
			return false
		}
		sum += g
	}
	return m.Beats > 0 && m.Unit > 0 && m.Unit <= 1024 && m.Unit&(m.Unit-1) == 0 && m.Length().InRange() && len(m.Groups) <= 32 &&
		(len(m.Groups) == 0 && m.Beats <= 1000 || len(m.Groups) > 1 && sum == m.Beats)
}

// cut puts the notes into their bars, and notes that last beyond theirs into several, tied.
func (w *writer) cut() {
	w.notes = make([][]score.Note, len(w.p.Bars))
	for _, n := range w.p.Notes {
		for i := n.Bar; ; i++ {
			end := w.p.Bars[i].End()
			n.Bar = i
			if n.Grace != score.NoGrace || !end.Less(n.End()) {
				w.notes[i] = append(w.notes[i], n)
				break
			}
			if !n.Onset.Less(end) {
				continue // a bar without length
			}
			part := n
			part.Duration, part.TieTo = end.Sub(n.Onset), true
			w.notes[i] = append(w.notes[i], part)
			n.Onset, n.Duration, n.TieFrom = end, n.End().Sub(end), true
		}
	}
	var sum, count [3]int
	voices := map[int]bool{}
	for _, n := range w.p.Notes {
		sum[n.Hand] += n.Pitch.MIDI()
		count[n.Hand]++
		if n.Hand == score.Right && !voices[n.Voice] {
			voices[n.Voice] = true
			w.rights = max(w.rights, n.Voice)
		}
	}
	w.rights = max(w.rights, 4)
	w.clefs = [3]string{score.Right: "<sign>G</sign><line>2</line>", score.Left: "<sign>F</sign><line>4</line>"}
	if c := count[score.Right]; c > 0 && sum[score.Right] < 53*c { // most of it far below the staff
		w.clefs[score.Right] = w.clefs[score.Left]
	}
	if c := count[score.Left]; c > 0 && sum[score.Left] > 67*c {
		w.clefs[score.Left] = "<sign>G</sign><line>2</line>"
	}
}

// shapes finds which bars are written as implicit, so that Read gives them the numbers and offsets they have, and words the
// offsets that it wouldn't find.
func (w *writer) shapes() (implicit []bool, offsets string) {
	bars := w.p.Bars
	heads := make([]bar, len(bars))
	for i, b := range bars {
		heads[i] = bar{number: b.Number, length: b.Length}
		heads[i].implicit = b.Offset.Sign() > 0 && (i == 0 && b.Number == "0" || i > 0 && b.Number == bars[i-1].Number)
	}
	var got []score.Bar
	for again := true; again; {
		again = false
		got = slices.Clone(bars)
		for i := range got {
			got[i].Offset = Time{}
		}
		number(got, heads)
		for i := range got {
			if got[i].Number != bars[i].Number && heads[i].implicit {
				heads[i].implicit, again = false, true
			}
		}
	}
	var odd []string
	for i := range bars {
		implicit = append(implicit, heads[i].implicit)
		if got[i].Offset != bars[i].Offset {
			odd = append(odd, fmt.Sprintf("%d: %s", i+1, bars[i].Offset))
		}
	}
	return implicit, strings.Join(odd, ", ")
}

// barOf returns the bar in which a mark stands and its time from there.
func (w *writer) barOf(t Time) (int, Time) {
	i := w.p.BarAt(t)
	return i, t.Sub(w.p.Bars[i].Start)
}

// barBefore is barOf for the end of something: the bar that it ends.
func (w *writer) barBefore(t Time) (int, Time) {
	i, at := w.barOf(t)
	for at.Sign() == 0 && i > 0 {
		i--
		at = t.Sub(w.p.Bars[i].Start)
	}
	return i, at
}

// Ranks of marks at one moment.
const (
	rankEnds = iota
	rankKey
	rankTempo
	rankSign
	rankPedal
	rankDynamic
	rankHarmony
	rankReading
)

// place prints the marks and puts them into their bars.
func (w *writer) place(o WriteOptions) error {
	p := w.p
	w.marks, w.signs = make([][]placed, len(p.Bars)), make([][]score.Sign, len(p.Bars))
	end := p.End()
	within := func(t Time, what string) error {
		if !t.InRange() || t.Sign() < 0 || end.Less(t) {
			return fmt.Errorf("%s at %s is outside of the passage, which ends at %s", what, t, end)
		}
		return nil
	}
	add := func(i int, at Time, rank int, text string) {
		w.marks[i] = append(w.marks[i], placed{at: at, rank: rank, text: text})
	}

	for k := range p.Keys {
		c := &p.Keys[k]
		if err := within(c.At, "a key"); err != nil {
			return err
		}
		if s := c.Key.Signature(); s < -21 || s > 21 || c.Key.Mode < 0 || strings.HasPrefix(c.Key.Mode.String(), "%") {
			return fmt.Errorf("%s: the key %s cannot be written", p.Where(c.At), c.Key)
		}
		text := fmt.Sprintf("<key><fifths>%d</fifths></key>", c.Key.Signature())
		if c.Declared || c.Key.Mode != key.Major {
			text = fmt.Sprintf("<key><fifths>%d</fifths><mode>%s</mode></key>", c.Key.Signature(), c.Key.Mode)
		}
		i, at := w.barOf(c.At)
		w.marks[i] = append(w.marks[i], placed{at, rankKey, text, &c.Key})
	}
	for _, t := range p.Tempos {
		if err := within(t.At, "a tempo"); err != nil {
			return err
		}
		if !(t.Quarters > 0 && t.Quarters <= maxTempo) {
			return fmt.Errorf("%s: a tempo of %v; want a number of quarter notes a minute up to %d", p.Where(t.At), t.Quarters, maxTempo)
		}
		i, at := w.barOf(t.At)
		unit, count := "<beat-unit>quarter</beat-unit>", t.Quarters
		if beat := p.Bars[i].Meter.Beat(); beat == score.T(3, 2) {
			unit, count = unit+"<beat-unit-dot/>", t.Quarters/1.5
		}
		add(i, at, rankTempo, direction("above", 1, fmt.Sprintf("<metronome>%s<per-minute>%s</per-minute></metronome>", unit, decimalText(float64(int64(count*100+.5))/100)),
			fmt.Sprintf(`<sound tempo="%s"/>`, decimalText(t.Quarters))))
	}
	if err := w.placeDynamics(within, add); err != nil {
		return err
	}
	for _, e := range p.Pedals {
		if err := within(e.At, "a pedal mark"); err != nil {
			return err
		}
		name := ""
		for n, a := range pedalActs {
			if a == e.Act {
				name = n
			}
		}
		if name == "" {
			return fmt.Errorf("%s: the pedal mark %s cannot be written", p.Where(e.At), e.Act)
		}
		i, at := w.barOf(e.At)
		if e.Act == score.PedalUp {
			i, at = w.barBefore(e.At)
		}
		add(i, at, rankPedal, direction("below", 2, fmt.Sprintf(`<pedal type="%s" line="no" sign="yes"/>`, name), ""))
	}
	for _, h := range p.Harmonies {
		if err := within(h.At, "a chord symbol"); err != nil {
			return err
		}
		text, err := harmonyXML(h)
		if err != nil {
			return fmt.Errorf("%s: %w", p.Where(h.At), err)
		}
		i, at := w.barOf(h.At)
		add(i, at, rankHarmony, text)
	}
	for _, s := range p.Signs {
		if s.Bar < 0 || s.Bar >= len(p.Bars) || s.At.Less(p.Bars[s.Bar].Start) || p.Bars[s.Bar].End().Less(s.At) {
			return fmt.Errorf("the sign %s at %s is outside of its bar, the %d. of the passage", s, s.At, s.Bar+1)
		}
		w.signs[s.Bar] = append(w.signs[s.Bar], s)
		at := s.At.Sub(p.Bars[s.Bar].Start)
		if text := jumpXML(s); text != "" {
			add(s.Bar, at, rankSign, text)
		} else if at.Sign() > 0 && at.Less(p.Bars[s.Bar].Length) || !w.atEdge(s) {
			add(s.Bar, at, rankSign, w.barline("middle", "", []score.Sign{s}))
		}
	}
	for _, r := range o.Readings {
		if err := within(r.At, "a reading"); err != nil {
			return err
		}
		i, at := w.barOf(r.At)
		add(i, at, rankReading, direction("below", 2, "<words>"+esc(r.Text)+"</words>", ""))
	}
	for i := range w.marks {
		slices.SortStableFunc(w.marks[i], func(a, b placed) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.rank, b.rank)) })
	}
	return nil
}

// direction prints a direction of one type.
func direction(placement string, staff int, what, sound string) string {
	return fmt.Sprintf(`<direction placement="%s"><direction-type>%s</direction-type><staff>%d</staff>%s</direction>`, placement, what, staff, sound)
}

func decimalText(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// dynamicNames are the marks that are elements of their own (group of <dynamics>).
var dynamicNames = []string{"p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp", "mf", "sf", "sfp",
	"sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp"}

func (w *writer) placeDynamics(within func(Time, string) error, add func(int, Time, int, string)) error {
	p := w.p
	// Hairpins and dashes under way have numbers from 1 to 16.
	type line struct {
		until Time
		wedge bool
	}
	open := map[bool][]*line{}
	order := make([]int, len(p.Dynamics))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return p.Dynamics[i].At.Compare(p.Dynamics[j].At) })
	for _, k := range order {
		d := p.Dynamics[k]
		if err := within(d.At, "a dynamic"); err != nil {
			return err
		}
		if d.Text == "" || len(d.Text) > 64 || d.Hand < 0 || d.Hand > score.Left {
			return fmt.Errorf("%s: the dynamic %q cannot be written", p.Where(d.At), d.Text)
		}
		long := d.At.Less(d.Until)
		wedge := long && (d.Text == "louder" || d.Text == "softer")
		placement, staff := "below", 1
		switch d.Hand {
		case score.Right:
			placement = "above"
		case score.Left:
			staff = 2
		}
		what := ""
		switch {
		case wedge:
		case !long && (d.Text == "cresc." || d.Text == "dim."):
			what = "<words>" + d.Text + "</words>"
		case slices.Contains(dynamicNames, d.Text):
			what = "<dynamics><" + d.Text + "/></dynamics>"
		default:
			what = "<dynamics><other-dynamics>" + esc(d.Text) + "</other-dynamics></dynamics>"
		}
		i, at := w.barOf(d.At)
		if !long {
			add(i, at, rankDynamic, direction(placement, staff, what, ""))
			continue
		}
		if err := within(d.Until, "the end of a dynamic"); err != nil {
			return err
		}
		n := slices.IndexFunc(open[wedge], func(l *line) bool { return !d.At.Less(l.until) })
		if n < 0 {
			n = len(open[wedge])
			open[wedge] = append(open[wedge], nil)
		}
		if n >= 16 {
			return fmt.Errorf("%s: more than 16 hairpins at once", p.Where(d.At))
		}
		open[wedge][n] = &line{d.Until, wedge}
		start, stop := fmt.Sprintf(`<dashes type="start" number="%d"/>`, n+1), fmt.Sprintf(`<dashes type="stop" number="%d"/>`, n+1)
		if wedge {
			start = fmt.Sprintf(`<wedge type="%s" number="%d"/>`, map[string]string{"louder": "crescendo", "softer": "diminuendo"}[d.Text], n+1)
			stop = fmt.Sprintf(`<wedge type="stop" number="%d"/>`, n+1)
		} else {
			start = what + "</direction-type><direction-type>" + start
		}
		add(i, at, rankDynamic, direction(placement, staff, start, ""))
		i, at = w.barBefore(d.Until)
		add(i, at, rankEnds, direction(placement, staff, stop, ""))
	}
	return nil
}

// harmonyXML prints a chord symbol.
func harmonyXML(h score.Harmony) (string, error) {
	var b strings.Builder
	b.WriteString(`<harmony placement="above">`)
	class := func(name string, c pitch.Class) {
		fmt.Fprintf(&b, "<%s><%s-step>%s</%s-step>", name, name, c.Letter, name)
		if c.Alter != 0 {
			fmt.Fprintf(&b, "<%s-alter>%d</%s-alter>", name, c.Alter, name)
		}
		fmt.Fprintf(&b, "</%s>", name)
	}
	if h.Numeral != "" {
		b.WriteString("<function>" + esc(h.Numeral) + "</function>")
	} else {
		class("root", h.Root)
	}
	if !slices.Contains(kinds, h.Kind) {
		return "", fmt.Errorf("a chord symbol of the unknown kind %q", h.Kind)
	}
	if h.Printed != "" {
		fmt.Fprintf(&b, `<kind text="%s">%s</kind>`, esc(h.Printed), h.Kind)
	} else {
		b.WriteString("<kind>" + h.Kind + "</kind>")
	}
	if h.Inverted > 0 {
		fmt.Fprintf(&b, "<inversion>%d</inversion>", h.Inverted)
	}
	if h.HasBass {
		class("bass", h.Bass)
	}
	if h.Degrees != "" {
		for _, s := range strings.Split(h.Degrees, ", ") {
			kind, value, _ := strings.Cut(s, " ")
			plain := strings.TrimLeft(value, "#b")
			signs := value[:len(value)-len(plain)]
			alter := strings.Count(signs, "#") - strings.Count(signs, "b")
			n, err := strconv.Atoi(plain)
			if err != nil || n < 1 || n > 100 || kind != "add" && kind != "alter" && kind != "subtract" || len(signs) > pitch.MaxAlter || alterSigns(int8(alter)) != signs {
				return "", fmt.Errorf("a chord symbol with %q; want for instance %q", s, "add b9")
			}
			fmt.Fprintf(&b, "<degree><degree-value>%d</degree-value><degree-alter>%d</degree-alter><degree-type>%s</degree-type></degree>", n, alter, kind)
		}
	}
	b.WriteString("</harmony>")
	return b.String(), nil
}

// jumpXML prints a sign that is a direction, "" for repeats and endings.
func jumpXML(s score.Sign) string {
	words := "<words>" + esc(cmp.Or(s.Text, s.Kind.String())) + "</words>"
	label := esc(cmp.Or(s.Label, "segno"))
	if s.Kind == score.Coda || s.Kind == score.ToCoda {
		label = esc(cmp.Or(s.Label, "coda"))
	}
	switch s.Kind {
	case score.Segno:
		return direction("above", 1, "<segno/>", `<sound segno="`+label+`"/>`)
	case score.Coda:
		return direction("above", 1, "<coda/>", `<sound coda="`+label+`"/>`)
	case score.DaCapo:
		return direction("above", 1, words, `<sound dacapo="yes"/>`)
	case score.DalSegno:
		return direction("above", 1, words, `<sound dalsegno="`+label+`"/>`)
	case score.ToCoda:
		return direction("above", 1, words, `<sound tocoda="`+label+`"/>`)
	case score.Fine:
		return direction("above", 1, words, `<sound fine="yes"/>`)
	}
	return ""
}

// atEdge reports whether a repeat or ending stands at that end of its bar where it belongs.
func (w *writer) atEdge(s score.Sign) bool {
	b := w.p.Bars[s.Bar]
	switch s.Kind {
	case score.RepeatStart, score.EndingStart:
		return s.At == b.Start
	case score.RepeatEnd, score.EndingEnd:
		return s.At == b.End()
	}
	return false
}

// endingNumbers is the form of an ending's number (type ending-number).
var endingNumbers = regexp.MustCompile(`^(?:[1-9][0-9]*(?:, ?[1-9][0-9]*)*)?$`)

// barline prints bar lines: as many as it takes, since one has room for one repeat and one ending.
func (w *writer) barline(location, style string, signs []score.Sign) string {
	var b strings.Builder
	ending, repeat := "", ""
	flush := func() {
		if ending+repeat+style != "" {
			b.WriteString(`<barline location="` + location + `">`)
			if style != "" {
				b.WriteString("<bar-style>" + style + "</bar-style>")
			}
			b.WriteString(ending + repeat + "</barline>")
		}
		ending, repeat, style = "", "", ""
	}
	for _, s := range signs {
		switch s.Kind {
		case score.EndingStart, score.EndingEnd:
			if ending != "" {
				flush()
			}
			if s.Kind == score.EndingStart {
				w.ending = s.Numbers
				if !endingNumbers.MatchString(w.ending) {
					w.ending = ""
				}
				ending = fmt.Sprintf(`<ending number="%s" type="start">%s</ending>`, w.ending, esc(s.Text))
			} else {
				ending = fmt.Sprintf(`<ending number="%s" type="%s"/>`, w.ending, map[bool]string{false: "stop", true: "discontinue"}[s.Open])
			}
		case score.RepeatStart, score.RepeatEnd:
			if repeat != "" {
				flush()
			}
			more := ""
			if s.Times > 0 {
				more += fmt.Sprintf(` times="%d"`, s.Times)
			}
			if s.AfterJump {
				more += ` after-jump="yes"`
			}
			repeat = fmt.Sprintf(`<repeat direction="%s"%s/>`, map[bool]string{true: "forward", false: "backward"}[s.Kind == score.RepeatStart], more)
			if style == "" {
				style = map[bool]string{true: "heavy-light", false: "light-heavy"}[s.Kind == score.RepeatStart]
			}
		}
	}
	flush()
	return b.String()
}

// bars writes the measures.
func (w *writer) bars(implicit []bool) error {
	p := w.p
	all := make([][]*written.Layer, len(p.Bars))
	divisions := make([]int64, len(p.Bars))
	signature := key.Key{}
	total := int64(1)
	for i, b := range p.Bars {
		if all[i] = w.layers(i); all[i] == nil {
			return fmt.Errorf("bar %s: more than %d notes of one voice overlap", b.Number, written.MaxLayers)
		}
		for _, m := range w.marks[i] {
			if m.key != nil && m.at.Sign() == 0 {
				signature = *m.key
			}
		}
		signature = w.accidentals(i, all[i], signature)
		d := b.Length.Den()
		for _, m := range w.marks[i] {
			d = lcm(d, m.at.Den())
			if d > maxDivisions {
				break
			}
		}
		for _, l := range all[i] {
			for _, e := range l.Events {
				if d = lcm(lcm(d, e.At.Den()), e.Length.Den()); d > maxDivisions {
					return fmt.Errorf("bar %s: its notes divide the quarter note into more than %d equal parts", b.Number, maxDivisions)
				}
			}
		}
		if d > maxDivisions {
			return fmt.Errorf("bar %s: its marks divide the quarter note into more than %d equal parts", b.Number, maxDivisions)
		}
		divisions[i] = d
		if total <= maxDivisions {
			total = lcm(total, d)
		}
	}
	if total <= maxDivisions { // the same for all
		for i := range divisions {
			divisions[i] = total
		}
	}
	for i, b := range p.Bars {
		if b.Length.Mul(divisions[i], 1).Num() > 9_999_999_999 {
			return fmt.Errorf("bar %s: a length of %s quarter notes in parts of 1/%d", b.Number, b.Length, divisions[i])
		}
		attr := ""
		if implicit[i] {
			attr = ` implicit="yes"`
		}
		w.line(2, `<measure number="%s"%s>`, esc(b.Number), attr)
		w.bar(i, all[i], divisions[i])
		w.line(2, "</measure>")
	}
	return nil
}

// layers lays out the voices of a bar: the first of each hand always, others where they have notes.
func (w *writer) layers(i int) []*written.Layer {
	type voice struct {
		hand score.Hand
		n    int
	}
	voices := map[voice][]score.Note{{score.Right, 1}: nil, {score.Left, 1}: nil}
	order := []voice{{score.Right, 1}, {score.Left, 1}}
	leftFirst := false
	graceOnset, graceHand := Time{}, score.Hand(0)
	for _, n := range w.notes[i] {
		v := voice{n.Hand, n.Voice}
		if _, ok := voices[v]; !ok {
			order = append(order, v)
		}
		voices[v] = append(voices[v], n)
		// Grace notes that run from the left hand into the right keep that order if the left hand is written first.
		if n.Grace != score.NoGrace {
			if graceHand == score.Left && n.Hand == score.Right && graceOnset == n.Onset {
				leftFirst = true
			}
			graceOnset, graceHand = n.Onset, n.Hand
		}
	}
	slices.SortFunc(order, func(a, b voice) int {
		c := cmp.Compare(a.hand, b.hand)
		if leftFirst {
			c = -c
		}
		return cmp.Or(c, cmp.Compare(a.n, b.n))
	})
	var out []*written.Layer
	for _, v := range order {
		ls := written.Layers(voices[v], w.p.Bars[i], v.hand, v.n)
		if ls == nil {
			return nil
		}
		out = append(out, ls...)
	}
	return out
}

// accidentalNames are the signs by semitones, from three flats up.
var accidentalNames = [...]string{"triple-flat", "flat-flat", "flat", "natural", "sharp", "double-sharp", "triple-sharp"}

// accidentals gives each note the sign that key and bar ask for: where a step of the staff is altered otherwise than it was
// last in this bar, or than the key has it. A note tied from the bar before needs none. It returns the key at the end.
func (w *writer) accidentals(i int, all []*written.Layer, signature key.Key) key.Key {
	final := signature
	for hand := score.Right; hand <= score.Left; hand++ {
		type sign struct {
			e *written.Event
			k int
		}
		var list []sign
		for _, l := range all {
			if l.Hand != hand {
				continue
			}
			for j := range l.Events {
				e := &l.Events[j]
				e.Signs = make([]string, len(e.Notes))
				for k := range e.Notes {
					list = append(list, sign{e, k})
				}
			}
		}
		slices.SortStableFunc(list, func(a, b sign) int {
			return cmp.Or(a.e.At.Compare(b.e.At), -cmp.Compare(written.GraceRank(a.e), written.GraceRank(b.e)))
		})
		now := signature
		var changes []placed
		for _, m := range w.marks[i] {
			if m.key != nil && m.at.Sign() > 0 {
				changes = append(changes, m)
			}
		}
		last := map[int]int8{}
		for _, x := range list {
			for len(changes) > 0 && !x.e.At.Less(changes[0].at) {
				now, changes = *changes[0].key, changes[1:]
				clear(last)
			}
			n := x.e.Notes[x.k]
			step := n.Pitch.Step()
			want, ok := last[step]
			if !ok {
				want = now.InSignature(n.Pitch.Letter)
			}
			if x.e.TieFrom || n.TieFrom && x.e.At.Sign() == 0 {
				continue
			}
			if n.Pitch.Alter != want {
				x.e.Signs[x.k] = accidentalNames[n.Pitch.Alter+pitch.MaxAlter]
			}
			last[step] = n.Pitch.Alter
		}
		final = now
		for _, m := range changes {
			final = *m.key
		}
	}
	return final
}

// bar writes one measure's contents.
func (w *writer) bar(i int, all []*written.Layer, divisions int64) {
	b := w.p.Bars[i]
	units := func(t Time) int64 { return t.Mul(divisions, 1).Num() }
	marks := w.marks[i]

	var left, right []score.Sign
	for _, s := range w.signs[i] {
		if w.atEdge(s) {
			if s.Kind == score.RepeatStart || s.Kind == score.EndingStart {
				left = append(left, s)
			} else {
				right = append(right, s)
			}
		}
	}
	if text := w.barline("left", "", left); text != "" {
		w.line(3, "%s", text)
	}

	var attributes strings.Builder
	if divisions != w.divisions {
		fmt.Fprintf(&attributes, "<divisions>%d</divisions>", divisions)
		w.divisions = divisions
	}
	marks = slices.DeleteFunc(slices.Clone(marks), func(m placed) bool {
		if m.key != nil && m.at.Sign() == 0 {
			attributes.WriteString(m.text)
			return true
		}
		return false
	})
	if i == 0 || !b.Meter.Equal(w.p.Bars[i-1].Meter) {
		m := b.Meter
		top, _, _ := strings.Cut(m.String(), "/")
		if m.Beats == 0 {
			attributes.WriteString("<time><senza-misura/></time>")
		} else {
			fmt.Fprintf(&attributes, "<time><beats>%s</beats><beat-type>%d</beat-type></time>", top, m.Unit)
		}
	}
	if i == 0 {
		fmt.Fprintf(&attributes, `<staves>2</staves><clef number="1">%s</clef><clef number="2">%s</clef>`, w.clefs[score.Right], w.clefs[score.Left])
	}
	if attributes.Len() > 0 {
		w.line(3, "<attributes>%s</attributes>", attributes.String())
	}

	voices := [3]int{}
	for _, l := range all {
		voices[l.Hand] = max(voices[l.Hand], l.Voice)
	}
	for k, l := range all {
		at := Time{}
		if k > 0 && b.Length.Sign() > 0 {
			w.line(3, "<backup><duration>%d</duration></backup>", units(reached(all[k-1], b)))
		}
		label := l.Voice
		if l.Hand == score.Left {
			label += w.rights
		}
		move := func(to Time) {
			if d := to.Sub(at); d.Sign() > 0 {
				w.line(3, "<forward><duration>%d</duration></forward>", units(d))
			} else if d.Sign() < 0 {
				w.line(3, "<backup><duration>%d</duration></backup>", -units(d))
			}
			at = to
		}
		for _, e := range l.Events {
			move(e.At)
			if k == 0 && !(e.Grace && e.Notes[0].After) {
				for len(marks) > 0 && !e.At.Less(marks[0].at) {
					w.mark(marks[0])
					marks = marks[1:]
				}
			}
			w.event(l, e, label, units, voices[l.Hand] > 1)
			at = e.End()
			for k == 0 && len(marks) > 0 && marks[0].at.Less(e.End()) { // within the note
				move(marks[0].at)
				w.mark(marks[0])
				marks = marks[1:]
			}
			move(e.End())
		}
		if k == 0 {
			for _, m := range marks {
				move(m.at)
				w.mark(m)
			}
			move(b.Length)
		}
	}
	style := ""
	if i == len(w.p.Bars)-1 {
		style = "light-heavy"
	}
	if text := w.barline("right", style, right); text != "" {
		w.line(3, "%s", text)
	}
}

// reached returns where the cursor is when a layer is written.
func reached(l *written.Layer, b score.Bar) Time {
	if l.First {
		return b.Length
	}
	if n := len(l.Events); n > 0 {
		return l.Events[n-1].End()
	}
	return Time{}
}

func (w *writer) mark(m placed) {
	text := m.text
	if m.key != nil {
		text = "<attributes>" + text + "</attributes>"
	}
	w.line(3, "%s", text)
}

// event writes a chord, a rest or grace notes.
func (w *writer) event(l *written.Layer, e written.Event, label int, units func(Time) int64, stems bool) {
	if len(e.Notes) == 0 {
		w.note(l, e, -1, label, units, false)
		return
	}
	for k := range e.Notes {
		w.note(l, e, k, label, units, stems)
	}
}

// note writes the k-th note of a chord, or a rest if k is -1. The order of elements is that of type note.
func (w *writer) note(l *written.Layer, e written.Event, k, label int, units func(Time) int64, stems bool) {
	var s strings.Builder
	var n score.Note
	tieFrom, tieTo := false, false
	if k >= 0 {
		n = e.Notes[k]
		tieFrom, tieTo = n.TieFrom || e.TieFrom, n.TieTo || e.TieTo
		if e.TieFrom || e.TieTo { // a part of a note
			tieFrom, tieTo = e.TieFrom || n.TieFrom && e.At == n.Onset.Sub(w.p.Bars[n.Bar].Start), e.TieTo || n.TieTo && isLast(e, n, w.p)
		}
		if e.Grace {
			s.WriteString("<grace")
			switch {
			case n.After:
				s.WriteString(` steal-time-previous="25"`)
			case e.Loose:
				s.WriteString(` steal-time-following="25"`)
			}
			if n.Grace == score.Acciaccatura {
				s.WriteString(` slash="yes"`)
			}
			s.WriteString("/>")
		}
		if n.Cue {
			s.WriteString("<cue/>")
		}
		if k > 0 {
			s.WriteString("<chord/>")
		}
		fmt.Fprintf(&s, "<pitch><step>%s</step>", n.Pitch.Letter)
		if n.Pitch.Alter != 0 {
			fmt.Fprintf(&s, "<alter>%d</alter>", n.Pitch.Alter)
		}
		fmt.Fprintf(&s, "<octave>%d</octave></pitch>", n.Pitch.Octave)
	} else if e.Fill {
		s.WriteString(`<rest measure="yes"/>`)
	} else {
		s.WriteString("<rest/>")
	}
	if !e.Grace {
		fmt.Fprintf(&s, "<duration>%d</duration>", units(e.Length))
	}
	if !n.Cue { // a cue note has no sound to tie
		if tieFrom {
			s.WriteString(`<tie type="stop"/>`)
		}
		if tieTo {
			s.WriteString(`<tie type="start"/>`)
		}
	}
	fmt.Fprintf(&s, "<voice>%d</voice>", label)
	if e.Value.Type > 0 {
		fmt.Fprintf(&s, "<type>%s</type>%s", written.TypeNames[e.Value.Type], strings.Repeat("<dot/>", e.Value.Dots))
	}
	if k >= 0 && e.Signs[k] != "" {
		fmt.Fprintf(&s, "<accidental>%s</accidental>", e.Signs[k])
	}
	if e.Actual > 0 {
		fmt.Fprintf(&s, "<time-modification><actual-notes>%d</actual-notes><normal-notes>%d</normal-notes></time-modification>", e.Actual, e.Normal)
	}
	if stems && k >= 0 && e.Value.Type > 0 && e.Value.Type < written.Quarter+2 {
		fmt.Fprintf(&s, "<stem>%s</stem>", map[int]string{1: "up", 0: "down"}[l.Voice%2])
	}
	fmt.Fprintf(&s, "<staff>%d</staff>", l.Hand)
	if k == 0 {
		for i, b := range e.Beams {
			fmt.Fprintf(&s, `<beam number="%d">%s</beam>`, i+1, b)
		}
	}
	notations := ""
	if tieFrom {
		notations += `<tied type="stop"/>`
	}
	if tieTo {
		notations += `<tied type="start"/>`
	}
	if k <= 0 {
		notations += tupletsXML(e.Tuplets)
	}
	if notations != "" {
		s.WriteString("<notations>" + notations + "</notations>")
	}
	w.line(3, "<note>%s</note>", s.String())
}

// isLast reports whether an event is the last part of n within its bar.
func isLast(e written.Event, n score.Note, p *score.Passage) bool {
	return p.Bars[n.Bar].Start.Add(e.End()) == n.End()
}

// tupletsXML prints brackets. Nested ones tell their own numbers, since <time-modification> has the product.
func tupletsXML(marks []written.TupletMark) string {
	var s strings.Builder
	for _, t := range marks {
		if !t.Start {
			fmt.Fprintf(&s, `<tuplet type="stop" number="%d"/>`, t.Number)
			continue
		}
		fmt.Fprintf(&s, `<tuplet type="start" number="%d" bracket="%s"><tuplet-actual><tuplet-number>%d</tuplet-number></tuplet-actual><tuplet-normal><tuplet-number>%d</tuplet-number></tuplet-normal></tuplet>`,
			t.Number, map[bool]string{true: "yes", false: "no"}[t.Bracket], t.Actual, t.Normal)
	}
	return s.String()
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func lcm(a, b int64) int64 { return a / gcd(a, b) * b }
