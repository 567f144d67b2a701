//go:build linux && !nosound

package speaker

import (
	"io"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// chatterMost bounds the text kept: what a sound system prints about one failure is some 2 kB.
const chatterMost = 64 << 10

// catchStderr leads file descriptor 2 away from the terminal until the function it returns is called, which gives back
// what was written meanwhile. ALSA and JACK print their troubles there from C, which no Go writer can stop, and a few dozen
// lines over a drill or a full-screen page ruin it. If that can't be done, nothing is changed and "" comes back.
//
// What other goroutines print on stderr in that time, some 50 ms, is caught as well and shows in the text.
func catchStderr() (restore func() string) {
	nothing := func() string { return "" }
	saved, err := unix.FcntlInt(2, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return nothing
	}
	fd, err := unix.MemfdCreate("chatter", unix.MFD_CLOEXEC)
	if err != nil {
		unix.Close(saved)
		return nothing
	}
	text := os.NewFile(uintptr(fd), "chatter")
	if err := unix.Dup3(fd, 2, 0); err != nil {
		unix.Close(saved)
		text.Close()
		return nothing
	}
	return func() string {
		defer text.Close()
		unix.Dup3(saved, 2, 0)
		unix.Close(saved)
		b, err := io.ReadAll(io.NewSectionReader(text, 0, chatterMost))
		if err != nil {
			return ""
		}
		return strings.TrimSpace(string(b))
	}
}
