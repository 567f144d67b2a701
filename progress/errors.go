package progress

import (
	"errors"
	"fmt"

	"github.com/mattn/go-sqlite3"
)

// What can be wrong with a file, or with a call. Errors from this package wrap these; test with [errors.Is].
var (
	// ErrNotDatabase: the file is not an SQLite database at all. It has not been changed.
	ErrNotDatabase = errors.New("this file is not a database; it was left as it is: choose another file, or move this one away")
	// ErrForeign: the file is an SQLite database, but not one of ours. It has not been changed.
	ErrForeign = errors.New("this database belongs to another program; it was left as it is: choose another file")
	// ErrDamaged: the file is a database, but cut off or overwritten in part.
	ErrDamaged = errors.New("this database is damaged (cut off, or partly overwritten): put a backup in its place, or move it away to start afresh")
	// ErrBusy: another program held the file for longer than the waiting time of 5 s.
	ErrBusy = errors.New("another program is writing to this database: close it and try again")
	// ErrNotWritable: the file or its folder can't be written. SQLite needs both.
	ErrNotWritable = errors.New("the file or its folder can't be written: change the permissions, or choose another file")
	// ErrDiskFull: what was to be written did not fit and is not there.
	ErrDiskFull = errors.New("the disk is full: make room and try again")

	// ErrNoSession: no session of that name has begun in this database.
	ErrNoSession = errors.New("no such session")
	// ErrRecorded: an answer of that ID is already on disk; nothing was changed.
	ErrRecorded = errors.New("this answer is already recorded")
)

// NewerSchemaError says that a database was written by a later version of the program. It has not been changed.
type NewerSchemaError struct {
	Path         string
	Found, Known int // schema versions: the file's, and the newest that this program knows
}

func (e *NewerSchemaError) Error() string {
	return fmt.Sprintf("progress: %q has schema version %d, this program knows versions up to %d: it was written by a newer plumbline; update plumbline, or choose another file",
		e.Path, e.Found, e.Known)
}

// explain adds to err what was being done, to which file, and, for what the driver reports by code, plain words.
func explain(path, doing string, err error) error {
	var se sqlite3.Error
	if !errors.As(err, &se) {
		return fmt.Errorf("progress: %s %q: %w", doing, path, err)
	}
	var plain error
	switch se.Code {
	case sqlite3.ErrNotADB:
		plain = ErrNotDatabase
	case sqlite3.ErrCorrupt, sqlite3.ErrFormat:
		plain = ErrDamaged
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		plain = ErrBusy
	case sqlite3.ErrReadonly, sqlite3.ErrPerm, sqlite3.ErrCantOpen:
		plain = ErrNotWritable
	case sqlite3.ErrFull:
		plain = ErrDiskFull
	case sqlite3.ErrIoErr:
		if se.ExtendedCode == sqlite3.ErrIoErrShortRead {
			plain = ErrDamaged
		}
	}
	if plain == nil {
		return fmt.Errorf("progress: %s %q: %w", doing, path, err)
	}
	return fmt.Errorf("progress: %s %q: %w (%w)", doing, path, plain, err)
}

// isBusy reports whether err is the driver saying that somebody else holds the file.
func isBusy(err error) bool {
	var se sqlite3.Error
	return errors.As(err, &se) && (se.Code == sqlite3.ErrBusy || se.Code == sqlite3.ErrLocked)
}
