package main

import (
	"fmt"
	"io"
	"time"
)

// A telling shows on a terminal how far a long work is; it says nothing before half a second has passed, and nothing where stderr
// is no terminal.
type telling struct {
	w     io.Writer // nil: says nothing
	what  string
	n, of int
	now   func() time.Time
	since time.Time
	last  time.Time
}

// telling begins to tell a work of so many steps.
func (e *env) telling(of int, what string) *telling {
	t := &telling{what: what, of: of, now: e.now, since: e.now()}
	if isTerminal(e.stderr) {
		t.w = e.stderr
	}
	return t
}

// step says that one more is done.
func (t *telling) step() {
	t.n++
	now := t.now()
	if t.w == nil || now.Sub(t.since) < 500*time.Millisecond || now.Sub(t.last) < 100*time.Millisecond {
		return
	}
	t.last = now
	fmt.Fprintf(t.w, "\r%d of %d %s ", t.n, t.of, t.what)
}

// end takes the line away.
func (t *telling) end() {
	if t.w != nil && !t.last.IsZero() {
		fmt.Fprint(t.w, "\r\x1b[K")
	}
}
