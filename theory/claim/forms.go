package claim

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"plumbline/theory/chord"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A Form is a kind of statement that is understood. To add one, add a row to the table in this file: its example is in the
// help, its words in the parser and its check in the checker from then on.
type Form struct {
	ID       string
	Example  string // a whole claim
	Asserts  string // what exactly it says, and when it is arguable
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
	atCol   int // characters of the statement before the second place
	setName string
	of      int // "three of the four": 4
	sort    chordSort
	sorts   []chordSort
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

type stmtError struct {
	offset  int
	msg     string
	nearest []string
}

// A match is a statement matched by a pattern: its named groups and where they begin.
type match struct {
	text  string
	group map[string]string
	at    map[string]int
}

// Building stones of the patterns. Spaces in a pattern stand for any white space.
const (
	reNote = `[A-G](?:[#bx♯♭♮𝄪𝄫]{0,3}|[ -](?:double[ -]|triple[ -])?(?:sharp|flat|natural))-?\d{0,2}`
	reBe   = `(?:is|are|stands?|was) `
	reArt  = `(?:an? |the )?`
)

func pats(list ...string) []*regexp.Regexp {
	var out []*regexp.Regexp
	for _, p := range list {
		p = strings.NewReplacer("NOTES", `(?P<notes>`+reNote+`(?:(?: ?, ?(?:and )?| and |-|–| )`+reNote+`)*)`,
			"NOTE2", `(?P<note2>`+reNote+`)`, "NOTE", `(?P<note>`+reNote+`)`, "BE ", reBe, "ART ", reArt).Replace(p)
		p = strings.ReplaceAll(p, " ", `\s+`)
		p = strings.ReplaceAll(p, `\s+?`, `\s*`)
		out = append(out, regexp.MustCompile(`(?i)^(?:`+p+`)\.?$`))
	}
	return out
}

var forms []Form

// Forms returns the statements that are understood, in a fixed order.
func Forms() []Form { return forms }

func init() { // the checks refer to Forms by way of their messages
	forms = []Form{
		{
			ID:      "stacked",
			Example: "bar 1 beat 1, left hand: stacked in fifths",
			Asserts: "the distances between neighbouring notes, low to high, are all of that number by spelling; altered ones are named, octave doublings left out; arguable if they are so by sound only",
			patterns: pats(`(?:BE )?(?:ART )?(?:stacked|built|made|stack|pile|piled)(?: up)? (?:in|of|on|from|with|by) (?P<perfect>perfect )?(?P<kind>fifths|fourths|thirds|seconds)`,
				`(?:BE )?ART (?P<kind>quartal|quintal)(?: (?:chord|stack|harmony))?`),
			parse: func(m match, a *args) *stmtError {
				a.word = m.get("kind")
				a.strict = m.get("perfect") != ""
				switch a.word {
				case "quartal":
					a.word = "fourths"
				case "quintal":
					a.word = "fifths"
				}
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
			Asserts:  "the lowest sounding note is that one (in a longer place: at its start, or the lowest of all); arguable if it is so by sound only, or at another moment of the place",
			patterns: pats(`(?:ART )?bass(?: note)? is (?:ART )?NOTE`, `NOTE is (?:ART )?bass(?: note)?`, `NOTE is in (?:ART )?bass`, `has NOTE in (?:ART )?bass`),
			parse:    func(m match, a *args) *stmtError { return m.notes("note", a) },
			check:    (*Checker).bassIs,
		},
		{
			ID:       "keys",
			Example:  "bar 1 beat 1: uses only white keys",
			Asserts:  "every note of the place is played on such a key, however it is spelled",
			patterns: pats(`(?:(?:uses|is|are|has|lies on|plays|is on) )?(?:only|all on|all|nothing but|exclusively) (?:ART )?(?P<kind>white|black) keys?(?: only)?`, `(?:uses|is on|lies on) (?:ART )?(?P<kind>white|black) keys only`),
			parse:    func(m match, a *args) *stmtError { a.word = m.get("kind"); return nil },
			check:    (*Checker).keys,
		},
		{
			ID:       "set class",
			Example:  "bar 1: forms set class 4-20",
			Asserts:  "the pitch classes of the place, all together, belong to that set class (by Forte number, or by prime form in brackets, Rahn's or Forte's)",
			patterns: pats(`(?:forms|is|belongs to|has|makes) (?:ART )?(?:pitch[ -]class )?set(?:[ -]class)? (?P<set>\d{1,2}-Z?\d{1,2}|[\[(][0-9TEte, ]+[\])])`),
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
			ID:      "cluster",
			Example: "bar 2 beat 2: contains the chromatic cluster G# A A#",
			Asserts: "at least three neighbouring notes sound a second apart with nothing between: chromatic, by semitones only; diatonic, by whole tones and semitones of one scale; arguable if the notes sound but are spread over octaves",
			patterns: pats(`(?:contains|has|holds|includes|forms|is) (?:ART )?(?:(?P<kind>chromatic|diatonic|whole[ -]tone|black[ -]key|white[ -]key|pentatonic) )?cluster(?:(?: of| on)? NOTES)?`,
				`NOTES (?:BE |forms? )(?:ART )?(?:(?P<kind>chromatic|diatonic|whole[ -]tone|black[ -]key|white[ -]key|pentatonic) )?cluster`),
			parse: func(m match, a *args) *stmtError {
				a.word = strings.ReplaceAll(m.get("kind"), " ", "-")
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
			Asserts: "the first note sounds at the place, the second is struck at the other place (or next in that hand), a step away; arguable if a note is so by sound only, is held on, moves by a chromatic semitone on one letter, or resolves in another octave",
			patterns: pats(`(?:ART )?NOTE (?:resolves|goes|leads|moves|falls|rises) (?:(?P<dir>up|down|upwards?|downwards?) )?(?:by (?:ART )?(?:half[ -]|whole[ -])?(?:step|semitone|tone) )?to (?:ART )?NOTE2(?:,? (?:at|in|on) (?P<place>.+))?`,
				`(?:ART )?NOTE resolves (?:(?P<dir>up|down|upwards?|downwards?) )?by (?:ART )?(?:half[ -]|whole[ -])?(?:step|semitone|tone) to (?:ART )?NOTE2(?:,? (?:at|in|on) (?P<place>.+))?`),
			parse: func(m match, a *args) *stmtError {
				if e := m.notes("note", a); e != nil {
					return e
				}
				var e *stmtError
				if a.to, e = m.note("note2"); e != nil {
					return e
				}
				if d := m.get("dir"); strings.HasPrefix(d, "up") || strings.Contains(strings.ToLower(m.text), " rises ") {
					a.dir = 1
				} else if strings.HasPrefix(d, "down") || strings.Contains(strings.ToLower(m.text), " falls ") {
					a.dir = -1
				}
				if m.group["place"] == "" {
					return nil
				}
				pl, err := score.ParsePlace(m.group["place"])
				if err != nil {
					pe := err.(*score.PlaceError)
					return &stmtError{offset: m.at["place"] + pe.Offset, msg: pe.Msg}
				}
				a.at, a.atCol = &pl, utf8.RuneCountInString(m.text[:m.at["place"]])
				return nil
			},
			check: (*Checker).resolves,
		},
		{
			ID:       "sixth for fifth",
			Example:  "bar 3 beat 1: added sixth F# replaces the fifth",
			Asserts:  "that note, its lower major sixth as root, and a third above the root sound, and no fifth of that root does; arguable if the notes are no more than a plain triad in inversion",
			patterns: pats(`(?:ART )?(?:added )?sixth,? NOTE,? (?:replaces|stands in for|stands for|takes (?:ART )?place of) (?:ART )?fifth`, `NOTE (?:replaces|stands in for|stands for|takes (?:ART )?place of) (?:ART )?fifth`),
			parse:    func(m match, a *args) *stmtError { return m.notes("note", a) },
			check:    (*Checker).sixthForFifth,
		},
		{
			ID:       "inversion",
			Example:  "bar 1 beat 1: in first inversion",
			Asserts:  "the first reading by thirds has that chord member in the bass; arguable if only a lower reading has",
			patterns: pats(`(?:BE )?in (?:ART )?(?P<inv>root|first|second|third|fourth|1st|2nd|3rd|4th) (?:position|inversion)`),
			parse: func(m match, a *args) *stmtError {
				root, inversion := strings.HasPrefix(m.get("inv"), "root"), strings.Contains(strings.ToLower(m.text), "inversion")
				if root == inversion {
					return m.fail("inv", "want root position, or first to fourth inversion")
				}
				a.number = map[string]int{"ro": 0, "fi": 1, "1s": 1, "se": 2, "2n": 2, "th": 3, "3r": 3, "fo": 4, "4t": 4}[m.get("inv")[:2]]
				return nil
			},
			check: (*Checker).inversion,
		},
		{
			ID:      "moves",
			Example: "bars 5-8, bass: moves by the circle of fifths",
			Asserts: "every move of the line, repeated notes left out, is of that kind by spelling: by step, chromatically, by whole tones, in thirds, fourths or fifths, by the circle of fifths (a fifth down or a fourth up, octaves aside); the bass may be taken by beats or bars; arguable if so by sound only",
			patterns: pats(`(?:(?:steadily|all|always) )?(?P<dir>moves?|goes|walks|runs|rises?|falls?|climbs?|descends?|ascends?)(?: (?P<dir2>up|down|upwards?|downwards?))?(?: (?P<how>by (?:ART )?steps?|stepwise|chromatically|by semitones?|in semitones|by half[ -]steps?|by whole[ -](?:tones?|steps?)|in whole[ -]tones|(?:in|by) thirds|(?:in|by) (?:perfect )?fourths|(?:in|by) (?:perfect )?fifths|(?:by|round|around|through|along|down) (?:ART )?circle of fifths))`,
				`(?P<dir>rises?|falls?|climbs?|descends?|ascends?)(?: (?:throughout|steadily|all the way))?`, `is (?P<how>stepwise|chromatic)`),
			parse: func(m match, a *args) *stmtError {
				how, dir := m.get("how"), m.get("dir")+" "+m.get("dir2")
				for _, w := range []string{"rise", "climb", "ascend", "up"} {
					if strings.Contains(dir, w) {
						a.dir = 1
					}
				}
				for _, w := range []string{"fall", "descend", "down"} {
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
				case strings.Contains(how, "circle"):
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
			Asserts:  "the line can be divided into two strands that each move by no more than a whole tone (chromatic: by semitones only) while the line itself leaps in at least half of its moves; arguable if one move in six within the strands is larger",
			patterns: pats(`(?:splits into|is|divides into|is made of|consists of) two (?P<kind>stepwise|chromatic)? ?(?:lines|strands|voices)(?: in one)?`),
			parse:    func(m match, a *args) *stmtError { a.strict = m.get("kind") == "chromatic"; return nil },
			check:    (*Checker).twoLines,
		},
		{
			ID:       "outer intervals",
			Example:  "bars 5-8: outer intervals repeat every 3 chords: P5 m3 M7",
			Asserts:  "the intervals between the lowest and the highest note, octaves taken off, come back after that number of chords and no sooner; the intervals may be listed; arguable if so by sound only, or if they repeat sooner",
			patterns: pats(`(?:ART )?outer (?:intervals|voices) repeat (?:every|after) (?P<n>\d{1,2}|two|three|four|five|six) (?:chords|notes)(?: ?: ?(?P<list>[PMmAd]+\d{1,2}(?:(?: ?, ?| )[PMmAd]+\d{1,2})*))?`),
			parse: func(m match, a *args) *stmtError {
				if a.number = numberWord(m.get("n")); a.number < 1 {
					return m.fail("n", "want a number of chords from 1")
				}
				at := m.at["list"]
				for _, f := range strings.FieldsFunc(m.group["list"], func(r rune) bool { return r == ' ' || r == ',' || r == '\t' }) {
					i, err := pitch.ParseInterval(f)
					if err != nil {
						return &stmtError{offset: at + strings.Index(m.group["list"], f), msg: strings.TrimPrefix(err.Error(), "pitch: ")}
					}
					a.list = append(a.list, i.Simple())
				}
				if len(a.list) > 0 && len(a.list) != a.number {
					return m.fail("list", "%d intervals are listed for %d chords", len(a.list), a.number)
				}
				return nil
			},
			check: (*Checker).outerIntervals,
		},
		{
			ID:      "several chords",
			Example: "bars 5-8: every chord is a seventh chord",
			Asserts: "the chords of the place (sonorities of three pitch classes or more; one that only revoices the one before counts with it) are, by their first readings, of that family or quality: every, no, some, the first, the last, or so many of them; arguable where a lower reading decides",
			patterns: pats(`ART (?P<q>every|each|all|no|some|first|last|at least one) (?:of )?ART chords? (?:is|are) (?P<sort>.+)`,
				`(?P<n>\d{1,3}|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve)(?: of ART (?P<m>\d{1,3}|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve))? chords? (?:is|are) (?P<sort>.+)`),
			parse: func(m match, a *args) *stmtError {
				switch q := m.get("q"); q {
				case "":
					a.word, a.number, a.of = "count", numberWord(m.get("n")), numberWord(m.get("m"))
				case "every", "each", "all":
					a.word = "every"
				case "at least one":
					a.word = "some"
				default:
					a.word = q
				}
				s, ok := parseSort(m.group["sort"])
				if !ok {
					return m.fail("sort", "%q is no kind of chord; want, for instance, \"seventh chord\", \"triad\" or \"minor seventh\"", m.group["sort"])
				}
				a.sort = s
				return nil
			},
			check: (*Checker).quantified,
		},
		{
			ID:       "qualities",
			Example:  "bars 5-8: qualities repeat every 3 chords: dominant seventh, minor seventh, major seventh",
			Asserts:  "the qualities of the chords of the place, by their first readings, come back after that number of chords and no sooner; they may be listed; arguable if they repeat sooner or a lower reading decides",
			patterns: pats(`ART (?:chord )?qualities repeat (?:every|after) (?P<n>\d{1,2}|two|three|four|five|six) chords(?: ?: ?(?P<list>.+))?`),
			parse: func(m match, a *args) *stmtError {
				if a.number = numberWord(m.get("n")); a.number < 1 {
					return m.fail("n", "want a number of chords from 1")
				}
				if m.group["list"] == "" {
					return nil
				}
				at := m.at["list"]
				for _, part := range strings.Split(m.group["list"], ",") {
					s, ok := parseSort(part)
					if !ok {
						return &stmtError{offset: at + len(part) - len(strings.TrimLeft(part, " ")), msg: fmt.Sprintf("%q is no quality of a chord; want, for instance, \"dominant seventh\"", strings.TrimSpace(part))}
					}
					at += len(part) + 1
					a.sorts = append(a.sorts, s)
				}
				if len(a.sorts) != a.number {
					return m.fail("list", "%d qualities are listed for %d chords", len(a.sorts), a.number)
				}
				return nil
			},
			check: (*Checker).qualitiesRepeat,
		},
		{
			ID:      "missing",
			Example: "bar 1 beat 1: the third is missing",
			Asserts: "above the root of the first reading that has one (else above the bass) no such member sounds, of any size; arguable if only a lower reading lacks it",
			patterns: pats(`ART (?P<part>third|fifth|seventh|ninth) (?:is|are) (?:missing|absent|left out|omitted)`,
				`(?:(?:has|with) )?(?:no|without) ART (?P<part>third|fifth|seventh|ninth)`),
			parse: func(m match, a *args) *stmtError { a.word = m.get("part"); return nil },
			check: (*Checker).missing,
		},
		{
			ID:       "sounds as",
			Example:  "bar 1 beat 1: B# sounds as the seventh of D7",
			Asserts:  "the note sounds, it is by sound that member of the chord, and the rest of the chord sounds too, whatever the spelling; arguable if one other member is absent",
			patterns: pats(`ART NOTE (?:sounds as|sounds like|is heard as|acts as|could be|is) ART (?P<part>root|third|fifth|seventh|ninth|eleventh|thirteenth) of ART (?P<label>.+)`),
			parse: func(m match, a *args) *stmtError {
				if e := m.notes("note", a); e != nil {
					return e
				}
				a.word = m.get("part")
				sym, err := chord.ParseLabel(m.group["label"])
				if err != nil {
					return m.fail("label", "%q is no chord label", m.group["label"])
				}
				a.symbol = sym
				return nil
			},
			check: (*Checker).soundsAs,
		},
		{
			ID:       "outer motion",
			Example:  "bars 5-8: melody and bass in contrary motion",
			Asserts:  "whenever lowest and highest note both move they do so in that manner (parallel: keeping the interval's number); arguable if one of them waits in between",
			patterns: pats(`ART (?:melody|tune|top line|bass|outer voices|outer lines)(?: and ART (?:bass|melody|tune|top line))? (?:(?:are|move|go|is) )?in (?P<kind>contrary|parallel|similar) motion`),
			parse:    func(m match, a *args) *stmtError { a.word = m.get("kind"); return nil },
			check:    (*Checker).contrary,
		},
		{
			ID:       "louder",
			Example:  "bars 5-8: gets louder",
			Asserts:  "hairpins or marks written in the place lead that way and none leads the other; arguable if both do, or if only the texture grows or thins",
			patterns: pats(`(?:gets|grows|becomes|gradually gets) (?P<dir>louder|softer|quieter)`, `(?:(?:has|there is) )?ART (?P<dir>crescendo|diminuendo|decrescendo)`),
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
			Asserts:  "that note sounds on through the place while other notes move against it, in the bass; arguable if it is held in another part, is left for a moment, or nothing moves against it",
			patterns: pats(`(?:(?:is|has|over|stands over) )?ART (?:pedal|pedal point|organ point)(?: note)? (?:on|of) ART NOTE`, `NOTE is ART (?:pedal|pedal point|pedal note)`),
			parse:    func(m match, a *args) *stmtError { return m.notes("note", a) },
			check:    (*Checker).pedal,
		},
		{
			ID:      "relation",
			Example: "bar 2, right hand: is bar 1 moved down a step",
			Asserts: "note for note, in the same rhythm, the place is the other one: repeated, an octave away, or moved by that interval (step, third and so on without a quality may follow the scale); \"has the rhythm of\" asks the onsets alone; arguable if so by sound only, or with one exception in eight notes",
			patterns: pats(`(?:is|repeats|copies) (?P<place>bars? .+?),? (?:(?:moved|transposed|shifted) )?(?P<dir>up|down) (?:by )?ART (?P<size>half step|semitone|whole tone|whole step|step|(?:(?:minor|major|perfect|augmented|diminished) )?(?:second|third|fourth|fifth|sixth|seventh|octave))`,
				`(?:is|repeats|copies) (?P<place>bars? .+?),? (?:ART |by an )?octave (?P<oct>higher|lower|up|down)`,
				`(?:is|repeats|copies) (?P<place>bars? .+?)(?P<again> again| exactly| literally)?`,
				`(?:has|keeps|repeats) ART (?P<rhythm>rhythm) of (?P<place>.+)`),
			parse: func(m match, a *args) *stmtError {
				pl, err := score.ParsePlace(m.group["place"])
				if err != nil {
					pe := err.(*score.PlaceError)
					return &stmtError{offset: m.at["place"] + pe.Offset, msg: pe.Msg}
				}
				a.at, a.atCol = &pl, utf8.RuneCountInString(m.text[:m.at["place"]])
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
		{
			ID:       "chord",
			Example:  "bar 2 beat 1: is an F# minor seventh chord",
			Asserts:  "the notes of the place are that chord, in any octave and inversion (if it names a bass or an inversion: that one), with nothing foreign and nothing missing but what players leave out; in a longer place foreign notes may pass if they take no more than a quarter of the sound; arguable if so by sound only, if the first reading is another chord, or if the chord is there with one note more",
			patterns: pats(`(?:is|are|makes|forms|is heard as) (?P<label>.+)`),
			parse: func(m match, a *args) *stmtError {
				label := m.group["label"]
				trimmed := strings.TrimSuffix(label, ".")
				sym, err := chord.ParseLabel(trimmed)
				if err != nil {
					var le *chord.LabelError
					if !errors.As(err, &le) {
						return m.fail("label", "%v", err)
					}
					at := min(le.Offset, len(trimmed))
					if space := strings.LastIndexByte(trimmed[:at], ' '); space >= 0 { // point to the word, not into it
						at = space + 1
					}
					e := &stmtError{offset: m.at["label"] + at, msg: fmt.Sprintf("%q is no chord: %s", trimmed, le.Why), nearest: nearest(m.text)}
					if le.Nearest != "" {
						e.nearest = append([]string{strconv.Quote("is " + le.Nearest)}, e.nearest...)
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

// get returns a group in lower case with white space made single.
func (m match) get(name string) string {
	return strings.Join(strings.Fields(strings.ToLower(m.group[name])), " ")
}

func (m match) fail(group, format string, a ...any) *stmtError {
	return &stmtError{offset: m.at[group], msg: fmt.Sprintf(format, a...)}
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

// notes reads all note names of a group into a.notes.
func (m match) notes(group string, a *args) *stmtError {
	for _, span := range noteWord.FindAllStringIndex(m.group[group], -1) {
		n, err := parseNote(m.group[group][span[0]:span[1]])
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

// numberWord reads a number in figures or words up to twelve; 0 if it is neither.
func numberWord(s string) int {
	if i := slices.Index([]string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}, s); i > 0 {
		return i
	}
	n, _ := strconv.Atoi(s)
	return n
}

// parseStatement finds the form of a statement.
func parseStatement(s string) (*Form, args, *stmtError) {
	for i := range forms {
		f := &forms[i]
		for _, re := range f.patterns {
			loc := re.FindStringSubmatchIndex(s)
			if loc == nil {
				continue
			}
			m := match{s, map[string]string{}, map[string]int{}}
			for g, name := range re.SubexpNames() {
				if name != "" && loc[2*g] >= 0 {
					m.group[name], m.at[name] = s[loc[2*g]:loc[2*g+1]], loc[2*g]
				}
			}
			var a args
			if err := f.parse(m, &a); err != nil {
				return nil, a, err
			}
			return f, a, nil
		}
	}
	return nil, args{}, &stmtError{msg: fmt.Sprintf("statement %q is not understood", s), nearest: nearest(s)}
}

// statement returns the statement part of a form's example.
func (f Form) statement() string {
	_, s, _ := strings.Cut(f.Example, ": ")
	return s
}

// nearest returns the examples of the forms that share most letter pairs with s, best first, at most three; none if nothing
// comes near.
func nearest(s string) []string {
	type scored struct {
		text  string
		score float64
	}
	var list []scored
	for _, f := range forms {
		list = append(list, scored{f.statement(), likeness(s, f.statement())})
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].score > list[j].score })
	var out []string
	for _, x := range list[:3] {
		if x.score > 0.3 {
			out = append(out, strconv.Quote(x.text))
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
