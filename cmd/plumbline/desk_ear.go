package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"plumbline/drills/ear"
	"plumbline/theory/claim"
)

// A deskAsking is one claim that the ear is asked about on the page. Its answers are those of plumbline drill --claims.
type deskAsking struct {
	mu      sync.Mutex
	id      string
	s       *claimSitting
	a       *asking
	last    *ear.Trial // answered last; nil before the first
	asked   time.Time
	replays int
}

func (d *desk) earRoutes(mux *http.ServeMux) {
	mux.HandleFunc("POST /api/passage/{id}/ear", d.with(d.handleEar))
	mux.HandleFunc("GET /api/ear/{id}", d.hearing(d.handleTrial))
	mux.HandleFunc("GET /api/ear/{id}/sound", d.hearing(d.handleTrialSound))
	mux.HandleFunc("POST /api/ear/{id}/answer", d.hearing(d.handleTrialAnswer))
}

// earWords returns what the ear of the learner named in a request has made of claims, in words. The record is looked at with the
// connection that is open: this is done at every keystroke.
func (d *desk) earWords(r *http.Request, q *deskPassage, results []claim.Result) (func(claim.Claim) string, error) {
	none := func(claim.Claim) string { return "" }
	store, err := d.recordIfThere(r.Context(), r.URL.Query().Get("learner"))
	if err != nil || store == nil {
		return none, err
	}
	var keys []string
	for _, res := range results {
		if k := q.earKey(res.Claim); k != "" && !slices.Contains(keys, k) {
			keys = append(keys, k)
		}
	}
	if len(keys) == 0 {
		return none, nil
	}
	known, err := store.EarClaims(r.Context(), keys...)
	if err != nil {
		return none, err
	}
	said := map[string]string{}
	for _, k := range known {
		said[k.Key] = verdictOfTries(k.Tries).String()
	}
	return func(c claim.Claim) string { return said[q.earKey(c)] }, nil
}

// handleEar begins to ask about one claim of a claims file; the others are named so that they stay true where they can.
func (d *desk) handleEar(w http.ResponseWriter, r *http.Request, q *deskPassage) {
	var ask struct {
		Claims  string `json:"claims"`
		Line    int    `json:"line"`
		YesNo   bool   `json:"yes_no"`
		Learner string `json:"learner"`
		Seed    uint64 `json:"seed"` // 0 takes one from the clock
	}
	if !readJSON(w, r, &ask) {
		return
	}
	fail := func(err error) { deskError(w, http.StatusUnprocessableEntity, err) }
	results, _, err := checkWith(q.check, "the claims", bytes.NewReader([]byte(ask.Claims)))
	if err != nil {
		fail(err)
		return
	}
	i := slices.IndexFunc(results, func(res claim.Result) bool { return res.Claim.Line == ask.Line })
	switch {
	case i < 0:
		fail(fmt.Errorf("line %d holds no claim that is understood", ask.Line))
		return
	case results[i].Verdict == claim.Fails:
		fail(errors.New("this can't be asked: the notes don't bear it out: " + results[i].Because))
		return
	}
	if ask.Seed == 0 {
		ask.Seed = uint64(d.e.now().UnixNano()/int64(time.Microsecond)) % 1_000_000
	}
	store, err := d.recordAs(r.Context(), ask.Learner, true)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	s := &claimSitting{e: d.e, p: q.p, path: q.name, results: results, store: store, sound: &drillSound{e: d.e, silent: true},
		flags: drillFlags{seed: ask.Seed, count: maxCount}, claims: claimFlags{arguable: true, again: true}}
	for _, res := range results {
		s.all = append(s.all, res.Claim)
	}
	if ask.YesNo {
		s.task = ear.YesOrNo
	}
	a, why, err := s.prepare(r.Context(), results[i].Claim)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	if why != "" {
		fail(errors.New("this can't be asked fairly: " + why))
		return
	}
	x := &deskAsking{id: newSecret()[:16], s: s, a: a}
	d.sittings.mu.Lock()
	d.sittings.askings = append(d.sittings.askings, x)
	if len(d.sittings.askings) > deskOpenSittings {
		d.sittings.askings = d.sittings.askings[1:] // its answers are in the record, and the try goes on when it is taken up again
	}
	d.sittings.mu.Unlock()
	deskReply(w, map[string]any{"id": x.id})
}

// hearing finds the claim of a request and keeps others out of it meanwhile.
func (d *desk) hearing(h func(http.ResponseWriter, *http.Request, *deskAsking)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		d.sittings.mu.Lock()
		i := slices.IndexFunc(d.sittings.askings, func(x *deskAsking) bool { return x.id == r.PathValue("id") })
		var x *deskAsking
		if i >= 0 {
			x = d.sittings.askings[i]
		}
		d.sittings.mu.Unlock()
		if x == nil {
			deskError(w, http.StatusNotFound, errors.New("that claim is no longer asked here; its answers are in the record, and asking again goes on from there"))
			return
		}
		x.mu.Lock()
		defer x.mu.Unlock()
		h(w, r, x)
	}
}

// over reports whether the answers have decided.
func (x *deskAsking) over() bool { return x.a.state.Last != ear.Open }

// handleTrial tells the open question, in the shape of any drill's.
func (d *desk) handleTrial(w http.ResponseWriter, _ *http.Request, x *deskAsking) {
	c := x.a.claim()
	out := deskQuestionJSON{Kind: "claim", Heading: upperFirst(c.PlaceText) + ": " + c.Statement, Choices: []string{}, Right: x.s.right, Asked: x.s.asked}
	if x.over() {
		out.Over, out.Result = true, strings.Replace(decidedText(x.a), "with plumbline hear", "beside the staff", 1)
		deskReply(w, out)
		return
	}
	t := x.s.trial(x.a, 0)
	x.s.lastID = x.s.trialID(x.a, t)
	if x.asked.IsZero() {
		x.asked = d.e.now()
	}
	out.Number, out.ID, out.Choices = t.Number, x.s.lastID, t.Task.Choices()
	out.Prompt = "Which of the two has it?"
	if t.Task == ear.YesOrNo {
		out.Prompt = "Does it have it?"
	}
	switch s := x.a.subject; {
	case s.Tonic != nil:
		out.Shown = fmt.Sprintf("First the tonic chord of %s sounds, moved like the rest.", s.Tonic)
	case len(s.Named) > 0:
		var names []string
		for _, p := range s.Named {
			names = append(names, p.Class().String())
		}
		out.Shown = fmt.Sprintf("First %s sounds, moved like the rest.", strings.Join(names, ", "))
	}
	deskReply(w, out)
}

// handleTrialSound plays the open question, or what=compare the one answered last: as it is, then changed.
func (d *desk) handleTrialSound(w http.ResponseWriter, r *http.Request, x *deskAsking) {
	what, t := r.URL.Query().Get("what"), ear.Trial{}
	switch {
	case (what == "compare" || what == "last") && x.last != nil:
		t = *x.last
	case what == "" && !x.over():
		t = x.s.trial(x.a, 0)
	case what == "" || what == "compare" || what == "last":
		deskError(w, http.StatusUnprocessableEntity, errors.New("no question is open"))
		return
	default:
		deskError(w, http.StatusBadRequest, fmt.Errorf("what=%q: want last or compare", what))
		return
	}
	if r.URL.Query().Get("again") != "" {
		x.replays++
	}
	if what == "last" {
		what = ""
	}
	clip, err := x.s.trialClip(x.a, t, what)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	d.send(r.Context(), w, clip)
}

// handleTrialAnswer writes an answer down, and only then tells what it was.
func (d *desk) handleTrialAnswer(w http.ResponseWriter, r *http.Request, x *deskAsking) {
	var ask struct {
		Question string `json:"question"`
		Given    string `json:"given"`
		GiveUp   bool   `json:"give_up"`
	}
	if !readJSON(w, r, &ask) {
		return
	}
	if x.over() {
		deskError(w, http.StatusUnprocessableEntity, errors.New("this claim is decided"))
		return
	}
	t := x.s.trial(x.a, 0)
	x.s.lastID = x.s.trialID(x.a, t)
	if ask.Question != x.s.lastID {
		deskError(w, http.StatusConflict, errors.New("that question is answered already; another tab may have done it"))
		return
	}
	given := ""
	if !ask.GiveUp {
		if given = readChoice(t, ask.Given); given == "" {
			deskError(w, http.StatusUnprocessableEntity, fmt.Errorf("%q is no answer here; want 1 (%s) or 2 (%s)", ask.Given, t.Task.Choices()[0], t.Task.Choices()[1]))
			return
		}
	}
	right := given == t.Expected
	asked := x.asked
	if asked.IsZero() {
		asked = d.e.now()
	}
	if err := x.s.record(context.WithoutCancel(r.Context()), x.a, t, given, right, ask.Given, asked, x.replays); err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	x.last, x.asked, x.replays = &t, time.Time{}, 0
	credit := 0.
	if right {
		credit = 1
	}
	deskReply(w, deskAnswerJSON{Right: right, Given: given, Expected: t.Expected, Credit: credit, Text: verdictOf(t, right), Notes: []string{}, Compare: true,
		Asked: x.s.asked, RightNow: x.s.right, Over: x.over()})
}
