//go:build !cgo

package progress

// Without cgo the SQLite driver is a stub that fails only when it is first used. Fail the build instead.
var _ = progress_needs_cgo_set_CGO_ENABLED_to_1_and_install_a_C_compiler
