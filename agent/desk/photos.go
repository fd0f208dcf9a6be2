package desk

import (
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/present"
)

func (d *Desk) photoRoutes(e *echo.Echo) {
	e.POST(page.PathShots+"/:id"+page.PathPhotos, d.photosOfShot)
	e.POST(page.PathSpecimens+"/:name"+page.PathPhotos, d.photosOfSpecimen)
	e.GET(page.PathPhotos+"/:id", d.photo)
	e.GET(page.PathPhotos+"/:id/original", d.originalPhoto)
	e.GET(page.PathPhotos+"/:id/small.jpg", func(c echo.Context) error { return d.photoCopy(c, picture.Small) })
	e.GET(page.PathPhotos+"/:id/large.jpg", func(c echo.Context) error { return d.photoCopy(c, picture.Large) })
	e.POST(page.PathPhotos+"/:id/off", d.photoOff)
	e.GET("/api/v1/shots/:id/photos", d.listPhotos)
}

func (d *Desk) photoRow(c echo.Context) (view.PhotoRow, error) {
	id, err := d.id(c)
	if err != nil {
		return view.PhotoRow{}, err
	}
	return d.read.Photo(c.Request().Context(), d.scope(), id)
}

func (d *Desk) photo(c echo.Context) error { return d.photoPage(c, nil, nil, http.StatusOK) }

func (d *Desk) photoPage(c echo.Context, typed, faults map[string]string, status int) error {
	r, err := d.photoRow(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	p, err := d.photos.Screen(ctx, &r, time.Local, d.personName)
	if err != nil {
		return err
	}
	p.Frame = d.frame(c, "Photo", page.PathShots)
	if p.Of, err = present.PhotoOf(ctx, d.read, d.scope(), &r, time.Local); err != nil {
		return err
	}
	if r.Withdrawn == nil {
		p.Off = &page.Form{ID: "take", Action: page.PhotoOffPath(r.ID.String()), Fields: page.PhotoOffFields(), Values: typed, Errors: faults, Submit: "Take it off"}
	}
	return httpkit.Page(c, status, p)
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

// photoOff takes a photo off its shot; adding it again puts it back.
func (d *Desk) photoOff(c echo.Context) error {
	r, err := d.photoRow(c)
	if err != nil {
		return err
	}
	posted, err := c.FormParams()
	if err != nil {
		return unreadable(err)
	}
	typed := page.Typed(posted, page.PhotoOffFields())
	body := &lab.Withdrawn{Doc: r.ID, DocKind: lab.KindPhoto, Reason: typed["reason"]}
	if faults := httpkit.Problems(body.Validate()); len(faults) > 0 {
		return d.photoPage(c, typed, map[string]string{"reason": httpkit.Sentence(faults[0])}, http.StatusUnprocessableEntity)
	}
	if err := d.recordOff(c, &r, body); err != nil {
		return err
	}
	return httpkit.SeeOther(c, page.PhotoPath(r.ID.String()))
}

// recordOff takes a photo off, once.
func (d *Desk) recordOff(c echo.Context, r *view.PhotoRow, body *lab.Withdrawn) error {
	kind, schema, raw, err := lab.Encode(body)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	_, err = d.Intake.Record(ctx, r.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		now, err := view.Within(d.read, tx).Photo(ctx, d.scope(), r.ID)
		if err != nil || now.Withdrawn != nil {
			return nil, err
		}
		return []ledger.Draft{{Kind: kind, Schema: schema, Author: d.author(c), UID: r.ID, Body: raw}}, nil
	})
	return err
}

func (d *Desk) listPhotos(c echo.Context) error {
	id, err := d.id(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	if _, err := d.read.Shot(ctx, d.scope(), id); err != nil {
		return err
	}
	rows, err := d.read.Photos(ctx, d.scope(), id, "")
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, present.PhotoList(rows))
}

// shownPhotos gives the photos that were taken while an inspection was made.
func (d *Desk) shownPhotos(c echo.Context) func(*view.InspectionRow) []page.Photo {
	return func(r *view.InspectionRow) []page.Photo {
		if r.Inspection.Shot == uuid.Nil {
			return nil
		}
		out, err := d.photos.Of(c.Request().Context(), d.scope(), r.Inspection.Shot, "", r.ID)
		if err != nil {
			d.Log.Error("photos of an inspection", "inspection", r.ID, "error", err)
		}
		return out
	}
}
