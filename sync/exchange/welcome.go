package exchange

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// SignedWelcome is the answer to a hello.
type SignedWelcome struct{ Signed }

// bind ties a welcome to the question: the same answer to another node, or to
// another nonce, does not verify.
func (q *HelloRequest) bind() []byte { return append(append([]byte{}, q.Node[:]...), q.Nonce...) }

func signWelcome(key ed25519.PrivateKey, q *HelloRequest, w *Welcome) (SignedWelcome, error) {
	s, err := seal(key, purposeWelcome, q.bind(), w)
	return SignedWelcome{s}, err
}

// Pinned is what a node knows of its server since it was enrolled.
type Pinned struct {
	ID  record.NodeID
	Key ed25519.PublicKey
	// Next is the key that the server announced, signed by both; nil: none.
	Next ed25519.PublicKey
}

// signer gives which of the pinned keys an answer is signed with.
func (p Pinned) signer(s *SignedWelcome, q *HelloRequest) (ed25519.PublicKey, bool) {
	for _, k := range []ed25519.PublicKey{p.Key, p.Next} {
		if len(k) > 0 && s.verify(k, purposeWelcome, q.bind()) {
			return k, true
		}
	}
	return nil, false
}

// Open checks that the pinned server gave this answer to this question.
func (s *SignedWelcome) Open(pin Pinned, q *HelloRequest) (*Welcome, error) {
	if _, ok := pin.signer(s, q); !ok {
		return nil, notTheServer(nil)
	}
	var w Welcome
	if err := record.DecodeBody(s.Payload, &w); err != nil {
		return nil, notTheServer(err)
	}
	if w.Server != pin.ID {
		return nil, notTheServer(fmt.Errorf("it calls itself %s, enrolled with %s", w.Server, pin.ID))
	}
	if !slices.Contains(q.Protocols, w.Protocol) {
		return nil, problem.New(problem.Unavailable,
			fmt.Sprintf("The server speaks protocol %d, this program speaks %v.", w.Protocol, q.Protocols),
			"Update the older of the two; everything is kept until then.")
	}
	return &w, nil
}

func notTheServer(cause error) error {
	return &problem.Error{Code: problem.Unauthenticated,
		What: "What answered is not the server that this agent was enrolled with: its signature is another.",
		Fix:  "Check the server's address and the network; if the server was installed anew, enrol this agent again with a new code.",
		Err:  errors.Join(errAnotherServer, cause)}
}

var errAnotherServer = errors.New("not signed by the pinned key")

// IsAnotherServer says that an error is about an answer that the pinned server
// did not give.
func IsAnotherServer(err error) bool { return errors.Is(err, errAnotherServer) }
