package midi

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// A press is one key pressed and released, in ticks from the start.
type press struct {
	on, off int64
	track   int32 // from 0
	channel uint8 // from 0
	key     uint8
}

// presses are kept in blocks, so that a million of them are never copied.
type presses struct {
	blocks [][]press
	count  int
}

const block = 1 << 12

func (p *presses) add(x press) {
	if p.count%block == 0 {
		size := block
		if p.count == 0 {
			size = 0 // the first grows: most files are small
		}
		p.blocks = append(p.blocks, make([]press, 0, size))
	}
	last := &p.blocks[len(p.blocks)-1]
	*last = append(*last, x)
	p.count++
}

func (p *presses) at(i int) *press { return &p.blocks[i/block][i%block] }

// all yields the presses in the order of the file.
func (p *presses) all(yield func(*press) bool) {
	for _, b := range p.blocks {
		for i := range b {
			if !yield(&b[i]) {
				return
			}
		}
	}
}

// The marks of a file, at ticks.
type (
	tempoMark struct{ at, micros int64 } // microseconds a quarter note
	meterMark struct {
		at          int64
		beats, unit int
	}
	keyMark struct {
		at    int64
		sig   int
		minor bool
	}
)

// A track is what a file says of one, beside its notes.
type track struct {
	name  string
	notes int
	end   int64
}

// A file is all that is kept of one.
type file struct {
	format   int
	division int64 // ticks a quarter note
	tracks   []track
	presses  presses
	tempos   []tempoMark
	meters   []meterMark
	keys     []keyMark
	warnings warnings
}

// A source reads bytes one at a time and knows where it is. The first error stays.
type source struct {
	br    *bufio.Reader
	off   int64 // of the next byte
	left  int64 // bytes left of the chunk
	track int   // from 1; 0 in the header and between chunks
	name  string
	err   *Error
}

func (s *source) fail(off int64, format string, args ...any) *Error {
	if s.err == nil {
		s.err = &Error{File: s.name, Track: s.track, Offset: off, Msg: fmt.Sprintf(format, args...)}
	}
	return s.err
}

// next returns the next byte of the chunk, or 0 and sets s.err.
func (s *source) next() byte {
	if s.left <= 0 {
		if s.err == nil {
			s.fail(s.off, "the event goes on past the end of the track")
		}
		return 0
	}
	b, err := s.br.ReadByte()
	if err != nil {
		s.left = 0
		if s.err == nil {
			s.broken(err, "the file ends within the track")
		}
		return 0
	}
	s.off++
	s.left--
	return b
}

// broken tells a file that ends from one that can't be read.
func (s *source) broken(err error, msg string) {
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		s.fail(s.off, "%s", msg)
		return
	}
	s.fail(s.off, "%v", err)
	s.err.Err = err
}

// number reads a variable-length quantity: seven bits a byte, the highest first, all but the last with the top bit set. The
// standard allows four bytes, up to 0x0FFFFFFF.
func (s *source) number() int64 {
	start, n := s.off, int64(0)
	for range 4 {
		b := s.next()
		n = n<<7 | int64(b&0x7f)
		if b < 0x80 {
			return n
		}
	}
	s.fail(start, "a number of more than four bytes")
	return 0
}

// skip passes over n bytes of the chunk.
func (s *source) skip(n int64) {
	if n > s.left {
		s.fail(s.off, "the event claims %d bytes; the track has %d left", n, s.left)
		return
	}
	for n > 0 && s.err == nil {
		k, err := s.br.Discard(int(min(n, 1<<20)))
		s.off += int64(k)
		s.left -= int64(k)
		n -= int64(k)
		if err != nil {
			s.broken(err, "the file ends within the track")
		}
	}
}

// parse reads a whole file. An error is an *Error.
func parse(r io.Reader, name string) (*file, error) {
	s := &source{br: bufio.NewReaderSize(io.LimitReader(r, MaxBytes+1), 64<<10), name: name}
	head, err := s.br.Peek(14)
	switch {
	case err != nil && err != io.EOF:
		s.broken(err, "")
		return nil, s.err
	case len(head) >= 4 && string(head[:4]) == "RIFF":
		return nil, s.fail(0, "it is a RIFF file; only plain Standard MIDI Files are read, which begin with MThd")
	case len(head) < 4 || string(head[:4]) != "MThd":
		return nil, s.fail(0, "it begins with %q, a Standard MIDI File with \"MThd\"", head[:min(len(head), 4)])
	case len(head) < 14:
		return nil, s.fail(int64(len(head)), "the file ends within its header")
	}
	size := int64(head[4])<<24 | int64(head[5])<<16 | int64(head[6])<<8 | int64(head[7])
	word := func(i int) int { return int(head[i])<<8 | int(head[i+1]) }
	format, tracks, division := word(8), word(10), word(12)
	f := &file{format: format, division: int64(division)}
	switch {
	case size < 6:
		return nil, s.fail(4, "a header of %d bytes; want 6", size)
	case format == 2:
		return nil, s.fail(8, "it is a file of format 2, independent patterns in no order; formats 0 and 1 are read")
	case format > 2:
		return nil, s.fail(8, "it is a file of format %d; formats 0 and 1 are read", format)
	case division >= 0x8000:
		return nil, s.fail(12, "its time is counted in film frames (SMPTE), not in parts of a quarter note")
	case division == 0:
		return nil, s.fail(12, "no ticks a quarter note")
	}
	s.left = size + 8
	s.skip(size + 8) // a longer header is allowed; what follows its six bytes isn't known
	if s.err != nil {
		s.err.Msg = "the file ends within its header"
		return nil, s.err
	}
	for s.err == nil {
		s.track = 0
		head, err := s.br.Peek(8)
		if len(head) < 8 {
			if err != nil && err != io.EOF {
				s.broken(err, "")
			} else if len(head) > 0 && len(f.tracks) >= tracks {
				f.warnings.addf("%d bytes after the last track are left out", len(head))
			} else if len(head) > 0 {
				s.fail(s.off, "the file ends within the header of a track")
			}
			break
		}
		s.left = int64(head[4])<<24 | int64(head[5])<<16 | int64(head[6])<<8 | int64(head[7])
		kind := string(head[:4])
		s.br.Discard(8)
		s.off += 8
		if kind != "MTrk" {
			f.warnings.addf("a chunk %q is left out", kind)
			if len(f.tracks) >= tracks && !plain(kind) {
				break // no chunk at all
			}
			if s.skip(s.left); s.err != nil && s.err.Err == nil {
				s.err.Msg = fmt.Sprintf("the file ends within a chunk %q", kind)
			}
			continue
		}
		if len(f.tracks) == MaxTracks {
			s.fail(s.off-8, "more than %d tracks", MaxTracks)
			break
		}
		s.track = len(f.tracks) + 1
		f.track(s)
		if s.off > MaxBytes && s.err == nil {
			s.fail(s.off, "")
		}
	}
	if s.off > MaxBytes {
		s.err = &Error{File: name, Offset: MaxBytes, Msg: fmt.Sprintf("it is larger than %d MiB", MaxBytes>>20)}
	}
	if s.err != nil {
		return nil, s.err
	}
	if n := len(f.tracks); n < tracks {
		return nil, s.fail(s.off, "the file ends after %d of %d tracks", n, tracks)
	} else if n > tracks {
		f.warnings.addf("the header says %d tracks, there are %d", tracks, n)
	}
	if format == 0 && len(f.tracks) > 1 {
		f.warnings.addf("a file of format 0 has one track, this one has %d: read as format 1", len(f.tracks))
	}
	return f, nil
}

// plain reports whether s is four letters or digits, as the type of a chunk is.
func plain(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r < ' ' || r > '~' }) < 0
}

// track reads the events of a track.
func (f *file) track(s *source) {
	index := int32(len(f.tracks))
	t := track{}
	from := f.presses.count
	var tick int64
	var status byte
	// Presses that wait for their release, in a queue for each channel and key: indices within this track, plus 1.
	var head, tail [16 * 128]int32
	var behind []int32 // for each press of this track: the next in its queue
	stray, carried, ended := 0, false, false
	for s.left > 0 && s.err == nil {
		if ended {
			f.warnings.addf("track %d: %d bytes after its end are left out", s.track, s.left)
			s.skip(s.left)
			break
		}
		start := s.off
		tick += s.number()
		if tick > MaxQuarters*f.division {
			s.fail(start, "the track is longer than %d quarter notes", MaxQuarters)
			break
		}
		start = s.off
		b := s.next()
		if s.err != nil {
			break
		}
		first, has := byte(0), false
		switch {
		case b == 0xff:
			ended = f.meta(s, &t, tick)
			carried = true
			continue
		case b == 0xf0 || b == 0xf7:
			s.skip(s.number())
			carried = true
			continue
		case b > 0xf0:
			s.fail(start, "byte %#02x begins no event of a file", b)
			continue
		case b >= 0x80:
			status, carried = b, false
		case status == 0:
			s.fail(start, "byte %#02x where an event should begin, and none before it to go on with (running status)", b)
			continue
		default:
			if first, has = b, true; carried {
				f.warnings.addf("track %d, byte %d: running status goes on after a meta or system-exclusive event, which ends it by the standard", s.track, start)
				carried = false
			}
		}
		if !has {
			first = s.next()
		}
		second := byte(0)
		if kind := status & 0xf0; kind != 0xc0 && kind != 0xd0 {
			second = s.next()
		}
		if s.err != nil {
			break
		}
		if first > 0x7f || second > 0x7f {
			s.fail(start, "data byte %#02x in an event of status %#02x; want less than 0x80", max(first, second), status)
			break
		}
		k := int(status&0x0f)<<7 | int(first)
		switch {
		case status&0xf0 == 0x90 && second > 0:
			if f.presses.count == MaxNotes {
				s.fail(start, "more than %d notes", MaxNotes)
				continue
			}
			t.notes++
			f.presses.add(press{on: tick, off: -1, track: index, channel: status & 0x0f, key: first})
			behind = append(behind, 0)
			if n := int32(len(behind)); head[k] == 0 {
				head[k], tail[k] = n, n
			} else {
				behind[tail[k]-1], tail[k] = n, n
			}
		case status&0xf0 == 0x90 || status&0xf0 == 0x80:
			if w := head[k]; w != 0 {
				f.presses.at(from + int(w) - 1).off = tick
				head[k] = behind[w-1]
			} else {
				stray++
			}
		}
	}
	if s.err != nil {
		return
	}
	if !ended {
		f.warnings.addf("track %d has no end-of-track event", s.track)
	}
	t.end = tick
	open := 0
	for i := from; i < f.presses.count; i++ {
		if p := f.presses.at(i); p.off < 0 {
			p.off = tick
			open++
		}
	}
	if open > 0 {
		f.warnings.addf("track %d: %d notes are never released; they end with the track", s.track, open)
	}
	if stray > 0 {
		f.warnings.addf("track %d: %d releases of keys that weren't pressed are left out", s.track, stray)
	}
	f.tracks = append(f.tracks, t)
}

// Meta events that are read, by type.
const (
	metaName  = 0x03
	metaEnd   = 0x2f
	metaTempo = 0x51
	metaMeter = 0x58
	metaKey   = 0x59
)

// maxName is how many bytes of a track name are kept.
const maxName = 200

// meta reads a meta event, of which FF has been read, and reports whether it ends the track.
func (f *file) meta(s *source, t *track, tick int64) bool {
	start := s.off - 1
	kind, size := s.next(), s.number()
	if s.err != nil {
		return false
	}
	if size > s.left {
		s.fail(start, "meta event %#02x claims %d bytes; the track has %d left", kind, size, s.left)
		return false
	}
	want := int64(0) // bytes that are read; the others are passed over
	switch kind {
	case metaName:
		want = min(size, maxName)
	case metaTempo:
		want = 3
	case metaMeter:
		want = 4
	case metaKey:
		want = 2
	}
	if size < want {
		s.fail(start, "meta event %#02x of %d bytes; want %d", kind, size, want)
		return false
	}
	var room [maxName]byte
	data := room[:want]
	for i := range data {
		data[i] = s.next()
	}
	s.skip(size - want)
	if s.err != nil {
		return false
	}
	if (kind == metaTempo || kind == metaMeter || kind == metaKey) && len(f.tempos)+len(f.meters)+len(f.keys) == MaxMarks {
		s.fail(start, "more than %d tempos and signatures", MaxMarks)
		return false
	}
	switch kind {
	case metaName:
		if t.name == "" {
			t.name = text(data)
		}
	case metaEnd:
		return true
	case metaTempo:
		if m := int64(data[0])<<16 | int64(data[1])<<8 | int64(data[2]); m > 0 {
			f.tempos = append(f.tempos, tempoMark{tick, m})
		} else {
			f.warnings.addf("track %d, byte %d: a tempo without end is left out", s.track, start)
		}
	case metaMeter: // beats, unit as a power of two, then two clocks that don't matter here
		if data[0] > 0 && data[1] <= 6 {
			f.meters = append(f.meters, meterMark{tick, int(data[0]), 1 << data[1]})
		} else {
			f.warnings.addf("track %d, byte %d: a time signature of %d over 2 to the %d is left out", s.track, start, data[0], data[1])
		}
	case metaKey:
		if sig := int(int8(data[0])); sig >= -7 && sig <= 7 && data[1] <= 1 {
			f.keys = append(f.keys, keyMark{tick, sig, data[1] == 1})
		} else {
			f.warnings.addf("track %d, byte %d: a key signature of %d sharps in mode %d is left out", s.track, start, sig, data[1])
		}
	}
	return false
}

// text returns a name as UTF-8. The standard leaves the character set open beyond ASCII; what isn't UTF-8 is taken as
// ISO-8859-1.
func text(data []byte) string {
	if !utf8.Valid(data) {
		if cut := len(data) - 3; len(data) == maxName && cut > 0 { // a name may be cut within a letter
			for n := len(data) - 1; n >= cut; n-- {
				if utf8.Valid(data[:n]) {
					return clean(string(data[:n]))
				}
			}
		}
		r := make([]rune, len(data))
		for i, b := range data {
			r[i] = rune(b)
		}
		return clean(string(r))
	}
	return clean(string(data))
}

// clean drops what can't be printed, and spaces around.
func clean(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return -1
		}
		return r
	}, s))
}

// marksInOrder brings marks of all tracks into order of time; of two of a kind at one moment the last one holds.
func (f *file) marksInOrder() {
	f.tempos = inOrder(f.tempos, func(m tempoMark) int64 { return m.at })
	f.meters = inOrder(f.meters, func(m meterMark) int64 { return m.at })
	f.keys = inOrder(f.keys, func(m keyMark) int64 { return m.at })
}

func inOrder[M any](marks []M, at func(M) int64) []M {
	slices.SortStableFunc(marks, func(a, b M) int { return int(min(max(at(a)-at(b), -1), 1)) })
	out := marks[:0]
	for i, m := range marks {
		if i+1 == len(marks) || at(marks[i+1]) != at(m) {
			out = append(out, m)
		}
	}
	return out
}
