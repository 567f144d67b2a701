package synth

import (
	"fmt"
	"math"
	"sort"
)

// blockFrames is the number of frames worked on at a time: three blocks of float64 fit in the first-level cache with the
// states of a hundred partials. A multiple of 4, see resonator.
const blockFrames = 512

// inaudible is the amplitude below which a partial is dropped, at the next block's start. Before the gain that sets the
// loudness, notes have a power of about 1, so this is some 140 dB below the sound and, after the gain, a hundredth of the
// least step of 16 bits. It also keeps the states far from the slow denormal numbers.
const inaudible = 1e-7

// A stream renders notes block by block. All its memory is got when it is made; fill allocates nothing, so that it can
// one day feed a device while it plays.
type stream struct {
	rate            SampleRate
	frames          int         // from the beginning to the end of the last release
	pos             int         // the next frame
	notes           []noteState // by start
	next            int         // notes[:next] have begun
	sounding        []*noteState
	attack, release []float64
	mono            [blockFrames]float64
	left, right     [blockFrames]float64
}

// A noteState is one note as it sounds.
type noteState struct {
	start, held, end int // frames from the clip's start; held is where the release begins
	gainL, gainR     float64
	partials         []resonator
}

func newStream(notes []Note, rate SampleRate, v Voice) (*stream, error) {
	s := &stream{rate: rate, attack: raisedCosine(rate.N(Attack)), release: raisedCosine(rate.N(Release))}
	s.notes = make([]noteState, len(notes))
	s.sounding = make([]*noteState, 0, len(notes))
	top := Hz(topShare * float64(rate))
	var parts []Partial
	for i, n := range notes {
		parts = v(parts[:0], n.Freq, n.Strength)
		turn := (n.Pan + 1) * math.Pi / 4
		held := rate.N(n.Start + n.Length)
		note := noteState{start: rate.N(n.Start), held: held, end: held + len(s.release), gainL: math.Cos(turn), gainR: math.Sin(turn)}
		if n.Pan == 1 {
			note.gainL = 0 // math.Cos(math.Pi/2) is 6e-17
		}
		note.partials = make([]resonator, 0, len(parts))
		for _, p := range parts {
			if err := p.check(); err != nil {
				return nil, fmt.Errorf("note %d: %w", i, err)
			}
			if p.Freq <= top && p.Amp > inaudible {
				note.partials = append(note.partials, newResonator(p, rate))
			}
		}
		s.notes[i] = note
		s.frames = max(s.frames, note.end)
	}
	sort.SliceStable(s.notes, func(i, j int) bool { return s.notes[i].start < s.notes[j].start })
	return s, nil
}

// fill writes the next len(dst)/2 frames, interleaved left, right, before any gain.
func (s *stream) fill(dst []float32) {
	for len(dst) > 0 {
		n := min(len(dst)/2, blockFrames)
		left, right := s.left[:n], s.right[:n]
		clear(left)
		clear(right)
		for s.next < len(s.notes) && s.notes[s.next].start < s.pos+n {
			s.sounding = append(s.sounding, &s.notes[s.next])
			s.next++
		}
		rest := s.sounding[:0]
		for _, v := range s.sounding {
			from, to := max(v.start-s.pos, 0), min(v.end-s.pos, n)
			if from < to {
				s.add(v, s.pos+from, left[from:to], right[from:to])
			}
			if v.end > s.pos+n {
				rest = append(rest, v)
			}
		}
		s.sounding = rest
		for i, l := range left {
			dst[2*i], dst[2*i+1] = float32(l), float32(right[i])
		}
		s.pos += n
		dst = dst[2*n:]
	}
}

// add mixes the next len(left) frames of v, the first of them at frame at of the clip, into left and right.
func (s *stream) add(v *noteState, at int, left, right []float64) {
	mono := s.mono[:len(left)]
	clear(mono)
	live := v.partials[:0]
	for i := range v.partials {
		p := &v.partials[i]
		if at-v.start >= p.dies {
			continue
		}
		p.add(mono)
		live = append(live, *p)
	}
	v.partials = live
	for i, k := 0, at-v.start; i < len(mono) && k < len(s.attack); i, k = i+1, k+1 {
		mono[i] *= s.attack[k]
	}
	// The falling edge is the rising one backwards, so the note's last frame is multiplied by release[0], exactly 0.
	for i := max(v.held-at, 0); i < len(mono); i++ {
		mono[i] *= s.release[v.end-1-(at+i)]
	}
	right = right[:len(left)]
	for i, x := range mono {
		left[i] += x * v.gainL
		right[i] += x * v.gainR
	}
}

// A resonator makes a decaying sine by a recurrence with two terms instead of calling math.Sin. From
//
//	sin(a+b) + sin(a-b) = 2 cos b sin a
//
// follows, for x[n] = A r^n sin(w n + phase) and any stride m, x[n] = 2 r^m cos(m w) x[n-m] - r^2m x[n-2m]. With m = 4 there
// are four chains that don't wait for each other, which a processor runs side by side. In float64 the frequency is off by
// less than 1e-7 cent, so that states needn't be set anew.
type resonator struct {
	c, d float64    // 2 r^4 cos 4w and r^8
	a, b [4]float64 // x[n-4+j] and x[n-8+j] for the next frame n
	dies int        // frames from the note's start until it is inaudible
}

func newResonator(p Partial, rate SampleRate) resonator {
	w := 2 * math.Pi * float64(p.Freq) / float64(rate)
	lnr := -p.Decay / 20 * math.Ln10 / float64(rate)
	q := resonator{c: 2 * math.Exp(4*lnr) * math.Cos(4*w), d: math.Exp(8 * lnr), dies: math.MaxInt}
	x := func(n float64) float64 { return p.Amp * math.Exp(lnr*n) * math.Sin(w*n+p.Phase) }
	for j := range q.a {
		q.a[j], q.b[j] = x(float64(j-4)), x(float64(j-8))
	}
	if n := math.Log(inaudible/p.Amp) / lnr; n < 1e15 {
		q.dies = int(n)
	}
	return q
}

// add adds the next len(dst) samples to dst.
func (q *resonator) add(dst []float64) {
	c, d := q.c, q.d
	a0, a1, a2, a3 := q.a[0], q.a[1], q.a[2], q.a[3]
	b0, b1, b2, b3 := q.b[0], q.b[1], q.b[2], q.b[3]
	for len(dst) >= 8 { // twice four, so that the chains need no moves between registers
		b0 = c*a0 - d*b0
		b1 = c*a1 - d*b1
		b2 = c*a2 - d*b2
		b3 = c*a3 - d*b3
		dst[0] += b0
		dst[1] += b1
		dst[2] += b2
		dst[3] += b3
		a0 = c*b0 - d*a0
		a1 = c*b1 - d*a1
		a2 = c*b2 - d*a2
		a3 = c*b3 - d*a3
		dst[4] += a0
		dst[5] += a1
		dst[6] += a2
		dst[7] += a3
		dst = dst[8:]
	}
	q.a, q.b = [4]float64{a0, a1, a2, a3}, [4]float64{b0, b1, b2, b3}
	// A block that doesn't end on a multiple of eight, at the edges of a note: single steps, each by the oldest chain.
	for i := range dst {
		x := c*q.a[0] - d*q.b[0]
		dst[i] += x
		q.b = [4]float64{q.b[1], q.b[2], q.b[3], q.a[0]}
		q.a = [4]float64{q.a[1], q.a[2], q.a[3], x}
	}
}
