package main

import (
	"thudbook/sync/home"
	"thudbook/sync/problem"
)

// newPINCmd gives a person at a rig without a server a new PIN.
type newPINCmd struct {
	Data string `help:"Data folder of the agent, which must be running." required:"" type:"path" placeholder:"DIR"`
	Name string `help:"Name of the person, as the agent's screen of people shows it." required:""`
}

// Run asks the running agent, which prints the PIN once.
func (c *newPINCmd) Run(a *app) error {
	if err := home.Present(c.Data); err != nil {
		return failed(a, err)
	}
	run := home.FindRunning(a.Ctx, c.Data)
	if run == nil {
		return failed(a, &problem.Error{Code: problem.Unavailable, What: "no running agent has this folder open", Where: c.Data, Fix: "start the agent, then try again"})
	}
	return ordered(a, run, home.OrderNewPIN, map[string]string{"name": c.Name})
}
