package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"thudbook/metrics/simrig"
)

// demoCmd runs a whole small world on this machine: a server, three invented
// labs with agents and simulated rigs.
type demoCmd struct {
	Data   string        `help:"Folder for the demo's data; without it a temporary one, removed at the end." type:"path" placeholder:"DIR"`
	Listen string        `help:"Address of the demo's server; loopback." default:"127.0.0.1:8370"`
	For    time.Duration `help:"End after this time; without it the demo runs until Ctrl-C." placeholder:"2m"`
	Every  time.Duration `help:"Time between two shots of a lab." default:"6s"`
	CutFor time.Duration `help:"How long the third lab stays without network." default:"50s"`
	State  string        `help:"Write addresses and credentials to this file, once all runs (for scripts)." type:"path" placeholder:"FILE"`
}

// demoLocations are the impact locations of the demo's campaigns.
func demoLocations() []string {
	var names []string
	for _, l := range simrig.Locations()[:4] {
		names = append(names, l.Name)
	}
	return names
}

// Run sets the scene, prints where to look, and keeps the rigs shooting.
func (c *demoCmd) Run(a *app) (err error) {
	ctx := a.Ctx
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	dir := c.Data
	if dir == "" {
		if dir, err = os.MkdirTemp("", "thudbook-demo-*"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	} else if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	w := &world{demoCmd: c, app: a, dir: dir, began: time.Now()}
	defer w.stop()
	if err := w.setUp(ctx); err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return err
	}
	return w.live(ctx)
}

// world is the running demo.
type world struct {
	*demoCmd
	app      *app
	dir      string
	began    time.Time
	server   *child
	client   *demoClient
	password string
	labs     []*demoLab
}

// demoLab is one lab with its agent, its rig, and its cable to the server.
type demoLab struct {
	furnished
	agent *child
	rig   *demoRig
	cable *link
}

func (w *world) say(format string, args ...any) {
	fmt.Fprintf(w.app.Out, "%5.1f s  %s\n", time.Since(w.began).Seconds(), fmt.Sprintf(format, args...))
}

// setUp starts the server, furnishes the labs, starts the agents and writes the history.
func (w *world) setUp(ctx context.Context) error {
	w.say("starting the server")
	var err error
	data := filepath.Join(w.dir, "server")
	if w.server, err = startChild(ctx, w.dir, "server", "server", "--data", data, "--listen", w.Listen, "--name", "Demo server"); err != nil {
		return err
	}
	b, err := os.ReadFile(filepath.Join(data, "first-password"))
	if err != nil {
		return err
	}
	w.password = strings.TrimSpace(string(b))
	if w.client, err = signIn(ctx, w.server.url(""), "admin", w.password); err != nil {
		return err
	}
	for _, s := range scenes() {
		l, err := w.open(ctx, s)
		if l != nil {
			w.labs = append(w.labs, l)
		}
		if err != nil {
			return err
		}
	}
	w.say("writing the history of the labs")
	var g errgroup.Group
	for _, l := range w.labs {
		g.Go(func() error { return l.rig.backfill(time.Now()) })
	}
	return g.Wait()
}

// open furnishes one lab and starts its agent. What it started is in the
// result even when it fails.
func (w *world) open(ctx context.Context, s scene) (*demoLab, error) {
	w.say("opening %s", s.lab)
	now := time.Now()
	f, err := w.client.furnish(ctx, s, demoLocations(), now)
	if err != nil {
		return nil, err
	}
	l := &demoLab{furnished: f}
	watch := filepath.Join(w.dir, s.slug, "acquisition")
	if l.rig, err = newDemoRig(s, watch, demoLocations()); err != nil {
		return l, err
	}
	if l.cable, err = newLink(w.server.addr); err != nil {
		return l, err
	}
	l.agent, err = startChild(ctx, w.dir, s.slug, "agent", "--data", filepath.Join(w.dir, s.slug, "store"), "--watch", watch,
		"--listen", "127.0.0.1:0", "--rig", s.rig, "--lab-name", s.lab, "--server", "http://"+l.cable.addr(), "--code", f.code, "--sync-every", "2s")
	if err != nil {
		return l, err
	}
	if err := w.client.mount(ctx, f, now); err != nil {
		return l, err
	}
	if s.cut {
		l.cable.set(false)
		w.say("%s: the network cable is pulled; its agent goes on alone", s.lab)
	}
	return l, nil
}

// stop ends everything in order: agents, their cables, then the server.
func (w *world) stop() {
	w.say("stopping")
	for _, l := range w.labs {
		if l.agent != nil {
			l.agent.stop()
		}
		if l.cable != nil {
			l.cable.close()
		}
		if l.rig != nil {
			l.rig.close()
		}
	}
	if w.server != nil {
		w.server.stop()
	}
}
