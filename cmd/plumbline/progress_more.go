package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/progress"
)

// openProgress opens a file of answers that must be there.
func (e *env) openProgress(cmd *cobra.Command, f *progressFlags) (*progress.Store, string, error) {
	path, err := e.database(f.db)
	if err != nil {
		return nil, "", err
	}
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, "", &hintError{fmt.Errorf("no answers yet: there is no file %s", path), "plumbline drill begins one; --db FILE names another"}
	}
	store, err := progress.Open(cmd.Context(), path)
	if err != nil {
		return nil, "", &hintError{err, "--db FILE reads another file; older copies stand beside it as *.bak"}
	}
	return store, path, nil
}

func newProgressCheckCmd(e *env, f *progressFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "Check that the file of answers is whole",
		Long: `Reads the whole file: whether its pages and indexes are sound, whether everything
that is pointed to is there, and whether the counts that are kept with the
answers are what counting them again gives. Nothing is changed. Exit 0: all is
well; 2: something is wrong, and what.`,
		Example: "  plumbline progress check",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			store, path, err := e.openProgress(cmd, f)
			if err != nil {
				return err
			}
			defer store.Close()
			h, err := store.Check(cmd.Context())
			if err != nil {
				return err
			}
			fmt.Fprintf(e.stdout, "%s, schema version %d: %s, %s, %s, %s about claims.\n", path, h.Version, counted(h.Learners, "learner"), counted(h.Sessions, "sitting"),
				counted(h.Answers, "answer"), counted(h.Ear, "answer"))
			if len(h.Faults) == 0 {
				_, err := fmt.Fprintln(e.stdout, "All is well: the file is whole, and every count is what the answers give.")
				return err
			}
			for _, fault := range h.Faults {
				e.fail(errors.New(fault))
			}
			e.hint("put a copy in its place (%s.v*.bak, or an export), or keep this one and ask for help", path)
			return errTold
		},
	}
}

func newProgressExportCmd(e *env, f *progressFlags) *cobra.Command {
	var out, dir string
	var everybody bool
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write all answers out, as JSON or CSV",
		Long: `Writes everything that is kept of you (or of --learner NAME), so that nothing is
lost when it is read back: as one JSON file, or with --csv DIR as a folder of
CSV files, answers.csv among them, for a spreadsheet. Other learners' answers
are left out unless --everybody is given.`,
		Example: `  plumbline progress export -o notebook.json
  plumbline progress export --csv answers
  plumbline progress export --learner Wren -o wren.json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if out != "" && dir != "" {
				return &usageError{cmd.CommandPath(), errors.New("--out and --csv exclude each other")}
			}
			if everybody && strings.TrimSpace(f.learner) != "" {
				return &usageError{cmd.CommandPath(), errors.New("--everybody and --learner exclude each other")}
			}
			store, _, err := e.openProgress(cmd, f)
			if err != nil {
				return err
			}
			defer store.Close()
			if store, err = e.learnerOf(cmd.Context(), store, f.learner, false); err != nil {
				return err
			}
			switch {
			case dir != "":
				return store.ExportCSV(cmd.Context(), dir, everybody)
			case out != "":
				return writeFile(out, func(w io.Writer) error { return store.ExportJSON(cmd.Context(), w, everybody) })
			}
			return store.ExportJSON(cmd.Context(), e.stdout, everybody)
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "write the JSON into this file (default stdout)")
	cmd.Flags().StringVar(&dir, "csv", "", "write CSV files into this folder instead")
	cmd.Flags().BoolVar(&everybody, "everybody", false, "all learners in the file")
	return cmd
}

func newProgressImportCmd(e *env, f *progressFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "import PATH",
		Short: "Add answers that were exported, each once",
		Long: `Adds what an export holds (a JSON file, or a folder of CSV files) to the file of
answers. What is there already is not added again, so that two machines can be
brought together in any order, as often as you like. It all comes in or nothing.
With --learner NAME the answers of the export's nameless learner go under that
name: that is how a teacher takes in what pupils send.`,
		Example: `  plumbline progress import notebook.json
  plumbline progress import --learner Wren wren.json --db class.db`,
		Args: needArgs("PATH"),
		RunE: func(cmd *cobra.Command, args []string) error {
			path, err := e.database(f.db)
			if err != nil {
				return err
			}
			store, err := progress.Open(cmd.Context(), path)
			if err != nil {
				return &hintError{err, "--db FILE names another file"}
			}
			defer store.Close()
			im, err := store.Import(cmd.Context(), args[0], f.learner)
			if err != nil {
				return err
			}
			fmt.Fprintf(e.stdout, "%s read; new: %s in %s, and %s about claims.\n", counted(im.Answers, "answer"), counted(im.New, "answer"), counted(im.Sessions, "sitting"), counted(im.EarAnswers, "answer"))
			for i, d := range im.Differing {
				if i == 10 {
					e.warn("and %d more", len(im.Differing)-10)
					break
				}
				e.warn("%s is not the same here and in the export; what is here was kept", d)
			}
			return nil
		},
	}
}

func newProgressClassCmd(e *env, f *progressFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "class",
		Short: "All learners in the file, one a line",
		Long: `Shows everybody whose answers are in the file: how many, how many right, the
range that goes with it, how many things were asked, and the last sitting.
plumbline progress --learner NAME shows one of them in full.`,
		Example: "  plumbline progress class --db class.db",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			store, _, err := e.openProgress(cmd, f)
			if err != nil {
				return err
			}
			defer store.Close()
			all, err := store.Learners(cmd.Context())
			if err != nil {
				return err
			}
			if len(all) == 0 {
				_, err := fmt.Fprintln(e.stdout, "Nobody has answered yet. To begin: plumbline drill --learner NAME")
				return err
			}
			fmt.Fprintf(e.stdout, "  %-28s %11s %6s %10s %7s %10s\n", "", "right", "share", "range", "things", "last")
			for _, l := range all {
				name, last := l.Name, "-"
				if name == "" {
					name = "(no name)"
				}
				if l.Sittings > 0 {
					last = l.LastSitting.In(e.now().Location()).Format("2006-01-02")
				}
				fmt.Fprintf(e.stdout, "  %s %11s %6s %10s %7d %10s\n", padded(name, 28), fmt.Sprintf("%d/%d", l.Score.Right, l.Score.Asked), percent(l.Score.Accuracy)+" %",
					percent(l.Score.Low)+"-"+percent(l.Score.High)+" %", l.Skills, last)
			}
			return nil
		},
	}
}
