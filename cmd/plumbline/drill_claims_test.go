package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/drills/ear"
	"plumbline/progress"
	"plumbline/synth"
	"plumbline/synth/speaker"
	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// A passage and claims about it: one that holds, one that fails, one that is arguable, one without a twin, one that holds.
const (
	stoolPassage = "title: A stool\nkey: C major\nmeter: 4/4\nbars 1-2\nright: w E4+G4+C5 | h F4+A4+D5 E4+G4+C5\nleft:  w C3+G3 | w D3+A3\n"
	stoolClaims  = "bar 1, left hand: stacked in fifths\nbar 1: is D major\nbar 1: bass is B#\nbar 1: uses only white keys\nbar 1: is C major -- the home chord\n"
)

// stool writes both into the test's folder and returns their names.
func stool(t testing.TB) (passage, claims string) {
	t.Helper()
	dir := t.TempDir()
	passage, claims = filepath.Join(dir, "stool.passage"), filepath.Join(dir, "stool.claims")
	for name, text := range map[string]string{passage: stoolPassage, claims: stoolClaims} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return passage, claims
}

// rightAnswers returns what is right of the first questions in a try of a claim of the stool, by its line.
func rightAnswers(t testing.TB, line int, seed uint64, try, n int, task ear.Task) []string {
	t.Helper()
	p, err := readPassage("stool", []byte(stoolPassage), "")
	if err != nil {
		t.Fatal(err)
	}
	claims, _, err := claim.Parse("stool", strings.NewReader(stoolClaims))
	if err != nil {
		t.Fatal(err)
	}
	s, err := ear.Find(p, claims[line-1], claims)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for i := 1; i <= n; i++ {
		out = append(out, s.Trial(seed, try*1000+i, task).Expected)
	}
	return out
}

func wrongOf(answers []string) []string {
	var out []string
	for _, a := range answers {
		out = append(out, map[string]string{"first": "second", "second": "first", "yes": "no", "no": "yes"}[a])
	}
	return out
}

func tries(t testing.TB, db string) map[string][]progress.EarTry {
	t.Helper()
	store, err := progress.Open(context.Background(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	claims, err := store.EarClaims(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]progress.EarTry{}
	for _, c := range claims {
		out[c.Statement] = c.Tries
	}
	return out
}

// diskWatch checks at each answer event that the answer is on disk already.
type diskWatch struct {
	bytes.Buffer
	t    *testing.T
	db   string
	seen int
}

func (d *diskWatch) Write(b []byte) (int, error) {
	if bytes.Contains(b, []byte(`{"event":"answer"`)) {
		d.seen++
		n := 0
		for _, list := range tries(d.t, d.db) {
			for _, y := range list {
				n += y.Right + y.Wrong
			}
		}
		if n != d.seen {
			d.t.Errorf("%d answers on disk when answer %d is told", n, d.seen)
		}
	}
	return d.Buffer.Write(b)
}

// A program drills claims: what is left out and why, questions, answers that are on disk before they are told, verdicts; then the
// claim that was broken off goes on, and check and progress tell what came of it.
func TestDrillClaimsJSON(t *testing.T) {
	passage, claims := stool(t)
	const seed = 5
	first := rightAnswers(t, 1, seed, 1, 7, ear.WhichOfTwo)
	fifth := rightAnswers(t, 5, seed, 1, 3, ear.WhichOfTwo)
	in := append(append([]string{`{"id":"claim-x","given":"first"}`, "sideways", "help", "play"}, first...), fifth[:2]...)
	w := newWorld(t, strings.Join(in, "\n")+"\n")
	watch := &diskWatch{t: t, db: w.db}
	w.stdout = watch
	args := []string{"--claims", claims, passage, "--json", "--seed", "5"}
	if code := w.drillArgs(args...); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	if watch.seen != 9 {
		t.Errorf("%d answers told; want 9", watch.seen)
	}
	var kinds []string
	for _, ev := range events(t, watch.String()) {
		kind := ev["event"].(string)
		kinds = append(kinds, kind)
		switch kind {
		case "left out":
			kinds[len(kinds)-1] += fmt.Sprint(" ", ev["line"])
			want := map[float64]string{2: "don't bear it out", 3: "arguable", 4: "on the keyboard"}[ev["line"].(float64)]
			if want == "" || !strings.Contains(ev["why"].(string), want) {
				t.Errorf("left out: %v; want %q", ev, want)
			}
		case "question":
			if ev["id"] == "" || ev["kind"] != "claim" || fmt.Sprint(ev["choices"]) != "[first second]" || strings.Contains(fmt.Sprint(ev), "becomes") {
				t.Errorf("question: %v", ev)
			}
		case "verdict":
			if ev["ear"] != "heard" || ev["answers"] != 7.0 || ev["right"] != 7.0 || ev["line"] != 1.0 || ev["evidence"].(float64) < 20 {
				t.Errorf("verdict: %v", ev)
			}
		case "end":
			if ev["asked"] != 9.0 || ev["right"] != 9.0 || ev["seed"] != 5.0 {
				t.Errorf("end: %v", ev)
			}
		}
	}
	want := "claim question error error error sound answer" + strings.Repeat(" question answer", 6) +
		" verdict left out 2 left out 3 left out 4 claim question answer question answer question end"
	if got := strings.Join(kinds, " "); got != want {
		t.Errorf("events\n%s\nwant\n%s", got, want)
	}

	// The next day: the first is heard and not asked again; the fifth goes on after two answers, with questions of its own seed.
	w.out.Reset()
	w.stdout, w.stdin = &w.out, strings.NewReader("g\n"+strings.Join(wrongOf(rightAnswers(t, 5, 6, 1, 5, ear.WhichOfTwo)[3:]), "\n")+"\n1\n1\n1\n1\n")
	if code := w.drillArgs("--claims", claims, passage, "--json", "--seed", "6", "--count", "3"); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	evs := events(t, w.out.String())
	if e := evs[0]; e["event"] != "left out" || !strings.Contains(e["why"].(string), "heard already, on 2026-03-01") {
		t.Errorf("the claim that was heard: %v", e)
	}
	for _, e := range evs {
		if e["event"] == "claim" && (e["line"] != 5.0 || e["answered"] != 2.0 || e["try"] != 1.0 || fmt.Sprint(e["given"]) != "[C]") {
			t.Errorf("the claim that was broken off: %v", e)
		}
		if e["event"] == "answer" && (e["right"] != false || e["changed"] == "") {
			t.Errorf("a wrong answer: %v", e)
		}
	}
	got := tries(t, w.db)
	if y := got["stacked in fifths"]; len(y) != 1 || y[0].Verdict != "heard" || y[0].Right != 7 || y[0].Wrong != 0 {
		t.Errorf("tries of the first claim: %+v", y)
	}
	if y := got["is C major"]; len(y) != 1 || y[0].Verdict != "" || y[0].Right != 2 || y[0].Wrong != 3 {
		t.Errorf("tries of the fifth claim: %+v; want one, open, with 2 right and 3 wrong", y)
	}

	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"check", passage, claims, "--db", w.db}, []string{"perfect fifth\n                by ear: heard (2026-03-01)\n", "by ear: begun, 5 answers\n", "is D major\n"}},
		{[]string{"check", passage, claims, "--db", w.db, "--json"}, []string{`"ear": "heard"`, `"ear": ""`}},
		{[]string{"progress", "--db", w.db}, []string{"Claims by ear: 1 of 2 heard", "A stool", "heard      bar 1, left hand: stacked in fifths\n             2026-03-01, 7 of 7 right in 1 try\n", "begun      bar 1: is C major"}},
		{[]string{"progress", "--db", w.db, "--json"}, []string{`"claims": [`, `"ear": "heard"`, `"tries": 1`}},
		{[]string{"progress", "--db", w.db, "--since", "2026-03-09"}, []string{"No answers"}},
	} {
		w.out.Reset()
		w.err.Reset()
		if run(context.Background(), c.args, w.env); w.err.Len() > 0 {
			t.Errorf("%q: stderr %s", c.args, w.err.String())
		}
		for _, want := range c.want {
			if !strings.Contains(w.out.String(), want) {
				t.Errorf("%q doesn't say %q:\n%s", c.args, want, w.out.String())
			}
		}
	}
}

// Three wrong answers are "not heard"; another day begins another try; what was heard is asked only with --again.
func TestDrillClaimsTries(t *testing.T) {
	passage, claims := stool(t)
	w := newWorld(t, strings.Join(wrongOf(rightAnswers(t, 1, 5, 1, 3, ear.YesOrNo)), "\n"))
	base := []string{"--claims", claims, passage, "--json", "--yes-no", "--seed", "5"}
	if code := w.drillArgs(append(base, "--count", "3")...); code != 0 {
		t.Fatal(w.err.String())
	}
	if !strings.Contains(w.out.String(), `"ear":"not heard","try":1,"right":0,"answers":3`) || !strings.Contains(w.out.String(), `"choices":["yes","no"]`) {
		t.Errorf("first try:\n%s", w.out.String())
	}
	// The second try needs more: half the weight is on the first, which went wrong.
	w.out.Reset()
	w.stdin = strings.NewReader(strings.Join(rightAnswers(t, 1, 5, 2, 12, ear.YesOrNo), "\n"))
	w.drillArgs(append(base, "--count", "12")...)
	if !strings.Contains(w.out.String(), `"ear":"heard","try":2,"right":9,"answers":9`) { // (1/6 + 1/2 .3^3) (.85/.5)^9 + 1/3 >= 20, and not with 8
		t.Errorf("second try:\n%s", w.out.String())
	}
	w.out.Reset()
	w.stdin = strings.NewReader("1\n")
	w.drillArgs(append(base, "--count", "1", "--again")...)
	if !strings.Contains(w.out.String(), `"line":1`) || !strings.Contains(w.out.String(), `"try":3`) || strings.Contains(w.out.String(), "heard already") {
		t.Errorf("again:\n%s", w.out.String())
	}
	// An arguable claim on request.
	w.out.Reset()
	w.stdin = strings.NewReader("")
	w.drillArgs(append(base, "--arguable")...)
	for _, ev := range events(t, w.out.String()) {
		if ev["event"] == "claim" && ev["line"] != 3.0 {
			t.Errorf("with --arguable: %v", ev)
		}
	}
}

// Single keys, and words for people: plain, in 80 columns, each sound begun once.
func TestDrillClaimsKeys(t *testing.T) {
	passage, claims := stool(t)
	right := rightAnswers(t, 1, 7, 1, 7, ear.WhichOfTwo)
	press := func(answers []string) (keys string) {
		for _, a := range answers {
			keys += map[string]string{"first": "1", "second": "2"}[a]
		}
		return keys
	}
	for _, tt := range []struct {
		name, keys   string
		err          error
		asked, clips int
		says         []string
	}{
		{"heard", press(right), nil, 7, 8, []string{"Claims by ear", "starts quiet", "Keys: 1 the first", "Claim 1 of 5, line 1. Bar 1, left hand: stacked in fifths", "Question 1", "Right.", "Heard: 7 of 7 right",
			"Claim 2 of 5", "Not asked: the notes don't bear it out", "Claim 3", "--arguable", "Claim 4", "keyboard", "Claim 5", "First C sounds", "Question 8", "Claims decided: 1 heard; 7 of 7 answers right", "plumbline progress"}},
		{"wrong, again, compare, on", press(wrongOf(right[:1])) + " c1\r" + press(right[1:2]) + "q", nil, 2, 5, []string{"In the other one: left hand", "c compares", "First as it is, then changed", "This one is answered", "Question 2", "Right.", "1 of 2 answers right", "goes on the next time"}},
		{"give up, help, other keys", "?lx3g\rq", nil, 1, 2, []string{"guesses can't make you a hearer", "only play plays again", "does nothing here", "is no answer here", "It was the"}},
		{"Ctrl-C", press(right[:1]) + "\x03", context.Canceled, 1, 2, []string{"Right.", "1 of 1 answers right"}},
		{"at once", "q", nil, 0, 1, []string{"Nothing answered"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w, tp := newWorld(t, ""), &tape{}
			w.openSpeaker = func(context.Context) (speaker.Sink, error) { return tp, nil }
			p, _, err := w.load(passage, passageFlags{})
			if err != nil {
				t.Fatal(err)
			}
			results, _, err := checkClaims(p, "stool.claims", strings.NewReader(stoolClaims))
			if err != nil {
				t.Fatal(err)
			}
			store, err := progress.Open(context.Background(), w.db)
			if err != nil {
				t.Fatal(err)
			}
			defer store.Close()
			s := &claimSitting{e: w.env, p: p, results: results, store: store, flags: drillFlags{seed: 7, count: 100}, claims: claimFlags{file: claims}, path: passage, sound: &drillSound{e: w.env}}
			for _, r := range results {
				s.all = append(s.all, r.Claim)
			}
			err = s.run(context.Background(), newKeyInput(strings.NewReader(tt.keys), nil, &w.out), &textClaimFace{&textFace{out: &w.out, keys: true}, s})
			s.sound.close()
			if !errors.Is(err, tt.err) || tt.err == nil && err != nil {
				t.Fatalf("drill = %v; want %v", err, tt.err)
			}
			rest := strings.Join(strings.Fields(w.out.String()), " ")
			for _, say := range tt.says {
				_, after, ok := strings.Cut(rest, say)
				if !ok {
					t.Fatalf("%q is not said, or not in this place:\n%s", say, w.out.String())
				}
				rest = after
			}
			if s.asked != tt.asked || len(tp.clips) != tt.clips {
				t.Errorf("%d answers, %d clips; want %d, %d", s.asked, len(tp.clips), tt.asked, tt.clips)
			}
			checkPlain(t, strings.ReplaceAll(w.out.String(), claims, "claims"))
		})
	}
}

// What is played: quiet at first, never above half of full scale; two of the same length and loudness with silence between, after the
// note that the claim names.
func TestDrillClaimsSound(t *testing.T) {
	p, err := readPassage("stool", []byte(stoolPassage), "")
	if err != nil {
		t.Fatal(err)
	}
	claims, _, _ := claim.Parse("stool", strings.NewReader(stoolClaims))
	s, err := ear.Find(p, claims[4], nil)
	if err != nil {
		t.Fatal(err)
	}
	sit := &claimSitting{sound: &drillSound{}}
	a := &asking{subject: s}
	last := synth.LUFS(math.Inf(-1))
	for n := 1; n <= 4; n++ {
		tr := s.Trial(1, n, ear.WhichOfTwo)
		clips, err := trialClips(s, tr, synth.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if d := clips[0].Loudness() - clips[1].Loudness(); d < -.5 || d > .5 || len(clips[0].Samples) != len(clips[1].Samples) {
			t.Errorf("trial %d: %.2f LU apart, %d and %d samples", n, float64(d), len(clips[0].Samples), len(clips[1].Samples))
		}
		whole, err := sit.trialClip(a, tr, "")
		if err != nil {
			t.Fatal(err)
		}
		if whole.Peak() > synth.Ceiling {
			t.Errorf("trial %d: peak %g", n, whole.Peak())
		}
		if n > 1 && whole.Loudness() < last {
			t.Errorf("trial %d: %.1f LUFS after %.1f; it begins quiet and rises", n, float64(whole.Loudness()), float64(last))
		}
		last = whole.Loudness()
		want := 2*clips[0].Duration() + betweenTwo + namedNote + afterNamed
		if d := whole.Duration() - want; d < 0 || d > 200*1e6 { // the note named dies away beyond its key
			t.Errorf("trial %d lasts %v; want %v and a release", n, whole.Duration(), want)
		}
	}
	if n, err := given(&ear.Subject{Places: []score.Region{}}, 0, synth.Options{}); n != nil || err != nil {
		t.Errorf("given for nothing named = %v, %v", n, err)
	}

	passage, file := stool(t)
	w := newWorld(t, "1\nplay\nq\n")
	w.openSpeaker = func(context.Context) (speaker.Sink, error) {
		return nil, &speaker.DeviceError{Reason: "none could be opened"}
	}
	if code := w.drillArgs("--claims", file, passage, "--seed", "1"); code != 0 || strings.Count(w.err.String(), "plumbline: warning: no sound device") != 1 {
		t.Errorf("exit %d: %s", code, w.err.String())
	}
	if n := strings.Count(w.out.String(), "\nSound: "); n != 3 {
		t.Errorf("%d sounds named; want 3:\n%s", n, w.out.String())
	}
}

func TestDrillClaimsUsage(t *testing.T) {
	passage, claims := stool(t)
	for _, tt := range []struct {
		args []string
		says string
	}{
		{[]string{"--claims", claims}, "PASSAGE is missing"},
		{[]string{"--claims", claims, passage, "more"}, "too much"},
		{[]string{"--yes-no"}, "need --claims FILE"},
		{[]string{"--again", passage}, "--claims FILE is missing"},
		{[]string{"--claims", claims, passage, "--level", "2"}, "--level doesn't go with --claims"},
		{[]string{"--claims", claims, passage, "--sight"}, "--sight doesn't go with --claims"},
		{[]string{"--claims", "-", passage}, "stdin is for the answers"},
		{[]string{"--claims", claims, passage, "--count", "0"}, "--count 0"},
		{[]string{"--claims", claims, passage, "--play"}, "--json"},
		{[]string{"--claims", "nowhere", passage}, "can't read the claims"},
		{[]string{"--claims", claims, "nowhere"}, "can't read the passage"},
	} {
		w := newWorld(t, "")
		if code := w.drillArgs(tt.args...); code != 2 || !strings.Contains(w.err.String(), tt.says) || w.out.Len() > 0 {
			t.Errorf("drill %q: exit %d, stderr %q, stdout %q; want exit 2 and %q", tt.args, code, w.err.String(), w.out.String(), tt.says)
		}
		if _, err := os.Stat(w.db); err == nil {
			t.Errorf("drill %q made a database", tt.args)
		}
	}
	// A line that isn't understood is told, the others are asked, and the exit code says so.
	broken := filepath.Join(t.TempDir(), "broken.claims")
	if err := os.WriteFile(broken, []byte("bar 1: is Czz\nbar 1: is C major\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	w := newWorld(t, "1\nq\n")
	if code := w.drillArgs("--claims", broken, passage, "--no-sound", "--json"); code != 2 || !strings.Contains(w.err.String(), "no chord") || !strings.Contains(w.out.String(), `"event":"answer"`) {
		t.Errorf("a broken line: exit %d, %s, %s", code, w.err.String(), w.out.String())
	}
}
