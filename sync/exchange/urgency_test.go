package exchange_test

import (
	"bytes"
	"context"
	"io"
	"slices"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// spy writes down what is sent, and may do something in between.
type spy struct {
	exchange.Peer
	names map[record.Hash]string
	log   []string
	after func(what string)
}

func (s *spy) note(what string) {
	s.log = append(s.log, what)
	if s.after != nil {
		s.after(what)
	}
}

func (s *spy) Push(ctx context.Context, b exchange.Batch) (receipt.Receipt, error) {
	r, err := s.Peer.Push(ctx, b)
	s.note("records")
	return r, err
}

func (s *spy) PutPart(ctx context.Context, lab record.LabID, b exchange.BlobRef, offset int64, r io.Reader) (int64, error) {
	at, err := s.Peer.PutPart(ctx, lab, b, offset, r)
	if err == nil {
		s.note(s.names[b.SHA256])
	}
	return at, err
}

// attach appends a fact with an attachment of a kind.
func (w *world) attach(t *testing.T, s *spy, name, role, media string, content []byte) record.Record {
	t.Helper()
	ref, err := w.agent.Blobs.Put(t.Context(), bytes.NewReader(content), 0)
	if err != nil {
		t.Fatal(err)
	}
	s.names[ref.SHA256] = name
	recs, err := w.agent.Append(t.Context(), w.lab, ledger.Draft{Kind: exchangetest.Kind, Schema: 1, UID: exchangetest.Lab(t),
		Attachments: []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: role, Media: media, Name: name}}})
	if err != nil {
		t.Fatal(err)
	}
	return recs[0]
}

// fill gives different bytes of a size.
func fill(size int, b byte) []byte { return bytes.Repeat([]byte{b, 1, 2, 3}, size/4) }

func TestSourcesBeforePhotosBeforeVideo(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := &spy{Peer: w.peer(), names: map[record.Hash]string{}}
	w.attach(t, s, "video 1", "video", "video/mp4", fill(5000, 1))
	w.attach(t, s, "photo 1", "photo", "image/jpeg", fill(5000, 2))
	w.attach(t, s, "source 1", "source", "text/csv", fill(5000, 3))
	w.attach(t, s, "video 2", "source", "video/webm", fill(5000, 4))
	w.attach(t, s, "photo 2", "certificate", "image/png", fill(5000, 5))
	w.attach(t, s, "source 2", "map", "application/toml", fill(5000, 6))
	o := exchangetest.Options(w.agent, w.service)
	o.Streams = 1
	if _, err := exchange.Run(t.Context(), o, s); err != nil {
		t.Fatal(err)
	}
	want := []string{"records", "source 1", "source 2", "photo 1", "photo 2", "video 1", "video 2"}
	if !slices.Equal(s.log, want) {
		t.Errorf("sent in the order %v, want %v", s.log, want)
	}
	if r := w.stored(t); r.CompleteThrough != r.Seq {
		t.Errorf("complete through %d of %d", r.CompleteThrough, r.Seq)
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

// A shot that is fired while a film is under way does not wait for the film,
// neither do its record nor its source.
func TestANewShotOvertakesAFilm(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := &spy{Peer: w.peer(), names: map[record.Hash]string{}}
	film := w.attach(t, s, "film", "video", "video/mp4", fill(6<<20, 9))
	s.after = func(what string) {
		if what == "film" && len(s.log) == 2 {
			w.attach(t, s, "shot", "source", "text/csv", fill(20_000, 8))
		}
	}
	if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), s); err != nil {
		t.Fatal(err)
	}
	shot, last := slices.Index(s.log, "shot"), len(s.log)-1
	if len(s.log) < 6 || s.log[2] != "records" || shot != 3 || s.log[last] != "film" {
		t.Errorf("sent in the order %v", s.log)
	}
	if err := w.server.Blobs.Verify(t.Context(), film.Attachments[0].SHA256); err != nil {
		t.Error(err)
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

// A session that may run for a moment only stops between two parts and says
// that there is more.
func TestSliceEndsBetweenParts(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	s := &spy{Peer: w.peer(), names: map[record.Hash]string{}}
	w.attach(t, s, "film", "video", "video/mp4", fill(5<<20, 7))
	o := exchangetest.Options(w.agent, w.service)
	o.Batch = &exchange.BatchSize{}
	clock := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	o.Now = func() time.Time { clock = clock.Add(time.Second); return clock }
	o.Slice = 3 * time.Second
	sessions := 0
	for {
		sessions++
		res, err := exchange.Run(t.Context(), o, s)
		if err != nil {
			t.Fatal(err)
		}
		if !res.More {
			break
		}
		if sessions > 50 {
			t.Fatal("there is always more")
		}
	}
	if sessions < 2 {
		t.Errorf("%d session, want several", sessions)
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

// A server whose disk is nearly full refuses what is too large, in words, and
// takes the rest; when there is space again all of it comes.
func TestNoSpaceStopsOnlyWhatIsTooLarge(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	free := int64(53 << 20) // 51 of them have to stay
	var err error
	w.service, err = exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: w.server.Ledger, Blobs: w.server.Blobs, Store: w.server.Store,
		Key: w.server.Node.PrivateKey, Free: func() (int64, int64, error) { return free, 1 << 30, nil }})
	if err != nil {
		t.Fatal(err)
	}
	s := &spy{Peer: w.peer(), names: map[record.Hash]string{}}
	w.attach(t, s, "film", "video", "video/mp4", fill(4<<20, 1))
	w.attach(t, s, "clip", "video", "video/mp4", fill(1<<20, 2))
	w.attach(t, s, "source", "source", "text/csv", fill(10_000, 3))
	res, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), s)
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Notices) != 1 || problem.Of(res.Notices[0].Err) != problem.NoSpace {
		t.Fatalf("notices %v, want one about space", res.Notices)
	}
	if res.BlobsSent != 2 || slices.Contains(s.log, "film") {
		t.Errorf("%d sent, %v, want the clip and the source", res.BlobsSent, s.log)
	}
	free = 5 << 20 // next to nothing: records are refused too
	w.attach(t, s, "late", "source", "text/csv", fill(10_000, 4))
	if _, err := exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), s); problem.Of(err) != problem.NoSpace {
		t.Errorf("records on a full disk: %v", err)
	}
	free = 10 << 30
	if res, err = exchange.Run(t.Context(), exchangetest.Options(w.agent, w.service), s); err != nil || len(res.Notices) != 0 {
		t.Fatalf("with space again: %v, %v", res.Notices, err)
	}
	if r := w.stored(t); r.CompleteThrough != r.Seq {
		t.Errorf("complete through %d of %d", r.CompleteThrough, r.Seq)
	}
	exchangetest.Same(t, w.agent, w.server, true, w.lab)
}

// The right to bytes cannot be had without showing all of them, also where
// another lab's transfer of the same bytes is half way.
func TestTransfersOfLabsAreApart(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	content := fill(100_000, 5)
	ref := exchange.BlobRef{SHA256: exchangetest.Sum(content), Size: int64(len(content))}
	other := exchangetest.Lab(t)
	mine, theirs := w.peer(), w.service.For(exchangetest.Principal(w.server, other))
	ctx := t.Context()
	if at, err := mine.PutPart(ctx, w.lab, ref, 0, bytes.NewReader(content[:60_000])); at != 60_000 || err != nil {
		t.Fatalf("first part: %d, %v", at, err)
	}
	missing, err := theirs.HaveBlobs(ctx, other, []exchange.BlobRef{ref})
	if err != nil || len(missing) != 1 || missing[0].Offset != 0 {
		t.Errorf("another lab sees %v, %v", missing, err)
	}
	if at, err := theirs.PutPart(ctx, other, ref, 60_000, bytes.NewReader(content[60_000:])); problem.Of(err) != problem.Conflict || at != 0 {
		t.Errorf("another lab goes on with it: %d, %v", at, err)
	}
	if at, err := mine.PutPart(ctx, w.lab, ref, 60_000, bytes.NewReader(content[60_000:])); at != ref.Size || err != nil {
		t.Errorf("last part: %d, %v", at, err)
	}
	if _, _, err := theirs.GetBlob(ctx, other, ref.SHA256, 0); problem.Of(err) != problem.NotFound {
		t.Errorf("another lab reads it: %v", err)
	}
	r, size, err := mine.GetBlob(ctx, w.lab, ref.SHA256, 90_000)
	if err != nil || size != ref.Size {
		t.Fatalf("read from the middle: %d, %v", size, err)
	}
	got, err := io.ReadAll(r)
	if err != nil || !bytes.Equal(got, content[90_000:]) {
		t.Errorf("read %d bytes, %v", len(got), err)
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
}
