package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"thudbook/server/register"
	"thudbook/sync/lab"
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
	f.Hidden = map[string]string{page.SeenField: seenLimits(register.LimitsOf(b))}
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

// seenLimits stands for the limits that a page shows.
func seenLimits(l register.Limits) string {
	b, err := json.Marshal(l)
	if err != nil { // no value of it can fail; a page that says nothing is refused
		return ""
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:12])
}

func (d *Desk) postCampaignLimits(c echo.Context) error {
	return d.post(c, page.CampaignLimitsFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		r, in, err := d.ofCampaign(c, &p)
		if err != nil {
			return "", err
		}
		if err := register.MayKeep(p.Principal, in.ID); err != nil {
			return "", err
		}
		next := register.Limits{Acceptance: limitsOf(f, "acceptance_limits"), Inspection: criteriaOf(f, "inspection_limits"), FaceContactFails: f.Values["face_contact_fails"] == "yes",
			MostOutOfChamberS: minutes(f, "most_out_of_chamber_min"), LeastRestS: minutes(f, "least_rest_min")}
		if !f.OK() {
			return "", nil
		}
		seen := c.FormValue(page.SeenField)
		still := func(now register.Limits) bool { return seen == seenLimits(now) }
		return done(page.CampaignPath(r.ID.String()), "limits"), d.Register.LimitCampaign(ctx, p.Principal, in, r.ID, next, still)
	}, d.campaignPage)
}
