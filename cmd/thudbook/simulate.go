package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"time"

	"thudbook/metrics/chanmap"
	"thudbook/metrics/simrig"
)

const (
	simulatedMap = "map.toml"
	caution      = "thudbook: this only simulates; no ram moves. At a real ram compressed air stores energy and the ram can move with the power off: " +
		"keep clear of its path, vent and check for zero pressure before reaching in, wear eye protection, and follow local codes and licensed practice."
)

// simulateCmd writes the files of a simulated rig.
type simulateCmd struct {
	Out      string        `help:"Folder for the files; made if it is not there." required:"" type:"path" placeholder:"DIR"`
	Shots    int           `help:"How many shots." default:"1" placeholder:"N"`
	First    int           `help:"Number of the first shot: the strokes before it count as fired." default:"1" placeholder:"N"`
	Seed     uint64        `help:"The same seed gives the same rig and the same shots." default:"1"`
	Prefix   string        `help:"File names begin with this." default:"shot"`
	Rig      string        `help:"Name of the rig, in each file." default:"simulated rig"`
	Channels int           `help:"7: linear acceleration, angular velocity, gate. 12: also neck force, tank pressure, ram force." default:"7" enum:"7,12" placeholder:"7|12"`
	Worn     int           `help:"Strokes since the last service before shot 1 of this seed." default:"0" placeholder:"STROKES"`
	Every    time.Duration `help:"Wait this long between shots." placeholder:"2s"`

	Pressure    float64  `help:"Tank pressure in kPa gauge; without it, what a chart made right after service gives for the target speed. Seals wear, so later shots are slower." placeholder:"KPA"`
	TargetSpeed float64  `help:"Target speed in m/s; without it, the chart's speed for --pressure, or 5.5." placeholder:"M/S"`
	Location    string   `help:"Impact location; without it all are taken in turn." placeholder:"NAME"`
	Dry         bool     `help:"Dry strokes: nothing in the ram's way."`
	Fault       []string `help:"dead:ay, reversed:wz, dropout:ax, saturated. May be given more than once." placeholder:"FAULT"`

	Meta      bool          `help:"Write what the file does not say beside it, as NAME.meta.json." default:"true" negatable:""`
	Specimen  string        `help:"Specimen in the meta." default:"SIM-1"`
	Condition string        `help:"Conditioning in the meta." default:"ambient"`
	Operator  string        `help:"Operator in the meta." default:"op-1"`
	Kind      string        `help:"Kind in the meta: shot, dry, system_check." default:"shot" enum:"shot,dry,system_check"`
	Start     time.Time     `help:"Time of the first shot in the meta (RFC 3339); without it the last shot is now." placeholder:"TIME"`
	Spacing   time.Duration `help:"Time between shots in the meta when they are not waited for." default:"90s"`
}

// simulatedMeta is the meta of one shot, in the keys of the intake.
type simulatedMeta struct {
	Specimen             string  `json:"specimen,omitempty"`
	Location             string  `json:"location,omitempty"`
	Condition            string  `json:"condition,omitempty"`
	TargetSpeedMS        float64 `json:"target_speed_m_s,omitempty"`
	TankPressureKPaGauge float64 `json:"tank_pressure_kpa_gauge"`
	FiredAt              string  `json:"fired_at"`
	Operator             string  `json:"operator,omitempty"`
	Kind                 string  `json:"kind"`
}

// Run fires the simulated shots one after the other and writes each as soon as
// it is made. It never overwrites a file.
func (c *simulateCmd) Run(a *app) error {
	fmt.Fprintln(a.Err, caution)
	cmd, err := c.command()
	if err != nil {
		return err
	}
	rig := simrig.New(c.config())
	if c.TargetSpeed == 0 && c.Pressure == 0 {
		c.TargetSpeed = 5.5
	}
	switch cmd.PressureKPa = c.Pressure; {
	case c.TargetSpeed == 0:
		c.TargetSpeed = math.Round(10*rig.SpeedFor(c.Pressure)) / 10
	case c.Pressure == 0:
		cmd.PressureKPa = math.Round(10*rig.PressureFor(c.TargetSpeed)) / 10 // a gauge is read to 0.1 kPa
	}
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	dir, err := os.OpenRoot(c.Out)
	if err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	defer dir.Close()
	if err := writeMap(dir, rig.Map()); err != nil {
		return err
	}
	for i := range c.Shots {
		if (i > 0 && !pause(a.Ctx, c.Every)) || a.Ctx.Err() != nil {
			fmt.Fprintf(a.Err, "thudbook: stopped after %d of %d simulated shots\n", i, c.Shots)
			return nil
		}
		if err := c.shoot(a, dir, rig, cmd, i); err != nil {
			return err
		}
	}
	return nil
}

// command checks the flags and turns them into what the rig understands.
func (c *simulateCmd) command() (simrig.Command, error) {
	switch {
	case c.Shots < 1 || c.First < 1 || c.Worn < 0:
		return simrig.Command{}, errors.New("simulate: --shots and --first begin at 1, --worn at 0")
	case c.Pressure < 0 || c.TargetSpeed < 0 || c.TargetSpeed > 30:
		return simrig.Command{}, errors.New("simulate: give --pressure in kPa gauge above 0, and --target-speed in m/s above 0 and up to 30")
	case c.Prefix == "" || bytes.ContainsAny([]byte(c.Prefix), `/\:`):
		return simrig.Command{}, fmt.Errorf("simulate: --prefix %q cannot begin a file name", c.Prefix)
	}
	cmd := simrig.Command{Dry: c.Dry || c.Kind == "dry"}
	for _, text := range c.Fault {
		f, err := simrig.ParseFault(text)
		if err != nil {
			return simrig.Command{}, fmt.Errorf("simulate: %w", err)
		}
		cmd.Faults = append(cmd.Faults, f)
	}
	return cmd, nil
}

func (c *simulateCmd) config() simrig.Config {
	cfg := simrig.Default(c.Seed)
	cfg.Name = c.Rig
	cfg.TwelveChannels = c.Channels >= 12
	cfg.StrokesBefore = c.First - 1
	cfg.StrokesBeforeService = c.Worn + c.First - 1
	return cfg
}

// shoot fires shot i of this call and writes its meta, then its file: whoever
// watches the folder finds the meta beside a finished file.
func (c *simulateCmd) shoot(a *app, dir *os.Root, rig *simrig.Rig, cmd simrig.Command, i int) error {
	number := c.First + i
	stem := fmt.Sprintf("%s-%04d", c.Prefix, number)
	for _, ending := range []string{".csv", ".meta.json"} { // before anything is written
		if err := mustBeFree(dir, stem+ending); err != nil {
			return err
		}
	}
	if cmd.Location = c.Location; c.Location == "" && !cmd.Dry {
		all := simrig.Locations()
		cmd.Location = all[(number-1)%len(all)].Name
	}
	shot, err := rig.Fire(cmd)
	if err != nil {
		return fmt.Errorf("simulate: shot %d: %w", number, err)
	}
	if c.Meta {
		text, err := json.MarshalIndent(c.metaOf(cmd, i), "", "  ")
		if err != nil {
			return err
		}
		if err := writeNew(dir, stem+".meta.json", func(w io.Writer) error { _, err := w.Write(append(text, '\n')); return err }); err != nil {
			return err
		}
	}
	if err := writeNew(dir, stem+".csv", func(w io.Writer) error { return simrig.WriteCSV(w, shot) }); err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.Out, "%s.csv  %.1f kPa gauge  %.2f m/s  %.0f g  %s\n", stem, cmd.PressureKPa,
		shot.Truth.GateSpeedMS, shot.Truth.PeakLinearG, cmd.Location)
	return err
}

func (c *simulateCmd) metaOf(cmd simrig.Command, i int) simulatedMeta {
	at := time.Now()
	switch {
	case !c.Start.IsZero():
		at = c.Start.Add(time.Duration(i) * max(c.Spacing, c.Every))
	case c.Every == 0:
		at = at.Add(-time.Duration(c.Shots-1-i) * c.Spacing)
	}
	m := simulatedMeta{
		Specimen: c.Specimen, Location: cmd.Location, Condition: c.Condition, TargetSpeedMS: c.TargetSpeed,
		TankPressureKPaGauge: cmd.PressureKPa, FiredAt: at.UTC().Format(time.RFC3339Nano), Operator: c.Operator, Kind: c.Kind,
	}
	if cmd.Dry {
		m.Kind, m.Specimen, m.Condition = "dry", "", ""
	}
	return m
}

// writeMap writes the channel map, or makes sure that the one there is the same.
func writeMap(dir *os.Root, m chanmap.Map) error {
	var want bytes.Buffer
	if err := chanmap.Encode(&want, m); err != nil {
		return err
	}
	have, err := dir.ReadFile(simulatedMap)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return writeNew(dir, simulatedMap, func(w io.Writer) error { _, err := w.Write(want.Bytes()); return err })
	case err != nil:
		return fmt.Errorf("simulate: %w", err)
	case !bytes.Equal(have, want.Bytes()):
		return fmt.Errorf("simulate: %s in %s is of another rig; choose another --out, or move that file away", simulatedMap, dir.Name())
	}
	return nil
}

func mustBeFree(dir *os.Root, name string) error {
	_, err := dir.Lstat(name)
	switch {
	case err == nil:
		return fmt.Errorf("simulate: %s is already in %s; give --first or --prefix another value, or another --out", name, dir.Name())
	case errors.Is(err, fs.ErrNotExist):
		return nil
	}
	return fmt.Errorf("simulate: %w", err)
}

// writeNew writes a file under a temporary name and renames it when it is
// whole, so that whoever watches the folder never sees half a file.
func writeNew(dir *os.Root, name string, write func(io.Writer) error) error {
	part := "." + name + ".part"
	f, err := dir.Create(part)
	if err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	if err := errors.Join(write(f), f.Close()); err != nil {
		return fmt.Errorf("simulate: %w", errors.Join(err, dir.Remove(part)))
	}
	if err := dir.Rename(part, name); err != nil {
		return fmt.Errorf("simulate: %w", err)
	}
	return nil
}

// pause waits; it reports false when the command is to stop.
func pause(ctx context.Context, d time.Duration) bool {
	if d <= 0 {
		return true
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}
