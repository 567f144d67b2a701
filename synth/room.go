package synth

import (
	"math"
	"time"
)

// A room is a short reverberation, such as that of a furnished living room: eight delay lines that feed each other through an
// orthogonal matrix (a feedback delay network: Jot and Chaigne, Digital delay networks for designing artificial
// reverberators, 90th Convention of the Audio Engineering Society, 1991; the matrix is the Householder reflection I - 2/8 of a
// matrix of ones, the filters are of first order; J. O. Smith, Physical Audio Signal Processing, "FDN reverberation"; formulas
// from memory). The lines are 7 to 20 ms long, the time sound takes from wall to wall there and back, with primes of frames
// at 48 kHz, so that no two resonate together.
//
// Energy can't grow: the matrix keeps it, and each line's filter lets through at most its gain g < 1, at every frequency:
//
//	g = 10^(-3 m/(T rate)) for a line of m frames, so that all fall by 60 dB within T at low frequencies
//	H(z) = g (1-p) / (1 - p z^-1), p = ln(10)/4 log10(g) (1 - 1/a^2), a the share of T left at the highest frequencies
//
// What comes back from the walls has roomEnergy of the energy of the sound itself.
type room struct {
	lines  [roomLines]roomLine
	rest   int // blocks of silence after which it is emptied
	silent int // blocks of silence so far; rest if it is empty
	outs   [roomLines][roomChunk]float64
	next   [roomChunk]float64
}

type roomLine struct {
	buf     []float64 // a power of two long
	at      int       // where the next sample is written
	delay   int
	g, p, y float64 // filter: y = g (1-p) x + p y
}

const (
	roomLines = 8
	roomChunk = 128 // frames worked on at a time; shorter than the shortest line at the lowest rate
	// roomTime is T, and roomTreble a: hard walls, curtains and carpet (common practice for a small furnished room, no source).
	roomTime   = 0.4
	roomTreble = 0.5
	// roomTail is how much longer a clip lasts: by then the sound of the walls has sunk by 75 dB, and its end is faded out over
	// the last roomFade.
	roomTail = 500 * time.Millisecond
	roomFade = 50 * time.Millisecond
	// roomEnergy is the energy that comes back, as a share of what is played: -12 dB, enough to feel a room and too little to
	// blur what is to be heard in it (no source). roomGain makes it so; TestRoom measures it.
	roomEnergy = 0.063
	roomGain   = 0.0911
	// roomRest is how long after the last sound the room is emptied: by then all has sunk by 180 dB and more, while the numbers are still
	// far from the slow denormal ones.
	roomRest = 1200 * time.Millisecond
)

// roomDelays are the lengths of the lines in frames at 48 kHz.
var roomDelays = [roomLines]int{337, 409, 487, 563, 641, 733, 827, 941}

// The hands come in on lines of their own, and all lines are heard on both sides with signs that have nothing to do with each
// other (rows of a Hadamard matrix), so that the room is wide.
func newRoom(rate SampleRate) *room {
	rest := rate.N(roomRest) / blockFrames
	r := &room{rest: rest, silent: rest}
	for i := range r.lines {
		l := &r.lines[i]
		l.delay = max(int(math.Round(float64(roomDelays[i])*float64(rate)/48000)), roomChunk)
		size := 1
		for size < l.delay+roomChunk {
			size *= 2
		}
		l.buf = make([]float64, size)
		l.g = math.Pow(10, -3*float64(l.delay)/(roomTime*float64(rate)))
		l.p = math.Ln10 / 4 * math.Log10(l.g) * (1 - 1/(roomTreble*roomTreble))
	}
	return r
}

// add adds what the room gives back to left and right.
func (r *room) add(left, right *[blockFrames]float64) {
	switch {
	case *left != [blockFrames]float64{} || *right != [blockFrames]float64{}:
		r.silent = 0
	case r.silent == r.rest:
		return
	default:
		if r.silent++; r.silent == r.rest {
			for i := range r.lines {
				clear(r.lines[i].buf)
				r.lines[i].y = 0
			}
			return
		}
	}
	for from := 0; from < blockFrames; from += roomChunk {
		for i := range r.lines {
			r.lines[i].read(&r.outs[i])
		}
		damp((*[4]roomLine)(r.lines[:4]), (*[4][roomChunk]float64)(r.outs[:4]))
		damp((*[4]roomLine)(r.lines[4:]), (*[4][roomChunk]float64)(r.outs[4:]))
		l, rt := (*[roomChunk]float64)(left[from:]), (*[roomChunk]float64)(right[from:])
		var sum [roomChunk]float64
		o := &r.outs
		for k := range sum {
			sum[k] = (o[0][k] + o[1][k] + o[2][k] + o[3][k] + o[4][k] + o[5][k] + o[6][k] + o[7][k]) * (2. / roomLines)
		}
		for i := range r.lines {
			in, out := l, &r.outs[i]
			if i&1 == 1 {
				in = rt
			}
			for k, x := range in {
				r.next[k] = out[k] - sum[k] + x
			}
			r.lines[i].write(&r.next)
		}
		for k := range sum {
			// The rows (+ + - - + + - -) and (+ - - + - + + -).
			a, b, c, d := o[0][k]-o[2][k], o[1][k]-o[3][k], o[4][k]-o[6][k], o[5][k]-o[7][k]
			l[k] += roomGain * (a + b + c + d)
			rt[k] += roomGain * (a - b - c + d)
		}
	}
}

// read takes what comes out of the line's end.
func (l *roomLine) read(dst *[roomChunk]float64) {
	from := (l.at - l.delay) & (len(l.buf) - 1)
	n := copy(dst[:], l.buf[from:])
	copy(dst[n:], l.buf)
}

// write puts the next samples into the line.
func (l *roomLine) write(src *[roomChunk]float64) {
	n := copy(l.buf[l.at:], src[:])
	copy(l.buf, src[n:])
	l.at = (l.at + roomChunk) & (len(l.buf) - 1)
}

// damp runs the filters of four lines side by side, since each has to wait for its own last result.
func damp(l *[4]roomLine, x *[4][roomChunk]float64) {
	y0, y1, y2, y3 := l[0].y, l[1].y, l[2].y, l[3].y
	p0, p1, p2, p3 := l[0].p, l[1].p, l[2].p, l[3].p
	a0, a1, a2, a3 := l[0].g*(1-p0), l[1].g*(1-p1), l[2].g*(1-p2), l[3].g*(1-p3)
	for k := range roomChunk {
		y0 = a0*x[0][k] + p0*y0
		y1 = a1*x[1][k] + p1*y1
		y2 = a2*x[2][k] + p2*y2
		y3 = a3*x[3][k] + p3*y3
		x[0][k], x[1][k], x[2][k], x[3][k] = y0, y1, y2, y3
	}
	l[0].y, l[1].y, l[2].y, l[3].y = y0, y1, y2, y3
}
