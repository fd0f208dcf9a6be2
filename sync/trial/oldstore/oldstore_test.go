package oldstore_test

import (
	"bytes"
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/sync/care"
	"thudbook/sync/exchange"
	"thudbook/sync/home"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Every packed folder opens, verifies and exchanges, and holds what the list
// beside it says: that list was written when the folder was made.
func TestOldStores(t *testing.T) {
	packed, err := filepath.Glob("testdata/*.tar.gz")
	if err != nil || len(packed) == 0 {
		t.Fatalf("no old stores: %v", err)
	}
	for _, path := range packed {
		t.Run(filepath.Base(path), func(t *testing.T) {
			dir := unpack(t, path)
			wantOK(t, dir)
			old := openHome(t, dir, nil)
			if n := old.Ledger.Notices(); len(n) != 0 {
				t.Errorf("notices: %q", n)
			}
			list := strings.TrimSuffix(path, ".tar.gz") + ".txt"
			got := listing(t, old)
			if os.Getenv("THUDBOOK_MAKE_STORE") != "" { // written together with the folder
				if err := os.WriteFile(list, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(list)
			if err != nil || got != string(want) {
				t.Errorf("the records are\n%swant\n%s%v", got, want, err)
			}
			shots, err := old.Reader.Shots(t.Context(), scope.Labs(oldLab()), view.ShotFilter{}, view.Page{})
			if err != nil || len(shots.Rows) != 6 {
				t.Errorf("%d shots in the views, %v, want 6", len(shots.Rows), err)
			}
			handOver(t, old)
			takeBack(t, old)
		})
	}
}

func wantOK(t *testing.T, dir string) {
	t.Helper()
	report, err := home.Verify(t.Context(), home.Place{Dir: dir})
	if err != nil || report.Class() != care.OK {
		t.Errorf("verify: %v\n%s", err, report)
	}
}

// listing names every record by place, kind and hash.
func listing(t *testing.T, h *home.Home) string {
	t.Helper()
	var b strings.Builder
	for r, err := range h.Ledger.All(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s %d %s %s\n", r.Origin(), r.Seq, r.Kind, r.Hash)
	}
	return b.String()
}

func raws(t *testing.T, h *home.Home) map[record.Ref][]byte {
	t.Helper()
	all := map[record.Ref][]byte{}
	for r, err := range h.Ledger.All(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		all[r.Ref()] = r.Raw
	}
	return all
}

func session(t *testing.T, from, to *home.Home) exchange.Result {
	t.Helper()
	s, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: to.Ledger, Blobs: to.Blobs, Store: to.Store, Key: to.Node.PrivateKey})
	if err != nil {
		t.Fatal(err)
	}
	peer := s.For(exchange.Principal{Node: from.Node.ID, Key: from.Node.PublicKey(), Labs: []record.LabID{oldLab()}})
	res, err := exchange.Run(t.Context(), exchange.Options{Ledger: from.Ledger, Blobs: from.Blobs, Store: from.Store, Key: from.Node.PrivateKey,
		Server: exchange.Pinned{ID: s.Node(), Key: ed25519.PublicKey(s.PublicKey())}, Software: "trial"}, peer)
	if err != nil || len(res.Notices) != 0 {
		t.Errorf("session: %v, notices %v", err, res.Notices)
	}
	return res
}

func fresh(t *testing.T, name string) *home.Home {
	t.Helper()
	dir := t.TempDir()
	writeIdentity(t, dir, name)
	return openHome(t, dir, time.Now)
}

// handOver: an agent with an old folder sends what it wrote to a server of today.
func handOver(t *testing.T, old *home.Home) {
	t.Helper()
	server := fresh(t, "server")
	res := session(t, old, server)
	there := raws(t, server)
	for ref, raw := range raws(t, old) {
		if ref.Origin.Node == old.Node.ID && !bytes.Equal(there[ref], raw) {
			t.Errorf("record %d of %s is not the same on the server", ref.Seq, ref.Origin)
		}
	}
	if res.RecordsSent == 0 || res.BlobsSent == 0 {
		t.Errorf("sent %d records, %d attachments", res.RecordsSent, res.BlobsSent)
	}
}

// takeBack: a server with an old folder takes and gives; what it does not know
// goes through untouched.
func takeBack(t *testing.T, old *home.Home) {
	t.Helper()
	agent := fresh(t, "new agent")
	labtest.Append(t, agent.Ledger, oldLab(), labtest.Draft(t, labtest.ID("new shot"), labtest.Shot(labtest.ID("rig"), labtest.Start())))
	session(t, agent, old)
	here, there := raws(t, agent), raws(t, old)
	unknown := 0
	for ref, raw := range there {
		if !bytes.Equal(here[ref], raw) {
			t.Errorf("record %d of %s did not come through as it was", ref.Seq, ref.Origin)
		}
		r, err := record.Parse(raw)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(string(r.Kind), "later.") {
			unknown++
		}
	}
	if len(here) != len(there) || unknown != 3 {
		t.Errorf("%d records of %d, %d of unknown kinds, want 3", len(here), len(there), unknown)
	}
}

// Before an old folder is opened, verify says that its views wait to be made anew;
// afterwards it compares them.
func TestVerifyTellsOldViewsFromDamage(t *testing.T) {
	dir := unpack(t, "testdata/format1.tar.gz")
	before, err := home.Verify(t.Context(), home.Place{Dir: dir})
	if err != nil || before.Class() != care.OK || before.Tables != 0 || !strings.Contains(before.String(), "makes them anew") {
		t.Fatalf("before the first start: %v\n%s", err, before)
	}
	h, err := home.Open(t.Context(), home.Options{Dir: dir, Software: "trial"})
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	after, err := home.Verify(t.Context(), home.Place{Dir: dir})
	if err != nil || after.Class() != care.OK || after.Tables == 0 {
		t.Errorf("after it: %v\n%s", err, after)
	}
}
