package present

import (
	"encoding/csv"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"thudbook/metrics/fault"
	"thudbook/metrics/score"
	"thudbook/metrics/shock"
	"thudbook/sync/problem"
	"thudbook/web/chart"
	"thudbook/web/page"
)

// Shock is the folded section of a shot with what was asked, and the request that
// it makes. ask is false where nothing was asked for, or what was typed is wrong.
func Shock(id string, query url.Values) (p *page.Shock, r score.ShockRequest, ask bool) {
	p = &page.Shock{Shot: id, Asked: query.Get(page.ShockAsked) != "", Form: page.Form{ID: "shock", Fields: page.ShockFields()}}
	if !p.Asked {
		return p, r, false
	}
	p.Form.Values, p.Form.Errors = page.Typed(query, p.Form.Fields), map[string]string{}
	for name, to := range map[string]*float64{"q": &r.Q, "from": &r.FromHz, "to": &r.ToHz} {
		typed := p.Form.Values[name]
		if typed == "" {
			continue
		}
		v, err := page.ParseDecimal(typed)
		switch {
		case err != nil:
			p.Form.Errors[name] = err.Error()
		case v <= 0:
			p.Form.Errors[name] = "Give a number above 0."
		}
		*to = v
	}
	if typed := p.Form.Values["per_octave"]; typed != "" {
		n, err := strconv.Atoi(typed)
		if err != nil || n < 1 || n > mostPerOctave {
			p.Form.Errors["per_octave"] = fmt.Sprintf("Choose 1 to %d.", mostPerOctave)
		}
		r.PerOctave = n
	}
	r.Unfiltered = p.Form.Values["unfiltered"] != ""
	p.CSV = page.ShockCSVPath(id, query)
	return p, r, len(p.Form.Errors) == 0
}

// mostPerOctave bounds what a screen computes at once.
const mostPerOctave = 24

// FillShock puts spectra on the screen, or why there are none.
func FillShock(p *page.Shock, s *shock.Spectra, unfiltered bool, err error) {
	if err != nil {
		p.Fault = shockFault(err)
		return
	}
	of := "The record as filtered by the channel map."
	if unfiltered {
		of = "The record before its channel filters."
	}
	p.Says = fmt.Sprintf("Maximax absolute acceleration, Q = %.4g (damping ratio %.4g), %d natural frequencies an octave. %s", s.Q, s.DampingRatio, s.PerOctave, of)
	plot := chart.LogLog{X: s.FrequenciesHz, XLabel: "natural frequency, Hz", Unit: "g"}
	for i := range s.Curves {
		c := &s.Curves[i]
		curve := chart.LogCurve{Label: c.Channel, Axis: c.Axis.String(), Y: make([]float64, len(c.Points))}
		if curve.Axis != "" {
			curve.Label += " (" + strings.ToUpper(curve.Axis) + ")"
		}
		for k := range c.Points {
			curve.Y[k] = c.Points[k].Maximax()
		}
		plot.Curves = append(plot.Curves, curve)
		p.Heads = append(p.Heads, curve.Label)
	}
	if len(s.Curves) == 0 {
		p.Fault = "No channel of linear acceleration can be read to its end."
	}
	p.Plot = plot.HTML()
	for k, f := range s.FrequenciesHz {
		if len(s.Curves) == 0 {
			break
		}
		row := page.ShockRow{Frequency: strconv.FormatFloat(f, 'f', 1, 64)}
		for _, c := range plot.Curves {
			row.Cells = append(row.Cells, shockG(c.Y[k]))
		}
		largest, _ := s.Largest(k)
		row.Largest = shockG(largest)
		p.Rows = append(p.Rows, row)
	}
	for _, l := range s.LeftOut {
		p.Notes = append(p.Notes, fmt.Sprintf("Left out: %s, %s.", l.Channel, l.Why))
	}
	for _, n := range s.Notes() {
		p.Notes = append(p.Notes, strings.Join(n.Channels, ", ")+": "+n.Text)
	}
}

// shockG shows a response with one decimal, below 1 g with two.
func shockG(v float64) string {
	if v < 1 {
		return page.Show(v, "").Text
	}
	return page.Show(v, "g").Text
}

// shockFault is why there are no spectra, as a sentence.
func shockFault(err error) string {
	if r, ok := errors.AsType[*shock.Refused](err); ok {
		return strings.ToUpper(r.Text[:1]) + r.Text[1:] + "."
	}
	if f, ok := fault.As(err); ok {
		return f.Error() + "."
	}
	if p, ok := problem.As(err); ok {
		return p.What + " " + p.Fix
	}
	return "The spectra cannot be computed. The log says why."
}

// ServeShock answers with the spectra that a query asks for as delimited text, with
// all digits. A query that cannot be followed is an error for the one who asked.
func ServeShock(w http.ResponseWriter, id string, query url.Values, compute func(score.ShockRequest) (*shock.Spectra, error)) error {
	asked := maps.Clone(query)
	asked.Set(page.ShockAsked, "yes")
	p, request, ask := Shock(id, asked)
	if !ask {
		for _, f := range p.Form.Fields {
			if why := p.Form.Errors[f.Name]; why != "" {
				return &problem.Error{Code: problem.Invalid, What: f.Label + ": " + why, Where: f.Name, Fix: "Change this field of the query."}
			}
		}
	}
	s, err := compute(request)
	if r, ok := errors.AsType[*shock.Refused](err); ok {
		return &problem.Error{Code: problem.Invalid, What: shockFault(err), Fix: "Change the settings of the spectrum, or the channel map.", Err: r}
	}
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="shock-`+id+`.csv"`)
	cw := csv.NewWriter(w)
	if err := cw.Write(SpectraHead()); err != nil {
		return err
	}
	for row := range SpectraRows(s) {
		if err := cw.Write(row); err != nil {
			return err
		}
	}
	cw.Flush()
	return cw.Error()
}
