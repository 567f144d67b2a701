package key

import (
	"testing"

	"plumbline/theory/pitch"
)

func TestChord(t *testing.T) {
	// Common practice, no source, unless said otherwise.
	for _, tt := range []struct{ key, numeral, want string }{
		{"C major", "I", "C"},
		{"C major", "ii", "Dm"},
		{"C major", "viio", "Bdim"},
		{"C major", "vii°6", "Bdim/D"},
		{"C major", "V7", "G7"},
		{"C major", "V65", "G7/B"},
		{"C major", "V6/5", "G7/B"},
		{"C major", "V43", "G7/D"},
		{"C major", "V42", "G7/F"},
		{"C major", "V2", "G7/F"},
		{"C major", "I64", "C/G"},
		{"C major", "IV7", "Fmaj7"},
		{"C major", "IVM7", "Fmaj7"},
		{"C major", "ii7", "Dm7"},
		{"C major", "viiø7", "Bm7(b5)"},
		{"C major", "viio7", "Bdim7"},
		{"C major", "bVI", "Ab"},
		{"C major", "bII6", "Db/F"},
		{"C major", "N6", "Db/F"},
		{"C major", "iv", "Fm"},
		{"C major", "V/V", "D"},
		{"C major", "V7/V", "D7"},
		{"C major", "V65/V", "D7/F#"},
		{"C major", "V7/ii", "A7"},
		{"C major", "V7/IV", "C7"},
		{"C major", "viio7/V", "F#dim7"},
		{"C major", "V9", "G9"},
		{"C major", "I+", "Caug"},
		{"A minor", "i", "Am"},
		{"A minor", "V", "E"},
		{"A minor", "v", "Em"},
		{"A minor", "VII", "G"},
		{"A minor", "viio7", "G#dim7"},
		{"A minor", "#viio7", "G#dim7"},
		{"A minor", "iiø65", "Bm7(b5)/D"},
		{"A minor", "VI", "F"},
		{"A minor", "III+", "Caug"},
		{"A minor", "N6", "Bb/D"},
		{"A minor", "Ger+6", "German sixth on F"},
		{"C major", "Fr43", "French sixth on Ab"},
		{"C minor", "It6", "Italian sixth on Ab"},
		{"F# minor", "iv6", "Bm/D"},
		{"Eb major", "vi", "Cm"},
	} {
		k, err := Parse(tt.key)
		if err != nil {
			t.Fatal(err)
		}
		got, err := k.Chord(tt.numeral)
		if err != nil {
			t.Errorf("%s in %s: %v", tt.numeral, tt.key, err)
		} else if got.House() != tt.want {
			t.Errorf("%s in %s: got %s, want %s", tt.numeral, tt.key, got.House(), tt.want)
		}
	}
	for _, tt := range []struct {
		numeral string
		offset  int
	}{{"", 0}, {"VIII", 3}, {"H7", 0}, {"V8", 1}, {"V7/", 3}, {"V/viio", 2}, {"VM", 2}, {"V7x", 2}, {"Ger7", 3}} {
		_, err := (Key{}).Chord(tt.numeral)
		e, ok := err.(*NumeralError)
		if !ok || e.Offset != tt.offset {
			t.Errorf("%q: got %v, want an error at offset %d", tt.numeral, err, tt.offset)
		}
	}
}

// TestChordNumeral takes every numeral of this list there and back in every key: what Chord makes of it, Numeral calls so again.
func TestChordNumeral(t *testing.T) {
	for fifths := -7; fifths <= 7; fifths++ {
		for mode, list := range map[Mode][]string{
			Major: {"I", "ii", "iii", "IV", "V", "vi", "viio", "I6", "V64", "V7", "V65", "V43", "V42", "ii7", "ii65", "iii7", "vi7", "IVM7", "IM7", "viiø7", "viio7", "V7/V", "V65/V", "V7/vi", "viio7/V", "bVI", "bIII", "iv", "V/V", "V/ii", "V7/IV"},
			Minor: {"i", "iio", "III", "iv", "v", "V", "VI", "VII", "i6", "V7", "V65", "V42", "iiø7", "iiø65", "viio7", "viio6", "V7/V", "V7/iv", "VIM7", "iv7", "i7"},
		} {
			k := FromSignature(fifths, mode)
			for _, n := range list {
				s, err := k.Chord(n)
				if err != nil {
					t.Fatal(err)
				}
				bass, _ := s.BassClass()
				if got := k.Numeral(s.Root, s.Spell(), bass); got.Text != n {
					t.Errorf("%s in %s is %s, which is called %q", n, k, s.House(), got.Text)
				}
			}
		}
	}
}

func FuzzChord(f *testing.F) {
	for _, s := range []string{"V65/V", "viio7/ii", "bVIM7", "Ger+6", "N6", "I6/4"} {
		f.Add(s, 3)
	}
	f.Fuzz(func(t *testing.T, s string, fifths int) {
		k := Key{Tonic: pitch.ClassOfFifths(fifths % 8), Mode: Mode(uint(fifths) % 2)}
		if sym, err := k.Chord(s); err == nil && sym.House() == "" {
			t.Errorf("%q: no chord and no error", s)
		}
	})
}
