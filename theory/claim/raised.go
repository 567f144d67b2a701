package claim

import (
	"fmt"
	"slices"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// degreeNumbers are the numbers that a note is counted by above a root, a bass or a tonic.
const reDegree = `second|third|fourth|fifth|sixth|seventh|ninth|tenth|eleventh|thirteenth`

var degreeNumbers = map[string]int{"second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "ninth": 9, "tenth": 10, "eleventh": 11, "thirteenth": 13}

// raisedForms are about notes that are altered against a scale.
func raisedForms() []Form {
	parse := func(m match, a *args) *stmtError {
		if e := m.notes("note", a); e != nil {
			return e
		}
		if m.group["leading"] != "" {
			a.word = "leading"
			if m.group["key"] != "" {
				return m.key("key", a)
			}
			return nil
		}
		a.word = m.get("deg")
		if sign := m.get("sign"); sign != "" {
			a.dir = map[string]int{"#": 1, "b": -1}[sign]
			for word, n := range degreeNumbers {
				if fmt.Sprint(n) == m.get("num") {
					a.word = word
				}
			}
			return nil
		}
		switch alter := m.get("alter"); {
		case alter == "natural":
		case strings.HasPrefix(alter, "raised"), strings.HasPrefix(alter, "sharp"):
			a.dir = 1
		default:
			a.dir = -1
		}
		a.text = m.get("of")
		switch of := m.group["key"]; {
		case of == "" || a.text != "":
		case len(of) <= 3: // a note name: that note, whatever chord or key is on it
			n, err := parseNote(of)
			if err != nil {
				return m.fail("key", "%s", strings.TrimPrefix(err.Error(), "pitch: "))
			}
			a.to = n
			a.text = "note"
		default:
			a.text = "key"
			return m.key("key", a)
		}
		return nil
	}
	const alter = `(?P<alter>raised|sharp|sharpened|lowered|flat|flattened|natural)[ -](?P<deg>` + reDegree + `)(?: (?:scale )?(?:degree|step))?(?:,? (?:of|above|over|against|in) (?:(?P<of>ART bass|ART root|ART tonic|ART key|ART scale|ART chord)|(?:ART )?KEY))?`
	return []Form{{
		ID:      "raised",
		Example: "bar 1 beat 3: D#5 is the raised fourth",
		Wordings: []string{"D# is the raised fourth of A", "D# is a raised fourth above the bass", "has a raised fourth, D#", "D# acts as the sharp eleventh", "the flat ninth Bb", "contains the raised fourth D#", "F is the lowered sixth of A major",
			"D# is the raised fourth degree", "D# is #4", "G# is the leading tone", "G# is the leading note of A"},
		Asserts: "the note sounds, and counted from what is named (a note, a root, the bass, the tonic of a key) it has that letter and lies a semitone above or below the degree of the major scale; if nothing is named, from the bass, the root of the first reading or the tonic, whichever fits; arguable by sound only, and where it fits from the tonic alone; of a leading tone: it lies a semitone below the tonic; arguable if it only leads so to a root that follows",
		patterns: pats(`ART NOTE (?:is|acts as|serves as|works as) ART leading[ -](?P<leading>tone|note)(?: (?:of|in|to) (?:ART )?KEY)?`, `ART NOTE (?:is|acts as|serves as) ART (?P<sign>#|b)(?P<num>2|3|4|5|6|7|9|11|13)`,
			`ART NOTE (?:is|acts as|sounds as|works as|serves as|is heard as) (?:ART )?`+alter, `(?:(?:has|contains|with|there is|uses) )?(?:ART )?`+alter+`,? NOTE(?: (?:sounds|colou?rs ART chord))?`),
		parse: parse,
		check: (*Checker).raised,
	}, topForm(), scaleForm(), doubledForm()}
}

// raised checks "D#5 is the raised fourth of A".
func (k *Checker) raised(r score.Region, a args) (Result, error) {
	if a.word == "leading" {
		return k.leadingTone(r, a)
	}
	son := k.sonority(r)
	if len(son.notes) == 0 {
		return nothing(k, r), nil
	}
	want := a.notes[0]
	res := Result{Evidence: son.notes, Verdict: Fails, Because: son.said()}
	i := slices.IndexFunc(son.notes, func(n score.Note) bool { return want.is(n.Pitch) })
	if i < 0 {
		res.Because += fmt.Sprintf("; %s does not sound", want)
		res.Instead = bestReading(son.notes)
		return res, nil
	}
	res.Evidence = []score.Note{son.notes[i]}
	type from struct {
		class pitch.Class
		name  string
		tonic bool
	}
	var froms []from
	bass := from{class: son.notes[0].Pitch.Class(), name: "the bass " + son.notes[0].Pitch.Class().String()}
	add := func(f from) {
		if !slices.ContainsFunc(froms, func(g from) bool { return g.class == f.class }) {
			froms = append(froms, f)
		}
	}
	root := func() {
		if rs := chord.Name(pitches(son.notes)); len(rs) > 0 && rs[0].Rooted {
			add(from{class: rs[0].Root, name: fmt.Sprintf("the root %s of %s", rs[0].Root, rs[0].Label)})
		}
	}
	tonic := func() {
		if home, ok := k.keyAt(r, a); ok {
			add(from{class: home.Tonic, name: "the tonic of " + home.String(), tonic: true})
		}
	}
	switch of := strings.TrimPrefix(strings.TrimPrefix(a.text, "the "), "its "); of {
	case "note":
		add(from{class: a.to.class, name: a.to.class.String()})
	case "bass":
		add(bass)
	case "root", "chord":
		root()
	case "tonic", "key", "scale":
		tonic()
	default:
		add(bass)
		root()
		tonic()
	}
	// The degree of the major scale, and the note that the claim means.
	number := degreeNumbers[a.word]
	steps := (number - 1) % 7
	plain := pitch.Interval{Steps: steps, Semitones: [7]int{0, 2, 4, 5, 7, 9, 11}[steps]}
	meant := pitch.Interval{Steps: steps, Semitones: plain.Semitones + a.dir}
	claimed := [3]string{"lowered", "natural", "raised"}[a.dir+1] + " " + a.word
	note := son.notes[i].Pitch
	handName := func(h score.Hand) string { return "in the " + h.String() }
	bySound := ""
	for _, f := range froms {
		is := f.class.Add(meant)
		switch {
		case is == note.Class():
			res.Verdict, res.Instead = Holds, ""
			res.Because = fmt.Sprintf("%s %s at %s; above %s the %s is %s", note, handName(son.notes[i].Hand), k.where(son.notes[i]), f.name, claimed, is)
			if f.tonic && a.text == "" {
				res.Verdict = Arguable
				res.Instead = fmt.Sprintf("%s is the %s of the key; above the bass it is %s", want, claimed, withArticle(note.Class().Sub(bass.class).Words()))
			}
			return res, nil
		case is.Enharmonic(note.Class()) && bySound == "":
			bySound = fmt.Sprintf("; above %s the %s is %s, which sounds like %s but is spelled otherwise", f.name, claimed, is, note.Class())
		}
	}
	if len(froms) == 0 {
		res.Because += "; there is no root or tonic to count from"
		return res, nil
	}
	f := froms[0]
	iv := note.Class().Sub(f.class)
	res.Instead = fmt.Sprintf("above %s, %s is %s", f.name, want, withArticle(iv.Words()))
	if bySound != "" {
		res.Verdict = Arguable
		res.Because += bySound
		return res, nil
	}
	res.Because += fmt.Sprintf("; above %s the %s is %s", f.name, claimed, f.class.Add(meant))
	return res, nil
}
