package page

import (
	"net/url"
	"time"
)

// Paths of the calendar of a rig.
const (
	PathCalendar = "/bookings"
	PostBooking  = "/bookings"
)

// BookingPath is the screen of one booking.
func BookingPath(id string) string { return PathCalendar + "/" + url.PathEscape(id) }

// WeekPath is the week of a rig that holds a day, as 2026-11-26.
func WeekPath(rig, day string) string {
	return PathCalendar + "?" + url.Values{"rig": {rig}, "day": {day}}.Encode()
}

// Calendar is one week of a rig.
type Calendar struct {
	Frame
	Rig, Day             string // as asked for
	RigName, Lab         string
	Rigs                 []Choice // to choose from; nil: there is only one
	Week                 string   // in words
	Earlier, This, Later string   // addresses of other weeks
	Days                 []CalendarDay
	Clashes              []string // in words
	Form                 *Form    // BookingFields; nil: not offered
	CSV                  string   // address
	Bad                  string   // what is wrong with what was asked
	Total                string   // booked hours of the week, with unit
	ReadOnly             string   // why nothing can be booked here
}

func (Calendar) screen() string { return "calendar" }

// CalendarDay is one day of a week.
type CalendarDay struct {
	Date    time.Time // its first instant
	Today   bool
	Changes string // why it has not 24 hours
	Booked  string // hours, in words
	Strip   []StripPart
	Ticks   []StripTick
	Rows    []CalendarRow
}

// StripPart is a booking on the drawing of a day, in percent of it.
type StripPart struct {
	From, Width string
	Clash       bool
}

// StripTick is an hour on the drawing of a day.
type StripTick struct{ At, Text string }

// CalendarRow is one booking on a day.
type CalendarRow struct {
	Href       string
	Times      string // within the day
	Goes       string // where the booking goes beyond it
	Department string
	Project    string
	Who        string
	Note       string
	Clash      string // with whom; "": with none
	Now        bool   // it is running
}

// Booking is one booking.
type Booking struct {
	Frame
	RigName, Lab, Week  string // Week is an address
	State               Status
	From, To            time.Time
	Length              string
	Department, Project string
	Who, Note, Anyway   string
	MadeBy              string
	MadeAt              time.Time
	Instead             string // address of the booking that was moved to here
	CancelledBy, Reason string
	Clashes             []CalendarRow
	Move, Cancel        *Form // nil: not offered
}

func (Booking) screen() string { return "booking" }

// BookingFields books a rig. Choices: "rig", and to choose from "department" and
// "project".
func BookingFields() []Field {
	return append(append([]Field{{Name: "rig", Label: "Rig", Kind: "select", Required: true}}, whenFields()...),
		Field{Name: "department", Label: "Department", Kind: "list", Required: true},
		Field{Name: "project", Label: "Project", Kind: "list"},
		Field{Name: "who", Label: "Whom to ask", Kind: "text", Help: "A name, initials or a telephone number."},
		Field{Name: "note", Label: "Note", Kind: "text"},
		anywayField())
}

// MoveFields moves a booking.
func MoveFields() []Field { return append(whenFields(), anywayField()) }

func whenFields() []Field {
	return []Field{
		{Name: "from", Label: "From", Kind: "datetime-local", Required: true},
		{Name: "to", Label: "To", Kind: "datetime-local", Required: true, Help: "At most 31 days."},
	}
}

func anywayField() Field {
	return Field{Name: "anyway", Label: "Book anyway, because", Kind: "text", Help: "Only where another booking stands at that time. Both are then shown as a clash."}
}
