package chord

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

func voicing(t testing.TB, s string) Voicing {
	t.Helper()
	l, r, two := strings.Cut(s, "|")
	if !two {
		return Voicing{Right: notes(t, l)}
	}
	return Voicing{Left: notes(t, l), Right: notes(t, r)}
}

// Worked out by hand; the words are common practice, no source.
func TestRelate(t *testing.T) {
	for _, c := range []struct{ a, b, left, right, common, text string }{
		{"A2 E3 B3|C#4 A4", "A2 E3 B3|C#4 A4", "held", "held", "A2 E3 B3 C#4 A4", "the same notes"},
		{"A2 E3 B3|C#4 A4", "G2 D3 A3|B3 G4", "moved -M2", "moved -M2", "B3", "all of it moves down a step (major second); B3 stays"},
		{"C3 G3|E4 C5", "C4 G4|E5 C6", "moved P8", "moved P8", "", "all of it moves up an octave"},
		{"A2 E3 B3|C#4 A4", "A2 E3 B3|B3 G#4", "held", "changed", "A2 E3 B3",
			"the left hand stays; the right hand changes; A2, E3 and B3 stay; smoothest voice leading three semitones, no voice by more than two"},
		{"D2 A2|G#4 A4 A#4", "D2 A2|F#4 G4 G#4", "held", "moved -M2", "D2 A2 G#4",
			"the left hand stays; the right hand moves down a step (major second); D2, A2 and G#4 stay; smoothest voice leading six semitones, no voice by more than two"},
		{"Ab2|C4 Eb4 F#4", "Ab2|C4 Eb4 Gb4", "held", "respelled", "Ab2 C4 Eb4", "the same keys under other names"},
		{"C3|E4 G4", "C3|G3 E4", "held", "changed", "C3 E4",
			"the same notes in other octaves; the left hand stays; the right hand changes; C3 and E4 stay; smoothest voice leading ten semitones, no voice by more than seven"},
		{"C3|E4 G4", "|C4 E4 G4", "leaves", "changed", "E4 G4", "the same notes in other octaves; the left hand leaves; the right hand changes; E4 and G4 stay; smoothest voice leading twelve semitones, no voice by more than twelve"},
		{"C4 E4 G4", "C4 F4 A4", "none", "changed", "C4", "C4 stays; smoothest voice leading three semitones, no voice by more than two"},
		{"C4", "", "none", "leaves", "", "nothing to compare"},
	} {
		r := Relate(voicing(t, c.a), voicing(t, c.b))
		move := func(h HandMove) string {
			if h.Kind == "moved" {
				return "moved " + h.By.String()
			}
			return h.Kind
		}
		if move(r.Left) != c.left || move(r.Right) != c.right || spell(r.Common) != c.common || r.Text != c.text {
			t.Errorf("Relate(%s, %s): %s, %s, common %s, %q\nwant %q", c.a, c.b, move(r.Left), move(r.Right), spell(r.Common), r.Text, c.text)
		}
	}
	r := Relate(voicing(t, "C4 E4 G4"), voicing(t, "C4 Eb4 Ab4"))
	if fmt.Sprint(r.Tn, r.TnI, r.Size, r.ClassSize, r.Largest) != "[8] [] 2 2 1" {
		t.Errorf("C to Ab: T%v T%vI, %d, %d, %d", r.Tn, r.TnI, r.Size, r.ClassSize, r.Largest)
	}
	if r := Relate(voicing(t, "C4 E4 G4"), voicing(t, "C4 Eb4 G4")); fmt.Sprint(r.Tn, r.TnI) != "[] [7]" {
		t.Errorf("C to Cm: T%v T%vI, want T7I (it exchanges C and G)", r.Tn, r.TnI)
	}
}

// Against every way to connect two small chords: each note of the one with at least one of the other.
func TestSmoothestIsSmallest(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 11))
	for range 3000 {
		n, m := 1+rng.IntN(4), 1+rng.IntN(4)
		var as, bs []pitch.Pitch
		for range n {
			as = append(as, pitch.FromMIDI(40+rng.IntN(30), false))
		}
		for range m {
			bs = append(bs, pitch.FromMIDI(40+rng.IntN(30), false))
		}
		as, bs = distinct(as), distinct(bs)
		n, m = len(as), len(bs)
		least, leastClass := 1<<30, 1<<30
		ca, cb := pcsOf(as).list(), pcsOf(bs).list()
		cover := func(n, m int, cost func(i, j int) int) int {
			least := 1 << 30
			for edges := range 1 << (n * m) {
				sum, left, right := 0, 0, 0
				for e := range n * m {
					if edges>>e&1 != 0 {
						sum += cost(e/m, e%m)
						left |= 1 << (e / m)
						right |= 1 << (e % m)
					}
				}
				if left == 1<<n-1 && right == 1<<m-1 {
					least = min(least, sum)
				}
			}
			return least
		}
		if n*m > 9 { // 4,096 ways and more
			if rng.IntN(20) > 0 {
				continue
			}
		}
		abs := func(n int) int { return max(n, -n) }
		least = cover(n, m, func(i, j int) int { return abs(as[i].MIDI() - bs[j].MIDI()) })
		leastClass = cover(len(ca), len(cb), func(i, j int) int { d := abs(ca[i] - cb[j]); return min(d, 12-d) })
		steps, size := leading(as, bs)
		sum := 0
		for _, s := range steps {
			sum += abs(s.Semitones)
			if s.To.MIDI()-s.From.MIDI() != s.Semitones {
				t.Fatalf("step %+v", s)
			}
		}
		for _, p := range as {
			if !slices.ContainsFunc(steps, func(s Step) bool { return s.From == p }) {
				t.Fatalf("%v leads nowhere", p)
			}
		}
		for _, p := range bs {
			if !slices.ContainsFunc(steps, func(s Step) bool { return s.To == p }) {
				t.Fatalf("nothing leads to %v", p)
			}
		}
		if sum != size || size != least {
			t.Fatalf("%s to %s: %d (sum of steps %d), least %d", spell(as), spell(bs), size, sum, least)
		}
		if got := classDistance(ca, cb); got != leastClass {
			t.Fatalf("%v to %v: %d, least %d", ca, cb, got, leastClass)
		}
	}
}

func BenchmarkRelate(b *testing.B) {
	x, y := voicing(b, "A2 E3 B3|C#4 A4 D#5"), voicing(b, "G2 D3 A3|B3 G4 C#5")
	b.ReportAllocs()
	for b.Loop() {
		Relate(x, y)
	}
}
