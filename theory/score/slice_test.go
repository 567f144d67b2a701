package score

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// sliceText prints a slice: from, until, and its notes from low to high, those struck in capitals' company with a !.
func sliceText(s Slice) string {
	var out []string
	for i, n := range s.Notes {
		text := fmt.Sprintf("%c:%v", n.Hand.String()[0], n.Pitch)
		if s.Struck[i] {
			text += "!"
		}
		out = append(out, text)
	}
	return fmt.Sprintf("%v-%v %s", s.At, s.Until, strings.Join(out, " "))
}

func TestSlices(t *testing.T) {
	for _, c := range []struct {
		name     string
		notes    []string
		from, to Time
		want     []string
	}{
		{"a line over a held note", []string{"l1 C3 0 2", "r1 E4 0 1", "r1 F4 1 1"}, Time{}, Quarters(2), []string{"0-1 l:C3! r:E4!", "1-2 l:C3 r:F4!"}},
		{"silence between", []string{"r1 E4 0 1", "r1 F4 2 1"}, Time{}, Quarters(4), []string{"0-1 r:E4!", "2-3 r:F4!"}},
		{"one note ends before the other", []string{"r1 E4 0 1", "l1 C3 0 2", "l1 D3 2 1"}, Time{}, Quarters(3), []string{"0-2 l:C3! r:E4!", "2-3 l:D3!"}},
		{"entered while notes sound", []string{"l1 C3 0 4", "r1 E4 0 1", "r1 F4 3 1"}, T(5, 2), Quarters(4), []string{"2 1/2-3 l:C3", "3-4 l:C3 r:F4!"}},
		{"left while notes sound", []string{"l1 C3 0 4", "r1 E4 0 1", "r1 F4 3 1"}, Time{}, Quarters(2), []string{"0-2 l:C3! r:E4!"}},
		{"the end is not inside", []string{"r1 E4 0 1", "r1 F4 1 1"}, Time{}, Quarters(1), []string{"0-1 r:E4!"}},
		{"nothing there", []string{"r1 E4 0 1", "r1 F4 3 1"}, Quarters(1), Quarters(3), nil},
		{"doubled in both hands", []string{"r1 C4 0 1", "l1 C4 0 1"}, Time{}, Quarters(1), []string{"0-1 l:C4! r:C4!"}},
		{"grace notes left out", []string{"r1 D4 1 0 *", "r1 C4 1 1", "r1 B3 2 0 *"}, Time{}, Quarters(4), []string{"1-2 r:C4!"}},
		{"a tie is no onset", []string{"r1 C4 0 1 >", "l1 E3 0 2", "r1 C4 1 1 <"}, Time{}, Quarters(2), []string{"0-2 l:E3! r:C4!"}},
		{"tied over a new bass", []string{"r1 C4 0 1 >", "r1 C4 1 1 <", "l1 A2 0 1", "l1 F2 1 1"}, Time{}, Quarters(2), []string{"0-1 l:A2! r:C4!", "1-2 l:F2! r:C4"}},
		{"triplets against eighths", []string{"r1 C5 0 1/3", "r1 D5 1/3 1/3", "r1 E5 2/3 1/3", "l1 C3 0 1/2", "l1 G3 1/2 1/2"}, Time{}, Quarters(1),
			[]string{"0-1/3 l:C3! r:C5!", "1/3-1/2 l:C3 r:D5!", "1/2-2/3 l:G3! r:D5", "2/3-1 l:G3 r:E5!"}},
	} {
		var got []string
		for _, s := range Slices(someNotes(t, c.notes...).Sounding(), c.from, c.to) {
			got = append(got, sliceText(s))
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
}

func TestSliceHand(t *testing.T) {
	s := Slices(someNotes(t, "r1 E4 0 1", "l1 C3 0 1", "l1 G3 0 1", "r2 C4 0 1").Sounding(), Time{}, Quarters(1))[0]
	if got, want := noteTexts(s.Hand(Left)), []string{"l1 C3 0 1", "l1 G3 0 1"}; !slices.Equal(got, want) {
		t.Errorf("left %q; want %q", got, want)
	}
	if got, want := noteTexts(s.Hand(Right)), []string{"r2 C4 0 1", "r1 E4 0 1"}; !slices.Equal(got, want) {
		t.Errorf("right %q; want %q", got, want)
	}
}

// TestSlicesRandom checks random notes against the definition: at each onset, just the notes that sound then.
func TestSlicesRandom(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 7))
		p := &Passage{}
		for range r.IntN(40) {
			p.Notes = append(p.Notes, Note{Pitch: pitch.FromMIDI(40+r.IntN(40), false), Onset: T(r.Int64N(48), 3), Duration: T(1+r.Int64N(12), 4), Hand: Hand(1 + r.IntN(2)), Voice: 1})
		}
		p.Sort()
		from := T(r.Int64N(20), 2)
		to := from.Add(T(1+r.Int64N(30), 2))
		var want []string
		var times []Time
		for _, n := range p.Notes {
			if n.Onset.Less(to) && from.Less(n.End()) {
				times = append(times, n.Onset.Max(from))
			}
		}
		slices.SortFunc(times, Time.Compare)
		times = slices.Compact(times)
		for i, at := range times {
			s := Slice{At: at, Until: at}
			for _, n := range p.Notes {
				if !at.Less(n.Onset) && at.Less(n.End()) {
					s.Notes = append(s.Notes, n)
					s.Until = s.Until.Max(n.End())
				}
			}
			next := to
			if i+1 < len(times) {
				next = times[i+1]
			}
			s.Until = s.Until.Min(next)
			slices.SortStableFunc(s.Notes, func(a, b Note) int {
				if a.Pitch != b.Pitch {
					return a.Pitch.Compare(b.Pitch)
				}
				return int(b.Hand) - int(a.Hand)
			})
			for _, n := range s.Notes {
				s.Struck = append(s.Struck, n.Onset == at)
			}
			want = append(want, sliceText(s))
		}
		var got []string
		for _, s := range Slices(p.Sounding(), from, to) {
			got = append(got, sliceText(s))
		}
		if !slices.Equal(got, want) {
			t.Fatalf("seed %d, %v to %v:\n%q; want\n%q", seed, from, to, got, want)
		}
	}
}
