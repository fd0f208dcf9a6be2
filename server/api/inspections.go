package api

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/web/httpkit"
	"thudbook/web/present"
)

// narrowed is the caller's scope, or the lab in it that the address names.
func (a *API) narrowed(c echo.Context) (scope.Scope, error) {
	sc := door.Of(c).Scope
	if text := c.QueryParam("lab"); text != "" {
		in, err := a.Roster.Find(c.Request().Context(), sc, text)
		return in.Scope, err
	}
	return sc, nil
}

func (a *API) inspections(c echo.Context) error {
	sc, err := a.narrowed(c)
	if err != nil {
		return err
	}
	f, p, err := present.ParseInspectionQuery(c.QueryParams(), "after")
	if err != nil {
		return err
	}
	list, err := a.Views.Inspections(c.Request().Context(), sc, f, p)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, struct {
		Inspections []present.InspectionJSON `json:"inspections"`
		Next        string                   `json:"next"`
	}{present.InspectionBodies(list.Rows), next(c, list.Next)})
}

func (a *API) specimen(c echo.Context) error {
	ctx := c.Request().Context()
	sc, err := a.narrowed(c)
	if err != nil {
		return err
	}
	name, err := httpkit.Text(c, "name")
	if err != nil {
		return err
	}
	h, err := present.SpecimenHistory(ctx, a.Views, sc, name)
	if err != nil {
		return err
	}
	if !h.Known() {
		return problem.New(problem.NotFound, "there is no specimen of this name", "check the name on its tag, or look it up among the shots")
	}
	names, err := a.Roster.Names(ctx, sc)
	if err != nil {
		return err
	}
	labs := map[string]bool{}
	for _, id := range h.Labs() {
		l, err := names.Lab(ctx, id)
		if err != nil {
			return err
		}
		if l != nil {
			labs[l.ID.String()] = true
		}
	}
	if len(labs) > 1 {
		return problem.New(problem.Invalid, "several labs have a specimen of this name, which are different ones", "add lab= with the id of one of them")
	}
	return c.JSON(http.StatusOK, h.Body())
}

// photos lists the photos of a shot.
func (a *API) photos(c echo.Context) error {
	r, err := a.find(c)
	if err != nil {
		return err
	}
	rows, err := a.Views.Photos(c.Request().Context(), door.Of(c).Scope, r.ID, "")
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, present.PhotoList(rows))
}
