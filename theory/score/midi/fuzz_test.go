package midi

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"plumbline/theory/score"
)

// seeds are good files of different kinds, for mutation and fuzzing.
func seeds(t testing.TB) []string {
	t.Helper()
	out := []string{example0, example1,
		filed(0, 480, "\x00\xff\x59\x02\xfd\x01\x07\x90\x3c\x40\x83\x4d\x3c\x00\x0b\x3e\x40\x81\x61\x3e\x00"+end),
		filed(1, 96, "\x00\xff\x03\x04Lamp\x00\xff\x58\x04\x03\x02\x18\x08\x60\xff\x58\x04\x03\x02\x18\x08\x00\xff\x51\x03\x0f\x42\x40"+end,
			"\x00\xff\x03\x02RH\x00\xf0\x03\x01\x02\xf7\x00\x90\x3c\x40\x00\x3c\x40\x84\x00\x3c\x00\x00\x3c\x00"+end,
			"\x00\xff\x03\x02LH\x00\xb1\x40\x7f\x00\x91\x30\x40\x00\x99\x24\x40"+end)}
	for seed := range uint64(3) {
		var b bytes.Buffer
		if err := Write(&b, randomPassage(rand.New(rand.NewPCG(seed, 3))), Options{}); err != nil {
			t.Fatal(err)
		}
		out = append(out, b.String())
	}
	var b bytes.Buffer
	if err := Write(&b, small(), Options{}); err != nil {
		t.Fatal(err)
	}
	return append(out, b.String())
}

// FuzzRead reads anything: it must be refused with an *Error, or give a passage that keeps its promises, the same one twice,
// and that comes back from a file of ours.
func FuzzRead(f *testing.F) {
	all := seeds(f)
	if len(all) < 8 {
		f.Fatalf("%d files to begin with; want at least 8", len(all))
	}
	for _, s := range all {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Read(bytes.NewReader(data), Options{})
		var e *Error
		if err != nil {
			if p != nil || !errors.As(err, &e) {
				t.Fatalf("%v with an error %T: %v", p, err, err)
			}
			return
		}
		check(t, p)
		if len(p.Notes) > 20_000 { // the fuzzer takes what lasts a second for a hang, and the rest is in the tests
			return
		}
		if q, err := Read(bytes.NewReader(data), Options{}); err != nil || !reflect.DeepEqual(p, q) {
			t.Fatalf("read twice:\n%+v\n%+v, %v", p, q, err)
		}
		var b bytes.Buffer
		if err := Write(&b, p, Options{}); err != nil {
			if !errors.As(err, &e) {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		q, err := Read(&b, Options{Grid: Exact})
		if err != nil {
			t.Fatalf("our own file: %v", err)
		}
		check(t, q)
		if got, want := held(q), held(p); !slices.Equal(got, want) && !crowded(p) {
			t.Fatalf("written and read:\n%q; want\n%q", got, want)
		}
		if !reflect.DeepEqual(q.Keys, p.Keys) {
			t.Fatalf("written and read: keys %v; want %v", q.Keys, p.Keys)
		}
	})
}

// crowded reports whether one key sounds more than seven times at once in a hand, more than there are channels for.
func crowded(p *score.Passage) bool {
	type place struct {
		hand score.Hand
		key  int
	}
	sounding := map[place][]score.Time{}
	for _, n := range p.Sounding() {
		k := place{n.Hand, n.Pitch.MIDI()}
		sounding[k] = append(slices.DeleteFunc(sounding[k], func(t score.Time) bool { return !n.Onset.Less(t) }), n.End())
		if len(sounding[k]) > 7 {
			return true
		}
	}
	return false
}
