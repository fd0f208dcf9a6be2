// Package agent is the program on the rig's PC: it takes shots in, shows them
// on loopback and exchanges them with a server when there is one. It reads what
// the acquisition wrote and never reaches for the rig itself.
package agent

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"thudbook/agent/desk"
	"thudbook/agent/device"
	"thudbook/agent/intake"
	"thudbook/agent/shift"
	"thudbook/sync/alarm"
	"thudbook/sync/blob"
	"thudbook/sync/home"
	"thudbook/sync/httppeer"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/people"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/uplink"
	"thudbook/web/httpkit"
	"thudbook/web/telemetry"
)

// Options of an agent. Data and Log are required.
type Options struct {
	Data       string   // folder of the store
	Watch      []string // folders of the acquisition
	Map        string   // channel map for all of them; empty: map.toml in the folder, else guessed
	Listen     string   // loopback address; empty: DefaultListen
	ListenFile string   // gets the address in use once the agent is ready
	Devices    string   // when tablets and phones are answered: device.Auto, On or Off; empty: Auto
	DevicesAt  string   // address for them, over TLS; empty: device.DefaultListen
	Rig        string   // its name
	LabName    string   // shown until a server says the lab's name
	Server     string   // to connect to at the start
	Code       string   // one-time code for Server
	CAFile     string   // authorities beside the system's that may sign its certificate (PEM)
	SyncEvery  time.Duration
	Reserve    int64 // bytes of the disk that are left free; 0: the default, negative: none
	Limit      int64 // bytes of one file; 0: the default
	AtOnce     int64 // records up to which lists are rebuilt before the start; 0: the default
	Version    string
	Log        *slog.Logger
	Out        io.Writer // the address is printed here; nil: nowhere

	given given
}

// DefaultListen is the address of the operator's screens.
const DefaultListen = "127.0.0.1:8371"

const drainTimeout = 10 * time.Second

// Run runs an agent until ctx ends. It returns nil after an orderly end, and
// otherwise an error that says what to do: a problem, or a fault of the channel
// map. A store that can no longer be written does not end it: the store is opened
// again as soon as the disk allows it, and nothing is acknowledged meanwhile.
func Run(ctx context.Context, o Options) (err error) {
	if err := o.complete(); err != nil {
		return err
	}
	if o.ListenFile != "" {
		if err := os.Remove(o.ListenFile); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("remove the old listen file: %w", err)
		}
	}
	set := telemetry.New("agent", o.Version)
	h, err := open(ctx, &o, set)
	if err != nil {
		return stopped(ctx, err)
	}
	defer func() { err = errors.Join(err, h.Close()) }() // the store closes last
	l, err := listen(o.Listen)
	if err != nil {
		return err
	}
	p, err := build(ctx, &o, h, set)
	if err != nil {
		return errors.Join(stopped(ctx, err), l.Close())
	}
	if o.ListenFile != "" {
		defer os.Remove(o.ListenFile) // nobody answers there any more
	}
	ready := func(context.Context) error { return p.announce(l.Addr().String()) }
	defer o.Log.Info("stopping")
	return inOrder(ctx,
		stage{"intake", p.intake.Run},
		stage{"screens", func(ctx context.Context) error { return httpkit.Serve(ctx, l, p.handler, drainTimeout) }},
		stage{"devices", func(ctx context.Context) error { return p.gate.Run(ctx, p.handler) }},
		stage{"exchange", p.exchange},
		stage{"sizes", p.size.run},
		stage{"erasing", func(ctx context.Context) error { return p.shift.Book().KeepErased(ctx, o.Log) }},
		stage{"alarms", p.watchAlarms},
		stage{"mending", func(ctx context.Context) error { return h.Mend(ctx, o.Log) }},
		stage{"start", ready},
	)
}

// stopped is no error when the start was cut short on request.
func stopped(ctx context.Context, err error) error {
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

func (o *Options) complete() error {
	if o.Data == "" || o.Log == nil {
		return errors.New("agent: the data folder and a log are required")
	}
	if o.Listen == "" {
		o.Listen = DefaultListen
	}
	if err := o.setUp(); err != nil {
		return err
	}
	if o.Rig == "" {
		o.Rig = "rig one"
	}
	if o.Version == "" {
		o.Version = "development"
	}
	if o.Reserve == 0 {
		o.Reserve = intake.DefaultReserve
	}
	if o.Limit == 0 {
		o.Limit = intake.DefaultLimit
	}
	if err := loopbackOnly(o.Listen); err != nil {
		return err
	}
	if o.Map != "" {
		if _, err := intake.LoadMap(o.Map); err != nil {
			return err
		}
	}
	for _, w := range o.Watch {
		if inside(w, o.Data) || inside(o.Data, w) {
			return problem.New(problem.Invalid, "The data folder "+o.Data+" and the watched folder "+w+" lie one inside the other, or are the same.",
				"Choose a data folder apart from the folder of the acquisition, with --data.")
		}
	}
	return nil
}

// inside tells whether path lies in dir, or is dir, by whatever links they are named.
func inside(path, dir string) bool {
	p, err1 := resolved(path)
	d, err2 := resolved(dir)
	if err1 != nil || err2 != nil {
		return false
	}
	rel, err := filepath.Rel(d, p)
	return err == nil && filepath.IsLocal(rel)
}

// resolved gives the absolute path without links; the end of it need not be there.
func resolved(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	for at, rest := path, ""; ; at, rest = filepath.Dir(at), filepath.Join(filepath.Base(at), rest) {
		if real, err := filepath.EvalSymlinks(at); err == nil {
			return filepath.Join(real, rest), nil
		}
		if at == filepath.Dir(at) {
			return path, nil
		}
	}
}

// open opens the data folder.
func open(ctx context.Context, o *Options, set *telemetry.Set) (*home.Home, error) {
	h, err := home.Open(ctx, home.Options{Dir: o.Data, Log: o.Log, Software: "thudbook " + o.Version, Observe: set.Commit, RebuildAtOnce: o.AtOnce})
	if errors.Is(err, kv.ErrLocked) {
		return nil, &problem.Error{Code: problem.Unavailable, What: "Another thudbook has the data folder " + o.Data + " open.",
			Fix: "Stop that one first, or start this one with a data folder of its own.", Err: err}
	}
	return h, err
}

// parts are what runs.
type parts struct {
	o       *Options
	home    *home.Home
	rig     uuid.UUID
	intake  *intake.Intake
	uplink  *uplink.Uplink
	alarms  *alarm.Book
	shift   *shift.Shift
	gate    *device.Gate
	size    *storeSize
	set     *telemetry.Set
	handler http.Handler
	name    atomic.Pointer[string] // of the rig, when it was changed on the screen
}

func build(ctx context.Context, o *Options, h *home.Home, set *telemetry.Set) (*parts, error) {
	p := &parts{o: o, home: h, rig: rigID(h.Node.ID), size: newStoreSize(h), set: set}
	trusted, err := httppeer.ReadRoots(o.CAFile, "--ca-file")
	if err != nil {
		return nil, err
	}
	p.uplink, err = uplink.Open(ctx, uplink.Options{Ledger: h.Ledger, Blobs: h.Blobs, Store: h.Store, Key: h.Node.PrivateKey, Fetch: wantsCard, Gone: p.erased,
		NextKey: h.Node.Next, FirstKey: h.Node.First, Keys: keys{o.Data}, Software: "thudbook " + o.Version, Roots: trusted, Every: o.SyncEvery, Log: o.Log})
	if err != nil {
		return nil, err
	}
	p.alarms = openAlarms(p, p.uplink)
	h.OnOrder(home.OrderNewKey, func(context.Context, map[string]string) (string, error) { return p.newKey() })
	if err := p.enrolAtStart(ctx); err != nil {
		return nil, err
	}
	if err := p.stateRig(ctx); err != nil {
		return nil, err
	}
	book := &people.Book{Ledger: h.Ledger, Views: h.Reader, Blobs: func(record.LabID) blob.Store { return h.Blobs }}
	if p.shift, err = shift.Open(ctx, book, h.Store, nil, o.Log); err != nil {
		return nil, err
	}
	h.OnOrder(home.OrderNewPIN, p.newPIN)
	devices, err := device.Open(ctx, h.Store, nil)
	if err != nil {
		return nil, err
	}
	if p.gate, err = device.NewGate(devices, o.Data, o.DevicesAt, o.Devices, o.Log); err != nil {
		return nil, err
	}
	folders := make([]intake.Folder, len(o.Watch))
	for i, w := range o.Watch {
		folders[i] = intake.Folder{Dir: w, Map: o.Map}
	}
	p.intake, err = intake.New(intake.Options{Ledger: h.Ledger, Store: h.Store, Blobs: h.Blobs, Views: h.Views, Lab: p.uplink.Lab, Rig: p.rig,
		Data: o.Data, Folders: folders, DefaultMap: o.Map, Limit: o.Limit, Reserve: o.Reserve, Log: o.Log, Trouble: p.trouble, Author: p.shift.OnDuty, Recorded: p.uplink.Wake, Taken: p.set.ShotTaken})
	if err != nil {
		return nil, err
	}
	return p, p.desk()
}

// trouble tells why the store cannot be written now.
func (p *parts) trouble() error {
	if t, ok := p.home.Trouble(); ok && t.Mended.IsZero() {
		return t.Words()
	}
	return nil
}

// mended tells of a store that was opened again lately.
func (p *parts) mended() error {
	if t, ok := p.home.Trouble(); ok && !t.Mended.IsZero() {
		return t.Words()
	}
	return nil
}

// wantsCard says which attachments of others' records are fetched: the cards of
// people, so that they can sign in here without a network.
func wantsCard(r *record.Record, a record.Attachment) bool {
	return r.Kind == lab.KindPerson && a.Role == lab.RolePerson
}

// erased says which attachments are cards of people that are erased.
func (p *parts) erased(ctx context.Context, _ record.LabID, h record.Hash) (bool, error) {
	return p.home.Reader.CardErased(ctx, p.home.Own(), h)
}

// desk makes the screens and the API.
func (p *parts) desk() error {
	p.watchFigures(p.set)
	_, e, err := desk.New(desk.Options{Intake: p.intake, Ledger: p.home.Ledger, Store: p.home.Store, Blobs: p.home.Blobs, Views: p.home.Views,
		Link: p.link, Enrol: p.enrol, Alarms: p.alarms, NewKey: p.newKey, Wake: p.uplink.Wake, Shift: p.shift, Gate: p.gate, Lab: p.uplink.Lab, LabName: func() string { return p.labName(context.Background()) }, Mended: p.mended, Rig: p.rigName, Setup: desk.Setup{Given: p.o.given.watch || p.o.given.chanmap, RigGiven: p.o.given.rig, Save: p.saveSetup}, Data: p.o.Data, Limit: p.o.Limit, Reserve: p.o.Reserve,
		Size: p.size.bytes, Version: p.o.Version, Log: p.o.Log, Observe: p.set.Observe, Metrics: p.set.Handler()})
	p.handler = e
	return err
}
