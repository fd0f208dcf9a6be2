package care

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/problem"
)

// BackupBlobs gives the folder of a backup's attachments.
func BackupBlobs(dir string) string { return filepath.Join(dir, attachmentsDir) }

// Store writes the store that a backup holds to a new file, each piece checked
// against its hash.
func (m *Manifest) Store(ctx context.Context, backup, path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	err = readChunks(ctx, backup, m.Chunks, func(b []byte) error {
		_, err := f.Write(b)
		return err
	})
	return errors.Join(err, f.Sync(), f.Close())
}

// PutFiles writes the further files of a backup into a folder, whose
// attachments lie in blobs.
func (m *Manifest) PutFiles(ctx context.Context, backup, dir string) error {
	src := dirblob.OpenReadOnly(BackupBlobs(backup))
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	for _, f := range m.Files {
		if !filepath.IsLocal(filepath.FromSlash(f.Path)) {
			return damagedBackup(filepath.Join(backup, manifestName), "it names a file outside the data folder: "+f.Path)
		}
		if err := putFile(ctx, src, root, f); err != nil {
			return fmt.Errorf("file %s of the backup: %w", f.Path, err)
		}
	}
	return nil
}

func putFile(ctx context.Context, src *dirblob.Store, root *os.Root, f File) error {
	name := filepath.FromSlash(f.Path)
	if err := root.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return err
	}
	in, _, err := src.Open(ctx, f.SHA256)
	if err != nil {
		return err
	}
	out, err := root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, f.Mode.Perm())
	if err != nil {
		return errors.Join(err, in.Close())
	}
	_, err = out.ReadFrom(in)
	return errors.Join(err, out.Sync(), out.Close(), in.Close())
}

// PutBlobs copies all attachments of a backup, each checked against its hash. A
// damaged one is named and left out.
func PutBlobs(ctx context.Context, backup string, dst *dirblob.Store, files []File) (n int64, bad []string, err error) {
	src := dirblob.OpenReadOnly(BackupBlobs(backup))
	small, both := make(map[[32]byte]bool), make(map[[32]byte]bool)
	for _, f := range files {
		if f.kept() {
			both[f.SHA256] = true
		}
		small[f.SHA256] = true
	}
	for ref, err := range src.List(ctx) {
		if err != nil {
			return n, bad, err
		}
		if small[ref.SHA256] && !both[ref.SHA256] {
			continue // a file of the folder, put in its place, and nothing else
		}
		what, err := copyBlob(ctx, src, dst, ref)
		if err != nil {
			return n, bad, err
		}
		if what != "" {
			bad = append(bad, what)
			continue
		}
		n++
	}
	return n, bad, nil
}

// Check reads everything that a manifest names against its hash: the store's
// pieces and the further files. Attachments are checked by way of the records
// that name them.
func (m *Manifest) Check(ctx context.Context, backup string) error {
	err := readChunks(ctx, backup, m.Chunks, func([]byte) error { return nil })
	src := dirblob.OpenReadOnly(BackupBlobs(backup))
	for _, f := range m.Files {
		if e := src.Verify(ctx, f.SHA256); e != nil {
			if c := problem.Of(e); c == problem.NotFound || c == problem.Damaged {
				e = damagedBackup(backup, "the file "+f.Path+" of the backup is not what was written: "+e.Error())
			}
			err = errors.Join(err, e)
		}
	}
	return err
}
