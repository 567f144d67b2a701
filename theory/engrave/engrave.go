// Package engrave draws passages on staves as SVG pictures, with marks on notes, texts, brackets and lines that show what an
// analysis speaks of, and pictures of the keyboard.
//
// Start with [Staff] and [Keyboard]. Both return the picture and a [Layout], which lists what stands where. All shapes are of
// our own drawing. The same input gives the same bytes.
//
// # Conventions
//
// Lengths inside the package are staff spaces, the distance of two staff lines. The picture counts in hundredths of a space
// (its viewBox) and is scaled as a whole. Ink is currentColor, so that a page's own colour and its dark mode apply; marks
// carry classes (mark-ring, mark-square, ...) whose colour a page may set, and tell by their shape and label, too, what they
// mean. Every note is a group with the id [NoteID] gives.
//
// A passage has no clefs: they are chosen here by where the notes lie (see clefs in clef.go), and so are ottava lines, stems,
// beams and the order of voices. Spacing follows J. S. Gourlay, Spacing a Line of Music (Ohio State University, OSU-CISRC-10/87-TR35,
// 1987): a gap is as wide as the shortest note that sounds in it asks for, and a note twice as long asks for a fixed amount more
// (formula from memory). Where the handbooks differ we follow Elaine Gould, Behind Bars (2011), from memory, unless said otherwise.
//
// It judges nothing and plays nothing.
package engrave

import (
	"errors"
	"fmt"
	"strconv"

	"plumbline/theory/score"
)

// Time is an exact number of quarter notes.
type Time = score.Time

// A Clef is one of the clefs.
type Clef int8

// The clefs. AutoClef lets the notes decide between treble and bass.
const (
	AutoClef Clef = iota
	Treble
	Bass
	Alto
	Tenor
)

var clefNames = [...]string{AutoClef: "automatic", Treble: "treble clef", Bass: "bass clef", Alto: "alto clef", Tenor: "tenor clef"}

// String returns the clef in words, or %!Clef(n) out of range.
func (c Clef) String() string {
	if c < AutoClef || int(c) >= len(clefNames) {
		return fmt.Sprintf("%%!Clef(%d)", int(c))
	}
	return clefNames[c]
}

// A Shape is how a mark looks. The shapes differ in black and white, too.
type Shape int8

// The shapes of marks.
const (
	Ring     Shape = iota // a circle round the head
	Square                // a square round the head
	Diamond               // a square on its corner
	Caret                 // a small open triangle beside the head
	Bars                  // two thick strokes left and right of the head
	Brackets              // corners round the head, dashed: what is missing or doubtful
)

var shapeNames = [...]string{"ring", "square", "diamond", "caret", "bars", "brackets"}

// String returns the shape in a word, or %!Shape(n) out of range. The class of a mark is "mark-" and this word.
func (s Shape) String() string {
	if s < Ring || int(s) >= len(shapeNames) {
		return fmt.Sprintf("%%!Shape(%d)", int(s))
	}
	return shapeNames[s]
}

// A Mark points at notes. A note is found by its sound, its hand and its time: one of Passage.Notes, or one of
// Passage.Sounding, which stands for all heads tied together. The label is set beside the first head.
type Mark struct {
	Notes []score.Note
	Shape Shape
	Label string
}

// A TextKind tells how a text is set.
type TextKind int8

// The kinds of text. Figures at the end of a Numeral are set one over the other: V65 in the usual way.
const (
	Reading TextKind = iota // a chord symbol or the name of a chord
	Numeral
	Comment // small and slanted
)

// A Text stands over or under the system at a moment of the passage. Row counts from the staff outward.
type Text struct {
	At    Time
	Text  string
	Kind  TextKind
	Above bool
	Row   int
}

// A Span is a bracket over or under the system, with a text: one cycle of a sequence, a phrase, the reach of a reading. Spans that
// overlap in one row are set in rows of their own.
type Span struct {
	From, To Time
	Text     string
	Above    bool
	Row      int
}

// A Strand is a thin line from note to note: one line of several that a hand plays. Label stands at its beginning.
type Strand struct {
	Notes []score.Note
	Label string
}

// A Stack is a bracket beside the notes that one hand (or both, if Hand is 0) has at a moment, with a text such as "P5 P5".
type Stack struct {
	At    Time
	Hand  score.Hand
	Label string
}

// BarNumbers tells which bars are numbered.
type BarNumbers int8

// Which bars are numbered.
const (
	NumberLines BarNumbers = iota // the first of each line, unless it is the first of the piece
	NumberAll
	NumberNone
)

// Options tell how to draw. The zero value gives one line as long as it needs to be.
type Options struct {
	Width  float64    // of the picture in CSS pixels; 0 for one line of its natural length
	Space  float64    // of one staff space in CSS pixels; 0 for 7
	Frame  [2]float64 // width and height in CSS pixels of a picture to fill, 1920 and 1080 for a slide; then Width and Space are found
	Prefix string     // put before every id, so that several pictures fit on one page; letters, digits and hyphens

	Interactive bool // notes are made known to screen readers one by one, with a label each
	Numbers     BarNumbers
	Clefs       [2]Clef // of the upper and the lower staff
	OneStaff    bool    // leave out a staff on which nothing stands
	NoCourtesy  bool    // no accidentals in parentheses
	Ink, Paper  string  // colours; if they are empty the ink is currentColor and there is no paper
	Title       string  // for screen readers; if it is empty, the passage's and the bars

	Marks   []Mark
	Texts   []Text
	Spans   []Span
	Strands []Strand
	Stacks  []Stack
}

// A Kind is what a box holds.
type Kind string

// The kinds of boxes.
const (
	KindHead       Kind = "head"
	KindAccidental Kind = "accidental"
	KindDot        Kind = "dot"
	KindRest       Kind = "rest"
	KindFlag       Kind = "flag"
	KindStem       Kind = "stem"
	KindBeam       Kind = "beam"
	KindTie        Kind = "tie"
	KindClef       Kind = "clef"
	KindKey        Kind = "key"
	KindTime       Kind = "time"
	KindBarline    Kind = "barline"
	KindLabel      Kind = "label" // of a mark, a strand, a span, or a text
	KindDynamic    Kind = "dynamic"
	KindMark       Kind = "mark"
	KindTuplet     Kind = "tuplet"
	KindSign       Kind = "sign"
)

// A Box is where something stands, in units of the viewBox.
type Box struct {
	X, Y, W, H float64
	Kind       Kind
	ID         string // of the note it belongs to, with the prefix; "" if it belongs to none
	Note       int    // index into Passage.Notes, or of the key in Keyboard; -1 if it belongs to none
	Bar        int    // index into Passage.Bars; -1 if it belongs to none
	Text       string // of a label
	Shared     bool   // a head that two voices share: it has a box for each
}

// A System is one line of music. Y and H are those of its staves, without what stands above and below them.
type System struct {
	Y, H        float64
	First, Last int // indices into Passage.Bars
}

// A BarBox is where a bar stands, from barline to barline, staves and all.
type BarBox struct {
	X, Y, W, H float64
	Bar        int // index into Passage.Bars
	System     int
}

// A Layout tells where everything stands, in units of the viewBox; Scale CSS pixels make one of them.
type Layout struct {
	W, H    float64
	Scale   float64
	Boxes   []Box
	Bars    []BarBox
	Systems []System
}

// At returns the bar and the note at a place of the picture, in units of the viewBox: indices into Passage.Bars and
// Passage.Notes, -1 where there is none. A bar reaches six spaces over and under its staves, the nearer system counts; of notes
// the one whose middle is nearest, within a space and a half.
func (l *Layout) At(x, y float64) (bar, note int) {
	bar, note = -1, -1
	near := 6.0 * unit
	for _, b := range l.Bars {
		if x < b.X || x >= b.X+b.W {
			continue
		}
		if d := max(b.Y-y, y-b.Y-b.H, 0); d <= near {
			near, bar = d, b.Bar
		}
	}
	best := 1.5 * unit * 1.5 * unit
	for _, b := range l.Boxes {
		if b.Kind == KindHead {
			dx, dy := b.X+b.W/2-x, b.Y+b.H/2-y
			if d := dx*dx + dy*dy; d < best {
				best, note = d, b.Note
			}
		}
	}
	return bar, note
}

// ErrNothing is returned for a region in which there is nothing to draw.
var ErrNothing = errors.New("engrave: there is no bar to draw")

// NoteID returns the id of the i-th note of p: "n-", the index of its bar from 0, "-" and its place among the notes of that
// bar. Further heads of the same note, where no single value can say its length, add "-2", "-3". It returns "" out of range.
func NoteID(p *score.Passage, i int) string {
	if i < 0 || i >= len(p.Notes) {
		return ""
	}
	k := 0
	for j := i - 1; j >= 0; j-- {
		if p.Notes[j].Bar == p.Notes[i].Bar {
			k++
		} else if p.Notes[j].Bar < p.Notes[i].Bar-1 {
			break
		}
	}
	return noteID(p.Notes[i].Bar, k)
}

func noteID(bar, k int) string { return "n-" + strconv.Itoa(bar) + "-" + strconv.Itoa(k) }

// noteIDs returns the ids of all notes of p.
func noteIDs(p *score.Passage) []string {
	count := map[int]int{}
	out := make([]string, len(p.Notes))
	for i, n := range p.Notes {
		out[i] = noteID(n.Bar, count[n.Bar])
		count[n.Bar]++
	}
	return out
}

// Heads returns the indices in p.Notes of the written notes that n is or is made of: those of its sound and hand that begin
// while it lasts. A voice of 0 stands for any.
func Heads(p *score.Passage, n score.Note) []int {
	var out []int
	for i, m := range p.Notes {
		if m.Onset.Less(n.Onset) {
			continue
		}
		if m.Onset != n.Onset && !m.Onset.Less(n.End()) {
			break
		}
		if m.Pitch.MIDI() != n.Pitch.MIDI() || n.Hand != 0 && m.Hand != n.Hand && !m.TieFrom || (m.Grace != score.NoGrace) != (n.Grace != score.NoGrace) {
			continue
		}
		if m.Onset == n.Onset && (m.Pitch != n.Pitch || n.Voice != 0 && m.Voice != n.Voice) || m.Onset != n.Onset && !m.TieFrom {
			continue
		}
		out = append(out, i)
	}
	return out
}
