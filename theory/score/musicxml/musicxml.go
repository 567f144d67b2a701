// Package musicxml reads MusicXML 4.0 scores into passages, partwise and timewise, plain (.musicxml, .xml) and compressed
// (.mxl), in UTF-8, UTF-16 and ISO-8859-1, and writes passages as such scores.
//
// Start with [ReadFile] or [Read], and with [Write]. Of a score with several parts one is read; [Options] chooses it, and if
// nothing is said the piano is taken. Its upper staff is the right hand, its lower staff the left. Bars are as long as the
// fullest part makes them.
//
// Clauses quoted in the comments are from the annotations of the MusicXML 4.0 schema (W3C Music Notation Community Group,
// musicxml.xsd).
//
// # What it keeps
//
// Pitch as it sounds, exact time, voices, ties, grace and cue notes, keys, meters, tempos, dynamics and hairpins, pedal,
// chord symbols, repeats, endings and jumps. Clefs, slurs, beams and lyrics are passed over: the passage has no place for
// them.
//
// # What it refuses
//
// Whatever is no well-formed XML, and what can't be placed or named: a pitch without an octave, a chord note with nothing
// before it, a length out of range. Nothing is ever fetched: a DOCTYPE is passed over, and an entity other than the five of XML is an error. The
// limits are the constants below. What is read with a reservation (a rounded microtone, an unpitched note) is said in
// the passage's Warnings.
package musicxml

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"plumbline/theory/score"
)

// The limits of what is read. Beyond them [Read] returns an *Error.
const (
	MaxBytes    = 64 << 20  // of XML, uncompressed, and of the archive itself
	MaxToken    = 256 << 10 // bytes of one tag, text or comment
	MaxElements = 2_500_000 // and attributes; a large song has 100,000
	MaxDepth    = 64        // elements within elements; the standard itself needs about ten
	MaxNotes    = 500_000   // and rests, of all parts
	MaxMeasures = 250_000   // of all parts together
	MaxParts    = 1000
	MaxMarks    = 100_000 // keys, meters, tempos, dynamics and hairpins of all parts
	MaxEntries  = 1000    // files in an archive
	MaxWarnings = 100     // more are counted only
)

// Options tell what to read.
type Options struct {
	// Part is the id, the name (in any case) or the number (from 1) of the part to read. If it is empty the piano is read:
	// the part with two staves; of several the one named as a keyboard, then the one with most notes. If no part has two
	// staves, the first part with notes is read, all right hand.
	Part string
	// File is a name for messages and for Passage.Source. ReadFile fills it in.
	File string
}

// An Error says what could not be read and where. Measure, Line and Col are empty or 0 where they don't apply. Lines and
// columns count from 1, columns in bytes of UTF-8.
type Error struct {
	File      string
	Measure   string
	Line, Col int
	Msg       string
	Err       error // the cause, if another package found it
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString("musicxml: ")
	if e.File != "" {
		b.WriteString(e.File + ": ")
	}
	if e.Measure != "" {
		b.WriteString("measure " + e.Measure)
		if e.Line > 0 {
			b.WriteString(", ")
		} else {
			b.WriteString(": ")
		}
	}
	if e.Line > 0 {
		fmt.Fprintf(&b, "line %d:%d: ", e.Line, e.Col)
	}
	b.WriteString(e.Msg)
	return b.String()
}

// Unwrap returns the cause, or nil.
func (e *Error) Unwrap() error { return e.Err }

// ReadFile reads the score in the named file. It returns an *Error as [Read] does, and one that wraps the cause if the
// file can't be opened.
func ReadFile(path string, o Options) (*score.Passage, error) {
	if o.File == "" {
		o.File = path
	}
	f, err := os.Open(path)
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err // the path is said already
		}
		return nil, &Error{File: o.File, Msg: err.Error(), Err: err}
	}
	defer f.Close()
	return Read(f, o)
}

// Read reads a score, compressed or not: it looks at the first bytes. Whatever is wrong with it, or with o, is an *Error.
func Read(r io.Reader, o Options) (*score.Passage, error) {
	br := bufio.NewReader(r)
	head, err := br.Peek(4)
	if err != nil && err != io.EOF {
		return nil, &Error{File: o.File, Msg: err.Error(), Err: err}
	}
	var notes []string
	if bytes.HasPrefix(head, []byte("PK")) {
		data, err := io.ReadAll(io.LimitReader(br, MaxBytes+1))
		if err != nil {
			return nil, &Error{File: o.File, Msg: err.Error(), Err: err}
		}
		root, warning, err := openArchive(data)
		if err != nil {
			return nil, &Error{File: o.File, Msg: err.Error(), Err: err}
		}
		defer root.Close()
		if warning != "" {
			notes = append(notes, warning)
		}
		br = bufio.NewReader(root)
	}
	src, utf16, err := newSource(br)
	if err != nil {
		return nil, &Error{File: o.File, Msg: err.Error(), Err: err}
	}
	s := &reader{tokens: newTokens(src, utf16, o.File)}
	for _, w := range notes {
		s.warnings.add(w)
	}
	if err := s.document(); err != nil {
		return nil, err
	}
	return s.passage(o)
}

// warnings collects up to MaxWarnings warnings and counts the others.
type warnings struct {
	list []string
	more int
}

func (w *warnings) add(s string) {
	if len(w.list) < MaxWarnings {
		w.list = append(w.list, s)
	} else {
		w.more++
	}
}

func (w *warnings) all() []string {
	if w.more > 0 {
		return append(w.list[:len(w.list):len(w.list)], fmt.Sprintf("and %d more like these", w.more))
	}
	return w.list
}
