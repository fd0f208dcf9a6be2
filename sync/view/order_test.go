package view_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/kv/index"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// drawRecords makes a random history: few documents, labs and origins, so that
// records meet, with facts that contradict and precede each other.
func drawRecords(t *rapid.T, w *world) []record.Record {
	n := rapid.IntRange(1, 40).Draw(t, "records")
	out := make([]record.Record, 0, n)
	for i := range n {
		node := rapid.SampledFrom([]uuid.UUID{node1, node2, labtest.ID("node 3")}).Draw(t, "node")
		of := rapid.SampledFrom([]uuid.UUID{labA, labB}).Draw(t, "lab")
		clock := hlc.Time(rapid.IntRange(1, 20).Draw(t, "clock"))
		uid, b := drawFact(t, i)
		out = append(out, w.stated(node, of, clock, uid, b))
	}
	return out
}

func drawFact(t *rapid.T, i int) (uuid.UUID, lab.Body) {
	if rapid.IntRange(0, 6).Draw(t, "of a person") == 0 {
		return drawPerson(t)
	}
	doc := func(kind string) uuid.UUID { return labtest.ID(kind, rapid.IntRange(1, 2).Draw(t, kind)) }
	shot := doc("shot")
	at := lab.At(labtest.Start().Add(time.Duration(rapid.IntRange(0, 4000).Draw(t, "minutes")) * time.Minute))
	flip := rapid.Bool().Draw(t, "flip")
	reason := rapid.SampledFrom([]string{"loose", "late"}).Draw(t, "reason")
	item := rapid.SampledFrom([]uuid.UUID{ram1, ram2, sensor1}).Draw(t, "item")
	rig := rapid.SampledFrom([]uuid.UUID{rig1, rig2}).Draw(t, "rig")
	turn := rapid.Uint32Range(0, 2).Draw(t, "turn")
	switch rapid.IntRange(0, 34).Draw(t, "kind") {
	case 33, 34:
		k := &lab.Campaign{Name: reason, Specimens: []string{"H-01"}, LeastRestS: 600, Cells: []lab.Cell{{Location: "front", TargetSpeedMS: 5.5, ToleranceMS: 0.1, Planned: 2}}}
		if flip {
			k.Specimens, k.MostOutOfChamberS = []string{"H-02"}, 120
		}
		return labtest.ID("campaign", 1), k
	case 28:
		of := rapid.SampledFrom([]uuid.UUID{labA, labB}).Draw(t, "plan of")
		return lab.ServicePlanOf(of, "ram"), &lab.ServicePlan{Class: "ram", EveryStrokes: int64(i), AfterCheck: flip}
	case 21:
		return doc("review"), &lab.Review{Item: item, Found: labtest.ID("calibration", 2), Good: labtest.ID("calibration", 1), From: at, Until: at.Add(24 * time.Hour),
			GoodSensitivity: 1, FoundSensitivity: 1.04, SensitivityUnit: "mV/g", Course: rapid.SampledFrom([]string{lab.CourseWhole, lab.CourseLinear}).Draw(t, "course"), Why: reason}
	case 20:
		return doc("wenton"), &lab.WentOn{Rig: rig, What: []string{"ram: service overdue"}, Reason: reason, EffectiveAt: at, Until: at.Add(20 * time.Hour)}
	case 0, 1:
		s := labtest.Shot(rig, at.Time())
		s.Kind = rapid.SampledFrom(lab.ShotKinds()).Draw(t, "shot kind")
		s.ReferencePad = rapid.SampledFrom([]string{"", "P-1", "p-1"}).Draw(t, "pad")
		s.Specimen = rapid.SampledFrom([]string{"", "H-01", "h-01 ", "H-02"}).Draw(t, "specimen")
		return shot, s
	case 2:
		return shot, labtest.Score(shot, rapid.Float64Range(1, 9).Draw(t, "speed"), func(s *lab.Score) { s.Turn, s.MapSHA256 = turn, labtest.Hash(uint64(turn)) })
	case 3:
		return shot, &lab.Void{Shot: shot, Reason: reason, Lifted: flip, Turn: turn}
	case 4, 5, 6:
		return drawEdit(t)
	case 7:
		return doc("sighting"), &lab.Sighting{Shot: shot, Rig: rig, FileName: "again.csv", Size: int64(i), EffectiveAt: at}
	case 8:
		id := doc("sighting")
		return id, &lab.SightingSettled{Sighting: id, CountStroke: flip}
	case 9:
		q := doc("quarantine")
		return q, &lab.Quarantine{FileName: "bad.csv", Size: int64(i), SourceSHA256: labtest.Hash(7), Error: lab.Fault{Code: "empty_file", What: "the file is empty"}}
	case 10:
		q := doc("quarantine")
		return q, &lab.QuarantineSettled{Quarantine: q, Reason: reason, Reopened: flip}
	case 11:
		return item, &lab.Item{Class: lab.ClassRam, Serial: reason, CalibrationRequired: flip}
	case 12:
		return doc("mounting"), &lab.Mounting{Rig: rig, Position: rapid.SampledFrom([]string{"ram", "ax", "ay"}).Draw(t, "position"), Item: item, EffectiveAt: at, Also: flip}
	case 31:
		return doc("booking"), &lab.Booking{Rig: rig, From: at, To: at.Add(time.Duration(1+i) * time.Hour), Department: reason}
	case 32:
		id := doc("booking")
		return id, &lab.BookingCancelled{Booking: id, Reason: reason}
	case 29:
		return doc("order"), &lab.WorkOrder{Item: item, EffectiveAt: at, Cause: lab.OrderByPlan, What: reason, Parts: []lab.Part{{Name: "seal", Quantity: int64(1 + i)}}}
	case 30:
		id := doc("order")
		return id, &lab.OrderCancelled{Order: id, Reason: reason, Lifted: flip}
	case 13:
		s := &lab.Service{Item: item, EffectiveAt: at, Note: reason}
		if flip {
			s.WorkOrder = new(doc("order"))
		}
		return doc("service"), s
	case 14:
		return doc("calibration"), &lab.Calibration{Item: item, EffectiveAt: at, DueAt: at.Add(24 * time.Hour), Certificate: reason}
	case 15:
		kind := rapid.SampledFrom([]record.Kind{lab.KindItem, lab.KindMounting, lab.KindService, lab.KindCalibration, lab.KindReview, lab.KindPhoto, lab.KindDocument}).Draw(t, "withdrawn")
		id := map[record.Kind]uuid.UUID{lab.KindItem: item, lab.KindMounting: labtest.ID("mounting", 1), lab.KindService: labtest.ID("service", 1), lab.KindCalibration: labtest.ID("calibration", 1), lab.KindReview: labtest.ID("review", 1), lab.KindPhoto: labtest.ID("photo", 1), lab.KindDocument: labtest.ID("document", 1)}[kind]
		return id, &lab.Withdrawn{Doc: id, DocKind: kind, Reason: reason, Lifted: flip}
	case 16:
		return doc("state"), &lab.ItemState{Item: item, State: lab.StateQuarantined, EffectiveAt: at, Reason: reason}
	case 17:
		return doc("correction"), &lab.Correction{Item: item, Strokes: int64(1 + i), EffectiveAt: at, Reason: reason}
	case 18:
		i := &lab.Inspection{Shot: shot, Specimen: rapid.SampledFrom([]string{"H-01", "h-01 ", "H-02"}).Draw(t, "specimen"), EffectiveAt: at, Verdict: lab.VerdictPassed, Reason: reason}
		if flip {
			i.Verdict, i.Corrects = lab.VerdictFailed, []uuid.UUID{doc("inspection")}
		}
		return doc("inspection"), i
	case 19:
		n := &lab.Note{Topic: lab.NotePlain, EffectiveAt: at, Text: reason}
		if flip {
			n.Corrects = []uuid.UUID{doc("note")}
		}
		return doc("note"), n
	case 22:
		if rapid.Bool().Draw(t, "of an item") {
			return doc("document"), &lab.Document{Item: item, SHA256: labtest.Hash(uint64(30 + i)), EffectiveAt: at, Title: reason}
		}
		p := &lab.Photo{Shot: shot, SHA256: labtest.Hash(uint64(10 + i)), EffectiveAt: at, Note: reason}
		if flip {
			p.Shot, p.Specimen = uuid.Nil, rapid.SampledFrom([]string{"H-01", "h-01 "}).Draw(t, "shown")
		}
		return doc("photo"), p
	}
	if rapid.IntRange(0, 6).Draw(t, "of the lab") == 0 {
		return labA, &lab.Named{Name: reason}
	}
	return drawFiring(t, rig, at, reason, flip)
}

// drawFiring makes a fact about firing.
func drawFiring(t *rapid.T, rig uuid.UUID, at lab.Time, reason string, flip bool) (uuid.UUID, lab.Body) {
	doc := func(kind string) uuid.UUID { return labtest.ID(kind, rapid.IntRange(1, 2).Draw(t, kind)) }
	switch rapid.IntRange(0, 11).Draw(t, "firing") {
	case 9:
		k := &lab.CheckLimits{Rig: rig, Pad: "P-1", EffectiveAt: at, Anew: flip, Reason: reason}
		if !flip {
			k.Limits = []lab.CheckLimit{{Result: lab.CheckPeak, Most: new(95.0)}}
		}
		return doc("checklimits"), k
	case 10:
		return doc("absent"), &lab.Absent{Rig: rig, Position: rapid.SampledFrom([]string{"gate", " Gate"}).Draw(t, "absent at"), Reason: reason, EffectiveAt: at}
	case 11:
		return doc("rated"), &lab.Rated{Rig: rig, PressureKPaGauge: 160, MarkedOn: reason, EffectiveAt: at}
	case 0:
		step := lab.RunStep{Specimen: "H-01", Location: "front", TargetSpeedMS: 5.5, Hit: 1}
		return doc("campaign"), &lab.RunOrder{Campaign: doc("campaign"), Do: lab.RunSkip, Step: step, Reason: reason}
	case 1:
		return doc("expected"), &lab.Expected{Rig: rig, Kind: lab.ShotHit, EffectiveAt: at, Meta: lab.Meta{Specimen: reason}}
	case 2:
		id := doc("expected")
		return id, &lab.ExpectedSettled{Expected: id, Shot: doc("shot")}
	case 3:
		return doc("shot"), &lab.Accepted{Shot: doc("shot")}
	case 4:
		return doc("takenout"), &lab.TakenOut{Specimen: rapid.SampledFrom([]string{"H-01", "h-01 "}).Draw(t, "out"), EffectiveAt: at, Back: flip}
	case 5:
		b := &lab.Strokes{Rig: rig, Kind: lab.ShotDry, Number: 3, EffectiveAt: at}
		if flip {
			b.Kind, b.Specimen = lab.StrokeNoFile, "H-01"
		}
		return doc("strokes"), b
	case 6:
		return doc("reading"), &lab.CounterRead{Rig: rig, Counter: int64(at.Day()), EffectiveAt: at}
	case 7:
		return labA, &lab.Display{Pressure: rapid.SampledFrom(lab.PressureUnits()).Draw(t, "unit")}
	}
	kind := rapid.SampledFrom([]record.Kind{lab.KindStrokes, lab.KindCounterRead, lab.KindCheckLimits, lab.KindAbsent, lab.KindRated}).Draw(t, "withdrawn entry")
	id := map[record.Kind]uuid.UUID{lab.KindStrokes: labtest.ID("strokes", 1), lab.KindCounterRead: labtest.ID("reading", 1), lab.KindCheckLimits: labtest.ID("checklimits", 1), lab.KindAbsent: labtest.ID("absent", 1), lab.KindRated: labtest.ID("rated", 1)}[kind]
	return id, &lab.Withdrawn{Doc: id, DocKind: kind, Reason: reason, Lifted: flip}
}

func drawPerson(t *rapid.T) (uuid.UUID, lab.Body) {
	who := labtest.ID("person", rapid.IntRange(1, 2).Draw(t, "person"))
	switch rapid.IntRange(0, 3).Draw(t, "person kind") {
	case 0:
		return who, &lab.Withdrawn{Doc: who, DocKind: lab.KindPerson, Reason: "left", Lifted: rapid.Bool().Draw(t, "back")}
	case 1:
		who = labtest.ID("person", 2)
		return who, &lab.PersonErased{Person: who, Reason: "asked for it"}
	}
	return who, &lab.Person{CardSHA256: labtest.Hash(rapid.Uint64Range(1, 5).Draw(t, "card"))}
}

func drawEdit(t *rapid.T) (uuid.UUID, lab.Body) {
	type choice struct {
		kind  record.Kind
		doc   uuid.UUID
		field string
		value any
	}
	c := rapid.SampledFrom([]choice{
		{lab.KindShot, labtest.ID("shot", 1), "specimen", "H-01"},
		{lab.KindShot, labtest.ID("shot", 1), "specimen", "H-02"},
		{lab.KindShot, labtest.ID("shot", 1), "specimen", nil},
		{lab.KindShot, labtest.ID("shot", 2), "target_speed_m_s", 7.4},
		{lab.KindShot, labtest.ID("shot", 2), "effective_at", int64(lab.At(labtest.Start()))},
		{lab.KindShot, labtest.ID("shot", 1), "extra.lot", "L7"},
		{lab.KindShot, labtest.ID("shot", 1), "kind", lab.ShotSystemCheck},
		{lab.KindShot, labtest.ID("shot", 1), "reference_pad", "P-2"},
		{lab.KindCampaign, labtest.ID("campaign", 1), "least_rest_s", 60},
		{lab.KindCampaign, labtest.ID("campaign", 1), "least_rest_s", 86_400},
		{lab.KindCampaign, labtest.ID("campaign", 1), "specimens", []string{"h-01", "H-02"}},
		{lab.KindItem, ram1, "serial", "R-9"},
		{lab.KindItem, ram1, "service_every_strokes", 500},
		{lab.KindServicePlan, lab.ServicePlanOf(labA, "ram"), "every_days", 40},
		{lab.KindWorkOrder, labtest.ID("order", 1), "assigned_to", "workshop"},
		{lab.KindServicePlan, lab.ServicePlanOf(labA, "ram"), "after_speed_drift", true},
		{lab.KindShot, labtest.ID("shot", 1), "specimen", 12},       // of the wrong type
		{lab.KindShot, labtest.ID("shot", 1), "no_such_field", "x"}, // of a newer program
	}).Draw(t, "edit")
	raw, err := record.EncodeBody(c.value)
	if err != nil {
		t.Fatalf("encode: %v", err)
	}
	e := &lab.FieldEdit{Doc: c.doc, DocKind: c.kind, Field: c.field, Value: raw}
	for range rapid.IntRange(0, 2).Draw(t, "bases") {
		e.Base = append(e.Base, lab.EditRef{
			Node: rapid.SampledFrom([]uuid.UUID{node1, node2}).Draw(t, "base node"), Epoch: 1,
			Seq: uint64(rapid.IntRange(1, 10).Draw(t, "base seq")),
		})
	}
	return c.doc, e
}

// Any order of arrival gives the same bytes in every table, and in small parts
// gives the same as all at once.
func TestOrderDoesNotMatter(t *testing.T) {
	worlds := []*world{openWorld(t), openWorld(t)}
	var rows, odd, people int
	rapid.Check(t, func(rt *rapid.T) {
		for _, w := range worlds {
			w.empty(rt)
		}
		recs := drawRecords(rt, worlds[0])
		worlds[0].together(recs)
		shuffled := append([]record.Record(nil), recs...)
		seed := rapid.Uint64().Draw(rt, "order")
		rand.New(rand.NewPCG(seed, 0)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		for part := range slices.Chunk(shuffled, 1+int(seed%12)) {
			worlds[1].together(part)
		}
		same(rt, worlds[0], worlds[1])
		sameFlags(rt, worlds[0], worlds[1])
		// The property would hold of views that keep nothing.
		l, err := worlds[0].Shots(worlds[0].ctx(), scope.All(), view.ShotFilter{}, view.Page{})
		if err != nil {
			rt.Fatalf("shots: %v", err)
		}
		o, err := worlds[0].Odd(worlds[0].ctx(), scope.All(), 0)
		if err != nil {
			rt.Fatalf("odd: %v", err)
		}
		p, err := worlds[0].People(worlds[0].ctx(), scope.All())
		if err != nil {
			rt.Fatalf("people: %v", err)
		}
		rows, odd, people = rows+len(l.Rows), odd+len(o), people+len(p)
	})
	if rows == 0 || odd == 0 || people == 0 {
		t.Errorf("the histories made %d shots, %d unusable records and %d people; all must occur", rows, odd, people)
	}
}

// sameFlags compares what both say of the state of rigs and of plans, which is
// computed when asked for; it counts the flags of changed plans.
func sameFlags(t tb, a, b *world) (changed int) {
	t.Helper()
	l, err := a.Shots(a.ctx(), scope.All(), view.ShotFilter{}, view.Page{})
	if err != nil {
		t.Fatalf("shots: %v", err)
	}
	for _, r := range l.Rows {
		x, err := a.RigFlags(a.ctx(), scope.Labs(r.Lab), r.ID)
		if err != nil {
			t.Fatalf("flags: %v", err)
		}
		y, err := b.RigFlags(b.ctx(), scope.Labs(r.Lab), r.ID)
		if err != nil || !slices.Equal(x, y) {
			t.Fatalf("the flags of shot %s depend on the order of arrival: %v\n%v\n%v", r.ID, err, x, y)
		}
		for _, f := range x {
			if f.Code == lab.FlagPlanChanged {
				changed++
			}
		}
	}
	return changed
}

func same(t tb, a, b *world) {
	t.Helper()
	err := a.store.View(a.ctx(), func(ra kv.Reader) error {
		return b.store.View(b.ctx(), func(rb kv.Reader) error {
			diff, err := index.Compare(ra, rb, a.set.Tables()...)
			for _, d := range diff {
				t.Fatalf("%s\n%q\n%q", d, d.A, d.B)
			}
			return err
		})
	})
	if err != nil {
		t.Fatalf("compare: %v", err)
	}
}
