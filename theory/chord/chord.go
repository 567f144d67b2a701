// Package chord names what sounds together, in every reading a musician would argue for, and turns names back into notes.
//
// Start with [Name], which returns the ranked readings of some notes, and [ParseLabel], which reads a chord label; [Realize]
// writes a label, a stack or a cluster as notes, [RealizePattern] a sequence of chords, [Agrees] holds a label against notes.
// [StackOf], [SpacingOf], [Clusters] and [SetOf] describe spacing and pitch-class content without choosing a name, [Relate] what
// leads from one sonority to the next, [FirstByPCs] names bare pitch classes, many millions a second.
//
// The package knows nothing of keys and time: a German sixth is recognized by its spelling alone, a Neapolitan is a major
// triad here.
//
// # Conventions
//
// Spelling decides. Ab C Eb F# is a German sixth, with the dominant seventh it sounds as for a second reading; Ab C Eb Gb is a
// dominant seventh and nothing else, unless a key says so. Reading.Leads says which note is written differently from what is
// heard and where its spelling wants to go, Reading.Confirm how it would be written; [ImpostorOf] asks just that. The root of
// augmented triads and diminished sevenths is the one their spelling gives.
//
// The house symbols are C, Cm, Cdim, Caug, Csus4, Csus2, C7, Cmaj7, Cm7, Cm7(b5), Cdim7, CmMaj7, C7(#5), Cmaj7(#5), C6,
// Cm6, C6/9, Cadd9, C9, Cmaj9, Cm9, C7(b9), C11, C13 and so on: a stem, then alterations, added notes and omissions in one
// bracket, in the order of their numbers: C7(b9#11), Cm7(add11), C7(no3). A bass that is not the root follows a slash. A
// missing perfect fifth is usual from the seventh chord upwards and is not written in the label. Where the trade has words
// and no symbol, the label is in words: "stacked fourths on B3", "German sixth on Ab", "chromatic cluster G#-A-A#", "E major
// over A major", "open fifth C-G" (C5 is understood, but not written: it looks like the pitch). C13 stands for the chord with its eleventh and without; where the difference matters, C9(13) is the one
// without. testdata/SOURCES.md tells where handbooks disagree and whom we follow.
package chord

import "plumbline/theory/pitch"

// A Kind is the manner in which a reading understands the notes.
type Kind string

// The kinds of reading.
const (
	Tertian        Kind = "tertian"
	AddedSixth     Kind = "added sixth"
	Suspended      Kind = "suspended"
	StackedFourths Kind = "stacked fourths"
	StackedFifths  Kind = "stacked fifths"
	MixedStack     Kind = "mixed stack"
	ClusterKind    Kind = "cluster"
	ChordOverChord Kind = "chord over chord"
	AugmentedSixth Kind = "augmented sixth"
	IntervalKind   Kind = "interval"
	NoteKind       Kind = "note"
	SetClass       Kind = "set class"
)

// A Member is a sounding note and the part it plays in a reading.
type Member struct {
	Pitch pitch.Pitch
	Role  string // in words: "root", "third", "added sixth", "raised eleventh", "bass", "upper stack, first fourth"
}

// A Reading is one way to understand a sonority.
type Reading struct {
	Label     string // house symbol or the trade's words: "F#m7/A", "stacked fourths on B3", "chromatic cluster G#-A-A#"
	Words     string // the same spoken: "F# minor seventh chord in first inversion"
	Kind      Kind
	Type      string      // id of the vocabulary row, "" if it has none
	Root      pitch.Class // meaningful only if Rooted
	Rooted    bool
	Quality   string // "minor seventh", "major triad", "stacked fifths"
	Bass      pitch.Class
	Inversion int      // 0 root position, 1 third in the bass … 4 ninth, 6 thirteenth in the bass; -1 no member counted by thirds
	Members   []Member // one for each distinct sounding pitch, low to high
	Missing   []string // roles that don't sound: "fifth"
	Added     []string // "added eleventh F"
	Altered   []string // "lowered ninth Db"
	Respelled []string // notes to be read enharmonically: "G# read as Ab"
	Leads     []Lead   // the same notes, with where their spelling says they want to go
	Confirm   string   // the spelling that would confirm the reading: "Ab instead of G#"; "" if nothing is respelled
	Why       string   // one sentence: why it stands at this rank
}
