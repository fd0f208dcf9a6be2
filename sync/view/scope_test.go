package view_test

import (
	"reflect"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Every exported read shows its documents to a scope that holds their lab, and
// to any other answers as if there were none.
func TestEveryReadTakesItsScope(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	now := at.Add(24 * time.Hour)
	shot, campaign, sighting, bad := labtest.ID("shot"), labtest.ID("campaign"), labtest.ID("sighting"), labtest.ID("bad")
	w.say(labA, &lab.Named{Name: "Lab A"})
	w.say(rig1, &lab.Rig{Name: "Rig 1"})
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R", CalibrationRequired: true})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(at)})
	w.say(labtest.ID("s"), &lab.Service{Item: ram1, EffectiveAt: lab.At(at)})
	w.say(labtest.ID("c"), &lab.Calibration{Item: ram1, EffectiveAt: lab.At(at), DueAt: lab.At(now), Certificate: "C"})
	w.say(labtest.ID("st"), &lab.ItemState{Item: ram1, State: lab.StateQuarantined, EffectiveAt: lab.At(at), Reason: "R"})
	w.say(labtest.ID("k"), &lab.Correction{Item: ram1, Strokes: 3, EffectiveAt: lab.At(at), Reason: "R"})
	w.say(campaign, &lab.Campaign{Name: "C", Specimens: []string{"H-01"}, Cells: []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, Planned: 1}}})
	w.say(campaign, &lab.RunOrder{Campaign: campaign, Do: lab.RunSkip, Step: lab.RunStep{Specimen: "H-01", Location: "front", TargetSpeedMS: 5.5, Hit: 1}, Reason: "R"})
	w.say(shot, labtest.Shot(rig1, at.Add(time.Hour)))
	w.say(labtest.ID("unassigned"), labtest.Shot(rig1, at.Add(time.Hour), func(s *lab.Shot) { s.Meta = lab.Meta{} }))
	w.say(shot, labtest.Score(shot, 5.5))
	w.saidWith(900, labtest.ID("by map"), labtest.Shot(rig1, at.Add(time.Hour), func(s *lab.Shot) { s.MapSHA256 = labtest.Hash(2) }), 2)
	without := labtest.ID("without a channel")
	w.say(without, labtest.Shot(rig1, at.Add(90*time.Minute)))
	w.say(without, labtest.Score(without, 5.5, func(s *lab.Score) { delete(s.Results, "peak_linear_acceleration") }))
	e, err := lab.NewEdit(shot, lab.KindShot, "operator", "op-2")
	if err != nil {
		t.Fatal(err)
	}
	w.say(shot, e)
	w.say(shot, &lab.Void{Shot: shot, Reason: "counted after all", Lifted: true})
	w.say(sighting, &lab.Sighting{Shot: shot, Rig: rig1, FileName: "again.csv", EffectiveAt: lab.At(at)})
	w.say(bad, &lab.Quarantine{FileName: "bad.csv", SourceSHA256: labtest.Hash(7), Error: lab.Fault{Code: "empty_file", What: "the file is empty"}})
	inspection, note := labtest.ID("inspection"), labtest.ID("note")
	w.say(inspection, &lab.Inspection{Shot: shot, Specimen: "h-01", EffectiveAt: lab.At(at), Verdict: lab.VerdictFailed, Reason: "bar parted"})
	w.say(note, &lab.Note{Topic: lab.NotePlain, EffectiveAt: lab.At(at), Text: "cold hall"})
	photo := labtest.ID("photo")
	w.say(photo, &lab.Photo{Specimen: "h-01", SHA256: labtest.Hash(8), EffectiveAt: lab.At(at)})
	document := labtest.ID("document")
	w.say(document, &lab.Document{Item: ram1, SHA256: labtest.Hash(9), EffectiveAt: lab.At(at)})
	w.say(labtest.ID("e"), &lab.Expected{Rig: rig1, Kind: lab.ShotHit, EffectiveAt: lab.At(at)})
	w.say(shot, &lab.Accepted{Shot: shot})
	w.say(labtest.ID("o"), &lab.TakenOut{Specimen: "H-01", EffectiveAt: lab.At(at)})
	w.say(labA, &lab.Display{Pressure: "psi"})
	w.say(labtest.ID("off"), &lab.ItemState{Item: ram1, State: lab.StateInService, EffectiveAt: lab.At(at), Reason: "R"})
	w.say(labtest.ID("off"), &lab.Withdrawn{Doc: labtest.ID("off"), DocKind: lab.KindItemState, Reason: "of another ram"})
	w.say(labtest.ID("u"), &lab.Strokes{Rig: rig1, Kind: lab.ShotDry, Number: 1, EffectiveAt: lab.At(at)})
	w.say(labtest.ID("u2"), &lab.Strokes{Rig: rig1, Kind: lab.StrokeNoFile, Number: 1, Specimen: "H-01", EffectiveAt: lab.At(at)})
	w.say(labtest.ID("r"), &lab.CounterRead{Rig: rig1, Counter: 1, EffectiveAt: lab.At(at)})
	w.say(labtest.ID("on"), &lab.WentOn{Rig: rig1, What: []string{"ram"}, Reason: "R", EffectiveAt: lab.At(at), Until: lab.At(at.Add(2 * time.Hour))})
	w.edit(campaign, "least_rest_s", 60)
	check := labtest.ID("check")
	w.say(check, labtest.Shot(rig1, at.Add(2*time.Hour), func(s *lab.Shot) { s.Kind, s.ReferencePad = lab.ShotSystemCheck, "P-1" }))
	w.say(labtest.ID("absent"), &lab.Absent{Rig: rig1, Position: "gate", Reason: "R", EffectiveAt: lab.At(at)})
	w.say(labtest.ID("rated"), &lab.Rated{Rig: rig1, PressureKPaGauge: 800, MarkedOn: "relief valve", EffectiveAt: lab.At(at)})
	w.say(labtest.ID("head"), &lab.Mounting{Rig: rig1, Position: lab.ClassHeadForm, Item: labtest.ID("headform"), EffectiveAt: lab.At(at)})
	w.say(labtest.ID("limits"), &lab.CheckLimits{Rig: rig1, Pad: "P-1", EffectiveAt: lab.At(at)})
	w.say(labtest.ID("k1"), &lab.Calibration{Item: ram1, EffectiveAt: lab.At(at.Add(-9 * time.Hour)), DueAt: lab.At(now), Certificate: "K-1", Sensitivity: new(1.0), SensitivityUnit: "mV/g"})
	w.say(labtest.ID("k2"), &lab.Calibration{Item: ram1, EffectiveAt: lab.At(at.Add(-8 * time.Hour)), DueAt: lab.At(now), Certificate: "K-2", Sensitivity: new(1.1), SensitivityUnit: "mV/g", AsFoundLimitPercent: new(1.0)})
	w.say(labtest.ID("booking"), &lab.Booking{Rig: rig1, From: lab.At(at), To: lab.At(now), Department: "D"})
	w.say(labtest.ID("order"), &lab.WorkOrder{Item: ram1, EffectiveAt: lab.At(at), Cause: lab.OrderByHand, What: "W"})
	w.say(lab.ServicePlanOf(labA, "ram"), &lab.ServicePlan{Class: "ram", EveryStrokes: 100})
	w.say(labtest.ID("review"), &lab.Review{Item: ram1, Found: labtest.ID("k2"), Good: labtest.ID("k1"), From: lab.At(at.Add(-9 * time.Hour)), Until: lab.At(at.Add(-8 * time.Hour)),
		GoodSensitivity: 1, FoundSensitivity: 1.1, SensitivityUnit: "mV/g", Course: lab.CourseWhole, Why: "R"})
	person := labtest.ID("person")
	w.say(person, &lab.Person{CardSHA256: labtest.Hash(9)})
	w.say(person, &lab.PersonErased{Person: person, Reason: "asked for it"})
	odd := w.stated(node1, labA, 5000, labtest.ID("odd"), labtest.Shot(rig1, at))
	odd.Body = []byte{0xff}
	w.apply(odd)

	ctx := w.ctx()
	reads := map[string]func(scope.Scope) (int, error){
		"Labs":    func(s scope.Scope) (int, error) { return size(w.Labs(ctx, s, 0)) },
		"Odd":     func(s scope.Scope) (int, error) { return size(w.Odd(ctx, s, 0)) },
		"History": func(s scope.Scope) (int, error) { return size(w.History(ctx, s, lab.KindShot, shot)) },
		"Shots":   func(s scope.Scope) (int, error) { return rows(w.Shots(ctx, s, view.ShotFilter{}, view.Page{})) },
		"Shot":    func(s scope.Scope) (int, error) { return single(w.Shot(ctx, s, shot)) },
		"Scores":  func(s scope.Scope) (int, error) { return size(w.Scores(ctx, s, shot)) },
		"ScoresOf": func(s scope.Scope) (n int, err error) {
			all, err := w.FiredWith(ctx, onlyA, ram1, 0, lab.At(now)+1)
			if err != nil || len(all) == 0 {
				t.Fatalf("%d shots to read the scores of, %v", len(all), err)
			}
			err = w.ScoresOf(ctx, s, all, func(_ int, scores []view.ScoreRow) error {
				n += len(scores)
				return nil
			})
			return n, err
		},
		"ToAssign":   func(s scope.Scope) (int, error) { return rows(w.ToAssign(ctx, s, view.Page{})) },
		"Incomplete": func(s scope.Scope) (int, error) { return rows(w.Incomplete(ctx, s, view.Page{})) },
		"Sightings": func(s scope.Scope) (int, error) {
			return rows(w.Sightings(ctx, s, view.SightingFilter{Open: true}, view.Page{}))
		},
		"SightingsOf": func(s scope.Scope) (int, error) { return size(w.SightingsOf(ctx, s, shot)) },
		"Voids":       func(s scope.Scope) (int, error) { return size(w.Voids(ctx, s, shot)) },
		"Sighting":    func(s scope.Scope) (int, error) { return single(w.Sighting(ctx, s, sighting)) },
		"Quarantine":  func(s scope.Scope) (int, error) { return rows(w.Quarantine(ctx, s, false, view.Page{})) },
		"Quarantined": func(s scope.Scope) (int, error) { return single(w.Quarantined(ctx, s, bad)) },
		"Items":       func(s scope.Scope) (int, error) { return rows(w.Items(ctx, s, "", view.Page{})) },
		"Item":        func(s scope.Scope) (int, error) { return single(w.Item(ctx, s, ram1)) },
		"Rigs":        func(s scope.Scope) (int, error) { return rows(w.Rigs(ctx, s, view.Page{})) },
		"Rig":         func(s scope.Scope) (int, error) { return single(w.Rig(ctx, s, rig1)) },
		"WithdrawnFacts": func(s scope.Scope) (int, error) {
			f, err := w.WithdrawnFacts(ctx, s, ram1)
			return len(f.States), err
		},
		"Services":         func(s scope.Scope) (int, error) { return size(w.Services(ctx, s, ram1)) },
		"Calibrations":     func(s scope.Scope) (int, error) { return size(w.Calibrations(ctx, s, ram1)) },
		"Calibration":      func(s scope.Scope) (int, error) { return single(w.Calibration(ctx, s, labtest.ID("c"))) },
		"Mountings":        func(s scope.Scope) (int, error) { return size(w.Mountings(ctx, s, ram1)) },
		"Mounted":          func(s scope.Scope) (int, error) { return size(w.Mounted(ctx, s, rig1, lab.At(now))) },
		"RamUsage":         func(s scope.Scope) (int, error) { return single(w.RamUsage(ctx, s, ram1, now)) },
		"Usages":           func(s scope.Scope) (int, error) { return rows(w.Usages(ctx, s, lab.ClassRam, now, view.Page{})) },
		"SensorsDue":       func(s scope.Scope) (int, error) { return rows(w.SensorsDue(ctx, s, now, view.Page{})) },
		"CalibrationAt":    func(s scope.Scope) (int, error) { return single(w.CalibrationAt(ctx, s, ram1, lab.At(now))) },
		"MapsUsed":         func(s scope.Scope) (int, error) { return size(w.MapsUsed(ctx, s, rig1)) },
		"Sits":             func(s scope.Scope) (int, error) { return size(w.Sits(ctx, s, ram1, lab.At(now))) },
		"SensorsOf":        func(s scope.Scope) (int, error) { return size(w.SensorsOf(ctx, s, shot)) },
		"Campaigns":        func(s scope.Scope) (int, error) { return rows(w.Campaigns(ctx, s, view.Page{})) },
		"Campaign":         func(s scope.Scope) (int, error) { return single(w.Campaign(ctx, s, campaign)) },
		"CampaignProgress": func(s scope.Scope) (int, error) { return single(w.CampaignProgress(ctx, s, campaign, labA)) },
		"States":           func(s scope.Scope) (int, error) { return size(w.States(ctx, s, ram1)) },
		"StateAt":          func(s scope.Scope) (int, error) { return single(w.StateAt(ctx, s, ram1, lab.At(now))) },
		"Corrections":      func(s scope.Scope) (int, error) { return size(w.Corrections(ctx, s, ram1)) },
		"ServiceDue":       func(s scope.Scope) (int, error) { return single(w.ServiceDue(ctx, s, ram1, now)) },
		"Wear":             func(s scope.Scope) (int, error) { return single(w.Wear(ctx, s, ram1, now)) },
		"Inspections": func(s scope.Scope) (int, error) {
			return rows(w.Inspections(ctx, s, view.InspectionFilter{}, view.Page{}))
		},
		"Inspection": func(s scope.Scope) (int, error) { return single(w.Inspection(ctx, s, inspection)) },
		"Document":   func(s scope.Scope) (int, error) { return single(w.Document(ctx, s, document)) },
		"Documents":  func(s scope.Scope) (int, error) { return size(w.Documents(ctx, s, ram1)) },
		"Photo":      func(s scope.Scope) (int, error) { return single(w.Photo(ctx, s, photo)) },
		"Photos":     func(s scope.Scope) (int, error) { return size(w.Photos(ctx, s, uuid.Nil, "H-01")) },
		"SpecimensOut": func(s scope.Scope) (int, error) {
			out, err := w.SpecimensOut(ctx, s, campaign, labA)
			return len(out), err
		},
		"SpecimenOut": func(s scope.Scope) (int, error) {
			row, err := w.SpecimenOut(ctx, s, "H-01", labA)
			if row == nil {
				return 0, err
			}
			return 1, err
		},
		"Note":          func(s scope.Scope) (int, error) { return single(w.Note(ctx, s, note)) },
		"Service":       func(s scope.Scope) (int, error) { return single(w.Service(ctx, s, labtest.ID("s"))) },
		"Notes":         func(s scope.Scope) (int, error) { return rows(w.Notes(ctx, s, view.LogFilter{}, view.Page{})) },
		"ServicesDone":  func(s scope.Scope) (int, error) { return rows(w.ServicesDone(ctx, s, view.LogFilter{}, view.Page{})) },
		"MountingsDone": func(s scope.Scope) (int, error) { return rows(w.MountingsDone(ctx, s, view.LogFilter{}, view.Page{})) },
		"CertificatesMade": func(s scope.Scope) (int, error) {
			return rows(w.CertificatesMade(ctx, s, view.LogFilter{}, view.Page{}))
		},
		"VoidsMade":    func(s scope.Scope) (int, error) { return rows(w.VoidsMade(ctx, s, view.LogFilter{}, view.Page{})) },
		"Skips":        func(s scope.Scope) (int, error) { return rows(w.Skips(ctx, s, view.LogFilter{}, view.Page{})) },
		"RunOrder":     func(s scope.Scope) (int, error) { return single(w.RunOrder(ctx, s, campaign)) },
		"Expected":     func(s scope.Scope) (int, error) { return there(w.Expected(ctx, s, labtest.ID("e"))) },
		"LastExpected": func(s scope.Scope) (int, error) { return there(w.LastExpected(ctx, s, rig1)) },
		"LastHit":      func(s scope.Scope) (int, error) { return there(w.LastHit(ctx, s, "H-01", lab.At(now))) },
		"Accepted":     func(s scope.Scope) (int, error) { return there(w.Accepted(ctx, s, shot)) },
		"Acceptances":  func(s scope.Scope) (int, error) { return size(w.Acceptances(ctx, s, shot)) },
		"Unfiled":      func(s scope.Scope) (int, error) { return rows(w.Unfiled(ctx, s, rig1, view.Page{})) },
		"UnfiledHits":  func(s scope.Scope) (int, error) { return rows(w.UnfiledHits(ctx, s, "h-01", view.Page{})) },
		"Readings":     func(s scope.Scope) (int, error) { return size(w.Readings(ctx, s, rig1, 0, lab.At(now))) },
		"TakenOut": func(s scope.Scope) (int, error) {
			at, err := w.TakenOut(ctx, s, "H-01")
			return int(at), err
		},
		"OutSince": func(s scope.Scope) (int, error) { return size(w.OutSince(ctx, s, lab.At(at))) },
		"PressureUnit": func(s scope.Scope) (int, error) {
			unit, err := w.PressureUnit(ctx, s)
			return len(unit), err
		},
		"RigMountings": func(s scope.Scope) (int, error) { return size(w.RigMountings(ctx, s, rig1, 10)) },
		"Mounting":     func(s scope.Scope) (int, error) { return single(w.Mounting(ctx, s, labtest.ID("m"))) },
		"WentOnWithin": func(s scope.Scope) (int, error) {
			return size(w.WentOnWithin(ctx, s, rig1, lab.At(at.Add(-time.Hour)), lab.At(now)))
		},
		"WentOnAt": func(s scope.Scope) (int, error) {
			return size(w.WentOnAt(ctx, s, rig1, lab.At(at.Add(time.Hour))))
		},
		"Check":    func(s scope.Scope) (int, error) { return there(w.Check(ctx, s, check)) },
		"Checks":   func(s scope.Scope) (int, error) { return size(w.Checks(ctx, s, rig1, 9)) },
		"AbsentAt": func(s scope.Scope) (int, error) { return size(w.AbsentAt(ctx, s, rig1, lab.At(now))) },
		"RatedAt":  func(s scope.Scope) (int, error) { return there(w.RatedAt(ctx, s, rig1, lab.At(now))) },
		"CheckSetup": func(s scope.Scope) (int, error) {
			c, err := w.CheckSetup(ctx, s, rig1, lab.At(now), nil)
			if c == (view.CheckSetup{}) {
				return 0, err
			}
			return 1, err
		},
		"CheckLimits": func(s scope.Scope) (int, error) { return size(w.CheckLimits(ctx, s, rig1, "P-1")) },
		"PlanChanged": func(s scope.Scope) (int, error) { return there(w.PlanChanged(ctx, s, campaign)) },
		"RigFlags":    func(s scope.Scope) (int, error) { return size(w.RigFlags(ctx, s, shot)) },
		"People":      func(s scope.Scope) (int, error) { return size(w.People(ctx, s)) },
		"Person":      func(s scope.Scope) (int, error) { return single(w.Person(ctx, s, person)) },
		"FiredWith": func(s scope.Scope) (int, error) {
			return size(w.FiredWith(ctx, s, ram1, lab.At(at.Add(-time.Hour)), lab.At(now)))
		},
		"FoundOut": func(s scope.Scope) (int, error) { return size(w.FoundOut(ctx, s, ram1)) },
		"Reviews":  func(s scope.Scope) (int, error) { return size(w.Reviews(ctx, s, ram1)) },
		"Review":   func(s scope.Scope) (int, error) { return single(w.Review(ctx, s, labtest.ID("review"))) },
		"CardErased": func(s scope.Scope) (int, error) {
			gone, err := w.CardErased(ctx, s, labtest.Hash(9))
			if gone {
				return 1, err
			}
			return 0, err
		},
		"Booking": func(s scope.Scope) (int, error) { return single(w.Booking(ctx, s, labtest.ID("booking"))) },
		"Booked":  func(s scope.Scope) (int, error) { return size(w.Booked(ctx, s, rig1, lab.At(at), lab.At(now))) },
		"Bookings": func(s scope.Scope) (int, error) {
			return size(w.Bookings(ctx, s, view.BookingFilter{From: lab.At(at), To: lab.At(now)}))
		},
		"WorkOrder": func(s scope.Scope) (int, error) { return single(w.WorkOrder(ctx, s, labtest.ID("order"))) },
		"WorkOrders": func(s scope.Scope) (int, error) {
			return rows(w.WorkOrders(ctx, s, view.WorkOrderFilter{}, view.Page{}))
		},
		"OpenOrders":   func(s scope.Scope) (int, error) { return size(w.OpenOrders(ctx, s, ram1)) },
		"OrdersToSee":  func(s scope.Scope) (int, error) { return size(w.OrdersToSee(ctx, s, ram1)) },
		"Sat":          func(s scope.Scope) (int, error) { return size(w.Sat(ctx, s, ram1, 0, lab.At(now))) },
		"ServicePlan":  func(s scope.Scope) (int, error) { return single(w.ServicePlan(ctx, s, lab.ServicePlanOf(labA, "ram"))) },
		"ServicePlans": func(s scope.Scope) (int, error) { return rows(w.ServicePlans(ctx, s, view.Page{})) },
		"Strokes": func(s scope.Scope) (int, error) {
			n, err := w.Strokes(ctx, s, rig1, lab.At(at), lab.At(now))
			return int(n), err
		},
	}
	for typ, i := reflect.TypeFor[*view.Reader](), 0; i < typ.NumMethod(); i++ {
		name := typ.Method(i).Name
		if typ.Method(i).Type.NumIn() < 3 || typ.Method(i).Type.In(2) != reflect.TypeFor[scope.Scope]() {
			t.Errorf("%s takes no scope", name)
		}
		read, ok := reads[name]
		if !ok {
			t.Errorf("%s is not in this table", name)
			continue
		}
		for _, s := range []scope.Scope{scope.All(), scope.Labs(labA), scope.Labs(labB, labA)} {
			if n, err := read(s); err != nil || n == 0 {
				t.Errorf("%s shows %d, %v to a scope with the lab", name, n, err)
			}
		}
		for _, s := range []scope.Scope{{}, scope.Labs(labB), scope.Labs(), scope.All().Only(labB)} {
			if n, err := read(s); n != 0 || err != nil && problem.Of(err) != problem.NotFound {
				t.Errorf("%s shows %d, %v to a scope without the lab", name, n, err)
			}
		}
	}
}

func size[T any](all []T, err error) (int, error) { return len(all), err }

func rows[T any](l view.List[T], err error) (int, error) { return len(l.Rows), err }

func single[T any](_ T, err error) (int, error) {
	if err != nil {
		return 0, err
	}
	return 1, nil
}

func there[T any](row *T, err error) (int, error) {
	if row == nil || err != nil {
		return 0, err
	}
	return 1, nil
}

// A foreign id and one that nobody uses are answered alike.
func TestForeignAndUnknownAreAlike(t *testing.T) {
	w := openWorld(t)
	shot := labtest.ID("shot")
	w.say(shot, labtest.Shot(rig1, labtest.Start()))
	_, foreign := w.Shot(w.ctx(), scope.Labs(labB), shot)
	_, unknown := w.Shot(w.ctx(), scope.Labs(labB), labtest.ID("no shot"))
	a, okA := problem.As(foreign)
	b, okB := problem.As(unknown)
	if !okA || !okB || a.Code != problem.NotFound || a.Code != b.Code || a.What != b.What || a.Fix != b.Fix {
		t.Errorf("foreign: %v; unknown: %v", foreign, unknown)
	}
}

// A lab that writes under the ids of another changes nothing there.
func TestForgedIDsTouchNothing(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	shot := labtest.ID("shot")
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R"})
	w.say(labtest.ID("m"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(at)})
	w.say(shot, labtest.Shot(rig1, at.Add(time.Hour)))
	state := func() [3]any {
		s, err1 := w.Shot(w.ctx(), onlyA, shot)
		u, err2 := w.RamUsage(w.ctx(), onlyA, ram1, at.Add(48*time.Hour))
		m, err3 := w.Mounted(w.ctx(), onlyA, rig1, lab.At(at.Add(48*time.Hour)))
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		return [3]any{s, u, m}
	}
	before := state()
	e, err := lab.NewEdit(shot, lab.KindShot, "specimen", "stolen")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []struct {
		uid  uuid.UUID
		body lab.Body
	}{
		{shot, &lab.Void{Shot: shot, Reason: "forged"}}, {shot, e}, {shot, labtest.Shot(rig1, at.Add(2*time.Hour))},
		{shot, labtest.Score(shot, 1)}, {labtest.ID("sv"), &lab.Service{Item: ram1, EffectiveAt: lab.At(at.Add(3 * time.Hour))}},
		{labtest.ID("k"), &lab.Correction{Item: ram1, Strokes: 5, EffectiveAt: lab.At(at), Reason: "forged"}},
		{labtest.ID("st"), &lab.ItemState{Item: ram1, State: lab.StateRetired, EffectiveAt: lab.At(at), Reason: "forged"}},
		{labtest.ID("u"), &lab.Strokes{Rig: rig1, Kind: lab.ShotDry, Number: 9, EffectiveAt: lab.At(at.Add(time.Minute))}},
		{labtest.ID("r1"), &lab.CounterRead{Rig: rig1, Counter: 1, EffectiveAt: lab.At(at.Add(time.Minute))}},
		{labtest.ID("r2"), &lab.CounterRead{Rig: rig1, Counter: 100, EffectiveAt: lab.At(at.Add(2 * time.Minute))}},
		{labtest.ID("m9"), &lab.Mounting{Rig: rig1, Position: "ram", EffectiveAt: lab.At(at.Add(time.Minute))}},
		{labtest.ID("m"), &lab.Withdrawn{Doc: labtest.ID("m"), DocKind: lab.KindMounting, Reason: "forged"}},
	} {
		w.sayAs(node2, labB, f.uid, f.body)
		if after := state(); !reflect.DeepEqual(before, after) {
			t.Fatalf("a %s of another lab changed what this one sees:\n%+v\n%+v", f.body.RecordKind(), before, after)
		}
	}
}

// A lab under two ids, before and after it was enrolled, is one list.
func TestAliasesMerge(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	for i := range 6 {
		w.sayAs(node1, []record.LabID{labA, labB}[i%2], labtest.ID("s", i), labtest.Shot(rig1, at.Add(time.Duration(i)*time.Minute)))
	}
	l, err := w.Shots(w.ctx(), scope.Labs(labA, labB), view.ShotFilter{Oldest: true}, view.Page{})
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range l.Rows {
		if s.ID != labtest.ID("s", i) {
			t.Errorf("row %d is shot %v", i, s.ID)
		}
	}
	if n, err := w.Strokes(w.ctx(), scope.Labs(labA, labB), rig1, lab.At(at), lab.At(at.Add(time.Hour))); err != nil || n != 6 || len(l.Rows) != 6 {
		t.Errorf("%d strokes, %d rows, %v; want 6 of each", n, len(l.Rows), err)
	}
}

func TestFindSource(t *testing.T) {
	w := openWorld(t)
	s := labtest.Shot(rig1, labtest.Start())
	w.say(labtest.ID("shot"), s)
	w.say(labtest.ID("bad"), &lab.Quarantine{FileName: "bad.csv", SourceSHA256: labtest.Hash(7), Error: lab.Fault{Code: "empty_file", What: "the file is empty"}})
	w.say(labtest.ID("again"), &lab.Sighting{Shot: labtest.ID("shot"), Rig: rig1, FileName: "again.csv", FileTime: 5, EffectiveAt: 5})
	err := w.store.Update(w.ctx(), func(tx kv.Tx) error {
		src, ok, err := w.set.FindSource(tx, onlyA, s.SourceSHA256)
		if err != nil || !ok || src.Shot != labtest.ID("shot") || src.FileName != s.FileName {
			t.Errorf("of a shot: %+v, %v, %v", src, ok, err)
		}
		src, ok, err = w.set.FindSource(tx, onlyA, labtest.Hash(7))
		if err != nil || !ok || src.Quarantine != labtest.ID("bad") || src.Shot != uuid.Nil {
			t.Errorf("of a quarantine: %+v, %v, %v", src, ok, err)
		}
		for _, c := range []struct {
			sc scope.Scope
			h  record.Hash
		}{{onlyA, labtest.Hash(8)}, {scope.Labs(labB), s.SourceSHA256}, {scope.Labs(labB), labtest.Hash(7)}} {
			if src, ok, err := w.set.FindSource(tx, c.sc, c.h); ok || err != nil {
				t.Errorf("found %+v, %v", src, err)
			}
		}
		for _, c := range []struct {
			name string
			time lab.Time
			want bool
		}{{s.FileName, s.FileTime, true}, {"again.csv", 5, true}, {"again.csv", 6, false}, {"new.csv", s.FileTime, false}} {
			if got, err := w.set.KnownSighting(tx, onlyA, labtest.ID("shot"), c.name, c.time); err != nil || got != c.want {
				t.Errorf("known as %s at %v: %v, %v; want %v", c.name, c.time, got, err, c.want)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
