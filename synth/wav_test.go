package synth

import (
	"bytes"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

// The files of four frames at 48000 Hz, written out by the chunk layout of the RIFF specification (Multimedia Programming
// Interface and Data Specifications 1.0, IBM and Microsoft 1991, and its revision of 1994 for floats; from memory).
var (
	wavSamples = []float32{0, 0, 0.5, -0.5, 1.0 / 32768, -1, 0.25, 0}
	wavPCM16   = "52494646 34000000 57415645" + // RIFF, 52 bytes follow, WAVE
		"666d7420 10000000 0100 0200 80bb0000 00ee0200 0400 1000" + // fmt, 16: PCM, 2 channels, 48000, 192000 B/s, 4 B, 16 bits
		"64617461 10000000 0000 0000 0040 00c0 0100 0080 0020 0000" // data, 16
	wavFloat32 = "52494646 52000000 57415645" + // RIFF, 82 bytes follow, WAVE
		"666d7420 12000000 0300 0200 80bb0000 00dc0500 0800 2000 0000" + // fmt, 18: float, 384000 B/s, 8 B, 32 bits, no extension
		"66616374 04000000 04000000" + // fact: 4 frames
		"64617461 20000000 00000000 00000000 0000003f 000000bf 00000038 000080bf 0000803e 00000000"
	wavPCM24 = "52494646 3c000000 57415645" + // RIFF, 60 bytes follow
		"666d7420 10000000 0100 0200 80bb0000 00650400 0600 1800" + // PCM, 288000 B/s, 6 B, 24 bits
		"64617461 18000000 000000 000000 000040 0000c0 000100 000080 000020 000000"
	wavMono24 = "52494646 2e000000 57415645" + // three frames: 9 bytes and one more, which RIFF counts and the chunk doesn't
		"666d7420 10000000 0100 0100 80bb0000 80320200 0300 1800" + // one channel, 144000 B/s, 3 B
		"64617461 09000000 000000 000020 000010 00"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestWriteWAV(t *testing.T) {
	c := &Clip{Rate: DefaultRate, Samples: wavSamples}
	for f, want := range map[Format]string{PCM16: wavPCM16, Float32: wavFloat32, PCM24: wavPCM24} {
		var got bytes.Buffer
		if err := WriteWAV(&got, c, f); err != nil {
			t.Errorf("%v: %v", f, err)
		}
		if want := unhex(t, want); !bytes.Equal(got.Bytes(), want) {
			t.Errorf("%v:\n got %x\nwant %x", f, got.Bytes(), want)
		}
		back, format, err := ReadWAV(&got)
		if err != nil || format != f || back.Rate != c.Rate || !slices.Equal(back.Samples, c.Samples) {
			t.Errorf("%v: reads back as %+v, %v, %v", f, back, format, err)
		}
	}
}

// TestWriteMono: one channel is the mean of both, comes back on both sides, and an odd length is filled up.
func TestWriteMono(t *testing.T) {
	c := &Clip{Rate: DefaultRate, Samples: []float32{0, 0, .5, 0, .125, .125}}
	var got bytes.Buffer
	if err := WriteWAV(&got, c, PCM24|Mono); err != nil {
		t.Fatal(err)
	}
	if want := unhex(t, wavMono24); !bytes.Equal(got.Bytes(), want) {
		t.Errorf("\n got %x\nwant %x", got.Bytes(), want)
	}
	back, f, err := ReadWAV(&got)
	if want := []float32{0, 0, .25, .25, .125, .125}; err != nil || f != PCM24|Mono || !slices.Equal(back.Samples, want) {
		t.Errorf("reads back as %v, %v, %v; want %v", back, f, err, want)
	}
	for f, want := range map[Format]string{PCM24 | Mono: "24-bit mono", PCM16: "16-bit", Float32 | Mono: "32-bit float mono", 3: "%!Format(3)", 3 | Mono: "%!Format(131)"} {
		if f.String() != want {
			t.Errorf("Format(%d) prints as %q; want %q", uint8(f), f, want)
		}
	}
}

// TestWAVRoundTrip: floats come back as they were, 16 bits within half a step, from readers that give little at a time.
func TestWAVRoundTrip(t *testing.T) {
	for _, rate := range []SampleRate{44100, 48000} {
		c := render(t, Options{Rate: rate}, chordAt(3)...)
		for f, most := range map[Format]float64{Float32: 0, PCM16: 0.5 / 32768, PCM24: 0.5 / (1 << 23)} {
			var file bytes.Buffer
			if err := WriteWAV(&file, c, f); err != nil {
				t.Fatal(err)
			}
			got, _, err := ReadWAV(iotest.OneByteReader(&file))
			if err != nil || got.Rate != rate || len(got.Samples) != len(c.Samples) {
				t.Fatalf("%v at %d Hz: %v", f, rate, err)
			}
			for i := range got.Samples {
				if d := math.Abs(float64(got.Samples[i]) - float64(c.Samples[i])); !(d <= most) {
					t.Fatalf("%v at %d Hz: sample %d is %g; was %g", f, rate, i, got.Samples[i], c.Samples[i])
				}
			}
		}
	}
}

func chordAt(n int) (notes []Note) {
	for i := range n {
		notes = append(notes, Note{Freq: key(60 + 4*i), Length: 200 * time.Millisecond, Strength: 0.5, Pan: 0.2})
	}
	return notes
}

func TestWriteWAVErrors(t *testing.T) {
	good := &Clip{Rate: DefaultRate, Samples: wavSamples}
	for name, c := range map[string]*Clip{
		"no clip":       nil,
		"rate":          {Rate: 1, Samples: wavSamples},
		"half a frame":  {Rate: DefaultRate, Samples: wavSamples[:3]},
		"above 1":       {Rate: DefaultRate, Samples: []float32{0, 1.001}},
		"not a number":  {Rate: DefaultRate, Samples: []float32{float32(math.NaN()), 0}},
		"infinite":      {Rate: DefaultRate, Samples: []float32{0, float32(math.Inf(-1))}},
		"format, below": good,
	} {
		f := PCM16
		if c == good {
			f = 9
		}
		var out bytes.Buffer
		if err := WriteWAV(&out, c, f); err == nil || out.Len() != 0 {
			t.Errorf("%s: WriteWAV = %v after %d bytes; want an error before any", name, err, out.Len())
		}
	}
	if got := Format(9).String(); got != "%!Format(9)" {
		t.Errorf("Format(9) prints as %q", got)
	}
	// A disk that fills up, at each write.
	full := errors.New("disk full")
	for n := range 3 {
		c := render(t, Options{}, chordAt(1)...)
		if err := WriteWAV(&failing{after: n, err: full}, c, PCM16); !errors.Is(err, full) {
			t.Errorf("WriteWAV to a writer failing at write %d = %v; want its error", n, err)
		}
	}
	// The header counts in 32 bits. 36 bytes precede the samples but for the first 8, 50 for floats.
	for _, tt := range []struct {
		f      Format
		frames int64
		fits   bool
	}{
		{PCM16, (math.MaxUint32 - 36) / 4, true}, {PCM16, (math.MaxUint32-36)/4 + 1, false}, {PCM16, math.MaxInt64 / 2, false},
		{PCM24, (math.MaxUint32 - 36) / 6, true}, {PCM24, (math.MaxUint32-36)/6 + 1, false}, {PCM24 | Mono, (math.MaxUint32 - 37) / 3, true}, {PCM24 | Mono, (math.MaxUint32-36)/3 + 1, false},
		{Float32, (math.MaxUint32 - 50) / 8, true}, {Float32, (math.MaxUint32-50)/8 + 1, false},
	} {
		if _, err := wavHeader(DefaultRate, tt.frames, tt.f); (err == nil) != tt.fits || (err != nil && !errors.Is(err, ErrTooLong)) {
			t.Errorf("header for %d frames of %v: %v; want it to fit: %v", tt.frames, tt.f, err, tt.fits)
		}
	}
}

type failing struct {
	after int
	err   error
}

func (f *failing) Write(b []byte) (int, error) {
	if f.after--; f.after < 0 {
		return 0, f.err
	}
	return len(b), nil
}

func TestWriteWAVFile(t *testing.T) {
	dir := t.TempDir()
	c := render(t, Options{}, chordAt(2)...)
	names := func() (got []string) {
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			got = append(got, e.Name())
		}
		return got
	}
	read := func(path string) (*Clip, Format) {
		file, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		got, f, err := ReadWAV(file)
		if err != nil {
			t.Fatal(err)
		}
		return got, f
	}
	path := filepath.Join(dir, "chord.wav")
	for _, f := range []Format{PCM16, PCM24 | Mono, Float32} { // anew, then over the old one
		if err := WriteWAVFile(path, c, f); err != nil {
			t.Fatal(err)
		}
		if got, format := read(path); format != f || len(got.Samples) != len(c.Samples) {
			t.Errorf("%s holds %d samples of %v; want %d of %v", path, len(got.Samples), format, len(c.Samples), f)
		}
	}
	if err := WriteWAVFile(path, &Clip{Rate: DefaultRate, Samples: []float32{2, 0}}, PCM16); err == nil {
		t.Error("a clip that can't be written: no error")
	}
	if _, format := read(path); format != Float32 {
		t.Error("a failed write changed the old file")
	}
	if got := names(); !slices.Equal(got, []string{"chord.wav"}) {
		t.Errorf("files %v; want chord.wav alone", got)
	}
	if err := WriteWAVFile(filepath.Join(dir, "none", "chord.wav"), c, PCM16); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a folder that isn't there: %v; want os.ErrNotExist", err)
	}
	if err := WriteWAVFile(dir, c, PCM16); err == nil {
		t.Error("a folder as the file: no error")
	}
	if runtime.GOOS == "windows" {
		return // links need rights there
	}
	link := filepath.Join(dir, "link.wav")
	if err := os.Symlink("chord.wav", link); err != nil {
		t.Fatal(err)
	}
	if err := WriteWAVFile(link, c, PCM16); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link was replaced: %v, %v", info.Mode(), err)
	}
	if _, format := read(path); format != PCM16 {
		t.Error("the file behind the link wasn't written")
	}
	if err := WriteWAVFile(os.DevNull, c, PCM16); err != nil {
		t.Errorf("to the null device: %v", err)
	}
	if info, err := os.Stat(os.DevNull); err != nil || info.Mode()&os.ModeDevice == 0 {
		t.Fatalf("the null device is no device any more: %v, %v", info.Mode(), err)
	}
}

// wavSeeds are files to begin fuzzing with, each with a word of the error it must give, "" for none.
func wavSeeds(t testing.TB) map[string]string {
	pcm, float := unhex(t, wavPCM16), unhex(t, wavFloat32)
	change := func(b []byte, at int, to ...byte) string {
		c := bytes.Clone(b)
		copy(c[at:], to)
		return string(c)
	}
	extra := string(pcm[:12]) + "LIST\x03\x00\x00\x00abc\x00" + string(pcm[12:]) + "tail"
	return map[string]string{
		string(pcm):                 "",
		string(float):               "",
		string(unhex(t, wavPCM24)):  "",
		string(unhex(t, wavMono24)): "",
		change(pcm, 22, 1):          "1 channels in frames of 4 bytes",
		extra:                       "",
		string(pcm[:12]) + string(pcm[12:36]) + "data\x00\x00\x00\x00": "",
		"":                                  "header: unexpected EOF",
		"RIFF":                              "header: unexpected EOF",
		change(pcm, 3, 'X'):                 `"RIFX"`,
		change(pcm, 8, 'A'):                 `"AAVE"`,
		string(pcm[:12]):                    "no data chunk",
		string(pcm[:30]):                    "fmt chunk: unexpected EOF",
		string(pcm[:36]):                    "no data chunk",
		string(pcm[:50]):                    "ends after 6",
		change(pcm, 16, 8):                  "fmt chunk of 8 bytes",
		change(pcm, 16, 0, 0, 1):            "fmt chunk of 65536 bytes",
		change(pcm, 20, 2):                  "format 2 with 16 bits",
		change(pcm, 34, 20):                 "format 1 with 20 bits",
		change(pcm, 22, 3):                  "3 channels",
		change(pcm, 32, 0):                  "frames of 0 bytes",
		change(pcm, 24, 0, 0):               "sample rate 0 Hz",
		change(pcm, 27, 255):                "sample rate",
		change(pcm, 40, 15):                 "whole frames of 4",
		change(pcm, 40, 255-3):              "ends after 16",
		change(pcm, 43, 255):                "at most 86400000",
		change(float, 58, 0, 0, 0xc0, 0x7f): "sample NaN at frame 0",
		string(pcm[:12]) + "data\x04\x00\x00\x00abcd": "before the fmt chunk",
		string(pcm[:36]) + string(pcm[12:]):           "second fmt chunk",
		string(pcm[:12]) + "junk\xff\xff\xff\xffabcd": `chunk "junk": unexpected EOF`,
	}
}

func TestReadWAVSeeds(t *testing.T) {
	seeds := wavSeeds(t)
	if len(seeds) < 25 {
		t.Fatalf("%d seeds; want no fewer than 25, all different", len(seeds))
	}
	for in, want := range seeds {
		c, _, err := ReadWAV(strings.NewReader(in))
		switch {
		case want == "" && err != nil:
			t.Errorf("ReadWAV(%q): %v; want no error", in, err)
		case want != "" && (err == nil || c != nil || !strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), "synth: WAV: ")):
			t.Errorf("ReadWAV(%q): %v; want an error with %q", in, err, want)
		}
	}
	broken := errors.New("broken pipe")
	if _, _, err := ReadWAV(io.MultiReader(strings.NewReader("RIFF"), iotest.ErrReader(broken))); !errors.Is(err, broken) {
		t.Errorf("a reader that fails: %v; want its error", err)
	}
}

// FuzzReadWAV: no panic; what is read is within bounds, is written and is read again the same.
func FuzzReadWAV(f *testing.F) {
	for in := range wavSeeds(f) {
		f.Add([]byte(in))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		c, format, err := ReadWAV(bytes.NewReader(in))
		if err != nil {
			if c != nil {
				t.Fatalf("a clip beside the error %v", err)
			}
			return
		}
		if len(c.Samples)*format.bytes()*format.channels()/2 > len(in) {
			t.Fatalf("%d samples out of %d bytes", len(c.Samples), len(in))
		}
		if err := c.Check(1); err != nil { // floats may be anything; those we can't write again
			if format == PCM16 {
				t.Fatal(err)
			}
			return
		}
		var out bytes.Buffer
		if err := WriteWAV(&out, c, format); err != nil {
			t.Fatal(err)
		}
		again, format2, err := ReadWAV(&out)
		if err != nil || format2 != format || again.Rate != c.Rate || !slices.Equal(again.Samples, c.Samples) {
			t.Fatalf("read, written and read again: %v, %v", format2, err)
		}
	})
}
