package synth

import "math"

// An oscillator makes a decaying sine by a recurrence with two terms instead of calling math.Sin. From
//
//	sin(a+b) + sin(a-b) = 2 cos b sin a
//
// follows, for x[n] = A r^n sin(w n + phase) and any stride m, x[n] = 2 r^m cos(m w) x[n-m] - r^2m x[n-2m]. With m = 4 there
// are four chains that don't wait for each other, which a processor runs side by side. In float64 the frequency is off by
// less than 1e-7 cent, so that states needn't be set anew.
//
// The layout is known to bank_amd64.s.
type oscillator struct {
	c, d [4]float64 // 2 r^4 cos 4w and r^8, four times each
	a, b [4]float64 // x[n-4+j] and x[n-8+j] for the next frame n
}

// set makes q continue amp * 10^(-decay t/20) * sin(2 pi freq t + phase) from frame n on, t = 0 being frame 0.
func (q *oscillator) set(freq Hz, amp, decay, phase, n float64, rate SampleRate) {
	w := 2 * math.Pi * float64(freq) / float64(rate)
	lnr := -decay / 20 * math.Ln10 / float64(rate)
	r4 := math.Exp(4 * lnr)
	c, d := 2*r4*math.Cos(4*w), r4*r4
	q.c, q.d = [4]float64{c, c, c, c}, [4]float64{d, d, d, d}
	// Eight frames backwards, by the addition theorem: two calls of math.Sincos instead of eight.
	sin, cos := math.Sincos(w*(n-8) + phase)
	s1, c1 := math.Sincos(w)
	r := math.Exp(lnr)
	g := amp * math.Exp(lnr*(n-8))
	for j := range 8 {
		x := g * sin
		if j < 4 {
			q.b[j] = x
		} else {
			q.a[j-4] = x
		}
		sin, cos = sin*c1+cos*s1, cos*c1-sin*s1
		g *= r
	}
}

// addBankGo adds the next len(dst) samples of all oscillators to dst; len(dst) is a multiple of 8.
func addBankGo(dst []float64, bank []oscillator) {
	for i := range bank {
		q := &bank[i]
		c, d := q.c[0], q.d[0]
		a0, a1, a2, a3 := q.a[0], q.a[1], q.a[2], q.a[3]
		b0, b1, b2, b3 := q.b[0], q.b[1], q.b[2], q.b[3]
		for x := dst; len(x) >= 8; x = x[8:] { // twice four, so that the chains need no moves between registers
			b0 = c*a0 - d*b0
			b1 = c*a1 - d*b1
			b2 = c*a2 - d*b2
			b3 = c*a3 - d*b3
			x[0] += b0
			x[1] += b1
			x[2] += b2
			x[3] += b3
			a0 = c*b0 - d*a0
			a1 = c*b1 - d*a1
			a2 = c*b2 - d*a2
			a3 = c*b3 - d*a3
			x[4] += a0
			x[5] += a1
			x[6] += a2
			x[7] += a3
		}
		q.a, q.b = [4]float64{a0, a1, a2, a3}, [4]float64{b0, b1, b2, b3}
	}
}
