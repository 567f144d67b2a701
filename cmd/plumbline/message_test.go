package main

import (
	"errors"
	"fmt"
	"testing"

	"plumbline/synth"
)

// No room's name reaches a user, however deep the error; his own words stay.
func TestMessage(t *testing.T) {
	_, voice := synth.ParseVoice("foo")
	for _, c := range []struct {
		err  error
		want string
	}{
		{fmt.Errorf("--voice: %w", voice), `--voice: voice "foo"; want one of `},
		{errors.New(`key: "H major" begins with no tonic (pitch: "H" is no note name)`), `"H major" begins with no tonic ("H" is no note name)`},
		{errors.New(`claim: statement "bar 1: key: C" is not understood`), `statement "bar 1: key: C" is not understood`},
	} {
		if got := message(c.err); len(got) < len(c.want) || got[:len(c.want)] != c.want {
			t.Errorf("%q is told as %q, want it to begin %q", c.err, got, c.want)
		}
	}
}
