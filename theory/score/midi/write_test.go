package midi

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2/smf"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
	"plumbline/theory/score/musicxml"
)

// shared returns the path of a folder that is not part of the project, or skips the test if it isn't there.
func shared(t testing.TB, folder ...string) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "..", "shared") // beside the repository
	}
	dir := filepath.Join(append([]string{root}, folder...)...)
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the scores are required: %v", err)
		}
		t.Skipf("nothing to read (set PLUMBLINE_SHARED): %v", err)
	}
	return dir
}

// small is a passage with an upbeat, a tie over a bar line, a tuplet, two voices, a change of meter, key and tempo.
func small() *score.Passage {
	p := &score.Passage{Title: "Lamplight, in C", Keys: []score.KeyChange{{Key: key.FromSignature(-3, key.Minor), Declared: true}, {At: score.Quarters(5), Key: key.FromSignature(2, key.Major), Declared: true}},
		Tempos: []score.Tempo{{Quarters: 66}, {At: score.T(11, 2), Quarters: 92.5}}}
	four, six := score.Meter{Beats: 4, Unit: 4}, score.Meter{Beats: 6, Unit: 8}
	p.Bars = []score.Bar{{Number: "0", Length: score.Quarters(1), Offset: score.Quarters(3), Meter: four},
		{Number: "1", Start: score.Quarters(1), Length: score.Quarters(4), Meter: four},
		{Number: "2", Start: score.Quarters(5), Length: score.Quarters(3), Meter: six},
		{Number: "3", Start: score.Quarters(8), Length: score.Quarters(3), Meter: six}}
	add := func(name string, on, dur score.Time, h score.Hand, voice, bar int, from, to bool) {
		x, err := pitch.Parse(name)
		if err != nil {
			panic(err)
		}
		p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: on, Duration: dur, Hand: h, Voice: voice, Bar: bar, TieFrom: from, TieTo: to})
	}
	q, T := score.Quarters, score.T
	add("G4", q(0), q(1), score.Right, 1, 0, false, true)
	add("G4", q(1), q(1), score.Right, 1, 1, true, false)
	for i, n := range []string{"Ab4", "G4", "F#4"} {
		add(n, q(2).Add(T(int64(i), 3)), T(1, 3), score.Right, 1, 1, false, false)
	}
	add("Eb4", q(1), q(4), score.Right, 2, 1, false, false)
	add("C3", q(1), q(4), score.Left, 1, 1, false, false)
	add("D3", q(5), T(3, 2), score.Left, 1, 2, false, false)
	add("D3", q(5), q(3), score.Left, 2, 2, false, false) // one key in two voices
	add("F#4", q(5), T(3, 2), score.Right, 1, 2, false, false)
	add("A4", T(13, 2), T(3, 14), score.Right, 1, 2, false, false)
	add("D3", q(8), q(3), score.Left, 1, 3, false, false)
	p.Sort()
	return p
}

// held is what a MIDI file keeps of a passage.
func held(p *score.Passage) []string {
	var out []string
	for _, n := range p.Sounding() {
		if n.Grace == score.NoGrace {
			out = append(out, fmt.Sprintf("%v+%v %d %v", n.Onset, n.Duration, n.Pitch.MIDI(), n.Hand))
		}
	}
	slices.Sort(out)
	return out
}

func TestRoundTrip(t *testing.T) {
	p := small()
	var b bytes.Buffer
	if err := Write(&b, p, Options{}); err != nil {
		t.Fatal(err)
	}
	q := read(t, b.String(), Options{})
	if got, want := held(q), held(p); !slices.Equal(got, want) {
		t.Errorf("notes\n%q; want\n%q", got, want)
	}
	if !reflect.DeepEqual(q.Bars, p.Bars) || !reflect.DeepEqual(q.Keys, p.Keys) || !reflect.DeepEqual(q.Tempos, p.Tempos) || q.Title != p.Title {
		t.Errorf("got %q, bars %v, keys %v, tempos %v;\nwant %q, %v, %v, %v", q.Title, q.Bars, q.Keys, q.Tempos, p.Title, p.Bars, p.Keys, p.Tempos)
	}
	if len(q.Warnings) > 0 {
		t.Errorf("warnings %q; want none", q.Warnings)
	}
	if got, want := q.Sounding()[5].Pitch.String(), "F#4"; got != want {
		t.Errorf("spelled %v; want %v", got, want)
	}
	if d := b.Bytes()[12:14]; int(d[0])<<8|int(d[1]) != 504 { // 12 times 42
		t.Errorf("resolution % x; want 504", d)
	}
	if Rounding(p, 504).Sign() != 0 || Rounding(p, 480) != score.T(1, 3360) { // A4 ends at 6 5/7: 3222 6/7 ticks
		t.Errorf("rounding %v, %v; want 0, 1/3360", Rounding(p, 504), Rounding(p, 480))
	}
}

// randomPassage has bars and times of any kind, ties, and one key many times at once.
func randomPassage(r *rand.Rand) *score.Passage {
	p := &score.Passage{}
	dens := []int64{1, 2, 4, 8, 16, 3, 6, 5, 7}
	at := score.Time{}
	for i := range 1 + r.IntN(6) {
		m := []score.Meter{{Beats: 4, Unit: 4}, {Beats: 6, Unit: 8}, {Beats: 3, Unit: 2}, {Beats: 1, Unit: 64}}[r.IntN(4)]
		b := score.Bar{Number: fmt.Sprint(i + 1), Start: at, Length: m.Length(), Meter: m}
		if r.IntN(4) == 0 {
			b.Length = m.Length().Mul(1+r.Int64N(3), 4)
		}
		at = b.End()
		p.Bars = append(p.Bars, b)
		for range r.IntN(15) {
			d := dens[r.IntN(len(dens))]
			n := score.Note{Bar: i, Hand: score.Hand(1 + r.IntN(2)), Voice: 1 + r.IntN(3), Pitch: pitch.FromMIDI(60+r.IntN(4), false)}
			n.Onset = b.Start.Add(score.T(r.Int64N(b.Length.Num()*d/b.Length.Den()+1), d))
			if !n.Onset.Less(b.End()) {
				n.Onset = b.Start
			}
			room := b.End().Sub(n.Onset)
			n.Duration = room.Mul(1+r.Int64N(4), 4)
			p.Notes = append(p.Notes, n)
		}
	}
	for range r.IntN(3) {
		t := at.Mul(r.Int64N(4), 4)
		p.Keys = append(p.Keys, score.KeyChange{At: t, Key: key.FromSignature(r.IntN(15)-7, key.Mode(r.IntN(2))), Declared: true})
		p.Tempos = append(p.Tempos, score.Tempo{At: t, Quarters: float64(30+r.IntN(300)) / 1.25})
	}
	slices.SortStableFunc(p.Keys, func(a, b score.KeyChange) int { return a.At.Compare(b.At) })
	p.Keys = slices.CompactFunc(p.Keys, func(a, b score.KeyChange) bool { return a.At == b.At })
	slices.SortStableFunc(p.Tempos, func(a, b score.Tempo) int { return a.At.Compare(b.At) })
	p.Tempos = slices.CompactFunc(p.Tempos, func(a, b score.Tempo) bool { return a.At == b.At })
	p.Sort()
	return p
}

func TestRandom(t *testing.T) {
	for seed := range uint64(2000) {
		p := randomPassage(rand.New(rand.NewPCG(seed, 3)))
		var b bytes.Buffer
		if err := Write(&b, p, Options{}); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		q := read(t, b.String(), Options{Grid: Exact})
		if got, want := held(q), held(p); !slices.Equal(got, want) {
			t.Fatalf("seed %d: notes\n%q; want\n%q", seed, got, want)
		}
		if !reflect.DeepEqual(q.Keys, p.Keys) || !reflect.DeepEqual(q.Tempos, p.Tempos) {
			t.Fatalf("seed %d: keys %v, tempos %v; want %v, %v", seed, q.Keys, q.Tempos, p.Keys, p.Tempos)
		}
		for i, bar := range p.Bars {
			if g := q.Bars[i]; g.Start != bar.Start || !g.Meter.Equal(bar.Meter) || i+1 < len(p.Bars) && g.Length != bar.Length {
				t.Fatalf("seed %d: bar %+v; want %+v", seed, g, bar)
			}
		}
	}
}

// Songs as people export them (OpenScore Lieder, CC0) come back with the same notes, bars, keys and tempos, by the default
// rules.
func TestSongs(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(shared(t, "scores", "lieder"), "*.mxl"))
	if err != nil || len(files) != 120 {
		t.Fatalf("%d songs, %v; want 120", len(files), err)
	}
	for _, name := range files {
		p, err := musicxml.ReadFile(name, musicxml.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := Write(&b, p, Options{}); err != nil {
			t.Errorf("%s: %v", filepath.Base(name), err)
			continue
		}
		q := read(t, b.String(), Options{})
		grace := 0
		for _, n := range p.Sounding() {
			if n.Grace != score.NoGrace || n.Duration.Sign() <= 0 {
				grace++
			}
		}
		got, want := held(q), held(p)
		missing := 0
		for i, j := 0, 0; i < len(want); i++ {
			for j < len(got) && got[j] < want[i] {
				j++
			}
			if j == len(got) || got[j] != want[i] {
				missing++
			} else {
				j++
			}
		}
		if missing > 0 || len(got) != len(want)+grace {
			t.Errorf("%s: %d of %d notes are missing; %d in all, %d of them grace notes; warnings %q", filepath.Base(name), missing, len(want), len(got), grace, q.Warnings)
		}
		for i, bar := range p.Bars {
			if bar.Length.Sign() <= 0 || bar.Meter.Length().Less(bar.Length) {
				break // a bar that no meter tells
			}
			if g := q.Bars[i]; g.Start != bar.Start || g.Meter.Beats != bar.Meter.Beats || g.Meter.Unit != bar.Meter.Unit {
				t.Errorf("%s: bar %d: %+v; want %+v", filepath.Base(name), i, g, bar)
				break
			}
		}
	}
}

func TestWriteErrors(t *testing.T) {
	note := func(p pitch.Pitch, on, dur score.Time) *score.Passage {
		return &score.Passage{Bars: []score.Bar{{Number: "7", Length: score.Quarters(4), Meter: score.Meter{Beats: 4, Unit: 4}}},
			Notes: []score.Note{{Pitch: p, Onset: on, Duration: dur, Hand: score.Right, Voice: 1}}}
	}
	c4 := pitch.Pitch{Octave: 4}
	many := note(c4, score.T(1, 1009), score.T(1, 1013))
	for _, tt := range []struct {
		p    *score.Passage
		o    Options
		want string
	}{
		{note(pitch.Pitch{Octave: 12}, score.Time{}, score.Quarters(1)), Options{}, "bar 7 beat 1: C12 has no key"},
		{many, Options{}, "no common part of a quarter note above 1/32767"},
		{note(c4, score.Time{}, score.Quarters(1)), Options{Resolution: 32768}, "a resolution of 32768"},
		{&score.Passage{Bars: many.Bars, Tempos: []score.Tempo{{Quarters: 2}}}, Options{}, "2 quarter notes a minute"},
		{note(c4, score.Quarters(1<<19), score.Quarters(1)), Options{Resolution: 32767}, "a silence of"},
	} {
		var b bytes.Buffer
		err := Write(&b, tt.p, tt.o)
		var e *Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) || b.Len() > 60 {
			t.Errorf("got %v; want %q", err, tt.want)
		}
	}
	var b bytes.Buffer
	if err := Write(&b, many, Options{Resolution: 480}); err != nil {
		t.Fatal(err)
	}
	if got := show(read(t, b.String(), Options{Grid: Exact})); len(got) != 1 || got[0] != "C4 0+1/480 right hand" {
		t.Errorf("rounded to %q", got)
	}
	if err := Write(failing{}, many, Options{Resolution: 480}); !errors.Is(err, errFull) {
		t.Errorf("got %v; want %v", err, errFull)
	}
}

var errFull = errors.New("the disk is full")

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errFull }

// Grace notes sound just before the note they decorate.
func TestGrace(t *testing.T) {
	p := small()
	main := p.Notes[4]
	for _, n := range []string{"B4", "C5", "E5"} {
		x, _ := pitch.Parse(n)
		p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: main.Onset, Hand: score.Right, Voice: 1, Bar: main.Bar, Grace: score.Acciaccatura, Together: n == "E5"})
	}
	p.Sort()
	var b bytes.Buffer
	if err := Write(&b, p, Options{}); err != nil {
		t.Fatal(err)
	}
	got := show(read(t, b.String(), Options{}))
	for i, w := range []string{"B4", "C5", "E5"} { // the last two together
		want := fmt.Sprintf("%s %v+1/8 right hand", w, main.Onset.Sub(score.T(int64(2-min(i, 1)), 8)))
		if !slices.Contains(got, want) {
			t.Errorf("%q isn't among %q", want, got)
		}
	}
}

// TestLoudness writes marks as velocities and the pedal as controller 64 (Standard MIDI Files 1.0, MIDI 1.0 detailed specification:
// damper pedal, 0 to 63 off, 64 to 127 on).
func TestLoudness(t *testing.T) {
	p := &score.Passage{}
	for i := range 8 {
		if i%4 == 0 {
			p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(i/4 + 1), Start: score.Quarters(i), Length: score.Quarters(4), Meter: score.Meter{Beats: 4, Unit: 4}})
		}
		for _, h := range []score.Hand{score.Left, score.Right} {
			p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(48+12*int(h), false), Onset: score.Quarters(i), Duration: score.Quarters(1), Hand: h, Voice: 1, Bar: i / 4})
		}
	}
	p.Dynamics = []score.Dynamic{{At: score.Quarters(1), Text: "p"}, {At: score.Quarters(2), Until: score.Quarters(4), Text: "louder"}, {At: score.Quarters(4), Text: "f"}, {At: score.Quarters(6), Text: "pp", Hand: score.Left}}
	p.Pedals = []score.Pedal{{At: score.Quarters(0), Act: score.PedalDown}, {At: score.Quarters(4), Act: score.PedalChange}, {At: score.Quarters(6), Act: score.PedalUp}}
	p.Sort()
	var b bytes.Buffer
	if err := Write(&b, p, Options{}); err != nil {
		t.Fatal(err)
	}
	s, err := smf.ReadFrom(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	want := map[int][]uint8{1: {64, 49, 49, 73, 96, 96, 96, 96}, 2: {64, 49, 49, 73, 96, 96, 33, 33}}
	for track, velocities := range want {
		var got []uint8
		var feet []string
		at := int64(0)
		for _, e := range s.Tracks[track] {
			at += int64(e.Delta)
			var c, k, v uint8
			if e.Message.GetNoteOn(&c, &k, &v) && v > 0 {
				got = append(got, v)
			}
			if e.Message.GetControlChange(&c, &k, &v) && k == 64 {
				feet = append(feet, fmt.Sprint(at, " ", v))
			}
		}
		if !slices.Equal(got, velocities) {
			t.Errorf("track %d: velocities %v; want %v", track, got, velocities)
		}
		if want := []string{"0 127", "1920 0", "1921 127", "2880 0"}; !slices.Equal(feet, want) {
			t.Errorf("track %d: pedal %v; want %v", track, feet, want)
		}
	}
	if q, err := Read(bytes.NewReader(b.Bytes()), Options{}); err != nil || len(q.Notes) != len(p.Notes) {
		t.Errorf("read again: %v", err)
	}
}
