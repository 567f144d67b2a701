// Package speaker plays finished clips on the sound device. It is the only place that knows which sound library is used.
//
// Start with [Open] and [Sink.Play]; where there is no device, Open says so with an error that is [ErrNoDevice], and the
// caller writes a WAV file instead. [Fake] stands in for the device in tests. Built with the tag nosound, the package has no
// sound library in it and Open always fails in that way.
//
// # Conventions
//
// The device runs at 48000 Hz, stereo, 16 bits; a clip is converted once, by [synth.Clip.AppendPCM16], and those are the
// samples the device gets. A process has one device: opening again gives the same one, and once it has failed it stays so
// until the program starts anew: a device that vanished or stopped taking sound is not waited for a second time. Between clips the device is suspended, for an idle one costs processor time.
//
// # Standard error
//
// On Linux the sound system prints its troubles on file descriptor 2, from C, while it is opened and when a device vanishes. While
// the device is being opened all of that descriptor's text is caught; while a clip plays, its lines go on to where they were going,
// but for those that begin as the sound system's do. Both go into [DeviceError.Detail]. A crash of the program is still told
// on the true standard error.
//
// # Hearing
//
// A clip with a sample above [synth.Ceiling], 6 dB under full scale, is refused, whoever made it.
package speaker

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"

	"plumbline/synth"
)

// A Sink plays clips. Its methods may be called by several goroutines.
type Sink interface {
	// Play plays clip and returns when it has been heard, or sooner with an error, which is one of:
	//
	//  1. a plain error if the clip can't be played: none, no whole frames, another rate than 48000 Hz, too loud;
	//  2. ctx.Err() if ctx ended first; the sound then fades within a few hundredths of a second and doesn't click;
	//  3. [ErrClosed] after Close, or if Close came first;
	//  4. a *[DeviceError] if the device is gone, or has not taken the clip 2 s after it should have ended.
	//
	// If another clip is playing, Play waits for its turn. It returns nil at once for a clip without frames.
	Play(ctx context.Context, clip *synth.Clip) error

	// Close stops what is playing and lets the device rest. Calling it again does nothing.
	Close() error
}

// A Streamer is a Sink that can begin to play before all is made.
type Streamer interface {
	Sink
	// PlayStream plays what is left of s, made while it is heard, and returns as Play does; an error of s ends it too.
	PlayStream(ctx context.Context, s *synth.Stream) error
}

// ErrNoDevice is wrapped by every *DeviceError: sound can't be heard here, but can be written to a file.
var ErrNoDevice = errors.New("no sound device")

// ErrClosed is returned by Play after Close.
var ErrClosed = errors.New("speaker: closed")

// A DeviceError says why the sound device can't be used.
type DeviceError struct {
	Reason string // in plain words, such as "built without sound"
	Detail string // what the sound system itself printed, for those who ask; often empty, often many lines
	Err    error  // the sound library's own error, or nil
}

func (e *DeviceError) Error() string { return "speaker: " + ErrNoDevice.Error() + ": " + e.Reason }

// Unwrap makes the error both ErrNoDevice and e.Err to errors.Is.
func (e *DeviceError) Unwrap() []error {
	if e.Err == nil {
		return []error{ErrNoDevice}
	}
	return []error{ErrNoDevice, e.Err}
}

// check returns an error for a clip that must not reach a device.
func check(clip *synth.Clip) error {
	if err := clip.Check(synth.Ceiling); err != nil {
		return fmt.Errorf("speaker: %w", err)
	}
	if clip.Rate != synth.DefaultRate {
		return fmt.Errorf("speaker: clip at %d Hz; want %d", int(clip.Rate), int(synth.DefaultRate))
	}
	return nil
}

// checkStream does the same for a stream, which keeps below the ceiling by itself.
func checkStream(s *synth.Stream) error {
	switch {
	case s == nil:
		return errors.New("speaker: no stream")
	case s.Rate() != synth.DefaultRate:
		return fmt.Errorf("speaker: stream at %d Hz; want %d", int(s.Rate()), int(synth.DefaultRate))
	}
	return nil
}

// A Fake is a Sink for tests: it plays nothing, at once, and remembers what it was given. The zero value is ready.
type Fake struct {
	// Fail, if set, is asked before the n-th clip (from 0) is taken; its error is returned and the clip not kept.
	Fail func(n int) error
	// Hold makes Play last until its context ends or the Fake is closed, as if every clip were endless.
	Hold bool

	mu     sync.Mutex
	asked  int
	clips  []*synth.Clip
	closed chan struct{}
}

var _ Streamer = (*Fake)(nil)

// PlayStream keeps all of s as a clip.
func (f *Fake) PlayStream(ctx context.Context, s *synth.Stream) error {
	if err := checkStream(s); err != nil {
		return err
	}
	c := &synth.Clip{Rate: s.Rate(), Samples: make([]float32, 0, 2*s.Frames())}
	buf := make([]float32, 4096)
	for {
		n, err := s.Read(buf)
		c.Samples = append(c.Samples, buf[:n]...)
		if err == io.EOF {
			return f.Play(ctx, c)
		}
		if err != nil {
			return err
		}
	}
}

// Play keeps a copy of clip, with the same refusals as a real Sink.
func (f *Fake) Play(ctx context.Context, clip *synth.Clip) error {
	if err := check(clip); err != nil {
		return err
	}
	f.mu.Lock()
	done := f.done()
	select {
	case <-done:
		f.mu.Unlock()
		return ErrClosed
	default:
	}
	if err := ctx.Err(); err != nil {
		f.mu.Unlock()
		return err
	}
	n := f.asked
	f.asked++
	if f.Fail != nil {
		if err := f.Fail(n); err != nil {
			f.mu.Unlock()
			return err
		}
	}
	kept := *clip
	kept.Samples = slices.Clone(clip.Samples)
	f.clips = append(f.clips, &kept)
	f.mu.Unlock()
	if !f.Hold {
		return nil
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-done:
		return ErrClosed
	}
}

// Close makes this and later calls of Play return ErrClosed.
func (f *Fake) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	done := f.done()
	select {
	case <-done:
	default:
		close(done)
	}
	return nil
}

// Clips returns the clips played so far, in order.
func (f *Fake) Clips() []*synth.Clip {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.clips)
}

// done returns the channel closed by Close; f.mu is held.
func (f *Fake) done() chan struct{} {
	if f.closed == nil {
		f.closed = make(chan struct{})
	}
	return f.closed
}
