package care

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/durable"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// What lies in a backup folder: the manifest, which is replaced last and whole;
// pages of the store in one file per run; attachments and other files under
// their hash.
const (
	manifestName   = "backup.json"
	ownerName      = "thudbook-backup"
	pagesMark      = "pages-"
	attachmentsDir = "attachments"

	manifestVersion = 1
	chunkSize       = 64 << 10
)

// Manifest says what a backup holds.
type Manifest struct {
	Version         int           `json:"version"`
	Made            time.Time     `json:"made"`
	Software        string        `json:"software"`
	Node            record.NodeID `json:"node"`
	Run             int           `json:"run"` // the first is 1
	Records         uint64        `json:"records"`
	Heads           []End         `json:"heads"`
	Attachments     int64         `json:"attachments"`
	AttachmentBytes int64         `json:"attachment_bytes"`
	Files           []File        `json:"files"`
	StoreBytes      int64         `json:"store_bytes"`
	ChunkBytes      int           `json:"chunk_bytes"`
	Chunks          []Chunk       `json:"chunks"`
}

// End is the head of one origin.
type End struct {
	Origin record.Origin `json:"-"`
	Name   string        `json:"origin"`
	Seq    uint64        `json:"seq"`
	Hash   record.Hash   `json:"hash"`
}

// File is a small file of the data folder; its bytes lie among the attachments.
type File struct {
	Path   string      `json:"path"` // with slashes, within the data folder
	Mode   fs.FileMode `json:"mode"`
	Size   int64       `json:"size"`
	SHA256 record.Hash `json:"sha256"`
	// Attachment tells that an attachment of the node has the same bytes, as a
	// channel map does that shots were taken in by.
	Attachment bool `json:"attachment,omitempty"`
}

// kept tells whether a restore also keeps the file's bytes as an attachment.
// Backups that do not know of it leave the channel map of the set-up out.
func (f *File) kept() bool { return f.Attachment || strings.HasPrefix(f.Path, "maps/") }

// Chunk is a piece of the store: where its bytes lie, and their hash.
type Chunk struct {
	File   string      `json:"f"`
	At     int64       `json:"at"`
	Size   int         `json:"n"`
	SHA256 record.Hash `json:"sha256"`
}

// IsBackup tells whether a folder is one that Backup wrote to.
func IsBackup(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, ownerName))
	return err == nil
}

// ReadManifest reads what a backup holds: a problem with code not_found where
// there is no finished backup, damaged where its bytes are not what was written.
func ReadManifest(dir string) (*Manifest, error) {
	path := filepath.Join(dir, manifestName)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &problem.Error{Code: problem.NotFound, What: "there is no finished backup in this folder", Where: path,
			Fix: "give the folder that thudbook backup --to was given"}
	}
	if err != nil {
		return nil, &problem.Error{Code: problem.Unavailable, What: "the backup cannot be read", Where: path, Fix: "check the folder and its rights", Err: err}
	}
	sum, body, ok := bytes.Cut(b, []byte("\n"))
	want := sha256.Sum256(body)
	if !ok || string(sum) != hex.EncodeToString(want[:]) {
		return nil, damagedBackup(path, "the list of what the backup holds is not what was written")
	}
	var m Manifest
	if err := json.Unmarshal(body, &m); err != nil {
		return nil, damagedBackup(path, "the list of what the backup holds cannot be read")
	}
	if m.Version != manifestVersion {
		return nil, &problem.Error{Code: problem.Invalid, What: fmt.Sprintf("the backup has layout %d, this program knows %d", m.Version, manifestVersion),
			Where: path, Fix: "use the version of thudbook that made it, or a newer one"}
	}
	return &m, nil
}

func damagedBackup(where, what string) error {
	return &problem.Error{Code: problem.Damaged, What: what, Where: where, Fix: "keep it, and use another backup; nothing was changed"}
}

// write puts the manifest in place of the one before, whole or not at all.
func (m *Manifest) write(dir string) error {
	body, err := json.Marshal(m)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(body)
	return durable.Replace(filepath.Join(dir, manifestName), append([]byte(hex.EncodeToString(sum[:])+"\n"), body...))
}

// MakeFolder makes a folder, and those above it that are missing, durably.
func MakeFolder(path string) error {
	if err := os.Mkdir(path, 0o700); errors.Is(err, fs.ErrExist) {
		return os.MkdirAll(path, 0o700) // tells what else has the name
	} else if errors.Is(err, fs.ErrNotExist) && filepath.Dir(path) != path {
		if err := MakeFolder(filepath.Dir(path)); err != nil {
			return err
		}
		return MakeFolder(path)
	} else if err != nil {
		return err
	}
	return durable.SyncDir(filepath.Dir(path))
}
