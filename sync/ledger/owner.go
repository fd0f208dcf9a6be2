package ledger

import (
	"bytes"
	"crypto/ed25519"
	"maps"
	"slices"

	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Owner gives the node that a store belongs to; false: it is new.
func Owner(r kv.Reader) (record.NodeID, bool, error) {
	b, err := r.Get(metaTable, metaNode)
	if err != nil || b == nil {
		return record.NodeID{}, false, err
	}
	if len(b) != 1+len(record.NodeID{}) || b[0] != valueVersion {
		return record.NodeID{}, false, &problem.Error{Code: problem.Damaged, What: "which node the store belongs to cannot be read", Fix: "restore the folder from a backup"}
	}
	return record.NodeID(b[1:]), true, nil
}

// GenesisKey is the key that the first record of a chain names.
type GenesisKey struct {
	Origin record.Origin
	Key    ed25519.PublicKey
}

// GenesisKeys gives those of a node's own chains, in the order of their origins;
// chains whose first record cannot be read are left out.
func GenesisKeys(r kv.Reader, node record.NodeID) ([]GenesisKey, error) {
	heads, err := ScanHeads(r)
	if err != nil && problem.Of(err) != problem.Damaged {
		return nil, err
	}
	var out []GenesisKey
	for _, o := range slices.SortedFunc(maps.Keys(heads), func(a, b record.Origin) int { return bytes.Compare(originKey(a), originKey(b)) }) {
		if o.Node != node {
			continue
		}
		for s, err := range Chain(r, o, 0) {
			var g record.Genesis
			if err == nil && s.Damage == nil && record.DecodeBody(s.Record.Body, &g) == nil && len(g.NodeKey) == ed25519.PublicKeySize {
				out = append(out, GenesisKey{Origin: o, Key: g.NodeKey})
			}
			break
		}
	}
	return out, nil
}
