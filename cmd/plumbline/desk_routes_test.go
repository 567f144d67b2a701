package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbline/progress"
)

// testDesk is a desk without its gate, asked as a page asks it.
type testDesk struct {
	t    testing.TB
	d    *desk
	db   string
	mux  http.Handler
	said *lockedBuffer
}

func newTestDesk(t testing.TB) *testDesk {
	db := filepath.Join(t.TempDir(), "record.db")
	said := &lockedBuffer{}
	d := newDesk(&env{stdin: strings.NewReader(""), stdout: said, stderr: said, getenv: func(string) string { return "" }, now: time.Now}, db)
	t.Cleanup(d.close)
	return &testDesk{t, d, db, d.routes(), said}
}

// ask sends a request and returns its answer; a body that is no string is sent as JSON.
func (k *testDesk) ask(method, path string, body any) *httptest.ResponseRecorder {
	k.t.Helper()
	var r io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		r = strings.NewReader(b)
	case []byte:
		r = bytes.NewReader(b)
	default:
		data, err := json.Marshal(b)
		if err != nil {
			k.t.Fatal(err)
		}
		r = bytes.NewReader(data)
	}
	w := httptest.NewRecorder()
	k.mux.ServeHTTP(w, httptest.NewRequest(method, path, r))
	return w
}

// get is ask for what must succeed; its answer goes into v unless that is nil.
func (k *testDesk) get(v any, method, path string, body any) {
	k.t.Helper()
	w := k.ask(method, path, body)
	if w.Code != http.StatusOK {
		k.t.Fatalf("%s %s: %d %s", method, path, w.Code, w.Body)
	}
	if v != nil {
		if err := json.Unmarshal(w.Body.Bytes(), v); err != nil {
			k.t.Fatalf("%s %s: %v\n%s", method, path, err, w.Body)
		}
	}
}

// example opens the passage of the demo and returns the beginning of its address.
func (k *testDesk) example() string {
	k.t.Helper()
	var p deskPassageJSON
	k.get(&p, "POST", "/api/example", struct{}{})
	return "/api/passage/" + p.ID
}

type obj = map[string]any

// TestDeskRefuses sends what no page sends: each is refused with a sentence, and none with a panic or a file.
func TestDeskRefuses(t *testing.T) {
	k := newTestDesk(t)
	at := k.example()
	var drill struct{ ID string }
	k.get(&drill, "POST", "/api/drill", obj{"kind": "quality", "level": 1})
	asked := "/api/drill/" + drill.ID
	k.get(nil, "GET", asked, nil)
	q := url.QueryEscape
	for _, tt := range []struct {
		method, path string
		body         any
		want         int
	}{
		{"POST", "/api/open", "", 422},
		{"POST", "/api/open?name=x.mxl", "PK\x03\x04", 422},
		{"POST", "/api/open?name=x.xml", "<score-partwise>", 422},
		{"POST", "/api/open?name=" + q("../../etc/passwd"), "nothing of music", 422},
		{"POST", "/api/open?part=zither", string(demoPassage), 422},
		{"GET", "/api/passage/none", nil, 404},
		{"GET", "/api/passage/" + q("../../start"), nil, 404},
		{"GET", "/assets/../../desk.go", nil, 307}, // to the path without dots, where there is nothing
		{"GET", "/desk.go", nil, 404},
		{"GET", "/assets/..%2f..%2fdesk.go", nil, 404},
		{"GET", at + "/describe?at=" + q("bar 999"), nil, 422},
		{"GET", at + "/describe?at=" + q("somewhere"), nil, 422},
		{"GET", at + "/sound?at=" + q("bar 99999999999999999999"), nil, 422},
		{"GET", at + "/sound?slower=1e300", nil, 422},
		{"GET", at + "/sound?slower=NaN", nil, 422},
		{"GET", at + "/sound?shape=round", nil, 422},
		{"GET", at + "/sound?without=H9", nil, 422},
		{"GET", at + "/sound?voice=banjo", nil, 422},
		{"GET", at + "/apart", nil, 422},
		{"GET", at + "/apart?claim=" + q("bar 99: is C major"), nil, 422},
		{"POST", at + "/staff", "{", 400},
		{"POST", at + "/staff", `{"first": "one"}`, 400},
		{"POST", at + "/staff", `{"first": 1e99}`, 400},
		{"POST", at + "/check", bytes.Repeat([]byte("x"), 1<<20+1), 413},
		{"POST", at + "/check", "bar 1: \xff", 422},
		{"POST", at + "/ear", obj{"claims": "bar 2 beat 3: is Dm7", "line": 1}, 422}, // it fails
		{"POST", at + "/ear", obj{"claims": "", "line": 7}, 422},
		{"GET", "/api/ear/none", nil, 404},
		{"POST", "/api/drill", "nonsense", 400},
		{"POST", "/api/drill", obj{"kind": "juggling"}, 422},
		{"POST", "/api/drill", obj{"kind": "quality", "level": 99}, 422},
		{"POST", "/api/drill", obj{"kind": "quality", "count": -1}, 422},
		{"POST", "/api/drill", obj{"kind": "quality", "count": 1 << 40}, 422},
		{"POST", "/api/drill", obj{"kind": "quality", "passage": "none"}, 422},
		{"POST", "/api/drill", obj{"deck": "/etc/passwd"}, 422},
		{"POST", "/api/drill", obj{"deck": "../desk.go"}, 422},
		{"POST", "/api/drill", obj{"deck": "sevenths", "step": 99}, 422},
		{"GET", "/api/drill/none", nil, 404},
		{"GET", asked + "/sound?what=backwards", nil, 400},
		{"GET", asked + "/sound?what=compare", nil, 422},
		{"GET", asked + "/sound?what=last", nil, 422},
		{"POST", asked + "/answer", obj{"question": "another", "given": "1"}, 409},
		{"POST", asked + "/answer", "[", 400},
		{"POST", "/api/keys", obj{"notes": []string{"Q7"}}, 422},
		{"POST", "/api/keys", obj{"notes": make([]string, 1000)}, 422},
		{"POST", "/api/notes", obj{"notes": make([]string, 1000)}, 422},
		{"DELETE", "/api/progress", nil, 405},
		{"GET", "/api/drill", nil, 405},
	} {
		w := k.ask(tt.method, tt.path, tt.body)
		if w.Code != tt.want {
			t.Errorf("%s %s: %d, want %d: %.200s", tt.method, tt.path, w.Code, tt.want, w.Body)
		}
		var said struct{ Error string }
		if (tt.want == 400 || tt.want == 413 || tt.want == 422 || tt.want == 409) && (json.Unmarshal(w.Body.Bytes(), &said) != nil || said.Error == "") {
			t.Errorf("%s %s: no sentence: %.200s", tt.method, tt.path, w.Body)
		}
		if strings.Contains(w.Body.String(), "root:") {
			t.Errorf("%s %s gives a file away", tt.method, tt.path)
		}
	}
}

// TestDeskAnswers asks every address for what a page asks it, and looks for what must be in the answer.
func TestDeskAnswers(t *testing.T) {
	k := newTestDesk(t)
	at := k.example()
	q := url.QueryEscape
	for _, tt := range []struct {
		method, path string
		body         any
		want         string
	}{
		{"GET", "/", nil, "<title>Plumbline</title>"},
		{"GET", "/assets/desk.js", nil, "import"},
		{"GET", "/api/start", nil, `"places"`},
		{"GET", "/api/start", nil, `"Chord quality"`},
		{"GET", "/api/start", nil, `"first-chords"`},
		{"GET", "/api/forms", nil, "stacked in fifths"},
		{"GET", at, nil, "A lamp by the window"},
		{"POST", at + "/staff", obj{"first": 0, "last": 3, "width": 500, "readings": true}, "<svg"},
		{"POST", at + "/staff", obj{"first": 0, "last": 8, "width": 500, "readings": true}, ">V<"},
		{"GET", at + "/describe?at=" + q("bar 4"), nil, `"numeral":"V7"`},
		{"POST", at + "/staff", obj{"first": -5, "last": 1 << 30, "width": 1e9, "space": 1e9, "notes": []int{-1, 5, 1 << 30}}, "mark-bars"},
		{"POST", at + "/staff", obj{"last": 8, "claim": "bar 2 beat 3: is Dm7"}, "mark-square"},
		{"POST", at + "/staff", obj{"last": 8, "claim": "bars 5-6, top line: splits into two chromatic lines"}, "strand"},
		{"GET", at + "/describe?at=" + q("bar 1 beat 1"), nil, `"sonorities"`},
		{"POST", at + "/check", "bar 2 beat 3: is Dm7\nbar 1: dances", `"fails":1`},
		{"GET", at + "/draft", nil, "bar "},
		{"GET", at + "/sound?shape=broken&at=" + q("bar 1 beat 1"), nil, "RIFF"},
		{"GET", at + "/sound?compare=B3&at=" + q("bar 1 beat 1"), nil, "RIFF"},
		{"GET", at + "/apart?claim=" + q("bar 1 beat 3: D#5 resolves to E5 at bar 1 beat 4"), nil, "RIFF"},
		{"POST", "/api/keys", obj{"left": []string{"C3"}, "right": []string{"E4"}}, "svg"},
		{"POST", "/api/notes", obj{"notes": []string{"C3", "F#5", "Bb4"}, "row": true}, "svg"},
		{"POST", "/api/notes", obj{}, "svg"},
		{"GET", "/api/progress", nil, `"groups":[]`},
		{"GET", "/api/progress/picture", nil, "<svg"},
		{"GET", "/api/learners", nil, "[]"},
	} {
		if w := k.ask(tt.method, tt.path, tt.body); w.Code != 200 || !strings.Contains(w.Body.String(), tt.want) {
			t.Errorf("%s %s: %d without %q: %.300s", tt.method, tt.path, w.Code, tt.want, w.Body)
		}
	}
	if _, err := os.Stat(k.db); err == nil {
		t.Error("looking has made a record")
	}
}

// TestDeskDrill answers a drill to its end: each answer is on disk before it is told, a question is answered once, and the record
// is that of the learner who was named.
func TestDeskDrill(t *testing.T) {
	k := newTestDesk(t)
	ctx := context.Background()
	at := k.example()
	for _, tt := range []obj{
		{"kind": "quality", "level": 2},
		{"kind": "quality", "sight": true},
		{"kind": "dictation"},
		{"kind": "same"},
		{"planned": true},
		{"deck": "first-chords"},
		{"kind": "quality", "passage": strings.TrimPrefix(at, "/api/passage/"), "at": "bars 1-4"},
	} {
		t.Run(fmt.Sprint(tt), func(t *testing.T) {
			tt["count"], tt["learner"], tt["seed"] = 3, "Wren", 5
			var drill struct{ ID string }
			k.get(&drill, "POST", "/api/drill", tt)
			base := "/api/drill/" + drill.ID
			for n := 1; n <= 3; n++ {
				var q, same deskQuestionJSON
				k.get(&q, "GET", base, nil)
				k.get(&same, "GET", base, nil) // loaded again
				if q.Number != n || q.ID != same.ID || q.Over {
					t.Fatalf("question %d is %+v, then %+v", n, q, same)
				}
				if w := k.ask("GET", base+"/sound?what=slow&again=1", nil); w.Code != 200 || !bytes.HasPrefix(w.Body.Bytes(), []byte("RIFF")) {
					t.Fatalf("no sound: %d", w.Code)
				}
				given := obj{"question": q.ID, "given": "1"}
				if len(q.Choices) == 0 {
					given["given"] = "C4 E4"
				}
				// Two tabs answer at once: one is taken, the other told so.
				codes := make([]int, 2)
				var wg sync.WaitGroup
				for i := range codes {
					wg.Add(1)
					go func() { defer wg.Done(); codes[i] = k.ask("POST", base+"/answer", given).Code }()
				}
				wg.Wait()
				last := n == 3
				if codes[0]+codes[1] != 200+409 && !(last && codes[0]+codes[1] == 200+422) {
					t.Fatalf("two answers at once: %v", codes)
				}
				other, err := progress.Open(ctx, k.db)
				if err != nil {
					t.Fatal(err)
				}
				as, err := other.As(ctx, "Wren", false)
				if err != nil {
					t.Fatal(err)
				}
				past, err := as.Sittings(ctx, 1)
				if err != nil || len(past) != 1 || past[0].Score.Asked != n {
					t.Fatalf("after answer %d the record has %+v (%v)", n, past, err)
				}
				if last == past[0].Ended.IsZero() {
					t.Errorf("after answer %d of 3 the drill ended at %v", n, past[0].Ended)
				}
				other.Close()
			}
			var q deskQuestionJSON
			k.get(&q, "GET", base, nil)
			if !q.Over || !strings.Contains(q.Result, "of 3 right") {
				t.Errorf("the end is %+v", q)
			}
		})
	}
	var names []string
	k.get(&names, "GET", "/api/learners", nil)
	if len(names) != 1 || names[0] != "Wren" {
		t.Errorf("learners: %q", names)
	}
	for who, want := range map[string]int{"?learner=Wren": 21, "": 0, "?learner=Nobody": 0} {
		var page progressPage
		k.get(&page, "GET", "/api/progress"+who, nil)
		if page.Total.Asked != want {
			t.Errorf("the record of %q has %d answers; want %d", who, page.Total.Asked, want)
		}
	}
}

// TestDeskEar asks about a claim until it is decided: a perfect ear hears it, the check says so, and giving up counts as wrong.
func TestDeskEar(t *testing.T) {
	k := newTestDesk(t)
	at := k.example()
	const claims = "bar 2 beat 1: bass is F#\nbar 4 beat 3: bass is E\n"
	begin := func() string {
		var x struct{ ID string }
		k.get(&x, "POST", at+"/ear", obj{"claims": claims, "line": 2, "seed": 3})
		return "/api/ear/" + x.ID
	}
	base := begin()
	var q deskQuestionJSON
	k.get(&q, "GET", base, nil)
	if len(q.Choices) != 2 || q.Kind != "claim" || !strings.Contains(q.Heading, "bass is E") {
		t.Fatalf("asked: %+v", q)
	}
	if w := k.ask("GET", base+"/sound", nil); w.Code != 200 {
		t.Fatalf("no sound: %d %s", w.Code, w.Body)
	}
	if w := k.ask("POST", base+"/answer", obj{"question": q.ID, "given": "maybe"}); w.Code != 422 {
		t.Errorf("maybe: %d", w.Code)
	}
	var got deskAnswerJSON
	k.get(&got, "POST", base+"/answer", obj{"question": q.ID, "give_up": true})
	if got.Right || got.Expected == "" || got.Text == "" {
		t.Errorf("gave up: %+v", got)
	}
	if w := k.ask("GET", base+"/sound?what=compare", nil); w.Code != 200 {
		t.Errorf("compare: %d", w.Code)
	}
	if w := k.ask("POST", base+"/answer", obj{"question": q.ID, "given": "1"}); w.Code != 409 {
		t.Errorf("answered twice: %d", w.Code)
	}
	base = begin() // in another tab: taken up where it was left
	for n := 0; !got.Over; n++ {
		if n > 30 {
			t.Fatal("it goes on for ever")
		}
		k.get(&q, "GET", base, nil)
		// The right answer is found in the server, as a perfect ear would in the sound.
		x := k.d.sittings.askings[len(k.d.sittings.askings)-1]
		k.get(&got, "POST", base+"/answer", obj{"question": q.ID, "given": x.s.trial(x.a, 0).Expected})
	}
	k.get(&q, "GET", base, nil)
	if !q.Over || !strings.HasPrefix(q.Result, "Heard: ") {
		t.Errorf("decided: %+v", q)
	}
	var checked checkJSON
	k.get(&checked, "POST", at+"/check", claims)
	if c := checked.Claims; len(c) != 2 || c[0].Ear != "" || !strings.HasPrefix(c[1].Ear, "heard (") {
		t.Errorf("checked: %+v", c)
	}
	if w := k.ask("POST", base+"/answer", obj{"question": q.ID, "given": "1"}); w.Code != 422 {
		t.Errorf("answered after the end: %d", w.Code)
	}
}

// TestDeskBounds opens more passages and drills than a desk keeps.
func TestDeskBounds(t *testing.T) {
	k := newTestDesk(t)
	at := k.example()
	for i := range deskPassages {
		k.get(nil, "POST", "/api/open?name=p.passage", strings.Replace(string(demoPassage), "A lamp by the window", fmt.Sprint("Lamp ", i), 1))
	}
	if w := k.ask("GET", at, nil); w.Code != 404 || len(k.d.passages) != deskPassages {
		t.Errorf("the oldest passage of %d: %d", len(k.d.passages), w.Code)
	}
	begin := func() string {
		var drill struct{ ID string }
		k.get(&drill, "POST", "/api/drill", obj{"kind": "quality"})
		var q deskQuestionJSON
		k.get(&q, "GET", "/api/drill/"+drill.ID, nil)
		k.get(nil, "POST", "/api/drill/"+drill.ID+"/answer", obj{"question": q.ID, "give_up": true})
		return "/api/drill/" + drill.ID
	}
	first := begin()
	for range deskOpenSittings {
		begin()
	}
	if w := k.ask("GET", first, nil); w.Code != 404 {
		t.Errorf("the oldest drill: %d", w.Code)
	}
	store, err := progress.Open(context.Background(), k.db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	ended := func() (n int) {
		past, err := store.Sittings(context.Background(), 100)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range past {
			if !s.Ended.IsZero() {
				n++
			}
		}
		return n
	}
	if n := ended(); n != 1 {
		t.Errorf("%d drills have ended; want the oldest", n)
	}
	k.d.close()
	k.d.close() // closed twice, it says nothing
	if n := ended(); n != deskOpenSittings+1 {
		t.Errorf("%d drills have ended with the desk; want %d", n, deskOpenSittings+1)
	}
	if s := k.said.String(); s != "" {
		t.Errorf("said: %s", s)
	}
}

// hundredBars is a passage of 100 bars: the demo's, again and again.
func hundredBars(b *testing.B) *testDesk {
	k := newTestDesk(b)
	var bars strings.Builder
	for i := range 100 {
		n := 52 + i%12
		fmt.Fprintf(&bars, "<measure number=\"%d\">", i+1)
		if i == 0 {
			bars.WriteString("<attributes><divisions>2</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time><staves>2</staves></attributes>")
		}
		for staff := 1; staff <= 2; staff++ {
			for beat := range 8 {
				for v := range 2 {
					chord := ""
					if v > 0 {
						chord = "<chord/>"
					}
					m := n + (2-staff)*14 + beat%3*2 + v*4
					step, alter := "CCDDEFFGGAAB"[m%12], []int{0, 1, 0, 1, 0, 0, 1, 0, 1, 0, 1, 0}[m%12]
					fmt.Fprintf(&bars, "<note>%s<pitch><step>%c</step><alter>%d</alter><octave>%d</octave></pitch><duration>1</duration><voice>%d</voice><type>eighth</type><staff>%d</staff></note>", chord, step, alter, m/12-1, staff, staff)
				}
			}
			if staff == 1 {
				bars.WriteString("<backup><duration>8</duration></backup>")
			}
		}
		bars.WriteString("</measure>")
	}
	doc := `<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name></score-part></part-list><part id="P1">` + bars.String() + `</part></score-partwise>`
	var p deskPassageJSON
	k.get(&p, "POST", "/api/open?name=long.musicxml", doc)
	if len(p.Bars) != 100 {
		b.Fatalf("%d bars", len(p.Bars))
	}
	k.db = "/api/passage/" + p.ID
	return k
}

func BenchmarkDeskFirstPage(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		k := newTestDesk(b)
		for _, path := range []string{"/", "/assets/desk.css", "/assets/desk.js", "/assets/api.js", "/assets/music.js", "/assets/drill.js", "/assets/record.js", "/api/start"} {
			k.get(nil, "GET", path, nil)
		}
	}
}

// BenchmarkDeskVerdict checks a file of thirty claims after each of its last letters.
func BenchmarkDeskVerdict(b *testing.B) {
	k := hundredBars(b)
	var file strings.Builder
	for i := range 29 {
		fmt.Fprintf(&file, "bar %d beat %d: %s\n", 3*i+1, i%4+1, []string{"is C major", "bass is E", "uses only white keys", "stacked in thirds", "is tonic in C major", "contains the chromatic cluster C C# D"}[i%6])
	}
	check := func(text string) {
		if w := k.ask("POST", k.db+"/check", text); w.Code != 200 {
			b.Fatal(w.Body)
		}
	}
	check(file.String())
	b.ReportAllocs()
	for n := 0; b.Loop(); n++ {
		check(file.String() + fmt.Sprintf("bar %d beat %d: is %c", n%100+1, n%4+1, 'A'+n%7))
	}
}

// BenchmarkDeskDescribe is a click on a bar.
func BenchmarkDeskDescribe(b *testing.B) {
	k := hundredBars(b)
	b.ReportAllocs()
	for n := 0; b.Loop(); n++ {
		k.get(nil, "GET", fmt.Sprintf("%s/describe?at=bar+%d", k.db, n%100+1), nil)
	}
}

func BenchmarkDeskStaff(b *testing.B) {
	k := hundredBars(b)
	b.ReportAllocs()
	for b.Loop() {
		k.get(nil, "POST", k.db+"/staff", obj{"first": 0, "last": 99, "width": 1000})
	}
}
