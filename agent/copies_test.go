package agent_test

import (
	"strings"
	"testing"
)

// Two strokes of an acquisition that was not armed write two empty files: the
// same bytes. The second one is named too, and so is one that is sent by HTTP; a
// restart forgets none, and none is named twice.
func TestCopiesOfQuarantinedFiles(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("good.csv", csv(60))
	r.shots(1)
	r.plant(append(r.mounted(), campaign(t))...)
	quarantined := func(names ...string) {
		t.Helper()
		r.until("the files in quarantine", func() bool {
			body := r.get("/quarantine").body
			for _, n := range names {
				if strings.Count(body, ">"+n+"<") != 1 {
					return false
				}
			}
			return strings.Count(body, "<article") == 1
		})
	}
	r.write("shot-01.csv", "no numbers\n")
	quarantined("shot-01.csv")
	if strings.Contains(r.page("/quarantine"), "came again") {
		t.Error("one file is said to have come again")
	}
	r.confirmed()
	r.write("shot-02.csv", "no numbers\n")
	r.until("the wait tells of the second", func() bool {
		return strings.Contains(r.get("/result").body, "shot-02.csv came, and nothing in it can be read: it has the same bytes as shot-01.csv")
	})
	for range 2 { // sent twice
		r.post(part{"file", "shot-03.csv", "no numbers\n"})
	}
	quarantined("shot-01.csv", "shot-02.csv", "shot-03.csv")
	r.page("/quarantine", "came again", "watched folder", "sent by HTTP")
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	r.run()
	quarantined("shot-01.csv", "shot-02.csv", "shot-03.csv")
}
