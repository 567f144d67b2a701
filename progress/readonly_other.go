//go:build !unix

package progress

import "errors"

var errReadOnlyFS = errors.New("read-only file system")
