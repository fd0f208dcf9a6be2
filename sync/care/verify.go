// Package care looks after a data folder: it walks everything that is stored
// and says what it checked and what it found.
package care

import (
	"context"
	"fmt"
	"math"
	"strings"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// ViewSet is what Verify needs to know of the views.
type ViewSet = ledger.ViewSet

// Class is the outcome as an exit code.
type Class int

// The classes. Where both damage and a fork are found, Forked stands.
const (
	OK      Class = 0
	Damaged Class = 3 // stored bytes are not what was written
	Forked  Class = 4 // a second history, or a store that was set back
)

// Source is what to verify. Store is needed; what else is nil or empty is not
// checked, and the report says so.
type Source struct {
	Store  kv.Store
	Blobs  blob.Store
	Anchor string        // path of the anchor file
	Node   record.NodeID // the node whose data it is; the store must name the same
	Views  ViewSet
	Temp   string // folder for the rebuilt views, on a disk with room for them

	// Complete tells through which record of another node's origin all
	// attachments were received. Records may come before their attachments, so
	// without it a missing one of a foreign origin is counted, not a finding.
	Complete func(kv.Reader, record.Origin) (uint64, error)
	// Wanted gives the attachments that are noted as still to be fetched from the
	// server, which holds them: they are awaited, not lost. nil: none are.
	Wanted func(kv.Reader) (map[record.Hash]bool, error)
}

// Finding is one thing that is not as it should be.
type Finding struct {
	Class Class
	Text  string
}

// Report says what was checked and what was found.
type Report struct {
	Origins     int
	Records     int64
	RecordBytes int64
	Attachments int64 // named by records and looked at, each hash once
	BlobBytes   int64
	Awaited     int64 // attachments that are not here yet: of other nodes' records, or to be fetched back
	Erased      int64 // attachments that are not here because a record says that they are erased
	Orphans     int64 // stored bytes that no record names
	Tables      int   // of views, compared byte for byte with rebuilt ones
	Anchored    int   // own origins compared with the anchor
	Findings    []Finding
	Notes       []string // what a person may want to know, but is as it should be
	Unchecked   []string // what was not looked at, and why
}

// Class gives the worst class of the findings.
func (r *Report) Class() Class {
	worst := OK
	for _, f := range r.Findings {
		worst = max(worst, f.Class)
	}
	return worst
}

// String gives the report as lines of text.
func (r *Report) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "checked %d records (%d bytes) in %d origins: hash, sequence, chain, head\n", r.Records, r.RecordBytes, r.Origins)
	fmt.Fprintf(&b, "checked %d attachments (%d bytes): present, size, hash; %d stored files are named by no record\n", r.Attachments, r.BlobBytes, r.Orphans)
	if r.Awaited > 0 {
		fmt.Fprintf(&b, "%d attachments of other nodes' records are not here yet\n", r.Awaited)
	}
	if r.Erased > 0 {
		fmt.Fprintf(&b, "%d cards of people are erased, as a record says\n", r.Erased)
	}
	fmt.Fprintf(&b, "checked %d own origins against the anchor\n", r.Anchored)
	fmt.Fprintf(&b, "compared %d view tables byte for byte with rebuilt ones\n", r.Tables)
	for _, u := range r.Unchecked {
		fmt.Fprintf(&b, "not checked: %s\n", u)
	}
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "note: %s\n", n)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(&b, "found: %s\n", f.Text)
	}
	if len(r.Findings) == 0 {
		b.WriteString("nothing wrong was found\n")
	}
	return b.String()
}

func (r *Report) find(c Class, format string, args ...any) {
	r.Findings = append(r.Findings, Finding{Class: c, Text: fmt.Sprintf(format, args...)})
}

// Verify walks every chain, hash, attachment, anchor and head, rebuilds the
// views into a temporary store and compares them byte for byte. It changes
// nothing. It reads on one snapshot, which keeps the store from reusing pages
// meanwhile. The error tells that it could not go on; what is wrong with the
// data stands in the report.
func Verify(ctx context.Context, s Source) (*Report, error) {
	v := &verifier{src: s, named: make(map[record.Hash]named), moved: make(map[record.Hash]bool), seen: make(map[record.Origin]uint64)}
	err := s.Store.View(ctx, func(r kv.Reader) error { return v.run(ctx, r) })
	if err != nil && problem.Of(err) == problem.Damaged {
		v.report.find(Damaged, "%v", err) // the store itself could not be read on
		err = v.unreadable(ctx)
	}
	return &v.report, err
}

type verifier struct {
	src    Source
	report Report
	named  map[record.Hash]named
	cards  cards
	moved  map[record.Hash]bool     // records that others carry
	seen   map[record.Origin]uint64 // the last record met
	due    uint64                   // of the origin being walked: through here attachments must be here
}

// named is an attachment that some record names.
type named struct {
	size int64
	due  bool // it must be here
}

func (v *verifier) run(ctx context.Context, r kv.Reader) error {
	rebuilt, err := newRebuilt(ctx, v.src)
	if err != nil {
		return err
	}
	defer rebuilt.drop()
	if rebuilt == nil {
		v.report.Unchecked = append(v.report.Unchecked, "views (none were given)")
	}
	if err := v.chains(ctx, r, rebuilt); err != nil {
		return err
	}
	if err := v.anchors(r); err != nil {
		return err
	}
	if err := v.forks(r); err != nil {
		return err
	}
	if err := v.attachments(ctx); err != nil {
		return err
	}
	return v.views(ctx, r, rebuilt)
}

// chains walks all records, of every origin that has a head or a log entry.
func (v *verifier) chains(ctx context.Context, r kv.Reader, rebuilt *rebuilt) error {
	origins, err := ledger.ScanOrigins(r)
	if err != nil {
		return err
	}
	v.report.Origins = len(origins)
	for _, o := range origins {
		if err := v.expect(r, o); err != nil {
			return err
		}
		for s, err := range ledger.Chain(r, o, 0) {
			if err == nil {
				err = ctx.Err()
			}
			if err != nil {
				return err
			}
			v.seen[o] = max(v.seen[o], s.Seq)
			if s.Damage != nil {
				v.report.find(Damaged, "%v", s.Damage)
				continue
			}
			if ok, err := ledger.Findable(r, &s.Record); err != nil {
				return err
			} else if !ok {
				v.report.find(Damaged, "record %d of origin %s is stored but not found by its key: an index page of the store is damaged", s.Seq, o)
			}
			if err := v.record(ctx, &s.Record, rebuilt); err != nil {
				return err
			}
		}
	}
	return nil
}

// expect finds out through which record of an origin attachments must be here.
func (v *verifier) expect(r kv.Reader, o record.Origin) (err error) {
	switch {
	case o.Node == v.src.Node:
		v.due = math.MaxUint64 // a record of our own is written after its attachments
	case v.src.Complete != nil:
		v.due, err = v.src.Complete(r, o)
	default:
		v.due = 0
	}
	return err
}

func (v *verifier) record(ctx context.Context, r *record.Record, rebuilt *rebuilt) error {
	v.report.Records++
	v.report.RecordBytes += int64(len(r.Raw))
	for _, a := range r.Attachments {
		n, ok := v.named[a.SHA256]
		if ok && n.size != a.Size {
			v.report.Notes = append(v.report.Notes, fmt.Sprintf("record %d of origin %s gives attachment %s %d bytes, another record %d",
				r.Seq, r.Origin(), a.SHA256, a.Size, n.size))
			continue
		}
		v.named[a.SHA256] = named{size: a.Size, due: n.due || r.Seq <= v.due}
	}
	v.cards.note(r)
	if r.Kind == record.KindGenesis {
		v.genesis(r)
	}
	var h record.Rehomed
	if r.Kind == record.KindRehomed && record.DecodeBody(r.Body, &h) == nil {
		v.moved[h.Hash] = true
	}
	return rebuilt.add(ctx, *r)
}

// genesis notes where an origin continues another one.
func (v *verifier) genesis(r *record.Record) {
	var g record.Genesis
	if r.Seq != 1 || record.DecodeBody(r.Body, &g) != nil || g.Predecessor == nil {
		return
	}
	v.report.Notes = append(v.report.Notes, fmt.Sprintf("origin %s continues %s, which was closed at record %d: %s",
		r.Origin(), g.Predecessor.Origin(), g.Predecessor.Seq, g.Predecessor.Reason))
}

// anchors compares own origins with the anchor file.
func (v *verifier) anchors(r kv.Reader) error {
	if v.src.Anchor == "" {
		v.report.Unchecked = append(v.report.Unchecked, "anchor (no path was given)")
		return nil
	}
	doubts, n, err := ledger.CheckAnchor(r, v.src.Node, v.src.Anchor)
	if err != nil {
		return err
	}
	v.report.Anchored = n
	for o, end := range ledger.AnchorEnds(v.src.Anchor, v.src.Node) {
		if end.Seq > v.seen[o] {
			v.report.find(Forked, "records %d to %d of own origin %s are not in the store, though the anchor knows of them", v.seen[o]+1, end.Seq, o)
		}
	}
	for _, d := range doubts {
		if d.OnPurpose {
			v.report.Notes = append(v.report.Notes, fmt.Sprintf("own origin %s is not written again, as a restore asks for: %s; the next record opens a new chain", d.Origin, d.Reason))
			continue
		}
		v.report.find(Forked, "own origin %s may not be written again: %s", d.Origin, d.Reason)
	}
	return nil
}

// forks names second histories. One whose record was carried over into another
// chain, or stands in its place by now, is settled: nothing of it is missing.
func (v *verifier) forks(r kv.Reader) error {
	all, err := ledger.ScanForks(r)
	for _, e := range all {
		h := record.HashOf(e.Raw)
		settled := v.moved[h]
		for s, err := range ledger.Chain(r, e.Ref.Origin, e.Ref.Seq-1) {
			settled = settled || err == nil && s.Damage == nil && s.Record.Hash == h
			break
		}
		if settled {
			v.report.Notes = append(v.report.Notes, fmt.Sprintf("a second history of origin %s was settled: its record %d is in the log by another way", e.Ref.Origin, e.Ref.Seq))
			continue
		}
		v.report.find(Forked, "a second history of origin %s is kept as evidence: record %d, hash %s", e.Ref.Origin, e.Ref.Seq, h)
	}
	if err != nil {
		return err
	}
	stranded, err := ledger.ScanStranded(r)
	for _, e := range stranded {
		if e.Ref.Seq > 1 && !v.moved[record.HashOf(e.Raw)] && !carrier(e.Raw) {
			v.report.find(Forked, "record %d of the closed origin %s was set aside and not carried over", e.Ref.Seq, e.Ref.Origin)
		}
	}
	if len(stranded) > 0 {
		v.report.Notes = append(v.report.Notes, fmt.Sprintf("%d records of closed origins were carried over into later ones and are kept as they stood", len(stranded)))
	}
	return err
}

func carrier(raw []byte) bool {
	r, err := record.Parse(raw)
	return err == nil && r.Kind == record.KindRehomed
}
