package score

import (
	"errors"
	"testing"
)

// fourBars is a passage of an upbeat quarter, two bars of 4/4, one of 6/8 and one of 6/8 cut in two.
func fourBars() *Passage {
	four, six := Meter{Beats: 4, Unit: 4}, Meter{Beats: 6, Unit: 8}
	return &Passage{Bars: []Bar{
		{"0", Quarters(0), Quarters(1), Quarters(3), four},
		{"1", Quarters(1), Quarters(4), Time{}, four},
		{"2", Quarters(5), Quarters(4), Time{}, four},
		{"3", Quarters(9), Quarters(3), Time{}, six},
		{"4", Quarters(12), T(3, 2), Time{}, six},
		{"4", T(27, 2), T(3, 2), T(3, 2), six},
	}}
}

func TestResolve(t *testing.T) {
	p := fourBars()
	for _, c := range []struct {
		text     string
		from, to Time
		moment   bool
		layer    Layer
	}{
		{"bar 1", Quarters(1), Quarters(5), false, Whole},
		{"bar 1 beat 2", Quarters(2), Quarters(3), true, Whole},
		{"Bar 1, beat 2", Quarters(2), Quarters(3), true, Whole},
		{"bar 1 beat 2 1/2", T(5, 2), Quarters(3), true, Whole},
		{"bar 1 beat 2.5, LH", T(5, 2), Quarters(3), true, LeftHand},
		{"bars 1-2", Quarters(1), Quarters(9), false, Whole},
		{"bars 1–2, the top line", Quarters(1), Quarters(9), false, TopLine},
		{"bars 1 to 3, bass", Quarters(1), Quarters(12), false, Bass},
		{"left hand, bars 1-2", Quarters(1), Quarters(9), false, LeftHand},
		{"bar 0 beat 4", Quarters(0), Quarters(1), true, Whole},
		{"bar 1 beat 4 to bar 2 beat 1", Quarters(4), Quarters(6), false, Whole},
		{"bar 1 beat 2 to beat 4, inner lines", Quarters(2), Quarters(5), false, InnerLines},
		{"bar 1 beats 2-3", Quarters(2), Quarters(4), false, Whole},
		{"bar 3 beat 2", T(21, 2), Quarters(12), true, Whole},
		{"bar 3 eighth 4", T(21, 2), Quarters(11), true, Whole},
		{"bar 4", Quarters(12), Quarters(15), false, Whole},
		{"bar 4 beat 2", T(27, 2), Quarters(15), true, Whole},
		{"whole passage, right hand", Quarters(0), Quarters(15), false, RightHand},
		{"mm. 1-2, soprano", Quarters(1), Quarters(9), false, TopLine},
		{"m. 2", Quarters(5), Quarters(9), false, Whole},
		{"m.2, beat 1", Quarters(5), Quarters(6), true, Whole},
		{"1-2, bass", Quarters(1), Quarters(9), false, Bass},
		{"bars 1 and 2", Quarters(1), Quarters(9), false, Whole},
		{"mm. 1 and 2, right hand", Quarters(1), Quarters(9), false, RightHand},
		{"m. 1 to m. 3", Quarters(1), Quarters(12), false, Whole},
		{"right hand", Quarters(0), Quarters(15), false, RightHand},
	} {
		pl, err := ParsePlace(c.text)
		if err != nil {
			t.Errorf("ParsePlace(%q): %v", c.text, err)
			continue
		}
		got, err := p.Resolve(pl)
		want := Region{c.from, c.to, c.moment, c.layer}
		if err != nil || got != want {
			t.Errorf("Resolve(%q) = %v, %v; want %v, nil", c.text, got, err, want)
		}
	}
}

func TestPlaceErrors(t *testing.T) {
	p := fourBars()
	for _, c := range []struct {
		text   string
		offset int
		msg    string
	}{
		{"", 0, `the place is empty; want, for instance, "bar 3" or "bar 3 beat 2"`},
		{"bar", 3, `found nothing more where a bar number belongs`},
		{"baz 3", 0, `found "baz" where a bar belongs; want, for instance, "bar 3 beat 2" or "bars 1-4"`},
		{"bar 3, middle hand", 7, `found "middle" where a hand or a line belongs; want left hand, right hand, bass, top line or inner lines`},
		{"bar 3 beat two", 11, `found "two" where the number of a beat belongs, such as 2 or 2 1/2`},
		{"bar 3 beat 0", 11, `beat 0; beats are counted from 1`},
		{"bar 9", 4, `there is no bar 9; the passage has bars 0 to 4`},
		{"bar 1 beat 5", 11, `bar 1 has 4 beats`},
		{"bar 3 beat 4", 11, `bar 3 has 2 beats; the beat of 6/8 is the dotted one: for the smaller count write "eighth 4"`},
		{"bar 0 beat 1", 11, `bar 0 is an upbeat that begins at beat 4`},
		{"bars 2-1", 7, `the end is before the start`},
		{"bars 1 and 4", 11, `bars 1 and 4 don't follow each other; want "bars 1-4" for all of them, or a claim for each`},
		{"bar 1 to beat 2", 9, `a beat at the end but none at the start; want, for instance, "bar 3 beat 2 to beat 4"`},
		{"bar 1, left hand, right hand", 18, `a second hand or line; a place has one`},
	} {
		pl, err := ParsePlace(c.text)
		if err == nil {
			_, err = p.Resolve(pl)
		}
		var pe *PlaceError
		if !errors.As(err, &pe) || pe.Offset != c.offset || pe.Msg != c.msg {
			t.Errorf("place %q: got %#v; want offset %d, %q", c.text, err, c.offset, c.msg)
		}
	}
}

func FuzzParsePlace(f *testing.F) {
	for _, s := range PlaceForms {
		f.Add(s)
	}
	p := fourBars()
	f.Fuzz(func(t *testing.T, s string) {
		pl, err := ParsePlace(s)
		if err != nil {
			return
		}
		if r, err := p.Resolve(pl); err == nil && !r.From.Less(r.To) {
			t.Errorf("Resolve(%q) = %v: empty", s, r)
		}
	})
}
