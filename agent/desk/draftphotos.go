package desk

import (
	"context"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// takenOutReason stands in the log with a photo that left its draft.
const takenOutReason = "taken out before the inspection was recorded"

// photosToSign gives the photos of a shot. Those of an inspection that is not
// recorded yet can be taken out.
func (d *Desk) photosToSign(ctx context.Context, shot uuid.UUID) ([]page.Photo, error) {
	all, err := d.photos.Of(ctx, d.scope(), shot, "", uuid.Nil)
	for i := range all {
		if id, bad := uuid.Parse(all[i].During); bad == nil && err == nil {
			all[i].Out, err = d.unsigned(ctx, id)
		}
	}
	return all, err
}

// unsigned says that an inspection is not recorded.
func (d *Desk) unsigned(ctx context.Context, inspection uuid.UUID) (bool, error) {
	_, err := d.read.Inspection(ctx, d.scope(), inspection)
	if problem.Of(err) == problem.NotFound {
		return true, nil
	}
	return false, err
}

// takeOut takes one photo out of a draft. Its record and bytes stay, as with
// every photo that is taken off.
func (d *Desk) takeOut(c echo.Context, in *inspecting, photo string) error {
	ctx := c.Request().Context()
	id, err := uuid.Parse(photo)
	if err != nil {
		return problem.New(problem.NotFound, "There is no photo of this id; nothing was taken out.", "Open the inspection again and choose the photo there.")
	}
	r, err := d.read.Photo(ctx, d.scope(), id)
	if err != nil {
		return err
	}
	free := false
	if r.Photo.Shot == in.row.ID && r.Photo.Inspection != uuid.Nil {
		if free, err = d.unsigned(ctx, r.Photo.Inspection); err != nil {
			return err
		}
	}
	if !free {
		return httpkit.LeadTo(problem.New(problem.Conflict, "This photo belongs to no draft of this shot; nothing was taken out.", "Take it off on its own screen, with a reason."),
			"Open the photo", page.PhotoPath(id.String()))
	}
	return d.recordOff(c, &r, &lab.Withdrawn{Doc: r.ID, DocKind: lab.KindPhoto, Reason: takenOutReason})
}
