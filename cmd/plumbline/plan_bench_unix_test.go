//go:build unix

package main

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"plumbline/synth"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// longPassage has so many bars with notes in both hands, a dynamic, a tempo and two pedal marks in each.
func longPassage(bars int) *score.Passage {
	p := &score.Passage{}
	q := score.Quarters
	for b := range bars {
		start := q(4 * b)
		p.Bars = append(p.Bars, score.Bar{Number: fmt.Sprint(b + 1), Start: start, Length: q(4), Meter: score.Meter{Beats: 4, Unit: 4}})
		p.Tempos = append(p.Tempos, score.Tempo{At: start, Quarters: 110 + float64(b%10)})
		p.Dynamics = append(p.Dynamics, score.Dynamic{At: start, Text: []string{"p", "mf", "f"}[b%3]})
		p.Pedals = append(p.Pedals, score.Pedal{At: start, Act: score.PedalDown}, score.Pedal{At: start.Add(q(3)), Act: score.PedalUp})
		add := func(key int, at, d score.Time, h score.Hand) {
			p.Notes = append(p.Notes, score.Note{Pitch: pitch.FromMIDI(key, false), Onset: start.Add(at), Duration: d, Hand: h, Voice: 1, Bar: b})
		}
		root := 36 + b*7%12
		for k := range int64(4) {
			add(root+int(k)*7%24, q(int(k)), q(1), score.Left)
		}
		for k := range int64(8) {
			add(root+24+int(k)*5%12, score.T(k, 2), score.T(1, 2), score.Right)
			add(root+28+int(k)*5%12, score.T(k, 2), score.T(1, 2), score.Right)
		}
	}
	p.Sort()
	return p
}

// BenchmarkHear: from asking for a whole passage to its first block of sound: the plan, the stream, the block.
func BenchmarkHear(b *testing.B) {
	for _, bars := range []int{4, 100, 800} {
		p := longPassage(bars)
		all := []score.Region{{To: p.End()}}
		b.Run(fmt.Sprintf("first-block/%d-bars", bars), func(b *testing.B) {
			b.ReportAllocs()
			buf := make([]float32, 1024)
			began := cpuTime()
			for b.Loop() {
				pl, err := newPlan(p, all, listening{slower: 1})
				if err != nil {
					b.Fatal(err)
				}
				s, err := synth.NewStream(pl.notes, synth.Options{})
				if err == nil {
					_, err = s.Read(buf)
				}
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric((cpuTime()-began).Seconds()*1e3/float64(b.N), "cpu-ms/op")
		})
	}
}

// cpuTime returns the processor time this process has had, which tells more than the clock on a machine that has other work.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
