package synth

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// A Clip is finished stereo sound.
type Clip struct {
	Rate    SampleRate
	Samples []float32 // interleaved left, right: the length is twice the number of frames
	Held    LU        // how far the ceiling kept the clip below the level asked for; 0 if it didn't
}

// Frames returns the number of frames.
func (c *Clip) Frames() int { return len(c.Samples) / 2 }

// Duration returns the length in time.
func (c *Clip) Duration() time.Duration { return c.Rate.D(c.Frames()) }

// Peak returns the largest magnitude of a sample, 1 being full scale.
func (c *Clip) Peak() float64 {
	var most float32
	for _, x := range c.Samples {
		if x < 0 {
			x = -x
		}
		if x > most {
			most = x
		}
	}
	return float64(most)
}

// RMS returns the root mean square over all samples of both channels, unweighted; 0 for an empty clip.
func (c *Clip) RMS() float64 {
	if len(c.Samples) == 0 {
		return 0
	}
	var sum float64
	for _, x := range c.Samples {
		sum += float64(x) * float64(x)
	}
	return math.Sqrt(sum / float64(len(c.Samples)))
}

// Check returns an error unless c can be written or played: a sample rate within bounds, whole frames, and every sample a
// number within -limit..limit.
func (c *Clip) Check(limit float64) error {
	if c == nil {
		return errors.New("no clip")
	}
	if err := c.Rate.check(); err != nil {
		return err
	}
	if len(c.Samples)%2 != 0 {
		return fmt.Errorf("%d samples; want whole frames of two", len(c.Samples))
	}
	for i, x := range c.Samples {
		if !(math.Abs(float64(x)) <= limit) {
			return fmt.Errorf("sample %g at frame %d; want at most %g in magnitude", x, i/2, limit)
		}
	}
	return nil
}

// Silence returns a silent clip of length d. It returns an error if d is negative or longer than [MaxLength], or the rate
// is out of bounds.
func Silence(rate SampleRate, d time.Duration) (*Clip, error) {
	if err := rate.check(); err != nil {
		return nil, fmt.Errorf("synth: %w", err)
	}
	if d < 0 || d > MaxLength {
		return nil, fmt.Errorf("synth: silence of %v; want 0 to %v", d, MaxLength)
	}
	return &Clip{Rate: rate, Samples: make([]float32, 2*rate.N(d))}, nil
}

// Concat returns the clips one after another in a new clip, with gap of silence between them. Each keeps its own gain; Held
// is that of the clip held down most. It returns an error if there is no clip, the rates differ, gap is negative, or the
// whole is longer than [MaxLength].
func Concat(gap time.Duration, clips ...*Clip) (*Clip, error) {
	if len(clips) == 0 {
		return nil, errors.New("synth: no clips to join")
	}
	if gap < 0 || gap > MaxLength {
		return nil, fmt.Errorf("synth: gap of %v; want 0 to %v", gap, MaxLength)
	}
	whole := &Clip{Rate: clips[0].Rate}
	if err := whole.Rate.check(); err != nil {
		return nil, fmt.Errorf("synth: clip 0: %w", err)
	}
	pause, most := 2*whole.Rate.N(gap), 2*whole.Rate.N(MaxLength)
	n := 0
	for i, c := range clips {
		if c.Rate != whole.Rate {
			return nil, fmt.Errorf("synth: clip %d at %d Hz, clip 0 at %d Hz; want one sample rate", i, int(c.Rate), int(whole.Rate))
		}
		if i > 0 {
			n += pause
		}
		if n += len(c.Samples); n > most {
			return nil, fmt.Errorf("synth: clips of more than %v together; want less", MaxLength)
		}
		whole.Held = max(whole.Held, c.Held)
	}
	whole.Samples = make([]float32, 0, n)
	for i, c := range clips {
		if i > 0 {
			whole.Samples = append(whole.Samples, make([]float32, pause)...)
		}
		whole.Samples = append(whole.Samples, c.Samples...)
	}
	return whole, nil
}
