package desk

import (
	"context"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/present"
)

// photoRoutes are the photos that were taken at the rigs.
func (d *Desk) photoRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET(page.PathPhotos+"/:id", d.photo, in)
	e.GET(page.PathPhotos+"/:id/original", d.originalPhoto, in)
	e.GET(page.PathPhotos+"/:id/small.jpg", func(c echo.Context) error { return d.photoCopy(c, picture.Small) }, in)
	e.GET(page.PathPhotos+"/:id/large.jpg", func(c echo.Context) error { return d.photoCopy(c, picture.Large) }, in)
}

func (d *Desk) photoRow(c echo.Context) (view.PhotoRow, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return view.PhotoRow{}, notFound("photo")
	}
	return d.Views.Photo(c.Request().Context(), door.Of(c).Scope, id)
}

func (d *Desk) photo(c echo.Context) error {
	r, err := d.photoRow(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	s, err := d.photos.Screen(ctx, &r, d.zone, who)
	if err != nil {
		return err
	}
	s.Frame = d.frame(&p, "Photo", page.PathShots)
	if s.Of, err = present.PhotoOf(ctx, d.Views, p.Scope, &r, d.zone); err != nil {
		return err
	}
	return d.show(c, s)
}

func (d *Desk) originalPhoto(c echo.Context) error {
	r, err := d.photoRow(c)
	if err != nil {
		return err
	}
	f, err := d.photos.Open(c.Request().Context(), &r)
	if err != nil {
		return err
	}
	defer f.Close()
	picture.ServeOriginal(c.Response(), c.Request(), httpkit.Disposition(present.PhotoName(&r)), r.Bytes.Media, f)
	return nil
}

func (d *Desk) photoCopy(c echo.Context, edge int) error {
	r, err := d.photoRow(c)
	if err != nil {
		return err
	}
	b, err := d.photos.Copy(c.Request().Context(), &r, edge)
	if err != nil {
		return err
	}
	return picture.ServeCopy(c.Response(), b)
}

// photosOf gives the photos that were taken while an inspection was made.
func (d *Desk) photosOf(ctx context.Context, p *caller, r *view.InspectionRow) []page.Photo {
	if r.Inspection.Shot == uuid.Nil {
		return nil
	}
	out, err := d.photos.Of(ctx, p.Scope, r.Inspection.Shot, "", r.ID)
	if err != nil {
		d.Log.Error("photos of an inspection", "inspection", r.ID, "error", err)
	}
	return out
}
