package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"plumbline/drills"
	"plumbline/synth"
	"plumbline/synth/speaker"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// How long a question sounds, whatever it is, and how far apart its notes are one by one.
const (
	chordLength = 2200 * time.Millisecond
	slowApart   = 450 * time.Millisecond
	breath      = 400 * time.Millisecond
	comparePart = 600 * time.Millisecond // silence between what it was and what was said
)

// quieter is how far below the usual level question n is, from 1: the first is the quietest, then it rises by 2 dB a question.
// A question asked again keeps its level.
func quieter(n int) synth.LU { return max(8-2*synth.LU(n), 0) }

// drillSound plays what a drill asks, or writes it into files. Its methods are called from one goroutine.
type drillSound struct {
	e      *env
	dir    string        // for files; "" until a folder is needed
	files  bool          // write files, don't play
	named  bool          // dir was named by the user
	silent bool          // neither play nor write
	voice  synth.Voice   // the same for all labels; the zero value is the usual one
	length time.Duration // the longest that a note sounds; 0: as it is

	next   *nextClip // nil if none is under way
	sink   speaker.Sink
	cancel context.CancelFunc
	done   chan error // of what is playing; nil if nothing is
	failed error      // of what was playing
}

// handNotes is a chord for the synthesizer, as long as every chord of a drill; apart is how far apart its notes are struck.
func handNotes(left, right []pitch.Pitch, apart time.Duration) []synth.Note {
	var hs []handPitch
	for _, p := range left {
		hs = append(hs, handPitch{pitch: p, hand: score.Left})
	}
	for _, p := range right {
		hs = append(hs, handPitch{pitch: p, hand: score.Right})
	}
	return chordNotes(hs, chordLength, apart, synth.Tuning{})
}

// softly is how strongly a pulse is struck against what is asked.
const softly = .45

// drillNotes is what a question sounds, for the synthesizer. A note that is struck again is let go a little before.
func drillNotes(notes []drills.Note, tempo float64) []synth.Note {
	at := func(t score.Time) time.Duration { return time.Duration(t.Float() * 60 / tempo * float64(time.Second)) }
	out := make([]synth.Note, len(notes))
	for i, n := range notes {
		out[i] = synth.Note{Freq: synth.Tuning{}.Freq(n.Pitch.MIDI()) * synth.Hz(math.Exp2(n.Cents/1200)), Start: at(n.At),
			Length: at(n.Length), Strength: min(plainStrength*n.Touch, 1), Pan: pan(n.Hand)}
		if n.Soft {
			out[i].Strength *= softly
		}
		if slices.ContainsFunc(notes, func(m drills.Note) bool { return m.Pitch == n.Pitch && m.At == n.At.Add(n.Length) }) {
			out[i].Length = max(out[i].Length-30*time.Millisecond, out[i].Length/2)
		}
	}
	return out
}

// questionNotes is the sound of a whole question.
func questionNotes(q drills.Question) []synth.Note { return drillNotes(q.Sound()) }

// clip renders notes for question n, always at the same loudness.
func (d *drillSound) clip(n int, notes []synth.Note) (*synth.Clip, error) {
	return synth.Render(cut(notes, d.length), synth.Options{Level: synth.DefaultLevel - synth.LUFS(quieter(n)), Voice: d.voice})
}

// make plays notes, or writes them into a file and returns its path. what is "" for the whole question.
func (d *drillSound) make(ctx context.Context, n int, what string, notes []synth.Note) (string, error) {
	if d.silent {
		return "", nil
	}
	var c *synth.Clip
	var err error
	if next := d.next; what == "" && next != nil && next.n == n {
		d.next = nil
		got := <-next.done
		c, err = got.clip, got.err
	} else {
		c, err = d.clip(n, notes)
	}
	if err != nil {
		return "", err
	}
	return d.present(ctx, n, what, c)
}

// A nextClip is the sound of the next question while it is rendered.
type nextClip struct {
	n    int
	done chan rendered // holds one
}

type rendered struct {
	clip *synth.Clip
	err  error
}

// ahead renders question n while the one before it sounds, so that it comes without a wait.
func (d *drillSound) ahead(n int, notes []synth.Note) {
	if d.silent {
		return
	}
	next := &nextClip{n, make(chan rendered, 1)}
	d.next = next
	go func() {
		c, err := d.clip(n, notes)
		next.done <- rendered{c, err}
	}()
}

// compare plays sounds one after the other, at one level.
func (d *drillSound) compare(ctx context.Context, n int, sounds ...[]synth.Note) (string, error) {
	if d.silent {
		return "", nil
	}
	var clips []*synth.Clip
	held := false
	for _, notes := range sounds {
		if len(notes) == 0 {
			continue
		}
		c, err := d.clip(n, notes)
		if err != nil {
			return "", err
		}
		clips, held = append(clips, c), held || c.Held > 0
	}
	if held { // the ceiling keeps one of them down: the others go with it
		if _, err := synth.MatchLoudness(clips...); err != nil {
			return "", err
		}
	}
	c, err := synth.Concat(comparePart, clips...)
	if err != nil {
		return "", err
	}
	return d.present(ctx, n, "compare", c)
}

// present plays a clip in the background or, without a device, writes it.
func (d *drillSound) present(ctx context.Context, n int, what string, c *synth.Clip) (string, error) {
	d.stop()
	if err := d.failed; err != nil {
		d.failed = nil
		if !errors.Is(err, speaker.ErrNoDevice) {
			return "", err
		}
		if err := d.fallBack(err); err != nil {
			return "", err
		}
	}
	if !d.files && d.sink == nil {
		sink, err := d.e.openSpeaker(ctx)
		switch {
		case err == nil:
			d.sink = sink
		case ctx.Err() != nil:
			return "", ctx.Err()
		case errors.Is(err, speaker.ErrNoDevice):
			if err := d.fallBack(err); err != nil {
				return "", err
			}
		default:
			return "", err
		}
	}
	if d.files {
		return d.write(n, what, c)
	}
	if what == "" && n > 1 {
		// A breath after the answer before.
		gap, err := synth.Silence(c.Rate, breath)
		if err != nil {
			return "", err
		}
		if c, err = synth.Concat(0, gap, c); err != nil {
			return "", err
		}
	}
	pctx, cancel := context.WithCancel(ctx)
	done := make(chan error, 1)
	d.cancel, d.done = cancel, done
	go func(sink speaker.Sink) {
		defer func() {
			if r := recover(); r != nil { // a panic here would leave the terminal raw
				done <- fmt.Errorf("playing: %v", r)
			}
		}()
		done <- sink.Play(pctx, c)
	}(d.sink)
	return "", nil
}

// stop ends what is playing. What went wrong with it is told at the next sound.
func (d *drillSound) stop() {
	if d.done == nil {
		return
	}
	d.cancel()
	if err := <-d.done; err != nil && !errors.Is(err, context.Canceled) && !errors.Is(err, speaker.ErrClosed) {
		d.failed = err
	}
	d.done, d.cancel = nil, nil
}

// fallBack goes over to files and says so, once.
func (d *drillSound) fallBack(err error) error {
	d.files = true
	if err := d.folder(); err != nil {
		return err
	}
	why := "no sound device"
	var de *speaker.DeviceError
	if errors.As(err, &de) && de.Reason != "" {
		why += ": " + de.Reason
	}
	d.e.warn("%s; each question is written as a WAV file in %s", why, d.dir)
	d.e.hint("--out DIR chooses the folder; --sight asks by the written notes instead")
	return nil
}

// folder makes a folder for files if none was named.
func (d *drillSound) folder() error {
	if d.dir != "" {
		return nil
	}
	dir, err := os.MkdirTemp("", "plumbline-drill-")
	if err != nil {
		return fmt.Errorf("no folder for the sound: %w", err)
	}
	d.dir = dir
	return nil
}

// write writes a clip into a file whose name tells the question's number and nothing of what it is.
func (d *drillSound) write(n int, what string, c *synth.Clip) (string, error) {
	if err := d.folder(); err != nil {
		return "", err
	}
	name := fmt.Sprintf("question-%03d", n)
	if what != "" {
		name += "-" + what
	}
	path := filepath.Join(d.dir, name+".wav")
	if err := synth.WriteWAVFile(path, c, synth.PCM16); err != nil {
		return "", err
	}
	return path, nil
}

func (d *drillSound) close() {
	d.stop()
	if d.sink != nil {
		d.sink.Close()
	}
}
