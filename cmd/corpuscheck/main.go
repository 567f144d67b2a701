// Command corpuscheck measures the readings of plumbline against an expert-labelled corpus. It is for developers.
//
//	corpuscheck [-json] FOLDER...
//
// A folder holds PIECE.notes.tsv, PIECE.truth.tsv and PIECE.planted.tsv, or folders of them. For now it tells what was read,
// and which labels have a span that can't be.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run returns the exit code: 0 done, 2 bad usage or input.
func run(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("corpuscheck", flag.ContinueOnError)
	flags.SetOutput(stderr)
	asJSON := flags.Bool("json", false, "the same facts for a program")
	crossed := flags.Bool("cross", false, "learn on a part and measure the rest: each set by the others, and four folds by piece")
	if err := flags.Parse(args); err != nil {
		return 2
	}
	if flags.NArg() == 0 {
		fmt.Fprintln(stderr, "corpuscheck: a folder is missing: corpuscheck [-json] FOLDER...")
		return 2
	}
	pieces, err := readSets(flags.Args())
	if err == nil && *crossed {
		cross(stdout, trials(prepare(pieces)))
	} else if err == nil {
		err = writeSummary(stdout, summarize(pieces), *asJSON)
	}
	if err != nil {
		fmt.Fprintln(stderr, err)
		return 2
	}
	return 0
}
