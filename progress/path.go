package progress

import (
	"errors"
	"path/filepath"
)

// DefaultPath returns where the learner's data lives when nobody says otherwise: plumbline/progress.db under
// $XDG_DATA_HOME, or under $HOME/.local/share if that is not set. env looks a variable up, as os.Getenv does.
//
// A relative XDG_DATA_HOME counts as not set: "If an implementation encounters a relative path in any of these
// variables it should consider the path invalid and ignore it" (XDG Base Directory Specification 0.8, Basics; wording
// from memory). It returns an error if neither variable gives an absolute folder. Nothing is created.
func DefaultPath(env func(string) string) (string, error) {
	if dir := env("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "plumbline", "progress.db"), nil
	}
	if home := env("HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, ".local", "share", "plumbline", "progress.db"), nil
	}
	return "", errors.New("progress: no place to keep answers: neither XDG_DATA_HOME nor HOME is set to an absolute folder; set one, or name the database file")
}
