package main

import (
	"fmt"
	"io"
	"os"
	"sync"

	"plumbline/theory/harmony"
)

// A study is a piece prepared for reading, with the expert's labels.
type study struct {
	piece
	lesson harmony.Lesson
}

func prepare(pieces []piece) []study {
	out := make([]study, len(pieces))
	for i, p := range pieces {
		l := harmony.Lesson{Music: harmony.New(p.Passage)}
		for _, t := range p.Truth {
			l.Spans = append(l.Spans, harmony.Span{From: t.From, To: t.To})
			l.Chords = append(l.Chords, chordOf(t))
			l.Keys = append(l.Keys, t.Key)
		}
		out[i] = study{p, l}
	}
	return out
}

// chordOf returns the chord of a label; its quality is -1 if the label's is not known.
func chordOf(l label) harmony.Chord {
	q, ok := harmony.ParseQuality(l.Quality)
	if !ok {
		q = -1
	}
	return harmony.Chord{Root: l.Root, Quality: q, Bass: l.Bass}
}

func lessons(studies []study) []harmony.Lesson {
	var out []harmony.Lesson
	for _, s := range studies {
		out = append(out, s.lesson)
	}
	return out
}

// A trial learns on some studies and measures on others.
type trial struct {
	name        string
	learn, test []study
}

// trials returns those that show what the tables are worth on music they were not learned from: each set measured with what
// was learned on the others, and four folds by piece over all.
func trials(studies []study) []trial {
	var out []trial
	seen := map[string]bool{}
	for _, s := range studies {
		if seen[s.Set] {
			continue
		}
		seen[s.Set] = true
		t := trial{name: "other sets -> " + s.Set}
		for _, o := range studies {
			if o.Set == s.Set {
				t.test = append(t.test, o)
			} else {
				t.learn = append(t.learn, o)
			}
		}
		if len(t.learn) > 0 {
			out = append(out, t)
		}
	}
	if os.Getenv("XP") != "" {
		return out
	}
	for f := 0; f < 4; f++ {
		t := trial{name: fmt.Sprintf("fold %d of 4", f+1)}
		for i, o := range studies {
			if i%4 == f {
				t.test = append(t.test, o)
			} else {
				t.learn = append(t.learn, o)
			}
		}
		out = append(out, t)
	}
	return out
}

// cross runs trials, two at a time, and prints the figures of each set; those of the four folds are put together.
func cross(w io.Writer, ts []trial) {
	figs := make([]map[string]*figures, len(ts))
	var wg sync.WaitGroup
	gate := make(chan bool, 2)
	for i, t := range ts {
		wg.Add(1)
		go func() {
			defer wg.Done()
			gate <- true
			defer func() { <-gate }()
			tables := harmony.Learn(lessons(t.learn))
			figs[i] = measure(tables, t.test)
			if os.Getenv("DIAG") != "" {
				diagnose(w, tables, t.test)
			}
		}()
	}
	wg.Wait()
	folds := map[string]*figures{}
	for i, t := range ts {
		for set, f := range figs[i] {
			if len(t.name) > 4 && t.name[:4] == "fold" {
				if folds[set] == nil {
					folds[set] = &figures{Name: set}
				}
				folds[set].add(f)
				continue
			}
			fmt.Fprintf(w, "%-45s %v\n", t.name, f)
		}
	}
	for _, set := range sortedKeys(folds) {
		fmt.Fprintf(w, "%-45s %v\n", "4 folds: "+set, folds[set])
	}
}
