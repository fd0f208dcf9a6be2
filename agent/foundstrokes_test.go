package agent_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// TestStrokesThatNobodyEntered: what only the counter has, and a file seen again
// that counts, stand on Strokes, on the day report and in its table.
func TestStrokesThatNobodyEntered(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("a.csv", csv(93))
	r.shots(1)
	for _, read := range []url.Values{{"counter": {"100"}}, {"counter": {"104"}, "reason": {"fired by the fitter"}}} {
		v := fields(t, r.page("/strokes"), "/strokes/counter")
		for k, x := range read {
			v[k] = x
		}
		r.send("/strokes/counter", v, "/strokes")
	}
	r.write("b.csv", csv(93))
	r.until("it is seen again", func() bool { return strings.Contains(r.get("/seen").body, "b.csv") })
	seen := regexp.MustCompile(`action="(/seen/[0-9a-f-]{36})"`).FindStringSubmatch(r.page("/seen"))
	v := fields(t, r.get("/seen").body, seen[1])
	v.Set("verdict", "stroke")
	r.send(seen[1], v, "/seen")

	for _, path := range []string{"/strokes", "/day"} {
		r.page(path, "strokes that only the counter has", "fired by the fitter", "stroke counted for a file seen again", "b.csv has the bytes of a shot")
	}
	day := time.Now().Format(time.DateOnly)
	table := r.page("/day.csv?date="+day, "strokes that only the counter has", "fired by the fitter", "stroke counted for a file seen again")
	if n := strings.Count(table, "fired by the fitter"); n != 1 {
		t.Errorf("the table has the strokes of the counter %d times:\n%s", n, table)
	}
	if !regexp.MustCompile(`strokes that only the counter has[^\n]*,[34],`).MatchString(table) {
		t.Errorf("the table does not say how many:\n%s", table)
	}
	if b := r.get("/strokes").body; strings.Count(b, "Take the reading back") != 1 {
		t.Error("the entry of the counter does not lead to taking its reading back")
	}
}
