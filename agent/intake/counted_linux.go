package intake

import (
	"time"

	"golang.org/x/sys/unix"
)

// countsSleep says that counted goes on while the computer sleeps.
const countsSleep = true

// counter gives a clock that nobody sets; it begins anywhere.
func counter() func() time.Duration {
	return func() time.Duration {
		var ts unix.Timespec
		if unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts) != nil {
			return sinceStart()
		}
		return time.Duration(ts.Nano())
	}
}
