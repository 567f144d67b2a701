package score

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
)

// aNote reads "r2 G#4 3/2 1 <>": hand and voice, pitch, onset, length, < for a tie from before, > for one on, ~ for a cue
// note, * for a grace note.
func aNote(t testing.TB, s string) Note {
	t.Helper()
	f := strings.Fields(s)
	p, err := pitch.Parse(f[1])
	on, ok := ParseTime(f[2])
	long, ok2 := ParseTime(f[3])
	if err != nil || !ok || !ok2 {
		t.Fatalf("%q: %v", s, err)
	}
	n := Note{Pitch: p, Onset: on, Duration: long, Hand: Right, Voice: int(f[0][1] - '0')}
	if f[0][0] == 'l' {
		n.Hand = Left
	}
	if len(f) > 4 {
		n.TieFrom, n.TieTo, n.Cue = strings.Contains(f[4], "<"), strings.Contains(f[4], ">"), strings.Contains(f[4], "~")
		if strings.Contains(f[4], "*") {
			n.Grace = Appoggiatura
		}
	}
	return n
}

func someNotes(t testing.TB, texts ...string) *Passage {
	t.Helper()
	p := &Passage{}
	for _, s := range texts {
		p.Notes = append(p.Notes, aNote(t, s))
	}
	p.Sort()
	return p
}

func noteTexts(notes []Note) []string {
	out := []string{}
	for _, n := range notes {
		s := fmt.Sprintf("%c%d %v %v %v", n.Hand.String()[0], n.Voice, n.Pitch, n.Onset, n.Duration)
		if n.TieFrom || n.TieTo {
			s += " tied"
		}
		if n.Grace != NoGrace {
			s += " *"
		}
		out = append(out, s)
	}
	return out
}

func TestSounding(t *testing.T) {
	for _, c := range []struct {
		name  string
		notes []string
		want  []string
	}{
		{"nothing tied", []string{"r1 C4 0 1", "r1 C4 1 1"}, []string{"r1 C4 0 1", "r1 C4 1 1"}},
		{"a pair", []string{"r1 C4 0 1 >", "r1 C4 1 1 <"}, []string{"r1 C4 0 2"}},
		{"a chain", []string{"r1 C4 0 1 >", "r1 C4 1 1/2 <>", "r1 C4 3/2 1/3 <"}, []string{"r1 C4 0 1 5/6"}},
		{"two chains of one pitch", []string{"r1 C4 0 1 >", "r1 C4 1 1 <", "r1 C4 2 1 >", "r1 C4 3 1 <"}, []string{"r1 C4 0 2", "r1 C4 2 2"}},
		{"a chord tied in part", []string{"r1 C4 0 1 >", "r1 E4 0 1", "r1 G4 0 1 >", "r1 C4 1 1 <", "r1 E4 1 1", "r1 G4 1 1 <"},
			[]string{"r1 C4 0 2", "r1 E4 0 1", "r1 G4 0 2", "r1 E4 1 1"}},
		{"to another voice", []string{"r1 C4 0 1 >", "r2 C4 1 1 <"}, []string{"r1 C4 0 2"}},
		{"to the other hand", []string{"r1 C4 0 1 >", "l1 C4 1 1 <"}, []string{"r1 C4 0 2"}},
		{"the own voice goes first", []string{"r1 C4 0 1 >", "r2 C4 0 1 >", "r2 C4 1 2 <", "r1 C4 1 1 <"}, []string{"r1 C4 0 2", "r2 C4 0 3"}},
		{"the own voice goes before another", []string{"r1 C4 0 1 >", "r2 C4 0 1 >", "r2 C4 1 2 <"}, []string{"r1 C4 0 1", "r2 C4 0 3"}},
		{"the own hand goes before the other", []string{"l1 C4 0 1 >", "r1 C4 0 1 >", "r2 C4 1 2 <"}, []string{"l1 C4 0 1", "r1 C4 0 3"}},
		{"to another spelling", []string{"r1 C#4 0 1 >", "r1 Db4 1 1 <"}, []string{"r1 C#4 0 2"}},
		{"not to another octave", []string{"r1 C4 0 1 >", "r1 C5 1 1 <"}, []string{"r1 C4 0 1", "r1 C5 1 1"}},
		{"not over a gap", []string{"r1 C4 0 1 >", "r1 C4 2 1 <"}, []string{"r1 C4 0 1", "r1 C4 2 1"}},
		{"a beginning without an end", []string{"r1 C4 0 1 >", "r1 C4 1 1"}, []string{"r1 C4 0 1", "r1 C4 1 1"}},
		{"an end without a beginning", []string{"r1 C4 0 1", "r1 C4 1 1 <"}, []string{"r1 C4 0 1", "r1 C4 1 1"}},
		{"an end without a beginning that goes on", []string{"r1 C4 1 1 <>", "r1 C4 2 1 <"}, []string{"r1 C4 1 2"}},
		{"different lengths in one voice", []string{"r1 C4 0 1 >", "r1 E4 0 2 >", "r1 C4 1 2 <", "r1 E4 2 1 <"}, []string{"r1 C4 0 3", "r1 E4 0 3"}},
		{"cue notes are left out", []string{"r1 C4 0 1 ~>", "r1 C4 1 1 <", "r1 D4 1 1 ~"}, []string{"r1 C4 1 1"}},
		{"grace notes stay as they are", []string{"r1 C4 0 0 *>", "r1 C4 0 1 <", "r1 D4 1 0 *"}, []string{"r1 C4 0 0 *", "r1 C4 0 1", "r1 D4 1 0 *"}},
	} {
		p := someNotes(t, c.notes...)
		before := slices.Clone(p.Notes)
		if got := noteTexts(p.Sounding()); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
		if !reflect.DeepEqual(p.Notes, before) {
			t.Errorf("%s: Sounding changed the passage", c.name)
		}
	}
}

func TestSort(t *testing.T) {
	p := someNotes(t, "r1 C5 1 1", "l1 C4 1 1", "r1 C4 1 1", "r1 F4 1 0 *", "r1 D4 1 0 *", "r2 C4 1 1", "r1 B#3 1 1", "r1 C6 0 4")
	want := []string{"r1 C6 0 4", "r1 F4 1 0 *", "r1 D4 1 0 *", "r1 B#3 1 1", "l1 C4 1 1", "r1 C4 1 1", "r2 C4 1 1", "r1 C5 1 1"}
	if got := noteTexts(p.Notes); !slices.Equal(got, want) {
		t.Errorf("%q; want %q", got, want)
	}
}

// TestMeter has the beats of the handbooks: dotted ones in compound meters (common practice, no source).
func TestMeter(t *testing.T) {
	for _, c := range []struct {
		m            Meter
		text         string
		compound     bool
		beat, length Time
	}{
		{Meter{Beats: 4, Unit: 4}, "4/4", false, Quarters(1), Quarters(4)},
		{Meter{Beats: 2, Unit: 2}, "2/2", false, Quarters(2), Quarters(4)},
		{Meter{Beats: 3, Unit: 8}, "3/8", false, T(1, 2), T(3, 2)},
		{Meter{Beats: 3, Unit: 4}, "3/4", false, Quarters(1), Quarters(3)},
		{Meter{Beats: 6, Unit: 8}, "6/8", true, T(3, 2), Quarters(3)},
		{Meter{Beats: 9, Unit: 8}, "9/8", true, T(3, 2), T(9, 2)},
		{Meter{Beats: 12, Unit: 16}, "12/16", true, T(3, 4), Quarters(3)},
		{Meter{Beats: 6, Unit: 4}, "6/4", true, Quarters(3), Quarters(6)},
		{Meter{Beats: 5, Unit: 8}, "5/8", false, T(1, 2), T(5, 2)},
		{Meter{Beats: 5, Unit: 8, Groups: []int{3, 2}}, "3+2/8", false, T(1, 2), T(5, 2)},
		{Meter{Beats: 6, Unit: 8, Groups: []int{4, 2}}, "4+2/8", false, T(1, 2), Quarters(3)},
		{Meter{}, "free", false, Quarters(1), Time{}},
	} {
		if c.m.String() != c.text || c.m.Compound() != c.compound || c.m.Beat() != c.beat || c.m.Length() != c.length {
			t.Errorf("%v: compound %v, beat %v, length %v; want %s, %v, %v, %v", c.m, c.m.Compound(), c.m.Beat(), c.m.Length(), c.text, c.compound, c.beat, c.length)
		}
		for _, o := range []Meter{{Beats: 7, Unit: 8}, {Beats: c.m.Beats, Unit: c.m.Unit, Groups: []int{1, 1, 1}}} {
			if c.m.Equal(o) || !c.m.Equal(c.m) {
				t.Errorf("%v and %v: Equal", c.m, o)
			}
		}
	}
}

// manyBars is an upbeat to 4/4, 4/4, 6/8, 3+2/8, a bar of 3/4 cut in two by a repeat sign, a free one.
func manyBars() *Passage {
	p := &Passage{}
	at := Time{}
	for _, b := range []struct {
		number         string
		length, offset Time
		m              Meter
	}{
		{"0", Quarters(1), Quarters(3), Meter{Beats: 4, Unit: 4}},
		{"1", Quarters(4), Time{}, Meter{Beats: 4, Unit: 4}},
		{"2", Quarters(3), Time{}, Meter{Beats: 6, Unit: 8}},
		{"3", T(5, 2), Time{}, Meter{Beats: 5, Unit: 8, Groups: []int{3, 2}}},
		{"4", Quarters(2), Time{}, Meter{Beats: 3, Unit: 4}},
		{"4", Quarters(1), Quarters(2), Meter{Beats: 3, Unit: 4}},
		{"5", Quarters(7), Time{}, Meter{}},
	} {
		p.Bars = append(p.Bars, Bar{Number: b.number, Start: at, Length: b.length, Offset: b.offset, Meter: b.m})
		at = at.Add(b.length)
	}
	return p
}

func TestBeatAt(t *testing.T) {
	p := manyBars()
	for _, c := range []struct {
		at   Time
		want string
		bar  int
	}{
		{Quarters(0), "bar 0 beat 4", 0}, // an upbeat counts from the end
		{T(1, 2), "bar 0 beat 4 1/2", 0},
		{Quarters(1), "bar 1 beat 1", 1},
		{T(7, 3), "bar 1 beat 2 1/3", 1},
		{Quarters(4), "bar 1 beat 4", 1},
		{Quarters(5), "bar 2 beat 1", 2},
		{T(11, 2), "bar 2 beat 1 1/3", 2}, // the second eighth of a dotted quarter
		{T(13, 2), "bar 2 beat 2", 2},
		{Quarters(8), "bar 3 beat 1", 3},
		{T(19, 2), "bar 3 beat 4", 3}, // the second group of 3+2
		{T(21, 2), "bar 4 beat 1", 4},
		{T(25, 2), "bar 4 beat 3", 5}, // the second half of the bar
		{T(27, 2), "bar 5 beat 1", 6},
		{Quarters(20), "bar 5 beat 7 1/2", 6},
		{T(41, 2), "bar 5 beat 8", 6}, // the end belongs to the last bar
	} {
		if got := p.Where(c.at); got != c.want || p.BarAt(c.at) != c.bar {
			t.Errorf("Where(%v) = %q, bar index %d; want %q, %d", c.at, got, p.BarAt(c.at), c.want, c.bar)
		}
	}
	if p.End() != T(41, 2) {
		t.Errorf("End() = %v", p.End())
	}
	empty := &Passage{}
	if bar, beat := empty.BeatAt(Quarters(3)); empty.BarAt(Time{}) != -1 || empty.End() != (Time{}) || bar != "" || beat != Quarters(1) {
		t.Errorf("no bars: BarAt %d, End %v, %q %v", empty.BarAt(Time{}), empty.End(), bar, beat)
	}
}

func TestKeyAt(t *testing.T) {
	a, d := key.Key{Tonic: pitch.Class{Letter: pitch.A}}, key.Key{Tonic: pitch.Class{Letter: pitch.D}, Mode: key.Minor}
	p := &Passage{Keys: []KeyChange{{At: Quarters(1), Key: a}, {At: Quarters(4), Key: d, Declared: true}}}
	for _, c := range []struct {
		at       Time
		key      key.Key
		declared bool
	}{
		{Time{}, key.Key{}, false}, {Quarters(1), a, false}, {T(7, 2), a, false}, {Quarters(4), d, true}, {Quarters(40), d, true},
	} {
		if k, declared := p.KeyAt(c.at); k != c.key || declared != c.declared {
			t.Errorf("KeyAt(%v) = %v, %v; want %v, %v", c.at, k, declared, c.key, c.declared)
		}
	}
}

func TestSeconds(t *testing.T) {
	p := &Passage{Tempos: []Tempo{{Quarters(0), 60}, {Quarters(4), 120}, {Quarters(6), 0}, {Quarters(8), 30}}}
	for _, c := range []struct {
		at   Time
		want float64
	}{{Time{}, 0}, {Quarters(1), 1}, {Quarters(4), 4}, {Quarters(6), 5}, {Quarters(8), 6}, {T(17, 2), 7}} {
		if got := p.Seconds(c.at); !(math.Abs(got-c.want) < 1e-12) {
			t.Errorf("Seconds(%v) = %v; want %v", c.at, got, c.want)
		}
	}
	if got := (&Passage{}).Seconds(Quarters(6)); !(math.Abs(got-6*60/DefaultTempo) < 1e-12) {
		t.Errorf("Seconds without a tempo = %v", got)
	}
}

func TestHand(t *testing.T) {
	for h, want := range map[Hand]string{Right: "right hand", Left: "left hand", 0: "%!Hand(0)", 7: "%!Hand(7)"} {
		if got := h.String(); got != want {
			t.Errorf("Hand(%d) = %q; want %q", int(h), got, want)
		}
	}
}

// A chord built up note by note and then held: its ties lead over the gap to the held chord, the last of them plainly.
func TestSoundingOverAGap(t *testing.T) {
	c4, e4 := pitch.Pitch{Letter: pitch.C, Octave: 4}, pitch.Pitch{Letter: pitch.E, Octave: 4}
	four := Meter{Beats: 4, Unit: 4}
	p := &Passage{Bars: []Bar{{"1", Time{}, Quarters(4), Time{}, four}}, Notes: []Note{
		{Pitch: c4, Duration: Quarters(1), Hand: Right, Voice: 1, TieTo: true},
		{Pitch: e4, Onset: Quarters(1), Duration: Quarters(1), Hand: Right, Voice: 1, TieTo: true},
		{Pitch: c4, Onset: Quarters(2), Duration: Quarters(2), Hand: Right, Voice: 1, TieFrom: true},
		{Pitch: e4, Onset: Quarters(2), Duration: Quarters(2), Hand: Right, Voice: 1, TieFrom: true},
	}}
	got := p.Sounding()
	if len(got) != 2 || got[0].Duration != Quarters(4) || got[1].Duration != Quarters(3) {
		t.Errorf("Sounding = %+v; want C4 for 4 quarters and E4 for 3", got)
	}
}
