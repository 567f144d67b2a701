package synth

import (
	"encoding/binary"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"
)

// tone is a sine of f Hz, in both channels or the left alone.
func tone(rate SampleRate, f, amp float64, d time.Duration, both bool) *Clip {
	c := &Clip{Rate: rate, Samples: make([]float32, 2*rate.N(d))}
	for i := range c.Frames() {
		x := float32(amp * math.Sin(2*math.Pi*f*float64(i)/float64(rate)))
		c.Samples[2*i] = x
		if both {
			c.Samples[2*i+1] = x
		}
	}
	return c
}

// TestCheckTone: "if a 0 dB FS, 997 Hz sine wave is applied to the left, centre, or right channel input, the indicated
// loudness will equal -3.01 LKFS" (ITU-R BS.1770-4, Annex 1; wording from memory).
func TestCheckTone(t *testing.T) {
	const tolerance = 0.01
	for _, rate := range []SampleRate{32000, 44100, 48000, 96000, 192000} {
		if got := tone(rate, 997, 1, 3*time.Second, false).Loudness(); !(math.Abs(float64(got)+3.01) <= tolerance) {
			t.Errorf("check tone at %d Hz: %.3f LKFS; want -3.01", rate, got)
		}
	}
	// In both channels 3.01 more; 20 dB down, 20 less. Shorter than a block: the same but for the filter's own start.
	for _, tt := range []struct {
		amp  float64
		both bool
		d    time.Duration
		want float64
		tol  float64
	}{{1, true, time.Second, 0, tolerance}, {0.1, false, time.Second, -23.01, tolerance}, {0.1, true, 200 * time.Millisecond, -20, 0.05}} {
		if got := tone(DefaultRate, 997, tt.amp, tt.d, tt.both).Loudness(); !(math.Abs(float64(got)-tt.want) <= tt.tol) {
			t.Errorf("997 Hz of amplitude %g for %v: %.3f LUFS; want %g", tt.amp, tt.d, got, tt.want)
		}
	}
	if got := (&Clip{Rate: DefaultRate}).Loudness(); !math.IsInf(float64(got), -1) {
		t.Errorf("no sound at all: %g LUFS; want -Inf", got)
	}
	if got := tone(DefaultRate, 997, 1e-4, time.Second, true).Loudness(); !math.IsInf(float64(got), -1) {
		t.Errorf("a tone of -80 dBFS, below the absolute gate: %g LUFS; want -Inf", got)
	}
}

// TestConformance runs the minimum requirements for integrated loudness, test signals 1 to 5 of EBU Tech 3341 (from
// memory): stereo sines of 1000 Hz at peak levels in dBFS, for so many seconds. Tolerance 0.1 LU, as there.
func TestConformance(t *testing.T) {
	type part struct{ level, seconds float64 }
	for i, tt := range []struct {
		parts []part
		want  float64
	}{
		{[]part{{-23, 20}}, -23},
		{[]part{{-33, 20}}, -33},
		{[]part{{-36, 10}, {-23, 60}, {-36, 10}}, -23},
		{[]part{{-72, 10}, {-36, 10}, {-23, 60}, {-36, 10}, {-72, 10}}, -23},
		{[]part{{-26, 20}, {-20, 20.1}, {-26, 20}}, -23},
	} {
		var clips []*Clip
		for _, p := range tt.parts {
			clips = append(clips, tone(DefaultRate, 1000, math.Pow(10, p.level/20), time.Duration(p.seconds*float64(time.Second)), true))
		}
		c, err := Concat(0, clips...)
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Loudness(); !(math.Abs(float64(got)-tt.want) <= 0.1) {
			t.Errorf("signal %d: %.3f LUFS; want %g", i+1, got, tt.want)
		}
	}
}

// TestOtherRates: away from 48 kHz the weighting has the response of the tabulated filter.
func TestOtherRates(t *testing.T) {
	db := func(q biquad, f float64, rate SampleRate) float64 {
		z := cmplx.Exp(complex(0, -2*math.Pi*f/float64(rate)))
		h := (complex(q.b0, 0) + complex(q.b1, 0)*z + complex(q.b2, 0)*z*z) / (1 + complex(q.a1, 0)*z + complex(q.a2, 0)*z*z)
		return 20 * math.Log10(cmplx.Abs(h))
	}
	for _, rate := range []SampleRate{44100, 96000} {
		for _, f := range []float64{20, 38.1, 100, 500, 1000, 1500, 2000, 4000, 8000} {
			for _, q := range []biquad{kShelf, kHighPass} {
				if got, want := db(q.at(rate), f, rate), db(q, f, DefaultRate); !(math.Abs(got-want) < 0.03) {
					t.Errorf("%g Hz at %d: %.4f dB; at 48 kHz %.4f", f, rate, got, want)
				}
			}
		}
	}
}

// meter measures loudness another way, to judge ours by: the K-weighting is applied to the whole clip's spectrum by an FFT
// that isn't ours, then blocks and gates are done as the standard words them.
func meter(c *Clip) float64 {
	n := 1 << 16
	for n < c.Frames()+1<<15 { // room for the filter to ring out instead of coming round
		n *= 2
	}
	fft := fourier.NewFFT(n)
	weights := make([]complex128, n/2+1)
	for k := range weights {
		z := cmplx.Exp(complex(0, -2*math.Pi*fft.Freq(k)))
		shelf := (1.53512485958697 - 2.69169619940638*z + 1.19839281085285*z*z) / (1 - 1.69065929318241*z + 0.73248077421585*z*z)
		high := (1 - 2*z + z*z) / (1 - 1.99004745483398*z + 0.99007225036621*z*z)
		weights[k] = shelf * high / complex(float64(n), 0)
	}
	power := make([]float64, (c.Frames()+4799)/4800*4800) // the last hop filled up with silence, as Loudness says
	for ch := range 2 {
		x := make([]float64, n)
		for i := range c.Frames() {
			x[i] = float64(c.Samples[2*i+ch])
		}
		z := fft.Coefficients(nil, x)
		for k := range z {
			z[k] *= weights[k]
		}
		for i, y := range fft.Sequence(nil, z)[:c.Frames()] {
			power[i] += y * y
		}
	}
	var blocks []float64
	for from := 0; from+19200 <= len(power); from += 4800 {
		sum := 0.0
		for _, p := range power[from : from+19200] {
			sum += p
		}
		blocks = append(blocks, sum/19200)
	}
	gated := func(threshold float64) float64 {
		sum, k := 0.0, 0.0
		for _, z := range blocks {
			if -0.691+10*math.Log10(z) > threshold {
				sum, k = sum+z, k+1
			}
		}
		return -0.691 + 10*math.Log10(sum/k)
	}
	return gated(max(-70, gated(-70)-10))
}

// TestEqualLoudness: single notes and chords of eight, low and high, short and long, all come out equally loud.
func TestEqualLoudness(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 4))
	low, high, held := 0.0, math.Inf(-1), 0
	judge := func(c *Clip, name string) {
		got := meter(c)
		if want := float64(DefaultLevel) - float64(c.Held); !(math.Abs(got-want) < 0.02) {
			t.Errorf("%s: %.3f LUFS by the other meter; want %.3f", name, got, want)
		}
		if p := c.Peak(); !(p <= Ceiling) {
			t.Errorf("%s: peak %g; want at most %g", name, p, Ceiling)
		}
		if c.Held > 0 {
			held++
			return
		}
		low, high = min(low, got), max(high, got)
	}
	for _, n := range []int{1, 8} {
		for _, lowest := range []int{21, 60, 84, 108} {
			for _, d := range []time.Duration{400 * time.Millisecond, 2 * time.Second} {
				judge(render(t, Options{}, chordOf(r, n, lowest, d)...), "extremes")
			}
		}
	}
	for range 14 {
		judge(render(t, Options{Tail: time.Duration(r.IntN(2)) * time.Second}, chordOf(r, 1+r.IntN(8), 21+r.IntN(60), time.Duration(400+r.IntN(1500))*time.Millisecond)...), "random")
	}
	if !(high-low <= 0.5) {
		t.Errorf("from %.3f to %.3f LUFS; want within 0.5 LU", low, high)
	}
	t.Logf("from %.4f to %.4f LUFS, %d held down by the ceiling", low, high, held)
}

// TestCeiling: what can't be made loud enough stays below the ceiling, says so, and a set is brought down together.
func TestCeiling(t *testing.T) {
	note := Note{Freq: 55, Length: 6 * time.Second, Strength: 1}
	loud := render(t, Options{Level: MaxLevel}, note)
	if !(loud.Held > 0) || loud.Peak() > Ceiling || loud.Peak() < 0.999*Ceiling {
		t.Errorf("held down by %.2f LU, peak %g; want some and the ceiling, %g", loud.Held, loud.Peak(), Ceiling)
	}
	if got, want := loud.Loudness(), MaxLevel-LUFS(loud.Held); math.Abs(float64(got-want)) > 0.01 {
		t.Errorf("%.3f LUFS; want %.3f, as Held says", got, want)
	}
	pcm := loud.AppendPCM16(nil)
	for i := 0; i < len(pcm); i += 2 {
		if x := int16(binary.LittleEndian.Uint16(pcm[i:])); x > 16384 || x < -16384 {
			t.Fatalf("sample %d is %d in 16 bits, above half of 32768", i/2, x)
		}
	}
	other := render(t, Options{Level: MaxLevel}, Note{Freq: 880, Length: time.Second, Strength: 1})
	if other.Held != 0 {
		t.Fatalf("held down by %g; want a clip that reaches its level", other.Held)
	}
	before := loud.Loudness()
	level, err := MatchLoudness(other, loud)
	if err != nil || math.Abs(float64(level-before)) > 1e-6 {
		t.Errorf("MatchLoudness = %.3f, %v; want %.3f, the quietest", level, err, before)
	}
	for i, c := range []*Clip{other, loud} {
		if got := c.Loudness(); math.Abs(float64(got-level)) > 0.01 {
			t.Errorf("clip %d is at %.3f LUFS after matching; want %.3f", i, got, level)
		}
	}
	silent := &Clip{Rate: DefaultRate, Samples: make([]float32, 96000)}
	if _, err := MatchLoudness(loud, silent); err == nil {
		t.Error("MatchLoudness with a silent clip: no error")
	}
	if _, err := MatchLoudness(); err == nil {
		t.Error("MatchLoudness of nothing: no error")
	}
}

// TestLevels: a clip is as loud as it was asked to be, and one gain makes the difference.
func TestLevels(t *testing.T) {
	notes := []Note{{Freq: 440, Length: time.Second, Strength: 0.5}, {Freq: 330, Length: 2 * time.Second, Strength: 0.5}}
	at := map[LUFS]*Clip{}
	for _, level := range []LUFS{MinLevel, -40, DefaultLevel, -23} {
		c := render(t, Options{Level: level, Voice: Organ}, notes...)
		if got := c.Loudness(); !(math.Abs(float64(got-level)) < 0.01) || c.Held != 0 {
			t.Errorf("asked for %g LUFS: %.3f, held %g", level, got, c.Held)
		}
		at[level] = c
	}
	// Between these two the gates fall alike, so the gain is the difference of the levels.
	ratio := math.Pow(10, float64(-23-DefaultLevel)/20)
	for i, x := range at[DefaultLevel].Samples {
		if y := float64(at[-23].Samples[i]); math.Abs(y-float64(x)*ratio) > 1e-4 {
			t.Fatalf("sample %d: %g at %g LUFS and %g at -23; want one gain for all", i, x, DefaultLevel, y)
		}
	}
}

// TestKFilter: the vector instructions give the same sums and states as Go does, to the last bit; and in a long silence no
// denormal numbers are left.
func TestKFilter(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, rate := range []SampleRate{44100, 48000} {
		a, b := newKFilter(rate), newKFilter(rate)
		for range 20 {
			x := make([]float32, 2*(1+r.IntN(500)))
			for i := range x {
				x[i] = float32(2*r.Float64() - 1)
			}
			a.run(x)
			b.runGo(x)
			if *a != *b {
				t.Fatalf("the two ways differ: %+v and %+v", a, b)
			}
		}
		quiet := make([]float32, 2*4800)
		for range 100 {
			a.squares(quiet)
			for _, s := range [][2]float64{a.y1, a.y2, a.d1, a.z1, a.z2} {
				for _, v := range s {
					if v != 0 && math.Abs(v) < 1e-300 {
						t.Fatalf("a state of %g", v)
					}
				}
			}
		}
		if a.z1 != [2]float64{} || a.y1 != [2]float64{} {
			t.Errorf("after 10 s of silence the filter still holds %g and %g", a.y1, a.z1)
		}
	}
}
