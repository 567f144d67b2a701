//go:build !linux && !nosound

package speaker

// catchStderr does nothing here: only on Linux does the sound system print on file descriptor 2.
func catchStderr() (restore func() string) { return func() string { return "" } }

// watchStderr does nothing here either.
func watchStderr() (end func() string) { return func() string { return "" } }
