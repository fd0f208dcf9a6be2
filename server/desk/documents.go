package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/server/door"
	"thudbook/server/evidence"
	"thudbook/server/register"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/picture"
)

// documentRoutes adds certificates and files of items.
func (d *Desk) documentRoutes(e *echo.Echo, in echo.MiddlewareFunc) {
	e.GET("/equipment/certificates/:id", d.certificates, in)
	e.POST("/equipment/certificates/:id", d.postCertificate, in)
	e.GET("/equipment/certificates/:id/list.csv", d.certificatesCSV, in)
	e.POST(page.PostDocument, d.postDocument, in)
	e.GET(page.PathDocuments+"/:id", d.document, in)
	e.POST(page.PathDocuments+"/:id/off", d.documentOff, in)
}

// documentRows lists the files about an item, or about one of its certificates.
func (d *Desk) documentRows(ctx context.Context, k *certified, calibration uuid.UUID, who func(string) string, may bool) ([]page.DocumentRow, error) {
	var out []page.DocumentRow
	for i := range k.files {
		r := &k.files[i]
		if r.Document.Calibration != calibration {
			continue
		}
		row := page.DocumentRow{Title: r.Document.Title, Name: r.Bytes.Name, Size: page.ShowBytes(r.Bytes.Size), At: r.Document.EffectiveAt.Time().In(d.zone), By: who(r.Author)}
		if row.Title == "" {
			row.Title = r.Bytes.Name
		}
		here, err := d.Evidence.Holds(ctx, r.Lab, r.Document.SHA256)
		if err != nil {
			return nil, err
		}
		if here {
			row.Href = page.DocumentPath(r.ID.String())
		}
		if may {
			row.Off, row.Key = page.DocumentPath(r.ID.String())+"/off", httpkit.NewKey()
		}
		out = append(out, row)
	}
	return out, nil
}

// sentDocument reads the file of a form; fault says why it is none.
func sentDocument(c echo.Context) (sent *evidence.Document, fault string, err error) {
	h, err := c.FormFile("file")
	if err != nil {
		if _, large := errors.AsType[*http.MaxBytesError](err); large {
			return asFault(evidence.TooLargeDocument())
		}
		return nil, "Choose a file.", nil
	}
	f, err := h.Open()
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	if sent, err = evidence.ReadDocument(f, h.Filename); err != nil {
		return asFault(err)
	}
	return sent, "", nil
}

// asFault words a problem of the file; other errors stay errors.
func asFault(err error) (*evidence.Document, string, error) {
	if p, ok := errors.AsType[*problem.Error](err); ok && p.Where == "file" {
		return nil, p.What + " " + p.Fix, nil
	}
	return nil, "", err
}

// postDocument keeps a file about an item: the bytes first, then the record.
func (d *Desk) postDocument(c echo.Context) error {
	ctx := c.Request().Context()
	sent, fault, err := sentDocument(c)
	if err != nil {
		return err
	}
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	id, err := uuid.Parse(c.FormValue("item"))
	if err != nil {
		return notFound("item")
	}
	k, err := d.certified(ctx, &p, id)
	if err != nil {
		return err
	}
	if err := register.MayKeep(p.Principal, k.in.ID); err != nil {
		return err
	}
	about := uuid.Nil
	if text := c.FormValue("about"); text != "" && fault == "" {
		about, err = uuid.Parse(text)
		found := false
		for i := range k.all {
			found = found || k.all[i].ID == about
		}
		if err != nil || !found {
			fault = "There is no such certificate of this item. Choose one from the list."
		}
	}
	title := strings.TrimSpace(c.FormValue("title"))
	if len(title) > lab.MaxText {
		fault = fmt.Sprintf("The name is longer than %d letters. Shorten it.", lab.MaxText)
	}
	if fault != "" {
		return d.certificatesPage(c, id, nil, fault, http.StatusUnprocessableEntity)
	}
	ref, err := d.Evidence.Of(k.in.ID).Put(ctx, bytes.NewReader(sent.Bytes), evidence.MaxDocument)
	if err != nil {
		return err
	}
	body := &lab.Document{Item: id, Calibration: about, SHA256: ref.SHA256, EffectiveAt: lab.At(d.Now()), Title: title}
	a := record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleDocument, Media: sent.Media, Name: sent.Name}
	if err := d.Register.Document(ctx, p.Principal, k.in.ID, body, a); err != nil {
		return err
	}
	return httpkit.SeeOther(c, done(page.CertificatesPath(id.String()), "file"))
}

func (d *Desk) documentRow(c echo.Context) (view.DocumentRow, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return view.DocumentRow{}, notFound("file")
	}
	r, err := d.Views.Document(c.Request().Context(), door.Of(c).Scope, id)
	if err == nil && r.Withdrawn != nil {
		err = notFound("file")
	}
	return r, err
}

// document gives a file's bytes to be saved.
func (d *Desk) document(c echo.Context) error {
	r, err := d.documentRow(c)
	if err != nil {
		return err
	}
	f, _, err := d.Evidence.Of(r.Lab).Open(c.Request().Context(), r.Document.SHA256)
	if err != nil {
		return err
	}
	defer f.Close()
	picture.ServeOriginal(c.Response(), c.Request(), httpkit.Disposition(r.Bytes.Name), r.Bytes.Media, f)
	return nil
}

// documentOff takes a file off its item; its bytes stay as evidence.
func (d *Desk) documentOff(c echo.Context) error {
	r, err := d.documentRow(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	in, err := p.names.Lab(ctx, r.Lab)
	if err != nil {
		return err
	}
	if in == nil {
		return notFound("file")
	}
	if err := d.Register.Withdraw(ctx, p.Principal, in.ID, r.Lab, r.ID, lab.KindDocument, "taken off"); err != nil {
		return err
	}
	return httpkit.SeeOther(c, done(page.CertificatesPath(r.Document.Item.String()), "off"))
}
