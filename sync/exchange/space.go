package exchange

import (
	"fmt"

	"thudbook/sync/blob"
	"thudbook/sync/problem"
)

// What stays free: records go on for longest, then small attachments, then
// large ones. A disk that is smaller than usual keeps a share of it instead.
const (
	reserveBytes = 256 << 20
	reserveShare = 20 // one part in so many of the whole disk
	largeBytes   = 64 << 20
)

// freeOf asks a blob store for its disk, if it can tell.
func freeOf(s blob.Store) func() (free, total int64, err error) {
	if d, ok := s.(interface {
		Free() (free, total int64, err error)
	}); ok {
		return d.Free
	}
	return nil
}

// reserve gives the free bytes, and those that attachments leave alone.
func reserve(free func() (free, total int64, err error)) (left, keep int64, known bool) {
	if free == nil {
		return 0, 0, false
	}
	left, total, err := free()
	if err != nil {
		return 0, 0, false // the write itself will tell
	}
	return left, min(reserveBytes, total/reserveShare), true
}

func roomFor(where string, free func() (free, total int64, err error), need int64) error {
	left, keep, known := reserve(free)
	if need > largeBytes {
		keep *= 2
	}
	if !known || left-need >= keep {
		return nil
	}
	return &problem.Error{Code: problem.NoSpace,
		What: fmt.Sprintf("The disk of the %s has no room for an attachment: %d MB are needed, %d MB are free, %d MB have to stay free.", where, need>>20, left>>20, keep>>20),
		Fix:  fmt.Sprintf("Free space on the disk of the %s, or give it a larger one. Nothing is lost: it is tried again, and what is smaller goes on.", where)}
}

// room refuses an attachment that would fill the disk.
func (s *Service) room(need int64) error { return roomFor("server", s.o.Free, need) }

// roomForRecords refuses records only when next to nothing is left.
func (s *Service) roomForRecords() error {
	left, keep, known := reserve(s.o.Free)
	if !known || left >= keep/8 {
		return nil
	}
	return &problem.Error{Code: problem.NoSpace,
		What: fmt.Sprintf("The disk of the server is full: %d MB are free.", left>>20),
		Fix:  "Free space on the server's disk. Nothing is lost: the agents keep everything and send it then."}
}
