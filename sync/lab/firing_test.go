package lab_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
)

// What is wrong with a fact about firing is named by its field.
func TestFactsAboutFiringAreChecked(t *testing.T) {
	at, id := lab.At(labtest.Start()), labtest.ID("x")
	step := lab.RunStep{Specimen: "H-01", Location: "front", TargetSpeedMS: 5.5, Hit: 1}
	for _, good := range []lab.Body{
		&lab.RunOrder{Campaign: id, Do: lab.RunLast, Step: step},
		&lab.Expected{Rig: id, Kind: lab.ShotHit, EffectiveAt: at, MetaTyped: []string{"ambient_c"}},
		&lab.ExpectedSettled{Expected: id, Shot: id}, &lab.Accepted{Shot: id}, &lab.TakenOut{Specimen: "H-01", EffectiveAt: at},
		&lab.Strokes{Rig: id, Kind: lab.StrokeNoFile, Number: 1, EffectiveAt: at}, &lab.CounterRead{Rig: id, EffectiveAt: at},
		&lab.Strokes{Rig: id, Kind: lab.StrokeNoFile, Number: 1, EffectiveAt: at, Specimen: "H-01", Location: "front", Condition: "hot", TargetSpeedMS: new(5.5)}, &lab.Display{Pressure: "bar"},
	} {
		if _, _, _, err := lab.Encode(good); err != nil {
			t.Errorf("%s: %v", good.RecordKind(), err)
		}
	}
	for field, bad := range map[string]lab.Body{
		"reason":           &lab.RunOrder{Campaign: id, Do: lab.RunSkip, Step: step},
		"before":           &lab.RunOrder{Campaign: id, Do: lab.RunBefore, Step: step},
		"step, hit":        &lab.RunOrder{Campaign: id, Do: lab.RunLast, Step: lab.RunStep{Specimen: "H", Location: "l", TargetSpeedMS: 1}},
		"target_speed_m_s": &lab.Expected{Rig: id, Kind: lab.ShotHit, EffectiveAt: at, Meta: lab.Meta{TargetSpeedMS: new(1000.0)}},
		"meta_typed":       &lab.Expected{Rig: id, Kind: lab.ShotHit, EffectiveAt: at, MetaTyped: []string{"colour"}},
		"settled, reason":  &lab.ExpectedSettled{Expected: id},
		"shot":             &lab.Accepted{Shot: uuid.Nil},
		"specimen":         &lab.TakenOut{Specimen: "  ", EffectiveAt: at},
		"number":           &lab.Strokes{Rig: id, Kind: lab.ShotDry, EffectiveAt: at},
		"kind":             &lab.Strokes{Rig: id, Kind: lab.ShotHit, Number: 1, EffectiveAt: at},
		"a dry stroke":     &lab.Strokes{Rig: id, Kind: lab.ShotDry, Number: 1, EffectiveAt: at, Specimen: "H-01"},
		"location":         &lab.Strokes{Rig: id, Kind: lab.StrokeNoFile, Number: 1, EffectiveAt: at, Specimen: "H-01", Location: strings.Repeat("x", lab.MaxText+1)},
		"counter":          &lab.CounterRead{Rig: id, Counter: -1, EffectiveAt: at},
		"pressure":         &lab.Display{Pressure: "atm"},
	} {
		if err := bad.Validate(); err == nil || !strings.Contains(err.Error(), field) {
			t.Errorf("%s with a bad %s: %v", bad.RecordKind(), field, err)
		}
	}
}
