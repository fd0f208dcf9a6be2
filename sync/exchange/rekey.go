package exchange

import (
	"bytes"
	"context"
	"crypto/ed25519"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

const purposeRekey = "rkey1"

// KindRekeyed is a node's change of key. Its body is a Rekey; it stands in the
// node's own chain, and in the server-wide chain of the server that took it.
const KindRekeyed record.Kind = "node.rekeyed"

// Rekey says that a node goes on with another key. Both keys sign it: the old
// one allows it, the new one shows that its owner holds it.
type Rekey struct {
	Node         record.NodeID `json:"node"`
	Old          []byte        `json:"old"`
	New          []byte        `json:"new"`
	OldSignature []byte        `json:"old_signature"`
	NewSignature []byte        `json:"new_signature"`
}

// NewRekey signs a change of key with both keys.
func NewRekey(node record.NodeID, old, next ed25519.PrivateKey) *Rekey {
	r := &Rekey{Node: node, Old: old.Public().(ed25519.PublicKey), New: next.Public().(ed25519.PublicKey)}
	r.OldSignature, r.NewSignature = ed25519.Sign(old, r.bytes()), ed25519.Sign(next, r.bytes())
	return r
}

func (r *Rekey) bytes() []byte {
	return signedBytes(purposeRekey, r.Node[:], append(bytes.Clone(r.Old), r.New...))
}

// Verify checks both signatures, and that it is about the node and its key.
func (r *Rekey) Verify(node record.NodeID, present ed25519.PublicKey) error {
	right := r.Node == node && bytes.Equal(r.Old, present) && len(r.Old) == ed25519.PublicKeySize && len(r.New) == ed25519.PublicKeySize &&
		!bytes.Equal(r.Old, r.New) && ed25519.Verify(r.Old, r.bytes(), r.OldSignature) && ed25519.Verify(r.New, r.bytes(), r.NewSignature)
	if !right {
		return problem.New(problem.Unauthenticated, "The change of this agent's key is not signed by both its old key and its new one.",
			"The old key stays in use. If this comes back, enrol the agent again with a new code.")
	}
	return nil
}

// rekey takes a node's new key, when the hello brings one. The same again, by
// then under the new key, changes nothing.
func (v *view) rekey(ctx context.Context, q *HelloRequest) error {
	if q.Rekey == nil || v.s.o.Rekeyed == nil || bytes.Equal(q.Rekey.New, v.p.Key) {
		return nil
	}
	if err := q.Rekey.Verify(v.p.Node, v.p.Key); err != nil {
		return err
	}
	if err := v.s.o.Rekeyed(ctx, *q.Rekey); err != nil {
		return err
	}
	v.p.Key = q.Rekey.New
	return nil
}
