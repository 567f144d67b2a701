package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"plumbline/drills"
	"plumbline/drills/ear"
	"plumbline/synth"
	"plumbline/theory/claim"
	"plumbline/theory/engrave"
	"plumbline/theory/harmony"
	"plumbline/theory/score"
)

//go:embed desk
var deskFiles embed.FS

func newDeskCmd(e *env) *cobra.Command {
	var listen, claims, db, part string
	cmd := &cobra.Command{
		Use:   "desk [PASSAGE]",
		Short: "The same work on a page of your web browser",
		Long: `Serves a page on this machine where everything can be done by looking, clicking
and listening: open a passage or paste one, see it on staves, click a bar or a
note to be told what it is, write claims and watch their verdicts, hear anything
taken apart, be drilled, and see what you can hear.

It prints an address to open in a browser on this machine. The address holds a
key; without it nobody gets in. Nothing is fetched from elsewhere and nothing is
sent anywhere. Ctrl-C ends it; all answers are on disk before they are shown as
taken.

--listen with an address that other machines can reach lets everybody who knows
the key work on this desk, over a connection that isn't encrypted.`,
		Example: `  plumbline desk
  plumbline desk song.mxl --claims talk.claims`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return &usageError{cmd.CommandPath(), fmt.Errorf("%q is too much: the desk opens one passage", args[1])}
			}
			if len(args) == 0 && claims != "" {
				return &usageError{cmd.CommandPath(), errors.New("--claims goes with a PASSAGE")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			d := newDesk(e, db)
			defer d.close()
			if len(args) == 1 {
				if err := d.start(args[0], part, claims); err != nil {
					return err
				}
			}
			l, loopback, err := listenDesk(listen)
			if err != nil {
				return &usageError{cmd.CommandPath(), err}
			}
			g := &gate{secret: newSecret(), hosts: deskHosts(l.Addr()), inner: d.routes(), log: &refusals{w: e.stderr, now: e.now}, busy: make(chan struct{}, deskBusy)}
			if !loopback {
				e.warn("%s can be reached from other machines; whoever learns the address below can use this desk and read its record, and the connection is not encrypted", l.Addr())
			}
			fmt.Fprintf(e.stdout, "The desk is open. In a browser on this machine, go to\n\n  http://%s/?key=%s\n\nCtrl-C closes it.\n", l.Addr(), g.secret)
			err = serveDesk(cmd.Context(), l, g)
			if err == nil {
				fmt.Fprintln(e.stdout, "\nThe desk is closed; every answer that was shown as taken is on disk.")
			}
			return err
		},
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:0", "address and port; port 0 takes a free one")
	cmd.Flags().StringVar(&claims, "claims", "", "a claims file to begin with")
	cmd.Flags().StringVar(&part, "part", "", "the part to read, by name, id or number (default the piano)")
	cmd.Flags().StringVar(&db, "db", "", "the file that keeps the answers (default under XDG_DATA_HOME)")
	return cmd
}

// deskPassages is how many passages a desk keeps open.
const deskPassages = 24

// A desk is what is open on the page.
type desk struct {
	e  *env
	db string

	mu       sync.Mutex
	passages []*deskPassage // the latest last
	first    *deskPassage   // named when the program was called
	sittings deskSittings
}

// A deskPassage is an opened passage. The passage is not changed.
type deskPassage struct {
	id, name, claims string
	p                *score.Passage
	checker          *claim.Checker

	mu      sync.Mutex
	checked map[string]claim.Result // by place and statement, of the lines that were checked
	keys    map[string]string       // their names for the ear

	analysis func() *harmony.Analysis // of the whole texture; read once, which takes a while, and used under mu
	numerals func() []engrave.Text    // under the staff; found once
}

// check is the checker's Check for a line that may have been checked before: while one line of a file is being written the others
// stay.
func (q *deskPassage) check(c claim.Claim) (claim.Result, error) {
	key := c.PlaceText + "\x00" + c.Statement
	q.mu.Lock()
	res, ok := q.checked[key]
	q.mu.Unlock()
	if ok {
		res.Claim = c
		return res, nil
	}
	res, err := q.checker.Check(c)
	if err == nil {
		q.mu.Lock()
		defer q.mu.Unlock()
		if q.checked == nil || len(q.checked) >= deskChecked {
			q.checked = map[string]claim.Result{}
		}
		q.checked[key] = res
	}
	return res, err
}

// inContext tells the chords in context.
func (q *deskPassage) inContext(d *descriptionJSON, region score.Region) {
	if region.Layer != score.Whole {
		d.inContext(q.p, region, "")
		return
	}
	d.Harmony = []harmonyJSON{}
	a := q.analysis()
	q.mu.Lock()
	defer q.mu.Unlock()
	tellHarmony(d, q.p, region, nil, a)
}

// findNumerals puts the Roman numerals of a description where their chords begin.
func (q *deskPassage) findNumerals() []engrave.Text {
	var out []engrave.Text
	var d descriptionJSON
	q.inContext(&d, score.Region{To: q.p.End()})
	for _, h := range d.Harmony {
		if at, err := q.place(h.From); err == nil && h.Numeral != "" {
			out = append(out, engrave.Text{At: at.From, Text: h.Numeral, Kind: engrave.Numeral, Row: 1})
		}
	}
	return out
}

// deskChecked bounds the verdicts that are kept of a passage: every keystroke makes a line.
const deskChecked = 4000

// earKey is ear.Key, kept likewise; "" if it has none.
func (q *deskPassage) earKey(c claim.Claim) string {
	key := c.PlaceText + "\x00" + c.Statement
	q.mu.Lock()
	defer q.mu.Unlock()
	k, ok := q.keys[key]
	if !ok {
		if q.keys == nil || len(q.keys) >= deskChecked {
			q.keys = map[string]string{}
		}
		k, _ = ear.Key(q.p, c)
		q.keys[key] = k
	}
	return k
}

func newDesk(e *env, db string) *desk { return &desk{e: e, db: db} }

// start opens the passage that was named when the program was called.
func (d *desk) start(path, part, claims string) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("can't read the passage: %w", err)
	}
	if d.first, err = d.open(filepath.Base(path), part, data); err != nil {
		return err
	}
	if claims != "" {
		text, err := os.ReadFile(claims)
		if err != nil {
			return fmt.Errorf("can't read the claims: %w", err)
		}
		d.first.claims = string(text)
	}
	return nil
}

// open reads a passage, or finds it if it is open already.
func (d *desk) open(name, part string, data []byte) (*deskPassage, error) {
	sum := sha256.Sum256(append([]byte(part+"\x00"), data...))
	id := hex.EncodeToString(sum[:8])
	if q := d.passage(id); q != nil {
		return q, nil
	}
	p, err := readPassage(name, data, part)
	if err != nil {
		return nil, err
	}
	if len(p.Bars) == 0 {
		return nil, fmt.Errorf("%s has no bars", name)
	}
	q := &deskPassage{id: id, name: name, p: p, checker: claim.NewChecker(p)}
	q.analysis = sync.OnceValue(func() *harmony.Analysis { return analyzed(p, score.Whole, nil) })
	q.numerals = sync.OnceValue(q.findNumerals)
	d.keep(q)
	return q, nil
}

// keep puts a passage among the open ones, and the one not used for the longest time out if there are too many.
func (d *desk) keep(q *deskPassage) {
	if d.passage(q.id) != nil {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.passages = append(d.passages, q)
	if len(d.passages) > deskPassages {
		d.passages = d.passages[1:]
	}
}

// passage returns an open passage, nil if there is none with that id.
func (d *desk) passage(id string) *deskPassage {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i, q := range d.passages {
		if q.id == id {
			d.passages = append(append(d.passages[:i:i], d.passages[i+1:]...), q)
			return q
		}
	}
	return nil
}

// routes says what answers what.
func (d *desk) routes() http.Handler {
	files, err := fs.Sub(deskFiles, "desk")
	if err != nil {
		panic(err) // the name stands above
	}
	mux := http.NewServeMux()
	static := http.FileServerFS(files)
	mux.Handle("GET /{$}", static)
	mux.Handle("GET /assets/", static)
	mux.HandleFunc("GET /api/start", d.handleStart)
	mux.HandleFunc("POST /api/open", d.handleOpen)
	mux.HandleFunc("POST /api/example", d.handleExample)
	mux.HandleFunc("GET /api/forms", d.handleForms)
	mux.HandleFunc("GET /api/passage/{id}", d.with(d.handlePassage))
	mux.HandleFunc("POST /api/passage/{id}/staff", d.with(d.handleStaff))
	mux.HandleFunc("GET /api/passage/{id}/describe", d.with(d.handleDescribe))
	mux.HandleFunc("POST /api/passage/{id}/check", d.with(d.handleCheck))
	mux.HandleFunc("GET /api/passage/{id}/draft", d.with(d.handleDraft))
	mux.HandleFunc("GET /api/passage/{id}/sound", d.with(d.handleSound))
	mux.HandleFunc("GET /api/passage/{id}/apart", d.with(d.handleApart))
	d.drillRoutes(mux)
	return mux
}

// with finds the passage of a request.
func (d *desk) with(h func(http.ResponseWriter, *http.Request, *deskPassage)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if q := d.passage(r.PathValue("id")); q != nil {
			h(w, r, q)
			return
		}
		deskError(w, http.StatusNotFound, errors.New("that passage is no longer open here; open it again"))
	}
}

// deskReply writes v as JSON.
func deskReply(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false) // nothing sniffs it (see the gate), and pictures are half as long so
	enc.Encode(v)            // an error here is a page that went away
}

// deskError says what is wrong in the words of the command line, with a hint and the line where there are such.
func deskError(w http.ResponseWriter, code int, err error) {
	out := struct {
		Error string `json:"error"`
		Hint  string `json:"hint,omitempty"`
		Quote string `json:"quote,omitempty"`
	}{Error: message(err)}
	var h *hintError
	if errors.As(err, &h) {
		out.Hint = h.hint
	}
	var detailed interface{ Detail() string }
	if errors.As(err, &detailed) {
		out.Quote = detailed.Detail()
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(code)
	json.NewEncoder(w).Encode(out)
}

// readBody reads what was sent, up to the gate's bound.
func readBody(w http.ResponseWriter, r *http.Request) ([]byte, bool) {
	data, err := io.ReadAll(r.Body)
	if err == nil {
		return data, true
	}
	var big *http.MaxBytesError
	if errors.As(err, &big) {
		deskError(w, http.StatusRequestEntityTooLarge, fmt.Errorf("that is larger than %d MiB; want a passage", deskMaxBody>>20))
	} else {
		deskError(w, http.StatusBadRequest, errors.New("what was sent broke off"))
	}
	return nil, false
}

// readJSON reads what was sent as JSON into v.
func readJSON(w http.ResponseWriter, r *http.Request, v any) bool {
	data, ok := readBody(w, r)
	if !ok {
		return false
	}
	if err := json.Unmarshal(data, v); err != nil {
		deskError(w, http.StatusBadRequest, fmt.Errorf("what was sent is not understood: %w", err))
		return false
	}
	return true
}

type (
	deskPassageJSON struct {
		ID       string        `json:"id"`
		Name     string        `json:"name"`
		Title    string        `json:"title"`
		Key      string        `json:"key"`
		Meter    string        `json:"meter"`
		Bars     []string      `json:"bars"` // numbers as printed
		Parts    []deskPartDTO `json:"parts"`
		Warnings []string      `json:"warnings"`
		Claims   string        `json:"claims"`
	}
	deskPartDTO struct {
		Name   string `json:"name"`
		Chosen bool   `json:"chosen"`
	}
)

func (q *deskPassage) json() deskPassageJSON {
	out := deskPassageJSON{ID: q.id, Name: q.name, Title: q.p.Title, Warnings: nonNil(q.p.Warnings), Claims: q.claims, Bars: []string{}, Parts: []deskPartDTO{}}
	if len(q.p.Keys) > 0 {
		out.Key = keyText(q.p.Keys[0])
	}
	out.Meter = q.p.Bars[0].Meter.String()
	for _, b := range q.p.Bars {
		out.Bars = append(out.Bars, b.Number)
	}
	for _, pt := range q.p.Parts {
		out.Parts = append(out.Parts, deskPartDTO{pt.Name, pt.Chosen})
	}
	return out
}

func (d *desk) handleStart(w http.ResponseWriter, _ *http.Request) {
	out := struct {
		Passage *deskPassageJSON `json:"passage"` // null if none was named
		Places  []string         `json:"places"`
		Kinds   []deskKindJSON   `json:"kinds"` // of drill
		Decks   []deskDeckJSON   `json:"decks"`
	}{Places: score.PlaceForms}
	if d.first != nil {
		d.keep(d.first)
		j := d.first.json()
		out.Passage = &j
	}
	for _, k := range drills.Kinds() {
		kj := deskKindJSON{Kind: string(k), Title: k.Title(), About: k.About(), Sight: k.Sight()}
		for _, l := range drills.Levels(k) {
			kj.Levels = append(kj.Levels, l.Name)
		}
		out.Kinds = append(out.Kinds, kj)
	}
	for _, k := range drills.ReadyDecks() {
		dj := deskDeckJSON{Name: k.Name, Title: k.Title, About: k.About}
		for _, st := range k.Steps {
			what := st.Settings.Kind.Title()
			if st.Settings.Sight {
				what += " by sight"
			}
			dj.Steps = append(dj.Steps, st.Name+" ("+what+")")
		}
		out.Decks = append(out.Decks, dj)
	}
	deskReply(w, out)
}

type (
	deskKindJSON struct {
		Kind   string   `json:"kind"`
		Title  string   `json:"title"`
		About  string   `json:"about"`
		Sight  bool     `json:"sight"` // it can be asked by sight, too
		Levels []string `json:"levels"`
	}
	deskDeckJSON struct {
		Name  string   `json:"name"`
		Title string   `json:"title"`
		About string   `json:"about"`
		Steps []string `json:"steps"`
	}
)

func (d *desk) handleOpen(w http.ResponseWriter, r *http.Request) {
	data, ok := readBody(w, r)
	if !ok {
		return
	}
	name := filepath.Base(filepath.Clean("/" + r.URL.Query().Get("name"))) // for messages only: nothing is written
	if name == "/" || name == "" {
		name = "the passage"
	}
	q, err := d.open(name, r.URL.Query().Get("part"), data)
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	deskReply(w, q.json())
}

// handleExample opens the passage that ships inside the program, with its claims.
func (d *desk) handleExample(w http.ResponseWriter, _ *http.Request) {
	q, err := d.open("lamp.passage", "", demoPassage)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	j := q.json()
	j.Claims = string(demoClaims)
	deskReply(w, j)
}

func (d *desk) handleForms(w http.ResponseWriter, _ *http.Request) {
	type form struct {
		ID       string   `json:"id"`
		Example  string   `json:"example"`
		Wordings []string `json:"wordings"`
		Asserts  string   `json:"asserts"`
	}
	out := []form{}
	for _, f := range claim.Forms() {
		out = append(out, form{f.ID, f.Example, nonNil(f.Wordings), f.Asserts})
	}
	deskReply(w, out)
}

func (d *desk) handlePassage(w http.ResponseWriter, _ *http.Request, q *deskPassage) {
	deskReply(w, q.json())
}

// place finds the place that a request names, the whole passage if it names none.
func (q *deskPassage) place(text string) (score.Region, error) {
	place := score.Place{All: true}
	if strings.TrimSpace(text) != "" {
		var err error
		if place, err = score.ParsePlace(text); err != nil {
			return score.Region{}, &hintError{err, "places are, for instance: " + strings.Join(score.PlaceForms, "; ")}
		}
	}
	return q.p.Resolve(place)
}

type (
	deskStaffAsk struct {
		First    int     `json:"first"` // bars, as indices
		Last     int     `json:"last"`
		Width    float64 `json:"width"` // CSS pixels
		Space    float64 `json:"space"` // of one staff space; 0 is the usual size
		Claim    string  `json:"claim"` // a line of a claims file whose evidence is marked
		Notes    []int   `json:"notes"` // indices of notes to be ringed
		Readings bool    `json:"readings"`
	}
	deskStaffJSON struct {
		SVG   string         `json:"svg"`
		Scale float64        `json:"scale"` // CSS pixels of a unit
		Bars  []deskBarJSON  `json:"bars"`
		First int            `json:"first"`
		Last  int            `json:"last"`
		Heads []deskHeadJSON `json:"heads"`
	}
	deskHeadJSON struct {
		Note int     `json:"note"` // index
		Name string  `json:"name"`
		Bar  int     `json:"bar"` // index
		Beat string  `json:"beat"`
		At   float64 `json:"at"` // quarter notes, for putting them in order
		X    float64 `json:"x"`  // of its middle, units
		Y    float64 `json:"y"`
	}
	deskBarJSON struct {
		Bar int     `json:"bar"` // index
		X   float64 `json:"x"`   // units
		Y   float64 `json:"y"`
		W   float64 `json:"w"`
		H   float64 `json:"h"`
	}
)

// deskBars is how many bars a picture holds at most.
const deskBars = 400

func (d *desk) handleStaff(w http.ResponseWriter, r *http.Request, q *deskPassage) {
	var ask deskStaffAsk
	if !readJSON(w, r, &ask) {
		return
	}
	first := min(max(ask.First, 0), len(q.p.Bars)-1)
	last := min(max(ask.Last, first), len(q.p.Bars)-1, first+deskBars-1)
	o := engrave.Options{Interactive: true, Title: q.p.Title}
	if ask.Width > 0 {
		o.Width = math.Min(math.Max(ask.Width, 200), 4000)
	}
	if ask.Space > 0 {
		o.Space = math.Min(math.Max(ask.Space, 3), 20)
	}
	region := score.Region{From: q.p.Bars[first].Start, To: q.p.Bars[last].End()}
	if ask.Claim != "" {
		if c, ok, _ := claim.ParseLine(ask.Claim); ok {
			if res, err := q.check(c); err == nil {
				markEvidence(q.p, res, &o)
			}
		}
	}
	var picked []score.Note
	for _, i := range ask.Notes {
		if i >= 0 && i < len(q.p.Notes) {
			picked = append(picked, q.p.Notes[i])
		}
	}
	if len(picked) > 0 {
		o.Marks = append(o.Marks, engrave.Mark{Notes: picked, Shape: engrave.Bars})
	}
	if ask.Readings {
		for _, rd := range firstReadings(q.p) {
			if !rd.At.Less(region.From) && rd.At.Less(region.To) {
				o.Texts = append(o.Texts, engrave.Text{At: rd.At, Text: rd.Text, Kind: engrave.Reading})
			}
		}
		for _, n := range q.numerals() {
			if !n.At.Less(region.From) && n.At.Less(region.To) {
				o.Texts = append(o.Texts, n)
			}
		}
	}
	svg, layout, err := engrave.Staff(q.p, region, o)
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	out := deskStaffJSON{SVG: string(svg), Scale: layout.Scale, Bars: []deskBarJSON{}, First: first, Last: last, Heads: []deskHeadJSON{}}
	for _, b := range layout.Boxes {
		if b.Kind == engrave.KindHead && b.Note >= 0 {
			n := q.p.Notes[b.Note]
			_, beat := q.p.BeatAt(n.Onset)
			out.Heads = append(out.Heads, deskHeadJSON{b.Note, n.Pitch.String(), b.Bar, beat.String(), n.Onset.Float(), b.X + b.W/2, b.Y + b.H/2})
		}
	}
	for _, b := range layout.Bars {
		out.Bars = append(out.Bars, deskBarJSON{b.Bar, b.X, b.Y, b.W, b.H})
	}
	deskReply(w, out)
}

// verdictShape is the mark on the evidence of a claim: its shape tells the verdict without colour.
func verdictShape(v claim.Verdict) engrave.Shape {
	switch v {
	case claim.Holds:
		return engrave.Ring
	case claim.Arguable:
		return engrave.Diamond
	}
	return engrave.Square
}

func (d *desk) handleDescribe(w http.ResponseWriter, r *http.Request, q *deskPassage) {
	region, err := q.place(r.URL.Query().Get("at"))
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	out := describePassage(q.p, region)
	q.inContext(&out, region)
	deskReply(w, out)
}

// handleCheck checks a whole claims file. Beside what check --json tells it says which notes the evidence is, by their indices.
func (d *desk) handleCheck(w http.ResponseWriter, r *http.Request, q *deskPassage) {
	text, ok := readBody(w, r)
	if !ok {
		return
	}
	const most = 1 << 20
	if len(text) > most {
		deskError(w, http.StatusRequestEntityTooLarge, errors.New("that is larger than 1 MiB; want a claims file"))
		return
	}
	results, bad, err := checkWith(q.check, "the claims", bytes.NewReader(text))
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	words, err := d.earWords(r, q, results)
	if err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	out := struct {
		checkJSON
		Notes [][]int `json:"notes"` // of each claim
	}{checkJSON: checkToJSON(q.p, results, bad, words), Notes: [][]int{}}
	for _, res := range results {
		heads := []int{}
		for _, n := range res.Evidence {
			heads = append(heads, engrave.Heads(q.p, n)...)
		}
		out.Notes = append(out.Notes, heads)
	}
	deskReply(w, out)
}

func (d *desk) handleDraft(w http.ResponseWriter, _ *http.Request, q *deskPassage) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Write(draftClaims(q.p, describePassage(q.p, score.Region{To: q.p.End()})))
}

// deskLongest is how much sound is made at once.
const deskLongest = 10 * time.Minute

// handleSound renders a place, whole or taken apart, as the words of hear have it.
func (d *desk) handleSound(w http.ResponseWriter, r *http.Request, q *deskPassage) {
	ask := r.URL.Query()
	fail := func(err error) { deskError(w, http.StatusUnprocessableEntity, err) }
	l := listening{slower: 1}
	if s := ask.Get("slower"); s != "" {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || !(x >= 0.25 && x <= 8) {
			fail(fmt.Errorf("slower %q: want 0.25 to 8", s))
			return
		}
		l.slower = x
	}
	switch ask.Get("shape") {
	case "":
	case "block":
		l.shape = blockChords
	case "broken":
		l.shape = brokenChords
	case "build":
		l.shape = builtChords
	default:
		fail(fmt.Errorf("shape %q: want block, broken or build", ask.Get("shape")))
		return
	}
	var err error
	for _, f := range []struct {
		name string
		to   *[]noteName
	}{{"without", &l.without}, {"stress", &l.stress}, {"compare", &l.compare}} {
		if texts := strings.Fields(ask.Get(f.name)); len(texts) > 0 {
			if *f.to, err = parseNoteNames(f.name, texts); err != nil {
				fail(err)
				return
			}
		}
	}
	l.countIn = ask.Get("countin") != ""
	var places []score.Region
	for _, at := range append([]string{ask.Get("at")}, ask["then"]...) {
		region, err := q.place(at)
		if err != nil {
			fail(err)
			return
		}
		places = append(places, region)
	}
	opts := synth.Options{}
	if v := ask.Get("voice"); v != "" {
		if opts.Voice, err = synth.ParseVoice(v); err != nil {
			fail(err)
			return
		}
	}
	made, err := newPlan(q.p, places, l)
	if err != nil {
		fail(err)
		return
	}
	if made.length > deskLongest {
		fail(fmt.Errorf("that lasts %.0f minutes; the desk plays up to %.0f at once", made.length.Minutes(), deskLongest.Minutes()))
		return
	}
	d.play(r.Context(), w, made.notes, opts)
}

// handleApart plays the place of a claim taken apart, as its form asks for.
func (d *desk) handleApart(w http.ResponseWriter, r *http.Request, q *deskPassage) {
	c, ok, perr := claim.ParseLine(r.URL.Query().Get("claim"))
	if perr != nil || !ok {
		deskError(w, http.StatusUnprocessableEntity, errors.New("claim: want a line of a claims file"))
		return
	}
	res, err := q.check(c)
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	made, _, err := apartPlan(q.p, res)
	if err == nil && made.length > deskLongest {
		err = fmt.Errorf("that lasts %.0f minutes; the desk plays up to %.0f at once", made.length.Minutes(), deskLongest.Minutes())
	}
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	d.play(r.Context(), w, made.notes, synth.Options{})
}

// play renders notes and sends them as a WAV file.
func (d *desk) play(ctx context.Context, w http.ResponseWriter, notes []synth.Note, opts synth.Options) {
	clip, err := synth.Render(notes, opts)
	if err != nil {
		deskError(w, http.StatusUnprocessableEntity, err)
		return
	}
	d.send(ctx, w, clip)
}

func (d *desk) send(ctx context.Context, w http.ResponseWriter, clip *synth.Clip) {
	if ctx.Err() != nil {
		return
	}
	var b bytes.Buffer
	if err := synth.WriteWAV(&b, clip, synth.PCM16); err != nil {
		deskError(w, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "audio/wav")
	w.Header().Set("Content-Length", strconv.Itoa(b.Len()))
	w.Write(b.Bytes())
}
