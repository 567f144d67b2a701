package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plumbline/synth"
	"plumbline/synth/speaker"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// Pan of the hands: the left hand a little to the left, as a player hears them; not so far that a hand is lost on one ear.
const handPan = 0.3

func pan(h score.Hand) float64 {
	switch h {
	case score.Left:
		return -handPan
	case score.Right:
		return handPan
	}
	return 0
}

// errSilent says that there is nothing to hear.
var errSilent = errors.New("nothing sounds there")

// soundFlags are the flags of every command that makes sound.
type soundFlags struct {
	out    string
	bits   int
	float  bool
	mono   bool
	room   bool
	level  float64
	a4     float64
	voice  string
	tuning string
	even   bool // parts of the sound are to be compared
}

func (s *soundFlags) add(cmd *cobra.Command) {
	var voices, tunings []string
	for _, v := range synth.Voices() {
		voices = append(voices, v.Name)
	}
	for _, t := range synth.Temperaments() {
		tunings = append(tunings, t.String())
	}
	f := cmd.Flags()
	f.StringVarP(&s.out, "out", "o", "", "write a WAV `FILE` instead of playing")
	f.IntVar(&s.bits, "bits", 16, "`BITS` of a sample in the file: 16, 24, or 32 for floats")
	f.BoolVar(&s.float, "float", false, "the same as --bits 32")
	f.BoolVar(&s.mono, "mono", false, "write one channel")
	f.Float64Var(&s.level, "level", float64(synth.DefaultLevel), fmt.Sprintf("loudness in `LUFS`, %g to %g", float64(synth.MinLevel), float64(synth.MaxLevel)))
	f.Float64Var(&s.a4, "a4", float64(pitch.A440), "frequency of A4 in `HZ`")
	f.StringVar(&s.voice, "voice", synth.Struck.Name, "the sound, by `NAME`: "+strings.Join(voices, ", "))
	f.BoolVar(&s.room, "room", false, "let it sound in a small room")
	f.StringVar(&s.tuning, "tuning", synth.Equal.String(), "`TUNING`: "+strings.Join(tunings, ", ")+"; all but the first take a tonic, as in \"just on A\"")
}

func (s soundFlags) options() (synth.Options, error) {
	o := synth.Options{Level: synth.LUFS(s.level), Room: s.room}
	if err := synth.CheckLevel(o.Level); err != nil {
		return o, fmt.Errorf("--level: %w", err)
	}
	if !(s.a4 >= float64(synth.MinA4) && s.a4 <= float64(synth.MaxA4)) { // also refuses NaN; a whole tone either way
		return o, fmt.Errorf("--a4 %g: want a frequency from %g to %g Hz (440 is usual)", s.a4, float64(synth.MinA4), float64(synth.MaxA4))
	}
	if s.bits != 16 && s.bits != 24 && s.bits != 32 {
		return o, fmt.Errorf("--bits %d: want 16, 24 or 32", s.bits)
	}
	if s.float && s.bits == 24 {
		return o, errors.New("--float and --bits 24 exclude each other")
	}
	var err error
	if o.Voice, err = synth.ParseVoice(s.voice); err != nil {
		return o, fmt.Errorf("--voice: %w", err)
	}
	_, err = s.tuned(0)
	return o, err
}

// tuned returns the tuning asked for, on a tonic (a pitch class) unless the flag names one.
func (s soundFlags) tuned(tonic int) (synth.Tuning, error) {
	name, on, found := strings.Cut(s.tuning, " on ")
	t, err := synth.ParseTemperament(strings.TrimSpace(name))
	if err != nil {
		return synth.Tuning{}, fmt.Errorf("--tuning: %w", err)
	}
	if found {
		c, err := pitch.ParseClass(strings.TrimSpace(on))
		if err != nil {
			return synth.Tuning{}, fmt.Errorf("--tuning: %w", err)
		}
		tonic = c.PC()
	}
	return synth.NewTuning(t, tonic, synth.Hz(s.a4))
}

func (s soundFlags) format() synth.Format {
	f := synth.PCM16
	switch {
	case s.float || s.bits == 32:
		f = synth.Float32
	case s.bits == 24:
		f = synth.PCM24
	}
	if s.mono {
		f |= synth.Mono
	}
	return f
}

// The first sound out of a device may find the volume turned up: it begins softer than it goes on. If two things are to be
// compared in it, all of it is softer instead.
const (
	startBelow   synth.LU = 12
	startRise             = 1500 * time.Millisecond
	compareBelow synth.LU = 6
)

// streamFrom is the length from which a plan is played while it is rendered.
const streamFrom = 20 * time.Second

// sound plays a plan, or writes it into a file.
func (e *env) sound(ctx context.Context, p *plan, opts synth.Options, s soundFlags, name string) error {
	s.even = p.compares()
	if s.out == "" && p.length >= streamFrom {
		sink, err := e.openSpeaker(ctx)
		if st, ok := sink.(speaker.Streamer); err == nil && ok {
			defer sink.Close()
			soft := opts
			if s.even {
				if soft.Level == 0 {
					soft.Level = synth.DefaultLevel
				}
				soft.Level = max(soft.Level-synth.LUFS(compareBelow), synth.MinLevel)
			}
			stream, err := synth.NewStream(p.notes, soft)
			if err != nil {
				return err
			}
			if !s.even {
				stream.StartSoftly(startBelow, startRise)
			}
			if err = st.PlayStream(ctx, stream); err == nil || ctx.Err() != nil || !errors.Is(err, speaker.ErrNoDevice) {
				return err
			}
		}
	}
	clip, err := synth.Render(p.notes, opts)
	if err != nil {
		return err
	}
	return e.deliver(ctx, clip, s, name)
}

// deliver writes a clip to the file of --out, or else plays it; without a sound device it writes a file and says so. name is
// what such a file is called.
func (e *env) deliver(ctx context.Context, clip *synth.Clip, s soundFlags, name string) error {
	if s.out != "" {
		if err := synth.WriteWAVFile(s.out, clip, s.format()); err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "%s: %.1f s of sound\n", s.out, clip.Duration().Seconds())
		return nil
	}
	sink, err := e.openSpeaker(ctx)
	if err == nil {
		defer sink.Close()
		soft := *clip // a file keeps the clip as it is
		soft.Samples = slices.Clone(clip.Samples)
		if s.even {
			for i := range soft.Samples {
				soft.Samples[i] *= float32(math.Pow(10, -float64(compareBelow)/20))
			}
		} else {
			soft.StartSoftly(startBelow, startRise)
		}
		err = sink.Play(ctx, &soft)
	}
	if err == nil || ctx.Err() != nil || !errors.Is(err, speaker.ErrNoDevice) {
		return err
	}
	dir, terr := os.MkdirTemp("", "plumbline-")
	if terr != nil {
		return fmt.Errorf("%w, and no folder for a file: %w", err, terr)
	}
	path := filepath.Join(dir, name+".wav")
	if werr := synth.WriteWAVFile(path, clip, s.format()); werr != nil {
		return werr
	}
	e.warn("%s; the sound is in a file instead", message(err))
	e.hint("--out FILE.wav chooses the file")
	fmt.Fprintln(e.stdout, path)
	return nil
}
