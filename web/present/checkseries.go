package present

import (
	"context"
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/sync/view"
	"thudbook/web/page"
)

// seriesKey names a setup in a link.
func seriesKey(s view.CheckSetup) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%x%x%x%d", s.HeadForm[:], s.Neck[:], s.ImpactorFace[:], s.SpeedMMS))
	return fmt.Sprintf("%x", sum[:6])
}

// SetupOf finds the setup of a rig's checks on a pad that a link names; nil: no
// check on the pad has it.
func (k *Checks) SetupOf(ctx context.Context, pad, series string) (*view.CheckSetup, error) {
	rows, err := k.Read.Checks(ctx, k.Scope, k.Rig, view.MaxLimit)
	for i := range rows {
		if s := rows[i].Setup; lab.Fold(rows[i].Shot.ReferencePad) == lab.Fold(pad) && seriesKey(s) == series {
			return &s, err
		}
	}
	return nil, err
}

// itemAt names what a setup had at one of its places.
func (k *Checks) itemAt(ctx context.Context, id uuid.UUID) (string, error) {
	if id == uuid.Nil {
		return "none recorded", nil
	}
	r, err := k.Read.Item(ctx, k.Scope, id)
	if problem.Of(err) == problem.NotFound {
		return "one that is not in the register here", nil
	}
	return r.Item.Title(), err
}

func speedOf(s view.CheckSetup) string {
	if s.SpeedMMS == 0 {
		return "none stated"
	}
	return withUnit(page.Show(float64(s.SpeedMMS)/1000, "m/s"))
}

// setup says in words what checks were fired with.
func (k *Checks) setup(ctx context.Context, s view.CheckSetup) (string, error) {
	var out []string
	for i, place := range view.CheckPlaces() {
		name, err := k.itemAt(ctx, s.Item(i))
		if err != nil {
			return "", err
		}
		out = append(out, place+": "+name)
	}
	return strings.Join(append(out, "target speed: "+speedOf(s)), "; "), nil
}

// differs says in words what of a setup is another one than before; "" when
// nothing is.
func (k *Checks) differs(ctx context.Context, now, before view.CheckSetup) (string, error) {
	var out []string
	for i, place := range view.CheckPlaces() {
		if now.Item(i) == before.Item(i) {
			continue
		}
		a, err := k.itemAt(ctx, now.Item(i))
		if err != nil {
			return "", err
		}
		b, err := k.itemAt(ctx, before.Item(i))
		if err != nil {
			return "", err
		}
		out = append(out, place+": "+a+", before: "+b)
	}
	if now.SpeedMMS != before.SpeedMMS {
		out = append(out, "target speed: "+speedOf(now)+", before: "+speedOf(before))
	}
	return strings.Join(out, "; "), nil
}

func onPad(rows []view.CheckRow, pad string) []view.CheckRow {
	return slices.DeleteFunc(slices.Clone(rows), func(r view.CheckRow) bool { return lab.Fold(r.Shot.ReferencePad) != lab.Fold(pad) })
}

// began says of the first check of a series what it differs in from the check
// on its pad before it; rows are all checks, newest first, with that one at n.
func (k *Checks) began(ctx context.Context, rows []view.CheckRow, n int) (string, error) {
	r := &rows[n]
	if !r.First {
		return "", nil
	}
	earlier := onPad(rows[n+1:], r.Shot.ReferencePad)
	if len(earlier) == 0 {
		return "", nil
	}
	return k.differs(ctx, r.Setup, earlier[0].Setup)
}

// series narrows the checks on a pad to those of one setup: the one that a link
// names, else that of the newest. It says which there are, and how the chosen
// one began.
func (k *Checks) series(ctx context.Context, p *page.Check, rows []view.CheckRow, want string) ([]view.CheckRow, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	chosen, known := rows[0].Setup, map[view.CheckSetup]int64{}
	var order []view.CheckSetup
	for i := range rows {
		s := rows[i].Setup
		if known[s]++; known[s] == 1 {
			order = append(order, s)
		}
		if seriesKey(s) == want {
			chosen = s
		}
	}
	for _, s := range order {
		text, err := k.setup(ctx, s)
		if err != nil {
			return nil, err
		}
		p.Series = append(p.Series, page.Choice{Value: seriesKey(s), Text: text + " (" + Count(known[s], "check", "checks") + ")"})
		if s == chosen {
			p.SeriesKey, p.Setup = seriesKey(s), text
		}
	}
	var out []view.CheckRow
	for i := range rows {
		if rows[i].Setup != chosen {
			continue
		}
		out = append(out, rows[i])
		text, err := k.began(ctx, rows, i)
		if err != nil {
			return nil, err
		}
		if text != "" && p.Began == "" {
			p.Began = "A new series began " + k.clock(&rows[i]) + ", with another setup than the check before it: " + text + "."
		}
	}
	return out, nil
}

// Ahead says before a check is fired that it would belong to another series than
// the last one on the pad; speedMS is what it is to be fired at.
func (k *Checks) Ahead(ctx context.Context, pad string, speedMS *float64) (string, error) {
	all, err := k.Read.Checks(ctx, k.Scope, k.Rig, view.MaxLimit)
	rows := onPad(all, pad)
	if err != nil || len(rows) == 0 {
		return "", err
	}
	now, err := k.Read.CheckSetup(ctx, k.Scope, k.Rig, lab.At(k.Now), speedMS)
	if err != nil {
		return "", err
	}
	text, err := k.differs(ctx, now, rows[0].Setup)
	if err != nil || text == "" {
		return "", err
	}
	n := int64(0)
	for i := range rows {
		if rows[i].Setup == now {
			n++
		}
	}
	if n == 0 {
		return "The next check on this pad begins a new series, since the setup is another one than at the last check: " + text + ".", nil
	}
	return "The next check on this pad goes on with another series than the last check, of " + Count(n, "check", "checks") + ": " + text + ".", nil
}
