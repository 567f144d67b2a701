package musicxml

import (
	"archive/zip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"plumbline/theory/key"
	"plumbline/theory/score"
)

// corpus returns the path of a folder of scores that is not part of the project, or skips the test if it isn't there.
// PLUMBLINE_SHARED says where to look; PLUMBLINE_REQUIRE=all makes its absence a failure.
func corpus(t testing.TB, folder string) string {
	t.Helper()
	root := os.Getenv("PLUMBLINE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "..", "shared") // beside the repository
	}
	dir := filepath.Join(root, "scores", folder)
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" {
			t.Fatalf("the scores are required: %v", err)
		}
		t.Skipf("no scores to read (set PLUMBLINE_SHARED): %v", err)
	}
	return dir
}

// songs returns the 120 songs of the OpenScore Lieder corpus (CC0).
func songs(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(corpus(t, "lieder"), "*.mxl"))
	if err != nil || len(files) != 120 {
		t.Fatalf("%d songs, %v; want 120", len(files), err)
	}
	return files
}

// unpacked returns the score of a compressed file as it is.
func unpacked(t testing.TB, path string) string {
	t.Helper()
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	for _, f := range z.File {
		if !strings.HasPrefix(f.Name, "META-INF/") {
			r, err := f.Open()
			if err != nil {
				t.Fatal(err)
			}
			data, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			return string(data)
		}
	}
	t.Fatalf("%s holds no score", path)
	return ""
}

// TestSongs reads every song and holds it against a second, blunt reading of the same bytes, which cuts them at tags and counts
// measures, notes, staves and ties in the piano's part.
func TestSongs(t *testing.T) {
	nBars, nShort, nNotes, nTies, nOpen := 0, 0, 0, 0, 0
	for _, path := range songs(t) {
		name := filepath.Base(path)
		p, err := ReadFile(path, Options{})
		if err != nil {
			t.Error(err)
			continue
		}
		check(t, p)
		part := ""
		for _, s := range strings.Split(unpacked(t, path), "<part id=")[1:] {
			if part == "" || strings.Contains(s, "<staves>2</staves>") {
				part = s
			}
		}
		type counts struct{ bars, right, left, ties, ends, grace, cue int }
		var got, want counts
		want.bars = strings.Count(part, "<measure ")
		for _, s := range strings.Split(strings.ReplaceAll(part, "<note ", "<note>"), "<note>")[1:] {
			s, _, _ = strings.Cut(s, "</note>")
			if !strings.Contains(s, "<pitch>") {
				continue
			}
			if strings.Contains(s, "<staff>2</staff>") {
				want.left++
			} else {
				want.right++
			}
			want.ties += strings.Count(s, `<tie type="start"`)
			want.ends += strings.Count(s, `<tie type="stop"`)
			want.grace += strings.Count(s, "<grace")
			want.cue += strings.Count(s, "<cue/>")
		}
		got.bars = len(p.Bars)
		for _, n := range p.Notes {
			switch n.Hand {
			case score.Right:
				got.right++
			case score.Left:
				got.left++
			}
			if n.TieTo {
				got.ties++
			}
			if n.TieFrom {
				got.ends++
			}
			if n.Grace != score.NoGrace {
				got.grace++
			}
			if n.Cue {
				got.cue++
			}
		}
		if got != want {
			t.Errorf("%s: counted %+v, read %+v", name, want, got)
		}

		// A bar is filled to its meter, or it is the first or the last, or a part of a bar cut in two.
		for i, b := range p.Bars {
			if b.Length == b.Meter.Length() {
				continue
			}
			nShort++
			first := i == 0 && b.Offset.Add(b.Length) == b.Meter.Length()
			last := i == len(p.Bars)-1
			half := i+1 < len(p.Bars) && p.Bars[i+1].Offset == b.Offset.Add(b.Length)
			rest := i > 0 && b.Offset.Sign() > 0 && p.Bars[i-1].Offset.Add(p.Bars[i-1].Length) == b.Offset && b.Offset.Add(b.Length) == b.Meter.Length()
			if !first && !last && !half && !rest {
				t.Errorf("%s: bar %s of %s has %s quarter notes, %s passed before", name, b.Number, b.Meter, b.Length, b.Offset)
			}
		}
		// A tie is closed when the notes are joined, or the passage warns of it.
		open, warned := len(p.Sounding()), 0 // each joint makes one sounding note less
		for _, n := range p.Notes {
			if !n.Cue {
				open--
				if n.TieTo && n.Grace == score.NoGrace { // a grace note is struck before its main note, tied or not
					open++
				}
			}
		}
		for _, w := range p.Warnings {
			if strings.Contains(w, ": a tie of ") && strings.Contains(w, " leads ") {
				warned++
			}
		}
		if open != warned {
			t.Errorf("%s: %d ties stay open, %d of them with a warning", name, open, warned)
		}
		nBars, nNotes, nTies, nOpen = nBars+len(p.Bars), nNotes+len(p.Notes), nTies+got.ties, nOpen+open
	}
	t.Logf("%d bars, %d of them not as long as their meter; %d notes; %d ties, %d of them open", nBars, nShort, nNotes, nTies, nOpen)
	if nOpen*1000 > nTies {
		t.Errorf("%d of %d ties don't close; more than 1 in 1000 points to a fault of ours", nOpen, nTies)
	}
}

// Five songs read by eye: the facts were taken from the XML by hand (unzip -p FILE), with measures counted from the first,
// durations divided by the divisions and starts added up.
func TestSongsByHand(t *testing.T) {
	for _, tt := range []struct {
		file                 string
		bars, notes, left    int
		firstBar, lastBar    string
		firstRight, lastRite string // the lowest of the first chord, the highest of the last
		firstLeft, lastLeft  string
		ties                 []string // as joined
		other                []string // more notes, as written
	}{
		// measures 4 and X1 are one bar cut in two; the arpeggio in grace notes crosses from the left hand to the right
		{"lc6177271.mxl", 23, 398, 144, "0: 1/2 of 6/8 after 2 1/2", "21: 3 of 6/8", "0: D5 1/2", "63: D5 1/2", "1/2: G2 1 1/2", "62: G2 1",
			[]string{"4 1/2: G5 3/4", "4 1/2: G6 3/4", "33 1/2: D3 2", "33 1/2: A3 2"}, []string{"11: G2 0", "11: G6 1", "9 1/2: G4 1 1/2"}},
		{"lc5001716.mxl", 84, 1696, 848, "1: 3 of 3/4", "84: 3 of 3/4", "3/4: C5 1/8", "251: Ab4 1/2", "0: Ab1 1", "251: Ab2 1",
			[]string{"249: Ab1 3", "249: Ab4 2 1/2", "7/8: C4 1 5/8"}, []string{"7/8: F5 1/8", "5/8: Eb3 1/8", "1 1/2: C6 1/2"}},
		{"lc6826597.mxl", 38, 1741, 792, "0: 1/2 of 12/8 after 5 1/2", "37: 3 of 12/8", "0: D4 1/2", "216 1/2: B4 3", "0: D3 1/2", "216 1/2: G3 3",
			[]string{"1/2: G2 5 1/2", "1/2: G3 5 1/2", "215: G3 4 1/2"}, []string{"6: D3 1/2", "1/2: Bb3 1/2"}},
		{"lc5130351.mxl", 34, 621, 282, "1: 1 1/2 of 3/4 after 1 1/2", "34: 3 of 3/4", "0: Ab4 1/2", "97 1/2: C4 3", "0: Ab3 1/2", "97 1/2: Eb3 3",
			[]string{"1 1/2: Ab1 4", "1 1/2: Ab2 4"}, []string{"2: Eb4 1/2", "3: Fb4 1/2", "1: Gb4 1/2"}},
		// the last chord stands under 8va in the right hand and under a treble clef in the left; the first left hand notes come
		// after four bars of a voice that begins on the upper staff
		{"lc6261607.mxl", 49, 705, 267, "0: 1 of 4/4 after 3", "48: 4 of 4/4", "0: D4 1/3", "191: C7 1", "8: D3 1/3", "191: G5 1",
			[]string{"9: G3 2", "11: G3 2"}, []string{"191: C6 1", "190: C6 1", "6: D6 3", "5: G4 3"}},
	} {
		p, err := ReadFile(filepath.Join(corpus(t, "lieder"), tt.file), Options{})
		if err != nil {
			t.Error(err)
			continue
		}
		left := 0
		first, last := map[score.Hand]string{}, map[score.Hand]string{}
		written, joined := map[string]bool{}, map[string]bool{}
		show := func(n score.Note) string { return fmt.Sprintf("%s: %s %s", n.Onset, n.Pitch, n.Duration) }
		for _, n := range p.Notes {
			if n.Hand == score.Left {
				left++
			}
			if first[n.Hand] == "" {
				first[n.Hand] = show(n)
			}
			last[n.Hand] = show(n)
			written[show(n)] = true
		}
		for _, n := range p.Sounding() {
			joined[show(n)] = true
		}
		b := bars(p)
		for _, c := range []struct{ what, got, want string }{
			{"bars, notes, left hand", fmt.Sprint(len(p.Bars), len(p.Notes), left), fmt.Sprint(tt.bars, tt.notes, tt.left)},
			{"first bar", b[0], tt.firstBar}, {"last bar", b[len(b)-1], tt.lastBar},
			{"first right", first[score.Right], tt.firstRight}, {"last right", last[score.Right], tt.lastRite},
			{"first left", first[score.Left], tt.firstLeft}, {"last left", last[score.Left], tt.lastLeft},
		} {
			if c.got != c.want {
				t.Errorf("%s: %s: got %q, want %q", tt.file, c.what, c.got, c.want)
			}
		}
		for _, s := range tt.ties {
			if !joined[s] {
				t.Errorf("%s: no joined note %q", tt.file, s)
			}
		}
		for _, s := range tt.other {
			if !written[s] {
				t.Errorf("%s: no note %q", tt.file, s)
			}
		}
	}
	p, err := ReadFile(filepath.Join(corpus(t, "lieder"), "lc6177271.mxl"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := bars(p)[4:6], []string{"4: 2 1/2 of 6/8", "4: 1/2 of 6/8 after 2 1/2"}; !reflect.DeepEqual(got, want) {
		t.Errorf("the bar cut in two: %q, want %q", got, want)
	}
}

// TestConformance holds each file of the suite against testdata/conformance.tsv, which says what must be true of it; how
// that was found out is said there.
func TestConformance(t *testing.T) {
	dir := corpus(t, "conformance")
	table, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "conformance.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string][]string{}
	for _, l := range strings.Split(strings.TrimRight(string(table), "\n"), "\n") {
		if f := strings.Split(l, "\t"); !strings.HasPrefix(l, "#") && f[0] != "file" {
			if len(f) != 9 || f[8] == "" || rows[f[0]] != nil {
				t.Fatalf("the row %q; want nine columns, one row a file", l)
			}
			rows[f[0]] = f
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	files := 0
	for _, e := range entries {
		if e.Name() == "LICENSE" {
			continue
		}
		files++
		row := rows[e.Name()]
		if row == nil {
			t.Errorf("%s isn't in the table", e.Name())
			continue
		}
		p, err := ReadFile(filepath.Join(dir, e.Name()), Options{})
		switch {
		case err != nil && row[1] == "refused" && strings.Contains(err.Error(), row[8]):
			continue
		case err != nil:
			t.Error(err)
			continue
		case row[1] != "read":
			t.Errorf("%s is read; it was to be refused (%s)", e.Name(), row[8])
			continue
		}
		check(t, p)
		first, hands := []string{}, [3]int{}
		for i, n := range p.Notes {
			if i < 6 {
				first = append(first, n.Pitch.String())
			}
			hands[n.Hand]++
		}
		k := "-"
		if len(p.Keys) > 0 {
			k = p.Keys[0].Key.String()
		}
		if len(first) == 0 {
			first = []string{"-"}
		}
		got := []string{fmt.Sprint(len(p.Notes)), strings.Join(first, " "), p.End().String(), k, p.Bars[0].Meter.String(), fmt.Sprintf("%d+%d", hands[score.Right], hands[score.Left])}
		for i, what := range []string{"notes", "first", "length", "key", "meter", "hands"} {
			if got[i] != row[2+i] {
				t.Errorf("%s: %s %q; want %q (%s)", e.Name(), what, got[i], row[2+i], row[8])
			}
		}
	}
	if files != 150 || len(rows) != files {
		t.Errorf("%d files and %d rows, want 150", files, len(rows))
	}
}

// What must be true of single files of the suite, by the description that each carries in itself (miscellaneous-field
// "description") and, for pitches and lengths that it doesn't spell out, by the XML read by eye.
func TestConformanceByHand(t *testing.T) {
	dir := corpus(t, "conformance")
	read := func(name string, o Options) *score.Passage {
		t.Helper()
		files, err := filepath.Glob(filepath.Join(dir, name+"-*"))
		if err != nil || len(files) != 1 {
			t.Fatalf("%s: %q, %v", name, files, err)
		}
		p, err := ReadFile(files[0], o)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	same := func(name string, got, want any) {
		t.Helper()
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s:\ngot  %q\nwant %q", name, got, want)
		}
	}
	pitches := func(p *score.Passage) string {
		var s []string
		for _, n := range p.Notes {
			s = append(s, n.Pitch.String())
		}
		return strings.Join(s, " ")
	}
	meters := func(p *score.Passage) string {
		var s []string
		for i, b := range p.Bars {
			if i == 0 || !b.Meter.Equal(p.Bars[i-1].Meter) {
				s = append(s, b.Meter.String())
			}
		}
		return strings.Join(s, " ")
	}
	keys := func(p *score.Passage) string {
		var s []string
		for _, k := range p.Keys {
			s = append(s, k.Key.String())
		}
		return strings.Join(s, ", ")
	}

	// "All pitches from G to c'''' in ascending steps; First without accidentals, then with a sharp and then with a flat"
	var steps []string
	for _, sign := range []string{"", "#", "b"} {
		for i := 4; i <= 4+31; i++ { // G2 to C7
			steps = append(steps, fmt.Sprintf("%c%s%d", "CDEFGAB"[i%7], sign, 2+i/7))
		}
	}
	same("01a", strings.Fields(pitches(read("01a", Options{})))[:96], steps)
	same("01d", len(read("01d", Options{}).Warnings), 8) // eight microtones
	same("02c", len(read("02c", Options{}).Bars), 3+15+1+12)
	same("03b", list(read("03b", Options{}))[0], "0: C4 1 R1") // the second voice has nothing on the first beat
	same("03c", list(read("03c", Options{})), []string{"0: C5 1 R1", "1: C5 1 R1", "2: C5 1 R1", "3: C5 1 R1", "4: C5 2 R1", "6: C5 2 R1"})
	same("11a", meters(read("11a", Options{})), "2/2 4/4 2/2 3/2 2/4 3/4 4/4 5/4 3/8 6/8 12/8")
	same("11b", meters(read("11b", Options{})), "free")
	same("11c", meters(read("11c", Options{})), "3+2/8 5+3+1/4")
	same("11d", meters(read("11d", Options{})), "3+2+6/8 20+1/8")
	same("11e", meters(read("11e", Options{})), "3+2+6/8")
	same("11h", bars(read("11h", Options{})), []string{"1: 1 1/2 of free"})

	var circle, far []string
	for f := -11; f <= 11; f++ {
		major := key.FromSignature(f, key.Major).String()
		if f >= -7 && f <= 7 {
			circle = append(circle, major, key.FromSignature(f, key.Minor).String())
		}
		if f <= -7 || f >= 7 {
			far = append(far, major)
		}
	}
	same("13a", keys(read("13a", Options{})), strings.Join(circle, ", "))
	same("13aa", keys(read("13aa", Options{})), strings.Join(far, ", "))
	// "major, minor, ionian, dorian, phrygian, lydian, mixolydian, aeolian, and locrian; All modes are given with 2 sharps."
	same("13b", keys(read("13b", Options{})), "D major, B minor, D major, E dorian, F# phrygian, G lydian, A mixolydian, B minor, C# locrian")
	same("13e", keys(read("13e", Options{})), "D major, Bb major, C major, C# major")

	same("21a", list(read("21a", Options{})), []string{"0: F4 1 R1", "0: A4 1 R1"})
	same("21c", list(read("21c", Options{}))[:5], []string{"0: F4 1 1/2 R1", "0: A4 1 1/2 R1", "0: C5 1 1/2 R1", "1 1/2: A4 1/2 R1", "1 1/2: G5 1/2 R1"})
	same("23a", list(read("23a", Options{}))[:4], []string{"0: C4 2/3 R1", "2/3: D4 2/3 R1", "1 1/3: E4 2/3 R1", "2: F4 2/3 R1"})
	// "a 5:2 tuplet inside a 3:2 tuple (all consisting of written eighth notes)"
	same("23d", list(read("23d", Options{})), []string{"0: B4 1/3 R1", "1/3: B4 1/3 R1", "2/3: B4 2/15 R1", "4/5: B4 2/15 R1", "14/15: B4 2/15 R1",
		"1 1/15: B4 2/15 R1", "1 1/5: B4 2/15 R1", "1 1/3: B4 1/3 R1", "1 2/3: B4 1/3 R1"})
	same("24a", list(read("24a", Options{}))[:6], []string{"0: D5 0 R1 grace", "0: C5 1 R1", "1: E5 0 R1 grace", "1: D5 0 R1 grace", "1: C5 1 R1", "2: D5 0 R1 ( grace"})
	same("33d", pitches(read("33d", Options{})), "A4 C5 A6 C3 B2 A5 A5 B3 C4") // as they sound, under 15ma, 15mb, 8va and 8vb
	// "Several ties that have their end tag missing"
	same("33i", len(read("33i", Options{}).Warnings), 3)
	same("41h", len(read("41h", Options{}).Parts) > 1, true)
	same("43a", list(read("43a", Options{})), []string{"0: B2 4 L1", "0: F4 4 R1"})
	same("43d", list(read("43d", Options{}))[:8], []string{"0: A3 1/2 L1", "1/2: E4 1/2 R1", "1: A3 1/2 L1", "1 1/2: E4 1/2 R1", "2: C5 1/2 R1", "2 1/2: E4 1/2 R1", "3: A3 1/2 L1", "3 1/2: B4 1/2 L1"})
	// "A 3/8 pickup measure, a measure that is split into one (incomplete, only 2/4) measure and an implicit measure, and an
	// incomplete measure (containg 3/4)."
	same("46d", bars(read("46d", Options{})), []string{"0: 1 1/2 of 4/4 after 2 1/2", "1: 2 of 4/4", "1: 2 of 4/4 after 2", "2: 3 of 4/4"})
	same("46f", bars(read("46f", Options{})), []string{"1: 2 of 4/4 after 2", "2: 4 of 4/4", "3: 2 of 4/4", "4: 4 of 4/4"})
	same("51d", read("51d", Options{}).Title, "Empty work-title, non-empty movement-title")
	// "Trumpet in Bb, Horn in Eb, Piano; All of them show the C major scale (the trumpet with 2 sharp, the horn with 3 sharp)."
	for _, part := range []string{"1", "2", "3"} {
		p := read("72a", Options{Part: part})
		var classes []string
		for _, n := range p.Notes {
			classes = append(classes, n.Pitch.Class().String())
		}
		same("72a part "+part, strings.Join(classes[:8], " "), "C D E F G A B C")
		same("72a part "+part, keys(p), "C major")
	}
	// "Each part plays a c'', just displayed in different display pitches."
	for i := range 11 {
		for _, name := range []string{"72b", "72d"} {
			p := read(name, Options{Part: fmt.Sprint(i + 1)})
			same(fmt.Sprint(name, " part ", i+1, " ", pitches(p)), p.Notes[0].Pitch.MIDI(), 72)
		}
	}
	same("90a", len(read("90a", Options{}).Notes) > 0, true)
}
