package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/harmony"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The JSON of describe's chords in context.
type (
	// harmonyPart is the part of a description that tells chords in context; its names stand beside the others.
	harmonyPart struct {
		Harmony       []harmonyJSON      `json:"harmony,omitzero"`
		KeyAreas      []keyAreaJSON      `json:"key_areas,omitempty"`
		Cadences      []cadenceJSON      `json:"cadences,omitempty"`
		Pedals        []pedalJSON        `json:"pedals,omitempty"`
		Tonicizations []tonicizationJSON `json:"tonicizations,omitempty"`
		KeyFound      string             `json:"key_found,omitempty"` // by the notes, where only a signature is written
		KeyDoubt      string             `json:"key_doubt,omitempty"` // why the notes speak against the declared key
	}
	harmonyJSON struct {
		From        string           `json:"from"`
		To          string           `json:"to"` // where the next one begins
		Bar         string           `json:"bar"`
		Beat        string           `json:"beat"`
		Chord       string           `json:"chord"`
		Root        string           `json:"root"`
		Quality     string           `json:"quality"`
		Bass        string           `json:"bass"`
		Key         string           `json:"key"`
		Numeral     string           `json:"numeral"`
		Words       string           `json:"words"`
		Function    string           `json:"function"`
		Colour      string           `json:"colour,omitempty"`
		SixFour     bool             `json:"cadential_six_four,omitempty"`
		Probability float64          `json:"probability"` // that an expert would read this root and quality
		Why         string           `json:"why"`         // the chord
		FunctionWhy string           `json:"function_why"`
		RunnerUp    string           `json:"runner_up,omitempty"`
		NonChord    []nonChordJSON   `json:"non_chord_tones"`
		Tendencies  []resolutionJSON `json:"tendencies"`
	}
	nonChordJSON struct {
		Note       string `json:"note"`
		Place      string `json:"place"`
		Hand       string `json:"hand"`
		Kind       string `json:"kind"` // "" if no rule fits
		Approach   string `json:"approach"`
		Departure  string `json:"departure"`
		Decorates  string `json:"decorates,omitempty"`
		Resolution string `json:"resolution"`
		Why        string `json:"why"`
	}
	resolutionJSON struct {
		Note     string `json:"note"`
		Place    string `json:"place"`
		Tendency string `json:"tendency"`
		To       string `json:"to,omitempty"`
		Resolves bool   `json:"resolves"`
		Text     string `json:"text"`
	}
	keyAreaJSON struct {
		Key  string `json:"key"`
		From string `json:"from"`
		To   string `json:"to"`
	}
	cadenceJSON struct {
		Place string `json:"place"`
		Kind  string `json:"kind"`
		Key   string `json:"key"`
		Why   string `json:"why"`
	}
	pedalJSON struct {
		Note string `json:"note"`
		From string `json:"from"`
		To   string `json:"to"`
		Text string `json:"text"`
	}
	tonicizationJSON struct {
		Degree  string `json:"degree"`
		Tonic   string `json:"tonic"`
		Place   string `json:"place"`
		Arrives bool   `json:"arrives"`
	}
)

// describeHarmony reads the passage and tells the chords in the region: of the whole texture, or of one hand. in is the key that the
// user names, nil for none.
func describeHarmony(d *descriptionJSON, p *score.Passage, region score.Region, in *key.Key) {
	d.Harmony = []harmonyJSON{}
	if l := region.Layer; l == score.Whole || l == score.LeftHand || l == score.RightHand {
		tellHarmony(d, p, region, in, analyzed(p, l, in))
	}
}

// analyzed reads the chords of a passage, of the whole texture or of one hand.
func analyzed(p *score.Passage, l score.Layer, in *key.Key) *harmony.Analysis {
	sounding := p.Sounding()
	if l != score.Whole {
		sounding = score.Region{From: score.Time{}, To: p.End(), Layer: l}.Select(sounding)
	}
	m := harmony.NewOf(p, sounding)
	if in != nil {
		m.Declare(*in)
	}
	return m.Analyze()
}

// tellHarmony is describeHarmony with the chords read.
func tellHarmony(d *descriptionJSON, p *score.Passage, region score.Region, in *key.Key, a *harmony.Analysis) {
	first, end := a.Overlapping(region.From, region.To)
	if region.Moment {
		if at := a.At(region.From); at >= 0 {
			first, end = at, at+1
		}
	}
	for i := first; i < end; i++ {
		if h, ok := harmonyOf(a, i); ok {
			d.Harmony = append(d.Harmony, h)
		}
	}
	for i := range d.Sonorities {
		s := &d.Sonorities[i]
		if at := a.At(s.at); at >= first && at < end {
			r := a.Role(at)
			s.Numeral, s.Function = r.Numeral.Text, string(r.Function)
		}
	}
	if k, declared := p.KeyAt(region.From); in == nil && !declared && len(d.Harmony) > 0 {
		// A signature alone leaves the key open; what the notes say is told beside it.
		if home, ok := a.Home(); ok && (home.Signature() == k.Signature() || len(p.Keys) == 0) {
			d.KeyFound = home.String()
		}
	}
	if region.Moment {
		return
	}
	var long []score.Time
	var before harmony.Chord
	for i := first; i < end; i++ {
		c, ok := a.Chord(i)
		if !ok {
			continue
		}
		span := a.Spans[i].Span
		d := span.To.Min(region.To).Sub(span.From.Max(region.From))
		if len(long) > 0 && c.Root == before.Root && c.Quality == before.Quality { // the same chord goes on
			long[len(long)-1] = long[len(long)-1].Add(d)
		} else {
			long = append(long, d)
		}
		before = c
	}
	d.HarmonicRhythm = harmonicRhythmWords(long, p.Bars[p.BarAt(region.From)].Meter.Beat())
	place := func(i int) string { return p.Where(a.Spans[i].Span.From) }
	until := func(i int) string { // the last beat it still sounds in
		t := a.Spans[i].Span.To.Min(region.To)
		return "bar " + p.Bars[max(p.BarAt(t.Sub(score.T(1, 64))), 0)].Number
	}
	for _, r := range a.Areas() {
		if r.To < first || r.From >= end {
			continue
		}
		d.KeyAreas = append(d.KeyAreas, keyAreaJSON{r.Key.String(), place(max(r.From, first)), until(min(r.To, end-1))})
	}
	for _, c := range a.Cadences() {
		if c.Span >= first && c.Span < end {
			d.Cadences = append(d.Cadences, cadenceJSON{place(c.Span), c.Kind, c.Key.String(), c.Why})
		}
	}
	for _, x := range a.Pedals() {
		if x.To < first || x.From >= end {
			continue
		}
		var over []string
		for i := x.From; i <= x.To; i++ {
			if n := a.Role(i).Numeral.Text; n != "" && (len(over) == 0 || over[len(over)-1] != n) {
				over = append(over, n)
			}
		}
		d.Pedals = append(d.Pedals, pedalJSON{x.Note.String(), place(x.From), until(x.To), fmt.Sprintf("%v stays in the bass under %s", x.Note, strings.Join(over, " "))})
	}
	for _, t := range a.Tonicizations() {
		if t.From >= first && t.From < end {
			d.Tonicizations = append(d.Tonicizations, tonicizationJSON{t.Key.DegreeName(t.Degree, 0), t.Tonic.String(), place(t.From), t.Arrives})
		}
	}
	if x, ok := a.Doubt(); ok {
		d.KeyDoubt = x.Why
	}
}

// harmonyOf tells span i; it is false if nothing sounds there.
func harmonyOf(a *harmony.Analysis, i int) (harmonyJSON, bool) {
	c, ok := a.Chord(i)
	if !ok {
		return harmonyJSON{}, false
	}
	p := a.Music.Passage
	s := a.Spans[i]
	r := a.Role(i)
	bar, beat := p.BeatAt(s.Span.From)
	why := a.Why(i)
	h := harmonyJSON{From: p.Where(s.Span.From), To: p.Where(s.Span.To), Bar: bar, Beat: beat.String(), Chord: c.String(), Root: c.Root.String(),
		Quality: c.Quality.String(), Bass: c.Bass.String(), Key: s.Key.String(), Numeral: r.Numeral.Text, Words: r.Numeral.Words,
		Function: string(r.Function), Colour: r.Colour, SixFour: r.SixFour, Probability: float64(int(1000*s.Readings[0].Probability+.5)) / 1000,
		Why: why.Text, FunctionWhy: r.Why, NonChord: []nonChordJSON{}, Tendencies: []resolutionJSON{}}
	if len(s.Readings) > 1 && s.Readings[1].Probability > .05 {
		h.RunnerUp = s.Readings[1].Chord.String()
	}
	for _, f := range a.ForeignNotes(i) {
		n := nonChordJSON{Note: f.Note.Pitch.String(), Place: p.Where(f.Note.Onset), Hand: f.Note.Hand.String(), Kind: f.NCT.Kind, Approach: f.NCT.Approach,
			Departure: f.NCT.Departure, Resolution: f.Resolution, Why: f.NCT.Why}
		if n.Kind != "" {
			n.Kind = f.NCT.String()
		}
		if f.Decorates != nil {
			n.Decorates = f.Decorates.Pitch.String()
		}
		h.NonChord = append(h.NonChord, n)
	}
	for _, t := range a.Tendencies(i) {
		x := resolutionJSON{Note: t.Note.Pitch.String(), Place: p.Where(t.Note.Onset), Tendency: t.Tendency, Resolves: t.Resolves, Text: t.Words}
		if t.To != nil {
			x.To = t.To.Pitch.String()
		}
		h.Tendencies = append(h.Tendencies, x)
	}
	return h, true
}

// inContext tells the chords in context. keyName is the key that the user names, "" for none; it has been read before.
func (d *descriptionJSON) inContext(p *score.Passage, region score.Region, keyName string) {
	var in *key.Key
	if k, err := key.Parse(keyName); keyName != "" && err == nil {
		in = &k
		d.Key = k.String()
	}
	describeHarmony(d, p, region, in)
}

// inKey names loose notes in a key, if one is named.
func (s *sonorityJSON) inKey(keyName string, notes []pitch.Pitch) {
	k, err := key.Parse(keyName)
	if keyName == "" || err != nil || len(notes) == 0 {
		return
	}
	sortPitches(notes)
	n := k.Numerals([][]pitch.Pitch{notes})[0]
	s.Numeral = n.Text
	if n.Text != "" {
		s.NumeralWords = n.Words + "; " + n.Why
		f, why := harmony.FunctionOf(k, n)
		s.Function = string(f)
		if why != "" {
			s.NumeralWords += "; " + string(f) + ": " + why
		}
	}
}

// keyWords says the key as it is written, and what the notes say where only a signature is.
func (d *descriptionJSON) keyWords() string {
	if d.KeyFound != "" && d.KeyFound != d.Key {
		return d.Key + " (by its notes " + d.KeyFound + ")"
	}
	return d.Key
}

// sixthForFifth says what the bass makes of a chord that context reads as inverted while its notes can be heard as a chord on
// the bass with the sixth in place of the fifth; "" if there is no such reading. Both are right, and analysts argue which: the
// handbooks' Roman numerals know no sixth that stands in for the fifth.
func sixthForFifth(sonorities []sonorityJSON, h harmonyJSON) string {
	if len(sonorities) == 0 {
		return ""
	}
	for _, r := range sonorities[0].Readings {
		if r.Kind != string(chord.AddedSixth) || !slices.Contains(r.Missing, "fifth") || r.Root == "" || r.Root == h.Root {
			continue
		}
		text := "from its bass it is " + r.Label + ", with the sixth in place of the fifth"
		root, err1 := pitch.ParseClass(r.Root)
		k, err2 := key.Parse(h.Key)
		if err1 == nil && err2 == nil && len(sonorities[0].Notes) > 0 {
			degree, alter := k.Degree(root)
			text += ": the " + k.DegreeName(degree, alter) + " of " + k.String()
		}
		return text
	}
	return ""
}

// How much of the chords in context is told unless all is asked for.
const (
	someSpans   = 24
	someForeign = 12
)

// writeHarmony writes the chords in context: a line for each span under its key, then cadences, pedals and foreign notes.
func writeHarmony(w io.Writer, d descriptionJSON, moment, all bool) {
	if len(d.Harmony) == 0 {
		return
	}
	if moment {
		h := d.Harmony[0]
		fmt.Fprintf(w, "in context (%s):\n", spanWords(h))
		tell := func(name, text string) {
			if text != "" {
				fmt.Fprintf(w, "  %-11s %s\n", name, strings.TrimSpace(wrap(text, 80, strings.Repeat(" ", 14))))
			}
		}
		tell("chord", h.Why)
		numeral := h.Numeral + " in " + h.Key
		if h.Words != "" {
			numeral += ": " + h.Words
		}
		if h.Numeral != "" {
			tell("numeral", numeral)
		}
		tell("function", strings.TrimPrefix(functionWords(h)+": "+h.FunctionWhy, ": "))
		tell("or", sixthForFifth(d.Sonorities, h))
		for i, n := range h.NonChord {
			tell(map[bool]string{true: "foreign"}[i == 0], foreignWords(n))
		}
		for i, t := range h.Tendencies {
			tell(map[bool]string{true: "tends"}[i == 0], t.Text)
		}
		return
	}
	fmt.Fprintln(w, "harmony:")
	last := ""
	for i, h := range d.Harmony {
		if !all && i == someSpans {
			fmt.Fprintf(w, "  … and %d more: --all tells them, --at \"bars 5-8\" a part\n", len(d.Harmony)-i)
			break
		}
		if h.Key != last {
			fmt.Fprintf(w, "  in %s\n", h.Key)
			last = h.Key
		}
		numeral, how := h.Numeral, functionWords(h)
		if numeral == "" {
			numeral = "-"
		}
		sure := ""
		if h.Probability < .5 && h.RunnerUp != "" {
			sure = "  (or " + h.RunnerUp + ")"
		}
		head := fmt.Sprintf("    %-20s %-16s %-11s ", place20(h), h.Chord, numeral)
		if n := len([]rune(head)); n > 58 { // a long name takes a line of its own
			fmt.Fprintf(w, "    %-20s %s\n", place20(h), h.Chord)
			head = fmt.Sprintf("%42s%-11s ", "", numeral)
		}
		rest := wrap(how+sure, 80, strings.Repeat(" ", 54))
		fmt.Fprintln(w, strings.TrimRight(head+strings.TrimLeft(rest, " "), " "))
	}
	if d.KeyDoubt != "" {
		fmt.Fprintln(w, "  "+strings.TrimSpace(wrap(d.KeyDoubt, 76, "    ")))
	}
	for i, c := range d.Cadences {
		if i == 0 {
			fmt.Fprintln(w, "  cadences:")
		}
		if !all && i == someForeign {
			fmt.Fprintf(w, "    … and %d more\n", len(d.Cadences)-i)
			break
		}
		fmt.Fprintf(w, "    %-20s %s: %s\n", c.Place, c.Kind, strings.TrimSpace(wrap(c.Why, 78-len(c.Kind), strings.Repeat(" ", 25))))
	}
	for _, x := range d.Pedals {
		fmt.Fprintf(w, "  pedal: %s\n", strings.TrimSpace(wrap(x.Text+", "+x.From+" to "+x.To, 74, "    ")))
	}
	n, total := 0, 0
	for _, h := range d.Harmony {
		total += len(h.NonChord)
	}
	for _, h := range d.Harmony {
		for _, f := range h.NonChord {
			if n == 0 {
				fmt.Fprintln(w, "  notes foreign to their chord:")
			}
			if n == someForeign && !all {
				fmt.Fprintf(w, "    … and %d more\n", total-n)
				return
			}
			n++
			fmt.Fprintf(w, "    %-20s %s\n", f.Place, strings.TrimSpace(wrap(foreignWords(f), 80, strings.Repeat(" ", 27))))
		}
	}
}

func place20(h harmonyJSON) string { return fmt.Sprintf("bar %s beat %s", h.Bar, h.Beat) }

func spanWords(h harmonyJSON) string {
	if h.To == "" || h.To == h.From {
		return h.From
	}
	return h.From + " to before " + h.To
}

func functionWords(h harmonyJSON) string {
	s := h.Function
	if h.SixFour {
		s += ", cadential six-four"
	}
	if h.Colour != "" {
		s = strings.TrimPrefix(s+", "+h.Colour, ", ")
	}
	return s
}

func foreignWords(n nonChordJSON) string {
	kind := n.Kind
	if kind == "" {
		kind = "foreign note of no set kind"
	}
	return fmt.Sprintf("%s (%s), %s: %s", n.Note, n.Hand, kind, n.Resolution)
}
