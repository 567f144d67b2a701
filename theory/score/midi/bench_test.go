package midi

import (
	"bufio"
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// lasting is a passage of n notes: broken chords under a line, through all keys, with chromatic notes.
func lasting(n int) *score.Passage {
	r := rand.New(rand.NewPCG(1, 1))
	scale := []int{0, 2, 4, 5, 7, 9, 11}
	p := &score.Passage{Title: "A long walk", Tempos: []score.Tempo{{Quarters: 80}}}
	four := score.Meter{Beats: 4, Unit: 4}
	tonic := 0
	for bar := 0; len(p.Notes) < n; bar++ {
		start := score.Quarters(4 * bar)
		p.Bars = append(p.Bars, score.Bar{Number: strconv.Itoa(bar + 1), Start: start, Length: score.Quarters(4), Meter: four})
		if bar%8 == 0 {
			tonic = (tonic + []int{7, 5, 9}[r.IntN(3)]) % 12
		}
		root := r.IntN(7)
		for i := range 16 {
			add := func(k int, dur score.Time, h score.Hand, v int) {
				p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(k, false), Onset: start.Add(score.T(int64(i), 4)), Duration: dur, Hand: h, Voice: v, Bar: bar})
			}
			add(48+tonic+scale[(root+2*(i%3))%7], score.T(1, 4), score.Left, 1)
			if i%2 == 0 {
				k := 72 + tonic + scale[r.IntN(7)]
				if r.IntN(10) == 0 {
					k--
				}
				add(k, score.T(1, 2), score.Right, 1)
			}
			if i == 0 {
				add(36+tonic+scale[root], score.Quarters(4), score.Left, 2)
			}
		}
	}
	p.Notes = p.Notes[:n]
	p.Sort()
	return p
}

// BenchmarkRead reads a file of 100,000 notes: with its hands in two tracks, and all in one, where they are to be divided.
func BenchmarkRead(b *testing.B) {
	p := lasting(100_000)
	for _, one := range []bool{false, true} {
		name := "hands"
		if one {
			name = "divided"
			for i := range p.Notes {
				p.Notes[i].Hand = score.Right
			}
		}
		b.Run(name, func(b *testing.B) {
			var file bytes.Buffer
			if err := Write(&file, p, Options{}); err != nil {
				b.Fatal(err)
			}
			data := file.Bytes()
			if one {
				data = bytes.Replace(data, []byte("right hand"), []byte("both hands"), 1)
			}
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Read(bytes.NewReader(data), Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(p.Notes)), "notes")
		})
	}
}

func BenchmarkWrite(b *testing.B) {
	p := lasting(100_000)
	b.ReportAllocs()
	for b.Loop() {
		if err := Write(io.Discard, p, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(p.Notes)), "notes")
}

// The staff that the editors of the annotated corpus give each note, against the hand that divide gives it.
func TestHands(t *testing.T) {
	for _, tt := range []struct {
		set   string
		floor float64
	}{{"grieg_lyric_pieces", 90}, {"chopin_mazurkas", 90}} {
		files, err := filepath.Glob(filepath.Join(shared(t, "corpus", tt.set), "*.notes.tsv"))
		if err != nil || len(files) < 50 {
			t.Fatalf("%d pieces, %v", len(files), err)
		}
		right, middle, all := 0, 0, 0
		for _, name := range files {
			f, err := os.Open(name)
			if err != nil {
				t.Fatal(err)
			}
			b := &builder{f: &file{}, per: 10080}
			var staff []score.Hand
			for sc := bufio.NewScanner(f); sc.Scan(); {
				c := strings.Split(sc.Text(), "\t")
				x, err := pitch.Parse(c[4])
				if err != nil || c[5] == "stop" || c[5] == "both" {
					continue // the heading, and what is held on
				}
				on := quarter(c[0])
				b.notes = append(b.notes, note{on: on, off: on + quarter(c[3]), key: uint8(x.MIDI()), stream: int32(c[1][0] - '0')})
			}
			f.Close()
			b.order()
			for i := range b.notes {
				staff = append(staff, score.Hand(b.notes[i].stream))
			}
			b.divide()
			for i, n := range b.notes {
				all++
				if n.hand == staff[i] {
					right++
				}
				if (n.key >= 60) == (staff[i] == score.Right) {
					middle++
				}
			}
		}
		got, plain := 100*float64(right)/float64(all), 100*float64(middle)/float64(all)
		t.Logf("%s: %.2f of 100 notes go to the hand of their staff; divided at middle C: %.2f", tt.set, got, plain)
		if got < tt.floor || got < plain {
			t.Errorf("%s: %.2f of 100 notes; want %.1f, and more than %.2f", tt.set, got, tt.floor, plain)
		}
	}
}

func quarter(s string) int64 {
	a, b, ok := strings.Cut(s, "/")
	x, _ := strconv.ParseFloat(a, 64)
	if ok {
		y, _ := strconv.ParseFloat(b, 64)
		x /= y
	}
	return int64(math.Round(x * 10080))
}

// Played not quite in time: each onset and end off by up to 1/80 of a quarter note. All go back to where they belong.
func TestPlayed(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	p := &score.Passage{Bars: []score.Bar{{Number: "1", Length: score.Quarters(400), Meter: score.Meter{Beats: 4, Unit: 4}}}}
	q := &score.Passage{Bars: p.Bars}
	at := score.Quarters(1)
	for range 300 {
		d := []score.Time{score.T(1, 2), score.T(1, 4), score.T(1, 3), score.Quarters(1), score.T(3, 4)}[r.IntN(5)]
		n := score.Note{Pitch: pitch.FromMIDI(60+r.IntN(20), false), Onset: at, Duration: d, Hand: score.Right, Voice: 1}
		at = at.Add(d)
		if d.Den() == 3 {
			at = at.Add(score.T(2, 3))
		}
		p.Notes = append(p.Notes, n)
		late := func() score.Time { return score.T(r.Int64N(13)-6, 480) }
		e := n.End().Add(late())
		n.Onset = n.Onset.Add(late())
		n.Duration = e.Sub(n.Onset)
		q.Notes = append(q.Notes, n)
	}
	var b bytes.Buffer
	if err := Write(&b, q, Options{}); err != nil {
		t.Fatal(err)
	}
	back := read(t, b.String(), Options{})
	if got, want := held(back), held(p); !slices.Equal(got, want) {
		for i := range want {
			if i < len(got) && got[i] != want[i] {
				t.Errorf("note %d: got %s; want %s", i, got[i], want[i])
			}
		}
	}
	if w := strings.Join(back.Warnings, "; "); !strings.Contains(w, "onsets of notes are rounded by up to 1/80 ") || !strings.Contains(w, "ends of notes are rounded by up to 1/80 ") {
		t.Errorf("warnings %q; want the rounding", w)
	}
}
