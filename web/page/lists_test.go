package page_test

import (
	"html"
	"strings"
	"testing"
	"time"

	"thudbook/web/page"
)

// One zone stands in the column's head; where summer time began in between,
// each time carries its own.
func TestShotTimesNameTheirZone(t *testing.T) {
	t.Parallel()
	winter := time.Date(2031, 3, 14, 12, 0, 0, 0, time.FixedZone("", 3600))
	summer := time.Date(2031, 6, 14, 12, 0, 0, 0, time.FixedZone("", 7200))
	list := func(times ...time.Time) string {
		p := page.Shots{Frame: page.Frame{Title: "Shots"}}
		for _, at := range times {
			p.Rows = append(p.Rows, page.ShotRow{ID: "x", At: at, Arrival: at.Equal(summer)})
		}
		return html.UnescapeString(render(t, p))
	}
	if text := list(winter, winter); !strings.Contains(text, ">Fired, +01:00</th>") || strings.Contains(text, "arrival") {
		t.Error("one zone is not named in the head, or a time counts as that of arrival")
	}
	if text := list(winter.UTC()); !strings.Contains(text, ">Fired, UTC</th>") {
		t.Error("UTC is not named in the head")
	}
	text := list(winter, summer)
	for _, want := range []string{">Fired</th>", "12:00:00</time> +01:00", "12:00:00</time> +02:00", ">arrival</span>"} {
		if !strings.Contains(text, want) {
			t.Errorf("two zones: %q is missing", want)
		}
	}
}

func TestSilentAgentsAreNotCaughtUp(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 3, 14, 12, 0, 0, 0, time.UTC)
	rows := map[string]page.AgentRow{
		`<td class="r">nothing</td>`:                           {Name: "connected", LastSeen: at},
		`<td class="r">nothing when last heard</td>`:           {Name: "silent", LastSeen: at, Silent: true},
		`records when last heard</td>`:                         {Name: "silent and behind", LastSeen: at, Silent: true, RecordsBehind: 3},
		`<td class="r"><span class="missing">not known</span>`: {Name: "never"},
	}
	for want, row := range rows {
		text := render(t, page.Agents{Frame: page.Frame{Title: "Agents", Now: at}, Rows: []page.AgentRow{row}})
		if !strings.Contains(text, want) {
			t.Errorf("%s: %q is missing", row.Name, want)
		}
		if !strings.Contains(text, "Last seen, UTC") {
			t.Error("the zone is missing")
		}
	}
}
