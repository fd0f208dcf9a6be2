package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"

	"github.com/kardianos/service"
)

// serviceCmd has the system start the agent or the server, and keep it running.
type serviceCmd struct {
	Install installCmd `cmd:"" help:"Have the system start the agent or the server from now on, with a file of settings."`
	Remove  removeCmd  `cmd:"" help:"End that. Data and settings stay."`
	Start   startCmd   `cmd:"" help:"Start it now."`
	Stop    stopCmd    `cmd:"" help:"Stop it; it starts again with the computer."`
	Status  statusCmd  `cmd:"" help:"Say whether it runs. Exit code 0: it runs; 1: it does not."`
}

type serviceName struct {
	Name string `help:"Name of the service. Default: ${default}." default:"thudbook-agent"`
}

type installCmd struct {
	Command string `arg:"" help:"agent or server." enum:"agent,server"`
	Config  string `help:"File of settings; --write-config prints one." required:"" type:"existingfile" placeholder:"FILE"`
	Name    string `help:"Name of the service; without it thudbook-agent or thudbook-server." placeholder:"NAME"`
	User    string `help:"Account that it runs under; without it that of the system. It must be able to read the watched folders and write the data folder." placeholder:"ACCOUNT"`
	Print   bool   `help:"Print what would be installed on Linux, and change nothing."`
}

type (
	removeCmd struct{ serviceName }
	startCmd  struct{ serviceName }
	stopCmd   struct{ serviceName }
	statusCmd struct{ serviceName }
)

// program is what the service manager of Windows starts and stops.
type program struct {
	start func()
	stop  func()
}

func (p *program) Start(service.Service) error {
	if p.start != nil {
		go p.start()
	}
	return nil
}

func (p *program) Stop(service.Service) error {
	if p.stop != nil {
		p.stop()
	}
	return nil
}

func (s serviceName) control(action string) error {
	svc, err := service.New(&program{}, &service.Config{Name: s.Name})
	if err != nil {
		return noService(err)
	}
	if err := service.Control(svc, action); err != nil {
		return fmt.Errorf("%s of the service %s did not work: %w; this needs an administrator's rights, and a service manager that runs (on Linux: systemctl status)", action, s.Name, err)
	}
	return nil
}

// noState is said when the service manager gave no answer: what comes of it is
// the bare exit status of a program.
func noState(name string, err error) error {
	return fmt.Errorf("the state of the service %s cannot be read (%w): the system's service manager did not answer, or there is none here, as in a container; "+
		"see that it runs (on Linux: systemctl status), or start the program by hand: 'thudbook agent --config FILE'; 'thudbook doctor --data DIR' says whether it runs", name, err)
}

func noService(err error) error {
	return fmt.Errorf("no service manager was found that Thudbook knows: %w; have yours run 'thudbook agent --config FILE' and start it again when it ends", err)
}

// Run ends the service.
func (c *removeCmd) Run(a *app) error { return c.said(a, "uninstall", "removed") }

// Run starts it.
func (c *startCmd) Run(a *app) error { return c.said(a, "start", "started") }

// Run stops it.
func (c *stopCmd) Run(a *app) error { return c.said(a, "stop", "stopped") }

func (s serviceName) said(a *app, action, word string) error {
	err := s.control(action)
	if err == nil {
		fmt.Fprintf(a.Out, "%s is %s\n", s.Name, word)
	}
	return err
}

// Run says whether it runs.
func (c *statusCmd) Run(a *app) error {
	svc, err := service.New(&program{}, &service.Config{Name: c.Name})
	if err != nil {
		return noService(err)
	}
	st, err := svc.Status()
	switch {
	case errors.Is(err, service.ErrNotInstalled):
		fmt.Fprintf(a.Out, "%s is not installed\n", c.Name)
	case err != nil:
		return noState(c.Name, err)
	case st == service.StatusRunning:
		fmt.Fprintf(a.Out, "%s runs\n", c.Name)
		return nil
	default:
		fmt.Fprintf(a.Out, "%s is stopped\n", c.Name)
	}
	return exitError{exitUsage}
}

// Run installs the service.
func (c *installCmd) Run(a *app) error {
	exe, err := os.Executable()
	if err != nil {
		return fmt.Errorf("find this program's own file: %w", err)
	}
	config, err := filepath.Abs(c.Config)
	if err != nil {
		return err
	}
	if code := check([]string{c.Command, "--config", config}, a.Err); code != exitOK {
		return exitError{code}
	}
	name := c.Name
	if name == "" {
		name = "thudbook-" + c.Command
	}
	unit := systemdUnit(exe, []string{c.Command, "--config", config}, c.Command, c.User)
	if c.Print {
		_, err := fmt.Fprint(a.Out, unit)
		return err
	}
	svc, err := service.New(&program{}, &service.Config{Name: name, DisplayName: "Thudbook " + c.Command, UserName: c.User,
		Description: "Keeps every shot of a pneumatic linear ram. It never fires one.", Executable: exe, Arguments: []string{c.Command, "--config", config},
		Option: service.KeyValue{"SystemdScript": unit, "OnFailure": "restart", "OnFailureDelayDuration": "5s", "OnFailureResetPeriod": 60}})
	if err != nil {
		return noService(err)
	}
	if err := svc.Install(); err != nil {
		return fmt.Errorf("the service %s could not be installed: %w; this needs an administrator's rights", name, err)
	}
	fmt.Fprintf(a.Out, "%s is installed; start it with: thudbook service start --name %s\n", name, name)
	if runtime.GOOS == "windows" && c.User == "" {
		fmt.Fprintln(a.Out, "It runs under the system's own account, which has no rights on network shares: where the watched folder is one, give --user.")
	}
	return nil
}

// systemdUnit is the unit of systemd. A failed commit ends the program on
// purpose, so it is started again, for ever; a stop waits for what is under way.
func systemdUnit(exe string, args []string, command, user string) string {
	words := []string{unitWord(exe)}
	for _, a := range args {
		words = append(words, unitWord(a))
	}
	if user != "" {
		user = "User=" + user + "\n"
	}
	return `[Unit]
Description=Thudbook ` + command + `
After=local-fs.target network.target
StartLimitIntervalSec=0

[Service]
ExecStart=` + strings.Join(words, " ") + `
` + user + `Restart=always
RestartSec=5
TimeoutStopSec=30
NoNewPrivileges=true
PrivateTmp=true
ProtectSystem=full

[Install]
WantedBy=multi-user.target
`
}

// unitWord quotes a word of a unit's command line: % and $ stand for other
// things there.
func unitWord(s string) string {
	return strings.NewReplacer("%", "%%", "$", "$$").Replace(strconv.Quote(s))
}
