package speaker

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"plumbline/synth"
)

// chord renders a short chord for the tests.
func chord(t testing.TB, length time.Duration, freqs ...synth.Hz) *synth.Clip {
	t.Helper()
	var notes []synth.Note
	for _, f := range freqs {
		notes = append(notes, synth.Note{Freq: f, Length: length, Strength: 0.6})
	}
	c, err := synth.Render(notes, synth.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestDeviceError(t *testing.T) {
	cause := errors.New("card 7 is missing")
	var err error = &DeviceError{Reason: "none could be opened", Detail: "many lines", Err: cause}
	if !errors.Is(err, ErrNoDevice) || !errors.Is(err, cause) {
		t.Errorf("errors.Is finds neither or only one of ErrNoDevice and the cause in %v", err)
	}
	if got, want := err.Error(), "speaker: no sound device: none could be opened"; got != want {
		t.Errorf("Error() = %q; want %q", got, want)
	}
	if err := error(&DeviceError{Reason: "built without sound"}); !errors.Is(err, ErrNoDevice) {
		t.Errorf("%v isn't ErrNoDevice", err)
	}
}

func TestFake(t *testing.T) {
	ctx := t.Context()
	a, b := chord(t, 50*time.Millisecond, 440), chord(t, 50*time.Millisecond, 220)
	broken := errors.New("unplugged")
	f := &Fake{Fail: func(n int) error {
		if n == 1 {
			return broken
		}
		return nil
	}}
	for i, want := range []error{nil, broken, nil} {
		if got := f.Play(ctx, []*synth.Clip{a, a, b}[i]); got != want {
			t.Errorf("Play %d = %v; want %v", i, got, want)
		}
	}
	first := a.Samples[1000]
	a.Samples[1000] = 0.25 // the Fake must have its own copy
	got := f.Clips()
	if len(got) != 2 || got[0].Frames() != a.Frames() || got[0].Samples[1000] != first || got[1].Samples[1000] != b.Samples[1000] {
		t.Errorf("Clips() doesn't hold copies of the two clips played: %d of them", len(got))
	}
	ended, cancel := context.WithCancel(ctx)
	cancel()
	if err := f.Play(ended, b); !errors.Is(err, context.Canceled) {
		t.Errorf("Play with an ended context = %v; want context.Canceled", err)
	}
	if err := errors.Join(f.Close(), f.Close()); err != nil {
		t.Errorf("Close twice = %v; want nil", err)
	}
	if err := f.Play(ctx, b); err != ErrClosed {
		t.Errorf("Play after Close = %v; want ErrClosed", err)
	}
}

func TestFakeHolds(t *testing.T) {
	c := chord(t, 50*time.Millisecond, 440)
	f := &Fake{Hold: true}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if err := f.Play(ctx, c); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Play until the context ends = %v; want context.DeadlineExceeded", err)
	}
	time.AfterFunc(20*time.Millisecond, func() { f.Close() })
	if err := f.Play(t.Context(), c); err != ErrClosed {
		t.Errorf("Play until Close = %v; want ErrClosed", err)
	}
}

// TestRefusals: what must not reach a device is refused by the Fake as by the device, which calls the same check.
func TestRefusals(t *testing.T) {
	good := chord(t, 20*time.Millisecond, 440)
	change := func(f func(c *synth.Clip)) *synth.Clip {
		c := *good
		c.Samples = append([]float32(nil), good.Samples...)
		f(&c)
		return &c
	}
	for name, c := range map[string]*synth.Clip{
		"no clip":      nil,
		"half a frame": change(func(c *synth.Clip) { c.Samples = c.Samples[:7] }),
		"44100 Hz":     change(func(c *synth.Clip) { c.Rate = 44100 }),
		"no rate":      change(func(c *synth.Clip) { c.Rate = 0 }),
		"too loud":     change(func(c *synth.Clip) { c.Samples[9] = -0.51 }),
		"not a number": change(func(c *synth.Clip) { c.Samples[9] = float32(math.NaN()) }),
	} {
		var f Fake
		if err := f.Play(t.Context(), c); err == nil || errors.Is(err, ErrNoDevice) {
			t.Errorf("%s: Play = %v; want an error about the clip", name, err)
		}
		if n := len(f.Clips()); n != 0 {
			t.Errorf("%s: %d clips kept; want none", name, n)
		}
	}
	var f Fake
	if err := f.Play(t.Context(), good); err != nil {
		t.Errorf("Play of the good clip = %v; want nil", err)
	}
}
