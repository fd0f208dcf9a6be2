package desk

import (
	"context"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
)

// limitsForm offers to change what the shots of a campaign are held against.
func limitsForm(r *view.CampaignRow) *page.Form {
	b := &r.Campaign
	f := httpkit.Blank(page.CampaignLimitsFields(), page.CampaignLimitsPath(r.ID.String()), "limits", "Set the limits")
	f.Values = map[string]string{"acceptance_limits": limitLines(b.AcceptanceLimits), "inspection_limits": criteriaLines(b.InspectionLimits),
		"most_out_of_chamber_min": inMinutes(b.MostOutOfChamberS), "least_rest_min": inMinutes(b.LeastRestS)}
	if b.FaceContactFails {
		f.Values["face_contact_fails"] = "yes"
	}
	f.Hidden = map[string]string{page.SeenField: r.Seen(fieldsOfLimits...)}
	return &f
}

// limitLines writes limits as limitsOf reads them.
func limitLines(all []lab.Limit) string {
	var out strings.Builder
	for _, l := range all {
		out.WriteString(strings.TrimRight(l.Result+"; "+strings.TrimSpace(plain(l.Most)+" "+l.Unit)+"; "+l.Source, "; ") + "\n")
	}
	return out.String()
}

// criteriaLines writes criteria as criteriaOf reads them.
func criteriaLines(all []lab.InspectionLimit) string {
	var out strings.Builder
	for _, l := range all {
		mm := ""
		if l.MostMM != nil {
			mm = plain(*l.MostMM)
		}
		out.WriteString(strings.TrimRight(l.Element+"; "+l.Worst+"; "+mm+"; "+l.Source, "; ") + "\n")
	}
	return out.String()
}

func inMinutes(s float64) string {
	if s == 0 {
		return ""
	}
	return plain(s / 60)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// fieldsOfLimits are those that the form changes.
var fieldsOfLimits = []string{"acceptance_limits", "inspection_limits", "face_contact_fails", "most_out_of_chamber_s", "least_rest_s"}

// stillLimits refuses limits of a form that did not see what holds.
func stillLimits(seen string) register.Still {
	return func(h *view.Head) error {
		if seen == h.Seen(fieldsOfLimits...) {
			return nil
		}
		return problem.New(problem.Conflict, "Somebody else changed the limits while the page was open; nothing was saved.", "Look at what holds now above. What you typed is kept; save again if it is to replace it.")
	}
}

func (d *Desk) postCampaignLimits(c echo.Context) error {
	return d.aboutCampaign(c, page.CampaignLimitsFields(), "limits", func(ctx context.Context, p *caller, r *view.CampaignRow, in roster.Place, f *httpkit.Filled) error {
		next := register.Limits{Acceptance: limitsOf(f, "acceptance_limits"), Inspection: criteriaOf(f, "inspection_limits"), FaceContactFails: f.Values["face_contact_fails"] == "yes",
			MostOutOfChamberS: minutes(f, "most_out_of_chamber_min"), LeastRestS: minutes(f, "least_rest_min")}
		if !f.OK() {
			return nil
		}
		return d.Register.LimitCampaign(ctx, p.Principal, in, r.ID, next, stillLimits(c.FormValue(page.SeenField)))
	})
}
