package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

// certified is an item with all certificates and files.
type certified struct {
	ownedItem
	all   []view.CalibrationRow
	files []view.DocumentRow
}

func (d *Desk) certified(ctx context.Context, p *caller, id uuid.UUID) (k certified, err error) {
	if k.ownedItem, err = d.ownedItem(ctx, p, id); err != nil {
		return k, err
	}
	if k.all, err = d.Views.Calibrations(ctx, k.in.Scope, id); err != nil {
		return k, err
	}
	k.files, err = d.Views.Documents(ctx, k.in.Scope, id)
	return k, err
}

// certificates shows all certificates of an item.
func (d *Desk) certificates(c echo.Context) error {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return notFound("item")
	}
	return d.certificatesPage(c, id, nil, "", http.StatusOK)
}

func (d *Desk) certificatesPage(c echo.Context, id uuid.UUID, typed *httpkit.Filled, badFile string, status int) error {
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	k, err := d.certified(ctx, &p, id)
	if err != nil {
		return err
	}
	i := &k.item.Item
	s := page.Certificates{Frame: d.frame(&p, "Certificates of "+i.Title(), page.PathEquipment), ID: id.String(), Item: i.Title(), Kind: i.Class, Lab: k.title, CSV: page.CertificatesPath(id.String()) + "/list.csv"}
	state, err := d.Views.CalibrationAt(ctx, p.Scope, id, lab.At(d.Now()))
	if err != nil {
		return err
	}
	s.State = present.Calibration(&state)
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	may := p.MayKeep(k.in.ID)
	for j := range k.all {
		row, err := d.certificateRow(ctx, &k, j, who, may)
		if err != nil {
			return err
		}
		s.Rows = append(s.Rows, row)
	}
	if s.Files, err = d.documentRows(ctx, &k, uuid.Nil, who, may); err != nil {
		return err
	}
	if len(k.all) > 0 {
		s.Advice = present.Advice(k.all)
	}
	s.Chart, s.ChartNote = present.SensitivityChart(k.all)
	said(c, &s.Frame, map[string]string{"file": "The file was added.", "off": "The file was hidden. Adding it again shows it again.", "calibration": "The certificate was recorded."})
	if may {
		d.certificateForms(c, &s, &k, badFile)
		if typed != nil {
			typed.Into(s.Calibration)
			s.Notices = append(s.Notices, typed.Other...)
		}
	}
	return httpkit.Page(c, status, s)
}

func (d *Desk) certificateForms(c echo.Context, s *page.Certificates, k *certified, badFile string) {
	s.Upload = &page.Upload{Key: httpkit.NewKey(), Item: s.ID, Error: badFile, Title: c.FormValue("title"), About: c.FormValue("about")}
	for j := range k.all {
		b := &k.all[j].Calibration
		on, _ := b.Days()
		s.Upload.Choices = append(s.Upload.Choices, page.Choice{Value: k.all[j].ID.String(), Text: "certificate " + b.Certificate + " of " + on.String()})
	}
	s.Upload.Choices = append(s.Upload.Choices, page.Choice{Value: "", Text: "another file of the item"})
	f := httpkit.Blank(page.CalibrationFields(), page.CertificatesPath(s.ID), "calibration", "Record the certificate")
	f.Values = map[string]string{"item": s.ID}
	f.Choices = map[string][]page.Choice{"item": {{Value: s.ID, Text: s.Item}}}
	s.Calibration = &f
}

// certificateRow is one certificate; j counts from the newest.
func (d *Desk) certificateRow(ctx context.Context, k *certified, j int, who func(string) string, may bool) (page.CertificateRow, error) {
	r := &k.all[j]
	b := &r.Calibration
	on, due := b.Days()
	row := page.CertificateRow{ID: r.ID.String(), Number: b.Certificate, On: on.In(d.zone), Due: due.In(d.zone), Laboratory: b.Laboratory, Reference: b.ReferenceStandard,
		AsFound: page.Missing("not written down"), AsLeft: page.Missing("not on the certificate"), Uncertainty: page.Missing("not on the certificate"), By: who(r.Author), Recorded: r.RecordedAt.In(d.zone)}
	row.Late = r.RecordedAt.Sub(b.EffectiveAt.Time()) > lateAfter
	if b.Sensitivity != nil {
		row.AsLeft = page.Show(*b.Sensitivity, b.SensitivityUnit)
	}
	switch {
	case b.AsFoundNotReported:
		row.AsFound = page.Missing("adjusted, not reported")
	case b.AsFoundSensitivity == nil && b.Sensitivity != nil:
		row.AsFound = page.Missing("not adjusted")
	case b.AsFoundSensitivity != nil:
		row.AsFound = page.Show(*b.AsFoundSensitivity, b.SensitivityUnit)
	}
	if b.ExpandedUncertaintyPercent != nil {
		row.Uncertainty = page.Show(*b.ExpandedUncertaintyPercent, "%")
	}
	var err error
	if row.Files, err = d.documentRows(ctx, k, r.ID, who, may); err != nil || j+1 == len(k.all) {
		return row, err
	}
	if f, ok := b.AsFound(&k.all[j+1].Calibration); ok {
		row.Change = fmt.Sprintf("%s, ±%.1f %%", present.Change(&f), f.LimitPercent)
		if row.State = present.FoundWord(&f); f.Out() {
			row.Review = page.NewReviewPath(r.ID.String())
		}
	}
	return row, nil
}

// lateAfter is how long after the deed an entry counts as late: certificates
// take their time by post.
const lateAfter = 60 * 24 * time.Hour

// postCertificate records a certificate from the screen of its item.
func (d *Desk) postCertificate(c echo.Context) error {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return notFound("item")
	}
	return d.post(c, page.CalibrationFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		f.Values["item"] = id.String()
		item, in, err := d.labOfItem(ctx, c, f)
		if err != nil {
			return "", err
		}
		if item == uuid.Nil {
			return "", notFound("item")
		}
		b := present.Certificate(f, d.Now().In(d.zone))
		b.Item = item
		_, err = d.write(ctx, c, f, in, b, "calibration")
		return done(page.CertificatesPath(id.String()), "calibration"), err
	}, func(c echo.Context, f *httpkit.Filled, status int) error {
		return d.certificatesPage(c, id, f, "", status)
	})
}

// certificatesCSV lists the certificates of an item with every figure in full.
func (d *Desk) certificatesCSV(c echo.Context) error {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return notFound("item")
	}
	ctx := c.Request().Context()
	p, err := d.caller(c)
	if err != nil {
		return err
	}
	k, err := d.certified(ctx, &p, id)
	if err != nil {
		return err
	}
	who, err := d.authors(ctx, p.Scope)
	if err != nil {
		return err
	}
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	}
	head := []string{"class", "serial", "certificate", "calibrated_on", "due_on", "laboratory", "reference_standard", "sensitivity_unit", "sensitivity_as_left", "sensitivity_as_found", "as_found_not_reported", "expanded_uncertainty_percent", "change_found_percent", "limit_percent", "recorded_at", "recorded_by", "files"}
	b, err := present.CSV(head, func(yield func([]string, error) bool) {
		for j := range k.all {
			b := &k.all[j].Calibration
			var change, limit string
			if j+1 < len(k.all) {
				if f, ok := b.AsFound(&k.all[j+1].Calibration); ok {
					change, limit = number(&f.ChangePercent), number(&f.LimitPercent)
				}
			}
			files := 0
			for _, x := range k.files {
				if x.Document.Calibration == k.all[j].ID {
					files++
				}
			}
			on, due := b.Days()
			if !yield([]string{k.item.Item.Class, k.item.Item.Serial, b.Certificate, on.String(), due.String(), b.Laboratory, b.ReferenceStandard, b.SensitivityUnit, number(b.Sensitivity), number(b.AsFoundSensitivity), strconv.FormatBool(b.AsFoundNotReported),
				number(b.ExpandedUncertaintyPercent), change, limit, k.all[j].RecordedAt.UTC().Format(time.RFC3339), cmp.Or(who(k.all[j].Author), k.all[j].Author), strconv.Itoa(files)}, nil) {
				return
			}
		}
	})
	if err != nil {
		return err
	}
	return download(c, "certificates-"+id.String()[:8]+".csv", b)
}
