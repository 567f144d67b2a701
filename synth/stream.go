package synth

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"
)

// blockFrames is the number of frames worked on at a time: the buffers of a few buses fit in the first-level cache with the
// states of a hundred partials. A multiple of 8, see addBankGo.
const blockFrames = 512

// inaudible is the amplitude below which a partial is dropped, at the next block's start. Before the gain that sets the
// loudness, notes have a power of about 1, so this is some 120 dB below the sound and, after the gain, less than a hundredth of the
// least step of 16 bits. It also keeps the states far from the slow denormal numbers.
const inaudible = 1e-6

// reseed is how often, in blocks, the oscillators of a long note are set anew, so that rounding errors never gather: every
// 5 s at the default rate.
const reseed = 512

// busesMost is how many different positions between left and right are mixed in buses of their own; notes at further ones
// are mixed singly, which takes longer and sounds the same.
const busesMost = 8

// An engine renders notes block by block, before any gain. All its memory is got when it is made; block allocates nothing,
// so that it can feed a device while it plays.
type engine struct {
	rate     SampleRate
	frames   int // from the beginning to the end of the last release
	pos      int // the next frame, a multiple of blockFrames
	voices   []edges
	given    []Note
	notes    []scheduled // by start
	next     int         // notes[:next] have begun
	sounding []*slot
	free     []*slot
	buses    []bus
	room     *room     // nil for none
	fade     []float64 // the last frames are multiplied by it, read backwards
	parts    []Partial
	tmp      [blockFrames]float64
	left     [blockFrames]float64
	right    [blockFrames]float64
}

// edges is a voice made ready for a sample rate.
type edges struct {
	partials        func(dst []Partial, f Hz, strength float64) []Partial
	attack, release []float64
}

// A scheduled note: frames from the clip's start; held is where the release begins. It is small, since a long stream has
// many and should begin soon.
type scheduled struct {
	start, held int32
	note        int32 // its index among the notes given
	voice       int16
	bus         int16 // -1 for none
}

type bus struct {
	pan          float64
	gainL, gainR float64
	used         bool
	acc          [blockFrames]float64
}

// A slot is one note as it sounds.
type slot struct {
	start, held, end int
	voice            *edges
	bus              *bus // nil for none
	gainL, gainR     float64

	live   int
	blocks int // since it began
	bank   [MaxPartials]oscillator
	course [MaxPartials]course
}

// course is what an oscillator is set from.
type course struct {
	freq         Hz
	amp, decay   float64 // as from the note's start; another pair after the knee
	phase, after float64
	knee         int // frames from the note's start, -1 for none any more
	dies         int
}

func newEngine(notes []Note, o Options) (*engine, error) {
	e := &engine{rate: o.Rate, given: notes, notes: make([]scheduled, len(notes)), parts: make([]Partial, 0, 2*MaxPartials)}
	known := []*Voice{&o.Voice}
	voice := func(v *Voice) (int, error) {
		if v == nil {
			v = &o.Voice
		}
		for i, k := range known[:len(e.voices)] {
			if k == v {
				return i, nil
			}
		}
		if err := v.check(); err != nil {
			return 0, err
		}
		known = append(known[:len(e.voices)], v)
		e.voices = append(e.voices, edges{v.Partials, raisedCosine(o.Rate.N(v.Attack)), raisedCosine(o.Rate.N(v.Release))})
		return len(e.voices) - 1, nil
	}
	sorted := true
	for i := range notes {
		n := &notes[i]
		v, err := voice(n.Voice)
		if err != nil {
			return nil, fmt.Errorf("note %d: %w", i, err)
		}
		s := scheduled{start: int32(o.Rate.N(n.Start)), held: int32(o.Rate.N(n.Start + n.Length)), note: int32(i), voice: int16(v), bus: -1}
		for k := range e.buses {
			if e.buses[k].pan == n.Pan {
				s.bus = int16(k)
				break
			}
		}
		if s.bus < 0 && len(e.buses) < busesMost {
			s.bus = int16(len(e.buses))
			l, r := gains(n.Pan)
			e.buses = append(e.buses, bus{pan: n.Pan, gainL: l, gainR: r})
		}
		e.notes[i] = s
		e.frames = max(e.frames, e.end(s))
		sorted = sorted && (i == 0 || e.notes[i-1].start <= s.start)
	}
	if !sorted {
		slices.SortStableFunc(e.notes, func(a, b scheduled) int { return int(a.start - b.start) })
	}
	if o.Room {
		e.room, e.fade = newRoom(o.Rate), raisedCosine(o.Rate.N(roomFade))
		e.frames += o.Rate.N(roomTail)
	}
	// As many slots as notes sound within one stretch of eight blocks: a few more than needed, counted in less time.
	const stretch = 8 * blockFrames
	change := make([]int32, e.frames/stretch+3)
	for _, s := range e.notes {
		change[s.start/stretch]++
		change[(e.end(s)+blockFrames)/stretch+1]--
	}
	most, now := 0, 0
	for _, c := range change {
		now += int(c)
		most = max(most, now)
	}
	slots := make([]slot, most)
	e.free, e.sounding = make([]*slot, 0, most), make([]*slot, 0, most)
	for i := range slots {
		e.free = append(e.free, &slots[i])
	}
	return e, nil
}

// end returns the frame after a note's last one.
func (e *engine) end(s scheduled) int { return int(s.held) + len(e.voices[s.voice].release) }

// gains returns what a note at pan is multiplied by on the left and on the right, of constant power.
func gains(pan float64) (left, right float64) {
	turn := (pan + 1) * math.Pi / 4
	if left, right = math.Cos(turn), math.Sin(turn); pan == 1 {
		left = 0 // math.Cos(math.Pi/2) is 6e-17
	}
	return left, right
}

// block renders the next blockFrames frames into left and right. The error is one of a voice's partials; what has begun to
// sound stays.
func (e *engine) block() error {
	clear(e.left[:])
	clear(e.right[:])
	for e.next < len(e.notes) && int(e.notes[e.next].start) < e.pos+blockFrames {
		if err := e.begin(e.notes[e.next]); err != nil {
			return err
		}
		e.next++
	}
	rest := e.sounding[:0]
	for _, s := range e.sounding {
		e.sound(s)
		if s.end > e.pos+blockFrames && s.live > 0 {
			rest = append(rest, s)
		} else {
			e.free = append(e.free, s)
		}
	}
	e.sounding = rest
	for i := range e.buses {
		b := &e.buses[i]
		if !b.used {
			continue
		}
		b.used = false
		mix(&e.left, &e.right, &b.acc, b.gainL, b.gainR)
		clear(b.acc[:])
	}
	if e.room != nil {
		e.room.add(&e.left, &e.right)
		for i := max(e.frames-len(e.fade)-e.pos, 0); i < min(e.frames-e.pos, blockFrames); i++ {
			f := e.fade[e.frames-1-e.pos-i]
			e.left[i] *= f
			e.right[i] *= f
		}
		if over := e.frames - e.pos; over < blockFrames {
			clear(e.left[max(over, 0):])
			clear(e.right[max(over, 0):])
		}
	}
	e.pos += blockFrames
	return nil
}

func mix(left, right, x *[blockFrames]float64, l, r float64) {
	for i, v := range x {
		left[i] += v * l
		right[i] += v * r
	}
}

func (e *engine) begin(n scheduled) error {
	s, given := e.free[len(e.free)-1], &e.given[n.note]
	s.start, s.held, s.end = int(n.start), int(n.held), e.end(n)
	s.voice, s.bus, s.live, s.blocks = &e.voices[n.voice], nil, 0, 0
	if n.bus >= 0 {
		s.bus = &e.buses[n.bus]
	} else {
		s.gainL, s.gainR = gains(given.Pan)
	}
	e.parts = s.voice.partials(e.parts[:0], given.Freq, given.Strength)
	if len(e.parts) > MaxPartials {
		return fmt.Errorf("note %d: %w", n.note, errTooManyPartials)
	}
	top := Hz(topShare * float64(e.rate))
	// The oscillators go on in steps of eight frames of the clip, so that they begin up to seven before the note.
	early := float64(n.start & 7)
	for _, p := range e.parts {
		if err := p.check(); err != nil {
			return fmt.Errorf("note %d: %w", n.note, err)
		}
		if p.Freq > top || p.Amp <= inaudible {
			continue
		}
		c := course{freq: p.Freq, amp: p.Amp, decay: p.Decay, phase: p.Phase, after: p.After, knee: -1}
		if p.Knee > 0 {
			c.knee = int(math.Ceil(min(p.Knee*float64(e.rate), 1e15)))
		}
		c.dies = dies(c.amp, c.decay, e.rate)
		if c.knee >= 0 && c.knee < c.dies { // the second stage tells, once it has begun
			c.dies = math.MaxInt
		}
		s.course[s.live] = c
		s.bank[s.live].set(c.freq, c.amp, c.decay, c.phase, -early, e.rate)
		s.live++
	}
	e.free = e.free[:len(e.free)-1]
	e.sounding = append(e.sounding, s)
	return nil
}

// dies returns how many frames amp takes to become inaudible.
func dies(amp, decay float64, rate SampleRate) int {
	if n := 20 * math.Log10(amp/inaudible) / decay * float64(rate); n < 1e15 {
		return int(n)
	}
	return math.MaxInt
}

// sound mixes the next block of s.
func (e *engine) sound(s *slot) {
	k := e.pos - s.start // frames since the note began; below 0 in its first block
	for i := 0; i < s.live; i++ {
		c := &s.course[i]
		if k >= c.dies {
			s.live--
			s.course[i], s.bank[i] = s.course[s.live], s.bank[s.live]
			i--
			continue
		}
		if bent := c.knee >= 0 && k >= c.knee; bent || s.blocks > 0 && s.blocks%reseed == 0 {
			if bent {
				c.amp *= math.Pow(10, (c.after-c.decay)*float64(k)/float64(e.rate)/20)
				c.decay, c.knee = c.after, -1
				c.dies = dies(c.amp, c.decay, e.rate)
			}
			s.bank[i].set(c.freq, c.amp, c.decay, c.phase, float64(k), e.rate)
		}
	}
	s.blocks++
	if s.live == 0 {
		return
	}
	n := s.live
	for ; n%4 != 0; n++ {
		s.bank[n] = oscillator{}
	}
	bank := s.bank[:n]
	v := s.voice
	if s.bus != nil && k >= len(v.attack) && e.pos+blockFrames <= s.held {
		s.bus.used = true
		addBank(s.bus.acc[:], bank)
		return
	}
	from, to := max(-k, 0), min(s.end-e.pos, blockFrames)
	x := e.tmp[from&^7 : (to+7)&^7]
	clear(x)
	addBank(x, bank)
	x = e.tmp[from:to]
	for i, a := 0, k+from; i < len(x) && a < len(v.attack); i, a = i+1, a+1 {
		x[i] *= v.attack[a]
	}
	// The falling edge is the rising one backwards, so the note's last frame is multiplied by release[0], exactly 0.
	for i := max(s.held-e.pos-from, 0); i < len(x); i++ {
		x[i] *= v.release[s.end-1-(e.pos+from+i)]
	}
	if s.bus != nil {
		s.bus.used = true
		acc := s.bus.acc[from:to]
		for i, y := range x {
			acc[i] += y
		}
		return
	}
	left, right := e.left[from:to], e.right[from:to]
	for i, y := range x {
		left[i] += y * s.gainL
		right[i] += y * s.gainR
	}
}

// fill renders the next len(dst)/2 frames, a multiple of blockFrames or the last ones, and returns the largest magnitude.
func (e *engine) fill(dst []float32) (peak float32, err error) {
	for len(dst) > 0 {
		if err := e.block(); err != nil {
			return peak, err
		}
		n := min(len(dst)/2, blockFrames)
		if p := interleave(dst[:2*n], e.left[:n], e.right[:n]); p > peak {
			peak = p
		}
		dst = dst[2*n:]
	}
	return peak, nil
}

// interleave writes left and right, in turn, to dst and returns the largest magnitude.
func interleave(dst []float32, left, right []float64) (peak float32) {
	right = right[:len(left)]
	dst = dst[:2*len(left)]
	// A float's magnitude orders like its bits without the sign.
	var most uint32
	for i, l := range left {
		x, y := float32(l), float32(right[i])
		dst[2*i], dst[2*i+1] = x, y
		most = max(most, math.Float32bits(x)&^(1<<31), math.Float32bits(y)&^(1<<31))
	}
	return math.Float32frombits(most)
}

// A Stream is a clip made while it is taken, however long: the first samples are there at once, and taking them allocates
// nothing. It plays what [Render] would, with one difference: nobody can measure the loudness of what isn't there yet, so
// that it is worked out from the notes' partials, which comes within 1 LU for music of several notes; and where the gain that
// follows would lift a sample above [Ceiling], it sinks in the 11 ms before, and doesn't rise again. Drills, which need
// equal loudness, use Render.
type Stream struct {
	e          *engine
	frames     int // with the tail
	pos        int // frames given
	first      float64
	gain       float64
	cur, ahead [2 * blockFrames]float32
	have       int // samples of cur given; 2*blockFrames if there is none left
	turned     int // frames that have been cur
	rise       softStart
	err        error
}

// NewStream makes a stream of notes. It returns an error where [Render] does but for those that show only while it sounds:
// a voice of one's own with partials out of range, which [Stream.Read] returns when it comes to them, and notes of which
// nothing is heard, which are silent. The notes mustn't be changed while it is read.
func NewStream(notes []Note, opts Options) (*Stream, error) {
	o, err := prepare(notes, opts)
	if err != nil {
		return nil, err
	}
	e, err := newEngine(notes, o)
	if err != nil {
		return nil, fmt.Errorf("synth: %w", err)
	}
	s := &Stream{e: e, frames: e.frames + o.Rate.N(o.Tail), have: 2 * blockFrames}
	if err := checkFrames(s.frames, o.Rate); err != nil {
		return nil, err
	}
	s.gain = e.estimate(o.Level)
	s.first = s.gain
	peak, err := e.fill(s.ahead[:])
	if err != nil {
		return nil, fmt.Errorf("synth: %w", err)
	}
	s.gain = within(s.gain, peak)
	return s, nil
}

// within returns the gain, lowered as far as the ceiling demands for samples of that peak.
func within(gain float64, peak float32) float64 {
	if p := float64(peak); p*gain > Ceiling {
		return Ceiling / p * (1 - 1e-7)
	}
	return gain
}

// Frames returns the number of frames of the whole stream.
func (s *Stream) Frames() int { return s.frames }

// Rate returns the sample rate.
func (s *Stream) Rate() SampleRate { return s.e.rate }

// Held returns how far the ceiling has lowered the gain so far.
func (s *Stream) Held() LU { return LU(20 * math.Log10(s.first/s.gain)) }

// Read writes the next samples, left and right in turn, to dst and returns their number, which is even. At the end it
// returns 0 and io.EOF. With room for less than a frame it returns io.ErrShortBuffer.
func (s *Stream) Read(dst []float32) (n int, err error) {
	if len(dst) < 2 {
		return 0, io.ErrShortBuffer
	}
	for len(dst)-n >= 2 && s.pos < s.frames {
		if s.have == len(s.cur) {
			if s.err != nil {
				break
			}
			s.turn()
		}
		k := copy(dst[n:n+min((len(dst)-n)&^1, 2*(s.frames-s.pos))], s.cur[s.have:])
		n, s.have, s.pos = n+k, s.have+k, s.pos+k/2
	}
	switch {
	case n > 0:
		return n, nil
	case s.err != nil:
		return 0, s.err
	}
	return 0, io.EOF
}

// turn makes the block ahead the current one, renders the one after it, and sets the gain so that it fits both.
func (s *Stream) turn() {
	s.cur, s.ahead = s.ahead, s.cur
	s.have = 0
	var peak float32
	if s.e.pos < s.e.frames {
		if peak, s.err = s.e.fill(s.ahead[:]); s.err != nil {
			s.err = fmt.Errorf("synth: %w", s.err)
		}
	} else {
		clear(s.ahead[:])
	}
	to := within(s.gain, peak)
	step := (to - s.gain) / blockFrames
	for i := 0; i < len(s.cur); i += 2 {
		s.gain += step
		s.cur[i] = float32(float64(s.cur[i]) * s.gain)
		s.cur[i+1] = float32(float64(s.cur[i+1]) * s.gain)
	}
	s.gain = to
	s.rise.apply(s.cur[:], s.turned)
	s.turned += blockFrames
}

// A softStart lets sound rise to its level over so many frames, from below.
type softStart struct {
	below  LU
	frames int
}

// apply softens samples that begin at frame at.
func (r softStart) apply(samples []float32, at int) {
	for i := 0; i < len(samples) && at < r.frames; i, at = i+2, at+1 {
		// Even in decibels but for a bend at either end.
		db := -float64(r.below) * (1 + math.Cos(math.Pi*float64(at)/float64(r.frames))) / 2
		g := float32(math.Pow(10, db/20))
		samples[i] *= g
		samples[i+1] *= g
	}
}

// StartSoftly lets c, in place, begin below its level and rise to it over the time of rise, or half its length if that is less:
// for the first sound out of a device, whose volume may be turned up.
func (c *Clip) StartSoftly(below LU, rise time.Duration) {
	softStart{below, min(c.Rate.N(rise), c.Frames()/2)}.apply(c.Samples, 0)
}

// StartSoftly does for s, before it is read, what [Clip.StartSoftly] does for a clip.
func (s *Stream) StartSoftly(below LU, rise time.Duration) {
	s.rise = softStart{below, min(s.e.rate.N(rise), s.frames/2)}
}

// PCM returns the rest of s as 16-bit samples, as [Clip.AppendPCM16] gives them.
func (s *Stream) PCM() io.Reader { return &pcmReader{s: s} }

type pcmReader struct {
	s    *Stream
	buf  [2 * blockFrames]float32
	pcm  [4 * blockFrames]byte
	left []byte
}

func (r *pcmReader) Read(dst []byte) (n int, err error) {
	for n < len(dst) {
		if len(r.left) == 0 {
			k, err := r.s.Read(r.buf[:])
			if err != nil {
				if n > 0 {
					return n, nil // the error comes again
				}
				return 0, err
			}
			r.left = appendPCM16(r.pcm[:0], r.buf[:k])
		}
		k := copy(dst[n:], r.left)
		n, r.left = n+k, r.left[k:]
	}
	return n, nil
}

// estimateWindow and estimateWindows say of how much of a stream the loudness is worked out: long music is looked into at
// so many places, spread evenly from its beginning to its end, so that it takes no longer to begin.
const (
	estimateWindow  = 80 // tenths of a second
	estimateWindows = 6
)

// estimate works out the gain that brings the notes to level: the K-weighted powers of all partials are added up in tenths
// of a second, as if they had nothing to do with each other, and gated as the standard has it. Partials that meet at one
// frequency may add up to more or less, which is the error. A note's partials are taken from another one of about the same
// pitch where there is one.
func (e *engine) estimate(level LUFS) float64 {
	hop := int(e.rate) / 10
	hops := e.frames/hop + 2
	var blocks []float64
	m := meterOf(e)
	if hops <= estimateWindow*estimateWindows {
		blocks = m.blocks(blocks, 0, hops)
	} else {
		for i := range estimateWindows {
			from := (hops - estimateWindow) * i / (estimateWindows - 1)
			blocks = m.blocks(blocks, from, from+estimateWindow)
		}
	}
	gain, err := gainFor(blocks, level)
	if err != nil {
		return 1e-3 // nothing is to be heard, and nothing is
	}
	if e.room != nil {
		gain /= math.Sqrt(1 + roomEnergy)
	}
	return gain
}

// An expected is what a note of some pitch, strength and voice brings to the meter.
type expected struct {
	parts []expectedPart
	hops  []float64 // K-weighted power in each tenth of a second, for the strength 1, as far as it was needed
}

type expectedPart struct {
	power       float64 // at the next hop
	step, after float64 // its factor from one hop to the next, before and after the knee
	knee        int     // hops
}

type expecter struct {
	e           *engine
	hop         int
	shelf, high biquad
	known       map[expectedKey]*expected
	parts       []Partial
}

// Notes within a minor third of each other are taken for one, as are those of different strength, which have the same power but for
// its square and die alike but for their highest partials.
type expectedKey struct{ pitch, voice int16 }

func meterOf(e *engine) *expecter {
	return &expecter{e: e, hop: int(e.rate) / 10, shelf: kShelf.at(e.rate), high: kHighPass.at(e.rate),
		known: map[expectedKey]*expected{}, parts: make([]Partial, 0, MaxPartials)}
}

// of returns what is known of a note, for at least so many hops.
func (m *expecter) of(n scheduled, hops int) *expected {
	given := &m.e.given[n.note]
	k := expectedKey{int16(math.Round(4 * math.Log2(float64(given.Freq)))), n.voice}
	x := m.known[k]
	if x == nil {
		x = &expected{hops: make([]float64, 0, max(hops, 24))}
		m.known[k] = x
		m.parts = m.e.voices[n.voice].partials(m.parts[:0], given.Freq, given.Strength)
		x.parts = make([]expectedPart, 0, len(m.parts))
		for _, p := range m.parts {
			if p.Freq > Hz(topShare*float64(m.e.rate)) {
				continue
			}
			cos := math.Cos(2 * math.Pi * float64(p.Freq) / float64(m.e.rate))
			q := expectedPart{power: p.Amp * p.Amp / 2 * m.shelf.power(cos) * m.high.power(cos) / (given.Strength * given.Strength)}
			q.step = math.Exp(-p.Decay * math.Ln10 / 100)
			if q.after = q.step; p.Knee > 0 {
				q.after, q.knee = math.Exp(-p.After*math.Ln10/100), int(p.Knee*10+.5)
			}
			x.parts = append(x.parts, q)
		}
	}
	for h := len(x.hops); h < hops; h++ {
		sum := 0.0
		for i := range x.parts {
			p := &x.parts[i]
			f := p.step
			if h >= p.knee {
				f = p.after
			}
			sum += p.power * (1 + f) / 2
			p.power *= f
		}
		x.hops = append(x.hops, sum)
	}
	return x
}

// blocks appends the mean powers of the blocks of 400 ms that lie within hops from <= h < to.
func (m *expecter) blocks(dst []float64, from, to int) []float64 {
	bins := make([]float64, to-from)
	e, hop := m.e, m.hop
	// Notes that began up to 20 s before may still sound.
	first, _ := slices.BinarySearchFunc(e.notes, (from-200)*hop, func(s scheduled, at int) int { return int(s.start) - at })
	for _, n := range e.notes[first:] {
		start := int(n.start)
		if start >= to*hop {
			break
		}
		// The release is heard for about three eighths of its length.
		end := int(n.held) + (e.end(n)-int(n.held))*3/8
		if end <= from*hop {
			continue
		}
		at := start / hop
		hops := min((end-start+hop-1)/hop, to-at)
		off := float64(start-at*hop) / float64(hop) // the share of the hop gone when the note begins
		strength := e.given[n.note].Strength
		for h, p := range m.of(n, hops).hops[:hops] {
			p *= strength * strength
			if left := end - start - h*hop; left < hop { // the last one is cut short
				p *= float64(left) / float64(hop)
			}
			if i := at + h - from; i >= 0 && i < len(bins) {
				bins[i] += p * (1 - off)
			}
			if i := at + h + 1 - from; i >= 0 && i < len(bins) {
				bins[i] += p * off
			}
		}
	}
	if len(bins) < 4 || e.frames < 4*hop {
		sum := 0.0
		for _, b := range bins {
			sum += b
		}
		return append(dst, sum*float64(hop)/float64(max(e.frames, 1)))
	}
	for i := 3; i < len(bins); i++ {
		dst = append(dst, (bins[i-3]+bins[i-2]+bins[i-1]+bins[i])/4)
	}
	return dst
}

// power returns the squared magnitude of q's response at the frequency whose angle has the given cosine.
func (q biquad) power(cos float64) float64 {
	cos2 := 2*cos*cos - 1
	num := q.b0*q.b0 + q.b1*q.b1 + q.b2*q.b2 + 2*(q.b0*q.b1+q.b1*q.b2)*cos + 2*q.b0*q.b2*cos2
	den := 1 + q.a1*q.a1 + q.a2*q.a2 + 2*(q.a1+q.a1*q.a2)*cos + 2*q.a2*cos2
	return num / den
}
