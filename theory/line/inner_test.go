package line

import (
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// passageOf makes a passage of chords of a quarter note each, "A2 E3 C4 | …", bars of four: the lower half of each in the left
// hand, cut where a slash stands if one does.
func passageOf(t testing.TB, text string) *score.Passage {
	t.Helper()
	p := &score.Passage{}
	list := strings.Split(text, "|")
	for i, c := range list {
		left, right, cut := strings.Cut(c, "/")
		for h, names := range []string{left, right} {
			f := strings.Fields(names)
			for k, name := range f {
				x, err := pitch.Parse(name)
				if err != nil {
					t.Fatal(err)
				}
				hand := score.Left
				if h == 1 || !cut && k >= (len(f)+1)/2 {
					hand = score.Right
				}
				p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: score.Quarters(i), Duration: score.Quarters(1), Hand: hand, Voice: 1, Bar: i / 4})
			}
		}
	}
	m := score.Meter{Beats: 4, Unit: 4}
	for i := 0; i*4 < len(list); i++ {
		p.Bars = append(p.Bars, score.Bar{Number: string(rune('1' + i)), Start: score.Quarters(4 * i), Length: m.Length(), Meter: m})
	}
	p.Sort()
	return p
}

func whole(p *score.Passage) score.Region { return score.Region{To: p.End()} }

func lineTexts(ls []Line) []string {
	var s []string
	for _, l := range ls {
		s = append(s, l.String())
	}
	return s
}

func TestInner(t *testing.T) {
	for _, c := range []struct {
		chords string
		want   string // the first thread
	}{
		// A chromatic thread falls between outer voices that hold still.
		{"C3 C4 G4 | C3 B3 G4 | C3 Bb3 G4 | C3 A3 G4 | C3 Ab3 G4", "C4–B3–Bb3–A3–Ab3"},
		// Under changing chords, with another inner voice that stays.
		{"A2 E3 C#4 A4 | A2 E3 C4 A4 | G2 E3 B3 G4 | F2 F3 A#3 F4 | E2 E3 A3 E4", "C#4–C4–B3–A#3–A3"},
		{"C3 G4", ""},
	} {
		p := passageOf(t, c.chords)
		got := Inner(p.Sounding(), whole(p))
		first := ""
		if len(got) > 0 {
			first = got[0].String()
		}
		if first != c.want {
			t.Errorf("Inner(%s) = %v; want %q first", c.chords, lineTexts(got), c.want)
		}
	}
}

func TestChromaticThreads(t *testing.T) {
	for _, c := range []struct{ chords, want string }{
		{"C3 C4 G4 | C3 B3 G4 | C3 Bb3 G4 | C3 A3 G4 | C3 Ab3 G4", "C4–B3–Bb3–A3–Ab3"},
		// The thread passes from one hand to the other, and a chord comes twice.
		{"E2 B2 / E4 G#4 | E2 B2 / E4 G#4 | D2 A2 / D4 G4 | D2 / A2 F#4 | C2 F4 / A4 | E2 / E4 B4", "G#4–G4–F#4–F4–E4"},
		{"C3 E4 G4 | D3 F4 A4 | E3 G4 B4", ""},
	} {
		p := passageOf(t, c.chords)
		got := ChromaticThreads(p.Sounding(), whole(p), 3)
		first := ""
		if len(got) > 0 {
			first = got[0].String()
		}
		if first != c.want {
			t.Errorf("ChromaticThreads(%s) = %v; want %q first", c.chords, lineTexts(got), c.want)
		}
	}
}
