package page

import "time"

// inspectionTable is a list of inspections with the columns that any of its
// rows needs.
type inspectionTable struct {
	Now   time.Time
	Rows  []InspectionRow
	Zone  string // of all times; empty where summer time changed among them
	Lab   bool
	Order string // "newest first" or "oldest first"
}

func newInspectionTable(now time.Time, rows []InspectionRow) inspectionTable {
	t := inspectionTable{Now: now, Rows: rows, Order: "newest first"}
	if n := len(rows); n > 0 && rows[0].At.Before(rows[n-1].At) {
		t.Order = "oldest first"
	}
	at := make([]time.Time, len(rows))
	for i, r := range rows {
		at[i] = r.At
		t.Lab = t.Lab || r.Lab != ""
	}
	t.Zone = sameZone(at)
	return t
}

// sameZone names the zone of all times, or nothing where they differ.
func sameZone(at []time.Time) string {
	if len(at) == 0 {
		return ""
	}
	z := zone(at[0])
	for _, t := range at[1:] {
		if zone(t) != z {
			return ""
		}
	}
	return z
}
