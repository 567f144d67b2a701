// Package synth turns notes into sound: additive synthesis, loudness, silence between items, and WAV files.
//
// Start with [Render], which makes a [Clip] out of notes given by frequency, and [WriteWAVFile]; [NewStream] gives long
// music while it is made. A [Voice] says how notes sound, a [Tuning] how keys are tuned. The package is pure: it
// knows no pitch names, opens no sound device (that is synth/speaker) and reads no clock. The same notes and options give
// the same samples on one machine, bit for bit; another processor may round the last bit otherwise, since Go may fuse a
// multiplication with an addition there.
//
// # Conventions
//
// A frame is one sample for the left and one for the right channel. Samples are float32 in -1..1, interleaved left, right.
// Level 0 dBFS is a sample of magnitude 1.
//
// # Hearing
//
// Sound starts quiet and never jumps. Every clip is brought to one loudness by ITU-R BS.1770 ([DefaultLevel] unless told
// otherwise), so that loudness tells a listener nothing about what was played, and no sample is ever above [Ceiling],
// which is 6 dB under full scale; between samples no more than [TruePeakCeiling]. One gain is applied to a whole clip; nothing
// changes inside it.
package synth

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Hz is a frequency in cycles a second.
type Hz float64

// A SampleRate is a number of frames a second.
type SampleRate int

// DefaultRate is 48 kHz: the rate sound devices agree on most widely, and the one the loudness standard tabulates.
const DefaultRate SampleRate = 48000

// MinRate and MaxRate bound the sample rates accepted, both included.
const (
	MinRate SampleRate = 32000
	MaxRate SampleRate = 192000
)

// N returns the number of frames nearest to d, halves away from zero.
func (r SampleRate) N(d time.Duration) int {
	if d < 0 {
		return -r.N(-d)
	}
	if d < 12*time.Hour && r <= MaxRate { // the product fits
		return int((int64(d)*int64(r) + int64(time.Second)/2) / int64(time.Second))
	}
	whole, part := int64(d/time.Second), int64(d%time.Second)
	return int(whole*int64(r) + (part*int64(r)+int64(time.Second)/2)/int64(time.Second))
}

// D returns the duration of n frames, to the nanosecond below. It is 0 if r isn't positive.
func (r SampleRate) D(n int) time.Duration {
	if r <= 0 {
		return 0
	}
	whole, part := int64(n)/int64(r), int64(n)%int64(r)
	return time.Duration(whole)*time.Second + time.Duration(part*int64(time.Second)/int64(r))
}

func (r SampleRate) check() error {
	if r < MinRate || r > MaxRate {
		return fmt.Errorf("sample rate %d Hz; want %d to %d", int(r), int(MinRate), int(MaxRate))
	}
	return nil
}

// A Note is one key struck and held.
type Note struct {
	Freq     Hz            // fundamental; MinFreq up to 0.45 of the sample rate
	Start    time.Duration // when the key goes down, from the beginning of the clip; not negative
	Length   time.Duration // how long it is held, above 0; the damper then takes Release more
	Strength float64       // above 0, up to 1: amplitude in proportion, and brightness with it
	Pan      float64       // -1 left, 0 middle, 1 right; of constant power
	Voice    *Voice        // nil means that of the Options
}

// MinFreq is the lowest fundamental accepted. MIDI note 0 lies at 8.18 Hz.
const MinFreq Hz = 8

// Attack and Release are the lengths of the two raised-cosine edges of a struck note: the first begins with the note, the
// second when the key is let go. Both are short enough to pass for a hammer and a damper and long enough not to click (common
// practice, no source). Other voices have their own.
const (
	Attack  = 5 * time.Millisecond
	Release = 60 * time.Millisecond
)

// MaxLength is the longest clip the package makes, a bound on memory: 690 MB at the default rate.
const MaxLength = 30 * time.Minute

// topShare is the share of the sample rate above which no partial sounds: 0.5 is the theoretical limit, and the last tenth
// below it is where a converter's filter rolls off.
const topShare = 0.45

func (n Note) check(rate SampleRate) error {
	top := Hz(topShare * float64(rate))
	switch {
	case !(n.Freq >= MinFreq && n.Freq <= top):
		return fmt.Errorf("frequency %g Hz; want %g to %g at a sample rate of %d Hz", float64(n.Freq), float64(MinFreq), float64(top), int(rate))
	case n.Start < 0:
		return fmt.Errorf("start %v; want 0 or later", n.Start)
	case n.Length <= 0:
		return fmt.Errorf("length %v; want more than 0", n.Length)
	case n.Start > MaxLength || n.Length > MaxLength || n.Start+n.Length > MaxLength:
		return fmt.Errorf("starts at %v, %v long; want it to end within %v", n.Start, n.Length, MaxLength)
	case !(n.Strength > 0 && n.Strength <= 1):
		return fmt.Errorf("strength %g; want above 0, up to 1", n.Strength)
	case !(n.Pan >= -1 && n.Pan <= 1):
		return fmt.Errorf("pan %g; want -1 (left) to 1 (right)", n.Pan)
	}
	return nil
}

// Options say how notes are rendered. The zero value is a struck string at [DefaultRate] and [DefaultLevel].
type Options struct {
	Rate  SampleRate    // 0 means DefaultRate
	Voice Voice         // the zero value means Struck
	Level LUFS          // loudness of the whole clip, MinLevel to MaxLevel; 0 means DefaultLevel
	Tail  time.Duration // silence after the last note has died, 0 or more
	Room  bool          // a short room around the sound, which then lasts half a second longer
}

func (o Options) filled() (Options, error) {
	if o.Rate == 0 {
		o.Rate = DefaultRate
	}
	if o.Voice.Partials == nil && o.Voice.Name == "" {
		o.Voice = Struck
	}
	if o.Level == 0 {
		o.Level = DefaultLevel
	}
	if err := o.Rate.check(); err != nil {
		return o, err
	}
	if err := CheckLevel(o.Level); err != nil {
		return o, err
	}
	if o.Tail < 0 || o.Tail > MaxLength {
		return o, fmt.Errorf("tail %v; want 0 to %v", o.Tail, MaxLength)
	}
	return o, nil
}

// Render plays notes into a new clip, from time 0 to the end of the last note's release and opts.Tail more: its length is
// opts.Rate.N of each of the last key's Start + Length, its voice's Release, half a second if there is a Room, and Tail, added. The clip is brought to
// opts.Level; if that would lift a sample above [Ceiling] or the true peak above [TruePeakCeiling], the whole clip is left
// lower and [Clip.Held] says by how much.
//
// The first and the last frame are exactly 0. Notes may come in any order; equal ones sound together. An error names the
// note by its index, from 0, and what was wanted; there is one if notes is empty, a field is out of range, nothing would be
// heard, or the clip would be longer than [MaxLength].
func Render(notes []Note, opts Options) (*Clip, error) {
	o, err := prepare(notes, opts)
	if err != nil {
		return nil, err
	}
	e, err := newEngine(notes, o)
	if err != nil {
		return nil, fmt.Errorf("synth: %w", err)
	}
	frames := e.frames + o.Rate.N(o.Tail)
	if err := checkFrames(frames, o.Rate); err != nil {
		return nil, err
	}
	c := &Clip{Rate: o.Rate, Samples: make([]float32, 2*frames)}
	peak, err := e.fill(c.Samples[:2*e.frames])
	if err == nil {
		err = c.normalise(o.Level, float64(peak))
	}
	if err != nil {
		return nil, fmt.Errorf("synth: %w", err)
	}
	return c, nil
}

// prepare checks notes and options and fills in the defaults.
func prepare(notes []Note, opts Options) (Options, error) {
	o, err := opts.filled()
	if err != nil {
		return o, fmt.Errorf("synth: %w", err)
	}
	if len(notes) == 0 {
		return o, errors.New("synth: no notes to render")
	}
	for i := range notes {
		if err := notes[i].check(o.Rate); err != nil {
			return o, fmt.Errorf("synth: note %d: %w", i, err)
		}
	}
	return o, nil
}

func checkFrames(frames int, rate SampleRate) error {
	if rate.D(frames) > MaxLength {
		return fmt.Errorf("synth: clip of %v; want at most %v", rate.D(frames), MaxLength)
	}
	return nil
}

// raisedCosine returns the rising edge 0.5 (1 - cos(pi k/n)) for 0 <= k < n. It begins at exactly 0, and read backwards it
// is the falling edge that ends there.
func raisedCosine(n int) []float64 {
	w := make([]float64, n)
	for k := range w {
		w[k] = 0.5 * (1 - math.Cos(math.Pi*float64(k)/float64(n)))
	}
	return w
}
