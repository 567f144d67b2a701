package progress

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// everything is all rows of all tables by the names that hold on every machine, for comparing two files.
func everything(t testing.TB, s *Store) []string {
	t.Helper()
	var out []string
	var table keptTable
	err := s.rows(t.Context(), true, func(k keptTable) error { table = k; return nil }, func(values []*string) error {
		line := table.name
		for _, v := range values {
			if line += "|"; v == nil {
				line += "<nothing>"
			} else {
				line += *v
			}
		}
		out = append(out, line)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(out)
	return out
}

// peopled is a database with two learners, odd texts, a seed of 64 bits, a session that is open, and claims by ear.
func peopled(t testing.TB, seed uint64) *Store {
	t.Helper()
	s := mustOpen(t, newPath(t))
	told(t, s, 60, seed)
	odd, err := s.Begin(t.Context(), SessionInfo{Kind: "mixed", Mode: Sight, Seed: 1<<64 - 3, Source: "a, \"quoted\"\nname", Settings: json.RawMessage(`{"a":[1,2]}`), Started: t0})
	if err != nil {
		t.Fatal(err)
	}
	a := answer(odd, 1, "sus4, added ninth", "\"#9\"\nand a line")
	a.Detail = json.RawMessage(`{"said":"♯11, <b>","n":9007199254740993}`)
	mustRecord(t, s, a)
	if err := s.End(t.Context(), odd, t0.AddDate(0, 0, 1)); err != nil {
		t.Fatal(err)
	}
	wren, err := s.As(t.Context(), "Wren, the \"second\"", true)
	if err != nil {
		t.Fatal(err)
	}
	told(t, wren, 20, seed+1)
	try, err := wren.BeginTry(t.Context(), ClaimID{Key: "k1", Passage: "Rain", Place: "bar 1", Statement: "rises", Form: "line"}, 7, t0)
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= 3; n++ {
		verdict := ""
		if n == 3 {
			verdict = "heard"
		}
		if err := wren.RecordEar(t.Context(), EarAnswer{Try: try, Number: n, Task: "which of two", Expected: "first", Given: "first", Correct: true, Asked: t0, Answered: t0, Verdict: verdict}); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// export writes s both ways and returns the two paths.
func export(t testing.TB, s *Store, everybody bool) []string {
	t.Helper()
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "all.json"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := s.ExportJSON(t.Context(), f, everybody); err != nil {
		t.Fatal(err)
	}
	if err := s.ExportCSV(t.Context(), filepath.Join(dir, "csv"), everybody); err != nil {
		t.Fatal(err)
	}
	return []string{f.Name(), filepath.Join(dir, "csv")}
}

func mustImport(t testing.TB, s *Store, path string) Imported {
	t.Helper()
	im, err := s.Import(t.Context(), path, "")
	if err != nil {
		t.Fatalf("Import(%q): %v", path, err)
	}
	if len(im.Differing) > 0 {
		t.Errorf("Import(%q): differing %v", path, im.Differing)
	}
	return im
}

func mustBeWell(t testing.TB, s *Store) {
	t.Helper()
	h, err := s.Check(t.Context())
	if err != nil || len(h.Faults) > 0 {
		t.Errorf("Check = %+v, %v; want no fault", h, err)
	}
}

// TestExportLossless: what is exported and imported into an empty file is row for row what was there; exporting that gives
// the same bytes. The JSON is read by encoding/json and the CSV by encoding/csv, as others would.
func TestExportLossless(t *testing.T) {
	s := peopled(t, 5)
	want := everything(t, s)
	paths := export(t, s, true)
	var firstBytes []byte
	for _, path := range paths {
		to := mustOpen(t, newPath(t))
		if im := mustImport(t, to, path); im.New != 81 || im.Answers != 81 || im.EarAnswers != 3 {
			t.Errorf("%s: %+v; want 81 new answers and 3 of claims", path, im)
		}
		if got := everything(t, to); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %d rows come back; want %d\n%q\n%q", path, len(got), len(want), got, want)
		}
		mustBeWell(t, to)
		again, err := os.ReadFile(export(t, to, true)[0])
		if err != nil {
			t.Fatal(err)
		}
		if firstBytes == nil {
			firstBytes, _ = os.ReadFile(paths[0])
		}
		if !bytes.Equal(again, firstBytes) {
			t.Errorf("%s: exported again it is not the same", path)
		}
	}
	var doc map[string]any
	if err := json.Unmarshal(firstBytes, &doc); err != nil || len(doc["answers"].([]any)) != 81 {
		t.Errorf("encoding/json reads it as %v", err)
	}
	f, err := os.Open(filepath.Join(paths[1], "answers.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if all, err := csv.NewReader(f).ReadAll(); err != nil || len(all) != 82 {
		t.Errorf("encoding/csv reads %d lines, %v", len(all), err)
	}
}

// TestMerge: two machines brought together both ways, twice, hold the same, each answer once, and the counts are right.
func TestMerge(t *testing.T) {
	a, b := peopled(t, 5), peopled(t, 50)
	mustImport(t, b, export(t, a, true)[0]) // b has practised on what a had
	told(t, b, 15, 77)
	told(t, a, 10, 78)
	for i := range 2 {
		mustImport(t, a, export(t, b, true)[i])
		mustImport(t, b, export(t, a, true)[1-i])
	}
	if got, want := everything(t, a), everything(t, b); !reflect.DeepEqual(got, want) {
		t.Errorf("after merging the two differ:\n%q\n%q", got, want)
	}
	for _, s := range []*Store{a, b} {
		mustBeWell(t, s)
		mustBeSound(t, s)
		if n, want := number(t, s, "SELECT count(*) FROM answer"), 81+81+15+10; n != want {
			t.Errorf("%d answers; want %d", n, want)
		}
		if n, want := number(t, s, "SELECT sum(asked) FROM tally"), 81+81+15+10; n != want {
			t.Errorf("%d counted; want %d", n, want)
		}
	}
}

// TestExportOne: nothing of another learner is exported unless asked for; the nameless one can be given a name.
func TestExportOne(t *testing.T) {
	s := peopled(t, 5)
	for _, path := range export(t, s, false) {
		if !strings.HasSuffix(path, ".json") {
			path = filepath.Join(path, "answers.csv")
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(data, []byte("Wren")) || bytes.Contains(data, []byte("which of two")) {
			t.Errorf("%s tells of another learner", path)
		}
	}
	to := peopled(t, 90)
	before := mustSummary(t, to, Filter{})
	if _, err := to.Import(t.Context(), export(t, s, false)[0], " Robin  Vale "); err != nil {
		t.Fatal(err)
	}
	robin, err := to.As(t.Context(), "Robin Vale", false)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := mustSummary(t, robin, Filter{}), mustSummary(t, s, Filter{}); !reflect.DeepEqual(got, want) {
		t.Errorf("under a new name %+v; want %+v", got, want)
	}
	if !reflect.DeepEqual(mustSummary(t, to, Filter{}), before) {
		t.Error("the nameless learner of the file has changed")
	}
}

// TestImportRefuses: what isn't an export, is cut off or changed, is refused in words, and nothing comes in.
func TestImportRefuses(t *testing.T) {
	s := peopled(t, 5)
	paths := export(t, s, true)
	whole, err := os.ReadFile(paths[0])
	if err != nil {
		t.Fatal(err)
	}
	to := mustOpen(t, newPath(t))
	for _, tt := range []struct{ name, text, says string }{
		{"empty", "", `want "{"`},
		{"text", "bar 1: rises", `want "{"`},
		{"other JSON", `{"answers": []}`, "not expected here"},
		{"another format", `{"format": "diary"}`, `want "plumbline progress"`},
		{"a later version", `{"format": "plumbline progress", "version": 2}`, "update plumbline"},
		{"cut in half", string(whole[:len(whole)/2]), "row"},
		{"cut after a list", string(whole[:bytes.Index(whole, []byte(",\n\"ear_claims\""))]) + "}", "cut off"},
		{"a number changed", strings.Replace(string(whole), `"replays": "0"`, `"replays": "some"`, 1), "want a whole number"},
		{"below nothing", strings.Replace(string(whole), `"replays": "0"`, `"replays": "-4"`, 1), "CHECK"},
		{"a column too many", strings.Replace(string(whole), `"replays"`, `"extra": "1", "replays"`, 1), `"extra" is not expected`},
		{"no session", strings.Replace(string(whole), `"session": "`, `"session": "x`, 1), "is not in the export"},
	} {
		path := filepath.Join(t.TempDir(), "in.json")
		if err := os.WriteFile(path, []byte(tt.text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := to.Import(t.Context(), path, ""); err == nil || !strings.Contains(err.Error(), tt.says) || !strings.Contains(err.Error(), "nothing was added") || !errors.Is(err, ErrNotExport) {
			t.Errorf("%s: %v; want %q and that nothing was added", tt.name, err, tt.says)
		}
	}
	if n := number(t, to, "SELECT (SELECT count(*) FROM answer) + (SELECT count(*) FROM session) + (SELECT count(*) FROM tally)"); n != 0 {
		t.Errorf("%d rows came in", n)
	}
	os.Remove(filepath.Join(paths[1], "ear_tries.csv"))
	if _, err := to.Import(t.Context(), paths[1], ""); err == nil || !strings.Contains(err.Error(), "ear_tries.csv") {
		t.Errorf("a file missing: %v", err)
	}
	// The same ID with another content is told, and what is here stays.
	mustImport(t, to, paths[0])
	path := filepath.Join(t.TempDir(), "changed.json")
	os.WriteFile(path, []byte(strings.Replace(string(whole), `"answer_ms": "7"`, `"answer_ms": "8"`, 1)), 0o600)
	if im, err := to.Import(t.Context(), path, ""); err != nil || len(im.Differing) != 1 || !strings.HasPrefix(im.Differing[0], "answers ") {
		t.Errorf("changed: %+v, %v; want one that differs", im, err)
	}
	if !reflect.DeepEqual(everything(t, to), everything(t, s)) {
		t.Error("what was here has changed")
	}
}

// TestCheckFinds: each count that is wrong is found.
func TestCheckFinds(t *testing.T) {
	for _, tt := range []struct{ harm, says string }{
		{"UPDATE tally SET asked = asked + 1 WHERE rowid_is", "counts by label"},
		{"UPDATE day SET right = right - 1", "counts by day are"},
		{"DELETE FROM day_kind", "by day and kind"},
		{"UPDATE session SET asked = asked + 5", "counts of sittings"},
		{"PRAGMA foreign_keys = off; INSERT INTO ear_try VALUES (99, 'x', 77, 1, 0, 0, '', NULL)", "not there"},
	} {
		s := peopled(t, 5)
		mustBeWell(t, s)
		conn, err := s.db.Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := conn.ExecContext(context.Background(), strings.Replace(tt.harm, " WHERE rowid_is", "", 1)); err != nil {
			t.Fatalf("%s: %v", tt.harm, err)
		}
		conn.Close()
		if h, err := s.Check(t.Context()); err != nil || !strings.Contains(strings.Join(h.Faults, "; "), tt.says) {
			t.Errorf("%s: %+v, %v; want %q", tt.harm, h, err, tt.says)
		}
	}
}
