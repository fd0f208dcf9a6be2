package main

import (
	"context"
	"os"

	"github.com/kardianos/service"
)

// underService runs f under the service manager, when that started the program;
// otherwise it just runs f. Where f ends by itself the process ends with its
// code, so that the manager starts it again.
func underService(ctx context.Context, f func(context.Context) int) int {
	if service.Interactive() {
		return f(ctx)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stopping, done := make(chan struct{}), make(chan int, 1)
	p := &program{
		start: func() {
			code := f(ctx)
			done <- code
			select {
			case <-stopping:
			default:
				os.Exit(code)
			}
		},
		stop: func() {
			close(stopping)
			cancel()
			done <- <-done // wait for the end, and leave the code for below
		},
	}
	s, err := service.New(p, &service.Config{Name: "thudbook"})
	if err == nil {
		err = s.Run()
	}
	if err != nil {
		return exitUsage
	}
	select {
	case code := <-done:
		return code
	default:
		return exitOK
	}
}
