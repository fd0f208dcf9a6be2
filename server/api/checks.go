package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
)

type checkAnswer struct {
	ID          uuid.UUID       `json:"id"`
	Pad         string          `json:"pad"`
	EffectiveAt lab.Time        `json:"effective_at"`
	State       view.CheckState `json:"state"`
	Words       string          `json:"words,omitempty"`
	History     int             `json:"history"`
	Results     []checkedAnswer `json:"results"`
	Setup       setupAnswer     `json:"setup"`
}

// setupAnswer is what a check was fired with; null is what is not recorded.
type setupAnswer struct {
	HeadForm     *uuid.UUID `json:"head_form"`
	Neck         *uuid.UUID `json:"neck"`
	ImpactorFace *uuid.UUID `json:"impactor_face"`
	TargetMS     *float64   `json:"target_speed_m_s"`
}

func setupOf(s view.CheckSetup) (out setupAnswer) {
	for i, to := range []**uuid.UUID{&out.HeadForm, &out.Neck, &out.ImpactorFace} {
		if id := s.Item(i); id != uuid.Nil {
			*to = &id
		}
	}
	if s.SpeedMMS != 0 {
		out.TargetMS = new(float64(s.SpeedMMS) / 1000)
	}
	return out
}

// checkedAnswer is a result of a check; null is what there is not.
type checkedAnswer struct {
	Result    string   `json:"result"`
	Unit      string   `json:"unit"`
	Value     *float64 `json:"value"`
	Least     *float64 `json:"least"`
	Most      *float64 `json:"most"`
	ChartLow  *float64 `json:"chart_low"`
	ChartHigh *float64 `json:"chart_high"`
	Within    bool     `json:"within"`
}

// checks lists the system checks of a rig.
func (a *API) checks(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	rig, err := parseID(c, "rig", "rig")
	if err != nil {
		return err
	}
	if _, err := a.Views.Rig(c.Request().Context(), in.Scope, rig); err != nil {
		return err
	}
	rows, err := a.Views.Checks(c.Request().Context(), in.Scope, rig, view.MaxLimit)
	if err != nil {
		return err
	}
	out := make([]checkAnswer, 0, len(rows))
	for i := range rows {
		r := &rows[i]
		x := checkAnswer{ID: r.ID, Pad: r.Shot.ReferencePad, EffectiveAt: r.Shot.EffectiveAt, State: r.State, Words: r.Words(), History: r.History, Setup: setupOf(r.Setup)}
		for j := range r.Results {
			p := &r.Results[j]
			y := checkedAnswer{Result: p.Name, Unit: p.Unit, Value: p.Value, Within: p.Value != nil && !p.Bad()}
			if p.Limit != nil {
				y.Least, y.Most = p.Limit.Least, p.Limit.Most
			}
			if p.Chart != nil {
				y.ChartLow, y.ChartHigh = &p.Chart.Low, &p.Chart.High
			}
			x.Results = append(x.Results, y)
		}
		out = append(out, x)
	}
	return c.JSON(http.StatusOK, out)
}

type checkLimitsAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.CheckLimits
}

// checkLimits lists what was set for the checks of a lab's rigs.
func (a *API) checkLimits(c echo.Context) error {
	in, err := a.place(c)
	if err != nil {
		return err
	}
	out := []checkLimitsAnswer{}
	err = every(c.Request().Context(), func(ctx context.Context, p view.Page) (view.List[view.RigRow], error) {
		return a.Views.Rigs(ctx, in.Scope, p)
	}, func(r *view.RigRow) error {
		set, err := a.Views.CheckLimits(c.Request().Context(), in.Scope, r.ID, "")
		for i := range set {
			out = append(out, checkLimitsAnswer{ID: set[i].ID, CheckLimits: set[i].CheckLimits})
		}
		return err
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}
