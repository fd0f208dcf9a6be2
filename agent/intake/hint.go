package intake

import (
	"log/slog"
	"sync"

	"github.com/fsnotify/fsnotify"
)

// hint makes the next look at a folder come sooner when the operating system
// reports a change. Nothing depends on it.
type hint struct {
	dir string
	log *slog.Logger
	c   chan struct{}
	w   *fsnotify.Watcher
	wg  sync.WaitGroup
	on  bool
}

func newHint(dir string, log *slog.Logger) *hint {
	return &hint{dir: dir, log: log, c: make(chan struct{}, 1)}
}

// renew starts watching, or starts again after the folder had been away.
func (h *hint) renew(reachable bool) {
	if reachable == h.on {
		return
	}
	h.close()
	h.on = reachable
	if !reachable {
		return
	}
	w, err := fsnotify.NewWatcher()
	if err != nil {
		h.log.Debug("no notifications for the watched folder, it is looked through at intervals", "folder", h.dir, "error", err)
		return
	}
	if err := w.Add(h.dir); err != nil {
		h.log.Debug("no notifications for the watched folder, it is looked through at intervals", "folder", h.dir, "error", err)
		_ = w.Close()
		return
	}
	h.w = w
	h.wg.Go(func() {
		events, errs := w.Events, w.Errors
		for events != nil || errs != nil {
			select {
			case _, ok := <-events:
				if !ok {
					events = nil
					continue
				}
				select {
				case h.c <- struct{}{}:
				default:
				}
			case _, ok := <-errs:
				if !ok {
					errs = nil
				}
			}
		}
	})
}

// close stops watching and waits for the end of it.
func (h *hint) close() {
	if h.w != nil {
		_ = h.w.Close()
		h.wg.Wait()
		h.w = nil
	}
}
