package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// The JSON of claims; other programs rely on these names.
type (
	formsJSON struct {
		Forms []formJSON `json:"forms"`
	}
	formJSON struct {
		ID       string   `json:"id"`
		Example  string   `json:"example"`
		Wordings []string `json:"wordings"`
		Asserts  string   `json:"asserts"`
	}
)

const claimsIntro = `A claims file has one claim a line, PLACE: STATEMENT. A # at the start of a
line or after a space begins a comment; blank lines are free. Text after
" -- " is a remark that is kept with the claim.

`

func newClaimsCmd(e *env) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "claims [WORDS]",
		Short: "What a claims file may say",
		Long: claimsIntro + wrap("Places: "+strings.Join(score.PlaceForms, "; ")+".", 79, "") + `
Beats are the meter's own: in 6/8 the dotted quarter ("eighth 4" counts
eighths). A statement may name its part of the texture itself: "bar 3: the
left hand is stacked in fifths".

"plumbline claims" lists every form of statement with an example; with WORDS it
shows the forms that fit them in full: other wordings, what exactly is claimed,
and when it is arguable. Articles, case and small differences of wording don't
matter; any statement may be denied ("is not a triad"), said of "every bar",
"no chord" or "three of the four chords", or joined to another by "or".

Verdicts: holds; fails; arguable, where readings or schools differ, or where it
is true by sound and not as spelled. What is not understood is an error with
its line and column, and the other claims are still checked.`,
		Example: `  plumbline claims
  plumbline claims passing note
  plumbline claims "is V7 in A major"
  plumbline claims cadence --json`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			forms, words := claim.Forms(), strings.Join(args, " ")
			if strings.TrimSpace(words) != "" {
				if forms = findForms(words); len(forms) == 0 {
					return &usageError{cmd.CommandPath(), fmt.Errorf("no form of claim has to do with %q", words)}
				}
			}
			if asJSON {
				out := formsJSON{Forms: []formJSON{}}
				for _, f := range forms {
					out.Forms = append(out.Forms, formJSON{f.ID, f.Example, nonNil(f.Wordings), f.Asserts})
				}
				return writeJSON(e.stdout, out)
			}
			if words == "" {
				listForms(e.stdout, forms)
				return nil
			}
			for i, f := range forms {
				if i > 0 {
					fmt.Fprintln(e.stdout)
				}
				showForm(e.stdout, f)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "the same facts for a program")
	return cmd
}

// listForms tells the forms in a line each: what the form is called and its example.
func listForms(w io.Writer, forms []claim.Form) {
	for _, f := range forms {
		fmt.Fprintf(w, "%-23s %s\n", f.ID, strings.TrimLeft(wrap(f.Example, 80, strings.Repeat(" ", 24)), " "))
	}
	fmt.Fprintf(w, "\n%s\n", wrap(fmt.Sprintf("%s, in many wordings. \"plumbline claims WORDS\" shows those that fit, with their other wordings and what exactly they assert.",
		count(len(forms), "form", "forms")), 80, ""))
}

// showForm tells all about one form.
func showForm(w io.Writer, f claim.Form) {
	fmt.Fprintf(w, "%s\n", f.Example)
	for _, s := range f.Wordings {
		fmt.Fprintf(w, "      … %s\n", s)
	}
	fmt.Fprintln(w, wrap(f.Asserts+".", 80, "  "))
}

// findForms returns the forms that have to do with words: the one that understands them as a statement, or those that have all
// of the words, first in their name and examples, else in what they assert; else those that have most of them.
func findForms(words string) []claim.Form {
	line := words
	if !strings.Contains(words, ":") {
		line = "bar 1: " + words
	}
	if c, ok, err := claim.ParseLine(line); err == nil && ok {
		return []claim.Form{c.Form()}
	}
	want := strings.Fields(strings.ToLower(words))
	has := func(text string) (n int) {
		text = strings.ToLower(text)
		for _, w := range want {
			if strings.Contains(text, strings.TrimSuffix(w, "s")) {
				n++
			}
		}
		return n
	}
	type found struct {
		form  claim.Form
		score int
	}
	var list []found
	best := 0
	for _, f := range claim.Forms() {
		n := 3*has(f.ID+" "+f.Example+" "+strings.Join(f.Wordings, " ")) + has(f.Asserts)
		if n > 0 {
			list = append(list, found{f, n})
			best = max(best, n)
		}
	}
	slices.SortStableFunc(list, func(a, b found) int { return b.score - a.score })
	var out []claim.Form
	for _, x := range list {
		if 2*x.score > best && len(out) < 6 {
			out = append(out, x.form)
		}
	}
	return out
}
