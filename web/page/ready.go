package page

import "time"

// Paths of the screen that says whether one can shoot.
const (
	PathReady  = "/ready"
	PostWentOn = "/ready/on"
)

// Ready says at one glance what is due, overdue, missing or out of order.
type Ready struct {
	Frame
	State  Status
	Rows   []ReadyRow // the worst first
	Clock  time.Time  // of this computer
	On     []WentOn   // that holds now
	Form   Form       // WentOnFields; offered when something is bad
	Always []string   // what no program can see
}

func (Ready) screen() string { return "ready" }

// ReadyRow is one thing that was looked at.
type ReadyRow struct {
	What   string
	State  Status
	Reason string
	Href   string // where it is mended
	Item   string // id of the item it is about; empty: none
	Code   string // of what an item needs
}

// WentOn is a reason with which an operator goes on.
type WentOn struct {
	What   []string
	Reason string
	By     string
	Until  time.Time
}

// WentOnFields ask why one goes on all the same.
func WentOnFields() []Field {
	return []Field{{Name: "reason", Label: "Go on all the same, because", Kind: "area", Required: true, Help: "Holds until the end of the day, or until something is mounted or taken off. The shots carry a flag with it."}}
}
