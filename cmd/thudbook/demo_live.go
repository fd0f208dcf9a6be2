package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"time"

	"golang.org/x/sync/errgroup"
)

// demoState is what --state writes, for scripts and tests.
type demoState struct {
	Server   string            `json:"server"`
	Name     string            `json:"name"`
	Password string            `json:"password"`
	Agents   map[string]string `json:"agents"` // address by lab
	Labs     map[string]string `json:"labs"`   // id by lab
	Offline  string            `json:"offline"`
}

// live prints where to look and keeps the rigs shooting until ctx ends.
func (w *world) live(ctx context.Context) error {
	if err := w.announce(); err != nil {
		return err
	}
	g, ctx := errgroup.WithContext(ctx)
	for i, l := range w.labs {
		g.Go(func() error { return w.shoot(ctx, l, time.Duration(i)*w.Every/time.Duration(len(w.labs))) })
		if l.cut {
			g.Go(func() error {
				if pause(ctx, w.CutFor) {
					l.cable.set(true)
					w.say("%s: the cable is back in; watch its agent catch up under Agents", l.lab)
				}
				return nil
			})
		}
	}
	g.Go(func() error { return w.progress(ctx) })
	return g.Wait()
}

func (w *world) announce() error {
	state := demoState{Server: w.server.url(""), Name: "admin", Password: w.password, Agents: map[string]string{}, Labs: map[string]string{}}
	out := w.app.Out
	fmt.Fprintf(out, "\n  Server          %s\n  sign in as      admin\n  password        %s   (thrown away with the demo)\n\n", state.Server, w.password)
	for _, l := range w.labs {
		note := ""
		if l.cut {
			note = "   (no network for now)"
			state.Offline = l.lab
		}
		fmt.Fprintf(out, "  %-28s %s%s\n", l.lab, l.agent.url(""), note)
		state.Agents[l.lab] = l.agent.url("")
		state.Labs[l.lab] = l.labID.String()
	}
	fmt.Fprintf(out, "\n  Simulated rigs, invented labs: no ram moves. Ctrl-C stops everything.\n\n")
	if w.State == "" {
		return nil
	}
	b, err := json.MarshalIndent(state, "", "  ")
	if err != nil {
		return err
	}
	part := w.State + ".part"
	if err := os.WriteFile(part, b, 0o600); err != nil {
		return err
	}
	return os.Rename(part, w.State)
}

// shoot lets one rig fire for as long as the demo runs.
func (w *world) shoot(ctx context.Context, l *demoLab, first time.Duration) error {
	for wait := first; pause(ctx, wait) && ctx.Err() == nil; wait = time.Duration(l.pace) * w.Every {
		if _, err := l.rig.fire(time.Now()); err != nil {
			return err
		}
	}
	return nil
}

// progress prints, every few seconds, how many shots the server has of each lab.
func (w *world) progress(ctx context.Context) error {
	for pause(ctx, 5*time.Second) && ctx.Err() == nil {
		var labs []struct {
			Name  string `json:"name"`
			Shots int64  `json:"shots"`
		}
		if err := w.client.get(ctx, "/api/v1/labs", &labs); err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		line := "the server has"
		for i, l := range labs {
			if i > 0 {
				line += ","
			}
			line += fmt.Sprintf(" %d shots of %s", l.Shots, l.Name)
		}
		w.say("%s", line)
	}
	return nil
}
