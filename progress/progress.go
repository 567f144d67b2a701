// Package progress keeps what a learner answered, and tells how well each thing is heard.
//
// [Open] a database, [Store.Begin] a session, [Store.Record] each answer, [Store.End] the session; [Store.Summary] gives
// accuracy with its uncertainty, speed and confusions. Times come from the caller: this package reads no clock except
// for the delay before retrying a busy file. It knows nothing of music: labels are text.
//
// # What is promised
//
// When Record returns nil, the answer is on disk: one transaction, in a write-ahead log that is synced before the commit
// returns (journal_mode WAL, synchronous FULL). A crash of the program loses nothing; a power cut loses nothing as far as
// the disk tells the truth about syncing. On macOS it does so only up to the drive's own cache. The file must be on a
// local disk, since a write-ahead log needs shared memory.
//
// # One file, several programs, later versions
//
// Any number of programs may have the file open; writers wait for each other up to 5 s. Each answer and session has an
// ID that is unique across machines, so that two files can be merged without counting anything twice. The schema has a
// version. An older file is brought up to date step by step, after a copy of it has been put beside it as NAME.vN.bak
// (N the old version; NAME.vN-2.bak and so on if there is one already); a newer one is refused, and so is anything
// that is not ours. The file is created readable by its owner only.
package progress

import (
	"bytes"
	"context"
	"database/sql"
	"database/sql/driver"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/mattn/go-sqlite3"
)

// applicationID marks our files in the SQLite header (offset 68), so that another program's database is never taken for
// an old one of ours. The bytes spell "plmb".
const applicationID = 0x706c6d62

// busyTimeout is how long a writer waits for another one.
const busyTimeout = 5 * time.Second

// defaultLearner is the row made by the first migration: whoever sits at this machine, whose name is empty.
const defaultLearner = 1

// Store is an open database. Its methods may be called from several goroutines at once.
type Store struct {
	path    string
	db      *sql.DB
	learner int64         // whose answers are written and read; see As
	writing chan struct{} // holds one token while a write is under way: in turn here is cheaper and fairer than SQLite's polling
	end     *ending
}

// An ending happens once, whichever view of the database is closed first.
type ending struct {
	once sync.Once
	err  error
}

// Open opens the database at path, making the file and its folder (for the owner only) if they are not there, and brings
// its schema up to date.
//
// It returns an error wrapping [ErrNotDatabase] or [ErrForeign] if the file holds something else, a [*NewerSchemaError]
// if a later version of the program wrote it (in these three cases the file is left as it is), [ErrDamaged] if it is cut
// off, [ErrNotWritable], [ErrBusy] or [ErrDiskFull]. Every error names the path.
func Open(ctx context.Context, path string) (*Store, error) {
	all, err := embeddedMigrations()
	if err != nil {
		return nil, err
	}
	return open(ctx, path, all)
}

func open(ctx context.Context, path string, all []migration) (*Store, error) {
	if path == "" {
		return nil, errors.New("progress: no database file named")
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("progress: %q: %w", path, err)
	}
	if err := prepareFile(abs, len(all)); err != nil {
		return nil, err
	}
	db := sql.OpenDB(&connector{dsn: dsn(abs)})
	db.SetMaxOpenConns(4)
	db.SetMaxIdleConns(4)
	s := &Store{path: abs, db: db, learner: defaultLearner, writing: make(chan struct{}, 1), end: new(ending)}
	if err := s.connect(ctx); err != nil {
		db.Close()
		return nil, explain(abs, "opening", err)
	}
	if err := s.migrate(ctx, all); err != nil {
		db.Close()
		return nil, err
	}
	return s, nil
}

// connect makes the first connection. Two programs that create the same file at the same moment both want to switch it
// to WAL, for which SQLite does not wait, so we do.
func (s *Store) connect(ctx context.Context) error {
	for deadline := time.Now().Add(busyTimeout); ; {
		err := s.db.PingContext(ctx)
		if err == nil || !isBusy(err) || time.Now().After(deadline) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// Close moves what is in the write-ahead log into the database file, as far as other programs' readers allow, and closes
// it. Nothing depends on it for safety: a log left behind is taken up by the next Open. Closing again is harmless.
func (s *Store) Close() error {
	s.end.once.Do(func() {
		var busy, logged, moved int
		err := s.db.QueryRowContext(context.Background(), "PRAGMA wal_checkpoint(PASSIVE)").Scan(&busy, &logged, &moved)
		if err = errors.Join(err, s.db.Close()); err != nil {
			s.end.err = explain(s.path, "closing", err)
		}
	})
	return s.end.err
}

// settings are the PRAGMAs that every connection must have, as they read back.
var settings = []struct{ pragma, parameter, value, readBack string }{
	{"busy_timeout", "_busy_timeout", strconv.FormatInt(busyTimeout.Milliseconds(), 10), strconv.FormatInt(busyTimeout.Milliseconds(), 10)},
	{"foreign_keys", "_foreign_keys", "on", "1"},
	{"journal_mode", "_journal_mode", "WAL", "wal"},
	{"synchronous", "_synchronous", "FULL", "2"}, // 2 = FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
}

// dsn returns the data source name for the database at the absolute path abs. A URL, because the driver cuts a plain path
// at "?" and SQLite drops what follows "#" and decodes "%".
func dsn(abs string) string {
	q := url.Values{
		"_txlock":          {"immediate"}, // a deferred transaction that reads, then writes, fails at once when another has written
		"_stmt_cache_size": {"32"},
	}
	for _, s := range settings {
		q.Set(s.parameter, s.value)
	}
	p := filepath.ToSlash(abs)
	if !strings.HasPrefix(p, "/") { // C:/... on Windows
		p = "/" + p
	}
	return (&url.URL{Scheme: "file", Path: p, RawQuery: q.Encode()}).String()
}

// connector opens connections and checks that each one has the settings asked for: the driver ignores a parameter that
// it doesn't know, and SQLite keeps the old journal mode where it can't have a write-ahead log.
type connector struct{ dsn string }

func (c *connector) Driver() driver.Driver { return &sqlite3.SQLiteDriver{ConnectHook: checkSettings} }

func (c *connector) Connect(context.Context) (driver.Conn, error) { return c.Driver().Open(c.dsn) }

func checkSettings(conn *sqlite3.SQLiteConn) error {
	for _, s := range settings {
		rows, err := conn.Query("PRAGMA "+s.pragma, nil)
		if err != nil {
			return err
		}
		row := make([]driver.Value, 1)
		err = errors.Join(rows.Next(row), rows.Close())
		if err != nil {
			return err
		}
		if got := fmt.Sprint(row[0]); got != s.readBack {
			return fmt.Errorf("the database refuses %s = %s and stays at %s; is it on a network disk?", s.pragma, s.readBack, got)
		}
	}
	return nil
}

// prepareFile sees to it that the file at abs can be handed to SQLite: it makes an empty one if there is none, and turns
// away, by reading the header only, whatever is not ours, so that not a byte of it can change. The header may lag behind
// the write-ahead log, so migrate asks again through SQLite.
func prepareFile(abs string, known int) error {
	dir := filepath.Dir(abs)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("progress: making the folder of %q: %w", abs, notWritable(err))
	}
	if info, err := os.Stat(abs); err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("progress: opening %q: %w", abs, ErrNotDatabase)
	}
	f, err := os.OpenFile(abs, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("progress: opening %q: %w", abs, notWritable(err))
	}
	defer f.Close()
	// The header: https://www.sqlite.org/fileformat.html#the_database_header
	var h [100]byte
	n, err := io.ReadFull(f, h[:])
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		return nil // new
	case err != nil && !errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("progress: reading %q: %w", abs, err)
	case !bytes.HasPrefix(h[:n], []byte("SQLite format 3\x00")):
		return fmt.Errorf("progress: opening %q: %w", abs, ErrNotDatabase)
	case n < len(h):
		return fmt.Errorf("progress: opening %q: %w", abs, ErrDamaged)
	}
	if cutOff(f, abs, h[:]) {
		return fmt.Errorf("progress: opening %q: %w", abs, ErrDamaged)
	}
	inWAL := h[18] == 2 && h[19] == 2
	switch id := binary.BigEndian.Uint32(h[68:]); {
	case id == applicationID:
		if found := int(binary.BigEndian.Uint32(h[60:])); found > known {
			return &NewerSchemaError{Path: abs, Found: found, Known: known}
		}
	case id == 0 && inWAL:
		// Perhaps ours with the first migration still in the log. Opening it in WAL mode, in which it is already, is harmless.
	default:
		return fmt.Errorf("progress: opening %q: %w", abs, ErrForeign)
	}
	return nil
}

// cutOff reports whether the file is shorter than its header h says. SQLite notices a missing page but not a last page
// that is missing in part, which it takes for zeros. With a write-ahead log the file may be short and whole; SQLite judges.
func cutOff(f *os.File, abs string, h []byte) bool {
	pageSize, pages := int64(binary.BigEndian.Uint16(h[16:])), int64(binary.BigEndian.Uint32(h[28:]))
	if pageSize == 1 {
		pageSize = 65536 // fileformat.html#page_size
	}
	// In this order: no log now means that the file had its full length when the header was read, and it only grows.
	if _, err := os.Stat(abs + "-wal"); !errors.Is(err, os.ErrNotExist) {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Size() < pageSize*pages
}

// notWritable adds plain words to an error of the file system that is about permissions.
func notWritable(err error) error {
	if errors.Is(err, os.ErrPermission) || errors.Is(err, errReadOnlyFS) {
		return fmt.Errorf("%w (%w)", ErrNotWritable, err)
	}
	return err
}
