package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"plumbline/drills"
	"plumbline/progress"
)

// progressFlags are the flags of the progress command.
type progressFlags struct {
	db, kind, since, learner, svg string
	json, plot, matrix, sittings  bool
}

func newProgressCmd(e *env) *cobra.Command {
	var f progressFlags
	cmd := &cobra.Command{
		Use:   "progress",
		Short: "What you can hear, what you confuse, what is due",
		Long: `Shows, for each kind of drill and each label: how often it was right, the range
in which your true share probably lies, how long you took, whether it is rising
or falling, when it is due, and what you said instead. What needs work most
comes first. Below stands what you can claim to hear and what not yet.

The range is a 95 % interval (Wilson's): the fewer the answers, the wider it is,
and while two labels' ranges overlap by much, don't make anything of their
difference. Time is the median over the last 100 questions of a label that you
didn't give up. "Rising" compares the newer half of the last 40 answers with the
older one, and is said only of differences that chance alone seldom brings. A
pair counts as told apart when even the low end of its range is above 75 %.

--plot draws the shares, --matrix counts what was said for what, --sittings lists
the last ones, --svg FILE draws all of it to print or send.

Answers are kept in plumbline/progress.db under XDG_DATA_HOME
(~/.local/share if that is not set); nothing is sent anywhere.`,
		Example: `  plumbline progress
  plumbline progress --kind construction --since 7d
  plumbline progress --plot --matrix
  plumbline progress --svg progress.svg
  plumbline progress export -o notebook.json
  plumbline progress check`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			filter := progress.Filter{Kind: f.kind}
			usage := func(format string, a ...any) error { return &usageError{cmd.CommandPath(), fmt.Errorf(format, a...)} }
			if f.kind != "" && !slices.Contains(drills.Kinds(), drills.Kind(f.kind)) {
				return usage("--kind %q: want one of %s", f.kind, kindNames())
			}
			if f.since != "" {
				at, err := parseSince(f.since, e.now())
				if err != nil {
					return &usageError{cmd.CommandPath(), err}
				}
				filter.Since = at
			}
			filtered := f.kind != "" || f.since != ""
			if f.since != "" && (f.plot || f.matrix || f.sittings || f.svg != "") {
				return usage("--since goes with the table and --json only")
			}
			path, err := e.database(f.db)
			if err != nil {
				return err
			}
			p := progressPage{Groups: []groupPage{}, Sittings: []progress.Sitting{}, now: e.now()}
			sum := progress.Summary{Groups: []progress.Group{}}
			sum.Total.Low, sum.Total.High = progress.Wilson(0, 0)
			p.Total = sum.Total
			heard := []earClaimJSON{}
			// Looking must not make a file.
			if _, err := os.Stat(path); err == nil || !errors.Is(err, os.ErrNotExist) {
				store, err := progress.Open(cmd.Context(), path)
				if err != nil {
					return &hintError{err, "--db FILE reads another file"}
				}
				defer store.Close()
				if store, err = e.learnerOf(cmd.Context(), store, f.learner, false); err != nil {
					return err
				}
				if f.kind == "" {
					if heard, err = earProgress(cmd.Context(), store, filter.Since); err != nil {
						return err
					}
				}
				if f.since != "" {
					if sum, err = store.Summary(cmd.Context(), filter); err != nil {
						return err
					}
				} else if p, err = page(cmd.Context(), store, e.now()); err != nil {
					return err
				}
			}
			if f.kind != "" && f.since == "" {
				p.only(f.kind)
			}
			if f.since != "" {
				p.Total = sum.Total
				for _, g := range sum.Groups {
					gp := groupPage{Kind: g.Kind, Mode: g.Mode, Total: g.Total, Words: []string{}}
					for _, l := range g.Labels {
						gp.Rows = append(gp.Rows, skillRow{Label: l})
					}
					slices.SortStableFunc(gp.Rows, func(a, b skillRow) int { return cmp.Compare(a.Total.Accuracy, b.Total.Accuracy) })
					p.Groups = append(p.Groups, gp)
				}
			}
			switch {
			case f.json:
				enc := json.NewEncoder(e.stdout)
				enc.SetEscapeHTML(false)
				enc.SetIndent("", "  ")
				return enc.Encode(struct {
					progressPage
					Claims []earClaimJSON `json:"claims"`
				}{p, heard})
			case p.Total.Asked == 0 && len(heard) > 0:
				return showEarProgress(e.stdout, heard)
			case p.Total.Asked == 0:
				return nothingYet(e.stdout, filtered, path)
			case f.svg != "":
				return writeFile(f.svg, func(w io.Writer) error { return writeProgressSVG(w, p, f.learner) })
			case f.plot || f.matrix || f.sittings:
				for i, g := range p.Groups {
					if i > 0 {
						fmt.Fprintln(e.stdout)
					}
					if f.plot {
						g.plot(e.stdout, e.now())
					}
					if f.plot && f.matrix {
						fmt.Fprintln(e.stdout)
					}
					if f.matrix {
						g.confusionMatrix(matrixLabels).write(e.stdout, heading(g.Kind, g.Mode))
					}
				}
				if f.sittings {
					if f.plot || f.matrix {
						fmt.Fprintln(e.stdout)
					}
					p.sittings(e.stdout)
				}
				return nil
			}
			if err := showProgress(e.stdout, p); err != nil || len(heard) == 0 {
				return err
			}
			fmt.Fprintln(e.stdout)
			return showEarProgress(e.stdout, heard)
		},
	}
	fl := cmd.Flags()
	cmd.PersistentFlags().StringVar(&f.db, "db", "", "the file that keeps the answers (default under XDG_DATA_HOME)")
	cmd.PersistentFlags().StringVar(&f.learner, "learner", "", "whose answers, where several share a file (default the nameless one's)")
	fl.StringVar(&f.kind, "kind", "", "only this kind of drill: "+kindNames())
	fl.StringVar(&f.since, "since", "", "only answers from this day on (2026-01-31), or of so many days (7d) or weeks (2w)")
	fl.BoolVar(&f.json, "json", false, "the same for a program")
	fl.BoolVar(&f.plot, "plot", false, "draw the shares, and week by week, in plain characters")
	fl.BoolVar(&f.matrix, "matrix", false, "count what you said for what it was")
	fl.BoolVar(&f.sittings, "sittings", false, "list the last sittings")
	fl.StringVar(&f.svg, "svg", "", "draw all of it into this file, for print")
	cmd.AddCommand(newProgressCheckCmd(e, &f), newProgressExportCmd(e, &f), newProgressImportCmd(e, &f), newProgressClassCmd(e, &f))
	return cmd
}

func kindNames() string {
	var names []string
	for _, k := range drills.Kinds() {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// only keeps the groups of one kind.
func (p *progressPage) only(kind string) {
	p.Groups = slices.DeleteFunc(p.Groups, func(g groupPage) bool { return g.Kind != kind })
	var t progress.Tally
	for _, g := range p.Groups {
		t.Asked, t.Right, t.GaveUp, t.Answered = t.Asked+g.Total.Asked, t.Right+g.Total.Right, t.GaveUp+g.Total.GaveUp, t.Answered+g.Total.Answered
	}
	if t.Asked > 0 {
		t.Accuracy = float64(t.Right) / float64(t.Asked)
	}
	t.Low, t.High = progress.Wilson(t.Right, t.Asked)
	p.Total = t
}

// writeFile writes a file as a whole or not at all.
func writeFile(path string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*.partial")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // after the rename there is nothing of that name
	defer f.Close()
	if err := write(f); err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

func nothingYet(w io.Writer, filtered bool, path string) error {
	if filtered {
		fmt.Fprintln(w, "No answers of that kind or time yet.")
	} else {
		fmt.Fprintf(w, "No answers yet in %s.\n", path)
	}
	_, err := fmt.Fprintln(w, "To begin: plumbline drill")
	return err
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

// showProgress writes a page for people, in 80 columns.
func showProgress(w io.Writer, p progressPage) error {
	due := 0
	for i, g := range p.Groups {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s: %d of %d right\n\n", heading(g.Kind, g.Mode), g.Total.Right, g.Total.Asked)
		// The label has what most names need, cut only beyond.
		fmt.Fprintf(w, "  %-28s %9s %5s %9s %6s %7s %7s\n", "", "right", "share", "range", "time", "trend", "due")
		row := func(name string, t progress.Tally, trend, due string) {
			fmt.Fprintln(w, strings.TrimRight(fmt.Sprintf("  %s %9s %5s %9s %6s %7s %7s", padded(name, 28), fmt.Sprintf("%d/%d", t.Right, t.Asked), percent(t.Accuracy)+" %",
				percent(t.Low)+"-"+percent(t.High)+" %", took(t), trend, due), " "))
		}
		for _, l := range g.Rows {
			when := dueWords(l.Due, p.now)
			if when == "now" {
				due++
			}
			row(l.Label.Label, l.Total, cmp.Or(l.Trend, "-"), when)
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
		row("all", g.Total, "", "")
		for i, s := range g.Words {
			if i == 0 {
				fmt.Fprintln(w)
			}
			fmt.Fprintln(w, wrap(s, textWidth, "  "))
		}
	}
	t := p.Total
	fmt.Fprintf(w, "\n%s\n", wrap(fmt.Sprintf("How to read it: of all %s, %s %% %s right. What you would get in the long run lies between %s and %s %%, with 95 %% confidence; few answers make that range wide. Time is the median.",
		counted(t.Asked, "question"), percent(t.Accuracy), "were", percent(t.Low), percent(t.High)), textWidth, ""))
	if due > 0 {
		fmt.Fprintf(w, "%s now: plumbline drill asks it.\n", counted(due, "thing")+map[bool]string{true: " is due", false: " are due"}[due == 1])
	}
	return nil
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
