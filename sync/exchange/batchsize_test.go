package exchange_test

import (
	"testing"
	"time"

	"thudbook/sync/exchange"
)

// On a link that breaks every 5 MiB a part stays a fraction of that, so that a
// break costs little; on one that holds it grows to the largest again.
func TestPartsFollowTheBreaksOfALink(t *testing.T) {
	const every = 5 << 20
	var b exchange.BatchSize
	for range 20 {
		for passed := int64(0); ; {
			n := b.PartBytes()
			if passed += n; passed >= every {
				break
			}
			b.PartWorked(time.Millisecond, n)
		}
		b.PartFailed()
	}
	for passed := int64(0); passed < every; {
		n := b.PartBytes()
		if n < 64<<10 || n > every/6 {
			t.Fatalf("a part of %d bytes after %d, on a link that breaks every %d", n, passed, every)
		}
		passed += n
		b.PartWorked(time.Millisecond, n)
	}
	total := int64(0)
	for b.PartBytes() < exchange.MaxPartBytes && total < 1<<30 {
		total += b.PartBytes()
		b.PartWorked(time.Millisecond, b.PartBytes())
	}
	if total > 16*exchange.MaxPartBytes {
		t.Errorf("%d bytes went through before parts were at their largest again", total)
	}
	var slow exchange.BatchSize
	before := slow.PartBytes()
	slow.PartWorked(time.Minute, before)
	if slow.PartBytes() >= before {
		t.Errorf("a part that took a minute is followed by one of %d bytes, before it %d", slow.PartBytes(), before)
	}
}
