//go:build nosound

package speaker

import "context"

// Open returns a *DeviceError: this program was built without sound.
func Open(ctx context.Context) (Sink, error) {
	return nil, &DeviceError{Reason: "built without sound"}
}

// Chatter returns what the sound system printed while it was opened: nothing, for there is none.
func Chatter() string { return "" }
