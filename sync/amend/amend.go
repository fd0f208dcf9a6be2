// Package amend writes what people change about a shot after it was taken in:
// other values of its fields, that it does not count, and which of several
// values that were recorded beside each other holds. Nothing is overwritten:
// each change is a record that names what it replaces.
package amend

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// Change makes the records that change a shot, from what holds now.
type Change func(*view.ShotRow) ([]ledger.Draft, error)

// Shot changes a shot of a scope: reading what holds and writing are one step.
// The records go into the lab of the shot. It gives how many were written.
func Shot(ctx context.Context, l *ledger.Ledger, v *view.Reader, sc scope.Scope, id uuid.UUID, do Change) (n int, err error) {
	row, err := v.Shot(ctx, sc, id)
	if err != nil {
		return 0, err
	}
	_, err = l.AppendWith(ctx, row.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		row, err := view.Within(v, tx).Shot(ctx, sc, id)
		if err != nil {
			return nil, err
		}
		drafts, err := do(&row)
		n = len(drafts)
		return drafts, err
	})
	if err != nil {
		return 0, err
	}
	return n, nil
}

// Seen names the state of a shot that a person saw, so that a change made from
// an old screen is noticed.
func Seen(row *view.ShotRow) string {
	h := sha256.New()
	for _, name := range slices.Sorted(maps.Keys(row.Edited)) {
		fmt.Fprintf(h, "%q %v\n", name, row.Base(name))
	}
	if row.Withdrawn != nil {
		fmt.Fprintf(h, "void %v\n", row.Withdrawn.Stamp)
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

func stillSeen(row *view.ShotRow, seen string) error {
	if seen == "" || seen == Seen(row) {
		return nil
	}
	return problem.New(problem.Conflict, "Somebody else changed this shot while the page was open; nothing was saved.",
		"Look at what holds now, then save again if it is still needed.")
}

// Correct gives the fields in want these values; nil takes a field back to "not
// recorded". Fields that have their value already are left alone. seen is what
// the person saw, empty when that does not matter.
func Correct(want map[string]any, seen, author string) Change {
	return func(row *view.ShotRow) ([]ledger.Draft, error) {
		now := Values(&row.Shot.Meta)
		now["kind"] = row.Shot.Kind
		var drafts []ledger.Draft
		values := map[string][]byte{}
		for _, name := range slices.Sorted(maps.Keys(want)) {
			if now[name] == want[name] {
				continue
			}
			e, err := lab.NewEdit(row.ID, lab.KindShot, name, want[name], row.Base(name)...)
			if err != nil {
				return nil, first(err)
			}
			d, err := draft(row.ID, author, e)
			if err != nil {
				return nil, err
			}
			values[name], drafts = e.Value, append(drafts, d)
		}
		if len(drafts) == 0 {
			return nil, nil
		}
		if err := stillSeen(row, seen); err != nil {
			return nil, err
		}
		after, bad, err := lab.Overlay(row.Shot, values)
		if err == nil && len(bad) > 0 {
			err = problem.New(problem.Invalid, "The shot has no field "+strings.Join(bad, ", ")+" that can be corrected.", "Reload the page.")
		}
		if err == nil {
			err = after.Validate()
		}
		return drafts, first(err)
	}
}

// All makes several changes as one.
func All(changes ...Change) Change {
	return func(row *view.ShotRow) (all []ledger.Draft, err error) {
		for _, do := range changes {
			drafts, err := do(row)
			if err != nil {
				return nil, err
			}
			all = append(all, drafts...)
		}
		return all, nil
	}
}

// Void says that the shot does not count, or with lifted that it counts again.
// A shot that is so already is left alone.
func Void(reason string, lifted bool, seen, author string) Change {
	return func(row *view.ShotRow) ([]ledger.Draft, error) {
		if row.Void() == !lifted {
			return nil, nil
		}
		if err := stillSeen(row, seen); err != nil {
			return nil, err
		}
		d, err := draft(row.ID, author, &lab.Void{Shot: row.ID, Reason: reason, Lifted: lifted, Turn: row.MarkTurn + 1})
		return []ledger.Draft{d}, first(err)
	}
}

// Settle lets one of the values of a field hold that were recorded without
// sight of each other: that of the edit keep.
func Settle(field string, keep lab.EditRef, seen, author string) Change {
	return func(row *view.ShotRow) ([]ledger.Draft, error) {
		e, ok := row.Edited[field]
		if !ok || len(e.Others) == 0 {
			return nil, nil // settled already
		}
		if err := stillSeen(row, seen); err != nil {
			return nil, err
		}
		for _, one := range append([]view.Edit{e}, e.Others...) {
			if one.Ref != keep {
				continue
			}
			edit, err := lab.NewEdit(row.ID, lab.KindShot, field, one.Value, row.Base(field)...)
			if err != nil {
				return nil, first(err)
			}
			d, err := draft(row.ID, author, edit)
			return []ledger.Draft{d}, err
		}
		return nil, problem.New(problem.Invalid, "The value to keep is not among those that were recorded.", "Reload the page and choose again.")
	}
}

func draft(id uuid.UUID, author string, b lab.Body) (ledger.Draft, error) {
	kind, schema, body, err := lab.Encode(b)
	return ledger.Draft{Kind: kind, Schema: schema, Author: author, UID: id, Body: body}, err
}

// Values gives the recorded fields of meta by the names that edits use.
func Values(m *lab.Meta) map[string]any {
	out := map[string]any{}
	v := reflect.ValueOf(m).Elem()
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		f := v.Field(i)
		switch {
		case f.IsZero():
		case name == "extra":
			for k, s := range m.Extra {
				out["extra."+k] = s
			}
		case f.Kind() == reflect.Pointer:
			out[name] = f.Elem().Interface()
		default:
			out[name] = f.Interface()
		}
	}
	return out
}

// first is the first problem of several.
func first(err error) error {
	if p, ok := errors.AsType[*problem.Error](err); ok {
		return p
	}
	return err
}
