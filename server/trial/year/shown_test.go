package year

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// shown is what people and programs are told of labs: by the API and by the
// metrics of items. The script prints the same form.
type shown struct {
	Labs  map[string]labShown  `json:"labs"`
	Items map[string]itemShown `json:"items"`
	Cells map[string]cellShown `json:"cells"`
}

type labShown struct {
	Shots    int64 `json:"shots"`
	ToAssign int64 `json:"to_assign"`
	Again    int64 `json:"seen_again"`
}

type cellShown struct {
	Done     int64 `json:"done"`
	OffSpeed int64 `json:"off_speed"`
	Void     int64 `json:"void"`
}

type itemShown struct {
	Lab            string `json:"lab"`
	Since          int64  `json:"since"`
	Total          int64  `json:"total"`
	Rig            string `json:"rig"`
	Position       string `json:"position"`
	State          string `json:"state"`
	Calibration    string `json:"calibration"`
	CalibrationDue int64  `json:"calibration_due"` // ms since 1970
	Planned        bool   `json:"planned"`
	Overdue        bool   `json:"overdue"`
	ServiceDue     int64  `json:"service_due"` // ms since 1970; 0: none, or a forecast

	// Contradiction is what the metrics say other than the API; a server that still
	// fetches may have gone on between two answers.
	Contradiction string `json:"-"`
}

// recount has the facts counted by Debian's python3.
func recount(t testing.TB, facts []fact, now time.Time) shown {
	t.Helper()
	path := filepath.Join(t.TempDir(), "facts.jsonl")
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	for i := range facts {
		if err := enc.Encode(&facts[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), "/usr/bin/python3", "testdata/recount.py", path, strconv.FormatInt(now.UnixMilli(), 10)).Output()
	if err != nil {
		if x, ok := err.(*exec.ExitError); ok {
			t.Fatalf("%v: %s", err, x.Stderr)
		}
		t.Fatal(err)
	}
	var s shown
	if err := json.Unmarshal(out, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

var (
	feedLink   = regexp.MustCompile(`/calendar/([A-Z2-7]+)\.ics`)
	itemFigure = regexp.MustCompile(`(?m)^thudbook_item_(\w+)\{class="([^"]*)",item="([^"]*)",.*\} (\S+)$`)
)

// seen asks a server for everything that the script counts of some labs.
func (s *site) seen(plants []*plant) shown {
	s.t.Helper()
	out := shown{map[string]labShown{}, map[string]itemShown{}, map[string]cellShown{}}
	var labs []struct {
		ID string `json:"id"`
		labShown
	}
	s.ask(http.MethodGet, "/api/v1/labs", nil, &labs)
	token := feedLink.FindStringSubmatch(s.form("/health/feed", url.Values{}, http.StatusOK))
	if token == nil {
		s.t.Fatal("the page shows no link of a feed")
	}
	figures := map[string]map[string]float64{}
	for _, m := range itemFigure.FindAllStringSubmatch(s.text(http.MethodGet, "/metrics/items", nil, "Authorization", "Bearer "+token[1]), -1) {
		v, err := strconv.ParseFloat(m[4], 64)
		if err != nil {
			s.t.Fatal(err)
		}
		if figures[m[3]] == nil {
			figures[m[3]] = map[string]float64{}
		}
		figures[m[3]][m[1]] = v
	}
	for _, p := range plants {
		id := p.id.String()
		for _, l := range labs {
			if l.ID == id {
				out.Labs[id] = l.labShown
			}
		}
		var items []struct {
			ID       string  `json:"id"`
			Since    int64   `json:"strokes_since_service"`
			Total    int64   `json:"total_strokes"`
			Rig      *string `json:"rig"`
			Position string  `json:"position"`
			State    string  `json:"state"`
			Class    string  `json:"class"`
			Strokes  int64   `json:"service_every_strokes"`

			Calibration struct {
				State string     `json:"state"`
				DueAt *time.Time `json:"due_at"`
			} `json:"calibration"`
		}
		s.ask(http.MethodGet, "/api/v1/labs/"+id+"/items", nil, &items)
		for _, i := range items {
			x := itemShown{Lab: id, Since: i.Since, Total: i.Total, Position: i.Position, State: i.State, Calibration: i.Calibration.State}
			if i.Rig != nil {
				x.Rig = *i.Rig
			}
			if d := i.Calibration.DueAt; d != nil {
				x.CalibrationDue = d.UnixMilli()
			}
			f := figures[i.ID]
			var late float64
			late, x.Planned = f["service_overdue"]
			x.Overdue = late == 1
			if x.Planned && i.Strokes == 0 && i.Class != "head form" { // by days alone
				x.ServiceDue = int64(f["service_due_timestamp_seconds"] * 1000)
			}
			if due, ok := f["calibration_due_timestamp_seconds"]; ok && int64(due*1000) != x.CalibrationDue {
				x.Contradiction += fmt.Sprintf("calibration due at %v by the metrics; ", due)
			}
			if n, ok := f["strokes_since_service"]; ok && int64(n) != x.Since {
				x.Contradiction += fmt.Sprintf("%v strokes by the metrics", n)
			}
			out.Items[i.ID] = x
		}
		s.cells(p, out.Cells)
	}
	return out
}

func (s *site) cells(p *plant, into map[string]cellShown) {
	var campaign struct {
		Cells []struct {
			Specimen string `json:"specimen"`
			Location string `json:"location"`
			cellShown
		} `json:"by_specimen_and_cell"`
	}
	var all []struct{ ID string }
	s.ask(http.MethodGet, "/api/v1/labs/"+p.id.String()+"/campaigns", nil, &all)
	if len(all) != 1 {
		return // not fetched yet
	}
	s.ask(http.MethodGet, "/api/v1/labs/"+p.id.String()+"/campaigns/"+all[0].ID, nil, &campaign)
	for _, c := range campaign.Cells {
		into[strings.Join([]string{p.id.String(), cellOf(c.Specimen, c.Location)}, "/")] = c.cellShown
	}
}
