package typed

import (
	"strings"
	"testing"
)

// FuzzRead: whatever Read accepts can be written, and is read back the same; whatever it refuses gives located errors.
func FuzzRead(f *testing.F) {
	if len(passages) < 40 {
		f.Fatalf("%d seeds; want at least 40", len(passages))
	}
	f.Add(lamp(f))
	for _, c := range passages {
		f.Add(c.text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Read("fuzz", strings.NewReader(text))
		if err == nil {
			checkRoundTrip(t, p)
			return
		}
		if p != nil {
			t.Errorf("a passage with an error: %v", err)
		}
		list := []error{err}
		if joined, ok := err.(interface{ Unwrap() []error }); ok {
			list = joined.Unwrap()
		}
		lines := strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n")
		for _, err := range list {
			e, ok := err.(*Error)
			if !ok {
				t.Fatalf("an error without a place: %v", err)
			}
			if e.Line < 1 || e.Line > len(lines) || e.Col < 1 || e.Col > len([]rune(lines[e.Line-1]))+1 {
				t.Errorf("%v: no such place in %d lines", err, len(lines))
			}
			if strings.Count(e.Error(), "\n") > 0 || strings.Count(e.Detail(), "\n") != 1 {
				t.Errorf("%q, %q: more lines than wanted", e.Error(), e.Detail())
			}
		}
	})
}
