package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"plumbline/drills"
	"plumbline/progress"
	"plumbline/synth"
	"plumbline/synth/speaker"
)

// world is an env for tests: nothing of the machine but a temporary folder, and a clock that goes on by a second at each look.
type world struct {
	*env
	out, err bytes.Buffer
	fake     *speaker.Fake
	db       string
}

func newWorld(t testing.TB, in string) *world {
	w := &world{fake: &speaker.Fake{}, db: filepath.Join(t.TempDir(), "progress.db")}
	clock := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	w.env = &env{stdin: strings.NewReader(in), stdout: &w.out, stderr: &w.err,
		getenv:      func(string) string { return "" },
		now:         func() time.Time { clock = clock.Add(time.Second); return clock },
		openSpeaker: func(context.Context) (speaker.Sink, error) { return w.fake, nil }}
	t.Setenv("TMPDIR", t.TempDir())
	return w
}

// tape is a Sink that takes every clip at once, even one that is cut short.
type tape struct {
	clips []*synth.Clip
	err   error // of every clip
}

func (t *tape) Play(_ context.Context, c *synth.Clip) error {
	t.clips = append(t.clips, c)
	return t.err
}

func (t *tape) Close() error { return nil }

// drillArgs runs plumbline drill with the test's database.
func (w *world) drillArgs(args ...string) int {
	return run(context.Background(), append([]string{"drill", "--db", w.db}, args...), w.env)
}

// answers reads what the database holds of a session's answers, by Summary: answers and right ones.
func (w *world) recorded(t testing.TB) progress.Summary {
	t.Helper()
	return recordedIn(t, w.db)
}

func recordedIn(t testing.TB, db string) progress.Summary {
	t.Helper()
	store, err := progress.Open(context.Background(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	sum, err := store.Summary(context.Background(), progress.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	return sum
}

func events(t testing.TB, text string) []map[string]any {
	t.Helper()
	var out []map[string]any
	for l := range strings.Lines(text) {
		var ev map[string]any
		if err := json.Unmarshal([]byte(l), &ev); err != nil {
			t.Fatalf("line %q: %v", l, err)
		}
		out = append(out, ev)
	}
	return out
}

// expected asks the drill itself what is right.
func expected(t testing.TB, s drills.Settings, n int) (label string, number int) {
	t.Helper()
	d, err := drills.New(s)
	if err != nil {
		t.Fatal(err)
	}
	q := d.Question(n)
	return q.Expected, slices.Index(q.Choices, q.Expected) + 1
}

func TestDrillJSON(t *testing.T) {
	s := drills.Settings{Kind: drills.Quality, Level: 4, Seed: 7}
	one, first := expected(t, s, 1)
	two, _ := expected(t, s, 2)
	in := fmt.Sprintf("%d\n%s\nwibble\n{\"id\":\"other\",\"given\":1}\n{\"id\":\"quality-7-3\",\"given\":\"give up\"}\n{bad\n99\nslow\n\nquit\n", first, two)
	w := newWorld(t, in)
	dir := filepath.Join(t.TempDir(), "sounds")
	if code := w.drillArgs("--json", "--seed", "7", "--level", "4", "--count", "6", "--out", dir); code != 0 {
		t.Fatalf("exit %d, stderr %s", code, w.err.String())
	}
	evs := events(t, w.out.String())
	var kinds []string
	for _, ev := range evs {
		kinds = append(kinds, ev["event"].(string))
	}
	want := []string{"question", "answer", "question", "answer", "question", "error", "error", "answer", "question", "error", "error", "sound", "error", "end"}
	if !slices.Equal(kinds, want) {
		t.Fatalf("events %v; want %v\n%s", kinds, want, w.out.String())
	}
	q := evs[0]
	if q["id"] != "quality-7-1" || q["kind"] != "quality" || q["prompt"] != "Which chord quality?" || len(q["choices"].([]any)) != 4 || q["notes"] != nil {
		t.Errorf("question %v", q)
	}
	f, err := os.Open(q["sound"].(string))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if c, _, err := synth.ReadWAV(f); err != nil || c.Peak() == 0 || c.Peak() > synth.Ceiling {
		t.Errorf("sound of question 1: %v", err)
	}
	if a := evs[1]; a["right"] != true || a["expected"] != one || a["given"] != one || a["id"] != "quality-7-1" {
		t.Errorf("answer %v; want right, %q", a, one)
	}
	if a := evs[7]; a["right"] != false || a["given"] != "" {
		t.Errorf("giving up: %v", a)
	}
	if end := evs[len(evs)-1]; end["asked"] != 3.0 || end["right"] != 2.0 {
		t.Errorf("end %v; want 3 asked, 2 right", end)
	}
	if sum := w.recorded(t); sum.Total.Asked != 3 || sum.Total.Right != 2 || sum.Total.GaveUp != 1 {
		t.Errorf("recorded %+v; want 3, 2 right, 1 given up", sum.Total)
	}
	if w.err.Len() > 0 || len(w.fake.Clips()) > 0 {
		t.Errorf("stderr %q, %d clips played; want silence", w.err.String(), len(w.fake.Clips()))
	}
}

func TestDrillJSONSight(t *testing.T) {
	w := newWorld(t, "quit\n")
	if code := w.drillArgs("--json", "--seed", "7", "--sight"); code != 0 {
		t.Fatalf("exit %d, stderr %s", code, w.err.String())
	}
	q := events(t, w.out.String())[0]
	notes := q["notes"].([]any)
	if len(notes) == 0 || !strings.Contains(q["prompt"].(string), notes[0].(string)) || q["mode"] != "sight" || q["sound"] != "" {
		t.Errorf("question %v; want the notes in it and in its prompt", q)
	}
}

// TestDrillAgain: the same seed asks the same, byte for byte.
func TestDrillAgain(t *testing.T) {
	var outs []string
	for range 2 {
		w := newWorld(t, "1\n2\n1\n")
		w.drillArgs("--json", "--seed", "3", "--kind", "construction", "--level", "3", "--count", "3")
		outs = append(outs, w.out.String())
	}
	if outs[0] != outs[1] || len(outs[0]) < 500 {
		t.Errorf("seed 3 asks\n%s\nthen\n%s", outs[0], outs[1])
	}
}

// keyed runs a drill on a fake terminal: keys come from a string, nothing is a tty.
func keyed(t testing.TB, w *world, s drills.Settings, count int, keys string) error {
	t.Helper()
	d, err := drills.New(s)
	if err != nil {
		t.Fatal(err)
	}
	store, err := progress.Open(context.Background(), w.db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	mode := progress.Ear
	if s.Sight {
		mode = progress.Sight
	}
	sit := &sitting{e: w.env, d: d, store: store, mode: mode, count: count, sound: &drillSound{e: w.env}}
	defer sit.sound.close()
	if sit.id, err = store.Begin(context.Background(), progress.SessionInfo{Kind: string(s.Kind), Mode: mode, Seed: s.Seed, Started: w.now()}); err != nil {
		t.Fatal(err)
	}
	return sit.run(context.Background(), newKeyInput(strings.NewReader(keys), nil, &w.out), &textFace{out: &w.out, sit: sit, keys: true})
}

func TestDrillKeys(t *testing.T) {
	s := drills.Settings{Kind: drills.Quality, Level: 4, Seed: 7}
	two, right2 := expected(t, s, 2)
	_, right1 := expected(t, s, 1)
	wrong1 := right1%4 + 1
	for _, tt := range []struct {
		name, keys string
		err        error
		asked      int
		right      int
		clips      int      // begun
		says       []string // in this order
	}{
		{"choose", fmt.Sprintf("%d%d", right1, right2), nil, 2, 2, 2, []string{"starts quiet", "Question 1 of 2", "Right: ", "Question 2 of 2", "Right: ", "2 of 2 right (100 %)", "plumbline progress"}},
		{"replay", fmt.Sprintf(" plha%dq", right1), nil, 1, 1, 7, []string{"Right", "1 of 1 right"}},
		{"wrong, compare, again, on", fmt.Sprintf("%dc \r%d", wrong1, right2), nil, 2, 1, 4, []string{"You said ", "c compares", "First what it was, then what you said", "Question 2", "Right", "1 of 2 right"}},
		{"a number does not run on", fmt.Sprintf("%d12\rq", wrong1), nil, 1, 0, 2, []string{"You said", "This one is answered", "This one is answered", "Question 2"}},
		{"typed", fmt.Sprintf("%dt%s\r", right1, two), nil, 2, 2, 2, []string{"Label", "Right", "2 of 2"}},
		{"typed, not understood", "twibble\rt\rq", nil, 0, 0, 1, []string{"\"wibble\" is no answer here", "Label", "Nothing answered"}},
		{"give up", "g\rq", nil, 1, 0, 2, []string{"It was ", "Enter goes on", "0 of 1 right"}},
		{"help, unknown, out of range", "?x9q", nil, 0, 0, 1, []string{"Keys:", "does nothing here", "numbered 1 to 4"}},
		{"arrows are passed over", fmt.Sprintf("\x1b[A\x1bOB%dq", right1), nil, 1, 1, 2, []string{"Right"}},
		{"compare too early", "cq", nil, 0, 0, 1, []string{"nothing to compare yet"}},
		{"Ctrl-C", fmt.Sprintf("%d\x03", right1), context.Canceled, 1, 1, 2, []string{"Right", "1 of 1 right", "saved"}},
		{"Ctrl-D", "\x04", nil, 0, 0, 1, []string{"Nothing answered"}},
		{"end of input", fmt.Sprintf("%d", right1), nil, 1, 1, 2, []string{"1 of 1 right"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w, tp := newWorld(t, ""), &tape{}
			w.openSpeaker = func(context.Context) (speaker.Sink, error) { return tp, nil }
			err := keyed(t, w, s, 2, tt.keys)
			if !errors.Is(err, tt.err) || tt.err == nil && err != nil {
				t.Fatalf("drill = %v; want %v", err, tt.err)
			}
			rest := w.out.String()
			for _, say := range tt.says {
				_, after, ok := strings.Cut(rest, say)
				if !ok {
					t.Fatalf("%q is not said, or not in this place:\n%s", say, w.out.String())
				}
				rest = after
			}
			if sum := w.recorded(t); sum.Total.Asked != tt.asked || sum.Total.Right != tt.right {
				t.Errorf("recorded %d, %d right; want %d, %d", sum.Total.Asked, sum.Total.Right, tt.asked, tt.right)
			}
			if got := len(tp.clips); got != tt.clips {
				t.Errorf("%d clips; want %d", got, tt.clips)
			}
			if strings.Contains(tt.name, "compare,") { // two chords, the notes that differ from each, and silence between the three
				one := tp.clips[0].Duration()
				if got, want := tp.clips[1].Duration(), 3*one+chordLength+2*comparePart; got < want-time.Millisecond || got > want+time.Millisecond {
					t.Errorf("the comparison lasts %v; want %v", got, want)
				}
			}
			// A real terminal ends the line that was typed.
			checkPlain(t, strings.ReplaceAll(w.out.String(), "to go back): ", "to go back):\n"))
		})
	}
}

// checkPlain holds the text against what a screen reader and a narrow terminal need: no escape sequence, no carriage return, no
// line over 80 columns.
func checkPlain(t testing.TB, text string) {
	t.Helper()
	for l := range strings.Lines(text) {
		if strings.ContainsAny(l, "\x1b\r\b\a") || len([]rune(strings.TrimRight(l, "\n"))) > 80 {
			t.Errorf("line %q; want plain text of at most 80 columns", l)
		}
	}
}

// TestDrillStartsQuiet: all chords are equally long; the first is 6 dB below the usual level and none jumps up by more than
// 2 dB (loudness by ITU-R BS.1770, from package synth).
func TestDrillStartsQuiet(t *testing.T) {
	d, err := drills.New(drills.Settings{Kind: drills.Quality, Level: 5, Seed: 1, Inversions: true})
	if err != nil {
		t.Fatal(err)
	}
	sound := &drillSound{}
	last := synth.DefaultLevel - 6
	for n := 1; n <= 8; n++ {
		q := d.Question(n)
		c, err := sound.clip(n, questionNotes(q))
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Loudness() + synth.LUFS(c.Held); n == 1 && (got < last-0.2 || got > last+0.2) || got > last+2.1 {
			t.Errorf("question %d: loudness %.1f LUFS after %.1f", n, got, last)
		} else {
			last = got
		}
		if c.Duration() != synth.DefaultRate.D(synth.DefaultRate.N(chordLength)+synth.DefaultRate.N(synth.Release)) {
			t.Errorf("question %d lasts %v", n, c.Duration())
		}
		if c.Peak() > synth.Ceiling {
			t.Errorf("question %d peaks at %.3f", n, c.Peak())
		}
	}
	if last < synth.DefaultLevel-0.2 {
		t.Errorf("question 8 has %.1f LUFS; want %.1f", last, float64(synth.DefaultLevel))
	}
}

func TestDrillWithoutDevice(t *testing.T) {
	w := newWorld(t, "1\nplay\n2\n")
	w.openSpeaker = func(context.Context) (speaker.Sink, error) {
		return nil, &speaker.DeviceError{Reason: "none could be opened"}
	}
	if code := w.drillArgs("--seed", "1", "--count", "2"); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	if n := strings.Count(w.err.String(), "plumbline: warning: no sound device"); n != 1 {
		t.Errorf("stderr %q; want one warning", w.err.String())
	}
	files := 0
	for l := range strings.Lines(w.out.String()) {
		if path, ok := strings.CutPrefix(strings.TrimSpace(l), "Sound: "); ok {
			if _, err := os.Stat(path); err != nil {
				t.Error(err)
			}
			files++
		}
	}
	if files != 3 {
		t.Errorf("%d sounds named; want 3\n%s", files, w.out.String())
	}
	checkPlain(t, strings.ReplaceAll(strings.ReplaceAll(w.out.String(), os.Getenv("TMPDIR"), "/t"), w.db, "db"))
}

// TestDrillDeviceLost: a device that goes away while playing is noticed at the next sound, which is written.
func TestDrillDeviceLost(t *testing.T) {
	w := newWorld(t, "1\n2\n")
	tp := &tape{err: &speaker.DeviceError{Reason: "it was unplugged"}}
	w.openSpeaker = func(context.Context) (speaker.Sink, error) { return tp, nil }
	if code := w.drillArgs("--seed", "1", "--count", "2"); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	if sum := w.recorded(t); sum.Total.Asked != 2 {
		t.Errorf("recorded %d; want 2", sum.Total.Asked)
	}
	if !strings.Contains(w.err.String(), "it was unplugged") || !strings.Contains(w.out.String(), "question-002.wav") || len(tp.clips) != 1 {
		t.Errorf("stderr %q, %d clips tried, stdout\n%s; want the second question in a file", w.err.String(), len(tp.clips), w.out.String())
	}
}

// TestDrillNotSaved: an answer that can't be saved is not acknowledged, and the drill ends with an error.
func TestDrillNotSaved(t *testing.T) {
	w := newWorld(t, "")
	d, err := drills.New(drills.Settings{Kind: drills.Quality, Sight: true})
	if err != nil {
		t.Fatal(err)
	}
	store, err := progress.Open(context.Background(), w.db)
	if err != nil {
		t.Fatal(err)
	}
	sit := &sitting{e: w.env, d: d, store: store, mode: progress.Sight, count: 3, sound: &drillSound{e: w.env, silent: true}}
	if sit.id, err = store.Begin(context.Background(), progress.SessionInfo{Kind: "quality", Mode: progress.Sight, Started: w.now()}); err != nil {
		t.Fatal(err)
	}
	store.Close()
	err = sit.run(context.Background(), newJSONInput(strings.NewReader("1\n")), &jsonFace{out: &w.out, sit: sit})
	if err == nil || !strings.Contains(err.Error(), "not saved") || strings.Contains(w.out.String(), `"answer"`) {
		t.Errorf("drill = %v, out %s; want an error and no answer", err, w.out.String())
	}
}

func TestDrillUsage(t *testing.T) {
	for _, tt := range []struct {
		args []string
		says string
	}{
		{[]string{"--count", "0"}, "--count 0"},
		{[]string{"--level", "99"}, "levels 1 to 9"},
		{[]string{"--level", "0"}, "levels 1 to 9"},
		{[]string{"--kind", "wibble"}, `"chord" or "dictation"`},
		{[]string{"--kind", "rhythm", "--sight"}, "for the ear only"},
		{[]string{"--deck", "wibble"}, "neither a ready-made deck nor a file"},
		{[]string{"--step", "2"}, "--step needs --deck"},
		{[]string{"--deck", "sevenths", "--step", "99"}, "steps 1 to 6"},
		{[]string{"--deck", "sevenths", "--level", "2"}, "--deck says what is asked"},
		{[]string{"--voices", "3"}, "belong to --kind same"},
		{[]string{"--labels", "m7,wibble"}, `"wibble" is no label`},
		{[]string{"--labels", "m7", "--level", "2"}, "exclude each other"},
		{[]string{"--at", "bar 1"}, "--from"},
		{[]string{"--from", "x", "--level", "2"}, "--level doesn't go with --from"},
		{[]string{"--from", "-"}, "stdin is for the answers"},
		{[]string{"--choices", "12"}, "2 to 9"},
		{[]string{"--play"}, "--json"},
		{[]string{"surplus"}, "unknown command"},
		{[]string{"--seed", "-1"}, "seed"},
	} {
		w := newWorld(t, "")
		code := w.drillArgs(tt.args...)
		if code != 2 || !strings.Contains(w.err.String(), tt.says) || !strings.HasPrefix(w.err.String(), "plumbline: error: ") ||
			!strings.Contains(w.err.String(), "plumbline: hint: ") || w.out.Len() > 0 {
			t.Errorf("drill %q: exit %d, stderr %q, stdout %q; want exit 2, %q and a hint", tt.args, code, w.err.String(), w.out.String(), tt.says)
		}
		if _, err := os.Stat(w.db); err == nil {
			t.Errorf("drill %q made a database", tt.args)
		}
	}
}

func TestDrillFrom(t *testing.T) {
	w := newWorld(t, "1\n1\n1\n1\n")
	path := filepath.Join(t.TempDir(), "lanterns.passage")
	text := "title: Three lanterns\nmeter: 4/4\nbars 1-2\nright: h E4+B4 C4+G4 | w E4+A4+D5\nleft: h C3+G3 A2+E3 | w C2+G2+D3\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if code := w.drillArgs("--json", "--from", path, "--at", "bar 1", "--count", "4", "--seed", "2", "--own-only", "--no-transpose"); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	for _, ev := range events(t, w.out.String()) {
		if ev["event"] == "answer" && (!slices.Contains([]any{"major seventh", "minor seventh"}, ev["expected"]) || !strings.Contains(ev["feedback"].(string), "bar 1 beat")) {
			t.Errorf("answer %v; want one of the two chords of bar 1", ev)
		}
	}
	w = newWorld(t, "")
	if code := w.drillArgs("--from", path, "--at", "bar 1", "--kind", "construction"); code != 2 || !strings.Contains(w.err.String(), "nothing to ask") {
		t.Errorf("exit %d, stderr %q; want 2 and a word that there is nothing to ask", code, w.err.String())
	}
}

// plumblineCmd runs the program itself: the test binary under its name is the program (see TestMain).
func plumblineCmd(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Args = append([]string{"plumbline"}, args...)
	cmd.Env = append(os.Environ(), "ALSA_CONFIG_PATH="+os.DevNull, "XDG_DATA_HOME="+t.TempDir())
	return cmd
}

// TestDrillKilled: a drill of 20 questions by pipe, killed with SIGKILL in the middle, at other moments each time: every answer
// that was acknowledged is there, with what was said, and at most the one that was under way besides.
func TestDrillKilled(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for round := range 8 {
		db := filepath.Join(t.TempDir(), "progress.db")
		stopAfter, pause := 3+2*round, time.Duration(r.IntN(4000))*time.Microsecond
		cmd := plumblineCmd(t, "drill", "--json", "--count", "20", "--seed", fmt.Sprint(round+1), "--level", "4", "--db", db)
		in, _ := cmd.StdinPipe()
		out, _ := cmd.StdoutPipe()
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		acknowledged, right := 0, 0
		sc := bufio.NewScanner(out)
		for sc.Scan() {
			var ev struct {
				Event, ID string
				Right     bool
			}
			if err := json.Unmarshal(sc.Bytes(), &ev); err != nil {
				break // cut off by the kill
			}
			switch ev.Event {
			case "question":
				fmt.Fprintf(in, `{"id":%q,"given":%d}`+"\n", ev.ID, 1+r.IntN(4))
				if acknowledged == stopAfter {
					time.Sleep(pause) // somewhere between the answer and its acknowledgement, or just after
					cmd.Process.Signal(syscall.SIGKILL)
				}
			case "answer":
				acknowledged++
				if ev.Right {
					right++
				}
			}
		}
		if err := cmd.Wait(); err == nil {
			t.Fatalf("round %d: the drill ended before it was killed", round)
		}
		sum := recordedIn(t, db)
		if acknowledged < stopAfter || sum.Total.Asked < acknowledged || sum.Total.Asked > acknowledged+1 || sum.Total.Right < right {
			t.Errorf("round %d: %d answers acknowledged (%d right), recorded %d (%d right); stderr %s", round, acknowledged, right, sum.Total.Asked, sum.Total.Right, stderr.String())
		}
	}
}

// TestDrillInterrupted: SIGINT ends a drill with exit code 130, a result, and everything saved.
func TestDrillInterrupted(t *testing.T) {
	db := filepath.Join(t.TempDir(), "progress.db")
	cmd := plumblineCmd(t, "drill", "--sight", "--seed", "4", "--db", db)
	in, _ := cmd.StdinPipe()
	out, _ := cmd.StdoutPipe()
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	io.WriteString(in, "1\n")
	br := bufio.NewReader(out)
	var said strings.Builder
	for !strings.Contains(said.String(), "Question 2") {
		l, err := br.ReadString('\n')
		said.WriteString(l)
		if err != nil {
			t.Fatalf("no second question: %v\n%s%s", err, said.String(), stderr.String())
		}
	}
	cmd.Process.Signal(os.Interrupt)
	rest, _ := io.ReadAll(br)
	err := cmd.Wait()
	var ee *exec.ExitError
	if !errors.As(err, &ee) || ee.ExitCode() != exitInterrupted {
		t.Errorf("exit %v; want %d", err, exitInterrupted)
	}
	if !strings.Contains(string(rest), "of 1 right") || !strings.Contains(stderr.String(), "plumbline: interrupted") {
		t.Errorf("said %q, stderr %q; want the result", rest, stderr.String())
	}
	if sum := recordedIn(t, db); sum.Total.Asked != 1 {
		t.Errorf("recorded %d; want 1", sum.Total.Asked)
	}
}

// BenchmarkAnswer is one answer graded and durable on disk.
func BenchmarkAnswer(b *testing.B) {
	w := newWorld(b, "")
	d, _ := drills.New(drills.Settings{Kind: drills.Quality, Level: 4, Seed: 1})
	store, err := progress.Open(context.Background(), w.db)
	if err != nil {
		b.Fatal(err)
	}
	defer store.Close()
	sit := &sitting{e: w.env, d: d, store: store, mode: progress.Ear, count: 1}
	if sit.id, err = store.Begin(context.Background(), progress.SessionInfo{Kind: "quality", Mode: progress.Ear, Started: w.now()}); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for n := 1; b.Loop(); n++ {
		q := d.Question(n)
		g, err := drills.Grade(q, "Cm7")
		if err != nil {
			b.Fatal(err)
		}
		if err := sit.record(context.Background(), q, g, "Cm7", w.now(), 0); err != nil {
			b.Fatal(err)
		}
	}
}
