package dirblob

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"thudbook/sync/blob"
	"thudbook/sync/durable"
	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// Put implements blob.Store.
func (s *Store) Put(ctx context.Context, r io.Reader, limit int64) (blob.Ref, error) {
	p, err := s.receive(ctx, r, limit)
	if err != nil {
		return blob.Ref{}, err
	}
	return p.ref, s.keep(ctx, p)
}

// PutExpect implements blob.Store.
func (s *Store) PutExpect(ctx context.Context, want record.Hash, size int64, r io.Reader) error {
	if has, n, err := s.Has(ctx, want); err == nil && has && n == size && s.Verify(ctx, want) == nil {
		return s.syncShard(want)
	}
	// One byte more than announced is enough to know that it is not that.
	p, err := s.receive(ctx, io.LimitReader(r, size+1), 0)
	if err != nil {
		return err
	}
	if p.ref.SHA256 == want && p.ref.Size == size {
		return s.keep(ctx, p)
	}
	found := fmt.Sprintf("%d bytes with hash %s instead of %d bytes", p.ref.Size, p.ref.SHA256, size)
	if p.ref.Size > size {
		found = fmt.Sprintf("more than the announced %d bytes", size)
	}
	if err := s.quarantine(p.path, "received-"+want.String()); err != nil {
		return errors.Join(blob.Unlike(want, found), err)
	}
	return blob.Unlike(want, found)
}

// part is a whole, synced file without its final name.
type part struct {
	path string
	ref  blob.Ref
}

// receive streams r into a part, hashing on the way, and syncs it.
func (s *Store) receive(ctx context.Context, r io.Reader, limit int64) (part, error) {
	path := filepath.Join(s.root, partDir, rand.Text())
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, fileMode)
	if err != nil {
		return part{}, unavailable("bytes cannot be stored", path, err)
	}
	if limit > 0 {
		r = io.LimitReader(r, limit+1)
	}
	h := sha256.New()
	src := &source{r: withContext(ctx, r)}
	n, err := io.CopyBuffer(onlyWriter{io.MultiWriter(f, h)}, src, make([]byte, 256<<10))
	switch {
	case src.err != nil: // the sender's, not the disk's
		err = src.err
	case err != nil:
		err = diskTrouble("bytes cannot be stored", path, err)
	case limit > 0 && n > limit:
		err = blob.TooLarge(limit)
	default:
		s.syncs.Add(1)
		if err = syncFile(f); err != nil {
			err = diskTrouble("bytes cannot be stored durably", path, err)
		}
	}
	if e := f.Close(); e != nil && err == nil {
		err = diskTrouble("bytes cannot be stored", path, e)
	}
	if err != nil {
		return part{}, errors.Join(err, os.Remove(path))
	}
	return part{path: path, ref: blob.Ref{SHA256: record.Hash(h.Sum(nil)), Size: n}}, nil
}

// keep gives a part its name. If a file has it already, that one is checked:
// a good one stays and the part goes, a bad one is moved aside.
func (s *Store) keep(ctx context.Context, p part) error {
	final := s.Path(p.ref.SHA256)
	for range 8 { // a second writer of the same bytes may come between two steps
		err := durable.RenameNew(p.path, final)
		if err == nil {
			return s.syncShard(p.ref.SHA256)
		}
		if !errors.Is(err, fs.ErrExist) {
			return errors.Join(unavailable("bytes cannot be stored", final, err), os.Remove(p.path))
		}
		if err := ctx.Err(); err != nil {
			return errors.Join(err, os.Remove(p.path))
		}
		switch err := s.Verify(ctx, p.ref.SHA256); {
		case err == nil:
			return errors.Join(os.Remove(p.path), s.syncShard(p.ref.SHA256))
		case problem.Of(err) == problem.NotFound:
			continue // gone between two steps
		case problem.Of(err) != problem.Damaged:
			return errors.Join(err, os.Remove(p.path))
		}
		if err := s.quarantine(final, "stored-"+p.ref.SHA256.String()); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return errors.Join(err, os.Remove(p.path))
		}
	}
	return errors.Join(unavailable("bytes cannot be stored: their name stays taken", final, nil), os.Remove(p.path))
}

// quarantine moves a file aside under a new name and makes that durable.
func (s *Store) quarantine(path, name string) error {
	aside := filepath.Join(s.root, quarantineDir, name+"-"+rand.Text()[:8])
	if err := durable.Rename(path, aside); err != nil {
		return unavailable("damaged bytes cannot be moved to quarantine", path, err)
	}
	s.syncs.Add(2)
	return errors.Join(durable.SyncDir(filepath.Dir(aside)), durable.SyncDir(filepath.Dir(path)))
}

// syncShard makes the name of a blob durable. It also runs when the file was
// there before: whoever named it may not have come as far.
func (s *Store) syncShard(h record.Hash) error {
	dir := filepath.Dir(s.Path(h))
	s.syncs.Add(1)
	if err := durable.SyncDir(dir); err != nil {
		return unavailable("bytes cannot be stored durably", dir, err)
	}
	return nil
}
