package desk

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/present"
)

func (d *Desk) postCampaign(c echo.Context) error {
	return d.post(c, page.CampaignFields(), func(ctx context.Context, f *httpkit.Filled) (string, error) {
		b := plan(f, d.Now().In(d.zone))
		if !f.OK() {
			return "", nil
		}
		p, err := d.caller(c)
		if err != nil {
			return "", err
		}
		in, err := d.place(ctx, &p, f.Values["lab"])
		if err != nil {
			return "", err
		}
		id, err := d.Register.Record(ctx, p.Principal, in, b)
		return done(page.CampaignPath(id.String()), "campaign"), err
	}, d.campaignsPage)
}

// plan makes the campaign of a form: every location in every condition at
// every speed is a cell.
func plan(f *httpkit.Filled, now time.Time) *lab.Campaign {
	b := &lab.Campaign{Name: f.Values["name"], Owner: f.Values["owner"], Specimens: f.Lines("specimens")}
	conditions := f.Lines("conditions")
	if len(conditions) == 0 {
		conditions = []string{""}
	}
	planned := f.Count("planned")
	if planned < 1 && f.Errors["planned"] == "" || planned > 10_000 {
		f.Fault("planned", "Plan between 1 and 10\u202f000 shots.")
	}
	var within float64
	if v := f.Number("tolerance_m_s"); v != nil {
		if within = *v; within < 0 || within > 100 {
			f.Fault("tolerance_m_s", "%g m/s is no tolerance. Give the largest distance from the target speed, as 0.15.", within)
		}
	}
	b.StartsAt, b.EndsAt = span(f, now)
	if id, err := uuid.Parse(f.Values["rig"]); err == nil {
		b.Rig = &id
	}
	b.MostOutOfChamberS, b.LeastRestS = minutes(f, "most_out_of_chamber_min"), minutes(f, "least_rest_min")
	speeds := speedsOf(f, "target_speeds_m_s")
	for _, l := range f.Lines("locations") {
		for _, k := range conditions {
			for _, v := range speeds {
				b.Cells = append(b.Cells, lab.Cell{Location: l, Condition: k, TargetSpeedMS: v, ToleranceMS: within, Planned: int(planned)})
			}
		}
	}
	b.AcceptanceLimits = limitsOf(f, "acceptance_limits")
	b.InspectionLimits, b.FaceContactFails = criteriaOf(f, "inspection_limits"), f.Values["face_contact_fails"] == "yes"
	if n := len(b.Cells); n > lab.MaxCells {
		f.Fault("locations", "This makes %d cells; one campaign holds at most %d. Divide it.", n, lab.MaxCells)
	}
	if n := len(b.Specimens); n > lab.MaxSpecimens {
		f.Fault("specimens", "These are %d specimens; one campaign holds at most %d. Divide it.", n, lab.MaxSpecimens)
	}
	return b
}

// minutes reads a time that a plan limits, in seconds; empty is none.
func minutes(f *httpkit.Filled, field string) float64 {
	v := f.Number(field)
	if v == nil {
		return 0
	}
	if *v <= 0 || *v > 10_000 {
		f.Fault(field, "%g min limits nothing. Give a time between 0 and 10\u202f000 min, or leave it empty.", *v)
		return 0
	}
	return *v * 60
}

// timesOf says the times that a plan limits.
func timesOf(k *lab.Campaign) string {
	var out []string
	if k.MostOutOfChamberS > 0 {
		out = append(out, "at most "+present.Span(k.MostOutOfChamberS)+" out of the chamber")
	}
	if k.LeastRestS > 0 {
		out = append(out, "at least "+present.Span(k.LeastRestS)+" rest between hits")
	}
	return strings.Join(out, ", ")
}

// speedsOf reads a list of numbers with commas, semicolons or spaces between.
func speedsOf(f *httpkit.Filled, field string) []float64 {
	var out []float64
	for _, text := range strings.FieldsFunc(f.Values[field], func(r rune) bool { return strings.ContainsRune(",; \n\t", r) }) {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v > 0 && v <= 100) {
			f.Fault(field, "%s", fmt.Sprintf("“%s” is no speed in m/s. Write the list as 5.5, 7.4.", text))
			continue
		}
		if !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	return out
}
