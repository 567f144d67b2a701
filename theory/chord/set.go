package chord

import (
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"sync"

	"plumbline/theory/pitch"
)

// A Set is a pitch-class set and the set class it belongs to. Digits T and E stand for 10 and 11.
type Set struct {
	PCs         []int  // the pitch classes, ascending, each in [0, 12)
	Normal      []int  // normal form, packed to the left as Rahn does; of equal packings the one on the smaller number
	Prime       string // Rahn's prime form: "0158"; "" for the empty set
	PrimeForte  string // Forte's prime form, the same but for six classes
	Forte       string // Forte number: "4-20", "4-Z15"
	Vector      string // interval-class vector: "101220"; a count above 9 is a letter, T to C for 10 to 12
	ZMate       string // Forte number of the other class with the same vector, "" if none
	Complement  string // Forte number of the complement's class
	Transposed  int    // number of distinct transpositions, in [1, 12]
	Members     int    // number of distinct sets in the class, transpositions and inversions, in [1, 24]
	Symmetrical bool   // maps onto itself under some inversion
}

// pcset is a set of pitch classes, bit n for pitch class n.
type pcset uint16

const allPCs pcset = 1<<12 - 1

func (s pcset) len() int         { return bits.OnesCount16(uint16(s)) }
func (s pcset) has(pc int) bool  { return s>>pc&1 != 0 }
func (s pcset) down(n int) pcset { return (s>>n | s<<(12-n)) & allPCs } // transposed n semitones down, n in [0, 12)

func (s pcset) up(n int) pcset { return s.down((12 - n) % 12) }

// pcOf returns the pitch class of a MIDI number, negative ones included.
func pcOf(midi int) int { return (midi%12 + 12) % 12 }

// invert returns the set with each pc n as 12-n.
func (s pcset) invert() pcset {
	r := pcset(bits.Reverse16(uint16(s)) >> 4) // pc n as 11-n
	return r.down(11)                          // one up
}

func (s pcset) list() []int {
	pcs := make([]int, 0, 12)
	for ; s != 0; s &= s - 1 {
		pcs = append(pcs, bits.TrailingZeros16(uint16(s)))
	}
	return pcs
}

func pcsOf(notes []pitch.Pitch) (s pcset) {
	for _, p := range notes {
		s |= 1 << p.PC()
	}
	return s
}

// forteNames holds the Forte numbers with Rahn's prime forms, by cardinality: Forte, The Structure of Atonal Music (1973),
// appendix 1, as in testdata/set-classes.tsv; the test compares every row. Classes of 0, 1, 11 and 12 notes carry no
// number there and are called n-1 here.
const forteNames = `0|1:
1|1:0
2|1:01 2:02 3:03 4:04 5:05 6:06
3|1:012 2:013 3:014 4:015 5:016 6:024 7:025 8:026 9:027 10:036 11:037 12:048
4|1:0123 2:0124 3:0134 4:0125 5:0126 6:0127 7:0145 8:0156 9:0167 10:0235 11:0135 12:0236 13:0136 14:0237
4|Z15:0146 16:0157 17:0347 18:0147 19:0148 20:0158 21:0246 22:0247 23:0257 24:0248 25:0268 26:0358 27:0258
4|28:0369 Z29:0137
5|1:01234 2:01235 3:01245 4:01236 5:01237 6:01256 7:01267 8:02346 9:01246 10:01346 11:02347 Z12:01356 13:01248
5|14:01257 15:01268 16:01347 Z17:01348 Z18:01457 19:01367 20:01568 21:01458 22:01478 23:02357 24:01357 25:02358
5|26:02458 27:01358 28:02368 29:01368 30:01468 31:01369 32:01469 33:02468 34:02469 35:02479 Z36:01247 Z37:03458
5|Z38:01258
6|1:012345 2:012346 Z3:012356 Z4:012456 5:012367 Z6:012567 7:012678 8:023457 9:012357 Z10:013457 Z11:012457
6|Z12:012467 Z13:013467 14:013458 15:012458 16:014568 Z17:012478 18:012578 Z19:013478 20:014589 21:023468
6|22:012468 Z23:023568 Z24:013468 Z25:013568 Z26:013578 27:013469 Z28:013569 Z29:023679 30:013679 31:014579
6|32:024579 33:023579 34:013579 35:02468T Z36:012347 Z37:012348 Z38:012378 Z39:023458 Z40:012358 Z41:012368
6|Z42:012369 Z43:012568 Z44:012569 Z45:023469 Z46:012469 Z47:012479 Z48:012579 Z49:013479 Z50:014679
7|1:0123456 2:0123457 3:0123458 4:0123467 5:0123567 6:0123478 7:0123678 8:0234568 9:0123468 10:0123469
7|11:0134568 Z12:0123479 13:0124568 14:0123578 15:0124678 16:0123569 Z17:0124569 Z18:0145679 19:0123679
7|20:0125679 21:0124589 22:0125689 23:0234579 24:0123579 25:0234679 26:0134579 27:0124579 28:0135679 29:0124679
7|30:0124689 31:0134679 32:0134689 33:012468T 34:013468T 35:013568T Z36:0123568 Z37:0134578 Z38:0124578
8|1:01234567 2:01234568 3:01234569 4:01234578 5:01234678 6:01235678 7:01234589 8:01234789 9:01236789 10:02345679
8|11:01234579 12:01345679 13:01234679 14:01245679 Z15:01234689 16:01235789 17:01345689 18:01235689 19:01245689
8|20:01245789 21:0123468T 22:0123568T 23:0123578T 24:0124568T 25:0124678T 26:0134578T 27:0124578T 28:0134679T
8|Z29:01235679
9|1:012345678 2:012345679 3:012345689 4:012345789 5:012346789 6:01234568T 7:01234578T 8:01234678T 9:01235678T
9|10:01234679T 11:01235679T 12:01245689T
10|1:0123456789 2:012345678T 3:012345679T 4:012345689T 5:012345789T 6:012346789T
11|1:0123456789T
12|1:0123456789TE`

type setClass struct {
	prime, primeForte, forte, vector, zmate, complement string
	transposed, members                                 int
	symmetrical                                         bool
}

type setTable struct {
	classes []setClass
	of      [1 << 12]uint8 // index into classes by pcset
}

// primeMask returns Rahn's prime form as a set: among the transpositions of s and of its inversion that begin on 0, the one
// with the smallest span, then the smallest distance from the first to the last note but one, and so on. That is the
// smallest number when the sets are read as binary numbers.
func primeMask(s pcset) pcset {
	best := s
	for _, v := range [2]pcset{s, s.invert()} {
		for n := range 12 {
			if v.has(n) {
				best = min(best, v.down(n))
			}
		}
	}
	return best
}

// fortePrime returns Forte's prime form: smallest span, then packed to the left, the first differing note being the smaller.
func fortePrime(s pcset) pcset {
	var best []int
	for _, v := range [2]pcset{s, s.invert()} {
		for n := range 12 {
			if !v.has(n) {
				continue
			}
			c := v.down(n).list()
			if best == nil || c[len(c)-1] < best[len(best)-1] ||
				c[len(c)-1] == best[len(best)-1] && slices.Compare(c, best) < 0 {
				best = c
			}
		}
	}
	var m pcset
	for _, n := range best {
		m |= 1 << n
	}
	return m
}

const pcDigits = "0123456789TEC"

func (s pcset) digits() string {
	b := make([]byte, 0, 12)
	for _, n := range s.list() {
		b = append(b, pcDigits[n])
	}
	return string(b)
}

// vector counts the intervals of s by interval class, 1 to 6.
func (s pcset) vector() string {
	b := make([]byte, 6)
	for ic := 1; ic <= 6; ic++ {
		n := (s & s.down(ic)).len()
		if ic == 6 {
			n /= 2 // each tritone is found from both ends
		}
		b[ic-1] = pcDigits[n]
	}
	return string(b)
}

// sets builds the table of all 4,096 sets at first use.
var sets = sync.OnceValue(buildSets)

func buildSets() *setTable {
	t := &setTable{}
	byPrime := map[pcset]uint8{}
	for line := range strings.SplitSeq(forteNames, "\n") {
		card, rest, _ := strings.Cut(line, "|")
		for item := range strings.SplitSeq(rest, " ") {
			name, digits, _ := strings.Cut(item, ":")
			var m pcset
			for _, d := range digits {
				m |= 1 << strings.IndexRune(pcDigits, d)
			}
			c := setClass{prime: digits, primeForte: fortePrime(m).digits(), forte: card + "-" + name, vector: m.vector()}
			for n := range 12 {
				if m.down(n) == m {
					c.transposed++
				}
				c.symmetrical = c.symmetrical || m.invert().down(n) == m
			}
			c.transposed = 12 / c.transposed
			c.members = c.transposed
			if !c.symmetrical {
				c.members *= 2
			}
			byPrime[m] = uint8(len(t.classes))
			t.classes = append(t.classes, c)
		}
	}
	for s := range pcset(1 << 12) {
		t.of[s] = byPrime[primeMask(s)]
	}
	for m, i := range byPrime {
		c := &t.classes[i]
		c.complement = t.classes[t.of[allPCs&^m]].forte
		if strings.Contains(c.forte, "Z") {
			for j := range t.classes {
				if d := &t.classes[j]; j != int(i) && d.vector == c.vector && len(d.prime) == len(c.prime) {
					c.zmate = d.forte
				}
			}
		}
	}
	return t
}

func (s pcset) class() *setClass {
	t := sets()
	return &t.classes[t.of[s&allPCs]]
}

// normal returns the normal form of s: the rotation with the smallest span, then with the smallest distance from the first
// to the last note but one, and so on (Rahn); of equal ones the one that starts on the smaller number.
func (s pcset) normal() []int {
	best, at := pcset(1<<12), 0
	for n := range 12 {
		if s.has(n) && s.down(n) < best {
			best, at = s.down(n), n
		}
	}
	pcs := make([]int, 0, 12)
	if s == 0 {
		return pcs
	}
	for m := best; m != 0; m &= m - 1 {
		pcs = append(pcs, (bits.TrailingZeros16(uint16(m))+at)%12)
	}
	return pcs
}

// set returns s with everything known about its class.
func (s pcset) set() Set {
	c := s.class()
	return Set{s.list(), s.normal(), c.prime, c.primeForte, c.forte, c.vector, c.zmate, c.complement, c.transposed, c.members,
		c.symmetrical}
}

// SetOf returns the set of notes as they sound. No notes give the empty set, called 0-1.
func SetOf(notes []pitch.Pitch) Set { return pcsOf(notes).set() }

// SetOfPCs returns the set of the given pitch classes, taken modulo 12; order and duplicates don't matter.
func SetOfPCs(pcs []int) Set { return pcsetOf(pcs).set() }

// String returns the Forte number with Rahn's prime form: "4-20 (0158)".
func (s Set) String() string { return s.Forte + " (" + s.Prime + ")" }

// Transpose returns s moved up by n semitones, any n.
func (s Set) Transpose(n int) Set {
	return pcsetOf(s.PCs).down((((-n % 12) + 12) % 12)).set()
}

// Invert returns s inverted about 0 and then moved up by n semitones, the operation TnI.
func (s Set) Invert(n int) Set {
	return pcsetOf(s.PCs).invert().down((((-n % 12) + 12) % 12)).set()
}

func pcsetOf(pcs []int) (s pcset) {
	for _, n := range pcs {
		s |= 1 << (((n % 12) + 12) % 12)
	}
	return s
}

// NormalText returns the normal form in brackets: "[6,10,11,1]".
func (s Set) NormalText() string {
	parts := make([]string, len(s.Normal))
	for i, n := range s.Normal {
		parts[i] = strconv.Itoa(n)
	}
	return "[" + strings.Join(parts, ",") + "]"
}

// SelfT returns the transpositions n in [0, 12) that map s onto itself; 0 is always among them.
func (s Set) SelfT() (ns []int) {
	m := pcsetOf(s.PCs)
	for n := range 12 {
		if m.up(n) == m {
			ns = append(ns, n)
		}
	}
	return ns
}

// SelfI returns the n in [0, 12) for which the inversion TnI maps s onto itself, nil if none does.
func (s Set) SelfI() (ns []int) {
	m := pcsetOf(s.PCs).invert()
	for n := range 12 {
		if m.up(n) == pcsetOf(s.PCs) {
			ns = append(ns, n)
		}
	}
	return ns
}

// CommonT returns how many pitch classes s keeps under each transposition n in [0, 12). For n from 1 to 5 and 7 to 11 that is
// the entry of the interval vector for n, for 6 twice the entry.
func (s Set) CommonT() (kept [12]int) {
	m := pcsetOf(s.PCs)
	for n := range kept {
		kept[n] = (m & m.up(n)).len()
	}
	return kept
}

// CommonI returns how many pitch classes s keeps under each inversion TnI.
func (s Set) CommonI() (kept [12]int) {
	m := pcsetOf(s.PCs)
	for n := range kept {
		kept[n] = (m & m.invert().up(n)).len()
	}
	return kept
}

// Mul returns s with every pitch class multiplied by k modulo 12: M5 and M7 exchange semitones and fourths.
func (s Set) Mul(k int) Set {
	pcs := make([]int, len(s.PCs))
	for i, n := range s.PCs {
		pcs[i] = n * k
	}
	return pcsetOf(pcs).set()
}

// ComplementSet returns the set of all pitch classes that are not in s.
func (s Set) ComplementSet() Set { return (allPCs &^ pcsetOf(s.PCs)).set() }

// In reports whether s, transposed or inverted, is part of t: whether its class is a subset of the class of t.
func (s Set) In(t Set) bool {
	m, whole := pcsetOf(s.PCs), pcsetOf(t.PCs)
	for _, v := range [2]pcset{m, m.invert()} {
		for n := range 12 {
			if v.up(n)&^whole == 0 {
				return true
			}
		}
	}
	return false
}

// scales are collections that have a name from their first note, in semitones above it. Butterfield, unit 22a, for the modes
// and the octatonic scales; the others common practice, no source.
var scales = [...]struct {
	name string
	pcs  pcset
}{
	{"major", pcsOfInts(0, 2, 4, 5, 7, 9, 11)},
	{"natural minor", pcsOfInts(0, 2, 3, 5, 7, 8, 10)},
	{"Dorian", pcsOfInts(0, 2, 3, 5, 7, 9, 10)},
	{"Phrygian", pcsOfInts(0, 1, 3, 5, 7, 8, 10)},
	{"Lydian", pcsOfInts(0, 2, 4, 6, 7, 9, 11)},
	{"Mixolydian", pcsOfInts(0, 2, 4, 5, 7, 9, 10)},
	{"Locrian", pcsOfInts(0, 1, 3, 5, 6, 8, 10)},
	{"harmonic minor", pcsOfInts(0, 2, 3, 5, 7, 8, 11)},
	{"melodic minor", pcsOfInts(0, 2, 3, 5, 7, 9, 11)},
	{"harmonic major", pcsOfInts(0, 2, 4, 5, 7, 8, 11)},
	{"Lydian dominant", pcsOfInts(0, 2, 4, 6, 7, 9, 10)},
	{"altered", pcsOfInts(0, 1, 3, 4, 6, 8, 10)},
	{"octatonic, half-whole", pcsOfInts(0, 1, 3, 4, 6, 7, 9, 10)},
	{"octatonic, whole-half", pcsOfInts(0, 2, 3, 5, 6, 8, 9, 11)},
	{"whole-tone", pcsOfInts(0, 2, 4, 6, 8, 10)},
	{"hexatonic", pcsOfInts(0, 1, 4, 5, 8, 9)},
	{"major pentatonic", pcsOfInts(0, 2, 4, 7, 9)},
	{"minor pentatonic", pcsOfInts(0, 3, 5, 7, 10)},
	{"chromatic", allPCs},
}

func pcsOfInts(ns ...int) pcset { return pcsetOf(ns) }

// ScaleFrom names the scale that the given notes make from tonic upwards, as they sound: "Dorian"; "" if it has no name here.
func ScaleFrom(tonic pitch.Class, notes []pitch.Class) string {
	var m pcset
	for _, c := range notes {
		m |= 1 << c.PC()
	}
	m = m.down(tonic.PC())
	for _, s := range scales {
		if s.pcs == m {
			return s.name
		}
	}
	return ""
}
