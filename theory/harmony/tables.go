package harmony

import (
	"bufio"
	"bytes"
	_ "embed"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"
)

//go:embed tables/harmony.tsv
var shipped []byte

// Shipped returns the tables that the program ships, learned from both sets of the corpus. They are read once.
//
// It panics if the file that was built in can't be read, which a test rules out.
var Shipped = sync.OnceValue(func() *Tables {
	t, err := ReadTables(bytes.NewReader(shipped))
	if err != nil {
		panic(err)
	}
	return t
})

// A block is a run of parameters: rows lines of cols numbers.
type block struct {
	name       string
	at         int
	rows, cols int
}

var firstBlocks = []block{
	{"class-role", atTied, profiles, roles},
	{"class-quality", atFree, profiles * qualities, rels},
	{"bass-role", atBassTied, bassProfiles, memberRoles},
	{"bass-quality", atBassFree, bassProfiles * qualities, 4},
	{"inversion", atInversion, qualities, 4},
	{"quality", atQuality, qualities, 4},
	{"absent", atAbsent, qualities, 4},
	{"absent-near", atAbsentIn, 4, memberRoles},
	{"instead", atInstead, memberRoles, rels},
	{"members", atFound, 2, 5},
	{"foreign", atForeign, 2, 8},
	{"complete", atComplete, qualities, 2},
	{"motion", atMotion, motionKinds, 5},
}

var secondBlocks = []block{
	{"first", c2First, 1, 2},
	{"in-key", c2Key, 1, 2},
	{"numeral", c2Numeral, 2 * qualities, rels},
	{"degree", c2Degree, 2, rels},
	{"pair", c2Pair, 2 * qualities * qualities, 12},
	{"distance", c2Distance, 4, 12},
	{"passage", c2Piece, 1, 2},
	{"bass-step", c2Bass, 2 * memberRoles, 12},
	{"six-four", c2SixFour, 2, 12},
	{"again", c2Short, 2, 4},
	{"bass-degree", c2Degree4, 2 * memberRoles, rels},
}

// The weights of keys, as blocks.
var keyBlocks = []block{
	{"major-chords", kChord, 2 * qualities, rels},
	{"major-notes", kNotes, 4, rels},
	{"major-steps", kStep, 2 * 12, rels},
	{"major", kMode, 1, 1},
	{"minor-chords", kSize + kChord, 2 * qualities, rels},
	{"minor-notes", kSize + kNotes, 4, rels},
	{"minor-steps", kSize + kStep, 2 * 12, rels},
	{"minor", kSize + kMode, 1, 1},
}

var forestNames = [3]string{"judge", "third", "change"}

const header = `# What plumbline has learned about chords in context. Made by: corpuscheck -learn theory/harmony/tables/harmony.tsv FOLDER...
# Learned from the 121 pieces of the two sets described in package harmony; no note and no label of them is in here.
# A row: table, row number, its numbers. class-role to motion: first reading (log-linear). first to bass-degree: second reading
# (log-linear). major-… and minor-…: keys (log-linear); chords, qualities, classes, key: their course. Forests: third: third reading;
# change: where chords change; judge, threshold: claims. Rows of zeros are left out.
`

func number(v float64) string {
	if v == 0 {
		return "0"
	}
	return strings.TrimPrefix(strconv.FormatFloat(v, 'g', 4, 64), "+")
}

// WriteTo writes t in the form that [ReadTables] reads. Numbers keep four digits, so that tables read back are not quite
// those written; written again they are.
func (t *Tables) WriteTo(w io.Writer) (int64, error) {
	var b bytes.Buffer
	b.WriteString(header)
	row := func(name string, n int, vs []float64) {
		zero := true
		cells := make([]string, len(vs))
		for i, v := range vs {
			if math.Abs(v) < 5e-4 {
				v = 0
			}
			zero = zero && v == 0
			cells[i] = number(v)
		}
		if !zero {
			fmt.Fprintf(&b, "%s\t%d\t%s\n", name, n, strings.Join(cells, " "))
		}
	}
	for _, set := range []struct {
		p      []float64
		blocks []block
	}{{t.w.p, firstBlocks}, {t.second, secondBlocks}, {t.keyW, keyBlocks}} {
		for _, bl := range set.blocks {
			for r := 0; r < bl.rows; r++ {
				at := bl.at + r*bl.cols
				row(bl.name, r, set.p[at:at+bl.cols])
			}
		}
	}
	for m := range t.keys.chord {
		for q := range t.keys.chord[m] {
			row("chords", m*qualities+q, t.keys.chord[m][q][:])
		}
		row("qualities", m, t.keys.quality[m][:])
		row("classes", m, t.keys.class[m][:])
	}
	row("key", 0, []float64{t.keys.chordW, t.keys.classW, t.keys.change, t.keys.far, t.keys.home})
	for n, f := range []*forest{t.judge, t.third, t.change} {
		for i := range f.trees {
			tr := &f.trees[i]
			var vs []float64
			for n := 1; n < 1<<treeDepth; n++ {
				cut := float64(tr.cut[n])
				if math.IsInf(cut, 1) {
					cut = 1e9
				}
				vs = append(vs, float64(tr.feature[n]), cut)
			}
			for _, l := range tr.leaf {
				vs = append(vs, float64(l))
			}
			row(forestNames[n], i, vs)
		}
		row(forestNames[n]+"-bias", 0, []float64{f.bias})
	}
	row("threshold", 0, []float64{t.threshold})
	n, err := w.Write(b.Bytes())
	return int64(n), err
}

// ReadTables reads what [Tables.WriteTo] writes. It returns an error with the line if a table is unknown, a row is out of
// range or a number is missing.
func ReadTables(r io.Reader) (*Tables, error) {
	t := &Tables{second: make([]float64, c2Params), keyW: make([]float64, kParams), judge: &forest{}, third: &forest{}, change: &forest{}}
	p := make([]float64, params)
	type dest struct {
		rows, cols int
		put        func(row int, vs []float64)
	}
	dests := map[string]dest{}
	for _, set := range []struct {
		p      []float64
		blocks []block
	}{{p, firstBlocks}, {t.second, secondBlocks}, {t.keyW, keyBlocks}} {
		for _, bl := range set.blocks {
			dests[bl.name] = dest{bl.rows, bl.cols, func(row int, vs []float64) { copy(set.p[bl.at+row*bl.cols:], vs) }}
		}
	}
	k := &t.keys
	dests["chords"] = dest{2 * qualities, rels, func(row int, vs []float64) { copy(k.chord[row/qualities][row%qualities][:], vs) }}
	dests["qualities"] = dest{2, qualities, func(row int, vs []float64) { copy(k.quality[row][:], vs) }}
	dests["classes"] = dest{2, rels, func(row int, vs []float64) { copy(k.class[row][:], vs) }}
	dests["key"] = dest{1, 5, func(_ int, v []float64) { k.chordW, k.classW, k.change, k.far, k.home = v[0], v[1], v[2], v[3], v[4] }}
	dests["threshold"] = dest{1, 1, func(_ int, v []float64) { t.threshold = v[0] }}
	const inner = 1<<treeDepth - 1
	for n, f := range []*forest{t.judge, t.third, t.change} {
		width := [3]int{jWidth, jWidth, gWidth}[n]
		dests[forestNames[n]] = dest{1000, 2*inner + 1<<treeDepth, func(row int, v []float64) {
			var tr tree
			for n := 1; n <= inner; n++ {
				tr.feature[n], tr.cut[n] = int16(min(max(v[2*n-2], 0), float64(width-1))), float32(v[2*n-1])
			}
			for i := range tr.leaf {
				tr.leaf[i] = float32(v[2*inner+i])
			}
			f.trees = append(f.trees, tr)
		}}
		dests[forestNames[n]+"-bias"] = dest{1, 1, func(_ int, v []float64) { f.bias = v[0] }}
	}
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, 1<<20)
	for n := 1; sc.Scan(); n++ {
		line := sc.Text()
		if line == "" || line[0] == '#' {
			continue
		}
		cells := strings.Split(line, "\t")
		d, ok := dests[cells[0]]
		if !ok || len(cells) != 3 {
			return nil, fmt.Errorf("harmony: tables, line %d: %q is no row of a known table", n, cells[0])
		}
		row, err := strconv.Atoi(cells[1])
		if err != nil || row < 0 || row >= d.rows {
			return nil, fmt.Errorf("harmony: tables, line %d: row %q of %s; want 0 to %d", n, cells[1], cells[0], d.rows-1)
		}
		words := strings.Fields(cells[2])
		if len(words) != d.cols {
			return nil, fmt.Errorf("harmony: tables, line %d: %d numbers in %s; want %d", n, len(words), cells[0], d.cols)
		}
		vs := make([]float64, len(words))
		for i, w := range words {
			if vs[i], err = strconv.ParseFloat(w, 64); err != nil || math.IsNaN(vs[i]) || math.IsInf(vs[i], 0) {
				return nil, fmt.Errorf("harmony: tables, line %d: %q is no number", n, w)
			}
		}
		d.put(row, vs)
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("harmony: tables: %w", err)
	}
	t.w = newWeights(p)
	return t, nil
}
