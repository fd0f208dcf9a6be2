package agent_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// A file that is no shot leaves the list with a reason, and the count in the
// menu with it; a restart changes nothing, and its bytes are still there.
func TestQuarantineOff(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("good.csv", csv(60))
	r.shots(1)
	r.write("notes.csv", "bring the long cable, please\n")
	r.until("the file is in quarantine", func() bool { return strings.Contains(r.get("/quarantine").body, ">notes.csv<") })
	off := regexp.MustCompile(`action="(/quarantine/[^"]+/off)"`).FindStringSubmatch(r.page("/quarantine"))
	if off == nil {
		t.Fatal("there is no way to take it off the list")
	}
	if got := r.form(off[1], url.Values{"reason": {" "}}); got.status != http.StatusUnprocessableEntity || !strings.Contains(got.body, "This is needed.") {
		t.Errorf("without a reason: %d", got.status)
	}
	for range 2 { // two tabs
		r.form(off[1], url.Values{"reason": {"saved in the wrong folder"}})
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.run()
	if body := r.page("/quarantine", "no file waits"); strings.Contains(body, "notes.csv") {
		t.Error("it is still on the list")
	}
	if all := r.page("/quarantine?all=1", "notes.csv", "saved in the wrong folder"); strings.Count(all, "saved in the wrong folder") != 1 {
		t.Error("it is there more than once")
	}
	if got := r.get(strings.TrimSuffix(off[1], "off") + "file"); got.body != "bring the long cable, please\n" {
		t.Errorf("its bytes: %q", got.body)
	}
}
