package page

import (
	"html/template"
	"slices"
	"strings"
	"time"

	"thudbook/web"
	"thudbook/web/chart"
)

func functions() template.FuncMap {
	return template.FuncMap{
		"asset":  web.Assets().URL,
		"built":  web.Assets().Built,
		"moment": momentOf,
		"metric": metricName,
		"count":  ShowCount,
		"count0": func(n int) string { return ShowCount(int64(n)) },
		"static": chart.Static,
		"shape":  shape,
		"tone":   tone,
		"input":  inputs,
		"shown":  shown, "folded": folded, "unfolded": unfolded,
		"anyError": func(f Form) bool { return len(f.Errors) > 0 },
		"shotPath": ShotPath, "assignPath": AssignPath, "seenPath": SeenPath, "alarmPath": AlarmPath,
		"quarantinePath": QuarantinePath, "campaignPath": CampaignPath, "itemUsePath": ItemUsePath, "labelPath": LabelPath, "orderPath": OrderPath, "orderSheetPath": OrderSheetPath,
		"table":  func(now time.Time, rows []ShotRow) shotTable { return newShotTable(now, rows) },
		"agents": newAgentTable, "specimenPath": SpecimenPath, "inspectPath": InspectPath, "tracesPath": TracesPath, "tracesCSV": TracesCSVPath,
		"inspections": newInspectionTable, "logrows": newLogTable,
		"join":            strings.Join,
		"short":           shortHash,
		"clock":           func(t time.Time) string { return t.Format("15:04:05") },
		"many":            many,
		"missingHere":     func() Status { return Status{Level: Warn, Word: "missing"} },
		"anew":            func() Status { return Status{Word: "new series"} },
		"notFitted":       func() Status { return Status{Word: "this rig has none"} },
		"setUp":           func() Status { return Status{Level: OK, Word: "done"} },
		"nothingToObject": func() Status { return Status{Level: OK, Word: "nothing to object"} },
		"dict":            dict,
		"courses":         Courses,
	}
}

// moment is a time ready for the screen, with its age.
type moment struct {
	ISO, Text, Zone, Age string
	None                 bool
}

func momentOf(now, t time.Time) moment {
	if t.IsZero() {
		return moment{None: true}
	}
	m := moment{ISO: t.Format(time.RFC3339), Text: t.Format("2006-01-02 15:04:05"), Zone: zone(t)}
	if !now.IsZero() {
		if d := now.Sub(t); d >= 0 {
			m.Age = ShowAge(d) + " ago"
		} else {
			m.Age = "in " + ShowAge(-d)
		}
	}
	return m
}

// ShowMoment writes a time with its zone, where no column's head names it.
func ShowMoment(t time.Time) string { return t.Format("2006-01-02 15:04:05") + " " + zone(t) }

// Zone names the offset of a time, as "+01:00".
func Zone(t time.Time) string { return zone(t) }

// ZoneOf names the zone of a time as the tables do.
func ZoneOf(t time.Time) string { return zone(t) }

func zone(t time.Time) string {
	if _, off := t.Zone(); off == 0 {
		return "UTC"
	}
	return strings.Replace(t.Format("-07:00"), "-", "\u2212", 1)
}

func metricName(r Result) string {
	if r.Name != "" {
		return r.Name
	}
	return MetricName(r.Key)
}

func shape(l Level) string {
	switch l {
	case OK:
		return "●"
	case Warn:
		return "▲"
	case Bad:
		return "■"
	default:
		return "○"
	}
}

func tone(l Level) string {
	switch l {
	case OK:
		return "ok"
	case Warn:
		return "warn"
	case Bad:
		return "bad"
	default:
		return "plain"
	}
}

// shotTable is a list of shots with the columns that any of its rows needs.
type shotTable struct {
	Now      time.Time
	Rows     []ShotRow
	Zone     string // of all times; empty where summer time changed among them
	Lab      bool
	Campaign bool
}

func newShotTable(now time.Time, rows []ShotRow) shotTable {
	t := shotTable{Now: now, Rows: rows}
	for i, r := range rows {
		switch z := zone(r.At); {
		case i == 0:
			t.Zone = z
		case z != t.Zone:
			t.Zone = ""
		}
		t.Lab = t.Lab || r.Lab != ""
		t.Campaign = t.Campaign || r.Campaign != ""
	}
	return t
}

// agentTable is a list of agents.
type agentTable struct {
	Now  time.Time
	Rows []AgentRow
}

// newAgentTable puts all times into the zone of now, which the head names.
func newAgentTable(now time.Time, rows []AgentRow) agentTable {
	t := agentTable{Now: now, Rows: slices.Clone(rows)}
	name, offset := now.Zone()
	for i := range t.Rows {
		if !now.IsZero() && !rows[i].LastSeen.IsZero() {
			t.Rows[i].LastSeen = rows[i].LastSeen.In(time.FixedZone(name, offset))
		}
	}
	return t
}

// input is one field of a form with what was typed.
type input struct {
	Field
	ID      string
	Value   string
	Error   string
	Choices []Choice
}

// HintID and ErrorID name the elements that describe the input.
func (i input) HintID() string { return i.ID + "-hint" }

// ErrorID is the id of the input's error message.
func (i input) ErrorID() string { return i.ID + "-error" }

// Described lists the ids of what describes the input, for aria-describedby.
func (i input) Described() string {
	var ids []string
	if i.Error != "" {
		ids = append(ids, i.ErrorID())
	}
	if i.Help != "" {
		ids = append(ids, i.HintID())
	}
	return strings.Join(ids, " ")
}

// shown gives the fields of a form that are in sight, folded the others.
func shown(f Form) []input {
	return slices.DeleteFunc(inputs(f), func(in input) bool { return f.Fold != "" && in.Extra })
}

func folded(f Form) []input {
	return slices.DeleteFunc(inputs(f), func(in input) bool { return f.Fold == "" || !in.Extra })
}

// unfolded says that something stands in what is folded away, or is wrong there.
func unfolded(f Form) bool {
	return slices.ContainsFunc(folded(f), func(in input) bool { return in.Value != "" || in.Error != "" })
}

func inputs(f Form) []input {
	prefix := f.ID
	if prefix == "" {
		prefix = "f"
	}
	in := make([]input, len(f.Fields))
	for i, field := range f.Fields {
		in[i] = input{Field: field, ID: prefix + "-" + field.Name, Value: f.Values[field.Name], Error: f.Errors[field.Name]}
		in[i].Choices = choose(field, in[i].Value, append(append(in[i].Choices, field.Options...), f.Choices[field.Name]...))
		if field.Kind == "password" || field.Kind == "pin" {
			in[i].Value = ""
		}
	}
	return in
}

// choose has nothing chosen in a needed selection that nobody has filled: a
// browser would send its first entry as if a person had meant it. Where there is
// one entry alone, there is nothing to choose.
func choose(f Field, value string, all []Choice) []Choice {
	if f.Kind != "select" || !f.Required || value != "" || len(all) < 2 || slices.ContainsFunc(all, func(c Choice) bool { return c.Value == "" }) {
		return all
	}
	return append([]Choice{{Value: "", Text: "choose …"}}, all...)
}

// shortHash is enough of a hash to compare at a glance; the whole stands on
// the screen of the thing itself.
func shortHash(s string) string {
	s = strings.TrimLeft(strings.TrimPrefix(s, "SHA256"), ": ")
	if len(s) > 12 {
		return s[:12] + "…"
	}
	return s
}

// dict hands several values to a template, by name.
func dict(pairs ...any) map[string]any {
	m := make(map[string]any, len(pairs)/2)
	for i := 0; i+1 < len(pairs); i += 2 {
		m[pairs[i].(string)] = pairs[i+1]
	}
	return m
}

// many writes a count with its noun, as "1 file", "3 files", "no files".
func many(n int, one, more string) string {
	switch n {
	case 0:
		return "no " + more
	case 1:
		return "1 " + one
	default:
		return ShowCount(int64(n)) + " " + more
	}
}
