// Command corpuscheck measures the readings of plumbline against an expert-labelled corpus. It is for developers.
//
//	corpuscheck [-json] [-worst] [-divide] FOLDER...   measure with the tables that ship
//	corpuscheck -claims FOLDER...                 false alarms and slips caught of every form of claim that the tables decide
//	corpuscheck -cross FOLDER...                  learn on a part and measure on the rest
//	corpuscheck -learn FILE FOLDER...             learn the tables that ship anew
//
// A folder holds PIECE.notes.tsv, PIECE.truth.tsv and PIECE.planted.tsv, or folders of them; each folder is a set.
//
// Of the truth the readings see nothing but the bounds of the spans. Figures: the part of the labels whose root, root and
// quality, bass and key are read as the expert has them (as they sound), and the whole numeral, all of these; the part of the
// expert's labels that fail as claims (false alarms) and of the planted slips that do (caught).
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"time"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run returns the exit code: 0 done, 2 bad usage or input.
func run(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("corpuscheck", flag.ContinueOnError)
	flags.SetOutput(stderr)
	asJSON := flags.Bool("json", false, "the figures for a program")
	worst := flags.Bool("worst", false, "the pieces read worst and the commonest confusions as well")
	crossed := flags.Bool("cross", false, "learn on a part and measure the rest: each set by the others, and four folds by piece")
	claims := flags.Bool("claims", false, "what becomes of the labels and slips as written claims, form by form")
	divide := flags.Bool("divide", false, "also read the pieces without the spans, as describe does (takes four times as long)")
	learned := flags.String("learn", "", "learn the tables from all pieces and write them to a `file`")
	if err := flags.Parse(args); err != nil {
		return 2
	}
	if flags.NArg() == 0 {
		fmt.Fprintln(stderr, "corpuscheck: a folder is missing: corpuscheck [-json] FOLDER...")
		return 2
	}
	start := time.Now()
	pieces, err := readSets(flags.Args())
	switch {
	case err != nil:
	case *learned != "":
		err = learn(*learned, prepare(pieces))
	case *claims:
		err = reportClaims(stdout, pieces)
	case *crossed:
		err = cross(stdout, trials(prepare(pieces)))
	default:
		err = report(stdout, pieces, start, *asJSON, *worst, *divide)
	}
	if err != nil {
		fmt.Fprintln(stderr, err)
		return 2
	}
	return 0
}
