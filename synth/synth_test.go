package synth

import (
	"bufio"
	"fmt"
	"math"
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

// peakNear returns the frequency of the spectral peak within half a semitone of f: an FFT under a Gaussian window,
// whose main lobe is a parabola in the logarithm, so that three bins give its top exactly. An exponential decay only moves
// such a window in time.
func peakNear(x []float64, rate SampleRate, f float64) float64 {
	n := len(x)
	w := make([]float64, n)
	for i := range w {
		d := (float64(i) - float64(n)/2) / (0.12 * float64(n))
		w[i] = x[i] * math.Exp(-d*d/2)
	}
	c := fourier.NewFFT(n).Coefficients(nil, w)
	mag := func(k int) float64 { return 0.5 * math.Log(real(c[k])*real(c[k])+imag(c[k])*imag(c[k])) }
	bin := float64(rate) / float64(n)
	from, to := max(int(f*0.97/bin), 1), min(int(f*1.03/bin)+1, len(c)-2)
	best := from
	for k := from; k <= to; k++ {
		if mag(k) > mag(best) {
			best = k
		}
	}
	a, b, d := mag(best-1), mag(best), mag(best+1)
	return (float64(best) + 0.5*(a-d)/(a-2*b+d)) * bin
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
	c := render(t, Options{}, Note{Freq: key(midi), Length: 1500 * time.Millisecond, Strength: 0.7, Pan: -1})
	got := peakNear(left(c)[4800:4800+1<<16], c.Rate, want)
	if off := cents(got, want); !(math.Abs(off) <= centTolerance+half) {
		t.Errorf("key %d: %.5f Hz, %+.3f cents from the published %s", midi, got, off, published)
	}
}

// TestPartials: a note holds the partials its voice gives, where it gives them, and nothing above 0.45 of the sample rate.
func TestPartials(t *testing.T) {
	const f = 220
	x := left(render(t, Options{}, Note{Freq: f, Length: 3 * time.Second, Strength: 1, Pan: -1}))[:1<<17]
	for n := 1.0; n <= StruckPartials; n++ {
		if off := cents(peakNear(x, DefaultRate, n*f), n*f); !(math.Abs(off) <= centTolerance) {
			t.Errorf("partial %g of %d Hz is %+.3f cents off", n, f, off)
		}
	}
	for _, rate := range []SampleRate{44100, 48000} {
		c := render(t, Options{Rate: rate}, Note{Freq: key(108), Length: time.Second, Strength: 1, Pan: -1})
		x := left(c)[:1<<15]
		for i := range x { // so that what leaks from the partials below falls off fast
			s := math.Sin(math.Pi * float64(i) / float64(len(x)))
			x[i] *= s * s * s * s
		}
		var below, above float64
		fft := fourier.NewFFT(len(x))
		for k, z := range fft.Coefficients(nil, x) {
			e := real(z)*real(z) + imag(z)*imag(z)
			if fft.Freq(k) > topShare+0.001 {
				above += e
			} else {
				below += e
			}
		}
		if db := 10 * math.Log10(above/below); !(db < -90) {
			t.Errorf("at %d Hz the highest key has %.1f dB above %g of the rate; want less than -90", rate, db, topShare)
		}
	}
}

func TestStruck(t *testing.T) {
	for _, f := range []Hz{27.5, 440, 4186} {
		var centroids []float64
		for _, s := range []float64{0.1, 0.5, 1} {
			parts := Struck(make([]Partial, 3), f, s)[3:] // appended, not overwritten
			if len(parts) != StruckPartials {
				t.Fatalf("Struck(%g, %g) gives %d partials; want %d", f, s, len(parts), StruckPartials)
			}
			var power, sum, weighted float64
			for i, p := range parts {
				if err := p.check(); err != nil {
					t.Errorf("Struck(%g, %g): %v", f, s, err)
				}
				if want := f * Hz(i+1); math.Abs(float64(p.Freq-want)) > 1e-9 {
					t.Errorf("Struck(%g, %g): partial %d at %g Hz; want %g", f, s, i+1, p.Freq, want)
				}
				if i > 0 && p.Decay <= parts[i-1].Decay {
					t.Errorf("Struck(%g, %g): partial %d decays no faster than the one below", f, s, i+1)
				}
				power += p.Amp * p.Amp / 2
				sum += p.Amp
				weighted += p.Amp * float64(i+1)
			}
			if math.Abs(power-s*s) > 1e-9 {
				t.Errorf("Struck(%g, %g) has the power %g; want the strength squared", f, s, power)
			}
			centroids = append(centroids, weighted/sum)
		}
		if !slices.IsSorted(centroids) || centroids[0] == centroids[2] {
			t.Errorf("Struck(%g): spectral centres %v; want brighter with strength", f, centroids)
		}
	}
}

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
// a second difference is at most the second derivative times the squared step. The decay is slow beside the oscillation.
func curvature(notes []Note, rate SampleRate) (bound float64) {
	edge := Attack.Seconds()
	for _, n := range notes {
		for _, p := range Struck(nil, n.Freq, n.Strength) {
			if p.Freq <= Hz(topShare*float64(rate)) {
				w := 2*math.Pi*float64(p.Freq) + p.Decay/20*math.Ln10
				bound += p.Amp * (w*w + 2*w*math.Pi/(2*edge) + math.Pi*math.Pi/(2*edge*edge))
			}
		}
	}
	return bound / float64(rate) / float64(rate)
}

func bend(x []float32) (most float64) {
	for i := 4; i < len(x); i++ {
		most = max(most, math.Abs(float64(x[i])-2*float64(x[i-2])+float64(x[i-4])))
	}
	return most
}

// TestNoClicks: no sample bends away from its neighbours more than partials of these frequencies under these edges can.
func TestNoClicks(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 40 {
		notes := chordOf(r, 1+r.IntN(8), 21+r.IntN(40), time.Duration(20+r.IntN(400))*time.Millisecond)
		for i := range notes {
			notes[i].Start = time.Duration(r.IntN(50_000_000))
		}
		s, err := newStream(notes, DefaultRate, Struck)
		if err != nil {
			t.Fatal(err)
		}
		x := make([]float32, 2*s.frames+8)
		s.fill(x[4 : len(x)-4]) // with silence on both sides
		if got, most := bend(x), curvature(notes, DefaultRate); !(got <= most+1e-5) {
			t.Errorf("%+v: bends by %g; its partials allow %g", notes, got, most)
		}
	}
	// The bound must be worth something: a low note without its release breaks it.
	low := []Note{{Freq: 55, Length: 300 * time.Millisecond, Strength: 1}}
	s, err := newStream(low, DefaultRate, Struck)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float32, 2*s.frames)
	s.fill(x)
	worst := 0.0
	for cut := len(x) / 4; cut < len(x)/4+2000; cut += 100 {
		y := append(slices.Clone(x[:cut&^1]), make([]float32, 8)...)
		worst = max(worst, bend(y))
	}
	if most := curvature(low, DefaultRate); worst <= most {
		t.Errorf("a note cut off bends by %g at most, within the bound of %g: the test can't tell", worst, most)
	}
}

// TestAgainstNaive compares the recurrence with math.Sin called for each frame and partial.
func TestAgainstNaive(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	for _, v := range []Voice{Struck, slow} {
		for range 6 {
			notes := chordOf(r, 1+r.IntN(5), 21+r.IntN(60), time.Duration(300+r.IntN(900))*time.Millisecond)
			for i := range notes {
				notes[i].Start = time.Duration(r.IntN(300_000_000))
			}
			want := naive(notes, DefaultRate, v)
			s, err := newStream(notes, DefaultRate, v)
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

// TestBlocks: in what pieces a stream is filled makes no difference beyond what is inaudible, and filling allocates nothing.
func TestBlocks(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	notes := chordOf(r, 6, 40, 700*time.Millisecond)
	for i := range notes {
		notes[i].Start = time.Duration(i) * 77 * time.Millisecond
	}
	make1 := func() *stream {
		s, err := newStream(notes, DefaultRate, Struck)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	whole := make1()
	want := make([]float32, 2*whole.frames)
	whole.fill(want)
	got := make([]float32, len(want))
	for s, rest := make1(), got; len(rest) > 0; {
		n := min(len(rest), 2*(1+r.IntN(1500)))
		s.fill(rest[:n])
		rest = rest[n:]
	}
	for i := range got {
		if d := math.Abs(float64(got[i] - want[i])); !(d <= 6*StruckPartials*inaudible) {
			t.Fatalf("sample %d is %g in pieces and %g at once", i, got[i], want[i])
		}
	}
	s, buf := make1(), make([]float32, 1024)
	if n := testing.AllocsPerRun(50, func() { s.fill(buf) }); n != 0 {
		t.Errorf("filling a block allocates %g times; want none", n)
	}
}

// TestPhase: the recurrence keeps its frequency and phase over two minutes.
func TestPhase(t *testing.T) {
	const seconds = 120
	for _, f := range []Hz{27.5, 440, 20000} {
		p := Partial{Freq: f, Amp: 1, Phase: 0.3}
		q := newResonator(p, DefaultRate)
		buf := make([]float64, DefaultRate)
		for range seconds {
			clear(buf)
			q.add(buf)
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
	odd := func(p Partial) Voice { return func(dst []Partial, _ Hz, _ float64) []Partial { return append(dst, p) } }
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
