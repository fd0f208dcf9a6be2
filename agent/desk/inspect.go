package desk

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) inspectionRoutes(e *echo.Echo) {
	e.GET(page.PathShots+"/:id/inspect", d.inspect)
	e.POST(page.PathShots+"/:id/inspect", d.saveInspection)
	e.POST(page.PathShots+"/:id/inspect/draft", d.keepDraft)
	e.GET(page.PathInspections, d.inspections)
	e.GET(page.PathInspections+".csv", d.inspectionsCSV)
	e.GET(page.PathSpecimens+"/:name", d.specimen)
	e.GET("/api/v1/inspections", d.listInspections)
	e.GET("/api/v1/specimens/:name", d.getSpecimen)
}

// inspecting is an inspection that is being made.
type inspecting struct {
	row       view.ShotRow
	corrects  uuid.UUID
	campaigns []view.CampaignRow // that have the specimen, with criteria
	values    map[string]string
	errors    map[string]string
	draft     *draft
	doubted   bool       // something was asked about; nothing is recorded before it is meant so
	taken     []taken    // photos that came with the form
	pressed   url.Values // what else came with it
	notices   []page.Notice
}

// begin reads what an inspection is about; values are those of the draft, or of
// the inspection to correct, or of an empty form.
func (d *Desk) begin(c echo.Context, corrects string) (*inspecting, error) {
	ctx := c.Request().Context()
	id, err := d.id(c)
	if err != nil {
		return nil, err
	}
	in := &inspecting{}
	if in.row, err = d.read.Shot(ctx, d.scope(), id); err != nil {
		return nil, err
	}
	if strings.TrimSpace(in.row.Shot.Specimen) == "" {
		err := problem.New(problem.Invalid, "Nothing says which specimen this shot hit.", "Assign the shot first, then inspect its specimen.")
		return nil, httpkit.LeadTo(err, "Assign the shot", page.ShotAssignHref(id.String()))
	}
	all, err := present.CampaignsWith(ctx, d.read, d.scope(), in.row.Shot.Specimen)
	if err != nil {
		return nil, err
	}
	for _, k := range all {
		if k.Campaign.Inspected() {
			in.campaigns = append(in.campaigns, k)
		}
	}
	if corrects != "" {
		if in.corrects, err = uuid.Parse(corrects); err != nil {
			return nil, problem.New(problem.NotFound, "There is no inspection of this id.", "Open the shot and choose the inspection to correct.")
		}
	}
	if in.draft, err = d.draftOf(ctx, id, in.corrects); err != nil {
		return nil, err
	}
	if in.draft != nil {
		in.values = in.draft.Values
		return in, nil
	}
	in.values = map[string]string{"effective_at": time.Now().In(time.Local).Format("2006-01-02T15:04:05")}
	if in.corrects != uuid.Nil {
		old, err := d.read.Inspection(ctx, d.scope(), in.corrects)
		if err != nil {
			return nil, err
		}
		in.values = present.InspectionValues(&old.Inspection, time.Local)
	} else if len(in.campaigns) > 0 {
		in.values["campaign"] = in.campaigns[0].ID.String()
	}
	in.values["inspection"] = uuid.NewString()
	return in, nil
}

// beginPosted reads a posted form over what begin knows.
func (d *Desk) beginPosted(c echo.Context) (*inspecting, error) {
	posted, err := d.readForm(c)
	if err != nil {
		return nil, err
	}
	in, err := d.begin(c, strings.TrimSpace(posted.Get("corrects")))
	if err != nil {
		return nil, err
	}
	in.values = page.Typed(posted.Values, page.InspectFields())
	in.taken, in.notices, in.pressed = posted.photos, posted.refused, posted.Values
	return in, nil
}

// criteria is the campaign that was chosen, nil for none.
func (in *inspecting) criteria() *lab.Campaign {
	for i := range in.campaigns {
		if in.campaigns[i].ID.String() == in.values["campaign"] {
			return &in.campaigns[i].Campaign
		}
	}
	return nil
}

// judged reads the values and holds them against the criteria.
func (in *inspecting) judged() (lab.Inspection, map[string]string, lab.Judgement) {
	i, faults := present.ReadInspection(in.values, time.Local)
	i.Shot, i.Specimen = in.row.ID, in.row.Shot.Specimen
	var j lab.Judgement
	if k := in.criteria(); k != nil {
		j = k.Judge(&i)
	} else {
		i.Campaign = uuid.Nil
	}
	i.Proposed = j.Verdict
	return i, faults, j
}

func (d *Desk) inspect(c echo.Context) error {
	in, err := d.begin(c, c.QueryParam("corrects"))
	if err != nil {
		return err
	}
	return d.inspectPage(c, in, http.StatusOK)
}

func (d *Desk) inspectPage(c echo.Context, in *inspecting, status int) error {
	ctx := c.Request().Context()
	id := in.row.ID.String()
	at := in.row.Shot.EffectiveAt.Time().In(time.Local)
	p := page.Inspect{Frame: d.frame(c, "Inspect "+in.row.Shot.Specimen, page.PathShots), ShotHref: page.ShotPath(id), Shot: "shot of " + at.Format("2006-01-02 15:04:05"),
		Specimen: in.row.Shot.Specimen, SpecimenHref: page.SpecimenPath(in.row.Shot.Specimen), DraftAction: page.InspectDraftPath(id), Most: present.MaxPhoto, Correcting: in.corrects != uuid.Nil,
		Form: page.Form{ID: "in", Action: page.InspectPath(id), Fields: page.VerdictFields(), Values: in.values, Errors: in.errors,
			Hidden: map[string]string{"inspection": in.values["inspection"], "corrects": in.values["corrects"]}}}
	if in.doubted {
		p.Form.Fields = append(p.Form.Fields, page.MeantSoField())
	}
	if in.corrects != uuid.Nil {
		p.Form.Hidden["corrects"], p.Form.Submit = in.corrects.String(), "Record the correction"
	}
	if in.row.Shot.Location != "" {
		p.Shot += ", " + in.row.Shot.Location
	}
	p.Notices = append(append([]page.Notice{}, in.notices...), p.Notices...)
	if in.draft != nil {
		p.Draft, p.DraftBy = in.draft.At.In(time.Local), present.Who(in.draft.By, d.personName)
	}
	choices := []page.Choice{{Value: "", Text: "none"}}
	for _, k := range in.campaigns {
		choices = append(choices, page.Choice{Value: k.ID.String(), Text: k.Campaign.Name})
	}
	p.Form.Choices = map[string][]page.Choice{"campaign": choices}
	k, criteria := in.criteria(), map[string]string{}
	switch {
	case k != nil:
		criteria = present.Criteria(k)
		p.Criteria = "By the criteria of " + k.Name + "."
		if k.FaceContactFails {
			p.Criteria += " A guard that touched the face form fails."
		}
	case len(in.campaigns) > 0:
		p.Criteria = "No criteria are chosen, so nothing is proposed."
	default:
		p.Criteria = "No campaign that has this specimen sets criteria for inspections, so nothing is proposed."
	}
	p.Groups = page.ElementGroups(in.values, in.errors, criteria)
	_, _, j := in.judged()
	p.Proposal = present.Proposal(k, j)
	var err error
	if p.Photos, err = d.photosToSign(ctx, in.row.ID); err != nil {
		return err
	}
	all, err := d.read.Inspections(ctx, d.scope(), view.InspectionFilter{Shot: in.row.ID}, view.Page{Limit: view.MaxLimit})
	if err != nil {
		return err
	}
	shown := d.showInspections(c)
	shown.Photos = nil // they stand in the form
	p.Earlier = shown.Rows(all.Rows)
	return httpkit.Page(c, status, p)
}

// uid is the id that was made with the form.
func (in *inspecting) uid() (uuid.UUID, error) {
	id, err := uuid.Parse(in.values["inspection"])
	if err != nil {
		return id, problem.New(problem.Invalid, "The form has no id.", "Open the inspection anew from the shot.")
	}
	return id, nil
}

// keepDraft keeps what was typed so far. A script gets the state as JSON, a
// browser without one the form again.
func (d *Desk) keepDraft(c echo.Context) error {
	in, err := d.beginPosted(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	uid, err := in.uid()
	if err != nil {
		return err
	}
	now := draft{Shot: in.row.ID, Corrects: in.corrects, At: time.Now().UTC(), By: d.author(c), Values: in.values}
	recorded := false
	err = d.Store.Update(ctx, func(tx kv.Tx) error {
		recorded = false
		_, err := view.Within(d.read, tx).Inspection(ctx, d.scope(), uid)
		switch {
		case err == nil: // this very form was saved meanwhile
			recorded = true
			return tx.Delete(draftTable, draftKey(in.row.ID, in.corrects))
		case problem.Of(err) != problem.NotFound:
			return err
		case in.pressed.Get("discard") != "":
			return tx.Delete(draftTable, draftKey(in.row.ID, in.corrects))
		}
		return putDraft(tx, &now)
	})
	if err != nil {
		return err
	}
	if err := d.keepPhotos(c, in, uid); err != nil {
		return err
	}
	if text := in.pressed.Get("out"); text != "" {
		if err := d.takeOut(c, in, text); err != nil {
			return err
		}
	}
	if len(in.notices) > 0 && !httpkit.WantsJSON(c.Request()) {
		in.draft = &now
		return d.inspectPage(c, in, http.StatusUnprocessableEntity)
	}
	if !strings.Contains(c.Request().Header.Get(echo.HeaderAccept), echo.MIMEApplicationJSON) {
		if in.pressed.Get("discard") != "" || recorded {
			return httpkit.SeeOther(c, page.ShotPath(in.row.ID.String()))
		}
		to := page.InspectPath(in.row.ID.String())
		if in.corrects != uuid.Nil {
			to += "?corrects=" + in.corrects.String()
		}
		if in.pressed.Get("photos")+in.pressed.Get("out") != "" {
			return httpkit.SeeOther(c, to+"#photos")
		}
		return httpkit.SeeOther(c, to+"#h-verdict")
	}
	_, _, j := in.judged()
	p := present.Proposal(in.criteria(), j)
	return c.JSON(http.StatusOK, map[string]any{"kept_at": now.At.In(time.Local).Format("15:04:05"), "recorded": recorded,
		"state": p.State.Word, "level": p.State.Level, "why": p.Why, "open": p.Open})
}
