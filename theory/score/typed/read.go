package typed

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"plumbline/theory/score"
)

// Read reads a typed passage; name is kept as its Source and in errors. Errors in the text are *Error, found by errors.As;
// if several lines have one, they come joined in order of place, ten at most. A file of more than 4 MiB, with more than a
// million notes or 100,000 marks, or with times that are not [score.Time.InRange] is refused. Bar numbers that don't go on by one are kept and
// give a warning.
func Read(name string, r io.Reader) (*score.Passage, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("typed: %w", err)
	}
	if len(text) > maxBytes {
		return nil, errors.New("typed: the file is larger than 4 MiB")
	}
	rd := &reader{file: name, p: &score.Passage{Source: name}}
	rd.lines = strings.Split(strings.TrimPrefix(string(text), "\ufeff"), "\n")
	rd.read()
	if len(rd.errs) == 0 {
		rd.finish()
	}
	if len(rd.errs) == 0 {
		return rd.p, nil
	}
	slices.SortStableFunc(rd.errs, func(a, b *Error) int { return cmp.Or(a.Line-b.Line, a.Col-b.Col) })
	if len(rd.errs) == 1 {
		return nil, rd.errs[0]
	}
	var list []error
	for _, e := range rd.errs[:min(len(rd.errs), maxErrors)] {
		list = append(list, e)
	}
	return nil, errors.Join(list...)
}

// Ties of a note being read.
const (
	untied int8 = iota
	tied        // to a note that must be there
	tiedOpen
)

// A rawNote's Onset counts from its bar until the block is closed.
type rawNote struct {
	score.Note
	tie int8
	pos pos
}

// A rawMark is something in brackets or in a bar line, at a moment of a bar.
type rawMark struct {
	pos
	what  markKind
	bar   int
	at    Time // from the bar until the block is closed, then absolute
	long  Time // of a mark with "for"
	text  string
	hand  score.Hand // whom a dynamic is for
	in    score.Hand // the line it stands in
	voice int
	key   score.KeyChange
	tempo float64
	pedal score.PedalAct
	sign  score.Sign
	chord score.Harmony
}

type markKind int8

const (
	dynamicMark markKind = iota
	hairpin              // open until its end is found
	hairpinEnd
	keyMark
	tempoMark
	pedalMark
	signMark
	chordMark
)

type reader struct {
	file  string
	lines []string
	errs  []*Error
	full  bool // enough errors
	p     *score.Passage

	headers  map[string]bool
	meter    score.Meter
	hasMeter bool
	noMeter  bool // the meter could not be read: bars can't be checked
	block    *block
	hand     *handLine // which an indented line carries on
	notes    []rawNote
	marks    []rawMark
}

// A block is a bar line and the hands below it.
type block struct {
	pos
	name    string // the printed number of a single bar
	first   int    // the first number of several
	count   int
	several bool
	bad     bool
	lost    bool // a line under it could not be told
	upbeat  bool
	short   bool
	length  Time
	hasLen  bool
	from    Time // beat
	fromPos pos
	hasFrom bool
	marks   int // how many marks there were before it
	hands   []*handLine
	seen    map[lineKey]int // how many lines there are of a voice; layer 1 are those of further notes
}

func (b *block) number(i int) string {
	if b.several {
		return strconv.Itoa(b.first + i)
	}
	return b.name
}

type handLine struct {
	pos
	hand     score.Hand // 0 for between
	voice    int
	further  bool
	between  bool
	bad      bool
	toks     []token
	end      pos
	value    Time
	hasValue bool
	sums     []Time // of each bar
	silent   []bool
	ends     []pos
}

// fail notes an error; of each line only the first is kept.
func (r *reader) fail(p pos, bar string, h *handLine, format string, args ...any) {
	if len(r.errs) >= maxErrors {
		r.full = true
	}
	for _, e := range r.errs {
		if e.Line == p.line+1 {
			return
		}
	}
	line := strings.TrimSuffix(r.lines[p.line], "\r")
	e := &Error{File: r.file, Line: p.line + 1, Col: utf8.RuneCountInString(line[:min(p.at, len(line))]) + 1, Bar: bar,
		Msg: fmt.Sprintf(format, args...), Source: strings.Clone(line)}
	if h != nil {
		e.Hand, e.Voice = h.hand, h.voice
	}
	r.errs = append(r.errs, e)
}

func (r *reader) read() {
	r.headers = map[string]bool{}
	for n, raw := range r.lines {
		if r.full {
			return
		}
		raw = strings.TrimSuffix(raw, "\r")
		if i := badText(raw); i >= 0 {
			r.lose(pos{n, i}, "this isn't plain text in UTF-8")
			continue
		}
		line := withoutComment(raw)
		trimmed := strings.TrimSpace(line)
		if trimmed == "" {
			continue
		}
		start := pos{n, strings.Index(line, trimmed)}
		switch {
		case handLead.MatchString(line):
			r.readHand(line, n, start)
		case barLead.MatchString(line):
			r.closeBlock()
			r.hand = nil
			r.block = r.readBarLine(line, start)
		case r.hand != nil && start.at > 0:
			r.carryOn(line, n, start.at)
		case wordLead.MatchString(line):
			r.hand = nil
			r.readHeader(line, start)
		default:
			r.hand = nil
			r.lose(start, "found %q; want a bar (bar 5), a hand (right: q C4) or a header (title: …)", clip(trimmed))
		}
	}
	r.closeBlock()
	if len(r.p.Bars) == 0 && len(r.errs) == 0 {
		last := len(r.lines) - 1
		r.fail(pos{last, len(r.lines[last])}, "", nil, "the passage has no bars; want, for instance, bar 1 and under it right: q C4 D4 E4 F4")
	}
}

// lose notes an error in a line that may have been meant for a hand.
func (r *reader) lose(p pos, format string, args ...any) {
	if r.block != nil {
		r.block.lost = true
	}
	r.fail(p, "", nil, format, args...)
}

// badText returns the place of the first byte that is no UTF-8 or a control character other than a tab, -1 if there is none.
func badText(s string) int {
	for i, r := range s {
		if r == utf8.RuneError {
			if _, w := utf8.DecodeRuneInString(s[i:]); w == 1 {
				return i
			}
		}
		if unicode.IsControl(r) && r != '\t' {
			return i
		}
	}
	return -1
}

// clip shortens s for a message.
func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// readHeader reads "word: value" before the first bar.
func (r *reader) readHeader(line string, start pos) {
	name, value, _ := strings.Cut(line, ":")
	name = strings.ToLower(strings.TrimSpace(name))
	vp := pos{start.line, strings.Index(line, ":") + 1}
	vp.at += len(value) - len(strings.TrimLeft(value, " \t"))
	value = strings.TrimSpace(value)
	switch name {
	case "title", "key", "meter", "tempo":
	default:
		r.lose(start, "unknown word %q; the headers are title, key, meter and tempo, the hands right and left", clip(name))
		return
	}
	if r.block != nil {
		r.fail(start, "", nil, "%s after the first bar; write a change as, for instance, bar 3: meter 3/4, key D minor", name)
		return
	}
	if r.headers[name] {
		r.fail(start, "", nil, "a second %s", name)
		return
	}
	r.headers[name] = true
	switch name {
	case "title":
		if s, err := strconv.Unquote(value); err == nil && value[0] == '"' {
			value = s
		}
		r.p.Title = value
	default:
		r.change(name, value, vp, "", nil, 0)
	}
}

// change reads a new meter, key or tempo for the bar of the given index.
func (r *reader) change(name, value string, p pos, barName string, h *handLine, at int) (ok bool) {
	m := rawMark{pos: p, bar: at}
	msg := ""
	switch name {
	case "meter":
		r.hasMeter = true
		r.meter, msg = parseMeter(value)
		r.noMeter = msg != ""
	case "key":
		m.what = keyMark
		if m.key, msg = parseKey(value); msg == "" {
			msg = r.addMark(m)
		}
	case "tempo":
		m.what = tempoMark
		if m.tempo, msg = parseTempo(value); msg == "" {
			msg = r.addMark(m)
		}
	}
	if msg != "" {
		r.fail(p, barName, h, "%s", msg)
	}
	return msg == ""
}

func (r *reader) addMark(m rawMark) (msg string) {
	if len(r.marks) >= maxMarks {
		return fmt.Sprintf("more than %d marks", maxMarks)
	}
	r.marks = append(r.marks, m)
	return ""
}

// readBarLine reads "bars 1-4" or "bar 3: meter 3/4, key D minor".
func (r *reader) readBarLine(line string, start pos) *block {
	b := &block{pos: start, count: 1, marks: len(r.marks), seen: map[lineKey]int{}}
	fail := func(i int, format string, args ...any) *block {
		b.bad = true
		r.fail(pos{start.line, i}, b.name, nil, format, args...)
		return b
	}
	i := len(barLead.FindString(line))
	rest := line[i:]
	if q, err := strconv.QuotedPrefix(rest); err == nil && rest[0] == '"' {
		b.name, _ = strconv.Unquote(q)
		i += len(q)
		if b.name == "" {
			return fail(i-len(q), "the bar number is empty")
		}
	} else {
		n := strings.IndexFunc(rest, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune(":,-–", r) })
		if n < 0 {
			n = len(rest)
		}
		if !plainNumber(rest[:n]) {
			if n == 0 {
				return fail(i, "the bar number is missing")
			}
			return fail(i, "found %q where a bar number belongs; one that isn't plain is quoted", clip(rest[:n]))
		}
		b.name = rest[:n]
		at, n1 := i, n
		i += n
		tail := strings.TrimLeft(line[i:], " \t")
		if dash, w := utf8.DecodeRuneInString(tail); dash == '-' || dash == '–' {
			first, ok := parseInt(b.name, 1_000_000)
			i = len(line) - len(tail) + w
			tail = strings.TrimLeft(line[i:], " \t")
			i = len(line) - len(tail)
			n = strings.IndexFunc(tail, func(r rune) bool { return unicode.IsSpace(r) || r == ':' })
			if n < 0 {
				n = len(tail)
			}
			last, ok2 := parseInt(tail[:n], 1_000_000)
			switch {
			case !ok || strconv.FormatInt(first, 10) != b.name:
				b.name = ""
				return fail(at, "found %q where the first of several bar numbers belongs; want a plain number", clip(rest[:n1]))
			case !ok2:
				return fail(i, "found %q where the last bar number belongs", clip(tail[:n]))
			case last <= first:
				return fail(i, "bars %d to %d: the last must be above the first", first, last)
			}
			b.several, b.first, b.count = true, int(first), int(last-first)+1
			b.name += "-" + tail[:n]
			i += n
		}
	}
	tail := strings.TrimLeft(line[i:], " \t")
	i = len(line) - len(tail)
	if tail = strings.TrimRight(tail, " \t"); tail == "" || tail == ":" {
		return b
	}
	if tail[0] != ':' {
		return fail(i, "found %q after the bar number; want a colon and what changes, as in bar 3: meter 3/4", clip(tail))
	}
	i++
	for attr := range strings.SplitSeq(line[i:], ",") {
		at := i + len(attr) - len(strings.TrimLeft(attr, " \t"))
		i += len(attr) + 1
		if !r.attribute(b, strings.TrimSpace(attr), pos{start.line, at}) {
			return b
		}
	}
	return b
}

// attribute reads one of the things after a bar number.
func (r *reader) attribute(b *block, attr string, p pos) bool {
	fail := func(format string, args ...any) bool {
		b.bad = true
		r.fail(p, b.name, nil, format, args...)
		return false
	}
	name, value, _ := strings.Cut(attr, " ")
	vp := pos{p.line, p.at + len(attr) - len(strings.TrimLeft(value, " \t"))}
	value = strings.TrimSpace(value)
	name = strings.ToLower(name)
	switch name {
	case "meter", "key", "tempo":
		if !r.change(name, value, vp, b.name, nil, len(r.p.Bars)) {
			b.bad = true
			return false
		}
		return true
	case "upbeat", "short", "length", "from":
		if b.several {
			return fail("%q is said of a single bar, not of bars %s", name, b.name)
		}
	}
	switch name {
	case "upbeat", "short":
		if value != "" {
			return fail("found %q after %s; want nothing more", clip(value), name)
		}
		b.upbeat, b.short = b.upbeat || name == "upbeat", b.short || name == "short"
	case "length":
		t, msg := parseLength(value)
		if msg != "" {
			return fail("%s", msg)
		}
		b.length, b.hasLen = t, true
	case "from":
		word, number, _ := strings.Cut(value, " ")
		t, ok := score.ParseTime(number)
		if word != "beat" || !ok || t.Less(score.Quarters(1)) {
			return fail("found %q; want, for instance, from beat 3", clip(attr))
		}
		b.from, b.fromPos, b.hasFrom = t, p, true
	default:
		return fail("found %q; want meter, key, tempo, upbeat, short, length or from beat", clip(attr))
	}
	if b.upbeat && b.short || b.hasFrom && (b.upbeat || b.short) || b.short && b.hasLen {
		return fail("%q contradicts what is said of the bar before", clip(attr))
	}
	return true
}

// readHand reads "right 2: …" up to the end of its line.
func (r *reader) readHand(line string, n int, start pos) {
	m := handLead.FindStringSubmatch(line)
	h := &handLine{pos: start, voice: 1, between: strings.EqualFold(m[1], "between"), further: m[3] != ""}
	r.hand = h
	bar := ""
	if r.block != nil {
		bar = r.block.name
	}
	fail := func(at int, format string, args ...any) {
		h.bad = true
		r.fail(pos{n, at}, bar, h, format, args...)
	}
	switch strings.ToLower(m[1]) {
	case "right", "rh":
		h.hand = score.Right
	case "left", "lh":
		h.hand = score.Left
	}
	if m[2] != "" {
		v, ok := parseInt(m[2], maxVoice)
		if !ok || v == 0 {
			fail(strings.Index(line, m[2]), "voice %s; voices are counted from 1 to %d", clip(m[2]), maxVoice)
		}
		h.voice = int(v)
	}
	switch {
	case m[4] == "":
		fail(len(m[0]), "a colon is missing after the hand; a hand's line begins, for instance, with right: or left 2:")
	case h.between && (m[2] != "" || h.further):
		fail(start.at, "the line between the hands has no voices; it begins with between:")
	case r.block == nil:
		fail(start.at, "a hand before the first bar; write the number of the bar above it, as in bar 1")
	}
	if r.block == nil {
		return
	}
	k := lineKey{hand: h.hand, voice: h.voice}
	if h.further {
		k.layer = 1
	}
	same := r.block.seen[k]
	r.block.seen[k]++
	switch {
	case h.between && same > 0:
		fail(start.at, "a second line between: in the same bars")
	case same > 0 && !h.further:
		name := strings.ToLower(m[1])
		fail(start.at, "a second line for the %s; a further voice is %s %d:, further notes of the same voice are %s+:",
			handVoice(h.hand, h.voice), name, h.voice+1, strings.TrimSpace(name+" "+m[2]))
	case same >= maxFurther:
		fail(start.at, "more than %d lines of further notes for the %s", maxFurther, handVoice(h.hand, h.voice))
	}
	r.block.hands = append(r.block.hands, h)
	r.carryOn(line, n, len(m[0]))
}

// carryOn adds the rest of a line to the current hand.
func (r *reader) carryOn(line string, n, from int) {
	h := r.hand
	toks, at, msg := lex(h.toks, line, n, from)
	if msg != "" && !h.bad {
		bar := ""
		if r.block != nil {
			bar = r.block.name
		}
		h.bad = true
		r.fail(at, bar, h, "%s", msg)
	}
	h.toks = toks
	h.end = pos{n, len(strings.TrimRight(line, " \t"))}
}

// closeBlock reads the bars of the hands under the last bar line.
func (r *reader) closeBlock() {
	b := r.block
	if b == nil || b.bad {
		return
	}
	if !r.hasMeter {
		r.hasMeter, r.noMeter = true, true // said once
		r.fail(b.pos, b.name, nil, "there is no meter; write, for instance, meter: 4/4 above the first bar")
	}
	if len(b.hands) == 0 {
		if !b.lost {
			r.fail(b.pos, b.name, nil, "no hand follows; a silent bar is written right: .")
		}
		return
	}
	if r.meter.Beats == 0 && (b.upbeat || b.short) && !r.noMeter {
		r.fail(b.pos, b.name, nil, "an upbeat or short bar needs a meter to be short of")
		return
	}
	full := r.meter.Length()
	offset := Time{}
	if b.hasFrom {
		beat := r.meter.Beat()
		if offset = b.from.Sub(score.Quarters(1)).Mul(beat.Num(), beat.Den()); !offset.InRange() || !b.hasLen && r.meter.Beats > 0 && !offset.Less(full) {
			r.fail(b.fromPos, b.name, nil, "the bar of %s has no beat %s", r.meter, b.from)
			return
		}
	}
	want, known, wantName := full, r.meter.Beats > 0 && !r.noMeter, r.meter.String()
	switch {
	case b.hasLen:
		want, known, wantName = b.length, true, "its length"
	case b.upbeat || b.short:
		known = false
	case b.hasFrom:
		want, wantName = full.Sub(offset), "the rest of "+r.meter.String()
	}

	firstNote := len(r.notes)
	allGood := !r.noMeter
	for _, h := range b.hands {
		if !h.bad {
			r.readBars(b, h, want, known, wantName)
		}
		allGood = allGood && !h.bad
	}
	if !allGood {
		return
	}
	start := r.p.End()
	for i := range b.count {
		length := want
		if !known {
			var ok bool
			if length, ok = r.agreed(b, i); !ok {
				return
			}
		}
		nb := score.Bar{Number: b.number(i), Start: start, Length: length, Offset: offset, Meter: r.meter}
		if b.upbeat || b.short {
			if !length.Less(full) {
				r.fail(b.pos, b.name, nil, "it has %s, which isn't short of %s", inQuarters(length), r.meter)
				return
			}
			if b.upbeat {
				nb.Offset = full.Sub(length)
			}
		}
		if start = start.Add(length); !start.InRange() || !nb.Offset.InRange() {
			r.fail(b.pos, b.number(i), nil, "the passage is too long, or its bars begin at too small parts of a beat")
			return
		}
		r.warnNumber(nb)
		r.p.Bars = append(r.p.Bars, nb)
	}
	for i := range r.notes[firstNote:] {
		n := &r.notes[firstNote+i]
		n.Onset = n.Onset.Add(r.p.Bars[n.Bar].Start)
		if !n.Onset.InRange() || !n.End().InRange() {
			r.fail(n.pos, r.p.Bars[n.Bar].Number, nil, "the note begins or ends at too small a part of a beat")
			return
		}
	}
	for i := range r.marks[b.marks:] {
		m := &r.marks[b.marks+i]
		if m.at = m.at.Add(r.p.Bars[m.bar].Start); !m.at.InRange() {
			r.fail(m.pos, r.p.Bars[m.bar].Number, nil, "the mark stands at too small a part of a beat")
			return
		}
	}
}

// warnNumber warns of a number that doesn't go on from the bar before.
func (r *reader) warnNumber(b score.Bar) {
	if len(r.p.Bars) == 0 {
		return
	}
	last := r.p.Bars[len(r.p.Bars)-1].Number
	old, ok := parseInt(last, 1_000_000)
	now, ok2 := parseInt(b.Number, 1_000_000)
	if ok && ok2 && now != old+1 && !(now == old && b.Offset.Sign() > 0) {
		r.p.Warnings = append(r.p.Warnings, fmt.Sprintf("bar %s comes after bar %s", b.Number, last))
	}
}

// agreed returns the length of bar i of a block whose length the voices give.
func (r *reader) agreed(b *block, i int) (length Time, ok bool) {
	var by *handLine
	for _, h := range b.hands {
		if h.between || h.further || h.silent[i] {
			continue
		}
		if by == nil {
			by, length = h, h.sums[i]
		} else if h.sums[i] != length {
			r.fail(h.ends[i], b.number(i), h, "%s, but the %s has %s; in this bar all voices must agree",
				inQuarters(h.sums[i]), handVoice(by.hand, by.voice), inQuarters(length))
			return length, false
		}
	}
	if by == nil {
		r.fail(b.pos, b.number(i), nil, "no voice says how long the bar is; write, for instance, bar %s: length 3/4", b.number(i))
		return length, false
	}
	for _, h := range b.hands { // a further line may stop early, not go on
		if !h.silent[i] && length.Less(h.sums[i]) {
			r.fail(h.ends[i], b.number(i), h, "%s, but the bar has %s", inQuarters(h.sums[i]), inQuarters(length))
			return length, false
		}
	}
	return length, true
}

// readBars reads all bars of a hand's line.
func (r *reader) readBars(b *block, h *handLine, want Time, known bool, wantName string) {
	toks := h.toks
	if n := len(toks); n > 0 && toks[n-1].kind == aBarLine { // the final bar line
		h.end = toks[n-1].pos
		toks = toks[:n-1]
	}
	bars := 1
	for _, t := range toks {
		if t.kind != aBarLine {
			continue
		}
		if bars++; bars > b.count {
			h.bad = true
			r.fail(t.pos, b.name, h, "a bar too many: %s above says %s", b.plural(), inBars(b.count))
			return
		}
	}
	if bars < b.count {
		h.bad = true
		r.fail(h.end, b.name, h, "%s, but %s above says %s", inBars(bars), b.plural(), inBars(b.count))
		return
	}
	for i := range b.count {
		n := slices.IndexFunc(toks, func(t token) bool { return t.kind == aBarLine })
		here, end := toks, h.end
		if n >= 0 {
			here, end, toks = toks[:n], toks[n].pos, toks[n+1:]
		}
		br := barReader{reader: r, block: b, line: h, name: b.number(i), index: len(r.p.Bars) + i, end: end,
			want: want, known: known, wantName: wantName, scale: score.Quarters(1)}
		if !br.read(here) {
			h.bad = true
			return
		}
		h.sums, h.silent, h.ends = append(h.sums, br.at), append(h.silent, br.silent), append(h.ends, end)
	}
}

func (b *block) plural() string {
	if b.several {
		return "bars " + b.name
	}
	return "bar " + b.name
}

func inBars(n int) string {
	if n == 1 {
		return "1 bar"
	}
	return fmt.Sprintf("%d bars", n)
}
