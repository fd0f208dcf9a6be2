package home

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/care"
	"thudbook/sync/durable"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/node"
)

// lastBackupName is the note of the last backup, for Examine.
const lastBackupName = "last-backup.json"

// lastBackup is what the note says.
type lastBackup struct {
	To      string    `json:"to"`
	Made    time.Time `json:"made"`
	Records uint64    `json:"records"`
}

// notKept tells what a backup leaves out or copies in its own way.
func notKept(path string) bool {
	base := filepath.Base(path)
	switch {
	case path == "store.db", path == "anchor", path == lastBackupName, strings.HasPrefix(path, controlName):
		return true
	case strings.HasPrefix(path, "attachments/"):
		return !strings.HasPrefix(path, "attachments/quarantine") // the rest goes by its hash
	}
	return strings.Contains(base, ".new") || strings.HasSuffix(base, ".part") ||
		strings.HasPrefix(base, copyPrefix) || strings.HasPrefix(base, "thudbook-verify-")
}

// backup copies an open node; the store may be open for reading alone.
func backup(ctx context.Context, n care.Node, to string) (*care.BackupReport, error) {
	n.Skip = notKept
	rep, err := care.Backup(ctx, n, to)
	if err != nil {
		return nil, err
	}
	note, err := json.Marshal(lastBackup{To: to, Made: rep.Manifest.Made, Records: rep.Manifest.Records})
	if err != nil {
		return nil, err
	}
	// The note is a help, not a part of the backup: a folder that cannot be
	// written has none.
	if err := durable.Replace(filepath.Join(n.Dir, lastBackupName), note); err != nil && !errors.Is(err, os.ErrPermission) && !readOnlyFS(err) {
		return nil, err
	}
	return rep, nil
}

// IsBackup tells whether a folder is one that a backup was written to.
func IsBackup(dir string) bool { return care.IsBackup(dir) }

// BackupStopped backs up a folder that no process has open; kv.ErrLocked if one has.
func BackupStopped(ctx context.Context, dir, to, software string) (*care.BackupReport, error) {
	id, err := node.Load(dir)
	if err != nil {
		return nil, err
	}
	store, err := boltkv.Open(StorePath(dir), boltkv.Options{ReadOnly: true})
	if errors.Is(err, kv.ErrLocked) {
		return nil, Held(dir, "it does not answer requests: stop it, then back up; or see its log")
	}
	if err != nil {
		return nil, err
	}
	rep, err := backup(ctx, care.Node{ID: id.ID, Dir: dir, Store: store, Blobs: dirblob.OpenReadOnly(BlobPath(dir)), Software: software, Now: time.Now}, to)
	return rep, errors.Join(err, store.Close())
}
