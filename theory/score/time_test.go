package score

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

func rat(t Time) *big.Rat { return big.NewRat(t.Num(), t.Den()) }

// randomTime returns a time in range: small ones, large ones, and those at the very limits.
func randomTime(r *rand.Rand) Time {
	den := []int64{1, 2, 3, 4, 6, 16, 480, maxDen, maxDen - 1, 1 + r.Int64N(maxDen)}[r.IntN(10)]
	most := maxQuarters * den
	switch r.IntN(5) {
	case 0:
		return T(most-r.Int64N(2), den)
	case 1:
		return T(-most+r.Int64N(2), den)
	case 2:
		return T(r.Int64N(64)-32, den)
	}
	return T(r.Int64N(2*most+1)-most, den)
}

// TestTimeAgainstBig checks the arithmetic against math/big.
func TestTimeAgainstBig(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		a, b := randomTime(r), randomTime(r)
		if !a.InRange() || !b.InRange() {
			t.Fatalf("%v or %v isn't in range", a, b)
		}
		x, y := rat(a), rat(b)
		check := func(op string, got Time, want *big.Rat) {
			if !want.Num().IsInt64() || !want.Denom().IsInt64() || got.Num() != want.Num().Int64() || got.Den() != want.Denom().Int64() {
				t.Fatalf("%v %s %v = %d/%d; want %v", a, op, b, got.Num(), got.Den(), want)
			}
		}
		check("+", a.Add(b), new(big.Rat).Add(x, y))
		check("-", a.Sub(b), new(big.Rat).Sub(x, y))
		if b.Sign() != 0 {
			check("/", a.Div(b), new(big.Rat).Quo(x, y))
		}
		n, d := r.Int64N(2000)-1000, 1+r.Int64N(1000)
		check(fmt.Sprintf("* %d/%d, not", n, d), a.Mul(n, d), new(big.Rat).Mul(x, big.NewRat(n, d)))
		if got, want := a.Compare(b), x.Cmp(y); got != want || a.Less(b) != (want < 0) || a.Sign() != x.Sign() || (a == b) != (want == 0) {
			t.Fatalf("%v.Compare(%v) = %d; want %d", a, b, got, want)
		}
		low, high := a, b
		if x.Cmp(y) > 0 {
			low, high = b, a
		}
		if a.Min(b) != low || a.Max(b) != high {
			t.Fatalf("Min and Max of %v and %v: %v, %v", a, b, a.Min(b), a.Max(b))
		}
		if want, _ := x.Float64(); a.Float() != want {
			t.Fatalf("%v.Float() = %v; want %v", a, a.Float(), want)
		}
		if back, ok := ParseTime(a.String()); !ok || back != a {
			t.Fatalf("ParseTime(%q) = %v, %v; want %d/%d", a.String(), back, ok, a.Num(), a.Den())
		}
	}
}

func TestTimeRange(t *testing.T) {
	for _, c := range []struct {
		t    Time
		want bool
	}{
		{Time{}, true},
		{Quarters(maxQuarters), true},
		{Quarters(maxQuarters + 1), false},
		{Quarters(-maxQuarters), true},
		{Quarters(-maxQuarters - 1), false},
		{T(1, maxDen), true},
		{T(1, maxDen+1), false},
		{T(maxQuarters*maxDen, maxDen), true},
		{T(maxQuarters*maxDen+1, maxDen), false},
		{T(maxQuarters*maxDen-1, maxDen), true},
		{T(math.MaxInt64, 1), false},
		{T(math.MinInt64, 1), false},
		{T(1, math.MaxInt64), false},
	} {
		if got := c.t.InRange(); got != c.want {
			t.Errorf("%d/%d: InRange() = %v; want %v", c.t.Num(), c.t.Den(), got, c.want)
		}
	}
}

func TestTimeTerms(t *testing.T) {
	for _, c := range []struct {
		got      Time
		num, den int64
	}{
		{Time{}, 0, 1}, {T(6, 4), 3, 2}, {T(6, -4), -3, 2}, {T(-6, -4), 3, 2}, {T(0, 7), 0, 1}, {T(0, -7), 0, 1}, {T(5, 0), 5, 1}, {Quarters(-2), -2, 1},
		{Quarters(3).Div(Time{}), 0, 1},
	} {
		if c.got.Num() != c.num || c.got.Den() != c.den {
			t.Errorf("%v: %d/%d; want %d/%d", c.got, c.got.Num(), c.got.Den(), c.num, c.den)
		}
	}
}

func TestTimeText(t *testing.T) {
	for text, want := range map[string]Time{"0": {}, "3": Quarters(3), "-3": Quarters(-3), "1/3": T(1, 3), "-3/4": T(-3, 4), "2 1/2": T(5, 2), "-1 1/2": T(-3, 2), "1048576": Quarters(maxQuarters)} {
		if got := want.String(); got != text {
			t.Errorf("%d/%d prints as %q; want %q", want.Num(), want.Den(), got, text)
		}
		if got, ok := ParseTime(text); !ok || got != want {
			t.Errorf("ParseTime(%q) = %v, %v; want %v", text, got, ok, want)
		}
	}
	for text, want := range map[string]Time{" 2.5 ": T(5, 2), "-0.125": T(-1, 8), ".5": T(1, 2), "6/4": T(3, 2), "1.000001": T(1000001, 1000000), "-0 1/2": T(-1, 2)} {
		if got, ok := ParseTime(text); !ok || got != want {
			t.Errorf("ParseTime(%q) = %v, %v; want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", " ", "x", "+3", "1/0", "1/-2", "1/+2", "/2", "1/", "2 1", "2 -1/2", "1.5 1/2", "1 0/2", "1/2/3", "1.", ".", "1.2.3", "1.0000001", "--1", "-",
		"1048577", "99999999999999999999", "1/1048577", "1e3", "1 1/2 3"} {
		if got, ok := ParseTime(text); ok {
			t.Errorf("ParseTime(%q) = %v; want false", text, got)
		}
	}
}

func FuzzParseTime(f *testing.F) {
	for _, s := range []string{"2 1/2", "-3/4", "2.5", "1048576", "-0 1/2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, ok := ParseTime(s)
		if !ok {
			return
		}
		if back, ok := ParseTime(v.String()); !ok || back != v || !v.InRange() {
			t.Errorf("ParseTime(%q) = %v, ParseTime of that = %v, %v", s, v, back, ok)
		}
	})
}
