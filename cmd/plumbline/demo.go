package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"plumbline/synth"
	"plumbline/theory/claim"
	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

// The demo's passage and claims: invented, someone preparing a talk about their own short piano piece.
//
//go:embed demo/lamp.passage
var demoPassage []byte

//go:embed demo/lamp.claims
var demoClaims []byte

func newDemoCmd(e *env) *cobra.Command {
	var dir string
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "The main job, on a passage that ships inside the program",
		Long: `Somebody prepares a talk about a short piano piece of their own and has written
down what they are going to say. The demo checks every sentence against the
notes (two are wrong), writes the sound of each place as a WAV file, and says
what to do next. It also writes the passage and the claims, for you to change.`,
		Example: "  plumbline demo\n  plumbline demo --dir talk",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := typed.Read("lamp.passage", bytes.NewReader(demoPassage))
			if err != nil {
				return fmt.Errorf("the built-in passage: %w", err)
			}
			results, bad, err := checkClaims(p, "lamp.claims", bytes.NewReader(demoClaims))
			if err != nil {
				return err
			}
			if len(bad) > 0 {
				return fmt.Errorf("the built-in claims: %w", bad[0])
			}
			fmt.Fprintf(e.stdout, "%q: %d bars for piano, and what the talk says about them.\n\n", p.Title, len(p.Bars))
			writeVerdicts(e.stdout, results)

			if err := os.MkdirAll(dir, 0o755); err != nil {
				return fmt.Errorf("can't make the folder for the sound: %w", err)
			}
			for name, data := range map[string][]byte{"lamp.passage": demoPassage, "lamp.claims": demoClaims} {
				if err := keepOrWrite(filepath.Join(dir, name), data); err != nil {
					return err
				}
			}
			sounding := p.Sounding()
			for _, r := range results {
				clip, err := synth.Render(claimNotes(p, sounding, r), synth.Options{})
				if err != nil {
					return err
				}
				name := filepath.Join(dir, fmt.Sprintf("line-%02d-%s.wav", r.Claim.Line, fileName(r.Claim.PlaceText)))
				if err := synth.WriteWAVFile(name, clip, synth.PCM16); err != nil {
					return err
				}
				if cmd.Context().Err() != nil {
					return cmd.Context().Err()
				}
			}
			passage, claims := filepath.Join(dir, "lamp.passage"), filepath.Join(dir, "lamp.claims")
			fmt.Fprintf(e.stdout, `
The sound of each place is in %s, %d WAV files named by line and place.
They are quiet (-26 LUFS); set your volume low before you listen.

What next:
  mend the wrong lines and look again   plumbline check %s %s
  see a chord in full                   plumbline describe %s --at "bar 3 beat 1"
  hear it without the raised note       plumbline hear %s --at "bar 1" --without D#5
  drill its chords by ear               plumbline drill --from %s --at "bars 1-4"
  then see what you can really hear     plumbline progress
`, dir, len(results), passage, claims, passage, passage, passage)
			return nil
		},
	}
	cmd.Flags().StringVar(&dir, "dir", "plumbline-demo", "folder for the sound files")
	return cmd
}

// momentLength is how long a single beat is heard at least; a beat at tempo is too short to hear into.
const momentLength = 2.0 // seconds

// claimNotes is what a claim's place sounds like: a beat is held long enough to hear into it, and a resolution is heard to
// its end.
func claimNotes(p *score.Passage, sounding []score.Note, r claim.Result) []synth.Note {
	region := r.Region
	for _, n := range r.Evidence {
		if !region.Moment || n.Onset.Less(region.To) {
			continue
		}
		region.To, region.Moment = region.To.Max(n.End()), false
	}
	slower := 1.0
	if region.Moment {
		slower = max(1, momentLength/(p.Seconds(region.To)-p.Seconds(region.From)))
	}
	notes, _, _ := passageNotes(p, layerNotes(sounding, region), region.From, region.To, listening{slower: slower})
	return notes
}

// keepOrWrite writes a file unless it is there already: somebody may have changed it.
func keepOrWrite(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if os.IsExist(err) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err = f.Write(data); err == nil {
		err = f.Close()
	} else {
		f.Close()
	}
	if err != nil {
		os.Remove(path)
	}
	return err
}
