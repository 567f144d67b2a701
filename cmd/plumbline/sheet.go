package main

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"plumbline/synth"
	"plumbline/theory/claim"
	"plumbline/theory/engrave"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
)

//go:embed sheet/sheet.html
var sheetHTML string

//go:embed sheet/sheet.css
var sheetCSS string

var sheetTemplate = template.Must(template.New("sheet").Parse(sheetHTML))

func newSheetCmd(e *env) *cobra.Command {
	var out, part, db string
	var force, noPictures bool
	cmd := &cobra.Command{
		Use:   "sheet PASSAGE CLAIMS",
		Short: "Write the evidence as a page to print or send, and pictures and sound for a talk",
		Long: `Checks the claims and writes, into the folder of --out,

  sheet.html        one page that holds everything: the staves, each claim with its
                    verdict and evidence, what the ear has heard, the sound
  passage.musicxml  the passage with the readings under the staff
  claim-01.svg      for each claim a picture, 16:9 with large type, also as .png
  claim-01.wav      its place as it sounds
  claim-01-apart.wav  its place taken apart
  claim-01.vtt      captions (WebVTT) for the one, claim-01-apart.vtt for the other

The same passage, claims and record give the same bytes. Lines that aren't
understood are told and left out.`,
		Example: "  plumbline sheet song.mxl talk.claims --out talk",
		Args:    needArgs("PASSAGE", "CLAIMS"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return &usageError{cmd.CommandPath(), errors.New("--out is missing: name the folder to write into")}
			}
			p, _, err := e.load(args[0], passageFlags{part: part})
			if errors.Is(err, errPartsListed) {
				return nil
			}
			if err != nil {
				return err
			}
			data, err := os.ReadFile(args[1])
			if err != nil {
				return fmt.Errorf("can't read the claims: %w", err)
			}
			results, bad, err := checkClaims(p, args[1], bytes.NewReader(data))
			if err != nil {
				return err
			}
			for _, b := range bad {
				e.fail(b)
			}
			if len(results) == 0 {
				return &hintError{fmt.Errorf("%s holds no claim that is understood", args[1]), "\"plumbline claims\" lists what a claims file may say"}
			}
			_, ear := e.ears(cmd.Context(), p, results, db)
			s := &sheet{e: e, p: p, results: results, ear: ear, pictures: !noPictures}
			files, err := s.make(cmd.Context())
			if err != nil {
				return err
			}
			if err := writeFiles(out, files, force); err != nil {
				return err
			}
			fmt.Fprintf(e.stdout, "%s: %d claims, %d files; open %s in a browser.\n", out, len(results), len(files), filepath.Join(out, "sheet.html"))
			if len(bad) > 0 {
				return errTold
			}
			return nil
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "the folder to write into; it is made if it isn't there")
	cmd.Flags().StringVar(&part, "part", "", "the part to read, by name, id or number; \"list\" lists them (default the piano)")
	cmd.Flags().StringVar(&db, "db", "", "the file that keeps the answers, for what is heard (default under XDG_DATA_HOME)")
	cmd.Flags().BoolVar(&force, "force", false, "write over files of an earlier sheet")
	cmd.Flags().BoolVar(&noPictures, "page-only", false, "write only sheet.html and passage.musicxml")
	return cmd
}

// A sheetFile is a file to be written.
type sheetFile struct {
	name string
	data []byte
}

// writeFiles writes files into a folder: first beside their places, then all moved there, so that a sheet is whole or not there.
func writeFiles(dir string, files []sheetFile, force bool) (err error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("can't make the folder for the sheet: %w", err)
	}
	for _, f := range files {
		path := filepath.Join(dir, f.name)
		if _, err := os.Lstat(path); err == nil && !force {
			return &hintError{fmt.Errorf("%s is there already", path), "--force writes over it, or --out names another folder"}
		} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	temp, err := os.MkdirTemp(dir, ".sheet-")
	if err != nil {
		return fmt.Errorf("can't write into %s: %w", dir, err)
	}
	defer os.RemoveAll(temp)
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(temp, f.name), f.data, 0o666); err != nil {
			return fmt.Errorf("can't write %s: %w", f.name, err)
		}
	}
	for _, f := range files {
		if err := os.Rename(filepath.Join(temp, f.name), filepath.Join(dir, f.name)); err != nil {
			return fmt.Errorf("can't write %s: %w", f.name, err)
		}
	}
	return nil
}

// A sheet is what an analyst walks out with.
type sheet struct {
	e        *env
	p        *score.Passage
	results  []claim.Result
	ear      func(claim.Claim) string
	pictures bool
}

type (
	sheetPage struct {
		Title, Facts, Tally string
		Style               template.CSS
		Staff               template.HTML
		Claims              []sheetClaim
		Warnings            []string
	}
	sheetClaim struct {
		Number                                                   int
		Place, Statement, Remark, Verdict, Because, Instead, Ear string
		Staff                                                    template.HTML
		Sound, Apart                                             template.URL
	}
)

// make makes all files of the sheet.
func (s *sheet) make(ctx context.Context) ([]sheetFile, error) {
	var files []sheetFile
	whole, _, err := engrave.Staff(s.p, s.limited(score.Region{To: s.p.End()}), engrave.Options{Width: 720, Space: 5.5, Prefix: "all-"})
	if err != nil {
		return nil, err
	}
	page := sheetPage{Title: s.p.Title, Style: template.CSS(sheetCSS), Staff: template.HTML(whole), Warnings: s.p.Warnings, Facts: s.facts(), Tally: s.tally()}
	if page.Title == "" {
		page.Title = filepath.Base(s.p.Source)
	}
	told := s.e.telling(len(s.results), "claims")
	defer told.end()
	for i, r := range s.results {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		c := sheetClaim{Number: i + 1, Place: r.Claim.PlaceText, Statement: r.Claim.Statement, Remark: r.Claim.Remark, Verdict: string(r.Verdict),
			Because: r.Because, Instead: r.Instead, Ear: s.ear(r.Claim)}
		staff, _, err := engrave.Staff(s.p, s.shown(r), s.options(r, engrave.Options{Width: 720, Space: 8, Prefix: fmt.Sprintf("c%d-", i+1)}))
		if err != nil {
			return nil, err
		}
		c.Staff = template.HTML(staff)
		name := fmt.Sprintf("claim-%02d", i+1)
		for _, h := range []struct {
			apart bool
			file  string
			to    *template.URL
		}{{false, name, &c.Sound}, {true, name + "-apart", &c.Apart}} {
			clip, cues, err := s.sound(r, h.apart, synth.MinRate)
			if errors.Is(err, errSilent) {
				continue
			}
			if err != nil {
				return nil, fmt.Errorf("the sound of %q: %w", r.Claim.PlaceText+": "+r.Claim.Statement, err)
			}
			// The page carries one channel at the lowest rate, to be small enough to send; the files carry all of it.
			var b bytes.Buffer
			if err := synth.WriteWAV(&b, clip, synth.PCM16|synth.Mono); err != nil {
				return nil, err
			}
			*h.to = template.URL("data:audio/wav;base64," + base64.StdEncoding.EncodeToString(b.Bytes()))
			if !s.pictures {
				continue
			}
			if clip, cues, err = s.sound(r, h.apart, synth.DefaultRate); err != nil {
				return nil, err
			}
			var full bytes.Buffer
			if err := synth.WriteWAV(&full, clip, synth.PCM16); err != nil {
				return nil, err
			}
			files = append(files, sheetFile{h.file + ".wav", full.Bytes()}, sheetFile{h.file + ".vtt", webVTT(cues)})
		}
		if s.pictures {
			svg, err := s.picture(r, c)
			if err != nil {
				return nil, err
			}
			png, err := rasterize(svg)
			if err != nil {
				return nil, fmt.Errorf("the picture of %q: %w", r.Claim.Statement, err)
			}
			files = append(files, sheetFile{name + ".svg", svg}, sheetFile{name + ".png", png})
		}
		page.Claims = append(page.Claims, c)
		told.step()
	}
	var b bytes.Buffer
	if err := sheetTemplate.Execute(&b, page); err != nil {
		return nil, err
	}
	files = append(files, sheetFile{"sheet.html", b.Bytes()})
	b = bytes.Buffer{}
	if err := musicxml.Write(&b, s.p, musicxml.WriteOptions{Readings: firstReadings(s.p)}); err != nil {
		return nil, err
	}
	return append(files, sheetFile{"passage.musicxml", b.Bytes()}), nil
}

// sheetBars is how many bars the page shows at its head at most: a claim shows its own.
const sheetBars = 32

func (s *sheet) limited(r score.Region) score.Region {
	if n := s.p.BarAt(r.From) + sheetBars; n < len(s.p.Bars) && s.p.Bars[n].Start.Less(r.To) {
		r.To = s.p.Bars[n].Start
	}
	return r
}

// shown is what a claim's picture shows.
func (s *sheet) shown(r claim.Result) score.Region { return s.limited(shownRegion(s.p, r)) }

// options puts the evidence of a claim on the staff.
func (s *sheet) options(r claim.Result, o engrave.Options) engrave.Options {
	markEvidence(s.p, r, &o)
	return o
}

func (s *sheet) facts() string {
	parts := []string{count(len(s.p.Bars), "bar", "bars")}
	if len(s.p.Keys) > 0 {
		parts = append(parts, keyText(s.p.Keys[0]))
	}
	if m := s.p.Bars[0].Meter.String(); m != "" {
		parts = append(parts, m)
	}
	return strings.Join(parts, ", ")
}

func (s *sheet) tally() string {
	n := map[claim.Verdict]int{}
	for _, r := range s.results {
		n[r.Verdict]++
	}
	return fmt.Sprintf("%s: %d hold, %d arguable, %d fail", count(len(s.results), "claim", "claims"), n[claim.Holds], n[claim.Arguable], n[claim.Fails])
}

// A cue is a caption with its time.
type cue struct {
	from, to time.Duration
	text     string
}

// webVTT writes captions (W3C WebVTT).
func webVTT(cues []cue) []byte {
	at := func(d time.Duration) string {
		ms := d.Milliseconds()
		return fmt.Sprintf("%02d:%02d:%02d.%03d", ms/3600000, ms/60000%60, ms/1000%60, ms%1000)
	}
	escape := strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", "\n", " ")
	var b bytes.Buffer
	b.WriteString("WEBVTT\n")
	for _, c := range cues {
		fmt.Fprintf(&b, "\n%s --> %s\n%s\n", at(c.from), at(c.to), escape.Replace(c.text))
	}
	return b.Bytes()
}

// sound renders the place of a claim, whole or taken apart, with its captions.
func (s *sheet) sound(r claim.Result, apart bool, rate synth.SampleRate) (*synth.Clip, []cue, error) {
	said := r.Claim.PlaceText + ": " + r.Claim.Statement
	verdict := map[claim.Verdict]string{claim.Holds: "It holds: ", claim.Arguable: "Arguable: ", claim.Fails: "It fails: "}[r.Verdict] + r.Because
	if !apart {
		notes := claimNotes(s.p, s.p.Sounding(), r)
		if len(notes) == 0 {
			return nil, nil, errSilent
		}
		clip, err := synth.Render(notes, synth.Options{Rate: rate})
		if err != nil {
			return nil, nil, err
		}
		return clip, []cue{{0, clip.Duration() / 2, said}, {clip.Duration() / 2, clip.Duration(), verdict}}, nil
	}
	made, names, err := apartPlan(s.p, r)
	if err != nil {
		return nil, nil, err
	}
	clip, err := synth.Render(made.notes, synth.Options{Rate: rate})
	if err != nil {
		return nil, nil, err
	}
	var cues []cue
	for i, part := range made.parts {
		to := clip.Duration()
		if i+1 < len(made.parts) {
			to = made.parts[i+1].at
		}
		if n := len(names); n > 0 && to > part.at {
			cues = append(cues, cue{part.at, to, said + " (" + names[min(i, n-1)] + ")"})
		}
	}
	return clip, cues, nil
}

// picture draws a claim for a talk: what is said, the staff with its evidence, the verdict and why, 1920 by 1080.
func (s *sheet) picture(r claim.Result, c sheetClaim) ([]byte, error) {
	const width, height, margin = 1920, 1080, 80
	staff, layout, err := engrave.Staff(s.p, s.shown(r), s.options(r, engrave.Options{Frame: [2]float64{width - 2*margin, 560}, Prefix: "s-", Ink: "#1d1b18", Paper: "#fdfcf9", Numbers: engrave.NumberNone}))
	if err != nil {
		return nil, err
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" role="img" fill="#1d1b18" font-family="serif">`, width, height, width, height)
	fmt.Fprintf(&b, "\n<title>%s</title>\n<rect x=\"0\" y=\"0\" width=\"%d\" height=\"%d\" fill=\"#fdfcf9\"/>\n", template.HTMLEscapeString(c.Place+": "+c.Statement), width, height)
	text := func(x, y float64, size int, style, words string, most int) float64 {
		lines := textLines(words, size, width-2*margin-size, strings.Contains(style, "bold"))
		for i, line := range lines {
			if i == most {
				break
			}
			if i == most-1 && i+1 < len(lines) {
				line += " …"
			}
			fmt.Fprintf(&b, "<text x=\"%g\" y=\"%g\" font-size=\"%d\"%s>%s</text>\n", x, y, size, style, template.HTMLEscapeString(line))
			y += float64(size) * 1.25
		}
		return y
	}
	y := text(margin, 100, 40, "", c.Place, 1)
	text(margin, y+24, 56, ` font-weight="bold"`, c.Statement, 2)
	// The staff keeps its own units; only its frame is set.
	// A short last line leaves the right of it empty: the music is set in the middle all the same.
	right := 0.
	for _, b := range layout.Bars {
		right = max(right, b.X+b.W)
	}
	shift := max(0, (layout.W-right)*layout.Scale/2)
	inner := strings.Replace(string(staff), "<svg ", fmt.Sprintf(`<svg x="%.0f" y="250" `, margin+shift), 1)
	b.WriteString(inner)
	word := map[string]string{"holds": "It holds.", "arguable": "It can be argued.", "fails": "It does not hold."}[c.Verdict]
	verdict := verdictMark(r.Verdict, margin+16, 876)
	b.WriteString(verdict)
	text(margin+56, 892, 44, ` font-weight="bold"`, word, 1)
	y = text(margin, 946, 34, "", c.Because, 2)
	if c.Instead != "" {
		text(margin, y, 34, ` font-style="italic"`, "instead: "+c.Instead, 2)
	}
	b.WriteString("</svg>\n")
	return []byte(b.String()), nil
}

// verdictMark draws the shape that stands on the evidence beside the word of the verdict.
func verdictMark(v claim.Verdict, x, y float64) string {
	const r = 16.
	d, ink := "", "#0b62b0" // the colours of the marks on the staff
	switch v {
	case claim.Holds:
		d = fmt.Sprintf("M%g %gc0 9 -7 16 -16 16c-9 0 -16 -7 -16 -16c0 -9 7 -16 16 -16c9 0 16 7 16 16z", x+r, y)
	case claim.Arguable:
		ink = "#0a7d5a"
		d = fmt.Sprintf("M%g %gL%g %gL%g %gL%g %gz", x, y-r, x+r, y, x, y+r, x-r, y)
	default:
		ink = "#b3470b"
		d = fmt.Sprintf("M%g %gL%g %gL%g %gL%g %gz", x-r, y-r, x+r, y-r, x+r, y+r, x-r, y+r)
	}
	return fmt.Sprintf("<path d=\"%s\" fill=\"none\" stroke=\"%s\" stroke-width=\"5\"/>\n", d, ink)
}
