//go:build linux

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"plumbline/progress"
)

// killsEnv says how many sittings TestSittingsKilled kills; 12 unless told otherwise. The full count is 1000.
const killsEnv = "PLUMBLINE_KILLS"

// A script is a sitting that a program drives, answering at random, and what was acknowledged.
type script struct {
	cmd          *exec.Cmd
	acknowledged int
	right        int
	questions    int
	stderr       bytes.Buffer
}

// run answers until the sitting ends; ready is called at each question, before it is answered.
func (s *script) run(t *testing.T, r *rand.Rand, ready func(question int)) error {
	in, err := s.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	s.cmd.Stderr = &s.stderr
	if err := s.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	sc := bufio.NewScanner(out)
	for sc.Scan() {
		var ev struct {
			Event, ID string
			Right     bool
		}
		if json.Unmarshal(sc.Bytes(), &ev) != nil {
			break // cut off by the kill
		}
		switch ev.Event {
		case "question":
			s.questions++
			ready(s.questions)
			fmt.Fprintf(in, `{"id":%q,"given":%d}`+"\n", ev.ID, 1+r.IntN(2))
		case "answer":
			s.acknowledged++
			if ev.Right {
				s.right++
			}
		}
	}
	io.Copy(io.Discard, out)
	return s.cmd.Wait()
}

// TestSittingsKilled: SIGKILL at random moments of scripted sittings, one after the other on one file, now and then two at once:
// every acknowledged answer is there, at most the one on its way is there unacknowledged, and every count is right.
func TestSittingsKilled(t *testing.T) {
	rounds := 12
	if n, err := strconv.Atoi(os.Getenv(killsEnv)); err == nil {
		rounds = n
	}
	const seed = 5
	r := rand.New(rand.NewPCG(seed, 2))
	db := filepath.Join(t.TempDir(), "progress.db")
	total, right, inFlight, killed := 0, 0, 0, 0
	for round := range rounds {
		writers := 1
		if round%5 == 4 {
			writers = 2
		}
		before := 0
		if round > 0 {
			before = recordedIn(t, db).Total.Asked
		}
		var wg sync.WaitGroup
		var mu sync.Mutex
		acknowledged := 0
		for range writers {
			at, pause := r.IntN(12), time.Duration(r.IntN(6000))*time.Microsecond
			answers := rand.New(rand.NewPCG(seed, uint64(round)))
			s := &script{cmd: plumblineCmd(t, "drill", "--json", "--count", "400", "--db", db)}
			wg.Go(func() {
				kill := func(question int) {
					if question == at+1 {
						time.AfterFunc(pause, func() { s.cmd.Process.Kill() })
					}
				}
				if at == 0 { // from the very start, while the file is made or opened
					time.AfterFunc(pause*4, func() {
						if s.cmd.Process != nil {
							s.cmd.Process.Kill()
						}
					})
				}
				err := s.run(t, answers, kill)
				mu.Lock()
				defer mu.Unlock()
				if err != nil && s.stderr.Len() == 0 {
					killed++
				} else {
					t.Errorf("round %d: the sitting ended by itself: %v, %s", round, err, s.stderr.String())
				}
				acknowledged += s.acknowledged
				right += s.right
			})
		}
		wg.Wait()
		sum := recordedIn(t, db)
		got := sum.Total.Asked - before
		if got < acknowledged || got > acknowledged+writers || sum.Total.Right < right {
			t.Fatalf("round %d: %d answers acknowledged, %d recorded; %d right acknowledged, %d recorded", round, acknowledged, got, right, sum.Total.Right)
		}
		total += acknowledged
		inFlight += got - acknowledged
		if round%50 == 49 || round == rounds-1 {
			mustBeWhole(t, db)
		}
	}
	t.Logf("%d sittings killed; %d answers acknowledged, none lost; %d were on disk before their acknowledgement could be sent", killed, total, inFlight)
}

// mustBeWhole checks a file as progress check does.
func mustBeWhole(t testing.TB, db string) {
	t.Helper()
	store, err := progress.Open(context.Background(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if h, err := store.Check(context.Background()); err != nil || len(h.Faults) > 0 {
		t.Fatalf("check: %+v, %v", h, err)
	}
}

// smallDisk mounts a disk of so many bytes, or skips the test where that can't be done.
func smallDisk(t *testing.T, bytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		if os.Getenv("PLUMBLINE_REQUIRE") == "all" && os.Getuid() == 0 {
			t.Fatalf("no small disk could be mounted: %v", err)
		}
		t.Skipf("a small disk can be mounted by the administrator only: %v", err)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// TestDrillDiskFull: when the disk is full the drill says so and ends with 2; what was acknowledged is there, and when there is
// room again it goes on.
func TestDrillDiskFull(t *testing.T) {
	dir := smallDisk(t, 3<<20)
	db := filepath.Join(dir, "progress.db")
	r := rand.New(rand.NewPCG(3, 3))
	s := &script{cmd: plumblineCmd(t, "drill", "--json", "--count", "9000", "--db", db)}
	ballast := filepath.Join(dir, "ballast")
	err := s.run(t, r, func(question int) {
		if question == 20 { // somebody else fills the disk
			f, err := os.Create(ballast)
			if err != nil {
				t.Error(err)
				return
			}
			defer f.Close()
			for block := make([]byte, 4096); ; {
				if _, err := f.Write(block); err != nil {
					return
				}
			}
		}
	})
	if code := s.cmd.ProcessState.ExitCode(); err == nil || code != exitUsage || !strings.Contains(s.stderr.String(), "disk is full") || !strings.Contains(s.stderr.String(), "not saved") {
		t.Errorf("exit %d after %d questions, stderr %q; want %d, that the disk is full and the answer not saved", code, s.questions, s.stderr.String(), exitUsage)
	}
	if s.acknowledged < 19 {
		t.Errorf("%d answers acknowledged; want 19 or more", s.acknowledged)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if sum := recordedIn(t, db); sum.Total.Asked != s.acknowledged || sum.Total.Right != s.right {
		t.Errorf("%d answers acknowledged (%d right), recorded %d (%d)", s.acknowledged, s.right, sum.Total.Asked, sum.Total.Right)
	}
	mustBeWhole(t, db)
}

// TestDrillFaultyFiles: a file cut in half, one of a newer version, one that can't be written: a clear word, exit 2, and the
// file is as it was.
func TestDrillFaultyFiles(t *testing.T) {
	w := newWorld(t, strings.Repeat("1\n", 40))
	if code := w.drillArgs("--json", "--seed", "1", "-n", "40"); code != 0 {
		t.Fatalf("exit %d: %s", code, w.err.String())
	}
	whole, err := os.ReadFile(w.db)
	if err != nil {
		t.Fatal(err)
	}
	newer := bytes.Clone(whole)
	newer[63] = 99 // user_version, big-endian at offset 60: https://www.sqlite.org/fileformat.html#the_database_header
	for _, tt := range []struct {
		name, says string
		data       []byte
	}{
		{"half", "damaged", whole[:len(whole)/2]},
		{"newer", "update plumbline", newer},
		{"not one", "not a database", []byte("Dear diary")},
	} {
		for _, args := range [][]string{{"drill", "--json"}, {"progress"}, {"progress", "check"}, {"progress", "export"}} {
			db := filepath.Join(t.TempDir(), "p.db")
			if err := os.WriteFile(db, tt.data, 0o600); err != nil {
				t.Fatal(err)
			}
			w := newWorld(t, "1\n")
			code := run(context.Background(), append(args, "--db", db), w.env)
			if code != exitUsage || !strings.Contains(w.err.String(), tt.says) || !strings.Contains(w.err.String(), "hint: ") || w.out.Len() > 0 {
				t.Errorf("%s, %q: exit %d, stdout %q, stderr %q; want 2, %q and what to do", tt.name, args, code, w.out.String(), w.err.String(), tt.says)
			}
			if after, err := os.ReadFile(db); err != nil || !bytes.Equal(after, tt.data) {
				t.Errorf("%s, %q: the file has changed", tt.name, args)
			}
		}
	}
}
