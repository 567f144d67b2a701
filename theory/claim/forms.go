package claim

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/key"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Form is a kind of statement that is understood. To add one, add a row to the table in this file: its example is in the
// help, its words in the parser and its check in the checker from then on.
type Form struct {
	ID       string
	Example  string   // a whole claim
	Wordings []string // other ways to say such a thing, each a statement
	Asserts  string   // what exactly it says, and when it is arguable
	patterns []*regexp.Regexp
	parse    func(match, *args) *stmtError
	check    func(*Checker, score.Region, args) (Result, error)
}

// args are the parts of a statement that its form reads out of the words.
type args struct {
	word    string // a kind: "fifths", "white", "chromatic"
	strict  bool   // "perfect" was said, or "chromatic" lines
	notes   []noteRef
	to      noteRef
	dir     int // 1 up, -1 down, 0 unsaid
	symbol  chord.Symbol
	number  int // of an inversion or a period
	motion  line.Motion
	steps   bool // a motion was said beside the direction
	list    []pitch.Interval
	at      *score.Place
	atByte  int // where the second place begins in the statement
	setName string
	of      int // "three of the four": 4
	sort    chordSort
	sorts   []chordSort
	layer   score.Layer // of the texture, if the statement names it
	keys    []key.Key
	text    string // as written, of what the message has to repeat
	words   []string
	symbols []chord.Symbol
	subs    []sub
}

// A sub is a statement within a statement.
type sub struct {
	form *Form
	args args
	text string
}

// A noteRef is a note as a claim names it, with or without octave.
type noteRef struct {
	class  pitch.Class
	pitch  pitch.Pitch
	octave bool
}

func (n noteRef) String() string {
	if n.octave {
		return n.pitch.String()
	}
	return n.class.String()
}

// is reports whether p is the note as spelled; sounds, whether it is the same key of the keyboard.
func (n noteRef) is(p pitch.Pitch) bool {
	return n.octave && n.pitch == p || !n.octave && n.class == p.Class()
}
func (n noteRef) sounds(p pitch.Pitch) bool {
	return n.octave && n.pitch.Enharmonic(p) || !n.octave && n.class.Enharmonic(p.Class())
}

// A stmtError says what of a statement is not understood; offset is in the statement as written. A soft one gives way to
// another form that understands the words; a weak one is not even worth telling.
type stmtError struct {
	offset     int
	msg        string
	nearest    []string
	soft, weak bool
	placed     bool // offset is where it should be
}

// A match is a statement matched by a pattern: its named groups and where they begin.
type match struct {
	phrase phrase
	text   string
	group  map[string]string
	at     map[string]int
}

// Building stones of the patterns. Spaces in a pattern stand for any white space.
const (
	reNote = `[A-G](?:[#bx♯♭♮𝄪𝄫]{0,3}|[ -](?:double[ -]|triple[ -])?(?:sharp|flat|natural))-?\d{0,2}`
	reBe   = `(?:is|are|stands?|was) `
	reArt  = `(?:an? |the |its |some )?`
	reMode = `major|minor|dorian|phrygian|lydian|mixolydian|locrian|ionian|aeolian`
	reKey  = `[A-G](?:[#bx]{0,3}|[ -](?:sharp|flat|natural))?(?:[ -]?(?:` + reMode + `))?`
	reNum  = `\d{1,3}|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve`
)

func pats(list ...string) []*regexp.Regexp {
	var out []*regexp.Regexp
	for _, p := range list {
		p = strings.NewReplacer("NOTES", `(?P<notes>`+reNote+`(?:(?: ?, ?(?:and )?| and |-|–| )`+reNote+`)*)`,
			"NOTE2", `(?P<note2>`+reNote+`)`, "NOTE", `(?P<note>`+reNote+`)`, "BE ", reBe, "ART ", reArt,
			"KEY2", `(?P<key2>`+reKey+`)`, "KEY", `(?P<key>`+reKey+`)`, "NUMBER", reNum).Replace(p)
		p = strings.ReplaceAll(p, " ", `\s+`)
		p = strings.ReplaceAll(p, `\s+?`, `\s*`)
		out = append(out, regexp.MustCompile(`(?i)^(?:`+p+`)\.?$`))
	}
	return out
}

var forms []Form

// Forms returns the statements that are understood, in a fixed order.
func Forms() []Form { return forms }

func formByID(id string) *Form {
	for i := range forms {
		if forms[i].ID == id {
			return &forms[i]
		}
	}
	return nil
}

// The checks refer to Forms by way of their messages. The first form whose words fit is taken, so the broadest comes last.
func init() {
	forms = slices.Concat(noteForms(), keyForms(), foreignForms(), lineForms(), textureForms(), raisedForms(), severalForms(), chordForms())
}

// noteForms are about what sounds: stacks, bass, keys of the keyboard, clusters, sets, members.
func noteForms() []Form {
	return []Form{
		{
			ID:       "stacked",
			Example:  "bar 1 beat 1, left hand: stacked in fifths",
			Wordings: []string{"is built in perfect fourths", "is a stack of thirds", "is quartal", "the left hand is stacked in fifths", "is a pile of seconds", "consists of stacked fourths", "has stacked thirds", "is a fourth chord", "quartal right hand over quintal left hand", "quartal over quintal", "fourths over fifths"},
			Asserts:  "the distances between neighbouring notes, low to high, are all of that number by spelling; altered ones are named, octave doublings left out; \"X over Y\" says it of the right hand and of the left; arguable if they are so by sound only",
			patterns: pats(`(?:BE |consists of |has |forms )?(?:ART )?(?:stacked|built|made|stack|pile|piled)(?: up)? (?:in |of |on |from |with |by |only |out )*(?P<perfect>perfect )?(?P<kind>fifths|fourths|thirds|seconds)`,
				`(?:BE )?ART (?P<kind>quartal|quintal)(?: (?:chord|stack|harmony))?`, `(?:BE )?ART (?P<kind>fourth|fifth)s?[ -]chord`,
				`(?:(?:is|has|are) )?ART (?:stacked )?(?P<upper>quartal|quintal|fourths|fifths|thirds|seconds)(?: (?:chord|stack|harmony|right hand|upper hand))? over ART (?:stacked )?(?P<lower>quartal|quintal|fourths|fifths|thirds|seconds)(?: (?:chord|stack|harmony|left hand|lower hand))?`),
			parse: func(m match, a *args) *stmtError {
				plain := func(group string) string {
					w := m.get(group)
					if s, ok := map[string]string{"quartal": "fourths", "quintal": "fifths", "fourth": "fourths", "fifth": "fifths"}[w]; ok {
						return s
					}
					return w
				}
				a.word = plain("kind")
				if a.word == "" {
					a.words = []string{plain("upper"), plain("lower")}
				}
				a.strict = m.get("perfect") != ""
				if a.strict && (a.word == "thirds" || a.word == "seconds") {
					return m.fail("perfect", "%s are major or minor, never perfect", a.word)
				}
				return nil
			},
			check: (*Checker).stacked,
		},
		{
			ID:       "bass",
			Example:  "bar 2 beat 1: bass is F#",
			Wordings: []string{"the bass note is F#2", "F♯ is the bass", "has F sharp in the bass", "is over a bass F#", "the lowest note is F#", "F# lies in the bass"},
			Asserts:  "the lowest sounding note is that one (in a longer place: at its start, or the lowest of all); arguable if it is so by sound only, or at another moment of the place",
			patterns: pats(`(?:ART )?bass(?: note)? is (?:ART )?NOTE`, `NOTE is (?:ART )?bass(?: note)?`, `NOTE (?:is|lies|stands|sounds) in (?:ART )?bass`, `has (?:ART )?NOTE in (?:ART )?bass`, `(?:is|lies|stands) over (?:ART )?(?:bass )?NOTE(?: in ART bass)?`, `(?:ART )?lowest (?:note|sounding note|tone) is (?:ART )?NOTE`, `is (?:ART )?NOTE in the bass`),
			parse:    func(m match, a *args) *stmtError { return m.notes("note", a) },
			check:    (*Checker).bassIs,
		},
		{
			ID:       "keys",
			Example:  "bar 1 beat 1: uses only white keys",
			Wordings: []string{"only black keys", "lies entirely on the white keys", "is all on black keys", "uses white keys only", "the right hand plays nothing but white keys"},
			Asserts:  "every note of the place is played on such a key, however it is spelled",
			patterns: pats(`(?:(?:uses|is|are|has|lies|lies on|plays|is on|is played) )?(?:only|all on|all|nothing but|exclusively|entirely|entirely on|wholly on|only on) (?:ART )?(?P<kind>white|black) keys?(?: only)?`, `(?:uses|is on|lies on|plays|is played on) (?:ART )?(?P<kind>white|black) keys (?:only|alone)`),
			parse:    func(m match, a *args) *stmtError { a.word = m.get("kind"); return nil },
			check:    (*Checker).keys,
		},
		{
			ID:       "set class",
			Example:  "bar 1: forms set class 4-20",
			Wordings: []string{"belongs to set class (0158)", "is set class 4-Z15", "forms the set [0,2,7]", "has the pitch-class set 3-9"},
			Asserts:  "the pitch classes of the place, all together, belong to that set class (by Forte number, or by prime form in brackets, Rahn's or Forte's)",
			patterns: pats(`(?:forms|is|belongs to|has|makes) (?:ART )?(?:pitch[ -]class[ -])?set(?:[ -]class)? (?P<set>\d{1,2}-Z?\d{1,2}|[\[(][0-9TEte, ]+[\])])`),
			parse: func(m match, a *args) *stmtError {
				a.setName = strings.ToUpper(strings.NewReplacer(" ", "", ",", "").Replace(m.get("set")))
				if !knownSet(a.setName) {
					return m.fail("set", "there is no set class %q; want a Forte number such as 4-20 or a prime form such as (0158)", m.get("set"))
				}
				return nil
			},
			check: (*Checker).setClass,
		},
		{
			ID:       "cluster",
			Example:  "bar 2 beat 2: contains the chromatic cluster G# A A#",
			Wordings: []string{"G#, A and A# form a chromatic cluster", "has a diatonic cluster on B C# D", "contains a cluster", "there is a chromatic cluster of G sharp, A and A sharp", "is a whole-tone cluster", "is a cluster of three adjacent semitones"},
			Asserts:  "at least three neighbouring notes sound a second apart with nothing between: chromatic, by semitones only; diatonic, by whole tones and semitones of one scale; arguable if the notes sound but are spread over octaves",
			patterns: pats(`(?:(?:contains|has|holds|includes|forms|is|makes) )?(?:ART )?(?:(?P<kind>chromatic|diatonic|whole[ -]tone|black[ -]key|white[ -]key|pentatonic) )?cluster(?:(?: of| on)? NOTES)?`,
				`(?:(?:contains|has|holds|includes|forms|is|makes|there is) )?(?:ART )?(?:(?P<kind>chromatic|diatonic) )?cluster of (?P<n>NUMBER) (?:(?:adjacent|neighbou?ring|consecutive) )?(?P<what>semitones|half[ -]steps|notes|tones|keys)`,
				`NOTES (?:BE |forms? |makes? (?:up )?)(?:ART )?(?:(?P<kind>chromatic|diatonic|whole[ -]tone|black[ -]key|white[ -]key|pentatonic) )?cluster`),
			parse: func(m match, a *args) *stmtError {
				a.word = strings.ReplaceAll(m.get("kind"), " ", "-")
				if what := m.get("what"); what == "semitones" || strings.HasPrefix(what, "half") {
					a.word = "chromatic"
				}
				if a.number = numberWord(m.get("n")); m.get("n") != "" && a.number < 3 {
					return m.fail("n", "a cluster has three notes or more")
				}
				if m.get("notes") == "" {
					return nil
				}
				return m.notes("notes", a)
			},
			check: (*Checker).cluster,
		},
		{
			ID:      "resolves",
			Example: "bar 1 beat 1: B#5 resolves to C#6 at bar 1 beat 3",
			Wordings: []string{"B# resolves up to C#", "D5 falls by step to C5", "the F♯ goes up by semitone to G in bar 2", "D sharp resolves by half step to E", "the B# resolves to C# in bar 1 beat 3", "F leads to E", "A5 moves down to G5 at bar 2 beat 1",
				"the raised fourth D# resolves up to E", "the raised fourth D# wants to rise to E", "the seventh A falls to G", "the leading tone G# rises to A", "D7 resolves to G", "G7 leads to C", "Dm7 goes to G7"},
			Asserts: "the first note sounds at the place, the second is struck at the other place (or next in that hand), a step away, and what else is said of the first note (\"the seventh A\", \"the raised fourth D#\") holds; of chords, and of a letter with 7 where no such pitch sounds: the chord is there and the next one is the other, or has that root; arguable if a note is so by sound only, is held on, moves by a chromatic semitone on one letter, or resolves in another octave",
			patterns: pats(`(?:ART )?(?:(?P<what>(?:raised|sharp|sharpened|lowered|flat|flattened)[ -](?:`+reDegree+`)(?: degree)?|third|fifth|seventh|ninth|leading[ -](?:tone|note)),? )?NOTE (?:(?:wants|tends|has) to )?(?:resolves?|go(?:es)?|leads?|moves?|falls?|rises?|steps?) (?:(?:on )?(?P<dir>up|down|upwards?|downwards?) )?(?:by (?:ART )?(?:half[ -]|whole[ -])?(?:step|semitone|tone) )?(?:(?P<dir2>up|down|upwards?|downwards?) )?(?:in)?to (?:ART )?NOTE2(?:,? (?:at|in|on) (?P<place>.+))?`,
				`(?:ART )?(?P<chord>[A-G].*?) (?:resolves|goes|leads|moves)(?: on)? to (?:ART )?(?P<chord2>[A-G].*?)(?: chord)?`),
			parse: func(m match, a *args) *stmtError {
				if m.group["chord"] != "" {
					for _, g := range []string{"chord", "chord2"} {
						s, err := chord.ParseLabel(m.group[g])
						if err != nil {
							return &stmtError{offset: m.at[g], soft: true, weak: true}
						}
						a.symbols = append(a.symbols, s)
					}
					return nil
				}
				if e := m.notes("note", a); e != nil {
					return e
				}
				var e *stmtError
				if a.to, e = m.note("note2"); e != nil {
					return e
				}
				if e := m.saidOfNote(a); e != nil {
					return e
				}
				if d := m.get("dir") + m.get("dir2"); strings.HasPrefix(d, "up") || risesWord.MatchString(m.text) {
					a.dir = 1
				} else if strings.HasPrefix(d, "down") || fallsWord.MatchString(m.text) {
					a.dir = -1
				}
				if m.group["place"] == "" {
					return nil
				}
				return m.place(a)
			},
			check: (*Checker).resolution,
		},
		{
			ID:      "sixth for fifth",
			Example: "bar 3 beat 1: added sixth F# replaces the fifth",
			Wordings: []string{"F# replaces the fifth", "the sixth F# stands in for the fifth", "the sixth F♯ takes the place of the fifth", "the fifth is replaced by the sixth F#",
				"there is a sixth instead of a fifth", "the A stands in for the fifth G", "the sixth F# instead of the fifth", "is C major with an added sixth and no fifth"},
			Asserts: "that note, its lower major sixth as root, and a third above the root sound, and no fifth of that root does; if no sixth is named, any; arguable if the notes are no more than a plain triad in inversion",
			patterns: pats(`(?:has )?(?:ART )?(?:(?:added )?sixth,? )?NOTE,? (?:replaces|stands in for|stands for|takes (?:ART )?place of|instead of|in place of) (?:ART )?fifth(?:,? NOTE2)?`, `(?:ART )?fifth(?:,? NOTE2,?)? is replaced by (?:ART )?(?:added )?(?:sixth,? )?NOTE`,
				`(?:(?:has|contains|with) )?(?:ART )?(?:added )?sixth (?:instead|in place|in ART place|in ART stead) of (?:ART )?fifth`,
				`(?:(?:is|could be|sounds as|sounds like) )?(?:ART )?(?P<root>[A-G][#b]{0,2})(?: (?P<mode>major|minor))?(?: chord| triad)?,? with (?:ART )?(?:added )?sixth,? (?:(?:and|but|with) )?(?:no|without(?: ART)?|lacking ART|not ART) ?fifth`),
			parse: func(m match, a *args) *stmtError {
				if m.group["root"] != "" {
					n, err := parseNote(m.group["root"])
					if err != nil {
						return m.fail("root", "%s", strings.TrimPrefix(err.Error(), "pitch: "))
					}
					a.notes = []noteRef{{class: n.class.Add(pitch.MajorSixth)}}
					a.text = m.get("mode")
					return nil
				}
				if m.group["note2"] != "" {
					var e *stmtError
					if a.to, e = m.note("note2"); e != nil {
						return e
					}
					a.strict = true
				}
				if m.group["note"] == "" {
					return nil
				}
				return m.notes("note", a)
			},
			check: (*Checker).sixthInstead,
		},
		{
			ID:       "inversion",
			Example:  "bar 1 beat 1: in first inversion",
			Wordings: []string{"is in root position", "is in second inversion", "stands in first inversion", "is a first inversion chord", "is inverted"},
			Asserts:  "the first reading by thirds has that chord member in the bass; arguable if only a lower reading has",
			patterns: pats(`(?:BE )?in (?:ART )?(?P<inv>root|first|second|third|fourth|1st|2nd|3rd|4th) (?:position|inversion)`, `is ART (?P<inv>root|first|second|third|fourth|1st|2nd|3rd|4th)[ -](?:position|inversion)(?: chord| triad)?`, `(?:is|stands) (?P<inv>inverted)`),
			parse: func(m match, a *args) *stmtError {
				if m.get("inv") == "inverted" {
					a.number = -1
					return nil
				}
				root, inversion := strings.HasPrefix(m.get("inv"), "root"), strings.Contains(strings.ToLower(m.text), "inversion")
				if root == inversion {
					return m.fail("inv", "want root position, or first to fourth inversion")
				}
				a.number = map[string]int{"ro": 0, "fi": 1, "1s": 1, "se": 2, "2n": 2, "th": 3, "3r": 3, "fo": 4, "4t": 4}[m.get("inv")[:2]]
				return nil
			},
			check: (*Checker).inversion,
		},
	}
}

// lineForms are about lines, outer voices and how one place comes from another.
func lineForms() []Form {
	return []Form{
		{
			ID:      "moves",
			Example: "bars 5-8, bass: moves by the circle of fifths",
			Wordings: []string{"rises chromatically", "falls by step", "moves in fourths", "ascends by whole tones", "the bass descends stepwise", "is chromatic", "goes round the circle of fifths", "rises", "falls in thirds", "moves up by half steps",
				"falls by fifths", "moves by the cycle of fifths", "is a chromatic scale", "descends chromatically from B to E", "is a chromatic ascent from C5 to F#5"},
			Asserts: "every move of the line, repeated notes left out, is of that kind by spelling: by step, chromatically, by whole tones, in thirds, fourths or fifths, by the circle of fifths (a fifth down or a fourth up, octaves aside); the bass may be taken by beats or bars, and in it a fourth up counts as a fifth down; \"from B to E\" asks the stretch between those notes, in whichever line has it; arguable if so by sound only",
			patterns: pats(`(?:(?:steadily|all|always) )?(?P<dir>moves?|goes|walks|runs|rises?|falls?|climbs?|descends?|ascends?)(?: (?P<dir2>up|down|upwards?|downwards?))?(?: (?P<how>by (?:ART )?steps?|in steps|in seconds|stepwise|chromatically|by semitones?|in semitones|by half[ -]steps?|by whole[ -](?:tones?|steps?)|in whole[ -]tones|(?:in|by) thirds|(?:in|by) (?:perfect )?fourths|(?:in|by) (?:perfect )?fifths|(?:by|round|around|through|along|down) (?:ART )?(?:circle|cycle) of fifths))(?: from NOTE (?:up |down )?to NOTE2)?`,
				`(?P<dir>rises?|falls?|climbs?|descends?|ascends?)(?: (?:throughout|steadily|all the way))?(?: from NOTE (?:up |down )?to NOTE2)?`,
				`(?:(?:is|has|plays|makes|contains|there is) )?ART (?:(?P<dir2>rising|falling|ascending|descending) )?(?P<how>chromatic|stepwise|whole[ -]tone) (?P<dir>scale|run|line|ascent|descent|rise|fall)(?: (?P<dir3>up|down))?(?: from NOTE (?:up |down )?to NOTE2)?`, `(?:is|(?P<dir>rising|falling|ascending|descending)) (?P<how>stepwise|chromatic|chromatically|by step)`),
			parse: func(m match, a *args) *stmtError {
				how, dir := m.get("how"), m.get("dir")+" "+m.get("dir2")+" "+m.get("dir3")
				if m.group["note"] != "" {
					if e := m.notes("note", a); e != nil {
						return e
					}
					var e *stmtError
					if a.to, e = m.note("note2"); e != nil {
						return e
					}
				}
				for _, w := range []string{"ris", "climb", "ascen", "up"} {
					if strings.Contains(dir, w) {
						a.dir = 1
					}
				}
				for _, w := range []string{"fall", "descen", "down"} {
					if strings.Contains(dir, w) {
						a.dir = -1
					}
				}
				a.steps, a.strict = true, strings.Contains(how, "perfect")
				switch {
				case how == "":
					a.steps = false
				case strings.Contains(how, "chromatic") || strings.Contains(how, "semitone") || strings.Contains(how, "half"):
					a.motion = line.Chromatic
				case strings.Contains(how, "whole"):
					a.motion = line.ByWholeTones
				case strings.Contains(how, "circle"), strings.Contains(how, "cycle"):
					a.motion = line.CircleOfFifths
					a.dir = 0 // round the circle has no up and down in register
				case strings.Contains(how, "thirds"):
					a.motion = line.InThirds
				case strings.Contains(how, "fourths"):
					a.motion = line.InFourths
				case strings.Contains(how, "fifths"):
					a.motion = line.InFifths
				default:
					a.motion = line.ByStep
				}
				return nil
			},
			check: (*Checker).moves,
		},
		{
			ID:       "two lines",
			Example:  "bars 3-4, top line: splits into two stepwise lines",
			Wordings: []string{"is two lines in one", "splits into two chromatic lines", "is a compound melody", "implies two voices", "divides into two stepwise strands", "is implied polyphony", "two chromatic lines descending"},
			Asserts:  "the line can be divided into two strands that each move by no more than a whole tone (chromatic: by semitones only) while the line itself leaps in at least half of its moves, and most other orders of the same notes would not split so well; arguable if one move in six within the strands is larger, or in a line of fewer than eight notes; of two lines said to rise or fall: at least two of the outer and inner lines (or strands of the line) do so throughout",
			patterns: pats(`(?:splits (?:up )?into|is|divides into|is made of|consists of|implies|contains|projects) two (?P<kind>stepwise|chromatic)? ?(?:lines|strands|voices)(?: in one)?`, `(?:is|forms) ART compound (?:melody|line)`,
				`(?:(?:is|has|shows|contains|there is) )?ART (?:implied|latent|hidden) (?:polyphony|two-part writing)`,
				`(?:(?:has|contains|there are|is|are) )?ART two (?P<kind>chromatic|stepwise) lines (?P<dir>descending|falling|descend|fall|going down|ascending|rising|ascend|rise|going up)`,
				`(?:(?:has|contains|there are|is|are) )?ART two (?P<dir>descending|falling|ascending|rising) (?P<kind>chromatic|stepwise) lines`),
			parse: func(m match, a *args) *stmtError {
				a.strict = m.get("kind") == "chromatic"
				if d := m.get("dir"); d != "" {
					a.dir = 1
					if strings.Contains(d, "fall") || strings.Contains(d, "desc") || strings.Contains(d, "down") {
						a.dir = -1
					}
				}
				return nil
			},
			check: (*Checker).twoLinesOf,
		},
		{
			ID:       "outer intervals",
			Example:  "bars 5-8: outer intervals repeat every 3 chords: P5 m3 M7",
			Wordings: []string{"the outer intervals repeat after 3 chords", "outer voices repeat every two chords: P5 m3", "the intervals between the outer voices repeat every 3 chords", "outer intervals are m3 M7"},
			Asserts:  "the intervals between the lowest and the highest note, octaves taken off, come back after that number of chords and no sooner; the intervals may be listed (\"outer intervals are\": so many chords with those, or the same again and again); arguable if so by sound only, or if they repeat sooner",
			patterns: pats(`(?:ART )?(?:outer (?:intervals|voices)|intervals (?:of|between) ART outer (?:voices|lines|parts)) repeat (?:every|after(?: every)?) (?P<n>\d{1,2}|two|three|four|five|six) (?:chords|notes)(?: ?: ?(?P<list>[PMmAd]+\d{1,2}(?:(?: ?, ?| )[PMmAd]+\d{1,2})*))?`,
				`(?:ART )?(?:outer intervals|intervals (?:of|between) ART outer (?:voices|lines|parts)) are ?:? (?P<list>[PMmAd]+\d{1,2}(?:(?: ?, ?| and | )[PMmAd]+\d{1,2})*)`),
			parse: func(m match, a *args) *stmtError {
				if m.group["n"] == "" {
					a.word = "are"
				} else if a.number = numberWord(m.get("n")); a.number < 1 {
					return m.fail("n", "want a number of chords from 1")
				}
				at := m.at["list"]
				for _, f := range strings.FieldsFunc(m.group["list"], func(r rune) bool { return r == ' ' || r == ',' || r == '\t' }) {
					if strings.EqualFold(f, "and") {
						continue
					}
					i, err := pitch.ParseInterval(f)
					if err != nil {
						return &stmtError{offset: at + strings.Index(m.group["list"], f), msg: strings.TrimPrefix(err.Error(), "pitch: ")}
					}
					a.list = append(a.list, i.Simple())
				}
				if a.word == "are" {
					a.number = len(a.list)
				}
				if len(a.list) > 0 && len(a.list) != a.number {
					return m.fail("list", "%d intervals are listed for %d chords", len(a.list), a.number)
				}
				return nil
			},
			check: (*Checker).outerIntervals,
		},
		{
			ID:       "missing",
			Example:  "bar 1 beat 1: the third is missing",
			Wordings: []string{"no fifth", "third missing", "has no third", "lacks its fifth", "the fifth is left out", "without the seventh", "is missing its third", "omits the third", "there is no fifth"},
			Asserts:  "above the root of the first reading that has one (else above the bass) no such member sounds, of any size; arguable if only a lower reading lacks it",
			patterns: pats(`ART (?P<part>root|third|fifth|seventh|ninth) (?:(?:is|are) )?(?:missing|absent|left out|omitted|lacking)`,
				`(?:(?:has|contains|with|there is|is) )?(?:no|without) (?:ART )?(?P<part>root|third|fifth|seventh|ninth)`, `(?:lacks|omits|is missing|misses|leaves out) (?:ART )?(?P<part>root|third|fifth|seventh|ninth)`),
			parse: func(m match, a *args) *stmtError { a.word = m.get("part"); return nil },
			check: (*Checker).missing,
		},
		{
			ID:       "sounds as",
			Example:  "bar 1 beat 1: B# sounds as the seventh of D7",
			Wordings: []string{"B# is heard as the seventh of D7", "B# acts as the 7th of D7", "B# could be the seventh of a D7 chord"},
			Asserts:  "the note sounds, it is by sound that member of the chord, and the rest of the chord sounds too, whatever the spelling; arguable if one other member is absent",
			patterns: pats(`ART NOTE (?:sounds as|sounds like|is heard as|acts as|could be|works as|stands for|is) ART (?P<part>root|third|fifth|seventh|ninth|eleventh|thirteenth|3rd|5th|7th|9th|11th|13th) of ART (?P<label>.+)`),
			parse: func(m match, a *args) *stmtError {
				if e := m.notes("note", a); e != nil {
					return e
				}
				a.word = m.get("part")
				if w, ok := map[string]string{"3rd": "third", "5th": "fifth", "7th": "seventh", "9th": "ninth", "11th": "eleventh", "13th": "thirteenth"}[a.word]; ok {
					a.word = w
				}
				sym, err := chord.ParseLabel(m.group["label"])
				if err != nil {
					return m.fail("label", "%q is no chord label; want, for instance, D7 or \"D dominant seventh\"", m.group["label"])
				}
				a.symbol = sym
				return nil
			},
			check: (*Checker).soundsAs,
		},
		{
			ID:       "outer motion",
			Example:  "bars 5-8: melody and bass in contrary motion",
			Wordings: []string{"the outer voices move in contrary motion", "bass and melody in parallel motion", "the outer voices are in similar motion", "melody and bass move in opposite directions", "the outer voices move apart"},
			Asserts:  "whenever lowest and highest note both move they do so in that manner (parallel: keeping the interval's number); arguable if one of them waits in between",
			patterns: pats(`ART (?:melody|tune|top line|soprano|bass|outer voices|outer lines|outer parts|hands)(?: and ART (?:bass|melody|tune|top line|soprano))? (?:(?:are|move|go|is|run|proceed) )?in (?P<kind>contrary|parallel|similar|oblique) motion`,
				`ART (?:melody|tune|top line|soprano|bass|outer voices|outer lines)(?: and ART (?:bass|melody|tune|top line|soprano))? (?:move|go|run) (?P<kind>in opposite directions|apart|together|in the same direction)`),
			parse: func(m match, a *args) *stmtError {
				a.word = m.get("kind")
				switch a.word {
				case "in opposite directions", "apart", "together":
					a.word = "contrary"
				case "in the same direction":
					a.word = "similar"
				}
				return nil
			},
			check: (*Checker).contrary,
		},
		{
			ID:       "louder",
			Example:  "bars 5-8: gets louder",
			Wordings: []string{"has a crescendo", "there is a diminuendo", "becomes softer", "gets quieter", "is a crescendo", "grows louder"},
			Asserts:  "hairpins or marks written in the place lead that way and none leads the other; arguable if both do, or if only the texture grows or thins",
			patterns: pats(`(?:gradually |steadily |slowly )?(?:gets|grows|becomes|turns) (?:gradually |steadily |slowly |ever |much )?(?P<dir>louder|softer|quieter)`, `(?:(?:has|there is|is|makes|contains) )?ART (?P<dir>crescendo|diminuendo|decrescendo)`),
			parse: func(m match, a *args) *stmtError {
				a.dir = -1
				if d := m.get("dir"); d == "louder" || d == "crescendo" {
					a.dir = 1
				}
				return nil
			},
			check: (*Checker).dynamics,
		},
		{
			ID:       "pedal",
			Example:  "bars 5-8: pedal on E",
			Wordings: []string{"is over a pedal on A", "there is a pedal point on E", "E is a pedal", "has an organ point on G", "stands over a dominant pedal", "the bass holds an E"},
			Asserts:  "that note sounds on through the place while other notes move against it, in the bass; arguable if it is held in another part, is left for a moment, or nothing moves against it",
			patterns: pats(`(?:(?:is|has|over|stands over|is over|lies over|there is|contains) )?(?:over )?ART (?:bass )?(?:pedal|pedal point|organ point)(?: note)? (?:on|of) ART NOTE`, `NOTE is ART (?:pedal|pedal point|pedal note)`,
				`(?:(?:is|has|over|stands over|is over|lies over|there is) )?(?:over )?ART (?P<deg>dominant|tonic) (?:pedal|pedal point|organ point)(?: (?:in|of) KEY)?`, `(?:ART bass )?(?:holds|sustains|keeps) (?:ART )?NOTE(?: in the bass)?(?: throughout)?`),
			parse: func(m match, a *args) *stmtError {
				if a.word = m.get("deg"); a.word == "" {
					return m.notes("note", a)
				}
				if m.group["key"] != "" {
					return m.key("key", a)
				}
				return nil
			},
			check: (*Checker).pedal,
		},
		{
			ID:       "relation",
			Example:  "bar 2, right hand: is bar 1 moved down a step",
			Wordings: []string{"repeats bar 1", "repeats bar 1 an octave lower", "is bar 1 transposed up a major second", "has the rhythm of bar 1", "is a copy of bar 1 up a third", "is bar 1 a step lower", "moves bar 1 up by a fourth"},
			Asserts:  "note for note, in the same rhythm, the place is the other one: repeated, an octave away, or moved by that interval (step, third and so on without a quality may follow the scale); \"has the rhythm of\" asks the onsets alone; arguable if so by sound only, or with one exception in eight notes",
			patterns: pats(`(?:is|repeats|copies|moves|transposes)(?: (?:ART )?copy of)? (?P<place>bars? .+?),? (?:(?:moved|transposed|shifted) )?(?P<dir>up|down) (?:by )?ART (?P<size>half step|semitone|whole tone|whole step|step|(?:(?:minor|major|perfect|augmented|diminished) )?(?:second|third|fourth|fifth|sixth|seventh|octave))`,
				`(?:is|repeats|copies) (?P<place>bars? .+?),? (?:ART |by an )?octave (?P<oct>higher|lower|up|down)`,
				`(?:is|repeats|copies)(?: (?:ART )?copy of)? (?P<place>bars? .+?),? ART (?P<size>half step|semitone|whole tone|whole step|step|(?:(?:minor|major|perfect|augmented|diminished) )?(?:second|third|fourth|fifth|sixth|seventh)) (?P<dir>higher|lower)`,
				`(?:is|repeats|copies)(?: (?:ART )?copy of)? (?P<place>bars? .+?)(?P<again> again| exactly| literally)?`,
				`(?:has|keeps|repeats) ART (?P<rhythm>rhythm) of (?P<place>.+)`),
			parse: func(m match, a *args) *stmtError {
				if e := m.place(a); e != nil {
					return e
				}
				a.dir = 1
				if d := m.get("dir") + m.get("oct"); d == "down" || d == "lower" {
					a.dir = -1
				}
				switch size := m.get("size"); {
				case m.get("rhythm") != "":
					a.word = "rhythm"
				case m.get("oct") != "" || size == "octave" || size == "perfect octave":
					a.word = "octave"
				case size == "":
					a.word = "repeats"
				case size == "step":
					a.word, a.number = "moved", 2
				case size == "half step" || size == "semitone":
					a.word, a.number, a.strict, a.list = "moved", 2, true, []pitch.Interval{pitch.MinorSecond}
				case size == "whole step" || size == "whole tone":
					a.word, a.number, a.strict, a.list = "moved", 2, true, []pitch.Interval{pitch.MajorSecond}
				default:
					a.word = "moved"
					words := strings.Fields(size)
					for n := 2; n <= 7; n++ {
						if pitch.NumberWord(n) == words[len(words)-1] {
							a.number = n
						}
					}
					if len(words) == 2 {
						short := map[string]string{"minor": "m", "major": "M", "perfect": "P", "augmented": "A", "diminished": "d"}[words[0]]
						i, err := pitch.ParseInterval(short + strconv.Itoa(a.number))
						if err != nil {
							return m.fail("size", "there is no %s", size)
						}
						a.strict, a.list = true, []pitch.Interval{i}
					}
				}
				return nil
			},
			check: (*Checker).relation,
		},
	}
}

// chordForms are about one chord by name.
func chordForms() []Form {
	return []Form{
		{
			ID:       "chord",
			Example:  "bar 2 beat 1: is an F# minor seventh chord",
			Wordings: []string{"is F#m7", "is an F♯ minor-seventh chord", "is F# half diminished", "is E dom7", "is heard as A major", "is B♭ major in first inversion", "spells an E major chord", "is a French sixth on Ab", "is Am with C in the bass", "is C major over E", "outlines a D minor triad", "sounds like Cmaj7", "is a root-position C major triad", "first inversion of E7", "could be C6"},
			Asserts:  "the notes of the place are that chord, in any octave and inversion (if it names a bass or an inversion: that one), with nothing foreign and nothing missing but what players leave out; in a longer place foreign notes may pass if they take no more than a quarter of the sound; arguable if so by sound only, if the first reading is another chord, or if the chord is there with one note more",
			patterns: pats(`(?:is heard as|is understood as|can be read as|could be|may be|might be|is read as|sounds like|sounds as|is|are|makes|forms|spells|outlines|sounds) (?P<label>.+)`),
			parse: func(m match, a *args) *stmtError {
				label := m.group["label"]
				trimmed := inversionLast(withBass.ReplaceAllString(strings.TrimSuffix(label, "."), "$1/$2"))
				sym, err := chord.ParseLabel(trimmed)
				if err != nil {
					var le *chord.LabelError
					if !errors.As(err, &le) {
						return &stmtError{offset: m.at["label"], msg: err.Error(), soft: true}
					}
					at := min(le.Offset, len(trimmed))
					if space := strings.LastIndexByte(trimmed[:at], ' '); space >= 0 { // point to the word, not into it
						at = space + 1
					}
					e := &stmtError{offset: m.at["label"] + at, msg: fmt.Sprintf("%q is no chord: %s", trimmed, le.Why), nearest: nearest(m.text), soft: true, weak: at == 0 || articleOnly.MatchString(trimmed[:at]) && strings.ToLower(trimmed[at:at+1]) == trimmed[at:at+1]}
					if le.Nearest != "" {
						e.nearest = []string{strconv.Quote("is " + le.Nearest)}
					}
					return e
				}
				a.symbol = sym
				return nil
			},
			check: (*Checker).isChord,
		},
	}
}

var articleOnly = regexp.MustCompile(`(?i)^(?:an?|the) $`)

// withBass finds a chord whose bass is told in a clause.
var withBass = regexp.MustCompile(`(?i)^(.+?),? (?:with|over) (?:a |an |the )?([A-G][#b]{0,2}) in (?:the |its )?bass$`)

// get returns a group in lower case with white space made single.
func (m match) get(name string) string {
	return strings.Join(strings.Fields(strings.ToLower(m.group[name])), " ")
}

func (m match) fail(group, format string, a ...any) *stmtError {
	return &stmtError{offset: m.at[group], msg: fmt.Sprintf(format, a...)}
}

// place reads the second place of a statement.
func (m match) place(a *args) *stmtError {
	pl, err := score.ParsePlace(m.group["place"])
	if err != nil {
		pe := err.(*score.PlaceError)
		return &stmtError{offset: m.at["place"] + pe.Offset, msg: pe.Msg}
	}
	a.at, a.atByte = &pl, m.phrase.written(m.at["place"])
	return nil
}

// key reads a key of a group. A letter alone is a major key, in lower case a minor one.
func (m match) key(group string, a *args) *stmtError {
	k, err := key.Parse(strings.ReplaceAll(m.group[group], "-", " "))
	if err != nil {
		return m.fail(group, "%q is no key; want, for instance, \"A major\"", m.group[group])
	}
	a.keys = append(a.keys, k)
	return nil
}

// sub reads a statement that begins at a group, with words put before it.
func (m match) sub(group, before string, a *args) *stmtError {
	at := m.at[group]
	p := m.phrase.join(0, 0, before, at)
	f, b, e := understand(p, 1)
	if f == nil {
		if e == nil || e.weak {
			e = &stmtError{offset: m.phrase.written(at), placed: true, msg: fmt.Sprintf("%q is not understood", m.text[at:]), nearest: nearest(p.text), soft: true}
		}
		return e
	}
	a.subs = append(a.subs, sub{f, b, p.text})
	return nil
}

// note reads one note name of a group.
func (m match) note(group string) (noteRef, *stmtError) {
	n, err := parseNote(m.group[group])
	if err != nil {
		return n, m.fail(group, "%s", strings.TrimPrefix(err.Error(), "pitch: "))
	}
	return n, nil
}

var noteWord = regexp.MustCompile(`(?i)` + reNote)

var andWord = regexp.MustCompile(`(?i)\s(?:and)\s`)

// notes reads all note names of a group into a.notes.
func (m match) notes(group string, a *args) *stmtError {
	text := andWord.ReplaceAllString(m.group[group], "    ,")
	for _, span := range noteWord.FindAllStringIndex(text, -1) {
		n, err := parseNote(text[span[0]:span[1]])
		if err != nil {
			return &stmtError{offset: m.at[group] + span[0], msg: strings.TrimPrefix(err.Error(), "pitch: ")}
		}
		a.notes = append(a.notes, n)
	}
	return nil
}

// parseNote reads a note as claims name it: "B#5", "f natural", "C double sharp4".
func parseNote(s string) (noteRef, error) {
	t := strings.ToLower(strings.NewReplacer("-", " ").Replace(s))
	if i := strings.IndexByte(t, ' '); i > 0 {
		word := strings.TrimRight(t[i+1:], "0123456789")
		octave := strings.TrimPrefix(t[i+1:], word)
		n := 1
		switch {
		case strings.HasPrefix(word, "double "):
			n, word = 2, word[7:]
		case strings.HasPrefix(word, "triple "):
			n, word = 3, word[7:]
		}
		if sign, ok := map[string]string{"sharp": "#", "flat": "b", "natural": ""}[word]; ok {
			s = t[:i] + strings.Repeat(sign, n) + octave
		}
	}
	if c, err := pitch.ParseClass(s); err == nil {
		return noteRef{class: c}, nil
	}
	p, err := pitch.Parse(s)
	return noteRef{class: p.Class(), pitch: p, octave: true}, err
}

// statement returns the statement part of a form's example.
func (f Form) statement() string {
	_, s, _ := strings.Cut(f.Example, ": ")
	return s
}

// nearest returns the examples and wordings that share most content words with s, the best of each form, best first, at most three;
// none if no word is shared. Letter pairs decide between those that share as many.
func nearest(s string) []string {
	type scored struct {
		text  string
		score float64
	}
	want := contentWords(s)
	near := func(example string) float64 {
		n, have := 0.0, contentWords(example)
		for _, w := range want {
			best := 0.0
			for _, h := range have {
				if w == h {
					best = 1
				} else if l := likeness(w, h); len(w) > 4 && l > .7 { // mistyped
					best = max(best, l-.2)
				}
			}
			n += best
		}
		if n == 0 {
			return 0
		}
		return n + likeness(s, example)
	}
	var list []scored
	for _, f := range forms {
		best := scored{f.statement(), near(f.statement())}
		for _, w := range f.Wordings {
			if l := near(w); l > best.score+.1 {
				best = scored{w, l}
			}
		}
		if best.score > 0 {
			list = append(list, best)
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].score > list[j].score })
	var out []string
	for _, x := range list[:min(3, len(list))] {
		if 2*x.score > list[0].score {
			out = append(out, strconv.Quote(x.text))
		}
	}
	return out
}

// stopWords say nothing of what a statement is about.
var stopWords = func() map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields("a an the is are was were be been it its this that these those there here and or not no of on in at to by from with for as has have had contains contain uses use does do " +
		"bar bars beat beats major minor place like sounds sound heard than then so very into over under between some all every each only one two three four five out up") {
		m[w] = true
	}
	return m
}()

// contentWords returns the words of a statement that tell what it is about, in lower case and without the s of a plural: no articles,
// no names of notes, no numbers.
func contentWords(s string) []string {
	var out []string
	for _, w := range strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !('a' <= r && r <= 'z') && r != '\'' }) {
		if len(w) < 3 || stopWords[w] {
			continue
		}
		w = strings.TrimSuffix(w, "s")
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return out
}

// likeness is Dice's coefficient over letter pairs: twice the pairs in common over all pairs (Dice 1945), in [0, 1].
func likeness(a, b string) float64 {
	pairs := func(s string) map[string]int {
		m := map[string]int{}
		r := []rune(strings.ToLower(s))
		for i := 0; i+1 < len(r); i++ {
			m[string(r[i:i+2])]++
		}
		return m
	}
	x, y := pairs(a), pairs(b)
	common, all := 0, 0
	for p, n := range x {
		common += min(n, y[p])
		all += n
	}
	for _, n := range y {
		all += n
	}
	if all == 0 {
		return 0
	}
	return 2 * float64(common) / float64(all)
}

// knownSet reports whether name is the Forte number or a prime form of a set class.
func knownSet(name string) bool {
	for set := 1; set < 1<<12; set += 2 { // every class has a set with pitch class 0
		var pcs []int
		for pc := 0; pc < 12; pc++ {
			if set>>pc&1 == 1 {
				pcs = append(pcs, pc)
			}
		}
		if isSet(chord.SetOfPCs(pcs), name) {
			return true
		}
	}
	return false
}

func isSet(s chord.Set, name string) bool {
	if strings.ContainsAny(name, "([") {
		name = strings.Trim(name, "()[]")
		return name == s.Prime || name == s.PrimeForte
	}
	return name == s.Forte || strings.ReplaceAll(name, "Z", "") == strings.ReplaceAll(s.Forte, "Z", "")
}
