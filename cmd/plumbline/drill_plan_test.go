package main

import (
	"context"
	"strings"
	"testing"

	"plumbline/drills"
	"plumbline/drills/planner"
	"plumbline/progress"
)

// TestDrillPlanned: with a record the questions go by it, each says why, the circumstances are kept; --repeat asks the same
// again note for note; another learner starts afresh.
func TestDrillPlanned(t *testing.T) {
	w := newWorld(t, strings.Repeat("1\n", 30))
	if code := w.drillArgs("--json", "--level", "4", "--seed", "5", "-n", "30"); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	asked := func(args ...string) []map[string]any {
		t.Helper()
		w.stdin = strings.NewReader(strings.Repeat("1\n", 12))
		w.out.Reset()
		if code := w.drillArgs(append([]string{"--json", "-n", "12"}, args...)...); code != 0 {
			t.Fatalf("%q: exit %d: %s", args, code, w.err.String())
		}
		return events(t, w.out.String())
	}
	labels, alike := map[string]bool{}, 0
	var notes, last string
	planned := asked("--why", "--level", "4")
	for _, ev := range planned {
		switch ev["event"] {
		case "question":
			if n := len(ev["choices"].([]any)); n < 2 || n > 4 {
				t.Errorf("%d choices: %v", n, ev)
			}
		case "answer":
			labels[ev["expected"].(string)] = true
			if why, _ := ev["why"].(string); len(why) < 20 || !strings.HasSuffix(why, ".") {
				t.Errorf("why %q", why)
			}
			ns := ev["notes"].([]any)
			if ns[0].(string) == last {
				alike++
			}
			last = ns[0].(string)
			for _, n := range ns {
				notes += n.(string) + " "
			}
		}
	}
	if len(labels) < 3 || alike > 0 {
		t.Errorf("asked %v, %d times on the lowest note of the question before; want several labels, never the same note twice in a row", labels, alike)
	}
	store, err := progress.Open(context.Background(), w.db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	cells, err := store.Cells(context.Background(), "quality", progress.Ear)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range cells {
		if _, ok := planner.ParseSetting(c.Condition); !ok {
			t.Errorf("condition %q can't be read back", c.Condition)
		}
	}

	again := ""
	for _, ev := range asked("--repeat") {
		if ev["event"] == "answer" {
			for _, n := range ev["notes"].([]any) {
				again += n.(string) + " "
			}
		}
	}
	if again != notes || notes == "" {
		t.Errorf("--repeat asks\n%s\nwant\n%s", again, notes)
	}

	// Without a word about what: the path, from the first level on.
	for _, ev := range asked() {
		if ev["event"] == "end" && ev["asked"].(float64) != 12 {
			t.Errorf("end %v", ev)
		}
	}
	for _, ev := range asked("--learner", "Wren") {
		if q, ok := ev["choices"].([]any); ok && len(q) != len(drills.Levels(drills.Quality)[0].Labels) {
			t.Errorf("a new learner is asked %v; want level 1", q)
		}
	}
	if !strings.Contains(w.err.String(), `"Wren" is new here`) {
		t.Errorf("stderr %q", w.err.String())
	}
	if sum := w.recorded(t); sum.Total.Asked != 30+12+12+12 {
		t.Errorf("%d answers of the nameless learner; want 66", sum.Total.Asked)
	}
}

// Every setting of the planner can be asked of the labels of every level, as it is or with less.
func TestPlannedSettings(t *testing.T) {
	for _, l := range drills.Levels(drills.Quality) {
		if len(l.Labels) > drills.MaxChoices { // never all at once
			continue
		}
		for _, r := range []planner.Register{planner.Middle, planner.High, planner.Low} {
			for _, open := range []bool{false, true} {
				how := planner.Setting{Register: r, Open: open, Choices: min(len(l.Labels), drills.MaxChoices)}
				if open {
					how.Doubled = 1
				}
				s := laid(drills.Settings{Kind: drills.Quality, Seed: 3, Labels: l.Labels}, how, true, true)
				d, err := drills.New(s)
				if err != nil {
					t.Errorf("level %d, %q: %v", l.Number, how, err)
					continue
				}
				for n := 1; n <= 40; n++ {
					q := d.Question(n)
					got, ok := planner.ParseSetting(condition(q, how))
					if want := how; !ok || got.Register != want.Register || got.Open != want.Open {
						t.Fatalf("level %d, %q, question %d: notes %v are %q", l.Number, how, n, q.Notes(), got)
					}
				}
			}
		}
	}
}
