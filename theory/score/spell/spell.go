// Package spell chooses the spelling of notes that are known by their sound only, as in a MIDI file: E sharp or F. Call
// [Spell].
//
// # Method
//
// Notes are spelled in three steps, in the manner of G. Teodoru and C. Raphael, "Pitch spelling with conditionally independent
// voices" (ISMIR 2007), who take the spelling of a note to depend on a hidden sequence of keys and on the neighbours in its
// voice. (The paper is known to us by its abstract; the steps as they stand here are ours.)
//
//  1. The keys, as sounds, by a Viterbi search over the 24 of them, quarter by quarter, from how often each degree of a scale is
//     played in major and in minor.
//  2. Where each key lies on the line of fifths, sharps or flats, under which printed signature: a second Viterbi search.
//     Signatures with few signs, notes within the signature, no double signs and near neighbours on the line are preferred
//     (D. Temperley, The Cognition of Basic Musical Structures, MIT Press 2001, chapter 5, prefers closeness on the line;
//     from memory).
//  3. A second look at each note that isn't in the scale: a log-linear choice among the three spellings with at most two signs,
//     by its degree, the steps that lead to it and away from it (the voice-leading of Temperley, and of stage 2 of ps13), the
//     notes that sound with it and around it, and the keys before and after. Its weights were learned from the 120 songs of
//     the OpenScore Lieder corpus (CC0).
//
// # How well it does
//
// Parts of 100 notes that are spelled as the editors of "An annotated corpus of tonal piano music from the long 19th century"
// (Hentschel and others, 2024) do, on its sets grieg_lyric_pieces and chopin_mazurkas, and on the songs. The weights were not
// learned from the annotated corpus, but they were from the songs; the eleven constants of step 2 were tuned on all three.
// Tuned without Grieg, step 2 does 0.7 worse on Grieg; tuned without Chopin, 1.9 worse on Chopin: one piece in the wrong six
// signs more or less. For ps13s1 see D. Meredith, "The ps13 pitch spelling algorithm", Journal of New Music Research 35(2),
// 2006; he reports 99.4 on baroque and classical music.
//
//	                                     Grieg   Chopin   both    songs
//	ps13s1, windows 10 and 42            92.2    89.8     91.1
//	Spell, nothing known                 96.9    97.6     97.2    97.4
//	Spell, the first signature known     96.8    97.5
//	Spell, all signatures known                                   98.0
//	the same, sharps or flats granted    98.6    99.1     98.8
//
// The last line shows what is missing: most of what is wrong is a passage in sharps that is printed in flats, or the other
// way, in keys that sound alike (D sharp minor for E flat minor), which sound alone doesn't decide.
package spell

import (
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Note is a note without a spelling. Duration may be 0 if it isn't known.
type Note struct {
	Onset, Duration score.Time
	MIDI            int // C4 = 60
}

// A Signature is a key signature in force from At on, sharps positive, flats negative, -7 to 7.
type Signature struct {
	At     score.Time
	Fifths int
}

// Options hold what is known beside the notes.
type Options struct {
	// Signatures are the printed key signatures in order of time, as far as they are known; nil if none is. They are taken as
	// evidence, not as law: a piece in D flat under no signature is spelled in D flat. Those out of range are passed over.
	Signatures []Signature
}

// Spell returns the spelling of each note of a piece, in the order given. The notes must be in order of onset, those at one
// onset in any order; if they aren't, the spelling is poor, no more. Pitches outside 0 to 127 are spelled too. Each result
// sounds as its note, with at most two sharps or flats.
//
// The time taken is proportional to the number of notes.
func Spell(notes []Note, o Options) []pitch.Pitch {
	out := make([]pitch.Pitch, len(notes))
	for i, f := range spell(notes, o, weights[:]) {
		out[i] = place(notes[i].MIDI, int(f))
	}
	return out
}

// place returns the pitch at place f of the line of fifths that sounds as n.
func place(n, f int) pitch.Pitch {
	c := pitch.ClassOfFifths(f)
	// The octave of the letter, not of the sound: B#3 sounds as C4.
	return c.In(floorDiv(n-int(c.Alter), 12) - 1)
}

func spell(notes []Note, o Options, w []int16) []int8 {
	if len(notes) == 0 {
		return nil
	}
	s := newSpeller(notes)
	s.keys(o.Signatures)
	s.local(w)
	return s.fifths
}

// A speller is one piece on its way. Times are floats here: they weigh neighbours against each other and never leave.
type speller struct {
	on, end []float32 // quarter notes
	moment  []int32   // counts the different onsets
	midi    []int32
	pc      []uint8

	regions []region
	region  []int32 // the index of each note's region
	fifths  []int8  // the spelling so far
}

func newSpeller(notes []Note) *speller {
	n := len(notes)
	f := make([]float32, 2*n)
	s := &speller{on: f[:n], end: f[n:], moment: make([]int32, n), midi: make([]int32, n), pc: make([]uint8, n),
		region: make([]int32, n), fifths: make([]int8, n)}
	m := int32(0)
	for i, x := range notes {
		if i > 0 && x.Onset != notes[i-1].Onset {
			m++
		}
		s.on[i] = float32(x.Onset.Float())
		s.end[i] = s.on[i] + float32(x.Duration.Float())
		s.moment[i] = m
		s.midi[i] = int32(x.MIDI)
		s.pc[i] = uint8(mod(x.MIDI, 12))
	}
	return s
}

func mod(a, n int) int { return ((a % n) + n) % n }

func floorDiv(a, n int) int { return (a - mod(a, n)) / n }

func abs(a int) int { return max(a, -a) }
