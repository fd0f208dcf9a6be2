package agent_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// All shots are one table: void ones and system checks too, the oldest first, and
// those on one specimen alone where the list is narrowed to it.
func TestAllShotsAsCSV(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	if strings.Contains(r.page("/shots"), "as CSV") {
		t.Error("a table of no shot is offered")
	}
	take := func(name, meta string, peakG float64) string {
		t.Helper()
		a := r.post(part{"file", name, csv(peakG)}, part{"map", "m.toml", mapText}, part{"meta", "", meta})
		if a.status != http.StatusCreated {
			t.Fatalf("post = %d %s", a.status, a.body)
		}
		return a.json(t)["id"].(string)
	}
	first := take("=a.csv", `{"specimen":"H-1","location":"front","condition":"hot","target_speed_m_s":5,"tank_pressure_kpa_gauge":141,"operator":"r.example"}`, 60)
	void := take("b.csv", `{"specimen":"H-2","location":"side","target_speed_m_s":5}`, 61)
	check := take("c.csv", `{"kind":"system_check","reference_pad":"P-1"}`, 62)
	r.send("/shots/"+void+"/void", url.Values{"reason": {"chin strap open"}}, "/shots/")
	r.page("/shots", `href="/shots.csv"`, "All shots as CSV")
	rows := r.rows("/shots.csv")
	if len(rows) != 3 {
		t.Fatalf("%d rows, want 3: %v", len(rows), rows)
	}
	want := map[string]map[string]string{
		first: {"what": "shot", "specimen": "H-1", "location": "front", "condition": "hot", "target_speed_m_s": "5", "tank_pressure_kpa_gauge": "141", "verdict": "not accepted yet", "operator": "r.example", "file_name": "'=a.csv"},
		void:  {"what": "shot", "specimen": "H-2", "location": "side", "verdict": "void", "reason": "chin strap open", "file_name": "b.csv"},
		check: {"what": "system check", "specimen": "P-1", "file_name": "c.csv"},
	}
	for i, row := range rows {
		for name, cell := range want[row["id"]] {
			if row[name] != cell {
				t.Errorf("%s of %s is %q, want %q", name, row["file_name"], row[name], cell)
			}
		}
		if i > 0 && row["at"] < rows[i-1]["at"] || row["at"] == "" || row["taken_in_at"] == "" || row["peak_linear_acceleration_g"] == "" {
			t.Errorf("row %d: %v", i, row)
		}
	}
	r.page("/shots?specimen=h-2", "/shots.csv?specimen=h-2", "Shots on h-2 as CSV")
	if rows := r.rows("/shots.csv?specimen=h-2"); len(rows) != 1 || rows[0]["id"] != void {
		t.Errorf("narrowed to one specimen: %v", rows)
	}
}
