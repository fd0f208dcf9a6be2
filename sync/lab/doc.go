// Package lab holds the facts of a test laboratory: shots, scores, equipment,
// calibrations, campaigns. Each is the body of one record; a correction is a
// new record, never a change.
//
// Rules that the views rely on:
//   - A fact about a document is written for the document's own lab. A lab
//     that changed its id keeps writing about old documents under the old id.
//   - The envelope's UID is the id of the document: for a shot, score or void
//     that of the shot; for a mounting, service or calibration its own.
//   - Times are UTC milliseconds; zero means that nothing was recorded.
//   - A pointer that is nil, and an empty string, mean "not recorded".
package lab

import (
	"fmt"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// The kinds of facts.
const (
	KindShot              record.Kind = "shot"
	KindScore             record.Kind = "score"
	KindVoid              record.Kind = "void"
	KindEdit              record.Kind = "edit"
	KindSighting          record.Kind = "sighting"
	KindSightingSettled   record.Kind = "sighting.settled"
	KindQuarantine        record.Kind = "quarantine"
	KindQuarantineSettled record.Kind = "quarantine.settled"
	KindRig               record.Kind = "rig"
	KindItem              record.Kind = "item"
	KindMounting          record.Kind = "mounting"
	KindService           record.Kind = "service"
	KindCalibration       record.Kind = "calibration"
	KindWithdrawn         record.Kind = "withdrawn"
	KindCampaign          record.Kind = "campaign"
	KindNamed             record.Kind = "lab.named"
	KindItemState         record.Kind = "item.state"
	KindCorrection        record.Kind = "counter.corrected"
	KindInspection        record.Kind = "inspection"
	KindNote              record.Kind = "note"
	KindWentOn            record.Kind = "went.on"
)

// The layout versions of the bodies, as written by this program. A body of an
// earlier version lacks the fields that came later, and reads as if they had
// not been recorded.
const (
	ShotSchema              uint = 1
	ScoreSchema             uint = 5
	VoidSchema              uint = 1
	EditSchema              uint = 1
	SightingSchema          uint = 1
	SightingSettledSchema   uint = 1
	QuarantineSchema        uint = 1
	QuarantineSettledSchema uint = 1
	RigSchema               uint = 1
	ItemSchema              uint = 3
	MountingSchema          uint = 2
	ServiceSchema           uint = 4
	CalibrationSchema       uint = 4
	WithdrawnSchema         uint = 1
	CampaignSchema          uint = 4
	NamedSchema             uint = 1
	ItemStateSchema         uint = 1
	CorrectionSchema        uint = 1
	InspectionSchema        uint = 1
	NoteSchema              uint = 1
	WentOnSchema            uint = 1
)

// Body is one fact. Validate gives all faults at once, joined; each is a
// *problem.Error.
type Body interface {
	RecordKind() record.Kind
	SchemaVersion() uint
	Validate() error
}

// MaxBody is the largest body; the rest of a record is for its envelope and attachments.
const MaxBody = record.MaxBytes - 4<<10

// Encode validates a fact and gives the bytes of the record's body.
func Encode(b Body) (kind record.Kind, schema uint, body []byte, err error) {
	if err := b.Validate(); err != nil {
		return "", 0, nil, err
	}
	body, err = record.EncodeBody(b)
	if err != nil {
		return "", 0, nil, fmt.Errorf("encode %s: %w", b.RecordKind(), err)
	}
	if len(body) > MaxBody {
		return "", 0, nil, &problem.Error{Code: problem.TooLarge, What: fmt.Sprintf("the fact has %d bytes, the most is %d", len(body), MaxBody),
			Where: string(b.RecordKind()), Fix: "shorten its texts, divide it, or attach files"}
	}
	return b.RecordKind(), b.SchemaVersion(), body, nil
}
