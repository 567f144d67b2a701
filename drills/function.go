package drills

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// functionRows are the three functions; Riemann's subdominant is the predominant of the English-speaking handbooks.
var functionRows = []row{
	{"tonic", []string{"t", "i", "1"}},
	{"predominant", []string{"subdominant", "s", "sd", "pd", "iv", "ii", "dominant preparation", "pre dominant"}},
	{"dominant", []string{"d", "v", "v7", "5"}},
}

// functionChords are the chords of the levels: what each function is sounded by. Colours are notes beyond the triad or the
// dominant seventh.
var functionChords = map[string]map[bool][2][]keyChord{ // function: minor: plain, coloured
	"tonic": {
		false: {{harm("I", "P1", "P1* M3 P5"), harm("I6", "P1", "P1 M3* P5")},
			{harm("I with its sixth", "P1", "P1* M3 P5 M6"), harm("I with its major seventh", "P1", "P1* M3 P5 M7"), harm("I with its ninth", "P1", "P1* M3 P5 M9"), harm("I with sixth and ninth", "P1", "P1* M3 M6 M9")}},
		true: {{harm("i", "P1", "P1* m3 P5"), harm("i6", "P1", "P1 m3* P5")},
			{harm("i with its sixth", "P1", "P1* m3 P5 M6"), harm("i with its ninth", "P1", "P1* m3 P5 M9"), harm("i with its seventh", "P1", "P1* m3 P5 m7")}},
	},
	"predominant": {
		false: {{harm("IV", "P4", "P1* M3 P5"), harm("ii6", "M2", "P1 m3* P5"), harm("ii", "M2", "P1* m3 P5")},
			{harm("IV with its major seventh", "P4", "P1* M3 P5 M7"), harm("IV with its sixth", "P4", "P1* M3 P5 M6"), harm("ii7", "M2", "P1* m3 P5 m7"), harm("ii with seventh and ninth", "M2", "P1* m3 m7 M9")}},
		true: {{harm("iv", "P4", "P1* m3 P5"), harm("ii°6", "M2", "P1 m3* d5")},
			{harm("iiø7", "M2", "P1* m3 d5 m7"), harm("iv with its sixth", "P4", "P1* m3 P5 M6"), harm("iv with its seventh", "P4", "P1* m3 P5 m7")}},
	},
	"dominant": {
		false: {{harm("V", "P5", "P1* M3 P5"), harm("V7", "P5", "P1* M3 P5 m7"), harm("V6", "P5", "P1 M3* P5"), harm("V65", "P5", "P1 M3* P5 m7")},
			{harm("V9", "P5", "P1* M3 m7 M9"), harm("V13", "P5", "P1* M3 m7 M13"), harm("V7 with lowered ninth", "P5", "P1* M3 m7 m9"), harm("V7 with suspended fourth", "P5", "P1* P4 P5 m7"), harm("V7 with raised fifth", "P5", "P1* M3 A5 m7")}},
		true: {{harm("V", "P5", "P1* M3 P5"), harm("V7", "P5", "P1* M3 P5 m7"), harm("V65", "P5", "P1 M3* P5 m7")},
			{harm("V7 with lowered ninth", "P5", "P1* M3 m7 m9"), harm("V7 with lowered thirteenth", "P5", "P1* M3 m7 m13"), harm("vii°7", "M7", "P1* m3 d5 d7")}},
	},
}

const keyTempo = 84

// functionCraft sets a key up by a cadence, the same for all, and asks what the chord after it does in that key.
var functionCraft = &named{
	asks: "A cadence sets the key up. What is the chord after it?", rows: functionRows, low: "C2", high: "C6",
	steps: []Level{
		step(1, "major keys, tonic or dominant", "tonic", "dominant"),
		step(2, "major and minor keys, three functions", all(functionRows)...),
		step(3, "tonic or dominant, with colour notes", "tonic", "dominant"),
		step(4, "three functions, with colour notes", all(functionRows)...)},
	plan: func(s Settings, labels []string) (planner, error) {
		return filler(func(r *rand.Rand, q *Question) {
			minor := s.Level > 1 && r.IntN(2) == 0
			low := 36 + r.IntN(10)
			bass := q.draw(r, low, low+11)
			top := low + 27 + r.IntN(9)
			colour := 0
			if s.Level > 2 && r.IntN(4) > 0 {
				colour = 1
			}
			h := pick(r, functionChords[q.Expected][minor][colour])
			tonic := tonicFor(r, bass-h.members[h.bass].Semitones-h.root.Semitones, minor)
			if q.like != nil { // another function in the same key
				tonic = q.like.root
			}
			q.like = &likeness{root: tonic}
			ls, ok := led(tonic, append(slices.Clone(cadence(minor)), h), low, top)
			if !ok {
				return // TestKinds sees to it that this doesn't happen
			}
			q.Music = cadenceMusic(ls)
			q.Left, q.Right = ls[4].hands()
			q.Music = append(q.Music, chordNotes(score.Quarters(setUpEnd), score.Quarters(3), q.Left, q.Right)...)
			q.Tempo, q.Root = keyTempo, tonic.Add(h.root)
			q.Prompt = fmt.Sprintf("A cadence in a %s key. What is the chord after it?", map[bool]string{false: "major", true: "minor"}[minor])
			if q.Sight {
				q.Prompt = fmt.Sprintf("A cadence in %s. What is the chord after it?", keyName(tonic, minor))
			}
			q.about = fmt.Sprintf("%s in %s: %s", h.symbol(tonic), keyName(tonic, minor), h.why(q.Expected))
		}), nil
	},
}

var functionWhy = map[string]string{
	"tonic":       "the first degree is its root, and nothing in it wants to move on",
	"predominant": "it holds the fourth degree and not the leading tone, and leads to the dominant",
}

// why says what makes h what it is called: for a dominant, which of its notes pull.
func (h keyChord) why(label string) string {
	if label != "dominant" {
		return functionWhy[label]
	}
	var pulls []string
	for _, m := range h.members {
		switch (h.root.Semitones + m.Semitones) % 12 {
		case 11:
			pulls = append(pulls, "the leading tone")
		case 5:
			if h.root == (pitch.Interval{Steps: 4, Semitones: 7}) {
				pulls = append(pulls, "the seventh of the dominant")
			} else {
				pulls = append(pulls, "the fourth degree")
			}
		}
	}
	slices.Sort(pulls) // the leading tone before the seventh
	if pulls = slices.Compact(pulls); len(pulls) == 1 {
		return pulls[0] + " pulls back to the tonic"
	}
	return strings.Join(pulls, " and ") + " pull back to the tonic"
}

const (
	upSemitone   = "up a semitone"
	downSemitone = "down a semitone"
	downTone     = "down a whole tone"
	upTone       = "up a whole tone"
	stays        = "stays"
)

var tendencyRows = []row{
	{upSemitone, []string{"up semitone", "semitone up", "up minor second", "up m2", "up half"}}, {downSemitone, []string{"down semitone", "semitone down", "down minor second", "down m2", "down half"}},
	{downTone, []string{"down whole tone", "whole tone down", "down major second", "down m2 major", "down tone", "down whole"}}, {upTone, []string{"up whole tone", "whole tone up", "up major second", "up tone", "up whole"}},
	{stays, []string{"stay", "same", "same note", "nowhere", "repeats", "holds"}},
}

// A tendency is a note of a chord and where it goes.
type tendency struct {
	label string
	minor bool
	hard  bool // chromatic, or by a whole tone
	chord keyChord
	note  pitch.Interval // above the tonic
	to    keyChord
	goes  pitch.Interval // from note; negative downwards
	what  string         // "the leading tone"
}

func tend(label string, minor bool, hard bool, chord keyChord, note string, to keyChord, goes string, what string) tendency {
	n, err := pitch.ParseInterval(note)
	g, err2 := pitch.ParseInterval(goes)
	if err != nil || err2 != nil {
		panic("drills: tendency " + what) // our own table, made when the program starts
	}
	return tendency{label, minor, hard, chord, n, to, g, what}
}

// tendencies are the resolutions asked about, as every handbook of harmony has them (common practice; A. Piston, Harmony, and
// R. Hutchinson, chapters 13, 16 and 28, from memory).
var tendencies = func() []tendency {
	I, i := harm("I", "P1", "P1* M3 P5"), harm("i", "P1", "P1* m3 P5")
	V, V7 := harm("V", "P5", "P1* M3 P5"), harm("V7", "P5", "P1* M3 P5 m7")
	IV, iv := harm("IV", "P4", "P1* M3 P5"), harm("iv", "P4", "P1* m3 P5")
	ii7, iih7 := harm("ii7", "M2", "P1* m3 P5 m7"), harm("iiø7", "M2", "P1* m3 d5 m7")
	V7ofV := harm("V7/V", "M2", "P1* M3 P5 m7")
	ger := harm("the augmented sixth chord", "m6", "P1* M3 P5 A6")
	vi := harm("vi", "M6", "P1* m3 P5")
	return []tendency{
		tend(upSemitone, false, false, V7, "M7", I, "m2", "the leading tone, third of V7"),
		tend(upSemitone, true, false, V7, "M7", i, "m2", "the leading tone, third of V7"),
		tend(upSemitone, false, false, V, "M7", I, "m2", "the leading tone, third of V"),
		tend(upSemitone, false, true, V7ofV, "A4", V, "m2", "the raised fourth degree, leading tone of the dominant"),
		tend(upSemitone, true, true, V7ofV, "A4", V, "m2", "the raised fourth degree, leading tone of the dominant"),
		tend(upSemitone, true, true, ger, "A4", V, "m2", "the augmented sixth, which opens outwards to the octave"),
		tend(upSemitone, false, true, harm("V7/vi", "M3", "P1* M3 P5 m7"), "A5", vi, "m2", "the raised fifth degree, leading tone of vi"),
		tend(downSemitone, false, false, V7, "P4", I, "-m2", "the seventh of V7"),
		tend(downSemitone, false, false, ii7, "P8", V, "-m2", "the seventh of ii7"),
		tend(downSemitone, false, false, harm("I with suspended fourth", "P1", "P1* P4 P5"), "P4", I, "-m2", "a suspended fourth"),
		tend(downSemitone, true, true, harm("V7 with lowered ninth", "P5", "P1* M3 m7 m9"), "m6", i, "-m2", "the lowered ninth of V, the sixth degree of minor"),
		tend(downSemitone, false, true, iv, "m6", I, "-m2", "the lowered sixth degree, borrowed from minor"),
		tend(downSemitone, true, true, harm("vii°7", "M7", "P1* m3 d5 d7"), "m6", i, "-m2", "the seventh of vii°7"),
		tend(downTone, true, true, V7, "P4", i, "-M2", "the seventh of V7, in minor a whole tone above the third"),
		tend(downTone, false, true, harm("V9", "P5", "P1* M3 m7 M9"), "M6", I, "-M2", "the ninth of V9"),
		tend(downTone, true, true, harm("i with suspended fourth", "P1", "P1* P4 P5"), "P4", i, "-M2", "a suspended fourth, in minor a whole tone above the third"),
		tend(downTone, false, true, harm("I with its ninth for the octave", "P1", "P1* M3 P5 M9"), "M2", I, "-M2", "a suspended ninth"),
		tend(stays, false, false, V7, "P5", I, "P1", "the fifth degree, common to both chords"),
		tend(stays, true, false, V7, "P5", i, "P1", "the fifth degree, common to both chords"),
		tend(stays, false, false, IV, "P8", I, "P1", "the first degree, common to both chords"),
		tend(stays, true, false, iv, "P8", i, "P1", "the first degree, common to both chords"),
		tend(stays, true, true, iih7, "P4", V7, "P1", "the fourth degree, which stays as the seventh of V7"),
		tend(stays, false, true, vi, "P8", IV, "P1", "the first degree, common to both chords"),
	}
}()

// tendencyCraft sets a key up, sounds a chord with the note on top and then that note alone; where the resolution is given it
// sounds too.
var tendencyCraft = &named{
	asks: "Where does the last note want to go?", rows: tendencyRows, low: "C2", high: "C6",
	steps: []Level{
		step(1, "leading tone and seventh, the resolution sounds", upSemitone, downSemitone, stays),
		step(2, "leading tone and seventh, the resolution is withheld", upSemitone, downSemitone, stays),
		step(3, "chromatic notes too, the resolution sounds", upSemitone, downSemitone, downTone, stays),
		step(4, "chromatic notes too, withheld", upSemitone, downSemitone, downTone, stays)},
	plan: func(s Settings, labels []string) (planner, error) {
		given, hard := s.Level%2 == 1, s.Level > 2
		for _, l := range labels {
			if !slices.ContainsFunc(tendencies, func(t tendency) bool { return t.label == l }) {
				return nil, badSetting("labels", "no note of the drill %q goes %s", Tendency, l)
			}
		}
		return filler(func(r *rand.Rand, q *Question) {
			if q.like != nil { // the same chord and note, and where the note would have gone
				to := q.like.note.Add(tendencyMoves[q.Expected])
				q.Music, q.Tempo, q.about = resolved(q.like.chord, q.like.note, to), keyTempo, "to "+to.String()
				return
			}
			low := 36 + r.IntN(10)
			note := q.draw(r, low+26, low+37)
			top := low + 27 + r.IntN(9)
			var ts []tendency
			for _, t := range tendencies {
				if t.label == q.Expected && (hard || !t.hard) {
					ts = append(ts, t)
				}
			}
			t := pick(r, ts)
			tonic := tonicFor(r, note-t.note.Semitones, t.minor)
			p := at(tonic.Add(t.note), note)
			hs := append(slices.Clone(cadence(t.minor)), t.chord, t.to)
			ls, ok := led(tonic, hs, low, top, demand{4, p}, demand{5, p.Add(t.goes)})
			if !ok {
				return // TestKinds sees to it that this doesn't happen
			}
			q.Music, q.Tempo = cadenceMusic(ls), keyTempo
			q.Left, q.Right = ls[4].hands()
			q.Music = append(q.Music, chordNotes(score.Quarters(setUpEnd), score.Quarters(2), q.Left, q.Right)...)
			q.Music = append(q.Music, chordNotes(score.Quarters(setUpEnd+2), score.Quarters(2), nil, []pitch.Pitch{p})...)
			sounding := chordNotes(score.Time{}, score.Quarters(2), q.Left, q.Right)
			q.like = &likeness{chord: sounding, note: p}
			q.told = resolved(sounding, p, p.Add(t.goes))
			mode := map[bool]string{false: "major", true: "minor"}[t.minor]
			q.Prompt = fmt.Sprintf("A cadence in a %s key, a chord, its top note alone. Where does that note want to go?", mode)
			if given {
				left, right := ls[5].hands()
				q.Music = append(q.Music, chordNotes(score.Quarters(setUpEnd+4), score.Quarters(3), left, right)...)
				q.Prompt = fmt.Sprintf("A cadence in a %s key, a chord, its top note alone, and the chord after it. Where does that note go?", mode)
			}
			if q.Sight {
				q.Prompt = fmt.Sprintf("In %s: a cadence, a chord, its top note alone. Where does that note want to go?", keyName(tonic, t.minor))
			}
			q.Root = tonic.Add(t.chord.root)
			goes := "goes to"
			if t.goes == pitch.Unison {
				goes = "stays on"
			}
			q.about = fmt.Sprintf("%s, %s, %s %s: %s to %s in %s", p, t.what, goes, p.Add(t.goes), t.chord.name, t.to.name, keyName(tonic, t.minor))
		}), nil
	},
	apart: func(label string, q Question) []Part {
		wd, ws := split2(q.Expected)
		gd, gs := split2(label)
		return []Part{judged("direction", wd, gd), judged("distance", ws, gs)}
	},
}

// tendencyMoves are the moves of the labels.
var tendencyMoves = map[string]pitch.Interval{upSemitone: pitch.MinorSecond, upTone: pitch.MajorSecond, downSemitone: pitch.MinorSecond.Neg(), downTone: pitch.MajorSecond.Neg(), stays: pitch.Unison}

// resolved sounds a chord, one of its notes, and the note it goes to.
func resolved(chord []Note, from, to pitch.Pitch) []Note {
	out := slices.Clone(chord)
	out = append(out, chordNotes(score.Quarters(2), score.Quarters(1), nil, []pitch.Pitch{from})...)
	return append(out, chordNotes(score.Quarters(3), score.Quarters(2), nil, []pitch.Pitch{to})...)
}

// split2 takes a move apart: "up", "semitone".
func split2(label string) (way, far string) {
	var a string
	if n, _ := fmt.Sscanf(label, "%s a %s", &way, &a); n == 2 {
		return way, label[len(way)+3:]
	}
	return label, ""
}
