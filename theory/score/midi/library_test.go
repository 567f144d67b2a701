package midi

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"
)

// ownEvents lists what a file says, in ticks, by our reader.
func ownEvents(t *testing.T, data []byte) []string {
	f, err := parse(bytes.NewReader(data), "")
	if err != nil {
		t.Fatal(err)
	}
	out := []string{fmt.Sprintf("format %d, division %d, tracks %d", f.format, f.division, len(f.tracks))}
	for p := range f.presses.all {
		out = append(out, fmt.Sprintf("track %d channel %d key %d: %d to %d", p.track, p.channel, p.key, p.on, p.off))
	}
	for _, m := range f.tempos {
		out = append(out, fmt.Sprintf("tempo at %d: %.2f", m.at, 60e6/float64(m.micros)))
	}
	for _, m := range f.meters {
		out = append(out, fmt.Sprintf("meter at %d: %d/%d", m.at, m.beats, m.unit))
	}
	for i, tr := range f.tracks {
		out = append(out, fmt.Sprintf("track %d %q ends at %d", i, tr.name, tr.end))
	}
	slices.Sort(out)
	return out
}

// libraryEvents lists the same by the library gitlab.com/gomidi/midi, with the first press released first as here.
func libraryEvents(t *testing.T, data []byte) []string {
	s, err := smf.ReadFrom(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	out := []string{fmt.Sprintf("format %d, division %d, tracks %d", s.Format(), s.TimeFormat.(smf.MetricTicks).Resolution(), len(s.Tracks))}
	for i, tr := range s.Tracks {
		at := int64(0)
		name := ""
		open := map[[2]uint8][]int64{}
		for _, e := range tr {
			at += int64(e.Delta)
			var ch, k, v, num, den uint8
			var bpm float64
			var text string
			switch {
			case e.Message.GetNoteStart(&ch, &k, &v):
				open[[2]uint8{ch, k}] = append(open[[2]uint8{ch, k}], at)
			case e.Message.GetNoteEnd(&ch, &k):
				if q := open[[2]uint8{ch, k}]; len(q) > 0 {
					out = append(out, fmt.Sprintf("track %d channel %d key %d: %d to %d", i, ch, k, q[0], at))
					open[[2]uint8{ch, k}] = q[1:]
				}
			case e.Message.GetMetaTempo(&bpm):
				out = append(out, fmt.Sprintf("tempo at %d: %.2f", at, bpm))
			case e.Message.GetMetaMeter(&num, &den):
				out = append(out, fmt.Sprintf("meter at %d: %d/%d", at, num, den))
			case e.Message.GetMetaTrackName(&text):
				name = text
			}
		}
		out = append(out, fmt.Sprintf("track %d %q ends at %d", i, name, at))
	}
	slices.Sort(out)
	return out
}

// Our files, read by the library.
func TestLibraryReads(t *testing.T) {
	for seed := range uint64(300) {
		p := small()
		if seed > 0 {
			p = randomPassage(rand.New(rand.NewPCG(seed, 3)))
		}
		var b bytes.Buffer
		if err := Write(&b, p, Options{}); err != nil {
			t.Fatal(err)
		}
		if got, want := ownEvents(t, b.Bytes()), libraryEvents(t, b.Bytes()); !slices.Equal(got, want) {
			t.Fatalf("seed %d: we read\n%s\nthe library\n%s", seed, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
	for _, s := range []string{example0, example1} {
		if got, want := ownEvents(t, []byte(s)), libraryEvents(t, []byte(s)); !slices.Equal(got, want) {
			t.Fatalf("we read\n%s\nthe library\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
}

// Files of the library's own writer, with what piano files hold beside notes: with and without running status.
func TestLibraryWrites(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 11))
		var s *smf.SMF
		tracks := 1 + r.IntN(4)
		if r.IntN(2) == 0 {
			s, tracks = smf.New(), 1
		} else {
			s = smf.NewSMF1()
		}
		s.NoRunningStatus = r.IntN(2) == 0
		s.TimeFormat = smf.MetricTicks(24 << r.IntN(6))
		for i := range tracks {
			var tr smf.Track
			tr.Add(0, smf.MetaTrackSequenceName(fmt.Sprint("part ", i)))
			var open [][2]uint8
			for range r.IntN(200) {
				d := uint32(r.IntN(300))
				if r.IntN(50) == 0 {
					d = uint32(r.IntN(1 << 15))
				}
				switch k := r.IntN(12); {
				case k < 5:
					n := [2]uint8{uint8(r.IntN(2)), uint8(60 + r.IntN(5))}
					tr.Add(d, midi.NoteOn(n[0], n[1], uint8(1+r.IntN(127))))
					open = append(open, n)
				case k < 9 && len(open) > 0:
					n := open[0]
					open = open[1:]
					if r.IntN(2) == 0 {
						tr.Add(d, midi.NoteOff(n[0], n[1]))
					} else {
						tr.Add(d, midi.NoteOn(n[0], n[1], 0))
					}
				case k == 9:
					tr.Add(d, midi.ControlChange(0, 64, uint8(r.IntN(128))))
					tr.Add(0, midi.ProgramChange(1, uint8(r.IntN(128))))
					tr.Add(0, midi.Pitchbend(0, int16(r.IntN(1000))))
				case k == 10:
					tr.Add(d, midi.SysEx([]byte{1, 2, 3}))
				default:
					tr.Add(d, smf.MetaTempo(float64(40+r.IntN(150))))
					tr.Add(0, smf.MetaMeter(uint8(1+r.IntN(12)), 1<<r.IntN(5)))
					tr.Add(0, smf.MetaText("a word"))
				}
			}
			for _, n := range open {
				tr.Add(1, midi.NoteOff(n[0], n[1]))
			}
			tr.Close(uint32(r.IntN(500)))
			if err := s.Add(tr); err != nil {
				t.Fatal(err)
			}
		}
		var b bytes.Buffer
		if _, err := s.WriteTo(&b); err != nil {
			t.Fatal(err)
		}
		if got, want := ownEvents(t, b.Bytes()), libraryEvents(t, b.Bytes()); !slices.Equal(got, want) {
			t.Fatalf("seed %d: we read\n%s\nthe library\n%s", seed, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		read(t, b.String(), Options{})
	}
}
