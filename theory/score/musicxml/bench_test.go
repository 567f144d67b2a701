package musicxml

import (
	"bytes"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// largest returns the longest song of the corpus, uncompressed, or a long score of our own if the corpus isn't there.
func largest(b *testing.B) []byte {
	b.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "..", "shared")
	}
	files, _ := filepath.Glob(filepath.Join(root, "scores", "lieder", "*.mxl"))
	best := ""
	for _, f := range files {
		if s := unpacked(b, f); len(s) > len(best) {
			best = s
		}
	}
	if best == "" {
		best = one(common, strings.Split(strings.Repeat(strings.Repeat(n("C4", 2, voiced(1), "<type>eighth</type>", staff(1)), 8)+"|", 1000), "|")...)
	}
	return []byte(best)
}

// tokenLoop is the bare loop that reading is measured against.
func tokenLoop(b *testing.B, data []byte) {
	d := xml.NewDecoder(bytes.NewReader(data))
	for {
		if _, err := d.Token(); err == io.EOF {
			return
		} else if err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkRead reads the largest song. Beside the usual figures it gives the bytes that stay in use for one byte of the file.
func BenchmarkRead(b *testing.B) {
	data := largest(b)
	b.ReportAllocs()
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := Read(bytes.NewReader(data), Options{}); err != nil {
			b.Fatal(err)
		}
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.GC() // the first one only marks what the loop left
	runtime.ReadMemStats(&before)
	p, err := Read(bytes.NewReader(data), Options{})
	if err != nil {
		b.Fatal(err)
	}
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric((float64(after.HeapAlloc)-float64(before.HeapAlloc))/float64(len(data)), "kept/byte")
	b.ReportMetric(float64(len(p.Notes)), "notes")
	runtime.KeepAlive(data)
	runtime.KeepAlive(p)
}

func BenchmarkTokenLoop(b *testing.B) {
	data := largest(b)
	b.ReportAllocs()
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		tokenLoop(b, data)
	}
}

// BenchmarkRatio times both in turn and gives how many times as long reading takes.
func BenchmarkRatio(b *testing.B) {
	data := largest(b)
	var read, loop time.Duration
	for b.Loop() {
		t0 := time.Now()
		if _, err := Read(bytes.NewReader(data), Options{}); err != nil {
			b.Fatal(err)
		}
		t1 := time.Now()
		tokenLoop(b, data)
		read, loop = read+t1.Sub(t0), loop+time.Since(t1)
	}
	b.ReportMetric(float64(read)/float64(loop), "read/loop")
}

// endless repeats a text for ever, without holding it more than once.
type endless struct {
	text string
	at   int
}

func (e *endless) Read(p []byte) (int, error) {
	n := copy(p, e.text[e.at:])
	e.at = (e.at + n) % len(e.text)
	return n, nil
}

// BenchmarkHostile refuses input made to be slow. The slowest is what costs most for its size before a limit stops it.
func BenchmarkHostile(b *testing.B) {
	head := `<score-partwise><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>`
	for _, h := range []struct{ name, unit string }{
		{"small elements", "<a/>"}, {"attributes", "<a " + strings.Repeat(`a="" `, 40000) + "/>"}, {"comments", "<!---->"}, {"notes", n("C4", 1, "cue")},
		{"spaces", strings.Repeat(" ", MaxToken/2) + "<a/>"}, {"references", strings.Repeat("&lt;", 100) + "<a/>"},
		{"backups", n("C4", 1, "<type>eighth</type>", tuplet(3, 2)) + strings.Repeat(back(1), 20)},
	} {
		b.Run(h.name, func(b *testing.B) {
			var peak uint64
			b.ReportAllocs()
			for b.Loop() {
				runtime.GC()
				stop, done := make(chan bool), make(chan bool)
				go func() { // what is in use while it reads
					defer close(done)
					var first, m runtime.MemStats
					runtime.ReadMemStats(&first)
					for {
						select {
						case <-stop:
							return
						case <-time.After(20 * time.Millisecond):
							runtime.ReadMemStats(&m)
							peak = max(peak, m.HeapInuse-min(m.HeapInuse, first.HeapInuse))
						}
					}
				}()
				if _, err := Read(io.MultiReader(strings.NewReader(head), &endless{text: h.unit}), Options{}); err == nil {
					b.Fatal("accepted")
				}
				close(stop)
				<-done
			}
			b.ReportMetric(float64(peak)/(1<<20), "peak-MiB")
		})
	}
}
