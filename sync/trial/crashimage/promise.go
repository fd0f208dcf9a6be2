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
// of a file that has to be there from now on, and its hash.
func Promise(ctx context.Context, root string) error {
	acks, err := os.Create(filepath.Join(root, ackName))
	if err != nil {
		return err
	}
	for _, make := range []func(context.Context, string) (string, error){identity, store, blobPut, blobPutAgain, blobExpectAgain, blobUnlike} {
		dir, err := os.MkdirTemp(root, "part-")
		if err != nil {
			return err
		}
		if err := syncPath(root); err != nil {
			return err
		}
		path, err := make(ctx, dir)
		if err != nil {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(acks, "%s %x\n", path, sha256.Sum256(b)); err != nil {
			return err
		}
	}
	return acks.Close()
}

func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func identity(_ context.Context, dir string) (string, error) {
	_, err := node.Create(dir)
	return filepath.Join(dir, node.FileName), err
}

func store(_ context.Context, dir string) (string, error) {
	path := filepath.Join(dir, storeName)
	s, err := boltkv.Open(path, boltkv.Options{})
	if err != nil {
		return "", err
	}
	return path, s.Close()
}

// opened gives an empty folder of blobs and bytes for it.
func opened(dir string) (*dirblob.Store, []byte, record.Hash, error) {
	s, err := dirblob.Open(filepath.Join(dir, blobsName))
	b := []byte(dir)
	return s, b, sha256.Sum256(b), err
}

func blobPut(ctx context.Context, dir string) (string, error) {
	s, b, h, err := opened(dir)
	if err != nil {
		return "", err
	}
	_, err = s.Put(ctx, bytes.NewReader(b), 0)
	return s.Path(h), err
}

// leave writes a blob as a process does that is killed before it syncs the name.
func leave(s *dirblob.Store, b []byte, h record.Hash) error {
	if err := os.WriteFile(s.Path(h), b, 0o600); err != nil {
		return err
	}
	return syncPath(s.Path(h))
}

func blobPutAgain(ctx context.Context, dir string) (string, error) {
	s, b, h, err := opened(dir)
	if err == nil {
		err = leave(s, b, h)
	}
	if err != nil {
		return "", err
	}
	_, err = s.Put(ctx, bytes.NewReader(b), 0)
	return s.Path(h), err
}

func blobExpectAgain(ctx context.Context, dir string) (string, error) {
	s, b, h, err := opened(dir)
	if err == nil {
		err = leave(s, b, h)
	}
	if err != nil {
		return "", err
	}
	return s.Path(h), s.PutExpect(ctx, h, int64(len(b)), bytes.NewReader(b))
}

// blobUnlike: what was announced as something else is kept in quarantine.
func blobUnlike(ctx context.Context, dir string) (string, error) {
	s, b, h, err := opened(dir)
	if err != nil {
		return "", err
	}
	if err := s.PutExpect(ctx, h, int64(len(b)), strings.NewReader("something else")); err == nil {
		return "", errors.New("other bytes were taken")
	}
	aside, err := filepath.Glob(filepath.Join(dir, blobsName, "quarantine", "*"))
	if err != nil || len(aside) != 1 {
		return "", fmt.Errorf("%d files in quarantine, %w", len(aside), err)
	}
	return aside[0], nil
}

// Kept cuts a recording of Promise after every call, times times, and gives
// what was promised and is not there.
func Kept(trace io.Reader, root string, times int, deaf bool) (promises int, broken []string, err error) {
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
		for range times {
			im := d.cut(rng).own()
			for path, sum := range promised {
				there := im.there(root, path) && fmt.Sprintf("%x", sha256.Sum256(im.bytes[path])) == sum
				if !there && !told[path] {
					told[path] = true
					broken = append(broken, strings.TrimPrefix(path, root))
				}
			}
		}
	}
	return len(promised), broken, nil
}
