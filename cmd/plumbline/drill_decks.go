package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/drills"
	"plumbline/progress"
	"plumbline/theory/claim"
	"plumbline/theory/score"
	"plumbline/theory/score/midi"
)

// deckSitting is the step of a deck that is asked.
type deckSitting struct {
	deck *drills.Deck
	name string // as the command line has it
	step int    // from 0
}

func (d *deckSitting) at() drills.Step { return d.deck.Steps[d.step] }

// source is how a sitting of this step is written down; steps passed are known by it.
func (d *deckSitting) source() string { return stepSource(d.deck, d.step) }

func stepSource(d *drills.Deck, i int) string {
	return fmt.Sprintf("deck %s, step %d of %d (%s)", d.Title, i+1, len(d.Steps), d.Steps[i].Name)
}

// next says what follows after a sitting of a step.
func (d *deckSitting) next(asked, right int) string {
	st := d.at()
	switch {
	case st.PassOf == 0:
		return ""
	case !passed(st, asked, right):
		return fmt.Sprintf("The next step opens with %d of %d right.", st.Pass, st.PassOf)
	case d.step+1 == len(d.deck.Steps):
		return "That was the last step of the deck."
	}
	return fmt.Sprintf("Passed. Next: step %d, %s.", d.step+2, d.deck.Steps[d.step+1].Name)
}

func passed(st drills.Step, asked, right int) bool {
	return st.PassOf == 0 || asked >= st.PassOf && right*st.PassOf >= st.Pass*asked
}

// readDeck finds a deck: a ready-made one by its name, or a file.
func (e *env) readDeck(name string) (*drills.Deck, error) {
	if d, ok := drills.ReadyDeck(name); ok {
		return d, nil
	}
	f, err := os.Open(name)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) && !strings.ContainsAny(name, "./\\") {
			return nil, &hintError{fmt.Errorf("%q is neither a ready-made deck nor a file", name), "plumbline drill decks lists the ready-made ones"}
		}
		return nil, err
	}
	defer f.Close()
	d, err := drills.ReadDeck(name, f)
	var de *drills.DeckError
	if errors.As(err, &de) {
		err = &hintError{err, "plumbline help decks shows how a deck is written"}
	}
	if err == nil && d.Title == "" {
		d.Title = strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))
	}
	return d, err
}

// deckStep chooses the step of a deck: the one asked for, from 1, or the first that is not passed yet by the record.
func (e *env) deckStep(ctx context.Context, store *progress.Store, name string, step int) (*deckSitting, error) {
	d, err := e.readDeck(name)
	if err != nil {
		return nil, err
	}
	if step < 0 || step > len(d.Steps) {
		return nil, fmt.Errorf("--step %d: the deck %s has steps 1 to %d", step, d.Title, len(d.Steps))
	}
	out := &deckSitting{deck: d, name: name, step: step - 1}
	if step > 0 {
		return out, nil
	}
	const lookBack = 1000 // sittings
	past, err := store.Sittings(ctx, lookBack)
	if err != nil {
		return nil, err
	}
	done := map[string]bool{}
	for _, s := range past {
		for i, st := range d.Steps {
			if s.Source == stepSource(d, i) && st.PassOf > 0 && passed(st, s.Score.Asked, s.Score.Right) {
				done[s.Source] = true
			}
		}
	}
	for out.step = 0; out.step+1 < len(d.Steps) && done[out.source()]; {
		out.step++
	}
	return out, nil
}

// deckDrill makes the drill of a step; a passage is looked for beside the deck.
func (e *env) deckDrill(d *deckSitting, seed uint64) (*drills.Drill, error) {
	st := d.at()
	if st.Passage == "" {
		return st.Drill(seed)
	}
	path := st.Passage
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(d.name), path)
	}
	p, region, err := e.load(path, passageFlags{at: st.At})
	if err != nil {
		return nil, err
	}
	s := st.Settings
	s.Seed = seed
	return drills.FromPassage(p, region, s)
}

// questions returns how many a sitting of the step has.
func (d *deckSitting) questions() int {
	st := d.at()
	switch {
	case st.Questions > 0:
		return st.Questions
	case st.PassOf > 0:
		return st.PassOf
	}
	return 10
}

func newDecksTopic() *cobra.Command {
	return &cobra.Command{Use: "decks", Short: "How to write a deck of questions by hand", Long: strings.TrimRight(drills.DeckHelp, "\n")}
}

// addDecks gives the drill command what it needs for decks: the lists, and saving one.
func addDecks(e *env, cmd *cobra.Command) {
	cmd.AddCommand(newDrillDecksCmd(e), newDrillKindsCmd(e), newDrillSaveCmd(e))
}

func newDrillDecksCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "decks [DECK]",
		Short: "List the ready-made decks, or the steps of one",
		Long: `Lists the ready-made decks in the order in which they are best taken, easy to
hard; with a name, or the file of a deck, its steps. "plumbline drill --deck NAME"
asks the first step that isn't passed yet; "--step N" chooses another one.
"plumbline help decks" shows how a deck is written by hand.`,
		Example: "  plumbline drill decks\n  plumbline drill decks sevenths\n  plumbline drill --deck sevenths",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return nil
			}
			return &usageError{cmd.CommandPath(), fmt.Errorf("%q is too much: one deck at a time", args[1])}
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				d, err := e.readDeck(args[0])
				if err != nil {
					return err
				}
				fmt.Fprintf(e.stdout, "%s\n%s\n", d.Title, wrap(d.About, textWidth, ""))
				for i, st := range d.Steps {
					what := st.Settings.Kind.Title()
					if st.Settings.Sight {
						what += " by sight"
					}
					if len(st.Cards) > 0 {
						what += ", " + counted(len(st.Cards), "card")
					}
					if st.PassOf > 0 {
						what += fmt.Sprintf("; passed with %d of %d right", st.Pass, st.PassOf)
					}
					fmt.Fprintf(e.stdout, "%3d  %s\n%s\n", i+1, st.Name, wrap(what, textWidth, "       "))
				}
				return nil
			}
			fmt.Fprintln(e.stdout, "Ready-made decks, in the order in which they are best taken:")
			for _, d := range drills.ReadyDecks() {
				fmt.Fprintf(e.stdout, "\n  %s: %s\n%s\n%s\n", d.Name, d.Title, wrap(d.About, textWidth, "      "), wrap(d.Path()+".", textWidth, "      "))
			}
			return nil
		},
	}
}

func newDrillKindsCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "kinds [KIND]",
		Short: "List the kinds of drill and their levels",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 || len(args) == 1 && drills.Levels(drills.Kind(args[0])) != nil {
				return nil
			}
			return &usageError{cmd.CommandPath(), fmt.Errorf("%q is no kind of drill", args[0])}
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			for i, k := range drills.Kinds() {
				if len(args) == 1 && string(k) != args[0] {
					continue
				}
				if i > 0 && len(args) == 0 {
					fmt.Fprintln(e.stdout)
				}
				sight := ""
				if !k.Sight() {
					sight = "; by ear only"
				}
				fmt.Fprintf(e.stdout, "%s: %s%s\n", k, k.About(), sight)
				for _, l := range drills.Levels(k) {
					if len(args) == 0 {
						fmt.Fprintf(e.stdout, "  %d  %s\n", l.Number, l.Name)
						continue
					}
					names := strings.Join(l.Labels, "; ")
					if len(l.Labels) > drills.MaxChoices {
						names = fmt.Sprintf("%d labels, %d of them at a time: %s", len(l.Labels), drills.MaxChoices, names)
					}
					fmt.Fprintf(e.stdout, "  %d  %s\n%s\n", l.Number, l.Name, wrap(names, textWidth, "       "))
				}
			}
			return nil
		},
	}
}

// saveFlags say what a deck is made from.
type saveFlags struct {
	from, claims, ready, db, learner string
	confusions                       bool
	pf                               passageFlags
}

func newDrillSaveCmd(e *env) *cobra.Command {
	var f saveFlags
	cmd := &cobra.Command{
		Use:   "save OUT.deck",
		Short: "Make a deck of questions and save it as a file, to be drilled, changed or sent",
		Long: `Makes a deck and writes it to a file: from a passage (its own chords, how they are
built, its basses, resolutions, lines and sequences, with near misses of its own
kind), from the places that a claims file speaks of, from what you confuse by
your record, or a ready-made one to be changed. A deck is a plain text and holds
its notes itself ("plumbline help decks").`,
		Example: `  plumbline drill save mine.deck --from song.mxl --at "bars 1-8"
  plumbline drill save talk.deck --from song.mxl --claims talk.claims
  plumbline drill save weak.deck --confusions
  plumbline drill save my-sevenths.deck --ready sevenths`,
		Args: needArgs("OUT.deck"),
		RunE: func(cmd *cobra.Command, args []string) error {
			n := 0
			for _, set := range []bool{f.from != "", f.confusions, f.ready != ""} {
				if set {
					n++
				}
			}
			switch {
			case n != 1:
				return &usageError{cmd.CommandPath(), errors.New("say what the deck is made from: --from PASSAGE, --confusions or --ready NAME")}
			case f.claims != "" && f.from == "":
				return &usageError{cmd.CommandPath(), errors.New("--claims FILE needs the passage too: --from PASSAGE")}
			}
			d, err := e.madeDeck(cmd.Context(), f)
			if errors.Is(err, errPartsListed) {
				return nil
			}
			if err != nil {
				return err
			}
			out, err := os.OpenFile(args[0], os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
			if err != nil {
				if errors.Is(err, os.ErrExist) {
					return &hintError{fmt.Errorf("%s is there already and was left as it is", args[0]), "choose another name, or move it away"}
				}
				return err
			}
			err = errors.Join(drills.WriteDeck(out, d), out.Close())
			if err != nil {
				return err
			}
			cards := 0
			for _, st := range d.Steps {
				cards += len(st.Cards)
			}
			text := fmt.Sprintf("%s: %s", args[0], counted(len(d.Steps), "step"))
			if cards > 0 {
				text += ", " + counted(cards, "card")
			}
			fmt.Fprintln(e.stdout, text+".")
			for i, st := range d.Steps {
				fmt.Fprintln(e.stdout, wrap(fmt.Sprintf("%d  %s", i+1, st.Name), textWidth, "  "))
			}
			fmt.Fprintf(e.stdout, "To be asked: plumbline drill --deck %s\n", args[0])
			return nil
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.from, "from", "", "the passage")
	f.pf.add(cmd)
	fl.StringVar(&f.claims, "claims", "", "only the places of this claims file")
	fl.BoolVar(&f.confusions, "confusions", false, "from what you confuse")
	fl.StringVar(&f.ready, "ready", "", "a ready-made deck, by its name")
	fl.StringVar(&f.db, "db", "", "the file that keeps the answers (default under XDG_DATA_HOME)")
	fl.StringVar(&f.learner, "learner", "", "whose record, where several share a file")
	return cmd
}

func (e *env) madeDeck(ctx context.Context, f saveFlags) (*drills.Deck, error) {
	switch {
	case f.ready != "":
		return e.readDeck(f.ready)
	case f.confusions:
		return e.confusionDeck(ctx, f)
	}
	p, region, err := e.load(f.from, f.pf)
	if err != nil {
		return nil, err
	}
	if f.claims == "" {
		return drills.DeckFromPassage(p, region)
	}
	in, err := os.Open(f.claims)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	claims, bad, err := claim.Parse(f.claims, in)
	if err != nil {
		return nil, err
	}
	for _, b := range bad {
		e.warn("%v", message(b))
	}
	return drills.DeckFromClaims(p, claims)
}

func (e *env) confusionDeck(ctx context.Context, f saveFlags) (*drills.Deck, error) {
	path, err := e.database(f.db)
	if err != nil {
		return nil, err
	}
	store, err := progress.Open(ctx, path)
	if err != nil {
		return nil, &hintError{err, "--db FILE names another file"}
	}
	defer store.Close()
	view, err := e.learnerOf(ctx, store, f.learner, false)
	if err != nil {
		return nil, err
	}
	sum, err := view.Summary(ctx, progress.Filter{})
	if err != nil {
		return nil, err
	}
	var cs []drills.Confused
	for _, g := range sum.Groups {
		for _, l := range g.Labels {
			for _, c := range l.Confusions {
				cs = append(cs, drills.Confused{Kind: drills.Kind(g.Kind), Sight: g.Mode == progress.Sight, Expected: l.Label, Given: c.Given, Count: c.Count})
			}
		}
	}
	d, err := drills.DeckFromConfusions(cs)
	if err != nil {
		return nil, &hintError{err, "plumbline progress shows what is in the record; drill some more first"}
	}
	return d, nil
}

// heard says the smallest differences a search has found, one line each.
func heardLines(s *drills.Search) []string {
	if s == nil {
		return nil
	}
	var out []string
	for _, f := range s.Found() {
		if f.OK {
			out = append(out, fmt.Sprintf("%s: a move of %s is heard in 75 of 100 (between %.0f and %.0f cents).", f.Condition, sizeWord(f.Cents), f.Low, f.High))
		} else if f.Answers > 0 {
			out = append(out, fmt.Sprintf("%s: too few answers yet to say (%d); some 30 are needed at each place.", f.Condition, f.Answers))
		}
	}
	return out
}

// sizeWord says a size, against what a semitone is.
func sizeWord(cents float64) string {
	if cents >= 100 {
		return fmt.Sprintf("%.0f cents (%.1f semitones)", cents, cents/100)
	}
	return fmt.Sprintf("%.0f cents", cents)
}

// maxMIDIAnswer bounds a MIDI file that is an answer, in bytes.
const maxMIDIAnswer = 1 << 20

// writtenAnswer reads an answer that is the name of a MIDI file, as notes in the order in which they begin; other answers stay
// what they are.
func writtenAnswer(q drills.Question, text string) (string, error) {
	ext := strings.ToLower(filepath.Ext(text))
	if q.Kind != drills.Dictation || ext != ".mid" && ext != ".midi" {
		return text, nil
	}
	f, err := os.Open(text)
	if err != nil {
		return "", &badInput{message(err)}
	}
	defer f.Close()
	p, err := midi.Read(io.LimitReader(f, maxMIDIAnswer), midi.Options{File: text})
	if err != nil {
		return "", &badInput{message(err)}
	}
	return notesOf(p), nil
}

func notesOf(p *score.Passage) string {
	var out []string
	for _, n := range p.Sounding() {
		out = append(out, n.Pitch.String())
	}
	return strings.Join(out, " ")
}
