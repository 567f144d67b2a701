package main

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plumbline/synth"
	"plumbline/theory/chord"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
)

type (
	realizedJSON struct {
		Spec string `json:"spec"`
		Text string `json:"text"`
		sonorityJSON
	}
	patternJSON struct {
		Spec   string      `json:"spec"`
		Text   string      `json:"text"`
		Chords []chordJSON `json:"chords"`
	}
	chordJSON struct {
		Label string `json:"label"`
		Outer string `json:"outer"` // interval between bass and top, as in "M3"
		sonorityJSON
	}
)

func newRealizeCmd(e *env) *cobra.Command {
	var sf soundFlags
	var asJSON, play, broken, force bool
	cmd := &cobra.Command{
		Use:   "realize SPEC",
		Short: "Write a chord, a stack, a cluster or a sequence pattern as notes",
		Long: `Writes a chord label, a stack or a cluster as notes for two hands, and tells how
the result is stacked and read; or a sequence pattern as a row of chords: how the
bass moves, how the melody moves, which chords, how many, each part after a comma;
or Roman numerals in a key.
The voices between are led smoothly, within a tenth a hand unless it says otherwise.

--play plays it. --out writes it as its ending says: .wav is its sound, .musicxml,
.mxl, .mid and .passage are its notes. A --tuning is laid out from the lowest note
unless it names a tonic.`,
		Example: `  plumbline realize "F#m7(b5) first inversion, close"
  plumbline realize "five-note quartal on D3"
  plumbline realize "quintal left hand on G2 with quartal right hand on B3" --play
  plumbline realize "C major, added sixth instead of the fifth" --out sixth.wav
  plumbline realize "chromatic cluster of 4 on E4"
  plumbline realize "circle of fifths from A2, melody up by semitone from E5, sevenths, 6 chords"
  plumbline realize "I vi ii65 V7 I in Eb major"
  plumbline realize "bass down by step from C3, triads in first inversion, in C major" --out steps.musicxml`,
		Args: needArgs("SPEC"),
		RunE: func(cmd *cobra.Command, args []string) error {
			usage := func(err error) error { return &usageError{cmd.CommandPath(), err} }
			opts, err := sf.options()
			if err != nil {
				return usage(err)
			}
			v, err := realizeSpec(args[0])
			if err != nil {
				return err
			}
			notes := ""
			if ext := strings.ToLower(filepath.Ext(sf.out)); sf.out != "" && ext != ".wav" {
				if f, ferr := formatOf(sf.out, ""); ferr != nil {
					return usage(fmt.Errorf("--out %s: the ending tells no format; want .wav for sound, or .musicxml, .mxl, .mid, .passage for notes", sf.out))
				} else if err := v.writeNotes(f, sf.out, force); err != nil {
					return err
				}
				notes, sf.out = sf.out, ""
			}
			if asJSON {
				err = writeJSON(e.stdout, v.json(args[0]))
			} else {
				v.write(e.stdout)
			}
			if notes != "" && err == nil {
				fmt.Fprintf(e.stderr, "%s: the notes\n", notes)
			}
			if err != nil || !play && sf.out == "" {
				return err
			}
			clip, err := v.render(opts, sf, broken)
			if err != nil {
				return err
			}
			return e.deliver(cmd.Context(), clip, sf, fileName(args[0]))
		},
	}
	sf.add(cmd)
	cmd.Flags().Lookup("out").Usage = "write a file instead of playing: .wav, .musicxml, .mxl, .mid or .passage"
	cmd.Flags().BoolVar(&asJSON, "json", false, "the same facts for a program")
	cmd.Flags().BoolVar(&play, "play", false, "play it")
	cmd.Flags().BoolVar(&broken, "broken", false, "play it broken upwards")
	cmd.Flags().BoolVar(&force, "force", false, "write over a file of notes that is there")
	return cmd
}

// A realized is what a specification became: one chord, or those of a pattern.
type realized struct {
	text    string
	chords  []chord.Voicing
	pattern *chord.Pattern // nil for a chord by itself
}

func realizeSpec(spec string) (realized, error) {
	if !chord.IsPattern(spec) {
		if k, numerals, rest, ok := inKey(spec); ok {
			return realizeNumerals(spec[:strings.LastIndex(spec, " in ")], k, numerals, rest)
		}
		v, err := chord.Realize(spec)
		return realized{text: v.Text, chords: []chord.Voicing{v}}, err
	}
	p, err := chord.ParsePattern(spec)
	if err != nil {
		return realized{}, err
	}
	seq, err := chord.RealizePattern(p)
	return realized{seq.Text, seq.Chords, &p}, err
}

// inKey takes "ii65 V7 I in C major, open" apart; ok is false if spec doesn't end in a key, or begins with no numeral.
func inKey(spec string) (k key.Key, numerals []string, rest string, ok bool) {
	i := strings.LastIndex(spec, " in ")
	if i < 0 {
		return k, nil, "", false
	}
	name, rest, _ := strings.Cut(spec[i+len(" in "):], ",")
	k, err := key.Parse(strings.TrimSpace(name))
	if err != nil {
		return k, nil, "", false
	}
	head := spec[:i]
	if numerals = strings.FieldsFunc(head, func(r rune) bool { return r == ' ' || r == ',' || r == '-' || r == '–' || r == '|' }); len(numerals) == 0 {
		return k, nil, "", false
	}
	if _, err := chord.ParseLabel(head); err == nil { // a chord, whatever key it is in
		return k, nil, "", false
	}
	if !strings.ContainsAny(head[:1], "IVivb#NGF♭♯") {
		return k, nil, "", false
	}
	for _, word := range []string{"German", "Italian", "French", "Neapolitan"} { // names of several words are one numeral
		if strings.HasPrefix(head, word) {
			numerals = []string{strings.TrimSuffix(strings.TrimSuffix(head, " chord"), " sixth")}
			if word == "Neapolitan" && strings.Contains(head, "sixth") {
				numerals[0] += "6"
			}
		}
	}
	return k, numerals, rest, true
}

// realizeNumerals writes one numeral as a chord, several as a row of chords with their voices led. said is what the numerals
// were in the specification.
func realizeNumerals(said string, k key.Key, numerals []string, rest string) (realized, error) {
	var syms []chord.Symbol
	for _, n := range numerals {
		s, err := k.Chord(n)
		if err != nil {
			return realized{}, err
		}
		syms = append(syms, s)
	}
	text := said + " in " + k.String()
	if len(syms) == 1 {
		v, err := chord.Realize(strings.TrimSuffix(syms[0].House()+", "+strings.TrimSpace(rest), ", "))
		return realized{text: text + ": " + v.Text, chords: []chord.Voicing{v}}, err
	}
	if strings.TrimSpace(rest) != "" {
		return realized{}, &hintError{fmt.Errorf("%q is left over after a row of numerals", strings.TrimSpace(rest)), "its voices are led by themselves"}
	}
	seq, err := chord.RealizeChords(syms)
	if err != nil {
		return realized{}, err
	}
	p := chord.Pattern{Tonic: k.Tonic}
	switch k.Mode {
	case key.Major:
		p.Mode = "major"
	case key.Minor:
		p.Mode = "minor"
	}
	for i := range seq.Chords {
		seq.Chords[i].Text = numerals[i] + " " + seq.Chords[i].Text
	}
	return realized{text + ": " + seq.Text, seq.Chords, &p}, nil
}

func (v realized) json(spec string) any {
	if v.pattern == nil {
		return realizedJSON{spec, v.text, describeNotes(v.chords[0].Left, v.chords[0].Right)}
	}
	out := patternJSON{Spec: spec, Text: v.text}
	for _, c := range v.chords {
		all := c.All()
		out.Chords = append(out.Chords, chordJSON{c.Text, outerOf(all).String(), describeNotes(c.Left, c.Right)})
	}
	return out
}

// write tells the notes: a chord with its readings, a pattern chord by chord.
func (v realized) write(w io.Writer) {
	if v.pattern == nil {
		fmt.Fprintln(w, v.text)
		writeSonority(w, describeNotes(v.chords[0].Left, v.chords[0].Right), chord.Stack{}, false)
		return
	}
	fmt.Fprintf(w, "%s\n\n", wrap(v.text, 78, ""))
	rows := [][]string{{"", "chord", "left hand", "right hand", "bass to top"}}
	for i, c := range v.chords {
		all := c.All()
		rows = append(rows, []string{fmt.Sprint(i + 1), c.Text, strings.Join(pitchNames(c.Left), " "), strings.Join(pitchNames(c.Right), " "),
			outerOf(all).Words()})
	}
	writeColumns(w, rows)
}

// outerOf returns the interval from the bass to the top, octaves aside; an octave stays one.
func outerOf(low []pitch.Pitch) pitch.Interval {
	iv := low[len(low)-1].Sub(low[0])
	if s := iv.Simple(); s != pitch.Unison || iv == pitch.Unison {
		return s
	}
	return pitch.Octave
}

// writeColumns writes rows in columns as wide as they need; the first is set to the right.
func writeColumns(w io.Writer, rows [][]string) {
	var width []int
	for _, r := range rows {
		for i, c := range r {
			if i == len(width) {
				width = append(width, 0)
			}
			width[i] = max(width[i], len([]rune(c)))
		}
	}
	for _, r := range rows {
		var b strings.Builder
		for i, c := range r {
			pad := strings.Repeat(" ", width[i]-len([]rune(c)))
			if i == 0 {
				b.WriteString("  " + pad + c)
			} else {
				b.WriteString("  " + c + pad)
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}

// passage writes the chords as a passage in common time: a chord by itself lasts a bar, those of a pattern half a bar each.
func (v realized) passage() *score.Passage {
	p := &score.Passage{Title: v.text}
	bar, each := score.T(4, 1), score.T(4, 1)
	if v.pattern != nil {
		each = score.T(2, 1)
		if v.pattern.Mode != "" {
			k := key.Key{Tonic: v.pattern.Tonic, Mode: key.Major}
			if v.pattern.Mode == "minor" {
				k.Mode = key.Minor
			}
			p.Keys = []score.KeyChange{{Key: k, Declared: true}}
		}
	}
	var at score.Time
	for i, c := range v.chords {
		if n := len(p.Bars); n == 0 || !at.Less(p.Bars[n-1].End()) {
			p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(n + 1), Start: at, Length: bar, Meter: score.Meter{Beats: 4, Unit: 4}})
		}
		long := each
		if i == len(v.chords)-1 { // the last one fills its bar
			long = p.Bars[len(p.Bars)-1].End().Sub(at)
		}
		for _, h := range [...]struct {
			hand score.Hand
			ps   []pitch.Pitch
		}{{score.Left, c.Left}, {score.Right, c.Right}} {
			for _, q := range h.ps {
				p.Notes = append(p.Notes, score.Note{Pitch: q, Onset: at, Duration: long, Hand: h.hand, Voice: 1, Bar: len(p.Bars) - 1})
			}
		}
		at = at.Add(long)
	}
	p.Sort()
	return p
}

// writeNotes writes the chords into a file, with their labels under the staves where the format has room.
func (v realized) writeNotes(f format, out string, force bool) error {
	if err := free(out, force); err != nil {
		return err
	}
	p := v.passage()
	var readings []musicxml.Reading
	if f.readings && v.pattern != nil {
		for i, c := range v.chords {
			readings = append(readings, musicxml.Reading{At: score.T(int64(2*i), 1), Text: c.Text})
		}
	}
	var b bytes.Buffer
	if _, err := f.write(&b, p, readings); err != nil {
		return err
	}
	return replace(out, b.Bytes(), force)
}

// render makes the sound.
func (v realized) render(opts synth.Options, sf soundFlags, broken bool) (*synth.Clip, error) {
	ps := voicingPitches(v.chords[0].Left, v.chords[0].Right)
	tuning, err := sf.tuned(lowest(ps))
	if err != nil {
		return nil, err
	}
	if v.pattern == nil {
		var apart time.Duration
		if broken {
			apart = 250 * time.Millisecond
		}
		return synth.Render(chordNotes(ps, 2*time.Second, apart, tuning), opts)
	}
	p := v.passage()
	p.Tempos = []score.Tempo{{Quarters: 100}}
	l := listening{slower: 1, tuning: tuning}
	if broken {
		l.shape = brokenChords
	}
	made, err := newPlan(p, []score.Region{{To: p.End()}}, l)
	if err != nil {
		return nil, err
	}
	return synth.Render(made.notes, opts)
}

// voicingPitches puts the pitches of both hands together, low to high within each hand.
func voicingPitches(left, right []pitch.Pitch) []handPitch {
	var out []handPitch
	for _, p := range left {
		out = append(out, handPitch{pitch: p, hand: score.Left})
	}
	for _, p := range right {
		out = append(out, handPitch{pitch: p, hand: score.Right})
	}
	return out
}

// lowest returns the pitch class of the lowest note, 0 if there is none.
func lowest(ps []handPitch) int {
	if len(ps) == 0 {
		return 0
	}
	return slices.MinFunc(ps, func(a, b handPitch) int { return a.pitch.Compare(b.pitch) }).pitch.PC()
}
