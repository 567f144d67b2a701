package chord

import (
	"slices"
	"strings"
	"testing"
)

// Chords from the literature, called as one would in front of a class. The pieces are in the public domain or quoted in the
// handbooks named; where no handbook or article is named, the notes are from memory of the score and the name is the plain
// textbook one. Several readings are given where the class would hear an argument.
var literature = []struct{ where, notes, want string }{
	{"Bach, Well-Tempered Clavier I, Prelude in C, bar 1", "C4 E4 G4 C5 E5", "C"},
	{"the same, bar 2", "C4 D4 A4 D5 F5", "Dm7/C"},
	{"the same, bar 3", "B3 D4 G4 D5 F5", "G7/B"},
	{"the same, bar 5", "C4 E4 A4 E5 A5", "Am/C"},
	{"the same, bar 6", "C4 D4 F#4 A4 D5", "D7/C"},
	{"the same, bar 8", "B3 C4 E4 G4 C5", "Cmaj7/B"},
	{"the same, bar 9", "A3 C4 E4 G4 C5", "Am7"},
	{"the same, bar 12", "G3 Bb3 E4 G4 C#5", "C#dim7/G"},
	{"the same, bar 14", "F3 Ab3 D4 F4 B4", "Bdim7/F"},
	{"the same, bar 16", "E3 F3 A3 C4 F4", "Fmaj7/E"},
	{"the same, bar 20", "C3 G3 Bb3 C4 E4", "C7"},
	{"the same, bar 21", "F2 F3 A3 C4 E4", "Fmaj7"},
	{"the same, bar 22", "F#2 C3 A3 C4 Eb4", "F#dim7"},
	{"the same, bar 25", "G2 E3 G3 C4 E4", "C/G"},
	{"the same, bar 26", "G2 D3 G3 C4 F4", "G7sus4"},
	{"the same, bar 28, over the pedal", "G2 Eb3 A3 C4 F#4", "F#dim7/G"},
	{"the same, bar 34, over the pedal", "C2 B3 D4 F4 G4", "G7/C"},
	{"Beethoven, op. 27 no. 2, bar 1", "C#2 C#3 G#3 C#4 E4", "C#m"},
	{"the same, bar 2", "B1 B2 G#3 C#4 E4", "C#m7/B"},
	{"the same, bar 3, the Neapolitan sixth", "F#1 F#2 A3 D4 F#4", "D/F#"},
	{"the same, bar 4, without its fifth", "G#1 G#2 G#3 B#3 F#4", "G#7"},
	{"the same, bar 4, the cadential six-four", "G#1 G#2 G#3 C#4 E4", "C#m/G#"},
	{"the same, bar 4, the suspension", "G#1 G#2 G#3 C#4 D#4", "G#sus4"},
	{"Beethoven, op. 31 no. 3, bar 1: ii65 to the class, Ab6 by the lead-sheet rule of Hutchinson 31.2", "Ab3 C4 Eb4 F4", "Ab6, Fm7/Ab"},
	{"Beethoven, op. 21, bar 1: begins on a dominant seventh", "C3 E4 G4 Bb4 C5 E5", "C7"},
	{"Chopin, op. 28 no. 4, bar 1", "G3 B3 E4 B4", "Em/G"},
	{"Wagner, Tristan und Isolde, bar 2 (Wikipedia, Tristan chord)", "F3 B3 D#4 G#4", "Tristan chord on F, Fm7(b5)"},
	{"the same, bar 3, after its appoggiatura", "E3 G#3 D4 B4", "E7"},
	{"Schumann, op. 48 no. 9, bar 1 (Butterfield 19a)", "A2 G3 Bb3 C#4 E4", "A7(b9)"},
	{"Strauss, Elektra (Wikipedia, Elektra chord)", "E3 B3 C#4 F4 G#4", "Elektra chord on E"},
	{"Scriabin, Prometheus, beginning (Wikipedia, Mystic chord)", "A2 D#3 G3 C#4 F#4 B4", "mystic chord on A"},
	{"Schoenberg, op. 9, the horn's fourths (Wikipedia, Quartal and quintal harmony)", "D3 G3 C4 F4 Bb4 Eb5", "stacked fourths on D3"},
	{"Stravinsky, Petrushka (Wikipedia, Petrushka chord)", "C4 E4 G4 F#4 A#4 C#5", "F# major over C major"},
	{"Stravinsky, The Rite of Spring (Hutchinson 32.4)", "Fb3 Ab3 Cb4 Eb4 G4 Bb4 Db5", "Eb7 over Fb major"},
	{"Copland, Appalachian Spring (Hutchinson 32.4)", "A2 C#3 E3 E4 G#4 B4", "E major over A major, Amaj9"},
	{"modal jazz, first chord of a pair (chords.tsv sowhat)", "E3 A3 D4 G4 B4", "three fourths and a major third on E, Em7(add11)"},
	{"the same, the second, a step lower", "D3 G3 C4 F4 A4", "three fourths and a major third on D, Dm7(add11)"},
	{"Schumann, op. 48 no. 1, last chord: ends on a dominant seventh", "C#3 G#3 B3 E#4", "C#7"},
	{"Mozart and everybody: It6 in C minor (Butterfield 18a)", "Ab2 C4 F#4 C5", "Italian sixth on Ab"},
	{"French sixth in C (Butterfield 18a)", "Ab2 C4 F#4 D5", "French sixth on Ab, Ab7(b5)"},
	{"German sixth in C (Butterfield 18a)", "Ab2 C4 F#4 Eb5", "German sixth on Ab, Ab7"},
}

func TestLiterature(t *testing.T) {
	if len(literature) < 30 {
		t.Fatalf("only %d chords", len(literature))
	}
	for _, c := range literature {
		want := strings.Split(c.want, ", ")
		if got := labels(Name(notes(t, c.notes))); len(got) < len(want) || !slices.Equal(got[:len(want)], want) {
			t.Errorf("%s: %s is called %q, want %q", c.where, c.notes, got, want)
		}
	}
}
