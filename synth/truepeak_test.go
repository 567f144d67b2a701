package synth

import (
	"math"
	"testing"
	"time"
)

// TestTruePeak: a sine at a quarter of the sample rate, sampled 45 degrees off its peaks, has samples 3.01 dB below its true
// peak (ITU-R BS.1770-4, Annex 2, attachment: the worst case it names; from memory). The standard's own meter reads within
// 0.4 dB or so; EBU Tech 3341 wants +0.2/-0.4 dB (from memory).
func TestTruePeak(t *testing.T) {
	for _, tt := range []struct{ share, phase float64 }{{1. / 4, 45}, {1. / 4, 0}, {1. / 6, 60}, {1. / 8, 67.5}, {0.1234, 17}, {0.3, 11}, {0.42, 40}} {
		const amp = 0.4
		c := &Clip{Rate: DefaultRate, Samples: make([]float32, 2*9600)}
		for i := range c.Frames() {
			edge := math.Min(1, math.Min(float64(i), float64(9600-i))/1000) // no corner at the ends
			c.Samples[2*i+1] = float32(edge * amp * math.Sin(2*math.Pi*tt.share*float64(i)+tt.phase*math.Pi/180))
		}
		db := 20 * math.Log10(c.TruePeak()/amp)
		if db > 0.2 || db < -0.4 {
			t.Errorf("sine at %g of the rate, phase %g: read %+.3f dB off (samples %+.3f)", tt.share, tt.phase, db, 20*math.Log10(c.Peak()/amp))
		}
	}
	// What is skipped because nothing near by is large must not matter.
	c := render(t, Options{}, chordAt(5)...)
	want := c.Peak()
	for ch := range 2 {
		for i := range c.Frames() {
			for p := range overTimes {
				sum := 0.0
				for k, h := range overFilter[p] {
					if j := i + k - overTaps/2 + 1; j >= 0 && j < c.Frames() {
						sum += h * float64(c.Samples[2*j+ch])
					}
				}
				want = max(want, math.Abs(sum))
			}
		}
	}
	if got := c.TruePeak(); math.Abs(got-want) > 1e-12 {
		t.Errorf("TruePeak = %g; the whole interpolated signal has %g", got, want)
	}
	// A clip at the sample ceiling whose true peak is higher is held down.
	odd := Voice{"odd", Attack, Release, func(dst []Partial, f Hz, s float64) []Partial {
		for k := range 12 { // peaks together, between the samples of 12 kHz
			dst = append(dst, Partial{Freq: 12000 + Hz(k), Amp: s, Phase: math.Pi / 4})
		}
		return dst
	}}
	loud := render(t, Options{Voice: odd, Level: MaxLevel}, Note{Freq: 440, Length: 3 * time.Second, Strength: 1, Pan: -1})
	if tp := loud.TruePeak(); !(tp <= TruePeakCeiling) {
		t.Errorf("true peak %.3f dBTP; want at most -3", 20*math.Log10(tp))
	}
}
