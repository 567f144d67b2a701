package chord

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
)

func realized(t *testing.T, spec string) Sequence {
	t.Helper()
	p, err := ParsePattern(spec)
	if err != nil {
		t.Fatal(err)
	}
	seq, err := RealizePattern(p)
	if err != nil {
		t.Fatal(err)
	}
	return seq
}

func outer(v Voicing) (bass, top pitch.Pitch) {
	all := v.All()
	return all[0], all[len(all)-1]
}

// The pattern of the claims language: bass by the circle of fifths, melody rising chromatically, outer intervals P5 m3 M7 and
// dominant, minor and major seventh in turn. The intervals follow from the two lines: A-E, D-F, G-F#, C-G ...
func TestPatternOuterIntervals(t *testing.T) {
	seq := realized(t, "circle of fifths from A2, melody up by semitone from E5, sevenths, 6 chords")
	if want := "six chords: A7 Dm7 Gmaj7 C7 Fm7 Bbmaj7"; seq.Text != want {
		t.Errorf("%q, want %q", seq.Text, want)
	}
	for i, v := range seq.Chords {
		bass, top := outer(v)
		if got, want := top.Sub(bass).Simple().String(), []string{"P5", "m3", "M7"}[i%3]; got != want {
			t.Errorf("chord %d: %v to %v is %s, want %s", i+1, bass, top, got, want)
		}
		if top.MIDI() != 76+i {
			t.Errorf("chord %d: melody %v", i+1, top)
		}
		if r := NameHands(v.Left, v.Right)[0]; r.Label != v.Text {
			t.Errorf("chord %d: %s is named %s, want %s", i+1, spell(v.All()), r.Label, v.Text)
		}
	}
}

// Roots by the tables: Hutchinson 9.1 and Butterfield 17 (descending fifths), Kothman (chain of dominants), Wikipedia, Sequence
// (up a fourth, down a third), by way of reference/sequences.tsv.
func TestPatternChords(t *testing.T) {
	for _, c := range []struct{ spec, want string }{
		{"circle of fifths from C3 in C major, 8 chords", "C F Bdim Em Am Dm G C"},
		{"circle of fifths from C3, sevenths, in C major", "Cmaj7 Fmaj7 Bm7(b5) Em7 Am7 Dm7 G7 Cmaj7"},
		{"circle of fifths from A2 in A minor, sevenths", "Am7 Dm7 G7 Cmaj7 Fmaj7 Bm7(b5) E7 Am7"},
		{"circle of fifths from E3, dominant sevenths, 5 chords", "E7 A7 D7 G7 C7"},
		{"circle of fifths from G2, triads, 7 chords", "G C F Bb Eb Ab Db"},
		{"bass down a fourth then up a second from C3, in C major, 6 chords", "C G Am Em F C"},
		{"bass up a fourth then down a third from C3, in C major, 6 chords", "C F Dm G Em Am"},
		{"bass down by step from C4, triads in first inversion, in C major, 4 chords", "Am/C G/B F/A Em/G"},
		{"ascending circle of fifths from C3, in C major, 5 chords", "C G Dm Am Em"},
		{"bass up a major third from C3, 4 chords", "C E Ab C"},
		{"bass down by semitone from C3, minor sevenths, dominant sevenths, 4 chords", "Cm7 B7 Bbm7 A7"},
		{"circle of fifths from D3, minor ninths, dominant ninths, 4 chords", "Dm9 G9 Cm9 F9"},
		{"circle of fifths from A2, melody held on E5, 2 chords", ""},
	} {
		p, err := ParsePattern(c.spec)
		if err != nil {
			t.Errorf("%s: %v", c.spec, err)
			continue
		}
		seq, err := RealizePattern(p)
		if c.want == "" {
			if err == nil || !strings.Contains(err.Error(), "chord 2 of 2: the melody note E5 is no member of a triad over D") {
				t.Errorf("%s: %v, %v", c.spec, seq, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.spec, err)
			continue
		}
		var labels []string
		for _, v := range seq.Chords {
			labels = append(labels, v.Text)
		}
		if got := strings.Join(labels, " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.spec, got, c.want)
		}
	}
}

// What good part-writing asks for, on all the patterns at once: every chord is what its label says, the hands reach it, lower
// notes lie below, no fifths or octaves in parallel among the voices that are free, small steps.
func TestPatternVoices(t *testing.T) {
	for _, key := range []string{"C major", "A minor", "Eb major", "F# minor", ""} {
		for _, bass := range []string{"circle of fifths from %s3", "bass down by step from %s4", "bass up a fourth then down a third from %s3"} {
			for _, plan := range []string{"triads", "sevenths", "sevenths, a ninth a hand"} {
				tonic, _, _ := strings.Cut(key, " ")
				spec := fmt.Sprintf(bass, tonic) + ", " + plan + ", in " + key
				if key == "" {
					if !strings.Contains(bass, "circle") {
						continue
					}
					spec = fmt.Sprintf(bass, "C") + ", " + plan
				}
				p, err := ParsePattern(spec)
				if err != nil {
					t.Fatal(err)
				}
				seq, err := RealizePattern(p)
				if err != nil {
					t.Errorf("%v", err)
					continue
				}
				moved, parallels := 0, 0
				for i, v := range seq.Chords {
					sym, err := ParseLabel(v.Text)
					if err != nil {
						t.Fatal(err)
					}
					if m := Agrees(sym, v.All()); !m.Holds() && (sym.Type.Family == "seventh" || len(m.Foreign)+len(m.Enharmonic)+len(m.Missing) > 0) {
						t.Errorf("%s: chord %d, %s, is %s: %+v", spec, i+1, v.Text, spell(v.All()), m)
					}
					for _, h := range [][]pitch.Pitch{v.Left, v.Right} {
						if len(h) > 1 && h[len(h)-1].MIDI()-h[0].MIDI() > p.Reach || len(h) == 0 {
							t.Errorf("%s: chord %d: hand %s", spec, i+1, spell(h))
						}
					}
					if i == 0 {
						continue
					}
					a, b := append(append([]pitch.Pitch{}, seq.Chords[i-1].Left...), seq.Chords[i-1].Right...), append(append([]pitch.Pitch{}, v.Left...), v.Right...)
					if len(a) != 4 || len(b) != 4 {
						t.Errorf("%s: %d voices", spec, len(b))
						continue
					}
					for x := range 4 {
						moved += abs(b[x].MIDI() - a[x].MIDI())
						for y := x + 1; y < 4; y++ {
							g, g2 := a[y].MIDI()-a[x].MIDI(), b[y].MIDI()-b[x].MIDI()
							if (g%12 == 7 || g%12 == 0) && g%12 == g2%12 && a[x] != b[x] && (b[x].MIDI()-a[x].MIDI())*(b[y].MIDI()-a[y].MIDI()) > 0 {
								parallels++
							}
						}
					}
				}
				if parallels > 0 {
					t.Errorf("%s: %d parallels: %v", spec, parallels, seq.Chords)
				}
				if upper := float64(moved) / float64(4*(len(seq.Chords)-1)); upper > 4 {
					t.Errorf("%s: a voice moves %.1f semitones on average", spec, upper)
				}
			}
		}
	}
}

// In descending fifths of seventh chords every seventh falls a step or stays to be the third's neighbour (Butterfield 17,
// sequences.tsv desc5-sevenths): each seventh leads to a note at most a whole tone lower.
func TestSeventhsFall(t *testing.T) {
	seq := realized(t, "circle of fifths from C3 in C major, sevenths, 8 chords")
	for i := 1; i < len(seq.Chords); i++ {
		sym, _ := ParseLabel(seq.Chords[i-1].Text)
		seventh := sym.Spell()[3]
		a, b := append(seq.Chords[i-1].Left, seq.Chords[i-1].Right...), append(seq.Chords[i].Left, seq.Chords[i].Right...)
		for k, p := range a {
			if p.Class() == seventh {
				if d := b[k].Step() - p.Step(); d != -1 {
					t.Errorf("chord %d, %s: the seventh %v goes to %v", i, sym.House(), p, b[k])
				}
			}
		}
	}
}

func TestPatternErrors(t *testing.T) {
	for _, c := range []struct {
		spec   string
		offset int
		why    string
	}{
		{"", 0, "empty"},
		{"6 chords", 8, "bass is missing"},
		{"circle of fifths, 6 chords", 16, "first note of the bass"},
		{"circle of fifths from H2", 22, "pitch"},
		{"circle of fifths from A2, bananas", 26, "understood neither"},
		{"circle of fifths from A2, 1 chord", 26, "from 2 to 64"},
		{"circle of fifths from A2, 999 chords", 26, "from 2 to 64"},
		{"circle of fifths from A2, 6 chords, 7 chords", 36, "twice"},
		{"circle of fifths from A2, bass up by semitone from C3", 26, "twice"},
		{"circle of fifths from A2, melody from E5", 33, "up"},
		{"circle of fifths from A2, melody up by semitone", 47, "first note"},
		{"bass up a third from C3", 10, "open which third"},
		{"bass up a minor fifth from C3", 10, "no minor fifth"},
		{"bass up a perfect third from C3", 10, "no perfect third"},
		{"circle of fifths from A2, triads in third inversion", 26, "no third inversion"},
		{"circle of fifths from A2 in A minor, in C major", 37, "key is given twice"},
		{"circle of fifths from A2 please", 25, "left over"},
		{strings.Repeat("x", 300), 0, "bytes long"},
	} {
		_, err := ParsePattern(c.spec)
		var se *SpecError
		if !errors.As(err, &se) || se.Offset != c.offset || !strings.Contains(se.Why, c.why) {
			t.Errorf("ParsePattern(%q): %v; want offset %d, %q", c.spec, err, c.offset, c.why)
		}
	}
	for _, c := range []struct{ spec, why string }{
		{"bass down by semitone from C1, 30 chords", "off the keyboard"},
		{"bass up a fifth from C4, melody held on G4, 4 chords", "not above the bass"},
		{"circle of fifths from A2, melody up by semitone from E5, dominant sevenths, 6 chords", "no member of D7"},
		{"bass up by semitone from C1, melody held on C8, a fifth a hand, 3 chords, triads in first inversion", "chord"},
	} {
		p, err := ParsePattern(c.spec)
		if err != nil {
			t.Errorf("%s: %v", c.spec, err)
			continue
		}
		if _, err := RealizePattern(p); err == nil || !strings.Contains(err.Error(), c.why) || !strings.HasPrefix(err.Error(), "chord: pattern ") {
			t.Errorf("%s: %v; want %q", c.spec, err, c.why)
		}
	}
	if _, err := RealizePattern(Pattern{}); err == nil {
		t.Error("an empty pattern is realized")
	}
}

func FuzzPattern(f *testing.F) {
	seeds := []string{"circle of fifths from A2, melody up by semitone from E5, sevenths, 6 chords", "bass down a fourth then up a second from C3, in C major",
		"circle of fifths from A2 in A minor, ninths, a ninth a hand", "bass down by step from C4, triads in first inversion, in C major, melody down by step from A5"}
	if len(seeds) != 4 {
		f.Fatal("seeds are missing")
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePattern(s)
		if err != nil {
			var se *SpecError
			if !errors.As(err, &se) || se.Offset < 0 || se.Offset > len(s) {
				t.Fatalf("ParsePattern(%q): %v", s, err)
			}
			return
		}
		seq, err := RealizePattern(p)
		if err == nil && len(seq.Chords) != p.Number {
			t.Fatalf("%q: %d chords, want %d", s, len(seq.Chords), p.Number)
		}
		for _, v := range seq.Chords {
			if len(v.Left) == 0 || len(v.Right) == 0 || len(NameHands(v.Left, v.Right)) == 0 {
				t.Fatalf("%q: %v", s, v)
			}
		}
	})
}

func BenchmarkRealizePattern(b *testing.B) {
	p, err := ParsePattern("circle of fifths from A2, melody up by semitone from E5, sevenths, 6 chords")
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := RealizePattern(p); err != nil {
			b.Fatal(err)
		}
	}
}

func TestRealizeChords(t *testing.T) {
	var syms []Symbol
	for _, l := range []string{"Eb", "Cm", "Fm7/Ab", "Bb7", "Eb"} {
		s, err := ParseLabel(l)
		if err != nil {
			t.Fatal(err)
		}
		syms = append(syms, s)
	}
	seq, err := RealizeChords(syms)
	if err != nil {
		t.Fatal(err)
	}
	var before []pitch.Pitch
	for i, v := range seq.Chords {
		all := v.All()
		// Among the readings: Fm7 over Ab is Ab6 first to us.
		if !slices.ContainsFunc(Name(all), func(r Reading) bool { return r.Label == syms[i].House() }) {
			t.Errorf("chord %d: %v doesn't read as %s", i+1, all, syms[i].House())
		}
		if bass := all[0]; bass.MIDI() < 40 || bass.MIDI() > 62 {
			t.Errorf("chord %d: the bass %s lies outside E2 to D4", i+1, bass)
		}
		for _, h := range [][]pitch.Pitch{v.Left, v.Right} {
			if len(h) > 0 && h[len(h)-1].MIDI()-h[0].MIDI() > 16 {
				t.Errorf("chord %d: a hand spans more than a tenth: %v", i+1, h)
			}
		}
		if before != nil && all[len(all)-1].Sub(before[len(before)-1]).Abs().Semitones > 7 {
			t.Errorf("chord %d: the top leaps from %s to %s", i+1, before[len(before)-1], all[len(all)-1])
		}
		before = all
	}
	if _, err := RealizeChords(syms[:1]); err == nil {
		t.Error("a row of one chord is realized")
	}
}

// What the handbooks ask of part-writing: leading tones rise, sevenths fall, augmented sixths open to the octave, and none of
// these notes is doubled; the augmented sixth by Butterfield 18a, the rest common practice, no source.
func TestPartWriting(t *testing.T) {
	type way struct{ from, to string }
	for _, c := range []struct {
		labels  string
		chord   int    // from 0
		doubled string // the one name that stands twice
		ways    []way  // how voices go on from there
		topTo   string // the top note of the next chord, "" if free
	}{
		{"It+6 on Ab; Cm/G; G7; Cm", 0, "C", []way{{"F#4", "G4"}, {"Ab3", "G3"}}, ""},
		{"It+6 on Ab; Cm/G; G7; Cm", 1, "G", nil, "B4"},
		{"It+6 on Ab; G", 0, "C", []way{{"F#4", "G4"}}, ""},
		{"Ger+6 on Ab; G", 0, "", []way{{"F#4", "G4"}, {"Eb4", "D4"}, {"C5", "B4"}}, ""},
		{"G7; Am", 0, "", []way{{"F4", "E4"}, {"B4", "C5"}}, "C5"},
		{"G7; Am", 1, "C", nil, ""},
		{"G7; C", 0, "G", []way{{"F4", "E4"}, {"B4", "C5"}}, "C5"},
		{"G; Am", 0, "G", nil, "C5"},
		{"Db/F; G; Cm", 0, "F", nil, ""},
		{"Db/F; Cm/G; G7; Cm", 0, "F", nil, ""},
		{"Bdim/D; C", 0, "D", []way{{"B4", "C5"}}, ""},
	} {
		var syms []Symbol
		for _, l := range strings.Split(c.labels, "; ") {
			s, err := ParseLabel(l)
			if err != nil {
				t.Fatal(err)
			}
			syms = append(syms, s)
		}
		seq, err := RealizeChords(syms)
		if err != nil {
			t.Fatal(err)
		}
		all := seq.Chords[c.chord].All()
		var twice []string
		for i, p := range all {
			if slices.ContainsFunc(all[:i], func(q pitch.Pitch) bool { return q.Class() == p.Class() }) {
				twice = append(twice, p.Class().String())
			}
		}
		if got := strings.Join(twice, " "); got != c.doubled {
			t.Errorf("%s, chord %d: %v doubles %q, want %q", c.labels, c.chord+1, all, got, c.doubled)
		}
		if c.chord+1 == len(seq.Chords) {
			continue
		}
		next := seq.Chords[c.chord+1].All()
		if len(next) != len(all) {
			t.Errorf("%s: %v to %v changes the number of voices", c.labels, all, next)
			continue
		}
		for _, w := range c.ways {
			at := slices.IndexFunc(all, func(p pitch.Pitch) bool { return p.String() == w.from })
			if at < 0 || next[at].String() != w.to {
				t.Errorf("%s: %v to %v, want %s to %s", c.labels, all, next, w.from, w.to)
			}
		}
		if got := next[len(next)-1].String(); c.topTo != "" && got != c.topTo {
			t.Errorf("%s: %v to %v, want %s on top", c.labels, all, next, c.topTo)
		}
		for i := range next {
			if iv := next[i].Sub(all[i]).Abs(); iv.Quality() == pitch.Augmented && iv.Steps > 0 {
				t.Errorf("%s: %s to %s is %s", c.labels, all[i], next[i], iv.Words())
			}
		}
	}
}
