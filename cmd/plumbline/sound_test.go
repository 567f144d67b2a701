package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/drills"
	"plumbline/drills/ear"
	"plumbline/synth"
	"plumbline/synth/speaker"
	"plumbline/theory/claim"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// TestDrillLoudness: 500 random questions of every kind and level, of a passage and of claims, rendered as the drill renders them, are
// equally loud within 0.5 LU in each voice, and none has a true peak above -3 dBTP or a sample above -6 dBFS.
func TestDrillLoudness(t *testing.T) {
	p := readPlanPassage(t)
	// A question gives one clip, or the two that are compared.
	var of []func(n int, ds *drillSound) ([]*synth.Clip, error)
	add := func(d *drills.Drill, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		of = append(of, func(n int, ds *drillSound) ([]*synth.Clip, error) {
			q := d.Question(n)
			c, err := ds.clip(q.Number, questionNotes(q))
			return []*synth.Clip{c}, err
		})
	}
	for _, k := range drills.Kinds() {
		for i, l := range drills.Levels(k) {
			add(drills.New(drills.Settings{Kind: k, Level: l.Number, Seed: uint64(i), Inversions: k == drills.Quality && i%2 == 1}))
		}
	}
	whole, err := p.Resolve(score.Place{All: true})
	if err != nil {
		t.Fatal(err)
	}
	add(drills.FromPassage(p, whole, drills.Settings{Kind: drills.Quality, Seed: 3, Foils: .5}))
	for _, text := range []string{"bar 3: bass is E", "bar 3, left hand: stacked in fifths"} {
		c, ok, bad := claim.ParseLine(text)
		if bad != nil || !ok {
			t.Fatal(text, bad)
		}
		s, err := ear.Find(p, c, nil)
		if err != nil {
			t.Fatal(text, err)
		}
		of = append(of, func(n int, ds *drillSound) ([]*synth.Clip, error) {
			return trialClips(s, s.Trial(7, n, ear.WhichOfTwo), synth.Options{Voice: ds.voice})
		})
	}
	if most := len(drills.Kinds()) + 2; len(of) < most {
		t.Fatalf("%d drills; want at least %d", len(of), most)
	}
	for i, v := range synth.Voices() {
		count := 20
		if i == 0 {
			count = 500
		}
		ds := &drillSound{voice: v}
		low, high, peak, sample, held, clips := math.Inf(1), math.Inf(-1), 0.0, 0.0, 0, 0
		worst := 0.0
		for n := range count {
			cs, err := of[(n*(1+12*min(i, 1))+i)%len(of)](100+n, ds) // from all over, of fewer
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range cs {
				clips++
				got := float64(c.Loudness())
				if n%5 == 0 { // by another meter too
					d := math.Abs(got - meter(c))
					if worst = max(worst, d); d > .02 {
						t.Errorf("%s, clip %d: %.3f LUFS, %.3f off by the plain meter", v.Name, clips, got, d)
					}
				}
				if c.Held > 0 {
					held++
				}
				low, high, peak, sample = min(low, got), max(high, got), max(peak, c.TruePeak()), max(sample, c.Peak())
			}
		}
		db := 20 * math.Log10(peak)
		t.Logf("%s, %d clips of %d drills: %.3f to %.3f LUFS, %d held down, true peak at most %.2f dBTP; the plain meter at most %.4f LU off", v.Name, clips, len(of), low, high, held, db, worst)
		if high-low > 0.5 || db > -3 || sample > synth.Ceiling {
			t.Errorf("%s: from %.3f to %.3f LUFS, true peak %.2f dBTP, samples to %.4f; want within 0.5 LU, at most -3 and 0.5", v.Name, low, high, db, sample)
		}
	}
}

// meter measures integrated loudness as ITU-R BS.1770-4 words it, at 48 kHz, with nothing of package synth: to judge that by. The last
// block is filled up with silence.
func meter(c *synth.Clip) float64 {
	const hop = 4800
	power := make([]float64, (c.Frames()+hop-1)/hop)
	for ch := range 2 {
		var x1, x2, y1, y2, z1, z2 float64
		for i := range len(power) * hop {
			x := 0.0
			if i < c.Frames() {
				x = float64(c.Samples[2*i+ch])
			}
			y := 1.53512485958697*x - 2.69169619940638*x1 + 1.19839281085285*x2 + 1.69065929318241*y1 - .73248077421585*y2
			z := y - 2*y1 + y2 + 1.99004745483398*z1 - .99007225036621*z2
			x1, x2, y1, y2, z1, z2 = x, x1, y, y1, z, z1
			power[i/hop] += z * z / (4 * hop)
		}
	}
	gated := func(above float64) float64 {
		sum, n := 0.0, 0.0
		for i := 3; i < len(power); i++ {
			if z := power[i-3] + power[i-2] + power[i-1] + power[i]; -.691+10*math.Log10(z) > above {
				sum, n = sum+z, n+1
			}
		}
		return -.691 + 10*math.Log10(sum/n)
	}
	return gated(max(-70, gated(-70)-10))
}

// TestHearPlays: what hear plays on a device begins softly and is else what it writes into a file; long music is streamed,
// and a comparison has one level throughout.
func TestHearPlays(t *testing.T) {
	p := readPlanPassage(t)
	place := []score.Region{placeOf(t, p, "bars 1-2")}
	at := func(c *synth.Clip, from, to time.Duration) *synth.Clip {
		return &synth.Clip{Rate: c.Rate, Samples: c.Samples[2*c.Rate.N(from) : 2*c.Rate.N(to)]}
	}
	for _, tt := range []struct {
		l    listening
		from time.Duration // from where on the level is full
		less float64       // dB
	}{
		{listening{slower: 1}, 2 * time.Second, 0},
		{listening{slower: 1, loop: 5}, 2 * time.Second, 0}, // 30 s
		{listening{slower: 1, compare: []noteName{{class: pitch.Class{Letter: pitch.G}, any: true}}}, 0, float64(compareBelow)},
	} {
		pl, err := newPlan(p, place, tt.l)
		if err != nil {
			t.Fatal(err)
		}
		w := newWorld(t, "")
		if err := w.sound(context.Background(), pl, synth.Options{}, soundFlags{}, "x"); err != nil {
			t.Fatal(err)
		}
		written, err := synth.Render(pl.notes, synth.Options{})
		if err != nil {
			t.Fatal(err)
		}
		clips := w.fake.Clips()
		if len(clips) != 1 || clips[0].Frames() != written.Frames() || w.out.Len()+w.err.Len() > 0 {
			t.Fatalf("%d clips; stdout %q, stderr %q", len(clips), w.out.String(), w.err.String())
		}
		off := func(from, to time.Duration) float64 {
			return 20 * math.Log10(at(clips[0], from, to).RMS()/at(written, from, to).RMS())
		}
		rest := off(tt.from, written.Duration())
		if slack := 1.0; math.Abs(rest+tt.less) > slack {
			t.Errorf("%+v: %.2f dB off from %v on; want %g", tt.l, rest, tt.from, -tt.less)
		}
		if early := off(0, 100*time.Millisecond) - rest; tt.from > 0 && (early > -10 || early < -13) {
			t.Errorf("%+v: begins %.2f dB below; want about %g", tt.l, -early, float64(startBelow))
		}
	}
	// Without a device the same comes in a file.
	w := newWorld(t, "")
	w.fake.Fail = func(int) error { return &speaker.DeviceError{Reason: "pulled"} }
	pl, err := newPlan(p, place, listening{slower: 1, loop: 5})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.sound(context.Background(), pl, synth.Options{}, soundFlags{bits: 24}, "x"); err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(strings.TrimSpace(w.out.String()))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if c, f, err := synth.ReadWAV(file); err != nil || f != synth.PCM24 || c.Duration() < 30*time.Second {
		t.Errorf("the file: %v, %v; want all of it in 24 bits", f, err)
	}
}

// A pulledSink takes so many clips, even those that are cut short, and then its device is gone.
type pulledSink struct{ taken, most int }

func (p *pulledSink) Play(context.Context, *synth.Clip) error {
	if p.taken++; p.taken > p.most {
		return &speaker.DeviceError{Reason: "the device stopped working"}
	}
	return nil
}

func (p *pulledSink) Close() error { return nil }

// TestDrillPlugPulled: the device goes in the middle of a drill, whatever the moment: it goes on with files, says so once, and
// every answer is recorded.
func TestDrillPlugPulled(t *testing.T) {
	const count = 4 // questions, each of them played twice
	for most := range 2*count - 1 {
		w := newWorld(t, strings.Repeat("play\n1\n", count))
		w.openSpeaker = func(context.Context) (speaker.Sink, error) { return &pulledSink{most: most}, nil }
		dir := t.TempDir()
		t.Setenv("TMPDIR", dir)
		if code := w.drillArgs("--count", fmt.Sprint(count), "--seed", "3"); code != exitDone {
			t.Fatalf("pulled after clip %d: exit %d, stderr %s", most, code, w.err.String())
		}
		if sum := w.recorded(t); sum.Total.Asked != count {
			t.Errorf("pulled after clip %d: %d answers recorded; want %d", most, sum.Total.Asked, count)
		}
		if n := strings.Count(w.err.String(), "the device stopped working"); n != 1 {
			t.Errorf("pulled after clip %d: told %d times; want once\n%s", most, n, w.err.String())
		}
		// The clip that failed is told of at the next one, which is the first in a file; a question has one file.
		files, err := filepath.Glob(filepath.Join(dir, "plumbline-drill-*", "question-*.wav"))
		if want := count - (most+1)/2; err != nil || len(files) != want {
			t.Errorf("pulled after clip %d: files %v, %v; want %d", most, files, err, want)
		}
	}
}
