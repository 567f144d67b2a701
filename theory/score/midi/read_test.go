package midi

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"plumbline/theory/score"
)

// filed puts a file together from the data of its tracks.
func filed(format, division int, tracks ...string) string {
	s := "MThd\x00\x00\x00\x06" + string([]byte{0, byte(format), byte(len(tracks) >> 8), byte(len(tracks)), byte(division >> 8), byte(division)})
	for _, t := range tracks {
		n := len(t)
		s += "MTrk" + string([]byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}) + t
	}
	return s
}

const end = "\x00\xff\x2f\x00"

// read reads s and fails the test if it can't be read or breaks what a passage promises.
func read(t *testing.T, s string, o Options) *score.Passage {
	t.Helper()
	p, err := Read(strings.NewReader(s), o)
	if err != nil {
		t.Fatal(err)
	}
	check(t, p)
	return p
}

// check tests what a passage promises.
func check(t testing.TB, p *score.Passage) {
	t.Helper()
	at := score.Time{}
	for i, b := range p.Bars {
		if b.Start != at || b.Length.Sign() <= 0 || !b.End().InRange() {
			t.Fatalf("bar %d begins at %v and is %v long; want %v and more than 0", i, b.Start, b.Length, at)
		}
		at = b.End()
	}
	if len(p.Bars) == 0 {
		t.Fatal("no bars")
	}
	type voice struct {
		hand  score.Hand
		voice int
	}
	type span struct{ on, end score.Time }
	last := map[voice]span{}
	for i, n := range p.Notes {
		b := p.Bars[n.Bar]
		if n.Onset.Less(b.Start) || !n.Onset.Less(b.End()) || b.End().Less(n.End()) || n.Duration.Sign() <= 0 {
			t.Fatalf("note %d %+v isn't within its bar %+v", i, n, b)
		}
		if n.Hand != score.Right && n.Hand != score.Left || n.Voice < 1 || n.Pitch.MIDI() < 0 || n.Pitch.MIDI() > 127 {
			t.Fatalf("note %d: %+v", i, n)
		}
		v := voice{n.Hand, n.Voice}
		if s, ok := last[v]; ok && n.Onset.Less(s.end) && s != (span{n.Onset, n.End()}) {
			t.Fatalf("note %d %+v overlaps another of its voice", i, n)
		}
		last[v] = span{n.Onset, n.End()}
	}
	q := *p
	q.Notes = slices.Clone(p.Notes)
	if q.Sort(); !reflect.DeepEqual(q.Notes, p.Notes) {
		t.Fatal("the notes aren't in order")
	}
}

// show prints the notes as they sound: "C4 0+1 right hand".
func show(p *score.Passage) []string {
	out := []string{}
	for _, n := range p.Sounding() {
		out = append(out, fmt.Sprintf("%v %v+%v %v", n.Pitch, n.Onset, n.Duration, n.Hand))
	}
	return out
}

// The table of variable-length quantities in the standard (from memory).
var quantities = []struct {
	n     int64
	bytes string
}{
	{0x00000000, "\x00"}, {0x00000040, "\x40"}, {0x0000007F, "\x7f"}, {0x00000080, "\x81\x00"}, {0x00002000, "\xc0\x00"},
	{0x00003FFF, "\xff\x7f"}, {0x00004000, "\x81\x80\x00"}, {0x00100000, "\xc0\x80\x00"}, {0x001FFFFF, "\xff\xff\x7f"},
	{0x00200000, "\x81\x80\x80\x00"}, {0x08000000, "\xc0\x80\x80\x00"}, {0x0FFFFFFF, "\xff\xff\xff\x7f"},
}

func TestQuantities(t *testing.T) {
	for _, q := range quantities {
		if got := string(quantity(q.n)); got != q.bytes {
			t.Errorf("quantity(%#x) = %q; want %q", q.n, got, q.bytes)
		}
		// As a delta time before the end of a track: the track's end tells what was read.
		f, err := parse(strings.NewReader(filed(0, 32767, q.bytes+"\xff\x2f\x00")), "")
		if err != nil || f.tracks[0].end != q.n {
			t.Errorf("%q reads as %v, %v; want %d", q.bytes, f, err, q.n)
		}
	}
}

// The example file at the end of the standard, in format 0 and in format 1 (from memory). The standard says nothing of hands
// and voices: that the octave goes to the left is our rule.
const (
	example0 = "MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x00\x00\x00\x3b" +
		"\x00\xff\x58\x04\x04\x02\x18\x08\x00\xff\x51\x03\x07\xa1\x20\x00\xc0\x05\x00\xc1\x2e\x00\xc2\x46" +
		"\x00\x92\x30\x60\x00\x3c\x60\x60\x91\x43\x40\x60\x90\x4c\x20\x81\x40\x82\x30\x40\x00\x3c\x40\x00\x81\x43\x40\x00\x80\x4c\x40" + end
	example1 = "MThd\x00\x00\x00\x06\x00\x01\x00\x04\x00\x60" +
		"MTrk\x00\x00\x00\x14\x00\xff\x58\x04\x04\x02\x18\x08\x00\xff\x51\x03\x07\xa1\x20\x83\x00\xff\x2f\x00" +
		"MTrk\x00\x00\x00\x10\x00\xc0\x05\x81\x40\x90\x4c\x20\x81\x40\x4c\x00" + end +
		"MTrk\x00\x00\x00\x0f\x00\xc1\x2e\x60\x91\x43\x40\x82\x20\x43\x00" + end +
		"MTrk\x00\x00\x00\x15\x00\xc2\x46\x00\x92\x30\x60\x00\x3c\x60\x83\x00\x30\x00\x00\x3c\x00" + end
)

func TestStandard(t *testing.T) {
	want := []string{"C3 0+4 left hand", "C4 0+4 left hand", "G4 1+3 right hand", "E5 2+2 right hand"}
	for _, s := range []string{example0, example1} {
		p := read(t, s, Options{})
		got := show(p)
		if !slices.Equal(got, want) {
			t.Errorf("format %d: got %q; want %q", s[9], got, want)
		}
		if len(p.Bars) != 1 || p.Bars[0].Length != score.Quarters(4) || !p.Bars[0].Meter.Equal(score.Meter{Beats: 4, Unit: 4}) {
			t.Errorf("format %d: bars %+v; want one of 4/4", s[9], p.Bars)
		}
		if len(p.Tempos) != 1 || p.Tempos[0].Quarters != 120 || len(p.Keys) != 0 {
			t.Errorf("format %d: tempos %v, keys %v; want 120, none", s[9], p.Tempos, p.Keys)
		}
	}
}

func TestRead(t *testing.T) {
	rh, lh := "\x00\xff\x03\x0aright hand", "\x00\xff\x03\x09left hand"
	for _, tt := range []struct {
		name, file string
		o          Options
		notes      []string
		warning    string // a part of the warnings
	}{
		{"velocity 0 releases, running status", filed(0, 4, rh+"\x00\x90\x3c\x40\x04\x3c\x00\x00\x3e\x40\x02\x3e\x00"+end), Options{},
			[]string{"C4 0+1 right hand", "D4 1+1/2 right hand"}, ""},
		{"system exclusive and unknown meta events", filed(0, 4, rh+"\x00\xf0\x03\x01\x02\xf7\x00\xf7\x01\xf3\x00\xff\x7f\x02ab\x00\xff\x60\x00\x00\x90\x3c\x40\x04\x80\x3c\x00"+end), Options{},
			[]string{"C4 0+1 right hand"}, ""},
		{"running status after a meta event", filed(0, 4, rh+"\x00\x90\x3c\x40\x00\xff\x01\x01a\x04\x3c\x00"+end), Options{},
			[]string{"C4 0+1 right hand"}, "running status goes on"},
		{"the first release ends the first note", filed(0, 4, rh+"\x00\x90\x3c\x40\x02\x3c\x40\x02\x3c\x00\x02\x3c\x00"+end), Options{},
			[]string{"C4 0+1 right hand", "C4 1/2+1 right hand"}, ""},
		{"never released", filed(0, 4, rh+"\x00\x90\x3c\x40\x00\x40\x40\x04\x3c\x00\x0c\xff\x2f\x00"), Options{},
			[]string{"C4 0+1 right hand", "E4 0+4 right hand"}, "1 notes are never released"},
		{"released, not pressed", filed(0, 4, rh+"\x00\x80\x3c\x40\x00\x90\x40\x40\x04\x40\x00"+end), Options{},
			[]string{"E4 0+1 right hand"}, "1 releases of keys"},
		{"no length", filed(0, 24, rh+"\x00\x90\x3c\x40\x00\x3c\x00"+end), Options{},
			[]string{"C4 0+1/12 right hand"}, "no length"},
		{"no end of track", filed(0, 4, rh+"\x00\x90\x3c\x40\x04\x3c\x00"), Options{}, []string{"C4 0+1 right hand"}, "no end-of-track"},
		{"after the end of track", filed(0, 4, rh+"\x00\x90\x3c\x40\x04\x3c\x00"+end+"abc"), Options{}, []string{"C4 0+1 right hand"}, "3 bytes after its end"},
		{"a longer header", "MThd\x00\x00\x00\x08\x00\x00\x00\x01\x00\x04XY" + filed(0, 4, rh+"\x00\x90\x3c\x40\x04\x3c\x00"+end)[14:], Options{}, []string{"C4 0+1 right hand"}, ""},
		{"a chunk of another kind", filed(0, 4, rh+"\x00\x90\x3c\x40\x04\x3c\x00"+end)[:14] + "XFIH\x00\x00\x00\x02ab" + filed(0, 4, rh+"\x00\x90\x3c\x40\x04\x3c\x00"+end)[14:], Options{}, []string{"C4 0+1 right hand"}, `chunk "XFIH"`},
		{"drums", filed(0, 4, rh+"\x00\x90\x3c\x40\x00\x99\x24\x40\x04\x90\x3c\x00\x00\x99\x24\x00"+end), Options{}, []string{"C4 0+1 right hand"}, "drums"},
		{"hands by name, out of order", filed(1, 4, lh+"\x00\x90\x3c\x40\x04\x3c\x00"+end, rh+"\x00\x90\x30\x40\x04\x30\x00"+end), Options{},
			[]string{"C3 0+1 right hand", "C4 0+1 left hand"}, ""},
		{"hands by height", filed(1, 4, "\x00\x90\x30\x40\x04\x30\x00"+end, "\x00\x90\x3c\x40\x04\x3c\x00"+end), Options{},
			[]string{"C3 0+1 left hand", "C4 0+1 right hand"}, "the higher of two"},
		{"hands by order", filed(1, 4, "\x00\x90\x3c\x40\x04\x3c\x00"+end, "\x00\x90\x3c\x40\x08\x3c\x00"+end), Options{},
			[]string{"C4 0+2 left hand", "C4 0+1 right hand"}, "the higher of two"},
		{"hands by channel", filed(0, 4, "\x00\x91\x3c\x40\x00\x90\x48\x40\x04\x48\x00\x00\x91\x3c\x00"+end), Options{},
			[]string{"C4 0+1 left hand", "C5 0+1 right hand"}, "the higher of two"},
		{"a singer beside two hands", filed(1, 4, "\x00\xff\x03\x05Voice\x00\x90\x3c\x40\x04\x3c\x00"+end, rh+"\x00\x90\x40\x40\x04\x40\x00"+end, lh+"\x00\x90\x30\x40\x04\x30\x00"+end), Options{},
			[]string{"C3 0+1 left hand", "E4 0+1 right hand"}, `"Voice" is left out`},
		{"a track that is asked for", filed(1, 4, "\x00\xff\x03\x05Voice\x00\x90\x54\x40\x04\x54\x00"+end, rh+"\x00\x90\x40\x40\x04\x40\x00"+end), Options{Tracks: []int{1}},
			[]string{"C6 0+1 right hand"}, "divided"},
		{"as written: a quintuplet among plain times", filed(0, 480, rh+"\x00\x90\x3c\x40\x60\x3c\x00\x00\x3c\x40\x60\x3c\x00\x00\x3c\x40\x81\x20\x3c\x00"+end), Options{},
			[]string{"C4 0+1/5 right hand", "C4 1/5+1/5 right hand", "C4 2/5+1/3 right hand"}, ""},
		{"as played", filed(0, 480, rh+"\x07\x90\x3c\x40\x83\x4d\x3c\x00\x0b\x3e\x40\x81\x61\x3e\x00"+end), Options{},
			[]string{"C4 0+1 right hand", "D4 1+1/2 right hand"}, "the onsets of notes are rounded by up to 7/480"},
		{"exactly as played", filed(0, 480, rh+"\x07\x90\x3c\x40\x83\x4d\x3c\x00"+end), Options{Grid: Exact}, []string{"C4 7/480+461/480 right hand"}, ""},
		{"a grid of halves", filed(0, 480, rh+"\x81\x00\x90\x3c\x40\x81\x00\x3c\x00"+end), Options{Grid: 2}, []string{"C4 1/2+1/2 right hand"}, "rounded by up to 7/30"},
		{"shortened by a program", filed(0, 480, rh+"\x00\x90\x3c\x40\x83\x48\x3c\x00\x18\x3e\x40\x83\x47\x3e\x00"+end), Options{},
			[]string{"C4 0+1 right hand", "D4 1+1 right hand"}, "the ends of notes are rounded by up to 5/96"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := read(t, tt.file, tt.o)
			if got := show(p); !slices.Equal(got, tt.notes) {
				t.Errorf("got %q; want %q", got, tt.notes)
			}
			if w := strings.Join(p.Warnings, "; "); !strings.Contains(w, tt.warning) || tt.warning == "" && w != "" {
				t.Errorf("warnings %q; want %q", w, tt.warning)
			}
		})
	}
}

func TestBars(t *testing.T) {
	meter := func(delta, n, log string) string { return delta + "\xff\x58\x04" + n + log + "\x18\x08" }
	for _, tt := range []struct{ name, track, want string }{
		{"none", "\x10\xff\x2f\x00", "1:0+4(4/4)"},
		{"too late", meter("\x08", "\x03", "\x02") + "\x0c\xff\x2f\x00", "0:0+2(4/4) 1:2+3(3/4)"},
		{"compound", meter("\x00", "\x06", "\x03") + "\x18\xff\x2f\x00", "1:0+3(6/8) 2:3+3(6/8)"},
		{"upbeat, and the last bar makes up for it", meter("\x00", "\x04", "\x02") + meter("\x04", "\x04", "\x02") + "\x1c\xff\x2f\x00", "0:0+1(4/4) 1:1+4(4/4) 2:5+3(4/4)"},
		{"cut within", meter("\x00", "\x02", "\x02") + meter("\x0c", "\x03", "\x02") + "\x0c\xff\x2f\x00", "1:0+2(2/4) 2:2+1(2/4) 3:3+3(3/4)"},
		{"two at once", meter("\x00", "\x02", "\x02") + meter("\x00", "\x03", "\x02") + "\x0c\xff\x2f\x00", "1:0+3(3/4)"},
		{"0 beats", meter("\x00", "\x00", "\x02") + "\x10\xff\x2f\x00", "1:0+4(4/4)"},
	} {
		p := read(t, filed(0, 4, tt.track), Options{})
		var got []string
		for _, b := range p.Bars {
			got = append(got, fmt.Sprintf("%s:%v+%v(%v)", b.Number, b.Start, b.Length, b.Meter))
		}
		if s := strings.Join(got, " "); s != tt.want {
			t.Errorf("%s: got %s; want %s", tt.name, s, tt.want)
		}
	}
	p := read(t, filed(0, 4, "\x00\xff\x59\x02\xfd\x01\x00\xff\x03\x05Lamp\xe9\x04\xff\x59\x02\x02\x00\x00\xff\x59\x02\x09\x00\x0c\xff\x2f\x00"), Options{})
	if len(p.Keys) != 2 || p.Keys[0].Key.String() != "C minor" || p.Keys[1].Key.String() != "D major" || !p.Keys[1].Declared || p.Keys[1].At != score.Quarters(1) {
		t.Errorf("keys %v; want C minor, then D major at 1", p.Keys)
	}
	if p.Title != "Lampé" {
		t.Errorf("title %q; want Lampé", p.Title)
	}
}

// A note that lasts over bar lines is cut and tied; notes of different length in one hand get voices.
func TestVoices(t *testing.T) {
	p := read(t, filed(0, 4, "\x00\xff\x03\x02RH\x00\x90\x3c\x40\x00\x40\x40\x00\x43\x40\x04\x40\x00\x00\x43\x00\x00\x41\x40\x04\x41\x00\x0c\x3c\x00"+end), Options{})
	var got []string
	for _, n := range p.Notes {
		tie := ""
		if n.TieFrom {
			tie += "<"
		}
		if n.TieTo {
			tie += ">"
		}
		got = append(got, fmt.Sprintf("%v %v+%v v%d bar %d%s", n.Pitch, n.Onset, n.Duration, n.Voice, n.Bar, tie))
	}
	want := []string{"C4 0+4 v2 bar 0>", "E4 0+1 v1 bar 0", "G4 0+1 v1 bar 0", "F4 1+1 v1 bar 0", "C4 4+1 v2 bar 1<"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q; want %q", got, want)
	}
}

func TestErrors(t *testing.T) {
	ok := filed(0, 4, "\x00\x90\x3c\x40\x04\x3c\x00"+end)
	long := strings.Repeat("\xff\xff\xff\x7f\xff\x01\x00", 2)
	for _, tt := range []struct{ name, file, want string }{
		{"empty", "", `byte 0: it begins with ""`},
		{"text", "<?xml version", `byte 0: it begins with "<?xm"`},
		{"RIFF", "RIFF\x00\x00\x00\x00RMID", "RIFF file"},
		{"header cut", ok[:10], "byte 10: the file ends within its header"},
		{"header of 5", "MThd\x00\x00\x00\x05" + ok[8:], "byte 4: a header of 5 bytes; want 6"},
		{"header of 2^31", "MThd\x80\x00\x00\x00" + ok[8:], "ends within its header"},
		{"format 2", filed(2, 4, end), "byte 8: it is a file of format 2, independent patterns"},
		{"format 7", filed(7, 4, end), "format 7"},
		{"SMPTE", filed(0, 0xe728, end), "byte 12: its time is counted in film frames (SMPTE)"},
		{"no division", filed(0, 0, end), "no ticks"},
		{"too few tracks", "MThd\x00\x00\x00\x06\x00\x01\x00\x02\x00\x04" + ok[14:], "the file ends after 1 of 2 tracks"},
		{"track header cut", ok[:18], "ends within the header of a track"},
		{"track cut", ok[:len(ok)-6], "track 1, byte 27: the file ends within the track"},
		{"event past the track", filed(0, 4, "\x00\x90\x3c"), "track 1, byte 25: the event goes on past the end of the track"},
		{"no status", filed(0, 4, "\x00\x3c\x40"+end), "track 1, byte 23: byte 0x3c where an event should begin"},
		{"data byte", filed(0, 4, "\x00\x90\x3c\x80"+end), "data byte 0x80"},
		{"system message", filed(0, 4, "\x00\xf3\x01"+end), "byte 0xf3 begins no event"},
		{"long number", filed(0, 4, "\x81\x80\x80\x80\x00\x90\x3c\x40"+end), "byte 22: a number of more than four bytes"},
		{"meta past the track", filed(0, 4, "\x00\xff\x01\xff\xff\xff\x7fab"), "meta event 0x01 claims 268435455 bytes; the track has 2 left"},
		{"sysex past the track", filed(0, 4, "\x00\xf0\xff\xff\xff\x7fab"), "the event claims 268435455 bytes; the track has 2 left"},
		{"short tempo", filed(0, 4, "\x00\xff\x51\x02ab"+end), "meta event 0x51 of 2 bytes; want 3"},
		{"too long", filed(0, 1, long+end), "the track is longer than 1048576 quarter notes"},
		{"too many bars", filed(0, 1, "\x00\xff\x58\x04\x01\x06\x18\x08\xc0\x80\x00\xff\x01\x00"+end), "bars; want no more than 50000"},
	} {
		p, err := Read(strings.NewReader(tt.file), Options{File: "a.mid"})
		var e *Error
		if p != nil || !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) || !strings.HasPrefix(err.Error(), "midi: a.mid: ") {
			t.Errorf("%s: got %v; want %q", tt.name, err, tt.want)
		}
	}
	if _, err := Read(strings.NewReader(ok), Options{Tracks: []int{2}}); err == nil || !strings.Contains(err.Error(), "there is no track 2; the file has 1") {
		t.Errorf("track 2: %v", err)
	}
	if _, err := Read(strings.NewReader(ok), Options{Grid: 961}); err == nil {
		t.Error("a grid of 961 is taken")
	}
	if _, err := ReadFile("testdata/none.mid", Options{}); err == nil || !strings.Contains(err.Error(), "testdata/none.mid") {
		t.Errorf("no file: %v", err)
	}
	broken := errors.New("the disk is gone")
	for n := range len(example1) {
		if _, err := Read(io.MultiReader(strings.NewReader(example1[:n]), iotest.ErrReader(broken)), Options{}); !errors.Is(err, broken) {
			t.Fatalf("after %d bytes: %v; want %v", n, err, broken)
		}
		if _, err := Read(strings.NewReader(example1[:n]), Options{}); err == nil {
			t.Fatalf("the first %d bytes are read as a whole file", n)
		}
	}
	p, err := Read(iotest.OneByteReader(strings.NewReader(example1)), Options{})
	if q, _ := Read(strings.NewReader(example1), Options{}); err != nil || !reflect.DeepEqual(p, q) {
		t.Errorf("byte by byte: %v, %v; want %v", p, err, q)
	}
}

// What is refused is refused within 64 MiB above the file, and two seconds.
func TestLimits(t *testing.T) {
	if testing.Short() {
		t.Skip("large files")
	}
	// The reader below makes the files as they are read, so that only what Read keeps is measured.
	press := strings.Repeat("\x00\x3c\x40", 1000)
	for _, tt := range []struct {
		name, head, body string
		repeat           int
		tail, want       string
	}{
		{"a million notes and one", "\x00\x90\x3c\x40", press, 1000, "", "more than 1000000 notes"},
		{"long notes over many bars", "\x00\xff\x58\x04\x01\x06\x18\x08\x00\x90\x3c\x40", press, 200, "\x98\x00\xff\x01\x00", "cut at more than"},
		{"a million notes and many bars", "\x00\xff\x58\x04\x01\x06\x18\x08\x00\x90\x3c\x40", press, 999, "\x98\x00\xff\x01\x00", "cut at more than"},
		{"marks", "\x00\xff\x51\x03\x07\xa1\x20", strings.Repeat("\x00\xff\x51\x03\x07\xa1\x20", 1000), 101, "", "more than 100000 tempos"},
		{"size", "\x00\xff\x01\x00", strings.Repeat("\x00\xff\x01\x00", 10000), 1700, "", "larger than 64 MiB"},
		{"one long text", "\x00\xff\x01\xff\xff\xff\x7f", strings.Repeat("a", 10000), 7000, "", "larger than 64 MiB"},
	} {
		size := len(tt.head) + len(tt.body)*tt.repeat + len(tt.tail) + len(end)
		if tt.name == "one long text" {
			size = 1 << 30
		}
		rs := []io.Reader{strings.NewReader("MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x01MTrk" + string([]byte{byte(size >> 24), byte(size >> 16), byte(size >> 8), byte(size)}) + tt.head)}
		for range tt.repeat {
			rs = append(rs, strings.NewReader(tt.body))
		}
		rs = append(rs, strings.NewReader(tt.tail+end))
		peak, stop := watch()
		start := time.Now()
		_, err := Read(io.MultiReader(rs...), Options{})
		took := time.Since(start)
		close(stop)
		most := <-peak >> 20
		t.Logf("%s: %v, %d MiB, %v", tt.name, took.Round(time.Millisecond), most, err)
		if most > 64 {
			t.Errorf("%s: %d MiB in use; want no more than 64", tt.name, most)
		}
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v; want %q", tt.name, err, tt.want)
		}
	}
}

// watch gives the most memory in use above that at the start, until stop is closed.
func watch() (peak chan uint64, stop chan struct{}) {
	peak, stop = make(chan uint64, 1), make(chan struct{})
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	base, most := m.HeapAlloc, uint64(0)
	go func() {
		for {
			runtime.ReadMemStats(&m)
			if m.HeapAlloc > base {
				most = max(most, m.HeapAlloc-base)
			}
			select {
			case <-stop:
				peak <- most
				return
			case <-time.After(time.Millisecond):
			}
		}
	}()
	return peak, stop
}

// Files with bytes changed, taken out and put in: read or refused, nothing else. The library reader panicked on 134 of 3,000.
func TestMutated(t *testing.T) {
	seeds := seeds(t)
	refused := 0
	for i := range 3000 {
		r := rand.New(rand.NewPCG(uint64(i), 9))
		data := []byte(seeds[r.IntN(len(seeds))])
		for range 1 + r.IntN(6) {
			if len(data) == 0 {
				break
			}
			k := r.IntN(len(data))
			switch r.IntN(4) {
			case 0:
				data[k] = byte(r.IntN(256))
			case 1:
				data[k] ^= 1 << r.IntN(8)
			case 2:
				data = slices.Delete(data, k, min(k+1+r.IntN(8), len(data)))
			case 3:
				data = slices.Insert(data, k, data[k:min(k+1+r.IntN(8), len(data))]...)
			}
		}
		p, err := Read(bytes.NewReader(data), Options{})
		var e *Error
		switch {
		case err == nil:
			check(t, p)
		case p != nil || !errors.As(err, &e):
			t.Fatalf("mutation %d: %v, %T %v", i, p, err, err)
		default:
			refused++
		}
	}
	if refused < 300 || refused > 2900 {
		t.Errorf("%d of 3000 are refused; some should be, and some read", refused)
	}
}
