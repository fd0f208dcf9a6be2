package agent_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thudbook/web/present"
)

// A chain that was closed is told in words first: what happened, what to do,
// whom to tell. What names nodes and epochs stands under Details.
func TestClosedChainIsToldInWords(t *testing.T) {
	r := start(t)
	r.write("map.toml", mapText)
	r.write("a.csv", csv(60))
	r.shots(1)
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(r.opt.Data, "anchor")); err != nil {
		t.Fatal(err)
	}
	r.run()
	r.until("the alarm", func() bool { return strings.Contains(r.get("/alarms").body, "not seen yet") })
	for _, path := range []string{"/alarms", "/next"} {
		body := r.page(path, "Tell the person who looks after this computer", "you can go on working")
		at := strings.Index(body, "This computer goes on in a new chain")
		words, rest, found := strings.Cut(body[max(at, 0):], "<summary>Details</summary>")
		details, _, _ := strings.Cut(rest, "</details>")
		if at < 0 || !found || strings.Contains(words, "epoch") || strings.Contains(words, "rigin") {
			t.Errorf("%s does not begin with plain words: %q", path, words)
		}
		if !strings.Contains(details, "will not be written again") || !strings.Contains(details, "opens epoch") {
			t.Errorf("%s gives as details %q", path, details)
		}
	}
	// An alarm that an earlier version recorded.
	words, details := present.SplitNotice("Origin 7d1c/b3d9/4 is closed and will not be written again: the disk. The next record for this lab opens epoch 5.")
	if strings.Contains(words, "7d1c") || !strings.Contains(details, "7d1c/b3d9/4") {
		t.Errorf("%q, %q", words, details)
	}
}
