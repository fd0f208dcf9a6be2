// Package node is the identity of an installation: an id and an Ed25519 key
// pair, kept in one file that only its owner may read. The private key leaves
// the machine in a backup alone: whoever holds one can act as the node.
package node

import (
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"

	"github.com/google/uuid"

	"thudbook/sync/durable"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// FileName is the identity's file within the data folder.
const FileName = "node.json"

// Identity is what makes an installation itself.
type Identity struct {
	ID         record.NodeID
	PrivateKey ed25519.PrivateKey
	// Next is the key that will follow, made by Prepare; nil: none.
	Next ed25519.PrivateKey
	// First is the public half of the key that the installation began with.
	First ed25519.PublicKey
}

// PublicKey gives the half that others may know.
func (i Identity) PublicKey() ed25519.PublicKey {
	return i.PrivateKey.Public().(ed25519.PublicKey)
}

// String gives the id, never the key.
func (i Identity) String() string { return i.ID.String() }

// GoString gives the id, never the key.
func (i Identity) GoString() string { return "node.Identity(" + i.ID.String() + ")" }

// Format keeps the key out of every formatting verb.
func (i Identity) Format(s fmt.State, _ rune) { fmt.Fprint(s, i.ID.String()) }

// LogValue gives the id, never the key.
func (i Identity) LogValue() slog.Value { return slog.StringValue(i.ID.String()) }

// MarshalJSON refuses: the key must not slip into an answer or a log.
func (i Identity) MarshalJSON() ([]byte, error) {
	return nil, errors.New("a node's identity is not for JSON")
}

// file is the layout on disk.
type file struct {
	Version int           `json:"version"`
	ID      record.NodeID `json:"id"`
	Seed    []byte        `json:"ed25519_seed"`
	Next    []byte        `json:"next_ed25519_seed,omitempty"`
	First   []byte        `json:"first_ed25519_key,omitempty"` // left out until the key was changed
}

const fileVersion = 1

// Load reads the identity of a data folder. Problems: not_found when there is
// none; invalid when others may read it; damaged when it cannot be read.
func Load(dir string) (Identity, error) {
	path := filepath.Join(dir, FileName)
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Identity{}, &problem.Error{Code: problem.NotFound, What: "this folder has no node identity", Where: path,
			Fix: "start the agent or the server there once"}
	}
	if err != nil {
		return Identity{}, unusable(path, err)
	}
	id, err := read(f)
	return id, errors.Join(err, f.Close())
}

func read(f *os.File) (Identity, error) {
	fi, err := f.Stat()
	if err != nil {
		return Identity{}, unusable(f.Name(), err)
	}
	if runtime.GOOS != "windows" && fi.Mode().Perm()&0o077 != 0 {
		return Identity{}, &problem.Error{Code: problem.Invalid, Where: f.Name(),
			What: fmt.Sprintf("the node's key may be read by others (mode %04o)", fi.Mode().Perm()),
			Fix:  "take the right away: chmod 600"}
	}
	var on file
	if err := json.NewDecoder(f).Decode(&on); err != nil {
		return Identity{}, damaged(f.Name(), err)
	}
	if on.Version != fileVersion || on.ID == uuid.Nil || len(on.Seed) != ed25519.SeedSize ||
		len(on.Next) != 0 && len(on.Next) != ed25519.SeedSize || len(on.First) != 0 && len(on.First) != ed25519.PublicKeySize {
		return Identity{}, damaged(f.Name(), errors.New("version, id or key is missing or of another form"))
	}
	id := Identity{ID: on.ID, PrivateKey: ed25519.NewKeyFromSeed(on.Seed), First: on.First}
	if len(on.Next) > 0 {
		id.Next = ed25519.NewKeyFromSeed(on.Next)
	}
	if len(id.First) == 0 {
		id.First = id.PublicKey()
	}
	return id, nil
}

// Create makes a new identity in a data folder and keeps it durably. It is a
// conflict if there is one.
func Create(dir string) (Identity, error) {
	id, err := uuid.NewRandom()
	if err != nil {
		return Identity{}, fmt.Errorf("make an id: %w", err)
	}
	made, err := Anew(id, nil)
	if err != nil {
		return Identity{}, err
	}
	return made, Keep(dir, made)
}

// Anew gives an identity with a new key: of a node that lost its old one. first
// is the public half of the key that it began with; nil: the new one. It is
// not kept yet.
func Anew(id record.NodeID, first ed25519.PublicKey) (Identity, error) {
	_, key, err := ed25519.GenerateKey(nil)
	if err != nil {
		return Identity{}, fmt.Errorf("make a key: %w", err)
	}
	if len(first) != ed25519.PublicKeySize {
		first = key.Public().(ed25519.PublicKey)
	}
	return Identity{ID: id, PrivateKey: key, First: first}, nil
}

// Keep writes a new identity into a data folder, durably. It is a conflict if
// there is one.
func Keep(dir string, id Identity) error {
	path := filepath.Join(dir, FileName)
	on := file{Version: fileVersion, ID: id.ID, Seed: id.PrivateKey.Seed()}
	if !id.First.Equal(id.PublicKey()) {
		on.First = id.First
	}
	b, err := json.Marshal(on)
	if err != nil {
		return fmt.Errorf("encode the identity: %w", err)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return unusable(path, err)
	}
	err = durable.Create(path, append(b, '\n'))
	if errors.Is(err, fs.ErrExist) {
		return &problem.Error{Code: problem.Conflict, What: "this folder has a node identity already", Where: path,
			Fix: "use it, or choose another folder"}
	}
	if err != nil {
		return unusable(path, err)
	}
	return nil
}

// LoadOrCreate loads the identity, or makes one if there is none.
func LoadOrCreate(dir string) (Identity, error) {
	id, err := Load(dir)
	if problem.Of(err) != problem.NotFound {
		return id, err
	}
	id, err = Create(dir)
	if problem.Of(err) == problem.Conflict { // another process was first
		return Load(dir)
	}
	return id, err
}

func unusable(path string, err error) error {
	return &problem.Error{Code: problem.Unavailable, What: "the node's identity cannot be used", Where: path,
		Fix: "check the folder and its rights", Err: err}
}

func damaged(path string, err error) error {
	return &problem.Error{Code: problem.Damaged, What: "the node's identity is damaged; nothing was changed", Where: path,
		Fix: "restore it from a backup, or set the file aside: then a new key is made at the next start, and a manager makes a code for it", Err: err}
}
