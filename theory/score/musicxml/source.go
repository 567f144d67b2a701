package musicxml

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// A source hands bytes to the XML decoder and counts them: all of them against MaxBytes, and those since the last mark
// against MaxToken, because the decoder keeps a whole token in memory. It is a ByteReader, so that the decoder puts no
// buffer of its own in between.
type source struct {
	r     io.Reader
	buf   []byte
	i, n  int   // the unread part of buf is buf[i:n]
	base  int64 // bytes handed out before buf
	start int64 // where the current token began
}

var (
	errTooLong  = fmt.Errorf("more than %d MiB of XML", MaxBytes>>20)
	errTooWide  = fmt.Errorf("a single tag, text or comment of more than %d KiB", MaxToken>>10)
	errUTF16    = errors.New("broken UTF-16: half a character")
	errEncoding = errors.New("want UTF-8, UTF-16 or ISO-8859-1")
)

// newSource looks at the first bytes for UTF-16 (a byte order mark, or "<" in two bytes: XML 1.0, appendix F) and drops a
// byte order mark of UTF-8. It reports whether the text was UTF-16.
func newSource(br *bufio.Reader) (s *source, wide bool, err error) {
	head, err := br.Peek(4)
	if err != nil && err != io.EOF {
		return nil, false, err
	}
	var r io.Reader = br
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}):
		br.Discard(3)
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}), bytes.HasPrefix(head, []byte{'<', 0}):
		r, wide = &wideReader{r: br}, true
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}), bytes.HasPrefix(head, []byte{0, '<'}):
		r, wide = &wideReader{r: br, big: true}, true
	}
	return &source{r: r, buf: make([]byte, 32<<10)}, wide, nil
}

func (s *source) mark() { s.start = s.base + int64(s.i) }

func (s *source) ReadByte() (byte, error) {
	if s.i == s.n {
		if err := s.fill(); err != nil {
			return 0, err
		}
	}
	b := s.buf[s.i]
	s.i++
	return b, nil
}

func (s *source) Read(p []byte) (int, error) {
	if s.i == s.n {
		if err := s.fill(); err != nil {
			return 0, err
		}
	}
	n := copy(p, s.buf[s.i:s.n])
	s.i += n
	return n, nil
}

func (s *source) fill() error {
	s.base += int64(s.n)
	s.i, s.n = 0, 0
	if s.base > MaxBytes {
		return errTooLong
	}
	if s.base-s.start > MaxToken {
		return errTooWide
	}
	for range 100 {
		n, err := s.r.Read(s.buf)
		if n > 0 {
			s.n = n
			return nil
		}
		if err != nil {
			return err
		}
	}
	return io.ErrNoProgress
}

// A wideReader turns UTF-16 into UTF-8.
type wideReader struct {
	r    *bufio.Reader
	big  bool
	rest []byte // of a character that did not fit
	err  error
}

func (w *wideReader) unit() (rune, error) {
	a, err := w.r.ReadByte()
	if err != nil {
		return 0, err
	}
	b, err := w.r.ReadByte()
	if err == io.EOF {
		err = errUTF16
	}
	if w.big {
		return rune(a)<<8 | rune(b), err
	}
	return rune(b)<<8 | rune(a), err
}

func (w *wideReader) Read(p []byte) (int, error) {
	n := copy(p, w.rest)
	w.rest = w.rest[n:]
	for w.err == nil && n+utf8.UTFMax <= len(p) {
		c, err := w.unit()
		if err == nil && utf16.IsSurrogate(c) {
			var d rune
			d, err = w.unit()
			if c = utf16.DecodeRune(c, d); err == io.EOF || err == nil && c == utf8.RuneError {
				err = errUTF16
			}
		}
		if err != nil {
			w.err = err
			break
		}
		if c != 0xFEFF { // the byte order mark
			n += utf8.EncodeRune(p[n:], c)
		}
	}
	if n == 0 && w.err == nil && len(p) > 0 { // p is shorter than a character
		var one [utf8.UTFMax]byte
		k, _ := w.Read(one[:])
		w.rest = append([]byte(nil), one[:k]...)
		n = copy(p, w.rest)
		w.rest = w.rest[n:]
	}
	if n == 0 {
		return 0, w.err
	}
	return n, nil
}

// A latinReader turns ISO-8859-1 into UTF-8; its characters are the first 256 of Unicode.
type latinReader struct {
	r    io.ByteReader
	half byte // the second byte of a character, or 0
}

func (l *latinReader) ReadByte() (byte, error) {
	if b := l.half; b != 0 {
		l.half = 0
		return b, nil
	}
	b, err := l.r.ReadByte()
	if err != nil || b < utf8.RuneSelf {
		return b, err
	}
	l.half = 0x80 | b&0x3F
	return 0xC0 | b>>6, nil
}

func (l *latinReader) Read(p []byte) (int, error) {
	for i := range p {
		b, err := l.ReadByte()
		if err != nil {
			if i > 0 {
				return i, nil
			}
			return 0, err
		}
		p[i] = b
	}
	return len(p), nil
}

// charset returns the reader that the XML decoder asks for when the declaration names an encoding other than UTF-8.
func charset(wide bool) func(label string, in io.Reader) (io.Reader, error) {
	return func(label string, in io.Reader) (io.Reader, error) {
		switch strings.ToLower(label) {
		case "utf-16", "utf-16le", "utf-16be":
			if wide {
				return in, nil
			}
			return nil, fmt.Errorf("the file says it is %s, but its bytes are not", label)
		case "us-ascii", "ascii":
			return in, nil
		case "iso-8859-1", "latin1":
			if br, ok := in.(io.ByteReader); ok && !wide {
				return &latinReader{r: br}, nil
			}
		}
		return nil, fmt.Errorf("encoding %q: %w", label, errEncoding)
	}
}
