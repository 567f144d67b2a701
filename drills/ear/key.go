package ear

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// Key names a claim by what it is about: a hash over what sounds where it is heard, the place and the words of the statement.
// The same music in another format has the same key, and a change elsewhere in the passage leaves it; a note changed at the
// place, or the statement, gives another. It returns an error if the claim speaks of a place that isn't in p.
func Key(p *score.Passage, c claim.Claim) (string, error) {
	r, err := p.Resolve(c.Place)
	if err != nil {
		return "", err
	}
	places, err := stretches(p, r, c.Statement)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	line := func(format string, a ...any) { fmt.Fprintf(h, format+"\n", a...) }
	since := func(t score.Time) string { return t.Sub(places[0].From).String() }
	line("%s", strings.Join(strings.Fields(strings.ToLower(c.PlaceText)), " "))
	line("%s", strings.TrimRight(strings.Join(strings.Fields(c.Statement), " "), ".")) // capitals tell CM7 from Cm7
	sounding := p.Sounding()
	for _, q := range places {
		line("from %s to %s", since(q.From), since(q.To))
		for _, n := range q.Select(sounding) {
			line("%s %s %s %d %d", n.Pitch, since(n.Onset), n.Duration, n.Hand, n.Grace)
		}
		for _, d := range p.Dynamics {
			if d.At.Less(q.To) && !d.At.Less(q.From) || d.At.Less(d.Until) && d.At.Less(q.To) && q.From.Less(d.Until) {
				line("%s %s %s %d", d.Text, since(d.At), since(d.Until), d.Hand)
			}
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}
