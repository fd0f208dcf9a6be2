package httppeer

import (
	"context"
	"net/http"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

type challengeRequest struct {
	Node record.NodeID `json:"node"`
}

type challengeAnswer struct {
	Nonce []byte `json:"nonce"`
}

type sessionRequest struct {
	Node      record.NodeID `json:"node"`
	Nonce     []byte        `json:"nonce"`
	Signature []byte        `json:"signature"`
}

type sessionAnswer struct {
	Token    string `json:"token"`
	ExpiresS int64  `json:"expires_s"` // seconds from now, so that no clock is compared
}

// enrol admits a node by a one-time code.
func (h *Handler) enrol(w http.ResponseWriter, r *http.Request) error {
	if a := addressOf(r); a != "" {
		if err := h.enrolAddress.take(a, "enrolments from one address"); err != nil {
			return err
		}
	}
	if err := h.enrolAll.take("", "enrolments"); err != nil {
		return err
	}
	var s exchange.Signed
	if err := readCBOR(r, 16<<10, &s); err != nil {
		return err
	}
	q, err := exchange.OpenEnrol(&s)
	if err != nil {
		return err
	}
	a, err := h.registry.Enrol(r.Context(), q)
	if err != nil {
		return err
	}
	a.Server, a.ServerKey, a.TimeMS = h.service.Node(), h.service.PublicKey(), h.service.Now().UnixMilli()
	answer, err := h.service.SealEnrolAnswer(&s, a)
	if err != nil {
		return err
	}
	return writeCBOR(w, answer)
}

// challenge gives a nonce to whoever asks: it tells nobody who is enrolled.
func (h *Handler) challenge(w http.ResponseWriter, r *http.Request) error {
	if a := addressOf(r); a != "" {
		if err := h.challenges.take(a, "sign-ins from one address"); err != nil {
			return err
		}
	}
	var q challengeRequest
	if err := readCBOR(r, 1<<10, &q); err != nil {
		return err
	}
	nonce, err := h.tokens.challenge(q.Node)
	if err != nil {
		return err
	}
	return writeCBOR(w, challengeAnswer{Nonce: nonce})
}

// session exchanges a signed nonce for an access token.
func (h *Handler) session(w http.ResponseWriter, r *http.Request) error {
	var q sessionRequest
	if err := readCBOR(r, 1<<10, &q); err != nil {
		return err
	}
	if good, again := h.tokens.spend(q.Node, q.Nonce); !good {
		if again {
			h.replayed(r.Context(), &q)
		}
		return problem.New(problem.Unauthenticated, "The server does not know this nonce, or it was used before.", "The agent asks for another by itself.")
	}
	p, err := h.registry.Principal(r.Context(), q.Node)
	if err != nil {
		if problem.Of(err) == problem.Forbidden {
			h.service.KeyRefused(r.Context(), q.Node, true)
		}
		return err
	}
	if !exchange.VerifySession(p.Key, h.service.Node(), q.Node, q.Nonce, q.Signature) {
		h.service.KeyRefused(r.Context(), q.Node, false)
		return problem.New(problem.Unauthenticated, "The agent could not prove who it is: its key is not the one it enrolled with.",
			"Make a new code on the server and enrol this agent again.")
	}
	if err := h.sessions.take(q.Node.String(), "sessions of one agent"); err != nil {
		return err
	}
	token, err := h.tokens.issue(q.Node)
	if err != nil {
		return err
	}
	return writeCBOR(w, sessionAnswer{Token: token, ExpiresS: int64(tokenLife / time.Second)})
}

// replayed reports a sign-in that was proved once and comes again. Only the
// node's own signature makes it one: anybody may send a nonce that was used.
func (h *Handler) replayed(ctx context.Context, q *sessionRequest) {
	p, err := h.registry.Principal(ctx, q.Node)
	if err == nil && exchange.VerifySession(p.Key, h.service.Node(), q.Node, q.Nonce, q.Signature) {
		h.service.SessionReplayed(ctx, q.Node)
	}
}
