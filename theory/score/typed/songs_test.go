package typed_test

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
	"plumbline/theory/score/typed"
)

// shared returns the folder of reference scores, or skips the test.
func shared(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("PLUMBLINE_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "..", "shared")
	}
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the reference scores are required: %v", err)
		}
		t.Skipf("no reference scores (set PLUMBLINE_SHARED): %v", err)
	}
	return dir
}

// TestSongs writes and reads back the songs of the shared collection of scores, which were typeset by others, as they come
// from MusicXML: nothing that the model holds may get lost.
func TestSongs(t *testing.T) {
	files, _ := filepath.Glob(filepath.Join(shared(t), "scores", "lieder", "*.mxl"))
	if len(files) < 100 {
		t.Fatalf("%d songs; want at least 100", len(files))
	}
	for _, f := range files {
		p, err := musicxml.ReadFile(f, musicxml.Options{})
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(f), err)
			continue
		}
		var text, again bytes.Buffer
		if err := typed.Write(&text, p); err != nil {
			t.Errorf("%s: %v", filepath.Base(f), err)
			continue
		}
		q, err := typed.Read(p.Source, bytes.NewReader(text.Bytes()))
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(f), err)
			continue
		}
		if len(q.Notes) != len(p.Notes) || !reflect.DeepEqual(q.Bars, p.Bars) || q.Title != p.Title ||
			!slices.Equal(q.Keys, p.Keys) || !slices.Equal(q.Tempos, p.Tempos) || !slices.Equal(q.Dynamics, p.Dynamics) {
			t.Errorf("%s: bars, keys, tempos or dynamics differ", filepath.Base(f))
		}
		if err := typed.Write(&again, q); err != nil || !bytes.Equal(again.Bytes(), text.Bytes()) {
			t.Errorf("%s: written again it is another text (%v)", filepath.Base(f), err)
		}
		if d := score.Diff(p, q); d != "" {
			t.Errorf("%s: %s", filepath.Base(f), d)
		}
	}
}
