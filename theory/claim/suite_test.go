package claim_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbline/theory/claim"
	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

const suiteDir = "../../testdata/claims"

// suiteFile checks a claims file whose remarks tell the verdict by hand, and counts.
func suiteFile(t *testing.T, p *score.Passage, file string, seen map[string]int, verdicts map[claim.Verdict]int) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	claims, bad, err := claim.Parse(filepath.Base(file), f)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range bad {
		t.Errorf("%v\n%s", b, b.Detail())
	}
	k := claim.NewChecker(p)
	for _, c := range claims {
		want, why, ok := strings.Cut(c.Remark, ":")
		if !ok || want != "holds" && want != "fails" && want != "arguable" || strings.TrimSpace(why) == "" {
			t.Errorf("%s:%d: the remark %q doesn't begin with a verdict and its reason", file, c.Line, c.Remark)
			continue
		}
		res, err := k.Check(c)
		if err != nil {
			t.Errorf("%s:%d: %v", filepath.Base(file), c.Line, err)
			continue
		}
		seen[c.Form().ID]++
		verdicts[res.Verdict]++
		if string(res.Verdict) != want {
			t.Errorf("%s:%d: %s: %s (%s)\n\tverdict %s; want %s, since%s\n\tbecause %s\n\tinstead %s", filepath.Base(file), c.Line, c.PlaceText, c.Statement, c.Form().ID, res.Verdict, want, why, res.Because, res.Instead)
		}
		if len(res.Evidence) == 0 || res.Because == "" || (res.Verdict == claim.Holds) != (res.Instead == "") {
			t.Errorf("%s:%d: %s: verdict %s with %d notes, because %q, instead %q", filepath.Base(file), c.Line, c.Statement, res.Verdict, len(res.Evidence), res.Because, res.Instead)
		}
	}
}

// TestSuite checks claims about invented passages against verdicts found by hand, from the notes; each remark tells the reason.
// What a term means is common practice where no source is named in the form's documentation.
func TestSuite(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(suiteDir, "*.passage"))
	if err != nil || len(files) < 12 {
		t.Fatalf("%d passages in %s; want 12 at least", len(files), suiteDir)
	}
	seen, verdicts := map[string]int{}, map[claim.Verdict]int{}
	for _, file := range files {
		f, err := os.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		p, err := typed.Read(filepath.Base(file), f)
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		suiteFile(t, p, strings.TrimSuffix(file, ".passage")+".claims", seen, verdicts)
	}
	all := verdicts[claim.Holds] + verdicts[claim.Fails] + verdicts[claim.Arguable]
	if all < 150 || 2*verdicts[claim.Holds] > all {
		t.Errorf("%d claims, %d hold; want 150 at least and half of them false or arguable", all, verdicts[claim.Holds])
	}
	for _, f := range claim.Forms() {
		if seen[f.ID] == 0 {
			t.Errorf("no claim of the form %q", f.ID)
		}
	}
	t.Logf("%d claims: %v", all, verdicts)
}
