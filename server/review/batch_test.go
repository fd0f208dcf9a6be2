package review_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"thudbook/server/account"
	"thudbook/server/evidence"
	"thudbook/server/register"
	"thudbook/server/review"
	"thudbook/sync/exchange"
	"thudbook/sync/lab"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// bench is a lab with n scored shots whose sources are stored.
type bench struct {
	*labtest.Node
	f     review.For
	maker review.Maker
	reg   register.Register
}

func newBench(t testing.TB, n int) *bench {
	b := &bench{Node: labtest.Open(t)}
	l := labtest.FillLab(t, b.Ledger, n, labtest.Options{Blobs: b.Blobs})
	b.reg = register.Register{Ledger: b.Ledger, Views: b.Reader}
	_, key, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	service, err := exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: b.Ledger, Blobs: b.Blobs, Store: b.Store, Key: key, MaxBlobBytes: 1 << 20, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	b.maker = review.Maker{Views: b.Reader, Evidence: &evidence.Store{Blobs: b.Blobs, Service: service}}
	shots, err := b.Reader.FiredWith(t.Context(), scope.All(), l.Ram, 0, lab.At(l.Last)+1)
	if err != nil || len(shots) != n {
		t.Fatalf("%d shots, %v, want %d", len(shots), err, n)
	}
	for i := range shots {
		for _, sum := range []record.Hash{shots[i].Shot.SourceSHA256, shots[i].Shot.MapSHA256} {
			if err := service.Hold(t.Context(), l.Lab, sum, 1); err != nil {
				t.Fatal(err)
			}
		}
	}
	b.f = review.For{By: account.Principal{ID: labtest.ID("p"), Administrator: true}, Scope: scope.Labs(l.Lab), Lab: l.Lab, Shots: shots}
	return b
}

func (b *bench) plain(ctx context.Context, shot *view.ShotRow) (*lab.Score, error) {
	s, _, err := b.maker.Plain(ctx, b.f.Scope, shot)
	return s, err
}

// results counts the scores on record of each stroke.
func (b *bench) results(t testing.TB) (each []int) {
	for i := range b.f.Shots {
		all, err := b.Reader.Scores(t.Context(), b.f.Scope, b.f.Shots[i].ID)
		if err != nil {
			t.Fatal(err)
		}
		each = append(each, len(all))
	}
	return each
}

// A stroke that fails ends the work and names its error; what the batches before
// it gave is recorded, each once, and the progress never runs ahead of what is
// recorded. A stop does the same.
func TestBatchKeepsWhatCameOut(t *testing.T) {
	b := newBench(t, 150)
	broken := errors.New("broken")
	told := 0
	o, err := review.Batch(t.Context(), &b.reg, b.f, func(o review.Outcome) {
		told = o.Done
		recorded := 0
		for _, n := range b.results(t) {
			recorded += n - 1 // each had one
		}
		if recorded < o.Done || o.Done+o.Left != 150 {
			t.Errorf("told of %d done and %d left, %d recorded", o.Done, o.Left, recorded)
		}
	}, func(ctx context.Context, s *view.ShotRow) (*lab.Score, error) {
		if s.ID == b.f.Shots[100].ID {
			return nil, broken
		}
		return b.plain(ctx, s)
	})
	if !errors.Is(err, broken) || o.Done != 64 || told != 64 || o.Recorded < 64 || o.Recorded >= 128 {
		t.Errorf("%+v, told %d, %v; want the first batch done", o, told, err)
	}
	again, sum := b.results(t), 0
	for i, n := range again {
		if n > 2 || i < 64 && n != 2 || i == 100 && n != 1 {
			t.Errorf("stroke %d has %d results", i, n)
		}
		// Each follows the one that was seen, whatever the clocks say.
		if s, err := b.Reader.Shot(t.Context(), b.f.Scope, b.f.Shots[i].ID); err != nil || s.ScoreTurn != uint32(n-1) {
			t.Errorf("stroke %d: the result that holds is of turn %d, %v; want %d", i, s.ScoreTurn, err, n-1)
		}
		sum += n - 1
	}
	if sum != o.Recorded {
		t.Errorf("%d recorded, told of %d", sum, o.Recorded)
	}
	ctx, stop := context.WithCancel(t.Context())
	o, err = review.Batch(ctx, &b.reg, b.f, func(review.Outcome) { stop() }, b.plain)
	if !errors.Is(err, context.Canceled) || o.Done != 64 || o.Left != 86 {
		t.Errorf("stopped after a batch: %+v, %v", o, err)
	}
}

// What was seen when a shot was taken in holds for a score that is made later; that
// certificates could not be read then does not.
func TestFlagsOfTakingInStay(t *testing.T) {
	b := newBench(t, 1)
	shot := &b.f.Shots[0]
	first, err := b.plain(t.Context(), shot)
	if err != nil {
		t.Fatal(err)
	}
	computed := len(first.Flags)
	first.Flags = append([]lab.Flag{{Code: lab.FlagFileTime, Text: "of 1970"}, {Code: lab.FlagCalibrationUnread, Text: "then"}}, first.Flags...)
	if err := b.reg.Scores(t.Context(), b.f.By, b.f.Lab, []register.Result{{Shot: shot, Score: first}}); err != nil {
		t.Fatal(err)
	}
	again, err := b.plain(t.Context(), shot)
	if err != nil {
		t.Fatal(err)
	}
	if len(again.Flags) != computed+1 || again.Flags[0] != (lab.Flag{Code: lab.FlagFileTime, Text: "of 1970"}) {
		t.Errorf("flags %+v, want that of the time and %d computed ones", again.Flags, computed)
	}
}

// BenchmarkRescore scores shots again in batches; the baseline in the same run
// is one after the other, each with a commit of its own, as it was before.
func BenchmarkRescore(b *testing.B) {
	for _, n := range []int{256, 2048} {
		b.Run(fmt.Sprintf("shots=%d", n), func(b *testing.B) {
			w := newBench(b, n)
			var one, many time.Duration
			for b.Loop() {
				began := time.Now()
				for i := range w.f.Shots {
					s, err := w.plain(b.Context(), &w.f.Shots[i])
					if err == nil {
						err = w.reg.Scores(b.Context(), w.f.By, w.f.Lab, []register.Result{{Shot: &w.f.Shots[i], Score: s}})
					}
					if err != nil {
						b.Fatal(err)
					}
				}
				one += time.Since(began)
				began = time.Now()
				o, err := review.Batch(b.Context(), &w.reg, w.f, func(review.Outcome) {}, w.plain)
				if err != nil || o.Recorded != n {
					b.Fatalf("%+v, %v", o, err)
				}
				many += time.Since(began)
			}
			b.ReportMetric(float64(one)/float64(many), "times-faster")
			b.ReportMetric(float64(many.Microseconds())/float64(b.N*n), "µs/shot")
		})
	}
}
