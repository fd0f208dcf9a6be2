package picture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// The sizes that screens show: the longer edge in pixels.
const (
	Small = 320
	Large = 1600
)

// Cache keeps drawn copies in a folder of its own, which may be removed at any
// time. One photo is drawn at a time. It is safe for concurrent use.
type Cache struct {
	dir  string
	turn chan struct{}

	mu  sync.Mutex
	bad map[record.Hash]*problem.Error // that could not be drawn; bounded
}

// mostBad bounds what is remembered of photos that cannot be drawn.
const mostBad = 1000

// NewCache keeps copies in a folder, which is made when the first one is drawn.
func NewCache(dir string) *Cache {
	return &Cache{dir: dir, turn: make(chan struct{}, 1), bad: map[record.Hash]*problem.Error{}}
}

// Why says why a photo could not be drawn; nil as long as that was not tried.
func (c *Cache) Why(sum record.Hash) *problem.Error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.bad[sum]
}

// Get gives a copy as JPEG, drawn now if it was not before. What cannot be
// drawn is a problem for people.
func (c *Cache) Get(ctx context.Context, sum record.Hash, edge int, open func() (io.ReadSeekCloser, error)) ([]byte, error) {
	if bad := c.Why(sum); bad != nil {
		return nil, bad
	}
	path := filepath.Join(c.dir, fmt.Sprintf("%s-%d.jpg", sum, edge))
	if b, err := os.ReadFile(path); err == nil {
		return b, nil
	}
	select {
	case c.turn <- struct{}{}:
		defer func() { <-c.turn }()
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	if b, err := os.ReadFile(path); err == nil { // somebody else drew it meanwhile
		return b, nil
	}
	f, err := open()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = errors.Join(Draw(ctx, f, edge, &b), f.Close())
	debug.FreeOSMemory() // a photo takes more than the rest of the program
	if err != nil {
		if p, ok := problem.As(err); ok && ctx.Err() == nil {
			c.remember(sum, p)
		}
		return nil, err
	}
	c.keep(path, b.Bytes())
	return b.Bytes(), nil
}

func (c *Cache) remember(sum record.Hash, p *problem.Error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.bad) >= mostBad {
		clear(c.bad)
	}
	c.bad[sum] = p
}

// keep stores a copy; where that fails it is drawn again the next time.
func (c *Cache) keep(path string, b []byte) {
	if os.MkdirAll(c.dir, 0o700) != nil {
		return
	}
	f, err := os.CreateTemp(c.dir, "part-*")
	if err != nil {
		return
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
}
