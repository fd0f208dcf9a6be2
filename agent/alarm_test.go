package agent_test

import (
	"net"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/agent"
	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/home"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// far is a server at the other end of an agent's exchange.
type far struct {
	t        *testing.T
	ledger   *ledgertest.Ledger
	service  *exchange.Service
	registry exchangetest.Registry
	lab      record.LabID
	address  string
}

// newFar makes a server that does not answer yet; change may set what it works on.
func newFar(t *testing.T, change func(*exchange.ServiceOptions)) *far {
	t.Helper()
	f := &far{t: t, ledger: ledgertest.Open(t), lab: exchangetest.Lab(t)}
	o := exchange.ServiceOptions{Ledger: f.ledger.Ledger, Blobs: f.ledger.Blobs, Store: f.ledger.Store, Key: f.ledger.Node.PrivateKey}
	if change != nil {
		change(&o)
	}
	var err error
	if f.service, err = exchange.NewService(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	f.address = l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	return f
}

func (f *far) answer() {
	f.t.Helper()
	l, err := net.Listen("tcp", f.address)
	if err != nil {
		f.t.Fatal(err)
	}
	web := httptest.NewUnstartedServer(httppeer.NewHandler(f.service, &f.registry, httppeer.HandlerOptions{}))
	if err := web.Listener.Close(); err != nil {
		f.t.Fatal(err)
	}
	web.Listener = l
	web.Start()
	f.t.Cleanup(web.Close)
}

// What does not pass by itself in an exchange becomes an alarm at the rig, by
// its name and in words, on the API and on the screen; recording goes on.
func TestExchangeRaisesAlarmsAtTheRig(t *testing.T) {
	for _, tc := range []struct {
		kind   string
		words  string
		change func(*exchange.ServiceOptions)
		harm   func(t *testing.T, r *running) (mend func())
	}{
		{"clock_far_off", "behind the server", func(o *exchange.ServiceOptions) {
			o.Now = func() time.Time { return time.Now().Add(time.Hour) }
		}, nil},
		{"server_disk_full", "disk of the server", func(o *exchange.ServiceOptions) {
			o.Free = func() (free, total int64, err error) { return 1 << 20, 100 << 30, nil }
		}, nil},
		{"damaged", "missing or damaged on this computer", nil, func(t *testing.T, r *running) func() {
			var path string
			var good []byte
			err := filepath.WalkDir(home.BlobPath(r.opt.Data), func(p string, d os.DirEntry, err error) error {
				if err == nil && !d.IsDir() && path == "" {
					path = p
				}
				return err
			})
			if err == nil {
				good, err = os.ReadFile(path)
			}
			if err != nil || len(good) < 10 {
				t.Fatalf("%s: %d bytes, %v", path, len(good), err)
			}
			bad := append([]byte(nil), good...)
			bad[len(bad)/2] ^= 4
			write := func(b []byte) {
				if err := os.Chmod(path, 0o600); err != nil && !os.IsNotExist(err) {
					t.Error(err)
				}
				if err := os.WriteFile(path, b, 0o600); err != nil {
					t.Error(err)
				}
			}
			write(bad)
			return func() { write(good) }
		}},
	} {
		t.Run(tc.kind, func(t *testing.T) {
			f := newFar(t, tc.change)
			code, err := f.registry.Code(f.service, f.lab)
			if err != nil {
				t.Fatal(err)
			}
			r := start(t, func(o *agent.Options) { o.Server, o.Code = "http://"+f.address, code })
			if a := r.post(part{"file", "a.csv", csv(80)}); a.status != 201 {
				t.Fatalf("%d %s", a.status, a.body)
			}
			if tc.harm != nil {
				defer tc.harm(t, r)()
			}
			f.answer()
			r.until("the alarm "+tc.kind, func() bool { return strings.Contains(r.get("/api/v1/alarms").body, `"`+tc.kind+`"`) })
			r.page("/alarms", tc.words)
			if a := r.post(part{"file", "b.csv", csv(90)}); a.status != 201 {
				t.Errorf("with the alarm: %d %s", a.status, a.body)
			}
		})
	}
}
