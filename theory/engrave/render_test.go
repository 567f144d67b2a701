package engrave

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"sort"
	"testing"
)

// inked renders a picture with a program from outside, rsvg-convert, and returns the box of its ink in pixels.
func inked(t *testing.T, svg string) rect {
	t.Helper()
	cmd := exec.Command("rsvg-convert", "-f", "png")
	cmd.Stdin = bytes.NewReader([]byte(svg))
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	b := img.Bounds()
	r := rect{1e9, 1e9, -1, -1}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if _, _, _, a := img.At(x, y).RGBA(); a > 0x4000 {
				r = rect{min(r.x0, float64(x)), min(r.y0, float64(y)), max(r.x1, float64(x+1)), max(r.y1, float64(y+1))}
			}
		}
	}
	return r
}

func needRenderer(t *testing.T) {
	if _, err := exec.LookPath("rsvg-convert"); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatal(err)
		}
		t.Skip("no rsvg-convert to look at the pictures with")
	}
}

// The boxes of glyphs are those of their ink, as an independent renderer draws them.
func TestGlyphBoxes(t *testing.T) {
	needRenderer(t)
	var names []string
	for n := range glyphs() {
		names = append(names, n)
	}
	sort.Strings(names)
	if len(names) < 60 {
		t.Fatalf("%d glyphs", len(names))
	}
	for i, n := range names {
		if testing.Short() && i%7 > 0 {
			continue
		}
		g := glyphs()[n]
		const scale = 16 // pixels for a space
		r := inked(t, fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="160" height="240" viewBox="-300 -750 1000 1500"><path d="%s"/></svg>`, g.data))
		got := rect{r.x0/scale - 3, r.y0/scale - 7.5, r.x1/scale - 3, r.y1/scale - 7.5}
		const tolerance = .11 // of a space: one pixel and a half
		for _, d := range []float64{got.x0 - g.box.x0, got.y0 - g.box.y0, got.x1 - g.box.x1, got.y1 - g.box.y1} {
			if d > tolerance || d < -tolerance {
				t.Errorf("%s: ink in %.2f, box %.2f", n, got, g.box)
				break
			}
		}
	}
}

// Texts are no wider than they are taken for, as an independent renderer sets them in its own serif font.
func TestTextWidths(t *testing.T) {
	needRenderer(t)
	for _, s := range []string{"added sixth", "root", "F♯m7(♭5)/C", "Gmaj9 without the third", "V65/V", "vii°7", "WWMMmm", "dominant seventh", "cycle of three bars",
		"P5 P5", "It+6", "B♯ / C", "rises by fourths", "♭VI", "= 120", "123456", "ABCDEFGHIJKLMNOPQRSTUVWXYZ", "abcdefghijklmnopqrstuvwxyz", "0123456789.,;:-–()"} {
		for i, st := range []textStyle{readingStyle, tempoStyle, commentStyle} {
			if i > 0 && testing.Short() {
				break
			}
			d := &drawing{}
			d.write(s, 1, 4, st, false, prim{})
			w := &svg{}
			w.prim(d.prims[0])
			r := inked(t, `<svg xmlns="http://www.w3.org/2000/svg" width="800" height="80" viewBox="0 0 8000 800" font-family="serif">`+w.b.String()+`</svg>`)
			if got, want := r.x1/10-1, st.width(s); got > want+.05 {
				t.Errorf("%q is %.2f spaces wide, taken for %.2f", s, got, want)
			} else if got < want*.6 {
				t.Errorf("%q is %.2f spaces wide, taken for as much as %.2f", s, got, want)
			}
		}
	}
}
