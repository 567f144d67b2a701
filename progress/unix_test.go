//go:build unix

package progress

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// openAsNobody opens path in a copy of this program that runs as the user "nobody" if we are root, as ourselves
// otherwise: root may write everywhere.
func openAsNobody(t *testing.T, path string) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var attr *syscall.SysProcAttr
	if os.Geteuid() == 0 {
		const nobody = 65534
		attr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		data, err := os.ReadFile(self)
		if err != nil {
			t.Fatal(err)
		}
		self = filepath.Join(worldDir(t), "child")
		if err := os.WriteFile(self, data, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(t.Context(), self)
	cmd.Env = append(os.Environ(), childEnv+"=open\t"+path)
	cmd.Dir = "/"
	cmd.SysProcAttr = attr
	out, err := cmd.Output()
	if exit := (*exec.ExitError)(nil); err != nil && !errors.As(err, &exit) {
		t.Skipf("can't run as another user here: %v", err)
	}
	return string(out)
}

// worldDir returns a folder that everybody may reach, which t.TempDir is not.
func worldDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "progress")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(dir, 0o700); os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestReadOnly(t *testing.T) {
	for _, tt := range []struct {
		name      string
		dir, file os.FileMode // file 0: there is none
		path      string      // below the folder
		opened    bool
	}{
		{name: "file and folder writable", dir: 0o777, file: 0o666, path: "progress.db", opened: true},
		{name: "file read-only", dir: 0o777, file: 0o444, path: "progress.db"},
		{name: "file unreadable", dir: 0o777, file: 0o000, path: "progress.db"},
		{name: "folder read-only", dir: 0o555, file: 0o666, path: "progress.db"},
		{name: "folder read-only, no file", dir: 0o555, path: "new.db"},
		{name: "folder can't be made", dir: 0o555, path: "new/new.db"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := filepath.Join(worldDir(t), "data")
			path := filepath.Join(dir, tt.path)
			if tt.path == "progress.db" {
				s := mustOpen(t, path)
				s.Close()
				if err := os.Chmod(path, tt.file); err != nil {
					t.Fatal(err)
				}
			} else if err := os.Mkdir(dir, 0o700); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(dir, tt.dir); err != nil {
				t.Fatal(err)
			}
			defer os.Chmod(dir, 0o755)
			out := openAsNobody(t, path)
			if tt.opened {
				if out != "opened\n" {
					t.Errorf("%s; want it opened: without this the other cases show nothing", out)
				}
				return
			}
			if !strings.Contains(out, "is: "+ErrNotWritable.Error()) || !strings.Contains(out, path) {
				t.Errorf("%s\nwant %q with the path %s", out, ErrNotWritable, path)
			}
		})
	}
}

// cpuTime is what the process has used of the processors, which a busy machine doesn't lengthen as it does the clock's time.
func cpuTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
