// Command corpuscheck measures the readings of plumbline against an expert-labelled corpus. It is for developers.
package main

import (
	"fmt"
	"os"
)

func main() {
	sets, err := readSets(os.Args[1:])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
	for _, p := range sets {
		fmt.Println(p.Set, p.Name, len(p.Passage.Notes), len(p.Passage.Bars), len(p.Truth), len(p.Planted))
	}
}
