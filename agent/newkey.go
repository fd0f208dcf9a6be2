package agent

import (
	"crypto/ed25519"

	"thudbook/sync/node"
)

// keys keeps the agent's keys in its data folder.
type keys struct{ dir string }

func (k keys) Prepare() (ed25519.PrivateKey, error) {
	id, err := node.Prepare(k.dir)
	return id.Next, err
}

func (k keys) Promote() error {
	_, err := node.Promote(k.dir)
	return err
}

// newKey has this agent change its key, and says what happens next.
func (p *parts) newKey() (string, error) {
	if err := p.uplink.RotateKey(); err != nil {
		return "", err
	}
	if _, ok := p.uplink.Settings(); !ok {
		return "A new key was made. It is used once the agent is enrolled and the server has taken it.", nil
	}
	return "A new key was made. The old one serves until the server has taken the new one, which the agent tells at its next session; nothing waits for it.", nil
}
