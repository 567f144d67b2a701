package musicxml

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/theory/score"
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
	for _, path := range songs(t) {
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
