package main

import (
	"fmt"
	"sort"

	"plumbline/theory/harmony"
)

// figures are counts; String gives them as parts of 1.
type figures struct {
	Name                                          string
	Labels, Root, RootQuality, Bass, Key, Numeral int
	First2, First3                                int
	Planted, FalseAlarms, Caught                  int
}

func (f *figures) add(o *figures) {
	f.Labels += o.Labels
	f.Root += o.Root
	f.RootQuality += o.RootQuality
	f.Bass += o.Bass
	f.Key += o.Key
	f.Numeral += o.Numeral
	f.First2 += o.First2
	f.First3 += o.First3
	f.Planted += o.Planted
	f.FalseAlarms += o.FalseAlarms
	f.Caught += o.Caught
}

func part(n, of int) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

func (f *figures) String() string {
	return fmt.Sprintf("labels %5d  root %.4f  r+q %.4f  bass %.4f  key %.4f  numeral %.4f  first2 %.3f first3 %.3f  alarms %.4f  caught %.4f", f.Labels, part(f.Root, f.Labels),
		part(f.RootQuality, f.Labels), part(f.Bass, f.Labels), part(f.Key, f.Labels), part(f.Numeral, f.Labels), part(f.First2, f.Labels), part(f.First3, f.Labels), part(f.FalseAlarms, f.Labels), part(f.Caught, f.Planted))
}

func measure(t *harmony.Tables, studies []study) map[string]*figures {
	out := map[string]*figures{}
	for _, s := range studies {
		f := out[s.Set]
		if f == nil {
			f = &figures{Name: s.Set}
			out[s.Set] = f
		}
		for i, h := range t.Read(s.lesson.Music, s.lesson.Spans) {
			rs := h.Readings
			want := s.lesson.Chords[i]
			f.Labels++
			sameKey := h.Key.Tonic.PC() == s.lesson.Keys[i].Tonic.PC() && h.Key.Mode == s.lesson.Keys[i].Mode
			if sameKey {
				f.Key++
			}
			for j, r := range rs {
				root := r.Chord.Root.PC() == want.Root.PC()
				rq := root && r.Chord.Quality == want.Quality
				if j == 0 {
					if root {
						f.Root++
					}
					if rq {
						f.RootQuality++
					}
					if rq && sameKey && r.Chord.Bass.PC() == want.Bass.PC() {
						f.Numeral++
					}
					if r.Chord.Bass.PC() == want.Bass.PC() {
						f.Bass++
					}
				}
				if rq && j < 2 {
					f.First2++
				}
				if rq && j < 3 {
					f.First3++
				}
			}
		}
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
