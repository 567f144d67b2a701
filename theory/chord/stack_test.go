package chord

import (
	"strings"
	"testing"
)

// Spacings by hand; the pure ones are definitions (Persichetti, Twentieth-Century Harmony, ch. 4 and 5; from memory).
func TestStackOf(t *testing.T) {
	for _, c := range []struct{ notes, kind, text string }{
		{"", "", "no notes"},
		{"C4", "", "one note"},
		{"C4 C4", "", "one note"},
		{"C4 G4", "fifths", "perfect fifth"},
		{"C4 A4", "", "major sixth"},
		{"C3 G4", "", "perfect twelfth"},
		{"C4 G4 D5", "fifths", "perfect fifths, all"},
		{"B2 F3 C4", "fifths", "fifths, one diminished"},
		{"D5 C4 G4", "fifths", "perfect fifths, all"},
		{"C4 F4 Bb4", "fourths", "perfect fourths, all"},
		{"C4 F4 B4 E5", "fourths", "fourths, one augmented"},
		{"C4 F#4 B4 E#5", "fourths", "fourths, two augmented"},
		{"C4 F4 A#4", "mixed", "mixed: P4, A3"}, // spelled as a third, whatever it sounds like
		{"C4 E4 G4", "thirds", "thirds: major, minor"},
		{"C4 E4 G#4", "thirds", "major thirds, all"},
		{"C4 D4 E4", "seconds", "major seconds, all"},
		{"G4 G#4 A4", "seconds", "seconds: chromatic semitone, minor"},
		{"C4 G4 B4", "mixed", "mixed: P5, M3"},
		{"C3 C4 F4 Bb4", "fourths", "perfect fourths, all, C doubled at the octave"},
		{"A3 D4 G4 A4", "fourths", "perfect fourths, all, A doubled at the octave"},
		{"D3 A3 D4 G4", "mixed", "mixed: P5, P4, P4"}, // leaving D3 out would change the bass
		{"C4 C5", "", "perfect octave"},
		{"E#4 F4", "", "diminished second"},
	} {
		if got := StackOf(notes(t, c.notes)); got.Kind != c.kind || got.Text != c.text {
			t.Errorf("StackOf(%s) = %q, %q; want %q, %q", c.notes, got.Kind, got.Text, c.kind, c.text)
		}
	}
}

func TestClusters(t *testing.T) {
	for _, c := range []struct{ notes, want string }{
		{"C4 D4", ""},
		{"C4 D4 E4", "diatonic: diatonic cluster C-D-E"}, // Fitton Music, tone clusters
		{"G4 G#4 A4 A#4", "chromatic: chromatic cluster G-G#-A-A#"},
		{"C4 D4 E5", ""},
		{"E4 F#4 G#4 A4 A#4", "mixed: mixed cluster E-F#-G#-A-A#, whole tones E-F#, F#-G#"},
		{"C4 C#4 D#4", "diatonic: diatonic cluster C-C#-D#"}, // B C# D# … : neighbours in C# major
		{"C4 C#4 D4 E4", "mixed: mixed cluster C-C#-D-E, whole tone D-E"},
		{"C4 D4 E4 F#4", "whole-tone: whole-tone cluster C-D-E-F#"},
		{"C#4 D#4 F#4 G#4 A#4", "black-key: black-key cluster C#-D#-F#-G#-A#"}, // Wikipedia, Tone cluster
		{"F#4 G#4 A#4", "black-key: black-key cluster F#-G#-A#"},
		{"C4 D4 F4 G4 A4", "pentatonic: pentatonic cluster C-D-F-G-A"},
		{"C4 D4 E4 F4 G4 A4 B4", "white-key: white-key cluster C-D-E-F-G-A-B"},
		{"C3 E3 G3 G#4 A4 A#4", "chromatic: chromatic cluster G#-A-A#"},
		{"C4 C#4 D4 G4 A4 B4", "chromatic: chromatic cluster C-C#-D | diatonic: diatonic cluster G-A-B"},
	} {
		var got []string
		for _, cl := range Clusters(notes(t, c.notes)) {
			got = append(got, cl.Kind+": "+cl.Text)
		}
		if g := strings.Join(got, " | "); g != c.want {
			t.Errorf("Clusters(%s) = %q; want %q", c.notes, g, c.want)
		}
	}
	if below, above, broken := ChromaticBreak(notes(t, "G#4 A4 B4")); !broken || below.String() != "A4" || above.String() != "B4" {
		t.Errorf("ChromaticBreak = %v %v %v", below, above, broken)
	}
	for _, c := range []struct {
		pcs  []int
		want bool
	}{{[]int{11, 0, 1}, true}, {[]int{8, 9, 10}, true}, {[]int{8, 9, 11}, false}, {[]int{0, 1}, false}, {[]int{0, 12, 1}, false}} {
		if got := IsChromaticCluster(c.pcs); got != c.want {
			t.Errorf("IsChromaticCluster(%v) = %v", c.pcs, got)
		}
	}
}

func TestKeys(t *testing.T) {
	for _, c := range []struct {
		notes        string
		white, black bool
	}{{"", false, false}, {"E#4 B#4 Cb4", true, false}, {"F#4 Db4", false, true}, {"C4 F#4", false, false}} {
		if w, b := WhiteOnly(notes(t, c.notes)), BlackOnly(notes(t, c.notes)); w != c.white || b != c.black {
			t.Errorf("%q: WhiteOnly %v, BlackOnly %v", c.notes, w, b)
		}
	}
}
