package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/uuid"
)

// labOnServer is a running server with one lab, a code for an agent of it, and
// a cable to the server that can be cut.
type labOnServer struct {
	server *process
	admin  *demoClient
	id     uuid.UUID
	code   string
	data   string // folder of the server
	cable  *link
}

func newLabOnServer(t *testing.T, name string) *labOnServer {
	t.Helper()
	serverData := t.TempDir()
	server := start(t, "server", "--data", serverData, "--listen", "127.0.0.1:0")
	b, err := os.ReadFile(filepath.Join(serverData, "first-password"))
	if err != nil {
		t.Fatal(err)
	}
	admin, err := signIn(t.Context(), server.url(""), "admin", string(bytes.TrimSpace(b)))
	if err != nil {
		t.Fatal(err)
	}
	var made idAnswer
	var code struct {
		Code string `json:"code"`
	}
	if err := admin.post(t.Context(), "/api/v1/labs", map[string]string{"name": name}, &made); err != nil {
		t.Fatal(err)
	}
	if err := admin.post(t.Context(), "/api/v1/labs/"+made.ID.String()+"/codes", map[string]string{"name": "rig"}, &code); err != nil {
		t.Fatal(err)
	}
	cable, err := newLink(server.addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(cable.close)
	return &labOnServer{server: server, admin: admin, id: made.ID, code: code.Code, data: serverData, cable: cable}
}
