package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/alecthomas/kong"
)

// Exit codes, the same for every command.
const (
	exitOK      = 0
	exitUsage   = 1 // the call was wrong, or the program could not do its work
	exitInput   = 2 // some input was bad; what could be done was done
	exitDamage  = 3 // stored bytes are not what was written
	exitForked  = 4 // two histories under one name, or a store rolled back
	description = `Keeps every shot of a pneumatic linear ram: scores it, logs it, shares it.

Thudbook records and reminds. It never fires a ram, is no safety device, no
certification and no medical advice.

Exit codes: 0 done; 1 wrong call or the work could not be done; 2 some input was
bad; 3 damage found; 4 a fork or a rolled-back store found.`
)

// commands lists every subcommand.
type commands struct {
	logging
	ShowVersion kong.VersionFlag `name:"version" help:"Print version, Go version and source revision."`

	Score     scoreCmd     `cmd:"" help:"Score acquisition files; needs no store."`
	Map       mapCmd       `cmd:"" help:"Propose a channel map for a file and say what is unsure."`
	Shock     shockCmd     `cmd:"" help:"Compute the shock response spectra of acquisition files; needs no store."`
	Simulate  simulateCmd  `cmd:"" help:"Write files of a simulated rig, with their channel map."`
	Agent     agentCmd     `cmd:"" help:"Run on the rig's PC: take in shots, show them, exchange them."`
	Server    serverCmd    `cmd:"" help:"Run the server of one or several labs."`
	Demo      demoCmd      `cmd:"" help:"Start a server and three invented labs on this machine."`
	Verify    verifyCmd    `cmd:"" help:"Check every record, attachment and view of a data folder or a backup."`
	Backup    backupCmd    `cmd:"" help:"Copy a data folder, running or not; again: only what is new."`
	Restore   restoreCmd   `cmd:"" help:"Make a data folder from a backup."`
	Compact   compactCmd   `cmd:"" help:"Take the free space out of a stopped store."`
	Doctor    doctorCmd    `cmd:"" help:"Say what is wrong with a data folder, and what to do."`
	NewKey    newKeyCmd    `cmd:"" name:"new-key" help:"Have an agent change the key that it proves itself with."`
	NewPIN    newPINCmd    `cmd:"" name:"new-pin" help:"Give a person at a rig without a server a new PIN."`
	ServerKey serverKeyCmd `cmd:"" name:"server-key" help:"Change the key that a running server proves itself with."`
	Withdraw  withdrawCmd  `cmd:"" help:"Have a running server take nothing from an agent any more."`
	Service   serviceCmd   `cmd:"" help:"Have the system start the agent or the server, and keep it running."`
	Version   versionCmd   `cmd:"" help:"Print version, Go version and source revision."`
	Check     checkCmd     `cmd:"" hidden:""`
}

// exitError carries an exit code; its text, if any, has been printed already.
type exitError struct{ code int }

func (e exitError) Error() string { return fmt.Sprintf("exit %d", e.code) }

// check parses a command line and says what is wrong with it, without running it.
func check(args []string, errOut io.Writer) int {
	var c commands
	parser, err := kong.New(&c, kong.Name("thudbook"), kong.Vars{"version": ""}, kong.Exit(func(int) {}), kong.Configuration(readSettings))
	if err == nil {
		_, err = parser.Parse(args)
	}
	if err != nil {
		fmt.Fprintln(errOut, "thudbook:", err)
		return exitUsage
	}
	return exitOK
}

// helpAsked takes "help" and "help COMMAND" for what they mean.
func helpAsked(args []string) []string {
	if len(args) > 0 && args[0] == "help" {
		return append(slices.Clone(args[1:]), "--help")
	}
	return args
}

// run is the whole program: it returns the exit code and never exits itself.
func run(ctx context.Context, args []string, out, errOut io.Writer) int {
	var c commands
	code := -1
	parser, err := kong.New(&c, kong.Name("thudbook"), kong.Description(description),
		kong.Vars{"version": about()}, kong.Writers(out, errOut), kong.Exit(func(n int) { code = n }), kong.Configuration(readSettings), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		fmt.Fprintln(errOut, "thudbook:", err)
		return exitUsage
	}
	k, err := parser.Parse(helpAsked(args))
	if code >= 0 { // help was asked for and printed
		return code
	}
	if err != nil {
		fmt.Fprintf(errOut, "thudbook: %v; see thudbook --help\n", err)
		return exitUsage
	}
	log, done, err := c.open(errOut)
	if err != nil {
		fmt.Fprintln(errOut, "thudbook:", err)
		return exitUsage
	}
	defer done() // what could not be written is lost with the disk
	a := &app{Ctx: ctx, Out: out, Err: errOut, Log: log}
	if err := k.Run(a); err != nil {
		if e, ok := errors.AsType[exitError](err); ok {
			return e.code
		}
		fmt.Fprintln(errOut, "thudbook:", inWords(err))
		return exitUsage
	}
	return exitOK
}
