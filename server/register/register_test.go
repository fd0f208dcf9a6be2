package register_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/server/stocklist"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/web/httpkit"
)

type desk struct {
	*testing.T
	*labtest.Node
	r     *register.Register
	who   account.Principal
	place roster.Place
}

func open(t *testing.T) *desk {
	n := labtest.Open(t)
	of := labtest.ID("lab")
	d := &desk{T: t, Node: n, r: &register.Register{Ledger: n.Ledger, Views: n.Reader}, who: account.Principal{ID: labtest.ID("p"), Administrator: true},
		place: roster.Place{ID: of, Scope: scope.Labs(of)}}
	labtest.Append(t, n.Ledger, of, labtest.Draft(t, labtest.ID("rig 1"), &lab.Rig{Name: "Rig 1"}), labtest.Draft(t, labtest.ID("rig 2"), &lab.Rig{Name: "Rig 2"}))
	return d
}

func (d *desk) record(b lab.Body) uuid.UUID {
	d.Helper()
	id, err := d.r.Record(d.Context(), d.who, d.place, b)
	if err != nil {
		d.Fatalf("%s: %v", b.RecordKind(), err)
	}
	return id
}

func day(n int) lab.Time { return lab.At(labtest.Start().AddDate(0, 0, n)) }

// What contradicts the history is refused at its field; what is only unlikely
// is taken once it is confirmed. Nothing that was recorded disappears.
func TestBadInput(t *testing.T) {
	d := open(t)
	ram := d.record(&lab.Item{Class: lab.ClassRam, Serial: "R-1", AssetNumber: "A-1", OpeningStrokes: 100})
	sensor := d.record(&lab.Item{Class: lab.ClassSensor, Serial: "S-1", CalibrationRequired: true})
	gauge := d.record(&lab.Item{Class: lab.ClassPressureTransducer, Serial: "P-1"})
	old := d.record(&lab.Item{Class: lab.ClassHose, Serial: "H-1"})
	d.record(&lab.Service{Item: ram, EffectiveAt: day(10), CounterStrokes: new(int64(4100))})
	d.record(&lab.Calibration{Item: sensor, EffectiveAt: day(0), DueAt: day(365), Certificate: "K-1", Sensitivity: new(1.02), SensitivityUnit: "mV/g"})
	d.record(&lab.Mounting{Rig: labtest.ID("rig 1"), Position: "ax", Item: sensor, EffectiveAt: day(1)})
	d.record(&lab.ItemState{Item: old, State: lab.StateRetired, EffectiveAt: day(5), Reason: "ten years old"})
	k := func(s float64, unit, certificate string) *lab.Calibration {
		return &lab.Calibration{Item: sensor, EffectiveAt: day(300), DueAt: day(700), Certificate: certificate, Sensitivity: &s, SensitivityUnit: unit}
	}
	cases := []struct {
		what       string
		body       lab.Body
		where, say string
		doubt      bool // may be confirmed
	}{
		{"a service at fewer strokes", &lab.Service{Item: ram, EffectiveAt: day(20), CounterStrokes: new(int64(4099))}, "counter_strokes", "showed 4100 strokes; 4099 are fewer", false},
		{"a late service at more strokes", &lab.Service{Item: ram, EffectiveAt: day(5), CounterStrokes: new(int64(4101))}, "counter_strokes", "4101 are more", false},
		{"due before it was made", &lab.Calibration{Item: sensor, EffectiveAt: day(9), DueAt: day(8), Certificate: "K"}, "calibration, due_at", "due before it was made", false},
		{"the other sign", k(-1.02, "mV/g", "K-2"), "sensitivity", "other sign", true},
		{"V for mV", k(0.00103, "mV/g", "K-21"), "sensitivity", "0.00101 times the 1.02", true},
		{"mV for V", k(1015, "mV/g", "K-22"), "sensitivity", "995 times the 1.02", true},
		{"another unit", k(10.4, "mV/(m/s2)", "K-23"), "sensitivity_unit", "in mV/g, this one in mV/(m/s2)", true},
		{"a unit of another class", &lab.Calibration{Item: gauge, EffectiveAt: day(1), DueAt: day(300), Certificate: "K-3", Sensitivity: new(1.0), SensitivityUnit: "mV/g"}, "sensitivity_unit", "a pressure transducer has no sensitivity in mV/g", true},
		{"of another class", &lab.Calibration{Item: ram, EffectiveAt: day(1), DueAt: day(300), Certificate: "K-3", CertifiedClass: "Sensor"}, "certified_class", "for a Sensor, the item is a ram", true},
		{"of another serial number", &lab.Calibration{Item: ram, EffectiveAt: day(1), DueAt: day(300), Certificate: "K-31", CertifiedSerial: "R-7"}, "certified_serial", "for serial number R-7", true},
		{"the same certificate again", &lab.Calibration{Item: sensor, EffectiveAt: day(0), DueAt: day(365), Certificate: "k-1"}, "certificate", "recorded for the item already", false},
		{"a serial number twice", &lab.Item{Class: lab.ClassRam, Serial: "r-1 "}, "serial", "with this serial number already", false},
		{"a serial number of another class", &lab.Item{Class: lab.ClassNeck, Serial: "R-1"}, "serial", "The lab has ram, R-1", true},
		{"an asset number twice", &lab.Item{Class: lab.ClassNeck, Serial: "N-1", AssetNumber: "a-1"}, "asset_number", "is that of ram, R-1", false},
		{"two places at once", &lab.Mounting{Rig: labtest.ID("rig 2"), Position: "ax", Item: sensor, EffectiveAt: day(1)}, "effective_at", "at another place (position ax)", false},
		{"a retired item", &lab.Mounting{Rig: labtest.ID("rig 2"), Position: "hose", Item: old, EffectiveAt: day(6)}, "item", "retired since 2026-03-07 (ten years old)", false},
		{"a counter below zero", &lab.Correction{Item: ram, Strokes: -101, EffectiveAt: day(1), Reason: "x"}, "strokes", "stood at 100 strokes then; 101 cannot", false},
		{"an item that is not there", &lab.Correction{Item: labtest.ID("none"), Strokes: 1, EffectiveAt: day(1), Reason: "x"}, "item", "no such item", false},
	}
	for _, c := range cases {
		_, err := d.r.Record(d.Context(), d.who, d.place, c.body)
		all := httpkit.Problems(err)
		if len(all) != 1 || all[0].Where != c.where || !strings.Contains(all[0].What, c.say) || all[0].Fix == "" {
			t.Errorf("%s: %v, want one fault at %s that says %q", c.what, err, c.where, c.say)
		}
	}
	if rows, err := d.Reader.Calibrations(d.Context(), d.place.Scope, sensor); err != nil || len(rows) != 1 {
		t.Errorf("what was refused was written: %d certificates, %v", len(rows), err)
	}
	for _, c := range cases {
		if _, err := d.r.RecordConfirmed(d.Context(), d.who, d.place, c.body, true); (err == nil) != c.doubt {
			t.Errorf("%s, confirmed: %v", c.what, err)
		}
	}
	// A retired item may be mounted before it was, and a move is no contradiction.
	d.record(&lab.Mounting{Rig: labtest.ID("rig 2"), Position: "hose", Item: old, EffectiveAt: day(4)})
	d.record(&lab.Mounting{Rig: labtest.ID("rig 2"), Position: "ax", Item: sensor, EffectiveAt: day(2)})
	d.record(&lab.Service{Item: ram, EffectiveAt: day(20), CounterStrokes: new(int64(4100))})
}

// A list of one new and one changed item becomes records, once, and only as it
// was shown.
func TestTakeList(t *testing.T) {
	d := open(t)
	ram := d.record(&lab.Item{Class: lab.ClassRam, Serial: "R-1", ServiceEveryStrokes: 500})
	now := labtest.Start().Add(time.Hour)
	list, err := stocklist.Read([]byte("class,serial,asset_number,service_every_strokes,state,location\nram,R-1,A-1,800,quarantined,shelf\nhose,H-1,A-2,,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	plan := func() *stocklist.Plan {
		have, _, err := d.r.Stock(d.Context(), d.place.Scope, now)
		if err != nil {
			t.Fatal(err)
		}
		p, err := list.Compare(have)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	p := plan()
	if p.New != 1 || p.Edit != 1 {
		t.Fatalf("plan %+v", p)
	}
	take := func(digest string) error {
		_, err := d.r.TakeList(d.Context(), d.who, d.place, list, digest, now)
		return err
	}
	if err := take("another"); problem.Of(err) != problem.Conflict {
		t.Errorf("with the digest of another plan: %v", err)
	}
	stranger := d.who
	stranger.Administrator = false
	if _, err := d.r.TakeList(d.Context(), stranger, d.place, list, p.Digest(), now); problem.Of(err) != problem.Forbidden {
		t.Errorf("by a person without a role: %v", err)
	}
	if err := take(p.Digest()); err != nil {
		t.Fatal(err)
	}
	if again := plan(); again.New+again.Edit != 0 {
		t.Errorf("the list still changes %+v", again.Lines)
	}
	i, err := d.Reader.Item(d.Context(), d.place.Scope, ram)
	if err != nil || i.Item.AssetNumber != "A-1" || i.Item.ServiceEveryStrokes != 800 {
		t.Errorf("the ram is %+v, %v", i.Item, err)
	}
	s, err := d.Reader.StateAt(d.Context(), d.place.Scope, ram, lab.At(now))
	if err != nil || s.State() != lab.StateQuarantined || s.Location() != "shelf" {
		t.Errorf("its state is %+v, %v", s, err)
	}
	if err := take(p.Digest()); problem.Of(err) != problem.Conflict {
		t.Errorf("taken twice: %v", err)
	}
	// A second edit replaces the first one, and is no conflict with it.
	if list, err = stocklist.Read([]byte("class,serial,service_every_strokes\nram,R-1,900\n")); err != nil {
		t.Fatal(err)
	}
	if err := take(plan().Digest()); err != nil {
		t.Fatal(err)
	}
	if i, err = d.Reader.Item(d.Context(), d.place.Scope, ram); err != nil || i.Item.ServiceEveryStrokes != 900 || len(i.Conflicts()) != 0 {
		t.Errorf("after the second list %+v, conflicts %v, %v", i.Item, i.Conflicts(), err)
	}
	if got := fmt.Sprint(i.Item.AssetNumber); got != "A-1" {
		t.Errorf("a column that is not there changed the asset number to %q", got)
	}
}
