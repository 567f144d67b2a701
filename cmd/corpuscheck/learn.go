package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"

	"plumbline/theory/harmony"
)

func lessons(studies []study) []harmony.Lesson {
	var out []harmony.Lesson
	for _, s := range studies {
		if len(s.Truth) > 0 {
			out = append(out, s.lesson)
		}
	}
	return out
}

// A trial learns on some studies and measures on others.
type trial struct {
	name        string
	fold        bool // one of four; their figures are put together
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
		t := trial{name: "learned on other sets"}
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
	const folds = 4
	for f := 0; f < folds; f++ {
		t := trial{name: "learned on three folds of four", fold: true}
		for i, o := range studies {
			if i%folds == f {
				t.test = append(t.test, o)
			} else {
				t.learn = append(t.learn, o)
			}
		}
		if len(t.learn) > 0 && len(t.test) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// cross runs trials, two at a time, and writes the figures of each set.
func cross(w io.Writer, ts []trial) error {
	figs := make([][]*figures, len(ts))
	var wg sync.WaitGroup
	gate := make(chan bool, 2)
	for i, t := range ts {
		wg.Go(func() {
			gate <- true
			defer func() { <-gate }()
			figs[i], _ = measure(harmony.Learn(lessons(t.learn)), t.test, true)
		})
	}
	wg.Wait()
	folds := map[string]*figures{}
	for i, t := range ts {
		for _, f := range figs[i] {
			if !t.fold {
				if _, err := fmt.Fprintf(w, "%s, %s: %v\n", f.Name, t.name, f); err != nil {
					return err
				}
				continue
			}
			if folds[f.Name] == nil {
				folds[f.Name] = &figures{Name: f.Name}
			}
			folds[f.Name].add(f)
		}
	}
	for _, set := range sortedKeys(folds) {
		if _, err := fmt.Fprintf(w, "%s, learned on three folds of four: %v\n", set, folds[set]); err != nil {
			return err
		}
	}
	return nil
}

// learn writes the tables learned from studies to a file.
func learn(file string, studies []study) error {
	var b strings.Builder
	if _, err := harmony.Learn(lessons(studies)).WriteTo(&b); err != nil {
		return fmt.Errorf("corpuscheck: %w", err)
	}
	if err := os.WriteFile(file, []byte(b.String()), 0o666); err != nil {
		return fmt.Errorf("corpuscheck: %w", err)
	}
	return nil
}
