package agent

import (
	"context"

	"thudbook/sync/lab"
	"thudbook/sync/people"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
)

// newPIN gives a person of this rig's own list a PIN that nobody chose, where
// nobody is left who can sign in and set one: words names the person. It is said
// once. Whoever orders it owns the data folder, and could read all of it.
func (p *parts) newPIN(ctx context.Context, words map[string]string) (string, error) {
	if !p.link(ctx).EnrolledAt.IsZero() {
		return "", problem.New(problem.Forbidden, "the list of people is kept on the server", "set a new PIN there, under People at the rigs")
	}
	book, name := p.shift.Book(), words["name"]
	all, err := book.List(ctx, scope.All())
	if err != nil {
		return "", err
	}
	for i := range all {
		if !all[i].OnList() || lab.Fold(all[i].Name) != lab.Fold(name) {
			continue
		}
		pin := people.RandomPIN()
		if err := book.SetPIN(ctx, scope.All(), all[i].ID, pin, lab.AuthorRig); err != nil {
			return "", err
		}
		return "The PIN of " + all[i].Name + " is now " + pin + ". It is shown once: sign in at the rig with it, then set another one under People, Change the list, New PIN. After wrong PINs the wait goes on, at most five minutes.", nil
	}
	return "", &problem.Error{Code: problem.NotFound, What: "nobody of that name is on the list", Where: name, Fix: "write the name as the screen People shows it"}
}
