//go:build unix

package intake_test

import (
	"os"
	"runtime"
	"runtime/metrics"
	"strconv"
	"testing"
	"time"

	"thudbook/sync/ledger/ledgertest"
)

// TestHugeFile takes in 500 MB of rows. The memory in use may not follow the
// size of the file.
func TestHugeFile(t *testing.T) {
	if testing.Short() {
		t.Skip("writes 500 MB; run without -short")
	}
	const size = 500 << 20
	w := newWorld(t, ledgertest.Options{})
	f, err := os.Create(w.path("huge.part"))
	w.must(err)
	_, err = f.WriteString("t,ax,ay,az,wx\n")
	w.must(err)
	var block []byte
	for n, i := 0, 0; n < size; {
		block = block[:0]
		for len(block) < 1<<20 {
			block = strconv.AppendFloat(block, float64(i)/20000, 'f', 5, 64)
			block = append(block, ",0.12345,0.23456,0.34567,0.45678\n"...)
			i++
		}
		k, err := f.Write(block)
		w.must(err)
		n += k
	}
	w.must(f.Close())
	w.must(os.Rename(w.path("huge.part"), w.path("huge.csv")))
	w.write("small.csv", csv(65))

	runtime.GC()
	done, peak := make(chan struct{}), make(chan uint64)
	go func() {
		sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		var most uint64
		for {
			metrics.Read(sample)
			most = max(most, sample[0].Value.Uint64())
			select {
			case <-done:
				peak <- most
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}()
	w.start()
	w.within(5*time.Minute, "both files are dealt with", func() bool { return len(w.shots())+len(w.quarantine(true)) == 2 })
	close(done)
	most := <-peak
	t.Logf("heap at most %d MB; %+v", most>>20, w.quarantine(true)["huge.csv"].Quarantine.Error)
	if most > size/2 {
		t.Errorf("the heap reached %d MB for a file of %d MB", most>>20, size>>20)
	}
	if q, ok := w.quarantine(true)["huge.csv"]; ok {
		if q.Quarantine.Error.Code != "too_large" || q.Quarantine.Error.Fix == "" {
			t.Errorf("error = %+v", q.Quarantine.Error)
		}
		w.must(w.l.Blobs.Verify(t.Context(), q.Quarantine.SourceSHA256))
	}
	if _, ok := w.shots()["small.csv"]; !ok {
		t.Error("the small file beside it was not taken in")
	}
}
