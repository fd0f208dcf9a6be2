// Command thudbook keeps the shots of a pneumatic linear ram: it scores them,
// logs them, and exchanges them between rigs and a server. It never fires a
// ram, is no safety device, no certification and no medical advice.
package main

import (
	"context"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // time zones by name also where the system has none, as on Windows
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the process at once
	os.Exit(underService(ctx, func(ctx context.Context) int { return run(ctx, os.Args[1:], os.Stdout, os.Stderr) }))
}

// app is what every command gets: where to write, and when to stop.
type app struct {
	Ctx context.Context
	Out io.Writer
	Err io.Writer
	Log *slog.Logger
}
