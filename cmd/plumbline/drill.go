package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plumbline/drills"
	"plumbline/drills/planner"
	"plumbline/progress"
	"plumbline/theory/score"
)

// drillFlags are the flags of the drill command.
type drillFlags struct {
	kind        string
	count       int
	sight       bool
	level       int
	labels      []string
	choices     int
	inversions  bool
	seed        uint64
	from        string
	pf          passageFlags
	noTranspose bool
	ownOnly     bool
	json        bool
	play        bool
	db          string
	noSound     bool
	out         string
	random      bool
	repeat      bool
	why         bool
	plain       bool
	learner     string
	deck        string
	step        int
	voices      int
	position    string
	size        float64
	// What was said on the command line.
	levelSet, kindSet, seedSet, choicesSet, countSet bool
}

// maxCount bounds the questions of one drill; nobody answers so many.
const maxCount = 10000

// searchQuestions are as many as the search for the smallest difference takes to say something at two places or three.
const searchQuestions = 90

// drillFoils is the share of near misses that sound in a drill about a passage.
const drillFoils = 0.5

func newDrillCmd(e *env) *cobra.Command {
	var f drillFlags
	var b strings.Builder
	b.WriteString("\nKinds of drill (plumbline drill kinds shows their levels):\n")
	for _, k := range drills.Kinds() {
		fmt.Fprintf(&b, "  %-12s  %s\n", k, k.About())
	}
	cmd := &cobra.Command{
		Use:   "drill",
		Short: "Be asked, by ear or by sight",
		Long: `Plays something and asks what it is: the quality of a chord (minor seventh,
dominant ninth …) or, with --kind, one of the things listed below. With --sight
the notes are shown instead. With --deck a ready-made deck, or your own, leads
from easy to hard ("plumbline drill decks" lists them). With --from the chords of
your own passage are asked, transposed at random, and half of the time one with
a note changed (see --own-only and --no-transpose).

With --kind same, one note of a chord may have moved between its first and second
sounding, by less and less as long as you hear it: in the end it says the smallest
move you hear (--voices, --position). Dictation takes notes as in "C4 E4 G4", with
or without octaves, or the name of a MIDI file, and gives credit note by note.

In a terminal single keys do everything: 1 to 9 choose, space plays it again, l
the low notes alone, h the high notes alone, a one note after the other, t types
a label, g gives up, q quits, ? helps. After a wrong answer c plays what it was,
then what you said. A label may be typed in any of the trade's names ("m7",
"Cm7", "minor seventh"); the root is not asked. What can't be heard isn't held
against you: by ear a German sixth is a dominant seventh; by sight spelling
counts. An answer that isn't understood is asked again, and never counts.

Away from a terminal it reads lines: a number, a label, or one of play, low,
high, slow, compare, give up, quit. With --json it writes one JSON object a line
(events question, sound, answer, error, end) and reads a number, a label, one of
the words above, or {"id": …, "given": …}. After an error event the same
question stays open. An answer event is written when the answer is on disk.

Once there is a record, what you are asked goes by it: what is due by spaced
repetition, what you confuse side by side, and as hard (register, spacing,
doublings, choices, length, timbre, decay) as you can just do, in all kinds you
have been asked unless --kind, --level or --labels say which. --why says after
each answer why it was asked (in a terminal, the key w). --random asks without
looking at the record, and so does --seed, which gives the same row each time;
--repeat puts the last sitting's questions once more.

Sound starts quiet: the first chords are softer than the rest, and none passes
6 dB below full scale. Set your volume low first and raise it slowly. Without a
sound device each question is written as a WAV file.
` + b.String(),
		Example: `  plumbline drill
  plumbline drill --level 4 --inversions --count 20
  plumbline drill --labels "m7,half-diminished,m6" --sight
  plumbline drill --kind tendency --level 2
  plumbline drill --deck first-chords
  plumbline drill --from song.mxl --at "bars 1-8"
  printf '1\nm7\nquit\n' | plumbline drill --json --seed 7 --out sounds`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			usage := func(format string, a ...any) error {
				return &usageError{cmd.CommandPath(), fmt.Errorf(format, a...)}
			}
			set := cmd.Flags().Changed
			switch {
			case f.count < 1 || f.count > maxCount:
				return usage("--count %d: want 1 to %d questions", f.count, maxCount)
			case f.from == "" && (set("at") || set("part") || set("no-transpose") || set("own-only")):
				return usage("--at, --part, --no-transpose and --own-only need --from PASSAGE")
			case f.from != "" && set("level"):
				return usage("--level doesn't go with --from: a passage asks what is in it; --labels narrows that down")
			case f.from != "" && set("inversions"):
				return usage("--inversions doesn't go with --from: a passage keeps its own basses")
			case f.from == "-":
				return usage("--from -: stdin is for the answers; name a file")
			case f.deck != "" && (f.from != "" || f.random || f.repeat || f.why || f.sight || f.inversions || set("level") || set("labels") || set("kind") || set("choices")):
				return usage("--deck says what is asked; of the flags only --step, --count, --seed and those of sound go with it")
			case set("step") && f.deck == "":
				return usage("--step needs --deck NAME")
			case set("step") && f.step < 1:
				return usage("--step %d: steps are counted from 1", f.step)
			case (set("voices") || set("position") || set("size")) && f.kind != string(drills.Same):
				return usage("--voices, --position and --size belong to --kind same")
			case set("level") && set("labels"):
				return usage("--level and --labels exclude each other")
			case f.play && !f.json:
				return usage("--play goes with --json; without it questions are played anyway")
			case f.repeat && (f.from != "" || f.random || set("seed") || set("level") || set("labels") || set("kind")):
				return usage("--repeat asks what the last sitting asked; it doesn't go with flags that say what to ask")
			case f.why && (f.from != "" || f.random || set("seed") || f.repeat):
				return usage("--why needs questions chosen by the record; without --from, --random, --repeat and --seed they are")
			case f.plain && f.json:
				return usage("--plain and --json exclude each other")
			case f.play && (f.noSound || f.out != ""):
				return usage("--play excludes --no-sound and --out")
			}
			f.levelSet, f.kindSet, f.seedSet, f.choicesSet, f.countSet = set("level"), set("kind"), set("seed"), set("choices"), set("count")
			if !set("seed") {
				// Short enough to be typed again.
				f.seed = uint64(e.now().UnixNano()/int64(time.Microsecond)) % 1_000_000
			}
			err := e.drill(cmd.Context(), f)
			var se *drills.SettingsError
			switch {
			case errors.As(err, &se) && se.Field == "passage":
				return &hintError{err, "another place or --kind may have some; plumbline describe shows what is there"}
			case errors.As(err, &se):
				return &usageError{cmd.CommandPath(), err}
			}
			return err
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.kind, "kind", string(drills.Quality), "what is asked, see above")
	fl.IntVarP(&f.count, "count", "n", 10, "how many questions")
	fl.BoolVar(&f.sight, "sight", false, "show the notes; spelling then counts")
	fl.IntVar(&f.level, "level", 1, "how hard, see above")
	fl.StringSliceVar(&f.labels, "labels", nil, "ask just these, with commas between them, in any of their names")
	fl.IntVar(&f.choices, "choices", 0, fmt.Sprintf("how many choices, 2 to %d (default all; 4 with --from)", drills.MaxChoices))
	fl.BoolVar(&f.inversions, "inversions", false, "any chord note may be in the bass")
	fl.Uint64Var(&f.seed, "seed", 0, "ask the same questions again (default another one each time)")
	fl.StringVar(&f.from, "from", "", "ask about the chords of this passage")
	f.pf.add(cmd)
	fl.BoolVar(&f.noTranspose, "no-transpose", false, "keep the passage's own pitch")
	fl.BoolVar(&f.ownOnly, "own-only", false, "play the passage's own chords only, no near misses")
	fl.BoolVar(&f.json, "json", false, "one JSON object a line, for a program")
	fl.BoolVar(&f.play, "play", false, "with --json: play each question too")
	fl.StringVar(&f.db, "db", "", "the file that keeps the answers (default under XDG_DATA_HOME)")
	fl.BoolVar(&f.noSound, "no-sound", false, "don't play; write WAV files")
	fl.StringVarP(&f.out, "out", "o", "", "write each question as a WAV file into this folder instead of playing")
	fl.BoolVar(&f.random, "random", false, "ask at random, not by the record")
	fl.BoolVar(&f.repeat, "repeat", false, "ask the last sitting's questions once more")
	fl.BoolVar(&f.why, "why", false, "say after each answer why it was asked")
	fl.BoolVar(&f.plain, "plain", false, "in a terminal: whole lines instead of single keys, for a screen reader")
	fl.StringVar(&f.learner, "learner", "", "who answers, where several share a file (default the nameless one)")
	fl.StringVar(&f.deck, "deck", "", "a ready-made deck by its name, or the file of one")
	fl.IntVar(&f.step, "step", 0, "the step of the deck (default the first that isn't passed yet)")
	fl.IntVar(&f.voices, "voices", 0, "of --kind same: notes sounding together, 2 to 6")
	fl.StringVar(&f.position, "position", "", "of --kind same: where the moved note lies, top, inner or bass (default each in turn)")
	fl.Float64Var(&f.size, "size", 0, "of --kind same: always this size, in cents (default smaller and smaller)")
	addDecks(e, cmd)
	addClaimsDrill(e, cmd, &f)
	return cmd
}

// database returns the file that keeps the answers.
func (e *env) database(flag string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	path, err := progress.DefaultPath(e.getenv)
	if err != nil {
		return "", &hintError{err, "--db FILE names the file"}
	}
	return path, nil
}

// learnerOf gives the view of a learner. One who is new is written down if add is set, and said to be new, since it may be a
// slip of the finger.
func (e *env) learnerOf(ctx context.Context, store *progress.Store, name string, add bool) (*progress.Store, error) {
	if strings.TrimSpace(name) == "" {
		return store, nil
	}
	view, err := store.As(ctx, name, false)
	if errors.Is(err, progress.ErrNoLearner) {
		if !add {
			return nil, &hintError{err, "plumbline progress class shows who is there"}
		}
		if view, err = store.As(ctx, name, true); err == nil {
			e.hint("%q is new here: a record of their own begins", strings.Join(strings.Fields(name), " "))
		}
	}
	return view, err
}

// drill asks the questions that f describes.
func (e *env) drill(ctx context.Context, f drillFlags) error {
	s := drills.Settings{Kind: drills.Kind(f.kind), Seed: f.seed, Labels: f.labels, Choices: f.choices, Sight: f.sight, Inversions: f.inversions, NoTranspose: f.noTranspose,
		Voices: f.voices, Position: f.position, Size: f.size}
	var d *drills.Drill
	var err error
	source := ""
	var step *deckSitting
	if f.deck != "" { // its step is chosen by the record, below
		deck, err := e.readDeck(f.deck)
		if err != nil {
			return err
		}
		if f.step > len(deck.Steps) {
			return &usageError{"plumbline drill", fmt.Errorf("--step %d: the deck %s has steps 1 to %d", f.step, deck.Title, len(deck.Steps))}
		}
	} else if f.from != "" {
		p, region, lerr := e.load(f.from, f.pf)
		if errors.Is(lerr, errPartsListed) {
			return nil
		}
		if lerr != nil {
			return lerr
		}
		if !f.ownOnly {
			s.Foils = drillFoils
		}
		source = strings.TrimSpace(f.from + " " + f.pf.at)
		d, err = drills.FromPassage(p, region, s)
	} else {
		if len(f.labels) == 0 {
			s.Level = f.level
			if s.Level == 0 {
				s.Level = -1 // 0 means the default to drills, and a mistake here
			}
		}
		d, err = drills.New(s)
	}
	if err != nil {
		return err
	}
	if f.out != "" {
		if err := os.MkdirAll(f.out, 0o777); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
	}
	path, err := e.database(f.db)
	if err != nil {
		return err
	}
	store, err := progress.Open(ctx, path)
	if err != nil {
		return &hintError{err, "--db FILE keeps the answers in another file"}
	}
	defer store.Close()

	if store, err = e.learnerOf(ctx, store, f.learner, true); err != nil {
		return err
	}

	if f.deck != "" {
		if step, err = e.deckStep(ctx, store, f.deck, f.step); err != nil {
			return err
		}
		if d, err = e.deckDrill(step, f.seed); err != nil {
			return err
		}
		f.kind, f.sight, source = string(d.Settings().Kind), d.Settings().Sight, step.source()
		if !f.countSet {
			f.count = step.questions()
		}
	}
	mode := progress.Ear
	if f.sight {
		mode = progress.Sight
	}
	var plan *plannedDrill
	var again []keptQuestion
	switch {
	case f.repeat:
		if again, err = repeated(ctx, store); err != nil {
			return err
		}
		if f.sight != again[0].Settings.Sight {
			return &hintError{errors.New("the last sitting was the other way, by ear or by sight"), "leave --sight out, or put it in"}
		}
		if f.count = min(f.count, len(again)); !f.countSet {
			f.count = len(again)
		}
	case f.from == "" && f.deck == "" && !f.random && !f.seedSet && !f.choicesSet && f.kind != string(drills.Same):
		if plan, err = e.planned(ctx, store, f, f.levelSet, f.kindSet); err != nil {
			return err
		}
	}
	sit := &sitting{e: e, d: d, store: store, mode: mode, count: f.count, db: f.db, source: source, plan: plan, again: again, why: f.why, learner: f.learner, deck: step}
	if f.kind == string(drills.Same) && step == nil && f.size == 0 && again == nil {
		if sit.search, err = drills.NewSearch(s); err != nil {
			return err
		}
		if !f.countSet {
			sit.count = searchQuestions
		}
	}
	sit.sound = &drillSound{e: e, dir: f.out, files: f.out != "" || f.noSound, named: f.out != ""}
	defer sit.sound.close()
	settings, err := json.Marshal(d.Settings())
	if err != nil {
		return err
	}
	sit.id, err = store.Begin(ctx, progress.SessionInfo{Kind: f.kind, Mode: mode, Seed: f.seed, Source: source, Settings: settings, Started: e.now()})
	if err != nil {
		return err
	}
	defer func() {
		if err := store.End(context.WithoutCancel(ctx), sit.id, e.now()); err != nil {
			e.warn("the end of the drill was not written down: %v", message(err))
		}
	}()

	switch {
	case f.json:
		sit.sound.silent = !f.play && f.out == ""
		return sit.run(ctx, newJSONInput(e.stdin), &jsonFace{out: e.stdout, sit: sit})
	case !f.plain && isTerminal(e.stdin) && isTerminal(e.stdout):
		t := newTerminal(e.stdin.(*os.File))
		if err := t.raw(); err == nil {
			// Also on a panic: deferred calls run before the program goes down.
			defer t.cooked()
			// While the terminal is raw, a line needs its carriage return, whoever writes it.
			outer := *e
			defer func() { *e = outer }()
			e.stdout = &rawWriter{e.stdout, t}
			if isTerminal(e.stderr) {
				e.stderr = &rawWriter{e.stderr, t}
			}
			return sit.run(ctx, newKeyInput(e.stdin, t, e.stdout), &textFace{out: e.stdout, sit: sit, keys: true})
		}
	}
	return sit.run(ctx, newLineInput(e.stdin), &textFace{out: e.stdout, sit: sit})
}

// An action is what a learner asks for.
type action int

const (
	doAnswer action = iota
	doPlay
	doLow
	doHigh
	doSlow
	doCompare
	doGiveUp
	doHelp
	doQuit
	doGoOn
	doWhy
)

// A command is one thing said by the learner.
type command struct {
	do   action
	text string // of an answer
	id   string // the question meant, "" for the one just asked
}

// badInput is something said that can't be made out; it is asked again.
type badInput struct{ msg string }

func (b *badInput) Error() string { return b.msg }

// An input reads commands. It returns io.EOF at the end, ctx.Err() if ctx ends first, context.Canceled for Ctrl-C, and a
// *badInput for what it can't make out.
type input interface {
	next(ctx context.Context) (command, error)
}

// A face shows what happens.
type face interface {
	begin() error
	question(q drills.Question, sound string) error
	sounded(q drills.Question, what, sound string) error // a sound asked for; sound is its file, "" if it was played
	refused(q drills.Question, err error) error          // what was said isn't understood
	answered(q drills.Question, g drills.Graded, x drills.Explanation) error
	help(q drills.Question) error
	end(interrupted bool) error
	reason(text string) error
	waits() bool // whether to wait for a word before going on after a wrong answer
}

// sitting is one run of a drill.
type sitting struct {
	e      *env
	d      *drills.Drill
	store  *progress.Store
	id     progress.SessionID
	mode   progress.Mode
	count  int
	db     string // the flag
	source string // the passage asked about, and where
	sound  *drillSound

	plan    *plannedDrill  // nil: questions by number alone
	again   []keptQuestion // those of an earlier sitting, to be asked again
	why     bool           // say after each answer why it was asked
	learner string
	deck    *deckSitting    // nil: no deck
	search  *drills.Search  // for the smallest difference heard; nil: none
	how     planner.Setting // of the question asked last
	kept    keptQuestion
	lastWhy string // why the last answered question was asked

	asked, right int
	last         *answeredQuestion // for comparing
}

type answeredQuestion struct {
	q drills.Question
	g drills.Graded
	x drills.Explanation
}

// errQuit ends a drill before its last question.
var errQuit = errors.New("quit")

// run asks the questions and ends the drill properly whatever happens.
func (s *sitting) run(ctx context.Context, in input, f face) error {
	if err := f.begin(); err != nil {
		return err
	}
	var err error
	for n := 1; n <= s.count && err == nil; n++ {
		var q drills.Question
		if q, err = s.question(n); err == nil {
			err = s.ask(ctx, in, f, q)
		}
	}
	s.sound.stop()
	if errors.Is(err, errQuit) || errors.Is(err, io.EOF) {
		err = nil
	}
	if err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	return errors.Join(f.end(err != nil), err)
}

// question returns question n: by the planner, of an earlier sitting, or by its number.
func (s *sitting) question(n int) (q drills.Question, err error) {
	s.how = planner.Setting{}
	switch {
	case s.plan != nil:
		if q, s.kept, err = s.plan.question(n); err != nil {
			return q, err
		}
		s.how = s.plan.step.Setting
	case s.again != nil:
		s.kept = s.again[n-1]
		if q, s.how, err = s.kept.question(n); err != nil {
			return q, err
		}
	case s.search != nil:
		q = s.search.Question(n)
		s.kept = kept(s.search.Settings(n), n, planner.Setting{})
	default:
		q = s.d.Question(n)
		s.kept = kept(s.d.Settings(), n, planner.Setting{})
	}
	s.sound.sounding(s.how)
	return q, nil
}

// keep returns the question asked last as it is kept; nil for one about a passage, which the settings alone don't give.
func (s *sitting) keep() *keptQuestion {
	if s.source != "" {
		return nil
	}
	return &s.kept
}

// ask puts one question and sees it answered, recorded and explained.
func (s *sitting) ask(ctx context.Context, in input, f face, q drills.Question) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	path, err := "", error(nil)
	if s.mode == progress.Ear {
		if path, err = s.sound.make(ctx, q.Number, "", questionNotes(q)); err != nil {
			return err
		}
		if q.Number < s.count && s.plan == nil && s.again == nil && s.search == nil { // else the next one isn't known yet, or may sound otherwise
			next := s.d.Question(q.Number + 1)
			s.sound.ahead(next.Number, questionNotes(next))
		}
	}
	asked := s.e.now()
	if err := f.question(q, path); err != nil {
		return err
	}
	replays := 0
	for {
		c, err := in.next(ctx)
		var bad *badInput
		if errors.As(err, &bad) {
			if err := f.refused(q, err); err != nil {
				return err
			}
			continue
		}
		if err != nil {
			return err
		}
		var g drills.Graded
		switch c.do {
		case doQuit:
			return errQuit
		case doHelp:
			if err := f.help(q); err != nil {
				return err
			}
			continue
		case doGoOn:
			continue
		case doPlay, doLow, doHigh, doSlow:
			replays++
			if err := s.replay(ctx, f, q, c.do); err != nil {
				return err
			}
			continue
		case doCompare:
			if err := s.compare(ctx, f); err != nil {
				return err
			}
			continue
		case doWhy:
			err := f.refused(q, &badInput{"why it is asked is told after the answer: it might give it away"})
			if s.lastWhy != "" {
				err = f.reason(strings.Replace(s.lastWhy, "Why this one", "Why the one before", 1))
			}
			if err != nil {
				return err
			}
			continue
		case doGiveUp:
			g = drills.GiveUp(q)
		case doAnswer:
			if c.id != "" && c.id != q.ID {
				err = &badInput{fmt.Sprintf("the answer is to question %q; asked is %q", c.id, q.ID)}
			} else {
				var text string
				if text, err = writtenAnswer(q, c.text); err == nil {
					g, err = drills.Grade(q, text)
				}
			}
			if err != nil {
				if err := f.refused(q, err); err != nil {
					return err
				}
				continue
			}
		}
		s.sound.stop()
		if err := s.record(ctx, q, g, c.text, asked, replays); err != nil {
			return err
		}
		s.last = &answeredQuestion{q, g, drills.Explain(q, g)}
		if s.plan != nil {
			s.plan.p.Learn(s.plan.step, q.Expected, g.Given, g.Right, s.e.now())
			s.lastWhy = s.plan.why()
		}
		if err := f.answered(q, g, s.last.x); err != nil {
			return err
		}
		if g.Right || !f.waits() {
			return nil
		}
		return s.dwell(ctx, in, f, q)
	}
}

// dwell stays with a question after a wrong answer until the learner goes on.
func (s *sitting) dwell(ctx context.Context, in input, f face, q drills.Question) error {
	for {
		c, err := in.next(ctx)
		var bad *badInput
		switch {
		case errors.As(err, &bad):
			err = f.refused(q, err)
		case err != nil:
		case c.do == doGoOn:
			s.sound.stop()
			return nil
		case c.do == doQuit:
			return errQuit
		case c.do == doCompare:
			err = s.compare(ctx, f)
		case c.do == doWhy && s.plan != nil:
			err = f.reason(s.plan.why())
		case c.do == doWhy:
			err = f.refused(q, &badInput{"this question was drawn at random; without --random and --seed they go by your record"})
		case c.do == doPlay || c.do == doLow || c.do == doHigh || c.do == doSlow:
			err = s.replay(ctx, f, q, c.do)
		case c.do == doAnswer:
			err = f.refused(q, &badInput{"this one is answered; Enter goes on, c compares by ear"})
		default:
			err = f.help(q)
		}
		if err != nil {
			return err
		}
	}
}

// replay plays a question again, or a part of it.
func (s *sitting) replay(ctx context.Context, f face, q drills.Question, do action) error {
	notes, tempo := q.Sound()
	what := ""
	hand := func(h score.Hand) {
		notes = slices.DeleteFunc(notes, func(n drills.Note) bool { return n.Hand != h })
	}
	switch do {
	case doLow:
		hand(score.Left)
		what = "low"
	case doHigh:
		hand(score.Right)
		what = "high"
	case doSlow:
		what = "slow"
	}
	if len(notes) == 0 {
		return f.refused(q, &badInput{"that hand has no notes here"})
	}
	play := drillNotes(notes, tempo)
	if do == doSlow {
		if play = drillNotes(notes, tempo/2); len(q.Music) == 0 {
			play = handNotes(q.Left, q.Right, slowApart)
		}
	}
	path, err := s.sound.make(ctx, q.Number, what, play)
	if err != nil {
		return err
	}
	return f.sounded(q, what, path)
}

// compare plays what was asked last, then what was said instead.
func (s *sitting) compare(ctx context.Context, f face) error {
	if s.last == nil {
		return f.refused(drills.Question{}, &badInput{"there is nothing to compare yet: answer first"})
	}
	q, x := s.last.q, s.last.x
	if len(x.Said) == 0 {
		return f.refused(q, &badInput{"there is nothing to compare: no other chord was named"})
	}
	path, err := s.sound.compare(ctx, q.Number, drillNotes(x.Was, x.Tempo), drillNotes(x.Said, x.Tempo), drillNotes(x.Difference, x.Tempo))
	if err != nil {
		return err
	}
	return f.sounded(q, "compare", path)
}

// record puts an answer on disk; nothing is acknowledged before it returns.
func (s *sitting) record(ctx context.Context, q drills.Question, g drills.Graded, typed string, asked time.Time, replays int) error {
	var notes []string
	for _, p := range q.Notes() {
		notes = append(notes, p.String())
	}
	// Written answers are counted by what was to be written: a triad, a melody of four notes.
	expected, given, full, partial := q.Expected, g.Given, "", 0.0
	if q.Skill != "" {
		expected, full = q.Skill, q.Expected
		if given != "" {
			if given = "something else"; g.Right {
				given = expected
			}
		}
	}
	if !g.Right {
		partial = g.Credit
	}
	detail, err := json.Marshal(struct {
		Notes   []string      `json:"notes"`
		Choices []string      `json:"choices"`
		Said    string        `json:"said,omitempty"`
		How     drills.How    `json:"how,omitempty"`
		From    string        `json:"from,omitempty"`
		Ask     *keptQuestion `json:"ask,omitempty"`
		Credit  float64       `json:"credit,omitempty"` // of a wrong answer
		Full    string        `json:"full,omitempty"`   // what was right in full, where answers are written
		Given   string        `json:"given,omitempty"`  // and what was said
	}{notes, q.Choices, typed, g.How, q.From, s.keep(), partial, full, g.Given})
	if err != nil {
		return err
	}
	now := s.e.now()
	err = s.store.Record(ctx, progress.Answer{
		ID: progress.NewID(now), Session: s.id, Number: q.Number, Question: q.ID, Kind: string(q.Kind), Mode: s.mode,
		Expected: expected, Given: given, Correct: g.Right, Took: max(now.Sub(asked), 0), Replays: replays,
		Asked: asked, Answered: now, Detail: detail, Condition: condition(q, s.how),
	})
	if err != nil {
		return fmt.Errorf("this answer was not saved: %w", err)
	}
	s.asked++
	if g.Right {
		s.right++
	}
	if s.search != nil {
		s.search.Answer(q.Number, g.Right)
	}
	return nil
}

// result says in a line how it went.
func (s *sitting) result() string {
	if s.asked == 0 {
		return "Nothing answered."
	}
	return fmt.Sprintf("%d of %d right (%.0f %%).", s.right, s.asked, math.Round(100*float64(s.right)/float64(s.asked)))
}
