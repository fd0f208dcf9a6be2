package view_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/view"
)

func TestCalibrationStates(t *testing.T) {
	w := openWorld(t)
	now := labtest.Start()
	at := func(days int) lab.Time { return lab.At(now.AddDate(0, 0, days)) }
	for i, c := range []struct {
		serial string
		due    []int // days from now; each calibrated a year before
	}{{"never", nil}, {"overdue", []int{-3}}, {"soon", []int{30}}, {"ok", []int{31}}, {"renewed", []int{-100, 200}}, {"later", []int{400}}} {
		id := labtest.ID(c.serial)
		w.say(id, &lab.Item{Class: lab.ClassSensor, Serial: c.serial, CalibrationRequired: true})
		w.say(labtest.ID("m", c.serial), &lab.Mounting{Rig: rig1, Position: string(rune('a' + i)), Item: id, EffectiveAt: at(-500)})
		for _, d := range c.due {
			w.say(labtest.ID(c.serial, d), &lab.Calibration{Item: id, EffectiveAt: at(d - 365), DueAt: at(d), Certificate: "C"})
		}
	}
	w.say(labtest.ID("plain"), &lab.Item{Class: lab.ClassNeck, Serial: "plain"})
	// Nobody asked for it, and it has a certificate: that one runs out as any other.
	unasked := labtest.ID("unasked")
	w.say(unasked, &lab.Item{Class: lab.ClassSensor, Serial: "unasked"})
	w.say(labtest.ID(unasked, "c"), &lab.Calibration{Item: unasked, EffectiveAt: at(-367), DueAt: at(-2), Certificate: "C"})
	var got []string
	p := view.Page{Limit: 2}
	for {
		l, err := w.SensorsDue(w.ctx(), onlyA, now, p)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range l.Rows {
			got = append(got, d.Item.Item.Serial+": "+string(d.Calibration.State))
		}
		if p.After = l.Next; l.Next == "" {
			break
		}
	}
	later := got[:2:2] // "later" was calibrated after now: it counts as never calibrated
	slices.Sort(later)
	want := []string{"later: never calibrated", "never: never calibrated", "overdue: overdue", "unasked: overdue", "soon: due soon", "ok: ok", "renewed: ok"}
	if d := cmp.Diff(want, append(later, got[2:]...)); d != "" {
		t.Error(d)
	}
	shot := labtest.ID("shot")
	w.say(shot, labtest.Shot(rig1, now))
	sensors, err := w.SensorsOf(w.ctx(), onlyA, shot)
	if err != nil {
		t.Fatal(err)
	}
	var flags []string
	for _, s := range sensors {
		if s.Flag != nil {
			flags = append(flags, s.Flag.Channel+" "+s.Flag.Code+": "+s.Flag.Text)
		}
	}
	want = []string{
		"a calibration_missing: sensor never has no calibration on record at this time",
		"b calibration_overdue: sensor overdue was due for calibration on 2026-02-27",
		"f calibration_missing: sensor later has no calibration on record at this time",
	}
	if d := cmp.Diff(want, flags); d != "" || len(sensors) != 6 {
		t.Errorf("%d sensors\n%s", len(sensors), d)
	}
	c, err := w.CalibrationAt(w.ctx(), onlyA, labtest.ID("overdue"), at(-3))
	if err != nil || c.State != view.DueSoon || c.Days != 0 || c.Text != "" {
		t.Errorf("at the very due time: %+v, %v", c, err)
	}
}

func TestMountedFollowsTime(t *testing.T) {
	w := openWorld(t)
	at := func(h int) lab.Time { return lab.At(labtest.Start().Add(time.Duration(h) * time.Hour)) }
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R1"})
	w.say(ram2, &lab.Item{Class: lab.ClassRam, Serial: "R2"})
	w.say(labtest.ID(1), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: at(0)})
	w.say(labtest.ID(2), &lab.Mounting{Rig: rig1, Position: "Ram ", Item: ram2, EffectiveAt: at(4)})
	w.say(labtest.ID(3), &lab.Mounting{Rig: rig2, Position: "ram", Item: ram2, EffectiveAt: at(8)}) // leaves rig 1
	w.say(labtest.ID(4), &lab.Mounting{Rig: rig2, Position: "ram", EffectiveAt: at(9)})             // taken off
	w.say(labtest.ID(5), &lab.Mounting{Rig: rig1, Position: "spare", Item: labtest.ID("who"), EffectiveAt: at(2)})
	for _, c := range []struct {
		hour       int
		rig1, rig2 string
	}{{-1, "", ""}, {0, "R1", ""}, {3, "R1 ?", ""}, {4, "R2 ?", ""}, {7, "R2 ?", ""}, {8, "?", "R2"}, {9, "?", ""}} {
		for rig, want := range map[[16]byte]string{rig1: c.rig1, rig2: c.rig2} {
			all, err := w.Mounted(w.ctx(), onlyA, rig, at(c.hour))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, m := range all {
				if m.Item == nil {
					got = append(got, "?")
				} else {
					got = append(got, m.Item.Item.Serial)
				}
			}
			if s := strings.Join(got, " "); s != want {
				t.Errorf("hour %d: %q, want %q", c.hour, s, want)
			}
		}
	}
}
