package progress

import (
	"errors"
	"fmt"
	"testing"
	"time"
)

func TestEarTries(t *testing.T) {
	path := newPath(t)
	s := mustOpen(t, path)
	day := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	one := ClaimID{Key: "k1", Passage: "A lamp", Place: "bar 2 beat 1", Statement: "is F#m7", Form: "chord"}
	two := ClaimID{Key: "k2", Passage: "A lamp", Place: "bar 4", Statement: "bass is \xffE", Form: "bass"}
	begin := func(c ClaimID, at time.Time) TryID {
		t.Helper()
		id, err := s.BeginTry(t.Context(), c, 1<<64-1, at)
		if err != nil || id == "" {
			t.Fatalf("BeginTry(%v) = %q, %v", c.Key, id, err)
		}
		return id
	}
	say := func(id TryID, n int, right bool, verdict string) EarAnswer {
		return EarAnswer{Try: id, Number: n, Task: "which of two", Expected: "first", Given: map[bool]string{true: "first", false: "second"}[right], Correct: right,
			Took: 1500 * time.Millisecond, Replays: 2, Asked: day, Answered: day.Add(time.Duration(n) * time.Second), Verdict: verdict}
	}
	record := func(as ...EarAnswer) {
		t.Helper()
		for _, a := range as {
			if err := s.RecordEar(t.Context(), a); err != nil {
				t.Fatalf("RecordEar(%+v): %v", a, err)
			}
		}
	}
	first := begin(one, day)
	record(say(first, 1, true, ""), say(first, 2, false, ""), say(first, 3, false, "not heard"))
	begin(two, day.Add(time.Minute)) // no answer: not there
	other := begin(two, day.Add(2*time.Minute))
	gaveUp := say(other, 1, false, "")
	gaveUp.Given = ""
	record(gaveUp)
	again := begin(one, day.Add(24*time.Hour))
	record(say(again, 1, true, ""))

	// As it stands on disk, read through another connection.
	r := mustOpen(t, path)
	got, err := r.EarClaims(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	text := ""
	for _, c := range got {
		text += fmt.Sprintf("%s|%s|%s|%s|%s", c.Key, c.Passage, c.Place, c.Statement, c.Form)
		for _, y := range c.Tries {
			text += fmt.Sprintf(" (%d %d/%d %q %s seed %d)", y.Began.Unix()-day.Unix(), y.Right, y.Right+y.Wrong, y.Verdict, y.Decided.Format(time.TimeOnly), y.Seed)
		}
		text += "\n"
	}
	want := `k1|A lamp|bar 2 beat 1|is F#m7|chord (0 1/3 "not heard" 10:00:03 seed 18446744073709551615) (86400 1/1 "" 00:00:00 seed 18446744073709551615)
k2|A lamp|bar 4|bass is �E|bass (120 0/1 "" 00:00:00 seed 18446744073709551615)
`
	if text != want {
		t.Errorf("EarClaims:\n%s\nwant\n%s", text, want)
	}
	for _, c := range []struct {
		keys []string
		want int
	}{{[]string{"k2"}, 1}, {[]string{"k3", "k1"}, 1}, {[]string{`x"`}, 0}} {
		if some, err := r.EarClaims(t.Context(), c.keys...); err != nil || len(some) != c.want {
			t.Errorf("EarClaims(%q) = %d claims, %v; want %d", c.keys, len(some), err, c.want)
		}
	}

	for name, c := range map[string]struct {
		change func(*EarAnswer)
		is     error
	}{
		"twice":         {func(a *EarAnswer) { a.Number = 1 }, ErrRecorded},
		"no such try":   {func(a *EarAnswer) { a.Try = "x" }, ErrNoTry},
		"decided":       {func(a *EarAnswer) { a.Try, a.Number = first, 4 }, ErrNoTry},
		"no number":     {func(a *EarAnswer) { a.Number = 0 }, nil},
		"nothing given": {func(a *EarAnswer) { a.Given = "" }, nil},
		"no task":       {func(a *EarAnswer) { a.Task = "" }, nil},
		"no such word":  {func(a *EarAnswer) { a.Verdict = "perhaps" }, nil},
		"not JSON":      {func(a *EarAnswer) { a.Detail = []byte("{") }, nil},
		"no time":       {func(a *EarAnswer) { a.Answered = time.Time{} }, nil},
	} {
		a := say(again, 2, true, "")
		c.change(&a)
		if err := s.RecordEar(t.Context(), a); err == nil || c.is != nil && !errors.Is(err, c.is) {
			t.Errorf("%s: %v; want an error, %v", name, err, c.is)
		}
	}
	if n := number(t, s, "SELECT count(*) FROM ear_answer"); n != 5 {
		t.Errorf("%d answers after what was refused; want 5", n)
	}
	for name, c := range map[string]ClaimID{"no key": {Statement: "x"}, "no statement": {Key: "k"}} {
		if _, err := s.BeginTry(t.Context(), c, 0, day); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
