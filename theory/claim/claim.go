// Package claim reads written claims about a passage and checks each against the notes.
//
// Start with [Parse], which reads a claims file, and [NewChecker] with [Checker.Check], which gives a claim's [Result]: a
// verdict, the notes it rests on and, unless it holds, what would hold instead. [Forms] lists the statements that are
// understood, each with what exactly it asserts.
//
// A claim whose words are not understood, or whose place is not in the passage, is an *Error with line and column, never a
// verdict. The package doesn't ask the ear.
//
// # Claims files
//
// One claim a line, "PLACE: STATEMENT". A # at the start of a line or after a space begins a comment, so that F# needs no
// care; blank lines are free. Text after " -- " is a remark that is kept with the claim. Places are those of package score.
package claim

import (
	"fmt"
	"io"
	"regexp"
	"strings"
	"sync"
	"unicode/utf8"

	"plumbline/theory/harmony"
	"plumbline/theory/score"
)

// A Claim is one line of a claims file.
type Claim struct {
	Line      int    // from 1
	PlaceText string // as written
	Statement string // as written, without the remark
	Remark    string
	Place     score.Place

	statementCol int // column of the statement in its line, from 1
	placeCol     int
	form         *Form
	args         args
}

// Form returns the form the statement was understood as.
func (c Claim) Form() Form { return *c.form }

// An Error says what in a claims file could not be understood or found, and where.
type Error struct {
	File    string
	Line    int // from 1
	Col     int // in characters, from 1
	Msg     string
	Nearest []string // forms that exist and come near
	Text    string   // the line
}

func (e *Error) Error() string {
	s := fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Col, e.Msg)
	if len(e.Nearest) > 0 {
		s += "; near to it: " + strings.Join(e.Nearest, " | ")
	}
	return s
}

// Detail returns the line with a caret under the column.
func (e *Error) Detail() string {
	pad := []rune(e.Text)
	pad = pad[:min(e.Col-1, len(pad))]
	for i, r := range pad {
		if r != '\t' {
			pad[i] = ' '
		}
	}
	return e.Text + "\n" + string(pad) + "^"
}

// Limits of a claims file.
const (
	maxFile = 1 << 20
	maxLine = 1000
)

// Parse reads the claims file named name from r. Every line is read: the claims that are understood are returned beside an
// *Error for each line that is not, in order. err is for reading itself: it is not nil if r fails, isn't UTF-8 or is larger
// than 1 MiB.
func Parse(name string, r io.Reader) (claims []Claim, bad []*Error, err error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return nil, nil, fmt.Errorf("claim: reading %s: %w", name, err)
	}
	if len(data) > maxFile {
		return nil, nil, fmt.Errorf("claim: %s is larger than 1 MiB; a claims file is a page of text", name)
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	if !utf8.ValidString(text) {
		return nil, nil, fmt.Errorf("claim: %s is not UTF-8 text", name)
	}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSuffix(line, "\r")
		c, ok, e := ParseLine(line)
		if e != nil {
			e.File, e.Line = name, i+1
			bad = append(bad, e)
			continue
		}
		if ok {
			c.Line = i + 1
			claims = append(claims, c)
		}
	}
	return claims, bad, nil
}

// ParseLine reads one line. ok is false if it is blank or a comment. The error, if any, lacks file and line.
func ParseLine(line string) (c Claim, ok bool, e *Error) {
	fail := func(at int, nearest []string, format string, a ...any) (Claim, bool, *Error) {
		at = min(max(at, 0), len(line))
		return Claim{}, false, &Error{Line: 1, Col: utf8.RuneCountInString(line[:at]) + 1, Msg: fmt.Sprintf(format, a...), Nearest: nearest, Text: line}
	}
	body := stripComment(line)
	if strings.TrimSpace(body) == "" {
		return c, false, nil
	}
	if len(line) > maxLine {
		return fail(maxLine, nil, "the line is longer than %d characters", maxLine)
	}
	if at := strings.Index(body, " -- "); at >= 0 {
		c.Remark = strings.TrimSpace(body[at+4:])
		body = body[:at]
	}
	colon := strings.IndexByte(body, ':')
	if colon < 0 {
		return fail(len(strings.TrimRight(body, " \t")), nil, "no colon; want PLACE: STATEMENT, as in %q", Forms()[0].Example)
	}
	placeAt := len(body) - len(strings.TrimLeft(body, " \t"))
	if placeAt >= colon {
		return fail(colon, nil, "no place before the colon; want, for instance, %q", "bar 3 beat 2: …")
	}
	c.PlaceText = strings.TrimSpace(body[:colon])
	place, err := score.ParsePlace(c.PlaceText)
	if err != nil {
		pe := err.(*score.PlaceError)
		return fail(placeAt+pe.Offset, nil, "%s", pe.Msg)
	}
	c.Place = place
	rest := body[colon+1:]
	at := colon + 1 + len(rest) - len(strings.TrimLeft(rest, " \t"))
	c.Statement = strings.TrimSpace(rest)
	if c.Statement == "" {
		return fail(len(body), nil, "no statement after the colon; want, for instance, %q", "is an F# minor seventh chord")
	}
	c.placeCol = utf8.RuneCountInString(line[:placeAt]) + 1
	c.statementCol = utf8.RuneCountInString(line[:at]) + 1
	form, a, se := parseStatement(c.Statement)
	if se != nil {
		return fail(at+se.offset, se.nearest, "%s", se.msg)
	}
	if a.layer != score.Whole {
		if c.Place.Layer != score.Whole && c.Place.Layer != a.layer {
			return fail(at, nil, "the place names the %s, the statement the %s", c.Place.Layer, a.layer)
		}
		c.Place.Layer = a.layer
	}
	c.form, c.args = form, a
	return c, true, nil
}

// degreeSign finds the # of "is #4", which begins no comment; the bar stands before it.
var degreeSign = regexp.MustCompile(`(?i):.*\b(?:is|as|the|a) \|#(?:2|3|4|5|6|7|9|11|13)(?:$|[ .,;])`)

// stripComment cuts a comment off a line. The # of a note name follows a letter, never a space.
func stripComment(line string) string {
	for i := 0; i < len(line); i++ {
		if line[i] == '#' && (i == 0 || line[i-1] == ' ' || line[i-1] == '\t') && !degreeSign.MatchString(line[:i]+"|"+line[i:]) {
			return line[:i]
		}
	}
	return line
}

// A Verdict says whether the notes bear a claim out.
type Verdict string

// The verdicts. Arguable means that schools or readings differ, or that the claim is true by sound and not by spelling.
const (
	Holds    Verdict = "holds"
	Fails    Verdict = "fails"
	Arguable Verdict = "arguable"
)

// A Result is a claim's verdict with its grounds.
type Result struct {
	Claim    Claim
	Region   score.Region
	Verdict  Verdict
	Because  string       // the evidence in words, with the notes
	Instead  string       // what would hold; "" if the claim holds
	Evidence []score.Note // the notes it rests on
}

// A Checker checks claims against one passage.
//
// It reads the harmony of the passage when a claim first needs it. It may be used by several goroutines.
type Checker struct {
	passage  *score.Passage
	sounding []score.Note

	mu    sync.Mutex
	spans []harmony.Span // given, or nil
	read  map[score.Layer]*harmony.Analysis
	with  map[spanKey]spanRead
}

// NewChecker prepares a passage for checking.
func NewChecker(p *score.Passage) *Checker {
	return &Checker{passage: p, sounding: p.Sounding(), read: map[score.Layer]*harmony.Analysis{}, with: map[spanKey]spanRead{}}
}

// CheckAt checks a claim at a region, whatever place it names.
func (k *Checker) CheckAt(c Claim, r score.Region) (Result, error) {
	if c.form == nil {
		return Result{}, &Error{Line: c.Line, Col: 1, Msg: "the claim was not made by Parse"}
	}
	if c.args.layer != score.Whole {
		r.Layer = c.args.layer
	}
	res, err := c.form.check(k, r, c.args)
	res.Claim, res.Region = c, r
	return res, err
}

// Check checks one claim. It returns an *Error without file name if the claim speaks of a place that isn't in the passage.
func (k *Checker) Check(c Claim) (Result, error) {
	fail := func(col int, err error) (Result, error) {
		msg := err.Error()
		if pe, ok := err.(*score.PlaceError); ok {
			msg = pe.Msg
			col += utf8.RuneCountInString(pe.Text[:min(pe.Offset, len(pe.Text))])
		}
		return Result{}, &Error{Line: c.Line, Col: col, Msg: msg, Text: c.PlaceText + ": " + c.Statement}
	}
	if c.form == nil {
		return Result{}, &Error{Line: c.Line, Col: 1, Msg: "the claim was not made by Parse"}
	}
	region, err := k.passage.Resolve(c.Place)
	if err != nil {
		return fail(c.placeCol, err)
	}
	res, err := c.form.check(k, region, c.args)
	if err != nil {
		return fail(c.statementCol+utf8.RuneCountInString(c.Statement[:min(c.args.atByte, len(c.Statement))]), err)
	}
	res.Claim, res.Region = c, region
	return res, nil
}
