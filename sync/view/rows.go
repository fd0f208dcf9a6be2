package view

import (
	"slices"
	"time"

	"github.com/google/uuid"

	"thudbook/metrics/score"
	"thudbook/sync/lab"
	"thudbook/sync/record"
)

// Head is what every row has: which document, who stated it, what is unsettled.
type Head struct {
	ID         uuid.UUID
	Lab        record.LabID
	Author     string
	RecordedAt time.Time // by the writing node's own clock, UTC; evidence only
	Edited     map[string]Edit
	Unusable   []string // edited fields whose value does not fit; the value before stands
	Twin       bool     // stated more than once; the earliest holds
	Withdrawn  *Mark    // nil: it stands
	MarkTurn   uint32   // of the last mark, whether it stands by it or not

	stamp Stamp // of the record that states it
}

// Base gives the edits that a new edit of the field replaces.
func (h *Head) Base(field string) []lab.EditRef {
	e, ok := h.Edited[field]
	if !ok {
		return nil
	}
	refs := []lab.EditRef{e.Ref}
	for _, o := range e.Others {
		refs = append(refs, o.Ref)
	}
	return refs
}

// Conflicts names the fields with more than one value to settle.
func (h *Head) Conflicts() []string {
	var out []string
	for name, e := range h.Edited {
		if len(e.Others) > 0 {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// Unsettled names those of the conflicts that a person has to settle before
// anything new may rest on the value (see lab.SettledByPerson).
func (h *Head) Unsettled(kind record.Kind) []string {
	return slices.DeleteFunc(h.Conflicts(), func(field string) bool { return !lab.SettledByPerson(kind, field) })
}

// Edit is the state of one edited field.
type Edit struct {
	Value  any // as decoded from CBOR
	Ref    lab.EditRef
	Author string
	Others []Edit // made without sight of this one, with other values; newest first
}

// Mark says that something was ended, and by whom.
type Mark struct {
	Stamp  Stamp     `json:"t"`
	Author string    `json:"a"`
	Reason string    `json:"r,omitempty"`
	Turn   uint32    `json:"u,omitempty"`
	Lifted bool      `json:"l,omitempty"`
	Count  bool      `json:"n,omitempty"` // a sighting that counts as a stroke
	Shot   uuid.UUID `json:"s"`           // what quarantined bytes became
	By     uuid.UUID `json:"b,omitzero"`  // the document that corrects it
}

// Figures is the short form of a score that lists show.
type Figures struct {
	PeakG                      *float64 `json:"pg,omitempty"`
	SeverityIndex              *float64 `json:"si,omitempty"`
	HIC15                      *float64 `json:"h15,omitempty"`
	HIC36                      *float64 `json:"h36,omitempty"`
	PeakAngularVelocityRadS    *float64 `json:"pav,omitempty"`
	PeakAngularAccelerationRS2 *float64 `json:"paa,omitempty"`
	ImpactSpeedMS              *float64 `json:"v,omitempty"`
	RamEnergyJ                 *float64 `json:"e,omitempty"`
	Flags                      []string `json:"f,omitempty"` // codes, each once
	Error                      string   `json:"err,omitempty"`
	Engine                     string   `json:"eng"`
}

// ShotRow is one shot with its edits applied.
type ShotRow struct {
	Head
	Shot        lab.Shot
	AsMade      lab.Shot // before all edits
	Attachments []record.Attachment
	Figures     *Figures // nil: not scored yet
	ScoreTurn   uint32   // of the score that holds

	scored   Stamp       // of the score that holds
	scoredBy record.Hash // the channel map of the score that holds
}

// Scored is the stamp of the score that holds; zero: not scored yet. What was drawn
// from the bytes holds as long as it is the same.
func (r *ShotRow) Scored() Stamp { return r.scored }

// ScoredBefore says that the score which holds was made before a fact was
// recorded, and so without it, in the order of their clocks.
func (r *ShotRow) ScoredBefore(h *Head) bool {
	return r.Figures != nil && r.scored.Compare(h.stamp) < 0
}

// Map is the channel map that the shot is read by: that of the score which holds,
// else the one by which it was taken in. Zero: guessed.
func (r *ShotRow) Map() record.Hash {
	if r.scoredBy != (record.Hash{}) {
		return r.scoredBy
	}
	return r.Shot.MapSHA256
}

// Void says that the shot does not count.
func (r *ShotRow) Void() bool { return r.Withdrawn != nil }

// SpeedMS is the speed that the shot is judged by: measured in the file, or else the
// one in its meta as it is recorded now; nil when there is neither.
func (r *ShotRow) SpeedMS() *float64 { return speedOf(&r.Shot, r.Figures) }

func speedOf(s *lab.Shot, f *Figures) *float64 {
	if f != nil && f.ImpactSpeedMS != nil && !slices.Contains(f.Flags, string(score.Manual)) {
		return f.ImpactSpeedMS
	}
	return s.SpeedMS
}

// Attachment finds the first attachment of a role.
func (r *ShotRow) Attachment(role string) (record.Attachment, bool) {
	return attachment(r.Attachments, role)
}

func attachment(all []record.Attachment, role string) (record.Attachment, bool) {
	for _, a := range all {
		if a.Role == role {
			return a, true
		}
	}
	return record.Attachment{}, false
}

// ScoreRow is one score of a shot.
type ScoreRow struct {
	Stamp      Stamp
	Author     string
	RecordedAt time.Time
	Score      lab.Score
	Map        *record.Attachment // kept with it: another than that of the shot; nil: none
}

// VoidChange says that a shot was made void, or with Lifted that it counts again.
type VoidChange struct {
	Author     string
	RecordedAt time.Time
	Reason     string
	Lifted     bool
}

// SightingRow is bytes of a known shot seen again.
type SightingRow struct {
	Head
	Sighting lab.Sighting
	Settled  *Mark // nil: a person has to say what it was
}

// QuarantineRow is bytes in which nothing can be read.
type QuarantineRow struct {
	Head
	Quarantine lab.Quarantine
	Settled    *Mark // nil: waits for a person
}

// ItemRow is one piece of equipment with its edits applied.
type ItemRow struct {
	Head
	Item lab.Item
}

// RigRow is one rig.
type RigRow struct {
	Head
	Rig lab.Rig
}

// MountingRow is one mounting.
type MountingRow struct {
	Head
	Mounting lab.Mounting
}

// ServiceRow is one service.
type ServiceRow struct {
	Head
	Service lab.Service
}

// CalibrationRow is one certificate.
type CalibrationRow struct {
	Head
	Calibration lab.Calibration
	Attachments []record.Attachment
}

// CampaignRow is one plan with its edits applied.
type CampaignRow struct {
	Head
	Campaign lab.Campaign
}

// LabRow is a lab with its name and counts.
type LabRow struct {
	Lab        record.LabID
	Name       string // "" until it is named
	Shots      int64
	ToAssign   int64
	Quarantine int64
	Sightings  int64 // that wait for a person
}

// OddRow is a record of a known kind that the views cannot use. It stays in
// the log; a newer program may read it.
type OddRow struct {
	Lab    record.LabID
	Ref    lab.EditRef
	Kind   record.Kind
	Author string
	Why    string
}
