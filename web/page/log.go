package page

import "time"

// Log is what was done and noted at a lab's rigs (agent and server).
type Log struct {
	Frame
	Kind       string // filter: one of LogKinds
	Rows       []LogRow
	More       string // link to older entries
	CSV        string
	Form       *Form // LogFields; nil where the caller may not write
	Correcting bool
}

func (Log) screen() string { return "log" }

// LogKinds are what the log can be narrowed to.
func (Log) LogKinds() []Choice { return LogKinds() }

// LogKinds are the kinds of entries.
func LogKinds() []Choice {
	return []Choice{{"", "everything"}, {"service", "services"}, {"part changed", "parts changed"}, {"note", "notes"}, {"deviation", "deviations"}, {"mounted", "mounted and taken off"}, {"skipped", "hits skipped and put back"}, {"calibrated", "certificates"}, {"made void", "shots made void"}}
}

// LogRow is one entry of the log.
type LogRow struct {
	ID         string
	At         time.Time // when it was done
	RecordedAt time.Time
	Late       bool // recorded more than a day after it was done
	Kind       string
	Lab        string // shown when any row has one
	By         string
	About      string // the item or the planned hit, in words
	Text       string
	Parts      []string
	Facts      []string // as "took 45 min"
	Ended      Status   // as {Plain, "corrected since"}; empty Word: it holds
	Correct    string   // link to the form; empty where the caller may not
}

// LogFields are the form of one entry. Choices: "item".
func LogFields() []Field {
	return []Field{
		{Name: "topic", Label: "What is it", Kind: "radio", Required: true, Options: []Choice{{"note", "note"}, {"deviation", "deviation from the plan or method"}, {"part changed", "part changed"}, {"service", "service done"}}},
		{Name: "effective_at", Label: "When", Kind: "datetime-local", Required: true},
		{Name: "item", Label: "About", Kind: "select", Help: "A service needs its item: its strokes since service start anew."},
		{Name: "text", Label: "What was done or seen", Kind: "area", Required: true},
		{Name: "parts", Label: "Parts changed", Kind: "area", Help: "One a line, with lot or serial number."},
		{Name: "duration_minutes", Label: "It took", Unit: "min", Kind: "number", Help: "For a service."},
		{Name: "done_by", Label: "Done by", Kind: "text", Help: "For a service, where it was somebody else: an id, initials or a firm."},
		{Name: "counter_strokes", Label: "Machine's own counter", Unit: "strokes", Kind: "number", Help: "For a service, if it has one. Strokes that nobody entered are found by the counter under Strokes."},
	}
}

// logTable is a list of entries with the columns that any of them needs.
type logTable struct {
	Now  time.Time
	Rows []LogRow
	Zone string
	Lab  bool
}

func newLogTable(now time.Time, rows []LogRow) logTable {
	t := logTable{Now: now, Rows: rows}
	at := make([]time.Time, len(rows))
	for i := range rows {
		at[i] = rows[i].At
		t.Lab = t.Lab || rows[i].Lab != ""
	}
	t.Zone = sameZone(at)
	return t
}
