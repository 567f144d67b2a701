package musicxml

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A signMark is a sign whose bar is known and, unless it stands at the end of the bar, its time.
type signMark struct {
	score.Sign
	end bool // at the end of its bar
}

func (r *reader) addSign(p *part, at Time, end bool, s score.Sign) error {
	s.Bar = len(p.bars) - 1
	if !at.InRange() {
		return r.fail("a sign too far away")
	}
	p.signs = append(p.signs, mark[signMark]{s.Bar, at, signMark{s, end}})
	return r.countMark()
}

// readBarline reads <barline>: repeats, endings, segno and coda. Its location is right if nothing is said.
func (r *reader) readBarline(p *part) error {
	at, end := Time{}, true
	switch r.attr("location") {
	case "left":
		end = false
	case "middle":
		at, end = p.cursor.exact, false
	}
	return r.each(func(name string) error {
		switch name {
		case "segno":
			return r.addSign(p, at, end, score.Sign{Kind: score.Segno})
		case "coda":
			return r.addSign(p, at, end, score.Sign{Kind: score.Coda})
		case "ending":
			s := score.Sign{Kind: score.EndingStart, Numbers: strings.Join(strings.Fields(r.attr("number")), " ")}
			switch r.attr("type") {
			case "start":
			case "stop":
				s = score.Sign{Kind: score.EndingEnd}
			case "discontinue":
				s = score.Sign{Kind: score.EndingEnd, Open: true}
			default:
				return nil
			}
			text, err := r.words()
			if s.Kind == score.EndingStart {
				s.Text = text
				if !endingNumbers.MatchString(s.Numbers) { // no number by the schema, but words that may tell it
					s.Numbers, s.Text = "", cmp.Or(text, s.Numbers)
				}
				s.Numbers = strings.Join(strings.FieldsFunc(s.Numbers, func(r rune) bool { return r == ',' || r == ' ' }), ", ")
			}
			if len(s.Numbers)+len(s.Text) > 200 {
				return r.fail("an ending of %d bytes", len(s.Numbers)+len(s.Text))
			}
			if err != nil {
				return err
			}
			return r.addSign(p, at, end, s)
		case "repeat":
			switch r.attr("direction") {
			case "forward":
				return r.addSign(p, at, end, score.Sign{Kind: score.RepeatStart})
			case "backward":
				s := score.Sign{Kind: score.RepeatEnd, AfterJump: r.attr("after-jump") == "yes"}
				if t := r.attr("times"); t != "" {
					n, err := strconv.Atoi(t)
					if err != nil || n < 0 || n > maxTimes {
						return r.fail("a repeat of %q times; want a whole number up to %d", clip([]byte(t)), maxTimes)
					}
					s.Times = n
				}
				return r.addSign(p, at, end, s)
			}
		}
		return nil
	})
}

// maxTimes is how often a repeat may be played.
const maxTimes = 1000

// jumps returns the signs that the attributes of the <sound> opened last tell of.
func (r *reader) jumps() []score.Sign {
	var out []score.Sign
	for _, a := range r.attrs {
		v := strings.TrimSpace(a.Value)
		if v == "" || v == "no" || a.Name.Space != "" || len(v) > 64 {
			continue
		}
		switch a.Name.Local {
		case "dacapo":
			out = append(out, score.Sign{Kind: score.DaCapo})
		case "dalsegno":
			out = append(out, score.Sign{Kind: score.DalSegno, Label: v})
		case "segno":
			out = append(out, score.Sign{Kind: score.Segno, Label: v})
		case "coda":
			out = append(out, score.Sign{Kind: score.Coda, Label: v})
		case "tocoda":
			out = append(out, score.Sign{Kind: score.ToCoda, Label: v})
		case "fine":
			out = append(out, score.Sign{Kind: score.Fine})
		case "forward-repeat": // "a forward repeat sign is implied but not displayed"
			out = append(out, score.Sign{Kind: score.RepeatStart})
		}
	}
	return out
}

// jumpWord returns the kind of jump that words print, 0 if none: "D.C. al Fine", "Dal Segno", "Fine", "To Coda".
func jumpWord(s string) score.SignKind {
	if len(s) > 200 {
		return 0
	}
	w := strings.ToLower(strings.NewReplacer(".", "", " ", "").Replace(s))
	switch {
	case w == "dc", strings.HasPrefix(w, "dcal"), strings.HasPrefix(w, "dacapo"):
		return score.DaCapo
	case w == "ds", strings.HasPrefix(w, "dsal"), strings.HasPrefix(w, "dalsegno"):
		return score.DalSegno
	case w == "fine":
		return score.Fine
	case w == "tocoda":
		return score.ToCoda
	}
	return 0
}

// merge puts together what one direction says in signs (segno, coda), in words and in its sound. A coda sign that sounds as
// "to coda", or a segno that sounds as "dal segno", is the jump and not the place it leads to.
func mergeJumps(drawn, sounds []score.Sign, words string) []score.Sign {
	has := func(k score.SignKind) bool {
		return slices.ContainsFunc(sounds, func(s score.Sign) bool { return s.Kind == k })
	}
	for _, d := range drawn {
		instead := map[score.SignKind]score.SignKind{score.Segno: score.DalSegno, score.Coda: score.ToCoda}[d.Kind]
		if !has(d.Kind) && !has(instead) {
			sounds = append(sounds, d)
		}
	}
	if k := jumpWord(words); k != 0 && !has(k) && !(k == score.ToCoda && has(score.Coda)) {
		sounds = append(sounds, score.Sign{Kind: k})
	}
	for i := range sounds {
		switch s := &sounds[i]; s.Kind {
		case score.DaCapo, score.DalSegno, score.ToCoda, score.Fine:
			if s.Text = words; len(words) > 200 || words == s.Kind.String() {
				s.Text = ""
			}
		}
	}
	return sounds
}

// signs returns the signs of the passage: repeats and endings of the chosen part, and the jumps of all parts, since a score
// prints them over the top part only. Labels are dropped where there is nothing to tell apart.
func (r *reader) signs(chosen *part, out *score.Passage) []score.Sign {
	type place struct {
		kind  score.SignKind
		bar   int
		at    Time
		label string
	}
	var list []score.Sign
	here, inBar := map[place]bool{}, map[place]bool{}
	count := map[score.SignKind]int{}
	add := func(p *part, mine bool) {
		for _, m := range p.signs {
			switch m.val.Kind {
			case score.RepeatStart, score.RepeatEnd, score.EndingStart, score.EndingEnd:
				if !mine {
					continue
				}
			}
			s, b := m.val.Sign, out.Bars[m.bar]
			if s.At = b.Start.Add(m.at).Min(b.End()); m.val.end {
				s.At = b.End()
			}
			if s.Label == "segno" || s.Label == "coda" {
				s.Label = ""
			}
			exact, rough := place{s.Kind, s.Bar, s.At, s.Label}, place{kind: s.Kind, bar: s.Bar}
			if mine && here[exact] || !mine && inBar[rough] {
				continue // the same again, both drawn and sounding or in another part
			}
			here[exact], inBar[rough] = true, true
			list = append(list, s)
			count[s.Kind]++
		}
	}
	add(chosen, true)
	for _, p := range r.parts {
		if p != chosen {
			add(p, false)
		}
	}
	for i := range list {
		switch s := &list[i]; s.Kind {
		case score.Segno, score.DalSegno:
			if count[score.Segno] < 2 {
				s.Label = ""
			}
		case score.Coda, score.ToCoda:
			if count[score.Coda] < 2 {
				s.Label = ""
			}
		}
	}
	return list
}

// pedalActs are the acts of <pedal>. "discontinue", "resume" and "continue" only draw the line: "the end of a pedal line
// that does not include the explicit lift", "the start of a pedal line that does not include the downstroke".
var pedalActs = map[string]score.PedalAct{"start": score.PedalDown, "stop": score.PedalUp, "change": score.PedalChange, "sostenuto": score.Sostenuto}

// kinds are the names of <kind> (type kind-value).
var kinds = []string{"augmented", "augmented-seventh", "diminished", "diminished-seventh", "dominant", "dominant-11th", "dominant-13th",
	"dominant-ninth", "French", "German", "half-diminished", "Italian", "major", "major-11th", "major-13th", "major-minor", "major-ninth",
	"major-seventh", "major-sixth", "minor", "minor-11th", "minor-13th", "minor-ninth", "minor-seventh", "minor-sixth", "Neapolitan", "none",
	"other", "pedal", "power", "suspended-fourth", "suspended-second", "Tristan"}

// readHarmony reads <harmony>: one chord symbol or several.
func (r *reader) readHarmony(p *part) error {
	var list []score.Harmony
	var offset Time
	last := func() *score.Harmony {
		if len(list) == 0 {
			list = append(list, score.Harmony{})
		}
		return &list[len(list)-1]
	}
	begin := func() error {
		if len(list) == 100 {
			return r.fail("more than 100 chords in one symbol")
		}
		list = append(list, score.Harmony{})
		return nil
	}
	err := r.each(func(name string) (err error) {
		switch name {
		case "root":
			if err := begin(); err != nil {
				return err
			}
			last().Root, err = r.class("root-step", "root-alter")
		case "function":
			if err := begin(); err != nil {
				return err
			}
			last().Numeral, err = r.words()
		case "numeral":
			if err := begin(); err != nil {
				return err
			}
			last().Numeral, err = r.numeral()
		case "kind":
			h := last()
			h.Printed = strings.Join(strings.Fields(r.attr("text")), " ")
			if h.Kind, err = r.words(); err == nil && !slices.Contains(kinds, h.Kind) {
				r.warn(p, "a chord symbol of kind %q, which isn't known; kept as \"other\"", clip([]byte(h.Kind)))
				if h.Printed == "" {
					h.Printed = h.Kind
				}
				h.Kind = "other"
			}
		case "inversion":
			last().Inverted, err = r.integer(0, 20)
		case "bass":
			h := last()
			h.HasBass = true
			h.Bass, err = r.class("bass-step", "bass-alter")
		case "degree":
			h := last()
			var s string
			if s, err = r.degree(); s != "" && len(h.Degrees) < 200 {
				h.Degrees = strings.TrimPrefix(h.Degrees+", "+s, ", ")
			}
		case "offset":
			offset, err = r.offset(p)
		}
		return err
	})
	if err != nil {
		return err
	}
	at := p.cursor.exact.Add(offset).Max(Time{})
	if !at.InRange() {
		return r.fail("a chord symbol too far away or in too small a part of a quarter note")
	}
	shift := p.shift(1)
	for _, h := range list {
		if h.Kind == "" {
			continue // no chord at all
		}
		if len(h.Numeral)+len(h.Printed) > 200 {
			return r.fail("a chord symbol of %d bytes", len(h.Numeral)+len(h.Printed))
		}
		if h.Numeral == "" && h.Kind != "none" {
			h.Root = h.Root.Add(shift)
		} else {
			h.Root = pitch.Class{}
		}
		if h.HasBass {
			h.Bass = h.Bass.Add(shift)
		}
		if err := r.countMark(); err != nil {
			return err
		}
		p.harmonies = append(p.harmonies, mark[score.Harmony]{len(p.bars) - 1, at, h})
	}
	return nil
}

// class reads a step with an alteration.
func (r *reader) class(step, alter string) (c pitch.Class, err error) {
	err = r.each(func(name string) error {
		switch name {
		case step:
			b, err := r.text()
			if err != nil {
				return err
			}
			l, ok := letterOf(b)
			if !ok {
				return r.fail("%s %q; letters are A to G", step, clip(b))
			}
			c.Letter = l
		case alter:
			c.Alter, err = r.semitones()
			return err
		}
		return nil
	})
	return c, err
}

// semitones reads an alteration.
func (r *reader) semitones() (int8, error) {
	b, err := r.text()
	if err != nil {
		return 0, err
	}
	f, err := strconv.ParseFloat(string(b), 64)
	if err != nil || !(math.Abs(f) <= pitch.MaxAlter) {
		return 0, r.fail("%s %q; want a number of semitones from -%d to %d", r.name, clip(b), pitch.MaxAlter, pitch.MaxAlter)
	}
	return int8(math.Round(f)), nil
}

func alterSigns(n int8) string {
	if n < 0 {
		return strings.Repeat("b", int(-n))
	}
	return strings.Repeat("#", int(n))
}

func (r *reader) numeral() (string, error) {
	text, alter := "", int8(0)
	err := r.each(func(name string) (err error) {
		switch name {
		case "numeral-root":
			text = r.attr("text")
			var s string
			if s, err = r.words(); text == "" {
				text = s
			}
		case "numeral-alter":
			alter, err = r.semitones()
		}
		return err
	})
	return alterSigns(alter) + text, err
}

// degree reads <degree>: "add b9".
func (r *reader) degree() (string, error) {
	value, alter, kind := 0, int8(0), ""
	err := r.each(func(name string) (err error) {
		switch name {
		case "degree-value":
			value, err = r.integer(1, 100)
		case "degree-alter":
			alter, err = r.semitones()
		case "degree-type":
			kind, err = r.words()
			if err == nil && kind != "add" && kind != "alter" && kind != "subtract" {
				err = r.fail("degree-type %q; want add, alter or subtract", clip([]byte(kind)))
			}
		}
		return err
	})
	if value == 0 || kind == "" {
		return "", err
	}
	return kind + " " + alterSigns(alter) + strconv.Itoa(value), err
}

// harmonies returns the chord symbols of the chosen part or, if it has none, of the first part that has some.
func (r *reader) harmonies(chosen *part, when func(int, Time) Time) []score.Harmony {
	from := chosen
	for _, p := range r.parts {
		if len(from.harmonies) == 0 {
			from = p
		}
	}
	var out []score.Harmony
	for _, m := range from.harmonies {
		m.val.At = when(m.bar, m.at)
		out = append(out, m.val)
	}
	return out
}

// nachschlag marks the grace notes at the end of the bar that no note follows in their voice: they end the note before them.
func (p *part) nachschlag() {
	for _, v := range p.decorated {
		for _, i := range p.voices[v].graces {
			if n := &p.notes[i/chunk][i%chunk]; n.Onset.Sign() > 0 {
				n.After = true
			}
		}
		p.voices[v].graces = p.voices[v].graces[:0]
	}
	p.decorated = p.decorated[:0]
}

// readIdentification reads the field in which Write keeps what the shape of a bar doesn't tell.
func (r *reader) readIdentification() error {
	return r.each(func(name string) error {
		if name != "miscellaneous" {
			return nil
		}
		return r.each(func(name string) error {
			if name != "miscellaneous-field" || r.attr("name") != offsetsField {
				return nil
			}
			s, err := r.words()
			if err != nil {
				return err
			}
			r.offsets = map[int]Time{}
			for _, f := range strings.Split(s, ",") {
				bar, at, _ := strings.Cut(f, ":")
				i, err := strconv.Atoi(strings.TrimSpace(bar))
				t, ok := score.ParseTime(at)
				if err != nil || !ok || t.Sign() < 0 {
					return r.fail("the field %q has %q; want the position of a bar and quarter notes, such as 3: 1 1/2", offsetsField, clip([]byte(f)))
				}
				r.offsets[i-1] = t
			}
			return nil
		})
	})
}

// offsetsField is the name of the <miscellaneous-field> that tells, for bars by their position from 1, how many quarter
// notes of the printed bar have passed before them: "3: 1 1/2, 17: 0".
const offsetsField = "bar offsets"
