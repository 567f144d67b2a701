package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// TestRooms keeps the direction of the rooms: a lower one never imports a higher one, and what touches the world outside
// has one importer each.
func TestRooms(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,Standard", "plumbline/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	// What each room may import of our own; a prefix ending in / allows everything below it.
	may := map[string][]string{
		"theory/pitch":          {},
		"theory/chord":          {"theory/pitch"},
		"theory/key":            {"theory/pitch", "theory/chord"},
		"theory/score":          {"theory/pitch", "theory/key"},
		"theory/score/written":  {"theory/score"},
		"theory/score/musicxml": {"theory/pitch", "theory/key", "theory/score", "theory/score/written"},
		"theory/score/typed":    {"theory/pitch", "theory/key", "theory/score"},
		"theory/score/spell":    {"theory/pitch", "theory/key", "theory/score"},
		"theory/harmony":        {"theory/pitch", "theory/chord", "theory/key", "theory/score", "theory/line"},
		"theory/score/midi":     {"theory/pitch", "theory/key", "theory/score", "theory/score/spell"},
		"theory/line":           {"theory/pitch", "theory/score"},
		"theory/claim":          {"theory/pitch", "theory/chord", "theory/key", "theory/score", "theory/line", "theory/harmony"},
		"theory/engrave":        {"theory/pitch", "theory/chord", "theory/key", "theory/score", "theory/score/written"},
		"synth":                 {},
		"synth/speaker":         {"synth"},
		"drills":                {"theory/pitch", "theory/chord", "theory/key", "theory/score", "theory/line", "theory/harmony", "theory/claim"},
		"drills/ear":            {"theory/pitch", "theory/chord", "theory/key", "theory/score", "theory/line", "theory/harmony", "theory/claim", "drills"},
		"drills/planner":        {"drills"},
		"progress":              {},
	}
	only := map[string]string{
		"github.com/hajimehoshi/oto/v2": "synth/speaker",
		"github.com/mattn/go-sqlite3":   "progress",
		"github.com/spf13/cobra":        "cmd/plumbline",
	}
	dec := json.NewDecoder(bytes.NewReader(out))
	seen := 0
	for {
		var pkg struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&pkg); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		room := strings.TrimPrefix(pkg.ImportPath, "plumbline/")
		seen++
		allowed, known := may[room]
		if !known && !strings.HasPrefix(room, "cmd/") {
			t.Errorf("%s is a new room: add what it may import to this test", room)
		}
		for _, imp := range pkg.Imports {
			if own, ok := strings.CutPrefix(imp, "plumbline/"); ok {
				if known && !slices.Contains(allowed, own) {
					t.Errorf("%s imports %s, which is not below it", room, own)
				}
				continue
			}
			if o, ok := only[imp]; ok && o != room {
				t.Errorf("%s imports %s; only %s may", room, imp, o)
			}
			outside := strings.Contains(strings.SplitN(imp, "/", 2)[0], ".")
			if outside && (strings.HasPrefix(room, "theory/") || room == "drills" || room == "synth") {
				t.Errorf("%s imports %s; it may use the standard library only", room, imp)
			}
		}
	}
	if seen < 12 {
		t.Errorf("go list told of %d rooms; want at least 12", seen)
	}
}
