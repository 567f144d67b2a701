package main

import (
	"fmt"
	"io"
	"sort"

	"plumbline/theory/harmony"
)

func diagnose(w io.Writer, t *harmony.Tables, studies []study) {
	conf := map[string]int{}
	unreach := 0
	for _, s := range studies {
		for i, h := range t.Read(s.lesson.Music, s.lesson.Spans) {
			rs := h.Readings
			want := s.lesson.Chords[i]
			if len(rs) == 0 {
				conf["none"]++
				continue
			}
			got := rs[0].Chord
			if got.Root.PC() == want.Root.PC() && got.Quality == want.Quality {
				continue
			}
			d := got.Root.Fifths() - want.Root.Fifths()
			d = ((d+5)%12+12)%12 - 5
			conf[fmt.Sprintf("%v -> %+d %v", want.Quality, d, got.Quality)]++
			found := false
			for _, r := range rs {
				if r.Chord.Root.PC() == want.Root.PC() && r.Chord.Quality == want.Quality {
					found = true
				}
			}
			if !found {
				unreach++
			}
		}
	}
	keys := sortedKeys(conf)
	sort.SliceStable(keys, func(i, j int) bool { return conf[keys[i]] > conf[keys[j]] })
	fmt.Fprintln(w, "not in list", unreach)
	for _, k := range keys[:min(45, len(keys))] {
		fmt.Fprintln(w, conf[k], k)
	}
}
