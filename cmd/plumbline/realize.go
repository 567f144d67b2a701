package main

import (
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"plumbline/synth"
	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

func newRealizeCmd(e *env) *cobra.Command {
	var sf soundFlags
	var asJSON, play, broken bool
	cmd := &cobra.Command{
		Use:   "realize SPEC",
		Short: "Write a chord, a stack or a cluster as notes, and play it",
		Long: `Writes a chord label, a stack or a cluster as notes for two hands, and tells how
the result is stacked and read. --play plays it, --out writes its sound. A --tuning
is laid out from the lowest note unless it names a tonic.`,
		Example: `  plumbline realize "F#m7(b5) first inversion"
  plumbline realize "four-note quartal on D3"
  plumbline realize "quintal left hand on G2 with quartal right hand on B3" --play
  plumbline realize "C major, added sixth instead of the fifth" --out sixth.wav
  plumbline realize "chromatic cluster of 4 on E4"`,
		Args: needArgs("SPEC"),
		RunE: func(cmd *cobra.Command, args []string) error {
			opts, err := sf.options()
			if err != nil {
				return &usageError{cmd.CommandPath(), err}
			}
			v, err := chord.Realize(args[0])
			if err != nil {
				return err
			}
			s := describeNotes(v.Left, v.Right)
			if asJSON {
				err = writeJSON(e.stdout, struct {
					Spec string `json:"spec"`
					Text string `json:"text"`
					sonorityJSON
				}{args[0], v.Text, s})
			} else {
				fmt.Fprintln(e.stdout, v.Text)
				writeSonority(e.stdout, s, chord.Stack{}, false)
			}
			if err != nil || !play && sf.out == "" {
				return err
			}
			var apart time.Duration
			if broken {
				apart = 250 * time.Millisecond
			}
			ps := voicingPitches(v.Left, v.Right)
			tuning, err := sf.tuned(lowest(ps))
			if err != nil {
				return &usageError{cmd.CommandPath(), err}
			}
			clip, err := synth.Render(chordNotes(ps, 2*time.Second, apart, tuning), opts)
			if err != nil {
				return err
			}
			return e.deliver(cmd.Context(), clip, sf, fileName(args[0]))
		},
	}
	sf.add(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "the same facts for a program")
	cmd.Flags().BoolVar(&play, "play", false, "play it")
	cmd.Flags().BoolVar(&broken, "broken", false, "play it broken upwards")
	return cmd
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
