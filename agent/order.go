package agent

import (
	"context"
	"errors"
	"fmt"
)

// stage is a part that runs until its context ends.
type stage struct {
	name string
	run  func(context.Context) error
}

// inOrder runs the stages together until ctx ends or one of them fails, and
// then ends them one after the other, in the order in which they are given: so
// intake ends before the screens, and both before the exchange. A stage that
// ends by itself without an error is done.
func inOrder(ctx context.Context, stages ...stage) error {
	type running struct {
		cancel context.CancelFunc
		done   chan error
	}
	all := make([]running, len(stages))
	failed := make(chan struct{}, len(stages))
	for i, s := range stages {
		own, cancel := context.WithCancel(context.WithoutCancel(ctx))
		all[i] = running{cancel, make(chan error, 1)}
		go func() { // its end is received below
			err := s.run(own)
			if err != nil {
				err = fmt.Errorf("%s: %w", s.name, err)
				failed <- struct{}{}
			}
			all[i].done <- err
		}()
	}
	select {
	case <-ctx.Done():
	case <-failed:
	}
	var errs []error
	for _, r := range all {
		r.cancel()
		errs = append(errs, <-r.done)
	}
	return errors.Join(errs...)
}
