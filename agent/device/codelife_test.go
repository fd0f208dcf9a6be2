package device_test

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thudbook/agent/device"
	"thudbook/sync/kv/boltkv"
)

// A code is good until its five minutes are over, by the clock of the book, and
// who comes with it later is told so, and since when; a code that was replaced or
// used is another matter.
func TestCodeExpires(t *testing.T) {
	store, err := boltkv.Open(filepath.Join(t.TempDir(), "devices.db"), boltkv.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() })
	now := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	b, err := device.Open(t.Context(), store, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	pair := func(code, want string) {
		t.Helper()
		_, token, err := b.Pair(t.Context(), code, "Blue tablet", "192.0.2.7")
		switch {
		case want == "" && (err != nil || token == ""):
			t.Errorf("not paired: %v", err)
		case want != "" && (err == nil || token != "" || !strings.Contains(err.Error(), want)):
			t.Errorf("answered with %v, want %q", err, want)
		}
	}
	first := b.NewCode("p1")
	now = now.Add(device.CodeLife - time.Second)
	if c, ok := b.Code(); !ok || c.Left(now) != time.Second {
		t.Errorf("a second before its end the code has %s left, %t", c.Left(now), ok)
	}
	now = now.Add(time.Second)
	if _, ok := b.Code(); ok || first.Left(now) != 0 {
		t.Error("the code is still good after its five minutes")
	}
	now = now.Add(90 * time.Second)
	pair(first.Text, "This code was good for five minutes, which were over 1m30s ago.")
	second := b.NewCode("p1")
	pair(first.Text, "This code is not good: another was made since")
	now = now.Add(device.CodeLife - time.Nanosecond)
	pair(second.Text, "")
	now = now.Add(time.Hour)
	pair(second.Text, "This code was used already: at "+now.Add(-time.Hour).Local().Format("15:04:05")+" it paired the device “Blue tablet”.")
	b.NewCode("p1")
	pair(second.Text, "This code was used already")
	if all := b.List(); len(all) != 1 || all[0].Name != "Blue tablet" {
		t.Errorf("paired: %+v", all)
	}
}
