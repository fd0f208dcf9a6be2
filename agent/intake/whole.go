package intake

import (
	"context"
	"maps"

	"github.com/google/uuid"

	"thudbook/sync/amend"
	"thudbook/sync/kv"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/scope"
	"thudbook/sync/view"
)

// maxParts bounds how many earlier states of one file are followed.
const maxParts = 50

// Parts lists the shots that were made of earlier states of a grown file while it
// was being written, the latest first, as far as a person may mean one stroke by
// them: back to the first that says what it is. None: nothing is to be asked.
func Parts(ctx context.Context, read *view.Reader, row *view.ShotRow) ([]view.ShotRow, error) {
	if row.Void() || row.Shot.Kind == lab.ShotSecondFile || !waits(row) && byPerson(row) {
		return nil, nil
	}
	var parts []view.ShotRow
	for at, n := row, 0; n < maxParts; n++ {
		id, err := uuid.Parse(at.Shot.Extra[ExtraContinues])
		if err != nil {
			break
		}
		before, err := read.Shot(ctx, scope.Labs(row.Lab), id)
		if problem.Of(err) == problem.NotFound {
			break
		}
		if err != nil {
			return nil, err
		}
		if before.Void() {
			break
		}
		if at = &before; before.Shot.Kind != lab.ShotSecondFile {
			if parts = append(parts, before); !waits(&before) {
				break
			}
		}
	}
	return parts, nil
}

// waits says that a shot does not say yet what it is.
func waits(r *view.ShotRow) bool { return r.Shot.Kind == lab.ShotHit && !r.Shot.Assigned() }

// byPerson says that a person has changed what is recorded of a shot.
func byPerson(r *view.ShotRow) bool {
	for _, e := range r.Edited {
		if e.Author != lab.AuthorMeta {
			return true
		}
	}
	return false
}

// Whole says that a grown file and its earlier states are one stroke: the whole
// file counts with what was said of the parts, and they become second files. What
// the whole file says itself is left alone.
func (in *Intake) Whole(ctx context.Context, whole uuid.UUID, seen, author string) error {
	read := in.opt.Views.Reader(in.opt.Store)
	first, err := read.Shot(ctx, scope.All(), whole)
	if err != nil {
		return err
	}
	_, err = in.Record(ctx, first.Lab, func(tx kv.Tx) ([]ledger.Draft, error) {
		now := view.Within(read, tx)
		row, err := now.Shot(ctx, scope.All(), whole)
		if err != nil {
			return nil, err
		}
		parts, err := Parts(ctx, now, &row)
		if err != nil || len(parts) == 0 {
			return nil, err // said already
		}
		drafts, err := inherit(&row, parts, seen, author)
		if err != nil {
			return nil, err
		}
		e, err := in.opt.Views.LastExpected(tx, scope.Labs(row.Lab), row.Shot.Rig)
		if err != nil {
			return nil, err
		}
		for i := range parts {
			d, err := amend.Correct(map[string]any{"kind": lab.ShotSecondFile}, "", author)(&parts[i])
			if err != nil {
				return nil, err
			}
			if drafts = append(drafts, d...); e != nil && e.Shot() == parts[i].ID {
				d, err := draft(e.ID, &lab.ExpectedSettled{Expected: e.ID, Shot: whole})
				if err != nil {
					return nil, err
				}
				d.Author = author
				drafts = append(drafts, d)
			}
		}
		return drafts, nil
	})
	if err == nil {
		in.restate(ctx, whole)
	}
	return err
}

// inherit gives a shot what is recorded of its parts. What a person had typed is
// typed there too, and by who says now that it is one stroke; the rest is not.
func inherit(row *view.ShotRow, parts []view.ShotRow, seen, author string) ([]ledger.Draft, error) {
	have := amend.Values(&row.Shot.Meta)
	typed, rest := map[string]any{}, map[string]any{}
	for i := range parts {
		p := &parts[i]
		said := amend.Values(&p.Shot.Meta)
		delete(said, "extra."+ExtraContinues)
		delete(said, "extra."+ExtraContinuedIn)
		delete(said, "fired_at") // goes with the effective time, which each shot has
		if i == len(parts)-1 && p.Shot.Kind != row.Shot.Kind {
			said["kind"] = p.Shot.Kind
		}
		for name := range have {
			delete(said, name)
		}
		for name, v := range said {
			if have[name] = v; p.Typed(name) {
				typed[name] = v
			} else {
				rest[name] = v
			}
		}
	}
	all := maps.Clone(rest)
	maps.Copy(all, typed)
	if _, err := amend.Correct(all, seen, author)(row); err != nil { // bounds, and what the person saw
		return nil, err
	}
	return amend.All(amend.Correct(typed, "", author), amend.Correct(rest, "", lab.AuthorMeta))(row)
}
