package httppeer

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Registry knows the enrolled nodes.
type Registry interface {
	// Principal gives a node's key and present rights. Its error carries
	// Unauthenticated for a node that is not known, Forbidden for one that was
	// withdrawn.
	Principal(ctx context.Context, node record.NodeID) (exchange.Principal, error)
	// Enrol admits a node; a repetition of the same request gives an equal answer.
	Enrol(ctx context.Context, q *exchange.EnrolRequest) (*exchange.EnrolAnswer, error)
}

// Handler serves the protocol. It is an http.Handler for everything under
// /sync/v1/.
type Handler struct {
	service  *exchange.Service
	registry Registry
	log      *slog.Logger
	tokens   *tokens
	mux      *http.ServeMux
	progress time.Duration
	codec    *codec

	enrolAddress, enrolAll, challenges, sessions *meters
	pushes, parts                                *exchange.Turns
}

// HandlerOptions may all be zero. Progress is how long a client may be silent
// within a body; 0: 30 s. Without Limits there are none.
type HandlerOptions struct {
	Log      *slog.Logger
	Progress time.Duration
	Limits   Limits
}

// NewHandler makes a handler.
func NewHandler(s *exchange.Service, r Registry, o HandlerOptions) *Handler {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Progress <= 0 {
		o.Progress = 30 * time.Second
	}
	h := &Handler{service: s, registry: r, log: o.Log, tokens: newTokens(s.Now), mux: http.NewServeMux(), progress: o.Progress, codec: theCodec(),
		enrolAddress: newMeters(o.Limits.EnrolAddress, s.Now), enrolAll: newMeters(o.Limits.Enrol, s.Now),
		challenges: newMeters(o.Limits.Challenge, s.Now), sessions: newMeters(o.Limits.Session, s.Now),
		pushes: exchange.NewTurns(workAtOnce, workOfLab, workQueue), parts: exchange.NewTurns(workAtOnce, workOfLab, workQueue)}
	for _, rt := range h.routes() {
		h.mux.HandleFunc(rt.pattern, h.wrap(rt.serve))
	}
	h.mux.HandleFunc("/", h.wrap(func(http.ResponseWriter, *http.Request) error {
		return problem.New(problem.NotFound, "There is no such call.", "Update the older of agent and server.")
	}))
	return h
}

// ServeHTTP answers one request.
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) { h.mux.ServeHTTP(w, r) }

type serve func(w http.ResponseWriter, r *http.Request) error

type route struct {
	pattern string
	open    bool // needs no access token
	serve   serve
}

func (h *Handler) routes() []route {
	return []route{
		{"POST " + base + "/enroll", true, h.enrol},
		{"POST " + base + "/challenge", true, h.challenge},
		{"POST " + base + "/session", true, h.session},
		{"POST " + base + "/hello", false, h.signedIn(h.hello)},
		{"POST " + base + "/push/{node}/{lab}/{epoch}", false, h.signedIn(h.push)},
		{"GET " + base + "/receipts/{node}/{lab}/{epoch}", false, h.signedIn(h.receipt)},
		{"POST " + base + "/pull", false, h.signedIn(h.pull)},
		{"POST " + base + "/labs/{lab}/blobs/have", false, h.signedIn(h.haveBlobs)},
		{"PUT " + base + "/labs/{lab}/blobs/{sha256}", false, h.signedIn(h.putBlob)},
		{"GET " + base + "/labs/{lab}/blobs/{sha256}", false, h.signedIn(h.getBlob)},
		{"PATCH " + base + "/labs/{lab}/uploads/{sha256}", false, h.signedIn(h.putPart)},
	}
}

// wrap bounds silence in both directions and turns errors into problems.
func (h *Handler) wrap(next serve) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		rc := http.NewResponseController(w)
		p := &progressBody{ReadCloser: r.Body, rc: rc, d: h.progress}
		w.Header().Set("Accept-Encoding", encodingZstd)
		w.Header().Set("Accept-Patch", mediaPart+", "+mediaBlocks)
		r.Body = p
		out := &progressWriter{ResponseWriter: w, rc: rc, d: h.progress}
		if err := next(out, r); err != nil {
			if out.began {
				h.log.Warn("failed after the answer began", "path", r.URL.Path, "error", err)
				panic(http.ErrAbortHandler) // cut the connection: a cut answer must not look whole
			}
			writeProblem(out, r, h.log, err)
		}
	}
}

// signedIn gives the peer that the access token's node may speak to. Rights
// are looked up anew for every request, so a withdrawal holds at once.
func (h *Handler) signedIn(next func(http.ResponseWriter, *http.Request, caller) error) serve {
	return func(w http.ResponseWriter, r *http.Request) error {
		token, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		node, known := h.tokens.node(token)
		if !ok || !known {
			return problem.New(problem.Unauthenticated, "The session has ended or never began.", "The agent signs in again by itself.")
		}
		p, err := h.registry.Principal(r.Context(), node)
		if err != nil {
			if problem.Of(err) == problem.Forbidden { // withdrawn with a session open
				h.service.KeyRefused(r.Context(), node, true)
			}
			return err
		}
		c := caller{Peer: h.service.For(p)}
		if len(p.Labs) > 0 {
			c.lab = p.Labs[0]
		}
		err = next(w, r, c)
		h.service.Refused(r.Context(), node, err)
		return err
	}
}

// caller is a node that proved who it is.
type caller struct {
	exchange.Peer
	lab record.LabID // with whom it shares its turns
}

func (h *Handler) hello(w http.ResponseWriter, r *http.Request, p caller) error {
	var q exchange.HelloRequest
	if err := readCBOR(r, maxQuestion, &q); err != nil {
		return err
	}
	a, err := p.Hello(r.Context(), q)
	if err != nil {
		return err
	}
	return writeCBOR(w, a)
}

func (h *Handler) push(w http.ResponseWriter, r *http.Request, p caller) error {
	o, err := originOf(r)
	if err != nil {
		return err
	}
	if err := wantMedia(r, mediaRecords); err != nil {
		return err
	}
	signature, err := base64.StdEncoding.DecodeString(r.Header.Get(headerSignature))
	if err != nil {
		return problem.New(problem.Invalid, "The signature of the batch cannot be read.", "Update the agent.")
	}
	done, err := turn(r.Context(), h.pushes, p.lab)
	if err != nil {
		return err
	}
	defer done()
	records, err := h.codec.records(r.Body, r.Header.Get("Content-Encoding"), exchange.MaxBatchBytes)
	if err != nil {
		return streamProblem(err)
	}
	a, err := p.Push(r.Context(), exchange.Batch{Origin: o, Records: records, HeadSignature: signature})
	if err != nil {
		return err
	}
	return writeCBOR(w, a)
}

func (h *Handler) receipt(w http.ResponseWriter, r *http.Request, p caller) error {
	o, err := originOf(r)
	if err != nil {
		return err
	}
	a, err := p.Receipt(r.Context(), o)
	if err != nil {
		return err
	}
	return writeCBOR(w, a)
}

func (h *Handler) pull(w http.ResponseWriter, r *http.Request, p caller) error {
	var q exchange.PullRequest
	if err := readCBOR(r, maxQuestion, &q); err != nil {
		return err
	}
	batches, err := p.Pull(r.Context(), q)
	if err != nil {
		return err
	}
	var all [][]byte
	for i := range batches {
		all = append(all, batches[i].Records...)
	}
	body := appendFrames(make([]byte, 0, framesSize(all)), all)
	w.Header().Set("Content-Type", mediaRecords)
	if takesZstd(r.Header) {
		var ok bool
		if body, ok = h.codec.encode(body); ok {
			w.Header().Set("Content-Encoding", encodingZstd)
		}
	}
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	_, err = w.Write(body)
	return err
}

// streamProblem says in words what was wrong with a stream of records.
func streamProblem(err error) error {
	switch {
	case errors.Is(err, ErrBomb):
		return &problem.Error{Code: problem.Invalid, What: "A compressed body grows beyond all measure when it is decoded; nothing of it was used.",
			Fix: "Update the agent; if it is up to date, find out what sent this.", Err: err}
	case errors.Is(err, ErrTooLong):
		return &problem.Error{Code: problem.TooLarge, What: "The batch is larger than is taken at once.", Fix: "Send smaller batches.", Err: err}
	case errors.Is(err, ErrCorrupt), errors.Is(err, ErrTruncated):
		return &problem.Error{Code: problem.Unavailable, What: "Records were cut or altered on their way over the network; none of them was used.",
			Fix: "They are sent again by themselves; if this stays, let the network be checked.", Err: err}
	}
	return err
}

// records reads a stream of records that may be compressed.
func (c *codec) records(r io.Reader, encoding string, limit int) ([][]byte, error) {
	// A record has at least a hundred bytes, so frames add less than a tenth.
	in, done, err := c.decode(r, encoding, int64(limit)+int64(limit)/8+decodedSlack)
	if err != nil {
		return nil, problem.New(problem.Invalid, fmt.Sprintf("A body with %v.", err), "Update the older of agent and server.")
	}
	defer done()
	return readFrames(in, limit)
}

// takesZstd says whether the other side lists zstd.
func takesZstd(h http.Header) bool { return lists(h, "Accept-Encoding", encodingZstd) }

// lists says whether a header that holds a list names something.
func lists(h http.Header, header, what string) bool {
	for v := range strings.SplitSeq(h.Get(header), ",") {
		name, _, _ := strings.Cut(v, ";")
		if strings.TrimSpace(name) == what {
			return true
		}
	}
	return false
}

func originOf(r *http.Request) (record.Origin, error) {
	var o record.Origin
	node, err1 := uuid.Parse(r.PathValue("node"))
	lab, err2 := uuid.Parse(r.PathValue("lab"))
	epoch, err3 := strconv.ParseUint(r.PathValue("epoch"), 10, 32)
	if err := errors.Join(err1, err2, err3); err != nil {
		return o, &problem.Error{Code: problem.Invalid, What: "The name of the chain cannot be read.", Where: r.URL.Path, Fix: "It is node/lab/epoch.", Err: err}
	}
	return record.Origin{Node: node, Lab: lab, Epoch: uint32(epoch)}, nil
}

func wantMedia(r *http.Request, want string) error {
	if !isMedia(r, want) {
		return problem.New(problem.Invalid, fmt.Sprintf("The request's media type is %q, want %s.", r.Header.Get("Content-Type"), want), "Update the agent.")
	}
	return nil
}

func isMedia(r *http.Request, want string) bool {
	media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && media == want
}

func readCBOR(r *http.Request, limit int64, v any) error {
	if err := wantMedia(r, mediaCBOR); err != nil {
		return err
	}
	b, err := io.ReadAll(io.LimitReader(r.Body, limit+1))
	if err != nil {
		return streamProblem(fmt.Errorf("%w: %w", ErrTruncated, err))
	}
	if int64(len(b)) > limit {
		return problem.New(problem.TooLarge, fmt.Sprintf("The question is longer than %d bytes.", limit), "Ask in smaller parts.")
	}
	return record.DecodeBody(b, v)
}

func writeCBOR(w http.ResponseWriter, v any) error {
	b, err := record.EncodeBody(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", mediaCBOR)
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	_, err = w.Write(b)
	return err
}
