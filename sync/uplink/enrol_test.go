package uplink_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/uplink"
)

type site struct {
	agent, server *ledgertest.Ledger
	service       *exchange.Service
	registry      *exchangetest.Registry
	web           *httptest.Server
	handler       *httppeer.Handler
	lab           record.LabID
	loseAnswers   atomic.Bool
	loseHello     atomic.Bool
	enrolments    atomic.Int64
}

func newSite(t *testing.T, now func() time.Time) *site {
	t.Helper()
	s := &site{agent: ledgertest.Open(t), server: ledgertest.Open(t), registry: &exchangetest.Registry{}, lab: exchangetest.Lab(t)}
	var err error
	s.service, err = exchange.NewService(t.Context(), exchange.ServiceOptions{Ledger: s.server.Ledger, Blobs: s.server.Blobs,
		Store: s.server.Store, Key: s.server.Node.PrivateKey, Now: now, Rekeyed: s.registry.Rekeyed})
	if err != nil {
		t.Fatal(err)
	}
	s.handler = httppeer.NewHandler(s.service, s.registry, httppeer.HandlerOptions{})
	s.web = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := s.handler
		if strings.HasSuffix(r.URL.Path, "/hello") && s.loseHello.CompareAndSwap(true, false) {
			h.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		}
		if strings.HasSuffix(r.URL.Path, "/enroll") {
			s.enrolments.Add(1)
			if s.loseAnswers.Load() {
				h.ServeHTTP(httptest.NewRecorder(), r)
				panic(http.ErrAbortHandler)
			}
		}
		h.ServeHTTP(w, r)
	}))
	s.web.Config.ErrorLog = nil
	t.Cleanup(s.web.Close)
	return s
}

func (s *site) code(t *testing.T) string {
	t.Helper()
	c, err := s.registry.Code(s.service, s.lab)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// until waits for a state, woken by changes.
func until(t *testing.T, u *uplink.Uplink, what string, ok func(uplink.State) bool) uplink.State {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	for {
		changed := u.Changed()
		st, err := u.State(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if ok(st) {
			return st
		}
		select {
		case <-changed:
		case <-ctx.Done():
			t.Fatalf("never %s: %+v", what, st)
		}
	}
}

func TestAgentRecordsBeforeItIsEnrolled(t *testing.T) {
	t.Parallel()
	s := newSite(t, nil)
	u := open(t, s.agent, uplink.Options{MaxBackoff: 100 * time.Millisecond})
	stop := start(t, u)
	defer func() { stop() }()
	local := u.Lab()
	if local != u.LocalLab() || local == (record.LabID{}) {
		t.Fatalf("before enrolment the lab is %v", local)
	}
	exchangetest.Shots(t, s.agent, local, 4, 1000)
	st, err := u.State(t.Context())
	if err != nil || st.Enrolled || st.PendingRecords != 5 || st.Stuck != "" {
		t.Errorf("not enrolled: %+v, %v", st, err)
	}
	if err := u.Enrol(t.Context(), s.web.URL, s.code(t)); err != nil {
		t.Fatal(err)
	}
	if u.Lab() != s.lab || len(u.Labs()) != 2 {
		t.Errorf("the lab is %v, want the server's; labs %v", u.Lab(), u.Labs())
	}
	exchangetest.Shots(t, s.agent, u.Lab(), 2, 1000)
	u.Wake()
	until(t, u, "in step", func(st uplink.State) bool {
		return st.Connected && st.PendingRecords == 0 && st.PendingAttachments == 0 && !st.Running
	})
	exchangetest.Same(t, s.agent, s.server, true, s.lab, local)

	stop() // a restart knows everything again
	u = open(t, s.agent, uplink.Options{})
	stop = start(t, u)
	got, ok := u.Settings()
	if !ok || got.Lab != s.lab || got.Name != "rig" || got.URL != s.web.URL {
		t.Errorf("after a restart: %+v, %v", got, ok)
	}
	if st, err := u.State(t.Context()); err != nil || st.LastExchange.IsZero() || st.PendingRecords != 0 {
		t.Errorf("after a restart: %+v, %v", st, err)
	}
}

// The answer to the enrolment is lost: the same code serves again, with the
// same enrolment id.
func TestLostAnswerToAnEnrolment(t *testing.T) {
	t.Parallel()
	s := newSite(t, nil)
	u := open(t, s.agent, uplink.Options{})
	code := s.code(t)
	s.loseAnswers.Store(true)
	err := u.Enrol(t.Context(), s.web.URL, code)
	if problem.Of(err) != problem.Unavailable {
		t.Fatalf("a lost answer: %v, want unavailable", err)
	}
	if _, ok := u.Settings(); ok {
		t.Error("enrolled without an answer")
	}
	s.loseAnswers.Store(false)
	u = open(t, s.agent, uplink.Options{}) // restarted in between
	if err := u.Enrol(t.Context(), s.web.URL, code); err != nil || s.enrolments.Load() < 2 {
		t.Errorf("again: %v after %d requests", err, s.enrolments.Load())
	}
	ids := s.registry.Enrolments()
	for _, id := range ids[1:] {
		if id != ids[0] {
			t.Errorf("enrolment ids %v, want one", ids)
		}
	}
}

func TestEnrolRefuses(t *testing.T) {
	t.Parallel()
	s, other := newSite(t, nil), newSite(t, nil)
	u := open(t, s.agent, uplink.Options{})
	good := s.code(t)
	foreign := other.code(t)
	page := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		if _, err := io.WriteString(w, "<html>sign in</html>"); err != nil {
			t.Error(err)
		}
	}))
	t.Cleanup(page.Close)
	for name, c := range map[string]struct {
		url, code string
		want      problem.Code
	}{
		"no code":                  {s.web.URL, "abc", problem.Invalid},
		"plain http elsewhere":     {"http://thudbook.example", good, problem.Invalid},
		"no address":               {"here", good, problem.Invalid},
		"another server's code":    {s.web.URL, foreign, problem.Unauthenticated},
		"a network's sign-in page": {page.URL, good, problem.Unavailable},
	} {
		if err := u.Enrol(t.Context(), c.url, c.code); problem.Of(err) != c.want {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
	if _, ok := u.Settings(); ok {
		t.Error("enrolled all the same")
	}
}

// A server that takes the code but is not the one that made it is refused: the
// code carries the mark of the server's key.
func TestServerMarkInTheCode(t *testing.T) {
	t.Parallel()
	s, impostor := newSite(t, nil), newSite(t, nil)
	code := s.code(t)
	if err := impostor.registry.Accept(code, impostor.lab); err != nil {
		t.Fatal(err)
	}
	u := open(t, s.agent, uplink.Options{})
	if err := u.Enrol(t.Context(), impostor.web.URL, code); problem.Of(err) != problem.Unauthenticated {
		t.Errorf("%v, want unauthenticated", err)
	}
}

func TestClockAndWithdrawalInWords(t *testing.T) {
	t.Parallel()
	s := newSite(t, func() time.Time { return time.Now().Add(-time.Hour) })
	u := open(t, s.agent, uplink.Options{MaxBackoff: 50 * time.Millisecond})
	defer start(t, u)()
	exchangetest.Shots(t, s.agent, u.Lab(), 1, 10)
	if err := u.Enrol(t.Context(), s.web.URL, s.code(t)); err != nil {
		t.Fatal(err)
	}
	st := until(t, u, "in step", func(st uplink.State) bool { return st.Connected && st.PendingRecords == 0 && !st.Running })
	if off := st.ClockOffset - time.Hour; off.Abs() > 10*time.Second || !strings.Contains(st.ClockWarning, "ahead of the server's") {
		t.Errorf("clock: %v, %q", st.ClockOffset, st.ClockWarning)
	}
	s.registry.Withdraw(s.agent.Node.ID)
	exchangetest.Shots(t, s.agent, u.Lab(), 1, 10)
	u.Wake()
	st = until(t, u, "refused", func(st uplink.State) bool { return st.Stuck != "" && !st.Running })
	if st.Connected || !strings.Contains(st.Stuck, "withdrawn") || st.PendingRecords == 0 {
		t.Errorf("withdrawn: %+v", st)
	}
}
