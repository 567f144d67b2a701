//go:build linux && !nosound

package speaker

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"plumbline/synth"
)

// The tests here play through ALSA itself into a device that hands the samples back: ALSA's file plugin over its null
// device, writing into a named pipe. The pipe paces it like a card, and nothing lands on the disk, where an idle device
// would write a gigabyte a second. ALSA reads its configuration once in a process, so that the playing is done by this
// test binary started anew.

const (
	childEnv = "PLUMBLINE_SPEAKER_CHILD"
	alsaConf = "/usr/share/alsa/alsa.conf"
)

func TestMain(m *testing.M) {
	if mode := os.Getenv(childEnv); mode != "" {
		json.NewEncoder(os.Stdout).Encode(child(mode))
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// A report is what the child has to say. Errors are text, "" for nil.
type report struct {
	Open     string
	NoDevice bool // whether the last error was ErrNoDevice
	Detail   int  // length of the sound system's chatter
	Again    bool // whether a second Open said the same
	Plays    []string
	Took     []float64 // seconds, one for each play
	Close    string
	Closing  float64 // seconds
	Push     string
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// childClips are the clips played, rendered alike in parent and child.
func childClips() []*synth.Clip {
	var clips []*synth.Clip
	for i, freqs := range [][]synth.Hz{{220, 277, 330}, {440}, {98, 147, 220, 330, 494}} {
		var notes []synth.Note
		for j, f := range freqs {
			notes = append(notes, synth.Note{Freq: f, Length: 700 * time.Millisecond, Strength: 0.7, Pan: float64(j)/4 - float64(i)/3})
		}
		c, err := synth.Render(notes, synth.Options{})
		if err != nil {
			panic(err)
		}
		clips = append(clips, c)
	}
	return clips
}

// sineClip is a plain sine without edges inside, on which a click would stand out.
func sineClip(d time.Duration) *synth.Clip {
	c := &synth.Clip{Rate: synth.DefaultRate, Samples: make([]float32, 2*synth.DefaultRate.N(d))}
	for i := range c.Frames() {
		x := float32(0.25 * math.Sin(2*math.Pi*440*float64(i)/48000))
		c.Samples[2*i], c.Samples[2*i+1] = x, x
	}
	return c
}

// longClip is longer than what the library holds ahead unless it is told otherwise.
func longClip() *synth.Clip {
	c, err := synth.Render([]synth.Note{{Freq: 330, Length: 6 * time.Second, Strength: 0.7}}, synth.Options{})
	if err != nil {
		panic(err)
	}
	return c
}

// manyClips are 200 different short items.
func manyClips() []*synth.Clip {
	var clips []*synth.Clip
	for i := range 200 {
		f := 110 * synth.Hz(math.Pow(2, float64(i)/48))
		c, err := synth.Render([]synth.Note{{Freq: f, Length: 15 * time.Millisecond, Strength: .6, Pan: -.3}, {Freq: 1.5 * f, Length: 10 * time.Millisecond, Strength: .6, Pan: .3}}, synth.Options{Level: -30})
		if err != nil {
			panic(err)
		}
		clips = append(clips, c)
	}
	return clips
}

func streamNotes() []synth.Note {
	var notes []synth.Note
	for i := range 12 {
		notes = append(notes, synth.Note{Freq: 220 * synth.Hz(1+float64(i)/12), Start: time.Duration(i) * 150 * time.Millisecond, Length: 140 * time.Millisecond, Strength: .5})
	}
	return notes
}

func child(mode string) (r report) {
	s, err := Open(context.Background())
	r.Open, r.NoDevice, r.Detail = text(err), errors.Is(err, ErrNoDevice), len(Chatter())
	_, again := Open(context.Background())
	r.Again = text(again) == r.Open
	if err != nil {
		return r
	}
	play := func(ctx context.Context, c *synth.Clip) {
		began := time.Now()
		err := s.Play(ctx, c)
		r.Plays, r.Took = append(r.Plays, text(err)), append(r.Took, time.Since(began).Seconds())
		r.NoDevice = errors.Is(err, ErrNoDevice)
	}
	switch mode {
	case "play":
		for _, c := range childClips() {
			play(context.Background(), c)
		}
	case "long":
		play(context.Background(), longClip())
	case "together": // all at once: each must wait for its turn
		var wg sync.WaitGroup
		for _, c := range childClips() {
			wg.Go(func() { s.Play(context.Background(), c) })
		}
		wg.Wait()
	case "cancel":
		sine := sineClip(5 * time.Second) // before the time runs
		ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
		play(ctx, sine)
		cancel()
		play(ctx, childClips()[1])
		play(context.Background(), childClips()[1])
	case "close":
		sine := sineClip(5 * time.Second)
		time.AfterFunc(300*time.Millisecond, func() { s.Close() })
		play(context.Background(), sine)
		play(context.Background(), childClips()[1])
	case "many":
		began := time.Now()
		for _, c := range manyClips() {
			if err := s.Play(context.Background(), c); err != nil {
				r.Plays = append(r.Plays, err.Error())
			}
		}
		r.Took = append(r.Took, time.Since(began).Seconds())
	case "stream":
		st, err := synth.NewStream(streamNotes(), synth.Options{})
		if err != nil {
			panic(err)
		}
		began := time.Now()
		r.Plays = append(r.Plays, text(s.(Streamer).PlayStream(context.Background(), st)))
		r.Took = append(r.Took, time.Since(began).Seconds())
	case "hang":
		play(context.Background(), childClips()[1])
		play(context.Background(), childClips()[1])
	case "pull":
		play(context.Background(), childClips()[1])
		play(context.Background(), childClips()[1])
	}
	began := time.Now()
	r.Close, r.Closing = text(s.Close()), time.Since(began).Seconds()
	if mode != "hang" && mode != "pull" {
		// The file plugin holds some 4000 frames back until more come; a card would play them. Silence pushes them out.
		push, err := synth.Silence(synth.DefaultRate, 200*time.Millisecond)
		if s, e := Open(context.Background()); err == nil && e == nil { // opening again after Close must do
			err = s.Play(context.Background(), push)
		} else if err == nil {
			err = e
		}
		r.Push = text(err)
	}
	return r
}

// runChild starts the child with the ALSA configuration conf and returns its report and what it wrote on stderr.
func runChild(t *testing.T, mode, conf string) (report, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "asound.conf")
	if err := os.WriteFile(path, []byte(conf), 0o644); err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, self)
	cmd.Env = append(os.Environ(), childEnv+"="+mode, "ALSA_CONFIG_PATH="+path)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	cmd.WaitDelay = time.Second
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v; stderr: %s", mode, err, stderr.String())
	}
	var r report
	if err := json.Unmarshal(stdout.Bytes(), &r); err != nil {
		t.Fatalf("%s: report %q: %v", mode, stdout.String(), err)
	}
	return r, stderr.String()
}

// A tap is a sound device that hands back what it is given.
type tap struct {
	conf string
	pipe *os.File
	stop chan struct{}
	done chan []byte
}

func needALSA(t *testing.T) {
	t.Helper()
	if _, err := os.Stat(alsaConf); err != nil {
		why := "ALSA's own configuration isn't installed: " + alsaConf
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
}

// tapConf is the configuration of a device that writes its samples to path.
func tapConf(path string) string {
	return fmt.Sprintf(`<%s>
pcm.!default { type plug slave { format S16_LE pcm tap } }
pcm.tap { type file slave.pcm nul file %q format raw }
pcm.nul { type null }
`, alsaConf, path)
}

// newTap makes the device. It takes sound at the pace of a card if paced is set. If hang isn't 0 it takes no more after
// that many bytes, or is gone altogether if pull is set.
func newTap(t *testing.T, paced bool, hang int, pull bool) *tap {
	t.Helper()
	needALSA(t)
	path := filepath.Join(t.TempDir(), "sound")
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	pipe, err := os.OpenFile(path, os.O_RDWR, 0) // for writing too, so that opening waits for nobody
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096 // 1024 frames, one period of the device
	if _, err := unix.FcntlInt(pipe.Fd(), unix.F_SETPIPE_SZ, page); err != nil {
		t.Fatal(err)
	}
	if err := unix.SetNonblock(int(pipe.Fd()), true); err != nil { // Fd has made it blocking
		t.Fatal(err)
	}
	pipe.Close()
	if pipe, err = os.OpenFile(path, os.O_RDWR|unix.O_NONBLOCK, 0); err != nil {
		t.Fatal(err)
	}
	d := &tap{conf: tapConf(path), pipe: pipe, stop: make(chan struct{}), done: make(chan []byte, 1)}
	go func() {
		var got []byte
		defer func() { d.done <- got }()
		buf := make([]byte, page)
		var due time.Time
		for {
			n, err := pipe.Read(buf)
			if got = append(got, buf[:n]...); err != nil {
				return // closed
			}
			if hang > 0 && len(got) > hang {
				if pull {
					pipe.Close()
				}
				<-d.stop
				return
			}
			if paced {
				if now := time.Now(); due.Before(now.Add(-50 * time.Millisecond)) {
					due = now // nothing came for a while
				}
				due = due.Add(time.Duration(n) * time.Second / 192000)
				select {
				case <-d.stop: // what is left comes out at once
				case <-time.After(time.Until(due)):
				}
			}
		}
	}()
	t.Cleanup(func() { pipe.Close() })
	return d
}

// samples ends the device and returns the samples it got, left and right in turn.
func (d *tap) samples() []int16 {
	close(d.stop)
	time.Sleep(50 * time.Millisecond) // what is in the pipe still comes out
	d.pipe.Close()
	return ints(<-d.done)
}

// ints returns the whole frames in b.
func ints(b []byte) []int16 {
	s := make([]int16, len(b)/4*2)
	for i := range s {
		s[i] = int16(binary.LittleEndian.Uint16(b[2*i:]))
	}
	return s
}

// core cuts silence off both ends, in whole frames.
func core(s []int16) []int16 {
	s = trimStart(s)
	for len(s) >= 2 && s[len(s)-1] == 0 && s[len(s)-2] == 0 {
		s = s[:len(s)-2]
	}
	return s
}

func trimStart(s []int16) []int16 {
	for len(s) >= 2 && s[0] == 0 && s[1] == 0 {
		s = s[2:]
	}
	return s
}

func pcm(c *synth.Clip) []int16 { return ints(c.AppendPCM16(nil)) }

// TestPlayedEqualsRendered: what the device gets is what was rendered, bit for bit, clip after clip, with silence between.
func TestPlayedEqualsRendered(t *testing.T) {
	for _, paced := range []bool{true, false} {
		t.Run(fmt.Sprintf("paced=%v", paced), func(t *testing.T) {
			d := newTap(t, paced, 0, false)
			r, stderr := runChild(t, "play", d.conf)
			got := d.samples()
			if r.Open != "" || r.Close != "" || r.Push != "" || !r.Again || strings.Join(r.Plays, "") != "" {
				t.Fatalf("child: %+v; want no error", r)
			}
			if stderr != "" {
				t.Errorf("stderr %q; want nothing", stderr)
			}
			for i, c := range childClips() {
				want := core(pcm(c))
				got = trimStart(got)
				if len(got) < len(want) {
					t.Fatalf("clip %d: %d samples left; want %d", i, len(got), len(want))
				}
				for k := range want {
					if got[k] != want[k] {
						t.Fatalf("clip %d: sample %d is %d; want %d", i, k, got[k], want[k])
					}
				}
				got = got[len(want):]
				// The 100 ms of drain, and what the release leaves at 0.
				for k, x := range got[:min(len(got), 2*4800)] {
					if x != 0 {
						t.Fatalf("clip %d: sample %d after it is %d; want silence", i, k, x)
					}
				}
				if paced && r.Took[i] < c.Duration().Seconds()/2 {
					t.Errorf("clip %d of %v took %.3f s", i, c.Duration(), r.Took[i])
				}
			}
			if rest := core(got); len(rest) != 0 {
				t.Errorf("%d samples after the last clip; want silence", len(rest))
			}
			t.Logf("3 clips, %.2f s taken, closed in %.3f s", r.Took, r.Closing)
		})
	}
}

// TestLongClip: no gap inside a long clip, however fast the device takes it. A pipe would be too slow to show one, so this
// device writes a plain file, for the few milliseconds that it is awake.
func TestLongClip(t *testing.T) {
	needALSA(t)
	path := filepath.Join(t.TempDir(), "sound")
	r, _ := runChild(t, "long", tapConf(path))
	if r.Open != "" || r.Push != "" || strings.Join(r.Plays, "") != "" {
		t.Fatalf("child: %+v; want no error", r)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	got, want := core(ints(b)), core(pcm(longClip()))
	if len(got) != len(want) || !slices.Equal(got, want) {
		t.Errorf("%d samples played differ from the %d rendered", len(got), len(want))
	}
	t.Logf("%d bytes for %d of sound", len(b), 2*len(want))
}

// TestManyItems: 200 items in a row come out whole and unchanged, with silence between and nothing else.
func TestManyItems(t *testing.T) {
	d := newTap(t, false, 0, false)
	r, stderr := runChild(t, "many", d.conf)
	got := d.samples()
	if r.Open != "" || len(r.Plays) > 0 || stderr != "" {
		t.Fatalf("child: %+v, stderr %q; want no error", r, stderr)
	}
	for i, c := range manyClips() {
		want := core(pcm(c))
		got = trimStart(got)
		if len(got) < len(want) || !slices.Equal(got[:len(want)], want) {
			t.Fatalf("item %d isn't found whole in what was played", i)
		}
		got = got[len(want):]
	}
	if rest := core(got); len(rest) != 0 {
		t.Errorf("%d samples after the last item; want silence", len(rest))
	}
	t.Logf("200 items in %.2f s", r.Took[0])
}

// TestStreamPlayed: a stream played while it is made is the stream, bit for bit, without a gap.
func TestStreamPlayed(t *testing.T) {
	d := newTap(t, true, 0, false)
	r, stderr := runChild(t, "stream", d.conf)
	got := core(d.samples())
	if r.Open != "" || strings.Join(r.Plays, "") != "" || stderr != "" {
		t.Fatalf("child: %+v, stderr %q; want no error", r, stderr)
	}
	st, err := synth.NewStream(streamNotes(), synth.Options{})
	if err != nil {
		t.Fatal(err)
	}
	all, err := io.ReadAll(st.PCM())
	if err != nil {
		t.Fatal(err)
	}
	if want := core(ints(all)); !slices.Equal(got, want) {
		t.Errorf("%d samples played differ from the %d of the stream", len(got), len(want))
	}
}

// TestWatchStderr: the sound system's lines are kept back, all others go on at once, and afterwards everything does.
func TestWatchStderr(t *testing.T) {
	path := filepath.Join(t.TempDir(), "stderr")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	before, err := unix.FcntlInt(2, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { unix.Dup3(before, 2, 0); unix.Close(before) }()
	if err := unix.Dup3(int(file.Fd()), 2, 0); err != nil {
		t.Fatal(err)
	}
	end := watchStderr()
	unix.Write(2, []byte("ALSA lib pcm_hw.c:1: (snd_pcm_hw) no such device\nplumbline: warning: mine\nno newline yet"))
	shown := func() string {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	for wait := time.Now(); shown() == "" && time.Since(wait) < 5*time.Second; time.Sleep(time.Millisecond) {
	}
	if got, want := shown(), "plumbline: warning: mine\n"; got != want {
		t.Errorf("shown meanwhile: %q; want %q", got, want)
	}
	if got, want := end(), "ALSA lib pcm_hw.c:1: (snd_pcm_hw) no such device"; got != want {
		t.Errorf("kept back: %q; want %q", got, want)
	}
	unix.Write(2, []byte("\nALSA lib again\n"))
	if got, want := shown(), "plumbline: warning: mine\nno newline yet\nALSA lib again\n"; got != want {
		t.Errorf("shown in all: %q; want %q", got, want)
	}
}

// TestTurns: clips played at the same time by several goroutines come one after another, never mixed.
func TestTurns(t *testing.T) {
	d := newTap(t, false, 0, false)
	r, _ := runChild(t, "together", d.conf)
	got := d.samples()
	if r.Open != "" {
		t.Fatal(r.Open)
	}
	left := map[int][]int16{}
	for i, c := range childClips() {
		left[i] = core(pcm(c))
	}
	for len(left) > 0 {
		got = trimStart(got)
		before := len(left)
		for i, want := range left {
			if len(got) >= len(want) && slices.Equal(got[:len(want)], want) {
				got = got[len(want):]
				delete(left, i)
				break
			}
		}
		if len(left) == before {
			t.Fatalf("%d clips aren't found whole in what was played", len(left))
		}
	}
}

// TestStop: a clip whose context ends, and one whose Sink is closed, falls silent soon and without a click, and the device
// can be used again.
func TestStop(t *testing.T) {
	for _, mode := range []string{"cancel", "close"} {
		t.Run(mode, func(t *testing.T) {
			d := newTap(t, true, 0, false)
			r, stderr := runChild(t, mode, d.conf)
			got := d.samples()
			if r.Open != "" || r.Close != "" || r.Push != "" || stderr != "" {
				t.Fatalf("child: %+v, stderr %q; want no error", r, stderr)
			}
			wants := []string{context.DeadlineExceeded.Error(), context.DeadlineExceeded.Error(), ""}
			if mode == "close" {
				wants = []string{ErrClosed.Error(), ErrClosed.Error()}
			}
			if fmt.Sprint(r.Plays) != fmt.Sprint(wants) {
				t.Fatalf("plays ended with %q; want %q", r.Plays, wants)
			}
			if r.Took[0] > 3 {
				t.Errorf("stopped after %.3f s; want soon after 0.3", r.Took[0])
			}
			if mode == "cancel" { // the clip after it, whole
				want := core(pcm(childClips()[1]))
				got = core(got)
				if len(got) < len(want) || !slices.Equal(got[len(got)-len(want):], want) {
					t.Fatal("the clip played after the stop isn't what was rendered")
				}
				got = got[:len(got)-len(want)]
			}
			got = core(got)
			length := float64(len(got)) / 2 / 48000
			if length == 0 || length > 3 { // about 0.3 on a machine that isn't busy
				t.Errorf("%.3f s were heard; want a part of the 5 s", length)
			}
			if n := clicks(got); n != 0 {
				t.Errorf("%d clicks", n)
			}
			// The same sound simply cut off must be told from a fade, or the check above says nothing.
			if cut := append(append([]int16{}, got[:len(got)/4*2+50]...), make([]int16, 200)...); clicks(cut) == 0 {
				t.Error("a sine cut off passes for free of clicks")
			}
			t.Logf("%.3f s heard, returned after %.3f s", length, r.Took[0])
		})
	}
}

// clicks counts the samples of the left channel at which a sine of 440 Hz and amplitude 0.25, fading evenly over 1024
// frames or more, can't bend as it does: its second difference is at most A w^2 + 2 w A/1024, with w = 2 pi 440/48000;
// where the fade begins and ends its slope changes by A/1024, and the rounding to whole numbers adds 2.
func clicks(s []int16) (n int) {
	const w = 2 * math.Pi * 440 / 48000
	limit := 8192*(w*w+2*w/1024+1.0/1024) + 2
	at := func(i int) float64 {
		if i < 0 || 2*i >= len(s) {
			return 0
		}
		return float64(s[2*i])
	}
	for i := 2; i <= len(s)/2; i++ { // the beginning of this sine is a corner of its own
		if math.Abs(at(i+1)-2*at(i)+at(i-1)) > limit {
			n++
		}
	}
	return n
}

// TestNoDevice: with nothing configured, Open says so quickly and in plain words, and the terminal stays clean.
func TestNoDevice(t *testing.T) {
	r, stderr := runChild(t, "play", "# nothing here\n")
	if !r.NoDevice || !r.Again || r.Open != "speaker: no sound device: none could be opened" {
		t.Errorf("child: %+v; want the error of no device, twice", r)
	}
	if stderr != "" {
		t.Errorf("stderr %q; want nothing", stderr)
	}
	if r.Detail == 0 {
		t.Error("nothing kept of what the sound system printed")
	}
}

// TestDeviceHangs: a device that takes no more sound ends Play with an error, and Close too comes back.
func TestDeviceHangs(t *testing.T) {
	d := newTap(t, false, 1<<15, false)
	r, stderr := runChild(t, "hang", d.conf)
	if len(r.Plays) != 2 || !r.NoDevice || !strings.Contains(r.Plays[0], "stopped working") || r.Plays[1] != r.Plays[0] || stderr != "" {
		t.Fatalf("child: %+v, stderr %q; want the error about the device twice", r, stderr)
	}
	if r.Took[0] > 5 || r.Took[1] > .1 {
		t.Errorf("Play gave up after %.1f s and %.3f s; want about 3, and at once", r.Took[0], r.Took[1])
	}
	if r.Closing > 2 {
		t.Errorf("Close took %.1f s", r.Closing)
	}
	d.samples()
}

// TestDeviceVanishes: a device pulled out in the middle of a clip ends Play with an error, and later plays at once.
func TestDeviceVanishes(t *testing.T) {
	d := newTap(t, true, 1<<16, true)
	r, stderr := runChild(t, "pull", d.conf)
	d.samples()
	if stderr != "" {
		t.Errorf("stderr %q; want nothing", stderr)
	}
	if len(r.Plays) != 2 || !r.NoDevice || r.Plays[0] == "" || r.Plays[0] != r.Plays[1] {
		t.Fatalf("child: %+v; want two errors about the device", r)
	}
	if most := childClips()[1].Duration() + drain + playGrace; r.Took[0] > most.Seconds() {
		t.Errorf("Play took %.3f s, all the time it may; want the device's error noticed", r.Took[0])
	}
	if r.Took[1] > r.Took[0]/2 {
		t.Errorf("the second play took %.3f s, the first %.3f; want it refused at once", r.Took[1], r.Took[0])
	}
}
