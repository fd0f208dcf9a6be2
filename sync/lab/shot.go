package lab

import (
	"crypto/sha256"

	"github.com/google/uuid"

	"thudbook/sync/record"
)

// What a shot was fired for. All of them wear the ram but the second file of a
// stroke, for which the ram did not move again.
const (
	ShotHit         = "shot"
	ShotDry         = "dry"          // nothing was hit
	ShotSystemCheck = "system_check" // on the reference pad
	ShotSecondFile  = "second_file"  // no stroke: one more file of another shot's
)

// ShotKinds lists them.
func ShotKinds() []string { return []string{ShotHit, ShotDry, ShotSystemCheck, ShotSecondFile} }

// Where a shot's effective time came from.
const (
	FromMeta     = "meta"
	FromHeader   = "header"
	FromFileTime = "file time"
	FromTyped    = "typed"
	FromReceived = "received"
)

// The roles of a shot's attachments.
const (
	RoleSource = "source" // the acquisition's bytes
	RoleMap    = "map"    // the channel map it was read by
	RoleNote   = "note"
	RolePhoto  = "photo"
)

// Shot says that the ram was fired and what was recorded. The envelope's UID
// is the shot's id, its attachments hold the bytes.
type Shot struct {
	Rig           uuid.UUID   `json:"rig"`
	FileName      string      `json:"file_name"`
	FileTime      Time        `json:"file_time,omitempty"`
	SourceSHA256  record.Hash `json:"source_sha256"`
	MapSHA256     record.Hash `json:"map_sha256"` // when it was taken in; a score names its own. zero: the map was guessed
	EffectiveAt   Time        `json:"effective_at"`
	EffectiveFrom string      `json:"effective_from"`
	Kind          string      `json:"kind"`
	Meta                      // flat in the body
	MetaTyped     []string    `json:"meta_typed,omitempty"` // the fields of Meta that a person typed
}

// RecordKind is KindShot.
func (*Shot) RecordKind() record.Kind { return KindShot }

// SchemaVersion is ShotSchema.
func (*Shot) SchemaVersion() uint { return ShotSchema }

// Validate gives all faults at once.
func (s *Shot) Validate() error {
	c := &checks{what: KindShot}
	c.id("rig", s.Rig)
	c.fileName("file_name", s.FileName)
	c.hash("source_sha256", s.SourceSHA256)
	c.when("effective_at", s.EffectiveAt)
	c.oneOf("effective_from", s.EffectiveFrom, FromMeta, FromHeader, FromFileTime, FromTyped, FromReceived)
	c.oneOf("kind", s.Kind, ShotKinds()...)
	s.check(c)
	known := metaFields()
	for _, f := range s.MetaTyped {
		if !known[f] && f != "kind" {
			c.add("meta_typed", "there is no field "+f, "name a field of meta")
		}
	}
	return c.err()
}

// Void says that a shot does not count, or with Lifted that it counts again.
// The one of the highest turn holds, the newest by clock among equals. A void
// shot still wears the ram.
type Void struct {
	Shot   uuid.UUID `json:"shot"`
	Reason string    `json:"reason"`
	Lifted bool      `json:"lifted,omitempty"`
	Turn   uint32    `json:"turn,omitempty"` // one more than that of the one which the writer saw
}

// RecordKind is KindVoid.
func (*Void) RecordKind() record.Kind { return KindVoid }

// SchemaVersion is VoidSchema.
func (*Void) SchemaVersion() uint { return VoidSchema }

// Validate gives all faults at once.
func (v *Void) Validate() error {
	c := &checks{what: KindVoid}
	c.id("shot", v.Shot)
	c.needText("reason", v.Reason, MaxNote)
	return c.err()
}

// Sighting says that the bytes of a known shot were seen again under a new
// name or time. Whether it was another stroke, a person says.
type Sighting struct {
	Shot        uuid.UUID `json:"shot"`
	Rig         uuid.UUID `json:"rig"` // where it was seen; it wears that ram if it counts
	FileName    string    `json:"file_name"`
	FileTime    Time      `json:"file_time,omitempty"`
	Size        int64     `json:"size"`
	EffectiveAt Time      `json:"effective_at"` // of the stroke, if it was one
}

// RecordKind is KindSighting.
func (*Sighting) RecordKind() record.Kind { return KindSighting }

// SchemaVersion is SightingSchema.
func (*Sighting) SchemaVersion() uint { return SightingSchema }

// Validate gives all faults at once.
func (s *Sighting) Validate() error {
	c := &checks{what: KindSighting}
	c.id("shot", s.Shot)
	c.id("rig", s.Rig)
	c.fileName("file_name", s.FileName)
	c.count("size", s.Size)
	c.when("effective_at", s.EffectiveAt)
	return c.err()
}

// SightingSettled says what a sighting was; the newest by clock holds.
type SightingSettled struct {
	Sighting    uuid.UUID `json:"sighting"`
	CountStroke bool      `json:"count_stroke"` // false: the same shot
}

// RecordKind is KindSightingSettled.
func (*SightingSettled) RecordKind() record.Kind { return KindSightingSettled }

// SchemaVersion is SightingSettledSchema.
func (*SightingSettled) SchemaVersion() uint { return SightingSettledSchema }

// Validate gives all faults at once.
func (s *SightingSettled) Validate() error {
	c := &checks{what: KindSightingSettled}
	c.id("sighting", s.Sighting)
	return c.err()
}

// Quarantine says that bytes arrived in which nothing can be read; they are
// kept as the attachment with role RoleSource.
type Quarantine struct {
	Rig          uuid.UUID   `json:"rig"`
	FileName     string      `json:"file_name"`
	FileTime     Time        `json:"file_time,omitempty"`
	Size         int64       `json:"size"`
	SourceSHA256 record.Hash `json:"source_sha256"`
	Error        Fault       `json:"error"`
}

// RecordKind is KindQuarantine.
func (*Quarantine) RecordKind() record.Kind { return KindQuarantine }

// SchemaVersion is QuarantineSchema.
func (*Quarantine) SchemaVersion() uint { return QuarantineSchema }

// Validate gives all faults at once.
func (q *Quarantine) Validate() error {
	c := &checks{what: KindQuarantine}
	c.fileName("file_name", q.FileName)
	c.count("size", q.Size)
	c.hash("source_sha256", q.SourceSHA256)
	q.Error.check(c, "error")
	return c.err()
}

// QuarantineSettled takes bytes off the list of those that wait for a person;
// with Shot it names what they became. The newest by clock holds.
type QuarantineSettled struct {
	Quarantine uuid.UUID `json:"quarantine"`
	Shot       uuid.UUID `json:"shot"` // zero: they are no shot
	Reason     string    `json:"reason,omitempty"`
	Reopened   bool      `json:"reopened,omitempty"`
}

// RecordKind is KindQuarantineSettled.
func (*QuarantineSettled) RecordKind() record.Kind { return KindQuarantineSettled }

// SchemaVersion is QuarantineSettledSchema.
func (*QuarantineSettled) SchemaVersion() uint { return QuarantineSettledSchema }

// Validate gives all faults at once.
func (q *QuarantineSettled) Validate() error {
	c := &checks{what: KindQuarantineSettled}
	c.id("quarantine", q.Quarantine)
	c.text("reason", q.Reason, MaxNote)
	return c.err()
}

// ShotOf gives the id of the shot that some bytes are. It follows from the
// bytes, so that a file that is taken in twice, by a folder restored from a
// backup or by two agents that watch one share, is one shot.
func ShotOf(source record.Hash) uuid.UUID { return idOf("shot1", source) }

// QuarantineOf gives the id of the entry for bytes in which nothing can be read.
func QuarantineOf(source record.Hash) uuid.UUID { return idOf("quar1", source) }

func idOf(purpose string, source record.Hash) uuid.UUID {
	sum := sha256.Sum256(append([]byte(purpose), source[:]...))
	id := uuid.UUID(sum[:16])
	id[6] = id[6]&0x0f | 0x80 // version 8 of RFC 9562: made by a rule of our own
	id[8] = id[8]&0x3f | 0x80
	return id
}
