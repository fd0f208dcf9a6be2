package page

import "time"

// PathDay is the report of one day at a rig; PathDay + ".csv" is its table.
const PathDay = "/day"

// DayPath is the report of a day, "2031-03-14".
func DayPath(date string) string { return PathDay + "?date=" + date }

// Day is all that happened at a rig on one day, made to be printed.
type Day struct {
	Frame
	Date      string // as "2031-03-14"
	Zone      string // that the day is counted in, as "+01:00"
	SoFar     bool   // the day is not over
	Previous  string // link
	Following string // link; empty: it has not come yet
	CSV       string
	Who       []string // who acted, by name
	Sums      []DaySum
	Mounted   []DayMounted
	Checks    []DayShot // oldest first, as all below
	Shots     []DayShot
	Strokes   []DayStrokes
	WentOn    []WentOn
	Log       []LogRow // notes, deviations, services, what was mounted and taken off
	Seen      []InspectionRow
	Due       []ReadyRow // at the end of the day, or now
	Unread    []string   // files in which nothing could be read
}

func (Day) screen() string { return "day" }

// Undecided are the shots that are neither accepted nor void.
func (d Day) Undecided() (out []DayShot) {
	for _, s := range d.Shots {
		if s.Kind == "shot" && s.Verdict.Level == Plain {
			out = append(out, s)
		}
	}
	return out
}

// Empty says that nothing was recorded on that day.
func (d Day) Empty() bool {
	return len(d.Checks)+len(d.Shots)+len(d.Strokes)+len(d.WentOn)+len(d.Log)+len(d.Seen)+len(d.Unread) == 0
}

// DaySum is a count of the day, as "made void" with "2".
type DaySum struct{ What, Count string }

// DayMounted is what sat at a position at the end of the day.
type DayMounted struct {
	Position, Item string
	Since          time.Time
}

// DayShot is one shot or system check of a day.
type DayShot struct {
	ShotRow
	Condition string
	Pressure  Pressure
	Verdict   Status // "accepted", "void", "not judged by anybody"
	Reason    string // of void; what a check is beyond
	VerdictBy string // who said so; empty: not known by name
	Limits    Status // against the acceptance limits of its campaign
	By        string // who was at the rig; empty: nobody had said who
}

// DayStrokes are strokes without a file.
type DayStrokes struct {
	At       time.Time
	Number   int
	What     string
	Hit      string // "FG-A-012, front, hot"; empty: nothing, or nobody said what
	Pressure Pressure
	Reason   string
	By       string
}
