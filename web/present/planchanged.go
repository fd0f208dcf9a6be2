package present

import (
	"strings"
	"time"

	"thudbook/sync/view"
	"thudbook/web/page"
)

// PlanChanged says on a campaign's screen that hits were recorded under another
// plan than the one in force.
func PlanChanged(c *view.PlanChange, zone *time.Location) page.Notice {
	words := map[string]string{"specimens": "its specimens", "cells": "its cells or the tolerance of the speed", "acceptance_limits": "acceptance limits",
		"most_out_of_chamber_s": "the time out of the chamber", "least_rest_s": "the rest between hits"}
	var what []string
	for _, f := range c.Fields {
		what = append(what, words[f])
	}
	hits := Count(int64(c.Hits), "shot was", "shots were")
	if c.More {
		hits = "more than " + hits
	}
	return page.Notice{Level: page.Warn, Text: "This campaign was changed after " + hits + " recorded: " + strings.Join(what, ", ") + ". The last change is of " + c.Last.In(zone).Format("2006-01-02 15:04") + ".",
		Fix: "What is counted and judged here follows the plan in force, for those shots too. Each shot that it judges otherwise says so, and by what it was judged before."}
}
