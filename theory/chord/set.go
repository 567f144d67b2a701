package chord

import "plumbline/theory/pitch"

// A Set is a pitch-class set and the set class it belongs to.
type Set struct {
	PCs         []int  // the pitch classes, ascending, each in [0, 12)
	Normal      []int  // normal form (Forte and Rahn agree on the sets' classes; Rahn's packing here)
	Prime       string // Rahn's prime form, digits 0-9, T, E: "01568"
	PrimeForte  string // Forte's prime form, the same but for six classes
	Forte       string // Forte number: "4-Z15"
	Vector      string // interval-class vector: "111111"
	ZMate       string // Forte number of the other class with the same vector, "" if none
	Complement  string // Forte number of the complement's class
	Transposed  int    // number of distinct transpositions
	Members     int    // number of distinct sets in the class, transposed and inverted
	Symmetrical bool   // maps onto itself under some inversion
}

// SetOf returns the set of notes as they sound.
func SetOf(notes []pitch.Pitch) Set { return Set{} }

// SetOfPCs returns the set of the given pitch classes, taken modulo 12; order and duplicates don't matter.
func SetOfPCs(pcs []int) Set { return Set{} }
