// Package exchangetest sets up real ledgers for tests of the exchange, and
// compares them byte by byte afterwards.
package exchangetest

import (
	"bytes"
	"crypto/ed25519"
	"fmt"
	"io"
	"slices"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/node"
	"thudbook/sync/record"
)

// Kind is the kind of the records that Shot writes; no reader knows it.
const Kind record.Kind = "test.fact"

// Service serves a ledger, and finds room for everything on its disk: that of
// the machine does not decide what a test sees.
func Service(t testing.TB, l *ledgertest.Ledger) *exchange.Service {
	t.Helper()
	s, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: l.Ledger, Blobs: l.Blobs, Store: l.Store, Key: l.Node.PrivateKey,
		Free: func() (free, total int64, err error) { return 1 << 40, 1 << 40, nil }})
	if err != nil {
		t.Fatalf("make a service: %v", err)
	}
	return s
}

// Principal gives a node the right to labs.
func Principal(l *ledgertest.Ledger, labs ...record.LabID) exchange.Principal {
	return exchange.Principal{Node: l.Node.ID, Key: l.Node.PublicKey(), Labs: labs}
}

// Options of a session of an agent with a service.
func Options(agent *ledgertest.Ledger, s *exchange.Service) exchange.Options {
	return exchange.Options{Ledger: agent.Ledger, Blobs: agent.Blobs, Store: agent.Store, Key: agent.Node.PrivateKey,
		Server: Pin(s), Software: "test"}
}

// Pin gives a service's identity.
func Pin(s *exchange.Service) exchange.Pinned {
	return exchange.Pinned{ID: s.Node(), Key: ed25519.PublicKey(s.PublicKey())}
}

// Lab makes a lab.
func Lab(t testing.TB) record.LabID {
	t.Helper()
	id, err := uuid.NewRandom()
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// Shot appends a fact, with an attachment where there is one.
func Shot(t testing.TB, l *ledgertest.Ledger, lab record.LabID, text string, source []byte) record.Record {
	t.Helper()
	body, err := record.EncodeBody(map[string]string{"text": text})
	if err != nil {
		t.Fatal(err)
	}
	d := ledger.Draft{Kind: Kind, Schema: 1, UID: Lab(t), Body: body}
	if source != nil {
		ref, err := l.Blobs.Put(t.Context(), bytes.NewReader(source), 0)
		if err != nil {
			t.Fatalf("store the source: %v", err)
		}
		d.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/csv", Name: text + ".csv"}}
	}
	recs, err := l.Append(t.Context(), lab, d)
	if err != nil {
		t.Fatalf("append: %v", err)
	}
	return recs[0]
}

// Shots appends n facts with different attachments of about size bytes.
func Shots(t testing.TB, l *ledgertest.Ledger, lab record.LabID, n, size int) {
	t.Helper()
	for i := range n {
		text := fmt.Sprintf("%s-%d", Lab(t).String()[:8], i)
		Shot(t, l, lab, text, bytes.Repeat([]byte(text+";"), size/len(text)+1))
	}
}

// Same fails the test unless both sides hold the same bytes of every chain of
// the labs, and, with blobs, of every attachment.
func Same(t testing.TB, a, b *ledgertest.Ledger, blobs bool, labs ...record.LabID) {
	t.Helper()
	left, right := contents(t, a, labs), contents(t, b, labs)
	if len(left) == 0 {
		t.Error("there is nothing to compare")
	}
	for o, recs := range left {
		if len(recs) != len(right[o]) {
			t.Errorf("%s has %d records on one side, %d on the other", o, len(recs), len(right[o]))
			continue
		}
		for i := range recs {
			if !bytes.Equal(recs[i].Raw, right[o][i].Raw) {
				t.Errorf("record %d of %s differs", i+1, o)
			}
			for _, at := range recs[i].Attachments {
				if blobs && !bytes.Equal(blob(t, a, at.SHA256), blob(t, b, at.SHA256)) {
					t.Errorf("attachment %s of record %d of %s differs", at.SHA256, i+1, o)
				}
			}
		}
	}
	for o := range right {
		if _, ok := left[o]; !ok {
			t.Errorf("%s is on one side only", o)
		}
	}
}

func contents(t testing.TB, l *ledgertest.Ledger, labs []record.LabID) map[record.Origin][]record.Record {
	t.Helper()
	out := map[record.Origin][]record.Record{}
	for r, err := range l.All(t.Context()) {
		if err != nil {
			t.Fatalf("read: %v", err)
		}
		if slices.Contains(labs, record.LabID(r.Lab)) {
			out[r.Origin()] = append(out[r.Origin()], r)
		}
	}
	return out
}

func blob(t testing.TB, l *ledgertest.Ledger, h record.Hash) []byte {
	t.Helper()
	r, _, err := l.Blobs.Open(t.Context(), h)
	if err != nil {
		t.Errorf("open attachment %s: %v", h, err)
		return nil
	}
	defer func() {
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	}()
	b, err := io.ReadAll(r)
	if err != nil {
		t.Errorf("read attachment %s: %v", h, err)
	}
	return b
}

// PrincipalIn gives the node whose folder is dir the right to labs.
func PrincipalIn(t testing.TB, dir string, labs ...record.LabID) exchange.Principal {
	t.Helper()
	n, err := node.LoadOrCreate(dir)
	if err != nil {
		t.Fatal(err)
	}
	return exchange.Principal{Node: n.ID, Key: n.PublicKey(), Labs: labs}
}
