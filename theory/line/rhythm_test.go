package line

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// pulses makes a rhythm of a bar of 4/4 in sixteenths.
func pulses(at ...int) Rhythm {
	r := Rhythm{Length: score.Quarters(4), Meter: score.Meter{Beats: 4, Unit: 4}}
	for _, k := range at {
		r.Onsets = append(r.Onsets, score.T(int64(k), 4))
		r.Long = append(r.Long, score.T(1, 4))
	}
	return r
}

// Six timelines of five strokes in sixteen pulses, as printed in G. T. Toussaint, "A mathematical analysis of African,
// Brazilian and Cuban clave rhythms" (Bridges 2002); the onsets but for the son's are from memory.
var timelines = map[string]Rhythm{
	"son": pulses(0, 3, 6, 10, 12), "rumba": pulses(0, 3, 7, 10, 12), "bossa nova": pulses(0, 3, 6, 10, 13),
	"gahu": pulses(0, 3, 6, 10, 14), "shiko": pulses(0, 4, 6, 10, 12), "soukous": pulses(0, 3, 6, 10, 11),
}

func TestSwapDistance(t *testing.T) {
	for _, c := range []struct {
		a, b Rhythm
		want int
	}{
		{timelines["son"], timelines["son"], 0},
		{timelines["son"], timelines["rumba"], 1},
		{timelines["son"], timelines["gahu"], 2},
		{timelines["rumba"], timelines["soukous"], 2},
		{timelines["shiko"], timelines["gahu"], 3},
		{pulses(0, 4, 8, 12), pulses(0, 8), 2},           // in quarters: beat 2 goes to 1 or 3, beat 4 to 3
		{pulses(0), pulses(4, 8, 12), 6},                 // in quarters: 1 + 2 + 3
		{pulses(), pulses(), 0},                          // nothing and nothing
		{pulses(0, 8), pulses(), -1},                     // nowhere to go
		{pulses(0, 1, 2, 3), pulses(12, 13, 14, 15), 48}, // every onset twelve pulses
	} {
		if got, back := SwapDistance(c.a, c.b), SwapDistance(c.b, c.a); got != c.want || back != c.want {
			t.Errorf("SwapDistance(%v, %v) = %d, back %d; want %d", c.a, c.b, got, back, c.want)
		}
	}
	// The paper finds the son most like all the others.
	sum := map[string]int{}
	for a, x := range timelines {
		for _, y := range timelines {
			sum[a] += SwapDistance(x, y)
		}
	}
	for a, n := range sum {
		if a != "son" && n <= sum["son"] {
			t.Errorf("the sum of swap distances of %s is %d, of the son %d; want the son's the least", a, n, sum["son"])
		}
	}
}

// The dynamic program is held against trying every assignment.
func TestSwapDistanceIsLeast(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	for range 500 {
		draw := func(n int) []int {
			p := rng.Perm(15)[:n]
			slices.Sort(p)
			p[len(p)-1] = 15 // keeps the grid at sixteenths
			return slices.Compact(p)
		}
		x, y := draw(3+rng.IntN(4)), draw(1+rng.IntN(3))
		if len(x) < len(y) {
			continue
		}
		least := 1 << 30
		n := 1
		for range x {
			n *= len(y)
		}
		for code := range n {
			got, sum, k := make([]bool, len(y)), 0, code
			for _, a := range x {
				got[k%len(y)] = true
				sum += max(a-y[k%len(y)], y[k%len(y)]-a)
				k /= len(y)
			}
			if !slices.Contains(got, false) {
				least = min(least, sum)
			}
		}
		if d := SwapDistance(pulses(x...), pulses(y...)); d != least {
			t.Fatalf("SwapDistance(%v, %v) = %d; the least is %d", x, y, d, least)
		}
	}
}

func TestRhythmLikeness(t *testing.T) {
	son := timelines["son"]
	if x := RhythmLikeness(son, son); x != 1 {
		t.Errorf("a rhythm and itself: %v", x)
	}
	near, far := RhythmLikeness(son, timelines["rumba"]), RhythmLikeness(pulses(0, 1, 2, 3), pulses(12, 13, 14, 15))
	if near < 0.9 || near >= 1 || far > 0.1 {
		t.Errorf("near %v, far %v", near, far)
	}
	if w := son.Words(son, "bar 1"); w != "has the rhythm of bar 1" {
		t.Errorf("Words: %q", w)
	}
	if w := son.Words(timelines["rumba"], "bar 1"); w != "has nearly the same rhythm beside bar 1 (likeness 0.95)" {
		t.Errorf("Words: %q", w)
	}
}

// Weights by the tree of a meter, as Longuet-Higgins & Lee (1984) define them: 0 for the whole bar, 1 less each level down.
func TestMetricWeight(t *testing.T) {
	for _, c := range []struct {
		beats, unit int
		groups      []int
		want        []int // eighth by eighth
	}{
		{4, 4, nil, []int{0, -3, -2, -3, -1, -3, -2, -3}},
		{3, 4, nil, []int{0, -2, -1, -2, -1, -2}},
		{2, 4, nil, []int{0, -2, -1, -2}},
		{6, 8, nil, []int{0, -2, -2, -1, -2, -2}},
		{12, 8, nil, []int{0, -3, -3, -2, -3, -3, -1, -3, -3, -2, -3, -3}},
		{5, 8, []int{3, 2}, []int{0, -2, -2, -1, -2}},
	} {
		m := score.Meter{Beats: c.beats, Unit: c.unit, Groups: c.groups}
		for i, want := range c.want {
			if got := MetricWeight(m, score.T(int64(i), 2)); got != want {
				t.Errorf("MetricWeight(%v, eighth %d) = %d; want %d", m, i+1, got, want)
			}
		}
	}
	four := score.Meter{Beats: 4, Unit: 4}
	if w, s := MetricWeight(four, score.T(1, 3)), MetricWeight(four, score.T(1, 4)); w >= s {
		t.Errorf("a triplet eighth weighs %d, a sixteenth %d; want less", w, s)
	}
}

func TestSyncopations(t *testing.T) {
	for _, c := range []struct {
		r    Rhythm
		want int
	}{
		{pulses(0, 4, 8, 12), 0},
		{pulses(0, 2, 4, 6, 8, 10, 12, 14), 0},
		{pulses(0, 2, 6, 10, 14), 4}, // off the beat over beats 2, 3 and 4 as well as the end, which is struck: 1 + 2 + 1
		{pulses(0, 4, 12), 1},        // beat 2 over the half bar
		{timelines["son"], 4},        // 3 over beat 2 by 2; 6 over the half bar by 2; 10 to beat 4 is struck
		{pulses(0, 8), 0},
		{pulses(0, 14), 0}, // into the next downbeat
	} {
		if got := c.r.Syncopation(); got != c.want {
			t.Errorf("Syncopation(%v) = %d (%v); want %d", c.r, got, c.r.Syncopations(true), c.want)
		}
	}
	// An offbeat eighth held over the bar line: three levels below the downbeat.
	if s := pulses(0, 14).Syncopations(false); len(s) != 1 || s[0].Strength != 3 || s[0].Over != score.Quarters(4) {
		t.Errorf("over the bar line: %+v", s)
	}
}

func TestBarRhythmsAndGrowth(t *testing.T) {
	p := &score.Passage{}
	m := score.Meter{Beats: 4, Unit: 4}
	for i, bar := range [][]int{{0, 4, 8, 12}, {0, 2, 4, 8, 12}, {0, 4, 8, 12}, {0, 2, 4, 6, 8, 10, 12, 14}} {
		p.Bars = append(p.Bars, score.Bar{Number: string(rune('1' + i)), Start: score.Quarters(4 * i), Length: m.Length(), Meter: m})
		for _, k := range bar {
			for v := range i + 1 {
				p.Notes = append(p.Notes, score.Note{Pitch: pitch.Pitch{Letter: pitch.Letter(v), Octave: 4}, Onset: score.Quarters(4 * i).Add(score.T(int64(k), 4)),
					Duration: score.T(1, 4), Hand: score.Right, Voice: 1, Bar: i})
			}
		}
	}
	p.Sort()
	got := BarRhythms(p.Sounding(), whole(p), p)
	if len(got) != 4 || got[2].First != 0 || got[1].First != 1 || got[1].Near != 0 || got[1].Like < 0.8 {
		t.Errorf("BarRhythms = %+v", got)
	}
	if first, n := Figure(got); first != 0 || n != 2 {
		t.Errorf("Figure = %d, %d; want 0, 2", first, n)
	}
	if g := GrowthOf(p.Sounding(), whole(p), p); g.Direction != 1 || g.First != 1 || g.Last != 8 {
		t.Errorf("GrowthOf = %+v; want growing from 1 to 8 notes a beat", g)
	}
	if d := DensityOf(p.Sounding(), score.Region{To: score.Quarters(8)}, p); math.Abs(d.Onsets-9.0/8) > 1e-9 || math.Abs(d.Notes-14.0/8) > 1e-9 {
		t.Errorf("DensityOf = %+v; want 9 onsets and 14 notes in 8 beats", d)
	}
	p.Dynamics = []score.Dynamic{{At: score.Quarters(0), Text: "p"}, {At: score.Quarters(2), Until: score.Quarters(7), Text: "louder"}, {At: score.Quarters(8), Text: "f"}, {At: score.Quarters(13), Text: "pp"}}
	for _, c := range []struct{ from, to, want int }{{0, 12, 1}, {4, 8, 1}, {8, 12, 0}, {8, 16, -1}, {0, 16, 0}, {0, 2, 0}} {
		if s := SwellOf(p, score.Region{From: score.Quarters(c.from), To: score.Quarters(c.to)}); s.Direction != c.want {
			t.Errorf("SwellOf(%d-%d) = %+v; want %d", c.from, c.to, s, c.want)
		}
	}
	// Spearman's coefficient of 1 2 3 5 4 is 1 - 6*2/(5*24) = 0.9 (the textbook formula for ranks without ties).
	if r := spearman([]float64{1, 2, 3, 5, 4}); math.Abs(r-0.9) > 1e-9 {
		t.Errorf("spearman = %v; want 0.9", r)
	}
}

func TestAccents(t *testing.T) {
	l := melody(t, "C4 D4 A4 D4 C4 B3")
	l[4].Duration = score.Quarters(2)
	l[5].Onset = score.Quarters(6)
	m := score.Meter{Beats: 4, Unit: 4}
	p := &score.Passage{Notes: l, Bars: []score.Bar{{Number: "1", Length: m.Length(), Meter: m}, {Number: "2", Start: score.Quarters(4), Length: m.Length(), Meter: m}},
		Dynamics: []score.Dynamic{{At: score.Quarters(1), Text: "sf"}}}
	got := Accents(p.Sounding(), whole(p), p)
	want := map[int]string{1: "dynamics", 2: "register", 4: "length"}
	if len(got) != len(want) {
		t.Errorf("Accents = %+v; want %v", got, want)
	}
	for _, a := range got {
		if len(a.By) != 1 || want[int(a.At.Num())] != a.By[0] || a.OffBeat {
			t.Errorf("accent %+v; want %v", a, want)
		}
	}
}

// A harmony goes on while all its notes fit one triad or seventh chord.
func TestHarmonicRhythm(t *testing.T) {
	for _, c := range []struct{ chords, want string }{
		{"C3 E3 G3 | G3 C4 E4 | C3 | D3 F3 A3 | G2 B3 F4 | C3 E4 G4", "3 1 1 1"},
		{"C3 | E3 | G3 | C4 | A3 | F3 | C4 | F4", "5 3"}, // C E G A is a seventh chord on A
		{"C3 D3 E3 | C3 D3 E3 | C3 E3", "3"},             // no chord, but nothing new
	} {
		p := passageOf(t, c.chords)
		var got []string
		for _, x := range HarmonicRhythm(Chords(p.Sounding(), whole(p), nil)) {
			got = append(got, x.String())
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("HarmonicRhythm(%s) = %v; want %s", c.chords, got, c.want)
		}
	}
}

// Note values by their usual names (common practice, no source).
func TestValues(t *testing.T) {
	for _, c := range []struct {
		r    Rhythm
		want string
	}{
		{pulses(0, 6, 8, 12), "dotted quarter, eighth, 2 quarters"},
		{pulses(2, 4, 8), "(eighth rest), eighth, quarter, half"},
		{pulses(0, 8), "2 halves"},
		{pulses(0), "whole"},
		{pulses(0, 5), ""}, // five sixteenths have no name
		{pulses(), "silence"},
	} {
		if got := c.r.Values(); got != c.want {
			t.Errorf("Values(%v) = %q; want %q", c.r, got, c.want)
		}
	}
}
