package main

import (
	"errors"
	"fmt"
	"time"

	"thudbook/agent"
	"thudbook/metrics/fault"
)

// agentCmd runs the agent of one rig until it is told to stop.
type agentCmd struct {
	configured
	Data       string        `help:"Folder that holds the agent's store; made when it is not there." required:"" type:"path" placeholder:"DIR"`
	Watch      []string      `help:"Folder into which the acquisition writes its files; may be given several times." type:"path" placeholder:"DIR"`
	Map        string        `help:"Channel map (TOML) for the watched folders; without it map.toml in the folder, else the channels are guessed." type:"path" placeholder:"MAP.toml"`
	Listen     string        `help:"Address of the operator's screens; loopback only. Default: ${default}." default:"127.0.0.1:8371" placeholder:"ADDR"`
	ListenFile string        `help:"Write the address in use to this file once the agent is ready." type:"path" placeholder:"FILE"`
	Devices    string        `help:"Paired tablets and phones are answered: auto (once one is paired), on or off." default:"auto" enum:"auto,on,off"`
	DevicesAt  string        `help:"Address for paired tablets and phones, over TLS; without a host on every address. Default: ${default}." name:"devices-listen" default:":8372" placeholder:"ADDR"`
	Rig        string        `help:"Name of the rig that this agent stands at. Default: as set up on the screen, else rig one." placeholder:"NAME"`
	LabName    string        `help:"Name of the lab, shown until the agent is connected to a server." placeholder:"NAME"`
	Server     string        `help:"Server to connect to at the start; needs --code the first time." placeholder:"URL"`
	Code       string        `help:"One-time code from the server, for --server." placeholder:"CODE"`
	CAFile     string        `help:"Certificates (PEM) of authorities beside the system's that may sign the server's." name:"ca-file" type:"path" placeholder:"FILE"`
	SyncEvery  time.Duration `help:"Time between exchanges with the server when nothing new happens." default:"15s"`
	ReserveMB  int64         `help:"Free space, in MB, below which nothing more is taken in." default:"512" name:"reserve-mb"`
	LimitMB    int64         `help:"Largest acquisition file, in MB, that is taken in." default:"1024" name:"limit-mb"`
}

// Validate refuses values that cannot be meant.
func (c *agentCmd) Validate() error {
	switch {
	case c.SyncEvery <= 0:
		return fmt.Errorf("--sync-every is %s: give a time above zero, as in --sync-every 15s", c.SyncEvery)
	case c.ReserveMB < 1:
		return fmt.Errorf("--reserve-mb is %d: give at least 1; without a reserve a full disk stops the agent in the middle of a shot", c.ReserveMB)
	case c.LimitMB < 1:
		return fmt.Errorf("--limit-mb is %d: give the size of the largest acquisition file, at least 1", c.LimitMB)
	case c.ReserveMB > maxMB || c.LimitMB > maxMB:
		return fmt.Errorf("--reserve-mb and --limit-mb go up to %d", maxMB)
	case c.Code != "" && c.Server == "":
		return errors.New("--code is of no use without --server: give the address of the server that made the code, as in --server https://HOST")
	}
	return nil
}

// maxMB is a petabyte: what is above is a slip.
const maxMB = 1 << 30

// Run starts the agent. Exit code 2 is a channel map that cannot be read, 3
// damage found in the store, 4 a fork or a rolled-back store.
func (c *agentCmd) Run(a *app) error {
	if _, err := loadMap(c.Map); err != nil { // as score does
		fmt.Fprintln(a.Err, "thudbook:", err)
		return exitError{exitInput}
	}
	err := agent.Run(a.Ctx, agent.Options{
		Data: c.Data, Watch: c.Watch, Map: c.Map, Listen: c.Listen, ListenFile: c.ListenFile,
		Devices: c.Devices, DevicesAt: c.DevicesAt, Rig: c.Rig, LabName: c.LabName, Server: c.Server, Code: c.Code, CAFile: c.CAFile, SyncEvery: c.SyncEvery,
		Reserve: c.ReserveMB << 20, Limit: c.LimitMB << 20, Version: version(), Log: a.Log, Out: a.Out,
	})
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*fault.Error](err); ok {
		fmt.Fprintln(a.Err, "thudbook:", err)
		return exitError{exitInput}
	}
	return failed(a, err)
}
