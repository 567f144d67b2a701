package chord

import (
	"bufio"
	"fmt"
	"os"
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
