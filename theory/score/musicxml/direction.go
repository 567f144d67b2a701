package musicxml

import (
	"math"
	"strconv"
	"strings"

	"plumbline/theory/score"
)

// readDirection reads <direction>: tempos, dynamics and hairpins, pedal and jumps. A cresc. or dim. whose dashes are given is
// a hairpin; one without is a mark.
func (r *reader) readDirection(p *part) error {
	type event struct{ kind, what, number string }
	var drawn, sounds []score.Sign // segno, coda and jumps
	var text string                // all words
	var acts []score.PedalAct
	var events []event
	var marks []tempo
	var sound float64
	placement := r.attr("placement")
	staff := 0
	offset, offsetSounds := Time{}, false
	if err := r.each(func(name string) (err error) {
		switch name {
		case "direction-type":
			return r.each(func(name string) error {
				switch name {
				case "dynamics":
					s, err := r.readDynamics()
					events = append(events, event{"dynamic", s, ""})
					return err
				case "wedge", "dashes":
					events = append(events, event{name, r.attr("type"), r.attr("number")})
				case "words":
					s, err := r.words()
					if len(text)+len(s) < 1000 {
						text = strings.TrimSpace(text + " " + s)
					}
					if s = swellWord(s); s != "" {
						events = append(events, event{"words", s, ""})
					}
					return err
				case "segno":
					drawn = append(drawn, score.Sign{Kind: score.Segno})
				case "coda":
					drawn = append(drawn, score.Sign{Kind: score.Coda})
				case "pedal":
					if a, ok := pedalActs[r.attr("type")]; ok {
						acts = append(acts, a)
					}
				case "metronome":
					t, err := r.readMetronome()
					marks = append(marks, t)
					return err
				}
				return nil
			})
		case "offset":
			offsetSounds = r.attr("sound") == "yes"
			offset, err = r.offset(p)
		case "staff":
			staff, err = r.integer(1, 100)
		case "sound":
			sounds = append(sounds, r.jumps()...)
			sound, err = r.tempoAttr(p)
		}
		return err
	}); err != nil {
		return err
	}

	// "The offset affects the visual appearance of the direction. If the sound attribute is "yes", then the offset affects
	// playback and listening too." Dynamics are taken where they are printed.
	at := len(p.bars) - 1
	here := p.cursor.exact
	printed := here.Add(offset).Max(Time{})
	if !printed.InRange() {
		return r.fail("a direction too far away or in too small a part of a quarter note")
	}
	if offsetSounds {
		here = printed
	}
	if sound > 0 {
		marks = append(marks[:0], tempo{quarters: sound})
	}
	for _, t := range marks {
		if t.quarters > 0 || t.ratio > 0 {
			if err := r.countMark(); err != nil {
				return err
			}
			p.tempos = append(p.tempos, mark[tempo]{at, here, t})
		}
	}
	for _, s := range mergeJumps(drawn, sounds, text) {
		if err := r.addSign(p, printed, false, s); err != nil {
			return err
		}
	}
	for _, a := range acts {
		if err := r.countMark(); err != nil {
			return err
		}
		p.pedals = append(p.pedals, mark[score.PedalAct]{at, printed, a})
	}
	hand := placedHand(staff, placement)
	add := func(s swell) error {
		s.bar, s.at, s.hand = at, printed, hand
		p.swells = append(p.swells, s)
		return r.countMark()
	}
	word, afterMark := "", false
	for _, e := range events {
		key := e.kind + e.number
		if e.number == "" {
			key += "1"
		}
		if e.kind == "wedge" || e.kind == "dashes" {
			if e.what == "stop" || e.what == "crescendo" || e.what == "diminuendo" || e.what == "start" && (word != "" || afterMark) {
				if i, ok := p.open[key]; ok { // a new one ends one that is still open
					s := &p.swells[i]
					s.endBar, s.end, s.closed = at, printed, true
					delete(p.open, key)
				}
			}
		}
		var err error
		switch {
		case e.kind == "dynamic" && e.what != "":
			err = add(swell{text: e.what})
		case e.kind == "words":
			word = e.what
		case e.kind == "wedge" && (e.what == "crescendo" || e.what == "diminuendo"):
			p.open[key] = len(p.swells)
			err = add(swell{text: map[string]string{"crescendo": "louder", "diminuendo": "softer"}[e.what], hairpin: true})
		case e.kind == "dashes" && e.what == "start" && word != "":
			p.open[key] = len(p.swells)
			err = add(swell{text: map[string]string{"cresc.": "louder", "dim.": "softer"}[word], hairpin: true})
			word = ""
		case e.kind == "dashes" && e.what == "start" && afterMark:
			p.open[key] = len(p.swells) - 1
			p.swells[len(p.swells)-1].long = true
		}
		afterMark = e.kind == "dynamic" && e.what != ""
		if err != nil {
			return err
		}
		if len(p.open) > 1000 {
			return r.fail("more than 1000 hairpins at once")
		}
	}
	if word != "" {
		return add(swell{text: word})
	}
	return nil
}

// placedHand returns the hand that a direction is for. Marks between the staves are for both, as in piano music
// everywhere (common practice, no source): those under the upper staff, or above the lower one.
func placedHand(staff int, placement string) score.Hand {
	switch {
	case staff == 1 && placement == "above":
		return score.Right
	case staff > 1 && placement != "above":
		return score.Left
	}
	return 0
}

// swellWord returns "cresc." or "dim." for words that begin so, else "".
func swellWord(s string) string {
	s = strings.ToLower(s)
	switch {
	case strings.HasPrefix(s, "cresc"):
		return "cresc."
	case strings.HasPrefix(s, "decresc"), strings.HasPrefix(s, "dimin"), s == "dim", strings.HasPrefix(s, "dim."):
		return "dim."
	}
	return ""
}

// readDynamics returns the marks of <dynamics> in a row: <sf/><p/> is "sfp".
func (r *reader) readDynamics() (string, error) {
	var b strings.Builder
	err := r.each(func(name string) error {
		if name == "other-dynamics" {
			s, err := r.words()
			name = s
			if err != nil {
				return err
			}
		}
		if b.Len()+len(name) <= 64 {
			b.WriteString(name)
		}
		return nil
	})
	return b.String(), err
}

// offset reads <offset>, a signed number of divisions.
func (r *reader) offset(p *part) (Time, error) {
	b, err := r.text()
	if err != nil {
		return Time{}, err
	}
	digits, negative := strings.CutPrefix(string(b), "-")
	d, ok := parseDecimal([]byte(strings.TrimPrefix(digits, "+")))
	if !ok {
		return Time{}, r.fail("offset %q is no number", clip(b))
	}
	t := d.times(p.unit)
	if negative {
		t = Time{}.Sub(t)
	}
	if !t.InRange() {
		return Time{}, r.fail("an offset of %q divisions, too far or too finely divided", clip(b))
	}
	return t, nil
}

// readSound reads a <sound> that stands by itself in a measure.
func (r *reader) readSound(p *part) error {
	for _, s := range r.jumps() {
		if err := r.addSign(p, p.cursor.exact, false, s); err != nil {
			return err
		}
	}
	sound, err := r.tempoAttr(p)
	if err != nil || sound == 0 {
		return err
	}
	p.tempos = append(p.tempos, mark[tempo]{len(p.bars) - 1, p.cursor.exact, tempo{quarters: sound}})
	return r.countMark()
}

// maxTempo is the fastest tempo that is believed, in quarter notes a minute.
const maxTempo = 10000

// tempoAttr returns the tempo of a <sound>, "expressed in quarter notes per minute", or 0.
func (r *reader) tempoAttr(p *part) (float64, error) {
	s := r.attr("tempo")
	if s == "" {
		return 0, nil
	}
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || !(f >= 0 && f <= maxTempo) {
		return 0, r.fail("tempo %q; want a number of quarter notes a minute up to %d", clip([]byte(s)), maxTempo)
	}
	if f == 0 {
		r.warn(p, "a tempo of 0 is left out")
	}
	return f, nil
}

// readMetronome reads <metronome>: a note value and its number a minute, or two note values that last equally long, the
// first before and the second after ("quarter = half": the new half is as long as the old quarter). Of "60-66" the first
// number is taken. Marks in other forms give a zero tempo.
func (r *reader) readMetronome() (tempo, error) {
	type unit struct {
		value Time
		dots  int
	}
	var units []unit
	var perMinute float64
	err := r.each(func(name string) error {
		switch name {
		case "beat-unit":
			b, err := r.text()
			if err != nil {
				return err
			}
			v, ok := noteTypes[string(b)]
			if !ok {
				return r.fail("beat-unit %q; note types go from 1024th to maxima", clip(b))
			}
			if len(units) == 2 {
				return r.fail("a metronome mark of more than two note values")
			}
			units = append(units, unit{value: v})
		case "beat-unit-dot":
			if n := len(units) - 1; n >= 0 && units[n].dots < maxDots {
				units[n].dots++
			}
		case "per-minute":
			b, err := r.text()
			if err != nil {
				return err
			}
			perMinute = firstNumber(string(b))
		}
		return nil
	})
	switch {
	case err != nil:
		return tempo{}, err
	case len(units) == 1 && perMinute > 0:
		if q := perMinute * dotted(units[0].value, units[0].dots).Float(); q <= maxTempo {
			return tempo{quarters: q}, nil
		}
		return tempo{}, nil
	case len(units) == 2 && perMinute == 0:
		return tempo{ratio: dotted(units[1].value, units[1].dots).Float() / dotted(units[0].value, units[0].dots).Float()}, nil
	}
	return tempo{}, nil
}

// firstNumber returns the first number in s, or 0: 60 of "c. 60-66", 92.5 of "92.5".
func firstNumber(s string) float64 {
	i := strings.IndexAny(s, "0123456789")
	if i < 0 {
		return 0
	}
	s = s[i:]
	for j, c := range s {
		if (c < '0' || c > '9') && c != '.' {
			s = s[:j]
			break
		}
	}
	f, err := strconv.ParseFloat(strings.TrimRight(s, "."), 64)
	if err != nil || math.IsInf(f, 0) {
		return 0
	}
	return f
}
