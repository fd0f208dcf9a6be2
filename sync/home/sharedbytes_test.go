package home_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/care"
	"thudbook/sync/home"
	"thudbook/sync/ledger"
	"thudbook/sync/record"
)

// A file of the folder whose bytes are an attachment too, as the channel map of
// the set-up, comes back as both; one that is not an attachment does not become one.
func TestRestoreKeepsAFileThatIsAnAttachmentToo(t *testing.T) {
	for _, path := range []string{"maps/rig.toml", "notes/rig.toml"} {
		t.Run(path, func(t *testing.T) {
			root := t.TempDir()
			dir, to, back := filepath.Join(root, "node"), filepath.Join(root, "backup"), filepath.Join(root, "back")
			h := open(t, dir)
			write(t, h, testLab, "x", 2)
			text := []byte("name = \"west\"\n")
			for name, b := range map[string][]byte{path: text, "notes/secret.txt": []byte("not an attachment")} {
				name = filepath.Join(dir, filepath.FromSlash(name))
				if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(name, b, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			ref, err := h.Blobs.Put(t.Context(), bytes.NewReader(text), 0)
			if err != nil {
				t.Fatal(err)
			}
			body, err := record.EncodeBody(map[string]string{"what": "map"})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := h.Ledger.Append(t.Context(), testLab, ledger.Draft{Kind: "hometest.fact", Schema: 1, UID: uuid.New(), Body: body,
				Attachments: []record.Attachment{{SHA256: ref.SHA256, Size: ref.Size, Role: "map", Media: "application/toml"}}}); err != nil {
				t.Fatal(err)
			}
			closed(t, h)
			if _, err := home.BackupStopped(t.Context(), dir, to, "hometest"); err != nil {
				t.Fatal(err)
			}
			r := restore(t, to, back, time.Now())
			if r.Attachments != 3 || !strings.Contains(r.String(), "all were read and are good") {
				t.Errorf("%d attachments came back, want 3: %s", r.Attachments, r)
			}
			if b, err := os.ReadFile(filepath.Join(back, filepath.FromSlash(path))); err != nil || !bytes.Equal(b, text) {
				t.Errorf("the file came back as %q, %v", b, err)
			}
			if e, err := home.ExamineStopped(t.Context(), back); err != nil || e.Class() != care.OK {
				t.Errorf("doctor of the restored folder: %v\n%s", err, e)
			}
		})
	}
}

// An attachment that is gone is named by the short look, and a restore that
// lacks one does not say that all is good.
func TestAMissingAttachmentIsNamed(t *testing.T) {
	root := t.TempDir()
	dir, to, back := filepath.Join(root, "node"), filepath.Join(root, "backup"), filepath.Join(root, "back")
	h := open(t, dir)
	write(t, h, testLab, "x", 5)
	ref, err := h.Blobs.Put(t.Context(), bytes.NewReader(bytes.Repeat([]byte("x3;"), 200)), 0)
	if err != nil {
		t.Fatal(err)
	}
	closed(t, h)
	gone := 0
	err = filepath.WalkDir(home.BlobPath(dir), func(path string, d os.DirEntry, err error) error {
		if err == nil && strings.Contains(path, ref.SHA256.String()) && !d.IsDir() {
			gone++
			return os.Remove(path)
		}
		return err
	})
	if err != nil || gone != 1 {
		t.Fatalf("%d files taken away, %v", gone, err)
	}
	e, err := home.ExamineStopped(t.Context(), dir)
	if err != nil || e.Class() != care.Damaged || !strings.Contains(e.String(), ref.SHA256.String()) {
		t.Errorf("doctor: %v\n%s", err, e)
	}
	if _, err := home.BackupStopped(t.Context(), dir, to, "hometest"); err != nil {
		t.Fatal(err)
	}
	r, err := home.Restore(t.Context(), to, back, time.Now(), verified)
	if err != nil {
		t.Fatal(err)
	}
	if s := r.String(); r.Class() != care.Damaged || strings.Contains(s, "are good") || !strings.Contains(s, "not all of it is good") {
		t.Errorf("class %d:\n%s", r.Class(), s)
	}
}
