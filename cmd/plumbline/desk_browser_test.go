package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"plumbline/progress"
)

// axe returns the text of the accessibility checker axe-core: PLUMBLINE_AXE names its file; else it is looked for where .ci/setup
// puts it. "" if it isn't there, which the test says.
func axe(t *testing.T) string {
	t.Helper()
	path := os.Getenv("PLUMBLINE_AXE")
	if path == "" {
		path = filepath.Join("..", "..", "bin", "axe", "axe.min.js")
	}
	data, err := os.ReadFile(path)
	if err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("no axe-core, which PLUMBLINE_REQUIRE=all asks for: %v", err)
		}
		t.Logf("no axe-core in %s: the pages are not audited; .ci/setup fetches it where npm is there", path)
	}
	return string(data)
}

// audit runs axe-core with its rules for WCAG 2.2 AA and its good practices in the page that is open, in light and in dark.
func audit(t *testing.T, axe, where string) step {
	return chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		if axe == "" {
			return nil
		}
		for _, scheme := range []string{"light", "dark"} {
			media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}
			if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
				return err
			}
			found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](axe+`
;axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], resultTypes: ['violations'] }).then((r) =>
	r.violations.flatMap((v) => v.nodes.slice(0, 4).map((n) => v.id + ' (' + v.impact + '): ' + v.help + '\n    ' + n.html.slice(0, 200) + '\n    ' + n.failureSummary)))`, chromedp.EvalAwaitPromise))
			if err != nil {
				return fmt.Errorf("axe-core: %w", err)
			}
			for _, f := range found {
				t.Errorf("%s, %s: %s", where, scheme, f)
			}
		}
		return nil
	})
}

// A step is one thing done in a browser.
type step = chromedp.Action[chromedp.Void]

// browser starts a headless Chromium, or skips with a word where there is none.
func browser(t *testing.T) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatal("no Chromium; PLUMBLINE_REQUIRE=all asks for it")
		}
		t.Skip("no Chromium; on Debian the package chromium has it")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.Flag("mute-audio", true), chromedp.UserDataDir(t.TempDir()), chromedp.WSURLReadTimeout(2*time.Minute))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 8*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// openDesk serves a desk with a record of its own, and returns the address to open.
func openDesk(t *testing.T) (address, db string) {
	t.Helper()
	db = filepath.Join(t.TempDir(), "record.db")
	e := &env{stdin: strings.NewReader(""), stdout: &lockedBuffer{}, stderr: &lockedBuffer{}, getenv: func(string) string { return "" }, now: time.Now}
	d := newDesk(e, db)
	l, _, err := listenDesk("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	g := &gate{secret: newSecret(), hosts: deskHosts(l.Addr()), inner: d.routes(), log: &refusals{w: e.stderr, now: time.Now}, busy: make(chan struct{}, deskBusy)}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- serveDesk(ctx, l, g) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("the desk: %v", err)
		}
		d.close()
	})
	return "http://" + l.Addr().String() + "/?key=" + g.secret, db
}

// readmeShot makes the README's picture of the desk with -update. A browser's pixels are not the same everywhere: nothing is compared.
func readmeShot() step {
	return chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		if !*update {
			return nil
		}
		media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "light"}}}
		if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
			return err
		}
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(1100, 1400), chromedp.Evaluate[chromedp.Void](`scrollTo(0, 0)`), chromedp.Sleep(time.Second)); err != nil {
			return err
		}
		png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join("..", "..", "testdata", "pictures", "desk.png"), png, 0o644)
	})
}

// songFile returns a song from the shared corpus, or a passage of our own where it isn't there.
func songFile(t *testing.T) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	if files, _ := filepath.Glob(filepath.Join(root, "scores", "lieder", "*.mxl")); len(files) > 20 {
		path, err := filepath.Abs(files[20])
		if err != nil {
			t.Fatal(err)
		}
		return path
	}
	if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
		t.Fatalf("no songs in %s", root)
	}
	path := filepath.Join(t.TempDir(), "lamp.passage")
	if err := os.WriteFile(path, demoPassage, 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestDeskBrowser goes through the desk as its user would: opens a song, chooses a bar, writes claims, corrects one, hears it,
// takes a drill of ten, sees it in the record, and finds all again after loading the page anew. PLUMBLINE_SHOTS names a folder for
// pictures of what it saw.
func TestDeskBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes long")
	}
	ctx := browser(t)
	address, db := openDesk(t)
	var mu sync.Mutex
	var complaints []string
	if err := chromedp.Do(ctx, chromedp.Sleep(0)); err != nil { // starts the browser, before anything else asks for it
		t.Fatal(err)
	}
	go func() {
		for m, err := range chromedp.Console(ctx) {
			if err != nil {
				return
			}
			if m.IsException() || m.Type == "error" || m.Type == "warning" {
				mu.Lock()
				complaints = append(complaints, m.String())
				mu.Unlock()
			}
		}
	}()
	rules := axe(t)
	shots := os.Getenv("PLUMBLINE_SHOTS")
	shot := func(name string) step {
		return chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
			if shots == "" {
				return nil
			}
			for _, look := range []struct {
				width  int64
				scheme string
			}{{360, "dark"}, {360, "light"}, {768, "dark"}, {1280, "dark"}, {1280, "light"}} {
				media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: look.scheme}}}
				if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
					return err
				}
				if err := chromedp.Do(ctx, chromedp.EmulateViewport(look.width, 900), chromedp.Sleep(700*time.Millisecond)); err != nil {
					return err
				}
				png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				if err != nil {
					return err
				}
				if err := os.WriteFile(filepath.Join(shots, fmt.Sprintf("%s-%d-%s.png", name, look.width, look.scheme)), png, 0o666); err != nil {
					return err
				}
			}
			return nil
		})
	}
	run := func(what string, steps ...step) {
		t.Helper()
		some, cancel := context.WithTimeout(ctx, 3*time.Minute)
		defer cancel()
		if err := chromedp.Do(some, steps...); err != nil {
			mu.Lock()
			defer mu.Unlock()
			t.Fatalf("%s: %v\n%s", what, err, strings.Join(complaints, "\n"))
		}
	}
	poll := func(js string) step {
		return chromedp.Poll[chromedp.Void](js, chromedp.WithPollingTimeout(40*time.Second), chromedp.WithPollingInterval(100*time.Millisecond))
	}
	do := func(js string) step { return chromedp.Evaluate[chromedp.Void](js) }
	text := func(js string) (out string) {
		t.Helper()
		out, err := chromedp.Run(ctx, chromedp.Evaluate[string](js))
		if err != nil {
			t.Fatalf("%s: %v", js, err)
		}
		return out
	}
	run("open", chromedp.Navigate(address), chromedp.WaitVisible("#example"), audit(t, rules, "the empty desk"), shot("1-empty"))
	where := text(`location.href`)
	if strings.Contains(where, "key=") {
		t.Errorf("the page stands at %s", where)
	}
	run("a song", chromedp.SetUploadFiles("#file", []string{songFile(t)}), chromedp.WaitVisible("#staff svg .note"), poll(`document.querySelectorAll('#told li').length > 0 || document.querySelectorAll('#told p').length > 0`), audit(t, rules, "a song"), shot("2-song"))
	title := text(`document.getElementById('music-title').textContent`)
	if title == "Open a passage" || title == "" {
		t.Errorf("the title is %q", title)
	}
	run("a bar by keys", chromedp.Focus("#staff"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), poll(`document.querySelectorAll('#told .sonority').length > 0`))
	run("a note by keys", chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown), poll(`document.querySelectorAll('#staff svg .mark-bars').length > 0 && /: [A-G]/.test(document.getElementById('chosen').textContent)`))
	run("a note by the mouse", chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		at, err := chromedp.Run(ctx, chromedp.Evaluate[[]float64](`(() => { const r = document.querySelector('#staff svg .note').getBoundingClientRect(); return [r.x + r.width / 2, r.bottom - 4]; })()`))
		if err != nil {
			return err
		}
		return chromedp.Do(ctx, chromedp.MouseClickXY(at[0], at[1]))
	}), poll(`document.querySelectorAll('#staff svg .mark-bars').length > 0`), shot("3-bar"))
	run("the example", chromedp.Click("#example"), poll(`document.querySelectorAll('#verdicts li').length > 5`), chromedp.Click("#verdicts li.fails button"), poll(`document.querySelectorAll('#staff svg .mark-square').length > 0`),
		chromedp.Click("#readings"), poll(`[...document.querySelectorAll('#staff svg text')].some((x) => /^V/.test(x.textContent))`), audit(t, rules, "claims"), shot("4-claims"), readmeShot())
	run("every stop of the tab key", do(`document.activeElement.blur(); scrollTo(0, 0)`))
	stops := map[string]string{}
	for range 90 {
		if err := chromedp.Do(ctx, chromedp.KeyEvent(kb.Tab)); err != nil {
			t.Fatal(err)
		}
		stop, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`(() => {
			const e = document.activeElement, s = getComputedStyle(e.type === 'file' ? e.parentElement : e);
			return [e.id || e.getAttribute('aria-label') || e.textContent.trim(), s.outlineStyle + ' ' + s.outlineWidth]; })()`))
		if err != nil {
			t.Fatal(err)
		}
		stops[stop[0]] = stop[1]
	}
	for _, want := range []string{"Go to the music", "file", "example", "from", "staff", "place", "shape", "without", "player", "claims", "draft", "claims-file", "Show line 2 on the staff", "Hear the place of line 2 taken apart", "Drill"} {
		if look, ok := stops[want]; !ok {
			t.Errorf("the tab key doesn't reach %q", want)
		} else if want != "player" && look != "solid 3px" { // the browser draws the player
			t.Errorf("at %q the focus shows as %q", want, look)
		}
	}
	count := `String(document.querySelectorAll('#verdicts li.fails, #verdicts li.error').length)`
	before := text(count)
	run("correct a claim", do(`(() => { const c = document.getElementById('claims'); c.value = 'bar 1: is the first bar of all\nbar 1 beat 1: uses only white keys\nbar 1: contains a note'; c.dispatchEvent(new Event('input')); })()`),
		poll(`document.querySelectorAll('#verdicts li.error').length > 0`),
		do(`(() => { const c = document.getElementById('claims'); c.value = 'bar 1 beat 1: bass is A'; c.dispatchEvent(new Event('input')); })()`),
		poll(`document.querySelectorAll('#verdicts li').length === 1`))
	if after := text(count); before == "0" || after != "0" {
		t.Errorf("lines that don't hold: %s before, %s after", before, after)
	}
	run("hear it", chromedp.Click("#hear button[type=submit]"), poll(`(() => { const a = document.getElementById('player'); return a.duration > 0.5 && !a.error; })()`))
	run("complete a claim", do(`(() => { const c = document.getElementById('claims'); c.focus(); c.value = 'bar 2: stack'; c.setSelectionRange(99, 99); c.dispatchEvent(new KeyboardEvent('keydown', { key: ' ', ctrlKey: true, bubbles: true, cancelable: true })); })()`),
		poll(`document.querySelectorAll('#forms li').length > 0`), audit(t, rules, "the forms of claims"), shot("5-forms"), chromedp.KeyEvent("\r"), poll(`/bar 2: .*stacked/.test(document.getElementById('claims').value)`))
	run("the ear", do(`(() => { const c = document.getElementById('claims'); c.value = 'bar 4 beat 3: bass is E'; c.dispatchEvent(new Event('input')); })()`),
		poll(`document.querySelectorAll('#verdicts li.holds').length === 1`), do(`document.querySelector('#verdicts .doing button:last-child').click()`),
		poll(`document.querySelectorAll('#choices button').length === 2 && !document.getElementById('drill').hidden`), audit(t, rules, "a claim by ear"), shot("6-ear"),
		chromedp.KeyEvent("1"), chromedp.WaitVisible("#next"), poll(`document.getElementById('told-answer').textContent.length > 5`))
	kind := func(value string) step {
		return do(fmt.Sprintf(`(() => { const k = document.getElementById('kind'); k.value = %q; k.dispatchEvent(new Event('change')); })()`, value))
	}
	run("dictation", kind("kind dictation"), chromedp.Click("#drill-form button[type=submit]"), chromedp.WaitVisible("#keys svg"),
		do(`document.querySelector('#keys [tabindex="0"]').focus()`), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent("\r"),
		poll(`document.getElementById('typed').value === 'D4' && document.querySelectorAll('#entered svg .note').length === 1`), audit(t, rules, "dictation"), shot("7-dictation"),
		do(`document.getElementById('typed-go').click()`), chromedp.WaitVisible("#next"))
	run("a deck", kind("deck first-chords"), chromedp.Click("#drill-form button[type=submit]"), poll(`/^deck /.test(document.getElementById('heading').textContent) && document.querySelectorAll('#choices button').length > 1`))
	run("a drill", kind("kind quality"), chromedp.Click("#drill-form button[type=submit]"), poll(`document.getElementById('heading').textContent === ''`), chromedp.WaitVisible("#choices button"), audit(t, rules, "a drill"), shot("8-drill"))
	for n := 1; n <= 10; n++ {
		run(fmt.Sprintf("question %d", n), poll(fmt.Sprintf(`document.getElementById('counter').textContent.startsWith('Question %d of 10') && !document.querySelector('#choices button').disabled`, n)),
			chromedp.KeyEvent("1"), chromedp.WaitVisible("#next"))
		if n == 1 {
			run("picture", audit(t, rules, "an answer"), shot("9-answer"))
		}
		run("next", chromedp.KeyEvent("\r"))
	}
	run("the end", poll(`document.getElementById('prompt').textContent.includes('of 10 right')`))
	run("the record", chromedp.Click(`a[data-room=record]`), chromedp.WaitVisible("#record-body table"), do(`[...document.querySelectorAll('#record-body button')].at(-1).click()`), chromedp.WaitVisible("#record-body .plot svg"), audit(t, rules, "the record"), shot("10-record"))
	run("loaded again", chromedp.Reload(), chromedp.WaitVisible("#record-body table"), chromedp.Click(`a[data-room=music]`), chromedp.WaitVisible("#staff svg .note"),
		poll(`document.getElementById('claims').value.startsWith('bar 4 ')`))
	mu.Lock()
	for _, c := range complaints {
		t.Errorf("the browser complains: %s", c)
	}
	mu.Unlock()

	s, err := progress.Open(context.Background(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	sum, err := s.Summary(context.Background(), progress.Filter{})
	if claims, err := s.EarClaims(context.Background()); err != nil || len(claims) != 1 {
		t.Errorf("the record has %d claims by ear (%v); want 1", len(claims), err)
	}
	if err != nil || sum.Total.Asked != 11 {
		t.Errorf("the record has %d answers (%v); want 11", sum.Total.Asked, err)
	}
}

// TestSheetBrowser audits the page of a sheet and prints it on both papers.
func TestSheetBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes long")
	}
	ctx := browser(t)
	var page []byte
	for _, f := range sheetOf(t, sheetLines) {
		if f.name == "sheet.html" {
			page = f.data
		}
	}
	path := filepath.Join(t.TempDir(), "sheet.html")
	if err := os.WriteFile(path, page, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Do(ctx, chromedp.Navigate("file://"+path), chromedp.WaitVisible("article svg"), audit(t, axe(t), "the sheet")); err != nil {
		t.Fatal(err)
	}
	wide, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > innerWidth`))
	if err != nil || wide {
		t.Errorf("the page is wider than its window: %v, %v", wide, err)
	}
	for _, paper := range []struct {
		name          string
		width, height float64 // inches
	}{{"A4", 210 / 25.4, 297 / 25.4}, {"Letter", 8.5, 11}} {
		pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(func(p *cdppage.PrintToPDFParams) { p.PaperWidth, p.PaperHeight = paper.width, paper.height }))
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(pdf, []byte("/Type /Page\n")); n < 1 || n > 3 {
			t.Errorf("%s: %d pages for four claims", paper.name, n)
		}
		if shots := os.Getenv("PLUMBLINE_SHOTS"); shots != "" {
			if err := os.WriteFile(filepath.Join(shots, "sheet-"+paper.name+".pdf"), pdf, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
}
