package chord

import "plumbline/theory/pitch"

// A Stack is the build of a chord by its adjacent intervals.
type Stack struct {
	Kind      string // "fifths", "fourths", "thirds", "seconds", "mixed", or "" for fewer than two distinct notes or a lone other interval
	Intervals []pitch.Interval
	Text      string // "perfect fifths", "fourths, one augmented", "mixed: P5, M3"
}

// StackOf describes the distances between adjacent distinct notes, low to high, by spelling.
func StackOf(notes []pitch.Pitch) Stack { return Stack{} }

// A Cluster is a run of at least three neighbouring notes.
type Cluster struct {
	Notes []pitch.Pitch // low to high
	Kind  string        // "chromatic", "diatonic", "black-key", "white-key", "whole-tone", "pentatonic", "mixed"
	Text  string
}

// Clusters returns the maximal runs of notes in seconds, low to high.
func Clusters(notes []pitch.Pitch) []Cluster { return nil }

// IsChromaticCluster reports whether the pitch classes, each in [0, 12), are at least three and can be laid out in
// semitones only.
func IsChromaticCluster(pcs []int) bool { return false }

// WhiteOnly reports whether notes are played on white keys only. It is false for no notes.
func WhiteOnly(notes []pitch.Pitch) bool { return false }

// BlackOnly reports whether notes are played on black keys only. It is false for no notes.
func BlackOnly(notes []pitch.Pitch) bool { return false }
