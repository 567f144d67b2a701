package score

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
)

// A PedalAct is what the foot does.
type PedalAct int8

// The acts of the damper pedal, and the pressing of the sostenuto pedal, which PedalUp releases too.
const (
	PedalUp     PedalAct = iota + 1 // at one moment it goes first
	PedalDown                       //
	PedalChange                     // up and down again at once
	Sostenuto
)

var pedalActs = [...]string{PedalUp: "up", PedalDown: "down", PedalChange: "change", Sostenuto: "sostenuto"}

// String returns "down", "up", "change" or "sostenuto", or %!PedalAct(n) out of range.
func (a PedalAct) String() string {
	if a < PedalUp || int(a) >= len(pedalActs) {
		return fmt.Sprintf("%%!PedalAct(%d)", int(a))
	}
	return pedalActs[a]
}

// A Pedal is one pedal mark.
type Pedal struct {
	At  Time
	Act PedalAct
}

// A Harmony is a chord symbol as the source prints it: not what the notes say, but what somebody wrote over them.
type Harmony struct {
	At       Time
	Root     pitch.Class // if Numeral is empty and Kind is not "none"
	Numeral  string      // in place of a root: a scale degree as written, "V" or "b2"
	Kind     string      // by its name in MusicXML (type kind-value): "minor-seventh", "other", "none"
	Printed  string      // how the kind is printed, if that differs from habit: "m7", "-7"
	Bass     pitch.Class // if HasBass
	HasBass  bool
	Inverted int    // 0 root position, 1 first inversion and so on, if the source says so
	Degrees  string // added, altered and left out: "add b9, alter #5, subtract 3"
}

// kindSuffix is how kinds are commonly printed (common practice, no source; the names are those of MusicXML 4.0, type
// kind-value).
var kindSuffix = map[string]string{
	"major": "", "minor": "m", "augmented": "+", "diminished": "dim", "dominant": "7", "major-seventh": "maj7",
	"minor-seventh": "m7", "diminished-seventh": "dim7", "augmented-seventh": "+7", "half-diminished": "m7(b5)",
	"major-minor": "m(maj7)", "major-sixth": "6", "minor-sixth": "m6", "dominant-ninth": "9", "major-ninth": "maj9",
	"minor-ninth": "m9", "dominant-11th": "11", "major-11th": "maj11", "minor-11th": "m11", "dominant-13th": "13",
	"major-13th": "maj13", "minor-13th": "m13", "suspended-second": "sus2", "suspended-fourth": "sus4", "power": "5",
	"Neapolitan": " Neapolitan", "Italian": " It6", "French": " Fr6", "German": " Ger6", "Tristan": " Tristan",
	"pedal": " pedal", "other": "", "none": "",
}

// String returns the symbol as one would print it: "F#m7(b5)/C", "V7", "N.C." for no chord.
func (h Harmony) String() string {
	suffix, known := kindSuffix[h.Kind]
	switch {
	case h.Printed != "":
		suffix = h.Printed
	case !known:
		suffix = " " + h.Kind
	}
	s := h.Numeral
	if s == "" {
		if h.Kind == "none" {
			return "N.C."
		}
		s = h.Root.String()
	}
	s += suffix
	if h.Degrees != "" {
		s += "(" + h.Degrees + ")"
	}
	if h.HasBass {
		s += "/" + h.Bass.String()
	}
	return s
}

// A SignKind is what a Sign tells the player.
type SignKind int8

// The kinds of sign, in the order in which they stand at one moment.
const (
	RepeatEnd   SignKind = iota + 1 // go back
	EndingEnd                       // the bracket of an ending closes
	Fine                            // the end, after a da capo or dal segno
	ToCoda                          // go to the coda, after a da capo or dal segno
	DaCapo                          // go back to the beginning
	DalSegno                        // go back to the segno
	Segno                           //
	Coda                            //
	RepeatStart                     // where a repeat goes back to
	EndingStart                     // the bracket of an ending opens
)

var signKinds = [...]string{RepeatEnd: "repeat", EndingEnd: "end of ending", Fine: "Fine", ToCoda: "To Coda", DaCapo: "D.C.",
	DalSegno: "D.S.", Segno: "segno", Coda: "coda", RepeatStart: "start of repeat", EndingStart: "ending"}

// String returns the kind in words, or %!SignKind(n) out of range.
func (k SignKind) String() string {
	if k < RepeatEnd || int(k) >= len(signKinds) {
		return fmt.Sprintf("%%!SignKind(%d)", int(k))
	}
	return signKinds[k]
}

// A Sign tells the player where to go on. It stands at a moment of the passage as written, and in a bar, since the end of
// one bar and the start of the next are one moment.
type Sign struct {
	At        Time
	Bar       int // index into Passage.Bars
	Kind      SignKind
	Times     int    // RepeatEnd: how often it is played in all; 0 if the source doesn't say, which is twice
	AfterJump bool   // RepeatEnd: the repeat is taken after a da capo or dal segno too
	Numbers   string // EndingStart: the times it is for, "1" or "1, 2"; if it is empty, those that Text tells
	Open      bool   // EndingEnd: the bracket stays open
	Label     string // Segno, Coda, DalSegno, ToCoda: which, where there are several
	Text      string // as printed, if it is words: "D.C. al Fine", "1.-3."
}

// String returns the sign in words.
func (s Sign) String() string {
	out := s.Kind.String()
	if s.Text != "" {
		out = strconv.Quote(s.Text)
	}
	if s.Numbers != "" {
		out += " " + s.Numbers
	}
	if s.Times > 0 {
		out += fmt.Sprintf(", %d times", s.Times)
	}
	if s.Label != "" {
		out += " " + strconv.Quote(s.Label)
	}
	return out
}

func compareSigns(a, b Sign) int {
	return cmp.Or(cmp.Compare(a.Bar, b.Bar), a.At.Compare(b.At), cmp.Compare(a.Kind, b.Kind), strings.Compare(a.Label, b.Label), strings.Compare(a.Text, b.Text))
}

// endings returns the numbers in a text such as "1, 2" or "1-3", nil if there are none.
func endings(s string) []int {
	var out []int
	last, through := 0, false
	for _, f := range strings.FieldsFunc(strings.ReplaceAll(strings.ReplaceAll(s, "–", "-"), "-", " - "), func(r rune) bool { return r == ',' || r == ' ' || r == '.' }) {
		if f == "-" {
			through = last > 0
			continue
		}
		n, err := strconv.Atoi(f)
		if err != nil || n < 1 || n > maxTimes {
			last, through = 0, false
			continue
		}
		for k := last + 1; through && k < n; k++ {
			out = append(out, k)
		}
		out = append(out, n)
		last, through = n, false
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// afterFirst puts grace notes that end a note before those that decorate the next one.
func afterFirst(a, b Note) int {
	switch {
	case a.After == b.After:
		return 0
	case a.After:
		return -1
	}
	return 1
}
