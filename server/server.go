// Package server is the lab and pooling server: it takes records and bytes from
// enrolled agents, and shows shots, equipment, campaigns and agents of several
// labs to the people who have a right to them.
package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"thudbook/server/tell"
	"thudbook/sync/home"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
	"thudbook/web/httpkit"
	"thudbook/web/telemetry"
)

// Options of a server. Data and Log are required.
type Options struct {
	Data        string // folder of the store
	Listen      string // empty: DefaultListen
	ListenFile  string // gets the address in use once the server is ready
	Name        string // shown in the heading
	CertFile    string // certificate chain, PEM; with KeyFile the server speaks TLS
	KeyFile     string
	Proxies     []netip.Prefix // in front, speaking TLS; plain HTTP is then answered to them, on any address
	OpenMetrics bool           // /metrics is answered to anybody; else to callers on this machine only
	PublicURL   string         // of the server as people reach it, for links in messages; may be empty
	Mail        tell.MailOptions
	HookPrivate bool          // webhooks may go to this machine and to private networks
	TellEvery   time.Duration // between looks for something to tell; 0: a minute
	PoolCAFile  string        // authorities (PEM) beside the system's that may sign the certificates of servers that labs are fetched from
	PoolEvery   time.Duration // between sessions with such servers when nothing happens; 0: as an agent
	Version     string
	Log         *slog.Logger
	Out         io.Writer        // the address, and once the first password, are printed here; nil: nowhere
	Now         func() time.Time // nil: time.Now
}

// DefaultListen is the address when none is given.
const DefaultListen = "127.0.0.1:8370"

// FirstPasswordFile is the file within the data folder that holds the password
// of the first administrator until another one is set.
const FirstPasswordFile = "first-password"

const drainTimeout = 10 * time.Second

// Run runs a server until ctx ends. It returns nil after an orderly end, and
// otherwise an error that says what to do.
func Run(ctx context.Context, o Options) (err error) {
	if err := o.complete(); err != nil {
		return err
	}
	if err := removeOld(o.ListenFile); err != nil {
		return err
	}
	l, err := listen(&o)
	if err != nil {
		return err
	}
	set := telemetry.New("server", o.Version)
	h, err := open(ctx, &o, set)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	defer func() { err = errors.Join(err, h.Close()) }() // the store closes last
	p, err := build(ctx, &o, h, set)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	defer p.screens.Close() // before the store
	first, err := p.accounts.First(ctx)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return httpkit.Serve(ctx, l, p.handler, drainTimeout) })
	g.Go(func() error { return h.Mend(ctx, o.Log) })
	g.Go(func() error { return p.tell.Run(ctx) })
	g.Go(func() error { return p.pool.Run(ctx) })
	g.Go(func() error { return p.people.KeepErased(ctx, o.Log) })
	g.Go(func() error { return o.announce(l.Addr(), first) })
	return g.Wait()
}

func (o *Options) complete() error {
	if o.Data == "" || o.Log == nil {
		return errors.New("server: the data folder and a log are required")
	}
	if o.Listen == "" {
		o.Listen = DefaultListen
	}
	if o.Version == "" {
		o.Version = "development"
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Out == nil {
		o.Out = io.Discard
	}
	if err := o.Mail.Check(); err != nil {
		return err
	}
	return o.checkListen()
}

func removeOld(listenFile string) error {
	if listenFile == "" {
		return nil
	}
	if err := os.Remove(listenFile); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("remove the old listen file: %w", err)
	}
	return nil
}

func open(ctx context.Context, o *Options, set *telemetry.Set) (*home.Home, error) {
	h, err := home.Open(ctx, home.Options{Dir: o.Data, Log: o.Log, Now: o.Now, Software: "thudbook " + o.Version, Observe: set.Commit})
	if errors.Is(err, kv.ErrLocked) {
		return nil, &problem.Error{Code: problem.Unavailable, What: "another thudbook has this data folder open", Where: o.Data,
			Fix: "stop that one first, or give this one a data folder of its own", Err: err}
	}
	return h, err
}

// announce says where the server is, and the first password when there is one.
func (o *Options) announce(addr net.Addr, first string) error {
	fmt.Fprintf(o.Out, "Thudbook server: %s://%s/\n", o.scheme(), addr)
	if first != "" {
		fmt.Fprintf(o.Out, "First start. Sign in as admin with the password %s\nIt also stands in %s until you set another one; it is shown only now.\n",
			first, filepath.Join(o.Data, FirstPasswordFile))
	}
	o.Log.Info("ready", "address", addr.String(), "scheme", o.scheme(), "data", o.Data)
	if o.ListenFile == "" {
		return nil
	}
	part := o.ListenFile + ".part"
	if err := os.WriteFile(part, []byte(addr.String()+"\n"), 0o644); err != nil {
		return fmt.Errorf("write the listen file: %w", err)
	}
	if err := os.Rename(part, o.ListenFile); err != nil {
		return fmt.Errorf("write the listen file: %w", err)
	}
	return nil
}
