package typed

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The functions of this file read and print the small words of the format: meters, keys, tempos, lengths, figures. The
// readers return a message, "" if all is well.

const maxFigure = 1024 // of a meter

// parseMeter reads "4/4", "3+2/8" or "free".
func parseMeter(s string) (m score.Meter, msg string) {
	s = strings.TrimSpace(s)
	if strings.EqualFold(s, "free") {
		return score.Meter{}, ""
	}
	fail := fmt.Sprintf("found %q where a meter belongs, such as 4/4, 3+2/8 or free", s)
	top, bottom, ok := strings.Cut(s, "/")
	if !ok {
		return m, fail
	}
	unit, ok := parseInt(strings.TrimSpace(bottom), maxFigure)
	if !ok || unit == 0 {
		return m, fail
	}
	m.Unit = int(unit)
	for g := range strings.SplitSeq(top, "+") {
		n, ok := parseInt(strings.TrimSpace(g), maxFigure)
		if m.Beats += int(n); !ok || n == 0 || m.Beats > maxFigure {
			return m, fail
		}
		m.Groups = append(m.Groups, int(n))
	}
	if len(m.Groups) == 1 {
		m.Groups = nil
	}
	return m, ""
}

// parseInt reads a plain decimal number without a sign, up to most.
func parseInt(s string, most int64) (int64, bool) {
	if s == "" || strings.Trim(s, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.ParseInt(s, 10, 64)
	return n, err == nil && n <= most
}

const maxSignature = 21 // three times all seven letters

// parseKey reads a key with its tonic, or a bare signature: "3 sharps", "1 flat".
func parseKey(s string) (k score.KeyChange, msg string) {
	if f := strings.Fields(strings.ToLower(s)); len(f) == 2 {
		if way, ok := map[string]int64{"sharp": 1, "sharps": 1, "flat": -1, "flats": -1}[f[1]]; ok && f[0][0] >= '0' && f[0][0] <= '9' {
			n, ok := parseInt(f[0], maxSignature)
			if !ok {
				return k, fmt.Sprintf("found %q where the number of sharps or flats belongs, 0 to %d", f[0], maxSignature)
			}
			return score.KeyChange{Key: key.FromSignature(int(way*n), key.Major)}, ""
		}
	}
	parsed, err := key.Parse(s)
	if err != nil {
		return k, strings.TrimPrefix(err.Error(), "key: ")
	}
	return score.KeyChange{Key: parsed, Declared: true}, ""
}

// keyText undoes parseKey. It reports false if k can't be read back.
func keyText(k score.KeyChange) (string, bool) {
	t := k.Key.Tonic
	if !writable(t.In(4)) {
		return "", false
	}
	s := k.Key.String()
	if !k.Declared {
		n, word := k.Key.Signature(), "sharp"
		if n < 0 {
			n, word = -n, "flat"
		}
		if n != 1 {
			word += "s"
		}
		s = fmt.Sprintf("%d %s", n, word)
	}
	back, msg := parseKey(s)
	return s, msg == "" && back.Key == k.Key && back.Declared == k.Declared
}

// parseTempo reads "q = 66" and returns quarter notes a minute.
func parseTempo(s string) (quarters float64, msg string) {
	name, number, ok := strings.Cut(s, "=")
	unit, known := parseValue(strings.TrimSpace(name))
	if !ok || !known {
		return 0, fmt.Sprintf("found %q where a tempo belongs, such as q = 66 or q. = 80", strings.TrimSpace(s))
	}
	number = strings.TrimSpace(number)
	n, err := strconv.ParseFloat(number, 64)
	if err != nil || strings.Trim(number, "0123456789.") != "" {
		return 0, fmt.Sprintf("found %q where the number of beats a minute belongs", number)
	}
	if quarters = n * unit.Float(); !(quarters >= minTempo && quarters <= maxTempo) {
		return 0, fmt.Sprintf("a tempo of %s %s a minute; nobody plays that", number, strings.TrimSpace(name))
	}
	return quarters, ""
}

// tempoText undoes parseTempo. It reports false if t can't be read back.
func tempoText(quarters float64) (string, bool) {
	return "q = " + strconv.FormatFloat(quarters, 'f', -1, 64), quarters >= minTempo && quarters <= maxTempo
}

// parseLength reads a length as a fraction of a whole note, "3/4", and returns quarter notes.
func parseLength(s string) (t Time, msg string) {
	top, bottom, ok := strings.Cut(strings.TrimSpace(s), "/")
	n, okN := parseInt(strings.TrimSpace(top), 1<<40)
	d, okD := parseInt(strings.TrimSpace(bottom), 1<<22)
	if !ok || !okN || !okD || d == 0 {
		return t, fmt.Sprintf("found %q where a length belongs, such as 3/8: so long as a bar of 3/8", strings.TrimSpace(s))
	}
	if t = score.T(4*n, d); !t.InRange() {
		return t, fmt.Sprintf("a length of %s is out of range", strings.TrimSpace(s))
	}
	return t, ""
}

// lengthText undoes parseLength.
func lengthText(t Time) string {
	whole := t.Mul(1, 4)
	return fmt.Sprintf("%d/%d", whole.Num(), whole.Den())
}

// parseTuplet reads the figures before a bracket, "3in2" or "3", and returns by how much the values inside are stretched.
func parseTuplet(s string) (scale Time, msg string) {
	top, bottom, ok := strings.Cut(s, "in")
	n, okN := parseInt(top, maxTuplet)
	short := shortTuplets[n]
	switch {
	case okN && n > 0 && !ok && short == 0:
		return scale, fmt.Sprintf("%d in the time of how many? write, for instance, %din8(", n, n)
	case okN && n > 0 && !ok:
		return score.T(short, n), ""
	}
	m, okM := parseInt(bottom, maxTuplet)
	if !okN || !okM || n == 0 || m == 0 {
		return scale, fmt.Sprintf("found %q before a round bracket; a tuplet is written 3in2(e C5 D5 E5)", s)
	}
	return score.T(m, n), ""
}

// parsePitch reads a pitch and words its error for a typist.
func parsePitch(s string) (p pitch.Pitch, msg string) {
	p, err := pitch.Parse(s)
	if err == nil {
		return p, ""
	}
	why := err.Error()
	var pe *pitch.ParseError
	if errors.As(err, &pe) {
		why = pe.Why
	}
	if s != "" && strings.IndexByte("ABCDEFGabcdefg", s[0]) < 0 {
		for _, v := range values {
			rest := strings.TrimLeft(strings.TrimPrefix(s, v.name), ".")
			if _, err := pitch.Parse(rest); err == nil && strings.HasPrefix(s, v.name) {
				return p, fmt.Sprintf("a space is missing between value and note: %q", s[:len(s)-len(rest)]+" "+rest)
			}
		}
		return p, fmt.Sprintf("unknown pitch %q; letters are A to G", s)
	}
	return p, fmt.Sprintf("unknown pitch %q: %s", s, why)
}

// quoted returns s in double quotes, with everything escaped that means something to the format.
func quoted(s string) string {
	return strings.NewReplacer("#", `\x23`, "[", `\x5b`, "]", `\x5d`, "|", `\x7c`).Replace(strconv.Quote(s))
}

// plainTitle reports whether a title can stand unquoted.
func plainTitle(s string) bool {
	return s != "" && strings.TrimSpace(s) == s && s[0] != '"' && s[0] != '#' && !strings.Contains(s, " #") && strconv.Quote(s) == `"`+strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s)+`"`
}

// plainNumber reports whether a bar number can stand unquoted.
func plainNumber(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z')
	})
}

// isDynamic reports whether a mark can stand unquoted.
func isDynamic(s string) bool { return s == louder || s == softer || slices.Contains(dynamics, s) }

// inQuarters words a length: "3 1/2 quarter notes".
func inQuarters(t Time) string {
	if t.Compare(score.Quarters(1)) <= 0 && t.Sign() > 0 {
		return t.String() + " quarter note"
	}
	return t.String() + " quarter notes"
}
