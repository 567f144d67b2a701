package chord

import (
	"fmt"
	"testing"

	"plumbline/theory/pitch"
)

// Sources: BUT = Butterfield, Integrated Musicianship: Theory; CP = common practice, no source.
func TestImpostorOf(t *testing.T) {
	for _, c := range []struct{ notes, sounds, spelled, leads, source string }{
		{"Ab2 C4 Eb4 F#4", "Ab7", "German sixth on Ab", "[F# wants to rise to G]", "BUT 18a: opens outward to an octave on 5"},
		{"D3 F#3 A3 B#3", "D7", "German sixth on D", "[B# wants to rise to C#]", "BUT 18a transposed"},
		{"Db3 F3 Ab3 B3", "Db7", "German sixth on Db", "[B wants to rise to C]", "BUT 18a, worked example ex103: Db-B opens to C"},
		{"F3 B3 D#4 G#4", "Fm7(b5)", "Tristan chord on F", "[B wants to fall to G# D# wants to fall to D G# wants to rise to A]", "Wikipedia, Tristan chord: enharmonically half-diminished"},
		{"C4 D#4 G4", "Cm", "", "[D# wants to rise to E]", "CP"},
		{"E3 Ab3 B3", "E", "", "[Ab wants to fall to G]", "CP"},
		{"C3 Eb3 F#3 Bb3", "Cm7(b5)", "", "[F# wants to rise to G]", "CP"},
		{"B#3 E4 G4", "C", "", "[B# wants to rise to C#]", "CP"},
		{"G3 B3 D4 F4", "", "", "[]", "a plain seventh chord"},
		{"E3 G#3 C4", "", "", "[]", "all names of an augmented triad sound alike"},
		{"C3 Eb3 Gb3 A3", "", "", "[]", "all names of a diminished seventh sound alike"},
		{"C4 Db4 F#4 G4", "", "", "[]", "no plain chord"},
		{"", "", "", "[]", "nothing"},
	} {
		im, ok := ImpostorOf(notes(t, c.notes))
		if ok != (c.sounds != "") || im.Sounds != c.sounds || im.Spelled != c.spelled || fmt.Sprint(im.Leads) != c.leads {
			t.Errorf("ImpostorOf(%s) = %+v, %v; want %s spelled as %s, %s (%s)", c.notes, im, ok, c.sounds, c.spelled, c.leads, c.source)
		}
	}
	im, _ := ImpostorOf(notes(t, "D3 F#3 A3 B#3"))
	if want := "It sounds as D7, but is spelled as a German sixth on D: B# (for C) wants to rise to C#"; im.Text != want {
		t.Errorf("text %q, want %q", im.Text, want)
	}
}

// Written as the reading asks, a respelled note needs no respelling any more.
func TestConfirm(t *testing.T) {
	tried := 0
	for m := pcset(1); m < 1<<12; m++ {
		var ns []pitch.Pitch
		for _, pc := range m.list() {
			ns = append(ns, pitch.FromMIDI(48+pc, false))
		}
		for _, r := range Name(ns) {
			if (r.Confirm == "") != (len(r.Respelled) == 0) || len(r.Leads) != len(r.Respelled) {
				t.Fatalf("%s: %s: respelled %v, confirm %q", spell(ns), r.Label, r.Respelled, r.Confirm)
			}
			if len(r.Leads) == 0 || r.Type == "" {
				continue
			}
			var as []pitch.Pitch
			for _, p := range ns {
				q := p
				for _, l := range r.Leads {
					if l.Note == p.Class() {
						q = p.Add(pitch.Interval{Steps: int(l.As.Letter) - int(p.Letter), Semitones: 0})
						for q.Class() != l.As { // over the octave's end
							q = p.Add(pitch.Interval{Steps: q.Step() - p.Step() - 7*sign(q.Step()-p.Step()), Semitones: 0})
						}
					}
				}
				as = append(as, q)
			}
			tried++
			found := false
			for _, r2 := range Name(as) {
				found = found || r2.Root == r.Root && len(r2.Respelled) == 0
			}
			if !found && len(r.Members) == m.len() && len(r.Added)+len(r.Altered) == 0 && r.Kind != AugmentedSixth {
				t.Errorf("%s read as %s: spelled %s it is %q", spell(ns), r.Label, spell(as), labels(Name(as)))
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d readings tried", tried)
	}
}

func sign(n int) int {
	if n < 0 {
		return -1
	}
	return 1
}
