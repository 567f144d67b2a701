package musicxml

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// randomPassage makes a passage that no editor would export: notes that overlap within a voice and begin anywhere, bars of any
// length, all kinds of marks anywhere. Without ties no two notes of one sound overlap or touch.
func randomPassage(r *rand.Rand, ties bool) *score.Passage {
	p := &score.Passage{Title: []string{"", "Plain", `With <b> & "quotes"`, "é ♯"}[r.IntN(4)]}
	dens := []int64{1, 1, 2, 2, 4, 4, 8, 3, 6, 12, 5, 7, 9, 11, 20, 64}
	time := func(most Time) Time { // 0 <= t <= most
		d := dens[r.IntN(len(dens))]
		return score.T(r.Int64N(most.Num()*d/most.Den()+1), d)
	}
	at := Time{}
	voices := map[[2]int]bool{}
	for i := range 1 + r.IntN(6) {
		m := []score.Meter{{Beats: 4, Unit: 4}, {Beats: 6, Unit: 8}, {Beats: 5, Unit: 8, Groups: []int{3, 2}}, {Beats: 3, Unit: 8}, {}}[r.IntN(5)]
		if i > 0 && r.IntN(3) > 0 {
			m = p.Bars[i-1].Meter
		}
		b := score.Bar{Number: fmt.Sprint(i + 1), Start: at, Length: m.Length(), Meter: m}
		switch r.IntN(5) {
		case 0:
			b.Length = time(score.Quarters(6))
		case 1:
			b.Length = time(score.Quarters(6))
			b.Offset = time(score.Quarters(3))
		case 2:
			b.Number = []string{"0", "X1", "3-4", "1", "é"}[r.IntN(5)]
		}
		if b.Length.Sign() == 0 && m.Length().Sign() > 0 {
			b.Length = m.Length()
		}
		at = b.End()
		p.Bars = append(p.Bars, b)
		for range r.IntN(12) {
			n := score.Note{Bar: i, Hand: score.Hand(1 + r.IntN(2)), Voice: 1 + r.IntN(2), Cue: r.IntN(9) == 0}
			if ties {
				n.TieFrom, n.TieTo = r.IntN(4) == 0, r.IntN(3) == 0
			}
			n.Pitch = pitch.Pitch{Letter: pitch.Letter(r.IntN(7)), Alter: int8(r.IntN(7) - 3), Octave: int8(r.IntN(10))}
			if rel := time(b.Length); r.IntN(6) == 0 {
				n.Grace, n.Onset = score.Grace(1+r.IntN(2)), b.Start.Add(rel)
				n.After = rel.Sign() > 0 && r.IntN(3) == 0
			} else if rel.Less(b.Length) {
				n.Onset = b.Start.Add(rel)
				if n.Duration = time(b.Length.Sub(rel)); n.Duration.Sign() == 0 {
					n.Duration = b.Length.Sub(rel)
				}
			} else {
				continue
			}
			if !ties && n.Grace == score.NoGrace && slices.ContainsFunc(p.Notes, func(o score.Note) bool {
				return o.Pitch.MIDI() == n.Pitch.MIDI() && !n.End().Less(o.Onset) && !o.End().Less(n.Onset)
			}) {
				continue
			}
			voices[[2]int{int(n.Hand), n.Voice}] = true
			p.Notes = append(p.Notes, n)
		}
	}
	for i := range p.Notes { // voices are counted from 1
		if n := &p.Notes[i]; n.Voice == 2 && !voices[[2]int{int(n.Hand), 1}] {
			n.Voice = 1
		}
	}
	keys, tempos := map[Time]bool{}, map[Time]bool{}
	for range r.IntN(5) {
		if k := (score.KeyChange{At: time(at), Key: key.FromSignature(r.IntN(15)-7, key.Mode(r.IntN(7))), Declared: true}); !keys[k.At] {
			keys[k.At] = true
			p.Keys = append(p.Keys, k)
		}
		if t := (score.Tempo{At: time(at), Quarters: 30 + 100*r.Float64()}); !tempos[t.At] {
			tempos[t.At] = true
			p.Tempos = append(p.Tempos, t)
		}
		d := score.Dynamic{At: time(at), Text: []string{"p", "fff", "dim.", "molto [x] <y> | #", "cresc."}[r.IntN(5)], Hand: score.Hand(r.IntN(3))}
		if rest := at.Sub(d.At); rest.Sign() > 0 && r.IntN(2) == 0 {
			d.Text, d.Until = []string{"louder", "softer", "cresc.", "p", "x"}[r.IntN(5)], d.At.Add(rest.Mul(1, int64(1+r.IntN(3))))
		}
		p.Dynamics = append(p.Dynamics, d)
		p.Pedals = append(p.Pedals, score.Pedal{At: time(at), Act: score.PedalAct(1 + r.IntN(4))})
		h := score.Harmony{At: time(at), Kind: kinds[r.IntN(len(kinds))], Printed: []string{"", "m7", "<&>"}[r.IntN(3)], Degrees: []string{"", "add b9", "alter ##5, subtract 3"}[r.IntN(3)], Inverted: r.IntN(3)}
		if r.IntN(2) == 0 {
			h.HasBass, h.Bass = true, pitch.Class{Letter: pitch.A, Alter: -1}
		}
		if r.IntN(3) == 0 {
			h.Numeral = "bVI"
		} else if h.Kind != "none" {
			h.Root = pitch.Class{Letter: pitch.Letter(r.IntN(7)), Alter: int8(r.IntN(5) - 2)}
		}
		p.Harmonies = append(p.Harmonies, h)
		i := r.IntN(len(p.Bars))
		b := p.Bars[i]
		s := score.Sign{At: b.Start.Add(time(b.Length)), Bar: i, Kind: score.SignKind(1 + r.IntN(10))}
		switch s.Kind {
		case score.RepeatEnd:
			s.Times, s.AfterJump = r.IntN(4), r.IntN(2) == 0
		case score.EndingStart:
			s.Numbers, s.Text = []string{"1", "1, 2", ""}[r.IntN(3)], []string{"", "1.", "<2>"}[r.IntN(3)]
		case score.EndingEnd:
			s.Open = r.IntN(2) == 0
		case score.DaCapo, score.DalSegno, score.Fine, score.ToCoda:
			s.Text = []string{"", "D.C. al Fine & more"}[r.IntN(2)]
			if s.Kind != score.DaCapo && s.Text != "" {
				s.Text = "whatever it says"
			}
		}
		if !slices.ContainsFunc(p.Signs, func(o score.Sign) bool { return o.Kind == s.Kind && o.At == s.At && o.Bar == s.Bar }) {
			p.Signs = append(p.Signs, s)
		}
	}
	slices.SortStableFunc(p.Keys, func(a, b score.KeyChange) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(p.Tempos, func(a, b score.Tempo) int { return a.At.Compare(b.At) })
	p.Sort()
	return p
}

// TestWriteRandom writes and reads back random passages: they are equal, except that notes that no single value can say come back as
// several tied; then the sounding notes are the same.
func TestWriteRandom(t *testing.T) {
	dir := t.TempDir()
	var files []string
	equal, split := 0, 0
	seeds := uint64(2000)
	if raceDetector {
		seeds = 100
	}
	for seed := range seeds {
		r := rand.New(rand.NewPCG(seed, 3))
		p := randomPassage(r, seed%2 == 0)
		p.Source = fmt.Sprint("seed ", seed)
		before := fmt.Sprintf("%+v", p)
		q, data := again(t, p)
		if after := fmt.Sprintf("%+v", p); after != before {
			t.Fatalf("seed %d: Write changed its passage", seed)
		}
		if len(q.Notes) > len(p.Notes) {
			split++
			if seed%2 == 0 {
				continue
			}
			q.Notes = q.Sounding()
			// Sounding leaves cue notes out.
			p.Notes = slices.DeleteFunc(p.Notes, func(n score.Note) bool { return n.Cue })
		}
		if d := score.Diff(p, q); d != "" {
			t.Fatalf("seed %d: %s\n%s", seed, d, data)
		}
		equal++
		if seed%20 == 0 {
			name := filepath.Join(dir, fmt.Sprintf("%d.musicxml", seed))
			if err := os.WriteFile(name, data, 0o600); err != nil {
				t.Fatal(err)
			}
			files = append(files, name)
		}
	}
	t.Logf("%d equal, %d with split notes", equal, split)
	if equal < int(seeds/2) {
		t.Errorf("only %d of %d could be compared", equal, seeds)
	}
	validate(t, files)
}

// An archive is read as what was packed, starts as the standard wants, and is always the same.
func TestWriteCompressed(t *testing.T) {
	p := randomPassage(rand.New(rand.NewPCG(1, 4)), true)
	var a, b bytes.Buffer
	for _, w := range []*bytes.Buffer{&a, &b} {
		if err := Write(w, p, WriteOptions{Compressed: true}); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two archives of one passage differ")
	}
	// "mimetype" is the first file, stored, so that its text stands at byte 38 (MusicXML 4.0, Compressed .MXL files; Open
	// Container Format 1.0).
	if got, want := string(a.Bytes()[30:72]), "mimetypeapplication/vnd.recordare.musicxml"; got != want {
		t.Errorf("the archive begins with %q; want %q", got, want)
	}
	q, err := Read(&a, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(q.Warnings) > 0 {
		t.Logf("warnings: %q", q.Warnings)
	}
	if len(p.Notes) == len(q.Notes) {
		if d := score.Diff(p, q); d != "" {
			t.Error(d)
		}
	}
}
