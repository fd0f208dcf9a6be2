package api

import (
	"context"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/view"
)

type stateAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.ItemState
}

type correctionAnswer struct {
	ID uuid.UUID `json:"id"`
	lab.Correction
}

// states lists what was stated about the state and place of items.
func (a *API) states(c echo.Context) error {
	return ofItems(a, c, func(ctx context.Context, in roster.Place, item uuid.UUID) ([]view.StateRow, error) {
		return a.Views.States(ctx, in.Scope, item)
	}, func(r *view.StateRow) stateAnswer { return stateAnswer{r.ID, r.ItemState} })
}

// corrections lists the corrections of the counters of items.
func (a *API) corrections(c echo.Context) error {
	return ofItems(a, c, func(ctx context.Context, in roster.Place, item uuid.UUID) ([]view.CorrectionRow, error) {
		return a.Views.Corrections(ctx, in.Scope, item)
	}, func(r *view.CorrectionRow) correctionAnswer { return correctionAnswer{r.ID, r.Correction} })
}
