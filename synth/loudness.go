package synth

import (
	"errors"
	"fmt"
	"math"
)

// LUFS is a loudness by ITU-R BS.1770 relative to full scale (there written LKFS, the same unit).
type LUFS float64

// LU is a difference of two loudnesses; 1 LU is 1 dB.
type LU float64

// The level a clip is brought to. EBU R 128 puts broadcast programmes at -23 LUFS; the default stays 3 LU below that, and
// the bounds keep a listener safe from a mistyped level.
const (
	DefaultLevel LUFS = -26
	MinLevel     LUFS = -60
	MaxLevel     LUFS = -20
)

// Ceiling is the highest magnitude of a sample: half of full scale, -6.02 dBFS. (10^(-6/20) = 0.5012 itself would round up
// to a value above -6 dBFS in 16 bits.)
const Ceiling = 0.5

// TruePeakCeiling is the highest magnitude of the sound between the samples, as a converter makes it: -3 dBTP.
const TruePeakCeiling = 0.7079457843841379

// CheckLevel returns an error unless level lies within [MinLevel] and [MaxLevel].
func CheckLevel(level LUFS) error {
	if !(level >= MinLevel && level <= MaxLevel) {
		return fmt.Errorf("level %g LUFS; want %g to %g", float64(level), float64(MinLevel), float64(MaxLevel))
	}
	return nil
}

// A biquad is a second-order filter section with a0 = 1:
//
//	y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]
type biquad struct{ b0, b1, b2, a1, a2 float64 }

// The K-weighting at 48 kHz, ITU-R BS.1770-4, Annex 1, tables 1 and 2: a shelf for the head, then a high-pass.
var (
	kShelf    = biquad{1.53512485958697, -2.69169619940638, 1.19839281085285, -1.69065929318241, 0.73248077421585}
	kHighPass = biquad{1, -2, 1, -1.99004745483398, 0.99007225036621}
)

// at returns q, given for 48 kHz, as it must be at another rate to have the same response. The standard tabulates 48 kHz
// only and asks for the same response elsewhere. The bilinear transform is undone, z^-1 = (1-p)/(1+p), and done again with
// p scaled by the ratio of the rates; the change of warping is below 0.01 dB where the curve bends.
func (q biquad) at(rate SampleRate) biquad {
	if rate == DefaultRate {
		return q
	}
	k := float64(rate) / float64(DefaultRate)
	// c0 + c1 z^-1 + c2 z^-2 becomes, times (1+p)^2, (c0+c1+c2) + 2(c0-c2) p + (c0-c1+c2) p^2; then p = k p', and back.
	warp := func(c0, c1, c2 float64) (float64, float64, float64) {
		s0, s1, s2 := c0+c1+c2, 2*(c0-c2)*k, (c0-c1+c2)*k*k
		return (s0 + s1 + s2) / 4, (s0 - s2) / 2, (s0 - s1 + s2) / 4
	}
	b0, b1, b2 := warp(q.b0, q.b1, q.b2)
	a0, a1, a2 := warp(1, q.a1, q.a2)
	return biquad{b0 / a0, b1 / a0, b2 / a0, a1 / a0, a2 / a0}
}

// Loudness returns the integrated loudness of the clip by ITU-R BS.1770: K-weighted mean squares of both channels added,
// in blocks of 400 ms that overlap by 75 %, leaving out blocks below -70 LUFS and then those more than 10 LU below the
// mean of the rest, so that silence around the sound doesn't count. Silence is -Inf.
//
// Programmes are long; for short clips two things are ours. A clip shorter than 400 ms is one block. Otherwise the last
// block is filled up with silence, where the standard leaves a begun block out, so that a short note at the end counts.
func (c *Clip) Loudness() LUFS { return gatedLoudness(kBlocks(c.Samples, c.Rate), 1) }

// kBlocks returns the K-weighted mean square of each block of 400 ms, 100 ms apart.
func kBlocks(samples []float32, rate SampleRate) []float64 {
	frames := len(samples) / 2
	if frames == 0 || rate <= 0 {
		return nil
	}
	hop := max(int(rate)/10, 1)
	if frames < 4*hop {
		var sum float64
		kSums(samples, rate, frames, func(s float64) { sum += s })
		return []float64{sum / float64(frames)}
	}
	sums := make([]float64, 0, frames/hop+1)
	kSums(samples, rate, hop, func(s float64) { sums = append(sums, s) })
	blocks := make([]float64, 0, len(sums))
	for i := 3; i < len(sums); i++ {
		blocks = append(blocks, (sums[i-3]+sums[i-2]+sums[i-1]+sums[i])/float64(4*hop))
	}
	return blocks
}

// kSums filters samples by the K-weighting and hands each hop's sum of squares, both channels together, to put; the last hop
// is filled up with silence.
func kSums(samples []float32, rate SampleRate, hop int, put func(float64)) {
	f := newKFilter(rate)
	for len(samples) > 0 {
		if len(samples) < 2*hop {
			samples = append(make([]float32, 0, 2*hop), samples...)[:2*hop]
		}
		put(f.squares(samples[:2*hop]))
		samples = samples[2*hop:]
	}
}

// A kFilter is the K-weighting at work, as two sections in the direct form I, which has only one multiplication and one
// subtraction between a result and the next. Each number is there twice, for left and right. The high-pass has the
// numerator (1 - z^-1)^2, its factor at other rates moved into the shelf.
//
// The layout is known to bank_amd64.s.
type kFilter struct {
	b0, b1, b2, a1, a2 [2]float64 // shelf
	c1, c2             [2]float64 // a1 and a2 of the high-pass
	x1, x2             [2]float64 // what went into the shelf
	y1, y2             [2]float64 // what came out
	d1                 [2]float64 // y1 - y2
	z1, z2             [2]float64 // what came out of the high-pass
	sum                [2]float64 // of squares
}

func newKFilter(rate SampleRate) *kFilter {
	u, v := kShelf.at(rate), kHighPass.at(rate)
	twice := func(x float64) [2]float64 { return [2]float64{x, x} }
	return &kFilter{b0: twice(u.b0 * v.b0), b1: twice(u.b1 * v.b0), b2: twice(u.b2 * v.b0), a1: twice(u.a1), a2: twice(u.a2),
		c1: twice(v.a1), c2: twice(v.a2)}
}

// squares filters whole frames and returns the sum of the squares of what comes out.
func (f *kFilter) squares(samples []float32) float64 {
	f.sum = [2]float64{}
	f.run(samples)
	// In silence the states decay towards denormal numbers, which are slow; nothing that small is heard.
	for _, s := range []*[2]float64{&f.y1, &f.y2, &f.d1, &f.z1, &f.z2} {
		for ch := range s {
			if math.Abs(s[ch]) < 1e-30 {
				s[ch] = 0
			}
		}
	}
	return f.sum[0] + f.sum[1]
}

func (f *kFilter) runGo(samples []float32) {
	for ch := range 2 {
		b0, b1, b2, a1, a2, c1, c2 := f.b0[ch], f.b1[ch], f.b2[ch], f.a1[ch], f.a2[ch], f.c1[ch], f.c2[ch]
		x1, x2, y1, y2, d1, z1, z2, sum := f.x1[ch], f.x2[ch], f.y1[ch], f.y2[ch], f.d1[ch], f.z1[ch], f.z2[ch], f.sum[ch]
		for i := ch; i < len(samples); i += 2 {
			x := float64(samples[i])
			y := b0*x + b1*x1 + b2*x2 - a2*y2 - a1*y1
			d := y - y1
			z := d - d1 - c2*z2 - c1*z1
			x1, x2, y1, y2, d1, z1, z2 = x, x1, y, y1, d, z, z1
			sum += z * z
		}
		f.x1[ch], f.x2[ch], f.y1[ch], f.y2[ch], f.d1[ch], f.z1[ch], f.z2[ch], f.sum[ch] = x1, x2, y1, y2, d1, z1, z2, sum
	}
}

// gatedLoudness returns the loudness of the blocks once their samples are multiplied by gain.
func gatedLoudness(blocks []float64, gain float64) LUFS {
	above := func(threshold float64) (mean float64) {
		n := 0
		for _, z := range blocks {
			if z *= gain * gain; z > threshold {
				mean += z
				n++
			}
		}
		if n == 0 {
			return 0
		}
		return mean / float64(n)
	}
	absolute := math.Pow(10, (-70+0.691)/10)
	relative := above(absolute) / 10
	return loudnessOf(above(max(absolute, relative)))
}

// loudnessOf is L = -0.691 + 10 log10 z, z the sum of the channels' mean squares (left and right have the weight 1).
func loudnessOf(z float64) LUFS { return LUFS(-0.691 + 10*math.Log10(z)) }

// gainFor returns the gain that brings the blocks to level.
func gainFor(blocks []float64, level LUFS) (float64, error) {
	// Which blocks pass the absolute gate depends on the gain, so the gain is sought in a few steps; begin where the
	// loudest block alone would have the level.
	loudest := 0.0
	for _, z := range blocks {
		loudest = max(loudest, z)
	}
	if loudest == 0 {
		return 0, errors.New("too low to be heard: no loudness can be measured")
	}
	gain := math.Pow(10, float64(level-loudnessOf(loudest))/20)
	for range 8 {
		off := float64(level - gatedLoudness(blocks, gain))
		gain *= math.Pow(10, off/20)
		if math.Abs(off) < 1e-4 {
			break
		}
	}
	return gain, nil
}

// normalise brings c, whose largest sample is peak, to level, or as near from below as the ceilings allow, and sets c.Held.
func (c *Clip) normalise(level LUFS, peak float64) error {
	if peak == 0 {
		return errors.New("nothing sounds: every partial is too high or too faint")
	}
	gain, err := gainFor(kBlocks(c.Samples, c.Rate), level)
	if err != nil {
		return err
	}
	// A hair less than the quotient, so that no product rounds up past the ceiling, which is itself a float32.
	most := Ceiling / peak * (1 - 1e-12)
	if between := 0.999 * TruePeakCeiling / overshoot; min(gain, most)*peak > between {
		// Only then can the sound between the samples pass its own ceiling, and is worth looking for.
		most = min(most, 0.999*TruePeakCeiling/c.TruePeak())
	}
	c.Held = 0
	if gain > most {
		c.Held = LU(20 * math.Log10(gain/most))
		gain = most
	}
	c.scale(gain)
	return nil
}

func (c *Clip) scale(gain float64) {
	for i, x := range c.Samples {
		c.Samples[i] = float32(float64(x) * gain)
	}
}

// MatchLoudness lowers the clips of one set, in place, to the loudness of the quietest, so that a clip held down by the
// ceiling isn't told apart by it, and returns that loudness. It lifts nothing. It returns an error, and changes nothing, if
// there are no clips or one of them is silent.
func MatchLoudness(clips ...*Clip) (LUFS, error) {
	if len(clips) == 0 {
		return 0, errors.New("synth: no clips to match")
	}
	levels := make([]LUFS, len(clips))
	least := LUFS(math.Inf(1))
	for i, c := range clips {
		levels[i] = c.Loudness()
		if math.IsInf(float64(levels[i]), -1) {
			return 0, fmt.Errorf("synth: clip %d is silent: it can't be matched to others", i)
		}
		least = min(least, levels[i])
	}
	for i, c := range clips {
		if levels[i] > least {
			c.scale(math.Pow(10, float64(least-levels[i])/20))
			c.Held = 0
		}
	}
	return least, nil
}
