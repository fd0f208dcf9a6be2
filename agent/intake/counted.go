package intake

import "time"

var processStart = time.Now() // with a reading of the clock that only counts

func sinceStart() time.Duration { return time.Since(processStart) }
