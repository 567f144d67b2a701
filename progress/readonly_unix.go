//go:build unix

package progress

import "syscall"

// errReadOnlyFS is what the system says on a disk mounted read-only; it is not an os.ErrPermission.
var errReadOnlyFS error = syscall.EROFS
