package pitch

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// every returns all pitches of the small domain: 7 letters, alterations -3 to 3, octaves -1 to 9.
func every() []Pitch {
	var all []Pitch
	for oct := -1; oct <= 9; oct++ {
		for l := C; l <= B; l++ {
			for a := int8(-MaxAlter); a <= MaxAlter; a++ {
				all = append(all, Pitch{l, a, int8(oct)})
			}
		}
	}
	return all
}

func TestParseUndoesString(t *testing.T) {
	seen := map[string]Pitch{}
	for _, p := range every() {
		for _, s := range []string{p.String(), p.Pretty(), strings.ToLower(p.String()), strings.Replace(p.String(), "##", "x", 1),
			strings.ReplaceAll(p.String(), "#", "♯"), strings.ReplaceAll(p.String(), "bb", "𝄫")} {
			if got, err := Parse(s); got != p || err != nil {
				t.Errorf("Parse(%q) = %v, %v; want %v, nil", s, got, err, p)
			}
		}
		if q, ok := seen[p.String()]; ok {
			t.Errorf("%#v and %#v have the same name %s", p, q, p)
		}
		seen[p.String()] = p
		c := p.Class()
		for _, s := range []string{c.String(), c.Pretty()} {
			if got, err := ParseClass(s); got != c || err != nil {
				t.Errorf("ParseClass(%q) = %v, %v; want %v, nil", s, got, err, c)
			}
			if got, rest, err := ScanClass(s + "m7"); got != c || rest != "m7" || err != nil {
				t.Errorf("ScanClass(%q) = %v, %q, %v; want %v, \"m7\", nil", s+"m7", got, rest, err, c)
			}
		}
		if got := c.In(int(p.Octave)); got != p {
			t.Errorf("%v.Class().In(%d) = %v", p, p.Octave, got)
		}
	}
}

func TestParseErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", `pitch: "" is no pitch: it is empty; letters are A to G`},
		{"H4", `pitch: "H4" is no pitch: it begins with 'H'; letters are A to G`},
		{"♯4", `pitch: "♯4" is no pitch: it begins with '♯'; letters are A to G`},
		{"!4", `pitch: "!4" is no pitch: it begins with '!'; letters are A to G`},
		{"C", `pitch: "C" is no pitch: the octave is missing (middle C is C4)`},
		{"C#", `pitch: "C#" is no pitch: the octave is missing (middle C is C4)`},
		{"C#b4", `pitch: "C#b4" is no pitch: its signs contradict each other`},
		{"C♮#4", `pitch: "C♮#4" is no pitch: its signs contradict each other`},
		{"C#♮4", `pitch: "C#♮4" is no pitch: its signs contradict each other`},
		{"C####4", `pitch: "C####4" is no pitch: more than three sharps or flats`},
		{"Cxx4", `pitch: "Cxx4" is no pitch: more than three sharps or flats`},
		{"C4 ", `pitch: "C4 " is no pitch: found "4 " where the octave number belongs`},
		{"C4.5", `pitch: "C4.5" is no pitch: found "4.5" where the octave number belongs`},
		{"C+4", `pitch: "C+4" is no pitch: found "+4" where the octave number belongs`},
		{"C04", `pitch: "C04" is no pitch: found "04" where the octave number belongs`},
		{"C--4", `pitch: "C--4" is no pitch: found "--4" where the octave number belongs`},
		{"C-", `pitch: "C-" is no pitch: found "-" where the octave number belongs`},
		{"C4#", `pitch: "C4#" is no pitch: found "4#" where the octave number belongs`},
		{"C13", `pitch: "C13" is no pitch: octave 13 is outside -2 to 12`},
		{"C-3", `pitch: "C-3" is no pitch: octave -3 is outside -2 to 12`},
		{"C99999999999999999999", `pitch: "C99999999999999999999" is no pitch: found "99999999999999999999" where the octave number belongs`},
	} {
		p, err := Parse(c.text)
		var pe *ParseError
		if !errors.As(err, &pe) || err.Error() != c.want || p != (Pitch{}) {
			t.Errorf("Parse(%q) = %v, %v; want an error: %s", c.text, p, err, c.want)
		}
	}
	if _, err := ParseClass("F#4"); err == nil || err.Error() != `pitch: "F#4" is no note name: "4" is left over` {
		t.Errorf("ParseClass(F#4): %v", err)
	}
	if _, _, err := ScanClass("b5"); err == nil || err.Error() != `pitch: "b5" is no note name: a chord root is written with a capital letter, A to G` {
		t.Errorf("ScanClass(b5): %v", err)
	}
	for text, want := range map[string]Pitch{"C♮4": {C, 0, 4}, "c-2": {C, 0, -2}, "bb12": {B, -1, 12}, "B𝄪#0": {B, 3, 0}} {
		if got, err := Parse(text); got != want || err != nil {
			t.Errorf("Parse(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
}

// TestFreq checks frequencies in Hz, A4 = 440 Hz, against figures printed elsewhere.
func TestFreq(t *testing.T) {
	for _, c := range []struct {
		pitch  string
		hz     float64
		digits int // decimals printed
		source string
	}{
		{"C4", 261.6255653, 7, "OEIS A329207, rounded"},
		{"C#4", 277.182630976, 7, "OEIS A329208: 277.1826309768"},
		{"D4", 293.6647679, 7, "OEIS A329209: 293.6647679174"},
		{"G4", 391.9954360, 7, "OEIS A329214: 391.9954359817"},
		{"B4", 493.8833013, 7, "OEIS A329218: 493.8833012561"},
		{"A4", 440, 10, "ISO 16:1975"},
		{"C0", 16.35, 2, "B. H. Suits, Physics of Music - Notes"},
		{"E2", 82.407, 3, "CRC Handbook of Chemistry and Physics, equal-tempered scale"},
		{"C2", 65.406, 3, "CRC Handbook of Chemistry and Physics, equal-tempered scale"},
		{"A0", 27.50, 2, "B. H. Suits, Physics of Music - Notes: the lowest key of the piano"},
		{"C8", 4186.01, 2, "B. H. Suits, Physics of Music - Notes: the highest key of the piano"},
		{"F#8", 5920, 0, "Engineering ToolBox, octave 8"},
		{"C-1", 8.1758, 4, "OEIS A320304"},
		{"B#3", 261.63, 2, "B. H. Suits, as C4: B#3 sounds as C4 (common practice, no source)"},
		{"Cb4", 246.94, 2, "B. H. Suits, as B3"},
		{"Fbb5", 622.25, 2, "B. H. Suits, as Eb5"},
	} {
		p, err := Parse(c.pitch)
		if err != nil {
			t.Fatal(err)
		}
		checkPrinted(t, p, float64(p.Freq(A440)), c.hz, c.digits, c.source)
	}
	// Another tuning moves all in proportion: 432/440 * 261.6255653.
	if got, want := float64(Pitch{C, 0, 4}.Freq(432)), 256.8687369; !(math.Abs(got-want) < 1e-6) {
		t.Errorf("C4 at A4 = 432: %v; want %v", got, want)
	}
}

// checkPrinted wants got to agree with a printed figure to a unit of its last decimal: most sources round, some cut off.
func checkPrinted(t *testing.T, p Pitch, got, want float64, decimals int, source string) {
	t.Helper()
	unit := math.Pow10(-decimals)
	if diff := math.Abs(got - want); !(diff <= 0.501*unit || diff < unit && strings.Contains(source, "OEIS")) {
		t.Errorf("%v.Freq(440) = %.10f; want %v (%s)", p, got, want, source)
	}
}

// TestFreqTable checks all 128 MIDI notes against the shared table, which names its sources in its head.
func TestFreqTable(t *testing.T) {
	dir := os.Getenv("PLUMBLINE_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	text, err := os.ReadFile(filepath.Join(dir, "reference", "equal-temperament.tsv"))
	if err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the reference table is required: %v", err)
		}
		t.Skipf("no reference table (set PLUMBLINE_SHARED): %v", err)
	}
	rows := 0
	for line := range strings.Lines(string(text)) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		n, err := strconv.Atoi(f[0])
		if err != nil || len(f) != 9 {
			continue
		}
		rows++
		for i, name := range f[1:3] {
			if name == "-" {
				continue
			}
			p, err := Parse(name)
			if err != nil || p.MIDI() != n {
				t.Errorf("%s: MIDI %d, %v; want %d", name, p.MIDI(), err, n)
			}
			if got := FromMIDI(n, i == 1); got != p {
				t.Errorf("FromMIDI(%d, %v) = %v; want %v", n, i == 1, got, p)
			}
			for _, figure := range f[3:8] {
				if figure == "-" {
					continue
				}
				want, err := strconv.ParseFloat(figure, 64)
				if err != nil {
					t.Fatal(err)
				}
				_, decimals, _ := strings.Cut(figure, ".")
				checkPrinted(t, p, float64(p.Freq(A440)), want, len(decimals), f[8])
			}
		}
	}
	if rows != 128 {
		t.Errorf("%d rows; want 128", rows)
	}
}

func TestFromMIDI(t *testing.T) {
	for n := -24; n <= 160; n++ {
		for _, flats := range []bool{false, true} {
			p := FromMIDI(n, flats)
			if p.MIDI() != n || p.Alter < -1 || p.Alter > 1 || flats && p.Alter > 0 || !flats && p.Alter < 0 || p.Alter != 0 == p.IsWhite() {
				t.Errorf("FromMIDI(%d, %v) = %v, which is %d", n, flats, p, p.MIDI())
			}
		}
	}
}

// TestEnharmonic has well-known pairs (common practice, no source), and checks the sound of everything against the keys.
func TestEnharmonic(t *testing.T) {
	for _, c := range [][2]string{{"E#4", "F4"}, {"B#3", "C4"}, {"Cb4", "B3"}, {"Fx3", "G3"}, {"Ebb5", "D5"}, {"C#4", "Db4"}, {"Cbbb4", "A3"}, {"B##3", "C#4"}} {
		p, err := Parse(c[0])
		q, err2 := Parse(c[1])
		if err != nil || err2 != nil || !p.Enharmonic(q) || !p.Class().Enharmonic(q.Class()) || p == q {
			t.Errorf("%s and %s: %d and %d; want the same sound", c[0], c[1], p.MIDI(), q.MIDI())
		}
	}
	const black = " 1 3 6 8 10 "
	for _, p := range every() {
		if p.PC() != ((p.MIDI()%12)+12)%12 {
			t.Errorf("%v: PC %d, MIDI %d", p, p.PC(), p.MIDI())
		}
		if want := !strings.Contains(black, fmt.Sprintf(" %d ", p.PC())); p.IsWhite() != want {
			t.Errorf("%v.IsWhite() = %v; want %v", p, p.IsWhite(), want)
		}
	}
}

func TestLineOfFifths(t *testing.T) {
	// The order of sharps and flats, as every handbook has it.
	const line = "Fbb Cbb Gbb Dbb Abb Ebb Bbb Fb Cb Gb Db Ab Eb Bb F C G D A E B F# C# G# D# A# E# B# F## C## G## D## A## E## B##"
	for i, name := range strings.Fields(line) {
		n := i - 15
		if got := ClassOfFifths(n).String(); got != name {
			t.Errorf("ClassOfFifths(%d) = %s; want %s", n, got, name)
		}
	}
	fifth := map[int]Class{}
	for n := -60; n <= 60; n++ {
		c := ClassOfFifths(n)
		if c.Fifths() != n {
			t.Errorf("ClassOfFifths(%d) = %v, which is at %d", n, c, c.Fifths())
		}
		if prev, ok := fifth[n-1]; ok && (prev.Add(PerfectFifth) != c || c.Sub(prev) != PerfectFifth) {
			t.Errorf("a fifth above %v is %v; want %v", prev, prev.Add(PerfectFifth), c)
		}
		fifth[n] = c
	}
	for _, p := range every() {
		if c := p.Class(); ClassOfFifths(c.Fifths()) != c {
			t.Errorf("ClassOfFifths(%v.Fifths()) = %v", c, ClassOfFifths(c.Fifths()))
		}
	}
}

// TestCompare checks that Compare is a total order that agrees with the sound.
func TestCompare(t *testing.T) {
	all := every()
	for _, p := range all {
		for _, q := range all {
			c := p.Compare(q)
			if c != -q.Compare(p) || (c == 0) != (p == q) {
				t.Fatalf("%v.Compare(%v) = %d, the other way %d", p, q, c, q.Compare(p))
			}
			if m := p.MIDI() - q.MIDI(); m*c < 0 || m != 0 && c == 0 {
				t.Fatalf("%v.Compare(%v) = %d; their sounds are %d apart", p, q, c, m)
			}
		}
	}
	var near []Pitch // transitive where sounds meet: all pitches about one octave
	for _, p := range all {
		if p.Octave >= 3 && p.Octave <= 4 {
			near = append(near, p)
		}
	}
	for _, p := range near {
		for _, q := range near {
			for _, r := range near {
				if p.Compare(q) < 0 && q.Compare(r) < 0 && p.Compare(r) >= 0 {
					t.Fatalf("%v < %v < %v, but not %v < %v", p, q, r, p, r)
				}
			}
		}
	}
}

func TestWords(t *testing.T) {
	for alter, want := range map[int8]string{0: "natural", 1: "sharp", -1: "flat", 2: "double sharp", -2: "double flat", 3: "triple sharp", -3: "triple flat", 5: "5-fold sharp"} {
		if got := (Class{G, alter}).AlterWord(); got != want {
			t.Errorf("AlterWord of %d = %q; want %q", alter, got, want)
		}
	}
	if got := Letter(9).String(); got != "%!Letter(9)" {
		t.Errorf("Letter(9) = %q", got)
	}
	if got := (Class{B, -3}).Pretty(); got != "B♭𝄫" {
		t.Errorf("Pretty of Bbbb = %q", got)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"C4", "F♯5", "bb-1", "Ex3", "G𝄫12", "P5", "-AA4", "d99", "C♮4", "Cm7"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if p, err := Parse(s); err == nil {
			if q, err := Parse(p.String()); q != p || err != nil {
				t.Errorf("Parse(%q) = %v, Parse of that = %v, %v", s, p, q, err)
			}
		} else if p != (Pitch{}) {
			t.Errorf("Parse(%q) = %v beside an error", s, p)
		}
		if c, rest, err := ScanClass(s); err == nil {
			if !strings.HasSuffix(s, rest) {
				t.Errorf("ScanClass(%q): rest %q", s, rest)
			}
			if d, err := ParseClass(strings.TrimSuffix(s, rest)); d != c || err != nil {
				t.Errorf("ScanClass(%q) = %v, ParseClass of that = %v, %v", s, c, d, err)
			}
		}
		if i, err := ParseInterval(s); err == nil {
			if i.String() != s {
				t.Errorf("ParseInterval(%q) = %v", s, i)
			}
		}
	})
}
