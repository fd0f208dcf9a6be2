// Package chanmap says which column of an acquisition file is which channel.
// A map is a TOML file of the lab; it binds columns to quantities and axes.
package chanmap

// Map is one channel map. The zero value of a key means "find it out".
type Map struct {
	Name       string     `toml:"name" json:"name"`
	Format     Format     `toml:"format" json:"format"`
	Complete   Complete   `toml:"complete" json:"complete"`
	Time       Time       `toml:"time" json:"time"`
	Processing Processing `toml:"processing" json:"processing"`
	Ram        Ram        `toml:"ram" json:"ram"`
	Channels   []Channel  `toml:"channel" json:"channel"`
}

// Format forces what is otherwise found out from the file.
type Format struct {
	Kind       string `toml:"kind" json:"kind,omitempty"`               // "delimited" "iso13499" "uff58" "wav"
	Delimiter  string `toml:"delimiter" json:"delimiter,omitempty"`     // "," ";" "\t" "|" " "
	Decimal    string `toml:"decimal" json:"decimal,omitempty"`         // "." or ","
	Encoding   string `toml:"encoding" json:"encoding,omitempty"`       // "utf-8" "utf-16le" "utf-16be" "latin1"
	HeaderRows int    `toml:"header_rows" json:"header_rows,omitempty"` // rows before the first row of numbers
}

// Complete is the rule by which a watched file counts as finished.
type Complete struct {
	Rule    string `toml:"rule" json:"rule,omitempty"` // "quiet" (default) "rows" "footer" "marker"
	QuietMS int    `toml:"quiet_ms" json:"quiet_ms,omitempty"`
	Rows    int    `toml:"rows" json:"rows,omitempty"`     // rule "rows": data rows of a finished file
	Footer  string `toml:"footer" json:"footer,omitempty"` // rule "footer": text of the last line
	Marker  string `toml:"marker" json:"marker,omitempty"` // rule "marker": suffix of the file that appears beside it, ".done"
}

// Time names the time column, or an even rate.
type Time struct {
	Column string  `toml:"column" json:"column,omitempty"` // header text or 1-based number
	Unit   string  `toml:"unit" json:"unit,omitempty"`     // "s" "ms" "us"
	RateHz float64 `toml:"rate_hz" json:"rate_hz,omitempty"`
}

// Processing says what is done before the metrics.
type Processing struct {
	BaselineMS float64 `toml:"baseline_ms" json:"baseline_ms,omitempty"` // mean over the first part of the record, taken off
	ResampleHz float64 `toml:"resample_hz" json:"resample_hz,omitempty"` // uneven times are put on even ones, so that they can be filtered
}

// Ram is what the energy needs.
type Ram struct {
	MassKG float64 `toml:"mass_kg" json:"mass_kg,omitempty"`
}

// Channel binds one column.
type Channel struct {
	Column                     string     `toml:"column" json:"column"` // header text or 1-based number
	Measures                   string     `toml:"measures" json:"measures"`
	Axis                       string     `toml:"axis" json:"axis,omitempty"` // "x" "y" "z", "-x" reverses
	Unit                       string     `toml:"unit" json:"unit"`
	Sensitivity                float64    `toml:"sensitivity" json:"sensitivity,omitempty"` // unit "V", "mV", "count": how many of them make one g, rad/s, kPa, N
	CFC                        int        `toml:"cfc" json:"cfc,omitempty"`
	FullScale                  float64    `toml:"full_scale" json:"full_scale,omitempty"`
	ExpandedUncertaintyPercent float64    `toml:"expanded_uncertainty_percent" json:"expanded_uncertainty_percent,omitempty"`
	CrossAxisPercent           float64    `toml:"cross_axis_percent" json:"cross_axis_percent,omitempty"` // transverse sensitivity and misalignment together, at most; 0: not stated
	PositionMM                 [3]float64 `toml:"position_mm" json:"position_mm"`
	FlagMM                     float64    `toml:"flag_mm" json:"flag_mm,omitempty"`
	Sensor                     string     `toml:"sensor" json:"sensor,omitempty"`

	// ReadsHigh is by what values that the acquisition has scaled are to be divided,
	// its sensitivity having turned out wrong: true over assumed sensitivity. 0: nothing
	// is known to be wrong. No map says so in its text; a corrected calibration does.
	ReadsHigh float64 `toml:"-" json:"reads_high,omitempty"`
}
