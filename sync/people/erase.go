package people

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"time"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
)

// ErasedName stands in the place of the name of a person whose name was erased.
const ErasedName = "erased person"

// sweepEvery is how often cards are looked for that records from elsewhere erased.
const sweepEvery = 10 * time.Second

// Erase erases the name and the PIN of a person for good. typed is the name as
// it was typed to confirm that. The record is durable first, then the cards go:
// after a crash between the two the next Sweep removes them.
func (b *Book) Erase(ctx context.Context, sc scope.Scope, id uuid.UUID, typed, reason, author string) error {
	b.one.Lock()
	defer b.one.Unlock()
	p, err := b.Find(ctx, sc, id)
	if err != nil || p.Erased != nil {
		return err
	}
	if p.Name == "" || lab.Fold(typed) != lab.Fold(p.Name) {
		return at("confirm", problem.Invalid, "This is not the name of the person who was chosen; nothing was erased.", "Type the name as it stands in the list.")
	}
	if err := b.write(ctx, p.Lab, id, author, &lab.PersonErased{Person: id, Reason: reason}); err != nil {
		return err
	}
	return b.Sweep(ctx)
}

// Sweep removes the cards of all who are erased, also those that came after the
// record that erases them.
func (b *Book) Sweep(ctx context.Context) error {
	rows, err := b.Views.People(ctx, scope.All())
	if err != nil {
		return err
	}
	inUse := map[record.Hash]bool{}
	for i := range rows {
		for _, h := range rows[i].Cards {
			inUse[h] = inUse[h] || rows[i].Erased == nil
		}
	}
	for i := range rows {
		for _, h := range rows[i].Cards {
			if rows[i].Erased != nil && !inUse[h] {
				err = errors.Join(err, b.drop(ctx, cardKey{rows[i].Lab, h}))
			}
		}
	}
	return err
}

// drop removes a card that its lab holds. Bytes that are no card stay, whatever
// a record says of them.
func (b *Book) drop(ctx context.Context, at cardKey) error {
	b.mu.Lock()
	delete(b.cards, at)
	b.mu.Unlock()
	store := b.Blobs(at.lab)
	f, size, err := store.Open(ctx, at.sum)
	if problem.Of(err) == problem.NotFound {
		return nil
	}
	if err != nil {
		return err
	}
	text, err := io.ReadAll(io.LimitReader(f, maxCard+1))
	if err = errors.Join(err, f.Close()); err != nil && problem.Of(err) != problem.Damaged {
		return err
	}
	var c cardText
	isCard := err != nil || json.Unmarshal(text, &c) == nil && c.Name != "" && c.PIN != ""
	if size > maxCard || !isCard {
		return nil
	}
	return store.Remove(ctx, at.sum)
}

// KeepErased sweeps until ctx ends. It always returns nil.
func (b *Book) KeepErased(ctx context.Context, log *slog.Logger) error {
	tick := time.NewTicker(sweepEvery)
	defer tick.Stop()
	for {
		if err := b.Sweep(ctx); err != nil && ctx.Err() == nil {
			log.Error("the cards of erased people cannot be removed; it is tried again", "error", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
