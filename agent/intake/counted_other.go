//go:build !linux

package intake

import "time"

// countsSleep says that counted goes on while the computer sleeps.
const countsSleep = false

// counter gives a clock that nobody sets; it begins anywhere.
func counter() func() time.Duration { return sinceStart }
