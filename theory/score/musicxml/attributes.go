package musicxml

import (
	"strconv"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// readAttributes reads <attributes>: divisions, keys, meters, staves and transposition.
func (r *reader) readAttributes(p *part) error {
	at, keys := len(p.bars)-1, len(p.keys)
	err := r.each(func(name string) error {
		switch name {
		case "divisions":
			b, err := r.text()
			if err != nil {
				return err
			}
			d, ok := parseDecimal(b)
			if !ok || d.num == 0 {
				return r.fail("divisions %q is no number from 1 to 9999999999", clip(b))
			}
			p.unit, p.assumed = score.T(tens[d.places], d.num), false
		case "staves":
			n, err := r.integer(1, 100)
			p.staves = max(p.staves, n)
			return err
		case "key":
			return r.readKey(p, at)
		case "time":
			return r.readTime(p, at)
		case "transpose":
			return r.readTranspose(p)
		}
		return nil
	})
	for i := range p.keys[keys:] { // as they sound; <transpose> comes after <key>
		k := &p.keys[keys+i].val
		k.key.Tonic = k.key.Tonic.Add(p.shift(max(k.staff, 1)))
	}
	return err
}

// readTime reads <time>. Several fractions (3/8+2/8+3/4) and sums (3+2 over 8) become the groups of one meter over the
// smallest unit among them. Of different meters on the staves the upper staff's is taken.
func (r *reader) readTime(p *part, at int) error {
	if r.attr("number") != "" && r.attr("number") != "1" {
		return nil
	}
	type fraction struct {
		groups []int
		unit   int
	}
	var list []fraction
	free := false
	if err := r.each(func(name string) error {
		switch name {
		case "senza-misura":
			free = true
		case "beats":
			b, err := r.text()
			if err != nil {
				return err
			}
			var f fraction
			for _, s := range strings.Split(string(b), "+") {
				n, err := strconv.Atoi(strings.TrimSpace(s))
				if err != nil || n < 1 || n > 1000 || len(f.groups) == 32 {
					return r.fail("a meter of %q beats; want whole numbers from 1 to 1000", clip(b))
				}
				f.groups = append(f.groups, n)
			}
			if len(list) == 32 {
				return r.fail("a meter of more than 32 fractions")
			}
			list = append(list, f)
		case "beat-type":
			n, err := r.integer(1, 1024)
			if err != nil {
				return err
			}
			if n&(n-1) != 0 {
				return r.fail("a meter in parts of 1/%d; want a power of two", n)
			}
			if len(list) == 0 || list[len(list)-1].unit != 0 {
				return r.fail("<beat-type> without <beats>")
			}
			list[len(list)-1].unit = n
		}
		return nil
	}); err != nil {
		return err
	}
	if !free && len(list) == 0 {
		return nil
	}
	var m score.Meter
	if !free {
		for _, f := range list {
			if f.unit == 0 {
				return r.fail("<beats> without <beat-type>")
			}
			m.Unit = max(m.Unit, f.unit)
		}
		for _, f := range list {
			for _, g := range f.groups {
				g *= m.Unit / f.unit
				m.Beats += g
				m.Groups = append(m.Groups, g)
			}
		}
		if len(m.Groups) == 1 {
			m.Groups = nil
		}
	}
	if m.Beats > 10000 || !m.Length().InRange() {
		return r.fail("a meter of %d beats", m.Beats)
	}
	if p.cursor.exact.Sign() > 0 { // in the middle of a bar it holds from the next one
		at++
	}
	p.meters = append(p.meters, mark[score.Meter]{bar: at, val: m})
	return r.countMark()
}

// signatureLetters are the letters in the order of sharps; flats come in the opposite order.
var signatureLetters = [...]pitch.Letter{pitch.F, pitch.C, pitch.G, pitch.D, pitch.A, pitch.E, pitch.B}

// readKey reads <key>. A non-traditional one is kept if its signs are those of a traditional signature.
func (r *reader) readKey(p *part, at int) error {
	staff, _ := strconv.Atoi(r.attr("number"))
	k := keyMark{staff: max(staff, 0)}
	fifths, mode := 0, key.Major
	given, modeText := false, ""
	free := map[pitch.Letter]int{}
	strange := false
	letter := pitch.C
	if err := r.each(func(name string) (err error) {
		switch name {
		case "fifths":
			fifths, err = r.integer(-21, 21) // three of each sign
			given = true
		case "mode":
			modeText, err = r.words()
		case "key-step":
			b, err := r.text()
			if err != nil {
				return err
			}
			l, ok := letterOf(b)
			if !ok {
				return r.fail("key-step %q; letters are A to G", clip(b))
			}
			letter = l
		case "key-alter":
			b, err := r.text()
			if err != nil {
				return err
			}
			n, err := strconv.Atoi(string(b))
			strange = strange || err != nil
			free[letter] = n
		}
		return err
	}); err != nil {
		return err
	}
	if !given {
		if len(free) == 0 && !strange {
			return nil
		}
		if fifths, given = signature(free); !given || strange {
			r.warn(p, "a key signature of no key; the one before stays in force")
			return nil
		}
	}
	if m, ok := key.ParseMode(modeText); ok {
		mode, k.declared = m, true
	} else if modeText != "" && modeText != "none" {
		r.warn(p, "mode %q is not known; the mode is left open", clip([]byte(modeText)))
	}
	k.key = key.FromSignature(fifths, mode)
	p.keys = append(p.keys, mark[keyMark]{at, p.cursor.exact, k})
	return r.countMark()
}

// signature returns the traditional signature with the given signs, if there is one.
func signature(signs map[pitch.Letter]int) (fifths int, ok bool) {
	for f := -7; f <= 7; f++ {
		same := true
		for i, l := range signatureLetters {
			want := 0
			switch {
			case i < f:
				want = 1
			case f < 0 && i >= 7+f:
				want = -1
			}
			same = same && signs[l] == want
		}
		if same {
			return f, true
		}
	}
	return 0, false
}

// stepsOf is the usual spelling of a number of semitones, in diatonic steps, for a <transpose> that leaves it out.
var stepsOf = [12]int{0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6}

// readTranspose reads <transpose>, "what must be added to a written pitch to get a correct sounding pitch"; chromatic and
// diatonic are without the octaves that octave-change gives.
func (r *reader) readTranspose(p *part) error {
	staff, _ := strconv.Atoi(r.attr("number"))
	chromatic, octaves := 0, 0
	steps, given := 0, false
	err := r.each(func(name string) (err error) {
		switch name {
		case "chromatic":
			if b, err := r.text(); err != nil {
				return err
			} else if f, err := strconv.ParseFloat(string(b), 64); err != nil || f != float64(int(f)) || f < -60 || f > 60 {
				return r.fail("a transposition by %q semitones; want a whole number from -60 to 60", clip(b))
			} else {
				chromatic = int(f)
			}
		case "diatonic":
			steps, err = r.integer(-35, 35)
			given = true
		case "octave-change":
			octaves, err = r.integer(-5, 5)
		case "double":
			r.warn(p, "a part doubled at the octave; the doubling is left out")
		}
		return err
	})
	if !given {
		n := max(chromatic, -chromatic)
		steps = 7*(n/12) + stepsOf[n%12]
		if chromatic < 0 {
			steps = -steps
		}
	}
	p.transpose[max(staff, 0)] = pitch.Interval{Steps: steps + 7*octaves, Semitones: chromatic + 12*octaves}
	return err
}

// shift returns the transposition of a staff.
func (p *part) shift(staff int) pitch.Interval {
	if len(p.transpose) == 0 {
		return pitch.Unison
	}
	if i, ok := p.transpose[staff]; ok {
		return i
	}
	return p.transpose[0]
}

func letterOf(b []byte) (pitch.Letter, bool) {
	if len(b) != 1 {
		return 0, false
	}
	i := strings.IndexByte("CDEFGAB", b[0])
	return pitch.Letter(i), i >= 0
}
