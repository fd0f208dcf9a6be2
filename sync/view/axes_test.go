package view_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
)

// The case of a sensor with three axes sits at three positions: a stroke counts for it
// once, it leaves one position alone, and mounted elsewhere it has left them all.
func TestOneCaseAtSeveralPositions(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	hour := func(n int) time.Time { return at.Add(time.Duration(n) * time.Hour) }
	w.say(rig1, &lab.Rig{Name: "Rig 1"})
	w.say(sensor1, &lab.Item{Class: lab.ClassSensor, Serial: "TX-1"})
	mount := func(rig uuid.UUID, position string, item uuid.UUID, n int, also bool) {
		w.say(labtest.ID("m", rig, position, n), &lab.Mounting{Rig: rig, Position: position, Item: item, EffectiveAt: lab.At(hour(n)), Also: also})
	}
	mount(rig1, "az", sensor1, 0, false)
	mount(rig1, "ax", sensor1, 0, true)
	mount(rig1, "ay", sensor1, 2, true)
	for i := range 6 {
		w.say(labtest.ID("shot", i), labtest.Shot(rig1, hour(i).Add(time.Minute)))
	}
	w.say(labtest.ID("elsewhere"), labtest.Shot(rig2, hour(8).Add(time.Minute)))
	now := hour(9)
	there := func(n int) string {
		t.Helper()
		var out []string
		for _, rig := range []uuid.UUID{rig1, rig2} {
			all, err := w.Mounted(w.ctx(), onlyA, rig, lab.At(hour(n)))
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range all {
				out = append(out, m.Mounting.Mounting.Position)
			}
		}
		sits, err := w.Sits(w.ctx(), onlyA, sensor1, lab.At(hour(n)))
		if err != nil {
			t.Fatal(err)
		}
		var alike []string
		for _, s := range sits {
			alike = append(alike, s.Position)
		}
		u, err := w.RamUsage(w.ctx(), onlyA, sensor1, hour(n))
		if got := strings.Join(out, ", "); err != nil || strings.Join(alike, ", ") != got || u.Position != got {
			t.Errorf("after %d h: mounted %v, sits %v, usage %q, %v", n, out, alike, u.Position, err)
		}
		return strings.Join(out, ", ")
	}
	if got := there(3); got != "ax, ay, az" {
		t.Errorf("it sits at %q", got)
	}
	strokes := func(want int64) {
		t.Helper()
		u, err := w.RamUsage(w.ctx(), onlyA, sensor1, now)
		wear, err2 := w.Wear(w.ctx(), onlyA, sensor1, now)
		fired, err3 := w.FiredWith(w.ctx(), onlyA, sensor1, 0, lab.At(now))
		if err != nil || err2 != nil || err3 != nil || u.TotalStrokes != want || wear.Strokes != want || int64(len(fired)) != want {
			t.Errorf("%d strokes by usage, %d by wear, %d shots, want %d; %v %v %v", u.TotalStrokes, wear.Strokes, len(fired), want, err, err2, err3)
		}
		if d := wear.DaysMounted * 24; d < 8.9 || d > 9.1 {
			t.Errorf("mounted for %g h, want 9", d)
		}
	}
	strokes(6)
	mount(rig1, "ax", uuid.Nil, 4, false) // one axis off
	if got := there(5); got != "ay, az" {
		t.Errorf("after one axis was taken off: %q", got)
	}
	strokes(6)
	mount(rig2, "ax", sensor1, 7, false) // moved
	if got := there(8); got != "ax" {
		t.Errorf("after it was moved to another rig: %q", got)
	}
	strokes(7)
	sat, err := w.Sat(w.ctx(), scope.All(), sensor1, 0, lab.At(now))
	var all []string
	for _, s := range sat {
		all = append(all, fmt.Sprint(s.Position, " ", s.To.Time().Sub(s.From.Time())))
	}
	if got, want := strings.Join(all, "; "), "ax, az 2h0m0s; ax, ay, az 2h0m0s; ay, az 3h0m0s; ax 2h0m0s"; err != nil || got != want {
		t.Errorf("it sat: %s, %v\nwant %s", got, err, want)
	}
}
