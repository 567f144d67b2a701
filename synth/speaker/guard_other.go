//go:build !linux && !nosound

package speaker

// catchStderr does nothing here: only on Linux does the sound system print on file descriptor 2.
func catchStderr() (restore func() string) { return func() string { return "" } }
