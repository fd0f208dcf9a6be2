package pool

import (
	"context"
	"fmt"
	"time"

	"thudbook/sync/alarm"
	"thudbook/sync/scope"
	"thudbook/sync/uplink"
)

// alarmEvery is how often a pool looks for what a person has to hear of.
const alarmEvery = 2 * time.Second

// watch tells people of troubles that do not pass by themselves, once a day for
// each source as long as they last.
func (p *Pool) watch(ctx context.Context) {
	tick := time.NewTicker(alarmEvery)
	defer tick.Stop()
	told := map[string]bool{}
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		all, err := p.List(ctx, scope.All())
		if err != nil {
			continue // the store is not well; it is told elsewhere
		}
		for i := range all {
			s := &all[i]
			kind := uplink.AlarmOf(s.State.Cause)
			if kind == "" {
				continue
			}
			subject := s.ID.String() + " " + p.o.Now().UTC().Format(time.DateOnly)
			if told[kind+subject] {
				continue
			}
			_, err := p.o.Agents.Raise(ctx, alarm.Raised{Alarm: kind, Subject: subject, Node: s.Server, Lab: s.Lab,
				Text: fmt.Sprintf("A lab cannot be fetched from the server at %s. %s", s.URL, s.State.Stuck)})
			if err == nil {
				told[kind+subject] = true
			} else if ctx.Err() == nil {
				p.o.Log.Error("an alarm could not be kept; it is tried again", "alarm", kind, "error", err)
			}
		}
	}
}
