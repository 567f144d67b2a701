package typed

import (
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A barReader reads one bar of one hand's line.
type barReader struct {
	*reader
	block    *block
	line     *handLine
	name     string
	index    int
	end      pos
	want     Time
	known    bool // whether want is
	wantName string

	at     Time // from the start of the bar
	scale  Time // by which values are stretched inside tuplets
	stack  []tuplet
	silent bool
}

type tuplet struct {
	pos
	before Time // scale outside
}

func (r *barReader) failAt(p pos, format string, args ...any) bool {
	r.fail(p, r.name, r.line, format, args...)
	return false
}

func (r *barReader) read(toks []token) bool {
	if len(toks) == 0 {
		return r.failAt(r.end, "the bar is empty; write r for rests, or a full stop for a silent bar")
	}
	stop := pos{-1, 0}
	for _, t := range toks {
		if r.silent {
			return r.failAt(t.pos, "found more after the full stop of a silent bar; write rests instead of it")
		}
		ok := true
		switch t.kind {
		case aMark:
			ok = r.mark(t)
		case aTuplet:
			ok = r.open(t)
		case itsEnd:
			if len(r.stack) == 0 {
				return r.failAt(t.pos, "a ) without its (")
			}
			top := len(r.stack) - 1
			r.scale, r.stack = r.stack[top].before, r.stack[:top]
		case aWord:
			if t.text == "." {
				if stop.line >= 0 || len(r.stack) > 0 {
					return r.failAt(t.pos, "a full stop beside notes; it stands for a whole silent bar")
				}
				r.silent = true
				continue
			}
			ok = r.word(t)
		}
		if !ok {
			return false
		}
		if t.kind != aMark {
			stop = t.pos
		}
	}
	if n := len(r.stack); n > 0 {
		return r.failAt(r.stack[n-1].pos, "the tuplet is not closed before the end of the bar")
	}
	if r.known && !r.silent && !r.line.further && !r.line.between && r.at != r.want {
		return r.failAt(r.end, "the bar is too short: %s; %s wants %s", inQuarters(r.at), r.wantName, r.want)
	}
	return true
}

func (r *barReader) open(t token) bool {
	if t.text == "" {
		return r.failAt(t.pos, "a round bracket without figures; a tuplet is written 3in2(e C5 D5 E5)")
	}
	by, msg := parseTuplet(t.text)
	if msg != "" {
		return r.failAt(t.pos, "%s", msg)
	}
	if len(r.stack) >= maxNested {
		return r.failAt(t.pos, "more than %d tuplets inside one another", maxNested)
	}
	r.stack = append(r.stack, tuplet{t.pos, r.scale})
	if by.InRange() {
		by = r.scale.Mul(by.Num(), by.Den())
	}
	if !by.InRange() || by.Sign() == 0 {
		return r.failAt(t.pos, "%s: out of range", t.text)
	}
	r.scale = by
	return true
}

// word reads a value, a rest or a note.
func (r *barReader) word(t token) bool {
	if v, ok := parseValue(t.text); ok {
		r.line.value, r.line.hasValue = v, true
		return true
	}
	if t.text == "r" || t.text == "R" {
		_, ok := r.advance(t)
		return ok
	}
	if c := t.text[0]; c >= '0' && c <= '9' {
		return r.failAt(t.pos, "found %q where a note belongs; a tuplet is written 3in2(e C5 D5 E5), without a space before the bracket", clip(t.text))
	}
	if r.line.between {
		return r.failAt(t.pos, "found %q; the line between the hands holds values, rests and marks only", clip(t.text))
	}
	return r.chord(t)
}

// advance moves on by the value in force and returns it.
func (r *barReader) advance(t token) (d Time, ok bool) {
	if !r.line.hasValue {
		return d, r.failAt(t.pos, "no value before %q; write one of w h q e s t before it", clip(t.text))
	}
	d = r.line.value.Mul(r.scale.Num(), r.scale.Den())
	next := r.at.Add(d)
	if !d.InRange() || !next.InRange() || d.Sign() == 0 {
		return d, r.failAt(t.pos, "times out of range: too long, or too small parts of a beat")
	}
	if r.known && r.want.Less(next) {
		return d, r.failAt(t.pos, "the bar is too long: %q goes on to %s; %s wants %s", clip(t.text), inQuarters(next), r.wantName, r.want)
	}
	r.at = next
	return d, true
}

// chord reads notes joined by +, with their ties, as grace notes or not.
func (r *barReader) chord(t token) bool {
	s, i := t.text, 0
	at := func(i int) pos { return pos{t.line, t.at + i} }
	n := score.Note{Hand: r.line.hand, Voice: r.line.voice, Bar: r.index, Onset: r.at}
	if strings.HasPrefix(s, "*") {
		n.Grace = score.Appoggiatura
		if i++; strings.HasPrefix(s[i:], ">") {
			n.After = true
			i++
		}
		if strings.HasPrefix(s[i:], "/") {
			n.Grace = score.Acciaccatura
			i++
		}
		if strings.HasPrefix(s[i:], "+") {
			n.Together = true
			i++
		}
	}
	end, all := len(s), untied
	if rest, ok := strings.CutSuffix(s, "==?"); ok {
		end, all = len(rest), tiedOpen
	} else if rest, ok := strings.CutSuffix(s, "=="); ok {
		end, all = len(rest), tied
	}
	var pitches []pitch.Pitch
	first := len(r.notes)
	for more := true; more; {
		piece := s[min(i, end):end]
		if piece, _, more = strings.Cut(piece, "+"); piece == "" {
			if !more && (i == 0 || s[i-1] != '+') {
				return r.failAt(at(i), "found %q without a note", clip(s))
			}
			return r.failAt(at(i), "a + without a note beside it; a chord is written without spaces: C4+E4+G4")
		}
		start := i
		i += len(piece) + 1
		m := rawNote{Note: n, tie: all, pos: at(start)}
		m.Together = n.Together || n.Grace != score.NoGrace && len(pitches) > 0
		for piece != "" && (piece[0] == '~' && !m.Cue || piece[0] == '=' && !m.TieFrom) {
			m.Cue, m.TieFrom = m.Cue || piece[0] == '~', m.TieFrom || piece[0] == '='
			piece = piece[1:]
			start++
		}
		if rest, ok := strings.CutSuffix(piece, "=?"); ok {
			piece, m.tie = rest, tiedOpen
		} else if rest, ok := strings.CutSuffix(piece, "="); ok {
			piece, m.tie = rest, tied
		}
		p, msg := parsePitch(piece)
		if msg != "" {
			return r.failAt(at(start), "%s", strings.Replace(msg, strconv.Quote(piece), strconv.Quote(clip(piece)), 1))
		}
		for _, q := range pitches {
			if q == p {
				return r.failAt(at(start), "%s is twice in the chord", p)
			}
		}
		pitches = append(pitches, p)
		m.Pitch, m.TieTo = p, m.tie != untied
		if len(r.notes) >= maxNotes {
			return r.failAt(at(start), "more than %d notes", maxNotes)
		}
		if len(r.notes) == cap(r.notes) { // doubled; append would copy a large list more often
			r.notes = slices.Grow(r.notes, max(len(r.notes), 64))
		}
		r.notes = append(r.notes, m)
	}
	if n.Grace != score.NoGrace {
		return true
	}
	d, ok := r.advance(t)
	for i := range r.notes[first:] {
		r.notes[first+i].Duration = d
	}
	return ok
}

// mark reads what stands in brackets.
func (r *barReader) mark(t token) bool {
	m := rawMark{pos: t.pos, bar: r.index, at: r.at, in: r.line.hand, voice: r.line.voice}
	s := strings.TrimSpace(t.text)
	word, rest, _ := strings.Cut(s, " ")
	switch strings.ToLower(word) {
	case "":
		return r.failAt(t.pos, "the brackets are empty")
	case "key", "tempo":
		n := len(r.marks)
		if !r.change(strings.ToLower(word), strings.TrimSpace(rest), t.pos, r.name, r.line, r.index) {
			return false
		}
		r.marks[n].at = r.at
		return true
	case "meter":
		return r.failAt(t.pos, "a meter changes only at the bar: write, for instance, bar 3: meter 3/4")
	case "chord":
		var msg string
		m.what = chordMark
		m.chord, msg = parseChord(strings.TrimSpace(rest))
		return r.wholeMark(t, m, msg)
	case "left":
		m.hand, s = score.Left, strings.TrimSpace(rest)
	case "right":
		m.hand, s = score.Right, strings.TrimSpace(rest)
	case "both":
		s = strings.TrimSpace(rest)
	}
	if a, msg, known := parsePedal(s); known {
		m.what, m.pedal = pedalMark, a
		return r.wholeMark(t, m, msg)
	}
	if g, msg, known := parseSign(s); known {
		m.what, m.sign = signMark, g
		return r.wholeMark(t, m, msg)
	}
	unknown := func() bool {
		return r.failAt(t.pos, "unknown mark %q; marks are p, mf, f and so on, louder, softer, end, key, tempo, ped, chord, repeat, ending and the like, others in quotes", clip(t.text))
	}
	if q, err := strconv.QuotedPrefix(s); err == nil && s[0] == '"' {
		m.text, _ = strconv.Unquote(q)
		rest = s[len(q):]
		if m.text == "" {
			return unknown()
		}
	} else {
		m.text, rest, _ = strings.Cut(s, " ")
		if m.text == "end" && rest == "" {
			m.what = hairpinEnd
		} else if !isDynamic(m.text) {
			return unknown()
		}
	}
	if rest = strings.TrimSpace(rest); rest != "" {
		length, ok := strings.CutPrefix(rest, "for ")
		if !ok {
			return unknown()
		}
		var msg string
		if m.long, msg = parseLength(length); msg != "" || m.long.Sign() == 0 {
			return r.failAt(t.pos, "found %q where a length belongs, such as 3/8: so long as a bar of 3/8", clip(strings.TrimSpace(length)))
		}
	} else if m.text == louder || m.text == softer {
		m.what = hairpin
	}
	if msg := r.addMark(m); msg != "" {
		return r.failAt(t.pos, "%s", msg)
	}
	return true
}

// wholeMark adds a mark that is for both hands, unless there is a message.
func (r *barReader) wholeMark(t token, m rawMark, msg string) bool {
	switch {
	case msg != "":
	case m.hand != 0:
		msg = "this mark is for both hands; write it without left or right"
	default:
		msg = r.addMark(m)
	}
	return msg == "" || r.failAt(t.pos, "%s", msg)
}
