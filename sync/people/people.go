// Package people keeps the list of those who work at the rigs of a lab: a name
// and a PIN each. Both stand on a card, an attachment of a record, so that a
// name can be erased where records live for ever; records carry the person's id.
package people

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"thudbook/sync/blob"
	"thudbook/sync/lab"
	"thudbook/sync/ledger"
	"thudbook/sync/problem"
	"thudbook/sync/record"
	"thudbook/sync/scope"
	"thudbook/sync/secret"
	"thudbook/sync/view"
)

// Bounds of a PIN in digits, and of a name in characters.
const (
	MinPIN  = 4
	MaxPIN  = 12
	MaxName = 80

	maxCard = 4 << 10
)

// Book is the list of people in a store.
type Book struct {
	Ledger *ledger.Ledger
	Blobs  func(record.LabID) blob.Store // the bytes that a lab holds
	Views  *view.Reader

	one   sync.Mutex // looking up and writing are one step; one PIN is hashed at a time
	mu    sync.Mutex
	cards map[cardKey]cardText
}

// Person is one of the people at the rigs.
type Person struct {
	ID        uuid.UUID
	Lab       record.LabID
	Name      string // empty: erased, or the card is not here yet
	Since     time.Time
	Withdrawn *view.Mark // nil: on the list
	Erased    *view.Mark
	hash      string
}

// OnList says that the person may sign in at a rig.
func (p *Person) OnList() bool { return p.Withdrawn == nil && p.Erased == nil && p.Name != "" }

// Shown is the name for people to read.
func (p *Person) Shown() string {
	if p.Erased != nil {
		return ErasedName
	}
	return cmp.Or(p.Name, "a person whose name is not here yet")
}

type cardKey struct {
	lab record.LabID
	sum record.Hash
}

// cardText is what stands on a card.
type cardText struct {
	Name string `json:"name"`
	PIN  string `json:"pin"` // its hash, see package secret; the salt in it keeps the card's sum from being guessed
}

// List gives the people of a scope by name; those who are off the list come last.
func (b *Book) List(ctx context.Context, sc scope.Scope) ([]Person, error) {
	rows, err := b.Views.People(ctx, sc)
	if err != nil {
		return nil, err
	}
	out := make([]Person, len(rows))
	for i := range rows {
		if out[i], err = b.person(ctx, &rows[i]); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(out, func(a, z Person) int {
		return cmp.Or(boolOrder(z.OnList(), a.OnList()), strings.Compare(lab.Fold(a.Name), lab.Fold(z.Name)))
	})
	return out, nil
}

func boolOrder(a, z bool) int {
	switch {
	case a == z:
		return 0
	case a:
		return 1
	}
	return -1
}

// Find gives one person of a scope.
func (b *Book) Find(ctx context.Context, sc scope.Scope, id uuid.UUID) (Person, error) {
	row, err := b.Views.Person(ctx, sc, id)
	if err != nil {
		return Person{}, err
	}
	return b.person(ctx, &row)
}

func (b *Book) person(ctx context.Context, row *view.PersonRow) (Person, error) {
	p := Person{ID: row.ID, Lab: row.Lab, Since: row.Since, Withdrawn: row.Withdrawn, Erased: row.Erased}
	if row.Erased != nil {
		return p, nil
	}
	c, err := b.card(ctx, cardKey{row.Lab, row.Card})
	p.Name, p.hash = c.Name, c.PIN
	return p, err
}

// card reads a card; an empty one when it is not here, or cannot be used.
func (b *Book) card(ctx context.Context, at cardKey) (c cardText, err error) {
	b.mu.Lock()
	c, ok := b.cards[at]
	b.mu.Unlock()
	if ok {
		return c, nil
	}
	f, _, err := b.Blobs(at.lab).Open(ctx, at.sum)
	if code := problem.Of(err); err != nil && (code == problem.NotFound || code == problem.Damaged) {
		return c, nil
	}
	if err != nil {
		return c, err
	}
	text, err := io.ReadAll(io.LimitReader(f, maxCard))
	if err = errors.Join(err, f.Close()); err != nil {
		if problem.Of(err) == problem.Damaged {
			return cardText{}, nil
		}
		return c, fmt.Errorf("read a person's card: %w", err)
	}
	if json.Unmarshal(text, &c) != nil || !utf8.ValidString(c.Name) || utf8.RuneCountInString(c.Name) > MaxName {
		return cardText{}, nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cards == nil {
		b.cards = map[cardKey]cardText{}
	}
	b.cards[at] = c
	return c, nil
}

// Names gives a function that names people by the id that stands in records;
// "" for others.
func (b *Book) Names(ctx context.Context, sc scope.Scope) (func(author string) string, error) {
	all, err := b.List(ctx, sc)
	names := make(map[string]string, len(all))
	for i := range all {
		names[all[i].ID.String()] = all[i].Shown()
	}
	return func(author string) string { return names[author] }, err
}

// Check says whether a PIN is the person's.
func (b *Book) Check(p *Person, pin string) (bool, error) {
	if !p.OnList() || len(pin) > MaxPIN {
		return false, nil
	}
	b.one.Lock()
	defer b.one.Unlock()
	return secret.Match(p.hash, pin)
}

// Add puts a person onto a lab's list. A name stands on it once.
func (b *Book) Add(ctx context.Context, in record.LabID, also scope.Scope, name, pin, author string) (uuid.UUID, error) {
	name = strings.Join(strings.Fields(name), " ")
	if err := errors.Join(checkName(name), checkPIN(pin)); err != nil {
		return uuid.Nil, err
	}
	b.one.Lock()
	defer b.one.Unlock()
	if err := b.free(ctx, also, name); err != nil {
		return uuid.Nil, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return uuid.Nil, err
	}
	return id, b.deal(ctx, in, id, cardText{Name: name, PIN: secret.Hash(pin)}, author)
}

func (b *Book) free(ctx context.Context, sc scope.Scope, name string) error {
	all, err := b.List(ctx, sc)
	for i := range all {
		if all[i].OnList() && lab.Fold(all[i].Name) == lab.Fold(name) {
			return at("name", problem.Conflict, "This name is on the list already.", "Add something that tells the two apart, such as a department.")
		}
	}
	return err
}

// SetPIN gives a person another PIN.
func (b *Book) SetPIN(ctx context.Context, sc scope.Scope, id uuid.UUID, pin, author string) error {
	if err := checkPIN(pin); err != nil {
		return err
	}
	b.one.Lock()
	defer b.one.Unlock()
	p, err := b.Find(ctx, sc, id)
	if err != nil {
		return err
	}
	if p.Name == "" {
		return problem.New(problem.Conflict, "The name of this person is not here, so that no new PIN can be set.", "Add the person anew.")
	}
	return b.deal(ctx, p.Lab, id, cardText{Name: p.Name, PIN: secret.Hash(pin)}, author)
}

// deal stores a card and says whose it is.
func (b *Book) deal(ctx context.Context, in record.LabID, id uuid.UUID, c cardText, author string) error {
	text, err := json.Marshal(c)
	if err != nil {
		return err
	}
	ref, err := b.Blobs(in).Put(ctx, bytes.NewReader(text), maxCard)
	if err != nil {
		return err
	}
	return b.write(ctx, in, id, author, &lab.Person{CardSHA256: ref.SHA256},
		record.Attachment{SHA256: ref.SHA256, Size: ref.Size, Role: lab.RolePerson, Media: "application/json"})
}

// SetOnList takes a person off the list, or with on puts a person back onto it.
func (b *Book) SetOnList(ctx context.Context, sc scope.Scope, id uuid.UUID, on bool, reason, author string) error {
	b.one.Lock()
	defer b.one.Unlock()
	p, err := b.Find(ctx, sc, id)
	if err != nil {
		return err
	}
	if p.Erased != nil {
		return problem.New(problem.Conflict, "The name of this person was erased.", "Add the person anew.")
	}
	if on == (p.Withdrawn == nil) {
		return nil
	}
	if on {
		if err := b.free(ctx, sc, p.Name); err != nil {
			return err
		}
	}
	return b.write(ctx, p.Lab, id, author, &lab.Withdrawn{Doc: id, DocKind: lab.KindPerson, Reason: reason, Lifted: on})
}

func (b *Book) write(ctx context.Context, in record.LabID, id uuid.UUID, author string, body lab.Body, with ...record.Attachment) error {
	kind, schema, raw, err := lab.Encode(body)
	if err != nil {
		return err
	}
	_, err = b.Ledger.Append(ctx, in, ledger.Draft{Kind: kind, Schema: schema, Author: author, UID: id, Body: raw, Attachments: with})
	return err
}

func checkName(name string) error {
	switch {
	case name == "":
		return at("name", problem.Invalid, "The name is missing.", "Type the name that the others know.")
	case !utf8.ValidString(name) || utf8.RuneCountInString(name) > MaxName:
		return at("name", problem.Invalid, fmt.Sprintf("The name is longer than %d characters.", MaxName), "Shorten it.")
	}
	return nil
}

func checkPIN(pin string) error {
	switch {
	case strings.Trim(pin, "0123456789") != "" || len(pin) < MinPIN || len(pin) > MaxPIN:
		return at("pin", problem.Invalid, fmt.Sprintf("The PIN must have %d to %d digits.", MinPIN, MaxPIN), "Choose another one.")
	case strings.Count(pin, pin[:1]) == len(pin) || strings.Contains("0123456789", pin) || strings.Contains("9876543210", pin):
		return at("pin", problem.Invalid, "This PIN is the first that anybody would try.", "Choose digits that are not all the same and do not count up or down.")
	}
	return nil
}

func at(field string, code problem.Code, what, fix string) error {
	e := problem.New(code, what, fix)
	e.Where = field
	return e
}
