package main

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"plumbline/theory/claim"
	"plumbline/theory/engrave"
	"plumbline/theory/score/typed"
)

// TestEvidence looks at what is drawn for claims of different kinds, and at how each is taken apart.
func TestEvidence(t *testing.T) {
	p, err := typed.Read("lamp.passage", bytes.NewReader(demoPassage))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		line  string
		drawn string   // what is drawn
		parts []string // what is heard one after the other: the caption, and how many notes
	}{
		{"bar 1 beat 1, left hand: stacked in fifths", `stack "P5 P5"`, []string{"the left hand, built up: 3", "all of it: 6"}},
		{"bar 1 beat 3: D#5 resolves to E5 at bar 1 beat 4", "strand D#5 E5, ring D#5 E5", []string{"the resolution withheld: 6", "and given: 9"}},
		{"bar 2 beat 3: is Dm7", "square D2 A2 A3 C#4 F#4", []string{"built up from the bass: 5"}},
		{"bar 3 beat 1: added sixth F# replaces the fifth", "ring A2 F#3 C#4 A4 B4", []string{"without F#: 4", "with F#: 5"}},
		{"bar 3 beat 3: contains the chromatic cluster G# A A#", "ring G#4 A4 A#4", []string{"the cluster alone: 3", "in its chord: 5"}},
		{"bar 4 beat 3: bass is E", "ring E2", []string{"the bass alone: 1", "in its chord: 5"}},
		{"bars 5-6, top line: splits into two chromatic lines", "strand upper E5 D#5 D5 C#5 C5 B4, strand lower A4 G#4 G4 F#4 F4 E4", []string{"the upper line alone: 6", "the lower line alone: 6", "the two together: 12", "all of it: 18"}},
		{"bars 7-8, bass: moves by the circle of fifths", "strand A2 D3 G2 C3 F2 Bb2", []string{"the bass alone: 6", "all of it: 30"}},
		{"bars 7-8: outer intervals repeat every 3 chords: P5 m3 M7", `span "P5 m3 M7", span "P5 m3 M7"`, []string{"bass and top line alone: 12", "all of it: 30"}},
		{"bar 8, right hand: is bar 7 moved up a minor third", `span "model", span "copy"`, []string{"the model: 9", "the place itself: 9"}},
		{"bar 8, right hand: is bar 7 moved down a step", `span "model", span "not its copy", square`, []string{"the model: 9", "the place itself: 9"}},
	} {
		results, bad, err := checkClaims(p, "x", strings.NewReader(tt.line))
		if err != nil || len(bad) > 0 || len(results) != 1 {
			t.Fatalf("%s: %v %v", tt.line, bad, err)
		}
		r := results[0]
		var o engrave.Options
		markEvidence(p, r, &o)
		if got := drawnText(o, r); !strings.HasPrefix(got, tt.drawn) {
			t.Errorf("%s (%s) is drawn as %s; want %s", tt.line, r.Verdict, got, tt.drawn)
		}
		var parts []string
		for _, h := range takenApart(p, r) {
			parts = append(parts, fmt.Sprintf("%s: %d", h.caption, len(h.notes)))
		}
		if !slices.Equal(parts, tt.parts) {
			t.Errorf("%s is heard as %q; want %q", tt.line, parts, tt.parts)
		}
		made, names, err := apartPlan(p, r)
		if err != nil || len(names) != len(made.parts) {
			t.Errorf("%s: %d captions for %d parts, %v", tt.line, len(names), len(made.parts), err)
		}
	}
}

func drawnText(o engrave.Options, r claim.Result) string {
	var out []string
	for _, s := range o.Stacks {
		out = append(out, fmt.Sprintf("stack %q", s.Label))
	}
	for _, s := range o.Spans {
		out = append(out, fmt.Sprintf("span %q", s.Text))
	}
	for _, s := range o.Strands {
		words := []string{"strand"}
		if s.Label != "" {
			words = append(words, s.Label)
		}
		for _, n := range s.Notes {
			words = append(words, n.Pitch.String())
		}
		out = append(out, strings.Join(words, " "))
	}
	for _, m := range o.Marks {
		words := []string{m.Shape.String()}
		for _, n := range m.Notes {
			words = append(words, n.Pitch.String())
		}
		out = append(out, strings.Join(words, " "))
	}
	return strings.Join(out, ", ")
}
