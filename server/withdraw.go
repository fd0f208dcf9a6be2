package server

import (
	"context"
	"fmt"
	"strings"

	"thudbook/server/enrol"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
)

// byCommand is the author of what was ordered on the command line, by whoever
// owns the data folder.
const byCommand = "command line"

// withdraw takes an agent's rights: words hold its name or id, and a reason.
func (p *parts) withdraw(ctx context.Context, words map[string]string) (string, error) {
	list, err := p.agents.List(ctx, scope.All())
	if err != nil {
		return "", err
	}
	var found []enrol.Status
	var names []string
	for _, s := range list {
		if s.Revoked.IsZero() {
			names = append(names, s.Name)
		}
		if s.Node.String() == words["agent"] || s.Name == words["agent"] && s.Revoked.IsZero() {
			found = append(found, s)
		}
	}
	switch {
	case len(found) == 0:
		return "", problem.New(problem.NotFound, fmt.Sprintf("no agent is called %q", words["agent"]), "give one of: "+strings.Join(names, ", "))
	case len(found) > 1:
		return "", problem.New(problem.Conflict, fmt.Sprintf("%d agents are called %q", len(found), words["agent"]), "give the id that the server's screen of agents shows")
	}
	s := found[0]
	if err := p.agents.Revoke(ctx, scope.All(), s.Node, byCommand, words["reason"]); err != nil {
		return "", err
	}
	return fmt.Sprintf("Agent %s was withdrawn. From now on nothing is taken from it and nothing given to it; what it had sent stays. It goes on recording, and says on its screen that it was withdrawn.", s.Name), nil
}
