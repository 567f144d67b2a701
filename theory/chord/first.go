package chord

import (
	"sync/atomic"

	"plumbline/theory/pitch"
)

// A First is the first reading of a pitch-class set, whatever its spelling: what one would call the keys on sight. It is small
// and comparable; the words are made when they are asked for.
type First struct {
	form uint8 // index into the vocabulary, plus one; 0 if the reading is no row
	kind uint8 // index into firstKinds
	root int8
	bass int8
	pcs  pcset
}

var firstKinds = [...]Kind{"", Tertian, AddedSixth, Suspended, StackedFourths, StackedFifths, MixedStack, ClusterKind, ChordOverChord, AugmentedSixth, IntervalKind, NoteKind, SetClass}

// firsts remembers what FirstByPCs found: by bass (12: the lowest price over all basses) and set. 416 KiB, filled as it is used.
var firsts [13][1 << 12]atomic.Uint64

// FirstByPCs returns the first reading of the pitch classes in pcs, bit n for pitch class n (the lowest twelve bits count), with
// bass lowest, or with whichever bass gives the plainest reading if bass is not in pcs, as -1. It ignores spelling and spacing:
// the notes are taken in close position under their most helpful names, so there are no augmented sixths among the answers; Name
// knows better. It is meant for looking through many sets: an answer is computed once and then looked up. For no notes it
// returns the zero First.
func FirstByPCs(pcs uint16, bass int) First {
	m := pcset(pcs) & allPCs
	if m == 0 {
		return First{}
	}
	if bass < 0 || bass > 11 || !m.has(bass) {
		bass = 12
	}
	if packed := firsts[bass][m].Load(); packed != 0 {
		return unpackFirst(packed)
	}
	var best First
	if bass < 12 {
		best, _ = firstOver(m, bass)
	} else {
		least := float32(0)
		for rest := m; rest != 0; rest &= rest - 1 {
			if f, price := firstOver(m, lowest(rest)); best.pcs == 0 || price < least {
				best, least = f, price
			}
		}
	}
	firsts[bass][m].Store(best.pack())
	return best
}

func (f First) pack() uint64 {
	return uint64(f.form) | uint64(f.kind)<<8 | uint64(uint8(f.root))<<16 | uint64(uint8(f.bass))<<24 | uint64(f.pcs)<<32
}

func unpackFirst(n uint64) First {
	return First{uint8(n), uint8(n >> 8), int8(n >> 16), int8(n >> 24), pcset(n >> 32)}
}

// firstOver finds the first reading of m over bass and its price.
func firstOver(m pcset, bass int) (best First, price float32) {
	s := pool.Get().(*sonority)
	defer pool.Put(s)
	var buf [12]pitch.Pitch
	for _, flats := range [2]bool{false, true} {
		ns := buf[:0]
		for n := range 12 {
			if m.has((bass + n) % 12) {
				ns = append(ns, pitch.FromMIDI(48+bass+n, flats))
			}
		}
		s.set(ns, nil)
		s.candidates()
		for i := range s.cs {
			c := &s.cs[i]
			total := c.total - c.price[partSpelling]
			if c.form != nil && (c.form.Family == famAugSixth || c.form.ID == "tristan") {
				continue
			}
			if best.pcs != 0 && total >= price {
				continue
			}
			best, price = First{root: int8(c.root.PC()), bass: int8(bass), pcs: m}, total
			kind := c.shape()
			if c.form != nil {
				best.form, kind = uint8(c.form.index+1), c.kind()
			}
			for k, name := range firstKinds {
				if name == kind {
					best.kind = uint8(k)
				}
			}
		}
	}
	return best, price
}

// shape returns the kind of a candidate without form.
func (c *candidate) shape() Kind {
	switch c.other {
	case spacedKind, restackedKind, intervalKind, mixedKind:
		return c.words().Kind
	case clusterAllKind, clusterOverKind:
		return ClusterKind
	case overKind:
		return ChordOverChord
	}
	return SetClass
}

// Kind returns the manner of the reading, "" for the zero First.
func (f First) Kind() Kind {
	if int(f.kind) >= len(firstKinds) {
		return ""
	}
	return firstKinds[f.kind]
}

// Type returns the row of the vocabulary; ok is false if the reading is none. Notes may stand beside it: see Label.
func (f First) Type() (t Type, ok bool) {
	if f.form == 0 || int(f.form) > len(vocabulary) {
		return Type{}, false
	}
	return forms()[f.form-1].Type, true
}

// Root returns the pitch class of the root, of the lowest note of a stack or cluster otherwise, in [0, 12).
func (f First) Root() int { return int(f.root) }

// Bass returns the pitch class of the bass it was read over, in [0, 12).
func (f First) Bass() int { return int(f.bass) }

// Label returns the label, with the root under its usual name: "Eb7", "Am/C", "set class 4-9 (0167)".
func (f First) Label() string {
	if f.pcs == 0 {
		return ""
	}
	// The notes again, named as the root wants them, and the reading with the same root and row picked out.
	root := usualNames[f.root]
	ns := make([]pitch.Pitch, 0, 12)
	for n := range 12 {
		if pc := (int(f.bass) + n) % 12; f.pcs.has(pc) {
			ns = append(ns, f.spell(root, 48+int(f.bass)+n))
		}
	}
	s := pool.Get().(*sonority)
	defer pool.Put(s)
	s.set(ns, nil)
	s.candidates()
	for i := range s.cs {
		c := &s.cs[i]
		if f.form == 0 && c.form == nil && c.root.PC() == int(f.root) && c.shape() == f.Kind() {
			return c.words().Label
		}
		if f.form != 0 && c.form != nil && c.form.index+1 == int(f.form) && int(c.rootPC) == int(f.root) {
			return c.label(s)
		}
	}
	return s.rank()[0].Label
}

// usualNames are the roots people write.
var usualNames = [12]pitch.Class{{Letter: pitch.C}, {Letter: pitch.D, Alter: -1}, {Letter: pitch.D}, {Letter: pitch.E, Alter: -1}, {Letter: pitch.E}, {Letter: pitch.F},
	{Letter: pitch.F, Alter: 1}, {Letter: pitch.G}, {Letter: pitch.A, Alter: -1}, {Letter: pitch.A}, {Letter: pitch.B, Alter: -1}, {Letter: pitch.B}}

// spell writes the key midi as the row of f on root does, else as near to root on the line of fifths as it gets.
func (f First) spell(root pitch.Class, midi int) pitch.Pitch {
	rel := (midi - root.PC() + 120) % 12
	n := root.Fifths() + [12]int{0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5}[rel]
	if f.form != 0 {
		if row := forms()[f.form-1]; row.byPC[rel] >= 0 {
			n = root.Fifths() + int(row.degLine[row.byPC[rel]])
		}
	}
	c := pitch.ClassOfFifths(n)
	p := c.In(midi/12 - 1)
	for p.MIDI() < midi {
		p.Octave++
	}
	for p.MIDI() > midi {
		p.Octave--
	}
	return p
}
