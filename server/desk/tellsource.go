package desk

import (
	"context"
	"strings"
	"time"

	"thudbook/server/roster"
	"thudbook/server/tell"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/web/page"
)

// silentFor is how long an agent may be silent before people are told.
const silentFor = 48 * time.Hour

// placeOf is a lab as the server itself sees it, for what it tells people of
// that lab.
func (d *Desk) placeOf(ctx context.Context, id record.LabID) (roster.Place, *roster.Names, error) {
	in, err := d.Roster.Find(ctx, scope.All(), id.String())
	if err != nil {
		return in, nil, err
	}
	names, err := d.Roster.Names(ctx, in.Scope)
	return in, names, err
}

// LabName names a lab, for tell.Source.
func (d *Desk) LabName(ctx context.Context, id record.LabID) (string, bool, error) {
	_, names, err := d.placeOf(ctx, id)
	if missing(err) {
		return "", false, nil
	}
	if err != nil {
		return "", false, err
	}
	name, err := names.Of(ctx, id)
	return name, name != "", err
}

// Facts lists what people of a lab should hear of now, for tell.Source.
func (d *Desk) Facts(ctx context.Context, id record.LabID) ([]tell.Fact, error) {
	in, names, err := d.placeOf(ctx, id)
	if err != nil {
		return nil, err
	}
	v, err := d.survey(ctx, names, in.Scope)
	if err != nil {
		return nil, err
	}
	out := v.facts
	alarms, err := d.Agents.Alarms(ctx, in.Scope)
	if err != nil {
		return nil, err
	}
	for i := range alarms {
		if a := &alarms[i]; a.SeenMS == 0 && in.Scope.Allows(a.Lab) {
			title, rest, _ := strings.Cut(a.Text, ". ")
			out = append(out, tell.Fact{Key: "alarm " + a.ID.String(), Code: a.Alarm, Alarm: true, Title: "Alarm: " + strings.TrimSuffix(title, "."), Text: rest, Path: page.PathAlarms})
		}
	}
	agents, err := d.Agents.List(ctx, in.Scope)
	for i := range agents {
		a := &agents[i]
		if !a.Revoked.IsZero() || a.LastSeen.IsZero() || d.Now().Sub(a.LastSeen) < silentFor {
			continue
		}
		out = append(out, tell.Fact{Key: "agent_silent " + a.Node.String() + " " + a.LastSeen.UTC().Format(time.RFC3339), Code: "agent_silent",
			Title: "Agent " + a.Name + " was last heard of on " + page.ShowMoment(a.LastSeen.In(d.zone)), Text: "What it records meanwhile is kept on the rig PC and comes later.", Path: page.PathAgents})
	}
	return out, err
}
