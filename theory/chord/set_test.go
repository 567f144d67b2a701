package chord

import (
	"bufio"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// table reads a tab-separated table of testdata as rows by column name. Lines beginning with # are its sources.
func table(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var head []string
	var rows []map[string]string
	for sc := bufio.NewScanner(f); sc.Scan(); {
		line := sc.Text()
		if strings.HasPrefix(line, "#") {
			continue
		}
		cells := strings.Split(line, "\t")
		if head == nil {
			head = cells
			continue
		}
		if len(cells) != len(head) {
			t.Fatalf("%s: %d cells in %q, want %d", name, len(cells), line, len(head))
		}
		row := map[string]string{}
		for i, c := range cells {
			row[head[i]] = c
		}
		rows = append(rows, row)
	}
	return rows
}

func digits(t testing.TB, s string) []int {
	t.Helper()
	var pcs []int
	for _, r := range s {
		i := strings.IndexRune(pcDigits, r)
		if i < 0 {
			t.Fatalf("no pitch-class digit %q in %q", r, s)
		}
		pcs = append(pcs, i)
	}
	return pcs
}

// Every row of the published table, in all transpositions, upright and inverted. Sources: the header of set-classes.tsv.
func TestSetClasses(t *testing.T) {
	rows := table(t, "set-classes.tsv")
	if len(rows) != 220 { // 6+12+29+38+50+38+29+12+6, Forte 1973
		t.Fatalf("%d set classes, want 220", len(rows))
	}
	seen := map[string]bool{}
	covered := 0
	for _, row := range rows {
		mate := row["z_mate"]
		if mate == "-" {
			mate = ""
		}
		tn, _ := strconv.Atoi(row["distinct_tn"])
		tni, _ := strconv.Atoi(row["distinct_tni"])
		for n := range 12 {
			for _, inverted := range []bool{false, true} {
				s := SetOfPCs(digits(t, row["prime_rahn1980"])).Transpose(n)
				if inverted {
					s = s.Invert(2 * n) // every inversion once
				}
				got := fmt.Sprint(s.Forte, s.Prime, s.PrimeForte, s.Vector, s.ZMate, s.Complement, s.Transposed, s.Members, s.Symmetrical)
				want := fmt.Sprint(row["forte_number"], row["prime_rahn1980"], row["prime_forte1973"], row["icv"], mate,
					row["complement"], tn, tni, row["inv_symmetric"] == "1")
				if got != want {
					t.Errorf("SetOfPCs(%v) = %s; want %s", s.PCs, got, want)
				}
				if key := fmt.Sprint(s.PCs); !seen[key] {
					seen[key] = true
					covered++
				}
			}
		}
	}
	// all sets but those of 0, 1, 11 and 12 notes: 4096 - 1 - 12 - 12 - 1
	if covered != 4070 {
		t.Errorf("the table covers %d sets, want 4070", covered)
	}
}

func TestSetConventions(t *testing.T) {
	for _, c := range []struct {
		pcs                  []int
		forte, prime, vector string
		complement, normal   string
		transposed, members  int
	}{
		{nil, "0-1", "", "000000", "12-1", "[]", 1, 1},
		{[]int{7}, "1-1", "0", "000000", "11-1", "[7]", 12, 12},
		{[]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 11}, "11-1", "0123456789T", "TTTTT5", "1-1", "[11,0,1,2,3,4,5,6,7,8,9]", 12, 12},
		{[]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}, "12-1", "0123456789TE", "CCCCC6", "0-1", "[0,1,2,3,4,5,6,7,8,9,10,11]", 1, 1},
		{[]int{-1, 12, 24, 4}, "3-4", "015", "100110", "9-4", "[11,0,4]", 12, 24},
	} {
		s := SetOfPCs(c.pcs)
		if s.Forte != c.forte || s.Prime != c.prime || s.Vector != c.vector || s.Complement != c.complement ||
			s.NormalText() != c.normal || s.Transposed != c.transposed || s.Members != c.members {
			t.Errorf("SetOfPCs(%v) = %+v; want %+v", c.pcs, s, c)
		}
	}
}

// Identities that hold for every set: complement of the complement, inversion twice, vector sums to n(n-1)/2, the hexachord
// theorem (a hexachord and its complement have the same vector; Babbitt, proofs in Lewin 1959).
func TestSetIdentities(t *testing.T) {
	for m := range pcset(1 << 12) {
		s := m.set()
		if got := m.invert().invert(); got != m {
			t.Fatalf("%012b inverted twice = %012b", m, got)
		}
		comp := (allPCs &^ m).set()
		if comp.Forte != s.Complement || comp.Complement != s.Forte {
			t.Errorf("%v: complement %s, its complement %s", s.PCs, s.Complement, comp.Complement)
		}
		sum := 0
		for _, d := range digits(t, s.Vector) {
			sum += d
		}
		if n := len(s.PCs); sum != n*(n-1)/2 {
			t.Errorf("%v: vector %s sums to %d", s.PCs, s.Vector, sum)
		}
		if len(s.PCs) == 6 && s.Vector != comp.Vector {
			t.Errorf("%v: hexachord vector %s, complement's %s", s.PCs, s.Vector, comp.Vector)
		}
		if pcsetOf(s.Normal) != m {
			t.Errorf("normal form %v of %v has other members", s.Normal, s.PCs)
		}
	}
}

// Invariances and common tones against the definitions, for every set.
func TestInvariances(t *testing.T) {
	for m := range pcset(1 << 12) {
		s := m.set()
		if st, si := s.SelfT(), s.SelfI(); m != 0 && (12/len(st) != s.Transposed || (len(si) > 0) != s.Symmetrical || len(si) > 0 && len(si) != len(st)) {
			t.Errorf("%v maps onto itself under T%v and T%vI; %d transpositions, symmetrical %v", s.PCs, st, si, s.Transposed, s.Symmetrical)
		}
		kept, vector := s.CommonT(), digits(t, s.Vector)
		for n := 1; n <= 6; n++ { // Straus, Introduction to Post-Tonal Theory, by way of Open Music Theory: common tones under transposition
			want := vector[n-1]
			if n == 6 {
				want *= 2
			}
			if kept[n] != want || kept[12-n] != want {
				t.Errorf("%v keeps %d under T%d and %d under T%d; vector %s", s.PCs, kept[n], n, kept[12-n], 12-n, s.Vector)
			}
		}
		for n, k := range s.CommonI() { // pairs that sum to n (memory: the index vector)
			sums := 0
			for _, a := range s.PCs {
				for _, b := range s.PCs {
					if (a+b)%12 == n {
						sums++
					}
				}
			}
			if k != sums {
				t.Errorf("%v keeps %d under T%dI, %d pairs sum to it", s.PCs, k, n, sums)
			}
		}
		if got := s.Mul(5).Mul(5); !slices.Equal(got.PCs, s.PCs) {
			t.Errorf("%v times 5 twice = %v", s.PCs, got.PCs)
		}
		if s.Mul(7).Forte != s.Mul(5).Forte { // M7 is M5 inverted
			t.Errorf("%v: M5 %s, M7 %s", s.PCs, s.Mul(5).Forte, s.Mul(7).Forte)
		}
	}
	triad, diatonic, whole := SetOfPCs([]int{0, 3, 7}), SetOfPCs([]int{0, 2, 4, 5, 7, 9, 11}), SetOfPCs([]int{0, 2, 4, 6, 8, 10})
	if !triad.In(diatonic) || triad.In(whole) || diatonic.In(triad) || !SetOfPCs(nil).In(triad) || !triad.In(triad) {
		t.Error("subsets are wrong")
	}
	if got := SetOfPCs([]int{0, 1, 2}).Mul(5).Forte; got != "3-9" { // semitones become fourths
		t.Errorf("3-1 times 5 = %s, want 3-9", got)
	}
}

// Scales: Butterfield, unit 22a, and common practice.
func TestScaleFrom(t *testing.T) {
	for _, c := range []struct{ notes, want string }{
		{"A B C D E F G", "natural minor"}, {"D E F G A B C", "Dorian"}, {"E F G A B C D", "Phrygian"}, {"F G A B C D E", "Lydian"}, {"G A B C D E F", "Mixolydian"},
		{"B C D E F G A", "Locrian"}, {"A B C D E F G#", "harmonic minor"}, {"C D E F# G# A#", "whole-tone"}, {"F# G# A# C# D#", "major pentatonic"},
		{"A C D E G", "minor pentatonic"}, {"C D E F G A", ""}, {"C", ""},
	} {
		cs := classes(t, c.notes)
		if got := ScaleFrom(cs[0], cs); got != c.want {
			t.Errorf("ScaleFrom(%s) = %q, want %q", c.notes, got, c.want)
		}
	}
}

func notes(t testing.TB, s string) []pitch.Pitch {
	t.Helper()
	var ps []pitch.Pitch
	for f := range strings.FieldsSeq(s) {
		p, err := pitch.Parse(f)
		if err != nil {
			t.Fatal(err)
		}
		ps = append(ps, p)
	}
	return ps
}

func BenchmarkSetOf(b *testing.B) {
	ns := notes(b, "F#2 A3 C4 E4 G4")
	b.ReportAllocs()
	for b.Loop() {
		SetOf(ns)
	}
}
