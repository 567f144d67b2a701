package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/theory/chord"
	"plumbline/theory/key"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// The JSON of describe; other programs rely on these names.
type (
	descriptionJSON struct {
		Title      string         `json:"title"`
		Key        string         `json:"key"`
		Sonorities []sonorityJSON `json:"sonorities"`
		Facts      []factJSON     `json:"facts"` // what is worth saying first, the most unusual and best supported first
		Lines      []lineJSON     `json:"lines"`
		Compounds  []compoundJSON `json:"two_lines,omitempty"`
		Outer      *outerJSON     `json:"outer_voices,omitempty"`
		Sequences  []sequenceJSON `json:"sequences"`
		Rhythm     []rhythmJSON   `json:"rhythm,omitempty"`

		HarmonicRhythm string         `json:"harmonic_rhythm,omitempty"`
		Dynamics       []loudnessJSON `json:"dynamics,omitempty"`

		Relation string          `json:"relation,omitempty"` // what leads from the first sonority to the second, of loose notes
		Warnings []string        `json:"warnings,omitempty"`
		Keys     []keyChangeJSON `json:"keys,omitempty"`
		harmonyPart
	}
	keyChangeJSON struct {
		Bar      string `json:"bar"`
		Beat     string `json:"beat"`
		Key      string `json:"key"`
		Declared bool   `json:"declared"` // false: only the signature is given, and the key is the major one it could mean
	}
	sonorityJSON struct {
		Bar       string        `json:"bar"`
		Beat      string        `json:"beat"`
		Notes     []string      `json:"notes"`
		Bass      string        `json:"bass"`
		Left      handJSON      `json:"left"`
		Right     handJSON      `json:"right"`
		Readings  []readingJSON `json:"readings"`
		SetClass  setJSON       `json:"set_class"`
		Clusters  []clusterJSON `json:"clusters"`
		Spacing   spacingJSON   `json:"spacing"`
		Impostor  string        `json:"impostor"` // what it sounds as against what it is spelled as, "" for most
		WhiteKeys bool          `json:"white_keys"`
		BlackKeys bool          `json:"black_keys"`
		Numeral   string        `json:"numeral"`
		Function  string        `json:"function"`

		NumeralWords string `json:"numeral_words,omitempty"` // of loose notes
		at           score.Time
	}
	handJSON struct {
		Notes     []string `json:"notes"`
		Stack     string   `json:"stack"`
		StackText string   `json:"stack_text"`
	}
	readingJSON struct {
		Label     string            `json:"label"`
		Words     string            `json:"words"`
		Kind      string            `json:"kind"`
		Root      string            `json:"root"`
		Quality   string            `json:"quality"`
		Inversion int               `json:"inversion"`
		Members   map[string]string `json:"members"`
		Missing   []string          `json:"missing"`
		Added     []string          `json:"added"`
		Altered   []string          `json:"altered"`
		Respelled []string          `json:"respelled"`
		Why       string            `json:"why"`
	}
	setJSON struct {
		Forte      string `json:"forte"`
		Prime      string `json:"prime"`
		PrimeForte string `json:"prime_forte"`
		Vector     string `json:"vector"`
	}
	clusterJSON struct {
		Kind  string   `json:"kind"`
		Notes []string `json:"notes"`
	}
	factJSON struct {
		Kind  string   `json:"kind"`
		Place string   `json:"place"`
		Text  string   `json:"text"`
		Claim string   `json:"claim"` // in the words of a claims file, "" if there is no form for it
		Lines []string `json:"lines"` // whole lines of a claims file that say it together
		Again []string `json:"again"` // where it comes back
	}
)

func pitchNames(ps []pitch.Pitch) []string {
	out := make([]string, 0, len(ps))
	for _, p := range ps {
		if n := p.String(); len(out) == 0 || out[len(out)-1] != n {
			out = append(out, n)
		}
	}
	return out
}

// nonNil makes an empty list of a nil one, so that JSON has [] and not null.
func nonNil(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

func describeHand(ps []pitch.Pitch) handJSON {
	st := chord.StackOf(ps)
	return handJSON{pitchNames(ps), st.Kind, st.Text}
}

// describeNotes describes what sounds together.
func describeNotes(left, right []pitch.Pitch) sonorityJSON {
	all := append(append([]pitch.Pitch{}, left...), right...)
	sortPitches(all)
	set := chord.SetOf(all)
	s := sonorityJSON{Notes: pitchNames(all), Bass: all[0].String(), Left: describeHand(left), Right: describeHand(right),
		SetClass: setJSON{set.Forte, set.Prime, set.PrimeForte, set.Vector}, WhiteKeys: chord.WhiteOnly(all), BlackKeys: chord.BlackOnly(all),
		Clusters: []clusterJSON{}, Spacing: describeSpacing(all)}
	if im, ok := chord.ImpostorOf(all); ok {
		s.Impostor = im.Text
	}
	for _, c := range chord.Clusters(all) {
		s.Clusters = append(s.Clusters, clusterJSON{c.Kind, pitchNames(c.Notes)})
	}
	for _, r := range chord.NameHands(left, right) {
		rj := readingJSON{Label: r.Label, Words: r.Words, Kind: string(r.Kind), Quality: r.Quality, Inversion: r.Inversion, Members: map[string]string{},
			Missing: nonNil(r.Missing), Added: nonNil(r.Added), Altered: nonNil(r.Altered), Respelled: nonNil(r.Respelled), Why: r.Why}
		if r.Rooted {
			rj.Root = r.Root.String()
		}
		for _, m := range r.Members {
			rj.Members[m.Pitch.String()] = m.Role
		}
		s.Readings = append(s.Readings, rj)
	}
	return s
}

// describePassage describes a region of a passage.
func describePassage(p *score.Passage, region score.Region) descriptionJSON {
	d := descriptionJSON{Title: p.Title, Sonorities: []sonorityJSON{}, Facts: []factJSON{}, Lines: []lineJSON{}, Sequences: []sequenceJSON{}, Warnings: p.Warnings}
	for i, k := range p.Keys {
		bar, beat := p.BeatAt(k.At)
		d.Keys = append(d.Keys, keyChangeJSON{bar, beat.String(), keyText(k), k.Declared})
		if i == 0 || !region.From.Less(k.At) {
			d.Key = keyText(k)
		}
	}
	sounding := p.Sounding()
	notes := layerNotes(sounding, region)
	for _, s := range score.Slices(notes, region.From, region.To) {
		left, right := pitchesOf(s.Hand(score.Left)), pitchesOf(s.Hand(score.Right))
		sj := describeNotes(left, right)
		bar, beat := p.BeatAt(s.At)
		sj.Bar, sj.Beat, sj.at = bar, beat.String(), s.At
		d.Sonorities = append(d.Sonorities, sj)
	}
	if region.Moment {
		return d
	}
	var facts []line.Fact
	if region.Layer == score.Whole { // facts are found in the texture as a whole
		facts = line.Facts(p, region)
	}
	for _, f := range facts {
		d.Facts = append(d.Facts, factJSON{f.Kind.String(), f.Place, f.Text, f.Claim, nonNil(f.Lines), nonNil(f.Again)})
	}
	describeLines(&d, p, notes, region, facts)
	return d
}

// firstFacts is how many facts are told before everything else.
const firstFacts = 5

// someSonorities is how many sonorities are told in a line each unless all are asked for.
const someSonorities = 24

// draftClaims writes the facts that a claims file can say, each with its place.
func draftClaims(p *score.Passage, d descriptionJSON) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# Drafted from %s: what the notes show, the most unusual first. Strike what you won't say.\n", p.Source)
	said := map[string]bool{}
	for _, f := range d.Facts {
		lines := f.Lines
		if f.Claim != "" {
			lines = append([]string{f.Place + ": " + f.Claim}, lines...)
		}
		for _, l := range lines {
			if !said[l] {
				said[l] = true
				fmt.Fprintln(&b, l)
			}
		}
	}
	return []byte(b.String())
}

// keyText names a key as far as the passage declares it; a signature alone is said as one.
func keyText(k score.KeyChange) string {
	if k.Declared {
		return k.Key.String()
	}
	n := k.Key.Signature()
	switch {
	case n == 0:
		return "no sharps or flats"
	case n == 1:
		return "1 sharp"
	case n == -1:
		return "1 flat"
	case n > 0:
		return fmt.Sprintf("%d sharps", n)
	}
	return fmt.Sprintf("%d flats", -n)
}

func pitchesOf(notes []score.Note) []pitch.Pitch {
	out := make([]pitch.Pitch, len(notes))
	for i, n := range notes {
		out[i] = n.Pitch
	}
	return out
}

func sortPitches(ps []pitch.Pitch) {
	for i := 1; i < len(ps); i++ { // few and nearly sorted
		for j := i; j > 0 && ps[j].Compare(ps[j-1]) < 0; j-- {
			ps[j], ps[j-1] = ps[j-1], ps[j]
		}
	}
}

func newDescribeCmd(e *env) *cobra.Command {
	var pf passageFlags
	var notes, left, right, then, keyName, draft string
	var asJSON, full, all bool
	cmd := &cobra.Command{
		Use:   "describe PASSAGE",
		Short: "Tell what is there: each sonority by hand, its readings, lines, sequences, rhythm",
		Long: `Tells what sounds at each onset: the notes of each hand and how they are stacked,
the readings of the whole from the likeliest on, each with its reason, the set
class. A place of up to four sonorities is told in full, a longer one in a line
each (--full tells all in full).

Of more than a moment it tells first the few things worth saying, then the
lines (how they move, where they turn, inner and chromatic lines, two lines in
one), the outer voices, the sequences (model, copies, cycles and why, what
breaks them, how they would go on), rhythm, loudness and texture. Of long lists
the first are told; --all leaves nothing out.

--notes names loose notes, low to high; --left and --right when hands matter;
--then names the notes that follow them, to be told what leads from one to the other.`,
		Example: `  plumbline describe song.mxl --at "bars 3-4"
  plumbline describe song.mxl --at "bar 3 beat 1"
  plumbline describe --notes "E3 G#3 B3 C#4"
  plumbline describe --left "A2 E3 B3" --right "E4 A4 D5"
  plumbline describe --notes "A2 C4 F#4 B#4" --then "A2 C#4 E4 C#5"`,
		Args: func(cmd *cobra.Command, args []string) error {
			loose := notes != "" || left != "" || right != ""
			switch {
			case loose && len(args) > 0:
				return &usageError{cmd.CommandPath(), errors.New("name a passage or loose notes, not both")}
			case loose && draft != "":
				return &usageError{cmd.CommandPath(), errors.New("--draft-claims is for passages")}
			case loose && (pf.at != "" || pf.part != ""):
				return &usageError{cmd.CommandPath(), errors.New("--at and --part are for passages")}
			case then != "" && !loose:
				return &usageError{cmd.CommandPath(), errors.New("--then follows --notes, --left or --right")}
			case notes != "" && (left != "" || right != ""):
				return &usageError{cmd.CommandPath(), errors.New("--notes has no hands; use --left and --right alone")}
			case loose:
				return nil
			}
			return needArgs("PASSAGE")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if keyName != "" {
				if _, err := key.Parse(keyName); err != nil {
					return &usageError{cmd.CommandPath(), fmt.Errorf("--key: %w", err)}
				}
			}
			var d descriptionJSON
			if len(args) == 0 {
				var hands [3][]pitch.Pitch
				for i, list := range []string{left, right, notes} {
					ps, err := parsePitches(list)
					if err != nil {
						return &usageError{cmd.CommandPath(), err}
					}
					hands[i] = ps
				}
				l, r := hands[0], hands[1]
				if notes != "" {
					l, r = nil, hands[2]
				}
				if len(l)+len(r) == 0 {
					return &usageError{cmd.CommandPath(), errors.New("no notes are named; want, for instance, --notes \"C4 E4 G4\"")}
				}
				sj := describeNotes(l, r)
				if notes != "" { // loose notes lie in no hand
					sj.Left, sj.Right = describeHand(nil), describeHand(nil)
				}
				sj.inKey(keyName, append(append([]pitch.Pitch{}, l...), r...))
				next, err := parsePitches(then)
				if err != nil {
					return &usageError{cmd.CommandPath(), fmt.Errorf("--then: %w", err)}
				}
				d = descriptionJSON{Key: keyName, Sonorities: []sonorityJSON{sj}, Facts: []factJSON{}, Lines: []lineJSON{}, Sequences: []sequenceJSON{}}
				if len(next) > 0 {
					nj := describeNotes(nil, next)
					nj.Left, nj.Right = describeHand(nil), describeHand(nil)
					d.Sonorities = append(d.Sonorities, nj)
					d.Relation = chord.Relate(chord.Voicing{Right: append(append([]pitch.Pitch{}, l...), r...)}, chord.Voicing{Right: next}).Text
				}
				if asJSON {
					return writeJSON(e.stdout, d)
				}
				writeSonority(e.stdout, sj, chord.StackOf(append(append([]pitch.Pitch{}, l...), r...)), notes != "")
				if len(next) > 0 {
					fmt.Fprintf(e.stdout, "\nthen\n")
					writeSonority(e.stdout, d.Sonorities[1], chord.StackOf(next), true)
					fmt.Fprintf(e.stdout, "\n%s\n", wrap("from the first to the second: "+d.Relation, 78, ""))
				}
				return nil
			}
			p, region, err := e.load(args[0], pf)
			if errors.Is(err, errPartsListed) {
				return nil
			}
			if err != nil {
				return err
			}
			d = describePassage(p, region)
			d.inContext(p, region, keyName)
			if draft != "" {
				if err := keepOrWrite(draft, draftClaims(p, d)); err != nil {
					return err
				}
			}
			if asJSON {
				return writeJSON(e.stdout, d)
			}
			writeDescription(e.stdout, p, region, d, full || len(d.Sonorities) <= 4, all)
			return nil
		},
	}
	pf.add(cmd)
	cmd.Flags().StringVar(&notes, "notes", "", "loose notes, low to high, as in \"E3 G#3 B3 C#4\"")
	cmd.Flags().StringVar(&then, "then", "", "loose notes that follow the others")
	cmd.Flags().StringVar(&left, "left", "", "loose notes of the left hand")
	cmd.Flags().StringVar(&right, "right", "", "loose notes of the right hand")
	cmd.Flags().StringVar(&keyName, "key", "", "the key, as in \"A major\"")
	cmd.Flags().BoolVar(&asJSON, "json", false, "the same facts for a program")
	cmd.Flags().StringVar(&draft, "draft-claims", "", "write what the passage shows into a new claims file")
	cmd.Flags().BoolVar(&all, "all", false, "leave nothing out of the lists")
	cmd.Flags().BoolVar(&full, "full", false, "tell every sonority in full")
	return cmd
}

func parsePitches(list string) ([]pitch.Pitch, error) {
	var ps []pitch.Pitch
	for _, f := range strings.FieldsFunc(list, func(r rune) bool { return strings.ContainsRune(" ,;+\t", r) }) {
		p, err := pitch.Parse(f)
		if err != nil {
			return nil, err
		}
		if len(ps) == 64 {
			return nil, errors.New("more than 64 notes; nobody plays so many at once")
		}
		ps = append(ps, p)
	}
	return ps, nil
}

func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

func writeDescription(w io.Writer, p *score.Passage, region score.Region, d descriptionJSON, full, all bool) {
	title := d.Title
	if title == "" {
		title = p.Source
	}
	meters := ""
	if len(p.Bars) > 0 {
		meters = p.Bars[p.BarAt(region.From)].Meter.String()
	}
	fmt.Fprintf(w, "%s\n", title)
	from, to := p.Bars[p.BarAt(region.From)], p.Bars[p.BarAt(region.From)]
	for _, b := range p.Bars {
		if b.Start.Less(region.To) {
			to = b
		}
	}
	place := "bar " + from.Number
	if from.Number != to.Number {
		place = "bars " + from.Number + "-" + to.Number
	}
	if l := region.Layer.String(); l != "" {
		place += ", " + l
	}
	facts := []string{place}
	if d.Key != "" {
		facts = append(facts, d.keyWords())
	}
	facts = append(facts, meters, count(len(d.Sonorities), "sonority", "sonorities"))
	fmt.Fprintf(w, "%s\n\n", strings.Join(facts, "; "))
	if len(d.Facts) > 0 && !region.Moment {
		fmt.Fprintln(w, "worth saying first:")
		for i, f := range d.Facts {
			if i == firstFacts {
				break
			}
			text := f.Text
			if n := len(f.Again); n > 3 {
				text += fmt.Sprintf("; again in %s and %d more places", strings.Join(f.Again[:3], ", "), n-3)
			} else if n > 0 {
				text += "; again in " + strings.Join(f.Again, ", ")
			}
			text = wrap(text, 78, "    ")
			fmt.Fprintln(w, "  - "+strings.TrimPrefix(text, "    "))
		}
		fmt.Fprintln(w)
	}
	switch {
	case len(d.Sonorities) == 0:
		fmt.Fprintln(w, "nothing sounds there")
	case full:
		for _, s := range d.Sonorities {
			fmt.Fprintf(w, "bar %s beat %s\n", s.Bar, s.Beat)
			writeSonority(w, s, chord.Stack{}, false)
			fmt.Fprintln(w)
		}
	default:
		fmt.Fprintf(w, "%-4s %-7s %-21s %-22s %s\n", "bar", "beat", "left hand", "right hand", "first reading")
		last := ""
		for i, s := range d.Sonorities {
			if !all && i == someSonorities {
				fmt.Fprintf(w, "… and %d more: --all tells them, --at \"bars 5-8\" a part\n", len(d.Sonorities)-i)
				break
			}
			bar := s.Bar
			if bar == last {
				bar = ""
			}
			last = s.Bar
			left, right, label := handCell(s.Left), handCell(s.Right), s.Readings[0].Label
			same := func(t sonorityJSON) bool {
				return t.Bar == s.Bar && handCell(t.Left) == left && handCell(t.Right) == right && t.Readings[0].Label == label
			}
			if i > 0 && same(d.Sonorities[i-1]) {
				continue // told with the one before
			}
			times := 1
			for i+times < len(d.Sonorities) && same(d.Sonorities[i+times]) {
				times++
			}
			if times > 1 {
				label += fmt.Sprintf(" (%d times)", times)
			}
			row := fmt.Sprintf("%-4s %-7s %-21s %-22s ", bar, s.Beat, left, right)
			if len([]rune(row+label)) > 80 { // a long name takes a line of its own
				row, label = strings.TrimRight(row, " "), "\n"+wrap(label, 80, strings.Repeat(" ", 13))
			}
			fmt.Fprintln(w, row+label)
		}
		fmt.Fprintln(w)
	}
	writeHarmony(w, d, region.Moment, all)
	writeLines(w, d, all)
	if !full && len(d.Sonorities) > 0 {
		fmt.Fprintf(w, "\nOne sonority in full: --at \"bar %s beat %s\"; all of them: --full\n", d.Sonorities[0].Bar, d.Sonorities[0].Beat)
	}
}

// count returns "1 sonority", "3 sonorities".
func count(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// shorten joins note names; of very many only the first and the last are told.
func shorten(notes []string, most int) string {
	if len(notes) <= most {
		return strings.Join(notes, " ")
	}
	return strings.Join(notes[:most-10], " ") + " … " + strings.Join(notes[len(notes)-10:], " ")
}

func handCell(h handJSON) string {
	if len(h.Notes) == 0 {
		return "-"
	}
	s := strings.Join(h.Notes, " ")
	stack := ""
	switch h.Stack {
	case "fifths", "fourths", "seconds":
		stack = " (" + h.Stack + ")"
	case "thirds":
		if len(h.Notes) > 2 {
			stack = " (thirds)"
		}
	}
	if len(s)+len(stack) > 21 { // the column
		return s
	}
	return s + stack
}

// writeSonority tells one sonority in full. Loose notes lie in no hand; their stack is given.
func writeSonority(w io.Writer, s sonorityJSON, all chord.Stack, loose bool) {
	field := func(name, text string) {
		for i, l := range strings.Split(wrap(text, 66, ""), "\n") {
			if i > 0 {
				name = ""
			}
			fmt.Fprintf(w, "  %-11s %s\n", name, l)
		}
	}
	if loose {
		field("notes", strings.Join(s.Notes, " ")+stackSaid(all.Text))
	} else {
		for _, h := range []struct {
			name string
			hand handJSON
		}{{"left hand", s.Left}, {"right hand", s.Right}} {
			if len(h.hand.Notes) > 0 {
				field(h.name, strings.Join(h.hand.Notes, " ")+stackSaid(h.hand.StackText))
			}
		}
	}
	for i, r := range s.Readings {
		name := "reads as"
		if i > 0 {
			name = "or"
		}
		label := r.Label
		if r.Words != "" && r.Words != r.Label && !strings.Contains(r.Label, " ") { // a label in words says enough
			label += ": " + r.Words
		}
		field(name, label)
		var parts []string
		for _, n := range s.Notes {
			if role := r.Members[n]; role != "" {
				parts = append(parts, n+" "+role)
			}
		}
		if len(parts) > 0 && len(s.Notes) > 1 {
			field("", strings.Join(parts, ", "))
		}
		if len(r.Respelled) > 0 {
			field("", "if "+strings.Join(r.Respelled, ", "))
		}
		field("", r.Why)
	}
	switch {
	case loose && s.Numeral != "":
		field("numeral", s.Numeral+": "+s.NumeralWords)
	case s.Numeral != "" && s.Function != "":
		field("in context", s.Numeral+", "+s.Function)
	case s.Numeral != "":
		field("in context", s.Numeral)
	}
	for _, c := range s.Clusters {
		field("cluster", c.Kind+": "+strings.Join(c.Notes, " "))
	}
	set := s.SetClass.Forte + " (" + s.SetClass.Prime + ")"
	if s.SetClass.PrimeForte != s.SetClass.Prime {
		set += ", Forte's prime form (" + s.SetClass.PrimeForte + ")"
	}
	if s.Impostor != "" {
		field("impostor", s.Impostor)
	}
	if len(s.Notes) > 1 {
		field("spacing", s.Spacing.Text)
	}
	field("set class", set+" <"+s.SetClass.Vector+">")
	if len(s.Notes) == 1 { // the spacing says it of the others
		switch {
		case s.WhiteKeys:
			field("keys", "white only")
		case s.BlackKeys:
			field("keys", "black only")
		}
	}
}

func stackSaid(text string) string {
	if text == "" {
		return ""
	}
	return "  " + text
}
