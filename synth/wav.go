package synth

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync/atomic"
)

// A Format is the way samples are stored in a WAV file: one of the sample formats, or it and Mono together, as in PCM24|Mono.
type Format uint8

// The formats written and read.
const (
	PCM16   Format = iota // 16-bit integers
	Float32               // IEEE 754 floats of 32 bits
	PCM24                 // 24-bit integers

	Mono Format = 1 << 7 // one channel, the mean of left and right
)

// String names the format as a user would: "24-bit", "16-bit mono"; %!Format(n) if it is none.
func (f Format) String() string {
	s := ""
	switch f &^ Mono {
	case PCM16:
		s = "16-bit"
	case PCM24:
		s = "24-bit"
	case Float32:
		s = "32-bit float"
	default:
		return "%!Format(" + strconv.Itoa(int(f)) + ")"
	}
	if f&Mono != 0 {
		s += " mono"
	}
	return s
}

func (f Format) valid() bool { return f&^Mono <= PCM24 }

// bytes returns the size of a sample.
func (f Format) bytes() int {
	switch f &^ Mono {
	case Float32:
		return 4
	case PCM24:
		return 3
	}
	return 2
}

func (f Format) channels() int {
	if f&Mono != 0 {
		return 1
	}
	return 2
}

func (f Format) float() bool { return f&^Mono == Float32 }

// ErrTooLong is wrapped by the error for a clip whose WAV file would pass 4 GiB, which its header can't say.
var ErrTooLong = errors.New("too long for a WAV file")

// Format tags of the fmt chunk (Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991; 3 in
// the revision of 1994; from memory).
const (
	tagPCM   = 1
	tagFloat = 3
)

// AppendPCM16 appends the samples to dst as 16-bit little-endian integers, interleaved: round(32768 x), halves to even,
// within -32768..32767. The caller has seen to it that samples lie within -1..1.
//
// There is no dither. Rounding errors stay at -98 dBFS, more than 70 dB below the sound, under the noise of any room; and
// without dither the same clip gives the same bytes, and silence stays silence.
func (c *Clip) AppendPCM16(dst []byte) []byte { return appendPCM16(dst, c.Samples) }

func appendPCM16(dst []byte, samples []float32) []byte {
	n := len(dst)
	dst = slices.Grow(dst, 2*len(samples))[:n+2*len(samples)]
	for i, x := range samples {
		v := min(max(math.RoundToEven(float64(x)*32768), -32768), 32767)
		binary.LittleEndian.PutUint16(dst[n+2*i:], uint16(int16(v)))
	}
	return dst
}

// appendSamples appends samples to dst in the sample format of f; integers are rounded and bounded as in AppendPCM16.
func appendSamples(dst []byte, samples []float32, f Format) []byte {
	switch f &^ Mono {
	case PCM16:
		return appendPCM16(dst, samples)
	case PCM24:
		for _, x := range samples {
			v := int32(min(max(math.RoundToEven(float64(x)*(1<<23)), -1<<23), 1<<23-1))
			dst = append(dst, byte(v), byte(v>>8), byte(v>>16))
		}
		return dst
	}
	for _, x := range samples {
		dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(x))
	}
	return dst
}

// wavHeader returns all that stands before the samples.
func wavHeader(rate SampleRate, frames int64, f Format) ([]byte, error) {
	channels := f.channels()
	frame := int64(channels * f.bytes())
	if frames > math.MaxUint32/frame {
		return nil, fmt.Errorf("%w: %d frames", ErrTooLong, frames)
	}
	data := frames * frame
	format := binary.LittleEndian.AppendUint16(nil, tagPCM)
	if f.float() {
		binary.LittleEndian.PutUint16(format, tagFloat)
	}
	format = binary.LittleEndian.AppendUint16(format, uint16(channels))
	format = binary.LittleEndian.AppendUint32(format, uint32(rate))
	format = binary.LittleEndian.AppendUint32(format, uint32(int64(rate)*frame)) // bytes a second
	format = binary.LittleEndian.AppendUint16(format, uint16(frame))
	format = binary.LittleEndian.AppendUint16(format, uint16(8*f.bytes()))
	var fact []byte
	if f.float() { // anything but PCM needs the size of an extension, here none, and a fact chunk
		format = binary.LittleEndian.AppendUint16(format, 0)
		fact = binary.LittleEndian.AppendUint32(nil, uint32(frames))
	}
	chunk := func(h []byte, id string, body []byte) []byte {
		h = append(h, id...)
		h = binary.LittleEndian.AppendUint32(h, uint32(len(body)))
		return append(h, body...)
	}
	h := chunk([]byte("RIFF\x00\x00\x00\x00WAVE"), "fmt ", format)
	if fact != nil {
		h = chunk(h, "fact", fact)
	}
	h = append(h, "data"...)
	h = binary.LittleEndian.AppendUint32(h, uint32(data))
	riff := int64(len(h)) - 8 + data + data%2 // a chunk of odd length is followed by a byte that isn't counted in it
	if riff > math.MaxUint32 {
		return nil, fmt.Errorf("%w: %d frames", ErrTooLong, frames)
	}
	binary.LittleEndian.PutUint32(h[4:], uint32(riff))
	return h, nil
}

// WriteWAV writes c as a RIFF WAVE file. It returns an error before anything is written if a sample isn't a number
// within -1..1 or the file would pass 4 GiB ([ErrTooLong]), and passes on the errors of w.
func WriteWAV(w io.Writer, c *Clip, f Format) error {
	if !f.valid() {
		return fmt.Errorf("synth: unknown WAV format %v", f)
	}
	if err := c.Check(1); err != nil {
		return fmt.Errorf("synth: WAV: %w", err)
	}
	h, err := wavHeader(c.Rate, int64(c.Frames()), f)
	if err != nil {
		return fmt.Errorf("synth: WAV: %w", err)
	}
	if _, err := w.Write(h); err != nil {
		return fmt.Errorf("synth: WAV: %w", err)
	}
	const at = 8192 // samples converted at a time
	buf := make([]byte, 0, at*f.bytes()+1)
	var mono []float32
	for s := c.Samples; len(s) > 0; {
		n := min(len(s), at)
		part := s[:n]
		if f&Mono != 0 {
			mono = mono[:0]
			for i := 0; i < n; i += 2 {
				mono = append(mono, (part[i]+part[i+1])/2)
			}
			part = mono
		}
		buf = appendSamples(buf[:0], part, f)
		if s = s[n:]; len(s) == 0 && c.Frames()*f.channels()*f.bytes()%2 != 0 {
			buf = append(buf, 0)
		}
		if _, err := w.Write(buf); err != nil {
			return fmt.Errorf("synth: WAV: %w", err)
		}
	}
	return nil
}

// partFiles numbers the temporary files of this process.
var partFiles atomic.Uint64

// WriteWAVFile writes c to the file path. The sound goes to a temporary file in the same folder, which takes the name only
// when it is complete: whatever happens, path is the old file or the whole new one, and an error leaves nothing behind.
// Something that isn't a plain file, such as a pipe or a device, is written to as it is.
func WriteWAVFile(path string, c *Clip, f Format) (err error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return writeTo(path, os.O_WRONLY, c, f)
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // a link stays a link, and what it leads to is replaced
	}
	dir, base := filepath.Split(path)
	part := filepath.Join(dir, fmt.Sprintf(".%s.%d-%d.part", base, os.Getpid(), partFiles.Add(1)))
	os.Remove(part) // left over from a process of the same number that was killed
	defer func() {
		if err != nil {
			os.Remove(part)
		}
	}()
	if err := writeTo(part, os.O_WRONLY|os.O_CREATE|os.O_EXCL, c, f); err != nil {
		return err
	}
	if err := os.Rename(part, path); err != nil {
		return fmt.Errorf("synth: %w", err)
	}
	return nil
}

func writeTo(path string, flag int, c *Clip, f Format) error {
	file, err := os.OpenFile(path, flag, 0o666)
	if err != nil {
		return fmt.Errorf("synth: %w", err)
	}
	err = WriteWAV(file, c, f)
	if info, e := file.Stat(); err == nil && e == nil && info.Mode().IsRegular() {
		if e := file.Sync(); e != nil {
			err = fmt.Errorf("synth: %w", e)
		}
	}
	if e := file.Close(); err == nil && e != nil {
		err = fmt.Errorf("synth: %w", e)
	}
	return err
}

// ReadWAV reads a WAV file of one of our formats and says which; a file with one channel sounds on both sides. Chunks it doesn't know are skipped. It returns an
// error for anything else: another layout, a file cut short, a sample that is no number. Memory grows with what is there,
// not with what a header claims, up to [MaxLength].
func ReadWAV(r io.Reader) (*Clip, Format, error) {
	c, f, err := readWAV(r)
	if err != nil {
		return nil, 0, fmt.Errorf("synth: WAV: %w", err)
	}
	return c, f, nil
}

func readWAV(r io.Reader) (*Clip, Format, error) {
	var head [12]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil, 0, fmt.Errorf("header: %w", cutShort(err))
	}
	if string(head[:4]) != "RIFF" || string(head[8:]) != "WAVE" {
		return nil, 0, fmt.Errorf("begins with %q and %q; want \"RIFF\" and \"WAVE\"", head[:4], head[8:])
	}
	var (
		c      *Clip
		format Format
	)
	for {
		if _, err := io.ReadFull(r, head[:8]); err != nil {
			return nil, 0, fmt.Errorf("no data chunk: %w", cutShort(err))
		}
		id, size := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
		switch id {
		case "fmt ":
			if c != nil {
				return nil, 0, errors.New("a second fmt chunk")
			}
			if size < 16 || size > 1024 {
				return nil, 0, fmt.Errorf("fmt chunk of %d bytes; want 16 to 1024", size)
			}
			b := make([]byte, size+size%2)
			if _, err := io.ReadFull(r, b); err != nil {
				return nil, 0, fmt.Errorf("fmt chunk: %w", cutShort(err))
			}
			tag, channels := binary.LittleEndian.Uint16(b), binary.LittleEndian.Uint16(b[2:])
			rate, frame := binary.LittleEndian.Uint32(b[4:]), binary.LittleEndian.Uint16(b[12:])
			bits := binary.LittleEndian.Uint16(b[14:])
			switch {
			case tag == tagPCM && bits == 16:
				format = PCM16
			case tag == tagPCM && bits == 24:
				format = PCM24
			case tag == tagFloat && bits == 32:
				format = Float32
			default:
				return nil, 0, fmt.Errorf("format %d with %d bits; want %d with 16 or 24, or %d with 32", tag, bits, tagPCM, tagFloat)
			}
			if channels < 1 || channels > 2 || int(frame) != int(channels)*format.bytes() {
				return nil, 0, fmt.Errorf("%d channels in frames of %d bytes; want 1 in %d or 2 in %d", channels, frame, format.bytes(), 2*format.bytes())
			}
			if channels == 1 {
				format |= Mono
			}
			if rate > uint32(MaxRate) || SampleRate(rate).check() != nil {
				return nil, 0, fmt.Errorf("sample rate %d Hz; want %d to %d", rate, int(MinRate), int(MaxRate))
			}
			c = &Clip{Rate: SampleRate(rate)}
		case "data":
			if c == nil {
				return nil, 0, errors.New("data chunk before the fmt chunk")
			}
			return c, format, readSamples(r, c, format, size)
		default:
			if _, err := io.CopyN(io.Discard, r, size+size%2); err != nil {
				return nil, 0, fmt.Errorf("chunk %q: %w", id, cutShort(err))
			}
		}
	}
}

func readSamples(r io.Reader, c *Clip, f Format, size int64) error {
	frame := int64(f.channels() * f.bytes())
	if size%frame != 0 {
		return fmt.Errorf("data chunk of %d bytes; want whole frames of %d", size, frame)
	}
	if most := int64(c.Rate.N(MaxLength)); size/frame > most {
		return fmt.Errorf("data chunk of %d frames; want at most %d (%v)", size/frame, most, MaxLength)
	}
	var body bytes.Buffer
	if n, err := io.CopyN(&body, r, size); err != nil {
		return fmt.Errorf("data chunk of %d bytes ends after %d: %w", size, n, cutShort(err))
	}
	b := body.Bytes()
	c.Samples = make([]float32, 0, len(b)/f.bytes()*2/f.channels())
	for ; len(b) > 0; b = b[f.bytes():] {
		var x float32
		switch f &^ Mono {
		case PCM16:
			x = float32(int16(binary.LittleEndian.Uint16(b))) / 32768
		case PCM24:
			x = float32(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) / (1 << 23)
		default:
			if x = math.Float32frombits(binary.LittleEndian.Uint32(b)); x != x || math.IsInf(float64(x), 0) {
				return fmt.Errorf("sample %g at frame %d; want a number", x, len(c.Samples)/2)
			}
		}
		if c.Samples = append(c.Samples, x); f&Mono != 0 {
			c.Samples = append(c.Samples, x)
		}
	}
	return nil
}

// cutShort makes every end of file within a file the same error.
func cutShort(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}
