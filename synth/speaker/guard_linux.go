//go:build linux && !nosound

package speaker

import (
	"bufio"
	"io"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"time"

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

// chatterBegins are the beginnings of the lines that the sound system prints: ALSA's own and those of its plugins for JACK (seen;
// the last two from memory).
var chatterBegins = []string{"ALSA lib ", "jack ", "Jack", "JACK", "Cannot connect to server ", "connect(2) call to ", "attempt to connect to server "}

// watchStderr keeps the sound system's lines off the terminal while a clip plays, until the function it returns is called,
// which gives them back. All other lines go on to where they were going, at once: the program may have something to say
// meanwhile. If that can't be done, nothing is changed and "" comes back.
func watchStderr() (end func() string) {
	nothing := func() string { return "" }
	fd, err := unix.FcntlInt(2, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return nothing
	}
	saved := os.NewFile(uintptr(fd), "stderr")
	var pipe [2]int
	if err := unix.Pipe2(pipe[:], unix.O_CLOEXEC); err != nil {
		saved.Close()
		return nothing
	}
	if err := unix.Dup3(pipe[1], 2, 0); err != nil {
		saved.Close()
		unix.Close(pipe[0])
		unix.Close(pipe[1])
		return nothing
	}
	unix.Close(pipe[1])
	debug.SetCrashOutput(saved, debug.CrashOptions{}) // nobody reads the pipe any more then
	done := make(chan string, 1)
	go func() {
		from := os.NewFile(uintptr(pipe[0]), "chatter")
		defer from.Close()
		defer saved.Close()
		var chatter strings.Builder
		r := bufio.NewReader(from)
		for {
			line, err := r.ReadString('\n')
			switch {
			case slices.ContainsFunc(chatterBegins, func(b string) bool { return strings.HasPrefix(line, b) }):
				if chatter.Len()+len(line) <= chatterMost {
					chatter.WriteString(line)
				}
			case line != "":
				io.WriteString(saved, line)
			}
			if err != nil {
				done <- strings.TrimSpace(chatter.String())
				return
			}
		}
	}()
	return func() string {
		unix.Dup3(fd, 2, 0) // the pipe's last end is closed with it, and the lines in it are read to the end
		debug.SetCrashOutput(nil, debug.CrashOptions{})
		t := time.NewTimer(100 * time.Millisecond)
		defer t.Stop()
		select {
		case chatter := <-done:
			return chatter
		case <-t.C: // a process started meanwhile has it too
			return ""
		}
	}
}
