package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"plumbline/progress"
)

// filled writes answers: 20 minor sevenths of which 15 are right, the wrong ones said to be dominant (3) and half-diminished
// (2), and one major seventh given up; all on one day.
func filled(t testing.TB, w *world, day time.Time) {
	t.Helper()
	ctx := context.Background()
	store, err := progress.Open(ctx, w.db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	id, err := store.Begin(ctx, progress.SessionInfo{Kind: "quality", Mode: progress.Ear, Started: day})
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= 21; n++ {
		a := progress.Answer{Session: id, Number: n, Kind: "quality", Mode: progress.Ear, Expected: "minor seventh", Given: "minor seventh",
			Correct: true, Took: 3 * time.Second, Asked: day, Answered: day.Add(3 * time.Second)}
		switch {
		case n > 20:
			a.Expected, a.Given, a.Correct = "major seventh", "", false
		case n > 18:
			a.Given, a.Correct = "half-diminished seventh", false
		case n > 15:
			a.Given, a.Correct = "dominant seventh", false
		}
		if err := store.Record(ctx, a); err != nil {
			t.Fatal(err)
		}
	}
}

func TestProgress(t *testing.T) {
	w := newWorld(t, "")
	filled(t, w, time.Date(2026, 2, 10, 12, 0, 0, 0, time.UTC))
	if code := run(context.Background(), []string{"progress", "--db", w.db}, w.env); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	// 15 of 20: Wilson 53.1 to 88.8 %, computed by hand from the formula with z = 1.96:
	// (0.75 + 0.09604 ± 1.96 sqrt((0.1875 + 0.04802)/20)) / 1.19208.
	for _, want := range []string{
		"Chord quality, by ear: 15 of 21 right",
		"minor seventh                          15/20   75 %     53-89 %    3.0 s",
		"taken for dominant seventh 3 times, half-diminished seventh twice",
		"gave up once",
		"of all 21 questions, 71 % were right",
		"95 % confidence",
	} {
		if !strings.Contains(strings.Join(strings.Fields(w.out.String()), " "), strings.Join(strings.Fields(want), " ")) {
			t.Errorf("no %q in\n%s", want, w.out.String())
		}
	}
	// The worst first.
	if strings.Index(w.out.String(), "major seventh") > strings.Index(w.out.String(), "  minor seventh") {
		t.Errorf("major seventh (0 %%) should stand first:\n%s", w.out.String())
	}
	checkPlain(t, w.out.String())
}

func TestProgressFilters(t *testing.T) {
	for _, tt := range []struct {
		args  []string
		asked int // -1: refused
	}{
		{nil, 21},
		{[]string{"--kind", "quality"}, 21},
		{[]string{"--kind", "construction"}, 0},
		{[]string{"--since", "2026-02-10"}, 21},
		{[]string{"--since", "2026-02-11"}, 0},
		{[]string{"--since", "7d"}, 0}, // the test's clock stands at 1 March
		{[]string{"--since", "20d"}, 21},
		{[]string{"--since", "3w"}, 21},
		{[]string{"--kind", "wibble"}, -1},
		{[]string{"--since", "yesterday"}, -1},
		{[]string{"--since", "-3d"}, -1},
		{[]string{"--since", "+3d"}, -1},
		{[]string{"--since", "d"}, -1},
		{[]string{"--since", "2026-13-01"}, -1},
	} {
		w := newWorld(t, "")
		filled(t, w, time.Date(2026, 2, 10, 12, 0, 0, 0, time.UTC))
		code := run(context.Background(), append([]string{"progress", "--json", "--db", w.db}, tt.args...), w.env)
		if tt.asked < 0 {
			if code != 2 || !strings.HasPrefix(w.err.String(), "plumbline: error: --") {
				t.Errorf("progress %q: exit %d, stderr %q; want 2", tt.args, code, w.err.String())
			}
			continue
		}
		var got progress.Summary
		if err := json.Unmarshal(w.out.Bytes(), &got); err != nil || code != 0 || got.Total.Asked != tt.asked {
			t.Errorf("progress %q: exit %d, %v, %d asked; want %d", tt.args, code, err, got.Total.Asked, tt.asked)
		}
	}
}

// TestProgressEmpty: nothing recorded is a plain word, exit 0, and no file comes of looking.
func TestProgressEmpty(t *testing.T) {
	for _, args := range [][]string{{"progress"}, {"progress", "--json"}, {"progress", "--since", "7d"}} {
		w := newWorld(t, "")
		home := t.TempDir()
		w.getenv = func(name string) string {
			if name == "HOME" {
				return home
			}
			return ""
		}
		if code := run(context.Background(), args, w.env); code != 0 || w.err.Len() > 0 {
			t.Errorf("%q: exit %d, stderr %q", args, code, w.err.String())
		}
		if args[len(args)-1] == "--json" {
			var got map[string]any
			if err := json.Unmarshal(w.out.Bytes(), &got); err != nil || fmt.Sprint(got["groups"]) != "[]" {
				t.Errorf("%q: %s", args, w.out.String())
			}
		} else if !strings.Contains(w.out.String(), "plumbline drill") {
			t.Errorf("%q says %q; want the way to begin", args, w.out.String())
		}
		if entries, _ := os.ReadDir(home); len(entries) > 0 {
			t.Errorf("%q made %v", args, entries)
		}
	}
	w := newWorld(t, "")
	if code := run(context.Background(), []string{"progress"}, w.env); code != 2 || !strings.Contains(w.err.String(), "--db") {
		t.Errorf("without a home: exit %d, stderr %q; want 2 and --db", code, w.err.String())
	}
}
