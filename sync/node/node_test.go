package node_test

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thudbook/sync/node"
	"thudbook/sync/problem"
)

func TestCreateThenLoad(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if _, err := node.Load(dir); problem.Of(err) != problem.NotFound {
		t.Errorf("Load of nothing = %v", err)
	}
	made, err := node.LoadOrCreate(dir)
	if err != nil {
		t.Fatal(err)
	}
	fi, err := os.Stat(filepath.Join(dir, node.FileName))
	if err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", fi.Mode(), err)
	}
	loaded, err := node.LoadOrCreate(dir)
	if err != nil || loaded.ID != made.ID || !loaded.PrivateKey.Equal(made.PrivateKey) {
		t.Errorf("loaded %v, made %v, %v", loaded, made, err)
	}
	msg := []byte("a head")
	if !ed25519.Verify(made.PublicKey(), msg, ed25519.Sign(loaded.PrivateKey, msg)) {
		t.Error("the key pair does not fit together")
	}
	if _, err := node.Create(dir); problem.Of(err) != problem.Conflict {
		t.Errorf("second Create = %v", err)
	}
	if names, err := os.ReadDir(dir); err != nil || len(names) != 1 {
		t.Errorf("the folder holds %v, %v", names, err)
	}
	other, err := node.Create(t.TempDir())
	if err != nil || other.ID == made.ID || other.PrivateKey.Equal(made.PrivateKey) {
		t.Errorf("two nodes are the same: %v, %v", other, err)
	}
}

func TestKeyIsNeverPrinted(t *testing.T) {
	id, err := node.Create(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	slog.New(slog.NewJSONHandler(&log, nil)).Info("x", "node", id, "wrapped", struct{ N node.Identity }{id})
	text := log.String() + fmt.Sprintf("%v %+v %#v %s %x %v", id, id, id, id, id, &id)
	seed := id.PrivateKey.Seed()
	for _, secret := range []string{base64.StdEncoding.EncodeToString(seed), fmt.Sprintf("%x", seed), fmt.Sprint(seed), fmt.Sprintf("%d, %d, %d", seed[0], seed[1], seed[2])} {
		if strings.Contains(text, secret) {
			t.Errorf("the key is in %q", text)
		}
	}
	if !strings.Contains(text, id.ID.String()) {
		t.Errorf("the id is not in %q", text)
	}
	if b, err := json.Marshal(id); err == nil {
		t.Errorf("JSON gives %s", b)
	}
}

func TestLoadRefuses(t *testing.T) {
	for name, tc := range map[string]struct {
		content string
		mode    os.FileMode
		want    problem.Code
	}{
		"readable by others": {`{}`, 0o644, problem.Invalid},
		"empty":              {``, 0o600, problem.Damaged},
		"cut short":          {`{"version":1,"id":"`, 0o600, problem.Damaged},
		"no key":             {`{"version":1,"id":"00112233-4455-6677-8899-aabbccddeeff"}`, 0o600, problem.Damaged},
		"short key":          {`{"version":1,"id":"00112233-4455-6677-8899-aabbccddeeff","ed25519_seed":"AAAA"}`, 0o600, problem.Damaged},
		"another version":    {`{"version":2,"id":"00112233-4455-6677-8899-aabbccddeeff","ed25519_seed":"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA="}`, 0o600, problem.Damaged},
	} {
		dir := t.TempDir()
		path := filepath.Join(dir, node.FileName)
		if err := os.WriteFile(path, []byte(tc.content), tc.mode); err != nil {
			t.Fatal(err)
		}
		if _, err := node.Load(dir); problem.Of(err) != tc.want || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: Load = %v", name, err)
		}
		if after, err := os.ReadFile(path); err != nil || string(after) != tc.content {
			t.Errorf("%s: the file was changed", name)
		}
	}
}
