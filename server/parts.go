package server

import (
	"context"
	"crypto/ed25519"
	"errors"
	"net/http"
	"path/filepath"

	"github.com/labstack/echo/v4"

	"thudbook/server/account"
	"thudbook/server/api"
	"thudbook/server/desk"
	"thudbook/server/door"
	"thudbook/server/enrol"
	"thudbook/server/evidence"
	"thudbook/server/feed"
	"thudbook/server/ownkey"
	"thudbook/server/pool"
	"thudbook/server/register"
	"thudbook/server/roster"
	"thudbook/server/tell"
	"thudbook/sync/exchange"
	"thudbook/sync/home"
	"thudbook/sync/httppeer"
	"thudbook/sync/people"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/view"
	"thudbook/web/httpkit"
	"thudbook/web/page"
	"thudbook/web/picture"
	"thudbook/web/telemetry"
)

// parts are what runs.
type parts struct {
	o        *Options
	home     *home.Home
	agents   *enrol.Registry
	service  *exchange.Service
	accounts *account.Store
	handler  *echo.Echo
	screens  *desk.Desk
	tell     *tell.Teller
	pool     *pool.Pool
	ownKey   *ownkey.Keys
	people   *people.Book
	set      *telemetry.Set
}

// maxBlobBytes bounds one attachment that an agent sends.
const maxBlobBytes = 4 << 30

func build(ctx context.Context, o *Options, h *home.Home, set *telemetry.Set) (*parts, error) {
	p := &parts{o: o, home: h, set: set}
	var err error
	p.agents, err = enrol.Open(enrol.Options{Ledger: h.Ledger, Store: h.Store, ServerKey: func() ed25519.PublicKey { return p.service.PublicKey() }, Now: o.Now, Log: o.Log})
	if err != nil {
		return nil, err
	}
	p.service, err = exchange.NewService(ctx, exchange.ServiceOptions{Ledger: h.Ledger, Blobs: h.Blobs, Store: h.Store,
		Key: h.Node.PrivateKey, MaxBlobBytes: maxBlobBytes, Now: o.Now, Log: o.Log, Seen: p.agents.Seen, Alarm: p.agents.Alarm, Gone: p.erased, Rekeyed: p.agents.Rekeyed, NextKey: h.Node.Next})
	if err != nil {
		return nil, err
	}
	if err := p.openPool(ctx); err != nil {
		return nil, err
	}
	p.accounts = account.Open(account.Options{KV: h.Store, Ledger: h.Ledger, Now: o.Now, FirstFile: filepath.Join(o.Data, FirstPasswordFile)})
	p.ownKey = &ownkey.Keys{Dir: o.Data, Service: p.service, Ledger: h.Ledger, Agents: p.agents}
	h.OnOrder(home.OrderWithdraw, p.withdraw)
	h.OnOrder(home.OrderServerKey, p.serverKey)
	p.handler = p.routes()
	return p, nil
}

func (p *parts) routes() *echo.Echo {
	o, h := p.o, p.home
	p.set.Registry().MustRegister(&gauges{p: p})
	labs := &roster.Roster{Views: h.Reader, Agents: p.agents}
	facts := &register.Register{Ledger: h.Ledger, Views: h.Reader}
	proof := &evidence.Store{Blobs: h.Blobs, Service: p.service}
	p.people = &people.Book{Ledger: h.Ledger, Views: h.Reader, Blobs: proof.Of}
	gate := &door.Door{Accounts: p.accounts, Widen: p.agents.Widen, Secure: o.secure()}
	p.tell = tell.New(tell.Options{Store: h.Store, Mail: o.Mail, HookPrivate: o.HookPrivate, PublicURL: o.PublicURL, Name: o.Name, Every: o.TellEvery, Now: o.Now, Log: o.Log})
	p.screens = desk.New(desk.Options{Door: gate, Views: h.Reader, Roster: labs, Register: facts, Agents: p.agents, Accounts: p.accounts,
		Evidence: proof, People: p.people, Feeds: feed.Open(h.Store, o.Now), Tell: p.tell, Pool: p.pool, OwnKey: p.ownKey, Pictures: picture.NewCache(filepath.Join(o.Data, "shown")), Name: o.Name, Version: o.Version, Notices: p.notices, Rebuilding: h.Ledger.Rebuilding, Now: o.Now, Log: o.Log})
	p.tell.Source = p.screens
	e := httpkit.New(httpkit.Options{
		Log: o.Log, Hosts: o.hosts(), Proxies: o.Proxies, Frame: p.screens.ErrorFrame, Ready: p.ready, Observe: p.set.Observe, Metrics: p.set.Handler(), MayReadMetrics: o.mayReadMetrics,
		BodyLimits: map[string]int64{
			"POST " + exchangeRoute:  2 * exchange.MaxBatchBytes,
			"PUT " + exchangeRoute:   maxBlobBytes,
			"PATCH " + exchangeRoute: 2 * exchange.MaxPartBytes,

			"POST " + page.PostDocument:   evidence.MaxDocument + 1<<20,
			"POST " + api.PostDocuments:   evidence.MaxDocument,
			"POST " + page.PostStockCheck: maxListBytes,
			"POST " + page.PathStockList:  4 * maxListBytes, // written as a form, letters may take three bytes
		},
	})
	peers := httppeer.NewHandler(p.service, p.agents, httppeer.HandlerOptions{Log: o.Log, Limits: httppeer.UsualLimits()})
	e.Match([]string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch}, exchangeRoute, echo.WrapHandler(peers))
	(&api.API{Views: h.Reader, Roster: labs, Register: facts, Agents: p.agents, Accounts: p.accounts, Evidence: proof, Pool: p.pool, Digests: p.screens, Now: o.Now}).Routes(e, gate)
	p.screens.Routes(e)
	return e
}

// openPool makes what fetches labs from other servers.
func (p *parts) openPool(ctx context.Context) error {
	roots, err := httppeer.ReadRoots(p.o.PoolCAFile, "--pool-ca-file")
	if err != nil {
		return err
	}
	h := p.home
	p.pool, err = pool.Open(ctx, pool.Options{Ledger: h.Ledger, Blobs: h.Blobs, Store: h.Store, Rights: p.service, Agents: p.agents,
		Known: p.knownLabs, Software: enrol.ServerSoftware + p.o.Version, Roots: roots, Gone: p.erased, Every: p.o.PoolEvery, Now: p.o.Now, Log: p.o.Log})
	return err
}

// knownLabs gives the ids under which records are here.
func (p *parts) knownLabs(ctx context.Context) ([]record.LabID, error) {
	rows, err := p.home.Reader.Labs(ctx, scope.All(), view.MaxLimit)
	out := make([]record.LabID, len(rows))
	for i := range rows {
		out[i] = rows[i].Lab
	}
	return out, err
}

// erased says which bytes of a lab are cards of people that are erased.
func (p *parts) erased(ctx context.Context, in record.LabID, h record.Hash) (bool, error) {
	return p.home.Reader.CardErased(ctx, scope.Labs(in), h)
}

// notices gives what an administrator should know of the store.
func (p *parts) notices() []string {
	all := p.home.Ledger.Notices()
	if t, ok := p.home.Trouble(); ok {
		w := t.Words()
		all = append(all, w.What+" "+w.Fix)
	}
	return all
}

// maxListBytes is the largest list of equipment.
const maxListBytes = 2 << 20

// exchangeRoute is where agents speak; they prove themselves, cookies are not
// looked at.
const exchangeRoute = "/sync/v1/*"

// ready reports why nothing can be written.
func (p *parts) ready(context.Context) error {
	if p.home.Ledger.Faulted() != nil {
		return errNotReady // who asks is not signed in: the reason stands in the log
	}
	return nil
}

var errNotReady = errors.New("the store cannot be written")
