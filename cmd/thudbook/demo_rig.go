package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"thudbook/metrics/simrig"
)

// demoRig is one lab's simulated rig: it works through its campaign and writes
// a file per stroke into the folder that the lab's agent watches.
type demoRig struct {
	scene
	rig       *simrig.Rig
	dir       *os.Root
	locations []string
	next      int
}

func newDemoRig(s scene, folder string, locations []string) (*demoRig, error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	dir, err := os.OpenRoot(folder)
	if err != nil {
		return nil, err
	}
	cfg := simrig.Default(s.seed)
	cfg.Name = s.rig
	d := &demoRig{scene: s, rig: simrig.New(cfg), dir: dir, locations: locations}
	m := d.rig.Map()
	m.Complete.Rule, m.Complete.QuietMS = "quiet", 300
	return d, writeMap(dir, m)
}

// close frees the folder's handle.
func (d *demoRig) close() { _ = d.dir.Close() }

// Every so often a stroke of the demo is not a plain shot.
const (
	dryEvery   = 17 // a dry stroke
	blankEvery = 29 // the operator forgot to say which specimen
	faultEvery = 23 // a cable is loose
)

// fire makes one stroke at a time, in the order of the campaign, and gives the
// name of its file.
func (d *demoRig) fire(at time.Time) (string, error) {
	d.next++
	n := d.next
	plan := n % (len(d.specimens) * len(d.locations) * len(demoSpeedsMS))
	target := demoSpeedsMS[plan%len(demoSpeedsMS)]
	specimen := d.specimens[plan/len(demoSpeedsMS)%len(d.specimens)]
	location := d.locations[plan/len(demoSpeedsMS)/len(d.specimens)%len(d.locations)]
	cmd := simrig.Command{PressureKPa: math.Round(10*d.rig.PressureFor(target)) / 10, Location: location}
	meta := simulatedMeta{Specimen: specimen, Location: location, Condition: demoCondition, TargetSpeedMS: target,
		TankPressureKPaGauge: cmd.PressureKPa, FiredAt: at.UTC().Format(time.RFC3339Nano), Operator: "operator " + d.slug[:1], Kind: "shot"}
	switch {
	case n%dryEvery == 0:
		cmd.Dry, cmd.Location = true, ""
		meta.Kind, meta.Specimen, meta.Location, meta.Condition = "dry", "", "", ""
	case n%blankEvery == 0:
		meta.Specimen = ""
	case n%faultEvery == 0:
		f, err := simrig.ParseFault("dropout:ay")
		if err != nil {
			return "", err
		}
		cmd.Faults = append(cmd.Faults, f)
	}
	shot, err := d.rig.Fire(cmd)
	if err != nil {
		return "", fmt.Errorf("simulated stroke %d of %s: %w", n, d.lab, err)
	}
	text, err := json.Marshal(meta)
	if err != nil {
		return "", err
	}
	stem := fmt.Sprintf("%s-%04d", d.slug, n)
	if err := writeNew(d.dir, stem+".meta.json", func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
		return "", err
	}
	return stem + ".csv", writeNew(d.dir, stem+".csv", func(w io.Writer) error { return simrig.WriteCSV(w, shot) })
}

// backfill fires the shots of the weeks before the reader came.
func (d *demoRig) backfill(now time.Time) error {
	const perDay = 12
	for i := range d.history {
		day := (d.history - 1 - i) / perDay
		at := now.AddDate(0, 0, -day-1).Truncate(24 * time.Hour).Add(8*time.Hour + time.Duration(i%perDay)*20*time.Minute)
		if _, err := d.fire(at); err != nil {
			return err
		}
	}
	return nil
}
