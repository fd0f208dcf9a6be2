package present

import (
	"fmt"
	"math"

	"thudbook/sync/lab"
	"thudbook/sync/upkeep"
)

// TwinReason says how the sensor at a position differs from its twin.
func TwinReason(d *upkeep.Disagreement, position string) string {
	own, other, twin, more := d.Other, d.Value, d.Channel, d.Apart // as a share of the twin's reading
	if lab.Fold(position) == lab.Fold(d.Channel) {
		own, other, twin, more = d.Value, d.Other, d.Twin, 1/(1+d.Apart)-1
	}
	way := "more"
	if more < 0 {
		way = "less"
	}
	return fmt.Sprintf("Over the last %d strokes it read %.1f %% %s than %s (%s), which may be %.1f %% apart; in the last one %.3g %s against %.3g %s. Which of the two is wrong is not known: compare both with a third.",
		d.Strokes, 100*math.Abs(more), way, twin, d.Measures, 100*d.Limit, own, d.Unit, other, d.Unit)
}
