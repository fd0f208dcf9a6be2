package api

import (
	"bytes"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/evidence"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/picture"
)

// PostDocuments is the route of files about an item; it takes larger bodies
// than others.
const PostDocuments = "/api/v1/labs/:lab/items/:item/documents"

type documentAnswer struct {
	ID          uuid.UUID   `json:"id"`
	Item        uuid.UUID   `json:"item"`
	Calibration *uuid.UUID  `json:"calibration"` // that it is the certificate of; null: of the item
	Title       string      `json:"title,omitempty"`
	Name        string      `json:"name"`
	Media       string      `json:"media"`
	SizeBytes   int64       `json:"size_bytes"`
	SHA256      record.Hash `json:"sha256"`
	EffectiveAt lab.Time    `json:"effective_at"`
	RecordedAt  time.Time   `json:"recorded_at"`
	Author      string      `json:"author"`
	File        string      `json:"file"`
	FileHere    bool        `json:"file_here"`
}

// item gives the lab and the item of the address.
func (a *API) item(c echo.Context) (roster.Place, view.ItemRow, error) {
	return about(a, c, "item", "item", a.Views.Item)
}

// documents lists the files about an item, newest first.
func (a *API) documents(c echo.Context) error {
	in, item, err := a.item(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	rows, err := a.Views.Documents(ctx, in.Scope, item.ID)
	if err != nil {
		return err
	}
	out := make([]documentAnswer, 0, len(rows))
	for i := range rows {
		r := &rows[i]
		x := documentAnswer{ID: r.ID, Item: r.Document.Item, Title: r.Document.Title, Name: r.Bytes.Name, Media: r.Bytes.Media, SizeBytes: r.Bytes.Size,
			SHA256: r.Document.SHA256, EffectiveAt: r.Document.EffectiveAt, RecordedAt: r.RecordedAt, Author: r.Author, File: "/api/v1/documents/" + r.ID.String() + "/file"}
		if r.Document.Calibration != uuid.Nil {
			x.Calibration = &r.Document.Calibration
		}
		if x.FileHere, err = a.Evidence.Holds(ctx, r.Lab, r.Document.SHA256); err != nil {
			return err
		}
		out = append(out, x)
	}
	return c.JSON(http.StatusOK, out)
}

// newDocument keeps the body as a file about an item: the bytes first, then the
// record. The same file about the same is there once, so a call that was cut off
// is repeated as it was.
func (a *API) newDocument(c echo.Context) error {
	in, item, err := a.item(c)
	if err != nil {
		return err
	}
	p := door.Of(c).Principal
	if err := register.MayKeep(p, in.ID); err != nil {
		return err
	}
	about, err := a.certificateOf(c, in, item.ID)
	if err != nil {
		return err
	}
	name, title := strings.TrimSpace(c.QueryParam("name")), strings.TrimSpace(c.QueryParam("title"))
	if name == "" {
		return &problem.Error{Code: problem.Invalid, Where: "name", What: "The file has no name.", Fix: "Add name= with the name of the file, as name=K-17.pdf."}
	}
	sent, err := evidence.ReadDocument(c.Request().Body, name)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	ref, err := a.Evidence.Of(in.ID).Put(ctx, bytes.NewReader(sent.Bytes), evidence.MaxDocument)
	if err != nil {
		return err
	}
	body := &lab.Document{Item: item.ID, Calibration: about, SHA256: ref.SHA256, EffectiveAt: lab.At(a.Now()), Title: title}
	if err := body.Validate(); err != nil {
		return whole(err)
	}
	id := lab.DocumentOf(item.ID, about, ref.SHA256)
	was, err := a.Views.Document(ctx, in.Scope, id)
	if err != nil && problem.Of(err) != problem.NotFound {
		return err
	}
	there := err == nil && was.Withdrawn == nil
	at := record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleDocument, Media: sent.Media, Name: sent.Name}
	if err := a.Register.Document(ctx, p, in.ID, body, at); err != nil {
		return err
	}
	if there {
		return c.JSON(http.StatusOK, idAnswer{ID: id})
	}
	return created(c, id, "/api/v1/documents/"+id.String()+"/file")
}

// certificateOf gives the certificate that the query names; zero: none.
func (a *API) certificateOf(c echo.Context, in roster.Place, item uuid.UUID) (uuid.UUID, error) {
	text := c.QueryParam("calibration")
	if text == "" {
		return uuid.Nil, nil
	}
	rows, err := a.Views.Calibrations(c.Request().Context(), in.Scope, item)
	if err != nil {
		return uuid.Nil, err
	}
	for i := range rows {
		if rows[i].ID.String() == strings.ToLower(text) {
			return rows[i].ID, nil
		}
	}
	return uuid.Nil, &problem.Error{Code: problem.NotFound, Where: "calibration", What: "The item has no such certificate.", Fix: "Look it up among its calibrations, or leave calibration out."}
}

// documentOf gives the file of the address, unless it was taken off.
func (a *API) documentOf(c echo.Context) (view.DocumentRow, error) {
	id, err := parseID(c, "id", "file")
	if err != nil {
		return view.DocumentRow{}, err
	}
	r, err := a.Views.Document(c.Request().Context(), door.Of(c).Scope, id)
	if err == nil && r.Withdrawn != nil {
		err = problem.New(problem.NotFound, "There is no such file.", "Look it up in the list of the item.")
	}
	return r, err
}

// documentFile gives a file byte for byte, always as a download.
func (a *API) documentFile(c echo.Context) error {
	r, err := a.documentOf(c)
	if err != nil {
		return err
	}
	f, _, err := a.Evidence.Of(r.Lab).Open(c.Request().Context(), r.Document.SHA256)
	if err != nil {
		return err
	}
	defer f.Close()
	picture.ServeOriginal(c.Response(), c.Request(), httpkit.Disposition(r.Bytes.Name), r.Bytes.Media, f)
	return nil
}

// documentOff takes a file off its item; its bytes stay as evidence.
func (a *API) documentOff(c echo.Context) error {
	r, err := a.documentOf(c)
	if err != nil {
		return err
	}
	ctx, p := c.Request().Context(), door.Of(c)
	names, err := a.Roster.Names(ctx, p.Scope)
	if err != nil {
		return err
	}
	in, err := names.Lab(ctx, r.Lab)
	if err != nil {
		return err
	}
	if in == nil {
		return problem.New(problem.NotFound, "There is no such file.", "Look it up in the list of the item.")
	}
	if err := a.Register.Withdraw(ctx, p.Principal, in.ID, r.Lab, r.ID, lab.KindDocument, "taken off"); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}
