//go:build nosound

package speaker

import (
	"errors"
	"testing"
)

func TestOpenWithoutSound(t *testing.T) {
	s, err := Open(t.Context())
	if s != nil || !errors.Is(err, ErrNoDevice) {
		t.Fatalf("Open = %v, %v; want nil and ErrNoDevice", s, err)
	}
	if got, want := err.Error(), "speaker: no sound device: built without sound"; got != want {
		t.Errorf("Open's error is %q; want %q", got, want)
	}
}
