package drills

import (
	"errors"
	"testing"

	"plumbline/theory/pitch"
)

// Spans, doublings and ranges are kept, whatever the label.
func TestSpanAndDoublings(t *testing.T) {
	for _, tt := range []struct{ min, max, doubled, count int }{{12, 16, 0, 5}, {17, 24, 0, 5}, {12, 12, 0, 5}, {19, 24, 2, 7}, {0, 0, 1, 6}} {
		low, high := pitch.Pitch{Octave: 2}, pitch.Pitch{Letter: pitch.B, Octave: 5}
		d, err := New(Settings{Kind: Quality, Level: 4, Seed: 5, MinSpan: tt.min, MaxSpan: tt.max, Doubled: tt.doubled, Low: low, High: high})
		if err != nil {
			t.Fatalf("%+v: %v", tt, err)
		}
		seen := map[string]bool{}
		for n := 1; n <= 300; n++ {
			q := d.Question(n)
			ns := q.Notes()
			span := ns[len(ns)-1].MIDI() - ns[0].MIDI()
			if len(ns) != tt.count || span < max(tt.min, 12) || tt.max > 0 && span > tt.max || ns[0].MIDI() < low.MIDI() || ns[len(ns)-1].MIDI() > high.MIDI() {
				t.Fatalf("%+v: question %d has %v", tt, n, ns)
			}
			seen[q.Expected] = true
		}
		if len(seen) != 4 {
			t.Errorf("%+v: labels %v; want all four", tt, seen)
		}
	}
	for _, bad := range []Settings{{MinSpan: 5}, {MaxSpan: 30}, {MinSpan: 20, MaxSpan: 14}, {Doubled: 4}, {Doubled: -1}} {
		bad.Kind = Quality
		var se *SettingsError
		if _, err := New(bad); !errors.As(err, &se) || se.Field != "span" && se.Field != "doubled" {
			t.Errorf("New(%+v) = %v; want a *SettingsError", bad, err)
		}
	}
}
