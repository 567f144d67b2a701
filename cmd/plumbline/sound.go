package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

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

// strengths are how hard a key is struck under a dynamic mark, in (0, 1] (common practice, no source). Clips are brought to
// one loudness as a whole, so that marks tell within a passage only.
var strengths = map[string]float64{"ppp": .25, "pp": .32, "p": .42, "mp": .52, "mf": .62, "f": .75, "ff": .87, "fff": 1}

const plainStrength = .55

// strengthAt returns the strength in force at t by the dynamic marks; within a hairpin it moves towards a third more or less.
func strengthAt(p *score.Passage, t score.Time, h score.Hand) float64 {
	s := plainStrength
	for _, d := range p.Dynamics {
		if t.Less(d.At) {
			break
		}
		if d.Hand != 0 && d.Hand != h {
			continue
		}
		if v, ok := strengths[d.Text]; ok {
			s = v
			continue
		}
		if d.At.Less(d.Until) && (d.Text == "louder" || d.Text == "softer") {
			part := math.Min(t.Sub(d.At).Float()/d.Until.Sub(d.At).Float(), 1)
			if d.Text == "louder" {
				s *= 1 + part/3
			} else {
				s *= 1 - part/4
			}
		}
	}
	return min(max(s, .2), 1)
}

// passageNotes turns sounding notes into notes for the synthesizer, from the moment from on, slowed down by slower (1 as
// written, 2 half as fast). Grace notes are played just before what they decorate.
func passageNotes(p *score.Passage, notes []score.Note, from, to score.Time, slower float64, a4 pitch.Hz) []synth.Note {
	const grace = 90 * time.Millisecond
	seconds := func(t score.Time) time.Duration {
		return time.Duration((p.Seconds(t) - p.Seconds(from)) * slower * float64(time.Second))
	}
	before := map[score.Time]int{} // grace notes at an onset, for their order
	for _, n := range notes {
		if n.Grace != score.NoGrace {
			before[n.Onset]++
		}
	}
	lead := time.Duration(before[from]) * grace // room for grace notes at the very start
	var out []synth.Note
	for _, n := range notes {
		s := synth.Note{Freq: synth.Hz(n.Pitch.Freq(a4)), Strength: strengthAt(p, n.Onset, n.Hand), Pan: pan(n.Hand)}
		if n.Grace != score.NoGrace {
			s.Start = max(lead+seconds(n.Onset)-time.Duration(before[n.Onset])*grace, 0)
			s.Length = grace
			before[n.Onset]--
		} else {
			start, end := n.Onset.Max(from), n.End().Min(to)
			if !start.Less(end) {
				continue
			}
			s.Start = lead + seconds(start)
			s.Length = max(seconds(end)-seconds(start)-10*time.Millisecond, 20*time.Millisecond)
		}
		out = append(out, s)
	}
	return out
}

// handPitch is a pitch in a hand.
type handPitch struct {
	pitch pitch.Pitch
	hand  score.Hand
}

// chordNotes lets pitches sound together for length, or one after the other from the bottom if apart is above 0.
func chordNotes(ps []handPitch, length, apart time.Duration, a4 pitch.Hz) []synth.Note {
	var out []synth.Note
	for i, p := range ps {
		start := time.Duration(i) * apart
		out = append(out, synth.Note{Freq: synth.Hz(p.pitch.Freq(a4)), Start: start, Length: length + time.Duration(len(ps)-1)*apart - start,
			Strength: plainStrength, Pan: pan(p.hand)})
	}
	return out
}

// errSilent says that there is nothing to hear.
var errSilent = errors.New("nothing sounds there")

// soundFlags are the flags of every command that makes sound.
type soundFlags struct {
	out   string
	float bool
	level float64
	a4    float64
}

func (s soundFlags) options() (synth.Options, error) {
	o := synth.Options{Level: synth.LUFS(s.level)}
	if err := synth.CheckLevel(o.Level); err != nil {
		return o, fmt.Errorf("--level: %w", err)
	}
	if !(s.a4 >= 392 && s.a4 <= 494) { // also refuses NaN; a whole tone either way
		return o, fmt.Errorf("--a4 %g: want a frequency from 392 to 494 Hz (440 is usual)", s.a4)
	}
	return o, nil
}

func (s soundFlags) format() synth.Format {
	if s.float {
		return synth.Float32
	}
	return synth.PCM16
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
		err = sink.Play(ctx, clip)
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
