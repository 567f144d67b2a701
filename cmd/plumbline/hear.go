package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plumbline/synth"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

func (s *soundFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVarP(&s.out, "out", "o", "", "write a WAV file instead of playing")
	cmd.Flags().BoolVar(&s.float, "float", false, "write 32-bit float samples, not 16-bit")
	cmd.Flags().Float64Var(&s.level, "level", float64(synth.DefaultLevel), fmt.Sprintf("loudness in LUFS, %g to %g", float64(synth.MinLevel), float64(synth.MaxLevel)))
	cmd.Flags().Float64Var(&s.a4, "a4", float64(pitch.A440), "frequency of A4 in Hz")
}

func newHearCmd(e *env) *cobra.Command {
	var pf passageFlags
	var sf soundFlags
	var tempo, slower float64
	var without []string
	var broken, block bool
	cmd := &cobra.Command{
		Use:   "hear PASSAGE",
		Short: "Play a passage, or a part of it",
		Long: `Plays the passage, or the place named by --at: one hand, the bass or the top
line alone, with a note left out, slower, or its chords broken upwards.

Sound starts quiet and never passes 6 dB below full scale. Turn your volume down
first and raise it slowly; stop if anything is unpleasant or your ears ring.`,
		Example: `  plumbline hear song.mxl --at "bars 3-4, left hand"
  plumbline hear song.mxl --at "bar 1 beat 3" --without D#5
  plumbline hear song.mxl --at "bars 7-8" --slower 2 --out bars7-8.wav`,
		Args: needArgs("PASSAGE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			opts, err := sf.options()
			if err != nil {
				return &usageError{cmd.CommandPath(), err}
			}
			if !(slower >= 0.25 && slower <= 8) {
				return &usageError{cmd.CommandPath(), fmt.Errorf("--slower %g: want a factor from 0.25 to 8", slower)}
			}
			if broken && block {
				return &usageError{cmd.CommandPath(), errors.New("--broken and --block exclude each other")}
			}
			var out []pitch.Pitch
			var outClass []pitch.Class
			for _, w := range without {
				if c, err := pitch.ParseClass(w); err == nil {
					outClass = append(outClass, c)
					continue
				}
				n, err := pitch.Parse(w)
				if err != nil {
					return &usageError{cmd.CommandPath(), fmt.Errorf("--without: %w", err)}
				}
				out = append(out, n)
			}
			p, region, err := e.load(args[0], pf)
			if errors.Is(err, errPartsListed) {
				return nil
			}
			if err != nil {
				return err
			}
			if cmd.Flags().Changed("tempo") {
				if !(tempo >= 10 && tempo <= 400) {
					return &usageError{cmd.CommandPath(), fmt.Errorf("--tempo %g: want quarter notes a minute, 10 to 400", tempo)}
				}
				p.Tempos = []score.Tempo{{Quarters: tempo}}
			}
			notes := layerNotes(p.Sounding(), region)
			before := len(notes)
			notes = slices.DeleteFunc(notes, func(n score.Note) bool {
				return slices.Contains(out, n.Pitch) || slices.Contains(outClass, n.Pitch.Class())
			})
			if len(without) > 0 && len(notes) == before {
				return fmt.Errorf("--without %s: no such note sounds there", strings.Join(without, ", "))
			}
			if len(notes) == 0 {
				return errSilent
			}
			var sn []synth.Note
			switch {
			case broken || block:
				apart := 250 * time.Millisecond
				if block {
					apart = 0
				}
				sn = sliceNotes(notes, region, time.Duration(float64(apart)*slower), time.Duration(1500*slower)*time.Millisecond, pitch.Hz(sf.a4))
			default:
				sn = passageNotes(p, notes, region.From, region.To, slower, pitch.Hz(sf.a4))
			}
			if len(sn) == 0 {
				return errSilent
			}
			clip, err := synth.Render(sn, opts)
			if err != nil {
				return err
			}
			name := strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
			return e.deliver(cmd.Context(), clip, sf, fileName(name+" "+pf.at))
		},
	}
	pf.add(cmd)
	sf.add(cmd)
	cmd.Flags().Float64Var(&tempo, "tempo", 0, "quarter notes a minute (default as written, else 72)")
	cmd.Flags().Float64Var(&slower, "slower", 1, "play that many times slower")
	cmd.Flags().StringArrayVar(&without, "without", nil, "leave a note out, as in D#5 or D# (may be repeated)")
	cmd.Flags().BoolVar(&broken, "broken", false, "play each chord of the place broken upwards")
	cmd.Flags().BoolVar(&block, "block", false, "play each chord of the place for the same time")
	return cmd
}

// layerNotes returns the notes of a region, those of its bass, top line or inner lines if it names one.
func layerNotes(sounding []score.Note, r score.Region) []score.Note {
	switch r.Layer {
	case score.Bass:
		return line.Bass(sounding, r)
	case score.TopLine:
		return line.Top(sounding, r)
	}
	notes := r.Select(sounding)
	if r.Layer == score.InnerLines {
		low, high := line.Bass(sounding, r), line.Top(sounding, r)
		notes = slices.DeleteFunc(notes, func(n score.Note) bool { return slices.Contains(low, n) || slices.Contains(high, n) })
	}
	return notes
}

// sliceNotes plays each sonority of a region for the same time, its notes apart from the bottom up.
func sliceNotes(notes []score.Note, r score.Region, apart, each time.Duration, a4 pitch.Hz) []synth.Note {
	var out []synth.Note
	at := time.Duration(0)
	for _, s := range score.Slices(notes, r.From, r.To) {
		var ps []handPitch
		for _, n := range s.Notes {
			ps = append(ps, handPitch{n.Pitch, n.Hand})
		}
		for _, n := range chordNotes(ps, each, apart, a4) {
			n.Start += at
			out = append(out, n)
		}
		at += each + time.Duration(len(ps)-1)*apart + 200*time.Millisecond
	}
	return out
}

// fileName makes a name of letters, digits and dashes out of words.
func fileName(s string) string {
	var b strings.Builder
	dash := false
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			if dash && b.Len() > 0 {
				b.WriteByte('-')
			}
			dash = false
			b.WriteRune(r)
		case r == '#':
			b.WriteString("-sharp")
		default:
			dash = true
		}
	}
	if b.Len() == 0 {
		return "sound"
	}
	return b.String()
}
