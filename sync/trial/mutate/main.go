package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strings"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	left, err := run(ctx, os.Args[1:])
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
	}
	if err != nil || left > 0 {
		stop()
		os.Exit(1)
	}
}

// run gives how many mutants no test noticed.
func run(ctx context.Context, args []string) (left int, err error) {
	flags := flag.NewFlagSet("mutate", flag.ContinueOnError)
	only := flags.String("kind", "", "sync, hash or sequence; empty: all")
	match := flags.String("match", "", "only sites whose name matches this expression")
	list := flags.Bool("list", false, "list the sites and end")
	if err := flags.Parse(args); err != nil {
		return 0, err
	}
	want, err := regexp.Compile(*match)
	if err != nil {
		return 0, err
	}
	root, err := moduleRoot(ctx)
	if err != nil {
		return 0, err
	}
	sites, err := findSites(root)
	if err != nil {
		return 0, err
	}
	dir, err := os.MkdirTemp("", "thudbook-mutate-")
	if err != nil {
		return 0, err
	}
	defer func() { _ = os.RemoveAll(dir) }() // left behind at worst: a temporary folder
	if !*list {                              // a test that fails by itself would seem to notice everything
		for _, k := range []kind{kindSync, kindHash} {
			by, err := try(ctx, root, dir, &site{kind: k, file: "sync/ledger/anchor.go"})
			if err != nil || by != "" {
				return 0, fmt.Errorf("the unchanged source does not pass: %s: %w", by, err)
			}
		}
	}
	total, killed, spared := 0, 0, 0
	var survivors []string
	for i := range sites {
		s := &sites[i]
		if *only != "" && string(s.kind) != *only || !want.MatchString(s.id()) {
			continue
		}
		total++
		if *list {
			fmt.Println(s.id())
			continue
		}
		if why := equalTo(s); why != "" {
			spared++
			fmt.Println("equal   ", s.id(), "—", why)
			continue
		}
		by, err := try(ctx, root, dir, s)
		if err != nil {
			return 0, fmt.Errorf("%s: %w", s.id(), err)
		}
		if by == "" {
			survivors = append(survivors, s.id())
			fmt.Println("SURVIVES", s.id())
			continue
		}
		killed++
		fmt.Println("noticed ", s.id(), "—", by)
	}
	fmt.Printf("%d sites, %d noticed, %d equal, %d survive\n", total, killed, spared, len(survivors))
	for _, s := range survivors {
		fmt.Println("  survives:", s)
	}
	return len(survivors), nil
}

func moduleRoot(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}").Output()
	return string(bytes.TrimSpace(out)), err
}

// tests gives the runs that may notice a mutant, the likeliest and quickest first.
func tests(s *site) [][]string {
	own := []string{"./" + filepath.Dir(s.file)}
	promises := []string{"-run", "TestPromises", "./sync/trial/crashimage"}
	crash := []string{"-run", "TestCrashImages", "./sync/trial/crashimage"}
	world := []string{"-run", "TestSimulate", "./sync/trial/world"}
	wider := []string{"./sync/exchange", "./sync/ledger", "./sync/blob/...", "./sync/httppeer", "./sync/trial/strike"}
	if s.kind == kindSync {
		return [][]string{promises, crash, own, wider}
	}
	return [][]string{own, world, crash, wider}
}

// try runs tests over the changed file and names the run that failed.
func try(ctx context.Context, root, dir string, s *site) (string, error) {
	src, err := os.ReadFile(filepath.Join(root, s.file))
	if err != nil {
		return "", err
	}
	changed, overlay := filepath.Join(dir, "changed.go"), filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(changed, s.mutated(src), 0o600); err != nil {
		return "", err
	}
	b, err := json.Marshal(map[string]map[string]string{"Replace": {filepath.Join(root, s.file): changed}})
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(overlay, b, 0o600); err != nil {
		return "", err
	}
	build := exec.CommandContext(ctx, "go", "build", "-overlay", overlay, "./"+filepath.Dir(s.file))
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		return "", fmt.Errorf("the changed source does not compile: %w\n%s", err, out)
	}
	for _, t := range tests(s) {
		args := append([]string{"test", "-overlay", overlay, "-vet=off", "-failfast", "-timeout", "10m"}, t...)
		cmd := exec.CommandContext(ctx, "go", args...)
		cmd.Dir = root
		cmd.Env = append(os.Environ(), "THUDBOOK_SIM_SEEDS=30", "THUDBOOK_CRASH_SHOTS=60", "THUDBOOK_CRASH_IMAGES=300")
		out, err := cmd.CombinedOutput()
		if ctx.Err() != nil {
			return "", ctx.Err()
		}
		if err != nil {
			return strings.Join(t, " ") + ": " + firstFailure(out), nil
		}
	}
	return "", nil
}

// firstFailure names the test that failed first.
func firstFailure(out []byte) string {
	for line := range bytes.Lines(out) {
		if name, ok := bytes.CutPrefix(bytes.TrimSpace(line), []byte("--- FAIL: ")); ok {
			name, _, _ := bytes.Cut(name, []byte(" "))
			return string(name)
		}
	}
	return "the run ended with an error"
}
