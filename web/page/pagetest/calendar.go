package pagetest

import (
	"fmt"
	"strings"
	"time"

	"thudbook/web/page"
)

// week is seven days without a booking; the one on which clocks go forward has
// 23 hours.
func week() []page.CalendarDay {
	monday := time.Date(2031, 3, 10, 0, 0, 0, 0, Now().Location())
	days := make([]page.CalendarDay, 7)
	for i := range days {
		days[i] = page.CalendarDay{Date: monday.AddDate(0, 0, i), Today: i == 4, Booked: "free",
			Ticks: []page.StripTick{{At: "25%", Text: "6"}, {At: "50%", Text: "12"}, {At: "75%", Text: "18"}}}
	}
	return days
}

func bookingForm(values, errors map[string]string) *page.Form {
	return &page.Form{ID: "book", Action: page.PostBooking, Key: "book-key", Fields: page.BookingFields(), Submit: "Book", Values: values, Errors: errors,
		Choices: map[string][]page.Choice{"rig": {{Value: "r1", Text: "rig one"}, {Value: "r2", Text: "rig two"}},
			"department": {{Value: "Helmets"}, {Value: "Face guards"}}, "project": {{Value: "Spring series"}}}}
}

func calendars() []Item {
	s := page.Calendar{Frame: serverFrame("Calendar", page.PathCalendar), Rig: "r1", Day: "2031-03-14", RigName: "rig one", Lab: "Northmere lab",
		Rigs: []page.Choice{{Value: "r1", Text: "rig one (Northmere lab)"}, {Value: "r2", Text: "rig two (Harbour lab)"}}, Week: "Week 11 of 2031, 2031-03-10 to 2031-03-16",
		Earlier: page.WeekPath("r1", "2031-03-03"), This: page.WeekPath("r1", "2031-03-14"), Later: page.WeekPath("r1", "2031-03-17"), CSV: "/bookings.csv", Total: "0\u00a0h", Days: week(),
		Form: bookingForm(map[string]string{"rig": "r1", "from": "2031-03-14T16:00", "to": "2031-03-14T17:00", "department": "Helmets"}, nil)}
	empty := s
	s.Days = week()
	s.Total = "19.5\u00a0h"
	s.Days[0].Booked, s.Days[0].Strip = "8\u00a0h booked", []page.StripPart{{From: "33.33%", Width: "16.67%"}, {From: "54.17%", Width: "16.67%"}}
	s.Days[0].Rows = []page.CalendarRow{{Href: "/bookings/a", Times: "08:00 to 12:00", Department: "Helmets", Project: "Spring series", Who: "ext. 12"}, {Href: "/bookings/b", Times: "13:00 to 17:00", Department: "Face guards", Note: "cold chamber beside it"}}
	s.Days[4].Booked, s.Days[4].Strip = "6.5\u00a0h booked", []page.StripPart{{From: "60%", Width: "20%"}}
	s.Days[4].Rows = []page.CalendarRow{{Href: "/bookings/c", Times: "14:30 to 21:00", Department: "Helmets", Now: true}}
	s.Days[6].Changes, s.Days[6].Booked, s.Days[6].Strip = "23\u00a0h long: clocks go forward", "5\u00a0h booked", []page.StripPart{{From: "0%", Width: "21.74%"}}
	s.Days[6].Rows = []page.CalendarRow{{Href: "/bookings/d", Times: "00:00 to 06:00 +02:00", Goes: "since 2031-03-15 22:00", Department: "Endurance", Project: "Dry strokes"}}
	clash := s
	clash.Days = append([]page.CalendarDay{}, s.Days...)
	clash.Days[0].Rows = []page.CalendarRow{{Href: "/bookings/a", Times: "08:00 to 12:00", Department: "Helmets", Who: "ext. 12", Clash: "Face guards"}, {Href: "/bookings/b", Times: "11:00 to 17:00", Department: "Face guards", Clash: "Helmets (ext. 12)"}}
	clash.Days[0].Strip = []page.StripPart{{From: "33.33%", Width: "16.67%", Clash: true}, {From: "45.83%", Width: "25%", Clash: true}}
	clash.Clashes = []string{"Helmets (ext. 12), 2031-03-10 08:00 to 12:00, and Face guards, 2031-03-10 11:00 to 17:00"}
	wrong := clash
	wrong.Form = bookingForm(map[string]string{"rig": "r1", "from": "2031-03-14T16:00", "to": "2031-03-14T18:00", "department": "Endurance"},
		map[string]string{"from": "The rig is booked then: Helmets, 2031-03-14 14:30 to 21:00. Choose another time, or say why you book it anyway; both are then shown as a clash."})
	bad := empty
	bad.Days, bad.Form, bad.CSV, bad.Bad = nil, nil, "", "“14.3.2031” is not a date. Write it as 2031-03-14."
	none := page.Calendar{Frame: serverFrame("Calendar", page.PathCalendar), Day: "2031-03-14"}
	full := clash
	full.Days = week()
	for i := range full.Days {
		d := &full.Days[i]
		d.Booked = "24\u00a0h booked"
		for j := range 24 {
			r := page.CalendarRow{Href: "/bookings/x", Times: fmt.Sprintf("%02d:00 to %02d:00", j, j+1), Department: strings.Repeat("Department of long names ", j%3+1), Project: longName, Who: "ext. 1234", Note: strings.Repeat("something to know, ", j%4)}
			if j%5 == 0 {
				r.Clash = "Face guards; Helmets (ext. 12)"
			}
			d.Rows = append(d.Rows, r)
			d.Strip = append(d.Strip, page.StripPart{From: fmt.Sprintf("%.2f%%", float64(j)*100/24), Width: "4.17%", Clash: j%5 == 0})
		}
	}
	rig := page.Calendar{Frame: agentFrame("Bookings of this rig", page.PathRig, page.AgentCounts{}), Rig: "r1", Day: "2031-03-14", RigName: "rig one", Week: s.Week, Earlier: s.Earlier, This: s.This, Later: s.Later,
		Days: unlinked(clash.Days), Clashes: clash.Clashes, Total: s.Total, ReadOnly: "The rig is booked on the server, by everybody with a role in the lab. What was entered there is here after the next exchange."}
	out := []Item{{"calendar", s}, {"calendar-empty", empty}, {"calendar-none", none}, {"calendar-clash", clash}, {"calendar-error", wrong}, {"calendar-bad", bad}, {"calendar-full", full}, {"rig-calendar", rig}}
	return append(out, oneBooking()...)
}

// unlinked is a week as it is read at the rig, where a booking has no page.
func unlinked(days []page.CalendarDay) []page.CalendarDay {
	out := append([]page.CalendarDay{}, days...)
	for i := range out {
		out[i].Rows = append([]page.CalendarRow{}, out[i].Rows...)
		for j := range out[i].Rows {
			out[i].Rows[j].Href = ""
		}
	}
	return out
}

func oneBooking() []Item {
	form := func(what string, fields []page.Field, submit string, values map[string]string) *page.Form {
		return &page.Form{ID: what, Action: "/bookings/a/" + what, Fields: fields, Submit: submit, Key: what + "-key", Values: values}
	}
	at := func(h int) time.Time { return time.Date(2031, 3, 17, h, 0, 0, 0, Now().Location()) }
	b := page.Booking{Frame: serverFrame("Booking", page.PathCalendar), RigName: "rig one", Lab: "Northmere lab", Week: page.WeekPath("r1", "2031-03-17"), State: page.Status{Level: page.OK, Word: "booked"},
		From: at(8), To: at(12), Length: "4\u00a0h", Department: "Helmets", Project: "Spring series", Who: "ext. 12", Note: "bring the cold chamber", MadeBy: "R. Example", MadeAt: ago(20 * time.Hour),
		Move:   form("move", page.MoveFields(), "Move", map[string]string{"from": "2031-03-17T08:00", "to": "2031-03-17T12:00"}),
		Cancel: form("cancel", page.ReasonFields(), "Cancel the booking", nil)}
	bare, clash, wrong, gone, full := b, b, b, b, b
	bare.Project, bare.Who, bare.Note, bare.Move, bare.Cancel = "", "", "", nil, nil
	clash.State = page.Status{Level: page.Bad, Word: "clash"}
	clash.Anyway, clash.Instead = "The customer is here on that day only.", "/bookings/z"
	clash.Clashes = []page.CalendarRow{{Href: "/bookings/b", Times: "2031-03-17 11:00 to 17:00", Department: "Face guards", Who: "ext. 30"}}
	wrong.Move = form("move", page.MoveFields(), "Move", map[string]string{"from": "2031-03-17T12:00", "to": "2031-03-17T08:00"})
	wrong.Move.Errors = map[string]string{"to": "The booking ends before it has begun. Give an end after the beginning."}
	gone.State, gone.Reason, gone.CancelledBy, gone.Move, gone.Cancel = page.Status{Word: "cancelled"}, "The specimens are late.", "T. Sample", nil, nil
	full.State = clash.State
	full.Department, full.Project, full.Note, full.Anyway = longName, longName, strings.Repeat("Something to know about it. ", 40), strings.Repeat("Because of this and of that. ", 20)
	for i := range 40 {
		full.Clashes = append(full.Clashes, page.CalendarRow{Href: "/bookings/x", Times: fmt.Sprintf("2031-03-17 08:%02d to 12:00", i), Department: longName})
	}
	return []Item{{"booking", b}, {"booking-empty", bare}, {"booking-clash", clash}, {"booking-error", wrong}, {"booking-cancelled", gone}, {"booking-full", full}}
}
