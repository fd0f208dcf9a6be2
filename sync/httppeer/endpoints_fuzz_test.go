package httppeer_test

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/httppeer"
	"thudbook/sync/ledger/ledgertest"
	"thudbook/sync/record"
)

// FuzzEndpoints sends any body to every call, with a right token: no call
// panics, every refusal is a problem, and no record or attachment comes to be.
func FuzzEndpoints(f *testing.F) {
	server, agent := ledgertest.Open(f), ledgertest.Open(f)
	lab := exchangetest.Lab(f)
	registry := &exchangetest.Registry{}
	registry.Add(exchangetest.Principal(agent, lab))
	service := exchangetest.Service(f, server)
	h := httppeer.NewHandler(service, registry, httppeer.HandlerOptions{})
	web := httptest.NewServer(h)
	defer web.Close()
	tok := token(f, &rig{agent: agent, server: server, service: service, registry: registry, handler: h, http: web, lab: lab})
	fill := strings.NewReplacer("{node}", agent.Node.ID.String(), "{lab}", lab.String(), "{epoch}", "1", "{sha256}", strings.Repeat("ab", 32))
	routes := httppeer.Routes(h)
	bodies := [][]byte{nil, {0xa0}, []byte("<html>"), bytes.Repeat([]byte{0x9f}, 100), part([]byte("x")), whole(partMedia[0], []byte("x")), whole(partMedia[1], []byte("x")), {0x28, 0xb5, 0x2f, 0xfd, 0}}
	if q, err := record.EncodeBody(exchange.HelloRequest{Protocols: exchange.Protocols(), Node: agent.Node.ID, Nonce: make([]byte, exchange.NonceSize)}); err == nil {
		bodies = append(bodies, q)
	}
	for i := range routes {
		for _, b := range bodies {
			f.Add(uint8(i), b, "0", "10", i%2 == 0)
		}
	}
	media := map[bool]string{true: "application/cbor", false: "application/vnd.thudbook.records"}
	f.Fuzz(func(t *testing.T, n uint8, body []byte, offset, size string, zstd bool) {
		rt := routes[int(n)%len(routes)]
		method, path, _ := strings.Cut(rt.Pattern, " ")
		q := httptest.NewRequest(method, fill.Replace(path), bytes.NewReader(body))
		q.Header.Set("Authorization", "Bearer "+tok)
		q.Header.Set("Content-Type", media[!strings.Contains(path, "/push/")])
		if method == http.MethodPatch {
			q.Header.Set("Content-Type", partMedia[len(offset)%2])
		}
		q.Header["Upload-Offset"], q.Header["Upload-Length"] = []string{offset}, []string{size}
		q.Header["Range"] = []string{"bytes=" + offset + "-"}
		if zstd {
			q.Header.Set("Content-Encoding", "zstd")
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, q)
		if w.Code >= 300 && w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: status %d with %q", rt.Pattern, w.Code, w.Header().Get("Content-Type"))
		}
		if w.Code == http.StatusInternalServerError {
			t.Errorf("%s: an error of the server's own: %s", rt.Pattern, w.Body)
		}
		if head, err := server.Head(t.Context(), agent.Own(lab)); err != nil || head.Seq != 0 {
			t.Errorf("%s: %d records, %v", rt.Pattern, head.Seq, err)
		}
	})
}
