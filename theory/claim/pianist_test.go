package claim_test

import (
	"strings"
	"testing"

	"plumbline/theory/claim"
)

// What the trade says of these is common practice, no source; the passages are invented.
func TestClosesAndPedals(t *testing.T) {
	bell := claim.NewChecker(passage(t, `title: A bell
key: C major
meter: 4/4
bars 1-5
right: w E4+G4+C5 | w F4+G4+B4 | w E4+G4+C5 | w D4+G4+B4+F5 | w E4+G4+C5
left:  h C3 C3 | q C3 C3 C3 C3 | h C3 C3 | h C3 C3 | w C2
`))
	latch := claim.NewChecker(passage(t, `title: A latch
key: C major
meter: 4/4
bars 1-3
right: w E4+G4+C5 | w F4+G4+B4 | h r E4+G4+C5
left:  w C3 | w G2 | w C2+C3
`))
	for _, x := range []struct {
		k       *claim.Checker
		verdict claim.Verdict
		claim   string
		want    string
	}{
		{bell, claim.Fails, "bar 2 beat 3: C3 is an anticipation", "pedal point"},
		{bell, claim.Fails, "bar 2 beat 3: contains an anticipation", "pedal point"},
		{bell, claim.Fails, "bars 1-5: perfect authentic cadence in C major", "over C in the bass"},
		{bell, claim.Arguable, "bars 4-5: cadences in C major", "over C in the bass"},
		{latch, claim.Holds, "bars 1-3: authentic cadence in C major", "only the bass sounds"},
		{latch, claim.Arguable, "bars 1-3: perfect authentic cadence in C major", "only the bass sounds"},
	} {
		res := check(t, x.k, x.claim)
		if res.Verdict != x.verdict || !strings.Contains(res.Because+"\n"+res.Instead, x.want) {
			t.Errorf("%s\n\tverdict %s; want %s, saying %q\n\tbecause %s\n\tinstead %s", x.claim, res.Verdict, x.verdict, x.want, res.Because, res.Instead)
		}
	}
}

// The evidence for a non-chord tone is told from the figure that gave it its name: a suspension comes from its own pitch.
func TestForeignEvidenceIsOne(t *testing.T) {
	k := claim.NewChecker(passage(t, `title: A hinge
key: C major
meter: 4/4
bars 1-3
right: h E4+G4+C5 h F4+A4+C5= | h F4+G4+C5 h D4+G4+B4 | w E4+G4+C5
left:  h C3 h F2 | w G2 | w C3
`))
	for line, want := range map[string]string{
		"bar 2 beat 1: C5 is a suspension":                "from C5 to B4",
		"bar 2 beat 1: C5 resolves to B4 at bar 2 beat 3": "B4",
	} {
		res := check(t, k, line)
		if res.Verdict != claim.Holds || !strings.Contains(res.Because, want) {
			t.Errorf("%s: %s, because %s; want it to hold, saying %q", line, res.Verdict, res.Because, want)
		}
	}
}

// Without a key the one that the passage declares comes first, then the one read at the place; the answer says which.
func TestNumeralWithoutKey(t *testing.T) {
	k := claim.NewChecker(passage(t, `title: A turn
key: C major
meter: 4/4
bars 1-12
right: w E4+G4+C5 | w F4+G4+B4 | w E4+G4+C5 | w F#4+A4+C5 | w G4+B4+D5 | w E4+G4+C5 | w E4+A4+C5 | w F#4+A4+C5+D5 | w G4+B4+D5 | w E4+A4+C5 | w F#4+A4+C5 | w D4+G4+B4
left:  w C3 | w G2 | w C3 | w D3 | w G2 | w C3 | w A2 | w D3 | w G2 | w C3 | w D3 | w G2
`))
	for _, x := range []struct {
		verdict     claim.Verdict
		claim, want string
	}{
		{claim.Holds, "bar 2: is V7", "C major"},
		{claim.Holds, "bar 8: is V7/V", "in C major, the key of the passage"},
		{claim.Holds, "bar 8: is V7", "in G major, the key read there (not in C major, the key of the passage)"},
		{claim.Fails, "bar 8: is ii65", "the key of the passage"},
	} {
		res := check(t, k, x.claim)
		if res.Verdict != x.verdict || !strings.Contains(res.Because, x.want) {
			t.Errorf("%s\n\tverdict %s; want %s, saying %q\n\tbecause %s\n\tinstead %s", x.claim, res.Verdict, x.verdict, x.want, res.Because, res.Instead)
		}
	}
}
