package line

import (
	"testing"

	"plumbline/theory/score"
)

// pairs returns the pairs of notes that follow each other in one voice: each note of one onset with each of the next. Over
// more than a bar of silence nothing follows.
func pairs(notes []score.Note, voice func(i int) int) map[[2]int]bool {
	last := map[int][]int{} // by voice: the notes of its last onset
	out := map[[2]int]bool{}
	for i := 0; i < len(notes); {
		j := i
		now := map[int][]int{}
		for ; j < len(notes) && notes[j].Onset == notes[i].Onset; j++ {
			if voice(j) > 0 {
				now[voice(j)] = append(now[voice(j)], j)
			}
		}
		for v, list := range now {
			for _, a := range last[v] {
				for _, b := range list {
					if notes[b].Bar <= notes[a].Bar+1 {
						out[[2]int{a, b}] = true
					}
				}
			}
			last[v] = list
		}
		i = j
	}
	return out
}

// hands divides notes by hand; a third staff is left out.
func hands(notes []score.Note) (out [2][]score.Note) {
	for _, n := range notes {
		if n.Voice <= 10 {
			out[n.Hand-1] = append(out[n.Hand-1], n)
		}
	}
	return out
}

// measureVoices returns precision and recall of successive-note pairs within a hand against the voices of the print, for a
// way to separate. If busy is set, only hands of pieces in which the print has several voices count.
func measureVoices(t testing.TB, set string, sounding, busy bool, way func([]score.Note) []int) (precision, recall float64) {
	var right, found, truth int
	for _, p := range corpusSet(t, set) {
		notes := p.Notes
		if sounding {
			notes = p.Sounding()
		}
		for _, h := range hands(notes) {
			several := false
			for _, n := range h {
				several = several || n.Voice != h[0].Voice
			}
			if busy && !several {
				continue
			}
			blind := make([]score.Note, len(h))
			copy(blind, h)
			for i := range blind {
				blind[i].Voice = 1
			}
			got := way(blind)
			a, b := pairs(h, func(i int) int { return h[i].Voice }), pairs(h, func(i int) int { return got[i] })
			truth, found = truth+len(a), found+len(b)
			for p := range a {
				if b[p] {
					right++
				}
			}
		}
	}
	return float64(right) / float64(found), float64(right) / float64(truth)
}

func oneVoice(notes []score.Note) []int {
	v := make([]int, len(notes))
	for i := range v {
		v[i] = 1
	}
	return v
}

// TestSeparateCorpus measures the separation on the annotated corpus (Hentschel and others 2024), whose voice column comes
// from the print. The amounts of the prices were set on Grieg, so Chopin is the honest figure.
func TestSeparateCorpus(t *testing.T) {
	for _, c := range []struct {
		set             string
		sounding, busy  bool
		precise, recall float64 // floors
	}{
		{"grieg_lyric_pieces", true, false, 0.93, 0.94},
		{"chopin_mazurkas", true, false, 0.93, 0.94},
		{"chopin_mazurkas", false, false, 0.93, 0.95},
		{"grieg_lyric_pieces", true, true, 0.92, 0.94},
		{"chopin_mazurkas", true, true, 0.92, 0.94},
	} {
		p, r := measureVoices(t, c.set, c.sounding, c.busy, Separate)
		p1, r1 := measureVoices(t, c.set, c.sounding, c.busy, oneVoice)
		t.Logf("%s, sounding %v, hands of several voices only %v: precision %.3f, recall %.3f; all one voice: %.3f, %.3f", c.set, c.sounding, c.busy, p, r, p1, r1)
		if p < c.precise || r < c.recall {
			t.Errorf("%s: precision %.3f, recall %.3f; want at least %.3f, %.3f", c.set, p, r, c.precise, c.recall)
		}
	}
}
