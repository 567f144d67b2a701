package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"plumbline/drills/ear"
	"plumbline/progress"
	"plumbline/theory/claim"
	"plumbline/theory/score"
)

// claimFlags are the flags of drill that are for claims.
type claimFlags struct {
	file     string
	yesNo    bool
	arguable bool
	again    bool
}

// addClaimsDrill makes the drill command ask about claims if --claims is given.
func addClaimsDrill(e *env, cmd *cobra.Command, f *drillFlags) {
	var c claimFlags
	fl := cmd.Flags()
	fl.StringVar(&c.file, "claims", "", "ask whether the claims of this file are heard in PASSAGE")
	fl.BoolVar(&c.yesNo, "yes-no", false, "with --claims: play one, and ask whether it has it")
	fl.BoolVar(&c.arguable, "arguable", false, "with --claims: ask about arguable claims too")
	fl.BoolVar(&c.again, "again", false, "with --claims: ask about claims that were heard already")
	cmd.Use = "drill [--claims FILE PASSAGE]"
	cmd.Long += `
Claims by ear: with --claims FILE PASSAGE each claim that holds is asked about.
Twice the place sounds: as it is, and with a small change that makes just this
claim false. Which of the two has it? Length, number of notes, dynamics and
loudness are the same, and both are moved to another pitch each time; notes that
the claim names, or its key, sound first. The answers of a claim are weighed
until they decide: heard, not heard, or undecided after 30. Who guesses is right
half of the time and is called "heard" at most 5 times in 100, however often the
claim is taken again. Answers are kept; a try that was broken off goes on the
next time. A claim whose twin would be unfair is left out, and it says why.
`
	cmd.Example += "\n  plumbline drill --claims talk.claims song.mxl"
	plainArgs, plainRun := cmd.Args, cmd.RunE
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if c.file == "" {
			if len(args) == 1 && (c.yesNo || c.arguable || c.again) {
				return &usageError{cmd.CommandPath(), errors.New("--claims FILE is missing")}
			}
			return plainArgs(cmd, args)
		}
		return needArgs("PASSAGE")(cmd, args)
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		usage := func(format string, a ...any) error { return &usageError{cmd.CommandPath(), fmt.Errorf(format, a...)} }
		set := cmd.Flags().Changed
		if c.file == "" {
			if set("yes-no") || set("arguable") || set("again") {
				return usage("--yes-no, --arguable and --again need --claims FILE")
			}
			return plainRun(cmd, args)
		}
		other := ""
		cmd.Flags().Visit(func(f *pflag.Flag) {
			if !slices.Contains([]string{"claims", "yes-no", "arguable", "again", "part", "count", "seed", "json", "play", "db", "no-sound", "out", "plain", "learner"}, f.Name) {
				other = f.Name
			}
		})
		switch {
		case other != "":
			return usage("--%s doesn't go with --claims", other)
		case c.file == "-" || args[0] == "-":
			return usage("stdin is for the answers; name files")
		case f.count < 1 || f.count > maxCount:
			return usage("--count %d: want 1 to %d questions", f.count, maxCount)
		case f.play && !f.json:
			return usage("--play goes with --json; without it questions are played anyway")
		case f.play && (f.noSound || f.out != ""):
			return usage("--play excludes --no-sound and --out")
		}
		if !set("count") {
			f.count = maxCount // until all are decided
		}
		if !set("seed") {
			f.seed = uint64(e.now().UnixNano()/int64(time.Microsecond)) % 1_000_000
		}
		return e.drillClaims(cmd.Context(), *f, c, args[0])
	}
}

// drillClaims asks about the claims of a file.
func (e *env) drillClaims(ctx context.Context, f drillFlags, c claimFlags, path string) error {
	p, _, err := e.load(path, passageFlags{part: f.pf.part})
	if errors.Is(err, errPartsListed) {
		return nil
	}
	if err != nil {
		return err
	}
	data, err := os.ReadFile(c.file)
	if err != nil {
		return fmt.Errorf("can't read the claims: %w", err)
	}
	results, bad, err := checkClaims(p, c.file, bytes.NewReader(data))
	if err != nil {
		return err
	}
	for _, b := range bad {
		e.fail(b)
	}
	if len(results) == 0 {
		if len(bad) > 0 {
			return errTold
		}
		return &hintError{fmt.Errorf("%s has no claims", c.file), "\"plumbline help claims\" lists what a claims file may say"}
	}
	if f.out != "" {
		if err := os.MkdirAll(f.out, 0o777); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
	}
	db, err := e.database(f.db)
	if err != nil {
		return err
	}
	store, err := progress.Open(ctx, db)
	if err != nil {
		return &hintError{err, "--db FILE keeps the answers in another file"}
	}
	defer store.Close()
	if store, err = e.learnerOf(ctx, store, f.learner, true); err != nil {
		return err
	}

	s := &claimSitting{e: e, p: p, results: results, store: store, flags: f, claims: c, path: path}
	for _, r := range results {
		s.all = append(s.all, r.Claim)
	}
	if c.yesNo {
		s.task = ear.YesOrNo
	}
	s.sound = &drillSound{e: e, dir: f.out, files: f.out != "" || f.noSound, named: f.out != ""}
	defer s.sound.close()

	switch {
	case f.json:
		s.sound.silent = !f.play && f.out == ""
		err = s.run(ctx, newJSONInput(e.stdin), &jsonClaimFace{&jsonFace{out: e.stdout}, s})
	case isTerminal(e.stdin) && isTerminal(e.stdout) && !f.plain:
		t := newTerminal(e.stdin.(*os.File))
		if terr := t.raw(); terr == nil {
			defer t.cooked() // also on a panic
			outer := *e
			defer func() { *e = outer }()
			e.stdout = &rawWriter{e.stdout, t}
			if isTerminal(e.stderr) {
				e.stderr = &rawWriter{e.stderr, t}
			}
			err = s.run(ctx, newKeyInput(e.stdin, t, e.stdout), &textClaimFace{&textFace{out: e.stdout, keys: true}, s})
			break
		}
		fallthrough
	default:
		err = s.run(ctx, newLineInput(e.stdin), &textClaimFace{&textFace{out: e.stdout}, s})
	}
	if err == nil && len(bad) > 0 {
		return errTold
	}
	return err
}

// A claimFace shows what happens when claims are asked about.
type claimFace interface {
	begin() error
	leftOut(n int, c claim.Claim, why string) error
	claim(n int, c *asking) error
	trial(c *asking, t ear.Trial, sound string) error
	sounded(t ear.Trial, what, sound string) error
	refused(t ear.Trial, err error) error
	answered(c *asking, t ear.Trial, given string, right bool) error
	decided(c *asking) error
	help(t ear.Trial) error
	end(interrupted bool) error
	waits() bool
}

// An asking is a claim that is being asked about.
type asking struct {
	subject *ear.Subject
	id      progress.ClaimID
	state   ear.State
	try     progress.TryID // "" until its first answer
	seed    uint64         // of the try
	resumed bool           // the try was begun earlier
}

// claim returns the claim asked about.
func (a *asking) claim() claim.Claim { return a.subject.Claim }

// claimSitting is one run of a drill about claims.
type claimSitting struct {
	e       *env
	p       *score.Passage
	path    string
	results []claim.Result
	all     []claim.Claim
	store   *progress.Store
	flags   drillFlags
	claims  claimFlags
	task    ear.Task
	sound   *drillSound
	next    *nextTrial // nil if none is under way

	lastID       string // of the question that is open, or was answered last
	asked, right int
	tally        [4]int // by ear.Verdict, of the claims decided here
}

// run asks about one claim after the other.
func (s *claimSitting) run(ctx context.Context, in input, f claimFace) error {
	if err := f.begin(); err != nil {
		return err
	}
	var err error
	for n, r := range s.results {
		if err = s.one(ctx, in, f, n+1, r); err != nil {
			break
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

// one asks about a claim until it is decided.
func (s *claimSitting) one(ctx context.Context, in input, f claimFace, n int, r claim.Result) error {
	switch {
	case r.Verdict == claim.Fails:
		return f.leftOut(n, r.Claim, "the notes don't bear it out: "+r.Because)
	case r.Verdict == claim.Arguable && !s.claims.arguable:
		return f.leftOut(n, r.Claim, "it is arguable; --arguable asks about it all the same")
	}
	a, why, err := s.prepare(ctx, r.Claim)
	if err != nil {
		return err
	}
	if why != "" {
		return f.leftOut(n, r.Claim, why)
	}
	if s.asked >= s.flags.count {
		return errQuit
	}
	if err := f.claim(n, a); err != nil {
		return err
	}
	for a.state.Last == ear.Open {
		if s.asked >= s.flags.count {
			return errQuit
		}
		if err := s.ask(ctx, in, f, a); err != nil {
			return err
		}
	}
	s.tally[a.state.Last]++
	return f.decided(a)
}

// prepare finds out what is known of a claim, and makes its twins; why is not "" if it isn't to be asked.
func (s *claimSitting) prepare(ctx context.Context, c claim.Claim) (a *asking, why string, err error) {
	key, err := ear.Key(s.p, c)
	if err != nil {
		return nil, message(err), nil
	}
	known, err := s.store.EarClaims(ctx, key)
	if err != nil {
		return nil, "", err
	}
	a = &asking{seed: s.flags.seed}
	if len(known) > 0 {
		tries := known[0].Tries
		a.state = earState(tries)
		if at := heardOn(tries); a.state.EverHeard && !s.claims.again {
			return nil, fmt.Sprintf("heard already, on %s; --again asks about it again", at.Local().Format(time.DateOnly)), nil
		}
		if last := tries[len(tries)-1]; last.Verdict == "" {
			a.try, a.resumed = last.ID, true
		}
	}
	a.subject, err = ear.Find(s.p, c, s.all)
	var no *ear.NoTwinError
	if errors.As(err, &no) {
		return nil, no.Why, nil
	}
	if err == nil {
		err = balance(a.subject)
	}
	if err != nil {
		return nil, "", err
	}
	if a.state.Try == 0 || a.state.Last != ear.Open {
		a.state = a.state.Begin()
	}
	title := s.p.Title
	if title == "" {
		title = filepath.Base(s.path)
	}
	a.id = progress.ClaimID{Key: key, Passage: title, Place: c.PlaceText, Statement: c.Statement, Form: c.Form().ID}
	return a, "", nil
}

// earState returns what tries of a claim have shown.
func earState(tries []progress.EarTry) ear.State {
	var counts []ear.Count
	for _, t := range tries {
		v, _ := ear.ParseVerdict(t.Verdict)
		counts = append(counts, ear.Count{Right: t.Right, Wrong: t.Wrong, Verdict: v})
	}
	return ear.Replay(counts)
}

// heardOn returns when a claim was first heard, zero if never.
func heardOn(tries []progress.EarTry) time.Time {
	for _, t := range tries {
		if t.Verdict == ear.Heard.String() {
			return t.Decided
		}
	}
	return time.Time{}
}

// trial returns the question to be asked next. Its number in the try and the try are mixed, so that no two tries ask the same.
func (s *claimSitting) trial(a *asking, ahead int) ear.Trial {
	t := a.subject.Trial(a.seed, a.state.Try*1000+a.state.Right+a.state.Wrong+1+ahead, s.task)
	t.Number = s.asked + 1 + ahead
	return t
}

// ask puts one question and sees it answered and recorded.
func (s *claimSitting) ask(ctx context.Context, in input, f claimFace, a *asking) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	t := s.trial(a, 0)
	s.lastID = s.trialID(a, t)
	sound, err := s.play(ctx, a, t)
	if err != nil {
		return err
	}
	if a.state.Right+a.state.Wrong+1 < ear.Wald.Most {
		s.ahead(a, s.trial(a, 1))
	}
	asked := s.e.now()
	if err := f.trial(a, t, sound); err != nil {
		return err
	}
	replays := 0
	for {
		c, err := in.next(ctx)
		var bad *badInput
		given, right := "", false
		switch {
		case errors.As(err, &bad):
		case err != nil:
			return err
		case c.do == doQuit:
			return errQuit
		case c.do == doGoOn:
			continue
		case c.do == doHelp:
			if err := f.help(t); err != nil {
				return err
			}
			continue
		case c.do == doPlay:
			replays++
			sound, err := s.replay(ctx, a, t, "")
			if err == nil {
				err = f.sounded(t, "", sound)
			}
			if err != nil {
				return err
			}
			continue
		case c.do == doGiveUp:
		case c.do == doAnswer:
			if c.id != "" && c.id != s.lastID {
				bad = &badInput{fmt.Sprintf("the answer is to question %q; asked is %q", c.id, s.lastID)}
			} else if given = readChoice(t, c.text); given == "" {
				bad = &badInput{fmt.Sprintf("%q is no answer here; want 1 (%s) or 2 (%s)", c.text, t.Task.Choices()[0], t.Task.Choices()[1])}
			}
			right = given == t.Expected
		default:
			bad = &badInput{"here only play plays again; answer 1 or 2"}
		}
		if bad != nil {
			if err := f.refused(t, bad); err != nil {
				return err
			}
			continue
		}
		s.sound.stop()
		if err := s.record(ctx, a, t, given, right, c.text, asked, replays); err != nil {
			return err
		}
		if err := f.answered(a, t, given, right); err != nil {
			return err
		}
		if right || !f.waits() {
			return nil
		}
		return s.dwell(ctx, in, f, a, t)
	}
}

// dwell stays after a wrong answer until the learner goes on.
func (s *claimSitting) dwell(ctx context.Context, in input, f claimFace, a *asking, t ear.Trial) error {
	for {
		c, err := in.next(ctx)
		var bad *badInput
		switch {
		case errors.As(err, &bad):
			err = f.refused(t, bad)
		case err != nil:
		case c.do == doGoOn:
			s.sound.stop()
			return nil
		case c.do == doQuit:
			return errQuit
		case c.do == doPlay || c.do == doCompare:
			what := ""
			if c.do == doCompare {
				what = "compare"
			}
			var sound string
			if sound, err = s.replay(ctx, a, t, what); err == nil {
				err = f.sounded(t, what, sound)
			}
		default:
			err = f.refused(t, &badInput{"this one is answered; Enter goes on, c compares by ear"})
		}
		if err != nil {
			return err
		}
	}
}

// readChoice reads an answer: a number, a choice, or its first letter; "" if it is none.
func readChoice(t ear.Trial, text string) string {
	words := strings.Fields(strings.ToLower(strings.TrimRight(text, ".!")))
	if len(words) > 1 && words[0] == "the" {
		words = words[1:]
	}
	if len(words) == 2 && words[1] == "one" {
		words = words[:1]
	}
	if len(words) != 1 {
		return ""
	}
	for i, c := range t.Task.Choices() {
		if words[0] == c || words[0] == c[:1] || words[0] == fmt.Sprint(i+1) || i == 0 && words[0] == "1st" || i == 1 && words[0] == "2nd" {
			return c
		}
	}
	return ""
}

// trialID names a question: the same for the same question asked again.
func (s *claimSitting) trialID(a *asking, t ear.Trial) string {
	return fmt.Sprintf("claim-%s-%d-%d-%d", a.id.Key[:8], a.seed, a.state.Try, a.state.Right+a.state.Wrong+1)
}

// record puts an answer on disk, with the verdict it brings; nothing is acknowledged before it returns.
func (s *claimSitting) record(ctx context.Context, a *asking, t ear.Trial, given string, right bool, typed string, asked time.Time, replays int) error {
	detail, err := json.Marshal(struct {
		Question  string `json:"question"`
		Twin      string `json:"twin"`
		Transpose int    `json:"transpose"`
		Said      string `json:"said,omitempty"`
	}{s.lastID, t.Twin.Change, t.Transpose, typed})
	if err != nil {
		return err
	}
	now := s.e.now()
	if a.try == "" {
		// Not stopped by Ctrl-C: whoever has answered has answered.
		if a.try, err = s.store.BeginTry(context.WithoutCancel(ctx), a.id, a.seed, now); err != nil {
			return fmt.Errorf("this answer was not saved: %w", err)
		}
	}
	next := a.state.Answer(right)
	err = s.store.RecordEar(ctx, progress.EarAnswer{
		ID: progress.NewID(now), Try: a.try, Number: a.state.Right + a.state.Wrong + 1, Task: t.Task.String(), Expected: t.Expected, Given: given,
		Correct: right, Took: max(now.Sub(asked), 0), Replays: replays, Asked: asked, Answered: now, Detail: detail, Verdict: next.Last.String(),
	})
	if err != nil {
		return fmt.Errorf("this answer was not saved: %w", err)
	}
	a.state = next
	s.asked++
	if right {
		s.right++
	}
	return nil
}
