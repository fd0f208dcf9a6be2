package httppeer_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"hash/crc32"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/httppeer/proxytest"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// partMedia are the media types of a part; in a body of the second the end sums
// up the heads of the frames alone.
var partMedia = []string{"application/vnd.thudbook.part", "application/vnd.thudbook.blocks"}

// part encodes one frame and no end, as the protocol's text says it.
func part(b []byte) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(b)))
	out = binary.BigEndian.AppendUint32(out, crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)))
	return append(out, b...)
}

// whole is a part of a media type with its end.
func whole(media string, b []byte) []byte {
	out := part(b)
	sum := sha256.Sum256(out)
	if media == partMedia[1] {
		sum = sha256.Sum256(out[:8])
	}
	return append(append(out, make([]byte, 8)...), sum[:]...)
}

type endless struct{ block []byte }

func (e *endless) Read(p []byte) (int, error) { return copy(p, e.block), nil }

func send(t *testing.T, r *rig, method, path, token string, header map[string]string, body io.Reader) (int, string) {
	t.Helper()
	q, err := http.NewRequestWithContext(t.Context(), method, r.http.URL+path, body)
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Authorization", "Bearer "+token)
	for k, v := range header {
		q.Header.Set(k, v)
	}
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		return 0, err.Error() // cut by the server in the middle of the body
	}
	defer func() { _ = resp.Body.Close() }()
	answer, _ := io.ReadAll(io.LimitReader(resp.Body, 1<<16))
	return resp.StatusCode, string(answer)
}

// A node with a right to one lab, and bad intent: everything is refused with a
// reason, nothing of it is stored, and the others go on.
func TestHostileParts(t *testing.T) {
	t.Parallel()
	for _, media := range partMedia {
		t.Run(media, func(t *testing.T) { testHostileParts(t, media) })
	}
}

func testHostileParts(t *testing.T, media string) {
	r := newRig(t)
	other := exchangetest.Lab(t)
	victim := ledgertest.Open(t)
	r.registry.Add(exchangetest.Principal(victim, other))
	secret := exchangetest.Shot(t, victim, other, "secret", bytes.Repeat([]byte("secret "), 1000))
	tok := token(t, r)
	h := secret.Attachments[0].SHA256
	bomb := bombOf(t, 64<<10)
	path := func(lab record.LabID) string { return "/sync/v1/labs/" + lab.String() + "/uploads/" + h.String() }
	at := func(offset, size string, more ...string) map[string]string {
		m := map[string]string{"Content-Type": media, "Upload-Offset": offset, "Upload-Length": size}
		for i := 0; i+1 < len(more); i += 2 {
			m[more[i]] = more[i+1]
		}
		return m
	}
	good := strconv.FormatInt(secret.Attachments[0].Size, 10)
	for name, c := range map[string]struct {
		path   string
		header map[string]string
		body   io.Reader
		status []int
	}{
		"into another lab":        {path(other), at("0", good), bytes.NewReader(part([]byte("x"))), []int{403}},
		"where another lab is":    {path(r.lab), at("100", good), bytes.NewReader(part([]byte("x"))), []int{409}},
		"without a place":         {path(r.lab), map[string]string{"Content-Type": media}, bytes.NewReader(part([]byte("x"))), []int{400}},
		"before the beginning":    {path(r.lab), at("-1", good), bytes.NewReader(part([]byte("x"))), []int{400}},
		"behind the end":          {path(r.lab), at("9999999", good), bytes.NewReader(part([]byte("x"))), []int{400}},
		"of negative size":        {path(r.lab), at("0", "-5"), bytes.NewReader(part([]byte("x"))), []int{413}},
		"of any size":             {path(r.lab), at("0", "99999999999999"), bytes.NewReader(part([]byte("x"))), []int{413}},
		"of another media type":   {path(r.lab), at("0", good, "Content-Type", "text/html"), strings.NewReader("x"), []int{400}},
		"in an unknown encoding":  {path(r.lab), at("0", good, "Content-Encoding", "gzip"), strings.NewReader("x"), []int{400}},
		"no frames":               {path(r.lab), at("0", good), strings.NewReader(strings.Repeat("hello", 100)), []int{503}},
		"no zstd":                 {path(r.lab), at("0", good, "Content-Encoding", "zstd"), strings.NewReader("hello"), []int{503}},
		"a bomb":                  {path(r.lab), at("0", "4000000000", "Content-Encoding", "zstd"), bytes.NewReader(bomb.Bytes()), []int{400, 413}},
		"an endless body":         {path(r.lab), at("0", "4000000000"), &endless{part(make([]byte, 64<<10))}, []int{0, 413, 503}},
		"more than was announced": {path(r.lab), at("0", "3"), bytes.NewReader(whole(media, []byte("four"))), []int{422}},
		"a name that leads out":   {"/sync/v1/labs/" + r.lab.String() + "/uploads/..%2f..%2fx", at("0", good), strings.NewReader("x"), []int{400, 404}},
		"bytes that are guessed":  {path(r.lab), at("0", good), bytes.NewReader(whole(media, make([]byte, secret.Attachments[0].Size))), []int{422}},
	} {
		status, answer := send(t, r, http.MethodPatch, c.path, tok, c.header, c.body)
		ok := false
		for _, s := range c.status {
			ok = ok || s == status
		}
		if !ok || status != 0 && !strings.Contains(answer, `"code"`) {
			t.Errorf("%s: status %d, %s, want one of %v and a problem", name, status, answer, c.status)
		}
		if there, _, err := r.server.Blobs.Has(t.Context(), h); err != nil || there {
			t.Fatalf("%s: the bytes count as there, %v", name, err)
		}
	}
	o := exchangetest.Options(victim, r.service)
	c, err := httppeer.NewClient(httppeer.ClientOptions{URL: r.http.URL, Node: victim.Node.ID, Key: victim.Node.PrivateKey, Server: exchangetest.Pin(r.service)})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := exchange.Run(t.Context(), o, c); err != nil {
		t.Errorf("the honest node: %v", err)
	}
	exchangetest.Same(t, victim, r.server, true, other)
	if q, err := r.server.Blobs.Quarantined(); err != nil || len(q) == 0 {
		t.Errorf("what was wrong is not in quarantine: %v, %v", q, err)
	}
}

// bombOf gives 256 MiB of right frames of a size in bytes, compressed.
func bombOf(t *testing.T, size int) *bytes.Buffer {
	t.Helper()
	bomb := &bytes.Buffer{}
	w, err := zstd.NewWriter(bomb)
	if err != nil {
		t.Fatal(err)
	}
	frame := part(make([]byte, size))
	for range 256 << 20 / size {
		if _, err := w.Write(frame); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return bomb
}

// Records as bombs, with a tail, and for ever.
func TestHostileBatches(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	exchangetest.Shots(t, r.agent, r.lab, 3, 10)
	tok := token(t, r)
	path := "/sync/v1/push/" + r.agent.Own(r.lab).String()
	bomb := bombOf(t, 16<<10)
	media := "application/vnd.thudbook.records"
	for name, c := range map[string]struct {
		encoding string
		body     io.Reader
		status   []int
	}{
		"a bomb":           {"zstd", bomb, []int{400, 413}},
		"an endless body":  {"", &endless{part(make([]byte, 16<<10))}, []int{0, 413, 503}},
		"unknown encoding": {"br", strings.NewReader("x"), []int{400}},
	} {
		status, answer := send(t, r, http.MethodPost, path, tok, map[string]string{"Content-Type": media, "Content-Encoding": c.encoding}, c.body)
		ok := false
		for _, s := range c.status {
			ok = ok || s == status
		}
		if !ok {
			t.Errorf("%s: status %d, %s, want one of %v", name, status, answer, c.status)
		}
	}
	if h, err := r.server.Head(t.Context(), r.agent.Own(r.lab)); err != nil || h.Seq != 0 {
		t.Errorf("the server took %d records, %v", h.Seq, err)
	}
	if _, err := r.run(t.Context(), r.client(t, r.http.URL)); err != nil {
		t.Errorf("the honest session: %v", err)
	}
}

// An older server does not say that it takes compressed bodies, an older agent
// does not ask for parts: both still work, and send what they used to.
func TestOlderPeersStillWork(t *testing.T) {
	t.Parallel()
	size := map[string]int64{}
	for name, c := range map[string]struct {
		strip bool
		old   bool
	}{
		"both new": {}, "older server": {strip: true, old: true}, "proxy that drops the header": {strip: true}, "older agent": {old: true},
	} {
		r := newRig(t)
		exchangetest.Shots(t, r.agent, r.lab, 20, 20_000)
		for i := range 20 {
			exchangetest.Shot(t, r.server, r.lab, strconv.Itoa(i), nil)
		}
		p := proxytest.Start(t, r.http.Listener.Addr().String(), proxytest.Faults{})
		box := &middlebox{next: httppeer.NewTransport(httppeer.TransportOptions{})}
		var blocks atomic.Int64
		box.request = func(q *http.Request) {
			if q.Header.Get("Content-Type") == partMedia[1] {
				blocks.Add(1)
			}
		}
		if c.strip {
			box.answer = func(a *http.Response) { a.Header.Del("Accept-Encoding"); a.Header.Del("Accept-Patch") }
			box.request = func(q *http.Request) {
				q.Header.Del("Accept-Encoding")
				if q.Header.Get("Content-Encoding") != "" || q.Header.Get("Content-Type") == partMedia[1] {
					t.Errorf("%s: a compressed body or blocks to %s", name, q.URL.Path)
				}
			}
		}
		client, err := httppeer.NewClient(httppeer.ClientOptions{URL: p.URL(), Node: r.agent.Node.ID, Key: r.agent.Node.PrivateKey, Server: exchangetest.Pin(r.service), HTTP: box})
		if err != nil {
			t.Fatal(err)
		}
		peer := exchange.Peer(client)
		if c.old {
			peer = oldAgent{client}
		}
		if _, err := r.run(t.Context(), peer); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		client.Close()
		exchangetest.Same(t, r.agent, r.server, true, r.lab)
		if n := blocks.Load(); name == "both new" && n < 20 {
			t.Errorf("%s: %d parts of 20 went as blocks", name, n)
		}
		size[name], _ = p.Sent(proxytest.ToServer)
	}
	if size["both new"]*4 > size["older server"] {
		t.Errorf("compressed %d bytes, without %d: that is hardly less", size["both new"], size["older server"])
	}
	t.Logf("bytes sent: %v", size)
}

// A node that signs in again and again, and a stranger that tries codes, are
// told to wait; others are not.
func TestTooManyAreToldToWait(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	now := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	var err error
	r.service, err = exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: r.server.Ledger, Blobs: r.server.Blobs, Store: r.server.Store,
		Key: r.server.Node.PrivateKey, Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	r.serve(t, httppeer.NewHandler(r.service, r.registry, httppeer.HandlerOptions{Limits: httppeer.Limits{
		Session: httppeer.Rate{Burst: 3, Every: 10 * time.Second}, Enrol: httppeer.Rate{Burst: 2, Every: time.Minute}}}))
	signIn := func() error {
		c := r.client(t, r.http.URL)
		_, err := c.Receipt(t.Context(), r.agent.Own(r.lab))
		return err
	}
	for range 3 {
		if err := signIn(); err != nil {
			t.Fatal(err)
		}
	}
	if err := signIn(); exchange.WaitOf(err) != 10*time.Second || problem.Of(err) != problem.Unavailable {
		t.Errorf("a fourth session: %v, wait %v, want 10 s", err, exchange.WaitOf(err))
	}
	q, err := exchange.SealEnrol(r.agent.Node.PrivateKey, &exchange.EnrolRequest{Node: r.agent.Node.ID, PublicKey: r.agent.Node.PublicKey(), Secret: make([]byte, 16)})
	if err != nil {
		t.Fatal(err)
	}
	rt := httppeer.NewTransport(httppeer.TransportOptions{})
	for i := range 3 {
		_, err := httppeer.Enrol(t.Context(), rt, r.http.URL, q)
		if wait := exchange.WaitOf(err); err == nil || (wait > 0) != (i == 2) {
			t.Errorf("enrolment %d: %v, wait %v", i+1, err, wait)
		}
	}
	now = now.Add(time.Minute)
	if err := signIn(); err != nil {
		t.Errorf("a minute later: %v", err)
	}
	if _, err := httppeer.Enrol(t.Context(), rt, r.http.URL, q); exchange.WaitOf(err) != 0 {
		t.Errorf("an enrolment a minute later: %v", err)
	}
}

// Whatever stands in front of the server may ask to wait, too.
func TestRetryAfterIsRead(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		status int
		header map[string]string
		want   time.Duration
	}{
		"seconds":            {503, map[string]string{"Retry-After": "17"}, 17 * time.Second},
		"too many":           {429, map[string]string{"Retry-After": "3"}, 3 * time.Second},
		"a date":             {503, map[string]string{"Retry-After": "Tue, 06 May 2031 07:09:09 GMT", "Date": "Tue, 06 May 2031 07:08:09 GMT"}, time.Minute},
		"for ever":           {503, map[string]string{"Retry-After": "999999999"}, time.Hour},
		"the past":           {503, map[string]string{"Retry-After": "Tue, 06 May 2030 07:09:09 GMT", "Date": "Tue, 06 May 2031 07:08:09 GMT"}, 0},
		"nonsense":           {503, map[string]string{"Retry-After": "soon"}, 0},
		"with another fault": {500, map[string]string{"Retry-After": "17"}, 0},
	} {
		r := newRig(t)
		r.serveAny(t, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			for k, v := range c.header {
				w.Header().Set(k, v)
			}
			w.WriteHeader(c.status)
		}))
		_, err := r.run(t.Context(), r.client(t, r.http.URL))
		if got := exchange.WaitOf(err); err == nil || got != c.want {
			t.Errorf("%s: wait %v, %v, want %v", name, got, err, c.want)
		}
	}
}
