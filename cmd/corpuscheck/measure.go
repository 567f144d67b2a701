package main

import (
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"time"

	"plumbline/theory/harmony"
	"plumbline/theory/key"
)

// A study is a piece prepared for reading: its spans, those of the expert and of the planted slips, in order of time.
type study struct {
	piece
	lesson  harmony.Lesson // chords and keys of the expert; a quality of -1 where he says nothing that is known
	truth   []int          // the index of each label's span
	planted []int          // the same for each planted slip
}

// prepare gathers the spans of each piece. Nothing else of the labels reaches the readings.
func prepare(pieces []piece) []study {
	out := make([]study, len(pieces))
	for i, p := range pieces {
		l := harmony.Lesson{Music: harmony.New(p.Passage)}
		for _, t := range append(append([]label{}, p.Truth...), p.Planted...) {
			if t.From.Less(t.To) {
				l.Spans = append(l.Spans, harmony.Span{From: t.From, To: t.To})
			}
		}
		sort.SliceStable(l.Spans, func(i, j int) bool {
			if c := l.Spans[i].From.Compare(l.Spans[j].From); c != 0 {
				return c < 0
			}
			return l.Spans[i].To.Less(l.Spans[j].To)
		})
		index := map[harmony.Span]int{}
		n := 0
		for _, s := range l.Spans {
			if _, ok := index[s]; !ok {
				index[s] = n
				l.Spans[n] = s
				n++
			}
		}
		l.Spans = l.Spans[:n]
		l.Chords, l.Keys = make([]harmony.Chord, n), make([]*key.Key, n)
		for j := range l.Chords {
			l.Chords[j].Quality = -1
		}
		s := study{piece: p}
		find := func(t label) int {
			if j, ok := index[harmony.Span{From: t.From, To: t.To}]; ok {
				return j
			}
			return -1
		}
		for _, t := range p.Truth {
			j := find(t)
			s.truth = append(s.truth, j)
			if j >= 0 {
				l.Chords[j] = chordOf(t)
				l.Keys[j] = &t.Key
			}
		}
		for _, t := range p.Planted {
			s.planted = append(s.planted, find(t))
		}
		s.lesson = l
		out[i] = s
	}
	return out
}

// chordOf returns the chord of a label; its quality is -1 if the label's is not known.
func chordOf(l label) harmony.Chord {
	q, ok := harmony.ParseQuality(l.Quality)
	if !ok {
		q = -1
	}
	return harmony.Chord{Root: l.Root, Quality: q, Bass: l.Bass}
}

// figures are counts over labels and planted slips.
type figures struct {
	Name                                          string
	Labels, Root, RootQuality, Bass, Key, Numeral int
	First2, First3                                int // root and quality are among the first two, three readings
	Planted, FalseAlarms, Caught                  int
	Slips                                         map[string]*[2]int // by kind: caught, of
	Time, TimeRoot, TimeBoth                      float64            // quarters labelled; of these, without the spans given, root and root and quality right
}

func (f *figures) add(o *figures) {
	f.Labels += o.Labels
	f.Root += o.Root
	f.RootQuality += o.RootQuality
	f.Bass += o.Bass
	f.Key += o.Key
	f.Numeral += o.Numeral
	f.First2 += o.First2
	f.First3 += o.First3
	f.Planted += o.Planted
	f.FalseAlarms += o.FalseAlarms
	f.Caught += o.Caught
	f.Time += o.Time
	f.TimeRoot += o.TimeRoot
	f.TimeBoth += o.TimeBoth
	for k, v := range o.Slips {
		s := f.slip(k)
		s[0] += v[0]
		s[1] += v[1]
	}
}

func (f *figures) slip(kind string) *[2]int {
	if f.Slips == nil {
		f.Slips = map[string]*[2]int{}
	}
	if f.Slips[kind] == nil {
		f.Slips[kind] = new([2]int)
	}
	return f.Slips[kind]
}

// part returns n of so many as a part of 1; 0 of none.
func part(n, of int) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

func (f *figures) String() string {
	s := fmt.Sprintf("%6d labels: root %.3f, root and quality %.3f (among two %.3f, three %.3f), bass %.3f, key %.3f, numeral %.3f; false alarms %.3f; %6d slips: caught %.3f",
		f.Labels, part(f.Root, f.Labels), part(f.RootQuality, f.Labels), part(f.First2, f.Labels), part(f.First3, f.Labels), part(f.Bass, f.Labels),
		part(f.Key, f.Labels), part(f.Numeral, f.Labels), part(f.FalseAlarms, f.Labels), f.Planted, part(f.Caught, f.Planted))
	for i, k := range sortedKeys(f.Slips) {
		s += map[bool]string{true: " (", false: ", "}[i == 0] + fmt.Sprintf("%s %.3f", k, part(f.Slips[k][0], f.Slips[k][1]))
	}
	if len(f.Slips) > 0 {
		s += ")"
	}
	if f.Time > 0 {
		s += fmt.Sprintf("; spans not given, share of time: root %.3f, root and quality %.3f", f.TimeRoot/f.Time, f.TimeBoth/f.Time)
	}
	return s
}

// figuresJSON is the form other programs read; the figures are parts of 1.
type figuresJSON struct {
	Name        string   `json:"name"`
	Labels      int      `json:"labels"`
	Root        float64  `json:"root"`
	RootQuality float64  `json:"root_quality"`
	Bass        float64  `json:"bass"`
	Key         float64  `json:"key"`
	Numeral     float64  `json:"numeral"`
	Planted     int      `json:"planted"`
	FalseAlarms float64  `json:"false_alarms"`
	SlipsCaught float64  `json:"slips_caught"`
	TimeRoot    float64  `json:"time_root,omitempty"` // -divide: without the spans given, share of the labelled time
	TimeBoth    float64  `json:"time_root_quality,omitempty"`
	Problems    []string `json:"problems,omitempty"` // spans that overlap or are empty
}

func (f *figures) json(problems []string) figuresJSON {
	t := max(f.Time, 1e-9)
	return figuresJSON{f.Name, f.Labels, part(f.Root, f.Labels), part(f.RootQuality, f.Labels), part(f.Bass, f.Labels), part(f.Key, f.Labels),
		part(f.Numeral, f.Labels), f.Planted, part(f.FalseAlarms, f.Labels), part(f.Caught, f.Planted), f.TimeRoot / t, f.TimeBoth / t, problems}
}

// A confusion is one label that is read otherwise.
type confusion struct {
	set, piece, bar string
	want, got       harmony.Chord
}

// measure reads every study with t and counts, set by set in their order; if divide is set, also as the pieces divide themselves.
func measure(t *harmony.Tables, studies []study, divide bool) (sets []*figures, wrong []confusion) {
	for _, s := range studies {
		if n := len(sets); n == 0 || sets[n-1].Name != s.Set {
			sets = append(sets, &figures{Name: s.Set})
		}
		f := sets[len(sets)-1]
		if divide {
			f.unguided(t, s)
		}
		a := t.Read(s.lesson.Music, s.lesson.Spans)
		for n, l := range s.Truth {
			f.Labels++
			i := s.truth[n]
			if i < 0 {
				continue
			}
			want := chordOf(l)
			if fails(a, i, want) {
				f.FalseAlarms++
			}
			h := a.Spans[i]
			sameKey := h.Key.Tonic.PC() == l.Key.Tonic.PC() && h.Key.Mode == l.Key.Mode
			if sameKey {
				f.Key++
			}
			for j, r := range h.Readings[:min(3, len(h.Readings))] {
				root := r.Chord.Root.PC() == want.Root.PC()
				both := root && r.Chord.Quality == want.Quality
				bass := r.Chord.Bass.PC() == want.Bass.PC()
				if both {
					f.First3++
					if j < 2 {
						f.First2++
					}
				}
				if j > 0 {
					continue
				}
				count(&f.Root, root)
				count(&f.RootQuality, both)
				count(&f.Bass, bass)
				count(&f.Numeral, both && bass && sameKey)
				if !both {
					wrong = append(wrong, confusion{s.Set, s.Name, l.Bar, want, r.Chord})
				}
			}
		}
		for n, l := range s.Planted {
			f.Planted++
			k := f.slip(l.Slip)
			k[1]++
			if i := s.planted[n]; i >= 0 && fails(a, i, chordOf(l)) {
				f.Caught++
				k[0]++
			}
		}
	}
	return sets, wrong
}

// fails reports whether the claim that span i is the chord of a label fails: the judge that check asks says so.
func fails(a *harmony.Analysis, i int, c harmony.Chord) bool {
	return a.Judge(i, harmony.Said{Chord: c, HasChord: true, HasBass: true}).Fails
}

// unguided reads the piece as describe does, dividing it by itself, and counts for how much of the labelled time the chord is right.
func (f *figures) unguided(t *harmony.Tables, s study) {
	own := t.Analyze(s.lesson.Music).Spans
	for _, l := range s.Truth {
		want := chordOf(l)
		f.Time += l.To.Sub(l.From).Float()
		for _, h := range own[sort.Search(len(own), func(i int) bool { return l.From.Less(own[i].Span.To) }):] {
			if !h.Span.From.Less(l.To) {
				break
			}
			if len(h.Readings) == 0 || h.Readings[0].Chord.Root.PC() != want.Root.PC() {
				continue
			}
			d := h.Span.To.Min(l.To).Sub(h.Span.From.Max(l.From)).Float()
			f.TimeRoot += d
			if h.Readings[0].Chord.Quality == want.Quality {
				f.TimeBoth += d
			}
		}
	}
}

func count(n *int, ok bool) {
	if ok {
		*n++
	}
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// report measures with the tables that ship and writes the figures. The time is counted from start, before the files were read.
func report(w io.Writer, pieces []piece, start time.Time, asJSON, worst, divide bool) error {
	sets, wrong := measure(harmony.Shipped(), prepare(pieces), divide)
	took := time.Since(start).Seconds()
	all := &figures{Name: "all"}
	for _, f := range sets {
		all.add(f)
	}
	sums := summarize(pieces)
	if asJSON {
		out := struct {
			Sets    []figuresJSON `json:"sets"`
			All     figuresJSON   `json:"all"`
			Seconds float64       `json:"seconds"`
		}{Seconds: took, All: all.json(sums[len(sums)-1].Problems), Sets: []figuresJSON{}}
		for i, f := range sets {
			out.Sets = append(out.Sets, f.json(sums[i].Problems))
		}
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		return enc.Encode(out)
	}
	if err := writeSummary(w, sums, false); err != nil {
		return err
	}
	for _, f := range append(sets, all) {
		if _, err := fmt.Fprintf(w, "%-20s %v\n", f.Name, f); err != nil {
			return err
		}
	}
	if _, err := fmt.Fprintf(w, "%.1f seconds\n", took); err != nil || !worst {
		return err
	}
	return writeWorst(w, pieces, wrong)
}

// writeWorst writes the pieces read worst and the commonest confusions, with a place for each.
func writeWorst(w io.Writer, pieces []piece, wrong []confusion) error {
	type entry struct {
		name  string
		n     int
		rate  float64
		where string
	}
	by := map[string]*entry{}
	kinds := map[string]*entry{}
	for _, c := range wrong {
		name := c.set + "/" + c.piece
		if by[name] == nil {
			by[name] = &entry{name: name}
		}
		by[name].n++
		d := ((c.got.Root.Fifths()-c.want.Root.Fifths()+5)%12+12)%12 - 5
		kind := fmt.Sprintf("%v read as %v on the same root", c.want.Quality, c.got.Quality)
		if d != 0 {
			kind = fmt.Sprintf("%v read as %v, root %+d fifths", c.want.Quality, c.got.Quality, d)
		}
		if kinds[kind] == nil {
			kinds[kind] = &entry{name: kind, where: fmt.Sprintf("%s bar %s: %v read as %v", c.piece, c.bar, c.want, c.got)}
		}
		kinds[kind].n++
	}
	for _, p := range pieces {
		if e := by[p.Set+"/"+p.Name]; e != nil {
			e.rate = part(e.n, len(p.Truth))
		}
	}
	list := func(m map[string]*entry, less func(a, b *entry) bool, most int) []*entry {
		var out []*entry
		for _, k := range sortedKeys(m) {
			out = append(out, m[k])
		}
		sort.SliceStable(out, func(i, j int) bool { return less(out[i], out[j]) })
		return out[:min(len(out), most)]
	}
	fmt.Fprintln(w, "\nPieces read worst (part of labels whose root or quality is read otherwise):")
	for _, e := range list(by, func(a, b *entry) bool { return a.rate > b.rate }, 12) {
		fmt.Fprintf(w, "  %.3f  %s\n", e.rate, e.name)
	}
	fmt.Fprintln(w, "\nCommonest confusions:")
	for _, e := range list(kinds, func(a, b *entry) bool { return a.n > b.n }, 40) {
		if _, err := fmt.Fprintf(w, "  %4d  %s (%s)\n", e.n, e.name, e.where); err != nil {
			return err
		}
	}
	return nil
}
