package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/drills/ear"
	"plumbline/theory/claim"
	"plumbline/theory/score"
)

func newHearCmd(e *env) *cobra.Command {
	var pf passageFlags
	var sf soundFlags
	var tempo, slower float64
	var without, stress, compare, then []string
	var twin string
	var broken, block, build, countIn, dry, repeats bool
	var loop int
	cmd := &cobra.Command{
		Use:   "hear PASSAGE",
		Short: "Play a passage, or a part of it",
		Long: `Plays the passage, or the place named by --at, taken apart as you like: one hand,
the bass or the top line alone; a note left out, brought out, or heard with and
without; each chord as a block, broken upwards, or built up from the bass; two
places after each other; the place of a claim and its twin, in which a small
change makes just that claim false; slower, in a loop, with a count-in.

Dynamics, tempo, meter and pedal are those of the passage; --repeats plays its
repeats and jumps too. Grace notes come just before the beat. All that is played by
one command has one gain, so that what is heard without a note isn't made louder
for it.

Voices: struck (a stiff string, as of a piano: its high partials are a little
sharp), flexible (the same with pure partials), bowed, organ, sine. Tunings other
than equal are laid out from the key of the place, or "on" the note named.

Sound starts quiet and never passes 6 dB below full scale. Turn your volume down
first and raise it slowly; stop if anything is unpleasant or your ears ring.`,
		Example: `  plumbline hear song.mxl --at "bars 3-4, left hand"
  plumbline hear song.mxl --at "bar 1 beat 3" --compare-without D#5
  plumbline hear song.mxl --at "bar 1 beat 3" --build
  plumbline hear song.mxl --at "bar 1" --then "bar 5" --stress A4
  plumbline hear song.mxl --twin "bar 2 beat 1: is F#m7"
  plumbline hear song.mxl --at "bars 5-8, bass" --loop 4 --count-in
  plumbline hear song.mxl --at "bar 1" --voice organ --tuning "just on A"
  plumbline hear song.mxl --at "bars 7-8" --slower 2 --out bars7-8.wav`,
		Args: needArgs("PASSAGE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			usage := func(err error) error { return &usageError{cmd.CommandPath(), err} }
			opts, err := sf.options()
			if err != nil {
				return usage(err)
			}
			l := listening{slower: slower, loop: loop, countIn: countIn, dry: dry, repeats: repeats}
			if !(slower >= 0.25 && slower <= 8) {
				return usage(fmt.Errorf("--slower %g: want a factor from 0.25 to 8", slower))
			}
			if loop < 1 || loop > maxLoop {
				return usage(fmt.Errorf("--loop %d: want 1 to %d times", loop, maxLoop))
			}
			for _, s := range []struct {
				set   bool
				shape shape
			}{{block, blockChords}, {broken, brokenChords}, {build, builtChords}} {
				if s.set && l.shape != asWritten {
					return usage(errors.New("--block, --broken and --build exclude each other"))
				}
				if s.set {
					l.shape = s.shape
				}
			}
			for _, f := range []struct {
				flag  string
				texts []string
				to    *[]noteName
			}{{"without", without, &l.without}, {"stress", stress, &l.stress}, {"compare-without", compare, &l.compare}} {
				if *f.to, err = parseNoteNames(f.flag, f.texts); err != nil {
					return usage(err)
				}
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
					return usage(fmt.Errorf("--tempo %g: want quarter notes a minute, 10 to 400", tempo))
				}
				p.Tempos = []score.Tempo{{Quarters: tempo}}
			}
			name := strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
			if twin != "" {
				for _, other := range []string{"at", "then", "compare-without", "repeats"} {
					if cmd.Flags().Changed(other) {
						return usage(fmt.Errorf("--%s doesn't go with --twin: the place is that of the claim", other))
					}
				}
				stretches, change, err := twinStretches(p, twin)
				if err != nil {
					return err
				}
				k, _ := stretches[0].p.KeyAt(stretches[0].r.From)
				if l.tuning, err = sf.tuned(k.Tonic.PC()); err != nil {
					return usage(err)
				}
				made, err := planOf(stretches, l)
				if err != nil {
					return err
				}
				fmt.Fprintf(e.stdout, "as it is, then changed: %s\n", change)
				return e.sound(cmd.Context(), made, opts, sf, fileName(name+" twin"))
			}
			places := []score.Region{region}
			for _, t := range then {
				r, err := e.placeIn(p, t)
				if err != nil {
					return &hintError{fmt.Errorf("--then: %w", err), "places are, for instance: " + strings.Join(score.PlaceForms, "; ")}
				}
				places = append(places, r)
			}
			k, _ := p.KeyAt(region.From)
			if l.tuning, err = sf.tuned(k.Tonic.PC()); err != nil {
				return usage(err)
			}
			made, err := newPlan(p, places, l)
			if err != nil {
				return err
			}
			return e.sound(cmd.Context(), made, opts, sf, fileName(name+" "+pf.at))
		},
	}
	pf.add(cmd)
	sf.add(cmd)
	cmd.Flags().Float64Var(&tempo, "tempo", 0, "`QUARTERS` a minute (default as written, else 72)")
	cmd.Flags().Float64Var(&slower, "slower", 1, "play by this `FACTOR` slower")
	cmd.Flags().StringArrayVar(&without, "without", nil, "leave a `NOTE` out, as in D#5 or D# (may be repeated)")
	cmd.Flags().StringArrayVar(&stress, "stress", nil, "bring a `NOTE` out, as in D#5 or D# (may be repeated)")
	cmd.Flags().StringArrayVar(&compare, "compare-without", nil, "play the place, then again without this `NOTE` (may be repeated)")
	cmd.Flags().StringArrayVar(&then, "then", nil, "another `PLACE` to play after it (may be repeated)")
	cmd.Flags().StringVar(&twin, "twin", "", "play the place of a `CLAIM`, such as \"bar 2: is F#m7\", then changed so that it is false")
	cmd.Flags().BoolVar(&broken, "broken", false, "play each chord of the place broken upwards")
	cmd.Flags().BoolVar(&block, "block", false, "play each chord of the place for the same time")
	cmd.Flags().BoolVar(&build, "build", false, "build each chord of the place up from the bass")
	cmd.Flags().IntVar(&loop, "loop", 1, "play it so many `TIMES`")
	cmd.Flags().BoolVar(&countIn, "count-in", false, "count a bar before it")
	cmd.Flags().BoolVar(&repeats, "repeats", false, "play the repeats, endings and jumps of the place (default each bar once)")
	cmd.Flags().BoolVar(&dry, "dry", false, "leave the pedal alone")
	return cmd
}

// twinStretches returns the places of a claim as they are and then those of its twin, and what is changed.
func twinStretches(p *score.Passage, text string) ([]stretch, string, error) {
	c, ok, bad := claim.ParseLine(text)
	if bad != nil {
		return nil, "", &hintError{fmt.Errorf("--twin: %w", bad), "\"plumbline help claims\" lists what a claim may say"}
	}
	if !ok {
		return nil, "", errors.New("--twin: want a claim, such as \"bar 2 beat 1: is F#m7\"")
	}
	s, err := ear.Find(p, c, nil)
	var no *ear.NoTwinError
	if errors.As(err, &no) {
		return nil, "", fmt.Errorf("--twin: %s", no.Why)
	}
	if err != nil {
		return nil, "", fmt.Errorf("--twin: %w", err)
	}
	t := s.Pairs[0][0]
	var out []stretch
	for _, r := range s.Places {
		out = append(out, stretch{what: "as it is", p: s.Original, r: r})
	}
	for _, r := range s.Places {
		out = append(out, stretch{what: "changed", p: t.Passage, r: r})
	}
	return out, t.Change, nil
}

// maxLoop bounds --loop; a clip is half an hour long at most anyway.
const maxLoop = 100

// placeIn finds a place in words.
func (e *env) placeIn(p *score.Passage, text string) (score.Region, error) {
	place, err := score.ParsePlace(text)
	if err != nil {
		return score.Region{}, err
	}
	return p.Resolve(place)
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
