package httppeer_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

func TestSessionOverHTTP(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 30, 50_000)
	plan := exchangetest.Shot(t, r.server, r.lab, "plan", []byte("a drawing"))
	c := r.client(t, r.http.URL)
	o := exchangetest.Options(r.agent, r.service)
	o.Fetch = func(*record.Record, record.Attachment) bool { return true }
	res, err := exchange.Run(t.Context(), o, c)
	if err != nil {
		t.Fatal(err)
	}
	if res.RecordsSent != 31 || res.BlobsSent != 30 || res.RecordsReceived != 2 {
		t.Errorf("sent %d, %d attachments, received %d, want 31, 30, 2", res.RecordsSent, res.BlobsSent, res.RecordsReceived)
	}
	exchangetest.Same(t, r.agent, r.server, true, r.lab)
	if err := exchange.FetchBlob(t.Context(), c, r.agent.Blobs, r.lab, plan.Attachments[0]); err != nil {
		t.Errorf("fetch the drawing: %v", err)
	}
}

// Cut the connection after any number of bytes, in either direction: the next
// session goes on and the end is the same (invariant S3).
func TestSessionResumesAfterACutAnywhere(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	p := newCutter(t, r.http.Listener.Addr().String())
	step := 211
	if testing.Short() {
		step = 1499
	}
	for _, way := range []int{toServer, toClient} {
		whole := false
		for n := 1; n < 60_000 && !whole; n += step {
			exchangetest.Shots(t, r.agent, r.lab, 1, 2000)
			exchangetest.Shot(t, r.server, r.lab, "from the server", nil)
			p.after(way, n)
			c := r.client(t, p.url())
			_, err := r.run(t.Context(), c)
			whole = err == nil
			if err != nil && problem.Of(err) != problem.Unavailable {
				t.Fatalf("cut after %d bytes in direction %d: %v, want a problem with code unavailable", n, way, err)
			}
			p.mend()
			c.Close()
			if _, err := r.run(t.Context(), r.client(t, p.url())); err != nil {
				t.Fatalf("after a cut at %d bytes in direction %d: %v", n, way, err)
			}
		}
		if !whole {
			t.Errorf("direction %d: the session was never longer than the cut", way)
		}
	}
	exchangetest.Same(t, r.agent, r.server, true, r.lab)
}

// A machine on the way shortens or alters bodies without breaking the
// connection: nothing of them is used.
func TestAlteredBodiesAreRefused(t *testing.T) {
	t.Parallel()
	alter := map[string]func([]byte) []byte{
		"cut":     func(b []byte) []byte { return b[:len(b)*2/3] },
		"empty":   func(b []byte) []byte { return nil },
		"flipped": func(b []byte) []byte { b[len(b)/2] ^= 1; return b },
		"longer":  func(b []byte) []byte { return append(b, 0) },
	}
	for name, f := range alter {
		r := newRig(t)
		exchangetest.Shots(t, r.agent, r.lab, 3, 100)
		exchangetest.Shots(t, r.server, r.lab, 3, 100)
		change := func(b []byte) (io.ReadCloser, int64) {
			b = f(b)
			return io.NopCloser(bytes.NewReader(b)), int64(len(b))
		}
		on := true
		box := &middlebox{next: httppeer.NewTransport(httppeer.TransportOptions{}),
			request: func(q *http.Request) {
				if on && strings.Contains(q.URL.Path, "/push/") {
					q.Body, q.ContentLength = change(mustRead(t, q.Body))
				}
			}}
		c, err := httppeer.NewClient(httppeer.ClientOptions{URL: r.http.URL, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service), HTTP: box})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := r.run(t.Context(), c); problem.Of(err) != problem.Unavailable {
			t.Errorf("push %s: %v, want a problem with code unavailable", name, err)
		}
		if h, err := r.server.Head(t.Context(), r.agent.Own(r.lab)); err != nil || h.Seq != 0 {
			t.Errorf("push %s: the server took %d records, %v", name, h.Seq, err)
		}
		box.request = nil
		box.answer = func(a *http.Response) {
			if on && strings.HasSuffix(a.Request.URL.Path, "/pull") {
				a.Body, a.ContentLength = change(mustRead(t, a.Body))
				a.Header.Set("Content-Length", strconv.FormatInt(a.ContentLength, 10))
			}
		}
		if _, err := r.run(t.Context(), c); problem.Of(err) != problem.Unavailable {
			t.Errorf("pull %s: %v, want a problem with code unavailable", name, err)
		}
		if h, err := r.agent.Head(t.Context(), r.server.Own(r.lab)); err != nil || h.Seq != 0 {
			t.Errorf("pull %s: the agent took %d records, %v", name, h.Seq, err)
		}
		on = false
		if _, err := r.run(t.Context(), c); err != nil {
			t.Errorf("after %s: %v", name, err)
		}
		exchangetest.Same(t, r.agent, r.server, false, r.lab)
	}
}

// oldAgent speaks the first version of the protocol only.
type oldAgent struct{ exchange.Peer }

func (o oldAgent) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	q.Protocols = []uint{1}
	return o.Peer.Hello(ctx, q)
}

// Bytes of an attachment that were altered on the way are refused; the next
// session brings the right ones. Parts have a check sum in every block; in the
// first version of the protocol the hash of the whole tells.
func TestAlteredAttachmentIsRefused(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		method     string
		old        bool
		code       problem.Code
		quarantine bool
	}{
		"in parts": {http.MethodPatch, false, problem.Unavailable, false},
		"in one":   {http.MethodPut, true, problem.Damaged, true},
	} {
		r := newRig(t)
		exchangetest.Shots(t, r.agent, r.lab, 2, 5000)
		on := true
		box := &middlebox{next: httppeer.NewTransport(httppeer.TransportOptions{}), request: func(q *http.Request) {
			if on && q.Method == c.method {
				b := mustRead(t, q.Body)
				b[len(b)/2] ^= 1
				q.Body = io.NopCloser(bytes.NewReader(b))
			}
		}}
		client, err := httppeer.NewClient(httppeer.ClientOptions{URL: r.http.URL, Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service), HTTP: box})
		if err != nil {
			t.Fatal(err)
		}
		peer := exchange.Peer(client)
		if c.old {
			peer = oldAgent{client}
		}
		if _, err := r.run(t.Context(), peer); problem.Of(err) != c.code {
			t.Errorf("%s, altered: %v, want a problem with code %s", name, err, c.code)
		}
		on = false
		if _, err := r.run(t.Context(), peer); err != nil {
			t.Fatal(err)
		}
		exchangetest.Same(t, r.agent, r.server, true, r.lab)
		if q, err := r.server.Blobs.Quarantined(); err != nil || len(q) > 0 != c.quarantine {
			t.Errorf("%s: %d files in quarantine, %v, want some: %v", name, len(q), err, c.quarantine)
		}
	}
}

// The client gives back the same kinds of error as the service: a HeadError
// survives the wire.
func TestHeadErrorCrossesTheWire(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 4, 10)
	c := r.client(t, r.http.URL)
	direct := r.service.For(exchangetest.Principal(r.agent, r.lab))
	b := batch(t, r, 2)
	_, want := direct.Push(t.Context(), b)
	_, got := c.Push(t.Context(), b)
	if got == nil || want == nil || problem.Of(got) != problem.Of(want) {
		t.Fatalf("over HTTP %v, directly %v", got, want)
	}
	gotHead, ok1 := headError(got)
	wantHead, ok2 := headError(want)
	if !ok1 || !ok2 || gotHead.Reason != wantHead.Reason || gotHead.Head != wantHead.Head || gotHead.Origin != wantHead.Origin {
		t.Errorf("over HTTP %+v, directly %+v", gotHead, wantHead)
	}
}

// A blob can be read in part, so that a later version may resume.
func TestGetBlobInParts(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	text := []byte("t,ax\n0.000,0.1\n0.001,0.2\n")
	shot := exchangetest.Shot(t, r.agent, r.lab, "parts", text)
	c := r.client(t, r.http.URL)
	if _, err := r.run(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	h := shot.Attachments[0].SHA256
	body, size, err := c.GetBlob(t.Context(), r.lab, h, 0)
	if err != nil || size != int64(len(text)) {
		t.Fatalf("size %d, %v", size, err)
	}
	whole := mustRead(t, body)
	if err := body.Close(); err != nil || !bytes.Equal(whole, text) {
		t.Errorf("got %q, %v", whole, err)
	}
	q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, r.http.URL+"/sync/v1/labs/"+r.lab.String()+"/blobs/"+h.String(), nil)
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Authorization", "Bearer "+token(t, r))
	q.Header.Set("Range", "bytes=5-9")
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	part := mustRead(t, resp.Body)
	if err := resp.Body.Close(); err != nil {
		t.Error(err)
	}
	if resp.StatusCode != http.StatusPartialContent || !bytes.Equal(part, text[5:10]) || resp.Header.Get("ETag") != `"`+h.String()+`"` {
		t.Errorf("range: status %d, %q, ETag %s", resp.StatusCode, part, resp.Header.Get("ETag"))
	}
}

// Two sessions of the same agent at once, while it records: nothing doubles.
func TestSessionsAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 20, 1000)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	errs := make(chan error, 4)
	for range cap(errs) {
		c := r.client(t, r.http.URL)
		go func() { _, err := r.run(ctx, c); errs <- err }()
	}
	exchangetest.Shots(t, r.agent, r.lab, 5, 1000)
	for range cap(errs) {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if _, err := r.run(t.Context(), r.client(t, r.http.URL)); err != nil {
		t.Fatal(err)
	}
	exchangetest.Same(t, r.agent, r.server, true, r.lab)
	if forks, err := r.server.Forks(t.Context()); err != nil || len(forks) != 0 {
		t.Errorf("%d forks, %v", len(forks), err)
	}
}
