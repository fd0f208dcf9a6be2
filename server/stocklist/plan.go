package stocklist

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/web/httpkit"
)

// Change is one field that a list would change.
type Change struct {
	Field, From, To string
}

// Line is what one line of a list would do.
type Line struct {
	Line    int
	Title   string
	New     bool
	At      int // place in the register that the plan was made on; -1: new
	Item    lab.Item
	Changes []Change
	State   *lab.ItemState // nil: state and place stay; the item's id and the time are filled in when it is written
	Note    string         // what a person should look at
}

// Plan is what a list would do to a register.
type Plan struct {
	Lines          []Line
	New, Edit, All int
}

// Changed says whether a line writes anything.
func (l *Line) Changed() bool { return l.New || len(l.Changes) > 0 }

// Digest stands for exactly this plan: as long as it is the same, the register
// has not changed under it.
func (p *Plan) Digest() string {
	h := sha256.New()
	for i := range p.Lines {
		l := &p.Lines[i]
		fmt.Fprintf(h, "%d %q %v %q\n", l.Line, l.Title, l.New, l.Changes)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Compare plans what the list would change. Cells that are empty change
// nothing. The error joins all faults, each with its line and column.
func (l *List) Compare(have []Have) (*Plan, error) {
	byKey, byAsset, bySerial := map[string]int{}, map[string]int{}, map[string]int{}
	for i := range have {
		byKey[key(&have[i].Item)], bySerial[lab.Fold(have[i].Item.Serial)] = i, i
		if a := lab.Fold(have[i].Item.AssetNumber); a != "" {
			byAsset[a] = i
		}
	}
	p, errs := &Plan{All: len(l.rows)}, []error{}
	for i := range l.rows {
		r := &l.rows[i]
		at, known := byKey[key(&r.item)]
		was := Have{State: lab.StateInService}
		if known {
			was = have[at]
		} else {
			at = -1
			errs = append(errs, r.named())
		}
		line, err := r.plan(was, at)
		if a := lab.Fold(r.item.AssetNumber); a != "" {
			if of, ok := byAsset[a]; ok && of != at {
				errs = append(errs, fault(r.line, "asset_number", fmt.Sprintf("The asset number %s is that of %s.", r.item.AssetNumber, have[of].Item.Title()), "Check the number on the item."))
			}
		}
		if of, ok := bySerial[lab.Fold(r.item.Serial)]; ok && !known {
			line.Note = "The register has this serial number as " + have[of].Item.Title() + ", of another class."
		}
		errs = append(errs, err)
		switch {
		case line.New:
			p.New++
		case line.Changed():
			p.Edit++
		}
		p.Lines = append(p.Lines, line)
	}
	return p, inOrder(errs...)
}

// plan puts the given cells over what is there.
func (r *row) plan(was Have, at int) (Line, error) {
	next := Have{Item: was.Item, State: was.State, Location: was.Location}
	if at < 0 {
		next.Item.Class, next.Item.Serial = r.item.Class, r.item.Serial
	}
	over := Have{Item: r.item, State: r.state, Location: r.location}
	line := Line{Line: r.line, At: at, New: at < 0}
	usual := at < 0 && !r.given["calibration_required"] && lab.Calibrated(r.item.Class) // shown, like what was given
	over.Item.CalibrationRequired = over.Item.CalibrationRequired || usual
	stated := false
	for _, c := range columns() {
		if !r.given[c.name] && !(usual && c.name == "calibration_required") || at >= 0 && (c.name == "class" || c.name == "serial") {
			continue
		}
		from, to := c.get(&was), c.get(&over)
		if same(from, to) {
			continue
		}
		line.Changes = append(line.Changes, Change{c.name, from, to})
		switch c.name {
		case "state":
			next.State, stated = r.state, true
		case "location":
			next.Location, stated = r.location, true
		default:
			e := entry{item: next.Item}
			if to == "" { // a count of zero
				to = "0"
			}
			if err := c.set(&e, to); err != nil {
				return line, fault(r.line, c.name, err.Error()+".", "Write "+c.text+".")
			}
			next.Item = e.item
		}
	}
	line.Item, line.Title = next.Item, next.Item.Title()
	if stated {
		line.State = &lab.ItemState{Item: uuid.Nil, State: next.State, Location: next.Location}
		if line.State.State == "" {
			line.State.State = lab.StateInService
		}
	}
	return line, r.check(&line)
}

// same compares as Read would read a cell again.
func same(a, b string) bool {
	clean := func(s string) string { return strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n")) }
	return clean(a) == clean(b)
}

// check holds the item that comes out against the bounds of its fields.
func (r *row) check(l *Line) error {
	var errs []error
	for _, p := range httpkit.Problems(l.Item.Validate()) {
		_, field, _ := strings.Cut(p.Where, ", ")
		errs = append(errs, fault(r.line, field, p.What, p.Fix))
	}
	if l.State != nil && len([]rune(l.State.Location)) > lab.MaxText {
		errs = append(errs, fault(r.line, "location", fmt.Sprintf("the text has more than %d characters", lab.MaxText), "shorten it"))
	}
	return errors.Join(errs...)
}
