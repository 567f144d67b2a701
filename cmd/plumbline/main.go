// Plumbline checks what an analyst says of a short passage against its notes, takes the passage apart to hear it, and
// drills the ear until it hears what the words claim.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	code := run(ctx, os.Args[1:], systemEnv())
	stop()
	os.Exit(code)
}
