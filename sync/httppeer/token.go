package httppeer

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"sync"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

const (
	nonceLife   = 2 * time.Minute
	tokenLife   = time.Hour
	maxNonces   = 10_000 // open at once; the oldest give way
	tokenPrefix = "tbs_" // lets scanners for leaked secrets know it
)

// tokens holds open nonces and access tokens in memory, tokens as sums only.
// When the server starts anew, nodes sign in again by themselves. All times
// are by the server's own clock.
type tokens struct {
	now    func() time.Time
	mu     sync.Mutex
	nonces map[[exchange.NonceSize]byte]nonceEntry
	tokens map[[sha256.Size]byte]tokenEntry
}

type nonceEntry struct {
	node    record.NodeID
	expires time.Time
	spent   bool // kept to know it again
}

type tokenEntry struct {
	node    record.NodeID
	expires time.Time
}

func newTokens(now func() time.Time) *tokens {
	return &tokens{now: now, nonces: map[[exchange.NonceSize]byte]nonceEntry{}, tokens: map[[sha256.Size]byte]tokenEntry{}}
}

// challenge makes a nonce for one use by one node.
func (t *tokens) challenge(node record.NodeID) ([]byte, error) {
	var n [exchange.NonceSize]byte
	if _, err := rand.Read(n[:]); err != nil {
		return nil, err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sweep()
	if len(t.nonces) >= maxNonces {
		return nil, problem.New(problem.Unavailable, "Too many agents are signing in at once.", "It is tried again in a moment.")
	}
	t.nonces[n] = nonceEntry{node: node, expires: t.now().Add(nonceLife)}
	return n[:], nil
}

// spend uses a nonce up, whatever becomes of it, and says whether it was good
// for the node, or else whether the node used it before.
func (t *tokens) spend(node record.NodeID, nonce []byte) (good, again bool) {
	if len(nonce) != exchange.NonceSize {
		return false, false
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	key := [exchange.NonceSize]byte(nonce)
	e, ok := t.nonces[key]
	if !ok || e.node != node {
		delete(t.nonces, key)
		return false, false
	}
	good, again = !e.spent && t.now().Before(e.expires), e.spent
	e.spent = true
	t.nonces[key] = e
	return good, again
}

// issue makes an access token.
func (t *tokens) issue(node record.NodeID) (string, error) {
	var b [32]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", err
	}
	token := tokenPrefix + base64.RawURLEncoding.EncodeToString(b[:])
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sweep()
	t.tokens[sha256.Sum256([]byte(token))] = tokenEntry{node: node, expires: t.now().Add(tokenLife)}
	return token, nil
}

// node gives whose token it is. Looking up the sum of a secret tells nothing
// of the secret by its timing.
func (t *tokens) node(token string) (record.NodeID, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	e, ok := t.tokens[sha256.Sum256([]byte(token))]
	if !ok || !t.now().Before(e.expires) {
		return record.NodeID{}, false
	}
	return e.node, true
}

// sweep drops what has expired; the caller holds the lock.
func (t *tokens) sweep() {
	now := t.now()
	for k, e := range t.nonces {
		if !now.Before(e.expires) {
			delete(t.nonces, k)
		}
	}
	for k, e := range t.tokens {
		if !now.Before(e.expires) {
			delete(t.tokens, k)
		}
	}
}
