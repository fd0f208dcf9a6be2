package page

import "time"

// Alarms lists what people have to hear of, what nobody has seen first.
type Alarms struct {
	Frame
	Rows []AlarmRow
	Open int // that nobody has seen
}

func (Alarms) screen() string { return "alarms" }

// AlarmRow is one alarm.
type AlarmRow struct {
	ID      string
	At      time.Time
	Lab     string // empty where there is one lab only
	Text    string // what happened and what to do
	Details string // for who looks after the program
	SeenBy  string // name; empty: nobody yet
	SeenAt  time.Time
}
