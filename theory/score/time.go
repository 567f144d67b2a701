package score

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Time is an exact rational number of quarter notes: a moment counted from the start of the passage, or a length. The zero
// value is 0. Times are kept in lowest terms and compare with ==.
//
// Sums, differences and comparisons of times that are both [Time.InRange] are exact. Readers refuse times out of range.
type Time struct {
	num  int64
	den1 int64 // the denominator less 1, so that the zero value is 0/1
}

// Limits of [Time.InRange]: about a million quarter notes, in parts of a quarter note down to 1/2^20.
const (
	maxQuarters = 1 << 20
	maxDen      = 1 << 20
)

// T returns num/den quarter notes. A den of 0 is taken as 1; the sign may be on either.
func T(num, den int64) Time {
	if den == 0 {
		den = 1
	}
	if den < 0 {
		num, den = -num, -den
	}
	g := gcd(num, den)
	return Time{num / g, den/g - 1}
}

// Quarters returns n quarter notes.
func Quarters(n int) Time { return Time{num: int64(n)} }

func gcd(a, b int64) int64 {
	if a < 0 {
		a = -a
	}
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, 1)
}

// Num and Den return the terms of t, in lowest terms, Den positive.
func (t Time) Num() int64 { return t.num }
func (t Time) Den() int64 { return t.den1 + 1 }

// InRange reports whether t has terms small enough that arithmetic on it stays exact.
func (t Time) InRange() bool {
	return t.Den() <= maxDen && t.num <= maxQuarters*t.Den() && t.num >= -maxQuarters*t.Den()
}

// Add returns t + u.
func (t Time) Add(u Time) Time {
	if t.den1 == u.den1 {
		return T(t.num+u.num, t.Den())
	}
	g := gcd(t.Den(), u.Den())
	return T(t.num*(u.Den()/g)+u.num*(t.Den()/g), t.Den()/g*u.Den())
}

// Sub returns t - u.
func (t Time) Sub(u Time) Time { return t.Add(Time{-u.num, u.den1}) }

// Mul returns t times num/den.
func (t Time) Mul(num, den int64) Time {
	a := T(num, den)
	g, h := gcd(t.num, a.Den()), gcd(a.num, t.Den())
	return T(t.num/g*(a.num/h), t.Den()/h*(a.Den()/g))
}

// Div returns how often u goes into t. u must not be zero; if it is, Div returns 0.
func (t Time) Div(u Time) Time {
	if u.num == 0 {
		return Time{}
	}
	return t.Mul(u.Den(), u.num)
}

// Compare returns -1, 0 or 1 as t is before, at or after u.
func (t Time) Compare(u Time) int {
	a, b := t.num*u.Den(), u.num*t.Den()
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// Less reports whether t is before u.
func (t Time) Less(u Time) bool { return t.Compare(u) < 0 }

// Sign returns -1, 0 or 1.
func (t Time) Sign() int { return t.Compare(Time{}) }

// Float returns t as a floating-point number of quarter notes, for sound and pictures only.
func (t Time) Float() float64 { return float64(t.num) / float64(t.Den()) }

// Max returns the later of t and u.
func (t Time) Max(u Time) Time {
	if t.Less(u) {
		return u
	}
	return t
}

// Min returns the earlier of t and u.
func (t Time) Min(u Time) Time {
	if u.Less(t) {
		return u
	}
	return t
}

// String returns t as a whole number and a fraction: "3", "2 1/2", "1/3", "-3/4".
func (t Time) String() string {
	whole, rest := t.num/t.Den(), t.num%t.Den()
	switch {
	case rest == 0:
		return strconv.FormatInt(whole, 10)
	case whole == 0:
		return fmt.Sprintf("%d/%d", t.num, t.Den())
	}
	if rest < 0 {
		rest = -rest
	}
	return fmt.Sprintf("%d %d/%d", whole, rest, t.Den())
}

// ParseTime reads what [Time.String] prints, and decimals such as "2.5". It reports whether s is a number in range.
func ParseTime(s string) (Time, bool) {
	s = strings.TrimSpace(s)
	if f := strings.Fields(s); len(f) == 2 && strings.Contains(f[1], "/") && !strings.Contains(f[0], ".") {
		whole, ok := ParseTime(f[0])
		part, ok2 := ParseTime(f[1])
		if !ok || !ok2 || part.Sign() <= 0 || whole.Den() != 1 {
			return Time{}, false
		}
		if strings.HasPrefix(f[0], "-") {
			part = Time{}.Sub(part)
		}
		t := whole.Add(part)
		return t, t.InRange()
	}
	if a, b, ok := strings.Cut(s, "/"); ok {
		n, err := strconv.ParseInt(a, 10, 32)
		d, err2 := strconv.ParseInt(b, 10, 32)
		if err != nil || err2 != nil || d <= 0 || a == "" || a[0] == '+' || b[0] == '+' {
			return Time{}, false
		}
		t := T(n, d)
		return t, t.InRange()
	}
	if whole, frac, ok := strings.Cut(s, "."); ok {
		if frac == "" || len(frac) > 6 || strings.Trim(frac, "0123456789") != "" || strings.Trim(strings.TrimPrefix(whole, "-"), "0123456789") != "" {
			return Time{}, false
		}
		n, err := strconv.ParseInt(whole+frac, 10, 64)
		if err != nil {
			return Time{}, false
		}
		t := T(n, int64(math.Pow10(len(frac))))
		return t, t.InRange()
	}
	n, err := strconv.ParseInt(s, 10, 32)
	if err != nil || s[0] == '+' {
		return Time{}, false
	}
	t := T(n, 1)
	return t, t.InRange()
}
