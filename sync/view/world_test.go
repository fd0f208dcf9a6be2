package view_test

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/google/uuid"

	"thudbook/sync/hlc"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

var (
	labA, labB   = labtest.ID("lab A"), labtest.ID("lab B")
	rig1, rig2   = labtest.ID("rig 1"), labtest.ID("rig 2")
	ram1, ram2   = labtest.ID("ram 1"), labtest.ID("ram 2")
	sensor1      = labtest.ID("sensor 1")
	node1, node2 = labtest.ID("node 1"), labtest.ID("node 2")
)

// tb is what testing.T and rapid.T have in common.
type tb interface {
	Helper()
	Fatalf(format string, args ...any)
}

// world is a store with views, and the chains of records that go into it.
type world struct {
	t     tb
	store kv.Store
	set   *view.Set
	*view.Reader
	seq map[record.Origin]uint64
}

func openWorld(t *testing.T) *world {
	t.Helper()
	store, err := boltkv.Open(filepath.Join(t.TempDir(), "view.db"), boltkv.Options{})
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	set := view.New()
	return &world{t: t, store: store, set: set, Reader: set.Reader(store), seq: map[record.Origin]uint64{}}
}

// empty starts a history anew, for one round of a property.
func (w *world) empty(t tb) {
	t.Helper()
	w.t = t
	clear(w.seq)
	err := w.store.Update(w.ctx(), func(tx kv.Tx) error {
		for _, name := range w.set.Tables() {
			if err := tx.Drop(name); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatalf("drop: %v", err)
	}
}

// stated makes the next record of an origin.
func (w *world) stated(node uuid.UUID, of record.LabID, clock hlc.Time, uid uuid.UUID, b lab.Body) record.Record {
	w.t.Helper()
	raw, err := record.EncodeBody(b)
	if err != nil {
		w.t.Fatalf("encode: %v", err)
	}
	o := record.Origin{Node: node, Lab: of, Epoch: 1}
	w.seq[o]++
	return record.Record{Envelope: record.Envelope{
		Version: 1, Node: node, Lab: of, Epoch: 1, Seq: w.seq[o], Clock: clock, WallNS: int64(clock) * 1e6,
		Kind: b.RecordKind(), Schema: b.SchemaVersion(), Author: "p1", UID: uid, Body: raw,
	}}
}

// apply takes records in, each in a transaction of its own.
func (w *world) apply(recs ...record.Record) {
	w.t.Helper()
	for i := range recs {
		if err := w.store.Update(w.ctx(), func(tx kv.Tx) error { return w.set.Apply(tx, &recs[i]) }); err != nil {
			w.t.Fatalf("apply %s: %v", recs[i].Kind, err)
		}
	}
}

// together takes records in in one transaction.
func (w *world) together(recs []record.Record) {
	w.t.Helper()
	err := w.store.Update(w.ctx(), func(tx kv.Tx) error {
		for i := range recs {
			if err := w.set.Apply(tx, &recs[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		w.t.Fatalf("apply: %v", err)
	}
}

// say states a fact of lab A by node 1, at the next clock.
func (w *world) say(uid uuid.UUID, b lab.Body) lab.EditRef {
	w.t.Helper()
	return w.sayAs(node1, labA, uid, b)
}

func (w *world) sayAs(node uuid.UUID, of record.LabID, uid uuid.UUID, b lab.Body) lab.EditRef {
	w.t.Helper()
	if err := b.Validate(); err != nil {
		w.t.Fatalf("a test says something invalid: %v", err)
	}
	clock := hlc.Time(1000)
	for _, n := range w.seq {
		clock += hlc.Time(n)
	}
	r := w.stated(node, of, clock, uid, b)
	w.apply(r)
	return lab.EditRef{Node: r.Node, Epoch: r.Epoch, Seq: r.Seq}
}

var onlyA = scope.Labs(labA)

func (w *world) ctx() context.Context { return context.Background() }

func allOf(ids ...record.LabID) scope.Scope { return scope.Labs(ids...) }
