package chord

import (
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

// Whatever notes come, also such as nobody writes: no panic, a first reading, a member for each note, every note list told.
func FuzzName(f *testing.F) {
	seeds := [][]byte{{0, 0, 4, 2, 0, 4, 4, 0, 4}, {5, 255, 3, 5, 1, 3, 6, 2, 4, 0, 100, 4}, {1, 156, 255, 3, 0, 9}, {}}
	if len(seeds) != 4 {
		f.Fatal("seeds are missing")
	}
	for _, s := range seeds {
		f.Add(s, byte(len(s)/6))
	}
	f.Fuzz(func(t *testing.T, b []byte, split byte) {
		var ns []pitch.Pitch
		for i := 0; i+2 < len(b) && len(ns) < 30; i += 3 {
			ns = append(ns, pitch.Pitch{Letter: pitch.Letter(b[i] % 7), Alter: int8(b[i+1]), Octave: int8(b[i+2])})
		}
		k := min(int(split), len(ns))
		left, right := ns[:k], ns[k:]
		for _, rs := range [][]Reading{Name(ns), NameHands(left, right)} {
			if (len(rs) == 0) != (len(ns) == 0) || len(rs) > maxReadings {
				t.Fatalf("%v: %d readings", ns, len(rs))
			}
			for _, r := range rs {
				if len(r.Members) != len(distinct(ns)) || r.Label == "" || r.Words == "" || !strings.HasSuffix(r.Why, ".") || r.Kind == "" || r.Quality == "" {
					t.Fatalf("%v: %+v", ns, r)
				}
				for _, m := range r.Members {
					if m.Role == "" {
						t.Fatalf("%v as %s: %v has no role", ns, r.Label, m.Pitch)
					}
				}
			}
		}
		if im, ok := ImpostorOf(ns); ok != (im.Text != "") {
			t.Fatalf("%v: %+v", ns, im)
		}
		if s := SpacingOf(ns); s.Text == "" || s.Density < 0 || s.Density > 12 {
			t.Fatalf("%v: %+v", ns, s)
		}
		if r := Relate(Voicing{Left: left}, Voicing{Right: right}); r.Text == "" || r.Size < 0 {
			t.Fatalf("%v | %v: %+v", left, right, r)
		}
		if st := StackOf(ns); st.Text == "" {
			t.Fatalf("%v: %+v", ns, st)
		}
	})
}
