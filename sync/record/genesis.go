package record

// KindGenesis is the kind of the first record of every origin.
const KindGenesis Kind = "node.genesis"

// Genesis is the body of the first record of an origin.
type Genesis struct {
	// NodeKey is the node's Ed25519 public key, 32 bytes.
	NodeKey []byte `json:"node_key"`
	// Software names program and version that opened the origin.
	Software string `json:"software"`
	// Predecessor is the origin that this one continues, nil for a fresh start.
	Predecessor *Predecessor `json:"predecessor,omitempty"`
}

// Predecessor names a closed origin, the last record of it that the node could
// verify (sequence 0 if none was left), and why it was closed.
type Predecessor struct {
	Node   NodeID `json:"node"`
	Lab    LabID  `json:"lab"`
	Epoch  uint32 `json:"epoch"`
	Seq    uint64 `json:"seq"`
	Hash   Hash   `json:"hash"`
	Reason string `json:"reason"`
}

// Origin gives the closed origin.
func (p *Predecessor) Origin() Origin { return Origin{Node: p.Node, Lab: p.Lab, Epoch: p.Epoch} }
