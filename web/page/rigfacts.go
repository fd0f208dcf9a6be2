package page

import "time"

// PostItemRated records on the server what the tank may hold of the rig where an
// item sits.
const PostItemRated = "/equipment/rated"

// RigFacts is how the rig is fitted out where an item sits.
type RigFacts struct {
	Rig      string
	Absent   []AbsentPlace // positions that it is declared not to have
	Most     Pressure      // of its tank; empty: not stated
	MarkedOn string
	Since    time.Time
	By       string
	Rated    *Form // RatedFields and the hidden fields item and unit; nil: not here, or not by this person
}

// AbsentPlace is a position that a rig is declared not to have.
type AbsentPlace struct {
	Position string
	Reason   string
	Since    time.Time
	By       string
}
