package planner

import (
	"fmt"
	"strings"

	"plumbline/drills"
)

// A Setting is how hard a question is made, apart from what is asked. The zero value, with a number of choices, is the
// standard question: in the middle of the keyboard, close position, no more notes than needed, long, the usual sound.
type Setting struct {
	Register Register
	Open     bool // notes spread wider than a tenth
	Doubled  int  // notes more than usual, 0 or 1
	Short    bool // it sounds for a short time
	Other    bool // another timbre than the usual one
	Dry      bool // it dies away fast
	Choices  int  // from 2 on
}

// Register is where the lowest note lies.
type Register int

// The registers, by the lowest note.
const (
	Middle Register = iota // C3 to B3
	High                   // from C4 on
	Low                    // below C3
)

var registerNames = [...]string{Middle: "middle", High: "high", Low: "low"}

func (r Register) String() string {
	if r < 0 || int(r) >= len(registerNames) {
		return fmt.Sprintf("%%!Register(%d)", int(r))
	}
	return registerNames[r]
}

// What each thing costs, in logits of ability. That chords are harder to tell low down, widely spread, with doublings, or
// heard briefly is common practice; the figures are ours, no source. What they are for one learner shows in the counts by
// condition, and an error in them is part of the ability as estimated.
const (
	costHigh    = 0.25
	costLow     = 0.7
	costOpen    = 0.5
	costDoubled = 0.25
	costShort   = 0.35
	costOther   = 0.15
	costDry     = 0.25
)

// Cost is how much harder than the standard question the setting is, in logits, the number of choices apart.
func (s Setting) Cost() float64 {
	cost := [...]float64{Middle: 0, High: costHigh, Low: costLow}[s.Register]
	for _, c := range []struct {
		on   bool
		cost float64
	}{{s.Open, costOpen}, {s.Doubled > 0, costDoubled}, {s.Short, costShort}, {s.Other, costOther}, {s.Dry, costDry}} {
		if c.on {
			cost += c.cost
		}
	}
	return cost
}

// like reports whether two settings are alike in everything that is heard.
func (s Setting) like(o Setting) bool {
	o.Choices = s.Choices
	return s == o
}

// String writes s for keeping: "register=low spacing=open doubled=1 length=short timbre=other decay=fast choices=4"; what is
// standard is left out.
func (s Setting) String() string {
	var b strings.Builder
	put := func(on bool, word string) {
		if on {
			if b.Len() > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(word)
		}
	}
	put(true, "register="+s.Register.String())
	put(!s.Open, "spacing=close")
	put(s.Open, "spacing=open")
	put(s.Doubled > 0, fmt.Sprintf("doubled=%d", s.Doubled))
	put(s.Short, "length=short")
	put(s.Other, "timbre=other")
	put(s.Dry, "decay=fast")
	put(s.Choices > 0, fmt.Sprintf("choices=%d", s.Choices))
	return b.String()
}

// ParseSetting reads what String wrote. It reports false for anything else.
func ParseSetting(text string) (Setting, bool) {
	var s Setting
	for word := range strings.FieldsSeq(text) {
		switch word {
		case "spacing=close":
		case "spacing=open":
			s.Open = true
		case "length=short":
			s.Short = true
		case "timbre=other":
			s.Other = true
		case "decay=fast":
			s.Dry = true
		default:
			name, value, _ := strings.Cut(word, "=")
			ok := false
			switch name {
			case "register":
				for r, n := range registerNames {
					if n == value {
						s.Register, ok = Register(r), true
					}
				}
			case "doubled":
				ok = len(value) == 1 && value[0] >= '1' && value[0] <= '3'
				if ok {
					s.Doubled = int(value[0] - '0')
				}
			case "choices":
				ok = len(value) == 1 && value[0] >= '2' && value[0] <= '9'
				if ok {
					s.Choices = int(value[0] - '0')
				}
			}
			if !ok {
				return Setting{}, false
			}
		}
	}
	return s, s.Choices >= 2
}

// Words says in words what is made hard: "in open position, below C3".
func (s Setting) Words() string {
	var parts []string
	if s.Open {
		parts = append(parts, "in open position")
	}
	switch s.Register {
	case Low:
		parts = append(parts, "from below C3")
	case High:
		parts = append(parts, "from C4 upwards")
	}
	if s.Doubled > 0 {
		parts = append(parts, "with a doubling")
	}
	if s.Short {
		parts = append(parts, "short")
	}
	if s.Dry {
		parts = append(parts, "dying away fast")
	}
	if s.Other {
		parts = append(parts, "in another timbre")
	}
	if len(parts) == 0 {
		return "in the middle register, close position"
	}
	return strings.Join(parts, ", ")
}

// settings are those that a kind of drill can be asked in.
func settings(k drills.Kind, sight bool) []Setting {
	if sight {
		return spatial(k)
	}
	var out []Setting
	for _, s := range spatial(k) {
		for i := range 8 {
			s.Short, s.Other, s.Dry = i&1 != 0 && chords(k), i&2 != 0, i&4 != 0
			if i&1 == 0 || chords(k) {
				out = append(out, s)
			}
		}
	}
	return out
}

// chords reports whether a question of a kind is one chord, which can be heard for a shorter time.
func chords(k drills.Kind) bool { return k == drills.Quality || k == drills.Construction }

// spatial are the settings that show in the notes: of chord qualities all, of constructions the register, since their spacing
// is what is asked; of other kinds none, which have levels of their own.
func spatial(k drills.Kind) []Setting {
	out := []Setting{{}}
	if !chords(k) {
		return out
	}
	out = append(out, Setting{Register: High}, Setting{Register: Low})
	if k != drills.Quality {
		return out
	}
	for _, s := range out {
		s.Open = true
		out = append(out, s)
	}
	for _, s := range out {
		if s.Doubled = 1; s.Open { // in close position there is no room
			out = append(out, s)
		}
	}
	return out
}
