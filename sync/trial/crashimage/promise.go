//go:build linux

package crashimage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"thudbook/sync/blob/dirblob"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/node"
	"thudbook/sync/record"
)

// Promise makes single durable things, each in a folder of its own so that no
// other sync covers for a missing one, and writes a line after each: the path
// of a file that has to be there from now on, and its hash, or that it is gone.
func Promise(ctx context.Context, root string) error {
	acks, err := os.Create(filepath.Join(root, ackName))
	if err != nil {
		return err
	}
	say := func(what string) func(string) error {
		return func(path string) error {
			_, err := fmt.Fprintf(acks, "%s %s\n", path, what)
			return err
		}
	}
	for _, make := range []func(context.Context, string) ([]string, error){identity, store, blobPut, blobPutAgain, blobExpectAgain, blobUnlike,
		uploadPart, uploadWhole, anchor, nextKey, compacted, restored,
		func(ctx context.Context, dir string) ([]string, error) { return backedUp(ctx, dir, say(wholeBackup)) },
		func(ctx context.Context, dir string) ([]string, error) { return nil, erased(ctx, dir, say(isGone)) }} {
		dir, err := os.MkdirTemp(root, "part-")
		if err != nil {
			return err
		}
		if err := syncPath(root); err != nil {
			return err
		}
		paths, err := make(ctx, dir)
		if err != nil {
			return err
		}
		for _, path := range paths {
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if _, err := fmt.Fprintf(acks, "%s %x\n", path, sha256.Sum256(b)); err != nil {
				return err
			}
		}
	}
	return acks.Close()
}

// wholeBackup stands for the hash where a folder is promised to hold a backup.
const wholeBackup = "backup"

// isGone stands for the hash where a file is promised not to come back.
const isGone = "gone"

// erased stores bytes, and erases them: a name and a PIN, for one.
func erased(ctx context.Context, dir string, gone func(path string) error) error {
	s, b, h, err := opened(dir)
	if err != nil {
		return err
	}
	if _, err := s.Put(ctx, bytes.NewReader(b), 0); err != nil {
		return err
	}
	if err := s.Remove(ctx, h); err != nil {
		return err
	}
	return gone(s.Path(h))
}

func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func identity(_ context.Context, dir string) ([]string, error) {
	_, err := node.Create(dir)
	return []string{filepath.Join(dir, node.FileName)}, err
}

func store(_ context.Context, dir string) ([]string, error) {
	path := filepath.Join(dir, storeName)
	s, err := boltkv.Open(path, boltkv.Options{})
	if err != nil {
		return nil, err
	}
	return []string{path}, s.Close()
}

// opened gives an empty folder of blobs and bytes for it.
func opened(dir string) (*dirblob.Store, []byte, record.Hash, error) {
	s, err := dirblob.Open(filepath.Join(dir, blobsName))
	b := []byte(dir)
	return s, b, sha256.Sum256(b), err
}

func blobPut(ctx context.Context, dir string) ([]string, error) {
	s, b, h, err := opened(dir)
	if err != nil {
		return nil, err
	}
	_, err = s.Put(ctx, bytes.NewReader(b), 0)
	return []string{s.Path(h)}, err
}

// leave writes a blob as a process does that is killed before it syncs the name.
func leave(s *dirblob.Store, b []byte, h record.Hash) error {
	if err := os.WriteFile(s.Path(h), b, 0o600); err != nil {
		return err
	}
	return syncPath(s.Path(h))
}

func blobPutAgain(ctx context.Context, dir string) ([]string, error) {
	s, b, h, err := opened(dir)
	if err == nil {
		err = leave(s, b, h)
	}
	if err != nil {
		return nil, err
	}
	_, err = s.Put(ctx, bytes.NewReader(b), 0)
	return []string{s.Path(h)}, err
}

func blobExpectAgain(ctx context.Context, dir string) ([]string, error) {
	s, b, h, err := opened(dir)
	if err == nil {
		err = leave(s, b, h)
	}
	if err != nil {
		return nil, err
	}
	return []string{s.Path(h)}, s.PutExpect(ctx, h, int64(len(b)), bytes.NewReader(b))
}

// blobUnlike: what was announced as something else is kept in quarantine.
func blobUnlike(ctx context.Context, dir string) ([]string, error) {
	s, b, h, err := opened(dir)
	if err != nil {
		return nil, err
	}
	if err := s.PutExpect(ctx, h, int64(len(b)), strings.NewReader("something else")); err == nil {
		return nil, errors.New("other bytes were taken")
	}
	return files(filepath.Join(dir, blobsName, "quarantine"), 1)
}

// Kept cuts a recording of Promise after every call, times times, and gives
// what was promised and is not there. The scratch folder is for backups.
func Kept(ctx context.Context, trace io.Reader, root, scratch string, times int, deaf bool) (promises int, broken []string, err error) {
	ops, err := parseTrace(trace, root)
	if err != nil {
		return 0, nil, err
	}
	rng := rand.New(rand.NewPCG(11, 13))
	d := newDisk()
	d.deaf = deaf
	promised := map[string]string{}
	told := map[string]bool{}
	for i := range ops {
		o := &ops[i]
		if o.path == filepath.Join(root, ackName) {
			if path, sum, ok := strings.Cut(strings.TrimSpace(string(o.data)), " "); ok && o.kind == opWrite {
				promised[path] = sum
			}
		} else {
			d.do(o)
		}
		cuts := times
		switch {
		case o.kind == opMkdir: // takes nothing away
			cuts = 0
		case o.kind == opRename: // one name may be durable before another that it rests on
			cuts = 10 * times
		case i == len(ops)-1:
			cuts = 20 * times
		}
		for range cuts {
			im := d.cut(rng).own()
			for path, sum := range promised {
				if told[path] {
					continue
				}
				there := im.there(root, path)
				if sum == isGone {
					there = !there
				} else if sum == wholeBackup {
					there = there && (o.path == filepath.Join(root, ackName) || !strings.HasPrefix(o.path, path) || im.wholeBackup(ctx, path, scratch) == nil)
				} else {
					there = there && fmt.Sprintf("%x", sha256.Sum256(im.bytes[path])) == sum
				}
				if !there {
					told[path] = true
					broken = append(broken, strings.TrimPrefix(path, root))
				}
			}
		}
	}
	return len(promised), broken, nil
}
