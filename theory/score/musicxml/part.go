package musicxml

import (
	"bytes"
	"strconv"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A reader reads a score. Parts are kept with times counted from the start of their bar, because how long a bar is shows
// only when the last part has been read.
type reader struct {
	*tokens
	warnings

	work, movement         string // titles
	credit                 string
	offsets                map[int]Time // of bars, by their index
	parts                  []*part
	byID                   map[string]*part
	notes, measures, marks int // counted against the limits
}

// A part is one part with the state of reading it.
type part struct {
	id, name string
	keyboard bool // by its sound
	body     bool // it has measures
	staves   int

	bars      []bar
	notes     [][]score.Note // in chunks; Onset within the bar, Hand holds the staff, Voice an index into voices
	count     int            // of notes
	voices    []voice
	meters    []mark[score.Meter]
	keys      []mark[keyMark]
	tempos    []mark[tempo]
	swells    []swell
	signs     []mark[signMark]
	pedals    []mark[score.PedalAct]
	decorated []int // voices with grace notes in this bar

	harmonies []mark[score.Harmony]
	warnings

	voiceIndex map[string]int
	unit       Time                   // length of one division; 0 until it is given
	assumed    bool                   // nothing gave it
	transpose  map[int]pitch.Interval // by staff, 0 for all
	open       map[string]int         // hairpins under way: index into swells
	cursor     cursor
	unpitched  int
	hidden     int
}

// Time is short for the exact time of the passage.
type Time = score.Time

// A bar is one bar of a part.
type bar struct {
	number   string
	implicit bool
	length   Time // the furthest that a voice reaches
}

// A mark is something that holds from a moment on.
type mark[T any] struct {
	bar int
	at  Time // within the bar
	val T
}

type keyMark struct {
	key      key.Key
	declared bool
	staff    int // 0 for all
}

// A tempo is quarter notes a minute or, if that is 0, the ratio to the tempo before.
type tempo struct {
	quarters, ratio float64
}

// A swell is a dynamic mark, or a hairpin from one place to another.
type swell struct {
	bar, endBar int
	at, end     Time
	text        string
	hand        score.Hand
	hairpin     bool
	long        bool // a mark with a line of dashes
	closed      bool
}

// A voice is a voice as the source labels it.
type voice struct {
	label  string
	home   score.Hand // of its first note
	notes  [3]int     // on the right hand's staff [1], on the left hand's [2]
	graces []int      // of this bar, with no note after them as yet: indices of notes
}

// A cursor is the place within a bar where the next note goes: exact as the notes are written, and nominal as the sum of
// the durations says, which an exporter may have rounded. The stops are where notes of the bar begin and end, by which a
// nominal place finds its exact one again.
type cursor struct {
	exact, nominal Time
	furthest       Time
	rounded        int // notes whose duration was rounded
	moves          int // backups and forwards
	stops          []stop
	last           Time // onset of the note before, for chords
	hasLast        bool
}

type stop struct{ nominal, exact Time }

func (r *reader) document() error {
	name, err := r.root()
	if err != nil {
		return err
	}
	r.byID = map[string]*part{}
	visit := r.partwise
	switch name {
	case "score-partwise":
	case "score-timewise":
		visit = r.timewise
	case "opus":
		return r.fail("this is an opus, a list of scores; give one of its scores")
	default:
		return r.fail("the outermost element is <%s>; want <score-partwise> or <score-timewise>", name)
	}
	if err := r.each(func(name string) error {
		switch name {
		case "work":
			return r.each(func(name string) (err error) {
				if name == "work-title" {
					r.work, err = r.words()
				}
				return err
			})
		case "movement-title":
			r.movement, err = r.words()
			return err
		case "identification":
			return r.readIdentification()
		case "credit":
			return r.readCredit()
		case "part-list":
			return r.partList()
		}
		return visit(name)
	}); err != nil {
		return err
	}
	r.tokens.measure = ""
	return r.end()
}

// readCredit keeps the words of the credit that is said to be the title, or of the first one that says nothing.
func (r *reader) readCredit() error {
	kind, words := "", ""
	err := r.each(func(name string) (err error) {
		switch name {
		case "credit-type":
			kind, err = r.words()
		case "credit-words":
			if words == "" {
				words, err = r.words()
			}
		}
		return err
	})
	if kind == "title" || kind == "" && r.credit == "" {
		r.credit = words
	}
	return err
}

func (r *reader) partList() error {
	return r.each(func(name string) error {
		if name != "score-part" {
			return nil
		}
		p, err := r.part(r.attr("id"))
		if err != nil {
			return err
		}
		return r.each(func(name string) (err error) {
			switch name {
			case "part-name":
				p.name, err = r.words()
			case "score-instrument":
				return r.each(func(name string) error {
					if name == "instrument-sound" {
						b, err := r.text()
						p.keyboard = p.keyboard || bytes.HasPrefix(b, []byte("keyboard."))
						return err
					}
					return nil
				})
			}
			return err
		})
	})
}

// part returns the part with an id, a new one if there is none yet.
func (r *reader) part(id string) (*part, error) {
	if p := r.byID[id]; p != nil {
		return p, nil
	}
	if len(r.parts) == MaxParts {
		return nil, r.fail("more than %d parts", MaxParts)
	}
	p := &part{id: id, voiceIndex: map[string]int{}, transpose: map[int]pitch.Interval{}, open: map[string]int{}}
	r.parts = append(r.parts, p)
	r.byID[id] = p
	return p, nil
}

// bodyPart returns the part that a <part> element belongs to. A missing id is understood where only one part is listed.
func (r *reader) bodyPart() (*part, error) {
	id := r.attr("id")
	if id == "" && len(r.parts) == 1 {
		return r.parts[0], nil
	}
	return r.part(id)
}

func (r *reader) partwise(name string) error {
	if name != "part" {
		return nil
	}
	p, err := r.bodyPart()
	if err != nil {
		return err
	}
	if p.body {
		return r.fail("a second <part> with the id %q", p.id)
	}
	p.body = true
	return r.each(func(name string) error {
		if name != "measure" {
			return nil
		}
		return r.readMeasure(p, r.barHead())
	})
}

func (r *reader) timewise(name string) error {
	if name != "measure" {
		return nil
	}
	head := r.barHead()
	r.measure(head)
	count := 0
	for _, p := range r.parts {
		count = max(count, len(p.bars))
	}
	return r.each(func(name string) error {
		if name != "part" {
			return nil
		}
		p, err := r.bodyPart()
		if err != nil {
			return err
		}
		if len(p.bars) > count {
			return r.fail("a second <part> with the id %q in one measure", p.id)
		}
		for len(p.bars) < count { // it was left out in measures before
			p.bars = append(p.bars, bar{})
		}
		p.body = true
		return r.readMeasure(p, head)
	})
}

// barHead reads the attributes of <measure>.
func (r *reader) barHead() bar {
	b := bar{number: r.attr("text"), implicit: r.attr("implicit") == "yes"}
	if b.number == "" || b.implicit { // "This attribute is ignored for measures where the implicit attribute is set to yes"
		b.number = r.attr("number")
	}
	if len(b.number) > 32 {
		b.number = strings.ToValidUTF8(b.number[:32], "")
	}
	return b
}

func (r *reader) measure(b bar) { r.tokens.measure = b.number }

// warn adds a warning to p's, with its place.
func (r *reader) warn(p *part, format string, args ...any) {
	if len(p.list) >= MaxWarnings {
		p.more++ // unsaid, so that a million of them cost nothing
		return
	}
	e := r.fail(format, args...).(*Error)
	e.File = ""
	p.add(strings.TrimPrefix(e.Error(), "musicxml: "))
}

// mark counts a mark against the limit.
func (r *reader) countMark() error {
	if r.marks++; r.marks > MaxMarks {
		return r.fail("more than %d keys, meters, tempos and dynamics", MaxMarks)
	}
	return nil
}

// readMeasure reads the contents of a measure of p.
func (r *reader) readMeasure(p *part, head bar) error {
	r.measure(head)
	if r.measures++; r.measures > MaxMeasures {
		return r.fail("more than %d measures", MaxMeasures)
	}
	p.bars = append(p.bars, head)
	p.cursor = cursor{stops: p.cursor.stops[:0]}
	err := r.each(func(name string) error {
		switch name {
		case "note":
			return r.readNote(p)
		case "backup", "forward":
			return r.readMove(p, name == "backup")
		case "attributes":
			return r.readAttributes(p)
		case "direction":
			return r.readDirection(p)
		case "sound":
			return r.readSound(p)
		case "barline":
			return r.readBarline(p)
		case "harmony":
			return r.readHarmony(p)
		}
		return nil
	})
	p.nachschlag()
	p.bars[len(p.bars)-1].length = p.cursor.furthest
	return err
}

// readMove reads <backup> and <forward>.
func (r *reader) readMove(p *part, back bool) error {
	line, col := r.line, r.col
	var d decimal
	err := r.each(func(name string) (err error) {
		if name == "duration" {
			d, err = r.duration(p)
		}
		return err
	})
	if err != nil {
		return err
	}
	r.line, r.col = line, col
	c := &p.cursor
	c.hasLast = false
	length := d.times(p.unit)
	if !length.InRange() {
		return r.fail("a move by %s quarter notes, too far or too finely divided", length)
	}
	if !back {
		to := c.nominal.Add(length)
		c.exact, c.nominal = c.find(to, c.exact.Add(length), p.unit), to
		return r.reach(p)
	}
	to := c.nominal.Sub(length)
	exact := c.find(to, to, p.unit)
	if exact.Sign() < 0 {
		r.warn(p, "a backup of %s quarter notes where only %s have passed; taken as to the start of the bar", length, c.nominal)
		exact, to = Time{}, Time{}
	}
	c.exact, c.nominal = exact, to
	return nil
}

// A bar of more notes or voices than these gets no help against rounding; so the help costs little time.
const (
	maxStops = 1024
	maxMoves = 64
)

// A chunk of notes; lists of them grow without being copied.
const chunk = 1024

// keep adds a note.
func (p *part) keep(n score.Note) {
	if p.count%chunk == 0 {
		p.notes = append(p.notes, make([]score.Note, 0, min(chunk, 64+p.count)))
	}
	last := &p.notes[len(p.notes)-1]
	*last = append(*last, n)
	p.count++
}

// visit notes the place of the cursor.
func (c *cursor) visit() {
	if len(c.stops) < maxStops {
		c.stops = append(c.stops, stop{c.nominal, c.exact})
	}
}

// find returns the exact place of a nominal one. If no duration of this bar was rounded that is other; else it is the
// nearest place where a note began or ended, if rounding explains the difference.
func (c *cursor) find(nominal, other, unit Time) Time {
	if c.moves++; c.rounded == 0 || c.moves > maxMoves {
		return other
	}
	near := min(unit.Float()*float64(c.rounded), 1.0/16)
	best := other
	for _, s := range append(c.stops, stop{}) {
		d := s.nominal.Sub(nominal)
		if d.Sign() < 0 {
			d = Time{}.Sub(d)
		}
		if d.Sign() == 0 {
			return s.exact
		}
		if f := d.Float(); f < near {
			near, best = f, s.exact
		}
	}
	return best
}

// reach notes that the cursor has come to where it is, and refuses a time out of range.
func (r *reader) reach(p *part) error {
	c := &p.cursor
	if !c.exact.InRange() || !c.nominal.InRange() {
		return r.fail("a time too long or too finely divided")
	}
	c.furthest = c.furthest.Max(c.exact)
	return nil
}

// A decimal is a non-negative decimal number: num / 10^places.
type decimal struct {
	num    int64
	places int
}

var tens = [...]int64{1, 10, 100, 1000, 10000, 100000, 1000000}

// parseDecimal reads an unsigned decimal of at most ten digits, at most six of them after the point.
func parseDecimal(b []byte) (decimal, bool) {
	var d decimal
	digits, point := 0, false
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			d.num = 10*d.num + int64(c-'0')
			if d.num > 0 {
				digits++
			}
			if point {
				d.places++
			}
		case c == '.' && !point:
			point = true
		default:
			return d, false
		}
		if digits > 10 || d.places > 6 {
			return d, false
		}
	}
	return d, len(b) > 0 && string(b) != "."
}

// times returns d times a length.
func (d decimal) times(t Time) Time { return t.Mul(d.num, tens[d.places]) }

// duration reads the text of <duration>.
func (r *reader) duration(p *part) (decimal, error) {
	b, err := r.text()
	if err != nil {
		return decimal{}, err
	}
	d, ok := parseDecimal(b)
	if !ok {
		return d, r.fail("duration %q is no number from 0 to 9999999999", clip(b))
	}
	if p.unit.Sign() == 0 {
		p.unit, p.assumed = score.Quarters(1), true
		r.warn(p, "a duration before any <divisions>; one division is taken as a quarter note")
	}
	return d, nil
}

// integer reads the text of the element opened last as a whole number in [lo, hi].
func (r *reader) integer(lo, hi int) (int, error) {
	b, err := r.text()
	if err != nil {
		return 0, err
	}
	n, err := strconv.Atoi(string(bytes.TrimPrefix(b, []byte("+"))))
	if err != nil || n < lo || n > hi {
		return 0, r.fail("<%s> is %q; want a whole number from %d to %d", r.name, clip(b), lo, hi)
	}
	return n, nil
}

// clip shortens a text for a message.
func clip(b []byte) string {
	if len(b) > 40 {
		return strings.ToValidUTF8(string(b[:40]), "") + "…"
	}
	return string(b)
}
