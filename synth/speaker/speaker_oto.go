//go:build !nosound

package speaker

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hajimehoshi/oto/v2"

	"plumbline/synth"
)

const (
	// openWait bounds the wait for the device; one that is there is ready in some tens of milliseconds.
	openWait = 5 * time.Second
	// playGrace is how much longer than its clip a play may take before the device is given up.
	playGrace = 2 * time.Second
	// drain is the silence played after each clip: the library says it is done while up to 46 ms wait in the device.
	drain = 100 * time.Millisecond
	// fadeWait bounds the wait for the fade after a stop, which takes one period of the device, 21 ms.
	fadeWait = 150 * time.Millisecond
	// restWait bounds the wait for the device to be suspended, which a device that hangs never allows.
	restWait = 500 * time.Millisecond
	// poll is how often a playing clip is looked at; the library tells nothing by itself.
	poll = 2 * time.Millisecond
	// aheadMost bounds how much of a clip the library holds at once. It moves all it holds down by one period each time,
	// so that holding a long clip whole would cost more than playing it. Only a device that isn't paced by a clock, which
	// no listener has, needs the whole.
	aheadMost = 20 * time.Second
	// streamAhead is how much of a stream is made ahead.
	streamAhead = 500 * time.Millisecond

	bytesPerFrame = 4 // two channels of 16 bits
)

// The device of this process. The library allows one context in a process, and silently misbehaves with a second one.
// All but once, opened and switched is written before opened is closed and only read afterwards.
var device = struct {
	once    sync.Once
	opened  chan struct{}
	ctx     *oto.Context
	err     *DeviceError
	chatter string
	turn    chan struct{} // holds one token; who has it may play
	// switched is closed when the last suspension or resumption is done; nil before the first.
	switched chan struct{}
	// dead is set once the device is lost, for good.
	dead atomic.Pointer[DeviceError]
}{opened: make(chan struct{}), turn: make(chan struct{}, 1)}

// restoreStderr ends the first opening's hold on stderr; it may be called more than once.
var restoreStderr = func() string { return "" }

// Open returns a Sink on the process's sound device, which is opened the first time. It waits for the device 5 s at most.
// It returns ctx.Err() if ctx ends first, and a *[DeviceError] if there is no device; then it will do so again if it is
// called again.
func Open(ctx context.Context) (Sink, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	device.once.Do(func() {
		restoreStderr = sync.OnceValue(catchStderr())
		go open()
	})
	select {
	case <-device.opened:
	case <-ctx.Done():
		restoreStderr() // the caller may have something to say
		return nil, ctx.Err()
	}
	if device.err != nil {
		return nil, device.err
	}
	if err := gone(); err != nil {
		return nil, err
	}
	return &sink{closing: make(chan struct{})}, nil
}

// Chatter returns what the sound system printed while the device was opened, for those who want to know why it is silent.
// It is empty until [Open] has returned, and on systems that print nothing.
func Chatter() string {
	select {
	case <-device.opened:
		return device.chatter
	default:
		return ""
	}
}

// open fills in device. Of no card the library speaks only in Context.Err, and only once ready is closed.
func open() {
	defer close(device.opened)
	device.turn <- struct{}{}
	c, ready, err := oto.NewContext(int(synth.DefaultRate), 2, oto.FormatSignedInt16LE)
	switch {
	case err != nil:
		device.err = &DeviceError{Reason: "the sound system can't be opened", Err: err}
	case !wait(ready, openWait):
		device.err = &DeviceError{Reason: fmt.Sprintf("the sound system doesn't answer within %v", openWait)}
		go c.Suspend() // waits for ready itself, should it ever come
	case c.Err() != nil:
		device.err = &DeviceError{Reason: "none could be opened", Err: c.Err()}
	default:
		device.ctx = c
		rest()
	}
	device.chatter = restoreStderr()
	if device.err != nil {
		device.err.Detail = device.chatter
	}
}

// lost gives the device up, so that nothing waits for it again, and returns the error that says so: the first one.
func lost(err error) error {
	device.dead.CompareAndSwap(nil, &DeviceError{Reason: "the device stopped working", Detail: device.chatter, Err: err})
	return device.dead.Load()
}

// gone returns the error of a device that is lost, nil if it isn't.
func gone() error {
	if e := device.dead.Load(); e != nil {
		return e
	}
	if err := device.ctx.Err(); err != nil {
		return lost(err)
	}
	return nil
}

// rest suspends the device. Its error is Context.Err, which is looked at before each play.
func rest() {
	done := switchDevice(device.ctx.Suspend)
	if device.dead.Load() == nil {
		wait(done, restWait)
	}
}

// switchDevice suspends or resumes the device, in its turn, and closes the channel it returns when that is done. The library
// does either only while the device isn't taking samples, so that a hanging device keeps it waiting for ever: the caller
// bounds the wait, and what it didn't wait for must still not overtake what comes later. The caller has the turn.
func switchDevice(to func() error) <-chan struct{} {
	before, done := device.switched, make(chan struct{})
	device.switched = done
	go func() {
		defer close(done)
		if before != nil {
			<-before
		}
		to()
	}()
	return done
}

// wait waits for done, at most for d, and reports whether it came.
func wait(done <-chan struct{}, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-done:
		return true
	case <-t.C:
		return false
	}
}

type sink struct {
	closeOnce sync.Once
	closing   chan struct{}
}

func (s *sink) Close() error {
	s.closeOnce.Do(func() {
		close(s.closing)
		// What plays has the turn and gives it back once it has faded and rests.
		t := time.NewTimer(fadeWait + 2*restWait)
		defer t.Stop()
		select {
		case <-device.turn:
			device.turn <- struct{}{}
		case <-t.C:
		}
	})
	return nil
}

func (s *sink) Play(ctx context.Context, clip *synth.Clip) error {
	if err := check(clip); err != nil {
		return err
	}
	quiet := clip.Rate.N(drain)
	pcm := make([]byte, 0, (clip.Frames()+quiet)*bytesPerFrame)
	pcm = clip.AppendPCM16(pcm)
	pcm = append(pcm, make([]byte, quiet*bytesPerFrame)...) // whole frames: a part of one would never be played
	buffer := min(len(pcm), clip.Rate.N(aheadMost)*bytesPerFrame) + bytesPerFrame
	return s.turn(ctx, bytes.NewReader(pcm), clip.Frames(), buffer)
}

func (s *sink) PlayStream(ctx context.Context, st *synth.Stream) error {
	if err := checkStream(st); err != nil {
		return err
	}
	quiet := bytes.NewReader(make([]byte, st.Rate().N(drain)*bytesPerFrame))
	return s.turn(ctx, io.MultiReader(st.PCM(), quiet), st.Frames(), st.Rate().N(streamAhead)*bytesPerFrame)
}

// turn waits for the sink's turn and plays so many frames of src and the silence after them.
func (s *sink) turn(ctx context.Context, src io.Reader, frames, buffer int) (err error) {
	if err := s.stopped(ctx); err != nil {
		return err
	}
	if err := device.dead.Load(); err != nil {
		return err
	}
	select {
	case <-device.turn:
		defer func() { device.turn <- struct{}{} }()
	case <-ctx.Done():
		return ctx.Err()
	case <-s.closing:
		return ErrClosed
	}
	if err := s.stopped(ctx); err != nil { // select takes any case that is ready
		return err
	}
	if err := gone(); err != nil {
		return err
	}
	if frames == 0 {
		return nil
	}
	end := watchStderr()
	defer func() {
		chatter := end()
		var de *DeviceError
		if errors.As(err, &de) && chatter != "" {
			told := *de
			told.Detail = strings.TrimSpace(de.Detail + "\n" + chatter)
			err = &told
		}
	}()
	return s.play(ctx, src, synth.DefaultRate.D(frames), buffer)
}

// stopped returns the error of a play that mustn't begin, or nil.
func (s *sink) stopped(ctx context.Context) error {
	select {
	case <-s.closing:
		return ErrClosed
	default:
		return ctx.Err()
	}
}

// play has the turn.
func (s *sink) play(ctx context.Context, src io.Reader, length time.Duration, buffer int) error {
	p := device.ctx.NewPlayer(src)
	defer runtime.KeepAlive(p) // a player that is collected falls silent
	defer p.Close()            // else it stays in the mixer
	if b, ok := p.(oto.BufferSizeSetter); ok {
		b.SetBufferSize(buffer)
	}
	p.Play() // fills the buffer, while the device still rests
	defer rest()
	if !wait(switchDevice(device.ctx.Resume), playGrace) {
		return lost(fmt.Errorf("the device isn't ready within %v", playGrace))
	}

	tick := time.NewTicker(poll)
	defer tick.Stop()
	late := time.NewTimer(length + drain + playGrace)
	defer late.Stop()
	for p.IsPlaying() {
		if err := device.ctx.Err(); err != nil { // IsPlaying stays true for ever then
			return lost(err)
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			fade(p)
			return ctx.Err()
		case <-s.closing:
			fade(p)
			return ErrClosed
		case <-late.C:
			return lost(fmt.Errorf("a clip of %v isn't over %v after its time", length, playGrace))
		}
	}
	if err := p.Err(); err != nil {
		return lost(err)
	}
	return nil
}

// fade brings a playing clip to silence without a click. The mixer ramps from one volume to the next over the samples it
// takes at a time, one period of the device: so the volume is set to 0, and the clip may go once the mixer has taken
// enough. What the device already holds, 21 to 43 ms, is still heard before the ramp.
func fade(p oto.Player) {
	p.SetVolume(0)
	const silent = 3 // periods: the ramp, and silence for all the device holds
	end := time.Now().Add(fadeWait)
	for taken, before := 0, p.UnplayedBufferSize(); taken < silent && p.IsPlaying() && time.Now().Before(end); {
		time.Sleep(poll)
		if now := p.UnplayedBufferSize(); now != before {
			taken, before = taken+1, now
		}
	}
}
