package synth

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// TestTemperaments holds the temperaments against published cents.
func TestTemperaments(t *testing.T) {
	for _, tt := range []struct {
		t     Temperament
		cents [12]float64
		from  string
		tol   float64
	}{
		{Equal, [12]float64{0, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100}, "definition", 0},
		{Just, [12]float64{0, 111.73, 203.91, 315.64, 386.31, 498.04, 590.22, 701.96, 813.69, 884.36, 1017.60, 1088.27},
			"Ellis's table in his edition of Helmholtz, On the Sensations of Tone, appendix XX, section D (from memory)", .006},
		{Pythagorean, [12]float64{0, 113.685, 203.910, 294.135, 407.820, 498.045, 611.730, 701.955, 815.640, 905.865, 996.090, 1109.775},
			"Barbour, Tuning and Temperament, 1951, the Pythagorean tuning from Eb to G# (from memory)", .0006},
		{Werckmeister, [12]float64{0, 90.225, 192.180, 294.135, 390.225, 498.045, 588.270, 696.090, 792.180, 888.270, 996.090, 1092.180},
			"tonalsoft.com, Encyclopedia of Microtonal Music Theory, Werckmeister III (G#, C# and F# seen there); the rest from memory", .0006},
	} {
		got := tt.t.Cents()
		for i, want := range tt.cents {
			if math.Abs(got[i]-want) > tt.tol {
				t.Errorf("%v: key %d at %.4f cents; want %.3f (%s)", tt.t, i, got[i], want, tt.from)
			}
		}
	}
	// Werckmeister III at A4 = 440 Hz, by the Mechanical Music Digest of 23 February 2001 (MIDI 48 to 59).
	u, err := NewTuning(Werckmeister, 0, 440)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{131.7021, 138.7479, 147.1644, 156.0914, 165, 175.6028, 184.9972, 196.8850, 208.1219, 220, 234.1371, 247.5} {
		if got := float64(u.Freq(48 + i)); math.Abs(got-want) > 6e-5 {
			t.Errorf("Werckmeister, key %d: %.5f Hz; want %.4f", 48+i, got, want)
		}
	}
}

// TestTuning: A4 is what was asked for, octaves are pure, the tonic moves the scale, and what is rendered is so tuned.
func TestTuning(t *testing.T) {
	worst := 0.0
	for _, temper := range Temperaments() {
		up := temper.Cents()
		for tonic := range 12 {
			for _, a4 := range []Hz{415, 440, 443} {
				u, err := NewTuning(temper, tonic, a4)
				if err != nil {
					t.Fatal(err)
				}
				if got := u.Freq(69); math.Abs(float64(got-a4)) > 1e-9 {
					t.Errorf("%v: A4 at %g Hz", u, got)
				}
				for key := 0; key < 116; key++ {
					if r := u.Freq(key+12) / u.Freq(key); math.Abs(float64(r)-2) > 1e-12 {
						t.Errorf("%v: the octave on key %d is %g", u, key, r)
					}
					root := (key-tonic+120)/12*12 - 120 + tonic // the tonic at or below
					if got := cents(float64(u.Freq(key)), float64(u.Freq(root))); math.Abs(got-up[key-root]) > 1e-6 {
						t.Fatalf("%v: key %d is %.4f cents above key %d; want %.4f", u, key, got, root, up[key-root])
					}
				}
			}
		}
		u, _ := NewTuning(temper, 2, 442)
		for key := 50; key < 62; key++ {
			c := render(t, Options{Voice: Flexible}, Note{Freq: u.Freq(key), Length: 1500 * time.Millisecond, Strength: .5, Pan: -1})
			want := 442 * math.Exp2(-7./12) * math.Exp2((up[key-50]-up[7]+700)/1200) / 2
			off := cents(peakNear(left(c)[:1<<16], c.Rate, want), want)
			worst = max(worst, math.Abs(off))
			if math.Abs(off) > centTolerance {
				t.Errorf("%v: key %d is rendered %.3f cents off", u, key, off)
			}
		}
	}
	t.Logf("rendered at most %.4f cents off", worst)
	var zero Tuning
	for key := range 128 {
		u, _ := NewTuning(Equal, 5, 0)
		if want := 440 * math.Pow(2, float64(key-69)/12); math.Abs(float64(zero.Freq(key))-want) > 1e-9*want || u.Freq(key) != zero.Freq(key) {
			t.Errorf("key %d: %g Hz; want %g", key, zero.Freq(key), want)
		}
	}
	for _, tt := range []struct {
		t     Temperament
		tonic int
		a4    Hz
	}{{9, 0, 440}, {Just, 12, 440}, {Just, -1, 440}, {Just, 0, 300}, {Just, 0, Hz(math.NaN())}} {
		if _, err := NewTuning(tt.t, tt.tonic, tt.a4); err == nil {
			t.Errorf("NewTuning(%v, %d, %g): no error", tt.t, tt.tonic, tt.a4)
		}
	}
	for _, temper := range Temperaments() {
		if got, err := ParseTemperament(temper.String()); err != nil || got != temper {
			t.Errorf("ParseTemperament(%q) = %v, %v", temper, got, err)
		}
	}
	u, _ := NewTuning(Just, 9, 0)
	if got := u.String() + "; " + fmt.Sprint(Temperament(9)) + "; " + zero.String(); got != "just on A, A4 = 440 Hz; %!Temperament(9); equal, A4 = 440 Hz" {
		t.Errorf("printed: %s", got)
	}
}
