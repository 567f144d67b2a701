package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"plumbline/drills"
	"plumbline/progress"
)

func newProgressCmd(e *env) *cobra.Command {
	var db, kind, since string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "progress",
		Short: "What you can hear, and what you confuse",
		Long: `Shows, for each kind of drill and each label: how often it was right, the range
in which your true share probably lies, how long you took, and what you said
instead. What needs work most comes first.

The range is a 95 % interval (Wilson's): the fewer the answers, the wider it is,
and while two labels' ranges overlap by much, don't make anything of their
difference. Time is the median over the questions you didn't give up.

Answers are kept in plumbline/progress.db under XDG_DATA_HOME
(~/.local/share if that is not set); nothing is sent anywhere.`,
		Example: `  plumbline progress
  plumbline progress --kind construction --since 7d
  plumbline progress --since 2026-01-31 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f := progress.Filter{Kind: kind}
			if kind != "" && !slices.Contains(drills.Kinds(), drills.Kind(kind)) {
				return &usageError{cmd.CommandPath(), fmt.Errorf("--kind %q: want quality or construction", kind)}
			}
			if since != "" {
				at, err := parseSince(since, e.now())
				if err != nil {
					return &usageError{cmd.CommandPath(), err}
				}
				f.Since = at
			}
			path, err := e.database(db)
			if err != nil {
				return err
			}
			sum := progress.Summary{Groups: []progress.Group{}}
			heard := []earClaimJSON{}
			sum.Total.Low, sum.Total.High = progress.Wilson(0, 0)
			// Looking must not make a file.
			if _, err := os.Stat(path); err == nil || !errors.Is(err, os.ErrNotExist) {
				store, err := progress.Open(cmd.Context(), path)
				if err != nil {
					return &hintError{err, "--db FILE reads another file"}
				}
				defer store.Close()
				if sum, err = store.Summary(cmd.Context(), f); err != nil {
					return err
				}
				if kind == "" {
					if heard, err = earProgress(cmd.Context(), store, f.Since); err != nil {
						return err
					}
				}
			}
			if asJSON {
				enc := json.NewEncoder(e.stdout)
				enc.SetEscapeHTML(false)
				enc.SetIndent("", "  ")
				return enc.Encode(struct {
					progress.Summary
					Claims []earClaimJSON `json:"claims"`
				}{sum, heard})
			}
			if len(heard) == 0 {
				return showProgress(e.stdout, sum, kind != "" || since != "", path)
			}
			if sum.Total.Asked > 0 {
				if err := showProgress(e.stdout, sum, kind != "" || since != "", path); err != nil {
					return err
				}
				fmt.Fprintln(e.stdout)
			}
			return showEarProgress(e.stdout, heard)
		},
	}
	cmd.Flags().StringVar(&db, "db", "", "the file that keeps the answers (default under XDG_DATA_HOME)")
	cmd.Flags().StringVar(&kind, "kind", "", "only this kind of drill: quality or construction")
	cmd.Flags().StringVar(&since, "since", "", "only answers from this day on (2026-01-31), or of so many days (7d) or weeks (2w)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "the same for a program")
	return cmd
}

// parseSince reads a day, from its beginning where the user is, or a number of days or weeks before now.
func parseSince(s string, now time.Time) (time.Time, error) {
	if t, err := time.ParseInLocation(time.DateOnly, s, now.Location()); err == nil {
		return t, nil
	}
	for unit, days := range map[string]int{"d": 1, "w": 7} {
		digits, ok := strings.CutSuffix(s, unit)
		if n, err := strconv.Atoi(digits); ok && err == nil && digits[0] != '+' && n > 0 && n <= 36500 {
			return now.AddDate(0, 0, -n*days), nil
		}
	}
	return time.Time{}, fmt.Errorf("--since %q: want a day such as 2026-01-31, or 7d, or 2w", s)
}

// showProgress writes a summary for people, in 80 columns.
func showProgress(w io.Writer, sum progress.Summary, filtered bool, path string) error {
	if sum.Total.Asked == 0 {
		if filtered {
			fmt.Fprintln(w, "No answers of that kind or time yet.")
		} else {
			fmt.Fprintf(w, "No answers yet in %s.\n", path)
		}
		_, err := fmt.Fprintln(w, "To begin: plumbline drill")
		return err
	}
	for i, g := range sum.Groups {
		if i > 0 {
			fmt.Fprintln(w)
		}
		what := upperFirst(g.Kind)
		if g.Kind == string(drills.Quality) {
			what = "Chord quality"
		}
		how := "by ear"
		if g.Mode == progress.Sight {
			how = "by sight"
		}
		fmt.Fprintf(w, "%s, %s: %d of %d right\n\n", what, how, g.Total.Right, g.Total.Asked)
		// The label has what the widest names need, cut only beyond.
		fmt.Fprintf(w, "  %-34s %9s %6s %11s %8s\n", "", "right", "share", "range", "time")
		row := func(name string, t progress.Tally) {
			fmt.Fprintf(w, "  %s %9s %6s %11s %8s\n", padded(name, 34), fmt.Sprintf("%d/%d", t.Right, t.Asked), percent(t.Accuracy)+" %",
				percent(t.Low)+"-"+percent(t.High)+" %", took(t))
		}
		labels := slices.Clone(g.Labels)
		slices.SortStableFunc(labels, func(a, b progress.Label) int { return cmp.Compare(a.Total.Accuracy, b.Total.Accuracy) })
		for _, l := range labels {
			row(l.Label, l.Total)
			var said []string
			for _, c := range l.Confusions {
				said = append(said, fmt.Sprintf("%s %s", c.Given, times(c.Count)))
			}
			line := ""
			if len(said) > 0 {
				line = "taken for " + strings.Join(said, ", ")
			}
			if l.Total.GaveUp > 0 {
				if line != "" {
					line += "; "
				}
				line += "gave up " + times(l.Total.GaveUp)
			}
			if line != "" {
				fmt.Fprintln(w, wrap(line, textWidth, "      "))
			}
		}
		row("all", g.Total)
	}
	t := sum.Total
	_, err := fmt.Fprintf(w, "\n%s\n", wrap(fmt.Sprintf("How to read it: of all %s, %s %% %s right. What you would get in the long run lies between %s and %s %%, with 95 %% confidence; few answers make that range wide. Time is the median.",
		counted(t.Asked, "question"), percent(t.Accuracy), "were", percent(t.Low), percent(t.High)), textWidth, ""))
	return err
}

func percent(share float64) string { return strconv.FormatFloat(100*share, 'f', 0, 64) }

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// took returns the median time in seconds, "" if nothing was answered.
func took(t progress.Tally) string {
	if t.Answered == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f s", t.MedianMS/1000)
}

// padded fills s up to width characters, or cuts it.
func padded(s string, width int) string {
	n := utf8.RuneCountInString(s)
	if n > width {
		return string([]rune(s)[:width-1]) + "…"
	}
	return s + strings.Repeat(" ", width-n)
}
