package ledger_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"thudbook/sync/blob/blobtest"
	"thudbook/sync/ledger"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// BenchmarkDurableShot takes in a file of 1 MB durably (bytes beside the log,
// then a record that names them, scoring excluded) and compares the time with
// writing the same bytes, syncing them, renaming the file and syncing the
// folder, in turn with it on the same disk. To reach: ratio at most 3.0, at
// most five syncs.
func BenchmarkDurableShot(b *testing.B) {
	l := ledgertest.Open(b, ledgertest.Options{Views: notes{}})
	plain := b.TempDir()
	data := blobtest.Random(1, 1_000_000)
	intake := func() {
		ref, err := l.Blobs.Put(b.Context(), bytes.NewReader(data), 0)
		if err != nil {
			b.Fatal(err)
		}
		d := draft("shot", "x")
		d.Attachments = []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "source", Media: "text/csv"}}
		if _, err := l.Append(b.Context(), labA, d); err != nil {
			b.Fatal(err)
		}
	}
	intake() // the first one opens the origin
	syncs := func() int64 { return l.Blobs.Syncs() + 2*l.Store.Stats().Commits + l.AnchorSyncs() }
	before, n := syncs(), 0
	var ours, theirs []time.Duration
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		n++
		binary.BigEndian.PutUint64(data, uint64(n))
		first := time.Now()
		if n%2 == 0 {
			intake()
		} else if err := durableFile(plain, data); err != nil {
			b.Fatal(err)
		}
		second := time.Now()
		if n%2 == 0 {
			if err := durableFile(plain, data); err != nil {
				b.Fatal(err)
			}
		} else {
			intake()
		}
		took, other := second.Sub(first), time.Since(second)
		if n%2 != 0 {
			took, other = other, took
		}
		ours, theirs = append(ours, took), append(theirs, other)
	}
	b.ReportMetric(float64(syncs()-before)/float64(n), "syncs/op")
	b.ReportMetric(float64(median(ours))/float64(median(theirs)), "ratio")
	b.ReportMetric(float64(median(theirs)), "plain-ns/op")
}

func median(d []time.Duration) time.Duration {
	d = slices.Clone(d)
	slices.Sort(d)
	return d[len(d)/2]
}

// durableFile is what the intake is measured against.
func durableFile(dir string, data []byte) error {
	sum := sha256.Sum256(data[:8])
	part := filepath.Join(dir, "part")
	f, err := os.Create(part)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, ledger.DataSync(f), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(part, filepath.Join(dir, hex.EncodeToString(sum[:]))); err != nil {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// BenchmarkAppend compares records per second of 1 and of 64 callers at once:
// who waits for a commit shares the next one.
func BenchmarkAppend(b *testing.B) {
	l := ledgertest.Open(b, ledgertest.Options{NoBlobs: true})
	add(b, l, labA, "first")
	const callers = 64
	var alone, shared time.Duration
	for b.Loop() {
		start := time.Now()
		for range callers {
			add(b, l, labA, "x")
		}
		alone += time.Since(start)
		start = time.Now()
		var wg sync.WaitGroup
		for range callers {
			wg.Go(func() {
				if _, err := l.Append(context.Background(), labA, draft("note", "x")); err != nil {
					b.Errorf("Append: %v", err)
				}
			})
		}
		wg.Wait()
		shared += time.Since(start)
	}
	b.ReportMetric(float64(alone)/float64(shared), "gain-of-64")
}
