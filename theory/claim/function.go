package claim

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"

	"plumbline/theory/chord"
	"plumbline/theory/harmony"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

const reFunction = `tonic|dominant|sub-?dominant|pre-?dominant|supertonic|mediant|submediant|leading[ -]tone`

// keyForms are about keys, numerals, functions and closes.
func keyForms() []Form {
	return []Form{
		{
			ID:       "key",
			Example:  "bars 1-8: key is A major",
			Wordings: []string{"is in A major", "is in the key of F# minor", "stays in A major", "A major is the key", "begins in B-flat minor", "is in a minor key"},
			Asserts:  "most of the place, at least three fifths of its time, is read in that key by its chords and notes together (\"begins in\" and \"ends in\" ask its first and last chord, \"stays in\" all of it); arguable where it is the key for a fifth of the time, where a related key is read but the notes fit the one claimed as well and its tonic chord begins or ends the place, where the notes of the place itself are mostly of other keys, where the place is one chord alone, or where the key is right by sound only",
			patterns: pats(`ART (?:home |main )?key (?:is|of|here is) (?:ART )?KEY`, `(?:(?P<where>begins|starts|opens|ends|closes|stays|remains|is|are|is all|is set|is written) )?in (?:ART key of )?KEY(?: throughout)?`, `KEY is ART (?:home |main )?key`,
				`tonici[sz]es KEY`, `(?:is|stays|remains) in ART (?P<mode>major|minor)(?: key| mode)?`),
			parse: func(m match, a *args) *stmtError {
				switch m.get("where") {
				case "begins", "starts", "opens":
					a.word = "begins"
				case "ends", "closes":
					a.word = "ends"
				case "stays", "remains", "is all":
					a.word = "stays"
				}
				if strings.HasSuffix(m.text, " throughout") {
					a.word = "stays"
				}
				if a.text = m.get("mode"); a.text != "" {
					return nil
				}
				if e := m.key("key", a); e != nil {
					e.soft = true
					return e
				}
				return nil
			},
			check: (*Checker).keyIs,
		},
		{
			ID:       "modulates",
			Example:  "bars 5-12: modulates from A major to E major",
			Wordings: []string{"modulates to E major", "moves from A minor to C major", "changes key to F# minor"},
			Asserts:  "the last chords of the place are read in the second key and the first ones in another, or in the first key if it is named; arguable where the second key is there but not at the end, or only for one chord",
			patterns: pats(`(?:modulates|changes key|moves|goes|leads|turns) (?:from KEY )?(?:to|into) (?:ART key of )?KEY2`),
			parse: func(m match, a *args) *stmtError {
				if m.group["key"] != "" {
					if e := m.key("key", a); e != nil {
						return e
					}
				}
				return m.key("key2", a)
			},
			check: (*Checker).modulates,
		},
		{
			ID:      "from to",
			Example: "bars 3-4, left hand: moves from tonic to dominant in A major",
			Wordings: []string{"goes from the tonic to the dominant in A major", "leads from tonic to dominant", "moves from I to V in A major",
				"moves from subdominant to tonic in D minor"},
			Asserts:  "the first chord of the place has the first function in that key and the last chord the second (of one hand: as its notes alone say, a bare bass note by its degree); arguable where a chord stands in for another (VI for I), where the dominant lacks the leading tone, or where the two follow one another inside the place only",
			patterns: pats(`(?:moves|goes|leads|progresses|passes|runs|steps|swings|is) from (?:ART )?(?P<one>` + reFunction + `|[b#]*[iv]+\d*) (?:harmony |chord )?to (?:ART )?(?P<two>` + reFunction + `|[b#]*[iv]+\d*)(?: harmony| chord)?(?: (?:in|of) (?:ART key of )?KEY)?`),
			parse: func(m match, a *args) *stmtError {
				a.words = []string{m.get("one"), m.get("two")}
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).fromTo,
		},
		{
			ID:       "alternates",
			Example:  "bars 1-4: alternates tonic and dominant in A major",
			Wordings: []string{"alternates between tonic and dominant", "tonic and dominant alternate in A major", "swings between tonic and dominant in G minor"},
			Asserts:  "the functions of the chords in the place are tonic and dominant in turn, with two changes at least and no other function between; arguable with a single change, or where another function takes at most a quarter of the time",
			patterns: pats(`(?:alternates|swings|rocks|goes back and forth|moves back and forth|oscillates) (?:between )?(?:ART )?(?:tonic and (?:ART )?dominant|dominant and (?:ART )?tonic|i and v7?)(?: (?:in|of) (?:ART key of )?KEY)?`,
				`(?:ART )?(?:tonic and dominant|dominant and tonic) (?:harmony )?(?:alternate|take turns)(?: (?:in|of) (?:ART key of )?KEY)?`),
			parse: func(m match, a *args) *stmtError {
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).alternates,
		},
		{
			ID:      "dominant under cluster",
			Example: "bar 1 beat 3: is a dominant under a chromatic cluster",
			Wordings: []string{"is a dominant seventh under a chromatic cluster", "is E7 under a diatonic cluster", "is a dominant in A major beneath the chromatic cluster",
				"is a dominant below a cluster"},
			Asserts:  "the highest notes hold a cluster of that kind (see cluster), and the notes below it, the bass among them, are a dominant: a major triad or dominant seventh, the fifth left out if need be, on the fifth degree of the key named or read there; or the chord named; arguable where the lower notes are a bare root and its fifth or seventh, or the dominant of another degree",
			patterns: pats(`(?:is|forms|makes) (?:ART )?(?:(?P<dom>dominant)(?: seventh)?(?: chord)?(?: (?:in|of) KEY)?|(?P<label>[A-G].*?)) (?:under|below|beneath|underneath) (?:ART )?(?:(?P<kind>chromatic|diatonic|whole[ -]tone) )?cluster`),
			parse: func(m match, a *args) *stmtError {
				a.word = strings.ReplaceAll(m.get("kind"), " ", "-")
				if m.group["label"] != "" {
					s, err := chord.ParseLabel(m.group["label"])
					if err != nil {
						return m.fail("label", "%q is no chord; want, for instance, E7", m.group["label"])
					}
					a.symbols = []chord.Symbol{s}
				}
				if m.group["key"] != "" {
					return m.key("key", a)
				}
				return nil
			},
			check: (*Checker).underCluster,
		},
		{
			ID:      "function",
			Example: "bar 1 beat 1: is tonic in A major",
			Wordings: []string{"is the tonic of A major", "is a dominant in A major", "functions as subdominant in D major", "has dominant function", "is the tonic chord",
				"is predominant in C minor", "acts as the dominant of E minor"},
			Asserts:  "the chord of the place is built on that degree of the key (without a key: of the one read there), whatever is added; the leading-tone chord counts as a dominant, the supertonic as a subdominant or predominant; a chord without its third counts if nothing speaks against it. Arguable: a chord that stands in (VI or III for I), a minor dominant, a cadential six-four (V to some, I to others), a dominant of another degree, a key that is not the one read there",
			patterns: pats(`(?:is|are|functions as|acts as|serves as|works as|stands for|has) (?:ART )?(?P<fn>` + reFunction + `)(?: chord| harmony| function| triad)?(?: (?:in|of) (?:ART key of )?KEY)?`),
			parse: func(m match, a *args) *stmtError {
				a.words = []string{m.get("fn")}
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).hasFunction,
		},
		{
			ID:      "numeral",
			Example: "bar 4: is V7 in A major",
			Wordings: []string{"is ii65 in C major", "is V of V in D major", "is viio7/V in G major", "is the V7 of A major", "is a Neapolitan sixth in E minor", "is IV6/4 in F major",
				"is bVI in C major", "is a German sixth in C minor", "is V", "is the dominant seventh of A minor"},
			Asserts: "the notes are the chord that the numeral means in that key (see chord), in the inversion that its figures say; arguable where the numeral has no figures and the chord is inverted, where the chord is there by another numeral only (an applied dominant, a borrowed chord written otherwise), or where the place is read in another key, and not a related one",
			patterns: pats(`(?:is|are|makes|forms|stands for) (?:ART )?(?P<num>(?:[b#]{0,2}[IViv]+[^ ]*(?: of [IViv]+)?)|(?:neapolitan(?: (?:sixth|chord))?|n6)|(?:german|italian|french)(?: augmented)? sixth|(?:ger|it|fr)\+6|cto7)(?: (?:in|of) (?:ART key of )?KEY)?`,
				`(?:is|are|forms) (?:ART )?(?P<num>dominant (?:seventh|7th)|leading[ -]tone seventh)(?: chord)? (?:in|of|to) (?:ART key of )?KEY`),
			parse: func(m match, a *args) *stmtError {
				num, ok := numeralText(m.group["num"])
				if !ok {
					e := m.fail("num", "%q is no Roman numeral; want, for instance, V7, ii65, viio7/V or bVI", m.group["num"])
					e.soft = true
					return e
				}
				a.text, a.word = num, m.group["num"]
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).isNumeral,
		},
		{
			ID:       "cadential six-four",
			Example:  "bar 4 beat 3: is a cadential six-four",
			Wordings: []string{"cadential 6/4", "is a cadential six-four in A major", "is I64 of the cadential kind", "is the cadential 64 of D minor"},
			Asserts:  "the notes are the tonic chord over its fifth, in that key, and a dominant chord on the same bass follows at once; arguable where the dominant follows later or on another bass, or where what follows is not in the passage",
			patterns: pats(`(?:(?:is|makes|forms|there is|has|contains) )?(?:ART )?(?:cadential (?:tonic )?(?:six[ -]four|6/4|6-4|64|(?P<num>[IiV]+(?:6/4|64)))(?: chord)?|(?P<num2>[IiV]+(?:6/4|64)) of (?:ART )?cadential kind)(?: (?:in|of) (?:ART key of )?KEY)?`),
			parse: func(m match, a *args) *stmtError {
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).cadentialSixFour,
		},
		{
			ID:       "progression",
			Example:  "bars 1-4: goes I IV V I in A major",
			Wordings: []string{"is ii V I in D major", "the chords are I, vi, ii and V in C major", "moves i–iv–V in A minor", "progresses I-V-vi in G major", "V7 resolves to i in A minor", "ends with V7 i", "contains ii V I"},
			Asserts:  "the chords of the place, one after the other, are those numerals in that key, and no others; two numerals only (\"V7 resolves to i\", \"V7 i\"), or more after \"contains\", hold if they follow one another anywhere in the place, after \"ends with\" at its end, after \"begins with\" at its start; inversions count only where a figure is written, sevenths and added notes only where they are; arguable where one more chord stands between them, or one is read so only second",
			patterns: pats(`(?:(?P<how>goes|is|are|moves|progresses|runs|by|outlines|contains|has|ends with|ends on|ends|closes with|begins with|begins|opens with|starts with) )?(?P<list>[b#]*[IViv]+[^ ,–-]*(?:(?: ?[,–-] ?(?:and )?| and | to | (?:resolves|goes|leads|moves) to | )[b#]*[IViv]+[^ ,–-]*)+)(?: (?:in|of) (?:ART key of )?KEY)?`),
			parse: func(m match, a *args) *stmtError {
				a.text, _, _ = strings.Cut(m.get("how"), " ")
				at := 0
				for _, w := range strings.FieldsFunc(m.group["list"], func(r rune) bool { return strings.ContainsRune(" ,–-", r) }) {
					i := at + strings.Index(m.group["list"][at:], w)
					at = i + len(w)
					if slices.Contains([]string{"and", "to", "resolves", "goes", "leads", "moves"}, w) {
						continue
					}
					num, ok := numeralText(w)
					if !ok {
						return &stmtError{offset: m.at["list"] + i, soft: true, msg: fmt.Sprintf("%q is no Roman numeral; want, for instance, V7, ii65 or viio7/V", w)}
					}
					a.words = append(a.words, num)
				}
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).progression,
		},
		{
			ID:      "cadence",
			Example: "bars 7-8: cadences in A major",
			Wordings: []string{"ends with a perfect authentic cadence in A major", "half cadence in A minor", "there is a plagal cadence", "makes a deceptive cadence in E minor", "closes with an authentic cadence",
				"comes to a half close in G major", "cadences on the dominant of A major"},
			Asserts: "the place reaches a close of that kind in that key: authentic, a dominant (V or V7) that goes to the tonic in root position (perfect: both in root position and the tonic on top; imperfect: not so); plagal, IV to I; half, a rest on V; deceptive, V to VI. Arguable: the leading-tone chord or an inverted dominant in place of V, a close that the music does not rest on, or one that isn't the end of the place",
			patterns: pats(`(?:cadences|comes to a close|comes to rest|closes) (?:in|on) (?:ART )?(?:(?P<dom>dominant|tonic) (?:in|of) )?(?:key of )?KEY`,
				`(?:(?:ends|closes|finishes|concludes|cadences)(?: with| in| on| by)? |makes |has |contains |comes to |reaches |is |forms )?(?:ART )?(?P<kind>(?:perfect |imperfect )?authentic|perfect|imperfect|full|half|plagal|deceptive|interrupted)(?: cadence| close)(?: (?:in|of) (?:ART key of )?KEY)?`),
			parse: func(m match, a *args) *stmtError {
				a.word = m.get("kind")
				switch a.word {
				case "perfect":
					a.word = "perfect authentic"
				case "imperfect":
					a.word = "imperfect authentic"
				case "full":
					a.word = "authentic"
				case "interrupted":
					a.word = "deceptive"
				}
				if m.get("dom") == "dominant" {
					a.word = "half"
				}
				if m.group["key"] == "" {
					return nil
				}
				return m.key("key", a)
			},
			check: (*Checker).cadences,
		},
		{
			ID:       "mixes",
			Example:  "bars 3-4: mixes A major and A minor",
			Wordings: []string{"mixes major and minor on A", "borrows from A minor", "combines C minor with C major", "mixes the modes of A"},
			Asserts:  "notes that belong to only one of the two keys sound, of each: both thirds, or thirds and sixths or a natural seventh of the other mode; notes that only pass by step don't count. Arguable where the thirds are all of one mode, or where one of the notes is so by sound only",
			patterns: pats(`(?:mixes|combines|blends|juxtaposes|sets) KEY (?:and|with|against) (?:ART )?KEY2`, `mixes (?:ART )?(?:major and minor|modes?)(?: modes)? (?:on|of) (?:ART )?KEY`, `borrows (?:notes |chords |a chord )?from KEY`, `has mode mixture (?:on|in) KEY`),
			parse: func(m match, a *args) *stmtError {
				if e := m.key("key", a); e != nil {
					return e
				}
				if m.group["key2"] == "" {
					return nil
				}
				if e := m.key("key2", a); e != nil {
					return e
				}
				if a.keys[0].Tonic != a.keys[1].Tonic || a.keys[0].Mode == a.keys[1].Mode || a.keys[0].Mode > key.Minor || a.keys[1].Mode > key.Minor {
					return m.fail("key2", "mixture is of major and minor on one tonic, as in \"mixes %s major and %s minor\"", a.keys[0].Tonic, a.keys[0].Tonic)
				}
				return nil
			},
			check: (*Checker).mixes,
		},
	}
}

// --- numerals ---

var numeralShape = regexp.MustCompile(`^([b#]{0,2})(I{1,3}|IV|VI{0,2}|i{1,3}|iv|vi{0,2})([o°ø+M]{0,2})((?:\d|/\d)*)(?:/(I{1,3}|IV|VI{0,2}|i{1,3}|iv|vi{0,2}))?$`)

// numeralText brings a numeral into the writing of package key: "V6/5" is V65, "vii°7 of V" is viio7/V, "V7 of ii" is V7/ii.
func numeralText(s string) (string, bool) {
	s = strings.TrimSpace(s)
	switch l := strings.ToLower(s); {
	case strings.HasPrefix(l, "dominant "):
		return "V7", true
	case strings.HasPrefix(l, "leading"):
		return "viio7", true
	case strings.HasPrefix(l, "neapolitan sixth"), l == "n6":
		return "bII6", true
	case strings.HasPrefix(l, "neapolitan"):
		return "bII", true
	case strings.HasPrefix(l, "ger"):
		return "Ger+6", true
	case strings.HasPrefix(l, "fr"):
		return "Fr+6", true
	case strings.HasPrefix(l, "it"):
		return "It+6", true
	case l == "cto7":
		return "cto7", true
	}
	s = strings.NewReplacer(" of ", "/", "°", "o", "º", "o", "Δ", "M", "maj", "M", "dim", "o", "5/3", "", "53", "").Replace(s)
	m := numeralShape.FindStringSubmatch(s)
	if m == nil {
		return "", false
	}
	fig := strings.ReplaceAll(m[4], "/", "")
	if fig == "2" {
		fig = "42"
	}
	if !slices.Contains([]string{"", "6", "64", "7", "65", "43", "42", "9", "11", "13"}, fig) {
		return "", false
	}
	mark := strings.ReplaceAll(m[3], "°", "o")
	out := m[1] + m[2] + mark + fig
	if m[5] != "" {
		out += "/" + m[5]
	}
	return out, true
}

// bare returns a numeral without its figures, and whether it says a seventh.
func bare(num string) (text string, seventh bool) {
	head, of, applied := strings.Cut(num, "/")
	cut := strings.TrimRight(head, "0123456789")
	fig := head[len(cut):]
	if applied {
		cut += "/" + of
	}
	return cut, slices.Contains([]string{"7", "65", "43", "42"}, fig)
}

// A meant is a chord that a numeral means.
type meant struct {
	root      pitch.Class
	label     string // without its bass
	bass      pitch.Class
	inversion int
}

var shapesOfChords = []struct {
	suffix    string
	intervals []pitch.Interval
}{
	{"", []pitch.Interval{{Steps: 2, Semitones: 4}, {Steps: 4, Semitones: 7}}}, {"m", []pitch.Interval{{Steps: 2, Semitones: 3}, {Steps: 4, Semitones: 7}}},
	{"dim", []pitch.Interval{{Steps: 2, Semitones: 3}, {Steps: 4, Semitones: 6}}}, {"aug", []pitch.Interval{{Steps: 2, Semitones: 4}, {Steps: 4, Semitones: 8}}},
	{"7", []pitch.Interval{{Steps: 2, Semitones: 4}, {Steps: 4, Semitones: 7}, {Steps: 6, Semitones: 10}}},
	{"maj7", []pitch.Interval{{Steps: 2, Semitones: 4}, {Steps: 4, Semitones: 7}, {Steps: 6, Semitones: 11}}},
	{"m7", []pitch.Interval{{Steps: 2, Semitones: 3}, {Steps: 4, Semitones: 7}, {Steps: 6, Semitones: 10}}},
	{"m7b5", []pitch.Interval{{Steps: 2, Semitones: 3}, {Steps: 4, Semitones: 6}, {Steps: 6, Semitones: 10}}},
	{"dim7", []pitch.Interval{{Steps: 2, Semitones: 3}, {Steps: 4, Semitones: 6}, {Steps: 6, Semitones: 9}}},
	{"mMaj7", []pitch.Interval{{Steps: 2, Semitones: 3}, {Steps: 4, Semitones: 7}, {Steps: 6, Semitones: 11}}},
}

var meanings = struct {
	sync.Mutex
	of map[key.Key]map[string]meant
}{of: map[key.Key]map[string]meant{}}

// numeralMeans returns the chord that a numeral means in k: the one that package key would name so.
func numeralMeans(k key.Key, num string) (meant, bool) {
	meanings.Lock()
	defer meanings.Unlock()
	table, ok := meanings.of[k]
	if !ok {
		table = map[string]meant{}
		for _, mode := range []bool{true, false} { // the key's own chords first, then as spelled by degree alone
			for f := k.Tonic.Fifths() - 12; f <= k.Tonic.Fifths()+12; f++ {
				root := pitch.ClassOfFifths(f)
				if a := root.Alter; a < -2 || a > 2 {
					continue
				}
				for _, s := range shapesOfChords {
					members := []pitch.Class{root}
					for _, i := range s.intervals {
						members = append(members, root.Add(i))
					}
					for inv, bass := range members {
						n := k.Numeral(root, members, bass)
						if n.Text == "" || mode != (n.Kind == key.Diatonic) {
							continue
						}
						if _, ok := table[n.Text]; !ok {
							table[n.Text] = meant{root, root.String() + s.suffix, bass, inv}
						}
					}
				}
			}
		}
		low := k.Class(6, 0)
		if k.Mode == key.Major || k.Mode == key.Lydian || k.Mode == key.Mixolydian || k.Mode == key.Dorian {
			low.Alter--
		}
		for num, label := range map[string]string{"Ger+6": "German", "Fr+6": "French", "It+6": "Italian"} {
			table[num] = meant{low, label + " sixth on " + low.String(), low, -1}
		}
		meanings.of[k] = table
	}
	if m, ok := table[num]; ok {
		return m, true
	}
	// A seventh written without its mark: "vii7" for viiø7 or viio7, "IV7" for IVM7.
	text, seventh := bare(num)
	head, of, applied := strings.Cut(text, "/")
	fig := strings.TrimLeft(strings.SplitN(num, "/", 2)[0][len(head):], "")
	if !strings.ContainsAny(head, "oø+M") {
		for _, mark := range []string{"o", "ø", "M", "+"} {
			t := head + mark + fig
			if applied {
				t += "/" + of
			}
			if m, ok := table[t]; ok && (seventh || mark != "M") {
				return m, true
			}
		}
	}
	if n := strings.TrimRight(num, "0123456789"); n != num && !applied { // ninths and more: by the dominant's label
		if m, ok := table[n]; ok && slices.Contains([]string{"9", "11", "13"}, num[len(n):]) {
			return meant{m.root, m.label + num[len(n):], m.root, 0}, true
		}
	}
	// A chord that has another name in the key, such as V7/III, which is VII7: as the numeral is built.
	sym, err := k.Chord(num)
	if err != nil {
		return meant{}, false
	}
	m := meant{root: sym.Root, bass: sym.Root, inversion: sym.Inversion}
	if sym.HasBass {
		m.bass = sym.Bass
	}
	sym.Bass, sym.HasBass, sym.Inversion = pitch.Class{}, false, 0
	m.label = sym.House()
	return m, true
}

// keyAt returns the key a claim means: the one it names, else the one read at the place.
func (k *Checker) keyAt(r score.Region, a args) (key.Key, bool) {
	if len(a.keys) > 0 {
		return a.keys[0], true
	}
	h := k.harmony(score.Whole)
	if i := h.At(r.From); i >= 0 {
		return h.Spans[i].Key, true
	}
	return h.Home()
}

// isNumeral checks "is V7 in A major". Without a key the one that the passage declares is tried first, then the one read there.
func (k *Checker) isNumeral(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	if len(a.keys) > 0 {
		return k.isNumeralIn(r, a, son)
	}
	if name := sixthNames[a.text]; name != "" { // an augmented sixth is one by its spelling, whatever the key
		if first := chord.Name(pitches(son.notes))[0]; strings.HasPrefix(first.Label, name+" sixth on ") {
			res := Result{Verdict: Holds, Evidence: son.notes, Because: son.said() + "; " + first.Label}
			if home, ok := sixthKey(son.notes); ok {
				res.Because += ", of " + home.String()
			}
			return res, nil
		}
	}
	there, read := k.keyAt(r, a)
	declared, says := k.passage.KeyAt(r.From)
	if !says || read && declared == there {
		res, err := k.isNumeralIn(r, a, son)
		if says && res.Because != "" {
			res.Because = "in " + declared.String() + ", the key of the passage: " + res.Because
		}
		return res, err
	}
	a.keys = []key.Key{declared}
	res, err := k.isNumeralIn(r, a, son)
	res.Because = "in " + declared.String() + ", the key of the passage: " + res.Because
	if err != nil || !read || res.Verdict == Holds {
		return res, err
	}
	a.keys = []key.Key{there}
	if other, err := k.isNumeralIn(r, a, son); err == nil && worse(res.Verdict, other.Verdict) {
		other.Because = fmt.Sprintf("in %s, the key read there (not in %s, the key of the passage): %s", there, declared, other.Because)
		return other, nil
	}
	return res, nil
}

// sixthNames are the augmented sixths by their numerals.
var sixthNames = map[string]string{"Ger+6": "German", "Fr+6": "French", "It+6": "Italian"}

// sixthKey returns the minor key to which an augmented sixth belongs: its outer notes open to the dominant.
func sixthKey(notes []score.Note) (key.Key, bool) {
	for _, low := range notes {
		for _, high := range notes {
			if i := high.Pitch.Class().Sub(low.Pitch.Class()); i.Steps == 5 && mod12(i.Semitones) == 10 {
				return key.Key{Tonic: low.Pitch.Class().Add(pitch.Interval{Steps: 2, Semitones: 4}), Mode: key.Minor}, true
			}
		}
	}
	return key.Key{}, false
}

// numeralSays puts the numeral of notes in words: "is V7 in A major"; of an augmented sixth of another key, that key.
func numeralSays(home key.Key, n key.Numeral, notes []score.Note) string {
	if n.Kind == key.SixthChord {
		name, _, _ := strings.Cut(n.Text, "/")
		if of, ok := sixthKey(notes); ok && of.Tonic != home.Tonic {
			return fmt.Sprintf("is %s of %s (%s)", withArticle(sixthNames[name]+" sixth"), of, name)
		}
		return "is " + name + " in " + home.String()
	}
	return "is " + n.Text + " in " + home.String()
}

// isNumeralIn checks a numeral in the key of the claim, or in the one read at the place.
func (k *Checker) isNumeralIn(r score.Region, a args, son sonority) (Result, error) {
	home, ok := k.keyAt(r, a)
	if !ok {
		return Result{Verdict: Fails, Evidence: son.notes, Because: "no key is to be found there", Instead: "name the key: is " + a.word + " in …"}, nil
	}
	cands := k.candidates(r)
	now := "the notes make no chord in thirds"
	if len(cands) > 0 {
		if n := numeralOfNotes(home, son.notes); n.Kind == key.SixthChord {
			now = numeralSays(home, n, son.notes)
		} else if n := home.Numeral(cands[0].root, cands[0].members, cands[0].bass); n.Text != "" {
			now = numeralSays(home, n, son.notes)
		} else if n := numeralOfNotes(home, son.notes); n.Text != "" {
			now = numeralSays(home, n, son.notes)
		}
	}
	if a.text == "V64" { // to some the cadential six-four, to others the dominant over its fifth
		if six, err := k.cadentialSixFour(r, args{keys: []key.Key{home}}); err == nil && six.Verdict == Holds {
			one := "I64"
			if home.Mode == key.Minor {
				one = "i64"
			}
			six.Verdict, six.Instead = Arguable, "is "+one+" in "+home.String()+" by its notes; to many schools V with six-four before five-three"
			six.Because += "; the schools differ in its name"
			return six, nil
		}
	}
	m, ok := numeralMeans(home, a.text)
	if !ok {
		return Result{Verdict: Fails, Evidence: son.notes, Because: fmt.Sprintf("%s; %s has no chord that is called %s", son.said(), home, a.word), Instead: now}, nil
	}
	label := m.label
	figured := strings.ContainsAny(a.text[strings.LastIndexAny(a.text, "IViv")+1:], "6432") || strings.ContainsAny(strings.SplitN(a.text, "/", 2)[0], "6432")
	if m.inversion > 0 && figured {
		label += "/" + m.bass.String()
	}
	sym, err := chord.ParseLabel(label)
	if err != nil {
		return Result{Verdict: Fails, Evidence: son.notes, Because: fmt.Sprintf("%s; %s can't be built in %s", son.said(), a.word, home), Instead: now}, nil
	}
	res, err := k.isChord(r, args{symbol: sym})
	if err != nil {
		return res, err
	}
	res.Because = fmt.Sprintf("%s is %s in %s; %s", sym.House(), a.word, home, res.Because)
	low := son.notes[0].Pitch.Class()
	same := now == "is "+a.word+" in "+home.String() || now == "is "+a.text+" in "+home.String()
	switch {
	case res.Verdict != Holds && same && sixthNames[a.text] != "": // named so by its spelling
		res.Verdict, res.Instead = Holds, ""
	case res.Verdict == Fails && !same:
		res.Instead = now
	case strings.HasPrefix(label, m.label) && !figured && m.inversion == 0 && low != m.root && slices.Contains(sym.Spell(), low) && !strings.ContainsAny(a.text, "+"):
		res.Verdict, res.Instead = Arguable, now
		res.Because += fmt.Sprintf("; the numeral has no figures, but the bass is %s, the chord's %s", low, roleIn(sym, low))
	case res.Verdict == Arguable && res.Instead == "" && same:
		res.Instead = bestReading(son.notes)
	case res.Verdict == Arguable && res.Instead == "":
		res.Instead = now
	}
	if res.Verdict == Holds && len(a.keys) > 0 {
		if there, far := k.otherKey(r, home); far {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; but the place is read in %s", there)
			res.Instead = numeralSays(there, numeralOfNotes(there, son.notes), son.notes)
		}
	}
	return res, nil
}

// cadentialSixFour checks "is a cadential six-four": the chord of sixth and fourth over the dominant, and the dominant after it. The
// place may hold both.
func (k *Checker) cadentialSixFour(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	res := Result{Verdict: Fails, Evidence: son.notes, Because: son.said()}
	home, ok := k.keyAt(r, a)
	if !ok {
		res.Instead = "no key is to be found there; name the key"
		return res, nil
	}
	five := home.Class(5, 0)
	var stops []score.Slice
	for _, s := range score.Slices(k.sounding, r.From, k.passage.End().Min(r.To.Add(k.barLength(r.From)))) {
		if len(s.Notes) > 0 {
			stops = append(stops, s)
		}
	}
	only := func(s score.Slice, classes ...pitch.Class) bool {
		has := map[pitch.Class]bool{}
		for _, n := range s.Notes {
			if !slices.Contains(classes, n.Pitch.Class()) {
				return false
			}
			has[n.Pitch.Class()] = true
		}
		return len(has) == len(classes)
	}
	leading := home.Tonic.Add(pitch.Interval{Steps: 6, Semitones: 11})
	for i, s := range stops {
		bass := s.Notes[0].Pitch.Class()
		if bass != five || !s.At.Less(r.To) || !only(s, home.Tonic, home.Class(3, 0), five) {
			continue
		}
		res.Evidence = s.Notes
		res.Because = fmt.Sprintf("over %s, the dominant of %s, stand the fourth %s and the sixth %s", s.Notes[0].Pitch, home, home.Tonic, home.Class(3, 0))
		res.Verdict, res.Instead = Arguable, "a six-four on the dominant; no dominant chord follows within a bar"
		late := false
		for _, x := range stops[i+1:] {
			sounds := func(c pitch.Class) bool {
				return slices.ContainsFunc(x.Notes, func(n score.Note) bool { return n.Pitch.Class() == c })
			}
			low := x.Notes[0].Pitch.Class()
			switch {
			case low == five && sounds(leading) && !sounds(home.Tonic) && !late:
				res.Verdict, res.Instead = Holds, ""
				res.Because += fmt.Sprintf("; they fall to the dominant chord on the same bass at %s", k.passage.Where(x.At))
				return res, nil
			case sounds(leading) && !sounds(home.Tonic) && (low == five || low == leading):
				res.Instead = fmt.Sprintf("a six-four on %s; the dominant comes only at %s, or on another bass", five, k.passage.Where(x.At))
				return res, nil
			case low != five:
				late = true
			}
		}
		return res, nil
	}
	res.Instead = bestReading(son.notes)
	res.Because += fmt.Sprintf("; a cadential six-four in %s is %s and %s over %s in the bass", home, home.Tonic, home.Class(3, 0), five)
	return res, nil
}

// roleIn names the part a class plays in a chord.
func roleIn(s chord.Symbol, c pitch.Class) string {
	for i, x := range s.Spell() {
		if x == c && i < len(s.Type.Roles) {
			return s.Type.Roles[i]
		}
	}
	return "bass"
}

// otherKey reports whether the place is read in another key than the one a claim names, and one that isn't close: neither its
// parallel nor its relative, and no fifth away.
func (k *Checker) otherKey(r score.Region, want key.Key) (key.Key, bool) {
	h := k.harmony(score.Whole)
	first, end := h.Overlapping(r.From, r.To)
	for i := first; i < end; i++ {
		there := h.Spans[i].Key
		d := there.Signature() - want.Signature()
		if there.Tonic.PC() == want.Tonic.PC() || d >= -1 && d <= 1 || want.Mode > key.Minor {
			return there, false
		}
	}
	if first >= end {
		return want, false
	}
	return h.Spans[first].Key, true
}

func numeralOfNotes(k key.Key, notes []score.Note) key.Numeral {
	return k.Numerals([][]pitch.Pitch{pitches(notes)})[0]
}

// --- candidates: what chord a place is ---

// A candidate is a chord that a place may be.
type candidate struct {
	root, bass pitch.Class
	members    []pitch.Class
	label      string
	third      int // of semitones: 4, 3 or 0 if there is none
	first      bool
}

// candidates returns the chords that a place may be, the likeliest first: of a moment by its notes (package chord), of a longer
// place by the notes in their context (package harmony).
func (k *Checker) candidates(r score.Region) []candidate {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nil
	}
	var out []candidate
	add := func(c candidate) {
		for _, o := range out {
			if o.root == c.root && o.third == c.third {
				return
			}
		}
		for _, m := range c.members {
			if i := m.Sub(c.root); i.Steps == 2 {
				c.third = mod12(i.Semitones)
			}
		}
		c.first = len(out) == 0
		out = append(out, c)
	}
	if !son.block() {
		if h, i := k.span(r); i >= 0 {
			for n, rd := range h.Spans[i].Readings {
				if n < 3 && rd.Probability > .08 {
					add(candidate{root: rd.Chord.Root, bass: rd.Chord.Bass, members: rd.Chord.Members(), label: rd.Chord.String()})
				}
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	for _, rd := range chord.Name(pitches(son.notes)) {
		if !rd.Rooted {
			continue
		}
		c := candidate{root: rd.Root, bass: rd.Bass, label: rd.Label}
		for _, m := range rd.Members {
			cl := m.Pitch.Class()
			if s := cl.Sub(rd.Root).Steps; s%2 == 0 && !slices.Contains(c.members, cl) {
				c.members = append(c.members, cl)
			}
		}
		add(c)
	}
	bass := son.notes[0].Pitch.Class()
	has := func(i pitch.Interval) bool {
		return slices.ContainsFunc(son.notes, func(n score.Note) bool { return n.Pitch.Class() == bass.Add(i) })
	}
	if has(pitch.PerfectFifth) || pcCount(son.notes) == 1 || len(out) == 0 {
		c := candidate{root: bass, bass: bass, members: []pitch.Class{bass}, label: bass.String() + " in the bass"}
		for _, i := range []pitch.Interval{pitch.MajorThird, pitch.MinorThird, pitch.PerfectFifth} {
			if has(i) {
				c.members = append(c.members, bass.Add(i))
			}
		}
		if has(pitch.PerfectFifth) {
			c.label = bass.String() + "–" + bass.Add(pitch.PerfectFifth).String() + " in the bass"
		}
		add(c)
	}
	return out
}

// doesWhat says what function a chord has in a key: sure is 2 for a plain case, 1 for one that is argued about, 0 for none.
func doesWhat(home key.Key, c candidate, want string, next *candidate) (sure int, why string) {
	want = strings.ReplaceAll(want, "-", "")
	d, alter := home.Degree(c.root)
	plain := alter == 0 || home.Mode == key.Minor && d == 7 && alter == 1
	minorThird := c.third == 3
	sixFour := d == 1 && alter == 0 && c.bass == home.Class(5, 0) && c.bass != c.root
	name := home.DegreeName(d, alter)
	root := fmt.Sprintf("%s is the %s of %s", c.root, name, home)
	modeThird := home.Class(3, 0).Sub(home.Tonic).Semitones
	switch want {
	case "tonic":
		switch {
		case sixFour:
			if next != nil && next.root == home.Class(5, 0) {
				return 1, "a six-four over the dominant that goes to it: the dominant to most schools, the tonic to others"
			}
			return 1, root + ", with its fifth in the bass"
		case d == 1 && alter == 0 && c.third != 0 && c.third != mod12(modeThird):
			return 1, root + fmt.Sprintf(", but its third is that of the other mode (%s)", c.label)
		case d == 1 && alter == 0:
			return 2, root
		case (d == 6 || d == 3) && alter == 0:
			return 1, fmt.Sprintf("%s; it can stand for the tonic, with which it shares two notes", root)
		}
	case "dominant":
		leading := home.Tonic.Add(pitch.Interval{Steps: 6, Semitones: 11})
		switch {
		case d == 5 && alter == 0 && minorThird:
			return 1, root + ", but the chord is minor and lacks the leading tone " + leading.String()
		case d == 5 && alter == 0 && c.third == 0 && len(c.members) > 1:
			return 2, root + ", without its third"
		case d == 5 && alter == 0:
			return 2, root
		case d == 7 && c.root == leading && minorThird:
			return 2, root + "; the chord on the leading tone is a dominant without its root"
		case sixFour:
			return 1, "a six-four over the dominant: the dominant to most schools, the tonic to others"
		case d == 7 && plain:
			return 1, root + ", which takes the place of the dominant without its leading tone"
		case d == 3 && slices.Contains(c.members, leading):
			return 1, root + " with the leading tone"
		case c.third == 4 && home.Contains(c.root.Add(pitch.PerfectFourth)) && (slices.Contains(c.members, c.root.Add(pitch.MinorSeventh)) || !home.Contains(c.root.Add(pitch.MajorThird))):
			return 1, fmt.Sprintf("%s; it is the dominant of %s, not of the key", root, c.root.Add(pitch.PerfectFourth))
		}
	case "subdominant", "predominant":
		switch {
		case d == 4 && alter == 0:
			return 2, root
		case d == 2 && alter == 0 && (want == "predominant" || minorThird):
			if want == "subdominant" {
				return 1, root + "; to many it has subdominant function, by name it is the supertonic"
			}
			return 2, root
		case want == "predominant" && d == 2:
			return 2, root + ", a chord before the dominant"
		case d == 2 && alter != 0, d == 4 && alter == 1:
			return 1, root + ", a chord before the dominant"
		case d == 6 && want == "predominant":
			return 1, root + ", which may lead on to the dominant"
		}
	case "supertonic", "mediant", "submediant", "leading tone":
		n := map[string]int{"supertonic": 2, "mediant": 3, "submediant": 6, "leading tone": 7}[want]
		switch {
		case d == n && plain:
			return 2, root
		case d == n:
			return 1, root + ", altered"
		}
	default: // a numeral
		t := strings.ToUpper(strings.Trim(want, "b#0123456789"))
		if n := slices.Index([]string{"", "I", "II", "III", "IV", "V", "VI", "VII"}, t); n > 0 && d == n {
			if plain {
				return 2, root
			}
			return 1, root + ", altered"
		}
	}
	if !plain {
		root = fmt.Sprintf("%s is no degree of %s, but its %s", c.root, home, name)
	}
	return 0, root
}

// functionWord says which function a chord has, for what would hold instead.
func functionWord(home key.Key, c candidate) string {
	for _, f := range []string{"tonic", "dominant", "predominant", "submediant", "mediant", "leading tone"} {
		if s, _ := doesWhat(home, c, f, nil); s == 2 {
			return "is " + map[bool]string{true: "", false: "the "}[f == "predominant" || f == "tonic"] + f + " in " + home.String()
		}
	}
	d, alter := home.Degree(c.root)
	return fmt.Sprintf("is built on the %s of %s", home.DegreeName(d, alter), home)
}

// hasFunction checks "is tonic in A major".
func (k *Checker) hasFunction(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	home, ok := k.keyAt(r, a)
	cands := k.candidates(r)
	if !ok || len(cands) == 0 {
		return Result{Verdict: Fails, Evidence: son.notes, Because: son.said() + ": no chord with a root", Instead: bestReading(son.notes)}, nil
	}
	next := k.nextChord(r)
	res := Result{Evidence: son.notes, Verdict: Fails}
	for i, c := range cands {
		sure, why := doesWhat(home, c, a.words[0], next)
		if i == 0 {
			res.Because = fmt.Sprintf("%s: %s; %s", son.said(), c.label, why)
			res.Instead = functionWord(home, c)
		}
		if sure == 0 {
			continue
		}
		if i > 0 {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; as %s it would be so: %s", c.label, why)
			break
		}
		if sure == 1 {
			res.Verdict = Arguable
			break
		}
		res.Verdict = Holds
		if len(a.keys) > 0 {
			if there, far := k.otherKey(r, home); far {
				res.Verdict = Arguable
				res.Because += fmt.Sprintf("; but the place is read in %s", there)
				res.Instead = functionWord(there, c)
			}
		}
		break
	}
	if res.Verdict == Holds {
		res.Instead = ""
	}
	return res, nil
}

// nextChord returns the first reading of the chord that follows a place, nil if there is none.
func (k *Checker) nextChord(r score.Region) *candidate {
	h := k.harmony(score.Whole)
	if i := h.At(r.To); i >= 0 {
		if c, ok := h.Chord(i); ok {
			return &candidate{root: c.Root, bass: c.Bass, members: c.Members(), label: c.String()}
		}
	}
	return nil
}

// --- keys ---

// keyAlone returns the keys of a stretch read for itself, without what surrounds it, as parts of its time.
func (k *Checker) keyAlone(from, to score.Time) map[key.Key]float64 {
	out := map[key.Key]float64{}
	h := harmony.Analyze(k.passage.Excerpt(from, to))
	all := to.Sub(from).Float()
	for _, s := range h.Spans {
		out[s.Key] += s.Span.To.Sub(s.Span.From).Float() / all
	}
	return out
}

// keyShares returns how much of a place is read in each key, as parts of 1.
func (k *Checker) keyShares(from, to score.Time) map[key.Key]float64 {
	h := k.harmony(score.Whole)
	out := map[key.Key]float64{}
	first, end := h.Overlapping(from, to)
	all := 0.0
	for i := first; i < end; i++ {
		s := h.Spans[i].Span
		d := s.To.Min(to).Sub(s.From.Max(from)).Float()
		out[h.Spans[i].Key] += d
		all += d
	}
	for x := range out {
		out[x] /= all
	}
	return out
}

// inScale returns how much of the sounding time of a place belongs to a key, as a part of 1; the raised sixth and seventh belong
// to minor.
func (k *Checker) inScale(r score.Region, home key.Key) float64 {
	in, all := 0.0, 0.0
	for _, n := range r.Select(k.sounding) {
		if n.Grace != score.NoGrace {
			continue
		}
		d := n.End().Min(r.To).Sub(n.Onset.Max(r.From)).Float()
		all += d
		c := n.Pitch.Class()
		deg, alter := home.Degree(c)
		if home.Contains(c) || home.Mode == key.Minor && alter == 1 && (deg == 6 || deg == 7) {
			in += d
		}
	}
	if all == 0 {
		return 0
	}
	return in / all
}

// What a key claim is judged by, set on the corpus (see cmd/corpuscheck, claims).
const (
	keyHolds  = .6 // of the time
	keyArgues = .2
	keyLacks  = .7 // of the notes, below which a key is so by its surroundings only
	keyFails  = .4
	keyFits   = .03 // how much less of the notes may belong to a key that is arguable than to the one read
)

// keyIs checks "key is A major".
func (k *Checker) keyIs(r score.Region, a args) (Result, error) {
	notes := r.Select(k.sounding)
	if len(notes) == 0 {
		return nothing(k, r), nil
	}
	h := k.harmony(score.Whole)
	if a.text != "" { // "is in a minor key": whichever is read for most of the time
		x, ok := h.Home()
		for y, s := range k.keyShares(r.From, r.To) {
			if s > k.keyShares(r.From, r.To)[x] {
				x = y
			}
		}
		if !ok {
			return Result{Verdict: Fails, Evidence: notes[:min(len(notes), 24)], Because: "no key is to be found there", Instead: "name a longer place"}, nil
		}
		if x.Mode.String() != a.text {
			return Result{Verdict: Fails, Evidence: notes[:min(len(notes), 24)], Because: "read in " + x.String(), Instead: "key is " + x.String()}, nil
		}
		a.keys, a.text = []key.Key{x}, ""
	}
	want := a.keys[0]
	first, end := h.Overlapping(r.From, r.To)
	if first >= end {
		return Result{Verdict: Fails, Evidence: notes, Because: "no chord is read there", Instead: "name a longer place"}, nil
	}
	switch a.word {
	case "begins": // a bar, or a quarter of the place if that is longer
		r.To = r.From.Add(k.barLength(r.From).Max(r.To.Sub(r.From).Mul(1, 4))).Min(r.To)
	case "ends":
		r.From = r.To.Sub(k.barLength(r.From).Max(r.To.Sub(r.From).Mul(1, 4))).Max(r.From)
	}
	first, end = h.Overlapping(r.From, r.To)
	shares := k.keyShares(r.From, r.To)
	best := want
	for x, s := range shares {
		if b := shares[best]; s > b+1e-9 || s > b-1e-9 && x != want && best != want && x.String() < best.String() {
			best = x
		}
	}
	own, sound := shares[want], 0.0
	for x, s := range shares {
		if x != want && x.Mode == want.Mode && x.Tonic.PC() == want.Tonic.PC() {
			sound += s
		}
	}
	fit, bestFit := k.inScale(r, want), k.inScale(r, best)
	sign, declared := k.passage.KeyAt(r.From)
	res := Result{Evidence: notes[:min(len(notes), 24)], Verdict: Fails}
	res.Because = fmt.Sprintf("%s of the sound belongs to %s", percent(fit), want)
	if off := k.outside(r, want); len(off) > 0 {
		res.Because += " (not: " + listed(off) + ")"
	}
	chordsAt := k.chordWords(first, end, 6)
	res.Because += "; chords: " + chordsAt
	if best != want {
		res.Because += fmt.Sprintf("; read in %s for %s of the time", best, percent(shares[best]))
	}
	inKey := "key is " + best.String()
	frames := k.tonicSounds(first, first+1, want) || k.tonicSounds(end-1, end, want)
	switch {
	case want.Mode > key.Minor:
		return k.modeIs(r, want, res), nil
	case a.word == "stays" && own < .9:
		res.Verdict, res.Instead = Fails, fmt.Sprintf("%s for %s of the time, %s for %s", best, percent(shares[best]), want, percent(own))
		if best == want {
			res.Verdict, res.Instead = Arguable, fmt.Sprintf("%s for %s of the time", want, percent(own))
		}
	case own < keyHolds && fit > bestFit+keyFits && related(want, best) && k.keyAlone(r.From, r.To)[want] >= keyHolds:
		// By itself, the place is in that key, and the one read through it lacks some of its notes.
		res.Verdict = Holds
		res.Because += fmt.Sprintf("; by itself it is in %s", want)
	case own >= keyHolds && fit < keyLacks:
		res.Verdict, res.Instead = Arguable, "so only by what surrounds it; its notes are mostly of other keys"
		if fit < keyFails {
			res.Verdict = Fails
		}
	case own >= keyHolds:
		res.Verdict = Holds
		if end-first == 1 && a.word == "" && !(declared && sign == want) && k.sonority(r).block() {
			res.Verdict, res.Instead = Arguable, "a single chord proves no key; name a longer place"
		}
	case own >= keyArgues:
		res.Verdict, res.Instead = Arguable, fmt.Sprintf("%s for %s of the time, %s for %s", best, percent(shares[best]), want, percent(own))
	case sound >= keyHolds:
		res.Verdict, res.Instead = Arguable, inKey+", which sounds the same"
	case related(want, best) && fit >= bestFit-keyFits && frames && a.word == "":
		res.Verdict, res.Instead = Arguable, inKey+fmt.Sprintf("; its notes fit %s as well, and it begins or ends with that tonic", want)
	default:
		res.Instead = inKey
		if !k.tonicSounds(first, end, want) {
			res.Because += fmt.Sprintf("; the tonic chord of %s doesn't sound", want)
		}
	}
	return res, nil
}

func percent(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) }

// outside returns the classes of a place that a key lacks.
func (k *Checker) outside(r score.Region, home key.Key) []string {
	var out []string
	for _, n := range r.Select(k.sounding) {
		c := n.Pitch.Class()
		deg, alter := home.Degree(c)
		if !home.Contains(c) && !(home.Mode == key.Minor && alter == 1 && (deg == 6 || deg == 7)) && !slices.Contains(out, c.String()) {
			out = append(out, c.String())
		}
	}
	return out[:min(len(out), 6)]
}

// chordWords lists the first readings of spans.
func (k *Checker) chordWords(first, end, most int) string {
	h := k.harmony(score.Whole)
	var s []string
	for i := first; i < end; i++ {
		c, ok := h.Chord(i)
		if !ok || len(s) > 0 && s[len(s)-1] == c.String() {
			continue
		}
		if len(s) == most {
			s = append(s, "…")
			break
		}
		s = append(s, c.String())
	}
	return strings.Join(s, " ")
}

// related reports whether two keys are relative, parallel, or a fifth apart.
func related(a, b key.Key) bool {
	d := a.Signature() - b.Signature()
	return d >= -1 && d <= 1 || a.Tonic == b.Tonic
}

// tonicSounds reports whether a span is read as the tonic triad of a key.
func (k *Checker) tonicSounds(first, end int, home key.Key) bool {
	h := k.harmony(score.Whole)
	for i := first; i < end; i++ {
		if c, ok := h.Chord(i); ok && c.Root == home.Tonic && (c.Quality == harmony.Major) == (home.Mode == key.Major) && (c.Quality == harmony.Major || c.Quality == harmony.Minor) {
			return true
		}
	}
	return false
}

// modeIs judges a church mode by its notes and its last bass note.
func (k *Checker) modeIs(r score.Region, want key.Key, res Result) Result {
	fit := k.inScale(r, want)
	slices_ := score.Slices(k.sounding, r.From, r.To)
	last := slices_[len(slices_)-1].Notes
	if len(last) == 0 && len(slices_) > 1 {
		last = slices_[len(slices_)-2].Notes
	}
	closes := len(last) > 0 && last[0].Pitch.Class() == want.Tonic
	res.Because = fmt.Sprintf("%s of the sound belongs to %s", percent(fit), want)
	if off := k.outside(r, want); len(off) > 0 {
		res.Because += " (not: " + listed(off) + ")"
	}
	if len(last) > 0 {
		res.Because += fmt.Sprintf("; the last bass note is %s", last[0].Pitch)
	}
	switch {
	case fit >= .97 && closes:
		res.Verdict = Holds
	case fit >= .9:
		res.Verdict, res.Instead = Arguable, "the notes of "+want.String()+", but not all of them or without its final in the bass at the end"
	default:
		res.Verdict, res.Instead = Fails, "other notes than those of "+want.String()
	}
	return res
}

// readsAs returns the verdict on "begins in KEY" or "ends in KEY".
func (k *Checker) readsAs(r score.Region, where string, x key.Key) Verdict {
	res, err := k.keyIs(r, args{word: where, keys: []key.Key{x}})
	if err != nil {
		return Fails
	}
	return res.Verdict
}

// barLength returns the length of the bar at a moment.
func (k *Checker) barLength(at score.Time) score.Time {
	return k.passage.Bars[max(k.passage.BarAt(at), 0)].Length
}

// modulates checks "modulates from A major to E major".
func (k *Checker) modulates(r score.Region, a args) (Result, error) {
	h := k.harmony(score.Whole)
	first, end := h.Overlapping(r.From, r.To)
	notes := r.Select(k.sounding)
	if len(notes) == 0 || first >= end {
		return nothing(k, r), nil
	}
	to := a.keys[len(a.keys)-1]
	var areas []string
	var seq []key.Key
	for i := first; i < end; i++ {
		if x := h.Spans[i].Key; len(seq) == 0 || seq[len(seq)-1] != x {
			seq = append(seq, x)
			areas = append(areas, fmt.Sprintf("%s from %s", x, k.passage.Where(h.Spans[i].Span.From.Max(r.From))))
		}
	}
	res := Result{Evidence: notes[:min(24, len(notes))], Because: "read in " + strings.Join(areas, ", then in ") + "; chords: " + k.chordWords(first, end, 8), Verdict: Fails, Instead: "stays in " + seq[0].String()}
	if len(seq) > 1 {
		res.Instead = "moves from " + seq[0].String() + " to " + seq[len(seq)-1].String()
	}
	if begins, ends := k.readsAs(r, "begins", a.keys[0]), k.readsAs(r, "ends", to); len(seq) == 1 && ends == Holds && (len(a.keys) == 2 && begins == Holds || len(a.keys) == 1 && begins == Fails) {
		res.Verdict, res.Instead = Holds, ""
		res.Because = fmt.Sprintf("its end is in %s, its beginning in another key; chords: %s", to, k.chordWords(first, end, 12))
		return res, nil
	}
	starts := len(a.keys) < 2 && seq[0] != to || len(a.keys) == 2 && seq[0] == a.keys[0]
	switch {
	case len(seq) > 1 && seq[len(seq)-1] == to && starts && h.Spans[end-2].Key == to:
		res.Verdict, res.Instead = Holds, ""
	case len(seq) > 1 && seq[len(seq)-1] == to && starts:
		res.Verdict, res.Instead = Arguable, "only the last chord is in "+to.String()
	case len(seq) > 1 && slices.Contains(seq[1:], to) && (len(a.keys) < 2 || slices.Contains(seq[:slices.Index(seq[1:], to)+1], a.keys[0])):
		res.Verdict = Arguable
	default:
		for i := first; i < end; i++ {
			if n := h.Role(i).Numeral; n.Kind == key.Applied && h.Spans[i].Key.Class(n.Of, 0) == to.Tonic {
				res.Verdict = Arguable
				res.Because += fmt.Sprintf("; %s at %s points to %s", n.Text, k.passage.Where(h.Spans[i].Span.From), to.Tonic)
				res.Instead = fmt.Sprintf("stays in %s and only makes %s a tonic in passing", seq[0], to.Tonic)
				break
			}
		}
	}
	return res, nil
}

// --- functions over a stretch ---

// A turn is a chord of a longer place.
type turn struct {
	at, until score.Time
	cand      candidate
	notes     []score.Note
}

// turns returns the chords of a place, one after the other: of the whole texture as they are read, of one hand by the notes of its
// beats.
func (k *Checker) turns(r score.Region) []turn {
	var out []turn
	add := func(t turn) {
		if n := len(out); n > 0 && out[n-1].cand.root == t.cand.root && out[n-1].cand.third == t.cand.third && out[n-1].cand.bass == t.cand.bass {
			out[n-1].until = t.until
			return
		}
		out = append(out, t)
	}
	if r.Layer == score.Whole {
		if stops := k.blocks(r); stops != nil {
			for i, s := range stops {
				until := r.To
				if i+1 < len(stops) {
					until = stops[i+1].at
				}
				if cs := k.candidatesOf(s.notes); len(cs) > 0 {
					add(turn{s.at, until, cs[0], s.notes})
				}
			}
			return out
		}
		h := k.harmony(score.Whole)
		first, end := h.Overlapping(r.From, r.To)
		for i := first; i < end; i++ {
			c, ok := h.Chord(i)
			if !ok {
				continue
			}
			s := h.Spans[i].Span
			t := fromHarmony(c)
			var notes []score.Note
			for _, n := range k.sounding {
				if n.Onset.Less(s.To) && s.From.Less(n.End()) && n.Grace == score.NoGrace {
					notes = append(notes, n)
				}
			}
			add(turn{s.From.Max(r.From), s.To.Min(r.To), t, distinct(notes)})
		}
		if len(out) > 1 {
			return out
		}
		// Read as one chord; those struck in it may tell more.
		one := out
		out = nil
		for _, s := range k.sonorities(r) {
			if cs := k.candidatesOf(s.notes); len(cs) > 0 {
				add(turn{s.at, r.To, cs[0], s.notes})
			}
		}
		if len(out) != 2 {
			return one
		}
		out[0].until = out[1].at
		return out
	}
	if h := k.harmony(r.Layer); k.broken(r) { // a hand alone, in broken chords
		first, end := h.Overlapping(r.From, r.To)
		for i := first; i < end; i++ {
			if c, ok := h.Chord(i); ok {
				s := h.Spans[i].Span
				add(turn{s.From.Max(r.From), s.To.Min(r.To), fromHarmony(c), distinct(score.Region{From: s.From, To: s.To, Layer: r.Layer}.Select(k.sounding))})
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	for _, s := range score.Slices(k.sounding, r.From, r.To) {
		notes := distinct(pick(s.Notes, r.Layer))
		if len(notes) == 0 {
			continue
		}
		if n := len(out); n > 0 && !slices.Contains(s.Struck, true) {
			out[n-1].until = s.Until
			continue
		}
		if cs := k.candidatesOf(notes); len(cs) > 0 {
			add(turn{s.At, s.Until, cs[0], notes})
		}
	}
	return out
}

// fromHarmony takes over a chord read in context.
func fromHarmony(c harmony.Chord) candidate {
	t := candidate{root: c.Root, bass: c.Bass, members: c.Members(), label: c.String(), first: true}
	for _, m := range t.members {
		if iv := m.Sub(c.Root); iv.Steps == 2 {
			t.third = mod12(iv.Semitones)
		}
	}
	return t
}

// broken reports whether a hand plays its chords note by note: half of what it strikes is single notes.
func (k *Checker) broken(r score.Region) bool {
	n, single := 0, 0
	for _, s := range score.Slices(k.sounding, r.From, r.To) {
		notes := pick(s.Notes, r.Layer)
		if len(notes) > 0 && slices.ContainsFunc(notes, func(n score.Note) bool { return n.Onset == s.At }) {
			n++
			if pcCount(notes) == 1 {
				single++
			}
		}
	}
	return 3*single >= n && n > 1
}

// candidatesOf returns the chords that notes sounding together may be.
func (k *Checker) candidatesOf(notes []score.Note) []candidate {
	var out []candidate
	for _, rd := range chord.Name(pitches(notes)) {
		if !rd.Rooted || rd.Kind == chord.IntervalKind || rd.Kind == chord.NoteKind {
			continue
		}
		c := candidate{root: rd.Root, bass: rd.Bass, label: rd.Label}
		for _, m := range rd.Members {
			cl := m.Pitch.Class()
			if i := cl.Sub(rd.Root); i.Steps%2 == 0 && !slices.Contains(c.members, cl) {
				c.members = append(c.members, cl)
				if i.Steps == 2 {
					c.third = mod12(i.Semitones)
				}
			}
		}
		out = append(out, c)
	}
	if len(out) == 0 && len(notes) > 0 {
		b := notes[0].Pitch.Class()
		c := candidate{root: b, bass: b, members: []pitch.Class{b}, label: spokenShort(notes)}
		for _, n := range notes {
			switch i := n.Pitch.Class().Sub(b); {
			case i == pitch.MajorThird || i == pitch.MinorThird:
				c.third = i.Semitones
				c.members = append(c.members, n.Pitch.Class())
			case i == pitch.PerfectFifth:
				c.members = append(c.members, n.Pitch.Class())
			}
		}
		out = append(out, c)
	}
	return out
}

func spokenShort(notes []score.Note) string { return names(pitches(notes)) }

func (k *Checker) turnWords(ts []turn, home key.Key) string {
	var s []string
	for i, t := range ts {
		if i == 6 {
			s = append(s, "…")
			break
		}
		d, alter := home.Degree(t.cand.root)
		s = append(s, fmt.Sprintf("%s (%s) at %s", t.cand.label, home.DegreeName(d, alter), k.passage.Where(t.at)))
	}
	return strings.Join(s, ", ")
}

// fromTo checks "moves from tonic to dominant in A major".
func (k *Checker) fromTo(r score.Region, a args) (Result, error) {
	ts := k.turns(r)
	if len(ts) == 0 {
		return nothing(k, r), nil
	}
	home, ok := k.keyAt(r, a)
	if !ok {
		return Result{Verdict: Fails, Evidence: ts[0].notes, Because: "no key is to be found there", Instead: "name the key"}, nil
	}
	var res Result
	for _, t := range ts {
		res.Evidence = append(res.Evidence, t.notes...)
	}
	res.Evidence = res.Evidence[:min(len(res.Evidence), 24)]
	one, why1 := doesWhat(home, ts[0].cand, a.words[0], nil)
	last := ts[len(ts)-1]
	two, why2 := doesWhat(home, last.cand, a.words[1], nil)
	res.Because = fmt.Sprintf("in %s: %s", home, k.turnWords(ts, home))
	ends := func() string {
		d1, a1 := home.Degree(ts[0].cand.root)
		d2, a2 := home.Degree(last.cand.root)
		if len(ts) == 1 {
			return "stays on the " + home.DegreeName(d1, a1)
		}
		return fmt.Sprintf("moves from the %s to the %s in %s", home.DegreeName(d1, a1), home.DegreeName(d2, a2), home)
	}
	switch {
	case len(ts) == 1:
		res.Verdict, res.Instead = Fails, ends()
	case one == 2 && two == 2:
		res.Verdict = Holds
	case one > 0 && two > 0:
		res.Verdict, res.Instead = Arguable, ends()
		if one == 1 {
			res.Because += "; " + why1
		}
		if two == 1 {
			res.Because += "; " + why2
		}
	default:
		res.Verdict, res.Instead = Fails, ends()
		begun := false
		for i := range ts {
			y, _ := doesWhat(home, ts[i].cand, a.words[1], nil)
			x, _ := doesWhat(home, ts[i].cand, a.words[0], nil)
			begun = begun || x == 2
			if begun && y == 2 {
				res.Verdict = Arguable
				res.Instead += fmt.Sprintf("; %s goes to %s at %s", a.words[0], a.words[1], k.passage.Where(ts[i].at))
				break
			}
		}
	}
	return res, nil
}

// alternates checks "alternates tonic and dominant".
func (k *Checker) alternates(r score.Region, a args) (Result, error) {
	ts := k.turns(r)
	if len(ts) == 0 {
		return nothing(k, r), nil
	}
	home, ok := k.keyAt(r, a)
	if !ok {
		return Result{Verdict: Fails, Evidence: ts[0].notes, Because: "no key is to be found there", Instead: "name the key"}, nil
	}
	var seq []string
	var res Result
	changes := 0
	var other, all float64
	var others []string
	for i, t := range ts {
		res.Evidence = append(res.Evidence, t.notes...)
		d := t.until.Sub(t.at).Float()
		all += d
		fn := ""
		var next *candidate
		if i+1 < len(ts) {
			next = &ts[i+1].cand
		}
		for _, f := range []string{"tonic", "dominant"} {
			if s, _ := doesWhat(home, t.cand, f, next); s == 2 || s == 1 && f == "dominant" && t.cand.bass == home.Class(5, 0) {
				fn = f
			}
		}
		if fn == "" {
			other += d
			others = append(others, fmt.Sprintf("%s at %s", t.cand.label, k.passage.Where(t.at)))
			continue
		}
		if n := len(seq); n == 0 || seq[n-1] != fn {
			seq = append(seq, fn)
			if n > 0 {
				changes++
			}
		}
	}
	res.Evidence = res.Evidence[:min(len(res.Evidence), 24)]
	res.Because = fmt.Sprintf("in %s: %s", home, k.turnWords(ts, home))
	switch {
	case changes >= 2 && len(others) == 0:
		res.Verdict = Holds
	case changes >= 2 && other <= all/4:
		res.Verdict, res.Instead = Arguable, "alternates tonic and dominant but for "+listed(others[:min(3, len(others))])
	case changes == 1 && other <= all/4:
		res.Verdict, res.Instead = Arguable, "moves from "+seq[0]+" to "+seq[1]+" once"
	default:
		res.Verdict, res.Instead = Fails, "no more than "+plural(changes, "change")+" between them"
		if len(others) > 0 {
			res.Instead += "; neither: " + listed(others[:min(3, len(others))])
		}
	}
	return res, nil
}

// progression checks "goes I IV V I in A major".
func (k *Checker) progression(r score.Region, a args) (Result, error) {
	ts := k.turns(r)
	if len(ts) == 0 {
		return nothing(k, r), nil
	}
	home, ok := k.keyAt(r, a)
	if !ok {
		return Result{Verdict: Fails, Evidence: ts[0].notes, Because: "no key is to be found there", Instead: "name the key"}, nil
	}
	var nums []key.Numeral
	var texts []string
	var res Result
	for _, t := range ts {
		res.Evidence = append(res.Evidence, t.notes...)
		n := home.Numeral(t.cand.root, t.cand.members, t.cand.bass)
		if n.Text == "" {
			n = numeralOfNotes(home, t.notes)
		}
		if n.Kind == key.SixthChord {
			n.Text, _, _ = strings.Cut(n.Text, "/")
		}
		nums = append(nums, n)
		texts = append(texts, n.Text)
	}
	res.Evidence = res.Evidence[:min(len(res.Evidence), 24)]
	fits := func(want string, n key.Numeral) bool {
		m, ok := numeralMeans(home, want)
		if !ok {
			return want == n.Text
		}
		if x, ok := numeralMeans(home, n.Text); ok && x.root == m.root && x.label == m.label && x.inversion == m.inversion {
			return true // the same chord by another name: V7/III and VII7
		}
		wb, wSeventh := bare(want)
		nb, _ := bare(n.Text)
		if n.Root != m.root || strings.Contains(wb, "/") != strings.Contains(nb, "/") {
			return false
		}
		low := func(s string) bool {
			s = strings.Trim(s, "b#")
			return strings.HasPrefix(s, "i") || strings.HasPrefix(s, "v")
		}
		if low(want) != low(n.Text) {
			return false
		}
		if wSeventh && n.Text != want && !slices.Contains([]string{"7", "65", "43", "42"}, figuresOf(n.Text)) {
			return false
		}
		if f := figuresOf(want); f != "" && f != "7" && f != figuresOf(n.Text) {
			return false
		}
		return true
	}
	// Chords that only change their inversion count once, unless the claim says them.
	match := func(list []key.Numeral) bool {
		if len(list) != len(a.words) {
			return false
		}
		for i, w := range a.words {
			if !fits(w, list[i]) {
				return false
			}
		}
		return true
	}
	var merged []key.Numeral
	for i, n := range nums {
		if i > 0 && n.Root == nums[i-1].Root && n.Kind == nums[i-1].Kind {
			if len(n.Text) > len(merged[len(merged)-1].Text) && n.Inversion == merged[len(merged)-1].Inversion {
				merged[len(merged)-1] = n
			}
			continue
		}
		merged = append(merged, n)
	}
	var said []string
	for i, t := range ts {
		said = append(said, fmt.Sprintf("%s (%s)", t.cand.label, cmp.Or(texts[i], "no numeral")))
	}
	res.Because = fmt.Sprintf("in %s: %s", home, first(said, 12))
	res.Verdict, res.Instead = Fails, "goes "+first(texts, 12)+" in "+home.String()
	if match(nums) || match(merged) {
		res.Verdict, res.Instead = Holds, ""
		return res, nil
	}
	// Two chords, or some of those of the place.
	size := len(a.words)
	for _, list := range [][]key.Numeral{nums, merged} {
		if size > len(list) {
			continue
		}
		found := false
		switch a.text {
		case "ends", "closes":
			found = match(list[len(list)-size:])
		case "begins", "opens", "starts":
			found = match(list[:size])
		default:
			for i := 0; i+size <= len(list) && (size == 2 || a.text == "contains" || a.text == "has"); i++ {
				found = found || match(list[i:i+size])
			}
		}
		if found {
			res.Verdict, res.Instead = Holds, ""
			return res, nil
		}
	}
	switch {
	case a.text == "ends" || a.text == "closes":
		res.Instead = "ends with " + strings.Join(texts[max(0, len(texts)-size):], " ") + " in " + home.String()
		return res, nil
	case a.text == "begins" || a.text == "opens" || a.text == "starts":
		res.Instead = "begins with " + first(texts, size) + " in " + home.String()
		return res, nil
	}
	for i := range merged {
		if len(merged) == len(a.words)+1 && match(slices.Delete(slices.Clone(merged), i, i+1)) {
			res.Verdict = Arguable
			res.Because += "; all but " + merged[i].Text
			return res, nil
		}
	}
	return res, nil
}

func figuresOf(num string) string {
	head, _, _ := strings.Cut(num, "/")
	return head[len(strings.TrimRight(head, "0123456789")):]
}

// cadences checks "cadences in A major".
func (k *Checker) cadences(r score.Region, a args) (Result, error) {
	back := r
	if i := k.passage.BarAt(r.From); i > 0 { // the chord before may stand before the place
		back.From = k.passage.Bars[i-1].Start
	}
	ts := k.turns(score.Region{From: back.From, To: r.To})
	var in []int
	for i, t := range ts {
		if !t.at.Less(r.From) {
			in = append(in, i)
		}
	}
	if len(in) == 0 {
		if len(ts) == 0 {
			return nothing(k, r), nil
		}
		in = []int{len(ts) - 1}
	}
	home, ok := k.keyAt(score.Region{From: ts[len(ts)-1].at, To: r.To}, a)
	if !ok {
		return Result{Verdict: Fails, Evidence: ts[0].notes, Because: "no key is to be found there", Instead: "name the key"}, nil
	}
	type found struct {
		i          int
		kind, why  string
		weak, note string
	}
	is := func(c candidate, fn string) int { s, _ := doesWhat(home, c, fn, nil); return s }
	var all []found
	for _, i := range in {
		here := ts[i]
		f := found{i: i}
		bare := false
		top := here.notes[len(here.notes)-1].Pitch
		if s := score.Slices(k.sounding, here.at, here.until); len(s) > 0 && len(s[0].Notes) > 0 {
			top = s[0].Notes[len(s[0].Notes)-1].Pitch // as the chord arrives
			// A bass alone, or in octaves, has no top note.
			bare = !slices.ContainsFunc(s[0].Notes[1:], func(n score.Note) bool {
				return n.Pitch.Class() != s[0].Notes[0].Pitch.Class() || n.Hand == score.Right
			})
		}
		rests := i == len(ts)-1 || !here.until.Sub(here.at).Less(score.Quarters(2))
		if i > 0 {
			before := ts[i-1]
			// The same dominant may stand in several positions.
			d5 := before.cand.root == home.Class(5, 0) && before.cand.third != 3
			d7 := before.cand.root == home.Tonic.Add(pitch.Interval{Steps: 6, Semitones: 11}) && before.cand.third == 3
			f.why = fmt.Sprintf("%s at %s goes to %s at %s", before.cand.label, k.passage.Where(before.at), here.cand.label, k.passage.Where(here.at))
			tonic := here.cand.root == home.Tonic && is(here.cand, "tonic") == 2
			switch {
			case (d5 || d7) && tonic && here.cand.bass == home.Tonic:
				f.kind = "imperfect authentic"
				if d5 && before.cand.bass == before.cand.root && top.Class() == home.Tonic {
					f.kind = "perfect authentic"
				}
				f.note = fmt.Sprintf("top note %s", top)
				if bare {
					f.kind, f.note = "authentic", "only the bass sounds as the tonic arrives"
				}
				if low, over := k.overForeign(before); over {
					f.kind, f.weak = "imperfect authentic", fmt.Sprintf("the dominant stands over %s in the bass, which is none of its notes", low)
				} else if d7 {
					f.weak = "the leading-tone chord stands for V"
				} else if before.cand.bass != before.cand.root {
					f.weak = "the dominant is inverted"
				}
			case d5 && tonic:
				f.kind, f.weak = "imperfect authentic", "the tonic is inverted"
			case d5 && here.cand.root == home.Class(6, 0):
				f.kind = "deceptive"
			case before.cand.root == home.Class(4, 0) && tonic && here.cand.bass == home.Tonic:
				f.kind = "plagal"
			case here.cand.root == home.Class(5, 0) && here.cand.third == 4 && here.cand.bass == here.cand.root && is(before.cand, "dominant") != 2 &&
				(i == len(ts)-1 || is(ts[i+1].cand, "tonic") != 2 && !here.until.Sub(here.at).Less(k.barLength(here.at))):
				f.kind = "half"
				if len(here.cand.members) > 3 {
					f.weak = "the dominant has its seventh"
				}
			}
			if f.kind != "" && !rests && f.weak == "" {
				f.weak = "the music goes on at once"
			}
			if f.kind != "" && i != len(ts)-1 && f.weak == "" && r.To.Sub(here.until).Float() > 2*k.passage.Bars[max(k.passage.BarAt(here.at), 0)].Length.Float() {
				f.weak = "it is not the end of the place"
			}
		}
		if f.kind != "" {
			all = append(all, f)
		}
	}
	res := Result{Verdict: Fails}
	for _, i := range in {
		res.Evidence = append(res.Evidence, ts[i].notes...)
	}
	res.Evidence = res.Evidence[max(0, len(res.Evidence)-24):]
	fits := func(kind string) bool {
		switch a.word {
		case "":
			return strings.HasSuffix(kind, "authentic") || kind == "plagal"
		case "authentic":
			return strings.HasSuffix(kind, "authentic")
		}
		return kind == a.word || kind == "authentic" && strings.HasSuffix(a.word, kind)
	}
	for n := len(all) - 1; n >= 0; n-- {
		f := all[n]
		if !fits(f.kind) {
			continue
		}
		res.Because = fmt.Sprintf("%s in %s: %s cadence", f.why, home, f.kind)
		if f.note != "" {
			res.Because += ", " + f.note
		}
		res.Verdict, res.Instead = Holds, ""
		if f.kind == "authentic" && a.word != "" && a.word != f.kind && f.weak == "" {
			f.weak = "no note over the bass tells whether it is perfect"
		}
		if f.weak != "" {
			res.Verdict, res.Because = Arguable, res.Because+"; "+f.weak
			res.Instead = "something like an " + strings.TrimPrefix(f.kind, "perfect ") + " cadence: " + f.weak
			if !strings.HasPrefix(res.Instead, "something like an a") && !strings.HasPrefix(res.Instead, "something like an i") {
				res.Instead = strings.Replace(res.Instead, "an ", "a ", 1)
			}
		}
		return res, nil
	}
	res.Because = fmt.Sprintf("in %s: %s", home, k.turnWords(ts[max(0, len(ts)-4):], home))
	switch {
	case len(all) > 0:
		f := all[len(all)-1]
		res.Instead = fmt.Sprintf("%s cadence in %s: %s", f.kind, home, f.why)
		if f.note != "" {
			res.Because += "; " + f.note
		}
		if a.word == "" { // "cadences in": a close on the dominant, or a deceptive one, is a cadence of a kind
			res.Verdict = Arguable
		}
		if strings.HasSuffix(f.kind, "authentic") && strings.HasSuffix(a.word, "authentic") && f.weak != "" {
			res.Because += "; " + f.weak
		}
	default:
		res.Instead = "no cadence in " + home.String()
		for i := len(ts) - 1; i > 0; i-- { // in another key?
			c := ts[i].cand
			if b := ts[i-1].cand; len(c.members) <= 3 && b.third == 4 && b.root == c.root.Add(pitch.PerfectFifth) && c.third != 0 && c.bass == c.root {
				mode := key.Major
				if c.third == 3 {
					mode = key.Minor
				}
				res.Instead = fmt.Sprintf("cadences in %s: %s goes to %s at %s", key.Key{Tonic: c.root, Mode: mode}, b.label, c.label, k.passage.Where(ts[i].at))
				break
			}
		}
	}
	return res, nil
}

// overForeign reports whether the bass of a chord is none of its notes for as long as it sounds, as over a pedal, and returns it.
func (k *Checker) overForeign(t turn) (low pitch.Class, over bool) {
	for _, s := range score.Slices(k.sounding, t.at, t.until) {
		if len(s.Notes) == 0 {
			continue
		}
		if low, over = s.Notes[0].Pitch.Class(), true; slices.Contains(t.cand.members, low) {
			return low, false
		}
	}
	return low, over
}

// mixes checks "mixes A major and A minor".
func (k *Checker) mixes(r score.Region, a args) (Result, error) {
	notes := r.Select(k.sounding)
	if len(notes) == 0 {
		return nothing(k, r), nil
	}
	tonic := a.keys[0].Tonic
	major, minor := key.Key{Tonic: tonic}, key.Key{Tonic: tonic, Mode: key.Minor}
	x := k.harmony(score.Whole).Mixture(r.From, r.To, tonic)
	res := Result{Because: x.Why, Verdict: Fails}
	res.Evidence = append(append(res.Evidence, x.Major...), x.Minor...)
	if len(res.Evidence) == 0 {
		res.Evidence = notes
	}
	res.Evidence = res.Evidence[:min(len(res.Evidence), 24)]
	// By sound: a note written otherwise.
	respelled := func(c pitch.Class) (score.Note, bool) {
		for _, n := range notes {
			if n.Pitch.PC() == c.PC() && n.Pitch.Class() != c {
				return n, true
			}
		}
		return score.Note{}, false
	}
	switch {
	case x.BothThirds:
		res.Verdict = Holds
	case x.Mixed():
		res.Verdict = Arguable
		res.Instead = "all its thirds are of one mode; only other degrees are of the other"
	case len(x.Major) > 0 && len(x.Minor) == 0:
		res.Instead = "no note of " + minor.String() + " but what it shares with " + major.String()
		if n, ok := respelled(minor.Class(3, 0)); ok {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; %s at %s sounds as %s, the third of %s", n.Pitch, k.where(n), minor.Class(3, 0), minor)
			res.Instead = "in " + major.String() + " with " + n.Pitch.Class().String() + ", which sounds as the other third"
		}
	case len(x.Minor) > 0:
		res.Instead = "no note of " + major.String() + " but what it shares with " + minor.String()
		if n, ok := respelled(major.Class(3, 0)); ok {
			res.Verdict = Arguable
			res.Because += fmt.Sprintf("; %s at %s sounds as %s, the third of %s", n.Pitch, k.where(n), major.Class(3, 0), major)
			res.Instead = "in " + minor.String() + " with " + n.Pitch.Class().String() + ", which sounds as the other third"
		}
	default:
		res.Instead = "neither third of " + tonic.String() + " sounds there"
	}
	lacks := minor // the mode of which no note stands
	if len(x.Major) == 0 {
		lacks = major
	}
	if res.Verdict == Fails && len(x.Major)+len(x.Minor) > 0 && slices.ContainsFunc(x.Passing, func(n score.Note) bool { return lacks.Contains(n.Pitch.Class()) }) {
		res.Verdict = Arguable
		res.Instead = "only notes that pass by step are of the other mode"
	}
	return res, nil
}

// underCluster checks "is a dominant under a chromatic cluster".
func (k *Checker) underCluster(r score.Region, a args) (Result, error) {
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	res := Result{Evidence: son.notes, Because: son.said(), Verdict: Fails}
	all := chord.Clusters(pitches(son.notes))
	if len(all) == 0 {
		res.Instead = "no three neighbouring notes lie in seconds; " + bestReading(son.notes)
		return res, nil
	}
	c := all[len(all)-1]
	if a.word == "chromatic" && c.Kind != "chromatic" {
		var pcs []int
		for _, p := range c.Notes {
			pcs = append(pcs, p.PC())
		}
		slices.Sort(pcs)
		_, gaps := clusterKind(slices.Compact(pcs), son.notes)
		res.Because += "; " + gaps
		res.Instead = "a " + c.Text
		if f := fillers(pcs); f != "" {
			res.Instead += "; " + f
		}
		return res, nil
	}
	if a.word != "" && c.Kind != a.word && !clusterIs(c.Kind, a.word, notesOf(son.notes, c.Notes)) {
		res.Because += "; " + c.Text
		res.Instead = "the cluster is " + c.Kind
		return res, nil
	}
	var lower []score.Note
	for _, n := range son.notes {
		if n.Pitch.MIDI() < c.Notes[0].MIDI() {
			lower = append(lower, n)
		}
	}
	if len(lower) == 0 {
		res.Because += "; " + c.Text
		res.Instead = "nothing lies under the cluster"
		return res, nil
	}
	// The lowest note of the cluster may be a member of the chord, too.
	with := append(slices.Clone(lower), notesOf(son.notes, c.Notes)...)
	res.Because += fmt.Sprintf("; %s over %s", c.Text, names(pitches(lower)))
	if len(a.symbols) > 0 {
		m := chord.Agrees(a.symbols[0], pitches(lower))
		switch {
		case len(m.Foreign) == 0 && len(m.Enharmonic) == 0 && (len(m.Missing) == 0 || m.Usual):
			res.Verdict = Holds
		case len(m.Foreign) == 0 && len(m.Present) > 1:
			if n := chord.Agrees(a.symbols[0], pitches(with)); len(n.Missing) == 0 || n.Usual {
				res.Verdict, res.Instead = Arguable, "the chord is complete only with notes of the cluster"
			} else {
				res.Verdict, res.Instead = Arguable, fmt.Sprintf("of %s the %s is missing under the cluster", a.symbols[0].House(), listed(m.Missing))
			}
		default:
			res.Instead = "under the cluster: " + bestReading(lower)
		}
		return res, nil
	}
	home, ok := k.keyAt(r, a)
	if !ok {
		res.Instead = "no key is to be found there"
		return res, nil
	}
	low := lower[0].Pitch.Class()
	has := func(notes []score.Note, i pitch.Interval) bool {
		return slices.ContainsFunc(notes, func(n score.Note) bool { return n.Pitch.Class() == low.Add(i) })
	}
	five := home.Class(5, 0)
	cs := k.candidatesOf(lower)
	dominantChord := has(lower, pitch.MajorThird)
	onlyMembers := true
	for _, n := range lower {
		i := n.Pitch.Class().Sub(low)
		onlyMembers = onlyMembers && (i == pitch.Unison || i == pitch.MajorThird || i == pitch.PerfectFifth || i == pitch.MinorSeventh || i == pitch.MajorSecond)
	}
	switch {
	case low == five && dominantChord && onlyMembers:
		res.Verdict = Holds
		res.Because += fmt.Sprintf("; %s is the dominant of %s", low, home)
	case low == five && onlyMembers:
		res.Verdict = Arguable
		res.Because += fmt.Sprintf("; %s is the dominant of %s, but its third %s does not sound under the cluster", low, home, low.Add(pitch.MajorThird))
		res.Instead = names(pitches(lower)) + " alone, a dominant by its bass"
		if has(with, pitch.MajorThird) {
			res.Verdict, res.Instead = Holds, ""
			res.Because = strings.Replace(res.Because, ", but its third "+low.Add(pitch.MajorThird).String()+" does not sound under the cluster", "; its third "+low.Add(pitch.MajorThird).String()+" is a note of the cluster", 1)
		}
	case dominantChord && onlyMembers:
		res.Verdict = Arguable
		res.Because += fmt.Sprintf("; a major chord on %s, which would be the dominant of %s, not of %s", low, low.Add(pitch.PerfectFourth), home)
		res.Instead = "the dominant of " + low.Add(pitch.PerfectFourth).String() + " under a cluster"
	default:
		d, alter := home.Degree(low)
		res.Instead = fmt.Sprintf("under the cluster stands %s, on the %s of %s", cs[0].label, home.DegreeName(d, alter), home)
	}
	return res, nil
}

// notesOf returns the notes that have one of the pitches.
func notesOf(notes []score.Note, ps []pitch.Pitch) []score.Note {
	var out []score.Note
	for _, n := range notes {
		if slices.Contains(ps, n.Pitch) {
			out = append(out, n)
		}
	}
	return out
}
