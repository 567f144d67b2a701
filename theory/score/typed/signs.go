package typed

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The functions of this file read and print pedal marks, signs (repeats, endings, jumps) and chord symbols as they stand in
// brackets. The readers return a message, "" if all is well; known tells whether the words are of this sort at all.

var pedalWords = map[score.PedalAct]string{score.PedalDown: "ped", score.PedalUp: "ped up", score.PedalChange: "ped change", score.Sostenuto: "sostenuto"}

func parsePedal(s string) (a score.PedalAct, msg string, known bool) {
	s = strings.Join(strings.Fields(strings.ToLower(s)), " ")
	for a, w := range pedalWords {
		if w == s {
			return a, "", true
		}
	}
	switch word, _, _ := strings.Cut(s, " "); {
	case s == "ped down":
		return score.PedalDown, "", true
	case word == "ped" || word == "sostenuto":
		return 0, fmt.Sprintf("found %q; the marks of the pedals are ped, ped change, ped up and sostenuto", clip(s)), true
	}
	return 0, "", false
}

// Words of signs, with the plain ones of a kind that begin alike behind the longer ones.
var signWords = []struct {
	words string
	sign  score.Sign
}{
	{"repeat from here", score.Sign{Kind: score.RepeatStart}},
	{"repeat", score.Sign{Kind: score.RepeatEnd}},
	{"ending end", score.Sign{Kind: score.EndingEnd}},
	{"ending left open", score.Sign{Kind: score.EndingEnd, Open: true}},
	{"ending", score.Sign{Kind: score.EndingStart}},
	{"fine", score.Sign{Kind: score.Fine}},
	{"to coda", score.Sign{Kind: score.ToCoda}},
	{"da capo", score.Sign{Kind: score.DaCapo}},
	{"dal segno", score.Sign{Kind: score.DalSegno}},
	{"segno", score.Sign{Kind: score.Segno}},
	{"coda", score.Sign{Kind: score.Coda}},
}

// jumpTexts are the words of a jump to an end, and how they are printed.
var jumpTexts = map[score.SignKind][2]string{
	score.DaCapo:   {"D.C. al Fine", "D.C. al Coda"},
	score.DalSegno: {"D.S. al Fine", "D.S. al Coda"},
}

const (
	maxTimes   = 1000 // of a repeat
	maxNumbers = 200  // bytes that tell the times of an ending
	alsoOnJump = "also after a jump"
)

// cutWords cuts whole words off the start of s, whatever their case.
func cutWords(s, words string) (rest string, ok bool) {
	for w := range strings.SplitSeq(words, " ") {
		n := len(w)
		if s = strings.TrimLeft(s, " \t"); len(s) < n || !strings.EqualFold(s[:n], w) || len(s) > n && !strings.ContainsRune(" \t,\"", rune(s[n])) {
			return s, false
		}
		s = s[n:]
	}
	return strings.TrimLeft(s, " \t"), true
}

// cutName cuts a quoted text, or a word, off the start of s.
func cutName(s string) (name, rest string) {
	if q, err := strconv.QuotedPrefix(s); err == nil && s[0] == '"' {
		name, _ = strconv.Unquote(q)
		return name, strings.TrimLeft(s[len(q):], " \t")
	}
	name, rest, _ = strings.Cut(s, " ")
	return name, strings.TrimLeft(rest, " \t")
}

func parseSign(s string) (g score.Sign, msg string, known bool) {
	rest := ""
	for _, w := range signWords {
		if rest, known = cutWords(s, w.words); known {
			g = w.sign
			break
		}
	}
	if !known {
		return g, "", false
	}
	for rest != "" {
		before := rest
		switch g.Kind {
		case score.RepeatEnd:
			number, tail := cutName(rest)
			n, ok := parseInt(number, maxTimes)
			if r, times := cutWords(tail, "times"); ok && times && n > 0 && g.Times == 0 {
				g.Times, rest = int(n), strings.TrimLeft(strings.TrimPrefix(r, ","), " \t")
			} else if r, ok := cutWords(rest, alsoOnJump); ok && !g.AfterJump {
				g.AfterJump, rest = true, r
			}
		case score.EndingStart:
			if rest[0] == '"' && g.Text == "" {
				g.Text, rest = cutName(rest)
				break
			}
			if r, ok := cutWords(rest, "numbered"); ok && g.Numbers == "" && g.Text == "" { // any other way to number them
				if g.Numbers, r = cutName(r); g.Numbers != "" {
					rest = r
				}
				break
			}
			end := strings.IndexByte(rest, '"')
			if end < 0 {
				end = len(rest)
			}
			if n, ok := parseEndings(rest[:end]); ok && g.Numbers == "" && g.Text == "" {
				g.Numbers, rest = n, rest[end:]
			}
		case score.Segno, score.Coda, score.DalSegno, score.ToCoda, score.DaCapo, score.Fine:
			jump := jumpTexts[g.Kind]
			named := g.Kind != score.DaCapo && g.Kind != score.Fine
			if r, ok := cutWords(rest, "called"); ok && named && g.Label == "" && g.Text == "" {
				g.Label, rest = cutName(r)
				if g.Label == "" {
					rest = before
				}
			} else if r, ok := cutWords(rest, "al fine"); ok && jump[0] != "" && g.Text == "" {
				g.Text, rest = jump[0], r
			} else if r, ok := cutWords(rest, "al coda"); ok && jump[1] != "" && g.Text == "" {
				g.Text, rest = jump[1], r
			} else if rest[0] == '"' && g.Text == "" && g.Kind != score.Segno && g.Kind != score.Coda {
				g.Text, rest = cutName(rest)
			}
		}
		if rest == before {
			return g, fmt.Sprintf("found %q in %q; %s", clip(rest), clip(s), signHelp[g.Kind]), true
		}
	}
	return g, "", true
}

var signHelp = map[score.SignKind]string{
	score.RepeatEnd:   "a repeat is written [repeat], [repeat 3 times] or [repeat from here]",
	score.RepeatStart: "want nothing after repeat from here",
	score.EndingStart: "an ending is written [ending 1] or [ending 1, 2], and [ending end] where it closes",
	score.EndingEnd:   "want nothing more where an ending closes",
	score.Fine:        "want nothing more, or in quotes what is printed",
	score.ToCoda:      "want nothing more, or in quotes what is printed",
	score.DaCapo:      "want nothing more, al fine, al coda, or in quotes what is printed",
	score.DalSegno:    "want nothing more, al fine, al coda, or in quotes what is printed",
	score.Segno:       "a segno among several is written [segno called B]",
	score.Coda:        "a coda among several is written [coda called B]",
}

// parseEndings reads "1", "1, 2" or "1-3" and returns "1, 2, 3".
func parseEndings(s string) (string, bool) {
	var out []string
	for f := range strings.SplitSeq(s, ",") {
		a, b, more := strings.Cut(strings.TrimSpace(f), "-")
		from, ok := parseInt(strings.TrimSpace(strings.TrimSuffix(a, ".")), maxTimes)
		to, ok2 := from, ok
		if more {
			to, ok2 = parseInt(strings.TrimSpace(strings.TrimSuffix(b, ".")), maxTimes)
		}
		if !ok || !ok2 || from < 1 || to < from || len(out) > maxNumbers {
			return "", false
		}
		for ; from <= to; from++ {
			out = append(out, strconv.FormatInt(from, 10))
		}
	}
	s = strings.Join(out, ", ")
	return s, len(s) <= maxNumbers
}

// signText undoes parseSign. It reports false if g can't be read back.
func signText(g score.Sign) (string, bool) {
	s := ""
	for _, w := range signWords {
		if w.sign.Kind == g.Kind && (g.Kind != score.EndingEnd || w.sign.Open == g.Open) {
			s = w.words
		}
	}
	if g.Times != 0 {
		s += fmt.Sprintf(" %d times", g.Times)
	}
	if g.AfterJump {
		if g.Times != 0 {
			s += ","
		}
		s += " " + alsoOnJump
	}
	if n, ok := parseEndings(g.Numbers); ok && n == g.Numbers {
		s += " " + n
	} else if g.Numbers != "" {
		s += " numbered " + quoted(g.Numbers)
	}
	if g.Label != "" {
		s += " called " + nameText(g.Label)
	}
	switch jump := jumpTexts[g.Kind]; {
	case g.Text == "":
	case g.Text == jump[0]:
		s += " al fine"
	case g.Text == jump[1]:
		s += " al coda"
	default:
		s += " " + quoted(g.Text)
	}
	back, msg, known := parseSign(s)
	back.At, back.Bar = g.At, g.Bar
	return s, known && msg == "" && back == g
}

func nameText(s string) string {
	if plainNumber(s) {
		return s
	}
	return quoted(s)
}

// kindNames are the names of kinds of chord (MusicXML 4.0, type kind-value).
var kindNames = []string{"major", "minor", "augmented", "diminished", "dominant", "major-seventh", "minor-seventh",
	"diminished-seventh", "augmented-seventh", "half-diminished", "major-minor", "major-sixth", "minor-sixth", "dominant-ninth",
	"major-ninth", "minor-ninth", "dominant-11th", "major-11th", "minor-11th", "dominant-13th", "major-13th", "minor-13th",
	"suspended-second", "suspended-fourth", "power", "Neapolitan", "Italian", "French", "German", "Tristan", "pedal", "other", "none"}

// habits gives the kind of chord for what score.Harmony prints behind the root.
var habits = func() map[string]string {
	m := map[string]string{}
	for _, k := range kindNames[:25] {
		m[strings.TrimPrefix(score.Harmony{Kind: k}.String(), "C")] = k
	}
	return m
}()

// kindOf does so for other ways to print it, which are kept (common practice, no source).
var kindOf = map[string]string{"M": "major", "maj": "major", "min": "minor", "mi": "minor", "-": "minor", "aug": "augmented",
	"°": "diminished", "o": "diminished", "M7": "major-seventh", "Δ": "major-seventh", "Δ7": "major-seventh", "min7": "minor-seventh",
	"mi7": "minor-seventh", "-7": "minor-seventh", "°7": "diminished-seventh", "o7": "diminished-seventh", "aug7": "augmented-seventh",
	"7#5": "augmented-seventh", "ø": "half-diminished", "ø7": "half-diminished", "m7b5": "half-diminished", "M9": "major-ninth",
	"min9": "minor-ninth", "-9": "minor-ninth", "min6": "minor-sixth", "-6": "minor-sixth", "sus": "suspended-fourth", "M13": "major-13th"}

// noChord is the symbol for a stretch without a chord.
const noChord = "N.C."

// parseChord reads a chord symbol, "F#m7/C" or the long form `"V" dominant "7" with "add b9" inversion 1 over C`. A suffix
// that isn't known is kept as it is printed, in a chord of kind "other".
func parseChord(s string) (h score.Harmony, msg string) {
	const want = "a chord symbol is written, for instance, [chord F#m7/C], [chord \"V\" dominant] or [chord N.C.]"
	if s == "" {
		return h, "the chord is missing; " + want
	}
	rest, plain := s, ""
	if s[0] == '"' {
		h.Numeral, rest = cutName(s)
		if h.Numeral == "" || h.Numeral[0] == '"' {
			return h, fmt.Sprintf("found %q; %s", clip(s), want)
		}
	} else {
		var word, over string
		if word, rest, _ = strings.Cut(s, " "); word == noChord {
			h.Kind = "none"
		} else {
			var err error
			if h.Root, plain, err = pitch.ScanClass(word); err != nil {
				return h, fmt.Sprintf("%q begins with no root (capital letters A to G); %s", clip(word), want)
			}
			if i := strings.LastIndexByte(plain, '/'); i >= 0 {
				if c, err := pitch.ParseClass(plain[i+1:]); err == nil {
					plain, over, h.Bass, h.HasBass = plain[:i], plain[i:], c, true
				}
			}
			if i := strings.IndexAny(plain, "\"\\"); i >= 0 {
				return h, fmt.Sprintf("found %q in %q; %s", clip(plain[i:]+over), clip(word), want)
			}
			if h.Kind = habits[plain]; plain != "" && h.Kind == "" {
				if h.Printed, h.Kind = plain, kindOf[plain]; h.Kind == "" {
					h.Kind = "other"
				}
			}
		}
	}
	kind := false
	for rest = strings.TrimLeft(rest, " \t"); rest != ""; {
		before := rest
		if rest[0] == '"' && h.Printed == "" {
			h.Printed, rest = cutName(rest)
		} else if r, ok := cutWords(rest, "with"); ok && h.Degrees == "" {
			if h.Degrees, r = cutName(r); h.Degrees != "" {
				rest = r
			}
		} else if r, ok := cutWords(rest, "inversion"); ok && h.Inverted == 0 {
			word, r := cutName(r)
			if n, ok := parseInt(word, maxFigure); ok {
				h.Inverted, rest = int(n), r
			}
		} else if r, ok := cutWords(rest, "over"); ok && !h.HasBass {
			word, r := cutName(r)
			if c, err := pitch.ParseClass(word); err == nil {
				h.Bass, h.HasBass, rest = c, true, r
			}
		} else if word, r := cutName(rest); !kind && plain == "" && rest[0] != '"' {
			if i := slices.IndexFunc(kindNames, func(k string) bool { return strings.EqualFold(k, word) }); i >= 0 {
				h.Kind, kind, rest = kindNames[i], true, r
			}
		}
		if rest == before {
			return h, fmt.Sprintf("found %q in the chord symbol; %s", clip(rest), want)
		}
	}
	if h.Kind == "" {
		h.Kind = "major"
	}
	return h, ""
}

// harmonyText undoes parseChord, with as few words as it can. It reports false if h can't be read back.
func harmonyText(h score.Harmony) (string, bool) {
	if h.Numeral == "" && !writable(h.Root.In(4)) || h.HasBass && !writable(h.Bass.In(4)) {
		return "", false
	}
	for _, short := range []bool{true, false} {
		s, bass := h.Root.String(), ""
		if h.HasBass {
			bass = h.Bass.String()
		}
		switch {
		case !short && h.Numeral != "":
			s = quoted(h.Numeral)
		case short && h.Numeral != "":
			continue
		case short && h.Kind == "none":
			s = noChord
		case short && h.Printed != "":
			s += h.Printed
		case short:
			s += strings.TrimPrefix(score.Harmony{Kind: h.Kind}.String(), "C")
		}
		if short && bass != "" {
			s += "/" + bass
		}
		if !short {
			s += " " + h.Kind
			if h.Printed != "" {
				s += " " + quoted(h.Printed)
			}
		}
		if h.Degrees != "" {
			s += " with " + quoted(h.Degrees)
		}
		if h.Inverted != 0 {
			s += fmt.Sprintf(" inversion %d", h.Inverted)
		}
		if !short && bass != "" {
			s += " over " + bass
		}
		back, msg := parseChord(s)
		back.At = h.At
		if msg == "" && back == h && !strings.ContainsAny(strings.ReplaceAll(s, "#", ""), "[]|\n\t") && !strings.Contains(s, " #") && badText(s) < 0 {
			return s, true
		}
	}
	return "", false
}
