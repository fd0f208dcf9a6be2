package desk

import (
	"fmt"
	"time"

	"thudbook/web/page"
	"thudbook/web/present"
)

// jumpNotice says that a time that is counted since an instant may be too long;
// what is "FG-01 left its chamber".
func (d *Desk) jumpNotice(since time.Time, what string) []page.Notice {
	if since.IsZero() {
		return nil
	}
	by := d.Intake.ClockSteps().Since(since)
	if by == 0 {
		return nil
	}
	return []page.Notice{{Level: page.Warn, Text: fmt.Sprintf("The clock of this computer was set forward by %s since %s, or the computer slept for so long: the time that is shown counts it too.", present.Span(by.Seconds()), what),
		Fix: "If the clock was set, the true time is shorter by as much; judge by it, and write it into the log. Shots that are taken in meanwhile carry a flag."}}
}
