package typed

import (
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// Time is score's exact time, in quarter notes.
type Time = score.Time

// The note values, from the longest, with their letters.
var values = [...]struct {
	name   string
	length Time
}{
	{"ww", score.Quarters(8)}, {"w", score.Quarters(4)}, {"h", score.Quarters(2)}, {"q", score.Quarters(1)},
	{"e", score.T(1, 2)}, {"s", score.T(1, 4)}, {"t", score.T(1, 8)}, {"x", score.T(1, 16)}, {"y", score.T(1, 32)},
	{"z", score.T(1, 64)},
}

const maxDots = 3

// dotted returns a value with dots: each dot adds half of what was added before, so n dots make it 2 - 1/2^n as long.
func dotted(t Time, dots int) Time { return t.Mul(2<<dots-1, 1<<dots) }

// parseValue reads a note value such as "q" or "h..". It reports whether s is one.
func parseValue(s string) (Time, bool) {
	name := strings.TrimRight(s, ".")
	dots := len(s) - len(name)
	if dots > maxDots {
		return Time{}, false
	}
	for _, v := range values {
		if v.name == name {
			return dotted(v.length, dots), true
		}
	}
	return Time{}, false
}

// valueName returns the letter and dots of a length, the one with the fewest dots; it undoes parseValue. It reports whether
// there is one.
func valueName(t Time) (string, bool) {
	for dots := 0; dots <= maxDots; dots++ {
		for _, v := range values {
			if dotted(v.length, dots) == t {
				return v.name + "..."[:dots], true
			}
		}
	}
	return "", false
}

// shortTuplets are the second figures of tuplets that may be left out, by the first.
var shortTuplets = map[int64]int64{2: 3, 3: 2, 4: 3, 5: 4, 6: 4, 7: 4}

// The largest figure of a tuplet and the deepest nesting.
const (
	maxTuplet = 1 << 26
	maxNested = 8
)

// dynamics are the marks that may stand in brackets unquoted.
var dynamics = []string{"p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp", "mf",
	"sf", "sfp", "sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp", "cresc.", "dim."}

const (
	louder = "louder"
	softer = "softer"
)

// Limits of a file, for Read and Write alike.
const (
	maxBytes   = 4 << 20
	maxNotes   = 1_000_000
	maxMarks   = 100_000 // of all sorts, with keys and tempos
	maxVoice   = 999
	maxFurther = 100 // lines of further notes of one voice in a block
	maxErrors  = 10
	maxOctave  = 12
	minOctave  = -2
	minTempo   = 1.0 / (1 << 10)
	maxTempo   = 1e5
)

// canonical orders notes completely: as score.Passage promises, and where it leaves the order free, by what the notes are.
// Notes that are alike in everything stay as they are.
func canonical(a, b score.Note) int {
	if c := a.Onset.Compare(b.Onset); c != 0 {
		return c
	}
	if ga, gb := a.Grace != score.NoGrace, b.Grace != score.NoGrace; ga || gb {
		switch {
		case !gb:
			return -1
		case !ga:
			return 1
		case a.Bar != b.Bar:
			return a.Bar - b.Bar
		case a.Hand != b.Hand:
			return int(a.Hand) - int(b.Hand)
		}
		if a.Voice != b.Voice || a.After == b.After {
			return a.Voice - b.Voice // within a voice they keep the order they are played in
		}
		if a.After {
			return -1
		}
		return 1
	}
	if c := a.Pitch.Compare(b.Pitch); c != 0 {
		return c
	}
	if a.Hand != b.Hand {
		return int(b.Hand) - int(a.Hand)
	}
	if a.Voice != b.Voice {
		return a.Voice - b.Voice
	}
	if c := a.Duration.Compare(b.Duration); c != 0 {
		return c
	}
	return flags(a) - flags(b)
}

func flags(n score.Note) int {
	f := 0
	if n.Cue {
		f |= 1
	}
	if n.TieTo {
		f |= 2
	}
	return f
}

// joints finds the notes that ties lead to: in the same hand and voice, beginning where the tied note ends, of the same
// sound, spelled the same if there is such a one, and not yet taken by another tie.
type joints struct {
	notes   []score.Note
	spelled map[joint][]int // the notes at a joint, in order; those that can't be met any more are dropped from the front
	sounds  map[joint][]int
	taken   []bool
}

type joint struct {
	hand  score.Hand
	voice int
	pitch pitch.Pitch // zero where only the sound counts
	midi  int
	onset Time
}

func spellingOf(n score.Note, t Time) joint {
	return joint{n.Hand, n.Voice, n.Pitch, n.Pitch.MIDI(), t}
}

func soundOf(n score.Note, t Time) joint {
	return joint{n.Hand, n.Voice, pitch.Pitch{}, n.Pitch.MIDI(), t}
}

// newJoints takes notes in canonical order.
func newJoints(notes []score.Note) *joints {
	j := &joints{notes, make(map[joint][]int), make(map[joint][]int), make([]bool, len(notes))}
	wanted := map[joint]bool{}
	for _, n := range notes {
		if n.TieTo {
			wanted[soundOf(n, n.End())] = true
		}
	}
	for i, n := range notes {
		if k := soundOf(n, n.Onset); wanted[k] {
			j.sounds[k] = append(j.sounds[k], i)
			k = spellingOf(n, n.Onset)
			j.spelled[k] = append(j.spelled[k], i)
		}
	}
	return j
}

// target returns the index of the note that a tie from note i leads to, -1 if there is none. Calls must go on with i
// rising; the caller marks in taken the notes it has tied.
func (j *joints) target(i int) int {
	n := j.notes[i]
	first := func(m map[joint][]int, k joint) int {
		list := m[k]
		for len(list) > 0 && (list[0] <= i || j.taken[list[0]]) {
			list = list[1:]
		}
		m[k] = list
		if len(list) == 0 {
			return -1
		}
		return list[0]
	}
	if k := first(j.spelled, spellingOf(n, n.End())); k >= 0 {
		return k
	}
	return first(j.sounds, soundOf(n, n.End()))
}

// writable reports whether p can be read back: the letter is one, and alteration and octave are within pitch.Parse's reach.
func writable(p pitch.Pitch) bool {
	return p.Letter >= pitch.C && p.Letter <= pitch.B && p.Alter >= -pitch.MaxAlter && p.Alter <= pitch.MaxAlter &&
		p.Octave >= minOctave && p.Octave <= maxOctave
}
