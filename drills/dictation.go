package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// An open craft takes answers that are no labels: a question then has no choices, Skill says which label it belongs to, and
// Expected is what is right in full.
type open struct {
	named
	judge func(text string, q Question) (Graded, error)
	tell  func(q Question, g Graded) string
}

func (c *open) grade(text string, q Question) (Graded, error) { return c.judge(text, q) }
func (c *open) explain(q Question, g Graded) string           { return c.tell(q, g) }

// openError says that an answer to an open question isn't understood.
func openError(text, why string, examples ...string) error {
	return &AnswerError{Text: short(text), Why: why, Examples: examples}
}

var dictationRows = []row{
	{"two notes", []string{"interval"}}, {"triad", []string{"triads", "three notes"}}, {"seventh chord", []string{"sevenths", "four notes"}}, {"ninth chord", []string{"ninths", "five notes"}},
	{"melody of four notes", []string{"melody"}}, {"melody of six notes", nil}, {"two chords", nil},
}

// dictationCraft sounds notes to be written down; one of them is told.
var dictationCraft = &open{
	named: named{
		asks: "Write the notes.", rows: dictationRows, low: "C3", high: "C6", ear: true,
		steps: []Level{step(1, "two notes", "two notes"), step(2, "triads", "triad"), step(3, "melodies of four notes", "melody of four notes"),
			step(4, "seventh chords", "seventh chord"), step(5, "melodies of six notes", "melody of six notes"), step(6, "ninth chords and two chords in a row", "ninth chord", "two chords")},
		plan: func(s Settings, labels []string) (planner, error) {
			if err := tooNarrow(s, 30); err != nil {
				return nil, err
			}
			return filler(func(r *rand.Rand, q *Question) { dictate(r, q, s) }), nil
		},
	},
	judge: judgeNotes,
	tell:  tellNotes,
}

func dictate(r *rand.Rand, q *Question, s Settings) {
	lowest := q.draw(r, s.Low.MIDI(), s.High.MIDI()-30)
	distance := 12 + r.IntN(10)
	block := func(ids string, count int) {
		t := pick(r, types(ids))
		bass := -1
		if len(t.Intervals) > 4 {
			bass = 0
		}
		b, _, places, _ := withMembers(r, t, bass, -1, distance, count, func(int) int { return lowest })
		q.Left, q.Right, q.Root = voiced(r, t, b, lowest, places)
		q.about = symbolOf(q.Root, t, q.Notes())
	}
	lowTold := func() {
		q.Prompt = fmt.Sprintf("Write the %s notes, low to high. The lowest is %s.", numberWord(len(q.Notes())), q.Notes()[0])
	}
	switch q.Skill = q.Expected; q.Skill {
	case "two notes":
		q.Left, q.Right = spelledPair(r, lowest, 2+r.IntN(15))
		q.about = article(q.Right[0].Sub(q.Left[0]).Words())
		lowTold()
	case "triad":
		block("maj min dim aug", 3)
		lowTold()
	case "seventh chord":
		block("dom7 maj7 min7 hdim7 dim7 minmaj7", 4)
		lowTold()
	case "ninth chord":
		block("9 maj9 m9 7b9", 5)
		lowTold()
	case "two chords":
		for range 400 {
			q.Left, q.Right, q.Music = nil, nil, nil
			if semitonePair(r, q, lowest, distance, pick(r, []string{"top", "inner voice", "bass"}), r.IntN(2) == 0) {
				break
			}
		}
		q.Prompt = fmt.Sprintf("Write the two chords, four notes each, the first chord first. The lowest note at the start is %s.", q.Music[0].Pitch)
		q.Tempo = 50
	default:
		n := map[string]int{"melody of four notes": 4, "melody of six notes": 6}[q.Skill]
		minor := r.IntN(2) == 0
		tonic := tonicFor(r, r.IntN(12), minor)
		steps := []int{0}
		for len(steps) < n {
			by := pick(r, []int{1, 1, 1, 2, 2, 3, 4})
			if x := steps[len(steps)-1]; x > 3 || x > -3 && r.IntN(2) == 0 {
				by = -by
			}
			steps = append(steps, steps[len(steps)-1]+by)
		}
		for i, p := range onScale(scaleOf(tonic, minor), steps, lowest+10) {
			q.Music = append(q.Music, Note{Pitch: p, Hand: score.Right, At: score.Quarters(i), Length: score.Quarters(1)})
		}
		q.Tempo = 80
		q.about = "in " + keyName(tonic, minor)
		q.Prompt = fmt.Sprintf("Write the %s notes of the melody, in order. The first is %s.", numberWord(n), q.Music[0].Pitch)
	}
	var ns []string
	for _, p := range q.Notes() {
		ns = append(ns, p.String())
	}
	q.Expected = strings.Join(ns, " ")
}

func numberWord(n int) string {
	if n < 13 && n >= 0 {
		return [...]string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}[n]
	}
	return fmt.Sprint(n)
}

// A written note is a pitch, or a name alone, which stands for any octave.
type written struct {
	p    pitch.Pitch
	bare bool
}

func (w written) String() string {
	if w.bare {
		return w.p.Class().String()
	}
	return w.p.String()
}

// maxWritten bounds the notes of an answer.
const maxWritten = 64

func readNotes(text string) ([]written, error) {
	var out []written
	for w := range strings.FieldsFuncSeq(text, func(c rune) bool {
		return c == ' ' || c == ',' || c == '+' || c == '|' || c == ';' || c == '/' || c == '–'
	}) {
		if len(out) == maxWritten {
			return nil, openError(text, fmt.Sprintf("it has more than %d notes", maxWritten), `"C4 E4 G4"`)
		}
		if p, err := pitch.Parse(w); err == nil {
			if p.MIDI() < 0 || p.MIDI() > 127 {
				return nil, openError(text, fmt.Sprintf("%s lies beyond every keyboard", w), `"C4 E4 G4"`)
			}
			out = append(out, written{p, false})
			continue
		}
		c, err := pitch.ParseClass(upper(w))
		if err != nil {
			return nil, openError(text, fmt.Sprintf("%q is no note", short(w)), `"C4 E4 G4"`, `"c e g" for any octave`)
		}
		out = append(out, written{c.In(4), true})
	}
	if len(out) == 0 {
		return nil, openError(text, "it has no notes", `"C4 E4 G4"`)
	}
	return out, nil
}

// worth is the credit of a written note: 1 for the key, or for the name alone; half for the right name in another octave.
func worth(want pitch.Pitch, w written) float64 {
	switch {
	case !w.bare && w.p.Enharmonic(want), w.bare && w.p.Class().Enharmonic(want.Class()):
		return 1
	case w.p.Class().Enharmonic(want.Class()):
		return .5
	}
	return 0
}

// judgeNotes grades notes one by one. Wanted and written ones are laid against each other so that the credit is largest, and
// then the distances are least: in the order written for a melody, from low to high for a chord. A note too many counts as
// one that is wrong. How a note is spelled doesn't matter, since it was heard.
func judgeNotes(text string, q Question) (Graded, error) {
	ws, err := readNotes(text)
	if err != nil {
		return Graded{}, err
	}
	want := q.Notes()
	inOrder := len(q.Left)+len(q.Right) == 0
	if !inOrder {
		slices.SortStableFunc(ws, func(a, b written) int {
			if a.bare || b.bare {
				return 0
			}
			return a.p.Compare(b.p)
		})
		if slices.ContainsFunc(ws, func(w written) bool { return w.bare }) { // names alone may come in any order
			ws = namesInOrder(want, ws)
		}
	}
	type cell struct {
		cost float64
		step int // 0 both, 1 the wanted one is missing, 2 the written one is too many
	}
	n, m := len(want), len(ws)
	grid := make([][]cell, n+1)
	for i := range grid {
		grid[i] = make([]cell, m+1)
		for j := range grid[i] {
			switch {
			case i == 0 && j == 0:
			case i == 0:
				grid[i][j] = cell{grid[i][j-1].cost + 1, 2}
			case j == 0:
				grid[i][j] = cell{grid[i-1][j].cost + 1, 1}
			default:
				d := want[i-1].MIDI() - ws[j-1].p.MIDI()
				pair := 1 - worth(want[i-1], ws[j-1])
				if pair > 0 {
					pair += .01 * float64(min(max(d, -d), 24))
				}
				best := cell{grid[i-1][j-1].cost + pair, 0}
				if c := grid[i-1][j].cost + 1; c < best.cost {
					best = cell{c, 1}
				}
				if c := grid[i][j-1].cost + 1; c < best.cost {
					best = cell{c, 2}
				}
				grid[i][j] = best
			}
		}
	}
	var parts []Part
	for i, j := n, m; i > 0 || j > 0; {
		switch grid[i][j].step {
		case 0:
			i, j = i-1, j-1
			parts = append(parts, Part{fmt.Sprintf("note %d", i+1), want[i].String(), ws[j].String(), worth(want[i], ws[j])})
		case 1:
			i--
			parts = append(parts, Part{Name: fmt.Sprintf("note %d", i+1), Want: want[i].String()})
		default:
			j--
			parts = append(parts, Part{Name: "one too many", Got: ws[j].String()})
		}
	}
	slices.Reverse(parts)
	g := Graded{Parts: parts, Credit: share(parts)}
	var names []string
	var sounds []pitch.Pitch
	for _, w := range ws {
		names = append(names, w.String())
		if !w.bare {
			sounds = append(sounds, w.p)
		}
	}
	g.Given = strings.Join(names, " ")
	if g.Credit > 1-1e-9 {
		g.Right, g.How, g.Credit = true, Exact, 1
		if g.Given != q.Expected {
			g.How = Synonym
			for i, p := range parts {
				if got := ws[min(i, len(ws)-1)]; !got.bare && p.Want != p.Got {
					g.How = Enharmonic
				}
			}
			g.Why = "by ear the same"
		}
		return g, nil
	}
	if len(sounds) == len(ws) {
		if g.said = writtenMusic(q, sounds); len(g.said) == 0 {
			l, r := split(slices.Clone(sounds))
			g.said = chordNotes(score.Time{}, chordLength, l, r)
		}
	}
	return g, nil
}

// namesInOrder brings names without octaves into the order of the wanted notes, those that fit none last.
func namesInOrder(want []pitch.Pitch, ws []written) []written {
	rest := slices.Clone(ws)
	var out []written
	for _, p := range want {
		if i := slices.IndexFunc(rest, func(w written) bool { return worth(p, w) == 1 }); i >= 0 {
			out, rest = append(out, rest[i]), slices.Delete(rest, i, i+1)
		} else if i := slices.IndexFunc(rest, func(w written) bool {
			return !slices.ContainsFunc(want, func(p pitch.Pitch) bool { return worth(p, w) > 0 })
		}); i >= 0 {
			out, rest = append(out, rest[i]), slices.Delete(rest, i, i+1)
		}
	}
	return append(out, rest...)
}

// writtenMusic puts what was written into the rhythm of a question with several moments, as far as it goes.
func writtenMusic(q Question, ps []pitch.Pitch) []Note {
	var out []Note
	for i, n := range q.Music {
		if i < len(ps) {
			n.Pitch = ps[i]
			out = append(out, n)
		}
	}
	return out
}

func tellNotes(q Question, g Graded) string {
	was := q.Expected
	if q.about != "" {
		was += " (" + q.about + ")"
	}
	switch {
	case g.Right:
		return "Right: " + was + "."
	case g.Given == "":
		return "It was " + was + "."
	}
	var wrong []string
	right := 0.0
	for _, p := range g.Parts {
		right += p.Credit
		w, err := pitch.Parse(p.Want)
		got, err2 := pitch.Parse(p.Got)
		switch {
		case p.Credit == 1:
		case p.Credit > 0:
			wrong = append(wrong, fmt.Sprintf("%s where you wrote %s: the right name in another octave", p.Want, p.Got))
		case err == nil && err2 == nil:
			wrong = append(wrong, fmt.Sprintf("%s where you wrote %s, %s", p.Want, p.Got, distance(w.MIDI()-got.MIDI())))
		case p.Want == "":
			wrong = append(wrong, p.Got+" doesn't sound")
		case p.Got == "":
			wrong = append(wrong, p.Want+" is missing")
		default:
			wrong = append(wrong, fmt.Sprintf("%s where you wrote %s", p.Want, p.Got))
		}
	}
	return fmt.Sprintf("%s of %d notes right. It was %s: %s.", strings.TrimSuffix(fmt.Sprintf("%.1f", right), ".0"), max(len(q.Notes()), len(g.Parts)), was, strings.Join(wrong, "; "))
}

// chordRows are the skills of naming a chord in full.
var chordRows = []row{{"triad", nil}, {"inverted triad", nil}, {"seventh chord", nil}, {"inverted seventh chord", nil}, {"sixth chord", nil}, {"ninth chord", nil}}

var chordTypes = map[string]string{"triad": "maj min dim aug", "inverted triad": "maj min dim", "seventh chord": "dom7 maj7 min7 hdim7 dim7 minmaj7",
	"inverted seventh chord": "dom7 maj7 min7 hdim7", "sixth chord": "6 m6 69", "ninth chord": "9 maj9 m9 7b9 add9"}

// chordCraft asks for a chord in full: root, quality, bass.
var chordCraft = &open{
	named: named{
		asks: "Which chord? Write it in full.", rows: chordRows, low: "C3", high: "C6",
		steps: []Level{step(1, "triads", "triad"), step(2, "triads and their inversions", "triad", "inverted triad"), step(3, "seventh chords", "seventh chord"),
			step(4, "seventh chords and their inversions", "seventh chord", "inverted seventh chord"), step(5, "all, with sixths and ninths", all(chordRows)...)},
		plan: func(s Settings, labels []string) (planner, error) {
			if err := tooNarrow(s, 30); err != nil {
				return nil, err
			}
			return filler(func(r *rand.Rand, q *Question) {
				lowest := q.draw(r, s.Low.MIDI(), s.High.MIDI()-28)
				distance := 13 + r.IntN(10)
				q.Skill = q.Expected
				t := pick(r, types(chordTypes[q.Skill]))
				bass := 0
				if strings.HasPrefix(q.Skill, "inverted") {
					bass = 1 + r.IntN(len(t.Intervals)-1)
				}
				b, _, places, _ := withMembers(r, t, bass, -1, distance, max(4, len(t.Intervals)), func(int) int { return lowest })
				q.Left, q.Right, q.Root = voiced(r, t, b, lowest, places)
				q.Expected = symbolOf(q.Root, t, q.Notes())
				if !q.Sight {
					q.Prompt = fmt.Sprintf("Which chord? Its lowest note is %s. Write it in full, as in Am7/C.", q.Left[0])
				}
				q.like = &likeness{root: q.Root, t: t}
			}), nil
		},
	},
	judge: judgeSymbol,
	tell:  tellSymbol,
}

// judgeSymbol grades a chord by its root, its quality member by member, and its bass. Another name for the same notes over
// the same bass counts, by sight only if it spells them so.
func judgeSymbol(text string, q Question) (Graded, error) {
	sym, err := chord.ParseLabel(text)
	if err != nil && text[0] >= 'a' && text[0] <= 'g' {
		sym, err = chord.ParseLabel(upper(text))
	}
	if err != nil {
		why := "it is no chord label"
		if le, ok := err.(*chord.LabelError); ok && le.Nearest != "" {
			why += fmt.Sprintf("; did you mean %q?", le.Nearest)
		}
		return Graded{}, openError(text, why, `"Am7/C"`, `"F# minor, first inversion"`)
	}
	ns := q.Notes()
	want := q.like
	bass, said := sym.BassClass()
	if !said {
		bass = sym.Root
	}
	g := Graded{Given: sym.House()}
	sounding := func(same func(a, b pitch.Class) bool) bool {
		if !same(bass, ns[0].Class()) {
			return false
		}
		for _, p := range ns {
			if !slices.ContainsFunc(sym.Type.Intervals, func(iv pitch.Interval) bool { return same(sym.Root.Add(iv), p.Class()) }) {
				return false
			}
		}
		for i, iv := range sym.Type.Intervals {
			if !slices.ContainsFunc(ns, func(p pitch.Pitch) bool { return same(sym.Root.Add(iv), p.Class()) }) && !slices.Contains(sym.Type.Omittable, sym.Type.Roles[i]) {
				return false
			}
		}
		return true
	}
	spelled := sounding(func(a, b pitch.Class) bool { return a == b })
	switch {
	case spelled && sym.Root == want.root:
		g.Right, g.How, g.Credit = true, Exact, 1
	case spelled:
		g.Right, g.How, g.Credit = true, OtherReading, 1
		g.Why = fmt.Sprintf("the same notes: %s is also %s", q.Expected, g.Given)
	case sounding(pitch.Class.Enharmonic) && !q.Sight:
		g.Right, g.How, g.Credit = true, Enharmonic, 1
		g.Why = fmt.Sprintf("by ear the same keys: %s sounds as %s", q.Expected, g.Given)
	default:
		g.Parts = append([]Part{judged("root", want.root.String(), sym.Root.String())}, typeParts(want.t, sym.Type)...)
		g.Parts = append(g.Parts, judged("bass", ns[0].Class().String(), bass.String()))
		if !q.Sight { // by ear a name isn't wrong for its spelling
			for i, p := range []struct{ a, b pitch.Class }{{want.root, sym.Root}, {ns[0].Class(), bass}} {
				if p.a.Enharmonic(p.b) {
					g.Parts[i*(len(g.Parts)-1)].Credit = 1
				}
			}
		}
		g.Credit = share(g.Parts)
		// What was said, as near as can be to what sounded.
		other := slices.DeleteFunc(remap(ns, want.root, want.t, sym.Type), func(pitch.Pitch) bool { return false })
		if sym.Root != want.root {
			for i := range other {
				other[i] = near(sym.Root.Add(other[i].Class().Sub(want.root)), other[i])
			}
		}
		slices.SortFunc(other, pitch.Pitch.Compare)
		l, r := split(slices.Compact(other))
		g.said = chordNotes(score.Time{}, chordLength, l, r)
	}
	return g, nil
}

func tellSymbol(q Question, g Graded) string {
	was := fmt.Sprintf("%s (%s)", q.Expected, spellOut(q.Root, q.like.t))
	switch {
	case g.Right && g.Why != "":
		return "Right: " + g.Why + "."
	case g.Right:
		return "Right: " + was + "."
	case g.Given == "":
		return "It was " + was + "."
	}
	var right, wrong []string
	for _, p := range g.Parts {
		if p.Credit == 1 {
			right = append(right, p.Name)
		} else {
			wrong = append(wrong, p.String())
		}
	}
	s := fmt.Sprintf("You said %s; it was %s. %s.", g.Given, was, upper(strings.Join(wrong, "; ")))
	if len(right) > 0 {
		s += " Right: " + strings.Join(right, ", ") + "."
	}
	return s
}
