package labtest

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// Options of FillLab. The zero value serves.
type Options struct {
	Lab   record.LabID // zero: an id of its own
	Name  string       // "": "Lab" and the first digits of its id
	Seed  uint64       // the same seed, the same lab
	Blobs blob.Store   // nil: shots have no attachments
	First time.Time    // zero: Start
}

// Filled is what FillLab made. Everything is mounted and calibrated when the
// first shot is fired, except Overdue, which was due before.
type Filled struct {
	Lab      record.LabID
	Rig      uuid.UUID
	Ram      uuid.UUID // serviced once, after the first third of the shots
	Sensors  []uuid.UUID
	Overdue  uuid.UUID // one of Sensors
	Campaign uuid.UUID
	Shots    []uuid.UUID // oldest first; every tenth waits to be assigned, every seventh is dry
	Void     []uuid.UUID // of Shots
	Last     time.Time   // of the last shot
	// Strokes since the ram's service.
	SinceService int64
}

// MapTOML is the channel map of the sources that FillLab stores.
const MapTOML = `name = "invented rig"
[time]
column = "t"
unit = "s"
[processing]
baseline_ms = 4.0
[[channel]]
column = "ax"
measures = "linear acceleration"
axis = "x"
unit = "g"
cfc = 1000
full_scale = 500.0
expanded_uncertainty_percent = 2.0
`

// Fill makes a lab with n shots in a ledger.
func Fill(t testing.TB, l *ledger.Ledger, n int) Filled {
	t.Helper()
	return FillLab(t, l, n, Options{})
}

// FillLab makes a lab with n shots, 40 a working hour, with their scores.
func FillLab(t testing.TB, l *ledger.Ledger, n int, o Options) Filled {
	t.Helper()
	if o.Lab == uuid.Nil {
		o.Lab = ID("lab", o.Seed)
	}
	if o.Name == "" {
		o.Name = "Lab " + o.Lab.String()[:4]
	}
	if o.First.IsZero() {
		o.First = Start()
	}
	f := Filled{Lab: o.Lab, Rig: ID("rig", o.Lab), Ram: ID("ram", o.Lab), Campaign: ID("campaign", o.Lab)}
	Append(t, l, o.Lab, equipment(t, &f, o)...)
	rng := rand.New(rand.NewPCG(o.Seed, 1))
	var batch []ledger.Draft
	for i := range n {
		batch = append(batch, shot(t, &f, o, rng, i, n)...)
		if len(batch) >= 200 || i == n-1 {
			Append(t, l, o.Lab, batch...)
			batch = nil
		}
	}
	return f
}

func equipment(t testing.TB, f *Filled, o Options) []ledger.Draft {
	before := lab.At(o.First.Add(-24 * time.Hour))
	d := []ledger.Draft{
		Draft(t, o.Lab, &lab.Named{Name: o.Name}),
		Draft(t, f.Rig, &lab.Rig{Name: "Rig 1"}),
		Draft(t, f.Ram, &lab.Item{Class: lab.ClassRam, Serial: "R-100", Name: "Ram", ServiceEveryStrokes: 500, OpeningStrokes: 40}),
		Draft(t, ID("m ram", o.Lab), &lab.Mounting{Rig: f.Rig, Position: "ram", Item: f.Ram, EffectiveAt: before}),
		Draft(t, f.Campaign, &lab.Campaign{
			Name: "Face guards, first series", Owner: "Development", Specimens: []string{"H-01", "H-02", "H-03"},
			Cells: []lab.Cell{
				{Location: "front", Condition: "ambient", TargetSpeedMS: 5.5, ToleranceMS: 0.2, Planned: 20},
				{Location: "left side", Condition: "ambient", TargetSpeedMS: 5.5, ToleranceMS: 0.2, Planned: 20},
				{Location: "front", Condition: "hot", TargetSpeedMS: 7.4, ToleranceMS: 0.2, Planned: 10},
			},
		}),
	}
	for i, position := range []string{"ax", "ay", "az", "wx", "wy", "wz"} {
		id := ID("sensor", o.Lab, position)
		due := o.First.AddDate(1, 0, i)
		if i == 4 {
			due, f.Overdue = o.First.AddDate(0, 0, -12), id
		}
		f.Sensors = append(f.Sensors, id)
		d = append(d,
			Draft(t, id, &lab.Item{Class: lab.ClassSensor, Serial: fmt.Sprintf("S-%d", 201+i), Name: position, CalibrationRequired: true}),
			Draft(t, ID("m", id), &lab.Mounting{Rig: f.Rig, Position: position, Item: id, EffectiveAt: before}),
			Draft(t, ID("c", id), &lab.Calibration{
				Item: id, EffectiveAt: lab.At(due.AddDate(-1, 0, 0)), DueAt: lab.At(due), Certificate: fmt.Sprintf("C-%d", 900+i),
				Sensitivity: new(1.02), SensitivityUnit: "mV/g", ExpandedUncertaintyPercent: new(1.5),
			}),
		)
	}
	return d
}

func shot(t testing.TB, f *Filled, o Options, rng *rand.Rand, i, n int) []ledger.Draft {
	var out []ledger.Draft
	at := o.First.Add(time.Duration(i/320)*24*time.Hour + time.Duration(i%320)*90*time.Second)
	if i == n/3 {
		out = append(out, Draft(t, ID("service", o.Lab), &lab.Service{Item: f.Ram, EffectiveAt: lab.At(at), Note: "new seals"}))
		f.SinceService = 0
	}
	f.SinceService++
	f.Last = at
	id := ID("shot", o.Lab, i)
	f.Shots = append(f.Shots, id)
	cells := []lab.Cell{{Location: "front", Condition: "ambient", TargetSpeedMS: 5.5}, {Location: "left side", Condition: "ambient", TargetSpeedMS: 5.5}, {Location: "front", Condition: "hot", TargetSpeedMS: 7.4}}
	c := cells[i%len(cells)]
	s := Shot(f.Rig, at, func(s *lab.Shot) {
		s.Specimen, s.Location, s.Condition = fmt.Sprintf("H-%02d", 1+i/3%3), c.Location, c.Condition
		s.TargetSpeedMS = new(c.TargetSpeedMS)
		switch {
		case i%7 == 6:
			s.Kind, s.Meta = lab.ShotDry, lab.Meta{}
		case i%10 == 9:
			s.Meta = lab.Meta{}
		}
	})
	var at2 []record.Attachment
	if o.Blobs != nil {
		at2 = sources(t, o.Blobs, s, 60+10*rng.Float64())
	}
	out = append(out, Draft(t, id, s, at2...), Draft(t, id, Score(id, c.TargetSpeedMS+0.08*rng.NormFloat64(), func(b *lab.Score) { b.MapSHA256 = s.MapSHA256 })))
	if i%25 == 11 {
		f.Void = append(f.Void, id)
		out = append(out, Draft(t, id, &lab.Void{Shot: id, Reason: "chin strap open"}))
	}
	return out
}

// sources stores a half sine of peakG over 10 ms and its map, and names them
// in the shot.
func sources(t testing.TB, b blob.Store, s *lab.Shot, peakG float64) []record.Attachment {
	csv := CSV(peakG)
	out := make([]record.Attachment, 0, 2)
	for _, x := range []struct {
		role, media, name string
		bytes             []byte
		sum               *record.Hash
	}{
		{lab.RoleSource, "text/csv", s.FileName, csv, &s.SourceSHA256},
		{lab.RoleMap, "application/toml", "rig.toml", []byte(MapTOML), &s.MapSHA256},
	} {
		ref, err := b.Put(t.Context(), bytes.NewReader(x.bytes), 0)
		if err != nil {
			t.Fatalf("store %s: %v", x.name, err)
		}
		*x.sum = ref.SHA256
		out = append(out, record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: x.role, Media: x.media, Name: x.name})
	}
	return out
}

// CSV is an acquisition file for MapTOML: a half sine of peakG along x, 10 ms
// long, at 10 kHz, with 5 ms before and 15 ms after it.
func CSV(peakG float64) []byte {
	var b bytes.Buffer
	b.WriteString("t,ax\n")
	for i := range 300 {
		at := float64(i-50) / 10000
		a := 0.0
		if at >= 0 && at <= 0.010 {
			a = peakG * math.Sin(math.Pi*at/0.010)
		}
		fmt.Fprintf(&b, "%.4f,%.6f\n", at, a)
	}
	return b.Bytes()
}
