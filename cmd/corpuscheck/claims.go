package main

import (
	"fmt"
	"io"
	"math/rand"
	"strings"

	"plumbline/theory/chord"
	"plumbline/theory/claim"
	"plumbline/theory/harmony"
	"plumbline/theory/key"
	"plumbline/theory/pitch"
	"plumbline/theory/score"
)

// A tally counts the verdicts on what the expert says of one kind of claim, and on slips of that kind.
type tally struct {
	Right, RightFails, RightArgued int
	Slips, SlipsFail, SlipsArgued  int
}

func (t *tally) add(o tally) {
	t.Right += o.Right
	t.RightFails += o.RightFails
	t.RightArgued += o.RightArgued
	t.Slips += o.Slips
	t.SlipsFail += o.SlipsFail
	t.SlipsArgued += o.SlipsArgued
}

func (t *tally) put(v claim.Verdict, slip bool) {
	n, f, a := &t.Right, &t.RightFails, &t.RightArgued
	if slip {
		n, f, a = &t.Slips, &t.SlipsFail, &t.SlipsArgued
	}
	*n++
	switch v {
	case claim.Fails:
		*f++
	case claim.Arguable:
		*a++
	}
}

// claimForms are the forms that the tables of the corpus can decide, in the order they are told.
var claimForms = []string{"chord", "bass", "inversion", "missing tone", "added tone", "key"}

// claimTallies holds the labels and the slips of every study against the claims that say the same. Slips of chord, bass and
// inversion are the planted ones; a missing tone that sounds, an added tone that doesn't or that is a member, and a key that isn't
// the expert's (the relative, parallel, nearest and a far one) are made here, from a fixed seed.
func claimTallies(s study) (map[string]*tally, error) {
	out := map[string]*tally{}
	for _, f := range claimForms {
		out[f] = &tally{}
	}
	k := claim.NewChecker(s.Passage)
	k.Divide(s.lesson.Spans)
	check := func(form, statement string, from, to score.Time, slip bool) error {
		if !from.Less(to) {
			return nil
		}
		c, ok, bad := claim.ParseLine("bar 1: " + statement)
		if bad != nil || !ok {
			return fmt.Errorf("corpuscheck: %q: %v", statement, bad)
		}
		res, err := k.CheckAt(c, score.Region{From: from, To: to})
		if err != nil {
			return fmt.Errorf("corpuscheck: %q: %v", statement, err)
		}
		out[form].put(res.Verdict, slip)
		return nil
	}
	added, err := addedTones(strings.TrimSuffix(s.Passage.Source, ".notes.tsv") + ".truth.tsv")
	if err != nil {
		return nil, err
	}
	sounding := s.Passage.Sounding()
	rng := rand.New(rand.NewSource(int64(len(s.Truth))))
	sounds := func(c pitch.Class, l label) bool {
		for _, n := range (score.Region{From: l.From, To: l.To}).Select(sounding) {
			if n.Pitch.Class() == c {
				return true
			}
		}
		return false
	}
	for n, l := range s.Truth {
		c := chordOf(l)
		if c.Quality < 0 {
			continue
		}
		if err := check("chord", "is "+chordText(c), l.From, l.To, false); err != nil {
			return nil, err
		}
		if err := check("bass", "bass is "+l.Bass.String(), l.From, l.To, false); err != nil {
			return nil, err
		}
		if text := inversionText(c); text != "" {
			if err := check("inversion", "is in "+text, l.From, l.To, false); err != nil {
				return nil, err
			}
		}
		for _, m := range c.Members() {
			part := map[int]string{2: "third", 4: "fifth", 6: "seventh"}[m.Sub(c.Root).Steps]
			if part == "" || c.Quality >= harmony.GermanSixth && c.Quality <= harmony.ItalianSixth {
				continue
			}
			// By the letter, as the claim has it: no third at all.
			there := false
			for _, x := range (score.Region{From: l.From, To: l.To}).Select(sounding) {
				there = there || x.Pitch.Letter == m.Letter
			}
			if err := check("missing tone", "has no "+part, l.From, l.To, there); err != nil {
				return nil, err
			}
		}
		if n < len(added) {
			for _, a := range added[n] {
				if sounds(a, l) {
					if err := check("added tone", "has an added "+a.String(), l.From, l.To, false); err != nil {
						return nil, err
					}
				}
			}
			wrong := c.Members()[rng.Intn(len(c.Members()))]
			if rng.Intn(2) == 0 {
				wrong = c.Root.Add([]pitch.Interval{pitch.MajorSecond, pitch.PerfectFourth, pitch.MajorSixth}[rng.Intn(3)])
			}
			if c.Role(wrong) != "" || !sounds(wrong, l) {
				if err := check("added tone", "has an added "+wrong.String(), l.From, l.To, true); err != nil {
					return nil, err
				}
			}
		}
	}
	for _, l := range s.Planted {
		c := chordOf(l)
		if c.Quality < 0 {
			continue
		}
		var err error
		if l.Slip == "bass" {
			err = check("bass", "bass is "+l.Bass.String(), l.From, l.To, true)
			if text := inversionText(c); err == nil && text != "" {
				err = check("inversion", "is in "+text, l.From, l.To, true)
			}
		} else {
			err = check("chord", "is "+chordText(c), l.From, l.To, true)
		}
		if err != nil {
			return nil, err
		}
	}
	for i := 0; i < len(s.Truth); {
		j := i
		for j < len(s.Truth) && s.Truth[j].Key == s.Truth[i].Key {
			j++
		}
		x := s.Truth[i].Key
		from, to := s.Truth[i].From, s.Truth[j-1].To
		if j-i >= 3 {
			if err := check("key", "key is "+x.String(), from, to, false); err != nil {
				return nil, err
			}
			for _, w := range wrongKeys(x, rng) {
				if err := check("key", "key is "+w.String(), from, to, true); err != nil {
					return nil, err
				}
			}
		}
		i = j
	}
	return out, nil
}

// wrongKeys returns the relative, the parallel, the key a fifth above and one further away.
func wrongKeys(x key.Key, rng *rand.Rand) []key.Key {
	other := key.Minor
	if x.Mode == key.Minor {
		other = key.Major
	}
	fifth := x
	fifth.Tonic = x.Tonic.Add(pitch.PerfectFifth)
	far := x
	far.Tonic = pitch.ClassOfFifths(x.Tonic.Fifths() + []int{-3, -2, 2, 3, 4}[rng.Intn(5)])
	return []key.Key{key.FromSignature(x.Signature(), other), {Tonic: x.Tonic, Mode: other}, fifth, far}
}

// chordText writes a chord as a claim does, without its bass.
func chordText(c harmony.Chord) string {
	switch c.Quality {
	case harmony.GermanSixth, harmony.ItalianSixth:
		return c.Quality.String() + " on " + c.Root.Add(pitch.Interval{Steps: 2, Semitones: 2}).String()
	case harmony.FrenchSixth:
		return c.Quality.String() + " on " + c.Root.Add(pitch.DiminishedFifth).String()
	}
	text := c.Root.String() + " " + c.Quality.String()
	if _, err := chord.ParseLabel(text); err != nil {
		text = c.Root.String() + " " + c.Quality.String() + " chord"
	}
	return text
}

// inversionText says the inversion of a chord, "" where it has none.
func inversionText(c harmony.Chord) string {
	if c.Quality >= harmony.GermanSixth && c.Quality <= harmony.ItalianSixth {
		return ""
	}
	for i, m := range c.Members() {
		if m == c.Bass {
			return []string{"root position", "first inversion", "second inversion", "third inversion"}[i]
		}
	}
	return ""
}

// addedTones reads the tones that the expert calls added, label by label.
func addedTones(file string) ([][]pitch.Class, error) {
	var out [][]pitch.Class
	err := table(file, []string{"added_tones"}, func(cell func(string) string) error {
		var list []pitch.Class
		for _, w := range strings.Fields(cell("added_tones")) {
			c, err := pitch.ParseClass(w)
			if err != nil {
				return err
			}
			list = append(list, c)
		}
		out = append(out, list)
		return nil
	})
	return out, err
}

// reportClaims writes the figures of each set and form of claim.
func reportClaims(w io.Writer, pieces []piece) error {
	sets := map[string]map[string]*tally{}
	for _, s := range prepare(pieces) {
		ts, err := claimTallies(s)
		if err != nil {
			return fmt.Errorf("%s, %s: %w", s.Set, s.Name, err)
		}
		for _, name := range []string{s.Set, "all"} {
			if sets[name] == nil {
				sets[name] = map[string]*tally{}
			}
			for f, t := range ts {
				if sets[name][f] == nil {
					sets[name][f] = &tally{}
				}
				sets[name][f].add(*t)
			}
		}
	}
	for _, name := range sortedKeys(sets) {
		for _, f := range claimForms {
			t := sets[name][f]
			if _, err := fmt.Fprintf(w, "%-20s %-13s right %6d: false alarms %.3f, arguable %.3f; slips %6d: caught %.3f, arguable %.3f\n", name, f,
				t.Right, part(t.RightFails, t.Right), part(t.RightArgued, t.Right), t.Slips, part(t.SlipsFail, t.Slips), part(t.SlipsArgued, t.Slips)); err != nil {
				return err
			}
		}
	}
	return nil
}
