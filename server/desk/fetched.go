package desk

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// fetched lists the labs of a scope that come from other servers.
func (d *Desk) fetched(ctx context.Context, sc scope.Scope) (out []record.LabID, err error) {
	list, err := d.Pool.List(ctx, sc)
	for i := range list {
		if list[i].StoppedMS == 0 && !slices.Contains(out, list[i].Lab) {
			out = append(out, list[i].Lab)
		}
	}
	return out, err
}

// fetchedWords names them, "" for none.
func (d *Desk) fetchedWords(ctx context.Context, p *caller, sc scope.Scope) (string, error) {
	labs, err := d.fetched(ctx, sc)
	if err != nil {
		return "", err
	}
	var names []string
	for _, id := range labs {
		name, err := p.names.Of(ctx, id)
		if err != nil {
			return "", err
		}
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", "), nil
}

// foreigner words an author whom this server does not know: a person of a lab
// that is fetched, whose name stays at that lab's own server. "" when no lab of
// the scope is fetched.
func (d *Desk) foreigner(ctx context.Context, sc scope.Scope) (func(author string) string, error) {
	nobody := func(string) string { return "" }
	labs, err := d.fetched(ctx, sc)
	if err != nil || len(labs) == 0 {
		return nobody, err
	}
	at := "its lab’s own server"
	if len(labs) == 1 {
		names, err := d.Roster.Names(ctx, sc)
		if err != nil {
			return nobody, err
		}
		name, err := names.Of(ctx, labs[0])
		if err != nil {
			return nobody, err
		}
		at = name + "’s server"
	}
	return func(author string) string {
		id, err := uuid.Parse(author)
		if err != nil {
			return ""
		}
		text := id.String()
		return "person " + strings.ToUpper(text[len(text)-6:]) + ", known at " + at
	}, nil
}
