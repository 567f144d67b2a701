package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strings"
	"testing"
	"time"

	"plumbline/theory/harmony"
)

// write makes a set of one invented piece: C, F, G7 and C, a bar each, and one slip.
func write(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	set := filepath.Join(dir, "invented")
	if err := os.Mkdir(set, 0o777); err != nil {
		t.Fatal(err)
	}
	var notes strings.Builder
	notes.WriteString("onset\tstaff\tvoice\tduration\tpitch\ttie\tbar\tbar_onset\tmeter\n")
	for bar, chord := range [][]string{{"C3", "E4", "G4", "C5"}, {"F3", "F4", "A4", "C5"}, {"G3", "F4", "G4", "B4"}, {"C3", "E4", "G4", "C5"}} {
		for i, p := range chord {
			staff := "1"
			if i == 0 {
				staff = "2"
			}
			fmt.Fprintf(&notes, "%d\t%s\t1\t4\t%s\t\t%d\t0\t4/4\n", 4*bar, staff, p, bar+1)
		}
	}
	files := map[string]string{
		"one.notes.tsv": notes.String(),
		"one.truth.tsv": "onset\tduration\tbar\tbar_onset\tkey\troot\tquality\tbass\tchord_tones\tadded_tones\n" +
			"0\t4\t1\t0\tC major\tC\tmajor\tC\tC E G\t\n4\t4\t2\t0\tC major\tF\tmajor\tF\tF A C\t\n" +
			"8\t4\t3\t0\tC major\tG\tdominant seventh\tG\tG B D F\t\n12\t4\t4\t0\tC major\tC\tmajor\tC\tC E G\t\n",
		"one.planted.tsv": "onset\tduration\tbar\tbar_onset\tkey\troot\tquality\tbass\tslip\n0\t4\t1\t0\tC major\tC\tminor\tC\tquality\n4\t4\t2\t0\tC major\tF\tmajor\tA\tbass\n",
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(set, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestReportJSON(t *testing.T) {
	dir := write(t)
	var out, errs bytes.Buffer
	if code := run([]string{"-json", dir}, &out, &errs); code != 0 || errs.Len() > 0 {
		t.Fatalf("run = %d, %s", code, errs.String())
	}
	var got map[string]any
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if keys := names(got); !reflect.DeepEqual(keys, []string{"all", "seconds", "sets"}) {
		t.Errorf("names %v", keys)
	}
	// The names other programs rely on are those of the design.
	set := got["sets"].([]any)[0].(map[string]any)
	for _, m := range []map[string]any{set, got["all"].(map[string]any)} {
		for _, k := range []string{"name", "labels", "root", "root_quality", "bass", "key", "numeral", "planted", "false_alarms", "slips_caught"} {
			if _, ok := m[k]; !ok {
				t.Errorf("%q is missing in %v", k, m)
			}
		}
		for k, want := range map[string]float64{"labels": 4, "root": 1, "root_quality": 1, "bass": 1, "key": 1, "numeral": 1, "planted": 2, "false_alarms": 0, "slips_caught": 1} {
			if m[k] != want {
				t.Errorf("%s of %v = %v; want %v", k, m["name"], m[k], want)
			}
		}
	}
	if set["name"] != "invented" {
		t.Errorf("the set is called %v", set["name"])
	}
}

func names(m map[string]any) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

func TestReportText(t *testing.T) {
	dir := write(t)
	var out, errs bytes.Buffer
	if code := run([]string{"-worst", "-divide", filepath.Join(dir, "invented")}, &out, &errs); code != 0 {
		t.Fatalf("run = %d, %s", code, errs.String())
	}
	for _, want := range []string{"4 labels", "root 1.000", "slips: caught 1.000", "share of time: root", "seconds", "Commonest confusions"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, &out)
		}
	}
}

func TestBadUsage(t *testing.T) {
	for _, args := range [][]string{nil, {"no such folder"}, {t.TempDir()}, {"-nonsense", "."}} {
		var out, errs bytes.Buffer
		if code := run(args, &out, &errs); code != 2 || errs.Len() == 0 {
			t.Errorf("run(%q) = %d, %q; want 2 and a message", args, code, errs.String())
		}
	}
}

// TestFigures measures the tables that ship on the corpus they were learned from: a floor below which something is broken. What they are
// worth on other music is shown by -cross; see the figures in DEVELOPERS.md.
func TestFigures(t *testing.T) {
	if testing.Short() {
		t.Skip("reads the whole corpus")
	}
	pieces, err := readSets([]string{shared(t)})
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	sets, _ := measure(harmony.Shipped(), prepare(pieces), false)
	t.Logf("%.1f seconds", time.Since(start).Seconds())
	for _, f := range sets {
		t.Log(f.Name, f)
		floor := func(name string, got, want float64) {
			if !(got >= want) {
				t.Errorf("%s: %s %.3f; want at least %.3f", f.Name, name, got, want)
			}
		}
		floor("root", part(f.Root, f.Labels), .84)
		floor("root and quality", part(f.RootQuality, f.Labels), .80)
		floor("bass", part(f.Bass, f.Labels), .85)
		floor("key", part(f.Key, f.Labels), .81)
		floor("labels that pass", 1-part(f.FalseAlarms, f.Labels), .96)
		floor("slips caught", part(f.Caught, f.Planted), .94)
	}
}

func BenchmarkCorpus(b *testing.B) {
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	pieces, err := readSets([]string{filepath.Join(root, "corpus")})
	if err != nil {
		b.Skip(err)
	}
	harmony.Shipped()
	b.ReportAllocs()
	for b.Loop() {
		measure(harmony.Shipped(), prepare(pieces), false)
	}
}
