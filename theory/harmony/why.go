package harmony

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"plumbline/theory/pitch"
)

// A Part is one ground of a decision and what it weighs: positive for the chord, negative against it, in natural logarithms
// of odds against the runner-up.
type Part struct {
	What   string
	Weight float64
}

// A Why explains the reading of a span from its parts.
type Why struct {
	Chord    Chord
	RunnerUp Chord
	Odds     float64 // how many times likelier Chord is than RunnerUp; +Inf without a runner-up
	For      []Part  // the strongest first
	Against  []Part  // the strongest first
	Text     string  // two sentences
}

// Why explains why span i is read as its first reading and not as its second. It is empty for a span without readings.
func (a *Analysis) Why(i int) Why {
	var w Why
	if i < 0 || i >= len(a.Spans) || len(a.Spans[i].Readings) == 0 {
		return w
	}
	rs := a.Spans[i].Readings
	w.Chord, w.Odds = rs[0].Chord, math.Inf(1)
	if len(rs) == 1 {
		w.Text = fmt.Sprintf("%v: %s. Nothing else fits the notes.", w.Chord, a.facts(i, w.Chord))
		return w
	}
	w.RunnerUp = rs[1].Chord
	w.Odds = rs[0].Probability / max(rs[1].Probability, 1e-12)
	x, y := a.parts(i, w.Chord), a.parts(i, w.RunnerUp)
	var names []string
	for n := range x {
		names = append(names, n)
	}
	for n := range y {
		if _, ok := x[n]; !ok {
			names = append(names, n)
		}
	}
	sort.Strings(names)
	for _, n := range names {
		switch d := x[n] - y[n]; {
		case d > .05:
			w.For = append(w.For, Part{n, d})
		case d < -.05:
			w.Against = append(w.Against, Part{n, d})
		}
	}
	sort.SliceStable(w.For, func(i, j int) bool { return w.For[i].Weight > w.For[j].Weight })
	sort.SliceStable(w.Against, func(i, j int) bool { return w.Against[i].Weight < w.Against[j].Weight })
	w.Text = fmt.Sprintf("%v: %s.", w.Chord, a.facts(i, w.Chord))
	w.Text += fmt.Sprintf(" Rather than %v because of the %s", w.RunnerUp, list(w.For, 3))
	if len(w.For) == 0 {
		w.Text = strings.Replace(w.Text, "because of the ", "by a hair", 1)
	}
	if len(w.Against) > 0 {
		w.Text += "; for that one, the " + list(w.Against, 2)
	}
	w.Text += "."
	return w
}

func list(ps []Part, most int) string {
	var s []string
	for _, p := range ps[:min(len(ps), most)] {
		s = append(s, p.What)
	}
	if len(s) > 1 {
		s = append(s[:len(s)-2], s[len(s)-2]+" and the "+s[len(s)-1])
	}
	return strings.Join(s, ", the ")
}

// facts says which members of c sound, which don't, and where the bass is.
func (a *Analysis) facts(i int, c Chord) string {
	var sound, absent []string
	for _, m := range c.Members() {
		if has(a.ev[i].prof[pPresent], m.Fifths()) {
			sound = append(sound, m.String())
		} else {
			absent = append(absent, m.String())
		}
	}
	s := strings.Join(sound, ", ") + " sound"
	if len(sound) == 1 {
		s += "s"
	}
	if len(sound) == 0 {
		s = "none of its notes sounds"
	}
	if len(absent) > 0 && len(sound) > 0 {
		s += ", " + strings.Join(absent, ", ") + " not"
	}
	if low := a.ev[i].bass[bLowest]; len(low) > 0 {
		s += fmt.Sprintf("; the lowest note is %v", classOf(low[0].lof))
	}
	return s
}

// parts works out what each ground contributes to the score of c in span i, by name.
func (a *Analysis) parts(i int, want Chord) map[string]float64 {
	out := map[string]float64{}
	e := a.ev[i]
	c := candidate{root: want.Root.Fifths(), q: want.Quality, n: len(intervalsOf[want.Quality])}
	q := int(c.q)
	w := a.tables.w
	trust := a.tables.second[c2First]
	for k := range e.prof {
		for _, x := range e.prof[k] {
			out[profilePart(k)] += trust * w.eff[k][q][bin(x.lof-c.root)] * x.v
		}
	}
	features(e, &c)
	for _, f := range c.feat {
		out[sparsePart(int(f.id))] += trust * w.p[f.id] * float64(f.v)
	}
	for k := range e.bass {
		for m, rel := range intervalsOf[q] {
			if c.root+rel != want.Bass.Fifths() {
				continue
			}
			for _, x := range e.bass[k] {
				if x.lof == c.root+rel {
					out["bass"] += a.tables.second[c2First+1] * w.bass[k][q][m] * x.v
				}
			}
		}
	}
	for _, x := range a.soft.contexts(&a.tables.keys, a.ev, i) {
		o := &a.soft.read[i][x.c]
		if o.root != c.root || o.q != c.q || o.root+intervalsOf[q][x.member] != want.Bass.Fifths() {
			continue
		}
		for _, f := range x.feat {
			if f.id >= c2Key {
				out[contextPart(int(f.id))] += a.tables.second[f.id] * float64(f.v)
			}
		}
	}
	return out
}

// profilePart names the ground that a profile belongs to; like ones are told together.
func profilePart(k int) string {
	switch k {
	case pDuration, pLasting, pCount, pPresent, pOctaves:
		return "notes that sound, by how long and how often"
	case pWeighted, pMetric, pStruck, pStart, pEnd:
		return "metrical place of the notes"
	case pBass, pLowest, pLowestFirst, pJustBefore, pBarBass:
		return "lowest notes"
	case pStill, pLeaps:
		return "notes that stay or leap"
	case pLeft:
		return "left hand"
	case pTop:
		return "top line"
	case pNew, pHeld, pPreviousHere:
		return "notes that are new or held over"
	case pPrevious, pPrevious2, pPreviousBass, pBarBefore:
		return "notes before"
	case pNext, pNext2, pNextBass, pNextStart, pBarAfter:
		return "notes after"
	}
	return "notes of the wider surroundings"
}

func sparsePart(id int) string {
	switch {
	case id < atAbsent:
		return "frequency of such chords"
	case id < atInstead:
		return "members that are absent"
	case id < atFound:
		return "notes that sound in place of absent members"
	case id < atForeign:
		return "members that are found"
	case id < atComplete:
		return "foreign notes"
	case id < atMotion:
		return "completeness of the chord"
	}
	return "way the notes move on by step"
}

func contextPart(id int) string {
	switch {
	case id < c2Pair || id >= c2Degree4:
		return "key"
	case id < c2Piece:
		return "chords before and after"
	case id < c2Bass:
		return "chords of the rest of the passage"
	case id < c2SixFour:
		return "steps of the bass"
	case id < c2Short:
		return "six-four and what follows it"
	}
	return "harmonic rhythm"
}

// A Said is what a claim says of a span.
type Said struct {
	Chord             Chord // Root and Quality if HasChord, Bass if HasBass
	HasChord, HasBass bool
}

// A Foreign is a class that sounds and is no member of a chord.
type Foreign struct {
	Class  pitch.Class
	Share  float64     // of the time of all notes
	Moves  bool        // most of its time it moves on by step
	To     pitch.Class // where, if Moves
	Member bool        // that is a member
}

// A Judgement is a claim about a span held against the notes.
type Judgement struct {
	Fails    bool
	Arguable bool    // it doesn't fail, but another reading is as good or better
	Plain    bool    // all that it says sounds outright
	Odds     float64 // log odds that an expert would agree
	Absent   []pitch.Class
	Roles    []string // of the absent ones: "third"
	Foreign  []Foreign
	Lowest   pitch.Class
	Rival    Reading // the likeliest other reading
	Because  string
	Instead  string // what would hold, "" if it holds
}

// arguableBelow is how small the probability of a chord may be before a claim of it that doesn't fail is called arguable.
const arguableBelow = .25

// Judge holds what is said of span i against its notes. It fails what experts would hardly say of such notes (see package
// comment, "The judge"). An i out of range, or a quality that isn't known, gives a Judgement that is arguable and says so.
func (a *Analysis) Judge(i int, s Said) Judgement {
	var j Judgement
	if i < 0 || i >= len(a.Spans) || s.HasChord && (s.Chord.Quality < 0 || int(s.Chord.Quality) >= qualities) || !s.HasChord && !s.HasBass {
		return Judgement{Arguable: true, Because: "this kind of chord isn't among those that are recognized"}
	}
	e := a.ev[i]
	if len(e.prof[pPresent]) == 0 {
		return Judgement{Arguable: true, Because: "nothing sounds there"}
	}
	if w := e.bass[bLowest]; len(w) > 0 {
		j.Lowest = classOf(w[0].lof)
	}
	j.Odds = math.Inf(-1)
	try := func(c Chord, plain bool) {
		odds, p := a.verdict(i, c)
		j.Plain = j.Plain || p && plain
		j.Odds = max(j.Odds, odds)
	}
	switch {
	case s.HasChord && s.HasBass:
		try(s.Chord, true)
	case s.HasChord:
		for _, m := range s.Chord.Members() {
			c := s.Chord
			c.Bass = m
			try(c, true)
		}
		j.Plain = true
		for _, m := range s.Chord.Members() {
			j.Plain = j.Plain && has(e.prof[pPresent], m.Fifths())
		}
	default:
		j.Plain = has(e.bass[bEver], s.Chord.Bass.Fifths())
		for _, r := range a.Spans[i].Readings[:min(4, len(a.Spans[i].Readings))] {
			c := r.Chord
			c.Bass = s.Chord.Bass
			if c.Role(c.Bass) != "" || r.Chord == a.Spans[i].Readings[0].Chord {
				try(c, false)
			}
		}
	}
	j.Fails = !j.Plain && j.Odds < a.tables.threshold
	own := 0.0
	for _, r := range a.Spans[i].Readings {
		if s.HasChord && (r.Chord.Root != s.Chord.Root || r.Chord.Quality != s.Chord.Quality) || s.HasBass && r.Chord.Bass != s.Chord.Bass {
			if r.Probability > j.Rival.Probability {
				j.Rival = r
			}
			continue
		}
		own += r.Probability
	}
	j.Arguable = !j.Fails && own < arguableBelow && j.Rival.Probability > own
	if s.HasChord {
		for _, m := range s.Chord.Members() {
			if !has(e.prof[pPresent], m.Fifths()) {
				j.Absent = append(j.Absent, m)
				j.Roles = append(j.Roles, s.Chord.Role(m))
			}
		}
		for _, w := range e.prof[pDuration] {
			if s.Chord.Role(classOf(w.lof)) == "" {
				j.Foreign = append(j.Foreign, a.foreign(i, s.Chord, w))
			}
		}
		sort.SliceStable(j.Foreign, func(x, y int) bool { return j.Foreign[x].Share > j.Foreign[y].Share })
	}
	j.Because = a.because(i, s, &j)
	if j.Fails || j.Arguable {
		j.Instead = a.instead(i, s, &j)
	}
	return j
}

func (a *Analysis) foreign(i int, c Chord, w weight) Foreign {
	f := Foreign{Class: classOf(w.lof), Share: w.v}
	moves, best := 0.0, 0.0
	for _, m := range a.ev[i].motions {
		if m.from != w.lof || m.to == noMotion {
			continue
		}
		moves += m.v
		if m.v > best {
			best, f.To = m.v, classOf(m.to)
		}
	}
	f.Moves = moves > w.v/2
	f.Member = f.Moves && c.Role(f.To) != ""
	return f
}

// because says what the judgement rests on, in notes.
func (a *Analysis) because(i int, s Said, j *Judgement) string {
	e := a.ev[i]
	var out []string
	if s.HasChord {
		var sound []string
		for _, m := range s.Chord.Members() {
			if has(e.prof[pPresent], m.Fifths()) {
				sound = append(sound, m.String())
			}
		}
		switch {
		case len(j.Absent) == 0:
			out = append(out, "all of "+strings.Join(sound, ", ")+" sound")
		case len(sound) == 0:
			out = append(out, "none of its notes sounds")
		default:
			for k, m := range j.Absent {
				t := fmt.Sprintf("its %s %v doesn't sound", j.Roles[k], m)
				for _, f := range j.Foreign {
					if f.Class.Letter == m.Letter {
						t += fmt.Sprintf(", %v does", f.Class)
						break
					}
				}
				out = append(out, t)
			}
		}
		for k, f := range j.Foreign {
			if k == 2 {
				break
			}
			t := fmt.Sprintf("%v is foreign to it (%.0f %% of the sounding time)", f.Class, 100*f.Share)
			if f.Member {
				t += fmt.Sprintf(" and moves on to %v", f.To)
			}
			out = append(out, t)
		}
	}
	if s.HasBass {
		b := s.Chord.Bass.Fifths()
		share := 0.0
		for _, w := range e.bass[bShare] {
			if w.lof == b {
				share = w.v
			}
		}
		switch {
		case has(e.bass[bLowest], b):
			out = append(out, fmt.Sprintf("%v is the lowest note", s.Chord.Bass))
		case share > 0:
			out = append(out, fmt.Sprintf("%v is the lowest note for %.0f %% of the time, the lowest of all is %v", s.Chord.Bass, 100*share, j.Lowest))
		case has(e.bass[bBefore], b):
			out = append(out, fmt.Sprintf("%v was the lowest note just before, here it is %v", s.Chord.Bass, j.Lowest))
		case has(e.prof[pPresent], b):
			out = append(out, fmt.Sprintf("%v sounds, but never as the lowest note, which is %v", s.Chord.Bass, j.Lowest))
		default:
			out = append(out, fmt.Sprintf("%v doesn't sound, the lowest note is %v", s.Chord.Bass, j.Lowest))
		}
	}
	return strings.Join(out, "; ")
}

func (a *Analysis) instead(i int, s Said, j *Judgement) string {
	if !s.HasChord {
		for _, r := range a.Spans[i].Readings {
			if r.Chord.Bass != s.Chord.Bass {
				return "bass is " + r.Chord.Bass.String()
			}
		}
		return "bass is " + j.Lowest.String()
	}
	if j.Rival.Probability > 0 {
		return "is " + j.Rival.Chord.String()
	}
	return ""
}
