package desk

import (
	"strings"
	"testing"
	"time"

	"thudbook/server/roster"
	"thudbook/sync/ledger"
	"thudbook/web/page"
)

// While lists are made anew, each screen says so to whoever reads them: they are
// incomplete until then.
func TestScreensSayThatListsAreIncomplete(t *testing.T) {
	t.Parallel()
	for _, at := range []ledger.Rebuilding{{Running: true, Done: 5000, Total: 20_000}, {Done: 20_000, Total: 20_000}} {
		d := New(Options{Now: time.Now, Rebuilding: func() ledger.Rebuilding { return at }})
		f := d.frame(&caller{names: &roster.Names{}}, "Shots", page.PathShots)
		said := len(f.Notices) == 1 && strings.Contains(f.Notices[0].Text, "5000 of 20000 are read (25 %)")
		if said != at.Running {
			t.Errorf("%+v: %+v", at, f.Notices)
		}
	}
}
