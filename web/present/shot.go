package present

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"thudbook/sync/lab"
	"thudbook/sync/record"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// order is how results stand in a table; what is not named here follows by name.
func order() []string {
	return []string{
		"impact_speed", "ram_energy", "peak_linear_acceleration", "severity_index", "hic15", "hic36", "clip_3ms", "clip_3ms_cumulative",
		"dwell_150g", "dwell_200g", "impact_duration", "time_to_peak", "pulse_width_50_percent", "pulse_width_10_percent", "rise_rate",
		"velocity_change", "peak_angular_velocity", "peak_angular_acceleration", "ric36", "bric", "gambit", "gambit_b", "damage", "harm",
	}
}

// headline is what an operator looks for first.
func headline() []string {
	return []string{"impact_speed", "peak_linear_acceleration", "severity_index", "hic15", "peak_angular_velocity"}
}

// Shot fills what both programs show of one shot, pressures in the unit in;
// scores are newest first. The caller adds frame, lab and rig names, links,
// traces and forms.
func Shot(r *view.ShotRow, scores []view.ScoreRow, zone *time.Location, in string) page.Shot {
	p := page.Shot{
		ID: r.ID.String(), At: r.Shot.EffectiveAt.Time().In(zone), AtFrom: from(r.Shot.EffectiveFrom),
		TakenIn: r.RecordedAt.In(zone), Kind: Kind(r.Shot.Kind), Meta: Meta(r, zone, in),
		Source: page.SourceFile{Name: r.Shot.FileName, SHA256: r.Shot.SourceSHA256.String(), Href: page.SourcePath(r.ID.String())},
		Map:    MapUsed(r, scores),
		State:  state(r),
		Voided: r.Void(),
	}
	if a, ok := r.Attachment(lab.RoleSource); ok {
		p.Source.Size = page.ShowBytes(a.Size)
	}
	if len(scores) == 0 {
		return p
	}
	s := &scores[0].Score
	p.Engine = "engine " + s.Engine
	p.Revision = ResultNumber(scores, zone)
	faults := faultsOf(s)
	p.Results = withoutChannel(Results(s.Results), s.Results, faults)
	p.Published = Published(s.Results)
	for _, key := range headline() {
		if v, ok := s.Results[key]; ok {
			r := result(key, v)
			r.Note = v.Note // the definition stands in the table
			p.Headline = append(p.Headline, r)
		} else if i := slices.IndexFunc(p.Results, func(r page.Result) bool { return r.Key == key }); i >= 0 {
			p.Headline = append(p.Headline, p.Results[i])
		}
	}
	p.Flags = Flags(s.Flags)
	if p.Map.Guessed && p.Map.Text == "" {
		p.Map.Text = s.GuessedMap
	}
	p.Errors = fileErrors(s)
	return p
}

// faultsOf lists what of the file a computation could not read.
func faultsOf(s *lab.Score) []lab.Fault {
	if len(s.Faults) == 0 && s.Error != nil {
		return []lab.Fault{*s.Error}
	}
	return s.Faults
}

func fileErrors(s *lab.Score) (out []page.FileError) {
	for _, f := range faultsOf(s) {
		out = append(out, FileError(f))
	}
	return out
}

// MapUsed names the channel map that a shot is read by.
func MapUsed(r *view.ShotRow, scores []view.ScoreRow) page.MapUsed {
	m := page.MapUsed{Guessed: r.Map() == record.Hash{}}
	if a := r.MapOf(scores); a != nil {
		m.Name, m.SHA256 = a.Name, a.SHA256.String()
	}
	return m
}

// withoutChannel adds to the results of a shot of which a channel could not be
// read those that rest on the linear acceleration, with the reason, where none
// of them is there.
func withoutChannel(out []page.Result, have map[string]lab.Result, faults []lab.Fault) []page.Result {
	var names []string
	for _, f := range faults {
		if f.Channel != "" && !slices.Contains(names, f.Channel) {
			names = append(names, f.Channel)
		}
	}
	if len(names) == 0 {
		return out
	}
	why := "not computed, channel " + names[0] + " could not be read"
	if len(names) > 1 {
		why = "not computed, channels " + strings.Join(names, ", ") + " could not be read"
	}
	var add []page.Result
	for _, key := range []string{"peak_linear_acceleration", "severity_index", "hic15"} {
		if _, ok := have[key]; ok {
			return out // it was another channel
		}
		add = append(add, page.Result{Key: key, Value: page.Missing(why)})
	}
	at := slices.IndexFunc(out, func(r page.Result) bool { return !slices.Contains([]string{"impact_speed", "ram_energy"}, r.Key) })
	if at < 0 {
		at = len(out)
	}
	return slices.Insert(out, at, add...)
}

// FileError is a fault of a file for the screen.
func FileError(f lab.Fault) page.FileError {
	return page.FileError{Code: f.Code, What: f.What, Line: f.Line, Column: f.Column, Channel: f.Channel, Fix: f.Fix}
}

func state(r *view.ShotRow) page.Status {
	switch {
	case r.Void():
		return page.Status{Level: page.Plain, Word: "void: " + r.Withdrawn.Reason}
	case Waiting(r):
		return page.Status{Level: page.Warn, Word: "to assign"}
	default:
		return page.Status{}
	}
}

// from says where the time of a shot comes from.
func from(origin string) string {
	switch origin {
	case lab.FromMeta:
		return "from the shot's meta"
	case lab.FromHeader:
		return "from the file's header"
	case lab.FromFileTime:
		return "time of the file"
	case lab.FromTyped:
		return "typed"
	default:
		return "time of arrival"
	}
}

// Results are a shot's results with names, units and digits, in the order of the screens.
func Results(all map[string]lab.Result) []page.Result {
	first := order()
	place := func(key string) int {
		if i := slices.Index(first, key); i >= 0 {
			return i
		}
		return len(first)
	}
	keys := slices.SortedFunc(maps.Keys(all), func(a, b string) int { return cmp.Or(place(a)-place(b), cmp.Compare(a, b)) })
	out := make([]page.Result, 0, len(keys))
	for _, key := range keys {
		out = append(out, result(key, all[key]))
	}
	return out
}

func result(key string, v lab.Result) page.Result {
	value, unit := shown(key, v.Value, v.Unit)
	r := page.Result{Key: key, Value: page.Show(value, unit), Note: Remark(&v)}
	if v.ExpandedUncertainty != nil {
		u, _ := shown(key, *v.ExpandedUncertainty, v.Unit)
		r.Value = page.ShowUncertain(value, u, unit)
	}
	switch {
	case v.FromS != nil && v.ToS != nil:
		r.At, r.To = page.Show(*v.FromS*1000, "ms"), page.Show(*v.ToS*1000, "ms")
	case v.AtS != nil:
		r.At = page.Show(*v.AtS*1000, "ms")
	}
	return r
}

// shown is a value in the unit that the screens show it in: seconds as
// milliseconds, and the indices under a name that decides on their digits.
func shown(key string, v float64, unit string) (float64, string) {
	switch {
	case key == "severity_index":
		return v, "SI"
	case key == "hic15" || key == "hic36":
		return v, "HIC"
	case key == "ric36":
		return v / 1e6, "×10⁶"
	case unit == "s":
		return v * 1000, "ms"
	case unit == "g/s":
		return v / 1000, "g/ms"
	default:
		return v, unit
	}
}
