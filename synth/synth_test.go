package synth

import (
	"bufio"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"
)

// key returns the frequency of a MIDI note number by the formula the published tables print: 440 * 2^((n-69)/12).
func key(n int) Hz { return Hz(440 * math.Pow(2, float64(n-69)/12)) }

func render(t testing.TB, opts Options, notes ...Note) *Clip {
	t.Helper()
	c, err := Render(notes, opts)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// left returns the left channel.
func left(c *Clip) []float64 {
	x := make([]float64, c.Frames())
	for i := range x {
		x[i] = float64(c.Samples[2*i])
	}
	return x
}

// A spectrum is an FFT under a Gaussian window, whose main lobe is a parabola in the logarithm, so that three bins give the
// top of a peak exactly. An exponential decay only moves such a window in time.
type spectrum struct {
	c   []complex128
	bin float64 // Hz
}

func spectrumOf(x []float64, rate SampleRate) spectrum {
	n := len(x)
	w := make([]float64, n)
	for i := range w {
		d := (float64(i) - float64(n)/2) / (0.12 * float64(n))
		w[i] = x[i] * math.Exp(-d*d/2)
	}
	return spectrum{fourier.NewFFT(n).Coefficients(nil, w), float64(rate) / float64(n)}
}

// peakNear returns the frequency of the peak within half a semitone of f.
func (s spectrum) peakNear(f float64) float64 {
	mag := func(k int) float64 { return 0.5 * math.Log(real(s.c[k])*real(s.c[k])+imag(s.c[k])*imag(s.c[k])) }
	from, to := max(int(f*0.97/s.bin), 1), min(int(f*1.03/s.bin)+1, len(s.c)-2)
	best := from
	for k := from; k <= to; k++ {
		if mag(k) > mag(best) {
			best = k
		}
	}
	a, b, d := mag(best-1), mag(best), mag(best+1)
	return (float64(best) + 0.5*(a-d)/(a-2*b+d)) * s.bin
}

func peakNear(x []float64, rate SampleRate, f float64) float64 {
	return spectrumOf(x, rate).peakNear(f)
}

func cents(f, g float64) float64 { return 1200 * math.Log2(f/g) }

// centTolerance is how far a rendered key may lie from the published frequency; the published digits add their own half.
const centTolerance = 0.1

// TestPublishedFrequencies renders keys and finds their fundamentals by an FFT that isn't ours.
func TestPublishedFrequencies(t *testing.T) {
	for _, row := range []struct {
		midi  int
		print string // as published
		from  string
	}{
		{21, "27.50", "Suits, Physics of Music - Notes, A4 = 440 Hz (Michigan Technological University)"},
		{36, "65.406", "CRC Handbook of Chemistry and Physics, equal-tempered scale"},
		{48, "130.81", "Suits"},
		{60, "261.6255653005", "OEIS A329207"},
		{69, "440.0000000000", "OEIS A329216"},
		{84, "1046.50", "Suits"},
		{96, "2093.00", "Suits"},
		{108, "4186.01", "Suits"},
	} {
		checkKey(t, row.midi, row.print)
	}
}

// TestEveryKey does the same for all 88 keys, if the whole table is there.
func TestEveryKey(t *testing.T) {
	dir := os.Getenv("PLUMBLINE_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared")
	}
	file, err := os.Open(filepath.Join(dir, "reference", "equal-temperament.tsv"))
	if err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatal(err)
		}
		t.Skip("the table of published frequencies isn't here: ", err)
	}
	defer file.Close()
	keys := 0
	for lines := bufio.NewScanner(file); lines.Scan(); {
		cells := strings.Split(lines.Text(), "\t")
		midi, err := strconv.Atoi(cells[0])
		if err != nil || midi < 21 || midi > 108 {
			continue
		}
		keys++
		checkKey(t, midi, cells[3]) // published to two decimals
	}
	if keys != 88 {
		t.Errorf("%d keys in the table; want 88", keys)
	}
}

func checkKey(t *testing.T, midi int, published string) {
	t.Helper()
	want, err := strconv.ParseFloat(published, 64)
	if err != nil {
		t.Fatal(err)
	}
	digits := len(published) - 1 - strings.Index(published, ".")
	half := cents(want+0.5*math.Pow(10, -float64(digits)), want)
	c := render(t, Options{Voice: Flexible}, Note{Freq: key(midi), Length: 1500 * time.Millisecond, Strength: 0.7, Pan: -1})
	got := peakNear(left(c)[4800:4800+1<<16], c.Rate, want)
	if off := cents(got, want); !(math.Abs(off) <= centTolerance+half) {
		t.Errorf("key %d: %.5f Hz, %+.3f cents from the published %s", midi, got, off, published)
	}
}

// TestPartials: on every key of the piano the fundamental is in place and the partials of the struck string lie where the
// formula of the stiff string puts them (Fletcher 1964), by an FFT that isn't ours; those of the flexible one at multiples.
func TestPartials(t *testing.T) {
	worst := 0.0
	for midi := 21; midi <= 108; midi++ {
		f := float64(key(midi))
		// B after Rigaud, David and Daudet 2013, written out here once more.
		b := math.Exp(-8.47e-2*float64(midi)-5.82) + math.Exp(9.26e-2*float64(midi)-13.64)
		for _, v := range []Voice{Struck, Flexible} {
			if v.Name == "flexible" {
				b = 0
			}
			x := left(render(t, Options{Voice: v}, Note{Freq: key(midi), Length: 1500 * time.Millisecond, Strength: 1, Pan: -1}))[:1<<16]
			if midi > 84 {
				x = x[:1<<14] // they die soon
			}
			s := spectrumOf(x, DefaultRate)
			for n := 1.0; n <= 6; n++ {
				want := n * f * math.Sqrt((1+b*n*n)/(1+b))
				if want > 20000 {
					break
				}
				off := cents(s.peakNear(want), want)
				worst = max(worst, math.Abs(off))
				if !(math.Abs(off) <= centTolerance) {
					t.Errorf("%s, key %d, partial %g of %.2f Hz is %+.3f cents off", v.Name, midi, n, want, off)
				}
			}
		}
	}
	t.Logf("at most %.4f cents off", worst)
}

// TestBand: nothing sounds above 0.45 of the sample rate, whatever the voice, key, tuning and strength; the engine's own partials
// are looked at for all of them, and the sound itself, by an FFT that isn't ours, for the keys of the top two octaves.
func TestBand(t *testing.T) {
	checked := 0
	for _, v := range append(Voices(), Tick) {
		for _, rate := range []SampleRate{MinRate, 44100, DefaultRate} {
			for _, temper := range Temperaments() {
				for _, a4 := range []Hz{MinA4, 440, MaxA4} {
					u, err := NewTuning(temper, 6, a4)
					if err != nil {
						t.Fatal(err)
					}
					var notes []Note
					for midi := 21; midi <= 108; midi++ {
						notes = append(notes, Note{Freq: u.Freq(midi), Length: time.Millisecond, Strength: .1 + .9*float64(midi%4)/3})
					}
					e, err := newEngine(notes, Options{Rate: rate, Voice: v})
					if err != nil {
						t.Fatal(err)
					}
					for i, n := range e.notes {
						if err := e.begin(n); err != nil {
							t.Fatal(err)
						}
						s := e.sounding[i]
						if s.live == 0 {
							t.Errorf("%s, key %d at %d Hz: nothing sounds", v.Name, 21+i, rate)
						}
						for _, c := range s.course[:s.live] {
							checked++
							if float64(c.freq) > topShare*float64(rate) {
								t.Errorf("%s, %v, key %d at %d Hz: a partial of %.0f Hz", v.Name, u, 21+i, rate, float64(c.freq))
							}
						}
					}
				}
			}
		}
	}
	t.Logf("%d partials", checked)
	for _, v := range Voices() {
		for midi := 85; midi <= 108; midi++ {
			rate := []SampleRate{MinRate, 44100, 48000}[midi%3]
			c := render(t, Options{Rate: rate, Voice: v}, Note{Freq: key(midi), Length: 300 * time.Millisecond, Strength: 1, Pan: -1})
			x := left(c)[:1<<13]
			for i := range x { // so that what leaks from the partials below falls off fast
				s := math.Sin(math.Pi * float64(i) / float64(len(x)))
				x[i] *= s * s * s * s
			}
			var below, above float64
			fft := fourier.NewFFT(len(x))
			for k, z := range fft.Coefficients(nil, x) {
				e := real(z)*real(z) + imag(z)*imag(z)
				if fft.Freq(k) > topShare+0.002 {
					above += e
				} else {
					below += e
				}
			}
			if db := 10 * math.Log10(above/below); !(db < -90) {
				t.Errorf("%s at %d Hz: key %d has %.1f dB above %g of the rate; want less than -90", v.Name, rate, midi, db, topShare)
			}
		}
	}
}

func TestVoices(t *testing.T) {
	for _, v := range append(Voices(), Tick) {
		if got, err := ParseVoice(strings.ToUpper(v.Name)); v.Name != "tick" && (err != nil || got.Name != v.Name) {
			t.Errorf("ParseVoice(%q) = %v, %v", v.Name, got.Name, err)
		}
		for _, f := range []Hz{27.5, 440, 4186} {
			var centroids []float64
			for _, s := range []float64{0.1, 0.5, 1} {
				parts := v.Partials(make([]Partial, 3), f, s)[3:] // appended, not overwritten
				if len(parts) == 0 || len(parts) > MaxPartials {
					t.Fatalf("%s(%g, %g) gives %d partials", v.Name, f, s, len(parts))
				}
				var power, sum, weighted float64
				for i, p := range parts {
					if err := p.check(); err != nil {
						t.Errorf("%s(%g, %g): %v", v.Name, f, s, err)
					}
					if i > 0 && (p.Decay < parts[i-1].Decay || p.After < parts[i-1].After) {
						t.Errorf("%s(%g, %g): partial %d decays more slowly than the one below", v.Name, f, s, i+1)
					}
					// ITU-R BS.1770-4, tables 1 and 2, as responses.
					z := cmplx.Exp(complex(0, -2*math.Pi*min(float64(p.Freq), topShare*48000)/48000))
					shelf := (1.53512485958697 - 2.69169619940638*z + 1.19839281085285*z*z) / (1 - 1.69065929318241*z + 0.73248077421585*z*z)
					high := (1 - 2*z + z*z) / (1 - 1.99004745483398*z + 0.99007225036621*z*z)
					k := cmplx.Abs(shelf * high)
					power += p.Amp * p.Amp / 2 * k * k
					sum += p.Amp
					weighted += p.Amp * float64(p.Freq)
				}
				if math.Abs(power-s*s) > 1e-5*s*s {
					t.Errorf("%s(%g, %g) has the K-weighted power %g; want the strength squared", v.Name, f, s, power)
				}
				centroids = append(centroids, weighted/sum)
			}
			if bright := centroids[0] < centroids[1] && centroids[1] < centroids[2]; bright != (v.Name == "struck" || v.Name == "flexible" || v.Name == "bowed") {
				t.Errorf("%s(%g): spectral centres %v; want strings brighter with strength, others not", v.Name, f, centroids)
			}
		}
	}
	if _, err := ParseVoice("kazoo"); err == nil || !strings.Contains(err.Error(), "struck, flexible, bowed, organ, sine") {
		t.Errorf("ParseVoice(kazoo): %v; want an error that lists the voices", err)
	}
}

// TestInharmonicity: orders of magnitude of B, measured on pianos (Conklin, Design and tone in the mechanoacoustic piano,
// part III, JASA 100, 1996, and Rigaud and others 2013; from memory).
func TestInharmonicity(t *testing.T) {
	for _, tt := range []struct {
		midi      int
		low, high float64
	}{{21, 2e-4, 8e-4}, {33, 1e-4, 4e-4}, {45, 8e-5, 3e-4}, {57, 1.5e-4, 5e-4}, {69, 4e-4, 1e-3}, {81, 1.3e-3, 3e-3}, {108, 1e-2, 4e-2}} {
		if b := Inharmonicity(key(tt.midi)); b < tt.low || b > tt.high {
			t.Errorf("B of key %d is %.2g; want %g to %g", tt.midi, b, tt.low, tt.high)
		}
	}
}

// TestTwoStages: a struck note dies faster at first than later, by the ratio its partials have, and lasting voices don't die.
func TestTwoStages(t *testing.T) {
	level := func(x []float64, at float64) float64 { // dB, over a tenth of a second
		sum := 0.0
		for _, v := range x[int(at*48000):int((at+.1)*48000)] {
			sum += v * v
		}
		return 10 * math.Log10(sum)
	}
	for _, v := range Voices() {
		x := left(render(t, Options{Voice: v}, Note{Freq: 440, Length: 6 * time.Second, Strength: .5, Pan: -1}))
		early, late := level(x, .1)-level(x, .5), level(x, 4)-level(x, 5)
		switch v.Name {
		case "struck", "flexible": // 9.7 dB a second for the first partial, more for the rest; then two sevenths of it
			if early/.4 < 9.7 || early/.4 > 20 || late < 2.6 || late > 3.2 {
				t.Errorf("%s: %.1f dB a second early, %.1f late; want 10 to 20, and 2.8", v.Name, early/.4, late)
			}
		default:
			if math.Abs(early) > .5 || math.Abs(late) > .5 {
				t.Errorf("%s: %.2f dB a second early, %.2f late; want none", v.Name, early/.4, late)
			}
		}
	}
}

// TestStringColour holds the struck string against what is known of pianos, by an FFT that isn't ours: the bass has its strength
// above its first partial, the highest notes have little but it, hard blows are brighter, and a long note grows darker.
func TestStringColour(t *testing.T) {
	levels := func(midi int, strength float64, at time.Duration) (dB []float64, centre float64) {
		x := left(render(t, Options{}, Note{Freq: key(midi), Length: 3 * time.Second, Strength: strength, Pan: -1}))[DefaultRate.N(at):][:1<<14]
		for i := range x {
			x[i] *= 1 - math.Cos(2*math.Pi*float64(i)/float64(len(x)))
		}
		z := fourier.NewFFT(len(x)).Coefficients(nil, x)
		sum, weighted := 0.0, 0.0
		for k, c := range z {
			e := real(c)*real(c) + imag(c)*imag(c)
			sum, weighted = sum+e, weighted+e*float64(k)*48000/float64(len(x))
		}
		f, b := float64(key(midi)), Inharmonicity(key(midi))
		for n := 1.0; n <= 4; n++ {
			k := int(n*f*math.Sqrt((1+b*n*n)/(1+b))*float64(len(x))/48000 + .5)
			e := 0.0
			for i := k - 2; i <= k+2 && i < len(z); i++ {
				e = max(e, real(z[i])*real(z[i])+imag(z[i])*imag(z[i]))
			}
			dB = append(dB, 10*math.Log10(e))
		}
		return dB, weighted / sum
	}
	for _, tt := range []struct {
		midi   int
		centre [2]float64 // Hz, at the strength of mf
		second [2]float64 // dB of the second partial above the first
		harder float64    // how many times the centre rises from pp to ff, at least
		why    string
	}{
		{21, [2]float64{120, 250}, [2]float64{6, 20}, 1.2, "A0: its first partial is weak (Fletcher, Blackham and Stratton 1962, from memory)"},
		{45, [2]float64{220, 450}, [2]float64{-3, 6}, 1.2, "A2"},
		{60, [2]float64{400, 800}, [2]float64{-6, 2}, 1.4, "C4"},
		{84, [2]float64{1100, 2000}, [2]float64{-10, -3}, 1.3, "C6"},
		{108, [2]float64{4186, 5200}, [2]float64{-30, -9}, 1.05, "C8: nearly a sine"},
	} {
		dB, mf := levels(tt.midi, strengthMF, 20*time.Millisecond)
		if mf < tt.centre[0] || mf > tt.centre[1] {
			t.Errorf("%s: spectral centre %.0f Hz; want %g to %g", tt.why, mf, tt.centre[0], tt.centre[1])
		}
		if d := dB[1] - dB[0]; d < tt.second[0] || d > tt.second[1] {
			t.Errorf("%s: the second partial is %+.1f dB against the first; want %g to %g", tt.why, d, tt.second[0], tt.second[1])
		}
		_, soft := levels(tt.midi, .32, 20*time.Millisecond)
		_, hard := levels(tt.midi, .87, 20*time.Millisecond)
		if hard/soft < tt.harder {
			t.Errorf("%s: the centre goes from %.0f Hz at pp to %.0f at ff; want %g times", tt.why, soft, hard, tt.harder)
		}
		if _, late := levels(tt.midi, strengthMF, 2*time.Second); late > mf*1.001 {
			t.Errorf("%s: after 2 s the centre is at %.0f Hz, at first %.0f; want it lower", tt.why, late, mf)
		}
	}
}

// strengthMF is how hard a key is struck at mf by whoever plays scores.
const strengthMF = .62

// TestShape: length in frames, silence at both ends, peak.
func TestShape(t *testing.T) {
	for _, rate := range []SampleRate{44100, 48000, 96000} {
		for _, n := range []Note{
			{Freq: 440, Length: time.Second, Strength: 1},
			{Freq: 27.5, Length: 1234567 * time.Microsecond, Strength: 0.3, Pan: -0.5},
			{Freq: 4186, Start: 3 * time.Millisecond, Length: 3 * time.Millisecond, Strength: 1, Pan: 1}, // let go within the attack
			{Freq: 100, Start: time.Second, Length: time.Nanosecond, Strength: 0.01, Pan: -1},
		} {
			for _, tail := range []time.Duration{0, 250 * time.Millisecond} {
				c := render(t, Options{Rate: rate, Tail: tail}, n)
				name := fmt.Sprintf("%+v at %d Hz, tail %v", n, rate, tail)
				sound := rate.N(n.Start+n.Length) + rate.N(Release)
				if got, want := c.Frames(), sound+rate.N(tail); got != want || len(c.Samples) != 2*want {
					t.Errorf("%s: %d frames; want %d", name, got, want)
				}
				for _, i := range []int{0, 1, 2*sound - 2, 2*sound - 1, len(c.Samples) - 2, len(c.Samples) - 1} {
					if c.Samples[i] != 0 {
						t.Errorf("%s: sample %d of %d is %g; want 0", name, i, len(c.Samples), c.Samples[i])
					}
				}
				for i := range 2 * rate.N(n.Start) {
					if c.Samples[i] != 0 {
						t.Fatalf("%s: sample %d, before the start, is %g", name, i, c.Samples[i])
					}
				}
				if p := c.Peak(); !(p > 0 && p <= Ceiling) {
					t.Errorf("%s: peak %g; want above 0, up to %g", name, p, Ceiling)
				}
				var l, r float64
				for i := 0; i < len(c.Samples); i += 2 {
					l += math.Abs(float64(c.Samples[i]))
					r += math.Abs(float64(c.Samples[i+1]))
				}
				if (n.Pan == 1 && l != 0) || (n.Pan == -1 && r != 0) || (n.Pan == 0 && math.Abs(l-r) > 1e-3*l) || (n.Pan == -0.5 && l <= r) {
					t.Errorf("%s: %g on the left, %g on the right", name, l, r)
				}
			}
		}
	}
}

// chordOf gives n notes from lowest up, a varied distance apart.
func chordOf(r *rand.Rand, n, lowest int, length time.Duration) []Note {
	var notes []Note
	for midi := lowest; len(notes) < n; midi += 2 + r.IntN(5) {
		notes = append(notes, Note{Freq: key(min(midi, 108)), Length: length, Strength: 0.3 + 0.7*r.Float64(), Pan: 2*r.Float64() - 1})
	}
	return notes
}

// curvature returns a bound on the second difference of the notes together, by the product rule on envelope times partial:
// |(e x)"| <= |e"| |x| + 2 |e'| |x'| + |e| |x"|, where a raised cosine over T s has |e'| <= pi/2T and |e"| <= pi^2/2T^2, and
// a second difference is at most the second derivative times the squared step; where the decay changes, the slope of the
// envelope jumps by the difference, once. Partials too faint to go on may end: a millionth for each.
func curvature(notes []Note, v Voice, rate SampleRate) (bound float64) {
	edge := min(v.Attack, v.Release).Seconds()
	step := 1 / float64(rate)
	for _, n := range notes {
		for _, p := range v.Partials(nil, n.Freq, n.Strength) {
			if p.Freq <= Hz(topShare*float64(rate)) {
				w := 2*math.Pi*float64(p.Freq) + p.Decay/20*math.Ln10
				bound += p.Amp * (w*w + 2*w*math.Pi/(2*edge) + math.Pi*math.Pi/(2*edge*edge)) * step * step
				if p.Knee > 0 {
					bound += p.Amp * math.Abs(p.Decay-p.After) / 20 * math.Ln10 * step
				}
			}
		}
		bound += MaxPartials * inaudible
	}
	return bound
}

func bend(x []float32) (most float64) {
	for i := 4; i < len(x); i++ {
		most = max(most, math.Abs(float64(x[i])-2*float64(x[i-2])+float64(x[i-4])))
	}
	return most
}

// TestNoClicks: in no voice does a sample bend away from its neighbours more than partials of these frequencies under these
// edges can, nor, which follows, jump; nor in a room.
func TestNoClicks(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	raw := func(notes []Note, o Options) []float32 {
		s, err := newEngine(notes, o)
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float32, 2*s.frames+8)
		if _, err := s.fill(x[4 : len(x)-4]); err != nil { // with silence on both sides
			t.Fatal(err)
		}
		return x
	}
	for _, v := range append(Voices(), Tick) {
		closest := 0.0
		for range 20 {
			notes := chordOf(r, 1+r.IntN(8), 21+r.IntN(60), time.Duration(20+r.IntN(400))*time.Millisecond)
			for i := range notes {
				notes[i].Start = time.Duration(r.IntN(50_000_000))
			}
			got, most := bend(raw(notes, Options{Rate: DefaultRate, Voice: v})), curvature(notes, v, DefaultRate)
			closest = max(closest, got/most)
			if !(got <= most+1e-6) {
				t.Errorf("%s, %+v: bends by %g; its partials allow %g", v.Name, notes, got, most)
			}
			// The walls give back less than roomGain times twice eight lines, each of which keeps the bound.
			if got, most := bend(raw(notes, Options{Rate: DefaultRate, Voice: v, Room: true})), most*(1+roomGain*16); !(got <= most+1e-6) {
				t.Errorf("%s in a room, %+v: bends by %g; want %g at most", v.Name, notes, got, most)
			}
		}
		// A note cut off, in the middle or at its attack, breaks the bound by far: the test can tell.
		low := []Note{{Freq: 55, Length: 300 * time.Millisecond, Strength: 1}}
		x, worst := raw(low, Options{Rate: DefaultRate, Voice: v}), 0.0
		for cut := len(x) / 8; cut < len(x)/8+3000; cut += 50 {
			worst = max(worst, bend(append(slices.Clone(x[:cut&^1]), make([]float32, 8)...)))
		}
		if most := curvature(low, v, DefaultRate); worst <= most && v.Name != "tick" { // a tick is over by then
			t.Errorf("%s: a note cut off bends by %g at most, within the bound of %g: the test can't tell", v.Name, worst, most)
		}
		t.Logf("%s: at most %.2f of the bound", v.Name, closest)
	}
}

// TestAgainstNaive compares the recurrence with math.Sin called for each frame and partial.
func TestAgainstNaive(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	for _, v := range append(Voices(), slow) {
		for range 2 {
			notes := chordOf(r, 1+r.IntN(5), 21+r.IntN(60), time.Duration(300+r.IntN(900))*time.Millisecond)
			for i := range notes {
				notes[i].Start = time.Duration(r.IntN(300_000_000))
			}
			want := naive(notes, DefaultRate, v)
			s, err := newEngine(notes, Options{Rate: DefaultRate, Voice: v})
			if err != nil {
				t.Fatal(err)
			}
			got := make([]float32, 2*s.frames)
			s.fill(got)
			if len(got) != len(want) {
				t.Fatalf("%d samples; naively %d", len(got), len(want))
			}
			// Each partial may be dropped at the amplitude inaudible; the naive sums are rounded to float32 each time.
			for i := range got {
				if d := math.Abs(float64(got[i] - want[i])); !(d < 1e-5) {
					t.Fatalf("sample %d is %g; naively %g", i, got[i], want[i])
				}
			}
		}
	}
}

// TestPhase: the recurrence keeps its frequency and phase over two minutes.
func TestPhase(t *testing.T) {
	const seconds = 120
	for _, f := range []Hz{27.5, 440, 20000} {
		var q [4]oscillator
		q[0].set(f, 1, 0, 0.3, 0, DefaultRate)
		buf := make([]float64, DefaultRate)
		for range seconds {
			clear(buf)
			addBank(buf, q[:])
		}
		worst := 0.0
		for i, x := range buf {
			n := (seconds-1)*int(DefaultRate) + i
			turns := math.Mod(float64(f)*float64(n), float64(DefaultRate)) / float64(DefaultRate)
			worst = max(worst, math.Abs(x-math.Sin(2*math.Pi*turns+0.3)))
		}
		if !(worst < 1e-4) {
			t.Errorf("%g Hz is off by %g of its amplitude after %d s; want below 1e-4", f, worst, seconds)
		}
		t.Logf("%g Hz: off by %.1e after %d s", f, worst, seconds)
	}
	// A note held for three minutes, its oscillators set anew now and then, is where math.Sin puts it at the end.
	n := Note{Freq: 1000.25, Length: 3 * time.Minute, Strength: 1, Pan: -1}
	e, err := newEngine([]Note{n}, Options{Rate: DefaultRate, Voice: Sine})
	if err != nil {
		t.Fatal(err)
	}
	for e.pos+blockFrames < int(e.notes[0].held) {
		if err := e.block(); err != nil {
			t.Fatal(err)
		}
	}
	amp := Sine.Partials(nil, n.Freq, 1)[0].Amp
	for i, x := range e.left {
		at := float64(e.pos-blockFrames+i) / 48000
		_, turns := math.Modf(1000.25 * at)
		if d := math.Abs(x - amp*math.Sin(2*math.Pi*turns)); !(d < 1e-6) {
			t.Fatalf("after %.3f s off by %g", at, d)
		}
	}
}

// TestBank: the vector instructions give the same samples as Go does, to the last bit.
func TestBank(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	for range 50 {
		var a, b [MaxPartials]oscillator
		count := 4 * (1 + r.IntN(MaxPartials/4))
		for i := range count {
			a[i].set(Hz(20+20000*r.Float64()), r.Float64(), 100*r.Float64(), 7*r.Float64(), float64(r.IntN(1000)), DefaultRate)
		}
		b = a
		x, y := make([]float64, 8*(1+r.IntN(64))), make([]float64, 512)
		y = y[:len(x)]
		for range 3 {
			addBank(x, a[:count])
			addBankGo(y, b[:count])
		}
		if !slices.Equal(x, y) || a != b {
			t.Fatal("the two ways differ")
		}
	}
}

// TestDenormals: what has become too faint to hear is dropped before its numbers get so small that they are slow, in every voice
// and in one that dies at once; between notes nothing is left sounding.
func TestDenormals(t *testing.T) {
	sudden := Voice{"sudden", Attack, Release, func(dst []Partial, f Hz, s float64) []Partial {
		return append(dst, Partial{Freq: f, Amp: s, Decay: 20000}, Partial{Freq: 2 * f, Amp: s, Decay: 3000, Knee: .01, After: 9000})
	}}
	for _, v := range append(Voices(), Tick, sudden) {
		var notes []Note
		for i, f := range []Hz{30, 440, 4000} {
			notes = append(notes, Note{Freq: f, Start: time.Duration(i) * 100 * time.Millisecond, Length: 30 * time.Second, Strength: .3})
		}
		notes = append(notes, Note{Freq: 440, Start: 40 * time.Second, Length: time.Second, Strength: .3})
		e, err := newEngine(notes, Options{Rate: DefaultRate, Voice: v})
		if err != nil {
			t.Fatal(err)
		}
		for e.pos < e.frames {
			if err := e.block(); err != nil {
				t.Fatal(err)
			}
			for _, s := range e.sounding {
				for i := range s.bank[:s.live] {
					q := &s.bank[i]
					for _, x := range slices.Concat(q.a[:], q.b[:]) {
						if x != 0 && math.Abs(x) < 0x1p-1022 {
							t.Fatalf("%s: a state of %g after %v", v.Name, x, DefaultRate.D(e.pos))
						}
					}
				}
			}
			if at := DefaultRate.D(e.pos); at > 31*time.Second && at < 39*time.Second && len(e.sounding) > 0 {
				t.Fatalf("%s: %d notes still sound %v after the last was let go", v.Name, len(e.sounding), at-30*time.Second)
			}
		}
	}
}

func TestDeterministic(t *testing.T) {
	notes := benchNotes()
	a, b := render(t, Options{}, notes...), render(t, Options{}, notes...)
	if !slices.Equal(a.Samples, b.Samples) {
		t.Error("the same notes gave other samples")
	}
	notes[0].Strength = 0.61
	if slices.Equal(a.Samples, render(t, Options{}, notes...).Samples) {
		t.Error("other notes gave the same samples")
	}
}

func TestRenderErrors(t *testing.T) {
	good := Note{Freq: 440, Length: time.Second, Strength: 0.5}
	with := func(f func(n *Note)) []Note {
		n := good
		f(&n)
		return []Note{good, n}
	}
	nan := math.NaN()
	one := []Note{good}
	odd := func(p Partial) Voice {
		return Voice{"odd", Attack, Release, func(dst []Partial, _ Hz, _ float64) []Partial { return append(dst, p) }}
	}
	for _, tt := range []struct {
		name  string
		notes []Note
		opts  Options
		want  string
	}{
		{"none", nil, Options{}, "no notes"},
		{"too low", with(func(n *Note) { n.Freq = 7.9 }), Options{}, "note 1: frequency 7.9 Hz; want 8 to 21600"},
		{"too high", with(func(n *Note) { n.Freq = 21601 }), Options{}, "note 1: frequency"},
		{"too high for the rate", with(func(n *Note) { n.Freq = 20000 }), Options{Rate: 44100}, "19845"},
		{"no frequency", with(func(n *Note) { n.Freq = Hz(nan) }), Options{}, "note 1: frequency NaN"},
		{"early", with(func(n *Note) { n.Start = -1 }), Options{}, "note 1: start -1ns"},
		{"no length", with(func(n *Note) { n.Length = 0 }), Options{}, "note 1: length 0s"},
		{"late", with(func(n *Note) { n.Start = MaxLength }), Options{}, "want it to end within 30m0s"},
		{"overflow", with(func(n *Note) { n.Start, n.Length = math.MaxInt64, math.MaxInt64 }), Options{}, "want it to end within 30m0s"},
		{"no strength", with(func(n *Note) { n.Strength = 0 }), Options{}, "strength 0"},
		{"too strong", with(func(n *Note) { n.Strength = 1.01 }), Options{}, "strength 1.01"},
		{"strength is no number", with(func(n *Note) { n.Strength = nan }), Options{}, "strength NaN"},
		{"pan", with(func(n *Note) { n.Pan = -1.5 }), Options{}, "pan -1.5"},
		{"rate", one, Options{Rate: 8000}, "sample rate 8000 Hz; want 32000 to 192000"},
		{"negative rate", one, Options{Rate: -48000}, "sample rate"},
		{"loud", one, Options{Level: -19.9}, "level -19.9 LUFS; want -60 to -20"},
		{"positive", one, Options{Level: 3}, "level 3 LUFS"},
		{"level is no number", one, Options{Level: LUFS(nan)}, "level NaN"},
		{"tail", one, Options{Tail: -time.Second}, "tail -1s"},
		{"long tail", one, Options{Tail: MaxLength}, "clip of 30m1"},
		{"silent voice", one, Options{Voice: odd(Partial{Freq: 440})}, "nothing sounds"},
		{"voice too high", one, Options{Voice: odd(Partial{Freq: 23000, Amp: 1})}, "nothing sounds"},
		{"odd voice", one, Options{Voice: odd(Partial{Freq: Hz(nan), Amp: 1})}, "partial of NaN Hz"},
		{"rising again", one, Options{Voice: odd(Partial{Freq: 440, Amp: 1, Knee: 1, After: -1})}, "decaying by -1 dB a second from 1 s on"},
		{"no edge", one, Options{Voice: Voice{"odd", 0, Release, sinePartials}}, "edge of 0s"},
		{"no partials", one, Options{Voice: Voice{Name: "odd", Attack: Attack, Release: Release}}, "no partials"},
		{"crowd", one, Options{Voice: Voice{"odd", Attack, Release, func(dst []Partial, f Hz, _ float64) []Partial {
			return append(dst, make([]Partial, MaxPartials+1)...)
		}}}, "note 0: more partials than 48"},
		{"growing voice", one, Options{Voice: odd(Partial{Freq: 440, Amp: 1, Decay: -1})}, "decaying by -1"},
	} {
		c, err := Render(tt.notes, tt.opts)
		if c != nil || err == nil || !strings.HasPrefix(err.Error(), "synth: ") || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: Render = %v, %v; want an error with %q", tt.name, c != nil, err, tt.want)
		}
	}
}

func TestSampleRate(t *testing.T) {
	for _, tt := range []struct {
		rate SampleRate
		d    time.Duration
		n    int
	}{
		{48000, 0, 0}, {48000, time.Second, 48000}, {44100, 5 * time.Millisecond, 221}, // 220.5
		{48000, -time.Second, -48000}, {44100, 100 * 365 * 24 * time.Hour, 44100 * 100 * 365 * 24 * 3600},
		{48000, 10416 * time.Nanosecond, 0}, {48000, 10417 * time.Nanosecond, 1}, // half a frame
	} {
		if got := tt.rate.N(tt.d); got != tt.n {
			t.Errorf("%d.N(%v) = %d; want %d", tt.rate, tt.d, got, tt.n)
		}
	}
	for _, rate := range []SampleRate{44100, 48000, 96000} {
		for n := range 5000 {
			if got := rate.N(rate.D(n)); got != n {
				t.Fatalf("%d.N(D(%d)) = %d", rate, n, got)
			}
		}
	}
	if got := SampleRate(0).D(7); got != 0 {
		t.Errorf("0.D(7) = %v; want 0", got)
	}
}

func TestConcat(t *testing.T) {
	a := render(t, Options{}, Note{Freq: 440, Length: 100 * time.Millisecond, Strength: 1})
	b := render(t, Options{}, Note{Freq: 220, Length: 50 * time.Millisecond, Strength: 1})
	b.Held = 1.5
	gap := 10 * time.Millisecond
	c, err := Concat(gap, a, b, a)
	if err != nil {
		t.Fatal(err)
	}
	quiet := make([]float32, 2*480)
	if want := slices.Concat(a.Samples, quiet, b.Samples, quiet, a.Samples); !slices.Equal(c.Samples, want) {
		t.Errorf("Concat: %d samples; want the three clips and two gaps, %d", len(c.Samples), len(want))
	}
	if c.Held != 1.5 || c.Rate != DefaultRate {
		t.Errorf("Concat: held %g at %d Hz; want 1.5 at 48000", c.Held, c.Rate)
	}
	if c, err := Concat(gap, a); err != nil || !slices.Equal(c.Samples, a.Samples) {
		t.Errorf("Concat of one clip: %v; want a copy of it", err)
	}
	s, err := Silence(DefaultRate, time.Second)
	if err != nil || s.Frames() != 48000 || s.Peak() != 0 || s.RMS() != 0 || s.Duration() != time.Second {
		t.Errorf("Silence = %d frames, %v", s.Frames(), err)
	}
	other := &Clip{Rate: 44100}
	for name, f := range map[string]func() (*Clip, error){
		"no clips":         func() (*Clip, error) { return Concat(gap) },
		"two rates":        func() (*Clip, error) { return Concat(gap, a, other) },
		"no rate":          func() (*Clip, error) { return Concat(gap, &Clip{}) },
		"negative gap":     func() (*Clip, error) { return Concat(-1, a) },
		"too long":         func() (*Clip, error) { return Concat(MaxLength, a, b) },
		"endless silence":  func() (*Clip, error) { return Silence(DefaultRate, MaxLength+1) },
		"negative silence": func() (*Clip, error) { return Silence(DefaultRate, -1) },
		"silence, no rate": func() (*Clip, error) { return Silence(0, 1) },
	} {
		if c, err := f(); c != nil || err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestRMS(t *testing.T) {
	c := tone(DefaultRate, 1000, 0.4, time.Second, true)
	if got, want := c.RMS(), 0.4/math.Sqrt2; math.Abs(got-want) > 1e-6 {
		t.Errorf("RMS of a sine of amplitude 0.4 = %g; want %g", got, want)
	}
}
