package page

import "time"

// Equipment is the register of the caller's labs.
type Equipment struct {
	Frame
	Lab         string   // lab filtered by; empty: all
	Labs        []Choice // to filter by (GET field lab)
	Rams        []RamRow
	Sensors     []SensorRow
	Others      []ItemRow
	MayEdit     bool // forms are shown
	Item        Form // ItemFields
	Service     Form // ServiceFields
	Calibration Form // CalibrationFields
	Mounting    Form // MountingFields
}

func (Equipment) screen() string { return "equipment" }

// Held is the state that was stated of an item, and where it is kept.
type Held struct {
	Is   Status // as {OK, "in service"}, {Bad, "quarantined"}
	Kept string // where it is while it is not mounted; empty: nobody said, or it is mounted
}

// RamRow is one ram. Strokes count every stroke, void and dry ones too.
type RamRow struct {
	Held
	ID           string
	Lab          string
	Name         string
	Serial       string
	Rig          string
	SinceService int64  // strokes since the last service
	Interval     int64  // strokes between services; 0: not set
	Total        int64  // strokes ever recorded
	State        Status // as {Warn, "service within 40 strokes"}
	LastService  time.Time
}

// Share is how much of the interval is used, in percent, at most 100.
func (r RamRow) Share() int {
	if r.Interval <= 0 || r.SinceService <= 0 {
		return 0
	}
	return int(min(100, r.SinceService*100/r.Interval))
}

// SensorRow is one sensor with its calibration.
type SensorRow struct {
	Held
	ID          string
	Lab         string
	Name        string
	Serial      string
	Kind        string // as "sensor", "light gate"
	Rig         string // empty: not mounted
	Position    string
	Calibrated  time.Time // zero: never recorded
	Due         time.Time // zero: not known
	Certificate string
	State       Status // as {Bad, "overdue by 12 days"}, {Warn, "due in 9 days"}, {OK, "in calibration"}
	Strokes     string // seen since the calibration
}

// ItemRow is any other piece of equipment.
type ItemRow struct {
	Held
	ID, Lab, Kind, Name, Serial, Rig string
	Strokes                          string
	State                            Status // of its service; empty: no interval
}
