package main

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"plumbline/theory/claim"
	"plumbline/theory/score/typed"
)

// sheetOf makes the sheet of the demo, with some of its claims.
func sheetOf(t testing.TB, lines string) []sheetFile {
	t.Helper()
	p, err := typed.Read("lamp.passage", bytes.NewReader(demoPassage))
	if err != nil {
		t.Fatal(err)
	}
	results, bad, err := checkClaims(p, "lamp.claims", strings.NewReader(lines))
	if err != nil || len(bad) > 0 {
		t.Fatal(err, bad)
	}
	s := &sheet{e: &env{stderr: io.Discard, now: systemEnv().now}, p: p, results: results, pictures: true,
		ear: func(c claim.Claim) string {
			return map[bool]string{true: "heard"}[strings.Contains(c.Statement, "bass")]
		}}
	files, err := s.make(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return files
}

const sheetLines = "bar 1 beat 1, left hand: stacked in fifths -- low & open\nbar 2 beat 3: is Dm7\nbar 4 beat 3: bass is E\nbars 7-8, bass: moves by the circle of fifths\n"

func TestSheet(t *testing.T) {
	files := sheetOf(t, sheetLines)
	byName := map[string][]byte{}
	for _, f := range files {
		if byName[f.name] != nil {
			t.Errorf("%s is written twice", f.name)
		}
		byName[f.name] = f.data
	}
	for _, name := range []string{"sheet.html", "passage.musicxml", "claim-01.svg", "claim-01.png", "claim-01.wav", "claim-01.vtt", "claim-01-apart.wav", "claim-01-apart.vtt", "claim-04.png"} {
		if len(byName[name]) == 0 {
			t.Errorf("%s is missing", name)
		}
	}
	page := string(byName["sheet.html"])
	if got := strings.Count(page, "<article "); got != 4 {
		t.Errorf("the page has %d claims; want 4", got)
	}
	for _, want := range []string{"A lamp by the window", "3 hold, 0 arguable, 1 fail", "low &amp; open", "By ear: heard", "Instead: "} {
		if !strings.Contains(page, want) {
			t.Errorf("the page doesn't say %q", want)
		}
	}
	// Nothing is fetched: every address is inside the page.
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]{1,40})`).FindAllStringSubmatch(page, -1) {
		if !strings.HasPrefix(m[1], "data:") && !strings.HasPrefix(m[1], "#") {
			t.Errorf("the page points to %q", m[1])
		}
	}
	img, err := png.Decode(bytes.NewReader(byName["claim-02.png"]))
	if err != nil {
		t.Fatal(err)
	}
	if b := img.Bounds(); b.Dx() != 1920 || b.Dy() != 1080 {
		t.Errorf("the picture is %v; want 1920 by 1080", b)
	}
	dark := 0
	for y := 0; y < 1080; y += 2 {
		for x := 0; x < 1920; x += 2 {
			if r, g, b, _ := img.At(x, y).RGBA(); r+g+b < 3*0x6000 {
				dark++
			}
		}
	}
	if share := float64(dark) / (1920 * 1080 / 4); share < .005 || share > .2 {
		t.Errorf("%.3f of the picture is dark; want a page of music", share)
	}
	for name, data := range byName {
		switch filepath.Ext(name) {
		case ".svg":
			d := xml.NewDecoder(bytes.NewReader(data))
			for {
				if _, err := d.Token(); err == io.EOF {
					break
				} else if err != nil {
					t.Fatalf("%s: %v", name, err)
				}
			}
		case ".vtt":
			if !regexp.MustCompile(`^WEBVTT\n(\n\d\d:\d\d:\d\d\.\d{3} --> \d\d:\d\d:\d\d\.\d{3}\n[^\n]+\n)+$`).Match(data) {
				t.Errorf("%s is no list of captions:\n%s", name, data)
			}
		}
	}
	again := sheetOf(t, sheetLines)
	for i := range files {
		if files[i].name != again[i].name || !bytes.Equal(files[i].data, again[i].data) {
			t.Errorf("%s comes out differently the second time", files[i].name)
		}
	}
}

func TestWriteFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "talk")
	files := []sheetFile{{"a.txt", []byte("one")}, {"b.txt", []byte("two")}}
	if err := writeFiles(dir, files, false); err != nil {
		t.Fatal(err)
	}
	var h *hintError
	if err := writeFiles(dir, files, false); !errors.As(err, &h) {
		t.Errorf("written over: %v", err)
	}
	if err := writeFiles(dir, []sheetFile{{"b.txt", []byte("three")}}, true); err != nil {
		t.Fatal(err)
	}
	entries, _ := os.ReadDir(dir)
	got, _ := os.ReadFile(filepath.Join(dir, "b.txt"))
	if string(got) != "three" || len(entries) != 2 {
		t.Errorf("b.txt holds %q, and there are %d files", got, len(entries))
	}
}

// TestRasterize draws a square with a hole, a stroke and a letter, and refuses what it doesn't know.
func TestRasterize(t *testing.T) {
	const head = `<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40" viewBox="0 0 20 20">`
	data, err := rasterize([]byte(head + `<rect x="0" y="0" width="20" height="20" fill="#ffffff"/><path fill="#ff0000" d="M2 2h6v6h-6zM4 4v2h2v-2z"/>` +
		`<g transform="translate(10 0)"><path fill="none" stroke="#0000ff" stroke-width="2" d="M2 5L8 5"/></g><text x="1" y="19" font-size="10">W</text></svg>`))
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		x, y    int
		r, g, b uint32
	}{{6, 6, 255, 0, 0}, {10, 10, 255, 255, 255}, {30, 10, 0, 0, 255}, {30, 14, 255, 255, 255}, {38, 38, 255, 255, 255}} {
		if r, g, b, _ := img.At(tt.x, tt.y).RGBA(); r>>8 != tt.r || g>>8 != tt.g || b>>8 != tt.b {
			t.Errorf("at %d,%d: %d %d %d, want %d %d %d", tt.x, tt.y, r>>8, g>>8, b>>8, tt.r, tt.g, tt.b)
		}
	}
	black := 0
	for y := 20; y < 40; y++ {
		for x := 0; x < 24; x++ {
			if r, _, _, _ := img.At(x, y).RGBA(); r < 0x8000 {
				black++
			}
		}
	}
	if black < 20 {
		t.Errorf("the letter has %d dark points", black)
	}
	for _, bad := range []string{"", "<svg", head + `<circle r="3"/></svg>`, head + `<path fill="red" d="M0 0h1v1z"/></svg>`, head + `<path d="h1"/></svg>`, head + `<path d="M0 0A1 1 0 0 0 2 2"/></svg>`,
		head + `<g transform="rotate(3)"/></svg>`, head + `<use href="#x"/></svg>`, `<svg width="0" height="0"/>`} {
		if _, err := rasterize([]byte(bad)); err == nil {
			t.Errorf("%q is drawn", bad)
		}
	}
}
