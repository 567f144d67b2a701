package line

import (
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// melody makes a line of quarter notes of the right hand.
func melody(t testing.TB, names string) Line {
	t.Helper()
	var l Line
	for i, f := range strings.Fields(names) {
		p, err := pitch.Parse(f)
		if err != nil {
			t.Fatal(err)
		}
		l = append(l, score.Note{Pitch: p, Onset: score.Quarters(i), Duration: score.Quarters(1), Hand: score.Right, Voice: 1})
	}
	return l
}

func TestJudge(t *testing.T) {
	for _, c := range []struct {
		notes                     string
		motion                    Motion
		altered, bySound, misfits int
	}{
		{"C4 D4 E4 F4", ByStep, 0, 0, 0},
		{"C4 C4 D4", ByStep, 0, 0, 0},  // a repeated note is no move
		{"C4 C#4 D4", ByStep, 1, 0, 0}, // the chromatic semitone stays on its letter
		{"F4 G#4 A4", ByStep, 0, 0, 1}, // the augmented second counts as a leap (common practice, no source)
		{"C4 D#4", InThirds, 0, 1, 0},  // sounds like a minor third
		{"E5 F5 F#5 G5 Ab5 A5", Chromatic, 0, 0, 0},
		{"E5 F5 G5", Chromatic, 0, 0, 1},
		{"F5 E#5 E5", Chromatic, 0, 0, 1}, // F to E# doesn't sound as a move at all
		{"C4 F4 B4 E5", InFourths, 1, 0, 0},
		{"C4 F4 Cb5", InFourths, 0, 0, 1},
		{"A2 D3 G2 C3 F2 Bb2", CircleOfFifths, 0, 0, 0},
		{"C3 F2 B2 E2 A2 D2 G2 C3", CircleOfFifths, 1, 0, 0}, // the diatonic circle has one tritone
		{"C3 G3 D4", CircleOfFifths, 0, 0, 2},                // the other way round
		{"F#2 B2 E2", InFifths, 0, 0, 1},
	} {
		j := Judge(melody(t, c.notes), c.motion)
		if len(j.Altered) != c.altered || len(j.BySound) != c.bySound || len(j.Misfits) != c.misfits {
			t.Errorf("Judge(%s, %v): altered %d, by sound %d, misfits %d; want %d, %d, %d", c.notes, c.motion,
				len(j.Altered), len(j.BySound), len(j.Misfits), c.altered, c.bySound, c.misfits)
		}
	}
}

func TestBest(t *testing.T) {
	for _, c := range []struct {
		notes string
		want  Motion
		ok    bool
	}{
		{"E5 F5 F#5 G5", Chromatic, true},
		{"C4 D4 E4 F#4", ByWholeTones, true},
		{"C4 D4 E4 F4", ByStep, true},
		{"A2 D3 G2 C3", CircleOfFifths, true},
		{"C4 E4 G4 B4", InThirds, true},
		{"C4 A4 D4 C5", 0, false},
		{"C4 D4", 0, false},
	} {
		if got, ok := Best(melody(t, c.notes)); got != c.want || ok != c.ok {
			t.Errorf("Best(%s) = %v, %v; want %v, %v", c.notes, got, ok, c.want, c.ok)
		}
	}
}

func TestSplitInTwo(t *testing.T) {
	for _, c := range []struct{ notes, high, low string }{
		{"E5 A4 D#5 G#4 D5 G4 C#5 F#4", "E5–D#5–D5–C#5", "A4–G#4–G4–F#4"},
		{"C5 E4 D5 F4 E5 G4 F5 A4", "C5–D5–E5–F5", "E4–F4–G4–A4"},
		{"G5 B4 A5 C5 B4 A5 B4 G5", "G5–A5–A5–G5", "B4–C5–B4–B4"},
		{"A4 E5 E5 A4 D5 G#4", "E5–E5–D5", "A4–A4–G#4"},
	} {
		s, ok := SplitInTwo(melody(t, c.notes))
		high := strings.ReplaceAll(names(s.High), " ", "–")
		low := strings.ReplaceAll(names(s.Low), " ", "–")
		if !ok || high != c.high || low != c.low {
			t.Errorf("SplitInTwo(%s) = %s / %s, %v; want %s / %s", c.notes, high, low, ok, c.high, c.low)
		}
	}
	for _, short := range []string{"", "C4 D4 E4"} {
		if _, ok := SplitInTwo(melody(t, short)); ok {
			t.Errorf("SplitInTwo(%q): ok", short)
		}
	}
}

func names(l Line) string {
	var s []string
	for _, n := range l {
		s = append(s, n.Pitch.String())
	}
	return strings.Join(s, " ")
}

// The exact search is held against trying every division of short random melodies.
func TestSplitInTwoIsLeast(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	for range 300 {
		n := 4 + rng.IntN(6)
		var l Line
		for i := range n {
			l = append(l, score.Note{Pitch: pitch.FromMIDI(60+rng.IntN(20), false), Onset: score.Quarters(i), Duration: score.Quarters(1)})
		}
		cost := func(strand []int) int {
			last := [2]int{-1, -1}
			sum := 0
			for i, s := range strand {
				if last[s] < 0 {
					if i > 0 {
						sum += 3 * (i - 1)
					}
				} else {
					d := max(l[i].Pitch.MIDI()-l[last[s]].Pitch.MIDI(), l[last[s]].Pitch.MIDI()-l[i].Pitch.MIDI())
					if d > 2 {
						d *= 2
					}
					sum += 4*d + 3*(i-last[s]-1)
				}
				if o := last[1-s]; last[s] >= 0 && o >= 0 {
					a, b := l[last[s]].Pitch.MIDI()-l[o].Pitch.MIDI(), l[i].Pitch.MIDI()-l[o].Pitch.MIDI()
					if a*b < 0 {
						sum += 16
					}
				}
				last[s] = i
			}
			return sum + 3*(n-1-min(last[0], last[1])-1)
		}
		least := 1 << 30
		for bits := 1; bits < 1<<(n-1); bits++ { // note 0 lies in strand 0; strand 1 gets at least one note
			strand := make([]int, n)
			for i := 1; i < n; i++ {
				strand[i] = bits >> (i - 1) & 1
			}
			least = min(least, cost(strand))
		}
		s, ok := SplitInTwo(l)
		if !ok { // one strand would have a single note
			continue
		}
		strand := make([]int, n)
		for i := range l {
			for _, m := range s.Low {
				if m == l[i] {
					strand[i] = 1
				}
			}
		}
		if strand[0] == 1 {
			for i := range strand {
				strand[i] = 1 - strand[i]
			}
		}
		if got := cost(strand); got != least || s.Cost != least {
			t.Errorf("SplitInTwo(%s) costs %d, says %d; the least is %d", names(l), got, s.Cost, least)
		}
	}
}

func TestOuters(t *testing.T) {
	var notes []score.Note
	bass, top := melody(t, "A2 D3 G2 C3 F2 Bb2"), melody(t, "E5 F5 F#5 G5 Ab5 A5")
	for i := range bass {
		b := bass[i]
		b.Hand = score.Left
		notes = append(notes, b, top[i])
	}
	r := score.Region{To: score.Quarters(6)}
	var got []string
	outers := Outers(notes, r)
	for _, o := range outers {
		got = append(got, o.Interval.Simple().String())
	}
	// A tune that rises by a semitone over a bass that rises by a fourth or falls by a fifth changes the outer interval by
	// four semitones a chord (5 - 1, octaves aside), so it closes after three (common practice, no source).
	if want := "P5 m3 M7 P5 m3 M7"; strings.Join(got, " ") != want {
		t.Errorf("Outers: %s; want %s", strings.Join(got, " "), want)
	}
	if p, ok := Period(outers, false); p != 3 || !ok {
		t.Errorf("Period = %d, %v; want 3, true", p, ok)
	}
	if p, ok := Period(outers[:5], false); ok {
		t.Errorf("Period of five = %d, %v; want none, since three don't come back in full", p, ok)
	}
	if b := Bass(notes, r); names(b) != "A2 D3 G2 C3 F2 Bb2" {
		t.Errorf("Bass = %s", names(b))
	}
	if l := Top(notes, r); names(l) != "E5 F5 F#5 G5 Ab5 A5" {
		t.Errorf("Top = %s", names(l))
	}
}

// A held note stays the top line while notes below it move, and the notes below don't become the tune when it ends.
func TestTopUnderHeldNote(t *testing.T) {
	mk := func(name string, at, length int) score.Note {
		p, _ := pitch.Parse(name)
		return score.Note{Pitch: p, Onset: score.Quarters(at), Duration: score.Quarters(length), Hand: score.Right}
	}
	notes := []score.Note{mk("C4", 0, 4), mk("C5", 0, 2), mk("E4", 1, 2), mk("D5", 3, 1)}
	if got := names(Top(notes, score.Region{To: score.Quarters(4)})); got != "C5 D5" {
		t.Errorf("Top = %s; want C5 D5", got)
	}
	if got := names(Bass(notes, score.Region{To: score.Quarters(4)})); got != "C4" {
		t.Errorf("Bass = %s; want C4", got)
	}
}

func BenchmarkSplitInTwo(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	var l Line
	for i := range 64 {
		l = append(l, score.Note{Pitch: pitch.FromMIDI(60+rng.IntN(20), false), Onset: score.Quarters(i), Duration: score.Quarters(1)})
	}
	b.ReportAllocs()
	for b.Loop() {
		SplitInTwo(l)
	}
}
