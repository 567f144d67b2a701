package progress

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migration is one step of the schema; its version is its place in the list, from 1. A released step is never edited.
type migration struct{ name, sql string }

func embeddedMigrations() ([]migration, error) {
	sub, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		return nil, fmt.Errorf("progress: %w", err)
	}
	return readMigrations(sub)
}

// readMigrations reads NNNN_words.sql, which must be numbered from 0001 without a gap.
func readMigrations(files fs.FS) ([]migration, error) {
	names, err := fs.Glob(files, "*.sql") // sorted
	if err != nil {
		return nil, fmt.Errorf("progress: %w", err)
	}
	var all []migration
	for i, name := range names {
		if ok, _ := path.Match(fmt.Sprintf("%04d_?*.sql", i+1), name); !ok {
			return nil, fmt.Errorf("progress: migration %q: want the name to begin with %04d_", name, i+1)
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, fmt.Errorf("progress: %w", err)
		}
		all = append(all, migration{name: name, sql: string(text)})
	}
	return all, nil
}

// version returns the schema version of the database, 0 for an empty one, or an error if it is not ours or too new.
func (s *Store) version(ctx context.Context, q interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}, known int) (int, error) {
	var id, version, objects int
	if err := q.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)`).Scan(&id, &version, &objects); err != nil {
		return 0, explain(s.path, "reading", err)
	}
	switch {
	case id == 0 && version == 0 && objects == 0:
		return 0, nil
	case id != applicationID:
		return 0, fmt.Errorf("progress: opening %q: %w", s.path, ErrForeign)
	case version > known:
		return 0, &NewerSchemaError{Path: s.path, Found: version, Known: known}
	case version < 1:
		return 0, fmt.Errorf("progress: opening %q: schema version %d: %w", s.path, version, ErrDamaged)
	}
	return version, nil
}

// migrate brings the schema up to the last of all, each step in a transaction of its own.
func (s *Store) migrate(ctx context.Context, all []migration) error {
	version, err := s.version(ctx, s.db, len(all))
	if err != nil || version == len(all) {
		return err
	}
	if version > 0 {
		if _, err := s.backup(ctx, version); err != nil {
			return explain(s.path, fmt.Sprintf("copying schema version %d before bringing it up to date:", version), err)
		}
	}
	for ; version < len(all); version++ {
		if err := s.step(ctx, all, version); err != nil {
			return err
		}
	}
	return nil
}

// step takes the schema from version to the next, unless another program has done so since.
func (s *Store) step(ctx context.Context, all []migration, version int) error {
	doing := fmt.Sprintf("bringing the schema to version %d (%s) in", version+1, all[version].name)
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return explain(s.path, doing, err)
	}
	defer tx.Rollback()
	now, err := s.version(ctx, tx, len(all))
	if err != nil || now > version {
		return err
	}
	// Both PRAGMAs are fields of the header and so part of the transaction.
	script := fmt.Sprintf("%s;\nPRAGMA application_id = %d; PRAGMA user_version = %d;", all[version].sql, applicationID, version+1)
	if _, err := tx.ExecContext(ctx, script); err != nil {
		return explain(s.path, doing, err)
	}
	var broken int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM pragma_foreign_key_check").Scan(&broken); err != nil {
		return explain(s.path, doing, err)
	}
	if broken > 0 {
		return explain(s.path, doing, fmt.Errorf("%d rows point to rows that are not there; nothing was changed", broken))
	}
	if err := tx.Commit(); err != nil {
		return explain(s.path, doing, err)
	}
	return nil
}

// backup puts a copy of the database beside it and returns its name, PATH.vVERSION.bak, or PATH.vVERSION-2.bak and so on
// if that is taken. The copy gets its name only when it is complete and on disk.
func (s *Store) backup(ctx context.Context, version int) (string, error) {
	f, err := os.CreateTemp(filepath.Dir(s.path), filepath.Base(s.path)+".*.partial")
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name()) // after the rename there is nothing of that name
	defer f.Close()
	if _, err := s.db.ExecContext(ctx, "VACUUM INTO ?", f.Name()); err != nil { // accepts an empty file
		return "", err
	}
	if err := f.Sync(); err != nil {
		return "", err
	}
	if err := f.Close(); err != nil { // Windows does not rename an open file
		return "", err
	}
	name := fmt.Sprintf("%s.v%d.bak", s.path, version)
	for n := 2; ; n++ {
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			break
		} else if err != nil {
			return "", err
		}
		name = fmt.Sprintf("%s.v%d-%d.bak", s.path, version, n)
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return "", err
	}
	if dir, err := os.Open(filepath.Dir(s.path)); err == nil { // makes the name durable where folders can be synced
		dir.Sync()
		dir.Close()
	}
	return name, nil
}
