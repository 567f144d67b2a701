//go:build unix

package synth

import (
	"syscall"
	"time"
)

// cpuTime returns the processor time this process has had, which tells more than the clock on a machine that has other work.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
