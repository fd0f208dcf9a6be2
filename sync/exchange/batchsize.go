package exchange

import (
	"sync"
	"time"
)

const (
	floorBatchBytes = 4 << 10
	floorPartBytes  = 64 << 10
	partBytes       = 1 << 20
	partQuick       = 2 * time.Second // a part that took less may be longer
)

// BatchSize adapts what is sent at once to the link: half after a failure, a
// quarter more after a success for records, twice as much after a quick part
// of an attachment. It never goes below one record. The zero value starts in
// the middle. It is safe for concurrent use.
type BatchSize struct {
	mu    sync.Mutex
	bytes int
	part  int64
}

// Bytes gives the size to use now.
func (b *BatchSize) Bytes() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now()
}

func (b *BatchSize) now() int {
	if b.bytes == 0 {
		b.bytes = BatchBytes
	}
	return b.bytes
}

// Failed makes the next batch smaller.
func (b *BatchSize) Failed() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.bytes = max(b.now()/2, floorBatchBytes)
}

// Worked makes the next batch larger, up to limit.
func (b *BatchSize) Worked(limit int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.bytes = min(b.now()+b.now()/4, BatchBytes, max(limit, floorBatchBytes))
}

// PartBytes gives the size of a part to use now.
func (b *BatchSize) PartBytes() int64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.partNow()
}

func (b *BatchSize) partNow() int64 {
	if b.part == 0 {
		b.part = partBytes
	}
	return b.part
}

// PartFailed makes the next part smaller.
func (b *BatchSize) PartFailed() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.part = max(b.partNow()/2, floorPartBytes)
}

// PartWorked makes the next part larger where this one was quick, and smaller
// where it took long enough to keep records waiting.
func (b *BatchSize) PartWorked(took time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case took < partQuick:
		b.part = min(2*b.partNow(), MaxPartBytes)
	case took > 5*partQuick:
		b.part = max(b.partNow()/2, floorPartBytes)
	}
}
