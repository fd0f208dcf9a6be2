package register

import (
	"context"

	"github.com/google/uuid"

	"thudbook/server/account"
	"thudbook/server/roster"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
)

// Plan changes the service plan of an item: fields of the item that hold whole
// numbers, by their name in its record. What is already so is not written again.
func (r *Register) Plan(ctx context.Context, p account.Principal, in roster.Place, item uuid.UUID, plan map[string]int64) error {
	if err := MayKeep(p, in.ID); err != nil {
		return err
	}
	r.one.Lock()
	defer r.one.Unlock()
	row, err := r.Views.Item(ctx, in.Scope, item)
	if err != nil {
		return err
	}
	i := &row.Item
	next := *i
	var drafts []ledger.Draft
	for field, at := range map[string]*int64{"service_every_strokes": &next.ServiceEveryStrokes, "service_every_days": &next.ServiceEveryDays,
		"warn_strokes": &next.WarnStrokes, "warn_days": &next.WarnDays} {
		n, ok := plan[field]
		if !ok || n == *at {
			continue
		}
		*at = n
		e, err := lab.NewEdit(item, lab.KindItem, field, n, row.Base(field)...)
		if err != nil {
			return err
		}
		kind, schema, body, err := lab.Encode(e)
		if err != nil {
			return err
		}
		drafts = append(drafts, ledger.Draft{Kind: kind, Schema: schema, Author: p.Author(), UID: item, Body: body})
	}
	if err := next.Validate(); err != nil || len(drafts) == 0 {
		return err
	}
	_, err = r.Ledger.Append(ctx, row.Lab, drafts...)
	return err
}
