package agent_test

import (
	"net"
	"net/http/httptest"
	"strings"
	"testing"

	"thudbook/agent"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
)

// The overview says in words why there is no enrolment yet: nobody answers
// at the address; later, the server refuses the code.
func TestOverviewSaysWhyTheAgentIsNotEnrolled(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	service, lab := exchangetest.Service(t, ledgertest.Open(t)), exchangetest.Lab(t)
	var asked, other exchangetest.Registry
	code, err := other.Code(service, lab) // one that the server's own registry does not know
	if err != nil {
		t.Fatal(err)
	}
	r := start(t, func(o *agent.Options) { o.Server, o.Code = "http://"+address, code })
	r.page("/overview", "server not reached yet", "Why it does not go on", "Thudbook is not running on it", "http://"+address)
	if text := r.get("/api/v1/sync").body; !strings.Contains(text, `"cause":"not_listening"`) {
		t.Errorf("the API says %s", text)
	}

	web := httptest.NewUnstartedServer(httppeer.NewHandler(service, &asked, httppeer.HandlerOptions{}))
	if err := web.Listener.Close(); err != nil {
		t.Fatal(err)
	}
	if web.Listener, err = net.Listen("tcp", address); err != nil {
		t.Fatal(err)
	}
	web.Start()
	defer web.Close()
	r.until("the refusal is on the screen", func() bool { return strings.Contains(r.get("/overview").body, "not connected") })
	r.page("/overview", "not connected", "Why it does not go on", "code")
}
