package score

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Layer is the part of the texture that a place speaks of.
type Layer int8

// The layers of a place.
const (
	Whole Layer = iota
	LeftHand
	RightHand
	Bass
	TopLine
	InnerLines
)

var layerNames = [...]string{"", "left hand", "right hand", "bass", "top line", "inner lines"}

// String returns the layer as a place names it, "" for the whole texture.
func (l Layer) String() string {
	if l < Whole || int(l) >= len(layerNames) {
		return fmt.Sprintf("%%!Layer(%d)", int(l))
	}
	return layerNames[l]
}

// A Point is a bar by its printed number and, if HasBeat, a beat in it, counted from 1. If Unit is above 0 the beat counts
// notes of that value (8 for "eighth 4") and not the meter's own beat.
type Point struct {
	Bar     string
	Beat    Time
	HasBeat bool
	Unit    int
	offset  int // where it stands in the text, for messages
}

// A Place is a stretch of a passage in words, before a passage is at hand. All set means the whole passage. If not Ranged,
// From is the only point.
type Place struct {
	Text     string
	All      bool
	From, To Point
	Ranged   bool
	Layer    Layer
}

// A PlaceError says what in a place could not be understood or found. Offset counts bytes from the start of the text.
type PlaceError struct {
	Text   string
	Offset int
	Msg    string
}

func (e *PlaceError) Error() string {
	return fmt.Sprintf("place %q, column %d: %s", e.Text, utf8.RuneCountInString(e.Text[:min(e.Offset, len(e.Text))])+1, e.Msg)
}

type token struct {
	text   string // lower case
	raw    string
	offset int
}

// tokens cuts a place into words, numbers (with a fraction or decimals), commas and dashes.
func tokens(s string) []token {
	var out []token
	i := 0
	for i < len(s) {
		r, w := utf8.DecodeRuneInString(s[i:])
		switch {
		case unicode.IsSpace(r):
			i += w
			continue
		case r == ',' || r == '-' || r == '–' || r == '—':
			t := string(r)
			if r != ',' {
				t = "-"
			}
			out = append(out, token{t, s[i : i+w], i})
			i += w
			continue
		}
		j := i
		for j < len(s) {
			r, w := utf8.DecodeRuneInString(s[j:])
			if unicode.IsSpace(r) || r == ',' || r == '-' || r == '–' || r == '—' {
				break
			}
			j += w
		}
		if m := barSign(s[i:j]); m > 0 { // m.3
			out = append(out, token{strings.ToLower(s[i : i+m]), s[i : i+m], i})
			i += m
		}
		out = append(out, token{strings.ToLower(s[i:j]), s[i:j], i})
		i = j
	}
	return out
}

// barSign returns how many bytes of a word are a sign for a bar with a number right after it: "m.3", "mm.3", "b.3"; 0 if there is none.
func barSign(s string) int {
	for _, sign := range []string{"mm.", "bb.", "m.", "b."} {
		if n := len(sign); len(s) > n && strings.EqualFold(s[:n], sign) && s[n] >= '0' && s[n] <= '9' {
			return n
		}
	}
	return 0
}

var barWords = map[string]bool{"bar": true, "bars": true, "b.": true, "bb.": true, "measure": true, "measures": true, "m.": true, "mm.": true, "m": true, "mm": true}

// PlaceForms are the forms of a place, for messages and help.
var PlaceForms = []string{"bar 3", "bar 3 beat 2", "bars 1-4", "bar 3 beat 2 to bar 4 beat 1", "mm. 3-4", "bars 3-4, left hand",
	"bar 3, right hand", "bar 3, bass", "bars 5-8, top line", "bar 3 eighth 4", "whole passage"}

var layerWords = map[string]Layer{
	"left hand": LeftHand, "left": LeftHand, "lh": LeftHand, "lower staff": LeftHand,
	"right hand": RightHand, "right": RightHand, "rh": RightHand, "upper staff": RightHand,
	"bass": Bass, "bass line": Bass, "bass note": Bass, "bass notes": Bass,
	"top line": TopLine, "top": TopLine, "melody": TopLine, "tune": TopLine, "top notes": TopLine, "top voice": TopLine,
	"soprano": TopLine, "soprano line": TopLine, "upper voice": TopLine, "highest voice": TopLine,
	"inner lines": InnerLines, "inner voices": InnerLines, "inner line": InnerLines, "inner parts": InnerLines,
	"both hands": Whole, "all": Whole,
}

var unitWords = map[string]int{
	"half": 2, "halves": 2, "quarter": 4, "quarters": 4, "eighth": 8, "eighths": 8, "sixteenth": 16, "sixteenths": 16,
}

// ParsePlace reads a place such as "bar 3 beat 2 to bar 4 beat 1, left hand"; see [PlaceForms]. Case and articles don't
// matter, the layer may also stand first ("left hand, bars 3-4") or alone. Bars may be "m. 3", "mm. 3-4", "3-4" or "bars 3 and 4". Ranges include their last bar or beat. It
// returns a *PlaceError that says where in s it stopped understanding.
func ParsePlace(s string) (Place, error) {
	p := &placeParser{text: s, toks: tokens(s)}
	p.dropArticles()
	place, err := p.place()
	if err != nil {
		return Place{}, err
	}
	place.Text = strings.TrimSpace(s)
	return place, nil
}

type placeParser struct {
	text string
	toks []token
	i    int
}

func (p *placeParser) dropArticles() {
	out := p.toks[:0]
	for _, t := range p.toks {
		switch t.text {
		case "the", "in", "of", "at", "on":
			continue
		}
		out = append(out, t)
	}
	p.toks = out
}

func (p *placeParser) peek() token {
	if p.i < len(p.toks) {
		return p.toks[p.i]
	}
	return token{offset: len(p.text)}
}

func (p *placeParser) fail(t token, format string, args ...any) error {
	return &PlaceError{p.text, t.offset, fmt.Sprintf(format, args...)}
}

func found(t token) string {
	if t.text == "" {
		return "found nothing more"
	}
	return fmt.Sprintf("found %q", t.raw)
}

func (p *placeParser) place() (Place, error) {
	var pl Place
	if len(p.toks) == 0 {
		return pl, p.fail(p.peek(), "the place is empty; want, for instance, %q or %q", PlaceForms[0], PlaceForms[1])
	}
	located, layered := false, false
	for first := true; p.i < len(p.toks); first = false {
		if !first {
			if t := p.peek(); t.text == "," {
				p.i++
			} else if located && layered {
				return pl, p.fail(t, "%s after the place; want the end of it", found(t))
			}
		}
		t := p.peek()
		switch {
		case barWords[t.text], t.text != "" && t.text[0] >= '0' && t.text[0] <= '9' && !located: // 3-4 alone are bars
			if located {
				return pl, p.fail(t, "a second bar; want a hand or a line, such as %q", "left hand")
			}
			if err := p.span(&pl); err != nil {
				return pl, err
			}
			located = true
		case t.text == "whole" || t.text == "entire" || t.text == "everywhere" || t.text == "throughout" || t.text == "everything":
			p.i++
			if n := p.peek(); (t.text == "whole" || t.text == "entire") && (n.text == "passage" || n.text == "piece") {
				p.i++
			}
			pl.All, located = true, true
		default:
			l, n := p.layer()
			if n == 0 {
				if located {
					return pl, p.fail(t, "%s where a hand or a line belongs; want left hand, right hand, bass, top line or inner lines", found(t))
				}
				return pl, p.fail(t, "%s where a bar belongs; want, for instance, %q or %q", found(t), "bar 3 beat 2", "bars 1-4")
			}
			if layered {
				return pl, p.fail(t, "a second hand or line; a place has one")
			}
			pl.Layer, layered = l, true
			p.i += n
		}
	}
	if !located {
		pl.All = true
	}
	return pl, nil
}

// layer matches the longest layer name at the current token and returns it with its number of tokens, 0 for none.
func (p *placeParser) layer() (Layer, int) {
	for n := 2; n >= 1; n-- {
		if p.i+n > len(p.toks) {
			continue
		}
		words := p.toks[p.i].text
		if n == 2 {
			words += " " + p.toks[p.i+1].text
		}
		if l, ok := layerWords[words]; ok {
			return l, n
		}
	}
	return Whole, 0
}

// span reads "bar 3 [beat 2] [to [bar 4] [beat 1]]", "bars 1-4", "bar 3 beats 2-4".
func (p *placeParser) span(pl *Place) error {
	if barWords[p.peek().text] {
		p.i++
	}
	bar := func() (string, error) {
		t := p.peek()
		if !isBarNumber(t.text) {
			return "", p.fail(t, "%s where a bar number belongs", found(t))
		}
		p.i++
		return t.raw, nil
	}
	beat := func(pt *Point) error {
		t := p.peek()
		if t.text == "," && p.i+1 < len(p.toks) { // bar 3, beat 2
			if n := p.toks[p.i+1]; n.text == "beat" || n.text == "beats" || unitWords[n.text] > 0 {
				p.i++
				t = n
			}
		}
		unit, isUnit := unitWords[t.text]
		if t.text != "beat" && t.text != "beats" && !isUnit {
			return nil
		}
		p.i++
		return p.beatNumber(pt, unit)
	}
	start := p.peek()
	number, err := bar()
	if err != nil {
		return err
	}
	pl.From = Point{Bar: number, offset: start.offset}
	if err := beat(&pl.From); err != nil {
		return err
	}
	t := p.peek()
	if t.text != "-" && t.text != "to" && t.text != "until" && t.text != "through" && t.text != "and" {
		return nil
	}
	p.i++
	pl.Ranged = true
	to := Point{Bar: pl.From.Bar, offset: p.peek().offset}
	next := p.peek()
	switch {
	case barWords[next.text]:
		p.i++
		if to.Bar, err = bar(); err != nil {
			return err
		}
	case next.text == "beat" || next.text == "beats" || unitWords[next.text] > 0:
		if !pl.From.HasBeat {
			return p.fail(next, "a beat at the end but none at the start; want, for instance, %q", "bar 3 beat 2 to beat 4")
		}
	case pl.From.HasBeat: // bar 3 beats 2-4
		if err := p.beatNumber(&to, pl.From.Unit); err != nil {
			return err
		}
		pl.To = to
		return nil
	default:
		if to.Bar, err = bar(); err != nil {
			return err
		}
	}
	if err := beat(&to); err != nil {
		return err
	}
	if a, err := strconv.Atoi(pl.From.Bar); err == nil && t.text == "and" {
		if b, err := strconv.Atoi(to.Bar); err == nil && b > a+1 {
			return p.fail(next, "bars %d and %d don't follow each other; want \"bars %d-%d\" for all of them, or a claim for each", a, b, a, b)
		}
	}
	pl.To = to
	return nil
}

func (p *placeParser) beatNumber(pt *Point, unit int) error {
	t := p.peek()
	text := t.raw
	v, ok := ParseTime(text)
	if ok && p.i+1 < len(p.toks) && strings.Contains(p.toks[p.i+1].text, "/") { // 2 1/2
		text += " " + p.toks[p.i+1].raw
		v, ok = ParseTime(text)
		p.i++
	}
	if !ok {
		return p.fail(t, "%s where the number of a beat belongs, such as 2 or 2 1/2", found(t))
	}
	if v.Less(Quarters(1)) {
		return p.fail(t, "beat %s; beats are counted from 1", text)
	}
	p.i++
	pt.Beat, pt.HasBeat, pt.Unit, pt.offset = v, true, unit, t.offset
	return nil
}

func isBarNumber(s string) bool {
	return s != "" && (s[0] >= '0' && s[0] <= '9' || s[0] == 'x' && len(s) > 1 && s[1] >= '0' && s[1] <= '9')
}

// A Region is a place found in a passage: From <= t < To. Moment tells that the place names one beat, so that From is the
// moment meant and To the end of that beat.
type Region struct {
	From, To Time
	Moment   bool
	Layer    Layer
}

// Resolve finds a place in p. It returns a *PlaceError if a bar or beat doesn't exist or the range runs backwards.
func (p *Passage) Resolve(pl Place) (Region, error) { return p.ResolveFrom(pl, 0) }

// ResolveFrom is [Passage.Resolve] that looks for the first bar of the place from index bar on, then from the start: where a
// number comes twice it finds the later one, and in a long passage it is quicker.
func (p *Passage) ResolveFrom(pl Place, bar int) (Region, error) {
	r := Region{Layer: pl.Layer}
	fail := func(pt Point, format string, args ...any) (Region, error) {
		return Region{}, &PlaceError{pl.Text, pt.offset, fmt.Sprintf(format, args...)}
	}
	if len(p.Bars) == 0 {
		return fail(pl.From, "the passage has no bars")
	}
	if pl.All {
		r.From, r.To = p.Bars[0].Start, p.End()
		return r, nil
	}
	from, to, err := p.point(pl, pl.From, min(max(bar, 0), len(p.Bars)))
	if err != nil {
		return Region{}, err
	}
	r.From, r.To, r.Moment = from, to, pl.From.HasBeat && !pl.Ranged
	if pl.Ranged {
		_, to, err := p.point(pl, pl.To, p.BarAt(from))
		if err != nil {
			return Region{}, err
		}
		if !from.Less(to) {
			return fail(pl.To, "the end is before the start")
		}
		r.To = to
	}
	return r, nil
}

// point returns the stretch that one point of a place names, looking for its bar from index first on, then from the start.
func (p *Passage) point(pl Place, pt Point, first int) (from, to Time, err error) {
	fail := func(format string, args ...any) (Time, Time, error) {
		return Time{}, Time{}, &PlaceError{pl.Text, pt.offset, fmt.Sprintf(format, args...)}
	}
	i := p.barIndex(pt.Bar, first)
	if i < 0 {
		return fail("there is no bar %s; the passage has bars %s to %s", pt.Bar, p.Bars[0].Number, p.Bars[len(p.Bars)-1].Number)
	}
	// A printed bar may be cut in two by a repeat sign: both halves carry its number.
	last := i
	for last+1 < len(p.Bars) && p.Bars[last+1].Number == p.Bars[i].Number && p.Bars[last+1].Offset.Sign() > 0 {
		last++
	}
	if !pt.HasBeat {
		return p.Bars[i].Start, p.Bars[last].End(), nil
	}
	b := p.Bars[i]
	unit := b.Meter.Beat()
	name := "beat"
	if pt.Unit > 0 {
		unit, name = T(4, int64(pt.Unit)), map[int]string{2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth"}[pt.Unit]
	}
	zero := b.Start.Sub(b.Offset) // where beat 1 is, or would be before an upbeat
	from = zero.Add(pt.Beat.Sub(Quarters(1)).Mul(unit.Num(), unit.Den()))
	if from.Less(b.Start) {
		return fail("bar %s is an upbeat that begins at %s %s", b.Number, name, b.Offset.Div(unit).Add(Quarters(1)))
	}
	end := p.Bars[last].End()
	if !from.Less(end) {
		count := end.Sub(zero).Div(unit)
		hint := ""
		if pt.Unit == 0 && b.Meter.Compound() {
			hint = fmt.Sprintf("; the beat of %s is the dotted one: for the smaller count write %q", b.Meter, "eighth "+pt.Beat.String())
		}
		return fail("bar %s has %s %ss%s", b.Number, count, name, hint)
	}
	// The beat ends where the next whole one begins.
	whole := pt.Beat.Num() / pt.Beat.Den()
	to = zero.Add(unit.Mul(whole, 1)).Min(end)
	return from, to, nil
}

func (p *Passage) barIndex(number string, first int) int {
	for i := first; i < len(p.Bars); i++ {
		if strings.EqualFold(p.Bars[i].Number, number) {
			return i
		}
	}
	for i := 0; i < min(first, len(p.Bars)); i++ {
		if strings.EqualFold(p.Bars[i].Number, number) {
			return i
		}
	}
	return -1
}

// Select returns the notes of sounding that a region speaks of: those of its hand that sound within it. For the bass, the
// top line and the inner lines, which depend on the texture, it returns the notes of both hands; package line finds them.
func (r Region) Select(sounding []Note) []Note {
	var out []Note
	for _, n := range sounding {
		if r.Layer == LeftHand && n.Hand != Left || r.Layer == RightHand && n.Hand != Right {
			continue
		}
		if n.Grace != NoGrace || n.Duration.Sign() <= 0 {
			if n.Grace != NoGrace && !n.Onset.Less(r.From) && n.Onset.Less(r.To) {
				out = append(out, n)
			}
			continue
		}
		if n.Onset.Less(r.To) && r.From.Less(n.End()) {
			out = append(out, n)
		}
	}
	return out
}
