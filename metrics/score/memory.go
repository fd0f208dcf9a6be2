package score

import (
	"sync"

	"thudbook/metrics/cfc"
	"thudbook/metrics/scratch"
)

// filterScratch keeps the working memory of filters that are done; a sync.Pool hands
// out nothing that is still in use.
var filterScratch sync.Pool

// floats gives memory for n samples. When only the results are wanted it is lent and
// goes back at the end, else it belongs to the report.
func (c *computation) floats(n int) []float64 {
	if !c.lean {
		return make([]float64, n)
	}
	v := scratch.Floats(n)
	c.loans = append(c.loans, v)
	return v
}

// giveBack ends a lean computation: nobody but the report knows its signals, and the
// report forgets them. A computation that panics keeps its loans.
func (c *computation) giveBack() {
	if !c.lean {
		return
	}
	d := c.report.Detail
	d.Raw, d.Filtered, d.Linear, d.Angular, d.AngularAcceleration = nil, nil, nil, nil, nil
	scratch.Free(c.loans...)
	c.loans = nil
}

// takeFilterScratch lends the working memory of a filter.
func takeFilterScratch() *cfc.Scratch {
	if s, ok := filterScratch.Get().(*cfc.Scratch); ok {
		return s
	}
	return new(cfc.Scratch)
}
