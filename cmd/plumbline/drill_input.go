package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// terminal switches a terminal between single keys and lines.
type terminal struct {
	fd  int
	old *term.State // while raw
}

func newTerminal(f *os.File) *terminal { return &terminal{fd: int(f.Fd())} }

func (t *terminal) raw() error {
	if t == nil || t.old != nil {
		return nil
	}
	old, err := term.MakeRaw(t.fd)
	if err == nil {
		t.old = old
	}
	return err
}

// cooked gives the terminal back as it was.
func (t *terminal) cooked() error {
	if t == nil || t.old == nil {
		return nil
	}
	err := term.Restore(t.fd, t.old)
	t.old = nil
	return err
}

// rawWriter ends lines as a raw terminal needs it.
type rawWriter struct {
	w io.Writer
	t *terminal
}

func (w *rawWriter) Write(p []byte) (int, error) {
	q := p
	if w.t.old != nil {
		q = bytes.ReplaceAll(p, []byte("\n"), []byte("\r\n"))
	}
	if _, err := w.w.Write(q); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Control characters, as a raw terminal sends them.
const (
	keyInterrupt = 0x03 // Ctrl-C
	keyEnd       = 0x04 // Ctrl-D
	keyEscape    = 0x1b
)

// keyInput reads single keys.
type keyInput struct {
	keys <-chan byte // closed at the end of the input
	t    *terminal   // nil in tests
	out  io.Writer
}

// newKeyInput reads from r in a goroutine, which ends with the input or the program: a read from a terminal can't be stopped.
func newKeyInput(r io.Reader, t *terminal, out io.Writer) *keyInput {
	keys := make(chan byte)
	go func() {
		defer close(keys)
		buf := make([]byte, 64)
		for {
			n, err := r.Read(buf)
			for _, b := range buf[:n] {
				keys <- b
			}
			if err != nil {
				return
			}
		}
	}()
	return &keyInput{keys, t, out}
}

func (k *keyInput) key(ctx context.Context) (byte, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	select {
	case <-ctx.Done():
		return 0, ctx.Err()
	case b, ok := <-k.keys:
		if !ok {
			return 0, io.EOF
		}
		return b, nil
	}
}

func (k *keyInput) next(ctx context.Context) (command, error) {
	for {
		b, err := k.key(ctx)
		if err != nil {
			return command{}, err
		}
		if b >= 'A' && b <= 'Z' {
			b += 'a' - 'A'
		}
		switch {
		case b >= '0' && b <= '9':
			return command{do: doAnswer, text: string(b)}, nil
		case b == 't':
			return k.typed(ctx)
		case b == keyInterrupt:
			return command{}, context.Canceled
		case b == keyEnd:
			return command{do: doQuit}, nil
		case b == keyEscape:
			if err := k.skipSequence(ctx); err != nil {
				return command{}, err
			}
			continue
		}
		if do, ok := map[byte]action{' ': doPlay, 'p': doPlay, 'l': doLow, 'h': doHigh, 'a': doSlow, 'c': doCompare, 'g': doGiveUp, 'w': doWhy, '?': doHelp, 'q': doQuit, '\r': doGoOn, '\n': doGoOn}[b]; ok {
			return command{do: do}, nil
		}
		if b > ' ' && b < 0x7f {
			return command{}, &badInput{fmt.Sprintf("the key %q does nothing here; ? shows the keys", string(b))}
		}
	}
}

// skipSequence passes over what an arrow key or the like sends after the escape character, which comes at once.
func (k *keyInput) skipSequence(ctx context.Context) error {
	for i := 0; ; i++ {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(100 * time.Millisecond):
			return nil // the Escape key itself
		case b, ok := <-k.keys:
			switch {
			case !ok:
				return io.EOF
			case i == 0 && b != '[' && b != 'O':
				return nil // Alt and a key
			case i > 0 && b >= 0x40 && b <= 0x7e:
				return nil
			}
		}
	}
}

// maxLine is the longest line read as an answer, in bytes.
const maxLine = 4096

// typed reads a label, with the terminal's own line editing.
func (k *keyInput) typed(ctx context.Context) (command, error) {
	if err := k.t.cooked(); err != nil {
		return command{}, err
	}
	defer k.t.raw()
	fmt.Fprint(k.out, "Label (or nothing, to go back): ")
	var line []byte
	for {
		b, err := k.key(ctx)
		if err != nil {
			fmt.Fprintln(k.out)
			return command{}, err
		}
		if b == '\r' || b == '\n' {
			break
		}
		if b == keyInterrupt {
			return command{}, context.Canceled
		}
		if len(line) < maxLine {
			line = append(line, b)
		}
	}
	text := strings.TrimSpace(string(line))
	if text == "" {
		return command{do: doGoOn}, nil
	}
	return command{do: doAnswer, text: text}, nil
}

// lineInput reads lines.
type lineInput struct {
	lines <-chan inputLine
	json  bool
}

type inputLine struct {
	text string
	long bool // it was longer than maxLine and is cut
}

func newLineInput(r io.Reader) *lineInput { return &lineInput{lines: lines(r)} }

func newJSONInput(r io.Reader) *lineInput { return &lineInput{lines: lines(r), json: true} }

// lines reads r line by line in a goroutine; the channel is closed at the end.
func lines(r io.Reader) <-chan inputLine {
	ch := make(chan inputLine)
	go func() {
		defer close(ch)
		br := bufio.NewReaderSize(r, maxLine)
		for {
			b, more, err := br.ReadLine()
			if err != nil {
				return
			}
			l := inputLine{string(b), more}
			for more && err == nil {
				_, more, err = br.ReadLine()
			}
			ch <- l
			if err != nil {
				return
			}
		}
	}()
	return ch
}

// lineWords are what can be asked for in a line, beside an answer. None of them is a label.
var lineWords = map[string]action{
	"play": doPlay, "p": doPlay, "again": doPlay, "low": doLow, "l": doLow, "high": doHigh, "h": doHigh, "slow": doSlow,
	"arpeggio": doSlow, "compare": doCompare, "why": doWhy, "give up": doGiveUp, "giveup": doGiveUp, "g": doGiveUp, "help": doHelp, "?": doHelp,
	"quit": doQuit, "q": doQuit, "exit": doQuit,
}

func (l *lineInput) next(ctx context.Context) (command, error) {
	if err := ctx.Err(); err != nil {
		return command{}, err
	}
	var ln inputLine
	select {
	case <-ctx.Done():
		return command{}, ctx.Err()
	case got, ok := <-l.lines:
		if !ok {
			return command{}, io.EOF
		}
		ln = got
	}
	if ln.long {
		return command{}, &badInput{fmt.Sprintf("a line of more than %d bytes; want a number or a label", maxLine)}
	}
	text := strings.TrimSpace(ln.text)
	c := command{do: doAnswer, text: text}
	if l.json && strings.HasPrefix(text, "{") {
		var in struct {
			ID    string          `json:"id"`
			Given json.RawMessage `json:"given"`
		}
		if err := json.Unmarshal([]byte(text), &in); err != nil {
			return command{}, &badInput{fmt.Sprintf("no JSON object: %v; want {\"id\": …, \"given\": …}", err)}
		}
		c.id = in.ID
		var s string
		var n int
		switch {
		case len(in.Given) == 0 || string(in.Given) == "null":
			return command{}, &badInput{"the object has no \"given\"; want a label, a number, or \"give up\""}
		case json.Unmarshal(in.Given, &s) == nil:
			c.text = strings.TrimSpace(s)
		case json.Unmarshal(in.Given, &n) == nil:
			c.text = fmt.Sprint(n)
		default:
			return command{}, &badInput{fmt.Sprintf("\"given\" is %.40s; want a label or the number of a choice", in.Given)}
		}
	}
	if do, ok := lineWords[strings.ToLower(strings.Join(strings.Fields(c.text), " "))]; ok {
		c.do, c.text = do, ""
	}
	return c, nil
}
