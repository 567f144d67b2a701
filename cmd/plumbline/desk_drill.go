package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
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
	mu    sync.Mutex
	store *progress.Store
	list  []*deskSitting // the latest last
}

// A deskSitting is one drill on the page. Its question is taken up where it was left, so a page may be loaded again.
type deskSitting struct {
	mu      sync.Mutex
	id      string
	s       *sitting
	n       int // of the question that is open, from 1
	asked   time.Time
	replays int
	ended   bool // and written down as such
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
	mux.HandleFunc("GET /api/progress", d.handleProgress)
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
	Seed        uint64 `json:"seed"` // 0 takes one from the clock
}

// handleDrill begins a drill.
func (d *desk) handleDrill(w http.ResponseWriter, r *http.Request) {
	var ask deskDrillAsk
	if !readJSON(w, r, &ask) {
		return
	}
	if ask.Count == 0 {
		ask.Count = 10
	}
	fail := func(err error) { deskError(w, http.StatusUnprocessableEntity, err) }
	if ask.Count < 1 || ask.Count > maxCount {
		fail(fmt.Errorf("%d questions; want 1 to %d", ask.Count, maxCount))
		return
	}
	if ask.Seed == 0 {
		ask.Seed = uint64(d.e.now().UnixNano()/int64(time.Microsecond)) % 1_000_000
	}
	set := drills.Settings{Kind: drills.Kind(ask.Kind), Seed: ask.Seed, Level: ask.Level, Sight: ask.Sight, Inversions: ask.Inversions, NoTranspose: ask.NoTranspose}
	var drill *drills.Drill
	var err error
	source := ""
	if ask.Passage != "" {
		q := d.passage(ask.Passage)
		if q == nil {
			deskError(w, http.StatusNotFound, errors.New("that passage is no longer open here; open it again"))
			return
		}
		region, perr := q.place(ask.At)
		if perr != nil {
			fail(perr)
			return
		}
		set.Level, set.Inversions, set.Foils = 0, false, drillFoils
		source = q.name
		if ask.At != "" {
			source += " " + ask.At
		}
		drill, err = drills.FromPassage(q.p, region, set)
	} else {
		drill, err = drills.New(set)
	}
	if err != nil {
		fail(err)
		return
	}
	store, err := d.record(r.Context())
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	mode := progress.Ear
	if ask.Sight {
		mode = progress.Sight
	}
	settings, err := json.Marshal(drill.Settings())
	if err != nil {
		fail(err)
		return
	}
	s := &sitting{e: d.e, d: drill, store: store, mode: mode, count: ask.Count, db: d.db, source: source}
	s.id, err = store.Begin(r.Context(), progress.SessionInfo{Kind: ask.Kind, Mode: mode, Seed: ask.Seed, Source: source, Settings: settings, Started: d.e.now()})
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	ds := &deskSitting{id: newSecret()[:16], s: s, n: 1}
	d.sittings.mu.Lock()
	d.sittings.list = append(d.sittings.list, ds)
	if len(d.sittings.list) > deskOpenSittings {
		d.end(d.sittings.list[0])
		d.sittings.list = d.sittings.list[1:]
	}
	d.sittings.mu.Unlock()
	deskReply(w, map[string]any{"id": ds.id, "count": ask.Count, "seed": ask.Seed})
}

type deskQuestionJSON struct {
	Number  int      `json:"number"`
	Count   int      `json:"count"`
	Right   int      `json:"right"`
	Asked   int      `json:"asked"`
	ID      string   `json:"id"`
	Sight   bool     `json:"sight"`
	Prompt  string   `json:"prompt"`
	Shown   string   `json:"shown"`
	SVG     string   `json:"svg"` // of what is shown, "" by ear
	Choices []string `json:"choices"`
	Over    bool     `json:"over"`
	Result  string   `json:"result"` // when it is over
}

// handleQuestion tells the open question.
func (d *desk) handleQuestion(w http.ResponseWriter, _ *http.Request, s *deskSitting) {
	if s.n > s.s.count {
		deskReply(w, deskQuestionJSON{Over: true, Result: s.s.result(), Count: s.s.count, Right: s.s.right, Asked: s.s.asked, Choices: []string{}})
		return
	}
	q := s.s.d.Question(s.n)
	if s.asked.IsZero() {
		s.asked = d.e.now()
	}
	out := deskQuestionJSON{Number: s.n, Count: s.s.count, Right: s.s.right, Asked: s.s.asked, ID: q.ID, Sight: q.Sight, Prompt: q.Prompt, Shown: q.Shown, Choices: nonNil(q.Choices)}
	if q.Sight {
		notes, tempo := q.Sound()
		out.SVG = notesPicture(notes, tempo)
	}
	deskReply(w, out)
}

// notesPicture draws what sounds; "" if it can't be drawn, since the notes stand in words beside it.
func notesPicture(notes []drills.Note, _ float64) string {
	p := drillPassage(notes)
	svg, _, err := engrave.Staff(p, score.Region{To: p.End()}, engrave.Options{OneStaff: true, NoCourtesy: true, Numbers: engrave.NumberNone, Title: "the notes of the question", Width: 560})
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
	n := s.n
	if what == "last" { // the one just answered, again
		n--
	}
	if n < 1 || n > s.s.count {
		deskError(w, http.StatusUnprocessableEntity, errors.New("no question is open"))
		return
	}
	q := s.s.d.Question(n)
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
	d.play(r.Context(), w, play, synth.Options{Level: synth.DefaultLevel - synth.LUFS(quieter(n))})
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
	q := s.s.d.Question(s.n)
	if ask.Question != q.ID {
		deskError(w, http.StatusConflict, errors.New("that question is answered already; another tab may have done it"))
		return
	}
	g := drills.GiveUp(q)
	if !ask.GiveUp {
		var err error
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
		SVG: notesPicture(notes, tempo), Compare: len(x.Said) > 0, Asked: s.s.asked, RightNow: s.s.right, Over: s.n > s.s.count})
}

// handleKeys draws a keyboard with the named notes pressed, to be looked at or pressed itself.
func (d *desk) handleKeys(w http.ResponseWriter, r *http.Request) {
	var ask struct {
		Left, Right []string
		Range       bool // the whole of a playable range, interactive
		Width       float64
	}
	if !readJSON(w, r, &ask) {
		return
	}
	var keys []engrave.Key
	for _, h := range []struct {
		hand  score.Hand
		names []string
	}{{score.Left, ask.Left}, {score.Right, ask.Right}} {
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

// handleProgress tells the record.
func (d *desk) handleProgress(w http.ResponseWriter, r *http.Request) {
	store, err := d.record(r.Context())
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	page, err := store.Page(r.Context(), 30, 50, d.e.now())
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	deskReply(w, page)
}
