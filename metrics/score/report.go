// Package score turns the bytes of an acquisition file into metrics with flags
// that say why a number may not be trusted. It is the entry for outside data:
// nothing in a file makes it panic, and what can be scored is scored.
package score

import (
	"slices"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/fault"
	"thudbook/metrics/risk"
	"thudbook/metrics/signal"
)

// EngineVersion names the computation. It changes whenever a result or a flag may change, so
// that a stored result says what made it.
const EngineVersion = "5"

// Codes of faults that score adds to those of the readers.
const (
	Internal  fault.Code = "internal"  // a mistake in the program; the cause is in Detail.Cause
	Cancelled fault.Code = "cancelled" // the caller gave up
)

// Report is the outcome for one file; its JSON is a contract: add, never rename.
type Report struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"` // of the exact bytes read
	Bytes  int64  `json:"bytes"`
	// Error is the gravest fault, nil for a clean file. With results it is partial.
	Error   *fault.Error      `json:"error"`
	Faults  []*fault.Error    `json:"faults,omitempty"` // all of them, when there is more than one
	Flags   []Flag            `json:"flags"`
	Results map[string]Result `json:"results"`
	// Published are functions that others have fitted to injury data, when they were
	// asked for. They are no results: no medical statement and no pass mark.
	Published []risk.Value `json:"published_functions,omitempty"`
	Engine    string       `json:"engine"`
	Map       *chanmap.Map `json:"map,omitempty"` // as used, with what was guessed
	// Calibrations are the certificates in force and what was taken of them.
	Calibrations []UsedCalibration `json:"calibrations,omitempty"`
	// Twins are comparisons of sensors that measure the same at the same place.
	Twins   []Twin      `json:"twins,omitempty"`
	Record  *Record     `json:"record,omitempty"`
	Process *Processing `json:"processing,omitempty"`
	Detail  *Detail     `json:"-"`
}

// Result is one metric. Pointers are nil where the field does not apply.
type Result struct {
	Value               float64  `json:"value"`
	Unit                string   `json:"unit"`                           // "" for a bare number
	ExpandedUncertainty *float64 `json:"expanded_uncertainty,omitempty"` // k = 2, unit of the value
	AtS                 *float64 `json:"at_s,omitempty"`
	FromS               *float64 `json:"from_s,omitempty"`
	ToS                 *float64 `json:"to_s,omitempty"`
	Definition          string   `json:"definition,omitempty"` // id of the published form
	Note                string   `json:"note,omitempty"`
}

// Flag is one reason to look twice.
type Flag struct {
	Code    FlagCode `json:"code"`
	Channel string   `json:"channel,omitempty"`
	Text    string   `json:"text"`
}

// Record describes the time base.
type Record struct {
	Samples   int     `json:"samples"`
	RateHz    float64 `json:"rate_hz"` // the median rate of an uneven record
	StartS    float64 `json:"start_s"`
	DurationS float64 `json:"duration_s"`
	Uneven    bool    `json:"uneven"`
}

// Processing names what was done to the samples before the metrics.
type Processing struct {
	BaselineMS   float64        `json:"baseline_ms"`
	CornerFactor float64        `json:"corner_factor"` // k of SAE J211-1
	EndTreatment string         `json:"end_treatment"`
	CFC          map[string]int `json:"cfc"` // by channel; 0: unfiltered
	Derivative   string         `json:"derivative,omitempty"`
	MovedToCG    bool           `json:"moved_to_cg"`
	ResampledHz  float64        `json:"resampled_hz,omitempty"` // uneven times were put on even ones
}

// Detail is what screens draw and the log needs; it is not part of the JSON. With
// Options.ResultsOnly it holds the cause only.
type Detail struct {
	Raw      *signal.Recording // as read, in base units
	Filtered *signal.Recording // repeated times merged, baseline off, filtered, moved to the centre of gravity
	// Resultants over the time base of Filtered, nil where the channels are missing.
	Linear              []float64 // g
	Angular             []float64 // rad/s
	AngularAcceleration []float64 // rad/s²
	// Budgets are the tables of contributions to the uncertainties, by result.
	Budgets map[string][]BudgetRow
	Cause   error // of the error code "internal"
}

// Has tells whether a flag with this code is set.
func (r *Report) Has(code FlagCode) bool {
	return slices.ContainsFunc(r.Flags, func(f Flag) bool { return f.Code == code })
}

// Partial tells whether there are results in spite of an error.
func (r *Report) Partial() bool { return r.Error != nil && len(r.Results) > 0 }
