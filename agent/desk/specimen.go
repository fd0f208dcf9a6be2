package desk

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// history reads what is recorded of the specimen that a path names.
func (d *Desk) history(c echo.Context) (*present.History, error) {
	name, err := httpkit.Text(c, "name")
	if err != nil {
		return nil, err
	}
	h, err := present.SpecimenHistory(c.Request().Context(), d.read, d.scope(), name)
	if err == nil && !h.Known() {
		err = problem.New(problem.NotFound, "Nothing is recorded of a specimen of this name.", "Check the name on its tag, or look it up among the shots.")
	}
	return h, err
}

func (d *Desk) specimen(c echo.Context) error {
	h, err := d.history(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	shown := d.showInspections(c)
	shown.Photos = nil // they stand beside their hits
	p, err := h.Page(ctx, d.read, d.scope(), &shown)
	if err == nil {
		err = d.photos.Fill(ctx, d.scope(), h, &p)
	}
	if err != nil {
		return err
	}
	p.AddPhotos = present.AddPhotos(page.SpecimenPhotosPath(h.Name), h.Name)
	p.Frame = d.frame(c, "Specimen "+h.Name, page.PathShots)
	return httpkit.Page(c, http.StatusOK, p)
}

func (d *Desk) getSpecimen(c echo.Context) error {
	h, err := d.history(c)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, h.Body())
}

func (d *Desk) listInspections(c echo.Context) error {
	f, p, err := present.ParseInspectionQuery(c.QueryParams(), "before")
	if err != nil {
		return err
	}
	list, err := d.read.Inspections(c.Request().Context(), d.scope(), f, p)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, present.InspectionList(list))
}
