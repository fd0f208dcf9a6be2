//go:build linux

package crashimage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"thudbook/sync/blob"
	"thudbook/sync/care"
	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/ledger"
	"thudbook/sync/node"
)

// uploadPart: what a sender was told is there, the bytes and the note of them.
func uploadPart(ctx context.Context, dir string) ([]string, error) {
	s, b, h, err := opened(dir)
	if err != nil {
		return nil, err
	}
	half := b[:len(b)/2]
	at, err := s.Append(ctx, "trial", blob.Ref{SHA256: h, Size: int64(len(b))}, 0, bytes.NewReader(half), nil)
	if err == nil && at != int64(len(half)) {
		err = fmt.Errorf("%d bytes of %d were taken", at, len(half))
	}
	if err != nil {
		return nil, err
	}
	return files(filepath.Join(dir, blobsName, "part"), 2)
}

func uploadWhole(ctx context.Context, dir string) ([]string, error) {
	s, b, h, err := opened(dir)
	if err != nil {
		return nil, err
	}
	_, err = s.Append(ctx, "trial", blob.Ref{SHA256: h, Size: int64(len(b))}, 0, bytes.NewReader(b), nil)
	return []string{s.Path(h)}, err
}

// files gives the files of a folder, which must be so many.
func files(dir string, n int) ([]string, error) {
	all, err := filepath.Glob(filepath.Join(dir, "*"))
	if err == nil && len(all) != n {
		err = fmt.Errorf("%d files in %s, want %d", len(all), dir, n)
	}
	return all, err
}

// anchor makes one in a folder without the store, whose syncs would cover for it.
func anchor(ctx context.Context, dir string) ([]string, error) {
	sub := filepath.Join(dir, "anchor")
	if err := errors.Join(os.Mkdir(sub, 0o700), syncPath(dir)); err != nil {
		return nil, err
	}
	id, err := node.Create(dir)
	if err != nil {
		return nil, err
	}
	s, err := boltkv.Open(filepath.Join(dir, storeName), boltkv.Options{Ordered: ledger.OrderedTables()})
	if err != nil {
		return nil, err
	}
	path := ledger.DefaultAnchor(sub)
	l, err := ledger.Open(ctx, ledger.Options{Dir: dir, Anchor: path, Node: id.ID, Key: id.PrivateKey, Store: s, Software: "trial"})
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return []string{path}, errors.Join(l.Close(), s.Close())
}

// nextKey: a server tells agents of it as soon as it is prepared.
func nextKey(_ context.Context, dir string) ([]string, error) {
	_, e1 := node.Create(dir)
	_, e2 := node.Prepare(dir)
	return []string{filepath.Join(dir, node.FileName)}, errors.Join(e1, e2)
}

func compacted(ctx context.Context, dir string) ([]string, error) {
	path := filepath.Join(dir, storeName)
	s, err := boltkv.Open(path, boltkv.Options{})
	if err != nil {
		return nil, err
	}
	err = s.Update(ctx, func(tx kv.Tx) error { return tx.Put("t", []byte("key"), bytes.Repeat([]byte{7}, 100_000)) })
	if err == nil {
		err = s.Update(ctx, func(tx kv.Tx) error { return tx.Put("t", []byte("key"), []byte("less")) })
	}
	if err := errors.Join(err, s.Close()); err != nil {
		return nil, err
	}
	_, _, err = boltkv.Compact(ctx, path)
	return []string{path}, err
}

// backedUp makes two backups of a node that grows, and promises every file of
// the second one. From the first one on the folder holds a whole backup.
func backedUp(ctx context.Context, dir string, whole func(path string) error) (paths []string, err error) {
	from, to := filepath.Join(dir, "node"), filepath.Join(dir, "backup")
	if err := os.Mkdir(from, 0o700); err != nil {
		return nil, err
	}
	p, err := openParts(ctx, from)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, p.close()) }()
	n := care.Node{ID: p.ledger.Node(), Dir: from, Store: p.store, Blobs: p.blobs, Software: "trial", Now: time.Now,
		Skip: func(path string) bool {
			return path == storeName || strings.HasPrefix(path, blobsName) || path == "anchor"
		}}
	for i := range 2 {
		if _, err := p.shot(ctx, i); err != nil {
			return nil, err
		}
		if _, err := care.Backup(ctx, n, to); err != nil {
			return nil, err
		}
		if i == 0 {
			if err := whole(to); err != nil {
				return nil, err
			}
		}
	}
	err = filepath.WalkDir(to, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			paths = append(paths, path)
		}
		return err
	})
	return paths, err
}

// restored: the pieces of a node that a backup gives back. Whoever asks for
// them syncs the folder.
func restored(ctx context.Context, dir string) ([]string, error) {
	if _, err := backedUp(ctx, dir, func(string) error { return nil }); err != nil {
		return nil, err
	}
	from, to := filepath.Join(dir, "backup"), filepath.Join(dir, "again")
	m, err := care.ReadManifest(from)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(os.Mkdir(to, 0o700), syncPath(dir)); err != nil {
		return nil, err
	}
	if err := errors.Join(m.Store(ctx, from, filepath.Join(to, storeName)), m.PutFiles(ctx, from, to), syncPath(to)); err != nil {
		return nil, err
	}
	return files(to, 1+len(m.Files))
}

// wholeBackup tells what is wrong with the backup that an image holds.
func (im *image) wholeBackup(ctx context.Context, dir, scratch string) error {
	if err := os.RemoveAll(scratch); err != nil {
		return err
	}
	for path := range im.names {
		if !strings.HasPrefix(path, dir+"/") || im.names[path].dir {
			continue
		}
		to := filepath.Join(scratch, strings.TrimPrefix(path, dir))
		if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
			return err
		}
		if err := os.WriteFile(to, im.bytes[path], 0o600); err != nil {
			return err
		}
	}
	m, err := care.ReadManifest(scratch)
	if err != nil {
		return err
	}
	return m.Check(ctx, scratch)
}
