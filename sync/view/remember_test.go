package view_test

import (
	"testing"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Two items that sat at a rig one after the other, with readings of its counter:
// a reader that remembers says what one says that does not, and with the rights
// of another scope it does not use what it remembers.
func TestRememberingSaysTheSame(t *testing.T) {
	w := openWorld(t)
	at := labtest.Start()
	w.say(ram1, &lab.Item{Class: lab.ClassRam, Serial: "R-1"})
	w.say(ram2, &lab.Item{Class: lab.ClassRam, Serial: "R-2"})
	w.say(labtest.ID("m1"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram1, EffectiveAt: lab.At(at)})
	w.say(labtest.ID("m2"), &lab.Mounting{Rig: rig1, Position: "ram", Item: ram2, EffectiveAt: lab.At(at.Add(50 * time.Hour))})
	counter := int64(0)
	for i := range 20 {
		when := at.Add(time.Duration(5*i) * time.Hour)
		w.say(labtest.ID("s", i), labtest.Shot(rig1, when.Add(time.Hour)))
		counter += 1 + int64(i%3) // the controller counts more in two of three
		w.say(labtest.ID("c", i), &lab.CounterRead{Rig: rig1, Counter: counter, EffectiveAt: lab.At(when.Add(2 * time.Hour))})
	}
	r := view.Remembering(w.Reader, onlyA)
	for _, step := range []time.Duration{30 * time.Hour, 70 * time.Hour, 200 * time.Hour} {
		for _, item := range []struct {
			of   string
			more bool
		}{{"first", true}, {"second", step > 60*time.Hour}} {
			id := ram1
			if item.of == "second" {
				id = ram2
			}
			want, err := w.RamUsage(w.ctx(), onlyA, id, at.Add(step))
			if err != nil {
				t.Fatal(err)
			}
			got, err := r.RamUsage(w.ctx(), onlyA, id, at.Add(step))
			if err != nil || got.TotalStrokes != want.TotalStrokes || got.StrokesSinceService != want.StrokesSinceService {
				t.Errorf("%s item after %v: %d strokes remembered (%v), want %d", item.of, step, got.TotalStrokes, err, want.TotalStrokes)
			}
			if (want.TotalStrokes > 0) != item.more {
				t.Errorf("%s item after %v: %d strokes", item.of, step, want.TotalStrokes)
			}
		}
	}
	if _, err := r.RamUsage(w.ctx(), scope.Labs(labB), ram1, at); err == nil {
		t.Error("another lab's rights show the item")
	}
	// Later facts change what a new look says, not the look that goes on.
	before, err := r.RamUsage(w.ctx(), onlyA, ram2, at.Add(300*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	w.say(labtest.ID("late"), &lab.CounterRead{Rig: rig1, Counter: counter + 7, EffectiveAt: lab.At(at.Add(250 * time.Hour))})
	after, err := view.Remembering(w.Reader, onlyA).RamUsage(w.ctx(), onlyA, ram2, at.Add(300*time.Hour))
	if err != nil || after.TotalStrokes != before.TotalStrokes+7 {
		t.Errorf("%d strokes (%v), want %d and 7 more that the counter found", after.TotalStrokes, err, before.TotalStrokes)
	}
}
