package exchange

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// TableWanted names the attachments that are still to be fetched: class, lab,
// hash -> size and the time before which it is not tried again. It is written
// before the records that name them, so that a cut between the two loses none.
const TableWanted kv.Table = "exchange/wanted"

// damagedWait is how long an attachment rests that came damaged.
const damagedWait = time.Hour

// want is one attachment to fetch.
type want struct {
	class  Class
	lab    record.LabID
	ref    BlobRef
	before time.Time
}

func (w *want) key() []byte {
	return append([]byte{byte(w.class)}, holdingKey(w.lab, w.ref.SHA256)...)
}

func (w *want) value() []byte {
	var ms int64
	if !w.before.IsZero() {
		ms = w.before.UnixMilli()
	}
	b := binary.BigEndian.AppendUint64(nil, uint64(w.ref.Size))
	return binary.BigEndian.AppendUint64(b, uint64(ms))
}

func readWant(e kv.Entry) (want, error) {
	if len(e.Key) != 1+16+32 || len(e.Value) != 16 {
		return want{}, problem.New(problem.Damaged, "The list of attachments to move is damaged.", "Run 'thudbook verify' on the data folder.")
	}
	w := want{class: Class(e.Key[0]), lab: record.LabID(e.Key[1:17]), before: momentOf(int64(binary.BigEndian.Uint64(e.Value[8:])))}
	w.ref = BlobRef{SHA256: record.Hash(e.Key[17:]), Size: int64(binary.BigEndian.Uint64(e.Value))}
	return w, nil
}

// Wanted gives the attachments that are noted as still to be fetched from the
// server: a restored node fetches its records back first.
func Wanted(r kv.Reader) (map[record.Hash]bool, error) {
	all := map[record.Hash]bool{}
	for e, err := range r.Scan(TableWanted, nil, nil) {
		if err != nil {
			return nil, err
		}
		w, err := readWant(e)
		if err != nil {
			return nil, err
		}
		all[w.ref.SHA256] = true
	}
	return all, nil
}

// noteWanted remembers what of a pulled batch is wanted here, and all that this
// node once wrote itself.
func (s *session) noteWanted(ctx context.Context, b *Batch) error {
	if s.o.Fetch == nil && !s.back[b.Origin] {
		return nil
	}
	var wants []want
	for _, raw := range b.Records {
		r, err := record.Parse(raw)
		if err != nil {
			return nil // the ledger says it better
		}
		for _, a := range r.Attachments {
			if s.back[b.Origin] || s.o.Fetch(&r, a) {
				wants = append(wants, want{class: ClassOf(a), lab: b.Origin.Lab, ref: BlobRef{SHA256: a.SHA256, Size: a.Size}})
			}
		}
	}
	if len(wants) == 0 {
		return nil
	}
	if err := s.putWants(ctx, TableWanted, wants); err != nil {
		return fmt.Errorf("remember which attachments to fetch: %w", err)
	}
	return nil
}

func (s *session) putWants(ctx context.Context, t kv.Table, wants []want) error {
	return s.o.Store.Update(ctx, func(tx kv.Tx) error {
		for i := range wants {
			if err := tx.Put(t, wants[i].key(), wants[i].value()); err != nil {
				return err
			}
		}
		return nil
	})
}

// fetchWanted fetches the attachments of a class that are wanted and that the
// server holds. It gives false when it stopped for something more urgent.
func (s *session) fetchWanted(ctx context.Context, c Class) (bool, error) {
	from := []byte{byte(c)}
	for {
		page, err := s.wantedPage(ctx, TableWanted, c, from)
		if err != nil || len(page) == 0 {
			return true, err
		}
		last := page[len(page)-1]
		from = append(last.key(), 0)
		if page, err = s.fetchable(ctx, page); err != nil {
			return false, err
		}
		for i := range page {
			stop, err := s.fetchOne(ctx, &page[i])
			if err != nil || stop {
				return false, err
			}
		}
	}
}

// wantedPage gives some wants that may be tried now.
func (s *session) wantedPage(ctx context.Context, t kv.Table, c Class, from []byte) (page []want, err error) {
	err = s.o.Store.View(ctx, func(r kv.Reader) error {
		for e, err := range r.Scan(t, from, []byte{byte(c) + 1}) {
			if err != nil {
				return err
			}
			w, err := readWant(e)
			if err != nil {
				return err
			}
			if len(page) > 0 && page[0].lab != w.lab || len(page) == MaxHashes {
				break
			}
			page = append(page, w)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read which attachments to move: %w", err)
	}
	return page, nil
}

// fetchable leaves out what is here already, what rests, and what the server
// does not have yet.
func (s *session) fetchable(ctx context.Context, page []want) ([]want, error) {
	var open []want
	var refs []BlobRef
	for i := range page {
		w := &page[i]
		there, err := s.here(ctx, w.lab, w.ref.SHA256)
		gone := false
		if err == nil && s.o.Gone != nil {
			gone, err = s.o.Gone(ctx, w.lab, w.ref.SHA256)
		}
		switch {
		case err != nil:
			return nil, err
		case there || gone:
			if err := s.settle(ctx, TableWanted, w); err != nil {
				return nil, err
			}
		case !s.o.Now().Before(w.before) && s.sees(w.lab):
			open, refs = append(open, *w), append(refs, w.ref)
		}
	}
	if len(open) == 0 {
		return nil, nil
	}
	missing, err := s.peer.HaveBlobs(ctx, open[0].lab, refs)
	if err != nil {
		return nil, fmt.Errorf("ask which attachments can be fetched: %w", err)
	}
	lacks := make(map[record.Hash]bool, len(missing))
	for _, m := range missing {
		lacks[m.SHA256] = true
	}
	kept := open[:0]
	for _, w := range open {
		if !lacks[w.ref.SHA256] {
			kept = append(kept, w)
		}
	}
	return kept, nil
}

// here tells whether bytes are here, for a lab.
func (s *session) here(ctx context.Context, lab record.LabID, h record.Hash) (bool, error) {
	if s.o.Rights != nil {
		return s.o.Rights.Holds(ctx, lab, h)
	}
	there, _, err := s.o.Blobs.Has(ctx, h)
	return there, err
}

func (s *session) settle(ctx context.Context, t kv.Table, w *want) error {
	return s.o.Store.Update(ctx, func(tx kv.Tx) error { return tx.Delete(t, w.key()) })
}

// fetchOne fetches one attachment; what is wrong with it alone is told.
func (s *session) fetchOne(ctx context.Context, w *want) (stop bool, err error) {
	if err := roomFor("computer", freeOf(s.o.Blobs), w.ref.Size); err != nil {
		s.noticeOnce(record.Origin{}, err)
		return false, nil
	}
	a := record.Attachment{SHA256: w.ref.SHA256, Size: w.ref.Size}
	scope, proved := fetchScope, func() error { return nil }
	if s.o.Rights != nil {
		scope, proved = fetchScope+"-"+w.lab.String(), func() error { return s.o.Rights.Hold(ctx, w.lab, w.ref.SHA256, w.ref.Size) }
	}
	err = fetchBlob(ctx, s.peer, s.o.Blobs, scope, w.lab, a, func(r io.Reader) io.Reader { return &yielding{r: r, s: s, ctx: ctx} }, proved)
	switch {
	case errors.Is(err, errYield):
		return true, nil
	case problem.Of(err) == problem.NotFound:
		return false, nil
	case problem.Of(err) == problem.Damaged:
		s.notice(record.Origin{}, err)
		w.before = s.o.Now().Add(damagedWait)
		return false, s.o.Store.Update(ctx, func(tx kv.Tx) error { return tx.Put(TableWanted, w.key(), w.value()) })
	case err != nil:
		return false, err
	}
	s.res.BlobsReceived++
	s.progress()
	return false, s.settle(ctx, TableWanted, w)
}

var errYield = errors.New("something more urgent came up")

// yielding stops a download between two pieces when there is something more
// urgent; what came is kept.
type yielding struct {
	ctx  context.Context
	r    io.Reader
	s    *session
	read int64
}

func (y *yielding) Read(p []byte) (int, error) {
	if y.read >= MaxPartBytes {
		y.read = 0
		switch stop, err := y.s.urgent(y.ctx); {
		case err != nil:
			return 0, err
		case stop:
			return 0, errYield
		}
	}
	n, err := y.r.Read(p)
	y.read += int64(n)
	y.s.any.Store(true)
	return n, err
}

// FetchBlob gets one attachment from a peer into a blob store, which checks
// its hash. It goes on where an earlier attempt was cut.
func FetchBlob(ctx context.Context, p Peer, into blob.Store, lab record.LabID, a record.Attachment) error {
	return fetchBlob(ctx, p, into, fetchScope, lab, a, func(r io.Reader) io.Reader { return r }, nil)
}

func fetchBlob(ctx context.Context, p Peer, into blob.Store, scope string, lab record.LabID, a record.Attachment, through func(io.Reader) io.Reader, proved func() error) (err error) {
	ref := blob.Ref{SHA256: a.SHA256, Size: a.Size}
	at, err := into.Partial(ctx, scope, ref)
	if err != nil {
		return err
	}
	if at == ref.Size && at > 0 { // only its end was not seen
		_, err := into.Append(ctx, scope, ref, at, strings.NewReader(""), proved)
		return err
	}
	r, size, err := p.GetBlob(ctx, lab, a.SHA256, at)
	if err != nil {
		return fmt.Errorf("fetch attachment %s: %w", a.SHA256, err)
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	if size != a.Size {
		return blob.Unlike(a.SHA256, fmt.Sprintf("%d bytes, the record says %d", size, a.Size))
	}
	at, err = into.Append(ctx, scope, ref, at, through(r), proved)
	if err == nil && at != ref.Size {
		return fmt.Errorf("fetch attachment %s: it ended after %d of %d bytes: %w", a.SHA256, at, size, io.ErrUnexpectedEOF)
	}
	return err
}

// fetchScope is the scope of the transfers that this side asked for: they are
// checked by their hash, whoever gives the bytes.
const fetchScope = "fetch"
