package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/theory/chord"
	"plumbline/theory/score"
	"plumbline/theory/score/midi"
	"plumbline/theory/score/musicxml"
	"plumbline/theory/score/typed"
)

// A format is what a passage can be written in. Its write function returns a warning about what the file doesn't hold, "" if it
// holds everything.
type format struct {
	name       string // as --to has it
	text       string
	extensions []string
	write      func(w io.Writer, p *score.Passage, readings []musicxml.Reading) (warning string, err error)
	readings   bool // it has room for readings
}

var formats = []format{
	{"musicxml", "MusicXML 4.0", []string{".musicxml", ".xml"}, func(w io.Writer, p *score.Passage, r []musicxml.Reading) (string, error) {
		return "", musicxml.Write(w, p, musicxml.WriteOptions{Readings: r})
	}, true},
	{"mxl", "MusicXML 4.0, compressed", []string{".mxl"}, func(w io.Writer, p *score.Passage, r []musicxml.Reading) (string, error) {
		return "", musicxml.Write(w, p, musicxml.WriteOptions{Readings: r, Compressed: true})
	}, true},
	{"midi", "a Standard MIDI File", []string{".mid", ".midi"}, writeMIDI, false},
	{"typed", "a typed passage", []string{".passage", ".txt"}, writeTyped, false},
}

// writeTyped writes a typed passage and reads it back, to tell what the format can't say.
func writeTyped(w io.Writer, p *score.Passage, _ []musicxml.Reading) (string, error) {
	var b bytes.Buffer
	if err := typed.Write(&b, p); err != nil {
		return "", err
	}
	warning := ""
	q, err := typed.Read("", bytes.NewReader(b.Bytes()))
	if err != nil {
		return "", fmt.Errorf("the typed passage can't be read back: %w", err)
	}
	if d := score.Diff(p, q); d != "" {
		warning = "a typed passage can't say everything that is in this one; first, " + d
	}
	_, err = w.Write(b.Bytes())
	return warning, err
}

// writeMIDI writes a MIDI file. Repeats and jumps aren't in it: who wants them played says --unfold.
func writeMIDI(w io.Writer, p *score.Passage, _ []musicxml.Reading) (string, error) {
	warning := ""
	if len(p.Signs) > 0 {
		warning = "a MIDI file has no repeats and jumps; --unfold writes them out"
	}
	return warning, midi.Write(w, p, midi.Options{})
}

// formatNames lists the formats for help and messages.
func formatNames() string {
	var out []string
	for _, f := range formats {
		out = append(out, f.name)
	}
	return strings.Join(out, ", ")
}

// formatOf returns the format that --to or the name of a file tells.
func formatOf(out, to string) (format, error) {
	if to != "" {
		for _, f := range formats {
			if strings.EqualFold(f.name, to) || slices.Contains(f.extensions, "."+strings.ToLower(to)) {
				return f, nil
			}
		}
		return format{}, fmt.Errorf("--to %s: want one of %s", to, formatNames())
	}
	if out == "-" {
		return format{}, fmt.Errorf("to write to stdout, say in which format: --to %s", formatNames())
	}
	ext := strings.ToLower(filepath.Ext(out))
	var known []string
	for _, f := range formats {
		if slices.Contains(f.extensions, ext) {
			return f, nil
		}
		known = append(known, f.extensions...)
	}
	return format{}, fmt.Errorf("%s: the ending tells no format; want %s, or --to", out, strings.Join(known, ", "))
}

func newConvertCmd(e *env) *cobra.Command {
	var pf passageFlags
	var to string
	var unfold, force, readings bool
	cmd := &cobra.Command{
		Use:   "convert PASSAGE OUT",
		Short: "Write a passage, or a part of it, in another format",
		Long: `Reads a passage in any format and writes it in the one that the ending of OUT
tells: .musicxml or .xml, .mxl (compressed), .mid or .midi, .passage or .txt
(typed by hand). OUT may be - for stdout, with --to. A file that is there
already is left alone unless --force is given; a file is never left half
written.

--at writes only that place; bars keep their printed numbers. --unfold writes
repeats, endings, da capo and dal segno out as they are played. --readings sets
the first reading of each sonority under the staves (MusicXML only).`,
		Example: `  plumbline convert song.mxl song.passage
  plumbline convert lamp.passage lamp.musicxml --readings
  plumbline convert song.mxl middle.mxl --at "bars 9-16, left hand" --unfold
  plumbline convert song.mxl - --to typed --at "bars 3-4"`,
		Args: needArgs("PASSAGE", "OUT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			in, out := args[0], args[1]
			usage := func(err error) error { return &usageError{cmd.CommandPath(), err} }
			if strings.EqualFold(pf.part, "list") {
				if _, _, err := e.load(in, pf); !errors.Is(err, errPartsListed) {
					return err
				}
				return nil
			}
			f, err := formatOf(out, to)
			if err != nil {
				return usage(err)
			}
			if readings && !f.readings {
				return usage(fmt.Errorf("--readings: %s has no room for readings; write MusicXML", f.text))
			}
			if err := free(out, force); err != nil {
				return err
			}
			p, region, err := e.load(in, pf)
			if err != nil {
				return err
			}
			if p, err = excerpt(p, region, pf.at); err != nil {
				return usage(err)
			}
			if unfold {
				if p, err = p.Unfold(); err != nil {
					return err
				}
			}
			var rs []musicxml.Reading
			if readings {
				rs = firstReadings(p)
			}
			var b bytes.Buffer
			warning, err := f.write(&b, p, rs)
			if err != nil {
				return err
			}
			if out == "-" {
				_, err = e.stdout.Write(b.Bytes())
			} else {
				err = replace(out, b.Bytes(), force)
			}
			if err == nil && warning != "" {
				e.warn("%s", warning)
			}
			return err
		},
	}
	pf.add(cmd)
	cmd.Flags().StringVar(&to, "to", "", "the format: "+formatNames()+" (default by the ending of OUT)")
	cmd.Flags().BoolVar(&unfold, "unfold", false, "write out repeats and jumps as they are played")
	cmd.Flags().BoolVar(&readings, "readings", false, "set the first reading of each sonority under the staves")
	cmd.Flags().BoolVar(&force, "force", false, "write over a file that is there")
	return cmd
}

// excerpt returns the place that --at names as a passage of its own.
func excerpt(p *score.Passage, r score.Region, at string) (*score.Passage, error) {
	if at == "" {
		return p, nil
	}
	keep := score.Hand(0)
	switch r.Layer {
	case score.Whole:
	case score.LeftHand:
		keep = score.Left
	case score.RightHand:
		keep = score.Right
	default:
		return nil, fmt.Errorf("--at %q: a passage can be cut to bars and to one hand, not to the %s", at, r.Layer)
	}
	q := p.Excerpt(r.From, r.To)
	if keep != 0 {
		q.Notes = slices.DeleteFunc(q.Notes, func(n score.Note) bool { return n.Hand != keep })
		q.Dynamics = slices.DeleteFunc(q.Dynamics, func(d score.Dynamic) bool { return d.Hand != 0 && d.Hand != keep })
	}
	return q, nil
}

// firstReadings returns the first reading of each sonority; what is read like the one before it is not said again.
func firstReadings(p *score.Passage) []musicxml.Reading {
	var out []musicxml.Reading
	last := ""
	for _, s := range score.Slices(p.Sounding(), score.Time{}, p.End()) {
		rs := chord.NameHands(pitchesOf(s.Hand(score.Left)), pitchesOf(s.Hand(score.Right)))
		if len(rs) == 0 || rs[0].Label == last {
			continue
		}
		last = rs[0].Label
		out = append(out, musicxml.Reading{At: s.At, Text: last})
	}
	return out
}

// free reports an error if a file is there and may not be written over.
func free(path string, force bool) error {
	if path == "-" {
		return nil
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is no plain file", path)
	case !force:
		return &hintError{fmt.Errorf("%s is there already", path), "--force writes over it"}
	}
	return nil
}

// replace writes a file beside its place and then moves it there, so that it is never half written. A symbolic link is followed.
func replace(path string, data []byte, force bool) (err error) {
	if to, err := filepath.EvalSymlinks(path); err == nil {
		path = to
	}
	part := fmt.Sprintf("%s.%d.part", path, os.Getpid())
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return fmt.Errorf("can't write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			os.Remove(part)
		}
	}()
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return fmt.Errorf("can't write %s: %w", path, err)
	}
	if err = free(path, force); err != nil { // it may have come meanwhile
		return err
	}
	return os.Rename(part, path)
}
