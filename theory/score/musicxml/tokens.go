package musicxml

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

// A tokens reads elements one after the other and checks that they nest.
type tokens struct {
	dec     *xml.Decoder
	src     *source
	file    string
	measure string // the number of the current measure, for messages
	open    []string
	name    string     // the element opened last
	attrs   []xml.Attr // its attributes
	line    int        // where it begins
	col     int
	buf     []byte
	count   int // elements and attributes so far
}

func newTokens(src *source, wide bool, file string) *tokens {
	t := &tokens{dec: xml.NewDecoder(src), src: src, file: file}
	t.dec.CharsetReader = charset(wide)
	return t
}

// fail returns an *Error at the element opened last.
func (t *tokens) fail(format string, args ...any) error {
	return &Error{File: t.file, Measure: t.measure, Line: t.line, Col: t.col, Msg: fmt.Sprintf(format, args...)}
}

// broken returns an *Error at the place where reading stopped.
func (t *tokens) broken(err error) error {
	line, col := t.dec.InputPos()
	msg := err.Error()
	var syntax *xml.SyntaxError
	if errors.As(err, &syntax) {
		msg = syntax.Msg
	}
	if err == io.EOF || syntax != nil && syntax.Msg == "unexpected EOF" {
		msg = "the file ends before the score begins"
		if n := len(t.open); n > 0 {
			msg = fmt.Sprintf("the file ends inside <%s>", t.open[n-1])
		}
	}
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return &Error{File: t.file, Measure: t.measure, Line: line, Col: col, Msg: msg, Err: err}
}

// next returns the next tag or text. Of tags it keeps count: an end that doesn't fit is an error.
func (t *tokens) next() (xml.Token, error) {
	t.src.mark()
	line, col := t.dec.InputPos()
	tok, err := t.dec.RawToken()
	if err != nil {
		return nil, t.broken(err)
	}
	switch tok := tok.(type) {
	case xml.StartElement:
		t.line, t.col, t.attrs = line, col, tok.Attr
		if t.count += 1 + len(tok.Attr); t.count > MaxElements {
			return nil, t.fail("more than %d elements and attributes", MaxElements)
		}
		if len(t.open) == MaxDepth {
			return nil, t.fail("elements nested more than %d deep", MaxDepth)
		}
		t.name = local(tok.Name)
		t.open = append(t.open, t.name)
	case xml.EndElement:
		name := local(tok.Name)
		if len(t.open) == 0 || t.open[len(t.open)-1] != name {
			t.line, t.col = line, col
			if len(t.open) == 0 {
				return nil, t.fail("</%s> closes nothing", name)
			}
			return nil, t.fail("</%s> where </%s> is due", name, t.open[len(t.open)-1])
		}
		t.open = t.open[:len(t.open)-1]
	}
	return tok, nil
}

// local returns a name as written. MusicXML has no namespace of its own, so that a name with a prefix is never one of its.
func local(n xml.Name) string {
	if n.Space != "" {
		return n.Space + ":" + n.Local
	}
	return n.Local
}

// root opens the outermost element and returns its name.
func (t *tokens) root() (string, error) {
	for {
		tok, err := t.next()
		if err != nil {
			return "", err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			return t.open[0], nil
		case xml.CharData:
			if len(bytes.TrimSpace(tok)) > 0 {
				return "", t.broken(errors.New("text before the score; this is no XML file"))
			}
		}
	}
}

// end reads to the end of the file, after the outermost element: nothing but comments may follow.
func (t *tokens) end() error {
	for {
		t.src.mark()
		tok, err := t.dec.RawToken()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return t.broken(err)
		}
		switch tok := tok.(type) {
		case xml.StartElement, xml.EndElement:
			return t.broken(errors.New("the file goes on after the end of the score"))
		case xml.CharData:
			if len(bytes.TrimSpace(tok)) > 0 {
				return t.broken(errors.New("text after the end of the score"))
			}
		}
	}
}

// each calls visit for each child of the element opened last, up to its end. What visit leaves unread of the child is
// passed over.
func (t *tokens) each(visit func(name string) error) error {
	depth := len(t.open)
	for {
		tok, err := t.next()
		if err != nil {
			return err
		}
		switch tok.(type) {
		case xml.StartElement:
			if err := visit(t.open[depth]); err != nil {
				return err
			}
			for len(t.open) > depth {
				if _, err := t.next(); err != nil {
					return err
				}
			}
		case xml.EndElement:
			return nil
		}
	}
}

// text returns the text of the element opened last, without that of its children, trimmed. It is good until the next call.
func (t *tokens) text() ([]byte, error) {
	depth := len(t.open)
	name, line, col := t.name, t.line, t.col
	t.buf = t.buf[:0]
	for len(t.open) >= depth {
		tok, err := t.next()
		if err != nil {
			return nil, err
		}
		if c, ok := tok.(xml.CharData); ok && len(t.open) == depth {
			t.buf = append(t.buf, c...)
			if len(t.buf) > MaxToken { // comments may cut a text into many tokens
				return nil, t.fail("%s", errTooWide)
			}
		}
	}
	t.name, t.line, t.col = name, line, col
	return bytes.TrimSpace(t.buf), nil
}

// words is text with its white space made plain, as a string.
func (t *tokens) words() (string, error) {
	b, err := t.text()
	return strings.Join(strings.Fields(string(b)), " "), err
}

// attr returns an attribute of the element opened last, trimmed, or "".
func (t *tokens) attr(name string) string {
	for i := range t.attrs {
		if a := &t.attrs[i]; a.Name.Local == name && a.Name.Space == "" {
			return strings.TrimSpace(a.Value)
		}
	}
	return ""
}
