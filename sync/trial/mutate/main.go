package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"regexp"
	"time"
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
	var asked []*site
	for i := range sites {
		if s := &sites[i]; (*only == "" || string(s.kind) == *only) && want.MatchString(s.id()) {
			asked = append(asked, s)
		}
	}
	if *list {
		for _, s := range asked {
			fmt.Println(s.id())
		}
		fmt.Println(len(asked), "sites")
		return 0, nil
	}
	dir, err := os.MkdirTemp("", "thudbook-mutate-")
	if err != nil {
		return 0, err
	}
	defer func() { _ = os.RemoveAll(dir) }() // left behind at worst: a temporary folder
	overlay, err := instrument(root, dir, sites)
	if err != nil {
		return 0, err
	}
	b, err := build(ctx, root, dir, overlay)
	if err != nil {
		return 0, err
	}
	if err := b.measure(ctx); err != nil {
		return 0, err
	}
	return judge(ctx, b, asked)
}

// judge tries one site after the other, and prints what it finds as it goes.
func judge(ctx context.Context, b *bench, asked []*site) (left int, err error) {
	noticed, spared := 0, 0
	var survivors []string
	for _, s := range asked {
		if why := equalTo(s); why != "" {
			spared++
			fmt.Println("equal   ", s.id(), "—", why)
			continue
		}
		began := time.Now()
		by, reached, err := b.notice(ctx, s)
		if err != nil {
			return 0, fmt.Errorf("%s: %w", s.id(), err)
		}
		if by != "" {
			noticed++
			fmt.Printf("noticed  %s — %s (%.0f s)\n", s.id(), by, time.Since(began).Seconds())
			continue
		}
		survivors = append(survivors, fmt.Sprintf("%s (%d tests reach it)", s.id(), reached))
		fmt.Printf("SURVIVES %s: %d tests reach it (%.0f s)\n", s.id(), reached, time.Since(began).Seconds())
	}
	fmt.Printf("%d sites, %d noticed, %d equal, %d survive\n", len(asked), noticed, spared, len(survivors))
	for _, s := range survivors {
		fmt.Println("  survives:", s)
	}
	return len(survivors), nil
}

func moduleRoot(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}").Output()
	return string(bytes.TrimSpace(out)), err
}
