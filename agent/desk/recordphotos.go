package desk

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/present"
)

// recordPhotos records photos of a shot, or with the zero shot of a specimen.
// The same bytes for the same shot are one photo; one that was taken off is
// put back.
func (d *Desk) recordPhotos(c echo.Context, of record.LabID, shot uuid.UUID, specimen string, inspection uuid.UUID, note string, all []taken) (out []recordedPhoto, err error) {
	ctx := c.Request().Context()
	now := lab.At(time.Now())
	_, err = d.Intake.Record(ctx, of, func(tx kv.Tx) (drafts []ledger.Draft, err error) {
		out = nil
		seen := map[uuid.UUID]bool{}
		for _, t := range all {
			b := &lab.Photo{Shot: shot, Specimen: specimen, Inspection: inspection, SHA256: t.bytes.SHA256, EffectiveAt: now, CameraTime: t.facts.CameraTime, Note: note}
			id := lab.PhotoOf(shot, specimen, b.SHA256)
			had, err := view.Within(d.read, tx).Photo(ctx, d.scope(), id)
			if err != nil && problem.Of(err) != problem.NotFound {
				return nil, err
			}
			there := err == nil || seen[id]
			out = append(out, recordedPhoto{ID: id, SHA256: b.SHA256.String(), Size: t.bytes.Size, Again: there})
			var body lab.Body = b
			var with []record.Attachment
			switch {
			case !there:
				with = []record.Attachment{t.bytes}
			case had.Withdrawn != nil && !seen[id]:
				body = &lab.Withdrawn{Doc: id, DocKind: lab.KindPhoto, Reason: "added again", Lifted: true}
			default:
				continue
			}
			seen[id] = true
			kind, schema, raw, err := lab.Encode(body)
			if err != nil {
				return nil, err
			}
			drafts = append(drafts, ledger.Draft{Kind: kind, Schema: schema, Author: d.author(c), UID: id, Body: raw, Attachments: with})
		}
		return drafts, nil
	})
	return out, err
}

// look draws the small copies at once, so that a photo that ends early is told
// of while the specimen is still at hand.
func (d *Desk) look(ctx context.Context, all []recordedPhoto) (notices []page.Notice) {
	for i := range all {
		row, err := d.read.Photo(ctx, d.scope(), all[i].ID)
		if err == nil {
			_, err = d.photos.Copy(ctx, &row, picture.Small)
		}
		if p, ok := problem.As(err); ok && ctx.Err() == nil {
			all[i].Why = p.What
			notices = append(notices, page.Notice{Level: page.Warn, Text: "The photo “" + present.PhotoName(&row) + "” is kept. " + p.What, Fix: p.Fix})
		}
	}
	return notices
}
