package tell

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/kv/boltkv"
	"thudbook/sync/record"
)

// facts is a source of facts that does something while it is asked.
type facts struct {
	all   []Fact
	asked func()
}

func (f *facts) LabName(context.Context, record.LabID) (string, bool, error) {
	return "Invented lab", true, nil
}

func (f *facts) Facts(context.Context, record.LabID) ([]Fact, error) {
	if f.asked != nil {
		f.asked()
	}
	return f.all, nil
}

func (f *facts) Digest(context.Context, record.LabID, time.Time) (*Digest, error) {
	return &Digest{}, nil
}

// Who is taken off the list hears nothing from then on, and nothing of it is left:
// also where a look for news, or a delivery, is under way at that moment.
func TestTakenOffInTheMiddle(t *testing.T) {
	for _, when := range []string{"during the look", "during a delivery"} {
		var told atomic.Int64
		var off func()
		web := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
			if told.Add(1); when == "during a delivery" {
				off()
			}
		}))
		defer web.Close()
		store, err := boltkv.Open(filepath.Join(t.TempDir(), "store"), boltkv.Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer store.Close()
		src := &facts{all: []Fact{{Key: "a", Title: "a"}}}
		x := New(Options{Store: store, Source: src, HookPrivate: true, Now: time.Now, Log: slog.New(slog.DiscardHandler)})
		if _, err := x.Add(t.Context(), Subscriber{Lab: uuid.New(), To: web.URL + "/hook", Due: true}); err != nil {
			t.Fatal(err)
		}
		subs, err := x.Subscribers(t.Context())
		if err != nil || len(subs) != 1 {
			t.Fatalf("%d subscribers, %v", len(subs), err)
		}
		off = func() {
			if err := x.Remove(t.Context(), subs[0].ID); err != nil {
				t.Error(err)
			}
		}
		want := int64(0)
		if when == "during the look" {
			src.asked = off
		} else { // two messages wait, and the first is on its way
			want = 1
			for i := range 2 {
				if err := x.note(t.Context(), &subs[0], "Invented lab", []Fact{{Key: fmt.Sprint("early", i), Title: "early"}}); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := x.Once(t.Context()); err != nil {
			t.Fatal(err)
		}
		x.on.Wait()
		if n := told.Load(); n != want {
			t.Errorf("%s: told %d times, want %d", when, n, want)
		}
		err = store.View(t.Context(), func(r kv.Reader) error {
			for _, table := range append(messages().Tables(), append(tolds().Tables(), subscribers().Tables()...)...) {
				for e, err := range r.Scan(table, nil, nil) {
					if err != nil {
						return err
					}
					t.Errorf("%s: left in %s: %x", when, table, e.Key)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
