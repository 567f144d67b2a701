package main

import (
	"encoding/json"
	"fmt"
	"io"

	"plumbline/theory/score"
)

// A summary counts what was read of a set.
type summary struct {
	Set      string   `json:"set"`
	Pieces   int      `json:"pieces"`
	Notes    int      `json:"notes"` // as written; a tied note counts as often as it is written
	Bars     int      `json:"bars"`
	Labels   int      `json:"labels"`
	Planted  int      `json:"planted"`
	Problems []string `json:"problems"` // labels whose spans overlap, are empty or reach beyond the piece
}

// summarize counts set by set, in their order, and all together.
func summarize(pieces []piece) []summary {
	all := summary{Set: "all", Problems: []string{}}
	var out []summary
	for _, p := range pieces {
		if n := len(out); n == 0 || out[n-1].Set != p.Set {
			out = append(out, summary{Set: p.Set, Problems: []string{}})
		}
		problems := spanProblems(p)
		for _, s := range []*summary{&out[len(out)-1], &all} {
			s.Pieces++
			s.Notes += len(p.Passage.Notes)
			s.Bars += len(p.Passage.Bars)
			s.Labels += len(p.Truth)
			s.Planted += len(p.Planted)
			s.Problems = append(s.Problems, problems...)
		}
	}
	return append(out, all)
}

// spanProblems says in words which labels of a piece have a span that can't be.
func spanProblems(p piece) []string {
	var out []string
	end := p.Passage.End()
	for _, t := range []struct {
		name string
		list []label
	}{{"truth", p.Truth}, {"planted", p.Planted}} {
		last := score.Time{}
		for _, l := range t.list {
			say := func(why string) {
				out = append(out, fmt.Sprintf("%s/%s, %s: the label of bar %s from %s to %s %s", p.Set, p.Name, t.name, l.Bar, l.From, l.To, why))
			}
			switch {
			case !l.From.Less(l.To):
				say("is empty")
			case l.From.Less(last):
				say(fmt.Sprintf("begins before the one before it ends, at %s", last))
			case end.Less(l.To):
				say(fmt.Sprintf("reaches beyond the end of the piece, at %s", end))
			}
			last = last.Max(l.To)
		}
	}
	return out
}

func writeSummary(w io.Writer, sets []summary, asJSON bool) error {
	if asJSON {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		return enc.Encode(sets)
	}
	for _, s := range sets {
		if _, err := fmt.Fprintf(w, "%-20s %4d pieces %7d notes %6d bars %6d labels %6d planted %3d span problems\n",
			s.Set, s.Pieces, s.Notes, s.Bars, s.Labels, s.Planted, len(s.Problems)); err != nil {
			return err
		}
	}
	for _, p := range sets[len(sets)-1].Problems {
		if _, err := fmt.Fprintln(w, "  "+p); err != nil {
			return err
		}
	}
	return nil
}
