package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/theory/score"
	"plumbline/theory/score/midi"
	"plumbline/theory/score/musicxml"
	"plumbline/theory/score/typed"
)

// maxPassage bounds what is read of a passage file, in bytes; no score of a piano piece comes near.
const maxPassage = 64 << 20

// maxWarnings is how many warnings of a reader are printed.
const maxWarnings = 5

// passageFlags are the flags of every command that reads a passage.
type passageFlags struct {
	part string
	at   string
}

func (f *passageFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.part, "part", "", "the part to read, by name, id or number; \"list\" lists them (default the piano)")
	cmd.Flags().StringVar(&f.at, "at", "", "the place, as in \"bars 3-4, left hand\" (default the whole passage)")
}

// errPartsListed says that --part list was answered.
var errPartsListed = errors.New("parts listed")

// load reads the passage in the named file, "-" for stdin, and finds the place of --at in it. Warnings of the reader go to
// stderr. With --part list it prints the parts and returns errPartsListed.
func (e *env) load(path string, f passageFlags) (*score.Passage, score.Region, error) {
	list := strings.EqualFold(f.part, "list")
	part := f.part
	if list {
		part = ""
	}
	p, err := e.read(path, part)
	if err != nil {
		return nil, score.Region{}, err
	}
	if list {
		for i, pt := range p.Parts {
			mark := ""
			if pt.Chosen {
				mark = "  (read if nothing is said)"
			}
			fmt.Fprintf(e.stdout, "%d  %s  %s, %d staves, %d notes%s\n", i+1, pt.ID, pt.Name, pt.Staves, pt.Notes, mark)
		}
		if len(p.Parts) == 0 {
			fmt.Fprintln(e.stdout, "one part for two hands")
		}
		return nil, score.Region{}, errPartsListed
	}
	for i, w := range p.Warnings {
		if i == maxWarnings && len(p.Warnings) > maxWarnings+1 {
			e.warn("%s: and %d more; \"plumbline describe %s --json\" lists all of them", path, len(p.Warnings)-i, path)
			break
		}
		e.warn("%s: %s", path, w)
	}
	place := score.Place{All: true}
	if f.at != "" {
		if place, err = score.ParsePlace(f.at); err != nil {
			return nil, score.Region{}, placeFlagError(err)
		}
	}
	region, err := p.Resolve(place)
	if err != nil {
		return nil, score.Region{}, placeFlagError(err)
	}
	return p, region, nil
}

func placeFlagError(err error) error {
	return &hintError{fmt.Errorf("--at: %w", err), "places are, for instance: " + strings.Join(score.PlaceForms, "; ")}
}

func (e *env) read(path, part string) (*score.Passage, error) {
	var r io.Reader = e.stdin
	if path != "-" {
		info, err := os.Stat(path)
		if err == nil && info.IsDir() {
			return nil, fmt.Errorf("%s is a folder; want a passage file", path)
		}
		file, err := os.Open(path)
		if err != nil {
			return nil, fmt.Errorf("can't read the passage: %w", err)
		}
		defer file.Close()
		r = file
	}
	data, err := io.ReadAll(io.LimitReader(r, maxPassage+1))
	if err != nil {
		return nil, fmt.Errorf("can't read %s: %w", path, err)
	}
	if len(data) > maxPassage {
		return nil, fmt.Errorf("%s is larger than 64 MiB; want a passage", path)
	}
	name := path
	if path == "-" {
		name = "stdin"
	}
	return readPassage(name, data, part)
}

// trackNumbers reads the --part of a MIDI file: track numbers such as "2" or "1,2".
func trackNumbers(part string) ([]int, error) {
	if part == "" {
		return nil, nil
	}
	var out []int
	for _, f := range strings.Split(part, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(f))
		if err != nil || n < 1 {
			return nil, fmt.Errorf("--part %s: a MIDI file has tracks; want their numbers, such as 1,2 (--part list lists them)", part)
		}
		out = append(out, n)
	}
	return out, nil
}

// readPassage reads a passage in any of the formats, told apart by their first bytes, not by the name.
func readPassage(name string, data []byte, part string) (*score.Passage, error) {
	head := bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\ufeff")), " \t\r\n")
	switch {
	case len(head) == 0:
		return nil, fmt.Errorf("%s is empty; want MusicXML, a MIDI file or a typed passage", name)
	case bytes.HasPrefix(head, []byte("PK")), head[0] == '<', bytes.HasPrefix(data, []byte{0xfe, 0xff}), bytes.HasPrefix(data, []byte{0xff, 0xfe}),
		bytes.HasPrefix(data, []byte{0, '<'}), bytes.HasPrefix(data, []byte{'<', 0}):
		return musicxml.Read(bytes.NewReader(data), musicxml.Options{Part: part, File: name})
	case bytes.HasPrefix(head, []byte("MThd")):
		tracks, err := trackNumbers(part)
		if err != nil {
			return nil, err
		}
		return midi.Read(bytes.NewReader(data), midi.Options{File: name, Tracks: tracks})
	case part != "":
		return nil, fmt.Errorf("%s is a typed passage and has one part; --part is for scores", name)
	}
	p, err := typed.Read(name, bytes.NewReader(data))
	if err != nil {
		return nil, &hintError{err, "\"plumbline help typing\" shows how passages are typed"}
	}
	p.Source = name
	return p, nil
}
