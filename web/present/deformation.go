package present

import (
	"cmp"

	"thudbook/sync/view"
)

// deformations gives, hit by hit, the largest deformation that was measured
// after it and how much that grew since the last one measured before, be it after
// the same hit; nil where nothing was.
func (h *History) deformations() (mm, grown []*float64) {
	mm, grown = make([]*float64, len(h.Hits)), make([]*float64, len(h.Hits))
	for i := range h.Hits {
		r := h.after[h.Hits[i].ID]
		if r == nil {
			continue
		}
		d := r.Inspection.MaxDeformation()
		if d == nil {
			continue
		}
		mm[i] = d
		if before := h.measuredBefore(r); before != nil {
			grown[i] = new(*d - *before)
		}
	}
	return mm, grown
}

// measuredBefore is the largest deformation by the last inspection before another
// one that holds and measured one; nil without one. Of two with one time that is
// earlier which was recorded earlier.
func (h *History) measuredBefore(than *view.InspectionRow) *float64 {
	var last *view.InspectionRow
	order := func(a, b *view.InspectionRow) int {
		return cmp.Or(cmp.Compare(a.Inspection.EffectiveAt, b.Inspection.EffectiveAt), a.RecordedAt.Compare(b.RecordedAt))
	}
	for i := range h.Inspections {
		r := &h.Inspections[i]
		if r.Replaced() || r.Inspection.MaxDeformation() == nil || order(r, than) >= 0 {
			continue
		}
		if last == nil || order(r, last) > 0 {
			last = r
		}
	}
	if last == nil {
		return nil
	}
	return last.Inspection.MaxDeformation()
}
