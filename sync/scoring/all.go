package scoring

import (
	"context"
	"fmt"
	"iter"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"thudbook/sync/lab"
)

// All scores many jobs on all cores and gives each outcome to done, one at a
// time, in no particular order: a score, or the error of that job. It stops at
// the first error of jobs or done, or when the context is done, and waits for
// what it started. jobs must hold no transaction open.
func (s *Scorer) All(ctx context.Context, jobs iter.Seq2[Job, error], done func(Job, *lab.Score, error) error) error {
	workers := s.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(workers)
	var one sync.Mutex
	for j, err := range jobs {
		if err != nil {
			g.Go(func() error { return fmt.Errorf("list of shots to score: %w", err) })
			break
		}
		if gctx.Err() != nil {
			break
		}
		g.Go(func() error {
			b, err := s.Score(gctx, j)
			if gctx.Err() != nil {
				return context.Cause(gctx)
			}
			one.Lock()
			defer one.Unlock()
			return done(j, b, err)
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	return context.Cause(ctx)
}
