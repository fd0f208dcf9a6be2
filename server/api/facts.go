package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/inventory"
	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// kind is one kind of fact: how to list it and how to add one.
type kind struct {
	list echo.HandlerFunc
	add  echo.HandlerFunc
}

// kinds gives the kinds of facts by their place in the address.
func (a *API) kinds() map[string]kind {
	return map[string]kind{
		"items":        {a.items, add[lab.Item](a, "items")},
		"mountings":    {a.mountings, add[lab.Mounting](a, "mountings")},
		"services":     {a.services, add[lab.Service](a, "services")},
		"calibrations": {a.calibrations, add[lab.Calibration](a, "calibrations")},
		"states":       {a.states, add[lab.ItemState](a, "states")},
		"corrections":  {a.corrections, add[lab.Correction](a, "corrections")},
		"check-limits": {a.checkLimits, add[lab.CheckLimits](a, "check-limits")},
		"campaigns":    {a.campaigns, add[lab.Campaign](a, "campaigns")},
	}
}

// add takes a fact's body as JSON and answers with the id of its document.
func add[B any, P interface {
	*B
	lab.Body
}](a *API, path string) echo.HandlerFunc {
	return func(c echo.Context) error {
		in, err := a.keeper(c)
		if err != nil {
			return err
		}
		body := new(B)
		if err := read(c, body); err != nil {
			return err
		}
		confirmed := inventory.Confirm(c.QueryParam("confirmed") == "yes")
		id, err := a.Register.RecordConfirmed(c.Request().Context(), door.Of(c).Principal, in, P(body), confirmed)
		if err != nil {
			return whole(err)
		}
		return created(c, id, "/api/v1/labs/"+in.ID.String()+"/"+path)
	}
}

type calibrationState struct {
	State string   `json:"state"`
	DueAt lab.Time `json:"due_at"`
	DueOn string   `json:"due_on,omitempty"` // the day as it was typed, "2031-03-14"
	Days  int64    `json:"days"`             // until it is due, negative when overdue
}

func (s *calibrationState) due(k *lab.Calibration) {
	_, on := k.Days()
	s.DueAt, s.DueOn = k.DueAt, on.String()
}

type itemAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.Item
	StrokesSinceService int64            `json:"strokes_since_service"`
	TotalStrokes        int64            `json:"total_strokes"`
	Rig                 *uuid.UUID       `json:"rig"` // null: mounted nowhere
	Position            string           `json:"position,omitempty"`
	State               string           `json:"state"`
	Location            string           `json:"location,omitempty"` // where it is kept while it is not mounted
	Calibration         calibrationState `json:"calibration"`
}

func (a *API) items(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	out, now, views := []itemAnswer{}, a.Now(), view.Remembering(a.Views, in.Scope)
	err = a.everyItem(c.Request().Context(), in, c.QueryParam("class"), func(ctx context.Context, i *view.ItemRow) error {
		u, err := views.RamUsage(ctx, in.Scope, i.ID, now, in.IDs...)
		if err != nil {
			return err
		}
		cal, err := a.Views.CalibrationAt(ctx, in.Scope, i.ID, lab.At(now))
		if err != nil {
			return err
		}
		r := itemAnswer{ID: i.ID, Item: i.Item, StrokesSinceService: u.StrokesSinceService, TotalStrokes: u.TotalStrokes, Position: u.Position, State: u.Stated.State(), Location: u.Stated.Location(),
			Calibration: calibrationState{State: string(cal.State), Days: cal.Days}}
		if u.Rig != uuid.Nil {
			r.Rig = &u.Rig
		}
		if cal.Calibration != nil {
			r.Calibration.due(&cal.Calibration.Calibration)
		}
		out = append(out, r)
		return nil
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

func (a *API) everyItem(ctx context.Context, in roster.Place, class string, each func(context.Context, *view.ItemRow) error) error {
	return every(ctx, func(ctx context.Context, p view.Page) (view.List[view.ItemRow], error) {
		return a.Views.Items(ctx, in.Scope, class, p)
	}, func(i *view.ItemRow) error { return each(ctx, i) })
}

type mountingAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.Mounting
}

type serviceAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.Service
}

type calibrationAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.Calibration
	CalibratedOn string `json:"calibrated_on"` // the days as they were typed
	DueOn        string `json:"due_on"`
}

// ofItems lists the facts about each item of a lab, or about one of them
// (query item), newest first for each.
func ofItems[R, A any](a *API, c echo.Context, read func(context.Context, roster.Place, uuid.UUID) ([]R, error), answer func(*R) A) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	out, only := []A{}, c.QueryParam("item")
	err = a.everyItem(c.Request().Context(), in, "", func(ctx context.Context, i *view.ItemRow) error {
		if only != "" && i.ID.String() != only {
			return nil
		}
		rows, err := read(ctx, in, i.ID)
		for j := range rows {
			out = append(out, answer(&rows[j]))
		}
		return err
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

func (a *API) mountings(c echo.Context) error {
	return ofItems(a, c, func(ctx context.Context, in roster.Place, item uuid.UUID) ([]view.MountingRow, error) {
		return a.Views.Mountings(ctx, in.Scope, item)
	}, func(r *view.MountingRow) mountingAnswer { return mountingAnswer{r.ID, r.Mounting} })
}

func (a *API) services(c echo.Context) error {
	return ofItems(a, c, func(ctx context.Context, in roster.Place, item uuid.UUID) ([]view.ServiceRow, error) {
		return a.Views.Services(ctx, in.Scope, item)
	}, func(r *view.ServiceRow) serviceAnswer { return serviceAnswer{r.ID, r.Service} })
}

func (a *API) calibrations(c echo.Context) error {
	return ofItems(a, c, func(ctx context.Context, in roster.Place, item uuid.UUID) ([]view.CalibrationRow, error) {
		return a.Views.Calibrations(ctx, in.Scope, item)
	}, func(r *view.CalibrationRow) calibrationAnswer {
		on, due := r.Calibration.Days()
		return calibrationAnswer{r.ID, r.Calibration, on.String(), due.String()}
	})
}

type progressAnswer struct {
	Planned  int64 `json:"planned"`
	Done     int64 `json:"done"`
	OffSpeed int64 `json:"off_speed"`
	NoSpeed  int64 `json:"no_speed"`
	Void     int64 `json:"void"`
}

func progress(p *view.CellProgress) progressAnswer {
	return progressAnswer{Planned: p.Planned, Done: p.Done, OffSpeed: p.OffSpeed, NoSpeed: p.NoSpeed, Void: p.Void}
}

type cellAnswer struct {
	Specimen      string  `json:"specimen,omitempty"`
	Location      string  `json:"location"`
	Condition     string  `json:"condition,omitempty"`
	TargetSpeedMS float64 `json:"target_speed_m_s"`
	ToleranceMS   float64 `json:"tolerance_m_s,omitempty"`
	progressAnswer
}

func cells(all []view.CellProgress) []cellAnswer {
	out := make([]cellAnswer, 0, len(all))
	for i := range all {
		p := &all[i]
		out = append(out, cellAnswer{Specimen: p.Specimen, Location: p.Cell.Location, Condition: p.Cell.Condition,
			TargetSpeedMS: p.Cell.TargetSpeedMS, ToleranceMS: p.Cell.ToleranceMS, progressAnswer: progress(p)})
	}
	return out
}

type campaignAnswer struct {
	ID  uuid.UUID    `json:"id"`
	Lab record.LabID `json:"lab"`
	lab.Campaign
	Total     progressAnswer `json:"total"`
	Unsettled []string       `json:"unsettled"` // fields that were set at two places without sight of each other
}

func campaignOf(in record.LabID, r *view.CampaignRow, total *view.CellProgress) campaignAnswer {
	return campaignAnswer{ID: r.ID, Lab: in, Campaign: r.Campaign, Total: progress(total), Unsettled: append([]string{}, r.Conflicts()...)}
}

func (a *API) campaigns(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	out := []campaignAnswer{}
	ctx := c.Request().Context()
	err = every(ctx, func(ctx context.Context, p view.Page) (view.List[view.CampaignRow], error) {
		return a.Views.Campaigns(ctx, in.Scope, p)
	}, func(r *view.CampaignRow) error {
		p, err := a.Views.CampaignProgress(ctx, in.Scope, r.ID, in.IDs...)
		out = append(out, campaignOf(in.ID, r, &p.Total))
		return err
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

type campaignProgress struct {
	campaignAnswer
	ByCell         []cellAnswer `json:"by_cell"`
	BySpecimenCell []cellAnswer `json:"by_specimen_and_cell"`
}

func (a *API) campaign(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	id, err := parseID(c, "id", "campaign")
	if err != nil {
		return err
	}
	p, err := a.Views.CampaignProgress(c.Request().Context(), in.Scope, id, in.IDs...)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, campaignProgress{
		campaignAnswer: campaignOf(in.ID, &p.Campaign, &p.Total),
		ByCell:         cells(p.ByCell), BySpecimenCell: cells(p.Cells),
	})
}

// schedule sets where and when a campaign is to be fired, both anew.
func (a *API) schedule(c echo.Context) error {
	in, err := a.keeper(c)
	if err != nil {
		return err
	}
	id, err := parseID(c, "id", "campaign")
	if err != nil {
		return err
	}
	var q struct {
		Rig      *uuid.UUID `json:"rig"`
		StartsAt lab.Time   `json:"starts_at"`
		EndsAt   lab.Time   `json:"ends_at"`
	}
	if err := read(c, &q); err != nil {
		return err
	}
	if err := a.Register.PlanCampaign(c.Request().Context(), door.Of(c).Principal, in, id, register.When(q), nil); err != nil {
		return whole(err)
	}
	return c.NoContent(http.StatusNoContent)
}
