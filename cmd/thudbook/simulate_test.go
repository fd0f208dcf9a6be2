package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"thudbook/metrics/chanmap"
)

// simulate runs the command as the command line would, without the program
// around it.
func simulate(t *testing.T, ctx context.Context, args ...string) (out, errOut string, err error) {
	t.Helper()
	var c simulateCmd
	p, err := kong.New(&c, kong.Writers(io.Discard, io.Discard))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Parse(args); err != nil {
		return "", "", err
	}
	var o, e bytes.Buffer
	err = c.Run(&app{Ctx: ctx, Out: &o, Err: &e, Log: slog.New(slog.DiscardHandler)})
	return o.String(), e.String(), err
}

func read(t *testing.T, elem ...string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(elem...))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestSimulateWritesShotsMetaAndMap(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new")
	out, errOut, err := simulate(t, t.Context(), "--out", dir, "--shots", "3", "--seed", "4", "--target-speed", "5.5", "--start", "2031-05-06T07:08:09Z")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Count(out, "\n") != 3 || !strings.Contains(errOut, "only simulates") || !strings.Contains(errOut, "local codes") {
		t.Errorf("printed %q and %q", out, errOut)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if got, want := strings.Join(names, " "), "map.toml shot-0001.csv shot-0001.meta.json shot-0002.csv shot-0002.meta.json shot-0003.csv shot-0003.meta.json"; got != want {
		t.Errorf("folder holds %s, want %s", got, want)
	}
	if _, err := chanmap.Parse(bytes.NewReader(read(t, dir, "map.toml")), "map.toml"); err != nil {
		t.Error(err)
	}
	var m map[string]any
	if err := json.Unmarshal(read(t, dir, "shot-0002.meta.json"), &m); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]any{
		"specimen": "SIM-1", "location": "front boss", "condition": "ambient", "target_speed_m_s": 5.5,
		"fired_at": "2031-05-06T07:09:39Z", "operator": "op-1", "kind": "shot",
	} {
		if m[key] != want {
			t.Errorf("meta %s = %v, want %v", key, m[key], want)
		}
	}
	if p, _ := m["tank_pressure_kpa_gauge"].(float64); p < 140 || p > 190 {
		t.Errorf("meta tank_pressure_kpa_gauge = %v, want a pressure near 163 kPa for 5.5 m/s", m["tank_pressure_kpa_gauge"])
	}
}

func TestSimulateIsTheSameForTheSameSeed(t *testing.T) {
	a, b, other := t.TempDir(), t.TempDir(), t.TempDir()
	for _, call := range [][]string{
		{"--out", a, "--shots", "3", "--seed", "4"},
		{"--out", b, "--shots", "1", "--seed", "4"},
		{"--out", b, "--shots", "2", "--seed", "4", "--first", "2"}, // in two calls
		{"--out", other, "--shots", "3", "--seed", "5"},
	} {
		if _, _, err := simulate(t, t.Context(), call...); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"shot-0001.csv", "shot-0002.csv", "shot-0003.csv"} {
		if !bytes.Equal(read(t, a, name), read(t, b, name)) {
			t.Errorf("%s differs between two runs of one seed", name)
		}
		if bytes.Equal(read(t, a, name), read(t, other, name)) {
			t.Errorf("%s is the same for two seeds", name)
		}
	}
}

func TestSimulateNeverOverwrites(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := simulate(t, t.Context(), "--out", dir); err != nil {
		t.Fatal(err)
	}
	before := read(t, dir, "shot-0001.csv")
	_, _, err := simulate(t, t.Context(), "--out", dir, "--seed", "2", "--no-meta")
	if err == nil || !strings.Contains(err.Error(), "shot-0001.csv") || !strings.Contains(err.Error(), "--first") {
		t.Errorf("a second run over the same names: error %v", err)
	}
	if err := os.Remove(filepath.Join(dir, "shot-0001.meta.json")); err != nil {
		t.Fatal(err)
	}
	if _, _, err = simulate(t, t.Context(), "--out", dir); err == nil {
		t.Error("a second run with meta was accepted")
	}
	if _, err := os.Stat(filepath.Join(dir, "shot-0001.meta.json")); err == nil {
		t.Error("a refused shot left its meta beside the file of another shot")
	}
	if !bytes.Equal(before, read(t, dir, "shot-0001.csv")) {
		t.Error("the file was changed")
	}
	_, _, err = simulate(t, t.Context(), "--out", dir, "--channels", "12", "--first", "9")
	if err == nil || !strings.Contains(err.Error(), "map.toml") {
		t.Errorf("another rig's map: error %v", err)
	}
}

func TestSimulateFlags(t *testing.T) {
	dir := t.TempDir()
	_, _, err := simulate(t, t.Context(), "--out", dir, "--channels", "12", "--pressure", "138", "--location", "rear", "--fault", "dead:ay", "--fault", "dropout:fx", "--no-meta")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(read(t, dir, "shot-0001.csv"), []byte("\nt,ax,ay,az,wx,wy,wz,gate,fx,fy,fz,tank,ram_force\n")) {
		t.Error("not the twelve columns")
	}
	if _, err := os.Stat(filepath.Join(dir, "shot-0001.meta.json")); err == nil {
		t.Error("--no-meta wrote a meta file")
	}
	for _, bad := range [][]string{
		{"--fault", "dead"}, {"--fault", "dead:nothing"}, {"--location", "elbow"}, {"--pressure", "5000"},
		{"--target-speed", "99"}, {"--channels", "8"}, {"--shots", "0"}, {"--prefix", "../x"}, {"--kind", "party"},
	} {
		empty := t.TempDir()
		if _, _, err := simulate(t, t.Context(), append([]string{"--out", empty}, bad...)...); err == nil {
			t.Errorf("%v was accepted", bad)
		}
		if found, _ := filepath.Glob(filepath.Join(empty, "*.csv")); len(found) > 0 {
			t.Errorf("%v left %v", bad, found)
		}
	}
}

func TestSimulateStopsWhenAsked(t *testing.T) {
	dir := t.TempDir()
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		_, _, err := simulate(t, ctx, "--out", dir, "--shots", "100", "--every", "1h")
		done <- err
	}()
	for { // the first shot is there at once
		if _, err := os.Stat(filepath.Join(dir, "shot-0001.csv")); err == nil {
			break
		}
		select {
		case err := <-done:
			t.Fatalf("ended early: %v", err)
		case <-time.After(5 * time.Millisecond):
		}
	}
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if found, _ := filepath.Glob(filepath.Join(dir, "*.csv")); len(found) != 1 {
		t.Errorf("files %v, want one", found)
	}
}
