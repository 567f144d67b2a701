package progress

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
)

// Two connections at once, so that a setting made on one only would show.
func TestSettingsOnEveryConnection(t *testing.T) {
	s := mustOpen(t, newPath(t))
	for range 2 {
		conn, err := s.db.Conn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close() // both stay open until the end of the test
		for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "5000"} {
			var got string
			if err := conn.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
				t.Errorf("PRAGMA %s = %q, %v; want %q", pragma, got, err, want)
			}
		}
	}
	if n := s.db.Stats().OpenConnections; n < 2 {
		t.Errorf("%d connections were open; the test wants 2", n)
	}
}

// A setting that does not take is an error at Open, not a surprise at the first power cut.
func TestSettingsAreReadBack(t *testing.T) {
	path := newPath(t)
	mustOpen(t, path).Close()
	for _, tt := range []struct{ from, to, want string }{
		{"_synchronous=FULL", "_synchronous=NORMAL", "synchronous"},
		{"_foreign_keys=on", "_foreign_key=on", "foreign_keys"}, // the driver ignores a parameter it doesn't know
		{"_busy_timeout=5000", "_busy_timeout=50", "busy_timeout"},
		{"_journal_mode=WAL", "_journal_mode=DELETE", "journal_mode"},
	} {
		changed := strings.Replace(dsn(path), tt.from, tt.to, 1)
		if changed == dsn(path) {
			t.Fatalf("%q is not in the DSN %q", tt.from, dsn(path))
		}
		db := sql.OpenDB(&connector{dsn: changed})
		if err := db.PingContext(t.Context()); err == nil || !strings.Contains(err.Error(), "refuses "+tt.want) {
			t.Errorf("with %s: %v; want an error about %s", tt.to, err, tt.want)
		}
		db.Close()
	}
}

func TestOddFileNames(t *testing.T) {
	for _, name := range []string{"my #1 50% ?.db", "%41.db", "a?mode=ro&x=1.db", "Übung ♯5.db", "quote'\"s.db", "file:x.db"} {
		dir := t.TempDir()
		path := filepath.Join(dir, "new folder", name)
		s := mustOpen(t, path)
		mustRecord(t, s, answer(mustBegin(t, s), 1, "major", "minor"))
		if err := s.Close(); err != nil {
			t.Errorf("%q: Close: %v", name, err)
		}
		entries, err := os.ReadDir(filepath.Dir(path))
		if err != nil || len(entries) != 1 || entries[0].Name() != name {
			t.Errorf("%q: the folder holds %v, %v; want the database alone", name, entries, err)
		}
		again := mustOpen(t, path)
		if n := number(t, again, "SELECT count(*) FROM answer"); n != 1 {
			t.Errorf("%q: %d answers on opening again; want 1", name, n)
		}
		again.Close()
	}
}

func TestFilesAreTheOwnersOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a", "b", "progress.db")
	s := mustOpen(t, path)
	mustBegin(t, s)
	for name, want := range map[string]os.FileMode{path: 0o600, path + "-wal": 0o600, filepath.Dir(path): 0o700, filepath.Dir(filepath.Dir(path)): 0o700} {
		if info, err := os.Stat(name); err != nil || info.Mode().Perm() != want {
			t.Errorf("%q: mode %v, %v; want %v", name, info.Mode().Perm(), err, want)
		}
	}
}

// raw opens a database the way another program would.
func raw(t *testing.T, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func mustExec(t *testing.T, db *sql.DB, script string) {
	t.Helper()
	if _, err := db.ExecContext(t.Context(), script); err != nil {
		t.Fatalf("%s: %v", script, err)
	}
}

// Whatever is refused stays as it is, to the byte, with nothing left beside it.
func TestRefusedAndUnchanged(t *testing.T) {
	known, err := embeddedMigrations()
	if err != nil {
		t.Fatal(err)
	}
	newer := func(t *testing.T, path string) {
		s := mustOpen(t, path)
		mustRecord(t, s, answer(mustBegin(t, s), 1, "major", "minor"))
		s.Close()
		db := raw(t, path)
		mustExec(t, db, "PRAGMA user_version = 99")
		db.Close()
	}
	text := func(s string) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			if err := os.WriteFile(path, []byte(s), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	foreign := func(script string) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			db := raw(t, path)
			mustExec(t, db, script)
			db.Close()
		}
	}
	for _, tt := range []struct {
		name  string
		make  func(*testing.T, string)
		is    error
		words string
	}{
		{"newer", newer, nil, fmt.Sprintf("schema version 99, this program knows versions up to %d", len(known))},
		{"text", text(strings.Repeat("Bar 3, left hand: stacked in fifths.\n", 400)), ErrNotDatabase, "is not a database"},
		{"one letter", text("x"), ErrNotDatabase, "is not a database"},
		{"zeros", text(strings.Repeat("\x00", 8192)), ErrNotDatabase, "is not a database"},
		{"header only", text("SQLite format 3\x00"), ErrDamaged, "is damaged"},
		{"another program's", foreign("CREATE TABLE t (x); INSERT INTO t VALUES (1)"), ErrForeign, "belongs to another program"},
		{"another program's, numbered", foreign("PRAGMA user_version = 1; CREATE TABLE t (x)"), ErrForeign, "belongs to another program"},
		{"another program's, marked", foreign("PRAGMA application_id = 7; PRAGMA user_version = 1"), ErrForeign, "belongs to another program"},
		{"another program's, WAL", foreign("PRAGMA journal_mode = WAL; CREATE TABLE t (x)"), ErrForeign, "belongs to another program"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := newPath(t)
			tt.make(t, path)
			before, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			s, err := Open(t.Context(), path)
			if err == nil {
				s.Close()
				t.Fatal("Open: nil; want an error")
			}
			if tt.is != nil && !errors.Is(err, tt.is) || !strings.Contains(err.Error(), tt.words) || !strings.Contains(err.Error(), path) {
				t.Errorf("Open: %v; want words %q, path %q", err, tt.words, path)
			}
			var ns *NewerSchemaError
			if errors.As(err, &ns) != (tt.name == "newer") || ns != nil && (ns.Found != 99 || ns.Known != len(known) || ns.Path != path) {
				t.Errorf("Open: newer schema %+v", ns)
			}
			if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
				t.Errorf("the file was changed (%d bytes before, %d after, %v)", len(before), len(after), err)
			}
			if entries, _ := os.ReadDir(filepath.Dir(path)); len(entries) != 1 {
				t.Errorf("left beside the file: %v", entries)
			}
		})
	}
}

// The version may be in the write-ahead log only, where reading the header does not show it.
func TestNewerSchemaInTheLog(t *testing.T) {
	path := newPath(t)
	mustOpen(t, path).Close()
	db := raw(t, path)
	db.SetMaxOpenConns(1)
	mustExec(t, db, "PRAGMA wal_autocheckpoint = 0; PRAGMA user_version = 99") // db stays open: nothing is moved
	_, err := Open(t.Context(), path)
	var ns *NewerSchemaError
	if !errors.As(err, &ns) || ns.Found != 99 {
		t.Errorf("Open: %v; want a NewerSchemaError with 99", err)
	}
}

func TestNotAFile(t *testing.T) {
	if _, err := Open(t.Context(), t.TempDir()); !errors.Is(err, ErrNotDatabase) {
		t.Errorf("a folder: %v; want ErrNotDatabase", err)
	}
	if _, err := Open(t.Context(), ""); err == nil || !strings.Contains(err.Error(), "no database file named") {
		t.Errorf("no name: %v", err)
	}
	path := newPath(t)
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), filepath.Join(path, "progress.db")); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("a folder that is a file: %v; want an error with the path", err)
	}
}

// Cut off at every page, and inside pages. Nothing to be read is lost in silence: an error, at Open or at the first use.
func TestTruncated(t *testing.T) {
	path := newPath(t)
	s := mustOpen(t, path)
	session := mustBegin(t, s)
	for i := 1; i <= 100; i++ {
		a := answer(session, i, "major", "minor")
		a.Detail = []byte(`{"notes":"` + strings.Repeat("C4 ", 50) + `"}`)
		mustRecord(t, s, a)
	}
	s.Close()
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for size := 1; size < len(whole); size += 1021 {
		cut := newPath(t)
		if err := os.WriteFile(cut, whole[:size], 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := Open(t.Context(), cut)
		if err == nil {
			t.Errorf("cut to %d of %d bytes: Open: nil; want an error", size, len(whole))
			s.Close()
			continue
		}
		want := ErrDamaged
		if size < 16 {
			want = ErrNotDatabase // not even the magic words are whole
		}
		if !errors.Is(err, want) || !strings.Contains(err.Error(), cut) {
			t.Errorf("cut to %d of %d bytes: %v; want %q with the path", size, len(whole), err, want)
		}
		if after, _ := os.ReadFile(cut); !bytes.Equal(after, whole[:size]) {
			t.Errorf("cut to %d of %d bytes: the file was changed", size, len(whole))
		}
	}
}

// schema returns the whole schema as text.
func schema(t *testing.T, s *Store) string {
	t.Helper()
	var text string
	if err := s.db.QueryRowContext(t.Context(), "SELECT group_concat(name || ': ' || coalesce(sql, ''), char(10) ORDER BY name) FROM sqlite_schema").Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

// From every version that there has been, 0 included, to the present one.
func TestMigrateFromEachVersion(t *testing.T) {
	all, err := embeddedMigrations()
	if err != nil || len(all) == 0 {
		t.Fatalf("embeddedMigrations() = %v, %v", all, err)
	}
	want := schema(t, mustOpen(t, newPath(t)))
	for from := range len(all) {
		path := newPath(t)
		old, err := open(t.Context(), path, all[:from])
		if err != nil {
			t.Fatalf("making version %d: %v", from, err)
		}
		if v := number(t, old, "PRAGMA user_version"); v != from {
			t.Fatalf("made version %d; want %d", v, from)
		}
		old.Close()
		s := mustOpen(t, path)
		if v, id := number(t, s, "PRAGMA user_version"), number(t, s, "PRAGMA application_id"); v != len(all) || id != applicationID {
			t.Errorf("from %d: version %d, application %#x; want %d, %#x", from, v, id, len(all), applicationID)
		}
		if got := schema(t, s); got != want {
			t.Errorf("from %d: schema\n%s\nwant\n%s", from, got, want)
		}
		mustBeSound(t, s)
	}
}

func TestTablesAreStrict(t *testing.T) {
	s := mustOpen(t, newPath(t))
	if n := number(t, s, "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite_%' AND NOT strict"); n != 0 {
		t.Errorf("%d tables are not STRICT", n)
	}
	if n := number(t, s, "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite_%'"); n < 4 {
		t.Errorf("%d tables; want at least 4", n)
	}
	mustBegin(t, s)
	for _, bad := range []string{
		"UPDATE session SET started_at = '2026-03-01'",
		"UPDATE session SET mode = 'nose'",
		"UPDATE session SET settings = '{'",
		"UPDATE session SET learner_id = 2",
		"INSERT INTO label (kind, text) VALUES ('chord quality', '')",
		"INSERT INTO label (kind, text) VALUES (NULL, 'major')",
	} {
		if _, err := s.db.ExecContext(t.Context(), bad); err == nil {
			t.Errorf("%s: no error", bad)
		}
	}
}

// Steps beyond the present one, to try the machinery: a copy is kept, a step that fails leaves the version before it.
func TestMigrationSteps(t *testing.T) {
	first, err := migrationFiles.ReadFile("migrations/0001_first.sql")
	if err != nil {
		t.Fatal(err)
	}
	steps := func(second, third string) []migration {
		t.Helper()
		all, err := readMigrations(fstest.MapFS{
			"0001_first.sql":  {Data: first},
			"0002_second.sql": {Data: []byte(second)},
			"0003_third.sql":  {Data: []byte(third)},
		})
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	good := "ALTER TABLE answer ADD COLUMN score REAL"
	path := newPath(t)
	s, err := open(t.Context(), path, steps(good, "")[:1])
	if err != nil {
		t.Fatal(err)
	}
	mustBegin(t, s)
	if _, err := s.db.ExecContext(t.Context(), `INSERT INTO label VALUES (1, 'chord quality', 'major'), (2, 'chord quality', 'minor');
		INSERT INTO answer VALUES (1, 'a', 1, 1, 1, '', 'ear', 1, 2, 0, 900, 0, 1000, 1900, '{}')`); err != nil {
		t.Fatal(err)
	}
	s.Close()

	for name, bad := range map[string]string{
		"syntax":      "CREATE TABLE extra (x INTEGER) STRICT; NONSENSE",
		"broken link": "PRAGMA defer_foreign_keys = on; CREATE TABLE extra (x INTEGER REFERENCES label (id)) STRICT; INSERT INTO extra VALUES (99)",
	} {
		dir := filepath.Join(t.TempDir(), "copy.db")
		data, _ := os.ReadFile(path)
		if err := os.WriteFile(dir, data, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, bak := range []string{".v1.bak", ".v2.bak"} { // the second try starts from version 2
			if _, err := open(t.Context(), dir, steps(good, bad)); err == nil || !strings.Contains(err.Error(), "0003_third.sql") {
				t.Fatalf("%s: %v; want an error naming the step", name, err)
			}
			if _, err := os.Stat(dir + bak); err != nil {
				t.Errorf("%s: no copy: %v", name, err)
			}
		}
		s, err := open(t.Context(), dir, steps(good, bad)[:2])
		if err != nil {
			t.Fatalf("%s: opening at version 2: %v", name, err)
		}
		if v, n := number(t, s, "PRAGMA user_version"), number(t, s, "SELECT count(*) FROM sqlite_schema WHERE name = 'extra'"); v != 2 || n != 0 {
			t.Errorf("%s: version %d, %d tables of the failed step; want 2, 0", name, v, n)
		}
		mustBeSound(t, s)
		s.Close()
	}

	// The copy's name is taken: the older copy stays.
	if err := os.WriteFile(path+".v1.bak", []byte("older copy"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err = open(t.Context(), path, steps(good, "CREATE TABLE third (x INTEGER) STRICT"))
	if err != nil {
		t.Fatal(err)
	}
	if v, n := number(t, s, "PRAGMA user_version"), number(t, s, "SELECT count(*) FROM answer WHERE score IS NULL"); v != 3 || n != 1 {
		t.Errorf("version %d, %d answers; want 3, 1", v, n)
	}
	s.Close()
	if data, _ := os.ReadFile(path + ".v1.bak"); string(data) != "older copy" {
		t.Errorf("the older copy was overwritten")
	}
	if info, err := os.Stat(path + ".v1-2.bak"); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the copy: %v, %v; want mode 0600", info, err)
	}
	backup := mustOpen(t, path+".v1-2.bak") // a whole database of version 1
	if n := number(t, backup, "SELECT count(*) FROM answer"); n != 1 {
		t.Errorf("the copy holds %d answers; want 1", n)
	}
	mustBeSound(t, backup)
	backup.Close()
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*.partial"))
	if len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
	if _, err := open(t.Context(), path, steps(good, "")[:2]); err == nil || !strings.Contains(err.Error(), "schema version 3") {
		t.Errorf("version 3 with a program that knows 2: %v; want a refusal", err)
	}
}

func TestMigrationNames(t *testing.T) {
	for _, name := range []string{"0002_gap.sql", "1_short.sql", "0001.sql", "0001_.sql"} {
		if _, err := readMigrations(fstest.MapFS{name: {Data: []byte("SELECT 1")}}); err == nil {
			t.Errorf("readMigrations with %q: no error", name)
		}
	}
}

// Several programs make the same new file at the same moment.
func TestOpenNewAtOnce(t *testing.T) {
	for range 5 {
		path := newPath(t)
		var wg sync.WaitGroup
		errs := make([]error, 8)
		for i := range errs {
			wg.Go(func() {
				s, err := Open(context.Background(), path)
				if err == nil {
					_, err = s.Begin(context.Background(), SessionInfo{Kind: "chord quality", Mode: Sight, Started: t0})
					err = errors.Join(err, s.Close())
				}
				errs[i] = err
			})
		}
		wg.Wait()
		if err := errors.Join(errs...); err != nil {
			t.Fatal(err)
		}
		s := mustOpen(t, path)
		if n := number(t, s, "SELECT count(*) FROM session"); n != len(errs) {
			t.Errorf("%d sessions; want %d", n, len(errs))
		}
		mustBeSound(t, s)
		s.Close()
	}
}

func TestCloseMovesTheLog(t *testing.T) {
	path := newPath(t)
	s, other := mustOpen(t, path), mustOpen(t, path) // other keeps the log from being removed
	mustRecord(t, s, answer(mustBegin(t, s), 1, "a label that is easy to find", "minor"))
	inFile := func() bool {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return bytes.Contains(data, []byte("a label that is easy to find"))
	}
	if inFile() {
		t.Fatal("the answer is in the file before Close: the test shows nothing")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if !inFile() {
		t.Error("the answer is not in the file after Close")
	}
	if err := s.Close(); err != nil {
		t.Errorf("Close again: %v", err)
	}
	if err := s.Record(t.Context(), answer("x", 1, "a", "b")); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("Record after Close: %v; want an error with the path", err)
	}
	if n := number(t, other, "SELECT count(*) FROM answer"); n != 1 {
		t.Errorf("the other store sees %d answers; want 1", n)
	}
}

// Without cgo the driver builds but does nothing; this package then must not build.
func TestNoCgoNoBuild(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the compiler")
	}
	cmd := exec.CommandContext(t.Context(), "go", "build", ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("no go command")
	}
	if err == nil || !bytes.Contains(out, []byte("progress_needs_cgo")) {
		t.Errorf("go build with CGO_ENABLED=0: %v\n%s\nwant it to fail and to say why", err, out)
	}
}

func TestDefaultPath(t *testing.T) {
	for _, tt := range []struct{ xdg, home, want string }{
		{"/data", "/home/u", "/data/plumbline/progress.db"},
		{"/data", "", "/data/plumbline/progress.db"},
		{"", "/home/u", "/home/u/.local/share/plumbline/progress.db"},
		{"data", "/home/u", "/home/u/.local/share/plumbline/progress.db"}, // relative: ignored, XDG Base Directory Specification
		{"./data", "/home/u", "/home/u/.local/share/plumbline/progress.db"},
		{"", "", ""},
		{"data", "", ""},
		{"", "home/u", ""},
	} {
		got, err := DefaultPath(func(name string) string {
			switch name {
			case "XDG_DATA_HOME":
				return tt.xdg
			case "HOME":
				return tt.home
			}
			t.Errorf("DefaultPath looks at %s", name)
			return ""
		})
		if filepath.ToSlash(got) != tt.want || (err == nil) != (tt.want != "") {
			t.Errorf("DefaultPath with XDG_DATA_HOME=%q HOME=%q = %q, %v; want %q", tt.xdg, tt.home, got, err, tt.want)
		}
		if err != nil && !(strings.Contains(err.Error(), "XDG_DATA_HOME") && strings.Contains(err.Error(), "HOME is set")) {
			t.Errorf("DefaultPath: %v; want the two variables named", err)
		}
	}
}

func ExampleNewerSchemaError() {
	fmt.Println(&NewerSchemaError{Path: "progress.db", Found: 4, Known: 1})
	// Output: progress: "progress.db" has schema version 4, this program knows versions up to 1: it was written by a newer plumbline; update plumbline, or choose another file
}
