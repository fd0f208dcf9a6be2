// Package labtest makes invented shots, equipment and whole labs for tests.
package labtest

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// Start is when the invented labs begin.
func Start() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }

// ID makes the same id from the same words each time.
func ID(parts ...any) uuid.UUID {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Append(nil, parts...))
}

// Hash makes the same sum from the same number each time.
func Hash(n uint64) record.Hash { return sha256.Sum256(binary.BigEndian.AppendUint64(nil, n)) }

// Shot is a valid, assigned hit; change mends it.
func Shot(rig uuid.UUID, at time.Time, change ...func(*lab.Shot)) *lab.Shot {
	s := &lab.Shot{
		Rig: rig, FileName: "shot-" + at.Format("20060102-150405.000") + ".csv", FileTime: lab.At(at),
		SourceSHA256: Hash(uint64(at.UnixNano()) ^ binary.BigEndian.Uint64(rig[8:])), MapSHA256: Hash(1),
		EffectiveAt: lab.At(at), EffectiveFrom: lab.FromMeta, Kind: lab.ShotHit,
		Meta: lab.Meta{
			Specimen: "H-01", Location: "front", Condition: "ambient",
			TargetSpeedMS: new(5.5), TankPressureKPaGauge: new(165.0), FiredAt: lab.At(at), Operator: "op-1",
		},
	}
	for _, f := range change {
		f(s)
	}
	return s
}

// Score is a valid score with invented figures at a speed.
func Score(shot uuid.UUID, speedMS float64, change ...func(*lab.Score)) *lab.Score {
	g := 12 * math.Pow(speedMS, 1.2)
	s := &lab.Score{
		Shot: shot, Engine: "test", MapSHA256: Hash(1),
		Results: map[string]lab.Result{
			"peak_linear_acceleration":  {Value: g, Unit: "g", ExpandedUncertainty: new(0.02 * g), AtS: new(0.006)},
			"hic15":                     {Value: 1.6 * g, FromS: new(0.002), ToS: new(0.011)},
			"severity_index":            {Value: 2.1 * g},
			"peak_angular_velocity":     {Value: 0.2 * g, Unit: "rad/s", AtS: new(0.012)},
			"peak_angular_acceleration": {Value: 40 * g, Unit: "rad/s2", AtS: new(0.005)},
			"impact_speed":              {Value: speedMS, Unit: "m/s"},
		},
		Flags: []lab.Flag{{Code: "uncertainty_unknown", Text: "no uncertainty is given for the light gate"}},
	}
	for _, f := range change {
		f(s)
	}
	return s
}

// Draft encodes a fact about a document.
func Draft(t testing.TB, uid uuid.UUID, b lab.Body, attachments ...record.Attachment) ledger.Draft {
	t.Helper()
	kind, schema, body, err := lab.Encode(b)
	if err != nil {
		t.Fatalf("encode %s: %v", b.RecordKind(), err)
	}
	return ledger.Draft{Kind: kind, Schema: schema, Author: "tester", UID: uid, Body: body, Attachments: attachments}
}

// Append writes facts and fails the test if that fails.
func Append(t testing.TB, l *ledger.Ledger, id record.LabID, drafts ...ledger.Draft) []record.Record {
	t.Helper()
	recs, err := l.Append(t.Context(), id, drafts...)
	if err != nil {
		t.Fatalf("append: %v", err)
	}
	return recs
}
