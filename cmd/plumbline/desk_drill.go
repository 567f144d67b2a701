package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"plumbline/drills"
	"plumbline/progress"
	"plumbline/synth"
	"plumbline/theory/engrave"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// deskOpenSittings is how many drills may be under way at once, in as many tabs.
const deskOpenSittings = 32

// deskSittings are the drills of a desk and the record they write into, which is opened when it is first needed.
type deskSittings struct {
	mu      sync.Mutex
	store   *progress.Store
	list    []*deskSitting // the latest last
	askings []*deskAsking  // likewise
}

// A deskSitting is one drill on the page. Its question is taken up where it was left, so a page may be loaded again.
type deskSitting struct {
	mu      sync.Mutex
	id      string
	s       *sitting
	n       int             // of the question that is open, from 1
	q       drills.Question // the open one, once it has been asked for
	asked   time.Time
	replays int
	ended   bool // and written down as such
}

// question returns the open question. It is made once: by the record, what comes next depends on what was answered.
func (s *deskSitting) question() (drills.Question, error) {
	if s.q.Number != s.n {
		q, err := s.s.question(s.n)
		if err != nil {
			return q, err
		}
		s.q = q
	}
	return s.q, nil
}

// result says how it went, and what follows.
func (s *deskSitting) result() string {
	text := s.s.result()
	if s.s.deck != nil {
		text += " " + s.s.deck.next(s.s.asked, s.s.right)
	}
	return strings.TrimSpace(strings.Join(append([]string{text}, heardLines(s.s.search)...), " "))
}

// record opens the database, once.
func (d *desk) record(ctx context.Context) (*progress.Store, error) {
	d.sittings.mu.Lock()
	defer d.sittings.mu.Unlock()
	if d.sittings.store != nil {
		return d.sittings.store, nil
	}
	path, err := d.e.database(d.db)
	if err != nil {
		return nil, err
	}
	store, err := progress.Open(context.WithoutCancel(ctx), path)
	if err != nil {
		return nil, &hintError{err, "plumbline desk --db FILE keeps the answers in another file"}
	}
	d.sittings.store = store
	return store, nil
}

// recordAs opens the record of a learner, of the nameless one if there is no name. One who is new is written down if add is set.
func (d *desk) recordAs(ctx context.Context, learner string, add bool) (*progress.Store, error) {
	store, err := d.record(ctx)
	if err != nil || strings.TrimSpace(learner) == "" {
		return store, err
	}
	view, err := store.As(ctx, learner, false)
	if errors.Is(err, progress.ErrNoLearner) && add {
		return store.As(ctx, learner, true)
	}
	return view, err
}

// recordIfThere is recordAs for looking, which makes no file and no learner: nil if nothing has been kept.
func (d *desk) recordIfThere(ctx context.Context, learner string) (*progress.Store, error) {
	d.sittings.mu.Lock()
	open := d.sittings.store != nil
	d.sittings.mu.Unlock()
	if !open {
		path, err := d.e.database(d.db)
		if err != nil {
			return nil, nil // nobody has kept anything
		}
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			return nil, nil
		}
	}
	store, err := d.recordAs(ctx, learner, false)
	if errors.Is(err, progress.ErrNoLearner) {
		return nil, nil
	}
	return store, err
}

// close ends the drills and closes the record.
func (d *desk) close() {
	d.sittings.mu.Lock()
	defer d.sittings.mu.Unlock()
	if d.sittings.store == nil {
		return
	}
	for _, s := range d.sittings.list {
		d.end(s)
	}
	if err := d.sittings.store.Close(); err != nil {
		d.e.warn("the record was not closed properly: %v", message(err))
	}
	d.sittings.store = nil
}

func (d *desk) end(s *deskSitting) {
	if s.ended {
		return
	}
	s.ended = true
	if err := s.s.store.End(context.Background(), s.s.id, d.e.now()); err != nil {
		d.e.warn("the end of a drill was not written down: %v", message(err))
	}
}

func (d *desk) drillRoutes(mux *http.ServeMux) {
	mux.HandleFunc("POST /api/drill", d.handleDrill)
	mux.HandleFunc("GET /api/drill/{id}", d.sat(d.handleQuestion))
	mux.HandleFunc("GET /api/drill/{id}/sound", d.sat(d.handleDrillSound))
	mux.HandleFunc("POST /api/drill/{id}/answer", d.sat(d.handleAnswer))
	mux.HandleFunc("POST /api/keys", d.handleKeys)
	mux.HandleFunc("POST /api/notes", d.handleNotes)
	mux.HandleFunc("GET /api/progress", d.handleProgress)
	mux.HandleFunc("GET /api/progress/picture", d.handleProgressPicture)
	mux.HandleFunc("GET /api/learners", d.handleLearners)
	d.earRoutes(mux)
}

// sat finds the drill of a request and keeps others out of it meanwhile.
func (d *desk) sat(h func(http.ResponseWriter, *http.Request, *deskSitting)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		d.sittings.mu.Lock()
		i := slices.IndexFunc(d.sittings.list, func(s *deskSitting) bool { return s.id == r.PathValue("id") })
		var s *deskSitting
		if i >= 0 {
			s = d.sittings.list[i]
		}
		d.sittings.mu.Unlock()
		if s == nil {
			deskError(w, http.StatusNotFound, errors.New("that drill is over; its answers are in the record"))
			return
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		h(w, r, s)
	}
}

type deskDrillAsk struct {
	Kind        string `json:"kind"`
	Level       int    `json:"level"`
	Count       int    `json:"count"`
	Sight       bool   `json:"sight"`
	Inversions  bool   `json:"inversions"`
	Passage     string `json:"passage"` // the id of an open passage, "" for a drill of its own
	At          string `json:"at"`
	NoTranspose bool   `json:"no_transpose"`
	Seed        uint64 `json:"seed"`    // 0 takes one from the clock
	Planned     bool   `json:"planned"` // the record says what is asked, of the kind if one is named
	Deck        string `json:"deck"`    // a ready-made one
	Step        int    `json:"step"`    // of the deck, from 1; 0 takes the first that isn't passed
	Learner     string `json:"learner"`
}

// handleDrill begins a drill.
func (d *desk) handleDrill(w http.ResponseWriter, r *http.Request) {
	var ask deskDrillAsk
	if !readJSON(w, r, &ask) {
		return
	}
	fail := func(err error) { deskError(w, http.StatusUnprocessableEntity, err) }
	const most = 200
	if ask.Count < 0 || ask.Count > most {
		fail(fmt.Errorf("%d questions; want 1 to %d", ask.Count, most))
		return
	}
	if ask.Seed == 0 {
		ask.Seed = uint64(d.e.now().UnixNano()/int64(time.Microsecond)) % 1_000_000
	}
	s := &sitting{e: d.e, count: ask.Count, db: d.db, learner: ask.Learner, sound: &drillSound{e: d.e, silent: true}}
	var err error
	// What can't be asked is refused before anything is written down.
	if ask.Deck == "" && !ask.Planned {
		if s.d, s.source, err = d.plainDrill(ask); err != nil {
			fail(err)
			return
		}
	}
	if _, ok := drills.ReadyDeck(ask.Deck); ask.Deck != "" && !ok { // a file is not looked for
		fail(fmt.Errorf("%q is no ready-made deck", ask.Deck))
		return
	}
	if s.store, err = d.recordAs(r.Context(), ask.Learner, true); err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	switch {
	case ask.Deck != "":
		if s.deck, err = d.e.deckStep(r.Context(), s.store, ask.Deck, ask.Step); err == nil {
			s.d, err = d.e.deckDrill(s.deck, ask.Seed)
		}
		if err != nil {
			fail(err)
			return
		}
		s.source = s.deck.source()
		if s.count == 0 {
			s.count = s.deck.questions()
		}
	case ask.Planned:
		f := drillFlags{kind: ask.Kind, sight: ask.Sight, seed: ask.Seed, inversions: ask.Inversions}
		if s.plan, err = d.e.planned(r.Context(), s.store, f, false, ask.Kind != ""); err != nil {
			fail(err)
			return
		}
		if ask.Kind == "" {
			ask.Kind = string(drills.Quality)
		}
		ask.Level = 1
		if s.d, s.source, err = d.plainDrill(ask); err != nil { // what is asked while there is no record to go by
			fail(err)
			return
		}
	case ask.Kind == string(drills.Same):
		if s.search, err = drills.NewSearch(s.d.Settings()); err != nil {
			fail(err)
			return
		}
	}
	if s.count == 0 {
		s.count = 10
	}
	set := s.d.Settings()
	s.mode = progress.Ear
	if set.Sight {
		s.mode = progress.Sight
	}
	settings, err := json.Marshal(set)
	if err != nil {
		fail(err)
		return
	}
	s.id, err = s.store.Begin(r.Context(), progress.SessionInfo{Kind: string(set.Kind), Mode: s.mode, Seed: ask.Seed, Source: s.source, Settings: settings, Started: d.e.now()})
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	ds := &deskSitting{id: newSecret()[:16], s: s, n: 1}
	d.sittings.mu.Lock()
	d.sittings.list = append(d.sittings.list, ds)
	var old *deskSitting
	if len(d.sittings.list) > deskOpenSittings {
		old = d.sittings.list[0]
		d.sittings.list = d.sittings.list[1:]
	}
	d.sittings.mu.Unlock()
	if old != nil {
		old.mu.Lock() // it may be answering
		d.end(old)
		old.mu.Unlock()
	}
	out := map[string]any{"id": ds.id, "count": s.count, "seed": ask.Seed}
	if s.deck != nil {
		out["step"] = s.source
	}
	deskReply(w, out)
}

// plainDrill makes a drill that looks at no record, and says what passage it is about.
func (d *desk) plainDrill(ask deskDrillAsk) (*drills.Drill, string, error) {
	set := drills.Settings{Kind: drills.Kind(ask.Kind), Seed: ask.Seed, Level: ask.Level, Sight: ask.Sight, Inversions: ask.Inversions, NoTranspose: ask.NoTranspose}
	if ask.Passage == "" {
		out, err := drills.New(set)
		return out, "", err
	}
	q := d.passage(ask.Passage)
	if q == nil {
		return nil, "", errors.New("that passage is no longer open here; open it again")
	}
	region, err := q.place(ask.At)
	if err != nil {
		return nil, "", err
	}
	set.Level, set.Inversions, set.Foils = 0, false, drillFoils
	out, err := drills.FromPassage(q.p, region, set)
	return out, strings.TrimSpace(q.name + " " + ask.At), err
}

type deskQuestionJSON struct {
	Number  int      `json:"number"`
	Count   int      `json:"count"`
	Right   int      `json:"right"`
	Asked   int      `json:"asked"`
	ID      string   `json:"id"`
	Kind    string   `json:"kind"`
	Heading string   `json:"heading"` // which step, which claim
	Sight   bool     `json:"sight"`
	Prompt  string   `json:"prompt"`
	Shown   string   `json:"shown"`
	SVG     string   `json:"svg"` // of what is shown, "" by ear
	Choices []string `json:"choices"`
	Row     bool     `json:"row"` // its notes come one after the other
	Over    bool     `json:"over"`
	Result  string   `json:"result"` // when it is over
}

// handleQuestion tells the open question.
func (d *desk) handleQuestion(w http.ResponseWriter, _ *http.Request, s *deskSitting) {
	if s.n > s.s.count {
		deskReply(w, deskQuestionJSON{Over: true, Result: s.result(), Count: s.s.count, Right: s.s.right, Asked: s.s.asked, Choices: []string{}})
		return
	}
	q, err := s.question()
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	if s.asked.IsZero() {
		s.asked = d.e.now()
	}
	out := deskQuestionJSON{Number: s.n, Count: s.s.count, Right: s.s.right, Asked: s.s.asked, ID: q.ID, Kind: string(q.Kind), Heading: s.s.source, Sight: q.Sight, Prompt: q.Prompt, Shown: q.Shown, Choices: nonNil(q.Choices)}
	notes, tempo := q.Sound()
	out.Row = slices.ContainsFunc(notes, func(n drills.Note) bool { return n.At != notes[0].At })
	if q.Sight {
		out.SVG = notesPicture(notes, tempo)
	}
	deskReply(w, out)
}

// notesPicture draws what sounds; "" if it can't be drawn, since the notes stand in words beside it.
func notesPicture(notes []drills.Note, _ float64) string {
	p := drillPassage(notes)
	svg, _, err := engrave.Staff(p, score.Region{To: p.End()}, engrave.Options{OneStaff: true, NoCourtesy: true, Numbers: engrave.NumberNone, Title: "The notes", Width: 560, Space: 9})
	if err != nil {
		return ""
	}
	return string(svg)
}

// drillPassage puts what sounds in a drill into bars of four quarter notes. What isn't on a grid of sixteenths is put there: the
// picture shows which notes, not when exactly.
func drillPassage(notes []drills.Note) *score.Passage {
	p := &score.Passage{}
	sixteenth := func(t score.Time) score.Time { return score.T(int64(t.Float()*4+0.5), 4) }
	end := score.T(4, 1)
	for _, n := range notes {
		at := sixteenth(n.At)
		long := sixteenth(n.Length)
		if long.Less(score.T(1, 4)) {
			long = score.T(1, 4)
		}
		p.Notes = append(p.Notes, score.Note{Pitch: n.Pitch, Onset: at, Duration: long, Hand: n.Hand, Voice: 1})
		end = end.Max(at.Add(long))
	}
	// A chord that fills part of a bar is drawn as long as the bar; what is cut by a bar line is cut short.
	for i := 0; ; i++ {
		start := score.T(int64(4*i), 1)
		if !start.Less(end) {
			break
		}
		p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(i + 1), Start: start, Length: score.T(4, 1), Meter: score.Meter{Beats: 4, Unit: 4}})
	}
	same := !slices.ContainsFunc(p.Notes, func(n score.Note) bool { return n.Onset != p.Notes[0].Onset })
	for i := range p.Notes {
		n := &p.Notes[i]
		n.Bar = p.BarAt(n.Onset)
		if same {
			n.Duration = score.T(4, 1)
		}
		if last := p.Bars[n.Bar].End(); last.Less(n.End()) {
			n.Duration = last.Sub(n.Onset)
		}
	}
	p.Sort()
	return p
}

// handleDrillSound renders the open question, or a part of it; compare is of the question answered last.
func (d *desk) handleDrillSound(w http.ResponseWriter, r *http.Request, s *deskSitting) {
	what := r.URL.Query().Get("what")
	if what == "compare" {
		last := s.s.last
		if last == nil || len(last.x.Said) == 0 {
			deskError(w, http.StatusUnprocessableEntity, errors.New("there is nothing to compare: no other chord was named"))
			return
		}
		x := last.x
		var clips []*synth.Clip
		for _, notes := range [][]drills.Note{x.Was, x.Said, x.Difference} {
			if len(notes) == 0 {
				continue
			}
			c, err := synth.Render(drillNotes(notes, x.Tempo), synth.Options{Level: synth.DefaultLevel})
			if err != nil {
				deskError(w, http.StatusInternalServerError, err)
				return
			}
			clips = append(clips, c)
		}
		clip, err := synth.Concat(comparePart, clips...)
		if err != nil {
			deskError(w, http.StatusInternalServerError, err)
			return
		}
		d.send(r.Context(), w, clip)
		return
	}
	var q drills.Question
	switch {
	case what == "last" && s.s.last != nil: // the one just answered, again
		q = s.s.last.q
	case what == "last" || s.n > s.s.count:
		deskError(w, http.StatusUnprocessableEntity, errors.New("no question is open"))
		return
	default:
		var err error
		if q, err = s.question(); err != nil {
			deskError(w, http.StatusInternalServerError, err)
			return
		}
	}
	notes, tempo := q.Sound()
	play := drillNotes(notes, tempo)
	switch what {
	case "", "last":
	case "low", "high":
		h := score.Left
		if what == "high" {
			h = score.Right
		}
		some := slices.DeleteFunc(slices.Clone(notes), func(n drills.Note) bool { return n.Hand != h })
		if len(some) == 0 {
			deskError(w, http.StatusUnprocessableEntity, errors.New("that hand has no notes here"))
			return
		}
		play = drillNotes(some, tempo)
	case "slow":
		if play = drillNotes(notes, tempo/2); len(q.Music) == 0 {
			play = handNotes(q.Left, q.Right, slowApart)
		}
	default:
		deskError(w, http.StatusBadRequest, fmt.Errorf("what=%q: want low, high, slow, last or compare", what))
		return
	}
	if what != "last" && r.URL.Query().Get("again") != "" {
		s.replays++
	}
	clip, err := s.s.sound.clip(q.Number, play)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	d.send(r.Context(), w, clip)
}

type deskAnswerJSON struct {
	Right    bool     `json:"right"`
	Given    string   `json:"given"`
	Expected string   `json:"expected"`
	Credit   float64  `json:"credit"`
	Why      string   `json:"why"`
	Text     string   `json:"text"`
	Notes    []string `json:"notes"`
	SVG      string   `json:"svg"`
	Compare  bool     `json:"compare"` // what was said can be heard against what it was
	Asked    int      `json:"asked"`
	RightNow int      `json:"right_so_far"`
	Over     bool     `json:"over"`
	Reason   string   `json:"reason"` // why it was asked, where the record chose it
}

// handleAnswer grades an answer, writes it down, and only then tells what it was.
func (d *desk) handleAnswer(w http.ResponseWriter, r *http.Request, s *deskSitting) {
	var ask struct {
		Question string `json:"question"`
		Given    string `json:"given"`
		GiveUp   bool   `json:"give_up"`
	}
	if !readJSON(w, r, &ask) {
		return
	}
	if s.n > s.s.count {
		deskError(w, http.StatusUnprocessableEntity, errors.New("the drill is over"))
		return
	}
	q, err := s.question()
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	if ask.Question != q.ID {
		deskError(w, http.StatusConflict, errors.New("that question is answered already; another tab may have done it"))
		return
	}
	g := drills.GiveUp(q)
	if !ask.GiveUp {
		if g, err = drills.Grade(q, ask.Given); err != nil {
			deskError(w, http.StatusUnprocessableEntity, err)
			return
		}
	}
	// The page may go away; the answer stays.
	if err := s.s.record(context.WithoutCancel(r.Context()), q, g, ask.Given, s.asked, s.replays); err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	x := drills.Explain(q, g)
	s.s.last = &answeredQuestion{q, g, x}
	if s.s.plan != nil {
		s.s.plan.p.Learn(s.s.plan.step, q.Expected, g.Given, g.Right, d.e.now())
		s.s.lastWhy = s.s.plan.why()
	}
	s.n++
	s.asked, s.replays = time.Time{}, 0
	if s.n > s.s.count {
		d.end(s)
	}
	notes, tempo := q.Sound()
	var names []string
	for _, p := range q.Notes() {
		names = append(names, p.String())
	}
	deskReply(w, deskAnswerJSON{Right: g.Right, Given: g.Given, Expected: q.Expected, Credit: g.Credit, Why: g.Why, Text: x.Text, Notes: nonNil(names),
		SVG: notesPicture(notes, tempo), Compare: len(x.Said) > 0, Asked: s.s.asked, RightNow: s.s.right, Over: s.n > s.s.count, Reason: s.s.lastWhy})
}

// handleKeys draws a keyboard with the named notes pressed, to be looked at or pressed itself.
func (d *desk) handleKeys(w http.ResponseWriter, r *http.Request) {
	var ask struct {
		Left  []string `json:"left"`
		Right []string `json:"right"`
		Notes []string `json:"notes"` // of no hand
		Range bool     `json:"range"` // the whole of a playable range, to be pressed
		Width float64  `json:"width"`
	}
	if !readJSON(w, r, &ask) {
		return
	}
	var keys []engrave.Key
	for _, h := range []struct {
		hand  score.Hand
		names []string
	}{{score.Left, ask.Left}, {score.Right, ask.Right}, {0, ask.Notes}} {
		if len(h.names) > 88 {
			deskError(w, http.StatusUnprocessableEntity, fmt.Errorf("%d notes; a keyboard has 88 keys", len(h.names)))
			return
		}
		for _, n := range h.names {
			p, err := pitch.Parse(n)
			if err != nil {
				deskError(w, http.StatusUnprocessableEntity, err)
				return
			}
			keys = append(keys, engrave.Key{Pitch: p, Hand: h.hand})
		}
	}
	o := engrave.KeyOptions{Width: min(max(ask.Width, 0), 4000)}
	if ask.Range {
		o.From, o.To, o.Interactive = pitch.FromMIDI(36, false), pitch.FromMIDI(84, false), true
	}
	svg, _, err := engrave.Keyboard(keys, o)
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	deskReply(w, map[string]string{"svg": string(svg)})
}

// handleNotes draws notes that are being entered: in a row as a melody, or struck together.
func (d *desk) handleNotes(w http.ResponseWriter, r *http.Request) {
	var ask struct {
		Notes []string `json:"notes"`
		Row   bool     `json:"row"`
	}
	if !readJSON(w, r, &ask) {
		return
	}
	const most = 64
	if len(ask.Notes) > most {
		deskError(w, http.StatusUnprocessableEntity, fmt.Errorf("%d notes; want at most %d", len(ask.Notes), most))
		return
	}
	var notes []drills.Note
	for i, name := range ask.Notes {
		p, err := pitch.Parse(name)
		if err != nil {
			deskError(w, http.StatusUnprocessableEntity, err)
			return
		}
		n := drills.Note{Pitch: p, Hand: score.Right, Length: score.T(4, 1)}
		if p.MIDI() < 60 {
			n.Hand = score.Left
		}
		if ask.Row {
			n.At, n.Length = score.T(int64(i), 1), score.T(1, 1)
		}
		notes = append(notes, n)
	}
	deskReply(w, map[string]string{"svg": notesPicture(notes, 60)})
}

// deskProgress reads the record of the learner named in a request, an empty page if there is none.
func (d *desk) deskProgress(r *http.Request) (progressPage, []earClaimJSON, error) {
	p, heard := progressPage{Groups: []groupPage{}, Sittings: []progress.Sitting{}, now: d.e.now()}, []earClaimJSON{}
	store, err := d.recordIfThere(r.Context(), r.URL.Query().Get("learner"))
	if err != nil || store == nil {
		return p, heard, err
	}
	if p, err = page(r.Context(), store, d.e.now()); err != nil {
		return p, heard, err
	}
	heard, err = earProgress(r.Context(), store, time.Time{})
	return p, heard, err
}

// handleProgress tells the record, as progress --json does, with headings and days in words.
func (d *desk) handleProgress(w http.ResponseWriter, r *http.Request) {
	p, heard, err := d.deskProgress(r)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	out := struct {
		progressPage
		Claims   []earClaimJSON `json:"claims"`
		Headings []string       `json:"headings"` // of the groups
		Due      [][]string     `json:"due"`      // of their labels
		What     []string       `json:"what"`     // of the sittings
	}{progressPage: p, Claims: heard, Headings: []string{}, Due: [][]string{}, What: []string{}}
	for _, g := range p.Groups {
		due := []string{}
		for _, row := range g.Rows {
			due = append(due, dueWords(row.Due, p.now))
		}
		out.Headings, out.Due = append(out.Headings, heading(g.Kind, g.Mode)), append(out.Due, due)
	}
	for _, s := range p.Sittings {
		out.What = append(out.What, heading(s.Kind, s.Mode))
	}
	deskReply(w, out)
}

// handleProgressPicture draws it.
func (d *desk) handleProgressPicture(w http.ResponseWriter, r *http.Request) {
	p, _, err := d.deskProgress(r)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	writeProgressSVG(w, p, strings.Join(strings.Fields(r.URL.Query().Get("learner")), " ")) // an error here is a page that went away
}

// handleLearners lists who has a record here.
func (d *desk) handleLearners(w http.ResponseWriter, r *http.Request) {
	names := []string{}
	store, err := d.recordIfThere(r.Context(), "")
	if err == nil && store != nil {
		var all []progress.Learner
		if all, err = store.Learners(r.Context()); err == nil {
			for _, l := range all {
				if l.Name != "" {
					names = append(names, l.Name)
				}
			}
		}
	}
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	deskReply(w, names)
}
