package main

import (
	"bufio"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A label is what an expert, or the planter of slips, says of a span.
type label struct {
	From, To score.Time
	Bar      string
	Key      key.Key
	Root     pitch.Class
	Quality  string
	Bass     pitch.Class
	Slip     string // planted only
}

// A piece is one PIECE.*.tsv of a set. Truth and Planted are nil if there is no such table.
type piece struct {
	Set, Name string
	Passage   *score.Passage
	Truth     []label
	Planted   []label
}

// readSets reads every *.notes.tsv in dirs and in the folders directly below them, with the tables beside it. A set is a
// folder. Pieces are in order of set and name.
func readSets(dirs []string) ([]piece, error) {
	var files []string
	for _, d := range dirs {
		if fi, err := os.Stat(d); err != nil || !fi.IsDir() {
			return nil, fmt.Errorf("corpuscheck: %q is no folder", d)
		}
		for _, pattern := range []string{"*.notes.tsv", "*/*.notes.tsv"} {
			m, err := filepath.Glob(filepath.Join(d, pattern))
			if err != nil {
				return nil, fmt.Errorf("corpuscheck: %w", err)
			}
			files = append(files, m...)
		}
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("corpuscheck: no *.notes.tsv in %s", strings.Join(dirs, ", "))
	}
	sort.Strings(files)
	var out []piece
	for i, f := range files {
		if i > 0 && files[i-1] == f {
			continue
		}
		base := strings.TrimSuffix(f, ".notes.tsv")
		abs, err := filepath.Abs(f)
		if err != nil {
			return nil, fmt.Errorf("corpuscheck: %w", err)
		}
		p := piece{Set: filepath.Base(filepath.Dir(abs)), Name: filepath.Base(base)}
		if p.Passage, err = readNotes(f); err != nil {
			return nil, err
		}
		if p.Truth, err = readLabels(base + ".truth.tsv"); err != nil {
			return nil, err
		}
		// A last bar that rests fill ends where its label does.
		if n, k := len(p.Truth), len(p.Passage.Bars); n > 0 && k > 0 {
			b := &p.Passage.Bars[k-1]
			if to := p.Truth[n-1].To; b.End().Less(to) && !b.Start.Add(b.Meter.Length()).Less(to.Add(b.Offset)) {
				b.Length = to.Sub(b.Start)
			}
		}
		if p.Planted, err = readLabels(base + ".planted.tsv"); err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// table calls row for each line below the header of a tab-separated file, with a function that returns a cell by its
// column's name. Errors carry file and line.
func table(file string, columns []string, row func(cell func(string) string) error) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	index := map[string]int{}
	for n := 1; sc.Scan(); n++ {
		cells := strings.Split(strings.TrimSuffix(sc.Text(), "\r"), "\t")
		if n == 1 {
			for i, c := range cells {
				index[c] = i
			}
			for _, c := range columns {
				if _, ok := index[c]; !ok {
					return fmt.Errorf("corpuscheck: %s:1: no column %q", file, c)
				}
			}
			continue
		}
		cell := func(name string) string {
			if i, ok := index[name]; ok && i < len(cells) {
				return cells[i]
			}
			return ""
		}
		if err := row(cell); err != nil {
			return fmt.Errorf("corpuscheck: %s:%d: %w", file, n, err)
		}
	}
	if err := sc.Err(); err != nil {
		return fmt.Errorf("corpuscheck: %s: %w", file, err)
	}
	return nil
}

// parseTime reads a fraction. Terms as large as those of 3333333333333333/10000000000000000 are decimals in disguise, right
// to about the 15th place: the fraction with the smallest denominator up to 1000 that agrees in nine places is meant.
func parseTime(s string) (score.Time, error) {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return score.Time{}, fmt.Errorf("%q is no fraction", s)
	}
	if r.Denom().IsInt64() && r.Denom().Int64() <= 1<<12 && r.Num().IsInt64() {
		return score.T(r.Num().Int64(), r.Denom().Int64()), nil
	}
	x, _ := r.Float64()
	for den := int64(1); den <= 1000; den++ {
		num := math.Round(x * float64(den))
		if math.Abs(x-num/float64(den)) < 1e-9 && math.Abs(num) < 1e9 {
			return score.T(int64(num), den), nil
		}
	}
	return score.Time{}, fmt.Errorf("%q is near no fraction with a denominator up to 1000", s)
}

func parseMeter(s string) (score.Meter, error) {
	num, den, ok := strings.Cut(s, "/")
	n, err1 := strconv.Atoi(num)
	d, err2 := strconv.Atoi(den)
	if !ok || err1 != nil || err2 != nil || n < 1 || d < 1 {
		return score.Meter{}, fmt.Errorf("%q is no meter; want, for instance, 3/4", s)
	}
	return score.Meter{Beats: n, Unit: d}, nil
}

// readNotes reads a *.notes.tsv as a passage.
func readNotes(file string) (*score.Passage, error) {
	type row struct {
		note   score.Note
		number string
		start  score.Time
		within score.Time
		meter  score.Meter
	}
	var rows []row
	err := table(file, []string{"onset", "staff", "duration", "pitch", "tie", "bar", "bar_onset", "meter"}, func(cell func(string) string) error {
		var r row
		var err error
		if r.note.Onset, err = parseTime(cell("onset")); err != nil {
			return err
		}
		if r.note.Duration, err = parseTime(cell("duration")); err != nil {
			return err
		}
		if r.within, err = parseTime(cell("bar_onset")); err != nil {
			return err
		}
		r.within = r.within.Mul(4, 1)
		if r.note.Pitch, err = pitch.Parse(cell("pitch")); err != nil {
			return err
		}
		if r.meter, err = parseMeter(cell("meter")); err != nil {
			return err
		}
		r.note.Hand = score.Right
		if cell("staff") != "1" {
			r.note.Hand = score.Left
		}
		r.note.Voice = 1
		if v, err := strconv.Atoi(cell("voice")); err == nil && v > 0 {
			r.note.Voice = v
		}
		switch cell("tie") {
		case "start":
			r.note.TieTo = true
		case "stop":
			r.note.TieFrom = true
		case "both":
			r.note.TieTo, r.note.TieFrom = true, true
		}
		r.number = cell("bar")
		r.start = r.note.Onset.Sub(r.within)
		rows = append(rows, r)
		return nil
	})
	if err != nil {
		return nil, err
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].note.Onset.Less(rows[j].note.Onset) })
	p := &score.Passage{Title: strings.TrimSuffix(filepath.Base(file), ".notes.tsv"), Source: file}
	var line score.Time // where beat 1 of the last bar is, or would be
	for _, r := range rows {
		last := len(p.Bars) - 1
		if last < 0 || p.Bars[last].Number != r.number || line != r.start {
			line = r.start
			p.Bars = appendBar(p.Bars, score.Bar{Number: r.number, Start: line, Meter: r.meter}, r.note.Onset)
			last = len(p.Bars) - 1
		}
		r.note.Bar = last
		p.Notes = append(p.Notes, r.note)
	}
	if last := len(p.Bars) - 1; last >= 0 {
		end := score.Time{}
		for _, n := range p.Notes {
			end = end.Max(n.End())
		}
		p.Bars[last].Length = end.Sub(p.Bars[last].Start)
	}
	p.Sort()
	return p, nil
}

// appendBar appends a bar whose beat 1 is at its Start, with the first of its notes at first, and gives the bar before it its
// length. An upbeat, or what a repeat sign cuts off, begins later than its beat 1: where the bar before it ends, or at its
// first note if that is short. Bars of rests have no rows; they are put in, numbered on.
func appendBar(bars []score.Bar, b score.Bar, first score.Time) []score.Bar {
	full := score.Time{} // where the bar before ends if it is full
	if n := len(bars); n > 0 {
		full = bars[n-1].Start.Add(bars[n-1].Meter.Length().Sub(bars[n-1].Offset))
	}
	if beat1 := b.Start; beat1.Less(full) {
		b.Start = beat1.Max(first.Min(full))
		b.Offset = b.Start.Sub(beat1)
	}
	for full.Less(b.Start) {
		rest := score.Bar{Number: "0", Start: full, Meter: b.Meter}
		if n := len(bars); n > 0 {
			bars[n-1].Length = full.Sub(bars[n-1].Start)
			rest.Number, rest.Meter = bars[n-1].Number, bars[n-1].Meter
			if k, err := strconv.Atoi(rest.Number); err == nil {
				rest.Number = strconv.Itoa(k + 1)
			}
		}
		bars = append(bars, rest)
		full = full.Add(rest.Meter.Length()).Min(b.Start)
	}
	if n := len(bars); n > 0 {
		bars[n-1].Length = b.Start.Sub(bars[n-1].Start)
	}
	return append(bars, b)
}

// readLabels reads a *.truth.tsv or *.planted.tsv. A table that doesn't exist is no labels and no error.
func readLabels(file string) ([]label, error) {
	var out []label
	err := table(file, []string{"onset", "duration", "root", "quality", "bass"}, func(cell func(string) string) error {
		var l label
		var err error
		if l.From, err = parseTime(cell("onset")); err != nil {
			return err
		}
		d, err := parseTime(cell("duration"))
		if err != nil {
			return err
		}
		l.To = l.From.Add(d)
		if l.Root, err = pitch.ParseClass(cell("root")); err != nil {
			return err
		}
		if l.Bass, err = pitch.ParseClass(cell("bass")); err != nil {
			return err
		}
		if k := cell("key"); k != "" {
			if l.Key, err = key.Parse(k); err != nil {
				return err
			}
		}
		l.Bar, l.Quality, l.Slip = cell("bar"), cell("quality"), cell("slip")
		out = append(out, l)
		return nil
	})
	if os.IsNotExist(err) {
		return nil, nil
	}
	return out, err
}
