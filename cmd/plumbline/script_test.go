package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"plumbline": main})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			// No script finds a sound device, whatever the machine has; none touches the user's record.
			env.Setenv("XDG_DATA_HOME", filepath.Join(env.WorkDir, "data"))
			asound := filepath.Join(env.WorkDir, ".asound")
			env.Setenv("ALSA_CONFIG_PATH", asound)
			env.Setenv("TMPDIR", env.WorkDir)
			return os.WriteFile(asound, nil, 0o600)
		},
	})
}
