package key

import (
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// signatures are the key signatures of the major and minor keys in use, sharps positive (common practice, no source).
var signatures = []struct {
	fifths       int
	major, minor string
}{
	{-7, "Cb", "Ab"}, {-6, "Gb", "Eb"}, {-5, "Db", "Bb"}, {-4, "Ab", "F"}, {-3, "Eb", "C"}, {-2, "Bb", "G"}, {-1, "F", "D"}, {0, "C", "A"},
	{1, "G", "E"}, {2, "D", "B"}, {3, "A", "F#"}, {4, "E", "C#"}, {5, "B", "G#"}, {6, "F#", "D#"}, {7, "C#", "A#"},
}

// modes are the church modes on the white keys (common practice, no source).
var modes = map[Mode]string{Major: "C", Dorian: "D", Phrygian: "E", Lydian: "F", Mixolydian: "G", Minor: "A", Locrian: "B"}

func mustParse(t testing.TB, s string) Key {
	t.Helper()
	k, err := Parse(s)
	if err != nil {
		t.Fatalf("Parse(%q): %v", s, err)
	}
	return k
}

func TestSignatures(t *testing.T) {
	const sharps, flats = "FCGDAEB", "BEADGCF" // the order in which they are printed
	for _, c := range signatures {
		for m, tonic := range map[Mode]string{Major: c.major, Minor: c.minor} {
			k := mustParse(t, tonic+" "+m.String())
			if k.Signature() != c.fifths {
				t.Errorf("%v: signature %d; want %d", k, k.Signature(), c.fifths)
			}
			if got := FromSignature(c.fifths, m); got != k {
				t.Errorf("FromSignature(%d, %v) = %v; want %v", c.fifths, m, got, k)
			}
			for l := pitch.C; l <= pitch.B; l++ {
				want := int8(0)
				if i := strings.Index(sharps, l.String()); i < c.fifths {
					want = 1
				}
				if i := strings.Index(flats, l.String()); i < -c.fifths {
					want = -1
				}
				if got := k.InSignature(l); got != want {
					t.Errorf("%v alters %v by %d; want %d", k, l, got, want)
				}
			}
		}
	}
}

func TestModes(t *testing.T) {
	for what, n := range map[string]int{"names": len(modeNames), "signatures": len(signatureShift)} {
		if n != len(modes) {
			t.Fatalf("%d %s of modes; want %d", n, what, len(modes))
		}
	}
	for m, final := range modes {
		if k := mustParse(t, final+" "+m.String()); k.Signature() != 0 || k.Mode != m {
			t.Errorf("%v has signature %d; want none", k, k.Signature())
		}
		// Every mode on every tonic has the steps that it has on the white keys.
		for n := -14; n <= 14; n++ {
			k := FromSignature(n, m)
			if k.Signature() != n {
				t.Errorf("FromSignature(%d, %v) = %v, of signature %d", n, m, k, k.Signature())
			}
			scale, white := k.Scale(), FromSignature(0, m).Scale()
			for i := range scale {
				if scale[i].Sub(k.Tonic) != white[i].Sub(white[0]) || !k.Contains(scale[i]) {
					t.Errorf("%v: degree %d is %v", k, i+1, scale[i])
				}
				for _, by := range []int8{-1, 1} {
					if c := (pitch.Class{Letter: scale[i].Letter, Alter: scale[i].Alter + by}); k.Contains(c) {
						t.Errorf("%v contains %v and %v", k, scale[i], c)
					}
				}
			}
			if scale[0] != k.Tonic {
				t.Errorf("%v begins on %v", k, scale[0])
			}
		}
	}
}

// TestScales has a few scales written out (common practice, no source).
func TestScales(t *testing.T) {
	for name, want := range map[string]string{
		"A major": "A B C# D E F# G#", "F minor": "F G Ab Bb C Db Eb", "Cb major": "Cb Db Eb Fb Gb Ab Bb", "G# major": "G# A# B# C# D# E# F##",
		"D dorian": "D E F G A B C", "F# phrygian": "F# G A B C# D E", "Bb lydian": "Bb C D E F G A", "A mixolydian": "A B C# D E F# G",
		"B locrian": "B C D E F G A", "Fb major": "Fb Gb Ab Bbb Cb Db Eb",
	} {
		k := mustParse(t, name)
		var got []string
		for _, c := range k.Scale() {
			got = append(got, c.String())
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s: %s; want %s", name, s, want)
		}
	}
}

func TestParse(t *testing.T) {
	for text, want := range map[string]string{
		"A major": "A major", "a major": "A major", "A": "A major", "a": "A minor", "f# minor": "F# minor", "F♯ Minor": "F# minor",
		"E flat major": "Eb major", "e-flat minor": "Eb minor", "C sharp": "C# major", "c sharp": "C# minor", "B-flat, dorian": "Bb dorian",
		"bb": "Bb minor", "Bb": "Bb major", "G dur": "G major", "g moll": "G minor", "C ionian": "C major", "A aeolian": "A minor",
		"  D   maj ": "D major", "D min": "D minor", "E LOCRIAN": "E locrian", "Cx major": "C## major",
		"Em": "E minor", "em": "E minor", "E min": "E minor", "E m": "E minor", "F#m": "F# minor", "F♯m": "F# minor", "Bb maj": "Bb major", "Bbmaj": "Bb major", "B flat m": "Bb minor", "Bbm": "Bb minor", "CM": "C major",
	} {
		if got := mustParse(t, text).String(); got != want {
			t.Errorf("Parse(%q) = %s; want %s", text, got, want)
		}
	}
	for n := -25; n <= 25; n++ {
		for m := Major; m <= Locrian; m++ {
			k := FromSignature(n, m)
			if a := k.Tonic.Alter; a < -pitch.MaxAlter || a > pitch.MaxAlter {
				continue
			}
			if got := mustParse(t, k.String()); got != k {
				t.Errorf("Parse(%q) = %v", k.String(), got)
			}
		}
	}
}

func TestParseErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", `key: the key is missing; want a tonic and a mode, as in "A major"`},
		{" , ", `key: the key is missing; want a tonic and a mode, as in "A major"`},
		{"H major", `key: "H major" begins with no tonic (pitch: "H" is no note name: it begins with 'H'; letters are A to G)`},
		{"A4 major", `key: "A4 major" begins with no tonic (pitch: "A4" is no note name: "4" is left over)`},
		{"major", `key: "major" begins with no tonic (pitch: "major" is no note name: it begins with 'm'; letters are A to G)`},
		{"A mayor", `key: "A mayor": found "mayor" where the mode belongs; want major, minor or a church mode`},
		{"A major scale", `key: "A major scale": found "major scale" where the mode belongs; want major, minor or a church mode`},
		{"A flat sharp", `key: "A flat sharp": found "sharp" where the mode belongs; want major, minor or a church mode`},
	} {
		if k, err := Parse(c.text); err == nil || err.Error() != c.want || k != (Key{}) {
			t.Errorf("Parse(%q) = %v, %v; want %s", c.text, k, err, c.want)
		}
	}
	if got := Mode(9).String(); got != "%!Mode(9)" {
		t.Errorf("Mode(9) = %q", got)
	}
	if got := Mode(-1).String(); got != "%!Mode(-1)" {
		t.Errorf("Mode(-1) = %q", got)
	}
	if k := (Key{Mode: 99}); k.Signature() != 0 || FromSignature(0, 99).Tonic != (pitch.Class{}) {
		t.Errorf("an unknown mode: signature %d", k.Signature())
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"A major", "e flat minor", "bb", "F♯-phrygian", "C sharp", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		k, err := Parse(s)
		if err != nil {
			return
		}
		if again, err := Parse(k.String()); again != k || err != nil {
			t.Errorf("Parse(%q) = %v, Parse of that = %v, %v", s, k, again, err)
		}
		for _, c := range k.Scale() {
			if !k.Contains(c) {
				t.Errorf("%v doesn't contain its %v", k, c)
			}
		}
	})
}
