package claim

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"plumbline/theory/score"
)

// A phrase is a statement made plain for the patterns: one kind of sign, no quotation marks, no words that say nothing. at holds for
// each byte of text the byte of the statement as written that it stands for, and one more for the end.
type phrase struct {
	text string
	at   []int
	work *work
}

// work bounds what is tried to understand a statement, however it is put together, and remembers what was of no use.
type work struct {
	left   int
	failed map[string]*stmtError
}

// mostTries is how many phrases are held against the forms for one statement; a plain one needs a handful.
const mostTries = 120

var signs = map[rune]string{'♯': "#", '♭': "b", '♮': "", '𝄪': "x", '𝄫': "bb", '“': "", '”': "", '"': "", '„': "", '’': "'", '\u00a0': " ", '\u2009': " ",
	'\u202f': " ", '−': "-", '‑': "-", '‐': "-", '\t': " "}

// idle are words that a claim may do without.
var idle = regexp.MustCompile(`(?i)(?:^|\s)(?:(?:clearly|plainly|certainly|obviously|really|actually|indeed|simply|surely|evidently|undoubtedly|of course|in fact|also|here)\b,?\s*)+`)

func plain(s string) phrase {
	p := phrase{work: &work{mostTries, map[string]*stmtError{}}}
	var b strings.Builder
	put := func(t string, from int) {
		b.WriteString(t)
		for range len(t) {
			p.at = append(p.at, from)
		}
	}
	for i, size := 0, 0; i < len(s); i += size {
		var r rune
		if r, size = utf8.DecodeRuneInString(s[i:]); signs[r] != "" {
			put(signs[r], i)
		} else if _, ok := signs[r]; !ok {
			put(s[i:i+size], i)
		}
	}
	p.text, p.at = b.String(), append(p.at, len(s))
	for at := 0; at < len(p.text); {
		loc := idle.FindStringIndex(p.text[at:])
		if loc == nil {
			break
		}
		from, to := at+loc[0], at+loc[1]
		if from > 0 { // keep the space before
			from++
		}
		p = p.join(0, from, "", to)
		at = from
	}
	for {
		n := len(p.text) - len(strings.TrimLeft(p.text, " "))
		end := len(strings.TrimRight(p.text, " .!;,"))
		if n == 0 && end == len(p.text) {
			return p
		}
		if end <= n {
			return phrase{"", []int{len(s)}, p.work}
		}
		p = phrase{p.text[n:end], append(p.at[n:end:end], p.at[end]), p.work}
	}
}

// join returns p[from:to], then words that weren't written, then p[rest:].
func (p phrase) join(from, to int, words string, rest int) phrase {
	out := phrase{text: p.text[from:to] + words + p.text[rest:], work: p.work}
	out.at = append(out.at, p.at[from:to]...)
	for range len(words) {
		out.at = append(out.at, p.at[rest])
	}
	out.at = append(out.at, p.at[rest:]...)
	return out
}

// cut returns p[from:to].
func (p phrase) cut(from, to int) phrase {
	return phrase{p.text[from:to], p.at[from : to+1], p.work}
}

// written returns the byte of the statement as written that byte i of p stands for.
func (p phrase) written(i int) int { return p.at[min(max(i, 0), len(p.at)-1)] }

// Ways in which a sentence may begin before it comes to the point, and the part of the texture it may be about.
var (
	leads = regexp.MustCompile(`(?i)^(?:it|this|that|this place|the place|this chord|that chord|the chord|the sonority|this sonority|the harmony|the music|the passage|the texture|the whole|` +
		`the notes|we hear|one hears|i hear|you hear|we have|there is|there are|there's|here is|here are|they|these notes|the bar|this bar|the phrase|the progression|the chords) `)
	subject = regexp.MustCompile(`(?i)^(?:in |over |the |in the )?(?:(?P<lh>left hand|lh)|(?P<rh>right hand|rh)|(?P<bass>bass|bass line)|(?P<top>top line|top voice|soprano|melody|upper voice|tune)|(?P<inner>inner lines?|inner voices?|inner parts?)),? (?:there is |there are |it |part |notes? |line )?`)
	inLayer = regexp.MustCompile(`(?i),? (?:in|by) (?:the )?(?:(left hand)|(right hand)|(bass(?: line)?)|(top line|top voice|soprano|melody|upper voice|tune)|(inner lines?|inner voices?|inner parts?))$`)
	denial  = regexp.MustCompile(`(?i)^(is|are|was|has|have|does|do)(?: not|n't) `)
)

// understand finds the form of a phrase, whatever it begins with.
func understand(p phrase, depth int) (*Form, args, *stmtError) {
	f, a, bad := match1(p)
	if f != nil || bad != nil && !bad.soft || depth > 3 {
		return f, a, bad
	}
	try := func(q phrase) bool {
		g, b, e := understand(q, depth+1)
		if g != nil {
			f, a = g, b
			return true
		}
		if e != nil && (bad == nil || !e.soft && bad.soft) {
			bad = e
		}
		return false
	}
	if loc := leads.FindStringIndex(p.text); loc != nil && try(p.cut(loc[1], len(p.text))) {
		return f, a, nil
	}
	if loc := subject.FindStringSubmatchIndex(p.text); loc != nil {
		for i, l := range []score.Layer{score.LeftHand, score.RightHand, score.Bass, score.TopLine, score.InnerLines} {
			if loc[2*i+2] >= 0 && try(p.cut(loc[1], len(p.text))) {
				if a.layer == score.Whole {
					a.layer = l
				}
				return f, a, nil
			}
		}
	}
	if loc := inLayer.FindStringSubmatchIndex(p.text); loc != nil {
		for i, l := range []score.Layer{score.LeftHand, score.RightHand, score.Bass, score.TopLine, score.InnerLines} {
			if loc[2*i+2] >= 0 && try(p.cut(0, loc[0])) {
				if a.layer == score.Whole {
					a.layer = l
				}
				return f, a, nil
			}
		}
	}
	if loc := denial.FindStringSubmatchIndex(p.text); loc != nil {
		verb := strings.ToLower(p.text[loc[2]:loc[3]])
		rest := p.cut(loc[1], len(p.text))
		if verb == "does" || verb == "do" { // "does not rise" denies "rises"
			end := strings.IndexByte(rest.text+" ", ' ')
			verb = rest.text[:end] + "s"
			if strings.HasSuffix(rest.text[:end], "ch") || strings.HasSuffix(rest.text[:end], "go") {
				verb = rest.text[:end] + "es"
			}
			if strings.EqualFold(rest.text[:end], "have") {
				verb = "has"
			}
			rest = rest.join(0, 0, verb, end)
		} else {
			rest = rest.join(0, 0, verb+" ", 0)
		}
		if try(rest) {
			return formByID("not"), args{subs: []sub{{f, a, rest.text}}}, nil
		}
	}
	if f, a, ok := either(p, depth); ok {
		return f, a, nil
	}
	end := strings.IndexByte(p.text+" ", ' ')
	word := strings.ToLower(p.text[:end])
	if one := singular[word]; one != "" && try(p.join(0, 0, one, end)) {
		return f, a, nil
	}
	if depth < 2 && word != "is" && singular[word] == "" && p.text != "" { // a name without a verb
		was := bad
		if try(p.join(0, 0, "is ", 0)) {
			return f, a, nil
		}
		bad = was
	}
	return nil, args{}, bad
}

var orWord = regexp.MustCompile(`(?i),?\s+or(?: as| else)?\s+`)

// singular gives the verbs of statements about several things the form of those about one.
var singular = map[string]string{"are": "is", "have": "has", "contain": "contains", "use": "uses", "mix": "mixes", "form": "forms", "move": "moves", "rise": "rises", "fall": "falls",
	"repeat": "repeats", "end": "ends", "cadence": "cadences", "get": "gets", "go": "goes", "make": "makes", "lack": "lacks", "do": "does", "it's": "is", "that's": "is",
	"they're": "is", "here's": "is", "alternate": "alternates", "outline": "outlines", "modulate": "modulates", "begin": "begins"}

// either reads "is Am7 or C6": what follows an "or" may leave out the words the first part begins with.
func either(p phrase, depth int) (*Form, args, bool) {
	cuts := orWord.FindAllStringIndex(p.text, 4)
	if len(cuts) == 0 {
		return nil, args{}, false
	}
	p2, from := p, 0
	if m := regexp.MustCompile(`(?i)\beither `).FindStringIndex(p.text); m != nil && m[0] < cuts[0][0] {
		p2 = p.join(0, m[0], "", m[1])
		cuts = orWord.FindAllStringIndex(p2.text, 4)
	}
	var parts []phrase
	for _, c := range cuts {
		parts, from = append(parts, p2.cut(from, c[0])), c[1]
	}
	parts = append(parts, p2.cut(from, len(p2.text)))
	f, a, _ := understand(parts[0], depth+1)
	if f == nil {
		return nil, a, false
	}
	out := args{subs: []sub{{f, a, parts[0].text}}}
	head := parts[0]
	for _, q := range parts[1:] {
		found := false
		for at := 0; at >= 0 && !found; {
			r := phrase{head.text[:at] + q.text, append(append([]int{}, head.at[:at]...), q.at...), p.work}
			if g, b, _ := understand(r, depth+1); g != nil && (g == f || at == 0) {
				out.subs, found = append(out.subs, sub{g, b, r.text}), true
			}
			next := strings.IndexByte(head.text[at:], ' ')
			if next < 0 {
				break
			}
			at += next + 1
		}
		if !found {
			return nil, a, false
		}
	}
	return formByID("either"), out, true
}

// match1 holds a phrase against the patterns of all forms.
func match1(p phrase) (*Form, args, *stmtError) {
	if bad, ok := p.work.failed[p.text]; ok && (bad == nil || bad.soft) {
		return nil, args{}, bad
	}
	if p.work.left--; p.work.left < 0 {
		return nil, args{}, nil
	}
	var soft *stmtError
	for i := range forms {
		f := &forms[i]
		for _, re := range f.patterns {
			loc := re.FindStringSubmatchIndex(p.text)
			if loc == nil {
				continue
			}
			m := match{p, p.text, map[string]string{}, map[string]int{}}
			for g, name := range re.SubexpNames() {
				if name != "" && loc[2*g] >= 0 {
					m.group[name], m.at[name] = p.text[loc[2*g]:loc[2*g+1]], loc[2*g]
				}
			}
			var a args
			err := f.parse(m, &a)
			if err != nil && !err.placed {
				err.offset, err.placed = p.written(err.offset), true
			}
			switch {
			case err == nil:
				return f, a, nil
			case err.soft:
				if soft == nil || soft.weak {
					soft = err
				}
			default:
				return nil, a, err
			}
		}
	}
	p.work.failed[p.text] = soft
	return nil, args{}, soft
}

// parseStatement finds the form of a statement.
func parseStatement(s string) (*Form, args, *stmtError) {
	p := plain(s)
	f, a, err := understand(p, 0)
	if f != nil {
		return f, a, nil
	}
	if both, at := twoClaims(p); both != "" {
		return nil, a, &stmtError{msg: both, offset: p.written(at)}
	}
	if err != nil && !err.weak {
		return nil, a, err
	}
	out := &stmtError{msg: fmt.Sprintf("statement %q is not understood", s), nearest: nearest(p.text), offset: p.written(understoodTo(p.text))}
	if len(out.nearest) == 0 {
		out.msg += ": none of its words belongs to a form of claim"
	}
	if loc := foreignNote.FindStringSubmatchIndex(p.text); loc != nil {
		out.offset = p.written(loc[2])
		out.msg += fmt.Sprintf(": no note is called %q; notes are A to G with # or b, and B is a semitone below C", p.text[loc[2]:loc[3]])
	}
	return nil, a, out
}

// foreignNote finds a note name of another language.
var foreignNote = regexp.MustCompile(`(?:^| )(H[#b]?\d?|(?i:cis|dis|fis|gis|ais|his|ges|des|ces|do|re|mi|fa|sol|la|si))(?: |$)`)

// understoodTo returns how far a statement goes along with some example or wording, in whole words: the byte of the first word that
// doesn't.
func understoodTo(s string) int {
	words := strings.Fields(s)
	best := 0
	along := func(example string) {
		n := 0
		for i, w := range strings.Fields(example) {
			if i >= len(words) || !strings.EqualFold(w, words[i]) {
				break
			}
			n++
		}
		best = max(best, n)
	}
	for i := range forms {
		along(forms[i].statement())
		for _, w := range forms[i].Wordings {
			along(w)
		}
	}
	at := 0
	for i := 0; i < best; i++ {
		at += strings.Index(s[at:], words[i]) + len(words[i])
	}
	return at + len(s[at:]) - len(strings.TrimLeft(s[at:], " "))
}

// twoClaims finds two statements joined by "and".
func twoClaims(p phrase) (msg string, at int) {
	for _, joint := range []string{" and ", ", ", "; ", " but "} {
		i := strings.Index(p.text, joint)
		if i <= 0 {
			continue
		}
		a, _, _ := understand(p.cut(0, i), 2)
		b, _, _ := understand(p.cut(i+len(joint), len(p.text)), 2)
		if a != nil && b != nil {
			return fmt.Sprintf("these are two claims; write one a line: %q and %q", p.text[:i], p.text[i+len(joint):]), i + 1
		}
	}
	return "", 0
}

// numberWord reads a number in figures or words up to twelve; 0 if it is neither.
func numberWord(s string) int {
	for i, w := range []string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"} {
		if w == s {
			return i
		}
	}
	n, _ := strconv.Atoi(s)
	return n
}
