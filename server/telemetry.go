package server

import (
	"context"
	"net/http"
	"net/netip"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// gauges reads the server's figures when they are asked for. Whoever reads them
// is not signed in, so they are sums over all labs and hold no name or id.
type gauges struct{ p *parts }

// mayReadMetrics says who may read /metrics: callers on this machine, unless a
// proxy passed their request on, or with OpenMetrics anybody.
func (o *Options) mayReadMetrics(r *http.Request) bool {
	if o.OpenMetrics {
		return true
	}
	for _, passedOn := range []string{"Forwarded", "X-Forwarded-For", "X-Real-Ip", "Via"} {
		if len(r.Header.Values(passedOn)) > 0 {
			return false
		}
	}
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && from.Addr().Unmap().IsLoopback()
}

type figure struct {
	name, help string
	of         func(*reading) float64
}

// reading is the state that the figures are taken from.
type reading struct {
	labs, shots, toAssign, records int64
	agents, silent                 int64
	behind, behindBytes            int64
	writable                       bool
	messages, failing, lost        int
}

// silentAfter is how long an agent may be silent before it counts as such.
const silentAfter = 15 * time.Minute

func figures() []figure {
	return []figure{
		{"thudbook_labs", "Labs on this server, ids from before enrolment included.", func(r *reading) float64 { return float64(r.labs) }},
		{"thudbook_shots", "Shots of all labs.", func(r *reading) float64 { return float64(r.shots) }},
		{"thudbook_shots_to_assign", "Shots of all labs that wait for their specimen, location or target speed.", func(r *reading) float64 { return float64(r.toAssign) }},
		{"thudbook_records", "Records in the ledger.", func(r *reading) float64 { return float64(r.records) }},
		{"thudbook_agents", "Agents that are enrolled and not withdrawn.", func(r *reading) float64 { return float64(r.agents) }},
		{"thudbook_agents_silent", "Agents that were not heard of for 15 minutes.", func(r *reading) float64 { return float64(r.silent) }},
		{"thudbook_agents_behind_records", "Records that agents reported and that are not here yet.", func(r *reading) float64 { return float64(r.behind) }},
		{"thudbook_agents_behind_bytes", "Bytes that agents reported as not sent yet.", func(r *reading) float64 { return float64(r.behindBytes) }},
		{"thudbook_messages_waiting", "Messages to people and programs that were not delivered yet.", func(r *reading) float64 { return float64(r.messages) }},
		{"thudbook_messages_failing", "Waiting messages whose delivery has failed at least once.", func(r *reading) float64 { return float64(r.failing) }},
		{"thudbook_messages_given_up", "Messages that could not be delivered in three days and are kept.", func(r *reading) float64 { return float64(r.lost) }},
		{"thudbook_store_writable", "1 while the store can be written.", func(r *reading) float64 {
			if r.writable {
				return 1
			}
			return 0
		}},
	}
}

func description(f figure) *prometheus.Desc { return prometheus.NewDesc(f.name, f.help, nil, nil) }

// Describe lists the figures.
func (g *gauges) Describe(to chan<- *prometheus.Desc) {
	for _, f := range figures() {
		to <- description(f)
	}
}

// Collect reads them.
func (g *gauges) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	r, err := g.read(ctx)
	for _, f := range figures() {
		if err != nil {
			to <- prometheus.NewInvalidMetric(description(f), err)
			continue
		}
		to <- prometheus.MustNewConstMetric(description(f), prometheus.GaugeValue, f.of(r))
	}
}

func (g *gauges) read(ctx context.Context) (*reading, error) {
	p := g.p
	r := &reading{writable: p.home.Ledger.Faulted() == nil}
	labs, err := p.home.Reader.Labs(ctx, scope.All(), view.MaxLimit)
	if err != nil {
		return nil, err
	}
	r.labs = int64(len(labs))
	for i := range labs {
		r.shots += labs[i].Shots
		r.toAssign += labs[i].ToAssign
	}
	heads, err := p.home.Ledger.Heads(ctx)
	if err != nil {
		return nil, err
	}
	for _, h := range heads {
		r.records += int64(h.Seq)
	}
	if r.messages, r.failing, r.lost, err = p.tell.Count(ctx); err != nil {
		return nil, err
	}
	agents, err := p.agents.List(ctx, scope.All())
	for _, a := range agents {
		if !a.Revoked.IsZero() {
			continue
		}
		r.agents++
		if p.o.Now().Sub(a.LastSeen) > silentAfter {
			r.silent++
		}
		r.behind += a.Behind
		r.behindBytes += a.PendingBytes
	}
	return r, err
}
