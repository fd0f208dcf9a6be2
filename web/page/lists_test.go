package page_test

import (
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
		return render(t, p)
	}
	if html := list(winter, winter); !strings.Contains(html, ">Fired, +01:00</th>") || strings.Contains(html, "arrival") {
		t.Error("one zone is not named in the head, or a time counts as that of arrival")
	}
	if html := list(winter.UTC()); !strings.Contains(html, ">Fired, UTC</th>") {
		t.Error("UTC is not named in the head")
	}
	html := list(winter, summer)
	for _, text := range []string{">Fired</th>", "12:00:00</time> +01:00", "12:00:00</time> +02:00", ">arrival</span>"} {
		if !strings.Contains(html, text) {
			t.Errorf("two zones: %q is missing", text)
		}
	}
}

func TestSilentAgentsAreNotCaughtUp(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 3, 14, 12, 0, 0, 0, time.UTC)
	rows := map[string]page.AgentRow{
		`<td class="r">nothing</td>`:                           {Name: "in touch", LastSeen: at},
		`<td class="r">nothing when last heard</td>`:           {Name: "silent", LastSeen: at, Silent: true},
		`records when last heard</td>`:                         {Name: "silent and behind", LastSeen: at, Silent: true, RecordsBehind: 3},
		`<td class="r"><span class="missing">not known</span>`: {Name: "never"},
	}
	for want, row := range rows {
		html := render(t, page.Agents{Frame: page.Frame{Title: "Agents", Now: at}, Rows: []page.AgentRow{row}})
		if !strings.Contains(html, want) {
			t.Errorf("%s: %q is missing", row.Name, want)
		}
		if !strings.Contains(html, "Last seen, UTC") {
			t.Error("the zone is missing")
		}
	}
}
