package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// readmePictures are the claims about the demo's passage that the README shows as the sheet draws them.
var readmePictures = []struct{ name, line string }{
	{"two-lines", "bars 5-6, top line: splits into two chromatic lines"},
	{"cycle", "bars 7-8: outer intervals repeat every 3 chords: P5 m3 M7"},
	{"fails", "bar 2 beat 3: is Dm7"},
}

// TestReadmePictures keeps the README's pictures what the program draws. -update draws them anew.
func TestReadmePictures(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, pic := range readmePictures {
		for _, f := range sheetOf(t, pic.line+"\n") {
			if f.name != "claim-01.svg" {
				continue
			}
			path := filepath.Join("..", "..", "testdata", "pictures", pic.name+".svg")
			got, err := os.ReadFile(path)
			if *update {
				if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, f.data, 0o644); err != nil {
					t.Fatal(err)
				}
			} else if err != nil || !bytes.Equal(got, f.data) {
				t.Errorf("%s is not what the program draws (%v); go test ./cmd/plumbline -run Readme -update", path, err)
			}
		}
		if !strings.Contains(string(readme), "(testdata/pictures/"+pic.name+".svg)") {
			t.Errorf("README.md doesn't show %s", pic.name)
		}
	}
}
