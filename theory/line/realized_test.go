package line_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"plumbline/theory/chord"
	"plumbline/theory/line"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// realized makes a passage of a realized pattern, a chord a quarter, four to the bar.
func realized(seq chord.Sequence) *score.Passage {
	p := &score.Passage{}
	m := score.Meter{Beats: 4, Unit: 4}
	for i, v := range seq.Chords {
		if i%4 == 0 {
			p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(i/4 + 1), Start: score.Quarters(i), Meter: m, Length: m.Length().Min(score.Quarters(len(seq.Chords) - i))})
		}
		for h, ps := range map[score.Hand][]pitch.Pitch{score.Left: v.Left, score.Right: v.Right} {
			for _, x := range ps {
				p.Notes = append(p.Notes, score.Note{Pitch: x, Onset: score.Quarters(i), Duration: score.Quarters(1), Hand: h, Voice: 1, Bar: i / 4})
			}
		}
	}
	p.Sort()
	return p
}

// Patterns as theory/chord realizes them: every interval of the bass, folded into its register, with every interval of the
// melody, three to twelve triads, sevenths or ninths, as far as the melody note belongs to a chord over the bass and stays on the
// keyboard. The sequence is found in one piece with the period of its outer intervals. With one outer note spoiled and the pattern
// claimed, the place is named and the right note given; unclaimed, it is named wherever at least six chords in a row are left and the wrong one is not the first.
func TestRealizedSequences(t *testing.T) {
	intervals := func(text ...string) (out []pitch.Interval) {
		for _, s := range text {
			i, err := pitch.ParseInterval(s)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, i)
		}
		return out
	}
	basses := intervals("P1", "m2", "M2", "m3", "M3", "P4", "A4", "P5", "m6", "M6", "m7", "M7", "-m2", "-M2", "-m3", "-M3", "-P4", "-A4", "-P5", "-m6", "-M6", "-m7", "-M7")
	tops := intervals("P1", "m2", "M2", "m3", "M3", "P4", "P5", "-m2", "-M2", "-m3", "-M3", "-P4", "-P5")
	families := []string{"triad", "seventh", "ninth"}
	mod := func(a int) int { return ((a % 12) + 12) % 12 }
	rng := rand.New(rand.NewPCG(6, 18))
	asked, cases, found, spoiled, named, seen, due := 0, 0, 0, 0, 0, 0, 0
	for bi, b := range basses {
		for mi, m := range tops {
			if b == pitch.Unison && m == pitch.Unison {
				continue // a chord repeated
			}
			for n := 3; n <= 12; n++ {
				if testing.Short() && (n+bi+mi)%4 != 0 {
					continue
				}
				asked++
				pat := chord.Pattern{Start: pitch.Pitch{Letter: pitch.C, Octave: 3}, Bass: []chord.Move{{By: b}}, Fold: true, HasMelody: true,
					MelodyMoves: []chord.Move{{By: m}}, Plan: []chord.Plan{{Family: families[(n+bi+mi)%3]}}, Number: n, Reach: 16}
				var seq chord.Sequence
				ok := false
				for _, start := range []string{"G5", "E5", "C5", "Bb5", "D5", "E4", "G6", "C6"} { // whichever suits
					pat.Melody, _ = pitch.Parse(start)
					if s, err := chord.RealizePattern(pat); err == nil {
						seq, ok = s, true
						break
					}
				}
				if !ok {
					continue
				}
				cases++
				p := realized(seq)
				period := 1
				for mod((m.Semitones-b.Semitones)*period) != 0 {
					period++
				}
				whole := score.Region{To: p.End()}
				list := line.FindSequences(p.Sounding(), whole, p)
				if slices.ContainsFunc(list, func(s line.Sequence) bool {
					return s.Layer == score.Whole && s.Size == 1 && len(s.Chords) == n && s.Period == period && len(s.Breaks) == 0 &&
						mod(s.Interval.Semitones) == mod(b.Semitones) && mod(s.TopMoves.Semitones) == mod(m.Semitones)
				}) {
					found++
				} else {
					t.Errorf("bass %v, top %v, %d chords, %s: %v", b, m, n, seq.Text, list)
				}
				// One outer note goes astray, by a step away from the other voice.
				k, low := rng.IntN(n), rng.IntN(2) == 0
				at := -1
				for i, x := range p.Notes {
					if x.Onset == score.Quarters(k) && (at < 0 || low == (x.Pitch.Compare(p.Notes[at].Pitch) < 0)) {
						at = i
					}
				}
				good := p.Notes[at].Pitch
				d := pitch.MajorSecond
				if mod(b.Semitones) == 2 || mod(m.Semitones) == 2 || mod(-b.Semitones) == 2 || mod(-m.Semitones) == 2 {
					d = pitch.MinorSecond // else two chords may become the same
				}
				if low {
					d = d.Neg()
				}
				bad := good.Add(d)
				p.Notes[at].Pitch = bad
				p.Sort()
				spoiled++
				s, ok := line.CheckSequence(p.Sounding(), whole, p, line.Pattern{Size: 1, Bass: &b, Top: &m})
				hit := func(x line.Break) bool { return x.Note.Onset == score.Quarters(k) && x.Note.Pitch == bad }
				if !ok && slices.ContainsFunc(s.Breaks, func(x line.Break) bool { return hit(x) && mod(x.Want.MIDI()) == mod(good.MIDI()) }) {
					named++
				} else {
					t.Errorf("bass %v, top %v, %d chords, %v for %v at %d: %v, %v", b, m, n, bad, good, k+1, ok, s.Breaks)
				}
				list = line.FindSequences(p.Sounding(), whole, p)
				told := slices.ContainsFunc(list, func(s line.Sequence) bool { return slices.ContainsFunc(s.Breaks, hit) })
				if told {
					seen++
				}
				// A wrong first chord is none of the sequence that follows; and the roots may go on over a wrong bass.
				roots := slices.ContainsFunc(list, func(s line.Sequence) bool { return len(s.Names) > 0 && s.Period == 0 && len(s.Chords) == n })
				if max(k, n-1-k) >= 6 && k > 0 && !roots {
					if due++; !told {
						t.Errorf("not told: bass %v, top %v, %d chords, chord %d", b, m, n, k+1)
					}
				}
			}
		}
	}
	t.Logf("%d patterns, %d can be realized: found %d; spoiled %d: named when claimed %d, unclaimed %d (%d have six chords in a row left)", asked, cases, found, spoiled, named, seen, due)
	if cases < asked/4 {
		t.Errorf("only %d of %d patterns can be realized", cases, asked)
	}
}
