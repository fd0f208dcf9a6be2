package lab

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// Result is one metric of a shot.
type Result struct {
	Value               float64  `json:"value"`
	Unit                string   `json:"unit"`
	ExpandedUncertainty *float64 `json:"expanded_uncertainty,omitempty"` // k = 2, in Unit
	AtS                 *float64 `json:"at_s,omitempty"`
	FromS               *float64 `json:"from_s,omitempty"`
	ToS                 *float64 `json:"to_s,omitempty"`
	Definition          string   `json:"definition,omitempty"` // which of several published forms
	Note                string   `json:"note,omitempty"`
}

// Flag says why a result may not be trusted.
type Flag struct {
	Code    string `json:"code"`
	Channel string `json:"channel,omitempty"`
	Text    string `json:"text"`
}

// Fault is what is wrong with an acquisition file, with its place.
type Fault struct {
	Code    string `json:"code"`
	What    string `json:"what"`
	Line    int    `json:"line,omitempty"`
	Column  int    `json:"column,omitempty"`
	Channel string `json:"channel,omitempty"`
	Fix     string `json:"fix"`
}

func (f *Fault) check(c *checks, field string) {
	c.needText(field+".code", f.Code, MaxText)
	c.needText(field+".what", f.What, MaxNote)
	c.text(field+".fix", f.Fix, MaxNote)
	c.text(field+".channel", f.Channel, MaxText)
	c.count(field+".line", int64(f.Line))
	c.count(field+".column", int64(f.Column))
}

// RecordInfo describes the time base of the recording.
type RecordInfo struct {
	Samples   int     `json:"samples"`
	RateHz    float64 `json:"rate_hz"`
	StartS    float64 `json:"start_s"`
	DurationS float64 `json:"duration_s"`
	Uneven    bool    `json:"uneven,omitempty"`
}

// Processing names what was done to the samples before the metrics.
type Processing struct {
	BaselineMS   float64        `json:"baseline_ms"`
	CornerFactor float64        `json:"corner_factor"`
	EndTreatment string         `json:"end_treatment,omitempty"`
	CFC          map[string]int `json:"cfc,omitempty"` // by channel; 0: unfiltered
	Derivative   string         `json:"derivative,omitempty"`
	MovedToCG    bool           `json:"moved_to_cg,omitempty"`
	ResampledHz  float64        `json:"resampled_hz,omitempty"` // 0: the times of the file
}

// UsedCalibration is a calibration that was in force when the shot was fired, and
// what the score took of it.
type UsedCalibration struct {
	Calibration     uuid.UUID `json:"calibration"` // the entry
	Position        string    `json:"position"`
	Certificate     string    `json:"certificate,omitempty"`
	TookSensitivity bool      `json:"took_sensitivity,omitempty"`
	TookUncertainty bool      `json:"took_uncertainty,omitempty"`

	// Since version 2: the sensitivity that a review put in the place of the certificate's.
	CorrectedSensitivity *float64 `json:"corrected_sensitivity,omitempty"`

	// Since version 4: the sensor measured at several positions, so that no sensitivity was taken.
	SeveralAxes bool `json:"several_axes,omitempty"`
}

// Bounds of one score, so that it fits in a record.
const (
	MaxFlags            = 100
	MaxFaults           = 20
	MaxUsedCalibrations = 64
	MaxPositions        = 256
)

// Score says what was computed from a shot's bytes, and with what. A rescore
// is another Score; the one of the highest turn is shown, the newest by clock
// among equals, and the older ones stay.
type Score struct {
	Shot         uuid.UUID         `json:"shot"`
	Engine       string            `json:"engine"`
	MapSHA256    record.Hash       `json:"map_sha256"`            // of the map that it was computed by; zero: guessed
	GuessedMap   string            `json:"guessed_map,omitempty"` // TOML, when no map was given
	TypedSpeedMS *float64          `json:"typed_speed_m_s,omitempty"`
	Record       *RecordInfo       `json:"record,omitempty"`
	Processing   *Processing       `json:"processing,omitempty"`
	Calibrations []UsedCalibration `json:"calibrations,omitempty"`
	Results      map[string]Result `json:"results,omitempty"`
	Flags        []Flag            `json:"flags,omitempty"`
	Error        *Fault            `json:"error,omitempty"`  // the gravest
	Faults       []Fault           `json:"faults,omitempty"` // all, when there are several

	// Since version 2: the reviews whose corrected sensitivities were used.
	Reviews []uuid.UUID `json:"reviews,omitempty"`

	// Since version 3: comparisons of sensors that measure the same at the same place.
	Twins []Twins `json:"twins,omitempty"`

	// Since version 4: why a person had it computed by another channel map. The
	// map is then an attachment of the record.
	Reason string `json:"reason,omitempty"`

	// Since version 5: the positions at which what the channels measure sits, the
	// columns of the stated map; none where the map was guessed.
	Positions []string `json:"positions,omitempty"`

	// Turn is one more than that of the score which the writer saw, so that a
	// score by a clock that was ahead does not outlast those that follow it.
	Turn uint32 `json:"turn,omitempty"`
}

// Twins compares two channels that measure the same at the same place.
type Twins struct {
	Channel  string  `json:"channel"` // that the results use
	Twin     string  `json:"twin"`
	Measures string  `json:"measures"`
	Value    float64 `json:"value"` // of Channel: the speed, or the largest amount
	Other    float64 `json:"other"` // of Twin
	Unit     string  `json:"unit"`
	Limit    float64 `json:"most_apart"` // share of Value
}

// Apart is the difference as a share of Value, positive where the twin reads more.
func (t *Twins) Apart() float64 { return t.Other/t.Value - 1 }

// MaxTwins bounds the comparisons of one score.
const MaxTwins = 32

func (s *Score) checkTwins(c *checks) {
	if n := len(s.Twins); n > MaxTwins {
		c.add("twins", fmt.Sprintf("%d comparisons, the most is %d", n, MaxTwins), "keep the first")
	}
	for i := range s.Twins {
		t := &s.Twins[i]
		c.needText("twins, channel", t.Channel, MaxText)
		c.needText("twins, twin", t.Twin, MaxText)
		c.needText("twins, measures", t.Measures, MaxText)
		c.text("twins, unit", t.Unit, MaxText)
		c.number("twins, value", &t.Value, 1e-12, 1e12)
		c.number("twins, other", &t.Other, 0, 1e12)
		c.number("twins, most_apart", &t.Limit, 0, 1e3)
	}
}

// RecordKind is KindScore.
func (*Score) RecordKind() record.Kind { return KindScore }

// SchemaVersion is ScoreSchema.
func (*Score) SchemaVersion() uint { return ScoreSchema }

// Validate gives all faults at once.
func (s *Score) Validate() error {
	c := &checks{what: KindScore}
	c.id("shot", s.Shot)
	c.needText("engine", s.Engine, MaxText)
	c.text("reason", s.Reason, MaxNote)
	for _, name := range slices.Sorted(maps.Keys(s.Results)) {
		r := s.Results[name]
		c.needText("name of a result", name, MaxText)
		c.text(name+".unit", r.Unit, MaxText)
		for _, v := range []*float64{&r.Value, r.ExpandedUncertainty, r.AtS, r.FromS, r.ToS} {
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				c.add(name, "the value is not a finite number", "leave the result out and flag why")
			}
		}
	}
	if len(s.Flags) > MaxFlags {
		c.add("flags", fmt.Sprintf("%d flags, the most is %d", len(s.Flags), MaxFlags), "merge flags of one kind")
	}
	if len(s.Faults) > MaxFaults {
		c.add("faults", fmt.Sprintf("%d faults, the most is %d", len(s.Faults), MaxFaults), "keep the gravest")
	}
	if len(s.Calibrations) > MaxUsedCalibrations {
		c.add("calibrations", fmt.Sprintf("%d calibrations, the most is %d", len(s.Calibrations), MaxUsedCalibrations), "leave out those that were not used")
	}
	for i := range s.Calibrations {
		k := &s.Calibrations[i]
		c.id("calibration", k.Calibration)
		c.needText("calibration position", k.Position, MaxText)
		c.text("calibration certificate", k.Certificate, MaxText)
		c.number("corrected sensitivity", k.CorrectedSensitivity, -1e12, 1e12)
	}
	if len(s.Reviews) > MaxUsedCalibrations {
		c.add("reviews", fmt.Sprintf("%d reviews, the most is %d", len(s.Reviews), MaxUsedCalibrations), "name those that were used")
	}
	if n := len(s.Positions); n > MaxPositions {
		c.add("positions", fmt.Sprintf("%d positions, the most is %d", n, MaxPositions), "keep the first")
	}
	for _, name := range s.Positions {
		c.needText("position", name, MaxText)
	}
	for _, id := range s.Reviews {
		c.id("review", id)
	}
	s.checkTwins(c)
	for i := range s.Faults {
		s.Faults[i].check(c, "fault")
	}
	for i := range s.Flags {
		c.needText("flag code", s.Flags[i].Code, MaxText)
		c.text("flag channel", s.Flags[i].Channel, MaxText)
		c.text("flag text", s.Flags[i].Text, MaxNote)
	}
	if s.Error != nil {
		s.Error.check(c, "error")
	}
	return c.err()
}

// RestsOnTyped says whether the score was computed with a typed speed, in m/s; nil
// is one too: none.
func (s *Score) RestsOnTyped(speedMS *float64) bool {
	if s.TypedSpeedMS == nil || speedMS == nil {
		return s.TypedSpeedMS == speedMS
	}
	return *s.TypedSpeedMS == *speedMS
}
