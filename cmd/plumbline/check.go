package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// The JSON of check; other programs rely on these names.
type (
	checkJSON struct {
		Claims   []claimJSON      `json:"claims"`
		Errors   []claimErrorJSON `json:"errors"`
		Holds    int              `json:"holds"`
		Arguable int              `json:"arguable"`
		Fails    int              `json:"fails"`
	}
	claimJSON struct {
		Line      int            `json:"line"`
		Place     string         `json:"place"`
		Statement string         `json:"statement"`
		Remark    string         `json:"remark,omitempty"`
		Form      string         `json:"form"`
		Verdict   string         `json:"verdict"`
		Because   string         `json:"because"`
		Instead   string         `json:"instead"`
		Ear       string         `json:"ear"` // "": the ear has not been asked
		Evidence  []evidenceJSON `json:"evidence"`
	}
	evidenceJSON struct {
		Note string `json:"note"`
		Hand string `json:"hand"`
		Bar  string `json:"bar"`
		Beat string `json:"beat"`
	}
	claimErrorJSON struct {
		Line    int      `json:"line"`
		Column  int      `json:"column"`
		Message string   `json:"message"`
		Nearest []string `json:"nearest"`
	}
)

// checkClaims checks every claim that is understood. bad holds the others, in order of lines.
func checkClaims(p *score.Passage, name string, r io.Reader) (results []claim.Result, bad []*claim.Error, err error) {
	return checkWith(claim.NewChecker(p).Check, name, r)
}

// checkWith is checkClaims with a checker of the passage that is there already.
func checkWith(check func(claim.Claim) (claim.Result, error), name string, r io.Reader) (results []claim.Result, bad []*claim.Error, err error) {
	claims, bad, err := claim.Parse(name, r)
	if err != nil {
		return nil, nil, err
	}
	for _, c := range claims {
		res, err := check(c)
		var ce *claim.Error
		if errors.As(err, &ce) {
			ce.File = name
			bad = append(bad, ce)
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		results = append(results, res)
	}
	for i := 1; i < len(bad); i++ {
		for j := i; j > 0 && bad[j].Line < bad[j-1].Line; j-- {
			bad[j], bad[j-1] = bad[j-1], bad[j]
		}
	}
	return results, bad, nil
}

// checkToJSON gives the verdicts to a program. ear, if there is one, tells what the ear has made of a claim.
func checkToJSON(p *score.Passage, results []claim.Result, bad []*claim.Error, ear ...func(claim.Claim) string) checkJSON {
	out := checkJSON{Claims: []claimJSON{}, Errors: []claimErrorJSON{}}
	for _, r := range results {
		cj := claimJSON{Line: r.Claim.Line, Place: r.Claim.PlaceText, Statement: r.Claim.Statement, Remark: r.Claim.Remark, Form: r.Claim.Form().ID,
			Verdict: string(r.Verdict), Because: r.Because, Instead: r.Instead, Evidence: []evidenceJSON{}}
		for _, f := range ear {
			cj.Ear = f(r.Claim)
		}
		for _, n := range r.Evidence {
			bar, beat := p.BeatAt(n.Onset)
			cj.Evidence = append(cj.Evidence, evidenceJSON{n.Pitch.String(), n.Hand.String(), bar, beat.String()})
		}
		out.Claims = append(out.Claims, cj)
		switch r.Verdict {
		case claim.Holds:
			out.Holds++
		case claim.Arguable:
			out.Arguable++
		case claim.Fails:
			out.Fails++
		}
	}
	for _, b := range bad {
		out.Errors = append(out.Errors, claimErrorJSON{b.Line, b.Col, b.Msg, nonNil(b.Nearest)})
	}
	return out
}

// writeVerdicts tells the verdicts with their reasons, in lines of 80 columns as long as no word is longer. ear, if there is one,
// tells what the ear has made of a claim.
func writeVerdicts(w io.Writer, results []claim.Result, ear ...func(claim.Claim) string) {
	const indent = "                "
	for _, r := range results {
		word := string(r.Verdict)
		if r.Verdict == claim.Fails {
			word = "FAILS"
		}
		head := wrap(r.Claim.PlaceText+": "+r.Claim.Statement, 80, indent)
		fmt.Fprintf(w, "%-9s %4d  %s\n", word, r.Claim.Line, strings.TrimPrefix(head, indent))
		fmt.Fprintln(w, wrap(r.Because, 80, indent))
		if r.Instead != "" {
			fmt.Fprintln(w, wrap("instead: "+r.Instead, 80, indent))
		}
		for _, f := range ear {
			if said := f(r.Claim); said != "" {
				fmt.Fprintln(w, wrap("by ear: "+said, 80, indent))
			}
		}
	}
	j := checkToJSON(&score.Passage{Bars: []score.Bar{{Number: "1"}}}, results, nil)
	var parts []string
	for _, c := range []struct {
		n         int
		one, more string
	}{{j.Holds, "claim holds", "claims hold"}, {j.Arguable, "is arguable", "are arguable"}, {j.Fails, "fails", "fail"}} {
		if c.n > 0 {
			parts = append(parts, count(c.n, c.one, c.more))
		}
	}
	if len(parts) == 0 {
		parts = []string{"no claims"}
	}
	fmt.Fprintf(w, "\n%s\n", strings.Join(parts, ", "))
}

// isClaimsFile reports whether most lines of a file, comments aside, have the place and the colon of a claim that is understood.
func isClaimsFile(path string) bool {
	file, err := os.Open(path)
	if err != nil {
		return false
	}
	defer file.Close()
	claims, bad, err := claim.Parse(path, file)
	return err == nil && len(claims) > len(bad)
}

func newCheckCmd(e *env) *cobra.Command {
	var part, db string
	var asJSON, strict bool
	cmd := &cobra.Command{
		Use:   "check PASSAGE CLAIMS",
		Short: "Check each claim of a file against the notes",
		Long: `Checks each line of a claims file against the passage and tells its verdict:
holds, fails or arguable, with the notes it rests on and, unless it holds, what
would hold instead. "plumbline claims" lists what a claims file may say. For
claims that you were asked about by ear (plumbline drill --claims) it says
whether you hear them.

Exit code: 0 every claim holds or is arguable, 1 a claim fails (with --strict
also if one is arguable), 2 a line is not understood or names a place that is
not there; the other claims are checked all the same. A script can guard an
analysis kept under version control with --strict.`,
		Example: `  plumbline check song.mxl talk.claims
  plumbline check song.mxl talk.claims --json
  echo "bar 3 beat 1: is F#m7" | plumbline check song.mxl -`,
		Args: needArgs("PASSAGE", "CLAIMS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if args[0] == "-" && args[1] == "-" {
				return &usageError{cmd.CommandPath(), errors.New("passage and claims can't both come from stdin")}
			}
			p, _, err := e.load(args[0], passageFlags{part: part})
			if errors.Is(err, errPartsListed) {
				return nil
			}
			if err != nil {
				if isClaimsFile(args[0]) {
					return &usageError{cmd.CommandPath(), fmt.Errorf("%s is a file of claims; the passage comes first: %s PASSAGE %s", args[0], cmd.CommandPath(), args[0])}
				}
				return err
			}
			name, r := args[1], e.stdin
			if name == "-" {
				name = "stdin"
			} else {
				data, err := os.ReadFile(name)
				if err != nil {
					return fmt.Errorf("can't read the claims: %w", err)
				}
				r = bytes.NewReader(data)
			}
			results, bad, err := checkClaims(p, name, r)
			if err != nil {
				return err
			}
			words, plain := e.ears(cmd.Context(), p, results, db)
			out := checkToJSON(p, results, bad, plain)
			if asJSON {
				if err := writeJSON(e.stdout, out); err != nil {
					return err
				}
			} else {
				writeVerdicts(e.stdout, results, words)
			}
			for _, b := range bad {
				e.fail(b)
			}
			switch {
			case len(bad) > 0:
				e.hint("\"plumbline claims\" lists what a claims file may say")
				return errTold
			case out.Fails > 0 || strict && out.Arguable > 0:
				return errClaimFails
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&part, "part", "", "the part to read, by name, id or number; \"list\" lists them (default the piano)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "the same facts for a program")
	cmd.Flags().StringVar(&db, "db", "", "the file that keeps the answers, for what is heard (default under XDG_DATA_HOME)")
	cmd.Flags().BoolVar(&strict, "strict", false, "exit with 1 also if a claim is arguable")
	return cmd
}
