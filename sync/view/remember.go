package view

import (
	"context"
	"math"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/scope"
)

// Remembering is a reader for a look at many items of a scope at one moment: what
// the counters of a rig found beyond the recorded strokes is computed once for
// each rig. What is recorded after it was computed is not seen, so it is made
// for one look and thrown away. It serves one goroutine.
func Remembering(v *Reader, sc scope.Scope) *Reader {
	return &Reader{set: v.set, store: remembering{Store: v.store, counters: &counters{sc: sc, of: map[uuid.UUID][]beyond{}}}}
}

// counters is what is known of the counters of rigs.
type counters struct {
	sc scope.Scope
	of map[uuid.UUID][]beyond // in the order of time
}

// beyond is what one reading of a counter found.
type beyond struct {
	at lab.Time
	n  int64
}

type remembering struct {
	kv.Store
	counters *counters
}

func (s remembering) View(ctx context.Context, fn func(kv.Reader) error) error {
	return s.Store.View(ctx, func(r kv.Reader) error { return fn(recalling{r, s.counters}) })
}

// recalling is a transaction that carries what is known.
type recalling struct {
	kv.Reader
	counters *counters
}

// between adds up what was found in from <= t < to.
func (c *counters) between(s *Set, r kv.Reader, rig uuid.UUID, from, to lab.Time) (n int64, err error) {
	all, ok := c.of[rig]
	if !ok {
		err = s.eachReading(r, c.sc, rig, math.MinInt64, math.MaxInt64, func(row *ReadingRow) {
			if more := row.Unaccounted(); more > 0 {
				all = append(all, beyond{row.Reading.EffectiveAt, more})
			}
		})
		if err != nil {
			return 0, err
		}
		c.of[rig] = all
	}
	i, _ := slices.BinarySearchFunc(all, from, func(b beyond, t lab.Time) int { return int(min(max(b.at-t, -1), 1)) })
	for ; i < len(all) && all[i].at < to; i++ {
		n += all[i].n
	}
	return n, nil
}
