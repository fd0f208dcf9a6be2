package present

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"thudbook/sync/amend"
	"thudbook/sync/lab"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// Trail is what was said of a shot since it was taken in.
type Trail struct {
	Edits []view.Change
	Voids []view.VoidChange
	// Accepted lists the acceptances of the shot, oldest first.
	Accepted []view.Acceptance
	// Scores of the shot: those that a person had computed are part of its history.
	Scores []view.ScoreRow
	Who    func(author string) string // names an author
	Zone   *time.Location
	Unit   string // of pressures, of lab.PressureUnits
}

// Show puts history, what is to settle, and with may the forms on the screen.
func (t *Trail) Show(p *page.Shot, r *view.ShotRow, may bool) {
	if n := len(t.Accepted); n > 0 {
		p.Accepted = Accepted(&t.Accepted[n-1], r, t.Who, t.Zone)
	}
	p.History, p.Unsettled, p.Stated = t.history(r), t.unsettled(r, may), Stated(r, t.Scores, may)
	for i := range p.Meta {
		if m := &p.Meta[i]; m.Label == fieldLabel("operator") && m.Value.Text != "" {
			m.Value.Text = t.operator(m.Value.Text)
		}
	}
	if may {
		p.Correct, p.Void = CorrectForm(r, t.Unit), VoidForm(r)
		NameOperator(p.Correct, t.operator)
	}
}

func (t *Trail) history(r *view.ShotRow) []page.HistoryRow {
	var out []page.HistoryRow
	first := map[string]bool{}
	made := amend.Values(&r.AsMade.Meta)
	made["kind"] = r.AsMade.Kind
	for _, e := range t.Edits {
		if e.Field == "effective_at" || e.Field == "effective_from" { // follow the time of firing
			continue
		}
		if !first[e.Field] {
			first[e.Field] = true
			text := t.text(e.Field, made[e.Field])
			if e.Field == "fired_at" && r.AsMade.FiredAt.IsZero() && !r.AsMade.EffectiveAt.IsZero() {
				text += "; dated " + page.ShowMoment(r.AsMade.EffectiveAt.Time().In(t.Zone)) + ", " + from(r.AsMade.EffectiveFrom)
			}
			out = append(out, page.HistoryRow{At: r.RecordedAt.In(t.Zone), By: "as taken in", What: fieldLabel(e.Field), Text: text})
		}
		out = append(out, page.HistoryRow{At: e.RecordedAt.In(t.Zone), By: t.by(&e), What: fieldLabel(e.Field), Text: t.text(e.Field, e.Value)})
	}
	for _, v := range t.Voids {
		what := "Made void"
		if v.Lifted {
			what = "Counts again"
		}
		out = append(out, page.HistoryRow{At: v.RecordedAt.In(t.Zone), By: t.who(v.Author), What: what, Text: v.Reason})
	}
	for i := range t.Accepted {
		a := &t.Accepted[i]
		out = append(out, page.HistoryRow{At: a.RecordedAt.In(t.Zone), By: t.who(a.Author), What: "Result accepted"})
	}
	for i := range t.Scores {
		if s := &t.Scores[i]; s.Score.Reason != "" {
			what := "Computed again by another channel map"
			if s.Map != nil {
				what += ", " + s.Map.Name + " " + s.Map.SHA256.String()[:8]
			}
			out = append(out, page.HistoryRow{At: s.RecordedAt.In(t.Zone), By: t.who(s.Author), What: what, Text: s.Score.Reason})
		}
	}
	slices.SortStableFunc(out, func(a, b page.HistoryRow) int { return a.At.Compare(b.At) })
	return out
}

// by names who a change of the history is from. An operator on the list of people whom
// no person named was filled in on assigning, as who was signed in when the file came.
func (t *Trail) by(e *view.Change) string {
	if id, _ := e.Value.(string); e.Field == "operator" && e.Author == lab.AuthorMeta && t.operator(id) != id {
		return "filled in: who was signed in when it came"
	}
	return t.who(e.Author)
}

func (t *Trail) unsettled(r *view.ShotRow, may bool) []page.Unsettled {
	var out []page.Unsettled
	for _, name := range r.Conflicts() {
		u := page.Unsettled{Field: name, Label: fieldLabel(name), Seen: amend.Seen(r)}
		if may {
			u.Action = page.SettlePath(r.ID.String())
		}
		e := r.Edited[name]
		for _, one := range append([]view.Edit{e}, e.Others...) {
			v := page.Version{Keep: Keep(one.Ref), Text: t.text(name, one.Value), By: t.who(one.Author)}
			if i := slices.IndexFunc(t.Edits, func(c view.Change) bool { return c.Field == name && c.Ref == one.Ref }); i >= 0 {
				v.At = t.Edits[i].RecordedAt.In(t.Zone)
			}
			u.Values = append(u.Values, v)
		}
		out = append(out, u)
	}
	return out
}

// operator names who is recorded as operator: the id of a person, or a name as a
// file or a person gave it.
func (t *Trail) operator(recorded string) string { return Operator(recorded, t.Who) }

func (t *Trail) who(author string) string { return Who(author, t.Who) }

// Who names the author of a record; name looks up an id, and may be nil.
func Who(author string, name func(string) string) string {
	switch author {
	case lab.AuthorMeta:
		return "file or program"
	case "node", "", lab.AuthorRig:
		return "at the rig"
	}
	if name != nil {
		if n := name(author); n != "" {
			return n
		}
	}
	return "a person on the server"
}

// FieldWords names a field of a form for people.
func FieldWords(name string) string { return fieldLabel(name) }

func fieldLabel(name string) string {
	for _, f := range page.AssignFields("kPa") {
		if f.Name == name {
			return f.Label
		}
	}
	return Words(name)
}

// text writes a value as it was decoded from a record.
func (t *Trail) text(name string, v any) string {
	unit := ""
	for _, f := range page.AssignFields("kPa") {
		if f.Name == name {
			unit = f.Unit
		}
	}
	switch x := v.(type) {
	case nil:
		return "not recorded"
	case string:
		if name == "kind" {
			return Kind(x)
		}
		if name == "operator" && x != "" {
			return t.operator(x)
		}
		return cmp.Or(x, "not recorded")
	case lab.Time:
		return page.ShowMoment(x.Time().In(t.Zone))
	case float64:
		if strings.HasSuffix(name, "_kpa_gauge") {
			return withUnit(Pressure(x, t.Unit).Number)
		}
		return withUnit(page.Show(x, unit))
	case float32:
		return t.text(name, float64(x))
	case uint64:
		if name == "fired_at" || name == "neck_torqued_at" {
			return page.ShowMoment(lab.Time(x).Time().In(t.Zone))
		}
		return withUnit(page.Show(float64(x), unit))
	}
	return fmt.Sprint(v)
}

func withUnit(n page.Number) string {
	if n.Unit == "" {
		return n.Text
	}
	return n.Text + "\u00a0" + n.Unit
}
