package musicxml

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

// again writes p and reads it back.
func again(t *testing.T, p *score.Passage) (*score.Passage, []byte) {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, p, WriteOptions{}); err != nil {
		t.Fatalf("%s: %v", p.Source, err)
	}
	q, err := Read(bytes.NewReader(b.Bytes()), Options{})
	if err != nil {
		t.Fatalf("%s: %v\n%s", p.Source, err, b.String())
	}
	check(t, q)
	return q, b.Bytes()
}

// some returns all files, or every tenth under the race detector, which makes a minute of seconds.
func some(files []string) []string {
	if !raceDetector {
		return files
	}
	var out []string
	for i := 0; i < len(files); i += 10 {
		out = append(out, files[i])
	}
	return out
}

// validate holds files against the schema of MusicXML 4.0 (W3C Music Notation Community Group), with xmllint.
func validate(t *testing.T, files []string) {
	t.Helper()
	schema := filepath.Join(filepath.Dir(filepath.Dir(corpus(t, "lieder"))), "schema")
	if _, err := exec.LookPath("xmllint"); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatal("xmllint is required (Debian: libxml2-utils)")
		}
		t.Skip("no xmllint to hold the files against the schema")
	}
	cmd := exec.Command("xmllint", append([]string{"--nonet", "--noout", "--schema", filepath.Join(schema, "musicxml.xsd")}, files...)...)
	cmd.Env = append(os.Environ(), "XML_CATALOG_FILES="+filepath.Join(schema, "catalog.xml"))
	out, err := cmd.CombinedOutput()
	if err != nil {
		var bad []string
		for _, l := range strings.Split(string(out), "\n") {
			if !strings.HasSuffix(l, " validates") && len(bad) < 20 {
				bad = append(bad, l)
			}
		}
		t.Errorf("%v\n%s", err, strings.Join(bad, "\n"))
	}
	if n := strings.Count(string(out), " validates"); n != len(files) && err == nil {
		t.Errorf("%d of %d files validate:\n%s", n, len(files), out)
	}
}

// TestWriteSongs reads, writes and reads again all songs: nothing may change. What is written is held against the schema.
func TestWriteSongs(t *testing.T) {
	dir := t.TempDir()
	var files []string
	for _, path := range some(songs(t)) {
		p, err := ReadFile(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		q, data := again(t, p)
		if d := score.Diff(p, q); d != "" {
			t.Errorf("%s: %s", filepath.Base(path), d)
		}
		_, twice := again(t, q)
		if !bytes.Equal(data, twice) {
			t.Errorf("%s: written again it is another file", filepath.Base(path))
		}
		name := filepath.Join(dir, strings.TrimSuffix(filepath.Base(path), ".mxl")+".musicxml")
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, name)
	}
	validate(t, files)
}

// printed counts the notes of a part by what is printed of them: measure, pitch and what pick finds.
func printed(part string, pick func(note string) string) map[string]int {
	out := map[string]int{}
	for i, m := range strings.Split(part, "<measure ")[1:] {
		for _, s := range strings.Split(strings.ReplaceAll(m, "<note ", "<note>"), "<note>")[1:] {
			s, _, _ = strings.Cut(s, "</note>")
			if !strings.Contains(s, "<pitch>") || strings.Contains(s, "<grace") {
				continue
			}
			get := func(name string) string {
				_, after, _ := strings.Cut(s, "<"+name+">")
				text, _, _ := strings.Cut(after, "</")
				return strings.TrimSpace(text)
			}
			out[fmt.Sprint(i, " ", get("step"), get("alter"), get("octave"), " ", pick(s))]++
		}
	}
	return out
}

// What is chosen by us in writing (values, dots, tuplets, accidentals) is held against what the songs print, as typeset by
// others.
func TestWriteAsPrinted(t *testing.T) {
	between := func(s, from, to string) string {
		_, after, ok := strings.Cut(s, from)
		text, _, _ := strings.Cut(after, to)
		if !ok {
			return ""
		}
		return strings.TrimSpace(text)
	}
	accidental := func(s string) string {
		_, after, ok := strings.Cut(s, "<accidental")
		if !ok || strings.Contains(s, "cautionary=") || strings.Contains(s, "parentheses=") {
			return ""
		}
		_, after, _ = strings.Cut(after, ">")
		text, _, _ := strings.Cut(after, "<")
		return text
	}
	checks := []struct {
		what      string
		pick      func(string) string
		want      float64
		same, all int
	}{
		{what: "values and dots", want: .99, pick: func(s string) string {
			return between(s, "<type>", "</") + strings.Repeat(".", strings.Count(s, "<dot"))
		}},
		{what: "tuplets", want: .99, pick: func(s string) string { // six in four is three in two
			a, _ := strconv.ParseInt(between(s, "<actual-notes>", "</"), 10, 64)
			n, _ := strconv.ParseInt(between(s, "<normal-notes>", "</"), 10, 64)
			return score.T(a, n).String()
		}},
		{what: "accidentals", want: .99, pick: accidental},
	}
	for _, path := range some(songs(t)) {
		p, err := ReadFile(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := Write(&b, p, WriteOptions{}); err != nil {
			t.Fatal(err)
		}
		part := ""
		for _, s := range strings.Split(unpacked(t, path), "<part id=")[1:] {
			if part == "" || strings.Contains(s, "<staves>2</staves>") {
				part = s
			}
		}
		for i := range checks {
			c := &checks[i]
			got, want := printed(b.String(), c.pick), printed(part, c.pick)
			for k, n := range want {
				c.all += n
				c.same += min(n, got[k])
			}
		}
	}
	for _, c := range checks {
		share := float64(c.same) / float64(c.all)
		t.Logf("%s: %d of %d notes as printed, %.4f", c.what, c.same, c.all, share)
		if share < c.want {
			t.Errorf("%s: %.4f of the notes as printed; want %v", c.what, share, c.want)
		}
	}
}

// TestWriteConformance writes all files of the suite and reads them again, each part of each file.
func TestWriteConformance(t *testing.T) {
	dir := corpus(t, "conformance")
	files, err := filepath.Glob(filepath.Join(dir, "*.*"))
	if err != nil {
		t.Fatal(err)
	}
	tmp := t.TempDir()
	var written []string
	for _, path := range files {
		for part := 1; part < 100; part++ {
			p, err := ReadFile(path, Options{Part: fmt.Sprint(part)})
			if err != nil {
				break
			}
			q, data := again(t, p)
			if len(q.Notes) > len(p.Notes) { // compared as they sound
				t.Logf("%s, part %d: %d notes become %d", filepath.Base(path), part, len(p.Notes), len(q.Notes))
				p.Notes, q.Notes = p.Sounding(), q.Sounding()
			}
			if d := score.Diff(p, q); d != "" {
				t.Errorf("%s, part %d: %s", filepath.Base(path), part, d)
			}
			name := filepath.Join(tmp, fmt.Sprintf("%s-%d.musicxml", filepath.Base(path), part))
			if err := os.WriteFile(name, data, 0o600); err != nil {
				t.Fatal(err)
			}
			written = append(written, name)
		}
	}
	if len(written) < 150 {
		t.Errorf("only %d parts written", len(written))
	}
	validate(t, written)
}

// TestTypedSongs goes from MusicXML to a typed passage and back, with all songs: nothing may be missing.
func TestTypedSongs(t *testing.T) {
	same := 0
	for _, path := range some(songs(t)) {
		p, err := ReadFile(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		var text bytes.Buffer
		if err := typed.Write(&text, p); err != nil {
			t.Errorf("%s: %v", filepath.Base(path), err)
			continue
		}
		q, err := typed.Read(p.Source, &text)
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(path), err)
			continue
		}
		q, _ = again(t, q)
		if d := score.Diff(p, q); d != "" {
			t.Errorf("%s: %s", filepath.Base(path), d)
			continue
		}
		same++
	}
	t.Logf("%d songs the same in everything", same)
}
