// Package midi reads and writes Standard MIDI Files 1.0, formats 0 and 1. Start with [Read] and [Write]; an [Error] says what is
// wrong with a file, in which track and at which byte.
//
// A MIDI file holds keys pressed and released, not notation. What is missing is put in by the rules below; what they had to
// move or leave out is said in the passage's Warnings. "The standard" is "Standard MIDI-File Format Spec. 1.0" (MIDI
// Manufacturers Association, 1988), quoted from memory.
//
// # What is read
//
// Notes, tempos, time signatures, key signatures and track names. A note-on of velocity 0 is a note-off. Where a key is struck
// again before it is released, the first release ends the first note. A note without a release ends where its track ends. The
// pedals, velocities, programs, bends, lyrics and system-exclusive messages are passed over. Notes on channel 10 are drums by
// General MIDI: they are left out if there are others.
//
// Without a time signature the meter is 4/4, as the standard says. Without a tempo or a key signature the passage has none. A
// key signature event says its mode, so the key counts as declared.
//
// # Bars
//
// Each time signature begins a bar; between them bars follow in full. They are numbered from 1. An upbeat can't be seen in a
// MIDI file unless the first bar is cut short by a second time signature: it is then bar 0. If all tracks end together in a
// piece that begins with such an upbeat, its last bar ends there too.
//
// # Time
//
// Times in a file are exact if they come from notation and inexact if somebody played. [Options] can say how to take them. If
// they don't, onsets stay as they are when at least three in four lie on a plain part of a quarter note (a denominator up to
// 24, or 32), and so do all times in a file with 48 ticks a quarter or less. Else each onset moves to an eighth or a twelfth of a
// quarter note, the nearest, but a coarser part is preferred to a finer one a little nearer (halves over quarters and thirds, and
// so on: 1/96 of a quarter note for each step). Ends are judged and moved in the same way, on their own: notation programs
// shorten notes a little. A note never becomes shorter than 1/12 of a quarter note by moving. The largest shifts are said in
// Warnings. Time signatures, keys and tempos stay where they are.
//
// # Hands
//
// A track says its hand by its name: right, upper, treble, RH and R.H., or left, lower, bass, LH and L.H. If no name says so and
// exactly two tracks (or, if only one track has notes, two channels of it) have notes, the higher one on average is the right
// hand. Else the notes are divided at a point between the hands that follows them, for which a hand reaches an octave with ease,
// a tenth at most, and has five fingers (see hands.go). In pieces where the staff of each note is known, 90 and 93 notes of 100
// went to it (81 and 83 when divided at middle C). Of a file that names both hands, other tracks are left out unless Options
// asks for them.
//
// # Voices
//
// Within a hand, notes that begin and end together are a chord. Each chord goes to the first voice that is free; of several
// that begin together, the one with the highest note comes first. Notes are cut at bar lines and tied.
//
// # Spelling
//
// By package spell, with the key signatures of the file as evidence.
package midi

import (
	"errors"
	"fmt"
	"io"
	"os"

	"plumbline/theory/score"
)

// The limits of what is read. Beyond them [Read] returns an *Error. It holds no more of a file in memory than its notes.
const (
	MaxBytes    = 64 << 20
	MaxNotes    = 1_000_000
	MaxTracks   = 4096    // with events; the header can claim more
	MaxMarks    = 100_000 // tempos, time signatures and key signatures together
	MaxBars     = 50_000
	MaxQuarters = 1 << 20 // length of the piece in quarter notes
	MaxWarnings = 100     // more are counted only

	maxCuts = 200_000 // of notes, at bar lines: a few bytes can ask for a note of very many bars
)

// Exact, as Options.Grid, takes all times as they are.
const Exact = -1

// Options tell how to read and write.
type Options struct {
	// File is a name for messages and for Passage.Source. ReadFile fills it in.
	File string
	// Tracks are the tracks to read, from 1; all if it is empty. Tempos and signatures are read from all tracks.
	Tracks []int
	// Grid says how many parts of a quarter note times are rounded to, 1 to 960. 0 decides by looking (see the package
	// comment), Exact rounds nothing.
	Grid int
	// Resolution is the number of ticks a quarter note to write with, 1 to 32767, and times are rounded to it. 0 takes 480,
	// or else the least number above it that keeps all times exact.
	Resolution int
}

// An Error says what could not be read or written and where. Track counts from 1 and is 0 outside tracks; Offset is a byte
// of the file, from 0, and -1 where that doesn't apply.
type Error struct {
	File   string
	Track  int
	Offset int64
	Msg    string
	Err    error // the cause, if another package found it
}

func (e *Error) Error() string {
	s := "midi: "
	if e.File != "" {
		s += e.File + ": "
	}
	switch {
	case e.Track > 0 && e.Offset >= 0:
		s += fmt.Sprintf("track %d, byte %d: ", e.Track, e.Offset)
	case e.Track > 0:
		s += fmt.Sprintf("track %d: ", e.Track)
	case e.Offset >= 0:
		s += fmt.Sprintf("byte %d: ", e.Offset)
	}
	return s + e.Msg
}

// Unwrap returns the cause, or nil.
func (e *Error) Unwrap() error { return e.Err }

// ReadFile reads the named file. It returns an *Error as [Read] does, and one that wraps the cause if the file can't be opened.
func ReadFile(path string, o Options) (*score.Passage, error) {
	if o.File == "" {
		o.File = path
	}
	f, err := os.Open(path)
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err // the path is said already
		}
		return nil, &Error{File: o.File, Offset: -1, Msg: err.Error(), Err: err}
	}
	defer f.Close()
	return Read(f, o)
}

// Read reads a Standard MIDI File of format 0 or 1. Whatever is wrong with it, or with o, is an *Error. A file that says less
// than the standard asks but can be understood is read with a warning.
func Read(r io.Reader, o Options) (*score.Passage, error) {
	if o.Grid < Exact || o.Grid > 960 {
		return nil, &Error{File: o.File, Offset: -1, Msg: fmt.Sprintf("a grid of %d parts of a quarter note; want 1 to 960, 0 or Exact", o.Grid)}
	}
	f, err := parse(r, o.File)
	if err != nil {
		return nil, err
	}
	return f.passage(o)
}

// warnings collects up to MaxWarnings warnings and counts the others.
type warnings struct {
	list []string
	more int
}

func (w *warnings) addf(format string, args ...any) {
	if len(w.list) < MaxWarnings {
		w.list = append(w.list, fmt.Sprintf(format, args...))
	} else {
		w.more++
	}
}

func (w *warnings) all() []string {
	if w.more > 0 {
		return append(w.list[:len(w.list):len(w.list)], fmt.Sprintf("and %d more like these", w.more))
	}
	return w.list
}
