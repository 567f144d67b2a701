package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"plumbline/synth/speaker"
	"plumbline/theory/claim"
	"plumbline/theory/score/typed"
)

// Exit codes.
const (
	exitDone        = 0
	exitClaimFails  = 1
	exitUsage       = 2 // bad usage, bad input, or the system refused
	exitInterrupted = 130
)

// env is what a command may touch of the world outside.
type env struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	getenv         func(string) string
	now            func() time.Time
	openSpeaker    func(context.Context) (speaker.Sink, error)
}

func systemEnv() *env {
	return &env{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, getenv: os.Getenv, now: time.Now, openSpeaker: speaker.Open}
}

// isTerminal reports whether a stream of env is a terminal.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// usageError is a mistake in how a command was called; it is answered with a pointer to the help.
type usageError struct {
	cmd string // "plumbline check"
	err error
}

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// hintError adds what to try to an error.
type hintError struct {
	err  error
	hint string
}

func (e *hintError) Error() string { return e.err.Error() }
func (e *hintError) Unwrap() error { return e.err }

// errClaimFails ends a command with exit code 1 and no further word: the verdicts are already told.
var errClaimFails = errors.New("a claim fails")

// errTold ends a command with exit code 2 when the errors have already been printed.
var errTold = errors.New("told")

// run runs the program and returns its exit code. Only main exits.
func run(ctx context.Context, args []string, e *env) int {
	root := newRootCmd(e)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errClaimFails):
		return exitClaimFails
	case ctx.Err() != nil || errors.Is(err, context.Canceled):
		fmt.Fprintln(e.stderr, "plumbline: interrupted")
		return exitInterrupted
	case errors.Is(err, errTold):
		return exitUsage
	}
	e.fail(err)
	var u *usageError
	if errors.As(err, &u) {
		e.hint("see %q", u.cmd+" --help")
	}
	return exitUsage
}

// fail prints an error as users see it, with the line it points to where there is one.
func (e *env) fail(err error) {
	for _, one := range spread(err) {
		fmt.Fprintln(e.stderr, "plumbline: error: "+message(one))
		var te *typed.Error
		var ce *claim.Error
		switch {
		case errors.As(one, &te):
			e.quoteLine(te.Detail())
		case errors.As(one, &ce):
			e.quoteLine(ce.Detail())
		}
	}
	var h *hintError
	if errors.As(err, &h) {
		e.hint("%s", h.hint)
	}
}

// message takes the rooms' prefixes off an error, which say nothing to a user: at its beginning, and after a colon or bracket
// where an error is wrapped in another; what stands in quotes is the user's own.
func message(err error) string {
	s := err.Error()
	rooms := []string{"typed: ", "musicxml: ", "midi: ", "spell: ", "chord: ", "pitch: ", "score: ", "claim: ", "key: ", "progress: ", "synth: ", "speaker: ", "drills: "}
	for _, room := range rooms {
		s = strings.TrimPrefix(s, room)
	}
	parts := strings.Split(s, "\"")
	for i := 0; i < len(parts); i += 2 {
		for _, room := range rooms {
			for _, before := range []string{": ", "("} {
				parts[i] = strings.ReplaceAll(parts[i], before+room, before)
			}
		}
	}
	return strings.Join(parts, "\"")
}

// spread takes joined errors apart.
func spread(err error) []error {
	if j, ok := err.(interface{ Unwrap() []error }); ok && !isSpeaker(err) {
		var out []error
		for _, one := range j.Unwrap() {
			out = append(out, spread(one)...)
		}
		return out
	}
	return []error{err}
}

func isSpeaker(err error) bool {
	_, ok := err.(*speaker.DeviceError)
	return ok
}

func (e *env) quoteLine(detail string) {
	for _, l := range strings.Split(strings.TrimRight(detail, "\n"), "\n") {
		fmt.Fprintln(e.stderr, "    "+l)
	}
}

func (e *env) hint(format string, a ...any) {
	fmt.Fprintln(e.stderr, "plumbline: hint: "+fmt.Sprintf(format, a...))
}

func (e *env) warn(format string, a ...any) {
	fmt.Fprintln(e.stderr, "plumbline: warning: "+fmt.Sprintf(format, a...))
}

// version says which build this is, from what the Go tool recorded.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	if v == "" || v == "(devel)" {
		v = "development build"
	}
	return v
}

func newRootCmd(e *env) *cobra.Command {
	root := &cobra.Command{
		Use:   "plumbline",
		Short: "Check an analysis against the notes, hear it taken apart, drill the ear",
		Long: `Plumbline takes a short passage and what an analyst says about it. It tells
which of those statements are true to the notes, plays each one taken apart,
and drills the ear until it hears what the words claim.

Passages are MusicXML files (.musicxml, .xml, .mxl), MIDI files, or typed by
hand ("plumbline help typing" shows the format on one page). Claims are one line
each, PLACE: STATEMENT ("plumbline help claims" lists what is understood).

Results go to stdout, everything else to stderr. Exit codes: 0 done, and every
claim holds or is arguable; 1 a claim fails; 2 bad usage or input;
130 interrupted.`,
		Example: `  plumbline demo
  plumbline describe song.mxl --at "bars 3-4"
  plumbline describe --notes "E3 G#3 B3 C#4"
  plumbline check song.mxl talk.claims
  plumbline hear song.mxl --at "bar 3, left hand"
  plumbline drill --from song.mxl --at "bars 1-8"`,
		Version:                    version(),
		SilenceErrors:              true,
		SuggestionsMinimumDistance: 2,
		SilenceUsage:               true,
		Args:                       noArgs,
		RunE:                       func(cmd *cobra.Command, args []string) error { return cmd.Help() },
	}
	root.SetIn(e.stdin)
	root.SetOut(e.stdout)
	root.SetErr(e.stderr)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return &usageError{cmd.CommandPath(), err}
	})
	root.AddCommand(newDemoCmd(e), newDescribeCmd(e), newCheckCmd(e), newHearCmd(e), newRealizeCmd(e), newDrillCmd(e),
		newProgressCmd(e), newConvertCmd(e), newDeskCmd(e), newSheetCmd(e), newClaimsCmd(e), newTypingTopic(), newDecksTopic())
	return root
}

// noArgs is the Args of commands that take none.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if cmd.HasSubCommands() {
		err := fmt.Errorf("unknown command %q", args[0])
		if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
			err = fmt.Errorf("unknown command %q; did you mean %q?", args[0], near[0])
		}
		return &usageError{cmd.CommandPath(), err}
	}
	return &usageError{cmd.CommandPath(), fmt.Errorf("%q is too much: %s takes no arguments", args[0], cmd.Name())}
}

// needArgs is the Args of commands that take exactly the named arguments.
func needArgs(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return &usageError{cmd.CommandPath(), fmt.Errorf("%s is missing: %s %s", names[len(args)], cmd.CommandPath(), strings.Join(names, " "))}
		case len(args) > len(names):
			return &usageError{cmd.CommandPath(), fmt.Errorf("%q is too much: %s %s (quote what has spaces in it)", args[len(names)], cmd.CommandPath(), strings.Join(names, " "))}
		}
		return nil
	}
}

func newTypingTopic() *cobra.Command {
	return &cobra.Command{Use: "typing", Short: "How to type a passage by hand", Long: strings.TrimRight(typed.Help, "\n")}
}

// wrap breaks text into lines of at most width characters, each after indent.
func wrap(text string, width int, indent string) string {
	var lines []string
	cur := ""
	for _, w := range strings.Fields(text) {
		if cur != "" && len([]rune(cur))+1+len([]rune(w))+len(indent) > width {
			lines = append(lines, indent+cur)
			cur = w
			continue
		}
		if cur != "" {
			cur += " "
		}
		cur += w
	}
	if cur != "" {
		lines = append(lines, indent+cur)
	}
	return strings.Join(lines, "\n")
}
