package agent

import (
	"context"
	"time"

	"thudbook/sync/alarm"
	"thudbook/sync/exchange"
	"thudbook/sync/record"
	"thudbook/sync/uplink"
)

// The kinds of alarms that an agent raises by itself; programs know them, so
// they are never renamed.
const (
	alarmChain = "chain_notice" // what the ledger found at its start or in a session
	alarmStore = "store_failed" // the store could not be written for a while
	alarmClock = "clock_far_off"
)

// alarmEvery is how often an agent looks for what a person has to hear of.
const alarmEvery = 2 * time.Second

// watchAlarms keeps what a person has to hear of as records, once each: what
// concerns the exchange once a day as long as it lasts.
func (p *parts) watchAlarms(ctx context.Context) error {
	tick := time.NewTicker(alarmEvery)
	defer tick.Stop()
	told := map[string]bool{} // that was kept since the start
	for {
		for _, a := range p.alarmsNow(ctx) {
			if key := a.Alarm + a.Subject; !told[key] {
				if _, err := p.alarms.Raise(ctx, a); err == nil {
					told[key] = true
				} else if ctx.Err() == nil {
					p.o.Log.Error("an alarm could not be kept; it is tried again", "alarm", a.Alarm, "error", err)
				}
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// alarmsNow gives what there is to hear of at this moment.
func (p *parts) alarmsNow(ctx context.Context) []alarm.Raised {
	if p.trouble() != nil {
		return nil // nothing can be kept now; every screen says why
	}
	var all []alarm.Raised
	add := func(kind, subject, text string) {
		all = append(all, alarm.Raised{Alarm: kind, Subject: subject, Node: p.home.Node.ID, Lab: p.uplink.Lab(), Text: text})
	}
	for _, n := range p.home.Ledger.Notices() {
		add(alarmChain, n, n)
	}
	if t, ok := p.home.Trouble(); ok {
		w := t.Words()
		add(alarmStore, t.Since.UTC().Format(time.RFC3339Nano), w.What+" "+w.Fix)
	}
	s, err := p.uplink.State(ctx)
	if err != nil {
		return all
	}
	today := time.Now().UTC().Format(time.DateOnly)
	if kind := uplink.AlarmOf(s.Cause); kind != "" {
		add(kind, today, s.Stuck)
	}
	if s.ClockKnown && s.ClockOffset.Abs() > exchange.ClockBound {
		add(alarmClock, today, s.ClockWarning)
	}
	return all
}

// openAlarms makes the list of alarms of an agent, in the chain of its lab.
func openAlarms(p *parts, up *uplink.Uplink) *alarm.Book {
	return &alarm.Book{Ledger: p.home.Ledger, Store: p.home.Store, Lab: func() record.LabID { return up.Lab() }, Now: time.Now}
}
