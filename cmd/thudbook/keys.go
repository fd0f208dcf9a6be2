package main

import (
	"fmt"
	"os"
	"path/filepath"

	"thudbook/sync/home"
	"thudbook/sync/node"
	"thudbook/sync/problem"
)

// newKeyCmd has an agent change its key.
type newKeyCmd struct {
	Data string `help:"Data folder of an agent, running or not." required:"" type:"path" placeholder:"DIR"`
}

// Run asks the running agent, or lays a new key beside the old one for its next
// start. The old key serves until the server has taken the new one.
func (c *newKeyCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	if run := home.FindRunning(a.Ctx, c.Data); run != nil {
		return ordered(a, run, home.OrderNewKey, nil)
	}
	if _, err := os.Stat(filepath.Join(c.Data, "first-password")); err == nil {
		return failed(a, problem.New(problem.Invalid, "this is the folder of a server", "give the data folder of an agent; for a server there is server-key"))
	}
	if _, err := node.Prepare(c.Data); err != nil {
		return failed(a, err)
	}
	fmt.Fprintln(a.Out, "A new key lies beside the old one. When the agent runs again it tells the server, at its next session; the old key serves until then.")
	return nil
}

// serverKeyCmd changes the key that a server proves itself with.
type serverKeyCmd struct {
	Data     string `help:"Data folder of the server, which must be running." required:"" type:"path" placeholder:"DIR"`
	Announce bool   `help:"Make a new key and tell agents of it while they connect." xor:"do"`
	Use      bool   `help:"Go on with the announced key; refused as long as an agent has not heard of it." xor:"do"`
	Anyway   bool   `help:"With --use: also when agents have not heard of it. Each of them then needs a new code."`
}

// Run asks the running server; without a flag it only says how things stand.
func (c *serverKeyCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	run := home.FindRunning(a.Ctx, c.Data)
	if run == nil {
		return failed(a, &problem.Error{Code: problem.Unavailable, What: "no running server has this folder open", Where: c.Data, Fix: "start the server, then try again"})
	}
	words := map[string]string{"do": "state"}
	switch {
	case c.Announce:
		words["do"] = "announce"
	case c.Use:
		words["do"] = "use"
	}
	if c.Anyway {
		words["anyway"] = "yes"
	}
	return ordered(a, run, home.OrderServerKey, words)
}

// withdrawCmd takes an agent's rights.
type withdrawCmd struct {
	Data   string `help:"Data folder of the server, which must be running." required:"" type:"path" placeholder:"DIR"`
	Agent  string `help:"Name or id of the agent, as the server's screen of agents shows it." required:""`
	Reason string `help:"Why; it is kept with the fact."`
}

// Run asks the running server.
func (c *withdrawCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	run := home.FindRunning(a.Ctx, c.Data)
	if run == nil {
		return failed(a, &problem.Error{Code: problem.Unavailable, What: "no running server has this folder open", Where: c.Data, Fix: "start the server, then try again"})
	}
	return ordered(a, run, home.OrderWithdraw, map[string]string{"agent": c.Agent, "reason": c.Reason})
}

// ordered has a running process do something and prints what it says.
func ordered(a *app, run *home.Running, name string, words map[string]string) error {
	said, err := run.Do(a.Ctx, name, words)
	if err != nil {
		return failed(a, err)
	}
	fmt.Fprintln(a.Out, said)
	return nil
}
