package year

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/httppeer"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// node is the ledger of a rig PC, enrolled at a server.
type node struct {
	*ledgertest.Ledger
	t      testing.TB
	lab    record.LabID
	clock  *still
	server *site
	pinned exchange.Pinned
	queue  []entry // not written down yet
	unsent []fact  // written down, not at the server
	mapped record.Attachment
}

func newNode(t testing.TB, s *site, in record.LabID, full bool) *node {
	n := &node{t: t, lab: in, clock: &still{at: begin.Add(-48 * time.Hour)}, server: s}
	n.Ledger = ledgertest.Open(t, ledgertest.Options{Now: n.clock.now, Damaged: full})
	var made struct{ Code string }
	s.ask(http.MethodPost, "/api/v1/labs/"+in.String()+"/codes", map[string]string{"name": "rig PC"}, &made)
	code, err := exchange.ParseCode(made.Code)
	n.must(err)
	q, err := exchange.SealEnrol(n.Node.PrivateKey, &exchange.EnrolRequest{Secret: code.Secret[:], EnrollmentID: uuid.New(),
		Node: n.Node.ID, PublicKey: n.Node.PublicKey(), Software: "trial", TimeMS: s.clock.now().UnixMilli()})
	n.must(err)
	sealed, err := httppeer.Enrol(t.Context(), httppeer.NewTransport(httppeer.TransportOptions{}), s.url, q)
	n.must(err)
	got, err := exchange.OpenEnrolAnswer(&sealed, &q, code)
	n.must(err)
	n.pinned = exchange.Pinned{ID: got.Server, Key: got.ServerKey}
	ref, err := n.Blobs.Put(t.Context(), strings.NewReader(labtest.MapTOML), 0)
	n.must(err)
	n.mapped = record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleMap, Media: "application/toml", Name: "rig.toml"}
	return n
}

func (n *node) must(err error) {
	n.t.Helper()
	if err != nil {
		n.t.Fatal(err)
	}
}

// store keeps a small source that no other shot has.
func (n *node) store(s *lab.Shot, no int) []record.Attachment {
	n.t.Helper()
	if n.Blobs == nil { // a store of records alone
		return nil
	}
	text := fmt.Sprintf("t,ax\n0.0000,0.0\n0.0001,%d.5\n0.0002,0.0\n# %s %s\n", no%90, s.Rig, s.FileName)
	ref, err := n.Blobs.Put(n.t.Context(), strings.NewReader(text), 0)
	n.must(err)
	s.SourceSHA256, s.MapSHA256 = ref.SHA256, n.mapped.SHA256
	return []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RoleSource, Media: "text/csv", Name: s.FileName}, n.mapped}
}

// write writes down what is due until a time, in the order in which people and
// programs get to it; what comes late stays in the queue.
func (n *node) write(until time.Time) {
	n.t.Helper()
	slices.SortStableFunc(n.queue, func(a, b entry) int { return a.at.Compare(b.at) })
	for len(n.queue) > 0 && !n.queue[0].at.After(until) {
		var drafts []ledger.Draft
		var said []fact
		for len(n.queue) > 0 && !n.queue[0].at.After(until) && len(drafts) < 200 {
			e := n.queue[0]
			n.queue = n.queue[1:]
			if e.body != nil {
				id := uuid.MustParse(e.uid)
				drafts = append(drafts, labtest.Draft(n.t, id, e.body, e.attachments...))
				for _, b := range e.more {
					drafts = append(drafts, labtest.Draft(n.t, id, b))
				}
			}
			n.clock.set(e.at)
			e.AtMS, e.Entered = int64(e.At), e.at.UnixMilli() // of an item: when it came into the register
			said = append(said, e.fact)
		}
		recs := labtest.Append(n.t, n.Ledger.Ledger, n.lab, drafts...)
		for i := range said {
			said[i].Entered = recs[0].WallNS / 1e6
		}
		n.unsent = append(n.unsent, said...)
	}
}

// sync holds a session with the server; what is there then may be counted.
func (n *node) sync() []fact {
	n.t.Helper()
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: n.server.url, Node: n.Node.ID, Key: n.Node.PrivateKey, Server: n.pinned})
	n.must(err)
	defer c.Close()
	_, err = exchange.Run(n.t.Context(), exchange.Options{Ledger: n.Ledger.Ledger, Blobs: n.Blobs, Store: n.Store,
		Key: n.Node.PrivateKey, Server: n.pinned, Software: "trial", Now: n.server.clock.now}, c)
	n.must(err)
	all := n.unsent
	n.unsent = nil
	return all
}
