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
	failShare       = 16              // of what went through before a break
	growShare       = 8               // of what has gone through since
)

// BatchSize adapts what is sent at once to the link: half after a failure, a
// quarter more after a success for records, at most twice as much after a quick
// part of an attachment. It never goes below one record. The zero value starts in
// the middle. It is safe for concurrent use.
type BatchSize struct {
	mu    sync.Mutex
	bytes int
	part  int64

	passed int64 // bytes of parts since the last break
	broke  bool  // there was one
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

// Failed makes the next batch smaller, unless the server only asked to wait:
// how busy it is says nothing about the link.
func (b *BatchSize) Failed(err error) {
	if WaitOf(err) > 0 {
		return
	}
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

// PartFailed makes the next part smaller: what is under way when a connection
// breaks is lost, and how much went through before says how soon the next break
// is to be expected.
func (b *BatchSize) PartFailed(err error) {
	if WaitOf(err) > 0 { // a server that asks to wait broke nothing
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.part = max(min(b.partNow()/2, b.passed/failShare), floorPartBytes)
	b.passed, b.broke = 0, true
}

// PartWorked makes the next part larger where this one of n bytes was quick, and
// smaller where it took long enough to keep records waiting. After a break it
// stays a small share of what has gone through since.
func (b *BatchSize) PartWorked(took time.Duration, n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.passed += n
	switch {
	case took < partQuick:
		most := int64(MaxPartBytes)
		if b.broke {
			most = min(most, max(b.passed/growShare, b.partNow()))
		}
		b.part = min(2*b.partNow(), most)
	case took > 5*partQuick:
		b.part = max(b.partNow()/2, floorPartBytes)
	}
}
