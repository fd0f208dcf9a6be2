package exchange

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"

	"thudbook/sync/record"
)

// The purposes that signatures are bound to.
const (
	purposeWelcome = "helo1"
	purposeEnrol   = "enrl1"
	purposeEnroled = "enra1"
	purposeSession = "sess1"
)

// Signed carries a statement as the exact bytes that were signed.
type Signed struct {
	Payload   []byte `json:"payload"`
	Signature []byte `json:"signature"`
}

// seal encodes and signs v. The signature is bound to a purpose and to what
// the statement answers, so that it cannot pass for anything else.
func seal(key ed25519.PrivateKey, purpose string, bind []byte, v any) (Signed, error) {
	payload, err := record.EncodeBody(v)
	if err != nil {
		return Signed{}, fmt.Errorf("encode %T: %w", v, err)
	}
	return Signed{Payload: payload, Signature: ed25519.Sign(key, signedBytes(purpose, bind, payload))}, nil
}

func (s *Signed) verify(key ed25519.PublicKey, purpose string, bind []byte) bool {
	return len(key) == ed25519.PublicKeySize && ed25519.Verify(key, signedBytes(purpose, bind, s.Payload), s.Signature)
}

// signedBytes joins parts of fixed length: purpose, sum of bind, sum of payload.
func signedBytes(purpose string, bind, payload []byte) []byte {
	about, what := sha256.Sum256(bind), sha256.Sum256(payload)
	b := append([]byte(purpose), about[:]...)
	return append(b, what[:]...)
}

// SignSession is a node's answer to a server's nonce.
func SignSession(key ed25519.PrivateKey, server, node record.NodeID, nonce []byte) []byte {
	return ed25519.Sign(key, sessionBytes(server, node, nonce))
}

// VerifySession checks what SignSession made.
func VerifySession(key ed25519.PublicKey, server, node record.NodeID, nonce, signature []byte) bool {
	return len(key) == ed25519.PublicKeySize && ed25519.Verify(key, sessionBytes(server, node, nonce), signature)
}

func sessionBytes(server, node record.NodeID, nonce []byte) []byte {
	return signedBytes(purposeSession, append(append([]byte{}, server[:]...), node[:]...), nonce)
}
