package typed

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"plumbline/theory/score"
)

// An Error says what in a typed passage could not be understood, and where. Line and Col count from 1, Col in characters
// (not bytes), a tab being one. Bar is the printed number, "3-4" for several, "" outside bars; Hand is 0 outside a hand's line.
type Error struct {
	File   string // as given to Read
	Line   int
	Col    int
	Bar    string
	Hand   score.Hand
	Voice  int
	Msg    string
	Source string // the line itself
}

// Error returns one line: "typed: bar 3, right hand (line 7:12): …". The file is left to the caller, who knows it.
func (e *Error) Error() string {
	place := fmt.Sprintf("line %d:%d", e.Line, e.Col)
	if e.Bar != "" {
		bar := e.Bar
		if strings.ContainsFunc(bar, func(r rune) bool { return !unicode.IsPrint(r) || r == utf8.RuneError }) {
			bar = strconv.Quote(bar) // a quoted number may hold anything; a message stays on one line
		}
		in := "bar " + bar
		if severalBars.MatchString(e.Bar) {
			in = "bars " + e.Bar
		}
		if e.Hand != 0 {
			in += ", " + handVoice(e.Hand, e.Voice)
		}
		place = in + " (" + place + ")"
	}
	return "typed: " + place + ": " + e.Msg
}

var severalBars = regexp.MustCompile(`^[0-9]+-[0-9]+$`)

func handVoice(h score.Hand, voice int) string {
	if voice > 1 {
		return fmt.Sprintf("%s, voice %d", h, voice)
	}
	return h.String()
}

// detailWidth is how many characters of a long line Detail shows before and after the place.
const detailWidth = 60

// Detail returns the line and, under it, a caret below the character in question: two lines without a final line break. A
// long line is cut, with an ellipsis, to the neighbourhood of the place.
func (e *Error) Detail() string {
	line := []rune(e.Source)
	col := min(max(e.Col-1, 0), len(line))
	from, to := 0, len(line)
	var text, under strings.Builder
	if col > detailWidth {
		from = col - detailWidth
		text.WriteString("…")
		under.WriteString(" ")
	}
	cut := to > col+detailWidth
	if cut {
		to = col + detailWidth
	}
	for i, r := range line[from:to] {
		if r != '\t' && !unicode.IsGraphic(r) {
			r = utf8.RuneError
		}
		text.WriteRune(r)
		switch {
		case from+i >= col:
		case r == '\t':
			under.WriteByte('\t')
		default:
			under.WriteString("  "[:width(r)])
		}
	}
	if cut {
		text.WriteString("…")
	}
	return text.String() + "\n" + under.String() + "^"
}

// width returns the columns of a terminal that r takes: 0 for marks that sit on the letter before, 2 for the wide letters
// of East Asia and for pictures, else 1 (the wide blocks of Unicode Standard Annex 11, roughly: enough for a title).
func width(r rune) int {
	switch {
	case unicode.In(r, unicode.Mn, unicode.Me), r == 0x200d:
		return 0
	case r >= 0x1100 && r <= 0x115f, r >= 0x2e80 && r <= 0x303e, r >= 0x3041 && r <= 0xa4cf, r >= 0xac00 && r <= 0xd7a3,
		r >= 0xf900 && r <= 0xfaff, r >= 0xfe30 && r <= 0xfe6f, r >= 0xff00 && r <= 0xff60, r >= 0xffe0 && r <= 0xffe6,
		r >= 0x1f300 && r <= 0x1faff, r >= 0x20000 && r <= 0x3fffd:
		return 2
	}
	return 1
}
