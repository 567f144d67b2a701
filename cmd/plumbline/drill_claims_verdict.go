package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"plumbline/drills/ear"
	"plumbline/progress"
	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// An earVerdict is what the ear has made of a claim.
type earVerdict struct {
	verdict ear.Verdict // Open if it was asked about and no try has been decided
	on      time.Time   // when it was heard first, else when the last try ended; zero if none has
	tries   int
	right   int
	answers int
}

// String returns "heard (2026-03-01)", "not heard (…)", "undecided (…)", or "begun, 3 answers".
func (v earVerdict) String() string {
	if v.verdict == ear.Open {
		return "begun, " + counted(v.answers, "answer")
	}
	return fmt.Sprintf("%s (%s)", v.verdict, v.on.Local().Format(time.DateOnly))
}

// verdictOfTries sums up the tries of a claim.
func verdictOfTries(tries []progress.EarTry) earVerdict {
	v := earVerdict{tries: len(tries)}
	for _, t := range tries {
		v.right += t.Right
		v.answers += t.Right + t.Wrong
		if t.Verdict != "" && v.verdict != ear.Heard { // what was heard once stays so; a try that is open changes nothing
			v.verdict, _ = ear.ParseVerdict(t.Verdict)
			v.on = t.Decided
		}
	}
	return v
}

// earVerdicts returns what the ear has made of claims about a passage, by their lines; those never asked about are left out. db is
// the flag that names the database. Looking makes no file.
func (e *env) earVerdicts(ctx context.Context, p *score.Passage, claims []claim.Claim, db string) (map[int]earVerdict, error) {
	out := map[int]earVerdict{}
	store, err := e.openIfThere(ctx, db)
	if store == nil {
		return out, err
	}
	defer store.Close()
	lines := map[string][]int{}
	var keys []string
	for _, c := range claims {
		if k, err := ear.Key(p, c); err == nil {
			if lines[k] == nil {
				keys = append(keys, k)
			}
			lines[k] = append(lines[k], c.Line)
		}
	}
	if len(keys) == 0 {
		return out, nil
	}
	known, err := store.EarClaims(ctx, keys...)
	if err != nil {
		return nil, err
	}
	for _, k := range known {
		for _, n := range lines[k.Key] {
			out[n] = verdictOfTries(k.Tries)
		}
	}
	return out, nil
}

// openIfThere opens the database if its file exists; else the store is nil, as it is if no place for it is known and none is
// named.
func (e *env) openIfThere(ctx context.Context, db string) (*progress.Store, error) {
	path, err := e.database(db)
	if err != nil {
		return nil, nil // nobody has kept anything
	}
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	store, err := progress.Open(ctx, path)
	if err != nil {
		return nil, &hintError{err, "--db FILE reads another file"}
	}
	return store, nil
}

// ears returns what the ear has made of claims, for showing: in words with the day, and as the word alone. Without a database that
// can be read both say nothing, and stderr says why.
func (e *env) ears(ctx context.Context, p *score.Passage, results []claim.Result, db string) (words, plain func(claim.Claim) string) {
	var claims []claim.Claim
	for _, r := range results {
		claims = append(claims, r.Claim)
	}
	known, err := e.earVerdicts(ctx, p, claims, db)
	if err != nil {
		e.warn("what the ear has made of the claims is left out: %s", message(err))
	}
	words = func(c claim.Claim) string {
		if v, ok := known[c.Line]; ok {
			return v.String()
		}
		return ""
	}
	plain = func(c claim.Claim) string { return known[c.Line].verdict.String() }
	return words, plain
}

// earClaimJSON is a claim in the JSON of progress.
type earClaimJSON struct {
	Passage   string `json:"passage"`
	Place     string `json:"place"`
	Statement string `json:"statement"`
	Form      string `json:"form"`
	Ear       string `json:"ear"` // "heard", "not heard", "undecided"; "": no try is decided
	On        string `json:"on"`  // the day of that, "" if none
	Tries     int    `json:"tries"`
	Right     int    `json:"right"`
	Answers   int    `json:"answers"`
}

// earProgress lists all claims that were asked about since a time, zero for all.
func earProgress(ctx context.Context, store *progress.Store, since time.Time) ([]earClaimJSON, error) {
	known, err := store.EarClaims(ctx)
	if err != nil {
		return nil, err
	}
	out := []earClaimJSON{}
	for _, k := range known {
		if k.Tries[len(k.Tries)-1].Began.Before(since) {
			continue
		}
		v := verdictOfTries(k.Tries)
		on := ""
		if v.verdict != ear.Open {
			on = v.on.Local().Format(time.DateOnly)
		}
		out = append(out, earClaimJSON{k.Passage, k.Place, k.Statement, k.Form, v.verdict.String(), on, v.tries, v.right, v.answers})
	}
	return out, nil
}

// showEarProgress tells which claims are heard, and which not yet.
func showEarProgress(w io.Writer, claims []earClaimJSON) error {
	heard := 0
	for _, c := range claims {
		if c.Ear == ear.Heard.String() {
			heard++
		}
	}
	fmt.Fprintf(w, "Claims by ear: %d of %d heard\n", heard, len(claims))
	passage := ""
	for _, c := range claims {
		if c.Passage != passage {
			passage = c.Passage
			fmt.Fprintf(w, "\n  %s\n", passage)
		}
		word := c.Ear
		if word == "" {
			word = "begun"
		}
		text := wrap(c.Place+": "+c.Statement, textWidth, "             ")
		fmt.Fprintf(w, "  %-10s %s\n", word, text[min(13, len(text)):])
		tries := "try"
		if c.Tries > 1 {
			tries = "tries"
		}
		when := ""
		if c.On != "" {
			when = c.On + ", "
		}
		fmt.Fprintf(w, "             %s%d of %d right in %d %s\n", when, c.Right, c.Answers, c.Tries, tries)
	}
	_, err := fmt.Fprintf(w, "\n%s\n", wrap("Heard means that your answers over all tries are at least twenty times as likely for one who hears as for one who guesses.", textWidth, ""))
	return err
}
