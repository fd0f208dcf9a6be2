package intake_test

import (
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sys/unix"

	"thudbook/agent/intake"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
	"thudbook/sync/view"
)

// BenchmarkTakeIn takes in files of 1 MB durably, and beside each of them
// writes the same bytes in the plainest durable way: write, fdatasync, rename,
// sync of the folder. Time spent in scoring is left out. It reports the ratio
// of the medians and the syncs that a shot costs.
func BenchmarkTakeIn(b *testing.B) {
	views := view.New()
	l := ledgertest.Open(b, ledgertest.Options{Views: views, Damaged: true})
	of, rig := uuid.New(), uuid.New()
	in, err := intake.New(intake.Options{Ledger: l.Ledger, Store: l.Store, Blobs: l.Blobs, Views: views, Lab: func() record.LabID { return of },
		Rig: rig, Data: l.Dir, Reserve: -1})
	if err != nil {
		b.Fatal(err)
	}
	plainDir := b.TempDir()
	body := megabyte()
	one := func(n int) (took, plain time.Duration) {
		var id [16]byte
		_, _ = rand.Read(id[:])
		digits := strconv.FormatUint(binary.BigEndian.Uint64(id[:])%1e5+1e5, 10)[1:]
		for k, at := 0, len("t,ax,ay,az,wx\n0.00000,0.00000,0."); k < 5; k++ { // bytes of their own for each shot
			body[at+k] = digits[k]
		}
		name := hex.EncodeToString(id[:]) + ".csv"
		scoring, start := in.Counts().Scoring, time.Now()
		ref, err := in.Put(b.Context(), bytes.NewReader(body), int64(len(body)))
		if err != nil {
			b.Fatal(err)
		}
		out, err := in.Submit(b.Context(), intake.Submission{Name: name, Ref: ref})
		if err != nil || out.Status != intake.Taken {
			b.Fatalf("%+v %+v %v", out, out.Error, err)
		}
		took = time.Since(start) - (in.Counts().Scoring - scoring)
		start = time.Now()
		if err := writePlain(plainDir, name, body); err != nil {
			b.Fatal(err)
		}
		return took, time.Since(start)
	}
	for n := range 20 { // the first shots make tables and folders
		one(n)
	}
	blobSyncs, commits := l.Blobs.Syncs(), l.Store.Stats().Commits
	var took, plain []time.Duration
	n := 0
	for b.Loop() {
		t, p := one(n)
		took, plain = append(took, t), append(plain, p)
		n++
	}
	slices.Sort(took)
	slices.Sort(plain)
	b.ReportMetric(float64(took[n/2])/float64(plain[n/2]), "x-plain-write")
	b.ReportMetric(float64(took[n/2].Microseconds()), "us/take-in")
	b.ReportMetric(float64(plain[n/2].Microseconds()), "us/plain-write")
	// Each commit of the store syncs twice; the anchor syncs once for each append.
	syncs := float64(l.Blobs.Syncs()-blobSyncs) + 3*float64(l.Store.Stats().Commits-commits)
	b.ReportMetric(syncs/float64(n), "syncs/shot")
}

// megabyte is an acquisition file of 1 MB: five columns at 20 kHz.
func megabyte() []byte {
	var b bytes.Buffer
	b.WriteString("t,ax,ay,az,wx\n")
	for i := 0; b.Len() < 1_000_000-60; i++ {
		a := max(0, 80*math.Sin(float64(i-10_000)/400))
		if i > 12_000 {
			a = 0
		}
		fmt.Fprintf(&b, "%.5f,%.5f,0.12345,0.23456,%.5f\n", float64(i)/20000, a, a/10)
	}
	return b.Bytes()
}

func writePlain(dir, name string, body []byte) error {
	part := filepath.Join(dir, name+".part")
	f, err := os.Create(part)
	if err != nil {
		return err
	}
	if _, err := f.Write(body); err != nil {
		return err
	}
	if err := unix.Fdatasync(int(f.Fd())); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(part, filepath.Join(dir, name)); err != nil {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	if err := d.Sync(); err != nil {
		return err
	}
	return d.Close()
}
