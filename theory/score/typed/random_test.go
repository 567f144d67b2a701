package typed

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// randomPassage makes a passage that no typist would type: notes that overlap within a voice, begin anywhere and last any
// time, ties that lead anywhere, bars of any length.
func randomPassage(r *rand.Rand) *score.Passage {
	p := &score.Passage{Title: []string{"", "Plain", "With # and \"quotes\"", " spaces ", "\xff\n"}[r.IntN(5)]}
	dens := []int64{1, 2, 4, 8, 16, 3, 6, 12, 5, 7, 9, 11, 20, 64}
	time := func(most Time) Time { // 0 <= t <= most
		d := dens[r.IntN(len(dens))]
		return score.T(r.Int64N(most.Num()*d/most.Den()+1), d)
	}
	at := Time{}
	for i := range 1 + r.IntN(6) {
		m := []score.Meter{{Beats: 4, Unit: 4}, {Beats: 6, Unit: 8}, {Beats: 5, Unit: 8, Groups: []int{3, 2}}, {}}[r.IntN(4)]
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
		at = b.End()
		p.Bars = append(p.Bars, b)
		for range r.IntN(12) {
			n := score.Note{Bar: i, Hand: score.Hand(1 + r.IntN(2)), Voice: 1 + r.IntN(2), TieFrom: r.IntN(4) == 0, TieTo: r.IntN(3) == 0, Cue: r.IntN(9) == 0}
			n.Pitch = pitch.Pitch{Letter: pitch.Letter(r.IntN(3)), Alter: int8(r.IntN(3) - 1), Octave: 4}
			if room := b.Length; r.IntN(6) == 0 {
				n.Grace = score.Grace(1 + r.IntN(2))
				n.Onset = b.Start.Add(time(room))
				n.After, n.Together = r.IntN(3) == 0, r.IntN(3) == 0
			} else if rel := time(room); rel.Less(room) {
				n.Onset = b.Start.Add(rel)
				if n.Duration = time(room.Sub(rel)); n.Duration.Sign() == 0 {
					n.Duration = room.Sub(rel)
				}
			} else {
				continue
			}
			p.Notes = append(p.Notes, n)
		}
	}
	for range r.IntN(4) {
		p.Keys = append(p.Keys, score.KeyChange{At: time(at), Key: key.FromSignature(r.IntN(15)-7, key.Mode(r.IntN(7))), Declared: true})
		p.Tempos = append(p.Tempos, score.Tempo{At: time(at), Quarters: 30 + 100*r.Float64()})
		d := score.Dynamic{At: time(at), Text: []string{"p", "fff", "dim.", "molto [x] \"y\" | # "}[r.IntN(4)], Hand: score.Hand(r.IntN(3))}
		if rest := at.Sub(d.At); rest.Sign() > 0 && r.IntN(2) == 0 {
			d.Text, d.Until = []string{louder, softer, "cresc."}[r.IntN(3)], d.At.Add(rest.Mul(1, int64(1+r.IntN(3))))
		}
		p.Dynamics = append(p.Dynamics, d)
		p.Pedals = append(p.Pedals, score.Pedal{At: time(at), Act: score.PedalAct(1 + r.IntN(4))})
		h := score.Harmony{At: time(at), Kind: kindNames[r.IntN(len(kindNames))], Printed: []string{"", "m7", "#9 ", "|[x] \"y\"", "7 # b"}[r.IntN(5)],
			Degrees: []string{"", "add b9", "alter ##5, subtract 3"}[r.IntN(3)], Inverted: r.IntN(3)}
		if r.IntN(2) == 0 {
			h.HasBass, h.Bass = true, pitch.Class{Letter: pitch.A, Alter: -1}
		}
		if r.IntN(3) == 0 {
			h.Numeral = "bVI"
		} else {
			h.Root = pitch.Class{Letter: pitch.Letter(r.IntN(7)), Alter: int8(r.IntN(5) - 2)}
		}
		p.Harmonies = append(p.Harmonies, h)
		i := r.IntN(len(p.Bars))
		s := score.Sign{At: p.Bars[i].Start.Add(time(p.Bars[i].Length)), Bar: i, Kind: score.SignKind(1 + r.IntN(10))}
		switch s.Kind {
		case score.RepeatEnd:
			s.Times, s.AfterJump = r.IntN(4), r.IntN(2) == 0
		case score.EndingStart:
			s.Numbers, s.Text = []string{"1", "1, 2", "", "01 ] or so"}[r.IntN(4)], []string{"", "1.", "[2]"}[r.IntN(3)]
		case score.EndingEnd:
			s.Open = r.IntN(2) == 0
		case score.DaCapo, score.DalSegno, score.Fine, score.ToCoda:
			s.Text = []string{"", "D.C. al Fine", "D.S. al Coda", "al | [fine] # \"so\""}[r.IntN(4)]
		}
		switch s.Kind {
		case score.Segno, score.Coda, score.DalSegno, score.ToCoda:
			s.Label = []string{"", "A", "al", "two words]"}[r.IntN(4)]
		}
		p.Signs = append(p.Signs, s)
	}
	p.Sort()
	return p
}

func TestWriteRandom(t *testing.T) {
	for seed := range uint64(1500) {
		p := randomPassage(rand.New(rand.NewPCG(seed, 2)))
		before := fmt.Sprintf("%+v", p)
		ok := t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) { checkRoundTrip(t, p) })
		if after := fmt.Sprintf("%+v", p); after != before {
			t.Errorf("seed %d: Write changed its passage", seed)
		}
		if !ok {
			break
		}
	}
}

// TestMarkSalad throws the words of marks together: whatever Read accepts can be written and is read back the same.
func TestMarkSalad(t *testing.T) {
	words := strings.Fields(`chord C F#m7/C Bb b7 7alt "V" "" "7" "x]" "a|b" dominant none N.C. with over inversion 1 2 major C6/9 Am7b5 C#° 0
		repeat from here times 3 also after a jump ending end left open 1, 2 1-3 numbered "01" segno coda called B fine al to da capo dal ped up change / \ C|x`)
	starts := []string{"chord", "chord C", "chord Am7", `chord "V"`, "repeat", "ending", "segno", "coda", "to coda", "dal segno", "da capo", "fine", "ped"}
	r := rand.New(rand.NewPCG(5, 6))
	read := map[string]int{}
	for range 40_000 {
		start := starts[r.IntN(len(starts))]
		s := start
		for range r.IntN(6) {
			s += []string{" ", " ", "  ", "\t"}[r.IntN(4)] + words[r.IntN(len(words))]
		}
		p, err := Read("", strings.NewReader("meter: 1/4\nbar 1\nright: q C4 ["+s+"]"))
		if err == nil {
			read[start]++
			checkRoundTrip(t, p)
		}
	}
	for _, s := range starts {
		if read[s] < 100 {
			t.Errorf("only %d texts that begin with %q were understood", read[s], s)
		}
	}
}

// long is a text of n blocks of four bars.
func long(n int) string {
	var b strings.Builder
	b.WriteString("key: A major\nmeter: 4/4\n")
	for i := range n {
		fmt.Fprintf(&b, "\nbars %d-%d\n", 4*i+1, 4*i+4)
		b.WriteString("right: h B3+E4+A4 q A4 B#4 | w C#5= | e C#5 D5 E5 F#5 3in2(q G#5 A5 B5) | h. [p] E5+G#5+B5 q r\n")
		b.WriteString("left:  w A2+E3+B3 | F#2+C#3 | e A2 E3 A3 E3 B2 E3 B3 E3 | w E2+B2\n")
	}
	return b.String()
}

func BenchmarkRead(b *testing.B) {
	text := long(250) // a thousand bars
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read("", strings.NewReader(text)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkWrite(b *testing.B) {
	p, err := Read("", strings.NewReader(long(250)))
	if err != nil {
		b.Fatal(err)
	}
	var out bytes.Buffer
	if err := Write(&out, p); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(out.Len()))
	b.ReportAllocs()
	for b.Loop() {
		if err := Write(io.Discard, p); err != nil {
			b.Fatal(err)
		}
	}
}
