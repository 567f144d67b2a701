package pitch

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

func TestAddUndoesSub(t *testing.T) {
	all := every()
	for _, a := range all {
		for _, b := range all {
			i := b.Sub(a)
			if got := a.Add(i); got != b {
				t.Fatalf("%v.Add(%v.Sub(%v)) = %v", a, b, a, got)
			}
			if i.Neg() != a.Sub(b) || i.Plus(a.Sub(b)) != Unison {
				t.Fatalf("%v.Sub(%v) = %v, the other way %v", b, a, i, a.Sub(b))
			}
			if a.Enharmonic(b) != i.Enharmonic(Unison) {
				t.Fatalf("%v and %v: Enharmonic %v, interval %v", a, b, a.Enharmonic(b), i)
			}
		}
	}
}

func TestClassArithmetic(t *testing.T) {
	var all []Class
	for _, p := range every() {
		if p.Octave == 4 {
			all = append(all, p.Class())
		}
	}
	for _, a := range all {
		for _, b := range all {
			i := b.Sub(a)
			if a.Add(i) != b || i.Steps < 0 || i.Steps > 6 {
				t.Fatalf("%v.Sub(%v) = %v; %v.Add of that = %v", b, a, i, a, a.Add(i))
			}
		}
	}
}

// everyInterval returns all intervals that have a name of at most triple augmentation, both ways, to number 99.
func everyInterval() map[string]Interval {
	all := map[string]Interval{}
	for n := 1; n <= 99; n++ {
		major := letterSemitones[(n-1)%7] + 12*((n-1)/7)
		add := func(q string, semitones int) {
			i := Interval{n - 1, semitones}
			if i.Descends() {
				return // no diminished unisons
			}
			all[q+fmt.Sprint(n)] = i
			if i != Unison {
				all["-"+q+fmt.Sprint(n)] = i.Neg()
			}
		}
		below := 0
		if isPerfectKind((n - 1) % 7) {
			add("P", major)
		} else {
			add("M", major)
			add("m", major-1)
			below = 1
		}
		for k := 1; k <= 3; k++ {
			add(strings.Repeat("A", k), major+k)
			add(strings.Repeat("d", k), major-below-k)
		}
	}
	return all
}

func TestIntervalNames(t *testing.T) {
	all := everyInterval()
	// 43 numbers of the perfect kind with 7 qualities, 56 others with 8, less 3 diminished unisons; both ways but for P1.
	if want := 2*(43*7+56*8-3) - 1; len(all) != want {
		t.Fatalf("%d intervals; want %d", len(all), want)
	}
	seen := map[Interval]string{}
	for name, i := range all {
		if got, err := ParseInterval(name); got != i || err != nil {
			t.Errorf("ParseInterval(%q) = %#v, %v; want %#v", name, got, err, i)
		}
		if got := i.String(); got != name {
			t.Errorf("%#v.String() = %q; want %q", i, got, name)
		}
		if other, ok := seen[i]; ok {
			t.Errorf("%s and %s are the same", name, other)
		}
		seen[i] = name
		if i.Abs().Descends() || i.Abs() != i && i.Abs() != i.Neg() {
			t.Errorf("%s.Abs() = %v", name, i.Abs())
		}
	}
}

func TestIntervalErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", `pitch: "" is no interval: the quality is missing: P, M, m, A or d`},
		{"5", `pitch: "5" is no interval: the quality is missing: P, M, m, A or d`},
		{"--M3", `pitch: "--M3" is no interval: the quality is missing: P, M, m, A or d`},
		{"MM3", `pitch: "MM3" is no interval: "MM" is no quality; qualities are P, M, m, A, AA, AAA, d, dd, ddd`},
		{"Ad3", `pitch: "Ad3" is no interval: "Ad" is no quality; qualities are P, M, m, A, AA, AAA, d, dd, ddd`},
		{"AAAA4", `pitch: "AAAA4" is no interval: "AAAA" is no quality; qualities are P, M, m, A, AA, AAA, d, dd, ddd`},
		{"M", `pitch: "M" is no interval: found "" where the number (1 to 99) belongs`},
		{"M0", `pitch: "M0" is no interval: found "0" where the number (1 to 99) belongs`},
		{"M03", `pitch: "M03" is no interval: found "03" where the number (1 to 99) belongs`},
		{"M+3", `pitch: "M+3" is no interval: found "+3" where the number (1 to 99) belongs`},
		{"M100", `pitch: "M100" is no interval: found "100" where the number (1 to 99) belongs`},
		{"M3x", `pitch: "M3x" is no interval: found "3x" where the number (1 to 99) belongs`},
		{"P3", `pitch: "P3" is no interval: a third is major or minor, never perfect`},
		{"m8", `pitch: "m8" is no interval: an octave is perfect, never major or minor`},
		{"P86", `pitch: "P86" is no interval: an 86th is major or minor, never perfect`},
		{"m5", `pitch: "m5" is no interval: a fifth is perfect, never major or minor`},
		{"M11", `pitch: "M11" is no interval: an eleventh is perfect, never major or minor`},
		{"d1", `pitch: "d1" is no interval: a diminished unison would descend; write -A1`},
		{"-P1", `pitch: "-P1" is no interval: a perfect unison has no direction`},
	} {
		i, err := ParseInterval(c.text)
		var pe *ParseError
		if !errors.As(err, &pe) || err.Error() != c.want || i != (Interval{}) {
			t.Errorf("ParseInterval(%q) = %v, %v; want an error: %s", c.text, i, err, c.want)
		}
	}
}

// TestIntervalFacts has intervals that every handbook of theory gives (common practice, no source).
func TestIntervalFacts(t *testing.T) {
	for _, c := range []struct {
		low, high, short, words string
		class                   int
	}{
		{"C4", "C4", "P1", "perfect unison", 0},
		{"C4", "C#4", "A1", "augmented unison", 1},
		{"E4", "F4", "m2", "minor second", 1},
		{"C4", "D#4", "A2", "augmented second", 3},
		{"C4", "E4", "M3", "major third", 4},
		{"C#4", "Eb4", "d3", "diminished third", 2},
		{"F4", "B4", "A4", "augmented fourth", 6},
		{"B4", "F5", "d5", "diminished fifth", 6},
		{"C4", "Fb4", "d4", "diminished fourth", 4},
		{"Ab3", "F#4", "A6", "augmented sixth", 2},
		{"G#3", "F4", "d7", "diminished seventh", 3},
		{"G3", "F4", "m7", "minor seventh", 2},
		{"C4", "B4", "M7", "major seventh", 1},
		{"C4", "C5", "P8", "perfect octave", 0},
		{"C#4", "C5", "d8", "diminished octave", 1},
		{"C4", "Eb5", "m10", "minor tenth", 3},
		{"C3", "G4", "P12", "perfect twelfth", 5},
		{"C3", "C5", "P15", "perfect fifteenth", 0},
		{"F3", "Bx3", "AAA4", "triply augmented fourth", 4},
		{"Cb3", "B#3", "AA7", "doubly augmented seventh", 1},
		{"B3", "C4", "m2", "minor second", 1},
	} {
		lo, err := Parse(c.low)
		hi, err2 := Parse(c.high)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		i := hi.Sub(lo)
		if i.String() != c.short || i.Words() != c.words || i.Class() != c.class || i.Neg().Class() != c.class || i.Neg().Words() != c.words {
			t.Errorf("%s to %s: %s, %q, class %d; want %s, %q, %d", c.low, c.high, i, i.Words(), i.Class(), c.short, c.words, c.class)
		}
		if lo.Sub(hi) != Unison && lo.Sub(hi).String() != "-"+c.short {
			t.Errorf("%s to %s: %s; want -%s", c.high, c.low, lo.Sub(hi), c.short)
		}
	}
}

// TestInvert has the inversions of the handbooks (common practice, no source): numbers add up to nine, major becomes minor,
// augmented becomes diminished, perfect stays.
func TestInvert(t *testing.T) {
	for from, to := range map[string]string{"P1": "P8", "m2": "M7", "M2": "m7", "m3": "M6", "M3": "m6", "P4": "P5", "A4": "d5", "A1": "d8", "d7": "A2",
		"A6": "d3", "AA4": "dd5", "m10": "M6", "P12": "P4", "P15": "P8", "A8": "d8", "-M3": "m6"} {
		i, err := ParseInterval(from)
		if err != nil {
			t.Fatal(err)
		}
		if got := i.Invert().String(); got != to {
			t.Errorf("%s.Invert() = %s; want %s", from, got, to)
		}
	}
	for name, i := range everyInterval() {
		s := i.Simple()
		if s.Descends() || s.Steps > 7 || s.Steps == 7 && s.Semitones >= 12 || (i.Abs().Semitones-s.Semitones)%12 != 0 || s.Simple() != s {
			t.Errorf("%s.Simple() = %s", name, s)
		}
		if got := s.Invert().Invert(); got != s {
			t.Errorf("%s inverted twice is %s", s, got)
		}
		inv := s.Invert()
		if inv.Number()+s.Number() != 9 || !s.Descends() && inv.Quality() != -s.Quality() {
			t.Errorf("%s.Invert() = %s", s, inv)
		}
		if i.Class() != inv.Class() || i.Class() < 0 || i.Class() > 6 {
			t.Errorf("%s: class %d, of its inversion %d", name, i.Class(), inv.Class())
		}
	}
	if Octave.Invert() != Unison || Unison.Invert() != Octave {
		t.Errorf("octave and unison: %v, %v", Octave.Invert(), Unison.Invert())
	}
}

func TestNumberWord(t *testing.T) {
	for n, want := range map[int]string{1: "unison", 2: "second", 8: "octave", 11: "eleventh", 13: "thirteenth", 15: "fifteenth",
		16: "16th", 21: "21st", 22: "22nd", 23: "23rd", 24: "24th", 111: "111th", 112: "112th", 0: "0th"} {
		if got := NumberWord(n); got != want {
			t.Errorf("NumberWord(%d) = %q; want %q", n, got, want)
		}
	}
	for q, want := range map[Quality]string{Minor: "minor", Major: "major", Perfect: "perfect", Augmented: "augmented", Augmented + 1: "doubly augmented",
		Diminished - 2: "triply diminished", 9: "8-fold augmented", -9: "8-fold diminished"} {
		if got := q.String(); got != want {
			t.Errorf("Quality(%d) = %q; want %q", q, got, want)
		}
	}
}

// TestCommonIntervals checks the named values against their short names.
func TestCommonIntervals(t *testing.T) {
	for name, i := range map[string]Interval{"P1": Unison, "m2": MinorSecond, "M2": MajorSecond, "m3": MinorThird, "M3": MajorThird, "P4": PerfectFourth,
		"A4": AugmentedFourth, "d5": DiminishedFifth, "P5": PerfectFifth, "m6": MinorSixth, "M6": MajorSixth, "m7": MinorSeventh, "M7": MajorSeventh, "P8": Octave} {
		if i.String() != name {
			t.Errorf("%v is called %s", name, i)
		}
	}
}
