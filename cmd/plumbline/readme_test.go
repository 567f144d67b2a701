package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/synth/speaker"
)

var update = flag.Bool("update", false, "write the README's output anew")

// TestReadme keeps the output in the README what the program prints. -update writes it anew.
func TestReadme(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "progress.db")
	clock := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	call := func(stdin string, args ...string) string {
		var out, errs bytes.Buffer
		e := &env{stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs, getenv: func(string) string { return "" },
			now:         func() time.Time { clock = clock.Add(1300 * time.Millisecond); return clock },
			openSpeaker: func(context.Context) (speaker.Sink, error) { return &speaker.Fake{}, nil }}
		if code := run(context.Background(), args, e); code != exitDone {
			t.Fatalf("%v: exit code %d, %s", args, code, errs.String())
		}
		return out.String()
	}
	lines := func(s string, n int) string {
		l := strings.SplitAfter(s, "\n")
		if len(l) > n {
			return strings.Join(l[:n], "") + "…\n"
		}
		return s
	}
	demo := call("", "demo", "--dir", dir)
	passage := filepath.Join(dir, "lamp.passage")
	describe := call("", "describe", passage, "--at", "bar 3 beat 1")
	drill := call("2\n1\n1\n", "drill", "--sight", "--level", "2", "--seed", "4", "--count", "3", "--db", db)
	progress := call("", "progress", "--db", db)
	sections := map[string]string{
		"demo":     lines(demo, 26),
		"describe": "$ plumbline describe plumbline-demo/lamp.passage --at \"bar 3 beat 1\"\n" + describe,
		"drill":    "$ plumbline drill --sight --level 2 --seed 4 --count 3\n" + strings.ReplaceAll(drill, " --db "+db, ""),
		"progress": "$ plumbline progress\n" + progress,
	}
	path := "../../README.md"
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for name, want := range sections {
		open, end := fmt.Sprintf("<!-- %s -->\n", name), fmt.Sprintf("<!-- /%s -->\n", name)
		from, to := strings.Index(text, open), strings.Index(text, end)
		if from < 0 || to < from {
			t.Fatalf("README.md has no section %s", name)
		}
		want = "```\n" + want + "```\n"
		if got := text[from+len(open) : to]; got != want {
			if !*update {
				t.Errorf("README.md, section %s is not what the program prints; go test ./cmd/plumbline -run Readme -update\n%s", name, want)
			}
			text = text[:from+len(open)] + want + text[to:]
		}
	}
	if *update {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
