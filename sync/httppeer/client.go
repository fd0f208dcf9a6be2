package httppeer

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// ClientOptions says how to reach a server. HTTP is made by NewTransport where
// it is nil.
type ClientOptions struct {
	URL    string // https://host, or http:// on loopback; see CheckURL
	Node   record.NodeID
	Key    ed25519.PrivateKey
	Server exchange.Pinned
	HTTP   http.RoundTripper
}

// Client is a peer over HTTP. It signs in by itself, and again when its token
// has expired. It is safe for concurrent use.
type Client struct {
	o     ClientOptions
	http  *http.Client
	codec *codec

	zstd, blocks atomic.Bool // the server takes them

	mu      sync.Mutex
	token   string
	renewAt time.Time
}

var _ exchange.Peer = (*Client)(nil)

// NewClient makes a client; it does not connect yet.
func NewClient(o ClientOptions) (*Client, error) {
	if len(o.Key) != ed25519.PrivateKeySize || len(o.Server.Key) != ed25519.PublicKeySize {
		return nil, errors.New("httppeer: a client needs its own key and the server's pinned key")
	}
	o.URL = strings.TrimRight(o.URL, "/")
	if o.HTTP == nil {
		o.HTTP = NewTransport(TransportOptions{})
	}
	c := &Client{o: o, codec: theCodec()}
	c.http = plainClient(&learning{next: o.HTTP, of: c})
	return c, nil
}

// learning reads in every answer what the server takes: one that was replaced
// by an older one is noticed with its first answer.
type learning struct {
	next http.RoundTripper
	of   *Client
}

func (l *learning) RoundTrip(q *http.Request) (*http.Response, error) {
	resp, err := l.next.RoundTrip(q)
	if err == nil {
		l.of.zstd.Store(takesZstd(resp.Header))
		l.of.blocks.Store(takesBlocks(resp.Header))
	}
	return resp, err
}

// CloseIdleConnections reaches the transport below.
func (l *learning) CloseIdleConnections() {
	if t, ok := l.next.(interface{ CloseIdleConnections() }); ok {
		t.CloseIdleConnections()
	}
}

// plainClient follows no redirects: the protocol has none, captive portals do.
func plainClient(rt http.RoundTripper) *http.Client {
	return &http.Client{Transport: rt, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// Close drops idle connections.
func (c *Client) Close() { c.http.CloseIdleConnections() }

// call is one request of the protocol.
type call struct {
	method, path string
	media        string           // of the body
	body         func() io.Reader // a new reader for every attempt; nil: no body, or one that cannot be had again
	once         io.Reader        // a body that can be sent once only
	size         int64            // of the body
	header       http.Header
	want         string // media type of the answer; "" for none
	origin       record.Origin
}

// do sends a call with an access token; where the token has expired it signs
// in and sends once more. The caller closes the body.
func (c *Client) do(ctx context.Context, q call) (*http.Response, error) {
	for attempt := 0; ; attempt++ {
		token, err := c.signIn(ctx)
		if err != nil {
			return nil, err
		}
		resp, err := send(ctx, c.http, c.o.URL, q, token)
		if problem.Of(err) != problem.Unauthenticated || attempt > 0 {
			return resp, err
		}
		c.forget(token)
		if q.once != nil {
			s, ok := q.once.(io.Seeker)
			if !ok {
				return nil, err
			}
			if _, err := s.Seek(0, io.SeekStart); err != nil {
				return nil, fmt.Errorf("read the attachment again: %w", err)
			}
		}
	}
}

// send sends a call and checks that a server of this protocol answered.
func send(ctx context.Context, hc *http.Client, server string, q call, token string) (*http.Response, error) {
	body := q.once
	if q.body != nil {
		body = q.body()
	}
	if body != nil {
		body = io.NopCloser(body) // the transport must not close what the caller owns
	}
	req, err := http.NewRequestWithContext(ctx, q.method, server+base+q.path, body)
	if err != nil {
		return nil, badURL(server, err)
	}
	for k, v := range q.header {
		req.Header[k] = v
	}
	if body != nil {
		req.Header.Set("Content-Type", q.media)
		req.ContentLength = q.size
		if q.size == 0 {
			req.Body = http.NoBody
		}
		if q.body != nil { // lets the transport take a fresh connection when an idle one turns out dead
			req.GetBody = func() (io.ReadCloser, error) { return io.NopCloser(q.body()), nil }
		}
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := hc.Do(req)
	if err != nil {
		return nil, inWords(ctx, server, err)
	}
	if err := judge(server, resp, q); err != nil {
		return nil, errors.Join(err, drain(resp))
	}
	return resp, nil
}

// judge tells the protocol's answers from errors, and both from what some
// other machine on the way says.
func judge(server string, resp *http.Response, q call) error {
	media, _, err := mime.ParseMediaType(resp.Header.Get("Content-Type"))
	ok := resp.StatusCode >= 200 && resp.StatusCode < 300 && (resp.StatusCode != http.StatusPartialContent || q.header.Get("Range") != "")
	if ok && (q.want == "" && resp.StatusCode == http.StatusNoContent || err == nil && media == q.want) {
		return nil
	}
	if media == mediaProblem && !ok {
		var d document
		if err := json.NewDecoder(io.LimitReader(resp.Body, 64<<10)).Decode(&d); err == nil && d.Code != "" {
			return waiting(resp, d.asError(q.origin))
		}
	}
	return waiting(resp, somebodyElse(server, resp))
}

// drain reads the short rest of an answer, so that the connection can be used
// again, and closes it.
func drain(resp *http.Response) error {
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, 64<<10)) // nobody waits for this rest
	return resp.Body.Close()
}

// ask sends a CBOR question and reads a CBOR answer.
func (c *Client) ask(ctx context.Context, q call, question, answer any) error {
	if err := q.encode(question); err != nil {
		return err
	}
	resp, err := c.do(ctx, q)
	if err != nil {
		return err
	}
	return readAnswer(ctx, c.o.URL, resp, answer)
}

func (q *call) encode(question any) error {
	q.want = mediaCBOR
	if question == nil {
		return nil
	}
	b, err := record.EncodeBody(question)
	if err != nil {
		return err
	}
	q.bytes(mediaCBOR, b)
	return nil
}

// compressed is bytes, compressed where the server takes that and it is worth it.
func (c *Client) compressed(q *call, media string, b []byte) {
	if c.zstd.Load() {
		if z, ok := c.codec.encode(b); ok {
			q.bytes(media, z)
			if q.header == nil {
				q.header = http.Header{}
			}
			q.header.Set("Content-Encoding", encodingZstd)
			return
		}
	}
	q.bytes(media, b)
}

func (q *call) bytes(media string, b []byte) {
	q.media, q.size = media, int64(len(b))
	q.body = func() io.Reader { return bytes.NewReader(b) }
}

func readAnswer(ctx context.Context, server string, resp *http.Response, answer any) error {
	b, err := io.ReadAll(io.LimitReader(resp.Body, 4*maxQuestion))
	if err := errors.Join(err, resp.Body.Close()); err != nil {
		return inWords(ctx, server, err)
	}
	if err := record.DecodeBody(b, answer); err != nil {
		return &problem.Error{Code: problem.Unavailable, What: "The server's answer cannot be read.",
			Fix: "It is asked again; if this stays, update the older of agent and server.", Err: err}
	}
	return nil
}

// signIn gives a token that is still good, or gets one.
func (c *Client) signIn(ctx context.Context) (string, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.token != "" && time.Now().Before(c.renewAt) {
		return c.token, nil
	}
	var ch challengeAnswer
	if err := ask(ctx, c.http, c.o.URL, "/challenge", challengeRequest{Node: c.o.Node}, &ch); err != nil {
		return "", err
	}
	q := sessionRequest{Node: c.o.Node, Nonce: ch.Nonce,
		Signature: exchange.SignSession(c.o.Key, c.o.Server.ID, c.o.Node, ch.Nonce)}
	var a sessionAnswer
	if err := ask(ctx, c.http, c.o.URL, "/session", q, &a); err != nil {
		return "", err
	}
	c.token = a.Token
	c.renewAt = time.Now().Add(time.Duration(a.ExpiresS) * time.Second * 5 / 6)
	return c.token, nil
}

func (c *Client) forget(token string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.token == token {
		c.token = ""
	}
}

// ask sends a question without a token.
func ask(ctx context.Context, hc *http.Client, server, path string, question, answer any) error {
	q := call{method: http.MethodPost, path: path}
	if err := q.encode(question); err != nil {
		return err
	}
	resp, err := send(ctx, hc, server, q, "")
	if err != nil {
		return err
	}
	return readAnswer(ctx, server, resp, answer)
}

// Enrol sends an enrolment request and gives the answer, still to be opened.
func Enrol(ctx context.Context, rt http.RoundTripper, server string, q exchange.Signed) (exchange.Signed, error) {
	var a exchange.Signed
	err := ask(ctx, plainClient(rt), strings.TrimRight(server, "/"), "/enroll", q, &a)
	return a, err
}

// CheckURL accepts https, and http only where nobody can listen: on loopback.
// plain allows http elsewhere, behind a proxy that the operator named.
func CheckURL(server string, plain bool) error {
	u, err := url.Parse(server)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return badURL(server, err)
	}
	if u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return badURL(server, errors.New("only scheme, host, port and path are used"))
	}
	if u.Scheme == "http" && !plain && !isLoopback(u.Hostname()) {
		return problem.New(problem.Invalid,
			"The server's address begins with http://, so that anybody on the network could read along.",
			"Use https://; plain http is for the same computer only.")
	}
	return nil
}

func badURL(server string, err error) error {
	return &problem.Error{Code: problem.Invalid, What: "The server's address cannot be used.", Where: server,
		Fix: "Write it like https://thudbook.example or https://192.0.2.10:8443.", Err: err}
}
