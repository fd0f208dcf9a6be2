package uplink

import (
	"context"
	"crypto/ed25519"
	"crypto/x509"
	"fmt"
	"net/http"
	"time"

	"thudbook/sync/exchange"
	"thudbook/sync/httppeer"
	"thudbook/sync/kv"
	"thudbook/sync/problem"
)

// session holds one session and keeps what it found.
func (u *Uplink) session(ctx context.Context) (exchange.Result, error) {
	u.mu.Lock()
	s := *u.settings
	u.st.running = true
	before := u.st.err
	u.signal()
	u.mu.Unlock()
	pending, err := u.pending(ctx)
	if err != nil {
		u.finish(ctx, &s, exchange.Result{}, err)
		return exchange.Result{}, err
	}
	told := exchange.Pending{Records: pending.Records.Count, Bytes: pending.bytes(), Attachments: pending.attachments(), Oldest: pending.oldest}
	if before != nil {
		told.Stuck = Words(before)
	}
	res, err := u.withKeys(ctx, s, func(peer exchange.Peer, key, next ed25519.PrivateKey) (exchange.Result, error) {
		return exchange.Run(ctx, exchange.Options{Ledger: u.o.Ledger, Blobs: u.o.Blobs, Store: u.o.Store, Key: key, NextKey: next,
			Server: s.Pinned(), Software: u.o.Software, Fetch: u.o.Fetch, Gone: u.o.Gone, Only: u.o.Only, Aliases: u.o.Aliases, Rights: u.o.Rights, Batch: u.batch, Now: u.o.Now, Log: u.o.Log,
			Pending: told, Progress: u.progress, Handed: u.handed, Slice: slice}, peer)
	})
	u.finish(ctx, &s, res, err)
	return res, err
}

// slice is how long attachments may keep a session from greeting the server
// anew and fetching what others wrote.
const slice = time.Minute

// plan keeps when the next session begins.
func (u *Uplink) plan(wait time.Duration) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.st.next = u.o.Now().Add(wait).UTC()
	u.signal()
}

func (u *Uplink) progress(p exchange.Progress) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.st.progress, u.st.connected = p, true
	u.signal()
}

func (u *Uplink) peerLocked(s Settings, key ed25519.PrivateKey) (exchange.Peer, error) {
	if u.peer != nil {
		return u.peer, nil
	}
	dial := u.o.Dial
	if dial == nil {
		dial = func(s Settings) (exchange.Peer, error) {
			return httppeer.NewClient(httppeer.ClientOptions{URL: s.URL, Node: u.o.Ledger.Node(), Key: key, Server: s.Pinned(), HTTP: u.transport(&s)})
		}
	}
	p, err := dial(s)
	if err == nil {
		u.peer = p
	}
	return p, err
}

// transport is the HTTP transport. Once the server is pinned, the dates of its
// certificate only warn.
func (u *Uplink) transport(pinned *Settings) http.RoundTripper {
	o := httppeer.TransportOptions{Roots: u.o.Roots, Now: u.o.Now}
	if pinned != nil {
		o.DatesWarn = func(c *x509.Certificate) {
			u.mu.Lock()
			defer u.mu.Unlock()
			u.st.dates = fmt.Sprintf("The server's certificate is valid from %s to %s; this computer's clock says %s. Check the clock, then the certificate.",
				c.NotBefore.Format(time.DateOnly), c.NotAfter.Format(time.DateOnly), u.o.Now().Format(time.DateOnly))
		}
	}
	return httppeer.NewTransport(o)
}

// finish keeps the outcome. The log hears of a failure once, not at every
// attempt.
func (u *Uplink) finish(ctx context.Context, s *Settings, res exchange.Result, err error) {
	if ctx.Err() != nil {
		err = nil // stopped, not failed
	}
	now := u.o.Now().UTC()
	u.mu.Lock()
	old := u.st.err
	u.st.running = false
	if u.settings == nil || u.settings.Server != s.Server {
		u.signal() // enrolled elsewhere meanwhile: this outcome is history
		u.mu.Unlock()
		return
	}
	switch {
	case err == nil:
		u.st.since = time.Time{}
	case old == nil || httppeer.CauseOf(old) != httppeer.CauseOf(err):
		u.st.since = now
	}
	u.st.err, u.st.connected = err, err == nil && (res.Welcomed || u.st.connected)
	if res.Welcomed {
		u.st.offset, u.st.measured = res.ClockOffset, true
		u.st.notices = res.Notices
	}
	u.st.progress = res.Progress
	ended := res.Welcomed && err == nil && ctx.Err() == nil
	if ended {
		u.st.last = now
		u.settings.ClockOffsetMS, u.settings.ExchangedMS = res.ClockOffset.Milliseconds(), now.UnixMilli()
	}
	rekeyed := res.Welcomed && u.takeServerKeys(&res)
	keep := *u.settings
	u.signal()
	u.mu.Unlock()
	u.tell(old, err, res)
	moved := res.RecordsSent > 0 || res.BlobsSent > 0 || res.RecordsReceived > 0 || s.ExchangedMS == 0
	if rekeyed || ended && moved {
		// It is kept even when a stop comes right now: the session did end well.
		if err := u.o.Store.Update(context.WithoutCancel(ctx), func(tx kv.Tx) error { return save(tx, u.slotted(serverKey), &keep) }); err != nil {
			u.o.Log.Error("the outcome of the exchange was not kept", "new_key", rekeyed, "error", err)
		}
	}
}

func (u *Uplink) tell(old, err error, res exchange.Result) {
	switch {
	case err != nil && (old == nil || Words(old) != Words(err)):
		u.o.Log.Warn("no exchange with the server", "error", err)
	case err != nil:
		u.o.Log.Debug("still no exchange with the server", "error", err)
	case old != nil:
		u.o.Log.Info("exchange with the server works again")
	}
	if res.RecordsSent > 0 || res.RecordsReceived > 0 || res.BlobsSent > 0 {
		u.o.Log.Info("exchanged", "records_sent", res.RecordsSent, "records_received", res.RecordsReceived, "attachments_sent", res.BlobsSent, "bytes_sent", res.BytesSent)
	}
}

// words gives an error as its reader sees it.
// Words tells a person what went wrong and what to do.
func Words(err error) string {
	if p, ok := problem.As(err); ok {
		if p.Fix == "" {
			return p.What
		}
		return p.What + " " + p.Fix
	}
	return "The exchange with the server failed for a reason that stands in the log. It is tried again by itself; nothing is lost."
}
