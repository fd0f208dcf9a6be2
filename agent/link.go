package agent

import (
	"context"
	"fmt"
	"strings"
	"time"

	"thudbook/agent/desk"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/uplink"
	"thudbook/web/page"
	"thudbook/web/present"
)

const (
	firstEnrol = 3 * time.Second // that the start waits for the server
	retryEnrol = 5 * time.Second
)

// enrolAtStart connects with the server of the options, once. A server that is
// not there is no reason not to start: it is tried again while the agent runs.
func (p *parts) enrolAtStart(ctx context.Context) error {
	if p.o.Server == "" {
		return nil
	}
	if s, ok := p.uplink.Settings(); ok && (s.URL == p.o.Server || p.o.Code == "") {
		if s.URL != p.o.Server {
			p.o.Log.Warn("the agent is enrolled with another server and stays with it; give a code of the new one to change", "server", s.URL, "given", p.o.Server)
		}
		p.o.Server = ""
		return nil
	}
	if p.o.Code == "" {
		return problem.New(problem.Invalid, "The agent is not known to the server "+p.o.Server+" yet.", "Give the one-time code that the server shows under Agents, with --code.")
	}
	ctx, cancel := context.WithTimeout(ctx, firstEnrol)
	defer cancel()
	err := p.uplink.Enrol(ctx, p.o.Server, p.o.Code)
	if err == nil {
		p.o.Server = ""
		return nil
	}
	if !again(err) {
		return err
	}
	p.o.Log.Warn("the server is not reached yet; the agent works without it and tries again", "server", p.o.Server, "error", err)
	return nil
}

// again tells whether an enrolment that failed may work later.
func again(err error) bool {
	switch problem.Of(err) {
	case problem.Unavailable, problem.Internal:
		return true
	default:
		return false
	}
}

// exchange holds the sessions with the server, and before that enrols the
// agent where the start could not.
func (p *parts) exchange(ctx context.Context) error {
	for p.o.Server != "" {
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(retryEnrol):
		}
		if _, ok := p.uplink.Settings(); ok { // a person was faster
			break
		}
		try, cancel := context.WithTimeout(ctx, 4*firstEnrol)
		err := p.enrol(try, p.o.Server, p.o.Code)
		cancel()
		if err == nil {
			break
		}
		if !again(err) {
			p.o.Log.Error("the agent cannot be enrolled; it works on without a server", "server", p.o.Server, "error", err)
			break
		}
	}
	return p.uplink.Run(ctx)
}

// enrol connects with a server and states the rig in the lab it names.
func (p *parts) enrol(ctx context.Context, server, code string) error {
	if err := p.uplink.Enrol(ctx, server, code); err != nil {
		return err
	}
	if err := p.stateRig(ctx); err != nil {
		return err
	}
	p.uplink.Wake()
	return nil
}

// link words the state of the exchange for the screens.
func (p *parts) link(ctx context.Context) desk.LinkState {
	l := desk.LinkState{OwnFingerprint: present.Fingerprint(p.uplink.PublicKey()), KeyChanging: p.uplink.KeyChanging(), Lab: p.labName(ctx)}
	s, err := p.uplink.State(ctx)
	if err != nil {
		p.o.Log.Error("state of the exchange", "error", err)
		l.Sync = page.SyncState{State: page.Status{Level: page.Bad, Word: "not known"}, Stuck: "The store could not be read; the log says why."}
		return l
	}
	l.PendingBytes, l.Detail = s.PendingBytes, detail(&s)
	l.Sync = page.SyncState{Server: s.Server, PendingRecords: int(s.PendingRecords), PendingBytes: page.ShowBytes(s.PendingBytes),
		OldestPending: local(s.OldestPendingSince), LastExchange: local(s.LastExchange), NextTry: local(s.NextTry), Stuck: s.Stuck, Waiting: waiting(l.Detail.Kinds)}
	if set, ok := p.uplink.Settings(); ok {
		l.ServerFingerprint, l.EnrolledAt, l.LabID = present.Fingerprint(set.ServerKey), time.UnixMilli(set.EnrolledMS), set.Lab.String()
	}
	switch {
	case !s.Enrolled && s.EnrolError != nil && !again(s.EnrolError):
		l.Sync.Server, l.Sync.State = p.o.Server, page.Status{Level: page.Bad, Word: "not connected"}
	case !s.Enrolled && p.o.Server != "":
		l.Sync.Server, l.Sync.State = p.o.Server, page.Status{Level: page.Warn, Word: "server not reached yet"}
	case !s.Enrolled:
		l.Sync.State = page.Status{Level: page.Plain, Word: "no server set"}
	case s.Stuck != "" && s.Connected:
		l.Sync.State = page.Status{Level: page.Bad, Word: "stuck"}
	case !s.Connected:
		l.Sync.State = page.Status{Level: page.Warn, Word: "server not reachable"}
	case s.PendingRecords > 0 || s.PendingAttachments > 0:
		l.Sync.State = page.Status{Level: page.Plain, Word: "sending"}
	default:
		l.Sync.State = page.Status{Level: page.OK, Word: "up to date"}
	}
	for _, n := range append(s.Notices, s.ClockWarning) {
		if n != "" && n != l.Sync.Stuck {
			l.Sync.Stuck = strings.TrimSpace(l.Sync.Stuck + " " + n)
		}
	}
	return l
}

// detail tells the API more than fits a screen.
func detail(s *uplink.State) desk.SyncDetail {
	d := desk.SyncDetail{Cause: string(s.Cause), Notices: s.Notices, Clock: s.ClockWarning, Kinds: []desk.SyncShare{
		{Kind: "records", Count: s.Pending.Records.Count, Bytes: s.Pending.Records.Bytes},
		{Kind: "sources", Count: s.Pending.Sources.Count, Bytes: s.Pending.Sources.Bytes},
		{Kind: "photos", Count: s.Pending.Photos.Count, Bytes: s.Pending.Photos.Bytes},
		{Kind: "videos", Count: s.Pending.Videos.Count, Bytes: s.Pending.Videos.Bytes}}}
	if !s.StuckSince.IsZero() {
		d.StuckSince = &s.StuckSince
	}
	if s.ClockKnown {
		off := s.ClockOffset.Seconds()
		d.ClockOffset = &off
	}
	if f := s.Progress.File; s.Running && f.Size > 0 {
		d.File = &desk.SyncFile{SHA256: f.SHA256.String(), Done: f.Done, Size: f.Size}
	}
	return d
}

// waiting words what is pending: "2 records (1.2 kB), 1 video (2.0 GB)".
func waiting(kinds []desk.SyncShare) string {
	var parts []string
	for _, k := range kinds {
		if k.Count == 0 {
			continue
		}
		kind := k.Kind
		if k.Count == 1 {
			kind = strings.TrimSuffix(kind, "s")
		}
		parts = append(parts, fmt.Sprintf("%s %s (%s)", page.ShowCount(k.Count), kind, page.ShowBytes(k.Bytes)))
	}
	return strings.Join(parts, ", ")
}

func local(t time.Time) time.Time {
	if t.IsZero() {
		return t
	}
	return t.Local()
}

// labName is the name that a server gave the lab, or else that of the options.
func (p *parts) labName(ctx context.Context) string {
	labs, err := p.home.Reader.Labs(ctx, scope.Labs(p.uplink.Lab()), 1)
	if err == nil && len(labs) > 0 && labs[0].Name != "" {
		return labs[0].Name
	}
	return p.o.LabName
}
