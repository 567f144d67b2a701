package chord

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/pitch"
)

// A Type is a row of the vocabulary: a chord without its root.
type Type struct {
	ID        string           // "min7"; "" for a chord put together by modifiers, as in C7(b9#11)
	Family    string           // "triad", "seventh", "sixth", "ninth", "added note", "suspended", "stacked fourths" …
	Names     []string         // house name first: "minor seventh", …
	Symbols   []string         // suffixes, house symbol first: "m7", "min7", "-7"; empty where the trade uses words
	Intervals []pitch.Interval // above the root, in stacking order, the unison first
	Roles     []string         // the role of each interval
	Omittable []string         // roles players usually feel free to leave out
}

// Name returns the house name: "minor seventh".
func (t Type) Name() string {
	if len(t.Names) == 0 {
		return ""
	}
	return t.Names[0]
}

// A Symbol is a chord label taken apart.
type Symbol struct {
	Root      pitch.Class
	Type      Type
	Bass      pitch.Class // meaningful only if HasBass
	HasBass   bool        // the label names its bass
	Inversion int         // as said in words: 0 root position, 1 first inversion …; -1 not said
	Text      string      // the label as it was written
}

// A LabelError says where and why a label could not be read.
type LabelError struct {
	Text    string
	Offset  int    // in bytes, where reading stopped, in [0, len(Text)]
	Why     string // what was found and what was wanted
	Nearest string // a label that is understood, "" if none is near
}

func (e *LabelError) Error() string {
	s := fmt.Sprintf("chord: label %q, offset %d: %s", e.Text, e.Offset, e.Why)
	if e.Nearest != "" {
		s += fmt.Sprintf("; nearest is %q", e.Nearest)
	}
	return s
}

// maxLabel is the longest label or specification read, in bytes; nothing anyone writes comes near it.
const maxLabel = 200

// ParseLabel reads a chord label, as a symbol or in words: "F#m7(b5)/C", "Bb+", "an F# minor seventh", "C major", "Am7 in
// first inversion", "German sixth on Ab". Symbols keep their case, words don't mind it. It returns a *LabelError unless the
// whole of s is understood.
func ParseLabel(s string) (Symbol, error) {
	if len(s) > maxLabel {
		return Symbol{}, &LabelError{Text: s[:24] + "…", Why: fmt.Sprintf("it is %d bytes long; labels have at most %d", len(s), maxLabel)}
	}
	var best *LabelError
	for _, start := range starts(s) {
		for _, read := range [...]func(*labelParser) error{(*labelParser).symbol, (*labelParser).words, (*labelParser).named} {
			p := labelParser{text: s, pos: start}
			err := read(&p)
			if err == nil {
				p.sym.Text = strings.TrimSpace(s)
				return p.sym, nil
			}
			var le *LabelError
			if errors.As(err, &le) && (best == nil || le.Offset > best.Offset) {
				best = le
			}
		}
	}
	best.Nearest = nearestLabel(s, best.Offset)
	return Symbol{}, best
}

// starts returns the offsets at which the label proper may begin: after leading blanks, and after an article.
func starts(s string) []int {
	lead := len(s) - len(strings.TrimLeft(s, " \t"))
	at := []int{lead}
	for _, a := range [...]string{"a ", "an ", "the "} {
		if rest := s[lead:]; len(rest) >= len(a) && strings.EqualFold(rest[:len(a)], a) {
			at = append(at, lead+len(a)+len(rest[len(a):])-len(strings.TrimLeft(rest[len(a):], " \t")))
		}
	}
	return at
}

type labelParser struct {
	text string
	pos  int
	sym  Symbol
	degs []degree // the members so far
}

func (p *labelParser) rest() string { return p.text[p.pos:] }

func (p *labelParser) fail(format string, args ...any) error {
	return &LabelError{Text: p.text, Offset: p.pos, Why: fmt.Sprintf(format, args...)}
}

// found quotes what stands at the current place.
func (p *labelParser) found() string {
	if p.rest() == "" {
		return "the end"
	}
	r := []rune(p.rest())
	if len(r) > 12 {
		r = append(r[:12], '…')
	}
	return fmt.Sprintf("%q", string(r))
}

// lit takes the first of alts that stands at the current place.
func (p *labelParser) lit(alts ...string) bool {
	for _, a := range alts {
		if strings.HasPrefix(p.rest(), a) {
			p.pos += len(a)
			return true
		}
	}
	return false
}

func (p *labelParser) blanks() {
	for p.pos < len(p.text) && (p.text[p.pos] == ' ' || p.text[p.pos] == '\t') {
		p.pos++
	}
}

// phrase takes a phrase in any case, in which a blank or hyphen stands for blanks and hyphens, if it ends at a word's end.
func (p *labelParser) phrase(alts ...string) bool {
	for _, a := range alts {
		if n := phraseWidth(p.rest(), a); n > 0 {
			p.pos += n
			return true
		}
	}
	return false
}

func isWordByte(b byte) bool {
	return b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' || b >= '0' && b <= '9' || b >= 0x80
}

// phraseWidth returns the length of the phrase at the start of s, 0 if it is not there. Blanks before it are skipped.
func phraseWidth(s, phrase string) int {
	i := 0
	for i < len(s) && (s[i] == ' ' || s[i] == '\t') {
		i++
	}
	for j := 0; j < len(phrase); j++ {
		if phrase[j] == ' ' || phrase[j] == '-' {
			from := i
			for i < len(s) && (s[i] == ' ' || s[i] == '-' || s[i] == '\t') {
				i++
			}
			if i == from {
				return 0
			}
			continue
		}
		if i >= len(s) || lower(s[i]) != lower(phrase[j]) {
			return 0
		}
		i++
	}
	if i < len(s) && isWordByte(s[i]) {
		return 0
	}
	return i
}

func lower(b byte) byte {
	if b >= 'A' && b <= 'Z' {
		return b + 'a' - 'A'
	}
	return b
}

// class reads a note name, with its sign as a sign or in words: "F#", "B♭", "F sharp".
func (p *labelParser) class(lowerOK bool) (pitch.Class, error) {
	p.blanks()
	s := p.rest()
	if lowerOK && s != "" && s[0] >= 'a' && s[0] <= 'g' {
		s = string(s[0]-'a'+'A') + s[1:]
	}
	c, rest, err := pitch.ScanClass(s)
	if err != nil {
		var pe *pitch.ParseError
		if errors.As(err, &pe) {
			return c, p.fail("found %s where a note name belongs: %s", p.found(), pe.Why)
		}
		return c, p.fail("found %s where a note name belongs", p.found())
	}
	p.pos = len(p.text) - len(rest)
	if c.Alter == 0 {
		switch {
		case p.phrase("sharp", "-sharp"):
			c.Alter = 1
		case p.phrase("flat", "-flat"):
			c.Alter = -1
		case p.phrase("natural", "-natural"):
		}
	}
	return c, nil
}

func (p *labelParser) has(num int8) bool {
	return slices.ContainsFunc(p.degs, func(d degree) bool { return d.num == num })
}

func (p *labelParser) drop(num int8) {
	p.degs = slices.DeleteFunc(p.degs, func(d degree) bool { return d.num == num })
}

// leaveOut drops the natural member num or, if there is none, the altered ones.
func (p *labelParser) leaveOut(num int8) {
	if i := slices.Index(p.degs, degree{num, 0}); i >= 0 {
		p.degs = slices.Delete(p.degs, i, i+1)
		return
	}
	p.drop(num)
}

func (p *labelParser) add(ds ...degree) {
	for _, d := range ds {
		if !slices.Contains(p.degs, d) {
			p.degs = append(p.degs, d)
		}
	}
}

// symbol reads a label whose quality is a symbol.
func (p *labelParser) symbol() error {
	root, err := p.class(false)
	if err != nil {
		return err
	}
	p.sym = Symbol{Root: root, Inversion: -1}
	if s := p.rest(); s != "" && s[0] == ' ' && len(strings.TrimLeft(s, " ")) > 0 && phraseWidth(s, " in") == 0 && phraseWidth(s, " over") == 0 {
		p.blanks() // "C maj7"
	}
	if err := p.suffix(); err != nil {
		return err
	}
	return p.finish()
}

var (
	minors = []string{"minor", "min", "mi", "m", "-", "−", "–"}
	majors = []string{"major", "maj", "Maj", "MAJ", "ma", "Ma", "M"}
	deltas = []string{"Δ", "△", "∆"}
)

// suffix reads the quality of a chord symbol into p.degs.
func (p *labelParser) suffix() error {
	minor, major, delta, dim, aug, hdim := false, false, false, false, false, false
	s := p.rest()
	switch {
	case strings.HasPrefix(s, "madd"): // not "ma"
		minor = p.lit("m")
	case strings.HasPrefix(s, "maug"), strings.HasPrefix(s, "malt"):
		return p.fail("found %s where the quality belongs", p.found())
	case phraseWidth(s, "minor") > 0 || phraseWidth(s, "major") > 0:
		return p.fail("found %s, a quality in words", p.found())
	case p.lit(deltas...):
		delta, major = true, true
	case p.lit("dim", "o", "°", "º"):
		dim = true
	case p.lit("aug", "+"):
		aug = true
	case p.lit("ø", "Ø", "⌀"):
		hdim = true
	case p.lit("dom"):
		if c := p.rest(); c == "" || c[0] < '0' || c[0] > '9' {
			return p.fail("found %s after \"dom\"; wanted 7, 9, 11 or 13", p.found())
		}
	case p.lit(majors[1:]...):
		major = true
	case p.lit(minors[1:]...):
		minor = true
	}
	large := major // a seventh to come is major
	if minor || dim || aug {
		start := p.pos
		p.lit("/")
		paren := p.lit("(")
		switch {
		case p.lit(deltas...):
			delta, large = true, true
		case p.lit(majors[1:]...):
			large = true
		default:
			p.pos = start
		}
		if large { // mMaj7, m(maj7), m/M7, mΔ
			n := p.number()
			if n == "" && delta && !paren {
				n = "7"
			}
			if n == "" || paren && !p.lit(")") {
				return p.fail("found %s where the number of a major seventh chord belongs, as in mMaj7", p.found())
			}
			return p.stack(minor, dim, aug, hdim, large, n)
		}
	}
	n := p.number()
	if n == "" && delta {
		n = "7"
	}
	return p.stack(minor, dim, aug, hdim, large, n)
}

// number takes the number of a chord symbol.
func (p *labelParser) number() string {
	for _, n := range [...]string{"6/9", "69", "6(9)", "6add9", "13", "11", "9", "7", "6", "5", "2"} {
		if strings.HasPrefix(p.rest(), n) {
			if after := p.rest()[len(n):]; after != "" && after[0] >= '0' && after[0] <= '9' {
				continue
			}
			p.pos += len(n)
			if n == "69" || n == "6(9)" || n == "6add9" {
				n = "6/9"
			}
			return n
		}
	}
	return ""
}

// stack builds the members from the quality and number, then reads the modifiers.
func (p *labelParser) stack(minor, dim, aug, hdim, large bool, n string) error {
	third, fifth := degree{3, 0}, degree{5, 0}
	if minor || dim || hdim {
		third.alter = -1
	}
	if dim || hdim {
		fifth.alter = -1
	}
	if aug {
		fifth.alter = 1
	}
	seventh := degree{7, -1}
	switch {
	case large:
		seventh.alter = 0
	case dim:
		seventh.alter = -2
	}
	p.add(degree{1, 0}, third, fifth)
	if hdim && n == "" {
		n = "7"
	}
	switch n {
	case "":
	case "2":
		if minor || dim || aug || hdim || large {
			return p.fail("a 2 is understood after a bare root only, as in C2; wanted add9")
		}
		p.add(degree{9, 0})
	case "5":
		if aug {
			break
		}
		if minor || dim || hdim || large {
			return p.fail("a 5 is understood after a bare root only, as in C5")
		}
		p.drop(3)
	case "6", "6/9":
		if dim || aug || hdim {
			return p.fail("an added sixth needs a major or minor triad")
		}
		p.add(degree{6, 0})
		if n == "6/9" {
			p.add(degree{9, 0})
		}
	case "13":
		p.add(seventh, degree{9, 0}, degree{11, 0}, degree{13, 0})
	case "11":
		p.add(seventh, degree{9, 0}, degree{11, 0})
	case "9":
		p.add(seventh, degree{9, 0})
	case "7":
		p.add(seventh)
	}
	return p.modifiers(n)
}

// modifiers reads suspensions, alterations, added and omitted notes, in brackets or not.
func (p *labelParser) modifiers(n string) error {
	open, sus := byte(0), false
	for {
		start := p.pos
		if open != 0 {
			for p.lit(",", " ", "/") {
			}
		}
		s := p.rest()
		switch {
		case s == "":
			if open != 0 {
				return p.fail("found the end where %q belongs", closing(open))
			}
			return nil
		case open == 0 && (s[0] == '(' || s[0] == '['):
			open = s[0]
			p.pos++
			continue
		case open != 0 && s[0] == closing(open):
			open = 0
			p.pos++
			continue
		case strings.HasPrefix(s, "alt"):
			return p.fail("\"alt\" leaves open which alterations are meant; write them, as in 7(b9b13)")
		case p.lit("sus"):
			p.drop(3)
			sus = true
			switch {
			case p.lit("4"):
				p.add(degree{4, 0})
			case p.lit("2"):
				p.add(degree{2, 0})
			case n == "" && p.lit("9"): // Hutchinson 6.5
				p.add(degree{2, 0})
			case n == "" && p.lit("7"): // Butterfield 3c prints Dsus7
				p.add(degree{4, 0}, degree{7, -1})
			case p.lit("b9", "♭9"):
				p.add(degree{4, 0}, degree{9, -1})
			default:
				p.add(degree{4, 0})
			}
			if n == "13" || n == "11" { // the fourth is the eleventh
				p.drop(11)
			}
			continue
		case p.lit("add", "Add"):
			for p.lit(" ") {
			}
			if p.lit("maj7", "M7") {
				p.add(degree{7, 0})
				continue
			}
			d, ok := p.degree()
			if ok && d == (degree{7, 0}) {
				p.pos--
				return p.fail("found \"7\", which leaves open which seventh; wanted addb7 or addmaj7")
			}
			if !ok {
				return p.fail("found %s after \"add\"; wanted a number, as in add9", p.found())
			}
			p.addDegree(d)
			continue
		case p.lit("omit", "no"):
			for p.lit(" ") {
			}
			from := p.pos
			d, ok := p.degree()
			if !ok || d.alter != 0 || !p.has(d.num) || d.num == 1 {
				p.pos = from
				return p.fail("found %s; wanted the number of a member to leave out, as in no5", p.found())
			}
			p.lit("rd", "th", "d")
			p.leaveOut(d.num)
			continue
		case open != 0 && (strings.HasPrefix(s, "maj7") || strings.HasPrefix(s, "M7") || strings.HasPrefix(s, "Maj7")):
			p.lit("maj7", "Maj7", "M7")
			p.drop(7)
			p.add(degree{7, 0})
			continue
		}
		if strings.HasPrefix(s, "+") && n != "" && (len(s) == 1 || s[1] < '0' || s[1] > '9') { // C7+
			p.pos++
			p.drop(5)
			p.add(degree{5, 1})
			continue
		}
		d, ok := p.degree()
		if !ok || d.alter == 0 && open == 0 {
			p.pos = start
			if open != 0 {
				return p.fail("found %s inside the bracket; wanted an alteration, add, no or sus", p.found())
			}
			return nil
		}
		switch {
		case d.alter == 0 && d.num >= 9: // 9(13)
			p.addDegree(d)
		case d.num == 5:
			p.replace(d)
		case d.num == 9 || d.num == 11 || d.num == 13:
			p.replace(d)
			if n == "13" && !sus && d.num != 11 && d.num != 13 { // 13(b9) is played without the eleventh
				p.degs = slices.DeleteFunc(p.degs, func(e degree) bool { return e == degree{11, 0} })
			}
		case d.num == 6 && d.alter == -1 || d.num == 4 && d.alter == 1 || d.num == 2 && d.alter == -1 || d.num == 10 || d.num == 3:
			p.addDegree(d)
		default:
			p.pos = start
			return p.fail("found %s; altered notes are 5, 9, 11 and 13", p.found())
		}
	}
}

func closing(open byte) byte {
	if open == '[' {
		return ']'
	}
	return ')'
}

// degree reads an altered number from 2 to 15; + and - stand for # and b.
func (p *labelParser) degree() (degree, bool) {
	start := p.pos
	var d degree
	for {
		switch {
		case p.lit("b", "♭", "-", "−"):
			d.alter--
			continue
		case p.lit("#", "♯", "+"):
			d.alter++
			continue
		case p.lit("x"):
			d.alter += 2
			continue
		}
		break
	}
	for p.pos < len(p.text) && p.text[p.pos] >= '0' && p.text[p.pos] <= '9' && d.num < 10 {
		d.num = d.num*10 + int8(p.text[p.pos]-'0')
		p.pos++
	}
	if d.num < 1 || d.num > 15 || d.alter > 3 || d.alter < -3 || d.num == 8 || d.num == 15 || d == (degree{1, 0}) || d.num == 14 || d.num == 12 {
		p.pos = start
		return degree{}, false
	}
	return d, true
}

// addDegree adds d under the number it is called by: a second is a ninth, a fourth an eleventh, a thirteenth without seventh
// a sixth.
func (p *labelParser) addDegree(d degree) {
	switch {
	case d.num == 2:
		d.num = 9
	case d.num == 4:
		d.num = 11
	case d.num == 10:
		d.num = 3
	}
	p.add(d)
}

// replace puts an altered fifth, ninth, eleventh or thirteenth in the place of the natural one; a second alteration of the
// same number stands beside the first.
func (p *labelParser) replace(d degree) {
	p.degs = slices.DeleteFunc(p.degs, func(e degree) bool { return e.num == d.num && e.alter == 0 })
	p.add(d)
}

// finish reads what may follow the quality and puts the symbol together.
func (p *labelParser) finish() error {
	// A slash comes first, then words.
	for {
		for p.lit(" ", ",", "\t") {
		}
		at := p.pos
		switch {
		case p.rest() == "":
			return p.resolve()
		case p.phrase("chord", "triad", "and"):
		case p.lit("/", "\\"), p.phrase("over"):
			if p.sym.HasBass {
				p.pos = at
				return p.fail("found a second bass")
			}
			c, err := p.class(false)
			if err != nil {
				return err
			}
			p.phrase("bass", "in the bass")
			p.sym.Bass, p.sym.HasBass = c, true
		case p.phrase("in root position", "root position"):
			p.sym.Inversion = 0
		case p.phrase("in"), p.inversionAhead():
			n := 0
			for i, w := range [...]string{"first", "second", "third", "fourth"} {
				if p.phrase(w, [...]string{"1st", "2nd", "3rd", "4th"}[i]) {
					n = i + 1
				}
			}
			if n == 0 || !p.phrase("inversion") {
				return p.fail("found %s; wanted root position, first, second, third or fourth inversion", p.found())
			}
			if !slices.ContainsFunc(p.degs, func(d degree) bool { return d.num == int8(2*n+1) }) {
				p.pos = at
				return p.fail("the chord has no %s, so no %s inversion", pitch.NumberWord(2*n+1), ordinal(n))
			}
			p.sym.Inversion = n
		case p.phrase("without", "no", "omit"):
			p.phrase("the", "its", "a")
			d, ok := p.degreeWord()
			if !ok || !p.has(d.num) || d.num == 1 {
				return p.fail("found %s; wanted the member that is left out, as in without the fifth", p.found())
			}
			p.leaveOut(d.num)
		case p.phrase("with"), phraseWidth(p.rest(), "added") > 0:
			if err := p.with(); err != nil {
				return err
			}
		default:
			p.pos = at
			return p.fail("%s is left over; wanted the end, a slash and a bass, or an inversion", p.found())
		}
	}
}

func (p *labelParser) inversionAhead() bool {
	for _, w := range [...]string{"first", "second", "third", "fourth", "1st", "2nd", "3rd", "4th"} {
		if phraseWidth(p.rest(), w+" inversion") > 0 {
			return true
		}
	}
	return false
}

// with reads what follows "with": a bass, added or altered notes, a note in place of another.
func (p *labelParser) with() error {
	for {
		p.phrase("a", "an", "the", "its")
		if start := p.pos; true { // "with E in the bass"
			if c, err := p.class(false); err == nil && p.phrase("in the bass", "in bass") {
				if p.sym.HasBass {
					p.pos = start
					return p.fail("found a second bass")
				}
				p.sym.Bass, p.sym.HasBass = c, true
				return nil
			}
			p.pos = start
		}
		added := p.phrase("added")
		if p.phrase("split third", "both thirds") {
			p.add(degree{3, 0}, degree{3, -1})
		} else {
			d, ok := p.degreeWord()
			if !ok {
				return p.fail("found %s; wanted a member, as in added sixth or raised fifth", p.found())
			}
			if p.phrase("in place of", "instead of", "replacing", "replaces", "for") {
				p.phrase("the", "its", "a")
				e, ok := p.degreeWord()
				if !ok || !p.has(e.num) || e.num == 1 {
					return p.fail("found %s; wanted the member that is replaced", p.found())
				}
				p.leaveOut(e.num)
				added = true
			}
			switch {
			case added || d.alter == 0 || d.num == 6 || d.num == 3:
				p.addDegree(d)
			default:
				p.replace(d)
			}
		}
		if !p.phrase("and") {
			return nil
		}
	}
}

// degreeWord reads "raised eleventh", "minor sixth", "fifth", "b9".
func (p *labelParser) degreeWord() (degree, bool) {
	start := p.pos
	var d degree
	switch {
	case p.phrase("raised", "sharp", "augmented", "sharpened"):
		d.alter = 1
	case p.phrase("doubly raised"):
		d.alter = 2
	case p.phrase("doubly lowered"):
		d.alter = -2
	case p.phrase("lowered", "flat", "flattened", "minor", "diminished"):
		d.alter = -1
	case p.phrase("perfect", "major", "natural"):
	}
	for n := 2; n <= 13; n++ {
		if n != 8 && n != 12 && p.phrase(pitch.NumberWord(n), ordinalDigits(n)) {
			d.num = int8(n)
			return d, true
		}
	}
	p.pos = start
	p.blanks()
	if d, ok := p.degree(); ok {
		return d, true
	}
	p.pos = start
	return degree{}, false
}

func ordinalDigits(n int) string {
	suffix := "th"
	switch n {
	case 2:
		suffix = "nd"
	case 3:
		suffix = "rd"
	}
	return fmt.Sprint(n) + suffix
}

// resolve looks the members up in the vocabulary and closes the symbol.
func (p *labelParser) resolve() error {
	if f := formByID(p.sym.Type.ID); f == nil || lineMask(f.degrees) != lineMask(p.degs) {
		p.sym.Type = typeOf(p.degs)
	}
	return nil
}

// A phrasing is a name in words and the row it means.
type phrasing struct {
	text string
	form *form
}

// phrasings holds the names of the vocabulary, with the usual shortenings, longest first.
var phrasings = sync.OnceValue(func() []phrasing {
	var ps []phrasing
	add := func(text string, f *form) {
		if !slices.ContainsFunc(ps, func(p phrasing) bool { return p.text == text }) {
			ps = append(ps, phrasing{text, f})
		}
	}
	short := [...][2]string{{"seventh", "7"}, {"ninth", "9"}, {"eleventh", "11"}, {"thirteenth", "13"}, {"sixth", "6"}}
	for _, f := range forms() {
		for _, n := range f.Names {
			add(n, f)
		}
	}
	for _, f := range forms() {
		for _, n := range f.Names {
			for _, s := range short {
				if strings.Contains(n, s[0]) {
					add(strings.ReplaceAll(n, s[0], s[1]+"th"), f)
					add(strings.ReplaceAll(n, s[0], s[1]), f)
				}
			}
			if f.Family == famAugSixth {
				for _, s := range f.Symbols {
					add(s, f)
				}
			}
		}
	}
	for _, more := range [...][2]string{{"minor-major", "minmaj7"}, {"suspended", "sus4"}, {"sus 4", "sus4"}, {"suspended 4th", "sus4"},
		{"suspended 2nd", "sus2"}, {"major added sixth", "6"}, {"major sixth-ninth", "69"}, {"augmented dominant seventh", "aug7"},
		{"diminished dominant seventh", "dom7b5"}, {"fully-diminished seventh", "dim7"}, {"dominant", "dom7"}, {"major-seventh", "maj7"},
		{"minor seventh suspended fourth", "7sus4"}, {"minor seventh flat 5", "hdim7"}, {"major added ninth", "add9"},
		{"half diminished seventh", "hdim7"}, {"quartal", "q3"}, {"quintal", "qu3"}, {"fifth", "power"}, {"bare fifth", "power"}} {
		add(more[0], formByID(more[1]))
	}
	slices.SortStableFunc(ps, func(a, b phrasing) int { return cmp.Compare(len(b.text), len(a.text)) })
	return ps
})

// words reads a label whose quality is in words: "F# minor seventh chord". The root may then be in lower case, but not a
// lone "a", which is an article to everybody else.
func (p *labelParser) words() error {
	start := p.pos
	p.blanks()
	loneA := strings.HasPrefix(p.rest(), "a ")
	root, err := p.class(true)
	if err != nil {
		return err
	}
	p.sym = Symbol{Root: root, Inversion: -1}
	if s := p.rest(); s == "" || s[0] != ' ' && s[0] != '-' && s[0] != '\t' {
		if word := strings.TrimLeft(p.text[start:], " \t"); len(word) > 3 && fold(word[:1]) == word[:1] && fold(s) == s && !strings.ContainsAny(word[:4], "0123456789# -") {
			p.pos = start // the d of descending is no D
			p.blanks()
			return p.fail("found %s where a note name belongs", p.found())
		}
		return p.fail("found %s where a quality belongs", p.found())
	}
	p.lit("-")
	if loneA {
		p.pos = start
		return p.fail("%s has no root, unless the a is meant as the note A: then write it large", p.found())
	}
	for _, ph := range phrasings() {
		if ph.form.tertian && p.phrase(ph.text) {
			p.sym.Type = ph.form.Type
			p.degs = slices.Clone(ph.form.degrees)
			return p.finish()
		}
	}
	p.blanks()
	return p.fail("found %s where a quality belongs, as in m7 or minor seventh", p.found())
}

// named reads a label that puts the name first: "German sixth on Ab", "three-note quartal chord on C".
func (p *labelParser) named() error {
	for _, ph := range phrasings() {
		start := p.pos
		if !p.phrase(ph.text) && !(strings.HasPrefix(p.rest(), ph.text) && strings.ContainsRune(ph.text, '+') && p.lit(ph.text)) {
			continue
		}
		p.phrase("chord")
		if ph.form.Family == famPredominant || ph.form.Family == famChromatic {
			return p.fail("a %s needs a key; here only the chord itself can be named", ph.text)
		}
		if ph.form.ID == "power" { // "open fifth C-G"
			q := *p
			if root, err := q.class(false); err == nil && q.lit("-") {
				if at := q.pos; true {
					if top, err := q.class(false); err != nil || top != root.Add(pitch.PerfectFifth) {
						p.pos = at
						return p.fail("found %s; wanted %s, the fifth above %s", p.found(), root.Add(pitch.PerfectFifth), root)
					}
				}
				*p = q
				p.sym = Symbol{Root: root, Inversion: -1, Type: ph.form.Type}
				p.degs = slices.Clone(ph.form.degrees)
				return p.finish()
			}
		}
		if !p.phrase("on", "of") {
			p.blanks()
			if p.rest() == "" {
				return p.fail("%s has no root; wanted a note name, as in %s on Ab", ph.text, ph.text)
			}
			p.pos = start
			continue
		}
		root, err := p.class(false)
		if err != nil {
			return err
		}
		p.sym = Symbol{Root: root, Inversion: -1, Type: ph.form.Type}
		p.degs = slices.Clone(ph.form.degrees)
		return p.finish()
	}
	return p.fail("found %s; wanted a note name, as in F#m7", p.found())
}

// nearestLabel proposes a label that is understood: the part before the fault, or the root with the quality in words that
// needs the fewest changes.
func nearestLabel(s string, offset int) string {
	try := func(t string) string {
		for _, start := range starts(t) {
			for _, read := range [...]func(*labelParser) error{(*labelParser).symbol, (*labelParser).words} {
				p := labelParser{text: t, pos: start}
				if read(&p) == nil {
					return p.sym.House()
				}
			}
		}
		return ""
	}
	root, rest, err := pitch.ScanClass(strings.TrimLeft(s, " \t"))
	if err != nil {
		return ""
	}
	if word := strings.ToLower(strings.TrimSpace(rest)); len(word) > 2 && len(word) < 40 {
		best, at := len(word)/3+1, ""
		for _, ph := range phrasings() {
			if d := editDistance(word, ph.text, best); ph.form.tertian && d < best {
				best, at = d, ph.text
			}
		}
		if at != "" {
			return root.String() + " " + at
		}
	}
	for cut := min(offset, len(s)); cut > 0; cut-- {
		if t := try(strings.TrimRight(s[:cut], " ,/(")); t != "" {
			return t
		}
	}
	return ""
}

// editDistance counts the bytes to insert, delete or replace to get from a to b; it gives up at limit.
func editDistance(a, b string, limit int) int {
	if d := len(a) - len(b); d >= limit || -d >= limit {
		return limit
	}
	prev := make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := range len(a) {
		diag := prev[0]
		prev[0] = i + 1
		for j := range len(b) {
			d := diag
			if a[i] != b[j] {
				d = 1 + min(diag, prev[j], prev[j+1])
			}
			diag, prev[j+1] = prev[j+1], d
		}
	}
	return prev[len(b)]
}

// TypeByName returns the row that a quality without root means, in words or as a suffix: "dominant seventh", "a minor seventh
// chord", "m7". ok is false if it means none.
func TypeByName(name string) (t Type, ok bool) {
	if len(name) > maxLabel {
		return Type{}, false
	}
	for _, start := range starts(name) {
		p := labelParser{text: name, pos: start}
		for _, ph := range phrasings() {
			q := p
			if !q.phrase(ph.text) {
				continue
			}
			q.phrase("chord", "triad")
			q.phrase("chord")
			if q.blanks(); q.rest() == "" {
				return ph.form.Type, true
			}
		}
		if p.rest() != "" && p.suffix() == nil && p.rest() == "" {
			if t = typeOf(p.degs); t.ID != "" {
				return t, true
			}
		}
	}
	return Type{}, false
}

// lineMask returns the places of ds on the line of fifths above the root, one bit each from lineLow.
func lineMask(ds []degree) (m uint64) {
	for _, d := range ds {
		if n := d.fifths() - lineLow; n >= 0 && n < lineLen {
			m |= 1 << n
		}
	}
	return m
}

// named returns degs under the numbers they are called by in a chord: a sixth beside a seventh is a thirteenth, a second beside
// a third or a suspended fourth a ninth, a fourth beside a third an eleventh.
func named(degs []degree) []degree {
	has := func(num int8) bool {
		return slices.ContainsFunc(degs, func(d degree) bool { return d.num == num })
	}
	out := make([]degree, 0, len(degs))
	third, fourth, seventh := has(3), has(4), has(7)
	for _, d := range degs {
		switch {
		case d.num == 6 && seventh:
			d.num = 13
		case d.num == 13 && !seventh:
			d.num = 6
		case d.num == 2 && (third || fourth):
			d.num = 9
		case d.num == 4 && third:
			d.num = 11
		}
		if !hasPlace(out, d) {
			out = append(out, d)
		}
	}
	return out
}

// typeOf returns the row with the given members or, if there is none, a chord put together from the nearest row.
func typeOf(degs []degree) Type {
	degs = named(degs)
	slices.SortStableFunc(degs, func(a, b degree) int {
		return cmp.Or(cmp.Compare(a.num, b.num), cmp.Compare(a.alter, b.alter))
	})
	mask := lineMask(degs)
	var base *form
	var best float32
	for _, f := range forms() {
		if !f.tertian || f.Symbols == nil || f.Family == famAugSixth || f.Family == famSpecial {
			continue
		}
		fm := lineMask(f.degrees)
		if fm == mask {
			return f.Type
		}
		missing, added := 0, 0
		for _, d := range f.degrees {
			if !hasPlace(degs, d) {
				missing++
			}
		}
		for _, d := range degs {
			if !hasPlace(f.degrees, d) {
				added++
			}
		}
		if added > 0 && !f.takesAdded() {
			continue
		}
		if f.ID == "13-no11" || f.ID == "13-full" {
			// A plain 13 is read with its eleventh, one with another fifth or ninth in place of its own without.
			bent := slices.ContainsFunc(degs, func(d degree) bool {
				return d.alter != 0 && (d.num == 5 || d.num == 9) && !slices.Contains(degs, degree{d.num, 0})
			})
			if bent != (f.ID == "13-no11") {
				continue
			}
		}
		if cost := f.cost + 3*float32(added) + 4*float32(missing); base == nil || cost < best {
			base, best = f, cost
		}
	}
	var added, omitted []degree
	for _, d := range base.degrees {
		if !hasPlace(degs, d) {
			omitted = append(omitted, d)
		}
	}
	t := Type{Family: base.Family, Omittable: base.Omittable}
	for _, d := range degs {
		t.Intervals = append(t.Intervals, d.interval())
		if i := slices.IndexFunc(base.degrees, func(e degree) bool { return e.fifths() == d.fifths() }); i >= 0 {
			t.Roles = append(t.Roles, base.Roles[i])
		} else {
			switch d.num { // beside a chord that has neither, still an added ninth or eleventh
			case 2:
				d.num = 9
			case 4:
				d.num = 11
			}
			added = append(added, d)
			t.Roles = append(t.Roles, addedRole(base, d))
		}
	}
	t.Symbols = []string{base.suffix(added, omitted)}
	t.Names = []string{base.quality(added, omitted)}
	return t
}

func hasPlace(ds []degree, d degree) bool {
	return slices.ContainsFunc(ds, func(e degree) bool { return e.fifths() == d.fifths() })
}

// takesAdded reports whether a symbol of f can take further added notes in its bracket.
func (f *form) takesAdded() bool {
	return f.ID != "addb6" && f.ID != "add4"
}

// plainAlteration reports whether d is written in the bracket of f as an alteration, without "add".
func (f *form) plainAlteration(d degree) bool {
	switch d.num {
	case 5:
		return d.alter != 0
	case 9, 13:
		return d.alter != 0 && f.seventh
	case 11: // Cadd9(#11) and C6/9(#11) too, but C(add#11)
		return d.alter != 0 && (f.seventh || len(f.degrees) > 3)
	}
	return false
}

// addedRole names the part of a note added to f.
func addedRole(f *form, d degree) string {
	plain := 0
	if f.plainAlteration(d) {
		plain = 1
	}
	if d.num < 0 || d.num > 15 || d.alter < -4 || d.alter > 4 {
		return wordAdded(d, plain == 1)
	}
	return addedRoles()[d.num][d.alter+4][plain]
}

var addedRoles = sync.OnceValue(func() *[16][9][2]string {
	t := new([16][9][2]string)
	for num := range t {
		for a := range t[num] {
			for p := range t[num][a] {
				t[num][a][p] = wordAdded(degree{int8(num), int8(a - 4)}, p == 1)
			}
		}
	}
	return t
})

// wordAdded puts an added degree in words; one that is written as an alteration is not said to be added.
func wordAdded(d degree, plain bool) string {
	word := pitch.NumberWord(int(d.num))
	switch {
	case d.num == 3:
		if d.alter < 0 {
			return "added minor third"
		}
		return "added major third"
	case d.num == 6 && d.alter == -1:
		return "added minor sixth"
	case d.num == 7 && d.alter == 0:
		return "added major seventh"
	case d.alter == -1:
		word = "lowered " + word
	case d.alter == 1:
		word = "raised " + word
	case d.alter != 0 && d.num > 0:
		word = d.interval().Quality().String() + " " + word
	}
	if plain {
		return word
	}
	return "added " + word
}

// suffix returns the house symbol of f with notes added and left out.
func (f *form) suffix(added, omitted []degree) string {
	return string(f.appendSuffix(nil, added, omitted))
}

func (f *form) appendSuffix(b []byte, added, omitted []degree) []byte {
	if len(added) == 0 && len(omitted) == 0 {
		if len(f.Symbols) > 0 {
			b = append(b, f.Symbols[0]...)
		}
		return b
	}
	type mod struct {
		d    degree
		verb string
	}
	var buf [16]mod
	mods := buf[:0]
	for _, d := range f.alts {
		if f.ID == "addb6" {
			mods = append(mods, mod{d, "add"})
		} else if !slices.Contains(omitted, d) {
			mods = append(mods, mod{d, ""})
		}
	}
	var taken [16]bool // numbers that an added note has too
	var replaced [16]bool
	for _, d := range added {
		natural := degree{d.num, 0}
		taken[d.num&15] = true
		switch {
		case f.plainAlteration(d) && (!slices.Contains(f.degrees, natural) || slices.Contains(omitted, natural)):
			mods = append(mods, mod{d, ""})
			replaced[d.num&15] = true // "no" goes without saying
		case d.num == 7 && d.alter == 0:
			mods = append(mods, mod{d, "addmaj"})
		default:
			mods = append(mods, mod{d, "add"})
		}
	}
	// By number; a natural note after an altered one, which would replace it when read.
	slices.SortStableFunc(mods, func(a, b mod) int {
		return cmp.Or(cmp.Compare(a.d.num, b.d.num), cmp.Compare(len(a.verb), len(b.verb)), cmp.Compare(a.d.alter, b.d.alter))
	})
	b = append(append(b, f.stem...), '(')
	// What is left out comes last, unless another note of the same number follows.
	for _, late := range [...]bool{false, true} {
		for _, d := range omitted {
			if taken[d.num&15] == late || d.alter == 0 && replaced[d.num&15] {
				continue
			}
			d.alter = 0
			b = d.append(append(b, "no"...))
		}
		if late {
			break
		}
		for _, m := range mods {
			b = m.d.append(append(b, m.verb...))
		}
	}
	return append(b, ')')
}

// triadOf says whether the third of f is major or minor.
func triadOf(f *form) string {
	if slices.Contains(f.degrees, degree{3, -1}) {
		return "minor"
	}
	return "major"
}

// quality returns the name of f with notes added and left out: "dominant seventh with lowered ninth and raised eleventh".
func (f *form) quality(added, omitted []degree) string {
	return string(f.appendQuality(nil, added, omitted))
}

func (f *form) appendQuality(b []byte, added, omitted []degree) []byte {
	if f.Family == "sixth" && f.ID != "addb6" && len(omitted) == 1 && omitted[0].num == 5 && len(added) == 0 {
		b = append(append(b, triadOf(f)...), " with "...)
		if f.ID == "69" || f.ID == "m69" {
			b = append(b, "added ninth and "...)
		}
		return append(b, "the sixth in place of the fifth"...)
	}
	b = append(b, f.Names[0]...)
	for i, d := range added {
		if i == 0 {
			b = append(b, " with "...)
		} else {
			b = append(b, " and "...)
		}
		if d.num == 3 {
			b = append(b, "split third"...)
		} else {
			b = append(b, addedRole(f, d)...)
		}
	}
	for i, d := range omitted {
		if i == 0 {
			b = append(b, " without "...)
		} else {
			b = append(b, " and without "...)
		}
		b = append(b, pitch.NumberWord(int(d.num))...)
	}
	return b
}

// House returns the label in house spelling: "F#m7(b5)/C", "German sixth on Ab".
func (s Symbol) House() string {
	label := labelOf(s.Root, s.Type)
	if s.Type.ID == "13-no11" { // C13 alone is read with its eleventh
		label = s.Root.String() + s.Type.Symbols[1]
	}
	if bass, said := s.BassClass(); said && bass != s.Root {
		label += slashed(s.Type.ID, bass)
	}
	return label
}

// slashed returns what a label says of a bass that is not the root. An open fifth is in words, so its bass is too.
func slashed(id string, bass pitch.Class) string {
	if id == "power" {
		return " over " + bass.String()
	}
	return "/" + bass.String()
}

// openFifth names a fifth without third. The symbol Eb5 is understood, but not written: it looks like the pitch Eb5.
func openFifth(root pitch.Class) string {
	return "open fifth " + root.String() + "-" + root.Add(pitch.PerfectFifth).String()
}

func labelOf(root pitch.Class, t Type) string {
	if t.ID == "power" {
		return openFifth(root)
	}
	if len(t.Symbols) == 0 || t.Family == famAugSixth {
		return t.Name() + " on " + root.String()
	}
	return root.String() + t.Symbols[0]
}

// Spell returns the members of the chord in stacking order, root first. A bass that is no member is not among them.
func (s Symbol) Spell() []pitch.Class {
	cs := make([]pitch.Class, len(s.Type.Intervals))
	for i, iv := range s.Type.Intervals {
		cs[i] = s.Root.Add(iv)
	}
	return cs
}

// BassClass returns the bass the label asks for, by its slash or its inversion. If it says neither, the bass is understood to
// be the root and said is false.
func (s Symbol) BassClass() (c pitch.Class, said bool) {
	if s.HasBass {
		return s.Bass, true
	}
	if s.Inversion > 0 {
		for _, iv := range s.Type.Intervals {
			if iv.Steps == 2*s.Inversion {
				return s.Root.Add(iv), true
			}
		}
	}
	return s.Root, s.Inversion == 0
}

// A Respelling is a note that fits only when it is read under another name.
type Respelling struct {
	Pitch pitch.Pitch
	As    pitch.Class
	Role  string
}

// A Match is a label held against notes.
type Match struct {
	Present    []Member      // notes that are members as spelled, low to high
	Enharmonic []Respelling  // notes that are members by sound only, low to high
	Foreign    []pitch.Pitch // notes that are no members and not the bass the label names, low to high
	Missing    []string      // roles that don't sound, in stacking order
	MissingAs  []pitch.Class // the same as notes
	Bass       pitch.Pitch   // the lowest note
	BassWant   pitch.Class   // what the label asks for in the bass; its root if it says nothing
	BassSaid   bool          // the label says it, with a slash or an inversion
	BassOK     bool          // the lowest note is spelled BassWant
	BassSounds bool          // the lowest note sounds as BassWant
	Usual      bool          // nothing is missing but what players usually leave out
}

// Holds reports whether the notes are the chord by spelling: nothing foreign, nothing enharmonic, nothing missing but what is
// usually left out, and the bass right if the label says it.
func (m Match) Holds() bool { return m.Sounds() && len(m.Enharmonic) == 0 && (m.BassOK || !m.BassSaid) }

// Sounds reports whether the notes are the chord by ear, whatever their spelling.
func (m Match) Sounds() bool {
	return len(m.Present)+len(m.Enharmonic) > 0 && len(m.Foreign) == 0 && m.Usual && (m.BassSounds || !m.BassSaid)
}

// Agrees holds sym against notes. For no notes everything is missing.
func Agrees(sym Symbol, notes []pitch.Pitch) Match {
	ns := distinct(notes)
	var m Match
	m.BassWant, m.BassSaid = sym.BassClass()
	if len(ns) > 0 {
		m.Bass = ns[0]
		m.BassOK = ns[0].Class() == m.BassWant
		m.BassSounds = ns[0].Class().Enharmonic(m.BassWant)
	}
	spelled := sym.Spell()
	heard := make([]bool, len(spelled))
	for i, p := range ns {
		at := slices.Index(spelled, p.Class())
		if at >= 0 {
			m.Present = append(m.Present, Member{p, sym.Type.Roles[at]})
		} else if at = slices.IndexFunc(spelled, p.Class().Enharmonic); at >= 0 {
			m.Enharmonic = append(m.Enharmonic, Respelling{p, spelled[at], sym.Type.Roles[at]})
		} else if i == 0 && sym.HasBass && m.BassSounds {
			if m.BassOK {
				m.Present = append(m.Present, Member{p, "bass"})
			} else {
				m.Enharmonic = append(m.Enharmonic, Respelling{p, sym.Bass, "bass"})
			}
		} else if sym.HasBass && p.Class() == sym.Bass {
			m.Present = append(m.Present, Member{p, "bass"}) // the bass doubled above
		} else {
			m.Foreign = append(m.Foreign, p)
		}
		if at >= 0 {
			heard[at] = true
		}
	}
	m.Usual = true
	for i, h := range heard {
		if !h {
			m.Missing = append(m.Missing, sym.Type.Roles[i])
			m.MissingAs = append(m.MissingAs, spelled[i])
			m.Usual = m.Usual && slices.Contains(sym.Type.Omittable, sym.Type.Roles[i])
		}
	}
	return m
}
