package main

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
)

// scene is what one invented lab of the demo looks like.
type scene struct {
	lab, rig, slug string
	seed           uint64
	history        int           // shots before the reader comes
	serviceEvery   int64         // strokes
	pace           int           // shoots once in so many periods
	sensorDue      time.Duration // of the first accelerometer, from now; negative: overdue
	specimens      []string
	cut            bool // its cable is pulled at first
}

// scenes are the three labs. Every name is invented.
func scenes() []scene {
	return []scene{
		{lab: "Larkmoor head impact lab", rig: "Larkmoor ram one", slug: "larkmoor", seed: 11, history: 110, serviceEvery: 2000, pace: 1,
			sensorDue: 200 * 24 * time.Hour, specimens: []string{"LM-204", "LM-205", "LM-206"}},
		{lab: "Tessal Bridge test house", rig: "Tessal ram A", slug: "tessal", seed: 23, history: 110, serviceEvery: 122, pace: 3,
			sensorDue: -12 * 24 * time.Hour, specimens: []string{"TB-31", "TB-32"}},
		{lab: "Quillon university workshop", rig: "Quillon ram", slug: "quillon", seed: 37, history: 90, serviceEvery: 800, pace: 1,
			sensorDue: 19 * 24 * time.Hour, specimens: []string{"QW-7", "QW-8"}, cut: true},
	}
}

// Where and how fast every lab of the demo shoots.
var (
	demoSpeedsMS = [...]float64{3.5, 5.5, 7.4}
)

const (
	demoToleranceMS = 0.15
	demoCondition   = "ambient"
	demoRepeats     = 8
)

// furnish makes the lab, its equipment and its campaign on the server.
type furnished struct {
	scene
	labID uuid.UUID
	code  string
	items map[string]uuid.UUID // by mounting position
}

type idAnswer struct {
	ID uuid.UUID `json:"id"`
}

func (c *demoClient) furnish(ctx context.Context, s scene, locations []string, now time.Time) (furnished, error) {
	f := furnished{scene: s, items: map[string]uuid.UUID{}}
	var made idAnswer
	if err := c.post(ctx, "/api/v1/labs", map[string]string{"name": s.lab}, &made); err != nil {
		return f, err
	}
	f.labID = made.ID
	at := "/api/v1/labs/" + f.labID.String()
	for _, i := range demoItems(s) {
		if err := c.post(ctx, at+"/items", i.item, &made); err != nil {
			return f, err
		}
		f.items[i.position] = made.ID
		if i.item.CalibrationRequired {
			due := now.Add(i.due)
			cal := lab.Calibration{Item: made.ID, EffectiveAt: lab.At(due.AddDate(-1, 0, 0)), DueAt: lab.At(due), Certificate: "C-" + i.item.Serial}
			if err := c.post(ctx, at+"/calibrations", &cal, nil); err != nil {
				return f, err
			}
		}
	}
	service := lab.Service{Item: f.items["ram"], EffectiveAt: lab.At(now.AddDate(0, 0, -40)), Note: "Seals and wear ring changed."}
	if err := c.post(ctx, at+"/services", &service, nil); err != nil {
		return f, err
	}
	if err := c.post(ctx, at+"/campaigns", demoCampaign(s, locations), nil); err != nil {
		return f, err
	}
	var code struct {
		Code string `json:"code"`
	}
	if err := c.post(ctx, at+"/codes", map[string]string{"name": s.rig}, &code); err != nil {
		return f, err
	}
	f.code = code.Code
	return f, nil
}

// mount states what is on the rig, once the server knows the rig.
func (c *demoClient) mount(ctx context.Context, f furnished, now time.Time) error {
	at := "/api/v1/labs/" + f.labID.String()
	rig, err := c.waitForRig(ctx, at)
	if err != nil {
		return err
	}
	for position, item := range f.items {
		m := lab.Mounting{Rig: rig, Position: position, Item: item, EffectiveAt: lab.At(now.AddDate(0, 0, -60))}
		if err := c.post(ctx, at+"/mountings", &m, nil); err != nil {
			return err
		}
	}
	return c.book(ctx, at, rig, now)
}

// book has the rig booked by invented departments, today and in the days to
// come, and two of them at one time.
func (c *demoClient) book(ctx context.Context, at string, rig uuid.UUID, now time.Time) error {
	hour := func(day, h int) lab.Time {
		return lab.At(time.Date(now.Year(), now.Month(), now.Day()+day, h, 0, 0, 0, now.Location()))
	}
	for _, b := range []lab.Booking{
		{From: lab.At(now.Add(2 * time.Hour)), To: lab.At(now.Add(5 * time.Hour)), Department: "Sports helmets group", Who: "desk 4"},
		{From: hour(1, 8), To: hour(1, 12), Department: "Protective equipment group", Project: "Face guard comparison, autumn"},
		{From: hour(1, 11), To: hour(1, 15), Department: "Sports helmets group", Project: "Liners", Who: "desk 4", Anyway: "The liners have to be hit within a day of their conditioning."},
		{From: hour(2, 9), To: hour(2, 17), Department: "Workshop", Note: "Invented for the demo."},
	} {
		b.Rig = rig
		if err := c.post(ctx, at+"/bookings", &b, nil); err != nil {
			return err
		}
	}
	return nil
}

func (c *demoClient) waitForRig(ctx context.Context, at string) (uuid.UUID, error) {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	for {
		var rigs []struct {
			ID   uuid.UUID `json:"id"`
			Name string    `json:"name"`
		}
		if err := c.get(ctx, at+"/rigs", &rigs); err != nil {
			return uuid.Nil, err
		}
		if len(rigs) > 0 {
			return rigs[0].ID, nil
		}
		select {
		case <-ctx.Done():
			return uuid.Nil, fmt.Errorf("the rig did not reach the server: %w", ctx.Err())
		case <-time.After(100 * time.Millisecond):
		}
	}
}

type demoItem struct {
	position string
	due      time.Duration
	item     lab.Item
}

func demoItems(s scene) []demoItem {
	year := 300 * 24 * time.Hour
	items := []demoItem{
		{"ram", 0, lab.Item{Class: lab.ClassRam, Serial: "R-" + s.slug[:2] + "-01", Name: "Pneumatic ram", ServiceEveryStrokes: s.serviceEvery}},
		{"impactor face", 0, lab.Item{Class: lab.ClassImpactorFace, Serial: "F-" + s.slug[:2] + "-04", Name: "Impactor face, nylon"}},
		{"head form", 0, lab.Item{Class: lab.ClassHeadForm, Serial: "H-" + s.slug[:2] + "-02", Name: "Head form, medium"}},
	}
	for n, position := range []string{"ax", "ay", "az", "wx", "wy", "wz"} {
		due := year
		if n == 0 {
			due = s.sensorDue
		}
		name := "Accelerometer " + position[1:]
		if position[0] == 'w' {
			name = "Rate sensor " + position[1:]
		}
		items = append(items, demoItem{position, due, lab.Item{Class: lab.ClassSensor, Serial: fmt.Sprintf("S-%s-%02d", s.slug[:2], n+10),
			Name: name, CalibrationRequired: true}})
	}
	return append(items, demoItem{"gate", year, lab.Item{Class: lab.ClassLightGate, Serial: "G-" + s.slug[:2] + "-01", Name: "Light gate", CalibrationRequired: true}})
}

func demoCampaign(s scene, locations []string) *lab.Campaign {
	c := &lab.Campaign{Name: "Face guard comparison, autumn", Owner: "Protective equipment group", Specimens: s.specimens,
		Note: "Invented for the demo."}
	for _, l := range locations {
		for _, v := range demoSpeedsMS {
			c.Cells = append(c.Cells, lab.Cell{Location: l, Condition: demoCondition, TargetSpeedMS: v, ToleranceMS: demoToleranceMS, Planned: demoRepeats})
		}
	}
	return c
}
