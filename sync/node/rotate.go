package node

import (
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"path/filepath"

	"thudbook/sync/durable"
	"thudbook/sync/problem"
)

// Prepare makes the key that will follow the present one, and keeps it durably
// beside it. Where there is one already, it stays: whoever was told of it may
// hold it for the right one.
func Prepare(dir string) (Identity, error) {
	id, err := Load(dir)
	if err != nil || id.Next != nil {
		return id, err
	}
	if _, id.Next, err = ed25519.GenerateKey(nil); err != nil {
		return id, fmt.Errorf("make a key: %w", err)
	}
	return id, replace(dir, id)
}

// Promote makes the following key the present one; the one before is gone. It
// is a conflict if none was prepared.
func Promote(dir string) (Identity, error) {
	id, err := Load(dir)
	if err != nil {
		return id, err
	}
	if id.Next == nil {
		return id, &problem.Error{Code: problem.Conflict, What: "no new key was prepared for this node", Where: filepath.Join(dir, FileName), Fix: "prepare one first"}
	}
	id.PrivateKey, id.Next = id.Next, nil
	return id, replace(dir, id)
}

// replace writes the identity whole and durably over the one that is there.
func replace(dir string, id Identity) error {
	path := filepath.Join(dir, FileName)
	on := file{Version: fileVersion, ID: id.ID, Seed: id.PrivateKey.Seed(), First: id.First}
	if id.Next != nil {
		on.Next = id.Next.Seed()
	}
	b, err := json.Marshal(on)
	if err != nil {
		return fmt.Errorf("encode the identity: %w", err)
	}
	if err := durable.Replace(path, append(b, '\n')); err != nil {
		return unusable(path, err)
	}
	return nil
}
