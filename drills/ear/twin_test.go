package ear_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"plumbline/drills/ear"
	"plumbline/theory/claim"
	"plumbline/theory/score"
	"plumbline/theory/score/typed"
)

// desk is an invented passage, made so that every form of claim has something to hold for; see examples.
const desk = `title: A desk
key: A major
meter: 4/4
bars 1-4
right: h B3+E4+A4 q C#4+A4+D#5 C#4+A4+E5 | h F#3+A3+C#4+E4 A3+C#4+F#4 | h C#4+A4+B4 G#4+A4+A#4 | h B3+C#4+D4 e D5 C#5 C5 B4
left:  w A2+E3+B3                        | h F#2+C#3 D2+A2            | h A2+F#3 D2+A2         | h E2+B2 E2+B2
bars 5-6
right: e E5 A4 D#5 G#4 D5 G4 C#5 F#4 | e C5 F4 B4 E4 h r
left:  w A2+E3                       | h D2+A2 E2+B2
bars 7-8: meter 3/4
right: q E5 F5 F#5 | q G5 Ab5 A5
left:  q A2 D3 G2  | q C3 F2 Bb2
bars 9-10: meter 4/4
right: q C5+E5 D5+F5 E5+G5 F5+A5 | w C4+E4+A4
left:  e C3 G3 D3 G3 E3 A3 F3 A3 | w C3+G3
bars 11-12
right: w E#4+G#4+B4 | h C4+E4+A4 h F#4+B4+C5
left:  w C#3        | h C3 h G#2
bars 13-14
right: h F4+A4+C5 F4+B4+D5 | h E4+G4+B4 A4+C5+E5
left:  h D3 G3              | h C3 F3
bars 15-17
right: [louder] h G4+C#5+E5 A4+C5+F5 | [end] h B4+D5+F#5 Bb4+E5+G5 | h C5+Eb5+Ab5 D5+F5+A5
left:  h A2+E3 D3+A3        | h G2+D3 C3+G3       | h F2+C3 Bb2+F3
bar 18
right: q C5 D5 E5 F5
left:  q C4 B3 A3 G3
bars 19-20
right: h E4+G4 F4+A4 | h D4+B4 E4+C5
left:  w C3=         | w C3
bars 21-25
right: q. C5 e D5 q E5 C5 | q. B4 e C5 q D5 B4 | q. C6 e D6 q E6 C6 | q. C5 e D5 q E5 C5 | q. E5 e F5 q A5 E5
left:  w C3 | w G3 | w C3 | w C3 | w C3
bars 26-27
right: h E4+A4+C5 E4+G#4+C5 | h E4+G4+C5 E4+F#4+C5
left:  w A2                | w A2
bars 28-29
right: h D4+A4+C5 e D5 C5 B4 A4 | h B3+E4+G#4 q E4+A4+C#5 E4+A4+C#5
left:  h D3 D3                  | h E3 h A2
`

func read(t testing.TB, text string) *score.Passage {
	t.Helper()
	p, err := typed.Read("test", strings.NewReader(text))
	if err != nil {
		t.Fatalf("the test's passage: %v", err)
	}
	return p
}

func parse(t testing.TB, line string) claim.Claim {
	t.Helper()
	c, ok, err := claim.ParseLine(line)
	if err != nil || !ok {
		t.Fatalf("ParseLine(%q): %v", line, err)
	}
	return c
}

// examples are claims on the desk, for every form at least one that has twins, or a reason why not.
var examples = []string{
	"bar 1 beat 1, left hand: stacked in fifths",
	"bar 1 beat 1, right hand: stacked in fourths",
	"bar 2 beat 1, right hand: stacked in thirds",
	"bar 4 beat 3: bass is E",
	"bar 1 beat 1: uses only white keys",
	"bar 1 beat 1, right hand: forms set class 3-9",
	"bar 3 beat 3: contains the chromatic cluster G# A A#",
	"bar 1 beat 3: D#5 resolves to E5 at bar 1 beat 4",
	"bar 3 beat 1: added sixth F# replaces the fifth",
	"bar 12 beat 1: in first inversion",
	"bars 7-8, bass: moves by the circle of fifths",
	"bars 7-8, top line: rises chromatically",
	"bars 5-6, top line: splits into two chromatic lines",
	"bars 7-8: outer intervals repeat every 3 chords: P5 m3 M7",
	"bars 13-14: every chord is a seventh chord",
	"bars 15-17: qualities repeat every 3 chords: dominant seventh, minor seventh, major seventh",
	"bar 7 beat 1: the third is missing",
	"bar 11 beat 1: E# sounds as the third of Db7",
	"bar 18: melody and bass in contrary motion",
	"bars 15-16: gets louder",
	"bars 19-20: pedal on C",
	"bar 22, right hand: is bar 21 moved down a step",
	"bar 23, right hand: repeats bar 21 an octave higher",
	"bar 24, right hand: has the rhythm of bar 22",
	"bar 2 beat 1: is an F# minor seventh chord",
	"bar 2 beat 3: is Dmaj7",
	"bars 26-27, inner lines: falls chromatically",
}

func claims(t testing.TB, lines []string) []claim.Claim {
	t.Helper()
	var all []claim.Claim
	for i, line := range lines {
		c := parse(t, line)
		c.Line = i + 1
		all = append(all, c)
	}
	return all
}

// noTwin says of which forms no example has a twin, and a word of the reason.
var noTwin = map[string]string{"keys": "keyboard"}

// What a twin must be, for every form: the claim is false of it, and what could tell the ear otherwise is as it was.
func TestTwins(t *testing.T) {
	p := read(t, desk)
	before := fingerprint(p)
	all := claims(t, examples)
	for _, c := range all {
		name := c.PlaceText + ": " + c.Statement
		s, err := ear.Find(p, c, all)
		var no *ear.NoTwinError
		if errors.As(err, &no) {
			if want, ok := noTwin[c.Form().ID]; !ok || !strings.Contains(no.Why, want) {
				t.Errorf("%s: no twin: %s", name, no.Why)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if want, ok := noTwin[c.Form().ID]; ok {
			t.Errorf("%s: has twins; want none (%s)", name, want)
		}
		if len(s.Pairs) < 1 || len(s.Pairs) > 3 {
			t.Errorf("%s: %d pairs", name, len(s.Pairs))
		}
		for _, q := range s.Pairs {
			var shift [2]float64
			for i, w := range q {
				res, err := claim.NewChecker(w.Passage).Check(c)
				if err != nil || res.Verdict != claim.Fails {
					t.Errorf("%s; %s: %v, %v; want fails", name, w.Change, res.Verdict, err)
				}
				if w.Change == "" {
					t.Errorf("%s: a change without words", name)
				}
				a, b := p.Sounding(), w.Passage.Sounding()
				if len(a) != len(b) || p.End() != w.Passage.End() {
					t.Errorf("%s; %s: %d notes to %v; want %d to %v", name, w.Change, len(b), w.Passage.End(), len(a), p.End())
				}
				if lastEnd(a, s.Places) != lastEnd(b, s.Places) || firstOnset(a, s.Places) != firstOnset(b, s.Places) {
					t.Errorf("%s; %s: it doesn't begin and end as the original does", name, w.Change)
				}
				loud := c.Form().ID == "louder"
				if same := slices.Equal(p.Dynamics, w.Passage.Dynamics); same == loud {
					t.Errorf("%s; %s: dynamics the same is %v", name, w.Change, same)
				}
				for j := range b {
					shift[i] += float64(b[j].Pitch.MIDI() - a[j].Pitch.MIDI())
				}
				for _, o := range all { // Also tells the truth
					x, _ := claim.NewChecker(p).Check(o)
					y, _ := claim.NewChecker(w.Passage).Check(o)
					if o.Line != c.Line && overlaps(x.Region, s.Places) && (x.Verdict != y.Verdict) != slices.Contains(w.Also, o.Line) {
						t.Errorf("%s; %s: claim %d was %s and is %s; told are %v", name, w.Change, o.Line, x.Verdict, y.Verdict, w.Also)
					}
				}
			}
			if c.Form().ID != "relation" && c.Form().ID != "louder" && shift[0]*shift[1] >= 0 && (shift[0] != 0 || shift[1] != 0) {
				t.Errorf("%s: both twins lie on one side: %v (%s; %s)", name, shift, q[0].Change, q[1].Change)
			}
		}
	}
	if fingerprint(p) != before {
		t.Error("the passage itself was changed")
	}
}

func overlaps(r score.Region, places []score.Region) bool {
	return slices.ContainsFunc(places, func(q score.Region) bool { return q.From.Less(r.To) && r.From.Less(q.To) })
}

func fingerprint(p *score.Passage) string { return fmt.Sprint(p.Notes, p.Dynamics, p.Keys) }

func firstOnset(notes []score.Note, places []score.Region) score.Time {
	first := places[0].To
	for _, n := range notes {
		if overlaps(score.Region{From: n.Onset, To: n.End()}, places) {
			first = first.Min(n.Onset)
		}
	}
	return first
}

func lastEnd(notes []score.Note, places []score.Region) (last score.Time) {
	for _, n := range notes {
		if overlaps(score.Region{From: n.Onset, To: n.End()}, places) {
			last = last.Max(n.End())
		}
	}
	return last
}

// What a musician would do to make these claims false, by hand: one of the pairs does it (common practice, no source).
func TestTwinsAreMusical(t *testing.T) {
	p := read(t, desk)
	for line, want := range map[string]string{
		"bar 1 beat 1, left hand: stacked in fifths":                "left hand E3 at bar 1 beat 1 becomes",                               // the stack restacked over the same bass and top
		"bar 3 beat 1: added sixth F# replaces the fifth":           "left hand F#3 at bar 3 beat 1 becomes E3",                           // the sixth put back to the fifth
		"bar 1 beat 3: D#5 resolves to E5 at bar 1 beat 4":          "right hand E5 at bar 1 beat 4 becomes D#5",                          // the resolution withheld
		"bar 3 beat 3: contains the chromatic cluster G# A A#":      "right hand G#4 at bar 3 beat 3 becomes G4",                          // a whole tone for a semitone
		"bars 7-8, top line: rises chromatically":                   "right hand F5 at bar 7 beat 2 becomes F#5",                          // again
		"bar 2 beat 1: is an F# minor seventh chord":                "right hand A3 at bar 2 beat 1 becomes A#3",                          // the quality changed by an inner note
		"bar 4 beat 3: bass is E":                                   "E2 at bar 4 beat 3 becomes B2 and left hand B2 at bar 4 beat 3",     // the same chord over another bass
		"bars 15-16: gets louder":                                   "the loudness stays as it is",                                        // the crescendo flattened
		"bar 24, right hand: has the rhythm of bar 22":              "right hand: what begins at bar 24 beat 2 1/2 begins at bar 24 beat", // the figure altered
		"bars 7-8: outer intervals repeat every 3 chords: P5 m3 M7": "right hand F5 at bar 7 beat 2 becomes",                              // the sequence broken at one place
	} {
		s, err := ear.Find(p, parse(t, line), nil)
		if err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		var all []string
		for _, q := range s.Pairs {
			all = append(all, q[0].Change, q[1].Change)
		}
		if !slices.ContainsFunc(all, func(s string) bool { return strings.HasPrefix(s, want) || strings.Contains(s, want) }) {
			t.Errorf("%s: twins\n\t%s\nwant %s", line, strings.Join(all, "\n\t"), want)
		}
	}
}

func TestWhyNot(t *testing.T) {
	p := read(t, desk)
	for line, want := range map[string]string{
		"bar 1 beat 1, left hand: stacked in fourths": "the claim fails",
		"bar 1 beat 1: uses only white keys":          "where the notes lie on the keyboard",
		"bars 1-27, bass: bass is A":                  "name a shorter place",
		"bar 24, right hand: repeats bar 99":          "",
	} {
		_, err := ear.Find(p, parse(t, line), nil)
		var no *ear.NoTwinError
		if err == nil || want != "" && (!errors.As(err, &no) || !strings.Contains(no.Why, want)) {
			t.Errorf("Find(%q): %v; want %q", line, err, want)
		}
	}
}

// The same seed gives the same questions; and nothing about them tells the answer.
func TestTrials(t *testing.T) {
	p := read(t, desk)
	s, err := ear.Find(p, parse(t, "bar 2 beat 1: is an F# minor seventh chord"), nil)
	if err != nil {
		t.Fatal(err)
	}
	const n = 4000
	for _, task := range []ear.Task{ear.WhichOfTwo, ear.YesOrNo} {
		expected, moved, twins := map[string]int{}, map[int]int{}, map[string]int{}
		for i := 1; i <= n; i++ {
			a, b := s.Trial(7, i, task), s.Trial(7, i, task)
			if a.Expected != b.Expected || a.Transpose != b.Transpose || a.Twin.Change != b.Twin.Change || len(a.Play) != len(b.Play) || a.Play[0] != b.Play[0] {
				t.Fatalf("trial %d is not the same twice", i)
			}
			if !slices.Contains(task.Choices(), a.Expected) {
				t.Fatalf("expected %q", a.Expected)
			}
			truth := a.Expected == "first" || a.Expected == "yes"
			if a.Play[0].True != truth || len(a.Play) == 2 && a.Play[1].True == truth || len(a.Play) != 2-int(task) {
				t.Fatalf("trial %d: expected %q of %+v", i, a.Expected, a.Play)
			}
			for _, pl := range a.Play {
				if (pl.Passage == p) != pl.True || pl.Touch < .85 || pl.Touch > 1.15 {
					t.Fatalf("trial %d plays %v", i, pl)
				}
			}
			expected[a.Expected]++
			moved[a.Transpose]++
			twins[a.Twin.Change]++
		}
		// Four standard deviations of a fair coin, which is 63.
		if d := expected[task.Choices()[0]] - n/2; d < -127 || d > 127 {
			t.Errorf("%v: %v of %d", task, expected, n)
		}
		if len(moved) != 12 {
			t.Errorf("%v: moved by %v; want 12 ways", task, moved)
		}
		for k, c := range moved {
			if k < -6 || k > 5 || c < n/12-80 || c > n/12+80 {
				t.Errorf("%v: moved by %d semitones %d times", task, k, c)
			}
		}
		if len(twins) != 2*len(s.Pairs) {
			t.Errorf("%v: twins %v", task, twins)
		}
	}
	if got := ear.Task(7).String(); got != "%!Task(7)" {
		t.Errorf("Task(7) prints as %q", got)
	}
}

func TestNamesInStatements(t *testing.T) {
	p := read(t, desk)
	for line, want := range map[string]string{
		"bar 4 beat 3: bass is E":                              "[E4]",
		"bar 4 beat 3: bass is E2":                             "[E2]",
		"bar 12 beat 1: is Am/C":                               "[A4 C4]",
		"bar 10: is C6":                                        "[C4]",
		"bar 1 beat 3: D#5 resolves to E5 at bar 1 beat 4":     "[D#5 E5]",
		"bar 3 beat 3: contains the chromatic cluster G# A A#": "[G#4 A4 A#4]",
		"bar 2 beat 1: is an F# minor seventh chord":           "[F#4]",
		"bar 2 beat 1: is F#m7":                                "[F#4]",
		"bar 11 beat 1: E# sounds as the third of Db7":         "[E#4 Db4]",
		"bar 1 beat 1, left hand: stacked in fifths":           "[]",
		"bars 13-14: every chord is a seventh chord":           "[]",
	} {
		s, err := ear.Find(p, parse(t, line), nil)
		if err != nil {
			t.Errorf("%s: %v", line, err)
		} else if got := fmt.Sprint(s.Named); got != want || s.Tonic != nil {
			t.Errorf("%s: named %s, tonic %v; want %s", line, got, s.Tonic, want)
		}
	}
}

func TestPlacesInStatements(t *testing.T) {
	for s, want := range map[string]string{
		"is bar 1 moved down a step":             "bar 1",
		"B#5 resolves to C#6 at bar 1 beat 3":    "bar 1 beat 3",
		"has the rhythm of bars 3-4, left hand.": "bars 3-4, left hand",
		"is louder than bar 2 and than bar 7":    "bar 2|bar 7",
		"stacked in fifths":                      "",
	} {
		var got []string
		for _, pl := range ear.PlacesIn(s) {
			got = append(got, pl.Text)
		}
		if strings.Join(got, "|") != want {
			t.Errorf("PlacesIn(%q) = %q; want %q", s, got, want)
		}
	}
}

func BenchmarkFind(b *testing.B) {
	p := read(b, desk)
	c := parse(b, "bars 15-17: qualities repeat every 3 chords: dominant seventh, minor seventh, major seventh")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ear.Find(p, c, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// A claim is the same in another layout of the same music, and another if what sounds there changes, or its words.
func TestKey(t *testing.T) {
	key := func(passage, line string) string {
		t.Helper()
		k, err := ear.Key(read(t, passage), parse(t, line))
		if err != nil || len(k) != 32 {
			t.Fatalf("Key(%q) = %q, %v", line, k, err)
		}
		return k
	}
	const line = "bar 2 beat 1: is an F# minor seventh chord"
	want := key(desk, line)
	if got := key(strings.Replace(desk, "title: A desk", "title: Another", 1), "Bar 2  beat 1:  is an F#  minor seventh chord. -- a remark"); got != want {
		t.Errorf("with another title and more space the key is %s; want %s", got, want)
	}
	if got := key(strings.Replace(desk, "q C5 D5 E5 F5", "q C5 D5 E5 G5", 1), line); got != want {
		t.Errorf("a change elsewhere gives %s; want %s", got, want)
	}
	for name, got := range map[string]string{
		"a note":        key(strings.Replace(desk, "F#3+A3+C#4+E4", "F#3+A3+C4+E4", 1), line),
		"the statement": key(desk, "bar 2 beat 1: is F#m7"),
		"the place":     key(desk, "bar 2: is an F# minor seventh chord"),
	} {
		if got == want {
			t.Errorf("%s changed, and the key is the same", name)
		}
	}
	if key(desk, "bar 2: is CM7") == key(desk, "bar 2: is Cm7") {
		t.Error("CM7 and Cm7 have one key")
	}
	if _, err := ear.Key(read(t, desk), parse(t, "bar 99: is Cm7")); err == nil {
		t.Error("bar 99 has a key")
	}
}
